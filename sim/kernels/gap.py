"""How far a part of a tool stays from the metal: distances, bounds, and the search for the least.

The part is a stack of frustums, rows (z_low, z_high, r_low, r_high), on a path (rows of
`sweep_path`). The metal is what stands under the heights of columns. The gap at a place is its
signed distance to the part at the nearest position on the path: below 0 it is how deep the place
is inside. Columns are asked in squares; a square is left out when nothing in it can come nearer
than the least gap found so far, less `tol`.
"""

import math

import numpy as np

from .cells import SAME
from .place import ARC as ARC_KIND
from .place import HELIX, LEVEL, RAMP, arc_rho2, bounds, cut_top, height, line_rho2
from .profile import INF, entry, jit
from .row import load
from .sweep_path import arc_place, plan_distance

GOLDEN = 0.6180339887498949
LOOKS = 32
SMALLEST = 1e-7
"""Squares are not halved below this half width, mm."""
ZERO = np.int64(0)
DEEP = 64


@jit
def beside(x, y, ax, ay, bx, by):
    """Distance from a point to a segment."""
    dx = bx - ax
    dy = by - ay
    n = dx * dx + dy * dy
    t = ((x - ax) * dx + (y - ay) * dy) / n if n > 0.0 else 0.0
    t = min(max(t, 0.0), 1.0)
    ex = x - ax - t * dx
    ey = y - ay - t * dy
    return math.sqrt(ex * ex + ey * ey)


@jit
def signed(part, rho, h):
    """Signed distance of a place (rho, h) to one frustum, below 0 inside."""
    za, zb, ra, rb = part[0], part[1], part[2], part[3]
    flank = rho - ra
    if ra != rb:
        slope = (rb - ra) / (zb - za)
        flank = (flank - slope * (h - za)) / math.sqrt(1.0 + slope * slope)
    over = max(za - h, h - zb)
    if flank <= 0.0 and over <= 0.0:
        return max(flank, over)
    if ra == rb:
        a = flank if flank > 0.0 else 0.0
        b = over if over > 0.0 else 0.0
        return math.sqrt(a * a + b * b)
    d = min(beside(rho, h, 0.0, za, ra, za), beside(rho, h, 0.0, zb, rb, zb))
    return min(d, beside(rho, h, ra, za, rb, zb))


@jit
def below(parts, rho, h_most):
    """Least signed distance over the places at rho that are no higher than h_most, and its h."""
    best, at = INF, h_most
    for k in range(len(parts)):
        part = parts[k]
        if part[2] == part[3]:
            middle = 0.5 * (part[0] + part[1])
            h = h_most if h_most < middle else middle
        else:
            low, high = min(part[0], h_most), min(part[1], h_most)
            for _ in range(60):
                a = high - GOLDEN * (high - low)
                b = low + GOLDEN * (high - low)
                if signed(part, rho, a) <= signed(part, rho, b):
                    high = b
                else:
                    low = a
            h = 0.5 * (low + high)
        d = signed(part, rho, h)
        if d < best:
            best, at = d, h
    return best, at


@jit
def tip_at(kind, path, s):
    """Tip at a share of a path."""
    if kind >= ARC_KIND:
        x, y = arc_place(path, path[7] * s)
    else:
        x = path[0] + s * (path[9] - path[0])
        y = path[1] + s * (path[10] - path[1])
    return x, y, path[2] + s * path[6]


@jit
def at_share(kind, path, parts, x, y, z, s):
    """Least signed distance at and below (x, y, z) with the tip at a share of the path."""
    px, py, pz = tip_at(kind, path, s)
    return below(parts, math.hypot(x - px, y - py), z - pz)[0]


@jit
def narrowed(kind, path, parts, x, y, z, low, high):
    """Share in [low, high] with the least distance, by the golden section."""
    a = high - GOLDEN * (high - low)
    b = low + GOLDEN * (high - low)
    fa = at_share(kind, path, parts, x, y, z, a)
    fb = at_share(kind, path, parts, x, y, z, b)
    for _ in range(64):
        if fa <= fb:
            high = b
            b = a
            fb = fa
            a = high - GOLDEN * (high - low)
            fa = at_share(kind, path, parts, x, y, z, a)
        else:
            low = a
            a = b
            fa = fb
            b = low + GOLDEN * (high - low)
            fb = at_share(kind, path, parts, x, y, z, b)
    return 0.5 * (low + high)


