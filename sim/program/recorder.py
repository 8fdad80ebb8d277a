"""Takes what the executor finds: tool, feed, spindle, moves, headings and notes."""

from __future__ import annotations

import math
from array import array
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..moves import ARC, LINE, SCALARS, Moves, Pass, Program
from .headings import Headings
from .lexer import Block
from .reports import ReadError
from .settings import ReaderSettings

__all__ = ["Recorder"]

_COLUMNS: Final = (
    *("start_x", "start_y", "start_z", "end_x", "end_y", "end_z", "center_x", "center_y"),
    *("kind", "rapid", "turn", "tool", "run", "h_register", "feed", "spindle", "line"),
)
_AT: Final = {name: index for index, name in enumerate(_COLUMNS)}
Point = tuple[float, float, float]
LEAST_MS: Final = 60.0
"""A dwell of so much or more is in ms: nobody waits a minute in a cut; common practice."""


class Recorder:
    """State of tool, spindle and feed, and the moves so far.

    Attributes
    ----------
    position : (x, y, z)
        Programmed tip, mm, part frame; NaN where it is not known.
    rows : array of float64
        The moves one after the other, each in the order of `_COLUMNS`; compact, since a program
        may hold millions.
    chorded : int
        Arcs that run as chords so far.
    noted : dict of str to [int, int]
        Words that move nothing here -> the line of the first, and how many.
    warnings : list of (line, text)
        The notes, apart; line 0 is the whole program.
    rotary : list of (int, (a, b, c))
        From which move on A, B and C stand where, degrees.
    """

    def __init__(self, settings: ReaderSettings, shown: str) -> None:
        self.settings, self.shown = settings, shown
        self.position: Point = settings.home or (math.nan, math.nan, math.nan)
        self.rows = array("d")
        self.headings = Headings()
        self.notes: list[str] = []
        self.warnings: list[tuple[int, str]] = []
        self.noted: dict[str, list[int]] = {}
        self.rotary: list[tuple[int, Point]] = [(0, (0.0, 0.0, 0.0))]
        self.chorded = 0
        self.dwells: list[tuple[int, float, int]] = []  # as in `Program`
        self.compensated: list[tuple[int, int, int]] = []  # as in `Program`
        self.lost_feed = False  # a feed move led to a place that is not known
        self._said: set[str] = set()
        self._selected: tuple[int, Block] | None = None
        self._tool = self._register = 0
        self._emptied = False  # T0 M6 left the spindle without a tool
        self._under_g43 = False
        self._register_tool = 0  # the tool that was loaded when G43 was given
        self._feed: float | None = None
        self._feed_mode = 940
        self._turned = False  # rotary axes stand where feed moves are refused
        self._span = math.nan  # length of the path of a block in G93, mm
        self._speed = 0.0
        self._surface = False  # S is the speed at the tool's edge, mm/min
        self._direction = 0
        self._feed_now = 0.0  # mm/min
        self._spindle = 0.0
        self._checked = False

    # Notes and headings

    def note(self, line: int, text: str) -> None:
        """Add a note about a line; line 0 is the whole program."""
        self.notes.append(f"{self.shown}:{line}: {text}" if line else f"{self.shown}: {text}")
        self.warnings.append((line, text))

    def note_word(self, line: int, word: str) -> None:
        """Take note of a word that moves nothing here."""
        found = self.noted.get(word)
        if found:
            found[1] += 1
        else:
            self.noted[word] = [line, 1]

    def dwell(self, line: int, time: float, count: int) -> None:
        """Wait after `count` moves: seconds (NISTIR 6556 3.5.4); what can only be ms are ms."""
        self.dwells.append((count, time if time < LEAST_MS else time / 1000, line))

    def note_once(self, key: str, line: int, text: str) -> None:
        """Add a note unless there is one of the same key."""
        if key not in self._said:
            self._said.add(key)
            self.note(line, text)

    def comments(self, block: Block) -> None:
        """Take the comments of a block, before anything else that the block does."""
        retracted, alone = self._retracted(), block.alone
        for text in block.comments:
            if not self.headings.comment(text, alone=alone, retracted=retracted):
                self.note(
                    block.at,
                    f"the comment ({text.strip()}) is none of ours; expected (PROUD PASS name) or "
                    "(PROUD SAME PASS)",
                )

    def _retracted(self) -> bool:
        """Return whether the tool stands above the stock, or where nobody knows."""
        z, top = self.position[2], self.settings.stock_top
        if math.isnan(z):
            return True
        if top is None:  # no job: the last move was a rapid
            return not self.rows or bool(self.rows[_AT["rapid"] - len(_COLUMNS)])
        return z > top

    # Feed, spindle, tool

    def set_feed(self, feed: float | None, mode: int) -> None:
        """Set the feed, mm/min (G94), mm per turn (G95) or 1/min (G93); None: not given yet."""
        self._feed, self._feed_mode, self._checked = feed, mode, False

    def set_span(self, length: float) -> None:
        """Say how long the path of the next feed block is, mm: what F means in G93."""
        self._span, self._checked = length, False

    def set_speed(self, speed: float) -> None:
        """Set S, 1/min, or mm/min at the edge under G96."""
        self._speed = speed
        self.set_direction(self._direction)

    def set_surface(self, on: bool) -> None:
        """Let S be the speed at the tool's edge (G96), or turns (G97)."""
        if on != self._surface:
            self._surface = on
            self.set_speed(0.0)

    def set_direction(self, direction: int) -> None:
        """Turn the spindle: 1 for M3, -1 for M4, 0 for M5."""
        self._direction, self._checked = direction, False
        speed = self._speed
        if self._surface:
            radius = self.settings.radii.get(self._tool, 0.0)
            speed = speed / (math.tau * radius) if radius else 0.0
        self._spindle = direction * speed + 0.0

    @property
    def count(self) -> int:
        """How many moves there are."""
        return len(self.rows) // len(_COLUMNS)

    @property
    def tool(self) -> int:
        """The tool in the spindle, 0 for none."""
        return self._tool

    def set_rotary(self, angles: Point, *, refused: bool) -> None:
        """Turn the rotary axes, degrees; `refused`: feed moves are an error there."""
        self._turned, self._checked = refused, False
        count = self.count
        if self.rotary[-1][0] == count:
            self.rotary.pop()
        self.rotary.append((count, angles))

    def set_side(self, register: int, side: int) -> None:
        """Say that the next moves run beside the path by D, as in `Program.compensated`."""
        last = self.compensated[-1][1:] if self.compensated else (0, 0)
        if last != (register, side):
            self.compensated.append((self.count, register, side))

    def set_register(self, register: int, *, under_g43: bool) -> None:
        """Set the length register in force, 0 for none."""
        self._register, self._under_g43 = register, under_g43
        self._register_tool, self._checked = self._tool, False

    def select(self, tool: int, block: Block) -> None:
        """Take note of a T word, for the next M6."""
        self._selected = tool, block

    def change_tool(self, block: Block) -> None:
        """Load the selected tool, which stops the spindle (NIST RS274/NGC 3.6.3); T0 empties it.

        Raises
        ------
        ProgramError
            No T word before, or a tool that the job does not list.
        """
        if self._selected is None:
            raise block.error(
                "M6 before any T; expected the number of the tool, such as T1 M6", "M"
            )
        tool, at = self._selected
        known = self.settings.tools
        if tool and known is not None and tool not in known:
            listed = ", ".join(f"T{n}" for n in sorted(known)) or "none"
            raise at.error(
                f"tool {tool} is not in the job; expected one of its tools ({listed}), or add it",
                "T",
            )
        self._tool, self._checked, self._emptied = tool, False, tool == 0
        self.set_direction(0)
        self.headings.tool_change(tool)

    # Moves of plain blocks, taken many at once

    @property
    def flows(self) -> bool:
        """Whether a feed move would be recorded as the last one was, and nothing said of it."""
        known = not math.isnan(sum(self.position))
        return self._checked and known and self._tool > 0 and not self.headings.pending

    @property
    def feed(self) -> float:
        """mm/min; while `flows`."""
        return self._feed_now

    @property
    def fixed(self) -> tuple[float, ...]:
        """Tool, run, length register and spindle of a move, as rows have them."""
        return self._tool, self.headings.current, self._register, self._spindle

    def take(self, rows: NDArray[np.float64]) -> None:
        """Record moves, shape (n, columns)."""
        self.rows.frombytes(rows.tobytes())

    def set_flow(self, feed: float, *, settled: bool) -> None:
        """Set the feed, mm/min; `settled`: a feed move has been made with it."""
        self.set_feed(feed, self._feed_mode)
        if settled:
            self._feed_now, self._checked = feed, True

    # Moves

    def go(
        self,
        block: Block,
        end: Point,
        *,
        rapid: bool,
        center: tuple[float, float] = (0.0, 0.0),
        turn: float = 0.0,
    ) -> None:
        """Go to a point, mm, part frame: straight, or about `center` by `turn`, radians.

        Raises
        ------
        ProgramError
            A feed move without a tool, a feed or (G95) a turning spindle.
        """
        start = self.position
        self.position = end
        if rapid:
            if not self._tool:
                return
        elif not self._checked:
            self._check_cutting(block)
        reach = end[0] + end[1] + end[2]
        if reach != reach:  # NaN
            if not rapid:
                self._note_lost(block, end)
            return
        if not rapid and self.headings.pending:
            self.headings.feed()
        self.rows.extend(
            (
                *start,
                *end,
                *center,
                ARC if turn else LINE,
                rapid,
                turn,
                self._tool,
                self.headings.current,
                self._register,
                0.0 if rapid else self._feed_now,
                self._spindle,
                block.at,
            )
        )

    def state(self, block: Block, end: Point, *, rapid: bool) -> tuple[float, ...] | None:
        """Return what a move made later has in force now; None: it cuts nothing.

        `end` is the programmed point, mm; not known (NaN): the move cuts nothing.

        Raises
        ------
        ReadError
            As `go`.
        """
        if rapid:
            if not self._tool:
                return None
        elif not self._checked:
            self._check_cutting(block)
        if math.isnan(sum(end)):
            if not rapid:
                self._note_lost(block, end)
            return None
        if not rapid and self.headings.pending:
            self.headings.feed()
        feed = 0.0 if rapid else self._feed_now
        run = self.headings.current
        return self._tool, run, self._register, feed, self._spindle, block.at

    def put(
        self,
        state: tuple[float, ...] | None,
        end: Point,
        *,
        rapid: bool,
        center: tuple[float, float],
        turn: float,
    ) -> None:
        """Go to a point with what was in force when `state` was taken."""
        start, self.position = self.position, end
        if state is not None and not math.isnan(sum(end)):
            kind = ARC if turn else LINE
            self.rows.extend((*start, *end, *center, kind, rapid, turn, *state))

    def jump(self, block: Block, end: Point) -> None:
        """Go to a point, mm, without cutting anything on the way: no move is kept."""
        self.position = end

    def _check_cutting(self, block: Block) -> None:
        """Settle the feed in mm/min, and say once for each tool what its length hangs on."""
        if (
            self._turned
            or not self._tool
            or not self._feed
            or (self._feed_mode == 950 and not self._spindle)
        ):
            raise self._cannot_cut(block)
        per_minute = 1.0
        if self._feed_mode == 950:
            per_minute = abs(self._spindle)
        elif self._feed_mode == 930:
            per_minute = 0.0 if math.isnan(self._span) else self._span
        self._feed_now = self._feed * per_minute
        self._checked = True
        tool = self._tool
        if self.settings.tools is None:  # no job: whether H is right can't be said
            return
        if not self._under_g43:
            self.note_once(
                f"G43 {tool}",
                block.at,
                f"tool {tool} cuts without G43: its tip is taken to be on the programmed point",
            )
        elif self._register_tool != tool:
            self.note_once(
                f"H {tool}",
                block.at,
                f"tool {tool} cuts under H{self._register}, set before its tool change",
            )

    def _cannot_cut(self, block: Block) -> ReadError:
        axis = next((w[0] for w in block.words if w[0] in "XYZIJK"), "")
        hangs = "tool" if not self._tool else "feed"
        if self._emptied:
            text = (
                "a feed move with an empty spindle (T0 M6 took the tool out); expected T and M6 "
                "with a tool's number before it"
            )
        elif not self._tool:
            text = "a feed move in a program without a tool; expected T and M6 before it"
        elif self._turned:
            hangs = "rotary"
            text = (
                "a feed move while A, B or C is not 0: the part would be shown unturned; expected "
                'them at 0, or the setup\'s control with rotary = "kept"'
            )
        elif not self._feed:
            text = "a feed move without a feed; expected F above 0 before it"
        elif self._surface:
            text = (
                "a feed per revolution (G95) under G96 with a tool of unknown diameter, or the "
                "spindle stopped; expected G94, or G97 with S"
            )
        else:
            text = "a feed per revolution (G95) with the spindle stopped; expected S and M3 or M4"
        return block.error(text, axis, hangs=hangs)

    def _note_lost(self, block: Block, end: Point) -> None:
        self.lost_feed = True
        unknown = ", ".join(a for a, v in zip("XYZ", end, strict=True) if math.isnan(v))
        self.note_once(
            f"lost {unknown} {self._tool}",
            block.at,
            f"a feed move that cuts nothing here: {unknown} not known; give it first, or give the "
            "setup a home",
        )

    # The end

    def program(self) -> Program:
        """Return the moves, passes and notes."""
        table = np.frombuffer(self.rows).reshape(-1, len(_COLUMNS))
        columns = {name: table[:, index] for name, index in _AT.items()}
        run_numbers = np.array(self.headings.numbers(), dtype=np.int32)
        numbers = run_numbers[columns["run"].astype(np.int64)]
        scalars: dict[str, NDArray[Any]] = {
            name: columns[name].astype(dtype) for name, dtype in SCALARS.items() if name in columns
        }
        scalars["setup"] = np.full(len(table), self.settings.setup, dtype=SCALARS["setup"])
        moves = Moves(
            start=np.ascontiguousarray(table[:, :3]),
            end=np.ascontiguousarray(table[:, 3:6]),
            center=np.round(table[:, 6:8], 10),
            pass_number=numbers,
            **scalars,
        )
        return Program(
            moves, tuple(self._passes(moves)), tuple(self.notes), tuple(self.dwells),
            tuple(self.compensated),
        )  # fmt: skip

    def rotary_table(self) -> NDArray[np.float64] | None:
        """Return A, B and C of each move, degrees, shape (n, 3); None where they are never set."""
        if len(self.rotary) == 1 and not any(self.rotary[0][1]):
            return None
        count = self.count
        starts = [start for start, _ in self.rotary]
        table = np.array([angles for _, angles in self.rotary], dtype=np.float64)
        return table[np.searchsorted(starts, np.arange(count), side="right") - 1]

    def _passes(self, moves: Moves) -> Sequence[Pass]:
        feeds: NDArray[np.bool_] = ~moves.rapid
        numbers, lines = moves.pass_number[feeds], moves.line[feeds]
        passes = []
        for number, (tool, name) in enumerate(self.headings.names(self.settings.tools or {}), 1):
            low, high = np.searchsorted(numbers, [number, number + 1])
            first, last = int(lines[low]), int(lines[high - 1])
            passes.append(Pass(number, self.settings.setup, tool, name, first, last))
        return passes
