"""A jaw, stop or clamp too near the tool, and a part that stands too shallow in its jaws.

fixture-near
    Any part of a tool, cutting or not, touches a box of the fixture on a feed or a rapid,
    or passes it by less than the margin.
    Size: the gap, a length; 0 is a touch, below 0 it is minus how deep the box reaches into
    that part of the tool alone, from its nearest face: how much higher the whole tool is
    clear of the box stands beside it.
short-grip
    The stock stands less deep between the jaws than the margin.
    Size: the jaw engagement, a length: how much of its height the shallower jaw holds.

Measure: the least distance in space between each part of the tool, all along its moves,
and the boxes of [[setups.fixture]]. Tools that come near the same box make one finding,
with the nearest of them: one jaw that stands too high is one mistake. Jaws are two boxes
that face each other with metal within 10 thou of both faces as the setup begins; a box
called a stop, clamp, support or parallel is none. Their engagement is measured along
upright rays. The web is what is left between the lowest cut within 100 thou of the jaws
and their top; it is said with either finding.

Margin: jaw_clearance 10 thou, jaw_engagement 60 thou. Jaws and clamps are set and
measured by hand, and the tool must miss them by more than that is good for. Less than 60
thou of grip lets the part climb out of plain jaws under a roughing cut; with dovetailed
or serrated jaws set jaw_engagement lower. Common practice, no source.
Touch or overlap: stop. Less than the margin, or a short grip: watch.

Cure of a jaw or clamp too near: its top so much lower, which for jaws means thicker
parallels under the part. Where that leaves less grip than the margin, the blank has to be
thicker below by as much. Where a lower top doesn't help, the box goes aside. In a rapid:
a higher Z.
Cure of a short grip: thinner parallels, so that the jaws hold the margin; where tools
would then come too near them, a blank thicker below.
A job without a fixture is not judged.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..pieces import CUTTING
from ..units import outward, say_fine
from .base import THOU, Change, Finding, Margin, Point, Rule, Severity
from .look import SAME, Look
from .words import meets

if TYPE_CHECKING:
    from ..clearance import Gap
    from ..jobfile_spec import Box
    from .case import Case

__all__ = ["RULES"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
REACH: Final = 10 * THOU
"""Metal so near a box's face is held by it, mm: boxes are drawn to a few thou."""
NEAR: Final = 100 * THOU
"""Cuts so near the jaws in plan count for the web, mm. Common practice, no source."""
NO_JAWS: Final = ("stop", "clamp", "support", "parallel")
"""Boxes called so hold nothing between them."""
SAMPLES: Final = 65
"""Upright rays along a jaw's face; the middle is one of them."""
FAR: Final = 1e4
"""Past every part and machine, mm."""
MOST: Final = 500.0
"""Nothing is moved further out of the way, mm."""
LIKE: Final = 1.05
"""A tool that is clear of a box no more than so many times the depth higher needs no words."""
FINE: Final = 1e-7
"""How finely a cure is found, mm."""


@dataclasses.dataclass(frozen=True)
class Grip:
    """Two jaws that hold the stock: how deep, and the box that holds less."""

    engagement: float
    at: Point
    boxes: tuple[Box, Box]

    @property
    def top(self) -> float:
        """Top of the higher jaw, mm."""
        return max(b.high[2] for b in self.boxes)


