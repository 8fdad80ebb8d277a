"""The engine on small jobs: heights and owners against a slow search, bits, volumes, the end of the
cutting part, and properties of random programs."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import helpers_job as hj
import numpy as np
import proud
import pytest
from helpers_job import CAST, HELICES, TOOLS, Nc, write_job
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from proud.cut import cut
from proud.grid import NOTHING, RAW, Grid
from proud.moves import ARC
from proud.prober import Prober

WITHIN = 1e-6
"""mm; what heights are held to."""
RAW_TOP = 0.0


def random_columns(job: proud.Job, seed: int, count: int = 80) -> tuple[np.ndarray, np.ndarray]:
    """Return columns in the stock, round places of the paths, as far as a little past the reach."""
    rng = np.random.default_rng(seed)
    moves = job.program.moves
    which = rng.choice(np.flatnonzero(moves.sweeps()), count)
    share = rng.uniform(0, 1, (count, 1))
    places = moves.start[which, :2] * (1 - share) + moves.end[which, :2] * share
    arc = moves.kind[which] == ARC
    spoke = moves.start[which, :2] - moves.center[which]
    angle = share[:, 0] * moves.turn[which]
    c, s = np.cos(angle), np.sin(angle)
    turned = np.stack(
        [c * spoke[:, 0] - s * spoke[:, 1], s * spoke[:, 0] + c * spoke[:, 1]], axis=1
    )
    places = np.where(arc[:, None], moves.center[which] + turned, places)
    places += rng.uniform(-4, 4, (count, 2))
    low, high = np.array(job.stock.low[:2]), np.array(job.stock.high[:2])
    inside = ((places > low) & (places < high)).all(axis=1)
    spread = rng.uniform(low, high, (10, 2))
    return tuple(np.concatenate([places[inside], spread]).T)


def check_columns(job: proud.Job, seed: int) -> int:
    """Compare heights and owners with the slow search; returns how many columns were cut."""
    x, y = random_columns(job, seed)
    top, owner = Prober(job.packed, job.stock).columns(x, y)
    slow = hj.slow_sheets(job, x, y)
    sure = slow.sure()
    assert sure.mean() > 0.9
    expected = slow.top(RAW_TOP)
    gone = expected <= job.stock.low[2]
    assert (np.isnan(top) == gone)[sure].all()
    assert ((owner == NOTHING) == gone)[sure].all()
    held = sure & ~gone
    np.testing.assert_allclose(top[held], expected[held], rtol=0, atol=WITHIN)
    row = hj.owner_move(job, owner)
    mine = np.where(row >= 0, slow.sheets[np.maximum(row, 0), np.arange(len(x))], RAW_TOP)
    np.testing.assert_allclose(mine[held], expected[held], rtol=0, atol=WITHIN)
    # Of several that leave the height, to the last bit or nearly, the owner is one; an earlier one
    # must then be higher by no more than rounding.
    for k in np.flatnonzero(held & (row > 0)):
        assert (slow.sheets[: row[k], k] > mine[k] - WITHIN).all()
    return int((held & (row >= 0)).sum())


@pytest.mark.parametrize("shape", TOOLS)
@pytest.mark.parametrize("name", CAST)
def test_heights_of_the_cast(tmp_path: Path, shape: str, name: str) -> None:
    job = write_job(tmp_path, CAST[name], [TOOLS[shape]])
    cut_columns = check_columns(job, 7)
    nothing = {"no move", "outside", "tangent to the side", "on the top"}
    if name in nothing or (name, shape) == ("through", "flat"):
        assert cut_columns == 0
    else:
        assert cut_columns > 0


@pytest.mark.parametrize("shape", ["flat", "bull", "ball"])
@pytest.mark.parametrize("name", HELICES)
def test_heights_of_helices(tmp_path: Path, shape: str, name: str) -> None:
    assert check_columns(write_job(tmp_path, HELICES[name], [TOOLS[shape]]), 8) > 8


def test_sizes_of_tools(tmp_path: Path) -> None:
    """Corner radius next to nothing and next to all, a sharp cone, a blunt drill."""
    sizes = {
        1: hj.tool(1, "bull", 6, RE=0.01),
        2: hj.tool(2, "bull", 6, RE=2.99),
        3: hj.tool(3, "chamfer", 8, KAPR=60, tip=0),
        4: hj.tool(4, "drill", 5, SIG=140),
        5: hj.tool(5, "chamfer", 8, KAPR=20, tip=7),
        6: hj.tool(6, "bull", 6, RE=3),
    }
    for number in sizes:
        nc = Nc().tool(number, "one").stroke((-7, -5, -3), (6, 4, -0.5), (3, -6, -2))
        nc.arc((5, 0, -2), (0, 5, -2), (0, 0), "cw").stroke((-8, 8, -1.5))
        job = write_job(tmp_path / str(number), nc, list(sizes.values()))
        assert check_columns(job, number) > 15


# --- closed forms (derived) -----------------------------------------------------------------------


def probe(job: proud.Job, x: float, y: float) -> float:
    return float(Prober(job.packed, job.stock).columns(np.array([x]), np.array([y]))[0][0])


def test_check_values_of_a_ramp(tmp_path: Path) -> None:
    """R 5, L 20, z 0 to 4, column at 10 along and 3 aside (40-digit mpmath, geometry's own)."""
    expected = {
        "flat": (hj.tool(1, "flat", 10), 1.2),
        "ball": (hj.tool(1, "ball", 10), 2.92078438913),
        "cone": (hj.tool(1, "chamfer", 10, KAPR=45, tip=2), 3.93938769134),
    }
    for name, (tool, z) in expected.items():
        nc = Nc().tool(1, "ramp").stroke((0, 0, -9), (20, 0, -5))
        job = write_job(tmp_path / name, nc, [tool], low=(-20, -15, -20), high=(30, 15, 0))
        assert probe(job, 10, 3) == pytest.approx(z - 9, abs=1e-9)
        assert probe(job, 10, -3) == pytest.approx(z - 9, abs=1e-9)


def test_drill_leaves_its_point(tmp_path: Path) -> None:
    """A drill of 118 degrees is rho / tan(59) above its tip (derived)."""
    nc = Nc().tool(1, "hole").stroke((1, 2, -5))
    job = write_job(tmp_path, nc, [TOOLS["drill"]])
    for rho in (0.0, 0.5, 2.9):
        expected = -5 + rho / math.tan(math.radians(59))
        assert probe(job, 1 + rho * 0.6, 2 + rho * 0.8) == pytest.approx(expected, abs=1e-12)


def test_plunge_cuts_a_disc_only(tmp_path: Path) -> None:
    """A move straight down and a move of no length cut within R of the tip, nothing further out."""
    for name in ("plunge", "no length"):
        for shape in TOOLS:
            job = write_job(tmp_path / name / shape, CAST[name], [TOOLS[shape]])
            tile = job.surface()
            x, y = np.meshgrid(tile.grid.x(), tile.grid.y())
            far = np.hypot(x - 1.2, y + 0.7) > 3
            assert (tile.top[far] == 0).all()
            assert (tile.owner[far] == RAW).all()
            assert (tile.top[~far] < 0).all()


# --- flatness and slopes --------------------------------------------------------------------------


@pytest.mark.parametrize("shape", TOOLS)
@pytest.mark.parametrize("name", [*CAST, *HELICES])
def test_flat_and_slope_are_those_of_the_heights(tmp_path: Path, shape: str, name: str) -> None:
    """Slopes against differences of exact heights; flat is what a flat bottom left, all of it."""
    if name in HELICES and shape not in ("flat", "bull", "ball"):
        pytest.skip("helices are for flat, bull and ball here")
    job = write_job(tmp_path, CAST.get(name) or HELICES[name], [TOOLS[shape]])
    tile = job.surface()
    x, y = (v.ravel() for v in np.meshgrid(tile.grid.x(), tile.grid.y()))
    top, owner, flat = tile.top.ravel(), tile.owner.ravel(), tile.flat.ravel()
    slope = tile.slope.reshape(-1, 2)
    prober, step = Prober(job.packed, job.stock), 1e-5
    sides = [
        [prober.columns(x + k * dx, y + k * dy) for k in (-step, step)]
        for dx, dy in ((1, 0), (0, 1))
    ]
    inner = np.ones(len(x), bool)
    rise = np.zeros((len(x), 2))
    for axis, (before, after) in enumerate(sides):
        inner &= (before[1] == owner) & (after[1] == owner)
        with np.errstate(invalid="ignore"):
            rise[:, axis] = (after[0] - before[0]) / (2 * step)
            bend = np.abs(after[0] - 2 * top + before[0])
        # No kink or steep bend between the two.
        inner &= ~np.isnan(top) & (bend < 1e-9)
    assert inner.mean() > 0.5
    np.testing.assert_allclose(slope[inner], rise[inner], rtol=1e-4, atol=1e-4)
    cut_flat = flat & (owner >= 0)
    assert (slope[flat] == 0).all()
    if shape in ("ball", "drill"):
        assert not (cut_flat & inner & (np.abs(rise).max(axis=1) > 1e-6)).any()
        return
    if name not in HELICES and "ramp" not in name and name not in ("crossing", "through"):
        assert len(np.unique(top[cut_flat])) <= 1
        level = (owner >= 0) & (top == np.nanmin(top))
        assert (cut_flat == level).all()


def test_a_part_arc_leaves_one_level(tmp_path: Path) -> None:
    """Past the ends of an arc the tip stood at its end, nowhere else: one floor, as of a line."""
    for way, area in (("ccw", 0.25), ("cw", 0.75)):
        nc = Nc().tool(1, "ring").arc((7, 0, -1.5), (0, 7, -1.5), (0, 0), way)
        job = write_job(tmp_path / way, nc, [hj.tool(1, "bull", 5, RE=1)], pitch=0.1)
        levels = [v for v in job.run().levels if v.pass_number == 1]
        assert [v.z for v in levels] == [-1.5]
        expected = area * math.pi * (8.5**2 - 5.5**2) + math.pi * 1.5**2
        assert levels[0].columns * 0.01 == pytest.approx(expected, rel=0.01)


# --- owners ---------------------------------------------------------------------------------------


def test_ties_go_to_the_earlier_move(tmp_path: Path) -> None:
    """A path repeated in a second pass, and back and forth in one, leaves the first move's mark."""
    for shape in TOOLS:
        job = write_job(tmp_path / shape, CAST["coincident"], [TOOLS[shape]])
        once = write_job(tmp_path / shape / "once", CAST["there and back"], [TOOLS[shape]])
        assert set(np.unique(job.surface().pass_number)) == {0, 1}
        first = write_job(
            tmp_path / shape / "first", Nc().tool(1, "a").stroke((-9, 1, -2), (9, 3, -2)),
            [TOOLS[shape]],
        )  # fmt: skip
        expected = first.surface()
        tile = job.surface()
        assert np.array_equal(tile.top, expected.top, equal_nan=True)
        assert np.array_equal(tile.owner, expected.owner)
        # The way back has its ends the other way round: a place may differ in its last bit.
        back = once.surface()
        np.testing.assert_allclose(back.top, expected.top, rtol=0, atol=1e-12)
        if shape == "flat":
            assert np.array_equal(back.owner, expected.owner)


def test_cut_on_the_raw_top_leaves_it_raw(tmp_path: Path) -> None:
    job = write_job(tmp_path, CAST["on the top"], [TOOLS["flat"]])
    tile = job.surface()
    assert (tile.owner == RAW).all()
    assert (tile.pass_number == 0).all()


# --- the same bits --------------------------------------------------------------------------------


def busy(tmp_path: Path, **more: object) -> proud.Job:
    """All shapes and kinds of moves, in seven passes, on a lattice of exact binary fractions."""
    tools = [
        hj.tool(1, "flat", 6.0, APMX=14),
        hj.tool(2, "bull", 5.0, RE=1.0),
        hj.tool(3, "ball", 4.0),
        hj.tool(4, "chamfer", 6.0, KAPR=45.0, tip=1.0),
        hj.tool(5, "drill", 3.0, SIG=118.0),
    ]
    nc = Nc().tool(1, "floor").stroke((-22, -9, -1), (22, -9, -1), (22, -4, -1), (-22, -4, -1))
    nc.tool(2, "ring").arc((8, 1, -2), (8, 1, -2), (0, 1), "ccw")
    nc.heading("helix").arc((-9, 8, -0.5), (-9, 8, -3), (-5, 8), "cw")
    nc.tool(3, "scallops")
    for k in range(12):
        nc.stroke((-18, 3 + 0.7 * k, -0.6), (18, 2 + 0.7 * k, -1.4))
    nc.tool(4, "edge").stroke((-20, 13, -1), (20, 13, -1))
    nc.tool(5, "holes").stroke((10, -9, -14)).stroke((12, 9, -14)).stroke((-15, 0, -6))
    nc.tool(1, "again").stroke((-22, -6, -1.25), (22, -6, -1.25))
    options: dict[str, object] = {"pitch": 0.25, "low": (-16, -16, -12), "high": (16, 16, 0)}
    return write_job(tmp_path, nc, tools, **(options | more))  # type: ignore[arg-type]


def same_tile(a: proud.Tile, b: proud.Tile) -> bool:
    return (
        np.array_equal(a.top, b.top, equal_nan=True)
        and np.array_equal(a.owner, b.owner)
        and np.array_equal(a.pass_number, b.pass_number)
        and (a.slope is None or b.slope is None or np.array_equal(a.slope, b.slope))
        and (a.flat is None or b.flat is None or np.array_equal(a.flat, b.flat))
    )


def test_busy_job_is_busy(tmp_path: Path) -> None:
    tile = busy(tmp_path).surface()
    assert set(np.unique(tile.pass_number)) == {-1, 0, 1, 2, 3, 4, 5, 6, 7}


def test_threads_do_not_matter(tmp_path: Path) -> None:
    job = busy(tmp_path)
    one, two = job.run(threads=1), job.run(threads=2)
    assert same_tile(one.tile, two.tile)
    assert one.as_dict() == two.as_dict()
    assert one.cut.removed == two.cut.removed
    assert same_tile(job.surface(threads=1), job.surface(threads=2))


@pytest.mark.parametrize(
    ("i0", "j0", "nx", "ny"),
    [(0, 0, 128, 128), (1, 0, 64, 64), (37, 11, 90, 5), (63, 63, 2, 2), (127, 127, 1, 1)],
)  # fmt: skip
def test_windows_of_one_lattice_agree(tmp_path: Path, i0: int, j0: int, nx: int, ny: int) -> None:
    """Where tiles begin must not show: windows are shifted against them, steps are exact floats."""
    job = busy(tmp_path)
    whole = job.surface()
    assert (whole.grid.nx, whole.grid.ny, whole.grid.pitch_x) == (128, 128, 0.25)
    part = job.surface(grid=Grid(-16 + i0 * 0.25, -16 + j0 * 0.25, 0.25, 0.25, nx, ny))
    where = np.s_[j0 : j0 + ny, i0 : i0 + nx]
    assert np.array_equal(part.top, whole.top[where], equal_nan=True)
    assert np.array_equal(part.owner, whole.owner[where])
    assert np.array_equal(part.pass_number, whole.pass_number[where])
    assert np.array_equal(part.slope, whole.slope[where])
    assert np.array_equal(part.flat, whole.flat[where])


def test_window_past_the_stock(tmp_path: Path) -> None:
    job = busy(tmp_path)
    whole = job.surface()
    wide = job.surface(grid=Grid(-20, -18, 0.25, 0.25, 160, 140))
    where = np.s_[8:136, 16:144]
    assert np.array_equal(wide.top[where], whole.top, equal_nan=True)
    assert np.array_equal(wide.owner[where], whole.owner)
    outside = np.ones(wide.top.shape, bool)
    outside[where] = False
    assert np.isnan(wide.top[outside]).all()
    assert (wide.owner[outside] == NOTHING).all()
    assert (wide.pass_number[outside] == -1).all()


def test_tiles_agree_with_single_columns(tmp_path: Path) -> None:
    job = busy(tmp_path, pitch=0.23)
    tile = job.surface()
    x, y = np.meshgrid(tile.grid.x(), tile.grid.y())
    prober = Prober(job.packed, job.stock)
    top, owner = prober.columns(x.ravel(), y.ravel())
    assert np.array_equal(top.reshape(x.shape), tile.top, equal_nan=True)
    assert np.array_equal(owner.reshape(x.shape), tile.owner)
    assert np.array_equal(prober.passes(owner).reshape(x.shape), tile.pass_number)
    flat = prober.flat(x.ravel(), y.ravel(), owner).reshape(x.shape)
    assert np.array_equal(flat, tile.flat)


def test_with_and_without_passes(tmp_path: Path) -> None:
    job = busy(tmp_path)
    free = cut(job.grid, job.packed, job.stock)
    passes = cut(job.grid, job.packed, job.stock, by_pass=True)
    assert same_tile(free.tile, passes.tile)
    assert free.removed == {}
    assert free.left_volume == passes.left_volume
    assert free.tests < passes.tests + passes.left_out + free.left_out


def test_columns_before_a_move(tmp_path: Path) -> None:
    """`before` and as-of ask the same."""
    job = busy(tmp_path)
    count = job.count_as_of(3)
    tile = job.surface(as_of=3)
    x, y = np.meshgrid(tile.grid.x(), tile.grid.y())
    top, owner = Prober(job.packed, job.stock).columns(x.ravel(), y.ravel(), before=count)
    assert np.array_equal(top.reshape(x.shape), tile.top, equal_nan=True)
    assert np.array_equal(owner.reshape(x.shape), tile.owner)


# --- volumes --------------------------------------------------------------------------------------


def test_what_passes_take_is_what_is_lost(tmp_path: Path) -> None:
    result = busy(tmp_path).run()
    done = result.as_dict()
    lost = done["volume"]["stock"] - done["volume"]["left"]
    rounding = len(done["passes"]) * np.spacing(done["volume"]["stock"])
    assert abs(math.fsum(p["removed"] for p in done["passes"]) - lost) <= rounding
    assert abs(done["volume"]["removed"] - lost) <= rounding
    assert all(p["removed"] > 0 for p in done["passes"])
    # Independent: the columns that are left, added up.
    tile = result.tile
    left = math.fsum(np.nan_to_num(tile.top - -12.0, nan=0.0).ravel()) * tile.grid.cell_area
    assert done["volume"]["left"] == pytest.approx(left, rel=1e-12)
    assert done["volume"]["stock"] == pytest.approx(32 * 32 * 12, rel=1e-12)


def test_each_pass_takes_what_it_lowers(tmp_path: Path) -> None:
    job = busy(tmp_path)
    rows = job.run().passes
    below = np.full(job.surface().top.shape, 0.0)
    for row in rows:
        top = np.nan_to_num(job.surface(as_of=row.info.number).top, nan=-12.0)
        taken = math.fsum((below - top).ravel()) * job.grid.cell_area
        assert row.removed == pytest.approx(taken, rel=1e-9, abs=1e-9)
        below = top


# --- as of ----------------------------------------------------------------------------------------


def test_as_of_a_pass_is_the_program_that_ends_there(tmp_path: Path) -> None:
    nc = Nc().tool(1, "one").stroke((-9, -4, -1), (8, -4, -1))
    nc.heading("two").stroke((-9, -2, -1.5), (8, -2, -1.5))
    short = write_job(tmp_path / "short", nc, [TOOLS["bull"]])
    nc.heading("three").stroke((0, -9, -2), (0, 9, -2))
    job = write_job(tmp_path / "long", nc, [TOOLS["bull"]])
    expected = short.run().as_dict()
    for as_of in (2, "2"):
        found = job.run(as_of=as_of).as_dict()
        for key in ("volume", "levels", "steps", "skims"):
            assert found[key] == expected[key]
        assert same_tile(job.surface(as_of=as_of), short.surface())


def test_as_of_a_line_includes_it(tmp_path: Path) -> None:
    nc = Nc().tool(1, "one").stroke((-9, -4, -1), (8, -4, -1), (8, 4, -1))
    job = write_job(tmp_path, nc, [TOOLS["flat"]])
    lines = job.program.moves.line
    last = int(lines[-2])
    assert (job.surface(as_of=f"line:{last}").pass_number[40:, :] == 1).any()
    before = job.surface(as_of=f"line:{last - 1}")
    assert not (before.pass_number[40:, :] == 1).any()
    assert (before.pass_number == 1).any()
    whole = job.surface()
    assert same_tile(job.surface(as_of=f"line:{last}"), whole)


@pytest.mark.parametrize("wrong", ["x", "line:x", "line:", 4, "-1", "line:9999", "", "1.5"])
def test_as_of_what_is_not_there(tmp_path: Path, wrong: str | int) -> None:
    job = write_job(tmp_path, CAST["level"], [TOOLS["flat"]])
    with pytest.raises(proud.BadInput):
        job.run(as_of=wrong)


# --- the end of the cutting part ------------------------------------------------------------------


def test_metal_above_the_cutting_part_stays(tmp_path: Path) -> None:
    """A slot 5 deep by a cutting part of 2: the top stays where it was, and a note says so."""
    nc = Nc().tool(1, "too deep").stroke((-30, 0, -5), (30, 0, -5))
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 6, APMX=2)])
    result = job.run()
    assert (result.tile.top == 0).all()
    assert any("1" in note and "cutting" in note for note in result.notes)
    assert not job.trace((0, -14), (0, 14)).steps
    assert np.array_equal(job.surface().top, result.tile.top)
    fine = write_job(tmp_path / "fine", nc, [hj.tool(1, "flat", 6, APMX=5)]).run()
    assert (fine.tile.top == -5).sum() == 80 * 12
    assert not any("above" in note for note in fine.notes)


