"""The line between two depths of one wall, where their faces do not meet.

A wall that is cut in two depths shows a line where they meet if one face stands proud of the
other: another side allowance, another tool whose diameter or D register is not what the
control thinks, a depth that the last pass left out.

[depth-line] At the end of the job, the wall above the line and the wall below it are offset
from each other by more than `depth_line`. Both are upright faces of the part that tools left,
20 thou high or more, and look the same way to 2 degrees.

Size: from one face to the other, square to the wall. Exact, by level rays over the line and
under it.
Margin: `depth_line` 0.5 thou: what is less is not felt with a finger nail. More than 10 thou
is taken for a step that is meant.

Silent: what a later pass cuts away, as depths staggered on purpose which a finisher then takes
in one; a step that the part's model has as well; scrap below the part's bottom or off its
model; the foot strip of a wall cut above a floor ([wall-drags-floor]); inside corners where
two tools leave two radii; holes, and walls that nobody cuts. How far a tool pushes off is not
simulated: two depths that meet by program may still show a line. Where the job does not say
where the part ends it is a note.

Cure: the side allowance of the pass that stands proud, less by the step, or one finishing pass
over the full depth; that too where a finisher came down only part of a wall that was left in
one. Where by program the depths meet and the D register in force on one of them,
or a work zero, is off, that.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC
from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule

if TYPE_CHECKING:
    from ..contact.stations import Places
    from ..rays import Metal
    from .base import Point
    from .case import Case
    from .registers import Cause
    from .walls import Bools, Floats, Ints, Walls

__all__ = ["RULES"]

LIMIT: Final = 10 * THOU
"""Faces further from each other than this are a step that is meant."""
HIGH: Final = 20 * THOU
"""Each of the two faces is so high at least."""
LEVELS: Final = 25
SAME_WAY: Final = math.cos(math.radians(2.0))
UPRIGHT: Final = 0.01
HALVINGS: Final = 20
ONE: Final = 0.1 * THOU
"""Faces nearer than this are one."""
CLOSE: Final = 1e-4
"""Reaches that differ by less are the same, mm."""
SIDE: Final = 2
"""Of `pieces.LABELS`."""


@dataclasses.dataclass(frozen=True)
class _Wall:
    """What level rays meet at the end of the job: arrays of n."""

    reach: Floats
    maker: Ints
    good: Bools
    normal: Floats


@dataclasses.dataclass(frozen=True)
class _Line:
    """A line at a station: step (above 0 the lower face stands proud), moves, place.

    out: square to the wall, out of the metal; half: the pass that left the lower face had left the
    upper one as well, until another took that alone; seen_by, length: the pass beside whose path
    it is, and how much of that it stands for, mm.
    """

    step: float
    upper: int
    lower: int
    at: Point
    out: Point
    half: bool
    seen_by: int = 0
    length: float = 0.0


def _find(case: Case) -> Iterable[Finding]:
    from .walls import SHAPES, walls_of

    walls = walls_of(case)
    lines: dict[tuple[int, int], list[_Line]] = {}
    for number, info in case.passes.items():
        if case.job.tools[info.tool].shape not in SHAPES:
            continue
        for line in _lines(case, walls, number):
            key = int(case.moves.pass_number[line.lower]), int(case.moves.pass_number[line.upper])
            lines.setdefault(key, []).append(line)
    for found in lines.values():
        yield _finding(case, walls, found)


# ----------------------------------------------------------------------------------------- looking


def _lines(case: Case, walls: Walls, number: int) -> Iterator[_Line]:
    """Yield the lines beside one pass's path."""
    places = walls.stations(walls.of_pass(number))
    if not len(places):
        return
    last = len(walls.moves)
    weight = walls.weights(places)
    some = walls.on(places, walls.beside(places, last, 3)).any(axis=(1, 2))
    places, weight = places[np.flatnonzero(some)], weight[some]
    if not len(places):
        return
    height = walls.heights(places, last, LEVELS, LIMIT)
    for side in (0, 1):
        mine = np.flatnonzero(np.isfinite(height[:, side, 0]) & ~_rolling(walls, places, side))
        if not len(mine):
            continue
        part, levels = places[mine], height[mine, side]
        seen = _cast(walls, part, side, levels)
        for k, j, n in _steps(case, seen):
            line = _line(case, walls, part[np.array([k])], side, levels[k, [j, n]])
            if line is not None:
                yield dataclasses.replace(line, seen_by=number, length=float(weight[mine][k]))


def _rolling(walls: Walls, places: Places, side: int) -> Bools:
    """Return at which stations the tool rolls round a sharp edge on one side: that is no face."""
    moves, of = walls.moves, places.move
    radius = np.hypot(*(places.tip[:, :2] - moves.center[of]).T)
    near = radius < walls.tool(int(of[0])).cutting_radius + LIMIT
    inner = moves.turn[of] < 0 if side else moves.turn[of] > 0
    rolling: Bools = (moves.kind[of] == ARC) & inner & near
    return rolling


