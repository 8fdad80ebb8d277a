"""The trace along a line: places, jumps and heights against closed forms (derived)."""

from __future__ import annotations

import itertools
import json
import math
import time
from pathlib import Path
from typing import Any

import helpers_job as hj
import numpy as np
import proud
import pytest
from helpers_job import TOOLS, Nc, write_job

Table = dict[str, Any]
NEAR = 1e-9
"""mm: how well places are held to where sheets cross at an angle."""
BOX: dict[str, Any] = {"low": (-20, -15, -12), "high": (20, 15, 0), "pitch": 0.5}
ACROSS = ((-12.3, 0.4), (13.1, 0.4))
X0 = ACROSS[0][0]


def along(nc: Nc, x: float, z: float) -> Nc:
    return nc.stroke((x, -30, z), (x, 30, z))


def trace(job: proud.Job, start: Any, stop: Any, **options: Any) -> Table:
    """Return the trace as people's scripts get it, after checking what holds for every trace."""
    found = job.trace(start, stop, **options).as_dict()
    json.dumps(found, allow_nan=False)
    assert list(found) == ["unit", "points", "steps"]
    per = hj.IN if found["unit"] == "in" else 1.0
    length = math.dist(start, stop) / per
    s = [p["s"] for p in found["points"]]
    assert s[0] == 0
    assert s[-1] == pytest.approx(length, abs=1e-12)
    assert all(a < b for a, b in itertools.pairwise(s))
    for p in found["points"]:
        assert list(p) == ["s", "x", "y", "z", "pass", "line"]
        assert (p["z"] is None) == (p["pass"] is None)
        if p["pass"] in (None, 0):
            assert p["line"] is None
        else:
            assert type(p["line"]) is int
        on_line = [
            a / per + (b - a) / per * p["s"] / length for a, b in zip(start, stop, strict=True)
        ]
        assert [p["x"], p["y"]] == pytest.approx(on_line, abs=1e-9)
    places = [row["s"] for row in found["steps"]]
    assert places == sorted(places)
    for row in found["steps"]:
        assert list(row) == ["s", "x", "y", "jump", "height", "from_pass", "to_pass"]
        assert 0 <= row["s"] <= length
    return found


def rows(found: Table) -> list[tuple[Any, ...]]:
    """Return (from, to) of each step."""
    return [(r["from_pass"], r["to_pass"]) for r in found["steps"]]


def check(row: Table, s: float, jump: float, height: float | None, place: float = NEAR) -> None:
    assert row["s"] == pytest.approx(s, abs=place)
    assert row["jump"] == pytest.approx(jump, abs=1e-6)
    if height is None:
        assert row["height"] is None
    else:
        assert row["height"] == pytest.approx(height, abs=1e-9)


# --- one groove in raw stock: each shape's own crossing ------------------------------------------


@pytest.mark.parametrize("depth", [0.25, 1.0, 2.5])
@pytest.mark.parametrize("shape", TOOLS)
def test_edges_of_a_groove(tmp_path: Path, shape: str, depth: float) -> None:
    """The raw top is met where the tool's lower edge is `depth` above its tip."""
    R, depth_cone = 3.0, depth
    half = {
        "flat": R,
        "bull": R if depth > 1 else 2 + math.sqrt(1 - (1 - depth) ** 2),
        "ball": math.sqrt(R**2 - (R - depth) ** 2),
        "chamfer": min(R, 0.5 + depth_cone),
        "drill": min(R, depth * math.tan(math.radians(59))),
    }[shape]
    rim = {"flat": depth, "bull": max(0.0, depth - 1), "ball": 0.0}
    rim |= {
        "chamfer": max(0.0, depth - 2.5),
        "drill": max(0.0, depth - 3 / math.tan(math.radians(59))),
    }
    level_to_level = depth if shape in ("flat", "bull", "chamfer") else None
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -depth), [TOOLS[shape]], **BOX)
    found = trace(job, *ACROSS)
    assert rows(found) == [(0, 1), (1, 0)]
    down, up = found["steps"]
    # Where the edge runs out level or upright (a fillet's end, a rim) a float's last bit decides.
    fine = not (shape == "bull" and depth == 1.0)
    check(
        down,
        1.7 - half - X0,
        -rim[shape],
        level_to_level and -level_to_level,
        NEAR if fine else 1e-7,
    )
    check(up, 1.7 + half - X0, rim[shape], level_to_level, NEAR if fine else 1e-7)


