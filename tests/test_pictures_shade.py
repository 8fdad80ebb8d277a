"""Raking light, thinning and colours: what makes a step of 0.3 thou show."""

import math

import numpy as np
import pytest
from from_python import plain_loops
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.grid import Grid, Tile
from proud.kernels import shade
from proud.pictures import PictureOptions
from proud.pictures_color import RAW_COLOR, hatch_of, pass_colors, stripes
from proud.pictures_plan import (
    FLAT_GREY,
    SHADOW_REACH,
    SIGMA_COLUMNS,
    best_lamp_azimuth,
    box_resample,
    light_on,
    normals_of,
    picture_slope,
    plan_raster,
    raking,
)

THOU = 0.0254
PITCH = 0.0876  # 4 in over 1160 pixels


def stepped(height=0.3 * THOU, nx=160, ny=60):
    """Two flats that meet along x = 80 columns, the right one higher."""
    z = np.zeros((ny, nx))
    z[:, nx // 2 :] = height
    return z


def test_slope_of_a_plane_is_exact_away_from_its_edges():
    y, x = np.mgrid[0:30, 0:40] * 0.1
    slope = picture_slope(0.3 * x - 0.7 * y, 0.1, 0.1, math.inf)
    inner = slope[6:-6, 6:-6]
    assert np.allclose(inner, (0.3, -0.7), rtol=0, atol=1e-12)


def test_level_ground_beside_nothing_has_exactly_no_slope():
    z = np.full((20, 20), -3.7)
    z[5:9, 5:12] = np.nan
    assert np.array_equal(picture_slope(z, 0.1, 0.2, 1.0), np.zeros((20, 20, 2)))


def test_slope_at_a_step_follows_the_gaussian():
    # derived: a step blurred by a Gaussian has the slope h exp(-(d/sigma)^2/2)/(sqrt(2 pi) sigma)
    h = 0.3 * THOU
    slope = picture_slope(stepped(h), PITCH, PITCH, math.inf)[30, 79, 0]
    sigma = SIGMA_COLUMNS * PITCH
    expected = h * math.exp(-0.5 * (0.5 / SIGMA_COLUMNS) ** 2) / (math.sqrt(2 * math.pi) * sigma)
    assert slope == pytest.approx(expected, rel=0.04)


def test_a_step_of_three_tenths_shows_with_the_lamp_on_its_high_side():
    light = raking(stepped(), PITCH, PITCH, 0.0, 3.0)[30]
    contrast = 1.0 - light.min() / FLAT_GREY
    assert contrast > 0.75
    assert (light < 0.8 * FLAT_GREY).sum() >= 8
    assert light[10] == light[150] == FLAT_GREY


def test_exact_normals_do_not_show_it():
    flat = np.zeros((60, 160, 2))
    assert np.ptp(light_on(normals_of(flat), 0.0)) == 0.0


def test_a_lamp_along_the_step_does_not_show_it():
    light = raking(stepped(), PITCH, PITCH, 90.0, 3.0)
    assert np.allclose(light[10:-10], FLAT_GREY, rtol=0, atol=1e-3)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_shadow_has_the_length_of_the_lamp_s_angle_in_every_direction(turns):
    # derived: dark up to h/tan(high), lit beyond h/tan(low)
    low, high, h = math.tan(math.radians(0.4)), math.tan(math.radians(0.6)), 0.0012
    z = np.rot90(stepped(h, 80, 80), turns)  # counter-clockwise as displayed, y down
    ux, uy = [(1, 0), (0, -1), (-1, 0), (0, 1)][turns]
    out = np.empty(z.shape)
    shade.cast_shadow(z, 0.02, 0.02, float(ux), float(uy), low, high, SHADOW_REACH, out)
    row = np.rot90(out, -turns)[40]
    distance = (40 - np.arange(40)) * 0.02  # from each column to the first high one
    dark = row[:40]
    assert (dark[distance < h / high] == 1.0).all()
    assert (dark[distance > h / low] == 0.0).all()
    between = (distance > h / high * 1.01) & (distance < h / low * 0.99)
    assert between.any()
    assert ((dark[between] > 0.0) & (dark[between] < 1.0)).all()
    assert (row[40:] == 0.0).all()


def test_shadow_fades_where_it_is_cut_off():
    z = stepped(5.0, 200, 5)
    out = np.empty(z.shape)
    shade.cast_shadow(z, 0.02, 0.02, 1.0, 0.0, 0.006, 0.011, SHADOW_REACH, out)
    falling = out[2, 100 - SHADOW_REACH - 1 : 100]
    assert falling[0] == 0.0
    assert falling[-1] == 1.0
    assert np.diff(falling).max() < 0.06


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**6), st.floats(0.0, 2 * math.pi))
def test_compiled_and_plain_loops_agree(seed, azimuth):
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 0.02, (9, 11))
    z[rng.random(z.shape) < 0.1] = np.nan
    args = (z, 0.1, 0.07, math.cos(azimuth), math.sin(azimuth), 0.006, 0.011, 7)
    derivative, smooth = shade.gaussian_weights(SIGMA_COLUMNS)

    def answers():
        shadow, slope = np.full(z.shape, 9.0), np.full((*z.shape, 2), 9.0)
        picks = np.full((3, 4), -9)
        shade.cast_shadow(*args, shadow)
        shade.picture_slope(z, derivative, smooth, 0.1, 0.07, 0.01, slope)
        shade.thin(z, 3, picks)
        return shadow, slope, picks

    compiled = answers()
    with plain_loops(shade):
        plain = answers()
    assert np.allclose(compiled[0], plain[0], rtol=0, atol=1e-12)
    assert np.allclose(compiled[1], plain[1], rtol=0, atol=1e-14)
    assert np.array_equal(compiled[2], plain[2])


