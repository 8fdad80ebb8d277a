"""A labelled section along a traced line: hatched metal, z in thou, steps dimensioned."""

from __future__ import annotations

import dataclasses
import itertools
import math
import os
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .pictures_color import INK, hatch_of, pass_colors
from .units import MM_PER, Unit, fine_unit, say_fine, say_length

__all__ = ["draw_section"]

Floats = NDArray[np.float64]

SIZE: Final = (1600, 1000)
SMALL_MM: Final = 0.762
"""Steps under 0.030 in are worth a window of their own."""
LEVEL_MM: Final = 1e-6
MOST_WINDOWS: Final = 3
TALL: Final = 12.0
"""Heights along the line over this many times the smallest step need windows on the steps."""


@dataclasses.dataclass(frozen=True)
class Line:
    """A traced line, s in mm, z in thou or micrometres, NaN where nothing is."""

    s: Floats
    z: Floats
    pass_number: NDArray[np.int64]


@dataclasses.dataclass(frozen=True)
class Mark:
    """A step to dimension: s in mm, the two levels in thou or micrometres."""

    s: float
    low: float
    high: float
    left: float
    right: float
    text: str
    size_mm: float


@dataclasses.dataclass(frozen=True)
class Window:
    """A part of the section drawn in one panel: limits of s (mm), its marks, None for all."""

    s_low: float
    s_high: float
    marks: tuple[Mark, ...]


