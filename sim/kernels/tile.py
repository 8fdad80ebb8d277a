"""Cut the columns of tiles.

A tile (`TILE` columns square) is asked in three steps: which moves can show on the tile, on a
quarter of it, on a patch of 8 x 8; then those are tested column by column in packed arithmetic.
Heights need no order; what a pass removes needs the passes in order, not the moves inside one.
Only where metal may stand higher than a cutting part reaches is every move taken in order.
"""

import math

import numpy as np

from .cells import CELLS, IN_ORDER, SAME, cut_any, cut_cells
from .place import bounds, place, surface
from .profile import INF, jit, once
from .row import load

SLACK = 1e-9
"""A move is left out by its bound only when that is above by more than this, mm: bounds are good
to about 1e-13 mm at coordinates of 10 m, so no move that could show is lost."""


@jit
def keep(moves, ids, n, out, lows, x, y, r, cap, by_pass):
    """Copy the moves that can show within r of (x, y) to out; returns how many.

    cap: highest stock there. With by_pass a move is judged by the moves of its own and earlier
    passes only. out may be ids.
    """
    code, rows, passes = moves
    kept = 0
    least = cap
    i = 0
    while i < n:
        j = i
        p = passes[ids[i]]
        while j < n and (not by_pass or passes[ids[j]] == p):
            m = ids[j]
            low, high = bounds(code[m], load(rows, m), x, y, r)
            lows[j] = low
            least = high if high < least else least
            j += 1
        for k in range(i, j):
            if lows[k] <= least + SLACK:
                out[kept] = ids[k]
                kept += 1
        i = j
    return kept


@jit
def highest(top):
    """Highest of a patch."""
    z = -INF
    for i in range(CELLS):
        z = top[i] if top[i] > z else z
    return z


@once
def cut_segment(moves, ids, i, j, lows, cells, rho2, buried, in_order):
    """Cut the moves ids[i:j] into a patch; returns the number of column tests."""
    code, rows, _ = moves
    xs, ys, top, own, _, _, _ = cells
    zmax = highest(top)
    x = 0.5 * (xs[0] + xs[CELLS - 1])
    y = 0.5 * (ys[0] + ys[CELLS - 1])
    r = math.hypot(xs[0] - x, ys[0] - y)
    tests = np.int64(0)
    if in_order:
        for k in range(i, j):
            m = ids[k]
            row = load(rows, m)
            low, _ = bounds(code[m], row, x, y, r)
            if low <= zmax + SLACK:
                cut_any(code[m], row, m, xs, ys, top, own, buried, IN_ORDER)
                tests += CELLS
        return tests
    least = zmax
    for k in range(i, j):
        m = ids[k]
        low, high = bounds(code[m], load(rows, m), x, y, r)
        lows[k] = low
        least = high if high < least else least
    for k in range(i, j):
        if lows[k] <= least + SLACK:
            m = ids[k]
            cut_cells(code[m], load(rows, m), m, xs, ys, top, own, rho2, buried)
            tests += CELLS
    return tests


@jit
def quantum(z, floor, scale):
    """Height over the floor in whole steps, so that sums are exact in any order."""
    return np.int64(round((z - floor) * scale))


@jit
def note_skim(skims, count, first, p, into, z, depth, place, m):
    """Add one column to the skims of this tile; returns the new count, -1 when out of room."""
    found, sizes = skims
    ix, iy = place
    at = -1
    for k in range(first, count):
        if found[k, 0] == p and found[k, 1] == into and abs(sizes[k, 0] - z) <= SAME:
            at = k
            break
    if at < 0:
        if count >= len(found):
            return -1
        found[count, 0] = p
        found[count, 1] = into
        found[count, 2] = 1
        found[count, 3] = ix
        found[count, 4] = iy
        found[count, 5] = m
        sizes[count, 0] = z
        sizes[count, 1] = depth
        return count + 1
    found[at, 2] += 1
    deeper = depth > sizes[at, 1]
    earlier = depth == sizes[at, 1] and (iy, ix) < (found[at, 4], found[at, 3])
    if deeper or earlier:
        sizes[at, 1] = depth
        found[at, 3] = ix
        found[at, 4] = iy
        found[at, 5] = m
    return count


@once
def skim_depth(code, rows, x, y, before, own_before, after, own, limit):
    """How deep a column of a flat floor was skimmed; 0 when it wasn't, or was cut by more.

    The depth of cut is that of the tool's tip under the floor, so the rim of a deep cut is none.
    """
    depth = before - after
    if own_before < 0 or depth <= SAME:
        return 0.0
    row = load(rows, own)
    _, _, z = place(code[own], row, x, y)
    if before - z + row[17] > limit + SAME:
        return 0.0
    _, _, flat = surface(code[own_before], load(rows, own_before), x, y)
    return depth if flat else 0.0
