"""From columns to a shaded surface: thinning, raking light, colours; and the exact plan view."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .grid import Tile
from .pictures_color import PAPER, height_colors, pass_colors, stripes

if TYPE_CHECKING:
    from .pictures import PictureOptions

__all__ = ["Raster", "Surface", "plan_raster", "surface_of"]

Floats = NDArray[np.float64]

SIGMA_COLUMNS: Final = 1.2
"""Width of the Gaussian derivative that gives the slope at the picture's pitch."""
FLAT_GREY: Final = 0.5
"""Brightness of level ground in raking light."""
SHADOW_RATIO: Final = (0.35 / 3.0, 0.65 / 3.0)
"""Elevations between which the shadow's lamp rises, as shares of the shading lamp's: at 3 degrees
0.35 to 0.65."""
SHADOW_DEPTH: Final = 0.75
"""How much of the light a full shadow takes."""
SHADOW_REACH: Final = 40
"""Longest shadow, in columns of the picture; over its last half it fades."""
DEFAULT_LAMP_DEG: Final = 112.5
"""Along no common direction of an edge: a lamp along a step does not show it."""
KEY_ELEVATION_DEG: Final = 45.0
KEY_AMBIENT: Final = 0.6
KEY_DIFFUSE: Final = (1.0 - KEY_AMBIENT) / math.sin(math.radians(KEY_ELEVATION_DEG))
"""Light on coloured passes: level ground comes out at 1."""
LEAST_RAKE: Final = 0.6
"""What raking light and shadow leave, at least, of a pass's colour."""


@dataclasses.dataclass(frozen=True)
class Surface:
    """Columns thinned to a picture's pitch, with their colours.

    Attributes
    ----------
    x, y : ndarray of float64, shapes (nx,) and (ny,)
        Middles of the cells, mm.
    pitch_x, pitch_y : float
        Size of a cell, mm.
    top : ndarray of float64, shape (ny, nx)
        Heights times the exaggeration, mm; NaN where nothing is.
    slope : ndarray of float64, shape (ny, nx, 2)
        Slopes times the exaggeration.
    pass_number : ndarray of int32, shape (ny, nx)
    color : ndarray of float64, shape (ny, nx, 3)
        Colour with raking light in it; exact normals still to be applied when `lit`.
    lit : bool
        Whether the key light shines on the exact normals.
    """

    x: Floats
    y: Floats
    pitch_x: float
    pitch_y: float
    top: Floats
    slope: Floats
    pass_number: NDArray[np.int32]
    color: Floats
    lit: bool


@dataclasses.dataclass(frozen=True)
class Raster:
    """A drawn view without lettering.

    Attributes
    ----------
    image : ndarray of float64, shape (h, w, 3)
    pass_number : ndarray of int32, shape (h, w)
        Pass at each pixel; -1 paper, -2 a side of the stock.
    z : ndarray of float64, shape (h, w)
        Height at each pixel, mm, not exaggerated; NaN on paper and walls.
    to_pixel : callable
        Points (n, 3) in mm, not exaggerated -> pixels (n, 2), x right and y down.
    hidden : callable
        Points (n, 3) in mm -> bool (n,): metal stands between them and the eye.
    mm_per_pixel : float
    pitch_mm : float
        Size of the columns drawn.
    """

    image: Floats
    pass_number: NDArray[np.int32]
    z: Floats
    to_pixel: Callable[[Floats], Floats]
    hidden: Callable[[Floats], NDArray[np.bool_]]
    mm_per_pixel: float
    pitch_mm: float


