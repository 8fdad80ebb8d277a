"""Where a line through space is inside what a whole tool sweeps along one move.

A path is a row of `PATH` numbers: 0-2 low end x, y, z; 3-4 unit direction in plan, or the axis of
an arc; 5 length in plan, or radius; 6 rise >= 0; 7-8 angle turned >= 0 and its sense; 9-10 high
end x, y; 11 chords of an arc. Pieces are rows of `pieces.kernel_rows`; tool t has its pieces as
drawn in rows spans[t, 0]:spans[t, 1] and as convex ones in spans[t, 2]:spans[t, 3]. What is found
goes to `found` (from, to) and `marks` (move, piece, chord); a count of -1: there was no room.
"""

import math

import numpy as np

from .place import ARC, HELIX, LEVEL, POINT
from .profile import INF, jit, once
from .sweep_arc import round_moved
from .sweep_cone import disc_chord, frustum_moved, slab
from .sweep_level import arc_band, near_arc, stadium
from .sweep_upright import helix_heights, ramp_heights

PATH = 12
FULL_ROOM = np.int64(-1)
NO_CHORD = np.int64(-1)
ASKED = 16
"""Places in `scratch`: what is asked of the line; how many stretches of air are kept, and those."""
COVERS = 18
COVER = 20
MOST_COVERS = 8
SCRATCH = COVER + 2 * MOST_COVERS
SURE = 1e-8
"""A stretch this much inside another, mm, has no end that shows."""
THICK = 0.02
"""An arc is bounded by a thicker piece on its chord: by at most so much of its radius."""


@jit
def piece_radius(pieces, p, h):
    """Radius of a piece at a height between its ends."""
    if pieces[p, 8] == 0.0:
        return (
            pieces[p, 2] + pieces[p, 4] * (h - pieces[p, 0])
            if pieces[p, 4] != 0.0
            else pieces[p, 2]
        )
    v = h - pieces[p, 6]
    left = (pieces[p, 7] - v) * (pieces[p, 7] + v)
    half = math.sqrt(left if left > 0.0 else 0.0)
    return pieces[p, 5] + pieces[p, 8] * half


@jit
def piece_column(pieces, p, rho):
    """Lowest and highest place of a piece at a distance from its axis; (INF, -INF) outside."""
    low = pieces[p, 0]
    high = pieces[p, 1]
    if pieces[p, 8] == 0.0:
        k = pieces[p, 4]
        if k == 0.0:
            return (low, high) if rho <= pieces[p, 2] else (INF, -INF)
        h = low + (rho - pieces[p, 2]) / k
        if k > 0.0:
            return (max(low, h), high) if rho <= pieces[p, 3] else (INF, -INF)
        return (low, min(high, h)) if rho <= pieces[p, 2] else (INF, -INF)
    v = rho - pieces[p, 5]
    rc = pieces[p, 7]
    left = (rc - v) * (rc + v)
    half = math.sqrt(left if left > 0.0 else 0.0)
    middle = pieces[p, 6]
    if pieces[p, 8] > 0.0:
        if v <= 0.0:
            return low, high
        if left < 0.0:
            return INF, -INF
        a, b = max(low, middle - half), min(high, middle + half)
        return (a, b) if a <= b else (INF, -INF)
    if v >= 0.0:
        return INF, -INF
    if left < 0.0:
        return low, high
    if low >= middle:
        a, b = max(low, middle + half), high
    else:
        a, b = low, min(high, middle - half)
    return (a, b) if a <= b else (INF, -INF)


@jit
def add(found, marks, n, lo, hi, move, piece, chord):
    """Note an interval; returns the new count."""
    if not hi > lo:
        return n
    if n >= len(found):
        return FULL_ROOM
    found[n, 0] = lo
    found[n, 1] = hi
    marks[n, 0] = move
    marks[n, 1] = piece
    marks[n, 2] = chord
    return n + 1


