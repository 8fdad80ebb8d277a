"""Contact by hand: slots, side cuts, finishing passes, round walls, corners, chips."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_contact import INCH, THOU, asked, inch, middle, wall_passes
from helpers_job import Nc, tool
from proud.contact import contact
from proud.contact.chip import feed_per_tooth
from proud.contact.tool import Edge
from proud.errors import BadInput
from proud.tools import Tool

FINE = 0.1 * THOU
"""Gaps and bites hold to a tenth of a thou at any pitch."""
EXACT = 1e-6
FLAT = [tool(1, "flat", 6.0, ZEFF=4)]


def slot(depth=2.0, y=0.0):
    return Nc().tool(1, "slot").raw("M3").stroke((-30, y, -depth), (30, y, -depth))


@pytest.mark.parametrize("pitch", [0.5, 0.21])
def test_a_slot_at_full_width(tmp_path, pitch):
    (p,) = asked(tmp_path, slot(), FLAT, pitch=pitch).passes
    # Across the axis there is metal on 40 of the 43 mm on which the front half is in it.
    assert p.radial == pytest.approx((6, 6 * 40 / 43), abs=0.01)
    assert p.axial == pytest.approx((2, 2), abs=EXACT)
    k = middle(p)
    assert (p.along.engagement[k], p.along.width[k]) == pytest.approx((math.pi, 6), abs=1e-5)
    assert (p.met, p.cut) == (("bottom", "side"), "slot")
    # The front half is in metal from x = -23, where it comes to the stock, to x = 20.
    assert p.cutting_length == pytest.approx(43, abs=2 * THOU)
    assert p.length == pytest.approx(60 + 12)  # and the way down at feed
    v = p.floor.taken
    assert (v.bottom, v.corner) == (0, 0)
    assert v.total == pytest.approx(6 * 40 * 2, abs=v.error + 1e-9)
    assert p.floor.bottom.error > 0
    assert p.floor.bottom.area == pytest.approx(240, abs=p.floor.bottom.error)
    assert (p.floor.bottom.peak, p.floor.bottom.mean) == pytest.approx((2, 2))
    # F100 S1000 and four flutes: straight ahead the chip is the whole advance of a tooth.
    assert p.chip[0] == pytest.approx(0.025, abs=EXACT)
    assert p.along.chip_mean[k] == pytest.approx(0.025 * 2 / math.pi, abs=EXACT)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("ae", [0.0127, 0.3, 1.5, 3.0, 4.2])
def test_a_side_cut(tmp_path, ae, way):
    """The arc is acos(1 - ae/R); a clockwise tool climbs with the metal on its right."""
    y = -15 - 3 + ae
    nc = Nc().tool(1, "side").raw("M3").stroke((-30 * way, y, -2), (30 * way, y, -2))
    (p,) = asked(tmp_path, nc, FLAT).passes
    k, arc = middle(p), math.acos(1 - ae / 3)
    assert p.along.engagement[k] == pytest.approx(arc, abs=1e-5)
    assert p.along.width[k] == pytest.approx(ae, abs=FINE / 10)
    assert (p.along.radial[k], p.along.axial[k]) == pytest.approx((ae, 2), abs=EXACT)
    assert p.cut == ("conventional" if way == 1 else "climb")
    # Chip thinning: handbooks give fz * 2 sqrt(ae/D (1 - ae/D)) up to the middle, from memory.
    full = 0.025 * (2 * math.sqrt(ae / 6 * (1 - ae / 6)) if ae < 3 else 1.0)
    assert p.along.chip_peak[k] == pytest.approx(full, rel=1e-4)
    assert p.along.chip_mean[k] == pytest.approx(0.025 * (ae / 3) / arc, rel=1e-4)


@pytest.mark.parametrize("pitch", [0.05, 0.01, 0.004])
@pytest.mark.parametrize("bite", [1.0, 0.1])
def test_a_finishing_pass_of_a_thou_and_of_a_tenth(tmp_path, bite, pitch):
    nc = wall_passes(("rough", bite / 1000, -0.2), ("finish", 0.0, -0.2))
    p = inch(tmp_path, nc, pitch=pitch).passes[1]
    assert (p.met, p.cut) == (("side",), "climb")
    assert p.radial[0] == pytest.approx(bite * THOU, abs=EXACT)
    assert p.wall_bite == pytest.approx((bite * THOU, bite * THOU), abs=EXACT)
    assert p.axial[0] == pytest.approx(0.2 * INCH, abs=EXACT)
    (wall,) = [w for w in p.walls if w.into_pass == 1]
    assert wall.gap == pytest.approx(-bite * THOU, abs=EXACT)
    # The floor is at the same height: touched, not cut.
    assert p.floor.bottom.area == 0
    assert (p.bottom_gap.gap, p.bottom_gap.to_pass) == (0.0, 1)
    assert (p.side_gap.gap, p.side_gap.to_pass) == (0.0, 0)


def test_the_same_in_millimetres(tmp_path):
    nc = wall_passes(
        ("rough", 0.0254, -5.0), ("finish", 0.0, -5.0), unit="mm", radius=3.0, reach=40
    )
    found = asked(tmp_path, nc, FLAT, high=(20, 5, 0), pitch=0.3)
    assert found.passes[1].radial[0] == pytest.approx(0.0254, abs=EXACT)
    assert found.unit == "mm"


def round_passes(first, second, z=-2.0):
    nc = Nc()
    for name, r, way in (("rough", first, "cw"), ("finish", second, "cw")):
        nc.tool(1, name).arc((r, 0, z), (r, 0, z), (0, 0), way)
    return nc


@pytest.mark.parametrize(("B", "a"), [(5.0, 0.1), (2.0, 0.5), (8.0, 0.0127)])
def test_round_a_boss(tmp_path, B, a):
    """Metal of radius B + a outside which a tool of radius R runs at P = B + R.

    A point of the tool at the angle t from the inward normal is at q^2 = P^2 + R^2 - 2 P R cos t
    from the centre and in metal while q < B + a: so cos t, and the width R (1 - cos t).
    """
    R, P = 3.0, B + 3.0
    p = asked(tmp_path, round_passes(P + a, P), FLAT).passes[1]
    cos = (P * P + R * R - (B + a) ** 2) / (2 * P * R)
    k = int(np.argmin(np.hypot(p.along.tip[:, 0] + P, p.along.tip[:, 1] - 0.3) + 9 * p.along.rapid))
    assert p.along.radial[k] == pytest.approx(a, abs=1e-5)
    assert p.along.engagement[k] == pytest.approx(math.acos(cos), abs=1e-5)
    assert p.along.width[k] == pytest.approx(a * (2 * B + a) / (2 * (B + R)), abs=1e-5)
    assert p.cut == "climb"  # clockwise round a boss: the metal is on the right


@pytest.mark.parametrize(("B", "a"), [(8.0, 0.1), (6.0, 0.5)])
def test_inside_a_bore(tmp_path, B, a):
    """q^2 = P^2 + R^2 + 2 P R cos t > (B - a)^2 with P = B - R; clockwise, so conventional."""
    R, P = 3.0, B - 3.0
    p = asked(tmp_path, round_passes(P - a, P), FLAT).passes[1]
    cos = ((B - a) ** 2 - P * P - R * R) / (2 * P * R)
    k = int(np.argmin(np.hypot(p.along.tip[:, 0] + P, p.along.tip[:, 1] - 0.3) + 9 * p.along.rapid))
    assert p.along.engagement[k] == pytest.approx(math.acos(cos), abs=1e-5)
    assert p.along.radial[k] == pytest.approx(a, abs=1e-5)
    assert p.along.width[k] == pytest.approx(a * (2 * B - a) / (2 * (B - R)), abs=1e-5)
    assert p.cut == "conventional"


def test_a_full_circle_meets_its_own_beginning_cut(tmp_path):
    """From a plunge the circle is a slot at first; its end comes into what its beginning took."""
    nc = Nc().tool(1, "ring").arc((8, 0, -2), (8, 0, -2), (0, 0), "ccw")
    (p,) = asked(tmp_path, nc, FLAT).passes
    a = p.along
    last = np.flatnonzero(~a.rapid & ~a.upright)[-1]
    assert a.zones[last] == 0
    assert a.engagement[middle(p, -8.0)] == pytest.approx(math.pi, abs=0.02)


BIG = tool(1, "bull", 12.0, RE=2.0)


@pytest.mark.parametrize("RF", [0.0, 0.5, 1.5])
@pytest.mark.parametrize(
    ("aR", "aF", "lift"), [(0.1, 0.0, 0.05), (0.3, 0.02, 0.1), (0.0, 0.0, 0.05)]
)
def test_the_fillet_of_a_bigger_corner_radius(tmp_path, RF, aR, aF, lift):
    """hypot of the arcs' centres, less the difference of the radii."""
    bR = 0.05
    nc = Nc().tool(1, "rough").stroke((-40, 6 + aR, -5 + bR), (40, 6 + aR, -5 + bR))
    nc.tool(2, "finish").stroke((-40, 3 + aF, -5 + lift), (40, 3 + aF, -5 + lift))
    small = tool(2, "bull", 6.0, RE=RF) if RF else tool(2, "flat", 6.0)
    p = asked(tmp_path, nc, [BIG, small], high=(20, 5, 0)).passes[1]
    bite = math.hypot(aR + 2 - RF - aF, bR + 2 - RF - lift) - (2 - RF)
    assert p.corner_bite == pytest.approx(bite, abs=1e-5)
    assert p.along.corner_bite[middle(p)] == pytest.approx(bite, abs=FINE)
    assert ("corner" in p.met) == (RF > 0)
    wall = next(w for w in p.walls if w.into_pass == 1)
    assert wall.gap == pytest.approx(-(aR - aF), abs=EXACT)


