"""The real command ``proud start``: jobs that run straight away, or say what they lack."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import proud
import pytest
from conftest import ROOT

DEMO = ROOT / "demo_parts"
PROGRAM = """\
%
O7 (BRACKET)
(T1 D=10. CR=0.5 - FLAT END MILL)
(T2 6MM BALL)
(T3 8.5 DRILL 140 DEG)
G21 G17 G40 G49 G80 G90 G94
G91 G28 Z0
G90
T1 M6
G0 X0 Y0 S3000 M3
G43 H1 Z20
(SLOT)
G0 Z1
G1 Z-3 F200
X60
G0 Z20
T2 M6
G0 X10 Y0 S3000 M3
G43 H12 Z20
(BALL PASS)
G1 Z-3.2 F200
X50
G0 Z20
T3 M6
G0 X5 Y20 S3000 M3
G43 H3 Z20
(HOLE)
G81 Z-8 R2 F100
G80
M30
%
"""


@pytest.fixture
def program(tmp_path) -> Path:
    path = tmp_path / "bracket.nc"
    path.write_text(PROGRAM)
    return path


def toml(path: Path) -> dict:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def checks(path: Path) -> list[str]:
    """Return the lines that are marked, without their mark's text."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.split("  # check:")[0] for line in lines if "# check:" in line]


def test_a_job_that_runs_straight_away(command, program):
    done = command("start", program)
    job = program.with_name("job.toml")
    assert (done.returncode, done.stderr) == (0, "")
    assert " ".join(done.stdout.split()) == (
        f"wrote {job}: 3 tools, 3 passes, a block of 74.00 mm x 33.30 mm x 10.00 mm; 4 lines "
        "marked # check"
    )
    rows = toml(job)
    assert rows["job"] == {"title": "bracket", "unit": "mm"}
    assert rows["tools"] == [
        {"number": 1, "name": "D=10. CR=0.5 - FLAT END MILL", "shape": "bull", "DC": 10, "RE": 0.5},
        {"number": 2, "name": "6MM BALL", "shape": "ball", "DC": 6},
        {"number": 3, "name": "8.5 DRILL 140 DEG", "shape": "drill", "DC": 8.5, "SIG": 140},
    ]
    assert rows["offsets"] == {"H1": 0, "H3": 0, "H12": 0}
    assert rows["setups"] == [{"name": "first side", "program": "bracket.nc"}]
    ran = command("run", job, "--json")
    assert ran.returncode == 0, ran.stderr
    assert [p["name"] for p in json.loads(ran.stdout)["passes"]] == ["SLOT", "BALL PASS", "HOLE"]


def test_the_block_and_the_comments(command_inside, program):
    """Cut from X0 to X60 and at Y20: the slot's tool reaches 5 aside, the drill's 4.25.

    2 mm are added in plan and below; nothing is cut at zero, so that is the top. In tenths
    outwards: y 20 + 4.25 + 2 is 26.3.
    """
    assert command_inside("start", program).returncode == 0
    job = program.with_name("job.toml")
    stock = toml(job)["stock"]
    assert (stock["shape"], stock["low"]) == ("block", [-7, -7, -10])
    assert stock["high"] == [67, 26.3, 0]
    text = job.read_text()
    assert "#   1  T1  SLOT: lines 14-15, down to Z -3.000 mm\n" in text
    assert "#   3  T3  HOLE: lines 28-28, down to Z -8.000 mm\n" in text
    assert checks(job) == ['shape = "block"', "low = [-7, -7, -10]", "high = [67, 26.3, 0]",
                           "DC = 8.5"]  # fmt: skip


@pytest.mark.parametrize(
    ("face", "top", "right"),
    [
        (0, 0.5, 67),  # faced at zero: half a millimetre stands above
        (0.7, 1.2, 67),
        (-1, 0, 99 + 5 + 2),
    ],
)
def test_the_top_of_the_block(face, top, right, command_inside, program):
    """Facing runs out over the sides: where something is cut below it, only that counts in plan."""
    program.write_text(PROGRAM.replace("G1 Z-3 F200\n", f"G1 Z{face} F200\nX99\nX0\nZ-3\n"))
    assert command_inside("start", program).returncode == 0
    stock = toml(program.with_name("job.toml"))["stock"]
    assert (stock["high"][0], stock["high"][2]) == (right, top)


