"""Engagement: over which arc the tool is in metal, how wide and how high, and which way it cuts.

Angles count from the direction of motion, counter-clockwise, so the left of the motion is
positive. Only the front half of a tool cuts; one that moves along its axis cuts all round.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .stations import NOTICED, Look, Places, angles_of, around
from .tool import Edge

if TYPE_CHECKING:
    from .stock import Before

__all__ = ["BOTH", "CLIMB", "CONVENTIONAL", "NONE", "Engagement", "engagement"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NONE, CLIMB, CONVENTIONAL, BOTH = 0, 1, 2, 3
HALVINGS: Final = 17
"""Halvings of an angle where an arc ends: 15 degrees down to a ten-thousandth."""


@dataclasses.dataclass(frozen=True)
class Engagement:
    """The arcs in metal at stations; arrays of shape (n,).

    Attributes
    ----------
    arc : ndarray of float64
        Their sum, radians.
    sines : ndarray of float64
        Sum of sin(end) - sin(begin), for the mean chip.
    nearest : ndarray of float64
        Least angle from the motion that is in metal, radians; NaN where none is.
    width : ndarray of float64
        Extent of the arcs square to the motion, mm: the effective ae of handbooks.
    axial : ndarray of float64
        Highest metal met, over the tip, at most the cutting length, mm.
    cutting : ndarray of int64
        `NONE`, `CLIMB`, `CONVENTIONAL` or `BOTH` (a slot, or a tool that goes along its axis), of
        a spindle that turns clockwise (M3): with the metal on the right it climbs.
    """

    arc: Floats
    sines: Floats
    nearest: Floats
    width: Floats
    axial: Floats
    cutting: Ints


def engagement(
    before: Before, edge: Edge, places: Places, seen: Look, *, upright: bool
) -> Engagement:
    """Return over which arcs the tool is in metal at stations, all of one kind."""
    begin, end, radius = _arcs(before, edge, places, seen, upright)
    there = end > begin
    arc = (end - begin).sum(axis=1)
    sines = (np.sin(end) - np.sin(begin)).sum(axis=1)
    nearest = np.where(there, np.minimum(np.abs(begin), np.abs(end)), np.inf).min(axis=1)
    u = np.stack([radius * np.sin(begin), radius * np.sin(end)])
    high = np.where(there, u.max(axis=0), -np.inf).max(axis=1)
    low = np.where(there, u.min(axis=0), np.inf).min(axis=1)
    some = there.any(axis=1)
    if upright:
        low, high, nearest = -radius.max(axis=1), radius.max(axis=1), np.where(some, 0.0, nearest)
        sines = arc.copy()  # each tooth advances by the whole feed along the axis
    left = (np.cos(begin) - np.cos(end)).sum(axis=1)
    both = (seen.met[:, 0] & seen.met[:, -1]) | (np.abs(left) < 1e-3 * arc) | upright
    way = np.where(both, BOTH, np.where(left < 0, CLIMB, CONVENTIONAL))
    high_metal = np.maximum(np.where(some, seen.height.max(axis=1), 0.0), seen.under)
    axial = np.minimum(np.maximum(high_metal, 0.0), edge.top)
    return Engagement(
        arc=arc, sines=sines, nearest=np.where(some, nearest, np.nan),
        width=np.where(some, high - low, 0.0), axial=axial, cutting=np.where(some, way, NONE),
    )  # fmt: skip


def _arcs(
    before: Before, edge: Edge, places: Places, seen: Look, upright: bool
) -> tuple[Floats, Floats, Floats]:
    """Return begin, end and the tool's radius of arcs between neighbouring angles, (n, k)."""
    angles = angles_of(edge, upright)
    outer = math.pi if upright else math.pi / 2
    angle = np.concatenate([[-outer], angles, [outer]])
    met = np.concatenate([seen.met[:, :1], seen.met, seen.met[:, -1:]], axis=1)
    reach = np.where(seen.met, edge.reach_at(np.clip(seen.height, 0.0, edge.top)), 0.0)
    reach = np.concatenate([reach[:, :1], reach, reach[:, -1:]], axis=1)
    a, b = met[:, :-1], met[:, 1:]
    begin = np.broadcast_to(angle[:-1], a.shape).copy()
    end = np.broadcast_to(angle[1:], a.shape).copy()
    i, k = np.nonzero(a != b)
    change = _halved(before, edge, places[i], angle[k], angle[k + 1], a[i, k])
    end[i, k] = np.where(a[i, k], change, end[i, k])
    begin[i, k] = np.where(a[i, k], begin[i, k], change)
    end = np.where(a | b, end, begin)
    return begin, end, np.maximum(reach[:, :-1], reach[:, 1:])


def _halved(
    before: Before, edge: Edge, places: Places, low: Floats, high: Floats, at_low: NDArray[np.bool_]
) -> Floats:
    """Return the angle between two at which metal begins or ends."""
    r, h, _ = edge.rings
    radius = np.broadcast_to(r, (len(places), len(r)))
    for _ in range(HALVINGS):
        if not len(places):
            break
        middle = 0.5 * (low + high)
        over, *_ = around(before, places, radius, np.repeat(middle[:, None], len(r), axis=1))
        same = (over > h + NOTICED).any(axis=1) == at_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return 0.5 * (low + high)
