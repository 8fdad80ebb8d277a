"""Stock left on a wall, drawn against the way along the contour, with a plan of the contour."""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .pictures_color import INK, hatch_of, pass_colors
from .units import MM_PER, Unit, fine_unit, say_fine, say_length

__all__ = ["draw_wall"]

Floats = NDArray[np.float64]

SIZE: Final = (1600, 1060)
PROUD: Final = "#d9a08c"
UNDER: Final = "#8fb2cf"
"""Fills over and under the contour; the sign is in their place and hatch as well."""
LEAST_SPAN: Final = {"in": 0.1, "mm": 2.0}
"""Least height of the scale, thou or micrometres: a wall right on its contour is a level line."""
PLAN_SHARE: Final = 0.07
"""The largest stock on the plan, as a share of the plan's size."""
MANY_UPS: Final = 20
"""Ups and downs over the whole scale from which on the line is drawn thin."""
MOST_LOOPS: Final = 12
MOST_PASSES: Final = 6


@dataclasses.dataclass(frozen=True)
class Points:
    """Points of a wall: s in the job's unit, stock in thou or micrometres, NaN where none is."""

    s: Floats
    xy: Floats
    normal: Floats
    stock: Floats
    loop: NDArray[np.int64]
    pass_number: NDArray[np.int64]


def draw_wall(
    rows: Mapping[str, Any],
    *,
    title: str,
    path: str | os.PathLike[str] | None = None,
    passes: Mapping[int, tuple[int, str]] | None = None,
    when: str = "",
) -> NDArray[np.uint8]:
    """Draw the stock left on a wall, and save it as PNG when a path is given.

    Parameters
    ----------
    rows : mapping
        As `Wall.as_dict` gives it.
    title : str
    path : path, optional
        Ends in .png; replaced atomically.
    passes : mapping of int to (int, str), optional
        Tool number and name of each pass.
    when : str
        Added to the line under the title, such as ``, as of pass 3``.

    Returns
    -------
    ndarray of uint8, shape (1060, 1600, 3)

    Raises
    ------
    BadInput
        Fewer than two points, or a file that can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    unit: Unit = rows["unit"]
    if len(rows["points"]) < 2:
        raise BadInput(f"a wall needs at least two points, this one has {len(rows['points'])}")
    points = _points(rows, unit)
    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        sheet.write(24, 36, title, 27, weight="bold", room=SIZE[0] - 48)
        z, size = (say_length(rows[key] * MM_PER[unit], unit) for key in ("z", "length"))
        under = f"stock left on the wall along {rows['along']} at Z {z}, {size} long{when}"
        sheet.write(24, 72, under, 18, room=SIZE[0] - 48)
        _profile(sheet, rows, points, unit)
        factor = _plan(sheet, rows, points, unit)
        _numbers(sheet, rows, points, unit, passes or {})
        _caption(sheet, rows, factor)
        return sheet.finished(path)


def _fine(unit: Unit) -> float:
    """Thou in an inch, micrometres in a millimetre."""
    return MM_PER[unit] / (0.0254 if unit == "in" else 0.001)


def _points(rows: Mapping[str, Any], unit: Unit) -> Points:
    """Return the points as arrays, a gap put in where one contour ends and the next begins."""
    items = rows["points"]
    stock = np.array([math.nan if p["stock"] is None else p["stock"] for p in items])
    loop = np.array([p["loop"] for p in items], dtype=np.int64)
    number = np.array([-1 if p["pass"] is None else p["pass"] for p in items], dtype=np.int64)
    number[np.isnan(stock)] = -1
    places = np.array([[p["x"], p["y"]] for p in items], dtype=np.float64)
    normal = np.array([p["normal"] for p in items], dtype=np.float64)
    s = np.array([p["s"] for p in items], dtype=np.float64)
    return Points(s, places, normal, stock * _fine(unit), loop, number)


# ----------------------------------------------------------------------------- stock against s


def _profile(sheet: Any, rows: Mapping[str, Any], points: Points, unit: Unit) -> None:
    left, top, width, height = 130, 128, SIZE[0] - 130 - 130, 420
    axes = sheet.figure.add_axes(
        (left / SIZE[0], 1 - (top + height) / SIZE[1], width / SIZE[0], height / SIZE[1])
    )
    low, high = _scale(points, unit)
    axes.set_xlim(0.0, rows["length"])
    axes.set_ylim(low, high)
    ups = float(np.nansum(np.abs(np.diff(points.stock)))) / (high - low)
    thick = 5.0 if ups < MANY_UPS else 1.4
    for k in np.unique(points.loop):
        mine = points.loop == k
        s, stock = points.s[mine], points.stock[mine]
        for fill, where, hatch in ((PROUD, stock > 0, "//"), (UNDER, stock < 0, "\\\\")):
            axes.fill_between(
                s, stock, 0.0, where=where & np.isfinite(stock), interpolate=False,
                facecolor=fill, edgecolor="#6d6d6d", hatch=hatch, linewidth=0.0, zorder=2,
            )  # fmt: skip
        axes.plot(s, stock, color=INK, lw=thick, zorder=4, solid_joinstyle="round")
        _by_pass(axes, s, stock, points.pass_number[mine], 0.6 * thick)
    axes.axhline(0.0, color=INK, lw=1.6, zorder=3)
    _loop_marks(axes, points, low, high)
    _levels(axes, rows, unit, width)
    _extremes(axes, rows, unit, (low, high, height))
    axes.set_ylabel(f"stock ({fine_unit(unit)})", fontsize=17)
    axes.set_xlabel(f"s along the contour ({unit})", fontsize=17)
    axes.tick_params(labelsize=15)
    _ticks(axes, 10, 7)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _scale(points: Points, unit: Unit) -> tuple[float, float]:
    """Return the ends of the stock's scale: 0 and all stock in it, with room for call-outs."""
    low, high = (float(f(points.stock, initial=0.0, where=np.isfinite(points.stock)))
                 for f in (np.min, np.max))  # fmt: skip
    span = max(high - low, LEAST_SPAN[unit])
    return low - 0.24 * span, high + 0.24 * span


