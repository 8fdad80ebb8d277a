"""Programs for `fuzz`: made by a grammar of every word, damaged, too deep, endless, too large.

Everything is a function of the random generator that is handed in.
"""

from __future__ import annotations

import gzip
import random
import re
from collections.abc import Callable
from typing import Final

from .table import word_table

__all__ = ["HEAD", "KINDS", "NASTY", "SNIPPETS", "generated", "snippets_of"]

HEAD: Final = "G21 G90 T1 M6\nG43 H1 S1000 M3 F100\nG0 X0 Y0 Z5\n"
TAIL: Final = (
    "M30\nN8000 G1 X1\nM99\nO9001\nG1 X#1 Y#2\nM99\nO9002\nG91 G1 X1\nG90 M99\n"
    "O9003\nIF[#1 LE 0]GOTO 1\nG65 P9003 A[#1-1]\nN1 M99\n"
)
_SIDE: Final = " D1 G1 X30 Y0\nY20\nX60\nG40 G1 X80 Y@"

# In a snippet @ is a place, ^ a number above 0, ~ a small whole one, ? a number of its own.
SNIPPETS: Final[dict[str, tuple[str, ...]]] = {
    "G0": ("G0 X@ Y@ Z@", "G00Z5", "G0 X@", "g0 y@"),
    "G1": ("G1 X@ Y@", "G01 Z@ F^", "G1X@Y@Z@", "X@\nY@"),
    "G2": ("G2 I@ J^", "G91 G2 X2 Y0 I1 J0\nG90", "G91 G2 X4 Y0 R^2\nG90", "G2 I^ Z@"),
    "G3": ("G3 I@ J^", "G91 G03 X2 Y0 R-9\nG90", "G91 G3 X0 Y-2 J-1 Z@\nG90"),
    "G4": ("G4 P^",), "G5": ("G5 P1", "G5 X@ Y@"), "G5.1": ("G5.1 Q1",), "G8": ("G8 P1",),
    "G10": ("G10 L2 P~ X@ Y@ Z@", "G10 L2 P2 X0 Y0 Z0"),
    "G12": ("G12 I9. D1", "G12 I^ D1 Z@"), "G13": ("G13 I9. K14. Q2. D1", "G13 I8. D2 F^"),
    "G17": ("G17",), "G18": ("G18 G2 I@ K^\nG17", "G18 G3 I^ Y@\nG17"),
    "G19": ("G19 G2 J@ K^\nG17",),
    "G20": ("G20 G1 X1.5 F5\nG21 F100",), "G21": ("G21",),
    "G28": ("G28 X@ Z@", "G91 G28 Z0\nG90 G0 X@ Y@ Z@", "G28"), "G30": ("G30 P2 Z@",),
    "G31": ("G31 Z@",), "G38.2": ("G38.2 Z@\nG1",),
    "G41": ("G0 X0 Y0\nG41" + _SIDE,), "G42": ("G0 X0 Y0\nG42" + _SIDE,), "G40": ("G40 X@ Y@",),
    "G43": ("G43 H~", "G43 H1 Z@"), "G44": ("G44 H1",), "G49": ("G49",),
    "G50": ("G50", "G50 S3000"), "G50.1": ("G50.1 X0",),
    "G51": ("G51 X0 Y0 Z0 P1.5\nG1 X@ Y@\nG3 I@\nG50", "G51 X0 Y0 I-1 J1\nG1 X@ Y@\nG50"),
    "G51.1": ("G51.1 X@\nG1 X@ Y@\nG50.1",), "G52": ("G52 X@ Y@\nG1 X@\nG52 X0 Y0 Z0",),
    "G53": ("G0 G53 Z@", "G53 X@"),
    "G64": ("G64", "G64 P0.1 Q0.1"), "G65": ("G65 P9001 A@ B@", "G65 P9003 A~", "G65P9001A1B2L3"),
    "G66": ("G66 P9001",), "G67": ("G67",),
    "G68": ("G68 X@ Y@ R@\nG1 X@ Y@\nG2 I@\nG69\nG1 X@ Y@",), "G69": ("G69",),
    "G73": ("G73 X@ Y@ Z-4 R1 Q1.5\nX@\nG80",), "G74": ("G74 X@ Z-4 R1\nG80",),
    "G76": ("G76 X@ Z-4 R1 I.1 J.1 P1\nG80",), "G80": ("G80",),
    "G81": ("G0 Z9\nG98 G81 X@ Y@ Z-4 R1\nX@\nY@ L~\nG80", "G91 G81 X1 Y1 Z-1 R-1 L3\nG90 G80"),
    **{f"G{n}": (f"G99 G{n} X@ Y@ Z-4 R1\nX@\nG80",) for n in (84, 85, 86, 88, 89)},
    "G82": ("G99 G82 X@ Z-4 R1 P1\nX@ R2\nG80",), "G83": ("G83 X@ Y@ Z-4 R1 Q^\nX@ Y@ K2\nG80",),
    "G87": ("G87 X@ Z-9 R1 I1 J0 K-5\nG80",), "G90": ("G90",),
    "G90.1": ("G90.1\nG1 X5 Y0\nG3 X0 Y5 I0 J0\nG91.1",), "G91": ("G91 G1 X@ Y@\nG90", "G91"),
    "G92": ("G92 X@ Y@\nG1 X@\nG92.1", "G92 S900"), "G92.2": ("G92.2",), "G92.3": ("G92.3",),
    "G93": ("G93 G1 X@ F^\nG94 F100",), "G95": ("G95 F.1 G1 X@\nG94 F100",),
    "G96": ("G96 S100\nG97 S900",), "G98": ("G98",), "G99": ("G99",),
    "G187": ("G187 P1 E0.1",),
    "M0": ("M0", "M00"), "M2": ("M2",), "M6": ("T2 M6\nG43 H2", "T1 M06"), "M30": ("M30",),
    "M19": ("M19", "G1 M19 R90"), "M97": ("M97 P8000 L~",), "M99": ("M99",),
    "M98": ("M98 P9002", "M98 P9002 L~", "G1 X@ M98 P9001"),
    "A": ("G0 A0", "G0 A@\nG0 A0"), "B": ("G0 B360",), "C": ("G0 C-720",),
    "D": ("G40 D1",), "E": ("G1 X@ E1",), "F": ("F^",), "H": ("H1",), "I": ("G2 I@",),
    "J": ("G3 J@",), "K": ("G18 G2 K@\nG17",), "L": ("M98 P9002 L~",), "N": ("N? G1 X@", "N?"),
    "O": ("O~",), "P": ("G4 P^",), "Q": ("G83 X@ Z-1 R1 Q^\nG80",), "R": ("G2 X@ Y@ R^",),
    "S": ("S^", "S~000"), "T": ("T~", "T2"), "U": ("G1 U@",), "V": ("V@",), "W": ("W@",),
    "X": ("G1 X@", "X@"), "Y": ("Y@",), "Z": ("Z@",),
    "/": ("/G1 X@", "/ N? (A) Y@"), "( )": ("(ROUGH @)", "G1 (A) X@ (B)", "(PROUD PASS floor)"),
    "(MSG,": ("(MSG, LOOK)",), ";": ("G1 X@ ; remark (", ";"), "%": ("%",),
    "#n": ("#~=@", "#1=@ #2=#1\nG1 X#2", "#5211=@\nG92.3\nG92.1", "G1 X#5220 Y[#5161]", "##1=2"),
    "#<name>": ("#<w>=@\nG1 X#<w>", "#<_deep hole>=~\n#1=#<_DEEPHOLE>"),
    "[ ]": ("G1 X[@*2-@/3]", "G1 X[SIN[@]*10] Y-[2**~]", "#1=ATAN[@]/[^]", "G1 X[1 AND[@ GT 0]]",
            "#1=FIX[@ MOD 7]+ROUND[^]-FUP[@]\nG1 X#1", "G1 XSQRT[ABS[@]] F[^+EXP[1]]"),
    "IF, WHILE, DO, END, GOTO": (
        "#1=~\nIF[#1 GT 2]GOTO ?\nG1 X@\nN=", "#1=0\nWHILE[#1 LT ~]DO1\nG1 X#1\n#1=#1+1\nEND1",
        "GOTO ?\nX9\nN= X@", "IF[@ LT 0]THEN #3=1",
        "#9=0\nDO2\n#9=#9+1\nIF[#9 GE 3]GOTO ?\nEND2\nN=",
    ),
    "O SUB, O CALL, O IF": ("O100 SUB", "O<x> CALL [1]", "O1 IF [1]"),
}  # fmt: skip
"""Word of the table -> lines that use it."""