def draw_section(
    points: Mapping[str, Any],
    steps: Sequence[Mapping[str, Any]],
    *,
    unit: Unit,
    title: str,
    path: str | os.PathLike[str] | None = None,
    exaggerate: float | None = None,
    passes: Mapping[int, tuple[int, str]] | None = None,
) -> NDArray[np.uint8]:
    """Draw the section along a traced line, and save it as PNG when a path is given.

    Where the heights along the line are far larger than its small steps, the whole line is drawn
    above and the places of the steps below it, each in a window of its own.

    Parameters
    ----------
    points : mapping of arrays
        ``s``, ``x``, ``y``, ``z`` (job's unit, z NaN or None where nothing is), ``pass``, ``line``.
    steps : sequence of mapping
        ``s, x, y, jump, height, from_pass, to_pass``; `height` None where a side has no level.
    unit : {'in', 'mm'}
    title : str
    path : path, optional
        Ends in .png; replaced atomically.
    exaggerate : float, optional
        Vertical exaggeration of the windows, or of the section when it needs none; chosen and
        stated otherwise.
    passes : mapping of int to (int, str), optional
        Tool number and name of each pass, for the legend.

    Returns
    -------
    ndarray of uint8, shape (1000, 1600, 3)

    Raises
    ------
    BadInput
        Fewer than two points, an exaggeration not over 0, or a file that can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    if exaggerate is not None and not 0 < exaggerate < math.inf:
        raise BadInput(f"exaggeration {exaggerate:g} can't be drawn; use a number over 0")
    line = _line(points, steps, unit)
    marks = _marks(line, steps, unit)
    windows, whole = _windows(line, marks)
    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        sheet.write(24, 36, title, 27, weight="bold", room=SIZE[0] - 48)
        x, y = (np.asarray(points[key], dtype=np.float64) for key in ("x", "y"))
        sheet.write(
            24, 72, f"section from X {x[0]:g} Y {y[0]:g} to X {x[-1]:g} Y {y[-1]:g} {unit}", 18,
            room=SIZE[0] - 48,
        )  # fmt: skip
        tall = tuple(mark for mark in marks if mark.size_mm >= SMALL_MM) if whole else None
        _panels(sheet, line, windows, tall, unit, exaggerate)
        _legend(sheet, line, passes or {})
        _caption(sheet, marks, windows, whole)
        return sheet.finished(path)


def _fine_mm(unit: Unit) -> float:
    return 0.0254 if unit == "in" else 0.001


def _line(points: Mapping[str, Any], steps: Sequence[Mapping[str, Any]], unit: Unit) -> Line:
    """Return the traced line in our units, upright at the steps that jump."""
    s = np.asarray(points["s"], dtype=np.float64) * MM_PER[unit]
    if s.size < 2:
        raise BadInput(f"a section needs at least two points, this one has {s.size}")
    z = np.array([math.nan if v is None else v for v in points["z"]], dtype=np.float64)
    number = np.array([-1 if v is None else int(v) for v in points["pass"]], dtype=np.int64)
    number[np.isnan(z)] = -1
    line = Line(s, z * (MM_PER[unit] / _fine_mm(unit)), number)
    for step in steps:
        if abs(step.get("jump") or 0.0) * MM_PER[unit] >= LEVEL_MM:
            line = _with_jump(line, float(step["s"]) * MM_PER[unit])
    return line


def _with_jump(line: Line, s: float) -> Line:
    """Put a point on either side of a jump at s, where the samples pass it at an angle."""
    near = 1e-9 * max(1.0, float(line.s[-1]))
    before = int(np.searchsorted(line.s, s - near, side="left")) - 1
    after = int(np.searchsorted(line.s, s + near, side="right"))
    if before < 0 or after >= line.s.size or after - before > 2:
        return line  # at an end of the line, or both sides are there already
    left, right = before, after
    if after - before == 2:  # one sample right on it: it belongs to the side it is level with
        on = before + 1
        of_left = abs(line.z[on] - line.z[before]) <= abs(line.z[after] - line.z[on])
        left, right = (on, after) if of_left else (before, on)
    return Line(
        np.insert(line.s, right, [s, s]),
        np.insert(line.z, right, line.z[[left, right]]),
        np.insert(line.pass_number, right, line.pass_number[[left, right]]),
    )


def _marks(line: Line, steps: Sequence[Mapping[str, Any]], unit: Unit) -> list[Mark]:
    """Return the steps with something to dimension, those of equal place and height once."""
    per, fine = MM_PER[unit], _fine_mm(unit)
    marks: list[Mark] = []
    for step in steps:
        height, jump = step.get("height"), step.get("jump")
        value = height if height else jump
        if not value or abs(value) * per < LEVEL_MM:
            continue
        s, rise = float(step["s"]) * per, value * per / fine
        left, z_left = _level(line, s, step["from_pass"], -1) if height else _beside(line, s, -1)
        right, z_right = _level(line, s, step["to_pass"], 1) if height else _beside(line, s, 1)
        if math.isnan(z_left):
            z_left = z_right - rise
        if math.isnan(z_left):
            left, z_left = _beside(line, s, -1)  # neither side has its level on the line
        if math.isnan(z_left):
            continue
        z_right = z_left + rise
        said = say_fine(abs(value) * per, unit)
        if abs(value) * per >= SMALL_MM:
            said = say_length(abs(value) * per, unit)
        text = said if height else f"jump {said}"
        low, high = sorted((z_left, z_right))
        same = any(abs(m.low - low) + abs(m.high - high) < 2 * LEVEL_MM / fine
                   and abs(m.left - left) + abs(m.right - right) < 1e-3 for m in marks)  # fmt: skip
        if not same:
            marks.append(Mark(s, low, high, left, right, text, abs(value) * per))
    return marks


def _level(line: Line, s: float, number: int | None, way: int) -> tuple[float, float]:
    """Where the first flat run of a pass begins, walking away from s, and its height or NaN."""
    fine = LEVEL_MM * 1e3  # a millionth of a millimetre is a nanometre in either fine unit
    order = np.nonzero(line.s >= s if way > 0 else line.s <= s)[0][::way]
    for a, b in itertools.pairwise(order):
        level = abs(line.z[a] - line.z[b]) <= fine and abs(line.s[a] - line.s[b]) > LEVEL_MM
        if level and line.pass_number[a] == line.pass_number[b] == number:
            return float(line.s[a]), float(line.z[a])
    return s, math.nan


def _beside(line: Line, s: float, way: int) -> tuple[float, float]:
    """Return the nearest point on one side, and its height."""
    if way > 0:
        i = min(int(np.searchsorted(line.s, s, side="right")), line.s.size - 1)
    else:
        i = max(int(np.searchsorted(line.s, s, side="left")) - 1, 0)
    return float(line.s[i]), float(line.z[i])


def _windows(line: Line, marks: Sequence[Mark]) -> tuple[list[Window], bool]:
    """Windows to draw and whether the whole line is to be drawn above them."""
    s_low, s_high = float(line.s[0]), float(line.s[-1])
    small = [mark for mark in marks if mark.size_mm < SMALL_MM]
    heights = line.z[~np.isnan(line.z)]
    tall = float(np.ptp(heights)) if heights.size else 0.0
    if not small or tall <= TALL * min(mark.high - mark.low for mark in small):
        return [Window(s_low, s_high, tuple(marks))], False
    spans = []
    for mark in sorted(small, key=lambda m: m.s):
        left, right = min(mark.left, mark.s), max(mark.right, mark.s)
        margin = max(0.8 * (right - left), 0.02 * (s_high - s_low))
        spans.append(Window(max(s_low, left - margin), min(s_high, right + margin), (mark,)))
    merged = [spans[0]]
    for span in spans[1:]:
        last = merged[-1]
        z = [v for m in (*last.marks, *span.marks) for v in (m.low, m.high)]
        least = min(m.high - m.low for m in (*last.marks, *span.marks))
        if span.s_low < last.s_high and max(z) - min(z) <= TALL * least:
            merged[-1] = Window(
                last.s_low, max(last.s_high, span.s_high), (*last.marks, *span.marks)
            )
        else:
            merged.append(span)
    if len(merged) > MOST_WINDOWS:
        merged.sort(key=lambda w: min(m.size_mm for m in w.marks))
        merged = sorted(merged[:MOST_WINDOWS], key=lambda w: w.s_low)
    return merged, True


def _panels(
    sheet: Any, line: Line, windows: Sequence[Window], tall: tuple[Mark, ...] | None,
    unit: Unit, exaggerate: float | None,
) -> None:  # fmt: skip
    """Draw the windows, under the whole line with its tall steps if those are given."""
    left, right, top, bottom = 118, SIZE[0] - 40, 128, SIZE[1] - 190
    if tall is None:
        _panel(sheet, line, windows[0], (left, top, right - left, bottom - top), unit, exaggerate,
               f"whole line, {line.s[-1] / MM_PER[unit]:.4g} {unit}")  # fmt: skip
        return
    over_h = 200
    over = Window(float(line.s[0]), float(line.s[-1]), tall)
    axes = _panel(sheet, line, over, (left, top, right - left, over_h), unit, None, "whole line")
    n = len(windows)
    gap = 96
    width = (right - left - gap * (n - 1)) / n
    y = top + over_h + 116
    for k, window in enumerate(windows):
        letter = "ABC"[k]
        box = (left + k * (width + gap), y, width, bottom - y)
        _panel(sheet, line, window, box, unit, exaggerate, f"window {letter}")
        low, high = axes.get_ylim()
        ends = [v / MM_PER[unit] for v in (window.s_low, window.s_high)]
        axes.axvspan(*ends, fc="none", ec=INK, lw=1.6, ls=(0, (4, 2)), zorder=7)
        axes.text(
            sum(ends) / 2, high - 0.04 * (high - low), letter, fontsize=20, weight="bold",
            ha="center", va="top", zorder=9, parse_math=False,
            bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": INK, "lw": 1.2},
        )  # fmt: skip


def _panel(
    sheet: Any, line: Line, window: Window, box: tuple[float, float, float, float], unit: Unit,
    exaggerate: float | None, name: str,
) -> Any:  # fmt: skip
    """Draw one panel; returns its axes, s in the job's unit against z in thou or micrometres."""
    x, y, w, h = box
    axes = sheet.figure.add_axes((x / SIZE[0], 1 - (y + h) / SIZE[1], w / SIZE[0], h / SIZE[1]))
    per, fine = MM_PER[unit], _fine_mm(unit)
    inside = (line.s >= window.s_low) & (line.s <= window.s_high) & ~np.isnan(line.z)
    seen = [*line.z[inside]] if not window.marks else []
    seen += [v for mark in window.marks for v in (mark.low, mark.high)]
    if name.startswith("whole"):
        seen += [*line.z[inside]]
    low, high = (min(seen), max(seen)) if seen else (-1.0, 1.0)
    room = 1.5 if name.startswith("whole") else 2.6
    mm_per_px = (window.s_high - window.s_low) / w
    least_mm = max((high - low) * fine * room, 1e-4 if high > low else 4 * fine)
    factor = exaggerate or _nice_factor(h * mm_per_px / least_mm)
    span = h * mm_per_px / factor / fine
    middle = (low + high) / 2
    axes.set_xlim(window.s_low / per, window.s_high / per)
    axes.set_ylim(middle - span / 2, middle + span / 2)
    _metal(axes, line, per)
    _dimensions(axes, window, per, w)
    axes.set_title(f"{name}: heights × {factor:.3g}", fontsize=18, loc="left", pad=9, weight="bold")
    axes.set_ylabel(f"Z ({fine_unit(unit)})", fontsize=17)
    axes.set_xlabel(f"along the line ({unit})", fontsize=17)
    axes.tick_params(labelsize=15)
    axes.xaxis.set_major_locator(_locator(max(2, int(w / 150))))
    axes.yaxis.set_major_locator(_locator(max(2, int(h / 60))))
    for axis in (axes.xaxis, axes.yaxis):
        axis.get_major_formatter().set_useOffset(False)
        axis.get_major_formatter().set_scientific(False)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def _locator(bins: int) -> Any:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(bins, steps=[1, 2, 2.5, 5, 10])


