"""The first run on a machine: compile what a command needs in a few processes, and keep it on disk.

Compiling is mostly one thread's work. What is to be compiled comes in parts, each a few calls on a
thimble of a job; this process takes some of them, others, ``python -m proud.warm``, the rest.
"""

from __future__ import annotations

import functools
import gc
import importlib
import math
import os
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Final, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from .cut import cut as cut_all
from .cut import surface_of
from .grid import RAW, Grid, Tile
from .jobfile_spec import StockSpec
from .moves import LINE, MoveList, Moves
from .pack import Packed, pack
from .prober import Prober
from .stock import MeshStock, Stock, make_stock
from .tools import Tool

if TYPE_CHECKING:
    from .clearance import StockGaps
    from .job import Job

__all__ = ["COSTS", "KERNELS", "NEEDS", "PARTS", "is_warm", "shared_out", "warm_up"]

SIDE: Final = 24
"""Columns along each side of the thimble."""

MOST_PROCESSES: Final = 4
"""So many compile at most: the dearest part takes a quarter of the whole."""

NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "run": ("tiles", "points", "surface", "flats", "levels"),
    "window": ("tiles", "surface"),
    "trace": ("points", "flats", "sheets", "breaks"),
    "pictures": ("thin", "pictures"),
    "thin": ("thin",),
    "rays": ("ends", "rays"),
    "clearance": ("ends", "rays", "points", "gaps"),
    "fixture": ("fixture",),
    "model": ("model",),
    "review": ("tiles", "points", "surface", "flats", "ends", "rays", "gaps"),
    "contact": ("tiles", "points", "surface", "flats", "ends", "rays"),
}
"""Parts that each kind of command takes."""

KERNELS: Final[dict[str, tuple[str, ...]]] = {
    "tiles": ("bins.count_or_fill", "cutting.cut_tiles"),
    "points": ("bins.count_or_fill", "cutting.cut_points"),
    "surface": ("cutting.surface_of",),
    "flats": ("cutting.flat_points", "cutting.tip_over"),
    "levels": (
        "ground.seeds", "ground.spread", "ground.borders", "narrow.sift", "narrow.others",
        "narrow.labels",
    ),
    "sheets": ("cutting.earliest_within",),
    "breaks": ("cutting.shows_near", "breaks.breaks_along"),
    "thin": ("shade.thin",),
    "pictures": (
        "shade.cell_corners", "shade.fill_quads", "shade.walls", "shade.picture_slope",
        "shade.cast_shadow",
    ),
    "rays": ("rays.cast",),
    "ends": ("rays.describe",),
    "gaps": (
        "gap_bounds.first_bounds", "gap_bounds.box_bounds", "gap_search.search_move",
        "gap_search.gaps_under", "gap.gaps_of_places",
    ),
    "fixture": ("gap_boxes.box_gaps",),
    "model": ("mesh_columns.bin_facets", "mesh_columns.at_points", "mesh_rays.cross_facets"),
}  # fmt: skip
"""Kernels kept on disk, as module and name, that each part compiles."""

COSTS: Final[dict[str, dict[str, float]]] = {
    "tiles": {"bins": 1.2, "heights": 3.5, "tiles": 5},
    "points": {"bins": 1.2, "heights": 3.5, "points": 0.6},
    "surface": {"paths": 0.8, "surface": 0.5},
    "flats": {"paths": 0.8, "flats": 0.6},
    "levels": {"bins": 1.2, "heights": 3.5, "paths": 0.8, "points": 0.6, "ground": 1, "narrow": 4},
    "sheets": {"heights": 3.5, "sheets": 0.5},
    "breaks": {"breaks": 1},
    "thin": {"thin": 0.6},
    "pictures": {"pictures": 3.5},
    "rays": {"rays": 7},
    "ends": {"ends": 2.3},
    "gaps": {"bins": 1.2, "heights": 3.5, "gaps": 6},
    "fixture": {"fixture": 0.6},
    "model": {"model": 1.5},
}
"""About how many seconds each part takes, by what it may have in common with others."""


def is_warm(*needs: str) -> bool:
    """Return whether all kernels of some `NEEDS` are on disk, compiled from the code as it is."""
    return not _missing(needs or ("run",))


def _missing(needs: Iterable[str]) -> list[str]:
    """Return the parts of some needs that are to be compiled."""
    parts = dict.fromkeys(part for need in needs for part in NEEDS[need])
    return [part for part in parts if not all(_kept(name) for name in KERNELS[part])]


@functools.cache
def _newest() -> float:
    from . import kernels

    return max(f.stat().st_mtime for f in Path(str(kernels.__file__)).parent.glob("*.py"))


