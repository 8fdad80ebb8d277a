"""Steps between neighbouring levels.

A step is measured level to level, as a height gauge would: at most borders two passes meet without
a jump and only the levels differ. Two levels are neighbours when one can walk from one to the other
over ground of their two passes alone: the ground between (corner fillets, slopes) belongs to the
nearest level of its own pass. Where lines through the columns cross a border it is known exactly.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .between import Island, Pieces
from .grid import Grid, Tile
from .levels import Level
from .memory import Arrays
from .narrow import RAW_GROUND, ROUGH, SAME_LEVEL, Field
from .prober import Prober

__all__ = ["Between", "Step", "find_steps"]

WALK_SAMPLES = 33
"""Exact columns on a walk across a border."""
TRIES = 12
"""Places along a border at which the walk is tried."""


@dataclasses.dataclass(frozen=True)
class Step:
    """The difference of two neighbouring levels.

    Attributes
    ----------
    upper, lower : Level
    at : tuple of float
        A place on its longest border, on the surface, mm.
    length : float
        Of all borders together, mm.
    """

    upper: Level
    lower: Level
    at: tuple[float, float, float]
    length: float

    @property
    def height(self) -> float:
        """Upper less lower, mm."""
        return self.upper.z - self.lower.z


@dataclasses.dataclass(frozen=True)
class Between:
    """Pieces of lines and islands of the surface."""

    field: Field
    pieces: Pieces
    islands: list[Island]


def find_steps(
    tile: Tile,
    levels: tuple[Level, ...],
    number: NDArray[np.int32],
    prober: Prober,
    arrays: Arrays | None = None,
    between: tuple[Between, NDArray[np.int64]] | None = None,
) -> tuple[Step, ...]:
    """Return the steps between neighbouring levels, from the top down.

    Parameters
    ----------
    tile : Tile
    levels, number
        As returned by `find_levels`; `number` is overwritten.
    prober : Prober
        Exact columns of the same surface.
    arrays : Arrays, optional
        Where large arrays come from.
    between : optional
        What lies between the columns, and the level of each of its labels.
    """
    if between is not None:
        _sow(tile, number, between[0], between[1])
    edges = _borders(tile, number, arrays or Arrays(tile.grid.columns))
    if between is not None:
        edges = _exact(tile, number, edges, between[0], between[1])
    steps: dict[tuple[int, int], Step] = {}
    order = np.lexsort((edges.pair[:, 1], edges.pair[:, 0]))
    edges = edges[order]
    ends = np.flatnonzero(np.diff(edges.pair, axis=0).any(axis=1)) + 1
    for part in np.split(np.arange(len(order)), ends) if len(order) else ():
        pair = tuple(edges.pair[part[0]].tolist())
        upper, lower = levels[pair[0]], levels[pair[1]]
        if upper.z - lower.z <= SAME_LEVEL:
            continue
        at = _place(tile.grid, edges[part], (upper, lower), prober)
        if at is not None:
            steps[pair] = Step(upper, lower, at, float(edges.length[part].sum()))
    if between is not None:
        _add_islands(steps, levels, between[0].islands, between[1])
    return tuple(steps[pair] for pair in sorted(steps))


@dataclasses.dataclass(frozen=True)
class _Edges:
    """Borders between levels, piece by piece.

    pair: upper and lower level. cell: j, i, upward as `kernels.ground.borders` has it. length: mm.
    at: x, y, z where the border is exactly, NaN where that is not known.
    """

    pair: NDArray[np.int64]
    cell: NDArray[np.int64]
    length: NDArray[np.float64]
    at: NDArray[np.float64]

    def __getitem__(self, k: Any) -> _Edges:
        return _Edges(self.pair[k], self.cell[k], self.length[k], self.at[k])


def _sow(tile: Tile, number: NDArray[np.int32], between: Between, rank: NDArray[np.int64]) -> None:
    """Give a column beside a narrow level of its own pass, with no level of its own, to that."""
    changes, field = between.pieces.changes, between.field
    for side in (0, 1):
        here, there = changes.label[:, side], changes.label[:, 1 - side]
        level = there >= 0
        beside = level & (RAW_GROUND - field.pass_number[np.where(level, there, 0)] == here)
        beside &= ~between.pieces.inner[:, side]
        j = changes.j + side * (changes.axis == 1)
        i = changes.i + side * (changes.axis == 0)
        beside &= (j >= 0) & (i >= 0) & (j < number.shape[0]) & (i < number.shape[1])
        j, i, to = j[beside], i[beside], rank[there[beside]]
        bare = (number[j, i] == -1) & (tile.pass_number[j, i] == field.pass_number[there[beside]])
        number[j[bare], i[bare]] = to[bare]


def _exact(
    tile: Tile,
    number: NDArray[np.int32],
    edges: _Edges,
    between: Between,
    rank: NDArray[np.int64],
) -> _Edges:
    """Return the borders with those that lines cross taken from there."""
    changes, grid = between.pieces.changes, tile.grid
    sides = np.stack([_ground(tile, number, between, rank, side) for side in (0, 1)], axis=1)
    cell = np.stack([changes.j, changes.i, changes.axis], axis=1)
    wide = np.int64(grid.nx + 2)
    keys = [((c[:, 0] + 1) * wide + c[:, 1] + 1) * 2 + c[:, 2] for c in (cell, edges.cell)]
    old = edges[~np.isin(keys[1], keys[0])]
    real = (sides >= 0).all(axis=1) & (sides[:, 0] != sides[:, 1])
    spacing = np.where(changes.axis == 0, grid.pitch_y, grid.pitch_x)
    at = np.column_stack([changes.place, np.fmin(changes.z[:, 0], changes.z[:, 1])])
    return _Edges(
        np.concatenate([old.pair, np.sort(sides[real], axis=1)]),
        np.concatenate([old.cell, cell[real]]),
        np.concatenate([old.length, (spacing * changes.square)[real]]),
        np.concatenate([old.at, at[real]]),
    )


def _ground(
    tile: Tile,
    number: NDArray[np.int32],
    between: Between,
    rank: NDArray[np.int64],
    side: int,
) -> NDArray[np.int64]:
    """Return the level to which the ground on one side of each change belongs, -1 none."""
    pieces, changes = between.pieces, between.pieces.changes
    here = changes.label[:, side]
    found = np.where(here >= 0, rank[np.maximum(here, 0)], -1)
    ground = (here <= RAW_GROUND) & ~pieces.inner[:, side]
    j = changes.j + side * (changes.axis == 1)
    i = changes.i + side * (changes.axis == 0)
    ground &= (j >= 0) & (i >= 0) & (j < number.shape[0]) & (i < number.shape[1])
    j, i = j[ground], i[ground]
    same = tile.pass_number[j, i] == RAW_GROUND - here[ground]
    found[ground] = np.where(same, np.maximum(number[j, i], -1), -1)
    # Inside a segment: ground of the pass whose level is on its other side belongs to that.
    inner = np.flatnonzero((here <= RAW_GROUND) & pieces.inner[:, side])
    other = inner + (1 if side else -1)
    beyond = changes.label[other, side]
    level = np.maximum(beyond, 0)
    own = (beyond >= 0) & (between.field.pass_number[level] == RAW_GROUND - here[inner])
    found[inner] = np.where(own, rank[level], -1)
    # or, where that is none, to the level of its pass on this side.
    near = changes.label[inner, 1 - side]
    level = np.maximum(near, 0)
    own = (near >= 0) & (between.field.pass_number[level] == RAW_GROUND - here[inner])
    found[inner] = np.where(own & (found[inner] < 0), rank[level], found[inner])
    return found


def _add_islands(
    steps: dict[tuple[int, int], Step],
    levels: tuple[Level, ...],
    islands: list[Island],
    rank: NDArray[np.int64],
) -> None:
    """Add the borders of islands between the lines."""
    for island in islands:
        for other, length, at in island.borders:
            a, b = int(rank[island.label]), int(rank[other])
            pair = (min(a, b), max(a, b))
            if pair[0] < 0 or levels[pair[0]].z - levels[pair[1]].z <= SAME_LEVEL:
                continue
            old = steps.get(pair)
            if old is None:
                steps[pair] = Step(levels[pair[0]], levels[pair[1]], at, length)
            else:
                steps[pair] = dataclasses.replace(old, length=old.length + length)


def _borders(tile: Tile, number: NDArray[np.int32], arrays: Arrays) -> _Edges:
    """Return the cell edges between levels; see `kernels.ground.borders`."""
    from .kernels.ground import borders, seeds, spread

    bare, rim = seeds(number, tile.pass_number, np.empty(0, np.int64))
    queue = arrays.make((bare + rim,), np.int64)
    seeds(number, tile.pass_number, queue)
    spread(number, tile.pass_number, queue, rim)
    count = borders(number, np.empty((0, 5), np.int64), np.empty(0))
    edges, shares = np.empty((count, 5), np.int64), np.empty(count)
    borders(number, edges, shares)
    along = np.where(edges[:, 4] == 1, tile.grid.pitch_x, tile.grid.pitch_y)
    return _Edges(edges[:, :2], edges[:, 2:], along * shares, np.full((count, 3), np.nan))


def _place(
    grid: Grid, edges: _Edges, pair: tuple[Level, Level], prober: Prober
) -> tuple[float, float, float] | None:
    """Return a place on the longest border where one walks from level to level; None if none."""
    piece = _pieces(edges.cell)
    weight = np.bincount(piece, weights=edges.length)
    for k in np.argsort(-weight, kind="stable")[:TRIES]:
        part = edges[piece == k]
        for n in _tries(part.cell):
            if not np.isnan(part.at[n, 0]):
                return _settle(part.at[n], int(part.cell[n, 2]), prober)
            at = _cross(grid, part.cell[n], {pair[0].pass_number, pair[1].pass_number}, prober)
            if at is not None:
                return at
    return None


def _settle(at: NDArray[np.float64], axis: int, prober: Prober) -> tuple[float, float, float]:
    """Return a place of a border, found on a line to `narrow.ROUGH`, to the last digit."""
    along = np.eye(2)[axis]

    def ask(s: list[float]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        place = at[:2] + np.outer(s, along)
        return prober.columns(place[:, 0].copy(), place[:, 1].copy())

    low, high = -ROUGH, ROUGH
    _, who = ask([low, high])
    if who[0] == who[1]:
        return float(at[0]), float(at[1]), float(at[2])
    for _ in range(50):
        middle = 0.5 * (low + high)
        same = ask([middle])[1][0] == who[0]
        low, high = (middle, high) if same else (low, middle)
    top, _ = ask([low, high])
    x, y = at[:2] + low * along
    return float(x), float(y), float(np.fmin(top[0], top[1]))


def _pieces(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the number of the connected border to which each edge belongs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    j, i, upward = edges.T
    width = int(i.max()) + 3
    ends = np.stack([(j + upward) * width + i + 1 - upward, (j + 1) * width + i + 1])
    corners, nodes = np.unique(ends, return_inverse=True)
    nodes = nodes.reshape(2, -1)
    links = coo_array((np.ones(len(j), bool), (nodes[0], nodes[1])), shape=(len(corners),) * 2)
    _, label = connected_components(links, directed=False)
    numbers: NDArray[np.int64] = np.unique(label[nodes[0]], return_inverse=True)[1]
    return numbers


def _tries(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return a few edges spread along a border, the one nearest its middle first."""
    middle = edges[:, :2].mean(axis=0)
    nearest = int(np.argmin(((edges[:, :2] - middle) ** 2).sum(axis=1)))
    spread = np.linspace(0, len(edges) - 1, min(TRIES, len(edges))).astype(np.int64)
    return np.concatenate([[nearest], spread])


