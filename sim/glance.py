"""A glance at a program's text, line by line: what is needed before it can be read without a job.

Only words that stand alone count; what a subprogram in another file says is not seen.
"""

from __future__ import annotations

import dataclasses
import gzip
import re
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from .dialect import Dialect
from .program import ReadError, ReaderSettings
from .program.frames import WORK_ZEROS
from .program.lexer import LINE_LIMIT, Block, bare_line, read_block
from .program.reader import GZIP, UNPACKED_LIMIT
from .units import Unit

__all__ = ["Comment", "Glance", "alone_settings", "glance"]

_OF_USE: Final = re.compile(r"[GgTtDdMm(;](?:(?<![Gg])|[ \t0]*(?:[245]|1[23]))")
_WORD: Final = re.compile(r"([GTDM])0*(\d+(?:\.[1-9])?)\.?0*(?![\d.])", re.ASCII)
_VALUES: Final = re.compile(r"[#\[]")
_UNITS: Final[dict[str, Unit]] = {"G20": "in", "G21": "mm"}
_CHUNK: Final = 1 << 20
COMMENT_LIMIT: Final = 20_000
"""Most lines with comments that are kept: tools are told at the top and at their changes."""


@dataclasses.dataclass(frozen=True)
class Comment:
    """The comments of a line.

    Attributes
    ----------
    line : int
        From 1.
    text : str
        The comments of the line, joined.
    tool : int
        Of the T word of this line, else of the last one before; 0: none.
    change : bool
        The line holds T or M6.
    alone : bool
        The line holds no word but N and O.
    """

    line: int
    text: str
    tool: int
    change: bool
    alone: bool


@dataclasses.dataclass(frozen=True)
class Glance:
    """What the text of a program says.

    Attributes
    ----------
    unit : {'in', 'mm'} or None
        Of the first G20 or G21.
    work_zeros : tuple of str
        In the order of their first use.
    d_registers : tuple of int
        In rising order.
    compensated : bool
        It has G41, G42, G12 or G13: its path hangs on the radius of a tool.
    tools : tuple of int
        In the order of their first T, without T0.
    comments : tuple of Comment
    changes : tuple of (line, tool)
        Lines that hold M6 or a T word, and the tool.
    """

    unit: Unit | None
    work_zeros: tuple[str, ...]
    d_registers: tuple[int, ...]
    compensated: bool
    tools: tuple[int, ...]
    comments: tuple[Comment, ...]
    changes: tuple[tuple[int, int], ...]


def glance(path: Path) -> Glance:
    """Return what the text of a program says; of a file that can't be read, nothing.

    Parameters
    ----------
    path : Path
        RS-274 text, UTF-8 or Latin-1; also compressed by gzip.
    """
    found = _Found()
    try:
        for number, line in _lines(path):
            found.take(number, line)
    except (OSError, EOFError, ValueError, zlib.error):  # who reads it says what is wrong
        pass
    return found.glance()


def alone_settings(unit: Unit, accept: Mapping[str, str]) -> ReaderSettings:
    """Return the settings for a program without a job: any tool, every work zero at one place.

    Cutter compensation moves the path by nothing: a tool's radius is not known.
    """
    return ReaderSettings(
        unit=unit,
        tools=None,
        stock_top=None,
        work_offsets=dict.fromkeys(WORK_ZEROS, (0.0, 0.0, 0.0)),
        dialect=Dialect(d_holds="wear"),
        accept=accept,
    )


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the lines that hold something of use, with their numbers."""
    if not path.is_file():  # a pipe can be read once only
        return
    with path.open("rb") as file:
        packed = file.read(2) == GZIP
    opened = gzip.open if packed else open
    with opened(path, "rt", encoding="latin-1") as lines:
        left, number = UNPACKED_LIMIT, 1  # what gzip packed may be endless
        while left > 0 and (text := lines.read(_CHUNK)):
            text += lines.readline(LINE_LIMIT + 2)
            left -= len(text)
            yield from _lines_of(text, number)
            number += text.count("\n")


def _lines_of(text: str, number: int) -> Iterator[tuple[int, str]]:
    end = 0
    while found := _OF_USE.search(text, end):
        begin = text.rfind("\n", end, found.start()) + 1 or end
        number += text.count("\n", end, begin)
        end = text.find("\n", begin)
        end = len(text) if end < 0 else end
        line = text[begin:end]
        yield number, line if line.isascii() else _utf8(line)


def _utf8(line: str) -> str:
    try:
        return line.encode("latin-1").decode("utf-8-sig")
    except UnicodeDecodeError:
        return line


class _Found:
    def __init__(self) -> None:
        self.unit: Unit | None = None
        self.zeros: dict[str, None] = {}
        self.registers: set[int] = set()
        self.compensated = False
        self.tools: dict[int, None] = {}
        self.comments: list[Comment] = []
        self.changes: dict[int, int] = {}
        self._tool = 0

    def take(self, number: int, line: str) -> None:
        bare = bare_line(line)
        words = [] if _VALUES.search(bare) else _WORD.findall(bare)
        for letter, digits in words:
            self._word(letter, digits)
        change = any(w[0] == "T" or w == ("M", "6") for w in words)
        if change and self._tool:
            self.changes[number] = self._tool
        if "(" in line or ";" in line:
            self._comment(number, line, change)

    def _word(self, letter: str, digits: str) -> None:
        name = letter + digits
        if letter == "G":
            if name in _UNITS and self.unit is None:
                self.unit = _UNITS[name]
            elif name in WORK_ZEROS:
                self.zeros[name] = None
            self.compensated |= name in ("G41", "G42", "G12", "G13")
        elif letter == "D" and digits.isdigit():
            self.registers.add(int(digits))
        elif letter == "T" and digits.isdigit():
            self._tool = int(digits)
            if self._tool:
                self.tools[self._tool] = None

    def _comment(self, number: int, line: str, change: bool) -> None:
        block = _block(number, line)
        if block is None or not block.comments or len(self.comments) == COMMENT_LIMIT:
            return
        alone = not block.rest and all(letter in "NO" for letter, _ in block.words)
        text = " ".join(" ".join(text.split()) for text in block.comments)
        self.comments.append(Comment(number, text, self._tool, change, alone))

    def glance(self) -> Glance:
        return Glance(
            self.unit,
            tuple(self.zeros),
            tuple(sorted(self.registers)),
            self.compensated,
            tuple(self.tools),
            tuple(self.comments),
            tuple(self.changes.items()),
        )


def _block(number: int, line: str) -> Block | None:
    try:
        return read_block("", number, line, bare_line(line) + "(")
    except ReadError:
        return None
