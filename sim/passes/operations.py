"""Keys of the operations of a pass list; what they mean stands in the docstring of `proud.passes`.

Words follow ISO 14649-10 and -11 where they have one: allowance_side, allowance_bottom,
axial_cutting_depth, radial_cutting_depth, overlap as a part of the diameter, approach, retract,
retract_plane, cutmode, the strategies bidirectional, unidirectional and contour_parallel, and
bottom, side, bottom_and_side of the milling of a pocket.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from ..strict import Length, NonNegativeLength, Point2, Point3, PositiveLength, Strict
from .model import Circle, Rectangle, Shape

__all__ = [
    "AnyLead",
    "ArcLead",
    "BorePass",
    "ChamferPass",
    "ContourPass",
    "DepthPass",
    "DrillPass",
    "FacePass",
    "FilletPass",
    "Grid",
    "Helix",
    "HolePattern",
    "Holes",
    "Lead",
    "LevelStep",
    "Line",
    "PassBase",
    "PassList",
    "PathPass",
    "Plunge",
    "PocketPass",
    "Ramp",
    "RasterPass",
    "RegionStart",
    "Start",
    "StepPass",
    "Stepover",
    "StraightLead",
    "TopPass",
    "Walked",
]

Angle = Annotated[float, Field(ge=0, le=180)]
RampAngle = Annotated[float, Field(gt=0, le=45)]
Rounds = Annotated[int, Field(ge=1, le=1000)]
Springs = Annotated[int, Field(ge=0, le=100)]
Turned = Annotated[float, Field(ge=-360, le=360)]
Count = Annotated[int, Field(ge=1, le=10_000)]
Cutmode = Literal["climb", "conventional"]
Side = Literal["left", "right", "on", "inside", "outside"]


# ------------------------------------------------------------------------------ approach, retract


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
    """Down along the path itself, at `angle` degrees to the level or over `length` of the path."""

    kind: Literal["ramp"]
    angle: RampAngle | None = None
    length: PositiveLength | None = None


class Helix(Strict):
    """Down a helix, at `angle` degrees to the level."""

    kind: Literal["helix"]
    angle: RampAngle = 3.0
    radius: PositiveLength | None = None  # half of the tool's, or less where there is less room


Lead = Annotated[Plunge | StraightLead | ArcLead | Ramp, Field(discriminator="kind")]
AnyLead = Annotated[Plunge | StraightLead | ArcLead | Ramp | Helix, Field(discriminator="kind")]
Entry = Annotated[Plunge | Ramp, Field(discriminator="kind")]


class RegionStart(Strict):
    """A rectangle or a circle in which a closed contour is to begin."""

    rectangle: Rectangle | None = None
    circle: Circle | None = None


class Start(Strict):
    """Where a closed contour begins, in words; exactly one of them."""

    corner_nearest: Point2 | None = Field(
        default=None, description="[x, y]; the contour's corner nearest to there"
    )
    inside: RegionStart | None = Field(
        default=None, description="the middle of the longest stretch inside a region"
    )


# ----------------------------------------------------------------------------- what passes share


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


class TopPass(PassBase):
    """What every pass has that goes down into metal from a top of its own."""

    top: Length | None = Field(
        default=None, description="z where its metal begins; the stock's top unless said"
    )


class DepthPass(TopPass):
    """What every pass has that goes down to a floor."""

    bottom: Length = Field(description="z of the finished floor, before allowance_bottom")
    allowance_bottom: Length = 0.0


class LevelPass(DepthPass):
    """What every pass has that works down in levels."""

    axial_cutting_depth: PositiveLength | None = None


class LevelStep(Strict):
    """One step of the way down: how deep, and what is left on the wall down to there."""

    bottom: Length = Field(description="z down to which this step goes")
    allowance_side: Length | None = None


class StepPass(TopPass):
    """What every pass has that works down along a wall, in levels of one allowance or several."""

    bottom: Length | None = Field(
        default=None, description="z of the finished floor, before allowance_bottom"
    )
    levels: Annotated[list[LevelStep], Field(min_length=1, max_length=1000)] | None = Field(
        default=None, description="in place of bottom: [{ bottom, allowance_side }, ...]"
    )
    allowance_bottom: Length = 0.0
    allowance_side: Length = 0.0
    allowance_growth: Length = 0.0
    axial_cutting_depth: PositiveLength | None = None
    lift: NonNegativeLength = 0.0
    spring_passes: Springs = 0


class Walked(Shape):
    """A contour that is walked, and how the tool comes to it and leaves it."""

    side: Side = Field(description="where the tool runs: left, right, on, inside or outside")
    closed: bool = False
    cutmode: Cutmode | None = None
    start: Point2 | Start | None = None
    approach: Lead = Plunge(kind="plunge")
    retract: Lead | None = None


class Stepover(Strict):
    """How far apart the paths of a round end lie; exactly one of the three."""

    radial_cutting_depth: PositiveLength | None = Field(
        default=None, description="distance between neighbouring paths"
    )
    overlap: Annotated[float, Field(gt=0, lt=1)] | None = Field(
        default=None, description="part of the diameter by which neighbouring paths overlap"
    )
    scallop_height: PositiveLength | None = Field(
        default=None, description="height of the cusps between neighbouring paths"
    )


# -------------------------------------------------------------------------------------- operations


class ContourPass(StepPass, Walked):
    """Along a contour, on one side of it."""

    operation: Literal["contour"]
    radial_cutting_depth: PositiveLength | None = None
    radial_passes: Rounds = 1
    overlap: NonNegativeLength = 0.0


class PocketPass(StepPass, Shape):
    """What lies inside a closed boundary: its floor, its walls, or both."""

    operation: Literal["pocket"]
    islands: list[Shape] = Field(default_factory=list)
    milling: Literal["bottom_and_side", "bottom", "side"] = "bottom_and_side"
    radial_cutting_depth: PositiveLength | None = Field(
        default=None, description="distance between neighbouring paths"
    )
    radial_passes: Rounds = 1
    strategy: Literal["contour_parallel", "bidirectional"] = "contour_parallel"
    angle: Annotated[float, Field(ge=-180, le=180)] = 0.0
    cutmode: Cutmode = "climb"
    approach: AnyLead = Plunge(kind="plunge")
    retract: Lead | None = None
    start: Point2 | Start | None = None
    overlap: NonNegativeLength = 0.0


class FacePass(LevelPass):
    """A level face over a rectangle, running off its edges."""

    operation: Literal["face"]
    rectangle: Rectangle
    radial_cutting_depth: PositiveLength = Field(description="distance between neighbouring paths")
    strategy: Literal["bidirectional", "unidirectional"] = "bidirectional"
    angle: Literal[0, 90] = 0
    overlap: NonNegativeLength | None = None


class HoleCircle(Strict):
    """Holes on a bolt circle."""

    center: Point2
    diameter: PositiveLength
    count: Count
    angle: Turned = 0.0  # of the first hole, from +X
    angle_increment: Turned | None = None  # to the next one; evenly all round unless said


class Grid(Strict):
    """Holes in rows and columns."""

    low: Point2 = Field(description="[x, y] of the first hole")
    spacing: Point2 = Field(description="[along the rows, from row to row]")
    columns: Count
    rows: Count
    angle: Turned = 0.0  # of the rows, from +X


class Line(Strict):
    """Holes on a line, evenly apart."""

    from_: Point2 = Field(alias="from", description="[x, y] of the first hole")
    to: Point2 = Field(description="[x, y] of the last hole")
    count: Annotated[int, Field(ge=2, le=10_000)]


class HolePattern(Strict):
    """Exactly one of circle, grid and line; some of its holes may be left out."""

    circle: HoleCircle | None = None
    grid: Grid | None = None
    line: Line | None = None
    skip: list[Annotated[int, Field(ge=1, le=10_000_000)]] = Field(
        default_factory=list, description="holes left out, counted from 1"
    )


class Holes(Strict):
    """Exactly one of points and pattern."""

    points: Annotated[list[Point2], Field(min_length=1)] | None = Field(
        default=None, description="[[x, y], ...]"
    )
    pattern: HolePattern | None = None


class DrillPass(LevelPass, Holes):
    """Holes straight down."""

    operation: Literal["drill"]
    chip_break: PositiveLength | None = None
    dwell: Annotated[float, Field(ge=0, le=3600)] = 0.0


class BorePass(DepthPass, Holes):
    """Round holes down a helix."""

    operation: Literal["helix_bore"]
    diameter: PositiveLength = Field(description="diameter of the finished hole")
    pitch: PositiveLength = Field(description="how deep the tool goes with each turn")
    allowance_side: Length = 0.0
    cutmode: Cutmode = "climb"
    spring_passes: Springs = 0


class RasterPass(DepthPass, Shape, Stepover):
    """Lines of a round end to and fro inside a boundary, over level ground or the part model."""

    operation: Literal["raster"]
    islands: list[Shape] = Field(default_factory=list)
    surface: Literal["part"] | None = None
    tolerance: PositiveLength = Field(
        default=0.001, description="how far moves may be off the part model"
    )
    side: Literal["on", "inside"] = "on"
    allowance_side: Length = 0.0
    angle: Annotated[float, Field(ge=-180, le=180)] = 0.0
    cutmode: Cutmode = "climb"
    approach: Entry = Plunge(kind="plunge")


class FilletPass(DepthPass, Walked, Stepover):
    """Rounds of a ball along the fillet between a floor and the wall over a contour."""

    operation: Literal["fillet"]
    fillet_radius: PositiveLength = Field(description="radius of the fillet")
    allowance_side: Length = 0.0
    direction: Literal["down", "up"] = "down"
    strategy: Literal["bidirectional", "unidirectional"] = "bidirectional"


class ChamferPass(TopPass, Walked):
    """Along the upper edge of a wall, with the flank of a chamfer tool or a spot drill."""

    operation: Literal["chamfer"]
    width: PositiveLength | None = Field(
        default=None, description="of the chamfer, seen from above"
    )
    depth: PositiveLength | None = Field(default=None, description="of the chamfer, down the wall")
    tip_clearance: NonNegativeLength = 0.0
    spring_passes: Springs = 0
    overlap: NonNegativeLength = 0.0


class PathPass(PassBase):
    """The tip along given points."""

    operation: Literal["path"]
    strokes: Annotated[list[Annotated[list[Point3], Field(min_length=2)]], Field(min_length=1)] = (
        Field(description="[[[x, y, z], [x, y, z], ...], ...], each stroke the tip's points")
    )


AnyPass = Annotated[
    ContourPass
    | PocketPass
    | FacePass
    | DrillPass
    | BorePass
    | ChamferPass
    | RasterPass
    | FilletPass
    | PathPass,
    Field(discriminator="operation"),
]


class PassList(Strict):
    """A whole pass list."""

    format: Literal[1] = 1
    passes: Annotated[list[AnyPass], Field(min_length=1)] = Field(
        description="at least one [[passes]]"
    )
