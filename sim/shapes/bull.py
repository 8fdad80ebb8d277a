"""Bull nose: a flat end mill with corner radius RE, from 0 to half its diameter."""

from __future__ import annotations

from .base import Entry, Shape, round_tip

__all__ = ["SHAPES"]


def _check(entry: Entry) -> None:
    if entry["corner_radius"] > entry["diameter"] / 2:
        text = (
            f"{entry.said('corner_radius')} is over half of {entry.said('diameter')}; "
            f"up to {entry.length(entry['diameter'] / 2)} is allowed"
        )
        entry.wrong("corner_radius", text)


SHAPES = (
    Shape(
        "bull",
        "a bull",
        lambda tool: round_tip(tool, tool.corner_radius),
        needs={"corner_radius": "its corner radius; give RE or corner_radius"},
        only={"edge_angle": (90.0, "only 90 fits")},
        check=_check,
        end=lambda entry: min(entry["corner_radius"], entry["diameter"] / 2),
        sized=lambda entry: f", RE {entry.length(entry['corner_radius'])}",
    ),
)
