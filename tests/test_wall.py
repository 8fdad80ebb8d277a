"""Stock on walls by closed forms: steps, kinks, corners, sections of meshes, sides of passes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import ROOT
from helpers_job import Nc, tool, write_job
from proud.contour import Contour, Piece
from proud.errors import BadInput
from proud.wall import wall
from proud.wall_contour import Loop, chord_error, pass_sides, section_loops
from proud.wall_walk import BEYOND, FOUND, NONE, Track

EXACT = 1e-9
MICRON = 1e-3
FLAT = [tool(1, "flat", 6.0)]


def part_of(row):
    return row["pass"], row["part_of_tool"]


# ------------------------------------------------------------------------------------------- a line


@pytest.fixture(scope="module")
def stepped(tmp_path_factory):
    """A wall along y = 0.1 left of x = 0 and y = 0 right of it, a round of the tool in between."""
    nc = Nc().tool(1, "left").stroke((-30, 3.1, -5), (0, 3.1, -5))
    nc.heading("right").stroke((0, 3, -5), (30, 3, -5))
    return write_job(tmp_path_factory.mktemp("stepped"), nc, FLAT)


EDGE = -math.sqrt(9 - 2.9**2)
"""x at which the round about (0, 3) leaves y = 0.1."""
ROUND = -3 * EDGE - 0.5 * (-EDGE * 2.9 + 9 * math.asin(-EDGE / 3))
"""Integral of 3 - sqrt(9 - x^2) from there to 0, derived."""
MEAN = (0.1 * (10 + EDGE) + ROUND) / 20


@pytest.mark.parametrize("spacing", [0.05, 1.7, 50.0])
def test_a_step_whatever_the_spacing(stepped, spacing):
    found = wall(stepped, -2.0, ((-10.0, 0.0), (10.0, 0.0)), spacing=spacing)
    assert (found.stock[found.least_at], found.stock[found.most_at]) == pytest.approx(
        (0, 0.1), abs=EXACT
    )
    assert found.mean == pytest.approx(MEAN, abs=1e-6)
    assert (found.length, found.measured) == pytest.approx((20, 20), abs=1e-7)
    x, owner = found.x, np.array([row["pass"] for row in found.rows])
    assert (owner[x < EDGE - 1e-4] == 1).all()
    assert (owner[x > EDGE + 1e-4] == 2).all()
    assert np.abs(x - EDGE).min() < 1e-4
    wanted = np.where(x < EDGE, 0.1, np.where(x < 0, 3 - np.sqrt(9 - np.clip(x, -3, 0) ** 2), 0.0))
    assert found.stock == pytest.approx(wanted, abs=1e-8)
    assert (np.diff(found.s) >= 0).all()
    assert (found.s[0], found.s[-1], x[0], x[-1]) == (0, 20, -10, 10)
    assert np.array_equal(found.normal, np.tile([0.0, 1.0], (len(x), 1)))


def test_the_other_way_round_and_the_other_side(stepped):
    there = wall(stepped, -2.0, ((-10.0, 0.0), (10.0, 0.0)))
    back = wall(stepped, -2.0, ((10.0, 0.0), (-10.0, 0.0)))
    assert back.mean == pytest.approx(there.mean, abs=1e-9)
    assert back.stock[::-1] == pytest.approx(there.stock, abs=1e-9)
    forced = wall(stepped, -2.0, ((-10.0, 0.0), (10.0, 0.0)), side="right")
    assert forced.stock.tolist() == there.stock.tolist()
    # Looked at as if the metal were at y > 0: 6 mm of air, then the slot's other side.
    across = wall(stepped, -2.0, ((2.0, 0.0), (10.0, 0.0)), side="left", reach=16.0)
    assert across.stock == pytest.approx(15.0, abs=EXACT), "touching counts"
    across = wall(stepped, -2.0, ((2.0, 1.0), (10.0, 1.0)), side="left", reach=7.0)
    assert across.stock == pytest.approx(-5.0, abs=EXACT)


def test_cut_under_and_beyond_and_none(stepped):
    found = wall(stepped, -2.0, ((2.0, 0.25), (8.0, 0.25)))
    assert found.stock == pytest.approx(-0.25, abs=EXACT)
    assert (found.state == FOUND).all()
    with pytest.raises(BadInput, match=r"no metal's face within 6\.350 mm of the line"):
        wall(stepped, -2.0, ((2.0, -8.5), (8.0, -8.5)))
    found = wall(stepped, -2.0, ((-25.0, 0.0), (25.0, 0.0)))
    assert set(found.state.tolist()) == {FOUND, NONE}
    assert found.measured == pytest.approx(40, abs=1e-6)
    assert found.notes == ("10.000 mm of the contour left out: no metal within reach",)
    with pytest.raises(BadInput, match="nothing but metal within"):
        wall(stepped, -2.0, ((-2.0, -7.0), (2.0, -7.0)), side="left")
    # From the slot into the uncut stock at its end there is no face within reach.
    nc = Nc().tool(1, "short").stroke((-30, 3, -5), (0, 3, -5))
    job = write_job(stepped.spec.folder / "short", nc, FLAT)
    found = wall(job, -2.0, ((-5.0, 0.0), (5.0, 0.0)), side="right")
    assert set(found.state.tolist()) == {FOUND, BEYOND}
    assert found.stock[found.most_at] == pytest.approx(3.0, abs=MICRON)


def test_an_inside_corner(tmp_path):
    """Derived: a tool of radius R leaves R at the corner's foot and R^2 (1 - pi/4) in area."""
    nc = Nc().tool(1, "corner").stroke((20, 3, -5), (3, 3, -5), (3, 20, -5))
    job = write_job(tmp_path, nc, FLAT)
    found = wall(job, -2.0, ((0.0, 0.0), (10.0, 0.0)))
    assert found.stock[found.most_at] == pytest.approx(3.0, abs=MICRON)
    assert found.x[found.most_at] == 0
    assert found.stock[found.least_at] == pytest.approx(0.0, abs=EXACT)
    assert found.mean == pytest.approx(9 * (1 - math.pi / 4) / 10, abs=1e-5)


