"""Where the cutter stands on a helix when it leaves a column for the last time.

The tip's path has radius A about an axis along Z and rises by p >= 0 a radian. psi is the angle
of the cutter less the azimuth of the column, which is D from the axis; the distance between them
is rho^2 = T^2 + 4 Q sin^2(psi / 2) with T = |A - D|, S = A + D, Q = A D. The height over the column
is min over psi in [s0, s1] of z0 + p (psi - s0) + g(rho).

Going back from the nearest point of a turn by chi = 2 pi j - psi, the height falls with the path
and rises with g; both balance where g'(rho) h = p, with h = Q sin(chi) / rho the distance from the
axis to the line from column to cutter.
"""

import math

from .profile import ARCH, BALL, CONE, FLAT, GOLDEN, g, jit

FULL = 2.0 * math.pi
NONE = math.pi
"""chi when the height only falls on the way back: the window's start takes over."""
LEVEL_RISE = 1e-15
"""mm a radian: a full turn lifts less than 1e-14 mm, so the path is level."""
NO_AREA = 1e-30
"""A D below this, mm^2: the smaller is under 1e-15 mm and rho does not change with psi."""
MOST_STEPS = 60
"""Bisections alone reach float64 in this many."""
LOOKS = 48
LAST_STEP = 1e-10
"""Newton's step, relative, after which it ends: what is left is of the order of its square."""


@jit
def _angle_past(delta, T, Q):
    """Angle chi in [0, pi] at which the column is T + delta from the cutter."""
    y = delta * (2.0 * T + delta) / (4.0 * Q)
    y = y if y > 0.0 else 0.0
    return 2.0 * math.asin(math.sqrt(y)) if y < 1.0 else math.pi


@jit
def _chi_ball(R, D, A, T, Q, p):
    E = p * p / Q
    W = 1.0 - E * (R * R - A * A - D * D) / Q + E * E
    if W < 0.0:
        return NONE
    y = E * ((R - T) * (R + T) / Q) / (2.0 * (1.0 + E + math.sqrt(W)))
    return 2.0 * math.asin(math.sqrt(y)) if y < 1.0 else NONE


@jit
def _chi_cone(d, k, D, A, T, Q, p):
    small = D if D < A else A
    if p >= k * small:  # the slope never catches up with the path
        return NONE
    e = p / k
    both = math.sqrt((A - e) * (A + e)) + math.sqrt((D - e) * (D + e))
    rho = (A + D) * T / both
    if rho < d:  # the balance would be under the flat tip: its edge is the place
        if d > both:
            return NONE
        rho = d
    return _angle_past(rho - T, T, Q)


@jit
def _bull_excess(delta, R, d, rc, T, S, p):
    """Return v sqrt(h^2 + p^2) - rc p at rho = T + delta, v = rho - d, and its slope.

    It is > 0 where g'(rho) h > p. Written as a difference of two parts that both go to 0 with the
    room R - T, so that columns near the rim keep their digits.
    """
    rho = T + delta
    if rho <= 0.0:
        return -rc * p, p
    v = rho - d
    h2 = (S - rho) * (S + rho) * delta * (T + rho) / (4.0 * rho * rho)
    h2 = h2 if h2 > 0.0 else 0.0
    root = math.sqrt(h2 + p * p)
    room = (R - T) - delta
    excess = (v * v * h2 - p * p * room * (rc + v)) / (v * root + rc * p)
    turn = S * T / (rho * rho)
    return excess, root + v * (turn - 1.0) * (turn + 1.0) * rho / (4.0 * root)


@jit
def _bull_late_rho(d, rc, R, S, p, small, large):
    """Return a rho past h's greatest value where g'(rho) h > p, else -1; for S <= R.

    With x = (rho - d) / rc that is K(x) = sqrt(large^2 - e^2) + sqrt(small^2 - e^2) - d - rc x > 0,
    e^2 = p^2 (1 / x^2 - 1). K is concave: bisect on the sign of its slope, and give up when the
    tangents at both ends meet below zero.
    """
    p2 = p * p
    low, high = p / math.sqrt(p2 + small * small), 1.0
    k_low, slope_low = -1.0, 0.0  # slope is infinite at the lowest x: no tangent there yet
    k_high, slope_high = S - R, p2 / large + p2 / small - rc
    if slope_high >= 0.0:
        return -1.0
    for _ in range(MOST_STEPS):
        if slope_low > 0.0:
            meet = (k_low - k_high + slope_high * high - slope_low * low) / (slope_high - slope_low)
            top = k_low + slope_low * (meet - low)
        else:
            top = k_high + slope_high * (low - high)
        if top <= 0.0:
            return -1.0
        x = 0.5 * (low + high)
        e2 = p2 * (1.0 - x) * (1.0 + x) / (x * x)
        f, n = large * large - e2, small * small - e2
        if not (low < x < high and n > 0.0):
            return -1.0
        f, n = math.sqrt(f), math.sqrt(n)
        K = f + n - d - rc * x
        if K > 0.0:
            return d + rc * x
        slope = p2 / (x * x * x) * (1.0 / f + 1.0 / n) - rc
        if slope > 0.0:
            low, k_low, slope_low = x, K, slope
        else:
            high, k_high, slope_high = x, K, slope
    return -1.0


