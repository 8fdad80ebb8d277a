"""Tools as a job or a shared tool file describes them.

A tool is a table with ``number``, ``shape`` and lengths. Each length or angle goes by its symbol
of ISO 13399 or by a plain word, one of them, never both; `jobfile_words.WORDS` lists them all.
What a shape needs and refuses is in `_check_shape`; what no tool can be is in `_check_lengths`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

from pydantic import Field, create_model

from .jobfile_words import SHAPES, WORDS, Cylinder, FormatNumber, ShapeWord, Text, UnitWord
from .strict import Problems, Strict, load_toml, validate
from .tools import Tool
from .units import UNITS, Unit, say_length

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


@dataclasses.dataclass(frozen=True)
class _Entry:
    """One tool's table while it is checked."""

    where: tuple[str | int, ...]
    values: dict[str, Any]
    keys: dict[str, str]
    problems: Problems
    unit: Unit

    def __contains__(self, name: str) -> bool:
        return self.values.get(name) is not None

    def __getitem__(self, name: str) -> float:
        return float(self.values[name])

    def said(self, name: str) -> str:
        """Return a key and its value in the job's unit, such as ``corner_radius 0.0300 in``."""
        angle = name in ("edge_angle", "point_angle")
        value = f"{self[name]:g} degrees" if angle else say_length(self[name], self.unit)
        return f"{self.keys[name]} {value}"

    def wrong(self, name: str, text: str) -> None:
        """Note a problem at the key by which the file gives `name`, or could."""
        key = self.keys.get(name, WORDS[name].keys[0] if name in WORDS else name)
        self.problems.add((*self.where, key), f"tool {self.values['number']}: {text}")


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
        if "diameter" not in entry:
            entry.wrong("diameter", "its diameter is missing; give DC or diameter")
            continue
        for check in (_check_shape, _check_ends, _check_lengths):
            check(entry)
        if len(problems.found) == before:
            tools[number] = _tool(entry)
            notes += _notes(entry)
    return tools, tuple(notes)


def _entry(table: Any, where: tuple[str | int, ...], problems: Problems, unit: Unit) -> _Entry:
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
    return _Entry(where, values, keys, problems, unit)


def _check_shape(entry: _Entry) -> None:
    """Check what the shape needs and refuses."""
    shape = entry.values["shape"]
    _SHAPE_CHECKS[shape](entry)
    if shape != "chamfer" and "tip_diameter" in entry:
        entry.wrong("tip_diameter", f"is for a chamfer tool; this is a {shape}")
    if shape != "drill" and "point_angle" in entry:
        hint = "; a chamfer tool's angle is KAPR, 45 for 90 included" if shape == "chamfer" else ""
        entry.wrong("point_angle", f"is for a drill; this is a {shape}{hint}")
    square = shape in ("flat", "bull", "ball")
    if "edge_angle" in entry and shape != "chamfer" and not (square and entry["edge_angle"] == 90):
        allowed = "only 90 fits" if square else "its point angle is SIG"
        entry.wrong("edge_angle", f"{entry.said('edge_angle')} on a {shape}; {allowed}")


def _check_flat(entry: _Entry) -> None:
    shape = entry.values["shape"]
    if "corner_radius" in entry and entry["corner_radius"] != 0:
        other = '; with a corner radius it is shape = "bull"' if shape == "flat" else ""
        text = f"{entry.said('corner_radius')} on a {shape}; only 0 is allowed{other}"
        entry.wrong("corner_radius", text)


def _check_bull(entry: _Entry) -> None:
    if "corner_radius" not in entry:
        text = "a bull needs its corner radius; give RE or corner_radius"
        entry.wrong("corner_radius", text)
    elif entry["corner_radius"] > entry["diameter"] / 2:
        half = say_length(entry["diameter"] / 2, entry.unit)
        text = (
            f"{entry.said('corner_radius')} is over half of {entry.said('diameter')}; "
            f"up to {half} is allowed"
        )
        entry.wrong("corner_radius", text)


