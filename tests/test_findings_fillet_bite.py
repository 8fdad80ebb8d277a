"""A bigger tool's fillet taken in one bite: twins against the sum of two arcs, and the demo."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, number, tool, write_job
from helpers_passes import pass_job, pass_text
from helpers_shelf import CORNER, ROUGH, WALLED, Step, shelf
from helpers_twins import TENTH, THOU, found, one
from proud.findings.case import Case
from proud.findings.fillet_bite import bites

MODULE, RULE = "fillet_bite", "fillet-in-one-bite"
ROOT = Path(__file__).resolve().parent.parent
PITCHES = (0.0254, 0.13, 0.254)


def peak(aR: float, RR: float, RF: float, aF: float, bR: float, lift: float) -> float:
    """The deepest bite of a corner RF into the fillet of a corner RR, one unit throughout."""
    return math.hypot(aR + RR - RF - aF, bR + RR - RF - lift) - (RR - RF)


@pytest.mark.parametrize(
    ("aF", "bite"), [(0.0, 18.26), (3.0, 15.80)]
)  # by hand, thou: RR 60, RF 30, aR 10, 3 above the rougher's floor
def test_the_sum_by_hand(tmp_path: Path, aF: float, bite: float) -> None:
    assert peak(10, 60, 30, aF, 0, 3) == pytest.approx(bite, abs=0.005)
    tools = [tool(1, "bull", 0.5, RE=0.06), tool(2, "bull", 0.5, RE=0.03)]
    nc = Nc("in", 1.0)
    for register, side, z in ((1, 0.01, -0.2), (2, aF / 1000, -0.197)):
        nc.tool(register).stroke((-1, 0.25 + side, z), (1, 0.25 + side, z))
    job = write_job(
        tmp_path, nc, tools, low=(-0.4, -0.2, -0.4), high=(0.4, 0.45, 0), pitch=0.01, unit="in"
    )
    one(job, RULE, peak(10, 60, 30, aF, 0, 3) * THOU, MODULE)


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("finisher", [2, 3])
@pytest.mark.parametrize(("aR", "bR", "lift"), [(10, 5, 0), (6, 0, 0.4), (4, 9, 9.5), (12, 0, -1)])
def test_one_bite(
    tmp_path: Path, aR: float, bR: float, lift: float, finisher: int, pitch: float
) -> None:
    job = shelf(
        tmp_path,
        Step(1, aR, bR, "rough"),
        Step(finisher, 0.0, lift, "wall", along=True),
        pitch=pitch,
    )
    RR, RF = CORNER[1], CORNER[finisher]
    size = peak(aR * THOU, RR, RF, 0.0, bR * THOU, lift * THOU)
    finding = one(job, RULE, size, MODULE)
    assert finding.size == pytest.approx(size, abs=1e-6)
    assert (finding.tool, finding.pass_number, finding.other_pass) == (finisher, 2, 1)
    assert finding.severity == "watch"
    change = finding.change
    assert change
    if bR > lift:
        assert "of the floor with it" in finding.text
        assert change.after == pytest.approx((aR + 0.5) * THOU)
    else:
        assert change.before is None
        assert change.after == pytest.approx(min(2.0, aR / 2) * THOU)
    # 40 mm along the wall and down from 10 mm above, at 100 mm/min.
    assert change.seconds == pytest.approx(60 * (40 + 14 - lift * THOU) / 100)


@pytest.mark.parametrize(
    ("aR", "bR", "lift", "finisher"), [(10, 5, 0.4, 2), (2, 0, 0, 3), (9, 12, 2, 3)]
)
def test_its_section(tmp_path: Path, aR: float, bR: float, lift: float, finisher: int) -> None:
    """Against shapely: two rounded corners, one taken from the other; and one sum by hand."""
    import shapely

    job = shelf(tmp_path, Step(1, aR, bR, "r"), Step(finisher, 0.0, lift, "w", along=True))
    (bite,) = bites(Case(job, None)).values()

    def room(corner: float, side: float, over: float) -> shapely.Polygon:
        """What a tool along the wall y = 0 sweeps, y to the right, seen along the path."""
        y, z = side * THOU + corner, over * THOU + corner
        box = shapely.box(y, z, y + 20, z + 20)
        return box.buffer(corner, quad_segs=400) if corner else box

    RR = CORNER[1]
    top, wide = RR + bR * THOU, RR + aR * THOU
    window = shapely.box(0, lift * THOU, wide, top)
    taken = (room(CORNER[finisher], 0, lift) - room(RR, aR, bR)) & window
    assert bite.area == pytest.approx(taken.area, rel=2e-3)
    if aR == 2:
        # Square corner against RE 1: the slab on the wall, and (1 - pi/4) RE^2 of the fillet.
        assert bite.area == pytest.approx(2 * THOU * 1.0 + 1 - math.pi / 4, rel=2e-3)


def test_the_area_between_two_corner_radii(tmp_path: Path) -> None:
    """(RR^2 - RF^2)(1 - pi/4), of RE 60 and 30 thou: 0.00057942 sq in; and a bite of 12.43."""
    RR, RF = 60 * THOU, 30 * THOU
    bisector = (RR - RF) * (math.sqrt(2) - 1)
    assert peak(0, RR, RF, 0, 0, 0) == pytest.approx(bisector)
    assert bisector / 25.4 == pytest.approx(0.0124264, abs=1e-7)
    tools = [tool(1, "bull", 8, RE=RR), tool(2, "bull", 8, RE=RF)]
    nc = Nc()
    for register, side in ((1, 0.01), (2, 0.0)):  # 0.01 mm on the wall, so that it is a wall pass
        nc.tool(register).stroke((-20, 4 + side, -4), (20, 4 + side, -4))
    job = write_job(tmp_path, nc, tools, low=(-8, -4, -8), high=(8, 7, 0))
    (bite,) = bites(Case(job, None)).values()
    fillet = bite.area - 0.01 * RR
    assert fillet == pytest.approx((RR**2 - RF**2) * (1 - math.pi / 4), rel=1e-3)
    assert fillet / 25.4**2 == pytest.approx(0.00057942, rel=2e-3)


SPLIT = Step(2, 2.0, 0.0, "semi", along=True)
WALL = Step(2, 0.0, 0.0, "wall", along=True)


@pytest.mark.parametrize("finisher", [2, 3])
def test_its_cure_leaves_nothing(tmp_path: Path, finisher: int) -> None:
    wall = dataclasses.replace(WALL, tool=finisher, over=6.0)
    (finding,) = found(shelf(tmp_path / "bad", ROUGH, wall), MODULE)
    assert finding.change
    assert isinstance(finding.change.after, float)
    semi = dataclasses.replace(wall, side=finding.change.after / THOU, name="semi")
    cured = shelf(tmp_path / "cured", ROUGH, semi, wall)
    for module in (MODULE, "floor_touches_wall", "wall_drags_floor"):
        assert not found(cured, module), module
    # The bite after the split: what the semi-finish left, everywhere.
    from proud.contact import contact

    last = contact(cured, 3).passes[0]
    assert last.corner_bite == pytest.approx(2.0 * THOU, abs=TENTH)


@pytest.mark.parametrize(
    "steps",
    [
        # A corner as big, and a bigger one.
        (Step(2, 10.0, 5.0, "rough"), Step(2, 0.0, 5.2, "wall", along=True)),
        (Step(2, 10.0, 0.0, "rough"), Step(1, 0.0, 0.3, "wall", along=True)),
        (Step(3, 10.0, 0.0, "rough"), Step(1, 0.0, 0.3, "wall", along=True)),
        # The semi-finish takes the fillet; it is not the last.
        (ROUGH, SPLIT, WALL),
        # The floor pass takes it, and keeps off the wall.
        (ROUGH, Step(2, 10.5, 0.0, "floor"), WALLED),
        # Spring passes and a second pass at the same height after the cure.
        (ROUGH, SPLIT, WALL, dataclasses.replace(WALL, name="spring")),
        # High above the fillet: the wall alone.
        (ROUGH, Step(3, 0.0, 45.0, "wall", along=True)),
        # A pass for the floor alone.
        (Step(1, 10.0, 5.0, "rough"), Step(3, 10.5, 0.0, "floor")),
    ],
)  # fmt: skip
def test_silent_twins(tmp_path: Path, steps: tuple[Step, ...]) -> None:
    assert not found(shelf(tmp_path, *steps), MODULE)


@pytest.mark.parametrize(("aR", "seen"), [(20.0, True), (24.0, False)])
def test_the_ratio(tmp_path: Path, aR: float, seen: bool) -> None:
    """Up to half more than on the wall is silent; by hand 1.59 and 1.47 times."""
    job = shelf(tmp_path, Step(1, aR, 0.0, "rough"), dataclasses.replace(WALL, tool=3, over=0.1))
    size = peak(aR * THOU, 1.0, 0.0, 0.0, 0.0, 0.1 * THOU)
    assert (size / (aR * THOU) > 1.5) is seen
    assert bool(found(job, MODULE)) is seen


@pytest.mark.parametrize(("under", "silent"), [(41.0, True), (30.0, False)])
def test_a_foot_on_scrap(tmp_path: Path, under: float, silent: bool) -> None:
    """An outer profile: RE 1.0 is 39.4 thou; the fillet ends below the part's bottom, or not."""
    bottom = -4.0 + under * THOU
    stock = (
        'shape = "block"\nlow = [-8, -5, -8]\nhigh = [8, 9, 0]\n\n[part]\ntop = 0\n'
        f"bottom = {number(bottom)}"
    )
    nc = Nc()
    for register, r, side, z in ((1, 5, 8.0, -4.0), (3, 4, 0.0, -3.9)):
        nc.tool(register).stroke((-20, r + side * THOU, z), (20, r + side * THOU, z))
    tools = [tool(1, "bull", 10.0, RE=1.0), tool(3, "flat", 8.0)]
    assert (not found(write_job(tmp_path, nc, tools, stock=stock), MODULE)) is silent


