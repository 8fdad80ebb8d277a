"""Sloped lines: check values, the oracle, degenerate lines, rims and the minimum property."""

from __future__ import annotations

import math

import numpy as np
import oracle
import pytest
from from_python import from_python
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import BALL, BULL, CONE, FLAT, NAMES
from proud.kernels import profile, ramp

g, ramp_t = from_python(profile.g), from_python(ramp.ramp_t)

EXACT = 1e-9
"""mm: what every kernel is held to away from the rim; 1e-6 is promised."""
RIM = 4e-8
"""mm: a rim has no finite slope, and one ulp u of a distance near R moves the half chord there by
sqrt(2 R u) = 9.4e-8 mm at R = 5. Held to under half of that; 4e-9 times the path's slope (over 1)
was measured for bull and ball, 4e-15 for flat and cone."""

FLAT5 = (FLAT, 5.0, 5.0, 0.0, 0.0)
BALL5 = (BALL, 5.0, 0.0, 5.0, 0.0)
BULL5 = (BULL, 5.0, 4.0, 1.0, 0.0)
CONE5 = (CONE, 5.0, 1.0, 0.0, 1.0)
TOOLS = (FLAT5, BULL5, BALL5, CONE5)


def height(tool, a, b, length, rise):
    """Height over the low end; infinite out of reach. The height that the engine takes."""
    R = tool[1]
    nearest = min(max(a, 0.0), length)
    if math.hypot(nearest - a, b) > R:
        return math.inf
    t = ramp_t(*tool, a, b, length, rise)
    assert 0.0 <= t <= length
    return rise * (t / length) + g(*tool, min(R, math.hypot(t - a, b)))


@pytest.mark.parametrize(
    ("tool", "b", "expected"),
    [  # derived: independent minimisation with 40 digits; R 5, L 20, z 0 to 4, column at a = 10
        (FLAT5, 3.0, 1.2),
        (BALL5, 3.0, 7 - 4 * math.sqrt(1.04)),
        (BALL5, 3.0, 2.92078438913),
        (CONE5, 3.0, 1 + 3 * math.sqrt(0.96)),
        (CONE5, 3.0, 3.93938769134),
        (CONE5, 0.5, 2 - 0.2 * math.sqrt(0.75)),
        (CONE5, 0.5, 1.82679491924),
        ((CONE, 5.0, 1.0, 0.0, 0.1), 3.0, 1.6),
        (BULL5, 4.999, 2.95101945866),
    ],
)
def test_check_values(tool, b, expected):
    assert height(tool, 10.0, b, 20.0, 4.0) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize("shape", range(4), ids=NAMES)
def test_random_columns_against_the_oracle(shape):
    rng = np.random.default_rng(100 + shape)
    tools = oracle.random_tools(rng, shape, 2500)
    lines = oracle.random_lines(rng, tools)
    expected, near = lines.heights(tools)
    columns = list(zip(lines.a, lines.b, lines.length, lines.rise, strict=True))
    got = np.array([height(tools.row(i), *map(float, c)) for i, c in enumerate(columns)])
    hit = np.isfinite(got)
    np.testing.assert_array_equal(hit, near <= tools.R)
    np.testing.assert_allclose(got[hit], expected[hit], rtol=0, atol=EXACT)
    t = np.array([ramp_t(*tools.row(i), *map(float, columns[i])) for i in np.flatnonzero(hit)])
    at_low, at_high = t == 0.0, t == lines.length[hit]
    assert hit.sum() > 1500
    assert (~hit).sum() > 400
    assert at_low.sum() > 300
    # A flat tool leaves with its trailing rim: never at the high end.
    assert at_high.sum() > (-1 if shape == FLAT else 100)
    assert (~at_low & ~at_high).sum() > 300


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
@pytest.mark.parametrize(
    ("a", "b", "length", "rise"),
    [
        (0.0, 3.0, 1e-9, 4.0),  # as good as a plunge
        (2.0, 3.0, 1e-9, 1e-3),
        (10.0, 0.0, 20.0, 4.0),  # under the path
        (10.0, 1.0, 20.0, 4.0),  # b = d of the cone
        (10.0, 4.0, 20.0, 4.0),  # b = d of the bull
        (10.0, math.nextafter(4.0, 0), 20.0, 4.0),
        (10.0, math.nextafter(4.0, 5), 20.0, 4.0),
        (10.0, 0.0, 20.0, 20.0),  # slope = k of the cone
        (10.0, 3.0, 20.0, 20.0),
        (10.0, 3.0, 20.0, math.nextafter(20.0, 0)),
        (10.0, 3.0, 20.0, 1e-9),  # as good as level
        (10.0, 4.5, 20.0, 1e-18),
        (10.0, 4.5, 1e-3, 1e-3),  # short, out of reach along
        (-3.0, 4.0, 20.0, 4.0),  # on the rim of the low end
        (0.0, 4.0, 20.0, 4.0),
        (20.0, 4.0, 20.0, 4.0),
        (23.0, 3.0, 20.0, 4.0),
        (10.0, 2.0, 20.0, 1e6),  # as good as vertical
    ],
)
def test_degenerate_lines_against_many_digits(tool, a, b, length, rise):
    expected = oracle.line_height_mp(tool, a, b, length, rise)
    assert height(tool, a, b, length, rise) == pytest.approx(float(expected), abs=EXACT)


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
@pytest.mark.parametrize("b", [5.0, 5.0 * (1 - 1e-12), math.nextafter(5.0, 0)])
@pytest.mark.parametrize("a", [0.0, 7.0, 20.0])
@pytest.mark.parametrize("rise", [0.02, 4.0, 300.0])
def test_rim_columns_against_many_digits(tool, b, a, rise):
    expected = float(oracle.line_height_mp(tool, a, b, 20.0, rise))
    assert height(tool, a, b, 20.0, rise) == pytest.approx(expected, abs=RIM)


