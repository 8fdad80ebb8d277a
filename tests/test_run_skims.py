"""Skims: a later pass cuts a floor that an earlier pass had left flat. Closed forms (derived)."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import helpers_job as hj
import proud
import pytest
from helpers_job import IN, Nc, write_job

Table = dict[str, Any]
EXACT = 1e-9
KEYS = ["pass", "into_pass", "depth", "area", "at", "line"]
PLATE: dict[str, Any] = {
    "low": (-0.3, -0.1, -0.5), "high": (0.3, 0.1, 0), "pitch": 0.002, "unit": "in",
}  # fmt: skip
"""Inch; paths along y run past both ends: areas are widths times 0.2."""
ALONG = 0.2


def along(nc: Nc, x: float, z: float) -> Nc:
    return nc.stroke((x, -0.4, z), (x, 0.4, z))


def floor(z: float = -0.1) -> Nc:
    """Pass 1 leaves a flat floor from x -0.25 to 0.25."""
    return along(Nc("in", clear=0.5).tool(1, "floor"), 0, z)


FLOOR_TOOL = hj.tool(1, "flat", 0.5)


def skims(job: proud.Job, **options: Any) -> list[Table]:
    """Return the rows after checking what holds for every row."""
    result = job.run(**options).as_dict()
    passes = {p["pass"]: p for p in result["passes"]}
    for row in result["skims"]:
        assert list(row) == KEYS
        assert all(type(row[k]) is int for k in ("pass", "into_pass", "line"))
        assert 1 <= row["into_pass"] < row["pass"]
        per = IN if result["unit"] == "in" else 1.0
        assert row["depth"] * per > 1e-6
        assert row["area"] > 0
        assert passes[row["pass"]]["from_line"] <= row["line"] <= passes[row["pass"]]["to_line"]
    rows: list[Table] = result["skims"]
    return rows


def only(rows: list[Table]) -> Table:
    assert len(rows) == 1, rows
    return rows[0]


# --- the finisher and the ledge ------------------------------------------------------------------


def profile(rougher_z: float, finisher_z: float) -> Nc:
    """Rough a wall at x = 0 with RE 60 thou, 10 left on it; finish it with RE 30. Part at x < 0."""
    nc = Nc("in", clear=0.5).tool(1, "rough")
    for x in (0.125 + 0.010, 0.2):
        along(nc, x, rougher_z)
    return along(nc.tool(2, "finish"), 0.0625, finisher_z)


ROUGHER, FINISHER = hj.tool(1, "bull", 0.25, RE=0.060), hj.tool(2, "bull", 0.125, RE=0.030)


def test_finisher_above_the_ledge_is_free(tmp_path: Path) -> None:
    """Rougher's floor 15 below the part, finisher's tip 12 below: 3 thou free (derived)."""
    job = write_job(tmp_path, profile(-0.215, -0.212), [ROUGHER, FINISHER], **PLATE)
    assert skims(job) == []
    levels = job.run().as_dict()["levels"]
    assert (-0.215, 1) in [(round(v["z"], 9), v["pass"]) for v in levels]


@pytest.mark.parametrize("pitch", [0.002, 0.0013])
def test_finisher_below_the_ledge_cuts_it(tmp_path: Path, pitch: float) -> None:
    """The other way round it cuts 3 thou of the ledge (derived), from the rougher's own fillet to
    where the finisher's runs out: RF - sqrt(RF^2 - ...) at 3 thou above its tip."""
    options = PLATE | {"pitch": pitch}
    job = write_job(tmp_path, profile(-0.212, -0.215), [ROUGHER, FINISHER], **options)
    row = only(skims(job))
    assert (row["pass"], row["into_pass"]) == (2, 1)
    assert row["depth"] == pytest.approx(0.003, abs=EXACT)
    begins = 0.010 + 0.060
    ends = 0.0625 + (0.0625 - 0.030) + math.sqrt(0.030**2 - 0.027**2)
    assert row["area"] == pytest.approx((ends - begins) * ALONG, abs=1.01 * pitch * ALONG)
    x, y, z = row["at"]
    assert z == pytest.approx(-0.215, abs=EXACT)
    assert begins - 1e-9 <= x <= 0.0625 + 0.0325 + 1e-9
    assert -0.1 <= y <= 0.1
    moves = job.program.moves
    last = moves.line[(moves.pass_number == 2) & ~moves.rapid][-1]
    assert row["line"] == last


