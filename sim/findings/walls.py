"""Walls beside the path of a pass: where the tool's side lies on metal, as of any moment."""

from __future__ import annotations

import dataclasses
import functools
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC

if TYPE_CHECKING:
    from ..contact.stations import Places
    from ..contact.tool import Edge
    from ..stock import Stock
    from ..tools import Tool
    from .case import Case

__all__ = ["FINISHED", "Beside", "Walls", "room_beside", "walls_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ON: Final = 1e-3
"""A wall this near the tool's side is one that the tool runs along, mm."""
FINISHED: Final = 0.1 * 0.0254
"""A wall this near where a pass left it is still its wall, mm."""
INSIDE: Final = 0.01
"""So far from its foot and its top a wall is looked at, mm."""
OUT: Final = 0.01
"""The top of a wall is looked at so far outside the tool, mm."""
FAR: Final = 30 * 0.0254
"""A wall further off the model than this is no part, mm."""
SHORT: Final = 0.5
"""Moves shorter than this are looked at in their middle alone, mm."""
INSET: Final = 0.15
"""First and last station of a move lie so far from its ends, mm."""
SLOPE: Final = 0.02
"""A face that leans by less than this, sine, is upright."""
SHAPES: Final = ("flat", "bull", "ball")
_WALLS: weakref.WeakKeyDictionary[Case, Walls] = weakref.WeakKeyDictionary()


def walls_of(case: Case) -> Walls:
    """Return the walls of a case, made once."""
    if case not in _WALLS:
        _WALLS[case] = Walls(case)
    return _WALLS[case]


@dataclasses.dataclass(frozen=True)
class Beside:
    """Metal beside the tool at places of its path; heights over the tip.

    Attributes
    ----------
    height : ndarray of float64, shape (n, 2, levels)
        Where rays were cast, on the left and on the right, mm; NaN: there is no wall.
    reach : ndarray of float64, shape (n, 2, levels)
        From the axis to the metal, mm; NaN: none within reach.
    upright : ndarray of bool, shape (n, 2, levels)
        The metal's face there is upright.
    """

    height: Floats
    reach: Floats
    upright: Bools


class Walls:
    """What stands beside the paths of a case's passes."""

    def __init__(self, case: Case) -> None:
        from ..contact.stations import lengths_of

        self.case, self.job = case, case.job
        self.before = case.before
        self.moves = self.before.moves
        self.lengths = lengths_of(self.before, np.arange(len(self.moves)))
        self._edges: dict[int, Edge] = {}

    def tool(self, move: int) -> Tool:
        """Return the tool of a move."""
        return self.job.tools[int(self.moves.tool[move])]

    def edge(self, tool: Tool) -> Edge:
        """Return the cutting part of a tool."""
        from ..contact.tool import Edge

        return self._edges.setdefault(tool.number, Edge(tool))

    def of_pass(self, number: int) -> Ints:
        """Return the moves of a pass, long arcs cut up."""
        return np.flatnonzero(self.moves.pass_number == number)

    def done(self, number: int) -> int:
        """Return how many moves are done after a pass."""
        return int(np.searchsorted(self.moves.pass_number, number, side="right"))

    @functools.cached_property
    def upright(self) -> Bools:
        """Moves along Z, or of no length in plan."""
        plan: Bools = np.hypot(*(self.moves.end - self.moves.start)[:, :2].T) <= 1e-9
        level: Bools = plan & ~((self.moves.kind == ARC) & (self.moves.turn != 0))
        return level

    def stations(self, moves: Ints) -> Places:
        """Return places along moves at feed: near both ends and about a radius apart."""
        from ..contact.stations import Places

        mine = moves[~self.moves.rapid[moves] & self.moves.sweeps()[moves] & ~self.upright[moves]]
        length = self.lengths[mine]
        radius = np.array([self.tool(int(m)).cutting_radius for m in mine])
        arc = self.moves.kind[mine] == ARC
        bend = np.where(arc, np.hypot(*(self.moves.end[mine, :2] - self.moves.center[mine]).T), 0.0)
        inset = np.minimum(np.maximum(INSET, np.sqrt(4 * ON * bend)), length / 4)
        count = np.where(length < SHORT, 1, np.maximum(3, np.ceil(length / radius) + 1))
        count = np.minimum(count, 200).astype(np.int64)
        of = np.repeat(np.arange(len(mine)), count)
        number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
        low = (inset / np.maximum(length, 1e-12))[of]
        many = np.maximum(count - 1, 1)[of]
        share = np.where(count[of] == 1, 0.5, low + (1 - 2 * low) * number / many)
        return Places.at(self.before, mine[of], share)

    def weights(self, places: Places) -> Floats:
        """Return the length of path that each of all stations of some moves stands for, mm.

        The first of a move stands for none, the second for its stretch too: where the path comes
        round a corner, the move before has just cut what is beside it.
        """
        of = places.move
        count = np.bincount(of, minlength=len(self.moves))[of]
        begins = np.flatnonzero(np.concatenate([[True], of[1:] != of[:-1]]))[: len(of)]
        number = np.arange(len(of)) - np.repeat(begins, count[begins])
        share = np.select(
            [count == 1, number == 0, number == 1, number == count - 1], [1.0, 0.0, 1.5, 0.5], 1.0
        )
        weight: Floats = self.lengths[of] * share / np.maximum(count - 1, 1)
        return weight

    def beside(
        self, places: Places, done: int, levels: int, height: Floats | None = None
    ) -> Beside:
        """Return the metal on both sides of one tool at places, when `done` moves were done.

        `height` says where rays are cast; else they are spread from the foot to the top of what
        stands there, within the part.
        """
        n = len(places)
        edge = self.edge(self.tool(int(places.move[0]))) if n else None
        if edge is None:
            none = np.zeros((0, 2, levels))
            return Beside(none, none, none.astype(bool))
        if height is None:
            height = self.heights(places, done, levels)
        reach, upright = np.full(height.shape, np.nan), np.zeros(height.shape, bool)
        asked = np.isfinite(height)
        if asked.any():
            k, side, _ = np.nonzero(asked)
            origin = places.tip[k].copy()
            origin[:, 2] += height[asked]
            way = self.way(places)[k, side]
            metal = self.before.rays(origin, way, done, edge.radius + FAR)
            first = metal.first()
            some = first >= 0
            found, level = np.full(len(first), np.nan), np.ones(len(first))
            found[some] = metal.enter[first[some]]
            level[some] = metal.enter_normal[first[some], 2]
            reach[asked], upright[asked] = found, np.abs(level) < SLOPE
        return Beside(height, reach, upright)

    def way(self, places: Places) -> Floats:
        """Return the level unit directions to the left and to the right, shape (n, 2, 3)."""
        wx, wy = places.way.T
        zero = np.zeros(len(places))
        return np.stack([np.stack([-wy, wx, zero], 1), np.stack([wy, -wx, zero], 1)], axis=1)

    def heights(
        self, places: Places, done: int, levels: int, behind: float | None = None
    ) -> Floats:
        """Return levels from foot to top of what stands beside one tool, within the part.

        Heights over the tip, shape (n, 2, levels), mm; NaN where it stands no higher than the foot.
        `behind`: of what stands so far, mm, behind the wall, over the tool's edges too.
        """
        n, edge = len(places), self.edge(self.tool(int(places.move[0])))
        at = places.tip[:, None, :] + self.way(places) * (edge.radius + (behind or OUT))
        x, y = np.ascontiguousarray(at[..., 0].ravel()), np.ascontiguousarray(at[..., 1].ravel())
        top, _ = self.before.columns(x, y, np.full(2 * n, done))
        tip = places.tip[:, 2:]
        high = np.minimum(top.reshape(n, 2), self.case.part_top) - tip
        high = (high if behind else np.minimum(high, edge.top)) - INSIDE
        low = np.maximum(edge.widest_at, self.case.part_bottom - tip) + INSIDE
        low = np.broadcast_to(low, (n, 2))
        some = high > low
        rise = np.where(some, high, np.nan) - low
        height: Floats = low[..., None] + np.linspace(0.0, 1.0, levels) * rise[..., None]
        return height

    def on(self, places: Places, beside: Beside, near: float = ON) -> Bools:
        """Return at which heights the tool's side lies on the wall, shape (n, 2, levels)."""
        if not len(places):
            return np.zeros(beside.reach.shape, bool)
        radius = self.tool(int(places.move[0])).cutting_radius
        with np.errstate(invalid="ignore"):
            on: Bools = np.abs(beside.reach - radius) < near
        return on

    # ------------------------------------------------------------------------------ part and eyes

    @functools.cached_property
    def model(self) -> Stock | None:
        """The part's model; None: there is none."""
        part = self.job.spec.part
        if part is None or part.model is None:
            return None
        from ..jobfile import StockSpec
        from ..stock import make_stock

        return make_stock(StockSpec("model", model=part.model), self.case.unit)

    def in_part(self, at: Floats) -> Bools:
        """Return which places, shape (..., 3), lie between the part's bottom and its top."""
        z = at[..., 2]
        inside: Bools = (z > self.case.part_bottom) & (z < self.case.part_top + INSIDE)
        return inside

    def is_part(self, at: Floats, way: Floats) -> Bools:
        """Return which places on walls, seen along level ways into the metal, are the part's."""
        if self.model is None or not len(at):
            return np.ones(len(at), bool)
        from ..stock_rays import stock_on_rays

        metal = stock_on_rays(self.model, np.hstack([at - FAR * way, way]))
        ray = np.repeat(np.arange(len(at)), np.diff(metal.offsets))
        near = np.abs(metal.enter - FAR) < FAR
        found = np.zeros(len(at), bool)
        found[ray[near]] = True
        return found

    @functools.cached_property
    def eyes(self) -> Floats:
        """Directions from the part to the eyes that the job names, shape (n, 3)."""
        ways = [s.direction for s in self.job.spec.show if s.direction is not None]
        return np.array(ways, np.float64).reshape(-1, 3)

    def seen(self, at: Floats, way: Floats) -> Bools:
        """Return which places on walls (ways into the metal) an eye sees past the finished part."""
        found = np.zeros(len(at), bool)
        for eye in self.eyes:
            facing = np.flatnonzero(~found & (-(way @ eye) > GRAZING))
            if not len(facing):
                continue
            found[facing] = ~self._blocked(at[facing] - HAIR * way[facing], eye)
        return found

    def _blocked(self, origin: Floats, eye: Floats) -> Bools:
        if self.model is not None:
            from ..stock_rays import stock_on_rays

            raw = stock_on_rays(self.model, np.hstack([origin, np.broadcast_to(eye, origin.shape)]))
            offsets, ends = raw.offsets, raw.leave
        else:
            metal = self.job.rays(origin, eye)
            offsets, ends = metal.offsets, metal.leave
        ray = np.repeat(np.arange(len(origin)), np.diff(offsets))
        blocked = np.zeros(len(origin), bool)
        blocked[ray[ends > AHEAD]] = True
        return blocked


def room_beside(walls: Walls, move: int, share: float, side: int) -> float:
    """Return how far the tool could go to one side, level, before it meets a wall, mm.

    At most its own radius; as the wall stands at the end of the job.
    """
    from ..contact.stations import Places

    place = Places.at(walls.before, np.array([move]), np.array([share]))
    radius = walls.tool(move).cutting_radius
    edge = walls.edge(walls.tool(move))
    origin = place.tip.copy()
    origin[:, 2] += edge.widest_at + INSIDE
    way = walls.way(place)[:, side]
    metal = walls.before.rays(origin, way, len(walls.moves), 2 * radius)
    first = metal.first()[0]
    return radius if first < 0 else max(0.0, float(metal.enter[first]) - radius)


HAIR: Final = 1e-3
"""Rays to the eye begin so far off the wall, mm."""
AHEAD: Final = 0.05
"""A model that is left behind so near is the wall itself, mm."""
GRAZING: Final = 0.05
"""Sine of the angle to a wall under which nobody sees a mark on it: 3 degrees."""
