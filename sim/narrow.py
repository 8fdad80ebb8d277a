"""What shows between columns: strips, islands and skims narrower than the pitch.

Where bounds let more than one label (a level, or ground of a pass) show, the lines through the
columns are asked on exact places, halved down to half the least width (`lines`): that gives every
piece between neighbouring columns, where it begins and ends, and its width squarely across. What
no line crosses is looked for by quartering squares, and measured on a window of its own
(`between`). Here are the questions that both ask, and the boxes with their lists of moves.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .grid import NOTHING, RAW, Grid
from .lists import Lattice
from .pack import Packed
from .prober import Prober
from .stock import Block, MeshStock, Round, Stock

__all__ = [
    "FINE",
    "GONE",
    "RAW_GROUND",
    "ROUGH",
    "SAME_LEVEL",
    "SIDE",
    "Field",
    "Net",
    "TooManyHollows",
    "same_level",
]

SAME_LEVEL = 1e-6
"""Heights nearer than this are one level, mm."""
SIDE = 8
"""Cells along the side of a box with a list of its own."""
GONE, RAW_GROUND = -2, -3
CHUNK = 4096
"""Questions that a thread takes at once."""
INSET = 1e-6
"""The stock's edge is asked this far inside, mm."""
HOLLOWS = 200_000
"""So many places with metal above a cutting part are seen by rays for one surface, and no more."""
FEW_HOLLOWS = 5_000
"""The same where there are helices."""
ROUGH, FINE = 1e-4, 1e-9
"""How near a change is found on a line; where another is near, how near then, mm."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class TooManyHollows(Exception):
    """Strips beside metal that stands above a cutting part would take too long to find."""


def same_level(z: Floats, passes: NDArray[Any]) -> Ints:
    """Return the number of the level of each (z, pass), from the highest down."""
    if not len(z):
        return np.zeros(0, np.int64)
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


@dataclasses.dataclass(frozen=True)
class Field:
    """All levels that could be left, and exact labels of places.

    Attributes
    ----------
    prober : Prober
        Moves, stock, and what answers places where metal stood above a cutting part.
    level : ndarray of int32, shape (rows of packed,)
        Number of the level that each row may leave; -1 none.
    raw_z : ndarray of float64
        Heights of the raw levels, ascending; their numbers follow `raw_level`.
    raw_level : ndarray of int64
    z, pass_number : ndarray
        Of each level, by its number, from the highest down.
    limit : float
        Deepest skim, mm.
    least : float
        Least width, mm.
    threads : int
    seen : list of int
        How many places were seen by rays until now.
    short : list of bool
        Whether a search was cut short: there was too much to look through.
    """

    prober: Prober
    level: NDArray[np.int32]
    raw_z: Floats
    raw_level: Ints
    z: Floats
    pass_number: Ints
    limit: float
    least: float
    threads: int
    seen: list[int] = dataclasses.field(default_factory=lambda: [0])
    short: list[bool] = dataclasses.field(default_factory=lambda: [False])

    @classmethod
    def of(
        cls, prober: Prober, raw_z: Floats, *, limit: float, least: float, threads: int | None
    ) -> Field:
        """Return the field of a job's surface; `raw_z`: raw levels that the columns found, mm."""
        packed, stock = prober.packed, prober.stock
        if not isinstance(stock, MeshStock):
            raw_z = np.array([stock.high[2]])
        flat = packed.members[packed.rows[packed.members, 10] > 0]
        z = np.concatenate([raw_z, packed.rows[flat, 2]])
        passes = np.concatenate([np.zeros(len(raw_z), np.int64), packed.passes[flat]])
        group = same_level(z, passes)
        level = np.full(len(packed.code), -1, np.int32)
        level[flat] = group[len(raw_z) :]
        first = np.unique(group, return_index=True)[1]
        lowest = np.full(len(first), np.inf)
        np.minimum.at(lowest, group, z)
        return cls(
            prober, level, raw_z, group[: len(raw_z)], lowest, passes[first], limit, least,
            threads or os.cpu_count() or 1,
        )  # fmt: skip

    @property
    def packed(self) -> Packed:
        """Moves and tools."""
        return self.prober.packed

    @property
    def stock(self) -> Stock:
        """The raw stock."""
        return self.prober.stock

    @property
    def _moves(self) -> tuple[Any, ...]:
        return self.packed.code, self.packed.rows, self.packed.passes, self.level

    @property
    def _stock(self) -> tuple[float, float, int, float]:
        plain = isinstance(self.stock, Block | Round)
        raw = int(self.raw_level[0]) if plain else -1
        return self.stock.high[2], self.stock.low[2], raw, self.limit

    def ask(
        self, x: Floats, y: Floats, lists: tuple[Any, ...], stage: int = 0,
        forms: Floats | None = None,
    ) -> tuple[NDArray[np.int32], NDArray[np.int32], Floats]:  # fmt: skip
        """Return label, owner (-1 raw) and height of places; lists: ids, starts, stops.

        forms, shape (n, 6), zeros: see `kernels.narrow.labels`.
        """
        from .kernels.narrow import labels

        raw, bottom = self.stock.at(x, y)
        off = np.isnan(raw)
        raw, bottom = np.where(off, -np.inf, raw), np.where(off, np.inf, bottom)
        raw_label = np.full(len(x), RAW_GROUND, np.int32)
        if len(self.raw_z):
            near = np.searchsorted(self.raw_z, raw - SAME_LEVEL).clip(0, len(self.raw_z) - 1)
            flat = (np.abs(self.raw_z[near] - raw) <= SAME_LEVEL) & self.stock.level_points(x, y)
            raw_label[flat] = self.raw_level[near[flat]]
        label, own = np.empty(len(x), np.int32), np.empty(len(x), np.int32)
        top, buried = np.empty(len(x)), np.zeros(len(x), np.bool_)
        x, y = np.ascontiguousarray(x), np.ascontiguousarray(y)
        form = np.zeros((0, 6)) if forms is None else forms
        ids, starts, stops = lists

        def part(k: slice) -> None:
            labels(
                self._moves, (ids, starts[k], stops[k]), x[k], y[k], raw[k], bottom[k],
                raw_label[k], self.limit, stage, label[k], own[k], top[k], buried[k],
                form[k],
            )  # fmt: skip

        self.share(part, len(x))
        if self.prober.deep is not None and stage == 0 and buried.any():
            self._see_whole(x, y, raw_label, np.flatnonzero(buried), (label, own, top))
        return label, own, top

    def _see_whole(
        self, x: Floats, y: Floats, raw_label: NDArray[np.int32], k: Ints, out: tuple[Any, ...]
    ) -> None:
        """Answer places where metal stood above a cutting part as the columns of a job do."""
        self.seen[0] += len(k)
        rows = self.packed.rows
        helix = bool(((rows[:, 7] > 0) & (rows[:, 6] > 0)).any())  # many chords for every ray
        if self.seen[0] > (FEW_HOLLOWS if helix else HOLLOWS):
            raise TooManyHollows
        top, own = self.prober.columns(x[k], y[k])
        flat = self.prober.flat(x[k], y[k], own)
        row = np.maximum(own, 0)
        found = np.where(flat, self.level[row], RAW_GROUND - self.packed.passes[row])
        found = np.where(own == RAW, raw_label[k], found)
        out[0][k] = np.where(own == NOTHING, GONE, found)
        out[1][k], out[2][k] = np.maximum(own, RAW), top

    def others(
        self, boxes: Floats, lists: tuple[Any, ...], known: tuple[Any, ...], *, stage: int = 0,
        levels_only: bool = False,
    ) -> NDArray[np.bool_]:  # fmt: skip
        """Return the boxes (x, y, half sizes) where a label that is not known may show."""
        from .kernels.narrow import others

        out, raws = np.zeros(len(boxes), np.bool_), self.stock.highest(boxes)
        ids, starts, stops = lists
        names, first, last = known

        def part(k: slice) -> None:
            others(
                self._moves, (ids, starts[k], stops[k]), boxes[k], raws[k], self._stock, stage,
                (names, first[k], last[k]), levels_only, self.least, out[k],
            )  # fmt: skip

        self.share(part, len(boxes))
        return out

    def may_hide(self, boxes: Floats, lists: tuple[Any, ...]) -> NDArray[np.bool_]:
        """Return the boxes in which, by bounds, metal may stand above a cutting part."""
        from .kernels.narrow import may_hide

        out = np.zeros(len(boxes), np.bool_)
        may_hide(self._moves, lists, boxes, self._stock, out)
        return out

    def sift(self, ids: Any, starts: Ints, stops: Ints, boxes: Floats) -> tuple[Ints, Ints]:
        """Leave in each box's list what can cut there; return where the lists end then.

        Also (box, pass, level) of all skims that bounds allow, int64, shape (n, 3).
        """
        from .kernels.narrow import sift

        ends = np.empty(len(starts), np.int64)
        pairs = np.empty((4 * len(boxes) + 64, 3), np.int64)
        count = sift(self._moves, ids, starts, stops, boxes, self._stock, ends, pairs)
        if count > len(pairs):
            pairs = np.empty((count, 3), np.int64)
            sift(self._moves, ids, starts, ends.copy(), boxes, self._stock, ends, pairs)
        return ends, pairs[:count]

    def share(self, work: Callable[[slice], None], count: int) -> None:
        """Do `work` on slices of all questions, in as many threads as are wanted."""
        parts = [slice(k, min(k + CHUNK, count)) for k in range(0, count, CHUNK)]
        if self.threads == 1 or len(parts) < 2:
            for k in parts:
                work(k)
            return
        with ThreadPoolExecutor(self.threads) as pool:
            list(pool.map(work, parts))


