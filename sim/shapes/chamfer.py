"""Chamfer tool and spot drill: a cone, pointed or with a flat end, under a cylinder."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .base import Entry, Shape, cut_off, line

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]


def _cone(tool: Tool, label: str, slope: float) -> list[Piece]:
    """Return the cone and what is above it; `slope` is its rise over run."""
    R, tip = tool.diameter / 2, tool.tip_diameter / 2
    return cut_off(line(label, 0.0, tip, (R - tip) * slope, R), tool, R)


def _chamfer(tool: Tool) -> list[Piece]:
    return _cone(tool, "side", math.tan(math.radians(tool.edge_angle)))


def _spot_drill(tool: Tool) -> list[Piece]:
    return _cone(tool, "bottom", 1 / math.tan(math.radians(tool.point_angle / 2)))


def _check_tip(entry: Entry) -> None:
    if "tip_diameter" in entry and entry["tip_diameter"] >= entry["diameter"]:
        text = f"{entry.said('tip_diameter')} is not below {entry.said('diameter')}"
        entry.wrong("tip_diameter", text)


def _check_chamfer(entry: Entry) -> None:
    if entry["edge_angle"] >= 90:
        text = f"{entry.said('edge_angle')} on a chamfer tool; above 0 and below 90 is allowed"
        entry.wrong("edge_angle", text)
    _check_tip(entry)


def _spot_drill_end(entry: Entry) -> float:
    tip = entry.get("tip_diameter", 0.0)
    run = (entry["diameter"] - tip) / 2
    return run / math.tan(math.radians(entry["point_angle"] / 2))


SHAPES = (
    Shape(
        "chamfer",
        "a chamfer tool",
        _chamfer,
        needs={
            "edge_angle": "its edge angle; give KAPR or edge_angle, 45 for 90 included",
            "tip_diameter": "the diameter of its tip; give tip_diameter, 0 for a point",
        },
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"point_angle": "its angle is KAPR, 45 for 90 included"},
        check=_check_chamfer,
    ),
    Shape(
        "spot-drill",
        "a spot drill",
        _spot_drill,
        needs={"point_angle": "its point angle in degrees; give SIG or point_angle, such as 90"},
        allows=("tip_diameter",),
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"edge_angle": "its point angle is SIG"},
        check=_check_tip,
        end=_spot_drill_end,
    ),
)
