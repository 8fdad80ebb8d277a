"""Twist drill: a point of the included angle SIG under a cylinder; 180 is a flat end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .base import Shape, cut_off, line

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES", "point_height", "pointed"]


def point_height(diameter: float, point_angle: float) -> float:
    """Return the height of a point, mm; 0 for a flat end (180 degrees, or no angle at all)."""
    flat = point_angle in (0.0, 180.0)
    return 0.0 if flat else diameter / 2 / math.tan(math.radians(point_angle / 2))


def pointed(tool: Tool) -> list[Piece]:
    """Return the pieces of a cylinder with a point, or with a flat end."""
    R = tool.diameter / 2
    return cut_off(line("bottom", 0.0, 0.0, point_height(2 * R, tool.point_angle), R), tool, R)


SHAPES = (
    Shape(
        "drill",
        "a drill",
        pointed,
        needs={"point_angle": "its point angle in degrees; give SIG or point_angle, such as 118"},
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"edge_angle": "its point angle is SIG"},
        end=lambda entry: point_height(entry["diameter"], entry["point_angle"]),
    ),
)
