"""The ledge that a rougher leaves beyond the part, and the finisher that runs along it.

A rougher that cuts an outer wall leaves a ledge on the metal that holds the part: scrap.
The finisher of the wall should run just above that ledge. Lower, its bottom cuts the
ledge's flat along with the wall; higher than the part's bottom, the lowest strip of the
wall is never finished.

[finisher-cuts-ledge] The finisher's tip runs under the flat of the ledge, by more than 0.
Flat means what the rougher's bottom left level: the fillet of its corner radius at the
wall's foot is another matter [fillet-in-one-bite]. It is scrap metal, but the cut marks
the wall: bottom and side cut at once, the load changes where the ledge begins and ends,
and it chatters. Where program and offsets say that it clears by less than `ledge_free` it
is a note, and where that is less than touch-off repeats it says so: one touch-off away.
Where the program alone clears and an error of a height register makes the cut, the
register is named, with its error.
Size: how deep the flat is cut (a note: by how much it clears). Exact.
Cure: program the finisher `ledge_advised` above the ledge (3 to 5 thou is usual) if that
is still below the part's bottom; if not, the rougher that much below the finisher.

[ledge-left] The ledge lies above the part's bottom and stays: a rib all round stands
proud of the wall's foot. Looked for up to 30 thou above the bottom; higher up it is taken
for a floor of the part or for what another setup cuts. Judged at the end of the job.
Size: from the part's bottom up to the ledge's flat. Exact; with a model its bottom is.
Cure: rougher and finisher lower: the finisher to the part's bottom at most, the rougher
`ledge_advised` below it. Where by program the ledge lies deep enough and a height register or
the work zero is off, that.

[ledge-left] is also the finisher that stops above the part's bottom, where the rougher's
ledge lies deep enough: below its tip the wall stays as it was roughed, all round. Looked
for up to 50 thou above the bottom; a strip with an upright face of 20 thou and more is
another depth of the wall [depth-line]. Size: from the part's bottom up to its tip. Exact.
Cure: the finisher `ledge_advised` above the ledge, or to the part's bottom; where a
register or the work zero is off by what is missing, that.

What is the same tool on the same register at its own height again is no ledge. Where the
job does not say where the part ends ([part] with a model, or bottom) the rule is silent:
such a floor could be the part's, and [wall-drags-floor] judges it.

Margins: `ledge_free` 2 thou, `touch_off` 1 thou (paper, pin or a tool setter by hand
repeat to half a thou, two tools have two of them), `ledge_advised` 4 thou, `ledge_proud`
0.5 thou.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC
from ..units import Unit, say_fine, say_length
from .base import THOU, Change, Finding, Margin, Rule

if TYPE_CHECKING:
    from .case import Case
    from .foot import Foot
    from .taken import Bools, Floats, Ints

__all__ = ["LIMIT", "RULES", "beyond"]

LIMIT: Final = 30 * THOU
"""Floors further from a finisher's tip than this have nothing to do with it."""
WALL: Final = 20 * THOU
"""Metal beside the tool that stands this much over its tip is a wall."""
SKIN: Final = 0.1 * THOU
SAME: Final = 1e-6
SHARES: Final = (-0.999, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 0.999)
"""Places across the flat bottom, as shares of its radius."""
STEPS: Final = 8
"""Stations along the path for each radius of the tool."""
ALONG: Final = 0.5
"""Share of the stations over a floor that must run along a wall on one side."""


@dataclasses.dataclass(frozen=True)
class _Track:
    """Stations of a pass along its path at one height: tips, left normals, lengths, moves."""

    tip: Floats
    left: Floats
    length: Floats
    move: Ints


@dataclasses.dataclass(frozen=True)
class _Ledge:
    """A ledge's flat under a finisher.

    by, into: passes; z: of the flat; tip: of the finisher; move, made: the first move over it and
    one that left it; length: of the path over it; at: a place of it, beside the wall.
    """

    by: int
    into: int
    z: float
    tip: float
    move: int
    made: int
    length: float
    moves: Ints
    at: tuple[float, float]

    @property
    def free(self) -> float:
        """By how much the finisher clears it, mm; below 0: it cuts."""
        return self.tip - self.z


# ---------------------------------------------------------------------------------- finding ledges


