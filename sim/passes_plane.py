"""Faces, holes and free paths."""

from __future__ import annotations

import math
from typing import Final

from .contour import TOUCH_MM
from .passes_emit import Tip
from .passes_model import DrillPass, FacePass, PathPass
from .passes_shapes import PassError, check_rectangle
from .units import Unit, say_length

__all__ = ["drill_moves", "face_moves", "path_moves"]

LIMIT_LINES: Final = 100_000
"""Most lines of a face; more is a slip in the stepover."""


def face_moves(
    item: FacePass,
    tip: Tip,
    levels: list[float],
    top: float,
    *,
    radius: float,
    flat_radius: float,
    overlap: float,
    unit: Unit,
) -> None:
    """Make the moves of a face pass; radius and flat_radius are the tool's, mm."""
    box = item.rectangle
    if box.corner_radius:
        raise PassError("rectangle.corner_radius", "a face runs off its edges; leave it out")
    check_rectangle(box, "rectangle", unit)
    along = 0 if item.angle == 0 else 1
    across = 1 - along
    ends = (box.low[along] - radius - overlap, box.high[along] + radius + overlap)
    # The outermost lines put the edge of the flat end past the sides.
    inset = flat_radius - overlap
    low, high = box.low[across] + inset, box.high[across] - inset
    rows = [(box.low[across] + box.high[across]) / 2]
    if high > low:
        count = math.ceil((high - low) / item.radial_cutting_depth - TOUCH_MM)
        if count > LIMIT_LINES:
            raise PassError(
                "radial_cutting_depth", f"would take {count} lines; at most {LIMIT_LINES} are made"
            )
        rows = [low + (high - low) * n / count for n in range(count)] + [high]
    metal = top
    for z in levels:
        _rows(item, tip, rows, ends, z, metal)
        metal = z


def _rows(
    item: FacePass,
    tip: Tip,
    rows: list[float],
    ends: tuple[float, float],
    z: float,
    metal: float,
) -> None:
    for n, row in enumerate(rows):
        first, last = ends
        if item.strategy == "bidirectional" and n % 2:
            first, last = last, first
        a, b = ((v, row) if item.angle == 0 else (row, v) for v in (first, last))
        if n == 0 or item.strategy == "unidirectional":
            tip.over(a)
            tip.near(metal)
            tip.plunge(z)
        tip.line(a)
        tip.line(b)
        if item.strategy == "unidirectional":
            tip.up()
    tip.up()


def drill_moves(item: DrillPass, tip: Tip, levels: list[float], top: float) -> None:
    """Make the moves of a drill pass; between two pecks the tool goes up out of the hole."""
    for point in item.points:
        tip.over(point)
        metal = top
        for z in levels:
            tip.near(metal)
            tip.plunge(z)
            metal = z
            if z != levels[-1]:
                tip.lift(top + tip.security)
        tip.up()


def path_moves(item: PathPass, tip: Tip, stock_top: float, unit: Unit) -> None:
    """Make the moves of a path pass."""
    for n, stroke in enumerate(item.strokes, start=1):
        for m, point in enumerate(stroke, start=1):
            if point[2] > tip.plane:
                raise PassError(
                    f"strokes[{n}][{m}]",
                    f"z {say_length(point[2], unit)} is above the retract_plane "
                    f"{say_length(tip.plane, unit)}; set a higher one",
                )
        tip.over((stroke[0][0], stroke[0][1]))
        tip.near(max(stock_top, stroke[0][2]))
        tip.plunge(stroke[0][2])
        for point in stroke[1:]:
            tip.to(point)
        tip.up()
