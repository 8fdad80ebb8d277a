"""Neck, shank or holder too near the stock, and stock that stands above the cutting edges.

shank-rub
    The neck or the shank touches the stock as it stands at that moment, or clears it by
    less than the margin, at a feed or in a rapid.
    Size: the gap, a length; 0 is a touch, below 0 it is minus the deepest overlap.
holder-rub
    The same of the holder. Size: as above.
cuts-above-length
    The tool cuts where stock stands above the end of its cutting edges (APMX): that stock
    is not cut, and something of the tool must go through it.
    Size: how high the stock stands above the end of the edges, a length.

Measure: the least distance in space of neck, shank and holder, all along a move, to the
stock left by all earlier moves and by the move's own edges. A search finds the place at
any pitch and rays give the number. Above the edges the same is done with a bar as thick
as the cutting part. Where a tool takes above its edges half or more of what it takes at
its foot, the whole depth was taken at once: that is cuts-above-length, and its shank is
not named again. A thinner strip is shank-rub where neck or shank meet it. A shank no
thicker than its edges that ends over a top just cut is silent. It counts on scrap as on
the part: metal pushes the tool away wherever it stands. T-slot cutters and the like work
under a lip and are judged by their neck alone. What the job does not say, APMX, DMM or a
holder, is not judged.

Margin: shank_clearance 1 thou, holder_clearance 10 thou. A shank runs true with the edges
and the wall beside it has just been cut, so a thou is room enough; a holder is seldom
measured to better than some thou, and its touch ruins tool and part. Common practice, no
source. Touch or overlap: stop. Less than the margin, or a strip above the edges that neck
and shank clear: watch.

Cure of a shank as thick as its edges beside a wall deeper than APMX: staggered
allowances. The upper depth leaves U on the wall, the lower depth L; the shank is free by

    gap = L - U + (DC - DMM) / 2

as long as it begins at least one RE of the upper pass above the upper depth, since the
upper pass leaves its own fillet there: overlap = lower depth + APMX - upper depth, at
least RE. With less, the shank's edge is v = RE - overlap below the fillet's run-out, and
free by

    RE - hypot(RE - gap, v)

only. RE 60, U 7, L 10: 3 thou free with 60 of overlap, 2.13 with 50, nothing with 41.3.
With overlap enough, the lower depth leaves so much more that the shank is 3 thou free, or
the margin if that is more; where by program it clears and a D register in force or a work
zero is off, that is set right. With less, the upper depth goes down until the overlap is RE;
where the allowance is short too, the lower depth leaves as much more as the fillet asks
for. Plane geometry. Where no later pass takes that wall, and the step that the allowances
make would be a line on the part ([depth-line]), the cure is the tool's: a longer cutting
length (APMX), or a longer neck (LU). So it is where there are not two depths, in a slot or
a hole, over a floor, beside raw stock.
Cure of a holder: more stick-out (LPR), as much as clears all that it passes over.
Cure of a cut above the edges: smaller levels where the tool is relieved behind its edges,
else a tool with a longer cutting length.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..units import outward, say_fine
from .base import THOU, Change, Finding, Margin, Rule
from .look import HAIR, SAME, Look
from .shank_cures import (
    BEHIND,
    MOST_ADDED,
    Near,
    corner_of,
    depth_of,
    edge_end,
    left_by,
    longer,
    stagger,
    stance,
)
from .words import meets

if TYPE_CHECKING:
    from ..tools import Tool
    from .case import Case

__all__ = ["RULES"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TRIMS: Final = 12
"""Heights within a corner radius at which a wall is looked at for what a level above left."""
UNSURE: Final = 0.5 * THOU
"""A gap below this closes by what an earlier tool may have been pushed off, mm."""


# ------------------------------------------------------------------------------------------ finding


def find(case: Case) -> Iterator[Finding]:
    """Yield what shank, neck and holder touch, and cuts above the edges."""
    look = Look(case)
    least: dict[tuple[int, str], float] = {}
    for g in case.clearance.gaps:
        if g.against == "stock":
            least[g.tool, g.part] = g.gap
    for number in np.unique(case.moves.tool[case.moves.sweeps()]).tolist():
        tool = case.job.tools[number]
        rubs = list(_rubs(look, tool, least))
        over = list(_over_edges(look, tool, least))
        whole = {left_by(look, near.wall) for near, at_once in over if at_once}
        taken = {near.pass_number for near, _ in over if left_by(look, near.wall) in whole}
        rubs = [r for r in rubs if r.gap > 0 or r.pass_number not in taken]
        yield from (_rub_finding(look, near) for near in _worst(look, rubs))
        touched = {r.pass_number for r in rubs if r.gap <= 0}
        over = [(near, at_once) for near, at_once in over if near.pass_number not in touched]
        yield from (_over_finding(look, n, w) for n, w in _deepest(look, over))
        if least.get((number, "holder"), math.inf) < case.margin("holder_clearance") - SAME:
            yield _holder_finding(look, tool)


def _by_pass(look: Look, tool: Tool, part: str, rows: Floats, moves: Ints) -> Iterator[Near]:
    """Yield the least gap of a part in each pass."""
    numbers = look.moves.pass_number[moves]
    for n in np.unique(numbers).tolist():
        found = look.least(rows, moves[numbers == n])
        if found is not None:
            gap, (x, y, z), move = found
            at = (float(x), float(y), float(z))
            near = Near(tool, part, float(gap), at, move, n, rows, -1)
            yield dataclasses.replace(near, wall=_wall_of(look, near))


def _wall_of(look: Look, near: Near) -> int:
    """Return the move that left the wall beside a part's lower end; -1: none, or raw stock."""
    tip, way, row = stance(look, near)
    if way is None:
        return -1
    far = row[3] + abs(near.gap) + MOST_ADDED
    begins, step = float(tip[2] + row[0]), corner_of(near.tool) / TRIMS
    walls: list[int] = []
    for k in range(TRIMS if step else 1):
        hit = look.hit(tip, way, begins + k * step + HAIR, near.move + 1, far)
        walls.append(-1 if hit is None or hit[0] <= 0 else max(hit[1], -1))
        if left_by(look, walls[-1]) != near.pass_number:
            break
    # A level of its own pass may have trimmed the fillet that the pass above left.
    return walls[-1] if left_by(look, walls[-1]) > 0 else walls[0]


