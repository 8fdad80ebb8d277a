"""Rules of the trade and plane geometry, through the real commands and their JSON.

Numbers in thou where a rule is said in thou. Each check names its source.
"""

from __future__ import annotations

import json
import math

import pytest
from conftest import assert_quiet
from helpers_job import Nc, tool, write_job

T = 0.001
EXACT = 1e-9
"""in: coordinates are rounded to 1e-10 mm."""
SIDE = {"low": (-1, -0.1, -0.6), "high": (1, 0.6, 0), "pitch": 0.02, "unit": "in"}
"""Stock about a wall along X at y = 0, metal for y < 0."""
THIN = SIDE | {"high": (1, 0.2, 0)}
"""Thinner than the cutter: no second wall stands across its path."""


def ask(command, name: str, folder, *words) -> dict:
    done = command(name, folder / "job.toml", "--json", *words)
    assert_quiet(done)
    found: dict = json.loads(done.stdout)
    assert found["unit"] == "in"
    return found


def touch(command, folder, at, toward, *words) -> dict:
    text = [",".join(f"{v:.12f}" for v in vector) for vector in (at, toward)]
    words = (f"--at={text[0]}", f"--toward={text[1]}", *words)
    (point,) = ask(command, "probe", folder, *words)["points"]
    return point


def along(nc: Nc, y: float, z: float) -> Nc:
    return nc.stroke((-2, y, z), (2, y, z))


# --- the shank -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("lower", "free"), [(10, 3), (7, 0)])
def test_the_shank_at_two_roughing_depths(tmp_path, command_inside, lower, free):
    """Upper depth leaves 7 thou, lower 10: the shank is 3 free; 7 and 7: it touches (common
    practice, no source)."""
    nc = Nc("in", 1.0).tool(1)
    along(nc.heading("upper"), 0.125 + 7 * T, -0.2)
    along(nc.heading("lower"), 0.125 + lower * T, -0.4)
    write_job(tmp_path, nc, [tool(1, "flat", 0.25, APMX=0.25, DMM=0.25)], **THIN)
    rows = ask(command_inside, "clearance", tmp_path)["gaps"]
    assert [(r["tool"], r["part_of_tool"], r["against"], r["pass"]) for r in rows] == [
        (1, "shank", "stock", 2)
    ]
    assert rows[0]["gap"] == pytest.approx(free * T, abs=1e-8)
    assert (rows[0]["gap"] <= 0) == (free == 0)
    assert rows[0]["at"][1] == pytest.approx(7 * T, abs=1e-8)


# --- wall, foot, floor ---------------------------------------------------------------------------


@pytest.mark.parametrize("bore", [False, True])
def test_a_floor_pass_still_takes_metal_of_the_roughers_fillet(tmp_path, command_inside, bore):
    """Rough RE 60 leaves 7, floor pass RE 30 7.5: it touches below 60 - sqrt(60^2 - 59.5^2) = 52.3
    thou over the floor, and is 0.5 free above 60 (derived)."""
    nc = Nc("in", 1.0)
    for number, allowance in ((1, 7), (2, 7.5)):
        nc.tool(number, f"pass {number}")
        if bore:
            r = 0.2 - 0.125 - allowance * T
            nc.arc((r, 0.25, -0.3), (r, 0.25, -0.3), (0, 0.25))
        else:
            along(nc, 0.125 + allowance * T, -0.3)
    tools = [tool(n, "bull", 0.25, RE=r, APMX=0.4) for n, r in ((1, 0.06), (2, 0.03))]
    write_job(tmp_path, nc, tools, **SIDE)
    meets = 60 - math.sqrt(60**2 - 59.5**2)
    assert meets == pytest.approx(52.3, abs=0.05)

    def left(h, *words):
        """Stock on the wall h thou over the floor, thou, and the pass that left it."""
        z, wall = -0.3 + h * T, 0.05 if bore else 0.0
        found = touch(command_inside, tmp_path, (0, wall + 0.1, z), (0, -1, 0), *words)
        return (found["y"] - wall) / T, found["pass"]

    rough = [7 + 60 - math.sqrt(60**2 - (60 - h) ** 2) for h in (meets + 0.2, meets - 0.2)]
    assert left(61) == (pytest.approx(7, abs=1e-6), 1)
    assert left(meets + 0.2) == (pytest.approx(rough[0], abs=1e-5), 1)
    assert left(meets - 0.2) == (pytest.approx(7.5, abs=1e-6), 2)
    assert left(meets - 0.2, "--as-of", "1") == (pytest.approx(rough[1], abs=1e-5), 1)
    assert left(20) == (pytest.approx(7.5 + 30 - math.sqrt(30**2 - 10**2), abs=1e-5), 2)


