"""Gaps of neck, shank and holder: closed forms of plane geometry, and an oracle that samples."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import oracle_gap
import pytest
import trimesh
from helpers_job import IN, Nc, number, tool, write_job
from proud.clearance import find_clearance
from proud.pieces import CUTTING

T = 0.001
EXACT = 1e-7
"""mm: rays polish a gap to 1e-8 mm in place."""
CUTTER = tool(1, "flat", 6, APMX=2, DMM=6)
INCHES = {"low": (-0.7, -0.7, -0.5), "high": (0.7, 0.7, 0), "pitch": 0.02, "unit": "in"}
WALL = INCHES | {"high": (0.7, 0.2, 0)}
"""Thinner than the cutter: no second wall stands across its path."""


def gaps(folder, nc, tools, **more):
    """Return the job and its gaps by (tool, part, against), in the job's unit, checked in order."""
    job = write_job(folder, nc, tools, **more)
    found = find_clearance(job)
    rows = found.as_dict()["gaps"]
    assert (np.diff([r["gap"] for r in rows]) > -1e-9).all()  # alike to 1e-9 mm: by tool and part
    by = {(r["tool"], r["part_of_tool"], r["against"]): r for r in rows}
    assert len(by) == len(rows)
    return job, by


def shank(folder, nc, tools=(CUTTER,), **more) -> dict:
    """Return the only gap that there is: the shank's of tool 1."""
    _, by = gaps(folder, nc, tools, **more)
    assert list(by) == [(1, "shank", "stock")]
    return by[1, "shank", "stock"]


def box(name, low, high) -> str:
    corners = f"low = {list(map(float, low))}\nhigh = {list(map(float, high))}"
    return f'[[setups.fixture]]\nname = "{name}"\n{corners}'


def holder(text: str, *cylinders) -> str:
    return f"{text}\nholder = {[list(map(float, c)) for c in cylinders]}"


# --- over floors ---------------------------------------------------------------------------------


def test_a_shank_wider_than_its_cutter_over_the_raw_top_and_over_a_floor(tmp_path):
    """The tip 2 under the top, 3 of cutting length: 1 over it; 2 over a floor 1 deep."""
    nc = Nc().tool(1, "slot").stroke((-8, 0, -2), (8, 1, -2))
    wide = [tool(1, "flat", 6, APMX=3, DMM=10), tool(2, "flat", 60)]
    row = shank(tmp_path / "raw", nc, wide[:1])
    assert row["gap"] == pytest.approx(1, abs=EXACT)
    assert row["at"][2] == pytest.approx(0, abs=EXACT)
    assert row["pass"] == 1
    nc = Nc().tool(2, "face").stroke((-60, 0, -1), (60, 0, -1)).tool(1, "slot")
    row = shank(tmp_path / "faced", nc.stroke((-8, 0, -2), (8, 1, -2)), wide)
    assert row["gap"] == pytest.approx(2, abs=EXACT)
    assert row["at"][2] == pytest.approx(-1, abs=EXACT)
    assert row["pass"] == 2


# --- beside walls --------------------------------------------------------------------------------

STAGGERED = [(7, 10, 3), (7, 7, 0), (10, 8, -2)]
"""Allowance of the upper and of the lower depth, and how free the shank is, thou. 3 thou and 0:
common practice, no source; the third: derived."""


def expect(row, wanted: float, unit_mm: float = IN) -> None:
    assert row["gap"] * unit_mm == pytest.approx(wanted * unit_mm, abs=EXACT)
    if wanted <= 0:
        assert row["gap"] <= 0
    assert row["pass"] == 2


@pytest.mark.parametrize(("upper", "lower", "free"), STAGGERED)
@pytest.mark.parametrize("angle", [0.0, 17.3, 90.0, 143.1])
def test_a_shank_beside_a_wall_at_an_angle(tmp_path, upper, lower, free, angle):
    """Flat cutters, a shank as thick as DC, cutting length shorter than the wall (derived)."""
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", upper, -0.2), ("lower", lower, -0.4)):
        off = 0.125 + allowance * T
        ends = [(c * a - s * off, s * a + c * off, z) for a in (-2, 2)]
        nc.heading(name).stroke(*ends)
    bar = 'shape = "round"\ndiameter = 0.4\nbottom = -0.5\ntop = 0'
    mill = tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)
    row = shank(tmp_path, nc, [mill], stock=bar, **INCHES)
    expect(row, free * T)
    x, y, z = row["at"]
    assert -s * x + c * y == pytest.approx(upper * T, abs=1e-7)
    assert -0.15 - 1e-9 <= z <= 1e-9