class Setup(Look):
    """One setup of a case, with its fixture."""

    def __init__(self, case: Case, index: int) -> None:
        super().__init__(case)
        self.boxes = {b.name: b for b in case.job.spec.setups[index].fixture}
        self.mine: Ints = np.flatnonzero(case.moves.setup == index)

    @functools.cached_property
    def grip(self) -> Grip | None:
        """The pair of jaws that holds least; None: no pair holds anything."""
        boxes = [b for b in self.boxes.values() if not any(w in b.name.lower() for w in NO_JAWS)]
        pairs = [
            grip
            for axis in (0, 1)
            for one in boxes
            for other in boxes
            if (grip := self._pair(axis, one, other)) is not None
        ]
        return min(pairs, key=lambda g: g.engagement, default=None)

    def _pair(self, axis: int, one: Box, other: Box) -> Grip | None:
        across = 1 - axis
        faced = min(one.high[across], other.high[across]) > max(one.low[across], other.low[across])
        if one.high[axis] >= other.low[axis] or not faced:
            return None
        held = [
            self._held(axis, one, one.high[axis] + REACH),
            self._held(axis, other, other.low[axis] - REACH),
        ]
        engagement, at = min(held)
        return Grip(engagement, at, (one, other)) if engagement > SAME else None

    def _held(self, axis: int, box: Box, face: float) -> tuple[float, Point]:
        """Return the longest upright stretch of metal before a jaw's face, and its middle."""
        stock, across = self.case.job.stock, 1 - axis
        low = max(box.low[across], float(stock.low[across])) + SAME
        high = min(box.high[across], float(stock.high[across])) - SAME
        if low >= high:
            return 0.0, box.low
        places = np.full((SAMPLES, 3), float(stock.high[2]) + 1.0)
        places[:, axis], places[:, across] = face, np.linspace(low, high, SAMPLES)
        metal = self.case.job.rays(places, (0.0, 0.0, -1.0), as_of=int(self.mine[0]), threads=1)
        top = np.minimum(places[0, 2] - metal.enter, box.high[2])
        bottom = np.maximum(places[0, 2] - metal.leave, box.low[2])
        if not len(top) or (top - bottom).max() <= 0:
            return 0.0, box.low
        k = int(np.argmax(np.round(top - bottom, 9)))
        x, y, _ = places[int(np.searchsorted(metal.offsets, k, side="right")) - 1].tolist()
        return float(top[k] - bottom[k]), (x, y, float(top[k] + bottom[k]) / 2)

    def lowest_near(self, grip: Grip) -> tuple[float, int] | None:
        """Return the lowest tip of a cut near the jaws, and its move; None: nothing comes near."""
        cuts = self.mine[self.moves.sweeps()[self.mine] & ~self.moves.rapid[self.mine]]
        low = self.lowest(cuts)
        around = [
            (b.low[0] - NEAR, b.low[1] - NEAR, -FAR, b.high[0] + NEAR, b.high[1] + NEAR, FAR)
            for b in grip.boxes
        ]
        for k in np.argsort(low, kind="stable").tolist():
            rows = self.rows(int(self.moves.tool[cuts[k]]), CUTTING)
            if any(self.gap(rows, cuts[k : k + 1], box) < 0 for box in around):
                return float(low[k]), int(cuts[k])
        return None

    def gap(self, rows: Floats, moves: Ints, box: Sequence[float]) -> float:
        """Return the least gap of frustums on moves to a box, mm."""
        from ..clearance import box_gap

        found = box_gap(self.stock, rows, moves, tuple(float(v) for v in box))
        return math.inf if found is None else found[0]

    def of(self, tool: int) -> Ints:
        """Return the moves of a tool in this setup that sweep."""
        return np.intersect1d(super().of(tool), self.mine)


# ------------------------------------------------------------------------------------------ finding


def find(case: Case) -> Iterator[Finding]:
    """Yield what comes near the fixture, and short grips."""
    for index, spec in enumerate(case.job.spec.setups):
        setup = Setup(case, index)
        if not spec.fixture or not len(setup.mine):
            continue
        margin = case.margin("jaw_clearance") - SAME
        near = [
            g
            for g in case.clearance.gaps
            if g.against in setup.boxes and case.moves.setup[g.move] == index and g.gap < margin
        ]
        for group in _groups(near):
            yield _near_finding(setup, group)
        grip = setup.grip
        if grip is not None and grip.engagement < case.margin("jaw_engagement") - SAME:
            yield _grip_finding(setup, grip)


def _groups(near: list[Gap]) -> list[list[Gap]]:
    """Return gaps that have one cause: joined by a tool or by a box."""
    groups: list[list[Gap]] = []
    for g in near:
        joined = [h for h in groups if any(g.tool == o.tool or g.against == o.against for o in h)]
        groups = [h for h in groups if all(h is not j for j in joined)]
        groups.append([o for h in joined for o in h] + [g])
    return groups


def _named(words: Sequence[str]) -> str:
    words = list(dict.fromkeys(words))
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _near_finding(setup: Setup, group: list[Gap]) -> Finding:
    worst = min(group, key=lambda g: (round(g.gap, 6), g.part not in CUTTING, g.move))
    severity: Severity = "stop" if worst.gap <= 0 else "watch"
    change, then = _cure(setup, group, worst)
    boxes = _named(sorted({g.against for g in group}))
    rapid = " in a rapid" if setup.case.moves.rapid[worst.move] else ""
    return Finding(
        rule="fixture-near",
        severity=severity,
        tool=worst.tool,
        pass_number=worst.pass_number,
        lines=(worst.line, worst.line),
        at=worst.at,
        size=worst.gap,
        text=f"the {worst.part} of T{worst.tool} {meets(boxes + rapid, worst.gap, setup.case.unit)}"
        + _clear_of(setup, worst)
        + _others(group, worst),
        why="a fixture is set by hand: the tool must miss it by more than that is good for"
        + _web(setup),
        change=change,
        then=then,
    )