@pytest.mark.parametrize(("finish", "bite"), [(0, 18.26), (3, 15.80)])
def test_what_a_finisher_bites_off_the_roughers_fillet(tmp_path, command_inside, finish, bite):
    """hypot(aR + RR - RF - aF, RR - RF - t) - (RR - RF): RR 60, RF 30, aR 10, its tip t = 3 over
    the rougher's floor (derived). Probed along the line through both fillets' middles."""
    nc = along(Nc("in", 1.0).tool(1, "rough"), 0.125 + 10 * T, -0.3)
    along(nc.tool(2, "finish"), 0.125 + finish * T, -0.3 + 3 * T)
    write_job(
        tmp_path, nc, [tool(n, "bull", 0.25, RE=r) for n, r in ((1, 0.06), (2, 0.03))], **SIDE
    )
    exact = math.hypot(10 + 60 - 30 - finish, 60 - 30 - 3) - (60 - 30)
    assert exact == pytest.approx(bite, abs=5e-3)
    middle = (0, 70 * T, -0.3 + 60 * T)
    way = (0, (finish + 30 - 70) * T, (3 + 30 - 60) * T)
    words = (command_inside, tmp_path, middle, way)
    before, after = touch(*words, "--as-of", "1"), touch(*words)
    assert before["distance"] == pytest.approx(60 * T, abs=EXACT)
    assert (before["part_of_tool"], after["part_of_tool"]) == ("corner", "corner")
    assert after["distance"] - before["distance"] == pytest.approx(exact * T, abs=EXACT)


@pytest.mark.parametrize(("below", "width", "high"), [(12, 6.0, 18), (15, 4.0192, 15)])
def test_the_cusp_under_an_edge(tmp_path, command_inside, below, width, high):
    """Finisher RE 30, its tip 12 thou below an edge: a cusp 6 wide by 3-4-5 and 18 high; 15 below:
    4.0192 (derived)."""
    nc = along(Nc("in", 1.0).tool(1, "ledge"), 0.25 - 0.05, -0.3)
    along(nc.tool(2, "wall"), 0.0625, -0.3 - below * T)
    tools = [tool(1, "flat", 0.5), tool(2, "bull", 0.125, RE=0.03)]
    write_job(tmp_path, nc, tools, **SIDE)
    rows = ask(command_inside, "trace", tmp_path, "--from=0,-0.04", "--to=0,0.12")
    edges = [s for s in rows["steps"] if (s["from_pass"], s["to_pass"]) == (1, 2)]
    assert [s["y"] / T for s in edges] == [pytest.approx(width, abs=5e-5)]
    exact = 30 - math.sqrt(30**2 - (30 - below) ** 2)
    assert edges[0]["y"] == pytest.approx(exact * T, abs=EXACT)
    # In the air over the ledge a probe that comes level meets nothing; under it, the cusp.
    level = touch(command_inside, tmp_path, (0, 0.1, -0.3 - 1e-7), (0, -1, 0))
    assert level["y"] == pytest.approx(exact * T, abs=1e-6)
    # Its top would be where the fillet ends in the wall: `high` over the edge.
    assert 30 - below == high