@jit
def nearest_share(kind, path, parts, x, y, z):
    """Share of a sloped path at which the part is nearest to what is at and below (x, y, z)."""
    if kind == RAMP:
        s = narrowed(kind, path, parts, x, y, z, 0.0, 1.0)
        for end in range(2):
            if at_share(kind, path, parts, x, y, z, float(end)) < at_share(
                kind, path, parts, x, y, z, s
            ):
                s = float(end)
        return s
    best, at = INF, 0.0
    for i in range(LOOKS + 1):
        d = at_share(kind, path, parts, x, y, z, i / LOOKS)
        if d < best:
            best, at = d, i / LOOKS
    return narrowed(
        kind, path, parts, x, y, z, max(0.0, at - 1.0 / LOOKS), min(1.0, at + 1.0 / LOOKS)
    )


@jit
def gap_at(kind, path, parts, x, y, z):
    """Gap of what is at and below (x, y, z); place in it; distance in plan from the nearest tip."""
    if kind == RAMP or kind == HELIX:
        s = nearest_share(kind, path, parts, x, y, z)
        px, py, pz = tip_at(kind, path, s)
        rho = math.hypot(x - px, y - py)
    else:
        rho = plan_distance(kind, path, x, y)
        pz = path[2]
    best, at = below(parts, rho, z - pz)
    return best, at + pz, rho


@jit
def square_to_path(kind, path, x, y, h):
    """Least distance in plan from a square of half width h to a path (from below for arcs)."""
    if kind >= ARC_KIND:
        return max(0.0, plan_distance(kind, path, x, y) - h * 1.4142135623730952)
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
        return max(quick, close - h * 1.4142135623730952)
    rho = square_to_path(kind, path, x, y, h)
    return below(parts, rho, top - path[2])[0]


@jit
def edge_bound(kind, path, parts, x, y, h, code, row, top):
    """Least gap that a square can have where the rim of a level move runs through it.

    Inside the rim the metal is no higher than the rim; outside it up to `top`. The part outside
    lies beyond a straight line, up to the bend of the rim. Returns the bound (-INF: none) and how
    far the line is from the middle, with its direction.
    """
    kind_i = code >> 3
    if kind_i == RAMP or kind_i == HELIX or kind == RAMP or kind == HELIX:
        return -INF, 0.0, 0.0, 0.0
    R = row[9]
    rho2 = arc_rho2(row, x, y) if kind_i >= ARC_KIND else line_rho2(row, x, y)
    dist = math.sqrt(rho2)
    r = h * 1.4142135623730952
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
    rim = row[2] + edge_height(code, row)
    inside, _, rho = gap_at(kind, path, parts, x, y, min(rim, top))
    outside, _, rho = gap_at(kind, path, parts, x, y, top)
    # the gap's growth in plan
    gx, gy = growth(kind, path, parts, x, y, top, e)
    along = gx * nx + gy * ny
    across = abs(gx * ny - gy * nx)
    bend = r * r / (2.0 * max(rho - r, 1e-12)) if kind == ARC_KIND else 0.0
    if along < 0.0:
        return -INF, R - dist, nx, ny
    reach = math.sqrt(max(0.0, r * r - min(a * a, r * r)))
    low = outside + along * a - across * reach - bend - 1e-9
    return min(inside - r, low), R - dist, nx, ny


@jit
def plan_of(kind, row, x, y):
    """Distance in plan to a row's path."""
    return math.sqrt(arc_rho2(row, x, y) if kind >= ARC_KIND else line_rho2(row, x, y))


@jit
def edge_height(code, row):
    """Height of a tool's rim over the lowest place of its part."""
    _, high = bounds(LEVEL * 8 + (code & 7), (
        0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, row[9], row[10], row[11], row[12], row[13],
        0.0, 0.0, row[16], row[17],
    ), row[9], 0.0, 0.0)  # fmt: skip
    return high


@jit
def growth(kind, path, parts, x, y, top, e):
    """Growth of the gap in plan, along x and y."""
    fx = gap_at(kind, path, parts, x + e, y, top)[0] - gap_at(kind, path, parts, x - e, y, top)[0]
    fy = gap_at(kind, path, parts, x, y + e, top)[0] - gap_at(kind, path, parts, x, y - e, top)[0]
    return fx / (2.0 * e), fy / (2.0 * e)


@jit
def column(code, rows, ids, n, x, y, raw):
    """Height left at a place by the first n of ids, in program order."""
    top = raw
    for k in range(n):
        m = ids[k]
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
        m = ids[k]
        row = load(rows, m)
        if row[2] < top and top <= row[2] + row[16] + SAME:
            _, high = bounds(code[m], row, x, y, r)
            top = high if high < top else top
    return top


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
def look(kind, path, parts, code, rows, ids, n, x, y, raw, best, move):
    """Try the column at a place."""
    top = column(code, rows, ids, n, x, y, raw)
    gap, z, _ = gap_at(kind, path, parts, x, y, top)
    if top > -INF:
        take(best, gap, x, y, z, move)


