"""Strict TOML: reading, models, and errors that name file, key path, value, allowed and closest."""

import os
import subprocess
import sys
from typing import Annotated, Literal

import pytest
from proud import strict
from proud.errors import JobError
from proud.strict import (
    Length,
    NonNegativeLength,
    Point2,
    Point3,
    PositiveLength,
    Problems,
    Strict,
    clean,
    key_path,
    load_toml,
    say_value,
    validate,
)
from pydantic import Field, TypeAdapter


class Disc(Strict):
    shape: Literal["disc"]
    radius: PositiveLength = Field(description="its radius")
    count: int | None = None


class Bar(Strict):
    shape: Literal["bar"]
    size: Length
    gap: NonNegativeLength = 0.0


class Sheet(Strict):
    unit: Literal["in", "mm"] = Field(description='"in" or "mm"')
    items: list[Annotated[Disc | Bar, Field(discriminator="shape")]] = Field(default=[])
    tools: str | list[Disc] = ""
    corner: Point3 | None = None
    middle: Point2 | None = None
    named: dict[str, Length] = Field(default={})
    angle: Annotated[float, Field(gt=0, lt=90)] = 45.0
    on: bool = False


def fault(**data):
    with pytest.raises(JobError) as caught:
        validate(Sheet, data, shown="sheet.toml", unit="in")
    assert caught.value.exit_code == 2
    assert caught.value.file == "sheet.toml"
    assert caught.value.__cause__ is None
    assert caught.value.__context__ is None
    return str(caught.value)


def test_lengths_become_millimetres_by_the_unit_of_the_file():
    data = {
        "unit": "in",
        "items": [{"shape": "disc", "radius": "12.5 thou"}, {"shape": "bar", "size": -1}],
        "corner": [1, 2.5, "3mm"],
        "middle": [0, "1 tenth"],
        "named": {"a": 2},
    }
    sheet = validate(Sheet, data, shown="s", unit="in")
    assert sheet.items[0].radius == 0.3175
    assert sheet.items[1].size == -25.4
    assert sheet.corner == (25.4, 63.5, 3.0)
    assert sheet.middle == (0.0, 0.00254)
    assert sheet.named == {"a": 50.8}
    assert validate(Sheet, data, shown="s", unit="mm").corner == (1.0, 2.5, 3.0)


@pytest.mark.parametrize(
    ("data", "text"),
    [
        ({}, 'sheet.toml: unit: is missing: "in" or "mm"'),
        (
            {"unit": "inn"},
            'sheet.toml: unit: "inn" is not allowed; allowed: in, mm; did you mean "in"?',
        ),
        (
            {"unit": "in", "itmes": 1},
            "sheet.toml: itmes: unknown key; allowed here: unit, items, tools, corner, middle, "
            'named, angle, on; did you mean "items"?',
        ),
        ({"unit": "in", "items": 1}, "sheet.toml: items: 1 is not a list in [ ]"),
        ({"unit": "in", "items": [1]}, "sheet.toml: items[1]: 1 is not a table"),
        ({"unit": "in", "items": [{"size": 1}]}, "sheet.toml: items[1].shape: is missing"),
        (
            {"unit": "in", "items": [{"shape": "barr"}]},
            'sheet.toml: items[1].shape: "barr" is not allowed; allowed: disc, bar; '
            'did you mean "bar"?',
        ),
        (
            {"unit": "in", "items": [{"shape": "disc"}]},
            "sheet.toml: items[1].radius: is missing: its radius",
        ),
        (
            {"unit": "in", "items": [{"shape": "bar", "size": 1, "sise": 2}]},
            "sheet.toml: items[1].sise: unknown key; allowed here: shape, size, gap; "
            'did you mean "size"?',
        ),
        (
            {"unit": "in", "items": [{"shape": "disc", "radius": 0}]},
            "sheet.toml: items[1].radius: 0 is not above 0",
        ),
        (
            {"unit": "in", "items": [{"shape": "bar", "size": 0, "gap": "-1 thou"}]},
            'sheet.toml: items[1].gap: "-1 thou" is below 0',
        ),
        (
            {"unit": "in", "items": [{"shape": "disc", "radius": 1, "count": True}]},
            "sheet.toml: items[1].count: true is not a whole number",
        ),
        (
            {"unit": "in", "items": [{"shape": "disc", "radius": 1, "count": 1.5}]},
            "sheet.toml: items[1].count: 1.5 is not a whole number",
        ),
        (
            {"unit": "in", "tools": 3},
            "sheet.toml: tools: 3 is not a text; a text stands in quotes, nor a list in [ ]",
        ),
        (
            {"unit": "in", "tools": [{"shape": "disc", "radius": "x"}]},
            'sheet.toml: tools[1].radius: "x" is not a length; write a number or a text such as '
            '"12.5 thou"',
        ),
        (
            {"unit": "in", "corner": [1, 2]},
            "sheet.toml: corner: [1, 2] is too short; item 3 is missing",
        ),
        (
            {"unit": "in", "corner": [1, 2, 3, 4]},
            "sheet.toml: corner: [1, 2, 3, 4] has 4 items; at most 3 are allowed",
        ),
        ({"unit": "in", "corner": "1, 2, 3"}, 'sheet.toml: corner: "1, 2, 3" is not a list in [ ]'),
        (
            {"unit": "in", "corner": [1, 2, True]},
            "sheet.toml: corner[3]: true is not a length; write a number or a text such as "
            '"12.5 thou"',
        ),
        (
            {"unit": "in", "named": {"a b": [1]}},
            'sheet.toml: named."a b": [1] is not a length; write a number or a text such as '
            '"12.5 thou"',
        ),
        (
            {"unit": "in", "named": {"a": "{text} thou"}},
            'sheet.toml: named.a: "{text} thou" is not a length; write a number or a text such as '
            '"12.5 thou"',
        ),
        ({"unit": "in", "angle": 90}, "sheet.toml: angle: 90 is not below 90"),
        ({"unit": "in", "angle": 0.0}, "sheet.toml: angle: 0.0 is not above 0"),
        ({"unit": "in", "angle": "45"}, 'sheet.toml: angle: "45" is not a number'),
        ({"unit": "in", "angle": True}, "sheet.toml: angle: true is not a number"),
        (
            {"unit": "in", "angle": float("nan")},
            "sheet.toml: angle: nan is not a number that can be used",
        ),
        (
            {"unit": "in", "angle": float("inf")},
            "sheet.toml: angle: inf is not a number that can be used",
        ),
        ({"unit": "in", "on": 1}, "sheet.toml: on: 1 is not allowed; write true or false"),
    ],
)
def test_one_problem_is_one_line(data, text):
    assert fault(**data) == text


