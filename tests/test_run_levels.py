"""Levels and the steps between them, on jobs whose answers are known in closed form (derived)."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import helpers_job as hj
import numpy as np
import proud
import pytest
from helpers_job import IN, Nc, write_job

Table = dict[str, Any]
EXACT = 1e-9
"""Heights come from exact columns: the job's unit, mm or in."""

RUN_KEYS = ["version", "unit", "title", "passes", "volume", "levels", "steps", "skims", "notes"]
PASS_KEYS = ["pass", "setup", "tool", "name", "from_line", "to_line", "moves", "length", "removed"]
STEP_KEYS = ["height", "upper_z", "lower_z", "upper_pass", "lower_pass", "at", "length"]


def lanes(nc: Nc, xs: list[float], z: float, y: float = 30) -> Nc:
    """Cut along y, past both ends of the stock, at each x."""
    for x in xs:
        nc.stroke((x, -y, z), (x, y, z))
    return nc


def level(result: Table, z: float, number: int) -> Table:
    """Return the one level of a pass at a height."""
    found = [v for v in result["levels"] if abs(v["z"] - z) <= EXACT and v["pass"] == number]
    assert len(found) == 1, (z, number, result["levels"])
    return found[0]


def step(result: Table, upper: int, lower: int, height: float) -> Table:
    """Return the one step of a height between two passes."""
    found = [
        s
        for s in result["steps"]
        if (s["upper_pass"], s["lower_pass"]) == (upper, lower)
        and abs(s["height"] - height) <= EXACT
    ]
    assert len(found) == 1, (upper, lower, height, result["steps"])
    return found[0]


def check_form(result: Table) -> None:
    """What holds for any run: keys, kinds, order, and that the parts agree with each other."""
    assert list(result) == RUN_KEYS
    for row in result["passes"]:
        assert list(row) == PASS_KEYS
        assert all(type(row[k]) is int for k in ("pass", "tool", "from_line", "to_line", "moves"))
        assert type(row["setup"]) is str
    assert [p["pass"] for p in result["passes"]] == list(range(1, len(result["passes"]) + 1))
    assert list(result["volume"]) == ["stock", "removed", "left"]
    pairs = set()
    for v in result["levels"]:
        assert list(v) == ["z", "area", "pass"]
        assert type(v["pass"]) is int
        assert v["area"] > 0
    for s in result["steps"]:
        assert list(s) == STEP_KEYS
        assert s["height"] == pytest.approx(s["upper_z"] - s["lower_z"], abs=1e-12)
        assert s["height"] >= 0
        assert len(s["at"]) == 3
        assert s["length"] > 0
        pairs.add((s["upper_z"], s["upper_pass"], s["lower_z"], s["lower_pass"]))
        for end in ("upper", "lower"):
            level(result, s[f"{end}_z"], s[f"{end}_pass"])
        # On the surface, between the two levels.
        assert s["lower_z"] - 1e-6 <= s["at"][2] <= s["upper_z"] + 1e-6
    assert len(pairs) == len(result["steps"])


def run(job: proud.Job, **options: Any) -> Table:
    result = job.run(**options).as_dict()
    check_form(result)
    return result


# --- staircases ----------------------------------------------------------------------------------


def test_staircase(tmp_path: Path) -> None:
    """Four treads of 4 mm across a block of 30: areas, heights and borders are whole numbers."""
    nc = Nc()
    for k in range(4):
        lanes(nc.tool(1, f"tread {k + 1}"), [2 + 4 * k], -0.25 * (k + 1))
    job = write_job(
        tmp_path,
        nc,
        [hj.tool(1, "flat", 4, APMX=9)],
        low=(-4, -15, -5),
        high=(20, 15, 0),
        pitch=0.5,
    )
    result = run(job)
    assert [(v["z"], v["pass"]) for v in result["levels"]] == [
        (0, 0), (-0.25, 1), (-0.5, 2), (-0.75, 3), (-1.0, 4),
    ]  # fmt: skip
    areas = [v["area"] for v in result["levels"]]
    assert areas == pytest.approx([240, 120, 120, 120, 120], abs=1e-9)
    for k in range(4):
        s = step(result, k, k + 1, 0.25)
        assert s["length"] == pytest.approx(30, rel=1e-9)
        assert s["at"][0] == pytest.approx(4 * k, abs=0.5)
        assert -15 < s["at"][1] < 15
    # The last tread is a metre's walk from the raw top, along nothing but the two.
    assert step(result, 0, 4, 1.0)["at"][0] == pytest.approx(16, abs=0.5)
    assert len(result["steps"]) == 5
    assert result["volume"]["removed"] == pytest.approx(120 * 2.5, rel=1e-12)
    assert [p["removed"] for p in result["passes"]] == pytest.approx([30, 60, 90, 120], rel=1e-12)
    assert result["notes"] == []


