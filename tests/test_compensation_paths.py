"""Whole compensated contours against exact parallel curves and shapely's buffers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from helpers_compensation import pieces_of, round_trip, run, words_of
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from proud.contour import Contour, Field, Piece, crossings
from proud.passes.offset import offset
from proud.program.compensation import CompensationError, CompensationOptions, Compensator
from proud.program.compensation_corners import DEEP_MM

CHORD_MM = 1e-4
"""Sagitta of the chords given to shapely."""
SLACK_MM = 1e-9
QUIET = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


def bulged(a: tuple[float, float], b: tuple[float, float], turn: float) -> Piece:
    """An arc from a to b that turns by `turn`, by the half-chord form; a line for 0."""
    if not turn:
        return Piece(a, b)
    mx, my, dx, dy = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2, b[0] - a[0], b[1] - a[1]
    rise = 0.5 / math.tan(turn / 2)
    return Piece(a, b, (mx - rise * dy, my + rise * dx), turn)


@st.composite
def contours(draw) -> Contour:
    """Closed contours round (0, 0), counter-clockwise, of lines and arcs that don't cross."""
    count = draw(st.integers(3, 8))
    points = []
    for k in range(count):
        angle = 2 * math.pi * (k + draw(st.floats(-0.35, 0.35))) / count
        away = draw(st.floats(20.0, 60.0))
        points.append((away * math.cos(angle), away * math.sin(angle)))
    bulge = st.one_of(st.just(0.0), st.floats(0.05, 2.0), st.floats(-1.2, -0.05))
    pieces = [
        bulged(a, b, draw(bulge)) for a, b in zip(points, points[1:] + points[:1], strict=True)
    ]
    contour = Contour(tuple(pieces), True)
    assume(not crossings([contour]))
    assume(contour.area() > 0)
    return contour


def numbered(contour: Contour) -> Contour:
    pieces = [Piece(p.start, p.end, p.center, p.turn, i) for i, p in enumerate(contour.pieces)]
    return Contour(tuple(pieces), True)


def parallel(contour: Contour, radius: float, side: str = "left") -> tuple[list[Contour], bool]:
    """The exact parallel curve, and whether every element, and the middle of the first where the
    lead-in ends, takes part in it once."""
    sign = 1 if side == "left" else -1
    loops = offset([numbered(contour if sign == 1 else contour.reversed())], radius)
    sources = [p.source for loop in loops for p in loop.pieces if p.source >= 0]
    whole = len(loops) == 1 and sorted(sources) == list(range(len(contour.pieces)))
    first = contour.pieces[0]
    (x, y), (u, v) = first.at(0.5), first.heading(0.5)
    middle = (x - sign * radius * v, y + sign * radius * u)
    return loops, whole and Field(list(contour.pieces)).distance(middle) > radius - SLACK_MM


def wholly_reached(contour: Contour, radius: float, side: str = "left") -> Contour:
    """The parallel curve, for contours that every element takes part in."""
    loops, whole = parallel(contour, radius, side)
    assume(whole)
    return loops[0]


def polygon(contour: Contour) -> shapely.Polygon:
    return shapely.Polygon(contour.points(CHORD_MM))


@pytest.mark.parametrize("side", ["left", "right"])
@given(contour=contours(), radius=st.floats(0.2, 8.0))
@QUIET
def test_contour_runs_on_its_exact_parallel_curve(side, contour, radius):
    exact = wholly_reached(contour, radius, side)
    moves = round_trip(contour, radius, side=side)
    pieces = pieces_of(moves)
    assert math.dist(pieces[0].start, pieces[-1].end) < SLACK_MM
    walked = Contour(tuple(pieces), True)
    # The same area as the exact offset, which may lose 1e-6 mm beside a joint.
    sign = 1 if side == "left" else -1
    assert walked.area() == pytest.approx(sign * exact.area(), abs=1e-5 * walked.length)
    assert walked.length == pytest.approx(exact.length, abs=1e-5 * len(pieces))
    # No point nearer than the radius, on the swept side; elements exactly at it.
    field = Field(list(contour.pieces))
    for piece in pieces:
        for part in (0.0, 0.03, 0.31, 0.5, 0.83, 1.0):
            gap = field.distance(piece.at(part))
            assert radius - SLACK_MM <= gap <= radius + SLACK_MM
            assert contour.contains(piece.at(part)) == (side == "left")


