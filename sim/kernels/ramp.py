"""Where the tip stands on a sloped line when the tool leaves a column for the last time.

The sweep's height over a column is min over t of z_low + rise * t / length + g(rho(t)), with
rho(t) = hypot(t - a, b). g is convex and non-decreasing, so there is one minimum, and its place
before the column, u = t - a <= 0, does not depend on a: the minimiser is clamp(a + u, 0, length).

Every kernel takes lengths in mm in the line's own frame: `a` along the line from its low end,
`b` >= 0 to the side, `length` > 0 in plan, `rise` > 0. The caller has found the column in reach:
the nearest point of the line is within R.
"""

import math

from .profile import ARCH, BALL, BULL, COVE, FLAT, g, g_slope, jit

LEVEL_SINE = 1e-15
"""Below this sine of the ramp's angle a bull's line is level: t is off by up to R, which lifts
the height by less than R * 1e-15."""
MOST_STEPS = 30
"""Steps of the solver that are ever made; six was the most counted on random columns."""
NEAR_RIM = 0.9
"""Sine past which a bull's column is near the rim."""
LAST_STEP = 1e-4
"""Halley's step, relative, after which it ends: the next one would be of the order of its cube,
1e-12, and the height is off only by the square of that."""


@jit
def _clamp(t, high):
    t = t if t > 0.0 else 0.0
    return t if t < high else high


@jit
def _half_chord(R, b):
    """Half the length over which a line at distance b is in reach; 0 past the rim by rounding."""
    q2 = (R - b) * (R + b)
    return math.sqrt(q2 if q2 > 0.0 else 0.0)


@jit
def ramp_t_flat(R, a, b, length):
    """Place of the tip for a flat tool: the column is on the trailing rim."""
    return _clamp(a - _half_chord(R, b), length)


@jit
def ramp_t_ball(R, a, b, length, rise):
    """Place of the tip for a ball: the contact is square to the line."""
    sine = rise / math.sqrt(length * length + rise * rise)
    return _clamp(a - _half_chord(R, b) * sine, length)


@jit
def ramp_t_cone(R, d, k, a, b, length, rise):
    """Place of the tip for a cone of slope k with a flat tip of radius d."""
    q = _half_chord(R, b)
    fall = k * length
    u = q  # distance before the column
    if rise < fall:
        u = b * rise / math.sqrt((fall - rise) * (fall + rise))
        if u * u + b * b < d * d:
            u = math.sqrt((d - b) * (d + b))
        u = u if u < q else q
    return _clamp(a - u, length)


@jit
def _bull_v(d, rc, sine, cosine, b):
    """Root of d v / sqrt(1 + (cosine v)^2) + rc sine v = b, 0 <= v <= 1 / sine.

    The left side grows and is concave, so Newton from below can't overshoot. sine * v is the
    sine, in plan, of the angle between the line and the direction to the column.
    """
    push = rc * sine
    v = b / (d + push)
    if b * cosine > d:
        late = (b - d / cosine) / push
        v = late if late > v else v
    for _ in range(MOST_STEPS):
        w = cosine * v
        one = 1.0 / (1.0 + w * w)
        root = d * math.sqrt(one)
        f = root * v + push * v - b
        f1 = root * one + push
        f2 = -3.0 * root * one * one * cosine * w
        step = f * f1 / (f1 * f1 - 0.5 * f * f2)
        v -= step
        if abs(step) <= LAST_STEP * v:
            break
    return v


@jit
def ramp_t_bull(R, d, rc, a, b, length, rise):
    """Place of the tip for a corner radius rc round a flat of radius d = R - rc > 0."""
    slant = math.sqrt(length * length + rise * rise)
    sine, cosine = rise / slant, length / slant
    if sine < LEVEL_SINE or a <= 0.0:
        return _clamp(a, length)
    # The tip can't be before the low end: still rising there towards the column means t = 0.
    r = math.sqrt(a * a + b * b)
    v = r - d
    if v <= 0.0:
        return 0.0
    if v < rc and sine * r * math.sqrt((rc - v) * (rc + v)) >= cosine * v * a:
        return 0.0
    # And at the high end, before the column, still falling means t = length.
    u = length - a
    if u < 0.0:
        r = math.sqrt(u * u + b * b)
        v = r - d
        if 0.0 < v < rc and sine * r * math.sqrt((rc - v) * (rc + v)) <= -cosine * v * u:
            return length
    v = _bull_v(d, rc, sine, cosine, b)
    w = cosine * v
    y = sine * v
    short = 1.0 - y
    if y > NEAR_RIM:  # the same equation solved for 1 - y, which would cancel
        y = y if y < 1.0 else 1.0
        x = math.sqrt(sine * sine + (cosine * y) * (cosine * y))
        short = (R - b) / (rc + d * sine * sine * (1.0 + y) / (x * (x + y)))
        short = short if short > 0.0 else 0.0
    spread = math.sqrt(1.0 + w * w)
    back = (d + rc * sine * spread) * math.sqrt(short * (1.0 + y)) / spread
    q = _half_chord(R, b)
    return _clamp(a - (back if back < q else q), length)


