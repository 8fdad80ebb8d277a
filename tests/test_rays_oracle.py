"""Rays against a search: over 20,000 random tools, moves and lines; programs, stocks, spans."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import oracle_cast as cast
import pytest
import trimesh
from oracle_compare import Report, compare
from oracle_rays import FACES, FakeTool, World, arc_move, make_moves
from proud.moves import Moves
from proud.pieces import SPLIT_ERROR, line_piece
from proud.rays import Sweeps, rays
from proud.stock import Block, MeshStock, Round

Floats = np.ndarray
TOOLS = 4
RAYS = 36
"""Of one tool and move: 13 shapes, 11 moves, 4 tools, 36 rays are 20,592 cases."""
NO_HINTS = np.empty(0)


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


# --- the oracle itself ---------------------------------------------------------------------------


def test_the_oracle_agrees_with_closed_forms() -> None:
    """Derived by hand for a frustum on a ramp and for a level arc, 12 digits."""
    frustum = {1: FakeTool((line_piece("side", 0, 2, 4, 5),))}
    moves = make_moves([{"start": (0, 0, 0), "end": (20, 1, 3)}])
    world = World.of(moves, frustum, [(-10, -30, -30), (60, 30, 30)])
    ends = world.intervals(np.array([[-10.0, 1, 2]]), np.array([[1.0, 0, 0]]), [NO_HINTS])[0]
    assert ends.ravel()[1:3] == pytest.approx([6.64589803375, 25.3053599277], abs=1e-9)

    disc = {1: FakeTool((line_piece("side", 0, 3, 4, 3),))}
    moves = make_moves([arc_move((0.0, 0.0), 8.0, 0.0, 5.0, 0.0, 0.0)])
    world = World.of(moves, disc, [(-20, -30, -30), (60, 30, 30)])
    ends = world.intervals(np.array([[-20.0, 2, 2]]), np.array([[1.0, 0, 0]]), [NO_HINTS])[0]
    voids = [9.18334617361, 15.4174243050, 24.5825756950, 30.8166538264]
    assert ends.ravel()[1:-1] == pytest.approx(voids, abs=1e-9)


# --- one tool, one move --------------------------------------------------------------------------


@pytest.mark.parametrize("shape", cast.SHAPES)
def test_rays_through_one_sweep(shape: str) -> None:
    rng = np.random.default_rng([*shape.encode()])
    total, pieces = Report(), set()
    for name in cast.MOVES:
        report = Report()
        for k in range(TOOLS):
            tools = {1: cast.random_tool(rng, shape)}
            moves = cast.random_moves(rng, name)
            box = cast.stock_box(moves, tools)
            world = World.of(moves, tools, box)
            drawn = cast.random_rays(rng, world, RAYS)
            chord = 1e-6 if k == 0 and name in cast.ARCS else 1e-4
            found = ask(rng, tools, moves, world, block(box), drawn, chord=chord, every=3)
            report.join(found, f"{shape}, {name}, tool {k}: {tools[1].pieces} {_path(moves)}")
            pieces |= _faces(tools[1])
        for way in cast.WAYS:
            assert report.counts[f"hit {way}"] >= 5, (name, way)
        total.join(report, name)
    assert_none(total)
    _assert_all_hit(total, pieces)


def _path(moves: Moves) -> str:
    return (
        f"{moves.start.tolist()} {moves.end.tolist()} {moves.center.tolist()} {moves.turn.tolist()}"
    )


def _faces(tool: FakeTool) -> set[str]:
    """Return the kinds of face that a tool's cutting part has."""
    faces = {"low end"} if tool.pieces[0].r_low > 0 else set()
    for p in (p for p in tool.pieces if p.cutting):
        straight = "cylinder" if p.r_low == p.r_high else "opening cone"
        straight = "closing cone" if p.r_high < p.r_low else straight
        faces.add(("cove" if p.is_cove else "bulge") if p.arc else straight)
    return faces


def _assert_all_hit(report: Report, faces: set[str]) -> None:
    """Each kind of face was met by each class of ray that can meet it, and rays missed, too."""
    counts = report.counts
    for way in cast.WAYS:
        for face in faces:
            upright_wall = face == "cylinder" and way in ("up", "down")
            on_the_flat = face == "low end" and way in ("level", "along an axis")
            if not (upright_wall or on_the_flat):
                assert counts[f"{face} {way}"] >= 3, (face, way)
        assert counts[f"miss {way}"] >= 3, way
    assert counts["one label"] > 2 * counts["several labels"]
    assert counts["normals"] > 0.7 * counts["one label"]
    assert counts["raw"] > 200
    assert counts["cut off"] > 50


# --- programs ------------------------------------------------------------------------------------


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
        drawn = cast.random_rays(rng, World.of(moves, tools, box), 28)
        span = (0.0, math.inf) if k % 2 else (float(rng.uniform(0, 20)), float(rng.uniform(30, 60)))
        found = ask(rng, tools, moves, world, block(box), drawn, as_of=as_of, span=span)
        report.join(found, f"program {seed} {k}")
    assert_none(report)
    assert report.counts["one label"] > 80
    assert report.counts["cut off"] > 20


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


def test_faces_are_named() -> None:
    """The kinds that are counted above are those of the cast."""
    rng = np.random.default_rng(0)
    met = set().union(*(_faces(cast.random_tool(rng, s)) for s in cast.SHAPES for _ in range(9)))
    assert met == set(FACES) - {"high end"}
