"""Speed of the tile engine, with baselines timed beside it in the same run.

Run: python benchmarks/cut.py [--quick]
Every answer is compared with the baseline's before its time is shown.
"""

from __future__ import annotations

import argparse
import math
import platform
import statistics
import time
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
from proud.cut import Cut, cut
from proud.grid import Grid
from proud.jobfile import StockSpec
from proud.kernels.place import line_local, line_rho2, ramp_height
from proud.kernels.profile import BALL
from proud.kernels.ramp import ramp_t_ball
from proud.kernels.row import load
from proud.moves import LINE, Moves
from proud.pack import Packed, pack
from proud.stock import make_stock
from proud.tools import Tool

TOOLS = {
    1: Tool(1, "flat", "flat", 6.0),
    2: Tool(2, "ball", "ball", 6.0),
    3: Tool(3, "bull", "bull", 6.0, corner_radius=1.0),
}


@numba.njit(cache=True, error_model="numpy", nogil=True, parallel=True)
def plain_loop(rows, members, sloped, low, pitch, top, owner):
    """Test every column in each ball move's box, in strips of rows shared by the cores."""
    ny, nx = top.shape
    strips = 64
    for s in numba.prange(strips):
        j_first, j_last = ny * s // strips, ny * (s + 1) // strips
        for n in range(len(members)):
            m = members[n]
            row = load(rows, m)
            R = row[9]
            i0 = max(0, int((min(row[0], row[14]) - R - low[0]) / pitch[0] - 0.5))
            i1 = min(nx, int((max(row[0], row[14]) + R - low[0]) / pitch[0] + 1.5))
            j0 = max(j_first, int((min(row[1], row[15]) - R - low[1]) / pitch[1] - 0.5))
            j1 = min(j_last, int((max(row[1], row[15]) + R - low[1]) / pitch[1] + 1.5))
            for j in range(j0, j1):
                y = low[1] + (j + 0.5) * pitch[1]
                for i in range(i0, i1):
                    x = low[0] + (i + 0.5) * pitch[0]
                    rho2 = line_rho2(row, x, y)
                    if rho2 > row[13]:
                        continue
                    if sloped:
                        a, b = line_local(row, x, y)
                        t = ramp_t_ball(R, a, abs(b), row[5], row[6])
                        h = ramp_height(BALL, row, a, abs(b), t)
                    else:
                        h = row[2] + (R - math.sqrt(row[13] - rho2))
                    if h < top[j, i]:
                        top[j, i] = h
                        owner[j, i] = m


def lines(start: np.ndarray, end: np.ndarray, tool: int) -> Packed:
    """Return level or sloped feed moves of one tool and one pass, packed."""
    n = len(start)
    whole = np.zeros(n, np.int32)
    moves = Moves(
        start=start,
        end=end,
        center=np.zeros((n, 2)),
        kind=np.full(n, LINE, np.int8),
        rapid=np.zeros(n, bool),
        turn=np.zeros(n),
        setup=whole,
        tool=whole + tool,
        pass_number=whole + 1,
        h_register=whole,
        feed=np.ones(n),
        spindle=np.ones(n),
        line=np.arange(1, n + 1, dtype=np.int32),
    )
    return pack(moves, TOOLS)


def raster(count: int, size: float, piece: float) -> tuple[np.ndarray, np.ndarray]:
    """Return `count` short moves of length `piece` in rows over a square, gently waved in z."""
    along = round(size / piece)
    rows = count // along
    x = np.arange(along + 1) * piece
    y = (np.arange(rows) + 0.5) * size / rows
    z = -1.0 + 0.2 * np.sin(x[None, :] * 0.35 + y[:, None] * 0.2)
    points = np.stack(np.broadcast_arrays(x[None, :], y[:, None], z), axis=-1)
    return points[:, :-1].reshape(-1, 3), points[:, 1:].reshape(-1, 3)


def best(work: Callable[[], Any], times: int) -> tuple[float, Any]:
    """Return the median time of some calls, and the last answer."""
    spent = []
    for _ in range(times):
        begun = time.perf_counter()
        answer = work()
        spent.append(time.perf_counter() - begun)
    return statistics.median(spent), answer


