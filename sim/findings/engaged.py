"""How far the side of a tool is in metal along its path, and on which side of it.

Angles count from the direction of motion, counter-clockwise, and only the half of the tool that
looks ahead cuts. Metal counts where it stands `WALL` over tip and corner radius: what the end cuts
does not.
"""

from __future__ import annotations

import dataclasses
import math
import weakref
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from .base import THOU

if TYPE_CHECKING:
    from ..contact.stations import Places
    from ..contact.stock import Before
    from ..contact.tool import Edge
    from .case import Case
    from .taken import Bools, Floats, Ints
    from .walls import Walls

__all__ = ["Way", "depth_ahead", "finely", "finishes", "ways"]

WALL: Final = 15 * THOU
"""Metal that stands this much over tip and corner radius is a wall, mm."""
SAME: Final = 1e-6
"""A move that begins this near to where the last one ended goes on with its path, mm."""
GRAZE: Final = 1e-4
"""Metal that reaches into the side by less is not met, mm."""
FAN: Final = np.radians(np.linspace(-90.0, 90.0, 61))
HALVINGS: Final = 20
STEPS: Final = 4
"""Stations along the path for each radius of the tool; where asked, five times as many."""
TURN: Final = math.radians(7.5)
"""Stations stand on both sides of a turn that is wider."""
SLOPE: Final = 0.1
"""Steeper moves are ramps, which have an engagement of their own."""
ONE_SIDED: Final = 0.95
"""Of a finish so much of the angle in metal lies on one side."""
DEEP: Final = 241
"""Places along a ray from the axis to the side."""


_WAYS: weakref.WeakKeyDictionary[Case, dict[int, tuple[Way, ...]]] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class Way:
    """Stations of one unbroken path at feed.

    Attributes
    ----------
    run : ndarray of int64
        Its moves, of `Before.moves`.
    places : Places
    s, heading : ndarray of float64, shape (n,)
        Length of the path so far, mm; which way it runs, radians, unwound.
    angle, width : ndarray of float64
        Angle in metal, radians, and its extent square to the path, mm.
    side : ndarray of float64
        Above 0: the metal is more on the left than on the right.
    feed : ndarray of float64
        mm/min.
    """

    run: Ints
    places: Places
    s: Floats
    heading: Floats
    angle: Floats
    width: Floats
    side: Floats
    feed: Floats


def ways(case: Case, before: Before, edge: Edge, number: int) -> tuple[Way, ...]:
    """Return the unbroken paths at feed of a pass, measured at stations, once."""
    found = _WAYS.setdefault(case, {})
    if number not in found:
        found[number] = tuple(_ways(case, before, edge, number))
    return found[number]


def _ways(case: Case, before: Before, edge: Edge, number: int) -> Iterator[Way]:
    moves = before.moves
    with np.errstate(invalid="ignore"):
        along = moves.end - moves.start
        flat = np.abs(along[:, 2]) <= SLOPE * np.maximum(moves.lengths(), 1e-12)
    chosen = flat & ~moves.rapid & moves.sweeps() & (moves.lengths() > 0)
    chosen &= (moves.pass_number == number) & (moves.end[:, 2] < case.job.stock.high[2])
    mine = np.flatnonzero(chosen)
    apart = (np.abs(moves.start[mine[1:]] - moves.end[mine[:-1]]) > SAME).any(axis=1)
    for run in np.split(mine, np.flatnonzero(apart) + 1):
        if len(run):
            yield _measured(before, edge, run, *_stations(before, run, edge.radius / STEPS))


