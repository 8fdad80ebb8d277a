"""Moves of programs, against values worked out by hand or given in NISTIR 6556."""

from __future__ import annotations

import math

import numpy as np
import pytest
from proud.errors import ProgramError
from proud.moves import ARC, LINE, Moves, Program
from proud.program import ReaderSettings, read_text

NAN = math.nan
TOOLS = {1: "flat 12 mm", 2: "ball 6 mm", 3: "drill 5 mm"}
HEAD = "G21 T1 M6\nG43 H1\nS1000 M3\nF100\n"


def settings(**changes: object) -> ReaderSettings:
    given: dict[str, object] = {"unit": "mm", "tools": TOOLS, "stock_top": 0.0, **changes}
    return ReaderSettings(**given)  # type: ignore[arg-type]


def read(text: str, **changes: object) -> Program:
    return read_text(text, settings(**changes))


def moves(text: str, **changes: object) -> Moves:
    return read(HEAD + "G21\n" + text, **changes).moves


def ends(found: Moves) -> list[tuple[float, ...]]:
    return [tuple(row) for row in found.end.tolist()]


def path(found: Moves) -> list[tuple[float, float, float, str]]:
    return [
        (*row, "rapid" if r else "feed")
        for row, r in zip(found.end.tolist(), found.rapid, strict=True)
    ]


# Words and units


def test_blanks_and_case_do_not_count() -> None:
    """NISTIR 6556 3.3: its own example."""
    first = moves("G0 X0 Y0 Z0\ng1\ng0x +0. 12 34y 7\nG1 Z-1")
    second = moves("G0 X0 Y0 Z0\nG1\nG0 X+0.1234 Y7\nG1 Z-1")
    assert ends(first) == ends(second) == [(0, 0, 0), (0.1234, 7, 0), (0.1234, 7, -1)]


def test_inch_and_metric_in_one_program() -> None:
    found = moves("G20 G0 X1 Y2 Z0.5\nG1 Z-0.1 F10\nG21 X30 F500\nG20 Y1")
    assert ends(found) == [
        (25.4, 50.8, 12.7),
        (25.4, 50.8, -2.54),
        (30, 50.8, -2.54),
        (30, 25.4, -2.54),
    ]
    assert found.feed.tolist() == [0, 254, 500, 500]


def test_unit_of_the_job_until_the_program_says_one() -> None:
    found = read("T1 M6\nG43 H1\nG4 P1\nG0 X1 Y0 Z0\nG1 Z-1 F1\nM30", unit="in")
    assert ends(found.moves) == [(25.4, 0, 0), (25.4, 0, -25.4)]
    assert found.notes == ("program:4: lengths before any G20 or G21: read as inches",)


def test_increments_do_not_gather_rounding() -> None:
    found = moves("G20 G0 X0 Y0 Z0\nG91 G1\n" + "X0.1\n" * 1000 + "G90 X100.")
    assert found.start[-1, 0] == found.end[-1, 0] == 2540.0


def test_fields_of_a_move() -> None:
    found = moves(
        "G0 X0 Y0 Z5\nG1 Z-1 F200\nM4 S500\nX10\nM5 Y1\nG49 X2",
        setup=3,
        work_offsets={"G54": (0, 0, 0)},
    )
    assert found.start.tolist()[1:] == found.end.tolist()[:-1]
    assert np.isnan(found.start[0]).all()
    assert found.rapid.tolist() == [True, False, False, False, False]
    assert found.feed.tolist() == [0, 200, 200, 200, 200]
    assert found.spindle.tolist() == [1000, 1000, -500, 0, 0]
    assert found.h_register.tolist() == [1, 1, 1, 1, 0]
    assert found.line.tolist() == [6, 7, 9, 10, 11]
    assert found.tool.tolist() == [1] * 5
    assert found.setup.tolist() == [3] * 5
    assert found.kind.tolist() == [LINE] * 5
    assert found.turn.tolist() == [0] * 5


