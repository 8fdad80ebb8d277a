"""Where a line through space is inside a piece with a round flank, moved along a straight path.

Frame and line as in `sweep_cone`. The flank is an arc of radius rc about (center_r, center_z) that
bulges outwards, from z_low to z_high above the tip. A point is inside where its distance to the
ring or disc of the arc's centres, at the nearest place of the path, is at most rc; along the line
that distance is convex, so Newton from outside can't overshoot an end.
"""

import math

from .profile import INF, jit
from .sweep_cone import frustum_moved

MOST_STEPS = 200
"""Steps of Newton on an end; a handful but for lines that graze."""
MOST_INNER = 60


@jit
def path_share(x, y, z, length, rise, center_r, s_low, s_high):
    """Share of the path at which a point is nearest to the arc's centres, z counted from them."""
    if center_r == 0.0 or length == 0.0 or rise == 0.0:
        if length == 0.0 and rise == 0.0:
            return s_low
        if length == 0.0:
            s = z / rise
        elif rise == 0.0:
            s = x / length
        else:
            s = (x * length + z * rise) / (length * length + rise * rise)
        return min(max(s, s_low), s_high)
    return path_share_ring(x, y, z, length, rise, center_r, s_low, s_high)


@jit
def pull(x, y, z, length, rise, center_r, s):
    """Half the slope of the squared distance along the path, and its own slope."""
    u = x - s * length
    rho = math.sqrt(u * u + y * y)
    h = z - s * rise
    if rho <= center_r or rho == 0.0:
        return -rise * h, rise * rise
    f = -length * u * (1.0 - center_r / rho) - rise * h
    f1 = length * length * (1.0 - center_r * y * y / (rho * rho * rho)) + rise * rise
    return f, f1


@jit
def path_share_ring(x, y, z, length, rise, center_r, low, high):
    """As `path_share` where it takes a search: the slope only grows along the path."""
    f, _ = pull(x, y, z, length, rise, center_r, low)
    if f >= 0.0:
        return low
    f, _ = pull(x, y, z, length, rise, center_r, high)
    if f <= 0.0:
        return high
    s = (x * length + z * rise) / (length * length + rise * rise)
    if not low < s < high:
        s = 0.5 * (low + high)
    for _ in range(MOST_INNER):
        f, f1 = pull(x, y, z, length, rise, center_r, s)
        if f > 0.0:
            high = s
        else:
            low = s
        after = s - f / f1 if f1 > 0.0 else low
        if not low < after < high:
            after = 0.5 * (low + high)
        if abs(after - s) <= 1e-15:
            return after
        s = after
    return s


@jit
def share_range(z, rise, z_low, z_high):
    """Shares of the path at which a height is between the piece's ends."""
    if rise == 0.0:
        return 0.0, 1.0
    low = max(0.0, (z - z_high) / rise)
    high = min(1.0, (z - z_low) / rise)
    if low > high:  # by rounding only: the caller stays between the ends
        low = high = min(max(0.5 * (low + high), 0.0), 1.0)
    return low, high


@jit
def round_gap(t, ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, center_r, center_z, rc):
    """Distance of the line's point at t outside the flank, and its growth along the line."""
    x = ox + t * vx
    y = oy + t * vy
    z = oz + t * vz
    low, high = share_range(z, rise, z_low, z_high)
    s = path_share(x, y, z - center_z, length, rise, center_r, low, high)
    rate = 0.0  # how fast the nearest share is pushed by an end of the piece
    if rise > 0.0 and ((s == low and low > 0.0) or (s == high and high < 1.0)):
        # which end holds it back: both may be one place, where the line comes into the piece
        f, _ = pull(x, y, z - center_z, length, rise, center_r, s)
        if (f > 0.0 and low > 0.0) or (f < 0.0 and high < 1.0):
            rate = vz / rise
    u = x - s * length
    h = z - s * rise - center_z
    rho = math.sqrt(u * u + y * y)
    out = rho - center_r
    if center_r > 0.0 and out < 0.0:
        out = 0.0
    dist = math.sqrt(out * out + h * h)
    if dist == 0.0:
        return -rc, 0.0
    sideways = out * (u * (vx - length * rate) + y * vy) / rho if rho > 0.0 else 0.0
    return dist - rc, (sideways + h * (vz - rise * rate)) / dist


@jit
def approach(t, end, ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, center_r, center_z, rc):
    """Newton from t, outside or on the edge, towards `end`; NaN when the line stays outside."""
    ahead = 1.0 if end >= t else -1.0
    for _ in range(MOST_STEPS):
        gap, growth = round_gap(
            t, ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, center_r, center_z, rc
        )  # fmt: skip
        if gap <= 0.0:
            return t
        if growth * ahead >= 0.0:
            return math.nan
        after = t - gap / growth
        if (after - end) * ahead > 0.0:
            return math.nan
        if (after - t) * ahead <= 0.0:
            return t
        t = after
    return t


@jit
def round_moved(
    ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, r_low, r_high, center_r, center_z, rc
):  # fmt: skip
    """Where a line is inside a piece with a round flank swept along a straight path."""
    widest = max(r_low, r_high)
    if z_low < center_z < z_high:
        widest = center_r + rc
    lo, hi = frustum_moved(ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, widest, 0.0)
    if lo > hi:
        return INF, -INF
    start = approach(
        lo, hi, ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, center_r, center_z, rc
    )  # fmt: skip
    if start != start:
        return INF, -INF
    stop = approach(
        hi, lo, ox, oy, oz, vx, vy, vz, length, rise, z_low, z_high, center_r, center_z, rc
    )  # fmt: skip
    if stop != stop or stop < start:
        return INF, -INF
    return start, stop
