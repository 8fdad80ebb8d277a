"""Modal groups of G and M words (NISTIR 6556 Table 4) and the state that they set."""

from __future__ import annotations

import dataclasses
from typing import Final

__all__ = [
    "CYCLES",
    "G_GROUP",
    "M_GROUP",
    "Modal",
    "g_code",
    "g_name",
    "refusal_of_g",
    "refusal_of_m",
]

CYCLES: Final = frozenset({810, 820, 830})
"""Canned cycles that are built, as ten times their G number."""

_GROUPS: Final[dict[str, tuple[int, ...]]] = {
    "motion": (0, 10, 20, 30, *sorted(CYCLES)),
    # G80 has a group of its own here: "G0 G17 G40 G49 G80 G90" opens many posted programs, and
    # wherever G80 meets G0 to G3 in a line it can only mean "no cycle from here on".
    "cancel": (800,),
    "plane": (170, 180, 190),
    "distance": (900, 910),
    "arc distance": (911,),
    "feed mode": (940, 950),
    "units": (200, 210),
    "radius compensation": (400,),
    "length offset": (430, 490),
    "return level": (980, 990),
    "work offset": (540, 550, 560, 570, 580, 590, 591, 592, 593),
    "path": (610, 611, 640),
    "one-shot": (40, 280, 300, 530),
}
G_GROUP: Final[dict[int, str]] = {code: name for name, codes in _GROUPS.items() for code in codes}
"""Ten times the G number -> the name of its modal group; codes that are not here are refused."""

M_GROUP: Final[dict[int, str]] = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stop"),
    6: "tool change",
    **dict.fromkeys((3, 4, 5), "spindle"),
    7: "mist",  # M7 and M8 may be on together, so they are no rivals in a line
    8: "flood",
    9: "coolant off",
    **dict.fromkeys((48, 49), "overrides"),
}
"""M number -> the name of its modal group; numbers that are not here are refused."""

_G_NOT_BUILT: Final[dict[int, str]] = {
    410: "cutter compensation (G41, G42) is not built yet; expected the path of the tool's centre",
    420: "cutter compensation (G41, G42) is not built yet; expected the path of the tool's centre",
    930: "inverse time feed (G93) is not built yet; expected G94 or G95",
}
_M_NOT_BUILT: Final[dict[int, str]] = {
    97: "subprograms (M97, M98, M99) are not built yet; expected the moves written out",
    98: "subprograms (M97, M98, M99) are not built yet; expected the moves written out",
    99: "subprograms (M97, M98, M99) are not built yet; expected the moves written out",
}
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
    absolute, per_revolution, retract_to_initial : bool
        G90, G95, G98.
    work_offset : int
        Ten times the G number.
    h_register : int
        H under G43; 0 under G49.
    """

    motion: int | None = None
    plane: int = 170
    absolute: bool = True
    per_revolution: bool = False
    retract_to_initial: bool = True
    work_offset: int = 540
    h_register: int = 0


def g_code(text: str) -> int:
    """Return ten times the number of a G word; -1 for one that is no G number."""
    known = _G_TEXT.get(text)
    if known is not None:
        return known
    value = 10 * float(text)
    code = round(value)
    return code if abs(value - code) <= 10 * WHOLE_TOLERANCE else -1


def g_name(code: int) -> str:
    """Return the G word of a code: ``G2`` for 20, ``G59.1`` for 591."""
    return f"G{code // 10}.{code % 10}" if code % 10 else f"G{code // 10}"


def refusal_of_g(text: str) -> str:
    """Return why a G word that is in no group is refused, and what was expected."""
    not_built = _G_NOT_BUILT.get(g_code(text))
    return not_built or (
        f"G{text} is not known here, and may change the path; expected G0 to G4, G17 to G21, G28, "
        "G30, G40, G43, G49, G53 to G59, G61, G64, G80 to G83, G90, G91, G94, G95, G98 or G99"
    )


def refusal_of_m(text: str, code: int | None) -> str:
    """Return why an M word that is in no group is refused, and what was expected."""
    return _M_NOT_BUILT.get(-1 if code is None else code) or (
        f"M{text} is not known here, and may move the machine; expected M0 to M9, M30, M48, M49 "
        "or M60"
    )
