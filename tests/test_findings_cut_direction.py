"""Finishing walls against the feed: lengths by hand, spindle and side turned, what stays silent."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, tool, write_job
from helpers_twins import found

ROOT = Path(__file__).resolve().parent.parent
R = 4.0
TOOLS = [tool(1, "flat", 2 * R), tool(2, "bull", 2 * R, RE=0.5)]
LAYER = 0.3
END = 30.0
HALF = 12.0
"""Half the stock's length and width."""
QUARTER = R / 4


def job_of(folder: Path, nc: Nc | str, pitch: float = 0.7) -> proud.Job:
    low, high = (-HALF, -HALF, -6.0), (HALF, HALF, 0.0)
    return write_job(folder, nc, TOOLS, low=low, high=high, pitch=pitch)


def edge(nc: Nc, out: float, *, left: bool, z: float = -4.0) -> Nc:
    """Along the stock's front edge, the tool's side `out` off the part's: wall left, or right."""
    ends = [(-END, -R - 6 - out, z), (END, -R - 6 - out, z)]
    return nc.stroke(*(ends if left else ends[::-1]))


def walled(register: int = 1, *, left: bool, layer: float = LAYER) -> Nc:
    """A wall along Y-6, roughed from the front with `layer` left, and finished."""
    nc = edge(Nc().tool(register, "rough"), layer, left=False)
    return edge(nc.heading("finish"), 0.0, left=left)


@pytest.mark.parametrize("pitch", [0.025, 0.2, 1.7])
@pytest.mark.parametrize("register", [1, 2])
def test_the_wall_on_the_left(tmp_path: Path, register: int, pitch: float) -> None:
    """The whole wall, and the tool's way into it: from where its side, ahead, meets the end."""
    (finding,) = found(job_of(tmp_path, walled(register, left=True), pitch), "cut_direction")
    assert (finding.rule, finding.severity) == ("cut-direction", "note")
    assert (finding.tool, finding.pass_number) == (register, 2)
    ahead = math.sqrt(R**2 - (R - LAYER) ** 2)
    # Where the tool lies beside no wall yet, what stays there is not known.
    assert 2 * HALF - 2 * QUARTER <= finding.size <= 2 * HALF + ahead + 2 * QUARTER
    assert "conventional along" in finding.text
    assert "climbs on the rest" not in finding.text


@pytest.mark.parametrize("register", [1, 2])
def test_its_cure_leaves_nothing(tmp_path: Path, register: int) -> None:
    (finding,) = found(job_of(tmp_path / "bad", walled(register, left=True)), "cut_direction")
    assert finding.change
    assert (finding.change.what, finding.change.after) == ("direction of pass 2", "climb")
    assert not found(job_of(tmp_path / "cured", walled(register, left=False)), "cut_direction")


def test_a_spindle_that_turns_the_other_way(tmp_path: Path) -> None:
    for left in (True, False):
        nc = walled(left=left)
        nc.lines.insert(nc.lines.index("(finish)") + 1, "M4 S1000")
        job = job_of(tmp_path / str(left), nc)
        assert bool(found(job, "cut_direction")) is not left


def test_there_and_back(tmp_path: Path) -> None:
    """A left half is finished conventional, a right half climbing, in one pass."""
    nc = edge(Nc().tool(1, "rough"), LAYER, left=False).heading("finish")
    y = -R - 6
    nc.stroke((-END, y, -4), (0, y, -4)).stroke((END, y, -4), (0, y, -4))
    (finding,) = found(job_of(tmp_path, nc), "cut_direction")
    assert finding.size == pytest.approx(HALF, abs=R)
    assert "and climbs on the rest" in finding.text


def test_one_note_for_a_tool(tmp_path: Path) -> None:
    nc = edge(Nc().tool(1, "rough"), LAYER, left=False)
    edge(nc.heading("front"), 0.0, left=True)
    y = R + 6
    nc.heading("rough back").stroke((-END, y + LAYER, -4), (END, y + LAYER, -4))
    nc.heading("back").stroke((0, y, -4), (-END, y, -4))
    (finding,) = found(job_of(tmp_path, nc), "cut_direction")
    assert finding.pass_number == 2
    assert finding.text.endswith("; so do passes 4")


def test_silent_twins(tmp_path: Path) -> None:
    rough = edge(Nc().tool(1, "rough"), LAYER, left=True)  # a wide cut against the feed
    semi = edge(walled(left=True, layer=0.2).heading("last"), -0.1, left=False)
    slot = Nc().tool(1).stroke((-END, 0, -4), (END, 0, -4))
    floor = edge(edge(Nc().tool(1, "rough"), 0.0, left=False).heading("floor"), 0.0, left=True)
    lower = edge(Nc().tool(1, "rough"), 0.0, left=False)
    edge(lower.heading("floor"), 0.0, left=True, z=-4.1)
    back = edge(walled(left=False).heading("spring"), 0.0, left=True)
    cases = {
        "climb": walled(left=False), "rough": rough, "cut again": semi, "slot": slot,
        "nothing": floor, "floor": lower, "spring back": back,
        "thick": walled(left=True, layer=1.0),
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "cut_direction"), name


@pytest.mark.parametrize("folder", ["first_try", "second_try"])
@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(folder: str, source: str) -> None:
    assert not found(proud.load(ROOT / "demo_parts" / folder / source), "cut_direction")


def test_a_layer_on_an_arc_counts_along_its_radius(tmp_path: Path) -> None:
    """Round a bore little wider than the tool a thin layer is met far ahead: it is still a finish.

    Bore of 5.5, tool of 4, layer 0.3 = 3.75 % of DC: cos = (5.2^2 - 1.5^2 - 4^2) / (2 * 1.5 * 4),
    43 degrees, 1.07 square to the path, where a straight wall has 0.3. Clockwise with the wall on
    the left the edge runs along with the feed: conventional. Where it goes down and where it comes
    round again the layer ahead is gone, less than 43 degrees of the circle at each end.
    """
    nc = Nc().tool(1, "rough").arc((1.2, 0, -4), (1.2, 0, -4), (0, 0), "ccw")
    nc.heading("finish").arc((1.5, 0, -4), (1.5, 0, -4), (0, 0), "cw")
    (finding,) = found(job_of(tmp_path, nc), "cut_direction")
    assert (finding.rule, finding.pass_number) == ("cut-direction", 2)
    assert math.radians(360 - 2 * 43) * 1.5 < finding.size < 2 * math.pi * 1.5
    thick = nc.text().replace("1.5 Y0", "1.7 Y0").replace("I-1.5", "I-1.7")  # 0.5 is 6 %
    assert not found(job_of(tmp_path / "thick", thick), "cut_direction")