@pytest.mark.parametrize("attempt", ["first_try", "second_try"])
def test_the_demos_lack_two_sizes_and_say_so(attempt, command_inside, tmp_path):
    program = tmp_path / "saddle.nc"
    program.write_bytes((DEMO / attempt / "saddle.nc").read_bytes())
    done = command_inside("start", program, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    rows = json.loads(done.stdout)
    assert [(t["number"], t["missing"]) for t in rows["tools"] if t["missing"]] == [
        (8, ["DC"]), (10, ["DC"])
    ]  # fmt: skip
    job = tmp_path / "job.toml"
    assert rows["checks"] == len(checks(job))
    assert "\n# DC =  # check: size not found in the program\n" in job.read_text()
    done = command_inside("run", job)
    assert (done.returncode, done.stdout) == (2, "")
    assert "tools[8].DC: tool 8: its diameter is missing; give DC" in done.stderr
    assert "tools[10].DC: tool 10: its diameter is missing; give DC" in done.stderr
    text = job.read_text().replace("# DC = ", "DC = 0.25")
    job.write_text(text)
    loaded = proud.load(job)
    known = proud.load(DEMO / attempt / "job.toml")
    for number, tool in known.tools.items():
        made = loaded.tools[number]
        assert (made.diameter, made.corner_radius) == (tool.diameter, tool.corner_radius), number
    assert [p.name for p in loaded.program.passes] == [p.name for p in known.program.passes]


def shop_file(folder: Path, unit: str | None = "in") -> Path:
    """Write the demo's tools as a shop's file."""
    text = (DEMO / "first_try/job.toml").read_text()
    tables = text[text.index("[[tools]]") : text.index("[[setups]]")]
    path = folder / "shop-tools.toml"
    path.write_text((f'unit = "{unit}"\n' if unit else "") + tables)
    return path


@pytest.mark.parametrize("attempt", ["first_try", "second_try"])
def test_a_shops_tool_file_counts_first(attempt, command_inside, tmp_path):
    """The demos with the job's own tools as the shop's: the new job has the very same tools."""
    (tmp_path / "parts").mkdir()
    program = tmp_path / "parts/saddle.nc"
    program.write_bytes((DEMO / attempt / "saddle.nc").read_bytes())
    done = command_inside("start", program, "--tools", shop_file(tmp_path), "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    made, known = proud.load(tmp_path / "parts/job.toml"), proud.load(DEMO / "first_try/job.toml")
    assert made.tools == known.tools
    assert [p.name for p in made.program.passes] == [
        p.name for p in proud.load(DEMO / attempt / "job.toml").program.passes
    ]
    # The demo's drawing calls T8 a spot drill; its file says a drill of 90 degrees.
    assert checks(tmp_path / "parts/job.toml")[3:] == ["number = 8"]


def test_a_shops_file_in_the_other_unit_and_of_other_sizes(command_inside, program, tmp_path):
    shop = tmp_path / "shop.toml"
    shop.write_text(
        'unit = "in"\n[[tools]]\nnumber = 1\nshape = "flat"\nDC = 0.5\nLPR = 2\nZEFF = 4\n'
        'holder = [[1.5, 1.2]]\n[[tools]]\nnumber = 3\nshape = "drill"\nDC = "8.5mm"\nSIG = 140\n'
        '[[tools]]\nnumber = 40\nshape = "flat"\nDC = 1\n'
    )
    assert command_inside("start", program, "--tools", shop).returncode == 0
    job = program.with_name("job.toml")
    assert toml(job)["tools"][0] == {
        "number": 1, "shape": "flat", "DC": "0.5 in", "LPR": "2 in", "ZEFF": 4,
        "holder": [["1.5 in", "1.2 in"]],
    }  # fmt: skip
    assert 'DC = "0.5 in"  # check: the program says "D=10. CR=0.5 - FLAT END MILL"' in (
        job.read_text()
    )
    tools = proud.load(job).tools
    assert sorted(tools) == [1, 2, 3]
    assert (tools[1].diameter, tools[1].holder, tools[3].diameter) == (12.7, ((38.1, 30.48),), 8.5)


def test_inches_work_zeros_and_registers(command_inside, tmp_path):
    program = tmp_path / "a.nc"
    program.write_text(
        "G20 G90\nT4 M6 (1/2 END MILL)\nG0 G55 X0 Y0 S900 M3\nG43 H4 Z1.\nG1 Z-.1 F9.\n"
        "G41 D24 X1.\nY1.\nG40 X2.\nG0 Z1.\nM30\n"
    )
    done = command_inside("start", program, "--json")
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)
    assert (rows["unit"], rows["h"], rows["d"], rows["passes"]) == ("in", [4], [24], 1)
    job = tmp_path / "job.toml"
    assert toml(job)["offsets"] == {"H4": 0, "D24": 0}
    assert toml(job)["setups"][0]["work_offsets"] == {"G55": [0, 0, 0]}
    assert proud.load(job).program.moves.end[:, 2].min() == pytest.approx(-2.54)


def test_a_word_declared_harmless(command_inside, program):
    program.write_text(PROGRAM.replace("(SLOT)", "M41\n(SLOT)"))
    done = command_inside("start", program)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"{program}:12:1: M41 is not known here")
    assert "[setups.accept] in a job" in done.stderr.splitlines()[-1]
    assert not program.with_name("job.toml").exists()
    done = command_inside("start", program, "--accept", 'm41=the "low" gear')
    assert done.returncode == 0, done.stderr
    job = program.with_name("job.toml")
    assert toml(job)["setups"][0]["accept"] == {"M41": 'the "low" gear'}
    assert len(proud.load(job).program.passes) == 3
    for bad in ("M41", "=why", "G1=it moves"):
        job.unlink(missing_ok=True)
        done = command_inside("start", program, "--accept", bad)
        assert (done.returncode, done.stdout) == (2, "")
        assert "--accept" in done.stderr
        assert not job.exists()


