"""Where a contour begins, and ramps down along it: places, slopes and lengths by hand."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_job import tool
from helpers_passes import heights, pass_job, pass_text
from proud.contour import Contour, distance
from proud.errors import JobError
from proud.moves import Moves
from test_passes import SQUARE, check_way, level, pieces, read

EXACT = 1e-9
OPEN = "points = [[0, 0], [20, 0]]\n"


def contour(tmp_path, keys: str, **more: object) -> Moves:
    moves = read(tmp_path, pass_text("contour", f"bottom = -4\n{keys}"), **more).moves
    check_way(moves)
    return moves


def sloped(moves: Moves) -> Moves:
    return moves[~moves.rapid & (moves.start[:, 2] != moves.end[:, 2])]


def plan(moves: Moves) -> np.ndarray:
    rise = moves.end[:, 2] - moves.start[:, 2]
    return np.sqrt(moves.lengths() ** 2 - rise**2)


# -------------------------------------------------------------------------------------------- start


def first(tmp_path, keys: str) -> list[float]:
    found: list[float] = level(contour(tmp_path, keys), -4.0).start[0, :2].tolist()
    return found


@pytest.mark.parametrize(
    ("side", "point", "at"),
    [
        ("inside", [39, 22], [37, 17]),  # in the corner of the path
        ("inside", [-5, 1], [3, 3]),
        ("outside", [39, 22], [43, 20]),  # beside the first line after the corner, clockwise
        ("outside", [1, 1], [-3, 0]),  # walked clockwise: up the -X side
    ],
)
def test_start_at_the_nearest_corner(tmp_path, side, point, at):
    keys = f'side = "{side}"\nstart = {{ corner_nearest = {point} }}\n{SQUARE}'
    assert first(tmp_path, keys) == pytest.approx(at, abs=EXACT)


def test_joints_that_run_on_are_no_corners(tmp_path):
    """Three corners are rounded, the last a little off, so that it turns by 0.02 degrees; one is not."""
    keys = (
        'side = "inside"\nclosed = true\nstart = { corner_nearest = [0, 9] }\n'
        'points = [[5.002, 0], [30, 0], [30, 15], { to = [25, 20], radius = 5, turn = "ccw" }, [5, 20], '
        '{ to = [0, 15], radius = 5, turn = "ccw" }, [0, 5], { to = [5.002, 0], center = [5, 5], turn = "ccw" }]\n'
    )
    assert first(tmp_path, keys) == pytest.approx([27, 3], abs=EXACT)
    slot = 'side = "inside"\nslot = { from = [0, 0], to = [20, 0], width = 10 }\nstart = { corner_nearest = [0, 0] }\n'
    with pytest.raises(JobError, match=r"start\.corner_nearest: the contour has no corner; write"):
        contour(tmp_path, slot)


@pytest.mark.parametrize(
    ("region", "at"),
    [
        ("rectangle = { low = [35, 4], high = [50, 12] }", [37, 8]),  # x = 40 from 4 to 12
        ("circle = { center = [10, 24], diameter = 10 }", [10, 17]),  # y = 20 from 7 to 13
        (
            "rectangle = { low = [-5, -5], high = [4, 8] }",
            [3, 5],
        ),  # (4, 0) to (0, 0) to (0, 8): middle at (0, 2)
    ],
)
def test_start_inside_a_region(tmp_path, region, at):
    found = first(tmp_path, f'side = "inside"\nstart = {{ inside = {{ {region} }} }}\n{SQUARE}')
    if at == [3, 5]:
        at = [3, 3]  # beside (0, 2) the path is cut off: it begins in its own corner
    assert found == pytest.approx(at, abs=EXACT)


def test_the_longest_stretch_inside_is_taken_also_over_the_contours_own_start(tmp_path):
    """The rectangle's own start is (20, 0): its stretch runs from (13, 0) to (27, 0), the other
    side's, in a region a little off the middle, is shorter."""
    region = "circle = { center = [20, 9], diameter = 22.8 }"
    wide = math.sqrt(11.4**2 - 9**2)
    keys = f'side = "inside"\nstart = {{ inside = {{ {region} }} }}\n{SQUARE}'
    assert wide > math.sqrt(11.4**2 - 11**2)
    assert first(tmp_path, keys) == pytest.approx([20, 3], abs=EXACT)


