"""Random programs against a slow oracle of their own, another parser, and rubbish."""

from __future__ import annotations

import contextlib
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from gcodeparser import parse_gcode_lines
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.moves import ARC
from proud.program import ReaderSettings, read_program, read_text

SETTINGS = ReaderSettings(unit="mm", tools={1: "flat 10 mm"}, stock_top=0.0)
HEAD = "G21 G90 T1 M6\nG43 H1 S1000 M3 F100\nG0 X0 Y0 Z0\n"

numbers = st.integers(-9999, 9999).map(lambda n: Fraction(n, 1000))
axes = st.dictionaries(st.sampled_from("XYZ"), numbers, min_size=1)
modes = st.sets(st.sampled_from(["unit", "distance", "motion"]))
line = st.tuples(modes, st.tuples(st.booleans(), st.booleans(), st.booleans()), axes)


def written(value: Fraction) -> str:
    return f"{float(value):.3f}"


@given(st.lists(line, min_size=1, max_size=30))
@settings(deadline=None, max_examples=150)
def test_plain_program_ends_where_exact_arithmetic_says(lines: list) -> None:
    """Oracle: rational arithmetic, each word applied on its own."""
    scale, absolute, rapid = Fraction(1), True, False
    at = {a: Fraction(0) for a in "XYZ"}
    text, expected = [HEAD + "G1 X0"], [(0.0, 0.0, 0.0), (0.0, 0.0, 0.0)]
    rapids = [True, False]
    for said, (inch, increment, fast), target in lines:
        words = []
        if "unit" in said:
            scale = Fraction("25.4") if inch else Fraction(1)
            words.append("G20" if inch else "G21")
        if "distance" in said:
            absolute = not increment
            words.append("G91" if increment else "G90")
        if "motion" in said:
            rapid = fast
            words.append("G0" if fast else "G1")
        for axis, value in target.items():
            at[axis] = value * scale + (0 if absolute else at[axis])
            words.append(axis + written(value))
        text.append(" ".join(words[::-1]))
        expected.append(tuple(float(at[a]) for a in "XYZ"))
        rapids.append(rapid)
    found = read_text("\n".join(text), SETTINGS).moves
    assert [tuple(row) for row in found.end.tolist()] == expected
    assert [tuple(row) for row in found.start.tolist()[1:]] == expected[:-1]
    assert found.rapid.tolist() == rapids
    assert not found.feed[found.rapid].any()
    assert (found.feed[~found.rapid] == 100).all()


angles = st.integers(0, 3599).map(lambda tenth: math.radians(tenth / 10))


@given(angles, angles, st.integers(1, 50), st.booleans(), st.booleans())
@settings(deadline=None, max_examples=200)
def test_arc_reaches_its_end(
    first: float, last: float, radius: int, clockwise: bool, by_radius: bool
) -> None:
    """Derived: turning the start about the centre by the angle gives the end; R and I J agree."""
    ax, ay = round(radius * math.cos(first), 4), round(radius * math.sin(first), 4)
    bx, by = round(radius * math.cos(last), 4), round(radius * math.sin(last), 4)
    span = (first - last if clockwise else last - first) % math.tau
    g = "G2" if clockwise else "G3"
    # The end of a short chord, or of one near the diameter, says little about the centre.
    by_radius = by_radius and 0.1 < span < math.tau - 0.1 and abs(span - math.pi) > 0.1
    how = f"R{radius if span < math.pi else -radius}" if by_radius else f"I{-ax:.4f} J{-ay:.4f}"
    text = f"{HEAD}G0 X{ax:.4f} Y{ay:.4f}\n{g} X{bx:.4f} Y{by:.4f} {how}"
    found = read_text(text, SETTINGS).moves[-1:]
    assert found.kind.tolist() == [ARC]
    assert 0 < abs(found.turn[0]) <= math.tau
    assert (found.turn[0] < 0) == clockwise
    assert found.center[0] == pytest.approx((0, 0), abs=0.01 if by_radius else 1e-9)
    arm = found.start[0, :2] - found.center[0]
    cos, sin = math.cos(found.turn[0]), math.sin(found.turn[0])
    reached = found.center[0] + np.array([[cos, -sin], [sin, cos]]) @ arm
    assert math.dist(reached, (bx, by)) < 2.5e-4
    if (ax, ay) == (bx, by):
        assert abs(found.turn[0]) == math.tau
    elif 0.01 < span < math.tau - 0.01:
        assert abs(found.turn[0]) == pytest.approx(span, abs=2e-3)


def test_another_parser_reads_the_same_end_points() -> None:
    """gcodeparser (PyPI), which knows nothing of modes: every block names its G and all axes."""
    rng = np.random.default_rng(7)
    points = np.round(rng.uniform(-50, 50, (200, 3)), 4)
    points[0] = 0
    body = [
        f"G{1 if n else 0} X{x:.4f} Y{y:.4f} Z{z:.4f}"
        for n, (x, y, z) in enumerate(points.tolist())
    ]
    text = HEAD.replace("G0 X0 Y0 Z0\n", "") + "\n".join(body) + "\n"
    other = [
        (move.params["X"], move.params["Y"], move.params["Z"])
        for move in parse_gcode_lines(text)
        if move.command in {("G", 0), ("G", 1)}
    ]
    assert len(other) == 200
    assert [tuple(row) for row in read_text(text, SETTINGS).moves.end.tolist()] == other


WORDS = [*"GMXYZIJRFSTHQLPKNO", "G2", "G3", "G81", "G83", "G91", "G28", "M6", "T1", "M30", "%", "("]
rubbish = st.lists(
    st.one_of(
        st.sampled_from([*WORDS, ")", ";", "/", "\n", " ", "[", "#", ".", "-", "é", "\x85"]),
        st.integers(-99, 9999).map(str),
        st.floats(-50, 50).map(lambda v: f"{v:.2f}"),
        st.text(max_size=3),
    ),
    max_size=40,
).map("".join)


@given(rubbish, st.booleans())
@settings(deadline=None, max_examples=400)
def test_rubbish_is_an_error_with_a_place_or_a_program(text: str, headed: bool) -> None:
    with contextlib.suppress(BadInput):
        read_text((HEAD + "G1 X1\n" if headed else "") + text, SETTINGS)


@given(st.binary(max_size=60), st.booleans())
@settings(
    deadline=None, max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_random_bytes_are_an_error_or_a_program(tmp_path: Path, data: bytes, headed: bool) -> None:
    path = tmp_path / "part.nc"
    path.write_bytes((HEAD.encode() + b"G1 X1\n" if headed else b"") + data)
    with contextlib.suppress(BadInput):
        assert len(read_program(path, SETTINGS).moves) >= 2
