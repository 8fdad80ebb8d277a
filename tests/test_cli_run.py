"""The real command ``proud run``: what it prints, in which form, and what it writes."""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
from pathlib import Path

import pytest
from conftest import FLOOR_LEFT, FLOOR_RIGHT, ROOT, assert_quiet

DEMO = ROOT / "demo_parts"
CONTRACT = {
    "": {"version": str, "unit": str, "title": str, "passes": list, "volume": dict,
         "levels": list, "steps": list, "skims": list, "notes": list, "findings": list,
         "registers": dict, "least_gaps": dict, "leads": list, "seconds": float, "times": list,
         "not_looked_at": list},
    "passes": {"pass": int, "setup": str, "tool": int, "name": str, "from_line": int,
               "to_line": int, "moves": int, "length": float, "removed": float},
    "findings": {"rule": str, "severity": str, "tool": int, "pass": int, "lines": list,
                 "at": list, "size": float, "unit": str, "text": str, "why": str, "sure": str,
                 "change": dict, "then": str, "other_pass": int},
    "leads": {"tool": int, "line": int, "on": bool, "how": str, "at": list, "levels": int,
              "seen": bool, "cut_away": bool, "pass": int},
    "volume": {"stock": float, "removed": float, "left": float},
    "levels": {"z": float, "area": float, "pass": int},
    "steps": {"height": float, "upper_z": float, "lower_z": float, "upper_pass": int,
              "lower_pass": int, "at": list, "length": float},
    "skims": {"pass": int, "into_pass": int, "depth": float, "area": float, "at": list,
              "line": int},
}  # fmt: skip
"""The keys that people's scripts read, with their types."""
WITHOUT_RULES = {
    "version", "unit", "title", "passes", "volume", "levels", "steps", "skims", "notes",
}  # fmt: skip
EXACT_IN = 1e-9
"""Heights come from exact columns, rounded to 1e-10 mm."""


def no_such_number(word):
    raise AssertionError(f"{word} is no JSON")


def read_json(text: str) -> dict:
    """Return the one object that a text holds; NaN and whatever follows it are errors."""
    return json.loads(text, parse_constant=no_such_number)


def assert_contract(rows: dict, *, judged: bool = True) -> None:
    """Assert exactly the promised keys, and a plain int, float or text where one is promised.

    judged: the rules were asked.
    """
    promised = CONTRACT[""]
    if not judged:
        promised = {k: v for k, v in promised.items() if k in WITHOUT_RULES}
    assert {k: type(v) for k, v in rows.items()} == promised
    if not judged:
        return
    for item in rows["findings"]:
        kinds = {k: type(v) for k, v in item.items()}
        assert kinds.keys() - {"other_pass"} == CONTRACT["findings"].keys() - {"other_pass"}
        wrong = {k for k, v in kinds.items() if v is not CONTRACT["findings"][k]}
        assert wrong <= {"change"}
        assert item["change"] is None or set(item["change"]) == {"what", "from", "to", "seconds"}
        assert len(item["lines"]) == 2
        assert len(item["at"]) == 3
    assert [t["pass"] for t in rows["times"]] == [p["pass"] for p in rows["passes"]]
    assert math.fsum(t["seconds"] for t in rows["times"]) == pytest.approx(rows["seconds"])
    for item in rows["leads"]:
        assert {k: type(v) for k, v in item.items()} == CONTRACT["leads"]
    tables = {name: rows[name] for name in ("passes", "levels", "steps", "skims")}
    for name, items in {**tables, "volume": [rows["volume"]]}.items():
        for item in items:
            assert {k: type(v) for k, v in item.items()} == CONTRACT[name], name
    for item in (*rows["steps"], *rows["skims"]):
        assert [type(v) for v in item["at"]] == [float] * 3
    assert all(type(note) is str for note in rows["notes"])


@pytest.mark.parametrize("job", ["first_try/job.toml", "second_try/job_passes.toml"])
def test_json_of_the_demo_keeps_the_contract(job, command):
    done = command("run", DEMO / job, "--json")
    assert done.returncode == 0, done.stderr
    rows = read_json(done.stdout)
    assert_contract(rows)
    assert rows["unit"] == "in"
    assert [p["pass"] for p in rows["passes"]] == list(range(1, len(rows["passes"]) + 1))
    known = {0, *(p["pass"] for p in rows["passes"])}
    assert {v["pass"] for v in rows["levels"]} <= known
    lines = len((DEMO / job).with_name("saddle.nc").read_text().splitlines())
    for p in rows["passes"]:
        assert 1 <= p["from_line"] <= p["to_line"] <= lines
        assert p["moves"] >= 1
        assert p["length"] > 0
    levels = {(v["pass"], v["z"]) for v in rows["levels"]}
    for s in rows["steps"]:
        assert {(s["upper_pass"], s["upper_z"]), (s["lower_pass"], s["lower_z"])} <= levels
        assert s["height"] == pytest.approx(s["upper_z"] - s["lower_z"], abs=EXACT_IN)
        assert s["height"] > 0
    for s in rows["skims"]:
        assert 1 <= s["into_pass"] < s["pass"]
        assert 1e-6 / 25.4 < s["depth"] <= 0.030 + EXACT_IN
    volume = rows["volume"]
    assert volume["stock"] - volume["removed"] == pytest.approx(volume["left"], rel=1e-12)
    by_pass = math.fsum(p["removed"] for p in rows["passes"])
    assert by_pass == pytest.approx(volume["removed"], rel=1e-9)
    assert len({(v["pass"], v["z"]) for v in rows["levels"]}) == len(rows["levels"])


