"""A wall pass over a finished floor: twins with heights set by hand, and the demo."""

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

MODULE, RULE = "wall_drags_floor", "wall-drags-floor"
ROOT = Path(__file__).resolve().parent.parent
PITCHES = (0.0254, 0.13, 0.254)
CUTS = (-6.0, -2.4, -0.3)


def walled(lift: float, **more: float) -> Step:
    """A wall pass `lift` thou above the finished floor."""
    return dataclasses.replace(WALLED, over=lift, **more)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("lift", [*CUTS, 0.0, 0.1])
def test_a_wall_pass_too_low(tmp_path: Path, lift: float, pitch: float) -> None:
    job = shelf(tmp_path, ROUGH, FLOORED, walled(lift), pitch=pitch)
    finding = one(job, RULE, abs(lift) * THOU, MODULE)
    assert finding.size == pytest.approx(abs(lift) * THOU, abs=1e-9)
    assert finding.severity == ("spoils" if lift <= 0 else "watch")
    assert (finding.tool, finding.pass_number, finding.other_pass) == (2, 3, 2)
    assert finding.at[2] == pytest.approx(FLOOR + min(lift, 0.0) * THOU)
    assert ("closes if the earlier tool pushed off" in finding.text) is (lift > 0)
    change = finding.change
    assert change
    assert change.what.startswith("Z of pass 3, line ")
    assert (change.before, change.after) == pytest.approx((FLOOR + lift * THOU, FLOOR + 0.3 * THOU))


@pytest.mark.parametrize("tool_number", [2, 3])
def test_its_cure_leaves_nothing(tmp_path: Path, tool_number: int) -> None:
    """The same tool goes 0.3 thou up, another one 1 thou: touch-off."""
    bad = walled(-1.7, tool=tool_number)
    (finding,) = found(shelf(tmp_path / "bad", ROUGH, FLOORED, bad), MODULE)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    line = program(ROUGH, FLOORED, bad).text().split("\n")[int(change.what.rsplit(" ", 1)[1]) - 1]
    assert "G1" in line
    lift = (change.after - FLOOR) / THOU
    assert lift == pytest.approx(0.3 if tool_number == 2 else 1.0)
    cured = walled(lift, tool=tool_number)
    assert not found(shelf(tmp_path / "cured", ROUGH, FLOORED, cured), MODULE)
    for module in ("floor_touches_wall", "fillet_bite"):
        new, old = (
            [f.rule for f in found(shelf(tmp_path / name, ROUGH, FLOORED, step), module)]
            for name, step in (("cured", cured), ("bad", bad))
        )
        assert new == old, module


@pytest.mark.parametrize(
    ("lift", "severity"),
    [(-2.0, "spoils"), (0.0, "note"), (0.1, "note"), (0.3, "note"), (0.9, "note"), (1.0, None)],
)
def test_another_tool(tmp_path: Path, lift: float, severity: str | None) -> None:
    job = shelf(tmp_path, ROUGH, FLOORED, walled(lift, tool=3))
    if severity is None:
        assert not found(job, MODULE)
        return
    finding = one(job, RULE, abs(lift) * THOU, MODULE)
    assert finding.severity == severity
    assert finding.tool == 3


def test_another_register_of_the_same_tool_is_another_touch_off(tmp_path: Path) -> None:
    job = shelf(tmp_path, ROUGH, FLOORED, dataclasses.replace(walled(0.4), h=7))
    assert one(job, RULE, 0.4 * THOU, MODULE).severity == "note"


@pytest.mark.parametrize(
    ("h", "offsets", "named", "error"),
    [(7, 'H7 = "-1.9 thou"', "H7", -1.9), (7, 'H2 = "1.9 thou"', "H2", 1.9)],
)
def test_a_register_makes_it(
    tmp_path: Path, h: int, offsets: str, named: str, error: float
) -> None:
    steps = ROUGH, FLOORED, dataclasses.replace(walled(1.2), h=h)
    (finding,) = found(shelf(tmp_path / "bad", *steps, offsets=offsets), MODULE)
    assert finding.size == pytest.approx(0.7 * THOU, abs=1e-9)
    assert finding.change
    assert (finding.change.what, finding.change.after) == (named, 0.0)
    assert finding.change.before == pytest.approx(error * THOU)
    assert f"{named} makes it" in finding.text
    assert not found(shelf(tmp_path / "cured", *steps), MODULE)


