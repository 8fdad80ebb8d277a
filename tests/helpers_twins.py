"""Twins for rules of findings: what some rules say of a job; programs with one line changed."""

from __future__ import annotations

import importlib
from typing import Any

import proud
import pytest
from proud.findings.base import Finding
from proud.findings.case import Case

THOU = 0.0254
TENTH = 0.1 * THOU
"""How near a size must be, mm."""


def found(job: proud.Job, module: str, *, run: bool = False) -> list[Finding]:
    """Return what the rules of a module find; `run`: they also want the job's result."""
    result: Any = job.run() if run else None
    case = Case(job, result)
    rules = importlib.import_module(f"proud.findings.{module}").RULES
    rows = [f for rule in rules for f in rule.find(case)]
    for row in rows:
        assert row.as_dict(job.unit)["rule"] == row.rule
        assert row.rule in rules[0].titles
    return rows


def one(job: proud.Job, rule: str, size: float, module: str) -> Finding:
    """Return the only finding of a module's rules, its size (mm) right to 0.1 thou."""
    (finding,) = found(job, module)
    assert finding.rule == rule
    assert finding.size == pytest.approx(size, abs=TENTH)
    return finding


def with_line(text: str, line: int, new: str) -> str:
    """Return a program with one of its lines, counted from 1, written anew."""
    lines = text.split("\n")
    lines[line - 1] = new
    return "\n".join(lines)
