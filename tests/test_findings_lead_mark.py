"""Lead-ins, lead-outs and the marks they leave: twins with sizes set by hand, and the demo."""

from __future__ import annotations

import math
import re
import shutil
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_twins import TENTH, THOU, found
from proud.findings.case import Case
from proud.findings.leads import Lead, leads_of

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "demo_parts"
TOOLS = [tool(1, "bull", 10.0, RE=1.0), tool(2, "bull", 8.0, RE=0.5), tool(3, "flat", 6.0)]
PITCHES = (0.13, 0.7, 1.7)
HALF = (12.0, 8.0)
"""Half the part's length and width; the stock ends 4 mm outside; it is 12 high, the part 9."""
LOW, HIGH = (-16.0, -12.0, -12.0), (16.0, 12.0, 0.0)
PART = "\n\n[part]\ntop = 0\nbottom = -9.0"
FRONT = '\n\n[[show]]\ndirection = "-y"'


def job_of(
    folder: Path, nc: Nc | str, *, show: str = FRONT, part: str = PART, pitch: float = 0.7
) -> proud.Job:
    block = f'shape = "block"\nlow = {list(LOW)}\nhigh = {list(HIGH)}'
    return write_job(folder, nc, TOOLS, stock=block + part + show, pitch=pitch)


def rough(nc: Nc, off: float = 0.3, levels: tuple[float, ...] = (-4.8, -9.6)) -> Nc:
    """Round the part with tool 1, in and out far off."""
    x, y = HALF[0] + 5 + off, HALF[1] + 5 + off
    nc.tool(1, "rough")
    for z in levels:
        corners = [(x, y, z), (x, -y, z), (-x, -y, z), (-x, y, z)]
        nc.stroke((-40, y, z), *corners, (-x, 40, z))
    return nc


def round_part(
    nc: Nc,
    at: float,
    sense: int,
    *,
    off: float = 0.0,
    overlap: float = 2.0,
    z: float = -9.4,
    on: str = "arc",
    out: str = "arc",
) -> Nc:
    """Tool 2 once round the part, from x = `at` on the front (sense -1) or on the back (1).

    On and off by arcs of 2 mm, straight at the wall or along Z.
    """
    x, y, s = HALF[0] + 4 + off, HALF[1] + 4 + off, sense
    along = -1.0 if s < 0 else 1.0  # climbing, the wall on the right
    start, last = (at, s * y), (at + along * overlap, s * y)
    first = start if on == "z" else (start[0] - (2 * along if on == "arc" else 0), s * (y + 2))
    nc.down((*first, z))
    if on == "arc":
        nc.raw(f"G3 X{number(start[0])} Y{number(start[1])} I{number(2 * along)} J0")
    else:
        nc.raw(f"G1 X{number(start[0])} Y{number(start[1])}")
    corners = [(along * x, s * y), (along * x, -s * y), (-along * x, -s * y), (-along * x, s * y)]
    for cx, cy in (*corners, start, last):
        nc.raw(f"G1 X{number(cx)} Y{number(cy)}")
    if out == "arc":
        nc.raw(f"G3 X{number(last[0] + 2 * along)} Y{number(s * (y + 2))} I0 J{number(2 * s)}")
    elif out == "square":
        nc.raw(f"G1 Y{number(s * (y + 2))}")
    return nc.up()


def finished(at: float, sense: int, **more: object) -> Nc:
    return round_part(rough(Nc()).tool(2, "finish"), at, sense, **more)  # type: ignore[arg-type]


def rows_of(job: proud.Job) -> tuple[Lead, ...]:
    return leads_of(Case(job, None))  # type: ignore[arg-type]


def place(said: object) -> tuple[float, float]:
    assert isinstance(said, str)
    match = re.match(r"X(-?[\d.]+) Y(-?[\d.]+)", said)
    assert match
    return float(match[1]), float(match[2])


# --------------------------------------------------------------------------------- seen by people


