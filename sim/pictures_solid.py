"""Oblique views: cells with upright walls, drawn by an own z-buffer or by OpenGL."""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .errors import Fault
from .grid import Tile
from .pictures_color import PAPER, SIDE_COLOR, pass_colors, stripes
from .pictures_plan import (
    KEY_AMBIENT,
    KEY_DIFFUSE,
    Raster,
    Surface,
    key_light,
    light_on,
    normals_of,
    plan_raster,
    surface_of,
)

if TYPE_CHECKING:
    from .pictures import PictureOptions

__all__ = ["Camera", "Mesh", "mesh_of", "solid_raster"]

Floats = NDArray[np.float64]

MOST_CELLS: Final = 600_000
"""Cells drawn in an oblique view: about one for each pixel."""
SAMPLES: Final = 2
"""Samples along each side of a pixel."""
SIDE: Final = -2
"""Stands for a pass number on the sides of the stock."""


@dataclasses.dataclass(frozen=True)
class Mesh:
    """Quads of the surface, its walls and the sides of the stock, exaggerated.

    Attributes
    ----------
    points : ndarray of float64, shape (n, 4, 3)
        Corners, mm.
    normal : ndarray of float64, shape (n, 3)
        Unit normal of each quad: exact from the slope on the surface.
    color : ndarray of float64, shape (n, 3)
    pass_number : ndarray of int32, shape (n,)
        `SIDE` on the sides of the stock.
    surface : ndarray of bool, shape (n,)
        A cell of the surface, not a wall.
    """

    points: Floats
    normal: Floats
    color: Floats
    pass_number: NDArray[np.int32]
    surface: NDArray[np.bool_]


@dataclasses.dataclass(frozen=True)
class Camera:
    """A parallel projection that fits a box into a picture.

    Attributes
    ----------
    axes : ndarray of float64, shape (3, 3)
        Rows: right, up, and towards the eye, in part coordinates.
    middle : ndarray of float64, shape (3,)
        Point in the middle of the picture, mm, exaggerated.
    mm_per_pixel : float
    width, height : int
        Pixels.
    """

    axes: Floats
    middle: Floats
    mm_per_pixel: float
    width: int
    height: int

    @classmethod
    def around(
        cls, low: Floats, high: Floats, angles_deg: tuple[float, float], width: int, height: int
    ) -> Camera:
        """Return the camera at (azimuth, elevation) from which a box fills the picture."""
        azimuth, elevation = (math.radians(angle) for angle in angles_deg)
        sa, ca, se, ce = (
            math.sin(azimuth), math.cos(azimuth), math.sin(elevation), math.cos(elevation),
        )  # fmt: skip
        axes = np.array([[-sa, ca, 0.0], [-se * ca, -se * sa, ce], [ce * ca, ce * sa, se]])
        corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1])
                            for z in (low[2], high[2])])  # fmt: skip
        seen = corners @ axes.T
        span = seen.max(axis=0) - seen.min(axis=0)
        scale = max(span[0] / width, span[1] / height, 1e-9) * 1.02
        middle = axes.T @ ((seen.max(axis=0) + seen.min(axis=0)) / 2)
        return cls(axes, middle, scale, width, height)

    def screen(self, points: Floats) -> Floats:
        """Return pixels right, pixels down and nearness in mm, shape (..., 3)."""
        seen = (points - self.middle) @ self.axes.T
        seen[..., 0] = self.width / 2 + seen[..., 0] / self.mm_per_pixel
        seen[..., 1] = self.height / 2 - seen[..., 1] / self.mm_per_pixel
        result: Floats = seen
        return result


def mesh_of(surface: Surface, base_mm: float, options: PictureOptions) -> Mesh:
    """Return the quads of a surface: one a cell, upright ones between cells that do not meet.

    Parameters
    ----------
    surface : Surface
    base_mm : float
        Where the sides end below, mm, exaggerated.
    options : PictureOptions

    Returns
    -------
    Mesh
    """
    from .kernels import shade

    ny, nx = surface.top.shape
    corners = np.empty((ny, nx, 4))
    shade.cell_corners(surface.top, surface.slope, surface.pitch_x, surface.pitch_y, corners)
    j, i = np.nonzero(~np.isnan(surface.top))
    half_x, half_y = surface.pitch_x / 2, surface.pitch_y / 2
    cells = np.empty((j.size, 4, 3))
    cells[..., 0] = surface.x[i][:, None] + np.array([-half_x, half_x, half_x, -half_x])
    cells[..., 1] = surface.y[j][:, None] + np.array([-half_y, -half_y, half_y, half_y])
    cells[..., 2] = corners[j, i]
    top = Mesh(
        cells,
        normals_of(surface.slope[j, i]),
        surface.color[j, i],
        surface.pass_number[j, i],
        np.ones(j.size, dtype=np.bool_),
    )
    upright = _walls_of(surface, corners, base_mm, options)
    return Mesh(
        *(
            np.concatenate([getattr(top, field.name), getattr(upright, field.name)])
            for field in dataclasses.fields(Mesh)
        )
    )


