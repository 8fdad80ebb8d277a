"""Shank, neck, holder and stock above the edges: twins by plane geometry, and the stated cures."""

from __future__ import annotations

import functools
import math
from pathlib import Path

import helpers_twins as twins
import proud
import pytest
from helpers_job import IN, THOU, Nc, number, tool, write_job
from proud.findings.case import Case

T = 0.001
WALL = {"low": (-0.7, -0.7, -0.5), "high": (0.7, 0.2, 0), "unit": "in"}
"""Inches; thinner than the cutter, so that no second wall stands across its path."""


found = functools.partial(twins.found, module="shank_rub")
one = functools.partial(twins.one, module="shank_rub")


# --- two depths of one wall ----------------------------------------------------------------------


def two_depths(
    folder: Path, upper: float, lower: float, overlap: float, *, corner: float = 60,
    depth: float = -0.2, pitch: float = 0.02, thick: float = 0.25, more: str = "",
) -> proud.Job:  # fmt: skip
    """Return a wall along y = 0 cut in two depths: allowances, overlap and RE in thou.

    The shank begins `overlap` above -0.2, wherever the upper pass goes.
    """
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", upper, depth), ("lower", lower, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    shape, words = ("bull", {"RE": corner * T}) if corner else ("flat", {})
    mill = tool(1, shape, 0.25, APMX=0.2 + overlap * T, DMM=thick, **words)
    return write_job(folder, nc, [mill], pitch=pitch, setup=more, **WALL)


@pytest.mark.parametrize("pitch", [0.004, 0.03])
def test_staggered_depths_are_silent(tmp_path: Path, pitch: float) -> None:
    """7 over 10 thou, the shank at or above the fillet's run-out, and 50 thou over the upper depth
    with RE 60, where 2.13 thou are left (common practice, no source; derived)."""
    for overlap in (60, 70, 50):
        assert found(two_depths(tmp_path / str(overlap), 7, 10, overlap, pitch=pitch)) == []
    assert found(two_depths(tmp_path / "flat", 7, 10, 2, corner=0, pitch=pitch)) == []
    assert found(two_depths(tmp_path / "one", 7, 8, 60, pitch=pitch)) == []  # 1 thou: the margin


@pytest.mark.parametrize(
    ("upper", "lower", "corner", "pitch"),
    [
        (7, 7, 60, 0.004), (7, 7.4, 60, 0.03), (10, 8, 60, 0.004),
        (10, 8, 60, 0.03), (10, 8, 0, 0.03), (7, 7.4, 0, 0.004),
    ],
)  # fmt: skip
def test_too_little_stagger_and_its_cure(
    tmp_path: Path, upper: float, lower: float, corner: float, pitch: float
) -> None:
    """The gap is lower - upper; the lower depth leaves more until it is 3 thou (derived)."""
    gap = lower - upper
    job = two_depths(tmp_path / "bad", upper, lower, 60, corner=corner, pitch=pitch)
    finding = one(job, "shank-rub", gap * THOU)
    assert finding.severity == ("stop" if gap <= 0 else "watch")
    assert (finding.tool, finding.pass_number, finding.other_pass) == (1, 2, 1)
    assert ("pushed off" in finding.why) == (0 < gap < 0.5)
    assert finding.sure == "exact"
    change = finding.change
    assert change is not None
    assert (change.what, change.before) == ("side allowance of pass 2, added", 0.0)
    assert isinstance(change.after, float)
    assert change.after == pytest.approx((3 - gap) * THOU, abs=1e-5)
    more = change.after / THOU
    assert found(two_depths(tmp_path / "cured", upper, lower + more, 60, corner=corner)) == []


def test_a_shank_in_the_fillet_of_the_upper_pass_is_cured_by_depth(tmp_path: Path) -> None:
    """RE 60, overlap 43 and 41.265 (a touch): the upper depth goes down until it is 60."""
    touch = 60 - math.sqrt(60**2 - 57**2)
    for overlap, severity in ((43.0, "watch"), (touch, "stop")):
        finding = one(
            two_depths(tmp_path / number(overlap), 7, 10, overlap),
            "shank-rub",
            (60 - math.hypot(57, 60 - overlap)) * THOU,
        )
        assert finding.severity == severity
        change = finding.change
        assert change is not None
        assert change.what == "lowest Z of pass 1"
        assert change.before == pytest.approx(-0.2 * IN)
        assert isinstance(change.after, float)
        assert change.after == pytest.approx((-0.2 - (60 - overlap) * T) * IN, abs=1e-9)
        assert "3.00 thou free" in finding.then
        cured = two_depths(tmp_path / f"cured {overlap}", 7, 10, overlap, depth=change.after / IN)
        assert found(cured) == []
        (gap,) = Case(cured, None).clearance.gaps  # type: ignore[arg-type]
        assert gap.gap == pytest.approx(3 * THOU, abs=1e-6)


