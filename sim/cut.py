"""Cut the columns of a window: the planner of tiles.

A tile is a pure function of its window, its pitch, the stock and the moves: no result depends on
the number of threads, on the size of tiles or on how the work is split into strips.
"""

from __future__ import annotations

import dataclasses
import math
import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .grid import NOTHING, RAW, Grid, Tile
from .lists import Lattice
from .memory import Arrays, strips
from .pack import Packed
from .stock import Stock

if TYPE_CHECKING:
    from .deep import DeepColumns

__all__ = ["Cut", "Skim", "cut", "exact_sum", "skims_of", "surface_of"]

TILE = 64
CHUNK = 8
"""Tiles that a thread takes at once."""
STRIP_ENTRIES = 1 << 26
"""Most entries of the tile lists held at once; more are worked in strips of tile rows."""

Progress = Callable[[float], None]


@dataclasses.dataclass(frozen=True)
class Skim:
    """A floor of one pass that a later pass skimmed, as found on the columns.

    Attributes
    ----------
    by_pass, into_pass : int
    z : float
        The floor's height before, mm.
    columns : float
        Area, in cells of the grid: columns skimmed; for one narrower than the pitch measured
        between them, so not a whole number.
    depth : float
        Greatest depth on a column, mm.
    ix, iy : float
        That column; a place between columns where it is no whole number.
    move : int
        The row that left it.
    limit : float
        Deepest tip under a floor that counts, mm.
    """

    by_pass: int
    into_pass: int
    z: float
    columns: float
    depth: float
    ix: float
    iy: float
    move: int
    limit: float = math.inf


@dataclasses.dataclass(frozen=True)
class Cut:
    """The outcome of `cut`.

    Attributes
    ----------
    tile : Tile
    removed : dict of int to float
        Volume that each pass took, mm^3; empty unless asked for.
    stock_volume, left_volume : float
        Sums over columns, mm^3.
    skims : tuple of Skim
        Empty unless asked for.
    buried : dict of int to int
        Columns a pass, on which metal stands above the cutting part; only with `removed`.
    tests, left_out : int
        Column-move tests done, and those that bounds made needless.
    arrays : Arrays
        Owner of the tile's memory.
    """

    tile: Tile
    removed: dict[int, float]
    stock_volume: float
    left_volume: float
    skims: tuple[Skim, ...]
    buried: dict[int, int]
    tests: int
    left_out: int
    arrays: Arrays


def cut(
    grid: Grid,
    packed: Packed,
    stock: Stock,
    *,
    by_pass: bool = False,
    skim_limit: float = math.inf,
    threads: int | None = None,
    progress: Progress | None = None,
    arrays: Arrays | None = None,
    deep: DeepColumns | None = None,
) -> Cut:
    """Return what the moves leave on the columns of a window.

    Parameters
    ----------
    grid : Grid
        The window, mm.
    packed : Packed
        Moves and tools; only `packed.members` take part.
    stock : Stock
    by_pass : bool
        Also account for each pass: metal removed, floors skimmed.
    skim_limit : float
        A cut whose tip goes deeper under a floor than this is none of the skims, mm.
    threads : int, optional
        All cores unless given.
    progress : callable, optional
        Called from this thread with the share done, 0 to 1.
    arrays : Arrays, optional
        Where large arrays come from.
    deep : DeepColumns, optional
        Answers columns on which metal stood above a cutting part.
    """
    arrays = arrays or Arrays(grid.columns)
    raw, bottom, step = _raw_stock(grid, stock, arrays)
    floor, scale = _measure(stock)
    job = _Job(grid, packed, raw, bottom, step, by_pass, (floor, scale, skim_limit), arrays)
    job.work(threads or os.cpu_count() or 1, progress or (lambda _: None))
    if deep is not None and job.mask.any():
        _see_hollows(job, deep, stock)
    left = _finish(job)
    unit = grid.cell_area / scale
    stock_units = _stock_units(job, floor, scale)
    return Cut(
        tile=Tile(grid, job.top, job.owner, _pass_numbers(job.owner, packed.passes, arrays)),
        removed={p: v * unit for p, v in enumerate(job.removed_units()) if by_pass and p},
        stock_volume=stock_units * unit,
        left_volume=left * unit,
        skims=skims_of(job.found, job.sizes, skim_limit) if by_pass else (),
        buried={p: int(n) for p, n in enumerate(job.deep) if n},
        tests=job.tests,
        left_out=job.left_out,
        arrays=arrays,
    )


