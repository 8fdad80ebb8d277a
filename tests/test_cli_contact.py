"""The real command ``proud contact``: table, one pass, stations, CSV, picture, errors."""

from __future__ import annotations

import csv
import json

import pytest
from conftest import ROOT, assert_quiet
from helpers_contact import wall_passes
from helpers_job import Nc, tool, write_job

DEMO = ROOT / "demo_parts" / "first_try" / "job.toml"
TOP = ["unit", "title", "passes", "notes"]
PASS = [
    "pass", "tool", "name", "from_line", "to_line", "met", "cut", "climb_share", "radial", "axial",
    "width", "engagement", "chip", "wall_bite", "corner_bite", "volume", "bottom", "corner",
    "bottom_gap", "side_gap", "floors", "walls", "length", "cutting_length", "air_length",
    "finished_length", "rapid_cutting",
]  # fmt: skip
STATION = [
    "s", "x", "y", "z", "line", "rapid", "met", "radial", "width", "axial", "engagement", "cut",
    "wall_right", "wall_left", "foot_right", "foot_left", "side_gap", "corner_bite", "floor_bite",
    "chip_peak", "chip_mean", "finished",
]  # fmt: skip
FLAT = [tool(1, "flat", 0.25, APMX=0.25, ZEFF=4)]
NAMES = (("rough", 0.001, -0.2), ("finish", 0.0, -0.1996), ("air", 0.3, -0.1))


@pytest.fixture
def job(tmp_path):
    nc = wall_passes(*NAMES)
    low, high = (-1, -1, -0.5), (1, 0.2, 0)
    write_job(tmp_path / "job", nc, FLAT, low=low, high=high, pitch=0.02, unit="in")
    return tmp_path / "job" / "job.toml"


def test_json(job, command, tmp_path):
    out = tmp_path / "c.json"
    done = command("contact", job, "--json", "--out", out)
    assert_quiet(done)
    rows = json.loads(done.stdout)
    assert json.loads(out.read_text()) == rows
    assert (list(rows), [list(p) for p in rows["passes"]]) == (TOP, [PASS] * 3)
    rough, finish, air = rows["passes"]
    assert finish["radial"]["peak"] == pytest.approx(0.001, abs=1e-8)
    assert finish["bottom_gap"]["gap"] == pytest.approx(0.0004, abs=1e-8)
    assert (finish["met"], finish["cut"]) == (["side"], "climb")
    assert (air["met"], air["cut"], air["radial"]) == ([], None, None)
    assert rough["volume"]["total"] == pytest.approx(2 * 0.2 * 0.199, abs=rough["volume"]["error"])


def test_one_pass_with_its_stations(job, command_inside, tmp_path):
    saved, picture = tmp_path / "along.csv", tmp_path / "path.png"
    words = ("--pass", "2", "--along", "--save", saved, "--picture", picture)
    done = command_inside("contact", job, *words, "--json")
    assert_quiet(done)
    (p,) = json.loads(done.stdout)["passes"]
    assert list(p) == [*PASS, "along"]
    assert {tuple(s) for s in p["along"]} == {tuple(STATION)}
    with saved.open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    assert len(table) == len(p["along"])
    for row, s in zip(table, p["along"], strict=True):
        assert (row["pass"], row["line"]) == ("2", str(s["line"]))
        assert float(row["x (in)"]) == s["x"]
        assert row["met"] == "+".join(s["met"])
        assert float(row["engagement (deg)"]) == s["engagement"]
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_table_on_the_screen(job, command_inside):
    done = command_inside("contact", job)
    assert_quiet(done)
    lines = done.stdout.splitlines()
    assert lines[0].split() == [
        "pass", "tool", "met", "radial", "mean", "axial", "arc", "mean", "cut", "floor", "wall",
        "name",
    ]  # fmt: skip
    assert lines[2].split() == [
        "2", "T1", "s", "1.00", "1.00", "199.60", "7", "7", "climb", "+0.40", "-1.00", "finish",
    ]  # fmt: skip
    assert lines[3].split() == ["3", "T1", *"-" * 6, "air", "-", "-", "air"]
    assert "radial, axial, floor and wall in thou" in done.stdout
    assert command_inside("contact", job, "--quiet").stdout == ""


