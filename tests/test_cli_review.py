"""What ``proud run`` says of findings: order, words, exit codes, pictures; clean jobs are short."""

from __future__ import annotations

import json
import re

import proud
import pytest
from conftest import ROOT
from helpers_job import Nc, tool, write_job
from proud.cli.review import change_text, sum_of
from proud.findings import RULES
from proud.findings.base import Change, Finding
from proud.findings.words import quoted
from proud.review import Review, fails_on

DEMO = ROOT / "demo_parts"
PLANTED = {
    ("fillet-in-one-bite", 10, 16.8612),
    ("finisher-cuts-ledge", 11, 2.4),
    ("lead-mark", 11, 13.5),
    ("fillet-in-one-bite", 11, 22.2491),
    ("fillet-in-one-bite", 12, 16.7023),
    ("blend-step", 16, 0.6),
}
"""Rule, pass and size in thou of what the demo's first try holds; see demo_parts/saddle_design.py.

The bites are hypot(aR + RR - RF, bR + RR - RF - lift) - (RR - RF) of each pair of tools.
"""


def findings(job: str, command) -> tuple[list[dict], dict]:
    done = command("run", DEMO / job, "--json")
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)
    return rows["findings"], rows


@pytest.mark.parametrize("file", ["job.toml", "job_passes.toml"])
def test_the_first_try_gives_what_is_planted_and_no_more(command, file):
    found, _ = findings(f"first_try/{file}", command)
    got = {(f["rule"], f["pass"], round(1000 * f["size"], 4)) for f in found}
    assert {g[:2] for g in got} == {p[:2] for p in PLANTED}
    assert len(found) == len(PLANTED)
    sizes = {p[:2]: p[2] for p in PLANTED}
    for rule, number, size in got:
        assert size == pytest.approx(sizes[rule, number], abs=0.1), rule


@pytest.mark.parametrize("file", ["job.toml", "job_passes.toml"])
def test_the_second_try_gives_nothing(command, file):
    found, rows = findings(f"second_try/{file}", command)
    assert found == []
    assert rows["registers"] == {}
    assert list(rows["least_gaps"]) == ["fixture", "holder", "shank"]
    # LOWER_SIDE less UPPER_SIDE of demo_parts/saddle_design.py.
    assert rows["least_gaps"]["shank"]["gap"] == pytest.approx(0.005, abs=1e-6)
    assert rows["least_gaps"]["holder"] is None


def test_the_second_try_prints_five_lines(command):
    done = command("run", DEMO / "second_try/job.toml")
    lines = done.stdout.splitlines()
    assert len(lines) == 5
    assert lines[0].startswith("Saddle clamp, second try: nothing to change")
    assert lines[1].startswith("Least gaps: ")
    assert lines[2].startswith("Not looked at: ")
    assert " ".join(lines[3:]).startswith("Simulated, no proof of a safe program")


def test_order_on_the_screen(command, tmp_path):
    done = command("run", DEMO / "first_try/job.toml", "--pictures", tmp_path / "views")
    text = done.stdout
    marks = [
        "1 will spoil the part, 5 to watch", "[blend-step]", "[finisher-cuts-ledge]",
        "Check before starting: H6", "Least gaps: ",
        "Lead-ins and lead-outs", "Steps under 30.00 thou", "Not looked at",
        "Simulated, no proof", "Pictures",
    ]  # fmt: skip
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)
    line = next(
        n for n, said in enumerate((DEMO / "first_try/saddle.nc").read_text().split("\n"), 1)
        if said.startswith("G3 X0.35 Y-1.05 ")
    )  # fmt: skip
    assert f"lines {line}-{line + 10}: G3 X0.35 Y-1.05" in text
    assert "(front wall, middle)" in text
    assert f"change: Z of pass 11, line {line - 2} from -0.8884 in to -0.8820 in" in text
    assert "change: Z of pass 16, add +0.60 thou" in text
    for word in ("Skims", "Passes", "Levels", "Volume", "None", "True"):
        assert word not in text
    drawn = sorted(p.name for p in (tmp_path / "views").iterdir())
    assert [n for n in drawn if n.startswith("finding-")] == sorted(
        re.findall(r"^  (finding-\S+)$", text, re.MULTILINE)
    )
    assert len([n for n in drawn if n.startswith("finding-")]) == len(PLANTED)


def test_all_lists_notes_skims_passes_and_levels(command):
    text = command("run", DEMO / "second_try/job.toml", "--all").stdout
    assert "[" not in text  # no finding, not even a note
    for word in ("Skims", "Passes", "Levels", "Volume", "all of it about"):
        assert word in text


def test_pictures_of_notes_only_with_all(command_inside, tmp_path):
    """A slot whose one tool cuts its wall and its floor at once: a plunge, a note."""
    nc = Nc().tool(1, "one").stroke((-30, 0, -1), (30, 0, -1)).heading("two").stroke((0, 9, -2))
    job = write_job(tmp_path, nc, [tool(1, "flat", 6)]).spec.path
    for words, drawn in (((), []), (("--all",), ["finding-1-plunge.png"])):
        done = command_inside("run", job, *words, "--pictures", tmp_path / "views")
        assert done.returncode == 0, done.stderr
        assert sorted(p.name for p in (tmp_path / "views").glob("finding-*")) == drawn


# ------------------------------------------------------------------------------------- exit codes


