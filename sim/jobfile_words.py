"""What the values of a job file and a tool file may be, and the one list of words for tools."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from .errors import closest
from .shapes import OWN_WORDS
from .shapes import SHAPES as _SHAPES
from .shapes.base import Word
from .strict import NonNegativeLength, PositiveLength, clean, say_value
from .units import UNITS

__all__ = [
    "OF_SOME",
    "SHAPES",
    "WORDS",
    "Cylinder",
    "FormatNumber",
    "ShapeWord",
    "Text",
    "UnitWord",
    "Word",
    "problem",
    "users",
]

SHAPES: Final = tuple(_SHAPES)
"""Shapes that can be cut with."""

# ------------------------------------------------------------------------------- kinds of value


def problem(text: str) -> PydanticCustomError:
    """Return an error for a validator to raise, with `text` as it is."""
    return PydanticCustomError("said", "{text}", {"text": text})


def _text(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    shown = clean(value, 200).strip()
    if not shown:
        raise problem("is an empty text; write a name or leave the key out")
    return shown


def _format(value: Any) -> Any:
    if type(value) is not int or value != 1:
        raise problem(f"{say_value(value)} is not known; write format = 1 or leave it out")
    return value


def _shape(value: Any) -> Any:
    if value in SHAPES or not isinstance(value, str):
        return value
    guess = closest(value, SHAPES)
    allowed = ", ".join(SHAPES)
    raise problem(f"{say_value(value)} is not a tool's shape; allowed: {allowed}{guess}")


def _unit(value: Any) -> Any:
    if value in UNITS:
        return value
    guess = closest(value, UNITS) if isinstance(value, str) else ""
    raise problem(f'{say_value(value)} is not allowed; write "in" or "mm"{guess}')


Text = Annotated[str, BeforeValidator(_text)]
"""A name for people: one line, no control characters, not empty."""
FormatNumber = Annotated[int, BeforeValidator(_format), WithJsonSchema({"const": 1})]
"""Version of the file's format: 1."""
UnitWord = Annotated[
    str, BeforeValidator(_unit), WithJsonSchema({"type": "string", "enum": list(UNITS)})
]
"""``"in"`` or ``"mm"``."""
ShapeWord = Annotated[
    str, BeforeValidator(_shape), WithJsonSchema({"type": "string", "enum": list(SHAPES)})
]
Cylinder = Annotated[tuple[PositiveLength, PositiveLength], Field(strict=False)]


# -------------------------------------------------------------------------------------- the words


_Angle90 = Annotated[float, Field(gt=0, le=90)]
_Angle180 = Annotated[float, Field(gt=0, le=180)]
_Count = Annotated[int, Field(ge=1, le=1000)]

_COMMON: Final[dict[str, Word]] = {
    "diameter": Word("DC", ("diameter",), PositiveLength, "cutting diameter; its largest"),
    "corner_radius": Word("RE", ("corner_radius",), NonNegativeLength, "corner radius"),
    "cutting_length": Word(
        "APMX",
        ("flute_length", "cutting_length"),
        PositiveLength,
        "length of the cutting part from the tip; left out, the cutting part has no end",
    ),
    "neck_diameter": Word("DN", ("neck_diameter",), PositiveLength, "diameter of the neck"),
    "usable_length": Word(
        "LU",
        ("usable_length", "neck_length"),
        PositiveLength,
        "length from the tip that can go into the work: to the end of the straight neck",
    ),
    "head_length": Word(
        "LH", ("head_length",), PositiveLength, "length from the tip to where the shank begins"
    ),
    "shank_diameter": Word("DMM", ("shank", "shank_diameter"), PositiveLength, "shank diameter"),
    "stickout": Word(
        "LPR", ("stickout",), PositiveLength, "length from the tip to the holder's face"
    ),
    "overall_length": Word("OAL", ("overall_length",), PositiveLength, "overall length"),
    "flutes": Word("ZEFF", ("flutes",), _Count, "number of cutting edges"),
    "ramp_angle": Word(
        "RMPX",
        ("ramp_angle",),
        _Angle90,
        "degrees; the steepest ramp down into metal that the tool takes",
        angle=True,
    ),
    "center_cutting": Word(
        "",
        ("center_cutting",),
        Annotated[bool, Field(strict=True)],
        "true: its edges reach the axis, so it may go straight down into metal; false: it may not",
    ),
    "edge_angle": Word(
        "KAPR",
        ("edge_angle",),
        _Angle90,
        "degrees from a plane across the axis to the cutting edge; 45 is 90 included",
        angle=True,
    ),
    "point_angle": Word(
        "SIG", ("point_angle",), _Angle180, "included point angle in degrees", angle=True
    ),
    "tip_diameter": Word(
        "",
        ("tip_diameter", "tip"),
        NonNegativeLength,
        "diameter of the flat end of a tool that is wider above it, 0 for a point",
    ),
}
"""Words that several shapes have, or all; RMPX from memory of ISO 13399.

LU and LH (from memory of ISO 13399): LU ends where the straight neck ends, LH where the shank
begins. Both set `Tool.neck_length`; given both, LU does, since between them the tool widens by an
amount that isn't given, and a shank that begins at LU never hides a rub.
"""
OF_SOME: Final = (
    "corner_radius",
    "edge_angle",
    "point_angle",
    "tip_diameter",
    *OWN_WORDS,
)
"""Words about the cutting part: each is for some shapes alone."""


def users(name: str, *, needing: bool = False) -> str:
    """Return the shapes that take a word, or need it, as ``a bull, a drill or a tap``."""
    found = [s.called for s in _SHAPES.values() if (name in s.needs if needing else s.takes(name))]
    return " or ".join([", ".join(found[:-1]), found[-1]] if len(found) > 1 else found)


def _completed(name: str, word: Word) -> Word:
    """Return a word that says of itself which shapes need it and which take it."""
    if name not in OF_SOME:
        return word
    needing, taking = users(name, needing=True), users(name)
    says = word.says + (f"; needed for {needing}" if needing else "")
    return dataclasses.replace(word, says=says + (f"; for {taking}" if taking != needing else ""))


WORDS: Final = {name: _completed(name, word) for name, word in {**_COMMON, **OWN_WORDS}.items()}
"""Every length, angle and count of a tool: what it is called inside, and by its keys in a file."""
