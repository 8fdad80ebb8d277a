"""Motion: straight moves, arcs, home, machine coordinates, and where they lead.

Positions that are not known are NaN. A move whose end is not wholly known is not recorded: it
sweeps nothing whatever follows. One with a known end is recorded with its start as it is.

Places are worked out as programmed, in the part frame; a rotation, scaling or mirror in force then
takes them to where the tool goes.
"""

from __future__ import annotations

import math
from typing import Final

from . import arcs
from .compensated import CompensatedPath
from .frames import SYSTEMS, Frames
from .lexer import Block
from .modal import Modal, g_name
from .planes import PLANES, Plane, chord_count, chord_ends
from .recorder import Recorder
from .reports import ReadError
from .settings import LIMIT_MM, ReaderSettings
from .transforms import Transform
from .words import Values, first_place, place_of_g

__all__ = ["AXES", "Motion", "Point"]

AXES: Final = ("X", "Y", "Z")
MADE_LIMIT: Final = 5_000_000
"""Most moves that blocks make which are no single move: chords, and holes of cycles."""
_NAN: Final = math.nan

Point = tuple[float, float, float]


class Motion:
    """Where the tool is and how it moves.

    Parameters
    ----------
    settings : ReaderSettings
        What the job says.
    recorder : Recorder
        Takes the moves, headings and notes.

    Attributes
    ----------
    path : Recorder or CompensatedPath
        Takes the moves: itself, or by way of cutter compensation.
    zero : (x, y, z) or None
        What programmed coordinates count from, part frame, mm; None: not known.
    transform : Rotation, Scaling or None
    loose : frozenset of int
        Axes of which a move must name all or none: after a rotation came or went, and after a G40
        without a move, controls differ on where one that is left out stands.
    """

    def __init__(self, settings: ReaderSettings, recorder: Recorder) -> None:
        self.settings, self.out = settings, recorder
        self.dialect = settings.dialect
        self.path: Recorder | CompensatedPath = recorder
        self.modal = Modal(centers_absolute=self.dialect.arc_centers == "absolute")
        self.unit = settings.unit
        self.scale = 25.4 if settings.unit == "in" else 1.0
        self.unit_given = ""
        self.frames = Frames(settings, self.scale)
        self.zero: Point | None = self.frames.origin()
        self.ready = False  # unit and work zero are settled
        self.transform: Transform | None = None
        self.loose: frozenset[int] = frozenset()
        self._reached: tuple[Point, Point] | None = None  # programmed, and where that is
        self._made = 0  # chords and moves of cycles

    def fault(self, block: Block, text: str, index: int | None, hangs: str) -> ReadError:
        """Return an error that what is in force has a part in."""
        error = block.error(text, index=index, hangs=hangs)
        error.add(f"in force: {self.modal.says(self.unit)}")
        return error

    def motion_word(self, block: Block) -> int | None:
        """Return the place of the motion's own word in a block, or of its first axis."""
        own = None if self.modal.motion is None else place_of_g(block, self.modal.motion)
        return first_place(block, "XYZIJK") if own is None else own

    # Lengths and places

    def settle(self, block: Block) -> None:
        """Before the first length: settle the unit and that the work zero is known."""
        if self.ready:
            return
        if not self.unit_given:
            unit = "inches" if self.settings.unit == "in" else "millimetres"
            self.out.note_once("unit", block.at, f"lengths before any G20 or G21: read as {unit}")
        self.ready = self.zero is not None

    def length(self, block: Block, values: Values, letter: str) -> float:
        """Return a length, mm."""
        length = values[letter] * self.scale
        if not abs(length) <= LIMIT_MM:
            raise self.too_far(block, letter, length)
        return length

    def too_far(self, block: Block, letter: str, length: float) -> ReadError:
        """Return the error about a place that is too far away to be meant."""
        return block.error(
            f"{letter} reaches {length:.6g} mm; expected at most {LIMIT_MM:g} mm, is a decimal "
            "point missing?",
            letter,
        )

    def spend(self, block: Block, moves: int) -> None:
        """Count moves that one block makes many of; refuse more than a computer can hold.

        Raises
        ------
        ReadError
            More than `MADE_LIMIT` in the whole program.
        """
        self._made += moves
        if self._made > MADE_LIMIT:
            self._made -= moves
            raise block.error(
                f"arcs in G18 and G19 and cycles make more than {MADE_LIMIT:,} moves; expected a "
                "larger [accuracy] chord, larger pecks or fewer repeats",
                index=self.motion_word(block),
            )

    def here(self) -> Point:
        """Return where the tool is, as it would be programmed."""
        position = self.path.position
        if self.transform is None:
            return position
        if self._reached is not None and self._reached[1] is position:
            return self._reached[0]
        return self.transform.to_program(position)

    def there(self, block: Block, point: Point) -> Point:
        """Return where the tool goes for a programmed place."""
        if self.transform is None:
            return point
        reached = self.transform.to_part(point)
        if any(abs(value) > LIMIT_MM for value in reached):
            raise self.fault(
                block,
                f"{self.transform.name} makes a place more than {LIMIT_MM:g} mm away; expected "
                "less, is a decimal point missing?",
                first_place(block, "XYZIJKR"),
                "",
            )
        self._reached = point, reached
        return reached

    def target(self, block: Block, values: Values) -> Point:
        """Return the programmed point, part frame, mm; NaN where it is not known."""
        if not self.ready:
            self.settle(block)
        if self.zero is None and self.modal.absolute:
            name = g_name(self.modal.work_offset)
            raise block.error(self.settings.unknown_work_zero(name), hangs="work zero")
        position, scale = self.path.position, self.scale
        if self.transform is not None:
            position = self.here()
        if self.loose:
            self._tighten(block, values)
        base = self.zero if self.zero and self.modal.absolute else position
        x, y, z = position
        if "X" in values:
            x = round(base[0] + values["X"] * scale, 10)
        if "Y" in values:
            y = round(base[1] + values["Y"] * scale, 10)
        if "Z" in values:
            z = round(base[2] + values["Z"] * scale, 10)
        if abs(x) > LIMIT_MM or abs(y) > LIMIT_MM or abs(z) > LIMIT_MM:
            far = {a: v for a, v in zip(AXES, (x, y, z), strict=True) if abs(v) > LIMIT_MM}
            letter = next((a for a in far if a in values), "X")
            raise self.too_far(block, letter, far.get(letter, LIMIT_MM))
        return x, y, z

    def _tighten(self, block: Block, values: Values) -> None:
        named = {k for k in self.loose if AXES[k] in values}
        if named and self.modal.absolute:
            if named != self.loose:
                both = " and ".join(AXES[k] for k in sorted(self.loose))
                raise self.fault(
                    block,
                    "the first move after G68, G69 or a G40 alone names one axis only; expected "
                    f"{both} both, since controls differ on where the other one stands",
                    first_place(block, "XYZ"),
                    "",
                )
            self.loose = frozenset()

    # Straight moves

    def straight(self, block: Block, values: Values, *, rapid: bool) -> None:
        """G0, G1: to the programmed point."""
        end = self.target(block, values)
        if self.transform is not None:
            end = self.there(block, end)
        if self.modal.feed_mode == 930 and not rapid:
            self.out.set_span(math.dist(self.path.position, end))
        self.path.go(block, end, rapid=rapid)

    def probe(self, block: Block, values: Values, word: str) -> None:
        """G31, G38.2: to the programmed end, touching nothing."""
        if values.keys().isdisjoint(AXES):
            raise block.error(f"{word} without X, Y or Z; expected at least one of them", "G")
        self.refuse_compensated(block, word)
        end = self.there(block, self.target(block, values))
        self.out.note_word(block.at, word)
        self.out.note_once(
            word, block.at, f"{word} is taken to go to its programmed end and to cut nothing"
        )
        self.out.jump(block, end)

    def refuse_compensated(self, block: Block, word: str) -> None:
        """Refuse a word under cutter compensation (NISTIR 6556 3.5.10)."""
        if self.path is not self.out:
            code = g_name(self.modal.side)
            raise self.fault(
                block,
                f"{word} under {code}; expected G40 before it",
                place_of_g(block, round(10 * float(word[1:]))) if word[0] == "G" else None,
                "",
            )

    def go_home(self, block: Block, values: Values, code: int, has_axes: bool) -> None:
        """G28, G30: by way of the programmed point, then the named axes (or all) go home."""
        self.refuse_compensated(block, g_name(code))
        if code == 300 and values.get("P", 2) != 2:
            raise block.error("G30 with another P than 2; expected P2 or none", "P")
        if has_axes:
            self.out.go(block, self.there(block, self.target(block, values)), rapid=True)
        home = self.frames.home(code)
        if home is not None and code == 300 and not self.frames.second_home_given:
            self.out.note_once("G30", block.at, "G30 is taken to go to the job's home, as G28")
        goal = home or (_NAN, _NAN, _NAN)
        all_axes = not has_axes or self.dialect.home_axes == "all"
        self._go_to(block, goal, [a in values or all_axes for a in AXES], rapid=True)

    def go_machine(self, block: Block, values: Values) -> None:
        """G53: straight to a point given from machine zero; G91 does not count."""
        self.refuse_compensated(block, "G53")
        motion = self.modal.motion
        if motion not in (0, 10):
            raise block.error(
                "G53 without G0 or G1 in force; expected G0 G53",
                index=place_of_g(block, 530),
                hangs="motion",
            )
        self.settle(block)
        home = self.settings.home or (_NAN, _NAN, _NAN)
        goal = tuple(
            h + self.length(block, values, a) if a in values else h
            for a, h in zip(AXES, home, strict=True)
        )
        self._go_to(block, goal, [a in values for a in AXES], rapid=motion == 0)

    def _go_to(
        self, block: Block, goal: tuple[float, ...], named: list[bool], *, rapid: bool
    ) -> None:
        if self.transform is not None:
            self.loose = self.transform.bound_axes
        if any(named):
            x, y, z = (
                round(g, 10) if use else p
                for g, p, use in zip(goal, self.out.position, named, strict=True)
            )
            if not rapid:
                self.out.set_span(math.dist(self.out.position, (x, y, z)))
            self.out.go(block, (x, y, z), rapid=rapid)

    # Arcs

    def arc(self, block: Block, values: Values, *, clockwise: bool) -> None:
        """G2, G3."""
        plane = PLANES[self.modal.plane]
        centers = " and ".join(plane.centers)
        if plane.stranger in values:
            raise block.error(
                f"{plane.stranger} in an arc in the {plane.says}; expected {centers}",
                plane.stranger,
            )
        factor = 1.0 if self.transform is None else self.transform.arc_factor(plane)
        if factor is None:
            raise self._no_arc(block, plane)
        start, end = self.here(), self.target(block, values)
        if any(math.isnan(v) for v in (*plane.flat(start), *plane.flat(end))):
            self._put(block, end)
            raise self.fault(
                block,
                "an arc from or to a place that is not known; expected "
                f"{' and '.join(plane.axes)} given before it",
                first_place(block, "".join((*plane.axes, *plane.centers, "R"))),
                "place",
            )
        try:
            center = self._center(block, values, plane, (start, end), clockwise)
        except arcs.ArcError as error:
            self._put(block, end)
            index = first_place(block, "".join((*plane.centers, "R", *plane.axes, "XYZ")))
            raise self.fault(block, str(error), index, "arc") from None
        turn = arcs.turn_of(plane.flat(start), plane.flat(end), center, clockwise)
        self._turn(block, plane, end, center, math.copysign(turn, turn * factor))

    def _put(self, block: Block, end: Point) -> None:
        """Stand at a programmed place after an error, so that the next one is judged alone."""
        if self.path is self.out:
            self.out.position = self.there(block, end)

    def _no_arc(self, block: Block, plane: Plane) -> ReadError:
        assert self.transform is not None
        word = self.transform.name
        why = "an ellipse" if word != "G68" else "none that lies in a plane of two axes"
        return self.fault(
            block,
            f"an arc in the {plane.says} under {word} is {why}; expected "
            + ("one scale for both axes" if word != "G68" else "the plane of the rotation"),
            self.motion_word(block),
            "",
        )

    def _turn(
        self, block: Block, plane: Plane, end: Point, center: tuple[float, float], turn: float
    ) -> None:
        """Go along an arc about a centre, both as programmed."""
        start = self.path.position
        if self.transform is not None:
            third = end[plane.along]
            center = plane.flat(self.there(block, plane.point(*center, third)))
            end = self.there(block, end)
        if self.modal.feed_mode == 930:
            radius = math.dist(plane.flat(end), center)
            self.out.set_span(math.hypot(radius * turn, end[plane.along] - start[plane.along]))
        if plane.code == 170:
            self.path.go(block, end, rapid=False, center=center, turn=turn)
            return
        self.out.chorded += 1
        radius = math.dist(plane.flat(end), center)
        self.spend(block, chord_count(radius, turn, self.settings.chord))
        for point in chord_ends(plane, start, end, center, turn, self.settings.chord):
            self.path.go(block, point, rapid=False)

    def _center(
        self,
        block: Block,
        values: Values,
        plane: Plane,
        ends: tuple[Point, Point],
        clockwise: bool,
    ) -> tuple[float, float]:
        given = {k: self.length(block, values, k) for k in plane.centers if k in values}
        either, centers = " or ".join(plane.centers), " and ".join(plane.centers)
        a, b = plane.flat(ends[0]), plane.flat(ends[1])
        if "R" in values:
            if given:
                raise block.error(f"R and {either} in one arc; expected one or the other", "R")
            radius = self.length(block, values, "R")
            return arcs.center_of_radius_arc(a, b, radius, clockwise, self.unit, centers)
        if not given:
            raise arcs.ArcError(f"an arc without its centre; expected {centers}, or R")
        if self.modal.centers_absolute:
            if len(given) < 2:
                raise arcs.ArcError(
                    f"an arc with one of its centre's places; expected {centers} both (G90.1)"
                )
            base = plane.flat(self.zero or (_NAN, _NAN, _NAN))
        else:
            base = a
        offset = plane.offset(given)
        c = base[0] + offset[0], base[1] + offset[1]
        arcs.check_radii(math.dist(a, c), math.dist(b, c), self.unit, centers)
        return c

    def set_zero(self, block: Block, code: int) -> None:
        """G54 to G59.3."""
        name = g_name(code)
        self.refuse_compensated(block, name)
        if self.transform is not None:
            raise self.fault(
                block,
                f"{name} under {self.transform.name}; expected it off before",
                place_of_g(block, code),
                "",
            )
        if not self.frames.select(SYSTEMS.index(code)):
            raise block.error(self.settings.unknown_work_zero(name), index=place_of_g(block, code))
        self.modal.work_offset, self.zero = code, self.frames.origin()
