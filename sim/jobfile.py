"""The job file: stock, part, tools, offsets and setups, checked and in millimetres.

A bare length is in the job's unit, a text carries its own. Paths are relative to the job file and
may not leave its folder, also not through a link, unless that is allowed. An error names the file,
the key path, the value, what is allowed and the closest key.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from .errors import BadInput, closest
from .jobfile_control import dialect_of, parameters_of
from .jobfile_model import (
    AccuracyTable,
    BlockStock,
    JobFile,
    MachineTable,
    ModelStock,
    PartTable,
    RoundStock,
    SetupTable,
    StockTable,
    TubeStock,
    job_schema,
)
from .jobfile_spec import (
    Box,
    JobSpec,
    MachineSpec,
    PartSpec,
    SetupSpec,
    ShowSpec,
    StockSpec,
    Vector,
)
from .strict import Problems, clean, load_toml, say_value, validate
from .tomlfile import named_file
from .toolfile import load_tool_file, read_tools
from .tools import Tool
from .units import CHORD_MM, UNITS, Unit, length_mm, say_length

__all__ = [
    "Box",
    "JobSpec",
    "MachineSpec",
    "PartSpec",
    "SetupSpec",
    "ShowSpec",
    "StockSpec",
    "Vector",
    "job_schema",
    "load_job_file",
]

CHORDS_MM: Final = (1e-6, 0.1)
"""Least and most that chords may be off their curve, mm: finer is below what anything here is
good for, coarser would show among the steps that people look for."""


@dataclasses.dataclass(frozen=True)
class _Reading:
    """What every check of one job file needs."""

    folder: Path
    allow_outside: bool
    problems: Problems
    unit: Unit


def load_job_file(path: Path, *, allow_outside: bool = False) -> JobSpec:
    """Read and check a job file.

    Parameters
    ----------
    path : Path
        The job file, as the person gave it.
    allow_outside : bool, optional
        Paths in the job may be absolute and may leave the job's folder.

    Returns
    -------
    JobSpec
        The job; all lengths in mm.

    Raises
    ------
    JobError
        The file, its tool file or a value in them can't be used; all problems found are listed.
    """
    path = Path(path)
    shown = str(path)
    data = load_toml(path, shown=shown)
    problems = Problems(shown)
    _not_built(data, problems)
    problems.check()
    job = data.get("job")
    said = job.get("unit") if isinstance(job, dict) else None
    unit: Unit = said if said in UNITS else "mm"  # a missing unit is an error of the model
    table = validate(JobFile, data, shown=shown, unit=unit)
    return _job(path, table, _Reading(path.parent, allow_outside, problems, unit))


def _not_built(data: dict[str, Any], problems: Problems) -> None:
    """Refuse what a job may ask for one day, before the model calls it unknown."""
    setups = data.get("setups")
    if not isinstance(setups, list):
        return
    if len(setups) > 1:
        text = f"{len(setups)} setups given; a second one is not built yet: one setup for now"
        problems.add("setups", text)
    for index, setup in enumerate(setups):
        if isinstance(setup, dict) and "placement" in setup:
            text = "not built yet: one setup for now, in the part frame; leave placement out"
            problems.add(("setups", index, "placement"), text)


def _job(path: Path, table: JobFile, reading: _Reading) -> JobSpec:
    """Return the job of a file whose keys and values are right one by one."""
    problems, unit = reading.problems, reading.unit
    stock = _stock(table.stock, reading)
    pitch = _pitch(table.grid.pitch, stock, reading)
    chord = _chord(table.accuracy, reading)
    part = None if table.part is None else _part(table.part, reading)
    show = _show(table, problems)
    setups = tuple(_setup(setup, i, reading) for i, setup in enumerate(table.setups))
    if not setups:
        problems.add("setups", "is empty; one setup is needed")
    h_errors, d_errors, zero_errors = _offsets(table, setups, reading)
    margins = _margins(table.margins, reading)
    shared: Path | None = None
    tools: dict[int, Tool] = {}
    notes: tuple[str, ...] = ()
    if isinstance(table.tools, str):
        shared = _file(table.tools, ("tools",), reading)
    else:
        tools, notes = read_tools(table.tools, problems=problems, unit=unit)
    problems.check()
    if shared is not None:
        tools, notes = load_tool_file(shared, shown=str(shared), unit=unit)
    title = table.job.title or ""
    return JobSpec(
        path,
        path.parent,
        title,
        unit,
        pitch,
        stock,
        part,
        show,
        tools,
        h_errors,
        d_errors,
        zero_errors,
        setups,
        notes,
        chord,
        table.grid.least_width,
        reading.allow_outside,
        margins,
        _machine(table.machine),
        _holds_diameters(table),
    )


# ------------------------------------------------------------------------------------------ files


def _file(text: str, key: tuple[str | int, ...], reading: _Reading) -> Path | None:
    """Return a file that the job names, or note why it can't be used."""
    within = None if reading.allow_outside else reading.folder
    named, fault = named_file(text, reading.folder, within=within)
    if fault:
        reading.problems.add(key, fault)
    return named