@pytest.mark.parametrize(("register", "depth"), [("", None), ('H1 = "2 thou"', 0.001)])
def test_rougher_register_too_big(tmp_path: Path, register: str, depth: float | None) -> None:
    """Rougher 2 thou high: ledge 2 thou higher, and a finisher 1 thou above the intended ledge now
    cuts 1 thou of it (trade: common practice, no source)."""
    job = write_job(
        tmp_path, profile(-0.212, -0.211), [ROUGHER, FINISHER], offsets=register, **PLATE
    )
    rows = skims(job)
    ledge = max(
        (v for v in job.run().as_dict()["levels"] if v["pass"] == 1), key=lambda v: v["area"]
    )
    if depth is None:
        assert rows == []
        assert ledge["z"] == pytest.approx(-0.212, abs=EXACT)
        return
    row = only(rows)
    assert (row["pass"], row["into_pass"]) == (2, 1)
    assert row["depth"] == pytest.approx(depth, abs=EXACT)
    assert ledge["z"] == pytest.approx(-0.210, abs=EXACT)


# --- depth, area, place --------------------------------------------------------------------------


@pytest.mark.parametrize("depth", [0.00002, 0.0003, 0.003, 0.0299])
def test_flat_tool_skims_a_floor(tmp_path: Path, depth: float) -> None:
    nc = along(floor().tool(2, "drag"), 0.01, -0.1 - depth)
    job = write_job(tmp_path, nc, [FLOOR_TOOL, hj.tool(2, "flat", 0.125)], **PLATE)
    row = only(skims(job))
    assert row["depth"] == pytest.approx(depth, abs=EXACT)
    assert row["area"] == pytest.approx(0.125 * ALONG, abs=1.01 * 0.002 * ALONG)
    assert row["at"][2] == pytest.approx(-0.1 - depth, abs=EXACT)
    assert abs(row["at"][0] - 0.01) <= 0.0625 + EXACT


@pytest.mark.parametrize("shape", ["ball", "bull", "chamfer", "drill"])
@pytest.mark.parametrize("x", [0.0, 0.00037, 0.001])
def test_depth_is_exact_between_columns(tmp_path: Path, shape: str, x: float) -> None:
    """The tip's line lies between columns: the depth is that of the tip all the same."""
    more = {"bull": {"RE": 0.0624}, "chamfer": {"KAPR": 45.0, "tip": 0.0}, "drill": {"SIG": 118.0}}
    tool = hj.tool(2, shape, 0.125, **more.get(shape, {}))
    depth = 0.002 if shape in ("chamfer", "drill") else 0.0005  # grooves of two pitches at least
    nc = along(floor().tool(2, "groove"), x, -0.1 - depth)
    row = only(skims(write_job(tmp_path, nc, [FLOOR_TOOL, tool], **PLATE)))
    assert row["depth"] == pytest.approx(depth, abs=EXACT)
    assert row["at"][2] == pytest.approx(-0.1 - depth, abs=EXACT)
    assert row["at"][0] == pytest.approx(x, abs=0.001 if shape != "bull" else 0.0012)


@pytest.mark.parametrize("pitch", [0.002, 0.0005])
def test_ball_low_by_half_a_thou(tmp_path: Path, pitch: float) -> None:
    """Groove half width sqrt(2 R e - e^2): R 62.5, e 0.5 thou: 7.89 thou (derived)."""
    nc = along(floor().tool(2, "ball"), 0, -0.1005)
    options = PLATE | {"pitch": pitch}
    job = write_job(tmp_path, nc, [FLOOR_TOOL, hj.tool(2, "ball", 0.125)], **options)
    row = only(skims(job))
    half = math.sqrt(2 * 0.0625 * 0.0005 - 0.0005**2)
    assert half == pytest.approx(0.00789, abs=5e-6)
    assert row["depth"] == pytest.approx(0.0005, abs=EXACT)
    assert row["area"] == pytest.approx(2 * half * ALONG, abs=1.01 * pitch * ALONG)


def test_deepest_of_a_ramp(tmp_path: Path) -> None:
    """A pass that sinks from 0.1 to 2 thou below the floor: depth and place are the far end's."""
    nc = floor().tool(2, "sinks").stroke((0, -0.08, -0.1001), (0, 0.05, -0.102))
    job = write_job(tmp_path, nc, [FLOOR_TOOL, hj.tool(2, "ball", 0.125)], **PLATE)
    row = only(skims(job))
    assert row["depth"] == pytest.approx(0.002, abs=EXACT)
    assert row["at"] == pytest.approx([0, 0.05, -0.102], abs=0.001)