@pytest.mark.parametrize(("upper", "lower", "free"), STAGGERED)
@pytest.mark.parametrize(("wall", "code", "side"), [(0.2, "G3", -1), (0.5, "G2", 1)])
def test_a_shank_round_a_boss_and_in_a_bore(tmp_path, upper, lower, free, wall, code, side):
    """As beside a straight wall: full circles about a round one (derived).

    The bore is too small to leave a core, the bar too thin to leave a wall outside the boss.
    """
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", upper, -0.2), ("lower", lower, -0.4)):
        r = number(wall + side * (0.125 + allowance * T))
        nc.heading(name).down((float(r), 0, z)).raw(f"{code} X{r} Y0 I-{r} J0").up()
    bar = 'shape = "round"\ndiameter = 1.4\nbottom = -0.5\ntop = 0'
    mill = tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)
    row = shank(tmp_path, nc, [mill], stock=bar, **INCHES)
    expect(row, free * T)
    assert math.hypot(*row["at"][:2]) == pytest.approx(wall + side * upper * T, abs=1e-7)


@pytest.mark.parametrize("above", [70, 60, 55, 50, 45])
def test_the_corner_of_the_upper_pass_takes_clearance_away(tmp_path, above):
    """RE 60, allowances 7 and 10, the shank's edge so many thou over the upper depth (derived).

    Level to the fillet 50 thou above it is 2.16 thou; in space 60 - hypot(57, 10) = 2.13.
    """
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", 7, -0.2), ("lower", 10, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    mill = tool(1, "bull", 0.25, RE=0.06, APMX=0.2 + above * T, DMM=0.25)
    row = shank(tmp_path, nc, [mill], **WALL)
    free = 60 - math.hypot(57, 60 - above) if above < 60 else 3.0
    expect(row, free * T)
    level = 3 - (60 - math.sqrt(60**2 - max(0, 60 - above) ** 2))
    assert free <= level + 1e-12
    if above == 50:
        assert (level, free) == (pytest.approx(2.16, abs=5e-3), pytest.approx(2.1295, abs=5e-5))


def test_where_the_shank_begins_to_touch_the_corner_and_how_deep_it_goes(tmp_path):
    """0 at 60 - sqrt(60^2 - 57^2) = 41.265 thou over the upper depth; 30 over it, the fillet's
    deepest place lies as far inside the flank as over the end: 3.27874 thou (derived)."""
    nc = Nc("in", 1.0).tool(1)
    for name, allowance, z in (("upper", 7, -0.2), ("lower", 10, -0.4)):
        nc.heading(name).stroke(*[(x, 0.125 + allowance * T, z) for x in (-2, 2)])
    touch = 60 - math.sqrt(60**2 - 57**2)
    assert touch == pytest.approx(41.3, abs=0.05)
    deep = (174 - math.sqrt(174**2 - 8 * (57**2 + 30**2 - 60**2))) / 4
    for above, wanted in ((touch, 0), (30, -deep)):
        mill = tool(1, "bull", 0.25, RE=0.06, APMX=0.2 + above * T, DMM=0.25)
        row = shank(tmp_path / number(above), nc, [mill], **WALL)
        assert row["gap"] == pytest.approx(wanted * T, abs=4e-9)


# --- holes and slots -----------------------------------------------------------------------------


@pytest.mark.parametrize("thick", [5, 6, 7])
@pytest.mark.parametrize("shape", ["flat", "drill"])
def test_a_plunge_deeper_than_the_cutting_part(tmp_path, shape, thick):
    """(DC - DMM) / 2 free all round; below 0 where the shank is thicker (derived)."""
    point = {"SIG": 118} if shape == "drill" else {}
    nc = Nc().tool(1, "hole").stroke((0.5, 0.2, -8))
    row = shank(tmp_path, nc, [tool(1, shape, 6, APMX=4, DMM=thick, **point)])
    assert row["gap"] == pytest.approx((6 - thick) / 2, abs=EXACT)


def test_a_neck_in_a_deep_slot(tmp_path):
    """The neck (DC - DN) / 2 beside the walls, the shank over the top (derived)."""
    nc = Nc().tool(1, "slot")
    for z in (-3, -6, -9):
        nc.stroke((-8, 0, z), (8, 3, z))
    _, by = gaps(tmp_path, nc, [tool(1, "flat", 6, APMX=3, DN=5, LU=12, DMM=8)])
    assert {k[1]: r["gap"] for k, r in by.items()} == {
        "neck": pytest.approx(0.5, abs=EXACT),
        "shank": pytest.approx(3, abs=EXACT),
    }


