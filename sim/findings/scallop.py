"""Ridges that stand between the paths of one pass: scallops of a ball, marks on a floor.

A round end leaves a ridge between one path and the next. How high it stands follows from
the radius and the stepover, and it is wanted; a fingernail and raking light find what is
higher than it should be.

[scallop-high] The ridges that a ball nose, or the corner of a bull nose on a slope,
leaves at the end of the job stand higher than `scallop`.
Size: the highest ridge over a straightedge laid across the two traces beside it, square
to it: on level ground ridge less valley. Exact, from columns. For a radius R and paths
that are s apart, measured along the face,

    h = R - sqrt(R^2 - s^2 / 4)

The stepover along the face is the one in plan over cos(slope): on a slope of 60 degrees
it is twice, and the ridge four times as high. In a fillet of radius F the straightedge
rests on both traces, over the hollow of the fillet: it shows (F - R) / F of what stands
over the fillet itself. Where a ridge is part of the model (a flute that is meant) the
rule is silent.
Margin: `scallop` 1 thou, the height wanted: set it in the job as the drawing asks. Fine
work wants 0.1 to 0.4 thou, a thou is felt with a nail. With [part] in the job it is to
watch, else a note: another setup may come after.
Cure: a stepover, measured in plan at that place, of

    s = 2 sqrt(h (2 R - h)) * cos(slope)

[floor-marks] Ridges on a level floor between the paths of a tool with a corner radius.
Its flat end is only DC - 2 RE wide: with a wider stepover the corners leave a ridge of

    RE - sqrt(RE^2 - (s / 2 - (DC / 2 - RE))^2)

Size: that, exact, from columns; judged at the end of the job. Where the pass takes less, the
floor before it stays between its paths, as high as it lay. A sharp tool leaves none; with a
stepover over DC it leaves strips, see [sliver].
Margin: `floor_marks` 0.2 thou: what stands on a floor is felt as soon as anything lies
on it.
Cure: a stepover of DC - 2 RE less some for the program's rounding (2 percent is taken).

Floors also show swirl that no ridge explains: where side and bottom cut together the
tool is pushed about; see [floor-touches-wall] and [wall-drags-floor]. A spindle that is
not square to the table (tram) makes a floor hollow and its marks one-sided, and an end
mill's bottom edges are ground hollow (dish): both are not simulated.

Source: plane geometry; the margins are common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from ..units import say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule
from .own_values import own_value

if TYPE_CHECKING:
    from ..tools import Tool
    from .case import Case
    from .taken import Floats, Ints

__all__ = ["RULES"]

SECTIONS: Final = 1200
"""Most stations of a pass across whose path the surface is looked at."""
APART: Final = 2.0
"""Of those on one move: so many radii."""
SAMPLES: Final = 48
PILOT: Final = 50
"""So many sections show from which width on traces are seen whole."""
FINE: Final = 1000
WINDOWS: Final = (1 / 64, 1 / 16, 1 / 4, 1.0, 2.3)
"""Widths of the sections, as shares of the tool's radius, until two traces are seen whole."""
ASKED_AGAIN: Final = 6
"""Of the sections with the highest ridges so many of a kind are measured finely."""
MOST: Final = 48
"""More are not measured."""
BETWEEN: Final = 0.4
"""Nothing of the pass runs this near to the middle between neighbouring paths, in steps."""
HALVINGS: Final = 36
ALIKE: Final = math.radians(30.0)
"""Paths that run at a wider angle to each other are no neighbours of one stepover."""
SAME: Final = 1e-4
"""Traces of one path, and floors at one height, mm."""
SLACK: Final = 0.01 * THOU
"""A ridge higher than wanted by less is as high as wanted, mm."""
ROUNDING: Final = 0.98
MEANT: Final = 0.5
"""A ridge is part of the model if that has so much of it."""


@dataclasses.dataclass(frozen=True)
class _Ridge:
    """A ridge between two paths of a pass; lengths in mm.

    height: square to a straightedge across both traces; step: between the paths, in plan;
    rise, climb: of the straightedge and of the path, radians; level: how many of the places where
    it rests are level floor; meant: how much of it the model has; moves: that left it.
    """

    height: float
    step: float
    rise: float
    climb: float
    level: int
    meant: float
    at: tuple[float, float, float]
    moves: tuple[int, int]


