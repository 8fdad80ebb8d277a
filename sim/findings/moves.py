"""Moves that meet metal as they should not: rapids, plunges, a stopped spindle, ramps.

[rapid-in-stock] A rapid (G0) that takes metal. The machine runs it at full speed,
whatever F says.
Measure: the thickest layer that the rapids of one tool at one height take, along Z, on
exact columns spread over all that the tool passes; the tool counts as a tenth smaller all
round, so a retract in the hole just cut and a rapid along a wall just cut take nothing. A
rapid from a place that is not known (before the first Z, after a tool change without
home) sweeps nothing and is not judged.
Margin: none; any metal stops the job.
Cure: a rapid that goes straight down becomes a feed move, of a tool that says it does not
cut to its centre a ramp or a helix; a rapid across goes higher, by `rapid_over` above the
highest metal that it met, and so does the R of a canned cycle.

[plunge] A tool without centre cutting goes straight down into metal: stop, where the tool
table says `center_cutting = false`; a note, once a tool, where it says nothing and the
tool is flat or bull; silent where it says true. Drills, ball noses and the rest are taken
to be made for it unless they say false. Measure: the metal on
the tool's axis, along Z, that one straight feed move goes through; a place that is
drilled or cleared before is none. It also says when the plunge runs at the feed with
which the same pass mills.
Margin: `plunge_depth`, 5 thou: an edge that stops short of the centre leaves a core, but
is ground back by more than a floor's allowance.
Cure: a ramp, a helix, a drilled hole; or half the feed if the tool cuts to its centre.

[spindle-stopped] A feed move takes metal while the spindle stands: no M3 or M4 since M5,
since the tool change (M6 stops it: NIST RS274/NGC 3.6.3) or since the start. Judged only in
a setup that cuts with a turning spindle somewhere: a program or pass list that never says
M3 after a tool change is silent about it. (A feed of 0 is refused when the program
is read.)
Measure: the thickest layer taken, along Z. Margin: none. Cure: M3 with S before the move.

[ramp-steep] A feed move goes down into metal along a slope steeper than the tool's own
ramp angle, RMPX of the tool table. For tools that do not say it `ramp_angle` under
[margins] counts, in degrees. Where neither is said (90) the rule is silent.
Measure: the steepest such move, degrees from level (on a helix along its path). Cure: a
longer ramp, on a helix less depth a turn.

Sizes are lengths, of [ramp-steep] degrees. Climb or conventional is a rule of its own:
[cut-direction].

Source: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import MM_PER, outward, say_fine
from .base import THOU, Change, Finding, Margin, Rule

if TYPE_CHECKING:
    from ..tools import Tool
    from .case import Case
    from .taken import Bite, Ints

__all__ = ["RULES"]

FLAT: Final = ("flat", "bull")
"""Shapes that are sold with and without centre cutting."""
SAME: Final = 1e-6
MOST: Final = 4
"""Of so many more R words the lines are said."""
UPRIGHT_MM: Final = 1e-9
"""A move that goes sideways by less goes straight down."""

Taking = tuple["Bite", "Ints"]


# ---------------------------------------------------------------------------------- rapid-in-stock


def _rapids(case: Case) -> Iterator[Finding]:
    from .taken import bite, runs

    moves = case.moves
    lowest = np.fmin(moves.start[:, 2], moves.end[:, 2])
    tips = {n: min((p.z_low for p in t.pieces if p.cutting), default=0.0)
            for n, t in case.job.tools.items()}  # fmt: skip
    lowest += np.array([tips[n] for n in moves.tool.tolist()]).reshape(-1)
    risky = moves.rapid & moves.sweeps() & (lowest < case.job.stock.high[2])
    same_place = (moves.start[:, :2] == moves.end[:, :2]).all(axis=1)
    undercut = np.array([case.job.tools[n].undercut for n in moves.tool.tolist()], bool)
    up = same_place & (moves.start[:, 2] <= moves.end[:, 2])
    risky &= ~up | undercut  # a retract along Z meets nothing, but for a tool that undercuts
    by_height: dict[tuple[int, int, float], list[Taking]] = {}
    for run in runs(risky, moves.pass_number):
        if bite(case, run) is None:
            continue
        for k in run.tolist():  # the run as a whole takes metal: which of its moves
            found = bite(case, np.array([k]))
            if found:
                z = round(float(np.fmin(moves.start[k, 2], moves.end[k, 2])), 6)
                key = int(moves.setup[k]), int(moves.tool[k]), z
                by_height.setdefault(key, []).append((found, np.array([k])))
    for taking in by_height.values():
        yield _rapid(case, taking)


def _rapid(case: Case, taking: list[Taking]) -> Finding:
    moves = case.moves
    number = int(moves.pass_number[taking[0][1][0]])
    deepest = max((b for b, _ in taking), key=lambda b: b.depth)
    which = np.concatenate([run for _, run in taking])
    change, then = _rapid_cure(case, which, max(b.top for b, _ in taking), deepest.depth)
    often = f" ({len(which)} moves)" if len(which) > 1 else ""
    return Finding(
        rule="rapid-in-stock",
        severity="stop",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(which),
        at=deepest.at,
        size=deepest.depth,
        text=f"a rapid runs through metal, {say_fine(deepest.depth, case.unit)} deep{often}",
        why="the machine does not slow for it: the tool breaks or the part moves",
        change=change,
        then=then,
    )


def _rapid_cure(case: Case, which: Ints, top: float, depth: float) -> tuple[Change, str]:
    """Return a higher R of a cycle, a way down at feed, or a higher Z."""
    from .taken import z_line, z_word
    from .words import cycle_r

    moves, first = case.moves, int(which[0])
    then, over = "the rapid runs clear; nothing else on the part changes", case.margin("rapid_over")
    now = z_word(case, first, float(np.fmin(moves.start[first, 2], moves.end[first, 2])))
    higher = z_word(case, first, top + over)
    down = [k for k in which.tolist() if _goes_down(case, k)]
    k = down[0] if down else first
    line = int(moves.line[k])
    cycle = cycle_r(case.job, int(moves.setup[k]), line)
    if cycle is not None:
        said = cycle[1] * MM_PER[case.unit]
        before, after = (now, higher) if abs(said - now) < SAME else (said, said + higher - now)
        rows = (cycle_r(case.job, int(moves.setup[m]), int(moves.line[m])) for m in which.tolist())
        more = sorted({r[0] for r in rows if r is not None} - {cycle[0]})
        then += "".join(f"; R at line {n} too" for n in more[:MOST])
        return Change(f"R at line {cycle[0]}", before, after), then
    if (moves.start[which, :2] == moves.end[which, :2]).all() and not down:
        way = "back out of the slot first"
        change = Change(f"way out at line {line}", "straight up", way, length=False, seconds=None)
        return change, "the cutter is clear of what stands over it before it goes up"
    if not down:
        word = z_line(case, first)
        same = (moves.line == word) & (moves.pass_number == moves.pass_number[first])
        line = word if moves.rapid[same].all() else line
        return Change(f"Z of the rapid at line {line}", now, higher), then
    tool = case.job.tools[int(moves.tool[k])]
    if tool.center_cutting is False and depth > case.margin("plunge_depth"):
        what, way = f"way down at line {line}", f"{_ramp_of(tool)}, at feed"
        return Change(what, "straight down at rapid", way, length=False, seconds=None), (
            f"{_ENTERS}; or it starts outside the stock, or in a drilled hole"
        )
    change = Change(f"G0 at line {line}", "G0", "G1 with F", length=False, seconds=None)
    if _may_lack_center(tool):
        return change, "the tool goes down at feed, if it cuts to its centre; else ramp or helix"
    return change, "the tool goes down at feed; nothing else on the part changes"


_ENTERS: Final = "the tool enters without load on its core"


def _ramp_of(tool: Tool) -> str:
    """Return the words on a way down for a tool that does not cut to its centre."""
    limit = tool.ramp_angle
    return "a ramp or a helix" + (f" of {limit:g} degrees at most" if limit else "")


def _goes_down(case: Case, move: int) -> bool:
    moves = case.moves
    aside = float(np.hypot(*(moves.end[move] - moves.start[move])[:2]))
    start = moves.start[move, 2]
    return aside < UPRIGHT_MM and bool(np.isnan(start) or moves.end[move, 2] < start)


# ------------------------------------------------------------------------------------------ plunge


def _plunges(case: Case) -> Iterator[Finding]:
    from .taken import plan_lengths

    moves = case.moves
    flat = [n for n, t in case.job.tools.items() if _may_lack_center(t)]
    down = ~moves.rapid & moves.sweeps() & (plan_lengths(case) < UPRIGHT_MM)
    down &= (moves.end[:, 2] < moves.start[:, 2]) & np.isin(moves.tool, flat)
    found: dict[int, list[tuple[float, int]]] = {}
    for k in np.flatnonzero(down).tolist():
        depth = _on_axis(case, k)
        if depth > case.margin("plunge_depth"):
            found.setdefault(int(moves.tool[k]), []).append((depth, k))
    for tool, deep in found.items():
        yield _plunge(case, tool, deep)


def _may_lack_center(tool: Tool) -> bool:
    """Whether the edges of a tool may end short of its axis."""
    return not tool.center_cutting and (tool.shape in FLAT or tool.center_cutting is False)


def _on_axis(case: Case, move: int) -> float:
    """Return the metal on the tool's axis that a move straight down goes through, mm."""
    from .taken import heights

    moves = case.moves
    x, y, z = moves.end[move]
    before, _ = heights(case, np.array([x]), np.array([y]), move)
    if np.isnan(before[0]):
        return 0.0
    bottom = float(case.job.stock.at(np.array([x]), np.array([y]))[1][0])
    return float(min(before[0], moves.start[move, 2]) - max(z, bottom))


