"""Ball nose: half a ball under a cylinder."""

from __future__ import annotations

import math

from .base import Entry, Shape, round_tip

__all__ = ["SHAPES"]


def _derive(entry: Entry) -> None:
    """Check and set RE, half the diameter."""
    if "diameter" not in entry:
        return
    radius = entry["diameter"] / 2
    given = entry.get("corner_radius", radius)
    if not math.isclose(given, radius, rel_tol=0, abs_tol=1e-9):
        text = (
            f"{entry.said('corner_radius')} on a ball of {entry.said('diameter')}; its radius is "
            f"half the diameter, {entry.length(radius, 6)}: leave it out, or use "
            'shape = "bull"'
        )
        entry.wrong("corner_radius", text)
    entry.derive("corner_radius", radius, "RE")


SHAPES = (
    Shape(
        "ball",
        "a ball",
        lambda tool: round_tip(tool, tool.diameter / 2),
        allows=("corner_radius",),
        only={"edge_angle": (90.0, "only 90 fits")},
        derive=_derive,
        end=lambda entry: entry["diameter"] / 2,
    ),
)
