"""Bounds of the gap over squares in plan, from below; the metal stands under heights of columns.

Parts, paths and gaps as in `gap`. A square is left out of the search when nothing in it can come
nearer than the least gap found so far, less `tol`.
"""

import math

import numpy as np

from .cells import SAME
from .gap import below, beside, gap_at
from .place import ARC as ARC_KIND
from .place import HELIX, LEVEL, POINT, RAMP, arc_rho2, bounds, line_local, line_rho2
from .profile import INF, entry, jit
from .row import load
from .sweep_path import plan_distance

ROOT2 = 1.4142135623730952
"""Half a diagonal of a square of half width 1, from above."""
ZERO = np.int64(0)
FALLING = np.bool_(True)  # typed: bare ones would be compiled one by one
LASTING = np.bool_(False)


@jit
def square_to_path(kind, path, x, y, h):
    """Least distance in plan from a square of half width h to a path (from below for arcs)."""
    if kind >= ARC_KIND:
        return max(0.0, plan_distance(kind, path, x, y) - h * ROOT2)
    best = INF
    x0, y0, x1, y1 = path[0] - x, path[1] - y, path[9] - x, path[10] - y
    low, high = 0.0, 1.0  # share of the path inside the square
    for axis in range(2):
        a, b = (x0, x1) if axis == 0 else (y0, y1)
        if a == b:
            if abs(a) > h:
                low, high = 1.0, 0.0
        else:
            t0, t1 = (-h - a) / (b - a), (h - a) / (b - a)
            low, high = max(low, min(t0, t1)), min(high, max(t0, t1))
    if low <= high:
        return 0.0
    for k in range(4):
        cx = h if k & 1 else -h
        cy = h if k & 2 else -h
        best = min(best, beside(cx, cy, x0, y0, x1, y1))
    for k in range(2):
        ex, ey = (x0, y0) if k == 0 else (x1, y1)
        dx = max(0.0, abs(ex) - h)
        dy = max(0.0, abs(ey) - h)
        best = min(best, math.sqrt(dx * dx + dy * dy))
    return best


@jit
def square_bound(kind, path, parts, x, y, h, top):
    """Least gap that a square can have with metal up to `top`, from below."""
    if kind == RAMP or kind == HELIX:
        # at the lowest the part comes, over the whole path in plan
        rho = square_to_path(LEVEL if kind == RAMP else ARC_KIND, path, x, y, h)
        quick = below(parts, rho, top - path[2])[0]
        close, _, _ = gap_at(kind, path, parts, x, y, top)
        return max(quick, close - h * ROOT2)
    rho = square_to_path(kind, path, x, y, h)
    return below(parts, rho, top - path[2])[0]


@jit
def edge_bound(kind, path, x, y, h, code, row, slope):
    """Least gap of what stands outside the rim of a move that runs through a square.

    It lies beyond a straight line, up to the bend of the rim. slope: as `slope_at` gives it at the
    middle. Returns the bound (-INF: none) and how far the line is from the middle, with its
    direction.
    """
    kind_i = code >> 3
    R = row[9]
    rho2 = arc_rho2(row, x, y) if kind_i >= ARC_KIND else line_rho2(row, x, y)
    dist = math.sqrt(rho2)
    r = h * ROOT2
    if dist - r > R or dist + r <= R or dist <= r:
        return -INF, 0.0, 0.0, 0.0
    e = 1e-7 * (1.0 + R)
    dx = plan_of(kind_i, row, x + e, y) - plan_of(kind_i, row, x - e, y)
    dy = plan_of(kind_i, row, x, y + e) - plan_of(kind_i, row, x, y - e)
    n = math.hypot(dx, dy)
    if n <= e:
        return -INF, 0.0, 0.0, 0.0
    nx, ny = dx / n, dy / n
    a = R - dist - r * r / (2.0 * (dist - r))
    outside, rho, gx, gy = slope
    along = gx * nx + gy * ny
    across = abs(gx * ny - gy * nx)
    bend = 0.0
    if kind >= ARC_KIND:  # inside a turn the gap falls away from the straight line
        bend = r * r / (2.0 * max(min(rho, path[5]) - r, 1e-12))
    if along < 0.0:
        return -INF, R - dist, nx, ny
    reach = math.sqrt(max(0.0, r * r - min(a * a, r * r)))
    low = outside + along * a - across * reach - bend - 1e-9
    return low, R - dist, nx, ny


