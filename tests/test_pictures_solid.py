"""Oblique views against rays through boxes, and both renderers against each other."""

import dataclasses
import math

import numpy as np
import pytest
from proud.grid import Grid, Tile
from proud.kernels import shade
from proud.pictures import PictureOptions, opengl_works
from proud.pictures_plan import KEY_AMBIENT, KEY_DIFFUSE, surface_of
from proud.pictures_solid import (
    SAMPLES,
    Camera,
    hidden_points,
    mesh_of,
    solid_raster,
    z_buffer,
)

BASE = -2.0


def box_tile():
    """A plate 8 x 6 with its top at 0 and a boss 2 x 2 x 1.5 on it, columns of 0.25."""
    grid = Grid(0.0, 0.0, 0.25, 0.25, 32, 24)
    x, y = np.meshgrid(grid.x(), grid.y())
    boss = (x > 3) & (x < 5) & (y > 2) & (y < 4)
    z = np.where(boss, 1.5, 0.0)
    number = np.where(boss, 2, 1).astype(np.int32)
    return Tile(grid, z, number, number, np.zeros((24, 32, 2)))


def wavy_tile():
    """Ball scallops and a steep cone: slopes everywhere."""
    grid = Grid(0.0, 0.0, 0.1, 0.1, 80, 60)
    x, y = np.meshgrid(grid.x(), grid.y())
    u = x - np.round(x)
    z = 2.0 - np.sqrt(4.0 - u * u)
    slope = np.zeros((60, 80, 2))
    slope[..., 0] = u / np.sqrt(4.0 - u * u)
    rho = np.hypot(x - 4, y - 3)
    cone = 2.0 * (1.5 - rho) > z
    z = np.where(cone, 2.0 * (1.5 - rho), z)
    slope[cone] = (np.stack([x - 4, y - 3], -1) * (-2.0 / rho)[..., None])[cone]
    number = np.where(cone, 2, 1).astype(np.int32)
    return Tile(grid, z, number, number, slope)


