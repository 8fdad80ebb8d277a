"""What the job tells the reader about the machine and the set-up."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Final

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
    tools : mapping of int to str
        Tool number -> the name that people see; loading another tool is an error.
    stock_top : float
        Highest stock, mm, part frame: above it the tool is retracted.
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
    """

    unit: Unit
    tools: Mapping[int, str]
    stock_top: float
    setup: int = 0
    work_offsets: Mapping[str, tuple[float, float, float]] = dataclasses.field(default_factory=dict)
    home: tuple[float, float, float] | None = None
    block_delete: bool = False
    chord: float = CHORD_MM

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
