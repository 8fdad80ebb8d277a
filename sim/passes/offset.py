"""Offsets of contours by true arcs.

The offset of contours by d to the left is the set of points at exactly d from them: each piece is
shifted, a true arc of radius d is put round each corner that opens, all of it is cut where it
crosses, and what lies nearer than d to any contour is dropped. What remains is joined to chains. A
region walked with its inside on the left (outer contour counter-clockwise, islands clockwise) so
shrinks, and may fall into several parts or vanish.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..contour import (
    FLAT_TURN,
    SNAP_MM,
    TOUCH_MM,
    Contour,
    Field,
    Piece,
    Point,
    meet,
    near_pairs,
    turned,
)
from ..errors import BadInput, Fault

__all__ = ["offset", "offset_pieces"]

JOIN_MM: Final = 3 * SNAP_MM
"""Gap over which parts of an offset are joined: each end may have lost `SNAP_MM` to a cut beside
it, and a flat corner `FLAT_TURN` of the offset."""
INSIDE_MM: Final = 1e-8
"""How much nearer than d a point of the offset by d may seem, by rounding and `TOUCH_MM`."""


def offset_pieces(contour: Contour, gap: float, first: int = 0) -> list[Piece]:
    """Return each piece shifted by `gap` to the left, and the arcs about the corners that open.

    Parameters
    ----------
    contour : Contour
    gap : float
        mm, above 0.
    first : int
        `source` of the first piece.

    Returns
    -------
    list of Piece
        Not trimmed. An arc of a radius of `gap` or less that curves to the left has none.
    """
    raw: list[Piece] = []
    count = len(contour.pieces)
    for index, piece in enumerate(contour.pieces):
        shifted = _shifted(piece, gap, first + index)
        if shifted:
            raw.append(shifted)
        if index + 1 < count or contour.closed:
            follower = contour.pieces[(index + 1) % count]
            corner = _corner(piece, follower, gap, -1 - (first + index))
            if corner:
                raw.append(corner)
    return raw


def _left(point: Point, heading: Point, gap: float) -> Point:
    return point[0] - gap * heading[1], point[1] + gap * heading[0]


def _shifted(piece: Piece, gap: float, source: int) -> Piece | None:
    if piece.turn > 0 and piece.radius <= gap + TOUCH_MM:
        return None
    start = _left(piece.start, piece.heading(0), gap)
    end = _left(piece.end, piece.heading(1), gap)
    return dataclasses.replace(piece, start=start, end=end, source=source)


def _corner(a: Piece, b: Piece, gap: float, source: int) -> Piece | None:
    """Return the arc about the corner from `a` to `b`, if it opens on the left."""
    u, v = a.heading(1), b.heading(0)
    cross, dot = u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]
    if cross >= -FLAT_TURN and (dot > 0 or cross > FLAT_TURN):
        return None
    turn = -math.pi if abs(cross) <= FLAT_TURN else math.atan2(cross, dot)
    return Piece(_left(a.end, u, gap), _left(a.end, v, gap), a.end, turn, source)


@dataclasses.dataclass(frozen=True)
class _Part:
    """A part of a raw piece."""

    raw: int
    low: float
    high: float
    start: Point
    end: Point
    heading: Point
    leaving: Point


def offset(contours: Sequence[Contour], gap: float) -> list[Contour]:
    """Return all that lies at exactly `gap` to the left of contours.

    Parameters
    ----------
    contours : sequence of Contour
        All closed, or one open. They don't cross themselves or each other.
    gap : float
        mm, above 0.

    Returns
    -------
    list of Contour
        Closed ones from closed ones, the inside of the region still on the left. From an open one
        the chain that runs beside it from end to end, or nothing if there is no such chain.

    Raises
    ------
    BadInput
        The pieces of the offset can't be joined, since the contour is finer than 1e-6 mm there.
    """
    raw: list[Piece] = []
    first = 0
    for contour in contours:
        raw += offset_pieces(contour, gap, first)
        first += len(contour.pieces)
    if not raw:
        return []
    parts = _kept(raw, contours, gap)
    if contours[0].closed:
        return _loops(raw, parts)
    anchors = _anchors(contours[0], gap)
    return _chain(raw, parts, anchors)


def _anchors(contour: Contour, gap: float) -> tuple[Point, Point]:
    head, tail = contour.pieces[0], contour.pieces[-1]
    return _left(head.start, head.heading(0), gap), _left(tail.end, tail.heading(1), gap)


def _kept(raw: Sequence[Piece], contours: Sequence[Contour], gap: float) -> list[_Part]:
    """Return the parts between crossings that lie no nearer than `gap` to any contour."""
    cuts: list[set[float]] = [{0.0, 1.0} for _ in raw]
    for i, j in near_pairs(raw):
        for a, b in meet(raw[i], raw[j]):
            cuts[i].add(a)
            cuts[j].add(b)
    field = Field([p for c in contours for p in c.pieces])
    kept = []
    for index, piece in enumerate(raw):
        marks = _merged(sorted(cuts[index]), SNAP_MM / piece.length)
        for low, high in itertools.pairwise(marks):
            if field.distance(piece.at((low + high) / 2)) >= gap - INSIDE_MM:
                kept.append(_part(index, piece, low, high))
    return kept


def _merged(marks: list[float], least: float) -> list[float]:
    """Return marks from 0 to 1 without those nearer than `least` to their neighbour."""
    merged = [0.0]
    for mark in marks[1:-1]:
        if mark - merged[-1] > least and 1.0 - mark > least:
            merged.append(mark)
    return [*merged, 1.0] if least < 1 else []


def _part(index: int, piece: Piece, low: float, high: float) -> _Part:
    return _Part(
        index,
        low,
        high,
        piece.at(low),
        piece.at(high),
        piece.heading(low),
        piece.heading(high),
    )


def _followers(parts: Sequence[_Part]) -> list[list[int]]:
    """Return the parts that begin where each one ends."""
    starts = np.array([p.start for p in parts], dtype=np.float64).reshape(-1, 2)
    found = []
    for part in parts:
        gaps = np.hypot(*(starts - np.asarray(part.end)).T)
        found.append([int(i) for i in np.flatnonzero(gaps <= JOIN_MM)])
    return found


def _leftmost(part: _Part, parts: Sequence[_Part], choices: Sequence[int]) -> int:
    """Return the follower that turns most to the left: where two loops touch, each stays itself."""
    u = part.leaving

    def bend(index: int) -> float:
        v = parts[index].heading
        angle = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        back = abs(angle) > math.pi - FLAT_TURN  # straight back is taken last
        return -math.pi if back else angle

    return max(choices, key=bend)


def _pruned(parts: list[_Part], anchors: Sequence[Point] = ()) -> list[_Part]:
    """Return the parts without dead ends: overshoots under `INSIDE_MM` at a very flat corner."""

    def held(point: Point, others: NDArray[np.float64]) -> bool:
        near = np.hypot(*(others - np.asarray(point)).T) <= JOIN_MM
        return bool(near.any()) or any(math.dist(point, a) <= JOIN_MM for a in anchors)

    while parts:
        starts, ends = (np.array([getattr(p, n) for p in parts]) for n in ("start", "end"))
        left = [p for p in parts if held(p.start, ends) and held(p.end, starts)]
        if len(left) == len(parts):
            break
        parts = left
    return parts


def _loops(raw: Sequence[Piece], parts: list[_Part]) -> list[Contour]:
    parts = _pruned(parts)
    follow = _followers(parts)
    free = set(range(len(parts)))
    loops = []
    while free:
        run, closed = _run(raw, parts, follow, free)
        if closed:
            loops.append(Contour(_joined(raw, [parts[i] for i in run], closed=True), True))
        else:
            _check_crumb(raw, [parts[i] for i in run])
    return loops


def _run(
    raw: Sequence[Piece], parts: Sequence[_Part], follow: Sequence[list[int]], free: set[int]
) -> tuple[list[int], bool]:
    """Take parts one after the other out of `free`, until they close or end."""
    first = min(free)
    free.discard(first)
    run = [first]
    if _is_loop(raw, parts[first]):
        return run, True
    while True:
        here = run[-1]
        # The first part is among the choices: the run closes where nothing turns more to the left.
        choices = [i for i in follow[here] if i in free or (i == first and len(run) > 1)]
        if not choices:
            return run, False
        step = _leftmost(parts[here], parts, choices)
        if step == first:
            return run, True
        run.append(step)
        free.discard(step)


def _check_crumb(raw: Sequence[Piece], run: Sequence[_Part]) -> None:
    """Raise unless a run that doesn't close is a crumb beside a joint, shorter than the joint."""
    if math.fsum(raw[p.raw].length * (p.high - p.low) for p in run) <= 2 * JOIN_MM:
        return
    x, y = run[-1].end
    raise BadInput(
        f"the offset can't be joined at ({x:.6f}, {y:.6f}) mm; look there for a step shorter than "
        "0.00001 mm or a corner that folds back, and take it out"
    )