def test_feed_per_revolution() -> None:
    found = moves("G0 X0 Y0 Z0\nG95 F0.2 G1 X1\nM4 S500 X2\nG94 F30 X3")
    assert found.feed.tolist() == [0, 200, 100, 30]


# Order of execution


def test_words_of_a_block_act_in_the_order_of_the_standard() -> None:
    """NISTIR 6556 Table 8: F, S, T, M6, M3, units, H, work zero, distance, then motion."""
    text = "X10 Y0 Z0 G1 G55 G20 G90 H2 G43 M3 M6 T2 S700 F10\nM30"
    found = read("G21 G91 T1 M6\n" + text, work_offsets={"G55": (1, 2, 3)}).moves
    assert ends(found) == [(255, 2, 3)]
    assert found.tool.tolist() == [2]
    assert found.h_register.tolist() == [2]
    assert found.spindle.tolist() == [700]
    assert found.feed.tolist() == [254]


def test_feed_counts_in_the_unit_of_its_block() -> None:
    """Common practice, no source: ``G21 F500`` is metric though F comes first in Table 8."""
    found = read("G20 T1 M6\nG0 X0 Y0 Z0\nG21 F500 G1 X1\nM30").moves
    assert found.feed.tolist()[-1] == 500


def test_stop_comes_last_and_ends_the_program() -> None:
    found = moves("G0 X0 Y0 Z0\nM30 G1 X5\nX9 rubbish")
    assert ends(found) == [(0, 0, 0), (5, 0, 0)]


@pytest.mark.parametrize("stop", ["M0", "M1", "M60"])
def test_pauses_do_not_end_the_program(stop: str) -> None:
    assert ends(moves(f"G0 X0 Y0 Z0\n{stop}\nG1 X5"))[-1] == (5, 0, 0)


def test_g98_goes_back_to_the_height_before_the_series() -> None:
    """G98 after G99 goes back to the height before the series (common practice, no source)."""
    found = moves("G0 X0 Y0 Z9\nG99 G81 X1 Z-1 R1\nG98 X2\nX3\nG80\nG0 Z4\nG81 X4 Z-1 R1")
    heights = [row[2] for row in path(found) if row[3] == "rapid"][1:]
    assert heights == [*(9, 1, 1), *(1, 9), *(9, 1, 9), 4, *(4, 1, 4)]


def test_only_m6_changes_the_tool() -> None:
    found = moves("G0 X0 Y0 Z0\nG1 X1\nT2\nX2\nM6\nX3")
    assert found.tool.tolist() == [1, 1, 1, 2]


# Arcs


def test_helical_arc_of_the_standard() -> None:
    """NISTIR 6556 3.5.3: from (7, 7), G2 X10 Y16 I3 J4 Z9 turns about (10, 11), radius 5."""
    found = moves("G0 X7 Y7 Z0\nG17 G2 X10 Y16 I3 J4 Z9")[1:]
    assert ends(found) == [(10, 16, 9)]
    assert found.center.tolist() == [[10, 11]]
    assert found.kind.tolist() == [ARC]
    # from (-3, -4)/5 clockwise to (0, 5)/5: derived
    assert found.turn[0] == pytest.approx(-(math.pi - math.atan2(3, 4)), abs=1e-14)


@pytest.mark.parametrize(
    ("word", "center", "turn"),
    [
        ("G2 X10 Y0 R5", (5, 0), -math.pi),
        ("G3 X10 Y0 R5", (5, 0), math.pi),
        ("G3 X5 Y5 R5", (0, 5), math.pi / 2),
        ("G2 X5 Y5 R5", (5, 0), -math.pi / 2),
        ("G3 X5 Y5 R-5", (5, 0), 1.5 * math.pi),
        ("G2 X5 Y5 R-5", (0, 5), -1.5 * math.pi),
    ],
)
def test_radius_form(word: str, center: tuple[float, float], turn: float) -> None:
    """NISTIR 6556 3.5.3.1: positive R at most half a circle, negative the longer; derived."""
    found = moves(f"G0 X0 Y0 Z0\n{word}")[1:]
    assert found.center[0] == pytest.approx(center, abs=1e-10)
    assert found.turn[0] == pytest.approx(turn, abs=1e-9)


