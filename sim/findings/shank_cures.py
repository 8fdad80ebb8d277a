"""Cures of a shank or neck that is too near a wall: staggered depths, or a longer tool."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..pieces import CUTTING
from ..units import outward, say_fine
from .base import THOU, Change, Point
from .listed import level_of
from .look import HAIR, SAME, Look
from .registers import apart, cause_of, shares_of
from .taken import z_word

if TYPE_CHECKING:
    from ..tools import Tool

__all__ = [
    "BEHIND", "MOST_ADDED", "Near", "corner_of", "depth_of", "edge_end", "left_by", "longer",
    "stagger", "stance",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ADVISED: Final = 3 * THOU
"""What a shank should be free by, mm: 7 thou above, 10 below. Common practice, no source."""
MOST_ADDED: Final = 30 * THOU
"""More than this is not left on a wall for the shank's sake, mm. Common practice, no source."""
BEHIND: Final = ("neck", "shank")


@dataclasses.dataclass(frozen=True)
class Near:
    """A part of a tool near the stock, in one pass.

    `wall` is the move that left the stock above the part's lower end, -1: no move did.
    """

    tool: Tool
    part: str
    gap: float
    at: Point
    move: int
    pass_number: int
    rows: Floats
    wall: int


def depth_of(look: Look, move: int) -> float:
    """Return the lowest z of the tip on a move, mm."""
    return float(look.lowest(np.array([move]))[0])


def edge_end(tool: Tool) -> float:
    """Return where the cutting part ends over the tip, mm; inf: nowhere."""
    return max(p.z_high for p in tool.pieces if p.label in CUTTING)


def corner_of(tool: Tool) -> float:
    """Return the height over the tip from which the cutting part is as wide as it gets, mm."""
    widest = tool.cutting_radius - 1e-9
    return min(
        p.z_low if p.r_low >= widest else p.z_high
        for p in tool.pieces
        if p.label in CUTTING and max(p.r_low, p.r_high) >= widest
    )


def left_by(look: Look, wall: int) -> int:
    """Return the pass of the move that left a wall; -1: raw stock, or within metal."""
    return -1 if wall < 0 else int(look.moves.pass_number[wall])


def stance(look: Look, near: Near) -> tuple[Floats, Floats | None, Floats]:
    """Return the tip, the level way from its axis to the place, and the frustum there."""
    tip = look.tip(near.move, np.array(near.at))
    z = near.at[2] - tip[2]
    off = np.maximum(near.rows[:, 0] - z, z - near.rows[:, 1])
    row: Floats = near.rows[int(np.argmin(np.maximum(off, 0.0)))]
    return tip, look.way(near.move, np.array(near.at)), row


def _wanted(look: Look) -> float:
    return max(ADVISED, look.case.margin("shank_clearance"))


# --------------------------------------------------------------------------------------------- cure


def stagger(look: Look, near: Near) -> tuple[Change, str] | None:
    """Return the cure by allowances and overlap; None: it is not a wall cut in two depths."""
    tip, way, row = stance(look, near)
    if near.wall < 0 or way is None:
        return None
    upper = look.case.job.tools[int(look.moves.tool[near.wall])]
    begins, depth, corner = float(tip[2] + row[0]), depth_of(look, near.wall), corner_of(upper)
    overlap, wanted = begins - depth, _wanted(look)
    if look.hit(tip, -way, begins + HAIR, near.move + 1, row[2] + wanted) is not None:
        return None  # in a slot or a hole: what is more on one side is less on the other
    far = row[2] + MOST_ADDED + corner
    # At a corner the wall above may end sooner than the one below: look beside it, too.
    aside = MOST_ADDED * np.array([-way[1], way[0], 0.0])
    over, done = max(begins, depth + corner) + HAIR, near.move + 1
    hits = (look.hit(tip + k * aside, way, over, done, far) for k in (0, 1, -1))
    plain = next((hit for hit in hits if hit is not None), None)
    if overlap < 0 or plain is None or plain[0] <= 0:
        return None
    beside = plain[0] - float(row[2])
    if overlap < corner - SAME:
        top = look.top(near.move, np.array([*(tip[:2] + way * plain[0]), begins]))
        reaches = depth - (corner - overlap) + edge_end(upper) >= top - SAME
        return _with_fillet(look, near, way, (overlap, corner, beside, depth), reaches)
    if wanted - beside > MOST_ADDED:
        return None
    free = say_fine(wanted, look.case.unit)
    then = f"the shank is {free} free of the wall above"
    if corner > SAME:
        then += f"; it begins {say_fine(overlap, look.case.unit)} above the upper depth, and "
        then += f"{say_fine(corner, look.case.unit)} is the least, for the fillet that the upper "
        then += "pass leaves"
    step = wanted + float(row[2]) - near.tool.cutting_radius
    return _set_right(look, near, way, beside) or _staggered(
        look, near, way, wanted - beside, step, then
    )


def _staggered(
    look: Look, near: Near, way: Floats, more: float, step: float, then: str
) -> tuple[Change, str]:
    """Return the cure by allowances; by a longer tool where their step would be a line."""
    change, case = _more_side(look, near.move, more), look.case
    line = abs(step) > case.margin("depth_line") and not _taken_later(look, near, way)
    follow = "; a pass over the full depth has to follow it, or the step stays on the wall"
    if line and _on_part(look, near, way):
        tool, says = longer(look, near)
        if tool is not None:
            says += f"; or leave {say_fine(more, case.unit)} more on the lower depth"
            return tool, says + ", with a pass over the full depth after it"
    relieved = any(
        p.label in BEHIND and p.z_low <= edge_end(near.tool) + SAME
        and p.widest < near.tool.cutting_radius - SAME
        for p in near.tool.pieces
    )  # fmt: skip
    other = "a longer neck (LU)" if relieved else "a tool relieved behind its edges"
    return change, then + (follow if line else "") + f"; or use {other}"