def test_face_skim_over_the_whole_floor(tmp_path: Path) -> None:
    """A wanted floor finish is a skim too: all of the floor, minus nothing."""
    nc = along(floor().tool(1, "finish"), 0, -0.101)
    row = only(skims(write_job(tmp_path, nc, [FLOOR_TOOL], **PLATE)))
    assert row["depth"] == pytest.approx(0.001, abs=EXACT)
    assert row["area"] == pytest.approx(0.5 * ALONG, abs=1.01 * 0.002 * ALONG)


# --- what is listed ------------------------------------------------------------------------------


def test_raw_top_is_no_floor_of_a_pass(tmp_path: Path) -> None:
    nc = along(Nc("in", clear=0.5).tool(1, "face"), 0, -0.001)
    assert skims(write_job(tmp_path, nc, [FLOOR_TOOL], **PLATE)) == []


def test_own_floor_is_no_skim(tmp_path: Path) -> None:
    nc = along(floor(), 0.01, -0.101)
    assert skims(write_job(tmp_path, nc, [FLOOR_TOOL], **PLATE)) == []


@pytest.mark.parametrize(("depth", "rows"), [(0.0299, 1), (0.030, 1), (0.0301, 0), (0.2, 0)])
def test_deeper_than_the_limit_is_cutting(tmp_path: Path, depth: float, rows: int) -> None:
    nc = along(floor().tool(2, "slot"), 0, -0.1 - depth)
    job = write_job(tmp_path, nc, [FLOOR_TOOL, hj.tool(2, "flat", 0.125)], **PLATE)
    assert len(skims(job)) == rows


def test_the_limit_can_be_set(tmp_path: Path) -> None:
    nc = along(floor().tool(2, "slot"), 0, -0.103)
    job = write_job(tmp_path, nc, [FLOOR_TOOL, hj.tool(2, "flat", 0.125)], **PLATE)
    assert skims(job, skim=0.0029 * IN) == []
    assert only(skims(job, skim=0.0031 * IN))["depth"] == pytest.approx(0.003, abs=EXACT)


@pytest.mark.parametrize("shape", ["ball", "bull", "chamfer", "drill"])
def test_rim_of_a_deep_cut_is_no_skim(tmp_path: Path, shape: str) -> None:
    """Next to its rim a deep groove or hole is shallow, but no tool skimmed there."""
    more = {"bull": {"RE": 0.05}, "chamfer": {"KAPR": 45.0, "tip": 0.01}, "drill": {"SIG": 118.0}}
    tool = hj.tool(2, shape, 0.125, **more.get(shape, {}))
    nc = along(floor().tool(2, "groove"), 0, -0.145).stroke((0.15, 0, -0.15))
    assert skims(write_job(tmp_path, nc, [FLOOR_TOOL, tool], **PLATE)) == []


def test_less_than_a_millionth_is_none(tmp_path: Path) -> None:
    """1e-6 mm is the least depth of a skim."""
    for depth, rows in ((0.9e-6, 0), (3e-6, 1)):
        z = -2.0 - depth
        nc = Nc().tool(1, "floor").stroke((-30, 0, -2), (30, 0, -2))
        nc.tool(2, "again").stroke((-30, 0, z), (30, 0, z))
        tools = [hj.tool(1, "flat", 10), hj.tool(2, "flat", 6)]
        job = write_job(tmp_path / str(rows), nc, tools, low=(-8, -8, -9), high=(8, 8, 0))
        assert len(skims(job)) == rows


def test_a_corner_fillet_is_no_floor(tmp_path: Path) -> None:
    """The wall's fillet is cut away by the finisher; the floor itself stays untouched."""
    nc = along(along(Nc("in", clear=0.5).tool(1, "bull"), 0.125, -0.2), 0.2, -0.2)
    nc.tool(2, "corner").stroke((0.0625, -0.4, -0.2), (0.0625, 0.4, -0.2))
    assert skims(write_job(tmp_path, nc, [ROUGHER, hj.tool(2, "flat", 0.125)], **PLATE)) == []


def test_two_floors_of_one_pass_and_two_passes(tmp_path: Path) -> None:
    """One row for each pass, pass cut into and floor."""
    nc = along(along(Nc("in", clear=0.5).tool(2, "floors"), -0.15, -0.1), 0.05, -0.102)
    along(nc.heading("third floor"), 0.2, -0.101)
    nc.tool(1, "across").stroke((-0.5, 0, -0.105), (0.5, 0, -0.105))
    tools = [hj.tool(1, "flat", 0.05), hj.tool(2, "flat", 0.125)]
    rows = skims(write_job(tmp_path, nc, tools, **PLATE))
    found = sorted((r["into_pass"], round(r["depth"], 9)) for r in rows)
    assert found == [(1, 0.003), (1, 0.005), (2, 0.004)]
    for row in rows:
        assert row["pass"] == 3
        assert row["at"][2] == pytest.approx(-0.105, abs=EXACT)
        if row["into_pass"] == 1:
            assert row["area"] == pytest.approx(0.125 * 0.05, rel=0.05)