def _by_pass(axes: Any, s: Floats, stock: Floats, number: NDArray[np.int64], thick: float) -> None:
    """Colour the line by the pass that left the face."""
    cuts = np.flatnonzero(np.diff(number)) + 1
    starts, ends = [0, *cuts.tolist()], [*cuts.tolist(), len(s)]
    for first, end in zip(starts, ends, strict=True):
        if number[first] >= 0:
            color = tuple(pass_colors(np.array([number[first]]))[0])
            axes.plot(s[first:end], stock[first:end], color=color, lw=thick, zorder=5,
                      solid_joinstyle="round", solid_capstyle="butt")  # fmt: skip


def _loop_marks(axes: Any, points: Points, low: float, high: float) -> None:
    """Mark where one contour ends and the next begins."""
    first = np.flatnonzero(np.diff(points.loop, prepend=points.loop[0] - 1))
    if len(first) < 2:
        return
    for n, k in enumerate(first):
        if n:
            axes.axvline(points.s[k], color="#777777", lw=1.2, ls=(0, (5, 4)), zorder=1)
        if len(first) <= MOST_LOOPS:
            axes.text(
                points.s[k], high + 0.015 * (high - low),
                points.loop[k] if n else f"outline {points.loop[k]}", fontsize=15,
                color="#555555", ha="center" if n else "left", va="bottom", zorder=3,
            )  # fmt: skip


def _levels(axes: Any, rows: Mapping[str, Any], unit: Unit, width: float) -> None:
    """Draw the mean, and name it and the contour on the right."""
    mean = rows["mean"] * _fine(unit)
    axes.axhline(mean, color=INK, lw=1.6, ls=(0, (7, 4)), zorder=6)
    low, high = axes.get_ylim()
    apart = abs(mean) > 0.06 * (high - low)
    said = [(mean, "mean"), (0.0, "contour")] if apart else [(mean, "mean")]
    for value, word in said:
        axes.text(
            1.0 + 8 / width, (value - low) / (high - low), word, fontsize=16,
            transform=axes.transAxes, ha="left", va="center", parse_math=False,
        )  # fmt: skip


def _extremes(
    axes: Any, rows: Mapping[str, Any], unit: Unit, frame: tuple[float, float, float]
) -> None:
    """Call out the least as A and the most as B."""
    low, high, height = frame
    py = (high - low) / height
    width = axes.get_xlim()[1]
    for letter, word, way in (("A", "least", -1), ("B", "most", 1)):
        point = rows[f"at_{word}"]
        value = rows[word] * _fine(unit)
        s = min(max(point["s"], 0.02 * width), 0.98 * width)
        said = f"{word} {say_fine(rows[word] * MM_PER[unit], unit)}"
        axes.plot([point["s"]], [value], "o", ms=11, mfc="white", mec=INK, mew=2.4, zorder=10)
        axes.annotate(
            letter, (point["s"], value), (s, value + way * 40 * py), fontsize=18, weight="bold",
            color="white", ha="center", va="center", zorder=11,
            bbox={"boxstyle": "circle,pad=0.18", "fc": INK, "ec": "white", "lw": 1.6},
            arrowprops={"arrowstyle": "-", "lw": 1.6, "color": INK, "shrinkB": 6},
        )  # fmt: skip
        right = s > 0.8 * width
        axes.annotate(
            said, (s, value + way * 40 * py), (-20 if right else 20, 0),
            textcoords="offset points", fontsize=19, weight="bold", parse_math=False,
            ha="right" if right else "left", va="center", zorder=11,
            bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.9},
        )  # fmt: skip


