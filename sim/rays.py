"""Rays through what the moves left, in any direction: exact places, who made them, normals.

Moves and tools are prepared once (`Sweeps`); `rays` then answers any number of lines, as of any
move. Level lines on level paths and upright lines on level paths and plunges are exact for every
tool; other lines too, but for two things that are cut up: arcs into chords (`Sweeps.chord` says
how far those may be off) and coves into cones (`pieces.SPLIT_ERROR`).
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import BadInput, Fault
from .grid import NOTHING, RAW
from .moves import Moves
from .pack import path_rows
from .pieces import Piece, kernel_rows, narrows, split
from .stock import Stock
from .tree import build_tree

__all__ = ["CHORD", "Metal", "Sweeps", "rays"]

Floats = NDArray[np.float64]

CHORD: Final = 1e-4
"""How far the chords of an arc may be from it where no closed form reaches, mm."""
FROM_ABOVE: Final = 1e5
"""A move that comes down from an unknown height starts so far up, mm."""
CHUNK: Final = 8192
"""Rays that a thread takes at once."""
SKIN: Final = 1e-9
"""Boxes of the tree are so much larger, as a share of their coordinates."""
LONGEST: Final = 32
"""Most boxes a move."""


class Stacked(Protocol):
    """A tool: all that is wanted of it is its pieces."""

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Pieces, from the tip up."""


@dataclasses.dataclass(frozen=True)
class Metal:
    """Metal left on rays, from place to place.

    Attributes
    ----------
    offsets : ndarray of int64, shape (n + 1,)
        Ray k has the stretches offsets[k] to offsets[k + 1] - 1, in order along it.
    enter, leave : ndarray of float64, shape (m,)
        Distance from the ray's origin where metal begins and ends, mm.
    enter_move, leave_move : ndarray of int32
        Move that made the end; `RAW` the stock's own face, `NOTHING` the end of what was asked.
    enter_label, leave_label : ndarray of int8
        Part of the tool, index into `pieces.LABELS`; -1 where no tool made it.
    enter_normal, leave_normal : ndarray of float64, shape (m, 3)
        Unit normal out of the metal; NaN at the end of what was asked.
    """

    offsets: NDArray[np.int64]
    enter: Floats
    leave: Floats
    enter_move: NDArray[np.int32]
    leave_move: NDArray[np.int32]
    enter_label: NDArray[np.int8]
    leave_label: NDArray[np.int8]
    enter_normal: Floats
    leave_normal: Floats

    def __len__(self) -> int:
        return len(self.offsets) - 1

    def of(self, ray: int) -> slice:
        """Return the stretches of one ray."""
        return slice(int(self.offsets[ray]), int(self.offsets[ray + 1]))

    def first(self) -> NDArray[np.int64]:
        """Return the first stretch of each ray, -1 where there is none."""
        some = self.offsets[1:] > self.offsets[:-1]
        return np.where(some, self.offsets[:-1], -1)


class Sweeps:
    """What the cutting parts of tools sweep along moves, prepared for rays.

    Parameters
    ----------
    moves : Moves
        Part frame, mm.
    tools : mapping of int to Tool
        By number.
    chord : float
        How far an arc's chords may be off, mm.
    """

    def __init__(self, moves: Moves, tools: Mapping[int, Stacked], *, chord: float = CHORD) -> None:
        if not 0 < chord < math.inf:
            raise Fault(f"a chord error of {chord} mm")
        self.count, self.chord = len(moves), chord
        self._tools(moves, tools)
        self.kind, self.paths = path_table(moves, chord)
        members = np.flatnonzero(moves.sweeps()).astype(np.int32)
        low, high, thing = _boxes(self.kind, self.paths, self.tool, self.reach, members)
        self.tree = build_tree(low, high, thing)

    def _tools(self, moves: Moves, tools: Mapping[int, Stacked]) -> None:
        """Make the table of pieces: per tool as drawn, then convex."""
        numbers, which = np.unique(moves.tool, return_inverse=True)
        self.tool: NDArray[np.int32] = which.astype(np.int32)
        blocks: list[NDArray[np.float64]] = [kernel_rows([])]
        self.spans = np.zeros((max(1, len(numbers)), 4), np.int64)
        self.reach = np.zeros((max(1, len(numbers)), 4))
        count = 0
        for t, number in enumerate(numbers.tolist()):
            tool = tools.get(number)
            if tool is None:
                raise Fault(f"move of tool {number}, which the job does not have")
            drawn = [p for p in tool.pieces if p.cutting]
            convex = [part for p in drawn for part in split(p)]
            exact = len(drawn) == len(convex)
            self.spans[t, :2] = count, count + len(drawn)
            blocks.append(kernel_rows(drawn))
            count += len(drawn)
            self.spans[t, 2:] = self.spans[t, :2] if exact else (count, count + len(convex))
            if not exact:
                rows = kernel_rows(convex)
                whole = np.repeat(np.arange(len(drawn)), [len(split(p)) for p in drawn])
                sliced = np.array([p.is_cove for p in drawn])[whole]
                rows[sliced, 12] = self.spans[t, 0] + whole[sliced]
                blocks.append(rows)
                count += len(convex)
            self.reach[t] = (
                max((p.widest for p in drawn), default=0.0),
                min((p.z_low for p in drawn), default=0.0),
                max((p.z_high for p in drawn), default=0.0),
                _solid_height(drawn),
            )
        self.pieces = np.concatenate(blocks)

    @property
    def moves_tuple(self) -> tuple[Any, ...]:
        """The tables as `kernels.rays` takes them."""
        return self.kind, self.paths, self.tool, self.pieces, self.spans, self.reach


