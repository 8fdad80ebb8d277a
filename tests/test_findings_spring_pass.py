"""Spring passes in metals that harden, and where one is missing; what stays silent."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_twins import THOU, found

ROOT = Path(__file__).resolve().parent.parent
R, LENGTH = 3.0, 60.0
PLAIN = tool(1, "flat", 2 * R)
KNOWN = tool(1, "flat", 2 * R, APMX=12.0, DMM=2 * R, LPR=LENGTH, ZEFF=4)
FEED = 100.0


def job_of(
    folder: Path, nc: Nc, material: str = "316L", tools: str = PLAIN, pitch: float = 0.7
) -> proud.Job:
    stock = 'shape = "block"\nlow = [-10.0, -10.0, -9.0]\nhigh = [10.0, 10.0, 0.0]\n'
    stock += f'material = "{material}"' if material else ""
    return write_job(folder, nc, [tools], stock=stock, pitch=pitch)


def boss(nc: Nc, out: float, z: float = -4.0, *, back: bool = False, rounds: int = 1) -> Nc:
    """Round a square boss, half 4; `back`: the other way round."""
    h = 4.0 + R + out
    corners = [(h, 0), (h, -h), (-h, -h), (-h, h), (h, h), (h, 0)]
    corners = corners[::-1] if back else corners
    points = corners + corners[1:] * (rounds - 1)
    return nc.stroke(*((x, y, z) for x, y in points))


def finished(**more: bool) -> Nc:
    return boss(boss(Nc().tool(1, "rough"), 0.3).heading("finish"), 0.0, **more)


@pytest.mark.parametrize(
    ("material", "pitch"), [("316L", 0.0254), ("Inconel 718", 0.2), ("Ti-6Al-4V", 1.7)]
)
def test_a_spring_pass_rubs(tmp_path: Path, material: str, pitch: float) -> None:
    nc = boss(finished().heading("spring"), 0.0)
    (finding,) = found(job_of(tmp_path, nc, material, pitch=pitch), "spring_pass")
    assert (finding.rule, finding.severity, finding.tool) == ("spring-pass", "watch", 1)
    assert (finding.pass_number, finding.other_pass) == (3, 2)
    assert finding.size == 0.0
    assert "runs pass 2 again and by program meets nothing: it rubs" in finding.text
    assert finding.change
    assert finding.change.after == "left out"
    assert finding.change.seconds == pytest.approx(-60 * 8 * 7.0 / FEED)


def test_without_it_there_is_nothing(tmp_path: Path) -> None:
    assert not found(job_of(tmp_path, finished()), "spring_pass")


def test_the_other_way_round_and_in_one_pass(tmp_path: Path) -> None:
    back = boss(finished().heading("spring"), 0.0, back=True)
    (finding,) = found(job_of(tmp_path / "back", back), "spring_pass")
    assert finding.pass_number == 3
    nc = boss(boss(Nc().tool(1, "rough"), 0.3).heading("finish"), 0.0, rounds=2)
    (finding,) = found(job_of(tmp_path / "twice", nc), "spring_pass")
    assert (finding.pass_number, finding.other_pass) == (2, None)
    assert "runs the same path twice" in finding.text


def test_two_of_them_are_two_passes(tmp_path: Path) -> None:
    nc = boss(boss(finished().heading("spring"), 0.0).heading("again"), 0.0)
    assert [f.pass_number for f in found(job_of(tmp_path, nc), "spring_pass")] == [3, 4]


@pytest.mark.parametrize("tenths", [0.5, 0.9])
def test_nearly_nothing(tmp_path: Path, tenths: float) -> None:
    nc = boss(finished().heading("spring"), -tenths * THOU / 10)
    (finding,) = found(job_of(tmp_path, nc), "spring_pass")
    assert finding.size == pytest.approx(tenths * THOU / 10, abs=1e-6)


def test_silent_twins(tmp_path: Path) -> None:
    spring = boss(finished().heading("spring"), 0.0)
    depths = boss(boss(boss(Nc().tool(1, "rough"), 0.3).heading("a"), 0.0, -2.0).heading("b"), 0.0)
    overlap = finished().heading("overlap")
    overlap.stroke((4 + R, 1, -4), (4 + R, 0, -4))
    cases = {
        "4140": (spring, "4140"), "6061": (spring, "6061-T6"), "unknown": (spring, ""),
        "depths": (depths, "316L"), "once": (finished(), "316L"), "overlap": (overlap, "316L"),
        "cuts": (boss(finished().heading("last"), -0.05), "316L"),
        "higher": (boss(finished().heading("higher"), 0.0, -3.9), "316L"),
    }  # fmt: skip
    for name, (nc, material) in cases.items():
        assert not found(job_of(tmp_path / name, nc, material), "spring_pass"), name


# ---------------------------------------------------------------------------------------- estimates


def wall(layer: float, z: float, times: int = 1) -> Nc:
    """A wall roughed by half the tool's width and finished, the spindle turning."""
    nc = Nc().tool(1, "rough").raw("M3 S3000", f"F{number(FEED)}")
    nc.stroke((20, -R - layer, z), (-20, -R - layer, z)).heading("finish")
    for _ in range(times):
        nc.stroke((20, -R, z), (-20, -R, z))
    return nc


