"""Every error of the program reader: text, line, column and the word underlined."""

from __future__ import annotations

from pathlib import Path

import pytest
from proud.errors import BadInput, ProgramError
from proud.program import ReaderSettings, read_program, read_text

SETTINGS = ReaderSettings(unit="mm", tools={1: "flat 10 mm"}, stock_top=0.0)
HEAD = "G21 T1 M6\nG43 H1 S1000 M3 F100\nG0 X0 Y0 Z0\n"

# text of the fourth line, column and width of the word, a part of the message
CASES = [
    # words
    ("G1 X1 [2]", 7, 1, "'[' without a word before it"),
    ("G1 X[1+2", 5, 1, "an expression that does not close; expected ']'"),
    ("G1 X#3", 5, 2, "#3 has no value"),
    ("#3", 1, 2, "a parameter that is not set"),
    ("G1 X", 4, 1, "X has no number"),
    ("G1 X Y1", 4, 1, "X has no number"),
    ("G1 X--1", 4, 1, "X has no number"),
    ("G1 1.5 2", 1, 8, "G11.52 is not known"),
    ("G1 X1.2. 3", 8, 3, ".3 has no letter"),
    ("1 2", 1, 3, "12 has no letter; expected a word such as X12"),
    ("G1 /X1", 4, 1, "expected it first in the line"),
    ("% G1", 1, 1, "expected it alone on its line"),
    ("G1 X1) ", 6, 1, "')' without '('"),
    ("G1 X1 (A", 7, 1, "expected ')' on the same line"),
    ("G1 (A (B) X1", 7, 1, "expected no brackets within a comment"),
    ("G1 X1 ?", 7, 1, "'?' can't be read"),
    ("G1 X1 é", 7, 1, "'é' can't be read"),
    ("G1 X1 \x1b", 7, 1, "character 27 can't be read"),
    ("G1 X1 X2", 7, 2, "a second X in one block"),
    ("G1 X1 F1 F2", 10, 2, "a second F in one block"),
    ("G1 X" + "1" * 21, 4, 22, "a number of 21 characters is too long; expected at most 20"),
    ("G1 X100001", 4, 7, "X reaches 100001 mm; expected at most 100000 mm"),
    ("G1 Y - 3 e", 10, 1, "E has no number"),
    ("X1 N5", 4, 2, "N inside a block"),
    ("N1 N2 X1", 4, 2, "N inside a block"),
    ("N1.5 X1", 1, 4, "N 1.5 is not allowed"),
    ("N-1 X1", 1, 3, "N -1 is not allowed"),
    ("O5", 1, 2, "O inside a program"),
    # G words
    ("G68 X0 Y0", 1, 3, "G68 without R"),
    ("G92", 1, 3, "G92 without X, Y or Z"),
    ("G10 L2 P1 X0", 1, 3, "expected the setup's home"),
    ("G5.1 X1 Y1 I1", 1, 4, "may be a spline"),
    ("G76 X1", 1, 3, "G76 without Z"),
    ("G84 X1 Z-1", 1, 3, "G84 without R"),
    ("G54.1 P1", 1, 5, "G54.1 is not known"),
    ("G90.1 G2 X2 I1", 13, 2, "an arc with one of its centre's places"),
    ("G-1 X1", 1, 3, "G-1 is not known"),
    ("G1.05 X1", 1, 5, "G1.05 is not known"),
    ("G44 H1", 1, 3, "G44 is not handled (length register subtracted"),
    ("G41 D1 X1", 5, 2, "the radius of tool 1 is not known"),
    ("G42 X1", 1, 3, "the radius of tool 1 is not known"),
    ("G93 G1 X1", 8, 2, "a feed move in G93 without F"),
    ("G0 G1 X1", 4, 2, "G1 and G0 in one block are of one modal group"),
    ("G1 X1 G01", 7, 3, "G1 and G1 in one block are of one modal group"),
    ("G90 X1 G91", 8, 3, "G91 and G90 in one block"),
    ("G20 G21", 5, 3, "G21 and G20 in one block"),
    ("G54 G55", 5, 3, "G55 and G54 in one block"),
    ("G4 P1 G28", 7, 3, "G28 and G4 in one block"),
    ("G80 G81 X1 Z-1 R1", 5, 3, "G80 and G81 in one block"),
    ("G55 X1", 1, 3, "G55 is not in the job's work_offsets; expected one of: G54"),
    ("G43 Z5", 1, 3, "G43 without H"),
    ("Z5 H2", 4, 2, "H without G43"),
    ("D1", 1, 2, "D without G41 or G42"),
    ("G43 H1.5", 5, 4, "H 1.5 is not allowed; expected a whole number"),
    ("G43 H-1", 5, 3, "H -1 is not allowed"),
    ("G4", 1, 2, "G4 without a time"),
    ("G4 X1.5", 1, 2, "G4 without a time"),
    ("G4 P-1", 4, 3, "G4 without a time"),
    ("G81 X1 G53", 8, 3, "G81 and G53 in one block both want the axis words"),
    ("G2 G28 X1", 4, 3, "both want the axis words"),
    # M words and tools
    ("M98 P1000", 5, 5, "O1000 is neither in the program nor a file"),
    ("M97 P1", 5, 2, "no block N1 in this program"),
    ("M98", 1, 3, "M98 without P"),
    ("M41", 1, 3, "M41 is not known here, and may move the machine"),
    ("M3.5", 1, 4, "M3.5 is not known"),
    ("M3 M5", 4, 2, "M5 and M3 in one block"),
    ("M6 M3 M8 M48 M0", 14, 2, "a fifth M word"),
    ("T9 M6", 1, 2, "tool 9 is not in the job; expected one of its tools (T1)"),
    ("T1.5", 1, 4, "T 1.5 is not allowed"),
    ("T0 M6 G1 X1", 10, 2, "with an empty spindle (T0 M6 took the tool out); expected T and M6"),
    ("S-5", 1, 3, "a negative S"),
    ("F-5", 1, 3, "a negative F"),
    ("F0 G1 X1", 7, 2, "a feed move without a feed"),
    ("G95 G1 X1", 8, 2, "a feed move without a feed"),
    ("M5 G95 F0.1 G1 X1", 16, 2, "with the spindle stopped"),
    # words with no use
    ("G1 X1 A90", 7, 3, "A turns while the tool moves at feed"),
    ("G1 X1 W-1", 7, 3, "further axes are not handled"),
    ("G1 X1 E1", 7, 2, "E words are not handled"),
    ("G1 X1 R2", 7, 2, "R has no use here"),
    ("G1 X1 I2", 7, 2, "I has no use here; expected it with G2, G3, G12, G13, G51 or a cycle"),
    ("X1 P2", 4, 2, "P has no use here; expected it with G4, G5, G8, G10,"),
    ("X1 Q2", 4, 2, "Q has no use here; expected it with G5.1, G12, G13, G64, M19 or a cycle"),
    ("X1 L2", 4, 2, "L has no use here; expected it with G10, M97, M98 or a cycle"),
    ("G80 X1", 5, 2, "X with no motion in force"),
    # arcs
    ("G3 X0 Y5 I-4", 10, 3, "the arc does not close: radius 4.00000 mm at the start and 6.40312"),
    ("G2 X1", 4, 2, "an arc without its centre"),
    ("G2 X1 I0", 7, 2, "the arc does not close"),
    ("G2 I0 J0", 4, 2, "the arc has no radius"),
    ("G2 X1 I1 R1", 10, 2, "R and I or J in one arc"),
    ("G2 X1 I1 K1", 10, 2, "K in an arc in the XY plane"),
    ("G2 X2 I1 P2", 10, 2, "P (turns of an arc) is not handled"),
    ("G2 X0 R5", 7, 2, "ends where it starts"),
    ("G2 X10 R4.9", 8, 4, "R 4.90000 mm can't reach the end, 10.00000 mm away"),
    ("G2 X10 R0", 8, 2, "an arc with R0"),
    ("G2 K1", 4, 2, "K in an arc in the XY plane (G17); expected I and J"),
    ("G18 G2 X2 J1", 11, 2, "J in an arc in the XZ plane (G18); expected I and K"),
    ("G19 G3 Y2 I1", 11, 2, "I in an arc in the YZ plane (G19); expected J and K"),
    ("G91 G28 X0\nG90 G2 X1 I1", 0, 0, "an arc from or to a place that is not known"),
    # cycles
    ("G81 Z-1 R1 X1 L0", 15, 2, "L 0 is not allowed; expected a whole number, 1 or more"),
    ("G81 Z-1 R1 X1 L1.5", 15, 4, "L 1.5 is not allowed"),
    ("G81 Z-1 R1 L999999", 12, 7, "L is more than"),
    ("G81 X1 Z1 R-1", 11, 3, "R is below Z"),
    ("G81 R1", 1, 3, "G81 without X, Y or Z"),
    ("G81 X1 R1", 1, 3, "G81 without Z"),
    ("G81 X1 Z-1", 1, 3, "G81 without R"),
    ("G82 X1 Z-1 R1", 1, 3, "G82 without P"),
    ("G82 X1 Z-1 R1 P-1", 15, 3, "P is below 0"),
    ("G83 X1 Z-1 R1", 1, 3, "G83 without Q"),
    ("G83 X1 Z-1 R1 Q0", 15, 2, "Q is not above 0"),
    ("G83 X1 Z-1 R1 Q-1", 15, 3, "Q is not above 0"),
    ("G83 X1 Z-1 R1 Q0.0001", 15, 7, "pecks"),
    ("G83 X1 Z-1 R0 Q0.001 L9999", 22, 5, "L and Q make more than"),
    ("G18 G81 X1 Z-1 R1", 5, 3, "G81 without Y"),
    ("G81 X1 Z-1 R1\nG83 X2 Q1", 0, 0, "G83 without Z"),
    ("G81 X1 Z-1 R1\nG80\nG81 X2", 0, 0, "G81 without Z"),
    ("G28 X0\nG81 Y1 Z-1 R1", 0, 0, "a cycle at a place that is not known"),
    ("G28 Z0\nG91 G81 X1 Y1 Z-1 R1", 0, 0, "a cycle at a place that is not known"),
]


