"""Fillets: places of the ball by hand, cusps by the engine and by an independent search.

The ball's center runs on a circle of F - R about the fillet's axis, so all that is needed is plane
trigonometry; the cusps are searched for here by bisection, not by the formula under test.
"""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_job import tool
from helpers_passes import columns, face, heights, pass_job, pass_text
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.contour import Contour, distance
from proud.errors import JobError
from proud.moves import Moves
from proud.passes.scallop import fillet_cusp, fillet_step, flat_step
from test_passes import check_way, level, pieces, read

EXACT = 1e-9
R, F, FLOOR = 2.0, 5.0, -7.0
BALL = [tool(1, "ball", 4.0)]
WALL = "points = [[-14, 0], [14, 0]]\n"
KEYS = f'side = "left"\n{WALL}bottom = {FLOOR:g}\nfillet_radius = {F:g}\n'
TOOL_3 = 'side = "left"\npoints = [[0, 0], [20, 0]]\nbottom = -8\nfillet_radius = 5\n'
"""For tool 3 of the readers' tests, a ball of 6."""


def fillet(tmp_path, keys: str, number: int = 3, **more: object) -> Moves:
    moves = read(tmp_path, pass_text("fillet", keys, tool=number), **more).moves
    check_way(moves)
    return moves


# ------------------------------------------------------------------------------------ the formula


def searched_cusp(angle: float, r: float, f: float) -> float:
    """Depth of metal left on the line midway: where the nearer ball's surface is met, by bisection."""
    a = f - r

    def outside(rho: float) -> bool:
        x, y = rho - a * math.cos(angle / 2), a * math.sin(angle / 2)
        return x * x + y * y > r * r

    low, high = a * math.cos(angle / 2), f
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if outside(middle) else (middle, high)
    return f - low


@settings(max_examples=200, deadline=None)
@given(st.floats(0.1, 20), st.floats(1.001, 50), st.floats(1e-6, 0.3))
def test_the_step_leaves_exactly_the_cusp_asked_for(r, ratio, part):
    f, height = r * ratio, r * part
    step = fillet_step(height, r, f)
    if step < math.pi and (f - r) * math.sin(step / 2) < r:
        assert searched_cusp(step, r, f) == pytest.approx(height, rel=1e-6, abs=1e-11 * f)
        assert fillet_cusp(step, r, f) == pytest.approx(height, rel=1e-6, abs=1e-11 * f)


def test_a_very_large_fillet_is_flat_ground():
    """F of 1 km: the arc between two paths is the stepover on level ground."""
    assert fillet_step(0.01, 3.0, 1e6) * 1e6 == pytest.approx(flat_step(0.01, 3.0), rel=1e-5)


# ------------------------------------------------------------------------------------------- moves


def test_places_of_the_tip_by_hand(tmp_path):
    """R 3 in F 5: a = 2. Tips 2 apart are 60 degrees: at 90, 30 and 0 from straight down, the last
    step what is left. To the wall 5 - 2 sin, over the floor 2 (1 - cos); every second backwards."""
    moves = fillet(tmp_path, TOOL_3 + "radial_cutting_depth = 2\n")
    feeds = moves[~moves.rapid]
    rise = 2 - math.sqrt(3)
    wanted = [
        [0, 3, -6], [20, 3, -6],
        [20, 4, -8 + rise], [0, 4, -8 + rise],
        [0, 5, -8], [20, 5, -8],
    ]  # fmt: skip
    np.testing.assert_allclose(feeds.end, wanted, rtol=0, atol=EXACT)
    assert int(moves.rapid.sum()) == 3


def test_from_the_floor_up_and_one_way_only(tmp_path):
    keys = TOOL_3 + 'radial_cutting_depth = 2\ndirection = "up"\nstrategy = "unidirectional"\n'
    moves = fillet(tmp_path, keys)
    cut = moves[~moves.rapid & (moves.start[:, 0] != moves.end[:, 0])]
    assert cut.start[:, 0].tolist() == [0, 0, 0]
    np.testing.assert_allclose(cut.end[:, 1], [5, 4, 3], rtol=0, atol=EXACT)
    np.testing.assert_allclose(cut.end[:, 2], [-8, -6 - math.sqrt(3), -6], rtol=0, atol=EXACT)


def test_a_ball_that_fills_the_fillet_runs_once(tmp_path):
    moves = fillet(tmp_path, TOOL_3.replace("radius = 5", "radius = 3") + "scallop_height = 0.01\n")
    assert moves[~moves.rapid].end.tolist() == [[0, 3, -8], [20, 3, -8]]


def test_allowances_shift_the_whole_fillet(tmp_path):
    plain = fillet(tmp_path, TOOL_3 + "radial_cutting_depth = 2\n")
    keys = TOOL_3 + "radial_cutting_depth = 2\nallowance_side = 0.25\nallowance_bottom = 0.5\n"
    left = fillet(tmp_path, keys, d_errors={3: 9.0})
    feeds = ~plain.rapid
    np.testing.assert_allclose(left.end[feeds] - plain.end[feeds], [[0, 0.25, 0.5]] * 6, atol=EXACT)