def test_a_register_makes_it_though_the_program_is_near(tmp_path: Path) -> None:
    """Half a thou by program is a note with another tool; H3 0.9 low makes it a cut."""
    steps = ROUGH, FLOORED, walled(0.5, tool=3)
    (finding,) = found(shelf(tmp_path, *steps, offsets='H3 = "-0.9 thou"'), MODULE)
    assert finding.size == pytest.approx(0.4 * THOU, abs=1e-9)
    assert finding.change
    assert (finding.change.what, finding.change.after) == ("H3", 0.0)
    assert "H3 makes it" in finding.text


def test_the_strip_that_the_lift_leaves(tmp_path: Path) -> None:
    """Flat tools: as high as the lift, as wide as the floor pass kept off the wall."""
    flat = Step(3, 10.0, 5.0, "rough"), Step(3, 10.5, 0.0, "floor")
    wall = Step(3, 0.0, 0.0, "wall", along=True)
    (finding,) = found(shelf(tmp_path, *flat, wall), MODULE)
    assert "a strip 7.6 µm high and 266.7 µm wide stays at the wall's foot" in finding.then


@pytest.mark.parametrize(("floorer", "waller"), [(2, 3), (3, 3), (1, 3), (1, 2)])
def test_the_strip_as_it_is_then_cut(tmp_path: Path, floorer: int, waller: int) -> None:
    """Against the columns of the cured job; and the sum of a corner radius by hand."""
    from helpers_shelf import CORNER
    from proud.findings.case import Case
    from proud.findings.drags import drags, strip_width

    steps = [Step(1, 10.0, 5.0, "rough"), Step(floorer, 10.5, 0.0, "floor")]
    job = shelf(tmp_path / "bad", *steps, walled(-0.2, tool=waller))
    (drag,) = drags(Case(job, None))
    lift = 2 * THOU
    wide = strip_width(drag.run, drag.side, drag.free, lift)
    re = CORNER[floorer]
    by_hand = 10.5 * THOU + re - math.sqrt(re * re - max(re - lift, 0.0) ** 2)
    assert wide == pytest.approx(by_hand, abs=1e-5)
    cured = shelf(tmp_path / "cured", *steps, walled(2.0, tool=waller))
    y = np.array([wide - 2e-3, wide + 2e-3])
    z = _columns(cured, y)
    if CORNER[waller] < wide:
        assert z[0] == pytest.approx(FLOOR + lift, abs=1e-9)
    assert z[1] < FLOOR + lift


def _columns(job: proud.Job, y: np.ndarray) -> np.ndarray:
    from proud.findings.case import Case
    from proud.findings.taken import heights

    return heights(Case(job, None), np.zeros(len(y)), y, len(job.program.moves))[0]


def test_a_high_strip_is_a_note(tmp_path: Path) -> None:
    finding = one(shelf(tmp_path, ROUGH, FLOORED, walled(0.8)), RULE, 0.8 * THOU, MODULE)
    assert finding.severity == "note"
    for lift in (0.3, 0.5, 4.0):
        job = shelf(tmp_path / str(lift), ROUGH, FLOORED, walled(lift))
        assert not found(job, MODULE), lift


def test_a_strip_that_does_not_stay_is_silent(tmp_path: Path) -> None:
    semi = Step(2, 3.0, 0.8, "semi", along=True)
    assert not found(shelf(tmp_path / "cut", ROUGH, FLOORED, semi, WALLED), MODULE)
    # A floor pass that ran close to the wall: the wall pass's corner radius covers the strip.
    floor = Step(2, 10.5, 0.0, "floor")
    last = Step(2, 9.5, 0.8, "last", along=True)
    assert not found(shelf(tmp_path / "corner", ROUGH, floor, last), MODULE)


AGAIN = dataclasses.replace(WALLED, name="again")
SPRING = dataclasses.replace(WALLED, name="spring")
BOTH = Step(2, 0.0, 0.0, "floor and wall")


