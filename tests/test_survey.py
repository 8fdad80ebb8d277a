"""What a program does, against lengths, times and boxes worked out by hand.

Source of every expected number unless said otherwise: plane geometry, derived.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import tool, words, write_job
from proud.moves import ARC
from proud.survey import MOVE_HEADS, Survey, extent, move_rows, survey

HEAD = "G21 G90 G94\nT1 M6\nG0 X0 Y0 S1000 M3\nG43 H1 Z5\n"
"""Four lines: tool 1 stands at 0, 0, 5; the first rapid comes from an unknown place."""


def alone(tmp_path: Path, text: str, name: str = "p.nc") -> Survey:
    """Survey a program without a job."""
    path = tmp_path / name
    path.write_bytes(text.encode())
    return survey(path)


def within(tmp_path: Path, text: str, tools=(), **job) -> Survey:
    """Survey a program under a job with a block of 40 x 30 x 12, top at 0, and flat tools of 6."""
    tools = tools or [tool(n, "flat", 6.0) for n in (1, 2, 3)]
    made = write_job(tmp_path, text, tools, **job)
    return survey(tmp_path / "op1.nc", job=made)


def texts(found: Survey) -> list[tuple[int, str]]:
    return list(found.remarks)


# ----------------------------------------------------------------------------- lengths and times


def test_length_and_time_of_lines_arcs_and_a_helix(tmp_path):
    """Down 6, 5 along 3-4, a quarter of radius 10, a full turn of radius 2 that climbs 3."""
    text = HEAD + (
        "G1 Z-1 F60\nX3 Y4 F300\nG0 Z5\nX10 Y0\nG1 Z-1 F60\nG3 X0 Y10 I-10 J0 F200\n"
        "G2 X0 Y10 Z2 I0 J-2 F100\nM30\n"
    )
    found = alone(tmp_path, text)
    quarter, turn = 5 * math.pi, math.hypot(4 * math.pi, 3)
    assert found.length == pytest.approx(6 + 5 + 6 + quarter + turn, rel=1e-14)
    seconds = 6 + 1 + 6 + quarter * 60 / 200 + turn * 60 / 100
    assert found.seconds == pytest.approx(seconds, rel=1e-14)
    (only,) = found.tools
    assert (only.length, only.seconds) == (found.length, found.seconds)
    assert found.reading.blocks == 4 + 8


def test_time_in_inverse_time_and_feed_per_revolution(tmp_path):
    """G93 F4: a quarter of a minute a block, whatever its length. G95 F0.1 at 1200/min: 120."""
    text = HEAD + "G1 Z-1 F60\nG93 X7 F4\nX70 F4\nG95 S1200 F0.1\nX10\nM30\n"
    found = alone(tmp_path, text)
    assert found.seconds == pytest.approx(6 + 15 + 15 + 60 * 60 / 120, rel=1e-14)


def test_a_dwell_and_a_rapid_take_no_time_here(tmp_path):
    plain = alone(tmp_path, HEAD + "G1 Z-1 F60\nG0 Z5\nM30\n")
    longer = alone(tmp_path, HEAD + "G1 Z-1 F60\nG4 P9\nG0 Z5\nX500\nM30\n")
    assert plain.seconds == longer.seconds == 6


def test_inches(tmp_path):
    text = "G20 T1 M6\nG0 X0 Y0 S1 M3\nG0 Z1\nG1 Z0.5 F30\nX3\nM30\n"
    rows = alone(tmp_path, text).as_dict()
    assert rows["unit"] == "in"
    assert rows["length"] == pytest.approx(3.5, abs=1e-13)
    assert rows["seconds"] == pytest.approx(7, abs=1e-12)
    assert rows["feed"] == {"low": [0, 0, 0.5], "high": [pytest.approx(3), 0, 1]}


# --------------------------------------------------------------------------------------- extents


def arc(start, end, center, way) -> str:
    offset = words("IJ", (center[0] - start[0], center[1] - start[1]))
    return f"G0 {words('XY', start)}\nG1 Z-1 F100\nG{way} {words('XY', end)} {offset}\nG0 Z5\nM30\n"


@pytest.mark.parametrize(
    ("start", "end", "way", "low", "high"),
    [
        ((10, 0), (-10, 0), 3, (-10, 0), (10, 10)),
        ((10, 0), (-10, 0), 2, (-10, -10), (10, 0)),
        ((10, 0), (0, 10), 3, (0, 0), (10, 10)),
        ((10, 0), (0, 10), 2, (-10, -10), (10, 10)),
        ((10, 0), (10, 0), 2, (-10, -10), (10, 10)),
        ((6, 8), (-6, 8), 3, (-6, 8), (6, 10)),
        ((6, 8), (8, 6), 2, (6, 6), (8, 8)),
        ((6, -8), (6, 8), 3, (6, -8), (10, 8)),
        ((-8, 6), (-8, -6), 3, (-10, -6), (-8, 6)),
    ],
)
def test_an_arc_bulges_past_its_ends(start, end, way, low, high, tmp_path):
    """About 0, 0 with radius 10; places of the 6-8-10 triangle."""
    found = alone(tmp_path, HEAD + arc(start, end, (0, 0), way))
    assert found.feed.low[:2] == pytest.approx(low, abs=1e-12)
    assert found.feed.high[:2] == pytest.approx(high, abs=1e-12)
    assert (found.feed.low[2], found.feed.high[2]) == (-1, 5)


def test_extents_of_random_arcs_hold_every_point_and_no_more(tmp_path):
    """An independent reference: 20,001 points along each arc, within the sagitta of their gaps."""
    rng = np.random.default_rng(5)
    for _ in range(40):
        center, angle = rng.uniform(-5, 5, 2), rng.uniform(-math.pi, math.pi)
        radius, turn = rng.uniform(1, 8), rng.uniform(-1, 1) * math.tau
        a = angle + turn * np.linspace(0, 1, 20_001)
        points = np.round(center, 6) + radius * np.column_stack([np.cos(a), np.sin(a)])
        way = 3 if turn > 0 else 2
        text = HEAD + arc(points[0], points[-1], np.round(center, 6), way)
        moves = alone(tmp_path, text).reading.program.moves
        box = extent(moves[moves.kind == ARC])
        assert box.low[:2] == pytest.approx(points.min(axis=0), abs=1e-5)
        assert box.high[:2] == pytest.approx(points.max(axis=0), abs=1e-5)


def test_feeds_and_rapids_apart_and_by_tool(tmp_path):
    text = (
        "G21 T1 M6\nG0 X1 Y2 S1000 M3\nZ9\nG1 Z-3 F100\nX11\nG0 Z9\n"
        "T2 M6\nG0 X-5 Y-6 S1000 M3\nZ8\nG1 Z-2 F100\nY-16\nG0 Z7\nX20\n"
        "T1 M6\nG0 Z-1\nM30\n"
    )
    found = alone(tmp_path, text)
    assert (found.feed.low, found.feed.high) == ((-5, -16, -3), (11, 2, 9))
    assert (found.rapid.low, found.rapid.high) == ((-5, -16, -3), (20, 2, 9))
    first, second = found.tools
    assert (first.number, first.feed.low, first.feed.high) == (1, (1, 2, -3), (11, 2, 9))
    assert (second.number, second.rapid.low, second.rapid.high) == (2, (-5, -16, -2), (20, 2, 9))
    assert (first.lowest, first.lowest_line, first.from_line, first.to_line) == (-3, 4, 4, 5)
    assert (second.lowest, second.lowest_line, second.from_line, second.to_line) == (-2, 10, 10, 11)
    assert found.order == (1, 2)


def test_a_tool_that_comes_back_is_in_the_order_again(tmp_path):
    cut = "S1 M3\nG0 X0 Y0\nZ5\nG1 Z-1 F100\nG0 Z5\n"
    text = "G21\nT2 M6\n" + cut + "T1 M6\n" + cut + "T2 M6\n" + cut + "M30\n"
    found = alone(tmp_path, text)
    assert found.order == (2, 1, 2)
    assert [(t.number, t.from_line, t.to_line) for t in found.tools] == [(2, 6, 18), (1, 12, 12)]


def test_what_is_not_known_is_null(tmp_path):
    """Only Z is ever given to the rapid, and no rapid at all with the second tool."""
    text = "G21 T1 M6\nS1 M3\nG0 X0 Y0\nZ5\nG1 Z-1 F10\nT2 M6\nG1 X5\nM30\n"
    rows = alone(tmp_path, text).as_dict()
    assert rows["tools"][1]["rapid"] == {"low": None, "high": None}
    assert rows["tools"][0]["rapid"] == {"low": [0, 0, 5], "high": [0, 0, 5]}
    table = [row for part in move_rows(alone(tmp_path, text)) for row in part]
    first = dict(zip(MOVE_HEADS, table[0], strict=True))
    assert (first["z0"], first["z1"], first["kind"], first["feed"]) == (None, 5.0, "rapid", None)


# ------------------------------------------------------------------------------------ without a job


def test_the_unit_is_that_of_the_first_word_that_counts(tmp_path):
    rest = "T1 M6\nG0 X0 Y0 S1 M3\nZ1\nG1 Z0 F10\nM30\n"
    assert alone(tmp_path, "(G20 IN A COMMENT) G21\n" + rest).unit == "mm"
    assert alone(tmp_path, "g 2 0\n" + rest).unit == "in"
    assert alone(tmp_path, "G20.\n" + rest).unit == "in"
    assert alone(tmp_path, "G0 G54 ; G20\n" + rest).unit == "mm"
    jumped = "#1=1\nIF[#1 EQ 1] GOTO5\nG20\nN5 G21\n" + rest
    assert alone(tmp_path, jumped).unit == "mm"


def test_lengths_before_the_unit_are_in_the_unit_that_comes(tmp_path):
    found = alone(tmp_path, "T1 M6\nG0 X2 Y0 S1 M3\nG20\nZ1\nG1 Z0 F10\nM30\n")
    assert found.feed.low == (50.8, 0, 0)
    assert [text for _, text in found.reading.warnings] == [
        "lengths before any G20 or G21: read as inches"
    ]


def test_a_heading_counts_after_a_rapid_and_not_after_a_feed(tmp_path):
    body = "(ONE)\nG1 Z-1 F100\nX5\n{}(TWO)\n{}G1 X9\nG0 Z5\nM30\n"
    after_feed = alone(tmp_path, HEAD + body.format("", ""))
    assert [p.info.name for p in after_feed.passes] == ["ONE"]
    below = alone(tmp_path, HEAD + body.format("G0 Z-0.5\n", "G1 Z-1\n"))
    assert [p.info.name for p in below.passes] == ["ONE", "TWO"]
    assert [(p.length, p.lowest) for p in below.passes] == [(6 + 5, -1), (0.5 + 4, -1)]


def test_any_tool_and_nothing_of_h(tmp_path):
    found = alone(tmp_path, "G21 T77 M6\nG0 X0 Y0 S1 M3\nZ5\nG1 Z-1 F9\nM30\n")
    assert [t.number for t in found.tools] == [77]
    assert found.reading.warnings == ()
    (left_out,) = found.left_out
    assert left_out.startswith("without a job (--job): any tool number is taken; checks against")
    assert found.as_dict()["left_out"] == [left_out]


def test_names_come_from_comments(tmp_path):
    found = alone(tmp_path, "(T1 D=6. FLAT END MILL)\n" + HEAD + "G1 Z-1 F9\nM30\n")
    assert found.tools[0].name == "D=6. FLAT END MILL"


def test_compensation_and_work_zeros_without_a_job_are_said(tmp_path):
    text = HEAD + "G1 Z-1 F100\nG41 D1 X10\nY10\nG40 X20\nG0 Z5\nG55 X1\nM30\n"
    found = alone(tmp_path, text)
    assert found.feed.high[:2] == (20, 10)
    (said,) = found.left_out[1:]
    assert said.startswith("G41, G42, G12 and G13 offset by nothing")
    both = alone(tmp_path, text.replace("G0 X0", "G54 G0 X0"))
    assert both.left_out[2].startswith("G54 and G55 are taken at one place")


# --------------------------------------------------------------------------------- with a job


def test_the_job_says_unit_tools_and_work_zero(tmp_path):
    text = "G55\n" + HEAD + "G1 Z-1 F60\nG0 Z5\nM30\n"
    setup = '[setups.work_offsets]\nG55 = [1, 2, "3mm"]'
    found = within(tmp_path, text.replace("G21 ", ""), setup=setup)
    assert (found.unit, found.left_out) == ("mm", ())
    assert (found.feed.low, found.feed.high) == ((1, 2, 2), (1, 2, 8))
    assert found.tools[0].name == "flat 6.000 mm"
    with pytest.raises(proud.BadInput, match=r"op1\.nc:3:1: tool 9 is not in the job"):
        within(tmp_path, text.replace("T1", "T9"), setup=setup)


def test_another_program_is_read_as_the_first_setup_is(tmp_path):
    made = write_job(tmp_path / "job", HEAD + "G1 Z-1 F60\nM30\n", [tool(1, "flat", 6.0)])
    other = tmp_path / "other.nc"
    other.write_text(HEAD + "G1 Z-2 F60\nM98 P7\nM30\n")
    (tmp_path / "7.nc").write_text("O7\nG1 X4\nM99\n")
    found = survey(other, job=made)
    assert (found.feed.low, found.feed.high) == ((0, 0, -2), (4, 0, 5))


# ---------------------------------------------------------------------------- lines of interest


def test_nothing_to_say_of_a_plain_program(tmp_path):
    text = HEAD + "(A)\nG0 X-30\nG1 Z-1 F100\nX30\nG0 Z5\nM30\n"
    found = within(tmp_path, text)
    assert (found.remarks, found.reading.warnings) == ((), ())


def test_rapids_below_the_stocks_top(tmp_path):
    """The block ends at X20; a tool of 6 reaches it from X23 on. Line numbers: HEAD has 4."""
    text = HEAD + (
        "G0 X-30\nZ-2\nG1 X30 F100\n"  # 5-7: down beside the stock, through it at feed
        "G0 Y20\nX-23\n"  # 8-9: aside and back, along Y20, 2 clear of the block
        "Y14\n"  # 10: the tool's edge on the block's side: touches, meets nothing
        "X-22 Z-1\n"  # 11: into the block
        "Z5\nX0 Y0\nZ-1\nZ5\n"  # 12-15: up, over, straight down into the metal, up
        "M30\n"
    )
    assert texts(within(tmp_path, text)) == [
        (
            11,
            "tool 1 moves at rapid below the stock's top (2 moves, the last at line 14); lowest "
            "-2.000 mm at line 11",
        )
    ]


def test_pecks_into_their_own_hole_are_no_rapids_below(tmp_path):
    text = HEAD + "G83 X0 Y0 Z-9 R1 Q3 F100\nX10\nG80\nM30\n"
    assert texts(within(tmp_path, text)) == []
    deeper = HEAD + "G1 Z-2 F100\nG0 Z1\nZ-2\nZ1\nZ-2.5\nZ5\nM30\n"
    ((line, text),) = texts(within(tmp_path, deeper))
    assert (line, text) == (
        9,
        "tool 1 moves at rapid below the stock's top; lowest -2.500 mm at line 9",
    )


def test_feed_moves_at_the_height_of_rapids(tmp_path):
    """With the job from the lowest rapid over the stock, 1; without from the tool's highest, 5."""
    text = HEAD + "G0 X-30\nZ1\nX-29\nG1 X-28 F100\nZ-1\nX30\nG0 Z5\nX0\nG1 X1\nM30\n"
    assert texts(within(tmp_path, text)) == [
        (
            8,
            "tool 1 moves at feed at the height of rapids, 1.000 mm or over (2 moves, the last at "
            "line 13)",
        )
    ]
    assert texts(alone(tmp_path, text)) == [
        (13, "tool 1 moves at feed at the height of rapids, 5.000 mm or over")
    ]


