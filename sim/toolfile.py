"""Tools as a job or a shared tool file describes them.

A tool is a table with ``number``, ``shape`` and lengths. Each length or angle goes by its symbol
of ISO 13399 or by a plain word, one of them, never both; `jobfile_words.WORDS` lists them all.
What a shape needs and refuses is in the module of the shape, in `shapes`; what no tool can be is in
`_check_lengths`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Final

from pydantic import Field, create_model

from .jobfile_words import (
    OF_SOME,
    WORDS,
    Cylinder,
    FormatNumber,
    ShapeWord,
    Text,
    UnitWord,
    users,
)
from .shapes import SHAPES
from .shapes.base import Entry, Shape
from .strict import Problems, Strict, load_toml, validate
from .tools import Tool
from .units import UNITS, Unit

__all__ = [
    "ToolTable",
    "load_tool_file",
    "read_tools",
]

SLACK: Final = 0.01
"""Share by which a catalogue's rounded length may fall short of the exact one."""


def _table() -> type[Strict]:
    fields: dict[str, Any] = {
        "number": (
            Annotated[int, Field(ge=1, le=99_999_999)],
            Field(description="tool number, as T calls it"),
        ),
        "name": (
            Text | None,
            Field(None, description="name; made from shape and size if left out"),
        ),
        "shape": (ShapeWord, Field(description="shape of the cutting part: " + ", ".join(SHAPES))),
    }
    for word in WORDS.values():
        for key in word.keys:
            others = [k for k in word.keys if k != key]
            says = word.says + (f"; or {', or '.join(others)}, not both" if others else "")
            fields[key] = (word.kind | None, Field(None, description=says))
    fields["holder"] = (
        list[Cylinder],
        Field(
            [],
            description="cylinders [diameter, height] from the tool upwards, the first one "
            "beginning at the stickout above the tip",
        ),
    )
    return create_model("Tool", __base__=Strict, __doc__="One tool.", **fields)


ToolTable: Final = _table()
"""The model of one ``[[tools]]`` table."""


class _ToolFile(Strict):
    """A file of tools that jobs share."""

    format: FormatNumber = Field(1, description="version of this format")
    unit: UnitWord | None = Field(None, description="unit of bare numbers; the job's if left out")
    tools: list[ToolTable] = Field(description="the tools, each under [[tools]]")  # type: ignore[valid-type]


# ----------------------------------------------------------------------------- reading and checking


def load_tool_file(
    path: Path, *, shown: str, unit: Unit
) -> tuple[dict[int, Tool], tuple[str, ...]]:
    """Read a file of tools that jobs share.

    Parameters
    ----------
    path : Path
        The file.
    shown : str
        The file as the job names it.
    unit : {'in', 'mm'}
        The job's unit: for names and errors, and for bare numbers where the file has no ``unit``.

    Returns
    -------
    tools : dict of int to Tool
        By number, mm.
    notes : tuple of str
        What a person should know.

    Raises
    ------
    JobError
        The file can't be read or a tool in it can't be.
    """
    data = load_toml(path, shown=shown)
    own = data.get("unit")
    bare: Unit = own if own in UNITS else unit
    table = validate(_ToolFile, data, shown=shown, unit=bare)
    problems = Problems(shown)
    found = read_tools(table.tools, problems=problems, unit=unit)
    problems.check()
    return found


def read_tools(
    tables: Sequence[Any], *, problems: Problems, unit: Unit
) -> tuple[dict[int, Tool], tuple[str, ...]]:
    """Check tool tables and make tools of them.

    Parameters
    ----------
    tables : sequence of ToolTable
        In the file's order.
    problems : Problems
        Takes what is wrong; the tools are of use only if nothing is.
    unit : {'in', 'mm'}
        The job's unit, for names and errors.

    Returns
    -------
    tools : dict of int to Tool
        By number, mm.
    notes : tuple of str
        What a person should know.
    """
    tools: dict[int, Tool] = {}
    first: dict[int, int] = {}
    notes: list[str] = []
    if not tables:
        problems.add("tools", "is empty; at least one tool is needed")
    for index, table in enumerate(tables):
        entry = _entry(table, ("tools", index), problems, unit)
        number = entry.values["number"]
        if number in first:
            text = f"{number} is already the number of tools[{first[number] + 1}]"
            problems.add(("tools", index, "number"), text)
        first.setdefault(number, index)
        before = len(problems.found)
        shape = SHAPES[entry.values["shape"]]
        if shape.derive is not None:
            shape.derive(entry)
        if "diameter" not in entry:
            _say_missing(entry, shape, found=len(problems.found) > before)
            continue
        for check in (_check_shape, _check_ends, _check_lengths):
            check(entry)
        if len(problems.found) == before:
            tools[number] = _tool(entry)
            notes += _notes(entry, tools[number])
    return tools, tuple(notes)