@pytest.mark.parametrize("pitch", PITCHES)
def test_on_and_off_where_people_look(tmp_path: Path, pitch: float) -> None:
    (finding,) = found(job_of(tmp_path / "bad", finished(3.0, -1), pitch=pitch), "lead_mark")
    assert (finding.rule, finding.severity) == ("lead-mark", "watch")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)
    assert (finding.pass_number, finding.tool) == (2, 2)
    assert finding.at[1] == pytest.approx(-HALF[1], abs=1e-6)
    assert -9.0 < finding.at[2] < 0.0
    assert "seen from -Y" in finding.text
    assert "overlap" not in finding.text
    change = finding.change
    assert change
    assert change.what == "start of pass 2"
    assert place(change.before) == (3.0, -12.0)
    x, y = place(change.after)
    assert y == pytest.approx(12.0)
    cured = job_of(tmp_path / "cured", finished(x, 1), pitch=pitch)
    assert not found(cured, "lead_mark")


def test_all_levels_are_one_finding(tmp_path: Path) -> None:
    nc = rough(Nc()).tool(2, "finish")
    for z in (-4.0, -9.4):
        round_part(nc, 3.0, -1, z=z)
    (finding,) = found(job_of(tmp_path, nc), "lead_mark")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)


@pytest.mark.parametrize("side", [10.5, 12.0])
def test_a_strip_in_the_roughers_fillet_does_not_count(tmp_path: Path, side: float) -> None:
    """Above its corner radius of 1 the rougher left 10 thou; in it the floor pass left more.

    A floor pass at a side allowance of `side` cuts but the fillet, upright over its own corner
    radius of 0.5: at `side` the fillet is so thick 0.5 mm and more over its foot.
    """
    nc = rough(Nc(), off=10 * THOU, levels=(-4.0, -8.0)).tool(2, "floor")
    round_part(nc, 3.0, 1, off=side * THOU, z=-8.0 - 5 * THOU)
    round_part(nc.heading("wall"), 3.0, -1, z=-8.0 - 4.7 * THOU)
    seen = [f for f in found(job_of(tmp_path, nc), "lead_mark") if "seen" in f.text]
    assert [f.size for f in seen] == pytest.approx([10 * THOU], abs=1e-9)
    assert seen[0].at[2] > -7.0


def test_without_overlap_it_is_the_same_finding(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", finished(3.0, -1, overlap=0.0)), "lead_mark")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)
    assert "without overlap" in finding.text
    assert finding.change
    assert "overlap 1.270 mm" in str(finding.change.after)
    x, _ = place(finding.change.after)
    cured = job_of(tmp_path / "cured", finished(x, 1, overlap=1.27))
    assert not found(cured, "lead_mark")


def test_silent_twins(tmp_path: Path) -> None:
    hidden = finished(3.0, 1)
    spring = round_part(finished(3.0, 1).heading("spring"), 3.0, -1)
    semi = rough(Nc()).tool(2, "semi")
    round_part(semi, 3.0, -1, off=0.1, overlap=0.0, out="z")
    round_part(semi.heading("finish"), 3.0, 1)
    square = finished(3.0, 1, on="square", out="square")
    for name, nc in {"hidden": hidden, "spring": spring, "semi": semi, "square": square}.items():
        assert not found(job_of(tmp_path / name, nc), "lead_mark"), name
    assert not found(job_of(tmp_path / "nobody", finished(3.0, -1), show=""), "lead_mark")


def in_halves(start: float) -> Nc:
    """The front wall finished in halves: the left from x = `start` on, then the right to x = -0.5.

    The left one comes on by an arc where it begins on the wall, the right one goes square off.
    """
    nc, y = rough(Nc()).tool(2, "left half"), -(HALF[1] + 4)
    if start > HALF[0]:
        nc.down((start, y, -9.4))
    else:
        nc.down((start + 2, y - 2, -9.4)).raw(f"G3 X{number(start)} Y{number(y)} I-2 J0")
    nc.raw("G1 X-40").up().heading("right half").down((40, y, -9.4))
    return nc.raw("G1 X-0.5", f"G1 Y{number(y - 3)}").up()


def test_an_open_wall_is_come_on_to_past_its_end(tmp_path: Path) -> None:
    """The right half goes off where the left one has been: it takes nothing there."""
    (finding,) = found(job_of(tmp_path / "bad", in_halves(0.0)), "lead_mark")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)
    assert "comes on to the wall by an arc" in finding.text
    assert "goes off" not in finding.text
    change = finding.change
    assert change
    assert (change.what, change.before) == ("start of pass 2", "X0.0000 Y-12.0000")
    x, y = place(change.after)
    assert y == -12.0
    assert x > HALF[0] + 4
    assert change.seconds == pytest.approx(60 * x / 100)
    assert not found(job_of(tmp_path / "cured", in_halves(x)), "lead_mark")


