"""Walk over tiles, quarters, sub-tiles and patches; the outermost kernels.

Arguments that go together travel as tuples:

========  ====================================================================================
moves     code, rows, passes
window    x_low, y_low, pitch_x, pitch_y, nx, ny (all floats)
stock     raw top, bottom, step: heights at [j * step[0], i * step[1]]; -INF where nothing is
measure   floor and steps per mm of the volume sums, deepest skim
out       top, owner, removed, deep, columns with metal above a cutting part
cells     xs, ys, top, owner, top before, owner before, bottom: the cells of a patch
skims     found, sizes: see `tile.note_skim`
========  ====================================================================================
"""

import math

import numpy as np

from .cells import CELLS, PATCH, SAME
from .place import bounds, cut_top, height, place, surface
from .profile import INF, STEEP, entry, jit, once
from .row import load
from .tile import SLACK, cut_segment, keep, note_skim, quantum, skim_depth

TILE = np.int64(64)  # typed: a bare number would be compiled once more, as a literal
HALF = np.int64(32)
SUB = np.int64(16)
ZERO = np.int64(0)
ROOM = -1
"""Status: no room left for skims; the caller makes more and asks again."""


@jit
def fill_patch(window, stock, i0, j0, cells):
    """Set the cells of a patch to the raw stock; cells past the window hold nothing."""
    raw, bottom, step = stock
    xs, ys, top, own, _, _, low = cells
    nx = int(window[4])
    ny = int(window[5])
    for n in range(CELLS):
        i = i0 + n % PATCH
        j = j0 + n // PATCH
        xs[n] = window[0] + (i + 0.5) * window[2]
        ys[n] = window[1] + (j + 0.5) * window[3]
        own[n] = -1
        inside = i < nx and j < ny
        top[n] = raw[j * step[0], i * step[1]] if inside else -INF
        low[n] = bottom[j * step[0], i * step[1]] if inside else INF


@jit
def store_patch(window, i0, j0, cells, ever, out):
    """Write the cells that lie in the window."""
    for n in range(CELLS):
        i = i0 + n % PATCH
        j = j0 + n // PATCH
        if i < int(window[4]) and j < int(window[5]):
            out[0][j, i] = cells[2][n]
            out[1][j, i] = cells[3][n]
            if ever[n]:
                out[4][j, i] = True


