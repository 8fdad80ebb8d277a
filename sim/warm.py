"""The first run on a machine: compile the kernels in two processes, then find them on disk.

Compiling is mostly one thread's work. This process compiles the engine on a thimble of a job; a
second one, ``python -m proud.warm``, compiles what the command needs after that: surfaces and
walks, the line trace, pictures.
"""

from __future__ import annotations

import gc
import subprocess
import sys
from pathlib import Path

import numpy as np

from .cut import cut, surface_of
from .faces import find_levels, find_steps
from .grid import Grid, Tile
from .jobfile_spec import StockSpec
from .moves import LINE, MoveList
from .pack import Packed, pack
from .prober import Prober
from .stock import Stock, make_stock
from .tools import Tool

__all__ = ["is_warm", "warm_up"]

SIDE = 24
"""Columns along each side of the thimble."""


def is_warm() -> bool:
    """Return whether the engine is on disk, compiled from the code as it stands."""
    from .kernels import cutting

    source = max(f.stat().st_mtime for f in Path(cutting.__file__).parent.glob("*.py"))
    folder = getattr(getattr(cutting.cut_tiles, "_cache", None), "_cache_path", None)
    if folder is None:  # compilation is switched off
        return True
    kept = Path(folder).glob("cutting.cut_tiles-*.nbc")
    return any(f.stat().st_mtime >= source for f in kept)


def warm_up(*needs: str) -> None:
    """Compile the kernels of a run and of what `needs` names: "trace", "pictures"; some seconds."""
    other = subprocess.Popen(
        [sys.executable, "-P", "-m", "proud.warm", *needs],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    gc.disable()  # a compiler makes millions of small objects, all in use
    try:
        packed, stock, grid = _thimble()
        cut(grid, packed, stock, by_pass=True, threads=1)
        other.wait()  # should it have failed, its kernels are compiled here when they are called
    finally:
        gc.enable()
        if other.poll() is None:
            other.kill()
            other.wait()


def _thimble() -> tuple[Packed, Stock, Grid]:
    """Return one slot in a small block, and columns over it; lengths in mm."""
    moves = MoveList()
    moves.add(
        (1.0, 2.0, -1.0), (3.0, 2.0, -1.0), kind=LINE, rapid=False, turn=0.0, setup=0, tool=1,
        pass_number=1, h_register=0, feed=1.0, spindle=0.0, line=1,
    )  # fmt: skip
    tool = Tool(1, "flat", "flat", 1.0)
    stock = make_stock(StockSpec("block", low=(0.0, 0.0, -3.0), high=(4.0, 4.0, 0.0)), "mm")
    return pack(moves.moves(), {1: tool}), stock, Grid.over((0.0, 0.0), (4.0, 4.0), 4.0 / SIDE)


def _warm_the_rest(needs: list[str]) -> None:
    """Call the kernels that come after the engine, on the thimble."""
    from .kernels.cutting import tip_over

    gc.disable()
    packed, stock, grid = _thimble()
    y, x = np.meshgrid(grid.y(), grid.x(), indexing="ij")
    prober = Prober(packed, stock)
    top, owner = prober.columns(x.ravel(), y.ravel())
    tile = Tile(grid, top.reshape(x.shape), owner.reshape(x.shape), owner.reshape(x.shape) + 1)
    tile = surface_of(tile, packed, stock)
    levels, number = find_levels(tile, packed)
    find_steps(tile, levels, number, prober)
    tip_over(packed.code, packed.rows, 0, 1.0, 1.0)
    if "trace" in needs:
        from .trace import trace

        trace(packed, stock, np.ones(1, np.int32), (0.0, 0.5), (4.0, 3.5))
    if "pictures" in needs:
        from .pictures import PictureOptions, draw

        for options in (PictureOptions(view="iso"), PictureOptions(view="top", color="lamp")):
            draw(tile, unit="mm", title="", passes={1: (1, "")}, options=options)


if __name__ == "__main__":
    _warm_the_rest(sys.argv[1:])
