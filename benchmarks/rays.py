"""Speed of rays through what the moves left, with baselines timed beside it in the same run.

Run: python benchmarks/rays.py [--quick] [--json FILE] [--part growth|million|mesh|tests ...]
Times are of the processor (all threads together) and of the clock; the machine's load is shown,
because the clock counts what others run.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import os
import platform
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray
from proud.kernels.rays import collect
from proud.moves import ARC, LINE, Moves
from proud.pieces import Piece, arc_piece, line_piece
from proud.rays import Metal, Sweeps, rays
from proud.stock import Block
from proud.tools import Tool

Floats = NDArray[np.float64]
BULL = Tool(1, "bull", "bull", 6.0, corner_radius=1.0, cutting_length=12.0)
TOOLS = {1: BULL, 2: Tool(2, "flat", "flat", 8.0, cutting_length=12.0)}
AREA = 100.0
"""Square millimetres of block for each move of a sparse program."""
REACH = 6.0
"""How far a wall ray looks, mm."""
DEEPEST = 10.0
EVERYWHERE = (-math.inf, math.inf)


@dataclasses.dataclass(frozen=True)
class Timed:
    """Seconds of one call and what it gave."""

    cpu: float
    wall: float
    answer: Any


def timed(work: Callable[[], Any]) -> Timed:
    """Return the times of one call."""
    cpu, wall = time.process_time(), time.perf_counter()
    answer = work()
    return Timed(time.process_time() - cpu, time.perf_counter() - wall, answer)


def make_moves(start: Floats, end: Floats, center: Floats, turn: Floats, tool: Any = 1) -> Moves:
    """Return feed moves; those that turn are arcs."""
    n = len(start)
    whole = np.zeros(n, np.int32)
    return Moves(
        start=start, end=end, center=center, kind=np.where(turn != 0, ARC, LINE).astype(np.int8),
        rapid=np.zeros(n, bool), turn=turn, setup=whole, tool=(whole + tool).astype(np.int32),
        pass_number=whole + 1, h_register=whole, feed=np.ones(n), spindle=np.ones(n),
        line=np.arange(1, n + 1, dtype=np.int32),
    )  # fmt: skip


def layout(n: int, side: float, rng: np.random.Generator, only_lines: bool = False) -> Moves:
    """Return level lines (60 %), level arcs (30 %) and ramps (10 %) strewn over a square."""
    share = np.zeros(n) if only_lines else rng.random(n)
    start = np.column_stack([rng.uniform(0, side, (n, 2)), -2.0 * rng.integers(1, 6, n)])
    heading, length = rng.uniform(0, 2 * math.pi, n), rng.uniform(4.0, 16.0, n)
    way = np.column_stack([np.cos(heading), np.sin(heading)])
    end = start.copy()
    end[:, :2] += length[:, None] * way
    end[share > 0.9, 2] = start[share > 0.9, 2] + 1.5
    round_ = (share > 0.6) & (share <= 0.9)
    radius = rng.uniform(3.0, 12.0, n)
    turn = np.where(round_, rng.choice([-1.0, 1.0], n) * rng.uniform(0.5, 3.5, n), 0.0)
    center = np.where(round_[:, None], start[:, :2] + radius[:, None] * way, 0.0)
    c, s, arm = np.cos(turn), np.sin(turn), start[:, :2] - center
    turned = center + np.column_stack(
        [c * arm[:, 0] - s * arm[:, 1], s * arm[:, 0] + c * arm[:, 1]]
    )
    end[:, :2] = np.where(round_[:, None], turned, end[:, :2])
    return make_moves(start, end, center, turn)


def layered(base: Moves, layers: int) -> Moves:
    """Return the same paths in so many depths of cut, from the top down."""
    order = np.repeat(np.arange(layers), len(base))
    moves = base[np.tile(np.arange(len(base)), layers)]
    start, end = moves.start.copy(), moves.end.copy()
    for ends in (start, end):
        ends[:, 2] *= (order + 1) / layers
    rows = np.arange(1, len(moves) + 1, dtype=np.int32)
    return dataclasses.replace(moves, start=start, end=end, line=rows)


def block(side: float) -> Block:
    """Return a block that stands 15 mm over its foot, and a margin round the square."""
    return Block((-20.0, -20.0, -15.0), (side + 20.0, side + 20.0, 0.0), 1.0, "")


def beside(base: Moves, n: int, rng: np.random.Generator, tool: Tool = BULL) -> Floats:
    """Return places up to 2 mm off the walls that moves make."""
    pick = rng.integers(0, len(base), n)
    m, share, side = base[pick], rng.random(n)[:, None], rng.choice([-1.0, 1.0], n)[:, None]
    place = m.start + share * (m.end - m.start)
    way = (m.end - m.start)[:, :2]
    normal = np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(*way.T)[:, None]
    angle, arm = m.turn * share[:, 0], (m.start[:, :2] - m.center)
    c, s = np.cos(angle), np.sin(angle)
    arm = np.column_stack([c * arm[:, 0] - s * arm[:, 1], s * arm[:, 0] + c * arm[:, 1]])
    round_ = (m.turn != 0)[:, None]
    place[:, :2] = np.where(round_, m.center + arm, place[:, :2])
    normal = np.where(round_, arm / np.hypot(*arm.T)[:, None], normal)
    off = tool.diameter / 2 + rng.uniform(0.05, 2.0, n)
    place[:, :2] += side * off[:, None] * normal
    place[:, 2] += rng.uniform(0.05, 0.95, n) * -place[:, 2]
    return place


def level_ways(n: int, rng: np.random.Generator) -> Floats:
    """Return level directions of random azimuth."""
    azimuth = rng.uniform(0, 2 * math.pi, n)
    return np.column_stack([np.cos(azimuth), np.sin(azimuth), np.zeros(n)])


def any_ways(n: int, rng: np.random.Generator) -> Floats:
    """Return directions in space."""
    way = rng.normal(size=(n, 3))
    return way / np.sqrt((way**2).sum(axis=1))[:, None]


def wall_rays(
    base: Moves, n: int, sweeps: Sweeps, stock: Block, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return level rays that start in metal and leave it within `REACH`."""
    places, ways, have = [], [], 0
    while have < n:
        place, way = beside(base, min(2 * n, 100_000), rng), level_ways(min(2 * n, 100_000), rng)
        metal = rays(place, way, sweeps, stock, span=(0.0, REACH))
        first = metal.first()
        good = first >= 0
        at = first[good]
        good[good] = (metal.enter[at] == 0.0) & (metal.leave[at] < REACH)
        places.append(place[good])
        ways.append(way[good])
        have += int(good.sum())
    return np.concatenate(places)[:n], np.concatenate(ways)[:n]