def test_an_open_wall_is_gone_off_past_its_end(tmp_path: Path) -> None:
    """The left half comes on where the right one has been: it takes nothing there."""

    def front(end: float) -> Nc:
        nc = rough(Nc()).tool(2, "right half").down((40, -12, -9.4))
        nc.raw(f"G1 X{number(end)}", "G1 Y-15").up().heading("left half")
        return nc.down((-0.5, -14, -9.4)).raw("G3 X-2.5 Y-12 I-2 J0", "G1 X-40").up()

    (finding,) = found(job_of(tmp_path / "bad", front(-3.0)), "lead_mark")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)
    assert "goes off it straight at it" in finding.text
    change = finding.change
    assert change
    assert (change.what, change.before) == ("end of pass 2", "X-3.0000 Y-12.0000")
    cured = job_of(tmp_path / "cured", front(place(change.after)[0]))
    assert not found(cured, "lead_mark")
    rows = [row for row in rows_of(cured) if row.pass_number == 2]
    assert len(rows) == 2
    assert all("past the wall's end" in row.how for row in rows)


def test_an_open_wall_that_goes_on_into_metal_has_no_better_end(tmp_path: Path) -> None:
    """The left half keeps its 0.3 mm: straight on, the tool would cut them."""
    nc = rough(Nc()).tool(2, "right half").down((40, -12, -9.4)).raw("G1 X-3", "G1 Y-15").up()
    (finding,) = found(job_of(tmp_path, nc), "lead_mark")
    assert finding.size == pytest.approx(0.3, abs=TENTH / 100)
    assert finding.change is None


def moat(front: float) -> Nc:
    """The part stands in a moat, which is as wide as the tool at the back, wider elsewhere."""
    nc, x, y, z = Nc().tool(2, "rough"), HALF[0] + 4.3, HALF[1] + 4.3, -6.0
    corners = [(x, -y, z), (-x, -y, z), (-x, y, z), (x, y, z), (x, -y, z)]
    out = 5.0
    nc.stroke((x, y, z), *corners)
    nc.stroke(
        (x + out, y, z), (x + out, -y - out, z), (-x - out, -y - out, z), (-x - out, y, z)
    )  # fmt: skip
    return round_part(nc.heading("finish"), front, -1, z=z)


def test_a_better_place_has_room_for_the_ways_on_and_off(tmp_path: Path) -> None:
    """The back is hidden, but an arc of 2 mm would cut into the moat's outer wall there."""
    block = 'shape = "block"\nlow = [-30, -25, -12]\nhigh = [30, 25, 0]'
    eye = "\n\n[[show]]\ndirection = [0, -1, 1]"
    job = write_job(tmp_path, moat(3.0), TOOLS, stock=block + PART + eye)
    *others, finding = found(job, "lead_mark")
    assert {(f.pass_number, f.severity) for f in others} == {(1, "note")}  # the moat's outer wall
    assert (finding.pass_number, finding.severity) == (2, "watch")
    assert finding.change
    x, y = place(finding.change.after)
    assert abs(x) == pytest.approx(HALF[0] + 4)
    assert y == pytest.approx(0.0)


def hollow(z: float) -> Nc:
    """A pocket 16 x 10, cut but for 0.3 mm on its walls."""
    nc = Nc().tool(3, "rough").down((0, 0, z))
    for x, y in ((4.7, 1.7), (-4.7, 1.7), (-4.7, -1.7), (4.7, -1.7), (4.7, 1.7), (0, 0)):
        nc.raw(f"G1 X{number(x)} Y{number(y)}")
    return nc.up().tool(3, "finish")


def pocket(z: float) -> Nc:
    """The pocket's walls finished from x = 0 on the back wall, on and off by arcs."""
    nc = hollow(z).down((2.0, 0.0, z)).raw("G3 X0 Y2 I-2 J0")
    for x, y in ((-5, 2), (-5, -2), (5, -2), (5, 2), (-1.5, 2)):
        nc.raw(f"G1 X{number(x)} Y{number(y)}")
    return nc.raw("G3 X-2.5 Y1 I0 J-1").up()


