"""The rougher's ledge: cut, nearly cut, left; twins with sizes set by hand, and the demo."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
import trimesh
from helpers_job import Nc, number, tool, write_job
from helpers_twins import TENTH, THOU, found
from proud.findings import find_all
from proud.findings.case import Case

ROOT = Path(__file__).resolve().parent.parent
TOOLS = [tool(1, "bull", 10.0, RE=1.0), tool(2, "bull", 8.0, RE=0.5)]
PITCHES = (0.13, 0.5, 1.7)
HALF = (12.0, 8.0)
"""Half the part's length and width; the stock ends 4 mm outside; it is 12 high, the part 9."""
BOTTOM = -9.0
STOCK = (
    'shape = "block"\nlow = [-16.0, -12.0, -12.0]\nhigh = [16.0, 12.0, 0.0]\n\n[part]\n'
    f"top = 0\nbottom = {BOTTOM}"
)


def around(nc: Nc, z: float, out: float) -> Nc:
    """Round the part once, the tool's middle `out` outside it."""
    x, y = HALF[0] + out, HALF[1] + out
    corners = [(x, y, z), (x, -y, z), (-x, -y, z), (-x, y, z)]
    return nc.stroke((-40, y, z), *corners, (-x, 40, z))


def profile(ledge: float, tip: float, *, h: int | None = None, finisher: int = 2) -> Nc:
    """A rougher that leaves 0.3 on the wall and a ledge, and a finisher whose tip is at `tip`."""
    nc = Nc().tool(1, "rough")
    for z in (-4.0, ledge):
        around(nc, z, 5.3)
    return around(nc.tool(finisher, "finish", h=h), tip, 4.0 if finisher == 2 else 5.0)


def job_of(folder: Path, nc: Nc | str, pitch: float = 0.7, **more: str) -> proud.Job:
    return write_job(folder, nc, TOOLS, stock=STOCK, pitch=pitch, **more)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("cut", [0.3, 2.4, 7.0])
def test_the_ledge_is_cut(tmp_path: Path, cut: float, pitch: float) -> None:
    nc = profile(-9.6, -9.6 - cut * THOU)
    (finding,) = found(job_of(tmp_path, nc, pitch), "ledge")
    assert (finding.rule, finding.severity) == ("finisher-cuts-ledge", "watch")
    assert finding.size == pytest.approx(cut * THOU, abs=TENTH / 100)
    assert (finding.pass_number, finding.other_pass, finding.tool) == (2, 1, 2)
    assert finding.why.startswith("scrap metal, but the cut marks the wall")
    assert finding.at[2] == pytest.approx(-9.6 - cut * THOU)
    assert "of its path" in finding.text


@pytest.mark.parametrize("way", [1, -1])
def test_its_place_is_beside_the_wall_not_in_the_lead_in(tmp_path: Path, way: int) -> None:
    """The tool comes on by an arc of 3: it swings over the ledge before it is on the wall.

    By hand: the ledge's flat begins 0.3 + 1.0 off the wall; of the places across the tool's flat
    of 3.5 the first that is on it lies 4 - 0.75 * 3.5 off the wall.
    """
    z, (x, y) = -9.6 - 2 * THOU, (HALF[0] + 4, HALF[1] + 4)
    nc = Nc().tool(1, "rough")
    for level in (-4.0, -9.6):
        around(nc, level, 5.3)
    nc.tool(2, "finish").down((3.0 + 3.0 * way, -y - 3.0, z))
    nc.raw(f"G{2 if way < 0 else 3} X3 Y{number(-y)} I{number(-3 * way)} J0")
    for px, py in ((-x, -y), (-x, y), (x, y), (x, -y))[::way]:
        nc.raw(f"G1 X{number(px)} Y{number(py)}")
    nc.raw(f"G1 X3 Y{number(-y)}").up()
    (finding,) = found(job_of(tmp_path, nc), "ledge")
    assert finding.size == pytest.approx(2 * THOU, abs=1e-9)
    assert finding.at[1] == pytest.approx(-HALF[1] - (4 - 0.75 * 3.5), abs=1e-6)
    assert (finding.at[0] - 3.0) * way < 0.0


