"""A tool where it stands at a place, in section with the metal and the jaws beside it.

The section runs through the tool's axis and the place; all of it is to scale, with the place once
more from close by. Metal is what level steps along the section find by rays straight down.
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from .pictures_color import INK
from .pictures_part import part_lines
from .pictures_tool import flank_places, part_of
from .pieces import shortened
from .units import MM_PER, Unit, say_fine, say_length

if TYPE_CHECKING:
    from .job import Job
    from .jobfile_spec import Box
    from .moves import Moves
    from .tools import Tool

__all__ = ["Moment", "Stance", "draw_stance", "moves_at", "stance_of"]

Floats = NDArray[np.float64]
Moment = Literal["before", "after", "end"]

SIZE: Final = (1600, 1100)
MAIN: Final = (40.0, 140.0, 960.0, 1000.0)
CLOSE: Final = (1010.0, 190.0, 1560.0, 740.0)
"""Left, top, right and bottom of the two views, px."""
ROW: Final = 24.0
"""A part of the tool less high than this has its name in the legend alone, px."""
REACHED: Final = 1e-3
"""A tool reaches a place this far off its side, mm."""
STEPS: Final = 700
"""Rays across a view."""
ROOM: Final = 1.25
CLOSEST: Final = 1 * 0.0254
"""Least half width of the close view, mm."""
TIMES: Final = 3.0
"""Half width of the close view, in sizes of what is found; at most the tool's radius."""
LONGEST: Final = 1e5
"""Lines end here, px: past every view, and no further than a drawing can count."""
METAL: Final = "#cfc4ad"
SHADES: Final = {"cuts": "#e8b48a", "neck": "#b9cfe0", "shank": "#c9ccd2", "holder": "#a9a9b4"}
JAW: Final = "#8fae8b"
PART: Final = "#9c1f3f"
GLASS: Final = 0.55
"""The tool lets through what it would cut."""


@dataclasses.dataclass(frozen=True)
class Stance:
    """Where a tool stands, mm.

    Attributes
    ----------
    tool : Tool
    tip : (x, y, z)
    way : (x, y)
        Unit direction of the section, from the axis.
    at : (x, y, z)
        The place.
    count : int
        Moves that are done.
    """

    tool: Tool
    tip: tuple[float, float, float]
    way: tuple[float, float]
    at: tuple[float, float, float]
    count: int

    @property
    def spot(self) -> tuple[float, float]:
        """The place in the section: from the axis, and z, mm."""
        aside = np.array(self.at[:2]) - np.array(self.tip[:2])
        return float(aside @ np.array(self.way)), self.at[2]


def moves_at(job: Job, pass_number: int, lines: tuple[int, int]) -> NDArray[np.int64]:
    """Return the moves of a pass that sweep, on those lines; where there are none, all of them."""
    moves = job.program.moves
    mine = moves.sweeps() & (moves.pass_number == pass_number)
    there = mine & (moves.line >= lines[0]) & (moves.line <= lines[1])
    return np.flatnonzero(there if there.any() else mine)


def stance_of(
    job: Job, moves: NDArray[np.int64], at: tuple[float, float, float], when: Moment
) -> Stance:
    """Return where a tool stands on some moves of it when it is at a place.

    Parameters
    ----------
    job : Job
    moves : ndarray of int64
        Moves that sweep, one or more.
    at : (x, y, z)
        mm.
    when : {'before', 'after', 'end'}
        The metal as the first move that reaches the place finds it; as the move that comes nearest
        leaves it; as it is at the job's end, with the last move that reaches the place with its tip
        no higher.

    Returns
    -------
    Stance
    """
    from .findings.look import tip_near

    table, place = job.program.moves, np.array(at)
    tips = np.array([tip_near(table, int(m), place) for m in moves])
    aside = np.round(np.hypot(*(tips[:, :2] - place[:2]).T), 6)
    tool = job.tools[int(table.tool[moves[0]])]
    reach = np.flatnonzero(aside <= tool.cutting_radius + REACHED)
    k = int(np.lexsort((tips[:, 2], aside))[0])
    if when == "before" and len(reach):
        k = int(reach[0])
    low = np.flatnonzero(tips[:, 2] <= at[2] + REACHED)  # not on its way there, or up and away
    if when == "end" and len(low):
        beside = np.intersect1d(reach, low)
        k = int(beside[-1] if len(beside) else low[np.argmin(aside[low])])
    x, y, z = (float(v) for v in tips[k])
    away = place[:2] - tips[k, :2] if aside[k] > 0 else _across(table, int(moves[k]), tips[k])
    length = math.hypot(*away)
    way = (float(away[0]) / length, float(away[1]) / length) if length > 0 else (1.0, 0.0)
    count = {"before": int(moves[k]), "after": int(moves[k]) + 1, "end": len(table)}[when]
    return Stance(tool, (x, y, z), way, at, count)


