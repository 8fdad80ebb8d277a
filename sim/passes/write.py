"""A pass list's moves as a plain RS-274 program, for preview and for teaching.

Motion is G0, G1, G2 and G3 alone; besides there are G17, G20 or G21, G90, G94, T with M6, G43 with
H, S with M3, M30, and comments. Read again, it makes the same moves, each number within one unit
of the last digit written. Two things are added and one is lost: between two passes, rapids above
the stock lead from where one ends to where the next begins (in the pass list every pass comes
straight from above), and an arc too small for its digits is straight moves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from ..contour import turned
from ..errors import BadInput
from ..moves import ARC, Moves, Program
from ..program.arcs import turn_of
from ..program.settings import LIMIT_MM
from ..units import MM_PER, Unit

__all__ = ["DIGITS", "MARK", "program_text"]

DIGITS: Final[dict[Unit, int]] = {"in": 5, "mm": 4}
"""Decimals of every coordinate: 0.25 µm and 0.1 µm."""
MARK: Final = "(FOR PREVIEW ONLY - NOT PROVEN FOR ANY MACHINE)"
"""The first comment of what is written here."""
CAUTION: Final = (
    "WRITTEN FROM A PASS LIST, BY CALCULATION ALONE. IT KNOWS NOTHING",
    "OF YOUR MACHINE, ITS CONTROL, ITS TOOL CHANGE, CLAMPS OR COOLANT.",
    "DO NOT RUN IT TO CUT METAL. WHAT YOU RUN ON A MACHINE YOU PROVE",
    "OUT, GUARDS CLOSED, SINGLE BLOCK, REDUCED RAPIDS. THE MACHINE'S",
    "MANUAL, LOCAL RULES AND QUALIFIED PEOPLE DECIDE.",
)
OVER_MM: Final[dict[Unit, float]] = {"in": 0.1 * 25.4, "mm": 2.5}
"""How far above the stock the tool at least goes from one pass to the next."""
MISREAD: Final = 0.5
"""An arc whose angle is off by more, radians, once its places are rounded, can't be written."""
FLAT: Final = 1.0
"""Units of the last digit by which such an arc may stand off its chord to be a straight move; else
it is halved first."""

Place = tuple[int, ...]
"""Coordinates in units of the last digit."""


def program_text(
    program: Program,
    *,
    unit: Unit,
    stock_top: float,
    title: str = "",
    zero: Sequence[float] = (0.0, 0.0, 0.0),
) -> str:
    """Return the text of a program that makes the moves of a pass list.

    Parameters
    ----------
    program : Program
        As `passes.read_passes` gives it: D errors in the positions, H errors not.
    unit : {'in', 'mm'}
        Unit that it is written in.
    stock_top : float
        z of the highest stock, mm.
    title : str, optional
        What people call the job.
    zero : (x, y, z), optional
        Origin of G54, mm, part frame.

    Raises
    ------
    BadInput
        A pass without a feed move, which could not be told from the next one.
    """
    writer = _Writer(program, unit, stock_top, zero)
    lines = ["%", MARK, *(f"({text})" for text in CAUTION)]
    says = f"{'INCHES' if unit == 'in' else 'MILLIMETRES'}, {DIGITS[unit]} DECIMALS"
    lines.append(f"(G54 - {says} - D ERRORS ARE IN THE PATHS, H ERRORS ARE NOT)")
    if name := comment_text(title):
        lines.append(f"(JOB {name})")
    lines.append(f"G17 {'G20' if unit == 'in' else 'G21'} G90 G94")
    return "\n".join([*lines, *writer.lines(), "M30", "%", ""])


def comment_text(text: str) -> str:
    """Return a text as it can stand in a comment: on one line, without brackets of any kind."""
    kept = "".join(" " if c in "()[]{}" or not c.isprintable() else c for c in text)
    return " ".join(kept.split())


