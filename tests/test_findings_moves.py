"""Rapids through metal, plunges, a stopped spindle, steep ramps: twins with sizes set by hand."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import IN, Nc, tool, write_job
from helpers_twins import THOU, found, with_line

ROOT = Path(__file__).resolve().parent.parent
FLAT6 = tool(1, "flat", 6.0)
PITCHES = (0.15, 0.5, 2.3)


def slot() -> Nc:
    """A slot 1.5 deep along x, cut from outside the stock."""
    return Nc().tool(1, "slot").stroke((-25, 0, -1.5), (15, 0, -1.5))


def only(job, rule: str):
    (finding,) = [f for f in found(job, "moves") if f.rule == rule]
    return finding


# --- rapid-in-stock ------------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", PITCHES)
def test_a_rapid_across_is_found_with_its_depth(tmp_path: Path, pitch: float) -> None:
    nc = slot().raw("G0 X-15 Y8", "G0 Z2", "G0 Z-0.7 X-24", "G0 X-3", "G0 Z10")
    job = write_job(tmp_path, nc, [FLAT6], pitch=pitch)
    finding = only(job, "rapid-in-stock")
    assert finding.severity == "stop"
    assert finding.size == pytest.approx(0.7, abs=1e-9)
    assert finding.at[2] == pytest.approx(-0.7, abs=1e-9)
    first = nc.lines.index("G0 Z-0.7 X-24") + 1
    assert finding.lines == (first, first + 1)
    assert finding.change
    assert finding.change.what == f"Z of the rapid at line {first}"
    assert finding.change.before == pytest.approx(-0.7)
    assert finding.change.after == pytest.approx(100 * THOU)


def test_the_cure_of_a_rapid_across(tmp_path: Path) -> None:
    nc = slot().raw("G0 X-25 Y8", "G0 Z-0.7", "G0 X-3", "G0 Z10")
    job = write_job(tmp_path / "bad", nc, [FLAT6])
    finding = only(job, "rapid-in-stock")
    assert finding.lines[0] == nc.lines.index("G0 X-3") + 1
    assert finding.change
    line = nc.lines.index("G0 Z-0.7") + 1  # where its Z word stands
    assert finding.change.what == f"Z of the rapid at line {line}"
    assert isinstance(finding.change.after, float)
    cured = nc.text().replace("G0 Z-0.7", f"G0 Z{finding.change.after:.4f}")
    assert not found(write_job(tmp_path / "cured", cured, [FLAT6]), "moves")


@pytest.mark.parametrize("pitch", PITCHES)
def test_a_rapid_straight_down_becomes_a_feed(tmp_path: Path, pitch: float) -> None:
    nc = Nc("in").tool(1, "hole").raw("G0 X0.1 Y0.1", "G0 Z0.5", "G0 Z-0.0123", "G0 Z0.5")
    nc.raw("G1 X0.2")
    shape = tool(1, "ball", 0.25)
    block = {"low": (-1, -1, -0.5), "high": (1, 1, 0), "unit": "in", "pitch": pitch / IN}
    job = write_job(tmp_path / "bad", nc, [shape], **block)
    finding = only(job, "rapid-in-stock")
    assert finding.size == pytest.approx(0.0123 * IN, abs=1e-6)
    assert finding.as_dict("in")["size"] == pytest.approx(0.0123)
    (line,) = {nc.lines.index("G0 Z-0.0123") + 1}
    assert finding.change
    assert finding.change.what == f"G0 at line {line}"
    cured = with_line(nc.text(), line, "G1 Z-0.0123")
    assert not found(write_job(tmp_path / "cured", cured, [shape], **block), "moves")


@pytest.mark.parametrize("more", ["", "RMPX = 3"])
def test_a_rapid_down_with_a_tool_that_has_no_centre(tmp_path: Path, more: str) -> None:
    """At feed it would be a plunge to stop for: a ramp or a helix, and nothing is found."""
    nc = Nc().tool(1).raw("G0 X0 Y0", "G0 Z5", "G0 Z-2", "G1 X9", "G0 Z10")
    cutter = f"{FLAT6}\ncenter_cutting = false\n{more}"
    finding = only(write_job(tmp_path / "bad", nc, [cutter]), "rapid-in-stock")
    line = nc.lines.index("G0 Z-2") + 1
    assert finding.change
    assert finding.change.what == f"way down at line {line}"
    assert str(finding.change.after).startswith("a ramp or a helix" + " of 3 degrees" * bool(more))
    assert "drilled hole" in finding.then
    turns = "\n".join(f"G3 X0 Y0 I2 J0 Z{-0.5 * (k + 1)}" for k in range(4))
    cured = with_line(nc.text(), line, f"G1 Z0\n{turns}")
    assert not found(write_job(tmp_path / "cured", cured, [cutter]), "moves")


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_cycle_whose_r_lies_in_metal(tmp_path: Path, unit: str) -> None:
    """There is no G0 to change: the R word, as high as `rapid_over` above the top; and Z below."""
    per, high = (IN, 0.1) if unit == "in" else (1.0, 2.54)
    nc = Nc(unit, clear=1.0).tool(1, "spot").raw("G0 X0 Y0", "G0 Z1", "(R 3) G99 G81 Z-0.1 R-0.05")
    nc.raw("X0.25", "X0.5", "G80", "G0 Z1")
    block = {"low": (-2, -2, -1), "high": (2, 2, 0), "unit": unit, "pitch": 0.05}
    drill = tool(1, "drill", 0.2, SIG=118)
    finding = only(write_job(tmp_path / "bad", nc, [drill], **block), "rapid-in-stock")
    assert finding.size == pytest.approx(0.05 * per, abs=1e-6)
    line = next(k for k, text in enumerate(nc.lines, 1) if "G81" in text)
    assert finding.change
    assert finding.change.what == f"R at line {line}"
    assert finding.change.before == pytest.approx(-0.05 * per)
    assert finding.change.after == pytest.approx(high * per)
    cured = nc.text().replace("R-0.05", f"R{high}")
    assert not found(write_job(tmp_path / "cured", cured, [drill], **block), "moves")


def test_a_register_makes_a_rapid_cut(tmp_path: Path) -> None:
    nc = slot().raw("G0 X-25 Y8", "G0 Z0.2", "G0 X0", "G0 Z10")
    assert not found(write_job(tmp_path / "clean", nc, [FLAT6]), "moves")
    job = write_job(tmp_path / "low", nc, [FLAT6], offsets="H1 = -0.5")
    finding = only(job, "rapid-in-stock")
    assert finding.size == pytest.approx(0.3, abs=1e-9)
    assert finding.change
    assert finding.change.before == pytest.approx(0.2)  # as programmed


def test_one_height_is_one_finding_two_heights_are_two(tmp_path: Path) -> None:
    nc = slot()
    for y in (-11, 8, 11):
        nc.raw(f"G0 X-25 Y{y}", "G0 Z-0.2", "G0 X0", "G0 Z10")
    (finding,) = found(write_job(tmp_path / "one", nc, [FLAT6]), "moves")
    assert "(3 moves)" in finding.text
    nc.raw("G0 X25 Y-8", "G0 Z-0.4", "G0 X16", "G0 Z10")
    sizes = [f.size for f in found(write_job(tmp_path / "two", nc, [FLAT6]), "moves")]
    assert sizes == pytest.approx([0.2, 0.4])


CLEAN = {
    "retract in the hole just cut": Nc().tool(1).stroke((-25, 0, -2)).stroke((3, 2, 0.1)),
    "back through the slot at rapid": slot().raw("G0 X-25", "G0 Z-1.5", "G0 X15", "G0 X-25"),
    "in the slot, a little lower than 1 um": slot().raw("G0 X-25", "G0 Z-1.501", "G0 X15"),
    "along a wall cut by arcs": Nc()
    .tool(1)
    .raw("G0 X0 Y-25", "G0 Z-2", "G1 Y-12.1234", "G3 X8.5725 Y-3.5509 I0 J8.5725")
    .raw("G1 Y0", "G0 Y-3.5509", "G0 Y0", "G0 Z10"),
    "off the wall": slot().raw("G0 X-25 Y0", "G0 Z-1", "G1 X10", "G0 X9 Y0", "G0 Z10"),
    "from an unknown place": Nc().raw("T1 M6", "F100", "G0 X0 Y0 Z-1", "G0 Z20", "G1 X40"),
    "outside": slot().raw("G0 X30 Y0", "G0 Z-11", "G0 X23.1", "G0 Y9", "G0 Z10"),
    "touching the side": slot().raw("G0 X23 Y-20", "G0 Z-11", "G0 Y20", "G0 Z10"),
    "on the top": slot().raw("G0 X-25 Y9", "G0 Z0", "G0 X15", "G0 Z10"),
}


def t_slot(out: str) -> Nc:
    """A slot 6 wide and 8 deep along X; a cutter 12 wide and 3 high under its lips to X 5."""
    nc = Nc().tool(1, "slot").stroke((-40, 0, -8), (40, 0, -8))
    nc.tool(2, "t slot").raw("G0 X-40 Y0", "G0 Z-8", "G1 X5 F100", *out.split(";"))
    return nc


@pytest.mark.parametrize(("out", "stops"), [
    ("G0 Z10", True), ("G0 X-40;G0 Z10", False), ("G1 X40;G0 Z10", False),
])  # fmt: skip
def test_a_t_slot_cutter_that_goes_up_under_the_lips(tmp_path: Path, out: str, stops: bool) -> None:
    """Lips 5 thick over a cutter 3 high at -8; by the ends of the slot it comes out free."""
    tools = [FLAT6, tool(2, "t-slot", 12.0, APMX=3.0, DN=5.0, LU=20.0)]
    job = write_job(tmp_path, t_slot(out), tools)
    rows = [f for f in found(job, "moves") if f.rule == "rapid-in-stock"]
    if not stops:
        assert not rows
        return
    (finding,) = rows
    assert (finding.severity, finding.tool, finding.pass_number) == ("stop", 2, 2)
    assert finding.size == pytest.approx(8.0)  # from the place's top to the tip
    assert finding.change
    assert finding.change.after == "back out of the slot first"


@pytest.mark.parametrize("shape", ["flat", "ball"])
@pytest.mark.parametrize("name", CLEAN)
def test_silent_rapids(tmp_path: Path, name: str, shape: str) -> None:
    job = write_job(tmp_path, CLEAN[name], [tool(1, shape, 6.0)], pitch=0.7)
    assert not [f for f in found(job, "moves") if f.rule == "rapid-in-stock"]


def test_a_rapid_that_grazes_a_wall_by_a_thou(tmp_path: Path) -> None:
    nc = slot().raw("G0 X-25", "G0 Z-1.5", f"G0 X-25 Y{THOU:.4f}", "G0 X10", "G0 Z10")
    finding = only(write_job(tmp_path, nc, [FLAT6]), "rapid-in-stock")
    assert finding.size == pytest.approx(1.5, abs=1e-6)


# --- plunge --------------------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", PITCHES)
def test_a_plunge_is_a_note_once_a_tool(tmp_path: Path, pitch: float) -> None:
    nc = Nc().tool(1, "holes").stroke((-8, 0, -1.25)).stroke((8, 0, -2.5)).stroke((0, 9, -1))
    finding = only(write_job(tmp_path, nc, [FLAT6], pitch=pitch), "plunge")
    assert finding.severity == "note"
    assert finding.size == pytest.approx(2.5, abs=1e-9)
    assert "2 times more" in finding.text
    assert "is not said" in finding.sure
    assert finding.change is None


def test_a_plunge_at_the_milling_feed(tmp_path: Path) -> None:
    nc = Nc().tool(1).raw("G0 X0 Y0", "G0 Z5", "G1 Z-2 F200", "G1 X9", "G0 Z10")
    change = only(write_job(tmp_path / "same", nc, [FLAT6]), "plunge").change
    assert change
    assert (change.before, change.after) == ("200 mm/min", "100 mm/min")
    slower = nc.text().replace("G1 X9", "G1 X9 F400")
    assert only(write_job(tmp_path / "slow", slower, [FLAT6]), "plunge").change is None


def test_a_tool_without_center_cutting_stops_the_job(tmp_path: Path) -> None:
    """No feed makes it cut on its axis: the cure is a way down, not half the feed."""
    nc = Nc().tool(1).raw("G0 X0 Y0", "G0 Z5", "G1 Z-2 F200", "G1 X9", "G0 Z10")
    for more, way in (("", "a ramp or a helix"), ("RMPX = 3", "a ramp or a helix of 3 degrees")):
        cutter = f"{FLAT6}\ncenter_cutting = false\n{more}"
        finding = only(write_job(tmp_path / f"job{len(more)}", nc, [cutter]), "plunge")
        assert (finding.severity, finding.sure) == ("stop", "exact")
        assert finding.change
        line = nc.text().split("\n").index("G1 Z-2 F200") + 1
        assert finding.change.what == f"way down at line {line}"
        assert str(finding.change.after).startswith(way)


def test_silent_plunges(tmp_path: Path) -> None:
    holes = Nc().tool(1).stroke((-8, 0, -2.5)).stroke((8, 0, -2.5))
    for shape in (tool(1, "ball", 6.0), tool(1, "drill", 6.0, SIG=118.0)):
        assert not found(write_job(tmp_path / shape[20:30], holes, [shape]), "moves")
    drilled = Nc().tool(2).stroke((3, 3, -9)).tool(1).stroke((3, 3, -2), (9, 3, -2))
    both = [FLAT6, tool(2, "drill", 4.0, SIG=118.0)]
    assert not found(write_job(tmp_path / "drilled", drilled, both), "moves")
    thin = Nc().tool(1).stroke((3, 3, -4 * THOU), (9, 3, -4 * THOU))
    assert not found(write_job(tmp_path / "thin", thin, [FLAT6]), "moves")
    assert found(write_job(tmp_path / "set", thin, [FLAT6], setup="\n[margins]\nplunge_depth = 0"),
                 "moves")  # fmt: skip


def test_a_helix_instead_is_the_cure(tmp_path: Path) -> None:
    bad = Nc().tool(1).stroke((2, 0, -2), (9, 0, -2))
    assert only(write_job(tmp_path / "bad", bad, [FLAT6]), "plunge").size == pytest.approx(2.0)
    good = Nc().tool(1).raw("G0 X2 Y0", "G0 Z0")
    good.raw("G3 X2 Y0 I-2 J0 Z-1", "G3 X2 Y0 I-2 J0 Z-2", "G1 X9", "G0 Z10")
    assert not found(write_job(tmp_path / "good", good, [FLAT6]), "moves")


# --- spindle-stopped -----------------------------------------------------------------------------


def test_a_stopped_spindle_is_found_once(tmp_path: Path) -> None:
    nc = Nc().tool(1, "first").raw("M3 S1000").stroke((-25, 9, -1), (25, 9, -1)).raw("M5")
    nc.heading("second").stroke((-25, 0, -1.5), (25, 0, -1.5)).stroke((-25, -9, -2), (25, -9, -2))
    job = write_job(tmp_path / "bad", nc, [FLAT6], pitch=1.3)
    (finding,) = found(job, "moves")
    assert (finding.rule, finding.severity) == ("spindle-stopped", "stop")
    assert finding.size == pytest.approx(2.0, abs=1e-9)
    assert finding.pass_number == 2
    cured = nc.text().replace("(second)", "(second)\nM3 S1000")
    assert not found(write_job(tmp_path / "cured", cured, [FLAT6]), "moves")


def test_a_tool_change_stops_the_spindle(tmp_path: Path) -> None:
    """NIST RS274/NGC 3.6.3: when the change is complete the spindle is stopped."""
    nc = Nc().tool(1, "first").raw("M3 S1000").stroke((-25, 9, -1), (25, 9, -1))
    nc.tool(2, "second").stroke((-25, 0, -1.5), (25, 0, -1.5))
    tools = [FLAT6, tool(2, "flat", 6)]
    (finding,) = found(write_job(tmp_path / "bad", nc, tools), "moves")
    assert (finding.rule, finding.tool, finding.size) == ("spindle-stopped", 2, pytest.approx(1.5))
    cured = nc.text().replace("T2 M6", "T2 M6 M3")  # a block changes the tool, then turns it
    assert not found(write_job(tmp_path / "cured", cured, tools), "moves")
    early = nc.text().replace("M3 S1000\n", "").replace("T1 M6", "M3 S1000\nT1 M6")
    assert not found(write_job(tmp_path / "unsaid", early, tools), "moves")


def test_a_stopped_spindle_out_of_metal_is_silent(tmp_path: Path) -> None:
    nc = Nc().tool(1).raw("M3 S1000").stroke((-25, 9, -1), (25, 9, -1)).raw("M5")
    nc.stroke((-25, 9, -1), (25, 9, -1))  # through the slot just cut
    assert not found(write_job(tmp_path / "air", nc, [FLAT6]), "moves")
    assert not found(write_job(tmp_path / "unsaid", slot(), [FLAT6]), "moves")


# --- ramp-steep ----------------------------------------------------------------------------------


def test_a_ramp_steeper_than_the_tool_may(tmp_path: Path) -> None:
    angle = 5.0
    fall = 10 * math.tan(math.radians(angle))
    nc = Nc().tool(1, "ramp").raw("G0 X-5 Y0", "G0 Z0").raw(f"G1 X5 Z{-fall:.9f}", "G0 Z10")
    assert not found(write_job(tmp_path / "unsaid", nc, [FLAT6]), "moves")
    setup = "\n[margins]\nramp_angle = {}"
    (finding,) = found(write_job(tmp_path / "3", nc, [FLAT6], setup=setup.format(3)), "moves")
    assert (finding.rule, finding.of) == ("ramp-steep", "deg")
    assert finding.size == pytest.approx(angle, abs=1e-6)
    assert finding.as_dict("mm")["unit"] == "deg"
    assert finding.change
    assert isinstance(finding.change.after, float)
    assert finding.change.before == pytest.approx(10.0)
    longer = finding.change.after
    # As typed in, to a micrometre, and not shorter.
    assert 0 <= longer - fall / math.tan(math.radians(3)) < 0.001
    cured = nc.text().replace("G1 X5 ", f"G1 X{-5 + longer:.6f} ")
    assert not found(write_job(tmp_path / "cured", cured, [FLAT6], setup=setup.format(3)), "moves")
    assert not found(write_job(tmp_path / "5", nc, [FLAT6], setup=setup.format(5.1)), "moves")


def test_a_helix_is_cured_by_its_depth_a_turn(tmp_path: Path) -> None:
    """2 mm a turn on a radius of 5: atan(2 / 10 pi); at 3 degrees 10 pi tan 3 = 1.6464."""
    cutter = f"{FLAT6}\nRMPX = 3\ncenter_cutting = false"

    def job(folder: str, depth: float, turns: int) -> proud.Job:
        nc = Nc().tool(1, "helix").raw("G0 X5 Y0", "G0 Z2", "G1 Z0")
        nc.raw(*(f"G3 X5 Y0 I-5 J0 Z{-depth * (k + 1):.3f}" for k in range(turns)))
        return write_job(tmp_path / folder, nc.raw("G3 X5 Y0 I-5 J0", "G0 Z10"), [cutter])

    (finding,) = found(job("bad", 2.0, 3), "moves")
    assert finding.size == pytest.approx(math.degrees(math.atan(2 / (10 * math.pi))), abs=1e-6)
    change = finding.change
    assert change
    assert change.what.startswith("depth a turn of the helix at line ")
    assert change.before == pytest.approx(2.0)
    assert change.after == pytest.approx(1.646, abs=1e-9)
    assert isinstance(change.after, float)
    assert not found(job("cured", change.after, 4), "moves")


# --- the demo ------------------------------------------------------------------------------------


@pytest.mark.parametrize("attempt", ["first_try", "second_try"])
@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo_has_nothing_above_a_note(attempt: str, source: str) -> None:
    job = proud.load(ROOT / "demo_parts" / attempt / source)
    assert {f.severity for f in found(job, "moves")} <= {"note"}
    assert not found(job, "air_cut")


@pytest.mark.parametrize(("said", "severity"), [("false", "stop"), ("true", None), ("", "note")])
def test_a_plunge_by_what_the_tool_table_says_of_its_centre(tmp_path, said, severity):
    nc = Nc().raw("M3").tool(1, "slot").stroke((-5, 0, -2), (5, 0, -2))
    words = FLAT6 + (f"\ncenter_cutting = {said}" if said else "")
    rows = found(write_job(tmp_path, nc, [words]), "moves")
    assert [f.severity for f in rows] == ([severity] if severity else [])
    assert all(f.size == pytest.approx(2.0) for f in rows)


def test_a_ramp_by_the_tools_own_angle(tmp_path):
    """Its RMPX counts before the margin of the job."""
    nc = Nc().raw("M3").tool(1, "ramp").raw("G0 X-5 Y0", "G0 Z0", "G1 X5 Z-1", "G0 Z10")
    angle = math.degrees(math.atan2(1, 10))
    margin = "\n[margins]\nramp_angle = 3"
    for own, count in ((5.0, 1), (6.0, 0)):
        job = write_job(
            tmp_path, nc, [f"{FLAT6}\nRMPX = {own}\ncenter_cutting = true"], setup=margin
        )
        rows = found(job, "moves")
        assert [f.rule for f in rows] == ["ramp-steep"] * count
        assert all(f.size == pytest.approx(angle) for f in rows)
