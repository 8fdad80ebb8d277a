"""The real command ``proud probe``: closed forms on cut parts, CSV in and out, errors."""

from __future__ import annotations

import csv
import json
import math

import pytest
from conftest import ROOT, assert_quiet
from helpers_job import Nc, tool, write_job

DEMO = ROOT / "demo_parts"
KEYS = ["x", "y", "z", "pass", "line", "part_of_tool", "tool", "name", "at", "toward", "distance",
        "center", "touch", "normal", "note"]  # fmt: skip
EXACT = 1e-7
BISECT = math.sqrt(2) - 1


def read_json(text: str) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def probe(command, folder, *words) -> list[dict]:
    done = command("probe", folder / "job.toml", "--json", *words)
    assert_quiet(done)
    rows = read_json(done.stdout)
    assert list(rows) == ["unit", "stylus", "points"]
    for point in rows["points"]:
        assert list(point) == KEYS
    return rows["points"]


@pytest.fixture
def part(tmp_path):
    """A slot of a flat tool, one of a bull tool, two of a ball tool 1 mm apart, a bore, in mm."""
    nc = Nc().tool(1, "slot").stroke((-9, -8, -5), (9, -8, -5))
    nc.tool(2, "bull slot").stroke((0, 5, -6), (9, 5, -6))
    nc.tool(3, "scallops").stroke((16, -9, -4), (16, -12, -4)).stroke((17, -9, -4), (17, -12, -4))
    nc.tool(1, "bore").arc((-12, 6, -7), (-12, 6, -7), (-14, 6))
    tools = [tool(1, "flat", 6.0), tool(2, "bull", 12.0, RE=3.0), tool(3, "ball", 6.0)]
    write_job(tmp_path / "part", nc, tools)
    return tmp_path / "part"


CREST = -1 - math.sqrt(9 - 0.25)
"""z of the crest between balls of radius 3 at x = 16 and 17, tips at -4."""
TOUCHES = {
    # name: start, direction, as read, pass; ball of 2 mm
    "floor": ("0,-8,", "", (0, -8, -5), 1),
    "beside a wall": ("0,-6,", "", (0, -6, -5), 1),
    "wall": ("0,-8,-2", "0,1,0", (0, -5, -2), 1),
    "outside edge": ("20.6,0,5", "0,0,-1", (20.6, 0, -1 + math.sqrt(1 - 0.36)), 0),
    "corner": ("20.3,15.4,5", "0,0,-1", (20.3, 15.4, -1 + math.sqrt(0.75)), 0),
    "large fillet": ("5,0.5,5", "0,0,-1", (5, 0.5, -4 - math.sqrt(4 - 2.25)), 2),
    "scallop": ("16.2,-10,", "", (16.2, -10, -2 - math.sqrt(4 - 0.04)), 3),
    "crest": ("16.5,-10,5", "", (16.5, -10, CREST), 3),
    "round wall": ("-14,7,-4", "1,0,0", (-13 + math.sqrt(16 - 1), 7, -4), 4),
}


def test_a_ball_on_a_part_from_a_list(part, command):
    """Derived: circles against lines and circles. CSV out is CSV in, with what was read."""
    rows = ["name;x;Y;dz;z (mm);dx;dy"]
    for name, (start, toward, _, _) in TOUCHES.items():
        x, y, z = start.split(",")
        dx, dy, dz = toward.split(",") if toward else ("", "", "")
        rows.append(";".join((name, x, y, dz, z, dx, dy)))
    places, saved = part / "places.csv", part / "read.csv"
    places.write_text("\ufeff" + "\r\n".join(rows) + "\r\n\r\n", encoding="utf-8")
    words = ("--points", places, "--stylus", "2", "--save", saved)
    points = probe(command, part, *words)
    assert [p["name"] for p in points] == list(TOUCHES)
    for p, (_, _, read, number) in zip(points, TOUCHES.values(), strict=True):
        assert (p["x"], p["y"], p["z"]) == pytest.approx(read, abs=EXACT), p["name"]
        assert p["pass"] == number, p["name"]
        assert math.dist(p["center"], p["touch"]) == pytest.approx(1, abs=1e-12)
        assert math.dist(p["at"], p["center"]) == pytest.approx(p["distance"], abs=1e-9)
    parts = [p["part_of_tool"] for p in points]
    assert parts[:3] == ["bottom", "bottom", "side"]
    assert (parts[3], parts[5], parts[8]) == (None, "corner", "side")
    with saved.open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    for row, p in zip(table, points, strict=True):
        assert [float(row[f"{k} (mm)"]) for k in "xyz"] == [p[k] for k in "xyz"]
        assert row["name"] == p["name"]
        assert row["line"] == ("" if p["line"] is None else str(p["line"]))
        assert float(row["touch_z (mm)"]) == p["touch"][2]


