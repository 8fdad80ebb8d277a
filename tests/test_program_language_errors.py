"""Errors of the whole language: where, what, and as many as can be found in one go."""

from __future__ import annotations

import pytest
from helpers_program import HEAD, read, settings
from proud.errors import ProgramError
from proud.program import ProgramErrors, read_text

HOME = {"home": (100.0, 200.0, 300.0)}
RADII = {"radii": {1: 5.0}}

# lines after HEAD, line and column of the error, width of the word, a part of the text, choices
CASES = [
    # expressions and parameters
    ("G1 X[1+]", 1, 8, 1, "no value here", {}),
    ("G1 X[]", 1, 6, 1, "no value here", {}),
    ("G1 X[1 2 3", 1, 5, 1, "does not close", {}),
    ("G1 X[1 ; 2]", 1, 5, 1, "does not close", {}),
    ("G1 X[1?2]", 1, 7, 1, "'?' in an expression", {}),
    ("G1 X[1/0]", 1, 6, 3, "1 / 0 is division by 0", {}),
    ("G1 X[1 MOD 0]", 1, 6, 7, "division by 0", {}),
    ("G1 X[10**400]", 1, 6, 7, "is no number", {}),
    ("G1 X[[0-8]**0.5]", 1, 6, 10, "-8 ** 0.5 is no number", {}),
    ("G1 XSQRT[-1]", 1, 5, 8, "SQRT[-1] is no number", {}),
    ("G1 XLN[0]", 1, 5, 5, "LN[0] is no number", {}),
    ("G1 XACOS[1.1]", 1, 5, 9, "ACOS[1.1] is no number", {}),
    ("G1 XTAN[90]", 1, 5, 7, "TAN[90] is no number", {}),
    ("G1 XEXP[1000]", 1, 5, 9, "is no number", {}),
    ("G1 XATAN[1]", 1, 5, 7, "expected ATAN[y]/[x]", {}),
    ("G1 XPOPEN[1]", 1, 5, 5, "POPEN is no function; expected one of ABS", {}),
    ("G1 X[1 EQ 1 AND 1]", 1, 8, 2, "can be read in two ways", {}),
    ("G1 X[1 AND 1 EQ 1]", 1, 14, 2, "can be read in two ways", {}),
    ("G1 X[1 LT 2 LT 3]", 1, 13, 2, "can be read in two ways", {}),
    ("#1=2\nG1 X[-#1**2]", 2, 6, 3, "expected brackets", {}),
    ("G1 X#2", 1, 5, 2, "#2 has no value", {}),
    ("G1 X[1+#2]", 1, 8, 2, "#2 has no value", {}),
    ("G1 X#<a b>", 1, 5, 6, "#<AB> has no value", {}),
    ("G1 X#0", 1, 5, 2, "#0 has no value", {}),
    ("#0=1", 1, 1, 1, "#0 is always vacant", {}),
    ("#1.5=1", 1, 1, 4, "parameter number 1.5", {}),
    ("#-1=1", 1, 1, 3, "parameter number -1", {}),
    ("#<a=1", 1, 1, 2, "a name without '>'", {}),
    ("#1=2 [3]", 1, 6, 1, "'[' without a word before it", {}),
    ("#1000=1", 1, 1, 1, "a control's own on many controls", {}),
    ("G1 X#1000", 1, 5, 5, "a control's own on many controls", {}),
    ("G1 X#5061", 1, 5, 5, "where a probe touched", {}),
    ("G1 X#5221", 1, 5, 5, "#5221 is not known here", {}),
    ("G1 X#9999", 1, 5, 5, "#9999 is not known here", {}),
    ("#5220=2", 1, 1, 1, "#5220 can't be set here", {}),
    ("G1 X=5", 1, 4, 1, "X has no number", {}),
    ("G1 X" + "[" * 60, 1, 55, 1, "more than 50 brackets", {}),
    ("G1 X[" + "9" * 21 + "]", 1, 6, 21, "a number of 21 characters", {}),
    ("G1 X[1000*1000]", 1, 4, 12, "X reaches 1e+06 mm", {}),
    ("G[1.05] X1", 1, 1, 7, "G1.05", {}),
    ("T[1.5]", 1, 1, 6, "T 1.5 is not allowed", {}),
    # control flow
    ("GOTO 10", 1, 0, 0, "no block N10 in this program", {}),
    ("N10 G1 X1\nN10 G1 X2\nGOTO 10", 3, 0, 0, "N10 stands in lines 4, 5", {}),
    ("GOTO 1.5", 1, 1, 8, "GOTO 1.5; expected the N number", {}),
    ("GOTO 0", 1, 1, 6, "GOTO 0", {}),
    ("GOTO 1 G1", 1, 8, 2, "more words after GOTO", {}),
    ("IF [1] G1 X1", 1, 8, 5, "neither GOTO nor THEN", {}),
    ("IF [1] THEN G1 X1", 1, 13, 5, "THEN without a parameter", {}),
    ("WHILE [1] G1", 1, 1, 12, "WHILE [ ] without DO", {}),
    ("WHILE [1] DO1\nG1 X1", 1, 0, 0, "a loop without its other end", {}),
    ("G1 X1\nEND1", 2, 0, 0, "a loop without its other end", {}),
    ("DO1\nDO2\nEND1\nEND2", 1, 0, 0, "a loop without its other end", {}),
    ("N1 GOTO 1", 1, 0, 0, "a loop without end", {}),
    ("DO1\nEND1", 2, 0, 0, "a loop without end", {}),
    ("#1=1\nWHILE[#1 GT 0]DO1\n#1=1\nEND1", 4, 0, 0, "a loop without end", {}),
    ("O1 SUB", 1, 1, 6, "O words with SUB are not handled", {}),
    ("O<hole> CALL [1]", 1, 1, 12, "O words with CALL are not handled", {}),
    # calls
    ("M98 P5", 1, 5, 2, "O5 is neither in the program nor a file in the job's folder", {}),
    ("M98 P5 L0", 1, 8, 2, "L 0 is not allowed", {}),
    ("M98 P5 L99999", 1, 8, 6, "L is more than 9999", {}),
    ("M98 P1.5", 1, 5, 4, "P 1.5 is not allowed", {}),
    ("M98", 1, 1, 3, "M98 without P", {}),
    ("M97 P3", 1, 5, 2, "no block N3", {}),
    ("M98 M30 P5", 1, 5, 3, "beside the program's end", {}),
    ("M98 P5\nM30\nO5\nG1 X1\nM30 M99", 5, 5, 3, "beside the program's end", {}),
    ("M98 P5\nM30\nO5\nM99\nO5\nM99", 1, 5, 2, "O5 is in part.nc more than once (lines 6, 8)", {}),
    ("M98 P5\nM30\nO5\nM98 P5\nM99", 4, 5, 2, "more than 20 calls within each other", {}),
    ("G65 A1", 1, 1, 3, "G65 without P", {}),
    ("G65 P1 G1", 1, 8, 2, "G1 beside G65", {}),
    ("G65 P1 A1 A2", 1, 11, 2, "A2 beside G65", {}),
    ("G65 P1 O5", 1, 8, 2, "O5 beside G65", {}),
    ("G66 P1", 1, 1, 3, "G66 is not handled", {}),
    ("G[60+5] P1", 1, 1, 7, "G65 by an expression", {}),
    ("O5", 1, 1, 2, "O inside a program", {}),
    # coordinates
    ("G52", 1, 1, 3, "G52 without X, Y or Z", {}),
    ("G52 X1\nG92 X0", 2, 1, 3, "G52 and G92 both in force", {}),
    ("G91 G28 X0\nG92 X0", 2, 5, 2, "G92 where X of the tool is not known", {}),
    ("G10 L20 P1 X0", 1, 5, 3, "G10 is read with L2", {}),
    ("G10 L2 X0", 1, 5, 2, "G10 L2 without P", {}),
    ("G10 L2 P10 X0", 1, 8, 3, "P 10 is no work zero", HOME),
    ("G10 L2 P1 X0", 1, 1, 3, "expected the setup's home", {}),
    ("G91 G10 L2 P1 X0", 1, 5, 3, "adds to it on others", HOME),
    ("G92 G1 X0", 1, 1, 3, "G1 and G92 in one block both want the axis words", {}),
    ("G10 L2 P1 G0 X0", 1, 1, 3, "G0 and G10 in one block both want the axis words", HOME),
    ("G68 X0 Y0 R9 G0", 1, 1, 3, "G0 and G68 in one block both want the axis words", {}),
    ("G68 R90", 1, 1, 3, "G68 without X of its centre", {}),
    ("G68 X0 Y0", 1, 1, 3, "G68 without R", {}),
    ("G68 X0 Y0 Z0 R9", 1, 11, 2, "Z in a rotation in the XY plane", {}),
    ("G91 G68 X0 Y0 R9", 1, 5, 3, "G68 under G91", {}),
    ("G68 X0 Y0 R9\nG68 X0 Y0 R9", 2, 1, 3, "G68 under G68; expected one at a time", {}),
    ("G68 X0 Y0 R9\nG51 X0 Y0 Z0 P2.", 2, 1, 3, "G51 under G68; expected one at a time", {}),
    ("G68 X0 Y0 R9\nG54", 2, 1, 3, "G54 under G68; expected it off before", {}),
    ("G68 X0 Y0 R9\nG92 X0", 2, 1, 3, "G92 under G68; expected it off before", {}),
    ("G68 X0 Y0 R9\nG52 X0", 2, 1, 3, "G52 under G68; expected it off before", {}),
    ("G68 X0 Y0 R9\nG1 X1", 2, 4, 2, "names one axis only; expected X and Y both", {}),
    ("G68 X0 Y0 R9\nG1 X1 Y1\nG69\nY3", 4, 1, 2, "names one axis only", {}),
    ("G68 X0 Y0 R9\nG1 X1 Y1\nG18 G2 X2 Z0 R5", 3, 5, 2, "none that lies in a plane", {}),
    ("G51 X0 Y0 Z0", 1, 1, 3, "G51 without P, or I, J and K", {}),
    ("G51 X0 Y0 Z0 P2", 1, 14, 2, "without a point is 2 on some controls and 0.002 on others", {}),
    ("G51 X0 Y0 Z0 P0.", 1, 14, 3, "a scale of 0", {}),
    ("G51 P2.", 1, 1, 3, "G51 without X of its centre", {}),
    ("G51 X0 P2. I1", 1, 8, 3, "P and I in one G51", {}),
    ("G51.1", 1, 1, 5, "G51.1 without X, Y or Z", {}),
    ("G51 X0 Y0 I2. J1\nG2 X5 I2.5", 2, 1, 2, "is an ellipse; expected one scale for both", {}),
    ("G51 X0 Y0 Z0 P2.\nG81 X1 Z-1 R1", 2, 1, 3, "G81 under G51 along its depth", {}),
    ("G53 G2 X1", 1, 1, 3, "G2 and G53 in one block both want the axis words", {}),
    ("G30 P3 Z0", 1, 5, 2, "G30 with another P than 2", {}),
    ("G90.1 G2 X2 I1", 1, 13, 2, "expected I and J both (G90.1)", {}),
    # cycles
    ("G73 X1 Z-1 R1", 1, 1, 3, "G73 without Q", {}),
    ("G73 X1 Z-1 R1 Q0", 1, 15, 2, "Q is not above 0", {}),
    ("G84 X1 Z-1", 1, 1, 3, "G84 without R", {}),
    ("G85 X1 Z1 R0", 1, 11, 2, "R is below Z", {}),
    ("G89 X1 Z-1 R1 P-1", 1, 15, 3, "P is below 0", {}),
    ("G87 X1 Z-1 R1 I1 J0", 1, 1, 3, "G87 without K", {}),
    ("G87 X1 Z-1 R1 I1 J0 K-2", 1, 21, 3, "K is below Z", {}),
    ("G81 X1 Z-1 R1 L2 K2", 1, 18, 2, "both repeat it", {}),
    ("G81 X1 Z-1 R1 K0", 1, 15, 2, "K 0 is not allowed", {}),
    ("G91 G81 X1 Z-1 R1 L0", 1, 19, 2, "L0 in G91", {"cycle_repeats_0": "stores"}),
    ("G93 G81 X1 Z-1 R1", 1, 5, 3, "G81 in G93; expected G94 or G95", {}),
    ("G19 G81 X1 Y0 R0", 1, 15, 2, "R is below X", {}),
    ("G18 G76 X1 Z0 R0", 1, 5, 3, "G76 without Y", {}),
    ("G12 I5. D1", 1, 5, 3, "I is not larger than the tool", RADII),
    ("G12 I10.", 1, 1, 3, "G12 without D", RADII),
    ("G13 I10. X1 D1", 1, 10, 2, "X in G13", RADII),
    ("G13 I10. K8. Q1. D1", 1, 10, 3, "K is below I", RADII),
    ("G13 I10. K12. D1", 1, 10, 4, "K and Q go together", RADII),
    ("G18 G13 I10. D1", 1, 1, 3, "G13 outside G17", RADII),
    ("G31", 1, 1, 3, "G31 without X, Y or Z", {}),
    ("G38.2", 1, 1, 5, "G38.2 without X, Y or Z", {}),
    # feed, spindle, axes
    ("G93 G1 X1", 1, 8, 2, "a feed move in G93 without F", {}),
    ("G93 G1 X1 F2\nX2", 2, 1, 2, "a feed move in G93 without F", {}),
    ("G96 S100 G95 F0.1 G1 X1", 1, 22, 2, "G95) under G96 with a tool of unknown diameter", {}),
    ("G0 A90\nG1 X1", 2, 4, 2, "a feed move while A, B or C is not 0", {}),
    ("G1 X1 A90", 1, 7, 3, "A turns while the tool moves at feed", {}),
    ("G2 X2 I1 C90", 1, 10, 3, "C is read with G0, G1, G28 and G53 alone", {}),
    ("G1 U1", 1, 4, 2, "further axes are not handled", {}),
    ("G5 X1 Y1 I1 J1 P1 Q1", 1, 1, 2, "may be a spline", {}),
    ("G5.1", 1, 1, 4, "may be a spline", {}),
    ("G1 X1 E1", 1, 7, 2, "E words are not handled", {}),
    # compensation
    ("G18 G41 D1", 1, 5, 3, "G41 in G18; expected G17", RADII),
    ("G41 D1 G1 X20\nY20\nG28 Z0", 3, 1, 3, "G28 under G41; expected G40 before it", RADII),
    ("G41 D1 G1 X20\nY20\nG54", 3, 1, 3, "G54 under G41; expected G40 before it", RADII),
    ("G41 D1 G1 X20\nY20\nG20", 3, 1, 3, "G20 under G41; expected G40 before it", RADII),
    ("G41 D1 G1 X20\nY20\nG18", 3, 1, 3, "G18 under G41; expected G40 before it", RADII),
    ("G41 D1 G1 X20\nY20\nT1 M6", 3, 0, 0, "M6 under G41; expected G40 before it", RADII),
    ("G41 D1 G1 X20\nY20\nG81 Z-1 R1", 3, 1, 3, "G81 under G41; expected G40", RADII),
    ("G41 D1 G1 X20\nY20\nG42 D1 X0", 3, 0, 0, "G42 while G41 is in force", RADII),
    ("G41 D2 G1 X20\nY20\nG40 X0 Y0\nG41 X9", 4, 1, 3, "is D2, the last one, on some", RADII),
    ("G41 D1 G1 X20\nY20\nG40\nX9", 4, 1, 2, "names one axis only; expected X and Y", RADII),
    ("G41 D1.5", 1, 5, 4, "D 1.5 is not allowed", RADII),
    # a slot of 2 and an inside arc of 2, for a tool of 10
    ("G42 D1 G1 X20 Y0\nY50\nX22\nY0\nG40", 3, 1, 3, "between line 5 and line 6", RADII),
    ("G41 D1 G1 X20 Y0\nG3 X18 Y2 I-2\nG1 X0\nG40", 2, 4, 3, "a radius of 2.0000 mm", RADII),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "column", "width", "said", "choices"), CASES)
