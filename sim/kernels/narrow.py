"""What may show between columns: bounds over small discs, and labels of exact places.

A label says what a place on the surface is: the number of a level (0 and up), `GONE` where nothing
is left, or ground without a level, -3 - pass (raw: -3). With a pass p in place of 0 it says instead
which level of an earlier pass p skims there, `GONE` where it skims none. Arguments that go together
travel as tuples:

======  ==========================================================================================
moves   code, rows, passes, level of each row (-1: it leaves none)
lists   ids, starts, stops: the rows that can reach query n are ids[starts[n]:stops[n]]
stock   highest and lowest z, level of the raw top (-1: not one level), deepest skim
known   labels, starts, stops: the labels that query n does not ask for
======  ==========================================================================================
"""

import math

import numpy as np

from .cells import SAME
from .place import (
    arc_rho2,
    bounds,
    cut_top,
    height,
    helix_local,
    line_local,
    line_rho2,
    place,
    surface,
)
from .profile import INF, entry, g, jit
from .row import load

GONE = -2
RAW_GROUND = -3
NEAR = 1e-9
"""Sheets nearer than this are one, the earliest move's, mm."""
TURN = 2.0 * math.pi
SLACK = 1e-9
"""As `tile.SLACK`."""
ALIKE = 0.125
"""Edges of two tools nearer than this share of the least width are one in boxes of a few widths."""


@jit
def beside(row, x, y):
    """Distance in plan to a row's path."""
    return math.sqrt(arc_rho2(row, x, y) if row[7] > 0.0 else line_rho2(row, x, y))


@jit
def least_top(row):
    """Height to which the cutting part reaches at least, wherever the row cuts."""
    plunge = row[5] == 0.0
    return row[2] + row[16] + (row[6] if plunge else 0.0)


@jit
def most_top(row):
    """Height above which the cutting part reaches nowhere."""
    return row[2] + row[6] + row[16]


@jit
def room(starts, stops):
    """Scratch for the longest list: lowest heights, and caps before each row and after all."""
    longest = 0
    for n in range(len(starts)):
        longest = max(longest, stops[n] - starts[n])
    return np.empty(longest), np.empty(longest + 1)


@jit
def end_of_pass(passes, ids, start, last):
    """Where the rows of the pass that begins at `start` end."""
    stop = start
    while stop < last and passes[ids[stop]] == passes[ids[start]]:
        stop += 1
    return stop


@jit
def weigh(moves, ids, first, last, x, y, r, zmax, lows, caps):
    """Lowest height of each row within r of a place, and the surface's cap before it is cut.

    Rows are taken in program order: one counts as a cap only if its cutting part reaches all that
    can still stand there. Returns the cap after all.
    """
    cap = zmax
    for k in range(first, last):
        m = ids[k]
        row = load(moves[1], m)
        low, high = bounds(moves[0][m], row, x, y, r)
        lows[k - first] = low
        caps[k - first] = cap
        if high < cap and cap <= least_top(row) + SAME:
            cap = high
    caps[last - first] = cap
    return cap


@jit
def is_known(known, n, label):
    """Whether query n need not hear of a label."""
    for k in range(known[1][n], known[2][n]):
        if known[0][k] == label:
            return True
    return False


@jit
def covered(moves, ids, first, last, k, x, y, hx, hy, near):
    """Whether the flat of row ids[k] lies over another row's sheet all over a box.

    Judged where the edges of both agree to `near` at its middle and corners.
    """
    c = load(moves[1], ids[k])
    if c[6] > 0.0:
        return False
    for other in range(first, last):
        b = load(moves[1], ids[other])
        if b[6] > 0.0 or other == k or b[2] > c[2] or c[2] > least_top(b):
            continue
        shape = moves[0][ids[other]] & 7
        edge = b[9] if b[2] + g(shape, b[9], b[10], b[11], b[12], b[9]) <= c[2] + NEAR else b[10]
        if edge <= 0.0 or (b[2] == c[2] and other > k):
            continue
        same = True
        for corner in range(5):
            px = x + hx * ((corner & 1) * 2 - 1) * (corner < 4)
            py = y + hy * ((corner & 2) - 1) * (corner < 4)
            if abs(beside(b, px, py) - edge - beside(c, px, py) + c[10]) > near:
                same = False
                break
        if same:
            return True
    return False