@pytest.mark.parametrize(("source", "column", "width", "text"), CASES)
def test_error(source: str, column: int, width: int, text: str) -> None:
    with pytest.raises(ProgramError) as caught:
        read_text(HEAD + source + "\nM30", SETTINGS, shown="part.nc")
    error = caught.value
    first, shown, underline, *_ = str(error).split("\n")
    assert text in first
    assert error.file == "part.nc"
    assert error.line == 3 + len(source.split("\n"))
    assert shown.strip()
    if column:
        assert first.startswith(f"part.nc:4:{column}: ")
        assert underline == "    " + " " * (column - 1) + "^" * width


@pytest.mark.parametrize(
    ("program", "line", "column", "text"),
    [
        ("M6", 1, 1, "M6 before any T"),
        ("G21 F100 G0 X0 Y0 Z0\nG1 X1", 2, 4, "a feed move in a program without a tool"),
        ("G21 F100 T1 M6 G0 X0 Y0 Z0\nG1 X1\nT0 M6\nX2", 4, 1, "with an empty spindle (T0 M6"),
        ("T1 M6\nX1", 2, 1, "X with no motion in force"),
        ("G21 T1 M6\n\nG0 X0 Y0 Z0\nG1 X1", 4, 4, "expected F above 0"),
        ("T7\nT1\nT 7\n(A) M6", 3, 1, "tool 7 is not in the job"),
        ("  N10 / X1", 1, 7, "expected it first in the line"),
        ("/ N10 (A) G1 (B)  x 1 . 5 q", 1, 27, "Q has no number"),
        ("/ N10 (A) G1 (B)  x 1 . 5 a 2", 1, 27, "A turns while the tool moves at feed"),
        ("O1\nO2", 2, 1, "O inside a program"),
        ("G1 O2", 1, 4, "O inside a program"),
    ],
)
def test_error_in_a_whole_program(program: str, line: int, column: int, text: str) -> None:
    with pytest.raises(ProgramError) as caught:
        read_text(program, SETTINGS)
    assert str(caught.value).startswith(f"program:{line}:{column}: ")
    assert text in str(caught.value)