# ------------------------------------------------------------------------------- stock, part, grid


def _stock(table: StockTable, reading: _Reading) -> StockSpec:
    material = table.material or ""
    if isinstance(table, BlockStock):
        _box(table.low, table.high, ("stock",), reading)
        return StockSpec("block", table.low, table.high, material=material)
    if isinstance(table, ModelStock):
        model = _file(table.model, ("stock", "model"), reading)
        return StockSpec("model", model=model, material=material)
    _check_round(table, reading)
    return StockSpec(
        table.shape,
        diameter=table.diameter,
        center=table.center,
        bottom=table.bottom,
        top=table.top,
        bore=table.bore if isinstance(table, TubeStock) else None,
        material=material,
    )


def _box(low: Vector, high: Vector, key: tuple[str | int, ...], reading: _Reading) -> None:
    """Note where a box's low is not below its high."""
    for axis, a, b in zip("xyz", low, high, strict=True):
        if a >= b:
            text = (
                f"{axis} of low, {say_length(a, reading.unit)}, is not below {axis} of high, "
                f"{say_length(b, reading.unit)}"
            )
            reading.problems.add((*key, "low"), text)


def _check_round(table: RoundStock, reading: _Reading) -> None:
    def say(mm: float) -> str:
        return say_length(mm, reading.unit)

    if table.bottom >= table.top:
        text = f"{say(table.bottom)} is not below top, {say(table.top)}"
        reading.problems.add("stock.bottom", text)
    if isinstance(table, TubeStock) and table.bore >= table.diameter:
        text = f"{say(table.bore)} is not below diameter, {say(table.diameter)}"
        reading.problems.add("stock.bore", text)


def _pitch(pitch: float | None, stock: StockSpec, reading: _Reading) -> float | None:
    """Check that the grid's pitch is not wider than the stock."""
    width = stock.diameter
    if stock.low is not None and stock.high is not None:
        width = min(stock.high[0] - stock.low[0], stock.high[1] - stock.low[1])
    if pitch is not None and width is not None and 0 < width < pitch:
        text = (
            f"{say_length(pitch, reading.unit)} is wider than the stock, "
            f"{say_length(width, reading.unit)}; a hundredth of that or less is usual"
        )
        reading.problems.add("grid.pitch", text)
    return pitch


def _chord(table: AccuracyTable, reading: _Reading) -> float:
    """Return how far chords may be off their curve, mm; a bound out of range is noted."""
    if table.chord is None:
        return CHORD_MM
    least, most = CHORDS_MM
    if not least <= table.chord <= most:
        text = (
            f"{table.chord * 1000:.4g} µm is out of range; use {least * 1000:g} to "
            f"{most * 1000:g} µm, such as 0.1um"
        )
        reading.problems.add("accuracy.chord", text)
    return table.chord


def _part(table: PartTable, reading: _Reading) -> PartSpec:
    model = None if table.model is None else _file(table.model, ("part", "model"), reading)
    top, bottom = table.top, table.bottom
    if table.model is None and (top is None or bottom is None):
        text = "a part needs a model, or top and bottom both"
        reading.problems.add("part", text)
    if top is not None and bottom is not None and bottom >= top:
        text = (
            f"{say_length(bottom, reading.unit)} is not below top, {say_length(top, reading.unit)}"
        )
        reading.problems.add("part.bottom", text)
    return PartSpec(model, table.tolerance, top, bottom)


def _show(table: JobFile, problems: Problems) -> tuple[ShowSpec, ...]:
    for index, item in enumerate(table.show):
        if item.direction is None and item.face is None:
            text = 'needs direction = "+z" (or another, or [x, y, z]) or face = "its name"'
            problems.add(("show", index), text)
    return tuple(ShowSpec(item.direction, item.face) for item in table.show)


# ------------------------------------------------------------------------------- setups and offsets


def _setup(table: SetupTable, index: int, reading: _Reading) -> SetupSpec:
    key = ("setups", index)
    if (table.program is None) == (table.passes is None):
        both = "program and passes are both given" if table.program is not None else "is missing"
        text = f"{both}; give program (an RS-274 file) or passes (a pass list), one of them"
        reading.problems.add((*key, "program"), text)
    files = {
        word: None if text is None else _file(text, (*key, word), reading)
        for word, text in (("program", table.program), ("passes", table.passes))
    }
    for i, box in enumerate(table.fixture):
        _box(box.low, box.high, (*key, "fixture", i), reading)
    given = table.work_offsets.model_dump(by_alias=True)
    return SetupSpec(
        name=table.name or f"setup {index + 1}",
        program=files["program"],
        passes=files["passes"],
        fixture=tuple(
            Box(box.name or f"fixture {i + 1}", box.low, box.high)
            for i, box in enumerate(table.fixture)
        ),
        work_offsets={"G54": (0.0, 0.0, 0.0)} | {k: v for k, v in given.items() if v is not None},
        home=table.home,
        block_delete=table.block_delete,
        control=dialect_of(table.control),
        accept=dict(table.accept),
        parameters=parameters_of(table.parameters),
    )


