"""Gouge and leftover at their worst place; strips between strokes; what a corner must leave.

Sizes follow from plane geometry: the depth that is programmed, the tool's outline, a circle in a
corner. All on the stepped block of `test_findings_part`.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from helpers_job import Nc, tool
from helpers_twins import found
from proud.findings.base import Finding
from test_findings_part import CAPS, TOLERANCE, job_of, program

TINY = 1e-5
TOOLS = [
    tool(1, "flat", 6.0), tool(2, "flat", 6.0), tool(3, "ball", 1.0), tool(4, "ball", 4.0),
    tool(5, "drill", 2.0, SIG=90.0), tool(6, "bull", 6.0, RE=1.0),
]  # fmt: skip
TOP_ONLY = f"top = 0\nbottom = -8\ntolerance = {TOLERANCE}"


def facing(nc: Nc, *, step: float = 4.0, first: float = -6.0, until: float = 6.0) -> Nc:
    y = first
    while y <= until + 1e-9:
        nc.stroke((-20, y, 0), (20, y, 0))
        y += step
    return nc


def only(folder: Path, nc: Nc, *, run: bool = False, **more: object) -> Finding:
    (finding,) = found(job_of(folder, nc, tools=TOOLS, **more), "part", run=run)  # type: ignore[arg-type]
    return finding


# ------------------------------------------------------------------------------------ worst places


@pytest.mark.parametrize("pitch", [0.3, 0.9])
@pytest.mark.parametrize("y", [1.0, 1.37, -2.213])
def test_a_scratch_narrower_than_all_places(tmp_path: Path, y: float, pitch: float) -> None:
    """A ball of 1 mm, 0.1 deep: 0.6 wide."""
    nc = program().tool(3, "scratch").stroke((-8, y, -0.1), (-2, y, -0.1))
    finding = only(tmp_path, nc, pitch=pitch)
    assert (finding.rule, finding.tool, finding.sure) == ("gouge", 3, "exact")
    assert finding.size == pytest.approx(0.1, abs=TINY)
    assert finding.at[1] == pytest.approx(y, abs=2e-3)  # 0.1 - 4e-6 deep there
    assert finding.change
    assert finding.change.after == pytest.approx(0.0)


@pytest.mark.parametrize("deep", [0.15, 0.2, 0.6])
@pytest.mark.parametrize("y", [0.0, 1.713])
def test_a_nick_in_a_wall(tmp_path: Path, y: float, deep: float) -> None:
    """The tool runs into the step's wall, a groove as round as the tool."""
    nc = program().heading("nick").stroke((6, y, -2.5), (3 - deep, y, -2.5), (6, y, -2.5))
    finding = only(tmp_path, nc)
    assert finding.rule == "gouge"
    assert finding.size == pytest.approx(deep, abs=TINY)
    assert finding.at[:2] == pytest.approx((-deep, y), abs=1e-2)
    assert finding.change
    assert finding.change.what.startswith("side allowance of pass 4 at line")
    assert finding.change.after == pytest.approx(deep, abs=TINY)


@pytest.mark.parametrize("deep", [0.7, 2.0, 4.5])
def test_a_hole_in_the_wrong_place(tmp_path: Path, deep: float) -> None:
    """To the point of the drill, however deep."""
    nc = program().tool(5, "drill").stroke((-5.3, 1.2, -deep))
    finding = only(tmp_path, nc)
    assert (finding.rule, finding.tool) == ("gouge", 5)
    assert finding.size == pytest.approx(deep, abs=TINY)
    assert finding.at == pytest.approx((-5.3, 1.2, -deep), abs=1e-4)


def test_a_hole_right_through_is_as_deep_as_the_part(tmp_path: Path) -> None:
    nc = program().tool(5, "drill").stroke((-5.3, 1.2, -10))
    finding = only(tmp_path, nc)
    assert (finding.rule, finding.tool) == ("gouge", 5)
    assert finding.size == pytest.approx(8.0, abs=TINY)


def test_a_slope_cut_into_the_top_is_said_at_its_deepest(tmp_path: Path) -> None:
    nc = program().tool(3, "scratch").stroke((-8, 0, -0.05), (-2.7, 0.4, -0.31))
    finding = only(tmp_path, nc)
    assert finding.size == pytest.approx(0.31, abs=TINY)


def test_other_passes_that_need_the_same_are_named(tmp_path: Path) -> None:
    nc = program(floor=-2.9).heading("again").stroke((11, -20, -2.88), (11, 20, -2.88))
    finding = only(tmp_path, nc)
    assert finding.size == pytest.approx(0.1)
    assert "with pass" not in finding.then  # the second one takes nothing, and leaves nothing
    nc = program(floor=-2.85).heading("again").stroke((11, -20, -2.9), (11, 20, -2.9))
    finding = only(tmp_path / "two", nc)
    assert (finding.size, finding.pass_number) == (pytest.approx(0.15), 3)
    assert finding.then.endswith("with pass 4 set right the same way")