def test_its_cure_leaves_nothing(tmp_path: Path) -> None:
    bad = profile(-9.6, -9.7)
    (finding,) = found(job_of(tmp_path / "bad", bad), "ledge")
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    assert change.before == pytest.approx(-9.7)
    assert change.after == pytest.approx(-9.6 + 4 * THOU)
    line = bad.text().split("\n")[int(change.what.rsplit(" ", 1)[1]) - 1]
    assert "G1" in line
    cured = profile(-9.6, change.after)
    assert not found(job_of(tmp_path / "cured", cured), "ledge")


def test_where_the_part_ends_the_rougher_goes_lower(tmp_path: Path) -> None:
    """Ledge 2 thou under the bottom: no room for 4 thou between ledge and bottom."""
    ledge, tip = BOTTOM - 2 * THOU, BOTTOM - 5 * THOU
    (finding,) = found(job_of(tmp_path / "bad", profile(ledge, tip)), "ledge")
    change = finding.change
    assert finding.size == pytest.approx(3 * THOU)
    assert change
    assert isinstance(change.after, float)
    assert change.what.startswith("Z of pass 1, line ")
    assert (change.before, change.after) == pytest.approx((ledge, tip - 4 * THOU))
    assert not found(job_of(tmp_path / "cured", profile(change.after, tip)), "ledge")


@pytest.mark.parametrize(("free", "said"), [(0.6, True), (1.5, False)])
def test_nearly_is_a_note(tmp_path: Path, free: float, said: bool) -> None:
    (finding,) = found(job_of(tmp_path, profile(-9.6, -9.6 + free * THOU)), "ledge")
    assert finding.severity == "note"
    assert finding.size == pytest.approx(free * THOU)
    assert ("one touch-off away" in finding.text) is said


@pytest.mark.parametrize(
    ("h", "errors", "named", "error"),
    [
        (2, 'H1 = "1.3 thou"', "H1", 1.3),
        (2, 'H2 = "-1.3 thou"', "H2", -1.3),
        (2, 'H1 = "0.1 thou"\nH2 = "-1.2 thou"', "H2", -1.2),
        (7, 'H7 = "-1.3 thou"', "H7", -1.3),
    ],
)
def test_a_register_makes_it(tmp_path: Path, h: int, errors: str, named: str, error: float) -> None:
    nc = profile(-9.6, -9.6 + 0.5 * THOU, h=h)
    (finding,) = found(job_of(tmp_path / "bad", nc, offsets=errors), "ledge")
    assert finding.severity == "watch"
    assert finding.size == pytest.approx(0.8 * THOU, abs=1e-9)
    assert finding.change
    assert (finding.change.what, finding.change.after) == (named, 0.0)
    assert finding.change.before == pytest.approx(error * THOU)
    assert f"by program it clears by 0.50 thou: {named} makes it".replace(
        "0.50 thou", "12.7 µm"
    ) in (finding.text)
    assert "one touch-off away" in finding.text
    cured = [f for f in found(job_of(tmp_path / "cured", nc), "ledge") if f.severity != "note"]
    assert not cured


def test_a_wide_margin_undone_by_a_register_is_not_one_touch_off_away(tmp_path: Path) -> None:
    nc = profile(-9.6, -9.6 + 5 * THOU)
    (finding,) = found(job_of(tmp_path, nc, offsets='H2 = "-7 thou"'), "ledge")
    assert finding.size == pytest.approx(2 * THOU)
    assert "H2 makes it" in finding.text
    assert "touch-off away" not in finding.text


