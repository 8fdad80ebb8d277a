"""Helices: check values, the oracle, degenerate helices, rims and the minimum property."""

from __future__ import annotations

import math

import numpy as np
import oracle
import pytest
from from_python import from_python
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import BALL, BULL, CONE, FLAT, NAMES
from proud.kernels import helix, profile
from test_kernel_ramp import BALL5, CONE5, EXACT, FLAT5, RIM, TOOLS, tools

TURN = 2 * math.pi
g, helix_psi = from_python(profile.g), from_python(helix.helix_psi)


def rho_at(psi, D, A):
    return math.sqrt((A - D) ** 2 + 4 * A * D * math.sin(psi / 2) ** 2)


def height(tool, D, A, s0, s1, p):
    """Height over the low end; infinite out of reach. The height that the engine takes."""
    psi = helix_psi(*tool, D, A, s0, s1, p)
    if math.isnan(psi):
        return math.inf
    assert s0 <= psi <= s1
    return p * (psi - s0) + g(*tool, min(tool[1], rho_at(psi, D, A)))


@pytest.mark.parametrize(
    ("tool", "expected"),
    [  # derived: independent minimisation with 40 digits
        (FLAT5, 0.120469101373),
        (BALL5, 0.665634555342),
        (CONE5, 1.24921859481),
    ],
    ids=["flat", "ball", "cone"],
)
def test_check_values(tool, expected):
    assert height(tool, 10.0, 8.0, -1.0, 8.0, 0.25) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize("shape", range(4), ids=NAMES)
def test_random_columns_against_the_oracle(shape):
    rng = np.random.default_rng(200 + shape)
    many = oracle.random_tools(rng, shape, 3000)
    helices = oracle.random_helices(rng, many)
    expected, near = helices.heights(many)
    fields = helices.D, helices.A, helices.s0, helices.s1, helices.p
    columns = [tuple(map(float, c)) for c in zip(*fields, strict=True)]
    got = np.array([height(many.row(i), *c) for i, c in enumerate(columns)])
    hit = np.isfinite(got)
    np.testing.assert_array_equal(hit, near <= many.R)
    np.testing.assert_allclose(got[hit], expected[hit], rtol=0, atol=EXACT)
    psi = np.array([helix_psi(*many.row(i), *columns[i]) for i in np.flatnonzero(hit)])
    first, last = psi == helices.s0[hit], psi == helices.s1[hit]
    over_axis = (helices.A + helices.D <= many.R)[hit]
    assert (~hit).sum() > 400
    assert first.sum() > 300
    assert (~first & ~last & ~over_axis).sum() > 300
    assert over_axis.sum() > 300
    if shape != FLAT:  # a flat tool leaves with its trailing rim, or where the path starts
        assert last.sum() > 30
        assert (~first & ~last & over_axis).sum() > 80