def test_radius_form_of_the_standard() -> None:
    """NISTIR 6556 3.5.3.1: G17 G2 X10 Y15 R20 Z5, here from (0, 0); derived."""
    found = moves("G0 X0 Y0 Z0\nG17 G2 X10 Y15 R20 Z5")[1:]
    radii = [math.dist(found.center[0], p) for p in ((0, 0), (10, 15))]
    assert radii == pytest.approx([20, 20], abs=1e-9)
    assert found.turn[0] == pytest.approx(-2 * math.asin(math.hypot(10, 15) / 40), abs=1e-12)


def test_transcript_of_the_standard() -> None:
    """NISTIR 6556 Table 10: from (3, 1) to X0 with R7.01 the centre is (1.5, 7.8476)."""
    found = moves("G0 X3 Y1 Z0\nG2 X0 R7.01 Z0.5")[1:]
    assert found.center[0] == pytest.approx((1.5, 7.8476), abs=5e-5)


@pytest.mark.parametrize("words", ["I-5", "X5 Y0 I-5", "X5 I-5 J0", "Y0 I-5"])
@pytest.mark.parametrize(("g", "turn"), [("G2", -math.tau), ("G3", math.tau)])
def test_full_circle(words: str, g: str, turn: float) -> None:
    found = moves(f"G0 X5 Y0 Z0\n{g} {words} Z-1")[1:]
    assert found.center.tolist() == [[0, 0]]
    assert found.turn.tolist() == [turn]
    assert ends(found) == [(5, 0, -1)]


def test_arc_keeps_the_programmed_end_and_center() -> None:
    found = moves("G0 X5 Y0 Z0\nG3 X0 Y5.0015 I-5")[1:]
    assert ends(found) == [(0, 5.0015, 0)]
    assert found.center.tolist() == [[0, 0]]
    assert found.turn[0] == pytest.approx(math.pi / 2, abs=1e-15)


@pytest.mark.parametrize(("unit", "limit"), [("G20", "0.0002"), ("G21", "0.002")])
@pytest.mark.parametrize("sign", [1, -1])
def test_arc_tolerance_just_inside_and_outside(unit: str, limit: str, sign: int) -> None:
    """NISTIR 6556 3.5.3: radii may differ by at most 0.0002 inch or 0.002 mm."""
    end = 1 + sign * float(limit)
    moves(f"{unit} G0 X1 Y0 Z0\nG3 X0 Y{end:.7f} I-1")
    with pytest.raises(ProgramError) as caught:
        moves(f"{unit} G0 X1 Y0 Z0\nG3 X0 Y{end + sign * 1e-6:.7f} I-1")
    name = "in" if unit == "G20" else "mm"
    assert f"radius {1:.{6 if name == 'in' else 5}f} {name} at the start" in str(caught.value)
    assert f"expected at most {limit} {name}" in str(caught.value)


def test_radius_a_hair_too_small_is_a_half_circle() -> None:
    found = moves("G0 X0 Y0 Z0\nG2 X10 R4.999")[1:]
    assert found.center.tolist() == [[5, 0]]
    assert found.turn[0] == pytest.approx(-math.pi, abs=1e-15)


def test_offsets_are_increments_in_g90_and_g91() -> None:
    found = moves("G0 X10 Y10 Z0\nG91 G3 X-5 Y5 I-5")[1:]
    assert found.center.tolist() == [[5, 10]]
    assert ends(found) == [(5, 15, 0)]


# Drilling


def test_g81_in_g90() -> None:
    """NISTIR 6556 3.5.16.2, example 1."""
    found = moves("G0 X1 Y2 Z3\nG90 G81 G98 X4 Y5 Z1.5 R2.8")[1:]
    assert path(found) == [
        (4, 5, 3, "rapid"),
        (4, 5, 2.8, "rapid"),
        (4, 5, 1.5, "feed"),
        (4, 5, 3, "rapid"),
    ]