def test_a_feed_move_at_the_height_to_which_rapids_rise(tmp_path):
    """Rapids run sideways at 50 alone; the tool rises to 5 and goes on at feed."""
    text = (
        "G21 T1 M6\nG43 H1 S1 M3\nG0 X-30 Y0 Z50\nG0 X-29\nG0 Z2\nG1 Z-1 F100\nX30\nG0 Z5\n"
        "G1 X-30\nZ-1\nG0 Z50\nM30\n"
    )
    assert texts(within(tmp_path, text)) == [
        (9, "tool 1 moves at feed at the height of rapids, 5.000 mm or over")
    ]


def test_spindle_off(tmp_path):
    text = HEAD + "G1 Z-1 F100\nM5\nX5\nX6\nM3\nX7\nM30\n"
    found = [
        (7, "tool 1 cuts with the spindle off (no M3 or M4 with S) (2 moves, the last at line 8)")
    ]
    assert texts(alone(tmp_path, text)) == found
    assert texts(within(tmp_path, text)) == found
    assert texts(alone(tmp_path, text.replace("S1000 M3", "M3"))) == [
        (5, "tool 1 cuts with the spindle off (no M3 or M4 with S) (4 moves, the last at line 10)")
    ]


CUT = "T{t} M6\nG0 X-30 Y0 S1 M3\nG43 H{h} Z5\nG1 Z-1 F100\nX30\nG0 Z5\n"