def rapid_job(folder, rapid="G0 X20"):
    """Return a job whose rapid goes through the stock, 1 mm deep."""
    nc = Nc().raw("M3").tool(1, "one").down((-30, 0, -1)).raw(rapid).up()
    return write_job(folder, nc, [tool(1, "flat", 6, ZEFF=2)]).spec.path


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), 0),
        (("--fail-on", "stop"), 1),
        (("--fail-on", "note"), 1),
        (("--fail-on", "rapid-in-stock"), 1),
        (("--fail-on", "gouge"), 0),
        (("--as-of", "1", "--fail-on", "stop"), 1),
    ],
)
def test_fail_on_a_severity_or_a_rule(tmp_path, command_inside, words, code):
    done = command_inside("run", rapid_job(tmp_path), "--json", *words)
    assert done.returncode == code, done.stderr
    json.loads(done.stdout)  # the answer comes first, whole


def test_fail_on_works_beside_other_commands(tmp_path, command_inside):
    path = rapid_job(tmp_path)
    words = ("trace", path, "--from", "0,-10", "--to", "0,10", "--json")
    assert command_inside(*words).returncode == 0
    assert command_inside(*words, "--fail-on", "stop").returncode == 1
    clean = rapid_job(tmp_path / "clean", "G1 X20")
    words = ("trace", clean, "--from", "0,-10", "--to", "0,10", "--json")
    assert command_inside(*words, "--fail-on", "watch").returncode == 0


def test_a_word_that_is_neither_is_refused_with_the_nearest(tmp_path, command_inside):
    done = command_inside("run", rapid_job(tmp_path), "--fail-on", "gauge")
    assert done.returncode == 2
    assert "--fail-on 'gauge': is no severity and no rule" in done.stderr
    assert 'did you mean "gouge"?' in done.stderr


def test_what_contradicts_is_refused(tmp_path, command_inside):
    done = command_inside("run", rapid_job(tmp_path), "--fail-on", "stop", "--skip-findings")
    assert done.returncode == 2
    assert "--skip-findings" in done.stderr


def test_fails_on():
    rub = finding(severity="watch", rule="shank-rub")
    assert fails_on((rub,), "note")
    assert fails_on((rub,), "watch")
    assert not fails_on((rub,), "spoils")
    assert fails_on((rub,), "shank-rub")
    assert not fails_on((rub,), "gouge")
    assert not fails_on((), "note")
    assert "shank-rub" in RULES


# ------------------------------------------------------------------------------------------- words


def finding(**more) -> Finding:
    words = {"rule": "gouge", "severity": "spoils", "tool": 1, "pass_number": 1, "lines": (5, 6)}
    words |= {"at": (0.0, 0.0, 0.0), "size": 1.0, "text": "digs", "why": "so", **more}
    return Finding(**words)


@pytest.fixture(scope="module")
def block(tmp_path_factory) -> proud.Job:
    """A block 40 by 30 mm about the origin."""
    nc = Nc().tool(1, "one").stroke((-30, 0, -1), (30, 0, -1))
    return write_job(tmp_path_factory.mktemp("block"), nc, [tool(1, "flat", 6)])


def test_the_programs_own_line_is_quoted(block):
    line = next(
        n for n, text in enumerate((block.spec.folder / "op1.nc").read_text().split("\n"), 1)
        if text.startswith("G1 X30")
    )  # fmt: skip
    assert quoted(block, finding(lines=(line, line))) == "G1 X30 Y0 Z-1"
    assert quoted(block, finding(lines=(9999, 9999))) == ""


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (Change("H3", 0.0254 * 1.3, 0.0), "H3 from 1.30 thou to 0.00 thou"),
        (
            Change("Z of pass 2, line 9", -2.54, -2.5146, seconds=12.0),
            "Z of pass 2, line 9 from -0.1000 in to -0.0990 in; 12.0 s more a part",
        ),
        (
            Change("G4 at line 4", 1.8, "none", length=False, seconds=-1.8),
            "G4 at line 4, now 1.8: take it out; 1.8 s less a part",
        ),
        (Change("start of pass 1", "X0 Y1", "X1 Y0"), "start of pass 1 from X0 Y1 to X1 Y0"),
        (Change("F at line 4", 20.0, 10.0, length=False), "F at line 4 from 20 to 10"),
        (Change("overlap of pass 3", None, 1.27), "overlap of pass 3: 50.00 thou"),
        (Change("Z of pass 4, added", 0.0, -0.0254), "Z of pass 4, add -1.00 thou"),
        (Change("depth of pass 1", 8.0, 1.8), "depth of pass 1 from 0.3150 in to 0.0709 in"),
        (
            Change("allowance of pass 1", 2.6, 0.1),
            "allowance of pass 1 from 0.1024 in to 0.0039 in",
        ),
        (Change("stepover of pass 1", 1.2, 0.8), "stepover of pass 1 from 0.0472 in to 0.0315 in"),
    ],
)
def test_a_change_in_a_line(change, says):
    assert change_text(change, "in") == says


def test_the_sum():
    def of(*severities):
        rows = tuple(finding(severity=s) for s in severities)
        return sum_of(Review("in", rows, {}, {}, 2.54, (), {}, ()))

    assert of() == "nothing to change"
    assert of("note") == "nothing to change (1 note: --all)"
    assert of("spoils", "spoils", "spoils", "watch", "watch") == (
        "3 will spoil the part, 2 to watch"
    )
    assert of("stop", "note", "note") == "1 to stop for (2 notes: --all)"