def test_never_over_a_file(command_inside, program, tmp_path):
    job = program.with_name("job.toml")
    job.write_text("mine\n")
    done = command_inside("start", program)
    assert (done.returncode, done.stdout) == (2, "")
    assert "job.toml: is there already, and is left as it is; name another by --out" in done.stderr
    assert job.read_text() == "mine\n"
    done = command_inside("start", program, "--out", tmp_path / "other.toml")
    assert done.returncode == 0, done.stderr
    assert job.read_text() == "mine\n"
    assert toml(tmp_path / "other.toml")["job"]["unit"] == "mm"


def test_a_job_above_its_program_and_never_aside_of_it(command_inside, tmp_path):
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs/nc").mkdir()
    program = tmp_path / "jobs/nc/a b.nc"
    program.write_text(PROGRAM)
    done = command_inside("start", program, "--out", tmp_path / "jobs/a.toml")
    assert done.returncode == 0, done.stderr
    assert toml(tmp_path / "jobs/a.toml")["setups"][0]["program"] == "nc/a b.nc"
    assert len(proud.load(tmp_path / "jobs/a.toml").program.passes) == 3
    (tmp_path / "aside").mkdir()
    done = command_inside("start", program, "--out", tmp_path / "aside/a.toml")
    assert (done.returncode, done.stdout) == (2, "")
    assert "a job stands beside its program" in done.stderr
    assert not list((tmp_path / "aside").iterdir())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda text: text.replace("X60", "X60 G66\nG1 Q1 X3"), ("bracket.nc:15:5", ":16:4")),
        (lambda text: "G21\nM30\n", ("holds no feed move",)),
        (lambda text: "\0\1", ("binary",)),
    ],
)
def test_a_program_with_errors_writes_nothing(change, said, command_inside, program):
    program.write_text(change(PROGRAM))
    done = command_inside("start", program)
    assert (done.returncode, done.stdout) == (2, "")
    assert all(text in done.stderr for text in said), done.stderr
    assert sorted(p.name for p in program.parent.iterdir()) == ["bracket.nc", "here"]


def test_a_tool_file_with_errors(command_inside, program, tmp_path):
    shop = tmp_path / "shop.toml"
    shop.write_text('[[tools]]\nnumber = 1\nshape = "flatt"\nDC = 1\n')
    done = command_inside("start", program, "--tools", shop)
    assert (done.returncode, done.stdout) == (2, "")
    assert f"{shop}: tools[1].shape" in done.stderr
    assert not program.with_name("job.toml").exists()


def test_names_can_hold_anything(command_inside, tmp_path):
    """Quotes, backslashes and signs of other alphabets in comments make a good TOML file still."""
    program = tmp_path / 'a"b\\c.nc'
    program.write_text(PROGRAM.replace("6MM BALL", '6MM "BALL" \\ µ # [x] \x7f'), encoding="utf-8")
    done = command_inside("start", program)
    assert done.returncode == 0, done.stderr
    assert toml(tmp_path / "job.toml")["tools"][1]["name"] == '6MM "BALL" \\ µ # [x]'
    assert len(proud.load(tmp_path / "job.toml").program.passes) == 3


def test_unknown_shapes_stand_there_to_be_filled_in(command_inside, program):
    program.write_text(PROGRAM.replace("(T2 6MM BALL)", "(T2 DOVETAIL 20MM)"))
    assert command_inside("start", program).returncode == 0
    job = program.with_name("job.toml")
    assert '# shape = "flat"  # check: shape not found in the program\nDC = 20\n' in job.read_text()
    done = command_inside("run", job)
    assert (done.returncode, done.stdout) == (2, "")
    assert "tools[2].shape: is missing" in done.stderr
