"""Blocks to moves: the order of execution, and what each word does.

Within a block things happen in the order of NISTIR 6556 Table 8: comments, feed mode, F, S, T,
M6, M3 to M5, coolant, dwell, plane, units, compensation, length offset, work offset, path mode,
G90/G91, G98/G99, G28/G30/G10/G92, motion, stop. One difference: F counts in the unit that the
block itself sets, so that ``G21 F500`` is 500 mm/min wherever it stands. What that document does
not have comes where its like is: rotation, scaling and mirror after G90/G91, calls last.

Where common practice is wider than that document, and can only mean one thing, it is followed:
G80 beside G0 to G3 in a block, G0 or G1 beside G28 or G30 (which take the axis words), a full
circle without its end point, axes not named by G28 and G30 staying where they are.
"""

from __future__ import annotations

import math
from typing import Final

from .calls import Jump, call_of, macro_call, return_of
from .holes import Holes
from .lexer import Block
from .modal import CYCLES, G_NOTED, M_NOTED, g_code, g_name
from .motion import AXES
from .recorder import Recorder
from .settings import ReaderSettings
from .words import (
    SETTERS,
    TAKES_AXES,
    Values,
    Words,
    check_letters,
    first_place,
    place_of_g,
    take_words,
    whole,
)

__all__ = ["Executor"]

_ARCS: Final = (20, 30)
_PLAIN: Final = frozenset("XYZF")
_PLAIN_ARC: Final = frozenset("XYZFIJKR")
_MOTION_ONLY: Final = frozenset(["motion"])
_SETTERS: Final = frozenset({501, 510, 511, 680})
_BESIDE_HOME: Final = (280, 300, 530)
_NO_ANGLES: Final = _SETTERS | (TAKES_AXES - frozenset(_BESIDE_HOME))
_END: Final = Jump("end")
_TURNING: Final = {3: 1, 13: 1, 4: -1, 14: -1, 5: 0, 19: 0}


