"""Where rays are inside the raw stock, and its own normals there."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .grid import RAW
from .stock import Block, MeshStock, Round, Stock
from .tree import Tree, build_tree

__all__ = ["RawMetal", "facets_on_rays", "stock_on_rays"]

Floats = NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class RawMetal:
    """Stretches of raw stock on rays.

    Attributes
    ----------
    offsets : ndarray of int64, shape (n + 1,)
    enter, leave : ndarray of float64, shape (m,)
        mm along each ray.
    enter_normal, leave_normal : ndarray of float64, shape (m, 3)
        Out of the metal.
    """

    offsets: NDArray[np.int64]
    enter: Floats
    leave: Floats
    enter_normal: Floats
    leave_normal: Floats

    def fill_normals(self, makers: NDArray[np.int32], faces: Floats) -> None:
        """Write the normals of ends that are the stock's own into `faces`.

        `makers` holds the move, or `RAW`, and with `RAW` the stretch of stock.
        """
        for side, normal in enumerate((self.enter_normal, self.leave_normal)):
            own = makers[:, side, 0] == RAW
            faces[own, side, :3] = normal[makers[own, side, 1]]


def stock_on_rays(stock: Stock, lines: Floats) -> RawMetal:
    """Return the raw stock on lines, shape (n, 6): a place and a unit direction each."""
    if isinstance(stock, Block):
        return _one_each(*_block(stock, lines))
    if isinstance(stock, Round):
        return _round(stock, lines)
    if isinstance(stock, MeshStock):
        return _mesh(stock, lines)
    raise Fault(f"no rays through a stock of {type(stock).__name__}")


def _one_each(lo: Floats, hi: Floats, lo_normal: Floats, hi_normal: Floats) -> RawMetal:
    hit = hi > lo
    offsets = np.concatenate([[0], np.cumsum(hit)]).astype(np.int64)
    return RawMetal(offsets, lo[hit], hi[hit], lo_normal[hit], hi_normal[hit])


def _slab(o: Floats, v: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """Where lines are between two planes."""
    along = v != 0
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (low - o) / v, (high - o) / v
    inside = (o >= low) & (o <= high)
    lo = np.where(along, np.minimum(a, b), np.where(inside, -np.inf, np.inf))
    hi = np.where(along, np.maximum(a, b), np.where(inside, np.inf, -np.inf))
    return lo, hi


def _block(stock: Block, lines: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    slabs = [_slab(lines[:, k], lines[:, 3 + k], stock.low[k], stock.high[k]) for k in range(3)]
    los, his = (np.stack([s[side] for s in slabs], axis=1) for side in (0, 1))
    n = np.arange(len(lines))
    first, last = los.argmax(axis=1), his.argmin(axis=1)
    lo_normal, hi_normal = np.zeros((len(lines), 3)), np.zeros((len(lines), 3))
    lo_normal[n, first] = -np.sign(lines[n, 3 + first])
    hi_normal[n, last] = np.sign(lines[n, 3 + last])
    return los[n, first], his[n, last], lo_normal, hi_normal


def _cylinder(lines: Floats, center: tuple[float, float], radius: float) -> tuple[Floats, Floats]:
    """Where lines are inside an endless cylinder along Z."""
    x, y = lines[:, 0] - center[0], lines[:, 1] - center[1]
    vx, vy = lines[:, 3], lines[:, 4]
    p2 = vx * vx + vy * vy
    upright = p2 == 0
    safe = np.where(upright, 1.0, p2)
    foot, b = -(x * vx + y * vy) / safe, np.abs(x * vy - y * vx) / np.sqrt(safe)
    left = (radius - b) * (radius + b)
    half = np.sqrt(np.maximum(left, 0.0) / safe)
    inside = x * x + y * y <= radius * radius
    lo = np.where(upright, np.where(inside, -np.inf, np.inf), foot - half)
    hi = np.where(upright, np.where(inside, np.inf, -np.inf), foot + half)
    miss = ~upright & (left < 0)
    return np.where(miss, np.inf, lo), np.where(miss, -np.inf, hi)


def _round(stock: Round, lines: Floats) -> RawMetal:
    z_lo, z_hi = _slab(lines[:, 2], lines[:, 5], stock.low[2], stock.high[2])
    c_lo, c_hi = _cylinder(lines, stock.center, stock.radius)
    lo, hi = np.maximum(z_lo, c_lo), np.minimum(z_hi, c_hi)
    up = np.zeros((len(lines), 3))
    up[:, 2] = np.sign(lines[:, 5])
    lo_n = np.where((z_lo > c_lo)[:, None], -up, _radial(stock, lines, lo, 1.0))
    hi_n = np.where((z_hi < c_hi)[:, None], up, _radial(stock, lines, hi, 1.0))
    if stock.bore_radius <= 0:
        return _one_each(lo, hi, lo_n, hi_n)
    b_lo, b_hi = _cylinder(lines, stock.center, stock.bore_radius)
    bored = b_hi > b_lo
    lo1, hi1 = lo, np.where(bored, np.minimum(hi, b_lo), hi)
    lo2, hi2 = np.where(bored, np.maximum(lo, b_hi), np.inf), np.where(bored, hi, -np.inf)
    hi1_n = np.where((bored & (b_lo < hi))[:, None], _radial(stock, lines, b_lo, -1.0), hi_n)
    lo2_n = np.where((bored & (b_hi > lo))[:, None], _radial(stock, lines, b_hi, -1.0), lo_n)
    hit = np.stack([hi1 > lo1, hi2 > lo2], axis=1)
    offsets = np.concatenate([[0], np.cumsum(hit.sum(axis=1))]).astype(np.int64)

    def pick(a: Floats, b: Floats) -> Floats:
        both: Floats = np.stack([a, b], axis=1)[hit]
        return both

    return RawMetal(offsets, pick(lo1, lo2), pick(hi1, hi2), pick(lo_n, lo2_n), pick(hi1_n, hi_n))


def _radial(stock: Round, lines: Floats, t: Floats, sign: float) -> Floats:
    t = np.where(np.isfinite(t), t, 0.0)
    x = lines[:, 0] + t * lines[:, 3] - stock.center[0]
    y = lines[:, 1] + t * lines[:, 4] - stock.center[1]
    rho = np.maximum(np.hypot(x, y), 1e-300)
    return np.stack([sign * x / rho, sign * y / rho, np.zeros(len(lines))], axis=1)


def _mesh(stock: MeshStock, lines: Floats) -> RawMetal:
    """Stretches between crossings of a closed mesh; facets' sides tell in from out."""
    counts, at, facet = facets_on_rays(stock, lines)
    normals = _mesh_tree(stock)[1]
    offsets = np.concatenate([[0], np.cumsum(counts // 2)]).astype(np.int64)
    enter, leave = slice(0, None, 2), slice(1, None, 2)
    return RawMetal(offsets, at[enter], at[leave], normals[facet[enter]], normals[facet[leave]])


def facets_on_rays(
    stock: MeshStock, lines: Floats
) -> tuple[NDArray[np.int64], Floats, NDArray[np.int32]]:
    """Return where lines cross a closed mesh: in, out, in, out.

    Parameters
    ----------
    stock : MeshStock
    lines : ndarray of float64, shape (n, 6)
        A place and a unit direction each.

    Returns
    -------
    counts : ndarray of int64, shape (n,)
    at : ndarray of float64
        mm along each line.
    facet : ndarray of int32
        Which of the mesh.
    """
    from .kernels.mesh_rays import cross_facets

    tree, normals = _mesh_tree(stock)
    room = 8 * len(lines) + 64
    while True:
        at, facet = np.empty(room), np.empty(room, np.int32)
        counts = np.zeros(len(lines), np.int64)
        n = cross_facets(
            lines, stock.vertices, stock.facets, normals, tree.boxes, tree.things, at, facet, counts
        )
        if n >= 0:
            return counts, at[:n], facet[:n]
        room *= 2


@functools.lru_cache(maxsize=4)
def _mesh_tree(stock: MeshStock) -> tuple[Tree, Floats]:
    """Return a tree over a mesh's facets, and their unit normals out of the metal."""
    a, b, c = (stock.vertices[stock.facets[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    outwards = np.einsum("ij,ij->i", a - a[0], normals).sum() >= 0
    length = np.maximum(np.sqrt((normals**2).sum(axis=1)), 1e-300)[:, None]
    normals = np.ascontiguousarray(normals / length * (1.0 if outwards else -1.0))
    low, high = (np.minimum.reduce([a, b, c]), np.maximum.reduce([a, b, c]))
    skin = 1e-9 * (1 + np.abs(low) + np.abs(high))
    facets = np.arange(len(stock.facets), dtype=np.int32)
    return build_tree(low - skin, high + skin, facets), normals