@jit
def _chi_bull(R, d, rc, D, A, T, Q, p):
    S = A + D
    small, large = (D, A) if D < A else (A, D)
    low, high = max(0.0, d - T), R - T
    if S <= R:
        if d >= S:
            return NONE
        high = math.sqrt(S) * math.sqrt(T) - T  # where h is greatest, = small
        if high <= low or _bull_excess(high, R, d, rc, T, S, p)[0] <= 0.0:
            low = max(low, high)
            high = _bull_late_rho(d, rc, R, S, p, small, large) - T
            if high < low:
                return NONE
    delta = low
    for _ in range(MOST_STEPS):
        f, slope = _bull_excess(delta, R, d, rc, T, S, p)
        if f > 0.0:
            high = delta
        else:
            low = delta
        after = delta - f / slope if slope > 0.0 else low
        if not low < after < high:
            after = 0.5 * (low + high)
        step = abs(after - delta)
        delta = after
        if step <= LAST_STEP * delta:
            break
    return _angle_past(delta, T, Q)


@jit
def _chi(shape, R, d, rc, k, D, A, T, Q, p):
    """Angle back from the nearest point of a turn to the one local minimum; `NONE` if none."""
    if p < LEVEL_RISE:
        return 0.0
    if shape == BALL:
        return _chi_ball(R, D, A, T, Q, p)
    if shape == CONE:
        return _chi_cone(d, k, D, A, T, Q, p)
    return _chi_bull(R, d, rc, D, A, T, Q, p)


@jit
def _height(shape, R, d, rc, k, T, Q, p, psi, s0):
    """Height over the tip's start with the cutter at psi."""
    s = math.sin(0.5 * psi)
    rho = math.sqrt(T * T + 4.0 * Q * s * s)
    return p * (psi - s0) + g(shape, R, d, rc, k, rho if rho < R else R)


@jit
def _search(shape, R, d, rc, k, T, Q, p, low, high, s0):
    """Angle in [low, high] at which the height is least, where no form is closed.

    Looks at `LOOKS` places, then narrows by the golden section round the best; the angles at which
    the column comes to the flat's rim, where the profile has a corner, are looked at too.
    """
    best, best_z = low, _height(shape, R, d, rc, k, T, Q, p, low, s0)
    step = (high - low) / LOOKS
    for i in range(1, LOOKS + 1):
        psi = low + i * step if i < LOOKS else high
        z = _height(shape, R, d, rc, k, T, Q, p, psi, s0)
        if z < best_z:
            best, best_z = psi, z
    a, b = max(low, best - step), min(high, best + step)
    for _ in range(MOST_STEPS):
        c, e = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
        if _height(shape, R, d, rc, k, T, Q, p, c, s0) <= _height(
            shape, R, d, rc, k, T, Q, p, e, s0
        ):
            b = e
        else:
            a = c
    psi = 0.5 * (a + b)
    z = _height(shape, R, d, rc, k, T, Q, p, psi, s0)
    if z < best_z:
        best, best_z = psi, z
    if d > T:
        rim = _angle_past((d - T) * (1.0 - 1e-15), T, Q)
        turn = FULL * math.floor((0.5 * (low + high)) / FULL + 0.5)
        for i in range(2):
            psi = min(max(turn - rim if i == 0 else turn + rim, low), high)
            z = _height(shape, R, d, rc, k, T, Q, p, psi, s0)
            if z < best_z:
                best, best_z = psi, z
    return best


@jit
def helix_psi(shape, R, d, rc, k, D, A, s0, s1, p):
    """Angle of the cutter when it leaves a column of a helix.

    Parameters
    ----------
    shape : int
        As in `profile`.
    R, d, rc, k : float
        The tool's profile as in `profile.g`, mm; k is rise over run of a cone.
    D, A : float
        Distance of the column and of the tip's path from the axis, mm.
    s0, s1 : float
        Angle of the cutter less azimuth of the column at the low and the high end, radians,
        s0 <= s1.
    p : float
        Rise, mm a radian, >= 0. A path that falls: mirror the angle and swap the ends.

    Returns
    -------
    float
        psi in [s0, s1]; NaN where no part of the path is within R of the column (touching is
        within). The height is z_low + p (psi - s0) + g(min(R, rho)).

    Notes
    -----
    Two turns are enough: the first whose window ends after s0, and the next, since later ones are
    the same, higher. D = 0, A = 0, p = 0 and s0 = s1 are fine; a tie goes to the earlier place.
    """
    T, S, Q = abs(A - D), A + D, A * D
    if T > R:
        return math.nan
    if Q < NO_AREA:
        return s0
    reach = math.pi if S <= R else _angle_past(R - T, T, Q)
    turn = FULL * math.ceil((s0 - reach) / FULL)
    if shape == FLAT:
        psi = turn - reach
        psi = psi if psi > s0 else s0
        return psi if psi <= s1 else math.nan
    if turn - reach > s1:
        return math.nan
    chi = _chi(shape, R, d, rc, k, D, A, T, Q, p) if shape < ARCH else 0.0
    # A cone also balances at its rim, and a cutter over the axis at the far side of the turn.
    starts = shape == CONE or S <= R
    best, best_z = math.nan, math.inf
    for _ in range(2):
        low, high = turn - reach, turn + reach
        low = low if low > s0 else s0
        high = high if high < s1 else s1
        if low > high:
            break
        if shape >= ARCH:
            psi = _search(shape, R, d, rc, k, T, Q, p, low, high, s0)
        else:
            psi = turn - chi
            psi = psi if psi > low else low
            psi = psi if psi < high else high
        z = _height(shape, R, d, rc, k, T, Q, p, psi, s0)
        if z < best_z:
            best, best_z = psi, z
        if starts:
            z = _height(shape, R, d, rc, k, T, Q, p, low, s0)
            if z < best_z:
                best, best_z = low, z
        turn += FULL
    return best