def _ticks(axes: Any, across: int, up: int) -> None:
    from matplotlib.ticker import MaxNLocator

    for axis, bins in ((axes.xaxis, across), (axes.yaxis, up)):
        axis.set_major_locator(MaxNLocator(bins, steps=[1, 2, 2.5, 5, 10]))
        axis.get_major_formatter().set_useOffset(False)
        axis.get_major_formatter().set_scientific(False)


# ------------------------------------------------------------------------------------- the plan


def _plan(sheet: Any, rows: Mapping[str, Any], points: Points, unit: Unit) -> float:
    """Draw the contour in plan with the stock on it; returns how much that is enlarged."""
    left, top, width, height = 60, 622, 700, 350
    axes = sheet.figure.add_axes(
        (left / SIZE[0], 1 - (top + height) / SIZE[1], width / SIZE[0], height / SIZE[1])
    )
    axes.axis("off")
    low, high = points.xy.min(axis=0), points.xy.max(axis=0)
    size = max(float((high - low).max()), 1e-9)
    most = float(np.nanmax(np.abs(points.stock)))
    factor = PLAN_SHARE * size * _fine(unit) / max(most, LEAST_SPAN[unit] / 2)
    factor = _nice(factor)
    drawn = points.stock / _fine(unit) * factor
    room = 0.12 * size
    middle = 0.5 * (low + high)
    per_px = max((high[0] - low[0] + 2 * room) / width, (high[1] - low[1] + 2 * room) / height)
    axes.set_xlim(middle[0] - per_px * width / 2, middle[0] + per_px * width / 2)
    axes.set_ylim(middle[1] - per_px * height / 2, middle[1] + per_px * height / 2)
    face = points.xy + drawn[:, None] * points.normal
    for k in np.unique(points.loop):
        _plan_loop(axes, points, face, points.loop == k)
    _plan_letters(axes, rows, points, per_px)
    return factor


def _plan_loop(axes: Any, points: Points, face: Floats, mine: NDArray[np.bool_]) -> None:
    """Draw one contour, its enlarged stock filled over and under it."""
    from matplotlib.collections import PolyCollection

    xy, out = points.xy[mine], face[mine]
    mean = points.stock[mine][:-1] + points.stock[mine][1:]
    quads = np.stack([xy[:-1], xy[1:], out[1:], out[:-1]], axis=1)
    good = np.isfinite(mean)
    colors = [PROUD if v > 0 else UNDER for v in mean[good]]
    axes.add_collection(
        PolyCollection(
            list(quads[good]), facecolors=colors, edgecolors=colors, linewidths=0.5, zorder=2
        )
    )
    axes.plot(*out.T, color="#555555", lw=1.0, zorder=3)
    axes.plot(*xy.T, color=INK, lw=2.2, zorder=4, solid_joinstyle="round")


