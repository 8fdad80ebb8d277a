"""The side of the tool and the walls beside it: gaps and bites along level rays from the axis.

A ray runs from the axis sideways at a height over the tip. Where metal begins past the tool's side
the rest of the way is the gap; where it begins short of it and goes on, the missing part is the
bite. Heights are those of the wall: above what the tool's end cuts and above its corner.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .stations import NOTICED, Look, Places, around, lengths_of, sides_of
from .tool import Edge

if TYPE_CHECKING:
    from ..rays import Metal
    from .stock import Before

__all__ = ["REACH", "Sides", "corner_bites", "refine_gap", "sides"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

REACH: Final = 1.27
"""Walls further than this from the tool's side are not looked at, mm: 50 thou."""
INSIDE: Final = 1e-4
"""Rays run so far above the foot of a wall and below its top, mm."""
TILTS: Final = np.radians(np.arange(0.0, 91.0, 7.5))
"""Directions from the centre of the corner's arc, from level to straight down."""
DEPTH_HALVINGS: Final = 12
FINE_HALVINGS: Final = 32
BACK: Final = 2.54
"""A corner that lies deeper than this in metal is a full cut, mm: 100 thou."""
FINEST_TILT: Final = 2e-4
"""Radians; the depth is off by the square of it."""
LAST_STEP: Final = 1e-7
"""A refined gap has been looked for down to this step along the path, mm."""


@dataclasses.dataclass(frozen=True)
class Sides:
    """Walls beside the tool at stations.

    Attributes
    ----------
    width : ndarray of float64, shape (n,)
        Metal on the diameter across the path, the most at any height, mm. What the end cuts counts
        only where no wall taller than it is cut: a floor's skin, and the fillet at a wall's foot,
        are no radial bite.
    wall : ndarray of float64, shape (n, 2)
        Of the wall on the right and on the left: gap, or minus the bite, mm; NaN where no wall is
        near. A wall is metal higher than what the end of the tool cuts; it is measured at the
        middle and the top of that.
    foot : ndarray of float64, shape (n, 2)
        The same just over what the end cuts and over the corner: fillets of earlier tools too.
    gap : ndarray of float64, shape (n,)
        Least gap to a wall of an earlier pass, in any direction looked at, mm; NaN: none near.
    gap_pass : ndarray of int32, shape (n,)
        The pass that left it; 0 for none.
    gap_angle, gap_height : ndarray of float64, shape (n,)
        Direction from the way of motion, radians, and height over the tip, mm.
    wall_pass : ndarray of int32, shape (n, 2)
        The pass that left the wall on the right and on the left; 0 raw, -1 none.
    """

    width: Floats
    wall: Floats
    foot: Floats
    gap: Floats
    gap_pass: NDArray[np.int32]
    gap_angle: Floats
    gap_height: Floats
    wall_pass: NDArray[np.int32]

    @classmethod
    def none(cls, n: int) -> Sides:
        """Return the sides of stations with nothing near them."""
        nan = np.full(n, np.nan)
        return cls(
            np.zeros(n), np.full((n, 2), np.nan), np.full((n, 2), np.nan), nan,
            np.zeros(n, np.int32), nan.copy(), nan.copy(), np.full((n, 2), -1, np.int32),
        )  # fmt: skip


@dataclasses.dataclass(frozen=True)
class _Rays:
    """Level rays: station, direction, height over the tip, whether above what the end cuts."""

    of: Ints
    way: Ints
    height: Floats
    above: Bools


def sides(
    before: Before, edge: Edge, places: Places, seen: Look, ends: Bools, *, upright: bool
) -> Sides:
    """Return the walls beside the tool at stations, all of one kind.

    Parameters
    ----------
    before : Before
    edge : Edge
    places : Places
    seen : Look
    ends : ndarray of bool
        Stations at the end of a move, where what lies ahead counts too.
    upright : bool
        The moves go along the axis.
    """
    found, ways = Sides.none(len(places)), sides_of(upright)
    if edge.tool.undercut:
        return found
    asked = _asked(edge, seen, ends, _rise(before, places, edge), upright)
    if not len(asked.of):
        return found
    radius = edge.reach_at(asked.height)
    bite, short, by = _cast(before, places, asked, ways[asked.way], radius)
    across = np.zeros((len(places), len(HEIGHTS), 2))
    level = asked.above
    if not upright:
        two = asked.way < 2
        across[asked.of[two], level[two], asked.way[two]] = bite[two]
        found.width[:] = _width(edge, seen, across.sum(axis=2))
    walls = np.flatnonzero(level > 1)
    _walls(found, asked, walls, short, by, upright)
    mine = before.moves.pass_number[places.move[asked.of]]
    near = walls[(by[walls] > 0) & (by[walls] < mine[walls]) & (short[walls] > -NOTICED)]
    near = near[np.argsort(-short[near], kind="stable")]  # the least gap is written last
    at = asked.of[near]
    found.gap[at], found.gap_pass[at] = np.maximum(short[near], 0.0), by[near]
    found.gap_angle[at], found.gap_height[at] = ways[asked.way[near]], asked.height[near]
    return found


