"""A cutting part as contact asks it: zones by height over the tip, rings of its lower face."""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["BEHIND", "BITS", "CUTS", "SAME", "Edge", "zones_of"]

Floats = NDArray[np.float64]

SAME: Final = 1e-9
"""Lengths nearer than this are equal, mm."""
BITS: Final[dict[str, int]] = {
    "bottom": 1, "corner": 2, "side": 4, "neck": 8, "shank": 16, "holder": 32,
}  # fmt: skip
"""Bit of each part of a tool in a station's `zones`."""
CUTS: Final = BITS["bottom"] | BITS["corner"] | BITS["side"]
BEHIND: Final = ("neck", "shank", "holder")
SHARES: Final = (0.3, 0.6, 0.85, 0.97)
"""Rings of a round or sloping lower face, as shares of its width."""
FROM_AXIS: Final = (0.05, 0.13, 0.3, 0.6, 0.97)
"""The same of one that begins on the axis: a ball touches low ridges close to it."""


def zones_of(bits: int) -> tuple[str, ...]:
    """Return the words of a station's bits, from the tip up."""
    return tuple(word for word, bit in BITS.items() if bits & bit)


@dataclasses.dataclass(frozen=True)
class Edge:
    """What contact needs of a tool; lengths in mm, heights over the tip.

    Attributes
    ----------
    tool : Tool
    """

    tool: Tool

    @functools.cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """The cutting pieces that have a lower face or a side, from the tip up."""
        return tuple(p for p in self.tool.pieces if p.cutting and p.label != "top")

    @functools.cached_property
    def radius(self) -> float:
        """Largest radius that cuts."""
        return self.tool.cutting_radius

    @functools.cached_property
    def flat(self) -> float:
        """Radius of the flat end; 0 for a point or a ball."""
        return self.tool.flat_radius

    @functools.cached_property
    def corner_top(self) -> float:
        """Height where the corner ends and the side begins; 0 for a sharp corner."""
        return max((p.z_high for p in self.pieces if p.label != "side"), default=0.0)

    @functools.cached_property
    def widest_at(self) -> float:
        """Lowest height at which it is as wide as it gets."""
        for p in self.pieces:
            if p.widest >= self.radius - SAME:
                return p.z_low if p.r_low >= self.radius - SAME else self._widest_in(p)
        return 0.0

    def _widest_in(self, piece: Piece) -> float:
        if piece.arc and not piece.is_cove and piece.z_low < piece.arc[1] < piece.z_high:
            return piece.arc[1]
        return piece.z_high

    @functools.cached_property
    def top(self) -> float:
        """Height where the cutting part ends; inf if it has no end."""
        return self.pieces[-1].z_high

    @functools.cached_property
    def rings(self) -> tuple[Floats, Floats, NDArray[np.int64]]:
        """Rings of the lower face and the side: radius, height, bit of the zone."""
        first = self.pieces[0]
        found = []
        if self.flat > 0 and first.r_high > first.r_low + SAME:
            found.append((self.flat, 0.0, BITS["bottom"]))
        for p in self.pieces:
            if p.r_high <= p.r_low + SAME:
                found.append((p.r_low, p.z_low, BITS[p.label]))
                continue
            shares = SHARES if p.r_low > SAME else FROM_AXIS
            r = p.r_low + np.array(shares) * (p.r_high - p.r_low)
            found += [(*at, BITS[p.label]) for at in zip(r, _height_in(p, r), strict=True)]
        widest = [f for k, f in enumerate(found) if all(f[0] > g[0] + SAME for g in found[:k])]
        table = np.array(widest, np.float64)
        return table[:, 0], table[:, 1], table[:, 2].astype(np.int64)

    @functools.cached_property
    def behind(self) -> tuple[tuple[str, float, float], ...]:
        """Parts that don't cut: label, height of the low end, radius."""
        return tuple((p.label, p.z_low, p.widest) for p in self.tool.pieces if not p.cutting)

    def radius_at(self, height: Floats) -> Floats:
        """Return the radius at heights, the widest lower down for a tool that narrows."""
        return np.array([self.tool.radius_at(float(h)) for h in np.atleast_1d(height)])

    def reach_at(self, height: Floats) -> Floats:
        """Return how wide the cutting part is at or below heights: as seen from above."""
        height = np.asarray(height, np.float64)
        found = np.zeros(height.shape)
        for p in self.pieces:
            z = np.clip(height, p.z_low, p.z_high if math.isfinite(p.z_high) else p.z_low + 1.0)
            here = _radius_in(p, z)
            found = np.maximum(found, np.where(height >= p.z_low - SAME, here, 0.0))
        return found

    def lower(self, radius: Floats) -> Floats:
        """Return the height of the lower face at distances from the axis; inf beyond it."""
        r = np.asarray(radius, np.float64)
        found = np.where(r <= self.flat, 0.0, np.inf)
        for p in self.pieces:
            if p.r_high > p.r_low + SAME:
                inside = (r >= p.r_low - SAME) & (r <= p.widest + SAME)
                found = np.where(inside, np.minimum(found, _height_in(p, r)), found)
            elif p.z_low > SAME:  # a bare shoulder
                found = np.where(r <= p.r_low + SAME, np.minimum(found, p.z_low), found)
        return found

    def zone_at(self, radius: Floats) -> NDArray[np.int64]:
        """Return the bit of the zone whose lower face lies over distances from the axis."""
        r = np.asarray(radius, np.float64)
        found = np.full(r.shape, BITS["side"], np.int64)
        for p in reversed(self.pieces):
            if p.r_high > p.r_low + SAME:
                found[(r >= p.r_low - SAME) & (r <= p.widest + SAME)] = BITS[p.label]
        if self.flat > 0:
            found[r <= self.flat + SAME] = BITS["bottom"]
        return found

    def sin_kappa(self, height: Floats) -> Floats:
        """Return the sine of the angle between the edge at heights and a level plane.

        1 on a cylinder, 0 at the foot of a corner radius. Common practice calls it lead angle
        (KAPR of ISO 13399): a chip is thinner than the advance by it.
        """
        height = np.asarray(height, np.float64)
        found = np.ones(height.shape)
        for p in self.pieces:
            here = (height >= p.z_low - SAME) & (height < p.z_high - SAME)
            if p.arc is not None:
                _, z, rc = p.arc
                share = np.clip((height - z) / abs(rc), -1.0, 1.0)
                found = np.where(here, np.sqrt(1 - share * share), found)
            elif p.slope != 0:
                found = np.where(here, 1 / math.hypot(1.0, p.slope), found)
        return found

    @property
    def corner(self) -> tuple[float, float, float] | None:
        """Centre's radius, centre's height and radius of the corner's arc; None: it has none."""
        for p in self.pieces:
            if p.label == "corner" and p.arc is not None and not p.is_cove:
                return p.arc
        return None


def _radius_in(p: Piece, z: Floats) -> Floats:
    if p.arc is None:
        return p.r_low + p.slope * (z - p.z_low)
    center_r, center_z, radius = p.arc
    half = np.sqrt(np.maximum(0.0, radius * radius - (z - center_z) ** 2))
    return center_r + math.copysign(1.0, radius) * half


def _height_in(p: Piece, r: Floats) -> Floats:
    """Return the height of a lower face that widens upwards, at distances from the axis."""
    r = np.clip(r, p.r_low, p.widest)
    if p.arc is None:
        return p.z_low + (r - p.r_low) / p.slope
    center_r, center_z, radius = p.arc
    half = np.sqrt(np.maximum(0.0, radius * radius - (r - center_r) ** 2))
    return center_z - half if radius > 0 else center_z + half
