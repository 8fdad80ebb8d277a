"""The real command ``proud trace``: exact places and heights on a line, as text, JSON and CSV."""

from __future__ import annotations

import csv
import json
import math

import pytest
from conftest import FLOOR_LEFT, FLOOR_RIGHT, ROOT

DEMO = ROOT / "demo_parts"
POINT = {"s": float, "x": float, "y": float, "z": float, "pass": int, "line": int}
STEP = {"s": float, "x": float, "y": float, "jump": float, "height": float,
        "from_pass": int, "to_pass": int}  # fmt: skip
OFTEN_NULL = {"z", "pass", "line", "height"}
EXACT_IN = 1e-9
"""Sheets that cross at an angle or jump are found to this, and heights to 1e-10 mm."""


def read_json(text: str) -> dict:
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def assert_contract(rows: dict) -> None:
    assert list(rows) == ["unit", "points", "steps"]
    for items, kinds in ((rows["points"], POINT), (rows["steps"], STEP)):
        for item in items:
            assert list(item) == list(kinds)
            for key, value in item.items():
                assert type(value) is kinds[key] or (value is None and key in OFTEN_NULL), key


def trace(command, plate, start, stop, *more) -> dict:
    done = command("trace", plate.path, "--from", start, "--to", stop, "--json", *more)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    rows = read_json(done.stdout)
    assert_contract(rows)
    return rows


def test_along_the_slot(plate, command, tmp_path):
    """From off the stock, over the raw top's edge, along both floors and off again (derived)."""
    saved, out, picture = (tmp_path / name for name in ("cut.csv", "cut.json", "cut.png"))
    saved.write_text("old")
    more = ("--save", saved, "--picture", picture, "--spacing", "2 thou", "--out", out)
    rows = trace(command, plate, "-0.1,0.25", "2.1,0.25", *more)
    points = rows["points"]
    assert len(points) == 1101
    assert [p["s"] for p in points] == pytest.approx([0.002 * k for k in range(1101)], abs=1e-12)
    for p in points:
        on_stock = -1e-12 <= p["x"] <= 2 + 1e-12
        # The second tool's circle reaches back to x = 0.75; a place on its rim is either's.
        left = p["x"] < 0.75
        if not on_stock:
            assert (p["z"], p["pass"], p["line"]) == (None, None, None)
        elif abs(p["x"] - 0.75) > 1e-9:
            assert p["z"] == pytest.approx(FLOOR_LEFT if left else FLOOR_RIGHT, abs=EXACT_IN)
            assert (p["pass"], p["line"]) == ((1, 9) if left else (2, 14))
    (step,) = rows["steps"]
    assert step["x"] == pytest.approx(0.75, abs=EXACT_IN)
    assert step["s"] == pytest.approx(0.85, abs=EXACT_IN)
    assert step["jump"] == pytest.approx(FLOOR_RIGHT - FLOOR_LEFT, abs=EXACT_IN)
    assert step["height"] == pytest.approx(FLOOR_RIGHT - FLOOR_LEFT, abs=EXACT_IN)
    assert (step["from_pass"], step["to_pass"]) == (1, 2)
    assert read_json(out.read_text()) == rows
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert_table(saved, points)
    assert {p.name for p in tmp_path.iterdir() if p.is_file()} == {"cut.csv", "cut.json", "cut.png"}


def assert_table(saved, points) -> None:
    """Assert that the CSV holds the JSON's points, to the last digit, an empty cell for null."""
    with saved.open(newline="", encoding="utf-8") as file:
        heading, *table = csv.reader(file)
    assert heading == ["s (in)", "x (in)", "y (in)", "z (in)", "pass", "line"]
    assert saved.read_bytes().count(b"\r\n") == len(table) + 1
    kinds = (float, float, float, float, int, int)
    read = [
        tuple(kind(cell) if cell else None for kind, cell in zip(kinds, row, strict=True))
        for row in table
    ]
    assert read == [tuple(p.values()) for p in points]


def test_across_the_slot_both_ways_and_as_of(plate, command_inside):
    """Across the slot's wall at y = 0.5 up to the raw top: 0.103, or 0.1 as of pass 1 (derived)."""
    there = trace(command_inside, plate, "1.5,0.1", "1.5,0.9")["steps"]
    back = trace(command_inside, plate, "1.5,0.9", "1.5,0.1")["steps"]
    assert [(s["from_pass"], s["to_pass"]) for s in (*there, *back)] == [(2, 0), (0, 2)]
    assert there[0]["y"] == pytest.approx(0.5, abs=EXACT_IN)
    assert there[0]["jump"] == pytest.approx(0.103, abs=EXACT_IN)
    assert back[0]["jump"] == pytest.approx(-0.103, abs=EXACT_IN)
    assert back[0]["height"] == pytest.approx(-0.103, abs=EXACT_IN)
    early = trace(command_inside, plate, "1.0,0.1", "1.0,0.9", "--as-of", "1")["steps"]
    assert [(s["from_pass"], s["to_pass"]) for s in early] == [(1, 0)]
    assert early[0]["height"] == pytest.approx(0.1, abs=EXACT_IN)
    assert trace(command_inside, plate, "1.5,0.1", "1.5,0.9", "--as-of", "1")["steps"] == []


def test_places_with_units_and_text(plate, command_inside):
    done = command_inside("trace", plate.path, "--from", "0in,6.35 mm", "--to", "2in,250 thou")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "1 place where the pass changes or the surface jumps",
        "  at 0.75000 in  (X0.7500 Y0.2500) jump -3.00 thou, level to level -3.00 thou:",
        "                 pass 1 (FROM THE LEFT) to pass 2 (FROM THE RIGHT)",
    ]
    done = command_inside("trace", plate.path, "--from", "0,0.8", "--to", "2,0.8")
    assert done.stdout == "no places where the pass changes or the surface jumps\n"
    done = command_inside("trace", plate.path, "--from", "0,0.8", "--to", "2,0.8", "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_trace_over_the_demo(command_inside):
    """Places come in order, heights on the points are those of the stated levels."""
    job = DEMO / "first_try/job.toml"
    done = command_inside("trace", job, "--from", "-1.5,-0.5", "--to", "1.5,-0.45", "--json")
    assert done.returncode == 0, done.stderr
    rows = read_json(done.stdout)
    assert_contract(rows)
    places = [s["s"] for s in rows["steps"]]
    assert len(places) >= 4
    assert places == sorted(places)
    length = math.hypot(3.0, 0.05)
    assert rows["points"][-1]["s"] == pytest.approx(length, abs=1e-12)
    for s in rows["steps"]:
        assert s["from_pass"] != s["to_pass"] or s["jump"] != 0
        assert s["x"] == pytest.approx(-1.5 + s["s"] * 3.0 / length, abs=1e-12)