def deep(beside: float, overlap: float) -> float:
    """Return the depth of overlap with a fillet of 60: as far inside the flank as over the end."""
    a, v = 60 - beside, 60 - overlap
    return (a + v - math.sqrt((a + v) ** 2 - 2 * (a * a + v * v - 60**2))) / 2


def test_a_shank_in_the_fillet_and_too_little_stagger(tmp_path: Path) -> None:
    """RE 60, overlap 43, 7 over 7.5: as much more that 60 - hypot(60 - gap, 17) is 3 (derived)."""
    job = two_depths(tmp_path / "bad", 7, 7.5, 43)
    finding = one(job, "shank-rub", -deep(0.5, 43) * THOU)
    change = finding.change
    assert change is not None
    assert isinstance(change.after, float)
    need = 60 - math.sqrt(57**2 - 17**2) - 0.5
    assert change.after == pytest.approx(need * THOU, abs=1e-5)
    assert "leave 2.50 thou more and the upper depth goes down to Z -0.2170 in" in finding.then
    assert found(two_depths(tmp_path / "cured", 7, 7.5 + need, 43)) == []


def test_an_upper_depth_that_its_own_edges_do_not_reach_is_no_cure(tmp_path: Path) -> None:
    """RE 60, overlap 25: 35 deeper is 10 past the edges of 225, so more is left below: 11.7 thou,
    and at 8, where that would be over 30 thou more, the edges have to be longer."""
    change = one(two_depths(tmp_path / "a", 7, 10, 25), "shank-rub", -deep(3, 25) * THOU).change
    assert change is not None
    assert isinstance(change.after, float)
    need = 60 - math.sqrt(57**2 - 35**2) - 3
    assert change.after == pytest.approx(need * THOU, abs=1e-5)
    assert found(two_depths(tmp_path / "b", 7, 10 + need, 25)) == []
    change = one(two_depths(tmp_path / "c", 7, 10, 8), "shank-rub", -deep(3, 8) * THOU).change
    assert change is not None
    assert change.what == "APMX of T1"


def test_a_pass_repeated_is_no_second_finding(tmp_path: Path) -> None:
    """A spring pass on the lower depth rubs on the same wall: one cause."""
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("u", 7, -0.2), ("l", 7, -0.4), ("spring", 7, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    mill = tool(1, "bull", 0.25, RE=0.06, APMX=0.27, DMM=0.25)
    finding = one(write_job(tmp_path, nc, [mill], pitch=0.02, **WALL), "shank-rub", 0)
    assert finding.pass_number == 2


PASSES = """
[[passes]]
name = "profile"
tool = 1
operation = "contour"
feed = 10
spindle = 1000
side = "left"
points = [[-2, 0], [2, 0]]
top = 0
"""


def pass_list(folder: Path, text: str, mill: str) -> proud.Job:
    job = write_job(folder, Nc("in"), [mill], pitch=0.02, **WALL)
    (folder / "passes.toml").write_text(text, encoding="utf-8")
    path = job.spec.path
    path.write_text(path.read_text().replace('program = "op1.nc"', 'passes = "passes.toml"'))
    return proud.load(path)


@pytest.mark.parametrize("key", ["levels[2].allowance_side", "allowance_side"])
def test_a_pass_list_names_its_own_value(tmp_path: Path, key: str) -> None:
    """One pass in two levels, or two passes; the cure is written where the list says it."""
    if key == "allowance_side":
        text = f"{PASSES}bottom = -0.2\nallowance_side = '7 thou'\n{PASSES}bottom = -0.4\n"
        text += "allowance_side = '{lower}'\n"
    else:
        text = PASSES + "levels = [{{ bottom = -0.2, allowance_side = '7 thou' }}, "
        text += "{{ bottom = -0.4, allowance_side = '{lower}' }}]\n"
    text = text.replace("'", '"')
    mill = tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)
    finding = one(
        pass_list(tmp_path / "bad", text.format(lower="7.2 thou"), mill), "shank-rub", 0.2 * THOU
    )
    change = finding.change
    number = 2 if key == "allowance_side" else 1
    assert change is not None
    assert change.what == f"{key} of pass {number}"
    assert change.before == pytest.approx(7.2 * THOU)
    assert change.after == pytest.approx(10 * THOU, abs=1e-5)
    assert found(pass_list(tmp_path / "ok", text.format(lower="10 thou"), mill)) == []