def test_lengths_and_moves_of_passes(tmp_path: Path) -> None:
    """Only feed moves count: 10 + 1 mm down and 60 mm along, rapids left out; lines from 1."""
    nc = lanes(Nc().tool(1, "first"), [2], -1)
    lanes(nc.tool(1, "second"), [6, 8], -2)
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 4)])
    first, second = run(job)["passes"]
    assert (first["name"], second["name"], first["setup"]) == ("first", "second", "op1")
    assert (first["moves"], second["moves"]) == (2, 4)
    assert first["length"] == pytest.approx(11 + 60)
    assert second["length"] == pytest.approx(2 * (12 + 60))
    for row in (first, second):
        assert nc.lines[row["from_line"] - 1].startswith("G1 Z")
        assert nc.lines[row["to_line"] - 1].startswith("G1 X")


# --- the step is measured level to level ---------------------------------------------------------


def test_ledge_with_a_corner_fillet_between(tmp_path: Path) -> None:
    """The lower floor's fillet runs up into the ledge: no jump anywhere, and a step of 1 mm."""
    nc = lanes(Nc().tool(1, "ledge"), [0, 4, 8, 12], -4)
    lanes(nc.tool(1, "floor"), [14], -5)
    job = write_job(
        tmp_path, nc, [hj.tool(1, "bull", 10, RE=2)], low=(-10, -8, -9), high=(17, 8, 0), pitch=0.25
    )
    result = run(job)
    assert step(result, 1, 2, 1)["length"] == pytest.approx(16, rel=1e-9)
    # The fillet meets the ledge at 14 - (3 + sqrt(2^2 - 1^2)), the ledge begins at -3.
    meet = 14 - (3 + math.sqrt(3))
    assert step(result, 1, 2, 1)["at"][0] == pytest.approx(meet, abs=0.25)
    assert step(result, 1, 2, 1)["at"][2] == pytest.approx(-4, abs=0.3)
    assert level(result, -4, 1)["area"] == pytest.approx((meet + 3) * 16, abs=16 * 0.25)
    assert level(result, -5, 2)["area"] == pytest.approx(6 * 16, abs=16 * 0.25)
    assert step(result, 0, 1, 4)["length"] == pytest.approx(16, rel=1e-9)
    assert len(result["steps"]) == 2
    assert len(result["levels"]) == 3


def test_levels_that_only_touch_through_a_third_are_no_neighbours(tmp_path: Path) -> None:
    """A ball's groove parts two floors: none of its ground belongs to either."""
    nc = lanes(Nc().tool(1, "left"), [-3], -1)
    lanes(nc.tool(1, "right"), [3], -2)
    lanes(nc.tool(2, "groove"), [0], -4)
    tools = [hj.tool(1, "flat", 6), hj.tool(2, "ball", 5)]
    job = write_job(tmp_path, nc, tools, low=(-6, -8, -9), high=(6, 8, 0), pitch=0.25)
    result = run(job)
    assert [(v["z"], v["pass"]) for v in result["levels"]] == [(-1, 1), (-2, 2)]
    assert result["steps"] == []


def test_two_levels_of_one_pass(tmp_path: Path) -> None:
    nc = lanes(lanes(Nc().tool(1, "both"), [-3], -1), [3], -1.125)
    job = write_job(
        tmp_path, nc, [hj.tool(1, "flat", 6)], low=(-6, -8, -9), high=(6, 8, 0), pitch=0.5
    )
    result = run(job)
    assert [(v["z"], v["pass"], v["area"]) for v in result["levels"]] == [
        (-1, 1, 96),
        (-1.125, 1, 96),
    ]
    only = step(result, 1, 1, 0.125)
    assert only["length"] == pytest.approx(16, rel=1e-9)
    assert only["at"][0] == pytest.approx(0, abs=0.5)
    assert len(result["steps"]) == 1


