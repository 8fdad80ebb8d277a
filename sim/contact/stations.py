"""Stations along the moves, and what metal the tool meets at each: exact columns round its axis.

At a station columns stand on the rings of the tool's lower face, at angles from the direction of
motion that lie close together near a right angle, so that a bite of `FINEST_BITE` from the side is
seen. Where two stations of a move differ in what is met, the change between them is halved down to
`CHANGE`.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC
from .tool import BEHIND, BITS, CUTS, Edge

if TYPE_CHECKING:
    from .stock import Before

__all__ = [
    "BLOCK", "CHANGE", "NOTICED", "Look", "Places", "angles_of", "around", "lengths_of", "look",
    "place_stations", "sides_of",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

NOTICED: Final = 1e-6
"""Metal that stands into the tool by less is not met, mm: rounding of the program's numbers."""
TOUCH: Final = 1e-4
"""Metal that reaches into the tool by less from the side is only touched, mm."""
FINEST_BITE: Final = 0.05 * 0.0254
"""A bite from the side of this depth is seen at every station, mm."""
LADDER: Final = 3.0
"""Each lateral depth of the ladder of angles is so many times the one before."""
WIDE_LADDER: Final = 10.0
"""The same of a ball or a point, which has more rings."""
EVEN: Final = math.radians(15.0)
SPACING: Final = 1.0
"""Stations are so many radii of the tool apart."""
MOST: Final = 40_000
"""About so many stations a job before changes are sought; long programs get a wider spacing."""
CHANGE: Final = 0.001 * 25.4
"""Where a change of contact is known to, along the path, mm."""
BESIDE: Final = (0.01, 0.25, 1.27)
"""Columns stand so far outside the tool to see whether there is a wall, mm."""
DISC: Final = (0.5, 0.98)
"""Rings under the flat end, as shares of its radius."""
CHANGES: Final = 4
"""Most changes that are sought between two stations."""
BLOCK: Final = 2048
"""Stations looked at at once."""
ROUND: Final = 36
"""Angles round a tool that moves along its axis."""


@dataclasses.dataclass(frozen=True)
class Places:
    """Stations: where the tip is, and which way it moves.

    Attributes
    ----------
    move : ndarray of int64, shape (n,)
        Of `Before.moves`.
    share : ndarray of float64
        Of the move's length.
    tip : ndarray of float64, shape (n, 3)
        mm.
    way : ndarray of float64, shape (n, 2)
        Unit direction in plan; +X for a move along Z.
    upright : ndarray of bool
        The move goes along Z, or nowhere.
    """

    move: Ints
    share: Floats
    tip: Floats
    way: Floats
    upright: Bools

    def __len__(self) -> int:
        return len(self.move)

    def __getitem__(self, index: Bools | Ints | slice) -> Places:
        return Places(*(getattr(self, f.name)[index] for f in dataclasses.fields(self)))

    @classmethod
    def at(cls, before: Before, move: Ints, share: Floats) -> Places:
        """Return the stations at shares of moves."""
        moves = before.moves
        start, end = _start_of(before, move), moves.end[move]
        arc = (moves.kind[move] == ARC) & (moves.turn[move] != 0)
        turned = moves.turn[move] * share
        cx, cy = moves.center[move].T
        sx, sy = start[:, 0] - cx, start[:, 1] - cy
        rx = np.cos(turned) * sx - np.sin(turned) * sy
        ry = np.cos(turned) * sy + np.sin(turned) * sx
        line = start + share[:, None] * (end - start)
        tip = line.copy()
        tip[:, 0], tip[:, 1] = np.where(arc, cx + rx, tip[:, 0]), np.where(arc, cy + ry, tip[:, 1])
        sense = np.sign(moves.turn[move])
        way = np.where(
            arc[:, None], np.stack([-ry * sense, rx * sense], axis=1), (end - start)[:, :2]
        )
        length: Floats = np.hypot(*way.T)
        upright = length <= 1e-9
        way = np.where(upright[:, None], (1.0, 0.0), way / np.where(upright, 1.0, length)[:, None])
        return cls(move, share, tip, way, upright)


def _start_of(before: Before, move: Ints) -> Floats:
    """Return where moves start; one that comes from an unknown height, from over the stock."""
    start = before.moves.start[move].copy()
    over = np.maximum(float(before.stock.high[2]) + 1.0, before.moves.end[move, 2])
    start[:, 2] = np.where(np.isnan(start[:, 2]), over, start[:, 2])
    return start


