"""Rays in awkward places: tangent, through axes, rims and seams, along moves, far out, tiny."""

from __future__ import annotations

import math

import numpy as np
import oracle_cast as cast
import pytest
from oracle_compare import compare, pairs
from oracle_rays import FakeTool, World, arc_move, make_moves
from proud.grid import RAW
from proud.pieces import LABELS, line_piece
from proud.rays import Sweeps, rays
from proud.stock import Block

LOW, HIGH = (-50.0, -50.0, -50.0), (50.0, 50.0, 50.0)
TAU = 2 * math.pi
CYL = cast.flat(3.0, 5.0)
BALL = cast.bull(3.0, 3.0, 8.0)
BULL = cast.bull(3.0, 1.0, 8.0)
CONE = cast.cone("bottom", 0.0, 1.0, 3.0, 5.0)
ROUNDING = cast.corner_rounding(3.0, 1.0, 5.0)
SLOT = cast.t_slot(3.0, 1.0, 1.0)
LOLLI = cast.lollipop(3.0, 1.0)
DIAG = math.sqrt(0.5)


def line(start, end):
    return [{"start": start, "end": end}]


def arc(A, angle, turn, z0=0.0, z1=0.0, center=(0.0, 0.0)):
    return [arc_move(center, A, angle, turn, z0, z1)]


LEVEL = line((0, 0, 0), (10, 0, 0))
PLUNGE = line((0, 0, 4), (0, 0, -4))
STILL = line((0, 0, 0), (0, 0, 0))
RAMP = line((0, 0, 0), (10, 0, 4))
FLAT_RAMP = line((0, 0, 0), (10, 0, 1e-9))
QUARTER = arc(8, 0, math.pi / 2)
CIRCLE = arc(8, 0, TAU)
ROOT = math.sqrt(3**2 - 1)
X, Y, UP, DOWN = (1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, -1)

