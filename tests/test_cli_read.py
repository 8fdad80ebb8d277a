"""The real command ``proud read``: its contract in JSON, the CSV of moves, text, and refusals."""

from __future__ import annotations

import csv
import gzip
import json
import math
from pathlib import Path

import pytest
from conftest import ROOT

DEMO = ROOT / "demo_parts/first_try"
HEADS = "line kind tool x0 y0 z0 x1 y1 z1 plane cx cy cz turn feed"
PROGRAM = """\
%
(T1 6MM END MILL)
G21 G90 G94
T1 M6
G0 X-30 Y0 S1000 M3
G43 H1 Z5 M8
(SLOT)
G0 Z1
G1 Z-2 F60
X30 F300
G3 X30 Y10 I0 J5
G0 Z5
M30
%
"""
"""Down 3 at 60, along 60 at 300, half a circle of radius 5 at 300, up."""


@pytest.fixture
def program(tmp_path) -> Path:
    path = tmp_path / "part.nc"
    path.write_text(PROGRAM)
    return path


def read_json(text: str) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def test_the_contract(command, program, tmp_path):
    out = tmp_path / "out.json"
    done = command("read", program, "--json", "--out", out)
    assert (done.returncode, done.stderr) == (0, "")
    rows = read_json(done.stdout)
    assert read_json(out.read_text()) == rows
    contract = ["unit", "blocks", "moves", "seconds", "tools", "feed", "rapid", "noted", "warnings"]
    assert [key for key in rows if key in contract] == contract
    assert (rows["unit"], rows["blocks"], rows["moves"]) == ("mm", 12, 6)
    assert rows["seconds"] == pytest.approx(3 + 12 + math.pi, rel=1e-14)
    (tool,) = rows["tools"]
    assert {"number", "lowest", "from_line", "to_line", "length"} <= tool.keys()
    assert (tool["number"], tool["lowest"], tool["from_line"], tool["to_line"]) == (1, -2, 9, 11)
    assert tool["length"] == pytest.approx(63 + 5 * math.pi, rel=1e-14)
    assert rows["feed"] == {"low": [-30, 0, -2], "high": [pytest.approx(35), 10, 1]}
    assert rows["rapid"] == {"low": [-30, 0, -2], "high": [30, 10, 5]}
    assert rows["noted"] == [{"line": 6, "word": "M8", "count": 1}]
    assert rows["warnings"] == []
    assert [(p["pass"], p["name"], p["from_line"], p["to_line"]) for p in rows["passes"]] == [
        (1, "SLOT", 9, 11)
    ]


def test_text(command, program):
    done = command("read", program)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == [
        "part.nc: millimetres, 12 blocks, 6 moves, 1 tool, 1 pass; 79 mm at feed, 18.1 s",
        "(at the programmed feeds; no speed is known of rapids, dwells and tool changes)",
        "",
        "Tools in order",
        "  T1   6MM END MILL; lines 9-11, lowest Z-2.000 at line 9, 79 mm, 18.1 s",
        "       feed   X-30.000 to 35.000 Y0.000 to 10.000 Z-2.000 to 1.000",
        "       rapid  X-30.000 to 30.000 Y0.000 to 10.000 Z-2.000 to 5.000",
        "",
        "Passes",
        "   1  T1 SLOT; lines 9-11, lowest Z-2.000, 79 mm, 18.1 s",
        "",
        "Noted, not acted on",
        "  M8 (line 6)",
        "",
        "To know",
        "  - without a job (--job): any tool number is taken; checks against the stock and of H are"
        " left out",
    ]
    assert command("read", program, "--quiet").stdout == ""


def test_moves_as_csv(command_inside, program, tmp_path):
    target = tmp_path / "moves.csv"
    target.write_text("old")
    done = command_inside("read", program, "--moves", target, "--quiet")
    assert done.returncode == 0, done.stderr
    with target.open(newline="", encoding="utf-8") as file:
        heads, *rows = csv.reader(file)
    assert " ".join(heads) == HEADS
    moves = [dict(zip(heads, row, strict=True)) for row in rows]
    assert [(m["line"], m["kind"]) for m in moves] == [
        ("6", "rapid"), ("8", "rapid"), ("9", "line"), ("10", "line"), ("11", "arc"),
        ("12", "rapid"),
    ]  # fmt: skip
    first, arc = moves[0], moves[4]
    assert (first["z0"], first["z1"], first["cx"], first["feed"]) == ("", "5.0", "", "")
    ends = [float(arc[key]) for key in ("x0", "y0", "z0", "x1", "y1", "z1")]
    assert ends == [30, 0, -2, 30, 10, -2]
    assert [float(arc[key]) for key in ("cx", "cy", "cz", "turn")] == [30, 5, -2, 180]
    assert {m["plane"] for m in moves} == {"17"}
    assert [m["feed"] for m in moves[2:5]] == ["60.0", "300.0", "300.0"]
    assert {m["tool"] for m in moves} == {"1"}


