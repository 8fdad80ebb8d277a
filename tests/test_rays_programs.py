"""Rays against a search: programs of several tools, stocks of every shape, spans, as of a move."""

from __future__ import annotations

import math

import numpy as np
import oracle_cast as cast
import pytest
import trimesh
from oracle_ask import Floats, ask, assert_none, block
from oracle_compare import Report
from oracle_rays import World, make_moves
from proud.stock import MeshStock, Round


def random_program(rng, count: int, *, arcs: bool = True):
    """Return tools 1 to 3 of random shapes and a program of moves near each other."""
    shapes = rng.choice(list(cast.SHAPES), 3, replace=False)
    tools = {k + 1: cast.random_tool(rng, str(s)) for k, s in enumerate(shapes)}
    names = [n for n in cast.MOVES if arcs or n not in cast.ARCS]
    rows = [
        cast.MOVES[str(rng.choice(names))](rng) | {"tool": int(rng.integers(1, 4))}
        for _ in range(count)
    ]
    return tools, make_moves(rows)


@pytest.mark.parametrize("seed", range(6))
def test_rays_through_programs(seed: int) -> None:
    """Unions of sweeps: which move made an end, as of a move, part of a line."""
    rng = np.random.default_rng([5, seed])
    report = Report()
    for k in range(4):
        tools, moves = random_program(rng, int(rng.integers(2, 9)))
        box = cast.stock_box(moves, tools)
        as_of = [None, len(moves) // 2, 1, 0][k]
        kept = moves if as_of is None else moves[:as_of]
        world = World.of(kept, tools, box)
        drawn = cast.random_rays(rng, World.of(moves, tools, box), 56)
        span = (0.0, math.inf) if k % 2 else (float(rng.uniform(0, 20)), float(rng.uniform(30, 60)))
        found = ask(rng, tools, moves, world, block(box), drawn, as_of=as_of, span=span)
        report.join(found, f"program {seed} {k}")
    assert_none(report)
    assert report.counts["one label"] > 40
    assert report.counts["cut off"] > 100


def _mesh_stock(mesh, low, high) -> MeshStock:
    facets = np.asarray(mesh.faces, dtype=np.int64)
    corners = np.asarray(mesh.vertices, dtype=np.float64)
    return MeshStock(tuple(map(float, low)), tuple(map(float, high)), 1.0, "", corners, facets)


def _prism(rng) -> tuple[MeshStock, Floats]:
    """Return a closed mesh of a turned cylinder with 16 sides, and its planes."""
    turned = trimesh.transformations.random_rotation_matrix(rng.random(3))
    mesh = trimesh.creation.cylinder(radius=22.0, height=40.0, sections=16, transform=turned)
    normals = np.asarray(mesh.face_normals)
    planes = np.c_[normals, (normals * mesh.vertices[mesh.faces[:, 0]]).sum(axis=1)]
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    stock = _mesh_stock(mesh, low, high)
    return stock, planes


def _stock(rng, kind: str):
    """Return a stock, and the planes and the tube by which the oracle knows it."""
    none = (0.0, 0.0, 0.0, 0.0)
    if kind in ("round", "tube"):
        x, y, R = rng.uniform(-3, 3), rng.uniform(-3, 3), rng.uniform(15, 30)
        bore = R * rng.uniform(0.2, 0.8) if kind == "tube" else 0.0
        low, high = (x - R, y - R, -15.0), (x + R, y + R, 14.0)
        planes = np.array([[0, 0, -1, 15.0], [0, 0, 1, 14.0]])
        return Round(low, high, 1.0, "", (x, y), R, bore), planes, (x, y, R, bore)
    if kind == "mesh box":
        mesh = trimesh.creation.box(extents=(40, 30, 28))
        low, high = (-20.0, -15.0, -14.0), (20.0, 15.0, 14.0)
        return _mesh_stock(mesh, low, high), None, none
    if kind == "mesh prism":
        stock, planes = _prism(rng)
        return stock, planes, none
    box = np.array([(-18.0, -20.0, -12.0), (20.0, 18.0, 13.0)])
    return block(box), None, none


@pytest.mark.parametrize("kind", ["block", "round", "tube", "mesh box", "mesh prism"])
def test_rays_through_stocks(kind: str) -> None:
    rng = np.random.default_rng([*kind.encode()])
    report = Report()
    for k in range(5):
        tools, moves = random_program(rng, 3)
        stock, planes, tube = _stock(rng, kind)
        world = World.of(moves, tools, (stock.low, stock.high), planes=planes, tube=tube)
        drawn = cast.random_rays(rng, world, 42)
        inside = rng.random(42) < 0.3  # many begin in metal
        drawn.origins[inside] = rng.uniform(stock.low, stock.high, (int(inside.sum()), 3))
        report.join(ask(rng, tools, moves, world, stock, drawn), f"{kind} {k}")
    assert_none(report)
    assert report.counts["raw"] > 100
    assert report.counts["cut off"] > 20
