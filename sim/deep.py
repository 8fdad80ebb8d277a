"""Columns on which metal stood above a cutting part: seen whole, by rays.

A column keeps one height, its top. Where a tool cut below standing metal, what it took is a hollow
under that top; should the metal above go later, the hollow's floor is the new top. Rays see both.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .grid import NOTHING, RAW
from .pack import Packed
from .stock import Stock

if TYPE_CHECKING:
    from .rays import Sweeps

__all__ = ["DeepColumns"]


class DeepColumns:
    """The top of single columns, whatever hollows lie under it.

    Parameters
    ----------
    sweeps : callable
        Gives the `Sweeps` of all moves of the job, when they are first wanted.
    packed : Packed
        Its rows, for the owners.
    stock : Stock
    """

    def __init__(self, sweeps: Callable[[], Sweeps], packed: Packed, stock: Stock) -> None:
        self.sweeps, self.packed, self.stock = sweeps, packed, stock

    def columns(
        self, x: NDArray[np.float64], y: NDArray[np.float64], rows: int
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """Return top and owner at points, with the first `rows` rows done.

        Parameters
        ----------
        x, y : ndarray of float64, shape (n,)
            mm.
        rows : int
            As `Prober.columns` takes it.

        Returns
        -------
        top : ndarray of float64, shape (n,)
            mm; NaN where nothing is.
        owner : ndarray of int32, shape (n,)
            Row, `RAW` or `NOTHING`.
        """
        from .rays import rays as cast

        moves, sweeps = self.packed.move, self.sweeps()
        count = sweeps.count if rows >= len(moves) else int(moves[rows])
        high = float(self.stock.high[2])
        origins = np.stack([x, y, np.full(len(x), high + 1.0)], axis=1)
        metal = cast(origins, (0.0, 0.0, -1.0), sweeps, self.stock, as_of=count)
        first = metal.first()
        some = first >= 0
        top = np.full(len(x), np.nan)
        owner = np.full(len(x), NOTHING, np.int32)
        top[some] = high + 1.0 - metal.enter[first[some]]
        owner[some] = self._rows(x[some], y[some], top[some], metal.enter_move[first[some]])
        return top, owner

    def _rows(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        top: NDArray[np.float64],
        move: NDArray[np.int32],
    ) -> NDArray[np.int32]:
        """Return the row of each move whose height at the point is nearest to the top."""
        from .kernels.cutting import heights_of

        found = np.full(len(x), RAW, np.int32)
        best = np.full(len(x), np.inf)
        first = np.searchsorted(self.packed.move, move)
        last = np.searchsorted(self.packed.move, move, side="right")
        for k in range(int((last - first).max(initial=0))):
            row = np.minimum(first + k, last - 1).astype(np.int64)
            height = np.empty(len(x))
            heights_of(self.packed.code, self.packed.rows, np.maximum(row, 0), x, y, height)
            off = np.where(move >= 0, np.abs(height - top), np.inf)
            nearer = off < best
            best[nearer], found[nearer] = off[nearer], row[nearer].astype(np.int32)
        return found
