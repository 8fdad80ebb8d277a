"""First contact of a point and a ball: closed forms on analytic solids, and against dense search.

The solids are asked by a stand-in for the ray caster, written here: a block less boxes and
endless cylinders, by interval arithmetic.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from helpers_job import Nc, tool, write_job
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.probe import Target, contacts, probe

EXACT = 1e-7
"""A way is found to 1e-8 mm and better; places along a level or round a rim less sharply."""
R = 1.0
ROOT_2 = math.sqrt(2.0)


class Solid:
    """A block less cutters: each gives the stretch of every ray that lies inside it."""

    def __init__(self, low, high, *cutters):
        self.block, self.cutters = box(low, high), cutters

    def __call__(self, origins, directions):
        stretches = [cut(origins, directions) for cut in self.cutters]
        rows, counts = [], []
        for k, (low, high) in enumerate(self.block(origins, directions)):
            left = [(max(low, 0.0), high, -2 if low < 0 else -1)] if high > max(low, 0.0) else []
            for j, cut in enumerate(stretches):
                a, b = cut[k]
                if b > a:
                    left = [
                        part
                        for p, q, who in left
                        for part in ((p, min(q, a), who), (max(p, b), q, j if b > p else who))
                        if part[1] > part[0]
                    ]
            rows += left
            counts.append(len(left))
        offsets = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        return SimpleNamespace(
            offsets=offsets,
            enter=np.array([r[0] for r in rows]),
            leave=np.array([r[1] for r in rows]),
            enter_move=np.array([r[2] for r in rows], np.int32),
            enter_label=np.full(len(rows), -1, np.int8),
            enter_normal=np.full((len(rows), 3), np.nan),
        )


def box(low, high):
    def inside(origins, directions):
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (
                (np.asarray(low) - origins) / directions,
                (np.asarray(high) - origins) / directions,
            )
        near, far = np.minimum(a, b), np.maximum(a, b)
        along = directions == 0
        off = (along & ((origins <= low) | (origins >= high))).any(axis=1)
        near, far = np.where(along, -np.inf, near).max(axis=1), np.where(along, np.inf, far).min(1)
        near[off], far[off] = 1.0, -1.0
        return np.stack([near, far], axis=1)

    return inside


def cylinder(point, axis, radius):
    axis = np.asarray(axis, float) / math.hypot(*axis)

    def inside(origins, directions):
        w = origins - np.asarray(point)
        w = w - (w @ axis)[:, None] * axis
        v = directions - (directions @ axis)[:, None] * axis
        a, b, c = (v * v).sum(1), (w * v).sum(1), (w * w).sum(1) - radius**2
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(b * b - a * c)
            ends = np.stack([(-b - root) / a, (-b + root) / a], axis=1)
        ends[a < 1e-24] = [-np.inf, np.inf]
        ends[(a < 1e-24) & (c >= 0)] = [1.0, -1.0]
        return np.where(np.isnan(ends), [1.0, -1.0], ends)

    return inside


LOW, HIGH = (0.0, 0.0, -10.0), (20.0, 20.0, 0.0)
POCKET = Solid(LOW, HIGH, box((5, 5, -3), (15, 15, 1)))
GROOVE = Solid(LOW, HIGH, cylinder((10, 0, 0), (0, 1, 0), 3.0))
NARROW = Solid(LOW, HIGH, cylinder((10, 0, 0), (0, 1, 0), 0.6))
BORE = Solid(LOW, HIGH, cylinder((10, 10, 0), (0, 0, 1), 4.0))
SKEW = (math.cos(0.4), math.sin(0.4), 0.0)
NORMAL = np.array([-math.sin(0.4), math.cos(0.4), 0.0])
CENTER = np.array([10.0, 10.0, 2.9])
SCALLOPS = Solid(LOW, HIGH, *(cylinder(CENTER + k * 0.7 * NORMAL, SKEW, 3.0) for k in (-1, 0, 1)))
CREST = 2.9 - math.sqrt(9 - 0.35**2)
"""z of the crest between two scallops 0.7 apart."""

CASES = {
    "level floor": (POCKET, (10, 10, 5), (0, 0, -1), 7.0),
    "sliding down a wall": (POCKET, (14, 10, 5), (0, 0, -1), 7.0),
    "into a wall": (POCKET, (10, 10, -1.5), (1, 0, 0), 4.0),
    "an outside edge": (POCKET, (15.7, 10, 5), (0, 0, -1), 4.0),
    "off an outside edge": (POCKET, (14.7, 10, 5), (0, 0, -1), 5 - math.sqrt(1 - 0.09)),
    "the edge from aside": (POCKET, (10, 10, -0.4 + R), (1, 0, 0), 5 - math.sqrt(1 - 0.36)),
    "the block's corner": (POCKET, (-0.4, -0.3, 5), (0, 0, -1), 5 - math.sqrt(1 - 0.25)),
    "an edge at 45 degrees": (POCKET, (-3, 10, 3), (1, 0, -1), 3 * ROOT_2 - R),
    "a pocket's corner": (POCKET, (10, 10, 2), (1, 1, -1), 4 * math.sqrt(3)),
    "a fillet larger than the ball": (GROOVE, (11, 10, 5), (0, 0, -1), 5 + math.sqrt(3)),
    "the same from aside": (GROOVE, (10, 10, -1), (1, 0, 0), math.sqrt(3)),
    "a groove narrower than the ball": (NARROW, (10, 10, 5), (0, 0, -1), 5 - 0.8),
    "a bore's wall": (BORE, (10, 11, -5), (1, 0, 0), math.sqrt(8)),
    "a crest": (SCALLOPS, tuple(CENTER + 0.35 * NORMAL), (0, 0, -1), 2.9 - CREST - R),
    "beside a crest": (SCALLOPS, tuple(CENTER + 0.1 * NORMAL), (0, 0, -1), math.sqrt(4 - 0.01)),
    "nothing": (POCKET, (-3, 3, -1), (0, 0, -1), math.inf),
    "away": (POCKET, (10, 10, 2), (0, 0, 1), math.inf),
}


def touch(solid, at, toward, radius=R):
    d = np.array([toward], float) / math.hypot(*toward)
    return contacts(solid, np.array([at], float), d, radius)


@pytest.mark.parametrize("case", CASES)
def test_a_ball_by_closed_forms(case):
    """Derived: plane geometry of a circle against lines, corners and circles."""
    solid, at, toward, way = CASES[case]
    found = touch(solid, at, toward)
    assert found.way[0] == pytest.approx(way, abs=EXACT)
    if not math.isinf(way):
        assert found.move[0] >= -1
        center = np.array(at) + way * np.array(toward) / math.hypot(*toward)
        assert found.center[0] == pytest.approx(center, abs=EXACT)
        assert math.dist(found.touch[0], found.center[0]) == pytest.approx(R, abs=1e-12)
        assert found.normal[0] == pytest.approx((center - found.touch[0]) / R, abs=EXACT)
    else:
        assert np.isnan(found.touch).all()


def test_where_a_ball_touches():
    touched = touch(POCKET, (14.7, 10, 5), (0, 0, -1))
    assert touched.touch[0] == pytest.approx((15, 10, 0), abs=EXACT)
    assert touched.normal[0] == pytest.approx((-0.3, 0, math.sqrt(1 - 0.09)), abs=EXACT)
    touched = touch(POCKET, (-0.4, -0.3, 5), (0, 0, -1))
    assert touched.touch[0] == pytest.approx((0, 0, 0), abs=EXACT)
    touched = touch(NARROW, (10, 10, 5), (0, 0, -1))
    assert abs(touched.touch[0, 0] - 10) == pytest.approx(0.6, abs=EXACT)
    assert touched.move[0] in (-1, 0)
    assert touch(POCKET, (10, 10, 5), (0, 0, -1)).move[0] == 0
    assert touch(POCKET, (1, 1, 5), (0, 0, -1)).move[0] == -1


@pytest.mark.parametrize("at", [(10.0, 10.0, -3.5), (14.5, 10.0, -1.0), (10.0, 10.0, -2.5)])
def test_a_start_inside_the_metal(at):
    """The second lies half a millimetre into the wall, the third into the floor."""
    assert np.isnan(touch(POCKET, at, (0, 0, -1)).way[0])
    assert np.isnan(touch(POCKET, at, (1, 0, 0)).way[0])


def test_a_start_that_touches_is_not_inside():
    for at, toward, way in (
        ((10, 10, -2), (0, 0, -1), 0.0),
        ((14, 10, -1), (1, 0, 0), 0.0),
        ((14, 10, -1), (-1, 0, 0), 8.0),
        ((10, 10, -2), (0, 0, 1), math.inf),
    ):
        assert touch(POCKET, at, toward).way[0] == pytest.approx(way, abs=EXACT)
        point = tuple(np.array(at) + np.array(toward) * (1 if way == 0 else 0))
        if way == 0:
            assert touch(POCKET, point, toward, 0.0).way[0] == pytest.approx(0, abs=1e-12)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(
    x=st.floats(3, 17), y=st.floats(3, 17), radius=st.floats(0.2, 2.5), tilt=st.floats(-0.6, 0.6)
)
def test_a_ball_against_dense_search(x, y, radius, tilt):
    """No offset of a dense spiral comes to a shorter way, and the best comes near to it."""
    d = np.array([math.sin(tilt), 0.0, -math.cos(tilt)])
    start = np.array([x, y, 6.0])
    for solid in (POCKET, SCALLOPS):
        found = contacts(solid, start[None], d[None], radius).way[0]
        k = np.arange(6000) + 0.5
        rho, phi = radius * np.sqrt(k / 6000), 2.399963229728653 * k
        across = np.array([math.cos(tilt), 0.0, math.sin(tilt)])
        offsets = np.outer(rho * np.cos(phi), across) + np.outer(rho * np.sin(phi), [0.0, 1.0, 0.0])
        metal = solid(start + offsets - 5 * d, np.tile(d, (6000, 1)))
        first = np.diff(metal.offsets) > 0
        way = metal.enter[metal.offsets[:-1][first]] - 5 - np.sqrt(radius**2 - rho[first] ** 2)
        least = way.min(initial=math.inf)
        assert found <= least + 1e-8
        assert found >= least - 0.1 * radius


def test_many_balls_are_as_each_alone():
    names = ("level floor", "into a wall", "the block's corner", "nothing")
    starts = np.array([CASES[name][1] for name in names], float)
    directions = np.array([CASES[name][2] for name in names], float)
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    found = contacts(POCKET, starts, directions, R)
    for k, start in enumerate(starts):
        alone = contacts(POCKET, start[None], directions[k : k + 1], R)
        assert found.way[k] == alone.way[0]
        assert np.array_equal(found.touch[k], alone.touch[0], equal_nan=True)


# ---------------------------------------------------------------------------------------- of a job


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    nc = Nc().tool(1, "slot").stroke((-9, 0, -5), (9, 0, -5))
    return write_job(tmp_path_factory.mktemp("probe"), nc, [tool(1, "flat", 6.0)])


def test_a_probe_of_a_job_as_of_and_in_order(job):
    targets = [Target(0, 0), Target(0, 10, name="top"), Target(50, 0), Target(0, 0, -8.0)]
    found = probe(job, targets).as_dict()
    assert list(found) == ["unit", "stylus", "points"]
    heights = [p["z"] for p in found["points"]]
    assert heights[:2] == pytest.approx([-5, 0], abs=1e-9)
    assert heights[2:] == [None, None]
    assert [p["note"] for p in found["points"]] == [
        None, None, "meets nothing", "starts inside the metal",
    ]  # fmt: skip
    assert [p["pass"] for p in found["points"]] == [1, 0, None, None]
    assert [p["part_of_tool"] for p in found["points"]] == ["bottom", None, None, None]
    assert [p["name"] for p in found["points"]] == [None, "top", None, None]
    assert found["points"][0]["normal"] == [0, 0, 1]
    assert probe(job, targets[:1], as_of="line:2").as_dict()["points"][0]["z"] == 0
    assert probe(job, []).as_dict()["points"] == []


def test_from_below(job):
    (p,) = probe(job, [Target(0, 0, None, (0, 0, 2.0))], stylus=2.0).as_dict()["points"]
    assert p["z"] == pytest.approx(-12, abs=EXACT)
    assert p["center"] == pytest.approx([0, 0, -13], abs=EXACT)
    assert (p["pass"], p["toward"]) == (0, [0, 0, 1])


@pytest.mark.parametrize(
    ("target", "says"),
    [
        (Target(0, 0, None, (1, 0, 0)), "X,Y,Z"),
        (Target(0, 0, None, (0.1, 0, -1)), "X,Y,Z"),
        (Target(0, 0, 1, (0, 0, 0)), "points nowhere"),
    ],
)
def test_what_cannot_be_probed(job, target, says):
    with pytest.raises(BadInput, match=says):
        probe(job, [target])
    with pytest.raises(BadInput, match="diameter"):
        probe(job, [Target(0, 0)], stylus=-1.0)
