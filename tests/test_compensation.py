"""Cutter radius compensation: closed forms of every kind of corner, lead-in, lead-out and error.

Unless said otherwise the values are derived from plane geometry, and the rules are common
practice, no source.
"""

# Tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from helpers_compensation import check, run
from proud.contour import Piece, turned
from proud.program.compensation import (
    CompensationError,
    CompensationOptions,
    Compensator,
    OffsetMove,
)

S3 = math.sqrt(3)
GIVEN, CORNER, ENTRY, EXIT, IDLE = "given", "corner", "entry", "exit", "idle"


# --------------------------------------------------------------------------------- square corners

SQUARE = [("line", p) for p in ((5.0, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0), (0.0, 0.0), (5.0, 0.0))] + [("G40", (5.0, 5.0))]  # fmt: skip


def test_square_pocket():
    check(
        run((5.0, -9.0), SQUARE, radius=3.0),
        [
            (1, ENTRY, 5, 3, 0), (2, GIVEN, 27, 3, 0), (3, GIVEN, 27, 17, 0), (4, GIVEN, 3, 17, 0),
            (5, GIVEN, 3, 3, 0), (6, GIVEN, 5, 3, 0), (7, EXIT, 5, 5, 0),
        ],
    )  # fmt: skip


def test_square_boss_by_arcs():
    check(
        run((5.0, -9.0), SQUARE, side="right", radius=3.0),
        [
            (1, ENTRY, 5, -3, 0), (2, GIVEN, 30, -3, 0), (3, CORNER, 33, 0, 90), (3, GIVEN, 33, 20, 0),
            (4, CORNER, 30, 23, 90), (4, GIVEN, 0, 23, 0), (5, CORNER, -3, 20, 90), (5, GIVEN, -3, 0, 0),
            (6, CORNER, 0, -3, 90), (6, GIVEN, 5, -3, 0), (7, EXIT, 5, 5, 0),
        ],
    )  # fmt: skip


def test_square_boss_by_intersection():
    check(
        run((5.0, -9.0), SQUARE, side="right", radius=3.0, corner="intersection"),
        [
            (1, ENTRY, 5, -3, 0), (2, GIVEN, 33, -3, 0), (3, GIVEN, 33, 23, 0), (4, GIVEN, -3, 23, 0),
            (5, GIVEN, -3, -3, 0), (6, GIVEN, 5, -3, 0), (7, EXIT, 5, 5, 0),
        ],
    )  # fmt: skip


def test_each_move_comes_when_the_next_is_known():
    machine = Compensator("left", 3.0, (5.0, -9.0))
    assert not machine.entered
    assert machine.line((5.0, 0.0), "n1") == []
    assert machine.entered
    assert [m.info for m in machine.line((30.0, 0.0), "n2")] == ["n1"]
    assert machine.position == (5.0, 3.0)
    assert machine.programmed == (30.0, 0.0)
    assert machine.idle("z") == []
    moves = machine.line((30.0, 20.0), "n3")
    assert [(m.info, m.kind) for m in moves] == [("n2", GIVEN), ("z", IDLE)]
    assert moves[1] == OffsetMove((27.0, 3.0), (27.0, 3.0), (0.0, 0.0), 0.0, "z", IDLE)
    assert [m.info for m in machine.finish(None, "n4")] == ["n3"]
    assert machine.position == (27.0, 20.0)
    assert machine.programmed == (30.0, 20.0)


# -------------------------------------------------------------------------------- kinds of corners


def corner_at(point, first, second, radius, **options):
    """Moves of two elements that meet, the lead-in in line with the first, square at the end."""
    words = [("line", first[0]), first[1], second, ("G40",)]
    (x, y), (u, v) = first[0], first[2]
    return run((x - 7 * u, y - 7 * v), words, radius=radius, **options)


def along(degrees: float) -> tuple[float, float]:
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


