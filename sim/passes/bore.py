"""Round holes milled down a helix."""

from __future__ import annotations

import math

from ..contour import TOUCH_MM, Piece, Point
from .emit import Tip, level_heights
from .operations import BorePass
from .pattern import hole_places
from .shapes import PassError
from .work import Work

__all__ = ["bore_moves"]


def bore_moves(work: Work, item: BorePass) -> None:
    """Make the moves of a helix bore.

    Notes
    -----
    From over the middle the tool goes out to the circle of its axis, just above the metal, down
    `pitch` with each turn and once round at the floor. It comes off the wall on half a circle: to
    the middle, or where it leaves a core there by the security distance.

    Raises
    ------
    PassError
        A hole no wider than the tool, too many turns, holes that can't be used.
    """
    radius, cutting = _axis_radius(work, item), work.side_tool.cutting_radius
    places, floor = hole_places(item, work.unit), work.floor(item)
    tip = work.tip()
    high = tip.near_z(work.top)
    try:
        turns = level_heights(high, floor, item.pitch)
    except PassError as error:
        raise PassError("pitch", error.text) from None
    core = 2 * (radius - work.side_tool.flat_radius)
    if radius > cutting + TOUCH_MM:
        work.note(
            f"a core {work.say(2 * (radius - cutting))} across stays in the middle of the hole, "
            "unless it is open there already"
        )
    elif core > TOUCH_MM:
        work.note(
            f"the end of tool {item.tool} is flat over {work.say(2 * work.side_tool.flat_radius)} "
            "only, so a cusp stays on the floor in the middle, unless the hole is open there"
        )
    off = radius if radius <= cutting + TOUCH_MM else min(tip.security, radius)
    for place in places:
        _bore(item, tip, place, radius, off, turns, work.top)


def _axis_radius(work: Work, item: BorePass) -> float:
    """Return the radius of the circle of the tool's axis, mm."""
    radius = item.diameter / 2 - work.reach - item.allowance_side
    if radius <= TOUCH_MM:
        keeps = work.reach + item.allowance_side
        raise PassError(
            "diameter",
            f"{work.say(item.diameter)} leaves no circle for the axis, which keeps "
            f"{work.say(keeps)} (half of the diameter, allowance_side and D error) from the wall; "
            f"it has to be above {work.say(2 * keeps)}",
        )
    return radius


def _bore(
    item: BorePass,
    tip: Tip,
    place: Point,
    radius: float,
    off: float,
    turns: list[float],
    top: float,
) -> None:
    x, y = place
    start = (x + radius, y)
    # A tool that turns clockwise climbs where the wall is on its right: counter-clockwise inside.
    turn = 2 * math.pi if item.cutmode == "climb" else -2 * math.pi
    circle = Piece(start, start, place, turn)
    tip.over(place)
    tip.near(top)
    tip.line(start)
    for z in turns:
        tip.ramp([circle], z)
    tip.along([circle] * (1 + item.spring_passes))
    away = (start[0] - off, y)
    tip.along([Piece(start, away, (start[0] - off / 2, y), turn / 2)])
    tip.up()
