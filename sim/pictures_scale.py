"""What a loupe shows: the scale of its heights, the share of each pass, and both as numbers."""

from __future__ import annotations

import dataclasses
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .grid import Tile
from .units import MM_PER, Unit

__all__ = ["NEAR_MM", "PAST", "PassShare", "Scale", "loupe_arrays", "pass_shares", "scale_of"]

Floats = NDArray[np.float64]

NEAR_MM: Final = 0.762
"""Only levels within 0.030 in of the reference set the scale: higher ones were drawn on purpose."""
LEAST_SPAN_MM: Final = 1e-4
"""Half width of the scale of a window that is level."""
FLATS: Final = 0.1
"""Share of a window that flat floors must take for their level to be the reference."""
PAST: Final = 1e-6
"""A height is past the scale when it is over the end by this share of it: more than rounding."""


@dataclasses.dataclass(frozen=True)
class PassShare:
    """What one pass left in a window.

    Attributes
    ----------
    number : int
        0: raw stock.
    share : float
        Part of the window's columns, 0 to 1.
    level_mm : float
        Its middle height: half of its columns lie at or under it.
    """

    number: int
    share: float
    level_mm: float


@dataclasses.dataclass(frozen=True)
class Scale:
    """How heights are shown: `reference_mm` at the middle colour, `span_mm` over and under it."""

    reference_mm: float
    span_mm: float
    over: bool
    under: bool


def pass_shares(tile: Tile) -> tuple[PassShare, ...]:
    """Return what each pass left in a window, in the passes' order.

    Parameters
    ----------
    tile : Tile

    Returns
    -------
    tuple of PassShare
        Shares add up to 1 less what is gone or off the stock.
    """
    numbers, counts = np.unique(tile.pass_number, return_counts=True)
    return tuple(
        PassShare(
            int(number), int(count) / tile.top.size, _middle(tile.top[tile.pass_number == number])
        )
        for number, count in zip(numbers, counts, strict=True)
        if number >= 0
    )


def _middle(heights: Floats) -> float:
    """Return the lower median: a height that is there, not one between two levels."""
    k = (heights.size - 1) // 2
    return float(np.partition(heights, k)[k])


def loupe_arrays(tile: Tile, unit: Unit) -> dict[str, NDArray[Any]]:
    """Return a window's places, heights and passes in the job's unit.

    Parameters
    ----------
    tile : Tile
        mm.
    unit : {'in', 'mm'}

    Returns
    -------
    dict
        ``x`` float64 (nx,) and ``y`` float64 (ny,), the middles of the columns; ``z`` float64
        (ny, nx), NaN where nothing is left; ``pass`` int32 (ny, nx), 0 raw stock, -1 nothing.
    """
    per = MM_PER[unit]
    return {
        "x": tile.grid.x() / per,
        "y": tile.grid.y() / per,
        "z": tile.top / per,
        "pass": tile.pass_number,
    }


def scale_of(tile: Tile, span_mm: float | None = None, middle_mm: float | None = None) -> Scale:
    """Return the scale on which a window's small steps show best.

    The reference is the middle height of the flat floors, if they take a tenth of what is left,
    else of everything. The scale reaches to the farthest flat floor within 0.030 in of it, so that
    a fillet or a wall beside two floors does not hide the step between them; without a second
    floor, to the farthest height within that.

    Parameters
    ----------
    tile : Tile
    span_mm : float, optional
        Half width of the scale, over 0, where the person chose it.
    middle_mm : float, optional
        The reference, where it is known.
    """
    left = ~np.isnan(tile.top)
    heights = tile.top[left]
    if not heights.size:
        return Scale(0.0, span_mm or LEAST_SPAN_MM, False, False)
    flat = heights[:0] if tile.flat is None else tile.top[left & tile.flat]
    reference = middle_mm
    if reference is None:
        reference = _middle(flat if flat.size >= FLATS * heights.size else heights)
    if span_mm is None:
        span_mm = LEAST_SPAN_MM
        for some in (heights, flat):  # floors overrule all else, if there is a second one
            off = np.abs(some - reference)
            farthest = float(off[off <= NEAR_MM].max(initial=0.0))
            span_mm = farthest if farthest > LEAST_SPAN_MM else span_mm
    reach = span_mm * (1 + PAST)
    return Scale(
        reference,
        span_mm,
        over=bool(heights.max() > reference + reach),
        under=bool(heights.min() < reference - reach),
    )