def _solid_height(drawn: list[Piece]) -> float:
    """Return how high a tool is solid above where it is first as wide as it gets; 0: it narrows."""
    if not drawn or narrows(drawn):
        return 0.0
    widest = max(p.widest for p in drawn)
    first = next(p for p in drawn if p.widest >= widest)
    return drawn[-1].z_high - (first.z_low if first.r_low >= widest else first.z_high)


def path_table(moves: Moves, chord: float) -> tuple[NDArray[np.int64], Floats]:
    """Return kind and row of each move's path; see `kernels.sweep_path` for the columns."""
    kind, rows = path_rows(moves)
    table = np.zeros((len(moves), 12))
    table[:, :9], table[:, 9:11] = rows[:, :9], rows[:, 14:16]
    table[np.isnan(moves.start[:, 2]) & moves.sweeps(), 6] = FROM_ABOVE
    round_ = rows[:, 7] > 0
    share = np.minimum(chord / np.where(round_, rows[:, 5], 1.0), 1.0)
    step = 2 * np.arccos(1 - share)
    table[:, 11] = np.where(round_, np.ceil(np.maximum(rows[:, 7] / step, rows[:, 7])), 0)
    table[:, 11] = np.where(round_, np.maximum(table[:, 11], 1), 0)
    return kind, table


