"""What a pass is: tool changes, headings and words of ours. The definition is the project's."""

from __future__ import annotations

import pytest
from proud.moves import Program
from proud.program import ReaderSettings, read_text

TOOLS = {1: "flat 10 mm", 2: "ball 6 mm", 3: ""}
FEED, DOWN, UP = "G1 X1 Y0 Z-1 F100", "G1 Z-2", "G0 Z5"


def read(*lines: str) -> Program:
    return read_text(
        "\n".join(["G21", *lines, "M30"]), ReaderSettings(unit="mm", tools=TOOLS, stock_top=2.0)
    )


def names(*lines: str) -> list[tuple[int, str]]:
    return [(p.tool, p.name) for p in read(*lines).passes]


T1, T2 = "T1 M6", "T2 M6"


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        # names
        ([T1, FEED], [(1, "tool 1 flat 10 mm")]),
        (["T3 M6", FEED], [(3, "tool 3")]),
        ([T1, "(A)", FEED], [(1, "A")]),
        (["(A)", T1, FEED], [(1, "A")]),
        (["(A)", T1, "(B)", "(C)", FEED], [(1, "C")]),
        ([T1, "( rough   outside )", FEED], [(1, "rough outside")]),
        ([T1, "N10 (A)", FEED], [(1, "A")]),
        ([T1, "/(A)", FEED], [(1, "A")]),
        ([T1, ";A", FEED], [(1, "A")]),
        ([T1, "(A)(B)", FEED], [(1, "B")]),
        (["T1 M6 (A)", FEED + "(B)"], [(1, "tool 1 flat 10 mm")]),
        (["O1 (PART)", T1, FEED], [(1, "tool 1 flat 10 mm")]),
        ([T1, "(A)", "(-----)", "()", "(MSG, CLAMP)", FEED], [(1, "A")]),
        # tool changes
        ([T1, FEED, T2, FEED], [(1, "tool 1 flat 10 mm"), (2, "tool 2 ball 6 mm")]),
        ([T1, "(A)", FEED, T1, FEED], [(1, "A"), (1, "tool 1 flat 10 mm")]),
        ([T1, "(A)", FEED, UP, "(B)", T2, FEED], [(1, "A"), (2, "B")]),
        ([T1, "(A)", FEED, "(B)", UP, T2, FEED], [(1, "A"), (2, "B")]),
        ([T1, "(A)", FEED, UP, "(B)", T2, "(C)", FEED], [(1, "A"), (2, "C")]),
        ([T1, "(A)", FEED, "T2", "(B)", "M6", FEED], [(1, "A"), (2, "B")]),
        ([T1, "(A)", T2, FEED], [(2, "A")]),
        ([T1, FEED, T2, UP, T1, FEED], [(1, "tool 1 flat 10 mm"), (1, "tool 1 flat 10 mm")]),
        # headings
        ([T1, "(A)", FEED, UP, "(B)", FEED], [(1, "A"), (1, "B")]),
        ([T1, "(A)", FEED, "G0 Z2", "(B)", FEED], [(1, "A")]),  # on the stock, not above it
        ([T1, "(A)", FEED, "G0 Z2.001", "(B)", FEED], [(1, "A"), (1, "B")]),
        ([T1, "(A)", FEED, "G0 Z1.999", "(B)", FEED], [(1, "A")]),
        ([T1, "(A)", FEED, "G91 G28 Z0", "G90", "(B)", "G0 Z1", FEED], [(1, "A"), (1, "B")]),
        ([T1, "(A)", FEED, "(DEPTH 2)", DOWN, "(DEPTH 3)", DOWN, UP, DOWN], [(1, "A")]),
        ([T1, "(A)", FEED, UP, "(-----)", "(MSG, B)", "G0 X0 (B)", FEED], [(1, "A")]),
        ([T1, "(A)", FEED, UP, "(B)", "G0 Z0", "(C)", FEED], [(1, "A"), (1, "C")]),
        ([T1, "(A)", FEED, "(B)", UP, "(C)", "(D)", FEED, DOWN], [(1, "A"), (1, "D")]),
        ([T1, "(A)", FEED, "(B)", UP, FEED, UP, "(C)", FEED], [(1, "A"), (1, "C")]),
        ([T1, "(A)", FEED, UP, "(B)"], [(1, "A")]),
        # words of ours
        ([T1, "(A)", FEED, "(PROUD PASS B)", DOWN], [(1, "A"), (1, "B")]),
        ([T1, "(A)", FEED, "(proud  pass  Deep End)", "(C)", DOWN], [(1, "A"), (1, "Deep End")]),
        ([T1, "(A)", FEED, "G1 Z-2 (PROUD PASS B)"], [(1, "A"), (1, "B")]),
        ([T1, "(A)", FEED, "(PROUD PASS)", DOWN], [(1, "A"), (1, "tool 1 flat 10 mm")]),
        ([T1, "(A)", FEED, "(PROUD PASS)", "(B)", DOWN], [(1, "A"), (1, "B")]),
        (["(PROUD PASS B)", T1, "(A)", FEED], [(1, "B")]),
        ([T1, "(A)", FEED, UP, "(B)", "(PROUD SAME PASS)", FEED], [(1, "A")]),
        ([T1, "(A)", FEED, UP, "(PROUD SAME PASS)", "(B)", "(C)", FEED], [(1, "A")]),
        ([T1, "(A)", FEED, "(PROUD SAME PASS)", UP, "(B)", FEED], [(1, "A")]),
        (
            [T1, "(A)", FEED, UP, "(B)", "(PROUD SAME PASS)", FEED, UP, "(C)", FEED],
            [(1, "A"), (1, "C")],
        ),
        ([T1, "(A)", FEED, UP, "(PROUD SAME PASS)", "(B)", T2, FEED], [(1, "A"), (2, "B")]),
        (
            [T1, "(A)", FEED, UP, "(B)", "(PROUD PASS)", "(PROUD SAME PASS)", FEED],
            [(1, "A"), (1, "B")],
        ),
    ],
)
def test_passes(lines: list[str], expected: list[tuple[int, str]]) -> None:
    assert names(*lines) == expected


