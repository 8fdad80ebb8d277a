"""Lettering of pictures: title, legend, call-outs, table, scale bar, caption.

Everything is placed in pixels over the drawn view.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .pictures_color import INK, hatch_of, pass_colors
from .pictures_sheet import Sheet
from .units import MM_PER, Unit, fine_unit, say_fine, say_length

if TYPE_CHECKING:
    from .pictures import PictureOptions
    from .pictures_plan import Raster

__all__ = ["CallOut", "Room", "callouts_of", "room_of"]

MOST_CALLOUTS: Final = 8
SMALL_STEP_MM: Final = 0.762
"""Steps under 0.030 in come first: they are the ones nobody drew."""
MOST_LEGEND: Final = 16
MOST_LINES: Final = 40
"""A level crossed by more lines than this is left without: it runs through scallops."""


@dataclasses.dataclass(frozen=True)
class CallOut:
    """One numbered place of interest.

    Attributes
    ----------
    at_mm : (float, float, float)
    short : str
        Beside the number, on the view.
    long : str
        In the table under the view.
    """

    at_mm: tuple[float, float, float]
    short: str
    long: str


def callouts_of(
    steps: Sequence[Mapping[str, Any]], skims: Sequence[Mapping[str, Any]], unit: Unit
) -> list[CallOut]:
    """Return the places worth a number, the most interesting first, at most `MOST_CALLOUTS`.

    Parameters
    ----------
    steps, skims : sequence of mapping
        As in the JSON of a run, numbers in the job's unit.
    unit : {'in', 'mm'}

    Returns
    -------
    list of CallOut
        Steps under 0.030 in, longest border first, in turn with skims, largest area first; then
        the higher steps. Those without a place are left out.
    """
    per = MM_PER[unit]
    placed = [step for step in steps if step.get("at")]
    placed.sort(key=lambda step: (-float(step["length"]), tuple(step["at"])))
    small = [step for step in placed if abs(step["height"]) * per < SMALL_STEP_MM]
    tall = [step for step in placed if abs(step["height"]) * per >= SMALL_STEP_MM]
    skimmed = [skim for skim in skims if skim.get("at")]
    skimmed.sort(key=lambda skim: (-float(skim["area"]), tuple(skim["at"])))
    chosen: list[CallOut] = []
    for n in range(max(len(small), len(skimmed))):
        chosen += [_step_callout(step, unit) for step in small[n : n + 1]]
        chosen += [_skim_callout(skim, unit) for skim in skimmed[n : n + 1]]
    chosen += [_step_callout(step, unit) for step in tall]
    return chosen[:MOST_CALLOUTS]


def _pass_name(number: int) -> str:
    return "raw stock" if number == 0 else f"pass {number}"


def _at_mm(entry: Mapping[str, Any], unit: Unit) -> tuple[float, float, float]:
    x, y, z = (float(value) * MM_PER[unit] for value in entry["at"])
    return x, y, z


def _step_callout(step: Mapping[str, Any], unit: Unit) -> CallOut:
    mm = abs(step["height"]) * MM_PER[unit]
    said = say_fine(mm, unit) if mm < SMALL_STEP_MM else say_length(mm, unit)
    border = say_length(step["length"] * MM_PER[unit], unit, 2 if unit == "in" else 1)
    upper, lower = _pass_name(step["upper_pass"]), _pass_name(step["lower_pass"])
    z = say_length(step["upper_z"] * MM_PER[unit], unit)
    return CallOut(
        _at_mm(step, unit), said, f"step {said}: {upper} (Z {z}) above {lower}, border {border}"
    )


def _skim_callout(skim: Mapping[str, Any], unit: Unit) -> CallOut:
    said = say_fine(skim["depth"] * MM_PER[unit], unit)
    area = f"{skim['area']:.{3 if unit == 'in' else 1}f} {unit}²"
    line = f", line {skim['line']}" if skim.get("line") is not None else ""
    into = _pass_name(skim["into_pass"])
    return CallOut(
        _at_mm(skim, unit), f"skim {said}", f"skim {said}: pass {skim['pass']} cut into the "
        f"floor of {into}, {area}{line}",
    )  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Room:
    """Where things go on the sheet, pixels."""

    scale: float
    view: tuple[int, int, int, int]
    legend: tuple[int, int, int]
    table_y: int
    table_rows: int
    caption_y: int
    gutter: int


def room_of(size: tuple[int, int], callouts: int) -> Room:
    """Return the places of view (x, y, w, h), legend (x, y, w), table and caption."""
    w, h = size
    scale = max(0.72, math.sqrt(min(w / 1600, h / 1100)))

    def px(n: float) -> int:
        return round(n * scale)

    legend_w = min(px(330), w // 4)
    rows = math.ceil(callouts / 2) if w >= 1200 * scale else callouts
    caption_y = h - px(84)
    table_y = caption_y - rows * px(29) - px(14)
    gutter = px(158) if callouts else px(30)
    x, y = gutter, px(104)
    view = (x, y, w - legend_w - px(24) - 2 * gutter, table_y - px(64) - y)
    return Room(scale, view, (w - legend_w - px(10), y, legend_w), table_y, rows, caption_y, gutter)


def place_badges(points: NDArray[np.float64], slots: NDArray[np.float64]) -> list[int]:
    """Return a slot for each point so that no two leaders cross.

    Each point takes the nearest free slot; then pairs of leaders swap their slots while that makes
    them shorter together, after which no two can cross (the sides of a quadrilateral are shorter
    than its diagonals).
    """
    free = list(range(len(slots)))
    taken = []
    for point in points:
        best = min(free, key=lambda s: (float(np.hypot(*(slots[s] - point))), s))
        free.remove(best)
        taken.append(best)

    def span(point: int, slot: int) -> float:
        return float(np.hypot(*(slots[slot] - points[point])))

    improved = True
    while improved:
        improved = False
        for a in range(len(points)):
            for b in range(a):
                now = span(a, taken[a]) + span(b, taken[b])
                if span(a, taken[b]) + span(b, taken[a]) < now - 1e-6:
                    taken[a], taken[b] = taken[b], taken[a]
                    improved = True
    return taken


def draw_callouts(sheet: Sheet, room: Room, raster: Raster, callouts: Sequence[CallOut]) -> None:
    """Draw a numbered badge beside the view for each place, with a leader to it."""
    if not callouts:
        return
    x, y, w, h = room.view
    places = np.array([callout.at_mm for callout in callouts])
    points = raster.to_pixel(places) + np.array([x, y])
    hidden = raster.hidden(places)
    per_side = max(len(callouts), 4)
    ys = y + h * (np.arange(per_side) + 0.5) / per_side
    left, right = x - 26 * sheet.scale, x + w + 26 * sheet.scale
    slots = np.array([(sx, sy) for sx in (left, right) for sy in ys])
    for n, slot in enumerate(place_badges(points, slots)):
        (bx, by), (px, py) = slots[slot], points[n]
        style = {"ls": (0, (3, 2.5))} if hidden[n] else {}
        sheet.line([bx, px], [by, py], 4.2, "white", zorder=5)
        sheet.line([bx, px], [by, py], 1.5, INK, zorder=6, **style)
        sheet.axes.plot(
            [px], [py], "o", ms=9 * sheet.scale, mfc="white" if hidden[n] else INK, mec="white"
            if not hidden[n] else INK, mew=1.6 * sheet.scale, zorder=7,
        )  # fmt: skip
        sheet.badge(bx, by, n + 1)
        away = -1 if bx < x else 1
        _stacked(sheet, bx + away * 18 * sheet.scale, by, callouts[n].short, bool(hidden[n]),
                 "right" if away < 0 else "left", room.gutter - 50 * sheet.scale)  # fmt: skip


def _stacked(
    sheet: Sheet, x: float, y: float, text: str, hidden: bool, ha: str, room: float
) -> None:
    """Write a short text beside its badge, on two lines where one does not hold it."""
    lines = [text] if sheet.width(text, 16, "bold") <= room else text.split(" ", 1)
    lines += ["(behind)"] if hidden else []
    for n, line in enumerate(lines):
        row = y + (n - (len(lines) - 1) / 2) * 19 * sheet.scale
        sheet.write(x, row, line, 16, weight="bold", ha=ha, room=room, halo=True)


def draw_table(sheet: Sheet, room: Room, callouts: Sequence[CallOut]) -> None:
    """Write what each number means under the view, in columns read downwards."""
    if not callouts:
        return
    columns = math.ceil(len(callouts) / room.table_rows)
    width = (sheet.size[0] - 40 * sheet.scale) / columns
    sheet.line(
        [20 * sheet.scale, sheet.size[0] - 20 * sheet.scale],
        [room.table_y - 8 * sheet.scale] * 2, 1.0, "#999999",
    )  # fmt: skip
    for n, callout in enumerate(callouts):
        column, row = divmod(n, room.table_rows)
        x = 20 * sheet.scale + column * width
        y = room.table_y + (row * 29 + 12) * sheet.scale
        sheet.write(x + 22 * sheet.scale, y, n + 1, 17, weight="bold", ha="right")
        sheet.write(x + 32 * sheet.scale, y, callout.long, 16.5, room=width - 44 * sheet.scale)


def draw_legend(
    sheet: Sheet, room: Room, raster: Raster, passes: Mapping[int, tuple[int, str]]
) -> None:
    """List the passes that show, with their colour, tool and name."""
    from matplotlib.patches import Rectangle

    x, y, width = room.legend
    s = sheet.scale
    numbers, counts = np.unique(raster.pass_number[raster.pass_number >= 0], return_counts=True)
    fits = max(3, int((room.view[3] - 120 * s) / (31 * s)))
    fits = min(fits, MOST_LEGEND)
    shown = sorted(numbers[np.argsort(-counts, kind="stable")][:fits].tolist())
    sheet.write(x, y + 10 * s, "left by pass", 17, weight="bold")
    for n, number in enumerate(shown):
        row = y + (n * 31 + 42) * s
        sheet.axes.add_patch(
            Rectangle(
                (x, row - 10 * s), 30 * s, 20 * s, zorder=5, lw=0.8,
                facecolor=tuple(pass_colors(np.array([number]))[0]), edgecolor="#555555",
                hatch=hatch_of(number),
            )
        )  # fmt: skip
        tool, name = passes.get(number, (None, ""))
        if number:
            sheet.write(x + 60 * s, row, number, 16, weight="bold", ha="right")
        text = "raw stock" if number == 0 else f"{_tool(tool)}{name}"
        sheet.write(x + 68 * s, row, text, 16, room=width - 72 * s)
    if len(numbers) > len(shown):
        row = y + (len(shown) * 31 + 40) * s
        sheet.write(x, row, f"and {len(numbers) - len(shown)} more with small areas", 15)


def _tool(tool: int | None) -> str:
    return "" if tool is None else f"T{tool}  "


def nice(value: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    return float(max(m for m in (1, 2, 5) if m * power <= value * (1 + 1e-9)) * power)


def draw_scale_bar(sheet: Sheet, room: Room, raster: Raster, unit: Unit) -> None:
    """Draw a bar of a round length under the view."""
    x, y, w, h = room.view
    s = sheet.scale
    per_px = raster.mm_per_pixel / MM_PER[unit]
    length = nice(0.28 * w * per_px)
    x0, x1 = x + 96 * s, x + 96 * s + length / per_px
    row = y + h + 34 * s
    sheet.line([x0, x1], [row, row], 3.0)
    for end in (x0, x1):
        sheet.line([end, end], [row - 6 * s, row + 6 * s], 2.0)
    sheet.write(x1 + 12 * s, row, f"{length:g} {unit}", 17, weight="bold")


def draw_triad(sheet: Sheet, room: Room, raster: Raster, options: PictureOptions) -> None:
    """Draw the axes of the part and the lamp's direction beside the scale bar."""
    x, y, _, h = room.view
    s = sheet.scale
    origin = np.array([x + 26 * s, y + h + 42 * s])
    base = np.zeros((4, 3))
    base[1:] = np.eye(3)
    base[3, 2] /= options.exaggerate
    ends = raster.to_pixel(base)
    arrows = (ends[1:] - ends[0]) * (34 * s * raster.mm_per_pixel)
    for name, arrow in zip("XYZ", arrows, strict=True):
        length = float(np.hypot(*arrow))
        if length < 6 * s:
            continue
        tip = origin + arrow
        sheet.axes.annotate(
            "", tuple(tip), tuple(origin), zorder=6,
            arrowprops={"arrowstyle": "-|>", "lw": 1.6 * s, "color": INK, "shrinkA": 0,
                        "shrinkB": 0, "mutation_scale": 13 * s},
        )  # fmt: skip
        label = origin + arrow * (1 + 11 * s / length)
        sheet.write(label[0], label[1], name, 15, weight="bold", ha="center", halo=True)