@once
def account(moves, p, i0, j0, cells, measure, removed, skims, count, first):
    """Add what pass p removed from a patch, and the floors it skimmed; returns the skim count."""
    code, rows, passes = moves
    xs, ys, top, own, top0, own0, low = cells
    units = ZERO
    for n in range(CELLS):
        if top[n] < top0[n]:
            after = top[n] if top[n] > low[n] else low[n]
            before = top0[n] if top0[n] > low[n] else low[n]
            units += quantum(before, measure[0], measure[1])
            units -= quantum(after, measure[0], measure[1])
            depth = skim_depth(code, rows, xs[n], ys[n], before, own0[n], after, own[n], measure[2])
            if depth > SAME and passes[own0[n]] != p:
                at = (i0 + n % PATCH, j0 + n // PATCH)
                into = passes[own0[n]]
                count = note_skim(skims, count, first, p, into, before, depth, at, own[n])
                if count < 0:
                    break
    removed[p, 0] += units & 0xFFFFFFFF
    removed[p, 1] += units >> 32
    return count


@once
def cut_patch(moves, ids, n, lows, cells, scratch, mode, measure, i0, j0, out, skims, count, first):
    """Cut a patch pass by pass, or at once; returns (column tests, skim count)."""
    passes = moves[2]
    _, _, top, own, top0, own0, _ = cells
    rho2, buried, ever = scratch
    by_pass, in_order = mode
    tests = ZERO
    for k in range(CELLS):
        ever[k] = False
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
        tests += cut_segment(moves, ids, i, j, lows, cells, rho2, buried, in_order)
        if in_order:
            for k in range(CELLS):
                ever[k] |= buried[k]
        if by_pass:
            count = account(moves, p, i0, j0, cells, measure, out[2], skims, count, first)
            if count < 0:
                break
            for k in range(CELLS):
                out[3][p] += buried[k]
        i = j
    return tests, count


@jit
def reaches_too_deep(rows, ids, zmax):
    """Whether some move of a tile may leave metal above its cutting part."""
    for m in ids:
        if rows[m, 2] + rows[m, 16] < zmax - SAME:
            return True
    return False


@jit
def raw_highest(window, stock, i0, j0, size):
    """Highest raw stock of a square of columns."""
    raw, _, step = stock
    z = -INF
    for j in range(j0, min(j0 + size, int(window[5]))):
        for i in range(i0, min(i0 + size, int(window[4]))):
            v = raw[j * step[0], i * step[1]]
            z = v if v > z else z
            if step[0] == 0:
                return z
    return z


@jit
def narrow(moves, window, stock, ids, n, out, lows, i0, j0, size, mode):
    """Copy the moves that can show on a square of columns to out; all of them when in order."""
    by_pass, in_order = mode
    if in_order:
        for k in range(n):
            out[k] = ids[k]
        return n
    half = 0.5 * (size - 1)
    x = window[0] + (i0 + half + 0.5) * window[2]
    y = window[1] + (j0 + half + 0.5) * window[3]
    r = math.hypot(half * window[2], half * window[3])
    zmax = raw_highest(window, stock, i0, j0, size)
    return keep(moves, ids, n, out, lows, x, y, r, zmax, by_pass)


@entry
def cut_tiles(tiles, tiles_x, first_row, lists, moves, window, stock, by_pass, measure, out, skims):
    """Cut some tiles of a strip.

    tiles: numbers within the strip, whose first tile row is first_row. lists: offsets and move
    indices of each tile. In out, removed[p] takes (low 32 bits, rest) of the sum, deep[p] the
    columns whose metal the cutting part didn't reach. Returns (skim count or ROOM, tests done,
    tests left out).
    """
    offsets, ids = lists
    longest = ZERO
    for t in tiles:
        longest = max(longest, offsets[t + 1] - offsets[t])
    lows = np.empty(longest, np.float64)
    on = (
        np.empty(longest, np.int32), np.empty(longest, np.int32), np.empty(longest, np.int32),
        np.empty(longest, np.int32),
    )  # fmt: skip
    cells = (
        np.empty(CELLS), np.empty(CELLS), np.empty(CELLS), np.empty(CELLS, np.int32),
        np.empty(CELLS), np.empty(CELLS, np.int32), np.empty(CELLS),
    )  # fmt: skip
    scratch = (np.empty(CELLS), np.zeros(CELLS, np.bool_), np.zeros(CELLS, np.bool_))
    count = ZERO
    done = ZERO
    offered = ZERO
    for t in tiles:
        i0 = (t % tiles_x) * TILE
        j0 = (first_row + t // tiles_x) * TILE
        span = ids[offsets[t] : offsets[t + 1]]
        tests, count = cut_tile(
            moves, window, stock, span, on, lows, cells, scratch, by_pass, measure, i0, j0, out,
            skims, count,
        )  # fmt: skip
        if count < 0:
            return ROOM, done, offered
        done += tests
        offered += len(span) * min(TILE, int(window[4]) - i0) * min(TILE, int(window[5]) - j0)
    return count, done, offered - done


@once
def cut_tile(
    moves, window, stock, span, on, lows, cells, scratch, by_pass, measure, i0, j0, out, skims,
    count,
):  # fmt: skip
    """Cut one tile, square by square down to patches; returns (column tests, skim count)."""
    too_deep = reaches_too_deep(moves[1], span, raw_highest(window, stock, i0, j0, TILE))
    mode = (by_pass, too_deep)
    first = count
    tests = ZERO
    n_tile = narrow(moves, window, stock, span, len(span), on[0], lows, i0, j0, TILE, mode)
    n_half = ZERO
    n_sub = ZERO
    for s in range((TILE // PATCH) ** 2):
        # squares are walked so that each half and each sub-tile is narrowed once
        hi, hj = i0 + (s // 16 % 2) * HALF, j0 + (s // 32) * HALF
        si, sj = hi + (s // 4 % 2) * SUB, hj + (s // 8 % 2) * SUB
        pi, pj = si + (s % 2) * PATCH, sj + (s // 2 % 2) * PATCH
        if s % 16 == 0:
            n_half = narrow(moves, window, stock, on[0], n_tile, on[1], lows, hi, hj, HALF, mode)
        if s % 4 == 0:
            n_sub = narrow(moves, window, stock, on[1], n_half, on[2], lows, si, sj, SUB, mode)
        if pi >= int(window[4]) or pj >= int(window[5]):
            continue
        fill_patch(window, stock, pi, pj, cells)
        more, count = cut_patch(
            moves, on[2], n_sub, lows, cells, scratch, mode, measure, pi, pj, out, skims, count,
            first,
        )  # fmt: skip
        tests += more
        if count < 0:
            break
        store_patch(window, pi, pj, cells, scratch[2], out)
    return tests, count


@entry
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
def lowest_of(code, rows, ids, start, stop, x, y, limit, raw):
    """Lowest height at (x, y) and the first move that leaves it (-1: none), the last move first.

    The last is False, and the others say nothing, where metal may stand above a cutting part, for
    then the order counts. The lowest height does not depend on it; moves go down as a rule, so
    that the last ones leave least to look at.
    """
    least = raw
    by = -1
    for k in range(stop - 1, start - 1, -1):
        m = ids[k]
        if m >= limit:
            continue
        row = load(rows, m)
        over = row[2] + row[16] < raw
        if row[2] > least and not over:
            continue
        h = height(code[m], row, x, y)
        if h < INF and over:
            return least, by, False
        if h < least or (h == least and by >= 0):
            least = h
            by = m
    return least, by, True


@entry
def cut_points(code, rows, ids, starts, stops, xs, ys, limit, top, own, buried):
    """Cut single columns in program order: those of point n among ids[starts[n]:stops[n]].

    Rows from index `limit` on are left out. top and own hold the raw stock on entry; where metal
    stands above a cutting part, buried is set.
    """
    for n in range(len(xs)):
        found, by, plain = lowest_of(
            code, rows, ids, starts[n], stops[n], xs[n], ys[n], limit, top[n]
        )
        if plain:
            if by >= 0:
                top[n] = found
                own[n] = by
            continue
        for k in range(starts[n], stops[n]):
            m = ids[k]
            if m >= limit:
                break
            row = load(rows, m)
            if row[2] < top[n]:
                h = height(code[m], row, xs[n], ys[n])
                if h < top[n]:
                    if top[n] <= cut_top(code[m], row, xs[n], ys[n]) + SAME:
                        top[n] = h
                        own[n] = m
                    else:
                        buried[n] = True


@entry
def shows_near(code, rows, ids, x, y, r, zmax, hidden_too, out):
    """Moves of ids that can show within r of a point, or come near it below zmax; how many."""
    least = zmax
    for k in range(0 if hidden_too else len(ids)):
        _, high = bounds(code[ids[k]], load(rows, ids[k]), x, y, r)
        least = high if high < least else least
    n = 0
    for k in range(len(ids)):
        low, _ = bounds(code[ids[k]], load(rows, ids[k]), x, y, r)
        if low <= least + SLACK:
            out[n] = ids[k]
            n += 1
    return n


@entry
def flat_points(code, rows, xs, ys, own, flat):
    """Mark the points that lie under the flat bottom of a tool at its lowest."""
    for n in range(len(xs)):
        m = own[n]
        if m >= 0:
            _, _, level = surface(code[m], load(rows, m), xs[n], ys[n])
            flat[n] = level


@entry
def tip_over(code, rows, m, x, y):
    """Tip (x, y, z) of move m when it leaves a column."""
    return place(code[m], load(rows, m), x, y)


@entry
def earliest_within(code, rows, ids, starts, stops, xs, ys, raw, top, near, own):
    """Replace each owner by the earliest move (-1: raw) whose height there is within `near`."""
    for n in range(len(xs)):
        if own[n] < 0:
            continue
        if abs(raw[n] - top[n]) <= near:
            own[n] = -1
            continue
        for k in range(starts[n], stops[n]):
            m = ids[k]
            if m >= own[n]:
                break
            if abs(height(code[m], load(rows, m), xs[n], ys[n]) - top[n]) <= near:
                own[n] = m
                break


@entry
def heights_of(code, rows, ids, xs, ys, out):
    """Height that row ids[n] leaves at column n; INF out of reach."""
    for n in range(len(xs)):
        m = ids[n]
        out[n] = height(code[m], load(rows, m), xs[n], ys[n])
