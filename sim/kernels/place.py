"""Where the tip stands when it leaves a column; from it height, slope and flatness follow.

A move is a code (kind * 8 + shape) and a row of `WIDTH` numbers, mm and radians:

====  =======================================  =========================================
 col  POINT, LEVEL, RAMP                       ARC, HELIX
====  =======================================  =========================================
0-2   low end x, y, z                          the same
3-4   unit direction in plan from the low end  axis x, y
5     length in plan                           radius of the path
6     rise, >= 0                               rise, >= 0
7     0                                        angle turned, >= 0
8     0                                        +1 counter-clockwise from the low end, else -1
9-12  R, flat radius d, corner radius rc, cone slope k: see `profile`
13    R * R
14-15 high end x, y
16    how far up the cutting part reaches from 2 (inf: no end)
17    how far 2 is above the tool's tip
====  =======================================  =========================================

POINT is a plunge or a move of no length. The low end is the start of a level move.
"""

import math

from .helix import helix_psi
from .profile import ARCH, BALL, CONE, FLAT, INF, STEEP, g, g_slope, jit
from .ramp import ramp_t

POINT = 0
LEVEL = 1
RAMP = 2
ARC = 3
HELIX = 4
WIDTH = 18
TURN = 2.0 * math.pi
GRAZING = 1e-7
"""Angles by acos are off by no more than this where a tool just reaches a column, radians."""


@jit
def line_local(row, x, y):
    """Column in the frame of a line: (along from the low end, lateral)."""
    dx = x - row[0]
    dy = y - row[1]
    return dx * row[3] + dy * row[4], dx * row[4] - dy * row[3]


@jit
def line_rho2(row, x, y):
    """Squared distance in plan to the nearest point of a line."""
    dx = x - row[0]
    dy = y - row[1]
    a = dx * row[3] + dy * row[4]
    b = dx * row[4] - dy * row[3]
    length = row[5]
    t = a if a > 0.0 else 0.0
    t = t if t < length else length
    e = t - a
    return e * e + b * b


@jit
def beside_arc(row, vx, vy):
    """Whether a column, seen from the axis, lies in the angle that an arc turns through."""
    c0 = row[8] * ((row[0] - row[3]) * vy - (row[1] - row[4]) * vx)
    c1 = row[8] * (vx * (row[15] - row[4]) - vy * (row[14] - row[3]))
    both = (c0 >= 0.0) & (c1 >= 0.0)
    either = (c0 >= 0.0) | (c1 >= 0.0)
    return both if row[7] <= math.pi else either


@jit
def arc_rho2(row, x, y):
    """Squared distance in plan to the nearest point of an arc."""
    vx = x - row[3]
    vy = y - row[4]
    off = math.sqrt(vx * vx + vy * vy) - row[5]
    d0 = (x - row[0]) * (x - row[0]) + (y - row[1]) * (y - row[1])
    d1 = (x - row[14]) * (x - row[14]) + (y - row[15]) * (y - row[15])
    near_end = d0 if d0 < d1 else d1
    return off * off if beside_arc(row, vx, vy) else near_end


@jit
def lift(shape, row, rho2):
    """G for a squared distance already known to be within R; the form of the inner loops."""
    if shape == FLAT:
        return 0.0
    if shape == BALL:
        left = row[13] - rho2
        return row[9] - math.sqrt(left if left > 0.0 else 0.0)
    v = math.sqrt(rho2) - row[10]
    v = v if v > 0.0 else 0.0
    if shape == CONE:
        return row[12] * v
    if shape >= ARCH:
        return g(shape, row[9], row[10], row[11], row[12], math.sqrt(rho2))
    left = (row[11] - v) * (row[11] + v)
    return row[11] - math.sqrt(left if left > 0.0 else 0.0)


@jit
def ramp_height(shape, row, a, b, t):
    """Height at a column (a, b) of a sloped line with the tip at t."""
    e = t - a
    rho = math.sqrt(e * e + b * b)
    rho = rho if rho < row[9] else row[9]
    return row[2] + row[6] * (t / row[5]) + g(shape, row[9], row[10], row[11], row[12], rho)


@jit
def helix_local(row, x, y):
    """Column in the frame of a helix: (distance to the axis, angle of the low end past it)."""
    vx = x - row[3]
    vy = y - row[4]
    sx = row[0] - row[3]
    sy = row[1] - row[4]
    D = math.hypot(vx, vy)
    if D == 0.0:
        return D, 0.0
    return D, row[8] * math.atan2(vx * sy - vy * sx, vx * sx + vy * sy)


