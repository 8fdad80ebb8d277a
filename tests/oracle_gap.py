"""Slow and dumb: the least gap of a part of a tool to the stock, by sampling and shrinking steps.

Metal is what stands in columns of no width, solid from the stock's bottom to their top. Every
sample is a place in the metal and a position on the move, so the answer is never too small.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from proud.moves import ARC
from proud.pieces import CUTTING
from proud.prober import Prober

Floats = NDArray[np.float64]


def frustums(tool, label: str) -> list[tuple[float, float, float]]:
    """Return (z_low, z_high, radius) of a neck, shank or holder: cylinders all of them."""
    found = []
    for piece in tool.pieces:
        if piece.label == label:
            assert piece.r_low == piece.r_high
            found.append((piece.z_low, piece.z_high, piece.r_low))
    return found


def tips(moves, m: int, share: Floats) -> Floats:
    """Return the tip at shares of a move, shape (n, 3), mm."""
    start, end = moves.start[m].copy(), moves.end[m]
    if math.isnan(start[2]):
        start[2] = 1e5
    place = start + share[:, None] * (end - start)
    if moves.kind[m] == ARC:
        center, (dx, dy) = moves.center[m], start[:2] - moves.center[m]
        c, s = np.cos(share * moves.turn[m]), np.sin(share * moves.turn[m])
        place[:, 0], place[:, 1] = center[0] + c * dx - s * dy, center[1] + s * dx + c * dy
    return place


def point_gap(parts, tip: Floats, place: Floats) -> Floats:
    """Return the signed distance of places to the part with its tip at `tip`; both (..., 3)."""
    rho = np.hypot(place[..., 0] - tip[..., 0], place[..., 1] - tip[..., 1])
    z = place[..., 2] - tip[..., 2]
    best = np.full(np.broadcast_shapes(rho.shape, z.shape), np.inf)
    for low, high, radius in parts:
        side, end = rho - radius, np.maximum(low - z, z - high)
        out = np.hypot(np.maximum(side, 0), np.maximum(end, 0))
        best = np.minimum(best, np.where(out > 0, out, np.maximum(side, end)))
    return best


def column_gap(parts, tip: Floats, x: Floats, y: Floats, top: Floats, bottom: float) -> Floats:
    """Return the least signed distance of columns of metal; places and tips broadcast."""
    best = np.full(np.broadcast_shapes(tip.shape[:-1], x.shape), np.inf)
    for low, high, _ in parts:
        # The nearest place of a column: as high as may be, but half way up a part that ends.
        middle = 0.5 * (low + high) if math.isfinite(high) else math.inf
        z = np.clip(np.minimum(tip[..., 2] + middle, 1e9), bottom, top)
        place = np.stack(np.broadcast_arrays(x, y, z), axis=-1)
        best = np.minimum(best, point_gap([(low, high, _)], tip, place))
    return best


class Oracle:
    """The least gap of one part on one move, as of that move."""

    def __init__(self, job, m: int, label: str) -> None:
        self.job, self.m = job, m
        self.moves = job.program.moves
        self.parts = frustums(job.tools[int(self.moves.tool[m])], label)
        self.prober = Prober(job.packed.upto(m + 1), job.stock)
        self.rng = np.random.default_rng(m)

    def tops(self, x: Floats, y: Floats) -> Floats:
        return np.nan_to_num(self.prober.columns(x, y)[0], nan=-np.inf)

    def gaps(self, x: Floats, y: Floats, share: Floats) -> Floats:
        top = self.tops(x, y)
        tip, bottom = tips(self.moves, self.m, share), self.job.stock.low[2]
        found = column_gap(self.parts, tip, x, y, np.maximum(top, bottom), bottom)
        return np.where(np.isfinite(top), found, np.inf)

    def least(self, *, across: int = 90, along: int = 60, rounds: int = 60) -> float:
        low, high = self.job.stock.low, self.job.stock.high
        x, y = (np.linspace(low[k], high[k], across) for k in (0, 1))
        x, y = (a.ravel() for a in np.meshgrid(x, y))
        top, bottom = self.tops(x, y), low[2]
        some = np.isfinite(top)
        x, y, top = x[some], y[some], np.maximum(top[some], bottom)
        if not len(x):
            return math.inf
        share = np.linspace(0, 1, along)
        tip = tips(self.moves, self.m, share)
        found = np.array([column_gap(self.parts, t, x, y, top, bottom) for t in tip])
        order = np.argsort(found, axis=None)[:: max(1, found.size // 400_000)]
        t, k = np.unravel_index(order[:24], found.shape)
        best = np.stack([x[k], y[k], share[t]], axis=1)
        value = found[t, k]
        step = np.array([(high[0] - low[0]) / across, (high[1] - low[1]) / across, 1 / along])
        for _ in range(rounds):
            trial = best[:, None] + step * self.rng.uniform(-2, 2, (len(best), 60, 3))
            trial[..., 2] = np.clip(trial[..., 2], 0, 1)
            for a in (0, 1):
                trial[..., a] = np.clip(trial[..., a], low[a], high[a])
            flat = trial.reshape(-1, 3)
            gaps = self.gaps(*(np.ascontiguousarray(flat[:, a]) for a in range(3)))
            gaps = gaps.reshape(len(best), 60)
            j = gaps.argmin(axis=1)
            rows = np.arange(len(best))
            better = gaps[rows, j] < value
            best[better], value[better] = trial[rows, j][better], gaps[rows, j][better]
            step = step * 0.8
        return float(value.min())


def least_on_move(job, m: int, place, label: str, samples: int = 4001) -> float:
    """Return the distance of one place to a part, wherever the move takes it, by golden search."""
    moves = job.program.moves
    parts = [
        (p.z_low, p.z_high, p.r_low)
        for p in job.tools[int(moves.tool[m])].pieces
        if p.label == label
    ]
    place = np.asarray(place, float)
    low, high = 0.0, 1.0
    best = math.inf
    for _ in range(12):
        share = np.linspace(low, high, samples)
        gaps = point_gap(parts, tips(moves, m, share), place)
        k = int(gaps.argmin())
        best = min(best, float(gaps[k]))
        low, high = share[max(0, k - 2)], share[min(samples - 1, k + 2)]
        samples = 101
    return best


def labels_behind(tool) -> list[str]:
    return list(dict.fromkeys(p.label for p in tool.pieces if p.label not in CUTTING))


def moves_of(job, number: int) -> list[int]:
    moves = job.program.moves
    return np.flatnonzero(moves.sweeps() & (moves.tool == number)).tolist()


def metal_top_near(job, m: int, place, reach: float) -> float:
    """Return the highest metal in a small disc round a place, as of a move."""
    turns = np.linspace(0, 2 * math.pi, 64, endpoint=False)
    x = np.append(place[0] + reach * np.cos(turns), place[0])
    y = np.append(place[1] + reach * np.sin(turns), place[1])
    top = Prober(job.packed.upto(m + 1), job.stock).columns(x, y)[0]
    return float(np.nan_to_num(top, nan=-np.inf).max())