TABLE = {
    # name: (pieces, moves, through this point, way, gaps in the metal along way from it or None)
    "tangent to the flank": (CYL, LEVEL, (0, 3, 2), X, None),
    "tangent to the flank across": (CYL, LEVEL, (-3, 0, 2), Y, None),
    "1e-9 inside the flank": (CYL, LEVEL, (0, 3 - 1e-9, 2), X, None),
    "in the plane of the flat bottom": (CYL, LEVEL, (0, 0, 0), X, None),
    "in the plane of the top": (CYL, LEVEL, (0, 0, 5), X, None),
    "just over the flat bottom": (CYL, LEVEL, (0, 0, 1e-9), X, [(-3, 13)]),
    "grazing the rim": (CYL, LEVEL, (0, 3, 0), X, None),
    "grazing the rim, slanting": (CYL, STILL, (3, 0, 0), (DIAG, 0, DIAG), None),
    "through a rim": (CYL, STILL, (-3, 0, 0), (3, 0, 2.5), [(0, math.hypot(6, 5))]),
    "through the axis": (CYL, LEVEL, (0, 0, 2), X, [(-3, 13)]),
    "through the axis across": (CYL, LEVEL, (4, 0, 2), Y, [(-3, 3)]),
    "down the axis": (CYL, LEVEL, (10, 0, 0), UP, [(0, 5)]),
    "up the axis of an endless one": (cast.flat(3.0, math.inf), LEVEL, (0, 0, 0), UP, [(0, 50)]),
    "parallel to the axis at the rim": (CYL, LEVEL, (13, 0, 0), UP, None),
    "parallel to the move": (CYL, LEVEL, (0, 1, 2), X, [(-ROOT, 10 + ROOT)]),
    "back along the move": (CYL, LEVEL, (0, 1, 2), (-1, 0, 0), [(-10 - ROOT, ROOT)]),
    "parallel to a ramp": (BALL, RAMP, (0, 0, 3), (10, 0, 4), [(-3, 13 * math.hypot(1, 0.4))]),
    "along a plunge": (CYL, PLUNGE, (1, 1, 0), DOWN, [(-9, 4)]),
    "along a plunge at its wall": (CYL, PLUNGE, (3, 0, 0), DOWN, None),
    "across a plunge": (CYL, PLUNGE, (0, 1, 1), X, [(-ROOT, ROOT)]),
    "plunge with a cone, slanting": (CONE, PLUNGE, (0, 0, 0), (1, 0, 1), None),
    "no length": (CYL, STILL, (0, 1, 2), X, [(-ROOT, ROOT)]),
    "an arc of no turn": (CYL, arc(8, 0, 0.0), (8, 1, 2), X, [(-ROOT, ROOT)]),
    "an arc of no radius": (
        CYL,
        [{**STILL[0], "center": (0, 0), "turn": TAU}],
        (0, 1, 2),
        X,
        [(-ROOT, ROOT)],
    ),
    "R = RE": (BALL, LEVEL, (0, 0, 3), X, [(-3, 13)]),
    "R = RE at its lowest": (BALL, LEVEL, (5, 0, 0), UP, [(0, 8)]),
    "R = RE, tangent below": (BALL, LEVEL, (5, -5, 0), Y, None),
    "R = RE, at the seam": (BALL, LEVEL, (5, 0, 3), Y, [(-3, 3)]),
    "bull at its seam with the flat": (BULL, LEVEL, (5, 2, 0), UP, [(0, 8)]),
    "bull at its seam with the flank": (BULL, LEVEL, (0, 0, 1), X, [(-3, 13)]),
    "bull, slope of its round": (BULL, STILL, (2 + DIAG, 0, 1 - DIAG), (DIAG, 0, -DIAG), None),
    "tip radius 0, up the axis": (CONE, STILL, (0, 0, 0), UP, [(0, 8)]),
    "tip radius 0, through the point": (CONE, STILL, (0, 0, 0), X, None),
    "tip radius 0, on its ridge": (CONE, LEVEL, (5, 0, 0), UP, [(0, 8)]),
    "along a cone's generator": (CONE, STILL, (0, 0, 0), (DIAG, 0, DIAG), None),
    "beside a cone's generator": (CONE, STILL, (0, 0, 1e-3), (1, 0, 1), None),
    "along the generator of a ramp": (CONE, line((0, 0, 0), (4, 0, 4)), (0, 0, 0), (1, 0, 1), None),
    "ramp as steep as the cone": (CONE, line((0, 0, 0), (4, 0, 4)), (2, 0.5, -9), UP, None),
    "ramp with a truncated ball": (cast.bull(3.0, 3.0, 1.0), RAMP, (5, 0.4, -9), UP, None),
    "APMX below RE": (cast.bull(3.0, 2.0, 1.5), LEVEL, (5, 0, 0), UP, [(0, 1.5)]),
    "APMX below 2 RE": (cast.bull(3.0, 2.0, 3.0), RAMP, (5, 2.9, -9), UP, None),
    "no APMX, level ray": (cast.bull(3.0, 1.0, math.inf), LEVEL, (0, 0, 40), X, [(-3, 13)]),
    "no APMX, ramp, slanting": (cast.bull(3.0, 1.0, math.inf), RAMP, (0, 0.3, 9), (3, 1, 2), None),
    "start on the wall, going in": (CYL, LEVEL, (-3, 0, 2), X, [(0, 16)]),
    "dz = 1e-9, across": (CYL, FLAT_RAMP, (5, 0, 2), Y, [(-3, 3)]),
    "dz = 1e-9, up": (BALL, FLAT_RAMP, (5, 0, 0), UP, [(0, 8)]),
    "dz = 1e-9, slanting": (BULL, FLAT_RAMP, (5, 0, 2), (1, 2, 0.5), None),
    "dz = 1e-9 in the bottom's plane": (CYL, FLAT_RAMP, (5, 0, 5e-10), X, None),
    "dx = 1e-9, up": (BALL, line((0, 0, 0), (1e-9, 0, 4)), (1, 0.5, -9), UP, None),
    "dx = 1e-9, slanting": (CYL, line((0, 0, 0), (1e-9, 0, 4)), (0, 0.5, 2), (1, 0, 1), None),
    "dx = 1e-4, slanting": (CYL, line((0, 0, 0), (1e-4, 0, 9)), (0, 0.5, 4), (5, 1, 1), None),
    "arc from a quadrant": (CYL, QUARTER, (8, 0, 2), X, [(-3, 3)]),
    "arc to a quadrant": (CYL, QUARTER, (0, 8, 2), Y, [(-3, 3)]),
    "arc, ray on its end's side": (CYL, QUARTER, (0, 8, 2), X, None),
    "arc of minus a quarter": (CYL, arc(8, math.pi, -math.pi / 2), (0, 8, 2), Y, [(-3, 3)]),
    "half a circle": (CYL, arc(8, 0, math.pi), (0, 0, 2), X, [(-11, -5), (5, 11)]),
    "three quarters": (CYL, arc(8, 0, 1.5 * math.pi), (0, 0, 2), Y, [(-11, -5), (5, 11)]),
    "full circle through its axis": (CYL, CIRCLE, (0, 0, 2), X, [(-11, -5), (5, 11)]),
    "full circle clockwise": (CYL, arc(8, 1, -TAU), (0, 0, 2), Y, [(-11, -5), (5, 11)]),
    "full circle, its axis upright": (CYL, CIRCLE, (0, 0, 0), UP, []),
    "full circle, tangent inside": (CYL, CIRCLE, (0, 5, 2), X, [(-math.sqrt(96), math.sqrt(96))]),
    "full circle, tangent outside": (CYL, CIRCLE, (0, 11, 2), X, None),
    "circle that covers its axis": (CYL, arc(2, 0, TAU), (0, 0, 2), X, [(-5, 5)]),
    "circle that just covers its axis": (CYL, arc(3, 0, TAU), (0, 1, 2), X, None),
    "A = R, up the axis": (CYL, arc(3, 0, TAU), (0, 0, 0), UP, None),
    "tiny arc": (CYL, arc(1e-6, 0, TAU), (0, 0, 2), X, [(-3 - 1e-6, 3 + 1e-6)]),
    "tinier arc": (BULL, arc(1e-10, 1, TAU), (0, 1, 2), X, [(-ROOT, ROOT)]),
    "arc of a tiny turn": (BALL, arc(8, 0, 1e-9), (8, 0, 3), X, [(-3, 3)]),
    "full circle, slanting": (CYL, CIRCLE, (0, 0, 2), (1, 0.2, 0.1), None),
    "full helix of no pitch": (CYL, arc(8, 0, TAU, 0.0, 0.0), (0, 0, 2), X, [(-11, -5), (5, 11)]),
    "helix with dz = 1e-9": (CYL, arc(8, 0, TAU, 0.0, 1e-9), (0, 0, 2), X, None),
    "helix at its seam": (BALL, arc(8, 0, TAU, 0.0, 4.0), (8, 0, -9), UP, None),
    "cove at its inner rim": (ROUNDING, LEVEL, (5, 2, -9), UP, [(9, 15)]),
    "cove at its outer rim": (ROUNDING, LEVEL, (5, 3 - 1e-12, 3), Y, None),
    "cove, level ray": (ROUNDING, LEVEL, (5, 0, 0.6), Y, [(-2.2, 2.2)]),
    "T-slot from below": (SLOT, LEVEL, (5, 2, -9), UP, [(9, 10)]),
    "T-slot, plane of its upper face": (SLOT, LEVEL, (5, 0, 1), Y, None),
    "lollipop at its equator": (LOLLI, LEVEL, (5, 0, 3), Y, [(-3, 3)]),
    "lollipop, through its pole": (LOLLI, LEVEL, (5, 0, 0), UP, [(0, 3 + math.sqrt(8))]),
    "in the stock's face": (CYL, line((0, 0, 48), (10, 0, 48)), (0, 0, 50), X, None),
    "hardly not level": (CYL, LEVEL, (0, 0, 2), (1, 0, 1e-17), [(-3, 13)]),
    "hardly not upright": (CYL, LEVEL, (5, 0, 2), (1e-18, 1e-300, 1), [(-2, 3)]),
    "minus zero": (CYL, LEVEL, (0, 0, 2), (1, -0.0, -0.0), [(-3, 13)]),
}


