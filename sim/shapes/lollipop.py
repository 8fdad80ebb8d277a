"""Lollipop cutter: a ball on a thinner neck."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .base import LEAST, Entry, Shape, arc

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]


def _meeting(diameter: float, neck: float) -> float:
    """Return the height over the tip at which the neck leaves the ball, mm."""
    R, r = diameter / 2, neck / 2
    return R + math.sqrt(max(0.0, (R - r) * (R + r)))


def _pieces(tool: Tool) -> list[Piece]:
    R = tool.diameter / 2
    end = _meeting(tool.diameter, tool.neck_diameter or 0.0)
    top = end if tool.cutting_length is None else tool.cutting_length
    middle = min(R, top)
    found = arc("corner", 0.0, middle, 0.0, R, R) + arc("top", middle, top, 0.0, R, R)
    # Edges that end lower leave the rest of the ball bare; it belongs to the neck.
    return found + (arc("neck", top, end, 0.0, R, R) if end - top > LEAST else [])


def _derive(entry: Entry) -> None:
    """Find where the ball meets its neck, and so how far it cuts, where APMX is not given."""
    if all(name in entry for name in ("diameter", "neck_diameter")) and (
        "cutting_length" not in entry
    ):
        end = _meeting(entry["diameter"], entry["neck_diameter"])
        entry.derive("cutting_length", end, "the top of its ball")


def _check(entry: Entry) -> None:
    if entry["neck_diameter"] == entry["diameter"]:
        text = f"{entry.said('neck_diameter')} is not below {entry.said('diameter')}"
        entry.wrong("neck_diameter", text)
    end = _meeting(entry["diameter"], entry["neck_diameter"])
    if entry["cutting_length"] > end + LEAST:
        text = (
            f"{entry.said('cutting_length')} is over {entry.length(end)}, where the ball meets "
            "its neck; leave it out, or give how far its edges go"
        )
        entry.wrong("cutting_length", text)
    half = entry["diameter"] / 2
    if "corner_radius" in entry and not math.isclose(entry["corner_radius"], half, abs_tol=1e-9):
        text = (
            f"{entry.said('corner_radius')} on a ball of {entry.said('diameter')}; its radius is "
            f"half the diameter, {entry.length(half, 6)}: leave it out"
        )
        entry.wrong("corner_radius", text)


SHAPES = (
    Shape(
        "lollipop",
        "a lollipop",
        _pieces,
        needs={"neck_diameter": "the diameter of its neck; give DN or neck_diameter"},
        allows=("corner_radius",),
        only={"edge_angle": (90.0, "only 90 fits")},
        derive=_derive,
        check=_check,
    ),
)
