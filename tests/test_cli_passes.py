"""The real command ``proud passes``: hand values, JSON keys, the program it writes, bad input."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import json
import math

import ezdxf
import pytest
from conftest import ROOT, assert_quiet

DEMO = ROOT / "demo_parts" / "first_try"
TOP = ["unit", "passes", "length", "rapid_length", "seconds", "notes"]
ROW = [
    "pass", "tool", "tool_name", "name", "operation", "length", "rapid_length", "seconds", "lowest",
    "least_wall_left", "least_floor_left", "from_line", "to_line",
]  # fmt: skip

JOB = """\
[job]
title = "Plate"
unit = "mm"

[stock]
shape = "block"
low = [-30, -30, -12]
high = [30, 30, 0]

[offsets]
D1 = 0.02
H1 = 1

[[tools]]
number = 1
name = "flat 6"
shape = "flat"
DC = 6

[[tools]]
number = 2
name = "drill 5"
shape = "drill"
DC = 5
SIG = 118

[[tools]]
number = 3
name = "ball 6"
shape = "ball"
DC = 6

[[setups]]
passes = "passes.toml"
"""
PASSES = """\
[[passes]]
name = "Ring"
tool = 1
operation = "contour"
feed = 300
plunge_feed = 100
spindle = 5000
side = "inside"
circle = { center = [0, 0], diameter = 26 }
bottom = -4
allowance_bottom = 0.3
allowance_side = 0.1
axial_cutting_depth = 2

[[passes]]
name = "Holes"
tool = 2
operation = "drill"
feed = 60
points = [[20, 0], [-20, 0]]
bottom = -6
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "job.toml").write_text(JOB)
    (tmp_path / "passes.toml").write_text(PASSES)
    return tmp_path


def rows_of(done) -> dict:
    assert_quiet(done)
    rows = json.loads(done.stdout)
    assert list(rows) == TOP
    for row in rows["passes"]:
        assert list(row) == ROW
    return rows


def test_hand_values(command_inside, folder):
    """Two levels on a circle of R 13 - 3 - 0.02 - 0.1; plunges from 1 over the metal at 100.

    H1 is 1 mm off: it moves nothing here, since all is as written.
    """
    rows = rows_of(command_inside("passes", folder / "job.toml", "--json"))
    ring, holes = rows["passes"]
    radius = 13 - 3 - 0.02 - 0.1
    plunges, around = 1 + 2 + (1 + 1.7), 2 * 2 * math.pi * radius
    assert (ring["pass"], ring["tool"], ring["tool_name"], ring["name"], ring["operation"]) == (
        1,
        1,
        "flat 6",
        "Ring",
        "contour",
    )
    assert ring["length"] == pytest.approx(plunges + around, abs=1e-9)
    assert ring["seconds"] == pytest.approx(60 * (plunges / 100 + around / 300), abs=1e-9)
    # From the plane at 5 to 1, up from -2 to 5, down to -1, up from -3.7.
    assert ring["rapid_length"] == pytest.approx(4 + 7 + 6 + 8.7, abs=1e-9)
    assert ring["lowest"] == -3.7
    assert ring["least_wall_left"] == pytest.approx(0.12, abs=1e-12)
    assert ring["least_floor_left"] == pytest.approx(0.3, abs=1e-12)
    assert (ring["from_line"], ring["to_line"]) == (1, 1)
    assert (holes["operation"], holes["least_wall_left"], holes["least_floor_left"]) == (
        "drill",
        None,
        0,
    )
    assert holes["length"] == pytest.approx(2 * 7)
    assert holes["seconds"] == pytest.approx(14)
    assert holes["rapid_length"] == pytest.approx(2 * 4 + 2 * 11 + 40)
    for key in ("length", "rapid_length", "seconds"):
        assert rows[key] == pytest.approx(ring[key] + holes[key])
    assert rows["notes"] == []


