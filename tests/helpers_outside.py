"""Jobs as a shop writes them, in plain programs, and what is found on them, as scripts read it."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from helpers_job import tool, write_job
from proud.findings import RULES
from proud.review import review

Row = dict[str, Any]
KEYS = {"rule", "severity", "tool", "pass", "lines", "at", "size", "unit", "text", "change"}
CODE = re.compile(r"\b(None|True|False|nan|inf|numpy|array)\b|\d[eE]-\d")
"""What no machinist says."""
TENTH = 1e-4
LONG = {"APMX": 1.0, "LPR": 1.5, "ZEFF": 4.0}
HOLDER = "holder = [[1.2, 1.0]]"


def mill(register: int, diameter: float, re_thou: float = 0.0, **more: float) -> str:
    """Return an end mill with its shank as thick as its edges, and a holder."""
    words = {**LONG, "DMM": diameter, **more}
    if re_thou:
        return f"{tool(register, 'bull', diameter, RE=re_thou / 1000, **words)}\n{HOLDER}"
    return f"{tool(register, 'flat', diameter, **words)}\n{HOLDER}"


def judged(
    folder: Path, text: str, tools: Sequence[str], *, part: str, low: Sequence[float],
    high: Sequence[float], pitch: float = 0.005, material: str = "", show: str = "",
    margins: str = "", offsets: str = "", setup: str = "", unit: str = "in",
) -> list[Row]:  # fmt: skip
    """Return what is found, as JSON has it; all that holds of every finding is checked here."""
    stock = f'shape = "block"\nlow = {list(low)}\nhigh = {list(high)}'
    stock += f'\nmaterial = "{material}"' if material else ""
    stock += f"\n\n[part]\n{part}" if part else ""
    after = setup + (f'\n[[show]]\ndirection = "{show}"\n' if show else "")
    after += f"\n[margins]\n{margins}\n" if margins else ""
    job = write_job(
        folder, text, tools, stock=stock, pitch=pitch, unit=unit, offsets=offsets, setup=after
    )  # fmt: skip
    rows: list[Row] = review(job, job.run()).as_dict()["findings"]
    passes = {p.number: p for p in job.program.passes}
    for row in json.loads(json.dumps(rows)):  # plain values
        assert set(row) >= KEYS
        assert row["rule"] in RULES
        mine = job.program.moves.line[job.program.moves.pass_number == row["pass"]]
        assert mine.min() <= row["lines"][0] <= row["lines"][1] <= mine.max()
        assert passes[row["pass"]].tool == row["tool"]
        if row["change"] is not None:
            assert set(row["change"]) == {"what", "from", "to", "seconds"}
        what = row["change"]["what"] if row["change"] else ""
        for said in (row["text"], row["why"], row["then"], what):
            assert not CODE.search(said), said
    return rows


def only(rows: list[Row], rule: str, size: float, severity: str) -> Row:
    """Return the one finding, checked; a size is right to 0.1 thou, or to 0.1 of what it is."""
    assert [row["rule"] for row in rows] == [rule]
    (row,) = rows
    near = TENTH if row["unit"] == "in" else 0.1 * (1e-3 if row["unit"] == "mm" else 1)
    assert row["size"] == pytest.approx(size, abs=near)
    assert row["severity"] == severity
    return row


def change_to(register: int, name: str) -> list[str]:
    return [f"T{register} M6", f"G0 G43 H{register} Z1.", "S3000 M3", f"({name})"]


def stroke(y: float, z: float, *, x: float = 1.2) -> list[str]:
    """Along the wall with the wall on the right, from air to air."""
    return [f"G0 X{x} Y{y:.5f}", "G0 Z0.1", f"G1 Z{z:.5f} F10", f"G1 X{-x} F20", "G0 Z0.5"]


def program(*blocks: Sequence[str]) -> str:
    return "\n".join(["G20 G17 G90 G94 G40 G49", *(s for b in blocks for s in b), "M5", "M30", ""])
