"""Numbers, expressions and parameters, worked out by hand or given in NISTIR 6556."""

from __future__ import annotations

import pytest
from helpers_program import path, read
from proud.errors import ProgramError

# written value, what it is; source: NISTIR 6556 3.3.2.3 and appendices C.2 and E, or plain
# arithmetic by hand
VALUES = [
    # the expressions of the document
    ("[2.0/3*1.5-5.5/11.0]", 0.5),
    ("[1 --3]", 4),
    ("[2/5]", 0.4),
    ("[2 OR 2]", 1),
    ("[2 AND 2]", 1),
    ("[2 XOR 2]", 0),
    ("[15 MOD 4.0]", 3),
    ("[1+2*3-4/5]", 6.2),
    ("TAN[60]", 1.7320508),
    ("ATAN[1.7321]/[1.0]", 60.000705),
    ("ACOS[0.707107]", 44.99998),
    ("ASIN[0.5]", 30),
    ("COS[60]", 0.5),
    ("SIN[30]", 0.5),
    ("ROUND[-0.499]", 0),
    ("ROUND[-0.5001]", -1),
    ("ROUND[9.975]", 10),
    ("FIX[-0.499]", -1),
    ("FIX[9.975]", 9),
    ("FIX[2.8]", 2),
    ("FIX[-2.8]", -3),
    ("FUP[-0.499]", 0),
    ("FUP[2.444]", 3),
    ("FUP[-2.8]", -2),
    ("EXP[2.3026]", 10.00015),
    ("LN[10]", 2.3025851),
    ("[2**3.0]", 8),
    ("SQRT[3**2+4**2]", 5),
    ("[6-[4*3/2]]", 0),
    # ranks: ** before * / MOD before + - OR XOR AND, equal ones from left to right
    ("[2+3*4]", 14),
    ("[[2+3]*4]", 20),
    ("[2*3**2]", 18),
    ("[2**3**2]", 64),
    ("[8/4/2]", 1),
    ("[8-4-2]", 2),
    ("[7 MOD 4*2]", 6),
    ("[-2**2]", 4),
    ("[-14 MOD 4]", 2),
    ("[1+1 AND 0]", 0),
    ("[1 AND 0+1]", 1),
    ("[0 OR 0 XOR 5]", 1),
    ("[10-2*3 MOD 4]", 8),
    ("[3 + [2 - [1 + 1]] * 4]", 3),
    # angles all round
    ("ATAN[1]/[0]", 90),
    ("ATAN[-1]/[-1]", -135),
    ("ATAN[0]/[-1]", 180),
    ("ABS[-3.5]", 3.5),
    ("ABS[SIN[-90]]", 1),
    # signs and blanks
    ("-[2+3]", -5),
    ("+SQRT[4]", 2),
    ("- 1 . 5", -1.5),
    ("sin [ 3 0 ]", 0.5),
    # comparisons (common practice): 1 or 0, one to a bracket, after arithmetic
    ("[1 EQ 1]", 1),
    ("[1 NE 1]", 0),
    ("[2 GT 1]", 1),
    ("[2 GE 3]", 0),
    ("[1+1 LT 3]", 1),
    ("[3 LE 2+1]", 1),
    ("[[1 EQ 1] AND [2 GT 3]]", 0),
    ("[[1 EQ 2] OR [2 LT 3]]", 1),
]


@pytest.mark.parametrize(("text", "value"), VALUES)
def test_value(text: str, value: float) -> None:
    ((_, x, _, _),) = path(f"G1 X{text}")
    assert x == pytest.approx(value, abs=2e-5)


