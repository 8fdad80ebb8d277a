"""Helix bores: the moves by hand, the hole's wall and floor as the engine cuts them."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_job import tool
from helpers_passes import FEED, RAPID, columns, face, heights, pass_job, pass_text, rows
from proud.errors import JobError
from proud.moves import Program
from test_passes import check_way, read

EXACT = 1e-9
HOLE = "points = [[2, 1]]\ndiameter = 10\npitch = 0.8\nbottom = -2\n"


def bore(tmp_path, keys: str, *, number: int = 1, **more: object) -> Program:
    program = read(tmp_path, pass_text("helix_bore", keys, tool=number), **more)
    check_way(program.moves)
    return program


def test_moves_of_a_hole_by_hand(tmp_path):
    """10 with a tool of 6: the axis on a circle of 2. From 1 above the top 3 mm down in turns of
    0.8: 0.2, -0.6, -1.4 and the rest to -2; once round; half a circle of 1 to the middle."""
    assert rows(bore(tmp_path, HOLE).moves) == [
        (RAPID, 2, 1, 5, 0),
        (RAPID, 2, 1, 1, 0),
        (FEED, 4, 1, 1, 0),
        (FEED, 4, 1, 0.2, 360),
        (FEED, 4, 1, -0.6, 360),
        (FEED, 4, 1, -1.4, 360),
        (FEED, 4, 1, -2, 360),
        (FEED, 4, 1, -2, 360),
        (FEED, 2, 1, -2, 180),
        (RAPID, 2, 1, 5, 0),
    ]


def test_conventional_goes_round_the_other_way_with_spring_passes(tmp_path):
    found = rows(bore(tmp_path, HOLE + 'cutmode = "conventional"\nspring_passes = 2\n').moves)
    assert [r[4] for r in found if r[4]] == [-360] * 4 + [-360] * 3 + [-180]


def test_allowances_and_the_d_error_move_the_circle(tmp_path):
    keys = HOLE + "allowance_side = 0.25\nallowance_bottom = 0.5\n"
    moves = bore(tmp_path, keys, d_errors={1: 0.125, 2: 9.0}).moves
    around = moves[np.abs(moves.turn) > 6]
    np.testing.assert_allclose(np.hypot(*(around.start[:, :2] - [2, 1]).T), 1.625, atol=EXACT)
    assert moves.end[:, 2].min() == -1.5


def test_plunge_feed_is_for_the_helix(tmp_path):
    moves = bore(tmp_path, HOLE + "plunge_feed = 40\n").moves
    helix = (moves.turn != 0) & (moves.start[:, 2] != moves.end[:, 2])
    assert set(moves.feed[helix].tolist()) == {40.0}
    assert set(moves.feed[~helix & ~moves.rapid].tolist()) == {300.0}


def test_hole_measured(tmp_path):
    job = pass_job(tmp_path, pass_text("helix_bore", HOLE), [tool(1, "flat", 6.0)])
    places = [(2, 1), (2, 5.99), (6.99, 1), (7.01, 1), (2 + 4.9 * 0.6, 1 + 4.9 * 0.8)]
    for found in (heights(job, places), columns(job, places)):
        np.testing.assert_allclose(found, [-2, -2, -2, 0, -2], rtol=0, atol=EXACT)
    for angle in (0.0, 1.0, 2.5, 4.0):
        c, s = math.cos(angle), math.sin(angle)
        at = face(job, (2, 1, -1.2), (c, s, 0))
        assert math.hypot(at[0] - 2, at[1] - 1) == pytest.approx(5, abs=1e-7)


def test_hole_measured_with_a_worn_register_and_a_bull_nose(tmp_path):
    """D half a thou over the true radius: the hole is 1 thou small; the corner leaves its radius."""
    text = pass_text("helix_bore", HOLE)
    tools = [tool(1, "bull", 6.0, RE=1.0)]
    job = pass_job(tmp_path, text, tools, offsets='D1 = "0.5 thou"')
    at = face(job, (2, 1, -0.5), (1, 0, 0))
    assert at[0] == pytest.approx(7 - 0.0127, abs=1e-7)
    off = 0.4
    wanted = -2 + 1 - math.sqrt(1 - (1 - off) ** 2)
    found = heights(job, [(7 - 0.0127 - off, 1)])[0]
    assert found == pytest.approx(wanted, abs=1e-9)


def test_several_holes_from_a_pattern(tmp_path):
    keys = "pattern = { line = { from = [0, 0], to = [20, 0], count = 3 } }\ndiameter = 8\npitch = 1\nbottom = -1\n"
    moves = bore(tmp_path, keys).moves
    over = moves[moves.rapid & (moves.end[:, 2] == 5)]
    assert list(dict.fromkeys(map(tuple, over.end[:, :2].tolist()))) == [(0, 0), (10, 0), (20, 0)]


def test_a_core_is_noted_and_the_tool_comes_off_by_the_security_distance(tmp_path):
    program = bore(
        tmp_path,
        "points = [[0, 0]]\ndiameter = 14\npitch = 1\nbottom = -1\nsecurity_distance = 0.5\n",
    )
    assert program.notes == (
        'line 1, pass 1 "p": a core 2.000 mm across stays in the middle of the hole, unless it is open there already',
    )
    assert rows(program.moves)[-2:] == [(FEED, 3.5, 0, -1, 180), (RAPID, 3.5, 0, 5, 0)]
    assert bore(tmp_path, "points = [[0, 0]]\ndiameter = 12\npitch = 1\nbottom = -1\n").notes == ()


def test_a_cusp_in_the_middle_is_noted(tmp_path):
    program = bore(
        tmp_path, "points = [[0, 0]]\ndiameter = 12.5\npitch = 1\nbottom = -1\n", number=3
    )
    assert "a cusp stays on the floor in the middle" not in str(program.notes)  # a core, then
    program = bore(tmp_path, "points = [[0, 0]]\ndiameter = 8\npitch = 1\nbottom = -1\n", number=3)
    assert program.notes == (
        'line 1, pass 1 "p": the end of tool 3 is flat over 0.000 mm only, so a cusp stays on the floor in the middle, unless the hole is open there',
    )


BAD = {
    "too small": (HOLE.replace("diameter = 10", "diameter = 6"), "diameter: 6.000 mm leaves no circle for the axis, which keeps 3.000 mm (half of the diameter, allowance_side and D error) from the wall; it has to be above 6.000 mm"),
    "too many turns": (HOLE.replace("0.8", '"0.1um"'), "pitch: would take 30000 levels; at most 10000 are made"),
    "no pitch": (HOLE.replace("pitch = 0.8\n", ""), "passes[1].pitch: is missing: how deep the tool goes with each turn"),
    "no diameter": (HOLE.replace("diameter = 10\n", ""), "passes[1].diameter: is missing: diameter of the finished hole"),
    "no place": (HOLE.replace("points = [[2, 1]]\n", ""), "passes[1].points: or pattern, exactly one of them, is needed; it has none"),
    "above the top": (HOLE.replace("bottom = -2", "bottom = 2"), "passes[1].bottom: with allowance_bottom 2.000 mm, is not below the top"),
    "a drill": (HOLE, "passes[1].tool: tool 4 is a drill, which cuts downwards only"),
    "levels": (HOLE + "axial_cutting_depth = 1\n", "passes[1].axial_cutting_depth: unknown key; allowed here: "),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        bore(tmp_path, keys, number=4 if case == "a drill" else 1)
    assert says in str(caught.value)
