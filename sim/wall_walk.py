"""A walk along contours, looking along their normals for the face of the metal.

Rays along the normals give exact distances. Between neighbours the contour is halved until the
middle agrees with both sides: steps, kinks and bends are found wherever the points were put.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .wall_contour import Loop

if TYPE_CHECKING:
    from .job import Job

__all__ = [
    "BEND",
    "BEYOND",
    "FOUND",
    "INSET",
    "MOST_POINTS",
    "NONE",
    "RUNS_FREE",
    "TOUCH",
    "Faces",
    "Look",
    "Track",
    "Walk",
]

Floats = NDArray[np.float64]

TOUCH: Final = 1e-9
"""Metal that begins this near beyond the contour touches it, mm."""
INSET: Final = 1e-9
"""A corner is looked at this far inside each of its sides, mm."""
BEND: Final = 5e-5
"""Middle and sides that agree within this are not halved further, mm."""
SHORT: Final = 1e-9
"""Stretches shorter than this are not halved further, mm."""
SHORT_PASS: Final = 1e-4
"""The same where only the pass differs."""
FINEST: Final = 1e-4
"""Points nearer than this share of the contour are shown at a change or an extreme alone."""
SHOWN: Final = 0.01
"""Points between those asked for are shown where the stock bends by this share of its range."""
MOST_POINTS: Final = 2_000_000
MOST_ROUNDS: Final = 60
FOUND, BEYOND, NONE, RUNS_FREE = range(4)


@dataclasses.dataclass(frozen=True)
class Faces:
    """Faces found at places of a contour; arrays of one length."""

    stock: Floats
    state: NDArray[np.int8]
    move: NDArray[np.int32]
    label: NDArray[np.int8]


class Track:
    """Contours one after the other, as arrays over their pieces."""

    def __init__(self, loops: Sequence[Loop]) -> None:
        pieces = [p for loop in loops for p in loop.contour.pieces]
        self.begin = np.array([p.start for p in pieces])
        self.end = np.array([p.end for p in pieces])
        self.center = np.array([p.center for p in pieces])
        self.turn = np.array([p.turn for p in pieces])
        self.length_of = np.array([p.length for p in pieces])
        sizes = [len(loop.contour.pieces) for loop in loops]
        self.loop = np.repeat(np.arange(1, len(loops) + 1), sizes).astype(np.int32)
        self.right = np.repeat([1.0 if loop.left else -1.0 for loop in loops], sizes)
        self.s_of = np.cumsum(self.length_of) - self.length_of
        self.length = float(self.length_of.sum())

    def at(self, piece: NDArray[np.int64], part: Floats) -> tuple[Floats, Floats]:
        """Return places and normals out of the metal, shape (n, 2), at parts of pieces."""
        turn, begin, end = self.turn[piece], self.begin[piece], self.end[piece]
        from_end = part > 0.5  # from the nearer end, so that both keep all their digits
        angle = turn * np.where(from_end, part - 1, part)
        near = np.where(from_end[:, None], end, begin) - self.center[piece]
        c, s = np.cos(angle), np.sin(angle)
        spoke = np.stack([c * near[:, 0] - s * near[:, 1], s * near[:, 0] + c * near[:, 1]], 1)
        span = end - begin
        straight = np.where(
            from_end[:, None], end + (part - 1)[:, None] * span, begin + part[:, None] * span
        )
        round_ = (turn != 0)[:, None]
        place = np.where(round_, self.center[piece] + spoke, straight)
        # Right of the heading: of a line, and of an arc outwards where it turns to the left.
        out = np.where(
            round_, np.sign(turn)[:, None] * spoke, np.stack([span[:, 1], -span[:, 0]], axis=1)
        )
        normal = out / np.hypot(*out.T)[:, None] * self.right[piece][:, None]
        return place, normal


class Look:
    """Looks from contours along their normals for the face of the metal."""

    def __init__(self, job: Job, z: float, reach: float) -> None:
        self.job, self.z, self.reach = job, z, reach

    def __call__(
        self, track: Track, piece: NDArray[np.int64], part: Floats, count: int | None
    ) -> Faces:
        """Return the face at each place: the end of the metal there, else the nearest behind."""
        place, normal = track.at(piece, part)
        n = len(piece)
        toward = np.column_stack([normal, np.zeros(n)])
        origins = np.column_stack([place, np.full(n, self.z)]) - self.reach * toward
        metal = self.job.rays(origins, toward, as_of=count, span=(0.0, 2 * self.reach))
        ray = np.repeat(np.arange(n), np.diff(metal.offsets))
        before = np.bincount(ray[metal.enter <= self.reach + TOUCH], minlength=n)
        some = np.flatnonzero(before > 0)
        k = metal.offsets[some] + before[some] - 1
        faces = Faces(
            np.full(n, np.nan), np.full(n, NONE, np.int8), np.full(n, -2, np.int32),
            np.full(n, -1, np.int8),
        )  # fmt: skip
        beyond = metal.leave_move[k] == -2
        faces.state[some] = np.where(beyond, BEYOND, FOUND)
        faces.stock[some] = np.where(beyond, np.nan, metal.leave[k] - self.reach) + 0.0
        faces.move[some], faces.label[some] = metal.leave_move[k], metal.leave_label[k]
        return faces


class Walk:
    """Samples along a track, and what lies between them."""

    def __init__(
        self,
        track: Track,
        ask: Callable[[NDArray[np.int64], Floats], Faces],
        passes: NDArray[np.int32],
    ) -> None:
        self.track, self.ask, self.passes = track, ask, passes
        self.piece: NDArray[np.int64] = np.empty(0, np.int64)
        self.part: Floats = np.empty(0)
        self.faces: Faces
        self.shown: NDArray[np.bool_]
        self.area, self.measured = 0.0, 0.0
        self.unfinished = False

    def start(self, step: float) -> None:
        """Look at points a step apart, and at both ends of every piece."""
        size = self.track.length_of
        n = np.maximum(1, np.ceil(size / step - 1e-9)).astype(np.int64)
        piece = np.repeat(np.arange(len(n)), n + 1)
        k = np.arange(len(piece)) - np.repeat(np.cumsum(n + 1) - n - 1, n + 1)
        inset = np.minimum(INSET / size, 0.25)[piece]
        self.piece, self.part = piece, inset + (1 - 2 * inset) * k / n[piece]
        self.faces = self.ask(self.piece, self.part)
        self.shown = np.ones(len(piece), bool)
        self.bend = np.zeros(len(piece))

    def halve(self) -> None:
        """Halve until each middle agrees with its sides; sum up stock times length."""
        a = np.flatnonzero(self.piece[1:] == self.piece[:-1])
        b = a + 1
        for _ in range(MOST_ROUNDS):
            if not len(a):
                return
            if len(self.piece) + len(a) > MOST_POINTS:
                self.unfinished = True
            first = len(self.piece)
            middle = 0.5 * (self.part[a] + self.part[b])
            self._add(self.piece[a], middle)
            m = np.arange(first, first + len(a))
            split = self._split(a, m, b)
            if self.unfinished:
                split[:] = False
            self._sum(a[~split], m[~split], b[~split])
            a, b = np.concatenate([a[split], m[split]]), np.concatenate([m[split], b[split]])

    def _add(self, piece: NDArray[np.int64], part: Floats) -> None:
        more = self.ask(piece, part)
        self.piece, self.part = np.append(self.piece, piece), np.append(self.part, part)
        names = [f.name for f in dataclasses.fields(Faces)]
        self.faces = Faces(
            *(np.append(getattr(self.faces, name), getattr(more, name)) for name in names)
        )
        self.shown = np.append(self.shown, np.zeros(len(piece), bool))
        self.bend = np.append(self.bend, np.zeros(len(piece)))

    def owner(self, k: NDArray[np.int64]) -> NDArray[np.int32]:
        """Return the pass of samples; 0 raw, below 0 none."""
        move = self.faces.move[k]
        owner = np.where(move >= 0, self.passes[np.maximum(move, 0)], move + 1)
        return np.where(self.faces.state[k] == FOUND, owner, -1).astype(np.int32)

    def _split(
        self, a: NDArray[np.int64], m: NDArray[np.int64], b: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Return what to halve on; show both sides of a change that is close enough."""
        v, state = self.faces.stock, self.faces.state
        size = (self.part[b] - self.part[a]) * self.track.length_of[self.piece[a]]
        bend = np.abs(np.nan_to_num(v[m] - 0.5 * (v[a] + v[b])))
        bends = bend > BEND
        self.bend[m] = np.where(size > FINEST * self.track.length, bend, 0.0)
        other = (state[m] != state[a]) | (state[m] != state[b])
        owners = (self.owner(m) != self.owner(a)) | (self.owner(m) != self.owner(b))
        split: NDArray[np.bool_] = (bends | other) & (size > SHORT)
        split |= owners & (size > SHORT_PASS)
        changed = (other | owners | bends) & ~split
        self.shown[a[changed]] = True
        self.shown[b[changed]] = True
        return split

    def _sum(self, a: NDArray[np.int64], m: NDArray[np.int64], b: NDArray[np.int64]) -> None:
        """Add what lies between pairs, by Simpson's rule."""
        v = self.faces.stock
        size = (self.part[b] - self.part[a]) * self.track.length_of[self.piece[a]]
        mean = (v[a] + 4 * v[m] + v[b]) / 6
        good = np.isfinite(mean)
        self.area += math.fsum((size * mean)[good])
        self.measured += math.fsum(size[good])

    def picked(self) -> tuple[NDArray[np.int64], int, int]:
        """Return the samples to show, in order, and which of them have the least and the most."""
        order = np.lexsort((self.part, self.piece))
        stock = self.faces.stock[order]
        low, high = float(np.nanmin(stock)), float(np.nanmax(stock))
        ends = [
            order[np.flatnonzero(ok)[0]] for ok in (stock <= low + TOUCH, stock >= high - TOUCH)
        ]
        self.shown[ends] = True
        self.shown |= self.bend > max(BEND, SHOWN * (high - low))
        kept = order[self.shown[order]]
        least, most = (int(np.flatnonzero(kept == k)[0]) for k in ends)
        return kept, least, most

    def shown_part(self, k: NDArray[np.int64]) -> Floats:
        """Return parts of pieces; what was looked at just inside a corner is the corner."""
        part, near = self.part[k], 2 * INSET / self.track.length_of[self.piece[k]]
        return np.where(part <= near, 0.0, np.where(1 - part <= near, 1.0, part))