def test_a_helix_into_a_bore(tmp_path):
    """The shank half a mm off the wall, and off the core that is left (derived)."""
    nc = Nc().tool(1, "helix").down((4, 0, 0))
    for k in range(5):
        nc.raw(f"G3 X4 Y0 Z{-k - 1} I-4 J0")
    nc.raw("G3 X4 Y0 I-4 J0").up()
    row = shank(tmp_path, nc, [tool(1, "flat", 6, APMX=2, DMM=5)])
    assert row["gap"] == pytest.approx(0.5, abs=EXACT)


def test_a_ramp_beside_a_wall(tmp_path):
    """A wall 7 off, the shank 3 of radius, its path 5 beside it and sloping: 2 free (derived)."""
    nc = Nc(clear=20).tool(2, "clear").stroke((-60, 17, -10), (60, 17, -10)).tool(1, "ramp")
    nc.stroke((-40, 5, -2), (40, 5, -8))
    row = shank(tmp_path, nc, [tool(1, "flat", 6, APMX=2, DMM=6), tool(2, "flat", 34)])
    assert row["gap"] == pytest.approx(2, abs=EXACT)
    assert row["at"][1] == pytest.approx(0, abs=EXACT)
    assert row["pass"] == 2


# --- corner to corner, and stock from outside ----------------------------------------------------

LONG = holder(tool(1, "flat", 6, APMX=10, DMM=6, LPR=15), (20, 20))


def test_a_holder_over_the_edge_of_a_step_and_of_the_stock(tmp_path):
    """The holder's edge 3 beside and 4 over an edge: 5 (derived)."""
    run = ((13, -30, -11), (13, 30, -11))
    nc = Nc(clear=30).tool(2, "clear").stroke((20, -40, -5), (20, 40, -5))
    nc.tool(1, "run").stroke(*run)
    _, step = gaps(tmp_path / "step", nc, [LONG, tool(2, "flat", 40)])
    nc = Nc(clear=30).tool(1, "run").stroke(*run)
    _, edge = gaps(tmp_path / "edge", nc, [LONG], high=(0, 15, 0))
    for by in (step, edge):
        row = by[1, "holder", "stock"]
        assert row["gap"] == pytest.approx(5, abs=EXACT)
        assert (row["at"][0], row["at"][2]) == (pytest.approx(0, abs=1e-6),) * 2
    assert edge[1, "shank", "stock"]["gap"] == pytest.approx(10, abs=EXACT)
    assert step[1, "shank", "stock"]["gap"] == pytest.approx(4, abs=EXACT)


def test_round_bar_tube_and_block_from_outside(tmp_path):
    """Centre to wall less the shank's radius (derived)."""
    down = "bottom = -12\ntop = 0"
    bar = f'shape = "round"\ndiameter = 40\ncenter = [1, 2]\n{down}'
    tube = f'shape = "tube"\ndiameter = 40\nbore = 30\n{down}'
    for name, stock, ends, wanted in (
        ("block", None, ((-30, -30, -5), (-30, 30, -5)), 7),
        ("bar", bar, ((-29, -32, -5), (-29, 32, -5)), 7),
        ("tube", tube, ((4, 0, -5), (2, 0, -5)), 8),
    ):
        nc = Nc().tool(1, "air").stroke(*ends)
        row = shank(tmp_path / name, nc, stock=stock)
        assert row["gap"] == pytest.approx(wanted, abs=EXACT), name


def test_a_mesh_with_a_sloping_side(tmp_path):
    """The shank's lower edge to a plane at 45 degrees: (distance across) / sqrt 2 (derived)."""
    corners = [(x, y, z) for y in (-15.0, 15.0) for x, z in ((0, -12), (20, -12), (20, 0), (12, 0))]
    wedge = trimesh.Trimesh(corners).convex_hull
    (tmp_path / "job").mkdir()
    wedge.export(tmp_path / "job" / "wedge.stl")
    nc = Nc().tool(1, "air").stroke((-5, -8, -8), (-5, 8, -8))
    row = shank(tmp_path / "job", nc, stock='shape = "model"\nmodel = "wedge.stl"')
    # Plane z = x - 12; the edge at x = -5 + 3, z = -8 + 2.
    assert row["gap"] == pytest.approx((-6 - (-2 - 12)) / math.sqrt(2), abs=1e-6)


# --- fixtures ------------------------------------------------------------------------------------


