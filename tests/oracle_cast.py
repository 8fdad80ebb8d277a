"""Random tools, moves and rays for the oracle: every shape, every move, every class of ray."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
from numpy.typing import NDArray
from oracle_rays import FakeTool, World, arc_move, make_moves
from proud.moves import Moves
from proud.pieces import Piece, arc_piece, line_piece

Floats = NDArray[np.float64]
Rng = np.random.Generator


def log_uniform(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


# --- tools ---------------------------------------------------------------------------------------


def flat(R: float, top: float) -> list[Piece]:
    return [line_piece("side", 0.0, R, top, R)]


def bull(R: float, corner: float, top: float) -> list[Piece]:
    """A flat end with a corner radius; where the cutting part ends inside the round, there."""
    d = R - corner
    if top <= corner:
        return [arc_piece("corner", 0.0, top, d, corner, corner)]
    return [arc_piece("corner", 0.0, corner, d, corner, corner), *_flank(corner, R, top)]


def cone(label: str, tip: float, slope: float, R: float, top: float) -> list[Piece]:
    """A cone of `slope` mm of radius per mm of height from `tip` to R, then a cylinder."""
    height = (R - tip) / slope
    return [line_piece(label, 0.0, tip, height, R), *_flank(height, R, top + height)]


def taper_ball(ball: float, angle: float, R: float, top: float) -> list[Piece]:
    touch, start = ball * (1 - math.sin(angle)), ball * math.cos(angle)
    height = touch + (R - start) / math.tan(angle)
    taper = line_piece("side", touch, start, height, R)
    return [
        arc_piece("corner", 0.0, touch, 0.0, ball, ball),
        taper,
        *_flank(height, R, height + top),
    ]


def corner_rounding(R: float, corner: float, top: float) -> list[Piece]:
    cove = arc_piece("corner", 0.0, corner, R, 0.0, corner, cove=True)
    return [cove, *_flank(corner, R, corner + top)]


def t_slot(R: float, width: float, neck: float, corner: float = 0.0) -> list[Piece]:
    above = line_piece("neck", width, neck, width * 4, neck)
    if corner == 0.0:
        return [line_piece("side", 0.0, R, width, R), above]
    d = R - corner
    low = arc_piece("corner", 0.0, corner, d, corner, corner)
    high = arc_piece("corner", width - corner, width, d, width - corner, corner)
    return [low, line_piece("side", corner, R, width - corner, R), high, above]


def lollipop(R: float, neck: float) -> list[Piece]:
    top = R + math.sqrt((R - neck) * (R + neck))
    return [arc_piece("corner", 0.0, top, 0.0, R, R), line_piece("neck", top, neck, 2 * top, neck)]


def free_profile(rng: Rng) -> list[Piece]:
    """Lines, bulging and hollow arcs one on the other, truncated anywhere, with jumps of radius."""
    pieces, z = [], 0.0
    for _ in range(rng.integers(2, 5)):
        height, kind = log_uniform(rng, 0.05, 3.0), rng.choice(["line", "arc", "cove", "step"])
        if kind in ("line", "step"):
            low = log_uniform(rng, 0.2, 6.0) if kind == "step" or not pieces else pieces[-1].r_high
            high = low if kind == "step" else log_uniform(rng, 0.2, 6.0)
            pieces.append(line_piece(_word(rng), z, low, z + height, high))
        else:
            R = height * log_uniform(rng, 0.51, 8.0)
            start = rng.uniform(-R, R - height)
            center_z, hollow = z - start, kind == "cove"
            sunk = math.sqrt(max(0.0, R**2 - max(abs(start), abs(start + height)) ** 2))
            deepest = R if start <= 0 <= start + height else math.sqrt(R**2 - _near(start, height))
            center_r = deepest + log_uniform(rng, 0.05, 3.0) if hollow else rng.uniform(-sunk, 4.0)
            word, ends = _word(rng), [z, z + height]
            if hollow and z < center_z < z + height:  # a cove is split where it is narrowest
                ends.insert(1, center_z)
            for a, b in itertools.pairwise(ends):
                pieces.append(arc_piece(word, a, b, center_r, center_z, R, cove=hollow))
        z += height
    return pieces


def _near(start: float, height: float) -> float:
    return min(start**2, (start + height) ** 2)


def _word(rng: Rng) -> str:
    return str(rng.choice(["bottom", "corner", "side", "top"]))


def _flank(z: float, R: float, top: float) -> list[Piece]:
    return [line_piece("side", z, R, top, R)] if top > z else []


def _top(rng: Rng, R: float) -> float:
    return math.inf if rng.random() < 0.3 else R * log_uniform(rng, 0.3, 4.0)


def _random_bull(rng: Rng, R: float) -> list[Piece]:
    corner = R * rng.uniform(0.02, 0.98)
    return bull(R, corner, max(_top(rng, R), 0.2 * corner))


def _random_taper(rng: Rng, R: float) -> list[Piece]:
    angle = rng.uniform(0.02, 1.2)
    return taper_ball(R * rng.uniform(0.1, 0.9), angle, R, _top(rng, R))


SHAPES = {
    "flat": lambda rng, R: flat(R, _top(rng, R)),
    "bull": _random_bull,
    "ball": lambda rng, R: bull(R, R, _top(rng, R)),
    "chamfer": lambda rng, R: cone(
        "side",
        R * rng.choice([0.0, rng.uniform(0, 0.9)]),
        log_uniform(rng, 0.2, 5),
        R,
        _top(rng, R),
    ),
    "drill": lambda rng, R: cone("bottom", 0.0, log_uniform(rng, 0.3, 8.0), R, _top(rng, R)),
    "taper-ball": _random_taper,
    "corner-rounding": lambda rng, R: corner_rounding(R, R * rng.uniform(0.05, 0.95), _top(rng, R)),
    "t-slot": lambda rng, R: t_slot(R, R * rng.uniform(0.1, 1.0), R * rng.uniform(0.1, 0.9)),
    "t-slot with corners": lambda rng, R: t_slot(R, R * 0.8, R * 0.4, R * rng.uniform(0.02, 0.39)),
    "lollipop": lambda rng, R: lollipop(R, R * rng.uniform(0.1, 0.9)),
    "free": lambda rng, R: free_profile(rng),
    "bore bar": lambda rng, R: cone("bottom", 0.0, 50.0, R, _top(rng, R)),
    "tap": lambda rng, R: cone("bottom", R * 0.6, log_uniform(rng, 0.1, 0.5), R, _top(rng, R)),
}


def random_tool(rng: Rng, shape: str) -> FakeTool:
    return FakeTool(tuple(SHAPES[shape](rng, log_uniform(rng, 0.3, 8.0))))


# --- moves ---------------------------------------------------------------------------------------


def _line(rng: Rng, dz: float, length: float):
    start, angle = rng.uniform(-20, 20, 3), rng.uniform(-math.pi, math.pi)
    end = start + np.array((length * math.cos(angle), length * math.sin(angle), dz))
    end[2] = start[2] if dz == 0 else end[2]
    return {"start": start, "end": end}


def _arc(rng: Rng, turn: float, dz: float):
    z0 = rng.uniform(-20, 20)
    center, A = rng.uniform(-20, 20, 2), log_uniform(rng, 0.1, 25)
    return arc_move(tuple(center), A, rng.uniform(-math.pi, math.pi), turn, z0, z0 + dz)


def _sign(rng: Rng) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _from_above(rng: Rng):
    row = _line(rng, 0.0, 0.0)
    return row | {"start": (row["start"][0], row["start"][1], math.nan)}


def _axis_line(rng: Rng):
    row = _line(rng, 0.0, 0.0)
    end = np.array(row["start"])
    end[rng.integers(2)] += _sign(rng) * log_uniform(rng, 0.1, 40)
    return row | {"end": end}


FULL = 2 * math.pi
MOVES = {
    "level line": lambda rng: _line(rng, 0.0, log_uniform(rng, 0.05, 40)),
    "line along an axis": _axis_line,
    "ramp": lambda rng: _line(
        rng, _sign(rng) * log_uniform(rng, 0.01, 20), log_uniform(rng, 0.1, 40)
    ),
    "steep ramp": lambda rng: _line(
        rng, _sign(rng) * log_uniform(rng, 5, 30), log_uniform(rng, 1e-4, 2)
    ),
    "plunge": lambda rng: _line(rng, _sign(rng) * log_uniform(rng, 0.05, 30), 0.0),
    "from above": _from_above,
    "no length": lambda rng: _line(rng, 0.0, 0.0),
    "level arc": lambda rng: _arc(rng, _sign(rng) * log_uniform(rng, 0.05, FULL), 0.0),
    "full circle": lambda rng: _arc(rng, _sign(rng) * FULL, 0.0),
    "helix": lambda rng: _arc(
        rng, _sign(rng) * log_uniform(rng, 0.05, FULL), _sign(rng) * log_uniform(rng, 0.01, 20)
    ),
    "full helix": lambda rng: _arc(rng, _sign(rng) * FULL, _sign(rng) * log_uniform(rng, 0.1, 10)),
}
LINES = [name for name in MOVES if "line" in name or "ramp" in name]
ARCS = ["level arc", "full circle", "helix", "full helix"]


def random_moves(rng: Rng, name: str) -> Moves:
    return make_moves([MOVES[name](rng)])


# --- rays ----------------------------------------------------------------------------------------

WAYS = ("random", "level", "along an axis", "up", "down", "along the move", "grazing")


@dataclasses.dataclass(frozen=True)
class Rays:
    origins: Floats
    ways: Floats
    names: NDArray[np.str_]


def stock_box(moves: Moves, tools: dict[int, FakeTool], room: float = 25.0) -> Floats:
    """Return a block round all moves and their tools."""
    reach = max(p.widest for t in tools.values() for p in t.pieces if p.cutting)
    tall = max(min(p.z_high, 20.0) for t in tools.values() for p in t.pieces if p.cutting)
    ends = np.vstack([np.where(np.isnan(moves.start), moves.end, moves.start), moves.end])
    arms = np.where(moves.turn != 0, np.hypot(*(moves.end[:, :2] - moves.center).T), 0.0)
    plan = np.vstack([ends[:, :2], moves.center[moves.turn != 0]])
    far = reach + 2 * float(arms.max()) + room
    low = [*(plan.min(axis=0) - far), ends[:, 2].min() - room]
    high = [*(plan.max(axis=0) + far), ends[:, 2].max() + tall + room]
    return np.array([low, high])


def random_rays(rng: Rng, world: World, n: int) -> Rays:
    """Return rays of all classes, most of them through the sweep."""
    names = np.array([WAYS[i % len(WAYS)] for i in range(n)])
    rows = world.moves[rng.integers(len(world.moves), size=n)]
    aims = _aims(rng, world, rows)
    ways = rng.normal(size=(n, 3))
    ways[names == "level", 2] = 0.0
    ways[names == "up"], ways[names == "down"] = (0, 0, 1), (0, 0, -1)
    axis = names == "along an axis"
    ways[axis] = np.eye(3)[rng.integers(2, size=axis.sum())] * rng.choice([-1, 1], (axis.sum(), 1))
    along = rows[:, 4:7] - rows[:, 1:4]
    along[rows[:, 0] == 1, 2] = 0.0  # across an arc's chord
    still = ~(np.linalg.norm(along, axis=1) > 1e-9)
    along[still] = ways[still]
    flip = names == "along the move"
    ways[flip] = along[flip]
    grazing = np.flatnonzero(names == "grazing")
    _graze(rng, world, aims, ways, grazing)
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    back = rng.uniform(0, 60, n) * (rng.random(n) < 0.9)
    return Rays(aims - back[:, None] * ways, ways, names)


def _aims(rng: Rng, world: World, rows: Floats) -> Floats:
    """Return points in and round sweeps: a tip at some place of the path, and a piece there."""
    n = len(rows)
    s = rng.choice([0.0, 1.0, np.nan], n, p=[0.1, 0.1, 0.8])
    s = np.where(np.isnan(s), rng.random(n), s)
    tips = rows[:, 1:4] + s[:, None] * (rows[:, 4:7] - rows[:, 1:4])
    high = np.abs(tips[:, 2] - rows[:, 6]) > 100  # from above: near its end
    tips[high, 2] = rows[high, 6] + rng.random(high.sum()) * 10
    angle = rows[:, 11] + s * rows[:, 9]
    arc = rows[:, 0] == 1
    on_arc = rows[:, 7:9] + rows[:, 10:11] * np.c_[np.cos(angle), np.sin(angle)]
    tips[arc, :2] = on_arc[arc]
    own = world.pieces[rng.integers(len(world.pieces), size=n)]
    height = np.minimum(own[:, 1], own[:, 0] + 12.0) - own[:, 0]
    h = own[:, 0] + rng.uniform(-0.05, 1.05, n) * height
    rho = np.maximum(own[:, 2], own[:, 3]) * rng.uniform(0, 1.1, n)
    turn = rng.uniform(0, 2 * math.pi, n)
    return tips + np.c_[rho * np.cos(turn), rho * np.sin(turn), h]


def _graze(rng: Rng, world: World, aims: Floats, ways: Floats, index: NDArray[np.int64]) -> None:
    """Lay rays across the surface: a point on it, a direction along it, moved off by little."""
    for i in index:
        ends = world.intervals(aims[i : i + 1], _unit(ways[i : i + 1]), [np.empty(0)])[0]
        if len(ends) < 2:
            continue
        aims[i] += ends[0, 1] * _unit(ways[i : i + 1])[0]
        slope = world.gradient(aims[i : i + 1], 1e-6)[0]
        size = float(np.linalg.norm(slope))
        if not 0.1 < size < 1e3:
            continue
        across = np.cross(slope / size, rng.normal(size=3))
        if rng.random() < 0.3:  # level, or straight up where the surface is
            across = np.cross(slope / size, (0, 0, 1.0))
        if np.linalg.norm(across) > 1e-3:
            ways[i] = across
            off = rng.choice([-1, 1]) * log_uniform(rng, 1e-10, 1e-2)
            aims[i] += off * slope / size


def _unit(ways: Floats) -> Floats:
    return ways / np.linalg.norm(ways, axis=1)[:, None]