def _cast(
    walls: Walls, places: Places, side: int, height: Floats, done: int | None = None
) -> _Wall:
    """Return the wall on one side of places at heights over the tip, shape (n, levels).

    done: as so many moves leave it; else at the job's end.
    """
    way = walls.way(places)[:, side]
    origin = np.repeat(places.tip[:, None], height.shape[1], axis=1)
    origin[..., 2] += height
    ways = np.broadcast_to(way[:, None], origin.shape).reshape(-1, 3)
    far = walls.tool(int(places.move[0])).cutting_radius + 2 * LIMIT
    count = len(walls.moves) if done is None else done
    metal = walls.before.rays(origin.reshape(-1, 3), ways, count, far)
    return _seen(walls, metal, height.shape)


def _seen(walls: Walls, metal: Metal, shape: tuple[int, ...]) -> _Wall:
    first = metal.first()
    some = first >= 0
    at = first[some]
    n = len(first)
    reach, maker = np.full(n, np.nan), np.full(n, -1, np.int64)
    normal, label = np.zeros((n, 3)), np.full(n, -1)
    reach[some], maker[some] = metal.enter[at], metal.enter_move[at]
    normal[some], label[some] = np.nan_to_num(metal.enter_normal[at]), metal.enter_label[at]
    tool = walls.moves.tool[np.maximum(maker, 0)]
    milled = np.isin(tool, [n for n, t in walls.job.tools.items() if t.shape in MILLS])
    good = (maker >= 0) & (label == SIDE) & (np.abs(normal[:, 2]) < UPRIGHT) & milled
    return _Wall(
        reach.reshape(shape), maker.reshape(shape), np.asarray(good).reshape(shape),
        normal.reshape(*shape, 3),
    )  # fmt: skip


def _steps(case: Case, seen: _Wall) -> Iterator[tuple[int, int, int]]:
    """Yield station and two levels at which upright faces are offset, next to each other.

    Between them lies nothing, or a corner's fillet that leads from one to the other.
    """
    margin = case.margin("depth_line")
    for k in range(len(seen.reach)):
        index, reach = np.flatnonzero(seen.good[k]), seen.reach[k]
        if len(index) < 2:
            continue
        step = np.abs(np.diff(reach[index]))
        same = (seen.normal[k][index][1:] * seen.normal[k][index][:-1]).sum(axis=1) > SAME_WAY
        for j in np.flatnonzero((step > margin) & (step < LIMIT) & same).tolist():
            low, high = int(index[j]), int(index[j + 1])
            between = reach[low : high + 1]
            if np.ptp(between) <= step[j] + CLOSE:  # NaN, where a ray met nothing, is no fillet
                yield k, low, high


def _line(case: Case, walls: Walls, place: Places, side: int, between: Floats) -> _Line | None:
    """Return the line between two heights; None: one of its faces is low, or no part."""
    low, high = float(between[0]), float(between[1])
    ends = _cast(walls, place, side, between[None])
    lower, upper = float(ends.reach[0, 0]), float(ends.reach[0, 1])
    low = _end(walls, place, side, (low, high), lower)
    high = _end(walls, place, side, (high, low), upper)
    asked = np.array([[low - HIGH, low, high, high + HIGH]])
    seen = _cast(walls, place, side, asked)
    expected = np.array([lower, lower, upper, upper])
    with np.errstate(invalid="ignore"):
        if not (np.abs(seen.reach[0] - expected) < ONE).all():
            return None
    way = walls.way(place)[0, side]
    at = place.tip[0] + np.outer(seen.reach[0], way)
    at[:, 2] += asked[0]
    if not (walls.in_part(at) & walls.is_part(at, np.tile(way, (4, 1)))).all():
        return None
    step = upper - lower - _model_step(walls, at[1:3], way)
    if abs(step) < case.margin("depth_line"):
        return None
    of = walls.before.of
    x, y, _ = at[1 if step > 0 else 2].tolist()
    z = 0.5 * (at[1, 2] + at[2, 2])
    makers = int(of[seen.maker[0, 2]]), int(of[seen.maker[0, 1]])
    if step > 0 and not _goes_on(case, walls, place, side, makers[0]):
        return None
    half = step > 0 and _was_one(case, walls, place, side, makers, (high, float(seen.reach[0, 0])))
    out = (-float(way[0]), -float(way[1]), 0.0)
    return _Line(float(step), *makers, (x, y, float(z)), out, half)


def _was_one(
    case: Case, walls: Walls, place: Places, side: int, makers: tuple[int, int],
    upper: tuple[float, float],
) -> bool:  # fmt: skip
    """Whether one pass had left both faces at one distance, before another took the upper one.

    upper: a height on the upper face, and how far off the lower one is.
    """
    later, first = (int(case.moves.pass_number[m]) for m in makers)
    if first >= later:
        return False
    height, reach = upper
    asked = np.array([[height + HIGH / 2]])
    was = _cast(walls, place, side, asked, walls.done(later - 1))
    same = bool(was.good[0, 0]) and abs(float(was.reach[0, 0]) - reach) < ONE
    return same and int(walls.moves.pass_number[was.maker[0, 0]]) == first