QUARTER_FULL = [(-1.0, 1.0), (0.5, 0.5 + TURN), (-TURN, 0.0), (2.0, 4.0), (-0.3, -0.3)]


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
@pytest.mark.parametrize(("s0", "s1"), QUARTER_FULL)
@pytest.mark.parametrize(
    ("D", "A", "p"),
    [
        (10.0, 8.0, 0.0),  # level
        (10.0, 8.0, 1e-12),
        (10.0, 8.0, 40.0),  # steep: slope 5
        (0.0, 3.0, 0.25),  # on the axis
        (1e-12, 3.0, 0.25),
        (3.0, 3.0, 0.25),  # under the path
        (3.0, 3.0, 3.0),  # p = k n of the cone, and D = A
        (3.0, 2.0, 2.0),
        (2.0, 1e-9, 0.25),  # a path that hardly turns
        (2.0, 3.0, 1.0),  # D + A = R
        (1.0, 3.0, 0.6),  # D + A = d of the bull
        (1.2, 3.0, 0.3),  # the cutter covers the axis
        (2.0, 2.9, 0.05),
        (2.0, 2.9, 1.5),
        (12.0, 8.0, 0.25),  # |D - A| = d of the bull
        (9.0, 8.0, 0.25),  # |D - A| = d of the cone
    ],
)
def test_degenerate_helices_against_many_digits(tool, s0, s1, D, A, p):
    expected = float(oracle.helix_height_mp(tool, D, A, s0, s1, p, digits=25, samples=60))
    assert height(tool, D, A, s0, s1, p) == pytest.approx(expected, abs=EXACT)


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
@pytest.mark.parametrize("D", [13.0, 13.0 * (1 - 1e-12), 3.0, 3.0 * (1 + 1e-12)])
@pytest.mark.parametrize("p", [0.02, 0.25, 9.0])
def test_rim_columns_against_many_digits(tool, D, p):
    expected = float(oracle.helix_height_mp(tool, D, 8.0, -1.0, 2.0, p, samples=20))
    assert height(tool, D, 8.0, -1.0, 2.0, p) == pytest.approx(expected, abs=RIM)


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
def test_out_of_reach_is_nan(tool):
    for D in (13.0 + 1e-9, 3.0 - 1e-9):
        assert math.isnan(helix_psi(*tool, D, 8.0, -1.0, 2.0, 0.25))
    behind = helix_psi(*tool, 8.0, 8.0, 2.0, 4.0, 0.25)  # the chord at 2 rad is 13.5 mm
    assert math.isnan(behind)


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
def test_touching_the_rim_is_a_hit(tool):
    assert helix_psi(*tool, 13.0, 8.0, -1.0, 2.0, 0.25) == pytest.approx(0.0, abs=1e-7)


def test_corner_goes_over_into_ball_and_flat():
    rng = np.random.default_rng(8)
    as_ball, as_flat = (BULL, 5.0, 0.0, 5.0, 0.0), (BULL, 5.0, 5.0 - 5e-6, 5e-6, 0.0)
    compared = 0
    rows = rng.uniform((0, 0.5, -TURN, 0, 0.01), (14, 9, TURN, TURN, 5), (900, 5))
    for D, A, s0, span, p in rows.tolist():
        where = D, A, s0, s0 + span, p
        ball, flat = height(BALL5, *where), height(FLAT5, *where)
        if math.isinf(ball):
            continue
        compared += 1
        assert height(as_ball, *where) == pytest.approx(ball, abs=1e-11)
        assert -1e-12 <= height(as_flat, *where) - flat <= 5e-6 + 1e-12
    assert compared > 300


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
def test_a_whole_turn_more_is_the_same_place(tool):
    rng = np.random.default_rng(9)
    for D, A, s0, span, p in rng.uniform((0, 0.5, -3, 0, 0.01), (14, 9, 3, TURN, 5), (200, 5)):
        here = height(tool, D, A, s0, s0 + span, p)
        there = height(tool, D, A, s0 + 2 * TURN, s0 + 2 * TURN + span, p)
        assert there == pytest.approx(here, abs=1e-11)


@settings(max_examples=300, deadline=None)
@given(
    tool=tools(),
    off=st.floats(-1, 1),
    A=st.floats(1e-3, 30),
    s0=st.floats(-7, 7),
    span=st.floats(0, TURN),
    p=st.floats(0, 20),
    shares=st.lists(st.floats(0, 1), min_size=5, max_size=20),
)
def test_no_place_of_the_tip_is_lower(tool, off, A, s0, span, p, shares):
    R, s1 = tool[1], s0 + span
    D = abs(A + off * R)
    psi = helix_psi(*tool, D, A, s0, s1, p)
    found = height(tool, D, A, s0, s1, p)
    for at in (s0, s1, psi - 1e-4, psi + 1e-4, *(s0 + share * span for share in shares)):
        if not s0 <= at <= s1:
            continue
        rho = rho_at(at, D, A)
        if rho <= R * (1 - 1e-15):
            slack = 1e-12 * (p * TURN + R + A) + RIM * (abs(off) > 1 - 1e-9)
            assert found <= p * (at - s0) + g(*tool, rho) + slack


def test_shapes_are_those_of_the_kernels():
    assert (profile.FLAT, profile.BULL, profile.BALL, profile.CONE) == (FLAT, BULL, BALL, CONE)
