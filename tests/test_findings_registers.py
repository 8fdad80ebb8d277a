"""The register whose error makes a finding: the one in force is named, and no other.

The geometry is the plane one of cutter compensation: the tool's middle runs at the value of D
beside the programmed path (NISTIR 6556 3.5.10), so a value too large by e leaves a wall proud by e.
"""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_passes import pass_job, pass_text
from helpers_shelf import PART as SHELF
from helpers_shelf import ROUGH, WALLED, program
from helpers_shelf import TOOLS as SHELF_TOOLS
from helpers_twins import THOU, found
from proud.findings.base import Change, Finding
from proud.review import review
from test_findings_blend_step import BALL, FILLET, FLOOR, faces
from test_findings_blend_step import job_of as fillet_job
from test_findings_ledge import BOTTOM, profile
from test_findings_ledge import job_of as ledge_job
from test_findings_part import job_of as part_job
from test_findings_part import program as part_program

TOOLS = [tool(1, "flat", 6.0), tool(2, "flat", 6.0, APMX=5.0, DN=5.0, LU=20.0)]
BLOCK = 'shape = "block"\nlow = [-12, -8, -12]\nhigh = [12, 8, 0]\n\n[part]\ntop = 0\nbottom = -9'


def job_of(folder: Path, nc: Nc, offsets: str = "", setup: str = "") -> proud.Job:
    return write_job(folder, nc, TOOLS, stock=BLOCK, offsets=offsets, setup=setup)


def by_d(nc: Nc, z: float, register: int, side: str = "G42", y: float = 0.0) -> Nc:
    """Along the wall y = 0, metal behind it, by D: to +X at its right, or to -X at its left."""
    x = 20 if side == "G42" else -20
    nc.raw(f"G0 X{-x - x / 4:g} Y-9", f"G0 Z{number(nc.clear)}", f"G1 Z{number(z)}")
    nc.raw(f"G1 {side} D{register} X{-x} Y{number(y)}", f"G1 X{x}", f"G1 G40 X{x + x / 4:g} Y-9")
    return nc.up()


def depths(d: int, other: int, *, tools: tuple[int, int] = (1, 1), side: str = "G42") -> Nc:
    """Two depths of a wall, one under D `d`, one under D `other`."""
    nc = by_d(Nc().tool(tools[0], "upper"), -4.0, d, side)
    if tools[1] != tools[0]:
        nc.tool(tools[1])
    return by_d(nc.heading("lower"), -8.0 if tools[1] == 2 else -9.5, other, side)


def the_change(rows: list[Finding], rule: str = "depth-line") -> tuple[Finding, Change]:
    (finding,) = rows
    assert finding.rule == rule
    assert finding.change
    return finding, finding.change


@pytest.mark.parametrize("side", ["G41", "G42"])
@pytest.mark.parametrize("tools", [(1, 1), (1, 2)])
@pytest.mark.parametrize(("named", "error"), [("D22", 0.8), ("D21", -0.9), ("D21", 0.7)])
def test_the_d_in_force_and_not_the_tool_s(
    tmp_path: Path, named: str, error: float, tools: tuple[int, int], side: str
) -> None:
    nc, offsets = depths(21, 22, tools=tools, side=side), f'{named} = "{error} thou"'
    finding, change = the_change(found(job_of(tmp_path / "bad", nc, offsets), "depth_line"))
    assert finding.size == pytest.approx(abs(error) * THOU, abs=1e-6)
    assert (change.what, change.after) == (named, 0.0)
    assert change.before == pytest.approx(error * THOU)
    assert finding.text.endswith(f"by program they meet: {named} makes it")
    assert finding.then == "the two depths are one wall"
    assert not found(job_of(tmp_path / "cured", nc, f"{named} = 0"), "depth_line")


def test_a_register_that_nothing_runs_under_is_not_named(tmp_path: Path) -> None:
    """D1 stands in the job, as far off as the path itself; the program has no G41."""
    nc = Nc().tool(1, "upper").stroke((-20, -3, -4), (20, -3, -4)).heading("lower")
    y = -3 - 0.8 * THOU
    nc.stroke((-20, y, -9.5), (20, y, -9.5))
    job = job_of(tmp_path, nc, 'D1 = "0.8 thou"')
    _, change = the_change(found(job, "depth_line"))
    assert change.what == "side allowance of pass 1 at Z -9.500 mm, added" or (
        change.what == "side allowance of pass 2 at Z -9.500 mm, added"
    )
    assert "[offsets] D1 is given, but no move runs under G41 or G42 with D1" in job.notes
    used = job_of(tmp_path / "used", depths(1, 1), 'D1 = "0.8 thou"')
    assert not any("D1" in note for note in used.notes)


