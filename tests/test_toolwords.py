"""Tools as comments tell them; what each means is common practice, no source, unless said."""

from __future__ import annotations

import pytest
from proud.glance import glance
from proud.toolwords import read_tool_words, tools_told
from proud.toolwords_sizes import LETTER_DRILLS, NUMBER_DRILLS, number_of

IN = 25.4

TABLE = [
    # unit, number, comment, shape, sizes
    ("in", 3, "T3 3/4 BULL .045 RAD", "bull", {"DC": "0.75", "RE": "0.045"}),
    ("in", 3, "T3 .045 RAD 3/4 BULL", "bull", {"DC": "0.75", "RE": "0.045"}),
    ("mm", 1, "T1 D=12. CR=0.5 TAPER=0DEG - ZMIN=-5 - FLAT END MILL", "bull",
     {"DC": "12", "RE": "0.5"}),
    ("mm", 1, "T1 D=6. CR=0. TAPER=0DEG - ZMIN=-5 - FLAT END MILL", "flat", {"DC": "6"}),
    ("mm", 1, "T1 D=6. CR=3. TAPER=0DEG - ZMIN=-2.5 - BALL END MILL", "ball", {"DC": "6"}),
    ("mm", 1, "T1 D=6.8 CR=0. TAPER=118DEG - ZMIN=-16.4 - DRILL", "drill",
     {"DC": "6.8", "SIG": "118"}),
    ("in", 2, "TOOL 2 - 1/2 DRILL", "drill", {"DC": "0.5", "SIG": "118"}),
    ("in", 2, "TOOL NO. 2: 1-1/2 FACE MILL", "flat", {"DC": "1.5"}),
    ("mm", 0, "6MM BALL", "ball", {"DC": "6"}),
    ("in", 0, "6MM BALL", "ball", {"DC": '"6 mm"'}),
    ("mm", 0, "1/4 BALL", "ball", {"DC": '"0.25 in"'}),
    ("mm", 0, "R3 BALL", "ball", {"DC": "6"}),
    ("in", 0, '3/4" BULL, 0.045" CORNER RADIUS', "bull", {"DC": "0.75", "RE": "0.045"}),
    ("in", 2, "T2 BULL 3/4 ROUGHER, RE 45 THOU", "bull", {"DC": "0.75", "RE": '"45 thou"'}),
    ("in", 0, "1/2 4FL END MILL .030R LOC 1.25 OOH 2.0", "bull",
     {"DC": "0.5", "RE": "0.03", "APMX": "1.25", "LPR": "2", "ZEFF": "4"}),
    ("in", 0, "3 FLUTE 3/8 EM FLUTE LENGTH 1.0", "flat", {"DC": "0.375", "APMX": "1", "ZEFF": "3"}),
    ("in", 0, ".375 EM .5 SHANK", "flat", {"DC": "0.375", "DMM": "0.5"}),
    ("in", 0, "DIA.5 EM", "flat", {"DC": "0.5"}),
    ("in", 0, "EM DIA. .5", "flat", {"DC": "0.5"}),
    ("mm", 0, "10 DIA. END MILL", "flat", {"DC": "10"}),
    ("mm", 6, "T6 Ø10 END MILL", "flat", {"DC": "10"}),
    ("mm", 6, "T6 ø10 END MILL", "flat", {"DC": "10"}),
    ("mm", 7, "T7 BALL ENDMILL D6 Z2", "ball", {"DC": "6", "ZEFF": "2"}),
    ("mm", 10, "T10 D10 FLAT", "flat", {"DC": "10"}),  # the only number is its size
    ("in", 3, "T3 H3 D3 1/2 EM", "flat", {"DC": "0.5"}),  # H3 and D3 are registers
    ("in", 4, "T4 | 1/4-20 TAP | H4 | D4", "tap", {"DC": "0.25"}),
    ("mm", 0, "M8X1.25 TAP", "tap", {"DC": "8"}),
    ("in", 0, "#10-32 TAP", "tap", {"DC": "0.19"}),  # ASME B1.1: 0.060 + 10 * 0.013
    ("in", 0, "10-24 TAP", "tap", {"DC": "0.19"}),
    ("in", 0, "1/8 NPT TAP", "tap", {}),  # a pipe's name is not its diameter
    ("in", 0, "#7 DRILL", "drill", {"DC": "0.201", "SIG": "118"}),
    ("in", 0, "LETTER Q DRILL", "drill", {"DC": "0.332", "SIG": "118"}),
    ("mm", 0, "F DRILL", "drill", {"DC": '"0.257 in"', "SIG": "118"}),
    ("mm", 0, "8.5 DRILL 140 DEG", "drill", {"DC": "8.5", "SIG": "140"}),
    ("in", 0, "1/2 REAMER", "drill", {"DC": "0.5", "SIG": "180"}),
    ("in", 0, "SPOT DRILL 90", "spot-drill", {"SIG": "90"}),
    ("in", 0, "1/2 X 90DEG SPOT DRILL", "spot-drill", {"DC": "0.5", "SIG": "90"}),
    ("mm", 0, "CENTRE DRILL 3.15", "spot-drill", {"DC": "3.15", "SIG": "90"}),
    ("in", 0, "5/8 SLOT DRILL", "flat", {"DC": "0.625"}),
    ("in", 0, "CHAMFER MILL 90", "chamfer", {"KAPR": "45", "tip_diameter": "0"}),
    ("mm", 0, "D=10. TAPER=45DEG - CHAMFER MILL", "chamfer",
     {"DC": "10", "KAPR": "45", "tip_diameter": "0"}),
    ("mm", 0, "12MM CHAMFER 60 DEG TIP 1.5", "chamfer",
     {"DC": "12", "KAPR": "60", "tip_diameter": "1.5"}),
    ("mm", 0, "TAPER BALL R1 TAPER=3DEG D6", "taper-ball",
     {"DC": "6", "RE": "1", "taper_angle": "3"}),
    ("mm", 0, "20MM BORING BAR", "bore-bar", {"DC": "20"}),
    ("mm", 0, "M10 THREAD MILL D8", "", {"DC": "8"}),
    ("in", 0, "ROUGH THE POCKET", "flat", {}),
    ("in", 0, "POCKET", "", {}),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "number", "text", "shape", "sizes"), TABLE)
