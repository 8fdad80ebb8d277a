"""``proud passes``: what each pass does and leaves, and a pass list as a plain program."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput
from proud.units import MM_PER, Unit, say_fine, say_length

from .options import Answer, Asked, common, job_options
from .output import TARGET, write_text
from .words import count, row, say_time, screen_width

if TYPE_CHECKING:
    from proud.job import Job

__all__ = ["command"]

DIGITS = {"in": 4, "mm": 3}


@click.command("passes")
@job_options
@click.option(
    "--write", type=TARGET, metavar="OUT.NC",
    help="Write a pass list as a plain RS-274 program, for preview only.",
)  # fmt: skip
@common
def command(asked: Asked, write: Path | None, answer: Answer) -> None:
    """List the passes: tool, operation, path, time, lowest z, least wall and floor left.

    All is as written: a D error is in the paths and in the wall left, an H error is not. Times are
    those at the programmed feeds, rapids and tool changes left out.

    Example: proud passes demo_parts/first_try/job_passes.toml
    """
    loaded = asked.load((answer.out, "--out"), (write, "--write"))
    if write is not None:
        _check_write(loaded, write, asked.path)
    from proud.passes.listing import list_passes

    listing = list_passes(loaded)
    if write is not None:
        write_text(write, _program(loaded))
    rows = listing.as_dict()
    answer.give(rows, lambda: _text(rows, loaded, write))


def _check_write(job: Job, write: Path, path: Path) -> None:
    """Refuse to write a program for a job that has one, or over one that is not a preview."""
    if job.spec.setups[0].passes is None:
        name = job.spec.setups[0].program
        raise BadInput(
            f"--write {write}: {path} runs the program {name.name if name else ''}; only a pass "
            'list can be written as a program (passes = "passes.toml" in its setup)'
        )
    if not write.exists():
        return
    from proud.passes.write import MARK

    try:
        with write.open("rb") as file:
            top = file.read(200)
    except OSError as error:
        raise BadInput(f"--write {write}: can't be looked at: {error.strerror}") from None
    if MARK.encode("ascii") not in top:
        raise BadInput(
            f"--write {write}: is there already and is no preview written by this command; name "
            "another file, or delete it first"
        )


def _program(job: Job) -> str:
    from proud.passes.write import program_text

    setup = job.spec.setups[0]
    return program_text(
        job.programmed(0),
        unit=job.unit,
        stock_top=float(job.stock.high[2]),
        title=job.title,
        zero=setup.work_offsets["G54"],
    )


def _text(rows: dict[str, Any], job: Job, write: Path | None) -> str:
    unit, width = job.unit, screen_width()
    passes = rows["passes"]
    sums = [
        f"{job.title}: {count(len(passes), 'pass', 'passes')},",
        f"{say_time(rows['seconds'])} at the programmed feeds;",
        f"{_way(rows['length'], unit)} {unit} at feed, {_way(rows['rapid_length'], unit)} {unit} "
        "in rapids",
    ]
    lines = [row("", sums, width), ""]
    lines.append(f"{'':30}{'way':>7}{'rapids':>7}{'':12}{'least left':>18}")
    heads = ("pass", "tool", "operation", f"lowest {unit}", unit, unit, "time", "on wall", "floor")
    lines.append(_row(*heads) + "  name")
    for item in passes:
        lines.append(row(_lead(item, unit) + "  ", [item["name"]], width))
    if rows["notes"]:
        lines.append("")
    lines += [row("to know: ", [note], width) for note in rows["notes"]]
    if write is not None:
        lines += ["", f"{write}: written for preview only, not proven for any machine"]
    return "\n".join(lines)


def _row(*cells: str) -> str:
    number, tool, operation, lowest, way, rapids, time, wall, floor = cells
    return (
        f"{number:>4} {tool:>4}  {operation:<10}{lowest:>9}{way:>7}{rapids:>7}{time:>12}"
        f"{wall:>11}{floor:>11}"
    )


def _lead(item: dict[str, Any], unit: Unit) -> str:
    per = MM_PER[unit]
    left = ["" if v is None else say_fine(v * per, unit) for v in (
        item["least_wall_left"], item["least_floor_left"])]  # fmt: skip
    return _row(
        str(item["pass"]),
        f"T{item['tool']}",
        item["operation"] or "",
        say_length(item["lowest"] * per, unit).split()[0],
        _way(item["length"], unit),
        _way(item["rapid_length"], unit),
        say_time(item["seconds"]),
        *left,
    )


def _way(length: float, unit: Unit) -> str:
    return f"{length:.{1 if unit == 'in' else 0}f}"