@jit
def straight(
    line, x0, y0, z0, ux, uy, length, rise, pieces, first, last, found, marks, n, move
):  # fmt: skip
    """Intervals inside convex pieces on a straight path of any slope."""
    ox, oy, oz, vx, vy, vz = line
    # Count from the line's place nearest to the middle of the path: far origins cost no digits.
    mx = x0 + 0.5 * length * ux
    my = y0 + 0.5 * length * uy
    mz = z0 + 0.5 * rise
    back = (mx - ox) * vx + (my - oy) * vy + (mz - oz) * vz
    dx = ox + back * vx - x0
    dy = oy + back * vy - y0
    z = oz + back * vz - z0
    x = dx * ux + dy * uy
    y = dy * ux - dx * uy
    wx = vx * ux + vy * uy
    wy = vy * ux - vx * uy
    for p in range(first, last):
        if pieces[p, 8] == 0.0:
            lo, hi = frustum_moved(
                x, y, z, wx, wy, vz, length, rise, pieces[p, 0], pieces[p, 1], pieces[p, 2],
                pieces[p, 4],
            )  # fmt: skip
        else:
            lo, hi = round_moved(
                x, y, z, wx, wy, vz, length, rise, pieces[p, 0], pieces[p, 1], pieces[p, 2],
                pieces[p, 3], pieces[p, 5], pieces[p, 6], pieces[p, 7],
            )  # fmt: skip
        n = add(found, marks, n, lo + back, hi + back, move, p, NO_CHORD)
        if n < 0:
            return n
    return n


@once
def level_line(line, path, pieces, first, last, found, marks, n, move):
    """Intervals of a level line on a level straight path: exact for every profile."""
    ox, oy, oz, vx, vy, _ = line
    mx = 0.5 * (path[0] + path[9])
    my = 0.5 * (path[1] + path[10])
    back = (mx - ox) * vx + (my - oy) * vy
    dx = ox + back * vx - path[0]
    dy = oy + back * vy - path[1]
    ux, uy = path[3], path[4]
    h = oz - path[2]
    for p in range(first, last):
        if pieces[p, 0] <= h <= pieces[p, 1]:
            w = piece_radius(pieces, p, h)
            lo, hi = stadium(
                dx * ux + dy * uy, dy * ux - dx * uy, vx * ux + vy * uy, vy * ux - vx * uy,
                path[5], w,
            )  # fmt: skip
            n = add(found, marks, n, lo + back, hi + back, move, p, NO_CHORD)
            if n < 0:
                return n
    return n


@jit
def level_round(kind, line, path, pieces, first, last, found, marks, n, move, scratch):
    """Intervals of a level line on a level arc, or in the cylinders of a tool on a helix: exact.

    A cylinder on a helix cuts at the line's height while the tip passes a stretch of the helix.
    """
    ox, oy, oz, vx, vy, _ = line
    back = (path[3] - ox) * vx + (path[4] - oy) * vy
    dx = ox + back * vx - path[3]
    dy = oy + back * vy - path[4]
    x0, y0, x1, y1, turned = path[0], path[1], path[9], path[10], path[7]
    h = oz - path[2]
    for p in range(first, last):
        if kind == HELIX:
            if pieces[p, 8] != 0.0 or pieces[p, 4] != 0.0:
                continue
            a = path[7] * max(0.0, (h - pieces[p, 1]) / path[6])
            b = path[7] * min(1.0, (h - pieces[p, 0]) / path[6])
            if a > b:
                continue
            x0, y0 = arc_place(path, a)
            x1, y1 = arc_place(path, b)
            turned = b - a
        elif not pieces[p, 0] <= h <= pieces[p, 1]:
            continue
        arc = (
            x0 - path[3], y0 - path[4], x1 - path[3], y1 - path[4], path[5], path[8], turned,
        )  # fmt: skip
        for k in range(arc_band(dx, dy, vx, vy, arc, piece_radius(pieces, p, h), scratch)):
            lo = scratch[8 + 2 * k] + back
            hi = scratch[9 + 2 * k] + back
            n = add(found, marks, n, lo, hi, move, p, NO_CHORD)
            if n < 0:
                return n
            cover(scratch, lo, hi)
    return n


@jit
def plan_distance(kind, path, x, y):
    """Distance in plan from a place to a path."""
    if kind >= ARC:  # a helix too
        return near_arc(
            x - path[3], y - path[4], path[0] - path[3], path[1] - path[4], path[9] - path[3],
            path[10] - path[4], path[5], path[8], path[7],
        )  # fmt: skip
    dx = x - path[0]
    dy = y - path[1]
    a = dx * path[3] + dy * path[4]
    b = dx * path[4] - dy * path[3]
    t = a if a > 0.0 else 0.0
    t = t if t < path[5] else path[5]
    e = t - a
    return math.sqrt(e * e + b * b)