def on_part(folder: Path, neck: float, lower: float, later: str = "") -> proud.Job:
    """A wall in two depths of the part, a tool with a neck of `neck` inches, 0.01 thinner."""
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", 0, -0.2), ("lower", lower, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    if later:
        nc.tool(2, "full depth").stroke(*[(x, 0.125 - 0.005, -0.4) for x in (-2, 2)])
    mills = [
        tool(1, "flat", 0.25, APMX=0.25, DN=0.24, LU=neck, DMM=0.25),
        tool(2, "flat", 0.25, APMX=0.5),
    ]
    job = write_job(folder, nc, mills, pitch=0.02, **WALL)
    path = job.spec.path
    path.write_text(path.read_text() + "[part]\ntop = 0\nbottom = -0.5\n", encoding="utf-8")
    return proud.load(path)


def test_no_stagger_that_leaves_a_line_on_the_part(tmp_path: Path) -> None:
    """The neck ends 20 thou below the top of a finished wall. 3 thou more on its lower depth would
    be a depth-line of 3 thou: a neck a thou past the top it is; with a pass over the full depth
    after it, the 3 thou (derived)."""
    finding = one(on_part(tmp_path / "bad", 0.38, 0), "shank-rub", 0)
    change = finding.change
    assert change is not None
    assert change.what == "LU of T1"
    assert change.before == pytest.approx(0.38 * IN)
    assert change.after == pytest.approx(0.401 * IN, abs=1e-9)
    assert "or leave 3.00 thou more on the lower depth, with a pass over the" in finding.then
    for module in ("shank_rub", "depth_line"):
        assert not twins.found(on_part(tmp_path / f"cured {module}", 0.401, 0), module)
    lines = twins.found(on_part(tmp_path / "line", 0.38, 3), "depth_line")
    assert [f.size for f in lines] == pytest.approx([3 * THOU], abs=1e-6)

    finding = one(on_part(tmp_path / "later", 0.38, 0, "full"), "shank-rub", 0)
    change = finding.change
    assert change is not None
    assert change.what == "side allowance of pass 2, added"
    assert "has to follow" not in finding.then
    assert "or use a longer neck (LU)" in finding.then
    cured = on_part(tmp_path / "cured later", 0.38, 3, "full")
    assert not found(cured)
    assert not twins.found(cured, "depth_line")


def test_without_a_part_a_pass_has_to_follow(tmp_path: Path) -> None:
    finding = one(two_depths(tmp_path, 7, 7, 60), "shank-rub", 0)
    assert "a pass over the full depth has to follow it" in finding.then
    assert "or use a tool relieved behind its edges" in finding.then


# --- shanks over floors, holders -----------------------------------------------------------------


def wide_shank(folder: Path, length: float) -> proud.Job:
    nc = Nc().tool(1, "slot").stroke((-8, 0, -2), (8, 1, -2))
    return write_job(folder, nc, [tool(1, "flat", 6, APMX=length, DMM=10)])


def test_a_thick_shank_over_the_top(tmp_path: Path) -> None:
    """APMX less the depth is free; at 10 micrometres the edges have to be longer (derived)."""
    assert found(wide_shank(tmp_path / "ok", 2.03)) == []
    for free, severity in ((0.01, "watch"), (0.0, "stop")):
        finding = one(wide_shank(tmp_path / number(free), 2 + free), "shank-rub", free)
        assert finding.severity == severity
        assert finding.change is not None
        assert finding.change.what == "APMX of T1"
        assert isinstance(finding.change.after, float)
        assert finding.change.after == pytest.approx(2.026, abs=1e-9)  # 2 + THOU, as typed in
        assert found(wide_shank(tmp_path / f"cured {free}", finding.change.after)) == []


def with_holder(folder: Path, stickout: float, pitch: float = 0.5) -> proud.Job:
    """A step 6 deep whose wall the holder's edge passes over, 8 below the top."""
    nc = Nc(clear=30).tool(2, "clear").stroke((-60, 12, -8), (60, 12, -8))
    nc.tool(1, "run").stroke((-60, 12, -9), (60, 12, -9))
    mill = tool(1, "flat", 6, APMX=5, DMM=5.5, LPR=stickout) + "\nholder = [[20.0, 20.0]]"
    return write_job(folder, nc, [mill, tool(2, "flat", 14)], pitch=pitch)