def test_lines_and_numbers() -> None:
    found = read(T1, "(A)", "G0 X0 Y0 Z5", FEED, DOWN, UP, "(B)", "G0 X9", FEED, UP, T2, FEED)
    assert [(p.number, p.setup, p.from_line, p.to_line) for p in found.passes] == [
        (1, 0, 5, 6),
        (2, 0, 10, 10),
        (3, 0, 13, 13),
    ]
    assert found.moves.line.tolist() == [4, 5, 6, 7, 9, 10, 11, 13]
    assert found.moves.pass_number.tolist() == [1, 1, 1, 1, 2, 2, 2, 3]


@pytest.mark.parametrize(
    ("lines", "numbers"),
    [
        # first run without a feed move: with the next, whatever its tool
        ([T1, "G0 X0 Y0 Z5", T2, FEED], [1, 1]),
        # the same tool makes the next pass
        ([T1, FEED, UP, T2, "G0 X5", T2, FEED], [1, 1, 2, 2]),
        ([T1, FEED, UP, "(B)", "G0 X5", T1, FEED], [1, 1, 2, 2]),
        # another tool makes the next pass: with the one before
        ([T1, FEED, UP, "(B)", "G0 X5", T2, FEED], [1, 1, 1, 2]),
        ([T1, FEED, UP, T2, "G0 X5", T1, FEED], [1, 1, 1, 2]),
        # no next pass
        ([T1, FEED, UP, "(B)", "G0 X5"], [1, 1, 1]),
        # joined
        ([T1, FEED, UP, "(B)", "G0 X5", "(PROUD SAME PASS)", FEED], [1, 1, 1, 1]),
    ],
)
def test_runs_without_a_feed_move(lines: list[str], numbers: list[int]) -> None:
    assert read(*lines).moves.pass_number.tolist() == numbers


def test_a_word_of_ours_that_is_none_is_noted() -> None:
    found = read(T1, "G43 H1", "(PROUD PAS X)", FEED, "(SO PROUD)")
    assert found.notes == (
        "program:4: the comment (PROUD PAS X) is none of ours; expected (PROUD PASS name) or "
        "(PROUD SAME PASS)",
    )
