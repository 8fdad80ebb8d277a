"""A floor pass whose side touches the wall.

A rougher leaves some thou on wall and floor. The floor pass takes the floor and keeps
off the wall by a few tenths more than the rougher left there; the wall pass comes after
it. Where it keeps off by less its side cuts along with its bottom: the load comes from
two sides, the tool chatters, and floor and wall show it.

[floor-touches-wall] A floor pass is one that runs level and takes at most 30 thou from a
level floor of an earlier pass, over an eighth of its flat end or more with the fillet
beside that floor, and that leaves the floor as it stays. Its wall is what an earlier
pass left with its side, 20 thou high or more, within the part. It is measured above the
corner radius of the tool that left it; below that lies fillet metal, which is another
matter [fillet-in-one-bite], and so is what a bigger tool left round an inside corner
[corner-bite].
It is a finding where another pass finishes that wall later, or had finished it before;
not a second pass of the same tool at the same height, nor a wall that a cove takes away.
Cutting or touching it spoils; where it clears by less than `side_gap` it is one to
watch: by program, that gap closes if the earlier tool pushed off that much more. The
same tool at the very allowance that it left itself is one to watch too: in the light cut
on the floor it is pushed off less, and cuts.
Size: how deep it cuts the wall, or by how much it clears it. Exact.
Cure: raise the side allowance of the floor pass to what is left on the wall and
`side_gap_advised` more. Where the wall is finished, to `side_gap_advised`. Where by program
it clears by `side_gap` and a D register in force or a work zero is off, that.

A pass that takes wall and floor together because no other pass finishes them is no
mistake of an allowance. If it takes a thou or more from each it is a note: wall and
floor in one cut chatter easily, and the floor first, then the wall, is surer. Size of
the note: how deep it takes the floor. Where it takes a bigger tool's fillet along with
them, [fillet-in-one-bite] says it. The same tool that goes down by steps along its own
wall, raw walls, and what lies below the part's bottom are silent.

Margins: `side_gap` 0.3 thou, about what a stiff end mill is pushed off by a light cut
and a spindle wanders while it warms up; `side_gap_advised` 0.5 thou.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule
from .passing import LIMIT
from .walls import walls_of

if TYPE_CHECKING:
    from .case import Case
    from .passing import Bools, Floats, Hits, Ints, Passing

__all__ = ["RULES"]

SAME: Final = 1e-6
FELT: Final = 0.05 * THOU
"""Less than this is taken neither from a floor nor from a wall."""
KEPT: Final = 1 * THOU
"""A floor that a later pass takes less from is left as it stays."""
TAKES: Final = 1 * THOU
"""A pass that takes less from a wall does not finish it."""
LATER: Final = 0.1 * THOU
"""A pass that takes more from a wall afterwards finishes it."""
UNSURE: Final = 0.5 * THOU
"""A gap below this closes by what an earlier tool may have been pushed off."""
FINISHED: Final = 2 * THOU
"""Another pass's floor this near the tip is one that this pass runs over, and does not take."""
SHARE: Final = 0.12
"""Share of the flat end that must take the floor."""


@dataclasses.dataclass(frozen=True)
class _Touch:
    """A place where the side of a floor pass is near a wall.

    gap: below 0 minus the bite; own: side allowance of the floor pass, from the wall at the job's
    end; by, made: pass and move that left the wall; length: of the path that is too near; floor:
    how deep it takes the floor.
    """

    run: Passing
    gap: float
    own: float
    station: int
    move: int
    by: int
    made: int
    at: tuple[float, float, float]
    length: float
    floor: float
    together: bool
    stations: Bools


def _find(case: Case) -> Iterator[Finding]:
    from .drags import drags
    from .passing import passings

    dragging = {(d.run.number, d.run.z) for d in drags(case)}
    worst: dict[tuple[int, bool], _Touch] = {}
    for run in passings(case, FELT, math.inf):
        for touch in _touches(case, run) if (run.number, run.z) not in dragging else ():
            key = run.number, touch.together
            if key not in worst or touch.gap < worst[key].gap - SAME:
                worst[key] = touch
    for (number, together), touch in worst.items():
        if not together:
            yield _finding(case, touch)
        elif (number, False) not in worst and not _by_fillet(case, number):
            yield _note(case, touch)


