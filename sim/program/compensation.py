"""Cutter radius compensation: G41, G42 and G40 as geometry in the plane.

The path of the cutter's centre runs at the radius beside the programmed one. Outside corners are
gone round by an arc about the corner, or by tangents; at inside corners the offset paths of both
elements are cut where they meet. The lead-in ends square to the first element, the lead-out begins
square to the last (common practice, no source; NISTIR 6556 3.5.10 and appendix B have another
lead-in and no inside corners: `CompensationOptions.nistir_6556`).

Each move comes out as soon as the one after it is known, since that one fixes its end. Its start
was fixed by the one before, so that an element which both corners swallow is found when the second
move after it is read.

Millimetres, radians; turns counter-clockwise positive. Ends of moves are rounded to 1e-10 mm.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any, Final, Generic, Literal, NamedTuple, TypeVar

from ..contour import TOUCH_MM, Piece, Point
from ..units import Unit, say_length
from .compensation_corners import Blocked, Element, Joint, bend, join, left_of, shifted

__all__ = [
    "CompensationError",
    "CompensationOptions",
    "Compensator",
    "Kind",
    "OffsetMove",
    "Side",
]

T = TypeVar("T")
Side = Literal["left", "right"]
Kind = Literal["entry", "given", "corner", "idle", "exit"]

STRICT_TURN: Final = 0.05
"""Radians: a corner that turns less to the inside is none for NISTIR 6556 (from memory of its
interpreter's source)."""
_G: Final = {"left": "G41", "right": "G42"}


class CompensationError(Exception):
    """A path that can't be compensated.

    Attributes
    ----------
    infos : tuple
        Of the elements that it is about, in program order; the last one is where it was found.
    """

    def __init__(self, text: str, *infos: Any) -> None:
        self.infos = infos
        super().__init__(text)


@dataclasses.dataclass(frozen=True)
class CompensationOptions:
    """What controls do differently.

    Attributes
    ----------
    corner : {'arc', 'intersection'}
        Outside corners by an arc about the corner, or where the offset lines meet (beside an arc:
        its tangent).
    limit_angle : float
        Degrees, over 0 up to 150: with 'intersection', a corner that turns by more is gone round
        in several equal steps, so that the path stays near it.
    entry : {'square', 'tangent'}
        The lead-in ends square to the next element, or where it is tangent to the cutter on the
        programmed point (NISTIR 6556 appendix B).
    arc_entry : bool
        Allow an arc as first move: the cutter's centre stands on the offset arc already (NISTIR
        6556 appendix B).
    refuse_concave : bool
        Refuse every inside corner, and inside arcs of the cutter's very radius (NISTIR 6556).
    refuse_change : bool
        Refuse another D under compensation.
    idle_limit : int or None
        How many blocks without motion in the plane may stand between two with.
    arc_tolerance : float
        How much the radii at the ends of a first arc may differ, mm.
    unit : {'in', 'mm'}
        For texts.
    name : callable
        Info -> what people call it, such as "line 12".
    """

    corner: Literal["arc", "intersection"] = "arc"
    limit_angle: float = 90.0
    entry: Literal["square", "tangent"] = "square"
    arc_entry: bool = False
    refuse_concave: bool = False
    refuse_change: bool = False
    idle_limit: int | None = None
    arc_tolerance: float = 0.002
    unit: Unit = "mm"
    name: Callable[[Any], str] = str

    @classmethod
    def nistir_6556(cls, **others: Any) -> CompensationOptions:
        """Return the rules of NISTIR 6556: tangent lead-in, no inside corners, no other D."""
        rules = {"entry": "tangent", "arc_entry": True, "refuse_concave": True}
        return cls(**{**rules, "refuse_change": True, **others})


class OffsetMove(NamedTuple, Generic[T]):
    """A move of the cutter's centre.

    Attributes
    ----------
    start, end : tuple of float
        mm.
    center : tuple of float
        mm; (0, 0) for a line.
    turn : float
        Radians, counter-clockwise positive; 0 for a line.
    info : T
        That of the element; of a corner, that of the element after it (as NISTIR 6556 counts it);
        of an idle block, its own.
    kind : {'entry', 'given', 'corner', 'idle', 'exit'}
        Lead-in, programmed element, put in at an outside corner, no motion in the plane, lead-out.
    """

    start: Point
    end: Point
    center: Point
    turn: float
    info: T
    kind: Kind


def _rounded(point: Point) -> Point:
    return round(point[0], 10) + 0.0, round(point[1], 10) + 0.0


class Compensator(Generic[T]):
    """One stretch under compensation, from G41 or G42 to G40.

    Parameters
    ----------
    side : {'left', 'right'}
        G41 or G42: the side of the path on which the cutter runs.
    radius : float
        mm. Negative: on the other side; 0: on the path.
    start : (x, y)
        Where the cutter's centre stands, mm.
    options : CompensationOptions, optional

    Attributes
    ----------
    programmed : (x, y)
        Last programmed point, mm: increments count from it.
    position : (x, y)
        Where the cutter's centre stands after the moves handed out so far, mm.

    Raises
    ------
    CompensationError
        The start is not known.

    Notes
    -----
    `line`, `arc`, `idle` and `finish` return the moves that have become certain, in order. Infos
    are carried through unseen. After an error, or after `finish`, a compensator is spent.
    """

    def __init__(
        self, side: Side, radius: float, start: Point, options: CompensationOptions | None = None
    ) -> None:
        self.options = options or CompensationOptions()
        if not 0 < self.options.limit_angle <= 150:
            raise ValueError(f"limit_angle {self.options.limit_angle:g}, expected over 0 to 150")
        if not all(map(math.isfinite, start)):
            raise CompensationError(
                f"{_G[side]} from a place that is not known; expected X and Y given before it"
            )
        self.side: Side = side
        self.programmed = start
        self.position = _rounded(start)
        self._gap = radius if side == "left" else -radius
        self._held: Element[T] | None = None  # its end hangs on the next one
        self._before: T | None = None  # info of the element before the held one
        self._idles: list[T] = []
        self._out: list[OffsetMove[T]] = []

    @property
    def entered(self) -> bool:
        """Whether the lead-in has been given."""
        return self._held is not None

    @property
    def waiting(self) -> int:
        """How many moves that the program has given are not handed out yet."""
        return 1 + len(self._idles) if self._held is not None else 0

    # What the program gives

    def line(self, end: Point, info: T, *, rapid: bool = False) -> list[OffsetMove[T]]:
        """Take a straight move to a programmed point, mm.

        Rapids get no arcs round their corners: those are gone round by tangents. A line without
        length is taken as an idle block.

        Raises
        ------
        CompensationError
            The path can't be compensated; see `CompensationOptions`.
        """
        start = self.programmed
        if math.dist(start, end) <= TOUCH_MM:
            return self.idle(info)
        piece = Piece(start, end)
        if self._held is None:
            self._enter_straight(piece, info, rapid)
            return []
        return self._take(piece, info, rapid)

    def arc(self, end: Point, center: Point, turn: float, info: T) -> list[OffsetMove[T]]:
        """Take an arc to a programmed point about a centre, mm, by `turn` radians.

        Raises
        ------
        CompensationError
            The path can't be compensated, the arc being too small or the first move among others.
        """
        piece = Piece(self.programmed, end, center, turn)
        if self._held is None:
            self._enter_round(piece, info)
            return []
        return self._take(piece, info, rapid=False)

    def idle(self, info: T) -> list[OffsetMove[T]]:
        """Take a block without motion in the plane; it happens where the element before it ends.

        Raises
        ------
        CompensationError
            More of them than `idle_limit`.
        """
        if self._held is None:
            return [OffsetMove(self.position, self.position, (0.0, 0.0), 0.0, info, "idle")]
        self._idles.append(info)
        limit = self.options.idle_limit
        if limit is not None and len(self._idles) > limit:
            name = self.options.name
            raise CompensationError(
                f"{len(self._idles)} blocks without motion in the plane after "
                f"{name(self._held.info)} under {_G[self.side]}; expected at most {limit}, so that "
                "the control can see the next corner",
                self._held.info,
                info,
            )
        return []

    def change(self, side: Side, radius: float, info: T) -> None:
        """Take G41 or G42 with a D again: from the next element's end on, the new radius counts.

        The line in between runs from the old offset to the new one (common practice, no source).

        Raises
        ------
        CompensationError
            Another side; or another radius, where options refuse it.
        """
        gap = radius if side == "left" else -radius
        if side != self.side:
            raise CompensationError(
                f"{_G[side]} while {_G[self.side]} is in force; expected G40 before it", info
            )
        if gap != self._gap and self.options.refuse_change:
            raise CompensationError(
                f"a new radius ({self._say(radius)}) while {_G[side]} is in force; expected G40 "
                "before it",
                info,
            )
        self._gap = gap

    def finish(self, end: Point | None, info: T) -> list[OffsetMove[T]]:
        """Take G40: the last element ends square, and a lead-out goes to a programmed point.

        Parameters
        ----------
        end : (x, y) or None
            Programmed point of the same block, mm. None: the cutter stays where it is, and the
            next move starts there.
        info : T
            The block's.
        """
        held = self._held
        if held is not None:
            self._leave(held, held.tail.end, 1.0)
        if end is not None:
            self._move(Piece(self.position, end), info, "exit" if held else "entry")
            self.programmed = end
        self._held = None
        return self._hand_out()

    # The lead-in

    def _enter_straight(self, piece: Piece, info: T, rapid: bool) -> None:
        gap = self._gap
        if self.options.entry == "tangent":
            offset = Piece(piece.start, self._tangent_point(piece, info))
        else:
            offset = Piece(
                left_of(piece.start, piece.heading(0), gap),
                left_of(piece.end, piece.heading(1), gap),
            )
        self._hold(Element(info, piece, gap, gap, offset, offset, rapid, piece.start, entry=True))

    def _tangent_point(self, piece: Piece, info: T) -> Point:
        """Return the right-angled corner of the triangle over start and end (NISTIR 6556 B)."""
        radius, length = abs(self._gap), piece.length
        if length <= radius:
            raise CompensationError(
                f"the lead-in of {self._say(length)} is not longer than the cutter's radius, "
                f"{self._say(radius)}; expected a start farther away",
                info,
            )
        (x, y), (ux, uy) = piece.end, piece.heading(0)
        back = self._gap * self._gap / length
        off = self._gap * math.sqrt((length - radius) * (length + radius)) / length
        return x - back * ux - off * uy, y - back * uy + off * ux

    def _enter_round(self, piece: Piece, info: T) -> None:
        if not self.options.arc_entry:
            raise CompensationError(
                f"an arc as the first move under {_G[self.side]}; expected a straight lead-in", info
            )
        # The cutter stands on the offset arc: the programmed one begins on the same ray.
        (x, y), (cx, cy) = piece.start, piece.center
        radius, away = math.dist(piece.end, piece.center), piece.radius
        start = cx + (x - cx) * radius / away, cy + (y - cy) * radius / away
        element = self._element(dataclasses.replace(piece, start=start), info, rapid=False)
        reached = math.dist(element.tail.end, piece.center)
        if abs(reached - away) > self.options.arc_tolerance + TOUCH_MM:
            raise CompensationError(
                f"the first arc under {_G[self.side]} is to bring the cutter's centre to "
                f"{self._say(reached)} from the arc's, but it stands at {self._say(away)}; "
                "expected a start on the offset arc",
                info,
            )
        element.begin, element.entry = piece.start, True
        self._hold(element)

    # Elements

    def _hold(self, element: Element[T]) -> None:
        self._before = self._held.info if self._held else None
        self._held, self.programmed = element, element.piece.end

    def _take(self, piece: Piece, info: T, rapid: bool) -> list[OffsetMove[T]]:
        held = self._held
        assert held is not None
        element = self._element(piece, info, rapid=rapid)
        if held.entry and not held.piece.turn and self.options.entry == "square":
            self._leave(held, element.head.start, 1.0)
            element.begin = element.head.start
        else:
            joint = self._join(held, element)
            self._leave(held, joint.end, joint.end_part)
            for part in joint.corner:
                self._move(part, info, "corner")
            element.begin, element.begun = joint.begin, joint.begin_part
        self._hold(element)
        return self._hand_out()

    def _element(self, piece: Piece, info: T, *, rapid: bool) -> Element[T]:
        first = self._held.gap_end if self._held else self._gap
        last = self._gap
        if piece.turn and first != last:
            raise CompensationError(
                f"the cutter's radius changes from {self._say(abs(first))} to "
                f"{self._say(abs(last))} on an arc; expected the new D before a line",
                *self._infos(info),
            )
        head = shifted(piece, first)
        tail = head if first == last else shifted(piece, last)
        touches = head is not None and piece.turn * first > 0 and not head.turn
        if head is None or tail is None or (touches and self.options.refuse_concave):
            raise self._too_small(piece, info)
        return Element(info, piece, first, last, head, tail, rapid)

    def _join(self, a: Element[T], b: Element[T]) -> Joint:
        options, angle = self.options, bend(a, b)
        if options.refuse_concave and angle * a.gap_end > 0 and abs(angle) > STRICT_TURN:
            raise CompensationError(
                f"{self._pair(a, b)} form an inside corner of {180 - math.degrees(abs(angle)):.3f} "
                "degrees, and inside corners are refused (NISTIR 6556); expected an inside arc "
                "larger than the cutter between them",
                a.info,
                b.info,
            )
        limit = math.radians(options.limit_angle if options.corner == "intersection" else 90.0)
        try:
            joint = join(a, b, by_arc=options.corner == "arc", limit=limit)
        except Blocked as blocked:
            raise self._no_entry(a, b, blocked) from None
        if (a.begun - joint.end_part) * a.tail.length > TOUCH_MM:
            raise self._swallowed(a, b)
        return joint

    # Moves

    def _leave(self, element: Element[T], end: Point, part: float) -> None:
        """Put out an element, which ends at a point, and the idle blocks after it."""
        turn = element.tail.turn * (part - element.begun)
        radius = element.tail.radius
        piece = Piece(element.begin, end)
        if abs(turn) * radius > TOUCH_MM:
            piece = Piece(element.begin, end, element.piece.center, turn)
        self._move(piece, element.info, "entry" if element.entry else "given")
        for info in self._idles:
            self._move(Piece(end, end), info, "idle")
        self._idles = []

    def _move(self, piece: Piece, info: T, kind: Kind) -> None:
        end = _rounded(piece.end)
        self._out.append(OffsetMove(self.position, end, piece.center, piece.turn, info, kind))
        self.position = end

    def _hand_out(self) -> list[OffsetMove[T]]:
        out, self._out = self._out, []
        return out

    # Errors

    def _say(self, mm: float) -> str:
        return say_length(mm, self.options.unit, 5 if self.options.unit == "in" else 4)

    def _pair(self, a: Element[T], b: Element[T]) -> str:
        return f"{self.options.name(a.info)} and {self.options.name(b.info)}"

    def _infos(self, info: T) -> tuple[T, ...]:
        return (self._held.info, info) if self._held else (info,)

    def _too_small(self, piece: Piece, info: T) -> CompensationError:
        radius = min(piece.radius, math.dist(piece.end, piece.center))
        than = "not larger" if self.options.refuse_concave else "smaller"
        after = f" after {self.options.name(self._held.info)}" if self._held else ""
        return CompensationError(
            f"the inside arc of {self.options.name(info)}{after} has a radius of "
            f"{self._say(radius)}, {than} than the cutter's {self._say(abs(self._gap))}; expected "
            "a larger arc, or a smaller cutter or D",
            *self._infos(info),
        )

    def _no_entry(self, a: Element[T], b: Element[T], blocked: Blocked) -> CompensationError:
        cutter = f"the cutter of radius {self._say(abs(a.gap_end))}"
        if blocked.pinched:
            text = (
                f"{cutter} can't get into the inside corner between {self._pair(a, b)}: on its way "
                f"there it would cut the end of {self.options.name(b.info)}"
            )
        else:
            text = (
                f"{cutter} can't enter the inside corner between {self._pair(a, b)}: their offset "
                "paths don't meet"
            )
        if not math.isnan(blocked.need):
            short = a if a.piece.length <= b.piece.length else b
            text += (
                f" (it takes {self._say(blocked.need)} of each, "
                f"{self.options.name(short.info)} has {self._say(short.piece.length)})"
            )
        return CompensationError(f"{text}; expected a smaller cutter or D", a.info, b.info)

    def _swallowed(self, a: Element[T], b: Element[T]) -> CompensationError:
        name = self.options.name
        before = () if self._before is None else (self._before,)
        pair = f"{name(before[0])} and {name(b.info)}" if before else name(b.info)
        return CompensationError(
            f"the cutter of radius {self._say(abs(a.gap_end))} can't reach {name(a.info)} between "
            f"{pair}: the inside corners at its ends leave nothing of it; expected a smaller "
            "cutter or D",
            *before,
            a.info,
            b.info,
        )
