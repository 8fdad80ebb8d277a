"""Where a place is in words: a boss with a pocket in it, looked at from the front."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, tool, write_job
from proud.findings.whereabouts import where


@pytest.fixture(scope="module")
def block(tmp_path_factory: pytest.TempPathFactory) -> proud.Job:
    """Walls at x 19 and -19, y 14 and -14, 6 deep; a pocket of 16 x 12, 3 deep, in the middle."""
    nc = Nc().tool(1, "outside")
    nc.stroke((22, 40, -6), (22, -17, -6), (-22, -17, -6), (-22, 17, -6), (40, 17, -6))
    nc.heading("pocket")
    inner = [(5, 3, -3), (5, -3, -3), (-5, -3, -3), (-5, 3, -3), (5, 3, -3), (0, 0, -3)]
    nc.stroke(*inner)
    return write_job(tmp_path_factory.mktemp("block"), nc, [tool(1, "flat", 6)])


@pytest.mark.parametrize(
    ("at", "says"),
    [
        ((0, -14, -3), "front wall, middle"),
        ((12, -14, -6), "front wall, right half"),
        ((-17, -14, -0.1), "front wall, left corner"),
        ((17, 14.0001, -3), "back wall, right corner"),
        ((-19, 0, -3), "left wall, middle"),
        ((19, 9, -3), "right wall, towards the back"),
        ((19.5, -9, -6), "right wall, towards the front"),
        ((0, 6, -2), "inside, wall facing the front, middle"),
        ((8, 1, -3), "inside, wall facing left, middle"),
        ((-7.9, 1, -3), "inside, wall facing right, middle"),
        ((0, 0, -3), "middle"),
        ((-14, 10, 0), "back left"),
        ((14, 0, 0), "right"),
    ],
)
def test_where_in_words(block: proud.Job, at: tuple[float, float, float], says: str) -> None:
    assert where(block, at) == says


def test_a_shoulder_is_called_by_the_side_that_it_faces(tmp_path: Path) -> None:
    """A step open to the front over the whole length: also near its right end, and at its foot."""
    nc = Nc().tool(1, "step")
    for y in (-15.0, -10.0, -5.0):
        nc.stroke((-40, y, -4), (40, y, -4))
    job = write_job(tmp_path, nc, [tool(1, "flat", 6)])
    assert where(job, (19.5, -2, -2)) == "front wall, right corner"
    assert where(job, (0, -2, -4)) == "front wall, middle"


@pytest.mark.parametrize("turn", range(0, 360, 30))
def test_round_a_boss(tmp_path: Path, turn: int) -> None:
    """A round boss: every place on it faces away from its middle."""
    nc = Nc().tool(1, "boss")
    for r in (16.0, 12.0, 9.0):
        nc.arc((r, 0, -4), (r, 0, -4), (0, 0, -4))
    low, high = (-12.0, -12.0, -12.0), (12.0, 12.0, 0.0)
    job = write_job(tmp_path, nc, [tool(1, "flat", 6)], low=low, high=high)
    x, y = 6 * math.cos(math.radians(turn)), 6 * math.sin(math.radians(turn))
    side = ("back" if y > 0 else "front") if abs(y) >= abs(x) else "right" if x > 0 else "left"
    assert where(job, (x, y, -2.0)).startswith(f"{side} wall, ")


def test_the_top_of_a_dome_is_no_wall(tmp_path: Path) -> None:
    """Ball paths over a dome of radius 40: near its top by its region, on its side as a wall."""
    nc = Nc().tool(1, "dome")
    for k in range(-14, 15):
        x = float(k)
        down = 40 - math.sqrt(40**2 - x**2)
        nc.stroke((x, -30, -down), (x, 30, -down))
    job = write_job(tmp_path, nc, [tool(1, "ball", 6)], pitch=0.25)
    assert where(job, (1.5, 0.0, -0.02)) == "middle"
    nc = Nc().tool(1, "steep").stroke((8, -30, -6), (8, 30, -6)).stroke((12, -30, -6), (12, 30, -6))
    nc.stroke((18, -30, -6), (18, 30, -6))
    job = write_job(tmp_path / "steep", nc, [tool(1, "ball", 6)], pitch=0.25)
    assert where(job, (5.0, 0.0, -2.0)).startswith("right wall")
