"""Small jobs against values from outside: plane geometry, solid booleans, rules of the trade.

The source stands beside each check. Trade rules: common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path
from typing import Any

import helpers_job as hj
import manifold3d
import numpy as np
import proud
import pytest
import shapely
from helpers_job import IN, Nc, write_job
from proud.prober import Prober

manifold3d.set_circular_segments(256)
SEGMENTS = 256


def along(nc: Nc, x: float, z: float, reach: float = 100.0) -> Nc:
    return nc.stroke((x, -reach, z), (x, reach, z))


def height(job: proud.Job, x_mm: float, y_mm: float) -> float:
    """Return the exact height of one column, mm."""
    return float(Prober(job.packed, job.stock).columns(np.array([x_mm]), np.array([y_mm]))[0][0])


def profile(job: proud.Job, x0: float, x1: float, as_of: int | None = None, count: int = 40_001):
    """Return x and z along x at y = 0.01, mm."""
    found = job.trace((x0, 0.01), (x1, 0.01), spacing=(x1 - x0) / (count - 1), as_of=as_of).points
    return found.x, found.z


# --- volumes -------------------------------------------------------------------------------------


def removed(job: proud.Job) -> float:
    return float(job.run().as_dict()["volume"]["removed"])


def check_convergence(write: Any, exact: float, border: float, pitches: tuple[float, ...]) -> None:
    """The error stays within half a pitch along the whole border, and ends a hundredth of that.

    border: its length times the height that ends there, mm^2: a column is in or out by a cell.
    """
    errors = [abs(removed(write(pitch)) - exact) for pitch in pitches]
    for pitch, error in zip(pitches, errors, strict=True):
        assert error <= 0.5 * pitch * border
    assert errors[-1] <= 0.1 * pitches[-1] * border
    assert errors[-1] / exact < 2e-3


def test_flat_slot(tmp_path: Path) -> None:
    """2 R L + pi R^2 times the depth: R 3, L 50, depth 2: 656.5486678 mm3 (derived)."""
    exact = (2 * 3 * 50 + math.pi * 9) * 2
    assert exact == pytest.approx(656.5486678, abs=1e-7)
    a = math.radians(20)
    end = (50 * math.cos(a), 50 * math.sin(a), -2)
    nc = Nc().tool(1, "slot").stroke((0, 0, -2), end)

    def write(pitch: float) -> proud.Job:
        tool = hj.tool(1, "flat", 6)
        return write_job(tmp_path, nc, [tool], low=(-5, -5, -5), high=(60, 30, 0), pitch=pitch)

    check_convergence(write, exact, 2 * (100 + 6 * math.pi), (0.8, 0.4, 0.2, 0.1))


def test_ball_slot(tmp_path: Path) -> None:
    """At depth R: pi R^2/2 L + 2/3 pi R^3: R 3, L 50: 763.4070148 mm3 (derived)."""
    exact = math.pi * 9 / 2 * 50 + 2 / 3 * math.pi * 27
    assert exact == pytest.approx(763.4070148, abs=1e-7)
    a = math.radians(20)
    nc = Nc().tool(1, "slot").stroke((0, 0, -3), (50 * math.cos(a), 50 * math.sin(a), -3))

    def write(pitch: float) -> proud.Job:
        tool = hj.tool(1, "ball", 6)
        return write_job(tmp_path, nc, [tool], low=(-5, -5, -5), high=(60, 30, 0), pitch=pitch)

    check_convergence(write, exact, 3 * (100 + 6 * math.pi), (0.8, 0.4, 0.2, 0.1))


def test_bull_slot_cross_section(tmp_path: Path) -> None:
    """2 R d - 2 rc^2 (1 - pi/4): D 12, rc 1.5, depth 5 mm: 59.0342917 mm2 (derived)."""
    exact = 12 * 5 - 2 * 1.5**2 * (1 - math.pi / 4)
    assert exact == pytest.approx(59.0342917, abs=1e-7)
    nc = along(Nc().tool(1, "slot"), 0.3, -5)
    box: dict[str, Any] = {"low": (-10, -2, -9), "high": (10, 2, 0)}
    job = write_job(tmp_path, nc, [hj.tool(1, "bull", 12, RE=1.5)], pitch=0.05, **box)
    x, z = profile(job, 0.3 - 6 - 1e-9, 0.3 + 6 + 1e-9)
    assert -np.trapezoid(z, x) == pytest.approx(exact, abs=2e-3)
    assert removed(job) / 4 == pytest.approx(exact, abs=0.05 * 5)


@pytest.mark.parametrize("depth", [0.75, 2.0])
def test_pockets_against_plane_geometry(tmp_path: Path, depth: float) -> None:
    """A flat tool's cut is its path made wider by R, times the depth (shapely)."""
    rng = np.random.default_rng(5)
    nc, paths = Nc().tool(1, "strokes"), []
    for _ in range(7):
        points = rng.uniform(-9, 9, (4, 2))
        nc.stroke(*((x, y, -depth) for x, y in points))
        paths.append(shapely.LineString(np.round(points, 10)).buffer(1.5, quad_segs=200))
    nc.arc((6, 1, -depth), (6, 1, -depth), (2, 1), "cw")
    ring = shapely.Point(2, 1)
    paths.append(ring.buffer(5.5, quad_segs=200).difference(ring.buffer(2.5, quad_segs=200)))
    area = shapely.unary_union(paths).intersection(shapely.box(-8, -8, 8, 8))

    def write(pitch: float) -> proud.Job:
        tool = hj.tool(1, "flat", 3)
        return write_job(tmp_path, nc, [tool], low=(-8, -8, -5), high=(8, 8, 0), pitch=pitch)

    check_convergence(write, area.area * depth, area.length * depth, (0.4, 0.2, 0.1, 0.05))
    tile = write(0.1).surface()
    x, y = np.meshgrid(tile.grid.x(), tile.grid.y())
    edge = shapely.distance(area.boundary, shapely.points(x, y)) < 1e-3
    inside = shapely.contains_xy(area, x, y)
    assert ((tile.top == -depth) == inside)[~edge].all()


