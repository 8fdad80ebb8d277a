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

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule, Severity
from .drags import FELT, SAME, Drag, drags, is_strip, strip_width

if TYPE_CHECKING:
    from .case import Case

__all__ = ["RULES"]

UNSURE: Final = 0.5 * THOU
"""A gap below this closes by what an earlier tool may have been pushed off."""


def _find(case: Case) -> Iterator[Finding]:
    causes: dict[object, list[Drag]] = {}
    for drag in drags(case):
        causes.setdefault(_cause(case, drag), []).append(drag)
    for group in causes.values():
        yield _finding(case, group)


def _cause(case: Case, drag: Drag) -> object:
    """Return what makes one mistake of several drags: a register, or one tool at one height."""
    strip = is_strip(case, drag)
    if not strip and _by_register(case, drag):
        return _register(case, drag).what
    tools = (case.passes[n].tool for n in (drag.run.number, drag.by))
    return (*tools, round(drag.run.z, 6), strip, drag.free >= case.margin("bottom_gap") - SAME)


# ------------------------------------------------------------------------------------- what it says


def _planned(case: Case, drag: Drag) -> float:
    """Return how far above the floor the pass runs by the program alone, mm."""
    from .taken import z_word

    return z_word(case, drag.move, drag.run.z) - z_word(case, drag.made, drag.run.z - drag.free)


def _by_register(case: Case, drag: Drag) -> bool:
    """Whether the program alone clears the floor, and an error of a height register takes that."""
    planned = _planned(case, drag)
    if drag.free >= planned - FELT:
        return False
    return planned >= _wanted(case, drag) - SAME or drag.free < FELT < planned


def _register(case: Case, drag: Drag) -> Change:
    from .registers import register_between

    return register_between(case, drag.made, drag.move)


def _wanted(case: Case, drag: Drag) -> float:
    """Return the gap below which there is something to say, mm."""
    return case.margin("bottom_gap_other" if drag.other else "bottom_gap")


def _lift(case: Case, drag: Drag) -> float:
    """Return the advised height over the floor, mm."""
    return max(case.margin("lift_advised"), _wanted(case, drag))


def _finding(case: Case, group: list[Drag]) -> Finding:
    worst = min(group, key=lambda d: (round(d.free, 9), d.run.number))
    strip = is_strip(case, worst)
    moves = np.concatenate([d.run.moves for d in group if d.run.number == worst.run.number])
    planned = _planned(case, worst)
    text, lift = _text(case, worst), _lift(case, worst)
    if _by_register(case, worst):
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
        then=f"the wall pass cuts the wall alone; {_strip(case, worst, lift)}"
        + _alike(worst, group),
        other_pass=worst.by,
    )


def _alike(worst: Drag, group: list[Drag]) -> str:
    """Say which other passes make the same mistake: they are to be changed as well."""
    others = {d.run.number for d in group if abs(d.run.z - worst.run.z) <= SAME}
    rest = sorted(others - {worst.run.number})
    if not rest:
        return ""
    return f"; change pass{'es' if rest[1:] else ''} {', '.join(map(str, rest))} as well"


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
    elif is_strip(case, drag):
        text = f"the wall pass runs {size} above {floor}: {_strip(case, drag, drag.free)}"
    else:
        text = f"the wall pass clears {floor} by only {size}"
    unit = case.unit
    length = float(drag.run.weight.sum())
    text += f", along about {say_length(length, unit, 2 if unit == 'in' else 1)} of its path"
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
