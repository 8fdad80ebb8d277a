"""``proud trace``: exact heights and steps along a line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.units import MM_PER, say_fine

from .options import Answer, Asked, common, place, positive, surface_options
from .output import TARGET, to_csv, write_text
from .words import row, screen_width
from .working import say_first_run

if TYPE_CHECKING:
    from proud.job import Job
    from proud.trace import Trace

__all__ = ["command"]


@click.command("trace")
@surface_options
@click.option("--from", "start", required=True, metavar="X,Y", help="Where the line begins.")
@click.option("--to", "stop", required=True, metavar="X,Y", help="Where the line ends.")
@click.option("--spacing", metavar="D", help="Distance of the points [a 500th of the line].")
@click.option("--save", type=TARGET, help="Write the points as CSV.")
@click.option("--picture", type=TARGET, help="Draw the section (PNG).")
@click.option("--exaggerate", type=click.FloatRange(1, 1e6), help="Stretch of the section's z.")
@common
def command(
    asked: Asked,
    start: str,
    stop: str,
    spacing: str | None,
    save: Path | None,
    picture: Path | None,
    exaggerate: float | None,
    answer: Answer,
) -> None:
    """List every step on a line across the part, to a millionth.

    The jump is the drop of the surface right there; the height is from level to level, as a
    height gauge would read it. Both are positive where the surface goes up along the line.

    Example: proud trace demo_parts/first_try/job.toml --from 0.1,-0.8 --to 0.1,0.8
    """
    loaded = asked.load((answer.out, "--out"), (save, "--save"), (picture, "--picture", ".png"))
    unit = loaded.unit
    step = None if spacing is None else positive(spacing, unit, "--spacing")
    ends = place(start, unit, "--from"), place(stop, unit, "--to")
    loaded.count_as_of(asked.as_of)
    say_first_run("trace", quiet=answer.silent)
    found = loaded.trace(*ends, spacing=step, as_of=asked.as_of)
    rows = found.as_dict()
    if picture is not None:
        _draw(loaded, rows, picture, exaggerate)
    if save is not None:
        write_text(save, _csv(rows))
    answer.give(rows, lambda: _text(found, loaded))


def _csv(rows: dict[str, Any]) -> str:
    unit = rows["unit"]
    heads = [*(f"{name} ({unit})" for name in ("s", "x", "y", "z")), "pass", "line"]
    keys = ("s", "x", "y", "z", "pass", "line")
    return to_csv(heads, ([p[key] for key in keys] for p in rows["points"]))


def _draw(job: Job, rows: dict[str, Any], path: Path, exaggerate: float | None) -> None:
    from proud.pictures import draw_section

    points = {key: [p[key] for p in rows["points"]] for key in ("s", "x", "y", "z", "pass", "line")}
    draw_section(
        points,
        rows["steps"],
        unit=job.unit,
        title=job.title,
        path=path,
        exaggerate=exaggerate,
        passes=job.pass_names(),
    )


def _text(found: Trace, job: Job) -> str:
    names = {n: f"pass {n} ({name})" for n, (_, name) in job.pass_names().items()}
    names[0] = "raw stock"
    per, unit = MM_PER[job.unit], job.unit
    count, width = len(found.steps), screen_width()
    places = f"{count} place" if count == 1 else f"{count or 'no'} places"
    lines = [f"{places} where the pass changes or the surface jumps"]
    for t in found.steps:
        height = "no level to compare" if t.height is None else say_fine(t.height, unit)
        measured = "edge:"
        if t.jump is not None:
            measured = f"jump {say_fine(t.jump, unit)}, level to level {height}:"
        parts = [
            f"(X{t.x / per:.4f} Y{t.y / per:.4f})",
            measured,
            _name(t.from_pass, names),
            f"to {_name(t.to_pass, names)}",
        ]
        lines.append(row(f"  at {t.s / per:.5f} {unit}  ", parts, width))
    return "\n".join(lines)


def _name(number: int | None, names: dict[int, str]) -> str:
    return "nothing left" if number is None else names[number]
