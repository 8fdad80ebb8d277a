"""What a run will take, before it starts; arrays in memory, or on disk when they would not fit."""

from __future__ import annotations

import math
import shutil
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .errors import TooLarge

__all__ = ["RUN_BYTES", "Arrays", "available_memory", "check_fits", "say_bytes"]

RUN_BYTES = 64
"""What a run takes for each column, about: heights, owners, passes, slopes, levels, and the scratch
arrays that make them; measured with the largest resident set of runs of 1 to 16 million columns."""

SHARE = 0.5
"""Part of the free memory that arrays may take; the rest is for bins, pictures and the system."""


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


def check_fits(columns: int) -> None:
    """Refuse a run that the memory can't hold, before it starts.

    Parameters
    ----------
    columns : int
        Columns of the grid.

    Raises
    ------
    TooLarge
        With a pitch that fits.
    """
    needed, free = columns * RUN_BYTES, available_memory()
    if needed > free:
        raise TooLarge(
            f"a grid of {columns:,} columns takes about {say_bytes(needed)}, and "
            f"{say_bytes(free)} of memory is free; choose a larger [grid] pitch "
            f"({math.sqrt(needed / free) + 0.05:,.1f} times as large fits)"
        )


class Arrays:
    """Makes the large arrays of a run: in memory, or in one temporary folder on disk.

    Parameters
    ----------
    columns : int
        Columns of the grid.
    bytes_per_column : int
        What the run keeps for each.
    folder : Path, optional
        Where the temporary folder goes; the system's own choice unless given.

    Raises
    ------
    TooLarge
        Neither memory nor disk can hold it.
    """

    def __init__(self, columns: int, bytes_per_column: int, folder: Path | None = None) -> None:
        self.needed = columns * bytes_per_column
        self.on_disk = self.needed > SHARE * available_memory()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._count = 0
        if not self.on_disk:
            return
        place = folder or Path(tempfile.gettempdir())
        free = shutil.disk_usage(place).free
        if self.needed > 0.9 * free:
            raise TooLarge(
                f"a grid of {columns:,} columns takes {say_bytes(self.needed)}: more than the "
                f"{say_bytes(available_memory())} of free memory and the {say_bytes(free)} free "
                f"on the disk of {place}; choose a larger [grid] pitch"
            )
        self._folder = tempfile.TemporaryDirectory(prefix="proud-", dir=place)

    def make(self, shape: tuple[int, ...], dtype: Any) -> NDArray[Any]:
        """Return an array of the given shape and type, zero or unset."""
        if self._folder is None:
            return np.empty(shape, dtype)
        self._count += 1
        path = Path(self._folder.name) / f"{self._count}.bin"
        return np.memmap(path, dtype=dtype, mode="w+", shape=shape)

    def close(self) -> None:
        """Remove the temporary folder, if there is one."""
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None