def _plunge(case: Case, tool: int, deep: list[tuple[float, int]]) -> Finding:
    moves = case.moves
    size, k = max(deep, key=lambda d: (d[0], -d[1]))
    often = f", and {len(deep) - 1} times more" if len(deep) > 1 else ""
    text = f"the tool goes straight down through {say_fine(size, case.unit)} of metal{often}"
    number, said = int(moves.pass_number[k]), case.job.tools[tool].center_cutting is False
    mine = (moves.pass_number == number) & ~moves.rapid & (moves.end[:, 2] == moves.start[:, 2])
    feed, usual = float(moves.feed[k]), float(moves.feed[mine].max(initial=0.0))
    change = None
    if 0 < usual <= feed:
        text += ", at the feed with which it mills"
        change = Change(
            f"F at line {int(moves.line[k])}", _feed(case, feed), _feed(case, feed / 2),
            length=False, seconds=60 * size / feed,
        )  # fmt: skip
    if said:  # no feed makes it cut there
        ramp = _ramp_of(case.job.tools[tool])
        what = f"way down at line {int(moves.line[k])}"
        change = Change(what, "straight", ramp, length=False, seconds=None)
    return Finding(
        rule="plunge",
        severity="stop" if said else "note",
        tool=tool,
        pass_number=number,
        lines=case.lines_of(np.array([k for _, k in deep])),
        at=(float(moves.end[k, 0]), float(moves.end[k, 1]), float(moves.end[k, 2])),
        size=size,
        text=text,
        why="a tool that does not cut to its centre stands on its core and pushes or breaks; "
        "ramp, helix or drill first",
        sure="exact" if said else "depth exact; whether this tool cuts to its centre is not said",
        change=change,
        then=f"{_ENTERS}; the part is the same",
    )