def draw_lamp(sheet: Sheet, room: Room, raster: Raster, options: PictureOptions) -> None:
    """Draw which way the light comes, as an arrow at the right under the view."""
    x, y, w, h = room.view
    s = sheet.scale
    azimuth = math.radians(options.lamp_azimuth_deg or 0.0)
    ends = raster.to_pixel(np.array([[0.0, 0.0, 0.0], [math.cos(azimuth), math.sin(azimuth), 0.0]]))
    away = ends[1] - ends[0]
    length = float(np.hypot(*away))
    if length * raster.mm_per_pixel < 0.15:
        return
    away *= 22 * s / length
    middle = np.array([x + w - 30 * s, y + h + 34 * s])
    sheet.axes.annotate(
        "", tuple(middle - away), tuple(middle + away), zorder=6,
        arrowprops={"arrowstyle": "-|>", "lw": 2.2 * s, "color": INK, "mutation_scale": 17 * s,
                    "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    sheet.axes.plot(*(middle + away), "o", ms=9 * s, mfc="white", mec=INK, mew=1.6 * s, zorder=7)
    sheet.write(middle[0] - 32 * s, middle[1], "light", 15, ha="right")


def draw_heights(
    sheet: Sheet, room: Room, raster: Raster, span_mm: tuple[float, float], unit: Unit
) -> None:
    """Draw the colour bar of heights in the legend's place, and labelled isolines on the view."""
    from .pictures_color import height_colors

    low, high = span_mm
    fine = 0 < high - low < SMALL_STEP_MM
    per = (0.0254 if unit == "in" else 0.001) if fine else MM_PER[unit]
    name = fine_unit(unit) if fine else unit
    x, y, _ = room.legend
    s = sheet.scale
    sheet.write(x, y + 10 * s, f"Z ({name})", 17, weight="bold")
    top, tall, wide = y + round(34 * s), round(min(room.view[3] * 0.72, 420 * s)), round(30 * s)
    ramp = np.linspace(high, low, tall)[:, None]
    sheet.image(np.repeat(height_colors(ramp, low, high), wide, axis=1), x, top)
    if high <= low:
        sheet.write(x + wide + 10 * s, top + tall / 2, f"{low / per:g}", 16)
        return
    interval = nice((high - low) / per / 6)
    ticks = np.arange(math.ceil(low / per / interval - 1e-9), high / per / interval + 1e-9)
    places = max(0, -math.floor(math.log10(interval)))
    for tick in ticks * interval:
        row = top + (high - tick * per) / (high - low) * (tall - 1)
        sheet.line([x + wide, x + wide + 7 * s], [row, row], 1.4)
        sheet.write(x + wide + 12 * s, row, f"{tick + 0.0:.{places}f}", 16)
    _isolines(sheet, room, raster, ticks * interval, per, places)


def _isolines(
    sheet: Sheet, room: Room, raster: Raster, levels: NDArray[np.float64], per: float, places: int
) -> None:
    """Draw lines of equal height over the view, each level labelled once."""
    from contourpy import contour_generator

    x, y, w, h = room.view
    z = np.ma.masked_invalid(raster.z)
    if z.count() == 0:
        return
    lines_at = contour_generator(x + np.arange(w) + 0.5, y + np.arange(h) + 0.5, z, name="serial")
    labels: list[tuple[float, float]] = []
    for level in levels:
        # A whisker above the level: a floor milled to a round height must not be all line.
        found = [np.asarray(line) for line in lines_at.lines(float(level * per + 1e-6))]
        lengths = [float(np.hypot(*np.diff(line, axis=0).T).sum()) for line in found]
        if not found or len(found) > MOST_LINES:
            continue  # scallops cross such a level many times: a smear, not a line
        for line in found:
            sheet.line(line[:, 0], line[:, 1], 1.1, zorder=4)
        longest = found[int(np.argmax(lengths))]
        px, py = (float(v) for v in longest[len(longest) // 2])
        if max(lengths) < 70 or any(math.hypot(px - a, py - b) < 46 for a, b in labels):
            continue
        labels.append((px, py))
        sheet.write(px, py, f"{level + 0.0:.{places}f}", 15, ha="center", halo=True)