def _cross(
    grid: Grid, edge: NDArray[np.int64], passes: set[int], prober: Prober
) -> tuple[float, float, float] | None:
    """Return where the pass changes on the way over a cell edge; None if a third pass shows."""
    j, i, upward = (int(v) for v in edge)
    x0, y0 = grid.x_low + (i + 0.5) * grid.pitch_x, grid.y_low + (j + 0.5) * grid.pitch_y
    dx, dy = (0.0, grid.pitch_y) if upward else (grid.pitch_x, 0.0)

    def ask(s: Any) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        top, owner = prober.columns(x0 + s * dx, y0 + s * dy)
        return top, prober.passes(owner)

    s = np.linspace(0.0, 1.0, WALK_SAMPLES)
    top, found = ask(s)
    if not set(found.tolist()) <= passes:
        return None
    change = np.flatnonzero(np.diff(found))
    if not len(change):  # both levels of one pass: the steepest place
        change = np.argsort(-np.abs(np.diff(top)), kind="stable")[:1]
    low, high = float(s[change[0]]), float(s[change[0] + 1])
    left, top_left = found[change[0]], float(top[change[0]])
    for _ in range(60):
        middle = 0.5 * (low + high)
        z, p = ask(np.array([middle]))
        same = p[0] == left if found[change[0] + 1] != left else z[0] == top_left
        low, high = (middle, high) if same else (low, middle)
    z, _ = ask(np.array([low, high]))
    return x0 + low * dx, y0 + low * dy, float(z.min())
