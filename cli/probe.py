"""``proud probe``: where a touch probe or a height gauge would first meet the metal."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput, closest
from proud.units import MM_PER, Unit, length_mm, say_length

from .options import Answer, Asked, common, length, surface_options
from .output import TARGET, to_csv, write_text
from .words import row, screen_width
from .working import say_first_run

if TYPE_CHECKING:
    from proud.job import Job
    from proud.probe import Probed, Target

__all__ = ["command", "read_points"]

Vector = tuple[float, float, float]

DOWN: Vector = (0.0, 0.0, -1.0)
COLUMNS = ("x", "y", "z", "dx", "dy", "dz", "name")
MOST_POINTS = 100_000
MOST_SAID = 40
"""Rows on the screen; ``--save`` and ``--json`` hold them all."""
DIGITS = {"in": 5, "mm": 4}


@click.command("probe")
@surface_options
@click.option("--at", metavar="X,Y[,Z]", help="Where the stylus starts; no Z: clear of the stock.")
@click.option(
    "--toward", metavar="DX,DY,DZ", default="0,0,-1", show_default=True,
    help="Direction in which it moves.",
)  # fmt: skip
@click.option("--stylus", metavar="D", help="Diameter of the stylus ball [0: a point].")
@click.option(
    "--points", type=click.Path(path_type=Path),
    help="CSV of places: columns x, y and, where wanted, z, dx, dy, dz, name.",
)  # fmt: skip
@click.option("--save", type=TARGET, help="Write what was read as CSV.")
@common
def command(
    asked: Asked,
    at: str | None,
    toward: str,
    stylus: str | None,
    points: Path | None,
    save: Path | None,
    answer: Answer,
) -> None:
    """Touch the part as a probe or a height gauge would: first contact along a direction.

    With a ball, x, y and z are as a calibrated probe reads them: the ball's centre at the touch
    and its radius further along the direction. JSON and CSV hold centre and touch as well.

    Example: proud probe demo_parts/first_try/job.toml --at 0.1,-0.5
    """
    if (at is None) == (points is None):
        raise BadInput("say where to probe: --at X,Y[,Z] for one place, or --points places.csv")
    read = [points] if points is not None else []
    loaded = asked.load((answer.out, "--out"), (save, "--save"), reads=read)
    unit, as_of = loaded.unit, asked.as_of
    diameter = 0.0 if stylus is None else length(stylus, unit, "--stylus")
    if diameter < 0:
        raise BadInput(f"--stylus {stylus!r}: is below 0; write the ball's diameter, 0 for a point")
    way = _direction(toward, "--toward")
    places = [_place(at, way, unit)] if at is not None else read_points(read[0], unit, way)
    loaded.count_as_of(as_of)
    say_first_run("rays", quiet=answer.silent)
    from proud.probe import probe

    found = probe(loaded, places, stylus=diameter, as_of=as_of)
    if at is not None and found.note(0) == "starts inside the metal":
        raise BadInput(_inside(found, at, unit))
    rows = found.as_dict()
    if save is not None:
        write_text(save, _csv(rows))
    answer.give(rows, lambda: _text(found, rows, loaded))


def _inside(found: Probed, at: str, unit: Unit) -> str:
    ball = f" (ball {say_length(found.stylus, unit)})" if found.stylus else ""
    return f"--at {at!r}{ball}: starts inside the metal; begin outside it, or leave out Z"


# -------------------------------------------------------------------------------- what is asked for


def _place(text: str, toward: Vector, unit: Unit) -> Target:
    from proud.probe import Target

    parts = text.split(",")
    if len(parts) not in (2, 3):
        raise BadInput(f"--at {text!r}: write a place as X,Y or X,Y,Z such as 0.5,-1.25,-0.2")
    x, y, *rest = (length(part, unit, "--at") for part in parts)
    if not rest and (toward[0] or toward[1]):
        raise BadInput(
            f"--at {text!r}: a direction that is not straight down or up takes a start with its "
            "height; write X,Y,Z"
        )
    return Target(x, y, rest[0] if rest else None, toward)


def _direction(text: str, where: str) -> Vector:
    parts = text.split(",")
    try:
        dx, dy, dz = (float(part) for part in parts)
    except ValueError:
        raise BadInput(
            f"{where} {text!r}: write a direction as DX,DY,DZ such as 1,0,0 or 0,0,-1"
        ) from None
    return _checked((dx, dy, dz), f"{where} {text!r}")


def _checked(toward: Vector, where: str) -> Vector:
    size = math.hypot(*toward)
    if not 1e-9 < size < 1e9:
        raise BadInput(f"{where}: points nowhere; one of its numbers must not be 0, none be huge")
    return toward


def read_points(path: Path, unit: Unit, toward: Vector = DOWN) -> list[Target]:
    """Return the places that a CSV file asks for.

    Parameters
    ----------
    path : Path
        First row: column names ``x``, ``y`` and, where wanted, ``z``, ``dx``, ``dy``, ``dz``,
        ``name``, in any order, separated by commas, semicolons or tabs. A length is in the job's
        unit, in the unit that its column's name ends with, as in ``x (mm)``, or in its own.
    unit : {'in', 'mm'}
        The job's.
    toward : tuple of float
        Direction of rows that give none.

    Raises
    ------
    BadInput
        File, line and column of what can't be used.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise BadInput(f"--points {path}: can't be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise BadInput(f"--points {path}: is no text; save the places as CSV (UTF-8)") from None
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip(" \t,;")]
    if not lines:
        raise BadInput(f"{path}: is empty; its first line names the columns, such as x,y,z")
    mark = next((m for m in ",;\t" if m in lines[0][1]), ",")
    names = _heading(path, *lines[0], mark)
    if len(lines) - 1 > MOST_POINTS:
        raise BadInput(f"{path}: holds over {MOST_POINTS:,} places; split the file")
    if len(lines) == 1:
        raise BadInput(f"{path}: names its columns but holds no place; add a line for each")
    return [_Row(path, n, line, mark, names, unit).target(toward) for n, line in lines[1:]]


