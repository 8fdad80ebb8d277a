"""Corners of a compensated path: where the offset of one element ends and the next begins.

An *element* is a line or an arc of the program under compensation; its *gap* is how far the path
of the cutter's centre lies to the left of it, mm (below 0: to the right). A corner that turns
towards the cutter is inside, one that turns away is outside.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Any, Final, Generic, NamedTuple, TypeVar

from ..contour import FLAT_TURN, SNAP_MM, TOUCH_MM, Piece, Point, meet

__all__ = ["Blocked", "Element", "Joint", "bend", "heading", "join", "left_of", "shifted"]

T = TypeVar("T")

SECOND_ORDER_MM: Final = 1e-10
"""An inside corner with an arc that is flatter than this over the cutter's reach is closed by the
tangents: crossing circles that nearly touch would lose more digits than that."""
DEEP_MM: Final = 0.002
"""How much nearer than its radius the cutter may pass to the second element on its way into an
inside corner: as much as the radii of an arc's start and end may differ (NISTIR 6556 3.5.3)."""


class Blocked(Exception):
    """The cutter can't enter an inside corner.

    Attributes
    ----------
    pinched : bool
        The offset paths meet, but the way there is too narrow for the cutter; else
        they don't meet.
    need : float
        Length of each that the corner takes, mm, where both are lines; else NaN.
    """

    def __init__(self, *, pinched: bool = False, need: float = math.nan) -> None:
        self.pinched, self.need = pinched, need
        super().__init__("pinched" if pinched else "no room")


@dataclasses.dataclass
class Element(Generic[T]):
    """A line or an arc under compensation.

    Attributes
    ----------
    info : T
        The caller's own, carried through.
    piece : Piece
        As programmed, mm.
    gap_start, gap_end : float
        Gap at its start and its end, mm; unequal on the line at which D changes.
    head, tail : Piece
        Its offset by either gap, not trimmed. An arc whose offset has no radius is a point: no
        turn, start and end equal.
    rapid : bool
        No arcs are put next to it.
    begin : tuple of float
        Where the cutter's centre really begins it, mm.
    begun : float
        The part (0 to 1) of its length there.
    entry : bool
        It is the lead-in.
    """

    info: T
    piece: Piece
    gap_start: float
    gap_end: float
    head: Piece
    tail: Piece
    rapid: bool = False
    begin: Point = (math.nan, math.nan)
    begun: float = 0.0
    entry: bool = False

    def heading(self, part: float) -> Point:
        """Return the unit vector along the path at its start (0) or end (1)."""
        # The lead-in that ends at the tangent point runs along its offset, not along what was
        # programmed; all others along both.
        along = self.tail if self.entry and not self.tail.turn else self.piece
        return heading(along, part)

    @property
    def curvature(self) -> float:
        """One over the radius of the programmed arc, 1/mm, to the left positive; 0 for a line."""
        return math.copysign(1.0, self.piece.turn) / self.piece.radius if self.piece.turn else 0.0


class Joint(NamedTuple):
    """How the path goes from one element to the next.

    Attributes
    ----------
    end, begin : tuple of float
        Where the one ends and the next begins, mm.
    end_part, begin_part : float
        The parts (0 to 1) of their lengths there.
    corner : tuple of Piece
        What is put in between.
    """

    end: Point
    end_part: float
    begin: Point
    begin_part: float
    corner: tuple[Piece, ...] = ()


def heading(piece: Piece, part: float) -> Point:
    """Return the unit vector along a piece at its start (0) or end (1).

    Of an arc that does not quite close as well, where that of the piece is not of length 1.
    """
    x, y = piece.heading(part)
    length = math.hypot(x, y)
    return x / length, y / length


def left_of(point: Point, heading: Point, gap: float) -> Point:
    """Return the point at `gap` to the left of another, mm."""
    return point[0] - gap * heading[1], point[1] + gap * heading[0]


def shifted(piece: Piece, gap: float) -> Piece | None:
    """Return a piece shifted by `gap` to the left, mm; None where an arc is too small for it.

    Notes
    -----
    The radii of start and end are shifted each, so that an arc that does not quite close stays as
    it was programmed. One whose radius is the gap (within 1e-9 mm) becomes a point.
    """
    start = left_of(piece.start, heading(piece, 0), gap)
    end = left_of(piece.end, heading(piece, 1), gap)
    if piece.turn * gap > 0:
        room = min(piece.radius, math.dist(piece.end, piece.center)) - abs(gap)
        if room < -TOUCH_MM:
            return None
        if room <= TOUCH_MM:
            return Piece(piece.center, piece.center)
    return dataclasses.replace(piece, start=start, end=end)


def bend(a: Element[Any], b: Element[Any]) -> float:
    """Return by how much the heading turns from one element to the next, radians, left positive.

    Notes
    -----
    Where the second goes straight back, the half turn is to the side where no air lies between
    the two; if they lie on each other (a wall without thickness), away from the cutter.
    """
    u, v = a.heading(1), b.heading(0)
    cross, dot = u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]
    if dot > 0 or abs(cross) > FLAT_TURN:
        return math.atan2(cross, dot)
    side = math.copysign(1.0, a.gap_end)
    k, m = a.curvature * side, b.curvature * side
    # Seen from the corner, the way back along `a` curves by -k and the way on along `b` by m; the
    # air of `b` holds `a` where `b` curves less.
    return side * math.pi if k + m < -FLAT_TURN * (abs(k) + abs(m)) else -side * math.pi


