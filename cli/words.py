"""Words that commands share, and how rows of text are laid out on a screen."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable

__all__ = ["CAUTION", "count", "row", "say_time", "screen_width", "wrapped"]

CAUTION = (
    "Simulated, no proof of a safe program: prove it out with single block and reduced rapids, "
    "guards closed, eyes protected. The machine's manual, local rules and qualified people decide."
)

WIDEST = 100
"""Columns that a row may take; a narrower screen takes less."""
NARROWEST = 60


def count(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun: ``no skim``, ``1 pass``, ``1,200 moves``."""
    word = one if number == 1 else many or f"{one}s"
    return f"{number:,} {word}" if number else f"no {word}"


def screen_width() -> int:
    """Return the columns that a row may take."""
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDEST, 24)).columns))


def row(lead: str, parts: Iterable[str], width: int) -> str:
    """Return a row: a lead, then as many parts to a line as fit, the rest indented under them.

    Parameters
    ----------
    lead : str
        Comes first; further lines are indented by its length.
    parts : iterable of str
        Kept whole where a line can hold them.
    width : int
        Columns that a line may take.
    """
    lines = [lead]
    indent = " " * len(lead)
    for part in parts:
        gap = "" if lines[-1] in (lead, indent) else " "
        if gap and len(lines[-1]) + 1 + len(part) > width:
            lines.append(indent)
            gap = ""
        pieces = wrapped(part, max(20, width - len(indent)))
        lines[-1] += gap + pieces[0]
        lines += [indent + piece for piece in pieces[1:]]
    return "\n".join(lines)


def wrapped(text: str, width: int) -> list[str]:
    """Return a text in lines of at most `width` columns; a longer word is kept whole."""
    if len(text) <= width:
        return [text]
    return textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False)


def say_time(seconds: float) -> str:
    """Return a time as people say it: ``30.7 s``, ``4 min 06 s``, ``1 h 02 min``."""
    whole = round(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    if hours:
        return f"{hours} h {minutes:02d} min"
    return f"{minutes} min {rest:02d} s" if minutes else f"{seconds:.1f} s"
