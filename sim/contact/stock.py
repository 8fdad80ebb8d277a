"""The stock as each move found it: columns and rays of a time of their own.

Arcs that turn far are cut up first, so that what the beginning of a circle took is gone when its
end comes round.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..grid import NOTHING, RAW
from ..moves import ARC, Moves

if TYPE_CHECKING:
    from ..job import Job
    from ..rays import Metal, Sweeps

__all__ = ["Before", "split_arcs"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WIDEST_TURN: Final = 2 * math.pi / 3
"""Arcs that turn further are cut up: no part of one comes back over its own beginning."""
CHUNK: Final = 1 << 17
"""Columns that a thread takes at once."""


def split_arcs(moves: Moves, widest: float = WIDEST_TURN) -> tuple[Moves, Ints]:
    """Return the moves with arcs that turn by more than `widest` in equal parts, and whose each is.

    Parameters
    ----------
    moves : Moves
    widest : float
        Radians.

    Returns
    -------
    Moves
    ndarray of int64
        The move of each part.
    """
    arc = moves.kind == ARC
    parts = np.where(arc, np.ceil(np.abs(moves.turn) / widest - 1e-9), 1.0)
    parts = np.maximum(parts, 1).astype(np.int64)
    of = np.repeat(np.arange(len(moves)), parts)
    if len(of) == len(moves):
        return moves, of
    number = np.arange(len(of)) - np.repeat(np.cumsum(parts) - parts, parts)
    whole, count = moves[of], parts[of]
    start = _on_arc(whole, number / count)
    end = _on_arc(whole, (number + 1) / count)
    first, last, cut_up = number == 0, number == count - 1, count > 1
    return dataclasses.replace(
        whole,
        start=np.where((cut_up & ~first)[:, None], start, whole.start),
        end=np.where((cut_up & ~last)[:, None], end, whole.end),
        turn=np.where(cut_up, whole.turn / count, whole.turn),
    ), of  # fmt: skip


def _on_arc(moves: Moves, share: Floats) -> Floats:
    turned = moves.turn * share
    cx, cy = moves.center.T
    sx, sy = moves.start[:, 0] - cx, moves.start[:, 1] - cy
    x = cx + np.cos(turned) * sx - np.sin(turned) * sy
    y = cy + np.cos(turned) * sy + np.sin(turned) * sx
    z = moves.start[:, 2] + share * (moves.end[:, 2] - moves.start[:, 2])
    return np.round(np.stack([x, y, z], axis=1), 10)


class Before:
    """The stock of a job as it stood before any of its moves.

    Parameters
    ----------
    job : Job

    Attributes
    ----------
    moves : Moves
        The job's, long arcs cut up.
    of : ndarray of int64
        The job's move that each of them is part of.
    """

    def __init__(self, job: Job) -> None:
        from ..pack import pack
        from ..prober import Prober

        self.job, self.stock = job, job.stock
        self.moves, self.of = split_arcs(job.program.moves)
        same = self.moves is job.program.moves
        self.packed = job.packed if same else pack(self.moves, job.tools)
        self.prober = Prober(self.packed, job.stock)
        self._offsets, self._ids, *_ = self.prober.lists()
        self.row_of = np.searchsorted(self.packed.move, np.arange(len(self.moves) + 1))
        boxes = np.repeat(np.arange(len(self._offsets) - 1), np.diff(self._offsets))
        self._wide = len(self.packed.code) + 1
        self._keys = boxes * self._wide + self._ids
        self.threads = job.threads or os.cpu_count() or 1

    @functools.cached_property
    def sweeps(self) -> Sweeps:
        """What the moves sweep, for rays."""
        from ..rays import Sweeps

        if self.moves is self.job.program.moves:
            return self.job.sweeps
        return Sweeps(self.moves, self.job.tools)

    def columns(self, x: Floats, y: Floats, done: Ints) -> tuple[Floats, NDArray[np.int32]]:
        """Return top and owner of columns, each as it stood when `done` moves were done.

        Parameters
        ----------
        x, y : ndarray of float64, shape (n,)
            mm.
        done : ndarray of int64, shape (n,)
            Counts of moves of `moves`.

        Returns
        -------
        top : ndarray of float64, shape (n,)
            mm; -inf where nothing is.
        owner : ndarray of int32, shape (n,)
            Row of `packed`, `RAW` or `NOTHING`.
        """
        cuts = [slice(k, k + CHUNK) for k in range(0, len(x), CHUNK)]
        if len(cuts) < 2 or self.threads == 1:
            parts = [self._chunk(x[c], y[c], done[c]) for c in cuts]
        else:
            with ThreadPoolExecutor(self.threads) as pool:
                parts = list(pool.map(lambda c: self._chunk(x[c], y[c], done[c]), cuts))
        parts.append((np.zeros(0), np.zeros(0, np.int32)))
        return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])

    def _chunk(self, x: Floats, y: Floats, done: Ints) -> tuple[Floats, NDArray[np.int32]]:
        from ..kernels.cutting import cut_points

        p = self.packed
        box = self.prober.boxes(x, y)
        stops = np.searchsorted(self._keys, box * self._wide + self.row_of[done])
        top, bottom = self.stock.at(x, y)
        none = np.isnan(top)
        top = np.where(none, -np.inf, top)
        owner, buried = np.full(len(x), RAW, np.int32), np.zeros(len(x), np.bool_)
        cut_points(
            p.code, p.rows, self._ids, self._offsets[box], stops.astype(np.int64),
            np.ascontiguousarray(x), np.ascontiguousarray(y), len(p.code), top, owner, buried,
        )  # fmt: skip
        gone = none | ~(top > bottom)
        top[gone], owner[gone] = -np.inf, NOTHING
        buried &= ~none
        if buried.any():
            self._see_hollows(x, y, done, np.flatnonzero(buried), top, owner)
        return top, owner

    def _see_hollows(
        self, x: Floats, y: Floats, done: Ints, where: Ints, top: Floats, owner: NDArray[np.int32]
    ) -> None:
        """Answer columns on which metal stood above a cutting part by rays."""
        from ..deep import DeepColumns

        deep = DeepColumns(lambda: self.sweeps, self.packed, self.stock)
        for count in np.unique(done[where]).tolist():
            mine = where[done[where] == count]
            seen, by = deep.columns(x[mine], y[mine], int(self.row_of[count]))
            top[mine], owner[mine] = np.where(np.isnan(seen), -np.inf, seen), by

    def pass_of_row(self, owner: NDArray[np.int32]) -> NDArray[np.int32]:
        """Return the pass of each owner of a column: 0 raw, -1 nothing."""
        return self.prober.passes(owner)

    def pass_of_move(self, move: NDArray[np.int32]) -> NDArray[np.int32]:
        """Return the pass of each maker of a ray's end: 0 raw, -1 none."""
        table = np.append(self.moves.pass_number, [0, 0]).astype(np.int32)
        table[NOTHING], table[RAW] = -1, 0
        return table[move]

    def flat(self, x: Floats, y: Floats, owner: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Return where a column's top is a level floor."""
        return self.prober.flat(np.ascontiguousarray(x), np.ascontiguousarray(y), owner)

    def rays(self, origins: Floats, ways: Floats, done: int, far: float) -> Metal:
        """Return the metal on rays, from 0 to `far` mm, when `done` moves were done."""
        from ..rays import rays

        return rays(origins, ways, self.sweeps, self.stock, as_of=done, span=(0.0, far), threads=1)
