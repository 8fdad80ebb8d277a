"""The same surface through columns and through upright rays."""

from __future__ import annotations

from collections import Counter

import helpers_job as hj
import numpy as np
import oracle_cast as cast
import pytest
from oracle_rays import FakeTool, make_moves
from proud.grid import NOTHING, Grid
from proud.moves import Moves
from proud.pack import pack
from proud.pieces import Piece, line_piece
from proud.prober import Prober
from proud.rays import Metal, Sweeps, rays
from proud.stock import Block

LOW, HIGH = (-30.0, -30.0, -30.0), (30.0, 30.0, 25.0)
STOCK = Block(LOW, HIGH, 1.0, "")
SAME = 1e-9
LEVEL_MOVES = (
    "level line", "line along an axis", "plunge", "from above", "no length", "level arc",
    "full circle",
)  # fmt: skip
SLOPED = ("ramp", "steep ramp")
CONVEX = ("flat", "bull", "ball", "chamfer", "drill", "taper-ball", "bore bar", "tap")


def endless(rng: np.random.Generator, shape: str) -> FakeTool:
    """Return a tool whose flank has no end: no metal is left above a cut."""
    while True:
        *below, last = cast.random_tool(rng, shape).pieces
        if last.arc is None and last.r_low == last.r_high:
            flank: Piece = line_piece("side", last.z_low, last.r_low, np.inf, last.r_low)
            return FakeTool((*below, flank))


def random_program(rng, shapes, names, count: int = 10) -> tuple[dict[int, FakeTool], Moves]:
    """Return tools 1 to 4 and a program of them, a pass a move."""
    tools = {k: endless(rng, str(rng.choice(shapes))) for k in range(1, 5)}
    rows = []
    for k in range(count):
        row = cast.MOVES[str(rng.choice(names))](rng)
        rows.append(row | {"tool": int(rng.integers(1, 5)), "pass_number": k + 1})
    return tools, make_moves(rows)


