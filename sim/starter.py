"""The first job of a program: a ``job.toml`` ready to be filled in.

What the program's comments or a shop's tool file say of its tools, its H and D registers, its
passes as comments, and a block of stock round its cutting moves. What is a guess is marked
``# check``; what is not known stands there as a comment, so that the job says what it lacks.
"""

from __future__ import annotations

import dataclasses
import json
import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from .errors import JobError, ProgramError
from .glance import Glance, glance
from .interest import rapid_height
from .jobfile_control import AcceptTable
from .jobfile_words import WORDS
from .moves import Moves, Program
from .shapes import SHAPES
from .strict import Problems, Strict, load_toml, validate
from .survey import extent, read_alone
from .toolfile import ToolTable, load_tool_file, read_tools
from .tools import Tool
from .toolwords import ToolWords, tools_told
from .toolwords_sizes import Size
from .units import UNITS, Unit, say_length, to_unit

__all__ = ["CHECK", "Start", "StartTool", "start_job"]

CHECK: Final = "# check"
ACCEPT_HINT: Final = (
    "no job was written. A word that is harmless on your machine can be declared, with the reason: "
    "--accept 'M41=low gear' here, [setups.accept] in a job"
)
BESIDE: Final[dict[Unit, float]] = {"in": 2.54, "mm": 2.0}
"""Stock beside and below the cutting moves, mm. Common practice, no source."""
ABOVE: Final[dict[Unit, float]] = {"in": 0.508, "mm": 0.5}
"""Stock above the highest level that is cut, mm. Common practice, no source."""
STEP: Final[dict[Unit, float]] = {"in": 0.254, "mm": 0.1}
"""Measures of the stock are whole numbers of these, mm: hundredths of an inch, tenths of a mm."""
Box = tuple[tuple[float, ...], tuple[float, ...]]


class _Accept(Strict):
    """Words declared harmless, as a job has them."""

    accept: AcceptTable


@dataclasses.dataclass(frozen=True)
class StartTool:
    """A tool as the new job has it.

    Attributes
    ----------
    number : int
    name, shape : str
        Empty: not found.
    lines : tuple of str
        Its table, without the head.
    missing : tuple of str
        Keys that must be filled in before the job can run.
    """

    number: int
    name: str
    shape: str
    lines: tuple[str, ...]
    missing: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Start:
    """A new job.

    Attributes
    ----------
    text : str
        The job file.
    unit : {'in', 'mm'}
    tools : tuple of StartTool
        In the order of their numbers.
    h_registers, d_registers : tuple of int
    passes : int
    low, high : tuple of float
        The block of stock, mm.
    warnings : tuple of (line, text)
        What the reader says of the program.
    """

    text: str
    unit: Unit
    tools: tuple[StartTool, ...]
    h_registers: tuple[int, ...]
    d_registers: tuple[int, ...]
    passes: int
    low: tuple[float, ...]
    high: tuple[float, ...]
    warnings: tuple[tuple[int, str], ...]

    @property
    def checks(self) -> int:
        """How many places are marked."""
        return sum(f"{CHECK}:" in line for line in self.text.splitlines())


