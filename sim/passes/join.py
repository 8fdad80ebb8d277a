"""What a drawing holds, joined end to end into outlines."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

from ..contour import Contour, Piece, Point
from ..units import Unit, say_length
from .dxf import Stroke
from .shapes import arc_piece, say_point

__all__ = ["Joined", "join", "open_fault"]

JOINED_MM: Final = 1e-6
"""A gap up to this is rounding; closing a wider one is said."""
MOST_NAMED: Final = 4


@dataclasses.dataclass(frozen=True)
class Joined:
    """Strokes of a drawing that hang together.

    Attributes
    ----------
    contour : Contour
        mm; where they make no contour, all their pieces as they are drawn.
    fault : str
        Why they make no contour; empty: they do.
    gap : float
        Widest gap that was closed, mm.
    """

    contour: Contour
    fault: str = ""
    gap: float = 0.0


def join(strokes: Sequence[Stroke], gap: float, unit: Unit) -> list[Joined]:
    """Return the outlines that strokes make, closed or with two ends, in the drawing's order.

    Parameters
    ----------
    strokes : sequence of Stroke
        mm.
    gap : float
        Ends this near are joined, mm.
    unit : {'in', 'mm'}
        For the text of faults.

    Notes
    -----
    A closed outline needs exactly two ends at every place where strokes meet; where three or more
    meet it is not said which way it goes, and that is a fault.
    """
    found: list[tuple[int, Joined]] = []
    loose: list[int] = []
    for index, stroke in enumerate(strokes):
        apart = math.dist(stroke.pieces[0].start, stroke.pieces[-1].end)
        length = math.fsum(p.length for p in stroke.pieces)
        if apart > gap:
            loose.append(index)
        elif length > 2 * gap:  # else it is all inside one joint
            found.append((index, _chain([list(stroke.pieces)], True)))
    places = _places(strokes, loose, gap)
    for group in _groups(loose, places):
        found.append((group[0], _group(strokes, group, places, unit)))
    return [joined for _, joined in sorted(found, key=lambda item: item[0])]


Places = dict[tuple[int, int], int]
"""Stroke and end (0 or 1) to the place where it meets others."""


def _places(strokes: Sequence[Stroke], loose: Sequence[int], gap: float) -> Places:
    """Return the place of each end; ends within `gap` of each other share one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    ends = [(index, end) for index in loose for end in (0, 1)]
    if not ends:
        return {}
    points = [_end(strokes[index], end) for index, end in ends]
    pairs = cKDTree(points).query_pairs(gap, output_type="ndarray")
    links = coo_array(([1] * len(pairs), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    _, labels = connected_components(links, directed=False)
    return dict(zip(ends, map(int, labels), strict=True))


def _end(stroke: Stroke, end: int) -> Point:
    return stroke.pieces[-1].end if end else stroke.pieces[0].start


def _meeting(loose: Sequence[int], places: Places) -> dict[int, list[tuple[int, int]]]:
    """Return the ends at each place."""
    meeting: dict[int, list[tuple[int, int]]] = {}
    for index in loose:
        for end in (0, 1):
            meeting.setdefault(places[index, end], []).append((index, end))
    return meeting


def _groups(loose: Sequence[int], places: Places) -> list[list[int]]:
    """Return the strokes that hang together, each group in the drawing's order."""
    meeting, left, groups = _meeting(loose, places), set(loose), []
    for first in loose:
        if first not in left:
            continue
        group, waiting = set(), [first]
        while waiting:
            index = waiting.pop()
            if index in group:
                continue
            group.add(index)
            waiting += [k for end in (0, 1) for k, _ in meeting[places[index, end]]]
        left -= group
        groups.append(sorted(group))
    return groups


def _group(strokes: Sequence[Stroke], group: list[int], places: Places, unit: Unit) -> Joined:
    """Return the contour of strokes that hang together, or why they make none."""
    meeting = _meeting(group, places)
    crowded = [ends for ends in meeting.values() if len(ends) > 2]
    if crowded:
        ends = crowded[0]
        place = say_point(_end(strokes[ends[0][0]], ends[0][1]), unit)
        fault = (
            f"{len(ends)} ends meet at {place}, so it is not said which way the contour goes: "
            f"{_named([strokes[k] for k, _ in ends])}. Delete what is drawn twice, or move the "
            "rest to another layer"
        )
        drawn = tuple(p for index in group for p in strokes[index].pieces)
        return Joined(Contour(drawn, False), fault)
    free = [ends[0] for ends in meeting.values() if len(ends) == 1]
    # An open contour begins at an end from which a stroke is drawn, if there is one.
    at = min(free, key=lambda e: (e[1], e[0])) if free else (group[0], 0)
    runs: list[list[Piece]] = []
    while True:
        index, end = at
        pieces = list(strokes[index].pieces)
        runs.append(pieces if end == 0 else [p.reversed() for p in reversed(pieces)])
        others = [e for e in meeting[places[index, 1 - end]] if e != (index, 1 - end)]
        if not others or len(runs) == len(group):
            return _chain(runs, not free)
        at = others[0]


def _named(strokes: Sequence[Stroke]) -> str:
    more = f" and {len(strokes) - MOST_NAMED} more" if len(strokes) > MOST_NAMED else ""
    return ", ".join(s.said for s in strokes[:MOST_NAMED]) + more


def _chain(runs: list[list[Piece]], closed: bool) -> Joined:
    """Return runs of pieces as one contour, what lies between their ends closed."""
    pieces = [p for run in runs for p in run]
    starts, ends = [p.start for p in pieces], [p.end for p in pieces]
    widest = 0.0
    for n, piece in enumerate(pieces):
        if n + 1 == len(pieces) and not closed:
            break
        after = (n + 1) % len(pieces)
        widest = max(widest, math.dist(ends[n], starts[after]))
        ends[n] = starts[after] = _joint(piece, pieces[after])
    made = [_moved(p, a, b) for p, a, b in zip(pieces, starts, ends, strict=True)]
    return Joined(Contour(tuple(made), closed), gap=widest)


def _joint(before: Piece, after: Piece) -> Point:
    """Return the one place for an end and the next start: the arc's, where one is an arc."""
    a, b = before.end, after.start
    if bool(before.turn) != bool(after.turn):
        return a if before.turn else b
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) if a != b else a


def _moved(piece: Piece, start: Point, end: Point) -> Piece:
    if (start, end) == (piece.start, piece.end):
        return piece
    if not piece.turn:
        return Piece(start, end)
    if start == end:
        center = piece.center  # a full circle keeps its centre, not its start
        return Piece(start, end, center, math.copysign(2 * math.pi, piece.turn))
    return arc_piece(start, end, piece.center, piece.turn > 0)


def open_fault(joined: Joined, unit: Unit) -> str:
    """Return what is said of a contour with two ends where a closed one is needed."""
    contour = joined.contour
    apart = say_length(math.dist(contour.start, contour.end), unit, 6)
    a, b = say_point(contour.start, unit), say_point(contour.end, unit)
    return f"does not close: its ends at {a} and {b} are {apart} apart"