def test_a_region_round_the_whole_contour_changes_nothing(tmp_path):
    region = "circle = { center = [20, 10], diameter = 90 }"
    keys = f'side = "inside"\nstart = {{ inside = {{ {region} }} }}\n{SQUARE}'
    assert first(tmp_path, keys) == [20, 3]


# --------------------------------------------------------------------------------------------- ramp


def test_ramp_reaches_the_level_at_the_start_of_a_closed_contour(tmp_path):
    keys = (
        f'side = "inside"\n{SQUARE}approach = {{ kind = "ramp", angle = 10 }}\nplunge_feed = 50\n'
    )
    moves = contour(tmp_path, keys)
    down = sloped(moves)
    tangent = math.tan(math.radians(10))
    np.testing.assert_allclose(-np.diff([1.0, *down.end[:, 2]]) / plan(down), tangent, rtol=1e-9)
    assert plan(down).sum() == pytest.approx(5 / tangent, abs=EXACT)
    assert down.end[-1].tolist() == [20, 3, -4]
    assert set(down.feed.tolist()) == {50.0}
    # 5 / tan 10 = 28.356 before (20, 3), climbing: 17 to the corner (3, 3), then up x = 3.
    assert down.start[0].tolist() == pytest.approx([3, 3 + 5 / tangent - 17, 1], abs=1e-9)
    cut = level(moves, -4.0)
    assert cut.lengths().sum() == pytest.approx(96, abs=EXACT)
    # Unless said the tool goes straight up after a ramp.
    assert moves.end[-1].tolist() == [20, 3, 5]


def test_ramp_of_a_length_more_than_once_round(tmp_path):
    keys = f'side = "inside"\n{SQUARE}approach = {{ kind = "ramp", length = 200 }}\n'
    down = sloped(contour(tmp_path, keys))
    assert plan(down).sum() == pytest.approx(200, abs=1e-6)
    # 200 = 2 x 96 + 8: it begins 8 before the start.
    assert down.start[0].tolist() == pytest.approx([12, 3, 1], abs=1e-9)
    assert down.end[-1].tolist() == [20, 3, -4]
    fall = -np.diff([1.0, *down.end[:, 2]]) / plan(down)
    np.testing.assert_allclose(fall, 5 / 200, rtol=1e-7)


def test_ramp_of_three_degrees_unless_said_and_at_each_level(tmp_path):
    keys = f'side = "inside"\n{SQUARE}axial_cutting_depth = 2\napproach = {{ kind = "ramp" }}\n'
    down = sloped(contour(tmp_path, keys))
    # From 1 above the metal: 0 to -2, then -2 to -4; each 3 down.
    assert plan(down).sum() == pytest.approx(2 * 3 / math.tan(math.radians(3)), abs=1e-6)


def test_ramp_back_and_forth_along_an_open_contour(tmp_path):
    """30 of a ramp along 20: forth from 10 to 20 and back to 0, then the whole way at the level."""
    keys = f'side = "left"\n{OPEN}approach = {{ kind = "ramp", length = 30 }}\n'
    moves = contour(tmp_path, keys)
    down = sloped(moves)
    np.testing.assert_allclose(down.start[0], [10, 3, 1], atol=EXACT)
    np.testing.assert_allclose(down.end, [[20, 3, 1 - 5 / 3], [0, 3, -4]], atol=EXACT)
    np.testing.assert_allclose(level(moves, -4.0).end, [[20, 3, -4]], atol=EXACT)


def test_ramp_up_past_the_start_of_a_closed_contour_and_back_along_an_open_one(tmp_path):
    keys = f'side = "inside"\n{SQUARE}overlap = 2\nretract = {{ kind = "ramp", length = 4 }}\n'
    moves = contour(tmp_path, keys)
    up = sloped(moves)[1:]
    np.testing.assert_allclose(up.start, [[22, 3, -4]], atol=EXACT)
    np.testing.assert_allclose(up.end, [[26, 3, 1]], atol=EXACT)
    assert up.feed[0] == 300
    keys = f'side = "on"\n{OPEN}retract = {{ kind = "ramp", length = 5 }}\n'
    up = sloped(contour(tmp_path, keys))[1:]
    np.testing.assert_allclose([*up.start, *up.end], [[20, 0, -4], [15, 0, 1]], atol=EXACT)