def start_job(
    path: Path,
    *,
    named: str,
    shown: str | None = None,
    tool_file: Path | None = None,
    accept: Mapping[str, str] = MappingProxyType({}),
) -> Start:
    """Return the first job of a program.

    Parameters
    ----------
    path : Path
        The program, RS-274.
    named : str
        The program as the job names it, from the job's folder.
    shown : str, optional
        The program as the person named it; `path` unless given.
    tool_file : Path, optional
        A shop's tools: their shapes and sizes count before the program's comments.
    accept : mapping of str to str, optional
        Words that the reader would refuse, each with why it is harmless; the job will have them.

    Raises
    ------
    ProgramError
        With line and column; several as `ProgramErrors`.
    BadInput
        A program or tool file that can't be used.
    """
    table = validate(_Accept, {"accept": dict(accept)}, shown="--accept", unit="mm")
    seen = glance(path)
    name = str(path) if shown is None else shown
    try:
        reading, unit = read_alone(path, seen, name, table.accept)
    except ProgramError as error:
        if "accept" in str(error):
            error.args = (f"{error.args[0]}\n{ACCEPT_HINT}",)
        raise
    program = reading.program
    shop = {} if tool_file is None else _shop_tools(tool_file, unit)
    told = tools_told(seen, unit)
    numbers = sorted({*program.moves.tool.tolist(), *seen.tools})  # M6 refuses what is not listed
    tools = tuple(_tool(n, shop.get(n), told.get(n), unit) for n in numbers)
    low, high = _block(program.moves, _radii(shop, told), unit)
    registers = sorted({*program.moves.h_register.tolist()} - {0})
    found = Start(
        text="",
        unit=unit,
        tools=tools,
        h_registers=tuple(registers),
        d_registers=tuple(n for n in seen.d_registers if n),
        passes=len(program.passes),
        low=low,
        high=high,
        warnings=reading.warnings,
    )
    return dataclasses.replace(found, text=_text(found, program, seen, named, table.accept))


# ------------------------------------------------------------------------------------------ tools


@dataclasses.dataclass(frozen=True)
class _ShopTool:
    tool: Tool
    rows: Mapping[str, str]


def _shop_tools(path: Path, unit: Unit) -> dict[int, _ShopTool]:
    """Return the tools of a shop's file, each with its table's rows as a job in `unit` has them."""
    tools, _ = load_tool_file(path, shown=str(path), unit=unit)
    data = load_toml(path, shown=str(path))
    own: Unit = data["unit"] if data.get("unit") in UNITS else unit
    found = {}
    for table in data["tools"]:
        rows = {key: _value(_in_unit(key, v, own, unit)) for key, v in table.items()}
        found[table["number"]] = _ShopTool(tools[table["number"]], rows)
    return found


_NO_LENGTHS: Final = frozenset(
    {"number", *(key for w in WORDS.values() if w.angle for key in w.keys)}
    | {"ZEFF", "flutes", "center_cutting"}
)


def _in_unit(key: str, value: Any, own: Unit, unit: Unit) -> Any:
    """Return a value of a tool table with its own unit, where that is not the job's."""
    if own == unit or key in _NO_LENGTHS or isinstance(value, bool | str):
        return value
    if isinstance(value, int | float):
        return f"{value} {own}"
    if isinstance(value, list):
        return [_in_unit("", v, own, unit) for v in value]
    if isinstance(value, dict):
        return {k: _in_unit(k, v, own, unit) for k, v in value.items()}
    return value


def _value(value: Any) -> str:
    """Return a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)


def _quoted(text: str) -> str:
    """Return a text as TOML has it: JSON's escapes, but for a sign that TOML wants escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _tool(number: int, shop: _ShopTool | None, told: ToolWords | None, unit: Unit) -> StartTool:
    if shop is not None:
        return _of_shop(number, shop, told)
    lines = [f"number = {number}"]
    name, shape = (told.name, told.shape) if told else ("", "")
    if name:
        lines.append(f"name = {_quoted(name)}" + _check("; ".join(told.doubts) if told else ""))
    if shape:
        lines.append(f'shape = "{shape}"' + _check(told.shape_guess if told else ""))
    else:
        lines.append('# shape = "flat"' + _check("shape not found in the program"))
    sizes = told.sizes if told else {}
    wrong = _contradictions(number, shape, sizes, unit)
    missing = [] if shape else ["shape"]
    needs = ["DC", *(_key(word) for word in (SHAPES[shape].needs if shape else ()))]
    for key in dict.fromkeys((*needs, *sizes)):
        if key in wrong:
            lines.append(f"# {key} = {sizes[key].text}" + _check(wrong[key]))
        elif key in sizes:
            lines.append(f"{key} = {sizes[key].text}" + _check(sizes[key].guess))
        else:
            what = "size" if key == "DC" else _says(key)
            lines.append(f"# {key} =" + _check(f"{what} not found in the program"))
        if key in needs and (key in wrong or key not in sizes):
            missing.append(key)
    return StartTool(number, name, shape, tuple(lines), tuple(missing))


