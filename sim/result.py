"""What a run found, in millimetres; and the same in the job's unit, for people and scripts."""

from __future__ import annotations

import dataclasses
from typing import Any

from .cut import Cut
from .faces import Level, Step
from .grid import Tile
from .moves import Pass
from .units import MM_PER, Unit

__all__ = ["PassRow", "RunResult", "SkimRow"]


@dataclasses.dataclass(frozen=True)
class PassRow:
    """One pass: what it is and what it took; only feed moves are counted.

    Attributes
    ----------
    info : Pass
    setup_name : str
    moves : int
        Feed moves.
    length : float
        Path of the feed moves, mm.
    removed : float
        mm^3, rapids included; a sum over columns.
    """

    info: Pass
    setup_name: str
    moves: int
    length: float
    removed: float


@dataclasses.dataclass(frozen=True)
class SkimRow:
    """A floor that an earlier pass had left flat and a later one skimmed.

    Attributes
    ----------
    by_pass, into_pass : int
    depth : float
        Greatest, mm, from exact columns.
    area : float
        mm^2, a sum over columns.
    at : tuple of float
        Where it is deepest, on the skimmed surface, mm.
    line : int
        Line of the move that cut there.
    """

    by_pass: int
    into_pass: int
    depth: float
    area: float
    at: tuple[float, float, float]
    line: int


@dataclasses.dataclass(frozen=True)
class RunResult:
    """The outcome of `Job.run`; lengths in mm.

    Attributes
    ----------
    title : str
    unit : {'in', 'mm'}
        The job's unit, used by `as_dict`.
    version : str
        Of this package.
    passes : tuple of PassRow
    levels : tuple of Level
    steps : tuple of Step
    skims : tuple of SkimRow
    notes : tuple of str
    tile : Tile
        Heights, owners, slopes.
    cut : Cut
        Volumes, and how many column tests it took.
    """

    title: str
    unit: Unit
    version: str
    passes: tuple[PassRow, ...]
    levels: tuple[Level, ...]
    steps: tuple[Step, ...]
    skims: tuple[SkimRow, ...]
    notes: tuple[str, ...]
    tile: Tile
    cut: Cut

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain numbers and texts in the job's unit, ready for JSON."""
        per = MM_PER[self.unit]
        area = self.tile.grid.cell_area
        stock, left = self.cut.stock_volume, self.cut.left_volume
        return {
            "version": self.version,
            "unit": self.unit,
            "title": self.title,
            "passes": [self._pass(row, per) for row in self.passes],
            "volume": {
                "stock": stock / per**3,
                "removed": (stock - left) / per**3,
                "left": left / per**3,
            },
            "levels": [
                {"z": v.z / per, "area": v.columns * area / per**2, "pass": v.pass_number}
                for v in self.levels
            ],
            "steps": [self._step(step, per) for step in self.steps],
            "skims": [self._skim(skim, per) for skim in self.skims],
            "notes": list(self.notes),
        }

    @staticmethod
    def _pass(row: PassRow, per: float) -> dict[str, Any]:
        return {
            "pass": row.info.number,
            "setup": row.setup_name,
            "tool": row.info.tool,
            "name": row.info.name,
            "from_line": row.info.from_line,
            "to_line": row.info.to_line,
            "moves": row.moves,
            "length": row.length / per,
            "removed": row.removed / per**3,
        }

    @staticmethod
    def _step(step: Step, per: float) -> dict[str, Any]:
        return {
            "height": step.height / per,
            "upper_z": step.upper.z / per,
            "lower_z": step.lower.z / per,
            "upper_pass": step.upper.pass_number,
            "lower_pass": step.lower.pass_number,
            "at": [v / per for v in step.at],
            "length": step.length / per,
        }

    @staticmethod
    def _skim(skim: SkimRow, per: float) -> dict[str, Any]:
        return {
            "pass": skim.by_pass,
            "into_pass": skim.into_pass,
            "depth": skim.depth / per,
            "area": skim.area / per**2,
            "at": [v / per for v in skim.at],
            "line": skim.line,
        }
