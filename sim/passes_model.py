"""Keys of a pass list; what they mean stands in the docstring of `proud.passes`.

Words follow ISO 14649-10 and -11 where they have one: allowance_side, allowance_bottom,
axial_cutting_depth, radial_cutting_depth, approach, retract, retract_plane, cutmode, and the
strategies bidirectional, unidirectional and contour_parallel.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from .strict import Length, NonNegativeLength, Point2, Point3, PositiveLength, Strict

__all__ = [
    "SHAPES",
    "ArcLead",
    "Circle",
    "ContourPass",
    "DrillPass",
    "FacePass",
    "Helix",
    "Lead",
    "PassBase",
    "PassList",
    "PathPass",
    "Plunge",
    "PocketPass",
    "Ramp",
    "Rectangle",
    "Shape",
    "Slot",
    "Step",
    "StraightLead",
]

SHAPES: Final = ("points", "circle", "rectangle", "slot")
"""Keys of which a contour, a boundary or an island has exactly one."""


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


class Shape(Strict):
    """Exactly one of points, circle, rectangle and slot."""

    points: Annotated[list[Point2 | Step], Field(min_length=2)] | None = None
    circle: Circle | None = None
    rectangle: Rectangle | None = None
    slot: Slot | None = None


Angle = Annotated[float, Field(ge=0, le=180)]
RampAngle = Annotated[float, Field(gt=0, le=45)]


class Plunge(Strict):
    """Straight down along Z at the start, or straight up at the end."""

    kind: Literal["plunge"]


class StraightLead(Strict):
    """A line onto the path."""

    kind: Literal["straight"]
    length: PositiveLength
    angle: Angle = 0.0  # 0 in line with the path, 90 square to it from the tool's side


class ArcLead(Strict):
    """An arc that runs tangent into the path, from the tool's side."""

    kind: Literal["arc"]
    radius: PositiveLength
    angle: Annotated[float, Field(gt=0, le=180)] = 90.0


class Ramp(Strict):
    """Down along the path itself, at `angle` degrees to the level."""

    kind: Literal["ramp"]
    angle: RampAngle = 3.0


class Helix(Strict):
    """Down a helix, at `angle` degrees to the level."""

    kind: Literal["helix"]
    angle: RampAngle = 3.0
    radius: PositiveLength | None = None  # half of the tool's, or less where there is less room


Lead = Annotated[Plunge | StraightLead | ArcLead, Field(discriminator="kind")]
Entry = Annotated[Plunge | Ramp | Helix, Field(discriminator="kind")]


class PassBase(Strict):
    """What every pass has."""

    name: Annotated[str, Field(min_length=1, max_length=120)] = Field(
        description="what the passes table calls it"
    )
    tool: Annotated[int, Field(ge=1, le=99999)] = Field(description="number of a tool of the job")
    feed: PositiveLength = Field(description="feed a minute, in the job's unit")
    plunge_feed: PositiveLength | None = Field(
        default=None, description="feed a minute on the way down"
    )
    spindle: Annotated[float, Field(ge=0, le=1e6)] = Field(
        default=0.0, description="turns a minute"
    )
    retract_plane: Length | None = Field(default=None, description="z of the rapids over the part")
    security_distance: PositiveLength | None = Field(
        default=None, description="how far above the metal a rapid down ends"
    )


class LevelPass(PassBase):
    """What every pass has that works down in levels."""

    top: Length | None = Field(
        default=None, description="z where its metal begins; the stock's top unless"
    )
    bottom: Length = Field(description="z of the finished floor, before allowance_bottom")
    allowance_bottom: Length = 0.0
    axial_cutting_depth: PositiveLength | None = None


class ContourPass(LevelPass, Shape):
    """Along a contour, on one side of it."""

    operation: Literal["contour"]
    side: Literal["left", "right", "on", "inside", "outside"] = Field(
        description="where the tool runs: left, right, on, inside or outside"
    )
    closed: bool = False
    cutmode: Literal["climb", "conventional"] | None = None
    start: Point2 | None = None
    allowance_side: Length = 0.0
    radial_cutting_depth: PositiveLength | None = None
    radial_passes: Annotated[int, Field(ge=1, le=1000)] = 1
    approach: Lead = Plunge(kind="plunge")
    retract: Lead | None = None
    overlap: NonNegativeLength = 0.0


class PocketPass(LevelPass, Shape):
    """The floor inside a closed boundary."""

    operation: Literal["pocket"]
    islands: list[Shape] = Field(default_factory=list)
    allowance_side: Length = 0.0
    radial_cutting_depth: PositiveLength = Field(description="distance between neighbouring paths")
    strategy: Literal["contour_parallel", "bidirectional"] = "contour_parallel"
    angle: Annotated[float, Field(ge=-180, le=180)] = 0.0
    cutmode: Literal["climb", "conventional"] = "climb"
    approach: Entry = Plunge(kind="plunge")


class FacePass(LevelPass):
    """A level face over a rectangle, running off its edges."""

    operation: Literal["face"]
    rectangle: Rectangle
    radial_cutting_depth: PositiveLength = Field(description="distance between neighbouring paths")
    strategy: Literal["bidirectional", "unidirectional"] = "bidirectional"
    angle: Literal[0, 90] = 0
    overlap: NonNegativeLength | None = None


class DrillPass(LevelPass):
    """Holes straight down."""

    operation: Literal["drill"]
    points: Annotated[list[Point2], Field(min_length=1)] = Field(description="[[x, y], ...]")
    dwell: Annotated[float, Field(ge=0, le=3600)] = 0.0


class PathPass(PassBase):
    """The tip along given points."""

    operation: Literal["path"]
    strokes: Annotated[list[Annotated[list[Point3], Field(min_length=2)]], Field(min_length=1)] = (
        Field(description="[[[x, y, z], [x, y, z], ...], ...], each stroke the tip's points")
    )


AnyPass = Annotated[
    ContourPass | PocketPass | FacePass | DrillPass | PathPass, Field(discriminator="operation")
]


class PassList(Strict):
    """A whole pass list."""

    format: Literal[1] = 1
    passes: Annotated[list[AnyPass], Field(min_length=1)] = Field(
        description="at least one [[passes]]"
    )
