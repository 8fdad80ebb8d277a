"""The finished saddle clamp as a closed mesh, cut out of solids exactly.

Needs manifold3d. Round walls are flat facets whose corners lie on the true surface; the widest
gap between the two, at the part's outer corners, is 0.24 thou.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
import saddle_design as d
from numpy.typing import NDArray
from plan_paths import Path, Point, inside_rectangle, inside_slot, outside_rectangle, round_front

QUARTER = 20
"""Facets in a quarter of a round wall."""
FOOT = 8
"""Facets in the fillet at the boss's foot."""
BOSS_ROOT = -0.3
"""z down to which the boss is sunk into the body, so that no two of their faces lie together."""
HEAD = 1.0
"""z up to which the tools' bodies reach."""


def _outline(way: Path) -> list[Point]:
    """Return the corners of a way, its arcs divided."""
    points = [way.start]
    for step in way.steps:
        if step.center is not None:
            points += _arc_points(points[-1], step.to, step.center, step.clockwise)
        points.append(step.to)
    if math.dist(points[0], points[-1]) < 1e-9:
        points.pop()
    return points


def _arc_points(start: Point, end: Point, center: Point, clockwise: bool) -> list[Point]:
    (cx, cy), radius = center, math.dist(start, center)
    first = math.atan2(start[1] - cy, start[0] - cx)
    turn = (math.atan2(end[1] - cy, end[0] - cx) - first) % math.tau
    if clockwise:
        turn -= math.tau
    count = round(abs(turn) / (math.pi / 2 / QUARTER))
    angles = (first + turn * i / count for i in range(1, count))
    return [(cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in angles]


def _prism(points: Sequence[Point], low: float, high: float) -> Any:
    from manifold3d import CrossSection, FillRule, Manifold

    section = CrossSection([np.array(points, dtype=np.float64)], FillRule.NonZero)
    return Manifold.extrude(section, high - low).translate((0.0, 0.0, low))


def _loft(*rings: tuple[float, float]) -> Any:
    """Return the hull of the boss's outline at (z, offset) and so on."""
    from manifold3d import Manifold

    corners = []
    for z, offset in rings:
        way = round_front(d.BOSS_HALF_X, d.BOSS_FRONT_Y, d.BOSS_RADIUS, offset, 0.75)
        corners += [(x, y, z) for x, y in _outline(way)]
    return Manifold.hull_points(np.array(corners, dtype=np.float64))


def _boss() -> Any:
    """Return the boss with chamfer, foot and cove, down into the body."""
    boss = _loft((BOSS_ROOT, 0.0), (-d.CHAMFER, 0.0), (0.0, -d.CHAMFER))
    lower = (BOSS_ROOT, d.BOSS_FOOT)
    for index in range(FOOT + 1):
        angle = math.pi / 2 * index / FOOT
        rise = d.BOSS_FOOT * (1 - math.cos(angle))
        upper = (d.SHOULDER + rise, d.BOSS_FOOT * (1 - math.sin(angle)))
        boss += _loft(lower, upper)
        lower = upper
    return boss - _cove()


def _cove() -> Any:
    """Return what the cove takes away; behind its foot it reaches down into the body."""
    top = math.acos(d.COVE_CENTER_Z / d.COVE_RADIUS)
    foot, count = d.COVE_FOOT_Y, 2 * QUARTER
    section = [(foot, d.SHOULDER), (foot, BOSS_ROOT - 0.1), (1.0, BOSS_ROOT - 0.1), (1.0, HEAD)]
    section.append((foot - d.COVE_RADIUS * math.sin(top), HEAD))
    for index in range(count, 0, -1):
        angle = top * index / count
        y = foot - d.COVE_RADIUS * math.sin(angle)
        section.append((y, d.COVE_CENTER_Z - d.COVE_RADIUS * math.cos(angle)))
    # The section lies in (y, z): turned so that it is extruded along x.
    bar = _prism(section, -2.0, 2.0)
    return bar.transform(np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]], dtype=np.float64))


def _hole(x: float, y: float) -> Any:
    """Return a hole and its spot."""
    from manifold3d import Manifold

    radius, turns = d.TOOLS[9].radius, 2 * QUARTER
    drill = Manifold.cylinder(2.0, radius, radius, turns).translate((x, y, -1.5))
    spot = d.TOOLS[8].radius
    cone = Manifold.cylinder(spot, 0.0, spot, turns).translate((x, y, d.SPOT_TIP))
    return drill + cone


def _box(low: Sequence[float], high: Sequence[float]) -> Any:
    (x0, y0, z0), (x1, y1, z1) = low, high
    return _prism([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], z0, z1)


def solid() -> Any:
    """Return the part as a manifold3d solid, inches."""
    outline = _outline(outside_rectangle(d.PROFILE_HALF, d.PROFILE_RADIUS, 0.0, (0.0, -1.0)))
    part = _prism(outline[::-1], d.PART_BOTTOM, d.SHOULDER) + _boss()
    slot = _outline(inside_slot(d.SLOT_ENDS, d.SLOT_Y, d.SLOT_HALF, 0.0))
    window = _outline(inside_rectangle(d.WINDOW_CENTER, d.WINDOW_HALF, d.WINDOW_RADIUS, 0.0))
    part -= _prism(slot, d.SLOT_FLOOR, HEAD)
    part -= _prism(window, d.PART_BOTTOM - HEAD, HEAD)
    front, back = d.RELIEF_Y
    gap = d.GAP_HALF_X
    part -= _box((-2.0, front, d.RELIEF_FLOOR), (2.0, back, HEAD))
    part -= _box((-gap, -2.0, d.RELIEF_FLOOR), (gap, front + 0.1, HEAD))
    for x, y in d.HOLES:
        part -= _hole(x, y)
    return part


def triangles() -> NDArray[np.float32]:
    """Return the part's facets, shape (n, 3, 3), inches, in an order of their own."""
    mesh = solid().to_mesh64()
    # Where the cove runs out tangent, the boolean leaves corners 1e-16 apart: they become one.
    corners = np.asarray(mesh.vert_properties)[:, :3].round(6).astype(np.float32) + np.float32(0)
    turned = []
    for facet in corners[np.asarray(mesh.tri_verts)].tolist():
        first = facet.index(min(facet))
        if facet[0] != facet[1] != facet[2] != facet[0]:
            turned.append(facet[first:] + facet[:first])
    return np.array(sorted(turned), dtype=np.float32)


def stl() -> bytes:
    """Return the part as a binary STL file, inches."""
    facets = triangles()
    normals = np.cross(
        (facets[:, 1] - facets[:, 0]).astype(np.float64),
        (facets[:, 2] - facets[:, 0]).astype(np.float64),
    )
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    rows = np.zeros(len(facets), dtype=[("v", "<f4", (4, 3)), ("spare", "<u2")])
    rows["v"][:, 0] = normals + 0.0
    rows["v"][:, 1:] = facets
    head = b"saddle clamp, inch".ljust(80)
    return head + struct.pack("<I", len(facets)) + rows.tobytes()