_REGISTER: Final = re.compile(r"([HD])(\d{1,8})", re.ASCII)
_ZERO: Final = re.compile(r"(?:(.+)\.)?([XYZ])0", re.ASCII)


def _offsets(
    table: JobFile, setups: tuple[SetupSpec, ...], reading: _Reading
) -> tuple[dict[int, float], dict[int, float], dict[str, Vector]]:
    """Return the errors of H and D registers and of work zeros, mm; D as that of the radius."""
    registers: dict[str, dict[int, float]] = {"H": {}, "D": {}}
    zeros: dict[str, dict[str, float]] = {setup.name: {} for setup in setups}
    for parts, value in _leaves(table.offsets):
        found = _offset_key(".".join(parts), zeros)
        if isinstance(found, str):
            reading.problems.add(("offsets", *parts), found)
            continue
        owner, word = found
        place: dict[Any, float] = registers[owner] if isinstance(word, int) else zeros[owner]
        if word in place:
            reading.problems.add(("offsets", *parts), "is given twice, in two ways of writing it")
        place[word] = _offset_value(value, parts, reading)
    if _holds_diameters(table):
        registers["D"] = {number: error / 2 for number, error in registers["D"].items()}
    vectors = {n: (z.get("X", 0.0), z.get("Y", 0.0), z.get("Z", 0.0)) for n, z in zeros.items()}
    return registers["H"], registers["D"], vectors


def _holds_diameters(table: JobFile) -> bool:
    return any(setup.d_registers == "diameter" for setup in table.setups)


def _leaves(table: Mapping[str, Any], *above: str) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Yield the keys that lead to each value; an unquoted dot in a key makes a table in TOML."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _leaves(value, *above, key)
        else:
            yield (*above, key), value


def _offset_key(key: str, zeros: Mapping[str, Any]) -> tuple[str, int | str] | str:
    """Return ``('H', 3)`` or ``(setup, 'Z')`` for a key, or what is wrong with it."""
    register = _REGISTER.fullmatch(key)
    if register:
        return register[1], int(register[2])
    zero = _ZERO.fullmatch(key)
    names = list(zeros)
    if zero and zero[1] is None and names:
        return names[0], zero[2]
    if zero and zero[1] in zeros:
        return zero[1], zero[2]
    if zero and zero[1]:
        known = ", ".join(clean(name) for name in names) or "none"
        guess = clean(closest(zero[1], names))
        return f'no setup is called "{clean(zero[1], 60)}"; setups here: {known}{guess}'
    words = ["Z0", "X0", "Y0", *(f"{name}.{axis}0" for name in names for axis in "ZXY")]
    words += [f"{letter}{n}" for letter in "HD" for n in re.findall(r"\d+", key)[:1]]
    allowed = f"H3, D3 (any register), Z0, X0, Y0, or a setup's name before these: {words[3]}"
    return f"unknown key; allowed: {clean(allowed)}{clean(closest(key, words))}"


def _offset_value(value: Any, parts: tuple[str, ...], reading: _Reading) -> float:
    return _length(value, ("offsets", *parts), reading)


def _length(value: Any, key: tuple[str, ...], reading: _Reading) -> float:
    try:
        return length_mm(value, reading.unit)
    except BadInput as error:
        reading.problems.add(key, clean(error, 300))
        return 0.0


# ------------------------------------------------------------------------------- machine, margins


def _machine(table: MachineTable) -> MachineSpec:
    given = {k: v for k, v in table.model_dump().items() if v is not None}
    return MachineSpec(**given)


def _margins(table: Mapping[str, Any], reading: _Reading) -> dict[str, float]:
    """Return the margins that a job sets, by name: mm, or a plain number for a ratio."""
    if not table:
        return {}
    from .findings import MARGINS

    found: dict[str, float] = {}
    for name, value in table.items():
        key = ("margins", name)
        if name not in MARGINS:
            text = f"unknown key; allowed here: {', '.join(MARGINS)}{clean(closest(name, MARGINS))}"
            reading.problems.add(key, text)
        elif not MARGINS[name].ratio:
            found[name] = _length(value, key, reading)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found[name] = float(value)
        else:
            reading.problems.add(key, f"{say_value(value)} is not a number")
        if found.get(name, 0.0) < 0:
            reading.problems.add(key, f"{say_value(value)} is below 0")
    return found
