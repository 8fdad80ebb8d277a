"""Pass list: milling passes written by hand in TOML, without a program.

A pass list says what each tool does, one ``[[passes]]`` after the other in the order of the work::

    [[passes]]
    name = "Profile, rough, upper"
    tool = 1
    operation = "contour"         # or another; all are shown below
    feed = 20                     # a minute, in the job's unit
    plunge_feed = 8               # on the way down; feed unless said
    spindle = 3000
    side = "outside"              # where the tool runs
    rectangle = { low = [0, 0], high = [2.6, 1.8], corner_radius = 0.25 }
    top = 0.5                     # where its metal begins; the stock's top unless said
    bottom = 0                    # the finished floor ...
    allowance_bottom = "15 thou"  # ... and what is left on it
    allowance_side = "7 thou"     # what is left on the wall
    axial_cutting_depth = 0.125   # depth of a level; one level unless said
    radial_cutting_depth = 0.1    # with radial_passes: several rounds, working toward the wall
    radial_passes = 2
    approach = { kind = "arc", radius = 0.1 }

    [[passes]]
    name = "Saddle"
    tool = 2
    operation = "contour"
    feed = "400mm"
    side = "left"                 # of the way that the points go
    points = [
        [0, 0],                                              # starts here
        [1, 0],                                              # a line
        { to = [1.5, 0.5], center = [1, 0.5], turn = "ccw" },  # an arc about a center
        { to = [2, 1], radius = 0.5, turn = "cw" },            # the shorter arc of a radius
        { to = [3, 1], round = 0.125 },                        # a line, its end rounded off
        [3, 2],
    ]
    bottom = -0.2
    approach = { kind = "straight", length = 0.3 }
    retract = { kind = "arc", radius = 0.2, angle = 45 }

    [[passes]]
    name = "Pocket, rough"
    tool = 2
    operation = "pocket"
    feed = 15
    slot = { from = [0.5, 0.5], to = [2, 0.5], width = 0.75 }
    islands = [{ circle = { center = [1.2, 0.5], diameter = 0.1 } }]
    bottom = -0.25
    axial_cutting_depth = 0.1
    radial_cutting_depth = 0.1
    strategy = "contour_parallel"  # or "bidirectional", at an angle
    approach = { kind = "helix", radius = 0.06, angle = 2 }

    [[passes]]
    name = "Pocket, floor"
    tool = 2
    operation = "pocket"
    milling = "bottom"             # the floor only; "bottom_and_side" unless said
    feed = 15
    slot = { from = [0.5, 0.5], to = [2, 0.5], width = 0.75 }
    bottom = -0.25
    allowance_side = "8 thou"      # how far the tool keeps off the walls
    radial_cutting_depth = 0.1

    [[passes]]
    name = "Pocket, walls"
    tool = 2
    operation = "pocket"
    milling = "side"               # the walls only
    feed = 10
    slot = { from = [0.5, 0.5], to = [2, 0.5], width = 0.75 }
    bottom = -0.25
    lift = "0.4 thou"              # the tool runs so far above the finished floor
    spring_passes = 1              # the round along the wall once more at the same depth
    start = { inside = { circle = { center = [1.25, 0.875], diameter = 0.4 } } }
    approach = { kind = "arc", radius = 0.1 }

    [[passes]]
    name = "Profile, rough, in steps"
    tool = 1
    operation = "contour"
    feed = 20
    side = "outside"
    rectangle = { low = [0, 0], high = [2.6, 1.8] }
    levels = [                     # in place of bottom
        { bottom = 0.3, allowance_side = "8 thou" },
        { bottom = 0, allowance_side = "9 thou" },
    ]
    start = { corner_nearest = [0, 0] }
    approach = { kind = "ramp", angle = 5 }  # down along the contour

    [[passes]]
    name = "Face"
    tool = 3
    operation = "face"
    feed = 40
    rectangle = { low = [0, 0], high = [2.6, 1.8] }
    top = "20 thou"
    bottom = 0
    radial_cutting_depth = 1.2

    [[passes]]
    name = "Holes"
    tool = 4
    operation = "drill"
    feed = 6
    points = [[0.3, 0.3], [2.3, 0.3]]
    bottom = -0.6
    axial_cutting_depth = 0.1      # pecks

    [[passes]]
    name = "Holes on a bolt circle"
    tool = 4
    operation = "drill"
    feed = 6
    pattern = { circle = { center = [1.3, 0.9], diameter = 1, count = 6 }, skip = [2] }
    bottom = -0.6

    [[passes]]
    name = "Bore"
    tool = 2
    operation = "helix_bore"
    feed = 12
    points = [[1.3, 0.9]]          # or a pattern
    diameter = 0.45
    pitch = "40 thou"              # down with each turn
    bottom = -0.5

    [[passes]]
    name = "Chamfer"
    tool = 6
    operation = "chamfer"
    feed = 20
    side = "outside"               # where the air is
    rectangle = { low = [0, 0], high = [2.6, 1.8] }
    top = 0
    width = "20 thou"              # or depth
    tip_clearance = "10 thou"      # how far the tip goes below the chamfer

    [[passes]]
    name = "Ground"
    tool = 5
    operation = "raster"
    feed = 30
    circle = { center = [1.3, 0.9], diameter = 0.8 }
    bottom = -0.1
    scallop_height = "0.2 thou"    # or overlap, or radial_cutting_depth
    angle = 45

    [[passes]]
    name = "Fillet"
    tool = 5
    operation = "fillet"
    feed = 30
    side = "left"
    points = [[0, 0.5], [2.6, 0.5]]  # the wall, seen from above
    bottom = -0.5
    fillet_radius = 0.2
    overlap = 0.9

    [[passes]]
    name = "Cove"
    tool = 5
    operation = "path"
    feed = 25
    strokes = [                    # [x, y, z] of the tip; between strokes the tool goes up
        [[0, 0, -0.1], [2.6, 0, -0.1]],
        [[2.6, 0.02, -0.11], [0, 0.02, -0.11]],
    ]

Lengths are numbers in the job's unit or texts with their own unit.

**Contours, boundaries and islands** are one of `points`, `circle` {center, diameter}, `rectangle`
{low, high, corner_radius} and `slot` {from, to, width}; an island takes the same keys. The last
three are closed and walked counter-clockwise. A contour of points is open unless `closed = true`,
which adds a line back to the first point if it isn't there yet; a boundary always is closed. `long
= true` takes the longer arc of a radius. `round` stands at the end of a line that another line
follows, and rounds off the corner between them.

Two more are looked up elsewhere, and are closed and counter-clockwise, begun in the middle of their
longest line: `section = { z = -0.2, near = [1, 0] }`, an outline of the part model just below z,
and `dxf = { file = "profile.dxf", layer = "CUT", near = [0, 0] }`, one out of a drawing, whose file
is named from the pass list's folder.

`near` picks the outline that is nearest to a place, `inside` the smallest closed one round it;
without either there must be one alone. A section gets arcs where the model's corners lie on one
within `tolerance` (0.1 µm unless said; 0: none), else its own lines; a note says how far facets
stand off the curves. A drawing's LINE, ARC, CIRCLE and polylines with bulges are taken as drawn,
SPLINE and ELLIPSE as arcs and lines within `tolerance`; ends within `gap` (1 µm unless said) are
joined; `open = true` takes a contour with two ends, as drawn. Its unit is what $INSUNITS says, else
`unit` = "in" or "mm" must. The file may not leave the job's folder.

**Side.** left and right are the tool's side, walking as the points go; on is the tip on the
contour; inside and outside are for closed contours. With inside and outside, `cutmode = "climb"`
or "conventional" sets the way round (climb has the wall on the right of a tool that turns
clockwise); without it points are walked as written and the other shapes climb. The tool's axis
keeps R + allowance_side + the D error of the tool's register from the contour, R being half of DC;
round an outside corner it runs a true arc. The D error moves contours (not on), the walls of a
pocket with milling = "side", helix bores and chamfers, nothing else. `overlap` runs a closed
contour past its start by so much. `spring_passes = n` runs the round along the wall n times more
at each level.

**Start** of a closed contour: `[x, y]`, its point nearest to there; `{ corner_nearest = [x, y] }`,
its corner nearest to there; or `{ inside = { rectangle = { ... } } }`, also a circle: the middle of
its longest stretch inside. It is an error where the contour doesn't run through that region.

**Approach and retract** of a contour: "plunge" (straight down or up), "straight" {length, angle}
(0, in line with the path, unless said; up to 90 from the tool's side), "arc" {radius, angle}
(tangent, from the tool's side, 90 degrees unless said) or "ramp" {angle or length} along the
contour: from above its metal, so that it reaches the level at the start (3 degrees unless said);
an open contour is ramped back and forth. `retract` is as `approach` unless said, and a plunge after
a ramp; as a ramp it goes up along the contour, past the start of a closed one and back along an
open one. A pocket's floor is entered by "plunge", "ramp" {angle or length} along its innermost path
or "helix" {angle, radius}.

**Pocket.** contour_parallel works from the inside out, so that the last round is on the wall;
bidirectional runs lines at `angle` degrees to X and then one round along the wall. The paths of
contour_parallel may lie up to R apart, else the corners between them keep islands; those of
bidirectional up to 2 R. For a floor without cusps R is here the flat part of the tool's end; the
reader notes it where a tool leaves cusps. With `milling = "bottom"` allowance_side, which has to be
above 0, keeps the tool off the walls. With `milling = "side"` only rounds along the walls of
boundary and islands are run, as along a contour, with approach, retract, start, overlap,
radial_passes, spring_passes and lift; a corner tighter than the tool keeps its metal.

**Face.** Lines along X (`angle = 0`) or Y (90) over the rectangle. The whole tool runs past the
ends of the lines by `overlap`, and its flat end past the two other sides by as much (1 mm or
0.04 in unless said).

**Drill, helix bore.** `pattern` takes the place of points: `circle` {center, diameter, count, angle
of the first hole (0, toward +X), angle_increment (evenly all round)}, `grid` {low, spacing =
[along, across], columns, rows, angle of the rows} (every second row backwards) or `line` {from, to,
count}; `skip` leaves holes out, counted from 1. Between pecks the drill goes up out of the hole, or
by `chip_break`. `dwell` takes time and makes no move. A helix bore goes out to its circle above the
metal, down `pitch` with each turn (the last one what is left), once round at the floor (and
spring_passes times more), and off the wall on half a circle: to the middle, or, where a core is
left standing there, by the security distance. The axis keeps R + allowance_side + the D error from
the wall of `diameter`.

**Chamfer.** The tool is a chamfer tool, a spot drill or another with a cone at its end; `top` is z
of the edge, `side` the side of the air. The cone meets the wall depth below the edge and
`tip_clearance` above its tip, so its axis keeps the cone's radius there (and the D error) from the
contour. The width is that of the chamfer seen from above; the depth is measured down the wall.

**Raster.** Lines of a ball or bull nose at `angle` degrees to X inside a boundary, then a round
along it. With `side = "on"` the axis runs on the boundary, with "inside" the tool keeps inside of
it, and allowance_side more. Lines s apart leave cusps of R - sqrt(R^2 - (s/2)^2). With `surface =
"part"` the tip is as high as a ball lies on the job's part model, but not under `bottom`; straight
moves follow it to `tolerance` (1 µm unless said), allowance_bottom lifts it, and on slopes the
paths lie further apart than seen from above.

**Fillet.** Rounds of a ball along the fillet between a floor at `bottom` and the wall over the
contour, from the wall down (`direction = "up"`: from the floor up), one after the other without
going up (`strategy = "unidirectional"`: going up after each). Seen along the wall the ball's center
runs on a circle of F - R; from round to round it turns by the angle that leaves cusps of exactly
scallop_height, or puts neighbouring rounds radial_cutting_depth apart; the last step is what is
left, and beside the wall the tool's side cuts the cusps lower.

**Stepover** of raster and fillet is one of scallop_height, radial_cutting_depth and `overlap`, the
part of DC by which neighbouring paths overlap, such as 0.9.

**Levels.** z from `top` down in steps of axial_cutting_depth, the last exactly at bottom +
allowance_bottom + lift. `allowance_growth` leaves so much more on the wall with each level down, or
less below 0. `lift` runs the tool so far above the finished floor that floor and wall are not cut
at once. `levels` says it step by step: each goes down to its own bottom, in steps of
axial_cutting_depth, and leaves its own allowance_side, unless the pass says one for all;
allowance_bottom and lift raise the last. The tool travels at `retract_plane` (5 mm or 0.2 in above
the stock unless said) in rapids, goes down in a rapid to `security_distance` (1 mm or 0.04 in
unless said) above the metal of its place, and from there at plunge_feed. Every pass comes from
above and ends above.

In the moves a pass list runs tool n under register Hn.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from ..errors import BadInput, JobError
from ..moves import MoveList, Pass, Program
from ..strict import Problems, clean, load_toml, validate
from ..tools import Tool
from ..units import Unit
from .bore import bore_moves
from .chamfer import chamfer_moves
from .contour import contour_moves
from .fillet import fillet_moves
from .operations import (
    BorePass,
    ChamferPass,
    ContourPass,
    DrillPass,
    FacePass,
    FilletPass,
    PassBase,
    PassList,
    PathPass,
    PocketPass,
    RasterPass,
)
from .plane import drill_moves, face_moves, path_moves
from .pocket import pocket_moves
from .raster import raster_moves
from .source import NO_SOURCES, Sources
from .work import Work, runs_by_d

__all__ = ["PassSettings", "pass_schema", "read_passes"]

_OPERATIONS: Final[dict[type[PassBase], Callable[[Work, Any], None]]] = {
    ContourPass: contour_moves,
    PocketPass: pocket_moves,
    FacePass: face_moves,
    DrillPass: drill_moves,
    BorePass: bore_moves,
    ChamferPass: chamfer_moves,
    RasterPass: raster_moves,
    FilletPass: fillet_moves,
    PathPass: path_moves,
}
"""What makes the moves of each operation."""

_HEADER: Final = re.compile(r"""^[ \t]*\[\[[ \t]*["']?passes["']?[ \t]*\]\]""")
_MANY_LINES: Final = re.compile(r'"""[\s\S]*?"""|\'\'\'[\s\S]*?\'\'\'')


@dataclasses.dataclass(frozen=True)
class PassSettings:
    """What a pass list takes from the job.

    Attributes
    ----------
    unit : {'in', 'mm'}
        Unit of bare lengths, and of the text of errors.
    tools : mapping of int to Tool
        By number.
    d_errors : mapping of int to float
        By number of the register, which is that of the tool: error of the radius, mm, register
        minus true.
    stock_top : float
        z of the highest point of the stock, mm.
    setup : int
        From 0.
    sources : Sources
        Where sections and drawings come from.
    """

    unit: Unit
    tools: Mapping[int, Tool]
    d_errors: Mapping[int, float]
    stock_top: float
    setup: int = 0
    sources: Sources = NO_SOURCES


def pass_schema() -> dict[str, Any]:
    """Return the JSON Schema of a pass list."""
    return PassList.model_json_schema(by_alias=True)


def read_passes(path: Path, settings: PassSettings, *, shown: str | None = None) -> Program:
    """Read a pass list.

    Parameters
    ----------
    path : Path
        The file.
    settings : PassSettings
    shown : str, optional
        The file as the person named it, for errors.

    Returns
    -------
    Program
        Each ``[[passes]]`` a pass, numbered from 1 in file order; `line` of its moves is the line
        of its heading. D errors are in the positions, H errors are not.

    Raises
    ------
    JobError
        One error with all that is wrong: file, key path, value, what is allowed.
    """
    name = str(path) if shown is None else shown
    data = load_toml(path, shown=name)
    listed = validate(PassList, data, shown=name, unit=settings.unit)
    lines = _header_lines(path.read_text(encoding="utf-8-sig"))
    if len(lines) != len(listed.passes):
        raise JobError(
            f"{len(listed.passes)} passes under {len(lines)} headings; write each pass under its "
            "own [[passes]] on a line",
            file=clean(name, 300),
        )
    problems = Problems(name)
    moves, passes, notes = MoveList(), [], []
    by_d: list[tuple[int, int, int]] = []
    for number, (item, line) in enumerate(zip(listed.passes, lines, strict=True), start=1):
        passes.append(Pass(number, settings.setup, item.tool, item.name, line, line))
        work = Work(item, settings, number, line, moves)
        by_d.append((len(moves), item.tool if runs_by_d(item) else 0, 0))
        try:
            work.check_tool()
            _OPERATIONS[type(item)](work, item)
        except BadInput as error:
            key = getattr(error, "key", "")
            where = f"passes[{number}]" + (f".{key}" if key else "")
            problems.add(where, f'{error} ("{clean(item.name, 60)}", line {line})')
        notes += work.notes
    problems.check()
    by_d.append((len(moves), 0, 0))
    return Program(moves.moves(), tuple(passes), tuple(notes), compensated=tuple(by_d))


def _header_lines(text: str) -> list[int]:
    """Return the physical lines, from 1, of the ``[[passes]]`` headings."""
    blanked = _MANY_LINES.sub(lambda found: "\n" * found[0].count("\n"), text)
    return [n for n, line in enumerate(blanked.split("\n"), start=1) if _HEADER.match(line)]
