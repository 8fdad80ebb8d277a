"""Metal left too thin: slivers that stand at the end, and walls thin for their height.

[sliver] A sliver or an island stands on the part at the end of the job that is no part of
it: metal narrower than `sliver` between two cuts, such as the strip between two paths
that lie further apart than the tool is wide, or a web left between two pockets. It breaks
off in the machine, under the next tool or in somebody's finger.
With a model it is what the model does not have, standing over the part; what stands on
scrap is silent. With [part] top and bottom alone it is metal with both faces cut,
between part's top and bottom, and to watch: it may be a rib that is meant. Without
[part] the rule is silent. Where the sliver is not even, its thinnest place counts.
Size: thickness of the sliver at its foot, 10 thou over corner radius and tip of the tool
that runs along it. Exact, along level rays. What is lower than that, and ridges that
round ends leave, are for [leftover], [scallop-high] and [floor-marks].
Margin: `sliver` 15 thou.
Cure: paths that overlap by 10 thou, of a tool with a corner radius by 2 RE: a smaller
stepover, or one pass moved towards the other; or one more pass along it.

[thin-wall] A wall of the part stands more than `wall_ratio` times as high as it is thick,
and the pass that leaves it takes it to its whole height at one depth: it bends away from
the tool, springs back, chatters and ends up thick at the top.
Always a note: such walls are drawn so, and how they are cut is the machinist's choice.
The far face may be the stock's own, as it was before any cut, where the wall is thicker
than `sliver`; what is thinner there is a skin of the stock. Silent where the wall is cut
in several depths: no more than half of it at once.
Size: thickness of the wall at its foot (as above). Exact, along level rays; the height is
from the higher of the floors beside it to its top.
Margin: `wall_ratio` 15 times. Up to 8 goes like solid metal, 15 asks for care, over 30
for support.
Cure: levels of about four times the thickness, both sides in turn, a finish of the same
layer on both sides; or the second side cut while filler or a support stands at the first.
Only walls that a flat or bull nose end mill leaves are looked at.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule
from .own_values import own_value
from .scallop import ROUNDING

if TYPE_CHECKING:
    from ..contact.stations import Places
    from ..rays import Metal
    from .case import Case
    from .taken import Bools, Floats, Ints
    from .walls import Walls

__all__ = ["FOOT", "RULES", "closer"]

FOOT: Final = 10 * THOU
"""Walls are looked at so far above corner radius and tip of the tool beside them, mm."""
JUST: Final = 1e-4
"""So far outside the tool stands metal that its side left, mm."""
BESIDE: Final = 0.02
"""A wall further from the tool's side than this has been left by another tool, mm."""
WIDEST: Final = 10.0
"""Walls thicker than this are not thin whatever their height, mm."""
OFF: Final = (0.05, 0.5, 2.0)
"""The floor behind a wall is looked at so far off it, mm: past a fillet, if there is one."""
OVERLAP: Final = 10 * THOU
"""Advised overlap of the paths beside a sliver, mm. Common practice, no source."""
ROUNDS: Final = 60
"""Steps by which the thinnest place is closed in on."""
AT_ONCE: Final = 0.5
"""A wall of which a pass takes no more at one depth is cut in several, as a share."""
SAME: Final = 1e-6
LEVELS: Final = 4.0
"""Advised depth of a level, in thicknesses. Common practice, no source."""


@dataclasses.dataclass(frozen=True)
class _Thin:
    """Thin metal beside a path: arrays of shape (n,), lengths in mm.

    thick: at the foot; height: of its top over the higher floor; top: z; middle, shape (n, 3): in
    the metal; move: that left the near face; other: that left the far one, below 0 none; taken:
    how much of its height the near face's pass takes at that depth; part, share, side: the
    station that looks at it, and to which side.
    """

    part: Ints
    share: Floats
    side: Ints
    thick: Floats
    height: Floats
    top: Floats
    middle: Floats
    move: Ints
    other: Ints
    taken: Floats

    def __getitem__(self, index: Bools) -> _Thin:
        return _Thin(*(getattr(self, f.name)[index] for f in dataclasses.fields(self)))


