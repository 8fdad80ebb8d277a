"""Flat end mill: a cylinder."""

from __future__ import annotations

from .base import Shape, round_tip

__all__ = ["SHAPES"]

SHAPES = (
    Shape(
        "flat",
        "a flat",
        lambda tool: round_tip(tool, 0.0),
        only={
            "corner_radius": (0.0, 'only 0 is allowed; with a corner radius it is shape = "bull"'),
            "edge_angle": (90.0, "only 90 fits"),
        },
    ),
)