_RARE: Final = frozenset(
    {"M2", "M30", "M99", "O", "%", "H", "D", "U", "V", "W", "E", "G5", "O SUB, O CALL, O IF"}
    | {row.word for row in word_table() if row.use == "refused"}
)
"""Words that end a program or make an error of it."""
NASTY: Final = (
    *("0", "-0", ".", "-.", "1..2", "--1", "+", "1.", "-.5", "00000000000000000001", "1e9"),
    *("100000", "-100000.0001", "2147483648", "9" * 19, "9" * 20, "9" * 21, "9" * 400, ".0000001"),
    *("1." + "0" * 18, "[", "[1", "#", "#1", "##2", "#<a>", "#5161", "#5400", "[1/0]", "[0-1]**.5"),
)
_ALPHABET: Final = (
    "GMXYZIJKRFSTHDLPQNOEUVWABC0123456789.-+#[]()/%;=<>* \t\f\n\r:'\"\\,é\x85\x1a\x00"
)
_NUMBER: Final = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)")
_WORD: Final = re.compile(r"[A-Za-z#%/(\[]")


def snippets_of(word: str) -> tuple[str, ...]:
    """Return lines that use a word of the table; one that nobody wrote any for gets some."""
    row = next((row for row in word_table() if row.word == word), None)
    letters = "".join(f" {k}1" for k in row.takes) if row else ""
    return SNIPPETS.get(word) or (word, f"{word} X@ Y@", f"{word} X@ Y@ Z-2{letters}\nG80")


