"""Tapered ball nose: a ball tangent to a cone, up to the largest diameter."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from .base import Entry, Shape, Word, arc, cut_off, line

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]

_ANGLE = Word(
    "",
    ("taper_angle",),
    Annotated[float, Field(gt=0, lt=90)],
    "degrees a side, from the axis to the taper; half of its included angle",
    angle=True,
)


def _tangent(radius: float, angle: float) -> tuple[float, float]:
    """Return z and r at which a ball goes over into its taper; `angle` in degrees a side."""
    a = math.radians(angle)
    return radius * (1 - math.sin(a)), radius * math.cos(a)


def _pieces(tool: Tool) -> list[Piece]:
    radius, angle, R = tool.corner_radius, tool.size("taper_angle"), tool.diameter / 2
    z, r = _tangent(radius, angle)
    tip = arc("corner", 0.0, z, 0.0, radius, radius)
    tip += line("side", z, r, z + (R - r) / math.tan(math.radians(angle)), R)
    return cut_off(tip, tool, R)


def _derive(entry: Entry) -> None:
    """Find the largest diameter, at the top of the cutting part, where DC is not given."""
    wanted = ("corner_radius", "taper_angle", "cutting_length")
    if "diameter" in entry or not all(name in entry for name in wanted):
        return
    z, r = _tangent(entry["corner_radius"], entry["taper_angle"])
    if entry["cutting_length"] < z:
        text = f"{entry.said('cutting_length')} ends in the ball, which goes up to"
        entry.wrong("cutting_length", f"{text} {entry.length(z)}; give a longer one")
        return
    top = r + (entry["cutting_length"] - z) * math.tan(math.radians(entry["taper_angle"]))
    entry.derive("diameter", 2 * top, "the diameter at its top")


def _check(entry: Entry) -> None:
    if entry["corner_radius"] == 0:
        entry.wrong("corner_radius", f"{entry.said('corner_radius')}: its ball needs a radius")
    least = 2 * _tangent(entry["corner_radius"], entry["taper_angle"])[1]
    if entry["diameter"] < least:
        text = (
            f"{entry.said('diameter')} is below the {entry.length(least)} of the ball where its "
            "taper begins; DC is the largest diameter, RE the ball's radius"
        )
        entry.wrong("diameter", text)


def _end(entry: Entry) -> float:
    z, r = _tangent(entry["corner_radius"], entry["taper_angle"])
    return z + (entry["diameter"] / 2 - r) / math.tan(math.radians(entry["taper_angle"]))


SHAPES = (
    Shape(
        "taper-ball",
        "a taper-ball",
        _pieces,
        needs={
            "corner_radius": "the radius of its ball; give RE or corner_radius",
            "taper_angle": "its taper in degrees a side; give taper_angle, such as 3",
        },
        refuses={"edge_angle": "its taper is taper_angle, degrees a side"},
        words={"taper_angle": _ANGLE},
        derive=_derive,
        check=_check,
        end=_end,
        sized=lambda e: f", RE {e.length(e['corner_radius'])}, {e['taper_angle']:g}° a side",
    ),
)
