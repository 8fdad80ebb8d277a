"""Corner-rounding tool: a flat tip, a quarter of a cove above it, then straight up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .base import Entry, Shape, arc, cut_off

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]


def _pieces(tool: Tool) -> list[Piece]:
    radius = tool.corner_radius
    cove = arc("corner", 0.0, radius, tool.tip_diameter / 2 + radius, 0.0, radius, cove=True)
    return cut_off(cove, tool, tool.diameter / 2)


def _check(entry: Entry) -> None:
    radius = entry["corner_radius"]
    if radius == 0:
        entry.wrong("corner_radius", f"{entry.said('corner_radius')}: its cove needs a radius")
    least = entry["tip_diameter"] + 2 * radius
    if entry["diameter"] < least - 1e-9:
        text = (
            f"{entry.said('diameter')} is below {entry.said('tip_diameter')} and twice "
            f"{entry.said('corner_radius')}; at least {entry.length(least)} is needed"
        )
        entry.wrong("diameter", text)


SHAPES = (
    Shape(
        "corner-rounding",
        "a corner-rounding tool",
        _pieces,
        needs={
            "corner_radius": "the radius it rounds to; give RE or corner_radius",
            "tip_diameter": "the diameter of its tip, below the cove; give tip_diameter",
        },
        only={"edge_angle": (90.0, "only 90 fits")},
        check=_check,
        end=lambda entry: entry["corner_radius"],
        sized=lambda entry: f", RE {entry.length(entry['corner_radius'])}",
    ),
)
