"""The search for the least gap of one move: squares in plan, halved where bounds allow a less."""

import math

import numpy as np

from .cells import SAME
from .gap import gap_at
from .gap_bounds import ROOT2, edge_bound, rim_top, same_rim, slope_at, square_bound, sure_top_near
from .mesh_columns import _cell, _extent, facet_z
from .place import HELIX, bounds, cut_top, height
from .profile import INF, entry, jit
from .row import load

FINE = 0.25
"""Squares smaller than this share of what may be missed are not halved."""
MOST = 1_000_000
"""Work on one move, about a microsecond each: more, and the search is cut short and says so."""
RIM = 0.02
"""The same of a sweep whose rim is looked at, for each that reaches the square."""
ROUND = 20.0
"""The same of a square on a helix, whose nearest place is searched for."""
ZERO = np.int64(0)
DEEP = 64
ROUND_STOCK = 1
MESH_STOCK = 2


@jit
def column(code, rows, ids, n, x, y, raw):
    """Height left at a place by the first n of ids, in program order."""
    top = raw
    for k in range(n):
        m = np.int64(ids[k])
        row = load(rows, m)
        if row[2] < top:
            z = height(code[m], row, x, y)
            if z < top and top <= cut_top(code[m], row, x, y) + SAME:
                top = z
    return top


@jit
def highest_left(code, rows, ids, n, x, y, r, raw):
    """Height that no column within r of a place can exceed."""
    top = raw
    for k in range(n):
        m = np.int64(ids[k])
        row = load(rows, m)
        if row[2] < top and top <= sure_top_near(code[m], row, x, y, r) + SAME:
            _, high = bounds(code[m], row, x, y, r)
            top = high if high < top else top
    return top


@jit
def inside_rim(code, rows, ids, n, edge, x, y, a, nx, ny, r, raw):
    """As `highest_left` on the side of a rim that its move, row `edge`, cuts."""
    top = raw
    row = load(rows, edge)
    for k in range(n):
        m = np.int64(ids[k])
        other = load(rows, m)
        if other[2] < top and top <= sure_top_near(code[m], other, x, y, r) + SAME:
            _, high = bounds(code[m], other, x, y, r)
            if high > top and same_rim(code[edge], row, code[m], other, x, y, nx, ny, a, r):
                high = rim_top(code[m], other)
            top = high if high < top else top
    return top