def _taken_later(look: Look, near: Near, way: Floats) -> bool:
    """Whether a later pass takes both depths of a wall: no step between them stays."""
    tip, end = look.tip(near.move, np.array(near.at)), len(look.moves)
    far = near.tool.cutting_radius + MOST_ADDED
    upper = near.at[2] + HAIR
    lower = min(float(tip[2]) + corner_of(near.tool), depth_of(look, near.wall)) + HAIR
    for z in (lower, upper):
        hit = look.hit(tip, way, z, end, far)
        if hit is not None and left_by(look, hit[1]) <= near.pass_number:
            return False
    return True


def _on_part(look: Look, near: Near, way: Floats) -> bool:
    """Whether the wall where two depths meet is the part's."""
    from .walls import walls_of

    walls, z = walls_of(look.case), depth_of(look, near.wall)
    at = np.array([[near.at[0], near.at[1], z]])
    part = look.case.job.spec.part is not None
    return part and bool((walls.in_part(at) & walls.is_part(at, way[None])).all())


def _set_right(look: Look, near: Near, way: Floats, beside: float) -> tuple[Change, str] | None:
    """Return the register that takes the gap to the wall above, and what it is without that."""
    (x, y), case = (-way[:2]).tolist(), look.case
    shares = apart(*(shares_of(case, m, near.at, (x, y, 0.0)) for m in (near.move, near.wall)))
    margin = case.margin("shank_clearance") - SAME
    cause = cause_of(case, shares, beside, lambda gap: gap >= margin)
    free = say_fine(beside - sum(s.by for s in shares), case.unit)
    then = f"the shank is {free} free of the wall above"
    return (cause.change, then + cause.with_words) if cause else None


def _with_fillet(
    look: Look,
    near: Near,
    way: Floats,
    numbers: tuple[float, float, float, float],
    reaches: bool,
) -> tuple[Change, str] | None:
    """Return the cure where the shank reaches down into the upper pass's fillet.

    reaches: from its new depth the upper pass's own edges still reach the top of its wall.
    """
    overlap, corner, beside, depth = numbers
    unit, margin, wanted = look.case.unit, look.case.margin("shank_clearance"), _wanted(look)
    down, free = corner - overlap, say_fine(wanted, unit)
    says = f"the upper depth goes down to Z {look.case.say(depth - down)}: the shank then begins "
    says += f"one corner radius, {say_fine(corner, unit)}, above it, clear of the fillet there"
    if beside >= margin - SAME and reaches:
        return _deeper(look, near.wall, down), f"{says}, and is {say_fine(beside, unit)} free"
    more = say_fine(wanted - beside, unit)
    if overlap >= wanted:
        need = corner - math.sqrt((corner - wanted) ** 2 - down**2)
        if need - beside <= MOST_ADDED:
            then = f"the shank is {free} free of the fillet above"
            then += f"; or leave {more} more and {says}" if reaches else ""
            step = need + float(stance(look, near)[2][2]) - near.tool.cutting_radius
            return _staggered(look, near, way, need - beside, step, then)
    if not reaches:
        return None
    then = f"{says}; the lower depth also has to leave {more} more, to be {free} free"
    return _deeper(look, near.wall, down), then


def _deeper(look: Look, move: int, by: float) -> Change:
    """Return the change of a pass's depth: the pass list's own value, or its lowest Z."""
    number, (item, _) = int(look.moves.pass_number[move]), level_of(look.case, move)
    if item is not None and item.bottom is not None:
        return Change(f"bottom of pass {number}", item.bottom, item.bottom - by)
    z = z_word(look.case, move, depth_of(look, move))
    return Change(f"lowest Z of pass {number}", z, z - by)


def _more_side(look: Look, move: int, more: float) -> Change:
    """Return the change of a side allowance: the pass list's own value, or what to add to it."""
    number, (_, level) = int(look.moves.pass_number[move]), level_of(look.case, move)
    if level is None:
        mine = look.moves.pass_number == number
        mine &= ~look.moves.rapid & (look.moves.start[:, 2] == look.moves.end[:, 2])
        z = float(look.moves.end[move, 2])
        several = bool((np.abs(look.moves.end[mine, 2] - z) > SAME).any())
        at = f" at Z {look.case.say(z)}" if several else ""
        return Change(f"side allowance of pass {number}{at}, added", 0.0, more)
    before = level.allowance_side
    return Change(f"{level.key} of pass {number}", before, before + more)


def longer(look: Look, near: Near) -> tuple[Change | None, str]:
    """Return the cure by length: where the part has to begin, to clear all that it passes."""
    tool, margin = near.tool, look.case.margin("shank_clearance")
    up = look.raise_needed(near.rows, look.of(tool.number), margin)
    begins = float(near.rows[:, 0].min())
    if up is None:
        return None, ""
    word = "LU" if begins > edge_end(tool) + SAME else "APMX"
    length = outward(begins + up, begins, look.case.unit)
    then = f"the {near.part} passes above the stock"
    if tool.stickout is not None and length >= tool.stickout:
        then += "; LPR has to be longer than that"
    return Change(f"{word} of T{tool.number}", begins, length), then
