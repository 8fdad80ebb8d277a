"""Floor only, wall only with lift, spring passes, and levels whose allowances grow.

Moves by hand, then cut by the engine and measured. What the words do is common practice, no source.
"""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from helpers_job import tool
from helpers_passes import columns, face, heights, pass_job, pass_text
from proud.contour import distance
from proud.errors import JobError
from proud.moves import Moves
from proud.wall import wall
from test_passes import check_way, level, pieces, read
from test_passes_pocket import region

FLAT = [tool(1, "flat", 6.0)]
BOX = "rectangle = { low = [-10, -8], high = [10, 8] }\n"
EXACT = 1e-9


def moves_of(tmp_path, operation: str, keys: str, **more: object) -> Moves:
    moves = read(tmp_path, pass_text(operation, keys), **more).moves
    check_way(moves)
    return moves


# ------------------------------------------------------------------------------------- wall, floor


def test_a_wall_finished_with_lift_leaves_the_floor_alone(tmp_path):
    floor = f'side = "outside"\n{BOX}bottom = -4\nallowance_side = 0.2\n'
    wall = f'side = "outside"\n{BOX}bottom = -4\nlift = 0.01\n'
    text = pass_text("contour", floor, name="floor") + pass_text("contour", wall, name="wall")
    job = pass_job(tmp_path, text, FLAT)
    assert job.program.moves.end[:, 2].min() == -4.0
    second = job.program.moves[job.program.moves.pass_number == 2]
    assert second.end[:, 2].min() == -3.99
    places = [(0, -8.1), (0, -8.3), (0, -14.1), (-10.1, 0), (0, 0)]
    for found in (heights(job, places), columns(job, places)):
        np.testing.assert_allclose(found, [-3.99, -4, -4, -3.99, 0], rtol=0, atol=EXACT)
    assert face(job, (3, -12, -2), (0, 1, 0))[1] == pytest.approx(-8, abs=EXACT)
    # The strip under the wall's tool is as high as the lift, as wide as the floor's allowance.
    assert face(job, (3, -12, -3.995), (0, 1, 0))[1] == pytest.approx(-8.2, abs=EXACT)


def test_what_a_run_and_a_wall_say_of_lift_and_allowances(tmp_path):
    """Rough leaves 0.3 on wall and 0.2 on the floor; floor 0.1 off the wall; wall 0.01 over it."""
    side = f'side = "outside"\n{BOX}bottom = -4\n'
    text = pass_text(
        "contour", f"{side}allowance_side = 0.3\nallowance_bottom = 0.2\n", name="rough"
    )
    text += pass_text("contour", f"{side}allowance_side = 0.1\n", name="floor")
    text += pass_text("contour", f"{side}lift = 0.01\nspring_passes = 1\n", name="wall")
    job = pass_job(tmp_path, text, FLAT, pitch=0.25)
    result = job.run()
    (step,) = [s for s in result.steps if s.height < 0.1]
    assert (step.upper.pass_number, step.lower.pass_number) == (3, 2)
    assert step.height == pytest.approx(0.01, abs=EXACT)
    # Its border is the floor's round: 0.1 off the box, a quarter of a circle at each corner.
    assert step.length == pytest.approx(72 + 0.2 * math.pi, rel=0.01)
    (skim,) = [s for s in result.skims if s.by_pass == 2]
    assert (skim.into_pass, skim.depth) == (1, pytest.approx(0.2, abs=EXACT))
    line = ((-9.0, -8.0), (9.0, -8.0))
    for as_of, stock in ((1, 0.3), (2, 0.1), (3, 0.0)):
        found = wall(job, -2.0, line, as_of=as_of)
        assert (found.stock.min(), found.stock.max()) == pytest.approx((stock, stock), abs=EXACT)


def test_lift_and_allowance_bottom_add_up(tmp_path):
    keys = f'side = "outside"\n{BOX}bottom = -4\nallowance_bottom = 0.1\nlift = 0.02\naxial_cutting_depth = 2\n'
    cut = moves_of(tmp_path, "contour", keys)
    assert sorted({z for z in cut.end[:, 2].tolist() if z < 0})[:2] == [-3.88, -2.0]