def _ledges(case: Case) -> Iterator[_Ledge]:
    """Yield every floor of an earlier pass, beyond the part, along which a wall pass runs."""
    moves = case.moves
    level = ~moves.rapid & moves.sweeps() & (moves.start[:, 2] == moves.end[:, 2])
    level &= moves.lengths() > 0
    for number, info in case.passes.items():
        tool = case.job.tools[info.tool]
        mine = np.flatnonzero(level & (moves.pass_number == number))
        if tool.shape not in ("flat", "bull") or not len(mine):
            continue
        floors = moves.end[level & (moves.pass_number < number), 2]
        for z in np.unique(np.round(moves.end[mine, 2], 6)).tolist():
            if z - LIMIT < case.part_bottom + LIMIT and (np.abs(floors - z) < LIMIT).any():
                at_z = mine[np.abs(moves.end[mine, 2] - z) <= SAME]
                yield from _under(case, number, _track(case, at_z, tool.cutting_radius / STEPS))


def _track(case: Case, which: Ints, step: float) -> _Track:
    from .taken import stations

    tips, lefts, lengths, of = [], [], [], []
    moves = case.moves
    total = moves.lengths()
    for k in which.tolist():
        places = stations(case, k, step)
        places = (places[1:] + places[:-1]) / 2  # each stands for its stretch
        along = moves.end[k, :2] - moves.start[k, :2]
        left = np.broadcast_to(np.array([-along[1], along[0]]), (len(places), 2))
        if moves.kind[k] == ARC:
            left = np.sign(moves.turn[k]) * (moves.center[k] - places[:, :2])
        tips.append(places)
        lefts.append(left / np.hypot(*left.T)[:, None])
        lengths.append(np.full(len(places), total[k] / len(places)))
        of.append(np.full(len(places), k))
    return _Track(*(np.concatenate(part) for part in (tips, lefts, lengths, of)))


def _under(case: Case, number: int, track: _Track) -> Iterator[_Ledge]:
    """Yield the ledges under one pass at one height."""
    from .taken import heights, prober_of

    tool, first = case.tool_of(number), int(case.moves_of(number)[0])
    share = np.array(SHARES) * tool.flat_radius
    x, y = _beside(track, share)
    z, owner = heights(case, x, y, first)
    prober = prober_of(case)
    tip = np.repeat(track.tip[:, 2], len(share))
    with np.errstate(invalid="ignore"):
        floor = np.abs(tip - z) < LIMIT
    floor &= (owner >= 0) & (prober.passes(owner) < number)
    floor[floor] &= prober.flat(x[floor], y[floor], owner[floor])
    floor[floor] &= beyond(case, x[floor], y[floor], z[floor])
    walled = _walled(case, track, tool.cutting_radius, first)
    station = np.repeat(np.arange(len(track.tip)), len(share))
    made_by = np.where(floor, prober.passes(owner), 0)
    groups = {(int(p), round(float(h), 6)) for p, h in zip(made_by[floor], z[floor], strict=True)}
    for into, height in sorted(groups):
        here = floor & (made_by == into) & (np.abs(z - height) <= 2 * SAME)
        seen = np.unique(station[here])
        if walled[seen].mean() < ALONG:
            continue
        k = int(np.flatnonzero(here)[0])
        yield _Ledge(
            by=number, into=into, z=float(z[k]), tip=float(tip[k]),
            move=int(track.move[seen[0]]), made=int(case.job.packed.move[owner[k]]),
            length=float(track.length[seen].sum()), moves=np.unique(track.move[seen]),
            at=_shown(case, number, track, here),
        )  # fmt: skip


def _shown(case: Case, number: int, track: _Track, here: Bools) -> tuple[float, float]:
    """Return the first of some places over the ledge at which the tool is on the wall.

    Nearest to the wall, so that a picture of the place shows it; where it is nowhere on the wall,
    as on its way to it, the first place.
    """
    tool, last = case.tool_of(number), int(case.moves_of(number)[-1])
    floor = here.reshape(-1, len(SHARES))
    walls = _walls(case, track, tool.cutting_radius, last + 1)
    walls &= np.asarray(floor.any(axis=1))[:, None]
    right, left = walls.sum(axis=0).tolist()
    on = np.flatnonzero(walls[:, int(left >= right)])
    k, j = np.argwhere(floor)[0].tolist()
    if len(on):
        k = int(on[0])
        j = int(np.flatnonzero(floor[k])[-1 if left >= right else 0])
    x, y = _beside(track, np.array(SHARES) * tool.flat_radius)
    return float(x[k * len(SHARES) + j]), float(y[k * len(SHARES) + j])


