"""T-slot cutter: a disc on a thinner neck; it cuts with both faces and may have round corners."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .base import Entry, Shape, arc, line

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]


def _pieces(tool: Tool) -> list[Piece]:
    R, radius = tool.diameter / 2, tool.corner_radius
    top = 2 * radius if tool.cutting_length is None else tool.cutting_length
    middle = top - radius
    return [
        *arc("corner", 0.0, radius, R - radius, radius, radius),
        *line("side", radius, R, middle, R),
        *arc("top", middle, top, R - radius, middle, radius),
    ]


def _check(entry: Entry) -> None:
    radius = entry.get("corner_radius", 0.0)
    for name in ("cutting_length", "diameter"):
        if 2 * radius > entry[name] + 1e-9:
            text = (
                f"{entry.said('corner_radius')} is over half of {entry.said(name)}; "
                f"up to {entry.length(entry[name] / 2)} is allowed"
            )
            entry.wrong("corner_radius", text)
    if entry["neck_diameter"] == entry["diameter"]:
        text = f"{entry.said('neck_diameter')} is not below {entry.said('diameter')}"
        entry.wrong("neck_diameter", text)


def _sized(entry: Entry) -> str:
    return f" by {entry.length(entry['cutting_length'])}"


SHAPES = (
    Shape(
        "t-slot",
        "a t-slot cutter",
        _pieces,
        needs={
            "cutting_length": "the thickness of its disc; give APMX or flute_length",
            "neck_diameter": "the diameter of its neck; give DN or neck_diameter",
        },
        allows=("corner_radius",),
        only={"edge_angle": (90.0, "only 90 fits")},
        check=_check,
        sized=_sized,
        undercuts=True,
    ),
)
