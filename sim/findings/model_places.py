"""Places on the part's model, and how far off the metal's face is there, square to the model."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..stock import closed_mesh

if TYPE_CHECKING:
    from .case import Case

__all__ = ["REACH", "Faces", "Places", "faces_at", "inside_corners", "places_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

REACH: Final = 0.1 * 25.4
"""How far from the model a face of the metal is looked for, mm."""
MOST: Final = 40_000
"""About as many places are looked at."""
SMOOTH: Final = math.radians(30.0)
"""Facets that turn by less stand for a curve."""
INSIDE: Final = 1e-6
"""Metal that ends this near to the model, mm, is not what stands on it."""


@dataclasses.dataclass(frozen=True)
class Places:
    """Places on a model that can be reached from above.

    Attributes
    ----------
    at, normal : ndarray of float64, shape (n, 3)
        mm; out of the part.
    facet : ndarray of float64, shape (n,)
        How far the facet may be off the curve it stands for, mm.
    """

    at: Floats
    normal: Floats
    facet: Floats


@dataclasses.dataclass(frozen=True)
class Faces:
    """The metal's face at each place: `off`, mm, above 0 it stands proud; who left it.

    Where the face is further than `REACH`, `off` is that far and `move` is `NOTHING`.
    """

    off: Floats
    move: NDArray[np.int32]
    label: NDArray[np.int8]


@dataclasses.dataclass(frozen=True)
class _Mesh:
    corners: Floats
    facets: Ints
    normal: Floats
    area: Floats


def _mesh(case: Case) -> _Mesh:
    part = case.job.spec.part
    assert part is not None
    assert part.model is not None
    corners, facets = closed_mesh(part.model, case.unit, "part")
    a, b, c = (corners[facets[:, k]] for k in range(3))
    low = corners.min(axis=0)
    if float(np.einsum("ij,ij->i", a - low, np.cross(b - low, c - low)).sum()) < 0:
        facets = facets[:, ::-1]
        a, c = c, a
    across = np.cross(b - a, c - a)
    twice = np.sqrt((across**2).sum(axis=1))
    some = twice > 0
    return _Mesh(corners, facets[some], across[some] / twice[some, None], twice[some] / 2)


def _edges(mesh: _Mesh) -> tuple[Ints, Ints, Floats]:
    """Return edges (two corners), their two facets, and the turn: above 0 an inside corner."""
    m = len(mesh.facets)
    ends = np.concatenate([mesh.facets[:, [k, (k + 1) % 3]] for k in range(3)])
    of = np.tile(np.arange(m), 3)
    ends = np.sort(ends, axis=1)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, of = ends[order], of[order]
    twin = np.flatnonzero((ends[1:] == ends[:-1]).all(axis=1))
    pair = np.stack([of[twin], of[twin + 1]], axis=1)
    n0, n1 = mesh.normal[pair[:, 0]], mesh.normal[pair[:, 1]]
    turn = np.arccos(np.clip((n0 * n1).sum(axis=1), -1.0, 1.0))
    middle = mesh.corners[mesh.facets].mean(axis=1)
    rises = ((middle[pair[:, 1]] - middle[pair[:, 0]]) * n0).sum(axis=1) > 0
    return ends[twin], pair, np.where(rises, turn, -turn)


def _facet_errors(mesh: _Mesh, ends: Ints, pair: Ints, turn: Floats) -> Floats:
    """Return how far each facet may be off its curve: width times turn over 8."""
    error = np.zeros(len(mesh.facets))
    length = np.sqrt(((mesh.corners[ends[:, 1]] - mesh.corners[ends[:, 0]]) ** 2).sum(axis=1))
    width = 2 * mesh.area[pair].min(axis=1) / np.maximum(length, 1e-12)
    bends = (np.abs(turn) > 1e-5) & (np.abs(turn) < SMOOTH)
    sag = np.where(bends, width * np.abs(turn) / 8, 0.0)
    for k in (0, 1):
        np.maximum.at(error, pair[:, k], sag)
    return error


def places_of(case: Case) -> Places:
    """Return places over the faces of the part's model, but for those that look down.

    Every facet has its middle; large ones have more, evenly over them.
    """
    mesh = _mesh(case)
    error = _facet_errors(mesh, *_edges(mesh))
    up = mesh.normal[:, 2] > -0.01
    share = MOST / max(float(mesh.area[up].sum()), 1e-12)
    per_side = np.clip(np.ceil(np.sqrt(mesh.area * share)), 1, 200).astype(np.int64)
    chosen = np.flatnonzero(up)
    if len(chosen) > MOST:
        chosen = chosen[:: -(-len(chosen) // MOST)]
    at, of = [], []
    for n in np.unique(per_side[chosen]).tolist():
        which = chosen[per_side[chosen] == n]
        weight = _inner(n)
        at.append(np.einsum("qk,mkx->mqx", weight, mesh.corners[mesh.facets[which]]).reshape(-1, 3))
        of.append(np.repeat(which, len(weight)))
    facet = np.concatenate(of) if of else np.zeros(0, np.int64)
    return Places(np.concatenate([np.zeros((0, 3)), *at]), mesh.normal[facet], error[facet])


def _inner(n: int) -> Floats:
    """Return weights of the middles of the n * n small triangles of a triangle, about half."""
    i, j = np.divmod(np.arange(n * n), n)
    kept = i + j < n
    a, b = (i[kept] + 1 / 3) / n, (j[kept] + 1 / 3) / n
    return np.stack([a, b, 1 - a - b], axis=1)


def faces_at(case: Case, places: Places) -> Faces:
    """Return the metal's face along the normal at each place, at the end of the job."""
    from ..grid import NOTHING

    job = case.job
    ahead = REACH
    metal = job.rays(places.at + ahead * places.normal, -places.normal, span=(0.0, 2 * REACH))
    n = len(places.at)
    off = np.full(n, -REACH)
    move, label = np.full(n, NOTHING, np.int32), np.full(n, -1, np.int8)
    ray = np.repeat(np.arange(n), np.diff(metal.offsets))
    good = np.flatnonzero(metal.leave > ahead + INSIDE)
    _, first = np.unique(ray[good], return_index=True)
    k = good[first]
    off[ray[k]] = ahead - metal.enter[k]
    move[ray[k]], label[ray[k]] = metal.enter_move[k], metal.enter_label[k]
    return Faces(off, move, label)