def _rubs(look: Look, tool: Tool, least: dict[tuple[int, str], float]) -> Iterator[Near]:
    """Yield the passes in which neck or shank are too near."""
    margin = look.case.margin("shank_clearance")
    for part in BEHIND:
        if least.get((tool.number, part), math.inf) >= margin - SAME:
            continue
        rows, moves = look.rows(tool.number, (part,)), look.of(tool.number)
        for near in _by_pass(look, tool, part, rows, moves):
            if near.gap < margin - SAME and not _beside(look, near):
                # Over an edge that the cutting part has just cut: only what stands higher counts.
                mine = moves[look.moves.pass_number[moves] == near.pass_number]
                higher = rows + np.array([margin, 0.0, 0.0, 0.0])
                near = next(_by_pass(look, tool, part, higher, mine), near)
            if near.gap < margin - SAME:
                gap = 0.0 if abs(near.gap) < SAME else near.gap
                yield dataclasses.replace(near, gap=gap, rows=rows)


def _beside(look: Look, near: Near) -> bool:
    """Whether metal stands beside a part, or the part is wider than the edges below it."""
    tip, way, row = stance(look, near)
    radius = float(row[2:].max())
    if way is None or radius > near.tool.cutting_radius + 1e-9:
        return True
    z = float(tip[2] + row[0]) + look.case.margin("shank_clearance") + HAIR
    return look.hit(tip, way, z, near.move + 1, radius + MOST_ADDED) is not None


