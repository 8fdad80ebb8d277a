"""Which moves reach which box of a lattice in plan: a list a box, in program order."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .pack import Packed

__all__ = ["Lattice"]


class Lattice:
    """Boxes side by side in plan, and the moves that can reach each.

    Parameters
    ----------
    packed : Packed
        Moves and tools; only `packed.members` are listed.
    low : (x, y)
        Lower corner, mm.
    wide, high : float
        One box, mm.
    nx, ny : int
        Boxes along x and y; box (j, i) has the number j * nx + i.
    """

    def __init__(
        self, packed: Packed, low: tuple[float, float], wide: float, high: float, nx: int, ny: int
    ) -> None:
        self.packed, self.nx, self.ny = packed, nx, ny
        reach = math.hypot(wide, high) / 2
        self._box = (low[0], low[1], wide, high, float(nx), float(ny), reach)

    def counts(self) -> NDArray[np.int64]:
        """Return how many moves reach each box, int64, shape (ny * nx,)."""
        counts = np.zeros(self.nx * self.ny, np.int64)
        self._walk(0, self.ny, counts, np.empty(0, np.int32), False)
        return counts

    def lists(
        self, first: int, last: int, counts: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
        """Return offsets and moves of the boxes in rows first to last - 1.

        The moves of box n, counted from the first row, are moves[offsets[n]:offsets[n + 1]].
        `counts` is what `counts` returned.
        """
        part = counts[first * self.nx : last * self.nx]
        offsets = np.concatenate([[0], np.cumsum(part)])
        moves = np.empty(int(offsets[-1]), np.int32)
        self._walk(first, last, offsets[:-1].copy(), moves, True)
        return offsets, moves

    def _walk(
        self,
        first: int,
        last: int,
        places: NDArray[np.int64],
        moves: NDArray[np.int32],
        fill: bool,
    ) -> None:
        from .kernels.bins import count_or_fill

        p = self.packed
        count_or_fill(p.code, p.rows, p.members, self._box, first, last, places, moves, fill)