def test_a_pass_that_runs_over_the_metal_and_takes_nothing_is_what_left_it(tmp_path: Path) -> None:
    nc = program(floor=-2.8).heading("finish")
    for x in (11.0, 7.0, 3.0):
        nc.stroke((x, -20, -2), (x, 20, -2))
    finding = only(tmp_path, nc, run=True)
    assert (finding.size, finding.pass_number) == (pytest.approx(0.2), 4)
    assert finding.other_pass == 3
    assert finding.change
    assert (finding.change.before, finding.change.after) == (-2.0, pytest.approx(-3.0))


def test_the_foot_of_a_wall_whose_finisher_stops_too_high_has_its_own_rule(tmp_path: Path) -> None:
    nc = program(side=0.3).tool(1, "finish")
    x, y = 13.0, 8.0
    nc.stroke((-x, -20, -7.7), (-x, y, -7.7), (x, y, -7.7), (x, -y, -7.7), (-20, -y, -7.7))
    job = job_of(tmp_path, nc, tools=TOOLS)
    assert [f.rule for f in found(job, "ledge", run=True)] == ["ledge-left"]
    assert not found(job, "part")


# ------------------------------------------------------------------------------------------ strips


@pytest.mark.parametrize("run", ["model", "top"])
@pytest.mark.parametrize("web", [0.05, 0.3, 2.0])
def test_raw_metal_between_strokes(tmp_path: Path, web: float, run: str) -> None:
    """0.5 of raw stock over the top; a stepover of the tool's 6 mm and the web."""
    part = {} if run == "model" else {"part": TOP_ONLY}
    y = -(6 + web) / 2
    nc = facing(Nc().tool(1, "face"), first=y, step=6 + web, until=-y)
    finding = only(tmp_path / "bad", nc, run=run == "top", **part)  # type: ignore[arg-type]
    assert (finding.rule, finding.sure) == ("leftover", "exact")
    assert finding.severity == ("spoils" if run == "model" else "watch")
    assert finding.size == pytest.approx(0.5, abs=TINY)
    assert abs(finding.at[1]) < 1e-3
    assert f"a strip {1000 * web:.1f} µm wide" in finding.text or web == 2.0
    assert finding.change
    assert finding.change.what == "stepover of pass 1"
    assert finding.change.before == pytest.approx(6 + web)
    step = finding.change.after
    assert isinstance(step, float)
    cured = facing(Nc().tool(1, "face"), first=-step / 2, step=step, until=step / 2)
    job = job_of(tmp_path / "good", cured, tools=TOOLS, **part)
    assert not found(job, "part", run=run == "top")


def test_a_web_between_two_pockets_is_one_leftover(tmp_path: Path) -> None:
    """Wider than a sliver; its faces and cusps are no findings of their own."""
    nc = Nc().tool(1, "face")
    for y in (-6.0, -2.0, 2.0, 6.0):
        nc.stroke((-20, y, 0), (20, y, 0))
    nc.tool(2, "one").stroke((3, -20, -3), (3, 20, -3))
    nc.heading("other").stroke((9.8, -20, -3), (9.8, 20, -3))
    finding = only(tmp_path, nc)
    assert (finding.rule, finding.size) == ("leftover", pytest.approx(3.0, abs=TINY))
    assert (finding.pass_number, finding.other_pass) == (3, 2)
    assert "a strip 800.0 µm wide between pass 2 and pass 3" in finding.text


def test_a_sliver_is_not_said_again(tmp_path: Path) -> None:
    nc = facing(Nc().tool(1, "face"))
    nc.tool(2, "one").stroke((3, -20, -3), (3, 20, -3))
    nc.heading("other").stroke((9.2, -20, -3), (9.2, 20, -3))
    job = job_of(tmp_path, nc, tools=TOOLS)
    assert not found(job, "part")
    assert [f.rule for f in found(job, "thin") if f.severity != "note"] == ["sliver"]


@pytest.mark.parametrize("run", ["model", "top"])
def test_what_another_setup_machines_is_silent(tmp_path: Path, run: str) -> None:
    """One end of the top has no stroke beyond it; the shoulder has none at all."""
    part = {} if run == "model" else {"part": TOP_ONLY}
    nc = facing(Nc().tool(1, "face"), until=-1.0)
    assert not found(job_of(tmp_path, nc, tools=TOOLS, **part), "part", run=True)


