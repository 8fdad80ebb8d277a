"""Arcs fitted to points of a curve: to a mesh's outline, whose curves have become facets."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..contour import Contour, Piece, Point
from .shapes import arc_piece

__all__ = ["arcs_through", "with_arcs"]

Floats = NDArray[np.float64]

FACET: Final = math.radians(30.0)
"""Facets that stand for a curve turn by less than this from one to the next; a polygon of twelve
sides or fewer stays one."""
LEAST_FACETS: Final = 4
"""Facets from which on an arc is fitted: through three corners there is always one."""
ROUND: Final = math.radians(359.0)


def with_arcs(contour: Contour, tolerance: float) -> tuple[Contour, int]:
    """Return a closed contour of lines with arcs where its corners lie on them, and their number.

    Parameters
    ----------
    contour : Contour
        Closed, of lines.
    tolerance : float
        How far corners may be off an arc, mm; 0: none is fitted.

    Notes
    -----
    An arc goes through the first and the last of its corners exactly; its centre on the middle
    normal of these is the least squares of x^2 + y^2 - 2 h y - c^2 over the others, with c half
    of their distance. Corners are kept; only the facets between them give way to the arc.
    """
    corners = np.array([p.start for p in contour.pieces], dtype=np.float64)
    if not tolerance or len(corners) < LEAST_FACETS + 1:
        return contour, 0
    whole = _circle(corners, tolerance)
    if whole is not None:
        return Contour((whole,), True), 1
    # Begin behind the longest line, which is no facet: no arc is cut in two.
    span = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    corners = np.roll(corners, -(int(np.argmax(span)) + 1), axis=0)
    pieces = arcs_through(np.concatenate([corners, corners[:1]]), tolerance)
    return Contour(tuple(pieces), True), sum(bool(p.turn) for p in pieces)


def arcs_through(points: Floats, tolerance: float) -> list[Piece]:
    """Return arcs and lines through points of a curve, as few as that takes.

    Parameters
    ----------
    points : ndarray of float64, shape (n, 2)
        mm, no two that follow each other alike.
    tolerance : float
        How far points may be off the arc that passes them by, mm.

    Notes
    -----
    Each arc begins and ends on a point; it goes as far as the points in between allow.
    """
    u = np.diff(points, axis=0)
    turns = np.zeros(len(points))  # at the point itself; none at the two ends
    v, u = u[1:], u[:-1]
    turns[1:-1] = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1))
    pieces: list[Piece] = []
    at = 0
    while at < len(points) - 1:
        last, center = _longest(points, turns, at, tolerance)
        start, end = _point(points[at]), _point(points[last])
        if center is None:
            pieces.append(Piece(start, end))
        else:
            pieces.append(arc_piece(start, end, center, bool(turns[at + 1] > 0)))
        at = last
    return pieces


def _point(row: Floats) -> Point:
    return float(row[0]), float(row[1])


def _turns(corners: Floats) -> Floats:
    """Return by how much the outline turns at each corner, radians."""
    u = corners - np.roll(corners, 1, axis=0)
    v = np.roll(corners, -1, axis=0) - corners
    turns: Floats = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1))
    return turns


def _circle(corners: Floats, tolerance: float) -> Piece | None:
    """Return the full circle on which all corners lie, begun at its +X side."""
    turns = _turns(corners)
    if np.abs(turns).max() >= FACET or not (np.sign(turns) == np.sign(turns[0])).all():
        return None
    middle = corners.mean(axis=0)
    local = corners - middle
    rows = np.column_stack([2 * local, np.ones(len(local))])
    (x, y, rest), *_ = np.linalg.lstsq(rows, (local**2).sum(axis=1), rcond=None)
    radius = math.sqrt(max(0.0, rest + x * x + y * y))
    off = np.abs(np.hypot(local[:, 0] - x, local[:, 1] - y) - radius)
    if off.max() > tolerance or not _near_facets(corners, radius):
        return None
    center = _point(middle + np.array([x, y]))
    start = (center[0] + radius, center[1])
    return Piece(start, start, center, math.copysign(2 * math.pi, float(turns[0])))


def _near_facets(points: Floats, radius: float) -> bool:
    """Return whether each facet is seen from the centre under a small angle."""
    span = np.hypot(*np.diff(points, axis=0).T)
    return bool(span.max() < 2 * radius * math.sin(FACET / 2))


def _longest(
    points: Floats, turns: Floats, first: int, tolerance: float
) -> tuple[int, Point | None]:
    """Return where the longest arc from a point ends, and its centre; None: a line to the next."""
    last, center, turned = first + 1, None, 0.0
    sign = np.sign(turns[first + 1])
    for end in range(first + 2, len(points)):
        turn = float(turns[end - 1])
        turned += abs(turn)
        if np.sign(turn) != sign or abs(turn) >= FACET or turned > ROUND:
            break
        if end - first < LEAST_FACETS:
            continue
        found = _center(points[first : end + 1], tolerance)
        if found is None:
            break
        last, center = end, found
    return last, center


def _center(points: Floats, tolerance: float) -> Point | None:
    """Return the centre of the arc through the first and last of points on which the rest lie."""
    a, b = points[0], points[-1]
    chord = math.dist(a, b)
    if chord <= tolerance:
        return None
    along = (b - a) / chord
    middle, half = (a + b) / 2, chord / 2
    local = points[1:-1] - middle
    u = local @ along
    v = local @ np.array([-along[1], along[0]])
    square = float((v * v).sum())
    if square == 0:
        return None
    height = float((v * (u * u + v * v - half * half)).sum()) / (2 * square)
    radius = math.hypot(half, height)
    if np.abs(np.hypot(u, v - height) - radius).max() > tolerance:
        return None
    if not _near_facets(points, radius):
        return None
    return _point(middle + height * np.array([-along[1], along[0]]))