def _feed(case: Case, feed: float) -> str:
    return f"{feed / MM_PER[case.unit]:.4g} {case.unit}/min"


# --------------------------------------------------------------------------------- spindle-stopped


def _stopped(case: Case) -> Iterator[Finding]:
    from .taken import bite, runs

    moves = case.moves
    speaks = np.unique(moves.setup[(moves.spindle != 0) & ~moves.rapid])
    still = ~moves.rapid & moves.sweeps() & (moves.spindle == 0) & np.isin(moves.setup, speaks)
    by_stop: dict[tuple[int, int], list[Taking]] = {}
    turned = np.cumsum(moves.spindle != 0)  # the same all through one stop
    for run in runs(still, moves.pass_number):
        found = bite(case, run)
        if found:
            key = int(turned[run[0]]), int(moves.tool[run[0]])
            by_stop.setdefault(key, []).append((found, run))
    for taking in by_stop.values():
        yield _stop(case, taking)


def _stop(case: Case, taking: list[Taking]) -> Finding:
    moves = case.moves
    first = int(taking[0][1][0])
    deepest = max((b for b, _ in taking), key=lambda b: b.depth)
    lines = case.lines_of(np.concatenate([run for _, run in taking]))
    return Finding(
        rule="spindle-stopped",
        severity="stop",
        tool=int(moves.tool[first]),
        pass_number=int(moves.pass_number[first]),
        lines=lines,
        at=deepest.at,
        size=deepest.depth,
        text="the tool is fed into metal with the spindle stopped, "
        f"{say_fine(deepest.depth, case.unit)} deep",
        why="a tool that does not turn breaks",
        change=Change(f"spindle before line {lines[0]}", "stopped", "M3 with S", length=False),
        then="the pass cuts as meant; the part is the same",
    )


