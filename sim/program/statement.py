"""A line with more than plain words: values worked out, parameters set, control flow found.

Parameters that a line sets take effect once all of it is read, the last one of the same number
counting (NISTIR 6556 3.3.3 and appendix B): ``#3=6 G1 X#3`` goes to the old #3. Then the words
act. GOTO, IF, WHILE, DO and END are common practice, no source.
"""

from __future__ import annotations

import dataclasses
import re
from typing import Final, Literal

from .expressions import NUMBER, Formula, FormulaFault
from .lexer import Block
from .parameters import ParameterFault, Parameters

__all__ = ["Control", "evaluate", "loop_word"]

Kind = Literal["", "goto", "while", "do", "end"]

_HEAD: Final = re.compile(r"N(\d+)", re.ASCII)
_LOOP: Final = re.compile(r"(?:(WHILE)\[.*\])?DO(\d+)\Z|(END)(\d+)\Z", re.ASCII)
_SUB_WORDS: Final = re.compile(
    r"O(?:\d+|<[^>]*>|#.*?)(SUB|ENDSUB|CALL|RETURN|IF|ELSEIF|ELSE|ENDIF|WHILE|ENDWHILE|DO|REPEAT"
    r"|ENDREPEAT|BREAK|CONTINUE)"
)


@dataclasses.dataclass(frozen=True)
class Control:
    """What a line makes of the order of the blocks.

    Attributes
    ----------
    kind : {'', 'goto', 'while', 'do', 'end'}
    number : int
        N number to go to, or the number of a loop.
    truth : bool
        The condition of WHILE holds.
    """

    kind: Kind = ""
    number: int = 0
    truth: bool = True


_NONE: Final = Control()


def loop_word(bare: str) -> tuple[Literal["do", "end"], int] | None:
    """Return whether a line (capitals, no blanks) begins or ends a loop, and the loop's number."""
    if bare.startswith("/"):
        bare = bare[1:]
    head = _HEAD.match(bare)
    found = _LOOP.match(bare, head.end() if head else 0)
    if not found:
        return None
    return ("end", int(found[4][:9])) if found[3] else ("do", int(found[2][:9]))


def evaluate(block: Block, parameters: Parameters) -> Control:
    """Work out a line: its words go into the block, its parameters are set.

    Parameters
    ----------
    block : Block
        With `rest`; gets `words` and `spans`.
    parameters : Parameters

    Raises
    ------
    ReadError
        At the character that can't be read.
    """
    head = _HEAD.match(block.rest)
    start = 0
    block.spans = []
    if head:
        start = head.end()
        block.words.append(("N", head[1]))
        block.spans.append((0, start - 1))
    line = _Line(block, Formula(block.rest, start, parameters), parameters)
    try:
        control = line.read()
        for name, value, first in line.settings:
            line.set(name, value, first)
    except FormulaFault as fault:
        raise block.error_at(str(fault), fault.start, fault.stop - 1) from None
    return control