def lengths_of(before: Before, move: Ints) -> Floats:
    """Return the length of moves, mm; from over the stock where a start's height is not known."""
    moves = before.moves
    start, end = _start_of(before, move), moves.end[move]
    radius = np.hypot(*(end[:, :2] - moves.center[move]).T)
    plan = np.hypot(*(end - start)[:, :2].T)
    plan = np.where(moves.kind[move] == ARC, radius * np.abs(moves.turn[move]), plan)
    length: Floats = np.hypot(plan, end[:, 2] - start[:, 2])
    return length


@functools.lru_cache(maxsize=64)
def _angles(radius: float, flat: bool, upright: bool) -> Floats:
    every = np.asarray((np.arange(ROUND) + 0.5) * (2 * math.pi / ROUND) - math.pi, np.float64)
    if upright:
        return every
    rung = LADDER if flat else WIDE_LADDER
    steps = max(1, math.ceil(math.log(radius / FINEST_BITE, rung)))
    depth = FINEST_BITE * rung ** np.arange(steps)
    ladder = np.arccos(1 - np.minimum(depth / radius, 1.0))
    side = math.pi / 2 - ladder[ladder < math.radians(89.0)]
    fifteens = np.arange(1, 6) * EVEN
    side = np.unique(np.round(np.concatenate([side, fifteens]), 12))
    return np.concatenate([-side[::-1], [0.0], side])


def angles_of(edge: Edge, upright: bool = False) -> Floats:
    """Return the angles from the direction of motion at which columns stand, radians, rising."""
    return _angles(edge.radius, edge.flat > 0, upright)


@dataclasses.dataclass(frozen=True)
class Look:
    """What metal stands round the tool at stations.

    Attributes
    ----------
    zones : ndarray of int64, shape (n,)
        Bits of what meets metal, `contact_tool.BITS`.
    met : ndarray of bool, shape (n, angles)
        Whether metal is met at each angle.
    height : ndarray of float64, shape (n, angles)
        How high the metal met there stands over the tip, mm; -inf where none is.
    under : ndarray of float64, shape (n,)
        How high the metal on the axis stands over the tip, mm.
    beside : ndarray of float64, shape (n, 2 or angles)
        How high the highest metal just outside the tool stands over the tip, at the sides.
    floor : ndarray of float64, shape (n,)
        How high a level floor of an earlier pass stands over the tip under the flat end, the
        highest of them, mm; NaN where there is none.
    floor_pass : ndarray of int32, shape (n,)
        Its pass; 0 where there is none.
    """

    zones: Ints
    met: Bools
    height: Floats
    under: Floats
    beside: Floats
    floor: Floats
    floor_pass: NDArray[np.int32]


def around(
    before: Before, places: Places, radius: Floats, angle: Floats
) -> tuple[Floats, Floats, Floats, NDArray[np.int32]]:
    """Return height over the tip, x, y and owner of columns round the axis; arrays like `radius`.

    Parameters
    ----------
    before : Before
    places : Places
    radius, angle : ndarray of float64, shape (n, ...)
        From the axis, mm, and from the way of motion, radians.
    """
    more = (1,) * (radius.ndim - 1)
    wx, wy = (places.way[:, k].reshape(-1, *more) for k in (0, 1))
    c, s = np.cos(angle) * radius, np.sin(angle) * radius
    x = places.tip[:, 0].reshape(-1, *more) + c * wx - s * wy
    y = places.tip[:, 1].reshape(-1, *more) + c * wy + s * wx
    done = np.broadcast_to(places.move.reshape(-1, *more), x.shape)
    top, owner = before.columns(x.ravel(), y.ravel(), done.ravel())
    over = top.reshape(x.shape) - places.tip[:, 2].reshape(-1, *more)
    return over, x, y, owner.reshape(x.shape)


Rings = dict[tuple[int, float], tuple[int, Bools, Floats]]
"""What was found on the rings at stations, by move and share: zones, met, height."""


def look(before: Before, edge: Edge, places: Places, *, upright: bool, known: Rings) -> Look:
    """Return what metal stands round the tool at stations, all of one kind."""
    angles = angles_of(edge, upright)
    zones, met, height = _rings(before, edge, places, angles, known)
    bottom, under, floor, floor_pass = _under(before, edge, places, angles)
    zones |= np.where(bottom, BITS["bottom"], 0)
    zones |= _behind(before, edge, places, angles)
    beside = _beside(before, edge, places, upright)
    return Look(zones, met, height, under, beside, floor, floor_pass)


