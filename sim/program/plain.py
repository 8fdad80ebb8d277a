"""Long programs: plain blocks read in a compiled loop, the same as the full reader reads them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, overload

import numpy as np

from ..kernels.blocks import COLUMNS, line_ends, scan
from .arcs import ARC_TOLERANCE_MM
from .executor import Executor
from .settings import LIMIT_MM

__all__ = ["PlainBlocks", "PlainLines"]

ROOM: Final = 1 << 15
"""Moves that are taken at once."""
WORTH: Final = 8
"""Lines that must have been plain for the next try to come at once."""
PATIENCE: Final = 64
"""Most lines left to the full reader between two tries."""
_G_NUMBER: Final = {0: 0.0, 10: 1.0, 20: 2.0, 30: 3.0}


class PlainLines(Sequence[str]):
    """The lines of a text, cut out as they are wanted, and its characters as bytes.

    Parameters
    ----------
    text : str
        A character that no byte can hold counts as ``?``, which stops the compiled loop.

    Attributes
    ----------
    data : ndarray of uint8
    starts, stops : ndarray of int64
        Where each line begins and ends, without what ends it.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.data = np.frombuffer(text.encode("latin-1", "replace"), np.uint8)
        none = np.empty(0, np.int64)
        count = line_ends(self.data, none, none)
        self.starts, self.stops = np.empty(count, np.int64), np.empty(count, np.int64)
        line_ends(self.data, self.starts, self.stops)

    def __len__(self) -> int:
        return len(self.starts)

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[str]: ...
    def __getitem__(self, index: Any) -> Any:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        return self.text[self.starts[index] : self.stops[index]]

    def __iter__(self) -> Iterator[str]:
        return (self[i] for i in range(len(self)))

    def having(self, character: str) -> list[int]:
        """Return the lines (indices) that hold a character, each once."""
        if ord(character) > 127:
            raise ValueError("one of ASCII")
        places = np.flatnonzero(self.data == ord(character))
        found: list[int] = np.unique(
            np.searchsorted(self.starts, places, side="right") - 1
        ).tolist()
        return found


class PlainBlocks:
    """Reads runs of plain blocks of a program in a compiled loop.

    Parameters
    ----------
    executor : Executor
        Its state is taken up and handed back.
    """

    def __init__(self, executor: Executor) -> None:
        self.executor = executor
        self._rows = np.empty((ROOM, COLUMNS))
        self._rest = 0  # lines that the full reader has before the next try
        self._patience = 1

    def run(self, lines: PlainLines, at: int, stop: int, recorded: int) -> tuple[int, int]:
        """Read plain blocks from a line (index) on; return the next line, and blocks read.

        Parameters
        ----------
        lines : PlainLines
        at, stop : int
            Where to begin, and where to stop at the latest.
        recorded : int
            Line that the moves are recorded under; 0: their own.
        """
        if self._rest:
            self._rest -= 1
            return at, 0
        begun, blocks = at, 0
        if self._is_plain():
            at, blocks = self._read(lines, at, stop, recorded)
        self._patience = 1 if at - begun >= WORTH else min(2 * self._patience, PATIENCE)
        self._rest = self._patience - 1
        return at, blocks

    def _is_plain(self) -> bool:
        """Whether what is in force lets a plain block be read by itself."""
        e, modal = self.executor, self.executor.modal
        return (
            e.out.flows
            and e.path is e.out
            and e.transform is None
            and not e.loose
            and e.ready
            and modal.motion in _G_NUMBER
            and modal.plane == 170
            and modal.feed_mode == 940
        )

    def _read(self, lines: PlainLines, at: int, stop: int, recorded: int) -> tuple[int, int]:
        e, modal, out = self.executor, self.executor.modal, self.executor.out
        tolerance = ARC_TOLERANCE_MM[e.unit]
        frame = np.array([*(e.zero or (0.0, 0.0, 0.0)), e.scale, tolerance, LIMIT_MM])
        modes = np.array([modal.absolute, modal.centers_absolute, recorded], np.int64)
        motion = _G_NUMBER[modal.motion or 0]
        state = np.array([*out.position, motion, out.feed, 0.0, 1.0])
        fixed, blocks = np.array(out.fixed), 0
        while True:
            before = at
            at, moves, more = scan(
                lines.data, lines.starts, lines.stops, at, stop, frame, modes, fixed, state,
                self._rows,
            )  # fmt: skip
            blocks += more
            out.take(self._rows[:moves])
            if at == before or moves < ROOM:
                break
        x, y, z = state[:3].tolist()
        out.position = x, y, z
        if state[5]:
            out.set_flow(float(state[4]), settled=bool(state[6]))
        e.set_motion(10 * int(state[3]))
        return at, blocks