def _check_ball(entry: _Entry) -> None:
    radius = entry["diameter"] / 2
    if "corner_radius" in entry and not math.isclose(
        entry["corner_radius"], radius, rel_tol=0, abs_tol=1e-9
    ):
        half = say_length(radius, entry.unit, 6)
        text = (
            f"{entry.said('corner_radius')} on a ball of {entry.said('diameter')}; its radius is "
            f'half the diameter, {half}: leave it out, or use shape = "bull"'
        )
        entry.wrong("corner_radius", text)


def _check_chamfer(entry: _Entry) -> None:
    _check_flat(entry)
    if "edge_angle" not in entry:
        text = "a chamfer tool needs its edge angle; give KAPR or edge_angle, 45 for 90 included"
        entry.wrong("edge_angle", text)
    elif entry["edge_angle"] >= 90:
        text = f"{entry.said('edge_angle')} on a chamfer tool; above 0 and below 90 is allowed"
        entry.wrong("edge_angle", text)
    if "tip_diameter" not in entry:
        text = "a chamfer tool needs the diameter of its tip; give tip_diameter, 0 for a point"
        entry.wrong("tip_diameter", text)
    elif entry["tip_diameter"] >= entry["diameter"]:
        text = f"{entry.said('tip_diameter')} is not below {entry.said('diameter')}"
        entry.wrong("tip_diameter", text)


def _check_drill(entry: _Entry) -> None:
    _check_flat(entry)
    if "point_angle" not in entry:
        text = "a drill needs its point angle in degrees; give SIG or point_angle, such as 118"
        entry.wrong("point_angle", text)


_SHAPE_CHECKS: Final[dict[str, Callable[[_Entry], None]]] = {
    "flat": _check_flat,
    "bull": _check_bull,
    "ball": _check_ball,
    "chamfer": _check_chamfer,
    "drill": _check_drill,
}


def _check_ends(entry: _Entry) -> None:
    """Check that the cutting part is as long as its rounded or pointed end."""
    if "cutting_length" not in entry:
        return
    shape, radius = entry.values["shape"], entry["diameter"] / 2
    end = 0.0
    if shape == "ball":
        end = radius
    elif shape == "bull" and "corner_radius" in entry:
        end = min(entry["corner_radius"], radius)
    elif shape == "drill" and "point_angle" in entry:
        end = radius / math.tan(math.radians(entry["point_angle"] / 2))
    if entry["cutting_length"] < end * (1 - SLACK):
        text = (
            f"{entry.said('cutting_length')} ends before the {shape} has come to its diameter, "
            f"{say_length(end, entry.unit)} above the tip"
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


def _check_lengths(entry: _Entry) -> None:
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


def _tool(entry: _Entry) -> Tool:
    """Return the tool of a table that was found right."""
    values = dict(entry.values)
    usable, head = values.pop("usable_length", None), values.pop("head_length", None)
    values["neck_length"] = head if usable is None else usable
    values["name"] = values["name"] or _name(entry)
    values["holder"] = tuple(tuple(cylinder) for cylinder in values["holder"])
    if values["shape"] == "ball":
        values["corner_radius"] = values["diameter"] / 2
    if values["shape"] != "chamfer":
        values.pop("edge_angle", None)
    return Tool(**values)


def _name(entry: _Entry) -> str:
    name = f"{entry.values['shape']} {say_length(entry['diameter'], entry.unit)}"
    if entry.values["shape"] == "bull":
        name += f", RE {say_length(entry['corner_radius'], entry.unit)}"
    return name


def _notes(entry: _Entry) -> list[str]:
    number = entry.values["number"]
    notes = []
    if "cutting_length" not in entry:
        notes.append(f"tool {number}: no cutting length given; its cutting part has no end here")
    if "neck_diameter" in entry and not ("usable_length" in entry or "head_length" in entry):
        notes.append(f"tool {number}: no length of its neck given; the neck has no end here")
    return notes