def test_a_ball_cuts_as_wide_as_it_is_there(tmp_path):
    """At the depth h a ball of radius R is 2 sqrt(2 R h - h^2) wide; its edge stands inclined."""
    nc = Nc().tool(1, "skim").raw("M3").stroke((-30, 0, -0.4), (30, 0, -0.4))
    (p,) = asked(tmp_path, nc, [tool(1, "ball", 6.0, ZEFF=2)]).passes
    k, wide = middle(p), 2 * math.sqrt(2 * 3 * 0.4 - 0.16)
    assert p.met == ("corner",)
    assert p.along.axial[k] == pytest.approx(0.4, abs=EXACT)
    assert p.along.width[k] == pytest.approx(wide, abs=1e-5)
    assert p.along.chip_peak[k] == pytest.approx(0.05 * (wide / 2) / 3, rel=1e-5)


def test_a_floor_pass_between_a_fifth_of_a_thou_and_the_wall(tmp_path):
    nc = wall_passes(("rough", 0.003, -0.198), ("floor", 0.0032, -0.2))
    p = inch(tmp_path, nc).passes[1]
    assert p.side_gap.gap == pytest.approx(0.2 * THOU, abs=EXACT)
    assert p.side_gap.to_pass == 1
    assert p.side_gap.at[1] == pytest.approx(3 * THOU, abs=EXACT)
    (floor,) = p.floor.floors
    assert (floor.into_pass, floor.gap) == (1, pytest.approx(-2 * THOU, abs=EXACT))
    assert p.wall_bite is None
    assert p.floor.bottom.peak == pytest.approx(2 * THOU, abs=EXACT)