def test_a_ramp_deeper_than_its_cutting_part_stays_under_the_top(tmp_path: Path) -> None:
    """A ramp from 1 to 6 deep by a cutting part of 2: open no further than to 2 deep."""
    nc = Nc().tool(1, "ramp").stroke((-30, 0, -1), (30, 0, -6))
    result = write_job(tmp_path, nc, [hj.tool(1, "flat", 6, APMX=2)]).run()
    x = result.tile.grid.x()
    row = result.tile.top[np.argmin(np.abs(result.tile.grid.y()))]
    deep_end = -30 + 12 + 3  # the tip is 2 deep at -18; the flat reaches 3 further
    assert (row[x > deep_end + 0.5] == 0).all()
    assert (row[(x > -29) & (x < deep_end - 6.5)] < 0).all()
    assert any("cutting" in note for note in result.notes)


def test_a_hollow_that_a_later_pass_opens_shows_its_floor(tmp_path: Path) -> None:
    """A slot 5 deep by a cutting part of 2, then 2 and 4 deep over a third of it."""
    nc = Nc().tool(1, "below").stroke((-30, 0, -5), (30, 0, -5))
    nc.heading("above").stroke((-10, 0, -2), (10, 0, -2)).stroke((-10, 0, -4), (10, 0, -4))
    result = write_job(tmp_path, nc, [hj.tool(1, "flat", 6, APMX=2)]).run()
    assert sorted({level.z for level in result.levels}) == [-5.0, 0.0]
    x, y = result.tile.grid.x(), result.tile.grid.y()
    opened = (np.abs(x[None, :]) < 9.9) & (np.abs(y[:, None]) < 2.9)
    assert (result.tile.top[opened] == -5).all()
    assert (result.tile.top[:, np.abs(x) > 13.1] == 0).all()


