"""Pieces of revolution, of which every tool is a stack, and what the kernels need of them.

The axis points up and the tip is at z = 0. A piece is what the curve r(z), z_low <= z <= z_high,
encloses when it turns round the axis; r(z) is a straight line, an arc that bulges outwards
(the piece is convex) or an arc that bulges inwards (a cove).
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .errors import Fault

__all__ = [
    "CUTTING",
    "LABELS",
    "PIECE_WIDTH",
    "SPLIT_ERROR",
    "Piece",
    "arc_piece",
    "flank_areas",
    "kernel_rows",
    "line_piece",
    "narrows",
    "part_label",
    "profile_radius",
    "section_areas",
    "shortened",
    "split",
    "total_volume",
]

LABELS: Final = ("bottom", "corner", "side", "top", "neck", "shank", "holder")
"""What a person calls the part of a tool; ``top`` is the upper face of an undercutting tool."""
CUTTING: Final = frozenset(("bottom", "corner", "side", "top"))
PIECE_WIDTH: Final = 13
SPLIT_ERROR: Final = 1e-4
"""How far a cove may be from the cones it is split into where no closed form reaches, mm."""
SAME: Final = 1e-9
FLAT: Final = 1e-6
"""A flank that narrows by less is straight, mm: an arc's end where its slope is infinite."""


@dataclasses.dataclass(frozen=True)
class Piece:
    """One piece of a tool.

    Attributes
    ----------
    label : str
        What its flank is called, one of `LABELS`. The flat ends of a cutting piece are ``bottom``
        and ``top`` where they lie bare; those of another piece bear its own label.
    z_low, z_high : float
        mm above the tip; z_high may be infinite (with r_low = r_high).
    r_low, r_high : float
        Radius there, mm.
    arc : (center_r, center_z, radius) or None
        mm; None: a straight flank. The radius is negative for a cove.
        ``r(z) = center_r + radius * sqrt(1 - ((z - center_z) / radius)**2)``.
    """

    label: str
    z_low: float
    z_high: float
    r_low: float
    r_high: float
    arc: tuple[float, float, float] | None = None

    @property
    def cutting(self) -> bool:
        """Whether it removes metal."""
        return self.label in CUTTING

    @property
    def is_cove(self) -> bool:
        """Whether its flank bulges inwards."""
        return self.arc is not None and self.arc[2] < 0

    @property
    def slope(self) -> float:
        """Growth of the radius per mm of height along a straight flank; 0 for an endless one."""
        height = self.z_high - self.z_low
        return (self.r_high - self.r_low) / height if 0 < height < math.inf else 0.0

    @property
    def widest(self) -> float:
        """Largest radius, mm."""
        if self.arc and not self.is_cove and self.z_low < self.arc[1] < self.z_high:
            return self.arc[0] + self.arc[2]
        return max(self.r_low, self.r_high)

    def radius_at(self, z: float) -> float:
        """Return r(z), mm; z is clamped to the piece."""
        z = min(max(z, self.z_low), self.z_high)
        if self.arc is None:
            return self.r_low + self.slope * (z - self.z_low) if math.isfinite(z) else self.r_high
        center_r, center_z, radius = self.arc
        half = math.sqrt(max(0.0, (abs(radius) - (z - center_z)) * (abs(radius) + (z - center_z))))
        return center_r + math.copysign(half, radius)

    def section_area(self) -> float:
        """Return the area of its half section, between axis and flank, mm^2."""
        height = self.z_high - self.z_low
        if self.arc is None:
            return 0.5 * height * (self.r_low + self.r_high)
        center_r, _, radius = self.arc
        return center_r * height + math.copysign(self._under_arc(), radius)

    def volume(self) -> float:
        """Return its volume, mm^3."""
        height = self.z_high - self.z_low
        a, b = self.r_low, self.r_high
        if self.arc is None:
            return math.pi / 3 * height * (a * a + a * b + b * b)
        center_r, center_z, radius = self.arc
        u, v = self.z_low - center_z, self.z_high - center_z
        square = radius * radius * (v - u) - (v**3 - u**3) / 3
        cross = 2 * center_r * math.copysign(self._under_arc(), radius)
        return math.pi * (center_r * center_r * height + cross + square)

    def flank_area(self) -> float:
        """Return the area of its flank, mm^2."""
        if self.arc is None:
            slant = math.hypot(self.z_high - self.z_low, self.r_high - self.r_low)
            return math.pi * (self.r_low + self.r_high) * slant
        center_r, center_z, radius = self.arc
        R = abs(radius)
        u, v = (max(-1.0, min(1.0, (z - center_z) / R)) for z in (self.z_low, self.z_high))
        turn = math.asin(v) - math.asin(u)
        height = self.z_high - self.z_low
        return 2 * math.pi * R * (center_r * turn + math.copysign(height, radius))

    def _under_arc(self) -> float:
        """Integral of sqrt(radius^2 - (z - center_z)^2) over the piece."""
        assert self.arc is not None
        _, center_z, radius = self.arc
        R = abs(radius)

        def part(t: float) -> float:
            t = max(-R, min(R, t))
            return 0.5 * (t * math.sqrt((R - t) * (R + t)) + R * R * math.asin(t / R))

        return part(self.z_high - center_z) - part(self.z_low - center_z)


