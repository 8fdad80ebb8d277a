"""Jaws, stops and clamps: twins by plane geometry, and the stated cures."""

from __future__ import annotations

import functools
from pathlib import Path

import helpers_twins as twins
import proud
import pytest
from helpers_job import THOU, Nc, tool, write_job
from helpers_twins import TENTH

MILL = tool(1, "flat", 6, APMX=12, DMM=6)
Corner = tuple[float, float, float]


found = functools.partial(twins.found, module="fixture_near")
one = functools.partial(twins.one, module="fixture_near")


def box(name: str, low: Corner, high: Corner) -> str:
    corners = f"low = {list(map(float, low))}\nhigh = {list(map(float, high))}"
    return f'[[setups.fixture]]\nname = "{name}"\n{corners}'


def jaws(top: float, low: float = -30.0) -> list[str]:
    """Return the jaws of a vise that hold the block of `write_job` at y = -15 and 15."""
    return [
        box("front jaw", (-25, -45, low), (25, -15, top)),
        box("back jaw", (-25, 15, low), (25, 45, top)),
    ]


def profile(
    folder: Path, top: float, depth: float, *, boxes: list[str] | None = None,
    bottom: float = -12, pitch: float = 0.5, tools: tuple[int, ...] = (1,),
) -> proud.Job:  # fmt: skip
    """Return a block milled along both jaws, the tool half over each of them."""
    nc = Nc(clear=30)
    for number in tools:
        nc.tool(number, f"profile {number}")
        for y in (-14, 14):
            nc.stroke((-40, y, depth), (40, y, depth))
    mills = [tool(n, "flat", 6, APMX=12, DMM=6) for n in tools]
    return write_job(
        folder, nc, mills, low=(-20, -15, bottom), pitch=pitch,
        setup="\n".join(jaws(top) if boxes is None else boxes),
    )  # fmt: skip


# --- near ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", [0.2, 1.0])
@pytest.mark.parametrize("gap", [0.2, 0.0, -0.3])
def test_a_cut_over_the_jaws(tmp_path: Path, gap: float, pitch: float) -> None:
    """The tip over the jaws' top; both jaws are one mistake (derived)."""
    assert found(profile(tmp_path / "ok", -8, -8 + 10 * THOU, pitch=pitch)) == []
    job = profile(tmp_path / "bad", -8, -8 + gap, pitch=pitch)
    finding = one(job, "fixture-near", gap)
    assert finding.severity == ("watch" if gap > 0 else "stop")
    assert finding.text.startswith("the bottom of T1 " if gap >= 0 else "the ")
    assert "back jaw and front jaw" in finding.text
    assert ("of web" if gap >= 0 else "below their top") in finding.why
    change = finding.change
    assert change is not None
    assert change.what == "Z of the top of back jaw and front jaw"
    assert change.before == pytest.approx(-8)
    assert isinstance(change.after, float)
    assert change.after == pytest.approx(-8 + gap - 10 * THOU, abs=1e-5)
    assert "parallels so much thicker" in finding.then
    assert found(profile(tmp_path / "cured", change.after, -8 + gap, pitch=pitch)) == []


def test_two_tools_over_one_jaw_are_one_finding(tmp_path: Path) -> None:
    finding = one(profile(tmp_path, -8, -7.9, tools=(1, 2)), "fixture-near", 0.1)
    assert finding.text == (
        "the bottom of T1 clears back jaw and front jaw by only 100.0 µm, and so does T2"
    )


def test_lower_jaws_that_would_hold_too_little_ask_for_a_thicker_blank(tmp_path: Path) -> None:
    """1.6 mm of grip, 0.2 over the jaws: 54 micrometres down leave less than 60 thou, 1.524."""
    finding = one(profile(tmp_path / "bad", -10.45, -10.4), "fixture-near", 0.05)
    change = finding.change
    assert change is not None
    assert isinstance(change.after, float)
    down = 10 * THOU - 0.05
    assert change.after == pytest.approx(-10.45 - down, abs=1e-5)
    assert "jaws would hold 1.346 mm: take a blank 204.0 µm thicker below" in finding.then
    assert found(profile(tmp_path / "cured", change.after, -10.4, bottom=-12 - down)) == []


