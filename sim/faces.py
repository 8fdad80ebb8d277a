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
from .memory import Arrays, strips
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


def find_levels(
    tile: Tile, packed: Packed, arrays: Arrays | None = None
) -> tuple[tuple[Level, ...], NDArray[np.int32]]:
    """Return the levels, highest first, and the level of each column (-1 none, -2 nothing).

    Parameters
    ----------
    tile : Tile
        With `flat`.
    packed : Packed
    arrays : Arrays, optional
        Where large arrays come from.
    """
    if tile.flat is None:
        raise Fault("levels need a tile that knows where it is flat")
    counts, raw_counts = _count_flat(tile, len(packed.code))
    moves = np.flatnonzero(counts)
    raw_z = np.array(sorted(raw_counts))
    z = np.concatenate([raw_z, packed.rows[moves, 2]])
    passes = np.concatenate([np.zeros(len(raw_z), np.int64), packed.passes[moves]])
    columns = np.concatenate([[raw_counts[v] for v in raw_z], counts[moves]]).astype(np.int64)
    group = _same_level(z, passes)
    levels = tuple(
        Level(
            float(z[group == g].min()), int(passes[group == g][0]), int(columns[group == g].sum())
        )
        for g in range(int(group.max(initial=-1)) + 1)
    )
    of_move = np.full(len(packed.code), -1, np.int32)
    of_move[moves] = group[len(raw_z) :]
    return levels, _number(tile, of_move, raw_z, group, arrays or Arrays(tile.grid.columns))


def _count_flat(tile: Tile, moves: int) -> tuple[NDArray[np.int64], dict[float, int]]:
    """Return flat columns by the move that left them, and raw ones by height."""
    counts = np.zeros(moves, np.int64)
    raw: dict[float, int] = {}
    for rows in strips(tile.grid.ny):
        assert tile.flat is not None
        flat, owner = tile.flat[rows], tile.owner[rows]
        counts += np.bincount(owner[flat & (owner >= 0)], minlength=moves)
        heights, columns = np.unique(tile.top[rows][flat & (owner == RAW)], return_counts=True)
        for height, count in zip(heights.tolist(), columns.tolist(), strict=True):
            raw[height] = raw.get(height, 0) + count
    return counts, raw


def _same_level(z: NDArray[np.float64], passes: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the number of the level of each (z, pass), from the highest down."""
    order = np.lexsort((-z, passes))
    apart = np.ones(len(z), bool)
    apart[1:] = (np.diff(passes[order]) != 0) | (-np.diff(z[order]) > SAME_LEVEL)
    first = np.flatnonzero(apart)
    ends = np.append(first[1:], len(z)) - 1
    rank = np.empty(len(first), np.int64)
    rank[np.lexsort((passes[order][first], -z[order][ends]))] = np.arange(len(first))
    group = np.empty(len(z), np.int64)
    group[order] = rank[np.cumsum(apart) - 1]
    return group


def _number(
    tile: Tile,
    of_move: NDArray[np.int32],
    raw_z: NDArray[np.float64],
    group: NDArray[np.int64],
    arrays: Arrays,
) -> NDArray[np.int32]:
    """Return the level of each column: -1 ground without one, -2 nothing."""
    number = arrays.make(tile.owner.shape, np.int32)
    for rows in strips(tile.grid.ny):
        assert tile.flat is not None
        flat, owner, top = tile.flat[rows], tile.owner[rows], tile.top[rows]
        part = np.where(tile.pass_number[rows] < 0, -2, -1).astype(np.int32)
        cut, raw = flat & (owner >= 0), flat & (owner == RAW)
        part[cut] = of_move[owner[cut]]
        part[raw] = group[np.searchsorted(raw_z, top[raw])]
        number[rows] = part
    return number


def find_steps(
    tile: Tile,
    levels: tuple[Level, ...],
    number: NDArray[np.int32],
    prober: Prober,
    arrays: Arrays | None = None,
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
    """
    edges, shares = _borders(tile, number, arrays or Arrays(tile.grid.columns))
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
    tile: Tile, number: NDArray[np.int32], arrays: Arrays
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the cell edges between levels; see `kernels.ground.borders`."""
    from .kernels.ground import borders, seeds, spread

    bare, rim = seeds(number, tile.pass_number, np.empty(0, np.int64))
    queue = arrays.make((bare + rim,), np.int64)
    seeds(number, tile.pass_number, queue)
    spread(number, tile.pass_number, queue, rim)
    count = borders(number, np.empty((0, 5), np.int64), np.empty(0))
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
