"""Wall passes that run over a floor which another pass finished, and how high over it."""

from __future__ import annotations

import dataclasses
import weakref
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from .base import THOU
from .walls import walls_of

if TYPE_CHECKING:
    from .case import Case
    from .passing import Bools, Floats, Hits, Ints, Passing

__all__ = ["FELT", "SAME", "Drag", "drags", "is_strip", "strip_width"]

SAME: Final = 1e-6
FELT: Final = 0.05 * THOU
"""Less than this above or below a floor is on it."""
ON: Final = 0.1 * THOU
"""A wall this near the tool's side is one that the tool runs along."""
THICK: Final = 0.5
"""A pass that takes more of a wall, as a share of its radius, is no wall pass."""
STANDS: Final = 30 * THOU
"""A wall that is further off at the end of the job is gone."""
MEANT: Final = 1 * THOU
"""A pass that takes less from a whole floor does not finish it."""
DEEP: Final = 3 * THOU
"""A pass that takes more from a whole floor that a floor pass left finishes it."""
STRIP: Final = 3 * THOU
"""A strip higher than this is a level of its own."""
PLACES: Final = 3
"""Places of those across the flat end that must lie over the floor."""
BESIDE: Final = (1.1, 1.3)
"""The floor beside the pass is looked at so far from the axis, in radii of the tool."""
REMAINS: Final = 0.3
"""Share of the stations beside which the floor stays that makes a cut a groove."""
SAMPLES: Final = 600
_FOUND: weakref.WeakKeyDictionary[Case, tuple[Drag, ...]] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class Drag:
    """A floor of an earlier pass under a wall pass.

    Attributes
    ----------
    run : Passing
        Its stations over the floor, along the wall.
    side : ndarray of int64
        On which side of each the wall stands: 0 left, 1 right.
    made : int
        A move that left the floor.
    by : int
        Its pass.
    free : float
        Tip over the floor, mm; below 0 minus the depth of the cut.
    other : bool
        Another tool, or the same on another height register, left it.
    at : (x, y, z)
    """

    run: Passing
    side: Ints
    made: int
    by: int
    free: float
    other: bool
    at: tuple[float, float, float]

    @property
    def move(self) -> int:
        """The first move over the floor."""
        return int(self.run.moves[0])


@dataclasses.dataclass(frozen=True)
class _Along:
    """Stations of a pass over floors and along a wall.

    side: on which; both: there is one on both; wall_by: the pass that left it; bite: the most that
    is taken of it; traced: passes that left it where the tool's own side runs, -1 none; height:
    over the tip, where it stands, and which pass left it there, (n, heights).
    """

    run: Passing
    side: Ints
    both: Bools
    wall_by: Ints
    bite: Floats
    traced: Ints
    height: Floats
    height_by: Ints

    def some(self, which: Ints) -> _Along:
        parts = (getattr(self, f.name)[which] for f in dataclasses.fields(self)[1:])
        return _Along(self.run.some(which), *parts)


def drags(case: Case) -> tuple[Drag, ...]:
    """Return the floors that wall passes of a case drag on, or run too near; looked for once."""
    from .passing import LIMIT, passings

    if case not in _FOUND:
        runs = passings(case, -LIMIT, LIMIT)
        _FOUND[case] = tuple(drag for run in runs for drag in _drags(case, run))
    return _FOUND[case]


def _drags(case: Case, run: Passing) -> Iterator[Drag]:
    """Yield the floors of earlier passes that one pass at one height drags on."""
    found = _along(run)
    if found is None:
        return
    run = found.run
    z = np.where(run.floor, np.round(run.over + run.z, 6), np.nan)
    groups = np.unique(np.stack([run.by[run.floor], z[run.floor]], axis=1), axis=0)
    for by, height in groups.tolist():
        here = run.floor & (run.by == by) & (np.abs(z - height) <= 2 * SAME)
        which = np.flatnonzero(here.sum(axis=1) >= PLACES)
        if len(which) and float(run.weight[which].sum()) >= run.edge.radius / 4:
            part = found.some(which)
            drag = _drag(case, part, here[which], int(by))
            if _counts(case, drag, part, here[which]):
                yield drag