def _walls_of(surface: Surface, corners: Floats, base_mm: float, options: PictureOptions) -> Mesh:
    from .kernels import shade

    empty = np.empty(0, dtype=np.int64)
    count = shade.walls(corners, base_mm, empty, empty, np.empty((0, 4)))
    side, cell = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    heights = np.empty((count, 4))
    shade.walls(corners, base_mm, side, cell, heights)
    ny, nx = surface.top.shape
    j, i = np.divmod(cell, nx)
    step_x, step_y = np.array([0, 1, 0, -1])[side], np.array([-1, 0, 1, 0])[side]
    ends_x = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])[side] * (surface.pitch_x / 2)
    ends_y = np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]])[side] * (surface.pitch_y / 2)
    points = np.empty((count, 4, 3))
    for corner, end in enumerate((1, 0, 0, 1)):  # counter-clockwise from outside
        points[:, corner, 0] = surface.x[i] + ends_x[:, end]
        points[:, corner, 1] = surface.y[j] + ends_y[:, end]
    points[..., 2] = heights[:, [1, 0, 3, 2]]
    jj, ii = j + step_y, i + step_x
    inside = (jj >= 0) & (jj < ny) & (ii >= 0) & (ii < nx)
    jj, ii = np.where(inside, jj, j), np.where(inside, ii, i)
    side_of_stock = ~inside | np.isnan(surface.top[jj, ii])
    passes = np.where(side_of_stock, SIDE, surface.pass_number[jj, ii]).astype(np.int32)
    normal = _wall_normals(surface, (j, i), (jj, ii), np.stack([step_x, step_y], axis=-1), base_mm)
    color = _wall_colors(surface, (jj, ii), passes, normal, options)
    # Between cells of one smooth surface the gap is a sliver: it takes the light of the surface.
    drop = np.abs(heights[:, :2] - heights[:, 2:]).max(axis=1)
    steep = np.abs(surface.slope[j, i]).max(axis=-1)
    sliver = ~side_of_stock & (drop < (0.25 + steep) * max(surface.pitch_x, surface.pitch_y))
    same = surface.pass_number[j, i] == passes
    sliver &= same
    normal[sliver] = normals_of(surface.slope[j, i])[sliver]
    color[sliver] = surface.color[j, i][sliver]
    return Mesh(points, normal, color, passes, np.zeros(count, dtype=np.bool_))


def _wall_normals(
    surface: Surface,
    at: tuple[NDArray[np.int64], NDArray[np.int64]],
    beside: tuple[NDArray[np.int64], NDArray[np.int64]],
    step: NDArray[np.int64],
    base_mm: float,
) -> Floats:
    """Level normals of walls, smoothed in plan: a slanting wall is a staircase of cells."""
    from scipy import ndimage

    filled = np.where(np.isnan(surface.top), base_mm, surface.top)
    gx = ndimage.gaussian_filter(filled, 1.5, order=(0, 1), mode="constant", cval=base_mm)
    gy = ndimage.gaussian_filter(filled, 1.5, order=(1, 0), mode="constant", cval=base_mm)
    downhill = -np.stack([gx[at] + gx[beside], gy[at] + gy[beside]], axis=-1)
    length = np.linalg.norm(downhill, axis=-1, keepdims=True)
    downhill = np.where(length > 0.0, downhill / np.where(length > 0.0, length, 1.0), step)
    agrees = (downhill * step).sum(axis=-1, keepdims=True) > 0.2
    level = np.where(agrees, downhill, step)
    return np.concatenate([level, np.zeros((len(level), 1))], axis=-1)


def _wall_colors(
    surface: Surface,
    beside: tuple[NDArray[np.int64], NDArray[np.int64]],
    passes: NDArray[np.int32],
    normal: Floats,
    options: PictureOptions,
) -> Floats:
    """Colour of walls: of the pass at their foot; grey sides, always lit by the key light."""
    light = light_on(normal, key_azimuth_deg(options))[:, None]
    sides = np.tile(np.array(SIDE_COLOR), (len(passes), 1))
    if options.color == "pass":
        return np.where((passes == SIDE)[:, None], sides, pass_colors(np.maximum(passes, 0)))
    if options.color == "height":
        return np.where((passes == SIDE)[:, None], sides, surface.color[beside] * 0.8) * light
    return sides * light