def pushed(layer: float, z: float) -> float:
    """Return the deflection by hand for 4140: kc1 1675, mc 0.24; VDI 3323 group P3, mm.

    Mean force of a turn: kc1 h^(1 - mc) * depth * teeth in the cut, h = fz ae / (R arc).
    """
    arc = math.acos(1 - layer / R)
    chip = FEED / (3000 * 4) * layer / (R * arc)
    force = 1675 * chip ** (1 - 0.24) * -z * 4 * arc / math.tau
    return force * LENGTH**3 / (3 * 600e3 * math.pi * (0.8 * 2 * R) ** 4 / 64)


def test_a_missing_spring_pass(tmp_path: Path) -> None:
    """A slender tool over all of its edge."""
    job = job_of(tmp_path / "once", wall(0.3, -8.0), "4140", KNOWN)
    (finding,) = found(job, "spring_pass")
    assert (finding.severity, finding.pass_number) == ("note", 2)
    assert pushed(0.3, -8.0) > 3 * THOU
    assert finding.size == pytest.approx(pushed(0.3, -8.0), rel=0.02)
    assert finding.sure.startswith("estimated from ")
    assert finding.change
    assert finding.change.seconds == pytest.approx(60 * 40 / FEED)
    twice = wall(0.3, -8.0, times=2)
    assert not found(job_of(tmp_path / "twice", twice, "4140", KNOWN), "spring_pass")


def test_no_spring_pass_is_asked_for(tmp_path: Path) -> None:
    cases = {
        "light": (wall(0.1, -2.0), "4140", KNOWN), "stiff": (wall(0.3, -8.0), "6061", KNOWN),
        "unknown": (wall(0.3, -8.0), "", KNOWN), "tool": (wall(0.3, -8.0), "4140", PLAIN),
        "hardens": (wall(0.3, -8.0), "316", KNOWN),
    }  # fmt: skip
    limits = {"stiff": 20 * THOU}
    for name, (nc, material, tools) in cases.items():
        job = job_of(tmp_path / name, nc, material, tools)
        if name in limits:
            job.spec.margins["spring_missing"] = limits[name]
        assert not found(job, "spring_pass"), name


def test_a_tool_pushed_off_has_a_layer_to_cut(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, wall(0.3, -8.0, times=2), "316L", KNOWN), "spring_pass")
    assert finding.severity == "note"
    assert "but for about" in finding.text


def test_the_load_that_counts_is_that_of_the_straights(tmp_path: Path) -> None:
    """A pocket whose corners bend the tool far more: rubbing is judged by its straights.

    0.1 on a wall 4 high bends it by less than half a thou; over a quarter turn more it is far
    more than that (derived).
    """
    known = KNOWN.replace(f"LPR = {LENGTH:.0f}", "LPR = 30")
    assert known != KNOWN

    def ring(nc: Nc, half: float) -> Nc:
        ends = [(half, 0), (half, half), (-half, half), (-half, -half), (half, -half), (half, 0)]
        return nc.stroke(*((x, y, -4.0) for x, y in ends))

    nc = ring(Nc().tool(1, "rough").raw("M3 S3000"), 4.9)
    ring(ring(nc.heading("finish"), 5.0).heading("spring"), 5.0)
    (finding,) = found(job_of(tmp_path, nc, "316L", known), "spring_pass")
    arc = math.acos(1 - 0.1 / R)
    chip = FEED / (3000 * 4) * 0.1 / (R * arc)
    force = 2150 * chip**0.8 * 4 * 4 * arc / math.tau
    off = 1000 * force * 30**3 / (3 * 600e3 * math.pi * (0.8 * 2 * R) ** 4 / 64)
    assert off < 12.7
    assert finding.severity == "watch"
    said = float(finding.text.split("but for about ")[1].split(" ")[0])
    assert said == pytest.approx(off, abs=0.06)
    assert "where it cut most" in finding.text
    assert finding.text.startswith("pass 3 runs pass 2 again")
    assert "leave 50.8 µm to 76.2 µm" in finding.then
    assert finding.change
    assert finding.change.what.startswith("lines ")


@pytest.mark.parametrize("folder", ["first_try", "second_try"])
@pytest.mark.parametrize("source", ["job_passes.toml"])
def test_the_demo(folder: str, source: str) -> None:
    from proud.findings.case import Case
    from proud.findings.spring_pass import _springs

    job = proud.load(ROOT / "demo_parts" / folder / source)
    case = Case(job, None)  # type: ignore[arg-type]
    assert not [s for t in job.tools for s in _springs(case, t)]