class Net:
    """The lines through the columns of a grid, boxes of cells between them, and lists of moves.

    Node (j, i) is column (j, i); nodes -1 and n stand on the stock's edges. Cell (J, I) lies
    between nodes I - 1 and I, J - 1 and J. Box b holds `SIDE` x `SIDE` cells.
    """

    def __init__(self, field: Field, grid: Grid) -> None:
        self.field, self.grid = field, grid
        self.nx, self.ny = -(-(grid.nx + 1) // SIDE), -(-(grid.ny + 1) // SIDE)
        wide, high = SIDE * grid.pitch_x, SIDE * grid.pitch_y
        self.low = (grid.x_low - 0.5 * grid.pitch_x, grid.y_low - 0.5 * grid.pitch_y)
        lattice = Lattice(field.packed, self.low, wide, high, self.nx, self.ny)
        counts = lattice.counts()
        offsets, self.ids = lattice.lists(0, self.ny, counts)
        i, j = np.arange(self.nx * self.ny) % self.nx, np.arange(self.nx * self.ny) // self.nx
        self.boxes = np.stack(
            [
                self.low[0] + (i + 0.5) * wide, self.low[1] + (j + 0.5) * high,
                np.full(len(i), 0.5 * wide), np.full(len(i), 0.5 * high),
            ],
            axis=1,
        )  # fmt: skip
        self.starts = offsets[:-1].copy()
        self.stops, self.skim_pairs = field.sift(
            self.ids, self.starts, offsets[1:].copy(), self.boxes
        )

    def lists(self, box: Ints) -> tuple[Any, ...]:
        """Return the lists of moves of boxes, as the kernels take them."""
        return self.ids, self.starts[box], self.stops[box]

    def box_of(self, x: Floats, y: Floats) -> Ints:
        """Return the boxes in which places lie; places outside take the nearest."""
        i = np.floor((x - self.low[0]) / (SIDE * self.grid.pitch_x)).clip(0, self.nx - 1)
        j = np.floor((y - self.low[1]) / (SIDE * self.grid.pitch_y)).clip(0, self.ny - 1)
        box: Ints = (j * self.nx + i).astype(np.int64)
        return box

    def node(self, i: Ints, axis: int) -> Floats:
        """Return the coordinate of nodes along x (0) or y (1), mm."""
        g = self.grid
        low, pitch, n = ((g.x_low, g.pitch_x, g.nx), (g.y_low, g.pitch_y, g.ny))[axis]
        inside = low + (i + 0.5) * pitch
        return np.clip(inside, low + INSET, low + n * pitch - INSET)

    def mixed(self, coarse: bool = False) -> tuple[Ints, Ints]:
        """Return the boxes in which more than one label may show, and the labels of the others.

        coarse: leave out the boxes in which metal may stand above a cutting part.
        """
        box = np.arange(len(self.boxes))
        if coarse:
            box = box[~self.field.may_hide(self.boxes, self.lists(box))]
        x = np.clip(self.boxes[box, 0], *(self.node(np.array([-1, self.grid.nx]), 0)))
        y = np.clip(self.boxes[box, 1], *(self.node(np.array([-1, self.grid.ny]), 1)))
        label, _, _ = self.field.ask(x, y, self.lists(box))
        first = np.arange(len(box))
        known = label.astype(np.int64), first, first + 1
        more = self.field.others(self.boxes[box], self.lists(box), known)
        return box[more], np.unique(label[~more])

    def cells(self, boxes: Ints, stage: int = 0) -> NDArray[np.bool_]:
        """Return the cells of boxes in which more than one label may show, or any skim.

        Shape (n, SIDE, SIDE); judged on squares of 4 x 4 and then 2 x 2 cells.
        """
        mask = np.ones((len(boxes), SIDE, SIDE), np.bool_)
        for size in (4, 2):
            n, j, i = np.nonzero(mask[:, ::size, ::size])
            box = boxes[n]
            square = self.boxes[box] * [1, 1, size / SIDE, size / SIDE]
            square[:, 0] += (2 * i + 1 - SIDE // size) * square[:, 2]
            square[:, 1] += (2 * j + 1 - SIDE // size) * square[:, 3]
            label = np.full(len(box), GONE, np.int64)
            if stage == 0:
                label[:] = self.field.ask(square[:, 0], square[:, 1], self.lists(box))[0]
            first = np.arange(len(box))
            known = label, first, first + 1
            more = self.field.others(square, self.lists(box), known, stage=stage)
            for dj in range(size):
                for di in range(size):
                    mask[n, j * size + dj, i * size + di] = more
        return mask

    def segments(
        self, axis: int, boxes: Ints, cells: NDArray[np.bool_]
    ) -> tuple[Ints, Ints, Ints, NDArray[np.bool_]]:
        """Return box, j and i of segments of cells along an axis, from node (j, i) to the next.

        i (or j) is -1 for the segment from the stock's edge. Also which of all `SIDE` x `SIDE`
        cells of each box have one.
        """
        inner = np.arange(SIDE)
        j = (boxes // self.nx)[:, None, None] * SIDE + inner[None, :, None]
        i = (boxes % self.nx)[:, None, None] * SIDE + inner[None, None, :]
        j, i, box = (a.ravel() for a in np.broadcast_arrays(j, i, boxes[:, None, None]))
        fits = (i < self.grid.nx + 1 - axis) & (j < self.grid.ny + axis) & cells.ravel()
        return box[fits], j[fits] - axis, i[fits] - (1 - axis), fits