def test_the_plate_in_numbers(plate, command):
    """Two passes from either end of one slot, the second 3 thou deeper (derived)."""
    done = command("run", plate.path, "--json")
    assert_quiet(done)
    rows = read_json(done.stdout)
    assert_contract(rows)
    assert rows["title"] == "Plate"
    first, second = rows["passes"]
    assert (first["name"], second["name"]) == ("FROM THE LEFT", "FROM THE RIGHT")
    assert [(p["tool"], p["setup"], p["moves"]) for p in rows["passes"]] == [
        (1, "first side", 2),
        (1, "first side", 2),
    ]
    assert (first["from_line"], first["to_line"]) == (8, 9)
    assert (second["from_line"], second["to_line"]) == (13, 14)
    assert first["length"] == pytest.approx(0.2 + 1.5, abs=EXACT_IN)
    assert second["length"] == pytest.approx(0.203 + 1.5, abs=EXACT_IN)
    levels = {v["pass"]: v for v in rows["levels"]}
    assert {n: v["z"] for n, v in levels.items()} == pytest.approx(
        {0: 0.0, 1: FLOOR_LEFT, 2: FLOOR_RIGHT}, abs=EXACT_IN
    )
    heights = {(s["upper_pass"], s["lower_pass"]): s["height"] for s in rows["steps"]}
    assert heights == pytest.approx(
        {(0, 1): -FLOOR_LEFT, (0, 2): -FLOOR_RIGHT, (1, 2): 0.003}, abs=EXACT_IN
    )
    (skim,) = rows["skims"]
    assert (skim["pass"], skim["into_pass"], skim["line"]) == (2, 1, 14)
    assert skim["depth"] == pytest.approx(0.003, abs=EXACT_IN)
    # The tool's circle at the end of both passes; its border is a column wide at a pitch of 0.02.
    circle, border = math.pi / 16, math.pi / 2 * 0.02
    assert skim["area"] == pytest.approx(circle, abs=border / 4)
    assert levels[1]["area"] == pytest.approx(0.5 + circle / 2 - circle, abs=border / 4)
    assert levels[2]["area"] == pytest.approx(0.5 + circle / 2, abs=border / 4)
    assert rows["volume"]["stock"] == pytest.approx(1.0, rel=1e-12)


def test_out_is_replaced_whole_and_stdout_says_the_same(plate, command, tmp_path):
    out = tmp_path / "result.json"
    out.write_text("old " * 10_000)
    out.chmod(0o640)
    done = command("run", plate.path, "--json", "--out", out)
    assert_quiet(done)
    assert read_json(out.read_text()) == read_json(done.stdout)
    assert out.stat().st_mode & 0o777 == 0o640
    link = tmp_path / "link.json"
    link.symlink_to(out)
    assert_quiet(command("run", plate.path, "--quiet", "--skim", "1 thou", "--out", link))
    assert link.is_symlink()
    assert read_json(out.read_text())["skims"] == []
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["link.json", "result.json"]


