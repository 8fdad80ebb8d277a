"""Strips, islands and skims narrower than the pitch, in closed form (derived unless said)."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import helpers_job as hj
import proud
import pytest
import shapely
import trimesh
from helpers_job import IN, Nc, write_job
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

Table = dict[str, Any]
LIFT, FREE = 0.0003, 0.0005
"""A wall pass is lifted by LIFT over a floor whose pass stays FREE farther off the wall; in."""
DEEP = -0.2
HALF = 0.1
"""Half of the plate's width and of its length, in."""
PLATE: dict[str, Any] = {"low": (-HALF, -HALF, -0.5), "high": (HALF, HALF, 0), "unit": "in"}
FLOOR_R, WALL_R = 0.125, 0.0625
TOOLS = [hj.tool(1, "flat", 2 * FLOOR_R), hj.tool(2, "flat", 2 * WALL_R)]


def turned(angle: float, u: float, v: float, z: float) -> tuple[float, float, float]:
    """Return the place u from the wall and v along it, the wall turned by `angle`, degrees."""
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return u * c - v * s, u * s + v * c, z


def wall(angle: float = 0.0, at: float = 0.0, free: float = FREE, lift: float = LIFT) -> Nc:
    """Return floor and wall passes along a wall through the origin, moved by `at` off it."""
    nc = Nc("in", clear=0.5).tool(1, "floor")
    for u in (at + free + FLOOR_R, at + free + 2 * FLOOR_R):
        nc.stroke(turned(angle, u, -0.6, DEEP), turned(angle, u, 0.6, DEEP))
    u = at + WALL_R
    nc.tool(2, "wall").stroke(
        turned(angle, u, -0.6, DEEP + lift), turned(angle, u, 0.6, DEEP + lift)
    )
    return nc


def run(job: proud.Job, **options: Any) -> Table:
    result: Table = job.run(**options).as_dict()
    return result


def rows(result: Table) -> list[tuple[Any, ...]]:
    """Return what must not depend on the pitch: levels, steps, skims without area and place."""
    return [
        [(round(v["z"], 8), v["pass"]) for v in result["levels"]],
        [
            (round(s["height"], 8), s["upper_pass"], s["lower_pass"], round(s["upper_z"], 8))
            for s in result["steps"]
        ],
        [(s["pass"], s["into_pass"], round(s["depth"], 8)) for s in result["skims"]],
    ]


FOOT = [
    [(0.0, 0), (-0.1997, 2), (-0.2, 1)],
    [(0.1997, 0, 2, 0.0), (0.0003, 2, 1, -0.1997)],
    [],
]
"""Raw top, the strip at the wall's foot, the floor."""


def chord(angle: float, u: float) -> float:
    """Return how long a line along the wall, u from it, is inside the plate, in."""
    c, s = abs(math.cos(math.radians(angle))), abs(math.sin(math.radians(angle)))
    if min(c, s) < 1e-12:
        return 2 * HALF
    # |u c - v s| <= HALF and |u s + v c| <= HALF, as a range of v
    low = max((-HALF + u * c) / s, (-HALF - u * s) / c)
    high = min((HALF + u * c) / s, (HALF - u * s) / c)
    return high - low


@pytest.mark.parametrize("angle", [0.0, 90.0, 180.0, 17.0, 45.0, 80.0, 133.0])
def test_foot_strip(tmp_path: Path, angle: float) -> None:
    """0.3 thou high, half a thou wide, at a pitch of ten; at any angle."""
    result = run(write_job(tmp_path, wall(angle), TOOLS, **PLATE, pitch=0.010))
    assert rows(result) == FOOT
    strip = result["levels"][1]
    # Counted along lines a pitch apart: off by one line of the strip at most.
    along = chord(angle, FREE / 2)
    assert strip["area"] == pytest.approx(FREE * along, abs=FREE * 0.010 * 1.5)
    drop, foot = result["steps"]
    assert foot["height"] == pytest.approx(LIFT, abs=1e-9)
    assert foot["length"] == pytest.approx(chord(angle, FREE), abs=0.015)
    assert drop["length"] == pytest.approx(chord(angle, 0.0), abs=0.015)
    x, y, z = foot["at"]
    u = x * math.cos(math.radians(angle)) + y * math.sin(math.radians(angle))
    assert u == pytest.approx(FREE, abs=1e-9)
    assert z == pytest.approx(DEEP, abs=1e-9)


