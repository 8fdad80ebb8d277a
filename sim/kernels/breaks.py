"""Places along a line in plan where a move's sheet begins, ends or turns flat."""

import math

import numpy as np

from .profile import entry, jit
from .row import load


@jit
def circle_cuts(ox, oy, ux, uy, cx, cy, r, out, n):
    """Append where the line o + s u (u of unit length) meets a circle; returns the count."""
    dx = ox - cx
    dy = oy - cy
    b = dx * ux + dy * uy
    lateral = dx * uy - dy * ux
    left = (r - lateral) * (r + lateral)
    if left >= 0.0:
        q = math.sqrt(left)
        out[n] = -b - q
        out[n + 1] = -b + q
        n += 2
    return n


@jit
def line_cut(ox, oy, ux, uy, px, py, vx, vy, out, n):
    """Append where the line meets the line through p along v; returns the count."""
    across = ux * vy - uy * vx
    if abs(across) > 1e-12:
        out[n] = ((px - ox) * vy - (py - oy) * vx) / across
        n += 1
    return n


@jit
def breaks_of(kind, row, ox, oy, ux, uy, out):
    """Write the places of one move to out (room for 32); returns how many.

    Circles of the tool's rim and flat at both ends of the path; for a line also the parallels at
    those distances and the perpendiculars at its ends, for an arc the circles beside it.
    """
    n = np.int64(0)  # typed: a bare 0 would be compiled a second time, as a literal
    for k in range(2):
        r = row[9] if k == 0 else row[10]
        if r <= 0.0 and k == 1:
            r = 0.0
        n = circle_cuts(ox, oy, ux, uy, row[0], row[1], r, out, n)
        if kind == 0:
            continue
        n = circle_cuts(ox, oy, ux, uy, row[14], row[15], r, out, n)
        if kind >= 3:
            n = circle_cuts(ox, oy, ux, uy, row[3], row[4], row[5] + r, out, n)
            if row[5] > r:
                n = circle_cuts(ox, oy, ux, uy, row[3], row[4], row[5] - r, out, n)
        else:
            lx = -row[4] * r
            ly = row[3] * r
            n = line_cut(ox, oy, ux, uy, row[0] + lx, row[1] + ly, row[3], row[4], out, n)
            n = line_cut(ox, oy, ux, uy, row[0] - lx, row[1] - ly, row[3], row[4], out, n)
    if kind == 1 or kind == 2:
        n = line_cut(ox, oy, ux, uy, row[0], row[1], -row[4], row[3], out, n)
        n = line_cut(ox, oy, ux, uy, row[14], row[15], -row[4], row[3], out, n)
    return n


@entry
def breaks_along(code, rows, ids, ox, oy, ux, uy, out):
    """Write the places of all moves of ids to out (room for 32 each); returns how many."""
    n = 0
    for m in ids:
        n += breaks_of(code[m] >> 3, load(rows, m), ox, oy, ux, uy, out[n:])
    return n