POINTED = {
    "tip radius 0, up the axis", "tip radius 0, on its ridge", "tip radius 0, through the point",
    "along a cone's generator", "along the generator of a ramp",
}  # fmt: skip
"""Places on a point or a ridge, which has no one normal."""


def cast_one(pieces, rows, origin, way, box=(LOW, HIGH), chord=1e-4):
    tools, moves = {1: FakeTool(tuple(pieces))}, make_moves(rows)
    metal = rays([origin], [way], Sweeps(moves, tools, chord=chord), Block(*box, 1.0, ""))
    return metal, World.of(moves, tools, box)


def bound_of(pieces, rows, way, chord=1e-4):
    level, upright = way[2] == 0, way[0] == way[1] == 0
    flat = all(r["start"][2] == r["end"][2] for r in rows)
    if flat and (level or upright):
        return 0.0
    arcs = any("center" in r and r["turn"] for r in rows)
    return chord * arcs + 1e-4 * any(p.is_cove for p in pieces)


@pytest.mark.parametrize("name", TABLE)
def test_awkward_places(name: str) -> None:
    """By the oracle, and by hand where the place is no tie (derived)."""
    pieces, rows, point, way, gaps = TABLE[name]
    unit = np.array(way, dtype=float) / np.linalg.norm(way)
    origin = np.array(point) - 30.0 * unit
    metal, world = cast_one(pieces, rows, origin, way)
    bound = bound_of(pieces, rows, way)
    report = compare(metal, world, origin[None], unit[None], bound=bound, least_radius=1.0)
    faults = [f for f in report.faults if not (f.startswith("normal,") and name in POINTED)]
    assert not faults, faults
    if gaps is not None:
        ends = pairs(metal, 0).ravel() - 30.0
        want = np.array(gaps, dtype=float).ravel()
        walls = ends[(metal_moves(metal) >= 0)]
        want = want[np.abs(want) < 50] if name.startswith("up the axis") else want
        np.testing.assert_allclose(walls, want, rtol=0, atol=max(1e-9, bound), err_msg=name)