def _rings(
    before: Before, edge: Edge, places: Places, angles: Floats, known: Rings
) -> tuple[Ints, Bools, Floats]:
    """Return zones, where metal is met and how high it is at each angle; stations once each."""
    keys = list(zip(places.move.tolist(), places.share.tolist(), strict=True))
    new = [k for k, key in enumerate(keys) if key not in known]
    if new:
        found = _hits(before, edge, places[np.array(new)], angles)
        known.update((keys[k], row) for k, row in zip(new, zip(*found, strict=True), strict=True))
    rows = [known[key] for key in keys]
    shape = (len(rows), len(angles))
    return (
        np.array([row[0] for row in rows], np.int64),
        np.array([row[1] for row in rows], np.bool_).reshape(shape),
        np.array([row[2] for row in rows], np.float64).reshape(shape),
    )


def _hits(before: Before, edge: Edge, places: Places, angles: Floats) -> tuple[Ints, Bools, Floats]:
    """Return the bits of the zones, where metal is met, and how high it stands over the tip."""
    r, h, bit = edge.rings
    r = np.maximum(r - TOUCH, 0.0)
    shape = (len(places), len(r), len(angles))
    over, *_ = around(
        before, places, np.broadcast_to(r[None, :, None], shape),
        np.broadcast_to(angles[None, None, :], shape),
    )  # fmt: skip
    hit = over > h[None, :, None] + NOTICED
    zones = np.zeros(len(places), np.int64)
    for value in np.unique(bit).tolist():
        zones |= np.where(hit[:, bit == value].any(axis=(1, 2)), value, 0)
    met: Bools = np.asarray(hit.any(axis=1))
    height: Floats = np.where(hit, over, -np.inf).max(axis=1)
    return zones, met, height


