"""Faces, holes and free paths."""

from __future__ import annotations

import math
from typing import Final

from ..contour import TOUCH_MM
from .emit import Tip
from .operations import DrillPass, FacePass, PathPass
from .pattern import hole_places
from .shapes import PassError, check_rectangle
from .work import SMALL_MM, Work

__all__ = ["drill_moves", "face_moves", "path_moves"]

LIMIT_LINES: Final = 100_000
"""Most lines of a face; more is a slip in the stepover."""


def face_moves(work: Work, item: FacePass) -> None:
    """Make the moves of a face pass.

    Raises
    ------
    PassError
        Paths too far apart, a rectangle that can't be used.
    """
    tip = work.tip()
    step = work.stepover(item.radial_cutting_depth, 2)
    box, radius = item.rectangle, work.side_tool.cutting_radius
    overlap = SMALL_MM[work.unit] if item.overlap is None else item.overlap
    if box.corner_radius:
        raise PassError("rectangle.corner_radius", "a face runs off its edges; leave it out")
    check_rectangle(box, "rectangle", work.unit)
    along = 0 if item.angle == 0 else 1
    across = 1 - along
    ends = (box.low[along] - radius - overlap, box.high[along] + radius + overlap)
    # The outermost lines put the edge of the flat end past the sides.
    inset = work.side_tool.flat_radius - overlap
    low, high = box.low[across] + inset, box.high[across] - inset
    rows = [(box.low[across] + box.high[across]) / 2]
    if high > low:
        count = math.ceil((high - low) / step - TOUCH_MM)
        if count > LIMIT_LINES:
            raise PassError(
                "radial_cutting_depth", f"would take {count} lines; at most {LIMIT_LINES} are made"
            )
        rows = [low + (high - low) * n / count for n in range(count)] + [high]
    levels, metal = work.depths(item), work.top
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


def drill_moves(work: Work, item: DrillPass) -> None:
    """Make the moves of a drill pass; between two pecks the tool goes up.

    Raises
    ------
    PassError
        Holes that can't be used, a chip_break without pecks.
    """
    places, levels, top = hole_places(item, work.unit), work.depths(item), work.top
    if item.chip_break is not None and len(levels) == 1:
        raise PassError("chip_break", "goes with pecks; write an axial_cutting_depth")
    tip = work.tip()
    for point in places:
        tip.over(point)
        tip.near(top)
        for n, z in enumerate(levels):
            if n and item.chip_break is None:
                tip.lift(top + tip.security)
                tip.near(levels[n - 1])
            elif n and item.chip_break is not None:
                tip.lift(levels[n - 1] + item.chip_break)
            tip.plunge(z)
        tip.up()


def path_moves(work: Work, item: PathPass) -> None:
    """Make the moves of a path pass.

    Raises
    ------
    PassError
        A point above the plane of the rapids.
    """
    tip, stock_top = work.tip(), work.settings.stock_top
    for n, stroke in enumerate(item.strokes, start=1):
        for m, point in enumerate(stroke, start=1):
            if point[2] > tip.plane:
                raise PassError(
                    f"strokes[{n}][{m}]",
                    f"z {work.say(point[2])} is above the retract_plane "
                    f"{work.say(tip.plane)}; set a higher one",
                )
        tip.over((stroke[0][0], stroke[0][1]))
        tip.near(max(stock_top, stroke[0][2]))
        tip.plunge(stroke[0][2])
        for point in stroke[1:]:
            tip.to(point)
        tip.up()
