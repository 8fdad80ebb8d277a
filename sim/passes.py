"""Pass list: milling passes written by hand in TOML, without a program.

A pass list says what each tool does, one ``[[passes]]`` after the other in the order of the work::

    [[passes]]
    name = "Profile, rough, upper"
    tool = 1
    operation = "contour"         # contour, pocket, face, drill or path
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

**Side.** left and right are the tool's side, walking as the points go; on is the tip on the
contour; inside and outside are for closed contours. With inside and outside, `cutmode = "climb"`
or "conventional" sets the way round (climb has the wall on the right of a tool that turns
clockwise); without it points are walked as written and the other shapes climb. The tool's axis
keeps R + allowance_side + the D error of the tool's register from the contour, R being half of DC;
round an outside corner it runs a true arc. On a contour the D error moves left, right, inside and
outside, nothing else. `start = [x, y]` begins a closed contour at its point nearest to there, and
`overlap` runs past the start by so much.

**Approach and retract** of a contour: "plunge" (straight down or up), "straight" {length, angle}
(0, in line with the path, unless said; up to 90 from the tool's side) or "arc" {radius, angle}
(tangent, from the tool's side, 90 degrees unless said). `retract` is as `approach` unless said. A
pocket is entered by "plunge", "ramp" {angle} along its innermost path or "helix" {angle, radius}.

**Pocket.** contour_parallel works from the inside out, so that the last round is on the wall;
bidirectional runs lines at `angle` degrees to X and then one round along the wall. The paths of
contour_parallel may lie up to R apart, else the corners between them keep islands; those of
bidirectional up to 2 R. For a floor without cusps R is here the flat part of the tool's end; the
reader notes it where a tool leaves cusps.

**Face.** Lines along X (`angle = 0`) or Y (90) over the rectangle. The whole tool runs past the
ends of the lines by `overlap`, and its flat end past the two other sides by as much (1 mm or
0.04 in unless said).

**Levels.** z from `top` down in steps of axial_cutting_depth, the last exactly at bottom +
allowance_bottom. The tool travels at `retract_plane` (5 mm or 0.2 in above the stock unless said)
in rapids, goes down in a rapid to `security_distance` (1 mm or 0.04 in unless said) above the metal
of its place, and from there at plunge_feed. Every pass comes from above and ends above.

In the moves a pass list runs tool n under register Hn.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from .errors import BadInput, JobError
from .moves import MoveList, Pass, Program
from .passes_contour import contour_moves
from .passes_emit import Tip, level_heights
from .passes_model import (
    ContourPass,
    DrillPass,
    FacePass,
    LevelPass,
    PassBase,
    PassList,
    PathPass,
    PocketPass,
)
from .passes_plane import drill_moves, face_moves, path_moves
from .passes_pocket import pocket_moves
from .passes_shapes import PassError
from .strict import Problems, clean, load_toml, validate
from .tools import Tool
from .units import Unit, say_length

__all__ = ["PassSettings", "pass_schema", "read_passes"]

PLANE_MM: Final[dict[Unit, float]] = {"in": 0.2 * 25.4, "mm": 5.0}
"""Height of the rapids over the stock unless said."""
SMALL_MM: Final[dict[Unit, float]] = {"in": 0.04 * 25.4, "mm": 1.0}
"""security_distance and a face's overlap unless said."""

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
    """

    unit: Unit
    tools: Mapping[int, Tool]
    d_errors: Mapping[int, float]
    stock_top: float
    setup: int = 0


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
    for number, (item, line) in enumerate(zip(listed.passes, lines, strict=True), start=1):
        passes.append(Pass(number, settings.setup, item.tool, item.name, line, line))
        work = _Work(item, settings, number, line)
        try:
            work.run(moves)
        except BadInput as error:
            key = getattr(error, "key", "")
            where = f"passes[{number}]" + (f".{key}" if key else "")
            problems.add(where, f'{error} ("{clean(item.name, 60)}", line {line})')
        notes += work.notes
    problems.check()
    return Program(moves.moves(), tuple(passes), tuple(notes))


def _header_lines(text: str) -> list[int]:
    """Return the physical lines, from 1, of the ``[[passes]]`` headings."""
    blanked = _MANY_LINES.sub(lambda found: "\n" * found[0].count("\n"), text)
    return [n for n, line in enumerate(blanked.split("\n"), start=1) if _HEADER.match(line)]


class _Work:
    """One pass on its way to moves."""

    def __init__(self, item: PassBase, settings: PassSettings, number: int, line: int) -> None:
        self.item, self.settings, self.unit = item, settings, settings.unit
        self.number, self.line = number, line
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        """Keep what a person should know about this pass."""
        self.notes.append(f'line {self.line}, pass {self.number} "{self.item.name}": {text}')

    def run(self, moves: MoveList) -> None:
        """Add the moves of the pass."""
        item, tool = self.item, self._tool()
        if isinstance(item, PathPass):
            path_moves(item, self._tip(moves, self.settings.stock_top), *self._over())
        elif isinstance(item, LevelPass):
            self._levels(item, tool, moves)

    def _over(self) -> tuple[float, Unit]:
        return self.settings.stock_top, self.unit

    def _levels(self, item: LevelPass, tool: Tool, moves: MoveList) -> None:
        top = self.settings.stock_top if item.top is None else item.top
        bottom = round(item.bottom + item.allowance_bottom, 10)
        if bottom >= top:
            raise PassError(
                "bottom",
                f"with allowance_bottom {say_length(bottom, self.unit)}, is not below the top, "
                f"{say_length(top, self.unit)}",
            )
        levels = level_heights(top, bottom, item.axial_cutting_depth)
        tip = self._tip(moves, top)
        radius = tool.cutting_radius
        if isinstance(item, DrillPass):
            drill_moves(item, tip, levels, top)
        elif tool.shape == "drill":
            raise PassError(
                "tool",
                f'tool {tool.number} is a drill, which cuts downwards only; "{tool.name}" can run '
                'operation = "drill" or "path"',
            )
        elif isinstance(item, ContourPass):
            reach = radius + self.settings.d_errors.get(tool.number, 0.0)
            contour_moves(item, tip, levels, top, reach, self.unit)
        elif isinstance(item, PocketPass):
            times = 1 if item.strategy == "contour_parallel" else 2
            self._stepover(item.radial_cutting_depth, tool, times)
            pocket_moves(item, tip, levels, top, radius, self.unit)
        elif isinstance(item, FacePass):
            self._stepover(item.radial_cutting_depth, tool, 2)
            overlap = SMALL_MM[self.unit] if item.overlap is None else item.overlap
            face_moves(
                item,
                tip,
                levels,
                top,
                radius=radius,
                flat_radius=tool.flat_radius,
                overlap=overlap,
                unit=self.unit,
            )

    def _tool(self) -> Tool:
        tools = self.settings.tools
        if self.item.tool in tools:
            return tools[self.item.tool]
        have = ", ".join(f"{n} ({clean(tools[n].name, 40)})" for n in sorted(tools)) or "none"
        raise PassError("tool", f"no tool {self.item.tool} in the job; it has {have}")

    def _stepover(self, step: float, tool: Tool, times: int) -> None:
        """Raise where paths are too far apart to clear a floor; note where they leave cusps."""
        most, flat = times * tool.cutting_radius, times * tool.flat_radius
        if step > most + 1e-9:
            other = ', or strategy = "bidirectional" up to twice that' if times == 1 else ""
            raise PassError(
                "radial_cutting_depth",
                f"{say_length(step, self.unit)} leaves metal standing between the paths; tool "
                f"{tool.number} allows {say_length(most, self.unit)}{other}",
            )
        if step > flat + 1e-9:
            wide, apart = (say_length(v, self.unit) for v in (2 * tool.flat_radius, step))
            self.note(
                f"the end of tool {tool.number} is flat over {wide} only, so paths {apart} apart "
                "leave cusps on the floor"
            )

    def _tip(self, moves: MoveList, top: float) -> Tip:
        item, stock_top = self.item, self.settings.stock_top
        plane = round(stock_top + PLANE_MM[self.unit], 10)
        plane = plane if item.retract_plane is None else item.retract_plane
        if plane < top:
            raise PassError(
                "retract_plane",
                f"{say_length(plane, self.unit)} is below the top of the pass, "
                f"{say_length(top, self.unit)}; set it above",
            )
        if plane < stock_top:
            self.note(
                f"rapids at {say_length(plane, self.unit)} run through the stock, whose top is "
                f"{say_length(stock_top, self.unit)}"
            )
        fixed = {
            "setup": self.settings.setup,
            "tool": item.tool,
            "pass_number": self.number,
            "h_register": item.tool,
            "spindle": item.spindle,
            "line": self.line,
        }
        return Tip(
            moves,
            fixed,
            feed=item.feed,
            plunge_feed=item.plunge_feed or item.feed,
            plane=plane,
            security=item.security_distance or SMALL_MM[self.unit],
        )