def test_heights_along_the_line(tmp_path: Path) -> None:
    """Points are exact columns: a ball's groove, square and askew."""
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["ball"]], **BOX)
    for start, stop in (ACROSS, ((-9.0, -7.0), (12.0, 11.0)), ((12.0, 11.0), (-9.0, -7.0))):
        found = trace(job, start, stop, spacing=0.07)
        for p in found["points"]:
            off = abs(p["x"] - 1.7)
            z = min(0.0, 1 - math.sqrt(9 - off**2)) if off <= 3 else 0.0
            assert p["z"] == pytest.approx(z, abs=1e-9)
            assert p["pass"] == (1 if z < 0 else 0)
        askew = math.dist(start, stop) / abs(stop[0] - start[0])
        half = math.sqrt(8)
        expected = sorted(abs(1.7 + k * half - start[0]) * askew for k in (-1, 1))
        assert [r["s"] for r in found["steps"]] == pytest.approx(expected, abs=NEAR)


def test_spacing(tmp_path: Path) -> None:
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["ball"]], **BOX)
    wide, fine = (trace(job, (-5, 0), (5, 0), spacing=d) for d in (1.0, 0.01))
    gaps = np.diff([p["s"] for p in wide["points"]])
    assert gaps.max() <= 1.0 + 1e-9
    assert len(fine["points"]) >= 1001
    assert wide["steps"] == fine["steps"]


@pytest.mark.parametrize("spacing", [0.0, -1.0, math.nan, 1e-12])
def test_bad_spacing(tmp_path: Path, spacing: float) -> None:
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["ball"]], **BOX)
    with pytest.raises(proud.BadInput):
        job.trace((-5, 0), (5, 0), spacing=spacing)


def test_line_of_no_length(tmp_path: Path) -> None:
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["ball"]], **BOX)
    with pytest.raises(proud.BadInput):
        job.trace((1, 1), (1, 1))


# --- two passes ----------------------------------------------------------------------------------


def test_cusp_between_two_balls(tmp_path: Path) -> None:
    """Equal balls 1 apart meet in the middle, no jump, no floor: height is null."""
    nc = along(along(Nc().tool(1, "a"), 0, -2).heading("b"), 1, -2)
    found = trace(write_job(tmp_path, nc, [TOOLS["ball"]], **BOX), *ACROSS)
    assert rows(found) == [(0, 1), (1, 2), (2, 0)]
    check(found["steps"][1], 0.5 - X0, 0, None)


def test_balls_of_different_depth(tmp_path: Path) -> None:
    """Circles about (0, 1) and (1.5, 0.4), R 3: they meet on their radical line."""
    nc = along(along(Nc().tool(1, "a"), 0, -2).heading("b"), 1.5, -2.6)
    found = trace(write_job(tmp_path, nc, [TOOLS["ball"]], **BOX), *ACROSS)
    ux, uz = 1.5, -0.6
    half = math.hypot(ux, uz) / 2
    reach = math.sqrt(9 - half**2)
    x = 0.75 + reach * (uz / (2 * half))  # the lower of the two points
    assert rows(found) == [(0, 1), (1, 2), (2, 0)]
    check(found["steps"][1], x - X0, 0, None)


def test_same_pass_crossing_is_no_step(tmp_path: Path) -> None:
    nc = along(along(Nc().tool(1, "a"), 0, -2), 1, -2)
    found = trace(write_job(tmp_path, nc, [TOOLS["ball"]], **BOX), *ACROSS)
    assert rows(found) == [(0, 1), (1, 0)]