def _width(edge: Edge, seen: Look, across: Floats) -> Floats:
    """Return the metal across the path: of the wall where it is higher than what the end cuts."""
    under = np.maximum(seen.under, 0.0)
    top = np.minimum(seen.beside[:, :2].max(axis=1), edge.top)
    wall = across[:, 2:].max(axis=1)
    tall = (wall > 0) & (top - np.maximum(edge.widest_at, under) >= under)
    width: Floats = np.where(tall, wall, across.max(axis=1))
    return width


HEIGHTS: Final = (0, 1, 2, 3)
"""Levels of the rays of a side: in what the end cuts; foot, middle and top of the wall."""


def _rise(before: Before, places: Places, edge: Edge) -> Floats:
    """Return how much the floor of a ramp rises across the tool: its slope over the radius, mm.

    The end of a ramp leaves a floor that is lowest on its axis; no wall begins below its rim.
    """
    moves, m = before.moves, places.move
    plan = lengths_of(before, m)
    rise = np.nan_to_num(np.abs(moves.end[m, 2] - moves.start[m, 2]))
    plan = np.sqrt(np.maximum(plan * plan - rise * rise, 0.0))
    slope = np.where(plan > 1e-9, rise / np.maximum(plan, 1e-9), 0.0)
    across: Floats = np.minimum(slope, 1.0) * edge.radius
    return across


def _asked(edge: Edge, seen: Look, ends: Bools, rise: Floats, upright: bool) -> _Rays:
    """Return the rays to cast: where metal stands beside, at the heights of the wall."""
    n, count = seen.beside.shape
    top = np.minimum(seen.beside, edge.top)
    foot = np.maximum(edge.widest_at, np.maximum(seen.under + rise, 0.0))[:, None] + INSIDE
    wall = top > foot + INSIDE
    if not upright:
        wall[:, 2:] &= ends[:, None]
    cut = np.minimum(np.maximum(seen.under, seen.height.max(axis=1)), edge.top)
    flat = np.zeros((n, count), np.bool_)
    if not upright:
        flat[:, :2] = (cut > NOTICED)[:, None]
    levels = [
        (flat, np.broadcast_to(0.5 * np.where(seen.under > NOTICED, np.minimum(
            np.maximum(seen.under, NOTICED), edge.top), cut)[:, None], (n, count))),
        (wall, np.broadcast_to(foot, (n, count))),
        (wall, 0.5 * (foot + top)),
        (wall, top - INSIDE),
    ]  # fmt: skip
    parts = [(np.nonzero(on), height) for on, height in levels]
    return _Rays(
        of=np.concatenate([p[0][0] for p in parts]),
        way=np.concatenate([p[0][1] for p in parts]),
        height=np.concatenate([p[1][p[0]] for p in parts]),
        above=np.concatenate([np.full(len(p[0][0]), k) for k, p in enumerate(parts)]),
    )


def _cast(
    before: Before, places: Places, asked: _Rays, angle: Floats, radius: Floats
) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Return metal inside the tool's side, gap or minus bite, and who left the wall."""
    n = len(asked.of)
    bite, short = np.zeros(n), np.full(n, np.nan)
    by = np.full(n, -1, np.int32)
    done = places.move[asked.of]
    order = np.argsort(done, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(done[order])) + 1)
    far = float(radius.max()) + REACH
    for group in groups:
        origin, way = _level_ray(places[asked.of[group]], angle[group], asked.height[group])
        metal = before.rays(origin, way, int(done[group[0]]), far)
        bite[group], short[group], maker = _measure(metal, radius[group])
        by[group] = np.where(np.isnan(short[group]), -1, before.pass_of_move(maker))
    return bite, short, by


