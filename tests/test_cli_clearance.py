"""The real command ``proud clearance``: contract of its JSON, screen, files, what it refuses."""

from __future__ import annotations

import itertools
import json
import math

import pytest
from conftest import ROOT, assert_quiet
from helpers_job import Nc, tool, write_job

KEYS = ["tool", "part_of_tool", "against", "gap", "at", "pass", "line"]
T = 0.001
MILL = tool(1, "flat", 6, APMX=10, DMM=6, LPR=15) + "\nholder = [[20.0, 20.0]]"
JAW = '[[setups.fixture]]\nname = "jaw"\nlow = [{}, {}, {}]\nhigh = [{}, {}, {}]'


def read_json(text: str) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def clearance(command, folder, *words) -> dict:
    done = command("clearance", folder / "job.toml", "--json", *words)
    assert_quiet(done)
    rows = read_json(done.stdout)
    assert list(rows) == ["unit", "gaps", "notes"]
    for row in rows["gaps"]:
        assert list(row) == KEYS
        assert [type(v) for v in row["at"]] == [float] * 3
    found = [row["gap"] for row in rows["gaps"]]
    # Gaps that are alike to 1e-9 mm go by tool and part.
    assert all(a <= b + 1e-9 for a, b in itertools.pairwise(found))
    return rows


@pytest.fixture
def edge(tmp_path):
    """A tool beside the stock, its holder's edge 3 beside and 4 over the stock's, and a jaw."""
    nc = Nc(clear=30).tool(1, "run").stroke((13, -30, -11), (13, 30, -11))
    jaw = JAW.format(25, -5, -5, 30, 5, 3)
    write_job(tmp_path / "edge", nc, [MILL], high=(0, 15, 0), setup=jaw)
    return tmp_path / "edge"


def test_json_of_holder_shank_and_jaw(edge, command):
    """Corner to corner in space: hypot(3, 4); the jaw 12 off the axis (derived)."""
    rows = clearance(command, edge)
    assert rows["unit"] == "mm"
    assert rows["notes"] == []
    by = {(r["part_of_tool"], r["against"]): r for r in rows["gaps"]}
    wanted = {
        ("holder", "stock"): 5.0,
        ("holder", "jaw"): math.hypot(2, 1),
        ("shank", "stock"): 10.0,
        ("shank", "jaw"): 9.0,
        ("side", "jaw"): 9.0,
    }
    assert {k: r["gap"] for k, r in by.items()} == pytest.approx(wanted, abs=1e-7)
    at = by["holder", "stock"]["at"]
    assert (at[0], at[2]) == pytest.approx((0, 0), abs=1e-6)
    assert {r["pass"] for r in rows["gaps"]} == {1}
    nc = (edge / "op1.nc").read_text().splitlines()
    for r in rows["gaps"]:
        assert nc[r["line"] - 1].startswith("G")


def test_inch_and_mm_say_the_same(edge, command_inside):
    metric = {(r["part_of_tool"], r["against"]): r for r in clearance(command_inside, edge)["gaps"]}
    job = edge / "job.toml"
    text = job.read_text()
    tables, rest = text.split("[stock]", 1)
    lines = []
    for line in ("[stock]" + rest).splitlines():
        head, _, value = line.partition(" = ")
        bare = head in ("low", "high", "DC", "APMX", "DMM", "LPR", "pitch", "holder")
        if bare:
            value = json.dumps(_over(json.loads(value), 25.4))
        lines.append(f"{head} = {value}" if value else line)
    job.write_text(tables.replace('"mm"', '"in"') + "\n".join(lines) + "\n")
    rows = clearance(command_inside, edge)
    assert rows["unit"] == "in"
    assert {(r["part_of_tool"], r["against"]) for r in rows["gaps"]} == set(metric)
    for r in rows["gaps"]:
        other = metric[r["part_of_tool"], r["against"]]
        assert r["gap"] * 25.4 == pytest.approx(other["gap"], abs=1e-8)


def _over(value, by):
    return [_over(v, by) for v in value] if isinstance(value, list) else value / by


