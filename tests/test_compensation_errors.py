"""Cutter radius compensation: what is refused, and degenerate inputs."""

# Tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import pytest
from helpers_compensation import check, run, shown
from proud.contour import turned
from proud.program.compensation import CompensationError, Compensator

GIVEN, CORNER, ENTRY, EXIT, IDLE = "given", "corner", "entry", "exit", "idle"

# ------------------------------------------------------------------------------------------- errors

WALL = [("line", (0.0, 0.0)), ("line", (10.0, 0.0))]
START = (-9.0, 0.0)


@pytest.mark.parametrize(
    ("words", "options", "text", "infos"),
    [
        # A step of 0.1 mm up, and a slot 4 mm wide.
        ([*WALL, ("line", (10.0, 0.1)), ("line", (20.0, 0.1))], {},
         "the cutter of radius 3.0000 mm can't enter the inside corner between line 2 and line 3: their offset paths don't meet (it takes 3.0000 mm of each, line 3 has 0.1000 mm); expected a smaller cutter or D", (2, 3)),
        ([("line", (0.0, 10.0)), ("line", (0.0, 0.0)), ("line", (4.0, 0.0)), ("line", (4.0, 10.0))], {"start": (0.0, 20.0)},
         "the cutter of radius 3.0000 mm can't reach line 3 between line 2 and line 4: the inside corners at its ends leave nothing of it; expected a smaller cutter or D", (2, 3, 4)),
        ([*WALL, ("arc", (12.0, 2.0), (10.0, 2.0), 90)], {},
         "the inside arc of line 3 after line 2 has a radius of 2.0000 mm, smaller than the cutter's 3.0000 mm; expected a larger arc, or a smaller cutter or D", (2, 3)),
        ([("line", (0.0, 0.0)), ("arc", (2.0, 2.0), (0.0, 2.0), 90)], {"unit": "in"},
         "the inside arc of line 2 after line 1 has a radius of 0.07874 in, smaller than the cutter's 0.11811 in; expected a larger arc, or a smaller cutter or D", (1, 2)),
        # The same by the wall before it.
        ([("line", (0.0, 0.0)), ("line", (0.1, 0.0)), ("line", (0.1, 20.0))], {},
         "the cutter of radius 3.0000 mm can't enter the inside corner between line 2 and line 3: their offset paths don't meet (it takes 3.0000 mm of each, line 2 has 0.1000 mm); expected a smaller cutter or D", (2, 3)),
        # An arc that does not quite close and is too small at its end alone.
        ([*WALL, ("arc", (12.9998, 3.0005), (10.0, 3.0005), 90)], {},
         "the inside arc of line 3 after line 2 has a radius of 2.9998 mm, smaller than the cutter's 3.0000 mm; expected a larger arc, or a smaller cutter or D", (2, 3)),
        # Too small by 0.005 mm.
        ([*WALL, ("arc", (12.995, 2.995), (10.0, 2.995), 90)], {},
         "the inside arc of line 3 after line 2 has a radius of 2.9950 mm, smaller than the cutter's 3.0000 mm; expected a larger arc, or a smaller cutter or D", (2, 3)),
        # An arc of the cutter's radius after an inside corner of 150 degrees: its point lies off the wall's path.
        ([*WALL, ("arc", turned((10.0, 0.0), (8.5, 1.5 * math.sqrt(3)), 1.0), (8.5, 1.5 * math.sqrt(3)), math.degrees(1.0))], {},
         "the cutter of radius 3.0000 mm can't enter the inside corner between line 2 and line 3: their offset paths don't meet; expected a smaller cutter or D", (2, 3)),
        # The next one with its mouth 3.8 mm high.
        ([("line", (-9.0, 0.0)), ("line", (9.0, 0.0)), ("arc", turned((9.0, 0.0), (0.0, 0.0), math.radians(155)), (0.0, 0.0), 155)], {"start": (-20.0, 0.0)},
         "the cutter of radius 3.0000 mm can't get into the inside corner between line 2 and line 3: on its way there it would cut the end of line 3; expected a smaller cutter or D", (2, 3)),
        # Almost a full circle inside a radius of 9, which ends 1 mm beside the wall into it: the mouth is too narrow.
        ([("line", (-9.0, 0.0)), ("line", (9.0, 0.0)), ("arc", (-math.sqrt(80), 1.0), (0.0, 0.0), 180 - math.degrees(math.asin(1 / 9)))], {"start": (-20.0, 0.0)},
         "the cutter of radius 3.0000 mm can't get into the inside corner between line 2 and line 3: on its way there it would cut the end of line 3; expected a smaller cutter or D", (2, 3)),
        ([*WALL, ("line", (10.0, 20.0))], {"refuse_concave": True},
         "line 2 and line 3 form an inside corner of 90.000 degrees, and inside corners are refused (NISTIR 6556); expected an inside arc larger than the cutter between them", (2, 3)),
        ([*WALL, ("arc", (13.0, 3.0), (10.0, 3.0), 90)], {"refuse_concave": True},
         "the inside arc of line 3 after line 2 has a radius of 3.0000 mm, not larger than the cutter's 3.0000 mm; expected a larger arc, or a smaller cutter or D", (2, 3)),
        ([("arc", (13.0, 3.0), (10.0, 3.0), 90)], {},
         "an arc as the first move under G41; expected a straight lead-in", (1,)),
        ([("line", (-7.0, 0.0))], {"entry": "tangent"},
         "the lead-in of 2.0000 mm is not longer than the cutter's radius, 3.0000 mm; expected a start farther away", (1,)),
        ([*WALL, ("D", 2.0)], {"refuse_change": True},
         "a new radius (2.0000 mm) while G41 is in force; expected G40 before it", (3,)),
        ([*WALL, ("D", 2.0), ("arc", (20.0, 10.0), (10.0, 10.0), 90)], {},
         "the cutter's radius changes from 3.0000 mm to 2.0000 mm on an arc; expected the new D before a line", (2, 4)),
        ([*WALL, ("idle",), ("idle",), ("idle",)], {"idle_limit": 2},
         "3 blocks without motion in the plane after line 2 under G41; expected at most 2, so that the control can see the next corner", (2, 5)),
    ],
)  # fmt: skip
def test_errors(words, options, text, infos):
    options = dict(options)
    start = options.pop("start", START)
    with pytest.raises(CompensationError) as caught:
        run(start, words, radius=3.0, name=lambda info: f"line {info}", **options)
    assert str(caught.value) == text
    assert caught.value.infos == infos


