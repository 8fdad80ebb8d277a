"""Modal groups of G and M words (NISTIR 6556 Table 4) and the state that they set.

The groups come from `table`. Where ours differ from the document's: G80 has a group of its own,
since "G0 G17 G40 G49 G80 G90" opens many posted programs, and wherever G80 meets G0 to G3 in a
line it can only mean "no cycle from here on"; M7 and M8 are no rivals in a line.
"""

from __future__ import annotations

import dataclasses
from typing import Final

from .table import G_ROWS, M_ROWS

__all__ = [
    "CYCLES",
    "G_GROUP",
    "G_NOTED",
    "G_TAKES",
    "M_GROUP",
    "M_NOTED",
    "M_TAKES",
    "Modal",
    "g_code",
    "g_name",
    "refusal_of_g",
    "refusal_of_m",
]

CYCLES: Final = frozenset({730, 740, 760, *range(810, 891, 10)})
"""Canned cycles, as ten times their G number."""


def _code(word: str) -> int:
    return round(10 * float(word[1:]))


G_GROUP: Final[dict[int, str]] = {_code(r.word): r.group for r in G_ROWS if r.use != "refused"}
"""Ten times the G number -> the name of its modal group; codes that are not here are refused."""
G_TAKES: Final = {_code(r.word): r.takes for r in G_ROWS if r.takes}
G_NOTED: Final = frozenset(_code(r.word) for r in G_ROWS if r.use == "noted")
M_GROUP: Final[dict[int, str]] = {_code(r.word) // 10: r.group for r in M_ROWS}
"""M number -> the name of its modal group; numbers that are not here are refused."""
M_TAKES: Final = {_code(r.word) // 10: r.takes for r in M_ROWS if r.takes}
M_NOTED: Final = frozenset(_code(r.word) // 10 for r in M_ROWS if r.use == "noted")

_REFUSED: Final = {_code(r.word): r.why for r in G_ROWS if r.use == "refused"}
_GIVEN: Final = {str(code // 10): code for code in G_GROUP if code % 10 == 0}
_G_TEXT: Final = {**_GIVEN, **{f"0{text}": code for text, code in _GIVEN.items() if len(text) == 1}}
WHOLE_TOLERANCE: Final = 1e-4
"""A number this near to a whole one is whole (NISTIR 6556 3.3.2.1)."""


@dataclasses.dataclass(slots=True)
class Modal:
    """What stays in force from block to block, as at the start of a program.

    Attributes
    ----------
    motion : int or None
        Ten times the G number of the motion in force; None at the start and after G80.
    plane : int
        170, 180 or 190.
    absolute, centers_absolute, retract_to_initial : bool
        G90, G90.1, G98.
    feed_mode : int
        930, 940 or 950.
    work_offset : int
        Ten times the G number.
    h_register : int
        H under G43; 0 under G49.
    surface : bool
        G96.
    side : int
        400, 410 or 420: cutter compensation.
    """

    motion: int | None = None
    plane: int = 170
    absolute: bool = True
    centers_absolute: bool = False
    feed_mode: int = 940
    retract_to_initial: bool = True
    work_offset: int = 540
    h_register: int = 0
    surface: bool = False
    side: int = 400

    def says(self, unit: str) -> str:
        """Return what is in force, as people write it."""
        words = [
            "no motion" if self.motion is None else g_name(self.motion),
            g_name(self.plane),
            "G90" if self.absolute else "G91",
            "G20" if unit == "in" else "G21",
            g_name(self.work_offset),
        ]
        if self.centers_absolute:
            words.append("G90.1")
        if self.side != 400:
            words.append(g_name(self.side))
        return " ".join(words)


def g_code(text: str) -> int:
    """Return ten times the number of a G word; -1 for one that is no G number."""
    known = _G_TEXT.get(text)
    if known is not None:
        return known
    value = 10 * float(text)
    if not abs(value) < 1e6:
        return -1
    code = round(value)
    return code if abs(value - code) <= 10 * WHOLE_TOLERANCE else -1


def g_name(code: int) -> str:
    """Return the G word of a code: ``G2`` for 20, ``G59.1`` for 591."""
    return f"G{code // 10}.{code % 10}" if code % 10 else f"G{code // 10}"


def refusal_of_g(text: str) -> str:
    """Return why a G word that is in no group is refused, and what was expected."""
    why = _REFUSED.get(g_code(text))
    if why:
        return f"G{text} is not handled ({why}); expected the moves written out"
    return (
        f"G{text} is not known here, and may change the path; expected a G word of the standard, "
        "or the word and a reason in the setup's accept if it is harmless"
    )


def refusal_of_m(text: str) -> str:
    """Return why an M word that is in no group is refused, and what was expected."""
    return (
        f"M{text} is not known here, and may move the machine; expected M0 to M9, M19, M30, M48, "
        "M49, M60, M98 or M99, or the word and a reason in the setup's accept if it is harmless"
    )
