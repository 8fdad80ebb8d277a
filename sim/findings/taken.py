"""What single moves take or meet: exact columns at places spread over what the tool passes."""

from __future__ import annotations

import dataclasses
import math
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC

if TYPE_CHECKING:
    from ..prober import Prober
    from .base import Point
    from .case import Case

__all__ = [
    "Bite",
    "bite",
    "clock",
    "disc",
    "heights",
    "plan_lengths",
    "prober_of",
    "row_of",
    "runs",
    "spread",
    "stations",
    "z_line",
    "z_word",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SKIN: Final = 0.1 * 0.0254
"""A tool touches metal that it reaches by less than this, and cuts what it reaches by more, mm."""
RINGS: Final = (0.2, 0.4, 0.6, 0.8, 0.95)
"""Shares of the radius at which places are looked at."""
AROUND: Final = 32
_PROBERS: weakref.WeakKeyDictionary[Case, Prober] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class Bite:
    """Where a run of moves takes the thickest layer, seen along Z, mm.

    Attributes
    ----------
    depth : float
        Metal taken there.
    at : (x, y, z)
        On what is left.
    move : int
        The move that left it.
    top : float
        The highest metal that the run takes.
    """

    depth: float
    at: Point
    move: int
    top: float


def prober_of(case: Case) -> Prober:
    """Return the prober of the case's job, made once."""
    from ..prober import Prober

    if case not in _PROBERS:
        job = case.job
        _PROBERS[case] = Prober(job.packed, job.stock, job.deep)
    return _PROBERS[case]


def row_of(case: Case, move: int) -> int:
    """Return the first row of the kernels' tables that belongs to a move or a later one."""
    return int(np.searchsorted(case.job.packed.move, move))


def heights(case: Case, x: Floats, y: Floats, move: int) -> tuple[Floats, NDArray[np.int32]]:
    """Return heights (NaN: nothing) and owners (rows) before a move, mm."""
    return prober_of(case).columns(x, y, row_of(case, move))


def runs(chosen: NDArray[np.bool_], split: NDArray[np.int32]) -> list[Ints]:
    """Return the runs of neighbouring moves that are chosen and alike in `split`."""
    index = np.flatnonzero(chosen)
    if not len(index):
        return []
    breaks = (np.diff(index) > 1) | (np.diff(split[index]) != 0)
    return np.split(index, np.flatnonzero(breaks) + 1)


def plan_lengths(case: Case) -> Floats:
    """Return how far each move runs in plan, mm; round a full circle too."""
    moves = case.moves
    along = np.hypot(*(moves.end - moves.start)[:, :2].T)
    radius = np.hypot(*(moves.end[:, :2] - moves.center).T)
    length: Floats = np.where(moves.kind == ARC, radius * np.abs(moves.turn), along)
    return np.nan_to_num(length, nan=0.0)


def stations(case: Case, move: int, step: float) -> Floats:
    """Return places of the tip along a move, no further apart than `step`, shape (n, 3), mm."""
    moves = case.moves
    end = moves.end[move]
    start = np.where(np.isnan(moves.start[move]), end, moves.start[move])
    if moves.kind[move] != ARC:
        n = max(1, math.ceil(math.dist(start[:2], end[:2]) / step))
        share = np.linspace(0.0, 1.0, n + 1)[:, None]
        places: Floats = start + share * (end - start)
        places[-1] = end
        return places
    center, turn = moves.center[move], float(moves.turn[move])
    radius = math.dist(start[:2], center)
    n = max(1, math.ceil(abs(turn) * radius / step))
    share = np.linspace(0.0, 1.0, n + 1)
    angle = math.atan2(*(start[:2] - center)[::-1]) + share * turn
    x, y = center[0] + radius * np.cos(angle), center[1] + radius * np.sin(angle)
    places = np.stack([x, y, start[2] + share * (end[2] - start[2])], axis=1)
    places[0], places[-1] = start, end
    return places


def clock(radius: float, turned: float = 0.0) -> Floats:
    """Return places on a circle about the axis, shape (n, 2), mm."""
    angle = turned + np.arange(AROUND) * (2 * math.pi / AROUND)
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def disc(radius: float) -> Floats:
    """Return places over a circle about the axis, its middle first, its rim last, mm."""
    rings = [clock(radius * share, 0.1 * k) for k, share in enumerate(RINGS)]
    return np.concatenate([np.zeros((1, 2)), *rings, clock(radius)])


def spread(case: Case, moves: Ints, radius: float) -> tuple[Floats, Floats]:
    """Return places over all that a tool of this radius passes, x and y, mm."""
    tips = np.concatenate([stations(case, int(k), radius / 3) for k in moves])
    places = (tips[:, None, :2] + disc(radius)[None]).reshape(-1, 2)
    x, y = np.ascontiguousarray(places.T)
    return x, y


def bite(case: Case, moves: Ints) -> Bite | None:
    """Return where a run of neighbouring moves takes most; None: it takes nothing.

    The tool counts as `SKIN` smaller all round: what only grazes a wall takes nothing.
    """
    tool = case.job.tools[int(case.moves.tool[moves[0]])]
    x, y = spread(case, moves, tool.cutting_radius - SKIN)
    first, end = int(moves[0]), int(moves[-1]) + 1
    before, depth, _ = _depth(case, x, y, first, end)
    if not depth.max(initial=0.0) > SKIN:
        return None
    k = int(np.argmax(depth > depth.max() - 1e-9))
    px, py = _polished(case, float(x[k]), float(y[k]), first, end, tool.cutting_radius / 10)
    was, deepest, left = _depth(case, np.array([px]), np.array([py]), first, end)
    taken = depth > SKIN
    packed = case.job.packed
    move = int(packed.move[left[0]]) if left[0] >= 0 else _last_down(case, moves)
    z = float(was[0] - deepest[0])
    return Bite(float(deepest[0]), (px, py, z), move, float(before[taken].max()))


def _last_down(case: Case, moves: Ints) -> int:
    return int(moves[np.argmin(np.nan_to_num(case.moves.end[moves, 2], nan=math.inf))])


def _depth(
    case: Case, x: Floats, y: Floats, first: int, end: int
) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Return heights before, metal taken along Z and owners after; nothing was: -inf, 0."""
    before, _ = heights(case, x, y, first)
    after, owner = heights(case, x, y, end)
    _, bottom = case.job.stock.at(x, y)
    after = np.where(np.isnan(after), bottom, after)
    taken = np.where(np.isnan(before), 0.0, before - after)
    return np.nan_to_num(before, nan=-np.inf), np.nan_to_num(taken, nan=0.0), owner


def _polished(
    case: Case, x: float, y: float, first: int, end: int, step: float
) -> tuple[float, float]:
    """Return the deepest place near one, found by ever smaller steps."""
    around = np.concatenate([np.zeros((1, 2)), clock(1.0), clock(0.5, 0.1)])
    best = _depth(case, np.array([x]), np.array([y]), first, end)[1][0]
    while step > 1e-5:
        px, py = x + step * around[:, 0], y + step * around[:, 1]
        depth = _depth(case, px, py, first, end)[1]
        k = int(np.argmax(depth))
        if depth[k] > best + 1e-9:
            best, x, y = depth[k], float(px[k]), float(py[k])
        else:
            step /= 3
    return x, y


def z_word(case: Case, move: int, z: float) -> float:
    """Return a height as programmed under the offsets of a move, mm: without their errors."""
    spec = case.job.spec
    setup = spec.setups[int(case.moves.setup[move])].name
    error = spec.zero_errors.get(setup, (0.0, 0.0, 0.0))[2]
    return z - error - spec.h_errors.get(int(case.moves.h_register[move]), 0.0)


def z_line(case: Case, move: int) -> int:
    """Return the line of the move that came to the height of a level one, within its pass."""
    moves, k = case.moves, move
    same = moves.pass_number == moves.pass_number[move]
    while k > 0 and same[k - 1] and moves.start[k, 2] == moves.end[k, 2]:
        k -= 1
    return int(moves.line[k])