def _by_fillet(case: Case, number: int) -> bool:
    """Whether the pass takes a bigger tool's fillet in one bite, which says it already."""
    from .fillet_bite import bites

    return number in bites(case)


def _touches(case: Case, run: Passing) -> Iterator[_Touch]:
    """Yield the nearest wall that another pass finishes, and the deepest that this one does."""
    taken = run.floor & (run.over > FELT)
    which = np.flatnonzero(_takes_floor(case, run, taken))
    length = float(run.weight[which].sum())
    if length < run.edge.radius or not _stays(run, taken, which):
        return
    near, taken = run.some(which), taken[which]
    walls = near.walls()
    seen = walls.side & (walls.by > 0) & (walls.by < run.number)
    gap = np.where(seen, walls.gap, np.nan)
    gap = np.where(_strip(near, walls, gap, case.margin("side_gap")), np.nan, gap)
    ends = _Ends.of(near, walls, gap)
    depth = np.where(taken, near.over, 0.0).max(axis=1)
    finished = np.abs(ends.others) <= LATER
    alone = finished & ((gap <= -TAKES) | (ends.own > LATER))
    alone |= finished & _stepping(case, near, walls, taken)
    alone |= (gap <= -TAKES) & np.isin(ends.by, _seconds(case, near))
    wrong = (finished | (ends.others > LATER)) & ~alone & (gap < case.margin("side_gap") - SAME)
    for chosen, together in ((wrong, False), (alone & (gap <= -TAKES), True)):
        if chosen.any():
            yield _worst(near, walls, np.where(chosen, gap, np.inf), ends, depth, together)


def _seconds(case: Case, near: Passing) -> list[int]:
    """Return the later passes of the same tool at the same height: second finish passes."""
    moves, info = case.moves, case.passes
    level = ~moves.rapid & (moves.start[:, 2] == moves.end[:, 2])
    level &= np.abs(moves.end[:, 2] - near.z) <= SAME
    level &= moves.h_register == moves.h_register[int(near.moves[0])]
    tool = info[near.number].tool
    later = np.unique(moves.pass_number[level]).tolist()
    return [n for n in later if n > near.number and n in info and info[n].tool == tool]


def _strip(near: Passing, walls: Hits, gap: Floats, margin: float) -> Bools:
    """Return where what is too near is lower than a wall: it stands under a semi-finisher's corner.

    A pass with a corner radius that runs a little higher leaves the strip at the wall's foot.
    """
    from .passing import WALL

    touched = np.nan_to_num(gap, nan=np.inf) < margin - SAME
    top = np.nanmax(np.where(np.isfinite(walls.height), walls.height, -np.inf), axis=2)
    above = np.where(touched, np.minimum(walls.height + WALL, top[..., None]), np.nan)
    higher = np.nan_to_num(near.hits(above).gap, nan=np.inf)
    strip: Bools = touched & ~(higher < np.minimum(margin - SAME, gap + FELT))
    return strip


def _takes_floor(case: Case, run: Passing, taken: Bools) -> Bools:
    """Return the stations at which the pass takes a floor, with the fillet beside it.

    A wall pass takes but the strip that the floor pass left at the foot of the wall.
    """
    corner = max(case.tool_of(n).corner_radius for n in case.passes)

    def metal(over: Floats, by: NDArray[np.int32]) -> Bools:
        found: Bools = (by > 0) & (by < run.number) & (over > FELT) & (over < LIMIT + corner)
        return found

    others = run.floor & ~taken & (np.abs(run.over) <= FINISHED)
    some, rest = taken.sum(axis=1) > 0, others.mean(axis=1)
    share = metal(run.over, run.by).mean(axis=1)
    narrow = np.flatnonzero((share < SHARE) | ~some)
    if some.any() and len(narrow):
        # The last of many rounds: earlier ones of the pass took the floor under its end.
        levels = np.unique(np.round(run.over[taken], 6))
        over, by = run.before(run.number, *(v[narrow] for v in run.places_under))
        was = metal(over, by)
        floor = (was & np.isin(np.round(over, 6), levels)).any(axis=1)
        share[narrow[floor]], some[narrow[floor]] = was[floor].mean(axis=1), True
    floored: Bools = (share >= SHARE) & (share > rest) & some
    return floored


