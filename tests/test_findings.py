"""The frame that rules of findings stand in: order, JSON, margins of a job, and their pages."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import proud
import pytest
from click.testing import CliRunner
from proud import findings
from proud.cli.explain import command as explain
from proud.errors import Fault, JobError
from proud.findings import MARGINS, RULES, Change, Finding, Rule, find_all, page_of
from proud.findings.case import Case

DEMO = Path(__file__).parents[1] / "demo_parts" / "first_try" / "job.toml"
ONE = Finding(
    "test", "watch", 3, 2, (10, 20), (25.4, 0.0, -2.54), 0.0254, "a line", "it shows",
    change=Change("H3", 0.0, -0.0508, seconds=4.0), then="none", other_pass=1,
)  # fmt: skip


def case_of(*found: Finding, patch: pytest.MonkeyPatch) -> tuple[Finding, ...]:
    rule = Rule({"test": "a test", "other": "one more"}, lambda _: found)
    patch.setattr(findings, "RULES", {"test": rule, "other": rule})
    return find_all(None)  # type: ignore[arg-type]


def test_json_is_in_the_unit_of_the_job() -> None:
    row = ONE.as_dict("in")
    assert row["at"] == pytest.approx([1, 0, -0.1])
    assert row["size"] == pytest.approx(0.001)
    assert row["change"] == {"what": "H3", "from": 0.0, "to": pytest.approx(-0.002), "seconds": 4.0}
    assert (row["lines"], row["pass"], row["other_pass"], row["unit"]) == ([10, 20], 2, 1, "in")
    assert {"rule", "severity", "tool", "pass", "lines", "at", "size", "unit", "text"} <= row.keys()
    angle = dataclasses.replace(ONE, size=30.0, of="degrees", other_pass=None).as_dict("in")
    assert (angle["size"], angle["unit"]) == (30.0, "degrees")
    assert "other_pass" not in angle
    json.dumps(row)


def test_words_and_counts_of_a_change_stay_as_they_are() -> None:
    change = Change("direction of pass 3", "conventional", "climb", length=False, seconds=None)
    assert change.as_dict("in") == {
        "what": "direction of pass 3", "from": "conventional", "to": "climb", "seconds": None,
    }  # fmt: skip
    assert Change("repeats", None, 2.0, length=False).as_dict("in")["to"] == 2.0


def test_the_worst_comes_first_and_each_rule_runs_once(monkeypatch: pytest.MonkeyPatch) -> None:
    later = dataclasses.replace(ONE, pass_number=5)
    stop = dataclasses.replace(ONE, severity="stop", pass_number=9)
    note = dataclasses.replace(ONE, severity="note", pass_number=1, rule="other")
    assert case_of(later, note, ONE, stop, patch=monkeypatch) == (stop, ONE, later, note)


def test_a_finding_of_no_rule_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Fault, match="of no rule: stray"):
        case_of(dataclasses.replace(ONE, rule="stray"), patch=monkeypatch)


def test_every_rule_has_a_page_and_every_margin_says_why() -> None:
    for name, rule in RULES.items():
        page = page_of(name)
        assert name in page, f"the page of {name} does not name it"
        assert len(page) > 400
        assert "source" in page.lower()
        assert max(map(len, page.split("\n"))) <= 100
        assert rule.titles[name]
    for margin in MARGINS.values():
        assert margin.says
        assert margin.value >= 0


def copy_of_demo(folder: Path, margins: str) -> Path:
    text = DEMO.read_text(encoding="utf-8").replace("[[setups]]", f"{margins}\n\n[[setups]]", 1)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    for name in ("part.stl", "saddle.nc"):
        (folder / name).write_bytes((DEMO.parent / name).read_bytes())
    return folder / "job.toml"


def test_margins_of_a_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    known = {
        "near": findings.Margin("near", 0.1, "a test"),
        "share": findings.Margin("share", 1.5, "a test", ratio=True),
    }
    monkeypatch.setattr(findings, "MARGINS", known)
    path = copy_of_demo(tmp_path, '[margins]\nnear = "2 thou"\nshare = 2')
    job = proud.load(path)
    assert job.spec.margins == {"near": pytest.approx(0.0508), "share": 2.0}
    case = Case(job, None)  # type: ignore[arg-type]
    assert case.margin("near") == pytest.approx(0.0508)
    assert Case(proud.load(DEMO), None).margin("share") == 1.5  # type: ignore[arg-type]
    for wrong, text in (
        ("neer = 1", "margins.neer: unknown key; allowed here: near, share"),
        ('near = "much"', "margins.near"),
        ("near = -1", "margins.near: -1 is below 0"),
        ('share = "1 thou"', 'margins.share: "1 thou" is not a number'),
    ):
        with pytest.raises(JobError, match=text.replace(".", r"\.")):
            proud.load(copy_of_demo(tmp_path, f"[margins]\n{wrong}"))


def test_where_the_part_ends() -> None:
    job = proud.load(DEMO)
    case = Case(job, None)  # type: ignore[arg-type]
    assert case.part_bottom == pytest.approx(-0.86 * 25.4, abs=1e-4)  # of the model
    assert case.part_top == pytest.approx(0, abs=1e-4)
    bare = dataclasses.replace(job.spec, part=None)
    ends = Case(proud.Job(bare), None)  # type: ignore[arg-type]
    assert (ends.part_bottom, ends.part_top) == (float("-inf"), float("inf"))


def run_explain(*words: str) -> Any:
    return CliRunner().invoke(explain, words, catch_exceptions=True)


def test_explain_lists_rules_and_margins() -> None:
    found = run_explain()
    assert found.exit_code == 0
    for name in (*RULES, *MARGINS):
        assert name in found.output
    rows = json.loads(run_explain("--json").output)
    assert [r["rule"] for r in rows["rules"]] == list(RULES)


def test_explain_prints_a_page_and_names_the_closest() -> None:
    for name in RULES:
        assert run_explain(name).output.strip() == page_of(name).strip()
    assert "no rule 'shank-rubs'" in str(run_explain("shank-rubs").exception)