@once
def upright(kind, line, path, pieces, first, last, found, marks, n, move):
    """Intervals of an upright line on any path: exact for every profile."""
    ox, oy, oz, _, _, vz = line
    sloped = path[6] != 0.0 and kind != POINT
    rho = 0.0 if sloped else plan_distance(kind, path, ox, oy)
    for p in range(first, last):
        if not sloped:
            low, high = piece_column(pieces, p, rho)
            low, high = path[2] + low, path[2] + path[6] + high
        elif kind == HELIX:
            low, high = helix_heights(pieces, p, path, ox, oy)
        else:
            low, high = ramp_heights(pieces, p, path, ox, oy)
        if low <= high:
            a = (low - oz) / vz
            b = (high - oz) / vz
            n = add(found, marks, n, min(a, b), max(a, b), move, p, NO_CHORD)
            if n < 0:
                return n
    return n


@jit
def arc_place(path, angle):
    """Place in plan of the tip after turning through an angle from the low end."""
    sx = path[0] - path[3]
    sy = path[1] - path[4]
    c = math.cos(angle)
    s = path[8] * math.sin(angle)
    return path[3] + c * sx - s * sy, path[4] + c * sy + s * sx


@jit
def needless(scratch, lo, hi):
    """Whether all between two places of a line is known: not asked for, or cut already."""
    if lo > hi or lo > scratch[ASKED + 1] + SURE or hi < scratch[ASKED] - SURE:
        return True
    for k in range(int(scratch[COVERS])):
        if lo > scratch[COVER + 2 * k] + SURE and hi < scratch[COVER + 2 * k + 1] - SURE:
            return True
    return False


@jit
def cover(scratch, lo, hi):
    """Note a stretch of air among the few that are kept, joined with those it meets."""
    n = int(scratch[COVERS])
    k = 0
    while k < n:
        a = scratch[COVER + 2 * k]
        b = scratch[COVER + 2 * k + 1]
        if lo <= b and hi >= a:
            if a <= lo and hi <= b:
                return
            lo = a if a < lo else lo
            hi = b if b > hi else hi
            n -= 1
            scratch[COVER + 2 * k] = scratch[COVER + 2 * n]
            scratch[COVER + 2 * k + 1] = scratch[COVER + 2 * n + 1]
            k = 0
        else:
            k += 1
    if n == MOST_COVERS:  # the shortest goes
        k = 0
        for i in range(1, n):
            if (
                scratch[COVER + 2 * i + 1] - scratch[COVER + 2 * i]
                < scratch[COVER + 2 * k + 1] - scratch[COVER + 2 * k]
            ):
                k = i
        if hi - lo <= scratch[COVER + 2 * k + 1] - scratch[COVER + 2 * k]:
            return
        n -= 1
    else:
        k = n
    scratch[COVER + 2 * k] = lo
    scratch[COVER + 2 * k + 1] = hi
    scratch[COVERS] = n + 1


@jit
def turn_span(line, path, pieces, p, i, j):
    """Stretch of a line that holds all that a piece sweeps between chords i and j of an arc."""
    chords = path[11]
    a = path[7] * i / chords
    b = path[7] * j / chords
    x, y = arc_place(path, 0.5 * (a + b))
    r = max(pieces[p, 2], pieces[p, 3])
    if pieces[p, 8] > 0.0 and pieces[p, 0] < pieces[p, 6] < pieces[p, 1]:
        r = pieces[p, 5] + pieces[p, 7]
    r += 2.0 * path[5] * math.sin(min(0.25 * (b - a), 0.5 * math.pi))
    lo, hi = disc_chord(line[0] - x, line[1] - y, line[3], line[4], r * (1.0 + 1e-9))
    z = line[2] - path[2]
    low = path[6] * i / chords + pieces[p, 0]
    high = path[6] * j / chords + pieces[p, 1]
    c, d = slab(z, line[5], low - 1e-9, high + 1e-9)
    return max(lo, c), min(hi, d)