def test_a_comment(unit, number, text, shape, sizes):
    found = read_tool_words(text, unit, number)
    assert found.shape == shape
    assert {key: size.text for key, size in found.sizes.items()} == sizes


@pytest.mark.parametrize(
    ("text", "key", "guess"),
    [
        ("1/2 END MILL", "DC", ""),
        (".5 END MILL", "DC", "taken as inches"),
        ("END MILL D=.5", "DC", ""),
        ("12MM END MILL", "DC", ""),
        ("1/2 DRILL", "SIG", "point angle not said"),
        ("1/2 DRILL 118 DEG", "SIG", ""),
        ("#7 DRILL", "DC", "from its number or letter"),
        ("1/2 CHAMFER 90 DEG", "KAPR", ""),
        ("1/2 CHAMFER 45 DEG", "KAPR", "a side, or included?"),
        ("BALL D=.5 R=.2", "DC", "not twice its radius"),
    ],
)
def test_guesses_are_said(text, key, guess):
    assert read_tool_words(text, "in").sizes[key].guess == guess


def test_a_shape_of_weak_words_is_a_guess():
    assert read_tool_words("1/2 ROUGHER", "in").shape_guess == "taken as an end mill"
    assert read_tool_words("1/2 END MILL ROUGHER", "in").shape_guess == ""


def test_millimetres_of_sizes():
    found = read_tool_words("T3 3/4 BULL 45 THOU RAD", "in", 3).sizes
    assert (found["DC"].mm, found["RE"].mm) == (19.05, pytest.approx(0.045 * IN, abs=1e-12))