def test_two_depths_with_a_short_cutting_part(tmp_path: Path) -> None:
    """Two depths of one pass, each within APMX, reach the floor; so do two passes."""
    for name in ("one pass", "two passes"):
        nc = Nc().tool(1, "upper").stroke((-30, 0, -2), (30, 0, -2))
        if name == "two passes":
            nc.heading("lower")
        nc.stroke((-30, 0, -4), (30, 0, -4))
        job = write_job(tmp_path / name, nc, [hj.tool(1, "flat", 6, APMX=2)])
        result = job.run()
        slot = result.tile.top < 0
        assert slot.sum() == 80 * 12
        assert (result.tile.top[slot] == -4).all()
        assert not any("above" in note for note in result.notes)
        free = cut(job.grid, job.packed, job.stock)
        assert same_tile(free.tile, cut(job.grid, job.packed, job.stock, by_pass=True).tile)


@pytest.mark.parametrize("shape", TOOLS)
def test_short_cutting_part_in_all_modes(tmp_path: Path, shape: str) -> None:
    """Some columns buried, some not: tiles, passes, windows and single columns say the same."""
    tool = TOOLS[shape] + "\nAPMX = 4"
    nc = Nc().tool(1, "ramp").stroke((-12, -3, -1), (12, 4, -8)).stroke((-12, 9, -3), (12, 9, -3))
    nc.heading("arc").arc((9, 0, -4.5), (0, 9, -4.5), (0, 0), "cw")
    job = write_job(tmp_path, nc, [tool], low=(-16, -16, -12), high=(16, 16, 0), pitch=0.25)
    free = cut(job.grid, job.packed, job.stock)
    passes = cut(job.grid, job.packed, job.stock, by_pass=True)
    assert same_tile(free.tile, passes.tile)
    assert sum(passes.buried.values()) > 0
    assert sum(passes.removed.values()) == pytest.approx(
        passes.stock_volume - passes.left_volume, rel=1e-12
    )
    x, y = np.meshgrid(job.grid.x(), job.grid.y())
    top, owner = Prober(job.packed, job.stock).columns(x.ravel(), y.ravel())
    assert np.array_equal(top.reshape(x.shape), free.tile.top, equal_nan=True)
    assert np.array_equal(owner.reshape(x.shape), free.tile.owner)
    part = cut(Grid(-16 + 13 * 0.25, -16, 0.25, 0.25, 70, 99), job.packed, job.stock)
    assert np.array_equal(part.tile.top, free.tile.top[:99, 13:83], equal_nan=True)


