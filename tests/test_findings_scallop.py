"""Ridges between paths: heights by plane geometry; slopes, circles, floors; cures."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, tool, write_job
from helpers_passes import pass_job, pass_text
from helpers_twins import TENTH, THOU, found, one

ROOT = Path(__file__).resolve().parent.parent
R, RE = 3.0, 1.0
FLAT = 4.0
"""Width of the bull's flat end."""
TOOLS = [
    tool(1, "ball", 2 * R), tool(2, "bull", 2 * R, RE=RE), tool(3, "flat", 2 * R),
    tool(4, "flat", 20.0),
]  # fmt: skip
SIDE = 8.0
"""Half the stock's length and width; it is 8 high."""
PART = "[part]\ntop = 0\nbottom = -8"
EXACT = TENTH / 20


def job_of(folder: Path, nc: Nc, pitch: float = 0.7, part: str = PART, **more: str) -> proud.Job:
    stock = f'shape = "block"\nlow = [-{SIDE}, -{SIDE}, -8.0]\nhigh = [{SIDE}, {SIDE}, 0.0]\n\n'
    return write_job(folder, nc, TOOLS, stock=stock + part, pitch=pitch, **more)


def raster(nc: Nc, step: float, slope: float = 0.0, z: float = -2.0, wide: float = 0.0) -> Nc:
    """Lines along X from side to side, `step` apart in plan; the face rises along Y by `slope`.

    wide: the step after the middle line is so much wider.
    """
    count = math.ceil(SIDE / step)
    ys = [k * step + (wide if k > 0 else 0.0) for k in range(-count, count + 1)]
    rise = math.tan(math.radians(slope))
    points = []
    for k, y in enumerate(ys):
        ends = [(-20.0, y, z + y * rise), (20.0, y, z + y * rise)]
        points += ends if k % 2 else ends[::-1]
    return nc.stroke(*points)


def scallop(step: float, radius: float = R) -> float:
    return radius - math.sqrt(radius**2 - (step / 2) ** 2)


def step_of(height: float) -> float:
    return 2 * math.sqrt(height * (2 * R - height))


def test_values_of_checks() -> None:
    """checks.md: R 3 mm, s 0.2 mm and R 0.125 in, s 0.010 in."""
    assert scallop(0.2) == pytest.approx(0.00166712989, abs=1e-11)
    assert scallop(0.254, 3.175) == pytest.approx(0.00010004003 * 25.4, rel=1e-6)
    assert scallop(step_of(0.04)) == pytest.approx(0.04)


@pytest.mark.parametrize(("height", "pitch"), [(1.2, 0.0254), (1.2, 0.2), (3.0, 1.7)])
def test_scallops_on_a_level_face(tmp_path: Path, height: float, pitch: float) -> None:
    nc = raster(Nc().tool(1), step_of(height * THOU))
    finding = one(job_of(tmp_path, nc, pitch), "scallop-high", height * THOU, "scallop")
    assert finding.size == pytest.approx(height * THOU, abs=EXACT)
    assert (finding.severity, finding.tool, finding.pass_number) == ("watch", 1, 1)
    assert finding.at[2] == pytest.approx(-2 + height * THOU, abs=EXACT)
    assert finding.change
    assert finding.change.before == pytest.approx(step_of(height * THOU), abs=1e-6)


@pytest.mark.parametrize("slope", [20.0, 45.0, 60.0])
def test_scallops_on_a_slope(tmp_path: Path, slope: float) -> None:
    """Along the face the paths lie step / cos(slope) apart."""
    plan = step_of(2 * THOU) * math.cos(math.radians(slope))
    nc = raster(Nc().tool(1), plan, slope, z=-3 if slope < 50 else -4)
    finding = one(job_of(tmp_path / "bad", nc), "scallop-high", 2 * THOU, "scallop")
    assert finding.size == pytest.approx(2 * THOU, abs=EXACT)
    assert f"on a slope of {slope:.0f} degrees" in finding.text
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.before == pytest.approx(plan, abs=1e-6)
    assert change.after == pytest.approx(step_of(THOU) * math.cos(math.radians(slope)), rel=1e-4)
    cured = raster(Nc().tool(1), change.after, slope, z=-3 if slope < 50 else -4)
    assert not found(job_of(tmp_path / "cured", cured), "scallop")


