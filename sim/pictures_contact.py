"""The path of passes from above, coloured by one measure of contact."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .pictures_color import INK, pass_colors
from .units import MM_PER, Unit, fine_unit

__all__ = ["draw_contact"]

Floats = NDArray[np.float64]

SIZE: Final = (1600, 1100)
AIR: Final = "#c9c9c9"
TITLES: Final = {
    "radial": "radial bite", "width": "engaged width", "axial": "axial bite",
    "engagement": "arc in metal", "chip_peak": "largest chip", "chip_mean": "mean chip",
    "corner_bite": "bite of the corner", "side_gap": "gap of the side to earlier walls",
    "floor_bite": "over (+ cut) or under (- clear) earlier floors", "cut": "way of cutting",
    "met": "parts of the tool that meet metal",
}  # fmt: skip
MOST_WORDS: Final = 12


@dataclasses.dataclass(frozen=True)
class Lines:
    """Stretches between neighbouring stations, and their value or word; NaN or '': in air."""

    ends: Floats
    value: Floats
    word: list[str]
    rapid: NDArray[np.bool_]


def draw_contact(
    rows: Mapping[str, Any],
    color: str,
    *,
    title: str,
    path: str | os.PathLike[str] | None = None,
    outline: tuple[float, float, float, float] | None = None,
) -> NDArray[np.uint8]:
    """Draw the path of passes from above, and save it as PNG when a path is given.

    Parameters
    ----------
    rows : mapping
        As `Contact.as_dict(along=True)` gives it.
    color : str
        A key of its stations that is a number, or ``cut`` or ``met``.
    title : str
    path : path, optional
        Ends in .png; replaced atomically.
    outline : (x, y, x, y), optional
        Low and high corner of the stock, in the job's unit.

    Returns
    -------
    ndarray of uint8, shape (1100, 1600, 3)

    Raises
    ------
    BadInput
        No such measure, nothing to draw, or a file that can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    if color not in TITLES:
        raise BadInput(f"no color {color!r}; there are {', '.join(TITLES)}")
    unit: Unit = rows["unit"]
    lines = _lines(rows, color, unit)
    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        sheet.write(24, 36, title, 27, weight="bold", room=SIZE[0] - 48)
        sheet.write(24, 72, _under(rows, color, unit), 18, room=SIZE[0] - 48)
        axes = sheet.figure.add_axes((0.05, 0.05, 0.72, 0.85))
        axes.set_aspect("equal")
        axes.tick_params(labelsize=14)
        if outline is not None:
            from matplotlib.patches import Rectangle

            x, y, x2, y2 = outline
            axes.add_patch(
                Rectangle((x, y), x2 - x, y2 - y, fc="#f2f2ee", ec=INK, lw=1.2, zorder=0)
            )
        _air(axes, lines)
        if color in ("cut", "met"):
            _words(sheet, axes, lines)
        else:
            _numbers(sheet, axes, lines, color, unit)
        axes.autoscale_view()
        return sheet.finished(path)


def _under(rows: Mapping[str, Any], color: str, unit: Unit) -> str:
    passes = rows["passes"]
    whose = f"pass {passes[0]['pass']} ({passes[0]['name']})" if len(passes) == 1 else (
        f"{len(passes)} passes"
    )  # fmt: skip
    said = "" if color in ("cut", "met") else f", {_unit(color, unit)}"
    return f"{TITLES[color]}{said}; {whose} from above ({unit}); grey: in air, dotted: rapid"


def _unit(color: str, unit: Unit) -> str:
    return "degrees" if color == "engagement" else fine_unit(unit)


def _lines(rows: Mapping[str, Any], color: str, unit: Unit) -> Lines:
    """Return the stretches of the path; each has the value of the station that begins it."""
    scale = 1.0 if color == "engagement" else MM_PER[unit] / (0.0254 if unit == "in" else 0.001)
    ends, value, word, rapid = [], [], [], []
    for p in rows["passes"]:
        for a, b in zip(p["along"], p["along"][1:], strict=False):
            here = a[color] if a["met"] or color == "side_gap" else None
            ends.append(((a["x"], a["y"]), (b["x"], b["y"])))
            rapid.append(a["rapid"])
            word.append("+".join(here or []) if color == "met" else str(here or ""))
            number = None if color in ("cut", "met") else here
            value.append(np.nan if number is None else float(number) * scale)
    if not ends:
        raise BadInput("nothing to draw: no pass of these moves")
    return Lines(np.array(ends, np.float64), np.array(value), word, np.array(rapid, np.bool_))


def _air(axes: Any, lines: Lines) -> None:
    """Draw what is in air: feeds grey, rapids dotted, both under what cuts."""
    from matplotlib.collections import LineCollection

    for mask, style in ((~lines.rapid, "-"), (lines.rapid, ":")):
        axes.add_collection(
            LineCollection(list(lines.ends[mask]), colors=AIR, linewidths=1.5, linestyles=style)
        )


def _numbers(sheet: Any, axes: Any, lines: Lines, color: str, unit: Unit) -> None:
    from matplotlib.collections import LineCollection

    there = np.flatnonzero(np.isfinite(lines.value))
    if not len(there):
        sheet.write(1290, 200, "no such contact on this path", 18)
        return
    there = there[np.argsort(lines.value[there], kind="stable")]  # the largest on top
    drawn = LineCollection(
        list(lines.ends[there]), array=lines.value[there], cmap="viridis_r",
        linewidths=4.0, zorder=3, capstyle="round",
    )  # fmt: skip
    axes.add_collection(drawn)
    bar = sheet.figure.add_axes((0.82, 0.1, 0.022, 0.72))
    sheet.figure.colorbar(drawn, cax=bar)
    bar.tick_params(labelsize=16)
    bar.set_title(_unit(color, unit), fontsize=16)


def _words(sheet: Any, axes: Any, lines: Lines) -> None:
    from matplotlib.collections import LineCollection

    words = sorted({w for w in lines.word if w})[:MOST_WORDS]
    for k, word in enumerate(words):
        mine = np.array([w == word for w in lines.word])
        color = tuple(pass_colors(np.array([k + 1]))[0])
        axes.add_collection(
            LineCollection(list(lines.ends[mine]), colors=[color], linewidths=4.0, zorder=3)
        )
        y = 180 + 34 * k
        sheet.axes.plot([1290, 1330], [y, y], color=color, lw=7, solid_capstyle="butt")
        sheet.write(1345, y, word, 18, room=SIZE[0] - 1360)
