"""A floor pass whose side meets the wall: twins with gaps set by hand, and the demo."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_passes import pass_job, pass_text
from helpers_shelf import FLOOR, FLOORED, PART, ROUGH, TOOLS, WALLED, Step, program, shelf
from helpers_twins import THOU, found, one

MODULE, RULE = "floor_touches_wall", "floor-touches-wall"
ROOT = Path(__file__).resolve().parent.parent
PITCHES = (0.0254, 0.13, 0.254)


def floored(gap: float, **more: float) -> Step:
    """A floor pass that keeps `gap` thou off the wall that the rougher left."""
    return dataclasses.replace(FLOORED, side=ROUGH.side + gap, **more)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("gap", [-9.0, -2.5, -0.3, 0.0, 0.1, 0.25])
def test_a_floor_pass_too_near(tmp_path: Path, gap: float, pitch: float) -> None:
    """Size by hand: the difference of the two side allowances."""
    job = shelf(tmp_path, ROUGH, floored(gap), WALLED, pitch=pitch)
    finding = one(job, RULE, abs(gap) * THOU, MODULE)
    assert finding.size == pytest.approx(abs(gap) * THOU, abs=1e-9)
    assert finding.severity == ("spoils" if gap <= 0 else "watch")
    assert (finding.tool, finding.pass_number, finding.other_pass) == (2, 2, 1)
    assert finding.at[1] == pytest.approx((10.0 + min(gap, 0.0)) * THOU, abs=1e-9)
    assert ("closes if the earlier tool pushed off" in finding.text) is (gap > 0)
    change = finding.change
    assert change
    assert change.what == "side allowance of pass 2"
    assert (change.before, change.after) == pytest.approx(((10 + gap) * THOU, 10.5 * THOU))


def test_its_cure_leaves_nothing(tmp_path: Path) -> None:
    (finding,) = found(shelf(tmp_path / "bad", ROUGH, floored(-1.2), WALLED), MODULE)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    cured = dataclasses.replace(FLOORED, side=change.after / THOU)
    for module in (MODULE, "wall_drags_floor", "fillet_bite"):
        assert not found(shelf(tmp_path / "cured", ROUGH, cured, WALLED), module), module


def test_what_an_allowance_of_the_rougher_and_the_advice_are(tmp_path: Path) -> None:
    """The margins of the job are gone by."""
    steps = ROUGH, floored(0.4), WALLED
    assert not found(shelf(tmp_path / "usual", *steps), MODULE)
    margins = '[margins]\nside_gap = "0.6 thou"\nside_gap_advised = "0.9 thou"\n'
    job = write_job(
        tmp_path / "set", program(*steps), [*_tools(), margins], low=(-8, -5, -8), high=(8, 14, 0)
    )
    finding = one(job, RULE, 0.4 * THOU, MODULE)
    assert finding.change
    assert finding.change.after == pytest.approx(10.9 * THOU)


def _tools() -> list[str]:
    return [tool(1, "bull", 10.0, RE=1.0), tool(2, "bull", 8.0, RE=0.5)]


def test_fillet_metal_is_no_wall(tmp_path: Path) -> None:
    """RE 1.0 against RE 0.5: under the rougher's corner the floor pass meets its fillet.

    By hand, as in the shop's own sums: at 0.5 thou off the wall it is free of the fillet only
    above RE; half a millimetre over the floor it takes RE - sqrt(RE^2 - (RE - h)^2) less that.
    """
    from proud.findings.case import Case
    from proud.findings.passing import passings

    job = shelf(tmp_path, ROUGH, floored(0.5), WALLED)
    assert not found(job, MODULE)
    (run,) = (r for r in passings(Case(job, None), 1e-3, math.inf) if r.number == 2)
    over = 0.6  # height over the tip: 0.6 - 5 thou over the rougher's floor
    h = over - 5 * THOU
    fillet = 1.0 - math.sqrt(1.0 - (1.0 - h) ** 2)
    hits = run.hits(np.full((len(run.places), 2, 1), over))
    gap = hits.gap[np.isfinite(hits.gap)]
    assert gap.max() == pytest.approx(0.5 * THOU - fillet, abs=1e-9)
    assert not hits.side[np.isfinite(hits.gap)].any()


def test_a_low_wall_is_fillet_as_a_whole(tmp_path: Path) -> None:
    """The rougher's corner radius as high as the wall: nothing to touch above it."""
    nc = Nc()
    for number_, y, z, name in (
        (1, 5 + 0.25, -0.9 + 0.1, "rough"), (2, 4.1, -0.9, "floor"), (2, 4.0, -0.89, "wall"),
    ):  # fmt: skip
        nc.tool(number_, name).stroke((-20, y, z), (20, y, z))
    assert not found(write_job(tmp_path, nc, _tools(), high=(20, 9, 0)), MODULE)