def test_jump_in_one_pass(tmp_path: Path) -> None:
    """Two depths of a flat tool in one pass: a jump at the deeper one's edge, both signs."""
    nc = along(along(Nc().tool(1, "a"), 0, -2), 2, -2.5)
    found = trace(write_job(tmp_path, nc, [TOOLS["flat"]], **BOX), *ACROSS)
    assert rows(found) == [(0, 1), (1, 1), (1, 0)]
    check(found["steps"][0], -3 - X0, -2, -2)
    check(found["steps"][1], -1 - X0, -0.5, -0.5)
    check(found["steps"][2], 5 - X0, 2.5, 2.5)


def test_fillet_runs_out_into_a_ledge(tmp_path: Path) -> None:
    """No jump at the border, but a height of 1 mm level to level, up along the line and down."""
    nc = Nc().tool(1, "ledge")
    for x in (-4, 0, 4):
        along(nc, x, -3)
    along(nc.tool(2, "floor"), 9, -4)
    tools = [hj.tool(1, "flat", 6), hj.tool(2, "bull", 10, RE=2)]
    job = write_job(tmp_path, nc, tools, **BOX)
    meet = 9 - (3 + math.sqrt(3))
    found = trace(job, *ACROSS)
    assert rows(found) == [(0, 1), (1, 2)]
    check(found["steps"][1], meet - X0, 0, -1)
    back = trace(job, (14.5, 0.4), at_x(-12.3))
    assert rows(back) == [(0, 2), (2, 1), (1, 0)]
    check(back["steps"][0], 0.5, -2, -4)
    check(back["steps"][1], 14.5 - meet, 0, 1)
    check(back["steps"][2], 14.5 + 7, 3, 3)


def at_x(x: float) -> tuple[float, float]:
    return (x, 0.4)


def test_height_is_that_of_the_first_floor_away(tmp_path: Path) -> None:
    """The far pass' floor lies behind its own fillet; a second floor further on does not count."""
    nc = along(Nc().tool(1, "upper"), -3, -1)
    along(along(nc.tool(2, "lower"), 3, -2), 7.5, -2.5)
    tools = [hj.tool(1, "flat", 8), hj.tool(2, "bull", 6, RE=1)]
    found = trace(write_job(tmp_path, nc, tools, **BOX), at_x(-12), at_x(14))
    crossing = next(r for r in found["steps"] if (r["from_pass"], r["to_pass"]) == (1, 2))
    assert crossing["height"] == pytest.approx(-1, abs=1e-9)
    assert crossing["jump"] == pytest.approx(0, abs=1e-6)
    # Level to level inside pass 2: its fillets cross without a jump, so there is no step there.
    assert (2, 2) not in rows(found)


@pytest.mark.parametrize("way", ["same way", "other way"])
@pytest.mark.parametrize("shape", TOOLS)
def test_coincident_passes(tmp_path: Path, shape: str, way: str) -> None:
    """A spring pass on the same path leaves nothing: the first pass owns all, no step between."""
    points = [(-11, -3, -2), (9, 4, -2)]
    again = points if way == "same way" else points[::-1]
    nc = Nc().tool(1, "first").stroke(*points).heading("spring").stroke(*again)
    job = write_job(tmp_path, nc, [TOOLS[shape]], **BOX)
    for start, stop in (((-5, -10), (3, 10)), ((-18, -2.2), (18, 6.3)), ((-9, 6), (9, -9))):
        once = trace(job, start, stop, as_of=1)
        twice = trace(job, start, stop)
        assert (1, 0) in rows(once)
        assert rows(twice) == rows(once)


