"""Which part of a tool made a place on the edge of what it swept, and the normal there.

Frames and tables as in `sweep_path`.
"""

import math

import numpy as np

from .place import ARC, HELIX, POINT
from .profile import GOLDEN, jit, once
from .sweep_arc import path_share, share_range
from .sweep_path import arc_place, near_arc, piece_radius, plan_distance  # noqa: F401

TOUCH = 1e-7
"""A face is met where a place is no farther from it than this, mm."""
BARE = 0.0
LOOKS = 128
CORNER = 1


@jit
def cone_share(x, y, z, length, rise, r_low, slope, low, high):
    """Share of a straight path at which a place is deepest inside a straight flank."""
    climb = slope * rise
    if length == 0.0:
        if climb == 0.0:  # anywhere: between the ends it is the flank that cut
            return 0.5 * (low + high)
        return high if climb < 0.0 else low
    cos = climb / length
    if abs(cos) >= 1.0:
        return low if cos > 0.0 else high
    u = cos * abs(y) / math.sqrt((1.0 - cos) * (1.0 + cos))
    return min(max((x - u) / length, low), high)


@jit
def cove_outside(pieces, p, x, y, z, length, rise, s):
    """How far a place is outside a cove's flank with the tip at a share of the path."""
    u = x - s * length
    h = min(max(z - s * rise, pieces[p, 0]), pieces[p, 1])
    return math.sqrt(u * u + y * y) - piece_radius(pieces, p, h)


@jit
def cove_share(pieces, p, x, y, z, length, rise, low, high):
    """As `cone_share` in a cove: the deepest of many shares, narrowed down."""
    step = (high - low) / LOOKS
    best, least = low, math.inf
    for i in range(LOOKS + 1):
        gap = cove_outside(pieces, p, x, y, z, length, rise, low + i * step)
        if gap < least:
            best, least = low + i * step, gap
    low, high = max(low, best - step), min(high, best + step)
    for _ in range(60):
        a = high - GOLDEN * (high - low)
        b = low + GOLDEN * (high - low)
        at_a = cove_outside(pieces, p, x, y, z, length, rise, a)
        if at_a <= cove_outside(pieces, p, x, y, z, length, rise, b):
            high = b
        else:
            low = a
    return 0.5 * (low + high)


@jit
def piece_share(pieces, p, x, y, z, length, rise):
    """Share of a straight path at which a place is deepest inside a piece's flank."""
    low, high = share_range(z, rise, pieces[p, 0], pieces[p, 1])
    if pieces[p, 8] < 0.0:
        return cove_share(pieces, p, x, y, z, length, rise, low, high)
    if pieces[p, 8] > 0.0:
        return path_share(x, y, z - pieces[p, 6], length, rise, pieces[p, 5], low, high)
    return cone_share(x, y, z, length, rise, pieces[p, 2], pieces[p, 4], low, high)


@jit
def flank_normal(pieces, p, rho, h):
    """Normal (outwards, up) of a piece's flank at a place near it; of the cove it is a slice of."""
    if pieces[p, 12] >= 0.0:
        p = np.int64(pieces[p, 12])
    if pieces[p, 8] == 0.0:
        k = pieces[p, 4]
        n = math.sqrt(1.0 + k * k)
        return 1.0 / n, -k / n
    a = (rho - pieces[p, 5]) * pieces[p, 8]
    b = (h - pieces[p, 6]) * pieces[p, 8]
    if pieces[p, 8] > 0.0 and a < 0.0:
        a = 0.0
    n = math.sqrt(a * a + b * b)
    return (a / n, b / n) if n > 0.0 else (1.0, 0.0)


@jit
def edge_normal(flank, end_up, along, rise, seen):
    """Normal (outwards, up) on the rim between a flank and a flat end, square to the path.

    along: how far the path goes outwards there; seen: the line's direction (outwards, up).
    """
    out, up = flank
    a = abs(out * along + up * rise)
    b = abs(end_up * rise)
    if a + b <= 1e-12 * (abs(along) + rise) or (out * along + up * rise) * end_up * rise > 0.0:
        # an end of the path, or a level one: the face that the line meets more squarely
        if abs(seen[1]) > abs(seen[0] * out + seen[1] * up):
            return 0.0, end_up
        return out, up
    x = b * out
    y = b * up + a * end_up
    n = math.sqrt(x * x + y * y)
    return x / n, y / n


@once
def face_at(pieces, p, rho, h, along, rise, seen):
    """Normal (outwards, up) and label at a place on a piece, in the plane through its axis."""
    low_end = pieces[p, 10] >= BARE and h - pieces[p, 0] <= TOUCH
    high_end = pieces[p, 11] >= BARE and pieces[p, 1] - h <= TOUCH
    r = piece_radius(pieces, p, min(max(h, pieces[p, 0]), pieces[p, 1]))
    flank = flank_normal(pieces, p, rho, h)
    # how far inside the flank, square to it
    inside = (r - rho) * flank[0] if pieces[p, 8] == 0.0 else round_inside(pieces, p, rho, h)
    if not (low_end or high_end):
        return flank[0], flank[1], pieces[p, 9]
    end_up = -1.0 if low_end else 1.0
    label = pieces[p, 10] if low_end else pieces[p, 11]
    under_ring = pieces[p, 8] > 0.0 and rho <= pieces[p, 5]
    if inside > TOUCH or under_ring:
        return 0.0, end_up, label
    x, y = edge_normal(flank, end_up, along, rise, seen)
    if label == pieces[p, 9]:
        return x, y, label
    return x, y, float(CORNER)


