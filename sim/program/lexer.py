"""Text of a program to blocks of words.

A block is one line: an optional ``/``, then words (a letter and a number) and comments. Blanks
count for nothing outside comments and letters may be of either case, so ``g0x +0. 12 34y 7`` is
``G0 X+0.1234 Y7`` (NISTIR 6556 3.3). Beyond that document we take ``;`` as the start of a comment
that runs to the end of the line (common practice), and lines of up to `LINE_LIMIT` characters
(the document stops at 256, which long comments pass).

Only shapes are checked here: what a word means is the executor's matter. A line with more than
plain words (``#``, brackets, IF, WHILE and so on) is left to `statement`.
"""

from __future__ import annotations

import bisect
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from ..errors import BadInput
from .expressions import DIGIT_LIMIT, NUMBER
from .reports import ReadError

if TYPE_CHECKING:
    from .plain import PlainLines  # loads numba

__all__ = ["DIGIT_LIMIT", "LINE_LIMIT", "Block", "Source", "bare_line", "decode", "read_block"]

LONG_TEXT: Final = 500_000
"""From so many characters a program's plain blocks are read in a compiled loop."""
LINE_LIMIT: Final = 1024
"""Longest line taken, in characters."""
BINARY_SHARE: Final = 0.02
"""Share of control characters from which a file is taken as binary; real text has none."""

_NUMBER: Final = NUMBER.pattern
WORD: Final = re.compile(rf"([A-Z])({_NUMBER})", re.ASCII)
WORDS: Final = re.compile(rf"(?:[A-Z]{_NUMBER})*", re.ASCII)
_O_LINE: Final = re.compile(r"/?(?:N\d+)?O(\d+)", re.ASCII)
_N_LINE: Final = re.compile(r"/?N(\d+)", re.ASCII)
_LINE_END: Final = re.compile(r"\r\n|\n|\r")
CLEAN: Final = str.maketrans(
    {" ": None, "\t": None, "\f": None, **{chr(c): chr(c - 32) for c in range(97, 123)}}
)
_BLANKS: Final = " \t\f"
_CONTROLS: Final = bytes(c for c in range(32) if c not in b"\t\n\f\r")


class Block:
    """One line of a program.

    Attributes
    ----------
    file : str
        The file as the person named it.
    line : int
        Physical line, from 1.
    at : int
        The same; in another file than the main program, the line that called it.
    source : str
        The line as written.
    words : list of (letter, number)
        In the order written, letters in capitals, numbers as text without blanks.
    comments : tuple of str
        Texts of the comments, without their marks.
    deleted : bool
        The line begins with ``/``.
    rest : str
        The line without blanks, comments and ``/`` if it holds more than plain words, which are
        then not found yet; else empty.
    spans : list of (first, last) or None
        Characters of `rest` that make each word, where they were found there.
    """

    __slots__ = ("at", "comments", "deleted", "file", "line", "rest", "source", "spans", "words")

    def __init__(
        self,
        file: str,
        line: int,
        source: str,
        at: int = 0,
        words: list[tuple[str, str]] | None = None,
    ) -> None:
        self.file, self.line, self.source = file, line, source
        self.at = at or line
        self.words = [] if words is None else words
        self.comments: tuple[str, ...] = ()
        self.deleted = False
        self.rest = ""
        self.spans: list[tuple[int, int]] | None = None

    @property
    def alone(self) -> bool:
        """Whether the comments stand alone: no words but the line's N number."""
        return not self.rest and all(letter == "N" for letter, _ in self.words)

    def _place(self, first: int, last: int) -> tuple[int, int]:
        """Return column (from 1) and width of characters without blanks, comments and ``/``."""
        bare = _scan_comments(self.source)[0]
        places = [i for i, c in enumerate(bare) if c not in _BLANKS][int(self.deleted) :]
        if not places:
            return 0, 1
        first, last = min(first, len(places) - 1), min(last, len(places) - 1)
        return places[first] + 1, places[last] - places[first] + 1

    def span(self, index: int) -> tuple[int, int]:
        """Return column (from 1) and width of word `index` in the line as written."""
        if self.spans is not None:
            return self._place(*self.spans[index])
        first = sum(1 + len(number) for _, number in self.words[:index])
        return self._place(first, first + len(self.words[index][1]))

    def error(
        self, text: str, letter: str = "", *, index: int | None = None, hangs: str = ""
    ) -> ReadError:
        """Return the error about a word, found by its letter (the last such) or its place.

        Without a word that is in the line, the error is about the line. `hangs`: see `ReadError`.
        """
        if index is None:
            found = [i for i, word in enumerate(self.words) if word[0] == letter]
            index = found[-1] if found else None
        place = self.span(index) if index is not None else (0, 1)
        return self._error(text, place, hangs)

    def error_at(self, text: str, first: int, last: int, *, hangs: str = "") -> ReadError:
        """Return the error about characters of `rest`."""
        return self._error(text, self._place(first, last), hangs)

    def _error(self, text: str, place: tuple[int, int], hangs: str = "") -> ReadError:
        column, width = place
        error = ReadError(
            text, file=self.file, line=self.line, column=column, source=self.source, width=width
        )
        error.hangs = hangs
        return error