@pytest.mark.parametrize("turn", [1.0, 30.0, 60.0, 90.0, 120.0, 150.0, 175.0])
@pytest.mark.parametrize("side", ["left", "right"])
def test_inside_corner_of_two_lines(turn, side):
    """The cutter stops R tan(turn / 2) before the corner, R off both lines."""
    sign = 1 if side == "left" else -1
    u, R = along(sign * turn), 2.0
    need = R * math.tan(math.radians(turn / 2))
    end = (100 * u[0], 100 * u[1])
    moves = run(
        (-107.0, 0.0),
        [("line", (-100.0, 0.0)), ("line", (0.0, 0.0)), ("line", end), ("G40",)],
        side=side,
        radius=R,
    )
    check(
        moves,
        [
            (1, ENTRY, -100, sign * R, 0),
            (2, GIVEN, -need, sign * R, 0),
            (3, GIVEN, end[0] - sign * R * u[1], end[1] + sign * R * u[0], 0),
        ],
    )
    assert all(m.start != m.end for m in moves)


@pytest.mark.parametrize("turn", [1.0, 30.0, 90.0, 91.0, 135.0, 170.0, 180.0])
@pytest.mark.parametrize("side", ["left", "right"])
def test_outside_corner_of_two_lines(turn, side):
    sign = 1 if side == "left" else -1
    u, R = along(-sign * turn), 2.0
    end = (10 * u[0], 10 * u[1])
    words = [("line", (-10.0, 0.0)), ("line", (0.0, 0.0)), ("line", end), ("G40",)]
    normal = (-sign * R * u[1], sign * R * u[0])
    last = (end[0] + normal[0], end[1] + normal[1])
    check(
        run((-17.0, 0.0), words, side=side, radius=R),
        [
            (1, ENTRY, -10, sign * R, 0), (2, GIVEN, 0, sign * R, 0), (3, CORNER, *normal, -sign * turn),
            (3, GIVEN, *last, 0),
        ],
    )  # fmt: skip
    # Tangents: one pair up to 90 degrees, two beyond; each touches the circle about the corner.
    count = 1 if turn <= 90 else 2
    step = turn / count
    far = R / math.cos(math.radians(step / 2))
    ends = [
        (
            far * along(sign * (90 - (k + 0.5) * step))[0],
            far * along(sign * (90 - (k + 0.5) * step))[1],
        )
        for k in range(count)
    ]
    expected = [(1, ENTRY, -10, sign * R, 0), (2, GIVEN, *ends[0], 0)]
    expected += [(3, CORNER, *p, 0) for p in ends[1:]] + [(3, GIVEN, *last, 0)]
    for options in ({"corner": "intersection"}, {}):
        if not options:  # next to a rapid, tangents as well
            words[2] = ("rapid", end)
        check(run((-17.0, 0.0), words, side=side, radius=R, **options), expected)


def test_limit_angle():
    """120 degrees in one step up to a limit of 120, at R / cos 60 = 2 R; in three for 40."""
    words = [("line", (-10.0, 0.0)), ("line", (0.0, 0.0)), ("line", (-5.0, -5 * S3)), ("G40",)]
    one = run((-17.0, 0.0), words, radius=1.0, corner="intersection", limit_angle=120)
    assert [m.kind for m in one] == [ENTRY, GIVEN, GIVEN]
    assert one[1].end == pytest.approx((S3, 1.0), abs=1e-9)
    three = run((-17.0, 0.0), words, radius=1.0, corner="intersection", limit_angle=40)
    assert [m.kind for m in three] == [ENTRY, GIVEN, CORNER, CORNER, GIVEN]
    assert [math.hypot(*m.end) for m in three[1:4]] == pytest.approx(
        [1 / math.cos(math.pi / 9)] * 3, abs=1e-9
    )
    with pytest.raises(ValueError, match="limit_angle 160, expected over 0 to 150"):
        Compensator("left", 1.0, (0.0, 0.0), CompensationOptions(limit_angle=160))


