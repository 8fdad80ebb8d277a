"""The real command ``proud tool``: measures as text and JSON, and the drawing."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from conftest import ROOT, assert_quiet
from proud.pictures_drafting import View, spread
from proud.pictures_tool import SIZE, draw_tool
from proud.tools import Tool

DEMO = ROOT / "demo_parts/first_try/job.toml"
PART = {"part_of_tool": str, "z_from": float, "z_to": float, "diameter_from": float,
        "diameter_to": float, "arc_radius": float, "cuts": bool, "volume": float}  # fmt: skip
KEYS = ["unit", "tool", "name", "shape", "cutting_length", "parts", "volume", "undercut"]
MORE = """
[[tools]]
number = 2
name = "lolly"
shape = "lollipop"
DC = 0.5
DN = 0.3
LU = 1.0
DMM = 0.5
LPR = 1.5
holder = [[1.0, 0.5]]

[[tools]]
number = 7
shape = "corner-rounding"
RE = 0.125
tip = 0.25
DC = 0.5

[[setups]]
"""


@pytest.fixture
def job(plate):
    """The plate with two more tools."""
    return plate.with_job("[[setups]]\n", MORE.lstrip())


def read_json(done) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    assert_quiet(done)
    return json.loads(done.stdout, parse_constant=refuse)


def test_json_is_the_contract_in_the_jobs_unit(job, command):
    """A flat of 0.5 in: a cylinder of an inch, and an inch of shank up to the holder (derived)."""
    rows = read_json(command("tool", job.path, 1, "--json"))
    assert list(rows) == KEYS
    inch = math.pi * 0.25**2
    assert [list(part) for part in rows["parts"]] == [list(PART)] * 2
    for part, label, low in zip(rows["parts"], ("side", "shank"), (0.0, 1.0), strict=True):
        assert part["part_of_tool"] == label
        assert (part["z_from"], part["z_to"]) == pytest.approx((low, low + 1), abs=1e-12)
        assert (part["diameter_from"], part["diameter_to"]) == pytest.approx((0.5, 0.5), abs=1e-12)
        assert part["arc_radius"] is None
        assert part["cuts"] == (label == "side")
        assert part["volume"] == pytest.approx(inch, rel=1e-12)
    assert rows["volume"] == pytest.approx(2 * inch, rel=1e-12)
    del rows["parts"], rows["volume"]
    assert rows == {
        "unit": "in", "tool": 1, "name": "flat 1/2", "shape": "flat",
        "cutting_length": pytest.approx(1.0, abs=1e-12), "undercut": False,
    }  # fmt: skip


def test_json_of_round_undercutting_and_endless_tools(job, command_inside):
    lolly = read_json(command_inside("tool", job.path, 2, "--json"))
    assert lolly["undercut"] is True
    assert [p["part_of_tool"] for p in lolly["parts"]] == [
        "corner", "top", "neck", "shank", "holder",
    ]  # fmt: skip
    assert [p["cuts"] for p in lolly["parts"]] == [True, True, False, False, False]
    assert lolly["cutting_length"] == pytest.approx(0.25 + 0.2, abs=1e-12)  # 3-4-5
    assert [p["arc_radius"] for p in lolly["parts"][:2]] == pytest.approx([0.25] * 2, abs=1e-12)
    cove = read_json(command_inside("tool", job.path, 7, "--json"))
    assert cove["parts"][0]["arc_radius"] == pytest.approx(-0.125, abs=1e-12)
    assert (cove["volume"], cove["cutting_length"]) == (None, None)
    assert (cove["parts"][1]["z_to"], cove["parts"][1]["volume"]) == (None, None)
    for row in (*lolly["parts"], *cove["parts"]):
        for key, kind in PART.items():
            assert type(row[key]) is kind or row[key] is None


def test_text(job, command_inside):
    done = command_inside("tool", job.path, 2)
    assert_quiet(done)
    assert done.stdout.splitlines()[:10] == [
        "T2 lolly",
        "lollipop; cuts up to 0.4500 in",
        "volume 0.5934 in³, of its cutting part 0.0636 in³",
        "",
        "From the tip up (in)",
        "            z from       to     ⌀ from       to        arc                       volume",
        "  corner    0.0000   0.2500     0.0000   0.5000    R0.2500  cuts             0.0327 in³",
        "  top       0.2500   0.4500     0.5000   0.3000    R0.2500  cuts             0.0309 in³",
        "  neck      0.4500   1.0000     0.3000   0.3000             does not cut     0.0389 in³",
        "  shank     1.0000   1.5000     0.5000   0.5000             does not cut     0.0982 in³",
    ]
    assert "      0.4500     0.1500     0.3000\n" in done.stdout
    assert done.stdout.endswith(
        "It undercuts: what its upper side cuts is seen from the side alone (probe, wall), not in "
        "the picture\nfrom above.\n"
    )
    endless = command_inside("tool", job.path, 7).stdout
    assert "corner-rounding; no cutting length given\nvolume without end" in endless
    assert "undercuts" not in endless
    assert command_inside("tool", job.path, 7, "--quiet").stdout == ""


def test_profile_steps_twice_at_one_height(job, command_inside):
    """A corner-rounding tool's cove ends at 0.375 in, the diameter of tip and two radii."""
    rows = command_inside("tool", job.path, 7).stdout.partition("Profile (in)\n")[2].splitlines()
    table = [tuple(map(float, row.split())) for row in rows[1:]]
    z, r = zip(*(row[:2] for row in table), strict=True)
    assert list(z) == sorted(z)
    for height, radius, diameter in table:
        assert diameter == pytest.approx(2 * radius, abs=1e-4)
        bow = 0.25 - math.sqrt(max(0.0, 0.125**2 - height**2))
        assert radius == pytest.approx(bow, abs=6e-5)
    assert (z[0], r[0], z[-1], r[-1]) == (0.0, 0.125, 0.125, 0.25)


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("9",), "error: no tool 9 in {job}; it has 1, 2, 7"),
        (("0",), "Error: Invalid value for 'N': 0 is not in the range x>=1."),
        (("x",), "Error: Invalid value for 'N': 'x' is not a valid integer range."),
        (("1", "--out", "tool.jpg"), "error: --out tool.jpg: does not end in .png; name a file th"),
        (("1", "--out", "no/tool.png"), "error: --out no/tool.png: there is no folder no; make it"),
    ],
)
def test_bad_input(job, command_inside, tmp_path, words, text):
    done = command_inside("tool", job.path, *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-1].startswith(text.format(job=job.path))
    assert not list((tmp_path / "here").iterdir())


