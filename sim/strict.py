"""Strict TOML: read a file, check it against a model, and say all that is wrong at once.

Used by the job file, the shared tool file and the pass list. A model derives from `Strict`; its
lengths are `Length`, `PositiveLength` or `NonNegativeLength`, millimetres once read; its points are
`Point2` and `Point3`. Checks that take more than one key go through `Problems`.

Key paths are written as people read them, items counted from 1: ``tools[2].diameter`` is the
diameter of the second tool in the file.
"""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Final, Literal, TypeVar, Union, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    WithJsonSchema,
)
from pydantic_core import ErrorDetails, PydanticCustomError

from .errors import BadInput, Fault, JobError, closest
from .tomlfile import LIMIT_BYTES, clean, key_path, load_toml, say_value
from .units import Unit, length_mm

__all__ = [
    "LENGTH_SCHEMA",
    "LIMIT_BYTES",
    "Length",
    "NonNegativeLength",
    "Point2",
    "Point3",
    "PositiveLength",
    "Problems",
    "Strict",
    "clean",
    "key_path",
    "load_toml",
    "say_value",
    "validate",
]

M = TypeVar("M", bound=BaseModel)


class Strict(BaseModel):
    """A table of a TOML file: no unknown keys, no conversions, no NaN or infinity, read only."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Problems:
    """Collects what is wrong with one file, so that a person sees all of it at once.

    Parameters
    ----------
    shown : str
        The file as the person named it.
    """

    def __init__(self, shown: str) -> None:
        self.shown = clean(shown, 300)
        self.found: list[tuple[str, str]] = []

    def add(self, key: Sequence[str | int] | str, text: str) -> None:
        """Note that `text` is wrong at `key` (a key path, or its parts with indices from 0)."""
        path = key if isinstance(key, str) else key_path(key)
        if (path, text) not in self.found:
            self.found.append((path, text))

    def check(self) -> None:
        """Raise one `JobError` for all that was noted, if anything was."""
        if not self.found:
            return
        if len(self.found) == 1:
            path, text = self.found[0]
            raise JobError(text, file=self.shown, key=path)
        rows = "".join(f"\n  {p}: {t}" if p else f"\n  {t}" for p, t in self.found)
        raise JobError(f"{len(self.found)} problems:{rows}", file=self.shown)


# ---------------------------------------------------------------------------------------- lengths


def _length(value: Any, info: ValidationInfo) -> float:
    unit: Unit = (info.context or {}).get("unit", "mm")
    if not isinstance(value, bool | int | float | str):
        text = f'{say_value(value)} is not a length; write a number or a text such as "12.5 thou"'
        raise PydanticCustomError("length", "{text}", {"text": text})
    try:
        return length_mm(value, unit)
    except BadInput as error:
        raise PydanticCustomError("length", "{text}", {"text": clean(error, 300)}) from None


def _positive(value: Any, info: ValidationInfo) -> float:
    length = _length(value, info)
    if length <= 0:
        text = f"{say_value(value)} is not above 0"
        raise PydanticCustomError("length", "{text}", {"text": text})
    return length


def _non_negative(value: Any, info: ValidationInfo) -> float:
    length = _length(value, info)
    if length < 0:
        text = f"{say_value(value)} is below 0"
        raise PydanticCustomError("length", "{text}", {"text": text})
    return length


def _length_schema(sign: str, says: str, **limit: float) -> dict[str, Any]:
    units = 'in|inch|inches|"|thou|tenths?|mm|cm|m|um|\u00b5m|\u03bcm'
    number = r"(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?"
    return {
        "anyOf": [
            {"type": "number", **limit},
            {"type": "string", "pattern": rf"^\s*{sign}{number}\s*({units})?\s*$"},
        ],
        "description": f"A length{says}: a number in the job's unit, or a text with its own "
        'unit such as "0.0125in", "12.5 thou", "2 tenths", "12.7mm", "40um".',
    }


LENGTH_SCHEMA: Final = _length_schema("[-+]?", "")
"""JSON Schema of a length, for a table whose keys are free."""

Length = Annotated[float, BeforeValidator(_length), WithJsonSchema(LENGTH_SCHEMA)]
"""A length, mm once read."""
PositiveLength = Annotated[
    float,
    BeforeValidator(_positive),
    WithJsonSchema(_length_schema(r"\+?", " above 0", exclusiveMinimum=0)),
]
"""A length above 0, mm once read."""
NonNegativeLength = Annotated[
    float,
    BeforeValidator(_non_negative),
    WithJsonSchema(_length_schema(r"[-+]?", ", 0 or more", minimum=0)),
]
"""A length of 0 or more, mm once read."""
Point2 = Annotated[tuple[Length, Length], Field(strict=False)]
"""[x, y], mm once read. TOML has lists only; strictness would ask for a tuple."""
Point3 = Annotated[tuple[Length, Length, Length], Field(strict=False)]
"""[x, y, z], mm once read."""


# -------------------------------------------------------------------------------------- the model


def validate(model: type[M], data: dict[str, Any], *, shown: str, unit: Unit) -> M:
    """Check a file's tables against a model.

    Parameters
    ----------
    model : type
        A `Strict` model.
    data : dict
        What `load_toml` read.
    shown : str
        The file as the person named it.
    unit : {'in', 'mm'}
        Unit of bare lengths.

    Returns
    -------
    M
        The model, lengths in millimetres.

    Raises
    ------
    JobError
        One error that lists every problem: key path, value, what is allowed, the closest key.
    """
    try:
        return model.model_validate(data, context={"unit": unit})
    except ValidationError as error:
        found = _by_place(error, model)
    problems = Problems(shown)
    for place, texts in found.items():
        problems.add(place, ", nor ".join(texts))
    problems.check()
    raise Fault(f"{shown}: the check of its keys failed and named nothing")


def _by_place(
    error: ValidationError, model: type[BaseModel]
) -> dict[tuple[str | int, ...], list[str]]:
    """Return what is wrong at each place, without the members of a union that nobody meant."""
    details = [(_place(d, model), d) for d in error.errors(include_url=False)]
    found: dict[tuple[str | int, ...], list[str]] = {}
    for place, detail in details:
        deeper = any(len(p) > len(place) and p[: len(place)] == place for p, _ in details)
        if deeper and detail["type"].endswith("_type"):
            continue  # of "text or list" it is a list, with an error inside
        text = _say(detail, model)
        texts = found.setdefault(place, [])
        if texts:
            text = text.removeprefix(f"{say_value(detail['input'])} is not ")
        if text not in texts:
            texts.append(text)
    return found


def _place(detail: ErrorDetails, model: type[BaseModel]) -> tuple[str | int, ...]:
    """Return the keys that lead to an error, without the names of a union's members."""
    loc, kind = detail["loc"], detail["type"]
    is_key, _ = _follow(model, loc)
    if kind == "extra_forbidden":
        is_key[-1] = True
    elif kind == "missing" and isinstance(loc[-1], int):
        is_key[-1] = False  # an item that a list lacks: the list is too short
    parts = [part for part, key in zip(loc, is_key, strict=True) if key]
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        parts.append(str(detail.get("ctx", {})["discriminator"]).strip("'"))
    return tuple(parts)


