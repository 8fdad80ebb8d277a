"""Words of a block sorted by what they are, and refused where nothing would use them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from .lexer import DIGIT_LIMIT, Block
from .modal import (
    CYCLES,
    G_GROUP,
    G_TAKES,
    M_GROUP,
    M_TAKES,
    WHOLE_TOLERANCE,
    g_code,
    g_name,
    refusal_of_g,
    refusal_of_m,
)
from .reports import ReadError

__all__ = [
    "TAKES_AXES",
    "Values",
    "Words",
    "check_length",
    "check_letters",
    "first_place",
    "place_of_g",
    "take_words",
    "whole",
]

TAKES_AXES: Final = frozenset({100, 120, 130, 280, 300, 310, 520, 530, 920})
"""One-shot G codes (times ten) that take the axis words from the motion in force."""
SETTERS: Final = frozenset({"rotation", "scaling", "mirror"})
"""Groups whose words take the axis words likewise."""
_ALWAYS: Final = frozenset("XYZABCFSTNO")
_M_WORDS_LIMIT: Final = 4  # NISTIR 6556 3.4

Values = dict[str, float]
"""Letter -> number, for all letters but G and M."""


class Words(NamedTuple):
    """The words of a block.

    Attributes
    ----------
    values : dict of str to float
    g, m : dict of str to int
        Codes by modal group, G times ten.
    accepted : list of str
        Words that the job has declared harmless.
    """

    values: Values
    g: dict[str, int]
    m: dict[str, int]
    accepted: list[str]


def take_words(
    block: Block, accept: Mapping[str, str]
) -> tuple[Values, dict[str, int], dict[str, int], list[str]]:
    """Return what `Words` holds, in its order, as a plain tuple, which is quicker to make.

    Raises
    ------
    ReadError
        A word twice, two of one modal group, an unknown G or M, a number too long.
    """
    values: Values = {}
    g_words: dict[str, int] = {}
    m_words: dict[str, int] = {}
    accepted: list[str] = []
    words = block.words
    if words and words[0][0] == "N":
        if not words[0][1].isdigit():
            whole(block, {"N": float(words[0][1])}, "N", index=0)
        words = words[1:]
    for letter, text in words:
        if len(text) > DIGIT_LIMIT:
            check_length(block, letter, text)
        if letter == "G":
            code = g_code(text)
            group = G_GROUP.get(code)
            if group is None or group in g_words:
                if group is None and _is_accepted(f"G{text}", accept, accepted):
                    continue
                raise _refused_g(block, text, g_words)
            g_words[group] = code
        elif letter == "M":
            if not _is_accepted(f"M{text}", accept, accepted):
                _take_m(block, text, m_words)
        elif letter in values:
            raise block.error(f"a second {letter} in one block; expected one", letter)
        else:
            values[letter] = float(text)
    return values, g_words, m_words, accepted


def _is_accepted(word: str, accept: Mapping[str, str], accepted: list[str]) -> bool:
    if not accept:
        return False
    name = f"{word[0]}{float(word[1:]):g}"
    if name in accept:
        accepted.append(name)
        return True
    return False


def check_length(block: Block, letter: str, text: str) -> None:
    """Refuse a word's number that is written with too many characters."""
    if len(text) > DIGIT_LIMIT and block.spans is None:
        raise block.error(
            f"a number of {len(text)} characters is too long; expected at most {DIGIT_LIMIT}",
            index=block.words.index((letter, text)),
        )


def _refused_g(block: Block, text: str, taken: dict[str, int]) -> ReadError:
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
    code = round(value) if abs(value) < 1e9 else -1
    is_whole = abs(value - code) <= WHOLE_TOLERANCE
    group = M_GROUP.get(code) if is_whole else None
    if group is None:
        index = max(i for i, word in enumerate(block.words) if word == ("M", text))
        raise block.error(refusal_of_m(text), index=index)
    if group in taken or len(taken) == _M_WORDS_LIMIT:
        index = max(i for i, word in enumerate(block.words) if word == ("M", text))
        if group in taken:
            raise block.error(
                f"M{code} and M{taken[group]} in one block are of one modal group; expected one "
                "of them",
                index=index,
            )
        raise block.error("a fifth M word in one block; expected at most four", index=index)
    taken[group] = code


