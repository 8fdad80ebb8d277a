"""Volumes by zone and areas from columns: closed forms, shapely, and what `run` says."""

from __future__ import annotations

import math

import pytest
from helpers_contact import asked, removed
from helpers_job import Nc, tool, write_job
from proud.contact import contact
from shapely.geometry import LineString, box

FLAT = [tool(1, "flat", 6.0)]
BULL = [tool(1, "bull", 6.0, RE=1.0)]


def taken(tmp_path, nc, tools, **more):
    (p,) = asked(tmp_path, nc, tools, **{"pitch": 0.1, **more}).passes
    return p.floor.taken


def test_a_plunge_is_the_bottoms(tmp_path):
    v = taken(tmp_path, Nc().tool(1, "hole").stroke((0.03, 0.02, -3)), FLAT)
    assert v.bottom == pytest.approx(math.pi * 9 * 3, abs=v.error)
    assert (v.corner, v.side) == (0, 0)


def test_a_plunge_with_a_corner_radius(tmp_path):
    """Under the flat the bottom's, round it the corner's: cylinder and the torus's share."""
    v = taken(tmp_path, Nc().tool(1, "hole").stroke((0.03, 0.02, -3)), BULL)
    assert v.bottom == pytest.approx(math.pi * 4 * 3, rel=0.01)
    tip = BULLS_TIP
    assert v.total == pytest.approx(math.pi * 9 * 2 + tip, abs=v.error)


# The lowest 1 mm of a bull of 6 with RE 1: pi * int (2 + sqrt(1 - u^2))^2 du, u from 0 to 1.
BULLS_TIP = math.pi * (4 + 4 * math.pi / 4 + 1 - 1 / 3)


def test_level_moves_go_by_height_over_the_tip(tmp_path):
    """A slot 2 deep with RE 1 across 40 mm: the lowest 1 mm is the corner's."""
    v = taken(tmp_path, Nc().tool(1, "slot").stroke((-30, 0, -2), (30, 0, -2)), BULL)
    section = 4 * 1 + 2 * math.pi / 4  # flat of 4 and two quarter rounds
    assert v.bottom == 0
    assert v.side == pytest.approx(6 * 1 * 40, rel=0.01)
    assert v.corner == pytest.approx(section * 40, rel=0.02)


def test_two_depths_of_one_pass(tmp_path):
    """The second depth takes what the first left: its corner counts from its own tip."""
    nc = Nc().tool(1, "slot").stroke((-30, 0, -2), (30, 0, -2)).stroke((-30, 0, -4), (30, 0, -4))
    v = taken(tmp_path, nc, BULL)
    section = 4 + math.pi / 2
    # Each depth of 2 has a corner of 1; the first one's rounds fall to the second one's side.
    assert v.corner == pytest.approx(2 * section * 40, rel=0.02)
    assert v.total == pytest.approx((6 * 3 + section) * 40, abs=v.error)


def test_a_ramp_is_shared_out(tmp_path):
    """The end takes what it sinks over each place; the sum is what `run` says."""
    nc = Nc().tool(1, "ramp").stroke((-10, 0, 0), (10, 0, -2))
    job = write_job(tmp_path, nc, FLAT, pitch=0.1)
    v = contact(job).passes[0].floor.taken
    assert v.total == pytest.approx(removed(job)[1], rel=1e-9)
    # A disc of area pi R^2 sinks 2 mm in all, but not into what is gone: no more than that.
    assert 0.7 * math.pi * 9 * 2 < v.bottom <= math.pi * 9 * 2 + v.error
    assert v.side > 0


def test_a_helix_is_shared_out(tmp_path):
    nc = Nc().tool(1, "helix").arc((2, 0, 0), (2, 0, -2), (0, 0), "ccw")
    job = write_job(tmp_path, nc, FLAT, pitch=0.1)
    v = contact(job).passes[0].floor.taken
    assert v.total == pytest.approx(removed(job)[1], rel=1e-9)
    assert v.bottom > 0
    assert v.side > 0


@pytest.mark.parametrize("pitch", [0.5, 0.1])
def test_areas_and_volumes_against_shapely(tmp_path, pitch):
    points = [(-12.0, -7.0), (9.0, -4.0), (4.0, 8.0), (-6.0, 3.5)]
    nc = Nc().tool(1, "way").stroke(*((x, y, -1.5) for x, y in points))
    (p,) = asked(tmp_path, nc, FLAT, pitch=pitch).passes
    plan = LineString(points).buffer(3.0, quad_segs=256).intersection(box(-20, -15, 20, 15))
    assert p.floor.bottom.area == pytest.approx(plan.area, abs=p.floor.bottom.error)
    assert p.floor.taken.total == pytest.approx(plan.area * 1.5, abs=p.floor.taken.error)
    assert p.floor.bottom.error < 4 * pitch * plan.length


def test_the_sum_is_what_the_run_says(tmp_path):
    """All shapes, ramps, arcs, several depths, rapids: pass by pass."""
    nc = Nc().tool(1, "one").stroke((-12, 3, -1), (9, 5, -3), (9, -6, -3))
    nc.tool(2, "two").stroke((-12, 3, -2), (11, -5, -2)).arc((7, 0, -1), (7, 0, -4), (0, 0), "ccw")
    nc.tool(3, "three").stroke((-9, -9, -1), (12, 7, -2.5))
    nc.tool(4, "four").stroke((3, 3, -6)).stroke((-8, -3, -7))
    cutters = [
        tool(1, "flat", 6.0), tool(2, "bull", 5.0, RE=1.0), tool(3, "ball", 4.0),
        tool(4, "drill", 3.0, SIG=118.0),
    ]  # fmt: skip
    job = write_job(tmp_path, nc, cutters, pitch=0.2)
    run = removed(job)
    found = {p.info.number: p.floor.taken.total for p in contact(job).passes}
    assert found == pytest.approx(run, rel=1e-9)


def test_metal_that_stands_over_a_cutting_part(tmp_path):
    """A tool 2 long that cuts 5 deep beside a wall leaves what stands over it."""
    nc = Nc().tool(1, "deep").stroke((-30, -14, -5), (30, -14, -5))
    nc.tool(2, "over").stroke((-30, -14, -3), (30, -14, -3))
    cutters = [tool(1, "flat", 6.0, APMX=2.0), tool(2, "flat", 4.0)]
    job = write_job(tmp_path, nc, cutters, pitch=0.2)
    run = removed(job)
    found = {p.info.number: p.floor.taken for p in contact(job).passes}
    for number, volume in run.items():
        assert found[number].total == pytest.approx(volume, abs=found[number].error + 1e-6)


def test_floors_of_earlier_passes(tmp_path):
    """One floor cut by 0.05, another clear by 0.2: areas by shapely."""
    nc = Nc().tool(1, "low").stroke((-30, 6, -2.2), (30, 6, -2.2))
    nc.heading("high").stroke((-30, -6, -1.95), (30, -6, -1.95))
    nc.heading("across").stroke((0, -30, -2), (0, 30, -2))
    p = asked(tmp_path, nc, FLAT, pitch=0.1).passes[2]
    rows = {f.into_pass: f for f in p.floor.floors}
    assert rows[1].gap == pytest.approx(0.2, abs=1e-6)
    assert rows[2].gap == pytest.approx(-0.05, abs=1e-6)
    for row in rows.values():
        assert row.area == pytest.approx(36, abs=row.error)
    assert (p.bottom_gap.gap, p.bottom_gap.to_pass) == (0.0, 0)  # it cuts
