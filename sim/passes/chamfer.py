"""Chamfers along the upper edge of a wall."""

from __future__ import annotations

from ..contour import TOUCH_MM
from ..pieces import Piece
from .contour import offset_wall, walked
from .leads import Way
from .operations import ChamferPass
from .shapes import PassError
from .work import Work

__all__ = ["chamfer_moves"]


def chamfer_moves(work: Work, item: ChamferPass) -> None:
    """Make the moves of a chamfer pass.

    Notes
    -----
    The cone meets the wall at the chamfer's lower edge, `tip_clearance` over the tip, so the axis
    keeps the cone's radius there (and the D error) from the contour. A chamfer of width w is
    w times the slope of the cone deep.

    Raises
    ------
    PassError
        A tool that isn't a cone at its end, or one too low, a side that has no edge, an approach
        that cuts the wall.
    """
    if item.side == "on":
        raise PassError("side", '"on" has no edge to chamfer; say on which side of it the air is')
    cone = _cone(work)
    depth = _depth(item, cone)
    high = round(item.tip_clearance + depth, 10)
    if high > cone.z_high + TOUCH_MM:
        raise PassError(
            "width" if item.width is not None else "depth",
            f"is too large: chamfer and tip_clearance take {work.say(high)} of the cone of tool "
            f"{work.tool.number}, which is {work.say(cone.z_high)} high",
        )
    gap = cone.radius_at(item.tip_clearance) + work.d_error
    if gap < -TOUCH_MM:
        raise PassError("tip_clearance", "puts the axis past the edge; give the tip more of it")
    z = round(work.top - high, 10)
    contour, left = walked(work, item)
    path = contour
    if gap > TOUCH_MM:
        keeps = "the cone's radius at the chamfer's lower edge, and D error"
        path = offset_wall(contour, gap, bool(left), work.unit, final=True, keeps=keeps)
    way = Way(path, bool(left), item.approach, item.retract, item.overlap)
    way.check([contour], gap, work.unit)
    tip = work.tip()
    way.cut(tip, z, work.top)
    for _ in range(item.spring_passes):
        way.cut(tip, z, z)


def _cone(work: Work) -> Piece:
    """Return the cone at the end of the tool."""
    tool = work.side_tool
    cone = tool.pieces[0]
    if tool.shape == "tap" or cone.arc is not None or cone.slope <= 0 or not cone.cutting:
        raise PassError(
            "tool",
            f"a chamfer goes with a tool whose end is a cone, such as a chamfer tool or a spot "
            f'drill; tool {tool.number} is "{tool.shape}"',
        )
    return cone


def _depth(item: ChamferPass, cone: Piece) -> float:
    if (item.width is None) == (item.depth is None):
        have = "none" if item.width is None else "both"
        raise PassError("width", f"or depth, exactly one of them, is needed; it has {have}")
    if item.depth is not None:
        return item.depth
    return (item.width or 0.0) / cone.slope
