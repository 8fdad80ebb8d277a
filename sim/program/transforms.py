"""Rotation (G68), scaling (G51) and mirror (G51, G51.1) of programmed places.

Common practice, no source; NISTIR 6556 has none of them. A transform takes a place as programmed,
in the part frame, to where the tool goes.
"""

from __future__ import annotations

import dataclasses
import math

from .planes import Plane

__all__ = ["Rotation", "Scaling", "Transform"]

Point = tuple[float, float, float]


@dataclasses.dataclass(frozen=True)
class Rotation:
    """G68: about a centre in a plane.

    Attributes
    ----------
    plane : Plane
    center : (first, second)
        Along the plane's axes, part frame, mm.
    degrees : float
        Counter-clockwise seen from the positive end of the plane's third axis.
    """

    plane: Plane
    center: tuple[float, float]
    degrees: float

    @property
    def name(self) -> str:
        """The word that set it."""
        return "G68"

    @property
    def bound_axes(self) -> frozenset[int]:
        """Axes that move together."""
        return frozenset((self.plane.first, self.plane.second))

    def arc_factor(self, plane: Plane) -> float | None:
        """Return by what radii grow, below 0 where turns change sides; None: no arc."""
        return 1.0 if plane is self.plane else None

    def along_kept(self, axis: int) -> bool:
        """Whether lengths along an axis stay as they are."""
        return axis == self.plane.along

    def to_part(self, point: Point) -> Point:
        """Return where the tool goes for a programmed place."""
        return self._turn(point, self.degrees)

    def to_program(self, point: Point) -> Point:
        """Return the programmed place of where the tool is."""
        return self._turn(point, -self.degrees)

    def _turn(self, point: Point, degrees: float) -> Point:
        quarter, rest = divmod(degrees, 90.0)
        cos, sin = math.cos(math.radians(rest)), math.sin(math.radians(rest))
        for _ in range(int(quarter) % 4):  # quarter turns without rounding
            cos, sin = -sin, cos
        a, b = self.plane.flat(point)
        a, b = a - self.center[0], b - self.center[1]
        first = round(self.center[0] + a * cos - b * sin, 10)
        second = round(self.center[1] + a * sin + b * cos, 10)
        return self.plane.point(first, second, point[self.plane.along])


@dataclasses.dataclass(frozen=True)
class Scaling:
    """G51 or G51.1: each axis by its factor from its centre; below 0 mirrors.

    Attributes
    ----------
    center : (x, y, z)
        Part frame, mm; of no effect where the factor is 1.
    factors : (x, y, z)
    name : str
        The word that set it.
    """

    center: Point
    factors: Point
    name: str

    @property
    def bound_axes(self) -> frozenset[int]:
        """Axes that move together: none."""
        return frozenset()

    def arc_factor(self, plane: Plane) -> float | None:
        """Return by what radii grow, below 0 where turns change sides; None: no arc."""
        a, b = self.factors[plane.first], self.factors[plane.second]
        return math.copysign(abs(a), a * b) if abs(a) == abs(b) else None

    def along_kept(self, axis: int) -> bool:
        """Whether lengths along an axis stay as they are."""
        return self.factors[axis] == 1

    def to_part(self, point: Point) -> Point:
        """Return where the tool goes for a programmed place."""
        x, y, z = (
            p if f == 1 else round(c + (p - c) * f, 10)
            for p, c, f in zip(point, self.center, self.factors, strict=True)
        )
        return x, y, z

    def to_program(self, point: Point) -> Point:
        """Return the programmed place of where the tool is."""
        x, y, z = (
            p if f == 1 else round(c + (p - c) / f, 10)
            for p, c, f in zip(point, self.center, self.factors, strict=True)
        )
        return x, y, z


Transform = Rotation | Scaling
