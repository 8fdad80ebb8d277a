"""Contours to measure a wall along: a section of the part, the side of a pass, a line."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .contour import SNAP_MM, Contour, Field, Piece, Point, meet
from .errors import BadInput
from .moves import ARC, Moves
from .passes.offset import offset_pieces
from .stock import closed_mesh
from .tools import Tool
from .units import Unit, say_length

__all__ = ["Loop", "chord_error", "pass_sides", "section_loops"]

Floats = NDArray[np.float64]

STRAIGHT_MM: Final = 2e-6
"""Corners of a section this near the line past them are none: rounding of a mesh file's numbers,
7 digits, on a part of 20 mm."""
LONGEST_RUN: Final = 64
"""Corners looked at together for that."""
SMOOTH: Final = math.radians(30.0)
"""Facets that turn by less stand for a curve."""
COVERED_MM: Final = 1e-7
"""Overlap with the pass's own sweep that is none, by rounding."""
MOST_PIECES: Final = 5000
LOWEST_MM: Final = 1e-6
"""Least height over a pass's floor at which its side is looked at, mm."""


@dataclasses.dataclass(frozen=True)
class Loop:
    """A contour, and whether the metal is on the left of a person who walks along it."""

    contour: Contour
    left: bool


# ------------------------------------------------------------------------------- the part's section


def section_loops(path: Path, unit: Unit, z: float) -> list[Loop]:
    """Return the outlines of the part's section at a height, the metal on the left.

    Parameters
    ----------
    path : Path
        The part's mesh.
    unit : {'in', 'mm'}
        The job's, in which its coordinates are.
    z : float
        mm.

    Raises
    ------
    ModelError
        The mesh can't be used.

    Notes
    -----
    A facet that lies at z itself counts as above it: the section is that of the part just below.
    """
    vertices, facets = closed_mesh(path, unit, "part")
    a, b, c = (vertices[facets[:, k]] - vertices.min(axis=0) for k in range(3))
    if float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) < 0:
        facets = facets[:, ::-1]
    rings = [_tidy(ring) for ring in _rings(vertices, facets, z)]
    return [Loop(_polygon(ring), True) for ring in rings if len(ring) >= 3]


def _rings(vertices: Floats, facets: NDArray[np.int64], z: float) -> list[Floats]:
    """Return the corners of each outline.

    A facet seen from outside turns counter-clockwise: where its way round falls through z its
    stretch begins, where it rises the stretch ends, and the metal is on the left.
    """
    above = (vertices[:, 2] >= z)[facets]
    cut = above.any(axis=1) & ~above.all(axis=1)
    facets, above = facets[cut], above[cut]
    after = np.roll(facets, -1, axis=1)
    falls, rises = above & ~np.roll(above, -1, axis=1), ~above & np.roll(above, -1, axis=1)
    begin, end = (
        np.sort(np.stack([facets[edge], after[edge]], axis=1), axis=1) for edge in (falls, rises)
    )
    low, high = vertices[begin[:, 0]], vertices[begin[:, 1]]
    share = (z - low[:, 2]) / (high[:, 2] - low[:, 2])
    points = low[:, :2] + share[:, None] * (high - low)[:, :2]
    follows: dict[tuple[int, int], list[int]] = {}
    for k, key in enumerate(map(tuple, begin.tolist())):
        follows.setdefault(key, []).append(k)
    stops = list(map(tuple, end.tolist()))
    rings = []
    while follows:
        key = next(iter(follows))
        ring = []
        while key in follows:
            k = follows[key].pop()
            if not follows[key]:
                del follows[key]
            ring.append(k)
            key = stops[k]
        rings.append(points[ring])
    return rings


def _tidy(ring: Floats) -> Floats:
    """Return a ring's corners without those that are none."""
    gap = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T)
    ring = ring[gap > STRAIGHT_MM]
    if len(ring) < 3:
        return ring[:0]
    # Begin at a real corner, the sharpest.
    u = ring - np.roll(ring, 1, axis=0)
    v = np.roll(ring, -1, axis=0) - ring
    turn = np.abs(np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1)))
    ring = np.roll(ring, -int(np.argmax(turn)), axis=0)
    closed = np.concatenate([ring, ring[:1]])
    kept, k = [0], 0
    while k < len(ring):
        step = 1
        while k + step < len(ring) and step < LONGEST_RUN and _straight(closed[k : k + step + 2]):
            step += 1
        k += step
        kept.append(k)
    return closed[kept[:-1]]


def _straight(points: Floats) -> bool:
    """Return whether all corners in between lie on the line from first to last, in order."""
    along = points[-1] - points[0]
    size = math.hypot(*along)
    if size == 0:
        return False
    u, to = along / size, points[1:-1] - points[0]
    off = np.abs(to[:, 0] * u[1] - to[:, 1] * u[0])
    way = to @ u
    return bool((off <= STRAIGHT_MM).all() and (way > 0).all() and (way < size).all())


