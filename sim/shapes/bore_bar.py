"""Bore bar: what its edge sweeps, a cylinder of the bore's diameter, flat or with a point."""

from __future__ import annotations

from .base import Shape
from .drill import point_height, pointed

__all__ = ["SHAPES"]

SHAPES = (
    Shape(
        "bore-bar",
        "a bore bar",
        pointed,
        allows=("point_angle",),
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"edge_angle": "the angle of its end is SIG"},
        end=lambda entry: point_height(entry["diameter"], entry.get("point_angle", 180.0)),
    ),
)