def _contradictions(
    number: int, shape: str, sizes: Mapping[str, Size], unit: Unit
) -> dict[str, str]:
    """Return sizes that no such tool can have beside its others, each with why."""
    wrong: dict[str, str] = {}
    while shape:
        rows = [f"{key} = {size.text}" for key, size in sizes.items() if key not in wrong]
        data = tomllib.loads("\n".join([f'number = {number}\nshape = "{shape}"', *rows]))
        problems = Problems("")
        try:
            table = validate(ToolTable, data, shown="", unit=unit)
            read_tools([table], problems=problems, unit=unit)
            problems.check()
        except JobError as error:
            said = dict(problems.found) or {error.key: str(error).partition(": ")[2]}
            found = {path.rpartition(".")[2]: text for path, text in said.items()}
            more = {key: text for key, text in found.items() if key in sizes.keys() - wrong.keys()}
            if more:
                wrong |= {k: v.removeprefix(f"tool {number}: ") for k, v in more.items()}
                continue
        break
    return wrong


def _of_shop(number: int, shop: _ShopTool, told: ToolWords | None) -> StartTool:
    size = told.sizes.get("DC") if told else None
    doubt = ""
    if told and size and abs(size.mm - shop.tool.diameter) > 1e-3:
        doubt = f'the program says "{told.name}"'
    diameter = WORDS["diameter"].keys
    lines = [
        f"{key} = {value}" + (_check(doubt) if key in diameter else "")
        for key, value in shop.rows.items()
    ]
    if told and told.shape and told.shape != shop.tool.shape and not doubt:
        lines[0] += _check(f'the program says "{told.name}"')
    return StartTool(number, shop.tool.name, shop.tool.shape, tuple(lines), ())


def _key(word: str) -> str:
    """Return the key by which jobs give a word."""
    return WORDS[word].keys[0] if word in WORDS else word


def _says(key: str) -> str:
    word = next((w for w in WORDS.values() if key in w.keys), None)
    return key if word is None else word.says.split(";")[0].split(",")[0]


def _check(text: str) -> str:
    """Return a mark to check, with what; nothing where there is nothing."""
    one_line = " ".join(text.split())
    return f"  {CHECK}: {one_line}" if one_line else ""


# ------------------------------------------------------------------------------------------ stock


def _radii(shop: Mapping[int, _ShopTool], told: Mapping[int, ToolWords]) -> dict[int, float]:
    """Return the radii of tools where they are known, mm."""
    sized = {n: w.sizes["DC"].mm / 2 for n, w in told.items() if "DC" in w.sizes}
    return sized | {n: s.tool.diameter / 2 for n, s in shop.items()}


def _block(moves: Moves, radii: Mapping[int, float], unit: Unit) -> Box:
    """Return a block round what the feed moves cut, mm, with some allowance.

    In plan round those below the top level: facing runs out over the sides.
    """
    feeds = moves[~moves.rapid]
    z = np.fmin(feeds.start[:, 2], feeds.end[:, 2])
    lowest = float(np.fmin.reduce(z))
    top, is_cut = _top(moves, lowest)
    deep = feeds[z < top - 1e-6] if (z < top - 1e-6).any() else feeds
    lows, highs = [], []
    for number in np.unique(deep.tool).tolist():
        box = extent(deep[deep.tool == number])
        assert box is not None
        radius = radii.get(number, 0.0)
        lows.append([v - radius for v in box.low[:2]])
        highs.append([v + radius for v in box.high[:2]])
    low, high = [*np.min(lows, axis=0).tolist(), lowest], [*np.max(highs, axis=0).tolist(), top]
    step, beside = STEP[unit], BESIDE[unit]
    allowed = zip(high, (beside, beside, ABOVE[unit] if is_cut else 0.0), strict=True)
    return (
        tuple(_whole(math.floor((v - beside) / step + 1e-9), step) for v in low),
        tuple(_whole(math.ceil((v + a) / step - 1e-9), step) for v, a in allowed),
    )