# lines, and x of every move; parameters: NISTIR 6556 3.2.1 and 3.3.3, names: common practice
PARAMETERS = [
    ("#3=15 #4=2\nG1 X#3\nX[#3/#4]", [15, 7.5]),
    ("#3=6\n#3=7 G1 X#3\nX#3", [6, 7]),  # set after the line is read
    ("#3=6\nG1 X#3 #3=7\nX#3", [6, 7]),
    ("#3=1 #3=2\nG1 X#3", [2]),  # the last one counts
    ("#1=2 #2=#1+1\nG1 X#2", "#1"),  # the old #1 had no value
    ("#2=5\n##2=3\nG1 X#5", [3]),
    ("#2=5 #5=9\nG1 X##2", [9]),
    ("#[1+1]=4\nG1 X#[5-3]", [4]),
    ("#1=-2\nG1 X-#1", [2]),
    ("#1=4\nG1 X-[#1*2]", [-8]),
    ("#1=10-4/2\nG1 X#1", [8]),
    ("#1=5\n#1=#1-1\n#1=#1-1\nG1 X#1", [3]),
    ("#<depth>=4\nG1 X#<depth>", [4]),
    ("#<Deep End>=4\nG1 X#<DEEPEND>", [4]),
    ("#<a>=1 #<b>=2\nG1 X[#<a>+#<b>]", [3]),
    ("#1=3\n#1=#0\nG1 X[#1 EQ #0]\nX[#2 NE #0]", [1, 0]),
    ("#1=2.0000001\n#[#1]=7\nG1 X#2", [7]),  # whole within 0.0001
    ("#5211=3\nG1 X#5211", [3]),
    ("G1 X#5220\nG55\nX#5220", [1, 42]),
    ("G1 X#5221\nG55 X0\nG54 X#5241", [-10, 40, 30]),  # zero less machine zero
    ("#5161=2\nG1 X#5161", [2]),
    ("G20\n#5211=2\nG21\nG1 X#5211", [50.8]),  # one length, in the unit in force
    ("#100=1\nG1 X[#100*2]", [2]),
    ("#999=4\nG1 X#999", [4]),
]


@pytest.mark.parametrize(("text", "xs"), PARAMETERS)
def test_parameters(text: str, xs: list[float] | str) -> None:
    given = {"home": (10.0, 0.0, 0.0), "work_offsets": {"G54": (0, 0, 0), "G55": (40, 0, 0)}}
    if isinstance(xs, str):
        with pytest.raises(ProgramError, match=f"{xs} has no value"):
            path(text, **given)
        return
    assert [row[1] for row in path(text, **given)] == xs


@pytest.mark.parametrize(
    ("text", "choice", "xs"),
    [
        ("G1 X[#7+1]", {"unset": "zero"}, [1]),
        ("G1 X#7", {"unset": "zero"}, [0]),
        ("G1 X5\nX#7 Y1\nX[#7+2]", {"unset": "vacant"}, [5, 5, 2]),
        ("G1 X#<none>", {"unset": "zero"}, [0]),
        ("#1234=5\nG1 X#1234", {"system_parameters": "free"}, [5]),
        ("G1 X#501", {"parameters": {501: 12.5}}, [12.5]),
        ("G1 X#20", {"parameters": {20: 2.5}}, [2.5]),
        ("G1 XFIX[-2.8]\nXFUP[-2.8]\nXFIX[2.8]\nXFUP[2.2]", {"fix": "to_zero"}, [-2, -3, 2, 3]),
        ("G1 X[6 AND 3]\nX[6 OR 1]\nX[6 XOR 3]", {"logic": "bits"}, [2, 7, 5]),
        ("G1 X[6 AND 3]\nX[6 OR 1]\nX[6 XOR 3]", {}, [1, 1, 0]),
    ],
)
def test_choices_about_values(text: str, choice: dict[str, object], xs: list[float]) -> None:
    assert [row[1] for row in path(text, **choice)] == xs


def test_transcript_of_the_standard() -> None:
    """NISTIR 6556 Table 10: X[6-[4*3/2]] is 0, X ASIN[0.5] is 30."""
    found = path("G1 X3 Y1\nG2 X[6-[4*3/2]] R7.01 Z0.5\nG1 X asin[0.5]")
    assert found[1][:4] == ("A", 0, 1, 0.5)
    assert found[1][4:6] == pytest.approx((1.5, 7.8476), abs=5e-5)
    assert found[2] == ("F", 30, 1, 0.5)


@pytest.mark.parametrize("word", ["T", "S", "F", "H", "G", "M", "N"])
def test_values_of_other_words(word: str) -> None:
    """Any word may hold an expression but N, which is a plain number (NISTIR 6556 3.3.2)."""
    lines = {"T": "T[1+1] M6\nG43 H2", "S": "S[500*2]", "F": "F[50+50]", "H": "G43 H[2-1]",
             "G": "G[2-1]", "M": "M[10-2]", "N": "N10 G[0+1]"}  # fmt: skip
    found = read(f"{lines[word]}\nG1 X1 F100").program.moves
    assert found.end[-1].tolist() == [1, 0, 0]
    assert found.tool[-1] == (2 if word == "T" else 1)