def test_the_groove_of_a_ball_half_a_thou_low(tmp_path, command_inside):
    """Half width sqrt(2 R e - e^2): R 62.5, e 0.5 thou: 7.89 thou (derived)."""
    nc = along(Nc("in", 1.0).tool(1, "floor"), 0.25, -0.2)
    along(nc.tool(2, "ball"), 0.26, -0.2005)
    options = SIDE | {"pitch": 0.005}
    write_job(tmp_path, nc, [tool(1, "flat", 0.4), tool(2, "ball", 0.125)], **options)
    half = math.sqrt(2 * 62.5 * 0.5 - 0.5**2)
    assert half == pytest.approx(7.89, abs=5e-3)
    rows = ask(command_inside, "trace", tmp_path, "--from=0.1,0.2", "--to=0.1,0.32")
    assert [(s["from_pass"], s["to_pass"]) for s in rows["steps"]] == [(1, 2), (2, 1)]
    ends = [0.26 - half * T, 0.26 + half * T]
    assert [s["y"] for s in rows["steps"]] == pytest.approx(ends, abs=EXACT)
    low = touch(command_inside, tmp_path, (0.1, 0.26, 0), (0, 0, -1))
    assert (low["z"], low["pass"]) == (pytest.approx(-0.2005, abs=EXACT), 2)
    (skim,) = ask(command_inside, "run", tmp_path)["skims"]
    assert (skim["pass"], skim["into_pass"]) == (2, 1)
    assert skim["depth"] == pytest.approx(0.5 * T, abs=EXACT)


# --- heights -------------------------------------------------------------------------------------


def skims(command, folder) -> list[tuple[int, int, float]]:
    rows = ask(command, "run", folder)["skims"]
    return [(r["pass"], r["into_pass"], r["depth"]) for r in rows]


@pytest.mark.parametrize(("register", "ledge", "cut"), [(0, -300, 0), (2, -298, 1)])
def test_a_roughers_height_register_too_big(tmp_path, command_inside, register, ledge, cut):
    """2 thou too big: the ledge 2 higher, and a finisher 1 over the intended ledge now cuts 1 thou
    of it; with a true register it is 1 thou free (common practice, no source)."""
    nc = along(Nc("in", 1.0).tool(1, "rough"), 0.25, -0.3)
    along(nc.tool(2, "finish"), 0.125, -0.3 + 1 * T)
    tools = [tool(1, "flat", 0.4), tool(2, "flat", 0.25)]
    write_job(tmp_path, nc, tools, offsets=f"H1 = {register * T}", **SIDE)
    at = ((0, 0.2, 0), (0, 0, -1))
    before = touch(command_inside, tmp_path, *at, "--as-of", "1")
    assert before["z"] == pytest.approx(ledge * T, abs=EXACT)
    after = touch(command_inside, tmp_path, *at)
    assert after["z"] == pytest.approx((ledge - cut) * T, abs=EXACT)
    assert after["pass"] == (2 if cut else 1)
    wanted = [(2, 1, pytest.approx(cut * T, abs=EXACT))] if cut else []
    assert skims(command_inside, tmp_path) == wanted


@pytest.mark.parametrize(("rough", "finish", "cut"), [(15, 12, 0), (12, 15, 3)])
def test_an_outer_profile_below_the_part(tmp_path, command_inside, rough, finish, cut):
    """Rougher's floor 15 thou below the part, finisher's tip 12: 3 thou free; the other way round
    it cuts 3 thou of the ledge (derived)."""
    nc = along(Nc("in", 1.0).tool(1, "rough"), 0.25 + 10 * T, -0.4 - rough * T)
    along(nc.tool(2, "finish"), 0.125, -0.4 - finish * T)
    write_job(tmp_path, nc, [tool(1, "flat", 0.5), tool(2, "flat", 0.25)], **SIDE)
    wanted = [(2, 1, pytest.approx(3 * T, abs=EXACT))] if cut else []
    assert skims(command_inside, tmp_path) == wanted
    found = touch(command_inside, tmp_path, (0, 0.2, 0), (0, 0, -1))
    assert found["z"] == pytest.approx(-0.415, abs=EXACT)
    assert found["pass"] == (2 if cut else 1)
    # On the wall's own strip of 10 thou the finisher's tip is the floor.
    strip = touch(command_inside, tmp_path, (0, 0.005, 0), (0, 0, -1))
    assert (strip["z"], strip["pass"]) == (pytest.approx(-0.4 - finish * T, abs=EXACT), 2)