def join(a: Element[Any], b: Element[Any], *, by_arc: bool, limit: float) -> Joint:
    """Return how the cutter gets from one element to the next.

    Parameters
    ----------
    a, b : Element
        `b` begins where `a` ends, and its gap at the start is that of `a` at the end.
    by_arc : bool
        Outside corners by an arc about the corner, else by tangents.
    limit : float
        Radians: a pair of tangents turns by at most this.

    Raises
    ------
    Blocked
        The cutter can't enter an inside corner.
    """
    angle, gap = bend(a, b), a.gap_end
    if abs(gap * angle) <= TOUCH_MM:
        return Joint(a.tail.end, 1.0, a.tail.end, 0.0)
    if angle * gap > 0:
        return _inside(a, b, abs(angle))
    if by_arc and not (a.rapid or b.rapid):
        center = a.piece.end
        arc = Piece(a.tail.end, b.head.start, center, angle)
        return Joint(a.tail.end, 1.0, b.head.start, 0.0, (arc,))
    return _by_tangents(a, b, angle, limit)


def _by_tangents(a: Element[Any], b: Element[Any], angle: float, limit: float) -> Joint:
    """Go round an outside corner along tangents of the arc about it."""
    count = max(1, math.ceil(abs(angle) / limit - FLAT_TURN))
    step = angle / count
    (x, y), u, far = a.piece.end, a.heading(1), a.gap_end / math.cos(step / 2)
    normal = math.atan2(u[0], -u[1])
    turns = [normal + (k + 0.5) * step for k in range(count)]
    points = [(x + far * math.cos(t), y + far * math.sin(t)) for t in turns]
    # Two lines that meet are simply longer; beside an arc the tangent is a move of its own.
    end = points[0] if _is_line(a.tail) else a.tail.end
    begin = points[-1] if _is_line(b.head) else b.head.start
    run = [end, *points, begin]
    corner = tuple(Piece(p, q) for p, q in itertools.pairwise(run) if p != q)
    return Joint(end, 1.0, begin, 0.0, corner)


def _is_line(piece: Piece) -> bool:
    return not piece.turn and piece.start != piece.end


def _is_dot(piece: Piece) -> bool:
    return not piece.turn and piece.start == piece.end


# ---------------------------------------------------------------------------------------- inside


def _inside(a: Element[Any], b: Element[Any], angle: float) -> Joint:
    """Go to where the offset paths meet; parts are counted from the corner outwards."""
    back, ahead = a.tail.reversed(), b.head
    if _is_dot(back) or _is_dot(ahead):
        return _into_dot(back, ahead)
    if _by_bisector(back, ahead, abs(a.gap_end), angle):
        return _on_bisector(a, b, angle)
    met = sorted(meet(back, ahead), key=lambda m: m[0] * back.length + m[1] * ahead.length)
    if not met:
        raise Blocked
    near, on = met[0]
    if any(_mouth_is_narrow(a, b, back, far) for far, _ in met[1:] if far > near):
        raise Blocked(pinched=True)
    # The place is taken from the line, if there is one: walls stay straight to the last digit.
    point = back.at(near) if _is_line(back) else ahead.at(on)
    return Joint(point, 1.0 - near, point, on)


def _by_bisector(back: Piece, ahead: Piece, gap: float, angle: float) -> bool:
    """Return whether tangents at the corner stand for both pieces."""
    if angle > math.pi - FLAT_TURN:
        return False
    need = gap * math.tan(angle / 2)
    return all(not p.turn or need * need <= 2 * p.radius * SECOND_ORDER_MM for p in (back, ahead))


def _on_bisector(a: Element[Any], b: Element[Any], angle: float) -> Joint:
    need = abs(a.gap_end) * math.tan(angle / 2)
    if need > min(a.tail.length, b.head.length) + TOUCH_MM:
        raise Blocked(need=math.nan if a.tail.turn or b.head.turn else need)
    # From the corner along the first offset line backwards: exact for a right angle.
    point = left_of(a.piece.end, a.heading(1), a.gap_end)
    u = a.heading(1)
    point = point[0] - need * u[0], point[1] - need * u[1]
    near, on = (min(1.0, need / piece.length) for piece in (a.tail, b.head))
    return Joint(point, 1.0 - near, point, on)


def _into_dot(back: Piece, ahead: Piece) -> Joint:
    """Join with an arc whose offset is a point: it has to lie on the other's path.

    Rounded programs miss it by a hair, so that `SNAP_MM` counts as on; each path keeps its own
    place.
    """
    near, on = (
        0.0 if _is_dot(p) else p.part_of(q.start) for p, q in ((back, ahead), (ahead, back))
    )
    end = back.start if _is_dot(back) else back.at(near)
    begin = ahead.start if _is_dot(ahead) else ahead.at(on)
    if math.dist(end, begin) > SNAP_MM:
        raise Blocked
    point = begin if _is_dot(back) else end
    return Joint(point, 1.0 - near, point, on)


def _mouth_is_narrow(a: Element[Any], b: Element[Any], back: Piece, far: float) -> bool:
    """Return whether the cutter, before a far crossing, passes too near to the end of `b`.

    `b` is an inside arc that comes round to `a`: between its two crossings with the offset of `a`
    lies the pocket, before the far one the mouth. Where `b` crosses `a` itself, the program cuts
    its own wall with any cutter, which is no matter of compensation.
    """
    if (1.0 - a.begun - far) * back.length <= TOUCH_MM:
        return False
    corner, crossed = a.piece.end, meet(a.piece, b.piece)
    if any(math.dist(a.piece.at(p), corner) > SNAP_MM for p, _ in crossed):
        return False
    way_in = back.between(far, 1.0 - a.begun)
    if meet(way_in, b.piece):
        return True
    first, last = way_in.end, b.piece.end
    gap = min(
        math.dist(first, b.piece.at(b.piece.part_of(first))),
        math.dist(last, way_in.at(way_in.part_of(last))),
    )
    return gap < abs(a.gap_end) - DEEP_MM