def test_what_cannot_be_measured(stepped):
    line = ((-10.0, 0.0), (10.0, 0.0))
    for z in (-12.1, 0.1):
        with pytest.raises(BadInput, match=r"is off the stock, which reaches from -12\.000 mm"):
            wall(stepped, z, line)
    with pytest.raises(BadInput, match="has no length"):
        wall(stepped, -2.0, ((1.0, 1.0), (1.0, 1.0)))
    with pytest.raises(BadInput, match="it must be over 0"):
        wall(stepped, -2.0, line, spacing=0.0)
    with pytest.raises(BadInput, match="would make over 2,000,000 points"):
        wall(stepped, -2.0, line, spacing=1e-6)
    with pytest.raises(BadInput, match="must be over 0"):
        wall(stepped, -2.0, line, reach=0.0)
    with pytest.raises(BadInput, match="metal is on both sides of the line alike"):
        wall(stepped, -2.0, ((2.0, 3.0), (8.0, 3.0)))
    with pytest.raises(BadInput, match="no part model"):
        wall(stepped, -2.0, "part")


# ------------------------------------------------------------------------------------ a pass's side


def frame(gap, z, way=1):
    """A path round a part of 20 x 10, `gap` off it, with sharp corners."""
    x, y = 10 + gap, 5 + gap
    corners = [(-x, -y, z), (x, -y, z), (x, y, z), (-x, y, z), (-x, -y, z)]
    return corners[::way]


@pytest.fixture(scope="module")
def framed(tmp_path_factory):
    """Roughed with 0.5 left, then in one pass two rounds on two levels, the last on the wall."""
    nc = Nc().tool(1, "rough").stroke(*frame(3.5, -6))
    nc.heading("finish").stroke(*frame(3.3, -3, -1)).stroke(*frame(3.0, -3, -1))
    nc.stroke(*frame(3.0, -6, -1))
    return write_job(tmp_path_factory.mktemp("framed"), nc, FLAT,
                     low=(-12.0, -7.0, -12.0), high=(12.0, 7.0, 0.0))  # fmt: skip


def test_what_a_pass_will_find_and_what_it_leaves(framed):
    for z in (-1.0, -4.5):
        before = wall(framed, z, 2, as_of=1)
        assert before.length == pytest.approx(60, abs=1e-5)
        assert before.stock == pytest.approx(0.5, abs=EXACT)
        assert before.mean == pytest.approx(0.5, abs=EXACT)
        assert {part_of(row) for row in before.rows} == {(1, "side")}
        after = wall(framed, z, 2)
        assert after.stock == pytest.approx(0.0, abs=EXACT)
        assert {part_of(row) for row in after.rows} == {(2, "side")}
        cut = wall(framed, z, 1)
        assert cut.stock[cut.most_at] == pytest.approx(-0.5, abs=EXACT)
        assert cut.length == pytest.approx(64, abs=1e-5)
    # Left of the path that goes round clockwise is outside: there is no metal any more.
    with pytest.raises(BadInput, match="meets no metal"):
        wall(framed, -4.5, 2, side="left", reach=0.5)


