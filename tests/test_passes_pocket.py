"""Pockets: the floor is covered, the walls are kept, the ways down are where they may be."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from proud.contour import Contour, Piece, crossings, distance
from proud.moves import Moves
from test_passes import check_way, level, pieces, read

CHORD_MM = 1e-3
R = 3.0
"""Radius of tool 1, flat."""

HEAD = '[[passes]]\nname = "p"\ntool = 1\nfeed = 300\noperation = "pocket"\nbottom = -4\n'

SHAPES = {
    "rectangle": "rectangle = { low = [0, 0], high = [50, 30], corner_radius = 4 }\n",
    "sharp": "rectangle = { low = [0, 0], high = [47, 31] }\n",
    "slot": "slot = { from = [0, 0], to = [40, 10], width = 13 }\n",
    "circle": "circle = { center = [3, 4], diameter = 37 }\n",
    "as wide as the tool": "slot = { from = [0, 0], to = [30, 0], width = 6 }\n",
    "neck": "points = [[0, 0], [20, 0], [20, 8], [32, 8], [32, 0], [56, 0], [56, 24], [32, 24], [32, 15], [20, 15], [20, 24], [0, 24]]\n",
    "neck too narrow": "points = [[0, 0], [20, 0], [20, 9], [32, 9], [32, 0], [56, 0], [56, 24], [32, 24], [32, 13], [20, 13], [20, 24], [0, 24]]\n",
    "island": "rectangle = { low = [0, 0], high = [50, 30] }\nislands = [{ circle = { center = [20, 16], diameter = 6 } }, { rectangle = { low = [32, 10], high = [38, 22], corner_radius = 1 } }]\n",
    "u": "points = [[0, 0], [50, 0], [50, 40], [36, 40], [36, 14], [14, 14], [14, 40], [0, 40]]\n",
    "acute": "points = [[0, 0], [70, 0], [0, 25]]\n",
    "arcs in": 'points = [[0, 0], { to = [40, 0], radius = 30, turn = "cw" }, [40, 30], { to = [0, 30], radius = 25, turn = "cw" }]\n',
}  # fmt: skip


def region(tmp_path, shape: str) -> tuple[list[Contour], shapely.Polygon]:
    """The walls, read back by way of a tip that runs on them."""
    lines = shape.split("islands = ")
    keys = [lines[0]]
    if len(lines) > 1:
        keys += [
            "circle = { center = [20, 16], diameter = 6 }\n",
            "rectangle = { low = [32, 10], high = [38, 22], corner_radius = 1 }\n",
        ]
    walls = []
    for key in keys:
        closed = "closed = true\n" if key.startswith("points") else ""
        text = HEAD.replace("pocket", "contour") + f'side = "on"\n{key}{closed}'
        walls.append(Contour(tuple(pieces(level(read(tmp_path, text).moves, -4.0))), True))
    rings = [w.points(CHORD_MM) for w in walls]
    return walls, shapely.Polygon(rings[0], rings[1:])


def check_floor(moves: Moves, walls: list[Contour], area: shapely.Polygon, gap: float = R) -> None:
    """The last level reaches all that can be reached, and nothing comes nearer to a wall than gap."""
    floor = level(moves, -4.0)
    path = pieces(floor)
    places = [q for p in path for q in (*p.chords(CHORD_MM), p.at(0.5), p.end)]
    assert distance(walls, places).min() >= gap - 1e-6
    swept = shapely.union_all([shapely.LineString([*p.chords(CHORD_MM), p.end]) for p in path])
    swept = swept.buffer(R, quad_segs=32)
    reach = area.buffer(-gap, quad_segs=32).buffer(R, quad_segs=32)
    # Chords of the walls, the path and the round corners: each a sagitta off.
    slack = 3 * CHORD_MM + R * (1 - math.cos(math.pi / 128))
    assert reach.buffer(-slack).difference(swept).area <= 1e-9
    # A pocket exactly as wide as the tool is nothing to shapely, so the bound is a chord wider.
    most = area.buffer(-(gap - 2 * CHORD_MM), quad_segs=32).buffer(R, quad_segs=32)
    assert swept.difference(most.buffer(slack)).area <= 1e-9


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("step", [3.0, 1.7])
@pytest.mark.parametrize("approach", ["plunge", "ramp"])
def test_rounds_cover_the_floor(tmp_path, shape, step, approach):
    walls, area = region(tmp_path, SHAPES[shape])
    text = (
        HEAD
        + SHAPES[shape]
        + f'radial_cutting_depth = {step}\naxial_cutting_depth = 2.5\napproach = {{ kind = "{approach}"{", angle = 20" if approach == "ramp" else ""} }}\n'
    )
    moves = read(tmp_path, text).moves
    check_way(moves)
    check_floor(moves, walls, area)
    sloped = ~moves.rapid & (moves.start[:, 2] != moves.end[:, 2])
    along = (moves.start[:, :2] != moves.end[:, :2]).any(axis=1) | (moves.turn != 0)
    assert (along[sloped] == (approach == "ramp")).all()


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize(("step", "angle"), [(6.0, 0), (4.4, 0), (5.0, 33), (3.7, 90)])
def test_lines_cover_the_floor(tmp_path, shape, step, angle):
    walls, area = region(tmp_path, SHAPES[shape])
    text = (
        HEAD
        + SHAPES[shape]
        + f'radial_cutting_depth = {step}\nstrategy = "bidirectional"\nangle = {angle}\n'
    )
    moves = read(tmp_path, text).moves
    check_way(moves)
    check_floor(moves, walls, area)


def test_slot_as_wide_as_the_tool_is_run_from_end_to_end(tmp_path):
    text = HEAD + SHAPES["as wide as the tool"] + "radial_cutting_depth = 3\n"
    cut = level(read(tmp_path, text).moves, -4.0)
    np.testing.assert_allclose(cut.end[:, 1], 0, rtol=0, atol=1e-9)
    assert (cut.end[:, 0].min(), cut.end[:, 0].max()) == (0.0, 30.0)
    assert cut.lengths().sum() == pytest.approx(60, abs=1e-9)


def test_lines_of_a_rectangle_never_leave_it_between(tmp_path):
    text = HEAD + SHAPES["sharp"] + 'radial_cutting_depth = 5\nstrategy = "bidirectional"\n'
    moves = read(tmp_path, text).moves
    assert int((moves.rapid).sum()) == 3  # from above, down, up
    cut = level(moves, -4.0)
    rows = cut[
        (cut.start[:, 1] == cut.end[:, 1]) & (cut.start[:, 1] > 3.001) & (cut.start[:, 1] < 27.999)
    ]
    assert rows.start[:, 1].tolist() == [8.0, 13.0, 18.0, 23.0]


def test_last_round_is_on_the_wall_and_climbs(tmp_path):
    for mode, sign in (("climb", 1.0), ("conventional", -1.0)):
        text = (
            HEAD
            + f'circle = {{ center = [0, 0], diameter = 30 }}\nradial_cutting_depth = 3\ncutmode = "{mode}"\n'
        )
        cut = level(read(tmp_path, text).moves, -4.0)
        rounds = cut[cut.turn != 0]
        radii = np.hypot(*rounds.start[:, :2].T)
        np.testing.assert_allclose(np.unique(np.round(radii, 6)), [3, 6, 9, 12], rtol=0, atol=0)
        assert radii[-1] == pytest.approx(12, abs=1e-9)
        assert (np.sign(rounds.turn) == sign).all()


def test_allowance_side_keeps_the_wall_and_d_error_does_not_move_it(tmp_path):
    walls, area = region(tmp_path, SHAPES["rectangle"])
    text = HEAD + SHAPES["rectangle"] + "radial_cutting_depth = 3\nallowance_side = 0.25\n"
    moves = read(tmp_path, text).moves
    check_floor(moves, walls, area, gap=3.25)
    shifted = read(tmp_path, text, d_errors={1: 0.5}).moves
    np.testing.assert_array_equal(moves.end, shifted.end)


def test_ramp_goes_down_at_its_angle(tmp_path):
    text = (
        HEAD
        + SHAPES["sharp"]
        + 'radial_cutting_depth = 3\napproach = { kind = "ramp", angle = 5 }\n'
    )
    moves = read(tmp_path, text).moves
    sloped = moves[~moves.rapid & (moves.start[:, 2] != moves.end[:, 2])]
    plan = np.hypot(*(sloped.end[:, :2] - sloped.start[:, :2]).T)
    np.testing.assert_allclose(
        (sloped.start[:, 2] - sloped.end[:, 2]) / plan, math.tan(math.radians(5)), rtol=1e-7
    )
    assert (sloped.start[0, 2], sloped.end[-1, 2]) == (1.0, -4.0)


def test_helix_goes_down_inside_and_round_once_at_the_level(tmp_path):
    walls, area = region(tmp_path, SHAPES["rectangle"])
    text = (
        HEAD
        + SHAPES["rectangle"]
        + 'radial_cutting_depth = 3\napproach = { kind = "helix", angle = 10, radius = 2 }\n'
    )
    moves = read(tmp_path, text).moves
    check_way(moves)
    check_floor(moves, walls, area)
    helix = moves[~moves.rapid & (moves.start[:, 2] != moves.end[:, 2])]
    assert (helix.turn == 2 * math.pi).all()
    assert (helix.start[0, 2], helix.end[-1, 2]) == (1.0, -4.0)
    radius = np.hypot(*(helix.start[:, :2] - helix.center).T)
    np.testing.assert_allclose(radius, 2.0, rtol=0, atol=1e-9)
    drop = helix.start[:, 2] - helix.end[:, 2]
    np.testing.assert_allclose(
        drop, 5 / math.ceil(5 / (4 * math.pi * math.tan(math.radians(10)))), rtol=0, atol=1e-9
    )
    first = level(moves, -4.0)[np.array([0])]
    assert first.turn[0] == 2 * math.pi
    assert distance(walls, [tuple(first.center[0])])[0] >= R + 2


def test_helix_takes_the_room_there_is(tmp_path):
    text = (
        HEAD
        + 'circle = { center = [0, 0], diameter = 8 }\nradial_cutting_depth = 3\napproach = { kind = "helix" }\n'
    )
    moves = read(tmp_path, text).moves
    helix = moves[moves.turn != 0]
    radius = np.hypot(*(helix.start[:, :2] - helix.center).T)
    np.testing.assert_allclose(radius, 1.0, rtol=0, atol=1e-2)
    assert (np.hypot(*helix.end[:, :2].T) <= 1.0 + 1e-6).all()


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(st.floats(8, 30), min_size=3, max_size=8),
    st.sampled_from([("contour_parallel", 3.0), ("contour_parallel", 2.1), ("bidirectional", 5.5)]),
    st.integers(0, 3),
)
def test_any_star_is_covered(tmp_path, radii, plan, angle):
    count = len(radii)
    points = [
        (
            round(r * math.cos(2 * math.pi * k / count), 3),
            round(r * math.sin(2 * math.pi * k / count), 3),
        )
        for k, r in enumerate(radii)
    ]
    wall = Contour(
        tuple(Piece(a, b) for a, b in zip(points, [*points[1:], points[0]], strict=True)), True
    )
    assume(not crossings([wall]))
    area = shapely.Polygon(points)
    assume(area.buffer(-R - 0.01).area > 0.01)
    text = HEAD + f"points = {[list(p) for p in points]}\nradial_cutting_depth = {plan[1]}\n"
    text += f'strategy = "{plan[0]}"\nangle = {30 * angle}\n'
    moves = read(tmp_path, text).moves
    check_way(moves)
    check_floor(moves, [wall], area)


def test_bull_leaves_a_note_only_where_its_flat_end_does_not_reach(tmp_path):
    base = HEAD.replace("tool = 1", "tool = 2") + "rectangle = { low = [0, 0], high = [80, 60] }\n"
    assert read(tmp_path, base + "radial_cutting_depth = 4.5\n").notes == ()
    (note,) = read(tmp_path, base + "radial_cutting_depth = 4.6\n").notes
    assert note == (
        'line 1, pass 1 "p": the end of tool 2 is flat over 9.000 mm only, so paths 4.600 mm apart '
        "leave cusps on the floor"
    )