@pytest.mark.parametrize(
    ("eye", "said"),
    [("[0, -1, 0]", 0), ("[0, -1, 1]", 1), ('"+z"', 0), ("[0, 1, 1]", 0), ("[0, -1, 0.02]", 0)],
)
def test_a_wall_is_seen_over_the_one_before_it(tmp_path: Path, eye: str, said: int) -> None:
    """From 45 degrees above one looks over the pocket's front wall on to its back wall."""
    job = job_of(tmp_path, pocket(-6.0), show=f"\n\n[[show]]\ndirection = {eye}")
    assert len(found(job, "lead_mark")) == said


def from_the_corner(x: float, y: float) -> Nc:
    """The pocket finished from a corner, on and off straight out of it."""
    corners = [(-5, 2), (-5, -2), (5, -2), (5, 2)]
    k = corners.index((round(x), round(y)))
    way = [(*c, -3.0) for c in (*corners[k:], *corners[: k + 1])]
    return hollow(-3.0).stroke((0, 0, -3.0), *way, (0, 0, -3.0))


def test_where_all_walls_are_seen_a_corner_is_left(tmp_path: Path) -> None:
    ways = ("[1, 0, 1]", "[-1, 0, 1]", "[0, 1, 1]", "[0, -1, 1]")
    show = "".join(f"\n\n[[show]]\ndirection = {way}" for way in ways)
    (finding,) = found(job_of(tmp_path / "bad", pocket(-3.0), show=show), "lead_mark")
    assert finding.change
    x, y = place(finding.change.after)
    assert (abs(x), abs(y)) == pytest.approx((5.0, 2.0))
    assert "out of the corner" in str(finding.change.after)
    assert not found(job_of(tmp_path / "cured", from_the_corner(x, y), show=show), "lead_mark")


# ------------------------------------------------------------------------- worse than usual, hidden


@pytest.mark.parametrize("overlap", [0.0, 0.1])
def test_too_little_overlap_is_a_note(tmp_path: Path, overlap: float) -> None:
    (finding,) = found(job_of(tmp_path / "bad", finished(3.0, 1, overlap=overlap)), "lead_mark")
    assert finding.severity == "note"
    assert finding.size == pytest.approx(overlap, abs=1e-9)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.what == "overlap of pass 2"
    assert change.after == pytest.approx(50 * THOU)
    cured = finished(3.0, 1, overlap=change.after)
    assert not found(job_of(tmp_path / "cured", cured), "lead_mark")


@pytest.mark.parametrize("pitch", PITCHES)
def test_straight_up_on_the_wall(tmp_path: Path, pitch: float) -> None:
    """The wall that the side lies on is the part's: from its bottom, not the corner, to its top."""
    job = job_of(tmp_path / "bad", finished(3.0, 1, out="z", z=-9.8), pitch=pitch)
    (finding,) = found(job, "lead_mark")
    assert (finding.rule, finding.severity) == ("lead-mark", "watch")
    assert finding.size == pytest.approx(9.0, abs=TENTH)
    assert "straight up" in finding.text
    assert finding.change
    assert finding.change.what == "retract of pass 2"
    assert not found(job_of(tmp_path / "cured", finished(3.0, 1, z=-9.8)), "lead_mark")


def test_straight_up_beside_what_a_later_pass_leaves(tmp_path: Path) -> None:
    """The upper 3 mm of the wall go later: 9.4 - 0.5 - 3 are left."""
    nc = finished(3.0, 1, out="z")
    nc.heading("shoulder").tool(1, "shoulder").stroke((-40, 11, -3), (40, 11, -3))
    (finding,) = found(job_of(tmp_path, nc), "lead_mark")
    assert finding.size == pytest.approx(9.4 - 0.5 - 3, abs=TENTH)


def test_straight_up_where_the_wall_s_top_is_scrap(tmp_path: Path) -> None:
    part = "\n\n[part]\ntop = -2.5\nbottom = -9.0"
    (finding,) = found(job_of(tmp_path, finished(3.0, 1, out="z", z=-9.8), part=part), "lead_mark")
    assert finding.size == pytest.approx(6.5, abs=TENTH)


def test_without_a_part_it_is_a_note(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, finished(3.0, 1, out="z"), part=""), "lead_mark")
    assert finding.severity == "note"


