"""Slivers and thin walls: thicknesses by hand, round webs, models, scrap; cures; silent twins."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, tool, write_job
from helpers_twins import TENTH, THOU, found, one

ROOT = Path(__file__).resolve().parent.parent
D = 6.0
TOOLS = [tool(1, "flat", D), tool(2, "bull", D, RE=1.0), tool(3, "flat", 16.0)]
PITCHES = (0.0254, 0.2, 1.7)
HALF, BOTTOM = 10.0, -12.0
PART = f"[part]\ntop = 0\nbottom = {BOTTOM}"
EXACT = TENTH / 100


def job_of(folder: Path, nc: Nc, pitch: float = 0.7, part: str = PART) -> proud.Job:
    stock = f'shape = "block"\nlow = [-{HALF}, -{HALF}, {BOTTOM}]\nhigh = [{HALF}, {HALF}, 0.0]\n\n'
    return write_job(folder, nc, TOOLS, stock=stock + part, pitch=pitch)


def slots(nc: Nc, step: float, z: float = -3.0, levels: int = 1) -> Nc:
    """Two slots along X, `step` apart."""
    for y in (-step / 2, step / 2):
        for k in range(1, levels + 1):
            nc.stroke((-30, y, z * k / levels), (30, y, z * k / levels))
    return nc


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("register", [1, 2])
@pytest.mark.parametrize("thick", [0.5, 4.0, 14.5])
def test_a_strip_between_two_paths(
    tmp_path: Path, thick: float, register: int, pitch: float
) -> None:
    job = job_of(tmp_path, slots(Nc().tool(register), D + thick * THOU), pitch)
    finding = one(job, "sliver", thick * THOU, "thin")
    assert finding.size == pytest.approx(thick * THOU, abs=EXACT)
    assert (finding.severity, finding.tool, finding.pass_number) == ("watch", register, 1)
    assert finding.other_pass is None
    assert finding.at[1] == pytest.approx(0.0, abs=1e-6)
    assert "3.00 mm high stands between its paths" in finding.text
    assert finding.change
    assert finding.change.what == "stepover of pass 1"
    assert finding.change.before == pytest.approx(D + thick * THOU)


def test_its_cure_leaves_nothing(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", slots(Nc().tool(1), D + 0.2)), "thin")
    assert finding.change
    step = finding.change.after
    assert isinstance(step, float)
    assert not found(job_of(tmp_path / "cured", slots(Nc().tool(1), step)), "thin")


def two_passes(thick: float, z: float = -3.0) -> Nc:
    nc = Nc().tool(1, "left").stroke((-30, -D / 2, z), (30, -D / 2, z))
    return nc.heading("right").stroke((-30, D / 2 + thick, z), (30, D / 2 + thick, z))


def test_between_two_passes(tmp_path: Path) -> None:
    finding = one(job_of(tmp_path / "bad", two_passes(0.2)), "sliver", 0.2, "thin")
    assert (finding.pass_number, finding.other_pass) == (2, 1)
    change = finding.change
    assert change
    assert change.what == "path of pass 2, moved towards pass 1 by"
    assert change.before is None
    assert isinstance(change.after, float)
    assert "stands between pass 1 and pass 2" in finding.text
    cured = two_passes(0.2 - change.after)
    assert not found(job_of(tmp_path / "cured", cured), "thin")


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.1])
def test_the_web_between_two_bores(tmp_path: Path, turn: float) -> None:
    """Bores of radius 4 + 3, axes 14.1 apart on a slanting line: 0.1 where they are nearest."""
    c, s = 7.05 * math.cos(turn), 7.05 * math.sin(turn)
    nc = Nc().tool(1, "bores")
    for x, y in ((-c, -s), (c, s)):
        nc.arc((x + 4, y, -3), (x + 4, y, -3), (x, y))
    finding = one(job_of(tmp_path, nc), "sliver", 0.1, "thin")
    assert finding.size == pytest.approx(0.1, abs=EXACT)
    assert finding.at[:2] == pytest.approx((0.0, 0.0), abs=1e-2)


@pytest.mark.parametrize("seed", range(4))
def test_a_strip_at_any_angle(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    angle, off = rng.uniform(0, math.pi), rng.uniform(-3, 3)
    thick = float(rng.uniform(1, 14)) * THOU
    c, s = math.cos(angle), math.sin(angle)
    for step in (D + thick, D - thick):
        nc = Nc().tool(1)
        for v in (off - step / 2, off + step / 2):
            ends = [(-30.0, v), (-2.2, v), (30.0, v)]
            nc.stroke(*((c * u - s * w, s * u + c * w, -3.0) for u, w in ends))
        job = job_of(tmp_path / str(step), nc)
        rows = found(job, "thin")
        assert [r.size for r in rows] == pytest.approx([thick] * (step > D), abs=EXACT)


def fin_model(folder: Path, thick: float, height: float) -> str:
    """A block 9 high under a fin along X, from -HALF to HALF."""
    import trimesh

    folder.mkdir(parents=True, exist_ok=True)
    low = trimesh.creation.box(bounds=[(-HALF, -HALF, BOTTOM), (HALF, HALF, -3.0)])
    if thick > 0:
        from shapely.geometry import Polygon

        outline = [(-HALF, BOTTOM), (HALF, BOTTOM), (HALF, -3), (thick / 2, -3)]
        outline += [(thick / 2, -3 + height), (-thick / 2, -3 + height), (-thick / 2, -3)]
        low = trimesh.creation.extrude_polygon(Polygon([*outline, (-HALF, -3)]), 2 * HALF)
        low.apply_transform([[0, 0, 1, -HALF], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    low.export(folder / "part.stl")
    return '[part]\nmodel = "part.stl"\ntop = 0'


def test_a_model_says_what_a_sliver_is(tmp_path: Path) -> None:
    nc = slots(Nc().tool(1), D + 0.3)
    part = fin_model(tmp_path / "none", 0.0, 0.0)
    finding = one(job_of(tmp_path / "none", nc, part=part), "sliver", 0.3, "thin")
    assert finding.severity == "spoils"
    part = fin_model(tmp_path / "meant", 0.3, 3.0)
    assert not found(job_of(tmp_path / "meant", nc, part=part), "thin")


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("thick", [0.6, 0.7])
def test_a_thin_wall_at_one_depth(tmp_path: Path, thick: float, pitch: float) -> None:
    job = job_of(tmp_path, slots(Nc().tool(1), D + thick, -11.5), pitch)
    finding = one(job, "thin-wall", thick, "thin")
    assert finding.size == pytest.approx(thick, abs=EXACT)
    assert (finding.severity, finding.tool) == ("note", 1)
    assert f"{11.5 / thick:.0f} times its thickness" in finding.text
    assert finding.change
    assert finding.change.before == pytest.approx(11.5)
    assert finding.change.after == pytest.approx(4 * thick)


def test_levels_cure_a_thin_wall(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", slots(Nc().tool(1), D + 0.6, -11.5)), "thin")
    assert finding.change
    assert isinstance(finding.change.after, float)
    levels = math.ceil(11.5 / finding.change.after)
    cured = slots(Nc().tool(1), D + 0.6, -11.5, levels)
    assert not found(job_of(tmp_path / "cured", cured), "thin")


def test_a_thin_wall_beside_the_raw_face_of_the_stock(tmp_path: Path) -> None:
    """A slot 0.6 off the stock's side, 11.5 deep at once: 19 times as high as thick. Silent: in
    levels, once a later pass has taken it, and a skin of 0.3, 38 times as high (derived)."""

    def beside(thick: float, *depths: float) -> Nc:
        nc = Nc().tool(1, "slot")
        y = HALF - thick - D / 2
        for z in depths:
            nc.stroke((-30, y, z), (30, y, z))
        return nc

    finding = one(job_of(tmp_path / "bad", beside(0.6, -11.5)), "thin-wall", 0.6, "thin")
    assert finding.severity == "note"
    assert finding.text.startswith("pass 1 leaves a wall 0.600 mm thick and 11.500 mm high")
    assert finding.at[1] == pytest.approx(HALF - 0.3)
    gone = beside(0.6, -11.5).heading("face").stroke((-30, HALF, -11.5), (30, HALF, -11.5))
    levels = [-11.5 * (k + 1) / 5 for k in range(5)]
    cases = {"levels": beside(0.6, *levels), "gone": gone, "skin": beside(0.3, -11.5)}
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "thin"), name


def test_a_thin_wall_of_a_model(tmp_path: Path) -> None:
    """0.3 is a sliver by thickness; the model says it is a wall, 3 high: 10 times; then 20."""
    part = fin_model(tmp_path / "thin", 0.15, 3.0)
    nc = slots(Nc().tool(1), D + 0.15)
    finding = one(job_of(tmp_path / "thin", nc, part=part), "thin-wall", 0.15, "thin")
    assert finding.severity == "note"


def test_silent_twins(tmp_path: Path) -> None:
    gone = slots(Nc().tool(1), D + 0.2).tool(3, "face").stroke((-30, 0, -3), (30, 0, -3))
    below = slots(Nc().tool(1), D + 0.2, -3.0)
    raw = Nc().tool(1).stroke((-30, HALF - 3.2, -3), (30, HALF - 3.2, -3))  # a fence of raw stock
    steps = Nc().tool(1).stroke((-30, -3, -3), (30, -3, -3)).stroke((-30, 2.9, -6), (30, 2.9, -6))
    low = slots(Nc().tool(1), D + 0.2, -0.2)  # lower than 10 thou
    cases = {
        "overlap": (slots(Nc().tool(1), D - 0.1), PART), "just": (slots(Nc().tool(1), D), PART),
        "rib": (slots(Nc().tool(1), D + 0.6), PART), "gone": (gone, PART), "raw": (raw, PART),
        "scrap": (below, "[part]\ntop = 0\nbottom = -1.5"), "unknown": (below, ""),
        "steps": (steps, PART), "low": (low, PART),
        "thick": (slots(Nc().tool(1), D + 1.0, -11.5), PART),
        "spring": (slots(slots(Nc().tool(1), D + 1).heading("spring"), D + 1), PART),
        "slot": (Nc().tool(1).stroke((-30, 0, -5), (30, 0, -5)), PART),
    }  # fmt: skip
    for name, (nc, part) in cases.items():
        assert not found(job_of(tmp_path / name, nc, part=part), "thin"), name


@pytest.mark.parametrize("folder", ["first_try", "second_try"])
@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(folder: str, source: str) -> None:
    assert not found(proud.load(ROOT / "demo_parts" / folder / source), "thin")


def test_the_cure_of_a_tool_with_a_corner_radius_leaves_no_ridges(tmp_path: Path) -> None:
    """DC 6, RE 1: 98 percent of its flat end, 4 wide."""
    (finding,) = found(job_of(tmp_path / "bad", slots(Nc().tool(2), D + 0.2)), "thin")
    assert finding.change
    assert finding.change.after == pytest.approx(0.98 * 4.0)
    cured = job_of(tmp_path / "cured", slots(Nc().tool(2), 0.98 * 4.0))
    assert not [*found(cured, "thin"), *found(cured, "scallop")]


@pytest.mark.parametrize("deep", [11.5, 9.4425348716, 10.000000001])
def test_two_equal_levels_are_several(tmp_path: Path, deep: float) -> None:
    nc = slots(Nc().tool(1), D + 0.5, -deep, levels=2)
    assert not found(job_of(tmp_path, nc), "thin")