@pytest.mark.parametrize("shape", TOOLS)
def test_longer_pass_on_the_same_line(tmp_path: Path, shape: str) -> None:
    """The second pass runs on where the first ended: it owns the ends, the first all between."""
    nc = Nc().tool(1, "first").stroke((-11, -3, -2), (9, 4, -2))
    nc.heading("longer").stroke((-13, -3.7, -2), (11, 4.7, -2))
    job = write_job(tmp_path, nc, [TOOLS[shape]], **BOX)
    found = trace(job, (-18, -5.45), (18, 7.15))
    assert rows(found) == [(0, 2), (2, 1), (1, 2), (2, 0)]


# --- off the stock, holes ------------------------------------------------------------------------


def test_off_the_stock_is_null(tmp_path: Path) -> None:
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["flat"]], **BOX)
    found = trace(job, (-30, 0), (30, 0))
    for p in found["points"]:
        if abs(p["x"]) > 20 + 1e-9:
            assert (p["z"], p["pass"], p["line"]) == (None, None, None)
        elif abs(p["x"]) < 20 - 1e-9:
            assert p["z"] is not None
    inner = [r for r in found["steps"] if None not in (r["from_pass"], r["to_pass"])]
    assert [(r["from_pass"], r["to_pass"]) for r in inner] == [(0, 1), (1, 0)]
    outer = [r for r in found["steps"] if r not in inner]
    for r in outer:
        assert abs(abs(r["x"]) - 20) <= NEAR
        assert r["height"] is None
        assert r["jump"] is None


def test_wholly_off_the_stock(tmp_path: Path) -> None:
    job = write_job(tmp_path, along(Nc().tool(1, "groove"), 1.7, -2), [TOOLS["flat"]], **BOX)
    found = trace(job, (-30, 40), (30, 40))
    assert found["steps"] == []
    assert {p["z"] for p in found["points"]} == {None}


def test_through_hole_is_null(tmp_path: Path) -> None:
    job = write_job(tmp_path, Nc().tool(1, "hole").stroke((1, 0, -14)), [TOOLS["flat"]], **BOX)
    found = trace(job, (-10, 0), (10, 0))
    for p in found["points"]:
        hole = abs(p["x"] - 1) < 3 - 1e-9
        assert (p["z"] is None) == hole or abs(abs(p["x"] - 1) - 3) <= 1e-9
    for r in found["steps"]:
        assert abs(abs(r["x"] - 1) - 3) <= NEAR
        assert (r["jump"], r["height"]) == (None, None)


def test_bore_of_a_tube_is_null(tmp_path: Path) -> None:
    tube = 'shape = "tube"\ndiameter = 30\nbore = 10\nbottom = -10\ntop = 0'
    nc = along(Nc().tool(1, "groove"), 9, -2)
    job = write_job(tmp_path, nc, [TOOLS["flat"]], stock=tube, pitch=0.5)
    found = trace(job, (-20, 0), (20, 0))
    for p in found["points"]:
        if min(abs(abs(p["x"]) - 5), abs(abs(p["x"]) - 15)) > 1e-9:
            assert (p["z"] is None) == (not 5 < abs(p["x"]) < 15)
    assert [r for r in rows(found) if None not in r] == [(0, 1), (1, 0)]


# --- along walls, rims and borders ---------------------------------------------------------------


def test_along_the_rim_of_a_slot(tmp_path: Path) -> None:
    """Touching counts as reached: the rim of a slot of a whole number is cut, all along."""
    nc = Nc().tool(1, "slot").stroke((0, -10, -2), (0, 10, -2))
    job = write_job(tmp_path, nc, [TOOLS["flat"]], **BOX)
    found = trace(job, (3, -14), (3, 14))
    assert rows(found) == [(0, 1), (1, 0)]
    # The round ends touch the line: a last bit of the rim is 3e-8 along it.
    check(found["steps"][0], 4, -2, -2, 1e-7)
    check(found["steps"][1], 24, 2, 2, 1e-7)
    assert rows(trace(job, (3 + 1e-9, -14), (3 + 1e-9, 14))) == []


