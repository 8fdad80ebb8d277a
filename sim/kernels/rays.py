"""Many lines through the stock: tree over the moves, intervals, what is left and who left it."""

import math

import numpy as np

from .profile import INF, entry, jit, once
from .sweep_end import made_by
from .sweep_path import ASKED, COVERS, SCRATCH, cover, needless, swept

NEAR = 1e-9
"""Intervals that come nearer than this to each other are one, mm."""
RAW = np.int64(-1)
CUT_OFF = np.int64(-2)
MADE = np.int64(0)
ZERO = np.int64(0)  # typed: a bare 0 would be compiled a second time as a literal
ONE = np.int64(1)
LEAF = 4
HUGE = 1e300
ROOM = np.int64(-1)


@jit
def inverse(line):
    """1 / direction, along each axis: so large for none that only the side of a box counts."""
    vx, vy, vz = line[3], line[4], line[5]
    return (
        1.0 / vx if vx != 0.0 else HUGE, 1.0 / vy if vy != 0.0 else HUGE,
        1.0 / vz if vz != 0.0 else HUGE,
    )  # fmt: skip


@jit
def box_span(boxes, node, line, inv):
    """From where to where a line is in a box."""
    t_low, t_high = -INF, INF
    a = (boxes[node, 0] - line[0]) * inv[0]
    b = (boxes[node, 3] - line[0]) * inv[0]
    low, high = (a, b) if a < b else (b, a)
    t_low = low if low > t_low else t_low
    t_high = high if high < t_high else t_high
    a = (boxes[node, 1] - line[1]) * inv[1]
    b = (boxes[node, 4] - line[1]) * inv[1]
    low, high = (a, b) if a < b else (b, a)
    t_low = low if low > t_low else t_low
    t_high = high if high < t_high else t_high
    a = (boxes[node, 2] - line[2]) * inv[2]
    b = (boxes[node, 5] - line[2]) * inv[2]
    low, high = (a, b) if a < b else (b, a)
    t_low = low if low > t_low else t_low
    t_high = high if high < t_high else t_high
    return t_low, t_high


@jit
def collect(line, t_low, t_high, limit, tree, moves, work, ray):
    """Gather the intervals of all moves below `limit` on a line; count or ROOM."""
    boxes, first_move, refs, own, seen = tree
    kinds, paths, tool, pieces, spans, reach = moves
    found, marks, scratch, stack, nodes = work
    inner = len(boxes) // 2
    inv = inverse(line)
    n = ZERO
    scratch[COVERS] = 0.0
    scratch[ASKED], scratch[ASKED + 1] = t_low, t_high
    nodes[0] = 0
    depth = 1 if first_move[0] < limit else 0
    while depth > 0:
        depth -= 1
        node = nodes[depth]
        low, high = box_span(boxes, node, line, inv)
        if needless(scratch, low, high):
            continue
        if node < inner:
            for child in (2 * node + 2, 2 * node + 1):
                if first_move[child] < limit:
                    nodes[depth] = child
                    depth += 1
            continue
        start = (node - inner) * LEAF
        for k in range(start, min(start + LEAF, len(refs))):
            m = np.int64(refs[k])
            if m >= limit or seen[m] == ray:
                continue
            low, high = box_span(own, k, line, inv)
            if not needless(scratch, low, high):
                seen[m] = ray
                before = n
                t = np.int64(tool[m])
                n = swept(
                    kinds[m], line, paths[m], pieces, spans, t, reach[t], found, marks, n, m,
                    scratch, stack,
                )  # fmt: skip
                if n < 0:
                    return n
                for i in range(before, n):
                    cover(scratch, found[i, 0], found[i, 1])
    return n


@jit
def sort_intervals(found, n, order):
    """Indices of the first n intervals by where they begin."""
    gap = 1
    while gap < n // 3:
        gap = 3 * gap + 1
    for i in range(n):
        order[i] = i
    while gap > 0:  # Shell's sort: most lines have a few intervals, none has many thousands
        for i in range(gap, n):
            v = order[i]
            j = i
            while j >= gap and found[order[j - gap], 0] > found[v, 0]:
                order[j] = order[j - gap]
                j -= gap
            order[j] = v
        gap //= 3


@jit
def owner_of(found, marks, n, which, t):
    """Interval with an end (0 low, 1 high) at t: that of the earliest move, its highest piece."""
    best = ROOM
    for i in range(n):
        if abs(found[i, which] - t) <= NEAR and (
            best < 0
            or marks[i, 0] < marks[best, 0]
            or (marks[i, 0] == marks[best, 0] and marks[i, 1] > marks[best, 1])
        ):
            best = i
    return best


@jit
def put_end(out, k, side, t, i, stretch, work):
    """Write one end of a piece of metal; i: interval, or RAW or CUT_OFF; stretch: of the stock."""
    marks = work[1]
    out[0][k, side] = t
    out[1][k, side, 0] = marks[i, 0] if i >= 0 else i
    out[1][k, side, 1] = marks[i, 1] if i >= 0 else stretch
    out[1][k, side, 2] = marks[i, 2] if i >= 0 else -1


