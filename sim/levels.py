"""Levels: all area of one height left by one pass, as columns find it."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .grid import RAW, Tile
from .memory import Arrays, strips
from .narrow import same_level
from .pack import Packed

__all__ = ["Level", "find_levels"]


@dataclasses.dataclass(frozen=True)
class Level:
    """All area of one height left by one pass.

    Attributes
    ----------
    z : float
        mm.
    pass_number : int
        0 is the raw stock.
    columns : float
        Its area in cells of the grid: columns on it; for one that is nowhere wide measured along
        the lines through the columns, so not a whole number.
    """

    z: float
    pass_number: int
    columns: float


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
    group = same_level(z, passes)
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