@pytest.mark.parametrize("tool", TOOLS, ids=NAMES)
def test_column_past_the_rim_by_rounding_is_on_it(tool):
    past = math.nextafter(tool[1], 9)
    on_rim = height(tool, 7.0, tool[1], 20.0, 4.0)
    t = ramp_t(*tool, 7.0, past, 20.0, 4.0)
    assert 4.0 * (t / 20.0) + g(*tool, tool[1]) == pytest.approx(on_rim, abs=RIM)


@pytest.mark.parametrize("corner", [5.0, 5e-6], ids=["as-ball", "as-flat"])
def test_bull_goes_over_into_ball_and_flat(corner):
    rng = np.random.default_rng(7)
    bull = (BULL, 5.0, 5.0 - corner, corner, 0.0)
    special, off = (BALL5, 1e-12) if corner == 5.0 else (FLAT5, corner)
    compared = 0
    for a, b, rise in rng.uniform((-5, 0, 0.01), (25, 5, 60), (300, 3)):
        line = float(a), float(b), 20.0, float(rise)
        if math.isfinite(height(special, *line)):
            assert 0 <= height(bull, *line) - height(special, *line) + 1e-12 <= off + 2e-12
            compared += 1
    assert compared > 200


def test_corner_solver_needs_few_steps(monkeypatch):
    solver = getattr(ramp._bull_v, "py_func", ramp._bull_v)  # the plain function, jitted or not
    rng = np.random.default_rng(3)
    cases = rng.uniform((0.01, 0.01, 0.001, 0), (5, 5, 0.999, 1), (2000, 4))
    monkeypatch.setattr(ramp, "MOST_STEPS", 6)
    for d, rc, sine, share in cases.tolist():
        cosine, b = math.sqrt(1 - sine * sine), (d + rc) * share
        v = solver(d, rc, sine, cosine, b)
        left = d * v / math.hypot(1, cosine * v) + rc * sine * v
        assert left == pytest.approx(b, rel=1e-11, abs=1e-12)


SHAPES = st.sampled_from(range(4))
PARTS = st.floats(0.01, 0.99)


@st.composite
def tools(draw):
    shape, R, part = draw(SHAPES), draw(st.floats(0.1, 20)), draw(PARTS)
    if shape == FLAT:
        return FLAT, R, R, 0.0, 0.0
    if shape == BALL:
        return BALL, R, 0.0, R, 0.0
    if shape == BULL:
        return BULL, R, R - R * part, R * part, 0.0
    return CONE, R, R * draw(st.sampled_from([0.0, part])), 0.0, draw(st.floats(0.02, 30))


@settings(max_examples=300, deadline=None)
@given(
    tool=tools(),
    along=st.floats(-1, 2),
    aside=st.floats(0, 1),
    length=st.floats(1e-6, 50),
    slope=st.floats(1e-6, 1e3),
    shares=st.lists(st.floats(0, 1), min_size=5, max_size=20),
)
def test_no_place_of_the_tip_is_lower(tool, along, aside, length, slope, shares):
    R, rise = tool[1], slope * length
    a, b = along * (length + R), aside * R
    found = height(tool, a, b, length, rise)
    if math.isinf(found):
        return
    t = ramp_t(*tool, a, b, length, rise)
    assert found == rise * (t / length) + g(*tool, min(R, math.hypot(t - a, b)))
    for share in (*shares, t / length - 1e-4, t / length + 1e-4):
        rho = math.hypot(share * length - a, b)
        if 0 <= share <= 1 and rho <= R:
            slack = 1e-12 * (rise + R) + RIM * (aside > 1 - 1e-9)
            assert found <= rise * share + g(*tool, rho) + slack