# ------------------------------------------------------------------------------------------ looking


def _beside(case: Case, walls: Walls, number: int) -> Iterator[_Thin]:
    """Yield the thin metal on either side of a pass, as it stands at the end of the job."""
    places = walls.stations(walls.of_pass(number))
    places = places[places.tip[:, 2] < case.job.stock.high[2]]
    every, radius = places, walls.edge(case.tool_of(number)).radius
    for side in (0, 1) if len(every) else ():
        places = every[_stands(walls, every, side)]
        if not len(places):
            continue
        at, way, metal = _looked(walls, places, side)
        ray = np.repeat(np.arange(len(places)), np.diff(metal.offsets))
        near = (np.abs(metal.enter - radius) < BESIDE) & (metal.enter_move >= 0)
        near &= walls.moves.pass_number[np.maximum(metal.enter_move, 0)] == number
        near &= metal.leave < radius + BESIDE + WIDEST
        k, of = np.flatnonzero(near), ray[near]
        if len(k):
            ends = np.stack([metal.enter[k], metal.leave[k]])
            made = np.stack([metal.enter_move[k], np.maximum(metal.leave_move[k], -1)])
            yield _thin(walls, (places[of], side), (at[of], way[of], ends), made.astype(np.int64))


def _stands(walls: Walls, places: Places, side: int) -> Bools:
    """Return where metal stands just beside the tool at the end: the rest needs no ray."""
    edge = walls.edge(walls.tool(int(places.move[0])))
    way, done = walls.way(places)[:, side], np.full(len(places), len(walls.moves))
    found = np.zeros(len(places), bool)
    for off in (JUST, BESIDE / 2, BESIDE):
        x, y = (
            np.ascontiguousarray(places.tip[:, k] + (edge.radius + off) * way[:, k]) for k in (0, 1)
        )
        top, _ = walls.before.columns(x, y, done)
        found |= top > places.tip[:, 2] + edge.corner_top + FOOT
    return found


def _looked(walls: Walls, places: Places, side: int) -> tuple[Floats, Floats, Metal]:
    """Return origins, ways and metal of level rays to one side, at the end of the job."""
    edge = walls.edge(walls.tool(int(places.move[0])))
    way, at = walls.way(places)[:, side], places.tip.copy()
    at[:, 2] += edge.corner_top + FOOT
    far = edge.radius + 2 * (BESIDE + WIDEST)
    return at, way, walls.before.rays(at, way, len(walls.moves), far)


def _thin(
    walls: Walls, where: tuple[Places, int], rays: tuple[Floats, Floats, Floats], made: Ints
) -> _Thin:
    """Measure heights of thin metal: its top, the floors, how high it stood before."""
    (places, side), (at, way, ends) = where, rays
    count, tip = len(at), places.tip[:, 2]
    done = np.full(count, len(walls.moves))

    def top(far: Floats, done: Ints) -> Floats:
        x, y = (np.ascontiguousarray(at[:, k] + far * way[:, k]) for k in (0, 1))
        return walls.before.columns(x, y, done)[0]

    high = top(ends.mean(axis=0), done)
    behind = np.min([top(ends[1] + off, done) for off in OFF], axis=0)
    behind = np.where(made[1] < 0, np.nan_to_num(behind, nan=-np.inf), behind)  # beside the stock
    before = top(ends[0] - OFF[0], made[0])
    return _Thin(
        part=places.move, share=places.share, side=np.full(count, side),
        thick=ends[1] - ends[0], height=high - np.maximum(behind, tip), top=high,
        middle=at + ends.mean(axis=0)[:, None] * way, move=made[0], other=made[1],
        taken=np.minimum(before, high) - tip,
    )  # fmt: skip


def _all(case: Case, walls: Walls) -> Iterator[_Thin]:
    for number in case.passes:
        if case.tool_of(number).shape in ("flat", "bull"):
            yield from _beside(case, walls, number)


