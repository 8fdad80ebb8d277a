"""Keys of the shapes in a pass list; what they mean stands in the docstring of `proud.passes`.

The keys of the operations that use them are in `operations`.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from ..strict import Length, NonNegativeLength, Point2, PositiveLength, Strict
from ..units import CHORD_MM, Unit

__all__ = [
    "JOIN_MM",
    "SHAPES",
    "Circle",
    "Drawing",
    "Outline",
    "Rectangle",
    "Section",
    "Shape",
    "Slot",
    "Step",
]

SHAPES: Final = ("points", "circle", "rectangle", "slot", "section", "dxf")
"""Keys of which a contour, a boundary or an island has exactly one."""
JOIN_MM: Final = 1e-3
"""Ends of a drawing's entities this near are joined unless said; common practice, no source."""


class Step(Strict):
    """One step of a contour: a line or an arc to a point, or a line whose end is rounded off."""

    to: Point2 = Field(description="[x, y], where the step ends")
    center: Point2 | None = Field(default=None, description="[x, y], center of an arc")
    radius: PositiveLength | None = Field(
        default=None, description="radius of an arc, in place of center"
    )
    turn: Literal["ccw", "cw"] | None = Field(
        default=None, description="way round an arc, seen from above"
    )
    long: bool = Field(
        default=False, description="of the two arcs of that radius the one over 180 degrees"
    )
    round: PositiveLength | None = Field(
        default=None, description="radius that rounds off the corner at the end, between two lines"
    )


class Circle(Strict):
    """A full circle; it starts at its +X side."""

    center: Point2
    diameter: PositiveLength


class Rectangle(Strict):
    """A rectangle along X and Y; it starts in the middle of its -Y side."""

    low: Point2
    high: Point2
    corner_radius: NonNegativeLength = 0.0


class Slot(Strict):
    """A slot with round ends; it starts in the middle of the side on the right of from -> to."""

    from_: Point2 = Field(alias="from", description="[x, y], center of the first round end")
    to: Point2 = Field(description="[x, y], center of the other round end")
    width: PositiveLength


class Outline(Strict):
    """Which of several outlines is meant; at most one of near and inside."""

    near: Point2 | None = Field(default=None, description="[x, y]; the outline nearest to there")
    inside: Point2 | None = Field(
        default=None, description="[x, y]; the smallest closed outline round it"
    )


class Section(Outline):
    """An outline of the part model's section at a height."""

    z: Length = Field(description="height of the section, in the part frame")
    tolerance: NonNegativeLength = Field(
        default=CHORD_MM,
        description="arcs are fitted where the model's corners lie this near to them; 0: no arcs",
    )


class Drawing(Outline):
    """A contour out of a DXF drawing."""

    file: str = Field(description="the drawing, relative to the pass list")
    layer: str | None = Field(default=None, description="its layer; not needed if there is one")
    unit: Unit | None = Field(
        default=None, description="in or mm, where the drawing does not say its unit"
    )
    open: bool = Field(default=False, description="true: a contour with two ends is meant")
    tolerance: PositiveLength = Field(
        default=CHORD_MM, description="how far arcs and lines may be off splines and ellipses"
    )
    gap: NonNegativeLength = Field(default=JOIN_MM, description="ends this near are joined")


class Shape(Strict):
    """Exactly one of points, circle, rectangle, slot, section and dxf."""

    points: Annotated[list[Point2 | Step], Field(min_length=2)] | None = None
    circle: Circle | None = None
    rectangle: Rectangle | None = None
    slot: Slot | None = None
    section: Section | None = None
    dxf: Drawing | None = None