def _along(run: Passing) -> _Along | None:
    """Return the stations over floors at which the pass runs along a wall; None: there are none."""
    over = np.flatnonzero(run.floor.sum(axis=1) >= PLACES)
    if not len(over):
        return None
    run = run.some(over)
    walls = run.walls()
    on = walls.side & (walls.by > 0) & (walls.by < run.number) & (walls.gap <= ON)
    on &= walls.gap > -run.edge.radius * THICK
    end = run.hits(np.where(on, walls.height, np.nan), end=True)
    on &= end.gap <= STANDS
    beside = np.stack([on[:, 0].any(axis=1), on[:, 1].any(axis=1)], axis=1)
    along = np.flatnonzero(beside[:, 0] | beside[:, 1])
    if not len(along):
        return None
    bite = np.where(on, -walls.gap, 0.0).max(axis=(1, 2))
    return _Along(
        run.some(along), np.argmax(beside[along], axis=1), beside[along, 0] & beside[along, 1],
        _owners(walls, on)[along], bite[along],
        np.where(on & (np.abs(walls.gap) <= ON), walls.by, -1).reshape(len(on), -1)[along],
        np.where(on, walls.height, -np.inf).reshape(len(on), -1)[along],
        walls.by.astype(np.int64).reshape(len(on), -1)[along],
    )  # fmt: skip


def _owners(walls: Hits, on: Bools) -> Ints:
    """Return the pass that left the wall beside each station, at the highest place looked at.

    Lower down the side of a floor pass may have cut the rougher's fillet.
    """
    n = len(on)
    height = np.where(on, walls.height, -np.inf).reshape(n, -1)
    owners: Ints = walls.by.reshape(n, -1)[np.arange(n), np.argmax(height, axis=1)]
    return owners


def _drag(case: Case, part: _Along, here: Bools, by: int) -> Drag:
    run = part.run
    k, j = np.argwhere(here)[0].tolist()
    made = run.made(int(run.owner[k, j]))
    moves, mine = case.moves, int(run.moves[0])
    other = moves.tool[made] != moves.tool[mine] or moves.h_register[made] != moves.h_register[mine]
    over = float(run.over[k, j])
    at = (*run.under_at(k, j), run.z + min(over, 0.0))
    return Drag(run, part.side, made, by, -over, bool(other), at)


def _counts(case: Case, drag: Drag, part: _Along, here: Bools) -> bool:
    """Whether a drag is a mistake, or to be known of."""
    floor = drag.run.z - drag.free
    if floor <= case.part_bottom + SAME or floor >= case.part_top or _off_part(case, drag, floor):
        return False
    after = drag.run.after[here]
    own = _own(case, drag, part)
    if drag.free >= -SAME:
        if (np.abs(after + drag.free) <= FELT).mean() < 0.5:
            return False  # a later pass cuts it again
        if own and (not drag.other or float(part.bite.max()) <= ON):
            return False  # its own second pass, or a spring pass
        if drag.other and _floored(case, drag):
            return False
        gap = case.margin("bottom_gap_other" if drag.other else "bottom_gap")
        return drag.free < gap - SAME or (is_strip(case, drag) and _strip_stays(drag))
    if (np.abs(after) <= MEANT).mean() < 0.5:
        return False  # a step of roughing
    if _groove(drag, part.both):
        return True
    if -drag.free <= MEANT:
        return drag.other or not own
    return -drag.free <= DEEP and not own and _skimmed(drag, here)


def _own(case: Case, drag: Drag, part: _Along) -> bool:
    """Whether the pass goes once more where one pass left wall and floor, or along its own way."""
    moves, info = case.moves, case.passes
    at_z = moves.pass_number[np.abs(moves.end[:, 2] - drag.run.z) <= SAME]
    again = [
        n for n in np.unique(at_z).tolist()
        if n in info and n < drag.run.number and info[n].tool == info[drag.run.number].tool
    ]  # fmt: skip
    own = (part.wall_by == drag.by) | np.isin(part.traced, [drag.by, *again]).any(axis=1)
    # Above, an upper level may have left the wall, or just touched it.
    own |= ((part.height_by == drag.by) & (part.height > _foot(case, drag))).any(axis=1)
    return bool(own.mean() >= 0.5)


def _foot(case: Case, drag: Drag) -> float:
    """Return how far over the tip what earlier passes left there may be fillet metal, mm."""
    from .passing import LIMIT

    walls = walls_of(case)
    moves = walls.moves
    over = moves.end[:, 2] - drag.run.z
    below = np.flatnonzero(
        ~moves.rapid & (moves.pass_number < drag.by) & (over > -LIMIT) & (over < LIMIT)
    )
    tools = case.job.tools
    corner = {n: walls.edge(tools[n]).corner_top for n in np.unique(moves.tool[below]).tolist()}
    return max((float(over[m]) + corner[int(moves.tool[m])] for m in below.tolist()), default=0.0)