def test_g81_in_g91_with_repeats() -> None:
    """NISTIR 6556 3.5.16.2, example 2."""
    found = moves("G0 X1 Y2 Z3\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 L3")[1:]
    expected = [(1, 2, 4.8, "rapid")]
    for x, y in ((5, 7), (9, 12), (13, 17)):
        expected += [(x, y, 4.8, "rapid"), (x, y, 4.2, "feed"), (x, y, 4.8, "rapid")]
    assert path(found) == expected


def test_g81_of_the_transcript() -> None:
    """NISTIR 6556 Table 10: (30,1,1)(33,3,1)(33,3,0.2)(33,3,1)(36,5,1)(36,5,0.2)(36,5,1)."""
    found = moves("G0 X30 Y1 Z-0.5\nG91 G81 X3 Y2 Z-0.8 R1.5 L2")[1:]
    assert ends(found) == [
        (30, 1, 1),
        (33, 3, 1),
        (33, 3, 0.2),
        (33, 3, 1),
        (36, 5, 1),
        (36, 5, 0.2),
        (36, 5, 1),
    ]


def test_cycle_stays_in_force_and_keeps_its_words() -> None:
    found = moves("G0 X0 Y0 Z10\nG99 G81 X1 Y1 Z-5 R2\nX2\nG98 Y3\nG80\nG0 X0")[1:]
    assert path(found) == [
        *((1, 1, 10, "rapid"), (1, 1, 2, "rapid"), (1, 1, -5, "feed"), (1, 1, 2, "rapid")),
        *((2, 1, 2, "rapid"), (2, 1, -5, "feed"), (2, 1, 2, "rapid")),
        *((2, 3, 2, "rapid"), (2, 3, -5, "feed"), (2, 3, 10, "rapid")),
        (0, 3, 10, "rapid"),
    ]


def test_cycle_keeps_its_levels_when_the_unit_changes() -> None:
    found = moves("G0 X0 Y0 Z10\nG99 G81 X1 Y1 Z-5 R2\nG20 X1")[1:]
    assert path(found)[-2:] == [(25.4, 1, -5, "feed"), (25.4, 1, 2, "rapid")]


def test_g82_and_the_work_zero() -> None:
    found = moves("G55 G0 X0 Y0 Z10\nG82 X1 Y1 Z-5 R2 P0.5", work_offsets={"G55": (100, 50, 20)})
    assert path(found)[1:] == [
        (101, 51, 30, "rapid"),
        (101, 51, 22, "rapid"),
        (101, 51, 15, "feed"),
        (101, 51, 30, "rapid"),
    ]


def test_g83_pecks() -> None:
    """NISTIR 6556 3.5.16.4: out to R after each peck, back to a little above the last depth."""
    found = moves("G0 X0 Y0 Z5\nG99 G83 X0 Y0 Z-5 R1 Q2.5")[1:]
    assert path(found)[1:] == [
        *((0, 0, 1, "rapid"), (0, 0, -1.5, "feed"), (0, 0, 1, "rapid"), (0, 0, -1.246, "rapid")),
        *((0, 0, -4, "feed"), (0, 0, 1, "rapid"), (0, 0, -3.746, "rapid")),
        *((0, 0, -5, "feed"), (0, 0, 1, "rapid")),
    ]


def test_g83_whole_number_of_pecks_ends_once() -> None:
    found = moves("G0 X0 Y0 Z1\nG99 G83 X0 Y0 Z-0.9 R0.1 Q0.1")
    depths = found.end[~found.rapid][:, 2]
    assert depths.tolist() == pytest.approx([round(-0.1 * n, 1) for n in range(10)], abs=1e-12)


def test_cycle_from_an_unknown_height() -> None:
    found = moves("G0 X0 Y0\nG98 G81 X5 Y5 Z-2 R1\nG0 X9 Y9\nZ3")
    assert path(found) == [(5, 5, 1, "rapid"), (5, 5, -2, "feed"), (9, 9, 3, "rapid")]
    assert np.isnan(found.start[:, 2]).tolist() == [True, False, True]
    assert found.sweeps().tolist() == [True, True, True]