def test_along_a_cusp(tmp_path: Path) -> None:
    """On the very line where two equal balls meet the earlier owns; no flicker of steps."""
    nc = along(along(Nc().tool(1, "a"), 0, -2).heading("b"), 1, -2)
    found = trace(write_job(tmp_path, nc, [TOOLS["ball"]], **BOX), (0.5, -14), (0.5, 14))
    assert found["steps"] == []
    assert {p["pass"] for p in found["points"]} == {1}


def test_along_a_groove(tmp_path: Path) -> None:
    """Round its end: a ball's end is met where the ball is 2 above its tip."""
    nc = Nc().tool(1, "groove").stroke((0, -5, -2), (0, 5, -2))
    found = trace(write_job(tmp_path, nc, [TOOLS["ball"]], **BOX), (0, -14), (0, 14))
    assert rows(found) == [(0, 1), (1, 0)]
    for row, y in zip(found["steps"], (-5 - math.sqrt(8), 5 + math.sqrt(8)), strict=True):
        assert row["y"] == pytest.approx(y, abs=NEAR)


# --- rings, ramps --------------------------------------------------------------------------------


def test_across_a_ring(tmp_path: Path) -> None:
    """A ball round a circle of 9: cut from 9 - sqrt 8 to 9 + sqrt 8, on a line through the axis or
    off it."""
    nc = Nc().tool(1, "ring").arc((9, 0, -2), (9, 0, -2), (0, 0), "ccw")
    job = write_job(tmp_path, nc, [TOOLS["ball"]], **BOX)
    for off in (0.0, 2.0, 7.5):
        found = trace(job, (-14, off), (14, off))
        xs = [
            math.sqrt((9 + k * math.sqrt(8)) ** 2 - off**2)
            for k in (-1, 1)
            if 9 + k * math.sqrt(8) > off
        ]
        expected = sorted([14 + x for x in xs] + [14 - x for x in xs])
        assert [r["s"] for r in found["steps"]] == pytest.approx(expected, abs=NEAR)


def test_down_a_ramp(tmp_path: Path) -> None:
    """A flat tool sinking along x: the surface trails its rear edge; the far end is upright."""
    nc = Nc().tool(1, "ramp").stroke((-9, 0, 0.5), (8, 0, -2.9))
    job = write_job(tmp_path, nc, [TOOLS["flat"]], **BOX)
    found = trace(job, (-18, 0), (18, 0))
    # z = 0.5 - 0.2 (t + 9) with the tip at t; the column at x is left last by the tip at x + 3.
    begins = -9 + 2.5 - 3
    assert rows(found) == [(0, 1), (1, 0)]
    assert found["steps"][0]["x"] == pytest.approx(begins, abs=NEAR)
    assert found["steps"][0]["jump"] == pytest.approx(0, abs=1e-6)
    check(found["steps"][1], 18 + 11, 2.9, 2.9)
    for p in found["points"]:
        if begins < p["x"] < 5:
            assert p["z"] == pytest.approx(0.5 - 0.2 * (p["x"] + 3 + 9), abs=1e-9)
        elif 5 < p["x"] < 11 - 1e-9:
            assert p["z"] == pytest.approx(-2.9, abs=1e-9)


# --- speed, symmetry -----------------------------------------------------------------------------