@pytest.mark.parametrize("pitch", PITCHES)
def test_a_ledge_left_above_the_bottom(tmp_path: Path, pitch: float) -> None:
    ledge, tip = BOTTOM + 6 * THOU, BOTTOM + 8 * THOU
    (finding,) = found(job_of(tmp_path / "bad", profile(ledge, tip), pitch), "ledge")
    assert (finding.rule, finding.severity) == ("ledge-left", "spoils")
    assert finding.size == pytest.approx(6 * THOU, abs=TENTH / 100)
    change = finding.change
    assert change
    assert change.after == pytest.approx(BOTTOM - 4 * THOU)
    cured = profile(BOTTOM - 4 * THOU, BOTTOM)
    assert not found(job_of(tmp_path / "cured", cured, pitch), "ledge")


def test_a_ledge_above_the_bottom_cut_through_it_spoils_the_wall(tmp_path: Path) -> None:
    nc = profile(BOTTOM + 3 * THOU, BOTTOM - 2 * THOU)
    (finding,) = found(job_of(tmp_path, nc), "ledge")
    assert (finding.rule, finding.severity) == ("finisher-cuts-ledge", "spoils")
    assert finding.size == pytest.approx(5 * THOU)


def bossed(wall_tip: float) -> Nc:
    """A boss on a block: its shoulder is the part's floor, open to the block's sides."""
    nc = Nc().tool(1, "rough")
    for out in (0.3, 4.0):
        around(nc, -4.0 + 0.1, 5 + out)
    for out in (0.0, 4.0):
        around(nc.heading(f"floor {number(out)}"), -4.0, 5.3 + out)
    return around(nc.tool(2, "wall"), wall_tip, 4.0)


def test_silent_twins(tmp_path: Path) -> None:
    second = profile(-9.6, -9.6 + 4.2 * THOU)
    around(second.heading("second pass at the same height"), -9.6 + 4.2 * THOU, 4.0)
    lifted = bossed(-4.0 + 0.4 * THOU)
    dragging = bossed(-4.0 - 0.4 * THOU)  # a mistake, but wall-drags-floor's
    same_tool = profile(-9.6, -9.6, finisher=1)
    deeper = profile(-9.6, -9.6 - 40 * THOU)  # a depth of its own
    cases = {
        "second": second, "lifted": lifted, "dragging": dragging,
        "same": same_tool, "deeper": deeper,
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "ledge"), name


def test_silent_where_the_job_does_not_say_where_the_part_ends(tmp_path: Path) -> None:
    nc = profile(-9.6, -9.7)
    low, high = (-16.0, -12.0, -12.0), (16.0, 12.0, 0.0)
    assert not found(write_job(tmp_path, nc, TOOLS, low=low, high=high), "ledge")


def test_a_floor_finish_over_a_roughed_floor_is_wanted(tmp_path: Path) -> None:
    """A pocket's floor near the part's bottom, even: the finisher covers it to its walls."""
    nc = Nc().tool(1, "rough").raw("G0 X-6 Y-3", "G0 Z10", "G1 Z-8.9")
    nc.raw("G1 X6", "G1 Y3", "G1 X-6", "G1 Y-3").up()
    nc.tool(2, "floor").raw("G0 X-6 Y-3", "G0 Z10", "G1 Z-9").raw("G1 X6", "G1 Y3", "G1 X-6")
    nc.raw("G1 Y-3").up()
    assert not found(job_of(tmp_path, nc), "ledge")


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(source: str) -> None:
    (finding,) = found(proud.load(ROOT / "demo_parts/first_try" / source), "ledge")
    assert (finding.pass_number, finding.other_pass) == (11, 5)
    assert finding.size == pytest.approx(2.40 * THOU, abs=1e-6)
    assert finding.change
    assert finding.change.after == pytest.approx(-0.882 * 25.4)
    assert not found(proud.load(ROOT / "demo_parts/second_try" / source), "ledge")


