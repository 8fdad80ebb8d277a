"""Paths in plan by closed form: lines and true arcs, offset without a library.

Every contour here runs with the wall on the tool's right, which is climb milling with a spindle
that turns clockwise: clockwise round a boss, counter-clockwise inside a pocket.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

Point = tuple[float, float]


@dataclasses.dataclass(frozen=True)
class Step:
    """A line or an arc to a point; `center` None for a line."""

    to: Point
    center: Point | None = None
    clockwise: bool = False


@dataclasses.dataclass(frozen=True)
class Path:
    """A start and steps from there."""

    start: Point
    steps: tuple[Step, ...]

    @property
    def end(self) -> Point:
        """Last point."""
        return self.steps[-1].to if self.steps else self.start


def _rounded(corners: Sequence[Point], centers: Sequence[Point], radius: float) -> list[Step]:
    """Return line and arc for each corner, clockwise if the arcs turn right."""
    steps = []
    for (x, y), (cx, cy) in zip(corners, centers, strict=True):
        steps.append(Step((x, y)))
        steps.append(
            Step(_quarter((x, y), (cx, cy), -1 if radius > 0 else 1), (cx, cy), radius > 0)
        )
    return steps


def _quarter(point: Point, center: Point, turn: int) -> Point:
    """Return `point` turned about `center` by a quarter; turn +1 is counter-clockwise."""
    dx, dy = point[0] - center[0], point[1] - center[1]
    return (center[0] - turn * dy, center[1] + turn * dx)


def outside_rectangle(half: Point, radius: float, offset: float, start: Point) -> Path:
    """Return the way of a tool's axis clockwise round a rounded rectangle about the origin.

    `start` is a point of a front or back side; its y counts by its sign only.
    """
    hx, hy, r = half[0], half[1], radius
    ax, ay = hx - r, hy - r  # centers of the corners, which an offset leaves where they are
    ox, oy = hx + offset, hy + offset
    back = [((ax, oy), (ax, ay)), ((ox, -ay), (ax, -ay))]
    front = [((-ax, -oy), (-ax, -ay)), ((-ox, ay), (-ax, ay))]
    turns = front + back if start[1] < 0 else back + front
    steps = _rounded([a for a, _ in turns], [b for _, b in turns], 1.0)
    begin = (start[0], math.copysign(oy, start[1]))
    return Path(begin, (*steps, Step(begin)))


def inside_rectangle(center: Point, half: Point, radius: float, offset: float) -> Path:
    """Return the way of a tool's axis counter-clockwise inside a rounded rectangle.

    It starts in the middle of the -Y side.
    """
    (mx, my), (hx, hy) = center, half
    ax, ay = hx - radius, hy - radius
    ox, oy = hx - offset, hy - offset
    turns = [
        ((mx + ax, my - oy), (mx + ax, my - ay)),
        ((mx + ox, my + ay), (mx + ax, my + ay)),
        ((mx - ax, my + oy), (mx - ax, my + ay)),
        ((mx - ox, my - ay), (mx - ax, my - ay)),
    ]
    steps = _rounded([a for a, _ in turns], [b for _, b in turns], -1.0)
    begin = (mx, my - oy)
    return Path(begin, (*steps, Step(begin)))


def inside_slot(ends: Point, y: float, half: float, offset: float) -> Path:
    """Return the way of a tool's axis counter-clockwise inside a slot along X.

    It starts in the middle of the -Y side.
    """
    low, high = ends
    r = half - offset
    begin = ((low + high) / 2, y - r)
    return Path(
        begin,
        (
            Step((high, y - r)),
            Step((high, y + r), (high, y)),
            Step((low, y + r)),
            Step((low, y - r), (low, y)),
            Step(begin),
        ),
    )


def round_front(half_x: float, front_y: float, radius: float, offset: float, back_y: float) -> Path:
    """Return the open way down the right, along the front and up the left of the boss."""
    ax, ay = half_x - radius, front_y + radius
    ox, oy = half_x + offset, front_y - offset
    right = _rounded([(ox, ay)], [(ax, ay)], 1.0)
    left = _rounded([(-ax, oy)], [(-ax, ay)], 1.0)
    return Path((ox, back_y), (*right, *left, Step((-ox, back_y))))


def lead_points(point: Point, direction: Point, radius: float) -> tuple[Point, Point, Point]:
    """Return start of a quarter lead-in, end of a quarter lead-out and the center of both.

    Both arcs lie on the left of `direction` and turn counter-clockwise.
    """
    (x, y), (dx, dy) = point, direction
    center = (x - radius * dy, y + radius * dx)
    return (
        (center[0] - radius * dx, center[1] - radius * dy),
        (center[0] + radius * dx, center[1] + radius * dy),
        center,
    )