def test_a_jaw_in_the_way(tmp_path, command_inside):
    """The cutter's side goes 1 mm into the jaw, the raw stock is left alone (derived)."""
    nc = Nc(clear=30).tool(1, "run").stroke((-15, 25, -5), (15, 25, -5))
    jaw = JAW.format(-5, 27, -9, 5, 40, 4)
    write_job(tmp_path, nc, [tool(1, "flat", 6, APMX=20)], setup=jaw)
    rows = clearance(command_inside, tmp_path)
    by = {(r["part_of_tool"], r["against"]): r["gap"] for r in rows["gaps"]}
    assert by["side", "jaw"] == pytest.approx(-1, abs=1e-6)
    assert rows["gaps"][0]["gap"] <= 0
    done = command_inside("clearance", tmp_path / "job.toml")
    assert_quiet(done)
    assert "touch" in done.stdout.splitlines()[0]
    assert "overlaps by 1.0" in done.stdout
    assert "against jaw" in done.stdout


def test_screen_lists_near_gaps_and_all(edge, command_inside):
    done = command_inside("clearance", edge / "job.toml")
    assert_quiet(done)
    first, *lines = done.stdout.splitlines()
    assert first.startswith("nothing touches; the least gap is 2.23")
    assert any("--all" in line for line in lines)
    whole = command_inside("clearance", edge / "job.toml", "--all")
    assert_quiet(whole)
    listed = [line for line in whole.stdout.splitlines() if line.startswith("  T1 ")]
    assert len(listed) == len(clearance(command_inside, edge)["gaps"])
    assert "--all" not in whole.stdout


def test_out_quiet_and_the_same_again(edge, command_inside, tmp_path):
    target = tmp_path / "gaps.json"
    done = command_inside("clearance", edge / "job.toml", "--out", target, "--quiet")
    assert_quiet(done)
    assert done.stdout == ""
    rows = read_json(target.read_text())
    assert rows == clearance(command_inside, edge)
    before = target.read_bytes()
    again = command_inside("clearance", edge / "job.toml", "--out", target, "--json")
    assert_quiet(again)
    assert target.read_bytes() == before
    assert again.stdout == target.read_text()


def test_as_of_a_pass_and_a_line(tmp_path, command_inside):
    """Upper depth 7 thou, lower 10: only the lower brings the shank beside the wall."""
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", 7, -0.2), ("lower", 10, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    mill = [tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)]
    write_job(tmp_path, nc, mill, low=(-1, -1, -0.5), high=(1, 0.2, 0), pitch=0.02, unit="in")
    (row,) = clearance(command_inside, tmp_path)["gaps"]
    assert (row["gap"], row["pass"]) == (pytest.approx(3 * T, abs=1e-8), 2)
    (early,) = clearance(command_inside, tmp_path, "--as-of", "1")["gaps"]
    assert (early["gap"], early["pass"]) == (pytest.approx(0.05, abs=1e-8), 1)
    line = row["line"] - 1
    (before,) = clearance(command_inside, tmp_path, "--as-of", f"line:{line}")["gaps"]
    assert before["gap"] > 3 * T + 1e-6
    screen = command_inside("clearance", tmp_path / "job.toml")
    assert "clears by 3.00 thou" in screen.stdout


def test_nothing_to_judge(tmp_path, command_inside):
    nc = Nc().tool(1, "slot").stroke((-8, 0, -2), (8, 1, -2))
    write_job(tmp_path, nc, [tool(1, "flat", 6)])
    rows = clearance(command_inside, tmp_path)
    assert rows["gaps"] == []
    assert len(rows["notes"]) == 1
    done = command_inside("clearance", tmp_path / "job.toml")
    assert_quiet(done)
    assert done.stdout.startswith("nothing to judge")
    assert "APMX" in done.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--as-of", "9"], "pass 9"),
        (["--as-of", "line:999"], "line 999"),
        (["--as-of", "soon"], "soon"),
        (["--out", "missing/gaps.json"], "missing"),
        (["--out", "JOB"], "job.toml"),
    ],
)
def test_words_that_cannot_be_used(edge, command_inside, words, says):
    job = edge / "job.toml"
    before = job.read_bytes()
    words = [str(job) if w == "JOB" else w for w in words]
    done = command_inside("clearance", job, *words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert job.read_bytes() == before


def test_the_demo(command_inside):
    """Every row of the demo names a line of its program and a part of one of its tools."""
    folder = ROOT / "demo_parts" / "first_try"
    rows = clearance(command_inside, folder)
    lines = len((folder / "saddle.nc").read_text().splitlines())
    assert rows["gaps"]
    for r in rows["gaps"]:
        assert r["part_of_tool"] in ("neck", "shank", "holder") or r["against"] != "stock"
        assert 1 <= r["line"] <= lines