# ----------------------------------------------------------------- finishers that stop too high


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("high", [0.6, 4.0, 20.0])
def test_the_finisher_stops_above_the_bottom(tmp_path: Path, high: float, pitch: float) -> None:
    """What stands proud: the allowance, and at 0.6 over the ledge RE's circle (by hand)."""
    tip = BOTTOM + high * THOU
    (finding,) = found(job_of(tmp_path, profile(-9.6, tip), pitch), "ledge")
    assert (finding.rule, finding.severity) == ("ledge-left", "spoils")
    assert (finding.pass_number, finding.other_pass, finding.tool) == (2, 1, 2)
    assert finding.size == pytest.approx(high * THOU, abs=TENTH / 100)
    proud_by = 0.3 + 1.0 - math.sqrt(1.0 - 0.4**2)
    assert f"below it the wall stands {1000 * proud_by:.1f} µm proud" in finding.text
    assert finding.at[2] == BOTTOM
    assert max(abs(finding.at[0]) - HALF[0], abs(finding.at[1]) - HALF[1]) == pytest.approx(
        proud_by, abs=1e-4
    )
    change = finding.change
    assert change
    assert change.what.startswith("Z of pass 2, line ")
    assert (change.before, change.after) == pytest.approx((tip, -9.6 + 4 * THOU))


def test_its_change_finishes_the_wall(tmp_path: Path) -> None:
    assert not found(job_of(tmp_path, profile(-9.6, -9.6 + 4 * THOU)), "ledge")


def test_a_register_that_lifts_the_finisher_is_named(tmp_path: Path) -> None:
    nc = profile(-9.6, -9.4, h=12)
    assert not found(job_of(tmp_path / "good", nc), "ledge")
    job = job_of(tmp_path / "bad", nc, offsets="H12 = 0.6")
    (finding,) = found(job, "ledge")
    assert finding.size == pytest.approx(0.2)
    assert finding.change
    assert (finding.change.what, finding.change.after) == ("H12", 0.0)
    assert finding.change.before == pytest.approx(0.6)


def test_a_ledge_with_no_room_above_it(tmp_path: Path) -> None:
    """Ledge 2 thou under the bottom: 4 thou over it are above the bottom, so to the bottom."""
    nc = profile(BOTTOM - 2 * THOU, BOTTOM + 5 * THOU)
    (finding,) = found(job_of(tmp_path, nc), "ledge")
    assert finding.change
    assert finding.change.after == pytest.approx(BOTTOM)


def test_what_is_finished_later_or_never_roughed_is_silent(tmp_path: Path) -> None:
    """A second depth finishes it; a skin at the bottom that nobody cut is left on purpose."""
    twice = around(profile(-9.6, BOTTOM + 0.3), -9.5, 4.0)
    assert not found(job_of(tmp_path / "twice", twice), "ledge")
    skin = around(Nc().tool(2, "alone"), BOTTOM + 0.3, 4.0)
    assert not found(job_of(tmp_path / "skin", skin), "ledge")


def test_another_depth_of_the_wall_is_no_strip(tmp_path: Path) -> None:
    """60 thou above the bottom; and by 45 with an upright face of 28, 5 thou out: a line's."""
    assert not found(job_of(tmp_path / "high", profile(-9.6, BOTTOM + 60 * THOU)), "ledge")
    nc = Nc().tool(1, "rough")
    for z in (-4.0, -9.6):
        around(nc, z, 5.0 + 5 * THOU)
    job = job_of(tmp_path / "line", around(nc.tool(2, "finish"), BOTTOM + 45 * THOU, 4.0))
    assert not found(job, "ledge")
    assert [f.rule for f in found(job, "depth_line")] == ["depth-line"]


def test_with_a_model_it_is_one_finding(tmp_path: Path) -> None:
    """The strip is metal above the model too: [leftover] leaves it to this rule."""
    box = trimesh.creation.box(bounds=[[-HALF[0], -HALF[1], BOTTOM], [*HALF, 0.0]])
    tmp_path.mkdir(exist_ok=True)
    box.export(tmp_path / "part.stl")
    stock = STOCK.split("[part]")[0] + '[part]\nmodel = "part.stl"\ntolerance = 0.05'
    job = write_job(tmp_path, profile(-9.6, BOTTOM + 0.15), TOOLS, stock=stock, pitch=0.5)
    rows = find_all(Case(job, job.run()))
    assert [f.rule for f in rows if f.severity == "spoils"] == ["ledge-left"]
