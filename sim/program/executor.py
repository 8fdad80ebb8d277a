"""Blocks to moves: the order of execution, and what each word does.

Within a block things happen in the order of NISTIR 6556 Table 8: comments, feed mode, F, S, T,
M6, M3 to M5, coolant, dwell, plane, units, length offset, work offset, path mode, G90/G91,
G98/G99, G28/G30, motion, stop. One difference: F counts in the unit that the block itself sets,
so that ``G21 F500`` is 500 mm/min wherever it stands.

Where common practice is wider than that document, and can only mean one thing, it is followed:
G80 beside G0 to G3 in a block, G0 or G1 beside G28 or G30 (which take the axis words), a full
circle without its end point, axes not named by G28 and G30 staying where they are.

Positions that are not known are NaN. A move whose end is not wholly known is not recorded: it
sweeps nothing whatever follows. One with a known end is recorded with its start as it is.
"""

from __future__ import annotations

import math
from typing import Final

from ..errors import ProgramError
from . import arcs
from .cycles import PECK_CLEARANCE, CycleError, CycleFrame, plan_cycle
from .lexer import Block
from .modal import CYCLES, Modal, g_name
from .planes import PLANES, Plane, chord_ends
from .recorder import Recorder
from .settings import LIMIT_MM, ReaderSettings
from .words import TAKES_AXES, Values, check_letters, first_place, place_of_g, take_words, whole

__all__ = ["Executor"]

_ARCS: Final = (20, 30)
_PLAIN: Final = frozenset("XYZF")
_PLAIN_ARC: Final = frozenset("XYZFIJKR")
_MOTION_ONLY: Final = frozenset(["motion"])
_AXES: Final = ("X", "Y", "Z")
_NAN: Final = math.nan

Point = tuple[float, float, float]