def _boxes(
    kind: NDArray[np.int64],
    paths: Floats,
    tool: NDArray[np.int32],
    reach: Floats,
    members: NDArray[np.int32],
) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Return boxes of what moves sweep; long slanting moves and arcs get several."""
    p, r = paths[members], reach[tool[members]]
    across = np.minimum(np.abs(p[:, 9] - p[:, 0]), np.abs(p[:, 10] - p[:, 1]))
    round_ = p[:, 7] > 0
    wanted = np.where(round_, p[:, 7] / (math.pi / 8), across / (2 * r[:, 0] + 1e-12))
    parts = np.clip(np.ceil(wanted), 1, LONGEST).astype(np.int64)
    of = np.repeat(np.arange(len(members)), parts)
    number = np.arange(len(of)) - np.repeat(np.cumsum(parts) - parts, parts)
    p, r, parts, round_ = p[of], r[of], parts[of], round_[of]
    a, b = number / parts, (number + 1) / parts
    ends = [_place(p, round_, share) for share in (a, b)]
    bulge = np.where(round_, p[:, 5] * (1 - np.cos(p[:, 7] / parts / 2)), 0.0) + r[:, 0]
    low, high = np.minimum(*ends), np.maximum(*ends)
    low[:, :2] -= bulge[:, None]
    high[:, :2] += bulge[:, None]
    low[:, 2] += r[:, 1]
    high[:, 2] += r[:, 2]
    skin = SKIN * (1 + np.abs(np.where(np.isfinite(high), high, low)) + np.abs(low))
    return low - skin, high + skin, members[of]


def _place(p: Floats, round_: NDArray[np.bool_], share: Floats) -> Floats:
    """Return the tip at a share of each path."""
    turned = p[:, 8] * p[:, 7] * share
    sx, sy = p[:, 0] - p[:, 3], p[:, 1] - p[:, 4]
    x = np.where(round_, p[:, 3] + np.cos(turned) * sx - np.sin(turned) * sy, 0.0)
    y = np.where(round_, p[:, 4] + np.cos(turned) * sy + np.sin(turned) * sx, 0.0)
    line = p[:, :2] + share[:, None] * (p[:, 9:11] - p[:, :2])
    x, y = np.where(round_, x, line[:, 0]), np.where(round_, y, line[:, 1])
    return np.stack([x, y, p[:, 2] + p[:, 6] * share], axis=1)


def rays(
    origins: ArrayLike,
    directions: ArrayLike,
    sweeps: Sweeps,
    stock: Stock,
    *,
    as_of: int | None = None,
    span: tuple[float, float] = (0.0, math.inf),
    threads: int | None = None,
) -> Metal:
    """Return the stock left on rays.

    Parameters
    ----------
    origins : array_like of float64, shape (n, 3)
        mm, part frame.
    directions : array_like of float64, shape (n, 3) or (3,)
        Of any length but 0; distances count in mm all the same.
    sweeps : Sweeps
    stock : Stock
    as_of : int, optional
        Moves that are done; all unless given.
    span : (float, float)
        What part of each line is asked, mm from its origin; may begin below 0.
    threads : int, optional
        All cores unless given; the result does not depend on it.

    Raises
    ------
    BadInput
        A direction without length, or a number that is none.

    Notes
    -----
    Stretches of metal, or gaps in it, shorter than 1e-9 mm are none. An end that several moves
    made alike is the earliest one's.
    """
    lines = _lines(origins, directions)
    if not span[1] > span[0]:
        raise BadInput(f"a span from {span[0]} to {span[1]}: it must end after it begins")
    limit = sweeps.count if as_of is None else max(0, min(as_of, sweeps.count))
    chunks = [lines[i : i + CHUNK] for i in range(0, len(lines), CHUNK)]
    workers = min(threads or os.cpu_count() or 1, max(1, len(chunks)))

    def work(chunk: Floats) -> tuple[NDArray[Any], ...]:
        return _cast(chunk, sweeps, stock, limit, (float(span[0]), float(span[1])))

    if workers == 1:
        parts = [work(chunk) for chunk in chunks]
    else:
        with ThreadPoolExecutor(workers) as pool:
            parts = list(pool.map(work, chunks))
    return _joined(parts)


def _lines(origins: ArrayLike, directions: ArrayLike) -> Floats:
    start = np.atleast_2d(np.asarray(origins, np.float64))
    way = np.broadcast_to(np.asarray(directions, np.float64), start.shape)
    length = np.sqrt((way**2).sum(axis=1))
    if not (np.isfinite(start).all() and np.isfinite(length).all() and (length > 0).all()):
        raise BadInput("a ray needs a place, and a direction that is not 0,0,0")
    unit = way / length[:, None]
    one_axis = (np.count_nonzero(way, axis=1) == 1)[:, None]
    return np.ascontiguousarray(np.hstack([start, np.where(one_axis, np.sign(way), unit)]))


def _cast(
    lines: Floats, sweeps: Sweeps, stock: Stock, limit: int, span: tuple[float, float]
) -> tuple[NDArray[Any], ...]:
    """Return (counts, ends, makers, faces) of a chunk, the stock's own normals filled in."""
    from .kernels.rays import cast
    from .stock_rays import stock_on_rays

    raw = stock_on_rays(stock, lines)
    tree = sweeps.tree
    room = 2 * len(lines) + 64
    while True:
        out = (
            np.empty((room, 2)),
            np.empty((room, 2, 3), np.int32),
            np.empty((room, 2, 4)),
        )
        counts = np.zeros(len(lines), np.int64)
        seen = np.full(max(1, sweeps.count), -1, np.int64)
        boxes = (tree.boxes, tree.first, tree.things, tree.own, seen)
        given = (raw.offsets, raw.enter, raw.leave)
        n = cast(lines, given, span, limit, boxes, sweeps.moves_tuple, 256, out, counts)
        if n >= 0:
            break
        room *= 2
    describe_ends(lines, sweeps, counts, out)
    makers: NDArray[np.int32] = out[1][:n].copy()
    faces: Floats = out[2][:n].copy()
    raw.fill_normals(makers, faces)
    return counts, out[0][:n].copy(), makers, faces


def describe_ends(
    lines: Floats, sweeps: Sweeps, counts: NDArray[np.int64], out: tuple[NDArray[Any], ...]
) -> None:
    """Write normals and labels of the ends in `out`, as `kernels.rays.cast` left them."""
    from .kernels.rays import describe

    describe(lines, sweeps.moves_tuple, out, counts)


def _joined(parts: list[tuple[NDArray[Any], ...]]) -> Metal:
    none = (np.zeros(0, np.int64), np.empty((0, 2)), np.empty((0, 2, 3), np.int32))
    parts = [*parts, (*none, np.empty((0, 2, 4)))]
    counts: NDArray[np.int64] = np.concatenate([p[0] for p in parts])
    ends: Floats = np.concatenate([p[1] for p in parts])
    makers: NDArray[np.int32] = np.concatenate([p[2] for p in parts])
    faces: Floats = np.concatenate([p[3] for p in parts])
    label = faces[:, :, 3].astype(np.int8)
    return Metal(
        offsets=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        enter=ends[:, 0].copy(),
        leave=ends[:, 1].copy(),
        enter_move=makers[:, 0, 0].copy(),
        leave_move=makers[:, 1, 0].copy(),
        enter_label=label[:, 0].copy(),
        leave_label=label[:, 1].copy(),
        enter_normal=faces[:, 0, :3].copy(),
        leave_normal=faces[:, 1, :3].copy(),
    )


assert (RAW, NOTHING) == (-1, -2)  # as the kernels have them
