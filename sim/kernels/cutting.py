"""Walk over tiles, sub-tiles and patches; the outermost kernels."""

import math

import numpy as np

from .place import bounds, cut_top, height, surface
from .profile import INF, STEEP, jit, once
from .row import load
from .tile import (
    CELLS,
    PATCH,
    SAME,
    SLACK,
    SUB,
    TILE,
    cut_segment,
    keep,
    note_skim,
    quantum,
    skim_depth,
)

ZERO = np.int64(0)  # a typed zero: a bare 0 would be compiled a second time as a literal
ROOM = -1
"""Status: no room left for skims; the caller makes more and asks again."""


@jit
def fill_patch(grid, raw, raw_step, i0, j0, xs, ys, top, own):
    """Set the cells of a patch to the raw stock; cells past the window hold nothing."""
    nx = int(grid[4])
    ny = int(grid[5])
    for n in range(CELLS):
        i = i0 + n % PATCH
        j = j0 + n // PATCH
        xs[n] = grid[0] + (i + 0.5) * grid[2]
        ys[n] = grid[1] + (j + 0.5) * grid[3]
        own[n] = -1
        top[n] = raw[j * raw_step[0], i * raw_step[1]] if i < nx and j < ny else -INF


@jit
def store_patch(grid, i0, j0, top, own, out_top, out_own):
    """Write the cells that lie in the window."""
    for n in range(CELLS):
        i = i0 + n % PATCH
        j = j0 + n // PATCH
        if i < int(grid[4]) and j < int(grid[5]):
            out_top[j, i] = top[n]
            out_own[j, i] = own[n]


@once
def account(code, rows, passes, p, i0, j0, cells, floors, measure, removed, skims, count, first):
    """Add what pass p removed from a patch, and the floors it skimmed; returns the skim count.

    cells: (xs, ys, top, own, top before, owner before); measure: floor, scale, skim limit.
    """
    xs, ys, top, own, top0, own0 = cells
    found, sizes = skims
    units = np.int64(0)
    for n in range(CELLS):
        if top[n] < top0[n]:
            b = floors[n]
            low = top[n] if top[n] > b else b
            high = top0[n] if top0[n] > b else b
            units += quantum(high, measure[0], measure[1]) - quantum(low, measure[0], measure[1])
            depth = skim_depth(code, rows, xs[n], ys[n], high, own0[n], low, own[n], measure[2])
            if depth > SAME and passes[own0[n]] != p:
                ix = i0 + n % PATCH
                iy = j0 + n // PATCH
                into = passes[own0[n]]
                count = note_skim(found, sizes, count, first, p, into, high, depth, ix, iy, own[n])
                if count < 0:
                    return count
    removed[p, 0] += units & 0xFFFFFFFF
    removed[p, 1] += units >> 32
    return count


@once
def cut_patch(
    code, rows, passes, ids, n, lows, cells, floors, rho2, buried, flags, measure, i0, j0,
    removed, deep, skims, count, first,
):  # fmt: skip
    """Cut a patch; flags: (by pass, in order). Returns (column tests, skim count)."""
    xs, ys, top, own, top0, own0 = cells
    by_pass, in_order = flags
    tests = ZERO
    i = ZERO
    while i < n:
        p = passes[ids[i]]
        j = i
        while j < n and ((not by_pass and not in_order) or passes[ids[j]] == p):
            j += 1
        for k in range(CELLS):
            top0[k] = top[k]
            own0[k] = own[k]
            buried[k] = False
        tests += cut_segment(code, rows, ids, i, j, lows, xs, ys, top, own, rho2, buried, in_order)
        if by_pass:
            count = account(
                code, rows, passes, p, i0, j0, cells, floors, measure, removed, skims, count,
                first,
            )  # fmt: skip
            if count < 0:
                return tests, count
            if in_order:
                for k in range(CELLS):
                    deep[p] += buried[k]
        i = j
    return tests, count


@jit
def reaches_too_deep(rows, ids, n, zmax):
    """Whether some move of a tile may leave metal above its cutting part."""
    for k in range(n):
        if rows[ids[k], 2] + rows[ids[k], 16] < zmax - SAME:
            return True
    return False


