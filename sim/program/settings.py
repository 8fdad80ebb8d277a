"""What the job tells the reader about the machine and the set-up."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from ..dialect import Dialect
from ..units import CHORD_MM, Unit

__all__ = ["LIMIT_MM", "ReaderSettings"]

LIMIT_MM: Final = 1e5
"""Farthest place taken, mm: a farther one is a slip of the decimal point."""


@dataclasses.dataclass(frozen=True)
class ReaderSettings:
    """What a program does not say itself.

    Attributes
    ----------
    unit : {'in', 'mm'}
        For lengths before any G20 or G21 (with a note).
    tools : mapping of int to str, or None
        Tool number -> the name that people see; loading another tool is an error. None: there is
        no job, any number is taken and nothing is said of G43 and H.
    stock_top : float or None
        Highest stock, mm, part frame: above it the tool is retracted. None: not known, the tool
        is retracted after a rapid.
    setup : int
        Number of the setup, from 0, given to every move.
    work_offsets : mapping of str to (x, y, z)
        ``"G54"`` to ``"G59"``, ``"G59.1"`` to ``"G59.3"`` -> that work zero, mm, part frame. G54
        of the first setup is the part's zero unless given; one not listed is an error.
    home : (x, y, z) or None
        Tool tip at machine zero, mm, part frame; None: not known.
    block_delete : bool
        Leave out blocks that begin with ``/``; else they are executed. Either is noted.
    chord : float
        How far the chords of an arc in G18 or G19 may be off it, mm, over 0.
    dialect : Dialect
        What the control makes of words that controls read in different ways.
    accept : mapping of str to str
        Word (``"M41"``, ``"G66"``, or a letter such as ``"E"``) that the reader would refuse ->
        why it is harmless; it is then noted.
    parameters : mapping of int to float
        Values of parameters at the start.
    radii : mapping of int to float
        Tool number -> radius, mm, for D.
    d_errors : mapping of int to float
        D register -> value in it minus the true radius, mm.
    folder : Path or None
        The one folder in which called programs may lie; None: they must be in the program itself.
    """

    unit: Unit
    tools: Mapping[int, str] | None
    stock_top: float | None
    setup: int = 0
    work_offsets: Mapping[str, tuple[float, float, float]] = dataclasses.field(default_factory=dict)
    home: tuple[float, float, float] | None = None
    block_delete: bool = False
    chord: float = CHORD_MM
    dialect: Dialect = dataclasses.field(default_factory=Dialect)
    accept: Mapping[str, str] = dataclasses.field(default_factory=dict)
    parameters: Mapping[int, float] = dataclasses.field(default_factory=dict)
    radii: Mapping[int, float] = dataclasses.field(default_factory=dict)
    d_errors: Mapping[int, float] = dataclasses.field(default_factory=dict)
    folder: Path | None = None

    def work_zero(self, name: str) -> tuple[float, float, float] | None:
        """Return the work zero ``"G54"`` and so on, mm, part frame; None if it is not known."""
        if name == "G54" and self.setup == 0:
            return self.work_offsets.get(name, (0.0, 0.0, 0.0))
        return self.work_offsets.get(name)

    def unknown_work_zero(self, name: str) -> str:
        """Return the text of the error about a work zero that is not known."""
        known = sorted({*self.work_offsets, *(["G54"] if self.setup == 0 else [])})
        listed = ", ".join(known) or "none"
        return f"{name} is not in the job's work_offsets; expected one of: {listed}, or add {name}"