def registers(*pairs) -> str:
    return "G21\n" + "".join(CUT.format(t=t, h=h) for t, h in pairs) + "M30\n"


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ([(1, 1), (2, 2), (3, 3)], []),
        ([(1, 1), (2, 12)], [(11, "tool 2 cuts under H12, not H2")]),
        ([(1, 11), (2, 12)], []),  # another custom of the shop
        ([(1, 11), (2, 11)], [(5, "tool 1 cuts under H11, as T2 does"),
                              (11, "tool 2 cuts under H11, as T1 does")]),
        ([(1, 2), (2, 11)], [(5, "tool 1 cuts under H2, not H1")]),  # tool 2's number
        ([(1, 1), (2, 1)], [(11, "tool 2 cuts under H1, as T1 does")]),
    ],
)  # fmt: skip
def test_wrong_registers(pairs, said, tmp_path):
    assert texts(within(tmp_path, registers(*pairs))) == said


def test_missing_and_old_registers_are_said_once(tmp_path):
    none = within(tmp_path, registers((1, 1)).replace("G43 H1 ", ""))
    assert texts(none) == []
    assert [text for _, text in none.reading.warnings] == [
        "tool 1 cuts without G43: its tip is taken to be on the programmed point"
    ]
    old = within(tmp_path, registers((1, 1), (2, 2)).replace("G43 H2 ", ""))
    assert texts(old) == []
    assert [text for _, text in old.reading.warnings] == [
        "tool 2 cuts under H1, set before its tool change"
    ]
    rows = old.as_dict()["warnings"]
    assert rows == [{"line": 11, "text": "tool 2 cuts under H1, set before its tool change"}]