def _beside(track: _Track, aside: Floats) -> tuple[Floats, Floats]:
    """Return places at distances to the left of each station."""
    places = track.tip[:, None, :2] + aside[None, :, None] * track.left[:, None, :]
    return places[..., 0].ravel(), places[..., 1].ravel()


def _walled(case: Case, track: _Track, radius: float, first: int) -> Floats:
    """Return 1 where there is a wall on one side of the tool and none on the other, else 0."""
    over = _walls(case, track, radius, first)
    one_side: Floats = (over[:, 0] != over[:, 1]).astype(np.float64)
    return one_side


def _walls(case: Case, track: _Track, radius: float, count: int) -> Bools:
    """Return where a wall is at the tool's right and left side when so many moves are done."""
    from .taken import heights

    x, y = _beside(track, np.array([-radius - SKIN, radius + SKIN]))
    z, _ = heights(case, x, y, count)
    over: Bools = np.nan_to_num(z, nan=-np.inf).reshape(-1, 2) > track.tip[:, 2:] + WALL
    return over


def beyond(case: Case, x: Floats, y: Floats, z: Floats) -> Bools:
    """Return which places are no part: at or below its bottom, or off it in plan."""
    below = z <= case.part_bottom + SAME
    part = case.job.spec.part
    near = ~below & (z < case.part_bottom + LIMIT)
    if part is None or not near.any():
        return below
    if part.model is not None:
        from ..jobfile import StockSpec
        from ..stock import make_stock

        model = make_stock(StockSpec("model", model=part.model), case.unit)
        near[near] = np.isnan(model.at(x[near], y[near])[0])
    else:
        near[near] = _open(case, x[near], y[near], z[near])
    return below | near


def _open(case: Case, x: Floats, y: Floats, z: Floats) -> Bools:
    """Return from which places one walks off the stock along X or Y and meets no wall."""
    from .taken import heights

    stock, count = case.job.stock, len(case.moves)
    found = np.zeros(len(x), bool)
    share = np.linspace(0.0, 1.0, 257)
    for axis, edge in ((0, stock.low), (0, stock.high), (1, stock.low), (1, stock.high)):
        start = (x, y)[axis]
        along = start[:, None] + share * (edge[axis] - start)[:, None]
        across = np.repeat((y, x)[axis][:, None], len(share), axis=1)
        px, py = (along, across) if axis == 0 else (across, along)
        top, _ = heights(case, px.ravel(), py.ravel(), count)
        wall = np.nan_to_num(top, nan=-np.inf).reshape(px.shape) > z[:, None] + WALL
        found |= ~wall.any(axis=1)
    return found


# ------------------------------------------------------------------------------------- what it says


def _find(case: Case) -> Iterable[Finding]:
    if not math.isfinite(case.part_bottom):
        return
    cut: dict[tuple[int, float, int], list[_Ledge]] = {}
    left: dict[int, list[_Ledge]] = {}
    for ledge in _ledges(case):
        if _again(case, ledge):
            continue
        if min(ledge.z, ledge.tip) > case.part_bottom + case.margin("ledge_proud"):
            if _stays(case, ledge):
                left.setdefault(int(case.moves.tool[ledge.made]), []).append(ledge)
        elif ledge.free < case.margin("ledge_free"):
            key = case.passes[ledge.by].tool, round(ledge.tip, 6), case.passes[ledge.into].tool
            cut.setdefault(key, []).append(ledge)
    for ledges in cut.values():
        yield _cuts(case, ledges)
    for ledges in left.values():
        yield _left(case, ledges)
    yield from _short(case)


def _short(case: Case) -> Iterator[Finding]:
    """Say which finishers stop above the part's bottom."""
    from .foot import feet

    by_tool: dict[tuple[int, float], list[Foot]] = {}
    for foot in feet(case):
        by_tool.setdefault((case.passes[foot.by].tool, round(foot.tip, 6)), []).append(foot)
    for alike in by_tool.values():
        worst = max(alike, key=lambda f: (round(f.proud, 9), -f.by))
        above, length = worst.tip - case.part_bottom, sum(f.length for f in alike)
        tool = case.passes[worst.left].tool
        yield Finding(
            rule="ledge-left",
            severity="spoils",
            tool=case.passes[worst.by].tool,
            pass_number=worst.by,
            lines=case.lines_of(worst.moves),
            at=worst.at,
            size=above,
            text=f"the finisher stops {say_fine(above, case.unit)} above the part's bottom, along "
            f"about {_about(length, case.unit)} of its path: below it the wall stands "
            f"{say_fine(worst.proud, case.unit)} proud, as pass {worst.left} (tool {tool}) left it",
            why="a rib stays round the foot of the wall",
            change=_lower(case, worst),
            then="the wall is finished down to the part's bottom",
            other_pass=worst.left,
        )