def test_a_drawing_is_written_beside_json(job, command, tmp_path):
    out = tmp_path / "tool.png"
    out.write_text("old")
    rows = read_json(command("tool", job.path, 2, "--out", out, "--json"))
    assert rows["tool"] == 2
    assert out.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_every_tool_of_the_demo(command_inside, tmp_path):
    for number in range(1, 11):
        rows = read_json(command_inside("tool", DEMO, number, "--json"))
        lows = [p["z_from"] for p in rows["parts"]]
        assert lows == sorted(lows)
        assert lows[0] == 0.0
        assert rows["parts"][0]["cuts"]


# ------------------------------------------------------------------------------------- the drawing


@pytest.mark.parametrize(
    ("low", "high", "wanted", "expected"),
    [
        (0, 100, [10, 50], [10, 50]),
        (0, 100, [10, 12, 14], [10, 30, 50]),
        (0, 100, [95, 98], [80, 100]),
        (20, 100, [5, 90], [20, 90]),
    ],
)
def test_words_at_the_side_keep_apart(low, high, wanted, expected):
    assert spread(wanted, 20, low, high) == expected


def test_a_view_is_to_scale_both_ways():
    view = View(400, 900, 10)
    assert view.x(-3) - view.x(3) == -60
    assert view.y(0) - view.y(6) == 60


def _ink(pixels: np.ndarray, limit: int = 60) -> np.ndarray:
    """Return the pixels darker than a grey, 0 to 255."""
    return pixels.sum(axis=2) < 3 * limit


def test_the_outline_lies_where_the_tool_is():
    """A flat of 10 by 20 mm, no more: its outline is a rectangle of one to two, thick."""
    tool = Tool(1, "block", "flat", 10.0, cutting_length=20.0)
    pixels = draw_tool(tool, unit="mm", title="a job")
    assert pixels.shape == (SIZE[1], SIZE[0], 3)
    ink = _ink(pixels, 110)
    assert np.array_equal(pixels, draw_tool(tool, unit="mm", title="a job")), "the same each time"
    body = ink[100:1000, 300:900]

    def thick(lines):
        """Middles of lines of three pixels or more; dimension lines are thinner."""
        runs = np.split(lines, np.flatnonzero(np.diff(lines) > 1) + 1)
        return [float(run.mean()) for run in runs if len(run) >= 3]

    left, right = thick(np.flatnonzero(body.sum(axis=0) > 600))
    top, bottom = thick(np.flatnonzero(body.sum(axis=1) > 300))
    assert (bottom - top) / (right - left) == pytest.approx(2.0, rel=0.005)


def test_cutting_part_and_shank_differ_without_colour():
    """In grey, the two have other textures: the section's hatch runs another way."""
    tool = Tool(1, "x", "flat", 10.0, cutting_length=20.0, shank_diameter=10.0, stickout=40.0)
    grey = draw_tool(tool, unit="mm").mean(axis=2)
    rows, columns = np.nonzero(_ink(draw_tool(tool, unit="mm"))[:, 400:800])
    middle = 400 + int(np.median(columns))
    low, high = rows.min(), rows.max()
    quarter = (high - low) // 4
    x = slice(middle + 12, middle + 60)
    shank = grey[low + quarter // 2 : low + quarter, x]
    cuts = grey[high - 2 * quarter : high - quarter - quarter // 2, x]
    # Level lines: rows differ, columns don't. Slanting lines: both.
    assert shank.std(axis=1).max() < 1.0
    assert shank.mean(axis=1).std() > 3.0
    assert cuts.std(axis=1).min() > 3.0


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(
    "tool",
    [
        Tool(1, "sharp", "drill", 0.4, point_angle=118.0),
        Tool(2, "wide", "flat", 400.0, cutting_length=1.0),
        Tool(3, "long", "ball", 1.0, cutting_length=2.0, neck_diameter=0.9, neck_length=200.0),
        Tool(4, "tiny corner", "bull", 100.0, corner_radius=0.001, cutting_length=10.0),
        Tool(5, "endless, held", "flat", 6.0, stickout=20.0, holder=((20.0, 10.0),)),
        Tool(6, "dovetail\x1b $x^2$ " * 9, "chamfer", 6.0, edge_angle=1.0, tip_diameter=5.9),
    ],
    ids=lambda tool: tool.name.split()[0],
)
def test_odd_tools_are_drawn(tool, unit):
    """Nothing runs into the sheet's edge, and something is drawn."""
    ink = _ink(draw_tool(tool, unit=unit))
    assert ink.sum() > 5000
    edge = np.concatenate([ink[:4].ravel(), ink[-4:].ravel(), ink[:, :4].ravel()])
    assert not edge.any()