def test_error_of_the_tool_stands_at_its_t_word() -> None:
    with pytest.raises(ProgramError, match=r"program:2:5: tool 7 is not in the job"):
        read_text("\nG21 T7\nM6\n", SETTINGS)


def test_work_zero_of_a_later_setup_must_be_given() -> None:
    later = ReaderSettings(unit="mm", tools={1: ""}, stock_top=0.0, setup=1)
    with pytest.raises(ProgramError, match=r"program:1: G54 is not in the job's work_offsets; exp"):
        read_text("G21 T1 M6 G0 X1", later)


def test_line_of_1024_characters_is_read_and_one_more_is_not() -> None:
    start = HEAD + "G1 X1 ("
    room = 1024 - len("G1 X1 ()")
    assert len(read_text(start + "a" * room + ")\nM30", SETTINGS).moves) == 2
    with pytest.raises(ProgramError, match=r"program:4: the line is 1025 characters long"):
        read_text(start + "a" * (room + 1) + ")\nM30", SETTINGS)


@pytest.mark.parametrize("text", ["", "\n\n", "%\n%", "(A)", "G21 T1 M6\nG0 X0 Y0 Z0\nM30"])
def test_program_without_a_feed_move(text: str) -> None:
    with pytest.raises(BadInput, match=r"\Aprogram: the program holds no feed move; expected G1"):
        read_text(text, SETTINGS)


def test_program_with_feed_moves_to_unknown_places_only() -> None:
    with pytest.raises(BadInput, match=r"holds no feed move with a known end"):
        read_text("G21 T1 M6 F100\nG1 X1\nM30", SETTINGS)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"\Apart\.nc: the program can't be read \(No such file"):
        read_program(tmp_path / "part.nc", SETTINGS, shown="part.nc")
    with pytest.raises(BadInput, match=r"Is a directory"):
        read_program(tmp_path, SETTINGS)


@pytest.mark.parametrize("data", [b"G1 X1\0", "G1 X1".encode("utf-16"), bytes(range(1, 30))])
def test_binary_file(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "part.nc").write_bytes(data)
    with pytest.raises(BadInput, match=r"part\.nc: is a binary file, not a program"):
        read_program(tmp_path / "part.nc", SETTINGS)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "part.nc").write_bytes((HEAD + "(Größe)\nG1 X1\nM30").encode(encoding))
    found = read_program(tmp_path / "part.nc", SETTINGS)
    assert [p.name for p in found.passes] == ["Größe"]