def test_a_mouth_that_is_wide_enough_or_that_the_program_cuts_itself():
    """The same pocket, 3 mm and more open, is entered; one whose arc goes right across the wall is
    what the program says with any cutter."""
    line = [("line", (-9.0, 0.0)), ("line", (9.0, 0.0))]
    for angle, crosses in ((150.0, False), (300.0, True)):
        end = turned((9.0, 0.0), (0.0, 0.0), math.radians(angle))
        moves = run((-20.0, 0.0), [*line, ("arc", end, (0.0, 0.0), angle), ("G40",)], radius=1.0)
        check(moves[1:2], [(2, GIVEN, math.sqrt(63), 1, 0)])
        assert (end[1] < 0) == crosses


def test_the_other_side_under_compensation():
    machine = Compensator("left", 3.0, START)
    machine.line((0.0, 0.0), 1)
    with pytest.raises(
        CompensationError, match=r"^G42 while G41 is in force; expected G40 before it$"
    ) as caught:
        machine.change("right", 3.0, 2)
    assert caught.value.infos == (2,)


@pytest.mark.parametrize("start", [(math.nan, 0.0), (0.0, math.inf)])
def test_start_not_known(start):
    with pytest.raises(
        CompensationError,
        match=r"^G42 from a place that is not known; expected X and Y given before it$",
    ):
        Compensator("right", 3.0, start)