def line_piece(label: str, z_low: float, r_low: float, z_high: float, r_high: float) -> Piece:
    """Return a cylinder or a frustum."""
    if not (z_high > z_low and min(r_low, r_high) >= 0 and max(r_low, r_high) > 0):
        raise Fault(f"no piece from z {z_low} r {r_low} to z {z_high} r {r_high}")
    if math.isinf(z_high) and r_low != r_high:
        raise Fault("an endless piece that is no cylinder")
    return Piece(label, z_low, z_high, r_low, r_high)


def arc_piece(
    label: str,
    z_low: float,
    z_high: float,
    center_r: float,
    center_z: float,
    radius: float,
    *,
    cove: bool = False,
) -> Piece:
    """Return a piece whose flank is an arc; `radius` > 0, and `cove` where it bulges inwards."""
    reach = radius + SAME
    if not (z_high > z_low and abs(z_low - center_z) <= reach and abs(z_high - center_z) <= reach):
        raise Fault(f"no arc of radius {radius} about z {center_z} from {z_low} to {z_high}")
    if cove and z_low + SAME < center_z < z_high - SAME:
        raise Fault("a cove that narrows and widens again; split it where it is narrowest")
    arc = (center_r, center_z, -radius if cove else radius)
    shape = Piece(label, z_low, z_high, 0.0, 0.0, arc)
    low, high = shape.radius_at(z_low), shape.radius_at(z_high)
    if min(low, high) < -SAME:
        raise Fault(f"an arc of radius {radius} about r {center_r} crosses the axis")
    return Piece(label, z_low, z_high, max(low, 0.0), max(high, 0.0), arc)


def split(piece: Piece, error: float = SPLIT_ERROR) -> list[Piece]:
    """Return convex pieces: a cove as frustums that are larger than it by at most `error`, mm."""
    if not piece.is_cove:
        return [piece]
    assert piece.arc is not None
    center_r, center_z, radius = piece.arc
    R = -radius
    a, b = (math.asin(max(-1.0, min(1.0, (z - center_z) / R))) for z in (piece.z_low, piece.z_high))
    step = 2 * math.acos(max(0.0, 1 - error / R))
    count = max(1, math.ceil(abs(b - a) / step))
    zs = [center_z + R * math.sin(a + (b - a) * i / count) for i in range(count + 1)]
    rs = [center_r - R * math.cos(a + (b - a) * i / count) for i in range(count + 1)]
    zs[0], zs[-1], rs[0], rs[-1] = piece.z_low, piece.z_high, piece.r_low, piece.r_high
    return [
        line_piece(piece.label, zs[i], max(rs[i], 0.0), zs[i + 1], max(rs[i + 1], 0.0))
        for i in range(count)
        if zs[i + 1] > zs[i]
    ]


