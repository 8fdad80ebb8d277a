"""The columns of a window, and what is left on them."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAST_WIDTH", "NOTHING", "RAW", "Grid", "Tile"]

LEAST_WIDTH = 0.1e-3 * 25.4
"""What is narrower everywhere is not listed, mm: 0.1 thou."""

RAW = -1
"""Owner of a column that no move has cut: the raw stock."""
NOTHING = -2
"""Owner of a column on which nothing is left, or that is off the stock."""


@dataclasses.dataclass(frozen=True)
class Grid:
    """Columns at the middles of the cells of a window, part frame, mm.

    Column (j, i) stands at x = x_low + (i + 0.5) * pitch_x, y = y_low + (j + 0.5) * pitch_y.
    Arrays over a grid have shape (ny, nx).
    """

    x_low: float
    y_low: float
    pitch_x: float
    pitch_y: float
    nx: int
    ny: int

    @classmethod
    def over(cls, low: tuple[float, float], high: tuple[float, float], pitch: float) -> Grid:
        """Return the grid that fills a window exactly, with cells no wider than `pitch`, mm."""
        nx, ny = (max(1, math.ceil((b - a) / pitch - 1e-9)) for a, b in zip(low, high, strict=True))
        return cls(low[0], low[1], (high[0] - low[0]) / nx, (high[1] - low[1]) / ny, nx, ny)

    @property
    def cell_area(self) -> float:
        """Area of one cell, mm^2."""
        return self.pitch_x * self.pitch_y

    @property
    def columns(self) -> int:
        """Number of columns."""
        return self.nx * self.ny

    def x(self) -> NDArray[np.float64]:
        """Return x of each column of a row, mm, shape (nx,)."""
        return self.x_low + (np.arange(self.nx, dtype=np.float64) + 0.5) * self.pitch_x

    def y(self) -> NDArray[np.float64]:
        """Return y of each row, mm, shape (ny,)."""
        return self.y_low + (np.arange(self.ny, dtype=np.float64) + 0.5) * self.pitch_y


@dataclasses.dataclass(frozen=True)
class Tile:
    """What is left on the columns of a window, seen along -Z.

    Attributes
    ----------
    grid : Grid
    top : ndarray of float64, shape (ny, nx)
        Height left, mm; NaN where nothing is.
    owner : ndarray of int32, shape (ny, nx)
        Index of the move that left it; `RAW`, `NOTHING`.
    pass_number : ndarray of int32, shape (ny, nx)
        Pass of that move; 0 raw stock, -1 nothing.
    slope : ndarray of float64, shape (ny, nx, 2), or None
        dz/dx and dz/dy of the surface from the geometry of its move (exact, not from
        neighbours); infinite slopes are cut off at 1e6; 0 where nothing is.
    flat : ndarray of bool, shape (ny, nx), or None
        Left by the flat bottom of a tool on a level, or raw and level.
    """

    grid: Grid
    top: NDArray[np.float64]
    owner: NDArray[np.int32]
    pass_number: NDArray[np.int32]
    slope: NDArray[np.float64] | None = None
    flat: NDArray[np.bool_] | None = None