@numba.njit(error_model="numpy")
def _count(lines, span, limit, tree, moves):
    total = 0
    work = (
        np.empty((100_000, 2)), np.empty((100_000, 3), np.int32), np.empty(64),
        np.empty((64, 2), np.int64), np.empty(128, np.int64),
    )  # fmt: skip
    for r in range(len(lines)):
        a = lines[r]
        line = (a[0], a[1], a[2], a[3], a[4], a[5])
        total += collect(line, span[0], span[1], limit, tree, moves, work, r)
    return total


def intervals_a_ray(
    places: Floats, ways: Floats, sweeps: Sweeps, span: tuple[float, float]
) -> float:
    """Return how many stretches of air, one for each move, piece and chord, a ray meets."""
    lines = np.hstack([places, ways])[:2000]
    tree = sweeps.tree
    seen = np.full(max(1, sweeps.count), -1, np.int64)
    boxes = (tree.boxes, tree.first, tree.things, tree.own, seen)
    return _count(lines, span, sweeps.count, boxes, sweeps.moves_tuple) / len(lines)


# --- growth with the number of moves -------------------------------------------------------------


def ask(
    name: str, places: Floats, ways: Floats, sweeps: Sweeps, stock: Block, span: tuple[float, float]
) -> dict[str, Any]:
    """Return times of one set of rays as a row of the table."""
    spent = timed(lambda: rays(places, ways, sweeps, stock, span=span))
    return {
        "rays": name,
        "count": len(places),
        "us_cpu": spent.cpu / len(places) * 1e6,
        "us_wall": spent.wall / len(places) * 1e6,
        "intervals": intervals_a_ray(places, ways, sweeps, span),
    }