def _entry(table: Any, where: tuple[str | int, ...], problems: Problems, unit: Unit) -> Entry:
    """Return a table's values by what they are called inside; two keys for one are an error."""
    values = {"number": table.number, "name": table.name, "shape": table.shape}
    values["holder"] = table.holder
    keys: dict[str, str] = {}
    for name, word in WORDS.items():
        given = [key for key in word.keys if getattr(table, key) is not None]
        if len(given) > 1:
            text = f"{' and '.join(given)} are the same thing; give one of them"
            problems.add((*where, given[1]), f"tool {table.number}: {text}")
        if given:
            values[name], keys[name] = getattr(table, given[0]), given[0]
    return Entry(where, values, keys, problems, unit, WORDS)


def _say_missing(entry: Entry, shape: Shape, *, found: bool) -> None:
    """Note what a tool without a diameter lacks; nothing more where a mistake was `found`."""
    missing = [name for name in shape.needs if name not in entry]
    for name in missing:
        entry.wrong(name, f"{shape.called} needs {shape.needs[name]}")
    if not found and (shape.derive is None or not missing):  # else it may follow from the others
        entry.wrong("diameter", "its diameter is missing; give DC or diameter")


def _check_shape(entry: Entry) -> None:
    """Check what the shape needs and refuses, and what it checks itself."""
    shape = SHAPES[entry.values["shape"]]
    missing = [name for name in shape.needs if name not in entry]
    for name in missing:
        entry.wrong(name, f"{shape.called} needs {shape.needs[name]}")
    for name in OF_SOME:
        if name in entry and not shape.takes(name):
            _refuse(entry, shape, name)
    if not missing and shape.check is not None:
        shape.check(entry)


def _refuse(entry: Entry, shape: Shape, name: str) -> None:
    """Note a word that the shape does not take, unless its value changes nothing."""
    value, fits = shape.only.get(name, (None, shape.refuses.get(name, "")))
    if value is not None and entry[name] == value:
        return
    if fits:
        entry.wrong(name, f"{entry.said(name)} on {shape.called}; {fits}")
    else:
        entry.wrong(name, f"is for {users(name)}; this is {shape.called}")


def _check_ends(entry: Entry) -> None:
    """Check that the cutting part is as long as its rounded or pointed end."""
    shape = SHAPES[entry.values["shape"]]
    ready = all(name in entry for name in ("cutting_length", *shape.needs))
    if not ready or shape.end is None:
        return
    end = shape.end(entry)
    if entry["cutting_length"] < end * (1 - SLACK):
        text = (
            f"{entry.said('cutting_length')} ends before the {shape.name} has come to its "
            f"diameter, {entry.length(end)} above the tip"
        )
        entry.wrong("cutting_length", text)


_NOT_OVER: Final = (
    ("cutting_length", "overall_length"),
    ("usable_length", "overall_length"),
    ("head_length", "overall_length"),
    ("stickout", "overall_length"),
    ("cutting_length", "stickout"),
    ("cutting_length", "usable_length"),
    ("cutting_length", "head_length"),
    ("usable_length", "head_length"),
    ("neck_diameter", "diameter"),
)
"""The first is never over the second, on any tool."""


def _check_lengths(entry: Entry) -> None:
    """Check lengths and diameters against each other."""
    for less, more in _NOT_OVER:
        if less in entry and more in entry and entry[less] > entry[more]:
            entry.wrong(less, f"{entry.said(less)} is over {entry.said(more)}")
    neck = "usable_length" if "usable_length" in entry else "head_length"
    # Without a thinner neck, a tool may be held shorter than its usable length.
    necked = all(name in entry for name in ("neck_diameter", neck, "stickout"))
    if necked and entry[neck] > entry["stickout"]:
        text = f"{entry.said(neck)} is over {entry.said('stickout')}: the neck is in the holder"
        entry.wrong(neck, text)
    if entry.values["holder"] and "stickout" not in entry:
        text = "a holder needs the stickout, where it begins; give LPR or stickout"
        entry.wrong("holder", text)


def _tool(entry: Entry) -> Tool:
    """Return the tool of a table that was found right."""
    shape, values = SHAPES[entry.values["shape"]], dict(entry.values)
    usable, head = values.pop("usable_length", None), values.pop("head_length", None)
    values["neck_length"] = head if usable is None else usable
    values["name"] = values["name"] or _name(entry, shape)
    values["holder"] = tuple(tuple(cylinder) for cylinder in values["holder"])
    values["own"] = tuple((name, values.pop(name)) for name in shape.words if name in entry)
    for name in shape.only:
        if not shape.takes(name):
            values.pop(name, None)
    return Tool(**values)


def _name(entry: Entry, shape: Shape) -> str:
    sized = "" if shape.sized is None else shape.sized(entry)
    return f"{shape.name} {entry.length(entry['diameter'])}{sized}"


def _notes(entry: Entry, tool: Tool) -> list[str]:
    number = tool.number
    notes = []
    if "cutting_length" not in entry:
        notes.append(f"tool {number}: no cutting length given; its cutting part has no end here")
    if "neck_diameter" in entry and not ("usable_length" in entry or "head_length" in entry):
        notes.append(f"tool {number}: no length of its neck given; the neck has no end here")
    if tool.undercut:
        notes.append(
            f"tool {number}: its cutting part is narrower above than below; what its upper side "
            "cuts is seen from the side alone (probe, wall), not in the picture from above"
        )
    return notes