def test_numbers_of_the_trade():
    assert [number_of(t) for t in ("3/4", "1-1/2", "1 1/2", ".045", "12.", "6", "1/0")] == [
        0.75, 1.5, 1.5, 0.045, 12, 6, 0
    ]  # fmt: skip


def test_drills_get_smaller_by_number_and_larger_by_letter():
    """Of the tables the order, their ends, and that number 1 is below letter A."""
    numbers = [NUMBER_DRILLS[n] for n in range(1, 61)]
    assert numbers == sorted(numbers, reverse=True)
    assert (numbers[0], numbers[-1], numbers[6]) == (0.228, 0.04, 0.201)
    letters = list(LETTER_DRILLS.values())
    assert letters == sorted(letters)
    assert (letters[0], letters[4], letters[-1]) == (0.234, 0.25, 0.413)


# ------------------------------------------------------------------------------ whole programs


def told(tmp_path, text, unit="mm"):
    path = tmp_path / "p.nc"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return tools_told(glance(path), unit)


def test_where_comments_stand(tmp_path):
    text = (
        "(T1 D=10. FLAT END MILL)\nG21\nT1 M6\nG0 X1\n"
        "T2 M6 (6MM BALL)\nG0 X1\n\nM5\n(8MM DRILL)\nT3 M6\nT4\nG0 X2\n"
        "M6\n(20MM FACE MILL)\nG0 X3\n(FINISH 12.5 BORE, NO TOOL NEAR)\nG1 X4\n"
    )
    found = told(tmp_path, text)
    assert {n: (w.shape, w.sizes["DC"].text) for n, w in found.items()} == {
        1: ("flat", "10"), 2: ("ball", "6"), 3: ("drill", "8"), 4: ("flat", "20")
    }  # fmt: skip
    assert found[1].doubts == found[2].doubts == ()
    assert found[3].doubts == ("from the comment on line 9",)


def test_the_fullest_comment_counts_and_others_that_differ_are_named(tmp_path):
    text = "(T1 END MILL)\n(T1 1/2 END MILL)\nG20\nT1 M6 (5/8 END MILL)\n"
    found = told(tmp_path, text, "in")[1]
    assert found.sizes["DC"].text == "0.5"
    assert found.doubts == ('another comment says "5/8 END MILL"',)


def test_signs_in_either_encoding_and_names_as_written(tmp_path):
    for encoding in ("utf-8", "latin-1"):
        found = told(tmp_path, "(T1 - Ø8 End Mill)\nT1 M6\n".encode(encoding))[1]
        assert (found.name, found.shape, found.sizes["DC"].text) == ("Ø8 End Mill", "flat", "8")


def test_a_file_that_cannot_be_read_says_nothing(tmp_path):
    seen = glance(tmp_path / "no.nc")
    assert (seen.unit, seen.tools, seen.comments) == (None, (), ())
    (tmp_path / "cut.nc.gz").write_bytes(b"\x1f\x8b\x08\0\0\0\0\0\0\3abc")
    assert glance(tmp_path / "cut.nc.gz").comments == ()


def test_words_in_expressions_are_not_taken_for_tools(tmp_path):
    path = tmp_path / "p.nc"
    path.write_text("G21\n#1=[#2 GT5]\n#3=[7 MOD4]\nT12 M6\nG41 D3\nG41 D03 (D9)\nG59.1\n")
    seen = glance(path)
    assert (seen.tools, seen.d_registers, seen.work_zeros) == ((12,), (3,), ("G59.1",))
    assert seen.compensated
    path.write_text("G21\nT1 M6\nG1 X12\nG13 I20.\n")
    assert glance(path).compensated
    path.write_text("G21\nT1 M6\nG1 X12\nG2 I20.\n")
    assert not glance(path).compensated
