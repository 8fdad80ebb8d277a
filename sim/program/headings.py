"""Passes: runs of moves of one tool under one heading.

What begins a pass
------------------
- A tool change (M6), also to the same tool.
- A comment that stands alone in a block (an N number may stand before it) while the tool is
  retracted: its tip above the highest stock, or at an unknown height.

What does not: a comment in a block with words, a comment while the tool is down, an ``(MSG,...)``
for the operator, a comment with neither letter nor digit such as ``(------)``. So the depths under
one heading stay one pass.

What names it
-------------
The last comment block between the feed move before the pass and the pass's own first feed move,
whether it stands before or after the tool change; without one, the tool's name.

Runs without a feed move
------------------------
get no number. Their moves count with the next pass if the same tool makes it, else with the pass
before; if there is none before, with the next.

Words of ours in a comment
--------------------------
``(PROUD PASS name)``
    A new pass begins here, wherever the tool is. Its name wins over other comments; without one
    they name it as ever.
``(PROUD SAME PASS)``
    Alone in a block: the comment blocks around it, from the feed move before to the next one,
    begin no new pass. A tool change still does.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from typing import Final

__all__ = ["Headings", "Run"]

_PASS: Final = re.compile(r"\s*PROUD\s+PASS(?:\s+(.*\S)|)\s*\Z", re.IGNORECASE | re.DOTALL)
_SAME: Final = re.compile(r"\s*PROUD\s+SAME\s+PASS\s*\Z", re.IGNORECASE)
_OURS: Final = re.compile(r"\s*PROUD\b", re.IGNORECASE)
_MESSAGE: Final = re.compile(r"\s*M\s*S\s*G\s*,", re.IGNORECASE)


@dataclasses.dataclass(slots=True)
class Run:
    """Moves between two places where a pass may begin.

    Attributes
    ----------
    tool : int
    begun : str
        ``start``, ``tool``, ``comment`` or ``override``.
    name : str
        Heading; empty: none.
    fed : bool
        It holds a feed move.
    joined : bool
        It goes on with the pass of the run before.
    """

    tool: int
    begun: str
    name: str = ""
    fed: bool = False
    joined: bool = False


class Headings:
    """Follows comments, tool changes and first feeds; see the module for the rules.

    Attributes
    ----------
    runs : list of Run
        Moves name their run by its index; the last is the one in progress.
    current : int
        Index of that one.
    pending : bool
        Something since the last feed move waits for `feed`.
    """

    def __init__(self) -> None:
        self.runs = [Run(0, "start")]
        self.current = 0
        self.pending = True
        self._comment = ""
        self._override = ""
        self._same = False

    def tool_change(self, tool: int) -> None:
        """Begin a run with a tool."""
        self._begin(tool, "tool")

    def comment(self, text: str, *, alone: bool, retracted: bool) -> bool:
        """Take the text of a comment; return False if it only looks like a word of ours."""
        override = _PASS.match(text)
        if override:
            self._override = " ".join((override[1] or "").split())
            self.pending = True
            if self.runs[-1].fed:
                self._begin(self.runs[-1].tool, "override")
            elif self.runs[-1].begun == "comment":
                self.runs[-1].begun = "override"
            return True
        if _SAME.match(text):
            self._same = self.pending = True
            return True
        if alone and not _MESSAGE.match(text) and any(c.isalnum() for c in text):
            self._heading(text, retracted)
        return not _OURS.match(text)

    def feed(self) -> None:
        """Take note of a feed move of the run in progress; needed while `pending` only."""
        run = self.runs[-1]
        if not run.fed:
            run.fed = True
            if self._same and run.begun == "comment":
                run.joined = True
            else:
                run.name = self._override or self._comment
        self._comment = self._override = ""
        self._same = self.pending = False

    def numbers(self) -> list[int]:
        """Return the pass number of each run, from 1; zeros if none holds a feed move."""
        numbers, number = [], 0
        for run in self.runs:
            number += run.fed and not run.joined
            numbers.append(number)
        next_number, next_tool = number, None
        for index in range(len(self.runs) - 1, -1, -1):
            run = self.runs[index]
            if run.fed:
                next_number, next_tool = numbers[index], run.tool
            elif next_tool is not None and (run.tool == next_tool or numbers[index] == 0):
                numbers[index] = next_number
        return numbers

    def names(self, tools: Mapping[int, str]) -> list[tuple[int, str]]:
        """Return tool and name of each pass, in order."""
        return [
            (run.tool, run.name or f"tool {run.tool} {tools.get(run.tool, '')}".rstrip())
            for run in self.runs
            if run.fed and not run.joined
        ]

    def _begin(self, tool: int, begun: str) -> None:
        self.current = len(self.runs)
        self.runs.append(Run(tool, begun))
        self.pending = True

    def _heading(self, text: str, retracted: bool) -> None:
        printable = "".join(c if c.isprintable() else " " for c in text)
        self._comment = " ".join(printable.split())
        self.pending = True
        if retracted and self.runs[-1].fed:
            self._begin(self.runs[-1].tool, "comment")