@pytest.mark.parametrize(("width", "fits"), [(6.0, True), (6.0 + 1e-6, True), (6.0 - 1e-6, False)])
def test_slot_as_wide_as_the_cutter(width, fits):
    """Just fits: its floor shrinks to a point, which stays a move for the height it may carry."""
    words = [
        ("line", (0.0, 10.0)),
        ("line", (0.0, 0.0)),
        ("line", (width, 0.0)),
        ("line", (width, 10.0)),
        ("G40",),
    ]
    if not fits:
        with pytest.raises(CompensationError, match=r"can't reach 3 between 2 and 4"):
            run((0.0, 20.0), words, radius=3.0)
        return
    moves = run((0.0, 20.0), words, radius=3.0)
    check(
        moves,
        [
            (1, ENTRY, 3, 10, 0),
            (2, GIVEN, 3, 3, 0),
            (3, GIVEN, width - 3, 3, 0),
            (4, GIVEN, width - 3, 10, 0),
        ],
    )


# --------------------------------------------------------------------------------- degenerate inputs


@pytest.mark.parametrize(
    ("words", "radius", "expected"),
    [
        # A line without length is an idle block, wherever it stands.
        ([("line", (0.0, 0.0)), ("line", (0.0, 0.0)), ("line", (9.0, 0.0)), ("line", (9.0, 0.0))], 1.0,
         [(1, ENTRY, 0, 1, 0), (2, IDLE, 0, 1, 0), (3, GIVEN, 9, 1, 0), (4, IDLE, 9, 1, 0)]),
        ([("line", (-9.0, 0.0)), ("line", (0.0, 0.0)), ("line", (9.0, 0.0))], 1.0,
         [(1, IDLE, -9, 0, 0), (2, ENTRY, 0, 1, 0), (3, GIVEN, 9, 1, 0)]),
        # So is one of half a nanometre, and what follows begins where it began.
        ([*WALL, ("line", (10.0, 5e-10)), ("line", (20.0, 0.0))], 1.0,
         [(1, ENTRY, 0, 1, 0), (2, GIVEN, 10, 1, 0), (3, IDLE, 10, 1, 0), (4, GIVEN, 20, 1, 0)]),
        # Straight on: no corner, both moves kept.
        ([*WALL, ("line", (20.0, 0.0)), ("line", (30.0, 0.0))], 1.0,
         [(1, ENTRY, 0, 1, 0), (2, GIVEN, 10, 1, 0), (3, GIVEN, 20, 1, 0), (4, GIVEN, 30, 1, 0)]),
        # An inside arc of the cutter's radius shrinks to a point between tangent walls.
        ([*WALL, ("arc", (13.0, 3.0), (10.0, 3.0), 90), ("line", (13.0, 9.0))], 3.0,
         [(1, ENTRY, 0, 3, 0), (2, GIVEN, 10, 3, 0), (3, GIVEN, 10, 3, 0), (4, GIVEN, 10, 9, 0)]),
        # The same with a kink that a rounded program has.
        ([*WALL, ("arc", (12.99999, 3.0), (9.99999, 3.0), math.degrees(math.pi / 2 - 1e-5 / 3)), ("line", (12.99999, 9.0))], 3.0,
         [(1, ENTRY, 0, 3, 0), (2, GIVEN, 9.99999, 3, 0), (3, GIVEN, 9.99999, 3, 0), (4, GIVEN, 9.99999, 9, 0)]),
        # Two arcs of the cutter's radius about one centre.
        ([*WALL, ("arc", (13.0, 3.0), (10.0, 3.0), 90), ("arc", (10.0, 6.0), (10.0, 3.0), 90), ("line", (0.0, 6.0))], 3.0,
         [(1, ENTRY, 0, 3, 0), (2, GIVEN, 10, 3, 0), (3, GIVEN, 10, 3, 0), (4, GIVEN, 10, 3, 0), (5, GIVEN, 0, 3, 0)]),
        # A round floor between walls 2 R apart is touched in one point: no turn is left of it.
        ([("line", (-3.0, 9.0)), ("line", (-3.0, -4.0)), ("arc", (3.0, -4.0), (0.0, 0.0), 2 * math.degrees(math.asin(0.6))), ("line", (3.0, 9.0))], 3.0,
         [(1, ENTRY, 0, 9, 0), (2, GIVEN, 0, -2, 0), (3, GIVEN, 0, -2, 0), (4, GIVEN, 0, 9, 0)]),
        # A kink of less than 1e-9 mm over the radius is no corner, to either side.
        ([*WALL, ("line", (20.0, 1e-9))], 3.0, [(1, ENTRY, 0, 3, 0), (2, GIVEN, 10, 3, 0), (3, GIVEN, 20, 3, 0)]),
        ([*WALL, ("line", (20.0, -1e-9))], 3.0, [(1, ENTRY, 0, 3, 0), (2, GIVEN, 10, 3, 0), (3, GIVEN, 20, 3, 0)]),
        # An arc's last digits: its end is 0.001 mm farther out than its start, and stays so.
        ([("line", (5.0, 0.0)), ("arc", (0.0, 5.001), (0.0, 0.0), 90), ("line", (-9.0, 5.001))], -1.0,
         [(1, ENTRY, 6, 0, 0), (2, GIVEN, 0, 6.001, 90), (3, GIVEN, -9, 6.001, 0)]),
        # An arc of almost no length at an outside corner.
        ([*WALL, ("arc", (10.0, -2e-8), (10.0, -1e-8), -180), ("line", (0.0, -2e-8))], 3.0,
         [(1, ENTRY, 0, 3, 0), (2, GIVEN, 10, 3, 0), (3, GIVEN, 10, -3, -180), (4, GIVEN, 0, -3, 0)]),
    ],
)  # fmt: skip
def test_degenerate(words, radius, expected):
    moves = []
    machine = Compensator("left", radius, START)
    for info, (what, end, *rest) in enumerate(words, 1):
        moves += (
            machine.arc(end, rest[0], math.radians(rest[1]), info)
            if what == "arc"
            else machine.line(end, info)
        )
    moves += machine.finish(None, 0)
    assert [m[:2] for m in shown(moves)] == [e[:2] for e in expected]
    for move, want in zip(shown(moves), expected, strict=True):
        assert move[2:] == pytest.approx(want[2:], abs=1e-7), want
        assert (move[4] == 0) == (want[4] == 0)