@once
def put_metal(out, k, start, stop, from_raw, to_raw, stretch, n, work):
    """Write a piece of metal; an end is RAW or CUT_OFF, or was made by a move (0)."""
    found, marks, _, _, _ = work
    first = from_raw if from_raw < 0 else owner_of(found, marks, n, ONE, start)
    last = to_raw if to_raw < 0 else owner_of(found, marks, n, ZERO, stop)
    put_end(out, k, ZERO, start, first, stretch, work)
    put_end(out, k, ONE, stop, last, stretch, work)


@jit
def leave_metal(stock, stretch, t_low, t_high, n, work, order, out, k):
    """Write what is left of one stretch of stock; returns the count of all or ROOM."""
    found = work[0]
    stock_from = stock[1][stretch]
    stock_to = stock[2][stretch]
    at = stock_from if stock_from > t_low else t_low
    stop = stock_to if stock_to < t_high else t_high
    first = RAW if stock_from >= t_low else CUT_OFF
    last = RAW if stock_to <= t_high else CUT_OFF
    i = 0
    while i < n and at < stop:
        low = found[order[i], 0]
        high = found[order[i], 1]
        i += 1
        while i < n and found[order[i], 0] <= high + NEAR:  # all that hangs together
            high = found[order[i], 1] if found[order[i], 1] > high else high
            i += 1
        if high <= at + NEAR:
            continue
        if low > at + NEAR:
            if low >= stop - NEAR:
                break
            if k >= len(out[0]):
                return ROOM
            put_metal(out, k, at, low, first, MADE, stretch, n, work)
            k += 1
        at = high
        first = MADE
    if stop > at + NEAR:
        if k >= len(out[0]):
            return ROOM
        put_metal(out, k, at, stop, first, last, stretch, n, work)
        k += 1
    return k


@jit
def describe_end(line, moves, out, k, side):
    """Normal out of the metal and label of one end."""
    kinds, paths, _, pieces, _, _ = moves
    m = out[1][k, side, 0]
    out[2][k, side, 3] = -1.0
    for j in range(3):
        out[2][k, side, j] = math.nan
    if m < 0:
        return
    t = out[0][k, side]
    place = (line[0] + t * line[3], line[1] + t * line[4], line[2] + t * line[5])
    piece = np.int64(out[1][k, side, 1])
    x, y, z, label = made_by(
        kinds[m], paths[m], pieces, piece, out[1][k, side, 2], place, line
    )  # fmt: skip
    out[2][k, side, 0] = -x
    out[2][k, side, 1] = -y
    out[2][k, side, 2] = -z
    out[2][k, side, 3] = label


@entry
def cast(lines, stock, span, limit, tree, moves, room, out, counts):
    """Metal left on lines.

    lines: (n, 6). stock: offsets, from, to along each line. limit: moves that are done. tree:
    boxes, first move of each node, moves of the leaves and their boxes, a mark a move (-1). out:
    ends (k, 2), (move, piece, chord) of each, room for `describe`. counts: intervals of each line.
    Returns the number of intervals, or ROOM - lines done where `out` was too small.
    """
    offsets, stock_from, stock_to = stock
    k = ZERO
    work = (
        np.empty((room, 2)), np.empty((room, 3), np.int32), np.empty(SCRATCH),
        np.empty((64, 2), np.int64), np.empty(128, np.int64),
    )  # fmt: skip
    order = np.empty(room, np.int64)
    for r in range(len(lines)):
        row = lines[r]
        line = (row[0], row[1], row[2], row[3], row[4], row[5])
        start = k
        low, high = INF, -INF
        for j in range(offsets[r], offsets[r + 1]):
            low = stock_from[j] if stock_from[j] < low else low
            high = stock_to[j] if stock_to[j] > high else high
        low = low if low > span[0] else span[0]
        high = high if high < span[1] else span[1]
        if high > low:
            n = collect(line, low, high, limit, tree, moves, work, r)
            while n < 0:  # too many for the room there is
                room *= 2
                work = (
                    np.empty((room, 2)), np.empty((room, 3), np.int32), work[2], work[3], work[4]
                )  # fmt: skip
                order = np.empty(room, np.int64)
                for m in range(len(tree[4])):
                    if tree[4][m] == r:
                        tree[4][m] = -1
                n = collect(line, low, high, limit, tree, moves, work, r)
            sort_intervals(work[0], n, order)
            for j in range(offsets[r], offsets[r + 1]):
                k = leave_metal(stock, j, span[0], span[1], n, work, order, out, k)
                if k < 0:
                    return ROOM - r
        counts[r] = k - start
    return k


@entry
def describe(lines, moves, out, counts):
    """Write (normal, label) of each end that `cast` found to out[2]."""
    k = ZERO
    for r in range(len(lines)):
        row = lines[r]
        line = (row[0], row[1], row[2], row[3], row[4], row[5])
        for _ in range(counts[r]):
            for side in range(2):
                describe_end(line, moves, out, k, side)
            k += 1