def _lower(case: Case, foot: Foot) -> Change:
    """Return the register that lifts the finisher, or the height to program."""
    from .registers import UP, shares_of, worst_of
    from .taken import z_line, z_word

    now, bottom = z_word(case, foot.move, foot.tip), case.part_bottom
    if now <= bottom + case.margin("ledge_proud"):
        return worst_of(case, shares_of(case, foot.move, foot.at, UP)).change
    new = min(foot.floor + case.margin("ledge_advised"), bottom)
    what = f"Z of pass {foot.by}, line {z_line(case, foot.move)}"
    return Change(what, now, z_word(case, foot.move, new if math.isfinite(new) else bottom))


def _again(case: Case, ledge: _Ledge) -> bool:
    """Whether the same tool on the same register runs at its own height again, or above it."""
    moves = case.moves
    same = moves.tool[ledge.move] == moves.tool[ledge.made]
    same &= moves.h_register[ledge.move] == moves.h_register[ledge.made]
    return bool(same) and ledge.free >= -SAME


def _stays(case: Case, ledge: _Ledge) -> bool:
    """Whether the ledge is still there at the end of the job."""
    from .taken import heights

    x, y = (np.array([v]) for v in ledge.at)
    top, _ = heights(case, x, y, len(case.moves))
    return bool(top[0] > case.part_bottom + case.margin("ledge_proud"))


def _programmed_free(case: Case, ledge: _Ledge) -> float:
    from .taken import z_word

    return z_word(case, ledge.move, ledge.tip) - z_word(case, ledge.made, ledge.z)


def _cuts(case: Case, ledges: list[_Ledge]) -> Finding:
    """Say that a finisher cuts a ledge, or only just clears it."""
    worst = min(ledges, key=lambda e: (round(e.free, 9), e.by, e.into))
    cutting = worst.free < -SAME
    alike = [e for e in ledges if (e.free < -SAME) == cutting and e.by == worst.by]
    length = sum(e.length for e in alike)
    say = case.unit
    if cutting:
        text = f"the finisher cuts the flat of the rougher's ledge by {say_fine(-worst.free, say)}"
    elif worst.free > SAME:
        text = f"the finisher clears the rougher's ledge by only {say_fine(worst.free, say)}"
    else:
        text = "the finisher runs right on the flat of the rougher's ledge"
    text += f", along about {_about(length, say)} of its path"
    scrap = worst.z <= case.part_bottom + SAME
    planned = _programmed_free(case, worst)
    change = _height(case, worst)
    if cutting and planned >= -SAME:
        register = _register(case, worst)
        text += f"; by program it clears by {say_fine(abs(planned), say)}: {register.what} makes it"
        change = register
    if _registers(case, worst) and 0 <= planned + SAME < case.margin("touch_off"):
        text += "; one touch-off away"
    return Finding(
        rule="finisher-cuts-ledge",
        severity=("watch" if scrap else "spoils") if cutting else "note",
        tool=case.passes[worst.by].tool,
        pass_number=worst.by,
        lines=case.lines_of(np.concatenate([e.moves for e in alike])),
        at=(*worst.at, min(worst.z, worst.tip)),
        size=abs(worst.free),
        text=text,
        why=("scrap metal, but the cut marks the wall" if scrap else "the cut marks the wall")
        + ": bottom and side cut at once"
        if cutting
        else "touch-off of two tools does not repeat better than that",
        change=change,
        then="the finisher cuts the wall alone",
        other_pass=worst.into,
    )


def _about(length: float, unit: Unit) -> str:
    return say_length(length, unit, 2 if unit == "in" else 1)


def _registers(case: Case, ledge: _Ledge) -> bool:
    """Whether finisher and rougher were touched off each on its own."""
    registers = case.moves.h_register
    return bool(registers[ledge.move] != registers[ledge.made])


def _register(case: Case, ledge: _Ledge) -> Change:
    """Return the register, or the work zero, whose error lowers the finisher on the ledge most."""
    from .registers import register_between

    return register_between(case, ledge.made, ledge.move)