def _say(detail: ErrorDetails, model: type[BaseModel]) -> str:
    """Return one error in plain words: the value, what is allowed, the closest."""
    kind, context, value = detail["type"], detail.get("ctx", {}), say_value(detail["input"])
    if kind == "extra_forbidden":
        keys = _keys(model, detail["loc"][:-1])
        guess = closest(str(detail["loc"][-1]), keys)
        return f"unknown key; allowed here: {', '.join(keys)}{guess}"
    if kind == "missing" and isinstance(detail["loc"][-1], int):
        return f"{value} is too short; item {detail['loc'][-1] + 1} is missing"
    if kind in ("missing", "union_tag_not_found"):
        return "is missing" + _needs(detail, model)
    if kind == "literal_error":
        allowed = _literals(str(context["expected"]))
        return f"{value} is not allowed; allowed: {', '.join(allowed)}{_guess(detail, allowed)}"
    if kind == "union_tag_invalid":
        allowed = _literals(str(context["expected_tags"]))
        tag = f'"{clean(context["tag"], 60)}"'
        return f"{tag} is not allowed; allowed: {', '.join(allowed)}" + closest(
            str(context["tag"]), allowed
        )
    if kind in _KINDS:
        return f"{value} " + _KINDS[kind].format_map(_context(context))
    if kind == "value_error":
        return clean(context.get("error", detail["msg"]), 300)
    text = re.sub(r"^Input should be", "must be", clean(detail["msg"], 300))
    return f"{value} {text}" if text.startswith("must be") else text