def _level_ray(places: Places, angle: Floats, height: Floats) -> tuple[Floats, Floats]:
    wx, wy = places.way.T
    c, s = np.cos(angle), np.sin(angle)
    # A right angle is one to the last digit, so that rays along an axis stay on it.
    c = np.where(np.abs(c) < 1e-15, 0.0, c)
    way = np.stack([c * wx - s * wy, c * wy + s * wx, np.zeros(len(c))], axis=1)
    origin = places.tip.copy()
    origin[:, 2] += height
    return origin, way


def _measure(metal: Metal, radius: Floats) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Return metal within the radius of each ray, and the gap or minus the bite of its wall."""
    n = len(metal)
    ray = np.repeat(np.arange(n), np.diff(metal.offsets))
    inside = np.minimum(metal.leave, radius[ray]) - np.minimum(metal.enter, radius[ray])
    bite = np.bincount(ray, weights=inside, minlength=n)
    # The wall: the first stretch that reaches past the side.
    past = metal.leave > radius[ray] + NOTICED
    short, maker = np.full(n, np.nan), np.full(n, -2, np.int32)
    k = np.flatnonzero(past)[::-1]  # the first is written last
    short[ray[k]] = metal.enter[k] - radius[ray[k]]
    maker[ray[k]] = metal.enter_move[k]
    near = np.abs(short) < NOTICED
    short[near] = 0.0
    short[short > REACH] = np.nan
    return np.where(bite < NOTICED, 0.0, bite), short, maker


def _walls(
    found: Sides, asked: _Rays, walls: Ints, short: Floats, by: NDArray[np.int32], upright: bool
) -> None:
    """Write gap or bite of the walls on both sides: a bite at any height counts before a gap."""
    if upright:
        return
    foot = np.flatnonzero((asked.above == 1) & (asked.way < 2))
    found.foot[asked.of[foot], asked.way[foot]] = short[foot]
    two = walls[(asked.way[walls] < 2) & ~np.isnan(short[walls])]
    two = two[np.argsort(-short[two], kind="stable")]  # the deepest is written last
    found.wall[asked.of[two], asked.way[two]] = short[two]
    found.wall_pass[asked.of[two], asked.way[two]] = by[two]


def refine_gap(
    before: Before, edge: Edge, move: int, start: tuple[float, float, float], step: float
) -> tuple[float, tuple[float, float, float], tuple[float, float]]:
    """Return a least gap near one found at a station: gap, place on the wall, share and angle.

    Parameters
    ----------
    before : Before
    edge : Edge
    move : int
    start : (share of the move, angle from its way, height over the tip)
    step : float
        Share of the move to look to both sides at first.
    """
    share, angle, height = start
    turn, least = math.radians(20.0), math.inf
    place = (math.nan, math.nan, math.nan)
    radius = float(edge.reach_at(np.array([height]))[0])
    mine = int(before.moves.pass_number[move])
    first = True
    smallest = LAST_STEP / radius
    while first or turn > smallest:
        grid = [(0.0, 0.0)] if first else [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
        shares = np.clip([share + a * step for a, _ in grid], 0.0, 1.0)
        angles = np.array([angle + b * turn for _, b in grid])
        at = Places.at(before, np.full(len(grid), move), shares)
        origin, way = _level_ray(at, angles, np.full(len(grid), height))
        metal = before.rays(origin, way, move, radius + REACH)
        _, short, maker = _measure(metal, np.full(len(grid), radius))
        by = before.pass_of_move(maker)
        short = np.where((by > 0) & (by < mine) & (short >= 0), short, np.inf)
        k = int(np.argmin(short))
        if short[k] < least - 1e-10:
            least, share, angle = float(short[k]), float(shares[k]), float(angles[k])
            x, y, z = origin[k] + way[k] * (radius + least)
            place = (float(x), float(y), float(z))
        elif not first:
            step, turn = step / 2, turn / 2
        first = False
    return least, place, (share, angle)


def corner_bites(before: Before, edge: Edge, places: Places, *, fine: bool = False) -> Floats:
    """Return how deep the tool's corner goes into metal square to its arc, at the sides, mm.

    It is the corner's radius plus how deep its centre lies in the metal, below 0 in air, in the
    plane across the path. Between the fillet of a bigger corner radius RR and a smaller one RF
    that is hypot of their centres' offset less RR - RF. 0 where it touches nothing, where it lies
    deeper than `BACK` (a full cut), and for a tool without a flat end, which has no corner.

    Parameters
    ----------
    before : Before
    edge : Edge
    places : Places
        None of a move along Z.
    fine : bool
        Look for the tilt of the deepest place to the last digit; else it comes from a parabola
        through tilts 7.5 degrees apart, and depths from 12 halvings.
    """
    center_r, center_z, radius = arc = edge.corner or (edge.radius, edge.widest_at, 0.0)
    found = np.zeros(len(places))
    if not len(places) or edge.flat == 0:
        return found
    two = np.broadcast_to([-math.pi / 2, math.pi / 2], (len(places), 2))
    over, *_ = around(before, places, np.full((len(places), 2), center_r), two)
    for back in (False, True):
        if not back and radius == 0:
            continue
        of, k = np.nonzero((over > center_z + NOTICED) == back)
        bite = _bites(before, places[of], np.where(k == 0, -1.0, 1.0), arc, back, fine)
        np.maximum.at(found, of, bite)
    return found


def _bites(
    before: Before, places: Places, side: Floats, arc: tuple[float, float, float], back: bool,
    fine: bool,
) -> Floats:  # fmt: skip
    """Return the bite at stations whose centre of the corner lies in air, or `back`: in metal."""
    n, many = len(places), len(TILTS)
    every = np.repeat(np.arange(n), many)
    depth = _depth(before, places[every], side[every], np.tile(TILTS, n), arc, back, fine)
    table = depth.reshape(n, many)
    if not fine:
        return _top_of(table, arc[2], back)
    best = TILTS[np.argmax(table, axis=1)].copy()
    most, step = table.max(axis=1), 0.5 * float(TILTS[1])
    while n and step > FINEST_TILT:
        trial = np.clip(best[:, None] + np.array([-step, step]), 0.0, math.pi / 2)
        two = np.repeat(np.arange(n), 2)
        depth = _depth(before, places[two], side[two], trial.ravel(), arc, back, fine).reshape(n, 2)
        k, rows = np.argmax(depth, axis=1), np.arange(n)
        better = depth[rows, k] > most
        best, most = np.where(better, trial[rows, k], best), np.maximum(most, depth[rows, k])
        step /= 2
    return _bite_of(most, arc[2], back)


def _depth(
    before: Before, places: Places, side: Floats, tilt: Floats, arc: tuple[float, float, float],
    back: bool, fine: bool,
) -> Floats:  # fmt: skip
    """Return minus the distance from the corner's centre to metal, or `back`: to air, mm.

    Towards metal rays tilt from level outwards to straight down; towards air the other way, from
    level inwards to straight up. -inf where it is further than the arc, or than `BACK`.
    """
    center_r, center_z, radius = arc
    sense, far = (-1.0, BACK) if back else (1.0, radius)
    c, s, quarter = np.cos(tilt), np.sin(tilt), side * (math.pi / 2)

    def inside(k: Ints, distance: Floats) -> Bools:
        reach = center_r + sense * distance * c[k]
        over, *_ = around(before, places[k], reach[:, None], quarter[k][:, None])
        metal: Bools = over[:, 0] > center_z - sense * distance * s[k] + NOTICED
        return metal

    ends = inside(np.arange(len(places)), np.full(len(places), far)) != back
    k = np.flatnonzero(ends)
    low, high = np.zeros(len(k)), np.full(len(k), far)
    for _ in range(FINE_HALVINGS if fine else DEPTH_HALVINGS):
        middle = 0.5 * (low + high)
        same = inside(k, middle) == back
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    depth = np.full(len(places), -np.inf)
    depth[k] = -0.5 * (low + high)
    return depth


def _bite_of(depth: Floats, radius: float, back: bool) -> Floats:
    bite = radius - depth if back else radius + depth
    return np.where(np.isfinite(bite) & (bite > NOTICED), bite, 0.0)


def _top_of(depth: Floats, radius: float, back: bool) -> Floats:
    """Return the bite from the largest of each row, of a parabola through it and its neighbours."""
    rows, k = np.arange(len(depth)), np.argmax(depth, axis=1)
    best = depth[rows, k]
    a = depth[rows, np.maximum(k - 1, 0)]
    b = depth[rows, np.minimum(k + 1, depth.shape[1] - 1)]
    inner = (k > 0) & (k < depth.shape[1] - 1) & np.isfinite(best + a + b)
    a, b, top = (np.where(inner, v, 0.0) for v in (a, b, best))
    bend = 2 * top - a - b
    inner &= bend > 1e-12
    more = np.where(inner, (a - b) ** 2 / (8 * np.where(inner, bend, 1.0)), 0.0)
    return _bite_of(best + more, radius, back)
