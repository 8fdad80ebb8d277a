"""Ways onto a path and off it: plunge, straight, arc, and ramp along the path."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from ..contour import SNAP_MM, TOUCH_MM, Contour, Piece, Point, distance
from ..units import Unit, say_length
from .emit import Tip
from .operations import Lead, Plunge, Ramp, StraightLead
from .shapes import PassError
from .start import begun_along

__all__ = ["Way", "ramp_down", "ramp_length", "walked_back"]

LEAD_SAMPLES: Final = 256
"""Places along an approach at which its distance to the contour is looked at."""
RAMP_DEGREES: Final = 3.0
"""Slope of a ramp unless said."""
RAMP_LAPS: Final = 1000
"""Most times round a path on the way down; more is a slip in the angle."""


class Way:
    """A path at one distance from its walls, with its ways on and off.

    Parameters
    ----------
    path : Contour
    left : bool
        The tool's side, from which it comes: left of the path, or right.
    approach : Lead
    retract : Lead or None
        None: as the approach, and straight up after a ramp.
    overlap : float
        How far a closed path is run past its start, mm.
    """

    def __init__(
        self,
        path: Contour,
        left: bool,
        approach: Lead,
        retract: Lead | None = None,
        overlap: float = 0.0,
    ) -> None:
        self.path, self.approach = path, approach
        same: Lead = Plunge(kind="plunge") if isinstance(approach, Ramp) else approach
        self.retract = same if retract is None else retract
        self._past = path.walk(overlap) if overlap else []
        side = 1.0 if left else -1.0
        last = (self._past or list(path.pieces))[-1]
        first = path.pieces[0]
        lead_in = _lead(approach, first.start, first.heading(0), side, back=True)
        self.lead_in = [p.reversed() for p in lead_in]
        self.lead_out = _lead(self.retract, last.end, last.heading(1), side, back=False)
        self._on = begun_along(path, overlap) if isinstance(self.retract, Ramp) else path

    @property
    def start(self) -> Point:
        """Where it begins, lead and all but a ramp, mm."""
        return self.lead_in[0].start if self.lead_in else self.path.start

    def check(self, walls: Sequence[Contour], gap: float, unit: Unit) -> None:
        """Raise where a lead comes nearer to the walls than `gap`, mm."""
        for lead, key in ((self.lead_in, "approach"), (self.lead_out, "retract")):
            _check_lead(lead, walls, gap, key, unit)

    def cut(self, tip: Tip, z: float, metal: float) -> None:
        """Come from above, down to a level, along the path, and go up.

        Parameters
        ----------
        tip : Tip
        z : float
            The level, mm.
        metal : float
            z of the metal there, mm.
        """
        self.enter(tip, z, metal)
        tip.along(self.path.pieces)
        self.leave(tip, metal)

    def enter(self, tip: Tip, z: float, metal: float) -> None:
        """Come from above to the start of the path, at the level."""
        if not isinstance(self.approach, Ramp):
            tip.over(self.start)
            tip.near(metal)
            tip.plunge(z)
            tip.along(self.lead_in)
            return
        loop = _there_and_back(self.path)
        length = ramp_length(self.approach, tip.near_z(metal) - z, loop, "approach")
        pieces = walked_back(loop, length)
        tip.over(pieces[0].start)
        tip.near(metal)
        tip.ramp(pieces, z)

    def leave(self, tip: Tip, metal: float) -> None:
        """Run past the start of a closed path, go off the path and up."""
        tip.along(self._past)
        tip.along(self.lead_out)
        if isinstance(self.retract, Ramp) and tip.at is not None:
            loop = _there_and_back(self._on, forth=False)
            high = tip.near_z(metal)
            length = ramp_length(self.retract, high - tip.at[2], loop, "retract")
            tip.ramp(loop.walk(length), high)
        tip.up()


def ramp_length(ramp: Ramp, drop: float, loop: Contour, key: str) -> float:
    """Return how far a ramp runs along a path, seen from above, mm.

    Raises
    ------
    PassError
        Angle and length both given, or a thousand times round.
    """
    if ramp.angle is not None and ramp.length is not None:
        raise PassError(f"{key}.length", "a ramp has an angle or a length, not both")
    if ramp.length is not None:
        length = ramp.length
    else:
        angle = RAMP_DEGREES if ramp.angle is None else ramp.angle
        length = drop / math.tan(math.radians(angle))
    if length > RAMP_LAPS * loop.length:
        raise PassError(
            f"{key}.{'angle' if ramp.length is None else 'length'}",
            f"would go round the path {length / loop.length:.0f} times; take a steeper ramp, or "
            "a plunge",
        )
    return length


def ramp_down(tip: Tip, ramp: Ramp, loop: Contour, z: float) -> None:
    """Go down along a closed path from its start, and on to its start at the level.

    Raises
    ------
    PassError
        A ramp so flat that it goes round the path a thousand times.
    """
    if tip.at is None or tip.at[2] <= z:
        return
    length = ramp_length(ramp, tip.at[2] - z, loop, "approach")
    tip.ramp(loop.walk(length), z)
    rest = loop.length - length % loop.length
    tip.along(walked_back(loop, rest))


def walked_back(loop: Contour, length: float) -> list[Piece]:
    """Return the pieces over a length of a closed path that lead up to its start."""
    return [p.reversed() for p in reversed(loop.reversed().walk(length))]


def _there_and_back(path: Contour, *, forth: bool = True) -> Contour:
    """Return a closed path as it is, and an open one walked forth and back, or back and forth."""
    if path.closed:
        return path
    back = path.reversed().pieces
    return Contour((*path.pieces, *back) if forth else (*back, *path.pieces), True)


def _lead(lead: Lead, point: Point, heading: Point, side: float, *, back: bool) -> list[Piece]:
    """Return the piece that leads away from a point of the path, backwards or forwards.

    `side` is 1 with the tool on the left of the path, else -1.
    """
    if isinstance(lead, Plunge | Ramp):
        return []
    sign = -1.0 if back else 1.0
    ux, uy = sign * heading[0], sign * heading[1]
    nx, ny = -side * heading[1], side * heading[0]  # to the tool's side
    if isinstance(lead, StraightLead):
        c, s = math.cos(math.radians(lead.angle)), math.sin(math.radians(lead.angle))
        end = (
            point[0] + lead.length * (c * ux + s * nx),
            point[1] + lead.length * (c * uy + s * ny),
        )
        return [Piece(point, end)]
    center = (point[0] + lead.radius * nx, point[1] + lead.radius * ny)
    turn = sign * side * math.radians(lead.angle)
    c, s = math.cos(turn), math.sin(turn)
    x, y = point[0] - center[0], point[1] - center[1]
    end = (center[0] + c * x - s * y, center[1] + s * x + c * y)
    return [Piece(point, end, center, turn)]


def _check_lead(
    lead: Sequence[Piece], walls: Sequence[Contour], gap: float, key: str, unit: Unit
) -> None:
    if not lead or gap <= TOUCH_MM:
        return
    points = [lead[0].at(n / LEAD_SAMPLES) for n in range(LEAD_SAMPLES + 1)]
    nearest = float(distance(walls, points).min())
    if nearest < gap - SNAP_MM:
        raise PassError(
            key,
            f"cuts the wall: it comes {say_length(gap - nearest, unit, 6)} nearer to the contour "
            "than the path does. Make it shorter or smaller, or move the contour's start",
        )