def test_a_tool_beside_a_clamp_moves_the_clamp(tmp_path: Path) -> None:
    """A clamp on the block that the side passes by 0.1, far below its top: it goes aside."""

    def job(folder: Path, x: float) -> proud.Job:
        nc = Nc(clear=40).tool(1, "edge").stroke((15, -30, -1), (15, 30, -1))
        clamp = box("clamp", (x - 10, -5, 0), (x, 5, 20))
        return write_job(folder, nc, [MILL], setup=clamp)

    assert found(job(tmp_path / "ok", 12 - 10 * THOU)) == []
    finding = one(job(tmp_path / "bad", 11.9), "fixture-near", 0.1)
    assert finding.text == "the side of T1 clears clamp by only 100.0 µm"
    change = finding.change
    assert change is not None
    assert (change.what, change.before) == ("X of clamp", pytest.approx(1.9))
    assert change.after == pytest.approx(2 - 10 * THOU, abs=1e-5)
    assert found(job(tmp_path / "cured", 12 - 10 * THOU - 1e-6)) == []


def test_a_rapid_through_a_clamp_goes_higher(tmp_path: Path) -> None:
    """The rapid at Z5 runs 2 deep into a clamp; its Z, in the line before, goes up."""

    def job(folder: Path, z: float) -> proud.Job:
        nc = Nc(clear=40).tool(1, "way").raw("G0 X-30 Y0", "G0 Z40", f"G0 Z{z}", "G0 X30", "G0 Z40")
        clamp = box("clamp", (-5, -5, 0), (5, 5, 7))
        return write_job(folder, nc.stroke((30, 0, 9)), [MILL], setup=clamp)

    (finding,) = found(job(tmp_path / "bad", 5))
    assert (finding.rule, finding.severity) == ("fixture-near", "stop")
    assert finding.text.endswith("touches clamp in a rapid, 2.000 mm deep")
    assert finding.size == pytest.approx(-2, abs=TENTH)
    change = finding.change
    assert change is not None
    assert (change.what, change.before) == ("Z at line 8", 5.0)
    assert change.after == pytest.approx(7.254, abs=1e-9)  # 7 + 10 * THOU
    assert found(job(tmp_path / "cured", change.after)) == []


def test_deeper_than_a_flute_it_says_what_is_meant(tmp_path: Path) -> None:
    """A clamp 7 high reaches to the axis of a shank of radius 4: 4 deep; up it takes 7."""
    nc = Nc(clear=40).tool(1, "way").stroke((-30, 0, 0), (30, 0, 0))
    mill = tool(1, "flat", 20.0, APMX=1.0, DMM=8.0, LPR=60.0)
    clamp = box("clamp", (-5, -5, 0), (5, 5, 7))
    finding = found(write_job(tmp_path, nc, [mill], setup=clamp))[0]
    assert finding.size == pytest.approx(-4, abs=TENTH)  # the shank, of radius 4
    assert finding.text.startswith(
        "the shank of T1 touches clamp, 4.000 mm deep into that part of it alone, and is clear of "
        "it 7.000 mm higher"
    )


def test_shank_and_holder_count(tmp_path: Path) -> None:
    """A holder of radius 10, its end 8 over the tip, over a stop 7.9 over it (derived)."""
    mill = tool(1, "flat", 6, APMX=5, DMM=6, LPR=8) + "\nholder = [[20.0, 20.0]]"
    nc = Nc(clear=40).tool(1, "edge").stroke((-40, 22, 0), (40, 22, 0))
    stop = box("stop", (-5, 30, -5), (5, 40, 7.9))
    finding = one(write_job(tmp_path, nc, [mill], setup=stop), "fixture-near", 0.1)
    assert finding.text == "the holder of T1 clears stop by only 100.0 µm"