def plain(packed: Packed, grid: Grid, sloped: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return heights and owners by the plain loop."""
    heights = np.zeros((grid.ny, grid.nx))
    owner = np.full((grid.ny, grid.nx), -1, np.int32)
    low, pitch = (grid.x_low, grid.y_low), (grid.pitch_x, grid.pitch_y)
    plain_loop(packed.rows, packed.members, sloped, low, pitch, heights, owner)
    return heights, owner


def block(size: float) -> Any:
    """Return a block from z -10 to 0 over a square."""
    return make_stock(StockSpec(shape="block", low=(0.0, 0.0, -10.0), high=(size, size, 0.0)), "mm")


def same(mine: Cut, heights: np.ndarray, owner: np.ndarray) -> str:
    """Say whether heights and owners are the same bit for bit."""
    equal = np.array_equal(mine.tile.top, heights) and np.array_equal(mine.tile.owner, owner)
    return "same bits" if equal else "DIFFERENT"


def rates(times: int) -> None:
    """Print column-move tests a second of level moves, by tool.

    Every move is the same pass again at the same height, so that no bound leaves any out.
    """
    size, columns, n = 24.0, 512, 1500
    grid = Grid.over((0.0, 0.0), (size, 8.0), size / columns)
    print(f"\nLevel moves that none can be left out of, {grid.nx} x {grid.ny} columns, all cores")
    for tool in TOOLS.values():
        a = np.tile([-5.0, 4.0, -1.0], (n, 1))
        packed = lines(a, a + np.array([size + 10.0, 0.0, 0.0]), tool.number)
        cut(grid, packed, block(size))
        seconds, mine = best(lambda p=packed: cut(grid, p, block(size)), times)
        print(
            f"  {tool.name:5}  {mine.tests / seconds / 1e6:7.0f} million tests a second, bins and "
            f"bounds included  ({mine.tests / 1e9:.2f}e9 tests)"
        )


def dense_raster(count: int, columns: int, sloped: bool, times: int) -> None:
    """Compare a dense ball raster with the plain loop."""
    size = 51.2

    def points(number: int) -> tuple[np.ndarray, np.ndarray]:
        a, b = raster(number, size, 0.1)
        if not sloped:
            a[:, 2] = b[:, 2] = 0.5 * (a[:, 2] + b[:, 2])
        return a, b

    packed = lines(*points(count), 2)
    grid = Grid.over((0.0, 0.0), (size, size), size / columns)
    kind = "sloped" if sloped else "level"
    print(f"\nDense ball raster: {len(packed.members)} {kind} moves, {columns} x {columns} columns")
    cut(grid, lines(*points(2000), 2), block(size))
    seconds, mine = best(lambda: cut(grid, packed, block(size)), times)
    by_pass, _ = best(lambda: cut(grid, packed, block(size), by_pass=True), 1)
    plain(lines(*points(2000), 2), grid, sloped)
    slow, (heights, owner) = best(lambda: plain(packed, grid, sloped), 1)
    print(f"  engine      {seconds:8.2f} s   ({same(mine, heights, owner)} as the plain loop)")
    print(f"  with passes {by_pass:8.2f} s")
    print(f"  plain loop  {slow:8.2f} s   {slow / seconds:.1f} times the engine's")
    share = (mine.tests + mine.left_out) / max(1, mine.tests)
    print(
        f"  tests       {mine.tests / 1e9:8.2f}e9, one in {share:.0f} of those in reach of a tile"
    )


def against_booleans(columns: int, times: int) -> None:
    """Compare 400 ball passes with exact solid booleans."""
    import manifold3d as m3

    size, passes, R = 80.0, 400, 3.0
    y = (np.arange(passes) + 0.5) * size / passes
    a = np.stack([np.full(passes, -5.0), y, np.full(passes, -1.0)], axis=1)
    b = a + np.array([size + 10.0, 0.0, 0.0])
    packed = lines(a, b, 2)
    grid = Grid.over((0.0, 0.0), (size, size), size / columns)
    seconds, mine = best(lambda: cut(grid, packed, block(size)), times)

    def booleans() -> Any:
        ball = m3.Manifold.sphere(R, 64).translate((0.0, 0.0, R))
        up = ball.translate((0.0, 0.0, 20.0))
        swept = [
            m3.Manifold.batch_hull(
                [s.translate(tuple(p)) for s in (ball, up) for p in (start, end)]
            )
            for start, end in zip(a, b, strict=True)
        ]
        stock = m3.Manifold.cube((size, size, 10.0)).translate((0.0, 0.0, -10.0))
        return stock - m3.Manifold.batch_boolean(swept, m3.OpType.Add)

    slow, solid = best(booleans, 1)
    off = abs(solid.volume() - mine.left_volume) / mine.left_volume
    print(f"\n400 ball passes on {columns} x {columns} columns against manifold3d")
    print(f"  engine      {seconds:8.3f} s")
    print(f"  manifold3d  {slow:8.3f} s   {slow / seconds:.0f} times the engine's")
    print(f"  volumes differ by {off:.1e} (its ball has 64 facets round)")


def main() -> None:
    """Print all comparisons."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes, to see that it runs")
    quick = parser.parse_args().quick
    print(
        f"python {platform.python_version()}, numba {numba.__version__}, numpy {np.__version__}, "
        f"{numba.config.NUMBA_NUM_THREADS} cores, {platform.machine()}"
    )
    rates(1 if quick else 5)
    for sloped in (False, True):
        size = (20_000, 512, sloped, 1) if quick else (250_000, 2048, sloped, 3)
        dense_raster(*size)
    against_booleans(500 if quick else 1000, 1 if quick else 5)


if __name__ == "__main__":
    main()