def _others(group: list[Gap], worst: Gap) -> str:
    """Return the words on other tools of a group: those that do the same, those that come near."""
    touch = {g.tool for g in group if g.gap <= 0}
    near = {g.tool for g in group} - touch - {worst.tool}
    same, rest = (touch - {worst.tool}, near) if worst.gap <= 0 else (near, set())
    do = "do" if len(same) > 1 else "does"
    text = f", and so {do} {_named([f'T{n}' for n in sorted(same)])}" if same else ""
    return text + (f"; near: {_named([f'T{n}' for n in sorted(rest)])}" if rest else "")


def _clear_of(setup: Setup, worst: Gap) -> str:
    """Return the words on how much higher a tool is clear of the box that it touches."""
    if worst.gap >= -SAME:
        return ""
    box, move = setup.boxes[worst.against], np.array([worst.move])
    rows = setup.rows(worst.tool)

    def gap(v: float) -> float:
        return setup.gap(rows + np.array([v, v, 0.0, 0.0]), move, (*box.low, *box.high))

    up, unit = _enough(setup, gap, 0.0), setup.case.unit
    if up is None or up <= LIKE * -worst.gap:
        return ""
    return f" into that part of it alone, and is clear of it {say_fine(up, unit)} higher"


def _web(setup: Setup) -> str:
    """Return the words on the web over the jaws; empty: there are no jaws, or no cut near them."""
    found = None if setup.grip is None else setup.lowest_near(setup.grip)
    if setup.grip is None or found is None:
        return ""
    web = found[0] - setup.grip.top
    if web < 0:
        return (
            f"; the lowest cut near the jaws goes {say_fine(-web, setup.case.unit)} below their top"
        )
    left = say_fine(web, setup.case.unit)
    return f"; {left} of web is left between the lowest cut near the jaws and their top"


# --------------------------------------------------------------------------------------------- cure


def _cure(setup: Setup, group: list[Gap], worst: Gap) -> tuple[Change | None, str]:
    """Return a higher rapid, a lower top, or a box further aside."""
    boxes = [setup.boxes[n] for n in sorted({g.against for g in group})]
    tools = sorted({g.tool for g in group})
    free = f"the tool passes {say_fine(setup.case.margin('jaw_clearance'), setup.case.unit)} free"
    if (change := _higher(setup, worst, boxes)) is not None:
        return change, free
    down = _enough(setup, lambda v: _gap_of(setup, tools, [_cut_down(b, v) for b in boxes]))
    if down is not None and down < min(b.high[2] - b.low[2] for b in boxes):
        top = max(b.high[2] for b in boxes)
        what = f"Z of the top of {_named([b.name for b in boxes])}"
        lower = outward(top - down, top, setup.case.unit)
        return Change(what, top, lower), free + _grip_left(setup, boxes, top - lower)
    box = setup.boxes[worst.against]
    shifts: list[tuple[float, int, float]] = []
    for axis, sign in ((0, -1.0), (0, 1.0), (1, -1.0), (1, 1.0)):
        way = functools.partial(_aside, box, axis, sign)
        by = _enough(setup, lambda v, way=way: _gap_of(setup, tools, [way(v)]))  # type: ignore[misc]
        shifts += [] if by is None else [(by, axis, sign * by)]
    if not shifts:
        return None, ""
    _, axis, by = min(shifts)
    low = box.low[axis]
    change = Change(f"{'XY'[axis]} of {box.name}", low, outward(low + by, low, setup.case.unit))
    return change, free


def _higher(setup: Setup, worst: Gap, boxes: Sequence[Box]) -> Change | None:
    """Return the change of Z of a level rapid; None: it is none."""
    moves, m = setup.case.moves, worst.move
    z = float(moves.end[m, 2])
    if not moves.rapid[m] or abs(moves.start[m, 2] - z) > SAME:
        return None
    level = (np.abs(moves.start[:, 2] - z) <= SAME) & (np.abs(moves.end[:, 2] - z) <= SAME)
    first = last = m
    while first > 0 and level[first - 1]:
        first -= 1
    while last + 1 < len(level) and level[last + 1]:
        last += 1
    run, rows = np.arange(first, last + 1), setup.rows(worst.tool)
    run = run[moves.sweeps()[run]]

    def gap(v: float) -> float:
        raised = rows + np.array([v, v, 0.0, 0.0])
        return min(setup.gap(raised, run, (*b.low, *b.high)) for b in boxes)

    up = _enough(setup, gap)
    line = int(moves.line[max(first - 1, 0)])
    higher = None if up is None else outward(z + up, z, setup.case.unit)
    return None if higher is None else Change(f"Z at line {line}", z, higher)


