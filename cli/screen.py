"""What ``proud run`` says on the screen, in the words of the trade."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from proud.units import MM_PER, Unit, say_fine, say_length

from .words import CAUTION, count, row, screen_width, wrapped

if TYPE_CHECKING:
    from proud.result import RunResult

__all__ = ["run_text"]

SMALL_STEP = 0.030 * 25.4
"""Steps under this are listed; common practice, no source."""
MOST_ROWS = 24

Row = tuple[str, list[str]]
"""A row's lead, and the parts that follow it."""


def run_text(
    result: RunResult, rows: dict[str, Any], *, everything: bool, drawn: Sequence[Path]
) -> str:
    """Return the text of a run: one line that sums it up, skims, small steps, pictures.

    Parameters
    ----------
    result : RunResult
    rows : dict
        The same, as `RunResult.as_dict` gives it: lengths in the job's unit.
    everything : bool
        Every step, and passes, levels and volume too.
    drawn : sequence of Path
        Pictures written, all in one folder; it is named last.
    """
    unit = result.unit
    names = {p["pass"]: f"pass {p['pass']} ({_tool_name(p)})" for p in rows["passes"]}
    names[0] = "the raw stock"
    small = [s for s in rows["steps"] if s["height"] * MM_PER[unit] < SMALL_STEP]
    steps = sorted(rows["steps"] if everything else small, key=lambda s: s["height"])
    heading = "Steps" if everything else f"Steps under {say_fine(SMALL_STEP, unit)}"

    def section(heading: str, found: Sequence[Any], say: Callable[[Any], Row]) -> list[str]:
        return _section(heading, found, say, everything)

    parts = row("", [_sum(result, rows, small)], screen_width()).split("\n")
    parts += section(
        "Skims: a later pass cut into a floor that was done",
        rows["skims"],
        lambda s: _skim(s, names, unit),
    )
    parts += section(heading, steps, lambda s: _step(s, names, unit))
    if everything:
        parts += section("Passes", rows["passes"], lambda p: _pass(p, unit))
        parts += section("Levels", rows["levels"], lambda v: _level(v, names, unit))
        parts += section("Volume", [rows["volume"]], lambda v: _volume(v, unit))
    parts += section("To know", rows["notes"], lambda note: ("- ", [note]))
    parts += ["", *wrapped(CAUTION, screen_width())]
    if drawn:
        parts += ["", "Pictures", *(f"  {path.name}" for path in drawn)]
        parts += [f"in the folder {drawn[0].parent}"]
    return "\n".join(parts)


def _section(
    heading: str, found: Sequence[Any], say: Callable[[Any], Row], everything: bool
) -> list[str]:
    """Return a heading and its rows; nothing when there are none."""
    if not found:
        return []
    most = len(found) if everything else MOST_ROWS
    more = [f"  and {len(found) - most} more (--all)"] if len(found) > most else []
    width = screen_width()
    said = [say(item) for item in found[:most]]
    return ["", heading, *(row(f"  {lead}", parts, width) for lead, parts in said), *more]


def _sum(result: RunResult, rows: dict[str, Any], small: Sequence[Any]) -> str:
    return (
        f"{result.title}: {count(len(rows['skims']), 'skim')}, "
        f"{count(len(small), 'step')} under {say_fine(SMALL_STEP, result.unit)}, "
        f"{count(len(rows['passes']), 'pass', 'passes')}."
    )


def _tool_name(item: dict[str, Any]) -> str:
    return f"tool {item['tool']}, {item['name']}"


def _fine(value: float, unit: Unit) -> str:
    return say_fine(value * MM_PER[unit], unit)


def _long(value: float, unit: Unit) -> str:
    return say_length(value * MM_PER[unit], unit)


def _at(at: Sequence[float], unit: Unit) -> str:
    digits = 3 if unit == "in" else 2
    x, y = (round(value, digits) + 0.0 for value in at[:2])  # + 0.0: no minus zero
    return f"X{x:.{digits}f} Y{y:.{digits}f}"


def _skim(item: dict[str, Any], names: dict[int, str], unit: Unit) -> Row:
    return f"{_fine(item['depth'], unit):>11}  ", [
        names[item["pass"]],
        f"into the floor of {names[item['into_pass']]};",
        f"{item['area']:.3f} {unit}², deepest at {_at(item['at'], unit)}, line {item['line']}",
    ]


def _step(item: dict[str, Any], names: dict[int, str], unit: Unit) -> Row:
    upper, lower = (_long(item[key], unit) for key in ("upper_z", "lower_z"))
    return f"{_fine(item['height'], unit):>11}  ", [
        names[item["upper_pass"]],
        f"stands proud of {names[item['lower_pass']]};",
        f"z {upper} over {lower}, {item['length']:.2f} {unit} long, at {_at(item['at'], unit)}",
    ]


def _pass(item: dict[str, Any], unit: Unit) -> Row:
    return f"{item['pass']:>3}  ", [
        f"{_tool_name(item)};",
        f"lines {item['from_line']}-{item['to_line']}, {count(item['moves'], 'feed move')},",
        f"{_long(item['length'], unit)}, removed {item['removed']:.4f} {unit}³",
    ]


def _level(item: dict[str, Any], names: dict[int, str], unit: Unit) -> Row:
    lead = f"z {_long(item['z'], unit):>12}  {item['area']:8.3f} {unit}²  "
    return lead, [names[item["pass"]]]


def _volume(item: dict[str, Any], unit: Unit) -> Row:
    stock, removed, left = (f"{item[key]:.4f}" for key in ("stock", "removed", "left"))
    return "", [
        f"stock {stock}, removed {removed}, left {left} {unit}³",
        "(sums over columns)",
    ]
