"""Where a line through space is inside a frustum that moves along a straight path.

The frame is the path's own: the tip starts at the origin, X points along the path in plan, the tip
ends at (length, 0, rise), rise >= 0. A line is a point (ox, oy, oz) and a direction (vx, vy, vz).
A frustum reaches from z_low to z_high above the tip; its radius is r_low at z_low and grows by
`slope` per mm of height. What it sweeps is convex, so the line is inside from one distance to
another; (INF, -INF) stands for nowhere.
"""

import math

from .profile import INF, jit

FLAT_CONE = 1e-14
"""The line runs along the cone where the square's coefficient is below this share of its parts."""


@jit
def slab(oz, vz, z_low, z_high):
    """Where a line is between two heights."""
    if vz == 0.0:
        if oz < z_low or oz > z_high:
            return INF, -INF
        return -INF, INF
    a = (z_low - oz) / vz
    b = (z_high - oz) / vz
    return (a, b) if a < b else (b, a)


@jit
def disc_chord(x, y, vx, vy, r):
    """Where a line in plan is within r of the origin."""
    p2 = vx * vx + vy * vy
    if p2 == 0.0:
        return (-INF, INF) if x * x + y * y <= r * r else (INF, -INF)
    foot = -(x * vx + y * vy) / p2
    b = abs(x * vy - y * vx) / math.sqrt(p2)
    left = (r - b) * (r + b)
    if left < 0.0:
        return INF, -INF
    half = math.sqrt(left / p2)
    return foot - half, foot + half


@jit
def frustum_still(ox, oy, oz, vx, vy, vz, z_low, z_high, r_low, slope):
    """Where a line is inside a frustum that stands still with its tip at the origin."""
    lo, hi = slab(oz, vz, z_low, z_high)
    if lo > hi:
        return lo, hi
    if slope == 0.0 or vz == 0.0:
        r = r_low + slope * (oz - z_low) if slope != 0.0 else r_low
        a, b = disc_chord(ox, oy, vx, vy, r)
        return max(lo, a), min(hi, b)
    # slope != 0: the slab is finite. Distances from the line's place nearest to the axis in it.
    p2 = vx * vx + vy * vy
    foot = -(ox * vx + oy * vy) / p2 if p2 > 0.0 else lo
    foot = min(max(foot, lo), hi)
    x = ox + foot * vx
    y = oy + foot * vy
    r = r_low + slope * (oz + foot * vz - z_low)
    grow = slope * vz
    dist = math.sqrt(x * x + y * y)
    c = (dist - r) * (dist + r)
    b = x * vx + y * vy - r * grow
    a = p2 - grow * grow
    t0, t1 = cone_roots(a, b, c, p2 + grow * grow, grow)
    return max(lo, foot + t0), min(hi, foot + t1)


@jit
def cone_roots(a, b, c, scale, grow):
    """Where a t^2 + 2 b t + c <= 0, on the nappe whose radius grows with grow * t."""
    if abs(a) <= FLAT_CONE * scale:
        if b == 0.0:
            return (-INF, INF) if c <= 0.0 else (INF, -INF)
        t = -c / (2.0 * b)
        return (-INF, t) if b > 0.0 else (t, INF)
    disc = b * b - a * c
    if disc < 0.0:
        return (INF, -INF) if a > 0.0 else (-INF, INF)
    q = -(b + math.copysign(math.sqrt(disc), b))
    if q == 0.0:
        return (0.0, 0.0) if a > 0.0 else (-INF, INF)
    t0 = q / a
    t1 = c / q
    if t0 > t1:
        t0, t1 = t1, t0
    if a > 0.0:
        return t0, t1
    return (t1, INF) if grow > 0.0 else (-INF, t0)


@jit
def clip(value, rate, lo, hi):
    """Keep the part of [lo, hi] where value + rate * t >= 0."""
    if rate == 0.0:
        return (lo, hi) if value >= 0.0 else (INF, -INF)
    t = -value / rate
    if rate > 0.0:
        return max(lo, t), hi
    return lo, min(hi, t)


@jit
def flank_prism(ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, r_low, slope):
    """Where a line is between the two silhouettes that a moving frustum draws.

    A flank's normal is square to the path at a fixed angle from it, cos = slope * rise / length.
    """
    cos = slope * rise / length
    sin2 = (1.0 - cos) * (1.0 + cos)
    if sin2 <= 0.0:
        return INF, -INF
    sin = math.sqrt(sin2)
    # share s of the path and height h on the tool, both linear along the line
    s = (ox - (r_low + slope * (oz - z_low)) * cos) / (length * sin2)
    ds = (vx - slope * vz * cos) / (length * sin2)
    h = oz - s * rise - z_low
    dh = vz - ds * rise
    lo, hi = clip(s, ds, -INF, INF)
    lo, hi = clip(1.0 - s, -ds, lo, hi)
    lo, hi = clip(h, dh, lo, hi)
    if z_high < INF:
        lo, hi = clip(z_high - z_low - h, -dh, lo, hi)
    r = (r_low + slope * h) * sin
    dr = slope * dh * sin
    lo, hi = clip(r - oy, dr - vy, lo, hi)
    return clip(r + oy, dr + vy, lo, hi)


@jit
def join(lo, hi, a, b):
    """Span of two intervals of which either may be none."""
    if a > b:
        return lo, hi
    if lo > hi:
        return a, b
    return min(lo, a), max(hi, b)


@jit
def frustum_moved(ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, r_low, slope):
    """Where a line is inside a frustum swept along a straight path."""
    lo, hi = frustum_still(ox, oy, oz, vx, vy, vz, z_low, z_high, r_low, slope)
    if length == 0.0 and rise == 0.0:
        return lo, hi
    a, b = frustum_still(ox - length, oy, oz - rise, vx, vy, vz, z_low, z_high, r_low, slope)
    lo, hi = join(lo, hi, a, b)
    if rise > 0.0:  # both flat ends sweep leaning cylinders
        lean = length / rise
        for end in range(2):
            z = z_low if end == 0 else z_high
            if z == INF:
                continue
            r = r_low if end == 0 else r_low + slope * (z_high - z_low)
            x = ox - (oz - z) * lean
            a, b = frustum_still(x, oy, oz - z, vx - vz * lean, vy, vz, 0.0, rise, r, 0.0)
            lo, hi = join(lo, hi, a, b)
    if length > 0.0 and abs(slope * rise) < length:
        a, b = flank_prism(
            ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, r_low, slope
        )  # fmt: skip
        lo, hi = join(lo, hi, a, b)
    return lo, hi