class Executor(Holes):
    """Executes blocks one at a time.

    Parameters
    ----------
    settings : ReaderSettings
        What the job says.
    recorder : Recorder
        Takes the moves, headings and notes.

    Attributes
    ----------
    o_line : int
        Line at which a called program may give its O number; 0 in the main program.
    """

    def __init__(self, settings: ReaderSettings, recorder: Recorder) -> None:
        super().__init__(settings, recorder)
        self.named = False  # an O number was given
        self.o_line = 0
        self._leaving = False  # G40 waits for the motion of its block

    def execute(self, block: Block) -> Jump | None:
        """Execute one block; return where the program goes on unless with the next one.

        Raises
        ------
        ReadError
            A word that is not known, not allowed where it stands, or not handled.
        """
        if block.comments:
            self.out.comments(block)
        words = take_words(block, self.settings.accept)
        values, g_words, m_words, accepted = words
        motion = g_words.get("motion", self.modal.motion)
        plain = _PLAIN_ARC if motion in _ARCS else _PLAIN
        if (
            m_words
            or accepted
            or self.modal.feed_mode == 930
            or not (g_words.keys() <= _MOTION_ONLY and values.keys() <= plain)
        ):
            return self._execute_all(block, Words(*words))
        # Only a motion, its axis words and F: most blocks of most programs.
        if "F" in values:
            self._set_feed(block, values, g_words)
        if g_words and motion != self.modal.motion:
            self.set_motion(motion)
        if (motion == 0 or motion == 10) and self.transform is None:
            if "X" in values or "Y" in values or "Z" in values:
                self.path.go(block, self.target(block, values), rapid=motion == 0)
        else:
            self._move(block, values, g_words)
        return None

    def macro(self, block: Block) -> Jump | None:
        """Return the call of a block with G65; None if it has none."""
        if any(letter == "G" and g_code(text) == 650 for letter, text in block.words):
            if block.comments:
                self.out.comments(block)
            return macro_call(block)
        return None

    def keep_deleted(self, block: Block) -> bool:
        """Return whether a block that begins with ``/`` is executed, and note it."""
        if self.settings.block_delete:
            self.out.note_once("/", block.at, "blocks with '/' are left out (block delete is on)")
            return False
        self.out.note_once("/", block.at, "blocks with '/' are executed (block delete is off)")
        return True

    def finish(self, block: Block) -> None:
        """End the program: what compensation still holds back is given out."""
        if self.path is not self.out:
            side = g_name(self.modal.side)
            self.out.note_once("side", block.at, f"the program ends under {side}, without G40")
        self.leave_side(block, None, rapid=False)

    # A block with more than axis words, in order

    def _execute_all(self, block: Block, words: Words) -> Jump | None:
        values, g_words, m_words = words.values, words.g, words.m
        one_shot = g_words.get("one-shot", 0)
        setting = one_shot in TAKES_AXES or not _SETTERS.isdisjoint(g_words.values())
        motion = None if setting else self._motion_of(g_words)
        self._check_partners(block, words, one_shot)
        check_letters(block, words, motion, self.settings.accept)
        self._note_words(block, words)
        if "O" in values:
            self._check_program_number(block, values)
        if "units" in g_words:
            self._set_unit(block, g_words["units"])
        self._set_feed(block, values, g_words)
        self._set_spindle_and_tool(block, values, words)
        if g_words:
            self._set_modes(block, words)
        taken = self.set_transforms(block, words) if not SETTERS.isdisjoint(g_words) else False
        if not values.keys().isdisjoint("ABC"):
            self._turn_axes(block, words, one_shot)
        if not taken:
            self._move(block, values, g_words)
        elif self._leaving:
            self._leave(block, values)
        return self._jump(block, values, m_words)

    def _jump(self, block: Block, values: Values, m_words: dict[str, int]) -> Jump | None:
        code = m_words.get("call")
        ended = m_words.get("stop") in (2, 30)
        if code is None:
            return _END if ended else None
        if ended:
            raise block.error(f"M{code} beside the program's end; expected one of them", "M")
        if code == 99:
            return return_of(block, values)
        digits = self.dialect.call_repeats == "digits"
        return call_of(block, values, local=code == 97, digits=digits)

    def _check_partners(self, block: Block, words: Words, one_shot: int) -> None:
        """Refuse two words of a block that both want its axis words, and splines."""
        g_words, values = words.g, words.values
        if "call" in g_words:
            raise block.error("G65 by an expression; expected G65 as it is", "G")
        has_axes = not values.keys().isdisjoint("XYZIJ")
        smoothing = g_words.get("smoothing")
        if smoothing in (50, 51) and (has_axes or not ({"P", "Q"} & values.keys())):
            raise block.error(
                f"{g_name(smoothing)} with axes or without P or Q may be a spline; expected it "
                "alone with P or Q, or the moves as G1, G2 and G3",
                index=place_of_g(block, smoothing),
            )
        motion = g_words.get("motion")
        beside = one_shot in _BESIDE_HOME and motion in (0, 10)
        setter = next((code for code in g_words.values() if code in _SETTERS), None)
        taker = one_shot if one_shot in TAKES_AXES else setter
        if taker is not None and setter is not None and taker != setter:
            motion = setter
        if taker and motion is not None and not beside and motion != taker:
            raise block.error(
                f"{g_name(motion)} and {g_name(taker)} in one block both want the axis words; "
                "expected two blocks",
                index=place_of_g(block, taker),
            )

    def _note_words(self, block: Block, words: Words) -> None:
        for code in words.g.values():
            if code in G_NOTED and code not in (310, 382):
                blend = code == 640
                said = [f" {k}{words.values[k]:g}" for k in "PQ" if blend and k in words.values]
                self.out.note_word(block.at, g_name(code) + "".join(said))
            if code == 40:
                self.out.dwell(block.at, words.values.get("P", 0.0), self.path.count)
        for code in words.m.values():
            if code in M_NOTED:
                self.out.note_word(block.at, f"M{code}")
        for word in words.accepted:
            self.out.note_word(block.at, word)
            reason = self.settings.accept.get(word, "")
            self.out.note_once(f"accept {word}", block.at, f"{word} is taken as harmless: {reason}")

    def _check_program_number(self, block: Block, values: Values) -> None:
        first = next(w for w in block.words if w[0] != "N")
        opening = block.line == self.o_line if self.o_line else not (self.named or self.out.rows)
        if first[0] != "O" or not opening:
            raise block.error(
                "O inside a program; expected M30 or M99 before a second program or a subprogram",
                "O",
            )
        self.named = True
        whole(block, values, "O")

    def _motion_of(self, g_words: dict[str, int]) -> int | None:
        if "motion" in g_words:
            return g_words["motion"]
        return None if "cancel" in g_words else self.modal.motion

    def _set_unit(self, block: Block, code: int) -> None:
        unit = "in" if code == 200 else "mm"
        if unit != self.unit:
            self.refuse_compensated(block, g_name(code))
        self.unit, self.scale = ("in", 25.4) if code == 200 else ("mm", 1.0)
        self.frames.scale = self.scale
        self.unit_given = self.unit_given or unit

    def _set_feed(self, block: Block, values: Values, g_words: dict[str, int]) -> None:
        mode = g_words.get("feed mode")
        if mode is not None and mode != self.modal.feed_mode:
            self.modal.feed_mode = mode
            self.out.set_feed(None, mode)
        if "F" in values:
            self.settle(block)
            if values["F"] < 0:
                raise block.error("a negative F; expected a feed above 0", "F")
            inverse = self.modal.feed_mode == 930
            feed = values["F"] if inverse else self.length(block, values, "F")
            if inverse and feed > 1e9:
                raise block.error("F is more than a billion; expected 1/minutes", "F")
            self.out.set_feed(feed, self.modal.feed_mode)

    def _set_spindle_and_tool(self, block: Block, values: Values, words: Words) -> None:
        m_words = words.m
        if "speed mode" in words.g:
            self.out.set_surface(words.g["speed mode"] == 960)
            self.modal.surface = words.g["speed mode"] == 960
        limits = words.g.get("one-shot") == 920 or words.g.get("scaling") == 500
        if "S" in values and not limits:
            if values["S"] < 0:
                raise block.error("a negative S; expected 0 or more (M4 turns backwards)", "S")
            # Under G96 S is in m/min or ft/min.
            edge = 304.8 if self.unit == "in" else 1000.0
            self.out.set_speed(values["S"] * (edge if self.modal.surface else 1.0))
        if "T" in values:
            self.out.select(whole(block, values, "T"), block)
        if "tool change" in m_words:
            self.refuse_compensated(block, "M6")
            self.out.change_tool(block)
        if "spindle" in m_words:
            self.out.set_direction(_TURNING[m_words["spindle"]])

    def _set_modes(self, block: Block, words: Words) -> None:
        modal, values, g_words = self.modal, words.values, words.g
        if g_words.get("one-shot") == 40 and values.get("P", -1.0) < 0:
            index = first_place(block, "P") if "P" in values else place_of_g(block, 40)
            raise block.error("G4 without a time; expected P, 0 or more", index=index)
        if g_words.get("plane", modal.plane) != modal.plane:
            self.refuse_compensated(block, g_name(g_words["plane"]))
            self.series = None
        modal.plane = g_words.get("plane", modal.plane)
        self._set_length_offset(block, values, g_words.get("length offset"))
        if "work offset" in g_words:
            self.set_zero(block, g_words["work offset"])
        if "path" in g_words:
            self.out.note_once(
                "path", block.at, "G61, G61.1 and G64 change nothing here: the path as programmed"
            )
        if "distance" in g_words:
            modal.absolute = g_words["distance"] == 900
        if "arc distance" in g_words:
            modal.centers_absolute = g_words["arc distance"] == 901
        if "return level" in g_words:
            modal.retract_to_initial = g_words["return level"] == 980
        if "radius compensation" in g_words:
            self._leaving = g_words["radius compensation"] == 400
            if not self._leaving:
                self.set_side(block, words)
        motion = self._motion_of(g_words)
        if "cancel" in g_words and motion in CYCLES:
            raise block.error(
                f"G80 and {g_name(motion or 0)} in one block; expected one of them", "G"
            )
        self.set_motion(motion)

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

    def _turn_axes(self, block: Block, words: Words, one_shot: int) -> None:
        """Turn A, B and C to indexed positions, degrees."""
        values = words.values
        old = self.out.rotary[-1][1]
        motion = self.modal.motion
        letter = next(a for a in "ABC" if a in values)
        home = one_shot in (280, 300)
        beside = next((c for c in words.g.values() if c in _NO_ANGLES), None)
        if beside is not None:
            raise block.error(
                f"{letter} with {g_name(beside)} is not handled; expected X, Y and Z", letter
            )
        if not home and one_shot != 530 and motion not in (0, 10):
            raise block.error(
                f"{letter} is read with G0, G1, G28 and G53 alone; expected it in a block of its "
                "own before",
                letter,
            )
        absolute = self.modal.absolute or one_shot == 530
        new = tuple(
            o if a not in values else 0.0 if home else values[a] + (0.0 if absolute else o)
            for a, o in zip("ABC", old, strict=True)
        )
        if not all(abs(angle) <= 1e6 for angle in new):
            raise block.error(f"{letter} reaches more than 1e6 degrees; expected less", letter)
        if new != old and motion == 10 and not home and not values.keys().isdisjoint(AXES):
            raise block.error(
                f"{letter} turns while the tool moves at feed; expected it in a block of its own "
                "(indexed work)",
                letter,
            )
        a, b, c = new
        turned = any(math.remainder(v, 360.0) for v in new)
        self.out.set_rotary((a, b, c), refused=turned and self.dialect.rotary == "refused")

    # Motion

    def _move(self, block: Block, values: Values, g_words: dict[str, int]) -> None:
        one_shot = g_words.get("one-shot")
        has_axes = not values.keys().isdisjoint(AXES)
        if one_shot is not None and self._one_shot(block, values, one_shot, has_axes):
            return
        motion = self.modal.motion
        if self._leaving:
            has_axes = self._leave(block, values) and has_axes
        if motion == 0 or motion == 10:
            if has_axes:
                if motion:
                    self._check_inverse(block, values)
                self.straight(block, values, rapid=motion == 0)
        elif motion in _ARCS:
            if has_axes or not values.keys().isdisjoint("IJKR"):
                self._check_inverse(block, values)
                self.arc(block, values, clockwise=motion == 20)
        elif motion == 382:
            if has_axes or "motion" in g_words:
                self.probe(block, values, "G38.2")
        elif motion in CYCLES:
            if has_axes or "motion" in g_words:
                self.cycle(block, values, motion or 0)
        elif has_axes:
            letter = next(a for a in AXES if a in values)
            raise self.fault(
                block,
                f"{letter} with no motion in force; expected G0, G1, G2, G3 or a cycle",
                first_place(block, letter),
                "motion",
            )

    def _check_inverse(self, block: Block, values: Values) -> None:
        if self.modal.feed_mode == 930 and "F" not in values:
            raise self.fault(
                block,
                "a feed move in G93 without F; expected F in every such block",
                first_place(block, "XYZIJK"),
                "feed",
            )

    def _leave(self, block: Block, values: Values) -> bool:
        """G40: with the straight move of its block, if any; return whether one is left to do."""
        self._leaving = False
        motion = self.modal.motion
        if self.path is self.out:
            self.modal.side = 400
            return True
        if motion not in (0, 10) or values.keys().isdisjoint("XY"):
            self.leave_side(block, None, rapid=False)
            self.loose = self.loose | {0, 1}
            return True
        end = self.there(block, self.target(block, values))
        self.leave_side(block, end, rapid=motion == 0)
        return False

    def _one_shot(self, block: Block, values: Values, code: int, has_axes: bool) -> bool:
        """Do a word that acts in its block alone; return whether it took the axis words."""
        if self._leaving and code in TAKES_AXES:
            self._leave(block, {})
        if code in (280, 300):
            named = has_axes or not values.keys().isdisjoint("ABC")
            if has_axes or not named or self.dialect.home_axes == "all":
                self.go_home(block, values, code, has_axes)
        elif code == 530:
            self.go_machine(block, values)
        elif code == 100:
            self.set_origin(block, values)
        elif code == 520:
            self.set_local(block, values)
        elif 920 <= code <= 923:
            self.set_shift(block, values, code)
            return code == 920
        elif code == 310:
            self.probe(block, values, "G31")
        elif code in (120, 130):
            self.circle_pocket(block, values, code)
        return code in TAKES_AXES