def surface_of(tile: Tile, thinning: int, options: PictureOptions) -> Surface:
    """Thin a tile so that no narrow ridge or groove is lost, and colour it.

    Parameters
    ----------
    tile : Tile
    thinning : int
        Columns of the tile along each side of a column of the picture, from 1. Of each block its
        middle column stands for it, or its highest or lowest when that one sticks out.
    options : PictureOptions

    Returns
    -------
    Surface
    """
    from .kernels import shade

    grid, k = tile.grid, thinning
    shape = (math.ceil(grid.ny / k), math.ceil(grid.nx / k))
    chosen = np.empty(shape, dtype=np.int64)
    if k == 1:
        chosen[:] = np.arange(chosen.size).reshape(shape)
        chosen[np.isnan(tile.top)] = -1
    else:
        shade.thin(np.ascontiguousarray(tile.top, dtype=np.float64), k, chosen)
    there = chosen >= 0
    index = np.where(there, chosen, 0)
    z = np.where(there, tile.top.reshape(-1)[index], np.nan)
    passes = np.where(there, tile.pass_number.reshape(-1)[index], -1).astype(np.int32)
    pitch_x, pitch_y = grid.pitch_x * k, grid.pitch_y * k
    if tile.slope is None:
        slope = picture_slope(z, pitch_x, pitch_y, math.inf)
    else:
        slope = np.where(there[..., None], tile.slope.reshape(-1, 2)[index], 0.0)
    return Surface(
        x=grid.x_low + np.arange(0.5, shape[1]) * pitch_x,
        y=grid.y_low + np.arange(0.5, shape[0]) * pitch_y,
        pitch_x=pitch_x,
        pitch_y=pitch_y,
        top=z * options.exaggerate,
        slope=slope * options.exaggerate,
        pass_number=passes,
        color=_colors(z, slope, passes, (pitch_x, pitch_y), options),
        lit=options.color == "pass",
    )


def _colors(
    z: Floats,
    slope: Floats,
    passes: NDArray[np.int32],
    pitch: tuple[float, float],
    options: PictureOptions,
) -> Floats:
    """Colour of each column, raking light included."""
    if options.color == "height":
        low, high = height_range(z)
        return height_colors(z, low, high) * _border(passes)[..., None]
    light = raking(
        z * options.exaggerate, *pitch, lamp_azimuth(options), options.lamp_elevation_deg
    )
    if options.color == "lamp":
        grey = np.repeat(light[..., None], 3, axis=-1)
        grey[passes < 0] = PAPER
        return grey
    # Raking light is for gentle ground; steep ground has its exact normals.
    gentle = np.clip(1.5 - 3.0 * np.abs(slope * options.exaggerate).max(axis=-1), 0.0, 1.0)
    factor = 1.0 - gentle * (1.0 - LEAST_RAKE) * (1.0 - np.minimum(light / FLAT_GREY, 1.0))
    white = 0.5 * (gentle * np.clip(light / FLAT_GREY - 1.0, 0.0, 1.0))[..., None]
    colors = pass_colors(passes) * factor[..., None]
    mixed: Floats = colors + (1.0 - colors) * white
    return mixed


def lamp_azimuth(options: PictureOptions) -> float:
    """Return where the lamp stands, degrees counter-clockwise from +X."""
    return DEFAULT_LAMP_DEG if options.lamp_azimuth_deg is None else options.lamp_azimuth_deg


def best_lamp_azimuth(
    tile: Tile, steps: Sequence[tuple[tuple[float, float], int, int, float]]
) -> float:
    """Return the direction of light that shows the given steps best.

    A lamp on the high side of a step casts its shadow over the low side; one along the step shows
    nothing. The high side is where the upper pass lies, seen from the lower pass, near the step.

    Parameters
    ----------
    tile : Tile
    steps : sequence of ((x, y), upper pass, lower pass, weight)
        Places in mm.

    Returns
    -------
    float
        Degrees counter-clockwise from +X, a multiple of 22.5; `DEFAULT_LAMP_DEG` when no step
        tells.
    """
    candidates = np.radians(np.arange(0.0, 360.0, 22.5))
    score = np.zeros(candidates.size)
    for (x, y), upper, lower, weight in steps:
        uphill = _uphill(tile, x, y, upper, lower)
        if uphill is not None:
            towards = np.cos(candidates) * uphill[0] + np.sin(candidates) * uphill[1]
            score += weight * np.where(towards > 0.0, towards, 0.3 * np.abs(towards))
    if not score.any():
        return DEFAULT_LAMP_DEG
    return float(np.round(np.degrees(candidates[int(np.argmax(np.round(score, 9)))]), 6))