def test_a_ball_larger_than_the_fillet_touches_floor_and_wall(part, command_inside):
    """Derived: a ball of radius 4 in a corner of radius 3 stands on floor and wall at once."""
    words = ("--at", "5,8,3", "--toward", "0,-1,-1", "--stylus", "8")
    (p,) = probe(command_inside, part, *words)
    assert p["center"] == pytest.approx([5, 3, -2], abs=EXACT)
    assert (p["y"], p["z"]) == pytest.approx((3 - 2 * math.sqrt(2), -2 - 2 * math.sqrt(2)))
    (p,) = probe(command_inside, part, "--at", "5,5,-2", "--toward", "0,-1,0", "--stylus", "8")
    assert (p["y"], p["part_of_tool"]) == (pytest.approx(-1, abs=EXACT), "side")


def test_a_point_as_of_and_raw(part, command_inside):
    (p,) = probe(command_inside, part, "--at", "0,-8")
    assert (p["x"], p["y"], p["z"], p["pass"], p["tool"]) == (0, -8, -5, 1, 1)
    assert (p["part_of_tool"], p["normal"]) == ("bottom", [0, 0, 1])
    (p,) = probe(command_inside, part, "--at", "5,5", "--as-of", "1")
    assert (p["z"], p["pass"], p["line"], p["part_of_tool"]) == (0, 0, None, None)
    (p,) = probe(command_inside, part, "--at", "50,5")
    assert [p[k] for k in ("x", "y", "z", "pass", "line")] == [None] * 5
    assert (p["note"], p["distance"], p["touch"]) == ("meets nothing", None, None)


def inch(tmp_path, nc, tools, **more):
    more = {"low": (-1, -1, -0.5), "high": (1, 0.2, 0), "pitch": 0.02, "unit": "in"} | more
    write_job(tmp_path / "job", nc, tools, **more)
    return tmp_path / "job"


def test_a_wall_pass_lifted_by_three_tenths_leaves_a_strip(tmp_path, command_inside):
    """Common practice, no source: flat tools, floor pass 3.5 thou off the wall, wall pass up."""
    nc = Nc("in", 1.0).tool(1, "floor").stroke((-2, 0.1285, -0.2), (2, 0.1285, -0.2))
    nc.tool(1, "wall").stroke((-2, 0.125, -0.1997), (2, 0.125, -0.1997))
    folder = inch(tmp_path, nc, [tool(1, "flat", 0.25)])
    places = folder / "p.csv"
    places.write_text("x,y\n0,0.1 thou\n0,3.4 thou\n0,0.0036\n0,-0.1 thou\n")
    points = probe(command_inside, folder, "--points", places)
    found = [(p["z"], p["pass"]) for p in points]
    assert [n for _, n in found] == [2, 2, 1, 0]
    assert [z for z, _ in found] == pytest.approx([-0.1997, -0.1997, -0.2, 0], abs=1e-10)
    assert found[1][0] - found[2][0] == pytest.approx(0.0003, abs=1e-10)
    (p,) = probe(command_inside, folder, "--at", "0,0.05,-0.1999", "--toward", "0,-1,0")
    assert (p["y"], p["pass"], p["part_of_tool"]) == (pytest.approx(0.0035, abs=1e-10), 1, "side")


def test_the_bisectors_of_bottom_fillets(tmp_path, command_inside):
    """Derived: a fillet of radius r stands r (sqrt 2 - 1) off its corner on the bisector."""
    nc = Nc("in", 1.0).tool(1, "rough").stroke((-2, 0.25, -0.2), (2, 0.25, -0.2))
    nc.tool(2, "finish").stroke((-2, 0.125, -0.2), (2, 0.125, -0.2))
    tools = [tool(1, "bull", 0.5, RE=0.06), tool(2, "bull", 0.25, RE=0.03)]
    folder = inch(tmp_path, nc, tools)
    words = ("--at", "0,0.15,-0.05", "--toward", "0,-1,-1")
    off = []
    for as_of, size in ((("--as-of", "1"), 0.06), ((), 0.03)):
        (p,) = probe(command_inside, folder, *words, *as_of)
        off.append(math.hypot(p["y"], p["z"] + 0.2))
        assert off[-1] == pytest.approx(size * BISECT, abs=1e-9)
        assert p["part_of_tool"] == "corner"
        assert p["normal"] == pytest.approx([0, math.sqrt(0.5), math.sqrt(0.5)], abs=1e-9)
    assert off[0] - off[1] == pytest.approx(0.0124264, abs=1e-7)


def test_on_the_screen(part, command_inside):
    done = command_inside("probe", part / "job.toml", "--at", "0in,-8mm", "--stylus", "2")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "1 place touched with stylus ball 2.000 mm",
        "  X0.0000 Y-8.0000 Z-5.0000 left by the bottom of tool 1, pass 1 (slot), line 9",
    ]
    places = part / "p.csv"
    places.write_text('x,y,name\n0,14,"a, b"\n90,0,off\n0,-8,\n')
    words = ("probe", part / "job.toml", "--points", places)
    assert command_inside(*words).stdout.splitlines() == [
        "3 places touched with a point",
        "  a, b: X0.0000 Y14.0000 Z0.0000 on the raw stock",
        "  off: from X90.0000 Y0.0000 Z25.0000 meets nothing",
        "  X0.0000 Y-8.0000 Z-5.0000 left by the bottom of tool 1, pass 1 (slot), line 9",
    ]
    done = command_inside(*words, "--quiet", "--save", part / "s.csv", "--out", part / "o.json")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert '"a, b"' in (part / "s.csv").read_text()
    assert [p["note"] for p in read_json((part / "o.json").read_text())["points"]] == [
        None, "meets nothing", None,
    ]  # fmt: skip


