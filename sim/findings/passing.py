"""A pass on its way over floors and along walls: what lay under its end and beside its side.

Stations stand along its level moves. Columns under the flat end say which floors lie there, level
rays from the axis which walls stand beside, each as it was before that move and at the job's end.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC
from ..pieces import LABELS
from .base import THOU
from .walls import walls_of

if TYPE_CHECKING:
    from ..contact.stations import Places
    from ..contact.tool import Edge
    from .case import Case

__all__ = ["LIMIT", "WALL", "Hits", "Passing", "passings"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LIMIT: Final = 30 * THOU
"""Floors further from the tip than this are roughed, or have nothing to do with the pass, mm."""
WALL: Final = 20 * THOU
"""Metal beside the tool that stands this much over its tip is a wall."""
NEAR: Final = 50 * THOU
"""Walls further from the tool's side are not looked at, mm."""
ACROSS: Final = np.linspace(-0.98, 0.98, 17)
"""Places across the path under the flat end, as shares of its radius."""
OUT: Final = (0.01, 0.06)
"""The top of a wall is looked at so far outside the tool, mm."""
INSIDE: Final = 1e-3
"""Rays run so far above a wall's foot and below its top, mm."""
LEVELS: Final = 8
LEVEL: Final = 1e-6
"""Levels nearer than this are one, mm."""
SQUARE: Final = math.cos(math.radians(1.0))
"""Against a wall that rays meet less squarely the path does not run along."""
NOTICED: Final = 1e-6
"""A stretch of metal that ends so little past the side is no wall, mm."""
MOST: Final = 3000
"""Most moves of a pass at one height that are looked at."""
QUARTERS: Final = np.array([math.pi / 2, -math.pi / 2])
"""Left and right of the way of motion."""


@dataclasses.dataclass(frozen=True)
class Hits:
    """Metal met by level rays to the left and right of stations; arrays of shape (n, 2, levels).

    Attributes
    ----------
    height : ndarray of float64
        Over the tip, mm; NaN: no ray was cast.
    gap : ndarray of float64
        From the tool's side to the metal, mm; below 0 minus the bite; NaN: none near.
    move : ndarray of int64
        The move that left it; below 0 none did.
    by : ndarray of int32
        Its pass; 0 raw stock, -1 none.
    side, corner : ndarray of bool
        Left by the side of a tool along its way, and met squarely; left by the corner of one.
    """

    height: Floats
    gap: Floats
    move: Ints
    by: NDArray[np.int32]
    side: Bools
    corner: Bools