def test_a_holder_over_an_edge(tmp_path: Path) -> None:
    """LPR less the depth is free of the top; less than 10 thou is too little (derived)."""
    assert found(with_holder(tmp_path / "ok", 9.254)) == []
    for free, pitch in ((0.2, 0.2), (0.0, 1.0), (-0.3, 0.5)):
        finding = one(with_holder(tmp_path / number(free), 9 + free, pitch), "holder-rub", free)
        assert finding.severity == ("watch" if free > 0 else "stop")
        change = finding.change
        assert change is not None
        assert (change.what, change.before) == ("LPR of T1", pytest.approx(9 + free))
        assert isinstance(change.after, float)
        assert change.after == pytest.approx(9 + 10 * THOU, abs=1e-5)
        assert found(with_holder(tmp_path / f"cured {free}", change.after, pitch)) == []


def test_a_holder_beside_a_wall_goes_up_past_its_top(tmp_path: Path) -> None:
    """The holder's flank 0.1 from a wall 3 higher than its end: 3 up, and as far as 10 thou in
    space over an edge 0.1 aside ask for (derived)."""

    def job(folder: Path, stickout: float) -> proud.Job:
        nc = Nc(clear=30).tool(2, "clear").stroke((-60, 0, -8), (60, 0, -8))
        nc.tool(1, "run").stroke((-60, 2.9, -9), (60, 2.9, -9))
        mill = tool(1, "flat", 6, APMX=3, DMM=5.5, LPR=stickout) + "\nholder = [[14.0, 20.0]]"
        return write_job(folder, nc, [mill, tool(2, "flat", 20)], low=(-20, -9, -12))

    finding = one(job(tmp_path / "bad", 6), "holder-rub", 0.1)
    assert finding.change is not None
    assert isinstance(finding.change.after, float)
    wanted = 9 + math.sqrt((10 * THOU) ** 2 - 0.1**2)
    assert wanted <= finding.change.after <= wanted + 0.001 + 1e-9  # as typed in
    assert found(job(tmp_path / "cured", finding.change.after)) == []


def test_nothing_is_said_of_what_the_job_does_not_know(tmp_path: Path) -> None:
    nc = Nc().tool(1, "deep").stroke((-8, 0, -8), (8, 1, -8))
    assert found(write_job(tmp_path, nc, [tool(1, "flat", 6)])) == []


def test_margins_of_the_job(tmp_path: Path) -> None:
    """With shank_clearance at 4 thou, 3 thou free is too little; at 0, nothing but a touch is."""
    job = two_depths(tmp_path, 7, 10, 60)
    job.spec.margins["shank_clearance"] = 4 * THOU
    finding = one(job, "shank-rub", 3 * THOU)
    assert finding.change is not None
    assert finding.change.after == pytest.approx(1 * THOU, abs=1e-5)


# --- stock above the edges -----------------------------------------------------------------------


def slot(folder: Path, levels: int, pitch: float = 0.5, **words: float) -> proud.Job:
    nc = Nc().tool(1, "slot")
    for k in range(levels):
        z = -6.0 * (k + 1) / levels
        nc.stroke((-30, 0, z), (30, 3, z))
    return write_job(folder, nc, [tool(1, "flat", 6, **words)], pitch=pitch)


@pytest.mark.parametrize(("thick", "pitch"), [(6.0, 0.2), (6.0, 1.0), (5.0, 1.0), (0.0, 1.0)])
def test_a_slot_deeper_than_the_edges_at_once(tmp_path: Path, pitch: float, thick: float) -> None:
    """6 deep with 2.5 of edges: 3.5 of stock above them. A tool relieved by more than a thou, or
    of which nothing is known above, takes it in three levels of 2; another has to be longer."""
    words = {"DMM": thick} if thick else {}
    finding = one(slot(tmp_path / "bad", 1, pitch, APMX=2.5, **words), "cuts-above-length", 3.5)
    assert finding.severity == "stop"
    change = finding.change
    assert change is not None
    if thick == 6:
        assert (change.what, change.before) == ("APMX of T1", 2.5)
        assert isinstance(change.after, float)
        assert change.after == pytest.approx(6, abs=1e-5)
        cured = slot(tmp_path / "cured", 1, pitch, APMX=change.after, **words)
    else:
        assert change.what == "depth of a level in pass 1"
        assert (change.before, change.after) == (pytest.approx(6), pytest.approx(2))
        cured = slot(tmp_path / "cured", 3, pitch, APMX=2.5, **words)
    assert found(cured) == []


