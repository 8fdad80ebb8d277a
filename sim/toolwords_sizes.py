"""Sizes as the trade writes them: fractions, number and letter drills, threads."""

from __future__ import annotations

import dataclasses
import re
from typing import Final

from .units import MM_PER, Unit, length_mm

__all__ = ["LETTER_DRILLS", "NUMBER", "NUMBER_DRILLS", "Size", "number_of", "thread_size"]

NUMBER: Final = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d*\.\d+|\d+\.?)"
"""``1-1/2``, ``3/4``, ``.045``, ``12.``, ``6``."""

NUMBER_DRILLS: Final = dict(
    enumerate(
        (
            *(0.2280, 0.2210, 0.2130, 0.2090, 0.2055, 0.2040, 0.2010, 0.1990, 0.1960, 0.1935),
            *(0.1910, 0.1890, 0.1850, 0.1820, 0.1800, 0.1770, 0.1730, 0.1695, 0.1660, 0.1610),
            *(0.1590, 0.1570, 0.1540, 0.1520, 0.1495, 0.1470, 0.1440, 0.1405, 0.1360, 0.1285),
            *(0.1200, 0.1160, 0.1130, 0.1110, 0.1100, 0.1065, 0.1040, 0.1015, 0.0995, 0.0980),
            *(0.0960, 0.0935, 0.0890, 0.0860, 0.0820, 0.0810, 0.0785, 0.0760, 0.0730, 0.0700),
            *(0.0670, 0.0635, 0.0595, 0.0550, 0.0520, 0.0465, 0.0430, 0.0420, 0.0410, 0.0400),
        ),
        1,
    )
)
"""Diameters of drills number 1 to 60, in (ASME B94.11M, from memory)."""
LETTER_DRILLS: Final = dict(
    zip(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        (
            *(0.234, 0.238, 0.242, 0.246, 0.250, 0.257, 0.261, 0.266, 0.272, 0.277, 0.281),
            *(0.290, 0.295, 0.302, 0.316, 0.323, 0.332, 0.339, 0.348, 0.358, 0.368, 0.377),
            *(0.386, 0.397, 0.404, 0.413),
        ),
        strict=True,
    )
)
"""Diameters of letter drills, in (ASME B94.11M, from memory)."""


@dataclasses.dataclass(frozen=True)
class Size:
    """A length, an angle or a count of a tool.

    Attributes
    ----------
    text : str
        As a job's value: a bare number, or a text with its unit in quotes.
    mm : float
        A length; 0 for an angle or a count.
    guess : str
        What to check; empty: nothing.
    """

    text: str
    mm: float
    guess: str = ""

    @classmethod
    def length(cls, value: float, unit: str, job: Unit, guess: str = "") -> Size:
        """Return a length in a unit, bare where that is the job's."""
        mm = length_mm(f"{value:.10f}{unit}", job)
        text = f"{value:.10g}"
        if MM_PER[unit] != MM_PER[job]:
            text = f'"{text} {unit}"'
        return cls(text, mm, guess)

    def times(self, factor: float, job: Unit) -> Size:
        """Return a multiple of a length, in the job's unit."""
        return Size.length(round(self.mm * factor / MM_PER[job], 10), job, job, self.guess)


def number_of(text: str) -> float:
    """Return a number as the trade writes it, see `NUMBER`; 0 for a fraction of nothing."""
    whole, _, fraction = text.replace("-", " ").rpartition(" ")
    if "/" not in fraction:
        return float(text)
    above, below = fraction.split("/")
    return (float(whole or 0) + float(above) / float(below)) if float(below) else 0.0


def thread_size(text: str, job: Unit) -> tuple[Size | None, str] | None:
    """Return the diameter of a thread in a text, and the text without it; None: no thread.

    Metric (``M8X1.25``), numbered (``#10-32``) and inch (``1/4-20``) ones. Of a pipe thread, whose
    name is not its diameter, the diameter is None.
    """
    if re.search(r"\bNPT|\bPIPE|\bBSP|\bG\d", text):
        return None, re.sub(NUMBER, ";", text)
    metric = re.search(r"\bM\s*(\d{1,3}(?:\.\d+)?)(?![\d])(?:\s*[X*-]\s*(\d*\.?\d+))?", text)
    numbered = re.search(r"(?:#|\bNO\b\.?)\s*(\d{1,2})(?:\s*-\s*\d+)?(?![\d./])", text)
    inch = re.search(r"(?<![\w./#])(\d{1,2}/\d{1,2}|\d*\.\d+|[1-9])\s*-\s*\d{1,2}(?![\d./])", text)
    small = re.search(r"(?<![\w./#])(0|[1-9]|1[0-2])\s*-\s*\d{2}(?![\d./])", text)
    match = metric or numbered or small or inch
    if match is None:
        return None
    if metric:
        size = Size.length(float(metric[1]), "mm", job)
    elif numbered or small:  # ASME B1.1: number n is 0.060 + 0.013 n
        size = Size.length(round(0.060 + 0.013 * int(match[1]), 3), "in", job)
    else:
        size = Size.length(number_of(match[1]), "in", job)
    return size, text[: match.start()] + " ; " + text[match.end() :]