@jit
def judge(kind, path, parts, code, rows, ids, n, x, y, h, raw, best, tol, move):
    """Whether a square may hold a smaller gap; tries its middle and the edge through it."""
    r = h * 1.4142135623730952
    top = highest_left(code, rows, ids, n, x, y, r, raw)
    if top == -INF:
        return False
    low = square_bound(kind, path, parts, x, y, h, top)
    if low >= best[0] - tol:
        return False
    edge = -INF
    for k in range(n):
        m = ids[k]
        row = load(rows, m)
        if row[2] < top and top <= row[2] + row[16] + SAME:
            b, a, nx, ny = edge_bound(kind, path, parts, x, y, h, code[m], row, top)
            if b > edge:
                edge = b
                ex = x + (a + 1e-9) * nx
                ey = y + (a + 1e-9) * ny
                if abs(ex - x) <= h and abs(ey - y) <= h:
                    look(kind, path, parts, code, rows, ids, n, ex, ey, raw, best, move)
                if edge >= best[0] - tol:
                    return False
    look(kind, path, parts, code, rows, ids, n, x, y, raw, best, move)
    return max(low, edge) < best[0] - tol


@jit
def search(kind, path, parts, code, rows, ids, n, x, y, h, raw, best, tol, move, squares):
    """Search one square down to where nothing smaller can be."""
    squares[0, 0] = x
    squares[0, 1] = y
    squares[0, 2] = h
    depth = ZERO + 1
    while depth > 0:
        depth -= 1
        x = squares[depth, 0]
        y = squares[depth, 1]
        h = squares[depth, 2]
        if not judge(kind, path, parts, code, rows, ids, n, x, y, h, raw, best, tol, move):
            continue
        if h <= SMALLEST:
            continue
        half = 0.5 * h
        for k in range(4):
            squares[depth, 0] = x + (half if k & 1 else -half)
            squares[depth, 1] = y + (half if k & 2 else -half)
            squares[depth, 2] = half
            depth += 1


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
def bound_boxes(kind, path, parts, boxes, raw, widest, limit, falling, lows):
    """Bound the gap in each box that may come under a limit; the least bound of all.

    falling: the limit is the least bound so far, when only that is wanted.
    """
    least = limit
    x0, y0, h, nx, _ = boxes
    r = h * 1.4142135623730952
    far = math.hypot(boxes[3], boxes[4]) * 2.0 * h
    for turn in range(2):
        wider = widest + r if turn == 0 else widest + r + min(max(least, 0.0), far)
        i0, i1, j0, j1 = span_of(kind, path, boxes, wider)
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                b = j * int(nx) + i
                if raw[b] == -INF or lows[b] < INF:
                    continue
                x = x0 + i * 2.0 * h
                y = y0 + j * 2.0 * h
                if plan_distance(kind, path, x, y) - widest - r >= least:
                    continue
                lows[b] = square_bound(kind, path, parts, x, y, h, raw[b])
                if falling and lows[b] < least:
                    least = lows[b]
    return least


@jit
def widest_of(parts):
    """Largest radius of a stack."""
    widest = 0.0
    for k in range(len(parts)):
        widest = max(widest, parts[k, 2], parts[k, 3])
    return widest


@entry
def first_bounds(moves, table, parts, code, rows, row_of, boxes, lists, raw, out):
    """Least gap that each move can have, from below, by one square a box, in program order.

    moves: their indices, rising. table: kind and path of every move. row_of: first row of each
    move and one more. boxes: x, y of the first box's middle, half width, boxes along x and y. raw:
    the highest stock in each box, lowered on the way. lists: boxes that each row reaches.
    """
    kinds, paths = table
    x0, y0, h, nx, _ = boxes
    r = h * 1.4142135623730952
    widest = widest_of(parts)
    lows = np.full(len(raw), INF)
    at = ZERO
    for i in range(len(moves)):
        m = moves[i]
        while at < row_of[m + 1]:  # what has been cut so far, this move included
            row = load(rows, at)
            for k in range(lists[0][at], lists[0][at + 1]):
                b = lists[1][k]
                if row[2] < raw[b] and raw[b] <= row[2] + row[16] + SAME:
                    x = x0 + (b % int(nx)) * 2.0 * h
                    y = y0 + (b // int(nx)) * 2.0 * h
                    _, high = bounds(code[at], row, x, y, r)
                    raw[b] = high if high < raw[b] else raw[b]
            at += 1
        out[i] = bound_boxes(kinds[m], paths[m], parts, boxes, raw, widest, INF, True, lows)
        i0, i1, j0, j1 = span_of(kinds[m], paths[m], boxes, widest + r + max(out[i], 0.0))
        for j in range(j0, j1 + 1):
            for k in range(i0, i1 + 1):
                lows[j * int(nx) + k] = INF
        if out[i] == INF:
            for b in range(len(lows)):
                lows[b] = INF


@entry
def box_bounds(m, table, parts, boxes, raw, best, lows):
    """Bound the gap of one move in each box that may come under the best."""
    kinds, paths = table
    bound_boxes(kinds[m], paths[m], parts, boxes, raw, widest_of(parts), best[0], False, lows)


@entry
def search_move(m, table, parts, code, rows, limit, boxes, order, lists, raw, best, tol):
    """Search boxes of one move in the order given; lists: rows that reach each box."""
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
            kinds[m], paths[m], parts, code, rows, ids, n, x, y, h, raw[b], best, tol, m, squares
        )  # fmt: skip


