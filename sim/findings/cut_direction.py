"""Which way a finishing pass cuts the wall that stays: with the feed, or against it.

[cut-direction] A pass that takes a thin layer and leaves a wall of the part cuts it
conventional (up): the wall stands on the left of the way the tool goes, the spindle
turning clockwise (M3), on the right with M4. The edge then begins to cut at no depth: it
rubs before it bites, pulls the tool into the wall and draws chips along the finished
face. Climb milling begins with the thick of the chip and leaves the wall clean: usual on
a machine without play in its screws.

Always a note, and one for each tool. Conventional is right where a machine has backlash,
through a hard skin or scale, where a slender tool should pull towards the wall rather
than be pushed off it, in some plastics and castings, and as a spring pass back along the
wall: then set it aside.
Silent: roughing, slots, layers thicker than `finish_layer` of DC, what only the bottom
cuts, walls that a later pass cuts again, and passes that cut conventional on less than
a tenth of what they finish. A pass that goes both ways says over which length.

Size: length of the path on which the pass finishes a wall conventional. Exact but for
the stations, a quarter of the tool's radius apart.
Margin: `finish_layer` 0.05 of DC. Common practice, no source.
Cure: run the pass the other way round, with G41 in place of G42 where the control
compensates.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_length
from .base import Change, Finding, Margin, Rule
from .engaged import Way, finishes, ways
from .own_values import own_value

if TYPE_CHECKING:
    from .case import Case
    from .taken import Floats, Ints
    from .walls import Walls

__all__ = ["RULES"]

RULE: Final = "cut-direction"
SHARE: Final = 0.1
"""Less than this share of what a pass finishes is not said."""


@dataclasses.dataclass(frozen=True)
class _Pass:
    """What a pass finishes: lengths in mm; the place and the moves that cut conventional."""

    number: int
    length: float
    conventional: float
    at: tuple[float, float, float]
    moves: Ints


def _weights(way: Way) -> Floats:
    """Return the length that each station stands for, mm."""
    gap = np.diff(way.s)
    weight: Floats = 0.5 * (np.append(gap, 0.0) + np.append(0.0, gap))
    return weight


def _looked_at(case: Case, walls: Walls, number: int) -> _Pass | None:
    """Return what a pass finishes; None: no wall."""
    length, wrong, longest, moves = 0.0, 0.0, 0.0, [np.zeros(0, np.int64)]
    worst = np.zeros(3)
    for way in ways(case, walls.before, walls.edge(case.tool_of(number)), number):
        done = finishes(case, walls, number, way)
        turning = np.where(walls.moves.spindle[way.places.move] < 0, -1.0, 1.0)
        against = done & (way.side * turning > 0)
        weight = _weights(way)
        length += float(weight[done].sum())
        wrong += float(weight[against].sum())
        if against.any():
            moves.append(np.unique(walls.before.of[way.places.move[against]]))
            here = np.where(against, weight, 0.0)
            if here.max() > longest + 1e-9:
                longest, worst = float(here.max()), way.places.tip[int(np.argmax(here))]
    if longest <= 0:
        return None
    x, y, z = (float(v) for v in worst)
    return _Pass(number, length, wrong, (x, y, z), np.concatenate(moves))


def _find(case: Case) -> Iterable[Finding]:
    from .walls import walls_of

    tools: dict[int, list[_Pass]] = {}
    for number in case.passes:
        tool = case.tool_of(number)
        if tool.shape not in ("flat", "bull"):
            continue
        found = _looked_at(case, walls_of(case), number)
        if found is None or found.conventional < max(SHARE * found.length, tool.cutting_radius):
            continue
        tools.setdefault(tool.number, []).append(found)
    for passes in tools.values():
        yield _finding(case, passes)


def _finding(case: Case, passes: list[_Pass]) -> Finding:
    worst = max(passes, key=lambda p: (round(p.conventional, 6), -p.number))
    unit = case.unit
    said, total = (
        say_length(v, unit, 2 if unit == "in" else 1) for v in (worst.conventional, worst.length)
    )
    text = f"finishes the wall conventional along {said}"
    if worst.conventional < (1 - SHARE) * worst.length:
        text += f" of {total}, and climbs on the rest"
    if len(passes) > 1:
        text += f"; so do passes {', '.join(str(p.number) for p in passes if p is not worst)}"
    own = own_value(case, worst.number, "cutmode")
    what = "direction" if own is None else own[0]
    return Finding(
        rule=RULE,
        severity="note",
        tool=case.passes[worst.number].tool,
        pass_number=worst.number,
        lines=case.lines_of(worst.moves),
        at=worst.at,
        size=worst.conventional,
        text=text,
        why="the edge rubs before it bites and draws chips along the finished wall; right where "
        "the machine has backlash or the skin is hard",
        change=Change(f"{what} of pass {worst.number}", "conventional", "climb", length=False),
        then="the edge leaves the wall with the thin end of the chip",
    )


RULES: Final = (
    Rule(
        {RULE: "A finishing pass cuts the wall conventional"},
        _find,
        (
            Margin(
                "finish_layer", 0.05, "of DC; a pass that takes a thicker layer is no finish",
                ratio=True,
            ),
        ),
    ),
)  # fmt: skip
