"""The tables of ``job.toml``, as a strict model.

The model checks each key by itself; what takes more than one key is checked in `jobfile`.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, TypeAdapter, WithJsonSchema

from .errors import closest
from .jobfile_control import AcceptTable, ControlTable, ParameterTable
from .jobfile_words import FormatNumber, Text, UnitWord, problem
from .strict import (
    LENGTH_SCHEMA,
    Length,
    NonNegativeLength,
    Point2,
    Point3,
    PositiveLength,
    Strict,
    say_value,
)
from .toolfile import ToolTable

__all__ = [
    "DIRECTIONS",
    "AccuracyTable",
    "JobFile",
    "ModelStock",
    "PartTable",
    "RoundStock",
    "SetupTable",
    "ShowTable",
    "StockTable",
    "TubeStock",
    "WorkOffsets",
    "job_schema",
]

DIRECTIONS: Final[dict[str, tuple[float, float, float]]] = {
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "+y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
    "+z": (0.0, 0.0, 1.0),
    "-z": (0.0, 0.0, -1.0),
}
"""Directions by name, part frame, from the part towards the eye."""


def _direction(value: Any) -> Any:
    words = ", ".join(DIRECTIONS)
    if isinstance(value, str):
        if value.lower() not in DIRECTIONS:
            guess = closest(value, DIRECTIONS)
            text = f"{say_value(value)} is not a direction; allowed: {words}, or [x, y, z]{guess}"
            raise problem(text)
        return DIRECTIONS[value.lower()]
    numbers = isinstance(value, list) and all(type(v) in (int, float) for v in value)
    if not numbers or len(value) != 3 or not all(abs(v) <= 1e9 for v in value):
        raise problem(f"{say_value(value)} is not a direction; allowed: {words}, or [x, y, z]")
    size = sum(float(v) ** 2 for v in value) ** 0.5
    if size < 1e-9:
        raise problem(f"{say_value(value)} points nowhere; one of its numbers must not be 0")
    return tuple(v / size for v in value)


Direction = Annotated[
    tuple[float, float, float],
    BeforeValidator(_direction),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "enum": list(DIRECTIONS)},
                {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3},
            ]
        }
    ),
]


class JobTable(Strict):
    """What the job is."""

    format: FormatNumber = Field(default=1, description="version of this format: 1")
    title: Text | None = Field(default=None, description="what people call the job")
    unit: UnitWord = Field(
        description='write unit = "in" or unit = "mm": the unit of bare numbers here and of all '
        "that people see"
    )


class _Stock(Strict):
    material: Text | None = Field(default=None, description="name of the material")


class BlockStock(_Stock):
    """A rectangular block."""

    shape: Literal["block"]
    low: Point3 = Field(description="lowest corner [x, y, z], part frame")
    high: Point3 = Field(description="highest corner [x, y, z], part frame")


class RoundStock(_Stock):
    """A round bar, its axis along Z."""

    shape: Literal["round"]
    diameter: PositiveLength = Field(description="outside diameter")
    center: Point2 = Field(
        default=(0.0, 0.0), description="axis in plan [x, y]; [0, 0] if left out"
    )
    bottom: Length = Field(description="z of the lower face")
    top: Length = Field(description="z of the upper face")


class TubeStock(RoundStock):
    """A tube, its axis along Z."""

    shape: Literal["tube"]  # type: ignore[assignment]
    bore: PositiveLength = Field(description="inside diameter")


class ModelStock(_Stock):
    """A closed mesh."""

    shape: Literal["model"]
    model: str = Field(description="file of a closed mesh, relative to this file")


StockTable = BlockStock | RoundStock | TubeStock | ModelStock


class PartTable(Strict):
    """The finished part: a model, or its top and bottom."""

    model: str | None = Field(
        default=None, description="file of the part's mesh, relative to this file"
    )
    tolerance: PositiveLength | None = Field(
        default=None, description="how far off the part may be"
    )
    top: Length | None = Field(default=None, description="z of the part's top")
    bottom: Length | None = Field(
        default=None, description="z of the part's bottom; below it is scrap"
    )


class ShowTable(Strict):
    """A side that people will look at."""

    direction: Direction | None = Field(
        default=None,
        description="from the part towards the eye: +x, -x, +y, -y, +z, -z or [x, y, z]",
    )
    face: Text | None = Field(default=None, description="name of a face of the part's model")


class GridTable(Strict):
    """The columns on which places are found."""

    pitch: PositiveLength | None = Field(default=None, description="distance between columns")
    least_width: PositiveLength | None = Field(
        default=None,
        description="levels and skims narrower than this everywhere are not listed; 0.1 thou",
    )


class AccuracyTable(Strict):
    """How near to the exact shape what has no closed form must be."""

    chord: PositiveLength | None = Field(
        default=None,
        description="how far the chords of a curve may be off it, such as the arcs in G18 and G19; "
        '"0.1um" if left out, from 0.001um to 0.1mm',
    )


class FixtureTable(Strict):
    """A jaw, stop or clamp: a box."""

    name: Text | None = Field(default=None, description="what people call it")
    low: Point3 = Field(description="lowest corner [x, y, z], part frame")
    high: Point3 = Field(description="highest corner [x, y, z], part frame")


class WorkOffsets(Strict):
    """Origins of the work offsets in the part frame."""

    G54: Point3 | None = Field(default=None, description="origin [x, y, z]; [0, 0, 0] if left out")
    G55: Point3 | None = Field(default=None, description="origin [x, y, z]")
    G56: Point3 | None = Field(default=None, description="origin [x, y, z]")
    G57: Point3 | None = Field(default=None, description="origin [x, y, z]")
    G58: Point3 | None = Field(default=None, description="origin [x, y, z]")
    G59: Point3 | None = Field(default=None, description="origin [x, y, z]")
    G59_1: Point3 | None = Field(default=None, alias="G59.1", description='written "G59.1" = ...')
    G59_2: Point3 | None = Field(default=None, alias="G59.2", description='written "G59.2" = ...')
    G59_3: Point3 | None = Field(default=None, alias="G59.3", description='written "G59.3" = ...')


class SetupTable(Strict):
    """One clamping, with its program or pass list."""

    name: Text | None = Field(default=None, description="what people call the setup")
    program: str | None = Field(default=None, description="RS-274 program, relative to this file")
    passes: str | None = Field(default=None, description="pass list (TOML), relative to this file")
    fixture: list[FixtureTable] = Field(default=[], description="jaws, stops and clamps")
    work_offsets: WorkOffsets = Field(
        default=WorkOffsets(), description="origins of G54 to G59.3 in the part frame"
    )
    home: Point3 | None = Field(default=None, description="where the tip is at the start [x, y, z]")
    block_delete: bool = Field(
        default=False, description="true: lines that begin with / are left out"
    )
    d_registers: Literal["radius", "diameter"] = Field(
        default="radius", description="what the D registers of this control hold"
    )
    control: ControlTable = Field(  # type: ignore[valid-type]
        default=ControlTable(), description="where controls differ: one choice each"
    )
    accept: AcceptTable = Field(
        default={}, description="words that the reader refuses, each with why it is harmless here"
    )
    parameters: ParameterTable = Field(
        default={}, description="values of parameters before the program begins, by number"
    )


class MachineTable(Strict):
    """The machine, as far as times go."""

    rapid_rate: PositiveLength | None = Field(
        default=None,
        description="how far a rapid goes in a minute; 10 m (about 400 in) unless given",
    )
    tool_change_time: float | None = Field(
        default=None, ge=0, le=3600, description="seconds from chip to chip; 8 unless given"
    )


_MARGINS_SCHEMA: Final = WithJsonSchema(
    {"type": "object", "additionalProperties": {"anyOf": [LENGTH_SCHEMA, {"type": "number"}]}}
)
_OFFSETS_SCHEMA: Final = WithJsonSchema(
    {
        "type": "object",
        "patternProperties": {
            "^[HD][0-9]+$": LENGTH_SCHEMA,
            "^(.+\\.)?[XYZ]0$": LENGTH_SCHEMA,
        },
        "additionalProperties": {
            "type": "object",
            "patternProperties": {"^[XYZ]0$": LENGTH_SCHEMA},
            "additionalProperties": False,
        },
    }
)


class JobFile(Strict):
    """A job: stock, tools and programs."""

    job: JobTable = Field(
        description='a table [job] with unit = "in" or unit = "mm", the unit of bare numbers'
    )
    stock: Annotated[StockTable, Field(discriminator="shape")] = Field(
        description="a table [stock] with shape = block, round, tube or model"
    )
    part: PartTable | None = Field(default=None, description="the finished part")
    show: list[ShowTable] = Field(default=[], description="sides that people will look at")
    grid: GridTable = Field(
        default=GridTable(), description="the columns on which places are found"
    )
    accuracy: AccuracyTable = Field(
        default=AccuracyTable(), description="bounds on what has no closed form"
    )
    tools: str | list[ToolTable] = Field(  # type: ignore[valid-type]
        description="[[tools]] tables, or the name of a file of tools that jobs share"
    )
    offsets: Annotated[dict[str, Any], _OFFSETS_SCHEMA] = Field(
        default={},
        description="errors of registers and work zeros, the value in the register minus the true "
        "one: H3, D3, Z0, X0, Y0, or a setup's name before the last three, as in op1.Z0",
    )
    margins: Annotated[dict[str, Any], _MARGINS_SCHEMA] = Field(
        default={}, description="how near is too near, by name; proud explain lists them"
    )
    machine: MachineTable = Field(
        default=MachineTable(), description="what times are reckoned with"
    )
    setups: list[SetupTable] = Field(description="one [[setups]] table")


# ------------------------------------------------------------------------------------ JSON Schema


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``job.toml``, with which an editor can check a job.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. A length is a number or a text with its unit.
    """
    schema = JobFile.model_json_schema()
    lengths = {"length": Length, "length_above_0": PositiveLength, "length_0_up": NonNegativeLength}
    for name, kind in lengths.items():
        alone = TypeAdapter(kind).json_schema()
        for table in _tables(schema):
            if table.get("anyOf") == alone["anyOf"]:
                del table["anyOf"]
                # What the key says of itself is kept; what every length says is in $defs.
                if table.get("description") == alone["description"]:
                    del table["description"]
                table["$ref"] = f"#/$defs/{name}"
        schema["$defs"][name] = alone
    for table in _tables(schema):
        _tidy(table)
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "job.toml"}
    return head | {k: v for k, v in schema.items() if k != "title"}


def _tables(node: Any) -> Iterator[dict[str, Any]]:
    """Yield every table of a schema, inner ones first."""
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for item in list(inner):
        yield from _tables(item)
    if isinstance(node, dict):
        yield node


def _tidy(table: dict[str, Any]) -> None:
    """Take out what has no meaning in TOML: null, and titles made from the keys."""
    if isinstance(table.get("title"), str):
        del table["title"]
    if table.get("default", "") is None or isinstance(table.get("default"), dict):
        del table["default"]
    members = table.get("anyOf")
    if isinstance(members, list):
        kept = [m for m in members if m != {"type": "null"}]
        if len(kept) == 1:
            del table["anyOf"]
            table.update({k: v for k, v in kept[0].items() if k not in table})
        else:
            table["anyOf"] = kept
