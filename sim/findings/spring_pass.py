"""Spring passes: what one meets, whether it only rubs, and where one is missing.

A spring pass runs the same path again, at the same offset and height, to take what the
tool was pushed off by the first time. By program it meets nothing.

[spring-pass] Of a metal that work-hardens (`[stock] material`: austenitic stainless, the
300 series; nickel and cobalt alloys; titanium) it says where a spring pass runs and that
it rubs: an edge that finds no chip to make glazes such a metal, and the skin is hard on
the next edge and on the part. Where the load of the first time is known (flutes, spindle,
feed and stick-out in the job) and its estimate bends the tool by `spring_rubs` or more,
there is a layer to cut, and it is a note.
Of other metals a spring pass is silent: it does no harm. Nor does a second finish pass
at the same height.
Size: the layer that the spring pass takes by program, exact, mostly 0. What it takes
because the tool was pushed off is an estimate and stands in the text.
Taken for one: moves of one tool that run where earlier ones ran to 0.1 thou, either way
round, along two diameters or more and most of an unbroken path, and that meet less than
0.1 thou.
Cure: leave it out, or give it a layer to cut: 2 to 3 thou and no less than the edge's
rounding, from the pass before.

A spring pass is missing where the pass that finishes a wall bends its tool by more than
`spring_missing` on the straight, by estimate, and none follows: a note. Of metals that
harden it is not asked for.
Size: how far the tool is pushed off, estimated.
Margins: `spring_rubs` 0.5 thou. `spring_missing` 3 thou: the estimate is good to a factor
of two or three, so that one thou is left of it at the least.

Estimates: mean force of a turn from chip, specific cutting force and depth, a floor's thin
layer and the wall over it each by its own arc, the median along the path; deflection
F L^3 / 3 E I of the stick-out at 0.8 of the diameter; the spindle and holder are taken
as stiff, the tool as carbide.

Source: common practice, no source; the cutting force's values are a table of a tool
maker's, the 0.8 Kops & Vo, CIRP Annals 1990.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC
from ..units import say_fine
from .base import THOU, Change, Finding, Margin, Rule
from .engaged import finishes, ways
from .own_values import own_value
from .words import lines_said

if TYPE_CHECKING:
    from .case import Case
    from .taken import Bools, Floats, Ints

__all__ = ["RULES"]

RULE: Final = "spring-pass"
NEAR: Final = 0.1 * THOU
"""A path this near an earlier one is the same, and meets nothing if it meets no more, mm."""
MOSTLY: Final = 0.4
"""So much of an unbroken path runs again: two rounds without a break are half."""
LONG: Final = 2.0
"""Shorter than so many diameters it is an overlap."""
MOST: Final = 0.5
"""A pass finishes walls if it does so on more than this share of where its side cuts."""
SAME: Final = 1e-6
CORNERS: Final = 1.5
"""A greatest load of more than so many times the usual one is said beside it."""


@dataclasses.dataclass(frozen=True)
class _Spring:
    """A spring pass: its moves, all in one pass; the pass and the moves that ran there first."""

    number: int
    first: int
    moves: Ints
    earlier: Ints


# ---------------------------------------------------------------------------------- what runs again


def _ran_before(case: Case, which: Ints) -> Ints:
    """Return for each of some moves of one tool the earlier one on the same path; -1: none."""
    from scipy.spatial import cKDTree

    from .taken import plan_lengths

    moves = case.moves
    center = np.where((moves.kind[which] == ARC)[:, None], moves.center[which], 0.0)
    start, end = moves.start[which], moves.end[which]
    long = plan_lengths(case)[which, None] / 4  # ends off by a little make it twice that longer
    there = np.hstack([start, end, center, long])
    back = np.hstack([end, start, center, long])
    tree, turned = cKDTree(there), cKDTree(back)
    found = np.full(len(which), len(which))
    for other in (tree, turned):
        pairs = other.sparse_distance_matrix(tree, NEAR, p=np.inf, output_type="ndarray")
        early = pairs[pairs["i"] < pairs["j"]]
        np.minimum.at(found, early["j"], early["i"])
    return np.where(found < len(which), which[np.minimum(found, len(which) - 1)], -1)


def _springs(case: Case, tool: int) -> Iterator[_Spring]:
    """Yield the spring passes of a tool, one for each pass that has some."""
    from .taken import plan_lengths

    moves, length = case.moves, plan_lengths(case)
    with np.errstate(invalid="ignore"):
        chosen = (moves.end[:, 2] < case.job.stock.high[2]) & (length > 0)
    which = np.flatnonzero(chosen & ~moves.rapid & moves.sweeps() & (moves.tool == tool))
    if len(which) < 2:
        return
    before = _ran_before(case, which)
    apart = (np.abs(moves.start[which[1:]] - moves.end[which[:-1]]) > SAME).any(axis=1)
    apart |= np.diff(moves.pass_number[which]) > 0
    by_pass: dict[int, list[Ints]] = {}
    for run in np.split(np.arange(len(which)), np.flatnonzero(apart) + 1):
        again = run[before[run] >= 0]
        repeated = float(length[which[again]].sum())
        least = max(MOSTLY * float(length[which[run]].sum()), LONG * case.job.tools[tool].diameter)
        if repeated < least:
            continue
        by_pass.setdefault(int(moves.pass_number[which[run[0]]]), []).append(again)
    for number, runs in by_pass.items():
        every = np.concatenate(runs)
        first = int(moves.pass_number[before[every[0]]])
        yield _Spring(number, first, which[every], before[every])


def _meets(case: Case, spring: _Spring) -> float:
    """Return the thickest layer that a spring pass takes by program, at side and bottom, mm."""
    from .taken import bite
    from .walls import walls_of

    walls, meets = walls_of(case), 0.0
    for run in np.split(spring.moves, np.flatnonzero(np.diff(spring.moves) > 1) + 1):
        taken = bite(case, run)
        meets = max(meets, 0.0 if taken is None else taken.depth)
        done = int(np.flatnonzero(walls.before.of == run[0])[0])
        places = walls.stations(np.flatnonzero(np.isin(walls.before.of, run)))
        if len(places):
            radius = walls.tool(int(places.move[0])).cutting_radius
            reach = walls.beside(places, done, 2).reach
            meets = max(meets, radius - float(np.nanmin(reach, initial=radius)))
    return meets if meets > SAME else 0.0


# ------------------------------------------------------------------------------------- what it says


def _find(case: Case) -> Iterable[Finding]:
    from ..mechanics import hardens, metal_of

    metal = metal_of(case.job.spec.stock.material)
    if metal is None:
        return
    tools = sorted({p.tool for p in case.passes.values()})
    tools = [t for t in tools if case.job.tools[t].shape in ("flat", "bull", "ball")]
    springs = [s for t in tools for s in _springs(case, t)]
    if not hardens(case.job.spec.stock.material):
        yield from _missing(case, springs)
        return
    for spring in springs:
        meets = _meets(case, spring)
        if meets <= NEAR:
            yield _rubs(case, spring, meets)


def _rubs(case: Case, spring: _Spring, meets: float) -> Finding:
    from ..mechanics import metal_of, move_seconds

    unit, number = case.unit, spring.number
    metal = metal_of(case.job.spec.stock.material)
    pushed, load = _load_before(case, spring)
    twice = spring.first == number
    text = "runs the same path twice" if twice else f"runs pass {spring.first} again"
    text = f"pass {number} {text}"
    text += f" and by program meets {'nothing' if meets == 0 else say_fine(meets, unit)}: it rubs"
    text += load
    x, y, z = (float(v) for v in case.moves.end[spring.moves[0]])
    first, last = case.lines_of(spring.moves)
    own = own_value(case, number, "spring_passes")
    saved = -float(move_seconds(case.job)[spring.moves].sum())
    change = Change(lines_said(first, last), "spring pass", "left out", False, saved)
    if own is not None and own[1] > 0:
        change = Change(f"{own[0]} of pass {number}", own[1], 0, False, saved)
    kind = "this metal" if metal is None else metal.says
    return Finding(
        rule=RULE,
        severity="watch" if pushed < case.margin("spring_rubs") else "note",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=(first, last),
        at=(x, y, z),
        size=meets,
        text=text,
        why=f"{kind} hardens where an edge rubs: a glazed skin, hard on the next edge",
        change=change,
        then=f"no edge rubs along the finished wall; or leave {_layer(case)} for it to cut",
        other_pass=None if twice else spring.first,
    )


def _layer(case: Case) -> str:
    """Return the words on the layer that a spring pass may have."""
    return " to ".join(say_fine(n * THOU, case.unit) for n in (2, 3))


def _load_before(case: Case, spring: _Spring) -> tuple[float, str]:
    """Return how far the tool was pushed off the first time, and what is to be said of it.

    What counts is the median by length: corners bend the tool more, and over a short way.
    """
    from ..mechanics import pass_load

    load = pass_load(case, spring.first) if _known(case, spring.first) else None
    pushed = 0.0 if load is None else _pushed(case, spring.first, spring.earlier)
    if load is None or pushed <= 0:
        return 0.0, ""
    text = f", but for about {say_fine(pushed, case.unit)} that the tool was pushed off before"
    if load.deflection > CORNERS * pushed:
        text += f", up to {say_fine(load.deflection, case.unit)} where it cut most"
    return pushed, f"{text} (estimated from {load.says})"


# ------------------------------------------------------------------------------------------ missing


def _missing(case: Case, springs: list[_Spring]) -> Iterator[Finding]:
    """Yield the finishing passes that bend their tool much and have no spring pass."""
    from ..mechanics import pass_load

    have = {s.first for s in springs}
    for number in case.passes:
        tool = case.tool_of(number)
        if tool.shape not in ("flat", "bull") or number in have or not _known(case, number):
            continue
        finished = _finished(case, number)
        if not len(finished):
            continue
        load = pass_load(case, number)
        if load is None or load.deflection <= case.margin("spring_missing"):
            continue
        pushed = _pushed(case, number, finished)
        if pushed > case.margin("spring_missing"):
            yield _none_follows(case, number, finished, pushed, load.says)


def _known(case: Case, number: int) -> bool:
    """Return whether the tool of a pass says enough for its load."""
    tool = case.tool_of(number)
    return bool(tool.flutes) and tool.stickout is not None


def _finished(case: Case, number: int) -> Ints:
    """Return the moves of a pass that finish walls; none where it mostly does something else."""
    from .walls import walls_of

    walls = walls_of(case)
    found, cuts = [np.zeros(0, np.int64)], 0
    for way in ways(case, walls.before, walls.edge(case.tool_of(number)), number):
        done: Bools = finishes(case, walls, number, way)
        found.append(walls.before.of[way.places.move[done]])
        cuts += int((way.angle > 0).sum())
    every = np.concatenate(found)
    return np.unique(every) if len(every) > MOST * cuts else every[:0]


def _pushed(case: Case, number: int, finished: Ints) -> float:
    """Return how far the tool of a pass bends where it finishes walls, the median by length, mm."""
    from ..mechanics import deflection, metal_of, side_forces

    tool, metal = case.tool_of(number), metal_of(case.job.spec.stock.material)
    along = case.along(number)
    if metal is None or tool.stickout is None:
        return 0.0
    bands = case.bands(number)
    force = np.full(len(along), np.nan)
    force[bands.of] = side_forces(bands, tool.flutes or 0, metal)
    counts = np.isin(along.move, finished) & ~along.upright & np.isfinite(force)
    counts &= along.weight > 0
    if not counts.any():
        return 0.0
    order = np.argsort(force[counts])
    weight: Floats = np.cumsum(along.weight[counts][order])
    middle = force[counts][order][int(np.searchsorted(weight, weight[-1] / 2))]
    return deflection(float(middle), tool.stickout, tool.diameter)


def _none_follows(case: Case, number: int, moves: Ints, pushed: float, says: str) -> Finding:
    from ..mechanics import move_seconds

    x, y, z = (float(v) for v in case.moves.end[moves[0]])
    first, last = case.lines_of(moves)
    seconds = float(move_seconds(case.job)[moves].sum())
    change = Change(lines_said(first, last), "once", "once more", False, seconds)
    own = own_value(case, number, "spring_passes")
    if own is not None:
        change = Change(f"{own[0]} of pass {number}", own[1], own[1] + 1, False, seconds)
    off = say_fine(pushed, case.unit)
    return Finding(
        rule=RULE,
        severity="note",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=(first, last),
        at=(x, y, z),
        size=pushed,
        text=f"pass {number} finishes the wall in one go while the tool is pushed off by about "
        f"{off}, and no spring pass follows",
        why="the wall stays that much too full, most at its foot",
        sure=f"estimated from {says}",
        change=change,
        then="a second time round the tool takes most of what it was pushed off by",
    )


RULES: Final = (
    Rule(
        {RULE: "A spring pass that only rubs, or one that is missing"},
        _find,
        (
            Margin("spring_rubs", 0.5 * THOU, "pushed off by as much, a tool has a layer to cut"),
            Margin("spring_missing", 3 * THOU, "a tool pushed off by more wants a spring pass"),
        ),
    ),
)