def metal_moves(metal):
    """Return who made each end, in order along the ray."""
    return np.c_[metal.enter_move, metal.leave_move].ravel()


@pytest.mark.parametrize("name", TABLE)
def test_awkward_places_ten_metres_away(name: str) -> None:
    """The same, all coordinates moved by 10 m: equal at a place moved by 4 ulp at most."""
    pieces, rows, point, way, _ = TABLE[name]
    far = np.array([1e4, -1e4, 1e4])
    moved = [
        r | {"start": np.add(r["start"], far), "end": np.add(r["end"], far)}
        | ({"center": tuple(np.add(r["center"], far[:2]))} if "center" in r else {})
        for r in rows
    ]  # fmt: skip
    unit = np.array(way, dtype=float) / np.linalg.norm(way)
    origin = np.array(point) + far - 30.0 * unit
    box = tuple(map(float, far + LOW)), tuple(map(float, far + HIGH))
    metal, world = cast_one(pieces, moved, origin, way, box)
    bound = bound_of(pieces, rows, way) + 2e-11  # the ends of an arc are that far from its radius
    report = compare(metal, world, origin[None], unit[None], bound=bound, least_radius=1e-3)
    faults = [f for f in report.faults if not f.startswith("normal,")]
    assert not faults, faults


def test_many_rays_a_trifle_off_awkward_places() -> None:
    """Each place of the table, 24 rays moved and turned by a few ulp or by little."""
    rng = np.random.default_rng(4)
    faults = []
    for name, (pieces, rows, point, way, _) in TABLE.items():
        unit = np.array(way, dtype=float) / np.linalg.norm(way)
        step = rng.choice([1e-15, 1e-13, 1e-10, 1e-7], (24, 1))
        origins = np.array(point) - 30.0 * unit + rng.normal(size=(24, 3)) * step
        ways = unit + rng.normal(size=(24, 3)) * step * rng.choice([0, 1], (24, 1))
        ways /= np.linalg.norm(ways, axis=1)[:, None]
        tools, moves = {1: FakeTool(tuple(pieces))}, make_moves(rows)
        metal = rays(origins, ways, Sweeps(moves, tools), Block(LOW, HIGH, 1.0, ""))
        world = World.of(moves, tools, (LOW, HIGH))
        # A ray along the surface itself: the ends' places are worth 1e-12 mm, which is some ulp
        # of the products of coordinates.
        along = 1e-12 if "generator" in name else 0.0
        bounds = np.array([bound_of(pieces, rows, w) for w in ways]) + along
        report = compare(metal, world, origins, ways, bound=bounds, least_radius=1.0)
        told = ("normal,", "label,") if "1e-9" in name else ("normal,",)  # where edge and face meet
        faults += [f"{name}: {f}" for f in report.faults if not f.startswith(told)]
    assert not faults, "\n".join(faults[:6])


