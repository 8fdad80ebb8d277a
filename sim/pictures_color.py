"""Colours of pictures: one for each pass, and scales for heights.

The eight colours of the passes were chosen for this project so that any two of them, and the raw
stock, lie at least 20 apart in CIE Lab for normal, protan, deutan and tritan sight; passes beyond
the eighth repeat them with stripes.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["INK", "PAPER", "RAW_COLOR", "SIDE_COLOR", "height_colors", "pass_colors", "stripes"]

PAPER: Final = (1.0, 1.0, 1.0)
INK: Final = "#1a1a1a"
RAW_COLOR: Final = (0.812, 0.812, 0.796)
"""Raw stock, pass 0."""
SIDE_COLOR: Final = (0.62, 0.62, 0.62)
"""Sides of the stock and of the window."""

_PASSES: Final = np.array(
    [
        (0.282, 0.306, 0.820),  # deep blue
        (0.922, 0.827, 0.290),  # straw
        (0.678, 0.459, 0.667),  # mauve
        (0.557, 0.812, 0.961),  # sky
        (0.784, 0.290, 0.118),  # rust
        (0.447, 0.624, 0.525),  # sage
        (0.051, 0.420, 0.290),  # pine
        (0.898, 0.627, 0.408),  # apricot
    ]
)

STRIPE_PX: Final = 14
"""Width of a stripe and its gap, in picture pixels."""


def pass_colors(pass_number: NDArray[Any]) -> NDArray[np.float64]:
    """Return the colour of each pass.

    Parameters
    ----------
    pass_number : ndarray of int, any shape
        Pass numbers from 1; 0 is the raw stock, below 0 nothing.

    Returns
    -------
    ndarray of float64, shape (..., 3)
        Red, green, blue from 0 to 1.
    """
    number = np.asarray(pass_number)
    colors: NDArray[np.float64] = _PASSES[(number - 1) % len(_PASSES)]
    colors[number == 0] = RAW_COLOR
    colors[number < 0] = PAPER
    return colors


def hatch_of(number: int) -> str:
    """Return the hatch that tells this pass from others of its colour, '' for the first eight."""
    tier = max(0, (number - 1) // len(_PASSES))
    return ("", "//", "\\\\", "xx", "--", "||")[min(tier, 5)]


def stripes(pass_number: NDArray[Any]) -> NDArray[np.float64]:
    """Return the brightness, 1 or less, that stripes give to passes beyond the eighth.

    Parameters
    ----------
    pass_number : ndarray of int, shape (h, w)
        The pass shown at each pixel.

    Returns
    -------
    ndarray of float64, shape (h, w)
    """
    number = np.asarray(pass_number)
    tier = np.maximum(0, (number - 1) // len(_PASSES))
    factor = np.ones(number.shape)
    if not tier.any():
        return factor
    row, column = np.arange(number.shape[0])[:, None], np.arange(number.shape[1])[None]
    half = STRIPE_PX // 2
    patterns = {
        1: (row + column) % STRIPE_PX < half,
        2: (row - column) % STRIPE_PX < half,
        3: ((row + column) % STRIPE_PX < 3) | ((row - column) % STRIPE_PX < 3),
        4: np.broadcast_to(row % STRIPE_PX < half, number.shape),
        5: np.broadcast_to(column % STRIPE_PX < half, number.shape),
    }
    for level, pattern in patterns.items():
        chosen = (tier >= level) if level == max(patterns) else (tier == level)
        factor[chosen & pattern] = 0.72
    return factor


def height_colors(z: NDArray[np.float64], low: float, high: float) -> NDArray[np.float64]:
    """Return colours of heights on a scale that stays readable without colour sight (cividis).

    Parameters
    ----------
    z : ndarray of float64, any shape
        Heights, NaN where nothing is.
    low, high : float
        Ends of the scale, in the unit of `z`; equal ends give the middle colour.

    Returns
    -------
    ndarray of float64, shape (..., 3)
    """
    from matplotlib import colormaps

    share = np.full(z.shape, 0.5) if high <= low else (z - low) / (high - low)
    colors: NDArray[np.float64] = colormaps["cividis"](np.nan_to_num(share, nan=0.5))[..., :3]
    colors[np.isnan(z)] = PAPER
    return colors
