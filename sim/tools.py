"""Tools, in the symbols of ISO 13399, and the pieces of revolution that they are made of.

Lengths in millimetres, angles in degrees. The tip is at z = 0 and the axis points up.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TYPE_CHECKING, Any

from .errors import Fault

if TYPE_CHECKING:
    from .pieces import Piece

__all__ = ["Tool"]


@dataclasses.dataclass(frozen=True)
class Tool:
    """A tool as the job describes it; see the job file for which shape needs what.

    Attributes
    ----------
    number : int
    name : str
    shape : str
        A name in `shapes.SHAPES`.
    diameter : float
        DC, mm; the largest diameter of the cutting part.
    corner_radius : float
        RE, mm.
    tip_diameter : float
        Flat end of a tool that is wider above it, mm.
    edge_angle : float
        KAPR, degrees: edge to a plane across the axis; 45 is a 90 degree included angle.
    point_angle : float
        SIG, degrees, included.
    cutting_length : float or None
        APMX, mm; None: the cutting part has no end.
    neck_diameter, neck_length, shank_diameter, stickout, overall_length : float or None
        DN, LU or LH, DMM, LPR, OAL, mm.
    flutes : int or None
        ZEFF.
    ramp_angle : float or None
        RMPX, degrees.
    center_cutting : bool or None
        Its edges reach the axis; None: not known.
    holder : tuple of (diameter, height)
        Cylinders from the tool upwards, from LPR above the tip, mm.
    own : tuple of (str, value)
        What only its shape has, by the names in the shape's words; see `size`.
    """

    number: int
    name: str
    shape: str
    diameter: float
    corner_radius: float = 0.0
    tip_diameter: float = 0.0
    edge_angle: float = 0.0
    point_angle: float = 0.0
    cutting_length: float | None = None
    neck_diameter: float | None = None
    neck_length: float | None = None
    shank_diameter: float | None = None
    stickout: float | None = None
    overall_length: float | None = None
    flutes: int | None = None
    ramp_angle: float | None = None
    center_cutting: bool | None = None
    holder: tuple[tuple[float, float], ...] = ()
    own: tuple[tuple[str, Any], ...] = ()

    def size(self, name: str, default: Any = None) -> Any:
        """Return a value that only tools of this shape have; `default` where it isn't given."""
        return dict(self.own).get(name, default)

    @functools.cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The whole tool from the tip up: cutting pieces first, neck, shank, holder.

        Notes
        -----
        A cutting part without an end has nothing above it but the holder's cylinders, which lie
        around it. A neck or shank without an end goes up to the holder, or for ever; a shank
        without a diameter is left out.
        """
        from .shapes import SHAPES

        if self.shape not in SHAPES:
            raise Fault(f"no pieces for tool shape {self.shape!r}")
        cutting = SHAPES[self.shape].pieces(self)
        return (*cutting, *self._behind(cutting[-1].z_high), *self._holder())

    def _behind(self, z: float) -> list[Piece]:
        """Return neck and shank above z, where the shape's own pieces end."""
        from .pieces import line_piece

        face = math.inf if self.stickout is None else self.stickout
        found = []
        if self.neck_diameter is not None:
            end = min(face, math.inf if self.neck_length is None else self.neck_length)
            if end > z:
                r = self.neck_diameter / 2
                found.append(line_piece("neck", z, r, end, r))
                z = end
        if self.shank_diameter is not None and face > z:
            r = self.shank_diameter / 2
            found.append(line_piece("shank", z, r, face, r))
        return found

    def _holder(self) -> list[Piece]:
        from .pieces import line_piece

        z, found = self.stickout or 0.0, []
        for diameter, height in self.holder:
            found.append(line_piece("holder", z, diameter / 2, z + height, diameter / 2))
            z += height
        return found

    @property
    def undercut(self) -> bool:
        """Whether it cuts with an upper side, which a picture from above doesn't show."""
        from .pieces import narrows
        from .shapes import SHAPES

        return SHAPES[self.shape].undercuts or narrows(self.pieces)

    def radius_at(self, z: float) -> float:
        """Return its radius at a height over the tip, mm; the larger at a step, 0 outside it."""
        from .pieces import profile_radius

        return profile_radius(self.pieces, z)

    def volume(self, label: str | None = None) -> float:
        """Return its volume, or that of one part (``neck``), mm^3; inf where it has no end."""
        from .pieces import total_volume

        return total_volume(self.pieces, label)

    def flank_areas(self) -> dict[str, float]:
        """Return the area of the flanks of each part by its label, mm^2, flat ends apart."""
        from .pieces import flank_areas

        return flank_areas(self.pieces)

    def section_areas(self) -> dict[str, float]:
        """Return the area of each part's half section by its label, mm^2."""
        from .pieces import section_areas

        return section_areas(self.pieces)

    @property
    def cutting_radius(self) -> float:
        """Largest radius that cuts, mm."""
        return max(p.widest for p in self.pieces if p.cutting)

    @property
    def flat_radius(self) -> float:
        """Radius of its flat end, mm; 0 for a point or a ball."""
        return self.pieces[0].r_low
