"""Heights of columns against a search: every shape, every move, endless flanks and short ones."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import oracle_cast as cast
import pytest
from oracle_heights import height_loop, lower
from oracle_rays import FAR, FakeTool, World, move_rows, piece_rows, radius
from proud.deep import DeepColumns
from proud.grid import RAW
from proud.pack import pack
from proud.pieces import line_piece
from proud.prober import Prober
from proud.rays import Sweeps
from proud.stock import Block

COLUMNS = 100
"""Of one tool and move: 9 shapes, 11 moves and 3 tools are 29,700 cases, and 13 with short ones."""
TOOLS = 3
OPEN = [s for s in cast.SHAPES if s not in ("t-slot", "t-slot with corners", "lollipop", "free")]
"""Shapes whose flank may go up for ever."""


def endless(rng: np.random.Generator, shape: str) -> FakeTool:
    """Return a tool whose cutting part has no end."""
    while True:
        tool = cast.random_tool(rng, shape)
        last = tool.pieces[-1]
        if math.isinf(last.z_high):
            return tool
        if last.arc is None and last.r_low == last.r_high:
            flank = line_piece("side", last.z_low, last.r_low, math.inf, last.r_low)
            return FakeTool((*tool.pieces[:-1], flank))


def columns(rng, row, R, n):
    """Return columns in and round the reach of one move: random, on its path, over its ends."""
    s = rng.choice([0.0, 1.0, 0.5], n)
    s = np.where(rng.random(n) < 0.7, rng.random(n), s)
    x, y = row[1] + s * (row[4] - row[1]), row[2] + s * (row[5] - row[2])
    if row[0] == 1:
        angle = row[11] + s * row[9]
        x, y = row[7] + row[10] * np.cos(angle), row[8] + row[10] * np.sin(angle)
    far, way = R * np.sqrt(rng.random(n)) * 1.15, rng.uniform(0, 2 * math.pi, n)
    far[rng.random(n) < 0.1] = 0.0
    return x + far * np.cos(way), y + far * np.sin(way)


def block(low, high) -> Block:
    return Block(tuple(map(float, low)), tuple(map(float, high)), 1.0, "")


@pytest.mark.parametrize("shape", OPEN)
def test_heights_are_those_of_a_search(shape: str) -> None:
    """The least z(s) + g(distance) over the path; g from the pieces."""
    rng = np.random.default_rng([*shape.encode()])
    for name in cast.MOVES:
        counts: Counter[str] = Counter()
        for _ in range(TOOLS):
            tools = {1: endless(rng, shape)}
            moves = cast.random_moves(rng, name)
            low, high = cast.stock_box(moves, tools)
            path, R = move_rows(moves, 1e3), max(p.widest for p in tools[1].pieces)
            x, y = columns(rng, path[0], R, COLUMNS)
            height, near = np.empty(len(x)), np.empty(len(x))
            height_loop(piece_rows(tools[1].pieces), path[0], x, y, 200, height, near)
            sure = np.abs(near - R) > 1e-6 * R  # at the rim a last bit decides
            top, owner = Prober(pack(moves, tools), block(low, high)).columns(x, y)
            hit = near < R
            assert (top[sure & ~hit] == high[2]).all()
            assert (owner[sure & ~hit] == RAW).all()
            off = np.abs(top - np.minimum(height, high[2]))[sure & hit]
            assert off.max(initial=0.0) < 1e-6, (name, tools, moves, x, y, off.max())
            counts["hit"] += int((sure & hit).sum())
            counts["miss"] += int((sure & ~hit).sum())
            counts["close"] += int((off < 1e-9).sum())
        assert counts["hit"] > 0.6 * TOOLS * COLUMNS, name
        assert counts["miss"] > 0, name
        assert counts["close"] > 0.97 * counts["hit"], (name, counts)


@pytest.mark.parametrize("shape", cast.SHAPES)
def test_heights_under_a_cutting_part_that_ends(shape: str) -> None:
    """Columns see the top of the highest metal: a cut buried under metal leaves them as they are.

    Some of what an undercutting tool takes may stay, none more is taken: rays see all of it.
    """
    rng = np.random.default_rng([1, *shape.encode()])
    counts: Counter[str] = Counter()
    for name in cast.MOVES:
        tools = {1: cast.random_tool(rng, shape)}
        moves = cast.random_moves(rng, name)
        low, high = cast.stock_box(moves, tools)
        tall = min(max(p.z_high for p in tools[1].pieces if p.cutting), 10.0)
        if name == "full helix":
            counts["left out"] += 1  # a fin may stand between its turns, which columns can't see
            continue
        high[2] = moves.end[0, 2] + tall * rng.uniform(0.05, 1.3)
        world = World.of(moves, tools, (low, high))
        R = max(p.widest for p in tools[1].pieces if p.cutting)
        x, y = columns(rng, world.moves[0], R, 40)
        ways = np.tile((0.0, 0.0, 1.0), (len(x), 1))
        from_below = np.c_[x, y, np.full(len(x), low[2])]
        beside_top = high[2] - low[2] - np.geomspace(1e-7, 1.0, 60)
        metal = world.intervals(from_below, ways, [beside_top] * len(x), samples=300)
        want = np.array([low[2] + m[-1, 1] if len(m) else np.nan for m in metal])
        packed, stock = pack(moves, tools), block(low, high)
        hollows = DeepColumns(lambda m=moves, t=tools: Sweeps(m, t), packed, stock)
        top, owner = Prober(packed, stock, hollows).columns(x, y)
        near = _near_a_wall(world, x, y, want, top)
        off = np.abs(top - want)
        if _undercuts(tools[1]):
            off[top > want] = 0.0
        assert off[~near].max(initial=0.0) < 1e-6, (name, tools, moves, x, y, top, want)
        counts["wall"] += int(near.sum())
        counts["cut"] += int((want < high[2] - 1e-6).sum())
        counts["uncut"] += int((owner == RAW).sum())
    assert counts["cut"] > 40
    assert counts["uncut"] > 40
    assert counts["wall"] < 0.05 * counts["cut"]
    assert counts["left out"] == 1


def _undercuts(tool: FakeTool) -> bool:
    """Whether it is wider somewhere than somewhere above."""
    pieces = [p for p in tool.pieces if p.cutting]
    radii = [r for p in pieces for r in (p.r_low, p.widest, p.r_high)]
    return bool((np.diff(radii) < -1e-9).any()) or any(
        p.is_cove and p.arc and p.arc[1] > p.z_low for p in pieces
    )


def _near_a_wall(world, x, y, want, top):
    """Return where an upright wall stands within 1e-9 mm: a last bit decides."""
    apart = ~(np.abs(top - want) <= 1e-6)
    middle = np.c_[x, y, (top + want) / 2]
    return apart & (np.abs(world.distance(middle)) < 1e-9)


@pytest.mark.parametrize("shape", cast.SHAPES)
def test_the_search_reads_pieces_as_they_are(shape: str) -> None:
    """r(z) of the oracle is `Piece.radius_at`; its lower edge undoes it."""
    rng = np.random.default_rng([*shape.encode()])
    for _ in range(10):
        pieces = cast.random_tool(rng, shape).pieces
        rows = piece_rows(pieces)
        for piece, row in zip(pieces, rows, strict=True):
            zs = np.linspace(piece.z_low - 0.1, min(piece.z_high, 30.0) + 0.1, 23)
            want = np.array([piece.radius_at(float(z)) for z in zs])
            np.testing.assert_allclose([radius(row, z) for z in zs], want, rtol=0, atol=1e-13)
        for rho in np.linspace(0, 10, 41):
            edge = lower(rows, rho)
            assert (edge < FAR) == any(p.widest >= rho for p in pieces)
            if edge < FAR:  # reached there, and nowhere lower
                widest = max(radius(r, edge) for r in rows if r[0] <= edge <= r[1])
                assert widest >= rho - 1e-9
                below = [(r, z) for r in rows for z in np.linspace(r[0], min(r[1], edge), 50)[:-1]]
                assert all(radius(r, z) < rho for r, z in below if z < edge)