def test_a_pockets_floor_alone_keeps_off_the_walls(tmp_path):
    shape = "rectangle = { low = [0, 0], high = [50, 30] }\nislands = [{ circle = { center = [20, 16], diameter = 6 } }]\n"
    keys = (
        f'milling = "bottom"\n{shape}bottom = -4\nallowance_side = 0.25\nradial_cutting_depth = 3\n'
    )
    cut = level(moves_of(tmp_path, "pocket", keys), -4.0)
    walls = shapely.box(0, 0, 50, 30).difference(shapely.Point(20, 16).buffer(3, quad_segs=512))
    path = pieces(cut)
    places = [q for p in path for q in (*p.chords(1e-3), p.end)]
    gaps = [walls.boundary.distance(shapely.Point(q)) for q in places]
    assert min(gaps) == pytest.approx(3.25, abs=1e-4)  # shapely's circle is of chords
    swept = shapely.union_all([shapely.LineString([*p.chords(1e-3), p.end]) for p in path])
    swept = swept.buffer(3, quad_segs=64)
    reached = walls.buffer(-3.25, quad_segs=64).buffer(3, quad_segs=64)
    assert reached.buffer(-0.01).difference(swept).area <= 1e-9
    assert swept.difference(walls.buffer(-0.25 + 0.01)).area <= 1e-9


def test_a_pockets_walls_alone_are_one_round_each(tmp_path):
    shape = "rectangle = { low = [0, 0], high = [40, 20] }\nislands = [{ circle = { center = [20, 10], diameter = 2 } }]\n"
    keys = f'milling = "side"\n{shape}bottom = -4\nlift = 0.01\n'
    moves = moves_of(tmp_path, "pocket", keys)
    cut = level(moves, -3.99)
    around = cut[cut.turn != 0]
    assert around.turn.tolist() == pytest.approx(
        [-2 * math.pi], abs=1e-12
    )  # climb: wall on the right
    assert np.hypot(*(around.start[0, :2] - [20, 10])) == pytest.approx(4, abs=EXACT)
    assert cut.lengths().sum() == pytest.approx(2 * (34 + 14) + 8 * math.pi, abs=EXACT)
    # The boundary's round begins in the middle of its longest line, counter-clockwise.
    first = cut[cut.turn == 0]
    assert first.start[0, :2].tolist() in ([20.0, 3.0], [20.0, 17.0])
    other = moves_of(tmp_path, "pocket", keys + 'cutmode = "conventional"\n')
    assert level(other, -3.99).turn.max() == pytest.approx(2 * math.pi, abs=1e-12)


def test_a_pockets_walls_take_the_d_error_and_its_floor_does_not(tmp_path):
    for milling, moved in (("side", 0.5), ("bottom", 0.0)):
        keys = f'milling = "{milling}"\nrectangle = {{ low = [0, 0], high = [40, 20] }}\nbottom = -4\nallowance_side = 0.1\n'
        keys += "" if milling == "side" else "radial_cutting_depth = 3\n"
        cut = level(moves_of(tmp_path, "pocket", keys, d_errors={1: 0.5}), -4.0)
        assert cut.start[:, 0].min() == pytest.approx(3.1 + moved, abs=EXACT)


def test_walls_in_rounds_with_leads_and_a_start(tmp_path):
    keys = (
        'milling = "side"\nrectangle = { low = [0, 0], high = [40, 20] }\nbottom = -4\nradial_passes = 2\nradial_cutting_depth = 0.5\n'
        'start = [40, 5]\noverlap = 1\napproach = { kind = "arc", radius = 2 }\n'
    )
    cut = level(moves_of(tmp_path, "pocket", keys), -4.0)
    ways = [p for p in pieces(cut) if p.turn]
    assert [p.turn for p in ways] == pytest.approx([math.pi / 2] * 4, abs=1e-9)
    assert ways[0].end == pytest.approx((36.5, 5), abs=EXACT)
    assert ways[0].start == pytest.approx((34.5, 3), abs=1e-9)
    assert ways[3].start == pytest.approx((37, 6), abs=EXACT)  # a millimetre past its start
    assert ways[3].end == pytest.approx((35, 8), abs=1e-9)


