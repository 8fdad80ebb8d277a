"""Calls: M98, M97, M99 and G65, the arguments of a macro, and where called programs are found.

ISO 6983 and common practice, from memory; NISTIR 6556 has no subprograms.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Final, Literal

from .lexer import Block, Source, decode
from .words import Values, check_length, whole

__all__ = ["Jump", "Library", "call_of", "macro_call", "return_of"]

FILE_LIMIT: Final = 100_000_000
"""Largest program file that is called, bytes."""
REPEAT_LIMIT: Final = 9999
_ENDINGS: Final = ("", ".nc", ".cnc", ".tap", ".ngc", ".txt", ".iso", ".prg")
_ARGUMENT: Final = {
    **dict(zip("ABCDEFH", (1, 2, 3, 7, 8, 9, 11), strict=True)),
    **dict(
        zip("IJKMQRSTUVWXYZ", (4, 5, 6, 13, 17, 18, 19, 20, 21, 22, 23, 24, 25, 26), strict=True)
    ),
}
"""Letter -> local parameter."""


@dataclasses.dataclass(frozen=True)
class Jump:
    """Where the program goes on.

    Attributes
    ----------
    kind : {'end', 'call', 'local', 'return'}
        End; an O number; an N number of this program, until M99; back to the caller.
    number : int
        O or N number; of a return, the N number in the caller, 0 for the block after the call.
    repeats : int
    arguments : mapping of int to float, optional
        Of G65: the local parameters of the macro.
    """

    kind: Literal["end", "call", "local", "return"]
    number: int = 0
    repeats: int = 1
    arguments: Mapping[int, float] | None = None


def _repeats(block: Block, values: Mapping[str, float]) -> int:
    if "L" not in values:
        return 1
    repeats = whole(block, dict(values), "L", 1)
    if repeats > REPEAT_LIMIT:
        raise block.error(f"L is more than {REPEAT_LIMIT}; expected fewer repeats", "L")
    return repeats


def call_of(block: Block, values: Values, *, local: bool, digits: bool) -> Jump:
    """Return the jump of M98, or of M97 (`local`); `digits`: repeats stand in P."""
    word = "M97" if local else "M98"
    if "P" not in values:
        what = "the N number of a block" if local else "the number of a subprogram"
        raise block.error(f"{word} without P; expected {what}", "M")
    number, repeats = whole(block, values, "P", 1), _repeats(block, values)
    if digits and not local and number > 9999 and "L" not in values:
        repeats, number = divmod(number, 10000)
        if repeats > REPEAT_LIMIT or not number:
            raise block.error(
                "P calls no subprogram; expected its number in the last 4 digits", "P"
            )
    return Jump("local" if local else "call", number, repeats)


def return_of(block: Block, values: Values) -> Jump:
    """Return the jump of M99."""
    return Jump("return", whole(block, values, "P", 1) if "P" in values else 0)


def macro_call(block: Block) -> Jump:
    """Return the jump of G65: P, L, and a letter for each argument.

    A, B, C, D, E, F, H, I, J, K, M and Q to Z set #1 to #26. Where I, J or K come more than once
    they are the second way of writing: I, J, K set #4, #5, #6, the next I, J, K #7, #8, #9, and
    so on up to #33 (both common practice, no source).
    """
    called: dict[str, float] = {}
    arguments: dict[int, float] = {}
    words = [(i, w) for i, w in enumerate(block.words) if i or w[0] != "N"]
    triples = any(sum(w[0] == letter for _, w in words) > 1 for letter in "IJK")
    group, last = 0, -1
    for index, (letter, text) in words:
        check_length(block, letter, text)
        value = float(text)
        if letter == "G" and round(10 * value) == 650 and "G" not in called:
            called["G"] = value
        elif letter in "PL" and letter not in called:
            called[letter] = value
        elif letter in "IJK" and triples:
            place = "IJK".index(letter)
            group, last = (group + 1 if place <= last else group), place
            if group > 9:
                raise block.error("more than ten sets of I, J, K; expected fewer", index=index)
            arguments[4 + 3 * group + place] = value
        elif letter in _ARGUMENT and (triples or _ARGUMENT[letter] not in arguments):
            arguments[_ARGUMENT[letter]] = value
        else:
            raise block.error(
                f"{letter}{text} beside G65; expected P, L and one word for each argument",
                index=index,
            )
    if "P" not in called:
        raise block.error("G65 without P; expected the number of the macro", "G")
    number = whole(block, called, "P", 1)
    return Jump("call", number, _repeats(block, called), arguments)


class Library:
    """Finds called programs: in a file that is open, else in the job's one folder.

    Nothing outside that folder is ever opened, also not through a link.
    """

    def __init__(self, folder: Path | None, main_ending: str) -> None:
        self._folder = None if folder is None else folder
        self._endings = tuple(dict.fromkeys((*_ENDINGS, main_ending)))
        self._read: dict[int, Source | None] = {}

    def find(self, number: int, sources: list[Source]) -> tuple[Source, int, int] | None:
        """Return the file and the lines (first, stop; indices) of an O number.

        Raises
        ------
        ValueError
            More than one; the text says where.
        """
        for source in sources:
            places = source.programs().get(number, [])
            if len(places) > 1:
                raise ValueError(
                    f"O{number} is in {source.shown} more than once (lines "
                    f"{', '.join(str(p + 1) for p in places[:5])})"
                )
            if places:
                return source, places[0], source.end_of(places[0])
        opened = self._open(number)
        if opened is None:
            return None
        places = opened.programs().get(number, [])
        if len(places) > 1:
            raise ValueError(f"O{number} is in {opened.shown} more than once")
        if places:
            return opened, places[0], opened.end_of(places[0])
        if opened.programs():
            return None
        return opened, opened.first, opened.stop

    def _open(self, number: int) -> Source | None:
        if number not in self._read:
            self._read[number] = self._load(number)
        return self._read[number]

    def _load(self, number: int) -> Source | None:
        if self._folder is None:
            return None
        found: dict[Path, Path] = {}
        for path in self._candidates(number):
            try:
                real = path.resolve()
                inside = real.is_relative_to(self._folder.resolve())
                if inside and real.is_file() and real.stat().st_size <= FILE_LIMIT:
                    found.setdefault(real, path)
            except (OSError, RuntimeError, ValueError):
                continue
        if len(found) > 1:
            names = ", ".join(p.name for p in found.values())
            raise ValueError(f"O{number} may be any of {names}; expected one of them")
        for real, path in found.items():
            try:
                return Source(decode(real.read_bytes(), path.name), path.name)
            except OSError:
                return None
        return None

    def _candidates(self, number: int) -> list[Path]:
        assert self._folder is not None
        stems = dict.fromkeys(
            f"{letter}{digits}"
            for letter in ("O", "o", "")
            for digits in (str(number), f"{number:04d}")
        )
        return [
            self._folder / f"{stem}{ending}"
            for stem in stems
            for e in self._endings
            for ending in dict.fromkeys((e, e.upper()))
        ]
