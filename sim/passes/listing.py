"""What each pass of a job does: path, time, lowest place, and the least that it leaves."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..moves import MoveList, Moves
from ..strict import load_toml, validate
from ..units import Unit, to_unit
from .operations import PassBase, PassList, StepPass
from .work import Work, runs_by_d

if TYPE_CHECKING:
    from ..job import Job
    from . import PassSettings

__all__ = ["Listing", "PassRow", "least_left", "list_passes"]


@dataclasses.dataclass(frozen=True)
class PassRow:
    """One pass, as written: D errors are in its path, those of H and of work zeros are not.

    Attributes
    ----------
    number, tool : int
    tool_name, name : str
    operation : str or None
        As the pass list says; None in a program.
    length, rapid_length : float
        Way at feed and in rapids, mm; from one pass to the next the way is not counted.
    seconds : float
        At the programmed feeds, rapids left out.
    lowest : float
        Lowest z of the tip at feed, mm.
    wall_left, floor_left : float or None
        Least that it leaves on walls and on its floor, mm: the allowances as written, with the D
        error; None: it has no wall or floor to speak of, or is a program's.
    from_line, to_line : int
    """

    number: int
    tool: int
    tool_name: str
    name: str
    operation: str | None
    length: float
    rapid_length: float
    seconds: float
    lowest: float
    wall_left: float | None
    floor_left: float | None
    from_line: int
    to_line: int

    def as_dict(self, unit: Unit) -> dict[str, Any]:
        """Return it in the job's unit."""

        def length(mm: float | None) -> float | None:
            return None if mm is None else to_unit(mm, unit)

        return {
            "pass": self.number,
            "tool": self.tool,
            "tool_name": self.tool_name,
            "name": self.name,
            "operation": self.operation,
            "length": length(self.length),
            "rapid_length": length(self.rapid_length),
            "seconds": self.seconds,
            "lowest": length(self.lowest),
            "least_wall_left": length(self.wall_left),
            "least_floor_left": length(self.floor_left),
            "from_line": self.from_line,
            "to_line": self.to_line,
        }


@dataclasses.dataclass(frozen=True)
class Listing:
    """All passes of a job, and what a person should know."""

    unit: Unit
    passes: tuple[PassRow, ...]
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the rows and their sums in the job's unit."""
        rows = [row.as_dict(self.unit) for row in self.passes]
        sums = {
            key: math.fsum(row[key] for row in rows)
            for key in ("length", "rapid_length", "seconds")
        }
        return {"unit": self.unit, "passes": rows, **sums, "notes": list(self.notes)}


def list_passes(job: Job) -> Listing:
    """Return the passes of a job with their lengths, times and the least that they leave.

    Raises
    ------
    BadInput
        The program or pass list can't be used.
    """
    rows: list[PassRow] = []
    notes: list[str] = []
    for index, setup in enumerate(job.spec.setups):
        program = job.programmed(index)
        items: Mapping[int, PassBase] = {}
        if setup.passes is not None:
            data = load_toml(setup.passes)
            listed = validate(PassList, data, shown=str(setup.passes), unit=job.unit)
            items = dict(enumerate(listed.passes, start=1))
        settings = job.pass_settings(index)
        before = len(rows)
        for row in program.passes:
            own = program.moves[program.moves.pass_number == row.number]
            item = items.get(row.number)
            wall, floor = (None, None) if item is None else least_left(item, settings)
            rows.append(
                PassRow(
                    number=before + row.number,
                    tool=row.tool,
                    tool_name=job.tools[row.tool].name,
                    name=row.name,
                    operation=getattr(item, "operation", None),
                    wall_left=wall,
                    floor_left=floor,
                    from_line=row.from_line,
                    to_line=row.to_line,
                    **_measures(own),
                )
            )
        notes += program.notes
    return Listing(job.unit, tuple(rows), tuple(notes))


def _measures(moves: Moves) -> dict[str, float]:
    """Return length, rapid_length, seconds and lowest of a pass."""
    lengths, feed = moves.lengths(), ~moves.rapid
    at_feed = lengths[feed]
    heights = np.concatenate([moves.start[feed, 2], moves.end[feed, 2]])
    return {
        "length": float(at_feed.sum()),
        "rapid_length": float(lengths[~feed].sum()),
        "seconds": float((at_feed / moves.feed[feed]).sum()) * 60.0,
        "lowest": float(np.nanmin(heights)),
    }


def least_left(item: PassBase, settings: PassSettings) -> tuple[float | None, float | None]:
    """Return the least that a pass leaves on its walls and on its floor, mm; None: it has none.

    Notes
    -----
    The allowances as they are written. Of several levels the least counts; a lift keeps the tool
    off the floor by so much more. A positive D error keeps it off the wall where the path is one
    that the D register moves.
    """
    floor: float | None = getattr(item, "allowance_bottom", None)
    if floor is not None:
        floor += getattr(item, "lift", 0.0)
    wall: float | None = getattr(item, "allowance_side", None)
    if wall is None or getattr(item, "side", "") == "on":
        return None, floor
    if isinstance(item, StepPass):
        work = Work(item, settings, 0, 0, MoveList())
        wall = min(level.allowance_side for level in work.levels(item))
    return wall + (settings.d_errors.get(item.tool, 0.0) if runs_by_d(item) else 0.0), floor
