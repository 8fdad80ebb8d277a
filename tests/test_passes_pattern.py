"""Holes on a bolt circle, in a grid, on a line; pecks; all places by hand."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_job import tool
from helpers_passes import FEED, RAPID, heights, pass_job, pass_text, rows
from proud.errors import JobError
from test_passes import check_way, read

DEEP = "bottom = -3\n"


def places(tmp_path, pattern: str) -> list[tuple[float, float]]:
    text = pass_text("drill", f"pattern = {{ {pattern} }}\n{DEEP}", tool=4)
    moves = read(tmp_path, text).moves
    check_way(moves)
    return [tuple(p) for p in moves.end[~moves.rapid, :2].tolist()]


ROOT = 5 * math.sqrt(3)


@pytest.mark.parametrize(
    ("pattern", "wanted"),
    [
        ("circle = { center = [1, 2], diameter = 20, count = 4 }", [(11, 2), (1, 12), (-9, 2), (1, -8)]),
        ("circle = { center = [0, 0], diameter = 20, count = 3, angle = 90 }", [(0, 10), (-ROOT, -5), (ROOT, -5)]),
        ("circle = { center = [0, 0], diameter = 20, count = 3, angle = 30, angle_increment = -30 }", [(ROOT, 5), (10, 0), (ROOT, -5)]),
        ("circle = { center = [0, 0], diameter = 20, count = 1, angle = 180 }", [(-10, 0)]),
        ("grid = { low = [1, 2], spacing = [10, 5], columns = 3, rows = 2 }", [(1, 2), (11, 2), (21, 2), (21, 7), (11, 7), (1, 7)]),
        ("grid = { low = [1, 2], spacing = [10, -5], columns = 2, rows = 2, angle = 90 }", [(1, 2), (1, 12), (6, 12), (6, 2)]),
        ("grid = { low = [1, 2], spacing = [0, 5], columns = 1, rows = 3 }", [(1, 2), (1, 7), (1, 12)]),
        ("line = { from = [0, 0], to = [9, 3], count = 4 }", [(0, 0), (3, 1), (6, 2), (9, 3)]),
        ("line = { from = [0, 0], to = [9, 3], count = 4 }, skip = [1, 3]", [(3, 1), (9, 3)]),
    ],
)  # fmt: skip
def test_places(tmp_path, pattern, wanted):
    np.testing.assert_allclose(places(tmp_path, pattern), wanted, rtol=0, atol=1e-9)


def test_pecks_that_only_break_the_chip(tmp_path):
    keys = "points = [[1, 2]]\nbottom = -5\naxial_cutting_depth = 2\nchip_break = 0.5\n"
    assert rows(read(tmp_path, pass_text("drill", keys, tool=4)).moves) == [
        (RAPID, 1, 2, 5, 0),
        (RAPID, 1, 2, 1, 0),
        (FEED, 1, 2, -2, 0),
        (RAPID, 1, 2, -1.5, 0),
        (FEED, 1, 2, -4, 0),
        (RAPID, 1, 2, -3.5, 0),
        (FEED, 1, 2, -5, 0),
        (RAPID, 1, 2, 5, 0),
    ]


def test_a_dwell_makes_no_move(tmp_path):
    keys = "points = [[1, 2]]\nbottom = -5\n"
    plain = read(tmp_path, pass_text("drill", keys, tool=4)).moves
    waits = read(tmp_path, pass_text("drill", keys + "dwell = 0.5\n", tool=4)).moves
    np.testing.assert_array_equal(plain.end, waits.end)


def test_a_bolt_circle_measured(tmp_path):
    """Points of 118 degrees under cylinders of 3: (3 / 2) / tan 59 lower in the middle."""
    keys = "pattern = { circle = { center = [1, 0], diameter = 16, count = 6 }, skip = [4] }\nbottom = -4\n"
    job = pass_job(tmp_path, pass_text("drill", keys), [tool(1, "drill", 3.0, SIG=118.0)])
    angles = np.radians(60.0 * np.arange(6))
    middles = np.column_stack([1 + 8 * np.cos(angles), 8 * np.sin(angles)])
    found = heights(job, [tuple(p) for p in middles.tolist()])
    np.testing.assert_allclose(found, [-4, -4, -4, 0, -4, -4], rtol=0, atol=1e-9)
    off = heights(job, [(middles[1, 0] + 0.9, middles[1, 1])])[0]
    assert off == pytest.approx(-4 + 0.9 / math.tan(math.radians(59)), abs=1e-9)


GRID = "grid = { low = [0, 0], spacing = [10, 5], columns = 3, rows = 2 }"
BAD = {
    "neither": (DEEP, "passes[1].points: or pattern, exactly one of them, is needed; it has none"),
    "both": (f"{DEEP}points = [[0, 0]]\npattern = {{ {GRID} }}\n", "passes[1].points: or pattern, exactly one of them, is needed; it has both"),
    "no pattern": (f"{DEEP}pattern = {{}}\n", "passes[1].pattern: needs exactly one of circle, grid, line; it has none"),
    "two patterns": (f"{DEEP}pattern = {{ {GRID}, line = {{ from = [0, 0], to = [1, 1], count = 2 }} }}\n", "passes[1].pattern: needs exactly one of circle, grid, line; it has grid and line"),
    "skip too many": (f"{DEEP}pattern = {{ {GRID}, skip = [7] }}\n", "passes[1].pattern.skip: 7 is over the count of holes, 6"),
    "skip all": (f"{DEEP}pattern = {{ line = {{ from = [0, 0], to = [1, 1], count = 2 }}, skip = [1, 2] }}\n", "passes[1].pattern.skip: leaves no hole"),
    "line of one place": (f"{DEEP}pattern = {{ line = {{ from = [0, 0], to = [0, 0], count = 2 }} }}\n", "passes[1].pattern: holes 1 and 2 are both at (0.000, 0.000) mm"),
    "line of one hole": (f"{DEEP}pattern = {{ line = {{ from = [0, 0], to = [1, 0], count = 1 }} }}\n", "passes[1].pattern.line.count: 1 is below 2"),
    "grid of no spacing": (f"{DEEP}pattern = {{ grid = {{ low = [0, 0], spacing = [10, 0], columns = 3, rows = 2 }} }}\n", "passes[1].pattern.grid.spacing[2]: 0 puts holes at one place"),
    "grid too large": (f"{DEEP}pattern = {{ grid = {{ low = [0, 0], spacing = [1, 1], columns = 101, rows = 100 }} }}\n", "passes[1].pattern.grid: would have 10100 holes; at most 10000 are made"),
    "circle more than once": (f"{DEEP}pattern = {{ circle = {{ center = [0, 0], diameter = 9, count = 5, angle_increment = 90 }} }}\n", "passes[1].pattern.circle.angle_increment: 5 holes 90 degrees apart run round more than once"),
    "circle of no step": (f"{DEEP}pattern = {{ circle = {{ center = [0, 0], diameter = 9, count = 2, angle_increment = 0 }} }}\n", "passes[1].pattern.circle.angle_increment: 0 puts all holes at one place"),
    "circle of no holes": (f"{DEEP}pattern = {{ circle = {{ center = [0, 0], diameter = 9, count = 0 }} }}\n", "passes[1].pattern.circle.count: 0 is below 1"),
    "no count": (f"{DEEP}pattern = {{ circle = {{ center = [0, 0], diameter = 9 }} }}\n", "passes[1].pattern.circle.count: is missing"),
    "chip break without pecks": (f"{DEEP}points = [[0, 0]]\nchip_break = 1\n", "passes[1].chip_break: goes with pecks; write an axial_cutting_depth"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    keys, says = BAD[case]
    with pytest.raises(JobError) as caught:
        read(tmp_path, pass_text("drill", keys, tool=4))
    assert says in str(caught.value)
