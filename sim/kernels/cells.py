"""Lower the 64 cells of a patch to what one move leaves: the innermost loops.

Each loop has no branch and no call left in it, so that it runs in packed arithmetic; each does
the same operations in the same order as `place.height`, so that the bits are the same.
"""

import math

import numpy as np

from .place import (
    ARC,
    LEVEL,
    RAMP,
    arc_rho2,
    cut_top,
    height,
    line_local,
    line_rho2,
    ramp_height,
)
from .profile import ARCH, BALL, BULL, FLAT, jit, once
from .ramp import _clamp, _half_chord

PATCH = 8
CELLS = PATCH * PATCH
SAME = 1e-6
"""Heights nearer than this are one level, mm."""
ANY_ORDER = np.bool_(False)  # typed: bare ones would be compiled one by one
IN_ORDER = np.bool_(True)


@jit
def cut_cells(code, row, m, xs, ys, top, own, rho2, buried):
    """Lower the cells of a patch to what move m leaves; rho2 is scratch."""
    kind = code >> 3
    shape = code & 7
    if shape >= ARCH:
        cut_any(code, row, m, xs, ys, top, own, buried, ANY_ORDER)
    elif kind == ARC:
        for i in range(CELLS):
            rho2[i] = arc_rho2(row, xs[i], ys[i])
        cut_level(shape, row, m, top, own, rho2)
    elif kind <= LEVEL and shape == FLAT:
        cut_line_flat(row, m, xs, ys, top, own)
    elif kind <= LEVEL and shape == BALL:
        cut_line_ball(row, m, xs, ys, top, own)
    elif kind <= LEVEL and shape == BULL:
        cut_line_bull(row, m, xs, ys, top, own)
    elif kind <= LEVEL:
        for i in range(CELLS):
            rho2[i] = line_rho2(row, xs[i], ys[i])
        cut_level(shape, row, m, top, own, rho2)
    elif kind == RAMP and shape == FLAT:
        cut_ramp_flat(row, m, xs, ys, top, own)
    elif kind == RAMP and shape == BALL:
        cut_ramp_ball(row, m, xs, ys, top, own)
    else:
        cut_any(code, row, m, xs, ys, top, own, buried, ANY_ORDER)


@jit
def cut_level(shape, row, m, top, own, rho2):
    """Lower cells at squared distances rho2 from the path of a level move."""
    z = row[2]
    R = row[9]
    R2 = row[13]
    d = row[10]
    rc = row[11]
    if shape == FLAT:
        for i in range(CELLS):
            c = (rho2[i] <= R2) & (z < top[i])
            top[i] = z if c else top[i]
            own[i] = m if c else own[i]
    elif shape == BALL:
        for i in range(CELLS):
            left = R2 - rho2[i]
            h = z + (R - math.sqrt(left if left > 0.0 else 0.0))
            c = (rho2[i] <= R2) & (h < top[i])
            top[i] = h if c else top[i]
            own[i] = m if c else own[i]
    elif shape == BULL:
        for i in range(CELLS):
            v = math.sqrt(rho2[i]) - d
            v = v if v > 0.0 else 0.0
            left = (rc - v) * (rc + v)
            h = z + (rc - math.sqrt(left if left > 0.0 else 0.0))
            c = (rho2[i] <= R2) & (h < top[i])
            top[i] = h if c else top[i]
            own[i] = m if c else own[i]
    else:
        k = row[12]
        for i in range(CELLS):
            v = math.sqrt(rho2[i]) - d
            v = v if v > 0.0 else 0.0
            h = z + k * v
            c = (rho2[i] <= R2) & (h < top[i])
            top[i] = h if c else top[i]
            own[i] = m if c else own[i]


@once
def cut_line_flat(row, m, xs, ys, top, own):
    """Lower cells to what a flat tool leaves on a level line: one loop, half again as fast."""
    z = row[2]
    R2 = row[13]
    for i in range(CELLS):
        c = (line_rho2(row, xs[i], ys[i]) <= R2) & (z < top[i])
        top[i] = z if c else top[i]
        own[i] = m if c else own[i]


@once
def cut_line_ball(row, m, xs, ys, top, own):
    """Lower cells to what a ball leaves on a level line."""
    z = row[2]
    R = row[9]
    R2 = row[13]
    for i in range(CELLS):
        r2 = line_rho2(row, xs[i], ys[i])
        left = R2 - r2
        h = z + (R - math.sqrt(left if left > 0.0 else 0.0))
        c = (r2 <= R2) & (h < top[i])
        top[i] = h if c else top[i]
        own[i] = m if c else own[i]


@once
def cut_line_bull(row, m, xs, ys, top, own):
    """Lower cells to what a corner radius leaves on a level line."""
    z = row[2]
    R2 = row[13]
    d = row[10]
    rc = row[11]
    for i in range(CELLS):
        r2 = line_rho2(row, xs[i], ys[i])
        v = math.sqrt(r2) - d
        v = v if v > 0.0 else 0.0
        left = (rc - v) * (rc + v)
        h = z + (rc - math.sqrt(left if left > 0.0 else 0.0))
        c = (r2 <= R2) & (h < top[i])
        top[i] = h if c else top[i]
        own[i] = m if c else own[i]


@once
def cut_ramp_flat(row, m, xs, ys, top, own):
    """Lower cells to what a flat tool leaves on a sloped line."""
    for i in range(CELLS):
        a, b = line_local(row, xs[i], ys[i])
        b = abs(b)
        t = _clamp(a - _half_chord(row[9], b), row[5])
        h = row[2] + row[6] * (t / row[5])
        c = (line_rho2(row, xs[i], ys[i]) <= row[13]) & (h < top[i])
        top[i] = h if c else top[i]
        own[i] = m if c else own[i]


@once
def cut_ramp_ball(row, m, xs, ys, top, own):
    """Lower cells to what a ball leaves on a sloped line."""
    sine = row[6] / math.sqrt(row[5] * row[5] + row[6] * row[6])
    for i in range(CELLS):
        a, b = line_local(row, xs[i], ys[i])
        b = abs(b)
        t = _clamp(a - _half_chord(row[9], b) * sine, row[5])
        h = ramp_height(BALL, row, a, b, t)
        c = (line_rho2(row, xs[i], ys[i]) <= row[13]) & (h < top[i])
        top[i] = h if c else top[i]
        own[i] = m if c else own[i]


@jit
def cut_any(code, row, m, xs, ys, top, own, buried, in_order):
    """Lower cells to what any move leaves, one by one.

    In order, metal that stands above the end of the cutting part stays, and is marked.
    """
    for i in range(CELLS):
        h = height(code, row, xs[i], ys[i])
        if h < top[i]:
            if in_order and top[i] > cut_top(code, row, xs[i], ys[i]) + SAME:
                buried[i] = True
            else:
                top[i] = h
                own[i] = m
