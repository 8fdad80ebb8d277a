"""A ball that lies on the part model: by hand, by dense search, and cut by the engine.

Where a ball rests is where it first is R from the part (common practice, no source); the search
takes the highest sphere about any of many points of the part.
"""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from helpers_job import tool
from helpers_passes import columns, pass_job, pass_text
from proud.contour import Piece
from proud.errors import BadInput
from proud.passes.surface import Surface, follow

R = 3.0
EXACT = 1e-9
ROOT = math.sqrt(0.5)


def roof() -> trimesh.Trimesh:
    """A ridge along Y at x = 0, z = 0; its slopes fall by 45 degrees to z = -6, 20 wide in Y."""
    points = [(x, y, z) for y in (-10, 10) for x, z in ((-6, -6), (6, -6), (0, 0))]
    ends = [(0, 1, 2), (3, 5, 4)]
    sides = [(0, 2, 3), (2, 5, 3), (1, 4, 2), (4, 5, 2), (0, 3, 1), (1, 3, 4)]
    mesh = trimesh.Trimesh(points, ends + sides)
    assert mesh.is_watertight
    return mesh


@pytest.fixture
def ridge(tmp_path) -> Surface:
    roof().export(tmp_path / "part.stl")
    return Surface(tmp_path / "part.stl", "mm", R, -9.0)


def test_where_the_ball_rests_by_hand(ridge):
    """On the ridge at its own height; on a slope R / cos 45 over the plane, less R; past the
    slope's foot on that edge; past the ends on their edges; far off on the lowest plane."""
    over = R / ROOT - R
    end = math.sqrt(R * R - 1)
    places = {
        (0.0, 0.0): 0.0,
        (1.0, 3.0): math.sqrt(R * R - 1) - R,  # still on the ridge: 1 < 3 sin 45
        (3.0, -2.0): -3 + over,
        (-4.0, 0.5): -4 + over,
        (8.0, 0.0): -8 + over,  # touches at 8 - 3 sin 45, short of the foot
        (8.5, 0.0): -6 + math.sqrt(R * R - 6.25) - R,
        (0.0, 11.0): end - R,
        (7.0, 12.0): -7 + math.sqrt(R * R - 4) / ROOT - R,  # on the slanted edge at y = 10
        (20.0, 0.0): -9.0,
        (0.0, 13.001): -9.0,
    }
    wanted = np.array(list(places.values()))
    found = ridge.tips(np.array(list(places)))
    assert found == pytest.approx(wanted, abs=EXACT)


def searched(
    mesh: trimesh.Trimesh, places: np.ndarray, radius: float, fine: int = 60
) -> np.ndarray:
    """z of the tip over a dense grid of points on every facet."""
    u, v = (w.ravel() for w in np.meshgrid(np.linspace(0, 1, fine), np.linspace(0, 1, fine)))
    u, v = u[u + v <= 1], v[u + v <= 1]
    weights = np.column_stack([1 - u - v, u, v])
    points = np.einsum("pk,fkc->fpc", weights, mesh.triangles).reshape(-1, 3)
    best = np.full(len(places), -np.inf)
    for n, place in enumerate(places):
        room = radius**2 - ((points[:, :2] - place) ** 2).sum(axis=1)
        held = room >= 0
        if held.any():
            best[n] = (points[held, 2] + np.sqrt(room[held])).max() - radius
    return best


def test_no_point_of_a_part_is_nearer_than_the_ball(tmp_path):
    """A dome and a slanted block: exact heights are never below the search, and little above it."""
    block = trimesh.creation.box((7, 5, 4))
    block.apply_transform(trimesh.transformations.rotation_matrix(0.6, (1, 2, 0.3)))
    ball = trimesh.creation.icosphere(subdivisions=1, radius=4)
    ball.apply_translation((11, 0, -1))
    mesh = trimesh.util.concatenate([block, ball])
    mesh.export(tmp_path / "part.stl")
    saved = trimesh.load_mesh(tmp_path / "part.stl")
    rng = np.random.default_rng(5)
    places = rng.uniform((-6, -6), (17, 6), (150, 2))
    found = Surface(tmp_path / "part.stl", "mm", 1.5, -50.0).tips(places)
    slow = searched(saved, places, 1.5, 40)
    seen = np.isfinite(slow)
    assert seen.sum() > 80
    assert (found[seen] >= slow[seen] - 1e-9).all()
    assert (found[seen] - slow[seen] <= 0.05).mean() > 0.95
    assert np.median(found[seen] - slow[seen]) < 0.01