@pytest.mark.parametrize("pitch", [0.002, 0.005, 0.010, 0.020])
@pytest.mark.parametrize("angle", [0.0, 31.0])
def test_rows_do_not_depend_on_the_pitch(tmp_path: Path, pitch: float, angle: float) -> None:
    result = run(write_job(tmp_path, wall(angle, 0.0007), TOOLS, **PLATE, pitch=pitch))
    assert rows(result) == FOOT
    along = chord(angle, 0.0007 + FREE / 2)
    assert result["levels"][1]["area"] == pytest.approx(FREE * along, abs=FREE * pitch * 1.5)


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(at=st.floats(-0.03, 0.03), angle=st.floats(0, 360), free=st.floats(0.00012, 0.004))
def test_foot_strip_anywhere_on_the_grid(
    tmp_path: Path, at: float, angle: float, free: float
) -> None:
    result = run(write_job(tmp_path, wall(angle, at, free), TOOLS, **PLATE, pitch=0.010))
    assert rows(result) == FOOT
    area = free * chord(angle, at + free / 2)
    assert result["levels"][1]["area"] == pytest.approx(area, abs=free * 0.010 * 1.5 + area * 0.02)


@pytest.mark.parametrize("outside", [True, False])
def test_foot_strip_round_a_boss_and_in_a_bore(tmp_path: Path, outside: bool) -> None:
    """Round a boss of 50 thou radius and inside a bore of 150: a ring, half a thou wide."""
    sense = 1.0 if outside else -1.0
    R = 0.05 if outside else 0.15
    tools = [hj.tool(1, "flat", 0.125), hj.tool(2, "flat", 0.0625)]
    nc = Nc("in", clear=0.5)
    for tool, name, free, r, z in (
        (1, "floor", FREE, 0.0625, DEEP), (2, "wall", 0.0, 0.03125, DEEP + LIFT),
    ):  # fmt: skip
        radius = R + sense * (free + r)
        nc.tool(tool, name).arc((radius, 0, z), (radius, 0, z), (0, 0), "ccw")
        if tool == 1 and outside:
            nc.arc((radius + 0.06, 0, z), (radius + 0.06, 0, z), (0, 0), "ccw")
        if tool == 1 and not outside:
            nc.stroke((-0.04, 0, z), (0.04, 0, z))
    plate = PLATE | {"low": (-0.17, -0.17, -0.5), "high": (0.17, 0.17, 0)}
    result = run(write_job(tmp_path, nc, tools, **plate, pitch=0.010))
    strip = next(v for v in result["levels"] if v["pass"] == 2)
    assert strip["z"] == pytest.approx(DEEP + LIFT, abs=1e-9)
    middle = R + sense * FREE / 2
    assert strip["area"] == pytest.approx(2 * math.pi * middle * FREE, rel=0.05)
    foot = next(s for s in result["steps"] if (s["upper_pass"], s["lower_pass"]) == (2, 1))
    assert foot["height"] == pytest.approx(LIFT, abs=1e-9)
    assert foot["length"] == pytest.approx(2 * math.pi * (R + sense * FREE), rel=0.02)
    assert math.hypot(*foot["at"][:2]) == pytest.approx(R + sense * FREE, abs=1e-9)


@pytest.mark.parametrize("pitch", [0.010, 0.0013, 0.00003 / 0.3])
@pytest.mark.parametrize(("free", "seen"), [(0.000101, True), (0.000099, False)])
def test_least_width(tmp_path: Path, free: float, seen: bool, pitch: float) -> None:
    """0.1 thou unless said: a hair over is listed, a hair under is not, even under a column."""
    plate = (
        PLATE if pitch > 0.001 else PLATE | {"low": (-0.01, -0.01, -0.5), "high": (0.01, 0.01, 0)}
    )
    job = write_job(tmp_path, wall(0.0, 0.00002, free), TOOLS, **plate, pitch=pitch)
    without = [[(0.0, 0), (DEEP, 1)], [(-DEEP, 0, 1, 0.0)], []]
    assert rows(run(job)) == (FOOT if seen else without)


