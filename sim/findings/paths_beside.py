"""Other paths of a pass beside a station of it, and whether it lies on one round with them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC

if TYPE_CHECKING:
    from ..contact.stations import Places
    from .walls import Bools, Floats, Ints, Walls

__all__ = ["FITS", "STEP", "fits_if_moved", "paths_beside"]

STEP: Final = 1e-5
"""Paths nearer than this are one, mm."""
BESIDE: Final = 0.5
"""A path is beside where its nearest place is off along the way by less than this share."""
FITS: Final = 0.25
"""Paths that are off by less than this share of a step don't have it."""
CIRCLE: Final = 3
"""A circle goes through so many places whatever they are."""


def paths_beside(
    walls: Walls, places: Places, k: Ints, other: Ints, radius: float
) -> tuple[Floats, Bools]:
    """Return how paths lie beside stations, square to their ways, and which do.

    A path counts where it comes nearest: round a wall it bends, and lies behind it further on.

    Parameters
    ----------
    walls : Walls
    places : Places
        Of one pass.
    k : ndarray of int64, shape (n,)
        Stations.
    other : ndarray of int64, shape (n, m)
        Stations whose moves are looked at.
    radius : float
        Paths further away than twice this lie not beside, mm.

    Returns
    -------
    off : ndarray of float64, shape (n, m, 3)
        From the station, mm.
    beside : ndarray of bool, shape (n, m)
    """
    way = places.way[k][:, None]
    off = _feet(walls, places.tip[k], places.move[other]) - places.tip[k][:, None]
    along = (off[..., :2] * way).sum(axis=2)
    off[..., :2] -= along[..., None] * way
    step = np.sqrt((off**2).sum(axis=2))
    return off, (np.abs(along) < BESIDE * step) & (step > STEP) & (step < 2 * radius)


def _feet(walls: Walls, tip: Floats, move: Ints) -> Floats:
    """Return the places of moves nearest in plan to places, mm, shape (n, m, 3).

    tip : shape (n, 3); move : shape (n, m).
    """
    moves = walls.moves
    start, end = moves.start[move], moves.end[move]
    span, rel = (end - start)[..., :2], tip[:, None, :2] - start[..., :2]
    share = (rel * span).sum(axis=2) / np.maximum((span**2).sum(axis=2), 1e-18)
    share = np.clip(share, 0.0, 1.0)
    feet: Floats = start + share[..., None] * (end - start)
    row, column = np.nonzero((moves.kind[move] == ARC) & (moves.turn[move] != 0))
    arc = move[row, column]
    center, turn = moves.center[arc], moves.turn[arc]
    u, v = moves.start[arc, :2] - center, tip[row, :2] - center
    angle = np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1))
    angle = np.mod(angle * np.sign(turn), 2 * math.pi)
    past = angle - np.abs(turn)
    angle = np.where(past <= 0, angle, np.where(past < 2 * math.pi - angle, np.abs(turn), 0.0))
    cos, sin = np.cos(angle), np.sin(angle) * np.sign(turn)
    feet[row, column, 0] = center[:, 0] + cos * u[:, 0] - sin * u[:, 1]
    feet[row, column, 1] = center[:, 1] + cos * u[:, 1] + sin * u[:, 0]
    low, high = moves.start[arc, 2], moves.end[arc, 2]
    feet[row, column, 2] = low + angle / np.abs(turn) * (high - low)
    return feet


def fits_if_moved(paths: Floats, by: float, error: float) -> bool:
    """Whether paths lie on one round, and a station lies on it only if moved.

    Parameters
    ----------
    paths : ndarray of float64, shape (n, 2)
        From the station, in a plane across the paths, mm.
    by : float
        How far the station is moved along the second axis, mm.
    error : float
        What the station is off, mm: within a share of it places are on the round.
    """
    paths = np.unique(np.round(paths, 6), axis=0)
    if len(paths) <= CIRCLE:
        return False
    # A circle is 2 a u + 2 b v + c = u^2 + v^2.
    known, squares = np.column_stack([2 * paths, np.ones(len(paths))]), (paths**2).sum(axis=1)
    a, b, c = np.linalg.lstsq(known, squares, rcond=None)[0].tolist()
    radius = math.sqrt(max(0.0, c + a * a + b * b))
    others = float(np.abs(np.hypot(paths[:, 0] - a, paths[:, 1] - b) - radius).max())
    now, then = (abs(math.hypot(a, v - b) - radius) for v in (0.0, by))
    return max(others, then) < FITS * abs(error) < now
