"""Drafting on a sheet: dimension lines, leaders and angles, at right angles as on a drawing."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any, Final

from .pictures_color import INK
from .pictures_sheet import Sheet

__all__ = ["Drafting", "View", "spread"]

THIN: Final = 1.2
HEAD: Final = 15.0
"""Length of an arrow's head, px."""
TEXT: Final = 17.0
GREY: Final = "#555555"


@dataclasses.dataclass(frozen=True)
class View:
    """Where a tool stands on the sheet: pixels of its axis and tip, pixels per mm."""

    axis_x: float
    tip_y: float
    scale: float

    def x(self, r: float) -> float:
        """Return the pixel of a radius; negative: left of the axis."""
        return self.axis_x + r * self.scale

    def y(self, z: float) -> float:
        """Return the pixel of a height over the tip."""
        return self.tip_y - z * self.scale


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places as near to those wanted as keeps them `gap` apart, in order, in low..high."""
    found: list[float] = []
    for place in wanted:
        found.append(max(place, low, found[-1] + gap if found else low))
    limit = high
    for k in range(len(found) - 1, -1, -1):
        found[k] = min(found[k], limit)
        limit = found[k] - gap
    return found


class Drafting:
    """Draws dimensions on a sheet, everything in pixels, y down.

    Parameters
    ----------
    sheet : Sheet
    """

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet

    def line(self, *places: tuple[float, float], width: float = THIN, **more: Any) -> None:
        """Draw a thin line through places."""
        more.setdefault("color", GREY)
        xs, ys = zip(*places, strict=True)
        self.sheet.line(xs, ys, width, **more)

    def text(self, x: float, y: float, text: str, *, turn: float = 0.0, **more: Any) -> None:
        """Write a number on a dimension line, on white."""
        more = {"ha": "center", "va": "center", "weight": "normal"} | more
        self.sheet.axes.text(
            x, y, text, fontsize=TEXT, family="DejaVu Sans", color=INK, rotation=turn, zorder=12,
            parse_math=False, rotation_mode="anchor",
            bbox={"boxstyle": "square,pad=0.12", "fc": "white", "ec": "none"}, **more,
        )  # fmt: skip

    def width(self, text: str) -> float:
        """Return how wide a dimension's text is, px."""
        return self.sheet.width(text, TEXT)

    def arrow(self, start: tuple[float, float], end: tuple[float, float], style: str) -> None:
        """Draw an arrow; `style` is matplotlib's: one head, or two."""
        self.sheet.axes.annotate(
            "", end, start, zorder=11, annotation_clip=False,
            arrowprops={"arrowstyle": f"{style},head_width=0.18,head_length=0.55", "lw": THIN,
                        "color": INK, "shrinkA": 0, "shrinkB": 0, "mutation_scale": HEAD * 1.5},
        )  # fmt: skip

    def _span(self, a: tuple[float, float], b: tuple[float, float]) -> None:
        """Draw a dimension line between two places, arrows outside where it is short."""
        length = math.dist(a, b)
        if length > 3.2 * HEAD:
            self.arrow(a, b, "<|-|>")
            return
        ux, uy = ((b[0] - a[0]) / (length or 1.0), (b[1] - a[1]) / (length or 1.0))
        out = 2.0 * HEAD
        self.arrow((a[0] - ux * out, a[1] - uy * out), a, "-|>")
        self.arrow((b[0] + ux * out, b[1] + uy * out), b, "-|>")
        self.line(a, b, color=INK)

    def upright(self, x: float, feet: Sequence[tuple[float, float]], text: str) -> None:
        """Dimension a height at `x`; `feet` are the lower and the upper place on the outline."""
        (x_low, y_low), (x_high, y_high) = feet
        self.line((x_low + 5, y_low), (x + 7, y_low))
        self.line((x_high + 5, y_high), (x + 7, y_high))
        self._span((x, y_low), (x, y_high))
        room = y_low - y_high - 2.4 * HEAD
        if room > self.width(text):
            self.text(x, (y_low + y_high) / 2, text, turn=90)
        else:
            top = y_high - (2.4 * HEAD if y_low - y_high <= 3.2 * HEAD else 8)
            self.text(x, top, text, turn=90, ha="left")

    def across(self, y: float, feet: Sequence[tuple[float, float]], text: str) -> None:
        """Dimension a width at `y`; `feet` are the left and the right place on the outline."""
        (x_left, y_left), (x_right, y_right) = feet
        for x, foot in ((x_left, y_left), (x_right, y_right)):
            away = math.copysign(1.0, y - foot)
            self.line((x, foot + 5 * away), (x, y + 7 * away))
        self._span((x_left, y), (x_right, y))
        if x_right - x_left - 2.4 * HEAD > self.width(text):
            self.text((x_left + x_right) / 2, y, text)
        else:
            out = 2.4 * HEAD if x_right - x_left <= 3.2 * HEAD else 8
            self.text(x_right + out, y, text, ha="left")

    def leader(
        self, at: tuple[float, float], to: tuple[float, float], text: str, *, left: bool = False
    ) -> None:
        """Point at a place from a text."""
        self.arrow(to, at, "-|>")
        end = to[0] + (-22 if left else 22)
        self.line(to, (end, to[1]), color=INK)
        self.text(end + (-4 if left else 4), to[1], text, ha="right" if left else "left")

    def angle(
        self, at: tuple[float, float], radius: float, turn: tuple[float, float], text: str
    ) -> None:
        """Dimension an angle about a place between two directions, degrees, from +x towards up."""
        steps = [turn[0] + (turn[1] - turn[0]) * k / 24 for k in range(25)]
        places = [
            (at[0] + radius * math.cos(math.radians(t)), at[1] - radius * math.sin(math.radians(t)))
            for t in steps
        ]
        self.line(*places, color=INK)
        if radius * math.radians(abs(turn[1] - turn[0])) > 3.2 * HEAD:
            self.arrow(places[3], places[0], "-|>")
            self.arrow(places[-4], places[-1], "-|>")
        for t in turn:
            far = radius + 14
            self.line(at, (at[0] + far * math.cos(math.radians(t)),
                           at[1] - far * math.sin(math.radians(t))))  # fmt: skip
        middle = math.radians(sum(turn) / 2)
        x, y = at[0] + (radius + 10) * math.cos(middle), at[1] - (radius + 10) * math.sin(middle)
        self.text(x, y, text, ha="left" if math.cos(middle) > 0 else "right")