def _polygon(ring: Floats) -> Contour:
    corners = [(float(x), float(y)) for x, y in ring]
    ends = [*corners[1:], corners[0]]
    return Contour(tuple(Piece(a, b) for a, b in zip(corners, ends, strict=True)), True)


def chord_error(loops: Iterable[Loop]) -> float:
    """Return how far the facets of sections may be off the curves that they stand for, mm.

    Notes
    -----
    A chord of length l under an angle a is off its arc by l/2 tan(a/4); the angle is that by which
    the outline turns at its ends.
    """
    worst = 0.0
    for loop in loops:
        pieces = loop.contour.pieces
        ends = np.array([p.end for p in pieces]) - np.array([p.start for p in pieces])
        after = np.roll(ends, -1, axis=0)
        cross = ends[:, 0] * after[:, 1] - ends[:, 1] * after[:, 0]
        turn = np.abs(np.arctan2(cross, (ends * after).sum(axis=1)))
        curve = (turn < SMOOTH) & (np.roll(turn, 1) < SMOOTH)
        angle = np.minimum(turn, np.roll(turn, 1))
        size = np.hypot(*ends.T)
        # A flat that runs into a curve is far longer than the curve's facets.
        curve &= size <= 2 * np.maximum(np.roll(size, 1), np.roll(size, -1))
        worst = max(worst, float((size / 2 * np.tan(angle / 4))[curve].max(initial=0.0)))
    return worst


# -------------------------------------------------------------------------------- a pass's own side


@dataclasses.dataclass(frozen=True)
class _Chain:
    """Level moves of one pass, one after the other, and the tool's radius at the height."""

    contour: Contour
    radius: float


def radius_at(tool: Tool, height: float) -> float:
    """Return the radius of a tool's cutting part at a height over its tip, mm; 0 for none."""
    inside = (p for p in tool.pieces if p.cutting and p.z_low <= height <= p.z_high)
    return max((p.radius_at(height) for p in inside), default=0.0)


def pass_sides(
    moves: Moves, tools: dict[int, Tool], number: int, z: float, unit: Unit
) -> list[tuple[list[Loop], list[Loop]]]:
    """Return, for each chain of level moves, its walls with the metal on its left and right.

    A wall is where the side of the tool reaches at the height and no other level move of the pass
    reaches further: rounds inside others, and leads that others sweep over, leave none.

    Parameters
    ----------
    moves : Moves
        All moves, part frame.
    tools : dict of int to Tool
    number : int
        The pass.
    z : float
        mm.
    unit : {'in', 'mm'}
        For the text of errors.

    Raises
    ------
    BadInput
        The pass has no level moves whose side is at that height, or too many.
    """
    chains = _chains(moves, tools, number, z)
    if not chains:
        raise BadInput(_no_side(moves, tools, number, z, unit))
    count = sum(len(c.contour.pieces) for c in chains)
    if count > MOST_PIECES:
        raise BadInput(
            f"pass {number} has {count:,} level moves at z {say_length(z, unit)}; at most "
            f"{MOST_PIECES:,} are offset to a wall. Measure along the part or a line instead"
        )
    sweep = _Sweep(chains)
    seen: set[tuple[float, ...]] = set()
    return [(sweep.wall(c, True, seen), sweep.wall(c, False, seen)) for c in chains]


def _level(moves: Moves, number: int) -> Moves:
    mine = (moves.pass_number == number) & ~moves.rapid & moves.sweeps()
    mine &= moves.start[:, 2] == moves.end[:, 2]
    mine &= moves.lengths() > SNAP_MM
    return moves[mine]


def _chains(moves: Moves, tools: dict[int, Tool], number: int, z: float) -> list[_Chain]:
    level = _level(moves, number)
    runs: list[tuple[float, float, list[Piece]]] = []
    for k in range(len(level)):
        height = z - float(level.end[k, 2])
        radius = radius_at(tools[int(level.tool[k])], height) if height >= LOWEST_MM else 0.0
        if radius <= SNAP_MM:
            continue
        piece = _piece(level, k)
        last = runs[-1] if runs else None
        if last and last[:2] == (radius, height) and last[2][-1].end == piece.start:
            last[2].append(piece)
        else:
            runs.append((radius, height, [piece]))
    return [_Chain(_joined(pieces), radius) for radius, _, pieces in runs]


def _piece(moves: Moves, k: int) -> Piece:
    (x0, y0), (x1, y1) = moves.start[k, :2].tolist(), moves.end[k, :2].tolist()
    if moves.kind[k] != ARC:
        return Piece((x0, y0), (x1, y1))
    cx, cy = moves.center[k].tolist()
    return Piece((x0, y0), (x1, y1), (cx, cy), float(moves.turn[k]))