@pytest.mark.parametrize(
    "steps",
    [
        (ROUGH, FLOORED, WALLED, AGAIN, SPRING),
        # Both in one pass, and a second pass at the same height with the same tool.
        (ROUGH, BOTH, dataclasses.replace(WALLED, over=0.0)),
        # Spring passes of the same and of another tool over what one pass cut.
        (ROUGH, BOTH, dataclasses.replace(SPRING, over=0.0),
         dataclasses.replace(SPRING, over=0.0, tool=3)),
        # A wall pass that takes the rougher's whole floor along: it finishes it.
        (ROUGH, Step(3, 0.0, 0.0, "wall and floor")),
        # One tool: the rougher's own floor, then the wall at its height.
        (Step(2, 10.0, 0.0, "rough"), dataclasses.replace(WALLED, over=0.0)),
        # The same with a spring pass; and a wall in two depths with one.
        (Step(2, 10.0, 0.0, "rough"), dataclasses.replace(WALLED, over=0.0),
         dataclasses.replace(SPRING, over=0.0)),
        (Step(2, 7.0, 60.0, "upper"), Step(2, 7.0, 0.0, "lower"),
         Step(2, 7.0, 0.0, "spring", along=True)),
        # Another tool's floor, over which the wall pass's own tool has been at its height.
        (ROUGH, Step(3, 10.5, 0.0, "floor"), Step(2, 10.5, 0.0, "and again"), WALLED),
        # Staggered depths.
        (Step(1, 7.0, 60.0, "upper"), Step(1, 12.0, 5.0, "lower"),
         dataclasses.replace(FLOORED, side=12.5), WALLED),
        # A semi-finish of the wall on the rough floor, all of which is cut again.
        (ROUGH, Step(2, 3.0, 5.0, "semi", along=True), FLOORED, WALLED),
        # The wall first, on the rough floor and into it; then the floor.
        (ROUGH, Step(2, 0.0, 3.0, "wall", along=True), Step(2, 0.6, 0.0, "floor")),
        # A floor pass that touches the wall: another rule's.
        (ROUGH, Step(2, 9.0, 0.0, "floor"), WALLED),
    ],
)  # fmt: skip
def test_silent_twins(tmp_path: Path, steps: tuple[Step, ...]) -> None:
    assert not found(shelf(tmp_path, *steps), MODULE)


def test_a_groove_in_the_roughers_own_floor(tmp_path: Path) -> None:
    """The rougher's floor stays beside the wall pass of another tool, 2 thou deeper."""
    rough = Step(1, 10.0, 0.0, "rough")
    finding = one(shelf(tmp_path, rough, walled(-2.0)), RULE, 2.0 * THOU, MODULE)
    assert (finding.severity, finding.other_pass) == ("spoils", 1)


@pytest.mark.parametrize("depth", [0.3, 0.9, 2.4])
def test_a_narrow_floor_is_cut_again_as_a_whole(tmp_path: Path, depth: float) -> None:
    """A slot of 12 mm, the wall pass along both walls: all of its floor goes deeper."""
    nc = Nc()
    for register, r, side, z in (
        (1, 5.0, 10.0, -3.9), (2, 4.0, 10.5, -4.0), (2, 4.0, 0.0, -4.0 - depth * THOU),
    ):  # fmt: skip
        nc.tool(register, number(side))
        y = 6.0 - r - side * THOU
        nc.stroke((-20, y, z), (20, y, z)).stroke((20, -y, z), (-20, -y, z))
    job = write_job(tmp_path, nc, TOOLS, low=(-8, -9, -8), high=(8, 9, 0))
    one(job, RULE, depth * THOU, MODULE)


def test_semi_and_finish_that_drag_alike_are_one_mistake(tmp_path: Path) -> None:
    semi = Step(2, 3.0, -0.6, "semi", along=True)
    finding = one(shelf(tmp_path, ROUGH, FLOORED, semi, walled(-0.6)), RULE, 0.6 * THOU, MODULE)
    assert finding.pass_number == 3
    near = dataclasses.replace(semi, over=0.1)
    one(shelf(tmp_path / "near", ROUGH, FLOORED, near, walled(0.1)), RULE, 0.1 * THOU, MODULE)
    assert not found(shelf(tmp_path / "rule", ROUGH, FLOORED, semi, WALLED), "floor_touches_wall")