def test_all_problems_are_listed_at_once():
    text = fault(angle="x", items=[{"shape": "bar"}, {"shape": "disc", "radius": -1}])
    assert text.splitlines() == [
        "sheet.toml: 4 problems:",
        '  unit: is missing: "in" or "mm"',
        "  items[1].size: is missing",
        "  items[2].radius: -1 is not above 0",
        '  angle: "x" is not a number',
    ]


def test_error_shows_no_control_characters():
    text = fault(unit="in\x1b[31m", **{"a\x07\u202eb": "c\x1b", "named": {"\x1b]0;x": "\x9b1"}})
    assert all(line.isprintable() for line in text.splitlines())


def test_tables_cannot_be_changed():
    sheet = validate(Sheet, {"unit": "mm"}, shown="s", unit="mm")
    with pytest.raises(ValueError, match="frozen"):
        sheet.unit = "in"


@pytest.mark.parametrize("kind", [Length, PositiveLength, NonNegativeLength])
def test_schema_of_a_length_is_number_or_text(kind):
    schema = TypeAdapter(kind).json_schema()
    assert [member["type"] for member in schema["anyOf"]] == ["number", "string"]
    assert schema["description"].startswith("A length")


# ------------------------------------------------------------------------------------------ files


def unread(path, shown=None):
    with pytest.raises(JobError) as caught:
        load_toml(path, shown=shown)
    return str(caught.value)


def test_load_toml_reads_and_takes_a_byte_order_mark(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"\xef\xbb\xbf[a]\r\nb = 1\r\n")
    assert load_toml(path) == {"a": {"b": 1}}


def test_load_toml_missing_names_the_closest_file(tmp_path):
    (tmp_path / "job.toml").write_text("")
    assert unread(tmp_path / "jobb.toml", "jobb.toml") == (
        'jobb.toml: no such file; did you mean "job.toml"?'
    )
    assert "there is no folder" in unread(tmp_path / "no" / "job.toml")


def test_load_toml_refuses_what_is_not_a_file(tmp_path):
    assert unread(tmp_path, "here") == "here: is a folder; name a file in it"
    os.mkfifo(tmp_path / "pipe")
    assert unread(tmp_path / "pipe", "pipe") == "pipe: is not an ordinary file"


