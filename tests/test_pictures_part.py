"""The part's edges in a section: crossings by hand, and that they are drawn where they lie."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import proud
import pytest
import trimesh
from helpers_job import Nc, tool, write_job
from proud.pictures_loupe import is_steep
from proud.pictures_part import part_lines
from proud.pictures_stance import CLOSE, PART, Stance, draw_stance, stance_of

LEVELS = "\n[part]\ntop = -0.5\nbottom = -10.0\n"


def job_of(folder: Path, part: str) -> proud.Job:
    """A slot along X at y = 0, 4 deep and 6 wide."""
    nc = Nc().tool(1, "slot").stroke((-25, 0, -4), (25, 0, -4))
    return write_job(folder, nc, [tool(1, "flat", 6)], grid=part)


def boxed(folder: Path) -> proud.Job:
    """The same with a part of x -10 to 10, y -4 to 8, z -9 to -1."""
    block = trimesh.creation.box(bounds=[[-10, -4, -9], [10, 8, -1]])
    folder.mkdir(parents=True, exist_ok=True)
    block.export(folder / "part.stl")
    return job_of(folder, '\n[part]\nmodel = "part.stl"\n')


def test_levels(tmp_path: Path) -> None:
    lines = part_lines(job_of(tmp_path, LEVELS), (0.0, 0.0, 0.0), (1.0, 0.0))
    assert list(lines) == ["part's top", "part's bottom"]
    assert lines["part's top"][..., 1] == pytest.approx(-0.5)
    assert lines["part's bottom"][..., 1] == pytest.approx(-10.0)
    assert part_lines(job_of(tmp_path, ""), (0.0, 0.0, 0.0), (1.0, 0.0)) == {}


@pytest.mark.parametrize(("angle", "near", "far"), [
    (0, -11, 9), (90, -6, 6), (270, -6, 6), (30, -12, 9 / math.cos(math.pi / 6)),
])  # fmt: skip
def test_a_box(tmp_path: Path, angle: float, near: float, far: float) -> None:
    """From (1, 2): to x 10 and -10, to y 8 and -4; at 30 degrees by x / cos, and y / sin."""
    way = (math.cos(math.radians(angle)), math.sin(math.radians(angle)))
    lines = part_lines(boxed(tmp_path), (1.0, 2.0, 0.0), way)["part's model"]
    assert (lines[..., 0].min(), lines[..., 0].max()) == pytest.approx((near, far), abs=1e-4)
    assert (lines[..., 1].min(), lines[..., 1].max()) == pytest.approx((-9, -1))
    total = np.hypot(*(lines[:, 1] - lines[:, 0]).T).sum()
    assert total == pytest.approx(2 * (far - near) + 2 * 8, abs=1e-3)  # once around


def test_along_a_face_and_past_the_part(tmp_path: Path) -> None:
    job = boxed(tmp_path)
    assert len(part_lines(job, (0.0, 8.0, 0.0), (-1.0, 0.0))["part's model"]) > 0
    assert part_lines(job, (0.0, 9.0, 0.0), (1.0, 0.0)) == {}


def test_it_is_drawn_where_it_lies(tmp_path: Path) -> None:
    """The part's top 0.5 over the place: a quarter of the close view, 4 wide, over its middle."""
    job = job_of(tmp_path, LEVELS)
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    stance = stance_of(job, sweeps, (2.5, 3.0, -1.0), "end")
    pixels = draw_stance(job, stance, size=2 / 3, title="1", text="x", unit="mm")
    want = [int(PART[k : k + 2], 16) for k in (1, 3, 5)]
    left, top, right, bottom = (int(v) for v in CLOSE)
    inside = pixels[top + 4 : bottom - 4, left + 4 : right - 4].astype(int)
    rows = np.flatnonzero((np.abs(inside - want).max(axis=-1) < 12).sum(axis=1) > 100) + top + 4
    assert len(rows) > 0
    assert rows.mean() == pytest.approx((top + bottom) / 2 - (bottom - top) / 8, abs=2.0)


def test_at_the_end_a_tool_stands_no_higher_than_the_place(tmp_path: Path) -> None:
    """Two slots, 6.2 apart: a fin 0.2 thick between them, which the move between them
    crosses high above."""
    nc = Nc().tool(1, "slots").stroke((-25, 6.2, -4), (25, 6.2, -4))
    nc.stroke((-25, 0, -4), (25, 0, -4))
    job = write_job(tmp_path, nc, [tool(1, "flat", 6)])
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    stance: Stance = stance_of(job, sweeps, (5.0, 3.09, -2.0), "end")
    assert stance.tip == pytest.approx((5.0, 0.0, -4.0))


def test_the_size_is_written_beside_the_place(tmp_path: Path) -> None:
    """Letters up and to the right of the circle, in the close view only; none where size is 0."""
    job = job_of(tmp_path, "")
    sweeps = np.flatnonzero(job.program.moves.sweeps())
    stance = stance_of(job, sweeps, (2.5, 3.0, -1.0), "end")
    with_size, without = (
        draw_stance(job, stance, size=size, title="1", text="x", unit="mm").astype(int)
        for size in (0.02, 0.0)
    )
    left, top, right, bottom = (int(v) for v in CLOSE)
    x, y = (left + right) // 2, (top + bottom) // 2
    beside = slice(y - 40, y - 14), slice(x + 20, x + 110)
    dark = [(pixels[beside].max(axis=-1) < 90).sum() for pixels in (with_size, without)]
    assert dark[0] > 100 > dark[1]


def test_windows_on_a_slope_are_told_from_level_ones(tmp_path: Path) -> None:
    grid = proud.Grid.over((0.0, 0.0), (1.0, 1.0), 0.1)
    level = job_of(tmp_path, "").surface(grid=grid)
    assert not is_steep(level, 0.01)
    slope = np.linspace(-4.0, -3.5, level.top.size).reshape(level.top.shape)
    tilted = dataclasses.replace(level, top=slope)
    assert is_steep(tilted, 0.01)
    assert not is_steep(tilted, 0.1)  # 0.5 is less than eight times that
