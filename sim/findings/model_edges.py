"""Sharp edges of the part's model, and what a tool's own radius must leave in its corners."""

from __future__ import annotations

import functools
import math
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .model_places import SMOOTH, mesh_of

if TYPE_CHECKING:
    from ..tools import Tool
    from .case import Case
    from .model_places import Mesh, Places

__all__ = ["Edges", "edges_of", "left_in_corners"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

APART: Final = 0.25
"""Edges are looked for at places on them so far apart, mm."""
NEAREST: Final = 4
"""So many of those are looked at, and the distance to their edges is exact."""
ALONG: Final = 0.9
"""An edge with so much of its length along Z is upright; a face whose normal has that along an
edge is across its end."""
LEVEL: Final = 0.999
UPRIGHT: Final = 0.01
SAME: Final = 1e-6
_EDGES: weakref.WeakKeyDictionary[Case, dict[str, Edges]] = weakref.WeakKeyDictionary()


class Edges:
    """Some sharp edges of a model.

    Parameters
    ----------
    mesh : Mesh
    chosen : ndarray of int64
        Of the mesh's edges.
    """

    def __init__(self, mesh: Mesh, chosen: Ints) -> None:
        ends, pair, turn = mesh.edges
        self.a, self.b = (mesh.corners[ends[chosen, k]] for k in (0, 1))
        self.turn: Floats = np.abs(turn[chosen])
        self.error: Floats = mesh.error[pair[chosen]].max(axis=1)
        self.normals: Floats = mesh.normal[pair[chosen]]
        self.length: Floats = np.sqrt(((self.b - self.a) ** 2).sum(axis=1))
        self.way: Floats = (self.b - self.a) / np.maximum(self.length, 1e-300)[:, None]

    @functools.cached_property
    def _tree(self) -> tuple[object, Ints]:
        from scipy.spatial import cKDTree

        count = np.maximum(2, np.ceil(self.length / APART) + 1).astype(np.int64)
        of = np.repeat(np.arange(len(self.a)), count)
        number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
        points = self.a[of] + (number / (count[of] - 1))[:, None] * (self.b - self.a)[of]
        return cKDTree(points), of

    def foot(self, at: Floats, edge: Ints) -> Floats:
        """Return the place on an edge that is nearest to each place, shape (n, 3)."""
        a, way = self.a[edge], self.way[edge]
        along = np.clip(((at - a) * way).sum(axis=1), 0.0, self.length[edge])
        place: Floats = a + along[:, None] * way
        return place

    def nearest(self, at: Floats) -> tuple[Floats, Ints]:
        """Return how far the nearest edge is from each place, mm, and which; inf, -1: none is."""
        if not len(self.a) or not len(at):
            return np.full(len(at), np.inf), np.full(len(at), -1)
        tree, of = self._tree
        _, which = tree.query(at, k=min(NEAREST, len(of)))  # type: ignore[attr-defined]
        edge = of[which.reshape(len(at), -1)]
        a, way = self.a[edge], self.way[edge]
        along = ((at[:, None] - a) * way).sum(axis=2)
        foot = a + np.clip(along, 0.0, self.length[edge])[..., None] * way
        far = np.sqrt(((at[:, None] - foot) ** 2).sum(axis=2))
        k, row = np.argmin(far, axis=1), np.arange(len(at))
        return far[row, k], edge[row, k]


def edges_of(case: Case) -> dict[str, Edges]:
    """Return the sharp edges of a case's model, found once.

    By name: ``outside``, ``inside``, and of these the ``upright`` ones and the ``others``.
    """
    if case not in _EDGES:
        mesh = mesh_of(case)
        ends, _, turn = mesh.edges
        way = mesh.corners[ends[:, 1]] - mesh.corners[ends[:, 0]]
        upright = np.abs(way[:, 2]) > ALONG * np.sqrt((way**2).sum(axis=1))
        inside = turn > SMOOTH
        kinds = {
            "outside": turn < -SMOOTH, "inside": inside, "upright": inside & upright,
            "others": inside & ~upright,
        }  # fmt: skip
        _EDGES[case] = {name: Edges(mesh, np.flatnonzero(k)) for name, k in kinds.items()}
    return _EDGES[case]


def left_in_corners(case: Case, places: Places, tool: Tool) -> Floats:
    """Return how high metal a tool must leave over places near sharp inside corners, mm.

    What a circle leaves that lies in the corner: the tool's outline in plan in upright corners,
    else the round of its own corner. 0 beyond it; inf: as high as the wall.
    """
    edges = edges_of(case)
    found: Floats = np.zeros(len(places))
    for name, radius in (
        ("upright", tool.cutting_radius), ("others", tool.cutting_radius - tool.flat_radius)
    ):  # fmt: skip
        far, which = edges[name].nearest(places.at)
        some = np.flatnonzero(far < 4 * radius)
        if len(some):
            mine = _left(edges[name], places[some], which[some], far[some], radius)
            if name == "others":
                mine = _by_outline(edges[name], places[some], which[some], mine, tool)
            found[some] = np.maximum(found[some], mine)
    return found


def _left(edges: Edges, places: Places, which: Ints, far: Floats, radius: float) -> Floats:
    """Return what a circle in the corner of the nearest edge leaves over a face."""
    void = math.pi - edges.turn[which]
    half = np.maximum(void / 2, 1e-6)
    reach = radius / np.tan(half)
    short = reach - far
    with np.errstate(invalid="ignore"):
        high = radius - np.sqrt(np.maximum(radius**2 - short**2, 0.0))
    # In a corner narrower than square the other face is met before the circle.
    other = np.where(void < math.pi / 2 - SAME, far * np.tan(np.minimum(void, 1.5)), np.inf)
    high = np.where(short <= 0, 0.0, np.minimum(np.where(short >= radius, np.inf, high), other))
    high = np.where((short >= radius) & ~np.isfinite(high), radius, high)
    # Across the end of the edge: out of the circle, metal stands as high as the wall.
    across = np.abs((places.normal * edges.way[which]).sum(axis=1)) > ALONG
    middle = edges.normals[which].sum(axis=1)
    middle /= np.maximum(np.sqrt((middle**2).sum(axis=1)), 1e-12)[:, None]
    center = edges.a[which] + (radius / np.sin(half))[:, None] * middle
    arm = places.at - center
    arm -= (arm * edges.way[which]).sum(axis=1)[:, None] * edges.way[which]
    out = np.sqrt((arm**2).sum(axis=1)) > radius - SAME
    high = np.where(across, np.where(out & (far < reach), np.inf, 0.0), high)
    return np.asarray(high, np.float64)


def _by_outline(edges: Edges, places: Places, which: Ints, left: Floats, tool: Tool) -> Floats:
    """Return the same, but between a level floor and an upright wall what the tool's shape leaves.

    A drill's point leaves more than a round would.
    """
    from ..contact.tool import Edge

    up = np.abs(edges.normals[which][..., 2]).sum(axis=1)
    square = (np.abs(up - 1) < 1 - LEVEL) & (np.abs(edges.turn[which] - math.pi / 2) < UPRIGHT)
    if not square.any():
        return left
    edge, radius = Edge(tool), tool.cutting_radius
    far = np.abs(((places.at - edges.a[which])[:, None] * edges.normals[which]).sum(axis=2))
    floor = np.abs(places.normal[:, 2]) > LEVEL
    along = far.max(axis=1)  # on one of the two faces: 0 from that one
    over = edge.lower(np.maximum(radius - along, 0.0))
    aside = radius - edge.reach_at(along)
    shape = np.where(floor, over, aside)
    return np.where(square & np.isfinite(shape), np.maximum(shape, 0.0), left)