def test_one_level_left_by_two_passes(tmp_path: Path) -> None:
    """Two levels of one z: where they overlap the earlier pass owns; no step to feel between."""
    nc = lanes(Nc().tool(1, "one"), [-2], -1)
    lanes(nc.tool(1, "two"), [2], -1)
    job = write_job(
        tmp_path, nc, [hj.tool(1, "flat", 6)], low=(-7, -8, -9), high=(7, 8, 0), pitch=0.5
    )
    result = run(job)
    assert level(result, -1, 1)["area"] == pytest.approx(6 * 16, abs=1e-9)
    assert level(result, -1, 2)["area"] == pytest.approx(4 * 16, abs=1e-9)
    assert step(result, 0, 1, 1)["length"] == pytest.approx(16, rel=1e-3)
    assert step(result, 0, 2, 1)["length"] == pytest.approx(16, rel=1e-3)
    assert all(s["height"] == 0 for s in result["steps"] if s["upper_pass"] and s["lower_pass"])


def test_levels_a_hair_apart_are_one_within_a_millionth(tmp_path: Path) -> None:
    for gap, count in ((4e-7, 1), (1e-4, 2)):
        nc = lanes(lanes(Nc().tool(1, "both"), [-3], -1), [3], -1 - gap)
        job = write_job(
            tmp_path / str(count), nc, [hj.tool(1, "flat", 6)], low=(-6, -8, -9), high=(6, 8, 0)
        )
        assert len(run(job)["levels"]) == count


def test_raw_top_of_a_round_bar(tmp_path: Path) -> None:
    nc = Nc().tool(1, "flat on a bar").stroke((-30, 0, -2), (30, 0, -2))
    bar = 'shape = "round"\ndiameter = 20\nbottom = -10\ntop = 0'
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 6)], stock=bar, pitch=0.1)
    result = run(job)
    slot = 2 * (3 * math.sqrt(91) + 100 * math.asin(0.3))
    assert level(result, -2, 1)["area"] == pytest.approx(slot, rel=5e-3)
    assert level(result, 0, 0)["area"] == pytest.approx(100 * math.pi - slot, rel=5e-3)
    assert step(result, 0, 1, 2)["length"] == pytest.approx(4 * math.sqrt(91), rel=0.02)
    assert len(result["levels"]) == 2


# --- borders -------------------------------------------------------------------------------------


@pytest.mark.parametrize("degrees", [0, 5, 17, 30, 45, 60, 76, 90, 133])
def test_length_of_a_straight_border(tmp_path: Path, degrees: float) -> None:
    """A slot through a block has two sides, as long as plane geometry (shapely) says."""
    a = math.radians(degrees)
    c, s = math.cos(a), math.sin(a)
    nc = Nc().tool(1, "slot").stroke((-25 * c, -25 * s, -1), (25 * c, 25 * s, -1))
    job = write_job(
        tmp_path, nc, [hj.tool(1, "flat", 6)], low=(-10, -10, -5), high=(10, 10, 0), pitch=0.1
    )
    border = step(run(job), 0, 1, 1)
    shapely = pytest.importorskip("shapely")
    block = shapely.box(-10, -10, 10, 10)
    sides = [
        shapely.LineString([(-25 * c - k * s, -25 * s + k * c), (25 * c - k * s, 25 * s + k * c)])
        for k in (-3, 3)
    ]
    expected = sum(block.intersection(side).length for side in sides)
    assert border["length"] == pytest.approx(expected, rel=0.02)
    x, y, _ = border["at"]
    assert abs(abs(x * s - y * c) - 3) <= 0.1


@pytest.mark.parametrize(("radius", "pitch"), [(4.0, 0.1), (8.0, 0.2), (2.0, 0.04)])
def test_length_of_a_round_border(tmp_path: Path, radius: float, pitch: float) -> None:
    nc = Nc().tool(1, "hole").stroke((0.123, 0.077, -1))
    job = write_job(
        tmp_path,
        nc,
        [hj.tool(1, "flat", 2 * radius)],
        low=(-10, -10, -5),
        high=(10, 10, 0),
        pitch=pitch,
    )
    result = run(job)
    border = step(result, 0, 1, 1)
    assert border["length"] == pytest.approx(2 * math.pi * radius, rel=0.02)
    assert level(result, -1, 1)["area"] == pytest.approx(math.pi * radius**2, rel=0.01)
    x, y, _ = border["at"]
    assert math.hypot(x - 0.123, y - 0.077) == pytest.approx(radius, abs=pitch)