@jit
def height(code, row, x, y):
    """Height that the move leaves at a column; INF out of reach."""
    kind = code >> 3
    shape = code & 7
    if kind <= LEVEL or kind == ARC:
        rho2 = arc_rho2(row, x, y) if kind == ARC else line_rho2(row, x, y)
        if rho2 > row[13]:
            return INF
        return row[2] + lift(shape, row, rho2)
    if kind == RAMP:
        if line_rho2(row, x, y) > row[13]:
            return INF
        a, b = line_local(row, x, y)
        b = abs(b)
        t = ramp_t(shape, row[9], row[10], row[11], row[12], a, b, row[5], row[6])
        return ramp_height(shape, row, a, b, t)
    D, s0 = helix_local(row, x, y)
    p = row[6] / row[7]
    s1 = s0 + row[7]
    psi = helix_psi(shape, row[9], row[10], row[11], row[12], D, row[5], s0, s1, p)
    if psi != psi:
        return INF
    rho = helix_rho(row, D, psi)
    return row[2] + p * (psi - s0) + g(shape, row[9], row[10], row[11], row[12], rho)


@jit
def helix_rho(row, D, psi):
    """Distance in plan from the column to the tip at angle psi past it, not over R."""
    half = math.sin(0.5 * psi)
    T = D - row[5]
    rho = math.sqrt(T * T + 4.0 * D * row[5] * half * half)
    return min(row[9], rho)


@jit
def arc_point(row, x, y):
    """Nearest point of an arc in plan."""
    vx = x - row[3]
    vy = y - row[4]
    D = math.sqrt(vx * vx + vy * vy)
    if D > 0.0 and beside_arc(row, vx, vy):
        return row[3] + vx * (row[5] / D), row[4] + vy * (row[5] / D)
    d0 = (x - row[0]) * (x - row[0]) + (y - row[1]) * (y - row[1])
    d1 = (x - row[14]) * (x - row[14]) + (y - row[15]) * (y - row[15])
    if d0 <= d1:
        return row[0], row[1]
    return row[14], row[15]


@jit
def place(code, row, x, y):
    """Tip (x, y, z) that leaves the column; the caller knows that the move reaches it."""
    kind = code >> 3
    shape = code & 7
    if kind == ARC:
        px, py = arc_point(row, x, y)
        return px, py, row[2]
    if kind == HELIX:
        D, s0 = helix_local(row, x, y)
        p = row[6] / row[7]
        s1 = s0 + row[7]
        psi = helix_psi(shape, row[9], row[10], row[11], row[12], D, row[5], s0, s1, p)
        angle = math.atan2(row[1] - row[4], row[0] - row[3]) + row[8] * (psi - s0)
        px = row[3] + row[5] * math.cos(angle)
        return px, row[4] + row[5] * math.sin(angle), row[2] + p * (psi - s0)
    a, b = line_local(row, x, y)
    if kind == RAMP:
        t = ramp_t(shape, row[9], row[10], row[11], row[12], a, abs(b), row[5], row[6])
        return row[0] + t * row[3], row[1] + t * row[4], row[2] + row[6] * (t / row[5])
    t = min(max(a, 0.0), row[5])
    return row[0] + t * row[3], row[1] + t * row[4], row[2]


@jit
def surface(code, row, x, y):
    """(dz/dx, dz/dy, flat) of what the move leaves at a column.

    By the envelope theorem the gradient is that of g with the tip held where it leaves the
    column. Flat: under the flat bottom, at the move's lowest.
    """
    shape = code & 7
    px, py, pz = place(code, row, x, y)
    rho = math.hypot(x - px, y - py)
    flat = rho <= row[10] and pz == row[2]
    if flat or rho == 0.0:
        return 0.0, 0.0, flat
    if (code >> 3 == RAMP or code >> 3 == HELIX) and row[2] < pz < row[2] + row[6]:
        sx, sy = trailing_slope(code, row, px, py, x - px, y - py)
        return sx, sy, False
    s = g_slope(shape, row[9], row[10], row[11], row[12], min(rho, row[9]))
    return s * (x - px) / rho, s * (y - py) / rho, False