def _height(case: Case, ledge: _Ledge) -> Change:
    """Return the height to program: the finisher's, or the rougher's where the part ends."""
    from .taken import z_line, z_word

    advised = case.margin("ledge_advised")
    move, now, new = ledge.move, ledge.tip, ledge.z + advised
    if new > case.part_bottom + SAME:
        move, now, new = ledge.made, ledge.z, min(ledge.tip, case.part_bottom) - advised
    name = f"Z of pass {int(case.moves.pass_number[move])}, line {z_line(case, move)}"
    return Change(name, z_word(case, move, now), z_word(case, move, new))


def _left(case: Case, ledges: list[_Ledge]) -> Finding:
    """Say that a ledge stays above the part's bottom."""
    worst = max(ledges, key=lambda e: (round(min(e.z, e.tip), 9), -e.by))
    proud = min(worst.z, worst.tip) - case.part_bottom
    by = case.passes[worst.by].tool
    mine = case.moves_of(worst.into)
    mine = mine[~case.moves.rapid[mine] & (np.abs(case.moves.end[mine, 2] - worst.z) <= SAME)]
    change, beside = _deeper(case, worst)
    alike = [e for e in ledges if e.by == worst.by]
    return Finding(
        rule="ledge-left",
        severity="spoils",
        tool=case.passes[worst.into].tool,
        pass_number=worst.into,
        lines=case.lines_of(mine),
        at=(*worst.at, min(worst.z, worst.tip)),
        size=proud,
        text=f"the ledge stands {say_fine(proud, case.unit)} above the part's bottom, along about "
        f"{_about(sum(e.length for e in alike), case.unit)} of pass {worst.by} (tool {by})",
        why="a rib stays round the foot of the wall",
        change=change,
        then="the wall is finished down to the part's bottom" + beside + _others(case, ledges),
        other_pass=worst.by,
    )


def _others(case: Case, ledges: list[_Ledge]) -> str:
    """Say which other passes along a ledge stop above the part's bottom."""
    worst = max(ledges, key=lambda e: (round(min(e.z, e.tip), 9), -e.by))
    limit = case.part_bottom + case.margin("ledge_proud")
    return "".join(
        f", pass {n} too" for n in sorted({e.by for e in ledges if e.tip > limit} - {worst.by})
    )


def _deeper(case: Case, ledge: _Ledge) -> tuple[Change, str]:
    """Return what lowers a ledge, a register or the rougher's Z, and what goes with it."""
    from .registers import UP, cause_of, set_right, shares_of
    from .taken import z_line, z_word

    bottom, at = case.part_bottom, (*ledge.at, ledge.z)
    limit = bottom + case.margin("ledge_proud")
    low = say_length(z_word(case, ledge.move, bottom), case.unit)
    beside = f", with pass {ledge.by} at {low} or lower"
    rougher, finisher = (shares_of(case, m, at, UP) for m in (ledge.made, ledge.move))
    cause = cause_of(case, rougher, ledge.z, lambda z: z <= limit)
    if cause is None:
        new = bottom - case.margin("ledge_advised")
        what = f"Z of pass {ledge.into}, line {z_line(case, ledge.made)}"
        now, new = (z_word(case, ledge.made, z) for z in (ledge.z, new))
        return Change(what, now, new), beside
    words = [cause.beside] if cause.beside else []
    left = ledge.tip - sum(s.by for s in finisher if s in rougher)
    more = tuple(s for s in finisher if s not in rougher)
    if left > limit:
        enough = left - sum(s.by for s in more) <= limit
        words += [set_right(case, more) if enough else f"pass {ledge.by} at {low} or lower"]
    return cause.change, f", with {' and '.join(words)}" if words else ""


RULES: Final = (
    Rule(
        {
            "finisher-cuts-ledge": "The finisher cuts the ledge that the rougher left",
            "ledge-left": "A ledge beyond the part stands proud of it",
        },
        _find,
        (
            Margin("ledge_free", 2 * THOU, "a finisher that clears a ledge by less is a note"),
            Margin("ledge_advised", 4 * THOU, "advised height of a finisher over a ledge"),
            Margin("ledge_proud", 0.5 * THOU, "a ledge less above the part's bottom is silent"),
            Margin("touch_off", 1 * THOU, "how well the touch-off of two tools repeats"),
        ),
    ),
)