def _stays(run: Passing, taken: Bools, which: Ints) -> bool:
    """Whether the floor under those stations stays as the pass leaves it."""
    after = run.after[which][taken[which]]
    return bool((np.abs(after) <= KEPT).mean() >= 0.5) if len(after) else False


@dataclasses.dataclass(frozen=True)
class _Ends:
    """What becomes of the walls beside stations, (n, 2, levels), mm; NaN: gone, or not looked at.

    own, others: what the pass itself takes on later rounds, and other passes after it;
    allowance: from the tool's side to the wall at the job's end; by: the pass that left it.
    """

    own: Floats
    others: Floats
    allowance: Floats
    by: Ints

    @classmethod
    def of(cls, near: Passing, walls: Hits, gap: Floats) -> _Ends:
        height = np.where(np.isfinite(gap), walls.height, np.nan)
        done, last = near.hits(height, done=True).gap, near.hits(height, end=True)
        now = np.maximum(gap, 0.0)
        # A cove that comes so far in takes the wall away.
        round_off = last.corner & (last.gap - np.maximum(done, now) > LIMIT)
        end = np.where(round_off, np.nan, last.gap)
        own, others, allowance = (
            _middle(v, height) for v in (done - now, end - np.maximum(done, now), end)
        )
        return cls(own, others, allowance, last.by.astype(np.int64))