def test_metal_under_a_clamp_between_strokes_is_silent(tmp_path: Path) -> None:
    box = '\n[[setups.fixture]]\nname = "strap"\nlow = [-20, -20, 0.5]\nhigh = [20, 20, 4]\n'
    nc = facing(Nc().tool(1, "face"), first=-4.0, step=8.0, until=4.0)
    assert found(job_of(tmp_path / "free", nc, tools=TOOLS), "part")
    assert not found(job_of(tmp_path / "held", nc, tools=TOOLS, setup=box), "part")


@pytest.mark.parametrize("step", [4.0, 4.2])
def test_ridges_do_not_hide_a_top_that_is_too_low(tmp_path: Path, step: float) -> None:
    """Over DC - 2 RE the corners leave ridges of 5 um: RE - sqrt(RE^2 - 0.1^2)."""
    nc = Nc().tool(6, "face")
    y = -8.4
    while y < 8.5:
        nc.stroke((-20, y, -0.3), (20, y, -0.3))
        y += step
    finding = only(tmp_path, nc, run=True, part=TOP_ONLY, pitch=0.05)
    assert (finding.rule, finding.size) == ("gouge", pytest.approx(0.3))


# ----------------------------------------------------------------------------------------- corners

SLOPE = math.tan(math.radians(30))
SLOPED = [(-10, -8), (10, -8), (10, -3), (4, -3), (4 - 3 / SLOPE, 0), (-10, 0)]
FAN = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
assert len(FAN) == len(CAPS)
RADIUS = 2.0
IN_CORNER = 4 + RADIUS * math.tan(math.radians(15))
"""x of a ball of 4 mm that touches slope and floor."""


def sloped() -> list[list[tuple[float, float, float]]]:
    front = [(float(x), -5.0, float(z)) for x, z in SLOPED]
    back = [(x, 5.0, z) for x, _, z in front]
    rows = []
    for a, b, c in FAN:
        rows += [[front[a], front[b], front[c]], [back[a], back[c], back[b]]]
    for k in range(6):
        n = (k + 1) % 6
        rows += [[front[k], back[k], back[n]], [front[k], back[n], front[n]]]
    return rows


def on_slope(last: float) -> Nc:
    """Face, floor up to x 4.8, and the slope by a ball whose last path runs at `last`."""
    nc = facing(Nc().tool(1, "face"))
    nc.tool(2, "floor")
    for x in (7.8, 11.0):
        nc.stroke((x, -20, -3), (x, 20, -3))
    nc.tool(4, "slope")
    count = math.ceil((last + 1.5) / 0.2)
    for k in range(count + 1):
        x = -1.5 + (last + 1.5) * k / count
        foot = x - RADIUS / 2  # it touches the slope there
        z = -3 + (4 - foot) * SLOPE + RADIUS * math.cos(math.radians(30)) - RADIUS
        nc.stroke((x, -20, z), (x, 20, z))
    return nc


@pytest.mark.parametrize("short", [0.2, 0.336])
def test_a_ball_that_stops_short_of_a_corner(tmp_path: Path, short: float) -> None:
    """Between its last path and the floor: as high as the ball stands where the floor begins.

    Nothing of it is what the corner, 150 degrees, must keep: that ends 0.54 from the edge.
    """
    x = IN_CORNER - short
    z = -3 + (4 - (x - RADIUS / 2)) * SLOPE + RADIUS * math.cos(math.radians(30))
    expected = z - math.sqrt(RADIUS**2 - (4.8 - x) ** 2) + 3
    assert expected > 0.1
    part = 'model = "part.stl"\ntolerance = 0.03'
    finding = only(tmp_path, on_slope(x), mesh=sloped(), part=part)
    assert (finding.rule, finding.severity, finding.tool) == ("leftover", "spoils", 4)
    assert finding.size == pytest.approx(expected, abs=1e-4)
    assert finding.at[0] == pytest.approx(4.8, abs=1e-3)
    assert finding.change is None  # no height is off: one more path


def test_what_a_ball_must_leave_in_that_corner_is_a_note(tmp_path: Path) -> None:
    """R (1 - sqrt(1 - tan(15)^2)) at the most: 73 um, at the edge itself."""
    most = RADIUS * (1 - math.sqrt(1 - math.tan(math.radians(15)) ** 2))
    nc = on_slope(IN_CORNER).stroke((5.2, -20, -3), (5.2, 20, -3))
    part = 'model = "part.stl"\ntolerance = 0.03'
    finding = only(tmp_path, nc, mesh=sloped(), part=part)
    assert (finding.rule, finding.severity) == ("leftover", "note")
    assert finding.size == pytest.approx(most, abs=TINY)