def _cells(line: str, mark: str) -> Iterator[tuple[int, str]]:
    """Yield each cell of a line with its column, from 1; a cell in quotes may hold the mark."""
    start, quoted = 0, False
    for k, c in enumerate(line + mark):
        if c == '"' and (quoted or not line[start:k].strip()):
            quoted = not quoted and line.find('"', k + 1) > 0
        elif c == mark and (not quoted or k == len(line)):
            cell = line[start:k]
            lead = len(cell) - len(cell.lstrip())
            cell = cell.strip()
            if len(cell) > 1 and cell[0] == cell[-1] == '"':
                cell = cell[1:-1].strip()
            yield start + lead + 1, cell
            start, quoted = k + 1, False


def _heading(path: Path, number: int, line: str, mark: str) -> dict[str, tuple[int, str | None]]:
    """Return the position of each column, and the unit that its name carries."""
    names: dict[str, tuple[int, str | None]] = {}
    for k, (column, cell) in enumerate(_cells(line, mark)):
        where = f"{path}:{number}:{column}"
        found = re.fullmatch(r"([A-Za-z]+)\s*(?:[(\[]\s*([^)\]]+?)\s*[)\]])?", cell)
        name = found[1].lower() if found else cell.lower()
        if name not in COLUMNS:
            raise BadInput(
                f"{where}: {cell!r} is not a column of places; there are {', '.join(COLUMNS)}"
                + closest(name, COLUMNS)
            )
        if name in names:
            raise BadInput(f"{where}: a second column {name}; leave one of them out")
        unit = found[2] if found else None
        if unit is not None and (name not in "xyz" or unit not in MM_PER):
            raise BadInput(
                f"{where}: {cell!r} carries a unit that can't be used here; x, y and z may carry "
                "in, thou, mm or um"
            )
        names[name] = k, unit
    for name in ("x", "y"):
        if name not in names:
            raise BadInput(f"{path}:{number}: no column {name}; the first line names the columns")
    return names