def whole(
    block: Block, values: Values, letter: str, least: int = 0, *, index: int | None = None
) -> int:
    """Return a value that must be a whole number of at least `least`."""
    value = values[letter]
    number = round(value) if abs(value) < 2**40 else -1
    if abs(value - number) > WHOLE_TOLERANCE or number < least or number > 2**31 - 1:
        raise block.error(
            f"{letter} {value:g} is not allowed; expected a whole number, {least} or more",
            letter,
            index=index,
        )
    return number


def check_letters(
    block: Block, words: Words, motion: int | None, accept: Mapping[str, str]
) -> None:
    """Refuse a word that nothing in the block would use.

    Parameters
    ----------
    motion : int or None
        Ten times the G number of the motion that takes the axis words.

    Raises
    ------
    ReadError
        At the word.
    """
    values = words.values
    if "N" in values:
        raise block.error("N inside a block; expected it once, first in the line", "N")
    if motion in CYCLES and motion not in words.g.values() and values.keys().isdisjoint("XYZ"):
        cycle, motion = motion, None  # no hole in this block
    else:
        cycle = None
    takers = _takers(words, motion)
    taken = _ALWAYS.union(*(takes for _, takes in takers))
    for letter in values:
        users = [name for name, takes in takers if letter in takes]
        if len(users) > 1:
            both = " or ".join(users)
            raise block.error(
                f"{letter} may be that of {both}, both in force here; expected one at a time",
                letter,
            )
    if words.accepted:
        _check_accepted(block, words)
        taken = taken.union("PQREL")
    for letter in [k for k in values if k not in taken]:
        if letter in accept:
            words.accepted.append(letter)
            continue
        raise _unused(block, letter, motion, cycle)


def _takers(words: Words, motion: int | None) -> list[tuple[str, str]]:
    """Return each word of a block, the motion in force too, and the letters that it takes."""
    codes = dict.fromkeys(words.g.values())
    if motion is not None:
        codes[motion] = None
    found = [(g_name(code), G_TAKES.get(code, "")) for code in codes]
    return found + [(f"M{code}", M_TAKES.get(code, "")) for code in words.m.values()]


def _check_accepted(block: Block, words: Words) -> None:
    """Refuse an axis beside a word that the job calls harmless: it may be what the word moves."""
    axes = words.values.keys() & frozenset("XYZABCUVW")
    strange = [w for w in words.accepted if w[0] == "G"]
    if axes and strange and "motion" not in words.g:
        letter = min(axes)
        raise block.error(
            f"{letter} beside {strange[0]}, which the job accepts as harmless, may be its own; "
            "expected it in another block",
            letter,
        )


def _unused(block: Block, letter: str, motion: int | None, cycle: int | None) -> ReadError:
    if cycle is not None and letter in G_TAKES[cycle]:
        return block.error(
            f"{letter} of {g_name(cycle)} without X, Y or Z: some controls drill there, others "
            f"keep it for the next hole; expected {letter} in the block of a hole",
            letter,
        )
    if letter in "UVW":
        return block.error("further axes are not handled; expected X, Y and Z", letter)
    if letter == "P" and motion in (20, 30):
        return block.error(
            "P (turns of an arc) is not handled; expected one move for each full circle", "P"
        )
    if letter == "H":
        return block.error("H without G43 in the same block; expected G43 H", "H")
    if letter == "D":
        return block.error("D without G41 or G42 in the same block; expected G41 D", "D")
    users = [g_name(c) for c, takes in G_TAKES.items() if letter in takes and c not in CYCLES]
    users += [f"M{code}" for code, takes in M_TAKES.items() if letter in takes]
    if any(letter in G_TAKES.get(code, "") for code in CYCLES):
        users.append("a cycle")
    if not users or letter == "E":
        return block.error(f"{letter} words are not handled; expected X, Y and Z", letter)
    listed = " or ".join(filter(None, [", ".join(users[:-1]), users[-1]]))
    return block.error(f"{letter} has no use here; expected it with {listed}", letter)


def first_place(block: Block, letters: str) -> int | None:
    """Return the place of the first word with the first of these letters that the block has."""
    found = (i for a in letters for i, word in enumerate(block.words) if word[0] == a)
    return next(found, None)


def place_of_g(block: Block, code: int) -> int | None:
    """Return the place of the G word of a code (times ten)."""
    found = (i for i, w in enumerate(block.words) if w[0] == "G" and g_code(w[1]) == code)
    return next(found, None)
