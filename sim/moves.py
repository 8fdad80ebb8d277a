"""Moves: what the program makes the tool tip do, as a struct of arrays in the part frame.

Millimetres, float64, program order. Z is up along the spindle. The tip is the lowest point on the
tool's axis. A tool cuts with its whole cutting part along every move, feed or rapid.
"""

from __future__ import annotations

import bisect
import dataclasses
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "ARC",
    "LINE",
    "SCALARS",
    "MoveList",
    "Moves",
    "Pass",
    "Program",
]

LINE: Final = 0
"""A straight move, level, sloped or along Z; also a move of no length."""
ARC: Final = 1
"""An arc about an axis along Z (G17), level or with Z changing evenly (a helix)."""

SCALARS: Final[dict[str, Any]] = {
    "kind": np.int8,
    "rapid": np.bool_,
    "turn": np.float64,
    "setup": np.int32,
    "tool": np.int32,
    "pass_number": np.int32,
    "h_register": np.int32,
    "feed": np.float64,
    "spindle": np.float64,
    "line": np.int32,
}


@dataclasses.dataclass(frozen=True)
class Moves:
    """Moves in program order.

    Attributes
    ----------
    start, end : ndarray of float64, shape (n, 3)
        Tip before and after, mm, part frame. An unknown coordinate is NaN.
    center : ndarray of float64, shape (n, 2)
        Axis of an arc in plan, mm; zeros for a line.
    kind : ndarray of int8
        `LINE` or `ARC`.
    turn : ndarray of float64
        Angle of an arc, radians, counter-clockwise seen from +Z positive; 0 for a line.
        One move turns by at most a full circle.
    rapid : ndarray of bool
        Rapid or feed; rapids are straight and cut like feeds.
    setup, tool, pass_number : ndarray of int32
        Setup from 0, tool number, pass from 1.
    h_register : ndarray of int32
        The H register in force (G43), 0 if none. Positions are as programmed: the register's
        error is added by `Moves.shifted`.
    feed, spindle : ndarray of float64
        mm/min (0 for a rapid) and 1/min.
    line : ndarray of int32
        Physical line of the file, from 1.

    Notes
    -----
    A move whose start has an unknown coordinate sweeps nothing, except a move along Z at known,
    unchanged X and Y, which comes from above.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    center: NDArray[np.float64]
    kind: NDArray[np.int8]
    rapid: NDArray[np.bool_]
    turn: NDArray[np.float64]
    setup: NDArray[np.int32]
    tool: NDArray[np.int32]
    pass_number: NDArray[np.int32]
    h_register: NDArray[np.int32]
    feed: NDArray[np.float64]
    spindle: NDArray[np.float64]
    line: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.kind)

    def __getitem__(self, index: slice | NDArray[Any]) -> Moves:
        parts = {f.name: getattr(self, f.name)[index] for f in dataclasses.fields(self)}
        return Moves(**parts)

    @classmethod
    def join(cls, parts: Sequence[Moves]) -> Moves:
        """Return the moves of `parts`, one after the other."""
        if not parts:
            return MoveList().moves()
        names = [f.name for f in dataclasses.fields(cls)]
        return cls(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})

    def sweeps(self) -> NDArray[np.bool_]:
        """Return which moves take metal: known start and end, or from above along Z."""
        known_end = np.isfinite(self.end).all(axis=1)
        known_plan = np.isfinite(self.start[:, :2]).all(axis=1)
        known_z = np.isfinite(self.start[:, 2])
        same_plan = (self.start[:, :2] == self.end[:, :2]).all(axis=1)
        takes: NDArray[np.bool_] = known_end & known_plan & (known_z | same_plan)
        return takes

    def lengths(self) -> NDArray[np.float64]:
        """Return the path length of each move, mm; 0 where the start is unknown."""
        rise = self.end[:, 2] - self.start[:, 2]
        radius = np.hypot(*(self.end[:, :2] - self.center).T)
        along = np.hypot(*(self.end[:, :2] - self.start[:, :2]).T)
        plan = np.where(self.kind == ARC, radius * np.abs(self.turn), along)
        length: NDArray[np.float64] = np.hypot(plan, rise)
        return np.where(np.isfinite(length), length, 0.0)

    def shifted(self, shift: NDArray[np.float64]) -> Moves:
        """Return the moves displaced by `shift`, shape (n, 3), mm."""
        return dataclasses.replace(
            self,
            start=np.round(self.start + shift, 10),
            end=np.round(self.end + shift, 10),
            center=np.round(self.center + shift[:, :2], 10),
        )


class MoveList:
    """Collects moves one at a time; `moves` gives the arrays.

    Coordinates are rounded to 1e-10 mm, so that sums of many small increments and lengths in
    inches land on the same float as the same place written at once.
    """

    def __init__(self) -> None:
        self._vectors: list[tuple[float, ...]] = []
        self._scalars: dict[str, list[Any]] = {name: [] for name in SCALARS}

    def __len__(self) -> int:
        return len(self._vectors)

    def add(
        self,
        start: Sequence[float],
        end: Sequence[float],
        center: Sequence[float] = (0.0, 0.0),
        **scalars: Any,
    ) -> None:
        """Append one move; `scalars` are the fields of `Moves` named in `SCALARS`, all of them."""
        if scalars.keys() != SCALARS.keys():
            raise TypeError(f"need exactly {sorted(SCALARS)}, got {sorted(scalars)}")
        self._vectors.append(tuple(round(float(v), 10) for v in (*start, *end, *center)))
        for name, value in scalars.items():
            self._scalars[name].append(value)

    def moves(self) -> Moves:
        """Return what was added, as arrays."""
        vectors = np.array(self._vectors, dtype=np.float64).reshape(-1, 8)
        arrays = {n: np.array(v, dtype=SCALARS[n]) for n, v in self._scalars.items()}
        return Moves(
            start=np.ascontiguousarray(vectors[:, :3]),
            end=np.ascontiguousarray(vectors[:, 3:6]),
            center=np.ascontiguousarray(vectors[:, 6:]),
            **arrays,
        )


@dataclasses.dataclass(frozen=True)
class Pass:
    """A run of moves of one tool under one heading.

    Attributes
    ----------
    number : int
        From 1, in program order; 0 is the raw stock.
    setup : int
        Setup, from 0.
    tool : int
        Tool number.
    name : str
        The heading, or a name made of the tool's.
    from_line, to_line : int
        Physical lines of its first and last feed move.
    """

    number: int
    setup: int
    tool: int
    name: str
    from_line: int
    to_line: int


@dataclasses.dataclass(frozen=True)
class Program:
    """What a program or a pass list makes the machine do.

    Attributes
    ----------
    moves : Moves
        As programmed: no register errors added.
    passes : tuple of Pass
        In program order.
    notes : tuple of str
        What a person should know, each with its line.
    dwells : tuple of (int, float, int)
        Waits at a feed: how many moves are done by then, seconds, line.
    compensated : tuple of (int, int, int)
        By which register the path is offset: from which move on, D register (0: none), and on
        which side of the programmed path the tool runs: 1 left, -1 right, 0 off the walls of a
        pass of a pass list, or of a pocket of G12 or G13.
    """

    moves: Moves
    passes: tuple[Pass, ...]
    notes: tuple[str, ...] = ()
    dwells: tuple[tuple[int, float, int], ...] = ()
    compensated: tuple[tuple[int, int, int], ...] = ()

    def compensation(self, move: int) -> tuple[int, int]:
        """Return D register and side of a move, as in `compensated`; (0, 0): none."""
        row = bisect.bisect_right(self.compensated, move, key=lambda r: r[0]) - 1
        return self.compensated[row][1:] if row >= 0 else (0, 0)