def _in_model(walls: Walls, thin: _Thin) -> tuple[Bools, Bools]:
    """Return which metal is in the model, and which stands over it, at its middle."""
    assert walls.model is not None
    x, y = (np.ascontiguousarray(thin.middle[:, k]) for k in (0, 1))
    top, bottom = walls.model.at(x, y)
    with np.errstate(invalid="ignore"):
        inside = (thin.middle[:, 2] < top) & (thin.middle[:, 2] > bottom)
        over = thin.middle[:, 2] >= top
    return inside, over


# ------------------------------------------------------------------------------------- what it says


def _find(case: Case) -> Iterable[Finding]:
    from .walls import walls_of

    if case.job.spec.part is None or not math.isfinite(case.part_bottom):
        return
    walls = walls_of(case)
    slivers: list[_Thin] = []
    tools: dict[int, list[_Thin]] = {}
    for thin in _all(case, walls):
        narrow, ribs = _sorted(case, walls, thin)
        if narrow.any():
            slivers.append(thin[narrow])
        if ribs.any():
            tool = int(walls.moves.tool[thin.move[0]])
            tools.setdefault(tool, []).append(thin[ribs])
    if slivers:
        yield from _slivers(case, walls, _joined(slivers))
    for found in tools.values():
        yield _wall(case, walls, _joined(found))


def _joined(parts: list[_Thin]) -> _Thin:
    names = [f.name for f in dataclasses.fields(_Thin)]
    return _Thin(*(np.concatenate([getattr(p, n) for p in parts]) for n in names))


def _sorted(case: Case, walls: Walls, thin: _Thin) -> tuple[Bools, Bools]:
    """Return which metal is a sliver, and which a thin wall cut at one depth."""
    within = (thin.middle[:, 2] > case.part_bottom) & (thin.middle[:, 2] < case.part_top + SAME)
    within &= thin.height > FOOT
    # Between a cut and the stock's own face there is a wall, or a mere skin of the stock.
    cut, skin = thin.other >= 0, thin.thick < case.margin("sliver")
    narrow = within & skin & cut
    ribs = within & (thin.height > case.margin("wall_ratio") * thin.thick)
    ribs &= thin.taken > AT_ONCE * thin.height + SAME
    if walls.model is not None:
        inside, over = _in_model(walls, thin)
        return narrow & over, ribs & inside
    return narrow, ribs & ~skin


def _slivers(case: Case, walls: Walls, thin: _Thin) -> Iterator[Finding]:
    """Yield one finding for each two passes that leave slivers between them."""
    passes = walls.moves.pass_number
    near, far = passes[thin.move], np.where(thin.other >= 0, passes[thin.other], 0)
    pair = np.sort(np.stack([near, far], axis=1), axis=1)
    for first, last in np.unique(pair, axis=0).tolist():
        mine = thin[(pair == (first, last)).all(axis=1)]
        yield _sliver(case, walls, mine, (first, last))


def _thinnest(walls: Walls, thin: _Thin) -> tuple[int, float, tuple[float, float, float]]:
    """Return the thinnest of thin metal, its thickness and middle, closed in on along the path."""
    from ..contact.stations import Places

    k = int(np.argmin(np.round(thin.thick, 6)))
    move, side = thin.part[k : k + 1], int(thin.side[k])
    radius = walls.edge(walls.tool(int(move[0]))).radius
    made = np.maximum([thin.move[k], thin.other[k]], -1).astype(np.int32)
    before, behind = walls.before.pass_of_move(made).tolist()

    def seen(share: float) -> tuple[float, Floats]:
        at, way, metal = _looked(walls, Places.at(walls.before, move, np.array([share])), side)
        alike = walls.before.pass_of_move(metal.leave_move) == behind  # not cut off by an edge,
        alike &= walls.before.pass_of_move(metal.enter_move) == before  # nor by the stock's end
        near = np.flatnonzero((np.abs(metal.enter - radius) < BESIDE) & alike)
        if not len(near):
            return math.inf, at[0]
        ends = float(metal.enter[near[0]]), float(metal.leave[near[0]])
        return ends[1] - ends[0], at[0] + sum(ends) / 2 * way[0]

    best = float(thin.share[k]), *seen(float(thin.share[k]))
    step = radius / max(float(walls.lengths[move[0]]), radius)
    for _ in range(ROUNDS):
        tries = [best[0] + d for d in (-step, step) if 0 <= best[0] + d <= 1]
        better = min(((q, *seen(q)) for q in tries), key=lambda f: f[1], default=best)
        best, step = (better, step) if better[1] < best[1] - 1e-9 else (best, step / 2)
        if step * float(walls.lengths[move[0]]) < 1e-5:
            break
    x, y, z = (float(v) for v in best[2])
    return k, best[1], (x, y, z)