@jit
def sure_top(code, row):
    """Height up to which a row's cutting part reaches on every column that it leaves."""
    top = row[2] + row[16]
    return top + row[6] if code >> 3 == POINT else top


@jit
def sure_top_near(code, row, x, y, r):
    """As `sure_top` for the columns within r of a place: a ramp reaches higher farther up."""
    if code >> 3 != RAMP:
        return sure_top(code, row)
    a, b = line_local(row, x, y)
    b = abs(b) + r
    left = (row[9] - b) * (row[9] + b)
    t = min(row[5], a - r + math.sqrt(left if left > 0.0 else 0.0))
    return row[2] + row[16] + row[6] * (max(t, 0.0) / row[5])


@jit
def plan_of(kind, row, x, y):
    """Distance in plan to a row's path."""
    return math.sqrt(arc_rho2(row, x, y) if kind >= ARC_KIND else line_rho2(row, x, y))


@jit
def edge_height(code, row):
    """Height of a tool's rim over the lowest place of its part."""
    _, high = bounds(np.int32(LEVEL * 8 + (code & 7)), (
        0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, row[9], row[10], row[11], row[12], row[13],
        0.0, 0.0, row[16], row[17],
    ), row[9], 0.0, 0.0)  # fmt: skip
    return high


@jit
def rim_top(code, row):
    """Height that a move leaves nowhere exceeded inside its rim."""
    kind = code >> 3
    top = row[2] + edge_height(code, row)
    return top + row[6] if kind == RAMP or kind == HELIX else top


@jit
def same_rim(code, row, other_code, other, x, y, nx, ny, a, r):
    """Whether two moves have one rim where it runs through a square, a from its middle."""
    if other[9] < row[9]:
        return False
    for k in range(3):
        px = x + a * nx - (k - 1) * r * ny
        py = y + a * ny + (k - 1) * r * nx
        d = plan_of(other_code >> 3, other, px, py) - other[9]
        if abs(d - plan_of(code >> 3, row, px, py) + row[9]) > 1e-9:
            return False
    return True


@jit
def slope_at(kind, path, parts, x, y, top, e):
    """Gap of a column up to a height, its distance from the tip, its growth along x and y."""
    gap, _, rho = gap_at(kind, path, parts, x, y, top)
    fx = gap_at(kind, path, parts, x + e, y, top)[0] - gap_at(kind, path, parts, x - e, y, top)[0]
    fy = gap_at(kind, path, parts, x, y + e, top)[0] - gap_at(kind, path, parts, x, y - e, top)[0]
    return gap, rho, fx / (2.0 * e), fy / (2.0 * e)


@jit
def span_of(kind, path, boxes, wider):
    """First and last box along x and y that the box round a path meets."""
    x0, y0, h, nx, ny = boxes
    if kind >= ARC_KIND:
        ax, bx = path[3] - path[5], path[3] + path[5]
        ay, by = path[4] - path[5], path[4] + path[5]
    else:
        ax, bx = min(path[0], path[9]), max(path[0], path[9])
        ay, by = min(path[1], path[10]), max(path[1], path[10])
    i0 = max(0.0, math.floor((ax - wider - x0) / (2.0 * h) + 0.5))
    i1 = min(nx - 1.0, math.floor((bx + wider - x0) / (2.0 * h) + 0.5))
    j0 = max(0.0, math.floor((ay - wider - y0) / (2.0 * h) + 0.5))
    j1 = min(ny - 1.0, math.floor((by + wider - y0) / (2.0 * h) + 0.5))
    return int(i0), int(i1), int(j0), int(j1)