@pytest.mark.parametrize(
    "steps",
    [
        (ROUGH, FLOORED, WALLED),
        (ROUGH, floored(0.5, tool=3), dataclasses.replace(WALLED, tool=3)),
        # A second finish of the floor at the same height, and spring passes of the wall.
        (ROUGH, FLOORED, dataclasses.replace(FLOORED, name="again"), WALLED,
         dataclasses.replace(WALLED, name="spring")),
        # The rougher alone, in two depths, and with a pass of its own for the floor.
        (Step(1, 0.0, 12.0, "upper"), Step(1, 0.0, 0.0, "lower")),
        (Step(1, 10.0, 200.0, "upper"), Step(1, 10.0, 5.0, "lower"), FLOORED, WALLED),
        # Staggered depths: the lower leaves more than the upper.
        (Step(1, 7.0, 60.0, "upper"), Step(1, 12.0, 5.0, "lower"),
         dataclasses.replace(FLOORED, side=12.5), WALLED),
        # Walls first, then a floor pass that keeps off them.
        (ROUGH, Step(2, 0.0, 6.0, "wall", along=True), Step(2, 0.5, 0.0, "floor")),
        # Rougher and finisher, both without allowance; the floor goes deeper later.
        (ROUGH, floored(0.0, over=3.0), Step(2, 10.5, 0.0, "floor again"), WALLED),
    ],
)  # fmt: skip
def test_silent_twins(tmp_path: Path, steps: tuple[Step, ...]) -> None:
    assert not found(shelf(tmp_path, *steps), MODULE)


@pytest.mark.parametrize(
    ("gap", "register", "severity"),
    [(0.0, 3, "spoils"), (0.0, 2, "watch"), (0.2, 3, "watch"), (-0.4, 2, "spoils")],
)
def test_a_wall_that_was_finished_before(
    tmp_path: Path, gap: float, register: int, severity: str
) -> None:
    """Walls first: the floor pass then has to keep off the finished wall."""
    steps = ROUGH, Step(2, 0.0, 6.0, "wall", along=True), Step(register, gap, 0.0, "floor")
    finding = one(shelf(tmp_path / "bad", *steps), RULE, abs(gap) * THOU, MODULE)
    assert (finding.severity, finding.pass_number, finding.other_pass) == (severity, 3, 2)
    assert finding.change
    assert isinstance(finding.change.after, float)
    cured = Step(2, finding.change.before / THOU + (0.5 - gap), 0.0, "floor")
    assert not found(shelf(tmp_path / "cured", ROUGH, steps[1], cured), MODULE)


@pytest.mark.parametrize(("gap", "severity"), [(0.0, "watch"), (0.2, "watch"), (-0.2, "spoils")])
def test_one_tool_at_its_own_allowance(tmp_path: Path, gap: float, severity: str) -> None:
    """The rougher takes the floor itself, at the allowance that it left; then the wall."""
    floor = Step(1, 10.0 + gap, 0.0, "floor")
    finding = one(shelf(tmp_path, ROUGH, floor, WALLED), RULE, abs(gap) * THOU, MODULE)
    assert finding.severity == severity


def test_a_small_tool_s_strip_is_no_floor(tmp_path: Path) -> None:
    """A tool of 1 mm: a quarter of its end lies over the strip that the floor pass left."""
    nc, rows = (
        Nc(),
        ((1, 1.0, 10.0, 5.0), (2, 0.5, 10.5, 0.0), (2, 0.5, 3.0, 0.3), (2, 0.5, 0.0, 0.3)),
    )
    for k, (register, r, side, over) in enumerate(rows):
        nc.tool(register, f"pass {k}")
        y, z = r + side * THOU, -1.0 + over * THOU
        for out in (1.2, 0.6, 0.0) if k < 2 else (0.0,):
            nc.stroke((-6, y + out, z), (6, y + out, z))
    tools = [tool(1, "flat", 2.0), tool(2, "flat", 1.0)]
    job = write_job(tmp_path, nc, tools, low=(-3, -2, -3), high=(3, 2.5, 0), pitch=0.1)
    for module in (MODULE, "wall_drags_floor", "fillet_bite"):
        assert not found(job, module), module


def test_wall_and_floor_in_one_cut_are_a_note(tmp_path: Path) -> None:
    """Flat tools leave no fillet; no other pass finishes that wall or that floor."""
    both = Step(3, 0.0, 0.0, "wall and floor")
    finding = one(shelf(tmp_path, Step(3, 8.0, 6.2, "rough"), both), RULE, 6.2 * THOU, MODULE)
    assert finding.severity == "note"
    assert "203 µm of the wall" in finding.text or "203.2 µm of the wall" in finding.text
    assert finding.change
    assert finding.change.what == "side allowance of pass 2"
    assert finding.change.after == pytest.approx(8.5 * THOU)
    assert finding.change.seconds > 0
    apart = Step(3, 8.5, 0.0, "floor"), Step(3, 0.0, 0.3, "wall", along=True)
    assert not found(shelf(tmp_path / "cured", Step(3, 8.0, 6.2, "rough"), *apart), MODULE)


