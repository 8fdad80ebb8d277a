"""The raw stock as the search for clearances takes it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .stock import MeshStock, Round, Stock

__all__ = ["outline", "raw_tops"]

Floats = NDArray[np.float64]


def outline(stock: Stock) -> tuple[Any, ...]:
    """Return the stock's outline as the search's kernels take it."""
    if isinstance(stock, MeshStock):
        window, stops, ids = stock.cells
        return 2, np.zeros(4), stock.vertices, stock.facets, window, stops, ids
    none = (
        np.zeros((0, 3)), np.zeros((0, 3), np.int64), np.zeros(4), np.zeros((1, 1), np.int64),
        np.zeros(0, np.int32),
    )  # fmt: skip
    if isinstance(stock, Round):
        return 1, np.array([*stock.center, stock.radius, stock.bore_radius]), *none
    return 0, np.zeros(4), *none


def raw_tops(stock: Stock, box: tuple[float, ...]) -> Floats:
    """Return a height that no raw stock in a box exceeds; -inf where there is none."""
    x0, y0, h, nx, ny = box
    x = x0 + 2 * h * np.arange(int(nx))
    y = y0 + 2 * h * np.arange(int(ny))
    top = np.full((len(y), len(x)), float(stock.high[2]))
    if isinstance(stock, Round):
        dx, dy = np.abs(x - stock.center[0]), np.abs(y - stock.center[1])
        near = np.hypot(np.maximum(dx - h, 0.0)[None, :], np.maximum(dy - h, 0.0)[:, None])
        far = np.hypot((dx + h)[None, :], (dy + h)[:, None])
        top[(near > stock.radius) | (far < stock.bore_radius)] = -np.inf
    elif isinstance(stock, MeshStock):
        top[:] = -np.inf
        corners = stock.vertices[stock.facets]
        for a, b in zip(corners.min(axis=1), corners.max(axis=1), strict=True):
            i = np.searchsorted(x, [a[0] - h, b[0] + h])
            j = np.searchsorted(y, [a[1] - h, b[1] + h])
            part = top[j[0] : j[1], i[0] : i[1]]
            np.maximum(part, b[2], out=part)
    return top.ravel()
