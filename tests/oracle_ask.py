"""Asks the code for drawn rays and compares with the oracle, by what was promised exact."""

from __future__ import annotations

import math

import numpy as np
from oracle_compare import Report, compare
from oracle_rays import FakeTool
from proud.moves import Moves
from proud.pieces import SPLIT_ERROR
from proud.rays import Sweeps, rays
from proud.stock import Block

Floats = np.ndarray


def block(box: Floats) -> Block:
    return Block(tuple(map(float, box[0])), tuple(map(float, box[1])), 1.0, "")


def bounds(tools: dict[int, FakeTool], moves: Moves, ways: Floats, chord: float) -> Floats:
    """Return how far along the normal each ray's ends may be off: nothing where promised exact.

    Level lines on level paths and upright lines on level paths and plunges are exact.
    """
    rise = moves.end[:, 2] - moves.start[:, 2]
    plunge = (moves.kind == 0) & (moves.start[:, :2] == moves.end[:, :2]).all(axis=1)
    level_path, upright_path = (rise == 0).all(), ((rise == 0) | plunge).all()
    level, upright = ways[:, 2] == 0, (ways[:, :2] == 0).all(axis=1)
    exact = (level & level_path) | (upright & upright_path)
    cove = any(p.is_cove for t in tools.values() for p in t.pieces)
    off = SPLIT_ERROR * cove + chord * bool((moves.kind == 1).any())
    return np.where(exact, 0.0, off)


def least_radius(tools: dict[int, FakeTool], moves: Moves) -> float:
    """Return the least radius of what may be cut up: arcs of moves and coves."""
    arms = np.hypot(*(moves.end[:, :2] - moves.center).T)[moves.kind == 1]
    coves = [-p.arc[2] for t in tools.values() for p in t.pieces if p.is_cove]
    return min([*arms, *coves, 1e3])


def ask(
    rng, tools, moves, world, stock, drawn, *, chord=1e-4, as_of=None, span=(0.0, math.inf), every=1
) -> Report:
    """Return how the code's answer to drawn rays differs; directions are not of length 1."""
    ways = drawn.ways * rng.uniform(0.1, 9.0, (len(drawn.ways), 1))
    metal = rays(
        drawn.origins, ways, Sweeps(moves, tools, chord=chord), stock, as_of=as_of, span=span
    )
    return compare(
        metal, world, drawn.origins, drawn.ways, names=drawn.names,
        bound=bounds(tools, moves, drawn.ways, chord),
        least_radius=least_radius(tools, moves), span=span, every=every,
    )  # fmt: skip


def assert_none(report: Report, most: int = 5) -> None:
    """Fail with the first faults in words."""
    kinds = {k: n for k, n in report.counts.items() if k.startswith("fault")}
    assert not report.faults, "\n".join([str(kinds), *report.faults[:most]])