def _filled(rng: random.Random, snippet: str) -> str:
    """Put numbers into a snippet; ``?`` is a new block number and ``=`` after N the same again."""
    own = rng.randrange(100, 7999)
    snippet = re.sub(r"N=", f"N{own}", snippet).replace("?", str(own))
    makers: dict[str, Callable[[], str]] = {
        "@": lambda: _place(rng),
        "^": lambda: f"{rng.uniform(0.01, 20):.{rng.randrange(1, 5)}f}",
        "~": lambda: str(rng.randrange(1, 5)),
    }
    return re.sub("[@^~]", lambda found: makers[found[0]](), snippet)


def _place(rng: random.Random) -> str:
    value = rng.uniform(-50, 50)
    return rng.choice(
        (f"{value:.3f}", f"{value:.1f}", f"{value:.0f}", f"{value / 60:.4f}".lstrip("0"))
    )


def generated(rng: random.Random) -> str:
    """Return a program that a post might have written, of words from the whole table."""
    words = [row.word for row in word_table()]
    usual = [word for word in words if word not in _RARE]
    lines = []
    for _ in range(rng.randrange(1, 25)):
        word = rng.choice(words if rng.random() < 0.04 else usual)
        lines.append(_filled(rng, rng.choice(snippets_of(word))))
        if rng.random() < 0.8:
            lines.append("G90 G1")
    text = HEAD + "#1=1 #2=2\n" + "\n".join(lines) + "\nG1 X1\n" + TAIL
    if rng.random() < 0.1:
        text = f"%\nO77 (PART)\n{text}%\nrubbish"
    return text.replace("\n", rng.choice(("\n", "\n", "\r\n", "\r")))


def _program(rng: random.Random) -> bytes:
    return generated(rng).encode()


def _mutated(rng: random.Random) -> bytes:
    text = generated(rng)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 8, 30))):
        text = rng.choice(_MUTATIONS)(rng, text)[:200_000]
    return text.encode("utf-8", "replace")