@pytest.mark.parametrize(
    ("keys", "wall", "floor"),
    [
        ('operation = "contour"\nside = "on"\nbottom = -1\ncircle = { center = [0, 0], diameter = 9 }', None, 0),
        ('operation = "contour"\nside = "outside"\nbottom = -1\nlift = 0.01\ncircle = { center = [0, 0], diameter = 9 }', 0.02, 0.01),
        ('operation = "contour"\nside = "inside"\naxial_cutting_depth = 1\nallowance_growth = 0.05\nallowance_side = 0.1\nbottom = -3\ncircle = { center = [0, 0], diameter = 20 }', 0.12, 0),
        ('operation = "contour"\nside = "inside"\nlevels = [{ bottom = -1, allowance_side = 0.3 }, { bottom = -2, allowance_side = 0.2 }]\nallowance_bottom = 0.5\ncircle = { center = [0, 0], diameter = 20 }', 0.22, 0.5),
        ('operation = "pocket"\nbottom = -1\nallowance_side = 0.2\nradial_cutting_depth = 2\ncircle = { center = [0, 0], diameter = 20 }', 0.2, 0),
        ('operation = "pocket"\nmilling = "side"\nbottom = -1\nallowance_side = 0.2\ncircle = { center = [0, 0], diameter = 20 }', 0.22, 0),
        ('operation = "face"\nbottom = -1\nallowance_bottom = -0.1\nradial_cutting_depth = 2\nrectangle = { low = [0, 0], high = [9, 9] }', None, -0.1),
        ('operation = "helix_bore"\nbottom = -1\nallowance_side = 0.2\npoints = [[0, 0]]\ndiameter = 10\npitch = 1', 0.22, 0),
        ('operation = "path"\nstrokes = [[[0, 0, -1], [5, 0, -1]]]', None, None),
    ],
)  # fmt: skip
def test_the_least_that_is_left(command_inside, folder, keys, wall, floor):
    """Allowances as written; the D error of 0.02 where the D register moves the path."""
    (folder / "passes.toml").write_text(f'[[passes]]\nname = "p"\ntool = 1\nfeed = 100\n{keys}\n')
    (row,) = rows_of(command_inside("passes", folder / "job.toml", "--json"))["passes"]
    assert row["least_wall_left"] == (None if wall is None else pytest.approx(wall, abs=1e-12))
    assert row["least_floor_left"] == (None if floor is None else pytest.approx(floor, abs=1e-12))


def test_the_table(command, folder):
    done = command("passes", folder / "job.toml")
    assert_quiet(done)
    lines = done.stdout.splitlines()
    assert (
        lines[0]
        == "Plate: 2 passes, 42.3 s at the programmed feeds; 144 mm at feed, 96 mm in rapids"
    )
    assert lines[-2].split() == [
        "1",
        "T1",
        "contour",
        "-3.700",
        "130",
        "26",
        "28.3",
        "s",
        "120.0",
        "µm",
        "300.0",
        "µm",
        "Ring",
    ]
    assert lines[-1].split() == [
        "2",
        "T2",
        "drill",
        "-6.000",
        "14",
        "70",
        "14.0",
        "s",
        "0.0",
        "µm",
        "Holes",
    ]
    assert max(map(len, lines)) <= 100


def test_a_program_job_is_listed_too(command_inside, plate):
    rows = rows_of(command_inside("passes", plate.path, "--json"))
    assert [(r["name"], r["operation"], r["least_wall_left"]) for r in rows["passes"]] == [
        ("FROM THE LEFT", None, None), ("FROM THE RIGHT", None, None),
    ]  # fmt: skip
    first = rows["passes"][0]
    assert first["length"] == pytest.approx(0.2 + 1.5)
    assert first["seconds"] == pytest.approx(60 * 1.7 / 20)
    assert first["lowest"] == -0.1
    assert (first["from_line"], first["to_line"]) == (8, 9)


def test_the_demo_s_list_and_program_have_the_same_passes(command_inside):
    both = [
        rows_of(command_inside("passes", DEMO / name, "--json"))["passes"]
        for name in ("job.toml", "job_passes.toml")
    ]
    assert [r["name"] for r in both[0]] == [r["name"] for r in both[1]]
    assert [r["lowest"] for r in both[0]] == pytest.approx([r["lowest"] for r in both[1]], abs=1e-4)


# -------------------------------------------------------------------------------------- --write