def key_azimuth_deg(options: PictureOptions) -> float:
    """Return where the key light of an oblique view stands in plan: to the left behind the eye."""
    return options.angles_deg[0] - 50.0


def _base_mm(tile_top: Floats, options: PictureOptions) -> float:
    """Where the sides of the stock end: its underside, or a little under the lowest column."""
    there = tile_top[~np.isnan(tile_top)]
    if not there.size:
        return 0.0
    low = float(there.min())
    if options.bottom_mm is not None:
        return min(options.bottom_mm, low)
    return low - 0.08 * max(float(there.max()) - low, 1.0)


def solid_raster(
    tile: Tile,
    width: int,
    height: int,
    renderer: str,
    options: PictureOptions,
) -> Raster:
    """Draw a tile as a solid, seen in a parallel projection.

    Parameters
    ----------
    tile : Tile
    width, height : int
        Pixels.
    renderer : {'own', 'pyvista'}
        'pyvista' needs OpenGL: ask `opengl_works` first.
    options : PictureOptions

    Returns
    -------
    Raster
    """
    if np.isnan(tile.top).all():
        return plan_raster(tile, width, height, options)
    grid = tile.grid
    thinning = max(1, math.ceil(math.sqrt(grid.columns / MOST_CELLS) - 1e-9))
    surface = surface_of(tile, thinning, options)
    base = _base_mm(tile.top, options) * options.exaggerate
    high = float(np.nanmax(surface.top))
    ny, nx = surface.top.shape
    camera = Camera.around(
        np.array([grid.x_low, grid.y_low, base]),
        np.array([grid.x_low + nx * surface.pitch_x, grid.y_low + ny * surface.pitch_y, high]),
        options.angles_deg, width, height,
    )  # fmt: skip
    mesh = mesh_of(surface, base, options)
    nearness, ids = z_buffer(mesh, camera)
    light_deg = key_azimuth_deg(options) if surface.lit else None
    if renderer == "pyvista":
        image = gl_image(mesh, camera, light_deg)
    else:
        image = own_image(mesh, ids, light_deg)
    middle = ids[SAMPLES // 2 :: SAMPLES, SAMPLES // 2 :: SAMPLES]
    passes = np.where(middle >= 0, mesh.pass_number[middle], -1).astype(np.int32)
    if options.color == "pass":
        image = image * stripes(passes)[..., None]
    scale = np.array([1.0, 1.0, options.exaggerate])
    return Raster(
        image=image,
        pass_number=passes,
        z=_heights_seen(nearness, middle, mesh, camera) / options.exaggerate,
        to_pixel=lambda points: camera.screen(points * scale)[:, :2],
        hidden=lambda points: hidden_points(points * scale, surface, camera.axes[2]),
        mm_per_pixel=camera.mm_per_pixel,
        pitch_mm=max(surface.pitch_x, surface.pitch_y),
    )


def z_buffer(mesh: Mesh, camera: Camera) -> tuple[Floats, NDArray[np.int32]]:
    """Return nearness (mm, -inf on paper) and the quad (-1 on paper) at each sample.

    Both have shape (SAMPLES * height, SAMPLES * width).
    """
    from .kernels import shade

    points = camera.screen(mesh.points)
    points[..., :2] *= SAMPLES
    shape = (camera.height * SAMPLES, camera.width * SAMPLES)
    depth, ids = np.full(shape, -np.inf), np.full(shape, -1, dtype=np.int32)
    shade.fill_quads(points, depth, ids)
    return depth, ids


def own_image(mesh: Mesh, ids: NDArray[np.int32], light_deg: float | None) -> Floats:
    """Return the picture of a z-buffer, the samples of each pixel averaged."""
    color = mesh.color
    if light_deg is not None:
        color = color * light_on(mesh.normal, light_deg)[:, None]
    table = np.concatenate([np.clip(color, 0.0, 1.0), [PAPER]])
    h, w = ids.shape
    total = np.zeros((h // SAMPLES, w // SAMPLES, 3))
    for row in range(SAMPLES):
        for column in range(SAMPLES):
            total += table[ids[row::SAMPLES, column::SAMPLES]]
    return total / SAMPLES**2


def _heights_seen(
    nearness: Floats, middle: NDArray[np.int32], mesh: Mesh, camera: Camera
) -> Floats:
    """Height of the surface at the middle sample of each pixel; NaN on paper and walls."""
    depth = nearness[SAMPLES // 2 :: SAMPLES, SAMPLES // 2 :: SAMPLES]
    on_surface = (middle >= 0) & mesh.surface[middle]
    off = (SAMPLES // 2 + 0.5) / SAMPLES
    rows = (np.arange(camera.height) + off)[:, None]
    up = (camera.height / 2 - rows) * camera.mm_per_pixel
    z = (
        camera.middle[2]
        + up * camera.axes[1, 2]
        + np.where(on_surface, depth, 0.0) * (camera.axes[2, 2])
    )
    return np.where(on_surface, z, np.nan)


def hidden_points(points: Floats, surface: Surface, eye: Floats) -> NDArray[np.bool_]:
    """Return which points (mm, exaggerated) metal hides from an eye in direction `eye`.

    Walks from each point towards the eye in steps of half a cell and compares heights.
    """
    there = surface.top[~np.isnan(surface.top)]
    level = math.hypot(eye[0], eye[1])
    hidden = np.zeros(len(points), dtype=np.bool_)
    if not there.size or level < 1e-9:
        return hidden
    step = 0.5 * min(surface.pitch_x, surface.pitch_y) / level
    reach = surface.pitch_x * surface.top.shape[1] + surface.pitch_y * surface.top.shape[0]
    t = np.arange(3, math.ceil(reach / (step * level)) + 3) * step
    slack = 1e-3 * max(float(np.ptp(there)), 1e-6)
    for n, point in enumerate(points):
        i = np.floor((point[0] + t * eye[0] - surface.x[0]) / surface.pitch_x + 0.5).astype(int)
        j = np.floor((point[1] + t * eye[1] - surface.y[0]) / surface.pitch_y + 0.5).astype(int)
        inside = (i >= 0) & (j >= 0) & (i < surface.x.size) & (j < surface.y.size)
        stands = surface.top[j[inside], i[inside]]
        hidden[n] = bool((stands > point[2] + (t * eye[2])[inside] + slack).any())
    return hidden


@contextmanager
def _egl_window() -> Iterator[None]:
    """Have off-screen windows made through EGL: without a display the default one complains."""
    name = "VTK_DEFAULT_OPENGL_WINDOW"
    before = os.environ.get(name)
    os.environ.setdefault(name, "vtkEGLRenderWindow")
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]


def gl_image(mesh: Mesh, camera: Camera, light_deg: float | None) -> Floats:
    """Return the picture of the same mesh, normals and light, drawn by pyvista off-screen."""
    import pyvista

    quads = pyvista.PolyData.from_regular_faces(
        mesh.points.reshape(-1, 3), np.arange(len(mesh.points) * 4).reshape(-1, 4)
    )
    quads.point_data["Normals"] = np.repeat(mesh.normal, 4, axis=0)
    quads.point_data.active_normals_name = "Normals"
    color = np.rint(np.clip(mesh.color, 0.0, 1.0) * 255).astype(np.uint8)
    quads.point_data["color"] = np.repeat(color, 4, axis=0)
    with _egl_window():
        plotter = pyvista.Plotter(
            off_screen=True, window_size=(camera.width, camera.height), lighting="none"
        )
        plotter.set_background("white")
        plotter.add_mesh(
            quads, scalars="color", rgb=True, smooth_shading=True, split_sharp_edges=False,
            lighting=light_deg is not None, ambient=KEY_AMBIENT, diffuse=KEY_DIFFUSE, specular=0.0,
        )  # fmt: skip
        if light_deg is not None:
            light = pyvista.Light(light_type="scene light", intensity=1.0)
            light.positional = False
            light.focal_point = (0.0, 0.0, 0.0)
            light.position = tuple(key_light(light_deg))
            plotter.add_light(light)
        _aim(plotter, camera)
        plotter.enable_anti_aliasing("ssaa")
        shot = plotter.screenshot(None, return_img=True)
        plotter.close()
    if shot.shape[:2] != (camera.height, camera.width):
        raise Fault(f"OpenGL drew {shot.shape}, asked for {(camera.height, camera.width)}")
    result: Floats = shot[..., :3].astype(np.float64) / 255
    return result


def _aim(plotter: object, camera: Camera) -> None:
    """Set pyvista's camera to a parallel projection of ours."""
    view = plotter.camera  # type: ignore[attr-defined]
    far = 4.0 * camera.mm_per_pixel * (camera.width + camera.height)
    view.parallel_projection = True
    view.focal_point = tuple(camera.middle)
    view.position = tuple(camera.middle + far * camera.axes[2])
    view.up = tuple(camera.axes[1])
    view.parallel_scale = camera.height / 2 * camera.mm_per_pixel
    plotter.renderer.reset_camera_clipping_range()  # type: ignore[attr-defined]