def test_at_is_on_the_longest_border(tmp_path: Path) -> None:
    """Two borders between the same two levels: a long slot and a small hole; length is of both."""
    nc = Nc().tool(1, "slot and hole").stroke((-30, 5, -1), (30, 5, -1)).stroke((6, -8, -1))
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 4)], pitch=0.1)
    border = step(run(job), 0, 1, 1)
    assert border["length"] == pytest.approx(80 + 4 * math.pi, rel=0.02)
    assert min(abs(border["at"][1] - 3), abs(border["at"][1] - 7)) <= 0.1


# --- registers, work zero ------------------------------------------------------------------------


PLATE: dict[str, Any] = {
    "low": (-0.3, -0.2, -0.5), "high": (0.3, 0.2, 0), "pitch": 0.02, "unit": "in",
}  # fmt: skip


def ledge_program(unit: str) -> Nc:
    nc = Nc(unit)
    nc.tool(3, "ledge").stroke((-0.1, -1, -0.1), (-0.1, 1, -0.1))
    nc.tool(4, "beside").stroke((0.1, -1, -0.13), (0.1, 1, -0.13))
    return nc


@pytest.mark.parametrize(
    ("offsets", "shift3", "shift4"),
    [
        ("", 0.0, 0.0),
        ('H3 = "0.0015in"', 0.0015, 0.0),
        ('H3 = "-2 thou"\nH4 = "25.4um"', -0.002, 0.001),
        ('Z0 = "3 thou"', 0.003, 0.003),
        ('Z0 = "3 thou"\nH3 = "-3 thou"', 0.0, 0.003),
        ('H7 = "9 thou"', 0.0, 0.0),
    ],
)
def test_height_registers(tmp_path: Path, offsets: str, shift3: float, shift4: float) -> None:
    """H is the value in the register minus the true one: positive cuts that much high."""
    tools = [hj.tool(3, "flat", 0.2), hj.tool(4, "flat", 0.2)]
    job = write_job(tmp_path, ledge_program("in"), tools, **PLATE, offsets=offsets)
    result = run(job)
    assert result["unit"] == "in"
    level(result, -0.1 + shift3, 1)
    level(result, -0.13 + shift4, 2)
    step(result, 1, 2, 0.03 + shift3 - shift4)
    level(result, 0, 0)


def test_without_g43_the_register_is_not_used(tmp_path: Path) -> None:
    text = ledge_program("in").text().replace("G43 H3\n", "")
    tools = [hj.tool(3, "flat", 0.2), hj.tool(4, "flat", 0.2)]
    job = write_job(tmp_path, text, tools, **PLATE, offsets='H3 = "5 thou"\nH4 = "5 thou"')
    result = run(job)
    level(result, -0.1, 1)
    level(result, -0.125, 2)
    assert any("G43" in note and "3" in note for note in result["notes"])


def test_register_of_another_number(tmp_path: Path) -> None:
    """G43 H14 with T4: the register in force counts, not the tool's number."""
    nc = Nc("in").tool(4, "floor", h=14).stroke((0, -1, -0.1), (0, 1, -0.1))
    job = write_job(
        tmp_path, nc, [hj.tool(4, "flat", 0.2)], **PLATE, offsets='H14 = "1 thou"\nH4 = "7 thou"'
    )
    level(run(job), -0.099, 1)


# --- any pitch -----------------------------------------------------------------------------------