def thinned(z, k=5):
    out = np.empty((math.ceil(z.shape[0] / k), math.ceil(z.shape[1] / k)), dtype=np.int64)
    shade.thin(z, k, out)
    return np.where(out >= 0, z.reshape(-1)[out], np.nan)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("offset", range(5))
def test_a_ridge_or_groove_one_column_wide_is_kept(sign, offset):
    z = np.zeros((40, 40))
    z[:, 20 + offset] = sign
    assert (thinned(z)[:, 4] == sign).all()
    assert (thinned(z)[:, [3, 5]] == 0).all()


@pytest.mark.parametrize("edge", range(20, 25))
def test_a_wall_stays_where_it_is(edge):
    z = np.zeros((40, 40))
    z[:, edge:] = 1.0
    expected = np.where(np.arange(2, 40, 5) >= edge, 1.0, 0.0)
    assert np.array_equal(thinned(z)[3], expected)


def test_a_plane_is_sampled_evenly():
    z = np.tile(np.arange(40) * 0.01, (40, 1))
    assert np.allclose(np.diff(thinned(z)[2]), 0.05, rtol=0, atol=1e-12)


def test_a_thin_web_beside_nothing_is_kept():
    z = np.full((20, 20), np.nan)
    z[:, 11] = 2.0
    assert np.array_equal(np.isnan(thinned(z)[0]), [True, True, False, True])


@given(st.integers(1, 40), st.integers(1, 60))
def test_box_resample_keeps_the_mean(n, size):
    values = np.random.default_rng(n).random((n, 3))
    again = box_resample(values, size, 0)
    assert again.shape == (size, 3)
    assert np.allclose(again.mean(axis=0), values.mean(axis=0), rtol=1e-9)
    assert again.min() >= values.min() - 1e-9
    assert again.max() <= values.max() + 1e-9


def step_tile(turned=False):
    z = stepped(nx=200, ny=200)
    number = np.where(z > 0, 2, 1).astype(np.int32)
    if turned:
        z, number = z.T.copy(), number.T.copy()
    return Tile(Grid(0.0, 0.0, 0.1, 0.1, 200, 200), z, number, number, np.zeros((200, 200, 2)))


@pytest.mark.parametrize(("turned", "azimuth"), [(False, 0.0), (True, 90.0)])
def test_the_lamp_stands_on_the_high_side_of_the_steps(turned, azimuth):
    assert best_lamp_azimuth(step_tile(turned), [((10.0, 10.0), 2, 1, 1.0)]) == azimuth
    assert best_lamp_azimuth(step_tile(turned), [((10.0, 10.0), 1, 2, 1.0)]) == azimuth + 180.0
    assert best_lamp_azimuth(step_tile(turned), []) == 112.5
    assert best_lamp_azimuth(step_tile(turned), [((10.0, 10.0), 7, 8, 1.0)]) == 112.5


def test_plan_view_stands_square_and_north_up():
    tile = step_tile(turned=True)  # the higher half lies at high y
    raster = plan_raster(tile, 300, 200, PictureOptions(color="lamp", lamp_azimuth_deg=90.0))
    pixels = raster.to_pixel(np.array([[0.0, 0.0, 0.0], [20.0, 20.0, 0.0]]))
    assert np.allclose(pixels, [[50.0, 200.0], [250.0, 0.0]])
    assert raster.pass_number[10, 150] == 2
    assert raster.pass_number[190, 150] == 1
    assert raster.pass_number[100, 20] == -1
    step_row = raster.image[95:125, 150, 0]
    assert step_row.min() < 0.25 * FLAT_GREY


# Machado, Oliveira, Fernandes 2009, severity 1.0 (from memory)
SIGHT = {
    "normal": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def lab(linear):
    """CIE 1976 L*a*b* under D65 of linear sRGB (IEC 61966-2-1, from memory)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722],
                       [0.0193, 0.1192, 0.9505]])  # fmt: skip
    xyz = np.clip(linear, 0, 1) @ to_xyz.T / (0.9505, 1.0, 1.089)
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], -1)


@pytest.mark.parametrize("sight", SIGHT)
def test_pass_colours_stay_apart_for_every_sight(sight):
    colors = pass_colors(np.arange(9))
    assert tuple(colors[0]) == RAW_COLOR
    linear = np.where(colors <= 0.04045, colors / 12.92, ((colors + 0.055) / 1.055) ** 2.4)
    seen = lab(linear @ np.array(SIGHT[sight]).T)
    apart = np.linalg.norm(seen[:, None] - seen[None], axis=-1)[~np.eye(9, dtype=bool)]
    assert apart.min() > 20.0


def test_passes_of_one_colour_differ_by_stripes():
    numbers = np.array([3, 11, 19, 27, 35, 43])
    assert len({tuple(c) for c in pass_colors(numbers)}) == 1
    assert len({hatch_of(int(n)) for n in numbers}) == 6
    patterns = {stripes(np.full((56, 56), n)).tobytes() for n in numbers}
    assert len(patterns) == 6
    assert (stripes(np.full((8, 8), 8)) == 1.0).all()