def test_rounds_of_a_closed_wall_stay_down(tmp_path):
    keys = 'side = "inside"\nrectangle = { low = [0, 0], high = [40, 30], corner_radius = 8 }\nbottom = -8\nfillet_radius = 5\nradial_cutting_depth = 1\n'
    moves = fillet(tmp_path, keys)
    assert int(moves.rapid.sum()) == 3
    joints = moves[~moves.rapid & (moves.start[:, 2] != moves.end[:, 2])]
    np.testing.assert_allclose(joints.start[:, 0], 20, rtol=0, atol=EXACT)  # all beside (20, 0)
    assert moves.turn.sum() == pytest.approx(len(joints) * 2 * math.pi, rel=1e-9)


@pytest.mark.parametrize(
    "shape",
    [
        'side = "outside"\nrectangle = { low = [0, 0], high = [40, 30] }\n',
        'side = "left"\npoints = [[0, 0], [20, 0], { to = [30, 10], radius = 10, turn = "ccw" }, { to = [40, 20], radius = 10, turn = "cw" }, [60, 20]]\n',
    ],
)
def test_every_round_keeps_its_distance_from_the_wall(tmp_path, shape):
    moves = fillet(tmp_path, f"{shape}bottom = -8\nfillet_radius = 5\noverlap = 0.9\n")
    walls = read(
        tmp_path, pass_text("contour", 'side = "on"\nbottom = -8\n' + shape.split("\n", 1)[1])
    ).moves
    wall = [Contour(tuple(pieces(level(walls, -8.0))), "rectangle" in shape)]
    heights_ = sorted({z for z in moves.end[~moves.rapid, 2].tolist() if z < 0})
    assert len(heights_) == 1 + math.ceil(90 / math.degrees(2 * math.asin(0.6 / 4)))
    for z in heights_:
        angle = math.acos(1 - (z + 8) / 2)
        path = pieces(level(moves, z))
        places = [q for p in path for q in (p.start, p.at(0.3), p.end)]
        assert distance(wall, places) == pytest.approx(5 - 2 * math.sin(angle), abs=1e-6)


def test_leads_of_a_fillet(tmp_path):
    keys = TOOL_3 + 'radial_cutting_depth = 1.2\napproach = { kind = "arc", radius = 2 }\n'
    moves = fillet(tmp_path, keys)  # 35 degrees apart, so 4 rounds: the last backwards, to x = 0
    feeds = moves[~moves.rapid]
    around = feeds[feeds.turn != 0]
    assert around.turn.tolist() == pytest.approx([math.pi / 2, -math.pi / 2], rel=1e-12)
    np.testing.assert_allclose(around.start[0], [-2, 5, -6], atol=1e-9)
    np.testing.assert_allclose(around.end[1], [-2, 7, -8], atol=1e-9)


# ---------------------------------------------------------------------------------------- measured


@pytest.mark.parametrize("height", [0.02, 0.2])
def test_cusps_by_the_engine_are_exactly_as_asked(tmp_path, height):
    """Rays from the fillet's axis square to it: F where a round ran, F - h between two."""
    job = pass_job(tmp_path, pass_text("fillet", KEYS + f"scallop_height = {height}\n"), BALL)
    a, b = F - R, F - height
    step = 2 * math.acos((a * a + b * b - R * R) / (2 * a * b))  # law of cosines
    count = math.ceil(math.pi / 2 / step)
    angles = [math.pi / 2 - n * step for n in range(count)] + [0.0]
    axis = np.array([0.7, F, FLOOR + F])

    def depth(t: float) -> float:
        ray = (0.0, -math.sin(t), -math.cos(t))
        return float(np.linalg.norm(face(job, tuple(axis), ray) - axis))

    exact = 0
    for n, angle in enumerate(angles):
        assert depth(angle) == pytest.approx(F, abs=1e-8)
        if n + 1 < len(angles):
            below = angles[n + 1]
            middle = (angle + below) / 2
            wanted = height if n + 2 < len(angles) else searched_cusp(angle - below, R, F)
            # Over the lower ball's center the tool's side cuts: at R from its axis.
            side = (a * math.sin(below) + R) / math.sin(middle)
            if side * math.cos(middle) < a * math.cos(below):
                wanted = min(wanted, F - side)
            exact += wanted == height
            assert F - depth(middle) == pytest.approx(wanted, abs=1e-8)
    assert exact >= len(angles) // 2
    assert F - min(depth(t) for t in np.linspace(0, math.pi / 2, 101)) <= height + 1e-8


def ideal(gap: np.ndarray) -> np.ndarray:
    """z of the fillet's surface so far from the wall."""
    return FLOOR + F - np.sqrt(F * F - (F - np.minimum(gap, F)) ** 2)