def _floored(case: Case, drag: Drag) -> bool:
    """Whether the pass's own tool took the floor there too, between the floor's pass and this one.

    Were it set lower than it is, that pass would have dug in, not this one.
    """
    moves, mine = case.moves, drag.move
    own = (moves.pass_number > drag.by) & (moves.pass_number < drag.run.number) & ~moves.rapid
    own &= (moves.tool == moves.tool[mine]) & (moves.h_register == moves.h_register[mine])
    off = moves.end[:, 2] - (drag.run.z - drag.free)
    own &= (moves.start[:, 2] == moves.end[:, 2]) & (np.abs(off) <= MEANT) & (off < drag.free)
    reach = 2 * drag.run.edge.radius
    low = np.minimum(moves.start[:, :2], moves.end[:, :2]) - reach
    high = np.maximum(moves.start[:, :2], moves.end[:, :2]) + reach
    place = np.array(drag.at[:2])
    return bool((own & (low <= place).all(axis=1) & (place <= high).all(axis=1)).any())


def _skimmed(drag: Drag, here: Bools) -> bool:
    """Whether the pass that left the floor took it from an earlier one: a floor pass."""
    from .passing import LIMIT

    x, y = drag.run.under(here)
    over, _ = drag.run.before(drag.by, x, y)
    thick = over + drag.free
    return bool(((thick > FELT) & (thick < LIMIT)).mean() >= 0.5)


def is_strip(case: Case, drag: Drag) -> bool:
    """Whether all there is to say is the strip that the lift leaves."""
    return not drag.other and case.margin("foot_strip") + SAME < drag.free < STRIP


def _strip_stays(drag: Drag) -> bool:
    """Whether the strip that the pass leaves is there at the job's end, and not in its corner."""
    run, corner = drag.run, drag.run.edge.widest_at
    wide = strip_width(run, drag.side, drag.free, drag.free)
    if wide <= corner + FELT:
        return False
    out = run.edge.radius - (corner + wide) / 2
    _, x, y, _ = run.around(np.where(drag.side == 0, out, -out)[:, None])
    over, _ = run.at_end(x, y)
    return bool((np.abs(over) <= FELT).mean() >= 0.5)


def _off_part(case: Case, drag: Drag, floor: float) -> bool:
    """Whether the floor lies off the part near its bottom: a ledge, which has its own rule."""
    from .ledge import LIMIT, beyond

    if floor >= case.part_bottom + LIMIT:
        return False
    x, y, _ = (np.array([v]) for v in drag.at)
    return bool(beyond(case, x, y, np.array([floor]))[0])


def _groove(drag: Drag, both: Bools) -> bool:
    """Whether the same floor stays higher beside the pass, away from the wall."""
    run = drag.run
    away = np.where(drag.side == 0, -1.0, 1.0)[:, None] * np.array(BESIDE) * run.edge.radius
    _, x, y, _ = run.around(away)
    over, by = run.at_end(x, y)
    stays = (np.abs(over + drag.free) <= FELT) & (by == drag.by)
    beside = stays.any(axis=1) & ~both
    return bool(beside.mean() >= REMAINS)


def strip_width(run: Passing, side: Ints, free: float, lift: float) -> float:
    """Return how far from the wall the floor begins, seen at a height over it, mm.

    Parameters
    ----------
    run : Passing
    side : ndarray of int
        On which side of each station the wall stands.
    free, lift : float
        Tip over the floor, and the height over the floor at which to look, mm.

    Returns
    -------
    float
        The median of the stations.
    """
    radius = run.edge.radius
    sense = np.where(side == 0, 1.0, -1.0)[:, None]
    aside = np.linspace(0.0, radius, SAMPLES)
    over, *_ = run.around(sense * (radius - aside))
    above = over + free > lift + SAME
    last = np.where(above.any(axis=1), SAMPLES - 1 - np.argmax(above[:, ::-1], axis=1), 0)
    low, high = aside[last], aside[np.minimum(last + 1, SAMPLES - 1)]
    for _ in range(30):
        middle = (low + high) / 2
        over, *_ = run.around(sense * (radius - middle)[:, None])
        stands = over[:, 0] + free > lift + SAME
        low, high = np.where(stands, middle, low), np.where(stands, high, middle)
    return float(np.median(high))
