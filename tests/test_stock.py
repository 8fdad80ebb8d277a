"""Stock: closed forms, meshes against planes and solids, files that can't be used."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.errors import Fault, ModelError
from proud.jobfile_spec import StockSpec
from proud.stock import Block, MeshStock, Round, Stock, make_stock

IN = 25.4
STEP = 1e-3
"""Steps in the shared cast: mm, either side of an outline."""


def centers(low, high, count):
    return low + (np.arange(count) + 0.5) * (high - low) / count


def save(mesh, folder, name="stock.stl") -> Path:
    path = folder / name
    mesh.export(path)
    return path


def model(path, unit="mm") -> MeshStock:
    stock = make_stock(StockSpec("model", model=path, material="4140"), unit)
    assert isinstance(stock, MeshStock)
    return stock


def pyramid():
    """Square base z 0, side 20, centre 0; apex at height 5: slope 1/2 on each side."""
    corners = [[-10, -10, 0], [10, -10, 0], [10, 10, 0], [-10, 10, 0], [0, 0, 5]]
    facets = [[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]
    return trimesh.Trimesh(corners, facets, process=False)


# --- block, bar, tube ----------------------------------------------------------------------------


def test_block_is_its_box():
    block = make_stock(
        StockSpec("block", (-1.0, 2.0, -3.0), (5.0, 4.5, 0.5), material="6061"), "mm"
    )
    assert isinstance(block, Block)
    assert block.is_block
    assert block.volume == 6.0 * 2.5 * 3.5
    assert (block.low, block.high) == ((-1.0, 2.0, -3.0), (5.0, 4.5, 0.5))
    assert block.material == "6061"
    xs = np.array([-1 - STEP, -1.0, 2.0, 5.0, 5 + STEP])
    ys = np.array([2 - STEP, 2.0, 4.5, 4.5 + STEP])
    top, bottom = block.top_bottom(xs, ys)
    inside = np.array([False, True, True, False])[:, None] & np.array([0, 1, 1, 1, 0], bool)
    np.testing.assert_array_equal(top, np.where(inside, 0.5, np.nan))
    np.testing.assert_array_equal(bottom, np.where(inside, -3.0, np.nan))
    np.testing.assert_array_equal(block.level_at(xs, ys), inside)
    assert not block.slope_at(xs, ys).any()
    assert block.slope_at(xs, ys).shape == (4, 5, 2)


def test_bar_and_tube_outline_belongs_to_the_stock():
    tube = make_stock(
        StockSpec("tube", diameter=10.0, center=(1.0, 2.0), bottom=-4.0, top=1.0, bore=6.0), "mm"
    )
    assert isinstance(tube, Round)
    assert not tube.is_block
    assert (tube.low, tube.high) == ((-4.0, -3.0, -4.0), (6.0, 7.0, 1.0))
    x = 1.0 + np.array([0.0, 3 - STEP, 3.0, 4.0, 5.0, 5 + STEP])
    top, bottom = tube.at(x, np.full(6, 2.0))
    np.testing.assert_array_equal(top, [np.nan, np.nan, 1.0, 1.0, 1.0, np.nan])
    np.testing.assert_array_equal(bottom, [np.nan, np.nan, -4.0, -4.0, -4.0, np.nan])
    bar = make_stock(
        StockSpec("round", diameter=10.0, center=(1.0, 2.0), bottom=-4.0, top=1.0), "mm"
    )
    np.testing.assert_array_equal(bar.at(x, np.full(6, 2.0))[0], [1, 1, 1, 1, 1, np.nan])
    # derived: pi (R^2 - r^2) h
    assert tube.volume == pytest.approx(math.pi * 16 * 5, rel=1e-15)
    assert bar.volume == pytest.approx(math.pi * 25 * 5, rel=1e-15)


def test_tube_area_on_columns_converges_to_the_ring():
    tube = make_stock(StockSpec("tube", diameter=20.0, bottom=0.0, top=1.0, bore=8.0), "mm")
    errors = []
    for count in (50, 200, 800):
        at = centers(-10.0, 10.0, count)
        metal = np.isfinite(tube.top_bottom(at, at)[0]).sum()
        errors.append(abs(metal * (20 / count) ** 2 / tube.volume - 1))
    # Columns near the two outlines, pi (D + d) / pitch of them, each off by half a cell either
    # way: the error is about the root of their number, in cells.
    for count, error in zip((50, 200, 800), errors, strict=True):
        assert error < 3 * math.sqrt(math.pi * 28 / (20 / count)) * (20 / count) ** 2 / tube.volume


def test_unknown_shape_is_our_fault():
    with pytest.raises(Fault, match="no stock of shape 'heap'"):
        make_stock(StockSpec("heap"), "mm")
    with pytest.raises(Fault, match="without all its sizes"):
        make_stock(StockSpec("round", diameter=3.0), "mm")


# --- meshes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["stl", "ply", "obj", "off"])
def test_box_mesh_equals_the_block(tmp_path, ending):
    box = trimesh.creation.box(bounds=[[-1, 0, -2], [3, 2, 0.5]])
    stock = model(save(box, tmp_path, f"box.{ending}"))
    block = make_stock(StockSpec("block", (-1.0, 0.0, -2.0), (3.0, 2.0, 0.5)), "mm")
    assert (stock.low, stock.high) == (block.low, block.high)
    assert stock.volume == pytest.approx(block.volume, rel=1e-14)
    assert stock.material == "4140"
    xs = np.array([-1 - STEP, -1.0, -0.5, 0.0, 1.0, 3.0, 3 + STEP])
    ys = np.array([0.0, 0.5, 1.0, 2.0, 2 + STEP])
    for got, expected in zip(stock.top_bottom(xs, ys), block.top_bottom(xs, ys), strict=True):
        np.testing.assert_array_equal(got, expected)
    np.testing.assert_array_equal(stock.level_at(xs, ys), block.level_at(xs, ys))
    assert not stock.slope_at(xs, ys).any()


def test_mesh_is_taken_in_the_jobs_unit(tmp_path):
    path = save(trimesh.creation.box(bounds=[[0, 0, -0.5], [2, 1, 0.25]]), tmp_path)
    stock = model(path, "in")
    assert (stock.low, stock.high) == ((0.0, 0.0, -0.5 * IN), (2 * IN, IN, 0.25 * IN))
    assert stock.volume == pytest.approx(1.5 * IN**3, rel=1e-14)


def test_pyramid_against_its_planes(tmp_path):
    stock = model(save(pyramid(), tmp_path))
    at = np.linspace(-10, 10, 41)  # on the outline, the ridges, the apex and between
    top, bottom = stock.top_bottom(at, at)
    far = np.maximum(np.abs(at[None, :]), np.abs(at[:, None]))
    np.testing.assert_allclose(top, (10 - far) / 2, rtol=0, atol=1e-14)
    np.testing.assert_array_equal(bottom, np.zeros((41, 41)))
    # On the outline the level base is a top too.
    assert not stock.level_at(at[1:-1], at[1:-1]).any()
    assert stock.volume == pytest.approx(20 * 20 * 5 / 3, rel=1e-14)
    slope = stock.slope_at(np.array([-6.0, 0.5, 4.0]), np.array([1.0]))
    np.testing.assert_allclose(slope[0], [[0.5, 0], [0, -0.5], [-0.5, 0]], atol=1e-15)


def test_turned_inside_out_is_the_same_stock(tmp_path):
    plain, turned = pyramid(), pyramid()
    turned.invert()
    at = centers(-10, 10, 30)
    first, second = model(save(plain, tmp_path, "a.ply")), model(save(turned, tmp_path, "b.ply"))
    np.testing.assert_allclose(
        first.top_bottom(at, at), second.top_bottom(at, at), rtol=0, atol=1e-14
    )
    assert first.volume == second.volume


def test_ball_against_its_equation(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=5, radius=6.0)
    stock = model(save(ball, tmp_path, "ball.ply"))
    # derived: facets with edges up to e lie within R - sqrt(R^2 - e^2 / 3) of the ball
    sagitta = 6 - math.sqrt(36 - ball.edges_unique_length.max() ** 2 / 3)
    assert 0 < 4 / 3 * math.pi * 6**3 - stock.volume < 4 * math.pi * 36 * sagitta
    x, y = np.random.default_rng(5).uniform(-6, 6, (2, 4000))
    top, bottom = stock.at(x, y)
    r = np.hypot(x, y)
    assert np.isnan(top[r > 6]).all()
    assert np.isfinite(top[r < 6 - sagitta]).all()
    inner = r < 5
    z = np.sqrt(36 - r[inner] ** 2)
    steep = 6 / math.sqrt(11)  # sagitta is along the radius; 1 / cos at r = 5
    assert (z - top[inner]).min() > -1e-12
    assert (z - top[inner]).max() < sagitta * steep * 1.01
    np.testing.assert_allclose(bottom[inner], -top[inner], rtol=0, atol=2 * sagitta * steep)
    assert inner.sum() > 1500


def test_bar_mesh_volume_and_level_top(tmp_path):
    bar = trimesh.creation.cylinder(radius=5.0, height=4.0, sections=96)
    stock = model(save(bar, tmp_path, "bar.ply"))
    # derived: a 96-sided prism, n/2 R^2 sin(2 pi / n) h; the file holds 32-bit numbers
    assert stock.volume == pytest.approx(48 * 25 * math.sin(2 * math.pi / 96) * 4, rel=1e-7)
    at = centers(-5, 5, 120)
    top, bottom = stock.top_bottom(at, at)
    metal = np.isfinite(top)
    r = np.hypot(at[None, :], at[:, None])
    assert metal[r < 5 * math.cos(math.pi / 96)].all()
    assert not metal[r > 5].any()
    np.testing.assert_array_equal(top[metal], 2.0)
    np.testing.assert_array_equal(bottom[metal], -2.0)
    np.testing.assert_array_equal(stock.level_at(at, at), metal)


def test_lying_bar_has_no_level_top_and_a_hollow_is_bridged(tmp_path):
    ring = trimesh.creation.annulus(r_min=2.0, r_max=5.0, height=8.0, sections=64)
    ring.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, [1, 0, 0]))
    stock = model(save(ring, tmp_path, "ring.ply"))
    top, bottom = stock.at(np.array([0.01]), np.array([0.3]))  # metal, bore, metal
    assert top[0] == pytest.approx(5, abs=0.02)
    assert bottom[0] == pytest.approx(-5, abs=0.02)
    x, y = np.random.default_rng(6).uniform(-4, 4, (2, 500))
    assert stock.level_points(x, y).sum() == 0


def test_columns_on_shared_edges_and_corners_are_never_lost(tmp_path):
    # A plate whose top and bottom are split into facets with odd corners, turned in plan, so that
    # columns on their edges and corners are only there up to rounding.
    rng = np.random.default_rng(11)
    stock = model(save(rough_plate(rng, 12, level=False), tmp_path, "plate.ply"))
    tops = stock.vertices[stock.facets[:, [0, 1, 2]]]
    low, high = np.array(stock.low), np.array(stock.high)
    shares = rng.dirichlet((1, 1), 4000)
    facet = rng.integers(len(tops), size=4000)
    a, b = tops[facet, 0], tops[facet, 1]
    on_edges = a * shares[:, :1] + b * shares[:, 1:]
    for points in (stock.vertices, on_edges):
        inner = ((points[:, :2] > low[:2] + 1e-9) & (points[:, :2] < high[:2] - 1e-9)).all(axis=1)
        x, y, z = points[inner].T
        top, bottom = stock.at(x, y)
        assert inner.sum() > 100
        assert np.isfinite(top).all()
        assert ((bottom - 1e-12 <= z) & (z <= top + 1e-12)).all()


def rough_plate(rng, count, level):
    """Plate of 10 x 10 with count x count corners moved at random, top at 1, or 1 to 2."""
    i, j = np.meshgrid(np.arange(count), np.arange(count))
    plan = np.stack([i, j], -1).reshape(-1, 2) * (10 / (count - 1))
    edge = ((i == 0) | (j == 0) | (i == count - 1) | (j == count - 1)).ravel()
    plan += np.where(edge[:, None], 0, rng.uniform(-0.3, 0.3, plan.shape) * 10 / count)
    z = np.ones(len(plan)) if level else 1 + rng.uniform(0, 1, len(plan))
    upper, lower = np.column_stack([plan, z]), np.column_stack([plan, np.zeros(len(plan))])
    k = (i + j * count)[:-1, :-1].ravel()
    faces = np.concatenate(
        [np.stack([k, k + 1, k + count + 1], 1), np.stack([k, k + count + 1, k + count], 1)]
    )
    rim = np.concatenate(
        [
            np.arange(count),
            np.arange(1, count) * count + count - 1,
            np.arange(count - 2, -1, -1) + count * (count - 1),
            np.arange(count - 2, 0, -1) * count,
        ]
    )
    after, n = np.roll(rim, -1), len(plan)
    walls = np.concatenate(
        [np.stack([rim + n, after + n, after], 1), np.stack([rim + n, after, rim], 1)]
    )
    facets = np.concatenate([faces, faces[:, ::-1] + n, walls])
    return trimesh.Trimesh(np.concatenate([upper, lower]), facets, process=False)


def test_level_facets_give_their_height_to_the_last_digit(tmp_path):
    plate = rough_plate(np.random.default_rng(2), 9, level=True)
    plate.apply_scale([1, 1, 1 / 3])
    stock = model(save(plate, tmp_path, "plate.ply"))
    at = centers(0, 10, 100)
    top, bottom = stock.top_bottom(at, at)
    assert (top == stock.high[2]).all()
    assert (bottom == 0).all()
    assert stock.level_at(at, at).all()
    assert stock.volume == pytest.approx(100 / 3, rel=1e-6)  # the file may hold 32-bit numbers


def test_grid_and_single_columns_agree_to_the_bit(tmp_path):
    stock = model(save(rough_plate(np.random.default_rng(3), 10, level=False), tmp_path, "p.ply"))
    xs, ys = centers(-1, 11, 60), centers(-0.5, 10.2, 47)
    wide_x, wide_y = np.meshgrid(xs, ys)
    for single, grid in zip(stock.at(wide_x, wide_y), stock.top_bottom(xs, ys), strict=True):
        np.testing.assert_array_equal(single, grid)
    np.testing.assert_array_equal(stock.level_points(wide_x, wide_y), stock.level_at(xs, ys))
    assert np.isnan(stock.top_bottom(xs, ys)[0]).sum() > 400


@settings(max_examples=60, deadline=None)
@given(
    turn=st.floats(-math.pi, math.pi),
    shift=st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3)),
    seed=st.integers(0, 2**31),
)
def test_turned_box_against_its_outline(tmp_path_factory, turn, shift, seed):
    box = trimesh.creation.box(extents=[8, 6, 3])
    box.apply_transform(trimesh.transformations.rotation_matrix(turn, [0, 0, 1]))
    box.apply_translation([*shift, 0])
    stock = model(save(box, tmp_path_factory.mktemp("box"), "box.off"))
    u, v = np.random.default_rng(seed).uniform((-5, -4), (5, 4), (200, 2)).T
    x = shift[0] + u * math.cos(turn) - v * math.sin(turn)
    y = shift[1] + u * math.sin(turn) + v * math.cos(turn)
    clear = np.maximum(np.abs(u) - 4, np.abs(v) - 3)
    top, bottom = stock.at(x, y)
    off_by = 1e-6  # the file keeps eight decimals
    np.testing.assert_array_equal(
        np.isfinite(top[np.abs(clear) > off_by]), clear[np.abs(clear) > off_by] < 0
    )
    metal = np.isfinite(top)
    np.testing.assert_allclose(top[metal] - bottom[metal], 3, rtol=0, atol=off_by)


# --- files that can't be used --------------------------------------------------------------------


def refused(path, text):
    with pytest.raises(ModelError, match=text) as caught:
        make_stock(StockSpec("model", model=path), "mm")
    assert str(path) in str(caught.value)
    assert caught.value.exit_code == 2


def test_open_mesh_names_its_open_edges(tmp_path):
    box = trimesh.creation.box()
    box.update_faces(np.arange(12) != 4)
    refused(save(box, tmp_path), "not closed: 3 open edges; close the holes")


def test_facets_facing_both_ways(tmp_path):
    box = trimesh.creation.box()
    box.faces[4] = box.faces[4][::-1]
    refused(save(box, tmp_path, "box.off"), "3 edges join facets that face opposite ways")


@pytest.mark.parametrize(
    ("name", "content", "text"),
    [
        ("a.stl", b"", "holds no facets"),
        ("a.stl", b"solid a\nendsolid a\n", "holds no facets"),
        ("a.obj", b"nothing of use\n", "holds no facets"),
        ("a.ply", b"ply\n", "can't be read as a mesh"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "can't be read|isn't there"),
        ("a.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n", "not closed: 3 open edges"),
        ("a.off", b"OFF\n3 2 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n3 0 2 1\n", "encloses no volume"),
        ("a.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1e9 0\n3 0 1 2\n", "farther than 100 m"),
        ("a.step", b"ISO-10303-21;", r"\.step is not a mesh file .* \.stl, \.ply, \.obj, \.off"),
        ("a", b"x", "no ending is not a mesh file"),
    ],
)
def test_unusable_files(tmp_path, name, content, text):
    path = tmp_path / name
    path.write_bytes(content)
    refused(path, text)


def test_missing_file_and_folder(tmp_path):
    refused(tmp_path / "none.stl", "no such file; check the name and the folder")
    (tmp_path / "folder.stl").mkdir()
    refused(tmp_path / "folder.stl", "no such file")


def test_a_torn_binary_file(tmp_path):
    path = save(trimesh.creation.box(), tmp_path)
    path.write_bytes(path.read_bytes()[:-30])
    refused(path, "can't be read as a mesh|not closed|holds no facets")


def test_names_of_the_module():
    import proud.stock

    names = {
        "Block",
        "MeshStock",
        "Round",
        "Stock",
        "check_part_model",
        "closed_mesh",
        "make_stock",
    }
    assert set(proud.stock.__all__) == names
    assert all(issubclass(c, Stock) for c in (Block, MeshStock, Round))


# --- boxes without stock -------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["block", "bar", "tube", "notch"])
def test_boxes_without_stock_are_those_in_which_no_column_has_any(shape, tmp_path):
    """An L of 20 x 20 less 12 x 12 as a mesh; boxes also without a width, as segments are."""
    made = {
        "block": StockSpec("block", (0.0, 0.0, 0.0), (20.0, 20.0, 5.0)),
        "bar": StockSpec("round", diameter=20.0, center=(10.0, 10.0), bottom=0.0, top=5.0),
        "tube": StockSpec(
            "tube", diameter=20.0, center=(10.0, 10.0), bottom=0.0, top=5.0, bore=9.0
        ),
    }
    if shape == "notch":
        outline = [(0, 0), (20, 0), (20, 8), (8, 8), (8, 20), (0, 20)]
        solid = trimesh.creation.extrude_polygon(shapely.Polygon(outline), 5.0)
        stock = model(save(solid, tmp_path))
    else:
        stock = make_stock(made[shape], "mm")
    rng = np.random.default_rng(5)
    half = rng.uniform(0, 4, (800, 2)) * rng.integers(0, 2, (800, 2))
    boxes = np.hstack([rng.uniform(-6, 26, (800, 2)), half])
    highest = stock.highest(boxes)
    off = highest == -np.inf
    assert 50 < off.sum() < 750
    steps = np.linspace(-1, 1, 41)
    x = boxes[:, 0, None, None] + boxes[:, 2, None, None] * steps[:, None]
    y = boxes[:, 1, None, None] + boxes[:, 3, None, None] * steps
    tops = stock.at(*np.broadcast_arrays(x, y))[0].reshape(800, -1)
    some = np.isfinite(tops).any(axis=1)
    assert (highest[some] == 5.0).all()
    assert not (off & some).any()
    # What lies between 41 x 41 columns of a box is less than a tenth of its half width.
    clear = ~some & ~off
    assert clear.sum() < 12


def test_the_top_over_a_box_is_no_higher_than_what_stands_in_it(tmp_path):
    """A pyramid of slope 1/2, its base 20 wide, about a drafted boss: planes give the bound."""
    stock = model(save(pyramid(), tmp_path))
    rng = np.random.default_rng(6)
    half = rng.uniform(0, 2, (400, 2)) * rng.integers(0, 2, (400, 2))
    boxes = np.hstack([rng.uniform(-12, 12, (400, 2)), half])
    nearest = np.maximum(np.abs(boxes[:, :2]) - boxes[:, 2:], 0.0).max(axis=1)
    inside = nearest < 10.0
    by_hand = 5.0 - nearest / 2  # of the side that is nearest to the middle
    found = stock.highest(boxes)
    assert (found[~inside & (nearest > 10.0)] == -np.inf).all()
    over = (found - by_hand)[inside]
    assert (over >= -1e-9).all()
    # A plane goes on past its facet, in the box: slope 1/2 over twice the half width.
    assert (over <= boxes[inside, 2:].max(axis=1) + 1e-6).all()
    assert over[boxes[inside, 2:].max(axis=1) == 0] == pytest.approx(0.0, abs=1e-6)