def _plan_letters(axes: Any, rows: Mapping[str, Any], points: Points, per_px: float) -> None:
    """Mark where s begins and which way it runs, and the places of the least and the most."""
    first = points.xy[0]
    on = next((p for p in points.xy[1:] if np.hypot(*(p - first)) > 26 * per_px), points.xy[-1])
    axes.annotate(
        "", on, first, zorder=6,
        arrowprops={"arrowstyle": "-|>", "lw": 2.4, "color": INK, "mutation_scale": 22,
                    "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    last = points.xy[points.loop == points.loop[0]][-1]
    shut = np.hypot(*(last - first)) < 30 * per_px
    way = -points.normal[0] if shut else (first - on) / np.hypot(*(first - on))
    at = first + 34 * per_px * way
    axes.text(
        *at, "s = 0", fontsize=15, ha="center", va="center", zorder=6,
        bbox={"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.85},
    )  # fmt: skip
    places = {"A": rows["at_least"], "B": rows["at_most"]}
    spots = {k: np.array([p["x"], p["y"]]) for k, p in places.items()}
    near = float(np.hypot(*(spots["A"] - spots["B"]))) < 40 * per_px
    for letter, point in places.items():
        place, normal = spots[letter], np.array(point["normal"])
        aside = np.array([-normal[1], normal[0]]) * (22 if letter == "A" else -22) * near
        at = place + per_px * (34 * normal + aside)
        axes.plot(*place, "o", ms=9, mfc="white", mec=INK, mew=2.2, zorder=7)
        axes.annotate(
            letter, place, at, fontsize=17, weight="bold", color="white", ha="center", va="center",
            zorder=8, bbox={"boxstyle": "circle,pad=0.15", "fc": INK, "ec": "white", "lw": 1.4},
            arrowprops={"arrowstyle": "-", "lw": 1.4, "color": INK, "shrinkB": 4},
        )  # fmt: skip


def _nice(value: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten not above `value`, at least 1."""
    if value <= 1:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return float(max(m for m in (1, 2, 5) if m * power <= value * (1 + 1e-9)) * power)


# --------------------------------------------------------------------------- numbers and captions


def _numbers(
    sheet: Any, rows: Mapping[str, Any], points: Points, unit: Unit,
    passes: Mapping[int, tuple[int, str]],
) -> None:  # fmt: skip
    """Write least, most and mean with their places, and the passes along the wall."""
    from matplotlib.patches import Rectangle

    x, room, y = 800, SIZE[0] - 830, 640
    per = MM_PER[unit]
    digits = 4 if unit == "in" else 3
    for letter, word in (("A", "least"), ("B", "most")):
        p = rows[f"at_{word}"]
        sheet.axes.plot([x + 13], [y], "o", ms=28, mfc=INK, mec="white", mew=1.5, zorder=8)
        sheet.write(x + 13, y + 1, letter, 17, weight="bold", color="white", ha="center")
        sheet.write(x + 40, y, f"{word}  {say_fine(rows[word] * per, unit)}", 20, weight="bold")
        where = f"at X {p['x'] + 0.0:.{digits}f}  Y {p['y'] + 0.0:.{digits}f}"
        sheet.write(x + 300, y, where, 17, room=room - 300)
        sheet.write(x + 40, y + 28, _left_by(p, passes), 16, color="#444444", room=room - 40)
        y += 70
    sheet.write(x + 40, y, f"mean  {say_fine(rows['mean'] * per, unit)}", 20, weight="bold")
    sheet.write(x + 300, y, f"over {say_length(rows['measured'] * per, unit)}", 17)
    y += 44
    numbers = [int(n) for n in np.unique(points.pass_number) if n >= 0]
    for number in numbers[:MOST_PASSES]:
        sheet.axes.add_patch(
            Rectangle((x + 4, y - 9), 28, 18, facecolor=tuple(pass_colors(np.array([number]))[0]),
                      edgecolor="#555555", lw=0.8, hatch=hatch_of(number))
        )  # fmt: skip
        sheet.write(x + 40, y, _pass(number, passes), 16, room=room - 40)
        y += 26
    if len(numbers) > MOST_PASSES:
        sheet.write(x + 40, y, f"and {len(numbers) - MOST_PASSES} more passes", 16)


def _pass(number: int, passes: Mapping[int, tuple[int, str]]) -> str:
    if number == 0:
        return "raw stock"
    tool, name = passes.get(number, (None, ""))
    return f"pass {number}" + (f"  T{tool}  {name}" if tool is not None else "")


def _left_by(point: Mapping[str, Any], passes: Mapping[int, tuple[int, str]]) -> str:
    if not point["pass"]:
        return "the raw stock's face"
    line = f", line {point['line']}" if point["line"] else ""
    part = f", {point['part_of_tool']} of the tool" if point["part_of_tool"] else ""
    return f"left by {_pass(point['pass'], passes)}{part}{line}"


def _caption(sheet: Any, rows: Mapping[str, Any], factor: float) -> None:
    """State what was enlarged, how the sign goes and what was left out."""
    text = (
        "Simulated, not measured. Above 0 the metal stands proud of the contour, below 0 it is cut "
        f"under. On the plan the stock is enlarged × {factor:,.0f}."
    )
    for note in rows["notes"]:
        text += f" {note[:1].upper()}{note[1:]}."
    for n, line in enumerate(sheet.wrapped(text, 15, SIZE[0] - 60)[:2]):
        sheet.write(30, SIZE[1] - 46 + 24 * n, line, 15, color="#444444")