def test_starts_inside_the_metal(part, command_inside):
    done = command_inside("probe", part / "job.toml", "--at", "0,-8,-5.5")
    assert (done.returncode, done.stdout) == (2, "")
    assert "--at '0,-8,-5.5': starts inside the metal" in done.stderr
    done = command_inside("probe", part / "job.toml", "--at", "0,-8,-4.5", "--stylus", "2")
    assert done.returncode == 2
    assert "(ball 2.000 mm): starts inside the metal" in done.stderr
    places = part / "p.csv"
    places.write_text("x,y,z\n0,-8,-5.5\n0,-8,-4.5\n")
    points = probe(command_inside, part, "--points", places)
    assert [(p["z"], p["note"]) for p in points] == [(None, "starts inside the metal"), (-5, None)]


WRONG = {
    "x,y\n": "names its columns but holds no place",
    "": "is empty",
    "x,z\n1,2\n": "p.csv:1: no column y",
    "x,y,dzz\n1,2,3\n": "p.csv:1:5: 'dzz' is not a column of places",
    "x,y,X\n1,2,3\n": "p.csv:1:5: a second column x",
    "x (furlong),y\n1,2\n": "p.csv:1:1: 'x (furlong)' carries a unit",
    "x,y,dx (mm)\n1,2,3\n": "p.csv:1:5: 'dx (mm)' carries a unit",
    "x,y\n1, 2 cubits\n": 'p.csv:2:4: y: unknown unit "cubits"',
    "x,y\n1,2\n1\n": "p.csv:3:2: no y; every place has one",
    "x,y,z\n1,2,3,4\n": "p.csv:2:7: '4' is beyond the last column",
    "x,y,dx\n1,2,1\n": "p.csv:2:6: no z; a direction",
    "x,y,z,dx,dy,dz\n1,2,1,0,0,0\n": "p.csv:2:7: direction: points nowhere",
    "x,y,z,dz\n1,2,1,down\n": "p.csv:2:7: dz: 'down' is not a number",
    "x\ty\n1\tnan\n": "p.csv:2:3: y:",
}


@pytest.mark.parametrize("text", WRONG)
def test_lists_that_cannot_be_read(part, command_inside, text):
    places, kept = part / "p.csv", part / "kept.csv"
    places.write_text(text)
    kept.write_text("old")
    done = command_inside("probe", part / "job.toml", "--points", places, "--save", kept)
    assert (done.returncode, done.stdout, kept.read_text()) == (2, "", "old")
    assert done.stderr.startswith("error: ")
    assert WRONG[text] in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "say where to probe"),
        (("--at", "1,2", "--points", "p.csv"), "say where to probe"),
        (("--at", "1"), "write a place as X,Y or X,Y,Z"),
        (("--at", "1,two"), "--at: "),
        (("--at", "1,2", "--toward", "1,0,0"), "write X,Y,Z"),
        (("--at", "1,2,3", "--toward", "1,0"), "write a direction"),
        (("--at", "1,2,3", "--toward", "0,0,0"), "points nowhere"),
        (("--at", "1,2", "--stylus", "-2"), "is below 0"),
        (("--points", "none.csv"), "can't be read: No such file"),
        (("--at", "1,2", "--as-of", "9"), "9"),
    ],
)
def test_words_that_cannot_be_used(part, command_inside, words, says):
    done = command_inside("probe", part / "job.toml", *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_the_list_is_not_written_over(part, command_inside):
    places = part / "p.csv"
    places.write_text("x,y\n0,0\n")
    done = command_inside("probe", part / "job.toml", "--points", places, "--save", places)
    assert done.returncode == 2
    assert places.read_text() == "x,y\n0,0\n"


def test_heights_of_the_demo_are_those_of_the_trace(tmp_path, command_inside):
    """Points probed down and the line traced across the same places agree to 1e-9 in."""
    job = DEMO / "first_try"
    words = ("trace", job / "job.toml", "--from", "-1.2,-0.47", "--to", "1.2,-0.43", "--json")
    traced = read_json(command_inside(*words, "--spacing", "0.13").stdout)["points"]
    traced = [p for p in traced if p["z"] is not None]
    assert len(traced) > 10
    places = tmp_path / "places.csv"
    places.write_text("x,y\n" + "".join(f"{p['x']!r},{p['y']!r}\n" for p in traced))
    read = probe(command_inside, job, "--points", places)
    assert [p["z"] for p in read] == pytest.approx([p["z"] for p in traced], abs=1e-9)
    assert [(p["pass"], p["line"]) for p in read] == [(p["pass"], p["line"]) for p in traced]