def test_a_slot_as_wide_as_the_tool_has_no_way_off(tmp_path: Path) -> None:
    nc = Nc().tool(3, "slot").down((-6, 0, 0.5)).raw("G1 X6 Z-3", "G1 X-6", "G1 X6").up()
    job = job_of(tmp_path, nc)
    assert not found(job, "lead_mark")
    assert any(row.how == "straight up on the wall" and not row.cut_away for row in rows_of(job))


def test_a_wait_on_the_wall(tmp_path: Path) -> None:
    text = finished(3.0, 1).text()
    at = text.index("G1 X16 Y-12")
    bad = text[:at] + "G1 X16 Y2\nG4 P1.5\n" + text[at:]
    (finding,) = found(job_of(tmp_path / "bad", bad), "lead_mark")
    assert (finding.size, finding.of, finding.severity) == (1.5, "s", "watch")
    assert finding.at[0] == pytest.approx(HALF[0])
    line = finding.lines[0]
    assert bad.split("\n")[line - 1] == "G4 P1.5"
    assert finding.change
    change = finding.change
    assert (change.what, change.before, change.after) == (f"G4 at line {line}", 1.5, "none")
    off = text.replace("M30", "G4 P1.5\nM30")
    assert not found(job_of(tmp_path / "off", off), "lead_mark")


# --------------------------------------------------------------------------------------- the table


@pytest.mark.parametrize("pitch", PITCHES)
def test_the_table(tmp_path: Path, pitch: float) -> None:
    rows = rows_of(job_of(tmp_path, finished(3.0, -1), pitch=pitch))
    mine = [row for row in rows if row.pass_number == 2]
    assert [(r.on, r.how, r.levels, r.seen, r.cut_away) for r in mine] == [
        (True, "arc", 1, True, False),
        (False, "arc", 1, True, False),
    ]
    assert mine[0].at == pytest.approx((3.0, -12.0, -9.4))
    assert mine[1].at == pytest.approx((1.0, -12.0, -9.4))
    others = [row for row in rows if row.pass_number == 1]
    assert others
    assert all(row.cut_away and not row.seen for row in others)
    assert all("past the wall's end" in row.how for row in others)


def test_two_walls_at_one_height_are_one_level(tmp_path: Path) -> None:
    """A slot has a wall on either side of its one path."""
    nc = Nc().tool(1, "slot").stroke((-30, 0, -3), (30, 0, -3)).stroke((-30, 0, -6), (30, 0, -6))
    assert {row.levels for row in rows_of(job_of(tmp_path / "two", nc))} == {2}
    nc = Nc().tool(1, "slot").stroke((-30, 0, -3), (30, 0, -3))
    assert {row.levels for row in rows_of(job_of(tmp_path / "one", nc))} == {1}


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(source: str) -> None:
    first = found(proud.load(DEMO / "first_try" / source), "lead_mark")
    (finding,) = (f for f in first if f.severity != "note")
    assert (finding.pass_number, finding.tool) == (11, 3)
    assert finding.size == pytest.approx(13.5 * THOU, abs=TENTH / 100)
    assert finding.change
    assert place(finding.change.after)[1] == pytest.approx(1.05)
    second = found(proud.load(DEMO / "second_try" / source), "lead_mark")
    assert all(f.severity == "note" for f in second)


def test_the_demos_cure_in_its_pass_list(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    shutil.copytree(DEMO / "first_try", folder)
    (finding,) = (
        f
        for f in found(proud.load(folder / "job_passes.toml"), "lead_mark")
        if f.severity != "note"
    )
    assert finding.change
    x, y = place(finding.change.after)
    text = (folder / "passes.toml").read_text(encoding="utf-8")
    head, tail = text.split('name = "FINISH PROFILE"')
    words = f'name = "FINISH PROFILE"\noverlap = 0.05\nstart = [{x}, {math.copysign(0.8, y)}]'
    tail = re.sub(r"\nstart = .*", "", tail, count=1) if "start" in tail.split("[[")[0] else tail
    (folder / "passes.toml").write_text(head + words + tail, encoding="utf-8")
    left = found(proud.load(folder / "job_passes.toml"), "lead_mark")
    assert all(f.pass_number != 11 for f in left)
