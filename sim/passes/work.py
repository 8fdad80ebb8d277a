"""One pass on its way to moves: its tool, its tip, its levels, and what a person should know."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Final

from ..contour import Contour
from ..moves import MoveList
from ..strict import clean
from ..tools import Tool
from ..units import Unit, say_length
from .emit import Tip, level_heights
from .model import Shape
from .operations import (
    BorePass,
    ChamferPass,
    ContourPass,
    DepthPass,
    DrillPass,
    LevelPass,
    PassBase,
    PathPass,
    PocketPass,
    StepPass,
    TopPass,
)
from .shapes import PassError
from .source import sourced_contour

if TYPE_CHECKING:
    from . import PassSettings

__all__ = ["SMALL_MM", "Level", "Work", "runs_by_d"]

PLANE_MM: Final[dict[Unit, float]] = {"in": 0.2 * 25.4, "mm": 5.0}
"""Height of the rapids over the stock unless said."""
SMALL_MM: Final[dict[Unit, float]] = {"in": 0.04 * 25.4, "mm": 1.0}
"""security_distance and a face's overlap unless said."""


@dataclasses.dataclass(frozen=True)
class Level:
    """One level of a pass that works down along a wall, mm.

    Attributes
    ----------
    z : float
    allowance_side : float
        What is left on the wall at this level.
    key : str
        Where the pass list says so.
    """

    z: float
    allowance_side: float
    key: str = "allowance_side"


def runs_by_d(item: PassBase) -> bool:
    """Return whether the error of the tool's D register moves the path of a pass."""
    if isinstance(item, PocketPass):
        return item.milling == "side"
    by_wall = isinstance(item, ContourPass) and item.side != "on"
    return by_wall or isinstance(item, BorePass | ChamferPass)