def test_fixture_boxes_by_closed_forms(tmp_path):
    """Beside, over, corner to corner in space, overlapping; every part counts (derived)."""
    nc = Nc(clear=30).tool(1, "air").stroke((-20, -30, -2), (20, -30, -2))
    boxes = [
        box("beside", (-5, -25, -5), (5, -24, -1)),
        box("under", (-5, -31, -9), (5, -29, -4)),
        box("corner", (-5, -18, 0), (5, -17, 9)),
        box("end", (26, -22, -5), (30, -21, 5)),
        box("in it", (-5, -28, -5), (5, -26, -1)),
    ]
    _, by = gaps(tmp_path, nc, [LONG], setup="\n".join(boxes))
    # Cutter -2..8, shank 8..13, holder 13..33 of radius 10.
    wanted = {
        ("bottom", "under"): 2, ("side", "beside"): 2, ("side", "in it"): -1,
        ("shank", "beside"): math.hypot(2, 9), ("shank", "corner"): 9,
        ("holder", "corner"): math.hypot(2, 4), ("side", "corner"): 9,
        ("side", "end"): math.hypot(6, 8) - 3,
    }  # fmt: skip
    found = {k[1:]: r["gap"] for k, r in by.items()}
    assert {k: found[k] for k in wanted} == pytest.approx(wanted, abs=1e-6)


def test_a_fixture_and_an_arc_and_a_ramp(tmp_path):
    nc = Nc(clear=30).tool(1, "arc").arc((10, 0, 5), (-10, 0, 5), (0, 0))
    nc.heading("ramp").stroke((-10, -30, 1), (10, -30, 6))
    boxes = [
        box("arc", (-1, 15, 0), (1, 20, 40)), box("ramp", (-1, -31, -9), (0, -29, -1)),
    ]  # fmt: skip
    mill = tool(1, "flat", 6, APMX=2, DMM=6)
    _, by = gaps(tmp_path, nc, [mill], setup="\n".join(boxes))
    assert by[1, "side", "arc"]["gap"] == pytest.approx(2, abs=1e-6)
    assert by[1, "shank", "arc"]["gap"] == pytest.approx(2, abs=1e-6)
    # The tip's edge 3 ahead of the axis comes up a slope of 1 in 4 to the box's low end: at
    # x = -4 it is 3.5 over it.
    assert by[1, "bottom", "ramp"]["gap"] == pytest.approx(3.5 / math.hypot(1, 0.25), abs=1e-6)


# --- what counts ---------------------------------------------------------------------------------


def test_rapids_count_and_moves_from_unknown_places_do_not(tmp_path):
    """A rapid over the top: 5 over it; what leads to the first known place: nothing."""
    nc = Nc(clear=3).tool(1).raw("G0 X0 Y0", "G0 Z3", "G0 X10").heading("cut")
    mill = tool(1, "flat", 6, APMX=2, DMM=8)
    row = shank(tmp_path / "rapid", nc.stroke((-40, 0, 4)), [mill])
    assert row["gap"] == pytest.approx(5, abs=EXACT)
    nc = Nc().tool(1).raw("G0 X0 Y0 Z-8", "G0 Z30").heading("cut").stroke((-40, 0, 9))
    row = shank(tmp_path / "unknown", nc, [mill])
    # The rapid up from Z-8 sweeps; the one that led there does not.
    assert row["gap"] < 0


def test_only_what_earlier_moves_left_counts(tmp_path):
    """In raw stock the shank overlaps by its radius, 3; once the wall is cut back it is 1 free
    (derived)."""
    mill, big = tool(1, "flat", 6, APMX=2, DMM=6), tool(2, "flat", 20)
    cut = ((-60, 10, -9), (60, 10, -9))
    run = ((-40, 4, -9), (40, 4, -9))
    first = Nc(clear=20).tool(2, "clear").stroke(*cut).tool(1, "run").stroke(*run)
    assert shank(tmp_path / "a", first, [mill, big])["gap"] == pytest.approx(1, abs=EXACT)
    other = Nc(clear=20).tool(1, "run").stroke(*run).tool(2, "clear").stroke(*cut)
    assert shank(tmp_path / "b", other, [mill, big])["gap"] == pytest.approx(-3, abs=1e-6)