def test_the_rounds_inside_others_leave_no_wall(framed):
    pairs = pass_sides(framed.program.moves, framed.tools, 2, -1.0, "mm")
    lengths = [[sum(x.contour.length for x in side) for side in pair] for pair in pairs]
    right = [pair[1] for pair in lengths]
    assert right == pytest.approx([0, 60, 0], abs=1e-5), "the second level repeats the first"
    below = pass_sides(framed.program.moves, framed.tools, 2, -4.5, "mm")
    assert [sum(x.contour.length for x in pair[1]) for pair in below] == pytest.approx([60])


def test_passes_without_a_side_there(framed):
    with pytest.raises(BadInput, match=r"has no side at z -7\.000 mm: its level moves run at z -6"):
        wall(framed, -7.0, 2)
    with pytest.raises(BadInput, match="over its floor"):
        wall(framed, -6.0, 1)
    with pytest.raises(BadInput, match="there is no pass 7; the last is 2"):
        wall(framed, -2.0, 7)
    hole = write_job(framed.spec.folder / "hole", Nc().tool(1, "hole").stroke((0, 0, -5)), FLAT)
    with pytest.raises(BadInput, match="no level moves at all"):
        wall(hole, -2.0, 1)


def test_both_sides_of_a_slot(tmp_path):
    job = write_job(tmp_path, Nc().tool(1, "slot").stroke((-9, 0, -5), (9, 0, -5)), FLAT)
    with pytest.raises(BadInput, match=r"on both sides near X-9\.0000 Y3\.0000"):
        wall(job, -2.0, 1)
    for side, y in (("left", 3.0), ("right", -3.0)):
        found = wall(job, -2.0, 1, side=side)
        assert found.y == pytest.approx(y, abs=1e-12)
        assert found.stock == pytest.approx(0.0, abs=EXACT)
        assert (found.x[0], found.x[-1]) == (-9, 9)


def test_a_lead_that_runs_free_is_left_out(tmp_path):
    """A circle round a boss, with an arc to it and one from it."""
    turn = Nc().tool(1, "boss").arc((9, 0, -6), (9, 0, -6), (0, 0)).heading("finish")
    turn.down((11, 2, -6)).raw("G3 X9 Y0 I0 J-2", "G2 X9 Y0 I-9 J0", "G3 X11 Y-2 I2 J0").up()
    job = write_job(tmp_path, turn, FLAT, low=(-8.0, -8.0, -12.0), high=(8.0, 8.0, 0.0))
    found = wall(job, -2.0, 2)
    assert found.stock == pytest.approx(0.0, abs=1e-8)
    assert found.length == pytest.approx(2 * math.pi * 6, abs=1e-4)
    assert np.hypot(found.x, found.y) == pytest.approx(6, abs=1e-9)


def test_a_bull_tool_at_its_corner(tmp_path):
    """Derived: RE 1 at 0.5 over the floor cuts at R - 1 + sqrt(1 - 0.25)."""
    job = write_job(tmp_path, Nc().tool(1, "slot").stroke((-9, 0, -5), (9, 0, -5)),
                    [tool(1, "bull", 6.0, RE=1.0)])  # fmt: skip
    found = wall(job, -4.5, 1, side="left")
    assert found.y == pytest.approx(2 + math.sqrt(0.75), abs=1e-12)
    assert found.stock == pytest.approx(0.0, abs=EXACT)
    assert {part_of(row) for row in found.rows} == {(1, "corner")}


# ------------------------------------------------------------------------------- the part's section


def saved(tmp_path, mesh):
    path = tmp_path / "part.stl"
    mesh.export(path)
    return path


