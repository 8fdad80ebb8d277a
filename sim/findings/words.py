"""Where in words, and what the program says there."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ..strict import clean
from ..units import say_fine

if TYPE_CHECKING:
    from ..job import Job
    from ..units import Unit
    from .base import Finding, Point

__all__ = ["meets", "quoted", "where"]

EDGE: Final = 0.8
"""From this share of the half width on a place is at an edge of the part."""
MIDDLE: Final = 1 / 3
"""Up to this share it is in the middle."""
MOST: Final = 60
"""Letters of a line that are shown."""
TOUCH: Final = 1e-6
"""A gap or an overlap of less is a touch, mm."""


def meets(what: str, gap: float, unit: Unit) -> str:
    """Return how a part of a tool meets something, in words; gap in mm, below 0 an overlap."""
    if gap > TOUCH:
        return f"clears {what} by only {say_fine(gap, unit)}"
    return f"touches {what}" + (f", {say_fine(-gap, unit)} deep" if gap < -TOUCH else "")


def where(job: Job, at: Point) -> str:
    """Return where a place is, in words, as one looks at the part from the front (-Y).

    Parameters
    ----------
    job : Job
    at : (x, y, z)
        mm, part frame.
    """
    low, high = _box(job)
    across, deep = (
        (at[k] - 0.5 * (low[k] + high[k])) / max(0.5 * (high[k] - low[k]), 1e-9) for k in (0, 1)
    )
    side = "left" if across < 0 else "right"
    end = "front" if deep < 0 else "back"
    if abs(deep) > EDGE:
        if abs(across) > EDGE:
            return f"{end} wall, {side} corner"
        return f"{end} wall, " + ("middle" if abs(across) < MIDDLE else f"{side} half")
    if abs(across) > EDGE:
        return f"{side} wall, " + ("middle" if abs(deep) < MIDDLE else f"towards the {end}")
    parts = [end] * (abs(deep) > MIDDLE) + [side] * (abs(across) > MIDDLE)
    return "inside, " + (" ".join(parts) or "middle")


def _box(job: Job) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the corners in plan of the part's model, or of the stock, mm."""
    part = job.spec.part
    if part is not None and part.model is not None:
        from ..stock import closed_mesh

        vertices, _ = closed_mesh(part.model, job.unit, "part")
        low, high = vertices.min(axis=0), vertices.max(axis=0)
    else:
        low, high = job.stock.low, job.stock.high
    return tuple(map(float, low[:2])), tuple(map(float, high[:2]))


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


def _setup_of(job: Job, pass_number: int) -> int:
    return next((p.setup for p in job.program.passes if p.number == pass_number), 0)


@functools.lru_cache(maxsize=4)
def _lines(path: Path) -> list[str]:
    from ..program import text_of

    return text_of(path).split("\n")