# --- grip ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", [0.2, 1.0])
def test_a_short_grip(tmp_path: Path, pitch: float) -> None:
    """Jaws' top over the block's bottom: 60 thou is enough, 1.2 mm is not (derived)."""
    assert found(profile(tmp_path / "ok", -12 + 60 * THOU, -5, pitch=pitch)) == []
    finding = one(profile(tmp_path / "bad", -10.8, -5, pitch=pitch), "short-grip", 1.2)
    assert finding.severity == "watch"
    assert finding.why.endswith(
        "5.800 mm of web is left between the lowest cut near the jaws and their top"
    )
    change = finding.change
    assert change is not None
    assert change.what == "Z of the top of front jaw and back jaw"
    assert change.before == pytest.approx(-10.8)
    assert isinstance(change.after, float)
    assert change.after == pytest.approx(-12 + 60 * THOU, abs=1e-9)
    assert found(profile(tmp_path / "cured", change.after, -5, pitch=pitch)) == []


def test_a_short_grip_under_a_low_cut_asks_for_a_thicker_blank(tmp_path: Path) -> None:
    """Jaws 0.324 higher would come within 10 thou of the cut 0.4 over them."""
    finding = one(profile(tmp_path / "bad", -10.8, -10.4), "short-grip", 1.2)
    change = finding.change
    assert change is not None
    assert (change.what, change.before) == ("Z of the bottom of the stock", pytest.approx(-12))
    assert isinstance(change.after, float)
    assert change.after == pytest.approx(-12 - (60 * THOU - 1.2), abs=1e-9)
    assert found(profile(tmp_path / "cured", -10.8, -10.4, bottom=change.after)) == []


def test_the_shallower_jaw_counts(tmp_path: Path) -> None:
    """A step under one jaw's low end, 5 and 1 mm of stock held."""
    boxes = [jaws(-7)[0], box("back jaw", (-25, 15, -30), (25, 45, -11))]
    finding = one(profile(tmp_path, 0, -5, boxes=boxes), "short-grip", 1.0)
    assert finding.at[1] == pytest.approx(15 - 10 * THOU)


def test_a_round_bar_between_jaws(tmp_path: Path) -> None:
    """Held along two lines; the jaws reach 1.2 up it."""
    bar = 'shape = "round"\ndiameter = 30\nbottom = -12\ntop = 0'
    nc = Nc(clear=30).tool(1, "top").stroke((-40, 0, -1), (40, 0, -1))
    job = write_job(tmp_path, nc, [MILL], stock=bar, setup="\n".join(jaws(-10.8)))
    one(job, "short-grip", 1.2)


def test_what_is_no_pair_of_jaws_holds_nothing(tmp_path: Path) -> None:
    """A stop facing a jaw, one jaw alone, jaws off the stock, clamps: silent."""
    front, back = jaws(-11)
    alone = [
        [front], [front, back.replace("back jaw", "back stop")],
        [front, box("back jaw", (-25, 16, -30), (25, 45, -11))],
        [box("left clamp", (-20, -5, 0), (-15, 5, 5)), box("right clamp", (15, -5, 0), (20, 5, 5))],
        [],
    ]  # fmt: skip
    for k, boxes in enumerate(alone):
        nc = Nc(clear=30).tool(1, "top").stroke((-10, 0, -1), (10, 0, -1))
        assert found(write_job(tmp_path / str(k), nc, [MILL], setup="\n".join(boxes))) == []


def test_margins_of_the_job(tmp_path: Path) -> None:
    """2 mm of grip and 1 mm over the jaws, with margins of 3 mm each: both are named."""
    job = profile(tmp_path, -10, -9)
    assert found(job) == []
    job.spec.margins.update(jaw_clearance=3.0, jaw_engagement=3.0)
    assert sorted((f.rule, round(f.size, 6)) for f in found(job)) == [
        ("fixture-near", 1.0), ("short-grip", 2.0),
    ]  # fmt: skip