# --- random programs ------------------------------------------------------------------------------

XY = st.integers(-44, 44).map(lambda v: v / 4)
Z = st.integers(-40, 2).map(lambda v: v / 8)
RADII = st.integers(1, 30).map(lambda v: v / 4)


@st.composite
def strokes(draw: st.DrawFn) -> list[tuple[object, ...]]:
    """Return what one pass does: lines, and level arcs or helices of a quarter or a full turn."""
    found: list[tuple[object, ...]] = []
    for _ in range(draw(st.integers(1, 3))):
        x, y, z = draw(XY), draw(XY), draw(Z)
        if draw(st.booleans()):
            points = [
                (x, y, z),
                *((draw(XY), draw(XY), draw(Z)) for _ in range(draw(st.integers(0, 2)))),
            ]
            found.append(("line", points))
        else:
            r, way, full = draw(RADII), draw(st.sampled_from(["cw", "ccw"])), draw(st.booleans())
            found.append(("arc", (x, y, z), r, way, full, draw(st.sampled_from([0.0, 0.0, 0.5]))))
    return found


@dataclasses.dataclass(frozen=True)
class Pass:
    tool: int
    strokes: list[tuple[object, ...]]


PASSES = st.lists(st.builds(Pass, st.integers(1, 5), strokes()), min_size=1, max_size=4)
FEW = settings(
    max_examples=25, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)  # fmt: skip


