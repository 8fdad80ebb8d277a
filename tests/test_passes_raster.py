"""Rasters of a round end: cusps by formula, by the engine, and the area covered by shapely.

A ball of radius R along lines s apart leaves cusps of R - sqrt(R^2 - (s/2)^2): Pythagoras.
"""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from helpers_job import tool
from helpers_passes import columns, heights, pass_job, pass_text
from proud.errors import JobError
from proud.moves import Program
from proud.passes.scallop import flat_cusp, flat_step
from test_passes import check_way, level, pieces, read
from test_passes_pocket import SHAPES, region

EXACT = 1e-9
R = 3.0
BALL = [tool(1, "ball", 6.0)]
BOX = "rectangle = { low = [-8, -6], high = [8, 6] }\nbottom = -2\n"


def raster(tmp_path, keys: str, number: int = 3, **more: object) -> Program:
    program = read(tmp_path, pass_text("raster", keys, tool=number), **more)
    check_way(program.moves)
    return program


@pytest.mark.parametrize(
    ("step", "radius", "flat"), [(1.0, 3.0, 0.0), (0.2, 6.0, 0.0), (9.4, 1.5, 4.5), (6.0, 3.0, 0.0)]
)
def test_the_formula_and_its_inverse(step, radius, flat):
    half = np.linspace(0, step / 2, 20001)
    run = np.maximum(half - flat, 0)
    highest = (radius - np.sqrt(radius**2 - run**2)).max()
    assert flat_cusp(step, radius, flat) == pytest.approx(highest, abs=1e-12)
    if step > 2 * flat:
        assert flat_step(highest, radius, flat) == pytest.approx(step, rel=1e-9)


def test_lines_and_the_round_by_hand(tmp_path):
    """Y from -6 to 6 in twelve steps of 1; the round runs on the boundary, climbing."""
    keys = BOX + "radial_cutting_depth = 1.05\n"
    program = raster(tmp_path, keys)
    cut = level(program.moves, -2.0)
    rows = cut[(cut.start[:, 1] == cut.end[:, 1]) & (np.abs(cut.start[:, 1]) < 6)]
    assert rows.start[:, 1].tolist() == pytest.approx(list(range(-5, 6)), abs=EXACT)
    assert rows.start[:, 0].tolist() == [-8, 8] * 5 + [-8]
    assert rows.end[:, 0].tolist() == [8, -8] * 5 + [8]
    assert cut.lengths().sum() == pytest.approx(11 * 16 + 10 * 1 + 56, abs=EXACT)
    assert int(program.moves.rapid.sum()) == 3
    assert program.notes == ()


@pytest.mark.parametrize(
    ("shape", "angle"),
    [("rectangle", 30), ("sharp", 90), ("slot", 0), ("circle", 45), ("neck", 30), ("island", 0), ("u", 90), ("acute", 10), ("arcs in", 90)],
)  # fmt: skip
def test_every_place_is_within_half_a_step_of_a_path(tmp_path, shape, angle):
    _, area = region(tmp_path, SHAPES[shape])
    keys = f"{SHAPES[shape]}bottom = -4\nangle = {angle}\nradial_cutting_depth = 2\n"
    cut = level(raster(tmp_path, keys).moves, -4.0)
    sagitta = 0.01
    rows = [shapely.LineString([*p.chords(sagitta), p.end]) for p in pieces(cut)]
    slack = 0.03
    near = shapely.union_all(shapely.buffer(rows, 1 + slack, quad_segs=16))
    assert area.buffer(-slack).difference(near).area <= 1e-9
    assert shapely.union_all(rows).difference(area.buffer(slack)).length <= 1e-9


def test_the_tool_kept_inside(tmp_path):
    keys = BOX + 'side = "inside"\nallowance_side = 0.5\nradial_cutting_depth = 1\n'
    cut = level(raster(tmp_path, keys).moves, -2.0)
    assert (np.abs(cut.end[:, 0]).max(), np.abs(cut.end[:, 1]).max()) == (4.5, 2.5)