# ------------------------------------------------------------------------------------------ rows


def test_rows_of_moves(tmp_path):
    text = HEAD + "G1 Z-1 F100\nG2 X4 Y4 Z-2 I4 J0 F50\nM30\n"
    rows = [row for part in move_rows(alone(tmp_path, text)) for row in part]
    none = [None] * 3
    assert rows == [
        [4, "rapid", 1, 0.0, 0.0, None, 0.0, 0.0, 5.0, 17, *none, 0.0, None],
        [5, "line", 1, 0.0, 0.0, 5.0, 0.0, 0.0, -1.0, 17, *none, 0.0, 100.0],
        [6, "arc", 1, 0.0, 0.0, -1.0, 4.0, 4.0, -2.0, 17, 4.0, 0.0, -1.0, -90.0, 50.0],
    ]


def test_rows_come_in_parts_and_none_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr("proud.survey.CHUNK", 3)
    text = HEAD + "G1 Z-1 F100\n" + "".join(f"X{k}\n" for k in range(1, 9)) + "M30\n"
    parts = list(move_rows(alone(tmp_path, text)))
    assert [len(part) for part in parts] == [3, 3, 3, 1]
    assert [row[0] for part in parts for row in part] == list(range(4, 14))


def test_plane_is_17_throughout_and_chords_are_lines(tmp_path):
    text = HEAD + "G18 G2 X2 Z5 I1 K0 F100\nM30\n"
    found = alone(tmp_path, text)
    rows = [dict(zip(MOVE_HEADS, r, strict=True)) for part in move_rows(found) for r in part]
    assert {r["plane"] for r in rows} == {17}
    assert {r["kind"] for r in rows} == {"rapid", "line"}
    assert found.length == pytest.approx(math.pi, abs=1e-3)