def shortened(piece: Piece, top: float) -> Piece:
    """Return the part of a piece under z = `top`, mm, which lies over its low end."""
    if top >= piece.z_high:
        return piece
    return dataclasses.replace(piece, z_high=top, r_high=piece.radius_at(top))


def profile_radius(pieces: Iterable[Piece], z: float) -> float:
    """Return the radius of a stack at a height, mm; the larger where it steps, 0 outside it."""
    return max((p.radius_at(z) for p in pieces if p.z_low <= z <= p.z_high), default=0.0)


def total_volume(pieces: Iterable[Piece], label: str | None = None) -> float:
    """Return the volume of a stack or of what is called `label` in it, mm^3; inf if endless."""
    return sum((p.volume() for p in pieces if label in (None, p.label)), 0.0)


def flank_areas(pieces: Iterable[Piece]) -> dict[str, float]:
    """Return the area of the flanks of each part of a stack by its label, mm^2, flat ends apart."""
    found: dict[str, float] = {}
    for piece in pieces:
        found[piece.label] = found.get(piece.label, 0.0) + piece.flank_area()
    return found


def section_areas(pieces: Iterable[Piece]) -> dict[str, float]:
    """Return the area of the half section of each part of a stack by its label, mm^2."""
    found: dict[str, float] = {}
    for piece in pieces:
        found[piece.label] = found.get(piece.label, 0.0) + piece.section_area()
    return found


def narrows(pieces: Sequence[Piece]) -> bool:
    """Whether the cutting part of a stack is somewhere narrower above than below.

    Its upper side then cuts what no picture from above shows.
    """
    cutting = [p for p in pieces if p.cutting]
    inside = any(p.r_high < p.widest - FLAT for p in cutting)
    return inside or any(b.r_low < a.r_high - FLAT for a, b in itertools.pairwise(cutting))


def part_label(code: float) -> str:
    """Return the word for a label's number in a kernel's row."""
    return LABELS[int(code)]


def kernel_rows(pieces: Iterable[Piece]) -> NDArray[np.float64]:
    """Return the table that the ray kernels read, shape (n, `PIECE_WIDTH`).

    ===  ============================================================
    col
    ===  ============================================================
    0-1  z_low, z_high
    2-3  r_low, r_high
    4    slope of a straight flank
    5-7  centre r, centre z, radius of an arc (0, 0, 0: straight)
    8    1 convex arc, -1 cove, 0 straight
    9    label of the flank
    10   label of the lower flat end; -1 where the piece below covers it
    11   label of the upper flat end; likewise
    12   row of the cove that a cone is a slice of; -1: it is as drawn
    ===  ============================================================
    """
    rows: Sequence[Piece] = list(pieces)
    table = np.zeros((len(rows), PIECE_WIDTH))
    for i, (row, p) in enumerate(zip(table, rows, strict=True)):
        center_r, center_z, radius = p.arc or (0.0, 0.0, 0.0)
        kind = 0.0 if p.arc is None else math.copysign(1.0, radius)
        flank = LABELS.index(p.label)
        low, high = (LABELS.index(w) for w in ("bottom", "top")) if p.cutting else (flank, flank)
        below, above = rows[i - 1] if i else None, rows[i + 1] if i + 1 < len(rows) else None
        if p.r_low <= (below.r_high if below and below.z_high == p.z_low else 0.0) + SAME:
            low = -1
        if p.r_high <= (above.r_low if above and above.z_low == p.z_high else 0.0) + SAME:
            high = -1
        row[:] = (
            p.z_low, p.z_high, p.r_low, p.r_high, 0.0 if p.arc else p.slope,
            center_r, center_z, abs(radius), kind, flank, low, high, -1.0,
        )  # fmt: skip
    return table