def _is_loop(raw: Sequence[Piece], part: _Part) -> bool:
    """Return whether a part is a full circle."""
    turns = abs(raw[part.raw].turn) * (part.high - part.low)
    return turns > math.pi and math.dist(part.start, part.end) <= JOIN_MM


def _chain(raw: Sequence[Piece], parts: list[_Part], ends: tuple[Point, Point]) -> list[Contour]:
    parts = _pruned(parts, ends)
    free = set(range(len(parts)))
    here = [i for i in free if math.dist(parts[i].start, ends[0]) <= JOIN_MM]
    follow = _followers(parts)
    run: list[int] = []
    while here:
        step = _leftmost(parts[run[-1]], parts, here) if run else here[0]
        run.append(step)
        free.discard(step)
        if math.dist(parts[step].end, ends[1]) <= JOIN_MM:
            return [Contour(_joined(raw, [parts[i] for i in run], closed=False), False)]
        here = [i for i in follow[step] if i in free]
    return []


def _joined(raw: Sequence[Piece], run: Sequence[_Part], *, closed: bool) -> tuple[Piece, ...]:
    """Return the pieces of a run, whole ones where a crossing didn't matter, end on start."""
    spans: list[list[float]] = []
    for part in run:
        if spans and spans[-1][0] == part.raw and spans[-1][2] == part.low:
            spans[-1][2] = part.high
        else:
            spans.append([part.raw, part.low, part.high])
    if closed and len(spans) > 1 and spans[0][0] == spans[-1][0] and spans[0][1] == 0.0:
        full = raw[int(spans[0][0])]
        if spans[-1][2] == 1.0 and full.start == full.end:  # a circle begun in the middle
            spans[0] = [spans[0][0], spans[-1][1] - 1.0, spans[0][2]]
            spans.pop()
    pieces = [_between(raw[int(i)], low, high) for i, low, high in spans]
    for n in range(len(pieces)):
        if n + 1 < len(pieces) or (closed and len(pieces) > 1):
            follower = (n + 1) % len(pieces)
            pieces[follower] = _moved_start(pieces[follower], pieces[n].end)
    if not pieces:
        raise Fault("a chain without pieces")
    return tuple(pieces)


def _between(piece: Piece, low: float, high: float) -> Piece:
    if low >= 0:
        return piece.between(low, high)
    start = turned(piece.start, piece.center, piece.turn * low)
    turn = piece.turn * (high - low)
    return dataclasses.replace(piece, start=start, end=piece.at(high), turn=turn)


def _moved_start(piece: Piece, start: Point) -> Piece:
    """Return a piece whose start is moved by less than `SNAP_MM`."""
    if not piece.turn or start == piece.start:
        return dataclasses.replace(piece, start=start)
    moved = dataclasses.replace(piece, start=start)
    # How far the start went back (above 0) or forth.
    shift = (moved.angle_to(piece.start) + math.pi) % (2 * math.pi) - math.pi
    return dataclasses.replace(moved, turn=piece.turn + math.copysign(1.0, piece.turn) * shift)