@dataclasses.dataclass(frozen=True)
class Passing:
    """Stations of a pass at one height.

    Attributes
    ----------
    case : Case
    number : int
        The pass.
    z : float
        Its tip, mm.
    places : Places
        Their moves are those of `Walls.moves`.
    weight : ndarray of float64, shape (n,)
        Length of path that each stands for, mm.
    """

    case: Case
    number: int
    z: float
    places: Places
    weight: Floats

    @property
    def edge(self) -> Edge:
        """The cutting part of its tool."""
        return walls_of(self.case).edge(self.case.tool_of(self.number))

    @functools.cached_property
    def moves(self) -> Ints:
        """The job's move of each station."""
        moves: Ints = walls_of(self.case).before.of[self.places.move]
        return moves

    def around(self, aside: Floats) -> tuple[Floats, Floats, Floats, NDArray[np.int32]]:
        """Return columns beside the axes, as they were before each move.

        Parameters
        ----------
        aside : ndarray of float64, shape (n, places)
            From the axis square to the path, to the left; below 0 to the right, mm.

        Returns
        -------
        over, x, y : ndarray of float64, shape (n, places)
            Height over the tip, mm (-inf: nothing is), and where.
        owner : ndarray of int32
            Row of the kernels' tables.
        """
        from ..contact.stations import around

        angle = np.where(aside > 0, *QUARTERS)
        return around(walls_of(self.case).before, self.places, np.abs(aside), angle)

    def at_end(self, x: Floats, y: Floats) -> tuple[Floats, NDArray[np.int32]]:
        """Return the height over the tip at the job's end, mm, and the pass that left it."""
        return self._columns(x, y, len(walls_of(self.case).moves))

    def before(self, number: int, x: Floats, y: Floats) -> tuple[Floats, NDArray[np.int32]]:
        """Return the height over the tip before a pass, mm, and the pass that left it."""
        return self._columns(x, y, walls_of(self.case).done(number - 1))

    def _columns(self, x: Floats, y: Floats, done: int) -> tuple[Floats, NDArray[np.int32]]:
        before = walls_of(self.case).before
        top, owner = before.columns(x.ravel(), y.ravel(), np.full(x.size, done))
        return top.reshape(x.shape) - self.z, before.pass_of_row(owner).reshape(x.shape)

    @functools.cached_property
    def _under(self) -> tuple[Floats, Floats, Floats, NDArray[np.int32]]:
        aside = ACROSS * self.edge.flat
        return self.around(np.broadcast_to(aside, (len(self.places), len(aside))))

    @property
    def over(self) -> Floats:
        """How high metal stood over the tip under the flat end, (n, places), mm; -inf: none."""
        return self._under[0]

    @property
    def owner(self) -> NDArray[np.int32]:
        """The row that left it."""
        return self._under[3]

    @functools.cached_property
    def by(self) -> NDArray[np.int32]:
        """The pass that left it; 0 raw stock, -1 none."""
        return walls_of(self.case).before.pass_of_row(self.owner)

    @functools.cached_property
    def floor(self) -> Bools:
        """Where it is a level floor of an earlier pass within `LIMIT` of the tip."""
        _, x, y, owner = self._under
        found = (self.by > 0) & (self.by < self.number) & (np.abs(self.over) < LIMIT)
        found[found] = walls_of(self.case).before.flat(x[found], y[found], owner[found])
        return found

    @functools.cached_property
    def after(self) -> Floats:
        """How high metal stands there over the tip at the job's end, mm; -inf: none."""
        _, x, y, _ = self._under
        return self.at_end(x, y)[0]

    def under(self, which: Bools) -> tuple[Floats, Floats]:
        """Return some of the places under the flat end, x and y, mm."""
        return self._under[1][which], self._under[2][which]

    @property
    def places_under(self) -> tuple[Floats, Floats]:
        """All places under the flat end, x and y of shape (n, places), mm."""
        return self._under[1], self._under[2]

    def under_at(self, k: int, j: int) -> tuple[float, float]:
        """Return one of the places under the flat end."""
        return float(self._under[1][k, j]), float(self._under[2][k, j])

    def made(self, row: int) -> int:
        """Return the job's move of a row of the kernels' tables."""
        before = walls_of(self.case).before
        return int(before.of[before.packed.move[row]])

    def some(self, which: NDArray[np.int64] | NDArray[np.bool_]) -> Passing:
        """Return some of the stations."""
        return Passing(self.case, self.number, self.z, self.places[which], self.weight[which])

    def heights(self) -> Floats:
        """Return heights over the tip to look at walls at, (n, 2, levels), NaN: no wall."""
        n, edge = len(self.places), self.edge
        out = edge.radius + np.array(OUT)
        over, *_ = self.around(np.broadcast_to(np.concatenate([out, -out]), (n, 2 * len(out))))
        over = over.reshape(n, 2, len(out))
        top = np.minimum(over.max(axis=2), self.case.part_top - self.z)
        high = np.minimum(top, edge.top) - INSIDE
        low = np.full((n, 2), max(edge.widest_at, self.case.part_bottom - self.z) + INSIDE)
        share = np.linspace(0.0, 1.0, LEVELS)
        wall = (top >= WALL) & (high > low)
        low, high = np.where(wall, low, np.nan), np.where(wall, high, np.nan)
        found: Floats = low[..., None] + share * (high - low)[..., None]
        return found

    def hits(self, height: Floats, *, end: bool = False, done: bool = False) -> Hits:
        """Return the metal beside the stations.

        Parameters
        ----------
        height : ndarray of float64, shape (n, 2, levels)
            Over the tip, mm; NaN: not asked.
        end, done : bool
            At the job's end; when the pass is done. Else before each station's move.
        """
        walls = walls_of(self.case)
        asked = np.isfinite(height)
        gap, move = np.full(height.shape, np.nan), np.full(height.shape, -2)
        label, place = np.full(height.shape, -1), np.zeros((*height.shape, 2))
        square = np.zeros(height.shape, bool)
        k, side, _ = np.nonzero(asked)
        if len(k):
            origin = self.places.tip[k].copy()
            origin[:, 2] += height[asked]
            way = walls.way(self.places)[k, side]
            radius = np.asarray(self.edge.reach_at(height[asked]), np.float64)
            count = len(walls.moves) if end else walls.done(self.number)
            when = np.full(len(k), count) if end or done else self.places.move[k]
            met = _cast(self.case, origin, way, radius, when)
            gap[asked], move[asked], label[asked], square[asked] = met
            reach = np.nan_to_num(radius + met[0])
            place[asked] = origin[:, :2] + reach[:, None] * way[:, :2]
        by = walls.before.pass_of_move(move.astype(np.int32))
        flank = (label == LABELS.index("side")) & (move >= 0) & square
        flank[flank] = _beside(self.case, move[flank], place[flank])
        corner = (label == LABELS.index("corner")) & (move >= 0)
        return Hits(height, gap, move, by, flank, corner)

    def walls(self) -> Hits:
        """Return the walls beside the stations: also just above the corners of what left them."""
        first = self.heights()
        seen = self.hits(first)
        moves = walls_of(self.case).moves
        feet = [first]
        for m in np.unique(seen.move[seen.move >= 0]).tolist():
            edge = walls_of(self.case).edge(walls_of(self.case).tool(m))
            foot = float(np.fmin(moves.start[m, 2], moves.end[m, 2])) + edge.widest_at - self.z
            at = np.full((*first.shape[:2], 1), max(foot, self.edge.widest_at) + INSIDE)
            at = np.where((at < first[..., :1]) | ~(at < first[..., -1:]), np.nan, at)
            feet.append(at)
        return self.hits(np.concatenate(feet, axis=2)) if len(feet) > 1 else seen

    def at(self, k: int, side: int, reach: float, height: float) -> tuple[float, float, float]:
        """Return the place beside a station, so far from its axis and over its tip, mm."""
        way = walls_of(self.case).way(self.places)[k, side]
        x, y, z = (self.places.tip[k] + reach * way).tolist()
        return x, y, z + height