@jit
def other_shows(
    moves, ids, first, last, box, raw, stock, known, n, levels_only, least, lows, caps
):  # fmt: skip
    """Whether a label that query n does not know may show in a box (x, y, half sizes).

    raw: how high the stock stands there at most.
    """
    x, y, hx, hy = box
    r = math.hypot(hx, hy)
    cap = weigh(moves, ids, first, last, x, y, r, raw, lows, caps)
    if not levels_only and cap >= stock[0] and stock[2] >= 0 and not is_known(known, n, stock[2]):
        return True
    near = ALIKE * least if r <= 4.0 * least else NEAR
    for k in range(first, last):
        low = lows[k - first]
        if low > cap + SLACK or low >= caps[k - first] - NEAR:
            continue
        m = ids[k]
        row = load(moves[1], m)
        if low <= stock[1]:
            if not levels_only and not is_known(known, n, GONE):
                return True
        flat = moves[3][m] >= 0 and low <= row[2]
        if flat and not is_known(known, n, moves[3][m]) and row[2] > stock[1]:
            if not covered(moves, ids, first, last, k, x, y, hx, hy, near):
                return True
        # Ground beside a flat lies over it: none shows under a cap as low as the flat.
        if levels_only or cap <= row[2] + NEAR:
            continue
        if row[6] == 0.0 and (row[9] == row[10] or beside(row, x, y) + r <= row[10]):
            continue
        if not is_known(known, n, RAW_GROUND - moves[2][m]):
            return True
    return False


@entry
def may_hide(moves, lists, boxes, stock, out):
    """Mark the boxes in which, by bounds, metal may stand above a cutting part."""
    ids, starts, stops = lists
    lows, caps = room(starts, stops)
    for n in range(len(boxes)):
        first = starts[n]
        r = math.hypot(boxes[n, 2], boxes[n, 3])
        weigh(moves, ids, first, stops[n], boxes[n, 0], boxes[n, 1], r, stock[0], lows, caps)
        out[n] = False
        for k in range(first, stops[n]):
            if lows[k - first] < caps[k - first] and caps[k - first] > (
                least_top(load(moves[1], ids[k])) + SAME
            ):
                out[n] = True


@jit
def tip_below(row, x, y, r):
    """Height that the tip does not pass where it leaves a column within r of a place.

    On a slope the tip leaves a column no later than abreast of it, and as much earlier as the flat
    of the tool reaches.
    """
    low = row[2] - row[17]
    if row[6] == 0.0 or row[5] == 0.0:
        return low
    if row[7] == 0.0:
        a, b = line_local(row, x, y)
        b = abs(b) + r
        left = (row[10] - b) * (row[10] + b)
        t = a + r - math.sqrt(left if left > 0.0 else 0.0)
        return low + row[6] * (min(max(t, 0.0), row[5]) / row[5])
    D, start = helix_local(row, x, y)
    if D + r + row[5] <= row[10]:
        return low
    psi = -start if start <= 0.0 else TURN - start
    off = 2.0 * r / D if D > 0.0 else TURN
    if psi - off < 0.0 or psi + off > row[7]:
        return low + row[6]
    return low + row[6] * ((psi + off) / row[7])


