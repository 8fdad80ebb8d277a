"""Moves and tools as the tables that the kernels read."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .moves import ARC as MOVE_ARC
from .moves import Moves
from .tools import Tool

__all__ = ["Packed", "pack", "path_rows"]

WIDTH = 17
POINT, LEVEL, RAMP, ARC, HELIX = range(5)
SHORTEST = 1e-9
"""A path shorter than this in plan, or an arc of a smaller radius, is a plunge, mm."""


@dataclasses.dataclass(frozen=True)
class Packed:
    """Tables of the kernels; see `kernels.place` for the columns.

    Attributes
    ----------
    code : ndarray of int32, shape (n,)
    rows : ndarray of float64, shape (n, 17)
    passes : ndarray of int32, shape (n,)
        Pass of each move, never falling.
    members : ndarray of int32
        Indices of the moves that take metal, in program order.
    """

    code: NDArray[np.int32]
    rows: NDArray[np.float64]
    passes: NDArray[np.int32]
    members: NDArray[np.int32]

    def upto(self, count: int) -> Packed:
        """Return the tables with only the first `count` moves taking part."""
        return dataclasses.replace(self, members=self.members[self.members < count])


def pack(moves: Moves, tools: Mapping[int, Tool]) -> Packed:
    """Return the kernels' tables for moves in the part frame, mm.

    Raises
    ------
    Fault
        A move whose tool is not in `tools`, or passes out of order.
    """
    if len(moves) and (np.diff(moves.pass_number) < 0).any():
        raise Fault("pass numbers fall along the program")
    kind, rows = path_rows(moves)
    shape = _fill_profiles(rows, moves, tools)
    return Packed(
        code=(kind * 4 + shape).astype(np.int32),
        rows=rows,
        passes=moves.pass_number.astype(np.int32),
        members=np.flatnonzero(moves.sweeps()).astype(np.int32),
    )


def path_rows(moves: Moves) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the kind of each move, and rows of which columns 0-8, 14 and 15 are filled."""
    rows = np.zeros((len(moves), WIDTH))
    from_above = np.isnan(moves.start[:, 2])
    start = np.where(np.isnan(moves.start), moves.end, moves.start)
    start[:, 2] = np.where(from_above, moves.end[:, 2], start[:, 2])
    # A level line runs from its left end, so that the way back has the same bits: a pass repeated
    # the other way round is a tie, which the earlier move keeps.
    falls = start[:, 2] > moves.end[:, 2]
    level_line = (start[:, 2] == moves.end[:, 2]) & (moves.kind != MOVE_ARC)
    dx, dy = (start - moves.end)[:, 0], (start - moves.end)[:, 1]
    falls |= level_line & ((dx > 0) | ((dx == 0) & (dy > 0)))
    low = np.where(falls[:, None], moves.end, start)
    high = np.where(falls[:, None], start, moves.end)
    rows[:, 0:3] = low
    rows[:, 14:16] = high[:, :2]
    rows[:, 6] = high[:, 2] - low[:, 2]

    radius = np.hypot(*(low[:, :2] - moves.center).T)
    arc = (moves.kind == MOVE_ARC) & (radius > SHORTEST) & (moves.turn != 0)
    plan = high[:, :2] - low[:, :2]
    length = np.hypot(*plan.T)
    line = ~arc & (length > SHORTEST)
    unit = plan / np.where(line, length, 1.0)[:, None]
    unit[~line] = (1.0, 0.0)  # any direction will do for a point, but it must be one
    rows[:, 3:5] = np.where(arc[:, None], moves.center, unit)
    rows[:, 5] = np.where(arc, radius, np.where(line, length, 0.0))
    rows[:, 7] = np.where(arc, np.abs(moves.turn), 0.0)
    sense = np.sign(moves.turn) * np.where(falls, -1.0, 1.0)
    rows[:, 8] = np.where(arc, sense, 0.0)

    level = rows[:, 6] == 0
    kind = np.select([arc & level, arc, line & level, line], [ARC, HELIX, LEVEL, RAMP], POINT)
    return kind.astype(np.int64), rows


def _fill_profiles(
    rows: NDArray[np.float64], moves: Moves, tools: Mapping[int, Tool]
) -> NDArray[np.int64]:
    """Write columns 9-13 and 16; return the shape of each move's tool."""
    shape = np.zeros(len(moves), dtype=np.int64)
    for number in np.unique(moves.tool):
        tool = tools.get(int(number))
        if tool is None:
            raise Fault(f"move of tool {number}, which the job does not have")
        profile = tool.profile()
        mine = moves.tool == number
        shape[mine] = profile.shape
        rows[mine, 9:14] = (
            profile.radius,
            profile.flat_radius,
            profile.corner_radius,
            profile.slope,
            profile.radius * profile.radius,
        )
        rows[mine, 16] = np.inf if tool.cutting_length is None else tool.cutting_length
    return shape
