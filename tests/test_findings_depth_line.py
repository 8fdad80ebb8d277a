"""The line between two depths of a wall: twins with steps set by hand."""

from __future__ import annotations

import math
import re
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_twins import TENTH, THOU, found

ROOT = Path(__file__).resolve().parent.parent
TOOLS = [
    tool(1, "flat", 6.0),
    tool(2, "flat", 10.0, APMX=5.0, DN=9.0, LU=20.0),
    tool(3, "bull", 6.0, RE=1.0),
    tool(4, "flat", 12.0),
]
"""Tool 2 has short edges and a thinner neck: it leaves the upper depth alone."""
PART = "\n\n[part]\ntop = 0\nbottom = -9"
PITCHES = (0.13, 0.5, 1.7)


def job_of(
    folder: Path, nc: Nc | str, pitch: float = 0.5, *, part: str = PART, **more: str
) -> proud.Job:
    block = 'shape = "block"\nlow = [-12, -8, -12]\nhigh = [12, 8, 0]' + part
    return write_job(folder, nc, TOOLS, stock=block, pitch=pitch, **more)


def along(nc: Nc, off: float, z: float, radius: float = 3.0) -> Nc:
    """Along the wall y = 0, metal behind it, `off` from it."""
    y = -radius - off
    return nc.stroke((-20, y, z), (20, y, z))


def depths(upper: float, lower: float) -> Nc:
    """One pass with tool 1 in two depths, which leave `upper` and `lower` on the wall."""
    nc = Nc().tool(1, "wall")
    along(nc, upper, -4.0)
    return along(nc, lower, -9.5)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("step", [0.6, 1.3, 5.0])
def test_the_lower_depth_stands_proud(tmp_path: Path, step: float, pitch: float) -> None:
    (finding,) = found(job_of(tmp_path / "bad", depths(0.0, step * THOU), pitch), "depth_line")
    assert (finding.rule, finding.severity) == ("depth-line", "spoils")
    assert finding.size == pytest.approx(step * THOU, abs=TENTH / 100)
    assert (finding.pass_number, finding.other_pass) == (1, None)
    assert finding.at[1:] == pytest.approx((-step * THOU, -4.0), abs=1e-4)
    assert "the wall's lower depth stands" in finding.text
    said = re.search(r", along about ([0-9.]+) mm$", finding.text)
    assert said is not None
    assert float(said[1]) == pytest.approx(24.0, rel=0.1)  # by stations of the path
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.what == "side allowance of pass 1 at Z -9.500 mm, added"
    cured = depths(0.0, step * THOU + change.after)
    assert not found(job_of(tmp_path / "cured", cured, pitch), "depth_line")


@pytest.mark.parametrize("pitch", PITCHES)
def test_the_upper_depth_stands_proud(tmp_path: Path, pitch: float) -> None:
    """The lower pass's edges end at z = -4.5, under the first depth."""

    def two(off: float) -> Nc:
        nc = along(Nc().tool(1, "upper"), off, -4.8)
        return along(nc.tool(2, "lower"), 0.0, -9.5, radius=5.0)

    (finding,) = found(job_of(tmp_path / "bad", two(0.9 * THOU), pitch), "depth_line")
    assert finding.size == pytest.approx(0.9 * THOU, abs=TENTH / 100)
    assert (finding.pass_number, finding.other_pass, finding.tool) == (1, 2, 1)
    assert "the wall's upper depth stands" in finding.text
    assert finding.at[2] == pytest.approx(-4.5, abs=1e-4)
    assert finding.change
    assert finding.change.after == pytest.approx(-0.9 * THOU)
    assert not found(job_of(tmp_path / "cured", two(0.0), pitch), "depth_line")


@pytest.mark.parametrize("step", [-1.1, 0.7])
def test_a_short_tool_ends_where_the_upper_depth_does(tmp_path: Path, step: float) -> None:
    """Its edges reach up from z = -8 to -3, the upper depth's floor."""
    nc = along(Nc().tool(1, "upper"), 0.0, -3.0)
    along(nc.tool(2, "lower"), step * THOU, -8.0, radius=5.0)
    (finding,) = found(job_of(tmp_path, nc), "depth_line")
    assert finding.size == pytest.approx(abs(step) * THOU, abs=TENTH / 100)
    assert finding.pass_number == (2 if step > 0 else 1)


