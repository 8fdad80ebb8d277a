"""Places on the part's model, and how far off the metal's face is there, square to the model."""

from __future__ import annotations

import dataclasses
import functools
import math
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from ..stock import MeshStock
    from .case import Case

__all__ = ["REACH", "SMOOTH", "Faces", "Mesh", "Places", "faces_at", "mesh_of", "places_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

REACH: Final = 0.1 * 25.4
"""How far over the model a face of the metal is looked for, and below it first, mm."""
MOST: Final = 40_000
"""About as many places are looked at."""
SMOOTH: Final = math.radians(30.0)
"""Facets that turn by less stand for a curve."""
INSIDE: Final = 1e-6
"""Metal that ends this near to the model, mm, is not what stands on it."""
SMALL: Final = 0.01
"""So far under a face metal is looked for, mm."""
DOWN: Final = -0.01
"""Faces with less of their normal along Z look down."""
_MESHES: weakref.WeakKeyDictionary[Case, Mesh] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class Places:
    """Places on a model.

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

    def __len__(self) -> int:
        return len(self.at)

    def __getitem__(self, index: Bools | Ints) -> Places:
        return Places(self.at[index], self.normal[index], self.facet[index])

    def joined(self, others: Places) -> Places:
        """Return these places and others after them."""
        return Places(
            np.concatenate([self.at, others.at]),
            np.concatenate([self.normal, others.normal]),
            np.concatenate([self.facet, others.facet]),
        )


@dataclasses.dataclass(frozen=True)
class Faces:
    """The metal's face at each place: `off`, mm, above 0 it stands proud; who left it.

    Where there is none within `REACH` over the model, and none that was cut below it, `off` is
    `REACH` off and `move` is `NOTHING`. `alike` is the cosine of the angle between both faces.
    """

    off: Floats
    move: NDArray[np.int32]
    alike: Floats

    def __getitem__(self, index: Bools | Ints) -> Faces:
        return Faces(self.off[index], self.move[index], self.alike[index])

    def joined(self, others: Faces) -> Faces:
        """Return these faces and others after them."""
        return Faces(
            np.concatenate([self.off, others.off]),
            np.concatenate([self.move, others.move]),
            np.concatenate([self.alike, others.alike]),
        )


class Mesh:
    """The part's model: facets that have an area, their edges, how far they are off curves.

    Parameters
    ----------
    stock : MeshStock
        Of the model.

    Attributes
    ----------
    corners, facets, normal, area : ndarray
        mm; normals out of the part.
    """

    def __init__(self, stock: MeshStock) -> None:
        self.stock = stock
        corners, facets = stock.vertices, stock.facets
        a, b, c = (corners[facets[:, k]] for k in range(3))
        low = corners.min(axis=0)
        if float(np.einsum("ij,ij->i", a - low, np.cross(b - low, c - low)).sum()) < 0:
            facets = facets[:, ::-1]
            a, c = c, a
        across = np.cross(b - a, c - a)
        twice = np.sqrt((across**2).sum(axis=1))
        self._some = twice > 0
        some = self._some
        self.corners, self.facets = corners, facets[some]
        self.normal: Floats = across[some] / twice[some, None]
        self.area: Floats = twice[some] / 2

    @functools.cached_property
    def edges(self) -> tuple[Ints, Ints, Floats]:
        """Edges (two corners), their two facets, and the turn: above 0 an inside corner."""
        m = len(self.facets)
        ends = np.concatenate([self.facets[:, [k, (k + 1) % 3]] for k in range(3)])
        of = np.tile(np.arange(m), 3)
        ends = np.sort(ends, axis=1)
        order = np.lexsort((ends[:, 1], ends[:, 0]))
        ends, of = ends[order], of[order]
        twin = np.flatnonzero((ends[1:] == ends[:-1]).all(axis=1))
        pair = np.stack([of[twin], of[twin + 1]], axis=1)
        n0, n1 = self.normal[pair[:, 0]], self.normal[pair[:, 1]]
        turn = np.arccos(np.clip((n0 * n1).sum(axis=1), -1.0, 1.0))
        middle = self.corners[self.facets].mean(axis=1)
        rises = ((middle[pair[:, 1]] - middle[pair[:, 0]]) * n0).sum(axis=1) > 0
        return ends[twin], pair, np.where(rises, turn, -turn)

    @functools.cached_property
    def error(self) -> Floats:
        """How far each facet may be off its curve, mm: width times turn over 8."""
        ends, pair, turn = self.edges
        error = np.zeros(len(self.facets))
        length = np.sqrt(((self.corners[ends[:, 1]] - self.corners[ends[:, 0]]) ** 2).sum(axis=1))
        width = 2 * self.area[pair].min(axis=1) / np.maximum(length, 1e-12)
        bends = (np.abs(turn) > 1e-5) & (np.abs(turn) < SMOOTH)
        sag = np.where(bends, width * np.abs(turn) / 8, 0.0)
        for k in (0, 1):
            np.maximum.at(error, pair[:, k], sag)
        return error

    def met(self, lines: Floats, about: Floats, near: Floats) -> tuple[Places, Ints]:
        """Return where lines come into the model nearest to a distance along them.

        Parameters
        ----------
        lines : ndarray of float64, shape (n, 6)
            A place and a unit direction each.
        about : ndarray of float64, shape (n,)
            mm along them.
        near : ndarray of float64, shape (n,)
            No further from there than this, mm.

        Returns
        -------
        Places
        ndarray of int64
            The line of each of them.
        """
        from ..stock_rays import facets_on_rays

        counts, far, facet = facets_on_rays(self.stock, np.ascontiguousarray(lines))
        of = np.repeat(np.arange(len(lines)), counts // 2)
        far, facet = far[::2], facet[::2]
        miss = np.abs(far - about[of])
        good = np.flatnonzero((miss <= near[of]) & self._some[facet])
        order = good[np.lexsort((miss[good], of[good]))]
        line, first = np.unique(of[order], return_index=True)
        k = order[first]
        number = (np.cumsum(self._some) - 1)[facet[k]]
        at = lines[line, :3] + far[k][:, None] * lines[line, 3:]
        return Places(at, self.normal[number], self.error[number]), line

    def thickness(self, at: Floats, normal: Floats) -> Floats:
        """Return how thick the model is under places on it, mm."""
        from ..stock_rays import facets_on_rays

        lines = np.ascontiguousarray(np.hstack([at - SMALL * normal, -normal]))
        counts, far, _ = facets_on_rays(self.stock, lines)
        of = np.repeat(np.arange(len(at)), counts)
        ahead = far > 0
        found = np.zeros(len(at))
        line, first = np.unique(of[ahead], return_index=True)
        found[line] = far[ahead][first] + SMALL
        return found


def mesh_of(case: Case) -> Mesh:
    """Return the model of a case's part, made once."""
    from ..stock import MeshStock
    from .walls import walls_of

    if case not in _MESHES:
        model = walls_of(case).model
        assert isinstance(model, MeshStock)
        _MESHES[case] = Mesh(model)
    return _MESHES[case]


def places_of(case: Case) -> Places:
    """Return places over the faces of the part's model, but for those that look down.

    Every facet has its middle; large ones have more, evenly over them.
    """
    mesh = mesh_of(case)
    up = mesh.normal[:, 2] > DOWN
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
    return Places(np.concatenate([np.zeros((0, 3)), *at]), mesh.normal[facet], mesh.error[facet])


def _inner(n: int) -> Floats:
    """Return weights of the middles of the n * n small triangles of a triangle, about half."""
    i, j = np.divmod(np.arange(n * n), n)
    kept = i + j < n
    a, b = (i[kept] + 1 / 3) / n, (j[kept] + 1 / 3) / n
    return np.stack([a, b, 1 - a - b], axis=1)


def faces_at(case: Case, places: Places) -> Faces:
    """Return the metal's face along the normal at each place, at the end of the job."""
    from ..grid import NOTHING

    n = len(places)
    found = Faces(np.full(n, -REACH), np.full(n, NOTHING, np.int32), np.ones(n))
    none = _first_faces(case, places, np.arange(n), (REACH, 2 * REACH), found)
    stock = case.job.stock
    deep = float(np.linalg.norm(np.subtract(stock.high, stock.low)))
    below = Faces(found.off.copy(), found.move.copy(), found.alike.copy())
    _gone(case, places, _first_faces(case, places, none, (REACH, 2 * REACH + deep), below), below)
    cut = none[below.move[none] >= 0]  # how deep, where it is deeper than that
    for name in ("off", "move", "alike"):
        getattr(found, name)[cut] = getattr(below, name)[cut]
    return found


def _first_faces(
    case: Case, places: Places, which: Ints, reach: tuple[float, float], found: Faces
) -> Ints:
    """Write the first faces below the reach over some places; return where there is no metal."""
    ahead, span = reach
    if not len(which):
        return which
    at, normal = places.at[which], places.normal[which]
    metal = case.job.rays(at + ahead * normal, -normal, span=(0.0, span))
    ray = np.repeat(np.arange(len(which)), np.diff(metal.offsets))
    good = np.flatnonzero(metal.leave > ahead + INSIDE)
    _, first = np.unique(ray[good], return_index=True)
    k = good[first]
    here = which[ray[k]]
    found.off[here] = ahead - metal.enter[k]
    found.move[here] = metal.enter_move[k]
    found.alike[here] = (metal.enter_normal[k] * normal[ray[k]]).sum(axis=1)
    return np.setdiff1d(which, here, assume_unique=True)


def _gone(case: Case, places: Places, which: Ints, found: Faces) -> None:
    """Write how thick the part is where no metal is left under its face, and who cut beside it."""
    if not len(which):
        return
    at, normal = places.at[which], places.normal[which]
    inside = at - SMALL * normal
    was = np.diff(case.job.rays(inside, -normal, as_of=0, span=(0.0, SMALL)).offsets) > 0
    which, at, normal, inside = which[was], at[was], normal[was], inside[was]
    u = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal), axis=1)])
    v = np.cross(normal, u)
    for way in (u, -u, v, -v) if len(which) else ():
        metal = case.job.rays(inside, way)
        first = metal.first()
        by = np.append(metal.enter_move, -1)[first]  # no metal: -1
        mine = (by >= 0) & (found.move[which] < 0)
        found.move[which[mine]] = by[mine]
    mesh, some = mesh_of(case), np.flatnonzero(found.move[which] >= 0)
    thick = mesh.thickness(at[some], normal[some])
    found.off[which[some]] = -thick