class Executor:
    """Executes blocks one at a time.

    Parameters
    ----------
    settings : ReaderSettings
        What the job says.
    recorder : Recorder
        Takes the moves, headings and notes.
    """

    def __init__(self, settings: ReaderSettings, recorder: Recorder) -> None:
        self.settings, self.out = settings, recorder
        self.modal = Modal()
        self.unit = settings.unit
        self.scale = 25.4 if settings.unit == "in" else 1.0
        self.unit_given = False
        self.zero: Point | None = settings.work_zero("G54")
        self.ready = False  # unit and work zero are settled
        self.series: tuple[Values, float] | None = None  # sticky words, first z of a cycle
        self.named = False  # an O number was given

    def execute(self, block: Block) -> bool:
        """Execute one block; return True at the end of the program.

        Raises
        ------
        ProgramError
            A word that is not known, not allowed where it stands, or not handled.
        """
        if block.deleted and not self._keep_deleted(block):
            return False
        if block.comments:
            self.out.comments(block)
        values, g_words, m_words = take_words(block)
        motion = g_words.get("motion", self.modal.motion)
        plain = _PLAIN_ARC if motion in _ARCS else _PLAIN
        if m_words or not (g_words.keys() <= _MOTION_ONLY and values.keys() <= plain):
            return self._execute_all(block, values, g_words, m_words)
        # Only a motion, its axis words and F: most blocks of most programs.
        if "F" in values:
            self._set_feed(block, values, g_words)
        if g_words:
            self._set_motion(g_words["motion"])
        self._move(block, values, g_words)
        return False

    def _keep_deleted(self, block: Block) -> bool:
        if self.settings.block_delete:
            self.out.note_once("/", block.line, "blocks with '/' are left out (block delete is on)")
            return False
        self.out.note_once("/", block.line, "blocks with '/' are executed (block delete is off)")
        return True

    # A block with more than axis words, in order

    def _execute_all(
        self, block: Block, values: Values, g_words: dict[str, int], m_words: dict[str, int]
    ) -> bool:
        one_shot = g_words.get("one-shot")
        motion = None if one_shot in TAKES_AXES else self._motion_of(g_words)
        check_letters(block, values, g_words, motion)
        if "O" in values:
            self._check_program_number(block, values)
        if "units" in g_words:
            self._set_unit(g_words["units"])
        self._set_feed(block, values, g_words)
        self._set_spindle_and_tool(block, values, m_words)
        if g_words:
            self._set_modes(block, values, g_words)
        self._move(block, values, g_words)
        return m_words.get("stop") in (2, 30)

    def _check_program_number(self, block: Block, values: Values) -> None:
        first = next(w for w in block.words if w[0] != "N")
        if first[0] != "O" or self.named or self.out.rows:
            raise block.error(
                "O inside a program (a second program or a subprogram) is not built yet; expected "
                "one O number at the start",
                "O",
            )
        self.named = True
        whole(block, values, "O")

    def _motion_of(self, g_words: dict[str, int]) -> int | None:
        if "motion" in g_words:
            return g_words["motion"]
        return None if "cancel" in g_words else self.modal.motion

    def _set_unit(self, code: int) -> None:
        self.unit, self.scale = ("in", 25.4) if code == 200 else ("mm", 1.0)
        self.unit_given = True

    def _set_feed(self, block: Block, values: Values, g_words: dict[str, int]) -> None:
        mode = g_words.get("feed mode")
        if mode is not None and (mode == 950) != self.modal.per_revolution:
            self.modal.per_revolution = mode == 950
            self.out.set_feed(None, self.modal.per_revolution)
        if "F" in values:
            self._settle(block)
            if values["F"] < 0:
                raise block.error("a negative F; expected a feed above 0", "F")
            feed = self._length(block, values, "F")
            self.out.set_feed(feed, self.modal.per_revolution)

    def _set_spindle_and_tool(self, block: Block, values: Values, m_words: dict[str, int]) -> None:
        if "S" in values:
            if values["S"] < 0:
                raise block.error("a negative S; expected 0 or more (M4 turns backwards)", "S")
            self.out.set_speed(values["S"])
        if "T" in values:
            self.out.select(whole(block, values, "T"), block)
        if "tool change" in m_words:
            self.out.change_tool(block)
        if "spindle" in m_words:
            self.out.set_direction({3: 1, 4: -1, 5: 0}[m_words["spindle"]])

    def _set_modes(self, block: Block, values: Values, g_words: dict[str, int]) -> None:
        modal = self.modal
        if g_words.get("one-shot") == 40 and values.get("P", -1.0) < 0:
            index = first_place(block, "P") if "P" in values else place_of_g(block, 40)
            raise block.error("G4 without a time; expected P, 0 or more", index=index)
        modal.plane = g_words.get("plane", modal.plane)
        self._set_length_offset(block, values, g_words.get("length offset"))
        if "work offset" in g_words:
            self._set_work_offset(block, g_words["work offset"])
        if "path" in g_words:
            self.out.note_once(
                "path", block.line, "G61, G61.1 and G64 change nothing here: the path as programmed"
            )
        if "distance" in g_words:
            modal.absolute = g_words["distance"] == 900
        if "return level" in g_words:
            modal.retract_to_initial = g_words["return level"] == 980
        motion = self._motion_of(g_words)
        if "cancel" in g_words and motion in CYCLES:
            raise block.error(
                f"G80 and {g_name(motion or 0)} in one block; expected one of them", "G"
            )
        self._set_motion(motion)

    def _set_motion(self, motion: int | None) -> None:
        if motion != self.modal.motion:
            self.modal.motion = motion
            self.series = None

    def _set_length_offset(self, block: Block, values: Values, code: int | None) -> None:
        if code == 430:
            if "H" not in values:
                raise block.error(
                    "G43 without H; expected the number of the length register, such as G43 H1",
                    index=place_of_g(block, 430),
                )
            self.modal.h_register = whole(block, values, "H")
            self.out.set_register(self.modal.h_register, under_g43=True)
        elif code == 490:
            self.modal.h_register = 0
            self.out.set_register(0, under_g43=False)

    def _set_work_offset(self, block: Block, code: int) -> None:
        name = g_name(code)
        zero = self.settings.work_zero(name)
        if zero is None:
            raise block.error(self.settings.unknown_work_zero(name), index=place_of_g(block, code))
        self.modal.work_offset, self.zero = code, zero

    # Motion

    def _settle(self, block: Block) -> None:
        """Before the first length: settle the unit and that the work zero is known."""
        if self.ready:
            return
        if not self.unit_given:
            unit = "inches" if self.settings.unit == "in" else "millimetres"
            self.out.note_once("unit", block.line, f"lengths before any G20 or G21: read as {unit}")
        self.ready = self.zero is not None

    def _length(self, block: Block, values: Values, letter: str) -> float:
        length = values[letter] * self.scale
        if abs(length) > LIMIT_MM:
            raise self._too_far(block, letter, length)
        return length

    def _too_far(self, block: Block, letter: str, length: float) -> ProgramError:
        return block.error(
            f"{letter} reaches {length:.6g} mm; expected at most {LIMIT_MM:g} mm, is a decimal "
            "point missing?",
            letter,
        )

    def _move(self, block: Block, values: Values, g_words: dict[str, int]) -> None:
        one_shot = g_words.get("one-shot")
        has_axes = not values.keys().isdisjoint(_AXES)
        if one_shot in (280, 300):
            self._go_home(block, values, g_words, has_axes)
            return
        motion = self.modal.motion
        if one_shot == 530:
            self._go_machine(block, values, motion)
            return
        if motion == 0 or motion == 10:
            if has_axes:
                end = self._target(block, values)
                self.out.go(block, end, rapid=motion == 0)
        elif motion in _ARCS:
            if has_axes or not values.keys().isdisjoint("IJKR"):
                self._arc(block, values, clockwise=motion == 20)
        elif motion in CYCLES:
            if has_axes or "motion" in g_words:
                self._cycle(block, values, motion or 0)
        elif has_axes:
            letter = next(a for a in _AXES if a in values)
            raise block.error(
                f"{letter} with no motion in force; expected G0, G1, G2, G3 or a cycle", letter
            )

    def _target(self, block: Block, values: Values) -> Point:
        """Return the programmed point, part frame, mm; NaN where it is not known."""
        if not self.ready:
            self._settle(block)
        if self.zero is None and self.modal.absolute:
            name = g_name(self.modal.work_offset)
            raise block.error(self.settings.unknown_work_zero(name))
        position, scale = self.out.position, self.scale
        base = self.zero if self.zero and self.modal.absolute else position
        x, y, z = position
        if "X" in values:
            x = round(base[0] + values["X"] * scale, 10)
        if "Y" in values:
            y = round(base[1] + values["Y"] * scale, 10)
        if "Z" in values:
            z = round(base[2] + values["Z"] * scale, 10)
        if abs(x) > LIMIT_MM or abs(y) > LIMIT_MM or abs(z) > LIMIT_MM:
            far = {a: v for a, v in zip(_AXES, (x, y, z), strict=True) if abs(v) > LIMIT_MM}
            letter = next((a for a in far if a in values), "X")
            raise self._too_far(block, letter, far.get(letter, LIMIT_MM))
        return x, y, z

    def _go_home(
        self, block: Block, values: Values, g_words: dict[str, int], has_axes: bool
    ) -> None:
        """G28, G30: by way of the programmed point, then the named axes (or all) go home."""
        if g_words.get("motion", 0) not in (0, 10):
            raise block.error(
                f"{g_name(g_words['motion'])} and {g_name(g_words['one-shot'])} in one block both "
                "want the axis words; expected two blocks",
                index=place_of_g(block, g_words["one-shot"]),
            )
        if has_axes:
            self.out.go(block, self._target(block, values), rapid=True)
        home = self.settings.home
        if home is not None and g_words["one-shot"] == 300:
            self.out.note_once("G30", block.line, "G30 is taken to go to the job's home, as G28")
        goal = home or (_NAN, _NAN, _NAN)
        named = [a in values or not has_axes for a in _AXES]
        self._go_to(block, goal, named, rapid=True)

    def _go_machine(self, block: Block, values: Values, motion: int | None) -> None:
        """G53: straight to a point given from machine zero; G91 does not count."""
        if motion not in (0, 10):
            raise block.error(
                "G53 without G0 or G1 in force; expected G0 G53", index=place_of_g(block, 530)
            )
        self._settle(block)
        home = self.settings.home or (_NAN, _NAN, _NAN)
        goal = tuple(
            h + self._length(block, values, a) if a in values else h
            for a, h in zip(_AXES, home, strict=True)
        )
        self._go_to(block, goal, [a in values for a in _AXES], rapid=motion == 0)

    def _go_to(
        self, block: Block, goal: tuple[float, ...], named: list[bool], *, rapid: bool
    ) -> None:
        if any(named):
            x, y, z = (
                round(g, 10) if use else p
                for g, p, use in zip(goal, self.out.position, named, strict=True)
            )
            self.out.go(block, (x, y, z), rapid=rapid)

    def _arc(self, block: Block, values: Values, *, clockwise: bool) -> None:
        plane = PLANES[self.modal.plane]
        centers = " and ".join(plane.centers)
        if plane.stranger in values:
            raise block.error(
                f"{plane.stranger} in an arc in the {plane.says}; expected {centers}",
                plane.stranger,
            )
        start, end = self.out.position, self._target(block, values)
        if any(math.isnan(v) for v in (*plane.flat(start), *plane.flat(end))):
            raise block.error(
                "an arc from or to a place that is not known; expected "
                f"{' and '.join(plane.axes)} given before it",
                index=first_place(block, "".join((*plane.axes, *plane.centers, "R"))),
            )
        try:
            center = self._center(block, values, plane, start, end, clockwise)
        except arcs.ArcError as error:
            index = first_place(block, "".join((*plane.centers, "R", *plane.axes, "XYZ")))
            raise block.error(str(error), index=index) from None
        turn = arcs.turn_of(plane.flat(start), plane.flat(end), center, clockwise)
        if plane.code == 170:
            self.out.go(block, end, rapid=False, center=center, turn=turn)
            return
        self.out.chorded += 1
        for point in chord_ends(plane, start, end, center, turn, self.settings.chord):
            self.out.go(block, point, rapid=False)

    def _center(
        self,
        block: Block,
        values: Values,
        plane: Plane,
        start: Point,
        end: Point,
        clockwise: bool,
    ) -> tuple[float, float]:
        given = {k: self._length(block, values, k) for k in plane.centers if k in values}
        either, centers = " or ".join(plane.centers), " and ".join(plane.centers)
        a, b = plane.flat(start), plane.flat(end)
        if "R" in values:
            if given:
                raise block.error(f"R and {either} in one arc; expected one or the other", "R")
            radius = self._length(block, values, "R")
            return arcs.center_of_radius_arc(a, b, radius, clockwise, self.unit, centers)
        if not given:
            raise arcs.ArcError(f"an arc without its centre; expected {centers}, or R")
        offset = plane.offset(given)
        c = a[0] + offset[0], a[1] + offset[1]
        arcs.check_radii(math.dist(a, c), math.dist(b, c), self.unit, centers)
        return c

    def _cycle(self, block: Block, values: Values, motion: int) -> None:
        if self.modal.plane != 170:
            raise block.error(
                f"{g_name(motion)} in {g_name(self.modal.plane)} is not built yet; expected G17",
                index=first_place(block, "GXYZ"),
            )
        self._target(block, values)  # unit, work zero and limits
        position = self.out.position
        sticky, initial = self.series or ({}, position[2])
        words = {k: self._length(block, values, k) for k in values.keys() & frozenset("XYZRQ")}
        words.update({k: values[k] for k in values.keys() & frozenset("P")})
        if "L" in values:
            words["L"] = whole(block, values, "L", 1)
        frame = CycleFrame(
            position=position,
            initial_z=initial,
            zero=self.zero if self.modal.absolute else None,
            retract_to_initial=self.modal.retract_to_initial,
            clearance=PECK_CLEARANCE[self.unit],
        )
        try:
            cycle = plan_cycle(motion // 10, words, sticky, frame)
        except CycleError as error:
            index = first_place(block, error.letter or "GXYZ")
            raise block.error(str(error), index=index) from None
        self._note_levels(block, frame)
        self.series = {k: v for k, v in (sticky | words).items() if k in "ZRQP"}, initial
        for x, y, z, rapid in cycle.moves():
            self.out.go(block, (x, y, z), rapid=rapid)

    def _note_levels(self, block: Block, frame: CycleFrame) -> None:
        """Say where controls differ: R in G91 after a hole that ended at R (G99)."""
        differ = self.series is not None and frame.position[2] != frame.initial_z
        if differ and frame.zero is None:
            self.out.note_once(
                "G91 R",
                block.line,
                "R in G91 counts from where the tool stands (NISTIR 6556 3.5.16); some controls "
                "count it from the height before the first hole",
            )