def inside_corners(
    case: Case, at: Floats, *, outside: bool = False
) -> tuple[Floats, NDArray[np.bool_]]:
    """Return how near each place is to a sharp inside corner of the model, and if it is upright.

    Parameters
    ----------
    case : Case
    at : ndarray of float64, shape (n, 3)
    outside : bool
        To a sharp outside corner in place of that.

    Returns
    -------
    distance : ndarray of float64, shape (n,)
        mm; inf: there is none.
    upright : ndarray of bool, shape (n,)
        The corner runs along Z.
    """
    from scipy.spatial import cKDTree

    mesh = _mesh(case)
    ends, _, turn = _edges(mesh)
    sharp = turn < -SMOOTH if outside else turn > SMOOTH
    a, b = (mesh.corners[ends[sharp, k]] for k in (0, 1))
    if not len(a):
        return np.full(len(at), np.inf), np.zeros(len(at), bool)
    length = np.sqrt(((b - a) ** 2).sum(axis=1))
    count = np.maximum(2, np.ceil(length / 0.25) + 1).astype(np.int64)
    of = np.repeat(np.arange(len(a)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    points = a[of] + (number / (count[of] - 1))[:, None] * (b - a)[of]
    distance, which = cKDTree(points).query(at)
    along = np.abs((b - a)[:, 2]) > 0.9 * length
    return distance, along[of[which]]