@jit
def facets_over(outline, x, y, h):
    """Height that a mesh does not exceed over a square; its own height for a square of no size."""
    _, _, vertices, facets, window, stops, ids = outline
    ny, nx = stops.shape
    top = -INF
    for j in range(
        _cell(y - h, window[1], window[3], ny), _cell(y + h, window[1], window[3], ny) + 1
    ):
        for i in range(
            _cell(x - h, window[0], window[2], nx), _cell(x + h, window[0], window[2], nx) + 1
        ):
            flat = j * nx + i
            begin = stops[(flat - 1) // nx, (flat - 1) % nx] if flat > 0 else 0
            for at in range(begin, stops[j, i]):
                t = ids[at]
                if h == 0.0:
                    z = facet_z(vertices, facets, t, x, y)
                    top = z if z > top else top
                else:
                    top = max(top, facet_over(vertices, facets, t, x, y, h))
    return top


@jit
def facet_over(vertices, facets, t, x, y, h):
    """Height that a facet does not exceed over a square; -INF where their boxes lie apart."""
    x_low, x_high = _extent(vertices, facets, t, 0)
    y_low, y_high = _extent(vertices, facets, t, 1)
    if x_low > x + h or x_high < x - h or y_low > y + h or y_high < y - h:
        return -INF
    _, high = _extent(vertices, facets, t, 2)
    a, b, c = facets[t, 0], facets[t, 1], facets[t, 2]
    ux, uy = vertices[b, 0] - vertices[a, 0], vertices[b, 1] - vertices[a, 1]
    vx, vy = vertices[c, 0] - vertices[a, 0], vertices[c, 1] - vertices[a, 1]
    uz, vz = vertices[b, 2] - vertices[a, 2], vertices[c, 2] - vertices[a, 2]
    nz = ux * vy - uy * vx
    if abs(nz) <= 1e-9 * (abs(ux * vy) + abs(uy * vx)):
        return high  # upright, or nearly
    sx = -(uy * vz - uz * vy) / nz
    sy = -(uz * vx - ux * vz) / nz
    plane = vertices[a, 2] + sx * (x - vertices[a, 0]) + sy * (y - vertices[a, 1])
    return min(high, plane + (abs(sx) + abs(sy)) * h + 1e-9)


@jit
def raw_over(outline, x, y, h, raw):
    """Height that the raw stock does not exceed over a square; -INF where there is none."""
    kind, ring = outline[0], outline[1]
    if kind == ROUND_STOCK:
        dx = abs(x - ring[0])
        dy = abs(y - ring[1])
        near = math.hypot(max(dx - h, 0.0), max(dy - h, 0.0))
        if near > ring[2] or math.hypot(dx + h, dy + h) < ring[3]:
            return -INF
        return raw
    if kind == MESH_STOCK:
        return min(raw, facets_over(outline, x, y, h))
    return raw


@jit
def raw_at(outline, x, y, raw):
    """Height of the raw stock on a column; -INF where there is none.

    outline: kind of stock; a ring's x, y, radius and bore; a mesh's vertices, facets, and the
    window, ends and lists of its cells.
    """
    kind, ring = outline[0], outline[1]
    if kind == ROUND_STOCK:
        rho = math.hypot(x - ring[0], y - ring[1])
        return raw if ring[3] <= rho <= ring[2] else -INF
    if kind == MESH_STOCK:
        return facets_over(outline, x, y, 0.0)
    return raw


@jit
def take(best, gap, x, y, z, move):
    """Keep a smaller gap: best is (gap, x, y, z, move)."""
    if gap < best[0] - 1e-12:
        best[0] = gap
        best[1] = x
        best[2] = y
        best[3] = z
        best[4] = move


@jit
def look(kind, path, parts, code, rows, ids, n, x, y, raw, outline, best, move):
    """Try the column at a place."""
    top = column(code, rows, ids, n, x, y, raw_at(outline, x, y, raw))
    gap, z, _ = gap_at(kind, path, parts, x, y, top)
    if top > -INF:
        take(best, gap, x, y, z, move)


@jit
def judge(kind, path, parts, code, rows, ids, n, x, y, h, raw, outline, best, tol, move):
    """Whether a square may hold a smaller gap; tries its middle and the edge through it."""
    r = h * ROOT2
    over_it = raw_over(outline, x, y, h, raw)
    top = highest_left(code, rows, ids, n, x, y, r, over_it)
    if top == -INF:
        return False
    low = square_bound(kind, path, parts, x, y, h, top)
    if low >= best[0] - tol:
        return False
    edge = -INF
    tried = 0.0
    slope = (INF, 0.0, 0.0, 0.0)
    for k in range(n):
        m = np.int64(ids[k])
        row = load(rows, m)
        if row[2] >= top:
            continue
        if slope[0] == INF:
            slope = slope_at(kind, path, parts, x, y, top, 1e-7 * (1.0 + row[9]))
        b, a, nx, ny = edge_bound(kind, path, x, y, h, code[m], row, slope)
        if b == -INF or a == tried:
            continue
        tried = a
        ex = x + (a + 1e-9) * nx
        ey = y + (a + 1e-9) * ny
        if abs(ex - x) <= h and abs(ey - y) <= h:
            best[5] += RIM * n
            look(kind, path, parts, code, rows, ids, n, ex, ey, raw, outline, best, move)
        if b > edge and b >= best[0] - tol:
            best[5] += RIM * n
            over = inside_rim(code, rows, ids, n, m, x, y, a, nx, ny, r, over_it)
            inside, _, _ = gap_at(kind, path, parts, x, y, min(over, top))
            edge = max(edge, min(b, inside - r))
            if edge >= best[0] - tol:
                return False
    look(kind, path, parts, code, rows, ids, n, x, y, raw, outline, best, move)
    return max(low, edge) < best[0] - tol


@jit
def search(kind, path, parts, code, rows, ids, n, x, y, h, raw, outline, best, tol, move, squares):
    """Search one square down to where nothing smaller can be; best[5] counts the work."""
    squares[0, 0] = x
    squares[0, 1] = y
    squares[0, 2] = h
    depth = ZERO + 1
    while depth > 0:
        depth -= 1
        x = squares[depth, 0]
        y = squares[depth, 1]
        h = squares[depth, 2]
        best[5] += ROUND if kind == HELIX else 1.0
        if best[5] > MOST:
            return
        if not judge(kind, path, parts, code, rows, ids, n, x, y, h, raw, outline, best, tol, move):
            continue
        if h * ROOT2 <= FINE * tol:
            continue
        half = 0.5 * h
        for k in range(4):
            squares[depth, 0] = x + (half if k & 1 else -half)
            squares[depth, 1] = y + (half if k & 2 else -half)
            squares[depth, 2] = half
            depth += 1


@entry
def search_move(m, table, parts, code, rows, limit, boxes, order, lists, raw, outline, best, tol):
    """Search boxes of one move in the order given; lists: rows that reach each box.

    outline: as `raw_at` takes it. best: gap, x, y, z, move, and the work.
    """
    kinds, paths = table
    x0, y0, h, nx, _ = boxes
    squares = np.empty((4 * DEEP, 3))
    for k in range(len(order)):
        b = order[k]
        x = x0 + (b % int(nx)) * 2.0 * h
        y = y0 + (b // int(nx)) * 2.0 * h
        ids = lists[1][lists[0][b] : lists[0][b + 1]]
        n = ZERO
        while n < len(ids) and ids[n] < limit:
            n += 1
        search(
            kinds[m], paths[m], parts, code, rows, ids, n, x, y, h, raw[b], outline, best, tol, m,
            squares,
        )  # fmt: skip


@entry
def gaps_under(m, table, parts, tops, places, out):
    """Gap of columns up to their tops, places (n, 3); places[:, 2] gets the height of each."""
    kinds, paths = table
    for n in range(len(tops)):
        gap, z, _ = gap_at(kinds[m], paths[m], parts, places[n, 0], places[n, 1], tops[n])
        out[n] = gap
        places[n, 2] = z
