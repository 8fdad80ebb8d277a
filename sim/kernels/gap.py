"""How far a part of a tool stays from a place: signed distances along a path.

The part is a stack of frustums, rows (z_low, z_high, r_low, r_high), on a path (rows of
`sweep_path`). The gap at a place is its signed distance to the part at the nearest position on the
path: below 0 it is how deep the place is inside.
"""

import math

from .place import ARC as ARC_KIND
from .place import HELIX, RAMP
from .profile import GOLDEN, INF, entry, jit
from .sweep_path import arc_place, plan_distance

LOOKS = 32


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