def test_the_path_s_own_step_beside_a_register_in_force(tmp_path: Path) -> None:
    """Half a thou of D does not make a step of 1.5; both depths under it make none."""
    nc = by_d(by_d(Nc().tool(1, "upper"), -4.0, 21).heading("lower"), -9.5, 22, y=-THOU)
    _, change = the_change(found(job_of(tmp_path, nc, 'D22 = "0.5 thou"'), "depth_line"))
    assert change.what.startswith("side allowance of pass 2")
    assert change.after == pytest.approx(-1.5 * THOU, abs=1e-6)
    both = job_of(tmp_path / "both", depths(21, 21), 'D21 = "0.8 thou"')
    assert not found(both, "depth_line")


def test_registers_that_hold_diameters(tmp_path: Path) -> None:
    """The value in the register is off by twice what the wall is."""
    setup, offsets = 'd_registers = "diameter"', 'D22 = "1.6 thou"'
    job = job_of(tmp_path, depths(21, 22), offsets, setup)
    finding, change = the_change(found(job, "depth_line"))
    assert finding.size == pytest.approx(0.8 * THOU, abs=1e-6)
    assert (change.what, change.before) == ("D22", pytest.approx(1.6 * THOU))
    assert review(job, job.run()).registers == {"D22": pytest.approx(1.6 * THOU)}


def test_two_registers(tmp_path: Path) -> None:
    """1.1 against 0.3: the larger one is named, and the other in what comes of it."""
    job = job_of(tmp_path, depths(2, 3), 'D3 = "1.1 thou"\nD2 = "0.3 thou"')
    finding, change = the_change(found(job, "depth_line"))
    assert finding.size == pytest.approx(0.8 * THOU, abs=1e-6)
    assert (change.what, change.before) == ("D3", pytest.approx(1.1 * THOU))
    assert finding.then == "the two depths are one wall, with D2 set from 7.6 µm to 0 too"


def test_the_far_wall_of_a_slot_comes_nearer(tmp_path: Path) -> None:
    """Compensated to the wall y = 3, a tool as wide as the slot cuts the one at y = -3 under."""
    nc = Nc().tool(1, "upper").stroke((-20, 0, -4), (20, 0, -4)).heading("lower")
    nc.raw("G0 X-25 Y-9", "G0 Z10", "G1 Z-9.5", "G1 G42 D7 X-20 Y3", "G1 X20", "G1 G40 X25 Y-9")
    rows = found(job_of(tmp_path, nc.up(), 'D7 = "0.8 thou"'), "depth_line")
    finding, change = the_change(rows)
    assert finding.size == pytest.approx(0.8 * THOU, abs=1e-6)
    assert change.what == "D7"


def test_a_pass_list_goes_by_the_d_of_its_tools(tmp_path: Path) -> None:
    keys = 'side = "right"\npoints = [[-20, 0], [20, 0]]\nbottom = '
    text = pass_text("contour", keys + "-4", tool=1, name="upper")
    text += "\n" + pass_text("contour", keys + "-9.5", tool=3, name="lower")
    mills = [TOOLS[0], tool(3, "flat", 12.0)]
    low, high = (-12, -8, -12), (12, 8, 0)
    job = pass_job(tmp_path, text, mills, low=low, high=high, offsets='D3 = "1.2 thou"')
    _, change = the_change(found(job, "depth_line"))
    assert (change.what, change.before) == ("D3", pytest.approx(1.2 * THOU))


