"""Values of words: numbers, parameters and expressions in square brackets (NISTIR 6556 3.3.2).

A small reader of its own that works out the value as it goes; nothing of the program is ever
handed to Python. Ranks, highest first: ``#``; ``**``; ``* / MOD``; ``+ - OR XOR AND``; all from
left to right. Comparisons (EQ NE GT GE LT LE; common practice, no source) come last, one to a
bracket; beside AND, OR or XOR they need brackets of their own, since controls differ.
"""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from typing import Final

from .parameters import ParameterFault, Parameters

__all__ = ["NUMBER", "Formula", "FormulaFault"]

NUMBER: Final = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)", re.ASCII)
DIGIT_LIMIT: Final = 20
DEPTH_LIMIT: Final = 50
"""Most brackets and ``#`` within each other."""
WORTH_LIMIT: Final = 1e15
"""Largest number that a formula may reach."""

_OPERATOR: Final = re.compile(r"\*\*|[*/+-]|MOD|AND|XOR|OR|EQ|NE|GT|GE|LT|LE")
_RANK: Final = {
    "**": 3,
    **dict.fromkeys(("*", "/", "MOD"), 2),
    **dict.fromkeys(("+", "-", "OR", "XOR", "AND"), 1),
    **dict.fromkeys(("EQ", "NE", "GT", "GE", "LT", "LE"), 0),
}
_LOGIC: Final = ("OR", "XOR", "AND")
_COMPARE: Final[dict[str, Callable[[float, float], bool]]] = {
    "EQ": operator.eq,
    "NE": operator.ne,
    "GT": operator.gt,
    "GE": operator.ge,
    "LT": operator.lt,
    "LE": operator.le,
}
_BITS: Final = {"AND": operator.and_, "OR": operator.or_, "XOR": operator.xor}
_FUNCTION: Final = re.compile(r"([A-Z]+)(?=\[)")
_FUNCTIONS: Final = (
    *("ABS", "ACOS", "ASIN", "ATAN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT"),
    "TAN",
)
Value = float | None
"""None: vacant, the value of #0 and of a parameter that was never set."""


class FormulaFault(Exception):
    """A value that can't be worked out, at characters `start` to `stop` of the bare line."""

    def __init__(self, text: str, start: int, stop: int) -> None:
        self.start, self.stop = start, max(stop, start + 1)
        super().__init__(text)