def test_below_the_parts_bottom_nothing_counts(tmp_path: Path) -> None:
    scrap = PART.replace("bottom = -7.0", "bottom = -4.0")
    for name, steps in {
        "by": (ROUGH, FLOORED, walled(-2.0)),
        "near": (ROUGH, FLOORED, walled(0.1)),
    }.items():
        job = write_job(tmp_path / name, program(*steps), TOOLS, stock=scrap)
        assert not found(job, MODULE), name


def test_without_a_part_the_lowest_floor_may_be_scrap(tmp_path: Path) -> None:
    bad = ROUGH, FLOORED, walled(-2.0)
    (finding,) = found(shelf(tmp_path / "lowest", *bad, part=False), MODULE)
    assert finding.severity == "watch"
    deeper = program(*bad).tool(1, "deeper").stroke((-20, 18, -6), (20, 18, -6))
    job = write_job(tmp_path / "deeper", deeper, TOOLS, low=(-8, -5, -8), high=(8, 14, 0))
    (finding,) = found(job, MODULE)
    assert finding.severity == "spoils"


def test_a_pass_list_names_its_lift(tmp_path: Path) -> None:
    shape = "rectangle = { low = [-12, -8], high = [12, 8], corner_radius = 4.5 }\n"
    step = "radial_cutting_depth = 2\n"
    floor = f'{shape}top = -3.5\nbottom = -4\nallowance_side = "8.5 thou"\n{step}'
    rough = (
        f'{shape}top = 0\nbottom = -4\nallowance_side = "8 thou"\nallowance_bottom = "4 thou"\n'
        f"{step}"
    )

    def listed(lift: float) -> proud.Job:
        wall = f'{shape}side = "inside"\ntop = 0\nbottom = -4\nlift = "{number(lift)} thou"\n'
        rows = ("pocket", rough, 1), ("pocket", floor, 2), ("contour", wall, 2)
        text = "\n".join(pass_text(op, keys, tool=t, name=f"p{t}") for op, keys, t in rows)
        folder = tmp_path / number(lift)
        folder.mkdir()
        return pass_job(folder, text, [tool(1, "bull", 8.0, RE=1.0), tool(2, "flat", 5.0)])

    finding = one(listed(0.0), RULE, 0.0, MODULE)
    assert finding.change
    assert finding.change.what == "lift of pass 3"
    assert (finding.change.before, finding.change.after) == pytest.approx((0.0, 0.3 * THOU))
    one(listed(0.05), RULE, 0.05 * THOU, MODULE)
    assert not found(listed(0.3), MODULE)


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(source: str) -> None:
    """Its wall passes run 0.4 thou over floors of the same tool.

    The relief's cross the mouth of the gap, whose floor is another tool's; their own tool has been
    over it before.
    """
    for attempt in ("first_try", "second_try"):
        assert not found(proud.load(ROOT / "demo_parts" / attempt / source), MODULE)


@pytest.mark.parametrize("seed", range(6))
def test_random_twins(tmp_path: Path, seed: int) -> None:
    """Allowances, lift, direction and pitch at random: a clean job, and one mistake at a time."""
    rng = np.random.default_rng(seed)
    side, floor, gap = rng.uniform((4, 3, 0.5), (12, 8, 1.2))
    more = {"turned": rng.uniform(-0.4, 0.4), "pitch": rng.uniform(0.03, 0.3)}
    low, near = rng.uniform((-4, -3), (0.14, 0.25))
    rough = Step(1, side, floor, "rough")

    def made(name: str, gap: float, lift: float) -> proud.Job:
        steps = rough, Step(2, side + gap, 0.0, "floor"), walled(lift)
        return shelf(tmp_path / name, *steps, **more)

    lift = rng.uniform(0.2, 0.45)
    for module in (MODULE, "floor_touches_wall", "fillet_bite"):
        assert not found(made("clean", gap, lift), module), module
    one(made("low", gap, low), RULE, abs(low) * THOU, MODULE)
    assert not found(made("low", gap, low), "floor_touches_wall")
    one(made("near", near, lift), "floor-touches-wall", abs(near) * THOU, "floor_touches_wall")
    assert not found(made("near", near, lift), MODULE)