def test_a_floor_pass_whose_d_brings_it_on_to_the_wall(tmp_path: Path) -> None:
    """By program 10.5 thou on the wall, 10 left there: D12 at -2 cuts 1.5 into it."""
    nc = program(ROUGH).tool(2, "floor")
    for y in (13.9, 9.1):
        nc.stroke((-20, y, -4.0), (20, y, -4.0))
    wall = 10.5 * THOU
    nc.raw("G0 X25 Y9", "G0 Z10", "G1 Z-4", f"G1 G42 D12 X20 Y{number(wall)}", "G1 X-20")
    nc.raw("G1 G40 X-25 Y9").up()
    y = 4 + WALLED.side * THOU
    nc.heading("wall").stroke(*((x, y, -4 + WALLED.over * THOU) for x in (-20, 20)))
    job = write_job(tmp_path, nc, SHELF_TOOLS, stock=SHELF, offsets='D12 = "-2 thou"')
    finding, change = the_change(found(job, "floor_touches_wall"), "floor-touches-wall")
    assert finding.size == pytest.approx(1.5 * THOU, abs=1e-6)
    assert (change.what, change.before) == ("D12", pytest.approx(-2 * THOU))
    assert finding.then == "the floor pass keeps 12.7 µm off it and cuts the floor alone"
    right = write_job(tmp_path / "right", nc, SHELF_TOOLS, stock=SHELF)
    assert not found(right, "floor_touches_wall")


@pytest.mark.parametrize("error", [0.7, -0.6])
def test_a_round_that_d_keeps_off_the_wall_or_brings_into_it(tmp_path: Path, error: float) -> None:
    """Each line of the ball is one that its side touches, 3 further on than its middle."""
    nc = faces(Nc()).tool(2, "fillet")
    for degrees in range(90, -1, -5):
        t, a = math.radians(degrees), FILLET - BALL
        by_d(nc, FLOOR + a * (1 - math.cos(t)), 3, y=a * math.sin(t) + BALL)
    rows = found(fillet_job(tmp_path, nc, offsets=f'D3 = "{error} thou"'), "blend_step")
    finding, change = the_change([f for f in rows if "wall" in f.text], "blend-step")
    assert finding.size == pytest.approx(abs(error) * THOU, abs=1e-6)
    assert (change.what, change.before) == ("D3", pytest.approx(error * THOU))


@pytest.mark.parametrize("error", [2.0, -2.0])
def test_a_face_that_d_leaves_proud_of_the_part_or_cut_under(tmp_path: Path, error: float) -> None:
    """The shoulder's wall x = 0 stands on the left of a way to +Y."""
    rows = part_program().lines
    at = next(k for k, row in enumerate(rows) if row.startswith("G0 X3 "))
    nc = Nc().raw(*rows[2:at]).raw("G0 X9 Y-25", "G0 Z10", "G1 Z-3", "G1 G42 D31 X0 Y-20", "G1 Y20")
    nc.raw("G1 G40 X9 Y25").up()
    finding, change = the_change(
        found(part_job(tmp_path, nc, offsets=f'D31 = "{error} thou"'), "part"),
        "leftover" if error > 0 else "gouge",
    )
    assert finding.size == pytest.approx(abs(error) * THOU, abs=1e-5)
    assert (change.what, change.before) == ("D31", pytest.approx(error * THOU))


@pytest.mark.parametrize(("h1", "h2", "also"), [
    (0.5, 0.42, ", with H2 set from 420.0 µm to 0"), (0.7, 0.7, "H2"),
])  # fmt: skip
def test_the_register_that_leaves_the_ledge(
    tmp_path: Path, h1: float, h2: float, also: str
) -> None:
    """By program the ledge lies 0.4 below the part's bottom and the finisher 0.3."""
    nc = profile(BOTTOM - 0.4, BOTTOM - 0.3)
    job = ledge_job(tmp_path / "bad", nc, offsets=f"H1 = {h1}\nH2 = {h2}")
    rows = [f for f in found(job, "ledge") if f.text.startswith("the ledge stands")]
    finding, change = the_change(rows, "ledge-left")
    assert (change.what, change.before, change.after) == ("H1", pytest.approx(h1), 0.0)
    assert also in finding.then
    text = nc.text().split("\n")
    first, last = finding.lines
    assert text[first - 1] == f"G1 Z{number(BOTTOM - 0.4)}"
    assert text[last].startswith("G0 Z")
    assert not any("Z-4" in row for row in text[first - 1 : last])
    assert not any(f.severity != "note" for f in found(ledge_job(tmp_path / "cured", nc), "ledge"))


def test_a_finisher_that_stops_too_high_is_named_by_its_height(tmp_path: Path) -> None:
    nc = profile(BOTTOM - 0.4, BOTTOM + 0.3)
    rows = found(ledge_job(tmp_path, nc, offsets="H1 = 0.6\nH2 = 0.1"), "ledge")
    finding, change = the_change([f for f in rows if f.text.startswith("the ledge")], "ledge-left")
    assert change.what == "H1"
    assert finding.then.endswith(", with pass 2 at -9.100 mm or lower")