def test_least_width_as_said(tmp_path: Path) -> None:
    job = write_job(tmp_path, wall(20.0), TOOLS, **PLATE, pitch=0.010)
    assert rows(run(job, least_width=0.00049 * IN)) == FOOT
    assert [v[1] for v in rows(run(job, least_width=0.00051 * IN))[0]] == [0, 1]


def test_no_strip_where_there_is_none(tmp_path: Path) -> None:
    """Same allowance for both passes, the wall in three depths: rims fall on one another."""
    nc = wall(33.0, 0.0, 0.0, 0.0)
    for z in (-0.05, -0.1, -0.15, DEEP):
        nc.stroke(turned(33.0, WALL_R, -0.5, z), turned(33.0, WALL_R, 0.4, z))
    result = run(write_job(tmp_path, nc, TOOLS, **PLATE, pitch=0.010))
    assert rows(result)[0][0] == (0.0, 0)
    assert {v[0] for v in rows(result)[0]} == {0.0, DEEP}
    assert [s for s in result["steps"] if s["height"] < 0.19] == []


def skimmed(angle: float, width: float, depth: float = 0.0008) -> Nc:
    """A floor, then a slot's edge that takes `width` of it, and a last pass that frees the slot."""
    nc = Nc("in", clear=0.5).tool(1, "floor")
    nc.stroke(turned(angle, FLOOR_R, -0.6, DEEP), turned(angle, FLOOR_R, 0.6, DEEP))
    u = width - WALL_R
    z = DEEP - depth
    return nc.tool(2, "wall").stroke(turned(angle, u, -0.6, z), turned(angle, u, 0.6, z))


@pytest.mark.parametrize("pitch", [0.002, 0.005, 0.010, 0.020])
@pytest.mark.parametrize("angle", [0.0, 38.0])
def test_narrow_skim(tmp_path: Path, pitch: float, angle: float) -> None:
    """A wall pass that drags half a thou of its edge over the floor, 0.8 thou deep."""
    result = run(write_job(tmp_path, skimmed(angle, 0.0005), TOOLS, **PLATE, pitch=pitch))
    assert len(result["skims"]) == 1
    skim = result["skims"][0]
    assert (skim["pass"], skim["into_pass"]) == (2, 1)
    assert skim["depth"] == pytest.approx(0.0008, abs=1e-9)
    area = 0.0005 * chord(angle, 0.00025)
    assert skim["area"] == pytest.approx(area, abs=0.0005 * pitch * 1.5)
    x, y, z = skim["at"]
    u = x * math.cos(math.radians(angle)) + y * math.sin(math.radians(angle))
    assert -1e-9 <= u <= 0.0005 + 1e-9
    assert z == pytest.approx(DEEP - 0.0008, abs=1e-9)


@pytest.mark.parametrize(("width", "count"), [(0.00009, 0), (0.00011, 1)])
def test_narrow_skim_at_the_least_width(tmp_path: Path, width: float, count: int) -> None:
    job = write_job(tmp_path, skimmed(38.0, width), TOOLS, **PLATE, pitch=0.010)
    assert len(run(job)["skims"]) == count


@pytest.mark.parametrize("pitch", [0.002, 0.005, 0.010, 0.020])
@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.00317, -0.00544)])
def test_island_between_columns(tmp_path: Path, pitch: float, x: float, y: float) -> None:
    """A hole of 3 thou: a level and a step, and no line through columns need meet it."""
    nc = Nc("in", clear=0.5).tool(1, "floor").stroke((-0.3, 0, DEEP), (0.3, 0, DEEP))
    nc.tool(2, "hole").stroke((x, y, DEEP - 0.01))
    tools = [hj.tool(1, "flat", 0.5), hj.tool(2, "flat", 0.003)]
    result = run(write_job(tmp_path, nc, tools, **PLATE, pitch=pitch))
    assert rows(result)[:2] == [
        [(-0.2, 1), (-0.21, 2)], [(0.01, 1, 2, -0.2)],
    ]  # fmt: skip
    hole = result["levels"][1]
    step = result["steps"][0]
    assert hole["area"] == pytest.approx(math.pi * 0.0015**2, rel=0.05)
    assert 0 < step["length"] < 4 * math.pi * 0.003
    assert math.hypot(step["at"][0] - x, step["at"][1] - y) == pytest.approx(0.0015, rel=0.1)


