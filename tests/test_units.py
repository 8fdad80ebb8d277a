"""Lengths in and out. The inch is 25.4 mm exactly (derived: international inch)."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.units import (
    LIMIT_MM,
    MM_PER,
    UNITS,
    Unit,
    fine_unit,
    length_mm,
    outward,
    say_alike,
    say_feed,
    say_fine,
    say_length,
    to_unit,
)


@pytest.mark.parametrize(
    ("value", "unit", "mm"),
    [
        (1, "in", 25.4),
        (1, "mm", 1.0),
        (0.5, "in", 12.7),
        (-0.012, "in", -0.3048),
        ("0.0125in", "mm", 0.3175),
        ("12.5 thou", "mm", 0.3175),
        ("2 tenths", "in", 0.00508),
        ("1 tenth", "mm", 0.00254),
        ("12.7mm", "in", 12.7),
        ("40um", "in", 0.04),
        ("40 \u00b5m", "in", 0.04),
        ("40 \u03bcm", "in", 0.04),
        ('0.5"', "mm", 12.7),
        ("1.5e-3 in", "mm", 0.0381),
        ("  -.5 IN ", "mm", -12.7),
        ("+3.", "in", 76.2),
        ("2 cm", "in", 20.0),
        ("0.1 m", "in", 100.0),
    ],
)
def test_length_mm_reads_what_people_write(value, unit, mm):
    assert length_mm(value, unit) == mm


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("12.5 tho", 'unknown unit "tho" in "12.5 tho"; use in, thou, .*did you mean "thou"'),
        ("3 ft", 'unknown unit "ft"'),
        ("", '"" is not a length; write a number or a text such as "12.5 thou"'),
        ("thou", '"thou" is not a length'),
        ("1 2 in", "is not a length"),
        ("0,5in", "is not a length"),
        ("1/8 in", "is not a length"),
        ("\u0661 mm", "is not a length"),
        ("nan", '"nan" is not a length'),
        (math.nan, "nan is not a length"),
        (math.inf, "inf is longer than 100 m; is the unit right"),
        ("1e400in", "longer than 100 m"),
        pytest.param(10**5000, "a whole number of over 18 digits is longer than 100 m", id="huge"),
        (-(10**400), "longer than 100 m"),
        (4000, "4000 is longer than 100 m"),
        (True, "true is not a length"),
        (None, "None is not a length"),
        ([1], "is not a length"),
    ],
)
def test_length_mm_refuses_with_value_and_cure(value, text):
    with pytest.raises(BadInput, match=text):
        length_mm(value, "in")


def test_error_text_has_no_control_characters_and_is_short():
    with pytest.raises(BadInput) as caught:
        length_mm("\x1b[31m" + "x" * 10000, "mm")
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 160


def test_limit_itself_is_taken_and_the_next_float_is_not():
    assert length_mm(LIMIT_MM, "mm") == LIMIT_MM
    with pytest.raises(BadInput):
        length_mm(math.nextafter(LIMIT_MM, math.inf), "mm")


@given(st.integers(-3_900_000, 3_900_000))
def test_equal_lengths_in_other_units_are_the_same_float(thou):
    inches = f"{thou / 1000:.3f}"
    ways = [f"{thou} thou", f"{inches} in", f"{thou * 10} tenths", f"{thou * 25.4:.4f} um"]
    expected = round(thou * 254 / 10000, 10)
    assert {length_mm(way, "mm") for way in ways} == {expected}
    assert length_mm(float(inches), "in") == expected


def test_zero_has_no_minus():
    assert math.copysign(1, length_mm("-0.0", "in")) == 1
    assert math.copysign(1, length_mm(-1e-15, "mm")) == 1


@given(st.floats(-3900, 3900), st.sampled_from(UNITS))
def test_to_unit_is_the_inverse(value, unit):
    # 1e-10 mm is the rounding of length_mm.
    assert abs(to_unit(length_mm(value, unit), unit) - value) <= 0.51e-10 + 1e-15 * abs(value)


def test_units_are_the_keys_of_the_table():
    assert all(unit in MM_PER for unit in UNITS)
    assert [fine_unit(unit) for unit in UNITS] == ["thou", "µm"]


@pytest.mark.parametrize(
    ("mm", "unit", "long", "fine"),
    [
        (-12.7, "in", "-0.5000 in", "-0.5000 in"),
        (-12.7, "mm", "-12.700 mm", "-12.700 mm"),
        (0.0762, "in", "0.0030 in", "3.00 thou"),
        (0.0762, "mm", "0.076 mm", "76.2 µm"),
        (-1e-9, "in", "0.0000 in", "0.00 thou"),
        (-1e-9, "mm", "0.000 mm", "0.0 µm"),
    ],
)
def test_say(mm, unit, long, fine):
    assert say_length(mm, unit) == long
    assert say_fine(mm, unit) == fine


def test_say_length_with_more_places():
    assert re.fullmatch(r"0\.10000000 in", say_length(2.54, "in", 8))


@pytest.mark.parametrize(
    ("mm", "unit", "says"),
    [
        (508.0, "in", "20"), (80.639, "in", "3.17"), (29.18, "in", "1.15"),
        (0.0172, "mm", "0.0172"),
        (87.02, "mm", "87"), (2500.0, "mm", "2500"), (1000.0, "mm", "1000"), (0.0, "mm", "0"),
    ],
)  # fmt: skip
def test_say_feed(mm: float, unit: Unit, says: str) -> None:
    assert say_feed(mm, unit) == says


@pytest.mark.parametrize(
    ("after", "before", "unit", "typed"),
    [
        (45.0254, 40, "mm", 45.026), (45.0, 40, "mm", 45.0), (45.0000004, 40, "mm", 45.0),
        (-2.2545, -2, "mm", -2.255), (1.6464, 2, "mm", 1.646), (1.0010 * 25.4, 0, "in", 25.4254),
        (1.00101 * 25.4, 0, "in", 1.0011 * 25.4),
    ],
)  # fmt: skip
def test_outward_is_never_short(after: float, before: float, unit: Unit, typed: float) -> None:
    assert outward(after, before, unit) == pytest.approx(typed, abs=1e-9)


def test_one_unit_for_the_lengths_of_a_sentence() -> None:
    assert say_alike((0.0254, 0.3), "mm") == ["25.4 µm", "300.0 µm"]
    assert say_alike((0.0254, 1.5), "mm") == ["0.025 mm", "1.500 mm"]
    assert say_alike((0.0508, 1.5), "in") == ["2.00 thou", "59.06 thou"]