@pytest.mark.parametrize("side", ["left", "right"])
@given(contour=contours(), radius=st.floats(0.2, 8.0))
@settings(QUIET, max_examples=30)
def test_contour_agrees_with_the_buffer_of_shapely(side, contour, radius):
    wholly_reached(contour, radius, side)
    walked = Contour(tuple(pieces_of(round_trip(contour, radius, side=side))), True)
    buffered = polygon(contour).buffer(-radius if side == "left" else radius, quad_segs=256)
    # Chords are off by CHORD_MM on either curve, and round corners by R (1 - cos(pi / 1024)).
    error = 2 * CHORD_MM + radius * (1 - math.cos(math.pi / 1024))
    differ = polygon(walked).symmetric_difference(buffered).area
    assert differ <= 1.5 * error * (buffered.length + walked.length)


@given(contour=contours(), radius=st.floats(0.2, 8.0))
@settings(QUIET, max_examples=30)
def test_intersections_agree_with_the_mitred_buffer_of_shapely(contour, radius):
    """Lines only, corners by intersection up to 90 degrees: the buffer with mitred corners."""
    contour = Contour(tuple(Piece(p.start, p.end) for p in contour.pieces), True)
    assume(not crossings([contour]))
    wholly_reached(contour, radius, "right")
    turns = [
        math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        for u, v in zip(
            [p.heading(1) for p in contour.pieces],
            [p.heading(0) for p in (*contour.pieces[1:], contour.pieces[0])],
            strict=True,
        )
    ]
    moves = round_trip(contour, radius, side="right", corner="intersection", limit_angle=150)
    assume(max(turns) < math.radians(149))
    assume(min(map(abs, turns)) > 0.01)  # flatter mitres are shortened by the buffer
    walked = shapely.Polygon([m.end for m in moves if m.kind == "given"])
    shell = shapely.Polygon([p.start for p in contour.pieces])
    buffered = shell.buffer(radius, join_style="mitre", mitre_limit=10)
    assert walked.symmetric_difference(buffered).area <= 1e-8 * buffered.length


@pytest.mark.parametrize("corner", ["arc", "intersection"])
@given(contour=contours(), radius=st.floats(0.2, 8.0))
@settings(QUIET, max_examples=30)
def test_walked_backwards_on_the_other_side_it_is_the_same_curve(corner, contour, radius):
    wholly_reached(contour, radius)
    wholly_reached(contour, radius, "right")
    # Begun at the same place, the middle of the first piece: backwards that is the last one.
    first, *others = contour.pieces
    back = Contour((first.reversed(), *(p.reversed() for p in reversed(others))), True)
    for side, other in (("left", "right"), ("right", "left")):
        one = pieces_of(round_trip(contour, radius, side=side, corner=corner))
        two = pieces_of(round_trip(back, radius, side=other, corner=corner))
        assert len(one) == len(two)
        for p, q in zip(one, [q.reversed() for q in reversed(two)], strict=True):
            assert p.start == pytest.approx(q.start, abs=SLACK_MM)
            assert p.end == pytest.approx(q.end, abs=SLACK_MM)
            assert p.turn == pytest.approx(q.turn, abs=1e-8)
            assert p.center == (pytest.approx(q.center, abs=1e-9) if p.turn else (0.0, 0.0))


