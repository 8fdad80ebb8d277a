"""Each row of the word table: what is acted on changes something, noted is said, refused an error.

For a word that is acted on there is a program with it and one without (``~`` is put in its place);
what must differ, and how, is worked out by hand. `test_program_language_words` has the modal
groups, and that every other G and M word is refused.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from helpers_program import path, read
from proud.errors import ProgramError
from proud.program import word_table
from proud.program.table import Row

ROWS = {row.word: row for row in word_table()}
ZEROS = {g: (k + 1.0, 0.0, 0.0) for k, g in enumerate(
    ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"))}  # fmt: skip
GIVEN: dict[str, Any] = {"home": (90.0, 80.0, 70.0), "radii": {1: 5.0, 2: 3.0},
                         "work_offsets": ZEROS | {"G54": (0.0, 0.0, 0.0)},
                         "d_errors": {2: 0.5}}  # fmt: skip
CYCLE = "G0 Z10\n{} X1 Y2 Z-5 R2"

# word: lines, with the word as {}; the end of the last move with it and without it
ENDS: dict[str, tuple[str, tuple[float, ...], tuple[float, ...] | str]] = {
    "G0": ("G1 X1\n{} Y1\nG1 Z1", (1, 1, 1), (1, 1, 1)),
    "G1": ("{} X1\nG1 Y1", (1, 1, 0), (1, 1, 0)),
    "G2": ("G1 X10\n{} Y10 R5 X10\nG1 Z1", (10, 10, 1), "R has no use here"),
    "G3": ("G1 X10\n{} Y10 R5 X10\nG1 Z1", (10, 10, 1), "R has no use here"),
    "G10": ("{} L2 P1 X-85\nG1 X1", (6, 0, 0), "L has no use here"),
    "G12": ("{} I9. D1 Z-1", (0, 0, -1), "I has no use here"),
    "G13": ("{} I9. D1 Z-1", (0, 0, -1), "I has no use here"),
    "G17": ("G18\n{} G2 Y10 J5", (0, 10, 0), "J in an arc in the XZ plane"),
    "G18": ("{} G2 Z10 K5", (0, 0, 10), "K in an arc in the XY plane"),
    "G19": ("{} G2 Z10 K5", (0, 0, 10), "K in an arc in the XY plane"),
    "G20": ("{} G1 X1", (25.4, 0, 0), (1, 0, 0)),
    "G21": ("G20\n{} G1 X1", (1, 0, 0), (25.4, 0, 0)),
    "G28": ("G1 X1\n{} Z5\nG1 X2", (2, 0, 70), (2, 0, 5)),
    "G30": ("G1 X1\n{} Z5\nG1 X2", (2, 0, 70), (2, 0, 5)),
    "G40": ("G41 D1 G1 X20\nY20\n{} X0 Y40", (0, 40, 0), (-3.535534, 36.464466, 0)),
    "G41": ("{} D1 G1 X20\nY20", (15, 20, 0), "D without G41"),
    "G42": ("{} D1 G1 X20\nY20", (25, 20, 0), "D without G41"),
    "G50": ("G51 X0 Y0 Z0 P2.\n{} G1 X1", (1, 0, 0), (2, 0, 0)),
    "G50.1": ("G51.1 X0\n{}\nG1 X1", (1, 0, 0), (-1, 0, 0)),
    "G51": ("G1\n{} X0 Y0 Z0 P2.\nX1", (2, 0, 0), "P has no use here"),
    "G51.1": ("G1\n{} X2\nX1", (3, 0, 0), (1, 0, 0)),
    "G52": ("G1\n{} X5\nX1", (6, 0, 0), (1, 0, 0)),
    "G53": ("G1 {} X-80", (10, 0, 0), (-80, 0, 0)),
    **{g: (f"G{55 if g == 'G54' else 54} G1 X0\n{{}} X0", (0 if g == "G54" else k + 1, 0, 0),
           (2 if g == "G54" else 0, 0, 0)) for k, g in enumerate(ZEROS)},
    "G65": ("G1\n{} P9 A7\nM30\nO9\nX#1\nM99", (7, 0, 0), "P has no use here"),
    "G68": ("G1\n{} X0 Y0 R90\nX5 Y0", (0, 5, 0), "R has no use here"),
    "G69": ("G68 X0 Y0 R90\n{}\nG1 X5 Y0", (5, 0, 0), (0, 5, 0)),
    **{f"G{n}": (CYCLE + (" Q4" if n in (73, 83) else " P1" if n == 82 else ""), (1, 2, 10),
                 "R has no use here") for n in (73, 74, 76, 81, 82, 83, 84, 85, 86, 88, 89)},
    "G87": ("G0 Z10\n{} X1 Y2 Z-5 R2 I1 J0 K-3", (1, 2, -5), "R has no use here"),
    "G80": ("G0 Z10\nG81 X1 Z-5 R2\n{}\nG1 X9", (9, 0, 10), (9, 0, 10)),
    "G90": ("G91 G1 X1\n{} X1", (1, 0, 0), (2, 0, 0)),
    "G91": ("G1 X1\n{} X1", (2, 0, 0), (1, 0, 0)),
    "G90.1": ("G1 X9\n{} G2 X0 Y9 I0 J0", (0, 9, 0), "the arc does not close"),
    "G91.1": ("G90.1 G1 X9\n{} G2 X0 Y9 I-9 J0", (0, 9, 0), "the arc does not close"),
    "G92": ("G1\n{} X5\nX1", (-4, 0, 0), (1, 0, 0)),
    "G92.1": ("G92 X5\n{}\nG92.3\nG1 X1", (1, 0, 0), (-4, 0, 0)),
    "G92.2": ("G92 X5\n{}\nG1 X1", (1, 0, 0), (-4, 0, 0)),
    "G92.3": ("#5211=5\n{}\nG1 X1", (6, 0, 0), (1, 0, 0)),
    "G98": ("G0 Z10\nG99\n{} G81 X1 Z-5 R2", (1, 0, 10), (1, 0, 2)),
    "G99": ("G0 Z10\n{} G81 X1 Z-5 R2", (1, 0, 2), (1, 0, 10)),
    "M2": ("G1 X1\n{}\nX2", (1, 0, 0), (2, 0, 0)),
    "M30": ("G1 X1\n{}\nX2", (1, 0, 0), (2, 0, 0)),
    "M97": ("G1 X1\n{} P7 L2\nM30\nN7 G91 X2\nG90 M99", (5, 0, 0), "P has no use here"),
    "M98": ("G1 X1\n{} P7 L2\nM30\nO7\nG91 X2\nG90 M99", (5, 0, 0), "P has no use here"),
    "M99": ("M98 P7\nM30\nO7\nG1 X1\n{}\nO8\nM99", (1, 0, 0), "has no M99"),
    "X": ("G1 Y1 {}", (1, 1, 0), (0, 1, 0)),
    "Y": ("G1 X1 {}", (1, 1, 0), (1, 0, 0)),
    "Z": ("G1 X1 {}", (1, 0, 1), (1, 0, 0)),
    "D": ("G41 {} G1 X20\nY20", (14.5, 20, 0), (15, 20, 0)),
    "I": ("G1 X9\nG2 X18 Z1 {}", (18, 0, 1), "an arc without its centre"),
    "J": ("G1 X9\nG2 Y9 Z1 {}", (9, 9, 1), "an arc without its centre"),
    "K": ("G18 G2 Z9 {}", (0, 0, 9), "an arc without its centre"),
    "L": ("M98 P7 {}\nM30\nO7\nG91 G1 X2\nG90 M99", (4, 0, 0), (2, 0, 0)),
    "N": ("GOTO 7\nG1 X1\n{} G1 X2", (2, 0, 0), "no block N7"),
    "O": ("M98 P7\nM30\n{}\nG1 X2\nM99", (2, 0, 0), "O7 is neither"),
    "P": ("M98 {}\nM30\nO7\nG1 X2\nM99", (2, 0, 0), "M98 without P"),
    "Q": ("G0 Z10\nG83 X1 Y2 Z-5 R2 {}", (1, 2, 10), "G83 without Q"),
    "R": ("G2 X10 Y1 Z1 {}", (10, 1, 1), "an arc without its centre"),
    "/": ("G1 X1\n{} X2", (1, 0, 0), (2, 0, 0)),
    "( )": ("G1 X1 (X2)", (1, 0, 0), (1, 0, 0)),
    ";": ("G1 X1 {} X2", (1, 0, 0), "a second X"),
    "%": ("G1 X1\n{}\nX2", (1, 0, 0), (2, 0, 0)),
    "#n": ("#5=3\nG1 X#5", (3, 0, 0), (3, 0, 0)),
    "#<name>": ("#<a>=3\nG1 X#<a>", (3, 0, 0), (3, 0, 0)),
    "[ ]": ("G1 X[1+2]", (3, 0, 0), (3, 0, 0)),
    "IF, WHILE, DO, END, GOTO": (
        "#1=0\nWHILE[#1 LT 3]DO1\n#1=#1+1\nIF[#1 EQ 2]GOTO 9\nEND1\nN9 G1 X#1",
        (2, 0, 0), (2, 0, 0)),
}  # fmt: skip

# word: lines, what of the last move it changes: with it and without it
FIELDS: dict[str, tuple[str, str, float, float]] = {
    "F": ("G1 X1 {}", "feed", 50, 100),
    "G93": ("{} G1 X10 F2", "feed", 20, 2),
    "G94": ("G93 G1 X10 F2\n{} F2 X20", "feed", 2, 20),
    "G95": ("{} F0.2 G1 X1", "feed", 200, 0.2),
    "G96": ("{} S100 M3 G1 X1", "spindle", 1e5 / (2 * np.pi * 5), 100),
    "G97": ("G96 S9\n{} S100 G1 X1", "spindle", 100, 1e5 / (2 * np.pi * 5)),
    "G43": ("G49\n{}\nG1 X1", "h_register", 2, 0),
    "G49": ("{}\nG1 X1", "h_register", 0, 1),
    "H": ("G43 {}\nG1 X1", "h_register", 2, 1),
    "M3": ("M5\n{}\nG1 X1", "spindle", 1000, 0),
    "M4": ("{}\nG1 X1", "spindle", -1000, 1000),
    "M5": ("{}\nG1 X1", "spindle", 0, 1000),
    "M13": ("M5\n{}\nG1 X1", "spindle", 1000, 0),
    "M14": ("M5\n{}\nG1 X1", "spindle", -1000, 0),
    "M19": ("{}\nG1 X1", "spindle", 0, 1000),
    "S": ("{}\nG1 X1", "spindle", 700, 1000),
    "M6": ("T2\n{} G1 X1", "tool", 2, 1),
    "T": ("{} M6\nG1 X1", "tool", 2, 1),
    "G0": ("G1 X1\n{} Y1", "rapid", 1, 0),
    "G1": ("G1 Z1\nG0\n{} X1", "rapid", 0, 1),
    "G2": ("G1 X9\nG3\n{} X18 I4.5", "turn", -np.pi, np.pi),
    "G3": ("G1 X9\nG2\n{} X18 I4.5", "turn", np.pi, -np.pi),
    "G12": ("{} I9. D1", "turn", -np.pi, 0),
    "G13": ("{} I9. D1", "turn", np.pi, 0),
}  # fmt: skip
WRITTEN = {"F": "F50", "H": "H2", "S": "S700", "T": "T2", "G43": "G43 H2", "X": "X1", "Y": "Y1",
           "Z": "Z1", "D": "D2", "I": "I4.5", "J": "J4.5", "K": "K4.5", "L": "L2", "N": "N7",
           "O": "O7", "P": "P7", "Q": "Q4", "R": "R9"}  # fmt: skip
HELD_BY = {"H": "H1", "F": "", "S": "", "T": "T1", "G12": None, "G13": None}
ANGLES = {"A": (30, 0, 0), "B": (0, 30, 0), "C": (0, 0, 30)}
NOTED = {"G5": "G5 P1", "G5.1": "G5.1 Q1", "G31": "G31 Z-1", "G38.2": "G38.2 Z-1", "G4": "G4 P1"}
REFUSED = {"E": "G1 X1 E2", **{a: f"G1 {a}1" for a in "UVW"}, "O SUB, O CALL, O IF": "O9 SUB"}


def test_every_row_has_a_test() -> None:
    acted = {row.word for row in ROWS.values() if row.use == "acted"}
    assert acted == set(ENDS) | set(FIELDS) | set(ANGLES)
    assert {row.use for row in ROWS.values()} == {"acted", "noted", "refused"}
    assert set(ROWS) >= set(NOTED) | set(REFUSED)


def last(text: str) -> Any:
    choices = {**GIVEN, "block_delete": True}
    return read(text, **choices).program.moves[-1:]


@pytest.mark.parametrize(("word", "text", "end", "without"), [(w, *v) for w, v in ENDS.items()])
def test_where_it_leads(
    word: str, text: str, end: tuple[float, ...], without: tuple[float, ...] | str
) -> None:
    found = last(text.replace("{}", WRITTEN.get(word, word)))
    np.testing.assert_allclose(found.end[0], end, atol=1e-6)
    if isinstance(without, str):
        with pytest.raises(ProgramError) as caught:
            last(text.replace("{}", ""))
        assert without in str(caught.value)
    else:
        np.testing.assert_allclose(last(text.replace("{}", "")).end[0], without, atol=1e-6)


@pytest.mark.parametrize(("word", "text", "field", "value", "without"),
                         [(w, *v) for w, v in FIELDS.items()])  # fmt: skip
def test_what_it_sets(word: str, text: str, field: str, value: float, without: float) -> None:
    found = last(text.replace("{}", WRITTEN.get(word, word)))
    assert getattr(found, field)[0] == pytest.approx(value, rel=1e-12)
    instead = HELD_BY.get(word, "")
    if instead is not None:
        found = last(text.replace("{}", instead))
        assert getattr(found, field)[0] == pytest.approx(without, rel=1e-12)


@pytest.mark.parametrize(("letter", "angles"), ANGLES.items())
def test_angles(letter: str, angles: tuple[float, ...]) -> None:
    found = read(f"G0 {letter}30\nG1 X1", rotary="kept")
    assert found.rotary is not None
    assert found.rotary[-1].tolist() == list(angles)
    with pytest.raises(ProgramError, match=r"part\.nc:5:4: a feed move while A, B or C is not 0"):
        read(f"G0 {letter}30\nG1 X1")


def test_what_makes_the_difference_of_some_words() -> None:
    """Where the end point says nothing: the moves of cycles, of G80, the notes of comments."""
    more = {"G73": " Q4", "G83": " Q4", "G82": " P1"}
    words = sorted(f"G{n}" for n in (73, 74, 76, 81, 82, 83, 84, 85, 86, 88, 89))
    drilled = {word: path(CYCLE.format(word) + more.get(word, ""), **GIVEN) for word in words}
    down = ("F", 1, 2, -5)
    outs = {word: rows[rows.index(down) + 1][0] for word, rows in drilled.items()}
    assert "".join(outs.values()) == "RFRRRRFFRRF"
    assert [len(drilled[word]) for word in ("G81", "G73", "G83")] == [5, 7, 8]
    assert len(path("G0 Z10\nG81 X1 Z-5 R2\nX9", **GIVEN)) == 9
    assert len(path("G0 Z10\nG81 X1 Z-5 R2\nG80\nG1 X9", **GIVEN)) == 6
    names = [p.name for p in read("G1 X1\nG0 Z9\n(FINISH)\nG1 X2").program.passes]
    assert names == ["tool 1 flat 10 mm", "FINISH"]


@pytest.mark.parametrize(
    "row", [r for r in ROWS.values() if r.use == "noted"], ids=lambda r: r.word
)
def test_noted(row: Row) -> None:
    if row.word == "(MSG,":  # nothing to be told: it is the operator's
        found = read("G1 X1\n(MSG, LOOK)\nX2")
        assert (found.noted, found.warnings) == ((), ())
        assert [p.name for p in found.program.passes] == ["tool 1 flat 10 mm"]
        return
    text = NOTED.get(row.word, row.word)
    found = read(f"G1 X1\n{text}\n{text}\nG1 X2")
    assert [(n.word, n.line, n.count) for n in found.noted] == [(row.word, 5, 2)]
    kinds = [move[0] for move in path(f"G1 X1\n{text}\nG1 X2")]
    assert kinds == ["F", "F"]


@pytest.mark.parametrize(
    "row", [r for r in ROWS.values() if r.use == "refused"], ids=lambda r: r.word
)
def test_refused(row: Row) -> None:
    text = REFUSED.get(row.word, row.word)
    column = 4 if row.word in "UVW" else 7 if row.word == "E" else 1
    with pytest.raises(ProgramError) as caught:
        read(f"G1 X1\n{text}\nX2")
    assert str(caught.value).startswith(f"part.nc:5:{column}: ")
    assert "expected" in str(caught.value)
    said = {"U": "further axes", "V": "further axes", "W": "further axes"}
    assert said.get(row.word, "not handled") in str(caught.value)


def test_letters_that_words_take_are_read_with_them_alone() -> None:
    """Each letter of `Row.takes` passes beside its word, and is refused beside G1."""
    with_it = {"L": "L2", "P": "P1", "R": "R1", "Q": "Q1", "D": "D1", "E": "E1", "I": "I1",
               "J": "J1", "K": "K1", "H": "H1"}  # fmt: skip
    for row in ROWS.values():
        for letter in row.takes:
            with pytest.raises(ProgramError, match=rf"part\.nc:4:7: {letter}\b"):
                read(f"G1 X1 {with_it[letter]}")
            said = error_of(f"{row.word} X1 {with_it[letter]}")
            unused = (f"{letter} has no use", f"{letter} words are not", f"{letter} without G4")
            assert not any(text in said for text in unused), (row.word, letter)


def error_of(line: str) -> str:
    try:
        read(f"G1 X1\n{line}", **GIVEN)
    except ProgramError as error:
        return str(error)
    return ""