def _goes_on(case: Case, walls: Walls, place: Places, side: int, upper: int) -> bool:
    """Whether the wall goes on below the tip of the move that left its upper face.

    If not, that move ran to the foot, and what stands proud there is under its corner.
    """
    height = float(case.moves.end[upper, 2] - place.tip[0, 2]) - HIGH
    return bool(_cast(walls, place, side, np.array([[height]])).good[0, 0])


def _end(
    walls: Walls, place: Places, side: int, heights: tuple[float, float], reach: float
) -> float:
    """Return where a face ends on the way from a height on it to one off it."""
    on, off = heights
    for _ in range(HALVINGS):
        middle = 0.5 * (on + off)
        seen = _cast(walls, place, side, np.array([[middle]]))
        if seen.good[0, 0] and abs(float(seen.reach[0, 0]) - reach) < ONE:
            on = middle
        else:
            off = middle
    return on


def _model_step(walls: Walls, at: Floats, way: Floats) -> float:
    """Return the step from the lower to the upper of two places that the part's model has."""
    if walls.model is None:
        return 0.0
    from ..stock_rays import stock_on_rays
    from .walls import FAR

    metal = stock_on_rays(walls.model, np.hstack([at - FAR * way, np.tile(way, (2, 1))]))
    found = []
    for ray in (0, 1):
        enter = metal.enter[metal.offsets[ray] : metal.offsets[ray + 1]] - FAR
        off = enter[np.abs(enter) < FAR]
        if not len(off):
            return 0.0
        found.append(float(off[np.argmin(np.abs(off))] + at[ray] @ way))
    return found[1] - found[0]


# ------------------------------------------------------------------------------------- what it says


def _finding(case: Case, walls: Walls, lines: list[_Line]) -> Finding:
    worst = max(lines, key=lambda line: (round(abs(line.step), 9), -line.upper))
    length = max(math.fsum(v.length for v in lines if v.seen_by == n) for n in case.passes)
    unit, moves, step = case.unit, case.moves, worst.step
    proud, back = (worst.lower, worst.upper) if step > 0 else (worst.upper, worst.lower)
    number, other = int(moves.pass_number[proud]), int(moves.pass_number[back])
    met = [m for line in lines for m in (line.upper, line.lower)]
    words = ("lower", "upper") if step > 0 else ("upper", "lower")
    of = "the same pass" if number == other else f"pass {other}"
    about = say_length(length, unit, 2 if unit == "in" else 1)
    text = f"the wall's {words[0]} depth stands {say_fine(abs(step), unit)} proud of its {words[1]}"
    text += f" one, which {of} left (tool {int(moves.tool[back])}), along about {about}"
    cause = _cause(case, worst, proud, back)
    then = "the two depths are one wall; one finishing pass over the full depth does it too"
    if worst.half:
        then = "the finisher takes the whole wall; two depths of it do so too"
    if cause is not None:
        text += f"; by program they meet: {cause.change.what} makes it"
        then = "the two depths are one wall" + cause.with_words
    return Finding(
        rule="depth-line", severity="spoils" if case.job.spec.part else "note",
        tool=int(moves.tool[proud]), pass_number=number,
        lines=case.lines_of(np.unique([m for m in met if moves.pass_number[m] == number])),
        at=worst.at, size=abs(step), text=text,
        why="the line is seen and felt, all along the wall",
        change=cause.change if cause else _change(case, worst, proud),
        other_pass=other if other != number else None, then=then,
    )  # fmt: skip


def _cause(case: Case, line: _Line, proud: int, back: int) -> Cause | None:
    """Return the register that makes the step; None: the program does."""
    from .registers import apart, cause_of, shares_of

    shares = apart(*(shares_of(case, move, line.at, line.out) for move in (proud, back)))
    size = abs(line.step)
    most = min(case.margin("depth_line"), size / 2)
    return cause_of(case, shares, size, lambda step: abs(step) < most)


def _change(case: Case, line: _Line, proud: int) -> Change:
    """Return the depth that was left out, or the side allowance of the proud pass."""
    from .listed import level_of
    from .taken import z_line, z_word

    moves, step = case.moves, abs(line.step)
    number = int(moves.pass_number[proud])
    if line.half:
        mine = ~moves.rapid & (moves.pass_number == number)
        above, low = float(moves.end[line.upper, 2]), float(moves.end[mine, 2].min())
        new = low + case.margin("ledge_advised")
        what = f"Z of pass {int(moves.pass_number[line.upper])}, line {z_line(case, line.upper)}"
        return Change(what, z_word(case, line.upper, above), z_word(case, line.upper, new))
    _, level = level_of(case, proud)
    if level is not None:
        before = level.allowance_side
        return Change(f"{level.key} of pass {number}", before, before - step)
    z = f" at Z {case.say(float(moves.end[proud, 2]))}"
    return Change(f"side allowance of pass {number}{z}, added", 0.0, -step)


MILLS: Final = ("flat", "bull", "ball", "taper-ball", "profile", "lollipop", "t-slot")
RULES: Final = (
    Rule(
        {"depth-line": "The line between two depths of a wall"},
        _find,
        (Margin("depth_line", 0.5 * THOU, "two depths of a wall offset by less are one wall"),),
    ),
)