def test_one_pass_on_the_screen(job, command_inside):
    said = command_inside("contact", job, "--pass", "2").stdout
    for text in (
        "pass 2 (tool 1, finish), lines ",
        "  met         side",
        "  radial      1.00 thou at most, 1.00 thou in the mean",
        "  bottom gap  0.40 thou to what pass 1 left",
        "  side gap    0, it cuts",
        "    clear by 0.40 thou, pass 1's at Z-0.2000 in,",
        "    cut by up to 1.00 thou, pass 1's,",
    ):
        assert text in said, said
    said = command_inside("contact", job, "--pass", "3", "--along").stdout
    assert "  met         nothing" in said
    assert "pass 3 along its path" in said


def test_millimetres_are_said_in_micrometres(tmp_path, command_inside):
    nc = Nc().tool(1, "slot").stroke((-30, 0, -2), (30, 0, -2))
    write_job(tmp_path / "job", nc, [tool(1, "flat", 6.0)])
    said = command_inside("contact", tmp_path / "job" / "job.toml").stdout
    assert "6000.0" in said
    assert "in µm" in said
    assert "no flutes given (ZEFF)" in said


@pytest.mark.parametrize("color", ["cut", "met", "radial", "side-gap", "chip-peak"])
def test_pictures_in_every_colour(job, command_inside, tmp_path, color):
    picture = tmp_path / "p.png"
    done = command_inside("contact", job, "--picture", picture, "--color", color, "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    assert picture.stat().st_size > 10_000


def test_the_picture_shows_where_it_cuts():
    """Half of a straight path cuts: half is coloured."""
    from proud.pictures_contact import draw_contact

    def station(x, arc):
        return {"x": x, "y": 0.0, "rapid": False, "met": ["side"] if arc else [], "engagement": arc}

    along = [station(x / 10, 90.0 if x >= 5 else 0.0) for x in range(11)]
    rows = {"unit": "in", "passes": [{"pass": 1, "name": "one", "along": along}]}
    pixels = draw_contact(rows, "engagement", title="t").astype(int)
    path = pixels[100:1040, 80:1230]
    colored = (path.max(axis=2) - path.min(axis=2)) > 40
    columns = colored.any(axis=0)
    assert 0.4 < columns.mean() < 0.6
    assert columns[len(columns) // 2 + 60 :].mean() > 0.8
    assert not columns[: len(columns) // 2 - 60].any()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--pass", "4"), "--pass 4: the job has passes 1 to 3"),
        (("--pass", "0"), "--pass"),
        (("--color", "heat"), "--color"),
        (("--picture", "p.jpg"), "does not end in .png"),
        (("--picture", "none/p.png"), "there is no folder none"),
    ],
)
def test_words_that_cannot_be_used(job, command_inside, tmp_path, words, says):
    kept = tmp_path / "kept.csv"
    kept.write_text("old")
    done = command_inside("contact", job, *words, "--save", kept)
    assert (done.returncode, done.stdout, kept.read_text()) == (2, "", "old")
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_the_demo_finishes_its_profile_over_the_roughers_floor(command_inside):
    """Checked from the program by hand: T3 at Z-0.8884 less H3, T2 left Z-0.886: 2.4 thou.

    Paths at X1.6835 and X1.55 with tools of 0.75 and 0.5 leave 13.5 thou on the wall.
    """
    done = command_inside("contact", DEMO, "--pass", "11", "--json")
    (p,) = json.loads(done.stdout)["passes"]
    assert p["floors"][0]["gap"] == pytest.approx(-0.0024, abs=1e-7)
    assert p["wall_bite"]["mean"] == pytest.approx(0.0135, abs=1e-4)
    assert p["cut"] == "climb"