# -------------------------------------------------------------------------------------- ramp-steep


def _ramps(case: Case) -> Iterator[Finding]:
    from .taken import bite, plan_lengths

    moves = case.moves
    limits = {
        n: _ramp_limit(case, n) for n in np.unique(moves.tool).tolist() if n in case.job.tools
    }
    limit = np.array([limits.get(n, 90.0) for n in moves.tool.tolist()])
    if not (limit < 90).any():
        return
    fall, plan = moves.start[:, 2] - moves.end[:, 2], plan_lengths(case)
    with np.errstate(invalid="ignore"):
        steep = ~moves.rapid & moves.sweeps() & (fall > 0) & (plan > 1e-6)
    angle = np.degrees(np.arctan2(np.where(steep, fall, 0.0), np.where(steep, plan, 1.0)))
    by_pass: dict[int, list[int]] = {}
    for move in np.flatnonzero(steep & (angle > limit + 1e-6)).tolist():
        if bite(case, np.array([move])):
            by_pass.setdefault(int(moves.pass_number[move]), []).append(move)
    for number, taking in by_pass.items():
        k = max(taking, key=lambda i: (angle[i], -i))
        yield _ramp(case, number, np.array(taking), k, float(angle[k]))


def _ramp_limit(case: Case, tool: int) -> float:
    """Return the steepest ramp of a tool, degrees; 90: it is not known."""
    own = case.job.tools[tool].ramp_angle
    return case.margin("ramp_angle") if own is None else own


def _ramp(case: Case, number: int, taking: Ints, move: int, angle: float) -> Finding:
    moves, limit = case.moves, _ramp_limit(case, int(case.moves.tool[move]))
    x, y, z = moves.end[move].tolist()
    change, then = _ramp_cure(case, move, limit)
    return Finding(
        rule="ramp-steep",
        severity="watch",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(taking),
        at=(x, y, z),
        size=angle,
        text=f"the tool ramps into metal at {angle:.2f} degrees, its limit is {limit:g}",
        why="the heel of the tool rubs on the slope instead of cutting",
        change=change,
        then=then,
        of="deg",
    )


def _ramp_cure(case: Case, move: int, limit: float) -> tuple[Change, str]:
    """Return less depth a turn of a helix, or a longer straight ramp."""
    moves, line, slope = case.moves, int(case.moves.line[move]), math.tan(math.radians(limit))
    fall, turn = float(moves.start[move, 2] - moves.end[move, 2]), abs(float(moves.turn[move]))
    then = "the tool goes down on a slope that it can cut"
    if turn > 0:
        radius = math.dist(moves.end[move, :2], moves.center[move])
        before, after = fall * math.tau / turn, math.tau * radius * slope
        change = Change(
            f"depth a turn of the helix at line {line}", before,
            outward(after, before, case.unit), seconds=None,
        )  # fmt: skip
        return change, f"{then}, in more turns; the part is the same"
    before = math.dist(moves.start[move, :2], moves.end[move, :2])
    after = outward(fall / slope, before, case.unit)
    change = Change(f"length of the ramp at line {line}", before, after, seconds=None)
    return change, f"{then}; where there is no room for that, to and fro over the same length"


# ------------------------------------------------------------------------------------------- rules


def _find(case: Case) -> Iterable[Finding]:
    yield from _rapids(case)
    yield from _plunges(case)
    yield from _stopped(case)
    yield from _ramps(case)


RULES: Final = (
    Rule(
        {
            "rapid-in-stock": "A rapid that runs through metal",
            "plunge": "A plunge into metal with a flat end",
            "spindle-stopped": "Feed moves in metal with the spindle stopped",
            "ramp-steep": "A ramp steeper than the tools can cut",
        },
        _find,
        (
            Margin("rapid_over", 100 * THOU, "how far above metal a rapid is advised to run"),
            Margin("plunge_depth", 5 * THOU, "a plunge this deep is no more than a floor's rest"),
            Margin(
                "ramp_angle",
                90.0,
                "degrees; the steepest ramp that the tools of this job can cut, 90: not judged",
                ratio=True,
            ),
        ),
    ),
)