def test_quiet_says_nothing_and_json_is_said_nonetheless(plate, command_inside):
    done = command_inside("run", plate.path, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    done = command_inside("run", plate.path, "--quiet", "--json", "--fail-on", "spoils")
    assert (done.returncode, done.stderr) == (0, "")
    assert_contract(read_json(done.stdout))


def test_screen_of_a_clean_job_is_five_lines(plate, command):
    done = command("run", plate.path)
    assert_quiet(done)
    lines = done.stdout.splitlines()
    assert len(lines) == 5
    assert lines[0].startswith("Plate: nothing to change (")
    assert lines[0].endswith("; 1 step under 30.00 thou, 2 passes.")
    assert lines[1] == "Least gaps: shank over 100.00 thou"
    assert lines[2].startswith("Not looked at: how tools and part give way, runout, tram, heat")
    assert lines[-1].endswith("qualified people decide.")


def test_screen_without_findings(plate, command):
    done = command("run", plate.path, "--skip-findings")
    assert_quiet(done)
    lines = done.stdout.splitlines()
    assert lines[0] == "Plate: 1 skim, 1 step under 30.00 thou, 2 passes."
    assert "    3.00 thou  pass 2 (tool 1, FROM THE RIGHT)" in done.stdout
    assert "into the floor of pass 1 (tool 1, FROM THE LEFT);" in done.stdout
    assert "pass 1 (tool 1, FROM THE LEFT) stands proud of pass 2 (tool 1, FROM THE RIGHT);" in (
        done.stdout
    )
    assert "z -0.1000 in over -0.1030 in" in done.stdout
    assert "Passes" not in lines
    assert "To know" not in lines
    assert lines[-1].endswith("qualified people decide.")


def test_rows_fit_a_screen_and_a_narrow_one(command):
    wide = command("run", DEMO / "first_try/job.toml", "--all")
    narrow = command("run", DEMO / "first_try/job.toml", "--all", env=[("COLUMNS", "80")])
    assert max(map(len, wide.stdout.splitlines())) <= 100
    assert max(map(len, narrow.stdout.splitlines())) <= 80
    assert wide.stdout.split() == narrow.stdout.split()
    for heading in ("Steps", "Passes", "Levels", "Volume"):
        assert heading in wide.stdout.splitlines()


def test_as_of_a_pass_and_a_line(plate, command_inside):
    def asked(as_of):
        done = command_inside("run", plate.path, "--json", "--as-of", as_of)
        assert_quiet(done)
        rows = read_json(done.stdout)
        return [(p["pass"], p["moves"], p["to_line"]) for p in rows["passes"]], rows

    passes, rows = asked("1")
    assert passes == [(1, 2, 9)]
    assert [(s["upper_pass"], s["lower_pass"]) for s in rows["steps"]] == [(0, 1)]
    assert rows["skims"] == []
    assert asked("line:9")[1] == rows
    passes, rows = asked("line:13")  # down outside the stock, nothing cut yet
    assert passes == [(1, 2, 9), (2, 1, 13)]
    assert rows["passes"][1]["removed"] == 0
    assert asked("0")[0] == []
    assert asked("line:17")[1] == asked("2")[1]


def test_skim_limit_is_inclusive(plate, command_inside):
    for limit, found in (("3 thou", 1), ("0.0029999in", 0), ("0", 0), ("0.0762mm", 1)):
        done = command_inside("run", plate.path, "--json", "--skip-findings", "--skim", limit)
        assert len(read_json(done.stdout)["skims"]) == found, limit


def test_paths_are_relative_to_where_they_are_written(plate, command, tmp_path):
    done = command("run", Path("..") / "plate" / "job.toml", "--out", "here.json", "--quiet")
    assert_quiet(done)
    assert read_json((tmp_path / "here" / "here.json").read_text())["title"] == "Plate"


def test_allow_outside(plate, command_inside, tmp_path):
    plate = plate.with_job('"plate.nc"', '"../elsewhere/plate.nc"')
    (tmp_path / "elsewhere").mkdir()
    shutil.move(plate.folder / "plate.nc", tmp_path / "elsewhere" / "plate.nc")
    assert command_inside("run", plate.path, "--json").returncode == 2
    assert_quiet(command_inside("run", plate.path, "--json", "--allow-outside"))


def test_pictures_and_the_folder_named_at_the_end(plate, command, tmp_path):
    done = command("run", plate.path, "--pictures", "new/views")
    assert_quiet(done)
    folder = tmp_path / "here" / "new" / "views"
    assert sorted(p.name for p in folder.iterdir()) == ["lamp.png", "passes.png"]
    assert all(p.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for p in folder.iterdir())
    expected = ["", "Pictures", "  passes.png", "  lamp.png", "in the folder new/views"]
    assert done.stdout.splitlines()[-5:] == expected


def test_results_do_not_depend_on_threads(plate, command_inside):
    one, three = (
        command_inside("run", plate.path, "--json", "--threads", n).stdout for n in (1, 3)
    )
    assert one == three


def test_titles_and_screens_of_any_alphabet(plate, command):
    plate = plate.with_job('"Plate"', '"Plåt µ ✓"')
    done = command("run", plate.path, "--json", env=[("PYTHONIOENCODING", "ascii")])
    assert done.stdout.isascii()
    assert read_json(done.stdout)["title"] == "Plåt µ ✓"
    old_screen = [("PYTHONIOENCODING", "latin-1")]
    done = command("run", plate.path, env=old_screen, encoding="latin-1")
    assert done.returncode == 0
    assert done.stdout.startswith("Plåt µ ?: nothing to change")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_an_output_that_is_full_or_closed(plate):
    import subprocess

    words = [sys.executable, "-m", "proud", "run", str(plate.path), "--json"]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr == "error: can't write the result to the output: No space left on device\n"
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(words, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_schema_is_json_and_accepts_the_jobs(command, plate, tmp_path):
    jsonschema = pytest.importorskip("jsonschema")
    import tomllib

    done = command("schema")
    assert_quiet(done)
    schema = read_json(done.stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for path in (*DEMO.glob("*_try/job*.toml"), plate.path):
        validator.validate(tomllib.loads(path.read_text()))
    wrong = plate.with_job("DC = 0.5", "DCC = 0.5")
    assert not validator.is_valid(tomllib.loads(wrong.path.read_text()))
    assert_quiet(command("schema", "--passes", "--out", "passes.json"))
    passes = read_json((tmp_path / "here" / "passes.json").read_text())
    for path in DEMO.glob("*_try/passes.toml"):
        jsonschema.Draft202012Validator(passes).validate(tomllib.loads(path.read_text()))