def test_a_relieved_tool_whose_shank_stays_above_takes_levels(tmp_path: Path) -> None:
    """A neck up to 7.5 of 6 deep, the shank above it as thick as the edges: three levels of 2."""
    words = {"APMX": 2.5, "DN": 5.5, "LU": 7.5, "DMM": 6.0}
    finding = one(slot(tmp_path / "bad", 1, **words), "cuts-above-length", 3.5)
    change = finding.change
    assert change is not None
    assert change.what == "depth of a level in pass 1"
    assert change.after == pytest.approx(2)
    assert found(slot(tmp_path / "cured", 3, **words)) == []


def test_a_finisher_shorter_than_the_wall_that_was_roughed_in_levels(tmp_path: Path) -> None:
    """All the wall's 0.3 at once, 3 of its 6 above the edges: not shank-rub, and one finding,
    though a spring pass follows."""

    def job(folder: Path, length: float) -> proud.Job:
        nc = Nc().tool(2, "rough")
        for z in (-2, -4, -6):
            nc.stroke((-40, 3.3, z), (40, 3.3, z))
        nc.tool(1, "finish").stroke((-40, 3, -6), (40, 3, -6))
        nc.heading("spring").stroke((-40, 3, -6), (40, 3, -6))
        tools = [tool(1, "flat", 6, APMX=length, DMM=6), tool(2, "flat", 6, APMX=10)]
        return write_job(folder, nc, tools, low=(-20, -15, -12), high=(20, 4, 0))

    assert found(job(tmp_path / "ok", 6)) == []
    finding = one(job(tmp_path / "bad", 3), "cuts-above-length", 3)
    assert (finding.pass_number, finding.tool) == (2, 1)
    assert finding.change is not None
    assert finding.change.what == "APMX of T1"
    assert finding.change.after == pytest.approx(6, abs=1e-5)


def test_a_strip_above_the_edges_of_a_relieved_tool(tmp_path: Path) -> None:
    """2 thou of the upper wall in the way of the lower depth, clear of a neck 20 thou thinner: it
    stays on the wall, 150 thou high; the lower depth leaves 5 more (derived)."""

    def job(folder: Path, lower: float) -> proud.Job:
        nc = Nc("in", 1.0).tool(1)
        for name, allowance, z in (("upper", 10, -0.2), ("lower", lower, -0.4)):
            nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
        mill = tool(1, "flat", 0.25, APMX=0.25, DN=0.21, LU=0.6, DMM=0.25)
        return write_job(folder, nc, [mill], pitch=0.02, **WALL)

    assert found(job(tmp_path / "ok", 10)) == []
    finding = one(job(tmp_path / "bad", 8), "cuts-above-length", 150 * THOU)
    assert finding.severity == "watch"
    assert finding.change is not None
    assert finding.change.after == pytest.approx(5 * THOU, abs=1e-5)
    assert found(job(tmp_path / "cured", 13)) == []


def test_a_rapid_counts_and_is_named(tmp_path: Path) -> None:
    """A thick shank passes 5 micrometres beside the block in a rapid (derived)."""
    nc = Nc(clear=30).tool(1, "by").raw("G0 X-50 Y0", "G0 Z30", "G0 Z-3", "G0 X-26", "G0 Z30")
    job = write_job(tmp_path, nc.stroke((-60, 0, 9)), [tool(1, "flat", 6, APMX=2, DMM=11.99)])
    finding = one(job, "shank-rub", 0.005)
    assert finding.text == "the shank clears the stock by only 5.0 µm, in a rapid"
    assert finding.lines == (8, 10)  # down, past it, and up


# --- more of what shops do -----------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["slot", "hole"])
def test_in_a_slot_or_a_hole_allowances_are_no_cure(tmp_path: Path, shape: str) -> None:
    """Within its edges at each level, the shank as thick as they are rubs on both sides: longer
    edges, so that it stays a thou over the top."""

    def job(folder: Path, length: float) -> proud.Job:
        nc = Nc().tool(1, shape)
        for z in (-2, -4, -6):
            nc.stroke(*([(-30, 0, z), (30, 3, z)] if shape == "slot" else [(0, 0, z)]))
        return write_job(folder, nc, [tool(1, "flat", 6, APMX=length, DMM=6)])

    finding = one(job(tmp_path / "bad", 2.5), "shank-rub", 0)
    assert finding.severity == "stop"
    assert finding.change is not None
    assert finding.change.what == "APMX of T1"
    assert isinstance(finding.change.after, float)
    assert finding.change.after == pytest.approx(6.026, abs=1e-9)  # 6 + THOU, as typed in
    assert found(job(tmp_path / "cured", finding.change.after)) == []