def _enough(
    setup: Setup, gap: Callable[[float], float], margin: float | None = None
) -> float | None:
    """Return the least change for which a gap is a margin, mm; None: not within MOST."""
    margin = setup.case.margin("jaw_clearance") if margin is None else margin
    low, high = 0.0, MOST
    if gap(high) < margin:
        return None
    while high - low > FINE:
        middle = (low + high) / 2
        low, high = (low, middle) if gap(middle) >= margin else (middle, high)
    return high


def _gap_of(setup: Setup, tools: Sequence[int], boxes: Sequence[Sequence[float]]) -> float:
    """Return the least gap of whole tools to boxes, mm; a box without height is none."""
    pairs = [(t, b) for t in tools for b in boxes if b[5] > b[2]]
    return min((setup.gap(setup.rows(t), setup.of(t), b) for t, b in pairs), default=math.inf)


def _cut_down(box: Box, down: float) -> tuple[float, ...]:
    return (*box.low, *box.high[:2], box.high[2] - down)


def _aside(box: Box, axis: int, sign: float, by: float) -> tuple[float, ...]:
    low, high = list(box.low), list(box.high)
    low[axis] += sign * by
    high[axis] += sign * by
    return (*low, *high)


def _grip_left(setup: Setup, boxes: Sequence[Box], down: float) -> str:
    """Return the words on jaws that hold too little once their top is lower."""
    grip, unit = setup.grip, setup.case.unit
    if grip is None or not any(b in grip.boxes for b in boxes):
        return ""
    if grip.engagement - down >= setup.case.margin("jaw_engagement") - SAME:
        return ", on parallels so much thicker"
    left = say_fine(max(grip.engagement - down, 0.0), unit)
    return f"; the jaws would hold {left}: take a blank {say_fine(down, unit)} thicker below"


def _grip_finding(setup: Setup, grip: Grip) -> Finding:
    """Return the finding of a short grip, in the pass that cuts lowest near the jaws."""
    case, margin = setup.case, setup.case.margin("jaw_engagement")
    found = setup.lowest_near(grip)
    move = int(setup.mine[0]) if found is None else found[1]
    number = int(case.moves.pass_number[move])
    change, then = _grip_cure(setup, grip, margin - grip.engagement)
    return Finding(
        rule="short-grip",
        severity="watch",
        tool=int(case.moves.tool[move]),
        pass_number=number,
        lines=case.lines_of(case.moves_of(number)),
        at=grip.at,
        size=grip.engagement,
        text=f"the stock stands only {say_fine(grip.engagement, case.unit)} deep between "
        + _named([b.name for b in grip.boxes]),
        why="a part held by little climbs out of the jaws under a roughing cut" + _web(setup),
        change=change,
        then=then,
    )


def _grip_cure(setup: Setup, grip: Grip, more: float) -> tuple[Change, str]:
    """Return higher jaws, or where tools would come too near them, a thicker blank."""
    case = setup.case
    more = outward(grip.top + more, grip.top, case.unit) - grip.top
    holds = f"the jaws hold {say_fine(grip.engagement + more, case.unit)}"
    tools = np.unique(case.moves.tool[setup.mine]).tolist()
    raised = [_cut_down(b, -more) for b in grip.boxes]
    if _gap_of(setup, tools, raised) >= case.margin("jaw_clearance") - SAME:
        what = f"Z of the top of {_named([b.name for b in grip.boxes])}"
        return Change(what, grip.top, grip.top + more), f"{holds}, on parallels so much thinner"
    low = float(case.job.stock.low[2])
    return Change("Z of the bottom of the stock", low, low - more), (
        f"{holds} of a blank thicker below; higher jaws would come too near the lowest cut"
    )


MARGINS: Final = (
    Margin(
        "jaw_clearance",
        10 * THOU,
        "least gap of any part of a tool to jaws, stops and clamps; they are set by hand",
    ),
    Margin(
        "jaw_engagement",
        60 * THOU,
        "least height of stock between the jaws; less may climb out of plain ones",
    ),
)
TITLES: Final = {
    "fixture-near": "A jaw, stop or clamp touched or near",
    "short-grip": "A part that stands shallow in its jaws",
}
RULES = (Rule(TITLES, find, MARGINS),)
