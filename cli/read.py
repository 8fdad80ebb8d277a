"""``proud read``: what a program does, before anything is cut."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click
from proud.units import MM_PER, Unit

from .options import Answer, common, inputs
from .output import TARGET, check_target, check_targets, to_csv, write_texts
from .words import count, row, say_time, screen_width

if TYPE_CHECKING:
    from proud.job import Job
    from proud.survey import Box, PassSum, Survey, ToolSum

__all__ = ["command"]


@click.command("read")
@click.argument("program", type=click.Path(path_type=Path))
@click.option("--job", "job_path", type=click.Path(path_type=Path), help="The job that it is for.")
@click.option("--allow-outside", is_flag=True, help="Let the job name files outside its folder.")
@click.option("--moves", type=TARGET, help="Write the moves as CSV.")
@common
def command(
    program: Path, job_path: Path | None, allow_outside: bool, moves: Path | None, answer: Answer
) -> None:
    """Read a program and say what it does: tools, passes, extents, time, lines of interest.

    With --job unit, tools, control, work offsets and accepted words are the job's, and the moves
    are checked against its stock and H. Without, the unit is that of the first G20 or G21.

    In the CSV of --moves a cell is empty where a place is not known; lines have no centre, rapids
    no feed. Arcs in G18 and G19 are cut up into lines.

    Example: proud read my_part.nc --moves moves.csv
    """
    targets = [(answer.out, "--out"), (moves, "--moves")]
    for path, option in targets:
        check_target(path, option)
    job = _job(job_path, allow_outside)
    check_targets(targets, [program, *([] if job is None else inputs(job))])
    from proud.survey import survey

    found = survey(program, shown=str(program), job=job)
    if moves is not None:
        write_texts(moves, _csv(found))
    answer.give(found.as_dict(), lambda: _text(found, program))


def _job(path: Path | None, allow_outside: bool) -> Job | None:
    if path is None:
        return None
    from proud.job import load

    return load(path, allow_outside=allow_outside)


def _csv(found: Survey) -> Iterator[str]:
    from proud.survey import MOVE_HEADS, move_rows

    yield to_csv(MOVE_HEADS, [])
    for rows in move_rows(found):
        yield to_csv(None, rows)


# ------------------------------------------------------------------------------------- on screen


def _text(found: Survey, program: Path) -> str:
    width, unit = screen_width(), found.unit
    reading = found.reading
    parts = [
        f"{program.name}:",
        f"{'inches' if unit == 'in' else 'millimetres'},",
        f"{count(reading.blocks, 'block')},",
        f"{count(len(reading.program.moves), 'move')},",
        f"{count(len(found.tools), 'tool')},",
        f"{count(len(found.passes), 'pass', 'passes')};",
        f"{_long(found.length, unit)} at feed, {say_time(found.seconds)}",
        "(at the programmed feeds; no speed is known of rapids, dwells and tool changes)",
    ]
    lines = row("", parts, width).split("\n")
    order = ", ".join(f"T{n}" for n in found.order)
    if len(found.order) > len(found.tools):
        lines += row("order: ", order.replace(",", ",\n").split("\n"), width).split("\n")
    lines += ["", "Tools in order"]
    for tool in found.tools:
        lines += _tool(tool, unit, width)
    lines += ["", "Passes", *(_pass(p, unit, width) for p in found.passes)]
    lines += _section("Lines of interest", found.remarks, width)
    if reading.noted:
        words = [f"{n.word} ({_times(n.count)}line {n.line})" for n in reading.noted]
        lines += ["", "Noted, not acted on"]
        lines += row("  ", [f"{w}," for w in words[:-1]] + words[-1:], width).split("\n")
    known = [*reading.warnings, *((0, text) for text in found.left_out)]
    lines += _section("To know", known, width)
    return "\n".join(lines)


def _section(heading: str, found: Iterable[tuple[int, str]], width: int) -> list[str]:
    rows = [row(f"  {f'line {n}: ' if n else '- '}", [text], width) for n, text in found]
    return ["", heading, *rows] if rows else []


def _tool(tool: ToolSum, unit: Unit, width: int) -> list[str]:
    lowest = "no height known"
    if not math.isnan(tool.lowest):
        lowest = f"lowest Z{_number(tool.lowest, unit)} at line {tool.lowest_line}"
    what = [
        f"{tool.name};" if tool.name else "",
        f"lines {tool.from_line}-{tool.to_line},",
        f"{lowest},",
        f"{_long(tool.length, unit)}, {say_time(tool.seconds)}",
    ]
    lead = f"  T{tool.number:<4}"
    lines = row(lead, filter(None, what), width).split("\n")
    for name, box in (("feed ", tool.feed), ("rapid", tool.rapid)):
        if box is not None:
            lines += row(f"{'':{len(lead)}}{name}  ", _ranges(box, unit), width).split("\n")
    return lines


def _ranges(box: Box, unit: Unit) -> Iterator[str]:
    for axis, low, high in zip("XYZ", box.low, box.high, strict=True):
        if math.isnan(low):
            yield f"{axis} not known"
        else:
            yield f"{axis}{_number(low, unit)} to {_number(high, unit)}"


def _pass(item: PassSum, unit: Unit, width: int) -> str:
    info = item.info
    parts = [
        f"T{info.tool}",
        f"{info.name};",
        f"lines {info.from_line}-{info.to_line},",
        "" if math.isnan(item.lowest) else f"lowest Z{_number(item.lowest, unit)},",
        f"{_long(item.length, unit)}, {say_time(item.seconds)}",
    ]
    return row(f"{info.number:>4}  ", filter(None, parts), width)


def _number(mm: float, unit: Unit) -> str:
    digits = 4 if unit == "in" else 3
    return f"{round(mm / MM_PER[unit], digits) + 0.0:.{digits}f}"


def _long(mm: float, unit: Unit) -> str:
    return f"{mm / MM_PER[unit]:,.{2 if unit == 'in' else 0}f} {unit}"


def _times(number: int) -> str:
    return f"{number:,} times from " if number > 1 else ""