@pytest.mark.parametrize(
    ("words", "step"),
    [
        ("scallop_height = 0.05", 12 / math.ceil(12 / (2 * math.sqrt(9 - 2.95**2)))),
        ("overlap = 0.8", 1.2),
        ("overlap = 0.81", 12 / 11),
        ("radial_cutting_depth = 2", 2.0),
    ],
)
def test_cusps_by_the_engine_are_those_of_the_formula(tmp_path, words, step):
    job = pass_job(tmp_path, pass_text("raster", f"{BOX}{words}\n"), BALL)
    # By hand, on the cusp in the middle between two lines, and on a line.
    first = -6 + 3 * step
    cusp = -2 + R - math.sqrt(R * R - step * step / 4)
    places = [
        (0.3, first),
        (0.3, first + step / 2),
        (-2.7, first + 1.5 * step),
        (0.3, -6),
        (0.3, 6),
    ]
    for found in (heights(job, places), columns(job, places)):
        np.testing.assert_allclose(found, [-2, cusp, cusp, -2, -2], rtol=0, atol=EXACT)
    fine = columns(job, [(1.1, y) for y in np.linspace(-6, 6, 4001)])
    assert fine.max() == pytest.approx(cusp, abs=1e-4)
    assert fine.max() <= cusp + EXACT
    assert fine.min() >= -2 - EXACT
    if words.startswith("scallop"):
        assert cusp + 2 <= 0.05


def test_cusps_of_a_bull_nose(tmp_path):
    """Flat over 4, corner 1: lines 5 apart leave cusps 0.5 from the flat ends, 1 - sqrt(1 - 0.25)."""
    keys = "rectangle = { low = [-10, -7.5], high = [10, 7.5] }\nbottom = -2\n"
    keys += f"scallop_height = {1 - math.sqrt(0.75):.15f}\n"
    job = pass_job(tmp_path, pass_text("raster", keys), [tool(1, "bull", 6.0, RE=1.0)])
    found = columns(job, [(0, -2.5), (0, 0), (0, 0.4), (0, 0.6)])
    np.testing.assert_allclose(
        found, [-2, -1 - math.sqrt(0.75), -1 - math.sqrt(0.99), -2], rtol=0, atol=EXACT
    )


BAD = {
    "no step": (3, BOX, "passes[1].radial_cutting_depth: exactly one of radial_cutting_depth, overlap, scallop_height is needed; it has none"),
    "two steps": (3, BOX + "overlap = 0.5\nscallop_height = 0.1\n", "passes[1].scallop_height: exactly one of radial_cutting_depth, overlap, scallop_height is needed; it has overlap and scallop_height"),
    "a flat": (1, BOX + "radial_cutting_depth = 1\n", 'passes[1].tool: a raster goes with a round end; tool 1 is "flat". For a flat end write operation = "pocket"'),
    "a drill": (4, BOX + "radial_cutting_depth = 1\n", "passes[1].tool: tool 4 is a drill"),
    "cusps over R": (3, BOX + "scallop_height = 3.1\n", "passes[1].scallop_height: 3.100 mm is over the radius of the round end, 3.000 mm"),
    "too far apart": (3, BOX + "radial_cutting_depth = 6.1\n", "passes[1].radial_cutting_depth: 6.100 mm leaves metal standing between the paths; the end of tool 3 allows 6.000 mm"),
    "overlap of all": (3, BOX + "overlap = 1\n", "passes[1].overlap: 1 is not below 1"),
    "overlap of nothing": (3, BOX + "overlap = 0\n", "passes[1].overlap: 0 is not above 0"),
    "without end": (3, BOX + 'scallop_height = "0.0000001um"\n', "lines; at most 5000 are made"),
    "allowance on": (3, BOX + "radial_cutting_depth = 1\nallowance_side = 1\n", 'passes[1].allowance_side: has no side to be left on where side = "on"'),
    "past the boundary": (3, BOX + 'radial_cutting_depth = 1\nside = "inside"\nallowance_side = -4\n', "passes[1].allowance_side: puts the axis past the boundary"),
    "too large": (3, 'circle = { center = [0, 0], diameter = 5 }\nbottom = -2\nradial_cutting_depth = 1\nside = "inside"\n', "passes[1]: the tool doesn't fit into the pocket"),
    "side": (3, BOX + 'radial_cutting_depth = 1\nside = "outside"\n', 'passes[1].side: "outside" is not allowed; allowed: on, inside'),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    number, keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        raster(tmp_path, keys, number)
    assert says in str(caught.value)