def program_of(passes: list[Pass], sx: float = 1.0, sy: float = 1.0) -> Nc:
    """Return the program, mirrored in x or y where sx or sy is -1."""
    nc = Nc()
    flipped = {"cw": "ccw", "ccw": "cw"}
    for k, one in enumerate(passes):
        nc.tool(one.tool, f"pass {k}")
        for stroke in one.strokes:
            if stroke[0] == "line":
                nc.stroke(*((sx * x, sy * y, z) for x, y, z in stroke[1]))  # type: ignore[union-attr]
                continue
            _, (x, y, z), r, way, full, rise = stroke  # type: ignore[misc]
            rise = rise if one.tool <= 3 else 0.0
            end = (x + r, y, z + rise) if full else (x, y + r, z + rise)
            turn = way if sx * sy > 0 else flipped[way]
            nc.arc(
                (sx * (x + r), sy * y, z),
                (sx * end[0], sy * end[1], end[2]),
                (sx * x, sy * y),
                turn,
            )
    return nc


RANDOM_TOOLS = [
    hj.tool(1, "flat", 5.0),
    hj.tool(2, "bull", 4.0, RE=0.75),
    hj.tool(3, "ball", 3.0),
    hj.tool(4, "chamfer", 4.0, KAPR=30.0, tip=0.5),
    hj.tool(5, "drill", 3.5, SIG=90.0),
]
BOX = {"low": (-8, -8, -4), "high": (8, 8, 0), "pitch": 0.5}