def _context(context: Mapping[str, Any]) -> dict[str, str]:
    return {k: f"{v:g}" if isinstance(v, float) else clean(v) for k, v in context.items()}


_KINDS: Final = {
    "float_type": "is not a number",
    "float_parsing": "is not a number",
    "finite_number": "is not a number that can be used",
    "int_type": "is not a whole number",
    "int_parsing": "is not a whole number",
    "int_from_float": "is not a whole number",
    "int_parsing_size": "is too large",
    "bool_type": "is not allowed; write true or false",
    "string_type": "is not a text; a text stands in quotes",
    "string_too_short": "is too short; at least {min_length} characters",
    "string_too_long": "is too long; at most {max_length} characters",
    "list_type": "is not a list in [ ]",
    "tuple_type": "is not a list in [ ]",
    "dict_type": "is not a table",
    "model_type": "is not a table",
    "model_attributes_type": "is not a table",
    "too_short": "has {actual_length} items; at least {min_length} are needed",
    "too_long": "has {actual_length} items; at most {max_length} are allowed",
    "greater_than": "is not above {gt}",
    "greater_than_equal": "is below {ge}",
    "less_than": "is not below {lt}",
    "less_than_equal": "is above {le}",
}
"""Plain words for the checks that pydantic makes."""


def _literals(expected: str) -> list[str]:
    """Return the values in a list such as ``'a', 'b' or 'c'``."""
    return re.findall(r"'([^']*)'", expected) or re.split(r", | or ", expected)


def _guess(detail: ErrorDetails, allowed: list[str]) -> str:
    value = detail["input"]
    return closest(value, allowed) if isinstance(value, str) else ""


def _needs(detail: ErrorDetails, model: type[BaseModel]) -> str:
    """Return what a missing key is, from the description in its model."""
    name = str(detail["loc"][-1])
    for owner in _models(model, detail["loc"][:-1]):
        for key, field in owner.model_fields.items():
            if (field.alias or key) == name and field.description:
                return f": {field.description}"
    return ""


def _keys(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    """Return the keys that a table takes, in the order of its model."""
    fields = [item for owner in _models(model, loc) for item in owner.model_fields.items()]
    return list(dict.fromkeys(field.alias or key for key, field in fields))


def _models(model: type[BaseModel], loc: Sequence[str | int]) -> list[type[BaseModel]]:
    """Return the models that a place in a file may be checked against."""
    return [a for a in _follow(model, loc)[1] if _is_model(a)]


def _follow(model: type[BaseModel], loc: Sequence[str | int]) -> tuple[list[bool], list[Any]]:
    """Return which parts of an error's place are keys, and what the last may be checked against.

    A part that is no key is the name of a union's member: a table's ``shape``, or a type.
    """
    is_key: list[bool] = []
    here: list[Any] = [model]
    for part in loc:
        members = [a for a in here if _is_model(a)]
        # In a union of tables the member comes first, also where a key has the same name.
        named = [a for a in members if part in _tags(a)] if len(members) > 1 else []
        step = [] if named else [a for annotation in here for a in _step(annotation, part)]
        is_key.append(bool(step))
        here = [a for annotation in step for a in _flat(annotation)] or named or here
    return is_key, here


def _is_model(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _flat(annotation: Any) -> list[Any]:
    """Return the members of a union, through annotations."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _flat(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        return [a for member in get_args(annotation) for a in _flat(member)]
    return [annotation]


def _step(annotation: Any, part: str | int) -> list[Any]:
    """Return what stands under a key or an index."""
    if _is_model(annotation):
        fields = typing.cast(type[BaseModel], annotation).model_fields
        return [f.annotation for key, f in fields.items() if (f.alias or key) == part]
    members = [a for a in get_args(annotation) if a is not Ellipsis]
    origin = get_origin(annotation)
    if origin in (list, tuple) and isinstance(part, int):
        return members
    if origin is dict and isinstance(part, str):
        return members[1:]
    return []


def _tags(annotation: Any) -> set[Any]:
    """Return the words by which a union may choose this member."""
    if not _is_model(annotation):
        return set()
    fields = typing.cast(type[BaseModel], annotation).model_fields.values()
    words = [f.annotation for f in fields if get_origin(f.annotation) is Literal]
    return {annotation.__name__} | {value for word in words for value in get_args(word)}
