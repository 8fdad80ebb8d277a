"""What a column along Z sees of a tool: the parts that may leave the lowest metal.

A column is cut down to the lowest place of any part, so a tool is a few parts with simple lower
edges. The flat, bull, ball and cone of the common tools are one part each; a tapered, stepped or
free tool has one for each piece with a lower face of its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .pieces import Piece
from .tools import Tool

__all__ = ["ARCH", "BALL", "BULL", "CONE", "COVE", "FLAT", "PART", "column_parts"]

FLAT, BULL, BALL, CONE, ARCH, COVE = range(6)
PART: Final = 8
SAME: Final = 1e-9
"""Lengths nearer than this are equal, mm."""


def column_parts(tool: Tool) -> NDArray[np.float64]:
    """Return a table of the parts that columns see, shape (n, `PART`), n >= 1.

    Columns: shape (see `kernels.profile`), R, flat radius, corner radius, slope or centre's radius,
    0, height of the cutting part over the part's lowest place, height of that place over the tip.
    """
    pieces = [p for p in tool.pieces if p.cutting]
    top = pieces[-1].z_high
    whole = _single(pieces, top)
    rows = [whole] if whole else [row for i in range(len(pieces)) for row in _faces(pieces, i, top)]
    return np.array(rows, np.float64).reshape(-1, PART)


def _single(pieces: Sequence[Piece], top: float) -> tuple[float, ...] | None:
    """Return the one part of a common tool: a rounded or conical end under a cylinder, or none."""
    first, rest = pieces[0], pieces[1:]
    R = first.r_high
    if any(p.arc or abs(p.r_low - R) > SAME or abs(p.r_high - R) > SAME for p in rest):
        return None
    if first.arc is None:
        if first.slope == 0:
            return (FLAT, R, R, 0.0, 0.0, 0.0, top, 0.0)
        if first.slope > 0:
            return (CONE, R, first.r_low, 0.0, 1 / first.slope, 0.0, top, 0.0)
        return None
    center_r, center_z, rc = first.arc
    if first.is_cove or abs(center_z - rc) > SAME or center_r < -SAME or first.z_high < rc - SAME:
        return None
    if first.z_high > rc + SAME:
        return None
    if center_r <= SAME:
        return (BALL, rc, 0.0, rc, 0.0, 0.0, top, 0.0)
    return (BULL, center_r + rc, center_r, rc, 0.0, 0.0, top, 0.0)


def _faces(pieces: Sequence[Piece], i: int, top: float) -> list[tuple[float, ...]]:
    """Return the parts of one piece's lower faces: its flank where it widens, its bare bottom."""
    p = pieces[i]
    below = pieces[i - 1].r_high if i else -math.inf
    over = _solid_over(pieces, i, top) - p.z_low
    at = (0.0, over, p.z_low)
    widens = max(p.widest, p.r_low) > p.r_low + SAME
    if not widens:
        return [(FLAT, p.r_low, p.r_low, 0.0, 0.0, *at)] if p.r_low > below + SAME else []
    if p.arc is None:
        return [(CONE, p.r_high, p.r_low, 0.0, 1 / p.slope, *at)]
    center_r, _, radius = p.arc
    if p.is_cove:
        return [(COVE, p.r_high, p.r_low, -radius, center_r, *at)]
    return [(ARCH, p.widest, p.r_low, radius, center_r, *at)]


def _solid_over(pieces: Sequence[Piece], i: int, top: float) -> float:
    """Return the height up to which the tool is solid over all of a piece's lower faces."""
    widest = max(pieces[i].widest, pieces[i].r_low)
    at = pieces[i].z_low
    for p in pieces[i:]:
        if min(p.r_high, p.widest) < widest - SAME and p is not pieces[i]:
            return at
        if p is pieces[i] and p.r_high < widest - SAME:  # its own flank draws in again
            return p.arc[1] if p.arc else p.z_low
        at = p.z_high
    return top