def test_moves_follow_the_balls_own_way_within_the_tolerance(ridge):
    for tolerance in (1e-2, 1e-3):
        way = follow(ridge, Piece((-12, 2), (12, 3)), tolerance)
        x = np.linspace(-12, 12, 5001)
        exact = ridge.tips(np.column_stack([x, 2 + (x + 12) / 24]))
        steep = np.abs(np.abs(x) - 9) < 0.05  # a drop past the foot, as good as upright
        off = np.abs(np.interp(x, way[:, 0], way[:, 2]) - exact)
        assert off[~steep].max() <= tolerance
        assert (np.diff(way[:, 0]) > 0).all()
    assert len(follow(ridge, Piece((0, -5), (0, 5)), 1e-3)) == 2


KEYS = 'rectangle = { low = [-10, -6], high = [10, 6] }\nbottom = -9\nsurface = "part"\nscallop_height = 0.05\nangle = 90\n'


def job_of(tmp_path, keys: str):
    roof().export(tmp_path / "part.stl")
    tools = [tool(1, "ball", 6.0)]
    return pass_job(tmp_path, pass_text("raster", keys), tools, high=(20, 15, 1), part="part.stl")


@pytest.mark.parametrize("raised", [0.0, 0.3])
def test_the_part_measured(tmp_path, raised):
    """Never under the part by more than the tolerance; on the slopes cusps of lines s apart in
    plan are s / cos 45 apart along them; the ridge's sides as the ball leaves them."""
    job = job_of(tmp_path, KEYS + f"allowance_bottom = {raised}\n")
    rng = np.random.default_rng(3)
    places = rng.uniform((-4.9, -5.9), (4.9, 5.9), (1500, 2))
    part = -np.abs(places[:, 0]) + raised
    above = columns(job, [tuple(p) for p in places.tolist()]) - part
    assert above.min() >= -1e-3
    step = 20 / math.ceil(20 / (2 * math.sqrt(9 - 2.95**2)))
    along = step / ROOT
    cusp = (R - math.sqrt(R * R - along * along / 4)) / ROOT
    flank = np.abs(places[:, 0]) > 2.2
    assert above[flank].max() <= cusp + 2e-3
    assert above[flank].max() >= 0.8 * cusp
    assert job.program.notes == ()


BAD = {
    "no part": (KEYS, None, "passes[1].surface: the job has no part model; give it [part] model"),
    "a bull": (KEYS, "bull", 'passes[1].tool: a part model is followed by a ball; tool 1 is "bull"'),
    "a ramp": (KEYS + 'approach = { kind = "ramp" }\n', "ball", "passes[1].approach.kind: ramp goes with level ground; take a plunge here"),
    "tolerance of level ground": (KEYS.replace('surface = "part"\n', "tolerance = 0.01\n"), "ball", 'passes[1].tolerance: goes with surface = "part"'),
    "plane too low": (KEYS + "allowance_bottom = 2\nretract_plane = 1\n", "ball", "passes[1].retract_plane: 1.000 mm is below the part under the ball, 2.000 mm"),
    "another surface": (KEYS.replace('"part"', '"stock"'), "ball", 'passes[1].surface: "stock" is not allowed; allowed: part'),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    keys, shape, says = BAD[case]
    roof().export(tmp_path / "part.stl")
    tools = [tool(1, "bull", 6.0, RE=1.0) if shape == "bull" else tool(1, "ball", 6.0)]
    job = pass_job(tmp_path, pass_text("raster", keys), tools, part="part.stl" if shape else "")
    with pytest.raises(BadInput) as caught:
        job.program  # noqa: B018 - reads the pass list
    assert says in str(caught.value)