def test_as_of_twice_and_two_tools(tmp_path):
    mill, big = tool(1, "flat", 6, APMX=2, DMM=6), tool(2, "flat", 20, APMX=12, DMM=24)
    nc = Nc(clear=20).tool(2, "clear").stroke((-60, 10, -9), (60, 10, -9))
    nc.tool(1, "run").stroke((-40, 4, -9), (40, 4, -9))
    job, by = gaps(tmp_path, nc, [mill, big])
    assert by[2, "shank", "stock"]["gap"] == pytest.approx(3, abs=EXACT)
    assert by[1, "shank", "stock"]["gap"] == pytest.approx(1, abs=EXACT)
    assert find_clearance(job).as_dict() == find_clearance(job).as_dict()
    early = find_clearance(job, as_of=job.count_as_of("1"))
    assert [(g.tool, g.part) for g in early.gaps] == [(2, "shank")]
    assert find_clearance(job, as_of=0).gaps == ()


def test_nothing_known_behind_the_cutting_part(tmp_path):
    nc = Nc().tool(1, "slot").stroke((-8, 0, -2), (8, 1, -2))
    found = find_clearance(write_job(tmp_path, nc, [tool(1, "flat", 6)]))
    assert found.gaps == ()
    assert len(found.notes) == 1
    assert found.notes[0].startswith("tool 1: nothing is known behind its cutting part")


# --- the oracle ----------------------------------------------------------------------------------


def random_job(folder, seed: int, shift=(0, 0, 0), turned: int = 0):
    """A few strokes of one tool with neck, shank and holder over and in a block."""
    rng = np.random.default_rng(seed)
    c, s = ((1, 0), (0, 1))[turned]

    def at(x, y, z):
        return (c * x - s * y + shift[0], s * x + c * y + shift[1], z + shift[2])

    def place(z):
        return (*rng.uniform(-9, 9, 2).round(2), z)

    nc = Nc(clear=30.0 + shift[2]).tool(1, "cut")
    for _ in range(rng.integers(1, 4)):
        z0, z1 = rng.uniform(-4, -0.5, 2).round(2)
        a = place(z0)
        if rng.random() < 0.4:
            end = (-a[0], -a[1], z1)
            nc.arc(at(*a), at(*end), at(0, 0, 0), rng.choice(["cw", "ccw"]))
        else:
            nc.stroke(at(*a), at(*place(z1)))
    mill = tool(
        1, "flat", 4, APMX=round(rng.uniform(1, 5), 2), DN=3.5, LU=round(rng.uniform(5.5, 8), 2),
        DMM=round(rng.uniform(3, 7), 2), LPR=round(rng.uniform(9, 12), 2),
    )  # fmt: skip
    wide = holder(mill, (round(rng.uniform(8, 14), 2), 5))
    corners = [at(-10, -8, -7), at(10, 8, 0)]
    low, high = np.minimum(*corners).tolist(), np.maximum(*corners).tolist()
    return write_job(folder, nc, [wide], low=low, high=high)


@pytest.mark.parametrize("seed", range(8))
def test_against_dense_sampling(tmp_path, seed):
    """Never more than any sample says; and a place in the metal really is so near."""
    job = random_job(tmp_path, seed)
    found = {g.part: g for g in find_clearance(job).gaps}
    assert set(found) == set(oracle_gap.labels_behind(job.tools[1])) - CUTTING
    for part, g in found.items():
        slow = min(
            oracle_gap.Oracle(job, m, part).least(across=50, along=30, rounds=30)
            for m in oracle_gap.moves_of(job, 1)
        )
        assert g.gap <= slow + 1e-8, part
        assert g.gap >= slow - 0.02, part
        again = oracle_gap.least_on_move(job, g.move, g.at, part)
        assert again == pytest.approx(g.gap, abs=1e-6), part
        if g.gap > 0:  # the deepest place of an overlap may lie on the brink of the metal
            assert oracle_gap.metal_top_near(job, g.move, g.at, 1e-6) >= g.at[2] - 1e-6, part


@pytest.mark.parametrize("seed", [1, 2, 5, 10])
def test_shifted_by_whole_mm_and_turned_by_90_degrees(tmp_path, seed):
    base = [dataclasses.asdict(g) for g in find_clearance(random_job(tmp_path / "a", seed)).gaps]
    for name, more in (("b", {"shift": (37, -12, 5)}), ("c", {"turned": 1})):
        other = find_clearance(random_job(tmp_path / name, seed, **more)).gaps
        assert [(g.part, g.pass_number) for g in other] == [
            (g["part"], g["pass_number"]) for g in base
        ]
        for found, g in zip(other, base, strict=True):
            # an overlap that is deepest on the brink of the metal is searched, not polished
            near = 1e-8 if g["gap"] > 0 else 2e-6
            assert found.gap == pytest.approx(g["gap"], abs=near)