@dataclasses.dataclass(frozen=True)
class _Section:
    """Where the surface is looked at: the tip, level unit ways across the path, the move."""

    tip: Floats
    way: Floats
    move: Ints

    def __getitem__(self, index: Any) -> _Section:
        return _Section(self.tip[index], self.way[index], self.move[index])


# ----------------------------------------------------------------------------------------- sections


def _sections(case: Case, number: int, tool: Tool) -> _Section:
    """Return sections across the path at both its sides, spread evenly over a pass's moves."""
    from .taken import plan_lengths, stations

    moves = case.moves
    mine = case.moves_of(number)
    length = plan_lengths(case)[mine]
    mine = mine[~moves.rapid[mine] & moves.sweeps()[mine] & (length > 0)]
    length = plan_lengths(case)[mine]
    if len(mine) > SECTIONS:
        reach = np.cumsum(length)
        mine = mine[np.unique(np.searchsorted(reach, np.linspace(0, reach[-1], SECTIONS)[1:-1]))]
        length = plan_lengths(case)[mine]
    step = max(APART * tool.cutting_radius, float(length.sum()) / SECTIONS)
    tips, ways, of = [], [], []
    for k, long in zip(mine.tolist(), length.tolist(), strict=True):
        pairs = max(1, math.ceil(long / step))
        middle = stations(case, k, long / (2 * pairs) * (1 + 1e-9))[1::2]
        along = moves.end[k, :2] - moves.start[k, :2]
        left = np.broadcast_to(np.array([-along[1], along[0]]), (len(middle), 2))
        if moves.turn[k] != 0:
            left = moves.center[k] - middle[:, :2]
        left = left / np.hypot(*left.T)[:, None]
        tips += [middle, middle]
        ways += [left, -left]
        of += [np.full(2 * len(middle), k)]
    empty = np.zeros((0, 3))
    return _Section(
        np.concatenate([empty, *tips]), np.concatenate([empty[:, :2], *ways]),
        np.concatenate([np.zeros(0, np.int64), *of]),
    )  # fmt: skip


def _profile(case: Case, at: _Section, far: Floats) -> tuple[Floats, Ints]:
    """Return height and move of the finished surface at distances from the tips, (n, k)."""
    from .taken import heights

    x, y = (at.tip[:, None, k] + far * at.way[:, None, k] for k in (0, 1))
    z, owner = heights(case, x.ravel(), y.ravel(), len(case.moves))
    packed = case.job.packed.move
    made = np.where(owner >= 0, packed[np.maximum(owner, 0)] if len(packed) else -1, -1)
    return z.reshape(far.shape), made.reshape(far.shape)


