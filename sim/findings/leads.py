"""Where passes come on to walls and go off them: the plain table of lead-ins and lead-outs."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .base import Point
    from .case import Case
    from .visits import End

__all__ = ["Lead", "leads_of"]


@dataclasses.dataclass(frozen=True)
class Lead:
    """One way on to a wall or off it; lengths in mm.

    Attributes
    ----------
    pass_number, tool, line : int
        The line of the move that comes on, or of the last one on the wall.
    on : bool
        A lead-in; else a lead-out.
    how : str
    at : (x, y, z)
        The tip where it comes on or goes off, at the lowest level that does so there.
    levels : int
        At how many levels.
    seen : bool
        On a face that is seen from a side that the job names under ``[[show]]``.
    cut_away : bool
        Nothing of the wall there is left at the end of the job, or it is no part.
    """

    pass_number: int
    tool: int
    line: int
    on: bool
    how: str
    at: Point
    levels: int
    seen: bool
    cut_away: bool


def leads_of(case: Case) -> tuple[Lead, ...]:
    """Return all lead-ins and lead-outs of walls, in the order of the program.

    Flat, bull and ball tools that run along an upright wall; levels at one place are one row.
    """
    from .visits import AT_ONE, order, visits_of

    rows: dict[tuple[int, bool, str, int, int, bool, bool], list[End]] = {}
    for visit in visits_of(case):
        for end in (visit.first, visit.last):
            x, y = (round(v / AT_ONE) for v in end.tip[:2])
            key = (visit.pass_number, end.on, end.how, x, y, end.seen, end.stays)
            rows.setdefault(key, []).append(end)
    found = []
    for key, ends in rows.items():
        low = min(ends, key=lambda e: e.tip[2])
        levels = len({round(e.tip[2] / AT_ONE) for e in ends})  # two walls at one are one level
        found.append((order(low), _row(case, key[0], low, levels)))
    return tuple(row for _, row in sorted(found, key=lambda pair: pair[0]))


def _row(case: Case, number: int, end: End, levels: int) -> Lead:
    from .walls import walls_of

    line = int(walls_of(case).moves.line[end.move])
    tool = case.passes[number].tool
    return Lead(number, tool, line, end.on, end.how, end.tip, levels, end.seen, not end.stays)
