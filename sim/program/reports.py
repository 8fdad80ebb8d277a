"""Errors of a program: one at a word, and many found in one go."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ..errors import ProgramError

__all__ = ["ERROR_LIMIT", "Problems", "ProgramErrors", "ReadError"]

ERROR_LIMIT: Final = 50
"""Most errors listed in one go."""
_OF_PLACE: Final = ("arc", "place", "compensation")


class ReadError(ProgramError):
    """An error at a word.

    Attributes
    ----------
    hangs : str
        Empty: the word is wrong whatever came before. Else what it hangs on (``"arc"``,
        ``"tool"``, ...): after another error it may be that one's consequence.
    """

    hangs = ""

    def add(self, line: str) -> None:
        """Add a line to the text, under the source."""
        self.args = (f"{self.args[0]}\n    {line}",)


class ProgramErrors(ProgramError):
    """Several errors of one program, in the order of the lines.

    Attributes
    ----------
    errors : tuple of ProgramError
        File, line and column are those of the first.
    """

    def __init__(self, errors: Sequence[ProgramError], more: bool) -> None:
        first = errors[0]
        super().__init__("", file=first.file, line=first.line, column=first.column)
        self.errors = tuple(errors)
        texts = [str(error) for error in errors]
        if more:
            texts.append(f"{first.file}: only the first {len(errors)} errors are listed")
        self.args = ("\n".join(texts),)


class Problems:
    """Gathers errors, each once; those that may only follow from another are left out.

    An arc that does not close says nothing of the next one, but after a word that can't be read
    the place of the tool is a guess until all three axes are given again.

    Attributes
    ----------
    doubt : bool
        The place of the tool hangs on a word that could not be read.
    """

    def __init__(self) -> None:
        self.errors: list[ProgramError] = []
        self.doubt = False
        self._doubted = False
        self.full = False
        self._said: set[tuple[object, ...]] = set()

    def add(self, error: ProgramError) -> None:
        """Take an error."""
        hangs = error.hangs if isinstance(error, ReadError) else ""
        key: tuple[object, ...] = (error.file, error.line, error.column, str(error).split("\n")[0])
        if hangs and hangs != "arc":
            key = (hangs,)  # it would be said again on every line that follows
        doubt = self.doubt if hangs in _OF_PLACE else self._doubted
        if (hangs and doubt) or key in self._said:
            return
        self._said.add(key)
        if not hangs:
            self.doubt = self._doubted = True
        if len(self.errors) == ERROR_LIMIT:
            self.full = True
            return
        self.errors.append(error)

    def check(self) -> None:
        """Raise what was gathered, if anything."""
        if len(self.errors) == 1 and not self.full:
            raise self.errors[0]
        if self.errors:
            raise ProgramErrors(self.errors, self.full)
