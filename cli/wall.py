"""``proud wall``: stock left on a wall along a contour."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput
from proud.units import MM_PER, Unit, say_fine, say_length

from .options import Answer, Asked, common, length, positive, surface_options
from .output import TARGET, to_csv, write_text
from .words import row, screen_width
from .working import say_first_run

if TYPE_CHECKING:
    from proud.job import Job
    from proud.wall import Along

__all__ = ["command"]

DIGITS = {"in": 4, "mm": 3}
NOTHING_MM = 5e-6
"""A face this near the contour stands neither proud nor is it cut under, on the screen."""


@click.command("wall")
@surface_options
@click.option("--z", required=True, metavar="Z", help="Height at which the wall is measured.")
@click.option(
    "--along", required=True, metavar="part|pass:N|X1,Y1:X2,Y2",
    help="The part's section at Z, the wall that the side of a pass cuts there, or a line.",
)  # fmt: skip
@click.option("--spacing", metavar="D", help="Distance of the points [a 500th of the contour].")
@click.option("--reach", metavar="L", help="How far from the contour to look [0.25 in].")
@click.option(
    "--side", type=click.Choice(["left", "right"]),
    help="Side of the path or line on which the metal is; found by itself unless given.",
)  # fmt: skip
@click.option("--save", type=TARGET, help="Write the points as CSV.")
@click.option("--picture", type=TARGET, help="Draw stock along s (PNG).")
@common
def command(
    asked: Asked,
    z: str,
    along: str,
    spacing: str | None,
    reach: str | None,
    side: Any,
    save: Path | None,
    picture: Path | None,
    answer: Answer,
) -> None:
    """Measure the stock left on a wall: least, most and mean, to a millionth.

    Stock is counted square to the contour: above 0 the metal stands proud of it, below 0 it is
    cut under.

    Example: proud wall demo_parts/second_try/job.toml --z -0.3 --along part
    """
    loaded = asked.load((answer.out, "--out"), (save, "--save"), (picture, "--picture", ".png"))
    unit, as_of = loaded.unit, asked.as_of
    height, what = length(z, unit, "--z"), _along(along, unit)
    far = {} if reach is None else {"reach": positive(reach, unit, "--reach")}
    step = None if spacing is None else positive(spacing, unit, "--spacing")
    loaded.count_as_of(as_of)
    say_first_run("rays", quiet=answer.silent)
    from proud.wall import wall

    found = wall(loaded, height, what, spacing=step, side=side, as_of=as_of, **far)
    rows = found.as_dict()
    if picture is not None:
        _draw(loaded, rows, picture, as_of)
    if save is not None:
        write_text(save, _csv(rows))
    answer.give(rows, lambda: _text(rows, loaded, as_of))


def _along(text: str, unit: Unit) -> Along:
    word = text.strip().lower()
    if word == "part":
        return "part"
    if found := re.fullmatch(r"(?:pass\s*:\s*)?(\d{1,9})", word):
        return int(found[1])
    ends = text.split(":")
    if len(ends) == 2 and all(end.count(",") == 1 for end in ends):
        (x1, y1), (x2, y2) = (
            [length(part, unit, "--along") for part in end.split(",")] for end in ends
        )
        return (x1, y1), (x2, y2)
    raise BadInput(
        f"--along {text!r}: write part for the part's section, pass:3 for the side of a pass, or "
        "X1,Y1:X2,Y2 for a line"
    )


def _draw(job: Job, rows: dict[str, Any], path: Path, as_of: str | None) -> None:
    from proud.pictures_wall import draw_wall

    when = "" if as_of is None else f", as of {_when(as_of)}"
    draw_wall(rows, title=job.title, path=path, passes=job.pass_names(), when=when)


def _when(as_of: str) -> str:
    return as_of.replace(":", " ") if ":" in as_of else f"pass {as_of}"


def _csv(rows: dict[str, Any]) -> str:
    unit = rows["unit"]
    heads = [f"{name} ({unit})" for name in ("s", "x", "y", "stock")]
    heads += ["loop", "pass", "line", "tool", "part_of_tool", "note"]
    keys = ("s", "x", "y", "stock", "loop", "pass", "line", "tool", "part_of_tool", "note")
    return to_csv(heads, ([p[key] for key in keys] for p in rows["points"]))


def _text(rows: dict[str, Any], job: Job, as_of: str | None) -> str:
    unit, names, width = job.unit, job.pass_names(), screen_width()
    per = MM_PER[unit]
    when = "" if as_of is None else f", as of {_when(as_of)}"
    size = say_length(rows["length"] * per, unit)
    head = f"along {rows['along']} at z {say_length(rows['z'] * per, unit)}, {size} long{when}"
    lines = [row("", [head], width)]
    for word, point in (("least", rows["at_least"]), ("most", rows["at_most"])):
        lead = f"  {word:<5} {say_fine(rows[word] * per, unit):>11}  "
        lines.append(row(lead, _where(rows[word] * per, point, names, unit), width))
    lines.append(f"  mean  {say_fine(rows['mean'] * per, unit):>11}  by length")
    lines += [row("  to know: ", [note], width) for note in rows["notes"]]
    return "\n".join(lines)


def _where(
    stock: float, point: dict[str, Any], names: dict[int, tuple[int, str]], unit: Unit
) -> list[str]:
    digits = DIGITS[unit]
    x, y = (round(point[key], digits) + 0.0 for key in ("x", "y"))
    says = "stands proud" if stock > 0 else "cut under"
    said = "on the contour" if abs(stock) < NOTHING_MM else says
    parts = [f"{said} at X{x:.{digits}f} Y{y:.{digits}f},"]
    if not point["pass"]:
        return [*parts, "the raw stock's face"]
    tool, name = names[point["pass"]]
    line = f", line {point['line']}" if point["line"] else ""
    part = f"{point['part_of_tool']} of " if point["part_of_tool"] else ""
    return [*parts, f"left by the {part}tool {tool},", f"pass {point['pass']} ({name}){line}"]