def growth_row(n: int, dense: bool, count: int, side: float) -> list[dict[str, Any]]:
    """Return rows of one program."""
    rng = np.random.default_rng(n)
    base = layout(1000 if dense else n, side, rng)
    moves = layered(base, n // 1000) if dense else base
    stock = block(side)
    built = timed(lambda: Sweeps(moves, TOOLS))
    sweeps = built.answer
    few = count // 10
    place, way = wall_rays(base, count, sweeps, stock, rng)
    slant = any_ways(few, rng)
    upright = np.tile([0.0, 0.0, -1.0], (few, 1))
    sets = [
        ("wall", place, way, (0.0, REACH)),
        ("slanted", place[:few], slant, (0.0, REACH)),
        ("upright", place[:few], upright, EVERYWHERE),
        ("long", place[: max(200, few // 10)], way[: max(200, few // 10)], EVERYWHERE),
    ]
    head = {
        "moves": n,
        "build_s": built.wall,
        "build_cpu_s": built.cpu,
        "boxes": len(sweeps.tree.own),
    }
    return [head | ask(name, a, b, sweeps, stock, span) for name, a, b, span in sets]


def growth(quick: bool) -> list[dict[str, Any]]:
    """Return and print times over programs of more and more moves."""
    found = []
    sizes = (1000, 10_000) if quick else (1000, 10_000, 100_000, 1_000_000)
    for dense in (False, True):
        what = "the same paths in ever more depths of cut" if dense else "a block that grows along"
        print(f"\nGrowth with the number of moves: {what}", flush=True)
        print("    moves  build s   rays      us CPU  us clock  intervals   x per decade")
        last: dict[str, float] = {}
        for n in sizes:
            count = 2000 if quick else 100_000 // (max(1, n // 2000) if dense else 1)
            side = math.sqrt((1000 if dense else n) * AREA)
            for row in growth_row(n, dense, max(count, 2000), side):
                kind = row["rays"]
                times = row["us_cpu"] / last[kind] if kind in last else None
                last[kind] = row["us_cpu"]
                found.append(row | {"series": "dense" if dense else "sparse", "ratio": times})
                said = f"{times:8.2f}" if times else "       -"
                print(
                    f"  {n:7} {row['build_s']:8.2f}   {kind:8} {row['us_cpu']:8.2f} "
                    f"{row['us_wall']:9.2f} {row['intervals']:10.1f}   {said}", flush=True,
                )  # fmt: skip
    return found


def million(quick: bool) -> list[dict[str, Any]]:
    """Return and print the time of a million wall rays through 100,000 moves."""
    n, count = (10_000, 20_000) if quick else (100_000, 1_000_000)
    rng, side = np.random.default_rng(7), math.sqrt(n * AREA)
    moves, stock = layout(n, side, rng), block(side)
    built = timed(lambda: Sweeps(moves, TOOLS))
    place, way = wall_rays(moves, count, built.answer, stock, rng)
    spent = timed(lambda: rays(place, way, built.answer, stock, span=(0.0, REACH)))
    row = {
        "moves": n, "count": count, "build_s": built.wall, "cpu_s": spent.cpu,
        "wall_s": spent.wall, "cores": os.cpu_count(),
    }  # fmt: skip
    print(
        f"\n{count} wall rays through {n} moves on {row['cores']} cores: {spent.wall:.2f} s "
        f"({spent.cpu:.2f} s of processors), and {built.wall:.2f} s to prepare the moves"
    )
    return [row]


# --- against a triangle mesh ---------------------------------------------------------------------


def ring_profile(tool: Tool, tolerance: float) -> Floats:
    """Return (r, z) of a tool's edge from the axis to the top; chords half a tolerance off."""
    R, rc, top = tool.diameter / 2, tool.corner_radius, tool.cutting_length or 0.0
    edge = [(R - rc, 0.0)]
    if rc > 0:
        steps = math.ceil(math.pi / 2 / (2 * math.acos(1 - tolerance / 2 / rc)))
        angle = np.linspace(0, math.pi / 2, steps + 1)[1:]
        edge += list(zip(R - rc + rc * np.sin(angle), rc - rc * np.cos(angle), strict=True))
    return np.array([*edge, (R, top)])


def swept_solid(m3: Any, start: Floats, end: Floats, tool: Tool, tolerance: float) -> Any:
    """Return what a tool sweeps on a level line: the hull of half of it at either end."""
    edge = ring_profile(tool, tolerance)
    steps = math.ceil(math.pi / (2 * math.acos(1 - tolerance / tool.diameter)))
    heading = math.atan2(end[1] - start[1], end[0] - start[0])
    halves = []
    for tip, back in ((start, math.pi), (end, 0.0)):
        angle = heading + back + np.linspace(-math.pi / 2, math.pi / 2, steps + 1)
        x = tip[0] + edge[:, :1] * np.cos(angle)
        y = tip[1] + edge[:, :1] * np.sin(angle)
        z = np.broadcast_to(tip[2] + edge[:, 1:], x.shape)
        halves.append(np.stack([x, y, z], axis=-1).reshape(-1, 3))
    return m3.Manifold.hull_points(np.concatenate(halves))


def removed_mesh(moves: Moves, stock: Block, tolerance: float) -> tuple[Floats, Any]:
    """Return vertices and triangles of what is left of the block."""
    import manifold3d as m3

    solids = [
        swept_solid(m3, moves.start[i], moves.end[i], TOOLS[int(moves.tool[i])], tolerance)
        for i in range(len(moves))
    ]
    low, high = np.array(stock.low), np.array(stock.high)
    raw = m3.Manifold.cube(tuple(high - low)).translate(tuple(low))
    mesh = (raw - m3.Manifold.batch_boolean(solids, m3.OpType.Add)).to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)


def embree_scene(vertices: Floats, triangles: Any) -> Any:
    """Return a scene of one mesh, its tree made by a first ray; single precision, as it is."""
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene

    scene = EmbreeScene()
    TriangleMesh(scene, vertices.astype(np.float32), triangles.astype(np.int32))
    scene.run(np.zeros((1, 3), np.float32), np.array([[0, 0, 1]], np.float32), output=1)
    return scene


def first_ends(metal: Metal, from_metal: bool) -> tuple[Floats, Floats]:
    """Return distance and normal of the first face that each ray meets; NaN: none."""
    first = metal.first()
    some = first >= 0
    ends, normals = np.full(len(first), np.nan), np.full((len(first), 3), np.nan)
    ends[some] = (metal.leave if from_metal else metal.enter)[first[some]]
    normals[some] = (metal.leave_normal if from_metal else metal.enter_normal)[first[some]]
    return ends, normals


def mesh_row(
    name: str, places: Floats, ways: Floats, scene: Any, sweeps: Sweeps, stock: Block
) -> dict[str, Any]:
    """Return times of one set of rays, one thread each, and how far apart the answers are."""
    theirs = timed(
        lambda: scene.run(places.astype(np.float32), ways.astype(np.float32), output=1)["tfar"]
    )
    ours = timed(lambda: rays(places, ways, sweeps, stock, threads=1))
    ends, normals = first_ends(ours.answer, name == "wall")
    hit = np.isfinite(ends)
    far = np.where(theirs.answer < 1e30, theirs.answer, np.nan)
    off = np.abs(far - ends) * np.abs((normals * ways).sum(axis=1))
    both = hit & np.isfinite(far)
    return {
        "rays": name, "count": len(places), "embree_us": theirs.cpu / len(places) * 1e6,
        "us_cpu": ours.cpu / len(places) * 1e6, "off": off[both],
        "one_only": int((hit != np.isfinite(far)).sum()),
    }  # fmt: skip


def from_above(places: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return rays that come down at a slant from 5 mm over the block onto given places."""
    way = any_ways(len(places), rng)
    way[:, 2] = -np.abs(way[:, 2]) - 0.3
    way /= np.sqrt((way**2).sum(axis=1))[:, None]
    return places + ((5.0 - places[:, 2]) / way[:, 2])[:, None] * way, way


def against_mesh(quick: bool) -> list[dict[str, Any]]:
    """Return and print the comparison with rays on triangles."""
    try:
        import embreex  # noqa: F401
        import manifold3d  # noqa: F401
    except ImportError as missing:
        print(f"\nNot compared with triangles: {missing}; pip install embreex manifold3d")
        return []
    rng = np.random.default_rng(3)
    n, count = (20, 2000) if quick else (100, 100_000)
    side = math.sqrt(n * AREA)
    moves = layout(n, side, rng, only_lines=True)
    moves = dataclasses.replace(moves, tool=rng.integers(1, 3, n).astype(np.int32))
    stock = block(side)
    built = timed(lambda: Sweeps(moves, TOOLS))
    sweeps = built.answer
    place, way = wall_rays(moves, count, sweeps, stock, rng)
    sets = [("wall", place, way), ("from above", *from_above(place, rng))]
    print(f"\nAgainst embree on triangles: {n} level lines of a bull and a flat tool, one thread")
    print("  facets off  triangles  mesh s  scene s   rays        embree us  proud us  middle"
          "     99 %      worst    above facets'")  # fmt: skip
    found = []
    for tolerance in (1e-2, 1e-3) if quick else (1e-2, 1e-3, 1e-4):
        mesh = timed(lambda t=tolerance: removed_mesh(moves, stock, t))
        scene = timed(lambda m=mesh: embree_scene(*m.answer))
        for name, a, b in sets:
            row = mesh_row(name, a, b, scene.answer, sweeps, stock)
            off = row.pop("off")
            row |= {
                "tolerance": tolerance, "triangles": len(mesh.answer[1]), "mesh_s": mesh.cpu,
                "scene_s": scene.cpu, "build_s": built.cpu, "off_middle": float(np.median(off)),
                "off_99": float(np.quantile(off, 0.99)), "off_worst": float(off.max()),
                "above": int((off > tolerance).sum()),
            }  # fmt: skip
            found.append(row)
            print(
                f"  {tolerance:10.0e} {row['triangles']:10} {mesh.cpu:7.2f} {scene.cpu:8.2f}   "
                f"{name:10} {row['embree_us']:10.2f} {row['us_cpu']:9.2f}  "
                f"{row['off_middle']:.1e}  {row['off_99']:.1e}  {row['off_worst']:.1e}  "
                f"{row['above']:5} of {row['count']}", flush=True,
            )  # fmt: skip
    return found


# --- tests of one piece on one move --------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class OnePiece:
    """A tool of one piece."""

    pieces: tuple[Piece, ...]


def tests(quick: bool) -> list[dict[str, Any]]:
    """Return and print the time of one piece on one move for one ray."""
    n, count = 16, 500 if quick else 20_000
    rng = np.random.default_rng(5)
    cylinder = line_piece("side", 0.0, 3.0, 10.0, 3.0)
    cone = line_piece("side", 0.0, 1.0, 4.0, 3.0)
    corner = arc_piece("corner", 0.0, 1.0, 2.0, 1.0, 1.0)
    level, slant = level_ways(count, rng), any_ways(count, rng)
    down = np.tile([0.0, 0.0, -1.0], (count, 1))
    cases = [
        ("level stadium", cylinder, "level", level), ("arc band", cylinder, "arc", level),
        ("frustum, level", cone, "level", slant), ("frustum, ramp", cone, "ramp", slant),
        ("round, level", corner, "level", slant), ("round, ramp", corner, "ramp", slant),
        ("cylinder, chords", cylinder, "arc", slant), ("frustum, chords", cone, "arc", slant),
        ("round, chords", corner, "arc", slant), ("cylinder, helix", cylinder, "helix", level),
        ("round, helix", corner, "helix", level), ("upright, level", corner, "level", down),
        ("upright, ramp", corner, "ramp", down), ("upright, helix", cylinder, "helix", down),
    ]  # fmt: skip
    print("\nOne convex piece on one move, one thread, all in (tree, sorting, normals)")
    print("  kind                 ns a test   million a second   chords of the move   met a ray")
    return [one_kind(*case, n, rng) for case in cases]


def same_paths(kind: str, n: int, piece: Piece) -> Moves:
    """Return n paths through the same place, each a little above the one before."""
    start = np.zeros((n, 3))
    start[:, 2] = 0.01 * piece.z_high * np.arange(n) / n
    end = start + np.array([10.0, 0.0, 1.0 if kind == "ramp" else 0.0])
    center, turn = np.zeros((n, 2)), np.zeros(n)
    if kind in ("arc", "helix"):
        center[:, 1], turn[:] = 10.0, 1.5
        end[:, 0], end[:, 1] = 10.0 * math.sin(1.5), 10.0 - 10.0 * math.cos(1.5)
        end[:, 2] = start[:, 2] + (0.5 * piece.z_high if kind == "helix" else 0.0)
    return make_moves(start, end, center, turn)


def one_kind(
    name: str, piece: Piece, kind: str, ways: Floats, n: int, rng: np.random.Generator
) -> dict[str, Any]:
    """Return the time of a test; rays pass near the middle of the path, so that all are needed."""
    moves = same_paths(kind, n, piece)
    sweeps = Sweeps(moves, {1: OnePiece((piece,))})
    middle = np.array([7.0, 2.5, 0.0]) if kind in ("arc", "helix") else np.array([5.0, 0.0, 0.0])
    count = len(ways)
    place = middle + rng.uniform(-2.0, 2.0, (count, 3)) * [1.0, 1.0, 0.0]
    place[:, 2] = rng.uniform(0.05, 0.9, count) * piece.z_high + (0.2 if kind == "ramp" else 0.0)
    stock = Block((-60.0, -60.0, -60.0), (60.0, 60.0, 60.0), 1.0, "")
    rays(place[:10], ways[:10], sweeps, stock, span=EVERYWHERE, threads=1)
    spent = timed(lambda: rays(place, ways, sweeps, stock, span=EVERYWHERE, threads=1))
    ns = spent.cpu / (count * n) * 1e9
    chords = int(sweeps.paths[0, 11])
    met = intervals_a_ray(place, ways, sweeps, EVERYWHERE) / n
    print(f"  {name:18} {ns:11.0f} {1e3 / ns:18.2f} {chords or '-':>20} {met:11.1f}", flush=True)
    return {"kind": name, "ns": ns, "per_second": 1e9 / ns, "chords": chords, "met": met}


# --- all -----------------------------------------------------------------------------------------


def machine() -> dict[str, Any]:
    """Return what the times hold for."""
    return {
        "python": platform.python_version(), "numba": numba.__version__, "numpy": np.__version__,
        "cores": os.cpu_count(), "machine": platform.machine(), "load": os.getloadavg()[0],
    }  # fmt: skip


def warm() -> None:
    """Have the kernels compiled before any time is taken."""
    rng = np.random.default_rng(0)
    moves = layout(100, 100.0, rng)
    sweeps = Sweeps(moves, TOOLS)
    place, way = wall_rays(moves, 20, sweeps, block(100.0), rng)
    intervals_a_ray(place, way, sweeps, (0.0, REACH))


def summary(found: dict[str, Any]) -> None:
    """Print what matters, good or bad, in a few lines."""
    print(f"\nIn short (load {found['machine']['load']:.1f} before, {os.getloadavg()[0]:.1f} now)")
    for series in ("sparse", "dense"):
        for kind in ("wall", "slanted", "upright", "long"):
            rows = [
                r for r in found.get("growth", []) if (r["series"], r["rays"]) == (series, kind)
            ]
            if len(rows) > 1:
                a, b = rows[0], rows[-1]
                power = math.log(b["us_cpu"] / a["us_cpu"]) / math.log(b["moves"] / a["moves"])
                print(
                    f"  {series:6} {kind:8} {a['us_cpu']:8.2f} -> {b['us_cpu']:8.2f} us a ray from "
                    f"{a['moves']} to {b['moves']} moves: moves^{power:.2f}; intervals "
                    f"{a['intervals']:.1f} -> {b['intervals']:.1f}"
                )
    for r in found.get("million", []):
        print(
            f"  {r['count']} wall rays, {r['moves']} moves: {r['wall_s']:.2f} s "
            f"({r['cpu_s']:.2f} s of processors), goal 10 s"
        )
    for r in found.get("mesh", []):
        mesh = r["mesh_s"] + r["scene_s"] + r["count"] * r["embree_us"] / 1e6
        mine = r["build_s"] + r["count"] * r["us_cpu"] / 1e6
        print(
            f"  facets {r['tolerance']:.0e} mm, {r['count']} rays {r['rays']}: {mine:.2f} s, by "
            f"triangles {mesh:.2f} s ({mesh / mine:.2f} times); per ray alone "
            f"{r['us_cpu'] / r['embree_us']:.1f} times embree's"
        )


def main() -> None:
    """Run the parts asked for and print all comparisons."""
    parts: dict[str, Callable[[bool], list[dict[str, Any]]]] = {
        "growth": growth, "million": million, "mesh": against_mesh, "tests": tests,
    }  # fmt: skip
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="small sizes, to see that it runs")
    parser.add_argument("--json", type=Path, help="file for the numbers")
    parser.add_argument("--part", choices=parts, nargs="+", default=list(parts))
    given = parser.parse_args()
    found: dict[str, Any] = {"machine": machine()}
    print(", ".join(f"{k} {v}" for k, v in found["machine"].items()))
    warm()
    for name in given.part:
        found[name] = parts[name](given.quick)
    summary(found)
    if given.json:
        given.json.write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
