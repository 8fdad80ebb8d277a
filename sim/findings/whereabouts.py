"""Where a place is, in words: on which wall of the part, or over which of its regions."""

from __future__ import annotations

import math
import weakref
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..job import Job
    from ..prober import Prober
    from .base import Point

    Floats = NDArray[np.float64]

__all__ = ["where"]

EDGE: Final = 0.8
"""From this share of the half width on a place is at an edge of the part."""
MIDDLE: Final = 1 / 3
"""Up to this share it is in the middle."""
AROUND: Final = 32
"""Columns round a place, on rings so far from it, mm."""
RINGS: Final = (0.05, 0.25, 1.0, 3.0)
STANDS: Final = (0.5, 0.02)
"""Metal so far over a place is a wall; less where there is none, mm."""
STEEP: Final = 0.5
"""A face that rises by less than this share of the way is no wall."""
ONE_SIDED: Final = 0.3
"""Length of the mean of the directions in which metal stands from which on it is on one side."""
STEPS: Final = 96
"""Columns on the way from a wall to the edge of the stock."""
_BOXES: weakref.WeakKeyDictionary[Job, tuple[tuple[float, ...], tuple[float, ...]]] = (
    weakref.WeakKeyDictionary()
)
_PROBERS: weakref.WeakKeyDictionary[Job, Prober] = weakref.WeakKeyDictionary()


def where(job: Job, at: Point) -> str:
    """Return where a place is, in words, as one looks at the part from the front (-Y).

    An outer wall is called by the side that it faces, as it stands at the job's end; inside, where
    other metal stands before it, it is said which side it faces.

    Parameters
    ----------
    job : Job
    at : (x, y, z)
        mm, part frame.
    """
    across, deep = _shares(job, at)
    facing = _facing(job, at)
    if facing is None:
        return _region(across, deep)
    upright = abs(facing[1]) >= abs(facing[0])
    if upright:
        name, share = "front" if facing[1] < 0 else "back", across
        along = _along(share, "left half", "right half", "left corner", "right corner")
    else:
        name, share = "left" if facing[0] < 0 else "right", deep
        along = _along(share, "towards the front", "towards the back")
    if _outer(job, at, facing):
        return f"{name} wall, {along}"
    side = f"the {name}" if upright else name
    return f"inside, wall facing {side}, {along}"


def _along(share: float, low: str, high: str, *ends: str) -> str:
    """Return where along a wall a place is."""
    if abs(share) < MIDDLE:
        return "middle"
    names = ends if ends and abs(share) > EDGE else (low, high)
    return names[0] if share < 0 else names[1]


def _region(across: float, deep: float) -> str:
    """Return over which region of the part a place is that is on no wall."""
    side = "left" if across < 0 else "right"
    end = "front" if deep < 0 else "back"
    parts = [end] * (abs(deep) > MIDDLE) + [side] * (abs(across) > MIDDLE)
    return " ".join(parts) or "middle"


def _shares(job: Job, at: Point) -> tuple[float, float]:
    """Return how far from the middle of the part or the stock, as shares of its half widths."""
    low, high = _box(job)
    across, deep = (
        (at[k] - 0.5 * (low[k] + high[k])) / max(0.5 * (high[k] - low[k]), 1e-9) for k in (0, 1)
    )
    return across, deep


def _box(job: Job) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the corners in plan of the part's model, or of the stock, mm; the model read once."""
    if job not in _BOXES:
        _BOXES[job] = _read_box(job)
    return _BOXES[job]


def _read_box(job: Job) -> tuple[tuple[float, ...], tuple[float, ...]]:
    part = job.spec.part
    if part is not None and part.model is not None:
        from ..stock import closed_mesh

        vertices, _ = closed_mesh(part.model, job.unit, "part")
        low, high = vertices.min(axis=0), vertices.max(axis=0)
    else:
        low, high = job.stock.low, job.stock.high
    return tuple(map(float, low[:2])), tuple(map(float, high[:2]))


def _tops(job: Job, x: Floats, y: Floats) -> Floats:
    """Return heights of columns at the job's end, mm; -inf: nothing is."""
    from ..prober import Prober

    if job not in _PROBERS:
        _PROBERS[job] = Prober(job.packed, job.stock, job.deep)
    top, _ = _PROBERS[job].columns(x, y)
    found: Floats = np.nan_to_num(top, nan=-np.inf)
    return found


def _facing(job: Job, at: Point) -> tuple[float, float] | None:
    """Return which way the wall beside a place faces, a unit vector; None: there is none."""
    angle = np.arange(AROUND) * 2 * math.pi / AROUND
    x = at[0] + np.multiply.outer(RINGS, np.cos(angle))
    y = at[1] + np.multiply.outer(RINGS, np.sin(angle))
    top = _tops(job, x.ravel(), y.ravel()).reshape(x.shape) - at[2]
    for stands in STANDS:
        for radius, ring in zip(RINGS, top, strict=True):
            metal = ring > max(stands, STEEP * radius)
            if not metal.any() or metal.all():
                continue
            mean = np.cos(angle[metal]).mean(), np.sin(angle[metal]).mean()
            length = math.hypot(*mean)
            if length >= ONE_SIDED:
                return -mean[0] / length, -mean[1] / length
    return None


def _outer(job: Job, at: Point, facing: tuple[float, float]) -> bool:
    """Whether nothing stands before the wall on the way out of the stock."""
    low, high = np.array(job.stock.low[:2]), np.array(job.stock.high[:2])
    far = float(np.hypot(*(high - low)))
    way = RINGS[-1] / 4 + far * np.linspace(0.0, 1.0, STEPS)
    top = _tops(job, at[0] + way * facing[0], at[1] + way * facing[1])
    return bool((top <= at[2] + STANDS[0]).all())
