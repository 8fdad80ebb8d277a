"""The metal at the side of the tool band by band: how high each stands, and over which arc.

Where a tool skims a floor and cuts a wall, the wall's height has the wall's narrow arc, and only
the floor's thin layer the wide one. Heights are those of metal at angles from the way of motion;
where they differ between two neighbours, the angle between is halved down to where they change.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .chip import feed_per_tooth, mean_chip
from .stations import BLOCK, NOTICED, TOUCH, Places, angles_of, around
from .tool import CUTS

if TYPE_CHECKING:
    from .along import Along
    from .stock import Before
    from .tool import Edge

__all__ = ["Bands", "bands_along"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

HALVINGS: Final = 17
"""Halvings of an angle where the height changes: 15 degrees down to a ten-thousandth."""
ALIKE: Final = 1e-3
"""Heights that differ by less are one, mm."""


@dataclasses.dataclass(frozen=True)
class Bands:
    """Bands of metal at stations that cut sideways at feed; arrays of shape (n, bands).

    Attributes
    ----------
    of : ndarray of int64, shape (n,)
        The stations, of `Along`.
    high : ndarray of float64
        Height of each band, mm; 0: there is none.
    arc : ndarray of float64
        Over which the tool is in its metal, radians.
    chip : ndarray of float64
        Mean chip of it, mm; NaN where feed, spindle or flutes are not known.
    """

    of: Ints
    high: Floats
    arc: Floats
    chip: Floats


def bands_along(before: Before, edge: Edge, along: Along) -> Bands:
    """Return the bands of metal that a pass meets at its stations."""
    sideways = ~along.rapid & ~along.upright & ((along.zones & CUTS) > 0)
    of = np.flatnonzero(sideways & (along.engagement > 0))
    places = Places.at(before, along.part[of], along.share[of])
    parts = [_bands(before, edge, places[k : k + BLOCK]) for k in range(0, max(len(of), 1), BLOCK)]
    top, high, arc, sines = (np.concatenate(part) for part in zip(*parts, strict=True))
    moves, which = before.moves, along.part[of]
    tooth = feed_per_tooth(moves.feed[which], moves.spindle[which], edge.tool.flutes)
    chip = mean_chip(tooth[:, None], sines, arc, edge.sin_kappa(np.clip(top, 0.0, edge.top)))
    return Bands(of, high, arc, chip)


def _bands(before: Before, edge: Edge, places: Places) -> tuple[Floats, Floats, Floats, Floats]:
    """Return top, height, arc and sum of sines of the bands, the lowest first."""
    begin, end, over = _stretches(before, edge, places)
    order = np.argsort(over, axis=1)
    top = np.take_along_axis(over, order, axis=1)
    arc, sines = (
        # What stands as high as a band or higher lies in it.
        np.cumsum(np.take_along_axis(v, order, axis=1)[:, ::-1], axis=1)[:, ::-1]
        for v in (end - begin, np.sin(end) - np.sin(begin))
    )
    return top, np.diff(top, axis=1, prepend=0.0), arc, sines


def _stretches(before: Before, edge: Edge, places: Places) -> tuple[Floats, Floats, Floats]:
    """Return begin and end of stretches of one height round the front, and that height, (n, k)."""
    angles = angles_of(edge)
    fan = np.broadcast_to(angles, (len(places), len(angles)))
    over = _height(before, edge, places, fan)
    change = np.broadcast_to(
        0.5 * (angles[1:] + angles[:-1]), (len(places), len(angles) - 1)
    ).copy()
    i, k = np.nonzero(np.abs(np.diff(over, axis=1)) > ALIKE)
    low, high = angles[k].copy(), angles[k + 1].copy()
    level = 0.5 * (over[i, k] + over[i, k + 1])
    for _ in range(HALVINGS if len(i) else 0):
        middle = 0.5 * (low + high)
        at = _height(before, edge, places[i], middle[:, None])[:, 0]
        same = (at > level) == (over[i, k] > level)
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    change[i, k] = 0.5 * (low + high)
    outer = np.full((len(places), 1), math.pi / 2)
    return np.hstack([-outer, change]), np.hstack([change, outer]), over


def _height(before: Before, edge: Edge, places: Places, angle: Floats) -> Floats:
    """Return how high the metal that the edge meets at angles stands over the tip, mm; 0: none."""
    r, h, _ = edge.rings
    shape = (len(places), len(r), angle.shape[1])
    over, *_ = around(
        before, places, np.broadcast_to(np.maximum(r - TOUCH, 0.0)[None, :, None], shape),
        np.broadcast_to(angle[:, None, :], shape),
    )  # fmt: skip
    met = np.where(over > h[None, :, None] + NOTICED, over, 0.0).max(axis=1)
    height: Floats = np.minimum(met, edge.top)
    return height
