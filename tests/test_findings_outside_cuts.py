"""Findings from outside, the rest: moves, corners, rounds, ridges, part, air; screen, codes."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from helpers_job import tool
from helpers_outside import HOLDER, Row, change_to, judged, mill, only, program
from proud.findings import RULES

NAMES = {
    "floor-touches-wall", "wall-drags-floor", "finisher-cuts-ledge", "ledge-left",
    "fillet-in-one-bite", "lead-mark", "shank-rub", "holder-rub", "cuts-above-length",
    "fixture-near", "short-grip", "rapid-in-stock", "plunge", "spindle-stopped", "ramp-steep",
    "cut-direction", "corner-bite", "spring-pass", "depth-line", "blend-step", "scallop-high",
    "floor-marks", "sliver", "thin-wall", "gouge", "leftover", "air-cut",
}  # fmt: skip
LOW, HIGH = (-0.5, -0.6, -0.5), (0.5, 0.6, 0.0)
DEEP = "top = 0\nbottom = -0.5"
BALL = f"{tool(4, 'ball', 0.1875, APMX=0.4, DMM=0.1875, LPR=0.9, ZEFF=2)}\n{HOLDER}"


def run(folder: Path, text: str, tools: Sequence[str], **more: Any) -> list[Row]:
    return judged(folder, text, tools, **{"part": DEEP, "low": LOW, "high": HIGH, **more})


def across(*places: tuple[float, float]) -> list[str]:
    """Strokes along X at y and z, from air to air."""
    lines = []
    for y, z in places:
        lines += [f"G0 X1. Y{y:.6f}", "G0 Z0.1", f"G1 Z{z:.6f} F10", "G1 X-1. F20", "G0 Z0.5"]
    return lines


def line_of(text: str, words: str) -> int:
    return text.split("\n").index(words) + 1


# -------------------------------------------------------------------------------------------- moves

SLOT = ["G0 X1. Y0", "G0 Z0.1", "G1 Z-0.1 F10", "G1 X-1. F20", "G0 Z0.5"]


def test_a_slot_is_silent(tmp_path):
    assert run(tmp_path, program(change_to(2, "SLOT"), SLOT), [mill(2, 0.375)]) == []


def test_a_rapid_through_metal(tmp_path):
    """50 thou deep beside the slot; the cure is stated as a height."""
    text = program(change_to(2, "SLOT"), SLOT, ["G0 X1. Y0.3", "G0 Z-0.05", "G0 X-1.", "G0 Z0.5"])
    row = only(run(tmp_path / "1", text, [mill(2, 0.375)]), "rapid-in-stock", 0.05, "stop")
    line = text.split("\n").index("G0 Z-0.05") + 2
    assert row["lines"] == [line, line]
    fixed = text.replace("G0 Z-0.05", f"G0 Z{row['change']['to']}")
    assert run(tmp_path / "2", fixed, [mill(2, 0.375)]) == []


def test_the_spindle_stops_in_metal(tmp_path):
    text = program(change_to(2, "SLOT"), [*SLOT[:3], "M5", *SLOT[3:]])
    row = only(run(tmp_path, text, [mill(2, 0.375)]), "spindle-stopped", 0.1, "stop")
    assert row["lines"][0] == line_of(text, "G1 X-1. F20")


DOWN = ["G0 X0 Y0", "G0 Z0.1", "G1 Z-0.1 F5", "G1 X0.3 F20", "G0 Z0.5"]


@pytest.mark.parametrize(("says", "severity"), [("", "note"), ("false", "stop"), ("true", "")])
def test_a_plunge_on_the_axis(tmp_path, says, severity):
    cutter = mill(2, 0.375).replace(HOLDER, f"center_cutting = {says}" if says else "")
    rows = run(tmp_path, program(change_to(2, "POCKET"), DOWN), [cutter])
    assert rows == [] if not severity else only(rows, "plunge", 0.1, severity)


def test_a_plunge_into_a_drilled_hole_is_silent(tmp_path):
    drill = tool(7, "drill", 0.4, SIG=118)
    hole = [*change_to(7, "DRILL"), "G0 X0 Y0", "G99 G81 X0 Y0 Z-0.4 R0.1 F5", "G80", "G0 Z1."]
    cutter = mill(2, 0.375) + "\ncenter_cutting = false"
    text = program(hole, change_to(2, "POCKET"), DOWN)
    assert run(tmp_path, text, [drill, cutter.replace(HOLDER + "\n", "")]) == []


@pytest.mark.parametrize(("limit", "found"), [(9, True), (10, False)])
def test_a_ramp(tmp_path, limit, found):
    """0.1 down over 0.6: 9.462 degrees."""
    text = program(change_to(2, "RAMP"), ["G0 X-0.3 Y0", "G0 Z0", "G1 X0.3 Z-0.1 F10", "G1 X-0.3",
                                          "G0 Z0.5"])  # fmt: skip
    rows = run(tmp_path, text, [mill(2, 0.375, RMPX=limit)])
    if not found:
        assert rows == []
        return
    row = only(rows, "ramp-steep", math.degrees(math.atan(1 / 6)), "watch")
    assert row["change"]["to"] == pytest.approx(0.1 / math.tan(math.radians(limit)), abs=1e-3)


# ------------------------------------------------------------------------------------------ corners


def pocket(feed: float | None) -> str:
    """A pocket 0.8 by 0.6 whose corners are as round as T2 (R 0.1875), which takes 40 thou."""

    def rings(w: float, h: float) -> list[str]:
        return [f"G1 X{w:.4f} Y{-h:.4f} F20", f"G1 Y{h:.4f}", f"G1 X{-w:.4f}", f"G1 Y{-h:.4f}",
                f"G1 X{w:.4f}"]  # fmt: skip

    lines = [*change_to(3, "ROUGH"), "G0 X0 Y0", "G0 Z0.05", "G1 Z0 F10"]
    lines += ["G3 X0 Y0 I0.04 J0 Z-0.1", "G3 X0 Y0 I0.04 J0 Z-0.197"]
    for k in (0.08, 0.16, 0.24):
        lines += rings(min(k, 0.26), min(k, 0.16))
    lines += [*rings(0.26, 0.16), "G1 X0 Y0", "G0 Z0.5", *change_to(2, "FLOOR"), "G0 X0 Y0"]
    lines += ["G0 Z0.05", "G1 Z-0.2 F10", *rings(0.05, 0.05), *rings(0.1719, 0.0719), "G1 X0 Y0"]
    lines += ["G0 Z0.5", "(WALLS)", "G0 X0 Y0", "G0 Z0.05", "G1 Z-0.1997 F10"]
    lines += ["G1 X0 Y-0.1125 F15."]
    for x, y in ((0.2125, -0.1125), (0.2125, 0.1125), (-0.2125, 0.1125), (-0.2125, -0.1125)):
        x0, y0 = ((x, -y) if x * y > 0 else (-x, y)) if lines[-1][4:6] != "0 " else (0.0, y)
        if feed is not None:
            way = math.hypot(x - x0, y - y0)
            slow = (x - (x - x0) * 0.06 / way, y - (y - y0) * 0.06 / way)
            lines += [f"G1 X{slow[0]:.4f} Y{slow[1]:.4f} F15.", f"G1 X{x} Y{y} F{feed}"]
        else:
            lines += [f"G1 X{x} Y{y}"]
    return program([*lines, "G1 X0.06 F15.", "G1 Y-0.0625", "G0 Z0.5"])


def test_inside_corners(tmp_path):
    """arccos(1 - 40 / 187.5) is 38.1 degrees; the corner, of the tool's own radius, adds 90.

    It takes 187.5 (1 - cos 128.1) = 303.3 there: the feed falls to 40 / 303.3.
    """
    tools = [mill(2, 0.375), mill(3, 0.2)]
    row = only(run(tmp_path / "1", pocket(None), tools), "corner-bite", 90.0, "watch")
    assert row["unit"] == "deg"
    assert "4 inside corners" in row["text"]
    before = math.acos(1 - 40 / 187.5)
    wide = 187.5 * (1 - math.cos(before + math.pi / 2))
    assert row["change"]["to"] == pytest.approx(15 * 40 / wide, rel=1e-3)
    assert run(tmp_path / "2", pocket(round(row["change"]["to"] - 0.01, 2)), tools) == []


# ----------------------------------------------------------------------------------- rounds, ridges


def cove(high: float = 0.0, out: float = 0.0) -> str:
    """A cove of 125 between floor and wall in 13 strokes of T4; T3 left floor and wall."""
    rough = across(
        (-0.5, -0.2), (-0.1875 - 0.125, -0.2), (-0.1875 - 0.06, -0.14), (-0.1875, -0.075)
    )
    swing, places = 0.125 - 0.09375, []
    for k in range(13):
        t = math.pi / 2 * k / 12
        y = -0.125 + swing * math.sin(t) - out / 1000
        places.append((y, -0.2 + 0.125 - swing * math.cos(t) - 0.09375 + high / 1000))
    return program(change_to(3, "ROUGH"), rough, change_to(4, "COVE"), across(*places))


@pytest.mark.parametrize(("high", "out", "size", "severity"), [
    (0, 0, 0, ""), (0.05, 0, 0, ""), (-0.05, 0, 0, ""), (0.2, 0, 0.2, "note"),
    (-0.2, 0, 0.2, "note"), (0.6, 0, 0.6, "spoils"), (-0.6, 0, 0.6, "spoils"),
    (0, 0.6, 0.6, "spoils"), (-7, 0, 7, "spoils"), (7, 0, 7, "spoils"),
])  # fmt: skip
def test_a_cove(tmp_path, high, out, size, severity):
    rows = run(tmp_path, cove(high, out), [mill(3, 0.375), BALL])
    if not severity:
        assert rows == []
        return
    row = only(rows, "blend-step", size / 1000, severity)
    if high < 0:  # half width sqrt(2 R e - e^2)
        width = 2 * math.sqrt(2 * 93.75 * size - size**2)
        assert f"{width:.2f} thou wide" in row["text"]
    assert row["change"]["to"] == pytest.approx(-(high or out) / 1000, abs=1e-6)


def test_a_height_register_of_the_ball(tmp_path):
    rows = run(tmp_path, cove(), [mill(3, 0.375), BALL], offsets='H4 = "-0.6 thou"')
    assert only(rows, "blend-step", 0.0006, "spoils")["change"]["what"] == "H4"


@pytest.mark.parametrize("step", [0.018, 0.030, 0.040])
def test_scallops(tmp_path, step):
    """R - sqrt(R^2 - s^2 / 4), wanted up to 1 thou."""
    high = 0.09375 - math.sqrt(0.09375**2 - step**2 / 4)
    count = int(0.4 / step)
    rough = across(*((y, -0.1) for y in (-0.45, -0.15, 0.15, 0.45)))
    ball = across(*((-0.2 + k * step, -0.11) for k in range(count + 1)))
    rows = run(tmp_path, program(change_to(3, "ROUGH"), rough, change_to(4, "RASTER"), ball),
               [mill(3, 0.375), BALL], part="top = -0.1\nbottom = -0.5")  # fmt: skip
    if high <= 0.001:
        assert rows == []
        return
    row = only(rows, "scallop-high", high, "watch")
    wanted = 2 * math.sqrt(0.001 * (2 * 0.09375 - 0.001))
    assert row["change"]["to"] == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("step", [0.300, 0.315, 0.330])
def test_ridges_on_a_floor(tmp_path, step):
    """A bull of 375 with RE 30 is flat over 315."""
    over = max(step / 2 - 0.1575, 0.0)
    high = 0.03 - math.sqrt(0.03**2 - over**2)
    text = program(change_to(5, "FACE"), across(*((-0.6 + k * step, -0.05) for k in range(5))))
    rows = run(tmp_path, text, [mill(5, 0.375, 30)], part="top = -0.05\nbottom = -0.5")
    assert only(rows, "floor-marks", high, "watch") if high else rows == []


@pytest.mark.parametrize(("web", "part", "found"), [
    (0.010, DEEP, True), (0.020, DEEP, False), (0.010, "", False),
])  # fmt: skip
def test_a_sliver(tmp_path, web, part, found):
    text = program(change_to(2, "SLOTS"), across((0, -0.1), (0.375 + web, -0.1)))
    rows = run(tmp_path, text, [mill(2, 0.375)], part=part)
    assert only(rows, "sliver", web, "watch") if found else rows == []


@pytest.mark.parametrize(("levels", "found"), [((0.4,), True), ((0.1, 0.2, 0.3, 0.4), False)])
def test_a_thin_wall(tmp_path, levels, found):
    """20 thick and 400 high: 20 times."""
    middles = [(y, -z) for z in levels for y in (-0.1975, 0.1975)]
    text = program(change_to(2, "SLOTS"), across(*middles))
    rows = run(tmp_path, text, [mill(2, 0.375)])
    assert only(rows, "thin-wall", 0.02, "note") if found else rows == []


# ----------------------------------------------------------------------------------- part, air cuts


@pytest.mark.parametrize(("z", "rule", "offsets"), [
    (-0.05, "", ""), (-0.047, "", ""), (-0.043, "leftover", ""), (-0.057, "gouge", ""),
    (-0.05, "leftover", 'H3 = "7 thou"'),
])  # fmt: skip
def test_a_top_by_its_height_alone(tmp_path, z, rule, offsets):
    """5 thou of tolerance where the job gives none."""
    text = program(change_to(3, "FACE"), across(*((-0.6 + 0.3 * k, z) for k in range(5))))
    part = "top = -0.05\nbottom = -0.5"
    rows = run(tmp_path, text, [mill(3, 0.375)], part=part, offsets=offsets)
    if not rule:
        assert rows == []
        return
    row = only(rows, rule, 0.007, "watch")
    what, to = f"Z of pass 1, line {line_of(text, f'G1 Z{z:.6f} F10')}", -0.05
    if offsets:
        what, to = "H3", 0.0
    assert (row["change"]["what"], row["change"]["to"]) == (what, pytest.approx(to, abs=1e-6))


def test_a_step_by_its_model(tmp_path):
    """Floor at -0.2 and wall at y = 0 of a model; 3 thou off each, 2 of tolerance."""
    trimesh, shapely = pytest.importorskip("trimesh"), pytest.importorskip("shapely")
    shape = shapely.Polygon([(-0.6, -0.4), (0.6, -0.4), (0.6, 0), (0, 0), (0, -0.2), (-0.6, -0.2)])
    solid = trimesh.creation.extrude_polygon(shape, 1.0)
    solid.apply_transform([[0, 0, 1, -0.5], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    part = 'model = "part.stl"\ntolerance = "2 thou"'
    for name, z, y, rule in (
        ("clean", -0.2, 0.0, ""), ("floor high", -0.197, 0.0, "leftover"),
        ("floor low", -0.203, 0.0, "gouge"), ("wall out", -0.2, -0.003, "leftover"),
        ("wall in", -0.2, 0.003, "gouge"),
    ):  # fmt: skip
        (tmp_path / name).mkdir()
        solid.export(tmp_path / name / "part.stl")
        text = program(change_to(2, "STEP"), across((-0.5, z), (-0.25, z), (-0.1875 + y, z)))
        rows = run(tmp_path / name, text, [mill(2, 0.375)], part=part)
        assert only(rows, rule, 0.003, "spoils") if rule else rows == []


def test_air(tmp_path):
    floor = across((-0.4, -0.1))
    for name, again, size in (("again", -0.1, 0), ("4 thou higher", -0.096, 0), ("high", 0.4, 2.0)):
        text = program(change_to(2, "SLOT"), floor, ["(AGAIN)"], across((-0.4, again)))
        text = text.replace("G0 Z0.1\nG1 Z0.4", "G0 Z0.4\nG1 Z0.4")
        rows = run(tmp_path / name, text, [mill(2, 0.375)])
        assert only(rows, "air-cut", size, "watch") if size else rows == []


# --------------------------------------------------------------------------------- screen and codes


def job_file(folder: Path, text: str, **more: Any) -> Path:
    run(folder, text, [mill(2, 0.375)], **more)
    return folder / "job.toml"


def test_the_screen_and_the_codes(tmp_path, command_inside):
    jaws = "".join(
        f'\n[[setups.fixture]]\nname = "{name}"\nlow = [-0.5, {low}, -1.4]\n'
        f"high = [0.5, {low + 1}, -0.3]\n"
        for name, low in (("front jaw", -1.6), ("back jaw", 0.6))
    )
    good = job_file(tmp_path / "good", program(change_to(2, "SLOT"), SLOT), setup=jaws, show="-y")
    done = command_inside("run", good)
    assert (done.returncode, len(done.stdout.splitlines())) == (0, 5), done.stdout
    assert command_inside("run", good, "--fail-on", "note").returncode == 0
    bad = job_file(tmp_path / "bad", program(change_to(2, "SLOT"), [*SLOT[:3], "M5", *SLOT[3:]]))
    text = command_inside("run", bad, "--pictures", tmp_path / "out").stdout
    marks = ["1 to stop for", "[spindle-stopped]", "G1 X-1. F20", "change: ", "Least gaps",
             "Not looked at", "Simulated"]  # fmt: skip
    assert [text.index(mark) for mark in marks] == sorted(text.index(mark) for mark in marks)
    assert len(list((tmp_path / "out").glob("finding-*"))) == 1
    for word, code in (("stop", 1), ("note", 1), ("spindle-stopped", 1), ("gouge", 0)):
        assert command_inside("run", bad, "--json", "--fail-on", word).returncode == code
    found = json.loads(command_inside("run", bad, "--json").stdout)["findings"]
    assert [row["rule"] for row in found] == ["spindle-stopped"]


def test_every_rule_of_the_stage_has_its_page(command_inside):
    assert set(RULES) == NAMES
    listed = command_inside("explain").stdout
    for name in sorted(NAMES):
        assert name in listed
        page = command_inside("explain", name).stdout
        for word in ("Margin", "Cure", "ource"):
            assert word.lower() in page.lower(), (name, word)