def test_walls_of_a_pocket_that_falls_into_two(tmp_path):
    shape = "points = [[0, 0], [20, 0], [20, 9], [32, 9], [32, 0], [56, 0], [56, 24], [32, 24], [32, 13], [20, 13], [20, 24], [0, 24]]\n"
    keys = f'milling = "side"\n{shape}bottom = -4\n'
    walls, _ = region(tmp_path, shape)
    cut = level(moves_of(tmp_path, "pocket", keys), -4.0)
    places = [q for p in pieces(cut) for q in (p.start, p.at(0.5))]
    assert distance(walls, places) == pytest.approx(3, abs=1e-6)
    inside = "start = { inside = { rectangle = { low = [30, 10], high = [36, 14] } } }\n"
    moves = moves_of(tmp_path, "pocket", keys + inside)
    down = moves[~moves.rapid & (moves.start[:, 2] > moves.end[:, 2])].start[:, :2]
    assert len(down) == 2
    held = (down >= [30, 10]).all(axis=1) & (down <= [36, 14]).all(axis=1)
    assert held.sum() == 1  # the other part begins where it would


def test_finish_of_a_pocket_measured(tmp_path):
    """Rough leaves 0.3 and 0.2; the floor is done 0.1 off the wall, the wall 0.01 over the floor."""
    shape = "rectangle = { low = [-12, -9], high = [12, 9], corner_radius = 4 }\nbottom = -5\n"
    text = pass_text(
        "pocket",
        f"{shape}allowance_side = 0.3\nallowance_bottom = 0.2\nradial_cutting_depth = 3\n",
        name="rough",
    )
    text += pass_text(
        "pocket",
        f'{shape}milling = "bottom"\nallowance_side = 0.1\nradial_cutting_depth = 3\n',
        name="floor",
    )
    text += pass_text(
        "pocket", f'{shape}milling = "side"\nlift = 0.01\nspring_passes = 1\n', name="wall"
    )
    job = pass_job(tmp_path, text, FLAT)
    places = [(0, 0), (11.85, 1), (11.95, 1), (12.05, 1), (3, -8.95)]
    for found in (heights(job, places), columns(job, places)):
        np.testing.assert_allclose(found, [-5, -5, -4.99, 0, -4.99], rtol=0, atol=EXACT)
    assert face(job, (5, 1, -3), (1, 0, 0))[0] == pytest.approx(12, abs=EXACT)
    x = 8 + 4 * math.cos(0.7)
    y = 5 + 4 * math.sin(0.7)
    corner = face(job, (8, 5, -3), (math.cos(0.7), math.sin(0.7), 0))
    np.testing.assert_allclose(corner[:2], [x, y], rtol=0, atol=1e-7)


# ------------------------------------------------------------------------------------ spring passes


def test_spring_passes_run_the_wall_again_at_each_level(tmp_path):
    keys = f'side = "outside"\n{BOX}bottom = -4\naxial_cutting_depth = 2\nradial_passes = 2\nradial_cutting_depth = 1\n'
    once = moves_of(tmp_path, "contour", keys)
    thrice = moves_of(tmp_path, "contour", keys + "spring_passes = 2\n")
    for z in (-2.0, -4.0):
        a, b = level(once, z), level(thrice, z)
        wall = len(a) // 2
        assert len(b) == 4 * wall
        np.testing.assert_array_equal(b.end[: 2 * wall], a.end)
        for n in (1, 2):
            np.testing.assert_array_equal(b.end[(n + 1) * wall : (n + 2) * wall], a.end[wall:])
            np.testing.assert_array_equal(b.turn[(n + 1) * wall : (n + 2) * wall], a.turn[wall:])


# ------------------------------------------------------------------------------ levels, allowances


def wall_y(moves: Moves, z: float) -> float:
    """y of the axis along the side at y = -8, by hand -8 - 3 - allowance."""
    return float(level(moves, z).end[:, 1].min())


def test_levels_each_with_their_own_allowance(tmp_path):
    keys = (
        f'side = "outside"\n{BOX}axial_cutting_depth = 1.5\nallowance_side = 0.1\nallowance_bottom = 0.05\n'
        "levels = [{ bottom = -2, allowance_side = 0.2 }, { bottom = -4, allowance_side = 0.3 }, { bottom = -5 }]\n"
    )
    moves = moves_of(tmp_path, "contour", keys)
    wanted = {-1.5: 0.2, -2.0: 0.2, -3.5: 0.3, -4.0: 0.3, -4.95: 0.1}
    cut = moves[~moves.rapid & (moves.start[:, 2] == moves.end[:, 2])]
    assert list(dict.fromkeys(cut.end[:, 2].tolist())) == list(wanted)
    for z, allowance in wanted.items():
        assert wall_y(moves, z) == round(-11 - allowance, 10)
    # Where the path is another it comes down from the top, else from the level above.
    rapids = moves.end[moves.rapid & (moves.end[:, 2] < 5), 2]
    assert rapids.tolist() == [1.0, -0.5, 1.0, -2.5, 1.0]


