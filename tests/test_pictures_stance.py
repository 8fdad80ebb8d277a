"""A tool in section where it stands: its place by hand, and what colour lies where."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, tool, write_job
from proud.jobfile_spec import Box
from proud.pictures_stance import (
    CLOSE,
    GLASS,
    JAW,
    MAIN,
    METAL,
    SHADES,
    Stance,
    draw_stance,
    stance_of,
)
from proud.pictures_stance import _crossed as crossed
from proud.pictures_stance import _views as views

JAWS = '\n[[setups.fixture]]\nname = "jaw"\nlow = [-20, -15, -12]\nhigh = [20, -9, -6]\n'


def job_of(folder: Path) -> proud.Job:
    """A slot along X at y = 0, 4 deep and 6 wide, with a shank from 5 up; a jaw at y < -9."""
    nc = Nc().tool(1, "slot").stroke((-25, 0, -4), (25, 0, -4))
    return write_job(folder, nc, [tool(1, "flat", 6, APMX=5, DMM=6, LPR=30)], setup=JAWS)


def test_where_a_tool_stands(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    stance = stance_of(job, sweeps, (2.5, 3.0, -1.0), "after")
    assert stance.tip == pytest.approx((2.5, 0.0, -4.0))
    assert stance.way == pytest.approx((0.0, 1.0))
    assert stance.spot == pytest.approx((3.0, -1.0))
    before = stance_of(job, sweeps, (2.5, 3.0, -1.0), "before")
    # The way down at X-25 comes before it, but does not reach the place.
    assert (before.tip, before.count) == (stance.tip, stance.count - 1)
    at_tip = stance_of(job, sweeps, (2.5, 0.0, -4.0), "end")
    assert at_tip.way == pytest.approx((0.0, 1.0))  # square to the slot, along X
    assert at_tip.count == len(job.program.moves)


@pytest.mark.parametrize(("angle", "near", "far"), [
    (0, 2, 5), (180, -5, -2), (90, 0, 0), (45, 2 * math.sqrt(2), 4 * math.sqrt(2)),
])  # fmt: skip
def test_where_a_section_crosses_a_jaw(
    tmp_path: Path, angle: float, near: float, far: float
) -> None:
    """A jaw with x 2 to 5 and y -1 to 4 beside an axis at the origin."""
    way = (math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    way = (round(way[0], 15), round(way[1], 15))
    stance = Stance(job_of(tmp_path).tools[1], (0.0, 0.0, 0.0), way, (1.0, 0.0, 0.0), 0)
    assert crossed(stance, Box("jaw", (2, -1, 0), (5, 4, 1))) == pytest.approx((near, far))


def color(word: str, alpha: float = 1.0, under: str = "#ffffff") -> list[int]:
    """Return a colour laid over another."""
    one, two = (np.array([int(w[k : k + 2], 16) for k in (1, 3, 5)]) for w in (word, under))
    return [int(v) for v in np.rint(alpha * one + (1 - alpha) * two)]


def test_what_lies_where(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    at, size = (2.5, 3.0, -1.0), 0.5
    for done in (False, True):
        stance = stance_of(job, sweeps, at, "after" if done else "before")
        target = tmp_path / "stance.png"
        pixels = draw_stance(
            job, stance, size=size, title="1: x", text="y", unit="mm", path=target
        )  # fmt: skip
        assert target.stat().st_size > 10_000
        main, close = views(stance, size)

        def seen(view, s: float, z: float, pixels=pixels) -> list[int]:
            return pixels[round(view.y(z)), round(view.x(s))].tolist()

        under = "#ffffff" if done else METAL
        assert seen(main, -1.0, -3.0) == pytest.approx(color(SHADES["cuts"], GLASS, under), abs=2)
        assert seen(main, -1.0, 2.5) == pytest.approx(color(SHADES["shank"], GLASS), abs=2)
        assert seen(main, 3.3, -3.0) == color(METAL)
        assert seen(main, 3.3, 1.3) == [255, 255, 255]
        assert seen(close, 3.4, -1.4) == color(METAL)
        assert seen(close, 2.0, -1.4) == pytest.approx(color(SHADES["cuts"], GLASS, under), abs=2)
        for view, box in ((main, MAIN), (close, CLOSE)):
            left, top, right, bottom = box
            assert view.x(view.aside) == (left + right) / 2
            assert view.y(view.z) == (top + bottom) / 2


def test_a_jaw_is_drawn(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    stance = stance_of(job, sweeps, (0.0, -9.0, -6.0), "after")
    pixels = draw_stance(job, stance, size=3.0, title="1: x", text="y", unit="mm")
    main, _ = views(stance, 3.0)
    rows = slice(round(main.y(-7.2)), round(main.y(-8.2)))
    there = pixels[rows, round(main.x(9.5)) : round(main.x(10.5))].reshape(-1, 3)
    assert (there == color(JAW)).all(axis=1).mean() > 0.2  # the rest is its hatch