def wide_levels(tmp_path: Path, pitch: float) -> Table:
    """Ledges, pockets, a fillet, a ring and a skewed slot; every level at least 0.02 in wide."""
    tools = [
        hj.tool(1, "bull", 0.25, RE=0.03),
        hj.tool(2, "flat", 0.125),
        hj.tool(3, "bull", 0.125, RE=0.015),
        hj.tool(4, "ball", 0.1),
    ]
    nc = Nc("in", clear=0.5)
    nc.tool(1, "shoulder").stroke((-0.4137, -0.5, -0.05), (-0.4137, 0.5, -0.05))
    nc.tool(2, "pocket").stroke((-0.1013, -0.0511, -0.0803), (0.0921, -0.0511, -0.0803))
    nc.heading("pocket, deeper").stroke((-0.1013, 0.0633, -0.0831), (0.0921, 0.0633, -0.0831))
    nc.tool(3, "ring").arc((0.2911, 0.0171, -0.02), (0.2911, 0.0171, -0.02), (0.3717, 0.0171), "cw")
    nc.heading("skewed").stroke((-0.21, -0.4, -0.0317), (-0.17, 0.4, -0.0317))
    nc.tool(1, "lower shoulder").stroke((-0.5393, -0.5, -0.053), (-0.5393, 0.5, -0.053))
    nc.tool(4, "groove").stroke((0.05, -0.17, -0.02), (0.25, -0.17, -0.02))
    job = write_job(
        tmp_path / str(pitch), nc, tools, low=(-0.55, -0.2507, -0.3), high=(0.5501, 0.2503, 0),
        pitch=pitch, unit="in",
    )  # fmt: skip
    return run(job)


def test_same_steps_at_any_pitch(tmp_path: Path) -> None:
    """0.010 and 0.001 in print the same steps between levels at least two pitches wide."""
    fine, coarse = (wide_levels(tmp_path, pitch) for pitch in (0.001, 0.010))
    assert len(fine["steps"]) >= 7
    floors = [np.array([(v["z"], v["pass"]) for v in r["levels"]]) for r in (fine, coarse)]
    np.testing.assert_allclose(floors[0], floors[1], rtol=0, atol=EXACT)
    key = ("height", "upper_z", "lower_z", "upper_pass", "lower_pass")
    rows = [[[s[k] for k in key] for s in r["steps"]] for r in (fine, coarse)]
    assert len(rows[0]) == len(rows[1])
    assert rows[0] == [pytest.approx(row, abs=EXACT) for row in rows[1]]
    for a, b in zip(fine["steps"], coarse["steps"], strict=True):
        assert a["length"] == pytest.approx(b["length"], rel=0.05, abs=0.02)
    for a, b in zip(fine["levels"], coarse["levels"], strict=True):
        assert a["area"] == pytest.approx(b["area"], rel=0.1, abs=0.003)


# --- a wall pass lifted above the floor ----------------------------------------------------------


@pytest.mark.parametrize("pitch", [0.001, 0.0007])
def test_witness_strip_at_the_foot_of_a_wall(tmp_path: Path, pitch: float) -> None:
    """Wall pass 0.3 thou above the floor, whose pass left 3.5 thou on the wall: a strip 0.3 thou
    high and 3.5 thou wide (trade: common practice, no source)."""
    tools = [hj.tool(1, "flat", 0.25), hj.tool(2, "flat", 0.125)]
    nc = Nc("in", clear=0.5)
    nc.tool(1, "floor").stroke((0.1285, -0.4, -0.2), (0.1285, 0.4, -0.2)).stroke(
        (0.3, -0.4, -0.2), (0.3, 0.4, -0.2)
    )
    nc.tool(2, "wall").stroke((0.0625, -0.4, -0.1997), (0.0625, 0.4, -0.1997))
    job = write_job(
        tmp_path, nc, tools, low=(-0.05, -0.1, -0.4), high=(0.25, 0.1, 0), pitch=pitch, unit="in"
    )
    result = run(job)
    strip = level(result, -0.1997, 2)
    assert strip["area"] == pytest.approx(0.0035 * 0.2, abs=pitch * 0.2)
    witness = step(result, 2, 1, 0.0003)
    assert witness["length"] == pytest.approx(0.2, rel=1e-3)
    assert witness["at"][0] == pytest.approx(0.0035, abs=pitch)
    step(result, 0, 2, 0.1997)
    assert len(result["steps"]) == 2
    assert result["skims"] == []


