"""Tools, in the symbols of ISO 13399, and what their cutting part looks like to the kernels.

Lengths in millimetres, angles in degrees. The tip is at z = 0 and the axis points up.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Final

from .errors import Fault

__all__ = ["BALL", "BULL", "CONE", "FLAT", "Profile", "Tool"]

FLAT: Final = 0
BULL: Final = 1
BALL: Final = 2
CONE: Final = 3


@dataclasses.dataclass(frozen=True)
class Profile:
    """Lower edge of the cutting part: height over the tip, g(rho), for 0 <= rho <= R.

    Attributes
    ----------
    shape : int
        `FLAT`, `BULL`, `BALL` or `CONE`.
    radius : float
        R, mm.
    flat_radius : float
        Radius of the flat bottom, mm: R for `FLAT`, R - RE for `BULL`, 0 for `BALL`, the tip's
        radius for `CONE`.
    corner_radius : float
        RE, mm; R for `BALL`, 0 for `FLAT` and `CONE`.
    slope : float
        Rise over run of a `CONE`, else 0.
    """

    shape: int
    radius: float
    flat_radius: float
    corner_radius: float
    slope: float


@dataclasses.dataclass(frozen=True)
class Tool:
    """A tool as the job describes it; see the job file for which shape needs what.

    Attributes
    ----------
    number : int
    name : str
    shape : str
        ``flat``, ``bull``, ``ball``, ``chamfer`` or ``drill``.
    diameter : float
        DC, mm; the largest diameter of a chamfer tool.
    corner_radius : float
        RE, mm.
    tip_diameter : float
        Flat end of a chamfer tool, mm.
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
    holder : tuple of (diameter, height)
        Cylinders from the tool upwards, from LPR above the tip, mm.
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
    holder: tuple[tuple[float, float], ...] = ()

    def profile(self) -> Profile:
        """Return the lower edge of the cutting part.

        Notes
        -----
        A bull with RE = 0 is flat and one with RE = DC/2 is a ball. A chamfer tool with KAPR is a
        cone of slope tan(KAPR) from its tip's radius; a drill one of slope 1/tan(SIG/2) from 0.
        """
        R, rc = self.diameter / 2, self.corner_radius
        if self.shape == "flat" or (self.shape == "bull" and rc == 0):
            return Profile(FLAT, R, R, 0.0, 0.0)
        if self.shape == "ball" or (self.shape == "bull" and rc == R):
            return Profile(BALL, R, 0.0, R, 0.0)
        if self.shape == "bull":
            return Profile(BULL, R, R - rc, rc, 0.0)
        if self.shape == "chamfer":
            slope = math.tan(math.radians(self.edge_angle))
            return Profile(CONE, R, self.tip_diameter / 2, 0.0, slope)
        if self.shape == "drill":
            return Profile(CONE, R, 0.0, 0.0, 1 / math.tan(math.radians(self.point_angle / 2)))
        raise Fault(f"no profile for tool shape {self.shape!r}")
