"""What ``proud run`` says on the screen, in the words of the trade."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from proud.units import MM_PER, Unit, say_fine, say_length

from .review import finding_lines, gap_line, is_clean, look_lines, sum_of, table_lines
from .words import CAUTION, count, row, say_time, screen_width, wrapped

if TYPE_CHECKING:
    from proud.job import Job
    from proud.result import RunResult
    from proud.review import Review

__all__ = ["run_text"]

SMALL_STEP = 0.030 * 25.4
"""Steps under this are listed; common practice, no source."""
MOST_ROWS = 24

Row = tuple[str, list[str]]
"""A row's lead, and the parts that follow it."""


def run_text(
    result: RunResult,
    rows: dict[str, Any],
    *,
    everything: bool,
    drawn: Sequence[Path],
    review: Review | None = None,
    job: Job | None = None,
) -> str:
    """Return the text of a run: one line that sums it up, then what a person has to know.

    Parameters
    ----------
    result : RunResult
    rows : dict
        The same, as `RunResult.as_dict` gives it: lengths in the job's unit.
    everything : bool
        Every step, and notes, passes, levels, skims and volume too.
    drawn : sequence of Path
        Pictures written, all in one folder; it is named last.
    review : Review, optional
        What the rules found, with `job`; None: they were not asked, and skims are listed.
    """
    if review is None or job is None:
        parts = [*_head(result, rows, None), *_skims(result, rows, everything)]
        parts += _steps(result, rows, everything) + _rest(result, rows, everything, None)
        parts += ["", *wrapped(CAUTION, screen_width())]
    elif is_clean(review) and not everything:
        parts = [*_head(result, rows, review), *_short(result, rows, review)]
        parts += wrapped(CAUTION, screen_width())
    else:
        parts = _whole(result, rows, review, job, everything)
    if drawn:
        parts += ["", "Pictures", *(f"  {path.name}" for path in drawn)]
        parts += [f"in the folder {drawn[0].parent}"]
    return "\n".join(parts)


def _whole(
    result: RunResult, rows: dict[str, Any], review: Review, job: Job, everything: bool
) -> list[str]:
    """Return all that is said of a job with findings, or where everything is wanted."""
    parts = [*_head(result, rows, review), *finding_lines(review, job, everything=everything)]
    if checks := look_lines(review, job):
        parts += ["", *checks]
    parts += table_lines(review, result.unit, everything=everything)
    parts += _steps(result, rows, everything)
    parts += _section("Not looked at", review.not_looked_at, lambda t: ("- ", [t]), everything)
    if everything:
        parts += _skims(result, rows, everything)
    parts += _rest(result, rows, everything, review)
    return [*parts, "", *wrapped(CAUTION, screen_width())]


def _head(result: RunResult, rows: dict[str, Any], review: Review | None) -> list[str]:
    """Return the line that sums it up."""
    small = [s for s in rows["steps"] if s["height"] * MM_PER[result.unit] < SMALL_STEP]
    counts = [] if review is not None else [count(len(rows["skims"]), "skim")]
    counts += [
        f"{count(len(small), 'step')} under {say_fine(SMALL_STEP, result.unit)}",
        count(len(rows["passes"]), "pass", "passes"),
    ]
    found = f"{sum_of(review)}; " if review is not None else ""
    return row("", [f"{result.title}: {found}{', '.join(counts)}."], screen_width()).split("\n")


def _short(result: RunResult, rows: dict[str, Any], review: Review) -> list[str]:
    """Return what is said of a clean job, a line each: gaps, and what was not looked at."""
    width, lines = screen_width(), []
    if line := gap_line(review, result.unit):
        lines.append(line)
    else:
        lines.append("Least gaps: nothing to judge, no neck, shank, holder or fixture is given.")
    said, more = "Not looked at: ", [*review.not_looked_at, *rows["notes"]]
    kept = [more[-1 - len(rows["notes"])]]
    for text in more[: len(review.not_looked_at) - 1]:
        if len(said) + len("; ".join([*kept, text])) + len("; 99 more (--all).") <= width:
            kept.append(text)
    left = len(more) - len(kept)
    return [*lines, said + "; ".join([*kept, *([f"{left} more (--all)"] if left else [])]) + "."]


def _names(rows: dict[str, Any]) -> dict[int, str]:
    names = {p["pass"]: f"pass {p['pass']} ({_tool_name(p)})" for p in rows["passes"]}
    return names | {0: "the raw stock"}


def _skims(result: RunResult, rows: dict[str, Any], everything: bool) -> list[str]:
    names = _names(rows)
    heading = "Skims: a later pass cut into a floor that was done"
    return _section(heading, rows["skims"], lambda s: _skim(s, names, result.unit), everything)


def _steps(result: RunResult, rows: dict[str, Any], everything: bool) -> list[str]:
    unit, names = result.unit, _names(rows)
    small = [s for s in rows["steps"] if s["height"] * MM_PER[unit] < SMALL_STEP]
    steps = sorted(rows["steps"] if everything else small, key=lambda s: s["height"])
    heading = "Steps" if everything else f"Steps under {say_fine(SMALL_STEP, unit)}"
    return _section(heading, steps, lambda s: _step(s, names, unit), everything)


def _rest(
    result: RunResult, rows: dict[str, Any], everything: bool, review: Review | None
) -> list[str]:
    """Return passes, levels and volume where everything is wanted, and what else to know."""
    unit, names, parts = result.unit, _names(rows), list[str]()
    if everything:
        times = {} if review is None else review.seconds
        parts += _section("Passes", rows["passes"], lambda p: _pass(p, unit, times), everything)
        if times:
            total = say_time(sum(times.values()))
            parts.append(f"  all of it about {total}, by feeds, rapids and tool changes")
        parts += _section("Levels", rows["levels"], lambda v: _level(v, names, unit), everything)
        parts += _section("Volume", [rows["volume"]], lambda v: _volume(v, unit), everything)
    return parts + _section("To know", rows["notes"], lambda note: ("- ", [note]), everything)


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


def _pass(item: dict[str, Any], unit: Unit, times: Mapping[int, float]) -> Row:
    about = [f"about {say_time(times[item['pass']])}"] if item["pass"] in times else []
    return f"{item['pass']:>3}  ", [
        f"{_tool_name(item)};",
        f"lines {item['from_line']}-{item['to_line']}, {count(item['moves'], 'feed move')},",
        f"{_long(item['length'], unit)}, removed {item['removed']:.4f} {unit}³" + ";" * len(about),
        *about,
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
