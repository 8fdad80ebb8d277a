"""Words of a block sorted by what they are, and refused where nothing would use them."""

from __future__ import annotations

from typing import Final, NoReturn

from ..errors import ProgramError
from .lexer import DIGIT_LIMIT, Block
from .modal import (
    CYCLES,
    G_GROUP,
    M_GROUP,
    WHOLE_TOLERANCE,
    g_code,
    g_name,
    refusal_of_g,
    refusal_of_m,
)

__all__ = [
    "TAKES_AXES",
    "Values",
    "check_letters",
    "first_place",
    "place_of_g",
    "take_words",
    "whole",
]

TAKES_AXES: Final = frozenset({280, 300, 530})
"""One-shot G codes (times ten) that take the axis words from the motion in force."""
_KNOWN: Final = frozenset("XYZIJKRPQLHFSTDON")
_M_WORDS_LIMIT: Final = 4  # NISTIR 6556 3.4
_USERS: Final = {
    "P": "G4, G82 or G64",
    "Q": "G83",
    "L": "a drilling cycle",
    "R": "G2, G3 or a drilling cycle",
}

Values = dict[str, float]
"""Letter -> number, for all letters but G and M."""


def take_words(block: Block) -> tuple[Values, dict[str, int], dict[str, int]]:
    """Return the numbers by letter, and the G and M codes by modal group (G times ten).

    Raises
    ------
    ProgramError
        A word twice, two of one modal group, an unknown G or M, a number too long.
    """
    values: Values = {}
    g_words: dict[str, int] = {}
    m_words: dict[str, int] = {}
    words = block.words
    if words and words[0][0] == "N":
        if not words[0][1].isdigit():
            whole(block, {"N": float(words[0][1])}, "N", index=0)
        words = words[1:]
    for letter, text in words:
        if len(text) > DIGIT_LIMIT:
            raise _too_long(block, letter, text)
        if letter == "G":
            code = g_code(text)
            group = G_GROUP.get(code)
            if group is None or group in g_words:
                raise _refused_g(block, text, g_words)
            g_words[group] = code
        elif letter == "M":
            _take_m(block, text, m_words)
        elif letter in values:
            raise block.error(f"a second {letter} in one block; expected one", letter)
        else:
            values[letter] = float(text)
    return values, g_words, m_words


def _too_long(block: Block, letter: str, text: str) -> ProgramError:
    return block.error(
        f"a number of {len(text)} characters is too long; expected at most {DIGIT_LIMIT}",
        index=block.words.index((letter, text)),
    )


def _refused_g(block: Block, text: str, taken: dict[str, int]) -> ProgramError:
    code = g_code(text)
    group = G_GROUP.get(code)
    if group is None:
        return block.error(refusal_of_g(text), index=block.words.index(("G", text)))
    same = [i for i, w in enumerate(block.words) if w[0] == "G" and g_code(w[1]) == code]
    return block.error(
        f"{g_name(code)} and {g_name(taken[group])} in one block are of one modal group; "
        "expected one of them",
        index=same[-1],
    )


def _take_m(block: Block, text: str, taken: dict[str, int]) -> None:
    value = float(text)
    code = round(value)
    is_whole = abs(value - code) <= WHOLE_TOLERANCE
    group = M_GROUP.get(code) if is_whole else None
    index = max(i for i, word in enumerate(block.words) if word == ("M", text))
    if group is None:
        raise block.error(refusal_of_m(text, code if is_whole else None), index=index)
    if group in taken:
        raise block.error(
            f"M{code} and M{taken[group]} in one block are of one modal group; expected one of "
            "them",
            index=index,
        )
    if len(taken) == _M_WORDS_LIMIT:
        raise block.error("a fifth M word in one block; expected at most four", index=index)
    taken[group] = code


def whole(
    block: Block, values: Values, letter: str, least: int = 0, *, index: int | None = None
) -> int:
    """Return a value that must be a whole number of at least `least`."""
    value = values[letter]
    number = round(value)
    if abs(value - number) > WHOLE_TOLERANCE or number < least or number > 2**31 - 1:
        raise block.error(
            f"{letter} {value:g} is not allowed; expected a whole number, {least} or more",
            letter,
            index=index,
        )
    return number


def check_letters(
    block: Block, values: Values, g_words: dict[str, int], motion: int | None
) -> None:
    """Refuse a word that nothing in the block would use.

    Parameters
    ----------
    motion : int or None
        Ten times the G number of the motion that takes the axis words.

    Raises
    ------
    ProgramError
        At the word.
    """
    for letter in values.keys() - _KNOWN:
        what = "rotary and further axes are" if letter in "ABCUVW" else f"{letter} words are"
        raise block.error(f"{what} not handled; expected X, Y and Z", letter)
    if "N" in values:
        raise block.error("N inside a block; expected it once, first in the line", "N")
    if "D" in values:
        raise block.error("D without G41 or G42, which are not built yet; expected no D", "D")
    if "H" in values and g_words.get("length offset") != 430:
        raise block.error("H without G43 in the same block; expected G43 H", "H")
    arc, cycle = motion in (20, 30), motion in CYCLES
    allowed = {
        "I": arc,
        "J": arc,
        "K": arc,
        "R": arc or cycle,
        "L": cycle,
        "Q": motion == 830,
        "P": g_words.get("one-shot") == 40 or g_words.get("path") == 640 or motion == 820,
    }
    for letter in values.keys() & allowed.keys():
        if not allowed[letter]:
            _refuse_unused(block, letter, arc)


def _refuse_unused(block: Block, letter: str, arc: bool) -> NoReturn:
    if letter == "P" and arc:
        raise block.error(
            "P (turns of an arc) is not handled; expected one move for each full circle", "P"
        )
    users = _USERS.get(letter, "G2 or G3")
    raise block.error(f"{letter} has no use here; expected it with {users}", letter)


def first_place(block: Block, letters: str) -> int | None:
    """Return the place of the first word with the first of these letters that the block has."""
    found = (i for a in letters for i, word in enumerate(block.words) if word[0] == a)
    return next(found, None)


def place_of_g(block: Block, code: int) -> int | None:
    """Return the place of the G word of a code (times ten)."""
    found = (i for i, w in enumerate(block.words) if w[0] == "G" and g_code(w[1]) == code)
    return next(found, None)