def test_passes_skim_in_turn(tmp_path: Path) -> None:
    """Each pass is judged by what stood before it: 1 thou each time, each into the one before."""
    nc = along(floor().tool(1, "second"), 0, -0.101)
    along(nc.tool(1, "third"), 0, -0.102)
    rows = skims(write_job(tmp_path, nc, [FLOOR_TOOL], **PLATE))
    assert [(r["pass"], r["into_pass"]) for r in rows] == [(2, 1), (3, 2)]
    for row in rows:
        assert row["depth"] == pytest.approx(0.001, abs=EXACT)


def test_as_of_leaves_later_skims_out(tmp_path: Path) -> None:
    nc = along(floor().tool(1, "second"), 0, -0.101)
    job = write_job(tmp_path, nc, [FLOOR_TOOL], **PLATE)
    assert skims(job, as_of=1) == []
    assert len(skims(job, as_of=2)) == 1


def test_wall_pass_drags_on_the_floor(tmp_path: Path) -> None:
    """A wall pass 0.3 thou low: a strip as wide as its tool beyond the floor pass's allowance."""
    tools = [hj.tool(1, "flat", 0.25), hj.tool(2, "flat", 0.125)]
    nc = along(along(Nc("in", clear=0.5).tool(1, "floor"), 0.1285, -0.2), 0.2, -0.2)
    along(nc.tool(2, "wall"), 0.0625, -0.2003)
    options = PLATE | {"pitch": 0.0005}
    row = only(skims(write_job(tmp_path, nc, tools, **options)))
    assert row["depth"] == pytest.approx(0.0003, abs=EXACT)
    assert row["area"] == pytest.approx((0.125 - 0.0035) * ALONG, abs=1.01 * 0.0005 * ALONG)


@pytest.mark.parametrize("pitch", [0.010, 0.001])
def test_skims_at_any_pitch(tmp_path: Path, pitch: float) -> None:
    """Depths are exact columns' at a coarse grid too; areas come closer with the pitch."""
    nc = floor().tool(2, "skewed").stroke((-0.21, -0.03, -0.1007), (0.19, 0.02, -0.1021))
    nc.tool(3, "ring").arc((0.1, 0, -0.1003), (0.1, 0, -0.1003), (0, 0), "ccw")
    tools = [FLOOR_TOOL, hj.tool(2, "ball", 0.25), hj.tool(3, "flat", 0.05)]
    options = PLATE | {"pitch": pitch}
    rows = skims(write_job(tmp_path, nc, tools, **options))
    by = {(r["pass"], r["into_pass"]): r for r in rows}
    assert set(by) == {(2, 1), (3, 1)}
    assert by[2, 1]["depth"] == pytest.approx(0.0021, abs=EXACT)
    assert by[2, 1]["at"] == pytest.approx([0.19, 0.02, -0.1021], abs=0.5 * pitch + 1e-6)
    assert by[3, 1]["depth"] == pytest.approx(0.0003, abs=EXACT)
    assert by[3, 1]["at"][2] == pytest.approx(-0.1003, abs=EXACT)


def test_a_deep_cut_across_a_skim_is_none_of_it(tmp_path: Path) -> None:
    """A ball 0.5 mm deep in a floor, crossed by itself 2 mm deep: the skim is 0.5 mm.

    The limit is 30 thou, 0.762 mm: the second stroke is ordinary cutting.
    """
    nc = Nc().tool(1, "floor")
    for y in range(-12, 13, 4):
        nc.stroke((-30, y, -1), (30, y, -1))
    nc.tool(2, "ball").stroke((-10, 0, -1.5), (10, 0, -1.5)).stroke((0, -8, -3), (0, 8, -3))
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 6), hj.tool(2, "ball", 4)], pitch=0.1)
    (skim,) = job.run().skims
    assert skim.depth == pytest.approx(0.5, abs=1e-9)
    assert abs(skim.at[1]) < 1e-6
    assert abs(skim.at[0]) > math.sqrt(4 - 1)  # off the deep stroke's groove at the old floor