@pytest.mark.parametrize("growth", [0.0254, -0.0254])
def test_allowance_grows_with_each_level(tmp_path, growth):
    keys = f'side = "outside"\n{BOX}bottom = -4\naxial_cutting_depth = 1\nallowance_side = 0.2\nallowance_growth = "{growth / 0.0254:g} thou"\n'
    moves = moves_of(tmp_path, "contour", keys)
    for n, z in enumerate((-1.0, -2.0, -3.0, -4.0)):
        assert wall_y(moves, z) == pytest.approx(-11.2 - n * growth, abs=EXACT)


def test_a_stair_of_allowances_measured(tmp_path):
    keys = f'side = "outside"\n{BOX}bottom = -4\naxial_cutting_depth = 1\nallowance_side = 0.2\nallowance_growth = 0.1\n'
    job = pass_job(tmp_path, pass_text("contour", keys), FLAT)
    for n in range(4):
        found = face(job, (2, -14, -0.5 - n), (0, 1, 0))[1]
        assert found == pytest.approx(-8.2 - 0.1 * n, abs=EXACT)
    places = [(2, -8.25), (2, -8.35), (2, -8.45), (2, -8.55)]
    np.testing.assert_allclose(columns(job, places), [-1, -2, -3, -4], rtol=0, atol=EXACT)


def test_levels_of_a_pocket(tmp_path):
    keys = f"{BOX}radial_cutting_depth = 3\nlevels = [{{ bottom = -1, allowance_side = 0.1 }}, {{ bottom = -2, allowance_side = 0.4 }}]\n"
    moves = moves_of(tmp_path, "pocket", keys)
    assert wall_y(moves, -1.0) == pytest.approx(-4.9, abs=EXACT)
    assert wall_y(moves, -2.0) == pytest.approx(-4.6, abs=EXACT)
    # Further in: the floor above is clear there. Further out: it is not.
    assert 0.0 in moves.end[moves.rapid, 2]
    swapped = keys.replace("0.1", "0.9")
    rapids = moves_of(tmp_path, "pocket", swapped)
    assert 0.0 not in rapids.end[rapids.rapid, 2]


def test_cusps_are_noted_once_whatever_the_levels(tmp_path):
    keys = f"{BOX}bottom = -4\naxial_cutting_depth = 1\nradial_cutting_depth = 3\n"
    program = read(tmp_path, pass_text("pocket", keys, tool=3))
    assert len(program.notes) == 1


# ------------------------------------------------------------------------------------------- errors