def test_with_a_fillet_another_rule_says_it(tmp_path: Path) -> None:
    job = shelf(tmp_path, ROUGH, Step(2, 0.0, 0.0, "wall and floor"))
    assert not found(job, MODULE)
    assert [f.pass_number for f in found(job, "fillet_bite")] == [2]


def test_below_the_parts_bottom_nothing_counts(tmp_path: Path) -> None:
    steps = ROUGH, floored(-3.0), WALLED
    scrap = 'shape = "block"\nlow = [-8, -5, -8]\nhigh = [8, 14, 0]\n\n[part]\ntop = 0\nbottom = -4'
    job = write_job(tmp_path, program(*steps), _tools(), stock=scrap)
    assert not found(job, MODULE)


def round_pocket(folder: Path, gap: float, rougher: float = 8.0) -> proud.Job:
    """A round pocket, radius 11: rough 8 thou, floor pass `gap` off that, wall."""
    nc = Nc()
    floor = -5.0
    rows = (
        (1, rougher / 2, 8.0, floor + 4 * THOU, "rough"),
        (2, 3.0, 8.0 + gap, floor, "floor"),
        (2, 3.0, 0.0, floor + 0.3 * THOU, "wall"),
    )
    for register, r, side, z, name in rows:
        nc.tool(register, name)
        for radius in (2.5, 5.0, 11.0 - r - side * THOU) if name != "wall" else (11.0 - r,):
            nc.arc((radius, 0, z), (radius, 0, z), (0, 0))
    tools = [tool(1, "bull", rougher, RE=0.8), tool(2, "flat", 6.0)]
    return write_job(folder, nc, tools, low=(-13, -13, -8), high=(13, 13, 0), pitch=0.2)


@pytest.mark.parametrize("gap", [-1.5, 0.0, 0.2])
def test_a_round_pocket(tmp_path: Path, gap: float) -> None:
    one(round_pocket(tmp_path / "bad", gap), RULE, abs(gap) * THOU, MODULE)
    assert not found(round_pocket(tmp_path / "good", 0.5), MODULE)


def pocket_list(gap: float, corner: float) -> str:
    """A pass list: a pocket with corners of this radius; rough 8 thou, floor, wall."""
    shape = f"rectangle = {{ low = [-12, -8], high = [12, 8], corner_radius = {number(corner)} }}\n"
    rough = 'top = 0\nbottom = -4\nallowance_side = "8 thou"\nallowance_bottom = "4 thou"\n'
    floor = f'top = -3.5\nbottom = -4\nallowance_side = "{number(8 + gap)} thou"\n'
    wall = 'side = "inside"\ntop = 0\nbottom = -4\nlift = "0.3 thou"\n'
    step = "radial_cutting_depth = 2\n"
    return "\n".join(
        (
            pass_text("pocket", shape + rough + step, tool=1, name="rough"),
            pass_text("pocket", shape + floor + step, tool=2, name="floor"),
            pass_text("contour", shape + wall, tool=2, name="wall"),
        )
    )


def listed(folder: Path, text: str) -> proud.Job:
    folder.mkdir(exist_ok=True)
    return pass_job(folder, text, TWO)


TWO = [tool(1, "bull", 8.0, RE=1.0), tool(2, "flat", 5.0)]


def test_a_pass_list_names_its_own_key(tmp_path: Path) -> None:
    job = listed(tmp_path / "bad", pocket_list(-0.7, 4.5))
    finding = one(job, RULE, 0.7 * THOU, MODULE)
    assert finding.change
    assert finding.change.what == "allowance_side of pass 2"
    assert (finding.change.before, finding.change.after) == pytest.approx((7.3 * THOU, 8.5 * THOU))
    for gap in (0.5, 0.7):
        assert not found(listed(tmp_path / str(gap), pocket_list(gap, 4.5)), MODULE)


def test_what_a_bigger_rougher_left_in_the_corners_is_no_wall(tmp_path: Path) -> None:
    """Corners of 2.6 mm: the rougher of radius 4 can't go there, the finisher of 2.5 can."""
    shape = "rectangle = { low = [-12, -8], high = [12, 8], corner_radius = 4.3 }"
    tight = pocket_list(0.5, 4.3)
    first, second, third = tight.split("[[passes]]")[1:]
    small = shape.replace("4.3", "2.6")
    text = "[[passes]]".join(["", first, second.replace(shape, small), third.replace(shape, small)])
    assert not found(listed(tmp_path, text), MODULE)


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo_is_silent(source: str) -> None:
    """Its floor passes keep 0.7 thou more off than the roughers left."""
    for attempt in ("first_try", "second_try"):
        assert not found(proud.load(ROOT / "demo_parts" / attempt / source), MODULE), attempt


