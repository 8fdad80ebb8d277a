"""Top and bottom of a closed mesh on columns along Z, by its facets seen in plan.

A column on an edge or corner belongs to every facet that meets there, and rounding never loses
one between neighbours: a facet takes a column unless it is outside by more than rounding could
make it. Facets that stand upright are left out: whatever bounds them bounds the column too.
"""

import math

from .profile import entry, jit

ROUNDING = 3.3306690738754716e-16
"""(3 + 16 u) u with u = 2^-53: most that rounding shifts an orientation, as a share of the sum
of its two products' sizes. J. R. Shewchuk, Adaptive precision floating-point arithmetic and fast
robust geometric predicates, 1997, section 4.1."""


@jit
def _side(ax, ay, bx, by):
    """Twice the area of (origin, a, b), and the most that it can be off by rounding."""
    left = ax * by
    right = ay * bx
    return left - right, ROUNDING * (abs(left) + abs(right))


@jit
def facet_z(vertices, facets, t, x, y):
    """Height of facet t at a column; NaN where the column misses it or the facet is upright."""
    a, b, c = facets[t, 0], facets[t, 1], facets[t, 2]
    ax, ay = vertices[a, 0] - x, vertices[a, 1] - y
    bx, by = vertices[b, 0] - x, vertices[b, 1] - y
    cx, cy = vertices[c, 0] - x, vertices[c, 1] - y
    wa, ea = _side(bx, by, cx, cy)
    wb, eb = _side(cx, cy, ax, ay)
    wc, ec = _side(ax, ay, bx, by)
    if wa + wb + wc < 0.0:
        wa, wb, wc = -wa, -wb, -wc
    if wa < -ea or wb < -eb or wc < -ec:
        return math.nan
    area, off = _side(bx - ax, by - ay, cx - ax, cy - ay)
    if abs(area) <= off:
        return math.nan
    wa = wa if wa > 0.0 else 0.0
    wb = wb if wb > 0.0 else 0.0
    wc = wc if wc > 0.0 else 0.0
    # From corner a, so that a level facet gives its own height to the last digit.
    za = vertices[a, 2]
    rise = wb * (vertices[b, 2] - za) + wc * (vertices[c, 2] - za)
    return za + rise / (wa + wb + wc)


@jit
def _first(values, limit):
    """Index of the first of ascending values that is >= limit."""
    low, high = 0, len(values)
    while low < high:
        middle = (low + high) >> 1
        if values[middle] < limit:
            low = middle + 1
        else:
            high = middle
    return low


@jit
def _extent(vertices, facets, t, axis):
    """Least and greatest coordinate of a facet."""
    a, b, c = (
        vertices[facets[t, 0], axis],
        vertices[facets[t, 1], axis],
        vertices[facets[t, 2], axis],
    )
    return min(a, b, c), max(a, b, c)


@entry
def raster(vertices, facets, xs, ys, top, bottom, owner):
    """Lift `top` and lower `bottom` to the mesh on a grid of columns.

    vertices (n, 3) float64; facets (m, 3) int64; xs, ys ascending float64. top, bottom float64
    and owner int32, all (ny, nx), hold -inf, +inf and -1 on entry; owner gets the facet of the
    top, the first of several at one height.
    """
    for t in range(len(facets)):
        x_low, x_high = _extent(vertices, facets, t, 0)
        y_low, y_high = _extent(vertices, facets, t, 1)
        start = _first(xs, x_low)
        for j in range(_first(ys, y_low), len(ys)):
            if ys[j] > y_high:
                break
            for i in range(start, len(xs)):
                if xs[i] > x_high:
                    break
                z = facet_z(vertices, facets, t, xs[i], ys[j])
                if z > top[j, i]:
                    top[j, i] = z
                    owner[j, i] = t
                if z < bottom[j, i]:
                    bottom[j, i] = z


@jit
def _cell(value, low, per_cell, count):
    """Index of the cell that holds a coordinate; grows with it, so boxes and columns agree."""
    i = int((value - low) / per_cell)
    i = i if i > 0 else 0
    return i if i < count else count - 1


@entry
def bin_facets(vertices, facets, window, starts, ids, fill):
    """Count the facets over each cell of a window into `starts`, or list them in `ids`.

    window: x_low, y_low, cell width x, y (float). starts int64 (ny, nx): with fill False it gets
    the counts; with fill True it holds where each cell's list goes on, and is moved on.
    """
    ny, nx = starts.shape
    for t in range(len(facets)):
        x_low, x_high = _extent(vertices, facets, t, 0)
        y_low, y_high = _extent(vertices, facets, t, 1)
        last_i = _cell(x_high, window[0], window[2], nx)
        last_j = _cell(y_high, window[1], window[3], ny)
        for j in range(_cell(y_low, window[1], window[3], ny), last_j + 1):
            for i in range(_cell(x_low, window[0], window[2], nx), last_i + 1):
                if fill:
                    ids[starts[j, i]] = t
                starts[j, i] += 1


@entry
def at_points(vertices, facets, window, stops, ids, x, y, top, bottom, owner):
    """Lift `top` and lower `bottom` to the mesh on single columns, shape (n,); as `raster`.

    stops int64 (ny, nx): where each cell's list in `ids` ends, in row order.
    """
    ny, nx = stops.shape
    for n in range(len(x)):
        j = _cell(y[n], window[1], window[3], ny)
        i = _cell(x[n], window[0], window[2], nx)
        flat = j * nx + i
        begin = stops[(flat - 1) // nx, (flat - 1) % nx] if flat > 0 else 0
        for at in range(begin, stops[j, i]):
            t = ids[at]
            z = facet_z(vertices, facets, t, x[n], y[n])
            if z > top[n]:
                top[n] = z
                owner[n] = t
            if z < bottom[n]:
                bottom[n] = z