@jit
def bound_boxes(kind, path, parts, boxes, raw, widest, base, limit, falling, lows):
    """Bound the gap in each box that may come under a limit; the least bound of all.

    Also how far round the path boxes were bounded, for who has to clear `lows` again.
    base: lowest height that the parts come to. falling: the limit is the least bound so far, when
    only that is wanted.
    """
    least = limit
    wider = 0.0
    x0, y0, h, nx, _ = boxes
    r = h * ROOT2
    far = math.hypot(boxes[3], boxes[4]) * 2.0 * h
    for turn in range(2):
        wider = widest + r if turn == 0 else widest + r + min(max(least, 0.0), far)
        i0, i1, j0, j1 = span_of(kind, path, boxes, wider)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                b = j * int(nx) + i
                if base - raw[b] >= least or lows[b] < INF:  # also where there is nothing
                    continue
                x = x0 + i * 2.0 * h
                y = y0 + j * 2.0 * h
                if plan_distance(kind, path, x, y) - widest - r >= least:
                    continue
                lows[b] = square_bound(kind, path, parts, x, y, h, raw[b])
                if falling and lows[b] < least:
                    least = lows[b]
    return least, wider


@jit
def highest(raw):
    """Highest stock in any box."""
    high = -INF
    for b in range(len(raw)):
        high = max(high, raw[b])
    return high


@jit
def foot_of(parts):
    """Lowest height of a stack over the tip."""
    foot = INF
    for k in range(len(parts)):
        foot = min(foot, parts[k, 0])
    return foot


@jit
def widest_of(parts):
    """Largest radius of a stack."""
    widest = 0.0
    for k in range(len(parts)):
        widest = max(widest, parts[k, 2], parts[k, 3])
    return widest


@entry
def first_bounds(moves, tips, table, parts, code, rows, row_of, boxes, lists, raw, limit, out):
    """Least gap that each move can have, from below, by one square a box, in program order.

    tips: lowest tip of each. limit: where it can't be less, that is given.

    moves: their indices, rising. table: kind and path of every move. row_of: first row of each
    move and one more. boxes: x, y of the first box's middle, half width, boxes along x and y. raw:
    the highest stock in each box, lowered on the way. lists: boxes that each row reaches.
    """
    kinds, paths = table
    x0, y0, h, nx, _ = boxes
    r = h * ROOT2
    widest = widest_of(parts)
    foot = foot_of(parts)
    lows = np.full(len(raw), INF)
    at = ZERO
    high = INF
    for i in range(len(moves)):
        m = moves[i]
        if tips[i] + foot - high >= limit:  # the stock has only become lower since
            out[i] = limit
            continue
        while at < row_of[m + 1]:  # what has been cut so far, this move included
            row = load(rows, at)
            for k in range(lists[0][at], lists[0][at + 1]):
                b = lists[1][k]
                if row[2] < raw[b] and raw[b] <= sure_top(code[at], row) + SAME:
                    x = x0 + (b % int(nx)) * 2.0 * h
                    y = y0 + (b // int(nx)) * 2.0 * h
                    _, left = bounds(code[at], row, x, y, r)
                    raw[b] = left if left < raw[b] else raw[b]
            at += 1
        high = highest(raw)
        if tips[i] + foot - high >= limit:
            out[i] = limit
            continue
        out[i], wider = bound_boxes(
            kinds[m], paths[m], parts, boxes, raw, widest, tips[i] + foot, limit, FALLING, lows
        )  # fmt: skip
        i0, i1, j0, j1 = span_of(kinds[m], paths[m], boxes, wider)
        for j in range(j0, j1 + 1):
            for k in range(i0, i1 + 1):
                lows[j * int(nx) + k] = INF


@entry
def box_bounds(m, tip, table, parts, boxes, raw, best, lows):
    """Bound the gap of one move, its lowest tip given, where it may come under the best."""
    kinds, paths = table
    bound_boxes(
        kinds[m], paths[m], parts, boxes, raw, widest_of(parts), tip + foot_of(parts), best[0],
        LASTING, lows,
    )  # fmt: skip
