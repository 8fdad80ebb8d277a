"""Lower edge of a cutting part, g(rho), and its slope.

FLAT: d = R. BULL: d = R - rc. BALL: d = 0, rc = R. CONE: d = radius of the flat tip, k = rise/run.
ARCH: part of an arc that bulges outwards, from radius d to R; k = radius at which its centre lies.
COVE: part of one that bulges inwards, likewise; its centre is at k >= R.
"""

import math

import numba
import numpy as np

FLAT = np.int64(0)  # typed: what takes a bare number is compiled for each of them
BULL = np.int64(1)
BALL = np.int64(2)
CONE = np.int64(3)
ARCH = np.int64(4)
COVE = np.int64(5)

INF = math.inf
STEEP = 1e6
"""Slopes are cut off here: at a rim they have no limit."""

ROUNDING = 1e-14
"""Share by which radii may be off after some sums."""

OPTIONS = {"error_model": "numpy", "nogil": True}
entry = numba.njit(cache=True, **OPTIONS)
"""For a kernel that Python calls: compiled once for this machine, then kept on disk."""
LINKED = {}
if numba.__version__.startswith("0.68."):  # the one whose inner steps `inner` was held against
    from .inner import Inner

    LINKED = {"pipeline_class": Inner}
jit = numba.njit(no_cpython_wrapper=True, no_cfunc_wrapper=True, **LINKED, **OPTIONS)
"""For a function that only kernels call: without the wrappers that Python would need, and only
linked, not made machine code on its own (`inner`)."""

once = numba.njit(inline="always", **OPTIONS)
"""For a function with one call site: joined to its caller before compilation, which saves
compiling and optimising the same code again at every level of calls."""

GOLDEN = 0.6180339887498949
"""Share of an interval, of the golden section."""


@jit
def _half(rc, v):
    """Height of a circle's edge over its centre at v beside it."""
    left = (rc - v) * (rc + v)
    return math.sqrt(left if left > 0.0 else 0.0)


@jit
def _start(rc, d, k):
    """Height over the arc's centre at which its part begins; 0 but for rounding is 0."""
    v = d - k
    left = (rc - v) * (rc + v)
    return math.sqrt(left) if left > ROUNDING * rc * (rc + abs(k)) else 0.0


@jit
def g(shape, R, d, rc, k, rho):
    """Height of the lower edge over the tip at 0 <= rho <= R."""
    v = rho - d
    if shape == FLAT or v <= 0.0:
        return 0.0
    if shape == CONE:
        return k * v
    if shape >= ARCH:
        if shape == COVE and v <= ROUNDING * rho:  # at its foot a cove may be upright
            return 0.0
        return abs(_half(rc, rho - k) - _start(rc, d, k))
    v = v if v < rc else rc
    return rc - math.sqrt((rc - v) * (rc + v))


@jit
def g_slope(shape, R, d, rc, k, rho):
    """dg/drho, cut off at STEEP."""
    v = rho - d
    if shape == FLAT or v <= 0.0:
        return 0.0
    if shape == CONE:
        return k
    if shape >= ARCH:
        v = abs(rho - k)
    v = v if v < rc else rc
    w = math.sqrt((rc - v) * (rc + v))
    return v / w if v < STEEP * w else STEEP
