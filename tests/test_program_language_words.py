"""Every row of the word table by a program of its own; feeds, speeds, angles, words noted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers_program import path, read
from proud.errors import ProgramError
from proud.program import word_table
from proud.program.modal import CYCLES, G_GROUP, M_GROUP
from proud.program.page import words_page
from proud.program.table import G_ROWS, LETTER_ROWS, M_ROWS

HOME = {"home": (0.0, 0.0, 50.0)}
RADII = {"radii": {1: 5.0}}

# A program for each word: what it does is in the tests of moves; here it is read, noted or refused.
PROGRAMS = {
    "G0": "G0 X1", "G1": "G1 X1", "G2": "G2 X2 I1", "G3": "G3 X2 R1", "G4": "G4 P1",
    "G5": "G5 P1", "G5.1": "G5.1 Q1", "G8": "G8 P1", "G10": "G10 L2 P1 X0", "G12": "G12 I9. D1",
    "G13": "G13 I9. D1", "G28": "G28 Z1", "G30": "G30 Z1", "G31": "G31 Z-1", "G38.2": "G38.2 Z-1",
    "G41": "G41 D1 G1 X9\nY9\nG40", "G42": "G42 D1 G1 X9\nY-9\nG40", "G43": "G43 H1",
    "G44": "G44 H1", "G50": "G50", "G51": "G51 X0 Y0 Z0 P1.5", "G51.1": "G51.1 X0", "G52": "G52 X1",
    "G53": "G0 G53 Z0", "G64": "G64 P0.1 Q0.1", "G65": "G65 P1 A1\nG1 X5\nM30\nO1\nM99",
    "G66": "G66 P1", "G68": "G68 X0 Y0 R30", "G73": "G73 X1 Z-1 R1 Q1", "G76": "G76 X1 Z-1 R1 Q1",
    "G82": "G82 X1 Z-1 R1 P1", "G83": "G83 X1 Z-1 R1 Q1", "G87": "G87 X1 Z-2 R1 I1 J0 K-1",
    "G92": "G92 X0", "G93": "G93 G1 X1 F1\nG94 F100", "G95": "G95 F0.1", "G96": "G96 S100",
    "G187": "G187 P1 E0.1", "M6": "T2 M6", "M97": "M97 P5\nG1 X5\nM30\nN5\nM99",
    "M98": "M98 P5\nG1 X5\nM30\nO5\nM99", "M2": "G1 X5\nM2", "M30": "G1 X5\nM30",
    "M99": "G1 X5\nM99",
    "A": "G0 A0", "B": "G0 B360", "C": "G0 C-720", "D": "G41 D1 G1 X9\nY9\nG40", "E": "G1 E1",
    "F": "F50", "H": "G43 H2", "I": "G2 I1", "J": "G2 J1", "K": "G18 G2 K1", "L": "G81 Z-1 R1 L2",
    "N": "N10", "O": "G1 X5\nM30\nO5",
    "P": "G82 Z-1 R1 P1", "Q": "G83 Z-1 R1 Q1", "R": "G2 X2 R1",
    "S": "S500", "T": "T2",
    "U": "G1 U1", "V": "G1 V1", "W": "G1 W1", "X": "G1 X1", "Y": "G1 Y1", "Z": "G1 Z1",
}  # fmt: skip
CHANGES = {
    **dict.fromkeys(("G10", "G53", "G28", "G30"), HOME),
    **dict.fromkeys(("G12", "G13", "G41", "G42", "D"), RADII),
    **{f"G{n}": {"work_offsets": {f"G{n}": (0, 0, 0)}} for n in (55, 56, 57, 58, 59)},
    **{f"G59.{n}": {"work_offsets": {f"G59.{n}": (0, 0, 0)}} for n in (1, 2, 3)},
}


def program_of(word: str) -> str:
    if word in PROGRAMS:
        return PROGRAMS[word]
    if round(10 * float(word[1:])) in CYCLES and word[0] == "G":
        return f"{word} X1 Z-1 R1"
    return word


@pytest.mark.parametrize("row", [*G_ROWS, *M_ROWS, *LETTER_ROWS], ids=lambda row: row.word)
def test_row(row) -> None:
    text = program_of(row.word)
    tail = (
        "" if row.word in ("M2", "M30", "M97", "M98", "M99", "G65", "O") else "\nG80\nG1 X7 Y7 F100"
    )
    if row.use == "refused":
        with pytest.raises(ProgramError, match=r"not handled"):
            read(text + tail)
        return
    found = read(text + tail, **CHANGES.get(row.word, {}))
    turned = 7 * np.cos(np.pi / 6) - 7 * np.sin(np.pi / 6)
    ends = {"G20": 177.8, "G51": 10.5, "G51.1": -7, "G52": 8, "G68": turned}
    last = ends.get(row.word, 7 if tail else 5)
    assert found.program.moves.end[-1, 0] == pytest.approx(last, abs=1e-9)
    noted = [n.word for n in found.noted]
    if row.use == "noted":
        assert noted == ["G64 P0.1 Q0.1" if row.word == "G64" else row.word]
        assert found.noted[0].line == 4
    else:
        assert noted == []


def test_table_is_whole_and_says_where_it_is_from() -> None:
    rows = word_table()
    assert len({row.word for row in rows}) == len(rows)
    assert {row.use for row in rows} == {"acted", "noted", "refused"}
    for row in rows:
        assert row.why
        assert row.source.startswith(("NISTIR 6556", "ISO 6983", "common practice"))
    assert {r.word for r in LETTER_ROWS} == set("ABCDEFHIJKLNOPQRSTUVWXYZ")
    assert len(G_GROUP) + sum(r.use == "refused" for r in G_ROWS) == len(G_ROWS)
    assert len(M_GROUP) == len(M_ROWS)


# NISTIR 6556 Table 4, with its members that are read; ours split 0-group members alike
TABLE_4 = [
    [0, 10, 20, 30, 382, *range(810, 900, 10)], [170, 180, 190], [900, 910], [930, 940],
    [200, 210], [400, 410, 420], [430, 490], [980, 990],
    [540, 550, 560, 570, 580, 590, 591, 592, 593], [610, 611, 640],
    [40, 100, 280, 300, 530, 920, 921, 922, 923],
]  # fmt: skip


@pytest.mark.parametrize("members", TABLE_4)
def test_modal_groups_of_the_standard(members: list[int]) -> None:
    assert len({G_GROUP[code] for code in members}) == 1


@pytest.mark.parametrize("number", range(150))
def test_every_other_m_word_is_refused(number: int) -> None:
    if number in M_GROUP:
        return
    with pytest.raises(ProgramError, match=f"M{number} is not known here, and may move"):
        read(f"M{number}")


def test_every_other_g_word_is_refused() -> None:
    for code in range(2000):
        if code not in G_GROUP:
            with pytest.raises(ProgramError, match=r"is not known here|is not handled"):
                read(f"G{code / 10:g}")


# Words that the job declares harmless


def test_accepted_words_are_noted_with_their_reason() -> None:
    found = read("M41 G1 X1\nG5.4 P2\nX2 E3\nM041", accept={
        "M41": "low gear", "G5.4": "smoothing", "E": "tolerance"})  # fmt: skip
    assert [(n.word, n.line, n.count) for n in found.noted] == [
        ("M41", 4, 2), ("G5.4", 5, 1), ("E", 6, 1)]  # fmt: skip
    assert (4, "M41 is taken as harmless: low gear") in found.warnings
    assert [w[0] for w in found.warnings] == [4, 5, 6]
    assert found.program.moves.end[-1].tolist() == [2, 0, 0]


def test_an_accepted_word_takes_no_axis() -> None:
    with pytest.raises(ProgramError, match=r"X beside G5\.4, which the job accepts as harmless"):
        read("G5.4 X1", accept={"G5.4": "smoothing"})


# Feeds and speeds


@pytest.mark.parametrize(
    ("text", "feeds", "changes"),
    [
        # 3.5.19 (G93): F 2 over 10 mm in half a minute is 20 mm/min; of an arc its length counts
        ("G93 G1 X10 F2\nY30 F1", [20, 30], {}),
        ("G93 G3 X0 Y20 R10 F1", [10 * np.pi], {}),
        ("G93 G3 X0 Y20 Z10 R10 F1", [np.hypot(10 * np.pi, 10)], {}),
        ("G93 G1 X10 F2\nG94 X20 F50", [20, 50], {}),
        ("G93 G20 G1 X1 F1", [25.4], {}),  # F is no length
        ("G93 G1 X10 F2\nG0 X0\nG1 X10 F1", [20, 10], {}),
        ("G95 F0.2 G1 X1\nS500 X2\nG94 F30 X3", [200, 100, 30], {}),
        ("G20 G95 F0.01 G1 X1", [254], {}),
        # from memory: n = v / (pi d); 100 m/min at 10 mm, 0.1 mm a turn
        ("G96 S100 G95 F0.1 G1 X1", [1e5 / (np.pi * 10) * 0.1], RADII),
        ("G96 S100\nG97 S200 G95 F0.1 G1 X1", [20], RADII),
        ("G20 G96 S100\nG21 G95 F0.1 G1 X1", [100 * 304.8 / (np.pi * 10) * 0.1], RADII),
    ],
)
def test_feeds(text: str, feeds: list[float], changes: dict[str, object]) -> None:
    moves = read(text, **changes).program.moves[1:]
    np.testing.assert_allclose(moves.feed[~moves.rapid], feeds, rtol=1e-12)


@pytest.mark.parametrize(
    ("word", "spindle"),
    [("M3", 1000), ("M13", 1000), ("M4", -1000), ("M14", -1000), ("M5", 0), ("M19", 0),
     ("M19 R90", 0), ("M19 P1", 0)],
)  # fmt: skip
def test_spindle(word: str, spindle: float) -> None:
    assert read(f"{word}\nG1 X1").program.moves.spindle[-1] == spindle


def test_feed_under_compensation_is_that_of_its_own_block() -> None:
    found = read("G41 D1 G1 X20 Y0 F10\nY50 F20\nX80 F30\nG40 Y80 F40", **RADII).program.moves[1:]
    # the arc at the corner runs with the block after it (NISTIR 6556 appendix B, from memory)
    assert found.feed.tolist() == [10, 20, 30, 30, 40]
    assert found.line.tolist() == [4, 5, 6, 6, 7]


# Angles of rotary axes


def test_angles_are_kept_with_the_moves() -> None:
    found = read(
        "G0 A90\nX1\nG91 A-30 C10\nG90 G1 X2\nG0 G53 C5\nG28 A0\nX3", rotary="kept", **HOME
    )
    assert found.program.moves.end[:, 0].tolist() == [0, 1, 2, 3]
    assert found.rotary is not None
    assert found.rotary.tolist() == [[0, 0, 0], [90, 0, 0], [60, 0, 10], [0, 0, 5]]


def test_no_angles_no_table() -> None:
    assert read("G1 X1").rotary is None


def test_whole_turns_are_no_turn() -> None:
    assert path("G0 A360\nG1 X1") == [("F", 1, 0, 0)]


# What the reader says besides


def test_reading() -> None:
    found = read("G20 G1 X1\n#1=0\nWHILE[#1 LT 3]DO1\n#1=#1+1\nEND1\nM8\nM8\nG61\nG4 P1")
    assert found.unit == "mm"
    assert [(n.word, n.line, n.count) for n in found.noted] == [
        ("M8", 9, 2), ("G61", 11, 1), ("G4", 12, 1)]  # fmt: skip
    assert found.blocks == 3 + 2 + 4 + 3 * 2 + 4 + 1
    assert found.warnings == (
        (11, "G61, G61.1 and G64 change nothing here: the path as programmed"),
    )


def test_an_end_under_compensation_is_noted() -> None:
    found = read("G41 D1 G1 X20 Y0\nY50", **RADII)
    assert found.warnings == ((6, "the program ends under G41, without G40"),)
    assert found.program.moves.end[-1].tolist() == [15, 50, 0]


def test_moves_of_subprograms_keep_their_lines() -> None:
    found = read("M98 P1\nG1 X1\nM30\nO1\nG1 Y1\nM99").program.moves
    assert found.line.tolist() == [3, 8, 5]


def test_readme_has_the_table_of_words() -> None:
    """``python -m proud.program.page`` prints it, to be put in anew."""
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    assert words_page().strip() in readme
    for row in word_table():
        assert f"| `{row.word}` |" in words_page()