def ball_at(x: float, y: float, z: float, r: float) -> manifold3d.Manifold:
    return manifold3d.Manifold.sphere(r, SEGMENTS).translate((x, y, z + r))


def cylinder_at(
    x: float, y: float, z: float, r0: float, r1: float, h: float
) -> manifold3d.Manifold:
    return manifold3d.Manifold.cylinder(h, r0, r1, SEGMENTS).translate((x, y, z))


def hull(*parts: manifold3d.Manifold) -> manifold3d.Manifold:
    return manifold3d.Manifold.batch_hull(list(parts))


def test_solid_booleans(tmp_path: Path) -> None:
    """Ball, flat, chamfer, drill on level lines, ramps, plunges against exact booleans of hulls
    (manifold3d); its circles have 256 sides, 1e-4 of a section."""
    tools = [
        hj.tool(1, "ball", 6),
        hj.tool(2, "flat", 4),
        hj.tool(3, "chamfer", 8, KAPR=45, tip=1),
        hj.tool(4, "drill", 5, SIG=118),
    ]
    nc = Nc().tool(1, "balls").stroke((-8, -3, -1.5), (7, 4, -2.5)).stroke((-6, 6, -2), (6, -7, -2))
    nc.tool(2, "flats").stroke((-7, -8, -1), (8, -2, -3))
    nc.tool(3, "chamfer").stroke((-10, 8.5, -1.2), (10, 8.5, -1.2))
    nc.tool(4, "hole").stroke((3, 5, -6))
    tall, k = 20.0, 1 / math.tan(math.radians(59))
    pairs = [[(-8, -3, -1.5), (7, 4, -2.5)], [(-6, 6, -2), (6, -7, -2)]]
    cuts = [hull(*(ball_at(*p, 3) for p in pair)) for pair in pairs]
    cuts += [  # What stands above a ball is gone as well: its cutting part has no end.
        hull(*(cylinder_at(x, y, z + 3, 3, 3, tall) for x, y, z in pair)) for pair in pairs
    ]
    cuts += [hull(*(cylinder_at(*p, 2, 2, tall) for p in [(-7, -8, -1), (8, -2, -3)]))]
    cuts += [hull(*(cylinder_at(x, 8.5, -1.2, 0.5, 4, 3.5) for x in (-10, 10)))]
    cuts += [
        cylinder_at(3, 5, -6, 0, 2.5, 2.5 * k),
        cylinder_at(3, 5, -6 + 2.5 * k, 2.5, 2.5, tall),
    ]
    block = manifold3d.Manifold.cube((20, 20, 10)).translate((-10, -10, -10))
    left = block - manifold3d.Manifold.batch_boolean(cuts, manifold3d.OpType.Add)
    exact = block.volume() - left.volume()

    errors = []
    for pitch in (0.4, 0.2, 0.1, 0.05):
        low, high = (-10, -10, -10), (10, 10, 0)
        job = write_job(tmp_path, nc, tools, low=low, high=high, pitch=pitch)
        errors.append(abs(removed(job) / exact - 1))
        assert errors[-1] < 0.02 * pitch
    assert errors[-1] < 5e-4