def _uphill(tile: Tile, x: float, y: float, upper: int, lower: int) -> Floats | None:
    """Return the unit vector in plan from the lower to the upper pass near a place, or None."""
    grid = tile.grid
    i, j = int((x - grid.x_low) / grid.pitch_x), int((y - grid.y_low) / grid.pitch_y)
    for reach in (8, 32, 128):
        j0, i0 = max(0, j - reach), max(0, i - reach)
        near = tile.pass_number[j0 : max(0, j + reach + 1), i0 : max(0, i + reach + 1)]
        middles = [np.argwhere(near == number) for number in (upper, lower)]
        if all(len(found) >= reach for found in middles):
            row, column = middles[0].mean(axis=0) - middles[1].mean(axis=0)
            arrow = np.array([column * grid.pitch_x, row * grid.pitch_y])
            length = float(np.hypot(*arrow))
            if length > 0.0:
                return arrow / length
    return None


def _border(passes: NDArray[np.int32]) -> Floats:
    """Brightness that draws a thin line where the pass changes."""
    factor = np.ones(passes.shape)
    factor[:, 1:][passes[:, 1:] != passes[:, :-1]] = 0.6
    factor[1:][passes[1:] != passes[:-1]] = 0.6
    return factor


def height_range(z: Floats) -> tuple[float, float]:
    """Return the lowest and highest height, mm; (0, 0) where nothing is left."""
    there = z[~np.isnan(z)]
    return (float(there.min()), float(there.max())) if there.size else (0.0, 0.0)


def picture_slope(z: Floats, pitch_x: float, pitch_y: float, clip_mm: float) -> Floats:
    """Return the slope of the heights by a Gaussian derivative at the columns' pitch.

    Parameters
    ----------
    z : ndarray of float64, shape (ny, nx)
        Heights, mm; NaN where nothing is.
    pitch_x, pitch_y : float
        mm.
    clip_mm : float
        Largest difference of height that counts.

    Returns
    -------
    ndarray of float64, shape (ny, nx, 2)
        dz/dx and dz/dy; exact on a plane away from its edges, exactly 0 on a level.
    """
    from .kernels import shade

    derivative, smooth = shade.gaussian_weights(SIGMA_COLUMNS)  # type: ignore[no-untyped-call]
    out = np.empty((*z.shape, 2))
    result: Floats = shade.picture_slope(z, derivative, smooth, pitch_x, pitch_y, clip_mm, out)
    return result


def raking(
    z: Floats, pitch_x: float, pitch_y: float, azimuth_deg: float, elevation_deg: float
) -> Floats:
    """Return the light of a low lamp on a surface, so that a step between two flats shows.

    The normals of two flats are the same, so that a step between them is dark in no exact shading.
    Two things show it: the slope of the heights at the picture's own pitch, and the shadow that a
    still lower lamp casts. The result is the product of both, a composite and no photograph.

    Parameters
    ----------
    z : ndarray of float64, shape (ny, nx)
        Heights, mm; NaN where nothing is.
    pitch_x, pitch_y : float
        mm.
    azimuth_deg : float
        Where the lamp stands, counter-clockwise from +X.
    elevation_deg : float
        Height of the shading lamp over the level; the shadow's lamp stands at a sixth of it.

    Returns
    -------
    ndarray of float64, shape (ny, nx)
        0 dark to 1 bright; `FLAT_GREY` on level ground.
    """
    from .kernels import shade

    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    ux, uy = math.cos(azimuth), math.sin(azimuth)
    clip_mm = 12.0 * math.tan(elevation) * min(pitch_x, pitch_y)
    slope = picture_slope(z, pitch_x, pitch_y, clip_mm)
    towards = 1.0 - (slope[..., 0] * ux + slope[..., 1] * uy) / math.tan(elevation)
    length = np.sqrt(1.0 + slope[..., 0] ** 2 + slope[..., 1] ** 2)
    lambert = np.clip(FLAT_GREY * towards / length, 0.0, 1.0)
    low, high = (math.tan(elevation * share) for share in SHADOW_RATIO)
    shadow = np.empty(z.shape)
    shade.cast_shadow(z, pitch_x, pitch_y, ux, uy, low, high, SHADOW_REACH, shadow)
    result: Floats = lambert * (1.0 - SHADOW_DEPTH * shadow)
    return result


def key_light(azimuth_deg: float) -> Floats:
    """Return the unit vector towards the lamp that shines on coloured passes."""
    azimuth, elevation = math.radians(azimuth_deg), math.radians(KEY_ELEVATION_DEG)
    return np.array(
        [
            math.cos(elevation) * math.cos(azimuth),
            math.cos(elevation) * math.sin(azimuth),
            math.sin(elevation),
        ]
    )