@given(contour=contours(), radius=st.floats(0.5, 6.0), wear=st.floats(-0.05, 0.05))
@settings(QUIET, max_examples=30)
def test_wear_shifts_every_wall_by_exactly_that(contour, radius, wear):
    wholly_reached(contour, radius)
    wholly_reached(contour, radius + wear)
    new = round_trip(contour, radius)
    worn = round_trip(contour, radius + wear)
    assert [(m.info, m.kind) for m in new] == [(m.info, m.kind) for m in worn]
    for a, b in zip(new, worn, strict=True):
        if a.kind == "given" and a.turn:
            ra, rb = (math.dist(m.end, m.center) for m in (a, b))
            assert ra - rb == pytest.approx(math.copysign(wear, wear * a.turn), abs=SLACK_MM)
        elif a.kind == "given":
            length = math.dist(a.start, a.end)
            u = (a.end[0] - a.start[0]) / length, (a.end[1] - a.start[1]) / length
            shift = u[0] * (b.end[1] - a.end[1]) - u[1] * (b.end[0] - a.end[0])
            assert shift == pytest.approx(wear, abs=SLACK_MM)


@given(contour=contours(), radius=st.floats(1.0, 30.0), side=st.sampled_from(["left", "right"]))
@settings(QUIET, max_examples=150)
def test_refused_or_clear_of_its_neighbours(contour, radius, side):
    """With cutters that may be far too large: either an error where the exact parallel curve
    misses an element as well, or each element is kept at the radius and its neighbours clear."""
    pieces = contour.begun_at(0, 0.5).pieces
    try:
        moves = round_trip(contour, radius, side=side)
    except CompensationError as error:
        refused = error.infos
    else:
        refused = ()
    if refused:
        assert 2 <= len(refused) <= 3
        assert list(refused) == list(range(refused[0], refused[-1] + 1))
        assert not parallel(contour, radius, side)[1]
        return
    for move in moves:
        if move.kind != "given" or move.start == move.end:
            continue
        number = move.info - 2
        own, near = Field([pieces[number]]), Field(list(pieces[max(0, number - 1) : number + 2]))
        piece = Piece(move.start, move.end, move.center, move.turn)
        for part in (0.0, 0.2, 0.5, 0.8, 1.0):
            assert own.distance(piece.at(part)) == pytest.approx(radius, abs=SLACK_MM)
            assert near.distance(piece.at(part)) >= radius - DEEP_MM


@given(contour=contours(), radius=st.floats(0.2, 8.0))
@settings(QUIET, max_examples=30)
def test_square_and_tangent_lead_in_run_the_same_contour(contour, radius):
    wholly_reached(contour, radius)
    pieces = contour.begun_at(0, 0.5).pieces
    (x, y), (u, v) = pieces[0].start, pieces[0].heading(0)
    words = [("line", (x, y)), *words_of(pieces), ("G40", (x, y))]
    start = (x - 9 * u + 5 * v, y - 9 * v - 5 * u)  # from behind and outside: an outside corner
    square, tangent = (
        run(start, words, radius=radius, entry=entry) for entry in ("square", "tangent")
    )
    assert [m.kind for m in tangent[:2]] == ["entry", "corner"]
    assert tangent[1].end == square[0].end
    assert tangent[2:] == square[1:]


def test_many_short_lines_keep_their_digits():
    """An inside circle of 20000 chords against the closed form: each chord's offset corner lies
    at (rc cos(half) - R) / cos(half) from the centre."""
    count, rc, R = 20000, 25.0, 3.0
    angles = 2 * np.pi * np.arange(count + 1) / count
    points = [(rc * math.cos(t), rc * math.sin(t)) for t in angles]
    machine = Compensator("left", R, (0.0, 0.0), CompensationOptions())
    moves = machine.line(points[0], 0)
    for point in points[1:]:
        moves += machine.line(point, 1)
    moves += machine.finish((0.0, 0.0), 2)
    half = math.pi / count
    away = np.hypot(*np.array([m.end for m in moves[1:-2]]).T)
    assert len(away) == count - 1
    assert away == pytest.approx(rc - R / math.cos(half), abs=1e-9)
