"""Where an upright line is inside what a tool sweeps: from the lowest to the highest it reaches.

Each end is the height of a column (`ramp`, `helix`): below by the piece's lower face, above by its
upper face with everything upside down. So the ends have the very digits of the columns.
"""

import math

import numpy as np

from .helix import helix_psi
from .profile import ARCH, CONE, COVE, FLAT, INF, g, jit, once
from .ramp import ramp_t

UP = np.bool_(True)  # typed: bare ones would be compiled one by one
DOWN = np.bool_(False)


@jit
def lower_face(pieces, p, up):
    """Lower edge of a piece as a profile (shape, R, flat radius, corner radius, k).

    Not up: its upper edge, upside down.
    """
    low, high = (pieces[p, 2], pieces[p, 3]) if up else (pieces[p, 3], pieces[p, 2])
    if pieces[p, 8] == 0.0:
        k = pieces[p, 4] if up else -pieces[p, 4]
        if k > 0.0:
            return CONE, high, low, 0.0, 1.0 / k
        return FLAT, low, low, 0.0, 0.0
    # height of the arc's middle over the end that faces the line
    middle = pieces[p, 6] - pieces[p, 0] if up else pieces[p, 1] - pieces[p, 6]
    height = pieces[p, 1] - pieces[p, 0]
    if pieces[p, 8] > 0.0:
        if middle <= 0.0:
            return FLAT, low, low, 0.0, 0.0
        widest = pieces[p, 5] + pieces[p, 7] if middle < height else high
        return ARCH, widest, low, pieces[p, 7], pieces[p, 5]
    if middle > 0.0:
        return FLAT, low, low, 0.0, 0.0
    return COVE, high, low, pieces[p, 7], pieces[p, 5]


@jit
def ramp_low(pieces, p, up, a, b, length, rise):
    """Height over the path's start at which a line at (a, b) first meets a piece; INF: never."""
    shape, R, d, rc, k = lower_face(pieces, p, up)
    t = min(max(a, 0.0), length)
    if (t - a) * (t - a) + b * b > R * R:
        return INF
    t = ramp_t(shape, R, d, rc, k, a, b, length, rise)
    rho = min(math.sqrt((t - a) * (t - a) + b * b), R)
    return rise * (t / length) + g(shape, R, d, rc, k, rho)


@jit
def helix_low(pieces, p, up, D, A, s0, s1, climb):
    """As `ramp_low` on a helix; the line is D from the axis."""
    shape, R, d, rc, k = lower_face(pieces, p, up)
    psi = helix_psi(shape, R, d, rc, k, D, A, s0, s1, climb)
    if psi != psi:
        return INF
    half = math.sin(0.5 * psi)
    rho = min(math.sqrt((D - A) * (D - A) + 4.0 * D * A * half * half), R)
    return climb * (psi - s0) + g(shape, R, d, rc, k, rho)


@jit
def angle_past(vx, vy, sx, sy, sense):
    """Angle by which a place s is past a place v, both seen from the axis."""
    if vx == 0.0 and vy == 0.0:
        return 0.0
    return sense * math.atan2(vx * sy - vy * sx, vx * sx + vy * sy)


@once
def ramp_heights(pieces, p, path, x, y):
    """Lowest and highest height of a line inside a piece on a sloped line; (INF, -INF): none."""
    dx = x - path[0]
    dy = y - path[1]
    a = dx * path[3] + dy * path[4]
    b = abs(dx * path[4] - dy * path[3])
    low = ramp_low(pieces, p, UP, a, b, path[5], path[6])
    if low == INF:
        return INF, -INF
    high = INF
    if pieces[p, 1] < INF:
        high = -ramp_low(pieces, p, DOWN, path[5] - a, b, path[5], path[6])
    return path[2] + pieces[p, 0] + low, path[2] + path[6] + pieces[p, 1] + high


@once
def helix_heights(pieces, p, path, x, y):
    """As `ramp_heights` on a helix; only right where the tool is higher than the path rises."""
    vx = x - path[3]
    vy = y - path[4]
    D = math.hypot(vx, vy)
    climb = path[6] / path[7]
    s0 = angle_past(vx, vy, path[0] - path[3], path[1] - path[4], path[8])
    low = helix_low(pieces, p, UP, D, path[5], s0, s0 + path[7], climb)
    if low == INF:
        return INF, -INF
    high = INF
    if pieces[p, 1] < INF:
        s1 = angle_past(vx, vy, path[9] - path[3], path[10] - path[4], -path[8])
        high = -helix_low(pieces, p, DOWN, D, path[5], s1, s1 + path[7], climb)
    return path[2] + pieces[p, 0] + low, path[2] + path[6] + pieces[p, 1] + high
