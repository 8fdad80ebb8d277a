"""The lines through the columns: every change of label on them, found on exact places."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .narrow import FINE, GONE, ROUGH, SIDE, Floats, Ints, Net
from .stock import MeshStock

__all__ = ["Lines", "node_labels", "walk"]

MOST_PIECES = 400_000
"""Pieces of lines looked through at once for changes; of more, none are halved again.

A quarter of that where the stock is a mesh, whose facets over each piece are asked.
"""


@dataclasses.dataclass(frozen=True)
class Lines:
    """Changes of label on the lines through the columns, along each line in order.

    Attributes
    ----------
    axis : ndarray of int64
        0 along x, 1 along y.
    j, i : ndarray of int64
        The node where the segment of each change begins.
    box : ndarray of int64
    label : ndarray of int64, shape (n, 2)
        Just before and just after.
    z : ndarray of float64, shape (n, 2)
        Heights there, mm.
    place : ndarray of float64, shape (n, 2)
        mm.
    square : ndarray of float64
        How squarely the line crosses the border: the part of the border's normal along it, 0 to 1.
    """

    axis: Ints
    j: Ints
    i: Ints
    box: Ints
    label: Ints
    z: Floats
    place: Floats
    square: Floats

    @classmethod
    def joined(cls, parts: list[Lines]) -> Lines:
        """Return several as one."""
        names = [f.name for f in dataclasses.fields(cls)]
        return cls(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))

    def __getitem__(self, k: Any) -> Lines:
        return Lines(*(getattr(self, f.name)[k] for f in dataclasses.fields(self)))

    @property
    def across(self) -> Ints:
        """Number of the line among those along its axis."""
        return np.where(self.axis == 0, self.j, self.i)

    @property
    def s(self) -> Floats:
        """Coordinate along the line, mm."""
        return np.where(self.axis == 0, self.place[:, 0], self.place[:, 1])


def node_labels(net: Net, boxes: Ints, stage: int = 0) -> Ints:
    """Return the labels of all nodes in and around boxes, shape (n, SIDE + 1, SIDE + 1)."""
    inner = np.arange(-1, SIDE)
    j = (boxes // net.nx)[:, None, None] * SIDE + inner[None, :, None]
    i = (boxes % net.nx)[:, None, None] * SIDE + inner[None, None, :]
    j, i, box = (a.ravel() for a in np.broadcast_arrays(j, i, boxes[:, None, None]))
    label, _, _ = net.field.ask(net.node(i, 0), net.node(j, 1), net.lists(box), stage)
    label[(i > net.grid.nx) | (j > net.grid.ny)] = GONE
    return label.astype(np.int64).reshape(len(boxes), SIDE + 1, SIDE + 1)


def walk(net: Net, boxes: Ints, nodes: Ints, stage: int = 0) -> Lines:
    """Return the changes of label on all segments of boxes; of pass `stage`'s skims if not 0.

    `nodes` is what `node_labels` returned.
    """
    cells = net.cells(boxes, stage)
    parts = [_walk_axis(net, axis, boxes, cells, nodes, stage) for axis in (0, 1)]
    found = Lines.joined(parts)
    return found[np.lexsort((found.s, found.across, found.axis))]


def _walk_axis(
    net: Net, axis: int, boxes: Ints, cells: NDArray[np.bool_], nodes: Ints, stage: int
) -> Lines:
    box, j, i, fits = net.segments(axis, boxes, cells)
    before = (nodes[:, 1:, :-1] if axis == 0 else nodes[:, :-1, 1:]).ravel()[fits]
    after = nodes[:, 1:, 1:].ravel()[fits]
    fixed = net.node(j if axis == 0 else i, 1 - axis)
    along = i if axis == 0 else j
    line = _Line(net, axis, box, fixed, stage)
    low, high = net.node(along, axis), net.node(along + 1, axis)
    n = np.arange(len(box))
    done: list[tuple[Any, ...]] = [(n[:0], low[:0], high[:0], before[:0], after[:0])]
    most = MOST_PIECES // (4 if isinstance(net.field.stock, MeshStock) else 1)
    while len(n):
        more = high - low > 0.5 * net.field.least
        if len(n) > most:
            net.field.short[0], more = True, np.zeros(len(n), np.bool_)
        more[more] = line.others(n[more], low[more], high[more], before[more], after[more])
        ends = ~more & (before != after)
        done.append((n[ends], low[ends], high[ends], before[ends], after[ends]))
        n, before, after, low, high = n[more], before[more], after[more], low[more], high[more]
        middle = 0.5 * (low + high)
        label = line.ask(n, middle)
        n = np.concatenate([n, n])
        low, high = np.concatenate([low, middle]), np.concatenate([middle, high])
        before, after = np.concatenate([before, label]), np.concatenate([label, after])
    n, low, high, before, after = (np.concatenate(part) for part in zip(*done, strict=True))
    low, high = line.polish(n, low, high, before, ROUGH)
    close = line.close(n, low)
    low[close], high[close] = line.polish(n[close], low[close], high[close], before[close], FINE)
    return line.changes(n, low, high, np.stack([before, after], axis=1), j, i)


@dataclasses.dataclass(frozen=True)
class _Line:
    """Places on segments along one axis."""

    net: Net
    axis: int
    box: Ints
    fixed: Floats
    stage: int

    def xy(self, n: Ints, s: Floats) -> tuple[Floats, Floats]:
        return (s, self.fixed[n]) if self.axis == 0 else (self.fixed[n], s)

    def ask(self, n: Ints, s: Floats) -> Ints:
        x, y = self.xy(n, s)
        label = self.net.field.ask(x, y, self.net.lists(self.box[n]), self.stage)[0]
        return label.astype(np.int64)

    def others(self, n: Ints, low: Floats, high: Floats, a: Ints, b: Ints) -> NDArray[np.bool_]:
        """Return the intervals in which another label than those of its ends may show."""
        boxes = np.zeros((len(n), 4))
        boxes[:, 0], boxes[:, 1] = self.xy(n, 0.5 * (low + high))
        boxes[:, 2 + self.axis] = 0.5 * (high - low)
        first = np.arange(len(n)) * 2
        known = np.stack([a, b], axis=1).ravel(), first, first + 2
        lists = self.net.lists(self.box[n])
        return self.net.field.others(boxes, lists, known, stage=self.stage)

    def polish(
        self, n: Ints, low: Floats, high: Floats, a: Ints, fine: float
    ) -> tuple[Floats, Floats]:
        """Halve each change between two places down to `fine`, mm."""
        low, high = low.copy(), high.copy()
        k = np.flatnonzero(high - low > fine)
        while len(k):  # each to the same depth of halves, wherever it began: same digits
            middle = 0.5 * (low[k] + high[k])
            same = self.ask(n[k], middle) == a[k]
            low[k], high[k] = np.where(same, middle, low[k]), np.where(same, high[k], middle)
            k = k[high[k] - low[k] > fine]
        return low, high

    def close(self, n: Ints, s: Floats) -> NDArray[np.bool_]:
        """Return the changes that lie beside another on a line, nearer than a few least widths."""
        order = np.lexsort((s, self.fixed[n]))
        near = np.diff(s[order]) < 8 * self.net.field.least
        near &= np.diff(self.fixed[n][order]) == 0
        found = np.zeros(len(n), np.bool_)
        found[order[:-1][near]] = found[order[1:][near]] = True
        return found

    def changes(self, n: Ints, low: Floats, high: Floats, label: Ints, j: Ints, i: Ints) -> Lines:
        """Return the changes with what lies on either side."""
        field, lists = self.net.field, self.net.lists(self.box[n])
        forms = np.zeros((2, len(n), 6))
        sides = [
            field.ask(*self.xy(n, s), lists, self.stage, form)
            for s, form in zip((low, high), forms, strict=True)
        ]
        own = np.stack([side[1] for side in sides])
        z = np.stack([side[2] for side in sides], axis=1)
        square = _square(own, z.T, forms, self.axis, high - low)
        x, y = self.xy(n, 0.5 * (low + high))
        return Lines(
            np.full(len(n), self.axis), j[n], i[n], self.box[n], label, z,
            np.stack([x, y], axis=1), square,
        )  # fmt: skip


def _square(own: NDArray[np.int32], z: Floats, forms: Floats, axis: int, apart: Floats) -> Floats:
    """Return the part along an axis of the unit normals in plan of borders; 1 where there is none.

    own, z, forms: owner, height and sheet (see `Field.ask`) on either side, shape (2, n) or
    (2, n, 6), `apart` from each other. A border with a jump is the rim of the lower side's tool;
    one without is where two sheets cross; with one owner on both sides something else begins there:
    its flat, or the floor that it skims.
    """
    slopes = forms[:, :, :2]
    steep = np.hypot(slopes[..., 0], slopes[..., 1]).sum(axis=0)
    one = own[0] == own[1]
    cross = (own >= 0).all(axis=0) & ~one & (np.abs(z[0] - z[1]) <= 2 * steep * apart + 1e-6)
    lower = (own[1] >= 0) & ((z[1] < z[0]) | (own[0] < 0))
    rim = np.where(lower[:, None], forms[1, :, 2:4], forms[0, :, 2:4])
    has = (forms[1, :, 4:] != 0).any(axis=1)
    floor = np.where(has[:, None], forms[1, :, 4:], forms[0, :, 4:])
    normal = np.where(cross[:, None], slopes[0] - slopes[1], rim)
    normal = np.where(one[:, None], floor, normal)
    size = np.hypot(normal[:, 0], normal[:, 1])
    level = cross & (size <= 1e-9)
    normal[level], size[level] = rim[level], np.hypot(rim[level, 0], rim[level, 1])
    square: Floats = np.where(
        size > 0, np.abs(normal[:, axis]) / np.where(size > 0, size, 1.0), 1.0
    )
    return square
