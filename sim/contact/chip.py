"""Chip thickness: the advance of a tooth, thinned by how the edge meets the metal.

An edge that stands at an angle t from the direction of motion advances square to itself by
fz cos t, and a corner radius or a cone spreads that over an edge inclined by its lead angle k::

    h(t) = fz cos(t) sin(k)

From it, with a tool that cuts by its side over the width ae < DC/2, the largest chip is
fz * 2 * sqrt(ae/DC * (1 - ae/DC)), and the mean over the arc is fz * ae / (DC/2) / arc, which are
the formulas of chip thinning in handbooks of milling (from memory; the derivation above is whole).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["feed_per_tooth", "mean_chip", "peak_chip"]

Floats = NDArray[np.float64]


def feed_per_tooth(feed: Floats, spindle: Floats, flutes: int | None) -> Floats:
    """Return the advance of each tooth, mm; NaN where feed, spindle or flutes are not known.

    Parameters
    ----------
    feed : ndarray of float64
        mm/min.
    spindle : ndarray of float64
        1/min.
    flutes : int or None
    """
    known = (feed > 0) & (np.abs(spindle) > 0) & bool(flutes)
    per = np.where(known, np.abs(spindle) * (flutes or 1), 1.0)
    return np.where(known, feed / per, np.nan)


def peak_chip(tooth: Floats, nearest: Floats, sin_kappa: Floats) -> Floats:
    """Return the largest chip, mm; `nearest`: least angle from the motion that cuts, radians."""
    return tooth * np.cos(nearest) * sin_kappa


def mean_chip(tooth: Floats, sines: Floats, arc: Floats, sin_kappa: Floats) -> Floats:
    """Return the mean chip over the arc that cuts, mm.

    Parameters
    ----------
    tooth : ndarray of float64
        Advance of a tooth, mm.
    sines : ndarray of float64
        Sum of sin(end) - sin(begin) over the arcs that cut.
    arc : ndarray of float64
        Their sum, radians.
    sin_kappa : ndarray of float64
    """
    return np.where(arc > 0, tooth * sines / np.where(arc > 0, arc, 1.0) * sin_kappa, np.nan)
