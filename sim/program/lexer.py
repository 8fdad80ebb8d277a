"""Text of a program to blocks of words.

A block is one line: an optional ``/``, then words (a letter and a number) and comments. Blanks
count for nothing outside comments and letters may be of either case, so ``g0x +0. 12 34y 7`` is
``G0 X+0.1234 Y7`` (NISTIR 6556 3.3). Beyond that document we take ``;`` as the start of a comment
that runs to the end of the line (common practice), and lines of up to `LINE_LIMIT` characters
(the document stops at 256, which long comments pass).

Only shapes are checked here: what a word means is the executor's matter.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from ..errors import BadInput, ProgramError

__all__ = ["DIGIT_LIMIT", "LINE_LIMIT", "Block", "Blocks", "decode"]

LINE_LIMIT: Final = 1024
"""Longest line taken, in characters."""
DIGIT_LIMIT: Final = 20
"""Longest number taken, in characters with its sign and point."""
BINARY_SHARE: Final = 0.02
"""Share of control characters from which a file is taken as binary; real text has none."""

_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_WORD: Final = re.compile(rf"([A-Z])({_NUMBER})", re.ASCII)
_WORDS: Final = re.compile(rf"(?:[A-Z]{_NUMBER})*", re.ASCII)
_NUMBER_ONLY: Final = re.compile(_NUMBER, re.ASCII)
_LINE_END: Final = re.compile(r"\r\n|\n|\r")
_CLEAN: Final = str.maketrans(
    {" ": None, "\t": None, "\f": None, **{chr(c): chr(c - 32) for c in range(97, 123)}}
)
_BLANKS: Final = " \t\f"


class Block:
    """One line of a program.

    Attributes
    ----------
    file : str
        The file as the person named it.
    line : int
        Physical line, from 1.
    source : str
        The line as written.
    words : list of (letter, number)
        In the order written, letters in capitals, numbers as text without blanks.
    comments : tuple of str
        Texts of the comments, without their marks.
    deleted : bool
        The line begins with ``/``.
    """

    __slots__ = ("comments", "deleted", "file", "line", "source", "words")

    def __init__(self, file: str, line: int, source: str) -> None:
        self.file, self.line, self.source = file, line, source
        self.words: list[tuple[str, str]] = []
        self.comments: tuple[str, ...] = ()
        self.deleted = False

    @property
    def alone(self) -> bool:
        """Whether the comments stand alone: no words but the line's N number."""
        return all(letter == "N" for letter, _ in self.words)

    def span(self, index: int) -> tuple[int, int]:
        """Return column (from 1) and width of word `index` in the line as written."""
        bare = _scan_comments(self.source)[0]
        places = [i for i, c in enumerate(bare) if c not in _BLANKS]
        first = int(self.deleted) + sum(1 + len(number) for _, number in self.words[:index])
        last = first + len(self.words[index][1])
        return places[first] + 1, places[last] - places[first] + 1

    def error(self, text: str, letter: str = "", *, index: int | None = None) -> ProgramError:
        """Return the error about a word, found by its letter (the last such) or its place.

        Without a word that is in the line, the error is about the line.
        """
        if index is None:
            found = [i for i, word in enumerate(self.words) if word[0] == letter]
            index = found[-1] if found else None
        column, width = self.span(index) if index is not None else (0, 1)
        return ProgramError(
            text, file=self.file, line=self.line, column=column, source=self.source, width=width
        )


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
    controls = sum(data.count(bytes([c])) for c in range(32) if c not in b"\t\n\f\r")
    if b"\0" in data or controls > BINARY_SHARE * len(data):
        raise BadInput(
            f"{shown}: is a binary file, not a program; expected a text file in RS-274 (ISO 6983)"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


class Blocks:
    """The blocks of a program, in order, without empty lines.

    Where the first line that is not blank is ``%``, what follows the next ``%`` is not read; else
    what follows the first one is not.

    Parameters
    ----------
    text : str
        The program.
    shown : str
        The file, for errors.

    Attributes
    ----------
    closed : bool
        The closing ``%`` was met.
    """

    def __init__(self, text: str, shown: str) -> None:
        self._text, self._shown = text, shown
        self.closed = False

    def __iter__(self) -> Iterator[Block]:
        """Yield block after block; raise `ProgramError` at a line that can't be read."""
        begun = False
        for number, source in enumerate(_LINE_END.split(self._text), 1):
            clean = source.translate(_CLEAN)
            if clean == "%":
                if begun:
                    self.closed = True
                    return
                begun = True
            elif clean:
                begun = True
                yield self._block(number, source, clean)

    def _block(self, number: int, source: str, clean: str) -> Block:
        block = Block(self._shown, number, source)
        if len(source) > LINE_LIMIT:
            raise block.error(
                f"the line is {len(source)} characters long; expected at most {LINE_LIMIT}"
            )
        if "(" in clean or ";" in clean:
            clean = _take_comments(block).translate(_CLEAN)
        if clean.startswith("/"):
            block.deleted = True
            clean = clean[1:]
        if not _WORDS.fullmatch(clean):
            raise _unreadable(block, clean)
        block.words = _WORD.findall(clean)
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


def _at(block: Block, index: int, text: str, width: int = 1) -> ProgramError:
    return ProgramError(
        text,
        file=block.file,
        line=block.line,
        column=index + 1,
        source=block.source,
        width=width,
    )


def _unreadable(block: Block, clean: str) -> ProgramError:
    """Return the error about the first thing in a line that is no word."""
    matched = _WORDS.match(clean)
    stop = matched.end() if matched else 0
    bare = _scan_comments(block.source)[0]
    places = [i for i, c in enumerate(bare) if c not in _BLANKS][int(block.deleted) :]
    column, found = places[stop], clean[stop]
    following = clean[stop + 1 : stop + 2]
    if found in "#[=*" or (found.isascii() and found.isalpha() and following in ("#", "[")):
        return _at(
            block,
            column,
            "parameters (#) and expressions ([ ]) are not built yet; expected a plain number",
        )
    if found.isascii() and found.isalpha():
        return _at(
            block,
            column,
            f"{found} has no number; expected a number such as {found}1 or {found}-0.5",
        )
    number = _NUMBER_ONLY.match(clean, stop)
    if number:
        width = places[number.end() - 1] - column + 1
        return _at(
            block, column, f"{number[0]} has no letter; expected a word such as X{number[0]}", width
        )
    if found == "/":
        return _at(block, column, "'/' in the line; expected it first in the line (block delete)")
    if found == "%":
        return _at(block, column, "'%' with other text; expected it alone on its line")
    if found == ")":
        return _at(block, column, "')' without '('; expected a comment like (TEXT)")
    shown = repr(found) if found.isprintable() else f"character {ord(found)}"
    return _at(block, column, f"{shown} can't be read; expected a word such as X1.5")