def test_error(
    text: str, line: int, column: int, width: int, said: str, choices: dict[str, object]
) -> None:
    with pytest.raises(ProgramError) as caught:
        read(text, **choices)
    first, shown, *more = str(caught.value).split("\n")
    assert said in first
    at = 3 + line
    assert first.startswith(f"part.nc:{at}:{column}: " if column else f"part.nc:{at}")
    assert shown == "    " + text.split("\n")[line - 1]
    if column:
        assert more[0] == "    " + " " * (column - 1) + "^" * width


def found(text: str, **choices: object) -> list[tuple[int, int]]:
    """Return line (after HEAD) and column of every error."""
    with pytest.raises(ProgramError) as caught:
        read(text, **choices)
    errors = caught.value.errors if isinstance(caught.value, ProgramErrors) else (caught.value,)
    return [(e.line - 3, e.column) for e in errors]


def test_what_is_in_force_is_said_where_it_matters() -> None:
    with pytest.raises(ProgramError) as caught:
        read("G20 G91 G18\nG2 X1 I2")
    assert str(caught.value).split("\n")[3] == "    in force: G2 G18 G91 G20 G54"


def test_where_it_was_called_from_is_said() -> None:
    with pytest.raises(ProgramError) as caught:
        read("M98 P1\nM30\nO1\nG1 X1\nM98 P2\nM99")
    assert str(caught.value).split("\n")[3] == "    called from part.nc:4"


