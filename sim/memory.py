"""What a run will take, before it starts; arrays in memory, or on disk when they would not fit."""

from __future__ import annotations

import math
import shutil
import tempfile
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import TooLarge

__all__ = ["ROWS", "RUN_BYTES", "Arrays", "available_memory", "plan", "say_bytes", "strips"]

RUN_BYTES = 8 + 4 + 4 + 16 + 1 + 4 + 8 + 16
"""What a run keeps for each column: height, owner, pass, slope, flatness, level, the walk's queue,
and the raw stock's top and bottom where it is no block."""
SHARE = 0.5
"""Part of the free memory that arrays may take; the rest is for bins, pictures and the system."""
DISK_SHARE = 0.9
"""Part of the free disk that they may take."""
ROWS = 256
"""Rows of columns that are worked at once outside kernels."""


def available_memory() -> int:
    """Return the memory that can be had without swapping, bytes, by the system's own account."""
    found = [4 << 30]
    try:
        text = Path("/proc/meminfo").read_text(encoding="ascii")
        found = [int(ln.split()[1]) << 10 for ln in text.splitlines() if "MemAvailable" in ln]
    except (OSError, ValueError):
        pass
    try:
        import resource

        limit, _ = resource.getrlimit(resource.RLIMIT_AS)
        if limit != resource.RLIM_INFINITY:
            found.append(limit // 2)
    except ImportError:
        pass
    return min(found) if found else 4 << 30


def say_bytes(count: float) -> str:
    """Return a size as people read it: ``1.5 GB``."""
    for unit in ("bytes", "kB", "MB"):
        if count < 1000:
            return f"{count:.0f} {unit}"
        count /= 1000
    return f"{count:,.1f} GB"


def strips(rows: int) -> Iterator[slice]:
    """Yield slices of `ROWS` rows each that together cover an array."""
    for first in range(0, rows, ROWS):
        yield slice(first, min(rows, first + ROWS))


def _plan(columns: int, folder: Path) -> tuple[int, bool]:
    """Return bytes needed and whether they go to disk; refuse what fits neither."""
    needed, memory = columns * RUN_BYTES, available_memory()
    if needed <= SHARE * memory:
        return needed, False
    disk = shutil.disk_usage(folder).free
    if needed > DISK_SHARE * disk:
        room = max(SHARE * memory, DISK_SHARE * disk)
        raise TooLarge(
            f"a grid of {columns:,} columns takes about {say_bytes(needed)}: more than "
            f"{say_bytes(memory)} of free memory and {say_bytes(disk)} free in {folder} can hold; "
            f"choose a larger [grid] pitch ({math.sqrt(needed / room) + 0.05:,.1f} times as large "
            "fits)"
        )
    return needed, True


def plan(columns: int) -> str:
    """Return what a run will take, in words.

    Parameters
    ----------
    columns : int
        Columns of the grid.

    Raises
    ------
    TooLarge
        Neither memory nor disk can hold it; the text says which pitch fits.
    """
    needed, on_disk = _plan(columns, Path(tempfile.gettempdir()))
    where = "on disk, worked in strips" if on_disk else "of memory"
    return f"{columns:,} columns: takes about {say_bytes(needed)} {where}"


class Arrays:
    """Makes the large arrays of a run: in memory, or in one temporary folder on disk.

    Parameters
    ----------
    columns : int
        Columns of the grid.

    Raises
    ------
    TooLarge
        Neither memory nor disk can hold it.
    """

    def __init__(self, columns: int) -> None:
        place = Path(tempfile.gettempdir())
        self.needed, self.on_disk = _plan(columns, place)
        self._count = 0
        self._folder: Path | None = None
        if self.on_disk:
            self._folder = Path(tempfile.mkdtemp(prefix="proud-", dir=place))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)

    def make(self, shape: tuple[int, ...], dtype: Any) -> NDArray[Any]:
        """Return an array of the given shape and type, not set."""
        if self._folder is None:
            return np.empty(shape, dtype)
        self._count += 1
        path = self._folder / f"{self._count}.bin"
        return np.asarray(np.memmap(path, dtype=dtype, mode="w+", shape=shape))