def test_write_and_read_back(command, command_inside, folder):
    done = command("passes", folder / "job.toml", "--write", folder / "out.nc")
    assert_quiet(done)
    assert done.stdout.splitlines()[-1].endswith(
        "out.nc: written for preview only, not proven for any machine"
    )
    text = (folder / "out.nc").read_text()
    assert text.splitlines()[1] == "(FOR PREVIEW ONLY - NOT PROVEN FOR ANY MACHINE)"
    assert "(JOB Plate)" in text
    (folder / "back.toml").write_text(JOB.replace('passes = "passes.toml"', 'program = "out.nc"'))
    rows = rows_of(command_inside("passes", folder / "back.toml", "--json"))["passes"]
    ring = rows_of(command_inside("passes", folder / "job.toml", "--json"))["passes"][0]
    assert [r["name"] for r in rows] == ["Ring", "Holes"]
    assert rows[0]["length"] == pytest.approx(ring["length"], abs=1e-3)
    assert rows[0]["lowest"] == -3.7
    # Its own preview is written over, and no half of a file is left beside.
    assert_quiet(
        command_inside("passes", folder / "job.toml", "--write", folder / "out.nc", "--quiet")
    )
    assert (folder / "out.nc").read_text() == text
    assert sorted(p.name for p in folder.iterdir() if p.name.startswith(".")) == []


def refused(done, *said) -> None:
    assert done.returncode == 2
    assert done.stdout == ""
    for text in said:
        assert text in done.stderr
    assert "Traceback" not in done.stderr


def test_a_program_that_is_no_preview_is_never_written_over(command_inside, folder):
    proven = folder / "proven.nc"
    proven.write_text("%\nO1\nM30\n%\n")
    done = command_inside("passes", folder / "job.toml", "--write", proven)
    refused(done, "is there already and is no preview written by this command")
    assert proven.read_text() == "%\nO1\nM30\n%\n"


def test_files_that_are_read_are_never_written_over(command_inside, folder):
    doc = ezdxf.new()
    doc.units = 4
    doc.modelspace().add_circle((0, 0), 9)
    doc.saveas(folder / "a.dxf")
    before = (folder / "a.dxf").read_bytes()
    keys = 'operation = "contour"\nside = "inside"\nbottom = -1\ndxf = { file = "a.dxf" }\n'
    (folder / "passes.toml").write_text(f'[[passes]]\nname = "p"\ntool = 1\nfeed = 100\n{keys}')
    for option in ("--write", "--out"):
        for name in ("job.toml", "passes.toml", "a.dxf"):
            refused(command_inside("passes", folder / "job.toml", option, folder / name), option)
    assert (folder / "a.dxf").read_bytes() == before
    (row,) = rows_of(command_inside("passes", folder / "job.toml", "--json"))["passes"]
    assert row["length"] == pytest.approx(2 + 2 * math.pi * (9 - 3 - 0.02))


def test_a_program_can_t_be_written_again(command_inside, plate):
    done = command_inside("passes", plate.path, "--write", plate.folder / "out.nc")
    refused(done, "runs the program plate.nc; only a pass list can be written as a program")
    assert not (plate.folder / "out.nc").exists()


def test_nothing_is_written_where_the_list_is_wrong(command_inside, folder):
    (folder / "passes.toml").write_text(PASSES.replace("side = ", "sid = "))
    done = command_inside("passes", folder / "job.toml", "--write", folder / "out.nc")
    refused(done, "passes[1].side: is missing", "passes[1].sid: unknown key")
    assert not (folder / "out.nc").exists()


def test_a_drawing_outside_the_job_s_folder(command_inside, folder):
    inner = folder / "job"
    inner.mkdir()
    doc = ezdxf.new()
    doc.units = 4
    doc.modelspace().add_circle((0, 0), 9)
    doc.saveas(folder / "a.dxf")
    keys = 'operation = "contour"\nside = "inside"\nbottom = -1\ndxf = { file = "../a.dxf" }\n'
    (inner / "passes.toml").write_text(f'[[passes]]\nname = "p"\ntool = 1\nfeed = 100\n{keys}')
    (inner / "job.toml").write_text(JOB)
    done = command_inside("passes", inner / "job.toml")
    refused(done, 'passes[1].dxf.file: "../a.dxf" leaves the job\'s folder', "--allow-outside")
    assert_quiet(command_inside("passes", inner / "job.toml", "--allow-outside"))