def test_where_a_word_of_a_subprogram_was_called_from() -> None:
    with pytest.raises(ProgramError) as caught:
        read("M98 P1 L3\nM30\nO1\nG66\nM99")
    assert str(caught.value).split("\n")[3:] == ["    called from part.nc:4"]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        ("G1 X1 ?\nX2\nG66 P1\nX3 E1\nX4", [(1, 7), (3, 1), (4, 4)]),
        # each arc is judged alone: the next begins where the one before was to end
        ("G2 X1\nG2 X2 I0\nG2 X5 I1.5\nX7 R0.5", [(1, 4), (2, 7), (4, 4)]),
        # after a word that can't be read, what may follow from it is not said
        ("G66 X5\nG2 X9 I3\nX1 E1", [(1, 1), (3, 4)]),
        # until all axes are given again
        ("G66 X5\nG0 X0 Y0 Z0\nG2 X9 I3", [(1, 1), (3, 7)]),
        # said once, though every line that follows has it
        ("T0 M6\nG1 X1\nX2\nX3 E1", [(2, 4), (4, 4)]),
        ("G80\nX1\nX2\nY3", [(2, 1)]),
        # the same line of a subprogram once, however often it runs
        ("M98 P1 L5\nM30\nO1\nG66\nM99", [(4, 1)]),
        # after a parameter that has no value the rest is looked through for words alone
        ("#1=#2+1\nG1 X#1\nG66\nIF[#1 EQ 1]GOTO 5\nX1 E1", [(1, 4), (3, 1)]),
        ("GOTO 7\nG66\nM30\nG67", [(1, 0), (2, 1)]),
    ],
)
def test_many_errors(text: str, places: list[tuple[int, int]]) -> None:
    assert found(text) == places


