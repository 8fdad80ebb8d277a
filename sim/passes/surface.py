"""The tip of a ball that lies on the part model: exact on its facets, edges and corners."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..contour import Piece
from ..units import Unit

__all__ = ["Surface", "follow"]

Floats = NDArray[np.float64]

AT_ONCE: Final = 32
"""Neighbouring places looked at together, so that few facets are in their reach."""
HALVINGS: Final = 12
"""Most times that a step along a path is halved: to a few nanometres."""
SLACK: Final = 1e-9
"""Part of a facet's or an edge's size by which a touch may lie past its border."""


class Surface:
    """A part model, and the ball that lies on it.

    Parameters
    ----------
    path : Path
        The part's mesh.
    unit : {'in', 'mm'}
        The job's.
    radius : float
        Of the ball, mm.
    lowest : float
        z under which the tip doesn't go, mm.

    Notes
    -----
    Over a place in plan the ball's center comes to rest where it first is R from a corner
    (z + sqrt(R^2 - d^2)), from an edge (on the edge's cylinder of radius R, the touch between its
    ends) or from a facet (on its plane R off, the touch within its borders): the highest of them.
    Facets seen from below are under others, so no side has to be told.

    Raises
    ------
    ModelError
        The model can't be used.
    """

    def __init__(self, path: Path, unit: Unit, radius: float, lowest: float) -> None:
        from ..stock import closed_mesh

        corners, facets = closed_mesh(path, unit, "part")
        self.radius, self.lowest = radius, lowest
        self._corners = corners
        sides = np.sort(
            np.vstack([facets[:, [0, 1]], facets[:, [1, 2]], facets[:, [2, 0]]]), axis=1
        )
        sides = np.unique(sides, axis=0)
        self._edges = corners[sides[:, 0]], corners[sides[:, 1]]
        normal = np.cross(
            corners[facets[:, 1]] - corners[facets[:, 0]],
            corners[facets[:, 2]] - corners[facets[:, 0]],
        )
        size = np.linalg.norm(normal, axis=1)
        normal = normal / np.where(size > 0, size, 1.0)[:, None]
        normal *= np.where(normal[:, 2:] < 0, -1.0, 1.0)
        level = normal[:, 2] > 1e-9  # an upright facet is touched at its edges
        self._facets = corners[facets[level]]
        self._normals = normal[level]

        self._boxes = [
            _boxes(self._corners),
            _boxes(*self._edges),
            _boxes(*self._facets.swapaxes(0, 1)),
        ]

    def tips(self, places: Floats) -> Floats:
        """Return z of the tip, mm, shape (n,), at places in plan, shape (n, 2)."""
        found = np.full(len(places), self.lowest + self.radius)
        for n in range(0, len(places), AT_ONCE):
            part, best = places[n : n + AT_ONCE], found[n : n + AT_ONCE]
            low, high = part.min(axis=0) - self.radius, part.max(axis=0) + self.radius
            c, e, f = (
                (least <= high).all(axis=1) & (most >= low).all(axis=1)
                for least, most in self._boxes
            )
            np.maximum(best, self._on_corners(part, self._corners[c]), out=best)
            np.maximum(best, self._on_edges(part, *(end[e] for end in self._edges)), out=best)
            np.maximum(best, self._on_facets(part, self._facets[f], self._normals[f]), out=best)
        tips: Floats = found - self.radius
        return tips

    def _on_corners(self, places: Floats, corners: Floats) -> Floats:
        apart = places[:, None, :] - corners[None, :, :2]
        room = self.radius**2 - np.einsum("ijk,ijk->ij", apart, apart)
        rest = np.where(room >= 0, corners[:, 2] + np.sqrt(np.maximum(room, 0.0)), -np.inf)
        highest: Floats = rest.max(axis=1, initial=-np.inf)
        return highest

    def _on_edges(self, places: Floats, a: Floats, b: Floats) -> Floats:
        span = b - a
        length = np.linalg.norm(span, axis=1)
        flat = np.hypot(span[:, 0], span[:, 1])
        held = flat > SLACK * np.where(length > 0, length, 1.0)  # an upright edge is its corner
        a, span, length, flat = a[held], span[held], length[held], flat[held]
        ux, uy = span[:, 0] / flat, span[:, 1] / flat
        to = places[:, None, :] - a[None, :, :2]
        along = to[..., 0] * ux + to[..., 1] * uy
        off = to[..., 0] * uy - to[..., 1] * ux
        room = self.radius**2 - off * off
        # Over the foot in plan the center stands sqrt(R^2 - off^2) / cos(slope) above the edge.
        rise = np.sqrt(np.maximum(room, 0.0)) * (length / flat)
        touch = (along / flat) + rise * span[:, 2] / length**2
        fits = (room >= 0) & (touch >= -SLACK) & (touch <= 1 + SLACK)
        rest = np.where(fits, a[:, 2] + along * (span[:, 2] / flat) + rise, -np.inf)
        highest: Floats = rest.max(axis=1, initial=-np.inf)
        return highest

    def _on_facets(self, places: Floats, facets: Floats, normals: Floats) -> Floats:
        touch = places[:, None, :] - self.radius * normals[None, :, :2]
        inside = np.ones(touch.shape[:2], np.bool_)
        a, b, c = facets[:, 0], facets[:, 1], facets[:, 2]
        turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
        for p, q in ((a, b), (b, c), (c, a)):
            side = (q[:, 0] - p[:, 0]) * (touch[..., 1] - p[:, 1])
            side -= (q[:, 1] - p[:, 1]) * (touch[..., 0] - p[:, 0])
            inside &= side * np.sign(turn) >= -SLACK * np.abs(turn)
        apart = touch - a[None, :, :2]
        fall = np.einsum("ijk,jk->ij", apart, normals[:, :2]) / normals[:, 2]
        rest = np.where(inside, a[:, 2] - fall + self.radius * normals[:, 2], -np.inf)
        highest: Floats = rest.max(axis=1, initial=-np.inf)
        return highest


def _boxes(*points: Floats) -> tuple[Floats, Floats]:
    """Return the low and high corners, in plan, of what lies between points."""
    return (
        np.minimum.reduce([p[:, :2] for p in points]),
        np.maximum.reduce([p[:, :2] for p in points]),
    )


def follow(surface: Surface, piece: Piece, tolerance: float) -> Floats:
    """Return places of the tip along a piece, mm, shape (n, 3), both ends included.

    Parameters
    ----------
    surface : Surface
    piece : Piece
        In plan.
    tolerance : float
        How far the straight moves between the places may be off the ball's own way, mm.

    Notes
    -----
    The first step is so short that between two places no ridge rises by more than the tolerance
    over a ball that lies on it; steps are then halved until their middles agree.
    """
    first = 2 * math.sqrt(2 * surface.radius * tolerance)
    count = max(len(piece.chords(tolerance)), math.ceil(piece.length / first), 1)
    parts = np.linspace(0.0, 1.0, count + 1)
    z = surface.tips(_places(piece, parts))
    new = np.arange(count)
    for _ in range(HALVINGS):
        middle = (parts[new] + parts[new + 1]) / 2
        height = surface.tips(_places(piece, middle))
        bent = np.abs(height - (z[new] + z[new + 1]) / 2) > tolerance / 2
        if not bent.any():
            break
        where = new[bent] + 1
        parts, z = np.insert(parts, where, middle[bent]), np.insert(z, where, height[bent])
        shift = np.arange(len(where))
        new = np.sort(np.concatenate([where + shift - 1, where + shift]))
    kept = _thinned(parts, z, tolerance / 2) if not piece.turn else list(range(len(parts)))
    xy = _places(piece, parts[kept])
    return np.column_stack([xy, z[kept]])


def _places(piece: Piece, parts: Floats) -> Floats:
    return np.array([piece.at(float(t)) for t in parts]).reshape(-1, 2)


def _thinned(parts: Floats, z: Floats, tolerance: float) -> list[int]:
    """Return the places to be kept so that straight moves between them are near to the others."""
    kept: list[int] = [0]
    low, high = -math.inf, math.inf
    n = 1
    while n < len(parts):
        at, run = kept[-1], parts[n] - parts[kept[-1]]
        slope = (z[n] - z[at]) / run
        if low <= slope <= high:
            low = max(low, (z[n] - tolerance - z[at]) / run)
            high = min(high, (z[n] + tolerance - z[at]) / run)
            n += 1
        else:
            kept.append(n - 1)
            low, high = -math.inf, math.inf
    return [*kept, len(parts) - 1]