@jit
def _pull(shape, R, d, rc, k, b, u):
    """How fast the profile rises when the tip goes back by u from the column's foot."""
    rho = math.sqrt(u * u + b * b)
    if rho >= R or rho == 0.0:
        rho = R
    return g_slope(shape, R, d, rc, k, rho) * u / rho


@jit
def _balance(shape, R, d, rc, k, b, climb, low, high):
    """Place back between low and high at which the profile's rise passes the path's climb."""
    for _ in range(200):
        u = 0.5 * (low + high)
        if not low < u < high:
            break
        if _pull(shape, R, d, rc, k, b, u) >= climb:
            high = u
        else:
            low = u
    return high


@jit
def ramp_t_arch(R, d, rc, k, a, b, length, rise):
    """Place of the tip for part of an arc that bulges outwards: the profile is convex."""
    q = _half_chord(R, b)
    low = math.sqrt((d - b) * (d + b)) if b < d else 0.0
    climb = rise / length
    u = q
    if low < q and _pull(ARCH, R, d, rc, k, b, q) > climb:
        u = _balance(ARCH, R, d, rc, k, b, climb, low, q)
    return _clamp(a - u, length)


@jit
def ramp_t_cove(R, d, rc, k, a, b, length, rise):
    """Place of the tip for an arc that bulges inwards: the lowest of all places that may be.

    Past the flat the profile's pull only rises to one peak and falls: the first balance on the way
    back is a lowest place; then the edge of reach; and both ends of the path.
    """
    q = _half_chord(R, b)
    climb = rise / length
    back = 0.0
    if b < d:
        back = math.sqrt((d - b) * (d + b))
    else:
        low, high = 0.0, q
        for _ in range(100):  # the peak, by thirds
            third = (high - low) / 3.0
            if third <= 1e-15 * R:
                break
            at_low = _pull(COVE, R, d, rc, k, b, low + third)
            if at_low < _pull(COVE, R, d, rc, k, b, high - third):
                low += third
            else:
                high -= third
        peak = 0.5 * (low + high)
        if _pull(COVE, R, d, rc, k, b, peak) > climb:
            back = _balance(COVE, R, d, rc, k, b, climb, 0.0, peak)
    best, best_z = 0.0, math.inf
    low, high = _clamp(a - q, length), _clamp(a + q, length)
    for i in range(4):
        t = low if i == 0 else (high if i == 1 else a - back)
        t = t if i < 3 else a + back  # under the flat's rim on the far side
        t = min(max(t, low), high)
        e = t - a
        rho = math.sqrt(e * e + b * b)
        rho = rho if rho < R else R
        if i >= 2 and b < d and abs(rho - d) <= 1e-9 * R:
            rho = d  # the rim is upright: no digits are lost at its foot
        z = rise * (t / length) + g(COVE, R, d, rc, k, rho)
        if z < best_z:
            best, best_z = t, z
    return best


@jit
def ramp_t(shape, R, d, rc, k, a, b, length, rise):
    """Distance of the tip from the low end when the tool leaves a column of a sloped line.

    Parameters
    ----------
    shape : int
        As in `profile`.
    R, d, rc, k : float
        The tool's profile as in `profile.g`, mm; k is rise over run of a cone.
    a, b : float
        The column in the line's frame: along from the low end, and to the side, b >= 0, mm.
    length, rise : float
        Plan length and rise of the line, both > 0, mm.

    Returns
    -------
    float
        t in [0, length], mm. The height is z_low + rise * (t / length) + g(min(R, hypot(t - a,
        b))): never re-test the reach at t, rounding would lose flat tools' rim columns.

    Notes
    -----
    Level lines (rise 0) and plunges (length 0) are not for this kernel. A column past the rim by
    rounding is taken as on it.
    """
    if shape == FLAT:
        return ramp_t_flat(R, a, b, length)
    if shape == BALL:
        return ramp_t_ball(R, a, b, length, rise)
    if shape == BULL:
        return ramp_t_bull(R, d, rc, a, b, length, rise)
    if shape == ARCH:
        return ramp_t_arch(R, d, rc, k, a, b, length, rise)
    if shape == COVE:
        return ramp_t_cove(R, d, rc, k, a, b, length, rise)
    return ramp_t_cone(R, d, k, a, b, length, rise)
