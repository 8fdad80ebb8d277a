"""The fillet that a bigger corner radius left, taken by the last wall pass in one bite.

A rougher with a corner radius leaves a fillet at the foot of its wall. Where the
finisher's corner is smaller it takes, besides the thin layer on the wall, all of that
fillet with its corner: at the foot of the wall the load jumps, the tool is pushed off
and chatters, and the lowest strip of the wall shows it.

[fillet-in-one-bite] The last wall pass (no other takes that wall after it) takes a
fillet of a bigger corner radius, and its corner's deepest bite, square to its arc, is
more than `fillet_bite` times what it takes from the wall above that fillet. With the
corner radii RR and RF of the tool that left the fillet and of this one, their wall
allowances aR and aF, the floor allowance bR, and this one's tip `lift` above the
finished floor the bite is

    hypot(aR + RR - RF - aF, bR + RR - RF - lift) - (RR - RF).

A pass with a corner radius as big or bigger takes nothing more there than on the wall,
and is silent; so is the bite of a pass before the last, and a fillet that lies below the
part's bottom as a whole. A fillet that only begins there counts: the tool is pushed off
the part's wall too. Where the pass takes the floor as well, its text says so, and the
floor pass comes first: see [floor-touches-wall].
Size: the deepest bite. Exact, measured on the metal as it stands. The area is that of a
section through what the pass takes there below the top of the fillet, to a part in a
hundred.
Cure where it takes the floor too: it becomes a floor pass that keeps off the wall by
`side_gap_advised` more than is left there, and a wall pass comes after it. Else a pass
before the last with the same tool at the same height, that leaves `last_pass` on the
wall, or half of what is there if that is less. It takes the fillet; the last pass then
leaves what is wanted and takes that one layer everywhere, at the foot too. A pass that by
program keeps off the wall and whose D register or work zero is off: that.

Margins: `fillet_bite` 1.5: up to half more than on the wall is what an end mill takes in
its stride; `last_pass` 2 thou: less may rub instead of cutting.

Source: plane geometry of two arcs; the margins are common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
import weakref
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import MM_PER, say_alike, say_fine
from .base import THOU, Change, Finding, Margin, Rule

if TYPE_CHECKING:
    from .case import Case
    from .passing import Floats, Hits, Ints, Passing

__all__ = ["RULES", "FilletBite", "bites"]

SAME: Final = 1e-6
LAST: Final = 0.1 * THOU
"""A wall this near where a pass left it is still its wall."""
FELT: Final = 0.05 * THOU
FOOT: Final = np.array([0.03, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9])
"""Heights at which fillets are looked for, as shares of the biggest corner radius before."""
CLOSELY: Final = 4
"""So many stations with the deepest bites are measured to the last digit."""
SECTION: Final = 4000
WIDE: Final = 0.12
"""Share of the flat end under which a floor must go for the pass to take it."""
_FOUND: weakref.WeakKeyDictionary[Case, Mapping[int, FilletBite]] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class FilletBite:
    """A fillet that the last wall pass takes in one bite, mm.

    Attributes
    ----------
    run : Passing
        The stations that take it.
    bite, wall : float
        Square to the corner's arc; on the wall above the fillet.
    corner, left : float
        Corner radii of the pass and of the tool that left the fillet.
    by : int
        The pass that left it.
    at : (x, y, z)
    area : float
        mm^2.
    floor : float
        How deep the pass takes the floor at the same time; 0: it does not.
    move : int
    """

    run: Passing
    bite: float
    wall: float
    corner: float
    left: float
    by: int
    at: tuple[float, float, float]
    area: float
    floor: float
    move: int


def bites(case: Case) -> Mapping[int, FilletBite]:
    """Return the fillets that last wall passes take in one bite, by pass."""
    if case not in _FOUND:
        found: dict[int, FilletBite] = {}
        for bite in _bites(case):
            number = bite.run.number
            if number not in found or bite.bite > found[number].bite + SAME:
                found[number] = bite
        _FOUND[case] = found
    return _FOUND[case]


def _bites(case: Case) -> Iterator[FilletBite]:
    from .passing import passings

    corner = {n: _corner(case, n) for n in case.passes}
    for run in passings(case, -math.inf, math.inf, scrap=True):
        before = [r for n, r in corner.items() if n < run.number]
        if max(before, default=0.0) > corner[run.number] + SAME:
            found = _bite(case, run, max(before))
            if found is not None:
                yield found


def _corner(case: Case, number: int) -> float:
    """Return the corner radius that the tool of a pass leaves at a wall's foot; 0: none."""
    tool = case.tool_of(number)
    return tool.corner_radius if tool.shape == "bull" else 0.0


