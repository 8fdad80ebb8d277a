"""Pieces, contours and their offsets; the offsets also against shapely's chorded buffer."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from proud.contour import Contour, Piece, crossings, distance, meet
from proud.passes.offset import offset

CHORD_MM = 1e-4
"""Sagitta of the chords given to shapely."""


def polygon(*points: tuple[float, float]) -> Contour:
    ends = [*points[1:], points[0]]
    return Contour(
        tuple(Piece(a, b, source=i) for i, (a, b) in enumerate(zip(points, ends, strict=True))),
        True,
    )


def circle(x: float, y: float, radius: float, sign: float = 1.0) -> Contour:
    start = (x + radius, y)
    return Contour((Piece(start, start, (x, y), sign * 2 * math.pi),), True)


def bulged(a: tuple[float, float], b: tuple[float, float], turn: float, source: int = 0) -> Piece:
    """An arc from a to b that turns by `turn`, by the half-chord form; a line for 0."""
    if abs(turn) < 1e-3:
        return Piece(a, b, source=source)
    mx, my, dx, dy = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2, b[0] - a[0], b[1] - a[1]
    rise = 0.5 / math.tan(turn / 2)
    return Piece(a, b, (mx - rise * dy, my + rise * dx), turn, source)


SQUARE = polygon((0, 0), (20, 0), (20, 10), (0, 10))


def area(contours: list[Contour]) -> float:
    return math.fsum(c.area() for c in contours)


# ---------------------------------------------------------------------------------------- pieces


def test_arc_of_a_quarter():
    arc = Piece((5.0, 0.0), (0.0, 5.0), (0.0, 0.0), math.pi / 2)
    assert arc.radius == 5.0
    assert arc.length == pytest.approx(2.5 * math.pi, rel=1e-15)
    half = math.sqrt(0.5)
    assert arc.at(0.5) == pytest.approx((5 * half, 5 * half), abs=1e-14)
    assert arc.heading(0) == (0.0, 1.0)
    assert arc.heading(1) == (-1.0, 0.0)
    assert arc.reversed().heading(0) == (1.0, 0.0)
    assert arc.between(0.25, 0.75).turn == math.pi / 4
    assert arc.box() == pytest.approx((0, 0, 5, 5), abs=1e-14)
    assert arc.part_of((9.0, 9.0)) == pytest.approx(0.5, abs=1e-15)
    assert arc.part_of((5.0, -1.0)) == 0.0
    assert arc.part_of((-1.0, 5.0)) == 1.0


def test_box_of_an_arc_reaches_its_far_sides():
    arc = Piece((0.0, -5.0), (0.0, 5.0), (0.0, 0.0), math.pi)
    assert arc.box() == pytest.approx((0, -5, 5, 5), abs=1e-14)


def test_area_and_length_of_a_slot_are_closed_forms():
    # derived: 2 R L + pi R^2 (checks.md of plane geometry), R 3, L 50
    slot = Contour(
        (
            Piece((0, -3), (50, -3)),
            Piece((50, -3), (50, 3), (50, 0), math.pi),
            Piece((50, 3), (0, 3)),
            Piece((0, 3), (0, -3), (0, 0), math.pi),
        ),
        True,
    )
    assert slot.area() == pytest.approx(300 + 9 * math.pi, rel=1e-15)
    assert slot.length == pytest.approx(100 + 6 * math.pi, rel=1e-15)
    assert slot.reversed().area() == pytest.approx(-slot.area(), rel=1e-15)


def test_chords_keep_their_sagitta():
    arc = Piece((30.0, 0.0), (-30.0, 0.0), (0.0, 0.0), math.pi)
    points = [*arc.chords(0.01), arc.end]
    middles = [
        math.hypot((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in itertools.pairwise(points)
    ]
    assert 0.005 < 30 - min(middles) <= 0.01


@pytest.mark.parametrize(
    ("a", "b", "points"),
    [
        (Piece((0, 0), (10, 0)), Piece((4, -1), (4, 5)), [(4, 0)]),
        (Piece((0, 0), (10, 0)), Piece((4, 1), (4, 5)), []),
        (Piece((0, 0), (10, 0)), Piece((0, 1), (10, 1)), []),
        (Piece((0, 0), (10, 0)), Piece((6, 0), (20, 0)), [(6, 0), (10, 0)]),
        (Piece((0, 0), (10, 0)), circle(5, 0, 2).pieces[0], [(3, 0), (7, 0)]),
        (Piece((0, 2), (10, 2)), circle(5, 0, 2).pieces[0], [(5, 2)]),
        (Piece((0, 2.1), (10, 2.1)), circle(5, 0, 2).pieces[0], []),
        (circle(0, 0, 5).pieces[0], circle(6, 0, 5).pieces[0], [(3, -4), (3, 4)]),
        (circle(0, 0, 5).pieces[0], circle(10, 0, 5).pieces[0], [(5, 0)]),
        (circle(0, 0, 5).pieces[0], circle(11, 0, 5).pieces[0], []),
        (circle(0, 0, 5).pieces[0], circle(0, 0, 4).pieces[0], []),
    ],
)
def test_meet(a, b, points):
    for one, other, pick in ((a, b, 0), (b, a, 1)):
        found = sorted(
            {
                tuple(round(v, 9) + 0.0 for v in (one, other)[pick].at(m[pick]))
                for m in meet(one, other)
            }
        )
        assert found == [tuple(map(float, p)) for p in sorted(points)]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.floats(-4.5, 4.5), min_size=4, max_size=4),
    st.floats(-15, 15),
    st.floats(-15, 15),
)
def test_contains_and_distance_against_shapely(turns, x, y):
    corners = [(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)]
    ends = [*corners[1:], corners[0]]
    contour = Contour(
        tuple(bulged(a, b, t) for a, b, t in zip(corners, ends, turns, strict=True)), True
    )
    assume(not crossings([contour]))
    shape = shapely.Polygon(contour.points(CHORD_MM))
    ring = shape.exterior.distance(shapely.Point(x, y))
    assert distance([contour], [(x, y)])[0] == pytest.approx(ring, abs=CHORD_MM)
    assume(ring > CHORD_MM)
    assert contour.contains((x, y)) == shape.contains(shapely.Point(x, y))


def test_crossings_of_a_figure_of_eight_and_none_of_a_square():
    eight = polygon((0, 0), (10, 10), (10, 0), (0, 10))
    assert crossings([eight]) == [(5.0, 5.0)]
    assert crossings([SQUARE]) == []
    assert len(crossings([SQUARE, circle(0, 5, 1)])) == 2
    assert crossings([SQUARE, circle(10, 5, 1)]) == []


def test_walk_goes_round_and_begun_at_keeps_all():
    begun = SQUARE.begun_at(0, 0.5)
    assert begun.start == (10.0, 0.0)
    assert begun.length == pytest.approx(60, rel=1e-15)
    assert begun.end == begun.start
    walked = SQUARE.walk(65.0)
    assert walked[-1].end == (5.0, 0.0)
    assert math.fsum(p.length for p in walked) == pytest.approx(65, rel=1e-15)
    assert SQUARE.begun_at(1, 1e-9).start == (20.0, 0.0)


# --------------------------------------------------------------------------------------- offsets


def test_offset_inside_a_rectangle():
    (path,) = offset([SQUARE], 3.0)
    assert path.area() == pytest.approx(14 * 4, rel=1e-14)
    assert [p.start for p in path.pieces] == [(3, 3), (17, 3), (17, 7), (3, 7)]
    assert not any(p.turn for p in path.pieces)


def test_offset_outside_a_rectangle_is_perimeter_and_a_circle():
    (path,) = offset([SQUARE.reversed()], 3.0)
    assert path.length == pytest.approx(60 + 6 * math.pi, rel=1e-14)
    assert -path.area() == pytest.approx(200 + 60 * 3 + 9 * math.pi, rel=1e-14)
    arcs = [p for p in path.pieces if p.turn]
    assert sorted(p.center for p in arcs) == [(0, 0), (0, 10), (20, 0), (20, 10)]
    assert [p.radius for p in arcs] == pytest.approx([3] * 4, rel=1e-15)
    assert [p.turn for p in arcs] == pytest.approx([-math.pi / 2] * 4, rel=1e-15)


def test_offsets_of_a_circle():
    (inner,) = offset([circle(1, 2, 5)], 2.0)
    assert inner.pieces[0].radius == pytest.approx(3, rel=1e-15)
    assert inner.area() == pytest.approx(9 * math.pi, rel=1e-14)
    (outer,) = offset([circle(1, 2, 5, -1.0)], 2.0)
    assert -outer.area() == pytest.approx(49 * math.pi, rel=1e-14)
    assert offset([circle(1, 2, 5)], 5.0) == []
    assert offset([circle(1, 2, 5)], 6.0) == []


def test_ring_between_two_circles_with_a_wall_too_thin():
    both = [circle(0, 0, 10), circle(0, 0, 4, -1.0)]
    paths = offset(both, 2.0)
    assert sorted(round(c.area() / math.pi, 9) for c in paths) == [-36.0, 64.0]
    assert offset(both, 3.5) == []


def test_offset_falls_apart_at_a_neck():
    shape = polygon(
        (0, 0),
        (10, 0),
        (10, 4),
        (14, 4),
        (14, 0),
        (24, 0),
        (24, 10),
        (14, 10),
        (14, 6),
        (10, 6),
        (10, 10),
        (0, 10),
    )
    for gap, parts in ((0.5, 1), (0.99, 1), (1.01, 2), (3.0, 2), (6.0, 0)):
        paths = offset([shape], gap)
        assert len(paths) == parts, gap
        chorded = shapely.Polygon(shape.points(1.0)).buffer(-gap, quad_segs=400)
        assert area(paths) == pytest.approx(chorded.area, abs=1e-4)


def test_slot_as_wide_as_the_tool_is_one_line_there_and_back():
    (path,) = offset([polygon((0, 0), (30, 0), (30, 6), (0, 6))], 3.0)
    assert path.area() == pytest.approx(0, abs=1e-12)
    assert path.length == pytest.approx(48, rel=1e-12)
    assert {round(p.start[1], 12) for p in path.pieces} == {3.0}


def test_corner_radius_of_exactly_the_offset_leaves_a_corner():
    r, q = 2.5, math.pi / 2
    shape = Contour(
        (
            Piece((2.5, 0), (17.5, 0), source=0),
            Piece((17.5, 0), (20, 2.5), (17.5, r), q, source=1),
            Piece((20, 2.5), (20, 10), source=2),
            Piece((20, 10), (0, 10), source=3),
            Piece((0, 10), (0, 2.5), source=4),
            Piece((0, 2.5), (2.5, 0), (2.5, r), q, source=5),
        ),
        True,
    )
    (path,) = offset([shape], 2.5)
    assert path.area() == pytest.approx(15 * 5, rel=1e-12)
    assert len(path.pieces) == 4


def test_offset_of_an_open_path_runs_from_end_to_end():
    path = Contour((Piece((0, 0), (10, 0)), Piece((10, 0), (10, 10))), False)
    (left,) = offset([path], 2.0)
    assert (left.start, left.end, left.length) == ((0, 2), (8, 10), 16.0)
    (right,) = offset([path.reversed()], 2.0)
    assert (right.start, right.end) == ((12, 10), (0, -2))
    assert right.length == pytest.approx(20 + math.pi, rel=1e-15)


def test_open_path_that_closes_in_on_itself_has_no_chain():
    hook = Contour((Piece((0, 0), (20, 0)), Piece((20, 0), (20, 6)), Piece((20, 6), (0, 6))), False)
    assert offset([hook], 3.5) == []


@st.composite
def stars(draw):
    """A star of lines and arcs about the origin, counter-clockwise."""
    count = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(3, 20), min_size=count, max_size=count))
    turns = draw(
        st.lists(
            st.sampled_from([0.0, 0.3, -0.4, 1.2, -1.5, 2.8, -2.5]), min_size=count, max_size=count
        )
    )
    points = [
        (r * math.cos(2 * math.pi * k / count), r * math.sin(2 * math.pi * k / count))
        for k, r in enumerate(radii)
    ]
    ends = [*points[1:], points[0]]
    pieces = tuple(
        bulged(a, b, t, i) for i, (a, b, t) in enumerate(zip(points, ends, turns, strict=True))
    )
    return Contour(pieces, True)


@settings(max_examples=120, deadline=None)
@given(stars(), st.sampled_from([0.25, 1.0, 2.5, 5.0]), st.booleans())
def test_offset_against_shapely_buffer(contour, gap, outside):
    assume(not crossings([contour]))
    assume(contour.area() > 0)
    walked = contour.reversed() if outside else contour
    paths = offset([walked], gap)
    ring = shapely.Polygon(contour.points(CHORD_MM))
    chorded = ring.buffer(gap if outside else -gap, quad_segs=256)
    # A small rest inside may be dropped by the buffer: the largest circle inside says so.
    dropped = chorded.is_empty and shapely.maximum_inscribed_circle(ring, 1e-4).length > gap
    # Both boundaries are off by a sagitta: the contour's chords, and the buffer's own round corners.
    slack = (CHORD_MM + gap * (1 - math.cos(math.pi / 1024))) * (
        chorded.length + ring.length
    ) + 1e-6
    if dropped:
        assert area(paths) > 0
    else:
        assert (-1 if outside else 1) * area(paths) == pytest.approx(chorded.area, abs=slack)
    for path in paths:
        assert path.end == pytest.approx(path.start, abs=1e-5)
        for a, b in itertools.pairwise(path.pieces):
            assert a.end == b.start
        places = [p.at(t) for p in path.pieces for t in (0.0, 0.3, 0.6)]
        gaps = distance([contour], places)
        np.testing.assert_allclose(gaps, gap, rtol=0, atol=5e-6)