def _middle(values: Floats, height: Floats) -> Floats:
    """Return the value in the middle of the heights of each wall, for all of them.

    The edge of a wall may get a chamfer, its foot a fillet. Each height counts once.
    """
    found = np.full(values.shape, np.nan)
    seen = np.isfinite(height)
    for k, side in np.argwhere(seen.any(axis=2)).tolist():
        here = np.flatnonzero(seen[k, side])
        _, first = np.unique(np.round(height[k, side, here], 6), return_index=True)
        row = np.sort(np.nan_to_num(values[k, side, here[first]], nan=np.inf))
        middle = float(row[len(row) // 2])
        found[k, side, here] = middle if math.isfinite(middle) else np.nan
    return found


def _stepping(case: Case, near: Passing, walls: Hits, taken: Bools) -> Bools:
    """Return the walls along which the same tool only goes a step down: it left their floor too."""
    tool = case.passes[near.number].tool
    mine = [n for n, p in case.passes.items() if p.tool == tool]
    share = (near.by[:, None, None, :] == walls.by[..., None]) & taken[:, None, None, :]
    found: Bools = share.sum(axis=3) > 0.5 * taken.sum(axis=1)[:, None, None]
    return found & np.isin(walls.by, mine)


def _worst(
    near: Passing, walls: Hits, gap: Floats, ends: _Ends, depth: Floats, together: bool
) -> _Touch:
    k, side, level = np.unravel_index(int(np.argmin(gap)), gap.shape)
    least, height = float(gap[k, side, level]), float(walls.height[k, side, level])
    radius = float(near.edge.reach_at(np.array([height]))[0])
    stations: Bools = np.asarray(np.isfinite(gap).any(axis=(1, 2)))
    of = walls_of(near.case).before.of
    return _Touch(
        run=near, gap=0.0 if abs(least) < SAME else least,
        own=float(ends.allowance[k, side, level]), station=int(k), move=int(near.moves[k]),
        by=int(walls.by[k, side, level]), made=int(of[walls.move[k, side, level]]),
        at=near.at(int(k), int(side), radius + max(least, 0.0), height),
        length=float(near.weight[stations].sum()), floor=float(depth[stations].max()),
        together=together, stations=stations,
    )  # fmt: skip


# ------------------------------------------------------------------------------------- what it says


def _finding(case: Case, touch: _Touch) -> Finding:
    unit, size = case.unit, abs(touch.gap)
    if touch.gap <= -FELT:
        text = f"the floor pass cuts the wall by {say_fine(size, unit)}"
    elif touch.gap < FELT:
        text = "the floor pass touches the wall"
    else:
        text = f"the floor pass clears the wall by only {say_fine(size, unit)}"
    text += f", along about {say_length(touch.length, unit, 2 if unit == 'in' else 1)} of its path"
    if FELT <= touch.gap < UNSURE:
        text += "; by program; closes if the earlier tool pushed off that much more"
    change, then = _keep_off(case, touch)
    return Finding(
        rule="floor-touches-wall",
        severity="watch" if _only_near(case, touch) else "spoils",
        tool=case.passes[touch.run.number].tool,
        pass_number=touch.run.number,
        lines=case.lines_of(touch.run.moves[touch.stations]),
        at=touch.at,
        size=size,
        text=text,
        why="bottom and side cut at once: the tool chatters, and floor and wall show it",
        change=change,
        then=then,
        other_pass=touch.by,
    )


def _keep_off(case: Case, touch: _Touch) -> tuple[Change, str]:
    """Return the register that takes the gap, else the side allowance; and what it is like then."""
    from .listed import side_allowance
    from .registers import apart, cause_of, shares_of

    then = "the floor pass keeps {} off it and cuts the floor alone"
    out = touch.run.places.tip[touch.station, :2] - np.array(touch.at[:2])
    x, y = (out / np.hypot(*out)).tolist()
    shares = apart(*(shares_of(case, m, touch.at, (x, y, 0.0)) for m in (touch.move, touch.made)))
    least = case.margin("side_gap") - SAME
    cause = cause_of(case, shares, touch.gap, lambda gap: gap >= least)
    if cause is not None:
        free = say_fine(touch.gap - sum(s.by for s in shares), case.unit)
        return cause.change, then.format(free) + cause.with_words
    advised = max(case.margin("side_gap_advised"), case.margin("side_gap"))
    change = side_allowance(case, touch.move, touch.own, advised - touch.gap)
    return change, then.format(say_fine(advised, case.unit))


def _only_near(case: Case, touch: _Touch) -> bool:
    """Whether the pass clears the wall, or only runs along a wall of its own tool."""
    same = case.passes[touch.by].tool == case.passes[touch.run.number].tool
    return touch.gap >= (-FELT if same else FELT)


def _note(case: Case, touch: _Touch) -> Finding:
    from .listed import seconds_again, side_allowance

    unit, number = case.unit, touch.run.number
    advised = case.margin("side_gap_advised")
    again = seconds_again(case, number, touch.run.z)
    change = side_allowance(case, touch.move, touch.own, advised - touch.gap, seconds=again)
    return Finding(
        rule="floor-touches-wall",
        severity="note",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(touch.run.moves[touch.stations]),
        at=touch.at,
        size=touch.floor,
        text=f"one pass takes wall and floor at once: {say_fine(-touch.gap, unit)} of the wall and "
        f"{say_fine(touch.floor, unit)} of the floor",
        why="wall and floor in one cut chatter easily",
        change=change,
        then="this pass takes the floor alone; a wall pass after it, a few tenths higher, takes "
        "the wall",
        other_pass=touch.by,
    )  # fmt: skip


RULES: Final = (
    Rule(
        {"floor-touches-wall": "The side of a floor pass touches the wall"},
        _find,
        (
            Margin("side_gap", 0.3 * THOU, "least gap of a floor pass to a wall beside it"),
            Margin("side_gap_advised", 0.5 * THOU, "advised gap of a floor pass to a wall"),
        ),
    ),
)
