"""Chamfers: the axis beside the edge by hand, the flat as the engine cuts it.

A cone of the edge angle k widens by d / tan k over a height d (ISO 13399, KAPR).
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
from proud.errors import JobError
from proud.moves import Program
from proud.passes import PassSettings, read_passes
from proud.tools import Tool
from test_passes import check_way, level, pieces

EXACT = 1e-9
TOOLS = {
    1: Tool(1, "Flat 6", "flat", 6.0),
    2: Tool(2, "Chamfer 90", "chamfer", 6.0, edge_angle=45.0, tip_diameter=1.0),
    3: Tool(3, "Spot 120", "spot-drill", 6.0, point_angle=120.0),
    4: Tool(4, "Drill 5", "drill", 5.0, point_angle=118.0),
    5: Tool(5, "Chamfer 60", "chamfer", 6.0, edge_angle=60.0, tip_diameter=0.0),
    6: Tool(6, "Tap", "tap", 6.0, tip_diameter=4.0, own=(("chamfer_length", 2.0),)),
}
BOX = "rectangle = { low = [-10, -8], high = [10, 8] }\n"


def chamfer(
    tmp_path, keys: str, number: int = 2, d_errors: dict[int, float] | None = None
) -> Program:
    path = tmp_path / "passes.toml"
    path.write_text(pass_text("chamfer", keys, tool=number))
    settings = PassSettings(unit="mm", tools=TOOLS, d_errors=d_errors or {}, stock_top=0.0)
    program = read_passes(path, settings, shown="passes.toml")
    check_way(program.moves)
    return program


@pytest.mark.parametrize(
    ("number", "keys", "gap", "z"),
    [
        (2, "width = 1\ntip_clearance = 0.5\n", 1.0, -1.5),  # 0.5 of the tip, 0.5 / tan 45
        (2, "depth = 1\n", 0.5, -1.0),
        (3, "width = 1\ntip_clearance = 0.25\n", 0.25 * math.sqrt(3), -1 / math.sqrt(3) - 0.25),
        (5, "width = 0.5\ntip_clearance = 1\n", 1 / math.sqrt(3), -0.5 * math.sqrt(3) - 1),
        (5, "depth = 0.5\ntip_clearance = 1\ntop = -2\n", 1 / math.sqrt(3), -3.5),
    ],
)
def test_the_axis_keeps_the_cones_radius_at_the_lower_edge(tmp_path, number, keys, gap, z):
    moves = chamfer(tmp_path, f'side = "outside"\n{BOX}{keys}', number).moves
    z = round(z, 10)
    cut = level(moves, z)
    assert cut.start[0].tolist() == pytest.approx([0, -8 - gap, z], abs=EXACT)
    assert cut.lengths().sum() == pytest.approx(72 + 2 * math.pi * gap, abs=1e-8)
    ring = shapely.box(-10, -8, 10, 8).boundary
    places = [q for p in pieces(cut) for q in (p.start, p.at(0.5))]
    assert [ring.distance(shapely.Point(q)) for q in places] == pytest.approx(
        [gap] * len(places), abs=1e-9
    )


def test_the_d_error_moves_a_chamfer(tmp_path):
    keys = f'side = "outside"\n{BOX}width = 1\ntip_clearance = 0.5\n'
    for error in (0.02, -0.02):
        cut = level(chamfer(tmp_path, keys, d_errors={2: error}).moves, -1.5)
        assert cut.start[0, 1] == pytest.approx(-9 - error, abs=EXACT)


def test_a_pointed_tool_without_clearance_runs_on_the_edge(tmp_path):
    cut = level(chamfer(tmp_path, f'side = "outside"\n{BOX}depth = 1\n', 3).moves, -1.0)
    assert cut.lengths().sum() == 72


def test_leads_start_and_spring_passes(tmp_path):
    keys = f'side = "outside"\n{BOX}width = 1\nstart = {{ corner_nearest = [-9, -9] }}\noverlap = 1\nspring_passes = 1\napproach = {{ kind = "arc", radius = 2 }}\n'
    cut = level(chamfer(tmp_path, keys).moves, -1.0)
    half = len(cut) // 2
    np.testing.assert_array_equal(cut.end[:half], cut.end[half:])
    path = pieces(cut)[:half]
    assert path[0].end == pytest.approx((-10.5, -8), abs=EXACT)  # climbing: up the -X side
    assert path[-1].start == pytest.approx((-10.5, -7), abs=EXACT)


JOB_TOOLS = [
    tool(1, "flat", 6.0),
    tool(2, "chamfer", 6.0, KAPR=45.0, tip=1.0),
    tool(5, "chamfer", 6.0, KAPR=60.0, tip=0.0),
]


@pytest.mark.parametrize(("number", "slope"), [(2, 1.0), (5, math.sqrt(3))])
def test_an_edge_measured(tmp_path, number, slope):
    """Width 1: from the wall at depth `slope` up to the top 1 mm inside."""
    text = pass_text("contour", f'side = "outside"\n{BOX}bottom = -4\n')
    text += pass_text(
        "chamfer", f'side = "outside"\n{BOX}width = 1\ntip_clearance = 0.5\n', tool=number
    )
    job = pass_job(tmp_path, text, JOB_TOOLS)
    places = [(0, -7.75), (0, -7.1), (0, -6.9), (9.5, 2), (0, -8.2), (-10 + 0.3, 1)]
    wanted = [-0.75 * slope, -0.1 * slope, 0, -0.5 * slope, -4, -0.7 * slope]
    for found in (heights(job, places), columns(job, places)):
        np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-9)
    for z, y in ((-0.5 * slope, -7.5), (-slope - 0.01, -8), (-3, -8)):
        assert face(job, (1, -14, z), (0, 1, 0))[1] == pytest.approx(y, abs=1e-8)


def test_a_holes_edge_measured(tmp_path):
    hole = "circle = { center = [2, 1], diameter = 10 }\n"
    text = pass_text("helix_bore", "points = [[2, 1]]\ndiameter = 10\npitch = 2\nbottom = -4\n")
    text += pass_text(
        "chamfer", f'side = "inside"\n{hole}width = 0.8\ntip_clearance = 0.3\n', tool=2
    )
    job = pass_job(tmp_path, text, JOB_TOOLS)
    at = [
        (2 + r * math.cos(t), 1 + r * math.sin(t))
        for r in (4.9, 5.3, 5.79, 5.81)
        for t in (0.3, 2.0, 4.4)
    ]
    wanted = np.repeat([-4, -0.5, -0.01, 0], 3)
    np.testing.assert_allclose(heights(job, at), wanted, rtol=0, atol=1e-9)


BAD = {
    "on": (2, f'side = "on"\n{BOX}width = 1\n', 'passes[1].side: "on" has no edge to chamfer; say on which side of it the air is'),
    "neither": (2, f'side = "outside"\n{BOX}', "passes[1].width: or depth, exactly one of them, is needed; it has none"),
    "both": (2, f'side = "outside"\n{BOX}width = 1\ndepth = 1\n', "passes[1].width: or depth, exactly one of them, is needed; it has both"),
    "a flat": (1, f'side = "outside"\n{BOX}width = 1\n', 'passes[1].tool: a chamfer goes with a tool whose end is a cone, such as a chamfer tool or a spot drill; tool 1 is "flat"'),
    "a drill": (4, f'side = "outside"\n{BOX}width = 1\n', "passes[1].tool: tool 4 is a drill, which cuts downwards only"),
    "a tap": (6, f'side = "outside"\n{BOX}width = 1\n', 'tool 6 is "tap"'),
    "too wide": (2, f'side = "outside"\n{BOX}width = 2\ntip_clearance = 0.6\n', "passes[1].width: is too large: chamfer and tip_clearance take 2.600 mm of the cone of tool 2, which is 2.500 mm high"),
    "too deep": (2, f'side = "outside"\n{BOX}depth = 3\n', "passes[1].depth: is too large: chamfer and tip_clearance take 3.000 mm"),
    "a sharp inside corner": (2, 'side = "left"\npoints = [[0, 0], [9, 0], { to = [9, 1], radius = 0.5, turn = "ccw" }, [0, 1]]\nwidth = 1\ntip_clearance = 0.4\n', "passes[1]: the tool can't enter the arc of radius 0.500 mm"),
    "allowance": (2, f'side = "outside"\n{BOX}width = 1\nallowance_side = 1\n', "passes[1].allowance_side: unknown key"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    number, keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        chamfer(tmp_path, keys, number)
    assert says in str(caught.value)


def test_an_axis_past_the_edge(tmp_path):
    with pytest.raises(JobError, match="tip_clearance: puts the axis past the edge; give the tip"):
        chamfer(tmp_path, f'side = "outside"\n{BOX}width = 1\n', 3, {3: -0.1})