def _sliver(case: Case, walls: Walls, thin: _Thin, pair: tuple[int, int]) -> Finding:
    k, thick, at = _thinnest(walls, thin)
    unit, number, one = case.unit, pair[1], pair[0] in (0, pair[1])
    made = np.concatenate([thin.move, thin.other[thin.other >= 0]])
    moves = walls.before.of[made[walls.moves.pass_number[made] == number]]
    high = say_length(float(thin.height[k]), unit, 3 if unit == "in" else 2)
    beside = "between its paths" if one else f"between pass {pair[0]} and pass {number}"
    return Finding(
        rule="sliver",
        severity="watch" if walls.model is None else "spoils",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(moves),
        at=at,
        size=thick,
        text=f"a sliver {say_fine(thick, unit)} thick and {high} high stands {beside}",
        why="it breaks off under a tool or stays on the part as a fin",
        change=closer(case, pair, thick),
        then="the two cuts overlap and nothing is left between them",
        other_pass=None if one else pair[0],
    )


def closer(case: Case, pair: tuple[int, int], thick: float) -> Change:
    """Return the change that lets two cuts overlap."""
    number = pair[1]
    if pair[0] not in (0, number):
        what = f"path of pass {number}, moved towards pass {pair[0]} by"
        return Change(what, None, thick + OVERLAP)
    wide = 2 * case.tool_of(number).cutting_radius
    own = own_value(case, number, "radial_cutting_depth")
    what = "stepover" if own is None else own[0]
    # A corner radius leaves a ridge where the flat end does not reach over.
    flat = ROUNDING * (wide - 2 * case.tool_of(number).corner_radius)
    step = min(wide - OVERLAP, flat) if case.tool_of(number).corner_radius else wide - OVERLAP
    return Change(f"{what} of pass {number}", wide + thick, step, seconds=None)


def _wall(case: Case, walls: Walls, thin: _Thin) -> Finding:
    """Say which wall that one tool leaves is the thinnest for its height."""
    k = int(np.argmax(np.round(thin.height / thin.thick, 3)))
    thick, high = float(thin.thick[k]), float(thin.height[k])
    move = int(walls.before.of[thin.move[k]])
    number = int(case.moves.pass_number[move])
    x, y, z = (float(v) for v in thin.middle[k])
    own = own_value(case, number, "axial_cutting_depth")
    what = "depth of a level in" if own is None else f"{own[0]} of"
    level = LEVELS * thick
    return Finding(
        rule="thin-wall",
        severity="note",
        tool=int(case.moves.tool[move]),
        pass_number=number,
        lines=case.lines_of(walls.before.of[thin.move]),
        at=(x, y, z),
        size=thick,
        text=f"pass {number} leaves a wall {case.say(thick)} thick and {case.say(high)} high, "
        f"{high / thick:.0f} times its thickness, to its whole height at one depth",
        why="a thin wall bends away from the tool, springs back and ends up thick at the top",
        change=Change(f"{what} pass {number}", float(thin.taken[k]), level, seconds=None),
        then="what stands above each level still holds the wall while it is cut",
    )


RULES: Final = (
    Rule(
        {
            "sliver": "A sliver of metal stands between two cuts",
            "thin-wall": "A thin wall is cut to its whole height at once",
        },
        _find,
        (
            Margin("sliver", 15 * THOU, "metal between two cuts that is thinner is a sliver"),
            Margin("wall_ratio", 15.0, "times its thickness: higher, a wall is thin", ratio=True),
        ),
    ),
)
