"""Places of holes: points, and patterns on a bolt circle, in a grid, on a line."""

from __future__ import annotations

import math
from typing import Final

from ..contour import Point, turned
from ..units import Unit
from .operations import Grid, HoleCircle, HolePattern, Holes, Line
from .shapes import LEAST_MM, PassError, say_point

__all__ = ["hole_places"]

LIMIT_HOLES: Final = 10_000
"""Most holes of a pattern; more is a slip in a count."""


def hole_places(item: Holes, unit: Unit) -> list[Point]:
    """Return the places of the holes in the order in which they are made.

    Parameters
    ----------
    item : Holes
        With points or a pattern.
    unit : {'in', 'mm'}
        For the text of errors.

    Returns
    -------
    list of (x, y)
        mm.

    Raises
    ------
    PassError
        None or both of the keys, none or several patterns, too many holes, two at one place, a
        hole to be left out that isn't there.
    """
    if (item.points is None) == (item.pattern is None):
        have = "none" if item.points is None else "both"
        raise PassError("points", f"or pattern, exactly one of them, is needed; it has {have}")
    if item.points is not None:
        return list(item.points)
    assert item.pattern is not None
    places = _places(item.pattern)
    for n, place in enumerate(places[1:], start=2):
        if math.dist(place, places[n - 2]) <= LEAST_MM:
            raise PassError(
                "pattern", f"holes {n - 1} and {n} are both at {say_point(place, unit)}"
            )
    for n in item.pattern.skip:
        if n > len(places):
            raise PassError("pattern.skip", f"{n} is over the count of holes, {len(places)}")
    kept = [p for n, p in enumerate(places, start=1) if n not in set(item.pattern.skip)]
    if not kept:
        raise PassError("pattern.skip", "leaves no hole")
    return kept


def _places(pattern: HolePattern) -> list[Point]:
    given = [n for n in ("circle", "grid", "line") if getattr(pattern, n) is not None]
    if len(given) != 1:
        have = " and ".join(given) if given else "none"
        raise PassError("pattern", f"needs exactly one of circle, grid, line; it has {have}")
    if pattern.circle is not None:
        return _on_circle(pattern.circle)
    if pattern.grid is not None:
        return _in_grid(pattern.grid)
    assert pattern.line is not None
    return _on_line(pattern.line)


def _on_circle(circle: HoleCircle) -> list[Point]:
    """Return holes from the first one's angle on, counter-clockwise unless the step is negative."""
    step = circle.angle_increment
    step = 360.0 / circle.count if step is None else step
    if step == 0 and circle.count > 1:
        raise PassError("pattern.circle.angle_increment", "0 puts all holes at one place")
    if circle.count > 1 and abs(step) * (circle.count - 1) > 360 - 1e-9:
        raise PassError(
            "pattern.circle.angle_increment",
            f"{circle.count} holes {step:g} degrees apart run round more than once",
        )
    x, y = circle.center
    first = (x + circle.diameter / 2, y)
    return [
        turned(first, circle.center, math.radians(circle.angle + n * step))
        for n in range(circle.count)
    ]


def _in_grid(grid: Grid) -> list[Point]:
    """Return holes row after row, every second row walked backwards."""
    if grid.columns * grid.rows > LIMIT_HOLES:
        raise PassError(
            "pattern.grid",
            f"would have {grid.columns * grid.rows} holes; at most {LIMIT_HOLES} are made",
        )
    for axis, count in enumerate((grid.columns, grid.rows)):
        if count > 1 and grid.spacing[axis] == 0:
            raise PassError(f"pattern.grid.spacing[{axis + 1}]", "0 puts holes at one place")
    (x, y), (dx, dy) = grid.low, grid.spacing
    places = []
    for row in range(grid.rows):
        columns = range(grid.columns)
        for column in reversed(columns) if row % 2 else columns:
            place = (x + column * dx, y + row * dy)
            places.append(turned(place, grid.low, math.radians(grid.angle)))
    return places


def _on_line(line: Line) -> list[Point]:
    (x0, y0), (x1, y1) = line.from_, line.to
    parts = [n / (line.count - 1) for n in range(line.count)]
    return [(x0 + (x1 - x0) * t, y0 + (y1 - y0) * t) for t in parts]