class _Row:
    """One line of places."""

    def __init__(
        self, path: Path, number: int, line: str, mark: str,
        names: Mapping[str, tuple[int, str | None]], unit: Unit,
    ) -> None:  # fmt: skip
        self.path, self.number, self.names, self.unit = path, number, names, unit
        self.cells = list(_cells(line, mark))
        for column, cell in self.cells[len(names) :]:
            if cell:
                raise self.error(column, f"{cell!r} is beyond the last column")

    def error(self, column: int, text: str) -> BadInput:
        return BadInput(f"{self.path}:{self.number}:{column}: {text}")

    def cell(self, name: str) -> tuple[int, str]:
        """Return column and text of a cell; an empty text where the line has none."""
        k = self.names[name][0] if name in self.names else len(self.cells)
        end = self.cells[-1][0] + len(self.cells[-1][1])
        return self.cells[k] if k < len(self.cells) else (end, "")

    def length(self, name: str, *, needed: bool) -> float | None:
        column, text = self.cell(name)
        if not text:
            if needed:
                raise self.error(column, f"no {name}; every place has one")
            return None
        own = self.names[name][1]
        bare = own is not None and re.fullmatch(r"[-+.0-9eE]+", text)
        try:
            return length_mm(f"{text} {own}" if bare else text, self.unit)
        except BadInput as error:
            raise self.error(column, f"{name}: {error}") from None

    def number_of(self, name: str) -> float:
        column, text = self.cell(name)
        try:
            value = float(text or 0.0)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.error(column, f"{name}: {text!r} is not a number; write such as 1 or -0.5")
        return value

    def target(self, toward: Vector) -> Target:
        from proud.probe import Target

        axes = ("dx", "dy", "dz")
        if any(self.cell(name)[1] for name in axes):
            column = min(self.cell(name)[0] for name in axes if self.cell(name)[1])
            dx, dy, dz = (self.number_of(name) for name in axes)
            toward = _checked((dx, dy, dz), f"{self.path}:{self.number}:{column}: direction")
        x, y = self.length("x", needed=True), self.length("y", needed=True)
        z = self.length("z", needed=False)
        assert x is not None
        assert y is not None
        if z is None and (toward[0] or toward[1]):
            raise self.error(
                self.cell("z")[0],
                "no z; a direction that is not straight down or up takes a start with its height",
            )
        return Target(x, y, z, toward, self.cell("name")[1])


# ----------------------------------------------------------------------------------- what was found


def _csv(rows: dict[str, Any]) -> str:
    unit, points = rows["unit"], rows["points"]
    named = any(p["name"] for p in points)
    heads = [*(["name"] if named else []), *(f"{v} ({unit})" for v in "xyz"), "pass", "line"]
    heads += ["part_of_tool", "tool", *(f"at_{v} ({unit})" for v in "xyz"), "dx", "dy", "dz"]
    heads += [f"distance ({unit})"]
    triples = ("center", "touch", "normal")
    heads += [f"{t}_{v}" + ("" if t == "normal" else f" ({unit})") for t in triples for v in "xyz"]
    lines: list[list[object]] = []
    for p in points:
        values: list[object] = [p["name"]] if named else []
        values += [p[k] for k in ("x", "y", "z", "pass", "line", "part_of_tool", "tool")]
        values += [*p["at"], *p["toward"], p["distance"]]
        for t in triples:
            values += p[t] or [None] * 3
        lines.append([*values, p["note"]])
    return to_csv([*heads, "note"], lines)


def _text(found: Probed, rows: dict[str, Any], job: Job) -> str:
    unit, names, width = job.unit, job.pass_names(), screen_width()
    ball = f"stylus ball {say_length(found.stylus, unit)}" if found.stylus else "a point"
    points = rows["points"]
    count = "1 place" if len(points) == 1 else f"{len(points)} places"
    lines = [f"{count} touched with {ball}"]
    for p in points[:MOST_SAID]:
        name = [f"{p['name']}:"] if p["name"] else []
        if p["note"]:
            where = _say(p["at"], unit)
            lines.append(row("  ", [*name, f"from {where}", p["note"]], width))
            continue
        parts = [*name, _say((p["x"], p["y"], p["z"]), unit), _left_by(p, names)]
        lines.append(row("  ", parts, width))
    if len(points) > MOST_SAID:
        lines.append(f"  and {len(points) - MOST_SAID} more (--save places.csv)")
    return "\n".join(lines)


def _say(at: Any, unit: Unit) -> str:
    digits = DIGITS[unit]
    named = zip("XYZ", at, strict=True)
    return " ".join(f"{name}{round(v, digits) + 0.0:.{digits}f}" for name, v in named)


def _left_by(p: dict[str, Any], names: Mapping[int, tuple[int, str]]) -> str:
    if not p["pass"]:
        return "on the raw stock"
    tool, name = names[p["pass"]]
    part = f"{p['part_of_tool']} of " if p["part_of_tool"] else ""
    line = f", line {p['line']}" if p["line"] else ""
    return f"left by the {part}tool {tool}, pass {p['pass']} ({name}){line}"
