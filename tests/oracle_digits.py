"""Membership of points in sweeps with many digits: a second opinion on `oracle_rays`."""

from __future__ import annotations

from collections.abc import Sequence

import mpmath
import numpy as np
from numpy.typing import NDArray
from oracle_rays import World

Floats = NDArray[np.float64]


def radius_mp(piece: Floats, z: mpmath.mpf) -> mpmath.mpf:
    z_low, z_high, r_low, r_high, center_r, center_z, R = (mpmath.mpf(v) for v in piece[:7])
    if R == 0:
        return (
            r_low if r_low == r_high else r_low + (r_high - r_low) * (z - z_low) / (z_high - z_low)
        )
    half = mpmath.sqrt(max(mpmath.mpf(0), (abs(R) - (z - center_z)) * (abs(R) + (z - center_z))))
    return center_r + mpmath.sign(R) * half


def flank_mp(piece: Floats, move: Floats, p: Sequence[mpmath.mpf], s: mpmath.mpf) -> mpmath.mpf:
    """Return how far p is outside of the flank with the tip at s; the height must be covered."""
    row = [mpmath.mpf(v) for v in move]
    z = row[3] + s * (row[6] - row[3])
    if row[0] == 0:
        x, y = (row[k] + s * (row[k + 3] - row[k]) for k in (1, 2))
    else:
        arm = row[1] - row[7], row[2] - row[8]
        A, angle = mpmath.hypot(*arm), mpmath.atan2(arm[1], arm[0]) + s * row[9]
        x, y = row[7] + A * mpmath.cos(angle), row[8] + A * mpmath.sin(angle)
    return mpmath.hypot(p[0] - x, p[1] - y) - radius_mp(piece, p[2] - z)


def inside_mp(world: World, p: Sequence[mpmath.mpf], digits: int = 32, samples: int = 40) -> bool:
    """Return whether a point lies in some sweep, by search with many digits."""
    with mpmath.workdps(digits):
        for m, move in enumerate(world.moves):
            for piece in world.pieces[world.firsts[m] : world.lasts[m]]:
                low, high = _window_mp(piece, move, p[2])
                if low <= high and _least_mp(piece, move, p, low, high, samples) <= 0:
                    return True
    return False


def _window_mp(piece, move, z):
    start, rise = mpmath.mpf(move[3]), mpmath.mpf(move[6]) - mpmath.mpf(move[3])
    if rise == 0:
        return (0, 1) if piece[0] <= z - start <= piece[1] else (1, 0)
    a, b = ((z - start - mpmath.mpf(piece[k])) / rise for k in (1, 0))
    return max(mpmath.mpf(0), min(a, b)), min(mpmath.mpf(1), max(a, b))


def _least_mp(piece, move, p, low, high, samples):
    at = [low + (high - low) * i / mpmath.mpf(samples) for i in range(samples + 1)]
    f = [mpmath.inf, *(flank_mp(piece, move, p, s) for s in at), mpmath.inf]
    best = min(f)
    golden_mp = (mpmath.sqrt(5) - 1) / 2
    for i in range(1, samples + 2):
        if best <= 0 or not (f[i] <= f[i - 1] and f[i] <= f[i + 1]):
            continue
        a, b = at[max(i - 2, 0)], at[min(i, samples)]
        for _ in range(60):
            c, e = b - golden_mp * (b - a), a + golden_mp * (b - a)
            fc, fe = flank_mp(piece, move, p, c), flank_mp(piece, move, p, e)
            best = min(best, fc, fe)
            a, b = (a, e) if fc <= fe else (c, b)
            if best <= 0:
                break
    return best