def test_a_wall_pass_lifted_over_a_finished_floor(tmp_path):
    nc = wall_passes(("rough", 0.001, -0.2), ("finish", 0.0, -0.1996))
    p = inch(tmp_path, nc).passes[1]
    assert (p.bottom_gap.gap, p.bottom_gap.to_pass) == (pytest.approx(0.4 * THOU, abs=EXACT), 1)
    assert p.radial[0] == pytest.approx(1 * THOU, abs=EXACT)
    assert p.met == ("side",)


def test_a_spring_pass_touches_and_takes_nothing(tmp_path):
    nc = wall_passes(("finish", 0.0, -0.2), ("spring", 0.0, -0.2))
    p = inch(tmp_path, nc).passes[1]
    assert (p.met, p.radial, p.cut, p.floor.taken.total) == ((), None, None, 0)
    assert (p.side_gap.gap, p.side_gap.to_pass) == (0.0, 1)
    assert (p.bottom_gap.gap, p.bottom_gap.to_pass) == (0.0, 1)
    assert p.cutting_length == 0
    # Stations stand a radius apart, and the ends of the stock lie between two of them.
    assert p.finished_length == pytest.approx(2 * INCH, abs=0.25 * INCH)


def test_in_air(tmp_path):
    (p,) = inch(tmp_path, wall_passes(("air", 0.3, -0.2))).passes
    assert (p.met, p.radial, p.chip, p.cut, p.bottom_gap, p.side_gap) == ((), *[None] * 5)
    assert p.air_length == p.length > 0