class Work:
    """One pass on its way to moves.

    Parameters
    ----------
    item : PassBase
        Its keys, mm.
    settings : PassSettings
    number, line : int
        The pass, from 1, and the line of its heading.
    moves : MoveList
        Its moves are added here.
    """

    def __init__(
        self, item: PassBase, settings: PassSettings, number: int, line: int, moves: MoveList
    ) -> None:
        self.item, self.settings, self.unit = item, settings, settings.unit
        self.number, self.line = number, line
        self._moves = moves
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        """Keep what a person should know about this pass."""
        self.notes.append(f'line {self.line}, pass {self.number} "{self.item.name}": {text}')

    def say(self, mm: float, places: int | None = None) -> str:
        """Return a length as people of this job say it."""
        return say_length(mm, self.unit, places)

    # ------------------------------------------------------------------------------------- tool

    @property
    def tool(self) -> Tool:
        """The tool of the pass; raises where the job has none of that number."""
        tools = self.settings.tools
        if self.item.tool in tools:
            return tools[self.item.tool]
        have = ", ".join(f"{n} ({clean(tools[n].name, 40)})" for n in sorted(tools)) or "none"
        raise PassError("tool", f"no tool {self.item.tool} in the job; it has {have}")

    def check_tool(self) -> None:
        """Raise where the job has no such tool, or a drill is to run sideways."""
        if not isinstance(self.item, DrillPass | PathPass):
            self.side_tool  # noqa: B018 - raises
        self.tool  # noqa: B018 - raises

    @property
    def side_tool(self) -> Tool:
        """The tool of a pass that cuts sideways; raises where it is a drill."""
        tool = self.tool
        if tool.shape == "drill":
            raise PassError(
                "tool",
                f'tool {tool.number} is a drill, which cuts downwards only; "{tool.name}" can run '
                'operation = "drill" or "path"',
            )
        return tool

    @property
    def d_error(self) -> float:
        """Error of the radius in the tool's D register, mm."""
        return self.settings.d_errors.get(self.item.tool, 0.0)

    @property
    def reach(self) -> float:
        """Radius of the tool with the error of its D register, mm."""
        return self.side_tool.cutting_radius + self.d_error

    # ----------------------------------------------------------------------------------- heights

    @property
    def top(self) -> float:
        """Height of the metal where the pass begins, mm; the stock's top unless said."""
        own = self.item.top if isinstance(self.item, TopPass) else None
        return self.settings.stock_top if own is None else own

    def floor(self, item: DepthPass) -> float:
        """Return z of the pass's floor, allowance_bottom above the finished one, mm."""
        bottom = round(item.bottom + item.allowance_bottom, 10)
        self._check_below(bottom, self.top, "bottom", "with allowance_bottom ")
        return bottom

    def depths(self, item: LevelPass) -> list[float]:
        """Return z of each level of a pass whose levels are all alike, mm, from the top down."""
        return level_heights(self.top, self.floor(item), item.axial_cutting_depth)

    def levels(self, item: StepPass) -> list[Level]:
        """Return the levels of a pass along a wall, from the top down.

        Raises
        ------
        PassError
            No bottom, or one at or above the top, levels that don't go down, too many.
        """
        if item.levels is None:
            return self._even_levels(item)
        for key in ("bottom", "allowance_growth"):
            if key in item.model_fields_set:
                raise PassError(key, "is said by levels; leave it out")
        found: list[Level] = []
        above = self.top
        for n, step in enumerate(item.levels, start=1):
            key, says = f"levels[{n}].bottom", ""
            bottom = step.bottom
            if n == len(item.levels):
                bottom = round(bottom + item.allowance_bottom + item.lift, 10)
                says = self._raised(item)
            self._check_below(bottom, above, key, says, "the top" if n == 1 else f"levels[{n - 1}]")
            own = step.allowance_side
            allowance = item.allowance_side if own is None else own
            where = "allowance_side" if own is None else f"levels[{n}].allowance_side"
            heights = level_heights(above, bottom, item.axial_cutting_depth)
            found += [Level(z, allowance, where) for z in heights]
            above = bottom
        return found

    def _even_levels(self, item: StepPass) -> list[Level]:
        if item.bottom is None:
            raise PassError("bottom", "is missing: z of the finished floor, or write levels")
        bottom = round(item.bottom + item.allowance_bottom + item.lift, 10)
        self._check_below(bottom, self.top, "bottom", self._raised(item))
        heights = level_heights(self.top, bottom, item.axial_cutting_depth)
        if item.allowance_growth and len(heights) == 1:
            raise PassError(
                "allowance_growth", "goes with several levels; write an axial_cutting_depth"
            )
        return [
            Level(z, item.allowance_side + n * item.allowance_growth) for n, z in enumerate(heights)
        ]

    @staticmethod
    def _raised(item: StepPass) -> str:
        return "with allowance_bottom and lift " if item.lift else "with allowance_bottom "

    def _check_below(
        self, bottom: float, top: float, key: str, says: str, above: str = "the top"
    ) -> None:
        if bottom >= top:
            raise PassError(key, f"{says}{self.say(bottom)}, is not below {above}, {self.say(top)}")

    # -------------------------------------------------------------------------------- way and tip

    def contour(self, shape: Shape, key: str = "", *, closed: bool = False) -> Contour:
        """Return the contour of the pass, a boundary or an island; see `sourced_contour`."""
        sources = self.settings.sources
        contour, notes = sourced_contour(shape, sources, self.unit, key=key, closed=closed)
        for text in notes:
            self.note(text)
        return contour

    def stepover(self, step: float, times: int, *, cusps: bool = False) -> float:
        """Return a distance between paths, checked; a note says where they leave cusps.

        Parameters
        ----------
        step : float
            mm.
        times : int
            How many radii of the tool the paths may lie apart.
        cusps : bool
            They are wanted.

        Raises
        ------
        PassError
            Paths too far apart to clear a floor.
        """
        tool = self.side_tool
        most, flat = times * tool.cutting_radius, times * tool.flat_radius
        if step > most + 1e-9:
            other = ', or strategy = "bidirectional" up to twice that' if times == 1 else ""
            raise PassError(
                "radial_cutting_depth",
                f"{self.say(step)} leaves metal standing between the paths; tool "
                f"{tool.number} allows {self.say(most)}{other}",
            )
        if step > flat + 1e-9 and not cusps:
            self.note(
                f"the end of tool {tool.number} is flat over {self.say(2 * tool.flat_radius)} "
                f"only, so paths {self.say(step)} apart leave cusps on the floor"
            )
        return step

    def tip(self) -> Tip:
        """Return the tip of the pass's tool, nowhere yet.

        Raises
        ------
        PassError
            A plane of the rapids below the top.
        """
        item, stock_top = self.item, self.settings.stock_top
        plane = round(stock_top + PLANE_MM[self.unit], 10)
        plane = plane if item.retract_plane is None else item.retract_plane
        if plane < self.top:
            raise PassError(
                "retract_plane",
                f"{self.say(plane)} is below the top of the pass, {self.say(self.top)}; "
                "set it above",
            )
        if plane < stock_top:
            self.note(
                f"rapids at {self.say(plane)} run through the stock, whose top is "
                f"{self.say(stock_top)}"
            )
        fixed: dict[str, Any] = {
            "setup": self.settings.setup,
            "tool": item.tool,
            "pass_number": self.number,
            "h_register": item.tool,
            "spindle": item.spindle,
            "line": self.line,
        }
        return Tip(
            self._moves,
            fixed,
            feed=item.feed,
            plunge_feed=item.plunge_feed or item.feed,
            plane=plane,
            security=item.security_distance or SMALL_MM[self.unit],
        )
