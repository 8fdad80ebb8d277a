"""Strips at the foot of an outer wall that its finisher, too high, never came down to."""

from __future__ import annotations

import dataclasses
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np

from .base import THOU

if TYPE_CHECKING:
    from .base import Point
    from .case import Case
    from .passing import Bools, Floats, Ints, Passing

__all__ = ["Foot", "feet"]

HIGH: Final = 50 * THOU
"""A wall left higher than this below the last depth is another depth."""
FACE: Final = 20 * THOU
"""A strip with an upright face so high, and no further off than `LINE`, has a line above it."""
LINE: Final = 10 * THOU
FAR: Final = 60 * THOU
"""Metal further from the wall than this is no strip of it."""
ON: Final = 0.1 * THOU
SAME: Final = 1e-6
SAMPLES: Final = 120
HALVINGS: Final = 30
_FOUND: weakref.WeakKeyDictionary[Case, tuple[Foot, ...]] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class Foot:
    """A strip below a finisher's tip.

    Attributes
    ----------
    by, left : int
        The pass that stops above it, and the one that left it.
    tip : float
        Of the finisher, mm.
    move : int
        Of the finisher, the first beside it.
    moves : ndarray of int64
        All of them.
    proud : float
        How far it stands out from the finished wall at the part's bottom, mm.
    length : float
        Of the path beside it, mm.
    floor : float
        Beside the strip, below the part's bottom, mm; -inf: there is none.
    at : (x, y, z)
    """

    by: int
    left: int
    tip: float
    move: int
    moves: Ints
    proud: float
    length: float
    floor: float
    at: Point


def feet(case: Case) -> tuple[Foot, ...]:
    """Return the strips above the part's bottom that stay below passes; looked for once."""
    from .passing import passings

    if case not in _FOUND:
        least = case.margin("ledge_proud")
        runs = passings(case, -2 * HIGH, SAME)
        low = [run for run in runs if least < run.z - case.part_bottom <= HIGH]
        found = (_foot(case, run, least) for run in low)
        _FOUND[case] = tuple(foot for foot in found if foot is not None)
    return _FOUND[case]


def _foot(case: Case, run: Passing, least: float) -> Foot | None:
    """Return the strip that one pass at one height leaves below it."""
    walls = run.walls()
    on = walls.side & (walls.by > 0) & (walls.by < run.number) & (walls.gap <= ON)
    end = run.hits(np.where(on, walls.height, np.nan), end=True)
    stays = on & (np.abs(end.gap) <= ON)  # the wall as this pass leaves it
    beside: Bools = np.asarray(stays.any(axis=2))
    which = np.flatnonzero(beside[:, 0] != beside[:, 1])
    if not len(which):
        return None
    side, part = np.argmax(beside[which], axis=1), run.some(which)
    down = case.part_bottom - run.z  # over the tip: below 0
    wide, high, owner = _seen(part, side, down)
    strip = (wide > least) & (wide < FAR - ON) & (high <= part.edge.corner_top + SAME)
    strip &= ~_has_line(part, side, run.z - case.part_bottom)
    found = np.flatnonzero(strip)
    if not len(found) or float(part.weight[found].sum()) < run.edge.radius:
        return None
    k = int(found[np.argmax(np.round(wide[found], 9))])
    reach = run.edge.radius - float(wide[k])
    x, y, _ = part.at(k, int(side[k]), reach, 0.0)
    left = _left_by(case, part, k, int(side[k]))
    return Foot(
        by=run.number, left=int(owner[k]) if left < 0 else left, tip=run.z,
        move=int(part.moves[found[0]]), moves=part.moves[found],
        proud=float(wide[k]), length=float(part.weight[found].sum()),
        floor=_floor(part.some(found), side[found], down), at=(x, y, case.part_bottom),
    )  # fmt: skip


def _left_by(case: Case, part: Passing, k: int, side: int) -> int:
    """Return the pass that left the strip's face, by a level ray over the part's bottom; -1: none.

    Its top, where the finisher's bottom ran, is the finisher's.
    """
    from .walls import walls_of

    walls = walls_of(case)
    origin, way = part.places.tip[[k]].copy(), walls.way(part.places)[[k], side]
    origin[0, 2] = case.part_bottom + SAME
    metal = walls.before.rays(origin, way, len(walls.moves), part.edge.radius + FAR)
    first = int(metal.first()[0])
    move = int(metal.enter_move[first]) if first >= 0 else -1
    return int(walls.moves.pass_number[move]) if move >= 0 else -1


def _at_end(part: Passing, side: Ints, aside: Floats) -> tuple[Floats, Ints]:
    """Return height over the tip, and who left it, so far inwards from the tool's side."""
    sense = np.where(side == 0, 1.0, -1.0)[:, None]
    _, x, y, _ = part.around(sense * (part.edge.radius - aside))
    over, by = part.at_end(x, y)
    return over, by.astype(np.int64)


def _seen(part: Passing, side: Ints, down: float) -> tuple[Floats, Floats, Ints]:
    """Return how wide metal stands over a level from the wall on, how high, and who left it.

    Width NaN: it does not end within the tool, or does not begin at the wall.
    """
    aside = np.linspace(ON, min(FAR, part.edge.radius), SAMPLES)
    over, by = _at_end(part, side, np.broadcast_to(aside, (len(side), SAMPLES)))
    stands = over > down + SAME
    ends, row = np.argmin(stands, axis=1), np.arange(len(side))
    good = stands[:, 0] & ~stands[row, ends]
    low, high = aside[np.maximum(ends - 1, 0)], aside[ends]
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        up = _at_end(part, side, middle[:, None])[0][:, 0] > down + SAME
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    strip = np.where(np.arange(SAMPLES) < ends[:, None], over, -np.inf)
    return np.where(good, low, np.nan), strip.max(axis=1), by[row, np.maximum(ends - 1, 0)]


def _floor(part: Passing, side: Ints, down: float) -> float:
    """Return the height of the highest floor beside the strips that lies below it, mm."""
    aside = np.linspace(min(FAR, part.edge.radius), part.edge.radius, 9)
    over, _ = _at_end(part, side, np.broadcast_to(aside, (len(side), 9)))
    below = over[over <= down + SAME]
    return part.z + float(below.max()) if len(below) else -np.inf


def _has_line(part: Passing, side: Ints, height: float) -> Bools:
    """Whether the strip's face is upright and high enough that a line above it is seen."""
    if height < FACE:
        return np.zeros(len(side), bool)
    top, _, _ = _seen(part, side, -2 * SAME)
    low, _, _ = _seen(part, side, -FACE)
    line: Bools = (np.abs(low - top) <= ON) & (top < LINE - ON)
    return line