def _one_place(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    put = rng.choice(("", rng.choice(_ALPHABET), rng.choice(_ALPHABET), text[at : at + 3]))
    return text[:at] + put + text[at + rng.randrange(3) :]


def _other_number(rng: random.Random, text: str) -> str:
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    at = rng.choice(found)
    put = rng.choice((rng.choice(NASTY), f"{rng.uniform(-1e5, 1e5):.3f}", str(rng.randrange(200))))
    return text[: at.start()] + put + text[at.end() :]


def _other_letter(rng: random.Random, text: str) -> str:
    found = list(_WORD.finditer(text))
    if not found:
        return text
    at = rng.choice(found).start()
    return text[:at] + rng.choice("GMXYZIJKRFSTHDLPQNOABC#[(/") + text[at + 1 :]


def _other_lines(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    how = rng.randrange(5)
    if how == 0:
        del lines[at]
    elif how == 1:
        lines.insert(at, lines[other])
    elif how == 2:
        lines[at], lines[other] = lines[other], lines[at]
    elif how == 3:
        lines[at] = lines[at].rstrip() + lines[other]
    else:
        lines[at : at + 3] = lines[at : at + 3] * rng.choice((2, 10, 100))
    return "".join(lines)


def _other_snippet(rng: random.Random, text: str) -> str:
    words = [row.word for row in word_table()]
    lines = text.splitlines(keepends=True)
    lines.insert(
        rng.randrange(len(lines) + 1),
        _filled(rng, rng.choice(snippets_of(rng.choice(words)))) + "\n",
    )
    return "".join(lines)


def _other_blanks(rng: random.Random, text: str) -> str:
    put = rng.choice((" ", "\t", "\f", "\xa0", "\ufeff", "\u2028", "\x1a", "\r", "\n", "   "))
    at = rng.randrange(len(text) + 1)
    return rng.choice((text[:at] + put + text[at:], text.replace(" ", ""), text.swapcase()))


_MUTATIONS: Final = (
    *(_one_place, _other_number, _other_letter, _other_lines, _other_snippet, _other_blanks),
)


def _plain(rng: random.Random) -> bytes:
    """Return a long run of plain blocks, as finishing programs are, with a few odd ones."""
    lines = [HEAD + "G1 X0 Y0", rng.choice(("G20 F5", "G91", "G90.1", "G21", "G55 X0 Y0 Z0"))]
    arcs = False
    for _ in range(rng.randrange(20, 200)):
        kind = rng.randrange(12)
        arc = rng.choice(("G2", "G3", "G02", "g3"))
        if kind < 6:
            words = [f"{axis}{_place(rng)}" for axis in "XYZ" if rng.random() < 0.6]
            straight = rng.choice(("G1", "G01", "G0", "g1", "G001", "G1."))
            words.insert(0, straight if arcs else rng.choice(("", "", straight)))
            arcs = False
        elif kind < 9:
            words = [arc, f"I{_place(rng)}", f"J{_place(rng)}", rng.choice(("", "Z1.5"))]
            arcs = True
        elif kind == 9:
            arcs = True
            words = [arc, f"X{_place(rng)}", f"Y{_place(rng)}", f"R{rng.choice(('', '-'))}150"]
        else:
            words = [rng.choice(("", f"N{rng.randrange(99999)}", "(A)", "G90", "G91", "M8", "/"))]
        words.append(rng.choice(("", "", "", "F50", "F.5", "F1200.", ";")))
        lines.append(rng.choice((" ", "", "\t")).join(filter(None, words)))
    text = "\n".join(lines)
    text = _other_number(rng, text) if rng.random() < 0.3 else text
    return (text + "\nG90 G1 X1\nM30").encode()


def _random_bytes(rng: random.Random) -> bytes:
    size = rng.choice((0, 1, 5, 60, 500, 5000))
    how = rng.randrange(3)
    if how == 0:
        return rng.randbytes(size)
    letters = _ALPHABET if how == 1 else "GXYZ0123456789.- \n#[]"
    body = "".join(rng.choice(letters) for _ in range(size))
    return (rng.choice(("", HEAD, "\ufeff" + HEAD)) + body).encode("utf-8", "replace")


def _deep(rng: random.Random) -> bytes:
    n = rng.choice((5, 49, 50, 51, 200, 500, 20_000))
    body = rng.choice(
        (
            "G1 X" + "[" * n + "1" + "]" * n,
            "G1 X" + "SIN[" * n + "1" + "]" * n,
            "G1 X" + "#" * n + "1",
            "G1 X" + "-" * n + "1",
            "G1 X[" + "1+" * n + "1]",
            "G1 X[" + "2**" * n + "1]",
            "\n".join(f"WHILE[1]DO{k}" for k in range(n)),
            "(" * n + ")" * n,
            "/" * n + "X1",
            "#1=" + "ATAN[1]/[" * n + "1" + "]" * n,
            "IF[" * n + "1" + "]" * n + "GOTO 1",
            "IF[1]THEN" * n + "#1=1",
            "\n".join(f"M98 P{k + 1}\nM99\nO{k + 1}" for k in range(min(n, 500))) + "\nM99",
        )
    )
    return (HEAD + body + "\n" + TAIL).encode()


def _endless(rng: random.Random) -> bytes:
    line = _filled(rng, rng.choice(snippets_of(rng.choice(("G1", "G2", "G81", "G91", "X", "G18")))))
    n = rng.choice((2, 999, 9999))
    body = rng.choice(
        (
            f"N5 {line}\nGOTO 5",
            f"#1=0\nN5 #1=#1+1\n{line}\nGOTO 5",
            f"DO1\n{line}\nEND1",
            "#1=0\nDO1\n#1=#1+1\nEND1",
            "WHILE[1]DO1\nWHILE[1]DO2\nEND2\nEND1",
            f"N1\n{line}\nM99 P1",
            f"M98 P5 L{n}\nM30\nO5\nM98 P6 L{n}\nM99\nO6\n{line}\nM99",
            "M98 P5\nM30\nO5\nM98 P5\nM99",
            "G65 P5 A1\nM30\nO5\nG65 P5 A[#1+1]\nM99",
            f"M97 P7 L{n}\nM30\nN7 M97 P7\nM99",
            f"G91 G83 X1 Z-9 R0 Q.001 L{n}\nX1 L{n}\nX1 L{n}",
            "G18\n" + "G2 I99999\n" * rng.choice((1, 300)),
            f"G51 X0 Y0 Z0 P{n}.\nG18 G2 I{n} K{n}",
            "#<a>=0\nDO1\n#<a>=#<a>+1\n#[100+#<a>]=1\nEND1",
            "GOTO[#1]\n" * 3,
        )
    )
    return (HEAD + body + "\n" + TAIL).encode()


def _huge(rng: random.Random) -> bytes:
    n = rng.choice((1000, 1025, 5000, 100_000))
    number = rng.choice(NASTY)
    body = rng.choice(
        (
            "X" + "1" * n,
            "X" + "1" * n + "?",
            "G1 X1 (" + "a" * n + ")",
            "X1" * n,
            " " * n + "G1 X1",
            "\n" * n,
            "M8\n" * n,
            f"G1 X1 Y{number} Z-{number}",
            f"G{number} X1\nM{number}\nT{number}\nN{number} O{number}",
            f"G2 X{number} R{number}\nG3 I{number} J{number}",
            f"#{number}={number}\nG1 X#{number}",
            f"M98 P{number} L{number}\nGOTO {number}",
            f"G10 L{number} P{number}\nG43 H{number}\nG41 D{number} G1 X9",
            f"G51 X0 Y0 Z0 P{number}\nG1 X9\nG68 X{number} Y0 R{number}\nG1 X9 Y9",
            f"F{number} S{number}\nG95 F{number} G1 X1\nG93 F{number} G1 X2",
            f"G52 X{number}\nG92 Y{number}\nG54\nG1 X1 Y1",
            "/" + "N1" * n,
            "G1 X1 ;" + "(" * n,
            "WHILE[" * n,
        )
    )
    return (HEAD + body + "\n" + TAIL).encode()


def _calls(rng: random.Random) -> bytes:
    number = rng.choice((7, 70, 700, 7001, 7002, 7003, 7004, 7005, 7006, 7007, 7008, 7009))
    call = rng.choice(("M98 P{}", "M98 P{} L3", "G65 P{} A1", "M98 P{}0001", "G1 X[{}] M98 P{}"))
    return (HEAD + call.format(number, number) + "\n" + _filled(rng, "G1 X@\n") + TAIL).encode()


def _packed(rng: random.Random) -> bytes:
    data = bytearray(gzip.compress(generated(rng).encode(), mtime=0))
    how = rng.randrange(3)
    if how == 1:
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif how == 2:
        del data[rng.randrange(len(data)) :]
    return bytes(data)


KINDS: Final[dict[str, tuple[int, Callable[[random.Random], bytes]]]] = {
    "program": (22, _program),
    "mutated": (42, _mutated),
    "plain": (8, _plain),
    "random bytes": (8, _random_bytes),
    "deep": (5, _deep),
    "endless": (4, _endless),
    "huge": (5, _huge),
    "calls": (4, _calls),
    "packed": (2, _packed),
}
"""Kind of program -> how many of a hundred, and what makes one."""