def test_threads_change_nothing(tmp_path: Path) -> None:
    nc = wall(31.0)
    nc.tool(2, "hole").stroke((-0.05, 0.013, -0.3))
    tools = [*TOOLS]
    job = write_job(tmp_path, nc, tools, **PLATE, pitch=0.004)
    assert run(job, threads=1) == run(job, threads=2) == run(job, threads=3)


def test_coarse_and_fine_agree_on_strip_places(tmp_path: Path) -> None:
    """What stands at the named place is there: asked again as exact columns."""
    job = write_job(tmp_path, wall(31.0), TOOLS, **PLATE, pitch=0.010)
    foot = run(job)["steps"][1]
    x, y, _ = (v * IN for v in foot["at"])
    c, s = math.cos(math.radians(31.0)), math.sin(math.radians(31.0))
    d = FREE * IN / 2
    tops = [job.trace((x + k * d * c, y + k * d * s), (x + k * d * c + 1e-3, y + k * d * s))
            .points.z[0] for k in (-1, 1)]  # fmt: skip
    assert tops[0] - tops[1] == pytest.approx(LIFT * IN, abs=1e-9)


def test_least_width_on_the_command_line(tmp_path: Path, command: Any) -> None:
    write_job(tmp_path, wall(20.0), TOOLS, **PLATE, pitch=0.010)
    counts = []
    for width in ("0.49 thou", "0.51 thou"):
        done = command("run", tmp_path / "job.toml", "--json", "--least-width", width)
        assert done.returncode == 0, done.stderr
        counts.append(len(json.loads(done.stdout)["levels"]))
    assert counts == [3, 2]
    done = command("run", tmp_path / "job.toml", "--least-width", "0")
    assert done.returncode == 2
    assert "--least-width '0': is not over 0" in done.stderr


@pytest.mark.parametrize("pitch", [0.003, 0.0071, 0.016])
def test_depth_of_a_wide_skim_by_a_ball_does_not_depend_on_the_pitch(
    tmp_path: Path, pitch: float
) -> None:
    """A ball's groove 0.7 thou deep across a floor, askew to the columns."""
    nc = Nc("in", clear=0.5).tool(1, "floor").stroke((-0.3, 0, DEEP), (0.3, 0, DEEP))
    z = DEEP - 0.0007
    nc.tool(2, "ball").stroke((-0.3, -0.0513, z), (0.3, 0.0171, z))
    tools = [hj.tool(1, "flat", 0.5), hj.tool(2, "ball", 1.0)]
    skim = run(write_job(tmp_path, nc, tools, **PLATE, pitch=pitch))["skims"][0]
    assert skim["depth"] == pytest.approx(0.0007, abs=1e-9)
    assert skim["at"][2] == pytest.approx(z, abs=1e-9)


def test_nothing_cut(tmp_path: Path) -> None:
    job = write_job(tmp_path, wall(), TOOLS, **PLATE, pitch=0.010)
    result = run(job, as_of=0)
    assert rows(result) == [[(0.0, 0)], [], []]
    assert result["levels"][0]["area"] == pytest.approx(4 * HALF**2, rel=1e-12)


@pytest.mark.parametrize("shape", ["round", "model"])
def test_a_flat_past_the_end_of_the_stock_ends(tmp_path: Path, shape: str) -> None:
    """A cutter wider than the bar faces it; by bounds its flat goes on where no stock is.

    Looking there for more is four times the work at every halving: it never ended.
    """
    stock = 'shape = "round"\ndiameter = 30\ncenter = [0, 0]\nbottom = -10\ntop = 0'
    if shape == "model":
        outline = shapely.Polygon([(-15, -15), (15, -15), (15, 0), (0, 0), (0, 15), (-15, 15)])
        solid = trimesh.creation.extrude_polygon(outline, 10.0)
        solid.apply_translation((0, 0, -10))
        solid.export(tmp_path / "stock.stl")
        stock = 'shape = "model"\nmodel = "stock.stl"'
    nc = Nc().tool(1, "face")
    for y in (-10.0, 0.0, 10.0):
        nc.stroke((-40, y, -1), (40, y, -1))
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 16)], stock=stock, pitch=0.2)
    (level,) = job.run().levels
    assert (level.z, level.pass_number) == (-1.0, 1)
    area = math.pi * 15**2 if shape == "round" else 30 * 30 - 15 * 15
    assert level.columns * 0.2**2 == pytest.approx(area, rel=0.01)
