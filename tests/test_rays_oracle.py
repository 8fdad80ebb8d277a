"""Rays against a search: over 20,000 random tools, moves and lines."""

from __future__ import annotations

import numpy as np
import oracle_cast as cast
import pytest
from oracle_ask import ask, assert_none, block
from oracle_compare import Report
from oracle_rays import FACES, FakeTool, World, arc_move, make_moves
from proud.moves import Moves
from proud.pieces import LABELS, SPLIT_ERROR, arc_piece, line_piece
from proud.rays import Sweeps, rays

TOOLS = 4
RAYS = 36
"""Of one tool and move: 13 shapes, 11 moves, 4 tools, 36 rays are 20,592 cases."""
NO_HINTS = np.empty(0)


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
        assert counts[f"miss {way}"] >= 1, way
    assert counts["one label"] > 2 * counts["several labels"]
    assert counts["normals"] > 0.7 * counts["one label"]
    assert counts["raw"] > 200
    assert counts["cut off"] > 50


def test_faces_are_named() -> None:
    """The kinds that are counted above are those of the cast."""
    rng = np.random.default_rng(0)
    met = set().union(*(_faces(cast.random_tool(rng, s)) for s in cast.SHAPES for _ in range(9)))
    assert met == set(FACES) - {"high end"}


def test_split_coves_are_within_their_bound() -> None:
    """Ends on a cove of a tool that stands still: their distance to its circle, in closed form."""
    rng, R, rc = np.random.default_rng(5), 2.2, 1.3
    pieces = (
        arc_piece("corner", 0.0, rc, R, 0.0, rc, cove=True),
        line_piece("side", rc, R, 2.5, R),
    )
    start = np.zeros(3)
    moves = make_moves([{"start": start, "end": start}])
    sweeps = Sweeps(moves, {1: FakeTool(pieces)})
    goal = rng.uniform((-R, -R, 0.0), (R, R, rc), (4000, 3))
    way = rng.normal(size=(4000, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    origins = goal - 9.0 * way
    metal = rays(origins, way, sweeps, block(np.array([[-50.0] * 3, [50.0] * 3])))
    ray = np.repeat(np.arange(len(goal)), np.diff(metal.offsets))
    far = []
    for at, label in ((metal.enter, metal.enter_label), (metal.leave, metal.leave_label)):
        place = origins[ray] + at[:, None] * way[ray]
        rho, h = np.hypot(place[:, 0], place[:, 1]), place[:, 2]
        on = (label == LABELS.index("corner")) & (h > 1e-6) & (h < rc - 1e-6)
        far.append(np.abs(np.hypot(rho - R, h) - rc)[on])
    off = np.concatenate(far)
    assert len(off) > 1000
    assert off.max() <= SPLIT_ERROR * (1 + 1e-6)
