"""What a setup says of its control: choices of dialect, words declared harmless, parameters."""

from __future__ import annotations

import dataclasses
import re
import typing
from collections.abc import Mapping
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, Field, WithJsonSchema, create_model

from .dialect import Dialect
from .jobfile_words import Text, problem
from .strict import Strict, say_value

__all__ = ["AcceptTable", "ControlTable", "ParameterTable", "dialect_of", "parameters_of"]

_SAYS: Final = {
    "arc_centers": "I, J, K from the arc's start, or from the work zero (until G90.1 or G91.1)",
    "home_axes": "G28 and G30 bring the named axes home, or all after the way point",
    "cycle_r_in_g91": "in G91 a cycle's R counts from the tool, or from the height before it",
    "cycle_levels": "a cycle's Z and R once G90 and G91 change: refused, kept, or counted anew",
    "cycle_repeats_0": "L0 or K0 of a cycle: refused, or it stores the words and drills nothing",
    "unset": "a parameter never set: refused, 0, or vacant (its word left out, 0 in arithmetic)",
    "system_parameters": "#1000 to #5160: refused unless the program sets them, or free",
    "fix": "FIX and FUP of a negative number: FIX[-2.8] is -3 (down) or -2 (to_zero)",
    "logic": "AND, OR, XOR of numbers: of their truth, or of their bits",
    "g10_in_g91": "G10 L2 under G91: refused, sets the zero, or adds to it",
    "turn_center": "G68 or G51 without a centre: refused, where the tool is, or the work zero",
    "scale_whole": "G51 P2 without a point: refused, 2, or 0.002",
    "call_repeats": "M98 repeats by the word L, or by the digits of P before its last four",
    "rotary": "feed moves while A, B or C is not 0: refused, or read as if it were",
    "compensation": "G41 and G42 as most controls have them, or as NISTIR 6556",
    "outside_corner": "under G41 and G42 outside corners by an arc, or to the intersection",
    "inside_corner": "under G41 and G42 inside corners to the intersection, or refused",
    "d_holds": "D holds the tool's radius, or the wear alone, on the path of the tool's centre",
}


def _control_table() -> type[Strict]:
    kinds = typing.get_type_hints(Dialect)
    fields: dict[str, Any] = {
        field.name: (kinds[field.name], Field(default=field.default, description=_SAYS[field.name]))
        for field in dataclasses.fields(Dialect)
    }
    doc = "Where controls differ in what moves: one choice each."
    return create_model("ControlTable", __base__=Strict, __doc__=doc, **fields)


ControlTable: Final = _control_table()
"""One key for each choice of `Dialect`."""

_WORD: Final = re.compile(r"([GM])0*(\d{1,4}(?:\.\d)?)|[EUVW]", re.ASCII)


def _accept(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    from .program.modal import G_GROUP, M_GROUP, g_code  # only where a job has such words

    found: dict[str, Any] = {}
    for word, reason in value.items():
        match = _WORD.fullmatch(word.upper())
        if not match:
            text = f"{say_value(word)} is not a word; write one such as M41 or G66, and a reason"
            raise problem(text)
        name = f"{match[1]}{float(match[2]):g}" if match[1] else match[0]
        acted = (match[1] == "G" and g_code(match[2]) in G_GROUP) or (
            match[1] == "M" and float(match[2]) in M_GROUP
        )
        if acted:
            raise problem(f"{name} is a word that is read anyway; leave it out")
        found[name] = reason
    return found


_ACCEPT_SCHEMA: Final = WithJsonSchema(
    {
        "type": "object",
        "patternProperties": {r"^([GM][0-9]+(\.[0-9])?|[EUVW])$": {"type": "string"}},
        "additionalProperties": False,
    }
)
AcceptTable = Annotated[dict[str, Text], BeforeValidator(_accept), _ACCEPT_SCHEMA]
"""Word that the reader refuses -> why it is harmless on this machine."""


def _parameters(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    for key in value:
        if not re.fullmatch(r"[1-9]\d{0,3}", key, re.ASCII) or int(key) > 5060:
            raise problem(f"{say_value(key)} is no parameter; write a number from 1 to 5060")
    return value


_PARAMETER_SCHEMA: Final = WithJsonSchema(
    {
        "type": "object",
        "patternProperties": {"^[1-9][0-9]{0,3}$": {"type": "number"}},
        "additionalProperties": False,
    }
)
_Number = Annotated[float, Field(ge=-1e9, le=1e9)]
ParameterTable = Annotated[dict[str, _Number], BeforeValidator(_parameters), _PARAMETER_SCHEMA]
"""Number of a parameter -> its value before the program begins."""


def dialect_of(table: Strict) -> Dialect:
    """Return the choices of a control table."""
    return Dialect(**table.model_dump())


def parameters_of(table: Mapping[str, float]) -> dict[int, float]:
    """Return parameters by number."""
    return {int(key): value for key, value in table.items()}