class _Writer:
    """Blocks of the program, pass by pass."""

    def __init__(
        self, program: Program, unit: Unit, stock_top: float, zero: Sequence[float]
    ) -> None:
        self.program, self.digits = program, DIGITS[unit]
        self.scale = 10**self.digits / MM_PER[unit]
        self.per = MM_PER[unit]
        self.zero = tuple(zero)
        self.farthest = LIMIT_MM * self.scale / 2
        rapids = program.moves.end[program.moves.rapid, 2]
        high = max(float(rapids.max(initial=-math.inf)), stock_top + OVER_MM[unit])
        self.over = math.ceil((high - self.zero[2]) * self.scale)
        self.at: Place = ()
        self.feed = self.speed = -1.0
        self.tool = 0

    def lines(self) -> Iterator[str]:
        """Yield the blocks of all passes."""
        moves = self.program.moves
        for row in self.program.passes:
            low, high = np.searchsorted(moves.pass_number, [row.number, row.number + 1])
            own = moves[int(low) : int(high)]
            if not (~own.rapid).any():
                raise BadInput(
                    f'pass {row.number} "{row.name}" makes no feed move, so it can\'t be written '
                    "as a pass; leave it out of the pass list"
                )
            yield from self._begin(own, comment_text(row.name) or f"PASS {row.number}")
            for k in range(1, len(own)):
                yield from self._move(own, k)
        if self.at:
            yield from self._lift()

    def _begin(self, moves: Moves, name: str) -> Iterator[str]:
        """Yield the blocks up to the first place of a pass."""
        if self.at:
            yield from self._lift()
        tool, speed = int(moves.tool[0]), float(moves.spindle[0])
        changed = tool != self.tool
        yield ""
        if changed:
            self.tool, self.feed = tool, -1.0
            yield f"T{tool} M6"
        yield f"(PROUD PASS {name})"
        if changed:
            yield f"G43 H{int(moves.h_register[0])}"
        if changed or speed != self.speed:
            self.speed = speed
            yield f"S{_number(speed)} M3"
        x, y, z = self._place(moves.end[0].tolist())
        yield f"G0 {self._word('X', x)} {self._word('Y', y)}"
        yield f"G0 {self._word('Z', z)}"
        self.at = (x, y, z)

    def _lift(self) -> Iterator[str]:
        if self.at[2] < self.over:
            self.at = (*self.at[:2], self.over)
            yield f"G0 {self._word('Z', self.over)}"

    def _place(self, point: Sequence[float]) -> Place:
        """Return a place in units of the last digit, counted from G54."""
        return tuple(round((v - o) * self.scale) for v, o in zip(point, self.zero, strict=False))

    def _word(self, letter: str, value: int) -> str:
        text = f"{value / 10**self.digits:.{self.digits}f}".rstrip("0")
        return f"{letter}{'0.' if text in ('-0.', '0.') else text}"

    def _move(self, moves: Moves, k: int) -> Iterator[str]:
        """Yield the block of one move; of an arc that its digits would spoil, several."""
        feed = self._feed_word(moves, k)
        end = moves.end[k].tolist()
        if moves.kind[k] != ARC:
            yield self._straight("G0" if moves.rapid[k] else "G1", self._place(end), feed)
            return
        start, (x, y) = moves.start[k].tolist(), moves.center[k].tolist()
        yield from self._arc(start, end, (x, y), float(moves.turn[k]), feed)

    def _straight(self, code: str, end: Place, feed: Sequence[str]) -> str:
        letters = [n for n in range(3) if end[n] != self.at[n]] or [0]
        self.at = end
        return " ".join([code, *(self._word("XYZ"[n], end[n]) for n in letters), *feed])

    def _arc(
        self,
        start: Sequence[float],
        end: Sequence[float],
        center: tuple[float, float],
        turn: float,
        feed: Sequence[str],
    ) -> Iterator[str]:
        middle, last = self._place(center), self._place(end)
        if not _reads(self.at, last, middle, turn, self.farthest) and abs(turn) > math.pi:
            near = (
                abs(a - (v - o) * self.scale)
                for a, v, o in zip(self.at, end, self.zero, strict=True)
            )
            if max(next(near), next(near)) <= 1:  # all but a full circle: it is written as one
                last = (*self.at[:2], last[2])
        if _reads(self.at, last, middle, turn, self.farthest):
            code = "G3" if turn > 0 else "G2"
            letters = [0, 1, 2] if last[2] != self.at[2] else [0, 1]
            places = [self._word("XYZ"[n], last[n]) for n in letters]
            offset = [self._word("IJ"[n], middle[n] - self.at[n]) for n in (0, 1)]
            self.at = last
            yield " ".join([code, *places, *offset, *feed])
            return
        radius = math.dist(start[:2], center)
        if abs(turn) <= math.pi and radius * (1 - math.cos(turn / 2)) * self.scale <= FLAT:
            yield self._straight("G1", last, feed)
            return
        half = (*turned((start[0], start[1]), center, turn / 2), (start[2] + end[2]) / 2)
        yield from self._arc(start, half, center, turn / 2, feed)
        yield from self._arc(half, end, center, turn / 2, ())

    def _feed_word(self, moves: Moves, k: int) -> list[str]:
        feed = float(moves.feed[k])
        if moves.rapid[k] or feed == self.feed:
            return []
        self.feed = feed
        text = _number(feed / self.per)
        # With its point always: there are controls that count a whole number in small units.
        return [f"F{text}" if "." in text else f"F{text}."]


def _reads(start: Place, end: Place, center: Place, turn: float, farthest: float) -> bool:
    """Return whether an arc with rounded places is read as the arc that it is."""
    a, b = (start[0], start[1]), (end[0], end[1])
    c = (center[0], center[1])
    if min(math.dist(a, c), math.dist(b, c)) < 1 or math.dist(a, c) > farthest:
        return False
    return abs(turn_of(a, b, c, turn < 0) - turn) < MISREAD


def _number(value: float) -> str:
    """Return a number with seven digits that count and no exponent."""
    if value == 0:
        return "0"
    places = max(0, 6 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