def test_the_fillet_is_never_cut_under(tmp_path):
    job = pass_job(tmp_path, pass_text("fillet", KEYS + "scallop_height = 0.03\n"), BALL)
    gap = np.linspace(0.02, F + R - 0.05, 400)
    places = [(1.3, y) for y in gap.tolist()]
    for found in (heights(job, places), columns(job, places)):
        inside = gap < F
        assert (found >= ideal(gap) - EXACT).all()
        # A cusp h high square to the surface is h / cos t high above it.
        cosine = np.sqrt(F * F - (F - gap[inside]) ** 2) / F
        assert ((found - ideal(gap))[inside] * cosine <= 0.03 * 1.05).all()


SHAPES = {
    "bore": ('side = "inside"\ncircle = { center = [0, 0], diameter = 26 }\n', lambda x, y: 13 - np.hypot(x, y)),
    "boss": ('side = "outside"\ncircle = { center = [0, 0], diameter = 14 }\n', lambda x, y: np.hypot(x, y) - 7),
    "outside corner": ('side = "right"\npoints = [[-30, 0], [0, 0], [0, 30]]\n', lambda x, y: np.where(y < 0, np.hypot(np.maximum(x, 0), y), np.maximum(x, 0))),
    "inside corner": ('side = "left"\npoints = [[-30, -8], [9, -8], [9, 30]]\n', lambda x, y: np.minimum(9 - x, y + 8)),
}  # fmt: skip


@pytest.mark.parametrize("name", SHAPES)
def test_fillets_along_arcs_and_corners_measured(tmp_path, name):
    keys, gap_of = SHAPES[name]
    height = 0.04
    text = pass_text(
        "fillet", f"{keys}bottom = {FLOOR:g}\nfillet_radius = {F:g}\nscallop_height = {height}\n"
    )
    job = pass_job(tmp_path, text, BALL)
    x, y = (
        v.ravel() for v in np.meshgrid(np.linspace(-17.3, 17.1, 61), np.linspace(-13.7, 13.9, 57))
    )
    gap = gap_of(x, y)
    held = (gap > 0.1) & (gap < F - 0.01)
    if name == "outside corner":
        held &= ~((x < 0) & (y >= 0))
    x, y, gap = x[held], y[held], gap[held]
    found = columns(job, list(zip(x.tolist(), y.tolist(), strict=True)))
    above = found - ideal(gap)
    assert above.min() >= -1e-9
    cosine = np.sqrt(F * F - (F - gap) ** 2) / F
    if name == "inside corner":  # the ball leaves metal in the valley
        far = np.abs((9 - x) - (y + 8)) > 2 * R
        above, cosine = above[far], cosine[far]
    assert len(above) > 100
    assert (above * cosine).max() <= height * 1.05
    assert (above * cosine).max() >= height * 0.7


# ------------------------------------------------------------------------------------------- errors

BAD = {
    "a flat": (1, TOOL_3 + "overlap = 0.9\n", 'passes[1].tool: a fillet goes with a ball; tool 1 is "flat"'),
    "a bull": (2, TOOL_3 + "overlap = 0.9\n", 'passes[1].tool: a fillet goes with a ball; tool 2 is "bull"'),
    "ball too large": (3, TOOL_3.replace("radius = 5", "radius = 2.5") + "overlap = 0.9\n", "passes[1].fillet_radius: 2.500 mm is below the radius of the ball, 3.000 mm; take a smaller tool"),
    "no step": (3, TOOL_3, "passes[1].radial_cutting_depth: exactly one of"),
    "too far apart": (3, TOOL_3 + "radial_cutting_depth = 6.1\n", "passes[1].radial_cutting_depth: 6.100 mm leaves metal standing between the paths; the ball of tool 3 allows 6.000 mm"),
    "without end": (3, TOOL_3 + 'radial_cutting_depth = "0.00001um"\n', "passes[1].radial_cutting_depth: would take 314159267 rounds; at most 100000 are made"),
    "on": (3, TOOL_3.replace("left", "on") + "overlap = 0.9\n", 'passes[1].side: "on" has no wall; say on which side of it the tool runs'),
    "top too low": (3, TOOL_3 + "overlap = 0.9\ntop = -7\n", "passes[1].top: -7.000 mm, is not above the highest round, -6.000 mm"),
    "past the contour": (3, TOOL_3 + "overlap = 0.9\nallowance_side = -3.5\n", "passes[1].allowance_side: puts the axis past the contour"),
    "tight corner": (3, TOOL_3.replace("[20, 0]]", '[20, 0], { to = [20, 4], radius = 2, turn = "ccw" }]') + "overlap = 0.9\n", "passes[1]: the tool can't enter the arc of radius 2.000 mm that ends at (20.000, 4.000) mm: its axis has to keep 3.000 mm (the radius of the ball, and allowance_side)"),
    "approach cuts the wall": (3, 'side = "inside"\nrectangle = { low = [0, 0], high = [40, 20] }\nbottom = -8\nfillet_radius = 5\noverlap = 0.9\napproach = { kind = "straight", length = 20 }\n', "passes[1].approach: cuts the wall"),
    "no radius": (3, TOOL_3.replace("fillet_radius = 5\n", "overlap = 0.9\n"), "passes[1].fillet_radius: is missing: radius of the fillet"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    number, keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        fillet(tmp_path, keys, number)
    assert says in str(caught.value)