def _bite(case: Case, run: Passing, biggest: float) -> FilletBite | None:
    """Return the deepest fillet that a pass takes at one height, if it is too deep."""
    from ..contact.sides import corner_bites
    from .walls import walls_of

    run = run.some(np.flatnonzero(np.isfinite(run.heights()).any(axis=(1, 2))))
    if not len(run.places):
        return None
    before = walls_of(case).before
    depth = corner_bites(before, run.edge, run.places)
    run, depth = run.some(depth > FELT), depth[depth > FELT]
    if not len(depth):
        return None
    wall, fillet = run.walls(), run.hits(_foot_heights(run, biggest))
    taken = _taken(run, wall)
    left = _fillets(case, run, fillet)
    side = np.isfinite(taken) & (left.max(axis=2) >= 0)
    rate = np.where(side, depth[:, None] / np.where(side, taken, 1.0), 0.0).max(axis=1)
    which = np.flatnonzero(rate > case.margin("fillet_bite") + SAME)
    if not len(which):
        return None
    which = which[np.argsort(-depth[which], kind="stable")]
    fine = corner_bites(before, run.edge, run.places[which[:CLOSELY]], fine=True)
    k = int(which[int(np.argmax(fine))])
    on = int(np.argmax(np.where(side[k], depth[k] / np.where(side[k], taken[k], 1.0), 0.0)))
    move = int(left[k, on].max())
    return _made(case, run, np.sort(which), (k, on), float(fine.max()), float(taken[k, on]), move)


def _foot_heights(run: Passing, biggest: float) -> Floats:
    """Return heights over the tip at which fillets are looked for, (n, 2, heights)."""
    height = np.minimum(FOOT * biggest, run.edge.top - SAME)
    return np.broadcast_to(height, (len(run.places), 2, len(FOOT))).copy()


def _taken(run: Passing, wall: Hits) -> Floats:
    """Return what the pass takes from walls above the fillet for the last time, (n, 2), mm."""
    seen = wall.side & (wall.by > 0) & (wall.by < run.number) & (wall.gap < -FELT)
    end = run.hits(np.where(seen, wall.height, np.nan), end=True)
    last = seen & (np.abs(end.gap) <= LAST)
    most = np.where(last, -wall.gap, -np.inf).max(axis=2)
    return np.where(np.isfinite(most), most, np.nan)


def _fillets(case: Case, run: Passing, fillet: Hits) -> Ints:
    """Return the moves that left the fillets of bigger corners; -1: there is none."""
    from .walls import walls_of

    moves = walls_of(case).moves
    corner = _corner(case, run.number)
    found = np.where(fillet.corner & (fillet.by > 0) & (fillet.by < run.number), fillet.move, -1)
    for move in np.unique(found[found >= 0]).tolist():
        left = _corner(case, int(moves.pass_number[move]))
        foot = float(np.fmin(moves.start[move, 2], moves.end[move, 2]))
        scrap = foot + left <= case.part_bottom + SAME
        if left <= corner + SAME or scrap:
            found[found == move] = -1
    return found


def _made(
    case: Case, run: Passing, which: Ints, where: tuple[int, int], bite: float, wall: float,
    move: int,
) -> FilletBite:  # fmt: skip
    from .walls import walls_of

    k, side = where
    moves = walls_of(case).moves
    by = int(moves.pass_number[move])
    left, corner = _corner(case, by), _corner(case, run.number)
    foot = float(np.fmin(moves.start[move, 2], moves.end[move, 2])) - run.z
    area = _area(run, where, (left + wall, foot + left))
    part = run.some(which)
    floor = part.floor & (part.over > FELT)
    deep = np.where(floor.mean(axis=1) >= WIDE, np.where(floor, part.over, 0.0).max(axis=1), 0.0)
    return FilletBite(
        run=part, bite=bite, wall=wall, corner=corner, left=left, by=by,
        at=run.at(k, side, run.edge.radius, corner), area=area,
        floor=float(deep.max()) if run.z > case.part_bottom else 0.0, move=int(run.moves[k]),
    )  # fmt: skip


def _area(run: Passing, where: tuple[int, int], fillet: tuple[float, float]) -> float:
    """Return the section of what is taken below the top of the fillet, mm^2.

    fillet: how far it reaches from the tool's side inwards, and its top over the tip.
    """
    wide, top = fillet
    k, side = where
    low = max(run.edge.radius - wide, 0.0)
    step = (run.edge.radius - low) / SECTION
    r = np.asarray(low + (np.arange(SECTION) + 0.5) * step, np.float64)
    over, *_ = run.some(np.array([k])).around((r if side == 0 else -r)[None, :])
    metal = np.minimum(over[0], top) - run.edge.lower(r)
    return float(np.maximum(metal, 0.0).sum() * step)


