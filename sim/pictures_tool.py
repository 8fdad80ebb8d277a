"""A tool drawn with its measures: half elevation, half section, to scale, with a detail of its tip.

What cuts has a thick outline and a hatch of its own; a word stands beside every part, so that
nothing is told by colour alone.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import os
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .pictures_color import INK
from .pictures_drafting import Drafting, View, spread
from .pieces import Piece, shortened
from .tools import Tool
from .units import MM_PER, Unit

__all__ = ["draw_tool", "flank_places", "part_of"]

SIZE: Final = (1600, 1120)
MAIN: Final = (40.0, 130.0, 1020.0, 950.0)
"""Left, top, right and bottom of the main view, px."""
DETAIL: Final = (1056.0, 150.0, 1570.0, 610.0)
LEFT_TEXT: Final = 330.0
BRACKET: Final = 220.0
"""Room left of the tool, and where in it the brackets of the parts stand, px."""
LANE: Final = 46.0
SMALL: Final = 70.0
"""A corner or cone under this many px is drawn again in the detail."""
HATCHES: Final = {"cuts": "////", "neck": "\\\\\\", "shank": "--", "holder": "xx"}
SHADES: Final = {"cuts": "#fbf3e2", "neck": "#eef2f6", "shank": "#f4f4f1", "holder": "#e9e9e6"}
NICE: Final = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8)


def draw_tool(
    tool: Tool, *, unit: Unit, title: str = "", path: str | os.PathLike[str] | None = None
) -> NDArray[np.uint8]:
    """Draw a tool with its measures, and save it as PNG when a path is given.

    Parameters
    ----------
    tool : Tool
    unit : {'in', 'mm'}
        In which the measures are written.
    title : str
        Of the job, written under the tool's name.
    path : path, optional
        Ends in .png; replaced atomically.

    Returns
    -------
    ndarray of uint8, shape (1120, 1600, 3)

    Raises
    ------
    BadInput
        The file can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        sheet.write(40, 40, f"T{tool.number}  {tool.name}", 28, weight="bold", room=SIZE[0] - 80)
        word = "inches" if unit == "in" else "millimetres"
        about = f"{tool.shape}; lengths in {word}, to scale" + (f"; {title}" if title else "")
        sheet.write(40, 78, about, 18, room=SIZE[0] - 80)
        drawing = _Drawing(sheet, tool, unit)
        drawing.draw()
        return sheet.finished(path)


def part_of(piece: Piece) -> str:
    """Return the part of the tool that a piece is: what cuts, neck, shank or holder."""
    return "cuts" if piece.cutting else piece.label


def flank_places(piece: Piece) -> list[tuple[float, float]]:
    """Return places (r, z) along a flank, from below, mm over the tip."""
    if piece.arc is None:
        return [(piece.r_low, piece.z_low), (piece.r_high, piece.z_high)]
    _, center_z, radius = piece.arc
    R = abs(radius)
    a, b = (math.asin(max(-1.0, min(1.0, (z - center_z) / R))) for z in (piece.z_low, piece.z_high))
    steps = [center_z + R * math.sin(a + (b - a) * k / 60) for k in range(1, 60)]
    places = [(piece.radius_at(z), z) for z in steps]
    return [(piece.r_low, piece.z_low), *places, (piece.r_high, piece.z_high)]


def _shown(tool: Tool) -> tuple[list[Piece], bool]:
    """Return the pieces with an end, and whether the topmost had none."""
    pieces = [p for p in tool.pieces if p.label != "holder" or tool.cutting_length is not None]
    ends = [p.z_high for p in pieces if math.isfinite(p.z_high)]
    top = max([p.z_low for p in pieces] + ends)
    open_end = any(math.isinf(p.z_high) for p in pieces)
    if open_end:
        length = tool.overall_length
        if length is not None and tool.stickout is None and length > top:
            top, open_end = length, False
        else:
            top += max(1.2 * tool.diameter, 0.25 * top)
    return [shortened(p, top) for p in pieces], open_end


@dataclasses.dataclass(frozen=True)
class _Box:
    """Part of the half section, mm."""

    r_low: float
    r_high: float
    z_low: float
    z_high: float