class Formula:
    """Reads values from a line without blanks and comments, in capitals.

    Parameters
    ----------
    text : str
        The line.
    at : int
        Where the next value begins; it moves on with every value read.
    parameters : Parameters
    """

    def __init__(self, text: str, at: int, parameters: Parameters) -> None:
        self.text, self.at, self.parameters = text, at, parameters
        self._depth = 0
        self._vacant = at, at + 1  # characters of the last parameter that had no value
        self._bits = parameters.dialect.logic == "bits"
        self._to_zero = parameters.dialect.fix == "to_zero"

    def fault(self, text: str, start: int) -> FormulaFault:
        """Return an error about what was read from `start` on."""
        return FormulaFault(text, start, self.at)

    def number(self) -> float:
        """Read a value that must not be vacant."""
        start = self.at
        return self._filled(self.value(), start)

    def value(self) -> Value:
        """Read a value: a number, a parameter, an expression or a function."""
        start, text = self.at, self.text
        sign = text[start : start + 1] if text[start : start + 1] in ("-", "+") else ""
        found = NUMBER.match(text, start)
        if found:
            self.at = found.end()
            if len(found[0]) > DIGIT_LIMIT:
                raise self.fault(
                    f"a number of {len(found[0])} characters is too long; expected at most "
                    f"{DIGIT_LIMIT}",
                    start,
                )
            return float(found[0])
        self.at += len(sign)
        self._depth += 1
        if self._depth > DEPTH_LIMIT:
            raise self.fault(f"more than {DEPTH_LIMIT} brackets within each other", start)
        value = self._unsigned(start)
        self._depth -= 1
        if not sign:
            return value
        if text.startswith("**", self.at):
            raise self.fault(
                f"{sign} before a power can be read in two ways; expected brackets", start
            )
        number = self._filled(value, start)
        return -number if sign == "-" else number

    def sum(self) -> Value:
        """Read arithmetic without brackets around it: what a parameter is set to."""
        return self._sum(self.at)[0]

    def _unsigned(self, start: int) -> Value:
        text = self.text
        if text.startswith("#", self.at):
            return self._parameter()
        if text.startswith("[", self.at):
            return self.expression()
        function = _FUNCTION.match(text, self.at)
        if function and function[1] in _FUNCTIONS:
            self.at = function.end()
            return self._function(function[1], start)
        if function:
            self.at = function.end()
            raise self.fault(
                f"{function[1]} is no function; expected one of {', '.join(_FUNCTIONS)}", start
            )
        self.at = start
        raise FormulaFault(
            "no value here; expected a number, #, [ or a function such as SIN[30]", start, start + 1
        )

    def expression(self) -> Value:
        """Read an expression with its brackets."""
        start = self.at
        self.at += 1
        value, logic = self._sum(start)
        word = self._peek()
        if word and _RANK[word] == 0:
            compared = self.at
            self.at += len(word)
            right, more = self._sum(start)
            if logic or more:
                raise self._needs_brackets(word, compared)
            value = self._compare(word, value, right, start)
            word = self._peek()
            if word:
                raise self._needs_brackets(word, self.at)
        if not self.text.startswith("]", self.at):
            found = self.text[self.at : self.at + 1]
            raise FormulaFault(
                f"{found!r} in an expression; expected an operator or ']'"
                if found
                else "an expression that does not close; expected ']'",
                self.at if found else start,
                self.at + 1 if found else start + 1,
            )
        self.at += 1
        return value

    def _needs_brackets(self, word: str, at: int) -> FormulaFault:
        return FormulaFault(
            f"{word} beside another comparison, AND, OR or XOR can be read in two ways; expected "
            "brackets round each, such as [[#1 EQ 1] AND [#2 GT 0]]",
            at,
            at + len(word),
        )

    def _peek(self) -> str:
        found = _OPERATOR.match(self.text, self.at)
        return found[0] if found else ""

    def _sum(self, start: int) -> tuple[Value, bool]:
        """Read operators of the lowest rank but comparisons; also whether any is of logic."""
        value, logic = self._ranked(2), False
        while (word := self._peek()) and _RANK[word] == 1:
            self.at += len(word)
            logic = logic or word in _LOGIC
            value = self._apply(word, value, self._ranked(2), start)
        return value, logic

    def _ranked(self, rank: int) -> Value:
        start = self.at
        value = self._ranked(rank + 1) if rank < 3 else self.value()
        while (word := self._peek()) and _RANK[word] == rank:
            self.at += len(word)
            right = self._ranked(rank + 1) if rank < 3 else self.value()
            value = self._apply(word, value, right, start)
        return value

    def _filled(self, value: Value, start: int) -> float:
        if value is not None:
            return value
        if self.parameters.dialect.unset == "vacant":
            return 0.0
        first, stop = self._vacant
        raise FormulaFault(
            f"{self.text[first:stop]} has no value; expected it set before, or the setup's "
            'control with unset = "zero" or "vacant"',
            first,
            stop,
        )

    def _apply(self, word: str, left: Value, right: Value, start: int) -> float:
        a, b = self._filled(left, start), self._filled(right, start)
        try:
            worth = self._worked(word, a, b)
        except (ZeroDivisionError, OverflowError, ValueError):
            worth = math.nan
        if not abs(worth) <= WORTH_LIMIT:  # NaN also
            what = "division by 0" if word in ("/", "MOD") and b == 0 else "no number"
            raise self.fault(f"{a:g} {word} {b:g} is {what}; expected one that can be used", start)
        return worth

    def _worked(self, word: str, a: float, b: float) -> float:
        if word == "+":
            return a + b
        if word == "-":
            return a - b
        if word == "*":
            return a * b
        if word == "/":
            return a / b
        if word == "**":
            return math.pow(a, b)
        if word == "MOD":
            return math.fmod(math.fmod(a, b) + abs(b), abs(b))
        if self._bits:
            return float(_BITS[word](_integer(a), _integer(b)))
        return float(_BITS[word](int(a != 0), int(b != 0)))

    def _compare(self, word: str, left: Value, right: Value, start: int) -> float:
        if (left is None or right is None) and word in ("EQ", "NE"):
            return float((left is None and right is None) == (word == "EQ"))
        return float(_COMPARE[word](self._filled(left, start), self._filled(right, start)))

    def _parameter(self) -> Value:
        start = self.at
        try:
            name = self.name()
            if isinstance(name, str):
                value = self.parameters.named(name)
            else:
                value = self.parameters.get(name)
        except ParameterFault as fault:
            raise self.fault(str(fault), start) from None
        if value is None:
            self._vacant = start, self.at
        return value

    def name(self) -> int | str:
        """Read ``#`` and what names a parameter: its number, or its name in ``< >``."""
        start = self.at
        self.at += 1
        if self.text.startswith("<", self.at):
            stop = self.text.find(">", self.at)
            if stop <= self.at + 1:
                raise FormulaFault("a name without '>'; expected #<name>", start, start + 2)
            name = self.text[self.at + 1 : stop]
            self.at = stop + 1
            return name
        worth = self.number()
        number = round(worth)
        if abs(worth - number) > 1e-4 or number < 0:
            raise self.fault(
                f"parameter number {worth:g}; expected a whole number, 0 or more", start
            )
        return number

    def _function(self, name: str, start: int) -> float:
        inner = self.at
        a = self._filled(self.expression(), inner)
        b = 1.0
        if name == "ATAN":
            if not self.text.startswith("/[", self.at):
                raise self.fault("ATAN without its second part; expected ATAN[y]/[x]", start)
            self.at += 1
            inner = self.at
            b = self._filled(self.expression(), inner)
        try:
            worth = self._called(name, a, b)
        except (ValueError, OverflowError):
            worth = math.nan
        if not abs(worth) <= WORTH_LIMIT:
            raise self.fault(f"{name}[{a:g}] is no number; expected one that can be used", start)
        return worth

    def _called(self, name: str, a: float, b: float) -> float:
        if name == "ATAN":
            return math.degrees(math.atan2(a, b))
        if name == "ROUND":
            return math.copysign(math.floor(abs(a) + 0.5), a) + 0.0
        if name in ("FIX", "FUP"):
            up = name == "FUP"
            if self._to_zero and a < 0:
                up = not up
            return float(math.ceil(a) if up else math.floor(a))
        return float(_CALL[name](a))


def _integer(value: float) -> int:
    number = round(value)
    if abs(value - number) > 1e-4:
        raise ValueError(value)
    return number


def _tan(degrees: float) -> float:
    if abs(math.remainder(degrees, 180)) == 90:
        return math.inf
    return math.tan(math.radians(degrees))


_CALL: Final[dict[str, Callable[[float], float]]] = {
    "ABS": abs,
    "ACOS": lambda a: math.degrees(math.acos(a)),
    "ASIN": lambda a: math.degrees(math.asin(a)),
    "COS": lambda a: math.cos(math.radians(a)),
    "EXP": math.exp,
    "LN": math.log,
    "SIN": lambda a: math.sin(math.radians(a)),
    "SQRT": math.sqrt,
    "TAN": _tan,
}