def test_load_toml_refuses_what_is_not_text(tmp_path):
    path = tmp_path / "a.toml"
    path.write_bytes(b"\x7fELF\0\0")
    assert unread(path, "a") == "a: is not a text file; a TOML file is needed"
    path.write_bytes(b"a = 1\nb = '\xe9'\n")
    assert unread(path, "a") == "a: line 2: byte 0xe9 is not UTF-8; save it as UTF-8 text"


def test_load_toml_refuses_a_file_over_the_limit(tmp_path, monkeypatch):
    path = tmp_path / "a.toml"
    path.write_text("#" * 3000)
    monkeypatch.setattr("proud.tomlfile.LIMIT_BYTES", 3000)
    assert load_toml(path) == {}
    path.write_text("#" * 3001)
    assert "a: is 0.0 MB; up to" in unread(path, "a")
    assert strict.LIMIT_BYTES == 16 * 2**20


@pytest.mark.parametrize(
    ("source", "text"),
    [
        (
            "a = 1\nlow = 12.5 thou\n",
            "a: line 2, column 12: something follows the value; a length with its unit needs "
            'quotes: "12.5 thou"\n    low = 12.5 thou\n               ^',
        ),
        (
            "low = [1, 2mm, 3]\n",
            'a: line 1, column 12: Unclosed array; a length with its unit needs quotes: "2 mm"\n'
            "    low = [1, 2mm, 3]\n               ^",
        ),
        ("a = 1\na = 2\n", "a: line 2, column 6: this key is given twice\n    a = 2\n         ^"),
        ("[a]\n[a]\n", "a: line 2, column 3: this table or key is given twice\n    [a]\n      ^"),
        (
            "a = inch\n",
            "a: line 1, column 5: this is not a value; a text needs quotes\n    a = inch\n"
            "        ^",
        ),
    ],
)
def test_load_toml_syntax_has_line_column_and_cure(tmp_path, source, text):
    path = tmp_path / "a.toml"
    path.write_text(source)
    assert unread(path, "a") == text


def test_load_toml_at_the_end_of_the_file(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('a = """open')
    assert unread(path, "a").startswith("a: line 1, column 12: ")


@pytest.mark.parametrize(
    ("source", "text"),
    [
        ("a = " + "[" * 100_000, "a: lists or tables are nested too deeply"),
        ("a = " + "9" * 5000, "a: a number in it is too long to be read"),
    ],
)
def test_load_toml_survives_hostile_files(tmp_path, source, text):
    path = tmp_path / "a.toml"
    path.write_text(source)
    assert unread(path, "a").startswith(text)


# ------------------------------------------------------------------------------------------- text


@pytest.mark.parametrize(
    ("parts", "text"),
    [
        ((), ""),
        (("tools", 1, "diameter"), "tools[2].diameter"),
        (("offsets", "op1.Z0"), 'offsets."op1.Z0"'),
        (("a b",), '"a b"'),
    ],
)
def test_key_path(parts, text):
    assert key_path(parts) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        ("a\nb", '"a b"'),
        ("x" * 100, '"' + "x" * 57 + '..."'),
        ({"a": 1}, "a table"),
        ([1, "b", [2.5]], '[1, "b", [2.5]]'),
        (list(range(9)), "[0, 1, 2, 3, 4, 5, ...]"),
        pytest.param(1 << 60000, "a whole number of over 18 digits", id="huge"),
    ],
)
def test_say_value(value, text):
    assert say_value(value) == text


def test_say_value_of_a_date():
    data = load_dates()
    assert say_value(data) == "2026-01-02 (a date or time)"


def load_dates():
    import tomllib

    return tomllib.loads("a = 2026-01-02")["a"]


def test_clean():
    assert clean("a\x1b[0m\tb") == "a [0m b"
    assert clean("abcdef", 5) == "ab..."


def test_problems_says_nothing_when_there_is_none_and_each_once():
    problems = Problems("f")
    problems.check()
    problems.add(("a", 0), "bad")
    problems.add("a[1]", "bad")
    with pytest.raises(JobError, match=r"^f: a\[1\]: bad$") as caught:
        problems.check()
    assert (caught.value.file, caught.value.key) == ("f", "a[1]")
    problems.add("", "worse")
    with pytest.raises(JobError, match=r"^f: 2 problems:\n  a\[1\]: bad\n  worse$"):
        problems.check()


def test_nothing_heavy_is_loaded():
    code = (
        "import sys, proud.strict; "
        "print(sorted({'numpy', 'numba', 'pyvista', 'trimesh', 'scipy'} & set(sys.modules)))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout == "[]\n"