@jit
def other_skim(moves, ids, first, last, box, raw, stock, p, known, n, lows, caps):
    """Whether pass p may skim, in a box, a level that query n does not know; raw: as above."""
    x, y, hx, hy = box
    r = math.hypot(hx, hy)
    weigh(moves, ids, first, last, x, y, r, raw, lows, caps)
    start = first
    while start < last and moves[2][ids[start]] < p:
        start += 1
    if start == last or moves[2][ids[start]] != p:
        return False
    stop = end_of_pass(moves[2], ids, start, last)
    for k in range(start, stop):
        m = ids[k]
        if (
            lows[k - first] >= caps[k - first] - NEAR
            or lows[k - first] > caps[stop - first] + SLACK
        ):
            continue
        tip = tip_below(load(moves[1], m), x, y, r)
        for other in range(first, start):
            if skims(moves, ids, first, other, k, caps[start - first], tip, stock[3], lows, caps):
                if not is_known(known, n, moves[3][ids[other]]):
                    return True
    return False


@jit
def skims(moves, ids, first, other, k, cap, tip, limit, lows, caps):
    """Whether, by bounds, row ids[k] may skim the floor that row ids[other] left."""
    z = moves[1][ids[other], 2]
    if moves[3][ids[other]] < 0 or lows[other - first] > z or z > cap + SLACK:
        return False
    if z >= caps[other - first] - NEAR:
        return False
    return z > lows[k - first] + SAME and z - tip <= limit + SAME


@entry
def sift(moves, ids, starts, stops, boxes, stock, ends, pairs):
    """Leave in each list the rows that can cut in its box; ends[n] is where it ends then.

    Also list (box, pass, level) that may be skims, once for each box; returns how many. With no
    room for more they are only counted. What stays a hollow all over the box cuts nothing there.
    """
    lows, caps = room(starts, stops)
    stands = np.empty(len(lows))
    count = 0
    for n in range(len(starts)):
        x, y, r = boxes[n, 0], boxes[n, 1], math.hypot(boxes[n, 2], boxes[n, 3])
        first = starts[n]
        weigh(moves, ids, first, stops[n], x, y, r, stock[0], lows, caps)
        if stock[2] >= 0:
            leave_hollows(moves[1], ids, first, stops[n], stock[0], lows, stands)
        kept = first
        for k in range(first, stops[n]):
            if lows[k - first] < caps[k - first] - NEAR:
                ids[kept] = ids[k]
                kept += 1
        ends[n] = kept
        weigh(moves, ids, first, kept, x, y, r, stock[0], lows, caps)
        count = pairs_of(moves, ids, first, kept, n, (x, y, r), stock[3], lows, caps, pairs, count)
    return count


@jit
def leave_hollows(rows, ids, first, last, top, lows, stands):
    """Lift to infinity the lowest heights of rows that only ever cut under standing metal.

    Such a row reaches nowhere what stands at least before it, and no later row opens what it cut.
    """
    stand = top
    for k in range(first, last):
        stands[k - first] = stand
        if most_top(rows[ids[k]]) >= stand - SAME:
            stand = min(stand, lows[k - first])
    opened = INF
    for k in range(last - 1, first - 1, -1):
        reach = most_top(rows[ids[k]])
        if reach >= stands[k - first] - SAME or opened <= reach + SAME:
            opened = min(opened, lows[k - first])
        else:
            lows[k - first] = INF


@jit
def pairs_of(moves, ids, first, last, n, disc, limit, lows, caps, pairs, count):
    """List the (box n, pass, level) that may be skims; returns the new count."""
    begin = count
    start = first
    stop = first
    for k in range(first, last):
        p = moves[2][ids[k]]
        if k == stop:
            start = k
            stop = end_of_pass(moves[2], ids, start, last)
        if lows[k - first] > caps[stop - first] + SLACK:
            continue
        tip = tip_below(load(moves[1], ids[k]), disc[0], disc[1], disc[2])
        cap = caps[start - first]
        for other in range(first, start):
            if skims(moves, ids, first, other, k, cap, tip, limit, lows, caps):
                level = moves[3][ids[other]]
                new = True
                for seen in range(begin, min(count, len(pairs))):
                    if pairs[seen, 1] == p and pairs[seen, 2] == level:
                        new = False
                        break
                if new:
                    if count < len(pairs):
                        pairs[count, 0] = n
                        pairs[count, 1] = p
                        pairs[count, 2] = level
                    count += 1
    return count