def test_a_round_boss_and_several_levels_are_one_finding(tmp_path: Path) -> None:
    """Two depths of the finisher round a boss; the lower meets the fillet all round."""
    nc, side, z = Nc(), 6 * THOU, -5.0
    for register, r, off, levels in ((1, 4.0, side, (-2.5, z)), (2, 3.0, 0.0, (-3.0, z))):
        nc.tool(register)
        for level in levels:
            out = 6.0 + r + off
            nc.arc((out, 0, level), (out, 0, level), (0, 0), "cw")
    tools = [tool(1, "bull", 8.0, RE=1.2), tool(2, "bull", 6.0, RE=0.4)]
    job = write_job(tmp_path, nc, tools, low=(-10, -10, -8), high=(10, 10, 0), pitch=0.2)
    finding = one(job, RULE, peak(side, 1.2, 0.4, 0, 0, 0), MODULE)
    assert finding.size == pytest.approx(peak(side, 1.2, 0.4, 0, 0, 0), abs=1e-6)


def test_the_floor_in_the_same_cut_is_said(tmp_path: Path) -> None:
    (finding,) = found(shelf(tmp_path, ROUGH, Step(2, 0.0, 0.0, "both")), MODULE)
    assert "; and 0.127 mm of the floor with it" in finding.text
    change = finding.change
    assert change
    assert change.what == "side allowance of pass 2"
    assert (change.before, change.after) == pytest.approx((0.0, 10.5 * THOU))
    assert isinstance(change.after, float)
    floor = Step(2, change.after / THOU, 0.0, "floor")
    for module in (MODULE, "floor_touches_wall", "wall_drags_floor"):
        assert not found(shelf(tmp_path / "cured", ROUGH, floor, WALLED), module), module


