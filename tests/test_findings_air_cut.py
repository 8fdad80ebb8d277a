"""Passes and strokes in air: twins with the length set by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers_job import Nc, tool, write_job
from helpers_twins import THOU, found

FLAT6 = tool(1, "flat", 6.0)
BOTH = [FLAT6, tool(2, "flat", 6.0)]


def slot(nc: Nc | None = None, y: float = 0.0, z: float = -2.0) -> Nc:
    return (nc or Nc().tool(1, "slot")).stroke((-30, y, z), (30, y, z))


@pytest.mark.parametrize("pitch", [0.2, 0.7, 2.3])
def test_a_pass_in_air_is_found_with_its_length(tmp_path: Path, pitch: float) -> None:
    nc = slot().tool(2, "too high").stroke((-30, 9, 0.4), (30, 9, 0.4))
    job = write_job(tmp_path / "bad", nc, BOTH, pitch=pitch)
    (finding,) = found(job, "air_cut")
    assert (finding.rule, finding.severity, finding.pass_number) == ("air-cut", "watch", 2)
    assert finding.size == pytest.approx(60 + 9.6)  # down from the clear height of 10, and along
    assert finding.change
    assert finding.change.seconds == pytest.approx(-60 * 69.6 / 100)
    cured = nc.text().replace("Z0.4", "Z-0.4")
    assert not found(write_job(tmp_path / "cured", cured, BOTH, pitch=pitch), "air_cut")


def test_a_wrong_register_lifts_a_pass_into_air(tmp_path: Path) -> None:
    nc = slot().tool(2, "skim").stroke((-30, 9, -0.1), (30, 9, -0.1))
    assert not found(write_job(tmp_path / "right", nc, BOTH), "air_cut")
    (finding,) = found(write_job(tmp_path / "wrong", nc, BOTH, offsets="H2 = 0.5"), "air_cut")
    assert finding.pass_number == 2


def test_one_stroke_in_air_is_a_note(tmp_path: Path) -> None:
    nc = slot().stroke((-30, 30, -2), (10, 30, -2))
    (finding,) = found(write_job(tmp_path, nc, [FLAT6]), "air_cut")
    assert finding.severity == "note"
    assert finding.size == pytest.approx(40 + 12)
    assert "1 stroke of the pass cuts air" in finding.text


def test_round_in_air_is_no_stroke_straight_down(tmp_path: Path) -> None:
    nc = slot().tool(2, "round").arc((-10, 0, 3), (-10, 0, 3), (0, 0))
    (finding,) = found(write_job(tmp_path, nc, BOTH), "air_cut")
    assert finding.pass_number == 2


def pocket() -> Nc:
    nc = Nc().tool(1, "rough").raw("G0 X-8 Y-8", "G0 Z10", "G1 Z-3")
    for y in range(-8, 9, 2):
        nc.raw(f"G1 Y{y}", f"G1 X{8 if (y // 2) % 2 == 0 else -8}")
    return nc.up()


SILENT = {
    "spring pass": slot(slot().heading("spring")),
    "spring pass of another tool": slot(slot().tool(2, "spring")),
    "a second round at the same height": slot(slot(), y=0.0),
    "lifted over a floor by a thou": slot(slot().tool(2, "lifted"), z=-2 + THOU),
    "a finisher in a cleared pocket": pocket()
    .tool(2, "finish")
    .stroke((0, 0, -3), (8.2, 0, -3), (8.2, 8, -3), (0, 0, -3)),
    "along a wall, clear of it by a thou": slot()
    .tool(2, "wall")
    .stroke((-30, 0, -1), (-30, -THOU, -1), (30, -THOU, -1)),
    "short": slot().stroke((-30, 30, 8), (-28, 30, 8)),
    "long lead-out": slot().stroke((-30, 9, -2), (-20, 9, -2), (-20, 60, -2)),
}


@pytest.mark.parametrize("name", SILENT)
def test_silent(tmp_path: Path, name: str) -> None:
    assert not found(write_job(tmp_path, SILENT[name], BOTH, pitch=0.6), "air_cut")


@pytest.mark.parametrize("shape", ["flat", "bull", "ball", "chamfer"])
def test_near_and_far_of_every_shape(tmp_path: Path, shape: str) -> None:
    """A tool that clears a wall by 4 thou is there on purpose; by 6 thou it cuts air."""
    more = {"bull": {"RE": 1.0}, "chamfer": {"KAPR": 45.0, "tip": 1.0}}.get(shape, {})
    tools = [tool(1, shape, 6.0, **more), tool(2, "flat", 8.0)]
    for gap, count in ((4 * THOU, 0), (6 * THOU, 1)):
        y = 15 + 3 + gap  # beside the stock, whose side is at y = 15
        nc = Nc().tool(2, "cuts").stroke((-30, 0, -2), (30, 0, -2)).tool(1, "beside")
        nc.stroke((-30, y, -6), (30, y, -6))
        assert len(found(write_job(tmp_path / f"{gap}", nc, tools), "air_cut")) == count


def test_margins_are_the_jobs(tmp_path: Path) -> None:
    nc = slot().tool(2, "too high").stroke((-30, 9, 0.4), (30, 9, 0.4))
    wide = write_job(tmp_path / "gap", nc, BOTH, setup="\n[margins]\nair_gap = 0.41")
    assert not found(wide, "air_cut")
    long = write_job(tmp_path / "length", nc, BOTH, setup="\n[margins]\nair_length = 70")
    assert not found(long, "air_cut")
