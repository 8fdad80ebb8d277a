"""Where a ball nose meets floor and wall: twins with errors set by hand, and the demo."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_twins import TENTH, THOU, found

ROOT = Path(__file__).resolve().parent.parent
TOOLS = [
    tool(1, "flat", 6.0),
    tool(2, "ball", 6.0, APMX=4.0),
    tool(3, "chamfer", 16.0, KAPR=45.0, tip=1.0),
    tool(4, "bull", 8.0, RE=1.0),
]
BALL, FILLET = 3.0, 5.0
FLOOR, WALL = -8.0, 5.0
"""The floor lies in front of the wall y = 5; the fillet's axis stands at y = 0, z = -3."""
PITCHES = (0.13, 0.5, 1.7)


def job_of(folder: Path, nc: Nc, pitch: float = 0.5, **more: str) -> proud.Job:
    return write_job(folder, nc, TOOLS, low=(-12, -12, -12), high=(12, 12, 0), pitch=pitch, **more)


def line(nc: Nc, y: float, z: float) -> Nc:
    return nc.stroke((-20, y, z), (20, y, z))


def faces(nc: Nc) -> Nc:
    """Floor and wall, each finished with tool 1 as far as the fillet goes."""
    nc.tool(1, "floor")
    for y in (-11, -7, -3.05):
        line(nc, y, FLOOR)
    return line(nc.heading("wall"), WALL - 3, FLOOR + FILLET)


def rounds(
    nc: Nc, *, up: float = 0.0, aside: float = 0.0, step: float = 5.0, first: float = 0.0
) -> Nc:
    """Lines of the ball along the fillet, `up` too high and `aside` too near to the wall."""
    angle = 90.0
    while angle > first + 1e-9:
        _round(nc, angle, up, aside)
        angle -= step
    return _round(nc, first, up, aside)


def _round(nc: Nc, degrees: float, up: float, aside: float) -> Nc:
    a, t = FILLET - BALL, math.radians(degrees)
    return line(nc, a * math.sin(t) + aside, FLOOR + a * (1 - math.cos(t)) + up)


def filleted(**more: float) -> Nc:
    return rounds(faces(Nc()).tool(2, "fillet"), **more)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("up", [-0.6, -2.5, 0.5])
def test_too_low_or_too_high_on_the_floor(tmp_path: Path, up: float, pitch: float) -> None:
    (finding,) = found(job_of(tmp_path / "bad", filleted(up=up * THOU), pitch), "blend_step")
    assert (finding.rule, finding.severity) == ("blend-step", "watch")
    assert finding.size == pytest.approx(abs(up) * THOU, abs=TENTH / 100)
    assert (finding.pass_number, finding.other_pass, finding.tool) == (3, 1, 2)
    assert finding.at[2] == pytest.approx(FLOOR)
    assert ("stays proud" in finding.text) == (up > 0)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.what == "Z of pass 3, added"
    cured = filleted(up=up * THOU + change.after)
    assert not found(job_of(tmp_path / "cured", cured, pitch), "blend_step")


def test_the_grooves_width_is_that_of_the_chord(tmp_path: Path) -> None:
    e = 0.6 * THOU
    (finding,) = found(job_of(tmp_path, filleted(up=-e)), "blend_step")
    width = 2 * math.sqrt(2 * BALL * e - e * e)
    assert f"a groove {width * 1000:.1f} µm wide" in finding.text


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("aside", [0.4, 1.3, -0.6])
def test_into_or_off_the_wall(tmp_path: Path, aside: float, pitch: float) -> None:
    """The edges end 1 mm over the ball's centre: above them the wall is as it was left."""
    (finding,) = found(job_of(tmp_path / "bad", filleted(aside=aside * THOU), pitch), "blend_step")
    assert finding.severity == "watch"
    assert finding.size == pytest.approx(abs(aside) * THOU, abs=TENTH / 100)
    assert finding.other_pass == 2
    assert finding.at[1] == pytest.approx(WALL)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.what == "side allowance of pass 3, added"
    cured = filleted(aside=aside * THOU - change.after)
    assert not found(job_of(tmp_path / "cured", cured, pitch), "blend_step")


BOSS, BORE = 8.0, 9.0
"""Radii of a boss and a bore, each with a cove of the ball's own radius at its foot."""
NEARER = ((0.4, 0.3), (0.2, 0.1))
"""Earlier paths of the ball: so much further off the wall, and higher."""


def ring(nc: Nc, radius: float, z: float, way: str, climb: float = 0.0) -> Nc:
    """A full circle, or five turns down to one."""
    if not climb:
        return nc.arc((radius, 0, z), (radius, 0, z), (0, 0), way)
    code = "G2" if way == "cw" else "G3"
    turns = f"{code} I{number(-radius)} J0"
    nc.down((radius, 0, z + 5 * climb))
    nc.raw(*(f"{turns} Z{number(z + climb * (4 - k))}" for k in range(5)))
    return nc.raw(turns).up()