def test_a_ledge_that_the_program_leaves_names_z(tmp_path: Path) -> None:
    """H1 is 0.1 high, and the program 0.2 above the bottom."""
    nc = profile(BOTTOM + 0.2, BOTTOM + 0.1)
    (finding, *_) = found(ledge_job(tmp_path, nc, offsets="H1 = 0.1"), "ledge")
    assert finding.change
    assert finding.change.what.startswith("Z of pass 1, line ")


def test_a_work_zero_that_both_share_is_not_named(tmp_path: Path) -> None:
    """Z0 is off by more than H2, and moves rougher and finisher alike."""
    nc = profile(-9.6, -9.6 + 0.5 * THOU)
    offsets = 'H2 = "-1.3 thou"\nZ0 = "-5 thou"'
    finding, change = the_change(found(ledge_job(tmp_path, nc, offsets=offsets), "ledge"),
                                 "finisher-cuts-ledge")  # fmt: skip
    assert finding.size == pytest.approx(0.8 * THOU, abs=1e-6)
    assert change.what == "H2"


def test_which_moves_run_under_which_d(tmp_path: Path) -> None:
    """From the lead-in to the lead-out; D of G41 without D is the tool's; G13's pocket by its D."""
    nc = by_d(by_d(Nc().tool(1, "a"), -1.0, 21, "G41"), -2.0, 5)
    nc.raw("G0 X0 Y0 Z5", "G1 Z-1", "G13 I5 D4", "G1 Z5")
    job = write_job(tmp_path, nc, TOOLS)
    moves, inside = job.program.moves, [job.program.compensation(k) for k in range(60)]
    text = nc.text().split("\n")
    for k, line in enumerate(moves.line.tolist()):
        row = text[line - 1]
        if row.startswith("G13"):
            assert inside[k] == (4, 0)
        elif row.startswith("G0") or "Z" in row:
            assert inside[k] == (0, 0)
        else:
            assert inside[k] in ((21, 1), (5, -1)), row
    assert {21, 5, 4} <= {register for register, _ in inside}


def test_a_shank_that_d_brings_on_to_the_wall_above(tmp_path: Path) -> None:
    """By program the lower depth leaves 0.08 more: D9 at -0.07 leaves 0.01 of that."""
    nc = by_d(Nc().tool(1, "upper"), -5.0, 8, y=-0.2)
    by_d(nc.heading("lower"), -10.0, 9, y=-0.28)
    mill = tool(1, "flat", 6.0, APMX=5.5, DMM=6.0)
    more = {"low": (-12, -5, -12), "high": (12, 5, 0)}
    job = write_job(tmp_path / "bad", nc, [mill], offsets="D9 = -0.07", **more)  # type: ignore[arg-type]
    finding, change = the_change(found(job, "shank_rub"), "shank-rub")
    assert finding.size == pytest.approx(0.01, abs=1e-6)
    assert (change.what, change.before) == ("D9", pytest.approx(-0.07))
    assert finding.then == "the shank is 80.0 µm free of the wall above"
    assert not found(write_job(tmp_path / "cured", nc, [mill], **more), "shank_rub")  # type: ignore[arg-type]


def test_a_floor_pass_that_d_brings_into_wall_and_fillet(tmp_path: Path) -> None:
    """10 thou and a fillet of RE 1 stay for the wall pass; D12 at -10.5 takes them on the floor."""
    nc = program(ROUGH).tool(3, "floor")
    for y in (13.9, 9.1):
        nc.stroke((-20, y, -4.0), (20, y, -4.0))
    nc.raw("G0 X25 Y9", "G0 Z10", "G1 Z-4", f"G1 G42 D12 X20 Y{number(10.5 * THOU)}", "G1 X-20")
    nc.raw("G1 G40 X-25 Y9").up()
    job = write_job(tmp_path, nc, SHELF_TOOLS, stock=SHELF, offsets='D12 = "-10.5 thou"')
    finding, change = the_change(found(job, "fillet_bite"), "fillet-in-one-bite")
    assert (change.what, change.before) == ("D12", pytest.approx(-10.5 * THOU))
    assert finding.then == "the pass keeps 12.7 µm off the wall"