class _Drawing:
    """One tool on one sheet."""

    def __init__(self, sheet: Any, tool: Tool, unit: Unit) -> None:
        self.sheet, self.tool, self.unit = sheet, tool, unit
        self.pen = Drafting(sheet)
        self.pieces, self.open_end = _shown(tool)
        self.top = max(p.z_high for p in self.pieces)
        self.widest = max(p.widest for p in self.pieces)
        left, up, right, down = MAIN
        wide = (right - left - LEFT_TEXT - 4 * LANE) / (2 * self.widest)
        scale = min(wide, (down - up - 20) / self.top)
        middle = left + LEFT_TEXT + (right - left - LEFT_TEXT - 4 * LANE) / 2
        spare = (down - up - self.top * scale) / 2
        self.view = View(middle, down - min(spare, 110.0), scale)

    def number(self, mm: float) -> str:
        digits = 4 if self.unit == "in" else 3
        return f"{round(mm / MM_PER[self.unit], digits) + 0.0:.{digits}f}"

    def draw(self) -> None:
        """Draw everything."""
        self._solid(self.view)
        if self.open_end:
            self._break_line()
        box = self._detail_box()
        self._lengths(74.0 if box else 40.0)
        self._diameter()
        self._names()
        angled = [p for p in self.pieces if p.cutting and (p.arc or p.slope)]
        small = [p for p in angled if box and self._is_small(p)]
        self._corners(self.view, [p for p in angled if p not in small], left=True)
        bottom = DETAIL[1] - 20
        if box:
            self._detail(box, small)
            bottom = DETAIL[3] + 74
        self._table(bottom)
        self._foot()

    # -------------------------------------------------------------------------------- the solid

    def _solid(self, view: View, clip: Any = None) -> None:
        """Draw the left half as seen, the right half in section."""
        from matplotlib.patches import Polygon

        for piece in self.pieces:
            flank = flank_places(piece)
            part = part_of(piece)
            for sign in (-1, 1):
                places = [(view.x(sign * r), view.y(z)) for r, z in flank]
                closed = [(view.axis_x, places[0][1]), *places, (view.axis_x, places[-1][1])]
                patch = Polygon(
                    closed, closed=True, facecolor=SHADES[part] if sign > 0 else "#fdfdfc",
                    edgecolor="#8d8d86", hatch=HATCHES[part] if sign > 0 else None, linewidth=0.0,
                    zorder=2,
                )  # fmt: skip
                self._add(patch, clip)
                self._stroke(places, 3.6 if piece.cutting else 1.8, clip)
        self._faces(view, clip)
        low, high = view.y(0) + 26, view.y(self.top) - 26
        self._stroke([(view.axis_x, low), (view.axis_x, high)], 1.2, clip, ls=(0, (16, 4, 3, 4)))

    def _faces(self, view: View, clip: Any) -> None:
        """Draw bare flat faces, and on the left every edge that is seen."""
        first, last = self.pieces[0], self.pieces[-1]
        flats = [(0.0, first.r_low, first.z_low, first.cutting)]
        for a, b in itertools.pairwise(self.pieces):
            if b.z_low - a.z_high > 1e-6:
                flats += [(0.0, a.r_high, a.z_high, a.cutting), (0.0, b.r_low, b.z_low, b.cutting)]
                continue
            wider = a if a.r_high > b.r_low else b
            flats.append((a.r_high, b.r_low, a.z_high, wider.cutting))
            if abs(a.r_high - b.r_low) > 1e-6 or _bends(a, b) or part_of(a) != part_of(b):
                r, y = min(a.r_high, b.r_low), view.y(a.z_high)
                self._stroke([(view.axis_x, y), (view.x(-r), y)], 1.4, clip)
            if part_of(a) != part_of(b):
                y = view.y(a.z_high)
                self._stroke([(view.axis_x, y), (view.x(min(a.r_high, b.r_low)), y)], 1.4, clip)
        if not self.open_end:
            flats.append((0.0, last.r_high, last.z_high, last.cutting))
        for r_a, r_b, z, cuts in flats:
            for sign in (-1, 1):
                places = [(view.x(sign * r), view.y(z)) for r in (r_a, r_b)]
                self._stroke(places, 3.6 if cuts else 1.8, clip)

    def _add(self, patch: Any, clip: Any) -> None:
        self.sheet.axes.add_patch(patch)
        if clip is not None:
            patch.set_clip_path(clip)

    def _stroke(
        self, places: Sequence[tuple[float, float]], width: float, clip: Any, **more: Any
    ) -> None:
        xs, ys = zip(*places, strict=True)
        (drawn,) = self.sheet.axes.plot(
            xs, ys, color=INK, lw=width, zorder=5, solid_capstyle="round",
            solid_joinstyle="round", **more,
        )  # fmt: skip
        if clip is not None:
            drawn.set_clip_path(clip)

    def _break_line(self) -> None:
        """Draw the wavy line of a part that goes on."""
        r, y = self.pieces[-1].r_high, self.view.y(self.top)
        xs = np.linspace(self.view.x(-r) - 8, self.view.x(r) + 8, 80)
        self.sheet.line(xs, y + 5 * np.sin((xs - xs[0]) / (xs[-1] - xs[0]) * 4 * math.pi), 1.6)

    # ----------------------------------------------------------------------------- the measures

    def _lengths(self, away: float) -> None:
        """Dimension heights over the tip at the right, the shortest nearest and `away` px off."""
        tool = self.tool
        necked = tool.neck_diameter is not None
        rows = [
            ("APMX", tool.cutting_length),
            ("LU", tool.neck_length if necked else None),
            ("LPR", tool.stickout),
            ("OAL", None if self.open_end or tool.stickout else tool.overall_length),
        ]
        rows = [(word, z) for word, z in rows if z is not None and z <= self.top + 1e-9]
        x = self.view.x(self.widest) + away
        foot = (self.view.x(self.pieces[0].r_low), self.view.y(0))
        for word, z in sorted(rows, key=lambda row: row[1] or 0.0):
            assert z is not None
            r = max(
                (p.radius_at(z) for p in self.pieces if p.z_low - 1e-9 <= z <= p.z_high + 1e-9),
                default=0.0,
            )
            head = (self.view.x(r), self.view.y(z))
            self.pen.upright(x, (foot, head), f"{word} {self.number(z)}")
            x += LANE

    def _diameter(self) -> None:
        """Dimension the cutting diameter, and a flat tip's, below the tip."""
        cutting = [p for p in self.pieces if p.cutting]
        wide = max(cutting, key=lambda p: p.widest)
        at = next(z for r, z in flank_places(wide) if r >= wide.widest - 1e-6)
        if wide.arc and not wide.is_cove and wide.z_low < wide.arc[1] < wide.z_high:
            at = wide.arc[1]
        y = self.view.y(0) + 56
        tip = cutting[0].r_low
        if 1e-6 < tip < wide.widest - 1e-6:
            feet = [(self.view.x(-tip), self.view.y(0)), (self.view.x(tip), self.view.y(0))]
            self.pen.across(y, feet, f"flat ⌀{self.number(2 * tip)}")
            y += 44
        feet = [(self.view.x(s * wide.widest), self.view.y(at)) for s in (-1, 1)]
        self.pen.across(y, feet, f"DC ⌀{self.number(2 * wide.widest)}")

    def _names(self) -> None:
        """Write at the left what each part is, with its diameter."""
        groups = [
            (part, list(run))
            for part, run in itertools.groupby(self.pieces, key=lambda p: (part_of(p), p.r_low)
                                               if part_of(p) in ("neck", "shank", "holder")
                                               else ("cuts", 0.0))
        ]  # fmt: skip
        groups.reverse()
        wanted = [self.view.y((run[0].z_low + run[-1].z_high) / 2) for _, run in groups]
        places = spread(wanted, 50, MAIN[1] + 10, MAIN[3] + 30)
        edge = MAIN[0] + BRACKET
        words = {"neck": "DN ", "shank": "DMM "}
        for ((part, _), run), y, place in zip(groups, wanted, places, strict=True):
            text = "cutting part" if part == "cuts" else part
            self.sheet.write(MAIN[0], place - 11, text, 19, weight="bold")
            wide = f"{words.get(part, '')}⌀{self.number(2 * max(p.widest for p in run))}"
            if part == "cuts":
                known = self.tool.cutting_length is not None
                wide = f"DC {wide}" + ("" if known else ", no APMX")
            self.sheet.write(MAIN[0], place + 12, wide, 16)
            low, high = self.view.y(run[0].z_low), self.view.y(run[-1].z_high)
            self.pen.line((edge + 6, low - 2), (edge, low - 2), (edge, high + 2),
                          (edge + 6, high + 2), color=INK)  # fmt: skip
            self.pen.line((edge, y), (edge - 22, place), color=INK)

    def _corners(self, view: View, pieces: Sequence[Piece], *, left: bool) -> None:
        """Mark radii and angles of the cutting part."""
        sign, done = (-1 if left else 1), set()
        for piece in pieces:
            said = self._said(piece)
            if said in done:
                continue
            done.add(said)
            flank = flank_places(piece)
            r, z = flank[len(flank) // 2] if piece.arc else (
                (piece.r_low + piece.r_high) / 2, (piece.z_low + piece.z_high) / 2)  # fmt: skip
            at = (view.x(sign * r), view.y(z))
            low = (view.x(sign * piece.r_low), view.y(piece.z_low))
            if piece.arc is None and not said.startswith("SIG") and piece.r_high > piece.r_low:
                self._angle(view, piece, low, said, left)
            else:
                down = 44 if piece.r_high >= piece.r_low and not piece.is_cove else 0
                self.pen.leader(at, (at[0] + sign * 50, at[1] + down), said, left=left)

    def _angle(
        self, view: View, piece: Piece, low: tuple[float, float], said: str, left: bool
    ) -> None:
        """Dimension the angle of a cone: from level for a chamfer, else from the axis."""
        length = math.hypot(piece.r_high - piece.r_low, piece.z_high - piece.z_low) * view.scale
        radius = min(max(0.6 * length, 46.0), 200.0)
        flank = math.degrees(math.atan2(piece.z_high - piece.z_low, piece.r_high - piece.r_low))
        first, last = (0.0, flank) if said.startswith("KAPR") else (90.0, flank)
        if left:
            first, last = 180 - first, 180 - last
        self.pen.angle(low, radius, (first, last), said)

    def _said(self, piece: Piece) -> str:
        """Return the measure of a round or slanting flank, with its symbol where it has one."""
        tool = self.tool
        if piece.arc is not None:
            radius = abs(piece.arc[2])
            same = math.isclose(radius, tool.corner_radius, abs_tol=1e-9)
            return f"{'RE' if same else 'R'} {self.number(radius)}"
        from_axis = math.degrees(math.atan(abs(piece.slope)))
        if tool.edge_angle and math.isclose(90 - from_axis, tool.edge_angle, abs_tol=1e-6):
            return f"KAPR {tool.edge_angle:g}°"
        if tool.point_angle and math.isclose(2 * from_axis, tool.point_angle, abs_tol=1e-6):
            return f"SIG {tool.point_angle:g}°"
        taper = tool.size("taper_angle")
        if taper and math.isclose(from_axis, taper, abs_tol=1e-6):
            return f"taper {taper:g}° a side"
        return f"{from_axis:.4g}° to the axis"

    # ------------------------------------------------------------------------------- the detail

    def _extent(self, piece: Piece) -> float:
        """Return the size of a round or slanting flank in the main view, px."""
        return max(piece.z_high - piece.z_low, abs(piece.r_high - piece.r_low)) * self.view.scale

    def _is_small(self, piece: Piece) -> bool:
        return bool(piece.cutting and (piece.arc or piece.slope) and self._extent(piece) < SMALL)

    def _detail_box(self) -> _Box | None:
        """Return what to draw again larger: the lowest small corner or cone and those close by."""
        small = [p for p in self.pieces if self._is_small(p)]
        if not small:
            return None
        size = max(self._extent(p) for p in small) / self.view.scale
        near = [p for p in small if p.z_high - small[0].z_low <= 3 * size]
        spots = [place for p in near for place in flank_places(p)]
        rs, zs = [r for r, _ in spots], [z for _, z in spots]
        box = _Box(min(rs), max(rs), min(zs), max(zs))
        return box if self._ratio(box) >= 2 else None

    def _ratio(self, box: _Box) -> float:
        """Return how many times the main view a detail can be drawn, a plain number."""
        left, up, right, down = DETAIL
        size = max(box.r_high - box.r_low, box.z_high - box.z_low)
        wanted = min(right - left, down - up) * 0.42 / size / self.view.scale
        power = 10.0 ** math.floor(math.log10(wanted))
        return float(max(n for n in NICE if n * power <= wanted * (1 + 1e-9)) * power)

    def _detail(self, box: _Box, small: Sequence[Piece]) -> None:
        """Draw the detail in its frame, and a mark around its place in the main view."""
        from matplotlib.patches import Circle, Rectangle

        left, up, right, down = DETAIL
        size = max(box.r_high - box.r_low, box.z_high - box.z_low)
        ratio = self._ratio(box)
        scale = ratio * self.view.scale
        middle = ((left + right) / 2 - 40, (up + down) / 2 - 10)
        view = View(
            middle[0] - (box.r_low + box.r_high) / 2 * scale,
            middle[1] + (box.z_low + box.z_high) / 2 * scale, scale,
        )  # fmt: skip
        frame = Rectangle((left, up), right - left, down - up, fc="white", ec=INK, lw=1.4, zorder=1)
        self.sheet.axes.add_patch(frame)
        clip = Rectangle((left, up), right - left, down - up, transform=self.sheet.axes.transData)
        self._solid(view, clip)
        self._corners(view, small, left=False)
        self.sheet.write(left, down + 22, f"Detail A, {ratio:g} times the main view", 18,
                         weight="bold")  # fmt: skip
        at = (self.view.x((box.r_low + box.r_high) / 2), self.view.y((box.z_low + box.z_high) / 2))
        round_it = max(0.8 * size * self.view.scale, 16.0)
        self.sheet.axes.add_patch(Circle(at, round_it, fc="none", ec=INK, lw=1.4, zorder=8))
        self.sheet.write(at[0] + round_it + 8, at[1] - round_it, "A", 20, weight="bold", halo=True)

    # -------------------------------------------------------------------------------- the table

    def _table(self, y: float) -> None:
        """List the parts from the tip up, as many as there is room for."""
        x, columns = DETAIL[0], (0.0, 118.0, 330.0)
        self.sheet.write(x, y, "From the tip up", 19, weight="bold")
        y += 30
        for text, off in zip(("part", "z from, to", "⌀ from, to"), columns, strict=True):
            self.sheet.write(x + off, y, text, 16, color="#444444")
        rows = [*self.tool.pieces]
        room = int((SIZE[1] - 170 - y) // 27)
        for piece in rows[:room]:
            y += 27
            high = self.number(piece.z_high) if math.isfinite(piece.z_high) else "no end"
            ends = [self.number(2 * r) for r in (piece.r_low, piece.r_high)]
            wide = ends[0] if ends[0] == ends[1] else ", ".join(ends)
            weight = "bold" if piece.cutting else "normal"
            self.sheet.write(x + columns[0], y, piece.label, 16, weight=weight)
            self.sheet.write(x + columns[1], y, f"{self.number(piece.z_low)}, {high}", 16)
            self.sheet.write(x + columns[2], y, wide, 16)
        if len(rows) > room:
            y += 27
            self.sheet.write(x, y, f"and {len(rows) - room} more", 16)
        cutting = sum(p.volume() for p in rows if p.cutting)
        for word, volume in (("cutting part", cutting), ("whole tool", self.tool.volume())):
            if math.isfinite(volume):
                y += 34 if word == "cutting part" else 27
                digits = 4 if self.unit == "in" else 1
                said = f"{volume / MM_PER[self.unit] ** 3:.{digits}f} {self.unit}³"
                self.sheet.write(x, y, f"volume of the {word}: {said}", 16)

    def _foot(self) -> None:
        """Explain the hatches, and say what cuts; what is said of undercutting tools."""
        from matplotlib.patches import Rectangle

        x, y = 40.0, SIZE[1] - 32.0
        parts = [p for p in HATCHES if any(part_of(piece) == p for piece in self.pieces)]
        for part in parts:
            patch = Rectangle((x, y - 12), 40, 24, fc=SHADES[part], ec="#8d8d86", lw=1.0)
            patch.set_hatch(HATCHES[part])
            self.sheet.axes.add_patch(patch)
            text = "cuts, thick outline" if part == "cuts" else part
            self.sheet.write(x + 50, y, text, 16)
            x += 50 + self.sheet.width(text, 16) + 34
        if self.tool.undercut:
            text = "Undercuts: what its upper side cuts is seen from the side alone."
            self.sheet.write(x, y, text, 16, weight="bold", room=SIZE[0] - 40 - x)


def _bends(a: Piece, b: Piece) -> bool:
    """Whether the outline has an edge between two pieces that meet."""
    turns = []
    for piece, end in ((a, -1), (b, 0)):
        flank = flank_places(piece)
        (r0, z0), (r1, z1) = flank[-2:] if end else flank[:2]
        turns.append(math.atan2(r1 - r0, z1 - z0))
    return abs(turns[0] - turns[1]) > 0.05