def _whole(count: int, step: float) -> float:
    return round(count * step, 10)


def _top(moves: Moves, lowest: float) -> tuple[float, bool]:
    """Return the highest level that is cut, mm, or the zero above it, and whether it is cut.

    The highest level is that of feed moves sideways below where rapids run. Where what is cut lies
    below zero, zero is taken to be the stock's top, as it mostly is.
    """
    heights = []
    for number in np.unique(moves.tool).tolist():
        own = moves[moves.tool == number]
        feeds = own[~own.rapid]
        sideways = (feeds.start[:, :2] != feeds.end[:, :2]).any(axis=1)
        z = np.fmin(feeds.start[:, 2], feeds.end[:, 2])[sideways | (feeds.turn != 0)]
        z = z[z < rapid_height(own, None) - 1e-6]
        heights += [float(z.max())] if len(z) else []
    highest = max(heights, default=lowest)
    return (0.0, False) if highest < -1e-6 else (highest, True)


# ------------------------------------------------------------------------------------------- text


def _text(
    found: Start, program: Program, seen: Glance, named: str, accept: Mapping[str, str]
) -> str:
    parts = [
        [
            f"# Made from {_clean(named)} by proud start. What is marked {CHECK} is a guess or is",
            "# missing: look at it before you believe a result. Lengths are in the job's unit, or",
            '# carry their own, such as "12.5 thou" or "0.3mm".',
        ],
        ["[job]", f"title = {_quoted(_clean(Path(named).stem))}", f'unit = "{found.unit}"'],
        _stock_lines(found),
        *(["[[tools]]", *tool.lines] for tool in found.tools),
        _offset_lines(found),
        _setup_lines(program, seen, found.unit, named, accept),
    ]
    if seen.unit is None:
        parts[1][-1] += _check("the program says neither G20 nor G21")
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def _clean(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


def _stock_lines(found: Start) -> list[str]:
    def corner(values: Sequence[float]) -> str:
        return "[" + ", ".join(f"{to_unit(v, found.unit):.10g}" for v in values) + "]"

    return [
        "[stock]",
        'shape = "block"' + _check("or round, tube, model"),
        f"low = {corner(found.low)}" + _check("a block round the cutting moves"),
        f"high = {corner(found.high)}" + _check("its top decides what a pass is"),
    ]


def _offset_lines(found: Start) -> list[str]:
    rows = [f"H{n} = 0" for n in found.h_registers] + [f"D{n} = 0" for n in found.d_registers]
    return ["[offsets]  # the value in the register less the true one", *rows] if rows else []


def _setup_lines(
    program: Program, seen: Glance, unit: Unit, named: str, accept: Mapping[str, str]
) -> list[str]:
    lines = ["[[setups]]", 'name = "first side"', f"program = {_quoted(named)}"]
    if seen.work_zeros not in ((), ("G54",)):
        lines += ["", "[setups.work_offsets]"]
        lines += [f'"{n}" = [0, 0, 0]' + _check("from the part's zero") for n in seen.work_zeros]
    if accept:
        lines += ["", "[setups.accept]"]
        lines += [f"{_quoted(word)} = {_quoted(reason)}" for word, reason in accept.items()]
    lines += ["", "# Passes, as the program's headings have them:", *_pass_lines(program, unit)]
    return lines


def _pass_lines(program: Program, unit: Unit) -> Iterator[str]:
    moves = program.moves[~program.moves.rapid]
    lows = np.fmin(moves.start[:, 2], moves.end[:, 2])
    for info in program.passes:
        first, end = np.searchsorted(moves.pass_number, [info.number, info.number + 1])
        lowest = float(np.fmin.reduce(lows[first:end]))
        where = "" if math.isnan(lowest) else f", down to Z {say_length(lowest, unit)}"
        lines = f"lines {info.from_line}-{info.to_line}"
        yield f"#   {info.number}  T{info.tool}  {info.name}: {lines}{where}"