def decode(data: bytes, shown: str) -> str:
    """Return the text of a program file.

    Parameters
    ----------
    data : bytes
        UTF-8, with or without a mark, or else Latin-1; only comments need more than ASCII.
    shown : str
        The file, for errors.

    Raises
    ------
    BadInput
        A binary file.
    """
    controls = len(data) - len(data.translate(None, _CONTROLS))
    if b"\0" in data or controls > BINARY_SHARE * len(data):
        raise BadInput(
            f"{shown}: is a binary file, not a program; expected a text file in RS-274 (ISO 6983)"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


class Source:
    """The lines of a program file and what in them can be jumped to.

    Where the first line with more than comments is ``%``, what follows the next ``%`` is not read;
    else what follows the first one is not.

    Parameters
    ----------
    text : str
        The program.
    shown : str
        The file, for errors.

    Attributes
    ----------
    lines : sequence of str
    plain : PlainLines or None
        The same lines, of a long program: what reads plain blocks in a compiled loop.
    first, stop : int
        Lines that count, as indices into `lines`.
    closed : bool
        There is a closing ``%``.
    """

    def __init__(self, text: str, shown: str) -> None:
        self.shown = shown
        self.plain: PlainLines | None = None
        self.lines: Sequence[str]
        if len(text) < LONG_TEXT:
            self.lines = _LINE_END.split(text)
            marked = [i for i, line in enumerate(self.lines) if "%" in line]
        else:
            from .plain import PlainLines

            self.lines = self.plain = PlainLines(text)
            marked = self.plain.having("%")
        self.first, self.stop, self.closed = 0, len(self.lines), False
        marks = [i for i in marked if self.lines[i].translate(CLEAN) == "%"]
        begun = next((i for i, line in enumerate(self.lines) if bare_line(line)), -1)
        if marks and marks[0] == begun:
            self.first = marks.pop(0) + 1
        if marks:
            self.stop, self.closed = marks[0], True
        self._programs: dict[int, list[int]] | None = None
        self._starts: list[int] | None = None
        self._numbers: dict[int, list[int]] | None = None

    def programs(self) -> dict[int, list[int]]:
        """Return the lines (indices) of every O number."""
        if self._programs is None:
            self._programs = self._find(_O_LINE, "O")
        return self._programs

    def numbers(self) -> dict[int, list[int]]:
        """Return the lines (indices) of every N number."""
        if self._numbers is None:
            self._numbers = self._find(_N_LINE, "N")
        return self._numbers

    def _find(self, pattern: re.Pattern[str], letter: str) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        lines: Iterable[int] = range(self.first, self.stop)
        if self.plain is not None and letter != "N":
            lines = sorted({*self.plain.having(letter), *self.plain.having(letter.lower())})
        for index in lines:
            line = self.lines[index]
            if self.first <= index < self.stop and (letter in line or letter.lower() in line):
                match = pattern.match(bare_line(line))
                if match and len(match[1]) <= DIGIT_LIMIT:
                    found.setdefault(int(match[1]), []).append(index)
        return found

    def end_of(self, index: int) -> int:
        """Return the line (index) where the program that holds a line ends: the next O number."""
        if self._starts is None:
            self._starts = sorted(i for places in self.programs().values() for i in places)
        after = bisect.bisect_right(self._starts, index)
        return self._starts[after] if after < len(self._starts) else self.stop


def bare_line(source: str) -> str:
    """Return a line in capitals without blanks and comments."""
    if "(" in source or ";" in source:
        source = _scan_comments(source)[0]
    return source.translate(CLEAN)


def read_block(file: str, line: int, source: str, clean: str, at: int = 0) -> Block:
    """Return the block of a line, its words found if they are plain ones.

    Parameters
    ----------
    file, line, source, at
        As in `Block`.
    clean : str
        The line in capitals without blanks.

    Raises
    ------
    ReadError
        A line too long, or a comment that is not one.
    """
    block = Block(file, line, source, at)
    if len(source) > LINE_LIMIT:
        raise block.error(
            f"the line is {len(source)} characters long; expected at most {LINE_LIMIT}"
        )
    if "(" in clean or ";" in clean:
        clean = _take_comments(block).translate(CLEAN)
    if clean.startswith("/"):
        block.deleted = True
        clean = clean[1:]
    if WORDS.fullmatch(clean):
        block.words = WORD.findall(clean)
    else:
        block.rest = clean
    return block


def _scan_comments(source: str) -> tuple[str, list[tuple[int, str]], int]:
    """Return the line with blanks for its comments, each one's place and text, and -1.

    Instead of -1, the place of a comment that does not close; what follows is then left off.
    """
    bare: list[str] = []
    found: list[tuple[int, str]] = []
    at = 0
    while at < len(source):
        opened = next((i for i in range(at, len(source)) if source[i] in "(;"), len(source))
        bare.append(source[at:opened])
        if opened == len(source):
            break
        closed = source.find(")", opened) if source[opened] == "(" else len(source)
        if closed < 0:
            return "".join(bare), found, opened
        found.append((opened, source[opened + 1 : closed]))
        bare.append(" " * (min(closed + 1, len(source)) - opened))
        at = closed + 1
    return "".join(bare), found, -1


def _take_comments(block: Block) -> str:
    """Put the comments into the block; return the line with blanks in their place."""
    bare, found, unclosed = _scan_comments(block.source)
    for place, text in found:
        if "(" in text and block.source[place] == "(":
            inner = place + 1 + text.index("(")
            raise _at(block, inner, "a '(' inside a comment; expected no brackets within a comment")
    if unclosed >= 0:
        raise _at(block, unclosed, "a comment that does not close; expected ')' on the same line")
    block.comments = tuple(text for _, text in found)
    return bare


def _at(block: Block, index: int, text: str) -> ReadError:
    return block._error(text, (index + 1, 1))