def boss(folder: Path, lower: float) -> proud.Job:
    """Return a boss of radius 0.2 in, milled round in two depths on arcs."""
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", 7, -0.2), ("lower", lower, -0.4)):
        r = number(0.325 + allowance * T)
        nc.heading(name).down((float(r), 0, z)).raw(f"G3 X{r} Y0 I-{r} J0").up()
    bar = 'shape = "round"\ndiameter = 0.8\nbottom = -0.5\ntop = 0'
    mill = tool(1, "bull", 0.25, RE=0.03, APMX=0.25, DMM=0.25)
    return write_job(folder, nc, [mill], stock=bar, pitch=0.02, unit="in")


def test_round_a_boss(tmp_path: Path) -> None:
    """As along a straight wall (derived)."""
    finding = one(boss(tmp_path / "bad", 7.4), "shank-rub", 0.4 * THOU)
    assert finding.change is not None
    assert finding.change.after == pytest.approx(2.6 * THOU, abs=1e-5)
    assert found(boss(tmp_path / "cured", 10)) == []


def test_two_walls_are_two_findings(tmp_path: Path) -> None:
    """Each of two walls, left by its own upper pass, is too tight for the lower depth."""
    nc = Nc("in", 1.0).tool(1)
    for y, sign, lower in ((0.15, 1, 7.5), (-0.15, -1, 7.2)):
        for allowance, z in ((7, -0.2), (lower, -0.4)):
            off = y + sign * (0.125 + allowance * T)
            nc.heading(f"wall {off}").stroke(*[(x, off, z) for x in (-2, 2)])
    mill = tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)
    job = write_job(tmp_path, nc, [mill], pitch=0.02, **(WALL | {"low": (-0.7, -0.2, -0.5)}))
    sizes = [(f.pass_number, f.other_pass, round(f.size / THOU, 3)) for f in found(job)]
    assert sizes == [(2, 1, 0.5), (4, 3, 0.2)]


def test_the_register_of_the_upper_depth_is_taken_out(tmp_path: Path) -> None:
    """The Z to program is that of the program, not of where its register takes the tool."""
    nc = Nc("in", 1.0)
    for name, h, allowance, z in (("upper", 1, 7, -0.2), ("lower", 2, 10, -0.4)):
        nc.tool(1, h=h).heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    mill = tool(1, "bull", 0.25, RE=0.06, APMX=0.26, DMM=0.25)
    job = write_job(tmp_path, nc, [mill], pitch=0.02, offsets='H1 = "17 thou"', **WALL)
    change = one(job, "shank-rub", (60 - math.hypot(57, 17)) * THOU).change
    assert change is not None
    assert change.before == pytest.approx(-0.2 * IN)
    assert change.after == pytest.approx(-0.217 * IN)


@pytest.mark.parametrize("corner", [0.5, 1.0])
def test_levels_of_a_corner_radius_leave_no_fillet_above_the_edges(
    tmp_path: Path, corner: float
) -> None:
    """6 deep with edges of 2.5: the first level 2.5, the others 2.5 - RE at most."""
    count = 1 + math.ceil((6 - 2.5) / (2.5 - corner))

    def job(folder: Path, levels: int) -> proud.Job:
        nc = Nc().tool(1, "slot")
        for k in range(levels):
            z = -6.0 * (k + 1) / levels
            nc.stroke((-30, 0, z), (30, 3, z))
        return write_job(folder, nc, [tool(1, "bull", 6, RE=corner, APMX=2.5, DMM=5.0)])

    finding = one(job(tmp_path / "bad", 1), "cuts-above-length", 3.5)
    assert finding.change is not None
    assert finding.change.after == pytest.approx(6 / count)
    assert found(job(tmp_path / "cured", count)) == []


def test_a_pass_of_two_depths_names_the_depth(tmp_path: Path) -> None:
    nc = Nc("in", 1.0).tool(1, "both")
    for allowance, z in ((7, -0.2), (7.2, -0.4)):
        nc.stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    mill = tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)
    change = one(
        write_job(tmp_path, nc, [mill], pitch=0.02, **WALL), "shank-rub", 0.2 * THOU
    ).change
    assert change is not None
    assert change.what == "side allowance of pass 1 at Z -0.4000 in, added"