def test_r_in_g91_after_g99_is_noted() -> None:
    found = read(HEAD + "G21 G0 X0 Y0 Z5\nG91 G99 G81 X1 Z-1 R-3\nX1\nM30")
    assert found.notes[-1].startswith("program:7: R in G91 counts from where the tool stands")
    assert path(found.moves)[-1] == (2, 0, -1, "rapid")


# Home, machine zero, work zero, unknown axes


def test_start_is_unknown_and_a_plunge_comes_from_above() -> None:
    found = moves("G0 X1 Y2\nZ5\nG1 Z-1")
    assert ends(found) == [(1, 2, 5), (1, 2, -1)]
    np.testing.assert_array_equal(found.start[0], [1, 2, NAN])
    assert found.sweeps().tolist() == [True, True]


def test_increment_from_an_unknown_place_stays_unknown() -> None:
    found = moves("G91 G28 Z0\nG90 G0 X1 Y2\nG91 Z-5\nG90 Z3\nG1 Z-1")
    assert ends(found) == [(1, 2, 3), (1, 2, -1)]
    assert np.isnan(found.start[0, 2])


@pytest.mark.parametrize("word", ["G28", "G30"])
def test_home_of_the_named_axes_by_way_of_a_point(word: str) -> None:
    text = f"G0 X0 Y0 Z0\nG1 Z-1\nG91 {word} Z4\nG90 G0 X5\nG1 Z-2"
    found = moves(text, home=(300, 200, 100))
    assert ends(found)[2:] == [(0, 0, 3), (0, 0, 100), (5, 0, 100), (5, 0, -2)]
    assert found.rapid.tolist() == [True, False, True, True, True, False]
    lost = moves(text)
    assert ends(lost)[2:] == [(0, 0, 3), (5, 0, -2)]
    np.testing.assert_array_equal(lost.start[3], [5, 0, NAN])


def test_home_of_all_axes() -> None:
    found = moves("G0 X0 Y0 Z0\nG1 Z-1\nG28\nX1 Y2 Z3", home=(300, 200, 100))
    assert ends(found)[-2:] == [(300, 200, 100), (1, 2, 3)]


def test_start_is_home_where_the_job_gives_it() -> None:
    found = moves("G0 Z5\nG1 Z-1", home=(300, 200, 100))
    assert ends(found) == [(300, 200, 5), (300, 200, -1)]
    assert found.start[0].tolist() == [300, 200, 100]


def test_g0_beside_g28_sets_the_motion_only() -> None:
    """Common practice, no source: posted programs write G0 G91 G28 Z0."""
    found = moves("G1 X0 Y0 Z0\nG0 G91 G28 Z0\nG90 X1 Z5\nG1 Z0")
    assert path(found) == [
        (0, 0, 0, "feed"),
        (0, 0, 0, "rapid"),
        (1, 0, 5, "rapid"),
        (1, 0, 0, "feed"),
    ]


def test_machine_zero() -> None:
    text = "G0 X0 Y0 Z0\nG1 Z-1\nG91 G0 G53 Z-10\nG53 X-5 Y-6\nG90 X1 Y1 Z0"
    found = moves(text, home=(300, 200, 100))
    assert ends(found)[2:] == [(0, 0, 90), (295, 194, 90), (1, 1, 0)]
    lost = moves(text)
    assert ends(lost)[2:] == [(1, 1, 0)]
    assert np.isnan(lost.start[2]).all()


def test_work_zeros() -> None:
    offsets = {"G54": (1, 1, 1), "G55": (10, 20, 30)}
    found = moves("G0 X0 Y0 Z0\nG55 X0\nG91 Y1\nG90 G54 G1 Z0", work_offsets=offsets)
    assert ends(found) == [(1, 1, 1), (10, 1, 1), (10, 2, 1), (10, 2, 1)]