def tops_of(metal: Metal, z: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the height of the first metal on rays going down from z, and who made it."""
    first = metal.first()
    some = first >= 0
    top, owner = np.full(len(first), np.nan), np.full(len(first), NOTHING)
    top[some] = z - metal.enter[first[some]]
    owner[some] = metal.enter_move[first[some]]
    return top, owner


def down(x, y, sweeps, *, as_of=None):
    """Return tops and owners by rays from over the stock."""
    z = HIGH[2] + 7.0
    origins = np.c_[x, y, np.full(len(x), z)]
    return tops_of(rays(origins, (0, 0, -2.0), sweeps, STOCK, as_of=as_of), z)


def moved_by_ulps(prober: Prober, x, y, before):
    """Return the least and the greatest height within 4 ulp of the coordinates."""
    step = 4 * np.spacing(max(*map(abs, LOW), *HIGH))
    tops = [
        prober.columns(x + i * step, y + j * step, before)[0]
        for i in (-1, -0.5, 0, 0.5, 1) for j in (-1, -0.5, 0, 0.5, 1)
    ]  # fmt: skip
    return np.min(tops, axis=0), np.max(tops, axis=0)


def check_program(tools, moves: Moves, x, y, before: int | None) -> Counter[str]:
    """Assert that columns and rays agree on heights and on who made them."""
    packed, sweeps = pack(moves, tools), Sweeps(moves, tools)
    prober = Prober(packed, STOCK)
    ray_top, ray_owner = down(x, y, sweeps, as_of=before)
    before = None if before is None else int(np.searchsorted(packed.move, before))
    top, owner = prober.columns(x, y, before)
    owner = np.where(owner >= 0, packed.move[owner], owner)  # owners of columns are rows
    same = (np.abs(top - ray_top) <= SAME) | (np.isnan(top) & np.isnan(ray_top))
    low, high = moved_by_ulps(prober, x[~same], y[~same], before)
    moved = (low - SAME <= ray_top[~same]) & (ray_top[~same] <= high + SAME)
    wrong = np.flatnonzero(~same)[~moved]
    assert not len(wrong), (
        len(wrong), x[wrong[0]], y[wrong[0]], top[wrong[0]], ray_top[wrong[0]], owner[wrong[0]],
        ray_owner[wrong[0]], tools, moves.start.tolist(), moves.end.tolist(), moves.tool.tolist(),
        moves.center.tolist(), moves.turn.tolist(),
    )  # fmt: skip
    _check_owners(tools, moves, x, y, top, owner, ray_owner)
    cut = int((owner >= 0).sum())
    return Counter(same=int(same.sum()), moved=int((~same).sum()), cut=cut, owners=len(set(owner)))


def _check_owners(tools, moves, x, y, top, owner, ray_owner) -> None:
    """Where the two name different moves, both left the same height."""
    for k in np.flatnonzero(owner != ray_owner):
        heights = []
        for m in (int(owner[k]), int(ray_owner[k])):
            alone = Prober(pack(moves[m : m + 1], tools), STOCK) if m >= 0 else None
            heights.append(alone.columns(x[k : k + 1], y[k : k + 1])[0][0] if alone else HIGH[2])
        assert abs(heights[0] - heights[1]) <= 2 * SAME, (k, owner[k], ray_owner[k], heights)
        assert abs(heights[0] - top[k]) <= 2 * SAME


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", ["level", "sloped", "coves"])
def test_columns_and_upright_rays_are_one_surface(kind: str, seed: int) -> None:
    rng = np.random.default_rng([*kind.encode(), seed])
    shapes = ("corner-rounding", "flat", "taper-ball") if kind == "coves" else CONVEX
    names = SLOPED if kind == "sloped" else LEVEL_MOVES
    counts: Counter[str] = Counter()
    for k in range(4):
        tools, moves = random_program(rng, shapes, names)
        x, y = rng.uniform(-30, 30, (2, 500))
        near = rng.integers(len(moves), size=200)  # over ends of moves, and by their axes
        x[:200] = moves.end[near, 0] + rng.normal(size=200) * rng.choice([0, 1e-12, 1e-3], 200)
        y[:200] = moves.end[near, 1] + rng.normal(size=200) * rng.choice([0, 1e-12, 1e-3], 200)
        inside = (np.abs(x) < 30) & (np.abs(y) < 30)
        x, y = x[inside], y[inside]
        counts += check_program(tools, moves, x, y, [None, None, 5, 1][k])
    assert counts["cut"] > 500
    assert counts["owners"] > 8
    assert counts["moved"] < 0.01 * counts["same"]


@pytest.mark.parametrize("shape", hj.TOOLS)
@pytest.mark.parametrize(
    "name", ["level", "ramp", "steep ramp", "plunge", "full circle", "crossing"]
)
def test_a_jobs_surface_is_what_its_rays_meet(tmp_path, shape: str, name: str) -> None:
    """`job.surface`, a prober and `job.rays` from above, on the columns of a window."""
    job = hj.write_job(tmp_path, hj.CAST[name], [hj.TOOLS[shape]])
    grid = Grid.over((-11.0, -7.0), (11.0, 7.0), 0.7)
    tile = job.surface(grid=grid)
    x, y = (v.ravel() for v in np.meshgrid(grid.x(), grid.y()))
    z = job.stock.high[2] + 20.0
    metal = job.rays(np.c_[x, y, np.full(len(x), z)], (0.0, 0.0, -1.0))
    top, owner = tops_of(metal, z)
    np.testing.assert_allclose(top, tile.top.ravel(), rtol=0, atol=SAME)
    probed, _ = Prober(job.packed, job.stock).columns(x, y)
    np.testing.assert_array_equal(probed, tile.top.ravel())
    passes = np.append(job.program.moves.pass_number, [-1, 0])[owner]
    assert (passes == tile.pass_number.ravel()).mean() > 0.999
    assert (owner >= 0).sum() > 10


def test_a_job_answers_as_of(tmp_path) -> None:
    """Before the second pass its path has left nothing, by columns and by rays."""
    job = hj.write_job(tmp_path, hj.CAST["coincident"], [hj.TOOLS["bull"]])
    x = np.linspace(-12, 12, 97)
    origins = np.c_[x, np.full_like(x, 2.0), np.full_like(x, 9.0)]
    for text in ("0", "1", "2"):
        count = job.count_as_of(text)
        top, owner = tops_of(job.rays(origins, (0, 0, -1), as_of=count), 9.0)
        want, _ = Prober(job.packed.upto(count), job.stock).columns(x, origins[:, 1].copy())
        np.testing.assert_allclose(top, want, rtol=0, atol=SAME)
        assert owner.max() < max(count, 1)
        assert (top < 0).any() == (text != "0")
