"""Moves and tools as the tables that the kernels read."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .columns import PART, column_parts
from .errors import Fault
from .moves import ARC as MOVE_ARC
from .moves import Moves
from .tools import Tool

__all__ = ["Packed", "pack", "path_rows"]

WIDTH = 18
POINT, LEVEL, RAMP, ARC, HELIX = range(5)
SHORTEST = 1e-9
"""A path shorter than this in plan, or an arc of a smaller radius, is a plunge, mm."""


@dataclasses.dataclass(frozen=True)
class Packed:
    """Tables of the kernels; see `kernels.place` for the columns.

    A move has a row for each part of its tool that may leave the lowest metal: one for the common
    shapes, more for tapered, stepped and free ones. Owners of columns are rows.

    Attributes
    ----------
    code : ndarray of int32, shape (n,)
    rows : ndarray of float64, shape (n, 18)
    passes : ndarray of int32, shape (n,)
        Pass of each row, never falling.
    members : ndarray of int32
        Rows that take metal, in program order.
    move : ndarray of int32, shape (n,)
        Move of each row, never falling.
    """

    code: NDArray[np.int32]
    rows: NDArray[np.float64]
    passes: NDArray[np.int32]
    members: NDArray[np.int32]
    move: NDArray[np.int32]

    def upto(self, count: int) -> Packed:
        """Return the tables with only the first `count` moves taking part."""
        return dataclasses.replace(self, members=self.members[self.move[self.members] < count])

    def may_bury(self, high: float) -> bool:
        """Whether metal as high as this may stand above a cutting part; as the kernels ask it."""
        rows = self.rows[self.members]
        return bool((rows[:, 2] + rows[:, 16] < high).any())


def pack(moves: Moves, tools: Mapping[int, Tool]) -> Packed:
    """Return the kernels' tables for moves in the part frame, mm.

    Raises
    ------
    Fault
        A move whose tool is not in `tools`, or passes out of order.
    """
    if len(moves) and (np.diff(moves.pass_number) < 0).any():
        raise Fault("pass numbers fall along the program")
    kind, paths = path_rows(moves)
    move, part = _parts(moves, tools)
    rows = paths[move]
    rows[:, 2] += part[:, 7]
    rows[:, 9:13], rows[:, 16:18] = part[:, 1:5], part[:, 6:8]
    rows[:, 13] = rows[:, 9] * rows[:, 9]
    rows[np.isnan(moves.start[move, 2]), 16] = np.inf  # came from above
    return Packed(
        code=(kind[move] * 8 + part[:, 0].astype(np.int64)).astype(np.int32),
        rows=np.ascontiguousarray(rows),
        passes=moves.pass_number[move].astype(np.int32),
        members=np.flatnonzero(moves.sweeps()[move]).astype(np.int32),
        move=move.astype(np.int32),
    )


def _parts(
    moves: Moves, tools: Mapping[int, Tool]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Return the move of each row, and each row's part of the tool; see `columns.column_parts`."""
    numbers, which = np.unique(moves.tool, return_inverse=True)
    tables = []
    for number in numbers.tolist():
        if number not in tools:
            raise Fault(f"move of tool {number}, which the job does not have")
        tables.append(column_parts(tools[number]))
    counts = np.array([len(t) for t in tables], np.int64)
    starts = np.cumsum(counts) - counts
    of_move = counts[which] if len(which) else np.zeros(0, np.int64)
    move = np.repeat(np.arange(len(moves)), of_move)
    number = np.arange(len(move)) - np.repeat(np.cumsum(of_move) - of_move, of_move)
    table = np.concatenate([*tables, np.zeros((0, PART))])
    return move, table[starts[which[move]] + number] if len(move) else table


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
