"""Places on the part's model that a tool went into: metal below the part is only where one went."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .model_places import DOWN, Places, mesh_of

if TYPE_CHECKING:
    from ..contact.stations import Places as Stations
    from ..contact.tool import Edge
    from .case import Case

__all__ = ["cut_into"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STEP: Final = (0.25, 1.0)
"""Stations are half a radius apart, but no less and no more than this, mm."""
MOST: Final = 60_000
"""About so many stations are looked at; long programs get a wider spacing."""
SHARES: Final = (0.0, 0.5, 0.95)
"""Columns under the tool, as shares of its radius; one more just inside its side."""
AROUND: Final = 16
BEND: Final = math.radians(10.0)
"""Where a path bends by more, and at its ends, columns are looked at all round the tool."""
LEVELS: Final = (0.02, 0.5, 0.98)
"""Heights of level rays to a wall, as shares of what stands beside the tool."""
KEPT: Final = 2000
"""Places of one tool that are looked at by rays: those that it seems to cut into most."""


def cut_into(case: Case, tolerance: float) -> Places:
    """Return places on the model where the tool, as seen from above, went below its face."""
    from ..contact.stations import Places as Stations
    from .walls import walls_of

    walls, mesh = walls_of(case), mesh_of(case)
    found = Places(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0))
    move, share, turns = _stations(case)
    for number in np.unique(walls.moves.tool[move]).tolist():
        mine = walls.moves.tool[move] == number
        at = Stations.at(walls.before, move[mine], share[mine])
        below = at.tip[:, 2] < float(mesh.stock.high[2]) - tolerance
        around = (turns[mine] | at.upright)[below]
        places = _of_tool(case, walls.edge(case.job.tools[number]), at[below], around, tolerance)
        found = found.joined(places)
    return found


def _stations(case: Case) -> tuple[Ints, Floats, Bools]:
    """Return moves and shares of them, and where the path ends or bends."""
    from .walls import walls_of

    walls = walls_of(case)
    moves, length = walls.moves, walls.lengths
    mine = np.flatnonzero(moves.sweeps() & (length > 0))
    step = np.zeros(len(mine))
    for number in np.unique(moves.tool[mine]).tolist():
        radius = case.job.tools[number].cutting_radius
        step[moves.tool[mine] == number] = np.clip(radius / 2, *STEP)
    wider = max(1.0, float((length[mine] / step).sum()) / MOST)
    count = np.ceil(length[mine] / (step * wider)).astype(np.int64) + 1
    count = np.where(length[mine] < step / 2, 1, np.maximum(count, 2))
    of = np.repeat(np.arange(len(mine)), count)
    number = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    share = np.where(count[of] == 1, 1.0, number / np.maximum(count[of] - 1, 1))
    bends = _bends(case, mine)
    return mine[of], share, (share == 1.0) & bends[of]


def _bends(case: Case, mine: Ints) -> Bools:
    """Return which moves' ends are ends of a path in plan, or corners of it."""
    from ..contact.stations import Places as Stations
    from .walls import walls_of

    before = walls_of(case).before
    if not len(mine):
        return np.zeros(0, bool)
    end = Stations.at(before, mine, np.ones(len(mine)))
    start = Stations.at(before, mine, np.zeros(len(mine)))
    on = (end.way[:-1] * start.way[1:]).sum(axis=1) > math.cos(BEND)
    on &= (np.diff(mine) == 1) & ~end.upright[:-1] & ~start.upright[1:]
    return np.concatenate([~on, [True]])


def _of_tool(case: Case, edge: Edge, at: Stations, around: Bools, tolerance: float) -> Places:
    """Return the places that one tool seems to go into."""
    mesh, radius = mesh_of(case), edge.radius
    aside = np.array([*SHARES, max(1 - tolerance / radius, 0.0), 1 - 1e-6]) * radius
    lower = edge.lower(aside)
    turns = np.arange(AROUND) * (2 * math.pi / AROUND)
    found = Places(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0))
    value = np.zeros(0)
    for turn in turns.tolist():
        all_round = abs(turn - math.pi / 2) > 1e-9 and abs(turn - 3 * math.pi / 2) > 1e-9
        some = at[around] if all_round else at
        c, s = math.cos(turn), math.sin(turn)
        way = np.stack([c * some.way[:, 0] - s * some.way[:, 1],
                        s * some.way[:, 0] + c * some.way[:, 1]], axis=1)  # fmt: skip
        x, y = (some.tip[:, None, k] + aside * way[:, None, k] for k in (0, 1))
        top, _ = mesh.stock.at(np.ascontiguousarray(x.ravel()), np.ascontiguousarray(y.ravel()))
        top = top.reshape(x.shape)
        floor = some.tip[:, 2:] + lower
        with np.errstate(invalid="ignore"):
            row, k = np.nonzero(top - floor > tolerance)
        if len(row):
            over = np.stack([x[row, k], y[row, k], top[row, k]], axis=1)
            more, deep = _met(case, edge, some.tip[row], way[row], over, floor[row, k])
            found, value = found.joined(more), np.concatenate([value, deep])
    chosen = np.sort(np.argsort(-value, kind="stable")[:KEPT])
    return found[chosen]


def _met(
    case: Case, edge: Edge, tip: Floats, way: Floats, over: Floats, floor: Floats
) -> tuple[Places, Floats]:
    """Return the model's faces over and beside a tool, and about how deep it is in them."""
    mesh, n = mesh_of(case), len(tip)
    down = np.hstack([over + np.array([0.0, 0.0, 1.0]), np.broadcast_to((0.0, 0.0, -1.0), (n, 3))])
    above, line = mesh.met(down, np.ones(n), np.full(n, 1e-3))
    value = [(over[line, 2] - floor[line]) * above.normal[:, 2]]
    found = above
    for share in LEVELS:
        high = np.minimum(over[:, 2], tip[:, 2] + edge.top)
        z = floor + share * np.maximum(high - floor, 0.0)
        level = np.column_stack([tip[:, :2], z, way, np.zeros(n)])
        reach = edge.reach_at(z - tip[:, 2])
        wall, line = mesh.met(level, np.zeros(n), reach)
        far = np.hypot(*(wall.at - tip[line])[:, :2].T)
        ahead = ((wall.at - tip[line])[:, :2] * way[line]).sum(axis=1) > 0
        found = found.joined(wall[ahead])
        slope = np.abs((wall.normal[ahead, :2] * way[line][ahead]).sum(axis=1))
        value.append((reach[line] - far)[ahead] * slope)
    good = found.normal[:, 2] > DOWN
    return found[good], np.concatenate(value)[good]
