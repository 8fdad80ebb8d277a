"""The fillet between a floor and a wall, in rounds of a ball stepped by angle."""

from __future__ import annotations

import dataclasses
import math
from typing import Final

from ..contour import TOUCH_MM, Contour
from .contour import offset_wall, walked
from .emit import Tip
from .leads import Way
from .operations import FilletPass
from .scallop import fillet_step, given_step, round_end
from .shapes import PassError
from .work import Work

__all__ = ["fillet_moves"]

KEEPS: Final = "the radius of the ball, and allowance_side"
"""What the distance of the axis to the wall is made of, for errors."""
LIMIT_ROUNDS: Final = 100_000
"""Most rounds of a fillet; more is a slip in the scallop height."""
LEAST_ANGLE: Final = 1e-9
"""Angle, radians, under which a last step belongs to the one before."""


@dataclasses.dataclass(frozen=True)
class _Round:
    """One round: its way, and z of the tip, mm."""

    way: Way
    z: float


def fillet_moves(work: Work, item: FilletPass) -> None:
    """Make the moves of a fillet pass.

    Notes
    -----
    Seen along the wall the fillet is a quarter of a circle of radius F, tangent to wall and floor.
    The ball's center runs on the circle of F - R about the same axis, so at an angle t from
    straight down the tip is F - (F - R) sin t from the wall and (F - R)(1 - cos t) over the floor.
    Right beside the wall the cusps are lower than asked: there the tool's side cuts them, too.

    Raises
    ------
    PassError
        A tool that is no ball, a ball larger than the fillet, paths too far apart, a contour that
        the ball can't follow.
    """
    ball = _ball(work, item)
    angles = _angles(work, item, ball)
    contour, left = walked(work, item)
    if left is None:
        raise PassError("side", '"on" has no wall; say on which side of it the tool runs')
    floor, tip = work.floor(item), work.tip()
    if item.direction == "up":
        angles.reverse()
    rounds = []
    for n, angle in enumerate(angles):
        out = (item.fillet_radius - ball) * math.sin(angle)
        gap = item.fillet_radius - out + item.allowance_side
        rise = (item.fillet_radius - ball) * (1 - math.cos(angle))
        back = item.strategy == "bidirectional" and not contour.closed and n % 2 == 1
        way = _way(work, item, contour, left, gap, back, angle == max(angles))
        if item.strategy == "unidirectional" or n in (0, len(angles) - 1):
            way.check([contour], gap, work.unit)
        rounds.append(_Round(way, round(floor + rise, 10)))
    _check_top(work, rounds)
    if item.strategy == "unidirectional":
        for each in rounds:
            each.way.cut(tip, each.z, work.top)
    else:
        _stay_down(tip, rounds, work.top)


def _ball(work: Work, item: FilletPass) -> float:
    """Return the radius of the ball, mm."""
    end = round_end(work.side_tool)
    if end is None or end[0] > TOUCH_MM:
        raise PassError(
            "tool",
            f'a fillet goes with a ball; tool {work.tool.number} is "{work.tool.shape}"',
        )
    if end[1] > item.fillet_radius + TOUCH_MM:
        raise PassError(
            "fillet_radius",
            f"{work.say(item.fillet_radius)} is below the radius of the ball, "
            f"{work.say(end[1])}; take a smaller tool",
        )
    return end[1]


def _angles(work: Work, item: FilletPass, ball: float) -> list[float]:
    """Return the angles of the rounds, from the wall (a right angle) down to the floor (0)."""
    kind, value = given_step(work, item)
    a = item.fillet_radius - ball
    if a <= TOUCH_MM:
        return [0.0]  # the ball fills the fillet
    if kind == "scallop_height":
        step = fillet_step(value, ball, item.fillet_radius)
    else:
        if value > 2 * ball + 1e-9:
            raise PassError(
                "radial_cutting_depth",
                f"{work.say(value)} leaves metal standing between the paths; the ball of tool "
                f"{work.tool.number} allows {work.say(2 * ball)}",
            )
        step = 2 * math.asin(value / (2 * a)) if value < 2 * a else math.pi
    whole = math.pi / 2
    count = max(1, math.ceil((whole - LEAST_ANGLE) / step))
    if count > LIMIT_ROUNDS:
        key = kind if kind == "scallop_height" else "radial_cutting_depth"
        raise PassError(key, f"would take {count + 1} rounds; at most {LIMIT_ROUNDS} are made")
    angles = [whole - n * step for n in range(count)]
    return [*angles, 0.0]


def _way(
    work: Work, item: FilletPass, contour: Contour, left: bool, gap: float, back: bool, final: bool
) -> Way:
    """Return the way of one round, `gap` from the contour, walked backwards or not.

    The round on the wall, the final one, has to reach every piece of it.
    """
    if gap < -TOUCH_MM:
        raise PassError("allowance_side", "puts the axis past the contour")
    path = contour
    if gap > TOUCH_MM:
        path = offset_wall(contour, gap, left, work.unit, final=final, keeps=KEEPS)
    return Way(path.reversed() if back else path, left != back, item.approach, item.retract)


def _check_top(work: Work, rounds: list[_Round]) -> None:
    high = max(r.z for r in rounds)
    if high >= work.top:
        raise PassError(
            "top",
            f"{work.say(work.top)}, is not above the highest round, {work.say(high)}",
        )


def _stay_down(tip: Tip, rounds: list[_Round], top: float) -> None:
    """Cut the rounds one after the other without going up.

    Notes
    -----
    From one round to the next the tip goes straight, so the ball's center runs along a chord of
    its circle about the fillet's axis: inside, clear of floor and wall.
    """
    rounds[0].way.enter(tip, rounds[0].z, top)
    for n, each in enumerate(rounds):
        if n:
            tip.to((*each.way.path.start, each.z))
        tip.along(each.way.path.pieces)
    rounds[-1].way.leave(tip, top)