def _joined(pieces: list[Piece]) -> Contour:
    return Contour(tuple(pieces), math.dist(pieces[0].start, pieces[-1].end) <= SNAP_MM)


def _no_side(moves: Moves, tools: dict[int, Tool], number: int, z: float, unit: Unit) -> str:
    level = _level(moves, number)
    where = f"pass {number} has no side at z {say_length(z, unit)}: "
    if not len(level):
        return where + "it has no level moves at all. Name a pass that goes along the wall"
    low, high = float(level.end[:, 2].min()), float(level.end[:, 2].max())
    length = tools[int(level.tool[0])].cutting_length
    top = "" if length is None else f" to {say_length(high + length, unit)}"
    return where + (
        f"its level moves run at z {say_length(low, unit)} to {say_length(high, unit)}, and its "
        f"tool cuts from there{top or ' up'}. Take a height over its floor and under that"
    )


class _Sweep:
    """What level moves of a pass sweep over at one height."""

    def __init__(self, chains: Sequence[_Chain]) -> None:
        self.pieces = [p for c in chains for p in c.contour.pieces]
        self.radius = np.array([c.radius for c in chains for _ in c.contour.pieces])
        boxes = np.array([p.box() for p in self.pieces])
        self.low = boxes[:, :2] - self.radius[:, None] - SNAP_MM
        self.high = boxes[:, 2:] + self.radius[:, None] + SNAP_MM
        self._edges: dict[int, list[Piece]] = {}

    def wall(self, chain: _Chain, left: bool, seen: set[tuple[float, ...]]) -> list[Loop]:
        """Return what of a chain's side no other move of the pass reaches over."""
        contour = chain.contour if left else chain.contour.reversed()
        kept: list[Piece] = []
        for piece in offset_pieces(contour, chain.radius):
            for part in self._free(piece):
                key = _key(part)
                if key not in seen:
                    seen.add(key)
                    kept.append(part)
        loops = [Loop(c, True) for c in _strung(kept)]
        if left:
            return loops
        return [Loop(c.contour.reversed(), False) for c in reversed(loops)]

    def _free(self, piece: Piece) -> list[Piece]:
        """Return the parts of an offset piece that lie in no other move's sweep."""
        x0, y0, x1, y1 = piece.box()
        near = (self.low <= (x1, y1)).all(axis=1) & (self.high >= (x0, y0)).all(axis=1)
        others = np.flatnonzero(near)
        cuts = {0.0, 1.0}
        for k in others.tolist():
            for edge in self._edge(k):
                cuts.update(part for part, _ in meet(piece, edge))
        places = sorted(cuts)
        fields = [(Field([self.pieces[k]]), self.radius[k]) for k in others.tolist()]
        free: list[Piece] = []
        for low, high in itertools.pairwise(places):
            if (high - low) * piece.length <= SNAP_MM:
                continue
            point = piece.at(0.5 * (low + high))
            if any(f.distance(point) < r - COVERED_MM for f, r in fields):
                continue
            part = piece if (low, high) == (0.0, 1.0) else piece.between(low, high)
            free.append(part)
        return free

    def _edge(self, k: int) -> list[Piece]:
        """Return the outline of one move's sweep: both sides, and a circle at either end."""
        if k not in self._edges:
            piece, r = self.pieces[k], float(self.radius[k])
            sides = [
                p for way in (piece, piece.reversed())
                for p in offset_pieces(Contour((way,), False), r)
            ]  # fmt: skip
            self._edges[k] = [*sides, *(_circle(end, r) for end in (piece.start, piece.end))]
        return self._edges[k]


def _circle(center: Point, radius: float) -> Piece:
    start = (center[0] + radius, center[1])
    return Piece(start, start, center, 2 * math.pi)


def _key(piece: Piece) -> tuple[float, ...]:
    """Return what tells a piece from others, walked either way."""
    first, last = sorted([piece.start, piece.end])
    values = (*first, *last, *piece.at(0.5))
    return tuple(round(v, 6) + 0.0 for v in values)


def _strung(pieces: Sequence[Piece]) -> list[Contour]:
    """Return pieces in order as contours, closed where the last ends where the first begins."""
    runs: list[list[Piece]] = []
    for piece in pieces:
        if runs and math.dist(runs[-1][-1].end, piece.start) <= 4 * SNAP_MM:
            runs[-1].append(piece)
        else:
            runs.append([piece])
    if len(runs) > 1 and math.dist(runs[-1][-1].end, runs[0][0].start) <= 4 * SNAP_MM:
        runs[0] = runs.pop() + runs[0]
    closed = [math.dist(run[-1].end, run[0].start) <= 4 * SNAP_MM for run in runs]
    return [Contour(tuple(run), shut) for run, shut in zip(runs, closed, strict=True)]
