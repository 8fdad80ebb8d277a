"""Centre and angle of an arc in its plane (NISTIR 6556 3.5.3).

A place in the plane is given along its first and second axis, as `planes.Plane` has them.
"""

from __future__ import annotations

import math
from typing import Final

__all__ = ["ARC_TOLERANCE_MM", "ArcError", "center_of_radius_arc", "check_radii", "turn_of"]

ARC_TOLERANCE_MM: Final[dict[str, float]] = {"in": 0.0002 * 25.4, "mm": 0.002}
"""How much the radii of an arc's start and end may differ, by the unit in force, mm."""
ROUNDING_MM: Final = 1e-9
"""Positions are rounded to 1e-10 mm: a radius and its limit agree to less than this."""


class ArcError(Exception):
    """No such arc; the text says why."""


def check_radii(start_mm: float, end_mm: float, unit: str, centers: str = "I and J") -> None:
    """Raise `ArcError` unless start and end are equally far from the centre, and not at it.

    Parameters
    ----------
    start_mm, end_mm : float
        Distances from the centre.
    unit : {'in', 'mm'}
        The unit in force, which sets the tolerance and the text.
    centers : str
        The words that give the centre in this plane.
    """
    per, places = (25.4, 6) if unit == "in" else (1.0, 5)
    shown = (
        f"radius {start_mm / per:.{places}f} {unit} at the start and "
        f"{end_mm / per:.{places}f} {unit} at the end"
    )
    tolerance = ARC_TOLERANCE_MM[unit]
    if abs(start_mm - end_mm) > tolerance + ROUNDING_MM:
        raise ArcError(
            f"the arc does not close: {shown}, {abs(start_mm - end_mm) / per:.{places}f} {unit} "
            f"apart; expected at most {tolerance / per:g} {unit}"
        )
    if min(start_mm, end_mm) <= ROUNDING_MM:
        raise ArcError(f"the arc has no radius: {shown}; expected {centers} to the centre")


def turn_of(
    start: tuple[float, float],
    end: tuple[float, float],
    center: tuple[float, float],
    clockwise: bool,
) -> float:
    """Return the angle of an arc, radians, counter-clockwise positive.

    Counter-clockwise as seen from the positive end of the plane's third axis (NISTIR 6556 3.5.3).

    More than 0 and at most a full circle; a full one where start and end are the same point.
    """
    if start == end:
        return -math.tau if clockwise else math.tau
    ax, ay = start[0] - center[0], start[1] - center[1]
    bx, by = end[0] - center[0], end[1] - center[1]
    angle = math.atan2(ax * by - ay * bx, ax * bx + ay * by)
    if clockwise:
        return angle if angle < 0 else angle - math.tau
    return angle if angle > 0 else angle + math.tau


def center_of_radius_arc(
    start: tuple[float, float],
    end: tuple[float, float],
    radius: float,
    clockwise: bool,
    unit: str,
    centers: str = "I and J",
) -> tuple[float, float]:
    """Return the centre of an arc given by its radius, mm.

    A positive radius takes the arc of at most half a circle, a negative one the longer. A chord
    longer than the diameter by no more than the arc tolerance is a half circle. `centers` are the
    words that give the centre in this plane.

    Raises
    ------
    ArcError
        No radius, start and end the same point, or a radius too small to reach.
    """
    per, places = (25.4, 6) if unit == "in" else (1.0, 5)
    dx, dy = end[0] - start[0], end[1] - start[1]
    half = math.hypot(dx, dy) / 2
    if half == 0:
        raise ArcError(
            "an arc with R ends where it starts, so its centre can be anywhere; expected "
            f"{centers} for a full circle"
        )
    if abs(radius) <= ROUNDING_MM:
        raise ArcError("an arc with R0; expected the radius of the arc")
    if half > abs(radius) + ARC_TOLERANCE_MM[unit] + ROUNDING_MM:
        raise ArcError(
            f"R {radius / per:.{places}f} {unit} can't reach the end, {2 * half / per:.{places}f} "
            f"{unit} away; expected at least {half / per:.{places}f} {unit}"
        )
    rise = math.sqrt(max(0.0, radius * radius - half * half)) / (2 * half)
    # Counter-clockwise and short: the centre is to the left of the chord.
    side = -rise if clockwise != (radius < 0) else rise
    return (start[0] + end[0]) / 2 - side * dy, (start[1] + end[1]) / 2 + side * dx