@pytest.mark.parametrize(
    ("words", "radius", "expected"),
    [
        # From a chord at y = -3 into the circle of radius 5, cutter inside: y = -2 meets radius 4.
        ([("line", (4.0, -3.0)), ("arc", (0.0, 5.0), (0.0, 0.0), 90 + math.degrees(math.asin(0.6)))], 1.0,
         [(2, GIVEN, math.sqrt(12), -2, 0), (3, GIVEN, 0, 4, 90 + 30)]),
        # Against a boss of radius 5 about (10, 4), cutter outside: y = 1 meets radius 6.
        ([("line", (7.0, 0.0)), ("arc", (5.0, 4.0), (10.0, 4.0), -math.degrees(math.asin(0.8)))], 1.0,
         [(2, GIVEN, 10 - math.sqrt(27), 1, 0), (3, GIVEN, 4, 4, -30)]),
        # Off the crest of a boss of radius 5 about (0, -5) after a line on to its top at an angle:
        # outside, the arc about the corner turns from the line's side to the circle's.
        ([("line", (0.0, 0.0)), ("arc", (4.0, -8.0), (0.0, -5.0), -90 - math.degrees(math.asin(0.6)))], 1.0,
         [(2, GIVEN, 0, 1, 0), (3, GIVEN, 4.8, -8.6, -90 - math.degrees(math.asin(0.6)))]),
        # Outside corner from a line to an arc that begins straight down.
        ([("line", (0.0, 0.0)), ("arc", (-5.0, -5.0), (-5.0, 0.0), -90)], 1.0,
         [(2, GIVEN, 0, 1, 0), (3, CORNER, 1, 0, -90), (3, GIVEN, -5, -6, -90)]),
        # Outside corner into an inside arc, straight down, then to the right.
        ([("line", (0.0, 0.0)), ("arc", (5.0, -5.0), (5.0, 0.0), 90)], 1.0,
         [(2, GIVEN, 0, 1, 0), (3, CORNER, 1, 0, -90), (3, GIVEN, 5, -4, 90)]),
        # Tangent, inside and outside.
        ([("line", (0.0, 0.0)), ("arc", (5.0, 5.0), (0.0, 5.0), 90)], 1.0,
         [(2, GIVEN, 0, 1, 0), (3, GIVEN, 4, 5, 90)]),
        ([("line", (0.0, 0.0)), ("arc", (5.0, -5.0), (0.0, -5.0), -90)], 1.0,
         [(2, GIVEN, 0, 1, 0), (3, GIVEN, 6, -5, -90)]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("side", ["left", "right"])
def test_line_and_arc(words, radius, expected, side):
    """Mirrored on the X axis, the other side gives the mirrored path."""
    sign = 1 if side == "left" else -1

    def flip(word):
        if word[0] == "line":
            return "line", (word[1][0], sign * word[1][1])
        return (
            "arc",
            (word[1][0], sign * word[1][1]),
            (word[2][0], sign * word[2][1]),
            sign * word[3],
        )

    y = words[0][1][1]
    words = [("line", (-9.0, y)), *words, ("G40",)]
    moves = run(
        (-19.0, sign * y), [flip(w) for w in words[:-1]] + words[-1:], side=side, radius=radius
    )
    check(moves[1:], [(i, k, px, sign * py, sign * t) for i, k, px, py, t in expected])


def test_two_bosses_meet_in_an_inside_corner():
    """Circles of radius 5, 6 apart, meet at (3, 4); their offsets by 1 at (3, sqrt(36 - 9))."""
    a = math.degrees(math.asin(0.6))
    words = [
        ("line", (0.0, 5.0)),
        ("arc", (3.0, 4.0), (0.0, 0.0), -a),
        ("arc", (6.0, 5.0), (6.0, 0.0), -a),
        ("G40",),
    ]
    moves = run((-9.0, 5.0), words, radius=1.0)
    check(moves, [(1, ENTRY, 0, 6, 0), (2, GIVEN, 3, math.sqrt(27), -30), (3, GIVEN, 6, 6, -30)])


def test_lens_pocket():
    """Two arcs of radius 5 about (0, 0) and (6, 0): corners at (3, +-4), of the offset by 0.5 at
    (3, +-sqrt(4.5^2 - 9))."""
    a = math.degrees(math.asin(0.8))
    half = math.sqrt(4.5**2 - 9)
    b = math.degrees(math.asin(half / 4.5))
    words = [
        ("line", (5.0, 0.0)),
        ("arc", (3.0, 4.0), (0.0, 0.0), a),
        ("arc", (3.0, -4.0), (6.0, 0.0), 2 * a),
        ("arc", (5.0, 0.0), (0.0, 0.0), a),
        ("G40",),
    ]
    check(
        run((5.0, -9.0), words, radius=0.5),
        [
            (1, ENTRY, 4.5, 0, 0),
            (2, GIVEN, 3, half, b),
            (3, GIVEN, 3, -half, 2 * b),
            (4, GIVEN, 4.5, 0, b),
        ],
    )


def test_s_curve():
    """Tangent arcs that curve both ways: radii 5 - 1 and 5 + 1, no corner between."""
    words = [
        ("line", (0.0, 0.0)),
        ("arc", (5.0, 5.0), (0.0, 5.0), 90),
        ("arc", (10.0, 10.0), (10.0, 5.0), -90),
        ("line", (20.0, 10.0)),
        ("G40",),
    ]
    check(
        run((-9.0, 0.0), words, radius=1.0),
        [(1, ENTRY, 0, 1, 0), (2, GIVEN, 4, 5, 90), (3, GIVEN, 10, 11, -90), (4, GIVEN, 20, 11, 0)],
    )


@pytest.mark.parametrize(("side", "inside"), [("left", True), ("right", False)])
def test_full_circle(side, inside):
    words = [("line", (10.0, 0.0)), ("arc", (10.0, 0.0), (0.0, 0.0), 360), ("G40", (0.0, 0.0))]
    moves = run((10.0, -20.0), words, side=side, radius=3.0)
    r = 7 if inside else 13
    check(moves, [(1, ENTRY, r, 0, 0), (2, GIVEN, r, 0, 360), (3, EXIT, 0, 0, 0)])
    assert moves[1].center == (0.0, 0.0)


@pytest.mark.parametrize("kink", [1e-12, 1e-9, 1e-7, 1e-5, 1e-3])
@pytest.mark.parametrize("sign", [1, -1])
def test_circle_entered_by_an_arc_that_misses_the_tangent(kink, sign):
    """The full circle stays one, but for what the kink takes: no error, no hole."""
    end = turned((10.0, 0.0), (5.0, 0.0), 2 * sign * kink)
    out = end[0] / 2, end[1] / 2
    words = [
        ("line", (5.0, -5.0)),
        ("arc", end, (5.0, 0.0), 90 + math.degrees(2 * sign * kink)),
        ("arc", end, (0.0, 0.0), 360),
        ("arc", turned(end, out, math.pi / 2), out, 90),
        ("G40", (0.0, 0.0)),
    ]
    moves = run((0.0, -5.0), words, radius=1.0)
    outside = sign > 0 and kink > 1e-9
    assert [m.kind for m in moves] == [
        ENTRY,
        GIVEN,
        *([CORNER] if outside else []),
        GIVEN,
        GIVEN,
        EXIT,
    ]
    circle = moves[-3]
    assert circle.turn == pytest.approx(2 * math.pi, abs=1e-10 if sign > 0 else 2 * kink)
    assert (circle.turn < 2 * math.pi - 1e-10) == (sign < 0 and kink > 1e-9)
    assert math.dist(circle.end, (0, 0)) == pytest.approx(math.hypot(*end) - 1, abs=1e-9)


def test_wall_without_thickness():
    """Back on the same line or arc: half a turn about its end, away from the cutter."""
    words = [("line", (0.0, 0.0)), ("line", (9.0, 0.0)), ("line", (0.0, 0.0)), ("G40",)]
    check(
        run((-5.0, 0.0), words, radius=2.0),
        [(1, ENTRY, 0, 2, 0), (2, GIVEN, 9, 2, 0), (3, CORNER, 9, -2, -180), (3, GIVEN, 0, -2, 0)],
    )
    words = [
        ("line", (0.0, -5.0)),
        ("arc", (5.0, 0.0), (0.0, 0.0), 90),
        ("arc", (0.0, -5.0), (0.0, 0.0), -90),
        ("G40",),
    ]
    check(
        run((-5.0, -5.0), words, radius=2.0),
        [
            (1, ENTRY, 0, -3, 0),
            (2, GIVEN, 3, 0, 90),
            (3, CORNER, 7, 0, -180),
            (3, GIVEN, 0, -7, -90),
        ],
    )


def test_cusps():
    """A line to the tip of a cusp and an arc straight back: round the outside one, not into the inside one."""
    back = ("arc", (4.0, -5.0), (9.0, -5.0), 90)  # leaves (9, 0) towards -X, bends down
    check(
        run((-5.0, 0.0), [("line", (0.0, 0.0)), ("line", (9.0, 0.0)), back, ("G40",)], radius=2.0),
        [(1, ENTRY, 0, 2, 0), (2, GIVEN, 9, 2, 0), (3, CORNER, 9, -2, -180), (3, GIVEN, 6, -5, 90)],
    )
    up = ("arc", (4.0, 5.0), (9.0, 5.0), -90)  # leaves towards -X, bends up: a wedge of air
    # Offsets: y = 1 and radius 6 about (9, 5): sqrt(36 - 16) before 9.
    check(
        run((-5.0, 0.0), [("line", (0.0, 0.0)), ("line", (9.0, 0.0)), up, ("G40",)], radius=1.0),
        [
            (1, ENTRY, 0, 1, 0),
            (2, GIVEN, 9 - math.sqrt(20), 1, 0),
            (3, GIVEN, 3, 5, -math.degrees(math.asin(4 / 6))),
        ],
    )
    short = ("arc", turned((9.0, 0.0), (9.0, 5.0), -math.pi / 4), (9.0, 5.0), -45)
    with pytest.raises(
        CompensationError,
        match=r"can't enter the inside corner between 2 and 3: their offset paths don't meet",
    ):
        run((-5.0, 0.0), [("line", (0.0, 0.0)), ("line", (9.0, 0.0)), short, ("G40",)], radius=3.0)


def test_inside_crossings_against_mpmath():
    """Random inside corners with arcs: the end is at R from both elements to 30 digits' test."""
    rng = np.random.default_rng(5)
    seen = 0
    with mpmath.workdps(40):
        for _ in range(300):
            ra, rb, R = rng.uniform(3, 60), rng.uniform(3, 60), rng.uniform(0.3, 2.5)
            turn = rng.uniform(0.001, 2.0) * (1 if rng.random() < 0.8 else 1e-3)
            ta, tb = rng.choice([-1, 1], 2) * rng.uniform(0.8, 1.4, 2)
            # Both arcs meet in the origin; the first arrives along +X, the second leaves turned.
            ca = (0.0, math.copysign(ra, ta))
            cb = turned((0.0, math.copysign(rb, tb)), (0.0, 0.0), turn)
            first, last = turned((0.0, 0.0), ca, -ta), turned((0.0, 0.0), cb, tb)
            u = Piece(first, (0.0, 0.0), ca, ta).heading(0)
            words = [
                ("line", first),
                ("arc", (0.0, 0.0), ca, math.degrees(ta)),
                ("arc", last, cb, math.degrees(tb)),
                ("G40",),
            ]
            try:
                moves = run((first[0] - 9 * u[0], first[1] - 9 * u[1]), words, radius=R)
            except CompensationError:
                continue
            assert [m.kind for m in moves] == [ENTRY, GIVEN, GIVEN]
            seen += 1
            x, y = (mpmath.mpf(v) for v in moves[1].end)
            for c, r, t in ((ca, ra, ta), (cb, rb, tb)):
                away = mpmath.hypot(x - mpmath.mpf(c[0]), y - mpmath.mpf(c[1]))
                assert abs(away - (r - math.copysign(R, t))) < 1e-9
            # Of the two crossings, the one by the corner: nothing nearer than R on the way.
            assert math.hypot(*moves[1].end) < 2 * R * (1 + math.tan(min(1.4, turn / 2)))
    assert seen > 200


# ---------------------------------------------------------------------------- lead-in and lead-out


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("angle", [0.0, 45.0, 90.0, 180.0, 250.0])
def test_lead_in_ends_square_to_the_first_element(side, angle):
    sign = 1 if side == "left" else -1
    u = along(angle)
    words = [("line", (0.0, 0.0)), ("line", (10.0, 0.0)), ("G40", (12.0, 9.0))]
    moves = run((8 * u[0], 8 * u[1]), words, side=side, radius=3.0)
    check(moves, [(1, ENTRY, 0, sign * 3, 0), (2, GIVEN, 10, sign * 3, 0), (3, EXIT, 12, 9, 0)])


def test_lead_in_to_an_arc_and_out_of_one():
    words = [("line", (5.0, 0.0)), ("arc", (0.0, 5.0), (0.0, 0.0), 90), ("G40", (0.0, 20.0))]
    check(
        run((20.0, 0.0), words, side="right", radius=2.0),
        [(1, ENTRY, 7, 0, 0), (2, GIVEN, 0, 7, 90), (3, EXIT, 0, 20, 0)],
    )


def test_lead_in_with_height_first():
    """Blocks in Z before the lead-in happen at the start, those after it at its end, both before
    the first element is cut."""
    words = [
        ("idle",),
        ("line", (0.0, 0.0)),
        ("idle",),
        ("idle",),
        ("line", (9.0, 0.0)),
        ("idle",),
        ("G40", (9.0, 9.0)),
    ]
    check(
        run((-5.0, 0.0), words, radius=2.0),
        [
            (1, IDLE, -5, 0, 0), (2, ENTRY, 0, 2, 0), (3, IDLE, 0, 2, 0), (4, IDLE, 0, 2, 0), (5, GIVEN, 9, 2, 0),
            (6, IDLE, 9, 2, 0), (7, EXIT, 9, 9, 0),
        ],
    )  # fmt: skip


def test_idle_blocks_in_corners():
    """Inside at the intersection, outside before the arc (NISTIR 6556: the arc is the next block's)."""
    words = [
        ("line", (0.0, 0.0)),
        ("line", (9.0, 0.0)),
        ("idle",),
        ("line", (9.0, 9.0)),
        ("idle",),
        ("line", (19.0, 9.0)),
        ("G40",),
    ]
    check(
        run((-5.0, 0.0), words, radius=2.0),
        [
            (1, ENTRY, 0, 2, 0), (2, GIVEN, 7, 2, 0), (3, IDLE, 7, 2, 0), (4, GIVEN, 7, 9, 0), (5, IDLE, 7, 9, 0),
            (6, CORNER, 9, 11, -90), (6, GIVEN, 19, 11, 0),
        ],
    )  # fmt: skip


def test_nothing_after_the_lead_in():
    check(
        run((-5.0, 0.0), [("line", (0.0, 0.0)), ("G40", (3.0, 3.0))], radius=2.0),
        [(1, ENTRY, 0, 2, 0), (2, EXIT, 3, 3, 0)],
    )
    assert run((-5.0, 0.0), [("G40",)], radius=2.0) == []
    check(run((-5.0, 0.0), [("G40", (3.0, 3.0))], radius=2.0), [(1, ENTRY, 3, 3, 0)])


def test_exit_to_the_last_programmed_point_itself():
    """G40 with the place where the last element ended takes the cutter on to it."""
    words = [("line", (0.0, 0.0)), ("line", (9.0, 0.0)), ("G40", (9.0, 0.0))]
    check(run((-5.0, 0.0), words, radius=2.0)[2:], [(3, EXIT, 9, 0, 0)])


# -------------------------------------------------------------------------------- D, wear, radius 0


@pytest.mark.parametrize("wear", [-0.01, -0.0005, 0.0, 0.0005, 0.02])
def test_wear_shifts_straight_walls_by_exactly_that(wear):
    pocket = run((5.0, -9.0), SQUARE, radius=3.0)
    worn = run((5.0, -9.0), SQUARE, radius=3.0 + wear)
    shifts = [(-wear, wear), (-wear, -wear), (wear, -wear), (wear, wear)]
    for a, b, (dx, dy) in zip(pocket[1:5], worn[1:5], shifts, strict=True):
        assert b.end == (round(a.end[0] + dx, 10), round(a.end[1] + dy, 10))


def test_negative_radius_is_the_other_side():
    assert run((5.0, -9.0), SQUARE, radius=-3.0) == run(
        (5.0, -9.0), SQUARE, side="right", radius=3.0
    )


@pytest.mark.parametrize("corner", ["arc", "intersection"])
@pytest.mark.parametrize("entry", ["square", "tangent"])
@pytest.mark.parametrize("radius", [0.0, -0.0])
def test_radius_0_is_the_path_itself(corner, entry, radius):
    words = [
        ("line", (0.0, 0.0)),
        ("line", (9.0, 0.0)),
        ("line", (0.0, 9.0)),
        ("line", (9.0, 0.0)),
        ("arc", (9.0, 0.0), (9.0, 1.0), -360),
        ("arc", (8.0, 1.0), (9.0, 1.0), -90),
        ("G40", (0.0, 0.0)),
    ]
    moves = run((-5.0, 0.0), words, radius=radius, corner=corner, entry=entry, refuse_concave=False)
    assert [m.end for m in moves] == [w[1] for w in words]
    assert [m.kind for m in moves] == [ENTRY, *[GIVEN] * 5, EXIT]


def test_a_new_d_tapers_the_next_line():
    """Both elements of a corner use the old radius up to the next element's start, the new one
    from its end."""
    words = [
        ("line", (0.0, 0.0)),
        ("line", (10.0, 0.0)),
        ("D", 2.0),
        ("line", (10.0, 20.0)),
        ("line", (0.0, 20.0)),
        ("G40",),
    ]
    check(
        run((-5.0, 0.0), words, radius=3.0),
        [(1, ENTRY, 0, 3, 0), (2, GIVEN, 7, 3, 0), (4, GIVEN, 8, 18, 0), (5, GIVEN, 0, 18, 0)],
    )
    words = [
        ("line", (0.0, 0.0)),
        ("D", 2.0),
        ("line", (10.0, 0.0)),
        ("line", (10.0, -20.0)),
        ("G40",),
    ]
    check(
        run((-5.0, 0.0), words, radius=3.0),
        [
            (1, ENTRY, 0, 3, 0),
            (3, GIVEN, 10, 2, 0),
            (4, CORNER, 12, 0, -90),
            (4, GIVEN, 12, -20, 0),
        ],
    )


def test_the_same_d_again_changes_nothing():
    words = [*SQUARE[:3], ("D", 3.0), *SQUARE[3:]]
    assert [m[:4] for m in run((5.0, -9.0), words, radius=3.0, refuse_change=True)] == [
        m[:4] for m in run((5.0, -9.0), SQUARE, radius=3.0)
    ]


# --------------------------------------------------------------------------------------- NISTIR 6556

EDGE_START = (1.0, 5.0)
EDGE = [
    ("line", (1.0, 4.0)),
    ("arc", (2.0, 3.0), (2.0, 4.0), 90),
    ("arc", (3.0, 2.0), (2.0, 2.0), -90),
    ("line", (3.0, -1.0)),
    ("arc", (2.0, -2.0), (2.0, -1.0), -90),
    ("line", (-2.0, -2.0)),
    ("arc", (-2.6, -0.2), (-2.0, -1.0), -90 - math.degrees(math.atan2(0.8, 0.6))),
    ("line", (1.4, 2.8)),
    ("arc", (2.0, 3.0), (2.0, 2.0), -math.degrees(math.atan2(0.6, 0.8))),
    ("G40",),
]  # fmt: skip
"""NISTIR 6556 appendix B: the material edge of its Table 12 (D 0.5), whose offset is the contour
of its Table 13; the words from memory, the points of Table 13 as in the document."""


def test_compensation_pair_of_nistir_6556():
    rules = {"entry": "tangent", "arc_entry": True, "refuse_concave": True, "refuse_change": True}
    assert CompensationOptions.nistir_6556() == CompensationOptions(**rules)
    moves = run(EDGE_START, EDGE, radius=0.5, **rules)
    assert moves[0].end == pytest.approx((1.4330, 4.25), abs=5e-5)  # as printed
    check(moves[:2], [(1, ENTRY, 1 + S3 / 4, 4.25, 0), (2, CORNER, 1.5, 4, -30)])
    points = [
        (2, 3.5),
        (3.5, 2),
        (3.5, -1),
        (2, -2.5),
        (-2, -2.5),
        (-2.9, 0.2),
        (1.1, 3.2),
        (2, 3.5),
    ]
    assert [m.end for m in moves[2:]] == [pytest.approx(p, abs=1e-10) for p in points]
    assert {m.kind for m in moves[2:]} == {GIVEN}
    assert [bool(m.turn) for m in moves[2:]] == [True, True, False, True, False, True, False, True]


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("start", [(-5.0, 0.0), (0.0, 9.0), (-3.0, -3.0), (2.5, 1.0)])
def test_tangent_lead_in_touches_the_circle_about_the_programmed_point(start, side):
    """Right angle between the lead-in and the radius at its end; the cutter's side is the side."""
    machine = Compensator(side, 2.0, start, CompensationOptions(entry="tangent"))
    machine.line((0.0, 0.0), 1)
    (x, y) = machine.finish(None, 2)[0].end
    assert math.hypot(x, y) == pytest.approx(2.0, abs=1e-9)
    assert x * (x - start[0]) + y * (y - start[1]) == pytest.approx(0, abs=1e-8)
    cross = (x - start[0]) * (0 - y) - (y - start[1]) * (0 - x)  # the point seen from the lead-in
    assert (cross < 0) == (side == "left")


def test_tangent_lead_in_goes_into_an_inside_corner_if_those_are_allowed():
    """It comes straight down tangent to x = 2 and turns into y = 2: a corner of offset lines."""
    words = [("line", (0.0, 0.0)), ("line", (19.0, 0.0)), ("G40",)]
    moves = run((2.0, 9.0), words, radius=2.0, entry="tangent")
    check(moves, [(1, ENTRY, 2, 2, 0), (2, GIVEN, 19, 2, 0)])


def test_first_arc_of_nistir_6556_begins_on_the_offset_arc():
    words = [("arc", (0.0, 5.0), (0.0, 0.0), 90), ("line", (-9.0, 5.0)), ("G40",)]
    check(
        run((4.0, 0.0), words, radius=1.0, arc_entry=True),
        [(1, ENTRY, 0, 4, 90), (2, GIVEN, -9, 4, 0)],
    )
    check(
        run((6.0, 0.0), words, side="right", radius=1.0, arc_entry=True),
        [(1, ENTRY, 0, 6, 90), (2, GIVEN, -9, 6, 0)],
    )
    with pytest.raises(
        CompensationError,
        match=r"to bring the cutter's centre to 4\.0000 mm from the arc's, but it stands at 5\.0000 mm",
    ):
        run((5.0, 0.0), words, radius=1.0, arc_entry=True)