# --- scallops and cusps --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "radius", "apart", "scallop"),
    [
        ("in", 0.125, 0.010, 0.00010004003),
        ("mm", 3.0, 0.2, 0.00166712989),
        ("mm", 5.0, 0.5, 0.00625391114),
    ],
)
def test_ball_scallop(
    tmp_path: Path, unit: str, radius: float, apart: float, scallop: float
) -> None:
    """R - sqrt(R^2 - (s/2)^2) (derived)."""
    per = IN if unit == "in" else 1.0
    nc = Nc(unit, clear=2.0).tool(1, "a")
    for k in range(-3, 4):
        along(nc.heading(f"row {k}"), k * apart, -radius / 5, 30)
    job = write_job(
        tmp_path, nc, [hj.tool(1, "ball", 2 * radius)], low=(-3, -0.5, -1), high=(3, 0.5, 0),
        pitch=0.05, unit=unit,
    )  # fmt: skip
    assert height(job, apart / 2 * per, 0) / per + radius / 5 == pytest.approx(scallop, abs=1e-11)
    reach = 2.9 * apart * per
    steps = job.trace((-reach, 0.0), (reach, 0.0)).as_dict()["steps"]
    assert [s["x"] for s in steps] == pytest.approx(
        [(k + 0.5) * apart for k in range(-3, 3)], abs=1e-9 / per
    )
    assert [(s["from_pass"], s["to_pass"]) for s in steps] == list(itertools.pairwise(range(1, 8)))


@pytest.mark.parametrize(("below", "width"), [(0.012, 0.006), (0.015, 0.0040192)])
def test_cusp_under_an_edge(tmp_path: Path, below: float, width: float) -> None:
    """Finisher RE 30 thou, its tip 12 below an edge: the cusp is 6 thou wide there, by 3-4-5;
    tip 15 below: 4.0192; it is 30 less that high (derived)."""
    nc = along(Nc("in", clear=0.5).tool(1, "ledge"), 0.2, -0.3, 1)
    along(nc.tool(2, "wall"), 0.0625, -0.3 - below, 1)
    tools = [hj.tool(1, "flat", 0.5), hj.tool(2, "bull", 0.125, RE=0.030)]
    job = write_job(
        tmp_path, nc, tools, low=(-0.2, -0.1, -0.5), high=(0.4, 0.1, 0), pitch=0.01, unit="in"
    )
    # The ledge runs under the wall's foot: the edge lies in it, the wall (its rim) at x = 0.
    found = job.trace((-0.04 * IN, 0), (0.3 * IN, 0)).as_dict()["steps"]
    exact = 0.030 - math.sqrt(0.030**2 - (0.030 - below) ** 2)
    assert exact == pytest.approx(width, abs=5e-8)
    meets = [s for s in found if (s["from_pass"], s["to_pass"]) == (1, 2)]
    assert len(meets) == 1
    assert meets[0]["x"] == pytest.approx(exact, abs=1e-9 / IN)
    assert meets[0]["jump"] == pytest.approx(0, abs=1e-7)
    assert meets[0]["height"] == pytest.approx(-below, abs=1e-9)
    alone = along(Nc("in", clear=0.5).tool(2, "wall"), 0.0625, -0.3 - below, 1)
    wall = write_job(
        tmp_path, alone, tools, low=(-0.2, -0.1, -0.5), high=(0.4, 0.1, 0), pitch=0.01, unit="in"
    )
    rim = height(wall, 1e-12, 0) / IN
    assert rim + 0.3 == pytest.approx(0.030 - below, abs=1e-5)


# --- corners -------------------------------------------------------------------------------------


def test_inside_corner_in_plan(tmp_path: Path) -> None:
    """Left on the bisector R (sqrt 2 - 1), area R^2 (1 - pi/4): R 0.0625 in: 0.0258883 in,
    0.00083829 in2 (derived)."""
    R = 0.0625
    nc = Nc("in", clear=0.5).tool(1, "corner")
    nc.stroke((-0.3, 0, -0.1), (0, 0, -0.1), (0, -0.3, -0.1))
    options: dict[str, Any] = {"low": (-0.2, -0.2, -0.3), "high": (R, R, 0), "unit": "in"}
    job = write_job(tmp_path, nc, [hj.tool(1, "flat", 2 * R)], pitch=0.0005, **options)
    found = job.trace((0.0, 0.0), (R * IN, R * IN)).as_dict()["steps"]
    assert len(found) == 1
    left = R * math.sqrt(2) - found[0]["s"]
    assert left == pytest.approx(0.0258883, abs=5e-8)
    assert left == pytest.approx(R * (math.sqrt(2) - 1), abs=1e-9)
    tile = job.run().tile
    x, y = np.meshgrid(tile.grid.x() / IN, tile.grid.y() / IN)
    corner = ((tile.top == 0) & (x > 0) & (y > 0)).sum() * tile.grid.cell_area / IN**2
    assert corner == pytest.approx(0.00083829, rel=0.01)


