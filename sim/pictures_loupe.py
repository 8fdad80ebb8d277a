"""A loupe: a small window of the surface, so finely that a tenth of a thou can be seen and read.

Colour is height over or under a reference level, without light, which would change it: purple
under, white at the reference, orange over. Between white and either end lie more than 60 of the
100 steps of lightness, for every kind of colour sight. Two sections through the middle stand
beside the map, since an eye reads a height from a profile and a place from a map.
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .grid import Tile
from .pictures_scale import NEAR_MM, PAST, PassShare, Scale, loupe_arrays, pass_shares, scale_of
from .units import MM_PER, Unit, fine_unit, say_fine, say_length, to_unit

if TYPE_CHECKING:
    from .pictures_sheet import Sheet

__all__ = [
    "PassShare",
    "Scale",
    "draw_loupe",
    "is_steep",
    "loupe_arrays",
    "pass_shares",
    "scale_of",
]

Floats = NDArray[np.float64]

SIZE: Final = (1600, 1100)
MAP: Final = (120, 116, 836)
"""Left, top and side of the map, pixels."""
BAR: Final = (1010, 146, 30, 380)
LEGEND: Final = (1180, 110, 400)
SECTIONS: Final = ((1060, 610, 500, 140), (1060, 812, 500, 140))
MOST_PASSES: Final = 8
BORDER: Final = 0.1
"""Grey of the line where the pass changes."""
STRIPE_PX: Final = 16
SMALL_BADGE_PX: Final = 20
"""A piece of a pass less than twice as wide gets its badge beside it."""


STEEP: Final = 8.0
"""Windows whose heights differ by so many sizes are on a slope."""
BEFORE = "#c0392b"
"""Colour of a section as it stood before."""


def draw_loupe(
    tile: Tile,
    *,
    unit: Unit,
    title: str,
    text: str = "",
    passes: Mapping[int, tuple[int, str]],
    path: str | os.PathLike[str] | None = None,
    span_mm: float | None = None,
    middle_mm: float | None = None,
    before: Tile | None = None,
) -> NDArray[np.uint8]:
    """Draw a window with its scale, legend and two sections.

    Parameters
    ----------
    tile : Tile
        The window, mm; it should be square.
    unit : {'in', 'mm'}
        The job's unit, for lettering.
    title : str
    text : str
        What there is to see, in a line; under the title.
    passes : mapping of int to (int, str)
        Tool number and name of each pass.
    path : path, optional
        PNG to write, whole in place of an old file, or not at all.
    span_mm, middle_mm : float, optional
        See `scale_of`.
    before : Tile, optional
        The same window as it stood before; the sections show it too.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        The same input gives the same pixels.

    Raises
    ------
    BadInput
        The name does not end in .png, or the file can't be written.
    """
    from .pictures_sheet import Sheet, plain_matplotlib

    scale = scale_of(tile, span_mm, middle_mm)
    with plain_matplotlib():
        sheet = Sheet(SIZE, 1.0)
        shown = _columns_at_pixels(tile)
        sheet.image(_colored(shown.top, shown.pass_number, scale), MAP[0], MAP[1])
        shares = sorted(pass_shares(tile), key=lambda p: (-p.share, p.number))[:MOST_PASSES]
        _head(sheet, tile, title, text, unit)
        _frame(sheet, tile, unit)
        _badges(sheet, shown.pass_number, shares)
        _bar(sheet, scale, unit)
        _legend(sheet, tile, shares, scale, passes, unit)
        _sections(sheet, tile, scale, unit, before)
        _caption(sheet, tile, scale, unit)
        return sheet.finished(path)


@dataclasses.dataclass(frozen=True)
class _Shown:
    """The column seen at each pixel of the map, row 0 at the top (largest y)."""

    top: Floats
    pass_number: NDArray[np.int32]


def _columns_at_pixels(tile: Tile) -> _Shown:
    """Return the columns at the map's pixels; where they are finer, no thin ridge is lost."""
    from .kernels import shade

    side, grid = MAP[2], tile.grid
    k = max(1, max(grid.nx, grid.ny) // side)
    shape = (math.ceil(grid.ny / k), math.ceil(grid.nx / k))
    chosen = np.empty(shape, dtype=np.int64)
    if k == 1:
        chosen[:] = np.arange(chosen.size).reshape(shape)
    else:
        shade.thin(np.ascontiguousarray(tile.top), k, chosen)
    rows = (np.arange(side)[::-1] + 0.5) * grid.ny / side / k
    columns = (np.arange(side) + 0.5) * grid.nx / side / k
    index = chosen[np.ix_(rows.astype(np.int64), columns.astype(np.int64))]
    gone = index < 0
    top = np.where(gone, np.nan, tile.top.reshape(-1)[index])
    numbers = np.where(gone, -1, tile.pass_number.reshape(-1)[index])
    return _Shown(top, numbers.astype(np.int32))


def _colors(share: Floats) -> Floats:
    """Return the colours of -1 (under) to 1 (over)."""
    from matplotlib import colormaps

    found: Floats = colormaps["PuOr_r"](np.clip(share, -1.0, 1.0) * 0.5 + 0.5)[..., :3]
    return found


def _colored(top: Floats, passes: NDArray[np.int32], scale: Scale) -> Floats:
    """Return the map: heights' colours, striped past the scale, hatched where nothing is left."""
    share = (np.nan_to_num(top, nan=scale.reference_mm) - scale.reference_mm) / scale.span_mm
    colors = _colors(share)
    row, column = np.arange(top.shape[0])[:, None], np.arange(top.shape[1])[None]
    for past, stripe in ((share > 1 + PAST, row + column), (share < -1 - PAST, row - column)):
        lighter = past & (stripe % STRIPE_PX < STRIPE_PX // 2)
        colors[lighter] = 0.75 * colors[lighter] + 0.25
    hatch = np.where((row + column) % 12 < 2, 0.72, 0.93)
    colors[passes < 0] = hatch[passes < 0][:, None]
    border = np.zeros(top.shape, np.bool_)
    border[:, 1:] |= passes[:, 1:] != passes[:, :-1]
    border[1:] |= passes[1:] != passes[:-1]
    colors[border] = BORDER
    return colors


def _center_mm(tile: Tile) -> tuple[float, float]:
    g = tile.grid
    return g.x_low + g.nx * g.pitch_x / 2, g.y_low + g.ny * g.pitch_y / 2


def is_steep(tile: Tile, size_mm: float) -> bool:
    """Return whether a window's heights differ by many times what is to be seen in it, mm."""
    top = tile.top[np.isfinite(tile.top)]
    return bool(len(top)) and float(np.ptp(top)) > STEEP * size_mm


def _digits(step: float) -> int:
    """Return the decimals that tell multiples of a round step apart."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def _pitch_text(pitch_mm: float, unit: Unit) -> str:
    if unit == "in":
        return f"{pitch_mm / 0.0254:.3g} thou ({pitch_mm * 1000:.3g} µm)"
    return f"{pitch_mm * 1000:.3g} µm"


def _head(sheet: Sheet, tile: Tile, title: str, text: str, unit: Unit) -> None:
    places = 4 if unit == "in" else 3
    x, y = (to_unit(v, unit) + 0.0 for v in _center_mm(tile))
    width = to_unit(tile.grid.nx * tile.grid.pitch_x, unit)
    about = (
        f"loupe at X{x:.{places}f} Y{y:.{places}f}, {width:.4g} {unit} wide, seen from above; "
        f"heights, one column each {_pitch_text(tile.grid.pitch_x, unit)}"
    )
    sheet.write(20, 26 if text else 34, title, 27, weight="bold", room=SIZE[0] - 40)
    for k, row in enumerate(sheet.wrapped(text, 17, SIZE[0] - 40)[:2]):
        sheet.write(20, 54 + 20 * k, row, 17)
    sheet.write(20, 94 if text else 72, about, 14 if text else 18, room=SIZE[0] - 40)


def _ticks(low: float, high: float, about: int = 4) -> tuple[Floats, int]:
    """Return round values in a range, and the decimals that they need."""
    from .pictures_layout import nice

    step = nice((high - low) / about)
    found = np.arange(math.ceil(low / step - 1e-9), high / step + 1e-9) * step
    return found + 0.0, _digits(step)


def _frame(sheet: Sheet, tile: Tile, unit: Unit) -> None:
    """Draw the map's frame: places in the job's unit, a scale bar, marks of the sections."""
    from .pictures_layout import nice

    left, top, side = MAP
    right, bottom = left + side, top + side
    sheet.line([left, right, right, left, left], [top, top, bottom, bottom, top], 1.2)
    g, per = tile.grid, MM_PER[unit]
    wide, high = g.nx * g.pitch_x / per, g.ny * g.pitch_y / per
    x0, y0 = g.x_low / per, g.y_low / per
    values, digits = _ticks(x0, x0 + wide)
    for value in values:
        px = left + (value - x0) / wide * side
        sheet.line([px, px], [bottom, bottom + 7], 1.4)
        sheet.write(px, bottom + 20, f"{value:.{digits}f}", 15, ha="center")
    values, digits = _ticks(y0, y0 + high)
    for value in values:
        py = bottom - (value - y0) / high * side
        sheet.line([left - 7, left], [py, py], 1.4)
        sheet.write(left - 12, py, f"{value:.{digits}f}", 15, ha="right")
    sheet.write(right, bottom + 44, f"X ({unit})", 15, ha="right", weight="bold")
    sheet.write(left - 48, bottom + 20, f"Y ({unit})", 15, ha="right", weight="bold")
    length = nice(0.3 * wide)
    row, end = bottom + 46, left + length / wide * side
    sheet.line([left, end], [row, row], 3.0)
    for x in (left, end):
        sheet.line([x, x], [row - 6, row + 6], 2.0)
    said = _pitch_text(length * per, unit) if length * per < 0.1 else f"{length:g} {unit}"
    sheet.write(end + 12, row, said, 17, weight="bold")
    sheet.axes.plot([right + 10], [top + side / 2], "<", ms=10, color="#333333")
    sheet.axes.plot([left + side / 2], [top - 10], "v", ms=10, color="#333333")


def _badges(sheet: Sheet, passes: NDArray[np.int32], shares: Sequence[PassShare]) -> None:
    """Set a badge on each pass's largest piece where it is widest; beside it, if it is thin."""
    from scipy import ndimage

    left, top, side = MAP
    for item in shares:
        pieces, count = ndimage.label(passes == item.number)
        if not count:
            continue
        largest = int(np.argmax(np.bincount(pieces.ravel())[1:])) + 1
        inside = np.pad(pieces == largest, 1)
        depth = ndimage.distance_transform_edt(inside)[1:-1, 1:-1]
        py, px = np.unravel_index(int(np.argmax(depth)), depth.shape)
        x, y = left + float(px) + 0.5, top + float(py) + 0.5
        if depth[py, px] < SMALL_BADGE_PX:
            away = np.array([left + side / 2 - x, top + side / 2 - y])
            away *= 60.0 / max(float(np.hypot(*away)), 1e-9)
            if not away.any():
                away = np.array([60.0, 0.0])
            sheet.line([x, x + away[0]], [y, y + away[1]], 4.0, "white", zorder=5)
            sheet.line([x, x + away[0]], [y, y + away[1]], 1.5, zorder=6)
            sheet.axes.plot([x], [y], "o", ms=6, mfc="#1a1a1a", mec="white", zorder=7)
            x, y = x + away[0], y + away[1]
        sheet.badge(x, y, item.number)


def _fine(unit: Unit, span_mm: float) -> tuple[float, str]:
    """Return millimetres per step of the scale's lettering and the name of that unit."""
    if span_mm >= NEAR_MM:
        return MM_PER[unit], unit
    return (0.0254 if unit == "in" else 0.001), fine_unit(unit)


def _bar(sheet: Sheet, scale: Scale, unit: Unit) -> None:
    """Draw the colour bar with its values over and under the reference."""
    x, y, wide, tall = BAR
    per, name = _fine(unit, scale.span_mm)
    ramp = np.linspace(1.0, -1.0, tall)[:, None]
    sheet.image(np.repeat(_colors(ramp), wide, axis=1), x, y)
    sheet.line([x, x + wide, x + wide, x, x], [y, y, y + tall, y + tall, y], 1.0)
    sheet.write(x, y - 26, f"height ({name})", 17, weight="bold", room=160)
    span = scale.span_mm / per
    values, digits = _ticks(-span, span, 6)
    for value in values:
        row = y + (1 - value / span) / 2 * tall
        sheet.line([x + wide, x + wide + 7], [row, row], 1.4)
        if (scale.over and row < y + 12) or (scale.under and row > y + tall - 12):
            continue  # the word on the stripes stands there
        sheet.write(x + wide + 12, row, f"{value:+.{digits}f}" if value else "0", 16)
    if scale.over:
        sheet.write(x + wide + 12, y - 6, "striped: over", 13, color="#444444")
    if scale.under:
        sheet.write(x + wide + 12, y + tall + 7, "striped: under", 13, color="#444444")
    places = 5 if unit == "in" else 4
    sheet.write(x, y + tall + 28, f"0 is Z {say_length(scale.reference_mm, unit, places)}", 16)


def _legend(
    sheet: Sheet, tile: Tile, shares: Sequence[PassShare], scale: Scale,
    passes: Mapping[int, tuple[int, str]], unit: Unit,
) -> None:  # fmt: skip
    """List the passes: number, tool, name; share, and middle height over the reference."""
    x, y, width = LEGEND
    sheet.write(x, y + 10, "left by pass", 17, weight="bold")
    rows = sorted(shares, key=lambda p: p.number)
    for n, item in enumerate(rows):
        row = y + 46 + 52 * n
        sheet.badge(x + 14, row, item.number)
        tool, name = passes.get(item.number, (None, ""))
        text = f"T{tool}  {name}" if tool is not None else name
        sheet.write(x + 36, row, "raw stock" if item.number == 0 else text, 16, room=width - 40)
        off = item.level_mm - scale.reference_mm
        sign = "+" if off > 0 else ""
        said = f"{100 * item.share:.1f} %, middle {sign}{say_fine(off, unit)}"
        sheet.write(x + 36, row + 21, said, 14, color="#444444", room=width - 40)
    below = y + 46 + 52 * len(rows)
    others = len(np.unique(tile.pass_number[tile.pass_number >= 0])) - len(rows)
    if others:
        sheet.write(x, below, f"and {others} more with small areas", 15)
    elif not rows:
        sheet.write(x, below, "nothing is left here", 16)


def _sections(sheet: Sheet, tile: Tile, scale: Scale, unit: Unit, before: Tile | None) -> None:
    """Draw the heights along X and along Y through the middle of the window."""
    g, per = tile.grid, MM_PER[unit]
    lines = [
        ("along X", tile.top[g.ny // 2], g.x() / per, "left to right"),
        ("along Y", tile.top[:, g.nx // 2], g.y() / per, "bottom to top"),
    ]
    earlier: list[Floats | None] = [None, None]
    if before is not None:
        earlier = [before.top[g.ny // 2], before.top[:, g.nx // 2]]
    for room, (what, heights, places, way), old in zip(SECTIONS, lines, earlier, strict=True):
        _section(sheet, room, (heights, old), places, scale, unit)
        text = f"section {what} through the middle, {way}"
        if old is not None:
            text = f"section {what}, {way}; red: before"
        sheet.write(room[0], room[1] - 16, text, 15, weight="bold")


def _section(
    sheet: Sheet, room: tuple[int, int, int, int], both: tuple[Floats, Floats | None],
    places: Floats, scale: Scale, unit: Unit,
) -> None:  # fmt: skip
    x, y, wide, tall = room
    per, name = _fine(unit, scale.span_mm)
    heights, before = both
    off = (heights - scale.reference_mm) / per
    reach = scale.span_mm / per * (1 + PAST)
    old = np.full(len(off), np.nan)
    if before is None:
        off[np.abs(off) > reach] = np.nan
    else:  # a wall goes on to the edge of the scale
        off, old = (
            np.clip(off, -reach, reach),
            np.clip((before - scale.reference_mm) / per, -reach, reach),
        )
    seen = np.concatenate([off, old])
    seen = seen[~np.isnan(seen)]
    sheet.line([x, x + wide, x + wide, x, x], [y, y, y + tall, y + tall, y], 1.0, "#777777")
    if not seen.size:
        sheet.write(x + wide / 2, y + tall / 2, "nothing within the scale", 15, ha="center")
        return
    least = 0.2 * scale.span_mm / per
    pad = max(0.12 * float(np.ptp(seen)), (least - float(np.ptp(seen))) / 2, 0.0)
    low, high = float(seen.min()) - pad, float(seen.max()) + pad
    values, digits = _ticks(low, high, 3)
    for value in values:
        row = y + (high - value) / (high - low) * tall
        sheet.line([x, x + wide], [row, row], 0.8, "#cccccc", zorder=3)
        sheet.write(x - 8, row, f"{value:+.{digits}f}" if value else "0", 14, ha="right")
    sheet.write(x + wide, y - 16, name, 14, ha="right")
    step = places[1] - places[0] if len(places) > 1 else 1.0
    share = (places - places[0] + step / 2) / (step * len(places))
    if before is not None:
        sheet.line(x + share * wide, y + (high - old) / (high - low) * tall, 1.4, BEFORE)
    sheet.line(x + share * wide, y + (high - off) / (high - low) * tall, 1.8)


def _caption(sheet: Sheet, tile: Tile, scale: Scale, unit: Unit) -> None:
    """State how the picture came about: nothing on it may pass for a measurement."""
    g = tile.grid
    text = (
        f"Simulated, not measured. {g.nx} × {g.ny} columns, each exact; colour is height alone, "
        "without light; black lines where the pass changes; sections at the arrows"
    )
    if (tile.pass_number < 0).any():
        text += "; hatched where nothing is left"
    if scale.over or scale.under:
        text += "; striped where heights are past the scale, which the sections leave out"
    for n, line in enumerate(sheet.wrapped(f"{text}.", 15, SIZE[0] - 40)[:2]):
        sheet.write(20, 1040 + 24 * n, line, 15, color="#444444", room=SIZE[0] - 40)
