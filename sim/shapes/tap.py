"""Tap: a cylinder of the thread's diameter, with a point or the taper of its first threads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..strict import PositiveLength
from .base import Entry, Shape, Word, cut_off, line
from .drill import point_height

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]

_LEAD = Word(
    "",
    ("chamfer_length",),
    PositiveLength,
    "length of a tap's tapered first threads, from tip_diameter up to the full diameter",
)


def _pieces(tool: Tool) -> list[Piece]:
    R, lead = tool.diameter / 2, tool.size("chamfer_length", 0.0)
    r = tool.tip_diameter / 2 if lead else R
    point = point_height(2 * r, tool.point_angle)
    tip = line("bottom", 0.0, 0.0, point, r)
    return cut_off(tip + line("bottom", point if tip else 0.0, r, point + lead, R), tool, R)


def _end(entry: Entry) -> float:
    lead = entry.get("chamfer_length", 0.0)
    width = entry.get("tip_diameter", 0.0) if lead else entry["diameter"]
    return point_height(width, entry.get("point_angle", 180.0)) + lead


def _check(entry: Entry) -> None:
    for name, other in (("chamfer_length", "tip_diameter"), ("tip_diameter", "chamfer_length")):
        if name in entry and other not in entry:
            entry.wrong(name, f"{entry.said(name)} needs {other} too, or leave both out")
    if "tip_diameter" in entry and entry["tip_diameter"] >= entry["diameter"]:
        text = f"{entry.said('tip_diameter')} is not below {entry.said('diameter')}"
        entry.wrong("tip_diameter", text)


SHAPES = (
    Shape(
        "tap",
        "a tap",
        _pieces,
        allows=("point_angle", "tip_diameter"),
        only={"corner_radius": (0.0, "only 0 is allowed")},
        refuses={"edge_angle": "the angle of its point is SIG; its taper is chamfer_length"},
        words={"chamfer_length": _LEAD},
        check=_check,
        end=_end,
    ),
)
