"""Small jobs with answers worked out by hand, run through the command as a script would.

Source of every expected number unless said otherwise: plane geometry, derived.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import proud
import pytest

HEAD = "G21 G17 G90 G94 G40\n"
FLAT_10 = '[[tools]]\nnumber = 1\nshape = "flat"\nDC = 10\n'
BLOCK = 'shape = "block"\nlow = [0, 0, -10]\nhigh = [50, 30, 0]\n'
SLOT = HEAD + "T1 M6\n(A)\nG43 H1 G0 Z5\nX-10 Y15\nG1 Z-2 F100\nX60\nG0 Z5\nM30\n"
RADIUS_3_TIP = 3 / math.tan(math.radians(59))
"""Height of the point of a drill of 6 mm and 118 degrees."""


def write(
    folder: Path,
    program: str | bytes,
    *,
    stock: str = BLOCK,
    tools: str = FLAT_10,
    pitch: float = 0.5,
    unit: str = "mm",
    more: str = "",
) -> Path:
    """Write a job of one setup and its program; `more` are the last lines of the setup."""
    head = f'[job]\ntitle = "by hand"\nunit = "{unit}"\n[stock]\n{stock}[grid]\npitch = {pitch}\n'
    text = f'{head}{tools}[[setups]]\nname = "op"\nprogram = "p.nc"\n{more}'
    (folder / "job.toml").write_text(text, encoding="utf-8")
    (folder / "p.nc").write_bytes(program if isinstance(program, bytes) else program.encode())
    return folder


def command(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run `proud` in the job's folder."""
    return subprocess.run(
        [sys.executable, "-m", "proud", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def read(text: str) -> Any:
    """Return the one JSON object; NaN and Infinity, which JSON hasn't, are refused."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} in the JSON")

    return json.loads(text, parse_constant=refuse)


def run(folder: Path) -> Any:
    """Return the same object without the command, which is quicker."""
    return read(json.dumps(proud.load(folder / "job.toml").run().as_dict()))


def run_command(folder: Path, *words: str) -> Any:
    done = command(folder, "run", "job.toml", "--json", *words)
    assert (done.returncode, done.stderr) == (0, "")
    return read(done.stdout)


def levels(result: Any) -> list[tuple[float, float, int]]:
    return [(round(r["z"], 9), round(r["area"], 6), r["pass"]) for r in result["levels"]]


def test_a_slot_gives_every_key_and_type(tmp_path: Path) -> None:
    result = run_command(write(tmp_path, SLOT))
    keys = ("version", "unit", "title", "passes", "volume", "levels", "steps", "skims", "notes")
    assert tuple(result)[: len(keys)] == keys
    assert result["findings"] == []
    (row,) = result["passes"]
    assert row == {
        "pass": 1,
        "setup": "op",
        "tool": 1,
        "name": "A",
        "from_line": 6,
        "to_line": 7,
        "moves": 2,
        "length": pytest.approx(77, abs=1e-12),
        "removed": pytest.approx(1000, abs=1e-9),
    }
    assert all(type(row[k]) is int for k in ("pass", "tool", "from_line", "to_line", "moves"))
    assert result["volume"] == pytest.approx({"stock": 15000, "removed": 1000, "left": 14000})
    assert levels(result) == [(0, 1000, 0), (-2, 500, 1)]
    (step,) = result["steps"]
    assert (step["height"], step["upper_z"], step["lower_z"]) == (2, 0, -2)
    assert (step["upper_pass"], step["lower_pass"]) == (0, 1)
    assert step["length"] == pytest.approx(100, abs=1)
    assert result["skims"] == []


def test_a_full_circle_of_a_ball_in_a_tube(tmp_path: Path) -> None:
    tools = '[[tools]]\nnumber = 7\nshape = "ball"\ndiameter = "0.25in"\nflute_length = 1\n'
    stock = 'shape = "tube"\ndiameter = 4\nbore = "25.4mm"\nbottom = -1\ntop = "500 thou"\n'
    program = (
        "G20 G17 G90 G94\nT7 M6\n(GROOVE)\nG0 X1.2 Y0 S1 M3\nG43 H7 Z1.\n"
        "G1 Z.4 F10\nG2 I-1.2 J0\nG0 Z1.\nM30\n"
    )
    tools += '[offsets]\nH7 = "2 tenths"\n'
    folder = write(tmp_path, program, stock=stock, tools=tools, pitch=0.01, unit="in")
    (row,) = run(folder)["passes"]
    assert row["length"] == pytest.approx(0.6 + 2.4 * math.pi, abs=1e-12)
    radius, depth = 0.125, 0.1 - 0.0002
    cap = radius**2 * math.acos(1 - depth / radius)
    section = cap - (radius - depth) * math.sqrt(2 * radius * depth - depth**2)
    assert row["removed"] == pytest.approx(2 * math.pi * 1.2 * section, rel=5e-4)


def test_a_bull_slot(tmp_path: Path) -> None:
    tools = '[[tools]]\nnumber = 1\nshape = "bull"\nDC = 12\ncorner_radius = 1.5\n'
    result = run(write(tmp_path, SLOT.replace("Z-2", "Z-5"), tools=tools, pitch=0.1))
    section = 2 * 6 * 5 - 2 * 1.5**2 * (1 - math.pi / 4)
    assert result["volume"]["removed"] == pytest.approx(50 * section, rel=3e-4)
    assert levels(result)[1] == (-5, 450, 1)
    assert result["steps"][0]["height"] == 5


def test_drilling_in_g98_and_g99(tmp_path: Path) -> None:
    tools = '[[tools]]\nnumber = 1\nshape = "drill"\nDC = 6\nSIG = 118\n'
    program = (
        f"{HEAD}T1 M6\n(HOLES)\nG43 H1 G0 Z20\nX10 Y10\nG98 G81 Z-5 R2 F50\nG99 X20 Y10\n"
        "G83 X30 Z-5 Q2 R2\nG82 X40 Z-5 R2 P0.5\nG80\nG0 Z20\nM30\n"
    )
    folder = write(tmp_path, program, tools=tools, pitch=0.1)
    result = run(folder)
    hole = math.pi * 9 * (5 - RADIUS_3_TIP * 2 / 3)
    assert result["volume"]["removed"] == pytest.approx(4 * hole, rel=1e-3)
    traced = read(
        command(folder, "trace", "job.toml", "--from", "0,10", "--to", "50,10", "--json").stdout
    )
    wall = 5 - RADIUS_3_TIP
    places = [place for center in (10, 20, 30, 40) for place in (center - 3, center + 3)]
    assert [s["s"] for s in traced["steps"]] == pytest.approx(places, abs=1e-9)
    assert [s["jump"] for s in traced["steps"]] == pytest.approx([-wall, wall] * 4, abs=1e-9)
    assert {s["height"] for s in traced["steps"]} == {None}, "a cone has no level"


def test_both_units_both_ways_of_an_arc_and_block_delete(tmp_path: Path) -> None:
    program = (
        "%\nN1G20G17G90G40G49G80\nN2T1M6\nN3(FIRST)\nN4G00X-1.Y+.5\nN5G43H1Z1.\nN6G01Z-.1F10.\n"
        "N7G2X1.Y.5R1.\n/N8G1X1.5\nN9G0Z1.\n(SECOND)\nG91G1Z-1.2\nY-1\nG90G0Z1.\nN20G28Z0\n"
        "(METRIC)\nG21\nG0X0Y-25.4\nG43H1Z10\nG1Z-1.27F100\nG3X25.4Y-25.4R-15.\nG0Z10\nM30\n%\n"
    )
    stock = 'shape = "block"\nlow = [-2, -2, -1]\nhigh = [2, 2, 0]\n'
    tools = '[[tools]]\nnumber = 1\nshape = "flat"\ndiameter = "0.5in"\n'
    more = "block_delete = true\n"
    folder = write(tmp_path, program, stock=stock, tools=tools, pitch=0.02, unit="in", more=more)
    rows = run(folder)["passes"]
    turn = 2 * math.pi - 2 * math.asin(12.7 / 15)
    lengths = [1.1 + math.pi, 2.2, (11.27 + 15 * turn) / 25.4]
    assert [r["length"] for r in rows] == pytest.approx(lengths, abs=1e-9)
    lines = [("FIRST", 7, 8), ("SECOND", 12, 13), ("METRIC", 20, 21)]
    assert [(r["name"], r["from_line"], r["to_line"]) for r in rows] == lines


def test_errors_of_registers_and_of_the_work_zero_add_up(tmp_path: Path) -> None:
    tools = (
        FLAT_10 + '[offsets]\nH2 = "2 tenths"\nH1 = 9\nD1 = 5\nZ0 = "1 thou"\nX0 = 2\nY0 = "-1mm"\n'
    )
    folder = write(tmp_path, SLOT.replace("H1", "H2").replace("X60", "X20"), tools=tools)
    low = -2 + 0.2 * 0.0254 + 0.0254
    assert run(folder)["levels"][1]["z"] == pytest.approx(low, abs=1e-12)
    traced = read(
        command(folder, "trace", "job.toml", "--from", "0,14", "--to", "50,14", "--json").stdout
    )
    (end,) = traced["steps"]
    assert end["s"] == pytest.approx(20 + 2 + 5, abs=1e-9)
    assert (end["jump"], end["height"]) == pytest.approx((-low, -low), abs=1e-12)
    assert (end["from_pass"], end["to_pass"]) == (1, 0)


def test_a_move_from_an_unknown_place_sweeps_nothing(tmp_path: Path) -> None:
    program = HEAD + "T1 M6\n(A)\nG43 H1\nG0 X20 Y15 Z-2\nG1 X30 F100\nG0 Z5\nM30\n"
    stadium = 100 + math.pi * 25
    result = run(write(tmp_path, program, pitch=0.1))
    assert result["volume"]["removed"] == pytest.approx(2 * stadium, rel=1e-3)
    at_home = run(write(tmp_path, program, pitch=0.1, more="home = [20, 15, 5]\n"))
    assert at_home["volume"] == result["volume"]


HEADINGS = (
    HEAD + "(BEFORE)\nT1 M6\n(N1)\nG43 H1 G0 Z5\nX-10 Y5\n(LAST NAME)\nG1 Z-1 F100\n"
    "(STILL IN THE CUT)\nX60\nZ-1.5\nX-10\nG0 Z5 (NOT ALONE)\nY15\n(TWO)\n(TWO B)\nG1 Z-2\nX60\n"
    "G0 Z5\n(NEVER FEEDS)\nT1 M6\nG43 H1\n(DEEPER)\nG0 Z5\nG1 Z-2.01\nX-10\nG0 Z5\n"
    "(PROUD SAME PASS)\n(IGNORED)\nY15.5\nG1 Z-2.005\nM30\n"
)


def test_headings_make_passes_and_a_deeper_floor_is_a_skim(tmp_path: Path) -> None:
    folder = write(tmp_path, HEADINGS)
    result = run(folder)
    rows = [
        (r["pass"], r["name"], r["from_line"], r["to_line"], r["moves"]) for r in result["passes"]
    ]
    assert rows == [(1, "LAST NAME", 8, 12, 4), (2, "TWO B", 17, 18, 2), (3, "DEEPER", 25, 31, 3)]
    (skim,) = result["skims"]
    assert (skim["pass"], skim["into_pass"], skim["line"]) == (3, 2, 26)
    assert skim["depth"] == pytest.approx(0.01, abs=1e-12)
    assert skim["area"] == pytest.approx(500, abs=1e-6)
    assert run_command(folder, "--skim", "0.009")["skims"] == []


@pytest.mark.parametrize(("stop", "count"), [("2", 2), ("line:17", 2)])
def test_as_of_is_inclusive(tmp_path: Path, stop: str, count: int) -> None:
    result = run_command(write(tmp_path, HEADINGS), "--as-of", stop)
    assert [r["pass"] for r in result["passes"]] == list(range(1, count + 1))
    removed = {"2": 1750, "line:17": 750}[stop]
    assert result["volume"]["removed"] == pytest.approx(removed, abs=1e-9)


def test_a_trace_back_is_the_trace_mirrored(tmp_path: Path) -> None:
    folder = write(tmp_path, HEADINGS)
    words = ("trace", "job.toml", "--json", "--spacing", "3")
    there = read(command(folder, *words, "--from", "25,-5", "--to", "25,35").stdout)
    back = read(command(folder, *words, "--from", "25,35", "--to", "25,-5").stdout)
    assert tuple(there) == ("unit", "points", "steps")
    mirrored = [
        (40 - s["s"], s["jump"], s["height"], s["to_pass"], s["from_pass"])
        for s in reversed(back["steps"])
    ]
    assert [s["s"] for s in there["steps"]] == pytest.approx([15, 25], abs=1e-9)
    assert len(mirrored) == 2
    for step, other in zip(there["steps"], mirrored, strict=True):
        assert step["s"] == pytest.approx(other[0], abs=1e-9)
        assert (step["from_pass"], step["to_pass"]) == other[3:]
        for key, value in (("jump", other[1]), ("height", other[2])):
            assert step[key] == (None if value is None else pytest.approx(-value, abs=1e-9))
    off = {"s": 0, "x": 25, "y": -5, "z": None, "pass": None, "line": None}
    assert there["points"][0] == off


SPELLINGS = {
    "CR LF": SLOT.replace("\n", "\r\n").encode(),
    "tabs, small letters": SLOT.replace(" ", "\t").lower().encode(),
    "BOM, no end": b"\xef\xbb\xbf" + SLOT.replace("M30\n", "").encode(),
    "text after the end": (SLOT + "garbage $$ (\n").encode(),
    "leading zeros, points": SLOT.replace("G1 ", "G01.").replace("X60", "X+60.").encode(),
}


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_ways_of_writing_a_program_do_not_matter(tmp_path: Path, spelling: str) -> None:
    (row,) = run(write(tmp_path, SPELLINGS[spelling]))["passes"]
    assert (row["name"].upper(), row["from_line"], row["to_line"], row["moves"]) == ("A", 6, 7, 2)
    assert (row["length"], row["removed"]) == pytest.approx((77, 1000), abs=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("X60\n", "X6e1\n", "p.nc:7:3"),
        ("X60\n", "X[60\n", "p.nc:7:2"),
        ("X60\n", "G2 X50 Y15 I-4.99 J5.01\n", "p.nc:7"),
        ("X60\n", "X60 (abc\n", "p.nc:7:5"),
    ],
)
def test_what_cannot_be_read_leaves_files_alone(
    tmp_path: Path, old: str, new: str, says: str
) -> None:
    folder = write(tmp_path, SLOT.replace(old, new))
    kept = folder / "kept.json"
    kept.write_text("old", encoding="utf-8")
    done = command(folder, "run", "job.toml", "--json", "--out", "kept.json")
    assert (done.returncode, done.stdout, kept.read_text(encoding="utf-8")) == (2, "", "old")
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(p.name for p in folder.iterdir()) == ["job.toml", "kept.json", "p.nc"]
