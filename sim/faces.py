"""Levels and the steps between them.

A level is all area of one height left by one pass. A step is measured level to level, as a height
gauge would: at most borders two passes meet without a jump and only the levels differ. Two levels
are neighbours when one can walk from one to the other over ground of their two passes alone: the
ground between (corner fillets, slopes) belongs to the nearest level of its own pass.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .grid import RAW, Grid, Tile
from .pack import Packed
from .prober import Prober

__all__ = ["SAME_LEVEL", "Level", "Step", "find_levels", "find_steps"]

SAME_LEVEL = 1e-6
"""Heights nearer than this are one level, mm."""
WALK_SAMPLES = 33
"""Exact columns on a walk across a border."""
TRIES = 12
"""Places along a border at which the walk is tried."""


@dataclasses.dataclass(frozen=True)
class Level:
    """All area of one height left by one pass.

    Attributes
    ----------
    z : float
        mm.
    pass_number : int
        0 is the raw stock.
    columns : int
    """

    z: float
    pass_number: int
    columns: int


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


def find_levels(tile: Tile, packed: Packed) -> tuple[tuple[Level, ...], NDArray[np.int32]]:
    """Return the levels, highest first, and the level of each column (-1 none, -2 nothing).

    Parameters
    ----------
    tile : Tile
        With `flat`.
    packed : Packed
    """
    if tile.flat is None:
        raise Fault("levels need a tile that knows where it is flat")
    flat = tile.flat & (tile.owner >= RAW)
    key = _level_keys(tile, packed, flat)
    number = np.full(tile.owner.shape, -1, np.int32)
    number[tile.pass_number < 0] = -2
    names, inverse, columns = np.unique(key, return_inverse=True, return_counts=True)
    passes, heights = _split_keys(tile, flat, inverse, len(names))
    order = sorted(range(len(names)), key=lambda n: (-heights[n], passes[n]))
    rank = np.empty(len(names), np.int32)
    rank[order] = np.arange(len(names))
    number[flat] = rank[inverse]
    levels = tuple(Level(float(heights[n]), int(passes[n]), int(columns[n])) for n in order)
    return levels, number


def _level_keys(tile: Tile, packed: Packed, flat: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return a number for each flat column, the same for one pass and one height."""
    z, p = tile.top[flat], tile.pass_number[flat]
    heights, where = np.unique(z, return_inverse=True)
    group = np.concatenate([[0], np.cumsum(np.diff(heights) > SAME_LEVEL)])[: len(heights)]
    keys: NDArray[np.int64] = group[where].astype(np.int64) * (int(p.max(initial=0)) + 1) + p
    return keys


def _split_keys(
    tile: Tile, flat: NDArray[np.bool_], inverse: NDArray[np.int64], count: int
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Return pass and (least) height of each group of columns."""
    z = np.full(count, np.inf)
    np.minimum.at(z, inverse, tile.top[flat])
    p = np.zeros(count, np.int32)
    p[inverse] = tile.pass_number[flat]
    return p, z


def find_steps(
    tile: Tile, levels: tuple[Level, ...], number: NDArray[np.int32], prober: Prober
) -> tuple[Step, ...]:
    """Return the steps between neighbouring levels, from the top down.

    Parameters
    ----------
    tile : Tile
    levels, number
        As returned by `find_levels`; `number` is overwritten.
    prober : Prober
        Exact columns of the same surface.
    """
    edges, shares = _borders(tile, number)
    if not len(edges):
        return ()
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, shares = edges[order], shares[order]
    pair_ends = np.flatnonzero(np.diff(edges[:, :2], axis=0).any(axis=1)) + 1
    steps = []
    for part in np.split(np.arange(len(edges)), pair_ends):
        upper, lower = levels[edges[part[0], 0]], levels[edges[part[0], 1]]
        if upper.z - lower.z <= SAME_LEVEL:
            continue
        at = _place(tile.grid, edges[part], shares[part], (upper, lower), prober)
        if at is not None:
            length = float(_lengths(tile.grid, edges[part], shares[part]).sum())
            steps.append(Step(upper, lower, at, length))
    return tuple(steps)


def _borders(
    tile: Tile, number: NDArray[np.int32]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the cell edges between levels; see `kernels.ground.borders`."""
    from .kernels.ground import borders, spread

    seeds = np.flatnonzero(number.ravel() >= 0)
    queue = np.empty(int((number >= -1).sum()), np.int64)
    queue[: len(seeds)] = seeds
    spread(number, tile.pass_number, queue, len(seeds))
    none = np.empty((0, 5), np.int64)
    count = borders(number, none, np.empty(0))
    edges, shares = np.empty((count, 5), np.int64), np.empty(count)
    borders(number, edges, shares)
    return edges, shares


def _lengths(
    grid: Grid, edges: NDArray[np.int64], shares: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the part of each edge that counts, mm: its share along the border."""
    return np.where(edges[:, 4] == 1, grid.pitch_x, grid.pitch_y) * shares


def _place(
    grid: Grid,
    edges: NDArray[np.int64],
    shares: NDArray[np.float64],
    pair: tuple[Level, Level],
    prober: Prober,
) -> tuple[float, float, float] | None:
    """Return a place on the longest border where one walks from level to level; None if none."""
    piece = _pieces(edges)
    weight = np.bincount(piece, weights=_lengths(grid, edges, shares))
    for k in np.argsort(-weight, kind="stable")[:TRIES]:
        part = edges[piece == k]
        for edge in part[_tries(part)]:
            at = _cross(grid, edge, {pair[0].pass_number, pair[1].pass_number}, prober)
            if at is not None:
                return at
    return None


def _pieces(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the number of the connected border to which each edge belongs."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    j, i, upward = edges[:, 2], edges[:, 3], edges[:, 4]
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
    middle = edges[:, 2:4].mean(axis=0)
    nearest = int(np.argmin(((edges[:, 2:4] - middle) ** 2).sum(axis=1)))
    spread = np.linspace(0, len(edges) - 1, min(TRIES, len(edges))).astype(np.int64)
    return np.concatenate([[nearest], spread])


def _cross(
    grid: Grid, edge: NDArray[np.int64], passes: set[int], prober: Prober
) -> tuple[float, float, float] | None:
    """Return where the pass changes on the way over a cell edge; None if a third pass shows."""
    _, _, j, i, upward = (int(v) for v in edge)
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