@jit
def trailing_slope(code, row, px, py, ex, ey):
    """Slope where a climbing tool leaves the column between the ends of its path.

    Either g is smooth there and its slope balances the climb, or the contact stays on one circle
    of the tool (a rim): both give climb * e / (e . u), with e from tip to column and u along the
    path.
    """
    if code >> 3 == RAMP:
        ux, uy = row[3], row[4]
        climb = row[6] / row[5]
    else:
        ux = -row[8] * (py - row[4]) / row[5]
        uy = row[8] * (px - row[3]) / row[5]
        climb = row[6] / (row[5] * row[7])
    along = ex * ux + ey * uy
    if abs(along) * STEEP <= climb * math.hypot(ex, ey):
        return 0.0, 0.0
    return climb * ex / along, climb * ey / along


@jit
def cut_top(code, row, x, y):
    """Height to which the cutting part reaches at a column: the highest tip in reach + APMX."""
    kind = code >> 3
    if kind <= LEVEL or kind == ARC:
        return row[2] + row[6] + row[16]
    if kind == RAMP:
        a, b = line_local(row, x, y)
        left = (row[9] - b) * (row[9] + b)
        t = min(row[5], a + math.sqrt(left if left > 0.0 else 0.0))
        return row[2] + row[6] * (max(t, 0.0) / row[5]) + row[16]
    if row[6] + g(code & 7, row[9], row[10], row[11], row[12], row[9]) > row[16]:
        _, _, z = place(code, row, x, y)  # another turn may leave a fin: no more than that is sure
        return z + row[16]
    # the last tip in reach: the first one of the way back, upside down
    vx = x - row[3]
    vy = y - row[4]
    ex = row[14] - row[3]
    ey = row[15] - row[4]
    D = math.hypot(vx, vy)
    s1 = -row[8] * math.atan2(vx * ey - vy * ex, vx * ex + vy * ey) if D > 0.0 else 0.0
    p = row[6] / row[7]
    psi = helix_psi(FLAT, row[9], row[9], 0.0, 0.0, D, row[5], s1, s1 + row[7], p)
    return row[2] + row[6] - p * (psi - s1) + row[16]


@jit
def bounds(code, row, x, y, r):
    """Lowest and highest height of the move over all columns within r of (x, y).

    The lowest is INF where none is reached, the highest where one isn't. Both are safe bounds up
    to rounding, exact for level moves.
    """
    kind = code >> 3
    shape = code & 7
    R = row[9]
    rho2 = arc_rho2(row, x, y) if kind >= ARC else line_rho2(row, x, y)
    dist = math.sqrt(rho2)
    near = dist - r
    if near > R:
        return INF, INF
    near = near if near > 0.0 else 0.0
    far = dist + r
    low = g(shape, R, row[10], row[11], row[12], near)
    high = g(shape, R, row[10], row[11], row[12], far) if far <= R else INF
    if kind <= LEVEL or kind == ARC:
        return row[2] + low, row[2] + high
    slack = GRAZING / row[7] if kind == HELIX else 0.0
    first = min(lowest_share(kind, row, x, y, R + r), 1.0) - slack
    high += row[2] + row[6] * near_share(kind, row, x, y)
    if r < R:
        over = lowest_share(kind, row, x, y, R - r) + slack
        if over <= 1.0:  # from there the tool is over all of them
            rim = g(shape, R, row[10], row[11], row[12], R)
            high = min(high, row[2] + row[6] * over + rim)
    return row[2] + row[6] * max(first, 0.0) + low, high


@jit
def lowest_share(kind, row, x, y, reach):
    """Share of a ramp or helix at its lowest tip within reach of a column; over 1 if none is."""
    if kind == RAMP:
        a, b = line_local(row, x, y)
        left = (reach - b) * (reach + b)
        if left < 0.0:
            return 2.0
        q = math.sqrt(left)
        return 2.0 if a + q < 0.0 else max(a - q, 0.0) / row[5]
    D, past = helix_local(row, x, y)
    if D + row[5] <= reach:
        return 0.0
    if D == 0.0 or abs(D - row[5]) > reach:
        return 2.0
    c = (D * D + row[5] * row[5] - reach * reach) / (2.0 * D * row[5])
    beside = math.acos(min(max(c, -1.0), 1.0))
    angle = -past if past <= 0.0 else TURN - past  # of the column, from the low end on
    if angle <= beside or angle + beside >= TURN:
        return 0.0
    return (angle - beside) / row[7]


@jit
def near_share(kind, row, x, y):
    """Share of a ramp or helix at its tip nearest to a column."""
    if kind == RAMP:
        a, _ = line_local(row, x, y)
        return min(max(a, 0.0), row[5]) / row[5]
    D, past = helix_local(row, x, y)
    angle = -past if past <= 0.0 else TURN - past
    if D > 0.0 and angle < row[7]:
        return angle / row[7]
    return 1.0