def listed(folder: Path, more: str) -> proud.Job:
    shape = "rectangle = { low = [-12, -8], high = [12, 8], corner_radius = 5 }\n"
    rough = f'{shape}top = 0\nbottom = -4\nallowance_side = "6 thou"\nradial_cutting_depth = 2\n'
    wall = f'{shape}side = "inside"\ntop = 0\nbottom = -4\nlift = "1 thou"\n{more}'
    text = "\n".join(
        (pass_text("pocket", rough, tool=1, name="rough"), pass_text("contour", wall, tool=2))
    )
    folder.mkdir()
    return pass_job(folder, text, [tool(1, "bull", 8.0, RE=1.0), tool(2, "flat", 6.0)])


def test_a_pass_list_names_its_own_keys(tmp_path: Path) -> None:
    finding = one(listed(tmp_path / "bad", ""), RULE, peak(6 * THOU, 1, 0, 0, 0, THOU), MODULE)
    change = finding.change
    assert change
    assert change.what == "radial_cutting_depth of pass 2, with radial_passes = 2"
    assert isinstance(change.after, float)
    keys = f"radial_cutting_depth = {number(change.after)}\nradial_passes = 2\n"
    assert not found(listed(tmp_path / "cured", keys), MODULE)


@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(source: str) -> None:
    """The profile by hand: aR 13.5, RR 45, RF 20, tip 2.4 under the rougher's floor: 22.25."""
    case = Case(proud.load(ROOT / "demo_parts/first_try" / source), None)
    sizes = {n: b.bite / THOU for n, b in bites(case).items()}
    assert sizes == pytest.approx(
        {
            10: peak(2.9, 45, 20, 0, 6.2, 0),
            11: peak(13.5, 45, 20, 0, 0, -2.4),
            12: peak(9.0, 18, 0, 0, 3.8, 0),
        },
        abs=1e-3,
    )
    assert sizes[11] == pytest.approx(22.25, abs=0.01)
    assert not found(proud.load(ROOT / "demo_parts/second_try" / source), MODULE)
    assert np.isfinite([b.area for b in bites(case).values()]).all()