def _kept(kernel: str) -> bool:
    module, name = kernel.split(".")
    entry = getattr(importlib.import_module(f".kernels.{module}", __package__), name)
    folder = getattr(getattr(entry, "_cache", None), "_cache_path", None)
    if folder is None:  # compilation is switched off
        return True
    kept = Path(folder).glob(f"{module}.{name}-*.nbc")
    return any(f.stat().st_mtime >= _newest() for f in kept)


def warm_up(*needs: str) -> None:
    """Compile what some `NEEDS` take and is not on disk yet; some seconds."""
    here, *there = shared_out(_missing(needs or ("run",)), _processes())
    others = [_process(parts) for parts in there if parts]
    gc.disable()  # a compiler makes millions of small objects, all in use
    try:
        _compile(here)
        for other in others:
            other.wait()  # should it have failed, its kernels are compiled when they are called
    finally:
        gc.enable()
        for other in others:
            if other.poll() is None:
                other.kill()
                other.wait()


def _processes() -> int:
    """Return how many processes compile: one a core, two at least, `MOST_PROCESSES` at most."""
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1
    return min(max(cores, 2), MOST_PROCESSES)


def _process(parts: list[str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "proud.warm", *parts],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def shared_out(parts: list[str], processes: int) -> list[list[str]]:
    """Return the parts for each of some processes, so that all are done soonest.

    Parameters
    ----------
    parts : list of str
        Keys of `PARTS`, in the order in which they are to be called.
    processes : int
        How many there may be; the first is this one.

    Returns
    -------
    list of list of str
        Of those ways that are done soonest, one with the least work in all.
    """
    dearest = sorted(parts, key=lambda part: -_seconds([part]))
    groups: list[list[str]] = [[] for _ in range(processes)]
    best = (math.inf, math.inf, groups)

    def place(rest: list[str]) -> None:
        nonlocal best
        loads = [_seconds(group) for group in groups]
        key = (max(loads), sum(loads))  # neither falls as more parts are added
        if key >= best[:2]:
            return
        if not rest:
            best = (*key, [sorted(group, key=parts.index) for group in groups])
            return
        for group in groups:
            first = not group
            group.append(rest[0])
            place(rest[1:])
            group.pop()
            if first:  # the empty ones are alike
                break

    place(dearest)
    return best[2]


def _seconds(parts: list[str]) -> float:
    """Return what parts cost in one process: what they have in common is compiled once."""
    costs: dict[str, float] = {}
    for part in parts:
        for what, cost in COSTS[part].items():
            costs[what] = max(cost, costs.get(what, 0.0))
    return sum(costs.values())


# ------------------------------------------------------------------------------- a thimble of a job


class _Thimble(NamedTuple):
    """One slot in a small block, and columns over it; lengths in mm."""

    moves: Moves
    tool: Tool
    packed: Packed
    stock: Stock
    grid: Grid

    def tile(self) -> Tile:
        """Return a surface: the slot's floor beside raw stock."""
        shape = (self.grid.ny, self.grid.nx)
        top, owner = np.zeros(shape), np.full(shape, RAW, np.int32)
        top[4:12], owner[4:12] = -1.0, 0
        return Tile(self.grid, top, owner, owner + np.int32(1))


def _thimble() -> _Thimble:
    rows = MoveList()
    rows.add(
        (1.0, 2.0, -1.0), (3.0, 2.0, -1.0), kind=LINE, rapid=False, turn=0.0, setup=0, tool=1,
        pass_number=1, h_register=0, feed=1.0, spindle=0.0, line=1,
    )  # fmt: skip
    tool = Tool(1, "flat", "flat", 1.0)
    stock = make_stock(StockSpec("block", low=(0.0, 0.0, -3.0), high=(4.0, 4.0, 0.0)), "mm")
    grid = Grid.over((0.0, 0.0), (4.0, 4.0), 4.0 / SIDE)
    moves = rows.moves()
    return _Thimble(moves, tool, pack(moves, {1: tool}), stock, grid)


def _tiles(t: _Thimble) -> None:
    cut_all(t.grid, t.packed, t.stock, by_pass=True, threads=1)


def _points(t: _Thimble) -> None:
    Prober(t.packed, t.stock).columns(np.array([2.0]), np.array([2.0]))


def _surface(t: _Thimble) -> None:
    surface_of(t.tile(), t.packed, t.stock)


def _flats(t: _Thimble) -> None:
    from .kernels.cutting import tip_over

    tile = t.tile()
    y, x = np.meshgrid(t.grid.y(), t.grid.x(), indexing="ij")
    Prober(t.packed, t.stock).flat(x.ravel(), y.ravel(), tile.owner.ravel())
    tip_over(t.packed.code, t.packed.rows, 0, 1.0, 1.0)


def _levels(t: _Thimble) -> None:
    from .faces import find_faces

    tile = surface_of(t.tile(), t.packed, t.stock)
    find_faces(tile, (), Prober(t.packed, t.stock), skim_limit=1.0, threads=1)


def _sheets(t: _Thimble) -> None:
    one, zero = np.array([2.0]), np.zeros(1, np.int64)
    owner = np.zeros(1, np.int32)
    prober = Prober(t.packed, t.stock)
    prober.earliest(one, one, prober.members(0), zero, zero, -one, owner, 1e-9)


def _breaks(t: _Thimble) -> None:
    from .kernels.breaks import breaks_along
    from .kernels.cutting import shows_near

    p, ids, out = t.packed, np.zeros(1, np.int32), np.zeros(1, np.int32)
    shows_near(p.code, p.rows, ids, 2.0, 2.0, 1.0, 0.0, False, out)
    breaks_along(p.code, p.rows, ids, 0.0, 0.5, 0.8, 0.6, np.empty(32))


def _thin(t: _Thimble) -> None:
    from .kernels import shade

    shade.thin(np.zeros((4, 4)), 2, np.empty((2, 2), np.int64))


def _pictures(t: _Thimble) -> None:
    from .pictures import PictureOptions, draw

    tile = surface_of(t.tile(), t.packed, t.stock)
    for options in (PictureOptions(view="iso"), PictureOptions(view="top", color="lamp")):
        draw(tile, unit="mm", title="", passes={1: (1, "")}, options=options)


def _rays(t: _Thimble) -> None:
    from .rays import Sweeps, rays

    rays([[2.0, 2.0, 1.0]], (0.0, 0.0, -1.0), Sweeps(t.moves, {1: t.tool}), t.stock)


def _ends(t: _Thimble) -> None:
    from .rays import Sweeps, describe_ends

    out = np.empty((0, 2)), np.empty((0, 2, 3), np.int32), np.empty((0, 2, 4))
    describe_ends(np.empty((0, 6)), Sweeps(t.moves, {1: t.tool}), np.zeros(0, np.int64), out)


def _stock_gaps(t: _Thimble) -> tuple[StockGaps, NDArray[np.float64], NDArray[np.int64]]:
    """Return the thimble as `clearance` looks at it, a shank, and its moves."""
    from .clearance import StockGaps
    from .rays import Sweeps

    job = SimpleNamespace(
        sweeps=Sweeps(t.moves, {1: t.tool}), packed=t.packed, stock=t.stock,
        program=SimpleNamespace(moves=t.moves),
    )  # fmt: skip
    shank = np.array([[2.0, 3.0, 1.0, 1.0]])
    return StockGaps(cast("Job", job), 1), shank, np.zeros(1, np.int64)


def _gaps(t: _Thimble) -> None:
    stock, parts, moves = _stock_gaps(t)
    stock.lowest(parts, moves)
    best = np.array([1.0, 0.0, 0.0, 0.0, -1.0, 0.0])
    stock.search(0, parts, best, 0.5)
    stock.columns(0, parts, np.full((1, 2), 2.0))
    stock.gaps(0, parts, np.zeros((1, 3)))


def _fixture(t: _Thimble) -> None:
    from .clearance import box_gap

    stock, parts, moves = _stock_gaps(t)
    box_gap(stock, parts, moves, (5.0, 5.0, -3.0, 6.0, 6.0, -1.0))


def _model(t: _Thimble) -> None:
    from .stock_rays import stock_on_rays

    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    facets = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    mesh = MeshStock((0.0, 0.0, 0.0), (1.0, 1.0, 1.0), 1.0, "", corners, facets)
    mesh.at(np.array([0.2]), np.array([0.2]))
    stock_on_rays(mesh, np.array([[0.2, 0.2, 2.0, 0.0, 0.0, -1.0]]))


PARTS: Final[dict[str, Callable[[_Thimble], None]]] = {
    "tiles": _tiles, "points": _points, "surface": _surface, "flats": _flats,
    "levels": _levels, "sheets": _sheets, "breaks": _breaks, "thin": _thin, "pictures": _pictures,
    "ends": _ends, "rays": _rays, "gaps": _gaps, "fixture": _fixture,
    "model": _model,
}  # fmt: skip


def _compile(parts: Iterable[str]) -> None:
    """Call the kernels of some parts."""
    thimble = _thimble()
    for part in parts:
        PARTS[part](thimble)


if __name__ == "__main__":
    gc.disable()
    _compile(sys.argv[1:])
