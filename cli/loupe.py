"""``proud loupe``: heights in a small window, down to a column each micrometre."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput, TooLarge
from proud.units import MM_PER, Unit, say_fine, say_length, to_unit

from .options import Answer, Asked, common, place, positive, surface_options
from .output import TARGET, write_arrays
from .words import row, screen_width
from .working import say_first_run

if TYPE_CHECKING:
    from proud.grid import Grid, Tile
    from proud.job import Job

__all__ = ["command"]

FINEST_MM = 0.001
"""Smallest pitch taken, mm."""
COLUMNS = 1000
"""Columns along each side unless a pitch is given, or that would be finer than the finest."""


@click.command("loupe")
@surface_options
@click.option("--at", required=True, metavar="X,Y", help="Middle of the window.")
@click.option("--size", required=True, metavar="S", help="Side of the window, such as 0.02in.")
@click.option(
    "--pitch", metavar="P", help="Distance of the columns, 1um or more [a 1000th of the window]."
)
@click.option("--picture", type=TARGET, help="Draw the window (PNG).")
@click.option(
    "--span", metavar="D",
    help="How far over and under its level the picture's colours reach [to the next floor].",
)  # fmt: skip
@common
def command(
    asked: Asked,
    at: str,
    size: str,
    pitch: str | None,
    picture: Path | None,
    span: str | None,
    answer: Answer,
) -> None:
    """Look at a square window of the surface, to a micrometre.

    --out writes an NPZ with x, y, z and pass in the job's unit; z is NaN and pass -1 where nothing
    is left.

    Example: proud loupe demo_parts/first_try/job.toml --at 0.5,0 --size 0.1 --picture loupe.png
    """
    out, as_of = answer.out, asked.as_of
    loaded = asked.load((out, "--out", ".npz"), (picture, "--picture", ".png"))
    unit = loaded.unit
    reach = None if span is None else positive(span, unit, "--span")
    if reach is not None and picture is None:
        raise BadInput("--span is for the picture; add --picture loupe.png, or leave it out")
    middle, side = place(at, unit, "--at"), positive(size, unit, "--size")
    grid = _window(middle, side, None if pitch is None else positive(pitch, unit, "--pitch"), unit)
    _check_on_stock(loaded, middle, side)
    loaded.count_as_of(as_of)
    say_first_run("window", *(["thin"] if picture else []), quiet=answer.silent)
    tile = loaded.surface(as_of=as_of, grid=grid)
    rows = _rows(loaded, tile, middle, side)
    if picture is not None:
        from proud.pictures_loupe import draw_loupe

        draw_loupe(
            tile, unit=unit, title=loaded.title, passes=loaded.pass_names(), path=picture,
            span_mm=reach,
        )  # fmt: skip
    if out is not None:
        from proud.pictures_loupe import loupe_arrays

        write_arrays(out, loupe_arrays(tile, unit))
    answer.tell(rows, lambda: _text(loaded, tile, rows))


def _window(middle: tuple[float, float], side: float, pitch: float | None, unit: Unit) -> Grid:
    """Return the window's columns, mm; refuse a pitch or a number of columns that can't be had."""
    from proud.grid import Grid

    if pitch is None:
        pitch = max(side / COLUMNS, FINEST_MM)
    if pitch < FINEST_MM:
        raise BadInput(f"--pitch {pitch * 1000:.4g} µm: is finer than 1 µm; use 1um or more")
    if side < 2 * pitch:
        raise BadInput(
            f"--size {side * 1000:.4g} µm: holds no two columns {pitch * 1000:.4g} µm apart; use a "
            "larger --size" + (" or a smaller --pitch" if pitch > FINEST_MM else "")
        )
    low = middle[0] - side / 2, middle[1] - side / 2
    grid = Grid.over(low, (low[0] + side, low[1] + side), pitch)
    _check_room(grid, pitch, unit)
    return grid


def _check_room(grid: Grid, pitch: float, unit: Unit) -> None:
    """Refuse a window that half of the free memory can't hold."""
    from proud.memory import RUN_BYTES, SHARE, available_memory, plan, say_bytes

    memory = available_memory()
    needed = grid.columns * RUN_BYTES
    try:
        plan(grid.columns)
        fits = needed <= SHARE * memory  # a run may go on disk; a loupe need not
    except TooLarge:
        fits = False
    if not fits:
        enough = pitch * 1.01 * (needed / (SHARE * memory)) ** 0.5
        raise TooLarge(
            f"a window of {grid.nx:,} x {grid.ny:,} columns takes about {say_bytes(needed)}, and "
            f"{say_bytes(memory)} of memory are free, of which it may take half; choose a smaller "
            f"--size, or a larger --pitch ({to_unit(enough, unit):.3g} {unit} fits)"
        )


def _check_on_stock(job: Job, middle: tuple[float, float], side: float) -> None:
    low, high = job.stock.low, job.stock.high
    if all(low[k] < middle[k] + side / 2 and middle[k] - side / 2 < high[k] for k in (0, 1)):
        return
    spans = (
        f"{axis} {say_length(low[k], job.unit)} to {say_length(high[k], job.unit)}"
        for k, axis in enumerate("XY")
    )
    raise BadInput(
        f"--at: the window lies off the stock, which spans {' and '.join(spans)}; choose a place "
        "on it"
    )


def _rows(job: Job, tile: Tile, middle: tuple[float, float], side: float) -> dict[str, Any]:
    """Return what is said of the window, in the job's unit."""
    from proud.pictures_loupe import pass_shares

    per = MM_PER[job.unit]
    names = {0: (None, "raw stock")} | job.pass_names()
    shares = pass_shares(tile)
    left = tile.top[tile.pass_number >= 0]
    return {
        "unit": job.unit,
        "at": [middle[0] / per, middle[1] / per],
        "size": side / per,
        "pitch": tile.grid.pitch_x / per,
        "least": float(left.min()) / per if left.size else None,
        "most": float(left.max()) / per if left.size else None,
        "passes": [
            {"pass": p.number, "tool": names[p.number][0], "name": names[p.number][1],
             "share": p.share}
            for p in shares
        ],
    }  # fmt: skip


def _text(job: Job, tile: Tile, rows: dict[str, Any]) -> str:
    """Return what the screen says: the heights' range, and each pass's share and middle height."""
    from proud.pictures_loupe import pass_shares

    unit, per, width = job.unit, MM_PER[job.unit], screen_width()
    places = 5 if unit == "in" else 4
    grid = tile.grid
    lines = [f"{grid.nx} x {grid.ny} columns, {grid.pitch_x * 1000:.4g} µm apart"]
    if rows["least"] is None:
        return "\n".join([*lines, "nothing is left here"])
    least, most = rows["least"] * per, rows["most"] * per
    heights = f"{say_length(least, unit, places)} to {say_length(most, unit, places)}"
    lines.append(row("heights  ", [f"{heights};", f"{say_fine(most - least, unit)} apart"], width))
    for told, item in zip(rows["passes"], pass_shares(tile), strict=True):
        name = f"pass {item.number} (tool {told['tool']}, {told['name']});"
        parts = ["the raw stock;" if item.number == 0 else name]
        parts.append(f"middle height {say_length(item.level_mm, unit, places)}")
        lines.append(row(f"  {100 * item.share:5.1f} %  ", parts, width))
    gone = 1.0 - sum(item["share"] for item in rows["passes"])
    if gone > 1e-12:
        lines.append(f"  {100 * gone:5.1f} %  nothing is left")
    return "\n".join(lines)