def test_bottom_fillet_left_for_the_finisher(tmp_path: Path) -> None:
    """RE 0.060 left for RE 0.030, same wall and floor: 0.0124264 in on the bisector, 0.00057942 in2
    (derived)."""
    RR, RF = 0.060, 0.030
    nc = along(Nc("in", clear=0.5).tool(1, "rough"), 0.125, -0.2, 1)
    along(nc.tool(2, "finish"), 0.0625, -0.2, 1)
    tools = [hj.tool(1, "bull", 0.25, RE=RR), hj.tool(2, "bull", 0.125, RE=RF)]
    job = write_job(
        tmp_path, nc, tools, low=(-0.1, -0.1, -0.4), high=(0.4, 0.1, 0), pitch=0.01, unit="in"
    )
    low, high = 1e-7, 0.1 * IN
    x, before = profile(job, low, high, as_of=1)
    _, after = profile(job, low, high)
    assert np.trapezoid(before - after, x) / IN**2 == pytest.approx(0.00057942, abs=2e-7)
    # On the bisector of wall and floor: heights of both fillets over the floor equal the distance.
    floor = -0.2 * IN
    legs = []
    for z in (before, after):
        k = int(np.flatnonzero(z - floor <= x)[0])
        f0, f1 = (z[k - 1] - floor) - x[k - 1], (z[k] - floor) - x[k]
        legs.append(x[k - 1] + (x[k] - x[k - 1]) * f0 / (f0 - f1))
    assert (legs[0] - legs[1]) * math.sqrt(2) / IN == pytest.approx(0.0124264, abs=1e-6)


# --- rules of the trade: common practice, no source ----------------------------------------------


def test_two_roughing_depths_leave_a_ledge(tmp_path: Path) -> None:
    """Upper depth leaves 7 thou, lower 10: a ledge 3 thou wide at the change of depth, at the foot
    of the upper pass's fillet; APMX shorter than the wall (common practice, no source)."""
    tool = hj.tool(1, "bull", 0.25, RE=0.060, APMX=0.3)
    nc = Nc("in", clear=0.5).tool(1, "rough")
    for allowance, z in ((0.007, -0.25), (0.010, -0.5)):
        along(along(nc, 0.125 + allowance, z, 1), 0.3, z, 1)
    job = write_job(
        tmp_path, nc, [tool], low=(-0.1, -0.1, -0.7), high=(0.42, 0.1, 0), pitch=0.001, unit="in"
    )
    result = job.run().as_dict()
    assert not any("above" in note for note in result["notes"])
    z = [height(job, x * IN, 0) / IN for x in (0.0069, 0.0071, 0.0099, 0.0101, 0.2)]
    upper = [0.060 - math.sqrt(0.060**2 - (0.060 - d) ** 2) for d in (0.0001, 0.0029)]
    assert z[0] == 0
    assert z[1] == pytest.approx(-0.25 + upper[0], abs=1e-9)
    assert z[2] == pytest.approx(-0.25 + upper[1], abs=1e-9)
    assert z[3] == pytest.approx(-0.5 + upper[0], abs=1e-9)
    assert z[4] == pytest.approx(-0.5, abs=1e-12)


def test_groove_of_a_ball_a_little_low(tmp_path: Path) -> None:
    """Half width sqrt(2 R e - e^2): R 62.5, e 0.5 thou: 7.89 thou (derived)."""
    nc = along(Nc("in", clear=0.5).tool(1, "floor"), 0, -0.1, 1)
    along(nc.tool(2, "ball"), 0.013, -0.1005, 1)
    tools = [hj.tool(1, "flat", 0.5), hj.tool(2, "ball", 0.125)]
    job = write_job(
        tmp_path, nc, tools, low=(-0.3, -0.1, -0.3), high=(0.3, 0.1, 0), pitch=0.01, unit="in"
    )
    found = job.trace((-0.2 * IN, 0), (0.2 * IN, 0)).as_dict()["steps"]
    half = math.sqrt(2 * 0.0625 * 0.0005 - 0.0005**2)
    assert half == pytest.approx(0.00789, abs=5e-6)
    assert [(s["from_pass"], s["to_pass"]) for s in found] == [(1, 2), (2, 1)]
    assert [s["x"] for s in found] == pytest.approx([0.013 - half, 0.013 + half], abs=1e-9 / IN)


def test_spring_pass_takes_nothing(tmp_path: Path) -> None:
    """A spring pass repeats the path (common practice, no source): no volume, no skim, no step."""
    nc = Nc().tool(1, "finish").stroke((-9, -3, -2), (9, 4, -2)).heading("spring")
    nc.stroke((-9, -3, -2), (9, 4, -2))
    job = write_job(tmp_path, nc, [hj.tool(1, "bull", 6, RE=1)])
    result = job.run().as_dict()
    assert result["passes"][1]["removed"] == 0
    assert result["skims"] == []
    assert {v["pass"] for v in result["levels"]} == {0, 1}