def box_hit(origin, direction, low, high):
    """Distances at which rays enter a box, inf where they miss (slab method)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (low - origin) / direction, (high - origin) / direction
    enter = np.nanmax(np.minimum(a, b), axis=-1)
    leave = np.nanmin(np.maximum(a, b), axis=-1)
    return np.where(enter <= leave, enter, np.inf)


@pytest.mark.parametrize("angles", [(-60.0, 40.0), (20.0, 15.0), (135.0, 70.0), (-100.0, 5.0)])
def test_hidden_surfaces_agree_with_rays_through_boxes(angles):
    options = PictureOptions(bottom_mm=BASE)
    mesh = mesh_of(surface_of(box_tile(), 1, options), BASE, options)
    camera = Camera.around(np.array([0, 0, BASE]), np.array([8, 6, 1.5]), angles, 90, 70)
    nearness, ids = z_buffer(mesh, camera)
    rows, columns = np.indices(ids.shape)
    right = ((columns + 0.5) / SAMPLES - 45) * camera.mm_per_pixel
    up = (35 - (rows + 0.5) / SAMPLES) * camera.mm_per_pixel
    far = 100.0
    origin = camera.middle + (
        right[..., None] * camera.axes[0] + up[..., None] * camera.axes[1] + far * camera.axes[2]
    )
    ray = -camera.axes[2]
    hits = np.minimum(
        box_hit(origin, ray, np.array([0, 0, BASE]), np.array([8, 6, 0.0])),
        box_hit(origin, ray, np.array([3, 2, 0.0]), np.array([5, 4, 1.5])),
    )
    seen = ids >= 0
    # A sample on the very outline may fall on either side by rounding.
    assert (seen != np.isfinite(hits)).sum() <= 2
    both = seen & np.isfinite(hits)
    assert both.sum() > 2000
    wrong = np.abs(far - hits[both] - nearness[both]) > 1e-9
    assert wrong.sum() <= 2


@pytest.mark.parametrize("angles", [(-60.0, 40.0), (30.0, 20.0), (90.0, 0.0)])
def test_the_surface_has_no_holes(angles):
    options = PictureOptions()
    mesh = mesh_of(surface_of(wavy_tile(), 1, options), BASE, options)
    camera = Camera.around(np.array([0, 0, BASE]), np.array([8, 6, 3.0]), angles, 320, 240)
    _, ids = z_buffer(mesh, camera)
    for column in ids.T:
        drawn = np.nonzero(column >= 0)[0]
        if drawn.size:
            assert (column[drawn[0] : drawn[-1] + 1] >= 0).all()


def test_quads_turn_counter_clockwise_seen_from_outside():
    options = PictureOptions()
    for tile in (box_tile(), wavy_tile()):
        mesh = mesh_of(surface_of(tile, 1, options), BASE, options)
        p = mesh.points
        area = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
        # Slivers between cells of one slope carry the normal of the surface, not their own.
        told = mesh.surface | (mesh.normal[:, 2] == 0.0)
        assert told.sum() > 800
        assert ((area * mesh.normal).sum(axis=-1)[told] > -1e-12).all()


def test_walls_stand_where_levels_part_and_around_the_stock():
    options = PictureOptions()
    mesh = mesh_of(surface_of(box_tile(), 1, options), BASE, options)
    upright = mesh.points[~mesh.surface]
    assert len(upright) == 2 * (32 + 24) + 4 * 8
    high = upright[..., 2].max(axis=1)
    assert (high == 1.5).sum() == 4 * 8


def test_supplied_normals_give_the_light():
    tile = box_tile()
    tilted = dataclasses.replace(tile, slope=np.full((24, 32, 2), 0.2))
    options = PictureOptions(view="iso", lamp_azimuth_deg=45.0)
    images = [solid_raster(t, 200, 150, "own", options) for t in (tile, tilted)]
    column, row = images[0].to_pixel(np.array([[7.0, 1.0, 0.0]]))[0].astype(int)
    azimuth, elevation = math.radians(-60.0 - 50.0), math.radians(45.0)
    lamp = np.array([math.cos(elevation) * math.cos(azimuth),
                     math.cos(elevation) * math.sin(azimuth), math.sin(elevation)])  # fmt: skip
    normal = np.array([-0.2, -0.2, 1.0]) / math.sqrt(1.08)
    expected = KEY_AMBIENT + KEY_DIFFUSE * float(lamp @ normal)
    ratio = images[1].image[row, column] / images[0].image[row, column]
    assert ratio[2] == pytest.approx(expected, rel=1e-9)


def test_points_behind_the_boss_are_hidden():
    surface = surface_of(box_tile(), 1, PictureOptions())
    eye = Camera.around(np.zeros(3), np.ones(3), (-90.0, 20.0), 10, 10).axes[2]
    points = np.array([[4.0, 4.5, 0.0], [4.0, 1.5, 0.0], [1.0, 4.5, 0.0], [4.0, 2.1, 1.5]])
    assert hidden_points(points, surface, eye).tolist() == [True, False, False, False]


def test_heights_seen_are_those_of_the_levels():
    raster = solid_raster(box_tile(), 200, 150, "own", PictureOptions(view="iso"))
    seen = raster.z[~np.isnan(raster.z)]
    assert set(np.round(seen, 9)) == {0.0, 1.5}


def test_exaggeration_lifts_points_and_heights_alike():
    options = PictureOptions(view="front", exaggerate=3.0)
    raster = solid_raster(box_tile(), 200, 150, "own", options)
    pixels = raster.to_pixel(np.array([[4.0, 2.0, 0.0], [4.0, 2.0, 1.5], [5.0, 2.0, 0.0]]))
    rise, run = pixels[0, 1] - pixels[1, 1], pixels[2, 0] - pixels[0, 0]
    assert rise / run == pytest.approx(4.5)


def test_infinite_slopes_throw_no_corner_away():
    tile = box_tile()
    steep = dataclasses.replace(tile, slope=np.full((24, 32, 2), 1e6))
    surface = surface_of(steep, 1, PictureOptions())
    corners = np.empty((24, 32, 4))
    shade.cell_corners(surface.top, surface.slope, 0.25, 0.25, corners)
    assert corners.min() == 0.0
    assert corners.max() == 1.5
    plain = np.empty((24, 32, 4))
    shade.cell_corners.py_func(surface.top, surface.slope, 0.25, 0.25, plain)
    assert np.array_equal(corners, plain)


def test_both_renderers_draw_the_same():
    if not opengl_works():
        pytest.skip("no OpenGL on this machine")
    options = PictureOptions(view="iso", lamp_azimuth_deg=30.0)
    for tile in (box_tile(), wavy_tile()):
        own = solid_raster(tile, 400, 300, "own", options).image
        gl = solid_raster(tile, 400, 300, "pyvista", options).image
        assert np.abs(own - gl).mean() < 0.01
        assert (np.abs(own - gl).max(axis=-1) > 0.1).mean() < 0.03