C = f'side = "outside"\n{BOX}'
P = f"{BOX}radial_cutting_depth = 3\n"
BAD = {
    "no bottom": ("contour", C, "passes[1].bottom: is missing: z of the finished floor, or write levels"),
    "no bottom of a pocket": ("pocket", P, "passes[1].bottom: is missing: z of the finished floor"),
    "bottom and levels": ("contour", C + "bottom = -4\nlevels = [{ bottom = -4 }]\n", "passes[1].bottom: is said by levels; leave it out"),
    "growth and levels": ("contour", C + "allowance_growth = 1\nlevels = [{ bottom = -4 }]\n", "passes[1].allowance_growth: is said by levels"),
    "growth of one level": ("contour", C + "allowance_growth = 1\nbottom = -4\n", "passes[1].allowance_growth: goes with several levels; write an axial_cutting_depth"),
    "levels go up": ("contour", C + "levels = [{ bottom = -4 }, { bottom = -3 }]\n", "passes[1].levels[2].bottom: with allowance_bottom -3.000 mm, is not below levels[1], -4.000 mm"),
    "levels above the top": ("contour", C + "levels = [{ bottom = 1 }, { bottom = -3 }]\n", "passes[1].levels[1].bottom: 1.000 mm, is not below the top, 0.000 mm"),
    "lift above the top": ("contour", C + "bottom = -4\nlift = 5\n", "passes[1].bottom: with allowance_bottom and lift 1.000 mm, is not below the top"),
    "levels on": ("contour", f'side = "on"\n{BOX}levels = [{{ bottom = -4, allowance_side = 1 }}]\n', 'passes[1].levels[1].allowance_side: has no side to be left on where side = "on"'),
    "growth on": ("contour", f'side = "on"\n{BOX}bottom = -4\naxial_cutting_depth = 2\nallowance_growth = 1\n', 'passes[1].allowance_growth: has no side to be left on where side = "on"'),
    "level past the contour": ("contour", C + "levels = [{ bottom = -4, allowance_side = -4 }]\n", "passes[1].levels[1].allowance_side: puts the axis 1.000 mm past the contour"),
    "level past the boundary": ("pocket", P + "levels = [{ bottom = -4, allowance_side = -4 }]\n", "passes[1].levels[1].allowance_side: puts the axis on the boundary or past it"),
    "unknown key of a level": ("contour", C + "levels = [{ bottom = -4, allowance = 1 }]\n", "passes[1].levels[1].allowance: unknown key; allowed here: bottom, allowance_side"),
    "no levels": ("contour", C + "levels = []\n", "passes[1].levels: [] has 0 items; at least 1 are needed"),
    "lift below 0": ("contour", C + "bottom = -4\nlift = -1\n", "passes[1].lift: -1 is below 0"),
    "half a spring pass": ("contour", C + "bottom = -4\nspring_passes = 0.5\n", "passes[1].spring_passes: 0.5 is not a whole number"),
    "floor without a distance": ("pocket", P + 'milling = "bottom"\nbottom = -4\n', 'passes[1].allowance_side: with milling = "bottom" is how far the tool keeps off the walls; give it above 0'),
    "floor without a stepover": ("pocket", BOX + "bottom = -4\n", "passes[1].radial_cutting_depth: is missing: distance between neighbouring paths"),
    "floor with a lift": ("pocket", P + "lift = 1\nbottom = -4\n", 'passes[1].lift: goes with milling = "side"'),
    "floor with a start": ("pocket", P + "start = [1, 1]\nbottom = -4\n", 'passes[1].start: goes with milling = "side"'),
    "floor with an arc": ("pocket", P + 'approach = { kind = "arc", radius = 1 }\nbottom = -4\n', 'passes[1].approach.kind: arc goes with milling = "side"; take plunge, ramp or helix'),
    "walls with a strategy": ("pocket", BOX + 'milling = "side"\nstrategy = "bidirectional"\nbottom = -4\n', 'passes[1].strategy: goes with milling = "bottom" or "bottom_and_side"'),
    "walls with a helix": ("pocket", BOX + 'milling = "side"\napproach = { kind = "helix" }\nbottom = -4\n', "passes[1].approach.kind: helix goes with a floor"),
    "walls with a stepover": ("pocket", P + 'milling = "side"\nbottom = -4\n', "passes[1].radial_cutting_depth: and radial_passes go together along a wall"),
    "walls too narrow": ("pocket", 'slot = { from = [0, 0], to = [9, 0], width = 5 }\nmilling = "side"\nbottom = -4\n', "passes[1]: the tool doesn't fit into the pocket"),
    "lead into a wall": ("pocket", BOX + 'milling = "side"\nbottom = -4\napproach = { kind = "straight", length = 30 }\n', "passes[1].approach: cuts the wall"),
    "start of no wall": ("pocket", BOX + 'milling = "side"\nbottom = -4\nstart = { inside = { circle = { center = [0, 0], diameter = 1 } } }\n', "passes[1].start.inside: the contour doesn't run through it; the nearest place of the contour is (0.500, "),
    "milling of another kind": ("pocket", P + 'milling = "wall"\nbottom = -4\n', 'passes[1].milling: "wall" is not allowed; allowed: bottom_and_side, bottom, side'),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    operation, keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        read(tmp_path, pass_text(operation, keys))
    assert says in str(caught.value)


def test_the_command_says_all_at_once_and_stops(tmp_path, command_inside):
    text = pass_text("contour", C + "bottom = -4\nlift = 5\n", name="walls")
    text += pass_text("pocket", P + 'milling = "bottom"\nbottom = -4\n', name="floor")
    job = pass_job(tmp_path, text, FLAT)
    done = command_inside("run", job.spec.path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "2 problems:" in done.stderr
    assert (
        'passes[1].bottom: with allowance_bottom and lift 1.000 mm, is not below the top, 0.000 mm ("walls", line 1)'
        in done.stderr
    )
    assert (
        'passes[2].allowance_side: with milling = "bottom" is how far the tool keeps off the walls'
        in done.stderr
    )
    assert "Traceback" not in done.stderr