def _worst(look: Look, rubs: list[Near]) -> list[Near]:
    """Return the worst rub of each cause: of one tool beside what one pass left."""
    causes: dict[int, Near] = {}
    for near in rubs:
        key = left_by(look, near.wall)
        if key not in causes or near.gap < causes[key].gap - SAME:
            causes[key] = near
    return list(causes.values())


def _same_depth(look: Look, near: Near) -> Ints:
    """Return the moves of a pass as deep as one of them."""
    mine = look.of(near.tool.number)
    same = look.moves.pass_number[mine] == near.pass_number
    deep: Ints = mine[same & (np.abs(look.lowest(mine) - depth_of(look, near.move)) < SAME)]
    return deep


def _finding(
    look: Look, near: Near, rule: str, size: float | None, stop: bool, text: str, why: str,
    cure: tuple[Change | None, str],
) -> Finding:  # fmt: skip
    owner, rapid = left_by(look, near.wall), ", in a rapid" if look.moves.rapid[near.move] else ""
    short = any("cut short" in note for note in look.case.clearance.notes)
    sure = "estimated from a search that was cut short" if short or size is None else "exact"
    return Finding(
        rule, "stop" if stop else "watch", near.tool.number, near.pass_number,
        look.case.lines_of(_same_depth(look, near)), near.at, -near.gap if size is None else size,
        text + rapid, why, sure, *cure,
        other_pass=owner if owner > 0 and owner != near.pass_number else None,
    )  # fmt: skip


def _rub_finding(look: Look, near: Near) -> Finding:
    owner, touch = left_by(look, near.wall), near.gap <= 0
    what = "the stock" if owner <= 0 else f"what pass {owner} left"
    text = f"the {near.part} {meets(what, near.gap, look.case.unit)}"
    why = "a shank cuts nothing: it rubs, pushes the tool away, marks the wall or breaks the tool"
    if 0 < near.gap < UNSURE:
        why += "; by program, closes if the earlier tool pushed off that much more"
    cure = stagger(look, near) or longer(look, near)
    return _finding(look, near, "shank-rub", near.gap, touch, text, why, cure)


# ------------------------------------------------------------------------------------------- holder


def _holder_finding(look: Look, tool: Tool) -> Finding:
    """Return the holder's finding: one, for one stick-out clears all."""
    case, rows = look.case, look.rows(tool.number, ("holder",))
    margin, key = case.margin("holder_clearance"), (tool.number, "holder", "stock")
    g = next(g for g in case.clearance.gaps if (g.tool, g.part, g.against) == key)
    near = Near(tool, "holder", g.gap, g.at, g.move, g.pass_number, rows, -1)
    up, change = look.raise_needed(rows, look.of(tool.number), margin), None
    if up is not None and tool.stickout is not None:
        more = outward(tool.stickout + up, tool.stickout, case.unit)
        change = Change(f"LPR of T{tool.number}", tool.stickout, more)
    text = f"the holder {meets('the stock', g.gap, case.unit)}"
    why = "a holder that touches ruins tool and part, and stick-out is seldom set any closer"
    then = f"the holder is {say_fine(margin, case.unit)} free of the stock; longer, it bends more"
    return _finding(look, near, "holder-rub", g.gap, g.gap <= 0, text, why, (change, then))


# ---------------------------------------------------------------------------------- above the edges


def _over_edges(
    look: Look, tool: Tool, least: dict[tuple[int, str], float]
) -> Iterator[tuple[Near, bool]]:
    """Yield the passes that cut where stock stands above the edges; whether the whole depth."""
    end, radius = edge_end(tool), tool.cutting_radius
    if tool.undercut or not math.isfinite(end):
        return
    moves = look.of(tool.number)
    moves = moves[look.lowest(moves) + end < float(look.case.job.stock.high[2]) - SAME]
    behind = next((p for p in tool.pieces if p.label in BEHIND), None)
    thick = behind is not None and behind.r_low >= radius - 1e-9 and behind.z_low <= end + 1e-9
    if behind is not None and thick and least.get((tool.number, behind.label), math.inf) >= 0:
        return  # a bar as thick as the edges meets nothing where a thicker shank does not
    rows = np.array([[end, math.inf, radius, radius]])
    for near in _by_pass(look, tool, "side", rows, moves):
        if near.gap < -SAME:
            yield near, _at_once(look, near)