def test_one_step_too_wide(tmp_path: Path) -> None:
    nc = raster(Nc().tool(1), 0.3, wide=0.6)
    finding = one(job_of(tmp_path, nc), "scallop-high", scallop(0.9), "scallop")
    assert finding.at[1] == pytest.approx(0.45, abs=1e-6)
    assert finding.change
    assert finding.change.before == pytest.approx(0.9)


def turned(nc: Nc, step: float, angle: float, off: float) -> Nc:
    """Level lines `step` apart at an angle to X, the first `off` the middle, in short pieces."""
    c, s = math.cos(angle), math.sin(angle)
    for k in range(-20, 21):
        v = k * step + off
        ends = [(-20.0, v), (-3.1, v), (4.7, v), (20.0, v)]
        nc.stroke(*((c * u - s * w, s * u + c * w, -2.0) for u, w in ends))
    return nc


@pytest.mark.parametrize("seed", range(4))
def test_lines_at_any_angle(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    angle, off, height = rng.uniform(0.05, 3.0), rng.uniform(-0.3, 0.3), rng.uniform(1.1, 4.0)
    nc = turned(Nc().tool(1), step_of(height * THOU), angle, off)
    finding = one(job_of(tmp_path / "high", nc), "scallop-high", height * THOU, "scallop")
    assert finding.size == pytest.approx(height * THOU, abs=EXACT)
    nc = turned(Nc().tool(1), step_of(height / 5 * THOU), angle, off)
    assert not found(job_of(tmp_path / "usual", nc), "scallop")
    step = FLAT + rng.uniform(0.2, 0.9)
    finding = one(
        job_of(tmp_path / "floor", turned(Nc().tool(2), step, angle, off)),
        "floor-marks", floor_mark(step), "scallop",
    )  # fmt: skip
    assert finding.size == pytest.approx(floor_mark(step), abs=EXACT)


def test_a_groove_across_makes_no_scallop(tmp_path: Path) -> None:
    """What a ramp digs under the first lines is not left by the stepover."""
    nc = Nc().tool(1).down((-12, -8, -1.0)).to((12, -8, -2.2))
    for k in range(40):
        ends = [(12, -8 + 0.3 * k, -1.5), (-12, -8 + 0.3 * k, -1.5)]
        nc.to(*(ends if k % 2 == 0 else ends[::-1]))
    assert not found(job_of(tmp_path, nc.up()), "scallop")


def test_a_pass_list_names_its_own_key(tmp_path: Path) -> None:
    box = "rectangle = { low = [-6, -5], high = [6, 5] }\nbottom = -2\n"
    for height in (0.6, 3.0):
        keys = f"{box}scallop_height = {height * THOU}\n"
        folder = tmp_path / str(height)
        folder.mkdir()
        rows = found(pass_job(folder, pass_text("raster", keys), TOOLS), "scallop")
        assert len(rows) == (height > 1)
    (finding,) = rows
    # Lines share the width of 10 out evenly: 8 steps, where 7 would be too wide.
    assert 10 / 8 < step_of(3.0 * THOU) < 10 / 7
    assert finding.size == pytest.approx(scallop(10 / 8), abs=EXACT)
    assert finding.change
    assert finding.change.what == "scallop_height of pass 1"
    assert finding.change.before == pytest.approx(3.0 * THOU)
    assert finding.change.after == pytest.approx(1.0 * THOU)


def circles(nc: Nc, step: float) -> Nc:
    nc.stroke((0, 0, -2))
    for k in range(1, 12):
        nc.arc((k * step, 0, -2), (k * step, 0, -2), (0, 0))
    return nc


def test_round_paths(tmp_path: Path) -> None:
    finding = one(
        job_of(tmp_path, circles(Nc().tool(1), 0.8)), "scallop-high", scallop(0.8), "scallop"
    )
    assert finding.size == pytest.approx(scallop(0.8), abs=EXACT)


def floor_mark(step: float) -> float:
    return scallop(step - FLAT, RE)


@pytest.mark.parametrize(("step", "pitch"), [(4.3, 1.7), (4.6, 0.0254), (4.6, 0.2)])
def test_floor_marks(tmp_path: Path, step: float, pitch: float) -> None:
    job = job_of(tmp_path, raster(Nc().tool(2), step), pitch)
    finding = one(job, "floor-marks", floor_mark(step), "scallop")
    assert finding.size == pytest.approx(floor_mark(step), abs=EXACT)
    assert finding.change
    assert finding.change.before == pytest.approx(step)
    assert finding.change.after == pytest.approx(FLAT * 0.98)
    assert "flat of the tool is 4.0000 mm wide" in finding.text.replace("4.000 mm", "4.0000 mm")


def test_the_cure_of_floor_marks(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", raster(Nc().tool(2), 4.6)), "scallop")
    assert finding.change
    step = finding.change.after
    assert isinstance(step, float)
    assert not found(job_of(tmp_path / "cured", raster(Nc().tool(2), step)), "scallop")


def test_silent_twins(tmp_path: Path) -> None:
    fine, coarse = step_of(0.8 * THOU), step_of(6 * THOU)
    cleared = raster(raster(Nc().tool(1, "rough"), coarse).tool(3, "floor"), 5.0, z=-2.3)
    again = raster(raster(Nc().tool(1, "rough"), coarse).heading("finish"), fine)
    flutes = Nc().tool(1, "two flutes, metal between them")
    for y in (-3.1, 3.1):
        flutes.stroke((-20, y, -1), (20, y, -1))
    cases = {
        "usual": raster(Nc().tool(1), fine), "cleared": cleared, "again": again,
        "flutes": flutes, "steep": raster(Nc().tool(1), fine / 2, 60.0, z=-4),
        "narrow": raster(Nc().tool(2), 3.9), "just": raster(Nc().tool(2), FLAT),
        "sharp": raster(Nc().tool(3), 5.9), "strips": raster(Nc().tool(3), 6.4),
        "spring": raster(raster(Nc().tool(1), fine).heading("spring"), fine),
        "face": raster(Nc().tool(4), 15.0),
        "slot": Nc().tool(2).stroke((-20, 0, -2), (20, 0, -2), (20, 0, -3), (-20, 0, -3)),
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "scallop"), name


def terraces(nc: Nc) -> Nc:
    """Steps of a block, each its own floor: no ridge between them."""
    for k, y in enumerate((-8.0, -3.0, 2.0)):
        nc.stroke((-20, y, -4.0 + k), (20, y, -4.0 + k))
    return nc


@pytest.mark.parametrize("register", [2, 3])
def test_terraces_are_no_ridges(tmp_path: Path, register: int) -> None:
    assert not found(job_of(tmp_path, terraces(Nc().tool(register))), "scallop")


def test_scrap_does_not_count(tmp_path: Path) -> None:
    nc = raster(Nc().tool(1), step_of(4 * THOU))
    deep = "[part]\ntop = 0\nbottom = -1.5"
    assert not found(job_of(tmp_path / "scrap", nc, part=deep), "scallop")
    (finding,) = found(job_of(tmp_path / "unknown", nc, part=""), "scallop")
    assert finding.severity == "note"


def grooved(folder: Path, step: float, height: float) -> str:
    """A model whose top has the ridges, `height` over its valleys, and where it stands."""
    import trimesh
    from shapely.geometry import Polygon

    count = math.ceil(SIDE / step)
    y = np.linspace(-count * step, count * step, 32 * 2 * count + 1)
    off = np.abs((y / step - np.round(y / step)) * step)
    z = -2 + (R - np.sqrt(R**2 - off**2)) * height / scallop(step)
    inside = np.abs(y) <= SIDE
    outline = [(SIDE, -8), *zip(y[inside][::-1], z[inside][::-1], strict=True), (-SIDE, -8)]
    mesh = trimesh.creation.extrude_polygon(Polygon(outline), 2 * SIDE)
    # From (y, z, along) to (along, y, z).
    mesh.apply_transform([[0, 0, 1, -SIDE], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    folder.mkdir(parents=True, exist_ok=True)
    mesh.export(folder / "part.stl")
    return '[part]\nmodel = "part.stl"'


def test_ridges_of_the_model_are_meant(tmp_path: Path) -> None:
    height = 20 * THOU
    nc = raster(Nc().tool(1), step_of(height))
    part = grooved(tmp_path / "meant", step_of(height), height)
    assert not found(job_of(tmp_path / "meant", nc, part=part), "scallop")
    part = grooved(tmp_path / "flat", step_of(height), 0.01 * THOU)
    assert len(found(job_of(tmp_path / "flat", nc, part=part), "scallop")) == 1


def test_a_job_may_set_the_wanted_height(tmp_path: Path) -> None:
    job = job_of(tmp_path, raster(Nc().tool(1), step_of(0.8 * THOU)))
    assert not found(job, "scallop")
    job.spec.margins["scallop"] = 0.4 * THOU
    (finding,) = found(job, "scallop")
    assert finding.size == pytest.approx(0.8 * THOU, abs=EXACT)


@pytest.mark.parametrize("folder", ["first_try", "second_try"])
def test_the_demo(folder: str) -> None:
    assert not found(proud.load(ROOT / "demo_parts" / folder / "job.toml"), "scallop")


@pytest.mark.parametrize("slope", [30.0, 55.0])
def test_the_corner_of_a_bull_nose_on_a_slope(tmp_path: Path, slope: float) -> None:
    """Its corner leaves what a ball of its radius would, its flat end nothing."""
    plan = 2 * math.sqrt(2 * THOU * (2 * RE - 2 * THOU)) * math.cos(math.radians(slope))
    z = -3.0 if slope < 50 else -4.5
    nc = raster(Nc().tool(2), plan, slope, z=z)
    finding = one(job_of(tmp_path / "bad", nc), "scallop-high", 2 * THOU, "scallop")
    assert finding.size == pytest.approx(2 * THOU, abs=EXACT)
    assert finding.change
    step = finding.change.after
    assert isinstance(step, float)
    cured = raster(Nc().tool(2), step, slope, z=z)
    assert not found(job_of(tmp_path / "cured", cured), "scallop")


@pytest.mark.parametrize(("across", "climb"), [(0.0, 30.0), (25.0, 30.0), (35.0, 15.0)])
def test_paths_that_climb(tmp_path: Path, across: float, climb: float) -> None:
    """Square to the traces, by vectors: they run up at `climb`, and lie `across` to each other."""
    rise, up = (math.tan(math.radians(v)) for v in (across, climb))
    step = 1.2
    points = []
    for k in range(-4, 5):
        y = k * step
        ends = [(x, y, -6.0 + y * rise + (x - 8.0) * up / 2) for x in (-7.0, 7.0)]
        points += ends if k % 2 else ends[::-1]
    along = np.array([14.0, 0.0, 7.0 * up])
    along /= np.linalg.norm(along)
    aside = np.array([0.0, step, step * rise])
    apart = float(np.linalg.norm(aside - (aside @ along) * along))
    job = job_of(tmp_path, Nc().tool(1, "slope").stroke(*points), part="")
    (finding,) = found(job, "scallop")
    assert finding.size == pytest.approx(scallop(apart), abs=TENTH)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    left = change.after / step * apart
    assert scallop(left) == pytest.approx(1 * THOU, rel=1e-6)


@pytest.mark.parametrize(("step", "left"), [(5.5, 0.1), (5.5, 0.3), (5.5, 0.5), (4.6, 0.02)])
def test_a_floor_pass_that_takes_less_than_its_ridges(
    tmp_path: Path, step: float, left: float
) -> None:
    """Between the paths the rougher's floor stays, as high as it left it; at most the ridge."""
    nc = raster(Nc().tool(3, "rough"), 4.0, z=-2.0 + left)
    nc = raster(nc.tool(2, "floor"), step, z=-2.0)
    gap = (step - FLAT) / 2
    ridge = RE - math.sqrt(RE**2 - gap**2)
    (finding,) = [f for f in found(job_of(tmp_path, nc), "scallop") if f.rule == "floor-marks"]
    assert (finding.pass_number, finding.severity) == (2, "watch")
    assert finding.size == pytest.approx(min(ridge, left), abs=EXACT)
    assert finding.change
    assert finding.change.before == pytest.approx(step)


@pytest.mark.parametrize("apart", [6.01, 6.3, 8.0])
def test_metal_between_slots_is_no_ridge(tmp_path: Path, apart: float) -> None:
    """A face, then two slots of the bull, DC 6: what stays between them is the face."""
    nc = raster(Nc().tool(3, "face"), 4.0, z=-1.0).tool(2, "slots")
    for k in (-0.5, 0.5):
        nc.stroke((-20.0, k * apart, -3.0), (20.0, k * apart, -3.0))
    assert not [f for f in found(job_of(tmp_path, nc), "scallop") if f.rule == "floor-marks"]
