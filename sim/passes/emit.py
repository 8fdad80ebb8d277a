"""The tool's way through one pass: rapids over the part, down, along pieces, up again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from ..contour import TOUCH_MM, Piece, Point
from ..moves import ARC, LINE, MoveList
from .shapes import PassError

__all__ = ["LIMIT_MOVES", "Tip", "level_heights"]

LIMIT_MOVES: Final = 2_000_000
"""Most moves of one pass; more is a slip in a depth or a stepover."""
LIMIT_LEVELS: Final = 10_000


def level_heights(top: float, bottom: float, depth: float | None) -> list[float]:
    """Return z of each level, mm, from the top down, the last exactly at `bottom`.

    Raises
    ------
    PassError
        Over 10,000 levels.
    """
    if depth is None:
        return [bottom]
    # A last level thinner than rounding belongs to the one before.
    count = max(1, math.ceil((top - bottom) / depth - TOUCH_MM))
    if count > LIMIT_LEVELS:
        raise PassError(
            "axial_cutting_depth", f"would take {count} levels; at most {LIMIT_LEVELS} are made"
        )
    return [*(round(top - depth * n, 10) for n in range(1, count)), bottom]


class Tip:
    """Where the tip is, and the moves that it makes.

    Parameters
    ----------
    moves : MoveList
        Moves are added to it.
    fixed : mapping
        setup, tool, pass_number, h_register, spindle and line of every move.
    feed, plunge_feed : float
        mm/min.
    plane : float
        z of the rapids over the part, mm.
    security : float
        How far above the metal a rapid down ends, mm.
    """

    def __init__(
        self,
        moves: MoveList,
        fixed: Mapping[str, Any],
        *,
        feed: float,
        plunge_feed: float,
        plane: float,
        security: float,
    ) -> None:
        self._moves, self._fixed = moves, dict(fixed)
        self._feed, self._plunge_feed = feed, plunge_feed
        self.plane, self.security = plane, security
        self._first = len(moves)
        self.at: tuple[float, float, float] | None = None

    def _add(
        self,
        end: tuple[float, float, float],
        *,
        feed: float = 0.0,
        center: Point = (0.0, 0.0),
        turn: float = 0.0,
    ) -> None:
        # As `MoveList` rounds, so that a way shorter than that is no move; + 0.0: no minus zero.
        x, y, z = (round(float(v), 10) + 0.0 for v in end)
        end = (x, y, z)
        start = self.at or (x, y, math.nan)
        self.at = end
        if start == end and not turn:
            return
        if len(self._moves) - self._first >= LIMIT_MOVES:
            raise PassError(
                "",
                f"takes over {LIMIT_MOVES} moves; check its depths and the distance of its paths",
            )
        self._moves.add(
            start,
            end,
            center,
            kind=ARC if turn else LINE,
            turn=turn,
            rapid=feed == 0,
            feed=feed,
            **self._fixed,
        )

    def up(self) -> None:
        """Go up to the plane of the rapids."""
        if self.at is not None and self.at[2] < self.plane:
            self._add((*self.at[:2], self.plane))

    def over(self, point: Point) -> None:
        """Go over a place, in the plane of the rapids; the first time from above."""
        self.up()
        self._add((*point, self.plane))

    def near_z(self, metal: float) -> float:
        """Return z just above the metal of a place, where a rapid down ends, mm."""
        return round(min(self.plane, metal + self.security), 10)

    def near(self, metal: float) -> None:
        """Go down in a rapid, to just above the metal of the place."""
        z = self.near_z(metal)
        if self.at is not None and z < self.at[2]:
            self._add((*self.at[:2], z))

    def plunge(self, z: float) -> None:
        """Go straight down to a level."""
        if self.at is not None:
            self._add((*self.at[:2], z), feed=self._plunge_feed)

    def lift(self, z: float) -> None:
        """Go straight up in a rapid, to z or the plane of the rapids if that is lower."""
        if self.at is not None:
            self._add((*self.at[:2], round(min(z, self.plane), 10)))

    def line(self, point: Point) -> None:
        """Cut straight to a place, at the same level."""
        if self.at is not None:
            self._add((*point, self.at[2]), feed=self._feed)

    def to(self, point: tuple[float, float, float]) -> None:
        """Cut straight to a place and a height."""
        self._add(point, feed=self._feed)

    def along(self, pieces: Sequence[Piece]) -> None:
        """Cut along pieces at the same level; the tip is where they begin."""
        if self.at is not None:
            for piece in pieces:
                self._piece(piece, self.at[2], self._feed)

    def ramp(self, pieces: Sequence[Piece], z: float) -> None:
        """Cut along pieces, going down or up evenly to a level that the last one reaches."""
        if self.at is None:
            return
        feed = self._plunge_feed if z < self.at[2] else self._feed
        high, whole, walked = self.at[2], math.fsum(p.length for p in pieces), 0.0
        for n, piece in enumerate(pieces):
            walked += piece.length
            last = n == len(pieces) - 1
            here = z if last else high + (z - high) * (walked / whole)
            self._piece(piece, here, feed)

    def _piece(self, piece: Piece, z: float, feed: float) -> None:
        self._add((*piece.end, z), feed=feed, center=piece.center, turn=piece.turn)