def test_ramp_round_arcs_is_of_helices_on_the_path(tmp_path):
    keys = 'side = "outside"\ncircle = { center = [0, 0], diameter = 14 }\napproach = { kind = "ramp", angle = 5 }\n'
    moves = contour(tmp_path, keys)
    down = sloped(moves)
    assert (down.turn < 0).all()
    np.testing.assert_allclose(np.hypot(*down.start[:, :2].T), 10, atol=EXACT)
    assert np.abs(down.turn).sum() * 10 == pytest.approx(5 / math.tan(math.radians(5)), abs=1e-6)


def test_a_ramp_cuts_no_deeper_than_its_path_measured(tmp_path):
    """The metal beside the ramp stands; under it, after the round, the floor is level."""
    keys = 'bottom = -4\nside = "on"\npoints = [[-10, 0], [10, 0]]\napproach = { kind = "ramp", angle = 20 }\n'
    job = pass_job(tmp_path, pass_text("contour", keys), [tool(1, "flat", 6.0)])
    found = heights(job, [(-10, 0), (0, 2.99), (0, 3.01), (9, 0), (12.99, 0), (13.01, 0)])
    np.testing.assert_allclose(found, [-4, -4, 0, -4, -4, 0], rtol=0, atol=EXACT)


def test_leads_of_a_reversed_contour_stay_on_the_tools_side(tmp_path):
    for side in ("left", "right"):
        keys = f'side = "{side}"\npoints = [[0, 0], [20, 0], [20, 20]]\napproach = {{ kind = "arc", radius = 2, angle = 60 }}\n'
        path = pieces(level(contour(tmp_path, keys), -4.0))
        wall = Contour((path[1], path[2]), False)
        samples = [path[0].at(n / 20) for n in range(20)]
        assert (distance([wall], samples) > 0).all()
        sign = 1 if side == "left" else -1
        assert all(sign * y > 3 - EXACT for _, y in samples)


# ------------------------------------------------------------------------------------------- errors

BAD = {
    "two words": ("start = { corner_nearest = [0, 0], inside = { circle = { center = [0, 0], diameter = 1 } } }\n", "start: needs exactly one of corner_nearest and inside"),
    "no word": ("start = {}\n", "start: needs exactly one of corner_nearest and inside"),
    "unknown word": ("start = { corner = [0, 0] }\n", 'passes[1].start.corner: unknown key; allowed here: corner_nearest, inside; did you mean "corner_nearest"?'),
    "a text": ('start = "corner"\n', 'passes[1].start: "corner" is not a list in [ ], nor a table'),
    "region of nothing": ("start = { inside = {} }\n", "start.inside: needs exactly one of rectangle and circle"),
    "region of two": ("start = { inside = { circle = { center = [0, 0], diameter = 1 }, rectangle = { low = [0, 0], high = [1, 1] } } }\n", "start.inside: needs exactly one of rectangle and circle"),
    "region upside down": ("start = { inside = { rectangle = { low = [1, 1], high = [0, 2] } } }\n", "start.inside.rectangle: x of low, 1.000 mm, is not below x of high, 0.000 mm"),
    "region elsewhere": ("start = { inside = { circle = { center = [20, 30], diameter = 1 } } }\n", "passes[1].start.inside: the contour doesn't run through it; the nearest place of the contour is (20.500, 20.000) mm"),
    "angle and length": ('approach = { kind = "ramp", angle = 3, length = 9 }\n', "approach.length: a ramp has an angle or a length, not both"),
    "too flat": ('approach = { kind = "ramp", angle = 0.001 }\n', "approach.angle: would go round the path 2984 times; take a steeper ramp, or a plunge"),
    "too long": ('retract = { kind = "ramp", length = 99000 }\n', "retract.length: would go round the path 1031 times"),
    "steep": ('approach = { kind = "ramp", angle = 46 }\n', "passes[1].approach.angle: 46 is above 45"),
    "helix": ('approach = { kind = "helix" }\n', 'passes[1].approach.kind: "helix" is not allowed; allowed: plunge, straight, arc, ramp'),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        contour(tmp_path, f'side = "inside"\n{SQUARE}{keys}')
    assert says in str(caught.value)


def test_start_of_an_open_contour(tmp_path):
    with pytest.raises(JobError, match="start: goes with a closed contour; this one is open"):
        contour(tmp_path, f'side = "left"\n{OPEN}start = {{ corner_nearest = [0, 0] }}\n')