def random_job(folder: Path, nc: Nc) -> proud.Job:
    return write_job(folder, nc, RANDOM_TOOLS, **BOX)  # type: ignore[arg-type]


def filled(tile: proud.Tile) -> np.ndarray:
    return np.nan_to_num(tile.top, nan=-np.inf)


@FEW
@given(passes=PASSES)
def test_random_never_above_the_stock_and_never_rising(tmp_path: Path, passes: list[Pass]) -> None:
    job = random_job(tmp_path, program_of(passes))
    before = np.zeros((32, 32))
    for number in range(1, len(job.program.passes) + 1):
        tile = job.surface(as_of=number)
        top = filled(tile)
        assert (top <= before).all()
        assert ((tile.top > -4) | np.isnan(tile.top)).all()
        assert (tile.pass_number[top < before] == number)[~np.isneginf(top[top < before])].all()
        before = top


@FEW
@given(passes=PASSES, data=st.data())
def test_random_heights_do_not_depend_on_the_order(
    tmp_path: Path, passes: list[Pass], data: st.DataObject
) -> None:
    order = data.draw(st.permutations(passes))
    first = random_job(tmp_path / "a", program_of(passes)).surface()
    other = random_job(tmp_path / "b", program_of(order)).surface()
    assert np.array_equal(first.top, other.top, equal_nan=True)