def _at_once(look: Look, near: Near) -> bool:
    """Whether above the edges half or more is taken of what is taken at the tool's foot."""
    tool, (tip, way, _) = near.tool, stance(look, near)
    radius, end = tool.cutting_radius, edge_end(tool)
    if way is None or -near.gap > radius / 2:
        return True
    mine = np.flatnonzero(look.moves.pass_number == near.pass_number)
    before = int(mine[look.lowest(mine) <= tip[2] + SAME][0])
    foot = min(corner_of(tool) + HAIR, end - HAIR)
    bites = []
    for height in (foot, end + HAIR):
        hit = look.hit(tip, way, float(tip[2] + height), before, radius)
        bites.append(0.0 if hit is None else radius - hit[0])
    return bites[0] > SAME and bites[1] >= bites[0] / 2


def _deepest(look: Look, over: list[tuple[Near, bool]]) -> list[tuple[Near, bool]]:
    """Return the first pass of each cause that meets the stock."""
    causes: dict[int, tuple[Near, bool]] = {}
    for near, at_once in over:
        key = left_by(look, near.wall)
        if key not in causes or (at_once and not causes[key][1]):
            causes[key] = near, at_once
    return list(causes.values())


def _over_finding(look: Look, near: Near, at_once: bool) -> Finding:
    mine = look.of(near.tool.number)
    mine = mine[look.moves.pass_number[mine] == near.pass_number]
    height = look.raise_needed(near.rows, mine, 0.0)
    text = f"stock stands above the cutting edges of T{near.tool.number}"
    if height is not None:
        text += f", by {say_fine(height, look.case.unit)}"
    why = "a strip above the edges is not cut and stays on the wall, over the tool's path"
    if at_once:
        why = "what stands above the edges is not cut: neck or shank have to push through it"
    cure = _over_cure(look, near, height, at_once)
    return _finding(look, near, "cuts-above-length", height, at_once, text, why, cure)


def _over_cure(
    look: Look, near: Near, height: float | None, at_once: bool
) -> tuple[Change | None, str]:
    """Return smaller levels where the tool is relieved behind its edges, else longer edges."""
    tool, end = near.tool, edge_end(near.tool)
    if not at_once and (found := stagger(look, near)) is not None:
        return found[0], "no stock stands above the edges"
    if height is None:
        return None, ""
    margin = look.case.margin("shank_clearance")
    deep = end + height
    behind = [p for p in tool.pieces if p.label in BEHIND and p.z_low < deep - SAME]
    # The corner radius of each level leaves its fillet over the next one.
    room = end - tool.corner_radius
    if all(p.widest <= tool.cutting_radius - margin for p in behind) and 4 * room > end:
        count = 1 + math.ceil((deep - end - SAME) / room)
        level = f"depth of a level in pass {near.pass_number}"
        if look.case.job.spec.setups[int(look.moves.setup[near.move])].passes is not None:
            level = f"axial_cutting_depth of pass {near.pass_number}"
        change = Change(level, deep, deep / count, seconds=None)
        return change, f"the depth is taken in {count} levels, each within the edges"
    change = Change(f"APMX of T{tool.number}", end, outward(deep, end, look.case.unit))
    return change, "the edges reach to the top of the stock"


MARGINS: Final = (
    Margin(
        "shank_clearance",
        1 * THOU,
        "least gap of neck and shank to the stock; they run true with the edges",
    ),
    Margin(
        "holder_clearance",
        10 * THOU,
        "least gap of the holder to the stock; stick-out is seldom set closer",
    ),
)
TITLES: Final = {
    "shank-rub": "Neck or shank too near the stock",
    "holder-rub": "The holder too near the stock",
    "cuts-above-length": "Stock above the cutting edges",
}
RULES = (Rule(TITLES, find, MARGINS),)
