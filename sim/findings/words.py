"""What the program says at a finding, and how a part of a tool meets something."""

from __future__ import annotations

import functools
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ..strict import clean
from ..units import say_fine

if TYPE_CHECKING:
    from ..job import Job
    from ..units import Unit
    from .base import Finding

__all__ = ["cycle_r", "lines_said", "meets", "quoted"]

MOST: Final = 60
"""Letters of a line that are shown."""
TOUCH: Final = 1e-6
"""A gap or an overlap of less is a touch, mm."""


def meets(what: str, gap: float, unit: Unit) -> str:
    """Return how a part of a tool meets something, in words; gap in mm, below 0 an overlap."""
    if gap > TOUCH:
        return f"clears {what} by only {say_fine(gap, unit)}"
    return f"touches {what}" + (f", {say_fine(-gap, unit)} deep" if gap < -TOUCH else "")


def lines_said(first: int, last: int) -> str:
    """Return ``line 33``, or ``lines 33 to 41``."""
    return f"line {first}" if first == last else f"lines {first} to {last}"


def quoted(job: Job, finding: Finding) -> str:
    """Return the program's line at which a finding begins; empty: there is none to show."""
    setup = job.spec.setups[_setup_of(job, finding.pass_number)]
    path = setup.program
    if path is None:
        return ""
    lines = _lines(path)
    index = finding.lines[0] - 1
    if not 0 <= index < len(lines):
        return ""
    text = clean(lines[index].strip(), 200)
    return text if len(text) <= MOST else text[: MOST - 3] + "..."


_COMMENT: Final = re.compile(r"\([^)]*\)|;.*")
_MOTION: Final = re.compile(r"(?<![A-Z])G0*(\d+)(?![\d.])")
_CYCLES: Final = frozenset({73, 74, 76, *range(81, 90)})
_R: Final = re.compile(r"(?<![A-Z])R\s*([-+]?[\d.]+)")


def cycle_r(job: Job, setup: int, line: int) -> tuple[int, float] | None:
    """Return the line of the R word of the canned cycle that runs at a line, and its number.

    None: no cycle runs there, or its R is not written as a number.
    """
    path = job.spec.setups[setup].program
    if path is None:
        return None
    for k in range(line, 0, -1):
        text = _plain(path, k)
        codes = [int(code) for code in _MOTION.findall(text)]
        codes = [c for c in codes if c in _CYCLES or c <= 3 or c == 80]
        if codes and codes[-1] not in _CYCLES:
            return None
        r = _R.search(text)
        if r:
            return k, float(r[1])
        if codes:  # a cycle of its own, without a number for R
            return None
    return None


def _plain(path: Path, line: int) -> str:
    """Return the words of a line, comments and blanks left out."""
    lines = _lines(path)
    text = lines[line - 1] if line <= len(lines) else ""
    return "".join(_COMMENT.sub("", text).upper().split())


def _setup_of(job: Job, pass_number: int) -> int:
    return next((p.setup for p in job.program.passes if p.number == pass_number), 0)


@functools.lru_cache(maxsize=4)
def _lines(path: Path) -> list[str]:
    from ..program import text_of

    return text_of(path).split("\n")
