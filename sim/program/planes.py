"""Planes of arcs (G17, G18, G19) and the chords that stand for an arc whose axis is not Z.

A cutter that follows an arc about X or Y sweeps a body with no handy closed form, so such an arc
runs as short straight moves that stay within a stated bound of it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from typing import Final

__all__ = ["PLANES", "Plane", "chord_count", "chord_ends"]

MOST_TURN: Final = math.pi / 8
"""Widest angle of one chord, radians: the smallest circle still has 16 of them."""
SHARE: Final = 0.999
"""Part of the bound that chords use; the rest covers the rounding of their ends to 1e-10 mm."""

Point = tuple[float, float, float]


@dataclasses.dataclass(frozen=True)
class Plane:
    """A plane of arcs, its axes named as NISTIR 6556 does.

    Attributes
    ----------
    code : int
        Ten times the G number.
    first, second, along : int
        Axes by number, X 0, Y 1, Z 2: the two of the plane, in the order in which the shortest
        turn from the positive first to the positive second is counter-clockwise seen from the
        positive end of the third; and that third one. In G18 these are Z, X and Y.
    """

    code: int
    first: int
    second: int
    along: int

    @property
    def axes(self) -> tuple[str, str]:
        """Letters of the plane's axes, in the order of the alphabet: ``("X", "Z")``."""
        low, high = sorted((self.first, self.second))
        return "XYZ"[low], "XYZ"[high]

    @property
    def centers(self) -> tuple[str, str]:
        """Letters of the distances to the centre, in the order of the alphabet: ``("I", "K")``."""
        low, high = sorted((self.first, self.second))
        return "IJK"[low], "IJK"[high]

    @property
    def says(self) -> str:
        """What the plane is called: ``XZ plane (G18)``."""
        return f"{''.join(self.axes)} plane (G{self.code // 10})"

    @property
    def stranger(self) -> str:
        """The distance to the centre that has no use in this plane: ``J`` in G18."""
        return "IJK"[self.along]

    def flat(self, point: Point) -> tuple[float, float]:
        """Return the first and second coordinate of a point."""
        return point[self.first], point[self.second]

    def offset(self, distances: dict[str, float]) -> tuple[float, float]:
        """Return I, J or K along the first and second axis; 0 for one that is left out."""
        return distances.get("IJK"[self.first], 0.0), distances.get("IJK"[self.second], 0.0)

    def point(self, first: float, second: float, along: float) -> Point:
        """Return a point by its coordinates in this plane and along its third axis."""
        found = [along, along, along]
        found[self.first], found[self.second] = first, second
        return found[0], found[1], found[2]


PLANES: Final[dict[int, Plane]] = {
    170: Plane(170, 0, 1, 2),
    180: Plane(180, 2, 0, 1),
    190: Plane(190, 1, 2, 0),
}
"""Ten times the G number -> its plane (NISTIR 6556 3.5.6)."""


def chord_count(radius_mm: float, turn: float, bound_mm: float, spread_mm: float = 0.0) -> int:
    """Return how many equal chords keep within a bound of an arc, and of its length.

    Parameters
    ----------
    radius_mm : float
        Radius, the larger of those at start and end.
    turn : float
        Angle, radians, either sign.
    bound_mm : float
        How far the chords may be off the arc.
    spread_mm : float
        How much the radii at start and end differ.

    Notes
    -----
    A point that runs along the chord while its angle grows evenly lies at most
    ``step**2 / 8 * max|P''|`` off the arc ``P(angle)``, also on a helix, whose third coordinate is
    linear in the angle (error of linear interpolation; derived). For an even change of radius
    ``|P''| = hypot(radius, 2 spread / turn)``. All chords together are shorter than the arc by
    ``radius turn step**2 / 24`` (derived): beyond three radians that is what decides.
    """
    angle = abs(turn)
    bend = math.hypot(radius_mm, 2.0 * spread_mm / angle)
    step = math.sqrt(8.0 * SHARE * bound_mm / bend * min(1.0, 3.0 / angle))
    return max(1, math.ceil(angle / min(step, MOST_TURN)))


def chord_ends(
    plane: Plane,
    start: Point,
    end: Point,
    center: tuple[float, float],
    turn: float,
    bound_mm: float,
) -> Iterator[Point]:
    """Yield the ends of the chords of an arc or helix, mm; the last is `end` itself.

    Parameters
    ----------
    plane : Plane
    start, end : (x, y, z)
        mm; a third coordinate that is not known (NaN) stays so up to the last chord.
    center : (first, second)
        Along the plane's axes, mm.
    turn : float
        Radians, counter-clockwise positive seen from the positive end of the third axis.
    bound_mm : float
        How far the chords may be off the arc, mm. Where the radii of start and end differ, the
        arc is the one whose radius changes evenly with the angle.
    """
    (ax, ay), (bx, by) = plane.flat(start), plane.flat(end)
    first_radius = math.hypot(ax - center[0], ay - center[1])
    spread = math.hypot(bx - center[0], by - center[1]) - first_radius
    angle = math.atan2(ay - center[1], ax - center[0])
    z, rise = start[plane.along], end[plane.along] - start[plane.along]
    largest = first_radius + max(0.0, spread)
    count = chord_count(largest, turn, bound_mm, abs(spread))
    for k in range(1, count):
        share = k / count
        radius, at = first_radius + spread * share, angle + turn * share
        yield plane.point(
            round(center[0] + radius * math.cos(at), 10),
            round(center[1] + radius * math.sin(at), 10),
            round(z + rise * share, 10),
        )
    yield end