def raster(count: int) -> Nc:
    """A wavy ball raster: rows along x of short moves."""
    nc = Nc().tool(1, "raster")
    per = 100
    for j in range(count // per):
        y = -10 + 20 * j / (count // per)
        xs = np.linspace(-15, 15, per)
        nc.stroke(*((float(x), y, -1 + 0.4 * math.sin(x + 0.3 * y)) for x in xs))
    return nc


def test_dense_raster_in_seconds(tmp_path: Path) -> None:
    job = write_job(tmp_path, raster(10_000), [TOOLS["ball"]], **BOX)
    assert len(job.program.moves) > 10_000
    job.trace((-1, -1), (1, 1))
    began = time.perf_counter()
    found = trace(job, (-14, -9), (14, 9))
    assert time.perf_counter() - began < 10
    assert rows(found) == []
    assert {p["pass"] for p in found["points"]} == {1}


def test_dense_raster_of_two_passes(tmp_path: Path) -> None:
    """Rows of two passes in turn: one change of pass at every cusp, none elsewhere."""
    nc = Nc().tool(1, "odd")
    ys = [-8 + 0.2 * k for k in range(81)]
    for part, name in ((ys[::2], "odd"), (ys[1::2], "even")):
        nc.heading(name)
        for y in part:
            nc.stroke((-30, y, -2), (30, y, -2))
    job = write_job(tmp_path, nc, [TOOLS["ball"]], **BOX)
    found = trace(job, (0.3, -7.95), (0.3, 7.95))
    assert len(found["steps"]) == 80
    places = [r["y"] for r in found["steps"]]
    assert places == pytest.approx([-7.9 + 0.2 * k for k in range(80)], abs=NEAR)
    assert all(abs(r["jump"]) <= 1e-6 for r in found["steps"])


@pytest.mark.parametrize(
    "line", [((-14, -9), (13, 8)), ((-14.2, 3.3), (13.7, 3.3)), ((2.2, -14), (1.1, 14))]
)
def test_walked_the_other_way(tmp_path: Path, line: Any) -> None:
    """A to B mirrored is B to A: places from the other end, signs turned, passes swapped."""
    nc = along(Nc().tool(1, "a"), -5, -2).stroke((-9, -4, -0.4), (8, 5, -3.1))
    nc.tool(2, "b").arc((7, 0, -1.5), (0, 7, -1.5), (0, 0), "cw").stroke((11, 3, -4))
    nc.tool(3, "c").stroke((-16, -9, -1), (15, 9, -1.8))
    tools = [TOOLS["flat"], hj.tool(2, "bull", 5, RE=1), hj.tool(3, "ball", 6)]
    job = write_job(tmp_path, nc, tools, **BOX)
    there, back = trace(job, *line), trace(job, *line[::-1])
    length = math.dist(*line)
    assert len(there["steps"]) >= 3
    assert len(there["steps"]) == len(back["steps"])
    for a, b in zip(there["steps"], back["steps"][::-1], strict=True):
        assert a["s"] == pytest.approx(length - b["s"], abs=2 * NEAR)
        assert (a["from_pass"], a["to_pass"]) == (b["to_pass"], b["from_pass"])
        assert a["jump"] == pytest.approx(-b["jump"], abs=1e-6)
        assert (a["height"] is None) == (b["height"] is None)
        if a["height"] is not None:
            assert a["height"] == pytest.approx(-b["height"], abs=1e-9)
    middle = [p["z"] for p in there["points"]], [p["z"] for p in back["points"]][::-1]
    assert len(middle[0]) == len(middle[1])


def test_as_of(tmp_path: Path) -> None:
    nc = along(along(Nc().tool(1, "a"), 0, -2).heading("b"), 1, -2)
    job = write_job(tmp_path, nc, [TOOLS["ball"]], **BOX)
    assert rows(trace(job, *ACROSS, as_of=1)) == [(0, 1), (1, 0)]


def test_units_of_the_trace(tmp_path: Path) -> None:
    """In an inch job numbers come in inches: a ball 1/4 in, 0.05 deep."""
    nc = Nc("in", clear=0.5).tool(1, "a").stroke((0, -1, -0.05), (0, 1, -0.05))
    job = write_job(
        tmp_path, nc, [hj.tool(1, "ball", 0.25)], low=(-0.5, -0.5, -0.5), high=(0.5, 0.5, 0),
        pitch=0.05, unit="in",
    )  # fmt: skip
    found = trace(job, (-0.4 * 25.4, 0), (0.4 * 25.4, 0))
    half = math.sqrt(0.125**2 - 0.075**2)
    assert found["unit"] == "in"
    assert [r["s"] for r in found["steps"]] == pytest.approx([0.4 - half, 0.4 + half], abs=1e-10)
    assert min(p["z"] for p in found["points"]) == pytest.approx(-0.05, abs=1e-4)