@jit
def here(kind, path, parts, x, y, z, s):
    """Signed distance of a place to the part with the tip at a share of the path."""
    px, py, pz = tip_at(kind, path, s)
    rho = math.hypot(x - px, y - py)
    best = INF
    for k in range(len(parts)):
        d = signed(parts[k], rho, z - pz)
        best = d if d < best else best
    return best


@entry
def gaps_of_places(m, table, parts, places, out):
    """Signed distance of each place to the part on move m."""
    kinds, paths = table
    kind, path = kinds[m], paths[m]
    for n in range(len(places)):
        x, y, z = places[n, 0], places[n, 1], places[n, 2]
        if kind == RAMP or kind == HELIX:
            best, at = INF, 0.0
            looks = LOOKS if kind == HELIX else 4
            for i in range(looks + 1):
                d = here(kind, path, parts, x, y, z, i / looks)
                if d < best:
                    best, at = d, i / looks
            low, high = max(0.0, at - 1.0 / looks), min(1.0, at + 1.0 / looks)
            for _ in range(64):
                a = high - GOLDEN * (high - low)
                b = low + GOLDEN * (high - low)
                if here(kind, path, parts, x, y, z, a) <= here(kind, path, parts, x, y, z, b):
                    high = b
                else:
                    low = a
            d = here(kind, path, parts, x, y, z, 0.5 * (low + high))
            out[n] = d if d < best else best
        else:
            rho = plan_distance(kind, path, x, y)
            best = INF
            for k in range(len(parts)):
                d = signed(parts[k], rho, z - path[2])
                best = d if d < best else best
            out[n] = best


@jit
def box_here(kind, path, part, box, s):
    """Signed distance of a box to one frustum with the tip at a share of the path; the place."""
    px, py, pz = tip_at(kind, path, s)
    x = min(max(px, box[0]), box[3])
    y = min(max(py, box[1]), box[4])
    rho = math.hypot(x - px, y - py)
    low, high = box[2] - pz, box[5] - pz
    if part[2] == part[3]:
        middle = part[0] + min(part[1] - part[0], 2.0 * (high - part[0])) * 0.5
        h = min(max(middle, low), high)
        return signed(part, rho, h), x, y, h + pz
    for _ in range(64):
        a = high - GOLDEN * (high - low)
        b = low + GOLDEN * (high - low)
        if signed(part, rho, a) <= signed(part, rho, b):
            high = b
        else:
            low = a
    h = 0.5 * (low + high)
    return signed(part, rho, h), x, y, h + pz


@jit
def box_gap(kind, path, part, box):
    """Least signed distance of a box to one frustum on a path, and the place."""
    looks = LOOKS if kind >= ARC_KIND else 2
    least, at = INF, 0.0
    for k in range(looks + 1):
        d = box_here(kind, path, part, box, k / looks)[0]
        if d < least:
            least, at = d, k / looks
    low, high = max(0.0, at - 1.0 / looks), min(1.0, at + 1.0 / looks)
    for _ in range(64):
        a = high - GOLDEN * (high - low)
        b = low + GOLDEN * (high - low)
        if box_here(kind, path, part, box, a)[0] <= box_here(kind, path, part, box, b)[0]:
            high = b
        else:
            low = a
    s = 0.5 * (low + high)
    if box_here(kind, path, part, box, s)[0] >= least:
        s = at
    return box_here(kind, path, part, box, s)


@entry
def box_gaps(moves, table, parts, box, best):
    """Least gap of a stack of frustums to a box over moves; best: gap, x, y, z, move."""
    kinds, paths = table
    for k in range(len(parts)):
        part = parts[k]
        round_it = np.array([part[0], part[1], max(part[2], part[3]), max(part[2], part[3])])
        for i in range(len(moves)):
            m = moves[i]
            d, x, y, z = box_gap(kinds[m], paths[m], round_it, box)
            if d >= best[0]:  # the cylinder round it is no nearer
                continue
            if part[2] != part[3]:
                d, x, y, z = box_gap(kinds[m], paths[m], part, box)
            take(best, d, x, y, z, m)
