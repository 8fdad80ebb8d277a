"""What ``proud run`` says of findings, and what a machinist checks beside them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from proud.findings.base import NONE
from proud.findings.whereabouts import where
from proud.findings.words import quoted
from proud.units import LARGE_MM, MM_PER, Unit, say_feed, say_fine, say_length

from .words import count, row, say_time, screen_width

if TYPE_CHECKING:
    from proud.clearance import Gap
    from proud.findings import Change, Finding
    from proud.findings.leads import Lead
    from proud.job import Job
    from proud.review import Review

__all__ = ["finding_lines", "gap_line", "is_clean", "look_lines", "sum_of", "table_lines"]

SAYS = {
    "stop": ("to stop for", "DO NOT START"),
    "spoils": ("will spoil the part", "SPOILS THE PART"),
    "watch": ("to watch", "WATCH"),
}
MOST_LEADS = 12


def is_clean(review: Review) -> bool:
    """Whether nothing above a note was found."""
    return not any(review.count(severity) for severity in ("stop", "spoils", "watch"))


def sum_of(review: Review) -> str:
    """Return the sum: ``3 will spoil the part, 2 to watch``."""
    parts = [f"{n} {says}" for s, (says, _) in SAYS.items() if (n := review.count(s))]  # type: ignore[arg-type]
    notes = review.count("note")
    return ", ".join(parts or ["nothing to change"]) + (
        f" ({count(notes, 'note')}: --all)" if notes else ""
    )


def finding_lines(review: Review, job: Job, *, everything: bool) -> list[str]:
    """Return the findings; notes only where everything is wanted."""
    shown = [f for f in review.findings if everything or f.severity != "note"]
    lines = []
    for number, finding in enumerate(shown, 1):
        lines += ["", *_finding(number, finding, job)]
    return lines


def _finding(number: int, f: Finding, job: Job) -> list[str]:
    names, width = job.pass_names(), screen_width()
    title = SAYS.get(f.severity, ("", "NOTE"))[1]
    tool = f"tool {f.tool}, pass {f.pass_number} ({names[f.pass_number][1]})"
    lead = f"{number:>2}  "
    lines = [row(lead, [f"{title}: {f.text}. [{f.rule}]"], width)]
    indent = " " * len(lead)
    first, last = f.lines
    lines_of = f"line {first}" if first == last else f"lines {first}-{last}"
    said = quoted(job, f)
    text = f": {said}" if said else ""
    lines.append(row(indent, [f"{tool},", f"{lines_of}{text}"], width))
    if f.other_pass is not None and f.other_pass in names:
        other = (
            f"with pass {f.other_pass} (tool {names[f.other_pass][0]}, {names[f.other_pass][1]})"
        )
        lines.append(row(indent, [other], width))
    sure = [] if f.sure == "exact" else [f"({f.sure})"]
    lines.append(row(indent, [_at(f, job.unit), f"({where(job, f.at)})", *sure], width))
    lines.append(row(indent, [f"why: {f.why}"], width))
    if f.change is not None:
        lines.append(row(indent, [f"change: {change_text(f.change, job.unit)}"], width))
    if f.then:
        lines.append(row(indent, [f"then: {f.then}"], width))
    return lines


def _at(f: Finding, unit: Unit) -> str:
    digits = 3 if unit == "in" else 2
    words = (
        f"{axis}{round(v / MM_PER[unit], digits) + 0.0:.{digits}f}"
        for axis, v in zip("XYZ", f.at, strict=True)
    )
    return "at " + " ".join(words)


def change_text(change: Change, unit: Unit) -> str:
    """Return a change in a line: what, from what to what, and what it costs."""
    fine = _is_fine(change, unit)
    before, after = (_value(v, change, unit, fine) for v in (change.before, change.after))
    text = change.what
    if text.endswith(", added"):
        text, before, after = f"{text.removesuffix('added')}add {_signed(change, unit)}", "", ""
    if after == NONE:
        text += f", now {before}: take it out"
    elif before and after:
        text += f" from {before} to {after}"
    elif after:
        text += f" {after}" if text.endswith(" by") else f": {after}"
    elif before:
        text += f", now {before}"
    if change.seconds:
        word = "more" if change.seconds > 0 else "less"
        text += f"; {say_time(abs(change.seconds))} {word} a part"
    return text


def _signed(change: Change, unit: Unit) -> str:
    """Return what is to be added, small, with its sign."""
    more = change.after
    if not isinstance(more, float):
        return str(more)
    return f"{'-' if more < 0 else '+'}{say_fine(abs(more), unit)}"


PLACES = ("Z ", "X ", "Y ", "lowest Z", "bottom", "top", "stepover", "depth")
"""What begins so is written as on a drawing, however small."""


def _is_fine(change: Change, unit: Unit) -> bool:
    """Return whether both values are written in thou or micrometres."""
    most = max((abs(v) for v in (change.before, change.after) if isinstance(v, float)), default=0.0)
    return most < min(0.1 * MM_PER["in"], LARGE_MM[unit]) and not change.what.startswith(PLACES)


def _value(value: float | str | None, change: Change, unit: Unit, fine: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if change.feed:
        return f"{say_feed(value, unit)} {unit}/min"
    if not change.length:
        return f"{value:g}"
    if not fine:
        return say_length(value, unit)
    return f"{'-' if value < 0 else ''}{say_fine(abs(value), unit)}"


def look_lines(review: Review, job: Job) -> list[str]:
    """Return what to check before starting: registers, and least gaps."""
    lines = []
    if review.registers:
        said = [
            f"{name} (off by {say_fine(abs(e), job.unit)}{' low' if e < 0 else ' high'} in the job)"
            if e
            else name
            for name, e in review.registers.items()
        ]
        lines.append(row("Check before starting: ", [", ".join(said)], screen_width()))
    line = gap_line(review, job.unit)
    return [*lines, *([line] if line else [])]


def gap_line(review: Review, unit: Unit) -> str:
    """Return the least gaps in one row; empty: there is nothing to judge."""
    parts = [
        f"{kind} over {say_fine(review.near, unit)}" if gap is None else _gap(kind, gap, unit)
        for kind, gap in review.gaps.items()
    ]
    if "fixture" in review.gaps and len(parts) > 1:
        parts[:2] = [f"{parts[0]}; to the stock: {parts[1]}"]
    return row("Least gaps: ", [", ".join(parts)], screen_width()) if parts else ""


def _gap(kind: str, gap: Gap, unit: Unit) -> str:
    name = gap.against if kind == "fixture" else gap.part
    size = say_fine(gap.gap, unit) if gap.gap >= 0 else f"overlaps {say_fine(-gap.gap, unit)}"
    return f"{name} {size} (T{gap.tool})"


def table_lines(review: Review, unit: Unit, *, everything: bool) -> list[str]:
    """Return the table of lead-ins and lead-outs, those on a show side marked with ``*``."""
    leads = [lead for lead in review.leads if everything or not lead.cut_away]
    if not leads:
        return []
    most = len(leads) if everything else MOST_LEADS
    marked = any(lead.seen for lead in leads)
    lines = ["", "Lead-ins and lead-outs on walls that stay" + (" (* seen)" if marked else "")]
    if everything:
        lines[1] = "Lead-ins and lead-outs" + (" (* seen)" if marked else "")
    lines += _leads(leads[:most], unit)
    if len(leads) > most:
        lines.append(f"  and {len(leads) - most} more (--all)")
    return lines


def _leads(leads: list[Lead], unit: Unit) -> Iterator[str]:
    digits = 3 if unit == "in" else 2
    for lead in leads:
        x, y = (round(v / MM_PER[unit], digits) + 0.0 for v in lead.at[:2])
        levels = f", {lead.levels} levels" if lead.levels > 1 else ""
        gone = ", cut away later" if lead.cut_away else ""
        mark = "*" if lead.seen else " "
        way = "on " if lead.on else "off"
        yield row(
            f"{mark} pass {lead.pass_number:>2}  {way}  X{x:.{digits}f} Y{y:.{digits}f}  ",
            [f"{lead.how}{levels}{gone}, line {lead.line}"], screen_width(),
        )  # fmt: skip