def _stations(before: Before, run: Ints, step: float) -> tuple[Places, Floats]:
    """Return stations at the ends of moves and between them; short moves share some."""
    from ..contact.stations import Places, lengths_of

    length = lengths_of(before, run)
    count = np.maximum(np.ceil(length / step), 1).astype(np.int64) + 1
    of = np.repeat(np.arange(len(run)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share: Floats = number / (count[of] - 1)
    places = Places.at(before, run[of], share)
    s = (np.cumsum(length) - length)[of] + share * length[of]
    turn = np.abs(np.diff(_heading(places))) > TURN
    kept = np.append(True, np.diff(np.floor(s / step + 1e-9)) > 0) | np.append(turn, True)
    kept |= np.append(False, turn)
    return places[kept], s[kept]


def _heading(places: Places) -> Floats:
    return np.unwrap(np.arctan2(places.way[:, 1], places.way[:, 0]))


def _measured(before: Before, edge: Edge, run: Ints, places: Places, s: Floats) -> Way:
    angle, width, side = _engaged(before, edge, places)
    feed = before.moves.feed[places.move]
    return Way(run, places, s, _heading(places), angle, width, side, feed)


def _met(before: Before, edge: Edge, places: Places, angle: Floats, radius: Floats) -> Floats:
    """Return 1 where a wall stands at angles from the way of motion, radians; else 0."""
    from ..contact.stations import around

    over, *_ = around(before, places, radius, angle)
    return np.asarray(over > edge.corner_top + WALL, np.float64)


def _engaged(before: Before, edge: Edge, places: Places) -> tuple[Floats, Floats, Floats]:
    """Return the angle in metal, its extent square to the path, and on which side it lies."""
    rim = edge.radius - GRAZE
    fan = np.broadcast_to(FAN, (len(places), len(FAN)))
    met = _met(before, edge, places, fan, np.full(fan.shape, rim)) > 0
    i, k = np.nonzero(met[:, 1:] != met[:, :-1])
    low, high, start = FAN[k].copy(), FAN[k + 1].copy(), met[i, k]
    for _ in range(HALVINGS if len(i) else 0):
        middle = 0.5 * (low + high)
        same = (_met(before, edge, places[i], middle, np.full(len(i), rim)) > 0) == start
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    begin, end = np.tile(FAN[:-1], (len(places), 1)), np.tile(FAN[1:], (len(places), 1))
    end[i, k] = np.where(start, low, end[i, k])
    begin[i, k] = np.where(start, begin[i, k], low)
    there = met[:, 1:] | met[:, :-1]
    arc = np.where(there, end - begin, 0.0)
    sines = np.where(there, np.sin(end) - np.sin(begin), 0.0)
    side = np.where(there, np.cos(begin) - np.cos(end), 0.0).sum(axis=1)
    top = np.where(there, np.sin(end), -1.0).max(axis=1)
    low_end = np.where(there, np.sin(begin), 1.0).min(axis=1)
    width = np.where(there.any(axis=1), edge.radius * (top - low_end), 0.0)
    return arc.sum(axis=1), np.maximum(width, edge.radius * sines.sum(axis=1)), side


def depth_ahead(before: Before, edge: Edge, place: Places) -> float:
    """Return the thickest layer in front of the tool at a place, along rays from its axis, mm."""
    radius = np.linspace(0.0, edge.radius - GRAZE, DEEP)
    angle, far = np.meshgrid(FAN, radius, indexing="ij")
    every = place[np.zeros(angle.size, np.int64)]
    met = _met(before, edge, every, angle.ravel(), far.ravel()).reshape(angle.shape) > 0
    rim = met[:, -1]
    free = np.where(met, -1, np.arange(len(radius))).max(axis=1)
    return float((edge.radius - radius[np.maximum(free, 0)])[rim].max(initial=0.0))


def finely(before: Before, edge: Edge, way: Way, which: Ints) -> Way:
    """Return stations close together over some of a path."""
    first, last = (way.places.move[which[k]] for k in (0, -1))
    run = way.run[(way.run >= first) & (way.run <= last)]
    places, s = _stations(before, run, edge.radius / (5 * STEPS))
    begin = way.s[which[0]]
    s = s + float(begin - _from_start(before, way.places[which[:1]]))
    kept = (s >= begin - 1e-9) & (s <= way.s[which[-1]] + 1e-9)
    return _measured(before, edge, run, places[kept], s[kept])


def _from_start(before: Before, place: Places) -> float:
    from ..contact.stations import lengths_of

    return float(lengths_of(before, place.move)[0] * place.share[0])


def _layer(before: Before, way: Way, radius: float) -> Floats:
    """Return the thickness of what is taken off a wall on one side, mm: on arcs along their radius.

    The law of cosines in the triangle of the arc's middle, the tool's axis and where metal begins.
    """
    moves, of = before.moves, way.places.move
    turn = moves.turn[of]
    bend = np.hypot(*(moves.end[of, :2] - moves.center[of]).T)
    inside = np.sign(way.side * turn) < 0  # metal away from the middle
    reach = np.where(inside, radius, -radius)
    across = bend**2 + radius**2 + 2 * bend * reach * np.cos(way.angle)
    layer: Floats = np.sign(reach) * (bend + reach - np.sqrt(across))
    return np.where(turn != 0, np.nan_to_num(layer), way.width)


def finishes(case: Case, walls: Walls, number: int, way: Way) -> Bools:
    """Return the stations at which a thin layer is taken off a wall that stays as it leaves it.

    A layer thicker than the margin `finish_layer` is no finish.
    """
    tool = case.tool_of(number)
    layer = _layer(walls.before, way, tool.cutting_radius)
    light = layer <= 2 * tool.cutting_radius * case.margin("finish_layer")
    thin: Bools = light & (way.angle > 0) & (way.angle < math.pi / 2)
    thin &= np.abs(way.side) > ONE_SIDED * (1 - np.cos(way.angle))
    which = np.flatnonzero(thin)
    if len(which):
        places = way.places[which]
        stays = walls.on(places, walls.beside(places, len(walls.moves), 1))[:, :, 0]
        thin[which] = np.where(way.side[which] > 0, stays[:, 0], stays[:, 1])
    return thin