@jit
def round_inside(pieces, p, rho, h):
    """How far a place is inside a round flank."""
    a = rho - pieces[p, 5]
    b = h - pieces[p, 6]
    if pieces[p, 8] > 0.0:
        a = a if a > 0.0 else 0.0
        return pieces[p, 7] - math.sqrt(a * a + b * b)
    return math.sqrt(a * a + b * b) - pieces[p, 7]


@once
def made_straight(pieces, p, place, line, x0, y0, z0, ux, uy, length, rise):
    """Normal out of the tool, and label, at a place on what a piece swept straight."""
    dx = place[0] - x0
    dy = place[1] - y0
    z = place[2] - z0
    x = dx * ux + dy * uy
    y = dy * ux - dx * uy
    s = piece_share(pieces, p, x, y, z, length, rise)
    ex = dx - s * length * ux
    ey = dy - s * length * uy
    return made_from(pieces, p, ex, ey, z - s * rise, line, length * ux, length * uy, rise)


@jit
def made_from(pieces, p, ex, ey, h, line, px, py, rise):
    """Normal out of the tool, and label, at (ex, ey, h) from its tip; (px, py, rise): the path."""
    rho = math.sqrt(ex * ex + ey * ey)
    cx, cy = (ex / rho, ey / rho) if rho > 0.0 else (1.0, 0.0)
    seen = (line[3] * cx + line[4] * cy, line[5])
    out, up, label = face_at(pieces, p, rho, h, px * cx + py * cy, rise, seen)
    return out * cx, out * cy, up, label


@jit
def turn_gap(pieces, p, place, path, angle):
    """How far a place is outside a piece with the tip at an angle of a helix; and from the tip."""
    x, y = arc_place(path, angle)
    ex = place[0] - x
    ey = place[1] - y
    rho = math.sqrt(ex * ex + ey * ey)
    h = place[2] - path[2] - path[6] * angle / path[7]
    over = max(pieces[p, 0] - h, h - pieces[p, 1])
    if pieces[p, 8] > 0.0:
        flank = -round_inside(pieces, p, rho, h)
    else:
        flank = rho - piece_radius(pieces, p, min(max(h, pieces[p, 0]), pieces[p, 1]))
    return (over if over > flank else flank), ex, ey, h


@once
def made_turning(pieces, p, place, line, path, chord):
    """As `made_straight` on a helix, near one of its chords; -1: anywhere on it."""
    step = path[7] / path[11]
    low = max(0.0, (chord - 1.0) * step)
    high = min(path[7], (chord + 2.0) * step)
    if chord < 0:
        step = path[7] / LOOKS
        best, least = 0.0, math.inf
        for i in range(LOOKS + 1):
            gap = turn_gap(pieces, p, place, path, i * step)[0]
            if gap < least:
                best, least = i * step, gap
        low = max(0.0, best - step)
        high = min(path[7], best + step)
    a = high - GOLDEN * (high - low)
    b = low + GOLDEN * (high - low)
    fa = turn_gap(pieces, p, place, path, a)[0]
    fb = turn_gap(pieces, p, place, path, b)[0]
    for _ in range(60):
        if fa <= fb:
            high = b
            b = a
            fb = fa
            a = high - GOLDEN * (high - low)
            fa = turn_gap(pieces, p, place, path, a)[0]
        else:
            low = a
            a = b
            fa = fb
            b = low + GOLDEN * (high - low)
            fb = turn_gap(pieces, p, place, path, b)[0]
    return turned_at(pieces, p, place, line, path, 0.5 * (low + high))


@jit
def turned_at(pieces, p, place, line, path, angle):
    """Normal and label at a place with the tip at an angle of an arc or a helix."""
    _, ex, ey, h = turn_gap(pieces, p, place, path, angle)
    x, y = arc_place(path, angle)
    px = -path[8] * (y - path[4])
    py = path[8] * (x - path[3])
    return made_from(pieces, p, ex, ey, h, line, px, py, path[6] / path[7])


@once
def made_by(kind, path, pieces, p, chord, place, line):
    """Normal out of the tool, and label, at a place on the edge of a move's sweep."""
    if kind == ARC or kind == HELIX:
        if kind == ARC:
            x = place[0] - path[3]
            y = place[1] - path[4]
            cx = path[0] - path[3]
            cy = path[1] - path[4]
            angle = path[8] * math.atan2(cx * y - cy * x, cx * x + cy * y)
            angle = angle if angle >= 0.0 else angle + 2.0 * math.pi
            if angle > path[7]:  # past an end: the nearer one
                dx = place[0] - path[9]
                dy = place[1] - path[10]
                near = dx * dx + dy * dy < (x - cx) * (x - cx) + (y - cy) * (y - cy)
                angle = path[7] if near else 0.0
            return turned_at(pieces, p, place, line, path, angle)
        return made_turning(pieces, p, place, line, path, chord)
    ux = path[3] if kind != POINT else 1.0
    uy = path[4] if kind != POINT else 0.0
    return made_straight(
        pieces, p, place, line, path[0], path[1], path[2], ux, uy, path[5], path[6]
    )  # fmt: skip