def test_two_rounds_of_one_pass_are_its_own_affair(tmp_path: Path) -> None:
    """Rough flat, then one pass in two rounds: it takes floor and wall, and finishes both."""
    shape = "rectangle = { low = [-12, -4.5], high = [12, 4.5], corner_radius = 4 }\n"
    rough = 'top = 0\nbottom = -4\nallowance_side = "9 thou"\nallowance_bottom = "4 thou"\n'
    wall = 'side = "inside"\ntop = 0\nbottom = -4\nradial_cutting_depth = "3 thou"\n'
    text = "\n".join(
        (
            pass_text("pocket", shape + rough + "radial_cutting_depth = 2\n", tool=2, name="rough"),
            pass_text("contour", f"{shape}{wall}radial_passes = 2\n", tool=3, name="both"),
        )
    )
    job = pass_job(tmp_path, text, [tool(2, "flat", 5.0), tool(3, "flat", 5.0)])
    finding = one(job, RULE, 4 * THOU, MODULE)
    assert finding.severity == "note"
    assert "152.4 µm of the wall" in finding.text


def test_a_strip_under_a_semi_finisher_s_corner_is_no_wall(tmp_path: Path) -> None:
    """A sharp rougher's wall stays 5 thou high under the corner (RE 0.5) of a semi-finish."""
    semi = Step(2, 3.0, 5.0, "semi", along=True)
    rough = Step(3, 10.0, 5.0, "rough")
    assert not found(shelf(tmp_path, rough, semi, Step(2, 3.6, 0.0, "floor"), WALLED), MODULE)
    for side, gap in ((2.0, 1.0), (3.1, 0.1)):
        near = Step(2, side, 0.0, "floor")
        one(shelf(tmp_path / str(side), rough, semi, near, WALLED), RULE, gap * THOU, MODULE)


def test_the_last_of_many_rounds_is_a_floor_pass_too(tmp_path: Path) -> None:
    """Rows 0.4 apart: the last one takes a strip of a twentieth of its flat end."""
    nc = program(dataclasses.replace(ROUGH, tool=3)).tool(3, "floor")
    near = 4.0 + 9.0 * THOU
    for k in range(22, -1, -1):
        nc.stroke(*((x, near + 0.4 * k, FLOOR) for x in (-20, 20)))
    nc.heading("wall").stroke((-20, 4.0, FLOOR + 0.3 * THOU), (20, 4.0, FLOOR + 0.3 * THOU))
    job = write_job(tmp_path, nc, TOOLS, stock=PART)
    one(job, RULE, 1.0 * THOU, MODULE)


@pytest.mark.parametrize("shelf_at", [17.4, 16.1])
@pytest.mark.parametrize(("up", "off"), [(0.0, 0.0), (10e-3, 0.0), (-10e-3, 0.0), (0.0, 11e-3)])
def test_a_wall_that_a_cove_takes_away_is_none(
    tmp_path: Path, up: float, off: float, shelf_at: float
) -> None:
    """A rougher's ring round a boss, bitten by 0.2 by the floor pass, is gone under the cove.

    By hand: boss of 14, ball of 3 round it; at half the ring's height the cove's side stands at
    17 - sqrt(3^2 - 1.35^2) = 14.3, more than a millimetre inside the floor pass.
    """

    def ring(nc: Nc, radius: float, z: float) -> None:
        nc.arc((radius, 0, z), (radius, 0, z), (0, 0), "cw")

    nc = Nc().tool(1, "rough")
    for radius in (40.0, 31.0, shelf_at + 6.0):
        ring(nc, radius, -7.8)
    ring(nc, 20.3, -4.7)
    nc.tool(2, "floor")
    for radius in (42.0, 34.0, 27.0, shelf_at + 4.8):
        ring(nc, radius, -8.0)
    ring(nc.heading("wall"), 19.0, -4.9)
    nc.tool(3, "cove")
    ring(nc, 17.4, -7.7)
    ring(nc, 17.0 + off, -8.0 + up)
    tools = [tool(1, "flat", 12.0), tool(2, "flat", 10.0), tool(3, "ball", 6.0)]
    size = {"low": (-38, -32, -20), "high": (38, 32, 0)}
    rows = found(write_job(tmp_path, nc, tools, **size), MODULE)  # type: ignore[arg-type]
    # The block's corners, which nobody finishes, are a note.
    assert [f.severity for f in rows] == ["note"]
    assert math.hypot(*rows[0].at[:2]) == pytest.approx(47.0)