def _raw_stock(
    grid: Grid, stock: Stock, arrays: Arrays
) -> tuple[NDArray[Any], NDArray[Any], tuple[int, int]]:
    """Return top and bottom, -inf and inf where nothing is, and the steps to index them by."""
    x, y = grid.x(), grid.y()
    inside = stock.low[0] <= x[0] and x[-1] <= stock.high[0]
    inside = inside and stock.low[1] <= y[0] and y[-1] <= stock.high[1]
    if stock.is_block and inside:
        top, bottom = stock.top_bottom(x[:1], y[:1])
        return top, bottom, (0, 0)
    top = arrays.make((grid.ny, grid.nx), np.float64)
    bottom = arrays.make((grid.ny, grid.nx), np.float64)
    for rows in strips(grid.ny):
        high, low = stock.top_bottom(x, y[rows])
        nothing = np.isnan(high)
        top[rows] = np.where(nothing, -np.inf, high)
        bottom[rows] = np.where(nothing, np.inf, low)
    return top, bottom, (1, 1)


def _measure(stock: Stock) -> tuple[float, float]:
    """Return floor and steps per mm of exact height sums: 2^50 steps over the stock's height."""
    floor, high = stock.low[2], stock.high[2]
    return floor, math.ldexp(1.0, 50 - math.ceil(math.log2(max(high - floor, 1e-6))))