def test_the_csv_is_in_the_programs_unit(command_inside, tmp_path):
    path = tmp_path / "inch.nc"
    path.write_text("G20 T1 M6\nG0 X0.1 Y0.7 S1 M3\nZ0.3\nG2 X0.3 Y0.7 I0.1 J0 F8.\nM30\n")
    target = tmp_path / "moves.csv"
    done = command_inside("read", path, "--moves", target)
    assert done.returncode == 0, done.stderr
    assert target.read_text().splitlines()[2] == (
        "4,arc,1,0.1,0.7,0.3,0.3,0.7,0.3,17,0.2,0.7,0.3,-180.0,8.0"
    )


def test_with_a_job(command_inside):
    """The demo under its job: unit, tools' names, passes and remarks that were looked up in it."""
    words = ("read", DEMO / "saddle.nc", "--job", DEMO / "job.toml")
    rows = read_json(command_inside(*words, "--json").stdout)
    assert (rows["unit"], len(rows["tools"]), len(rows["passes"])) == ("in", 10, 19)
    assert rows["tools"][1]["name"] == "bull 3/4 rougher, RE 45 thou"
    assert rows["left_out"] == []
    assert {w["line"] for w in rows["warnings"]} == {346, 428, 1252, 1267}
    said = command_inside(*words).stdout
    assert "Lines of interest\n  line 346: tool 4 moves at rapid below the stock's top" in said
    assert "without a job" not in said


def test_two_demos_differ_where_they_should(command_inside):
    """With and without a job the same moves; H6's error of the job moves nothing here."""
    alone = read_json(command_inside("read", DEMO / "saddle.nc", "--json").stdout)
    words = ("read", DEMO / "saddle.nc", "--job", DEMO / "job.toml", "--json")
    with_job = read_json(command_inside(*words).stdout)
    for key in ("moves", "blocks", "seconds", "feed", "rapid", "noted"):
        assert alone[key] == with_job[key], key
    assert [t["lowest"] for t in alone["tools"]] == [t["lowest"] for t in with_job["tools"]]


def test_gzip_is_read_as_the_plain_file(command_inside, program):
    packed = program.with_suffix(".nc.gz")
    packed.write_bytes(gzip.compress(program.read_bytes()))
    plain = command_inside("read", program, "--json").stdout
    assert command_inside("read", packed, "--json").stdout == plain


# ------------------------------------------------------------------------------------- refusals


def test_errors_are_all_listed_and_nothing_is_said_on_stdout(command, tmp_path):
    bad = tmp_path / "bad.nc"
    bad.write_text("G21 T1 M6\nG0 X0 Y0 Z5 S1 M3\nG1 Z-1 F10\nG1 X1 G66\nX2\nG1 Q7 X3\nM30\n")
    target = tmp_path / "moves.csv"
    done = command("read", bad, "--json", "--moves", target)
    assert (done.returncode, done.stdout) == (2, "")
    places = [line for line in done.stderr.splitlines() if line.startswith(str(bad))]
    assert [line.split(": ")[0] for line in places] == [f"{bad}:4:7", f"{bad}:6:4"]
    assert "    G1 X1 G66\n          ^^^\n" in done.stderr
    assert not target.exists()
    assert "Traceback" not in done.stderr


def test_a_word_that_the_job_declares_harmless(command_inside, plate):
    bad = plate.with_program("X1.\nG0 Z0.1", "X1.\nM41\nG0 Z0.1")
    done = command_inside("read", bad.folder / "plate.nc", "--job", bad.path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "plate.nc:10:1: M41 is not known here" in done.stderr
    assert "accept" in done.stderr
    good = bad.with_job('program = "plate.nc"', 'program = "plate.nc"\naccept = {M41 = "low gear"}')
    done = command_inside("read", good.folder / "plate.nc", "--job", good.path, "--json")
    assert done.returncode == 0, done.stderr
    assert [n["word"] for n in read_json(done.stdout)["noted"]] == ["M41"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"\0\1\2", "is a binary file"),
        (b"G21\nG0 X1\nM30\n", "the program holds no feed move"),
        (b"", "the program holds no feed move"),
    ],
)
def test_files_that_are_no_program(text, said, command_inside, tmp_path):
    path = tmp_path / "x.nc"
    path.write_bytes(text)
    done = command_inside("read", path)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


def test_files_that_are_not_there_or_would_be_lost(command_inside, program, plate, tmp_path):
    done = command_inside("read", tmp_path / "no.nc")
    assert (done.returncode, done.stdout) == (2, "")
    assert "no.nc: the program can't be read" in done.stderr
    before = program.read_bytes()
    for option in ("--moves", "--out"):
        done = command_inside("read", program, option, program)
        assert done.returncode == 2
        assert f"{option} {program}: is a file of the job itself" in done.stderr
        done = command_inside("read", program, "--job", plate.path, option, plate.path)
        assert done.returncode == 2
    assert program.read_bytes() == before
    both = tmp_path / "both"
    done = command_inside("read", program, "--moves", both, "--out", both)
    assert done.returncode == 2
    assert not both.exists()
    done = command_inside("read", program, "--job", tmp_path / "no.toml")
    assert (done.returncode, done.stdout) == (2, "")
