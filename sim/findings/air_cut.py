"""Passes and strokes at feed that touch nothing.

[air-cut] A stroke is what runs at feed between two rapids. It cuts air where neither its
bottom nor its side comes nearer than `air_gap` to metal as it stood before it. A pass all
of whose strokes do is worth a look: a wrong height, offset or origin, or a pass that an
earlier one made needless. A single such stroke in a pass that cuts elsewhere costs only
time and is a note.

Silent: spring passes (they run along metal and touch it), lead-ins and lead-outs (parts
of a stroke that cuts), a finisher's plunge into a cleared pocket (likewise), strokes
straight down, and what is shorter than `air_length` in all.

Size: the length of the path at feed that cuts air, all strokes of the pass together. The
places are exact columns about the tool all along its path, no further apart than a third
of its radius; what stands between them and is thinner than that may be missed.

Margins: `air_gap`, 5 thou: below it a pass that takes nothing is a spring pass or clears
by design. `air_length`, 1 in: shorter strokes cost less time than it takes to read of
them.
Cure: compare heights and offsets with what the pass should meet; else leave it out. The
seconds saved are said.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule
from .words import lines_said

if TYPE_CHECKING:
    from ..tools import Tool
    from .case import Case
    from .taken import Floats, Ints

__all__ = ["RULES"]

COLUMNS: Final = 256
"""Columns along the longer side of the stock by which most strokes are seen to cut."""
HEIGHTS: Final = 9
"""Heights on the tool at which its side is looked at."""
SAME_MM: Final = 1e-9
AT_ONCE: Final = 200_000


def _strokes(case: Case) -> list[Ints]:
    """Return the strokes of all passes that may cut air: those that took nothing on coarse columns.

    What is left out surely cuts, so the columns' distance has no part in what is found.
    """
    from ..cut import cut
    from ..grid import Grid
    from .taken import runs

    job, moves = case.job, case.moves
    strokes = runs(~moves.rapid & moves.sweeps(), moves.pass_number)
    if not strokes:
        return []
    number = np.zeros(len(moves), np.int32)
    for n, stroke in enumerate(strokes, start=1):
        number[stroke[0] :] = 2 * n  # what follows it has a number of its own
        number[stroke[-1] + 1 :] = 2 * n + 1
    low, high = job.stock.low, job.stock.high
    pitch = max(high[0] - low[0], high[1] - low[1]) / COLUMNS
    grid = Grid.over((low[0], low[1]), (high[0], high[1]), pitch)
    packed = dataclasses.replace(job.packed, passes=number[job.packed.move])
    removed = cut(grid, packed, job.stock, by_pass=True, deep=job.deep).removed
    surely = 1e-6 * grid.cell_area
    return [s for n, s in enumerate(strokes, start=1) if removed.get(2 * n, 0.0) <= surely]


def _outline(tool: Tool, gap: float, reach: float) -> list[tuple[float, float]]:
    """Return radii and heights over the tip of a tool grown by `gap`, up to `reach`, mm.

    Where it is narrower above than below, the widest so far: metal under it is in its way too.
    """
    top = min(max(p.z_high for p in tool.pieces if p.cutting), reach)
    low = min(p.z_low for p in tool.pieces if p.cutting)
    found = [(0.0, low - gap)]
    widest = max(tool.flat_radius, SAME_MM)
    for k in range(1, 5):
        found.append((widest * k / 4, low - gap))
    for share in np.linspace(0.0, 1.0, HEIGHTS)[1:].tolist():
        z = low + (top - low) * share**2  # nearer to each other at the tip
        widest = max(widest, tool.radius_at(z))
        found.append((widest + gap, z - gap))
    found.append((tool.flat_radius + gap, low - gap if tool.corner_radius == 0 else low))
    return found


def _touches(case: Case, stroke: Ints, gap: float) -> bool:
    """Whether a stroke comes within `gap` of metal as it stood before it."""
    from .taken import clock, stations

    tool = case.job.tools[int(case.moves.tool[stroke[0]])]
    lowest = float(np.fmin(case.moves.start[stroke, 2], case.moves.end[stroke, 2]).min())
    reach = max(float(case.job.stock.high[2]) - lowest, 1e-3)
    outline = _outline(tool, gap, reach)
    plan = np.concatenate([clock(r, 0.05 * n) for n, (r, _) in enumerate(outline)])
    over = np.repeat([z for _, z in outline], len(plan) // len(outline))
    tips = np.concatenate([stations(case, int(k), tool.cutting_radius / 3) for k in stroke])
    step = max(1, AT_ONCE // len(plan))
    for first in range(0, len(tips), step):
        if _meets(case, tips[first : first + step], plan, over, int(stroke[0])):
            return True
    return False


def _meets(case: Case, tips: Floats, plan: Floats, over: Floats, move: int) -> bool:
    from .taken import heights

    places = (tips[:, None, :2] + plan[None]).reshape(-1, 2)
    z = (tips[:, None, 2] + over[None]).ravel()
    before, _ = heights(case, places[:, 0].copy(), places[:, 1].copy(), move)
    return bool((before > z).any())  # NaN, nothing there: False


def _only_down(case: Case, stroke: Ints) -> bool:
    from .taken import plan_lengths

    return bool((plan_lengths(case)[stroke] < SAME_MM).all())


def _find(case: Case) -> Iterable[Finding]:
    moves, gap = case.moves, case.margin("air_gap")
    lengths = moves.lengths()
    in_air: dict[int, list[Ints]] = {}
    for stroke in _strokes(case):
        if not _only_down(case, stroke) and not _touches(case, stroke, gap):
            in_air.setdefault(int(moves.pass_number[stroke[0]]), []).append(stroke)
    for number, strokes in in_air.items():
        which = np.concatenate(strokes)
        if lengths[which].sum() > case.margin("air_length"):
            mine = case.moves_of(number)
            feeds = mine[~moves.rapid[mine] & moves.sweeps()[mine]]
            rest = np.setdiff1d(feeds, which)
            yield _finding(case, number, which, len(strokes), whole=_nothing(case, rest))


def _nothing(case: Case, rest: Ints) -> bool:
    """Whether what is left of a pass is only strokes straight down."""
    return not len(rest) or (_only_down(case, rest) and not _takes(case, rest))


def _takes(case: Case, rest: Ints) -> bool:
    from .taken import bite

    return any(bite(case, rest[rest == k]) is not None for k in rest)


def _finding(case: Case, number: int, which: Ints, strokes: int, *, whole: bool) -> Finding:
    moves = case.moves
    lengths = moves.lengths()[which]
    length = float(lengths.sum())
    feed = moves.feed[which]
    seconds = 60 * float((lengths[feed > 0] / feed[feed > 0]).sum())
    x, y, z = moves.end[which[0]].tolist()
    what = "the whole pass" if whole else f"{strokes} stroke{'s' * (strokes > 1)} of the pass"
    gap = say_fine(case.margin("air_gap"), case.unit)
    text = f"{what} cut{'s' * (whole or strokes == 1)} air: no metal within {gap} of the tool"
    why = (
        "what it should cut still stands, or was cut before: look at its heights and offsets"
        if whole
        else "it costs time and leaves nothing"
    )
    lines = case.lines_of(which)
    return Finding(
        rule="air-cut",
        severity="watch" if whole else "note",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=lines,
        at=(x, y, z),
        size=length,
        text=f"{text}; {say_length(length, case.unit)} at feed",
        why=why,
        change=Change(
            lines_said(*lines),
            "cut air",
            "left out, or lower",
            length=False,
            seconds=0.0 if math.isinf(seconds) else -seconds,
        ),
        then="the part is the same, or has what this pass was to cut",
    )


RULES: Final = (
    Rule(
        {"air-cut": "A pass or a stroke that touches nothing"},
        _find,
        (
            Margin("air_gap", 5 * THOU, "a pass nearer to metal than this is meant to be there"),
            Margin("air_length", 1000 * THOU, "shorter strokes in air are not worth reading of"),
        ),
    ),
)