class _Line:
    """Reads one line with a formula that knows where it stands."""

    def __init__(self, block: Block, formula: Formula, parameters: Parameters) -> None:
        self.block, self.formula, self.parameters = block, formula, parameters
        self.text = block.rest
        self.settings: list[tuple[int | str, float | None, int]] = []

    def set(self, name: int | str, value: float | None, first: int) -> None:
        try:
            if isinstance(name, str):
                self.parameters.set_named(name, value)
            else:
                self.parameters.set(name, value)
        except ParameterFault as fault:
            raise FormulaFault(str(fault), first, first + 1) from None

    def read(self) -> Control:
        formula, text = self.formula, self.text
        for word, reader in (("IF[", self._if), ("GOTO", self._goto), ("WHILE[", self._while)):
            if text.startswith(word, formula.at):
                return reader()
        loop = _LOOP.match(text, formula.at)
        if loop and not loop[1]:
            formula.at = len(text)
            number = int((loop[2] or loop[4])[:9])
            return Control("end" if loop[3] else "do", number)
        self._refuse_named_subprograms()
        while formula.at < len(text):
            self._item()
        return _NONE

    def _refuse_named_subprograms(self) -> None:
        found = _SUB_WORDS.match(self.text, self.formula.at)
        if found:
            raise FormulaFault(
                f"O words with {found[1]} are not handled; expected M98 and M99, G65, or IF, WHILE "
                "and GOTO",
                self.formula.at,
                found.end(),
            )

    def _item(self) -> None:
        """Read a setting or a word."""
        formula, text = self.formula, self.text
        first = formula.at
        if text[first] == "#":
            name = formula.name()
            if not text.startswith("=", formula.at):
                raise FormulaFault("a parameter that is not set; expected #1=2", first, formula.at)
            formula.at += 1
            self.settings.append((name, formula.sum(), first))
            return
        letter = text[first]
        following = text[first + 1 : first + 2]
        begins = following in ("#", "[", "-", "+") or NUMBER.match(text, first + 1)
        if not ("A" <= letter <= "Z") or not (begins or following.isalpha()):
            raise _unreadable(text, first)
        if following.isalpha() and not _function_ahead(text, first + 1):
            raise _unreadable(text, first)
        formula.at += 1
        if following in ("-", "+") and not _value_ahead(text, first + 2):
            raise _unreadable(text, first)
        value = formula.value()
        if value is None:
            if self.parameters.dialect.unset == "vacant":
                return  # a word without a value is no word
            value = formula._filled(value, first + 1)
        assert self.block.spans is not None
        self.block.words.append((letter, format(value, ".17g")))
        self.block.spans.append((first, formula.at - 1))

    def _if(self) -> Control:
        formula, text = self.formula, self.text
        formula.at += 2
        truth = self._condition()
        if text.startswith("THEN", formula.at):
            formula.at += 4
            if not text.startswith("GOTO", formula.at):
                return self._then(truth)
        if text.startswith("GOTO", formula.at):
            control = self._goto()
            return control if truth else _NONE
        raise FormulaFault(
            "IF [ ] with neither GOTO nor THEN; expected IF [#1 EQ 1] GOTO 10, or THEN #2=3",
            formula.at,
            len(text),
        )

    def _then(self, truth: bool) -> Control:
        """Read settings after THEN; they are worked out only where the condition holds."""
        formula, text = self.formula, self.text
        if not text.startswith("#", formula.at):
            raise FormulaFault(
                "THEN without a parameter to set; expected THEN #2=3", formula.at, len(text)
            )
        if not truth:
            formula.at = len(text)
            return _NONE
        while formula.at < len(text):
            if text[formula.at] != "#":
                raise _unreadable(text, formula.at)
            self._item()
        return _NONE

    def _condition(self) -> bool:
        start = self.formula.at
        return self.formula._filled(self.formula.expression(), start) != 0

    def _goto(self) -> Control:
        formula = self.formula
        first = formula.at
        formula.at += 4
        value = formula.number()
        number = round(value)
        if abs(value - number) > 1e-4 or number < 1 or number > 2**31:
            raise FormulaFault(
                f"GOTO {value:g}; expected the N number of a block", first, formula.at
            )
        self._at_end()
        return Control("goto", number)

    def _while(self) -> Control:
        formula, text = self.formula, self.text
        first = formula.at
        formula.at += 5
        truth = self._condition()
        loop = _LOOP.match(text, formula.at)
        if not loop or not loop[2]:
            raise FormulaFault(
                "WHILE [ ] without DO; expected WHILE [#1 LT 5] DO1", first, len(text)
            )
        formula.at = len(text)
        return Control("while", int(loop[2][:9]), truth)

    def _at_end(self) -> None:
        formula = self.formula
        if formula.at < len(self.text):
            raise FormulaFault(
                "more words after GOTO; expected it last in its line", formula.at, len(self.text)
            )


def _function_ahead(text: str, at: int) -> bool:
    stop = at
    while stop < len(text) and "A" <= text[stop] <= "Z":
        stop += 1
    return stop - at > 1 and text.startswith("[", stop)


def _value_ahead(text: str, at: int) -> bool:
    return (
        text[at : at + 1] in ("#", "[")
        or bool(NUMBER.match(text, at - 1))
        or _function_ahead(text, at)
    )


def _unreadable(text: str, at: int) -> FormulaFault:
    """Return the error about the first thing in a line that is no word."""
    found = text[at]
    ascii_letter = found.isascii() and found.isalpha()
    if ascii_letter:
        return FormulaFault(
            f"{found} has no number; expected a number such as {found}1 or {found}-0.5", at, at + 1
        )
    number = NUMBER.match(text, at)
    if number:
        said = f"{number[0]} has no letter; expected a word such as X{number[0]}"
        return FormulaFault(said, at, number.end())
    if found == "/":
        said = "'/' in the line; expected it first in the line (block delete)"
    elif found == "%":
        said = "'%' with other text; expected it alone on its line"
    elif found == ")":
        said = "')' without '('; expected a comment like (TEXT)"
    elif found in "[]=*":
        said = f"{found!r} without a word before it; expected a word such as X[1+2], or #1=2"
    else:
        shown = repr(found) if found.isprintable() else f"character {ord(found)}"
        said = f"{shown} can't be read; expected a word such as X1.5"
    return FormulaFault(said, at, at + 1)