def test_a_band_as_far_out_as_the_lower_depth_is_part_of_it(tmp_path: Path) -> None:
    """0.5 mm of the roughed wall stay between the depths, 1 micrometre further in."""
    nc = along(Nc().tool(1, "rough"), 0.166, -5.0)
    along(nc.heading("finish"), 0.0, -4.5)
    along(nc, 0.167, -9.5)
    (finding,) = found(job_of(tmp_path, nc), "depth_line")
    assert finding.size == pytest.approx(0.1665, abs=TENTH)


def test_the_fillet_between_two_depths_is_none_of_them(tmp_path: Path) -> None:
    """A bull leaves its corner's fillet on the lower depth's ledge, 3 thou wide."""
    nc = along(Nc().tool(3, "upper"), 0.0, -4.0)
    along(nc.tool(1, "lower"), 3 * THOU, -9.5)
    (finding,) = found(job_of(tmp_path, nc), "depth_line")
    assert finding.size == pytest.approx(3 * THOU, abs=TENTH / 100)


def test_a_d_register_makes_it(tmp_path: Path) -> None:
    nc = Nc().tool(4, "upper").down((-20, -6, -4)).to((20, -6, -4)).up().tool(1, "lower")
    nc.raw("G0 X-25 Y-9", "G0 Z5", "G1 Z-9.5", "G1 G42 D1 X-20 Y0", "G1 X20 Y0", "G1 G40 X25 Y-9")
    nc.up()
    job = job_of(tmp_path / "bad", nc, offsets='D1 = "1.2 thou"')
    (finding,) = found(job, "depth_line")
    error = job.spec.d_errors[1]
    assert finding.size == pytest.approx(error, abs=TENTH / 100)
    assert finding.change
    assert (finding.change.what, finding.change.before) == ("D1", pytest.approx(error))
    assert not found(job_of(tmp_path / "cured", nc), "depth_line")


def test_more_levels_of_one_pass_are_one_finding(tmp_path: Path) -> None:
    nc = Nc().tool(1, "wall")
    for off, z in ((0.0, -3.0), (0.8 * THOU, -6.0), (2.0 * THOU, -9.5)):
        along(nc, off, z)
    (finding,) = found(job_of(tmp_path, nc), "depth_line")
    assert finding.size == pytest.approx(1.2 * THOU, abs=TENTH / 100)


def round_part(nc: Nc, off: float, z: float, radius: float) -> Nc:
    reach = 5 + off + radius
    return nc.arc((reach, 0, z), (reach, 0, z), (0, 0), "cw")


@pytest.mark.parametrize("step", [0.7, 2.0])
def test_round_a_boss(tmp_path: Path, step: float) -> None:
    nc = round_part(Nc().tool(1, "upper"), 0.0, -4.0, 3.0)
    round_part(nc.tool(4, "lower"), step * THOU, -9.5, 6.0)
    (finding,) = found(job_of(tmp_path, nc), "depth_line")
    assert finding.size == pytest.approx(step * THOU, abs=TENTH / 100)
    assert math.hypot(*finding.at[:2]) == pytest.approx(5 + step * THOU)
    assert (finding.pass_number, finding.other_pass) == (2, 1)


def pocket(nc: Nc, half: float, z: float, radius: float) -> Nc:
    a = half - radius
    return nc.stroke((0, 0, z), (a, a, z), (-a, a, z), (-a, -a, z), (a, -a, z), (a, a, z))


def test_silent_twins(tmp_path: Path) -> None:
    staggered = along(depths(0.2, 0.3).heading("finish"), 0.0, -9.5)
    spring = along(along(Nc().tool(1, "one"), 0.0, -9.5).heading("spring"), 0.0, -9.5)
    cut_away = along(depths(0.0, 1.5 * THOU).heading("more"), 5 * THOU - 0.5, -9.5)
    scrap = along(along(Nc().tool(1, "wall"), 0.0, -9.1), 2 * THOU, -11.0)
    strip = along(Nc().tool(1, "floor"), 7.3 * THOU, -6.0)
    along(strip.heading("wall"), 0.0, -6.0 + 0.4 * THOU)
    corners = pocket(Nc().tool(4, "upper"), 7.5, -3.0, 6.0)
    pocket(corners.tool(2, "lower"), 7.5, -7.9, 5.0)
    cases = {
        "together": depths(0.0, 0.0), "little": depths(0.0, 0.4 * THOU), "meant": depths(0.0, 0.3),
        "staggered": staggered, "spring": spring, "cut away": cut_away, "scrap": scrap,
        "strip": strip, "corners": corners,
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "depth_line"), name