@jit
def chord_span(line, path, pieces, p, i, j, fat):
    """Where a line is inside a piece, `fat` thicker all round, on the chord from i to j."""
    x0, y0 = arc_place(path, path[7] * i / path[11])
    x1, y1 = arc_place(path, path[7] * j / path[11])
    ux, uy = x1 - x0, y1 - y0
    length = math.sqrt(ux * ux + uy * uy)
    ux, uy = ux / length, uy / length
    rise = path[6] * (j - i) / path[11]
    ox, oy, oz, vx, vy, vz = line
    dx, dy, dz = ox - 0.5 * (x0 + x1), oy - 0.5 * (y0 + y1), oz - path[2]
    start = path[6] * i / path[11]
    back = -(dx * vx + dy * vy + (dz - start - 0.5 * rise) * vz)
    dx = ox + back * vx - x0
    dy = oy + back * vy - y0
    z = dz + back * vz - start
    x = dx * ux + dy * uy
    y = dy * ux - dx * uy
    wx = vx * ux + vy * uy
    wy = vy * ux - vx * uy
    if pieces[p, 8] == 0.0:
        lo, hi = frustum_moved(
            x, y, z, wx, wy, vz, length, rise, pieces[p, 0], pieces[p, 1], pieces[p, 2] + fat,
            pieces[p, 4],
        )  # fmt: skip
    else:
        lo, hi = round_moved(
            x, y, z, wx, wy, vz, length, rise, pieces[p, 0], pieces[p, 1], pieces[p, 2] + fat,
            pieces[p, 3] + fat, pieces[p, 5] + fat, pieces[p, 6], pieces[p, 7],
        )  # fmt: skip
    return lo + back, hi + back


@jit
def turning(
    line, path, pieces, first, last, round_only, found, marks, n, move, scratch, stack
):  # fmt: skip
    """Intervals on an arc or a helix cut into chords; halves that change nothing are left out.

    An arc of angle b is nowhere farther than radius * b^2 / 8 from its chord at the same share, so
    the piece that much thicker on the chord holds all that is swept on the arc.
    """
    for p in range(last - 1, first - 1, -1):  # from the widest down: what is below is often inside
        if round_only and pieces[p, 8] == 0.0 and pieces[p, 4] == 0.0:
            continue
        stack[0, 0] = 0
        stack[0, 1] = int(path[11])
        depth = 1
        while depth > 0:
            depth -= 1
            i = stack[depth, 0]
            j = stack[depth, 1]
            lo, hi = turn_span(line, path, pieces, p, i, j)
            if needless(scratch, lo, hi):
                continue
            if j - i > 1:
                turned = path[7] * (j - i) / path[11]
                fat = 0.125 * path[5] * turned * turned
                if fat < THICK * path[5]:
                    lo, hi = chord_span(line, path, pieces, p, i, j, fat * (1.0 + 1e-6))
                    if needless(scratch, lo, hi):
                        continue
                middle = (i + j) // 2
                stack[depth, 0] = i
                stack[depth, 1] = middle
                stack[depth + 1, 0] = middle
                stack[depth + 1, 1] = j
                depth += 2
                continue
            lo, hi = chord_span(line, path, pieces, p, i, j, 0.0)
            if lo < hi:
                n = add(found, marks, n, lo, hi, move, p, i)
                if n < 0:
                    return n
                cover(scratch, lo, hi)
    return n


@once
def swept(kind, line, path, pieces, spans, t, reach, found, marks, n, move, scratch, stack):
    """Add where a line is inside what tool t sweeps on a path; returns the count or -1."""
    whole, last, convex, stop = spans[t, 0], spans[t, 1], spans[t, 2], spans[t, 3]
    level = path[6] == 0.0
    if line[3] == 0.0 and line[4] == 0.0 and (kind != HELIX or path[6] <= reach[3]):
        return upright(kind, line, path, pieces, whole, last, found, marks, n, move)
    if level and line[5] == 0.0 and kind != ARC:
        return level_line(line, path, pieces, whole, last, found, marks, n, move)
    if kind != ARC and kind != HELIX:
        return straight(
            line, path[0], path[1], path[2], path[3], path[4], path[5], path[6], pieces, convex,
            stop, found, marks, n, move,
        )  # fmt: skip
    if line[5] == 0.0:
        first, end = (whole, last) if level else (convex, stop)
        n = level_round(kind, line, path, pieces, first, end, found, marks, n, move, scratch)
        if level or n < 0:
            return n
    return turning(
        line, path, pieces, convex, stop, line[5] == 0.0, found, marks, n, move, scratch, stack
    )  # fmt: skip


__all__ = ["ARC", "HELIX", "LEVEL", "PATH", "POINT", "cover", "needless", "swept"]