def _hull(far: Floats, z: Floats) -> Ints:
    """Return the places on which a straightedge, pressed up from below, can rest."""
    hull = [0]
    for k in range(1, len(far)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (z[b] - z[a]) * (far[k] - far[a]) < (z[k] - z[a]) * (far[b] - far[a]):
                break
            hull.pop()
        hull.append(k)
    return np.array(hull)


def _bumps(far: Floats, z: Floats, hull: Ints) -> Floats:
    """Return how high a section stands over its lower hull, square to it."""
    edge = np.clip(np.searchsorted(hull, np.arange(len(far)), side="right") - 1, 0, len(hull) - 2)
    slope = np.diff(z[hull]) / np.diff(far[hull])
    bumps: Floats = (z - np.interp(far, far[hull], z[hull])) / np.hypot(1.0, slope[edge])
    return bumps


def _traces(case: Case, number: int, made: Ints) -> tuple[int, int, int] | None:
    """Return where, on a section, the next trace of the pass begins and ends, and whose it is.

    None: there is no next one, or it is not seen whole. Between the two may lie what an earlier
    pass left: the pass takes less than its ridges would be high.
    """
    other = np.flatnonzero(made != made[0])
    if not len(other) or case.moves.pass_number[max(int(made[0]), 0)] != number or made[0] < 0:
        return None
    by = np.where(made >= 0, case.moves.pass_number[np.maximum(made, 0)], 0)
    strip = np.flatnonzero((by[other[0] :] <= 0) | (by[other[0] :] >= number))
    if not len(strip) or by[other[0] + strip[0]] != number:
        return None
    first = int(other[0] + strip[0])
    ends = np.flatnonzero(made[first:] != made[first])
    end = first + int(ends[0]) if len(ends) else len(made)
    return first, end, int(made[first])


def _heights_of(case: Case, number: int, at: _Section) -> Floats:
    """Return about how high the first ridge beside each path stands; 0: there is none."""
    found, some = np.zeros(len(at.move)), np.arange(len(at.move))
    pilot = some[:: max(1, len(some) // PILOT)]
    begin = next((k for k in range(len(WINDOWS)) if len(_seen(case, number, at, pilot, k)[0])), 0)
    for k in range(begin, len(WINDOWS)):
        heights, some = _seen(case, number, at, some, k)
        for row, height in heights.items():
            found[row] = height
    return found


def _seen(
    case: Case, number: int, at: _Section, some: Ints, window: int
) -> tuple[dict[int, float], Ints]:
    """Return heights of the ridges that sections of one width see whole, and the other sections."""
    heights: dict[int, float] = {}
    left = []
    radius, share = case.tool_of(number).cutting_radius, WINDOWS[window]
    far = np.linspace(0, share * radius, SAMPLES)
    z, made = _profile(case, at[some], np.broadcast_to(far, (len(some), SAMPLES)))
    last = window == len(WINDOWS) - 1
    whole: list[tuple[int, int, int]] = []
    for row in range(len(some)):
        traces = _traces(case, number, made[row])
        if traces is None:
            if (made[row] == made[row, 0]).all() and not last:
                left.append(row)
        elif traces[1] == SAMPLES and not last:
            left.append(row)
        elif traces[1] >= 3:
            whole.append((row, *traces[:2]))
    rows = np.array([row for row, *_ in whole], np.int64)
    first = np.array([first for _, first, _ in whole], np.int64)
    top, high = _crest(case, at[some[rows]], (far[first - 1], far[first]), made[rows, 0])
    for n, (row, begin, end) in enumerate(whole):
        u, v = np.insert(far[:end], begin, top[n]), np.insert(z[row, :end], begin, high[n])
        heights[int(some[row])] = float(_bumps(u, v, _hull(u, v)).max())
    return heights, some[np.array(left, np.int64)]


def _crest(
    case: Case, at: _Section, between: tuple[Floats, Floats], mine: Ints
) -> tuple[Floats, Floats]:
    """Return where sections' own traces end, by halving, and the height there, mm."""
    low, high = (np.array(v, np.float64) for v in between)
    for _ in range(HALVINGS if len(mine) else 0):
        middle = 0.5 * (low + high)
        same = _profile(case, at, middle[:, None])[1][:, 0] == mine
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return low, _profile(case, at, low[:, None])[0][:, 0]


# ------------------------------------------------------------------------------------------- ridges


def _ridges(case: Case, number: int, flat: float) -> Iterator[_Ridge]:
    """Yield the highest ridge that a pass leaves on floors, and the highest of the others."""
    radius = case.tool_of(number).cutting_radius
    at = _sections(case, number, case.tool_of(number))
    about = _heights_of(case, number, at)
    least = 0.5 * min(case.margin("scallop"), case.margin("floor_marks"))
    best: dict[bool, _Ridge] = {}
    asked = {True: 0, False: 0} if flat > 0 else {False: 0}
    for k in np.argsort(-np.round(about, 6), kind="stable")[:MOST].tolist():
        if about[k] < least or min(asked.values()) >= ASKED_AGAIN:
            break
        ridge = _measured(case, number, at[k : k + 1], radius)
        if ridge is None or not _on_part(case, ridge):
            continue
        if flat > 0 and (ridge.level == 1 or (ridge.level == 2 and abs(ridge.rise) > SAME)):
            continue  # an edge between floors
        floor = flat > 0 and ridge.level == 2
        asked[floor] += 1
        if floor not in best or ridge.height > best[floor].height + 1e-9:
            best[floor] = ridge
    yield from best.values()


def _measured(case: Case, number: int, at: _Section, radius: float) -> _Ridge | None:
    """Return the first ridge beside a path, measured finely; None: it is no stepover's."""
    far = np.linspace(0, WINDOWS[-1] * radius, FINE)[None, :]
    z, made = _profile(case, at, far)
    traces = _traces(case, number, made[0])
    if traces is None:
        return None
    (first, end, other), mine = traces, made[0, 0]
    step = _neighbour(case, at, (int(mine), other), float(far[0, first]))
    strip = case.moves.pass_number[max(int(made[0, first - 1]), 0)] != number
    if step is None or (strip and step > 2 * radius - SAME):
        return None  # no neighbours, or slots with metal between them that was to stay
    between = far[0, first - 1 : first], far[0, first : first + 1]
    top = float(_crest(case, at, between, made[0, :1])[0][0])
    beyond = np.linspace(top, far[0, end - 1], FINE)[1:]
    places = np.append(np.linspace(0, top, FINE), beyond)
    z, made = _profile(case, at, places[None, :])
    ours = (made[0] == mine) | (made[0] == other)
    ours[FINE - 1] = True  # the crest: what an earlier pass left, where the ridge is higher
    ours &= np.isfinite(z[0])
    u, v = places[ours], z[0][ours]
    hull = _hull(u, v)
    bump = _bumps(u, v, hull)
    k = int(np.argmax(bump))
    right = min(max(int(np.searchsorted(hull, k)), 1), len(hull) - 1)
    low, high = (int(hull[right - 1]), int(hull[right]))
    x, y = (float(c) for c in at.tip[0, :2] + u[k] * at.way[0])
    rise = math.atan2(v[high] - v[low], u[high] - u[low])
    climb = _climb(case, int(at.move[0]))
    # The section is upright: where the path climbs it cuts the traces at a slant.
    slant = math.hypot(1.0, math.tan(rise)) / math.hypot(1.0, math.tan(rise), math.tan(climb))
    return _Ridge(
        height=float(bump[k]) * slant, step=step, rise=rise, climb=climb,
        level=_level(case, made[0][ours][[low, high]], v[[low, high]]),
        meant=_meant(case, at, u[[low, k, high]]),
        at=(x, y, float(v[k])), moves=(int(mine), other),
    )  # fmt: skip


def _climb(case: Case, move: int) -> float:
    """Return how steeply a move climbs, radians."""
    from .taken import plan_lengths

    up = abs(float(case.moves.end[move, 2] - case.moves.start[move, 2]))
    return math.atan2(up, float(plan_lengths(case)[move]))


def _neighbour(case: Case, at: _Section, pair: tuple[int, int], far: float) -> float | None:
    """Return how far apart two paths run, in plan, mm; None: they are no neighbours."""
    from .look import Look

    place = at.tip[0].copy()
    place[:2] += far * at.way[0]
    look = Look(case)
    first, last = (look.tip(move, place)[:2] for move in pair)
    apart = last - first
    step = float(np.hypot(*apart))
    if step < SAME or float(apart @ at.way[0]) < step * math.cos(ALIKE):
        return None
    return None if _path_near(case, pair[0], (first + last) / 2, BETWEEN * step) else step


def _path_near(case: Case, move: int, place: Floats, near: float) -> bool:
    """Return whether a pass, the one of a move, runs as near to a place in plan."""
    moves = case.moves
    mine = case.moves_of(int(moves.pass_number[move]))
    mine = mine[~moves.rapid[mine] & moves.sweeps()[mine]]
    start, end = moves.start[mine, :2] - place, moves.end[mine, :2] - place
    along = end - start
    square = np.maximum((along**2).sum(axis=1), 1e-18)
    share = np.clip(-(start * along).sum(axis=1) / square, 0.0, 1.0)
    far = np.hypot(*(start + share[:, None] * along).T)
    arc = moves.turn[mine] != 0
    if arc.any():
        center, turn = moves.center[mine[arc]] - place, moves.turn[mine[arc]]
        arm, toward = start[arc] - center, -center
        cross = arm[:, 0] * toward[:, 1] - arm[:, 1] * toward[:, 0]
        ahead = np.arctan2(cross, (arm * toward).sum(axis=1)) * np.sign(turn) % (2 * math.pi)
        ring = np.abs(np.hypot(*center.T) - np.hypot(*arm.T))
        ends = np.minimum(np.hypot(*start[arc].T), np.hypot(*end[arc].T))
        far[arc] = np.where(ahead <= np.abs(turn), ring, ends)
    return bool((far < near).any())


def _level(case: Case, made: Ints, z: Floats) -> int:
    """Return how many places, left by moves at heights, the flat end of a level move left."""
    start, end = case.moves.start[made, 2], case.moves.end[made, 2]
    return int(((np.abs(start - end) < SAME) & (np.abs(z - end) < SAME)).sum())


def _meant(case: Case, at: _Section, far: Floats) -> float:
    """Return how high the part's model stands over a line between two places, mm; 0: no model."""
    from .walls import walls_of

    part = case.job.spec.part
    model = walls_of(case).model if part is not None and part.model is not None else None
    if model is None:
        return 0.0
    x, y = (np.ascontiguousarray(at.tip[0, k] + far * at.way[0, k]) for k in (0, 1))
    low, mid, high = model.at(x, y)[0].tolist()
    share = (far[1] - far[0]) / max(float(far[2] - far[0]), 1e-12)
    bump = mid - (low + share * (high - low))
    return float(bump) if math.isfinite(bump) else 0.0


# ------------------------------------------------------------------------------------- what it says


def _find(case: Case) -> Iterable[Finding]:
    from ..passes.scallop import round_end

    for number in case.passes:
        tool = case.tool_of(number)
        end = round_end(tool)
        if end is None or tool.undercut:
            continue
        flat, radius = end
        for ridge in _ridges(case, number, flat):
            if flat > 0 and ridge.level == 2:
                if ridge.height > case.margin("floor_marks") + SLACK:
                    yield _floor(case, number, ridge, flat)
            elif ridge.height > case.margin("scallop") + SLACK:
                yield _scallop(case, number, ridge, radius)


def _on_part(case: Case, ridge: _Ridge) -> bool:
    """Return whether a ridge is the part's, and not one that its model has."""
    valley = ridge.at[2] - ridge.height
    return (
        case.part_bottom - SAME < valley < case.part_top + SAME
        and ridge.meant < MEANT * ridge.height
    )


def _change(case: Case, number: int, step: float, wanted: float, height: float) -> Change:
    """Return the change of the stepover, by the pass list's own key if it has one."""
    own = own_value(case, number, "scallop_height", "radial_cutting_depth", "overlap")
    if own is not None and own[0] == "scallop_height":
        return Change(f"scallop_height of pass {number}", own[1], min(height, own[1]), seconds=None)
    name = "stepover" if own is None else "radial_cutting_depth"
    return Change(f"{name} of pass {number}", step, wanted, seconds=None)


def _scallop(case: Case, number: int, ridge: _Ridge, radius: float) -> Finding:
    wanted = case.margin("scallop")
    across, up = math.tan(ridge.rise), math.tan(ridge.climb)
    slope = math.degrees(math.atan(math.hypot(across, up)))
    apart = 2 * math.sqrt(max(wanted * (2 * radius - wanted), 0.0))  # square to the traces
    step = apart / math.hypot(1.0, across * math.cos(ridge.climb))
    unit, now = case.unit, ridge.step
    text = f"ridges of {say_fine(ridge.height, unit)} stand between paths "
    text += f"{say_length(now, unit)} apart"
    text += f" on a slope of {slope:.0f} degrees" if slope > 1 else ""
    return Finding(
        rule="scallop-high",
        severity="note" if case.job.spec.part is None else "watch",
        **_shared(case, number, ridge),
        text=text,
        why=f"the wanted height is {say_fine(wanted, unit)}; what is higher shows and is felt",
        change=_change(case, number, now, step, wanted),
        then=f"the ridges there stand {say_fine(wanted, unit)} high",
    )


def _floor(case: Case, number: int, ridge: _Ridge, flat: float) -> Finding:
    unit = case.unit
    return Finding(
        rule="floor-marks",
        severity="note" if case.job.spec.part is None else "watch",
        **_shared(case, number, ridge),
        text=f"ridges of {say_fine(ridge.height, unit)} stand on the floor between paths "
        f"{say_length(ridge.step, unit)} apart; the flat of the tool is "
        f"{say_length(2 * flat, unit)} wide",
        why="the corner radius does not reach the floor; what lies on it lies on the ridges",
        change=_change(case, number, ridge.step, 2 * flat * ROUNDING, 0.0),
        then="no ridge is left on the floor",
    )


def _shared(case: Case, number: int, ridge: _Ridge) -> dict[str, Any]:
    return {
        "tool": case.passes[number].tool,
        "pass_number": number,
        "lines": case.lines_of(np.array(ridge.moves)),
        "at": ridge.at,
        "size": ridge.height,
    }


RULES: Final = (
    Rule(
        {
            "scallop-high": "Scallops higher than wanted",
            "floor-marks": "Ridges on a floor between the paths",
        },
        _find,
        (
            Margin("scallop", 1 * THOU, "the wanted height of scallops"),
            Margin("floor_marks", 0.2 * THOU, "a ridge on a level floor is silent up to this"),
        ),
    ),
)