def test_without_a_part_it_is_a_note(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, depths(0.0, 2 * THOU), part=""), "depth_line")
    assert finding.severity == "note"


@pytest.mark.parametrize("step", [2.0, 3.0])
def test_a_step_that_the_model_has_is_meant(tmp_path: Path, step: float) -> None:
    """A model with a step of 2 thou at z = -4, 3 planned: 1 is too much."""
    _stepped_model(tmp_path / "part.stl", 2 * THOU)
    part = '\n\n[part]\nmodel = "part.stl"'
    rows = found(job_of(tmp_path, depths(0.0, step * THOU), part=part), "depth_line")
    assert [f.size for f in rows] == pytest.approx([(step - 2) * THOU] if step > 2 else [])


def _stepped_model(path: Path, step: float) -> None:
    """An upright prism: section in y and z, 24 long, its front proud by `step` under z = -4."""
    section = [(-step, -9.0), (8.0, -9.0), (8.0, 0.0), (0.0, 0.0), (0.0, -4.0), (-step, -4.0)]
    triangles = [(0, 1, 5), (1, 4, 5), (1, 2, 4), (2, 3, 4)]
    facets = []
    for x, flip in ((-12.0, True), (12.0, False)):
        for a, b, c in triangles:
            ring = (c, b, a) if flip else (a, b, c)
            facets.append([(x, *section[k]) for k in ring])
    for k, (y, z) in enumerate(section):
        v, w = section[(k + 1) % len(section)]
        a, b, c, d = (-12.0, y, z), (12.0, y, z), (12.0, v, w), (-12.0, v, w)
        facets += [[a, c, b], [a, d, c]]
    rows = ["solid part"]
    for facet in facets:
        rows += ["facet normal 0 0 0", "outer loop"]
        rows += [f"vertex {' '.join(number(v) for v in corner)}" for corner in facet]
        rows += ["endloop", "endfacet"]
    path.write_text("\n".join([*rows, "endsolid part", ""]), encoding="ascii")


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
@pytest.mark.parametrize("attempt", ["first_try", "second_try"])
def test_the_demo_has_none(attempt: str, source: str) -> None:
    assert not found(proud.load(ROOT / "demo_parts" / attempt / source), "depth_line")


def test_what_stands_under_a_finisher_s_corner_is_no_depth(tmp_path: Path) -> None:
    """A sharp rougher's wall, 0.15 off, stays 0.47 high under a corner of 1 mm: no line."""
    nc = along(along(Nc().tool(1, "rough"), 0.15, -6.0).tool(3, "finish"), 0.0, -6.0)
    assert not found(job_of(tmp_path / "3", nc), "depth_line")
    tall = tool(5, "bull", 6.0, RE=2.5)  # 1.65 high under 2.5
    nc = along(along(Nc().tool(1, "rough"), 0.15, -6.0).tool(5, "finish"), 0.0, -6.0)
    block = 'shape = "block"\nlow = [-12, -8, -12]\nhigh = [12, 8, 0]' + PART
    job = write_job(tmp_path / "5", nc, [*TOOLS, tall], stock=block)
    assert not found(job, "depth_line")


@pytest.mark.parametrize("levels", [(-9.5,), (-4.0, -9.5), (-3.0, -6.0, -9.5)])
def test_a_depth_that_the_finisher_left_out(tmp_path: Path, levels: tuple[float, ...]) -> None:
    """Roughed 6 thou off over the whole depth, finished to -4: the finisher goes deeper."""
    nc = Nc().tool(4, "rough")
    for z in levels:
        along(nc, 6 * THOU, z, radius=6.0)
    along(nc.tool(1, "finish"), 0.0, -4.0)
    (finding,) = found(job_of(tmp_path / "bad", nc), "depth_line")
    assert finding.size == pytest.approx(6 * THOU, abs=TENTH / 100)
    assert (finding.pass_number, finding.other_pass) == (1, 2)
    assert finding.change
    assert finding.change.what.startswith("Z of pass 2, line ")
    assert (finding.change.before, finding.change.after) == pytest.approx((-4.0, -9.5 + 4 * THOU))
    cured = along(along(Nc().tool(4, "rough"), 6 * THOU, -9.5, 6.0).tool(1, "finish"), 0.0, -9.3984)
    assert not found(job_of(tmp_path / "good", cured), "depth_line")
