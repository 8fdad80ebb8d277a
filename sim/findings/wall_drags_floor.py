"""A wall pass whose bottom drags on a floor that another pass finished.

The floor is finished first; the wall pass comes after it and stays a few tenths above
that floor, so that it cuts with its side alone. Lower, its end rubs or cuts a groove
along the foot of the wall: a witness line on the floor, and chatter on the wall.

[wall-drags-floor] A wall pass is one that runs level with its side on a wall that an
earlier pass left, 20 thou high or more: cutting it, or within a tenth of it. Its floor
is a level floor of an earlier pass under a sixth of its flat end or more, within 30 thou
of its tip, that stays as it is beside or under the pass. Cutting or touching that floor
spoils it; where the pass clears it by less than `bottom_gap` it is one to watch: by
program, that gap closes if the earlier tool pushed off that much more. With another
tool, or another height register, all that by program does not cut the floor and clears
it by less than `bottom_gap_other` is a note: two touch-offs do not repeat better.
A cut into a floor that stays higher beside the pass is a groove. A pass that cuts all of
the floor over which it runs finishes it, and is silent, if it takes more than a thou, or
more than 3 where a floor pass had taken it before.
Silent are another tool that took the floor there at its height before, the same tool at
the height of the pass that made both wall and floor (a second finish pass), a spring
pass of any tool, what lies below the part's bottom (the ledge's own rule judges it), and
floors that a later pass cuts again. Where the job does not say
where the part ends, the lowest floor of all may be scrap: that is one to watch at most.
Size: how deep it cuts the floor, or by how much it clears it. Exact.
Cure: lift the pass to `lift_advised` above the floor; with another tool to
`bottom_gap_other`. Where the program alone clears and an error of a height register
makes the drag, the register is named. The lift leaves a strip at the foot of the wall:
as high as the lift, and as wide as the floor pass kept off the wall; with a corner
radius RE that pass leaves RE - sqrt(RE^2 - (RE - lift)^2) more. The wall pass's own
corner radius covers the strip where it is wider.

A strip higher than `foot_strip` that a wall pass of the same tool leaves, up to 3 thou,
is a note; its size is the strip's height.

Margins: `bottom_gap` 0.15 thou, about what one tool's heights repeat to;
`bottom_gap_other` 1 thou, as two touch-offs by hand do; `lift_advised` 0.3 thou,
`foot_strip` 0.5 thou: lower can't be felt with a fingernail.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import weakref
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule, Severity

if TYPE_CHECKING:
    from .case import Case
    from .passing import Bools, Floats, Hits, Ints, Passing

__all__ = ["RULES", "Drag", "drags", "strip_width"]

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
UNSURE: Final = 0.5 * THOU
"""A gap below this closes by what an earlier tool may have been pushed off."""
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

    side: on which; both: there is one on both; wall_by: the pass that left it, at its top, and over
    most of its height; bite: the most that is taken of it; traced: passes that left it where the
    tool's own side runs, -1 none.
    """

    run: Passing
    side: Ints
    both: Bools
    wall_by: Ints
    bite: Floats
    traced: Ints

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


def _find(case: Case) -> Iterator[Finding]:
    causes: dict[object, list[Drag]] = {}
    for drag in drags(case):
        causes.setdefault(_cause(case, drag), []).append(drag)
    for group in causes.values():
        yield _finding(case, group)


def _cause(case: Case, drag: Drag) -> object:
    """Return what makes one mistake of several drags: a register, or one tool at one height."""
    strip = _is_strip(case, drag)
    if not strip and _planned(case, drag) >= _wanted(case, drag) - SAME:
        return _register(case, drag).what
    tools = (case.passes[n].tool for n in (drag.run.number, drag.by))
    return (*tools, round(drag.run.z, 6), strip, drag.free >= case.margin("bottom_gap") - SAME)


# ---------------------------------------------------------------------------------- finding them


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
    )  # fmt: skip


def _owners(walls: Hits, on: Bools) -> Ints:
    """Return the pass that left the wall beside each station, at the highest place looked at.

    Lower down the side of a floor pass may have cut the rougher's fillet. But the pass that left
    most of the same wall is its owner too, where another's upper level just touches it: the second
    column.
    """
    from .passing import LEVELS

    n = len(on)
    row = np.arange(n)
    top = np.argmax(np.where(on, walls.height, -np.inf).reshape(n, -1), axis=1)
    owners, gaps = walls.by.reshape(n, -1)[row, top], walls.gap.reshape(n, -1)[row, top]
    even = on.copy()
    even[:, :, LEVELS:] = False
    even &= np.abs(walls.gap - gaps[:, None, None]) <= ON
    by = np.sort(np.where(even, walls.by, -1).reshape(n, -1), axis=1)
    least = 0.5 * even.sum(axis=(1, 2))
    most = by[row, by.shape[1] - 1 - np.floor(least).astype(np.int64)]  # a majority spans it
    mine = (by == most[:, None]).sum(axis=1) > least
    return np.stack([owners, np.where(mine, most, owners)], axis=1)


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
        return drag.free < gap - SAME or (_is_strip(case, drag) and _strip_stays(drag))
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
    own = (part.wall_by == drag.by).any(axis=1) | np.isin(part.traced, [drag.by, *again]).any(axis=1)
    return bool(own.mean() >= 0.5)


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