@jit
def raw_highest(grid, raw, raw_step, i0, j0, size):
    """Highest raw stock of a square of columns."""
    z = -INF
    for j in range(j0, min(j0 + size, int(grid[5]))):
        for i in range(i0, min(i0 + size, int(grid[4]))):
            v = raw[j * raw_step[0], i * raw_step[1]]
            z = v if v > z else z
            if raw_step[0] == 0:
                return z
    return z


@jit
def cut_tiles(
    tiles, tiles_x, first_tile_row, offsets, ids, code, rows, passes, grid, raw, bottom, raw_step,
    by_pass, measure, out_top, out_own, removed, deep, found, sizes,
):  # fmt: skip
    """Cut some tiles of a strip.

    tiles: numbers within the strip. grid: x_low, y_low, pitch_x, pitch_y, nx, ny. raw, bottom:
    stock heights (-INF nothing), indexed [j * raw_step[0], i * raw_step[1]]. measure: floor and
    scale of the volume sums, skim limit. removed[p] takes (low 32 bits, rest) of the sum, deep[p]
    columns whose metal the cutting part didn't reach. Returns (skim count or ROOM, tests done,
    tests left out).
    """
    longest = 0
    for t in tiles:
        longest = max(longest, offsets[t + 1] - offsets[t])
    lists = (np.empty(longest, np.int32), np.empty(longest, np.int32), np.empty(longest, np.int32))
    lows = np.empty(longest, np.float64)
    cells = (
        np.empty(CELLS), np.empty(CELLS), np.empty(CELLS), np.empty(CELLS, np.int32),
        np.empty(CELLS), np.empty(CELLS, np.int32),
    )  # fmt: skip
    floors = np.empty(CELLS)
    scratch = (np.empty(CELLS), np.zeros(CELLS, np.bool_))
    count = ZERO
    done = ZERO
    offered = ZERO
    for t in tiles:
        i0 = (t % tiles_x) * TILE
        j0 = (first_tile_row + t // tiles_x) * TILE
        span = ids[offsets[t] : offsets[t + 1]]
        tests, count = cut_tile(
            i0, j0, span, lists, lows, cells, floors, scratch, code, rows, passes, grid, raw,
            bottom, raw_step, by_pass, measure, out_top, out_own, removed, deep,
            (found, sizes), count,
        )  # fmt: skip
        if count < 0:
            return ROOM, done, offered
        width = min(TILE, int(grid[4]) - i0)
        offered += len(span) * width * min(TILE, int(grid[5]) - j0)
        done += tests
    return count, done, offered - done


@once
def cut_tile(
    i0, j0, span, lists, lows, cells, floors, scratch, code, rows, passes, grid, raw, bottom,
    raw_step, by_pass, measure, out_top, out_own, removed, deep, skims, count,
):  # fmt: skip
    """Cut one tile; returns (column tests, skim count)."""
    zmax = raw_highest(grid, raw, raw_step, i0, j0, TILE)
    in_order = reaches_too_deep(rows, span, len(span), zmax)
    first = count
    tests = ZERO
    on_tile, on_sub, on_patch = lists
    n_tile = narrow(
        code, rows, passes, span, len(span), on_tile, lows, grid, i0, j0, TILE, zmax, by_pass,
        in_order,
    )  # fmt: skip
    xs, ys, top, own, _, _ = cells
    for s in range((TILE // SUB) ** 2):
        si = i0 + (s % (TILE // SUB)) * SUB
        sj = j0 + (s // (TILE // SUB)) * SUB
        if si >= int(grid[4]) or sj >= int(grid[5]):
            continue
        zsub = raw_highest(grid, raw, raw_step, si, sj, SUB)
        n_sub = narrow(
            code, rows, passes, on_tile, n_tile, on_sub, lows, grid, si, sj, SUB, zsub, by_pass,
            in_order,
        )  # fmt: skip
        for q in range((SUB // PATCH) ** 2):
            pi = si + (q % (SUB // PATCH)) * PATCH
            pj = sj + (q // (SUB // PATCH)) * PATCH
            if pi >= int(grid[4]) or pj >= int(grid[5]):
                continue
            fill_patch(grid, raw, raw_step, pi, pj, xs, ys, top, own)
            for n in range(CELLS):
                bi = min(pi + n % PATCH, int(grid[4]) - 1) * raw_step[1]
                bj = min(pj + n // PATCH, int(grid[5]) - 1) * raw_step[0]
                floors[n] = bottom[bj, bi]
            for k in range(n_sub):
                on_patch[k] = on_sub[k]
            more, count = cut_patch(
                code, rows, passes, on_patch, n_sub, lows, cells, floors, scratch[0],
                scratch[1], (by_pass, in_order), measure, pi, pj, removed, deep, skims, count,
                first,
            )  # fmt: skip
            tests += more
            if count < 0:
                return tests, count
            store_patch(grid, pi, pj, top, own, out_top, out_own)
    return tests, count


@jit
def narrow(code, rows, passes, ids, n, out, lows, grid, i0, j0, size, zmax, by_pass, in_order):
    """Copy the moves that can show on a square of columns to out; all of them when in order."""
    if in_order:
        for k in range(n):
            out[k] = ids[k]
        return n
    half = 0.5 * (size - 1)
    x = grid[0] + (i0 + half + 0.5) * grid[2]
    y = grid[1] + (j0 + half + 0.5) * grid[3]
    r = math.hypot(half * grid[2], half * grid[3])
    return keep(code, rows, passes, ids, n, out, lows, x, y, r, zmax, by_pass)


@jit
def surface_of(code, rows, grid, j_first, top, own, slope, flat):
    """Slope and flatness of cut columns, rows j_first onwards; raw ones are left alone."""
    for j in range(top.shape[0]):
        y = grid[1] + (j_first + j + 0.5) * grid[3]
        for i in range(top.shape[1]):
            m = own[j, i]
            if m >= 0:
                x = grid[0] + (i + 0.5) * grid[2]
                sx, sy, level = surface(code[m], load(rows, m), x, y)
                slope[j, i, 0] = min(max(sx, -STEEP), STEEP)
                slope[j, i, 1] = min(max(sy, -STEEP), STEEP)
                flat[j, i] = level


@jit
def cut_points(code, rows, ids, starts, stops, xs, ys, limit, top, own):
    """Cut single columns in program order: those of point n among ids[starts[n]:stops[n]].

    Moves from index `limit` on are left out. top and own hold the raw stock on entry.
    """
    for n in range(len(xs)):
        for k in range(starts[n], stops[n]):
            m = ids[k]
            if m >= limit:
                break
            row = load(rows, m)
            if row[2] < top[n]:
                h = height(code[m], row, xs[n], ys[n])
                if h < top[n] and top[n] <= cut_top(code[m], row, xs[n], ys[n]) + SAME:
                    top[n] = h
                    own[n] = m


@jit
def shows_near(code, rows, ids, x, y, r, zmax, out):
    """Moves of ids that can show within r of a point, any order of passes; returns how many."""
    least = zmax
    for k in range(len(ids)):
        _, high = bounds(code[ids[k]], load(rows, ids[k]), x, y, r)
        least = high if high < least else least
    n = 0
    for k in range(len(ids)):
        low, _ = bounds(code[ids[k]], load(rows, ids[k]), x, y, r)
        if low <= least + SLACK:
            out[n] = ids[k]
            n += 1
    return n


@jit
def flat_points(code, rows, xs, ys, own, flat):
    """Mark the points that lie under the flat bottom of a tool at its lowest."""
    for n in range(len(xs)):
        m = own[n]
        if m >= 0:
            _, _, level = surface(code[m], load(rows, m), xs[n], ys[n])
            flat[n] = level


@jit
def reaching(code, rows, ids, x, y, r, zmax, out):
    """Moves of ids that come within reach of a disc and not above zmax; returns how many."""
    n = 0
    for k in range(len(ids)):
        low, _ = bounds(code[ids[k]], load(rows, ids[k]), x, y, r)
        if low <= zmax + SLACK:
            out[n] = ids[k]
            n += 1
    return n