def test_units_of_the_job(tmp_path: Path) -> None:
    """The same part told in inch and in mm: numbers differ by 25.4, nothing else."""
    rows = []
    for unit, k in (("in", 1.0), ("mm", IN)):
        nc = Nc(unit, clear=0.5 * k)
        nc.tool(1, "a").stroke((-0.1 * k, -k, -0.1 * k), (-0.1 * k, k, -0.1 * k))
        job = write_job(
            tmp_path / unit, nc, [hj.tool(1, "flat", 0.2 * k)], low=(-0.3 * k, -0.2 * k, -0.5 * k),
            high=(0.3 * k, 0.2 * k, 0), pitch=0.02 * k, unit=unit,
        )  # fmt: skip
        result = run(job)
        volume, area = result["volume"]["removed"] / k**3, result["levels"][1]["area"] / k**2
        border = result["steps"][0]
        rows.append(
            [volume, area, border["height"] / k, border["length"] / k, *np.divide(border["at"], k)]
        )
    assert rows[0] == pytest.approx(rows[1], rel=1e-9, abs=1e-9)
    assert rows[0][:3] == pytest.approx([0.1 * 0.2 * 0.4, 0.08, 0.1])


# --- random floors --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
def test_random_floors_against_plane_geometry(tmp_path: Path, seed: int) -> None:
    """Flat tools, a depth for each pass: what each leaves and where they meet is plane geometry
    (shapely). The lower of two floors owns where they overlap, so borders are of lower floors."""
    shapely = pytest.importorskip("shapely")
    rng = np.random.default_rng(seed)
    block, pitch = shapely.box(-8, -8, 8, 8), 0.05
    sizes = (3.0, 4.5, 6.0)
    nc, cuts = Nc(), []
    depths = -rng.permutation(np.arange(1, 6)) / 8
    for number, z in enumerate(depths, 1):
        which = int(rng.integers(3))
        nc.tool(which + 1, f"pass {number}")
        points = np.round(rng.uniform(-9, 9, (int(rng.integers(2, 4)), 2)), 6)
        nc.stroke(*((x, y, z) for x, y in points))
        cuts.append(shapely.LineString(points).buffer(sizes[which] / 2, quad_segs=100))
    regions = {}
    for k, cut in enumerate(cuts):
        deeper = [c for c, z in zip(cuts, depths, strict=True) if z < depths[k]]
        regions[k + 1] = shapely.intersection(cut, block).difference(shapely.union_all(deeper))
    regions[0] = block.difference(shapely.union_all(cuts))
    tools = [hj.tool(k + 1, "flat", d) for k, d in enumerate(sizes)]
    job = write_job(tmp_path, nc, tools, low=(-8, -8, -5), high=(8, 8, 0), pitch=pitch)
    result = run(job)
    left = {k: r for k, r in regions.items() if r.area > 0.02}
    found = {v["pass"]: v for v in result["levels"] if v["area"] > 0.04}
    assert set(found) <= set(left)
    assert {k for k, r in left.items() if r.area > 0.06} <= set(found)
    for k, v in found.items():
        assert v["area"] == pytest.approx(left[k].area, abs=0.2 * pitch * left[k].length)
    pairs = {(s["upper_pass"], s["lower_pass"]): s for s in result["steps"]}
    z_of = dict(enumerate([0.0, *depths]))
    for a in left:
        for b in left:
            if z_of[a] <= z_of[b]:
                continue
            shared = shapely.intersection(left[a].buffer(1e-3), left[b].boundary).length
            if shared > 1.0:
                assert (a, b) in pairs, (a, b, shared)
            if (a, b) in pairs:
                border = pairs.pop((a, b))
                # Where a third floor begins, and along slivers, a few cells more or fewer.
                assert border["length"] == pytest.approx(shared, rel=0.05, abs=14 * pitch)
                assert border["height"] == pytest.approx(z_of[a] - z_of[b], abs=EXACT)
                at = shapely.Point(border["at"][:2])
                assert at.distance(left[a]) <= pitch
                assert at.distance(left[b]) <= pitch
    assert not [pair for pair in pairs if set(pair) <= set(left)]


def test_a_part_without_any_level_is_run_all_the_same(tmp_path):
    """A ball that waves over the whole stock leaves nothing level."""
    nc = Nc().tool(1, "wave")
    for k in range(-8, 9):
        nc.stroke(*((x, 2.0 * k, -2.0 - (x % 7) / 7) for x in range(-20, 21, 2)))
    job = write_job(tmp_path, nc, [hj.tool(1, "ball", 8)], low=(-12, -8, -9), high=(12, 8, 0))
    result = job.run()
    assert result.levels == ()
    assert result.steps == ()