def _cast(
    case: Case, origin: Floats, way: Floats, radius: Floats, done: Ints
) -> tuple[Floats, Ints, Ints, Bools]:
    """Return gap (below 0: minus the bite), move and label of the walls that rays meet, if square.

    A bigger tool leaves more in an inside corner: a wall that is not beside the path alone.
    """
    gap, move = np.full(len(done), np.nan), np.full(len(done), -2)
    label, square = np.full(len(done), -1), np.zeros(len(done), bool)
    order = np.argsort(done, kind="stable")
    far = float(radius.max()) + NEAR
    for group in np.split(order, np.flatnonzero(np.diff(done[order])) + 1):
        metal = walls_of(case).before.rays(origin[group], way[group], int(done[group[0]]), far)
        ray = np.repeat(np.arange(len(group)), np.diff(metal.offsets))
        past = np.flatnonzero(metal.leave > radius[group][ray] + NOTICED)[::-1]
        at = group[ray[past]]  # the first stretch that reaches past the side is written last
        gap[at] = metal.enter[past] - radius[at]
        move[at], label[at] = metal.enter_move[past], metal.enter_label[past]
        against = -(metal.enter_normal[past] * way[at]).sum(axis=1)
        square[at] = against > SQUARE
    return gap, move, label, square


def _beside(case: Case, move: Ints, place: Floats) -> Bools:
    """Return which places lie beside the way of a move, not round its beginning or its end."""
    moves = walls_of(case).moves
    start, end = moves.start[move, :2], moves.end[move, :2]
    along = end - start
    length = np.maximum((along * along).sum(axis=1), 1e-18)
    share = ((place - start) * along).sum(axis=1) / length
    slack = 1e-6 / np.sqrt(length)
    line = (share >= -slack) & (share <= 1 + slack)
    center = moves.center[move]
    turned = moves.turn[move]
    first = np.arctan2(*(start - center).T[::-1])
    angle = np.sign(turned) * (np.arctan2(*(place - center).T[::-1]) - first)
    arc = np.mod(angle + 1e-6, 2 * math.pi) <= np.abs(turned) + 2e-6
    beside: Bools = np.where(moves.kind[move] == ARC, arc, line)
    return beside


def passings(case: Case, low: float, high: float, *, scrap: bool = False) -> Iterator[Passing]:
    """Yield the passes at each height with an earlier level so far over (below 0: under) it.

    Parameters
    ----------
    case : Case
    low, high : float
        Heights of earlier levels over the tip that count, mm; the ends do not.
    scrap : bool
        Levels at and below the part's bottom too.
    """
    walls = walls_of(case)
    moves = walls.moves
    level = ~moves.rapid & moves.sweeps() & (moves.start[:, 2] == moves.end[:, 2])
    level &= ~walls.upright
    for number in case.passes:
        tool = case.tool_of(number)
        mine = np.flatnonzero(level & (moves.pass_number == number))
        if tool.shape not in ("flat", "bull") or not len(mine):
            continue
        earlier = np.unique(np.round(moves.end[level & (moves.pass_number < number), 2], 6))
        heights = np.round(moves.end[mine, 2], 6)
        for z in np.unique(heights).tolist():
            over = earlier - z
            part = scrap or z > case.part_bottom + LEVEL
            if part and z < case.part_top and ((over > low) & (over < high)).any():
                chosen = mine[heights == z]
                yield _passing(case, number, chosen[:: -(-len(chosen) // MOST)])


def _passing(case: Case, number: int, chosen: Ints) -> Passing:
    walls = walls_of(case)
    places = walls.stations(chosen)
    return Passing(case, number, float(places.tip[0, 2]), places, walls.weights(places))