class _Job:
    """One call of `cut`: the arrays, and the tiles handed to threads."""

    def __init__(
        self,
        grid: Grid,
        packed: Packed,
        raw: NDArray[np.float64],
        bottom: NDArray[np.float64],
        step: tuple[int, int],
        by_pass: bool,
        measure: tuple[float, float, float],
        arrays: Arrays,
    ) -> None:
        self.grid, self.packed = grid, packed
        self.raw, self.bottom, self.step = raw, bottom, step
        self.by_pass, self.measure = by_pass, measure
        self.top = arrays.make((grid.ny, grid.nx), np.float64)
        self.owner = arrays.make((grid.ny, grid.nx), np.int32)
        passes = int(packed.passes.max(initial=0)) + 1
        self.removed = np.zeros((passes, 2), np.int64)
        self.deep = np.zeros(passes, np.int64)
        self.mask = self._mask(arrays)
        self.found: list[NDArray[np.int64]] = []
        self.sizes: list[NDArray[np.float64]] = []
        self.tests = self.left_out = 0
        self.tiles_x = -(-grid.nx // TILE)
        self.tiles_y = -(-grid.ny // TILE)
        self._lock = threading.Lock()

    def _mask(self, arrays: Arrays) -> NDArray[np.bool_]:
        """Return where columns with metal above a cutting part are noted, if there can be any."""
        if not self.packed.may_bury(self.raw.max(initial=-np.inf)):
            return np.zeros((1, 1), np.bool_)
        mask = arrays.make((self.grid.ny, self.grid.nx), np.bool_)
        mask[:] = False
        return mask

    @property
    def window(self) -> tuple[float, ...]:
        g = self.grid
        return (g.x_low, g.y_low, g.pitch_x, g.pitch_y, float(g.nx), float(g.ny))

    def strips(self) -> Iterator[tuple[int, int, NDArray[np.int64], NDArray[np.int32]]]:
        """Yield tile rows first to last - 1 with their lists, as many as fit in memory at once."""
        g = self.grid
        wide, high = TILE * g.pitch_x, TILE * g.pitch_y
        corner = (g.x_low, g.y_low)
        tiles = Lattice(self.packed, corner, wide, high, self.tiles_x, self.tiles_y)
        counts = tiles.counts()
        ends = np.cumsum(counts.reshape(self.tiles_y, self.tiles_x).sum(axis=1))
        first = 0
        while first < self.tiles_y:
            before = int(ends[first - 1]) if first else 0
            fits = int(np.searchsorted(ends, before + STRIP_ENTRIES, side="right"))
            last = max(first + 1, fits)
            yield first, last, *tiles.lists(first, last, counts)
            first = last

    def work(self, threads: int, progress: Progress) -> None:
        """Cut every tile."""
        with ThreadPoolExecutor(threads) as pool:
            for first, last, offsets, ids in self.strips():
                tiles = np.arange((last - first) * self.tiles_x)
                chunks = [tiles[i : i + CHUNK] for i in range(0, len(tiles), CHUNK)]
                pending = {pool.submit(self.chunk, c, first, offsets, ids): len(c) for c in chunks}
                _drain(pending, first / self.tiles_y, (last - first) / self.tiles_y, progress)

    def chunk(
        self,
        tiles: NDArray[np.int64],
        first: int,
        offsets: NDArray[np.int64],
        ids: NDArray[np.int32],
    ) -> None:
        """Cut some tiles and add what they removed; asks again with more room for skims."""
        from .kernels.cutting import ROOM, cut_tiles

        p, room = self.packed, 256
        while True:
            removed, deep = np.zeros_like(self.removed), np.zeros_like(self.deep)
            found, sizes = np.zeros((room, 6), np.int64), np.zeros((room, 2))
            count, done, left_out = cut_tiles(
                tiles, self.tiles_x, first, (offsets, ids), (p.code, p.rows, p.passes),
                self.window, (self.raw, self.bottom, self.step), self.by_pass, self.measure,
                (self.top, self.owner, removed, deep, self.mask), (found, sizes),
            )  # fmt: skip
            if count != ROOM:
                break
            room *= 8
        with self._lock:
            self.removed += removed
            self.deep += deep
            self.tests += done
            self.left_out += left_out
            if count:
                self.found.append(found[:count])
                self.sizes.append(sizes[:count])

    def removed_units(self) -> list[int]:
        """Return the exact sum of each pass, in steps of height."""
        return [int(low) + (int(high) << 32) for low, high in self.removed]


def _drain(
    pending: dict[Future[None], int], begun: float, share: float, progress: Progress
) -> None:
    """Wait for all, reporting; on any error or Ctrl-C drop what has not begun."""
    total, done = sum(pending.values()), 0
    waiting = set(pending)
    try:
        while waiting:
            ready, waiting = wait(waiting, timeout=0.2, return_when=FIRST_COMPLETED)
            for future in ready:
                future.result()
                done += pending[future]
            progress(begun + share * done / max(1, total))
    except BaseException:
        for future in waiting:
            future.cancel()
        raise


def _see_hollows(job: _Job, deep: DeepColumns, stock: Stock) -> None:
    """Answer the columns on which metal stood above a cutting part by rays; account for it."""
    from .prober import Prober

    j, i = np.nonzero(job.mask)
    x, y = job.grid.x()[i], job.grid.y()[j]
    last = int(job.packed.members[-1]) + 1
    top, owner = deep.columns(x, y, last)
    floor, scale, _ = job.measure
    if job.by_pass:
        prober = Prober(job.packed, stock)
        _, bottom = stock.at(x, y)
        before = np.zeros(len(x), np.int64)
        passes = job.packed.passes[job.packed.members]
        for p in np.unique(passes).tolist():
            done = int(job.packed.members[np.searchsorted(passes, p, side="right") - 1]) + 1
            seen, plain = deep.columns(x, y, done)[0], prober.columns(x, y, done)[0]
            shift = _steps(np.where(np.isnan(plain), bottom, plain), floor, scale)
            shift -= _steps(np.where(np.isnan(seen), bottom, seen), floor, scale)
            units = int((shift - before).sum())
            before = shift
            job.removed[p, 0] += units & 0xFFFFFFFF
            job.removed[p, 1] += units >> 32
    job.top[j, i] = np.where(np.isnan(top), -np.inf, top)
    job.owner[j, i] = owner


def _finish(job: _Job) -> int:
    """Mark columns on which nothing is left; return the exact sum of heights left, in steps."""
    left = 0
    floor, scale, _ = job.measure
    for rows in strips(job.grid.ny):
        top, owner = job.top[rows], job.owner[rows]
        bottom = job.bottom[rows] if job.step[0] else job.bottom
        none = ~(top > bottom)
        heights = np.where(none, 0, _steps(top, floor, scale) - _steps(bottom, floor, scale))
        left += exact_sum(heights)
        top[none] = np.nan
        owner[none] = NOTHING
    return left


def _steps(z: NDArray[np.float64], floor: float, scale: float) -> NDArray[np.int64]:
    finite = np.where(np.isfinite(z), z, floor)
    return np.rint((finite - floor) * scale).astype(np.int64)


def _stock_units(job: _Job, floor: float, scale: float) -> int:
    total = 0
    for rows in strips(len(job.raw)):
        raw, bottom = job.raw[rows], job.bottom[rows]
        heights = _steps(raw, floor, scale) - _steps(bottom, floor, scale)
        total += exact_sum(np.where(np.isfinite(raw), heights, 0))
    return total if job.step[0] else total * job.grid.columns


def exact_sum(values: NDArray[np.int64]) -> int:
    """Return the exact sum of whole numbers whose sum may pass 64 bits."""
    low = int((values & 0xFFFFFFFF).sum(dtype=np.int64))
    return low + (int((values >> 32).sum(dtype=np.int64)) << 32)


def _pass_numbers(
    owner: NDArray[np.int32], passes: NDArray[np.int32], arrays: Arrays
) -> NDArray[np.int32]:
    """Return the pass of each column: 0 raw, -1 nothing."""
    table = np.append(passes, [0, 0]).astype(np.int32)
    table[NOTHING], table[RAW] = -1, 0  # -2 and -1: the two places after the last move
    number = arrays.make(owner.shape, np.int32)
    for rows in strips(len(owner)):
        number[rows] = table[owner[rows]]
    return number


def skims_of(
    found: list[NDArray[np.int64]], sizes: list[NDArray[np.float64]], limit: float
) -> tuple[Skim, ...]:
    """Merge the skims of all tiles: one for each pass, pass cut into and floor."""
    rows = [
        (int(f[0]), int(f[1]), float(s[0]), int(f[2]), float(s[1]), int(f[3]), int(f[4]), int(f[5]))
        for block, size in zip(found, sizes, strict=True)
        for f, s in zip(block, size, strict=True)
    ]
    rows.sort(key=lambda r: (*r[:3], -r[4], r[6], r[5]))
    merged: list[Skim] = []
    for by, into, z, columns, depth, ix, iy, move in rows:
        last = merged[-1] if merged else None
        if last and (by, into) == (last.by_pass, last.into_pass) and z - last.z <= 1e-6:
            best = (-last.depth, last.iy, last.ix) <= (-depth, iy, ix)
            kept = last if best else Skim(by, into, last.z, 0, depth, ix, iy, move, limit)
            merged[-1] = dataclasses.replace(kept, columns=last.columns + columns)
        else:
            merged.append(Skim(by, into, z, columns, depth, ix, iy, move, limit))
    return tuple(merged)


def surface_of(tile: Tile, packed: Packed, stock: Stock, arrays: Arrays | None = None) -> Tile:
    """Return the tile with exact slopes and flat columns, from the geometry of each owner."""
    from .kernels.cutting import surface_of as kernel

    grid = tile.grid
    arrays = arrays or Arrays(grid.columns)
    slope = arrays.make((grid.ny, grid.nx, 2), np.float64)
    flat = arrays.make((grid.ny, grid.nx), np.bool_)
    window = (grid.x_low, grid.y_low, grid.pitch_x, grid.pitch_y, float(grid.nx), float(grid.ny))
    x, y = grid.x(), grid.y()
    for rows in strips(grid.ny):
        slope[rows], flat[rows] = 0.0, False
        top, owner = tile.top[rows], tile.owner[rows]
        kernel(packed.code, packed.rows, window, rows.start, top, owner, slope[rows], flat[rows])
        raw = owner == RAW
        if raw.any():
            flat[rows][raw] = stock.level_at(x, y[rows])[raw]
            slope[rows][raw] = stock.slope_at(x, y[rows])[raw]
    return dataclasses.replace(tile, slope=slope, flat=flat)