def _across(moves: Moves, move: int, tip: Floats) -> Floats:
    """Return a direction in plan square to the way of a move at a tip; no length: it has none."""
    if moves.turn[move] != 0:
        radius: Floats = tip[:2] - moves.center[move]
        return radius
    dx, dy = (moves.end[move] - moves.start[move])[:2]
    return np.array([-dy, dx])


# ---------------------------------------------------------------------------------------- drawing


@dataclasses.dataclass(frozen=True)
class _View:
    """A window of the section: its middle (aside and z, mm), pixels per mm, and its box, px."""

    aside: float
    z: float
    scale: float
    box: tuple[float, float, float, float]

    def x(self, s: float | Floats) -> Any:
        return (self.box[0] + self.box[2]) / 2 + (s - self.aside) * self.scale

    def y(self, z: float | Floats) -> Any:
        return (self.box[1] + self.box[3]) / 2 - (z - self.z) * self.scale

    @property
    def half(self) -> tuple[float, float]:
        """Half width and half height, mm."""
        left, top, right, bottom = self.box
        return (right - left) / 2 / self.scale, (bottom - top) / 2 / self.scale


def draw_stance(
    job: Job, stance: Stance, *, size: float, title: str, text: str, unit: Unit,
    path: str | os.PathLike[str] | None = None,
) -> NDArray[np.uint8]:  # fmt: skip
    """Draw a tool where it stands, and save it as PNG when a path is given.

    Parameters
    ----------
    job : Job
    stance : Stance
    size : float
        Gap or bite to be seen in the close view, mm.
    title, text : str
        What it is, and what is wrong in a line.
    unit : {'in', 'mm'}
        In which lengths are written.
    path : path, optional
        Ends in .png; replaced atomically.

    Returns
    -------
    ndarray of uint8, shape (1100, 1600, 3)

    Raises
    ------
    BadInput
        The file can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        sheet.write(24, 36, title, 27, weight="bold", room=SIZE[0] - 48)
        for k, row in enumerate(sheet.wrapped(text, 17, SIZE[0] - 48)[:2]):
            sheet.write(24, 68 + 23 * k, row, 17)
        sheet.write(24, 118, _about(stance, unit), 15, room=SIZE[0] - 48, color="#444444")
        main, close = _views(stance, size)
        part = part_lines(job, stance.tip, stance.way)
        for view in (main, close):
            _draw(sheet, job, stance, view)
            _draw_part(sheet, part, view)
        _frame(sheet, main, close)
        _names(sheet, stance, main)
        _measure(sheet, stance, close, size, unit)
        half = close.half[0]
        sheet.write(CLOSE[0], CLOSE[1] - 24, f"the place, {say_length(2 * half, unit)} wide", 18)
        _legend(sheet, job, stance, main, part)
        _scale_bar(sheet, main, unit)
        foot = "Simulated, not measured. To scale; metal by rays straight down."
        sheet.write(24, SIZE[1] - 34, foot, 15, color="#444444")
        return sheet.finished(path)


def _about(stance: Stance, unit: Unit) -> str:
    per, digits = MM_PER[unit], 4 if unit == "in" else 3
    place, tip = (
        " ".join(
            f"{n}{round(v / per, digits) + 0.0:.{digits}f}" for n, v in zip("XYZ", p, strict=True)
        )
        for p in (stance.at, stance.tip)
    )
    turned = round(math.degrees(math.atan2(stance.way[1], stance.way[0]))) % 360
    return (
        f"section through the axis of T{stance.tool.number}, tip at {tip}, and the place {place} "
        f"({unit}); to the right is {turned} degrees from +X"
    )


def _views(stance: Stance, size: float) -> tuple[_View, _View]:
    """Return the view of the whole and the one from close by."""
    spot, z = stance.spot
    pieces = [p for p in stance.tool.pieces if math.isfinite(p.z_high)]
    radius = max([p.widest for p in stance.tool.pieces], default=1.0)
    top = max([p.z_high for p in pieces] + [z - stance.tip[2] + radius, 2 * radius])
    top = min(top, max(z - stance.tip[2], 0.0) + 6 * radius)
    wide, tall = MAIN[2] - MAIN[0], MAIN[3] - MAIN[1]
    half = ROOM * max(radius, abs(spot))
    low, high = min(stance.tip[2], z), stance.tip[2] + top
    scale = min(wide / (2 * half), tall / (1.2 * (high - low)))
    middle = (low + high) / 2
    near = max(min(TIMES * size, radius), CLOSEST)
    closer = _View(spot, z, (CLOSE[2] - CLOSE[0]) / (2 * near), CLOSE)
    return _View(0.0, middle, scale, MAIN), closer


def _draw(sheet: Any, job: Job, stance: Stance, view: _View) -> None:
    from matplotlib.patches import Rectangle

    left, top, right, bottom = view.box
    window = Rectangle((left, top), right - left, bottom - top, fc="white", ec="none", zorder=0)
    sheet.axes.add_patch(window)
    jaws = [patch for _, patch in _jaws(job, stance, view)]
    for patch in (*_metal(job, stance, view), *jaws, *_tool(stance, view)):
        sheet.axes.add_patch(patch)
        patch.set_clip_path(window)
    spot, z = stance.spot
    sheet.axes.plot(
        [view.x(spot)], [view.y(z)], "o", ms=26, mfc="none", mec=INK, mew=2.2, zorder=11
    )


def _metal(job: Job, stance: Stance, view: _View) -> list[Any]:
    """Return a bar for each stretch of metal under the steps along the section."""
    from matplotlib.patches import Rectangle

    half = view.half[0]
    edges = np.linspace(view.aside - half, view.aside + half, STEPS + 1)
    s = (edges[:-1] + edges[1:]) / 2
    high = float(job.stock.high[2]) + 1.0
    origins = np.column_stack(
        [
            stance.tip[0] + s * stance.way[0],
            stance.tip[1] + s * stance.way[1],
            np.full(len(s), high),
        ]
    )
    metal = job.rays(origins, (0.0, 0.0, -1.0), as_of=stance.count)
    ray = np.repeat(np.arange(len(s)), np.diff(metal.offsets))
    step = (edges[1] - edges[0]) * view.scale
    # Bars reach over one another: no seams.
    return [
        Rectangle(
            (view.x(edges[k]), view.y(high - enter)), step * 1.15, (leave - enter) * view.scale,
            fc=METAL, ec="none", zorder=1,
        )
        for k, enter, leave in zip(ray, metal.enter, metal.leave, strict=True)
    ]  # fmt: skip


def _jaws(job: Job, stance: Stance, view: _View) -> list[tuple[str, Any]]:
    """Return names and sections of the jaws, stops and clamps that are in view."""
    from matplotlib.patches import Rectangle

    found = []
    left, right = (view.aside + sign * view.half[0] for sign in (-1, 1))
    setup = int(job.program.moves.setup[max(stance.count - 1, 0)])
    for box in job.spec.setups[setup].fixture:
        near, far = _crossed(stance, box)
        near, far = max(near, left), min(far, right)
        if near < far and box.high[2] > view.z - view.half[1]:
            size = (far - near) * view.scale, (box.high[2] - box.low[2]) * view.scale
            corner = view.x(near), view.y(box.high[2])
            patch = Rectangle(corner, *size, fc=JAW, ec=INK, lw=1.5, hatch="xx", zorder=2)
            found.append((box.name, patch))
    return found


def _crossed(stance: Stance, box: Box) -> tuple[float, float]:
    """Return where the section enters a box and where it leaves it, mm from the axis."""
    near, far = -math.inf, math.inf
    for k in (0, 1):
        way, start = stance.way[k], stance.tip[k]
        if abs(way) < 1e-12:
            if not box.low[k] <= start <= box.high[k]:
                return 0.0, 0.0
            continue
        a, b = sorted(((box.low[k] - start) / way, (box.high[k] - start) / way))
        near, far = max(near, a), min(far, b)
    return near, far


def _tool(stance: Stance, view: _View) -> list[Any]:
    """Return the tool's parts as outlines; what cuts has a thick edge."""
    from matplotlib.patches import Polygon

    found = []
    end = view.z + view.half[1] + 1.0 - stance.tip[2]
    for piece in stance.tool.pieces:
        if piece.z_low >= end:
            continue
        r, z = np.array(flank_places(shortened(piece, end))).T
        aside, up = np.concatenate([r, -r[::-1]]), np.concatenate([z, z[::-1]]) + stance.tip[2]
        places = np.column_stack([view.x(aside), view.y(up)])
        glass = {"fc": SHADES[part_of(piece)], "alpha": GLASS, "ec": "none", "zorder": 3}
        edge = {"fc": "none", "ec": INK, "lw": 2.6 if piece.cutting else 1.3, "zorder": 4}
        found += [Polygon(places, closed=True, **more) for more in (glass, edge)]
    return found


