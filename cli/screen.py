"""What ``proud run`` says on the screen, in the words of the trade."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from proud.result import RunResult
from proud.units import MM_PER, Unit, say_fine, say_length

from .__main__ import CAUTION

__all__ = ["run_text"]

SMALL_STEP = 0.030 * 25.4
"""Steps under this are listed; common practice, no source."""
MOST_ROWS = 24


def run_text(
    result: RunResult, rows: dict[str, Any], *, everything: bool, drawn: Sequence[Path]
) -> str:
    """Return the text of a run: one line that sums it up, skims, small steps, pictures."""
    unit = result.unit
    names = {row["pass"]: f"pass {row['pass']} ({_tool_name(row)})" for row in rows["passes"]}
    names[0] = "the raw stock"
    small = [s for s in rows["steps"] if s["height"] * MM_PER[unit] < SMALL_STEP]
    shown = rows["steps"] if everything else small
    parts = [_sum(result, rows, small)]
    parts += _section(
        "Skims: a later pass cut into a floor that was done",
        [_skim(row, names, unit) for row in rows["skims"]],
        everything,
    )
    heading = "Steps" if everything else f"Steps under {say_fine(SMALL_STEP, unit)}"
    ordered = sorted(shown, key=lambda s: s["height"])
    parts += _section(heading, [_step(row, names, unit) for row in ordered], everything)
    if everything:
        parts += _section("Passes", [_pass(row, unit) for row in rows["passes"]], True)
        parts += _section("Levels", [_level(row, names, unit) for row in rows["levels"]], True)
        parts += _section("Volume", [_volume(rows["volume"], unit)], True)
    parts += _section("To know", rows["notes"], everything)
    parts += _section("Pictures", [str(path) for path in drawn], True)
    return "\n".join([*parts, "", CAUTION])


def _section(heading: str, lines: Sequence[str], everything: bool) -> list[str]:
    """Return a heading and its lines; nothing when there are none."""
    if not lines:
        return []
    most = len(lines) if everything else MOST_ROWS
    more = [f"  and {len(lines) - most} more (--all)"] if len(lines) > most else []
    return ["", heading, *(f"  {line}" for line in lines[:most]), *more]


def _sum(result: RunResult, rows: dict[str, Any], small: Sequence[Any]) -> str:
    return (
        f"{result.title}: {_count(len(rows['skims']), 'skim')}, "
        f"{_count(len(small), 'step')} under {say_fine(SMALL_STEP, result.unit)}, "
        f"{_count(len(rows['passes']), 'pass', 'passes')}."
    )


def _count(number: int, one: str, many: str = "") -> str:
    word = one if number == 1 else many or f"{one}s"
    return f"{number or 'no'} {word}"


def _tool_name(row: dict[str, Any]) -> str:
    return f"tool {row['tool']}, {row['name']}"


def _fine(value: float, unit: Unit) -> str:
    return say_fine(value * MM_PER[unit], unit)


def _long(value: float, unit: Unit) -> str:
    return say_length(value * MM_PER[unit], unit)


def _at(at: Sequence[float], unit: Unit) -> str:
    digits = 3 if unit == "in" else 2
    return f"X{at[0]:.{digits}f} Y{at[1]:.{digits}f}"


def _skim(row: dict[str, Any], names: dict[int, str], unit: Unit) -> str:
    return (
        f"{_fine(row['depth'], unit):>11}  {names[row['pass']]} into the floor of "
        f"{names[row['into_pass']]}; {row['area']:.3f} {unit}², deepest at "
        f"{_at(row['at'], unit)}, line {row['line']}"
    )


def _step(row: dict[str, Any], names: dict[int, str], unit: Unit) -> str:
    return (
        f"{_fine(row['height'], unit):>11}  {names[row['upper_pass']]} stands proud of "
        f"{names[row['lower_pass']]}; z {row['upper_z']:.4f} over {row['lower_z']:.4f}, "
        f"{row['length']:.2f} {unit} long, at {_at(row['at'], unit)}"
    )


def _pass(row: dict[str, Any], unit: Unit) -> str:
    return (
        f"{row['pass']:>3}  {_tool_name(row)}; lines {row['from_line']}-{row['to_line']}, "
        f"{row['moves']} feed moves, {_long(row['length'], unit)}, "
        f"removed {row['removed']:.4f} {unit}³"
    )


def _level(row: dict[str, Any], names: dict[int, str], unit: Unit) -> str:
    return f"z {_long(row['z'], unit):>12}  {row['area']:8.3f} {unit}²  {names[row['pass']]}"


def _volume(row: dict[str, Any], unit: Unit) -> str:
    return (
        f"stock {row['stock']:.4f}, removed {row['removed']:.4f}, left {row['left']:.4f} {unit}³"
        " (sums over columns)"
    )
