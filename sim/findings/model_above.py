"""Passes that run over metal that is left, too high, and take nothing: that is what left it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from .walls import walls_of

if TYPE_CHECKING:
    from .base import Point
    from .case import Case

__all__ = ["passed_over"]

NOTHING: Final = 1e-6
"""A pass that takes no more takes nothing, mm^3."""
SAME: Final = 1e-6


def passed_over(case: Case, number: int, at: Point) -> int | None:
    """Return the lowest level move of the last pass that took nothing and runs over a place.

    Parameters
    ----------
    case : Case
    number : int
        The pass that left the metal; only later ones count.
    at : (x, y, z)
        On the metal.

    Returns
    -------
    int or None
        None: there is no such pass, or the case has no result.
    """
    walls = walls_of(case)
    for row in reversed(getattr(case.result, "passes", ())):
        later = row.info.number
        if later <= number or row.removed > NOTHING:
            continue
        places = walls.stations(walls.of_pass(later))
        if not len(places):
            continue
        radius = case.tool_of(later).flat_radius
        over = np.hypot(*(places.tip[:, :2] - at[:2]).T) <= radius + SAME
        over &= places.tip[:, 2] > at[2] + SAME
        moves = walls.moves
        over &= np.abs(moves.end[places.move, 2] - places.tip[:, 2]) < SAME
        over &= np.abs(moves.start[places.move, 2] - places.tip[:, 2]) < SAME
        if over.any():
            z = np.where(over, places.tip[:, 2], np.inf)
            return int(walls.before.of[places.move[np.argmin(z)]])
    return None