def _draw_part(sheet: Any, part: Mapping[str, Floats], view: _View) -> None:
    """Draw where the part ends, dashed; in the main view with the level's name at its left end."""
    from matplotlib.collections import LineCollection
    from matplotlib.patches import Rectangle

    left, top, right, bottom = view.box
    window = Rectangle((left, top), right - left, bottom - top, transform=sheet.axes.transData)
    for lines in part.values():
        ends = np.stack([view.x(lines[..., 0]), view.y(lines[..., 1])], axis=-1)
        ends = np.clip(ends, -LONGEST, LONGEST)
        drawn = LineCollection(list(ends), colors=PART, linewidths=3.0, linestyles=(0, (4, 2)))
        drawn.set_zorder(6)
        sheet.axes.add_collection(drawn)
        drawn.set_clip_path(window)


def _names(sheet: Any, stance: Stance, view: _View) -> None:
    """Write what each part of the tool is beside it, where there is room: not by colour alone."""
    top = view.z + view.half[1]
    spans: dict[str, tuple[float, float, float]] = {}
    for piece in stance.tool.pieces:
        part = part_of(piece)
        low, _, wide = spans.get(part, (piece.z_low, 0.0, 0.0))
        high = min(piece.z_high, top - stance.tip[2])
        spans[part] = low, high, max(wide, piece.widest)
    for part, (low, high, wide) in spans.items():
        if (high - low) * view.scale > ROW:
            x, y = view.x(-wide) - 10, view.y(stance.tip[2] + (low + high) / 2)
            inside = x - sheet.width(part, 17) < view.box[0]
            sheet.write(x + 20 if inside else x, y, part, 17, ha="left" if inside else "right",
                        halo=True)  # fmt: skip