def test_stock_over_the_cutting_length(tmp_path):
    """A shank as wide as the tool meets what stands over its cutting part; a thin neck doesn't."""
    nc = wall_passes(("deep", -0.02, -0.4))
    cutter = {"APMX": 0.25, "LPR": 1.0, "DMM": 0.25}
    block = {"low": (-1, -1, -0.5), "high": (1, 0, 0), "pitch": 0.02, "unit": "in"}
    (p,) = asked(tmp_path / "a", nc, [tool(1, "flat", 0.25, **cutter)], **block).passes
    assert p.met == ("bottom", "side", "shank")
    assert p.axial[0] == pytest.approx(0.25 * INCH)
    (p,) = asked(
        tmp_path / "b", nc, [tool(1, "flat", 0.25, **cutter, DN=0.1, LU=0.6)], **block
    ).passes
    assert p.met == ("bottom", "side")


def test_one_pass_alone_and_no_such_pass(tmp_path):
    from helpers_job import write_job

    nc = wall_passes(("rough", 0.003, -0.2), ("finish", 0.0, -0.2))
    cutters = [tool(1, "flat", 0.25)]
    job = write_job(
        tmp_path, nc, cutters, low=(-1, -1, -0.5), high=(1, 0.2, 0), pitch=0.02, unit="in"
    )
    (one,) = contact(job, 2).passes
    both = contact(job).passes
    assert one.radial == both[1].radial
    assert one.floor == both[1].floor
    assert one.chip is None  # no flutes given
    with pytest.raises(BadInput, match="there is no pass 3; the last is 2"):
        contact(job, 3)


def test_no_advance_is_known_without_feed_spindle_or_flutes():
    feed, spindle = np.array([100.0, 0.0, 100.0]), np.array([1000.0, 1000.0, 0.0])
    assert feed_per_tooth(feed, spindle, 4)[0] == pytest.approx(0.025)
    assert np.isnan(feed_per_tooth(feed, spindle, 4)[1:]).all()
    assert np.isnan(feed_per_tooth(feed, spindle, None)).all()


@pytest.mark.parametrize("shape", ["flat", "bull", "ball"])
def test_the_lower_face_and_the_radius_are_inverse(shape):
    """A bull of corner radius c: height c - sqrt(c^2 - (r - R + c)^2), by hand."""
    c = {"flat": 0.0, "bull": 1.0, "ball": 3.0}[shape]
    edge = Edge(Tool(1, "t", shape, 6.0, corner_radius=c if shape == "bull" else 0.0))
    r = np.linspace(0, 3, 13)
    inside = np.maximum(r - 3 + c, 0.0)
    assert edge.lower(r) == pytest.approx(c - np.sqrt(np.maximum(c * c - inside**2, 0)), abs=1e-12)
    assert edge.reach_at(edge.lower(r[r >= 3 - c])) == pytest.approx(r[r >= 3 - c], abs=1e-9)
    assert edge.corner_top == c


def test_a_spring_pass_in_a_pocket_touches_its_corners_only(tmp_path):
    """Square inside corners, plunge and retract in the corner: nothing is cut, no rapid meets."""
    square = [(-8, -6, -2), (8, -6, -2), (8, 6, -2), (-8, 6, -2), (-8, -6, -2)]
    nc = Nc().tool(1, "finish").stroke(*square).heading("spring").stroke(*square)
    p = asked(tmp_path, nc, FLAT).passes[1]
    assert (p.met, p.cutting_length, p.rapid_cutting) == ((), 0, 0)
    assert (p.side_gap.gap, p.bottom_gap.gap) == (0, 0)
    assert p.finished_length == pytest.approx(2 * 16 + 2 * 12, abs=0.1)


def test_a_plunge_is_in_metal_all_round_and_its_way_back_is_not(tmp_path):
    (p,) = asked(tmp_path, Nc().tool(1, "hole").stroke((0.03, 0.02, -3)), FLAT).passes
    assert p.engagement[0] == pytest.approx(2 * math.pi)
    assert (p.radial[0], p.axial[0], p.cut) == (pytest.approx(6), pytest.approx(3), "slot")
    assert p.rapid_cutting == 0
    assert p.cutting_length == pytest.approx(3, abs=2 * THOU)


def test_a_rapid_through_metal_is_said(tmp_path):
    nc = Nc().tool(1, "slip").stroke((-30, 0, -2), (-22, 0, -2)).raw("G0 Z-1", "G0 X0").up()
    found = asked(tmp_path, nc, FLAT)
    assert found.passes[0].rapid_cutting > 20
    assert "pass 1: a rapid meets stock" in found.notes