def test_texts_of_many_errors_follow_each_other() -> None:
    with pytest.raises(ProgramErrors) as caught:
        read("G66\nG67")
    assert (caught.value.line, caught.value.column) == (4, 1)
    lines = str(caught.value).split("\n")
    assert [n for n, t in enumerate(lines) if t.startswith("part.nc:")] == [0, 3]
    assert caught.value.exit_code == 2


def test_fifty_errors_are_enough() -> None:
    with pytest.raises(ProgramErrors) as caught:
        read("G66\n" * 80)
    assert len(caught.value.errors) == 50
    assert str(caught.value).endswith("part.nc: only the first 50 errors are listed")


def test_limit_of_blocks() -> None:
    """A loop that counts without end is stopped."""
    from proud.program import flow

    old, flow.REPEATED_LIMIT = flow.REPEATED_LIMIT, 5000
    try:
        with pytest.raises(ProgramError, match=r"ran 5,000 blocks again and have not ended"):
            read("#1=0\nDO1\n#1=#1+1\nEND1")
    finally:
        flow.REPEATED_LIMIT = old


def test_a_program_that_ends_in_another() -> None:
    with pytest.raises(ProgramError, match=r"program:6:1: O inside a program; expected M30 or M99"):
        read_text("O1\n" + HEAD + "G1 X1\nO2\nG1 X2\nM30", settings())


def test_a_subprogram_without_m99() -> None:
    with pytest.raises(ProgramError, match=r"program:4:5: the called program has no M99"):
        read_text(HEAD + "M98 P5\nM30\nO5\nG1 X1", settings())


def test_errors_go_on_after_one_of_compensation() -> None:
    text = "G41 D1 G1 X20 Y0\nG3 X18 Y2 I-2\nG1 X0\nY50\nG40 X5\nG66\nG2 X9 I1"
    assert found(text, **RADII) == [(2, 4), (6, 1)]