@pytest.mark.parametrize("kink", [10.0**-k for k in range(1, 13)])
@pytest.mark.parametrize("curve", [1, -1])
@pytest.mark.parametrize("inside", [1, -1])
@pytest.mark.parametrize("arc_radius", [3.0 + 1e-3, 6.0, 100.0, 1e4])
def test_kinks_of_every_size_between_a_line_and_an_arc(kink, curve, inside, arc_radius):
    """A tangent missed by a rounding or more, to either side, into arcs that curve either way:
    no error; the join is at R from the line and the arc, and no hole opens."""
    R = 3.0
    u = (math.cos(kink), inside * math.sin(kink))
    center = (-curve * arc_radius * u[1], curve * arc_radius * u[0])
    turn = curve * min(2.0, 30 / arc_radius)
    if arc_radius < 3.1 and kink > 0.02 and inside > 0 and curve > 0:
        return  # the arc's offset is 0.001 mm small: the line misses it
    words = [
        ("line", (-20.0, 0.0)),
        ("line", (0.0, 0.0)),
        ("arc", turned((0.0, 0.0), center, turn), center, math.degrees(turn)),
        ("G40",),
    ]
    moves = run((-29.0, 0.0), words, radius=R)
    assert [m.kind for m in moves if m.kind != CORNER] == [ENTRY, GIVEN, GIVEN]
    assert (len(moves) == 4) == (inside < 0 and R * kink > 1e-9)
    assert moves[1].end[1] == pytest.approx(R, abs=1e-9)
    joint = moves[-1].start
    assert math.dist(joint, center) == pytest.approx(
        arc_radius - curve * R, abs=1e-9 + 1e-15 * arc_radius
    )
    assert math.hypot(*joint) == pytest.approx(R, rel=1e-2 + 50 * kink if inside > 0 else 1e-9)
