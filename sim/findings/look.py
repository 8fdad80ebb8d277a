"""Gaps and rays of a case, as the rules on clearance ask for them."""

from __future__ import annotations

import cmath
import functools
import math
from collections.abc import Container
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC
from ..pieces import LABELS

if TYPE_CHECKING:
    from ..clearance import StockGaps
    from ..moves import Moves
    from .case import Case

__all__ = ["HAIR", "SAME", "Look", "tip_near"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAME: Final = 1e-6
"""Gaps nearer than this are one, mm."""
HAIR: Final = 1e-5
"""Rays run so far beside an edge, mm."""
MOST_RAISED: Final = 1000
"""A part is raised over so many moves at most: each round asks all of them."""
ROUNDS: Final = 24
"""Most places that are looked at, one after the other, for how far a part must go up."""


def tip_near(moves: Moves, move: int, place: Floats) -> Floats:
    """Return the tip where it is nearest to a place in plan; the lowest, on a plunge."""
    start, end = moves.start[move], moves.end[move]
    if moves.kind[move] == ARC:
        center, turn = complex(*moves.center[move]), float(moves.turn[move])
        arm, size = complex(*start[:2]) - center, abs(turn)
        ahead = cmath.phase((complex(*place[:2]) - center) / arm) * math.copysign(1.0, turn)
        ahead %= 2 * math.pi
        if ahead > size:  # before the start or past the end: the nearer of the two
            ahead = size if ahead - size < 2 * math.pi - ahead else 0.0
        share, at = ahead / size, center + arm * cmath.exp(1j * turn * ahead / size)
        plan = np.array([at.real, at.imag])
    elif (start[:2] == end[:2]).all():
        return np.array([*end[:2], float(np.fmin(start[2], end[2]))])
    else:
        along = end[:2] - start[:2]
        share = float(np.clip((place[:2] - start[:2]) @ along / (along @ along), 0.0, 1.0))
        plan = start[:2] + share * along
    return np.array([*plan, start[2] + share * (end[2] - start[2])])


class Look:
    """Gaps and rays of a case, as the rules on clearance ask for them."""

    def __init__(self, case: Case) -> None:
        self.case, self.moves = case, case.moves

    @functools.cached_property
    def stock(self) -> StockGaps:
        """The search for gaps, over all moves."""
        from ..clearance import StockGaps

        return StockGaps(self.case.job, len(self.moves))

    def rows(self, tool: int, labels: Container[str] = LABELS) -> Floats:
        """Return frustums of a tool; of all of it, or of the parts named."""
        from ..clearance import frustums

        return frustums([p for p in self.case.job.tools[tool].pieces if p.label in labels])

    def of(self, tool: int) -> Ints:
        """Return the moves of a tool that sweep."""
        return np.flatnonzero(self.moves.sweeps() & (self.moves.tool == tool))

    def least(self, rows: Floats, moves: Ints) -> tuple[float, Floats, int] | None:
        """Return gap, place and move of the least gap of frustums to the stock."""
        return self.stock.least(rows, moves, lambda _: None) if len(moves) else None

    def lowest(self, moves: Ints) -> Floats:
        """Return the lowest z of the tip on moves, mm."""
        low: Floats = np.fmin(self.moves.start[moves, 2], self.moves.end[moves, 2])
        return low

    def tip(self, move: int, place: Floats) -> Floats:
        """Return the tip where it is nearest to a place in plan; the lowest, on a plunge."""
        return tip_near(self.moves, move, place)

    def way(self, move: int, place: Floats) -> Floats | None:
        """Return the level unit direction from the axis to a place; None: it lies on the axis."""
        way = place[:2] - self.tip(move, place)[:2]
        length = float(np.hypot(*way))
        return None if length < SAME else way / length

    def top(self, move: int, place: Floats) -> float:
        """Return the top of the metal at a place on its face, once a move is done; -inf: none."""
        way, high = self.way(move, place), float(self.case.job.stock.high[2]) + 1.0
        aside = np.zeros(2) if way is None else way
        places = np.array([[*(place[:2] + k * HAIR * aside), high] for k in (0, 1, -1)])
        metal = self.case.job.rays(places, (0.0, 0.0, -1.0), as_of=move + 1, threads=1)
        first = metal.first()
        return high - float(metal.enter[first[first >= 0]].min(initial=math.inf))

    def hit(
        self, origin: Floats, way: Floats, z: float, as_of: int, far: float
    ) -> tuple[float, int] | None:
        """Return distance and maker of the first metal on a level ray; None: none so far out."""
        at, along = np.array([[origin[0], origin[1], z]]), np.array([*way, 0.0])
        metal = self.case.job.rays(at, along, as_of=as_of, span=(0.0, far), threads=1)
        first = int(metal.first()[0])
        return (float(metal.enter[first]), int(metal.enter_move[first])) if first >= 0 else None

    def raise_needed(self, rows: Floats, moves: Ints, margin: float) -> float | None:
        """Return how far up a part has to go to be free of the stock, mm; None: no end.

        Each round looks at the nearest place and goes up past it: past the top of a wall beside
        it, or as far over an edge as the distance to that in plan asks for. Not looked for over
        very many moves.
        """
        up = 0.0
        if len(moves) > MOST_RAISED:
            return None
        for _ in range(ROUNDS):
            found = self.least(rows + np.array([up, up, 0.0, 0.0]), moves)
            if found is None or found[0] >= margin - SAME:
                return up
            gap, place, move = found
            tip = self.tip(move, place)
            aside = float(np.hypot(*(place[:2] - tip[:2]))) - rows[:, 2:].max(axis=1)
            near = aside <= margin + HAIR
            high = np.sqrt(margin**2 - np.clip(aside[near], 0.0, margin) ** 2)
            over = max(self.top(move, place), float(place[2])) + high - (tip[2] + rows[near, 0])
            up = max(up + max(margin - gap, SAME) * 1e-3, float(over.max(initial=-math.inf)) + 1e-7)
        return None