# ------------------------------------------------------------------------------------- what it says


def split_bite(bite: FilletBite, allowance: float) -> float:
    """Return the allowance that a pass before the last should leave on the wall, mm."""
    return min(allowance, bite.wall / 2)


def _find(case: Case) -> Iterator[Finding]:
    for bite in bites(case).values():
        yield _finding(case, bite)


def _finding(case: Case, bite: FilletBite) -> Finding:
    unit, number = case.unit, bite.run.number
    leaves = split_bite(bite, case.margin("last_pass"))
    left, deep, wall, floor = say_alike((bite.left, bite.bite, bite.wall, bite.floor), unit)
    text = (
        f"the last wall pass takes the fillet of RE {left} that pass {bite.by} left in one bite of "
        f"{deep}, {bite.bite / bite.wall:.1f} times the {wall} on the wall; a section of "
        f"{_say_area(bite.area, case)}"
    )
    if bite.floor > 0:
        text += f"; and {floor} of the floor with it"
    change, then = (
        _set_right(case, bite)
        or (_floor_first(case, bite) if bite.floor > 0 else _split(case, bite, leaves))
    )  # fmt: skip
    return Finding(
        rule="fillet-in-one-bite",
        severity="watch",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(bite.run.moves),
        at=bite.at,
        size=bite.bite,
        text=text,
        why="at the foot of the wall the load jumps: the tool is pushed off and chatters there",
        change=change,
        then=then,
        other_pass=bite.by,
    )


def _say_area(area: float, case: Case) -> str:
    per = MM_PER[case.unit] ** 2
    return f"{area / per:.2g} {case.unit}²"


def _set_right(case: Case, bite: FilletBite) -> tuple[Change, str] | None:
    """Return the register without whose error the pass keeps off the wall, and by how much."""
    from .registers import cause_of, shares_of

    off = bite.run.places.tip[:, :2] - np.array(bite.at[:2])
    far = np.hypot(*off.T)
    x, y = (off[np.argmin(far)] / far.min()).tolist()
    shares, least = shares_of(case, bite.move, bite.at, (x, y, 0.0)), case.margin("side_gap")
    cause = cause_of(case, shares, -bite.wall, lambda gap: gap >= least - SAME)
    free = say_fine(-bite.wall - sum(s.by for s in shares), case.unit)
    return (
        (cause.change, f"the pass keeps {free} off the wall{cause.with_words}") if cause else None
    )


def _split(case: Case, bite: FilletBite, leaves: float) -> tuple[Change, str]:
    """Return what to add before the last pass, and what the wall is like then."""
    from .listed import level_of, seconds_again

    number, left = bite.run.number, say_fine(leaves, case.unit)
    then = (
        f"a pass of tool {case.passes[number].tool} before it leaves {left} on the wall; it takes "
    )
    then += f"the fillet, and the last pass takes {left} everywhere, at the foot of the wall too"
    seconds = seconds_again(case, number, bite.run.z)
    item, _ = level_of(case, bite.move)
    if item is None:
        what = f"side allowance of a pass before pass {number}, at the same height, added"
        return Change(what, None, leaves, seconds=seconds), then
    rounds = getattr(item, "radial_passes", 1)
    what = f"radial_cutting_depth of pass {number}, with radial_passes = {rounds + 1}"
    before = getattr(item, "radial_cutting_depth", None)
    return Change(what, before, leaves, seconds=seconds), then


def _floor_first(case: Case, bite: FilletBite) -> tuple[Change, str]:
    """Return the change of a pass that takes the floor too, and how the wall is then cut."""
    from .listed import seconds_again, side_allowance

    lift = say_fine(case.margin("lift_advised"), case.unit)
    then = "this pass takes floor and fillet, and keeps off the wall; a wall pass after it, "
    then += f"{lift} above the floor, takes {say_fine(bite.wall, case.unit)} everywhere"
    more = bite.wall + case.margin("side_gap_advised")
    seconds = seconds_again(case, bite.run.number, bite.run.z)
    return side_allowance(case, bite.move, 0.0, more, seconds=seconds), then


RULES: Final = (
    Rule(
        {"fillet-in-one-bite": "The last wall pass takes a bigger tool's fillet in one bite"},
        _find,
        (
            Margin("fillet_bite", 1.5, "most bite of a corner into a fillet, for 1 on the wall",
                   ratio=True),
            Margin("last_pass", 2 * THOU, "what a pass before the last is advised to leave"),
        ),
    ),
)  # fmt: skip
