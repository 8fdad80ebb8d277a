"""Exact columns at any place: the same scalar functions as the tiles, one point at a time."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .grid import NOTHING, RAW
from .lists import Lattice
from .pack import Packed
from .stock import Stock

if TYPE_CHECKING:
    from .deep import DeepColumns

__all__ = ["Prober"]

SIDE = 96
"""Boxes along the longer side of the stock: lists short enough, few enough to build at once."""


class Prober:
    """Answers height, pass and flatness at single points of a job's surface.

    Parameters
    ----------
    packed : Packed
        Moves and tools, those that take part.
    stock : Stock
    deep : DeepColumns, optional
        Answers where metal stood above a cutting part; without it such metal hides what lies under.
    """

    def __init__(self, packed: Packed, stock: Stock, deep: DeepColumns | None = None) -> None:
        self.packed, self.stock, self.deep = packed, stock, deep
        width = max(stock.high[0] - stock.low[0], stock.high[1] - stock.low[1]) / SIDE
        self._width = max(width, 1e-6)
        self._nx, self._ny = (
            max(1, math.ceil((stock.high[k] - stock.low[k]) / self._width - 1e-9)) for k in (0, 1)
        )
        corner = (stock.low[0], stock.low[1])
        boxes = Lattice(packed, corner, self._width, self._width, self._nx, self._ny)
        self._offsets, self._ids = boxes.lists(0, self._ny, boxes.counts())

    def edges(self, axis: int) -> NDArray[np.float64]:
        """Return where one box ends and the next begins along x (0) or y (1), mm."""
        count = (self._nx, self._ny)[axis]
        return self.stock.low[axis] + np.arange(1.0, count) * self._width

    def boxes(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return the box in which each point lies; points outside take the nearest."""
        i = np.clip(np.floor((x - self.stock.low[0]) / self._width), 0, self._nx - 1)
        j = np.clip(np.floor((y - self.stock.low[1]) / self._width), 0, self._ny - 1)
        number: NDArray[np.int64] = (j * self._nx + i).astype(np.int64)
        return number

    def members(self, box: int) -> NDArray[np.int32]:
        """Return the moves that reach a box, in program order."""
        return self._ids[self._offsets[box] : self._offsets[box + 1]]

    def lists(
        self,
    ) -> tuple[
        NDArray[np.int64],
        NDArray[np.int32],
        tuple[float, float, float, float, float],
        tuple[int, int],
    ]:
        """Return the rows that reach each box: offsets, rows; and where the boxes are.

        The boxes: x and y of the first one's middle, half width, how many along x and along y.
        """
        h = self._width / 2
        where = (self.stock.low[0] + h, self.stock.low[1] + h, h, float(self._nx), float(self._ny))
        return self._offsets, self._ids, where, (self._ny, self._nx)

    def columns(
        self, x: NDArray[np.float64], y: NDArray[np.float64], before: int | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """Return height left and owner at points.

        Parameters
        ----------
        x, y : ndarray of float64, shape (n,)
            mm, part frame.
        before : int, optional
            Leave out rows of `packed` from this index on.

        Returns
        -------
        top : ndarray of float64, shape (n,)
            mm; NaN where nothing is.
        owner : ndarray of int32, shape (n,)
            Row of `packed`, `RAW` or `NOTHING`.
        """
        box = self.boxes(x, y)
        return self.columns_among(
            x, y, self._ids, self._offsets[box], self._offsets[box + 1], before
        )

    def columns_among(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        ids: NDArray[np.int32],
        starts: NDArray[np.int64],
        stops: NDArray[np.int64],
        before: int | None = None,
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """As `columns`, with the moves ids[starts[n]:stops[n]] for point n."""
        from .kernels.cutting import cut_points

        p = self.packed
        top, bottom = self.stock.at(x, y)
        none = np.isnan(top)
        top = np.where(none, -np.inf, top)
        owner = np.full(len(x), RAW, np.int32)
        limit = len(p.code) if before is None else before
        buried = np.zeros(len(x), np.bool_)
        cut_points(p.code, p.rows, ids, starts, stops, x, y, limit, top, owner, buried)
        gone = none | ~(top > bottom)
        top[gone] = np.nan
        owner[gone] = NOTHING
        if self.deep is not None and buried.any():
            rows = min(limit, int(p.members[-1]) + 1)
            top[buried], owner[buried] = self.deep.columns(x[buried], y[buried], rows)
        return top, owner

    def earliest(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        ids: NDArray[np.int32],
        starts: NDArray[np.int64],
        stops: NDArray[np.int64],
        top: NDArray[np.float64],
        owner: NDArray[np.int32],
        near: float,
    ) -> NDArray[np.int32]:
        """Return owners where a sheet within `near` (mm) of the surface counts as on it.

        Of such sheets the earliest move's is taken, so that a pass repeated on the same path,
        equal but for the last digit, does not show here and there.
        """
        from .kernels.cutting import earliest_within

        p, found = self.packed, owner.copy()
        raw, _ = self.stock.at(x, y)
        earliest_within(p.code, p.rows, ids, starts, stops, x, y, raw, top, near, found)
        return found

    def passes(self, owner: NDArray[np.int32]) -> NDArray[np.int32]:
        """Return the pass of each owner: 0 raw, -1 nothing."""
        table = np.append(self.packed.passes, [0, 0]).astype(np.int32)
        table[NOTHING], table[RAW] = -1, 0
        return table[owner]

    def flat(
        self, x: NDArray[np.float64], y: NDArray[np.float64], owner: NDArray[np.int32]
    ) -> NDArray[np.bool_]:
        """Return where the surface is a level floor."""
        from .kernels.cutting import flat_points

        p = self.packed
        found = np.zeros(len(x), np.bool_)
        flat_points(p.code, p.rows, x, y, owner, found)
        raw = owner == RAW
        if raw.any():
            found[raw] = self.stock.level_points(x[raw], y[raw])
        return found