def frame(nc: Nc, x: float, y: float, corner: float, z: float) -> Nc:
    """Round a rectangle of half sides x and y with round corners (0: sharp ones), clockwise."""
    nc.down((0, y, z))
    for sx, sy in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
        across, along = (sx * (x - corner), sy * y), (sx * x, sy * (y - corner))
        first, last = (across, along) if sx == sy else (along, across)
        nc.raw(f"G1 X{number(first[0])} Y{number(first[1])}")
        i, j = (0.0, -sy * corner) if sx == sy else (-sx * corner, 0.0)
        if corner:
            end = f"X{number(last[0])} Y{number(last[1])}"
            nc.raw(f"G2 {end} I{number(i)} J{number(j)}")
    return nc.raw(f"G1 X0 Y{number(y)}").up()


def coved(shape: str, aside: float, paths: tuple[tuple[float, float], ...] = ()) -> Nc:
    """A floor, a wall round about, and the ball between them, last `aside` too near to the wall."""

    def round_at(nc: Nc, off: float, z: float, climb: float = 0.0) -> Nc:
        if shape == "bore":
            return ring(nc, BORE - off, z, "ccw", climb)
        if shape == "boss":
            return ring(nc, BOSS + off, z, "cw", climb)
        corner = (
            0.0 if shape == "sharp" else max(0.0, 4.5 - off) if shape == "pocket" else 1.0 + off
        )
        x, y = (9.5 - off, 9.0 - off) if shape == "pocket" else (6.0 + off, 5.0 + off)
        return frame(nc, x, y, corner, z)

    nc = Nc().tool(1, "floor")
    for off in (6.0,) if shape in ("bore", "pocket") else (6.0, 10.5, 15.0):
        round_at(nc, off, FLOOR)
    round_at(nc.heading("wall"), 3.0, FLOOR + BALL + 0.1)
    nc.tool(2, "cove")
    for off, up in paths:
        round_at(nc, BALL + off, FLOOR + up)
    return round_at(nc, BALL - aside, FLOOR, 0.0 if paths else 0.6 * (shape in ("bore", "boss")))


@pytest.mark.parametrize("paths", [(), NEARER[:1], NEARER, NEARER[::-1]])
@pytest.mark.parametrize("shape", ["boss", "bore", "island", "sharp", "pocket"])
def test_round_about_a_wall(
    tmp_path: Path, shape: str, paths: tuple[tuple[float, float], ...]
) -> None:
    """A wall that bends, with one, two and three paths (or a helix): as along a straight one."""
    for aside in (-20e-3, 20e-3):
        job = job_of(tmp_path / f"{aside}", coved(shape, aside, paths))
        (finding,) = found(job, "blend_step")
        assert finding.size == pytest.approx(abs(aside), abs=TENTH / 100)
        assert "of pass 2 (tool 1)" in finding.text
        assert ("stays proud" in finding.text) == (aside < 0)
        assert finding.change
        assert finding.change.after == pytest.approx(aside)
    assert not found(job_of(tmp_path / "clean", coved(shape, 0.0, paths)), "blend_step")


def test_two_causes_are_two_findings(tmp_path: Path) -> None:
    nc = filleted(up=-0.5 * THOU, aside=0.9 * THOU)
    sizes = sorted(f.size / THOU for f in found(job_of(tmp_path, nc), "blend_step"))
    assert sizes == pytest.approx([0.5, 0.9], abs=1e-6)


def test_a_smaller_one_is_a_note(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, filleted(up=-0.2 * THOU)), "blend_step")
    assert finding.severity == "note"
    assert finding.size == pytest.approx(0.2 * THOU, abs=TENTH / 100)


@pytest.mark.parametrize("up", [-0.6, 0.5])
def test_the_last_path_alone_is_named_by_its_line(tmp_path: Path, up: float) -> None:
    """The others lie on the round: they stay as they are."""
    nc = faces(Nc()).tool(2, "fillet")
    for degrees in range(90, 0, -10):
        _round(nc, degrees, 0.0, 0.0)
    clean = _round(nc, 0.0, 0.0, 0.0).text()
    lines = clean.split("\n")
    (at,) = [k for k, row in enumerate(lines) if row == f"G1 Z{number(FLOOR)}"][-1:]
    ends = [k for k in range(at, len(lines)) if f"Z{number(FLOOR)}" in lines[k]]
    for k in ends:
        lines[k] = lines[k].replace(f"Z{number(FLOOR)}", f"Z{number(FLOOR + up * THOU)}")
    (finding,) = found(job_of(tmp_path / "bad", "\n".join(lines)), "blend_step")
    assert finding.size == pytest.approx(abs(up) * THOU, abs=TENTH / 100)
    change = finding.change
    assert change
    assert change.what == f"Z of pass 3, line {at + 1}"
    assert change.before == pytest.approx(FLOOR + up * THOU)
    assert change.after == pytest.approx(FLOOR)


@pytest.mark.parametrize(
    ("offsets", "named", "value"),
    [('H2 = "-0.6 thou"', "H2", -0.6), ('H1 = "0.6 thou"', "H1", 0.6)],
)
def test_a_register_makes_it(tmp_path: Path, offsets: str, named: str, value: float) -> None:
    job = job_of(tmp_path, filleted(), offsets=offsets)
    (finding,) = found(job, "blend_step")
    assert finding.size == pytest.approx(0.6 * THOU, abs=TENTH / 100)
    assert finding.change
    assert (finding.change.what, finding.change.after) == (named, 0.0)
    assert finding.change.before == pytest.approx(value * THOU)