def _nice_factor(value: float) -> float:
    """Return the largest of 1, 1.5, 2, 3, 5, 7 times a power of ten not above `value`."""
    power = 10.0 ** math.floor(math.log10(max(value, 1e-6)))
    return float(max(m for m in (1, 1.5, 2, 3, 5, 7) if m * power <= value * (1 + 1e-9)) * power)


def _runs(number: NDArray[np.int64]) -> list[tuple[int, int]]:
    """First and last index of each run of one pass."""
    cuts = np.nonzero(np.diff(number))[0] + 1
    starts = [0, *cuts.tolist()]
    ends = [*(cuts - 1).tolist(), number.size - 1]
    return list(zip(starts, ends, strict=True))


def _metal(axes: Any, line: Line, per: float) -> None:
    """Hatch the metal under the line and colour the line by the pass that left it."""
    base, top = axes.get_ylim()
    s = line.s / per
    there = ~np.isnan(line.z)
    axes.fill_between(
        s, line.z, base, where=there, facecolor="#f1f0ec", edgecolor="#9a9a94", hatch="//",
        linewidth=0.0, zorder=2,
    )  # fmt: skip
    axes.plot(s, line.z, color=INK, lw=7.0, zorder=4, solid_joinstyle="round")
    for first, last in _runs(line.pass_number):
        number = int(line.pass_number[first])
        if number < 0:
            continue
        stop = last + 1 if last + 1 < s.size and there[last + 1] else last
        color = tuple(pass_colors(np.array([number]))[0])
        axes.plot(s[first : stop + 1], line.z[first : stop + 1], color=color, lw=4.4, zorder=5,
                  solid_joinstyle="round", solid_capstyle="butt")  # fmt: skip
        _name_run(axes, s[first : last + 1], line.z[first : last + 1], number, base, top)


