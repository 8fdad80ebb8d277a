"""Bore bar: what its edge sweeps, a cylinder of the bore's diameter, flat or with a point."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .base import Shape, cut_off, line
from .drill import point_height

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]


def _pieces(tool: Tool) -> list[Piece]:
    R = tool.diameter / 2
    return cut_off(line("bottom", 0.0, 0.0, point_height(2 * R, tool.point_angle), R), tool, R)


SHAPES = (
    Shape(
        "bore-bar",
        "a bore bar",
        _pieces,
        allows=("point_angle",),
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"edge_angle": "the angle of its end is SIG"},
        end=lambda entry: point_height(entry["diameter"], entry.get("point_angle", 180.0)),
    ),
)
