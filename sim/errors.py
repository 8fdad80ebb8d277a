"""Every error that a person can cause, with the exit code on the class.

::

    ProudError              root; never raised itself
    +-- BadInput      (2)   a file, value or option that can't be used
    |   +-- JobError        job.toml, a shared tool file or a pass list: file, key path, value
    |   +-- ProgramError    a program: file, line, column
    |   +-- ModelError      a mesh
    |   +-- TooLarge        a grid that neither memory nor disk can hold
    +-- Fault         (3)   ours: a promise of the code that did not hold

The text of an error names the value, what is allowed and the next step.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = [
    "BadInput",
    "Fault",
    "JobError",
    "ModelError",
    "ProgramError",
    "ProudError",
    "TooLarge",
    "closest",
]


class ProudError(Exception):
    """Root of every error raised on purpose."""

    exit_code = 3


class BadInput(ProudError):
    """A file, value or option that can't be used; nothing was written."""

    exit_code = 2


class JobError(BadInput):
    """A job file, tool file or pass list that can't be used.

    Parameters
    ----------
    text : str
        What is wrong: value, what is allowed, next step.
    file : str
        The file as the person named it.
    key : str, optional
        Key path, such as ``tools[2].diameter``.
    """

    def __init__(self, text: str, *, file: str = "", key: str = "") -> None:
        self.file, self.key = file, key
        where = ": ".join(part for part in (file, key) if part)
        super().__init__(f"{where}: {text}" if where else text)


class ProgramError(BadInput):
    """A program that can't be read completely.

    Parameters
    ----------
    text : str
        What is wrong and what was expected.
    file : str
        The file as the person named it.
    line, column : int
        Physical line and column, from 1; column 0 means the whole line.
    source : str, optional
        The line itself, shown with the word underlined.
    width : int, optional
        Length of the word, in characters.
    """

    def __init__(
        self, text: str, *, file: str, line: int, column: int = 0, source: str = "", width: int = 1
    ) -> None:
        self.file, self.line, self.column = file, line, column
        place = f"{file}:{line}:{column}" if column else f"{file}:{line}"
        shown = f"{place}: {text}"
        if source:
            clean = "".join(c if c.isprintable() else " " for c in source)[:200]
            shown += f"\n    {clean}"
            if 0 < column <= 200:
                shown += f"\n    {' ' * (column - 1)}{'^' * max(1, min(width, 60))}"
        super().__init__(shown)


class ModelError(BadInput):
    """A mesh that can't be used as stock or part."""


class TooLarge(BadInput):
    """A grid that neither memory nor disk can hold."""


class Fault(ProudError):
    """A promise of the code that did not hold; ours to mend."""

    exit_code = 3


def closest(word: str, allowed: Iterable[str]) -> str:
    """Return ``'; did you mean "x"?'`` for the nearest allowed word, else an empty text."""
    found = difflib.get_close_matches(word.lower(), [a.lower() for a in allowed], n=1, cutoff=0.6)
    original = {a.lower(): a for a in allowed}
    return f'; did you mean "{original[found[0]]}"?' if found else ""