@FEW
@given(passes=PASSES)
def test_random_mirrors(tmp_path: Path, passes: list[Pass]) -> None:
    """Mirrored in x and in y to 1e-12 mm, but on columns that a rim passes within rounding."""
    straight = random_job(tmp_path / "a", program_of(passes))
    top = filled(straight.surface())
    x, y = np.meshgrid(straight.grid.x(), straight.grid.y())
    sure = ~hj.on_a_rim(straight, x.ravel(), y.ravel()).reshape(x.shape)
    assert sure.mean() > 0.8
    for sx, sy in ((-1, 1), (1, -1)):
        tile = filled(random_job(tmp_path / "b", program_of(passes, sx, sy)).surface())
        back = tile[:: sy if sy < 0 else 1, :: sx if sx < 0 else 1]
        finite = np.isfinite(top) & np.isfinite(back)
        assert (np.isfinite(top) == np.isfinite(back))[sure].all()
        assert np.abs(top[finite & sure] - back[finite & sure]).max(initial=0) <= 1e-12


@settings(FEW, max_examples=12)
@given(passes=PASSES)
def test_random_is_the_least_of_the_sheets(tmp_path: Path, passes: list[Pass]) -> None:
    job = random_job(tmp_path, program_of(passes))
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-8, 8, 40), rng.uniform(-8, 8, 40)
    top, _ = Prober(job.packed, job.stock).columns(x, y)
    slow = hj.slow_sheets(job, x, y, 400)
    expected = slow.top(0.0)
    sure = slow.sure() & (np.abs(expected + 4) > 1e-6)
    held = sure & (expected > -4)
    assert np.isnan(top[sure & ~held]).all()
    np.testing.assert_allclose(top[held], expected[held], rtol=0, atol=WITHIN)