@entry
def others(moves, lists, boxes, raws, stock, stage, known, levels_only, least, out):
    """Mark the boxes (rows of x, y, half sizes) in which a label not known to them may show.

    raws: how high the stock stands in each at most; -inf: there is none.
    """
    ids, starts, stops = lists
    lows, caps = room(starts, stops)
    for n in range(len(boxes)):
        box = (boxes[n, 0], boxes[n, 1], boxes[n, 2], boxes[n, 3])
        first, last, raw = starts[n], stops[n], raws[n]
        if raw == -INF:
            out[n] = False
        elif stage > 0:
            out[n] = other_skim(
                moves, ids, first, last, box, raw, stock, stage, known, n, lows, caps
            )
        else:
            out[n] = other_shows(
                moves, ids, first, last, box, raw, stock, known, n, levels_only, least, lows, caps
            )


@jit
def tip_of(moves, m, x, y):
    """Tip's height when row m leaves a place, and the direction in plan from it to the place."""
    row = load(moves[1], m)
    px, py, z = place(moves[0][m], row, x, y)
    rho = math.hypot(x - px, y - py)
    if rho == 0.0:
        return z - row[17], 0.0, 0.0
    return z - row[17], (x - px) / rho, (y - py) / rho


@jit
def fill(forms, n, moves, judged, x, y, sx, sy, ox, oy):
    """Write slopes and directions of a place."""
    forms[n, 0] = sx
    forms[n, 1] = sy
    forms[n, 2] = ox
    forms[n, 3] = oy
    if judged >= 0:
        _, forms[n, 4], forms[n, 5] = tip_of(moves, judged, x, y)


@entry
def labels(
    moves, lists, xs, ys, raw, bottom, raw_label, limit, stage, out, own, top, buried, forms
):  # fmt: skip
    """Label, owner and height of exact places; of pass `stage`'s skims where it is not 0.

    buried is set where metal stands above a cutting part. forms, shape (n, 6) or (0, 6), gets the
    slopes along x and y, and two directions in plan from tip to place: the owner's, and that of
    the sheet whose flat counts; of a skim the slopes too are those of what was skimmed.
    """
    code, rows, passes, level = moves
    ids, starts, stops = lists
    for n in range(len(xs)):
        x = xs[n]
        y = ys[n]
        z = raw[n]
        who = -1
        before = z
        left_by = -1
        for k in range(starts[n], stops[n]):
            m = ids[k]
            if stage > 0 and passes[m] > stage:
                break
            row = load(rows, m)
            h = height(code[m], row, x, y) if row[2] < z else INF
            if h >= z - NEAR:
                continue
            if z > cut_top(code[m], row, x, y) + SAME:
                buried[n] = True
                continue
            z = h
            who = m
            if passes[m] < stage:
                before = h
                left_by = m
        own[n] = who
        gone = z <= bottom[n]
        z = bottom[n] if gone and stage > 0 else z
        top[n] = z
        out[n] = GONE if gone or stage > 0 else raw_label[n]
        # Whose flat decides: the owner's, or of a skim that which was skimmed.
        judged = left_by if stage > 0 else who
        name, sx, sy = -1, 0.0, 0.0
        if judged >= 0:
            sx, sy, flat = surface(code[judged], load(rows, judged), x, y)
            name = level[judged] if flat else -1
            if stage == 0 and not gone:
                out[n] = name if name >= 0 else RAW_GROUND - passes[judged]
        if who >= 0 and (stage > 0 or len(forms) > 0):
            tip, ox, oy = tip_of(moves, who, x, y)
            deep = before - z > SAME and before - tip <= limit + SAME and before > bottom[n]
            if stage > 0 and who > left_by and deep and name >= 0:
                out[n] = name
            if len(forms) > 0:
                fill(forms, n, moves, judged, x, y, sx, sy, ox, oy)