def light_on(normals: Floats, azimuth_deg: float) -> Floats:
    """Return the brightness that unit normals (..., 3) give under the key light; 1 on a level."""
    lit: Floats = KEY_AMBIENT + KEY_DIFFUSE * np.maximum(0.0, normals @ key_light(azimuth_deg))
    return lit


def normals_of(slope: Floats) -> Floats:
    """Return unit normals (..., 3) of slopes (..., 2)."""
    normals = np.concatenate([-slope, np.ones((*slope.shape[:-1], 1))], axis=-1)
    result: Floats = normals / np.linalg.norm(normals, axis=-1, keepdims=True)
    return result


def box_resample(values: Floats, size: int, axis: int) -> Floats:
    """Return the averages of `values` over `size` equal shares of one axis.

    Finer than the columns this draws each column as an exact square; coarser, it averages.
    """
    n = values.shape[axis]
    total = np.concatenate(
        [np.zeros_like(np.take(values, [0], axis)), np.cumsum(values, axis=axis)], axis=axis
    )
    edges = np.linspace(0.0, n, size + 1)
    low = np.minimum(edges.astype(np.int64), n - 1)
    share = (edges - low).reshape([-1 if a == axis else 1 for a in range(values.ndim)])
    at_edges = np.take(total, low, axis) * (1.0 - share) + np.take(total, low + 1, axis) * share
    result: Floats = np.diff(at_edges, axis=axis) * (size / n)
    return result


def plan_raster(tile: Tile, width: int, height: int, options: PictureOptions) -> Raster:
    """Draw the columns from above, each where it stands, as large as fits.

    Parameters
    ----------
    tile : Tile
    width, height : int
        Room for the view, pixels.
    options : PictureOptions

    Returns
    -------
    Raster
    """
    grid = tile.grid
    span_x, span_y = grid.nx * grid.pitch_x, grid.ny * grid.pitch_y
    mm_per_pixel = max(span_x / width, span_y / height)
    thinning = max(1, int(mm_per_pixel / max(grid.pitch_x, grid.pitch_y) + 1e-9))
    surface = surface_of(tile, thinning, options)
    color = surface.color
    if surface.lit:
        color = color * light_on(normals_of(surface.slope), lamp_azimuth(options))[..., None]
        color[surface.pass_number < 0] = PAPER
    ny, nx = surface.top.shape
    w = max(1, round(nx * surface.pitch_x / mm_per_pixel))
    h = max(1, round(ny * surface.pitch_y / mm_per_pixel))
    picture = box_resample(box_resample(np.clip(color, 0.0, 1.0)[::-1], h, 0), w, 1)
    rows = ny - 1 - np.minimum(((np.arange(h) + 0.5) * ny / h).astype(np.int64), ny - 1)
    columns = np.minimum(((np.arange(w) + 0.5) * nx / w).astype(np.int64), nx - 1)
    passes = surface.pass_number[np.ix_(rows, columns)]
    if options.color == "pass":
        picture = picture * stripes(passes)[..., None]
    off_x, off_y = (width - w) // 2, (height - h) // 2
    y_high = grid.y_low + ny * surface.pitch_y

    def to_pixel(points: Floats) -> Floats:
        px = off_x + (points[:, 0] - grid.x_low) / (nx * surface.pitch_x) * w
        py = off_y + (y_high - points[:, 1]) / (ny * surface.pitch_y) * h
        return np.stack([px, py], axis=-1)

    return Raster(
        image=_placed(picture, (height, width, 3), off_x, off_y, 1.0),
        pass_number=_placed(passes, (height, width), off_x, off_y, -1),
        z=_placed(
            surface.top[np.ix_(rows, columns)] / options.exaggerate,
            (height, width), off_x, off_y, math.nan,
        ),
        to_pixel=to_pixel,
        hidden=lambda points: np.zeros(len(points), dtype=np.bool_),
        mm_per_pixel=mm_per_pixel,
        pitch_mm=max(surface.pitch_x, surface.pitch_y),
    )  # fmt: skip


def _placed(part: NDArray[Any], shape: tuple[int, ...], x: int, y: int, fill: float) -> Any:
    whole = np.full(shape, fill, dtype=part.dtype)
    whole[y : y + part.shape[0], x : x + part.shape[1]] = part[: shape[0] - y, : shape[1] - x]
    return whole
