"""A job with what has been measured on it, as the rules take it; measured when first asked."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..units import Unit, say_length

if TYPE_CHECKING:
    from ..clearance import Clearance
    from ..contact.along import Along
    from ..contact.bands import Bands
    from ..contact.stock import Before
    from ..job import Job
    from ..moves import Moves, Pass
    from ..result import RunResult
    from ..tools import Tool

__all__ = ["Case"]

NEAR: Final = 0.1 * 25.4
"""Gaps to the stock from here on trouble nobody, mm."""


class Case:
    """What rules look at.

    Parameters
    ----------
    job : Job
    result : RunResult
        Of the whole job.
    """

    def __init__(self, job: Job, result: RunResult) -> None:
        self.job, self.result = job, result
        self._along: dict[int, Along] = {}
        self._bands: dict[int, Bands] = {}

    @property
    def unit(self) -> Unit:
        """The job's unit."""
        return self.job.unit

    @property
    def moves(self) -> Moves:
        """All moves, part frame, registers' errors in."""
        return self.job.program.moves

    @functools.cached_property
    def passes(self) -> dict[int, Pass]:
        """The passes by number."""
        return {p.number: p for p in self.job.program.passes}

    @functools.cached_property
    def clearance(self) -> Clearance:
        """Least gaps of neck, shank, holder and fixture."""
        from ..clearance import find_clearance

        return find_clearance(self.job, within=self.near)

    @property
    def near(self) -> float:
        """Up to which gaps of neck, shank and holder are looked for, mm."""
        margins = (self.margin(name) for name in ("shank_clearance", "holder_clearance"))
        return max(NEAR, *(2 * margin for margin in margins))

    def along(self, pass_number: int) -> Along:
        """Return what a pass met at stations along its path, measured once."""
        if pass_number not in self._along:
            from ..contact import along_pass

            self._along[pass_number] = along_pass(self.before, pass_number)
        return self._along[pass_number]

    def bands(self, pass_number: int) -> Bands:
        """Return the metal at the side of the tool of a pass, band by band, measured once."""
        if pass_number not in self._bands:
            from ..contact.bands import bands_along
            from ..contact.tool import Edge

            edge, along = Edge(self.tool_of(pass_number)), self.along(pass_number)
            self._bands[pass_number] = bands_along(self.before, edge, along)
        return self._bands[pass_number]

    @functools.cached_property
    def before(self) -> Before:
        """The stock as each move found it."""
        from ..contact.stock import Before

        return Before(self.job)

    def margin(self, name: str) -> float:
        """Return a margin, mm (a ratio as it is): the job's, or what is usual."""
        from . import MARGINS

        return self.job.spec.margins.get(name, MARGINS[name].value)

    def tool_of(self, pass_number: int) -> Tool:
        """Return the tool of a pass."""
        return self.job.tools[self.passes[pass_number].tool]

    def moves_of(self, pass_number: int) -> NDArray[np.int64]:
        """Return the moves of a pass, rapids too, as indices."""
        return np.flatnonzero(self.moves.pass_number == pass_number)

    def lines_of(self, moves: NDArray[np.int64]) -> tuple[int, int]:
        """Return the first and the last program line of some moves."""
        lines = self.moves.line[moves]
        return int(lines.min()), int(lines.max())

    def say(self, length: float) -> str:
        """Return a length as the person reads it."""
        return say_length(length, self.unit)

    @property
    def part_bottom(self) -> float:
        """Z below which all is scrap, mm; -inf: the job does not say where the part ends."""
        return self._part_ends[0]

    @property
    def part_top(self) -> float:
        """Z above which all is scrap, mm; inf: the job does not say where the part ends."""
        return self._part_ends[1]

    @functools.cached_property
    def _part_ends(self) -> tuple[float, float]:
        part = self.job.spec.part
        if part is None:
            return -np.inf, np.inf
        low, high = -np.inf, np.inf
        if part.model is not None:
            from ..stock import closed_mesh

            vertices, _ = closed_mesh(part.model, self.unit, "part")
            low, high = float(vertices[:, 2].min()), float(vertices[:, 2].max())
        low = low if part.bottom is None else part.bottom
        return low, high if part.top is None else part.top