def _is_strip(case: Case, drag: Drag) -> bool:
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


# ------------------------------------------------------------------------------------- what it says


def _planned(case: Case, drag: Drag) -> float:
    """Return how far above the floor the pass runs by the program alone, mm."""
    from .taken import z_word

    return z_word(case, drag.move, drag.run.z) - z_word(case, drag.made, drag.run.z - drag.free)


def _register(case: Case, drag: Drag) -> Change:
    from .listed import register_between

    return register_between(case, drag.made, drag.move)


def _wanted(case: Case, drag: Drag) -> float:
    """Return the gap below which there is something to say, mm."""
    return case.margin("bottom_gap_other" if drag.other else "bottom_gap")


def _lift(case: Case, drag: Drag) -> float:
    """Return the advised height over the floor, mm."""
    return max(case.margin("lift_advised"), _wanted(case, drag))


def _finding(case: Case, group: list[Drag]) -> Finding:
    worst = min(group, key=lambda d: (round(d.free, 9), d.run.number))
    strip = _is_strip(case, worst)
    moves = np.concatenate([d.run.moves for d in group if d.run.number == worst.run.number])
    planned = _planned(case, worst)
    text, lift = _text(case, worst), _lift(case, worst)
    if worst.free < planned - FELT and planned >= _wanted(case, worst) - SAME:
        change = _register(case, worst)
        text += f"; by program it clears by {say_fine(planned, case.unit)}: {change.what} makes it"
        lift = planned
    else:
        change = _height(case, worst, lift - worst.free)
    return Finding(
        rule="wall-drags-floor",
        severity=_severity(case, worst),
        tool=case.passes[worst.run.number].tool,
        pass_number=worst.run.number,
        lines=case.lines_of(moves),
        at=worst.at,
        size=abs(worst.free),
        text=text,
        why="it can be felt at the foot of the wall" if strip else _why(worst),
        change=change,
        then=f"the wall pass cuts the wall alone; {_strip(case, worst, lift)}",
        other_pass=worst.by,
    )


def _severity(case: Case, drag: Drag) -> Severity:
    if drag.free >= case.margin("bottom_gap") - SAME or (drag.other and drag.free > -FELT):
        return "note"
    if drag.free >= FELT:
        return "watch"
    moves = case.moves
    level = ~moves.rapid & (moves.start[:, 2] == moves.end[:, 2]) & (moves.lengths() > 0)
    low = float(moves.end[level, 2].min())
    scrap = not np.isfinite(case.part_bottom) and min(drag.run.z, drag.run.z - drag.free) <= low
    return "watch" if scrap else "spoils"


def _text(case: Case, drag: Drag) -> str:
    size = say_fine(abs(drag.free), case.unit)
    floor = f"the floor that pass {drag.by} finished"
    if drag.free <= -FELT:
        text = f"the wall pass cuts {floor} by {size}"
    elif drag.free < FELT:
        text = f"the wall pass drags on {floor}" + (" with another tool" if drag.other else "")
    elif _is_strip(case, drag):
        text = f"the wall pass runs {size} above {floor}: {_strip(case, drag, drag.free)}"
    else:
        text = f"the wall pass clears {floor} by only {size}"
    unit = case.unit
    length = float(drag.run.weight.sum())
    text += f", along about {say_length(length, unit, 2 if unit == 'in' else 1)}"
    if FELT <= drag.free < UNSURE:
        text += "; by program; closes if the earlier tool pushed off that much more"
    return text


def _why(drag: Drag) -> str:
    if drag.free < FELT:
        return "bottom and side cut at once: a line on the floor, and chatter on the wall"
    if drag.other:
        return "touch-off of two tools does not repeat better than that"
    return "it rubs on the floor as soon as the tool is pulled down a little"


def _height(case: Case, drag: Drag, more: float) -> Change:
    """Return the change of the height: the pass list's own lift, or Z in the program."""
    from .listed import level_of
    from .taken import z_line, z_word

    number = drag.run.number
    item, _ = level_of(case, drag.move)
    if item is not None:
        return Change(f"lift of pass {number}", item.lift, item.lift + more)
    z = z_word(case, drag.move, drag.run.z)
    return Change(f"Z of pass {number}, line {z_line(case, drag.move)}", z, z + more)


def _strip(case: Case, drag: Drag, lift: float) -> str:
    """Say the strip that a wall pass so far above the floor leaves at the wall's foot."""
    wide, corner = strip_width(drag.run, drag.side, drag.free, lift), drag.run.edge.widest_at
    if wide <= corner + FELT:
        return "its corner radius covers the strip that this leaves at the wall's foot"
    high = say_fine(lift, case.unit)
    return f"a strip {high} high and {say_fine(wide, case.unit)} wide stays at the wall's foot"


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


RULES: Final = (
    Rule(
        {"wall-drags-floor": "A wall pass drags on a floor that another pass finished"},
        _find,
        (
            Margin("bottom_gap", 0.15 * THOU, "least gap of a wall pass to a finished floor"),
            Margin("bottom_gap_other", 1 * THOU, "the same where another tool finished it: a note"),
            Margin("lift_advised", 0.3 * THOU, "advised height of a wall pass over the floor"),
            Margin("foot_strip", 0.5 * THOU, "a strip at a wall's foot less high is silent"),
        ),
    ),
)