def vee(up: float) -> Nc:
    """A groove of 45 degrees with a bottom 1 wide at z = -8, and a ball tangent to both flanks."""
    nc = line(Nc().tool(3, "vee"), 0.0, -8.0)
    return line(nc.tool(2, "round"), 0.0, 3 * math.sqrt(2) - 8.5 - BALL + up)


def test_on_an_inclined_face_a_lift_counts_by_the_cosine(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", vee(-1.0 * THOU)), "blend_step")
    assert finding.size == pytest.approx(math.cos(math.pi / 4) * THOU, abs=TENTH / 100)
    assert "inclined face" in finding.text
    assert finding.change
    assert finding.change.after == pytest.approx(1.0 * THOU)
    assert not found(job_of(tmp_path / "cured", vee(0.0)), "blend_step")


def test_a_bull_that_steps_down_a_fillet(tmp_path: Path) -> None:
    """Corner radius 1 in a fillet of 5: its corner's centre stands 3 off the axis."""

    def stepped(up: float) -> Nc:
        nc = faces(Nc()).tool(4, "fillet")
        for degrees in range(90, -1, -10):
            t, a = math.radians(degrees), FILLET - 1
            line(nc, a * math.sin(t) - 3, FLOOR + a * (1 - math.cos(t)) + up)
        return nc

    (finding,) = found(job_of(tmp_path / "bad", stepped(-0.7 * THOU)), "blend_step")
    assert finding.size == pytest.approx(0.7 * THOU, abs=TENTH / 100)
    assert not found(job_of(tmp_path / "clean", stepped(0.0)), "blend_step")


@pytest.mark.parametrize("stagger", [0.0, 2 * THOU])
def test_a_bull_that_roughs_in_steps_makes_no_fillet(tmp_path: Path, stagger: float) -> None:
    """Levels 0.9 apart, under the corner radius of 1; a wall pass half a thou over the last."""
    nc = Nc().tool(4, "rough")
    for k in range(1, 10):
        line(nc, WALL - 4 - 3 * THOU - stagger * (k - 1), -0.9 * k)
    line(nc.tool(1, "wall"), WALL - 3, -8.1 + 0.5 * THOU)
    assert not found(job_of(tmp_path, nc), "blend_step")


def test_silent_twins(tmp_path: Path) -> None:
    semi = rounds(faces(Nc()).tool(2, "semi"), up=2 * THOU)
    rounds(semi.heading("fillet"))
    groove = line(faces(Nc()).tool(2, "groove"), -6.0, FLOOR - 2 * THOU)
    scallops = faces(Nc()).tool(2, "lower floor")
    for y in (-11.0, -10.0, -9.0, -8.0):
        line(scallops, y, FLOOR)
    lifted = line(faces(Nc()).tool(4, "wall"), WALL - 4.3, FLOOR + 0.4 * THOU)
    deep = line(faces(Nc()).tool(2, "deep"), -6.0, FLOOR - 1.0)
    dome = line(line(Nc().tool(1, "floor"), -11, FLOOR), -9, FLOOR).tool(2, "slope")
    for k in range(12):  # 10 degrees down to the floor, the last line 1 thou over it
        line(dome, -6.3 + 0.3 * k, FLOOR + 1.0 * THOU + 0.3 * k * math.tan(math.radians(10)))
    crossing = faces(Nc()).tool(2, "through the floor")
    for k in range(20):
        line(crossing, -10.0 + 0.3 * k, FLOOR + 0.43 - 0.3 * k * math.tan(math.radians(10)))
    cases = {
        "clean": filleted(), "semi": semi, "groove": groove, "scallops": scallops,
        "coarse": filleted(step=22.5), "within its cusps": filleted(step=22.5, up=0.5 * THOU),
        "at an angle": dome, "crossing": crossing,
        "lifted": lifted, "deep": deep, "little": filleted(up=-0.08 * THOU),
        "twice": rounds(filleted().heading("again")),
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "blend_step"), name


def test_scrap_is_silent(tmp_path: Path) -> None:
    block = 'shape = "block"\nlow = [-12, -12, -12]\nhigh = [12, 12, 0]\n\n[part]\ntop = 0\n'
    job = job_of(tmp_path, filleted(up=-0.6 * THOU), stock=block + f"bottom = {number(FLOOR + 1)}")
    assert not found(job, "blend_step")


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(source: str) -> None:
    (finding,) = found(proud.load(ROOT / "demo_parts/first_try" / source), "blend_step")
    assert (finding.pass_number, finding.other_pass, finding.tool) == (16, 10, 7)
    assert finding.severity == "spoils"
    assert finding.size == pytest.approx(0.6 * THOU, abs=TENTH / 100)
    assert finding.change
    assert finding.change.after == pytest.approx(0.6 * THOU)
    assert not found(proud.load(ROOT / "demo_parts/second_try" / source), "blend_step")
