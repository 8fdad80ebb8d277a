"""Long programs: plain blocks read in a compiled loop as the full reader reads them, bit by bit."""

from __future__ import annotations

import dataclasses
import gzip
from pathlib import Path

import numpy as np
import pytest
from from_python import from_python
from helpers_program import HEAD, settings
from hypothesis import given
from hypothesis import settings as tries
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.kernels import blocks
from proud.program import lexer, plain, read_file, read_source, reader

ROUND = from_python(blocks.round10)


def outcome(text: str, long_text: int, **changes: object) -> object:
    """Return all that is read, comparable; or the errors."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lexer, "LONG_TEXT", long_text)
        patch.setattr(plain, "PATIENCE", 1)  # tries again at every line
        try:
            found = read_source(text, settings(**changes), shown="part.nc")
        except BadInput as error:
            return str(error)
    moves = found.program.moves
    arrays = {f.name: getattr(moves, f.name) for f in dataclasses.fields(moves)}
    kept = {name: (a.dtype, a.shape, a.tobytes()) for name, a in arrays.items()}
    rest = found.program.passes, found.program.notes, found.unit, found.blocks, found.noted
    return kept, rest, found.warnings


def assert_same(text: str, **changes: object) -> object:
    full, fast = outcome(text, 10**9, **changes), outcome(text, 0, **changes)
    assert fast == full
    return full


@tries(deadline=None)
@given(st.floats(-1e5, 1e5) | st.integers(-(10**14), 10**14).map(lambda n: (n + 0.5) / 1e10))
def test_rounding_is_that_of_python(x: float) -> None:
    found, wanted = ROUND(x), round(x, 10)
    assert np.float64(found).tobytes() == np.float64(wanted).tobytes()


def test_rounding_of_halves_that_are_exact() -> None:
    """Multiples of 2^-11 have an 11th decimal of 5 at times: to even, as Python does."""
    for n in range(-4000, 4000):
        assert ROUND(n / 2048) == round(n / 2048, 10)


PLACES = st.sampled_from(
    [
        "1",
        "-2.5",
        "+.5",
        "0",
        "-0",
        "3.",
        "0.1234",
        "12.70001",
        "1.23456789012345678",
        "00.5",
        "7 .2",
    ]
)
AXES = st.lists(st.tuples(st.sampled_from("XYZ"), PLACES), max_size=3, unique_by=lambda w: w[0])
FINE_TAILS = ["", "F250", "F 12.5", "(note)", "; note", "M8", "S900"]
TAILS = [*FINE_TAILS, "F0", "F-1", "N5", "X1", "Q2", "I1"]
FINE = [
    "",
    "  \t",
    "(SECOND PASS)",
    "G90",
    "G20",
    "G21",
    "G90.1",
    "G91.1",
    "G17",
    "G54",
    "T2 M6",
    "G43 H2",
    "#1=2",
    "X[1+2]",
    "G1 X[1+2]",
    "G0 Z5",
    "M0",
    "g1x1y2z-.5",
    "G01X1.",
    "N10",
    "X.5",
    "G91 X1 Y-1",
    "G4 P1",
    "G1",
    "G2 X5 Y0 I1 J0",
    "G1 X0 Y0",
    "G3 X0 Y0 I-3 J0",
    "G94 F80",
]
WRONG = [
    "G90.1",
    "%",
    "/G1 X3",
    "G18",
    "G92 X1",
    "G80",
    "G81 X1 Y1 Z-1 R1",
    "G68 X0 Y0 R30",
    "G69",
    "G93",
    "G41 D1 X5",
    "G40 X0 Y0",
    "N1.5 X1",
    "N-1 X1",
    "G1.0 X4",
    "G3 I-1",
    "G2 X1 Y1 I1",
    "Y Z1",
    "X1..2",
    "é",
    "A0",
    "M2",
]  # some of them right here and there
CENTERS = ["I1", "J-1", "I.5J.5", "R2", "R-3", "I1 J0", "K1", ""]


@st.composite
def lines(draw: st.DrawFn, fine: bool) -> str:
    if draw(st.integers(0, 2)) == 0:
        return draw(st.sampled_from(FINE if fine else [*FINE, *WRONG]))
    g = draw(st.sampled_from(["", "", "", "G0", "G1", "G01", "G 1", "g1"]))
    words = [f"{letter}{value}" for letter, value in draw(AXES)]
    if not fine and draw(st.integers(0, 9)) == 0:
        g = draw(st.sampled_from(["G2", "G03"]))
        words.append(draw(st.sampled_from(CENTERS)))
    number = draw(st.sampled_from(["", "", "N20 ", "n 3 0"]))
    tails = st.sampled_from(FINE_TAILS if fine else TAILS)
    tail = draw(tails) if draw(st.integers(0, 3)) == 0 else ""
    order = [g, *words] if draw(st.booleans()) else [*words, g]
    return number + draw(st.sampled_from(["", " "])).join(order) + " " * bool(tail) + tail


TEXTS = st.booleans().flatmap(lambda fine: st.lists(lines(fine), max_size=25))


@given(TEXTS, st.sampled_from(["\n", "\r\n", "\r"]), st.booleans())
@tries(deadline=None, max_examples=400)
def test_any_lines_give_the_same_moves_notes_and_errors(
    text: list[str], end: str, inch: bool
) -> None:
    head = HEAD.replace("G21", "G20") if inch else HEAD
    assert_same(end.join([*head.split("\n"), *text, "M30"]), home=(0, 0, 50))


def test_a_spiral_of_a_thousand_blocks() -> None:
    """Arcs by I and J from computed points, in inches: every move as the full reader makes it."""
    turn = np.linspace(0, 40, 1000)
    x, y = (np.round(f(turn) * (1 + turn / 50), 4) for f in (np.cos, np.sin))
    rows = [f"X{a:.4f} Y{b:.4f} Z{-t / 500:.4f}" for a, b, t in zip(x, y, turn, strict=True)]
    rows[500:500] = [f"G3 X{x[499]:.4f} Y{y[499]:.4f} I-0.25 J0.1", "G1 F30"]
    found = assert_same(HEAD.replace("G21", "G20") + "G1 F20.\n" + "\n".join(rows) + "\nM30")
    assert isinstance(found, tuple)
    assert found[1][3] == 3 + 1 + 1002 + 1  # the head, G1 F20., the rows, M30


def test_moves_of_loops_and_subprograms() -> None:
    text = (
        "G1 Z-1\n#1=0\nWHILE [#1 LT 3] DO1\nG91\n" + "X1\nY1\nX-1\nY-1\n" * 5 + "G90\n#1=[#1+1]\n"
        "END1\nM98 P7 L2\nM30\nO7\n" + "X2\nX3 Y1\nG2 X4 Y0 I1 J0\nG1 X0 Y0\n" * 4 + "M99"
    )
    assert_same(HEAD + text)


def test_lines_without_a_last_line_feed_and_with_letters_of_any_alphabet() -> None:
    text = HEAD + "G1 X1 (Zustellung ½ µm — наклон)\nX2\nX3"
    assert_same(text)
    assert list(plain.PlainLines("a\r\nb\rc\n\nd€")) == ["a", "b", "c", "", "d€"]
    assert plain.PlainLines("a%\n\n%").having("%") == [0, 2]


def test_a_called_loop_has_its_errors_at_the_same_place() -> None:
    found = assert_same(HEAD + "G1 X1\nX2\nX3\nX4 Y5 Q9\nX5\nG1 X1 X2\nM30")
    assert "part.nc:7:7" in str(found)
    assert "part.nc:9:7" in str(found)


def test_gzip_is_read_and_a_damaged_one_refused(tmp_path: Path) -> None:
    text = (HEAD + "G1 X1\nX2\nM30\n").encode()
    (tmp_path / "part.nc.gz").write_bytes(gzip.compress(text))
    (tmp_path / "part.nc").write_bytes(text)
    packed, bare = (
        read_file(tmp_path / name, settings(), shown="part.nc")
        for name in ("part.nc.gz", "part.nc")
    )
    assert packed.program.moves.end.tolist() == bare.program.moves.end.tolist()
    (tmp_path / "short.nc").write_bytes(gzip.compress(text)[:-12])
    with pytest.raises(BadInput, match=r"short\.nc: is damaged"):
        read_file(tmp_path / "short.nc", settings(), shown="short.nc")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "UNPACKED_LIMIT", 10)
        with pytest.raises(BadInput, match="holds more than"):
            read_file(tmp_path / "part.nc.gz", settings(), shown="part.nc.gz")
