"""The real command ``proud wall``: rules of the trade, the demo's walls, CSV, picture, errors."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest
from conftest import ROOT, assert_quiet
from helpers_job import Nc, tool, write_job

DEMO = ROOT / "demo_parts"
TOP = ["unit", "least", "most", "mean", "z", "along", "length", "measured", "at_least", "at_most",
       "notes", "points"]  # fmt: skip
POINT = ["s", "x", "y", "stock", "loop", "normal", "pass", "line", "tool", "part_of_tool", "note"]
THOU = 0.001
EXACT = 1e-10
FLAT = [tool(1, "flat", 0.25, APMX=0.25)]


def read_json(text: str) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def wall(command, folder, *words) -> dict:
    done = command("wall", folder / "job.toml", "--json", *words)
    assert_quiet(done)
    rows = read_json(done.stdout)
    assert list(rows) == TOP
    assert rows["points"]
    for point in (*rows["points"], rows["at_least"], rows["at_most"]):
        assert list(point) == POINT
    found = [p["stock"] for p in rows["points"] if p["stock"] is not None]
    # The first of places that are alike to 1e-9 mm is named.
    assert (rows["least"], rows["most"]) == pytest.approx((min(found), max(found)), abs=1.1e-9)
    assert rows["least"] <= rows["mean"] + 1e-12
    assert rows["mean"] <= rows["most"] + 1e-12
    return rows


def same(rows, stock, number, abs_=EXACT) -> None:
    """Assert one stock on the whole wall, left by one pass."""
    assert [rows["least"], rows["most"], rows["mean"]] == pytest.approx([stock] * 3, abs=abs_)
    assert {p["pass"] for p in rows["points"] if p["stock"] is not None} == {number}


def along_x(*passes, unit="in"):
    """A program of passes along the wall y = 0: (name, allowance, z), tool of 0.25."""
    nc = Nc(unit, 1.0)
    for name, off, z in passes:
        nc.tool(1, name).stroke((-2, 0.125 + off, z), (2, 0.125 + off, z))
    return nc


def inch(folder, nc, tools=FLAT):
    write_job(folder, nc, tools, low=(-1, -1, -0.5), high=(1, 0.2, 0), pitch=0.02, unit="in")
    return folder


def test_the_floor_pass_is_half_a_thou_free_of_the_wall(tmp_path, command, command_inside):
    """Common practice, no source: rough leaves 3 thou, the floor pass 3.5, flat tools."""
    nc = along_x(("rough", 3 * THOU, -0.195), ("floor", 3.5 * THOU, -0.2), ("wall", 0.0, -0.2))
    folder = inch(tmp_path / "job", nc)
    same(wall(command, folder, "--z", "-0.1", "--along", "pass:3", "--as-of", "1"), 3 * THOU, 1)
    for as_of in ("1", "2"):  # what the side of the floor pass finds, and what it leaves
        rows = wall(command_inside, folder, "--z", "-0.1", "--along", "2", "--as-of", as_of)
        same(rows, -0.5 * THOU, 1)
    same(wall(command_inside, folder, "--z", "-0.1", "--along", "3", "--as-of", "2"), 3 * THOU, 1)
    foot = wall(command_inside, folder, "--z", "-0.1975", "--along", "3", "--as-of", "2")
    same(foot, 3.5 * THOU, 2)
    rows = wall(command_inside, folder, "--z", "-0.1", "--along", "pass:3")
    same(rows, 0.0, 3)
    assert rows["along"] == "the side of pass 3 (wall)"
    assert {p["part_of_tool"] for p in rows["points"] if abs(p["x"]) < 1} == {"side"}
    # The path is 4 in long, the stock 2.
    assert (rows["length"], rows["measured"]) == pytest.approx((4, 2), abs=1e-6)
    assert rows["notes"] == ["2.0000 in of the contour left out: the pass runs free here"]
    assert {p["note"] for p in rows["points"] if abs(p["x"]) > 1} == {"the pass runs free here"}


def test_staggered_allowances_at_two_heights(tmp_path, command_inside):
    """Common practice, no source: 7 thou on the upper depth, 10 on the lower; both units."""
    nc = along_x(("upper", 7 * THOU, -0.15), ("lower", 10 * THOU, -0.35))
    folder = inch(tmp_path / "job", nc)
    line = "--along=-0.9,0:0.9,0"
    same(wall(command_inside, folder, "--z", "-100 thou", line), 7 * THOU, 1)
    same(wall(command_inside, folder, "--z", "-0.2", line), 10 * THOU, 2)
    text = (folder / "job.toml").read_text()
    metric = text.replace('unit = "in"', 'unit = "mm"')
    metric = metric.replace("low = [-1.0, -1.0, -0.5]", "low = [-25.4, -25.4, -12.7]")
    metric = metric.replace("high = [1.0, 0.2, 0.0]", "high = [25.4, 5.08, 0]")
    metric = metric.replace("DC = 0.25", "DC = 6.35").replace("APMX = 0.25", "APMX = 6.35")
    assert metric.count("6.35") == 2
    (folder / "job.toml").write_text(metric)
    rows = wall(command_inside, folder, "--z", "-0.2 in", "--along=-0.9in,0:0.9in,0")
    same(rows, 0.254, 2)
    assert (rows["unit"], rows["z"]) == ("mm", pytest.approx(-5.08, abs=1e-12))


def test_everything_that_is_written(tmp_path, command):
    """A wall that steps by 3 thou at x = 0 through the round of the tool, as CSV, JSON, PNG."""
    nc = Nc("in", 1.0).tool(1, "a").stroke((-2, 0.128, -0.2), (0, 0.128, -0.2))
    nc.heading("b").stroke((0, 0.125, -0.2), (2, 0.125, -0.2))
    folder = inch(tmp_path / "job", nc)
    saved, out, picture = (tmp_path / name for name in ("w.csv", "w.json", "w.png"))
    words = ("--z", "-0.1", "--along=-0.5,0:0.5,0", "--spacing", "20 thou")
    more = ("--save", saved, "--out", out, "--picture", picture)
    rows = wall(command, folder, *words, *more)
    assert read_json(out.read_text()) == rows
    assert (rows["least"], rows["most"]) == pytest.approx((0, 3 * THOU), abs=EXACT)
    edge = -math.sqrt(0.125**2 - 0.122**2)
    assert min(abs(p["x"] - edge) for p in rows["points"]) < 5e-6
    assert {p["pass"] for p in rows["points"] if p["x"] < edge - 1e-5} == {1}
    assert {p["pass"] for p in rows["points"] if p["x"] > edge + 1e-5} == {2}
    with saved.open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    for row, p in zip(table, rows["points"], strict=True):
        for key in ("s", "x", "y", "stock"):
            assert float(row[f"{key} (in)"]) == p[key]
        assert (row["pass"], row["part_of_tool"]) == (str(p["pass"]), "side")
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert {p.name for p in tmp_path.iterdir() if p.is_file()} == {"w.csv", "w.json", "w.png"}


def test_on_the_screen(tmp_path, command_inside):
    nc = along_x(("rough", 3 * THOU, -0.2), ("finish", -0.5 * THOU, -0.3))
    folder = inch(tmp_path / "job", nc)
    words = ("wall", folder / "job.toml", "--z", "-0.1", "--along=-0.5,0:0.5,0")
    assert command_inside(*words, "--as-of", "1").stdout.splitlines() == [
        "along a line at z -0.1000 in, 1.0000 in long, as of pass 1",
        "  least   3.00 thou  stands proud at X-0.5000 Y0.0000, left by the side of tool 1,",
        "                     pass 1 (rough), line 9",
        "  most    3.00 thou  stands proud at X-0.5000 Y0.0000, left by the side of tool 1,",
        "                     pass 1 (rough), line 9",
        "  mean    3.00 thou  by length",
    ]
    said = command_inside(*words, "--as-of", "line:17").stdout
    assert "as of line 17" in said
    assert "  least  -0.50 thou  cut under at X-0.5000 Y0.0000," in said
    on = command_inside(*words[:-1], "--along=-0.5,-0.0005:0.5,-0.0005").stdout
    assert "  most    0.00 thou  on the contour at" in on
    raw = command_inside("wall", folder / "job.toml", "--z", "-0.1", "--along=-0.5,-1:0.5,-1")
    assert "  least   0.00 thou  on the contour at X-0.5000 Y-1.0000, the raw stock's face" in (
        raw.stdout
    )
    done = command_inside(*words, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_demo_parts_walls(command_inside, tmp_path):
    """Semi-finish leaves 2.2 thou on the profile, as passes.toml asks; finishing none."""
    folder = DEMO / "second_try"
    words = ("--z", "-0.3", "--along", "pass:13")
    same(wall(command_inside, folder, *words, "--as-of", "12"), 2.2 * THOU, 12, 1e-5)
    rows = wall(command_inside, folder, *words)
    same(rows, 0.0, 13, 1e-7)
    assert all(
        p["normal"][0] ** 2 + p["normal"][1] ** 2 == pytest.approx(1) for p in rows["points"]
    )
    picture = tmp_path / "part.png"
    rows = wall(command_inside, folder, "--z", "-0.3", "--along", "part", "--picture", picture)
    assert {p["loop"] for p in rows["points"]} == set(range(1, 8))
    assert rows["measured"] == pytest.approx(rows["length"], rel=1e-6)
    (note,) = rows["notes"]
    assert note.startswith("facets of the model stand up to 0.00024")
    # Walls are finished: what is left over or under is the facets of the model.
    assert max(-rows["least"], rows["most"]) < 0.00025
    assert abs(rows["mean"]) < 0.0001
    assert picture.stat().st_size > 20_000


def test_the_picture_shows_the_sign(tmp_path):
    """Over the contour the fill is warm, under it cool; without stock there is neither."""
    from proud.pictures_wall import draw_wall

    def drawn(stock):
        s = np.linspace(0, 1, 50)
        points = [
            {"s": v, "x": v, "y": 0.0, "stock": q, "loop": 1, "normal": [0.0, 1.0], "pass": 1,
             "line": 3, "tool": 1, "part_of_tool": "side", "note": None}
            for v, q in zip(s.tolist(), (stock * np.ones(50)).tolist(), strict=True)
        ]  # fmt: skip
        rows = {"unit": "in", "least": stock, "most": stock, "mean": stock, "z": -0.1,
                "along": "a line", "length": 1.0, "measured": 1.0, "at_least": points[0],
                "at_most": points[0], "notes": [], "points": points}  # fmt: skip
        pixels = draw_wall(rows, title="t", passes={1: (1, "one")}).astype(int)
        assert pixels.shape == (1060, 1600, 3)
        panel = pixels[128:548, 140:1460]
        warm = (panel[..., 0] - panel[..., 2] > 50).mean()
        cool = (panel[..., 2] - panel[..., 0] > 50).mean()
        return warm, cool

    proud, under, none = drawn(0.003), drawn(-0.003), drawn(0.0)
    assert proud[0] > 0.3 > 0.05 > proud[1]
    assert under[1] > 0.3 > 0.05 > under[0]
    assert max(none) < 0.05


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--z", "-0.1"), "--along"),
        (("--along", "1"), "--z"),
        (("--z", "-0.1", "--along", "outline"), "--along 'outline': write part"),
        (("--z", "-0.1", "--along", "0,0:1"), "--along '0,0:1': write part"),
        (("--z", "-0.1", "--along", "0,0:1,cubit"), "--along: "),
        (("--z", "-0.1", "--along", "0,0:0,0"), "has no length"),
        (("--z", "deep", "--along", "1"), "--z: "),
        (("--z", "-0.6", "--along", "1"), "--z -0.6000 in is off the stock"),
        (("--z", "-0.1", "--along", "part"), "the job has no part model"),
        (("--z", "-0.1", "--along", "pass:3"), "there is no pass 3; the last is 1"),
        (("--z", "-0.3", "--along", "1"), "pass 1 has no side at z -0.3000 in"),
        (("--z", "-0.1", "--along", "5,5:6,5"), "no metal's face within 0.2500 in of the line"),
        (("--z", "-0.1", "--along", "1", "--spacing", "0"), "--spacing '0': is not over 0"),
        (("--z", "-0.1", "--along", "1", "--reach", "-1"), "--reach '-1': is not over 0"),
        (("--z", "-0.1", "--along", "1", "--as-of", "7"), "7"),
        (("--z", "-0.1", "--along", "1", "--picture", "w.jpg"), "does not end in .png"),
    ],
)
def test_words_that_cannot_be_used(tmp_path, command_inside, words, says):
    folder = inch(tmp_path / "job", along_x(("rough", 0.0, -0.2)))
    kept = tmp_path / "kept.csv"
    kept.write_text("old")
    done = command_inside("wall", folder / "job.toml", *words, "--save", kept)
    assert (done.returncode, done.stdout, kept.read_text()) == (2, "", "old")
    assert says in done.stderr
    assert "Traceback" not in done.stderr
