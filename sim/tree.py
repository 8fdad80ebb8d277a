"""A tree of boxes over many things in space, for rays and for nearest distances."""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAF", "Tree", "build_tree"]

LEAF = 4
"""Things in a leaf."""


@dataclasses.dataclass(frozen=True)
class Tree:
    """A complete binary tree: node i has children 2 i + 1 and 2 i + 2; the last half are leaves.

    Attributes
    ----------
    boxes : ndarray of float64, shape (2 * leaves - 1, 6)
        Low x, y, z and high x, y, z, mm; empty nodes have low = inf, high = -inf.
    first : ndarray of int32
        Smallest thing below each node.
    things : ndarray of int32
        Leaf j holds things[4 j:4 j + 4].
    own : ndarray of float64, shape (n, 6)
        The box of each of `things`.
    """

    boxes: NDArray[np.float64]
    first: NDArray[np.int32]
    things: NDArray[np.int32]
    own: NDArray[np.float64]


def build_tree(
    low: NDArray[np.float64], high: NDArray[np.float64], things: NDArray[np.int32]
) -> Tree:
    """Return a tree over boxes.

    Parameters
    ----------
    low, high : ndarray of float64, shape (n, 3)
        Corners, mm; a high corner may be infinite.
    things : ndarray of int32, shape (n,)
        Which thing each box belongs to; a thing may have several.
    """
    order = _space_order(low, high)
    low, high, things = low[order], high[order], things[order]
    leaves = 1
    while leaves * LEAF < len(things):
        leaves *= 2
    boxes = np.empty((2 * leaves - 1, 6))
    boxes[:, :3], boxes[:, 3:] = np.inf, -np.inf
    first = np.full(2 * leaves - 1, np.iinfo(np.int32).max, np.int32)
    if len(things):
        starts = np.arange(0, len(things), LEAF)
        at = slice(leaves - 1, leaves - 1 + len(starts))
        boxes[at, :3] = np.minimum.reduceat(low, starts, axis=0)
        boxes[at, 3:] = np.maximum.reduceat(high, starts, axis=0)
        first[at] = np.minimum.reduceat(things, starts)
    level = leaves
    while level > 1:
        level //= 2
        nodes, children = slice(level - 1, 2 * level - 1), slice(2 * level - 1, 4 * level - 1)
        boxes[nodes, :3] = boxes[children, :3].reshape(level, 2, 3).min(axis=1)
        boxes[nodes, 3:] = boxes[children, 3:].reshape(level, 2, 3).max(axis=1)
        first[nodes] = first[children].reshape(level, 2).min(axis=1)
    return Tree(boxes, first, np.ascontiguousarray(things, np.int32), np.hstack([low, high]))


def _space_order(low: NDArray[np.float64], high: NDArray[np.float64]) -> NDArray[np.int64]:
    """Order boxes along a curve that fills space, by their middles (Morton 1966)."""
    if not len(low):
        return np.empty(0, np.int64)
    endless = ~np.isfinite(high)
    middle = 0.5 * (low + np.where(endless, low, high))
    # count in typical boxes along each axis: thin ones are told apart before wide ones
    typical = np.where(endless.any(axis=0), np.inf, (high - low).mean(axis=0))
    middle = middle / np.maximum(typical, 1e-9)
    least = middle.min(axis=0)
    size = float(np.max(middle.max(axis=0) - least)) or 1.0
    cell = np.minimum((middle - least) / size * 2097151.0, 2097151.0).astype(np.uint64)
    code = _spread(cell[:, 0]) | _spread(cell[:, 1]) << np.uint64(1)
    code |= _spread(cell[:, 2]) << np.uint64(2)
    return np.argsort(code, kind="stable")


def _spread(v: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Put two zero bits between the 21 bits of each number."""
    for shift, mask in (
        (32, 0x1F00000000FFFF),
        (16, 0x1F0000FF0000FF),
        (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3),
        (2, 0x1249249249249249),
    ):
        v = (v | v << np.uint64(shift)) & np.uint64(mask)
    return v