def test_sections_of_a_tube(tmp_path):
    import trimesh

    mesh = trimesh.creation.annulus(3.0, 5.0, 4.0, sections=48)
    inside_out = mesh.copy()
    inside_out.invert()
    for solid in (mesh, inside_out):
        loops = section_loops(saved(tmp_path, solid), "mm", 0.3)
        areas = sorted(loop.contour.area() for loop in loops)
        share = math.sin(2 * math.pi / 48) * 48 / 2
        assert areas == pytest.approx([-9 * share, 25 * share], rel=1e-6)
        assert all(loop.left and loop.contour.closed for loop in loops)
        assert [len(loop.contour.pieces) for loop in loops] == [48, 48]
        assert chord_error(loops) == pytest.approx(5 * (1 - math.cos(math.pi / 48)), rel=1e-3)
    top = float(np.float32(2.0))
    assert len(section_loops(saved(tmp_path, mesh), "mm", top)) == 2, "just below the top"
    assert section_loops(saved(tmp_path, mesh), "mm", -2.0) == []
    assert section_loops(saved(tmp_path, mesh), "mm", 2.1) == []


def test_sections_of_the_demo_are_those_of_another_library():
    """Source: the stretches of trimesh's own cut of the mesh by a plane."""
    import trimesh

    path = ROOT / "demo_parts/second_try/part.stl"
    mesh = trimesh.load_mesh(path)
    for z in (-0.05, -0.3, -0.7):
        loops = section_loops(path, "in", z * 25.4)
        area = sum(loop.contour.area() for loop in loops)
        ends, facet = trimesh.intersections.mesh_plane(
            mesh, [0, 0, 1], [0, 0, z], return_faces=True
        )
        size = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) * 25.4
        out = mesh.face_normals[facet, :2]
        out /= np.linalg.norm(out, axis=1)[:, None]
        middle = ends.mean(axis=1)[:, :2] * 25.4
        # Gauss: twice the area is the place times the normal, summed along the outline.
        assert area == pytest.approx(0.5 * (size * (middle * out).sum(axis=1)).sum(), rel=1e-6)
        length = sum(loop.contour.length for loop in loops)
        assert length == pytest.approx(size.sum(), rel=1e-6)


def test_stock_on_a_part(tmp_path):
    """A block of 20 x 10 with 0.5 left on it, and 0 after: read square to its four sides."""
    import trimesh

    mesh = trimesh.creation.box((20.0, 10.0, 12.0))
    mesh.apply_translation((0, 0, -6))
    nc = Nc().tool(1, "rough").stroke(*frame(3.5, -9)).heading("finish").stroke(*frame(3.0, -9))
    saved(tmp_path, mesh)
    part = [*FLAT, '[part]\nmodel = "part.stl"']
    job = write_job(tmp_path, nc, part, low=(-12.0, -7.0, -12.0), high=(12.0, 7.0, 0.0))
    for as_of, stock in ((1, 0.5), (None, 0.0)):
        found = wall(job, -4.0, "part", as_of=as_of)
        assert found.stock == pytest.approx(stock, abs=1e-6)
        assert found.length == pytest.approx(60, abs=1e-5)
        assert len(found.s) >= 500
        out = found.normal * np.stack([found.x, found.y], axis=1)
        assert (out.sum(axis=1) > 4.9).all(), "normals point out of the part"
    with pytest.raises(BadInput, match="--side goes with"):
        wall(job, -4.0, "part", side="left")
    with pytest.raises(BadInput, match="no section at z -12"):
        wall(job, -12.0, "part")


# -------------------------------------------------------------------------------- places on a track


def test_places_and_normals():
    """A quarter circle to the left and one to the right, the metal on the left."""
    left = Piece((1.0, 0.0), (0.0, 1.0), (0.0, 0.0), math.pi / 2)
    right = Piece((0.0, 1.0), (1.0, 2.0), (1.0, 1.0), -math.pi / 2)
    for side, sign in ((True, 1.0), (False, -1.0)):
        track = Track([Loop(Contour((left, right), False), side)])
        place, normal = track.at(np.array([0, 0, 0, 1, 1]), np.array([0.0, 0.5, 1.0, 0.5, 1.0]))
        h = math.sqrt(0.5)
        wanted = [[1, 0], [h, h], [0, 1], [1 - h, 1 + h], [1, 2]]
        assert np.allclose(place, wanted, rtol=0, atol=1e-15)
        wanted = sign * np.array([[1, 0], [h, h], [0, 1], [h, -h], [0, -1]])
        assert np.allclose(normal, wanted, rtol=0, atol=1e-15)
        assert track.length == pytest.approx(math.pi, abs=1e-15)
