"""Slow, independent heights of a sweep: dense sampling in numpy, and mpmath for single columns.

Nothing here is shared with the kernels: the path is a callable of s in [0, 1], the profile is
written out again, and the minimum of z(s) + g(distance) is searched for, never derived.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import mpmath
import numpy as np
from numpy.typing import NDArray

FLAT, BULL, BALL, CONE = range(4)
NAMES = ("flat", "bull", "ball", "cone")
FAR = 1e9
"""Height out of reach: high and rising, so that a search is led back into reach."""
GOLDEN = (5**0.5 - 1) / 2

Path = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]
"""s of shape (cases, m) -> (distance in plan from tip to column, tip's z), both (cases, m)."""


@dataclasses.dataclass(frozen=True)
class Tools:
    """One tool a case, all of one shape, mm; arrays of shape (cases,)."""

    shape: int
    R: NDArray[np.float64]
    d: NDArray[np.float64]
    rc: NDArray[np.float64]
    k: NDArray[np.float64]

    def row(self, i: int) -> tuple[int, float, float, float, float]:
        """Return tool `i` as the kernels take it."""
        return self.shape, *(float(v[i]) for v in (self.R, self.d, self.rc, self.k))

    def pick(self, index: NDArray[np.int64] | NDArray[np.bool_]) -> Tools:
        """Return the tools of some cases."""
        return Tools(self.shape, self.R[index], self.d[index], self.rc[index], self.k[index])


def random_tools(rng: np.random.Generator, shape: int, cases: int) -> Tools:
    """Return tools of all proportions of one shape, R from 0.2 to 12 mm."""
    R = np.exp(rng.uniform(np.log(0.2), np.log(12.0), cases))
    zero = np.zeros(cases)
    if shape == FLAT:
        return Tools(shape, R, R, zero, zero)
    if shape == BALL:
        return Tools(shape, R, zero, R, zero)
    if shape == BULL:
        rc = R * rng.uniform(0.01, 0.99, cases)
        return Tools(shape, R, R - rc, rc, zero)
    d = R * rng.choice([0.0, 1.0], cases) * rng.uniform(0.0, 0.9, cases)
    return Tools(shape, R, d, zero, np.exp(rng.uniform(np.log(0.05), np.log(20.0), cases)))


def lower_edge(tools: Tools, rho: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the height over the tip at distances (cases, m); over `FAR` past the rim."""
    R, d, rc, k = (v[:, None] for v in (tools.R, tools.d, tools.rc, tools.k))
    v = np.clip(rho - d, 0.0, None)
    if tools.shape == FLAT:
        z = np.zeros_like(rho)
    elif tools.shape == CONE:
        z = k * v
    else:
        z = rc - np.sqrt(np.clip(rc**2 - v**2, 0.0, None))
    return np.where(rho <= R, z, FAR * (1.0 + rho / R))


def _golden(
    f: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    steps: int = 62,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the place and value of the least value met while shrinking brackets."""
    c, e = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fc, fe = f(c), f(e)
    best = np.where(fc <= fe, c, e)
    least = np.minimum(fc, fe)
    for _ in range(steps):
        left = fc <= fe
        low, high = np.where(left, low, c), np.where(left, e, high)
        x = np.where(left, high - GOLDEN * (high - low), low + GOLDEN * (high - low))
        fx = f(x)
        c, e, fc, fe = (
            np.where(left, x, e),
            np.where(left, c, x),
            np.where(left, fx, fe),
            np.where(left, fc, fx),
        )
        best, least = np.where(fx < least, x, best), np.minimum(least, fx)
    return best, least


def _brackets(values: NDArray[np.float64], s: NDArray[np.float64], most: int):
    """Return low and high s, (cases, most), round the deepest local minima of sampled values."""
    padded = np.pad(values, ((0, 0), (1, 1)), constant_values=np.inf)
    dip = (values <= padded[:, :-2]) & (values <= padded[:, 2:])
    depth = np.where(dip, values, np.inf)
    index = np.argpartition(depth, most, axis=1)[:, :most]
    low, high = np.maximum(index - 1, 0), np.minimum(index + 1, values.shape[1] - 1)
    return np.take_along_axis(s, low, 1), np.take_along_axis(s, high, 1)


def sweep_heights(
    tools: Tools, path: Path, samples: int = 1200
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (height, nearest distance) of a sweep over one column a case, shapes (cases,).

    Samples the path evenly, then shrinks a bracket round the nearest approach and round each of
    the four deepest dips of the height, plain sections only. Out of reach: height over `FAR`.
    """
    cases = len(tools.R)
    s = np.broadcast_to(np.linspace(0.0, 1.0, samples), (cases, samples))

    def height(at: NDArray[np.float64]) -> NDArray[np.float64]:
        rho, z = path(at)
        return z + lower_edge(tools, rho)

    rho, z = path(s)
    near_low, near_high = _brackets(rho, s, 2)
    near_s, near = _golden(lambda at: path(at)[0], near_low, near_high)
    sampled = z + lower_edge(tools, rho)
    low, high = _brackets(sampled, s, 4)
    _, dips = _golden(height, low, high)
    _, left = _golden(height, near_low, near_s)
    _, right = _golden(height, near_s, near_high)
    found = np.concatenate([sampled, height(near_s), dips, left, right], axis=1)
    return found.min(axis=1), np.minimum(near.min(axis=1), rho.min(axis=1))


def in_chunks(
    cases: int, run: Callable[[NDArray[np.int64]], tuple[NDArray[np.float64], NDArray[np.float64]]]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return `run` over all cases, a few hundred at a time to stay inside the caches."""
    parts = [run(i) for i in np.array_split(np.arange(cases), max(1, cases // 100))]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


# --- single columns, many digits -----------------------------------------------------------------


def lower_edge_mp(tool: tuple[int, float, float, float, float], rho: mpmath.mpf) -> mpmath.mpf:
    """Return the height over the tip; infinite past the rim."""
    shape, R, d, rc, k = tool[0], *(mpmath.mpf(v) for v in tool[1:])
    if rho > R:
        return mpmath.inf
    v = max(mpmath.mpf(0), rho - d)
    if shape == FLAT:
        return mpmath.mpf(0)
    if shape == CONE:
        return k * v
    v = min(v, rc)
    return rc - mpmath.sqrt((rc - v) * (rc + v))


def least_mp(
    f: Callable[[mpmath.mpf], mpmath.mpf], low: mpmath.mpf, high: mpmath.mpf, steps: int = 110
) -> mpmath.mpf:
    """Return the least value of a one-dip function; steps of a golden section."""
    golden = (mpmath.sqrt(5) - 1) / 2
    c, e = high - golden * (high - low), low + golden * (high - low)
    fc, fe = f(c), f(e)
    least = min(f(low), f(high), fc, fe)
    for _ in range(steps):
        if fc <= fe:
            high, e, fe = e, c, fc
            c = high - golden * (high - low)
            fc = f(c)
            least = min(least, fc)
        else:
            low, c, fc = c, e, fe
            e = low + golden * (high - low)
            fe = f(e)
            least = min(least, fe)
    return least


def line_height_mp(tool, a, b, length, rise, digits: int = 30) -> mpmath.mpf:
    """Return the height over the low end that a sloped line leaves; infinite out of reach.

    The reach is an interval of the line, and the height on it has one dip because g is convex.
    """
    with mpmath.workdps(digits):
        a, b, length, rise, R = (mpmath.mpf(v) for v in (a, b, length, rise, tool[1]))
        nearest = min(max(a, mpmath.mpf(0)), length)
        if mpmath.hypot(nearest - a, b) > R:
            return mpmath.inf
        q = mpmath.sqrt((R - b) * (R + b)) * (1 - mpmath.mpf(10) ** (2 - digits))

        def height(t: mpmath.mpf) -> mpmath.mpf:
            rho = min(R, mpmath.hypot(t - a, b))
            return rise * (t / length) + lower_edge_mp(tool, rho)

        low, high = max(a - q, mpmath.mpf(0)), min(a + q, length)
        return least_mp(height, min(low, high), high)


def helix_height_mp(tool, D, A, s0, s1, p, digits: int = 30, samples: int = 400) -> mpmath.mpf:
    """Return the height over the low end that a helix leaves; infinite out of reach.

    Each turn's reach is found in closed form, sampled, and each dip of the samples shrunk.
    """
    with mpmath.workdps(digits):
        D, A, s0, s1, p, R = (mpmath.mpf(v) for v in (D, A, s0, s1, p, tool[1]))
        T, S = abs(A - D), A + D
        if T > R:
            return mpmath.inf
        om = mpmath.pi
        if S > R:
            om = 2 * mpmath.asin(mpmath.sqrt((R - T) * (R + T) / (4 * A * D)))

        def height(psi: mpmath.mpf) -> mpmath.mpf:
            rho = mpmath.sqrt(T**2 + 4 * A * D * mpmath.sin(psi / 2) ** 2)
            return p * (psi - s0) + lower_edge_mp(tool, min(rho, R))

        least = mpmath.inf
        turn = mpmath.floor((s0 - om) / (2 * mpmath.pi)) * 2 * mpmath.pi
        while turn - om <= s1:
            low, high = max(s0, turn - om), min(s1, turn + om)
            if low == high:
                least = min(least, height(low))
            if low < high:
                at = [low + (high - low) * i / samples for i in range(samples + 1)]
                z = [mpmath.inf, *(height(x) for x in at), mpmath.inf]
                for i in range(1, samples + 2):
                    if z[i] < z[i - 1] and z[i] <= z[i + 1]:
                        ends = at[max(i - 2, 0)], at[min(i, samples)]
                        least = min(least, least_mp(height, *ends))
            turn += 2 * mpmath.pi
        return least


# --- columns of lines and helices ----------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Lines:
    """One column of one sloped line a case, in the line's frame: arrays of shape (cases,), mm."""

    a: NDArray[np.float64]
    b: NDArray[np.float64]
    length: NDArray[np.float64]
    rise: NDArray[np.float64]

    def heights(self, tools: Tools) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return (height over the low end, nearest distance) of each case."""

        def run(i: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
            a, b, length, rise = (v[i][:, None] for v in (self.a, self.b, self.length, self.rise))
            return sweep_heights(tools.pick(i), lambda s: (np.hypot(s * length - a, b), s * rise))

        return in_chunks(len(self.a), run)


def random_lines(rng: np.random.Generator, tools: Tools) -> Lines:
    """Return a column in or near the reach of a line of any steepness for each tool."""
    cases = len(tools.R)
    length = np.exp(rng.uniform(np.log(0.05), np.log(40.0), cases))
    rise = length * np.exp(rng.uniform(np.log(1e-3), np.log(50.0), cases))
    a = rng.uniform(-1.1 * tools.R, length + 1.1 * tools.R)
    return Lines(a, tools.R * rng.uniform(0.0, 1.05, cases), length, rise)


@dataclasses.dataclass(frozen=True)
class Helices:
    """One column of one helix a case: arrays of shape (cases,), mm, radians, mm a radian."""

    D: NDArray[np.float64]
    A: NDArray[np.float64]
    s0: NDArray[np.float64]
    s1: NDArray[np.float64]
    p: NDArray[np.float64]

    def heights(self, tools: Tools) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return (height over the low end, nearest distance) of each case."""

        def run(i: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
            D, A, s0, s1, p = (v[i][:, None] for v in (self.D, self.A, self.s0, self.s1, self.p))

            def path(s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
                turned = s * (s1 - s0)
                psi = s0 + turned
                return np.hypot(A * np.cos(psi) - D, A * np.sin(psi)), p * turned

            return sweep_heights(tools.pick(i), path)

        return in_chunks(len(self.D), run)


def random_helices(rng: np.random.Generator, tools: Tools) -> Helices:
    """Return a column in or near the reach of a helix of up to one turn for each tool."""
    cases = len(tools.R)
    A = np.exp(rng.uniform(np.log(0.05), np.log(20.0), cases))
    D = np.abs(A + tools.R * rng.uniform(-1.05, 1.05, cases))
    s0 = rng.uniform(-2 * np.pi, 2 * np.pi, cases)
    p = np.exp(rng.uniform(np.log(1e-3), np.log(10.0), cases))
    return Helices(D, A, s0, s0 + rng.uniform(0.0, 2 * np.pi, cases), p)