def _measure(sheet: Any, stance: Stance, close: _View, size: float, unit: Unit) -> None:
    """Write the size beside the place."""
    if size > 0:
        spot, z = stance.spot
        x, y = close.x(spot) + 22, close.y(z) - 26
        sheet.write(x, y, say_fine(size, unit), 19, weight="bold", halo=True)


def _frame(sheet: Any, main: _View, close: _View) -> None:
    """Draw the frames of both views, and the close one's in the main one."""
    half = max(close.half[0], 6.0 / main.scale) * main.scale
    x, y = main.x(close.aside), main.y(close.z)
    low, high = np.array(main.box[:2]), np.array(main.box[2:])
    corners = [np.clip((x + k * half, y + k * half), low, high) for k in (-1, 1)]
    for box, width in ((main.box, 1.4), (close.box, 1.4), (tuple(np.ravel(corners)), 1.2)):
        left, top, right, bottom = box
        xs, ys = [left, right, right, left, left], [top, top, bottom, bottom, top]
        sheet.line(xs, ys, width, zorder=12)


def _legend(sheet: Any, job: Job, stance: Stance, main: _View, part: Mapping[str, Floats]) -> None:
    from matplotlib.patches import Rectangle

    moves, count = job.program.moves, stance.count
    when = "before the first move" if not count else f"line {int(moves.line[count - 1])} done"
    when = "at the end" if count == len(moves) else when
    rows = [(METAL, f"metal, {when}", 1.0)]
    parts = dict.fromkeys(part_of(p) for p in stance.tool.pieces)
    rows += [(SHADES[p], f"T{stance.tool.number}: {p}", GLASS) for p in parts]
    names = [name for name, _ in _jaws(job, stance, main)]
    rows += [(JAW, ", ".join(names), 1.0)] if names else []
    for k, (color, text, alpha) in enumerate(rows):
        y = CLOSE[3] + 44 + 36 * k
        for fill in ({"fc": color, "alpha": alpha}, {"fc": "none", "ec": INK}):
            sheet.axes.add_patch(Rectangle((CLOSE[0], y - 11), 30, 22, **fill))
        sheet.write(CLOSE[0] + 44, y, text, 18, room=CLOSE[2] - CLOSE[0] - 44)
    if part:
        y = CLOSE[3] + 44 + 36 * len(rows)
        sheet.axes.plot([CLOSE[0], CLOSE[0] + 30], [y, y], color=PART, lw=3.0, ls=(0, (4, 2)))
        sheet.write(CLOSE[0] + 44, y, ", ".join(part), 18, room=CLOSE[2] - CLOSE[0] - 44)


def _scale_bar(sheet: Any, view: _View, unit: Unit) -> None:
    from .pictures_layout import nice

    per = MM_PER[unit]
    length = nice((MAIN[2] - MAIN[0]) / view.scale / per / 4)
    x, y = MAIN[0], MAIN[3] + 26
    sheet.line([x, x + length * per * view.scale], [y, y], 3.0)
    sheet.write(x + length * per * view.scale + 12, y, f"{length:g} {unit}", 17)