def _under(
    before: Before, edge: Edge, places: Places, angles: Floats
) -> tuple[Bools, Floats, Floats, NDArray[np.int32]]:
    """Return whether the end meets metal, metal on the axis, and the floor of an earlier pass."""
    n, every = len(places), angles[:: max(1, len(angles) // 9)]
    shares = DISC if edge.flat > 0 else ()
    radius = np.concatenate([[0.0], *(np.full(len(every), edge.flat * q) for q in shares)])
    angle = np.concatenate([[0.0], *(every for _ in shares)])
    shape = (n, len(radius))
    over, x, y, owner = around(
        before, places, np.broadcast_to(radius, shape), np.broadcast_to(angle, shape)
    )
    under: Floats = over[:, 0].copy()
    bottom: Bools = np.asarray((over > NOTICED).any(axis=1))
    if edge.flat == 0:
        return bottom & (edge.zone_at(np.zeros(1))[0] == BITS["bottom"]), under, *_no_floor(n)
    by = before.pass_of_row(owner)
    earlier = (by > 0) & (by < before.moves.pass_number[places.move][:, None])
    earlier[earlier] = before.flat(x[earlier], y[earlier], owner[earlier])
    floor = np.where(earlier, over, -np.inf)
    k = np.argmax(floor, axis=1)
    some = earlier.any(axis=1)
    rows = np.arange(n)
    return (
        bottom, under, np.where(some, floor[rows, k], np.nan),
        np.where(some, by[rows, k], 0).astype(np.int32),
    )  # fmt: skip


def _no_floor(n: int) -> tuple[Floats, NDArray[np.int32]]:
    return np.full(n, np.nan), np.zeros(n, np.int32)


def _behind(before: Before, edge: Edge, places: Places, angles: Floats) -> Ints:
    """Return the bits of neck, shank and holder where they meet metal."""
    zones = np.zeros(len(places), np.int64)
    room = float(before.stock.high[2]) - places.tip[:, 2]
    for label, low, radius in edge.behind:
        deep = np.flatnonzero(room > low + NOTICED)
        if label not in BEHIND or not len(deep):
            continue
        shape = (len(deep), len(angles))
        over, *_ = around(
            before,
            places[deep],
            np.full(shape, max(radius - TOUCH, 0.0)),
            np.broadcast_to(angles, shape),
        )
        zones[deep[(over > low + NOTICED).any(axis=1)]] |= BITS[label]
    return zones


def _beside(before: Before, edge: Edge, places: Places, upright: bool) -> Floats:
    """Return how high metal stands just outside the tool, in the directions of `sides_of`."""
    ways = sides_of(upright)
    shape = (len(places), len(ways), 1 + len(BESIDE))
    radius = edge.radius + np.array([-FINEST_BITE, *BESIDE])
    over, *_ = around(
        before, places, np.broadcast_to(radius, shape),
        np.broadcast_to(ways[None, :, None], shape),
    )  # fmt: skip
    high: Floats = over.max(axis=2)
    return high


def sides_of(upright: bool) -> Floats:
    """Return the directions in which walls are looked for: from the way of motion, radians."""
    eighths = np.asarray(np.arange(8) * (math.pi / 4), np.float64)
    if upright:
        return eighths
    return np.array([-math.pi / 2, math.pi / 2, 0.0, -math.pi / 4, math.pi / 4])


def place_stations(before: Before, edge: Edge, mine: Ints, spacing: float, known: Rings) -> Places:
    """Return the stations of moves of one tool: evenly spaced, and close to changes of contact.

    Parameters
    ----------
    before : Before
    edge : Edge
    mine : ndarray of int64
        Moves of `Before.moves` that sweep.
    spacing : float
        mm.
    known : dict
        What is found on the rings is added to it.
    """
    length = lengths_of(before, mine)
    steps = np.maximum(np.ceil(length / spacing - 1e-9), 1).astype(np.int64)
    arc = before.moves.kind[mine] == ARC
    turned = np.where(arc, np.ceil(np.abs(before.moves.turn[mine]) / EVEN), 1).astype(np.int64)
    steps = np.where(_clear(before, edge, mine), 1, steps)
    steps = np.maximum(steps, turned)
    of = np.repeat(np.arange(len(mine)), steps + 1)
    number = np.arange(len(of)) - np.repeat(np.cumsum(steps + 1) - steps - 1, steps + 1)
    move, share, long = mine[of], number / steps[of], length[of]
    state = states(before, edge, Places.at(before, move, share), known)
    for _ in range(CHANGES):
        apart = (np.diff(move) == 0) & (state[1:] != state[:-1])
        gap = np.flatnonzero(apart & (np.diff(share) * long[1:] > CHANGE))
        if not len(gap):
            break
        share_of, state_of = _between(before, edge, (move, share, long, state), gap, known)
        where = np.tile(gap, 2)
        order = np.lexsort((np.append(share, share_of), np.append(move, move[where])))
        move, long = np.append(move, move[where])[order], np.append(long, long[where])[order]
        share, state = np.append(share, share_of)[order], np.append(state, state_of)[order]
    return Places.at(before, move, share)


def _between(
    before: Before,
    edge: Edge,
    stations: tuple[Ints, Floats, Floats, Ints],
    gap: Ints,
    known: Rings,
) -> tuple[Floats, Ints]:
    """Return two new stations to each gap, on both sides of a change: shares and states."""
    move, share, long, state = stations
    low, high, at_high = share[gap].copy(), share[gap + 1].copy(), state[gap + 1].copy()
    while ((high - low) * long[gap] > CHANGE).any():
        middle = 0.5 * (low + high)
        found = states(before, edge, Places.at(before, move[gap], middle), known)
        same = found == state[gap]
        low, high = np.where(same, middle, low), np.where(same, high, middle)
        at_high = np.where(same, at_high, found)
    return np.append(low, high), np.append(state[gap], at_high)


def _clear(before: Before, edge: Edge, move: Ints) -> Bools:
    """Return the moves that stay over the stock or beside it."""
    start, end = _start_of(before, move), before.moves.end[move]
    low, high = np.minimum(start, end), np.maximum(start, end)
    bulge = np.where(before.moves.kind[move] == ARC, 2 * _radii(before, move), 0.0)
    reach = (edge.radius + bulge + 1.0)[:, None]
    stock_low, stock_high = np.array(before.stock.low[:2]), np.array(before.stock.high[:2])
    off = ((low[:, :2] - reach > stock_high) | (high[:, :2] + reach < stock_low)).any(axis=1)
    clear: Bools = off | (low[:, 2] > float(before.stock.high[2]))
    return clear


def _radii(before: Before, move: Ints) -> Floats:
    radius: Floats = np.hypot(*(before.moves.end[move, :2] - before.moves.center[move]).T)
    return radius


def states(before: Before, edge: Edge, places: Places, known: Rings) -> Ints:
    """Return the bits of what is met at each station."""
    found = np.zeros(len(places), np.int64)
    near = ~(places.tip[:, 2] > float(before.stock.high[2]))
    for upright in (False, True):
        mine = np.flatnonzero((places.upright == upright) & near)
        for k in range(0, len(mine), BLOCK):
            part = mine[k : k + BLOCK]
            found[part] = _state(before, edge, places[part], upright, known)
    return found


def _state(before: Before, edge: Edge, places: Places, upright: bool, known: Rings) -> Ints:
    zones, *_ = _rings(before, edge, places, angles_of(edge, upright), known)
    none = np.zeros((len(places), 1))
    under = around(before, places, none, none)[0][:, 0] > NOTICED
    return (zones | np.where(under, edge.zone_at(np.zeros(1)), 0)) & CUTS