def test_rapids_before_the_first_tool_only_set_the_place() -> None:
    found = read("G21 G0 X1 Y2 Z3\nT1 M6\nG43 H1 F100\nG1 Z-1\nM30").moves
    assert ends(found) == [(1, 2, -1)]
    assert found.start.tolist() == [[1, 2, 3]]


# What stands around the moves


def test_percent_signs_bound_the_program() -> None:
    text = f"\n%\nO1234 (PART)\n{HEAD}G21 G0 X0 Y0 Z0\nG1 X1\n%\nrubbish"
    found = read(text)
    assert found.moves.line.tolist() == [8, 9]
    assert found.notes == ()
    assert read(f"{HEAD}G21 G0 X0 Y0 Z0\nG1 X1\n%\nrubbish").notes == ()


def test_a_program_without_an_end_is_noted() -> None:
    assert read(HEAD + "G21 G1 X0 Y0 Z0").notes == (
        "program: the program has no end (M2, M30 or %): is it complete?",
    )


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert moves(f"G0 X0 Y0 Z0{end}{end}G1 X1{end}").line.tolist() == [6, 8]


@pytest.mark.parametrize(("on", "reach"), [(False, 5), (True, 1)])
def test_block_delete(on: bool, reach: float) -> None:
    found = read(HEAD + "G21 G0 X0 Y0 Z0\nG1 X1\n / N5 X5\n/(NOTE)\nY2\nM30", block_delete=on)
    assert found.moves.end[:, 0].max() == reach
    assert found.notes == (
        f"program:7: blocks with '/' are {'left out' if on else 'executed'} "
        f"(block delete is {'on' if on else 'off'})",
    )


def test_words_that_move_nothing() -> None:
    quiet = "O77\nN10 G40 G49 G80 G17\nM8 M7\nM9\nM48\nM49\nG4 P1.5\nG18\nG19\nG17\nG64 P0.01\n"
    quiet += "G61\nG61.1\nG91.1\nG94\n;remark\n(MSG, LOAD THE PART)\n\n"
    found = read(quiet + HEAD + "G1 X0 Y0 Z0;end\n(A)X1(B)\nM2")
    assert ends(found.moves) == [(0, 0, 0), (1, 0, 0)]
    assert found.notes == (
        "program:11: G61, G61.1 and G64 change nothing here: the path as programmed",
    )


def test_safe_line_of_posted_programs() -> None:
    """Common practice, no source: G0 and G80 in one block leave G0 in force."""
    found = moves("G0 G17 G40 G49 G80 G90\nX0 Y0 Z1\nG1 Z0")
    assert found.rapid.tolist() == [True, False]


def test_cutting_without_g43_is_noted_once_for_each_tool() -> None:
    text = "G21 F100 G0 X0 Y0 Z0 T1 M6\nG1 X1\nX2\nT2 M6 G43 H5\nX3\nT3 M6\nX4\nG49 X5\nM30"
    found = read(text)
    assert found.notes == (
        "program:2: tool 1 cuts without G43: its tip is taken to be on the programmed point",
        "program:7: tool 3 cuts under H5, set before its tool change",
        "program:8: tool 3 cuts without G43: its tip is taken to be on the programmed point",
    )
    assert found.moves.h_register.tolist() == [0, 0, 0, 5, 5, 0]


def test_h0_is_no_register() -> None:
    found = read("G21 F100 T1 M6 G43 H0\nG0 X0 Y0 Z0\nG1 X1\nM30")
    assert found.moves.h_register.tolist() == [0, 0]
    assert found.notes == ()


def test_feed_to_an_unknown_place_is_noted() -> None:
    found = read(HEAD + "G21\nG1 X1\nX2\nY1 Z0\nX3\nM30")
    assert ends(found.moves) == [(2, 1, 0), (3, 1, 0)]
    assert found.notes == (
        "program:6: a feed move that cuts nothing here: Y, Z not known; give it first, or give "
        "the setup a home",
    )


def test_comments_may_hold_any_letters() -> None:
    assert ends(moves("(Größe ½)\nG0 X0 Y0 Z0\nG1 X1 ; µ ( [#\n")) == [(0, 0, 0), (1, 0, 0)]