def test_coincident_passes_belong_to_the_earliest() -> None:
    """The same path twice, and back: each end is the first move's."""
    rows = [*LEVEL, *LEVEL, *line((10, 0, 0), (0, 0, 0))]
    for way in (X, Y, UP, (1, 2, 0.5)):
        unit = np.array(way, dtype=float) / np.linalg.norm(way)
        metal, _ = cast_one(BULL, rows, np.array((5, 0.3, 2)) - 20 * unit, way)
        moves = metal_moves(metal)
        assert set(moves[moves >= 0]) == {0}
        assert (moves >= 0).sum() == 2


def test_a_ray_within_a_gap_or_metal() -> None:
    """Origins in the gap, in metal, on a wall, and spans that end inside either."""
    tools, moves = {1: FakeTool(tuple(CYL))}, make_moves(LEVEL)
    sweeps, stock = Sweeps(moves, tools), Block(LOW, HIGH, 1.0, "")
    cases = {
        ((5, 0, 2), (0.0, math.inf)): [(8, 45)],
        ((-10, 0, 2), (0.0, math.inf)): [(0, 7), (23, 60)],
        ((-3, 0, 2), (0.0, math.inf)): [(16, 53)],
        ((-10, 0, 2), (2.0, 5.0)): [(2, 5)],
        ((-10, 0, 2), (8.0, 12.0)): [],
        ((-10, 0, 2), (-100.0, 10.0)): [(-40, 7)],
        ((60, 0, 2), (0.0, math.inf)): [],
    }
    for (origin, span), want in cases.items():
        metal = rays([origin], [X], sweeps, stock, span=span)
        np.testing.assert_allclose(pairs(metal, 0), np.reshape(want, (-1, 2)), atol=1e-12)
    metal = rays([(-10, 0, 2)], [X], sweeps, stock)
    assert metal_moves(metal).tolist() == [-2, 0, 0, RAW]
    assert np.isnan(metal.enter_normal[0]).all()
    assert metal.leave_normal.tolist() == [[1, 0, 0], [1, 0, 0]]
    assert [LABELS[k] if k >= 0 else "" for k in metal.leave_label] == ["side", ""]


def test_neck_shank_and_holder_take_nothing() -> None:
    behind = [
        line_piece(w, 5.0 + k, 9.0, 6.0 + k, 9.0) for k, w in enumerate(("neck", "shank", "holder"))
    ]
    for way, point in ((X, (0, 0, 6.5)), (UP, (5, 4, 0))):
        origin = np.array(point) - 30.0 * np.array(way)
        metal, _ = cast_one([*CYL, *behind], LEVEL, origin, way)
        assert len(metal.enter) == 1
        assert metal_moves(metal)[-1] == RAW