def _name_run(axes: Any, s: Floats, z: Floats, number: int, base: float, top: float) -> None:
    """Write the pass under a run that is long enough to carry its name."""
    low, high = axes.get_xlim()
    shown = (s >= low) & (s <= high) & (z >= base) & (z <= top)
    pixels = axes.get_window_extent()
    if not shown.any():
        return
    part = s[shown]
    text = "raw" if number == 0 else f"pass {number}"
    if (part[-1] - part[0]) / (high - low) * pixels.width < 13 * len(text):
        return
    middle = 0.5 * (part[0] + part[-1])
    at = float(z[shown][int(np.argmin(np.abs(part - middle)))])
    drop = 30 / pixels.height * (top - base)
    if at - 1.6 * drop < base:
        drop = -drop
    axes.text(
        middle, at - drop, text, fontsize=16, ha="center", va="center", zorder=8, parse_math=False,
        bbox={"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.9},
    )  # fmt: skip


def _dimensions(axes: Any, window: Window, per: float, width_px: float) -> None:
    """Dimension each step with extension lines, an arrow and its number."""
    low, high = axes.get_xlim()
    px = (high - low) / width_px
    base, top = axes.get_ylim()
    py = (top - base) / axes.get_window_extent().height
    last = -math.inf
    for mark in sorted(window.marks, key=lambda m: m.s):
        s = min(max(mark.s / per, low + 24 * px, last + 74 * px), high - 60 * px)
        last = s
        for z, ends in ((mark.low, (mark.left, mark.right)), (mark.high, (mark.left, mark.right))):
            reach = [min(s - 22 * px, *(e / per for e in ends)), s + 22 * px]
            reach[1] = max(reach[1], *(e / per for e in ends))
            reach = [max(reach[0], s - 160 * px), min(reach[1], s + 160 * px)]
            axes.plot(reach, [z, z], color=INK, lw=1.1, ls=(0, (6, 3)), zorder=6)
        tall = (mark.high - mark.low) / py
        style = "<|-|>" if tall > 34 else "-"
        axes.annotate(
            "", (s, mark.high), (s, mark.low), zorder=9,
            arrowprops={"arrowstyle": style, "lw": 2.0, "color": INK, "shrinkA": 0, "shrinkB": 0,
                        "mutation_scale": 15},
        )  # fmt: skip
        axes.text(
            s, mark.high + 26 * py, mark.text, fontsize=20, weight="bold", ha="center",
            va="center", zorder=10, parse_math=False,
            bbox={"boxstyle": "round,pad=0.2", "fc": "white", "ec": INK, "lw": 1.0},
        )  # fmt: skip


def _legend(sheet: Any, line: Line, passes: Mapping[int, tuple[int, str]]) -> None:
    """List the passes along the line in rows under the panels."""
    from matplotlib.patches import Rectangle

    numbers = [int(n) for n in np.unique(line.pass_number) if n >= 0][:8]
    width = (SIZE[0] - 60) / 4
    for n, number in enumerate(numbers):
        x, y = 30 + (n % 4) * width, SIZE[1] - 108 + (n // 4) * 30
        sheet.axes.add_patch(
            Rectangle((x, y - 9), 30, 18, facecolor=tuple(pass_colors(np.array([number]))[0]),
                      edgecolor="#555555", lw=0.8, hatch=hatch_of(number))
        )  # fmt: skip
        tool, name = passes.get(number, (None, ""))
        text = "raw stock" if number == 0 else f"pass {number}"
        if number and tool is not None:
            text += f"  T{tool}  {name}"
        sheet.write(x + 38, y, text, 16, room=width - 52)


def _caption(sheet: Any, marks: Sequence[Mark], windows: Sequence[Window], whole: bool) -> None:
    """State what was chosen and left out."""
    shown = sum(len(window.marks) for window in windows)
    shown += sum(mark.size_mm >= SMALL_MM for mark in marks) if whole else 0
    text = "Simulated, not measured. Heights are exaggerated as written over each panel."
    if whole:
        text += (
            " The heights along the line are far larger than its small steps: windows show those."
        )
    if shown < len(marks):
        text += f" Steps not shown for want of room: {len(marks) - shown}."
    for n, row in enumerate(sheet.wrapped(text, 15, SIZE[0] - 60)[:2]):
        sheet.write(30, SIZE[1] - 42 + 24 * n, row, 15, color="#444444")
