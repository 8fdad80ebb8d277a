"""The places where the metal is furthest off the part's model: found near samples, then exactly."""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .model_edges import edges_of, left_in_corners
from .model_places import REACH, Faces, Places, faces_at, mesh_of

if TYPE_CHECKING:
    from .case import Case

__all__ = ["BESIDE", "CORNER", "MAIN", "MINOR", "WITHIN", "Off", "off_at", "worst_near"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

WITHIN, MAIN, CORNER, BESIDE, MINOR = range(5)
"""What a place says: nothing; metal off; off more than the tool's round leaves in a corner; off,
but so near to a corner that the face beyond it may be what is seen; what the round must leave, or
an edge that is broken."""
UPRIGHT: Final = 0.01
SHORT: Final = 1e-3
"""Metal, or a gap in it, shorter than this is none between a place and an edge, mm."""
NOTICED: Final = 1e-3
"""Metal that stands out by more than a strip at the foot of a wall is none of it, mm."""
SEEDS: Final = 5
"""The walk begins at so many places, this far apart or further, mm."""
APART: Final = 1.0
STEP: Final = 0.5
LEAST: Final = 1e-6
"""First and last step of the walk, mm."""
ROUNDS: Final = 160
WAYS: Final = 8
TURN: Final = 2.399963
"""The ways of a step are turned by this from one round to the next: ridges run any way."""
BETTER: Final = 1e-9


@dataclasses.dataclass(frozen=True)
class Off:
    """How far the metal is off at places.

    Attributes
    ----------
    places : Places
    faces : Faces
    kind : ndarray of int64
        `WITHIN`, `MAIN`, `CORNER`, `BESIDE` or `MINOR`.
    value : ndarray of float64
        By how much for certain, mm: less what facets and the tool's round explain; of `MINOR`
        what the round leaves is not taken away.
    tool : ndarray of int64
    """

    places: Places
    faces: Faces
    kind: Ints
    value: Floats
    tool: Ints

    def __getitem__(self, index: Bools | Ints) -> Off:
        return Off(
            self.places[index], self.faces[index], self.kind[index], self.value[index],
            self.tool[index],
        )  # fmt: skip


def off_at(case: Case, places: Places, tolerance: float) -> Off:
    """Return how far the metal is off at places, and what explains it.

    Parameters
    ----------
    case : Case
    places : Places
    tolerance : float
        mm.
    """
    faces = faces_at(case, places)
    n = len(places)
    value = np.abs(faces.off) - places.facet
    kind, tool = np.full(n, WITHIN), np.zeros(n, np.int64)
    cut = faces.move >= 0
    tool[cut] = case.moves.tool[faces.move[cut]]
    bad = (value > tolerance) & cut & ~_at_foot(case, places, faces)
    kind[bad] = MAIN
    _explain(case, places, faces, kind, value, tool, tolerance)
    for proud in (False, True):
        some = np.flatnonzero(np.isin(kind, (MAIN, CORNER)) & ((faces.off > 0) == proud))
        edges = edges_of(case)["inside" if proud else "outside"]
        near, which = edges.nearest(places.at[some])
        close = near < np.abs(faces.off[some])
        some, near, which = some[close], near[close], which[close]
        if not len(some):
            continue
        alone = _alone(case, places[some], edges.foot(places.at[some], which), tolerance, proud)
        some, sure = some[~alone], (near - edges.error[which])[~alone]
        value[some], kind[some] = np.minimum(value[some], sure), BESIDE
        kind[some[value[some] <= tolerance]] = WITHIN
    return Off(places, faces, kind, value, tool)


def _alone(case: Case, places: Places, foot: Floats, tolerance: float, proud: bool) -> Bools:
    """Return where a post, or a hole, does not reach as far as the edge: no face beyond is seen."""
    sense = tolerance if proud else -tolerance
    way = foot - places.at
    far = np.sqrt((way**2).sum(axis=1))
    found: Bools = far > SHORT
    aside = np.cross(places.normal, way / np.maximum(far, SHORT)[:, None])
    for hair in (SHORT, -SHORT):  # a ray along a face is in metal or out by chance
        asked = np.flatnonzero(found)
        if not len(asked):
            break
        at = (places.at + sense * places.normal + hair * aside)[asked]
        metal = case.job.rays(at, way[asked], span=(0.0, float(far[asked].max())))
        ray = np.repeat(np.arange(len(asked)), np.diff(metal.offsets))
        ends = np.minimum(metal.leave, far[asked[ray]])
        long = np.bincount(ray, np.maximum(ends - metal.enter, 0.0), len(asked))
        found[asked] = long < far[asked] - SHORT if proud else long > SHORT
    return found


def _explain(
    case: Case, places: Places, faces: Faces, kind: Ints, value: Floats, tool: Ints, most: float
) -> None:
    """Mark what the tool's round must leave in a corner, and edges that a chamfer mill broke."""
    for number in np.unique(tool[kind != WITHIN]).tolist():
        mine, by = (kind != WITHIN) & (tool == number), case.job.tools[number]
        high = np.flatnonzero(mine & (faces.off > 0))
        left = left_in_corners(case, places[high], by)
        over = faces.off[high] - places.facet[high] - left
        kind[high[(left > 0) & (kind[high] == MAIN)]] = CORNER
        value[high] = np.where(left > 0, np.minimum(value[high], over), value[high])
        minor = over <= most
        kind[high[minor]] = MINOR
        # Across the end of an upright corner metal stands as high as the wall: no size.
        value[high[minor]] = np.where(
            np.isfinite(left), faces.off[high] - places.facet[high], most
        )[minor]
        if by.shape in ("chamfer", "corner_rounding"):
            low = np.flatnonzero(mine & (faces.off < 0))
            near, _ = edges_of(case)["outside"].nearest(places.at[low])
            kind[low[near < by.cutting_radius]] = MINOR


def _at_foot(case: Case, places: Places, faces: Faces) -> Bools:
    """Return where a finisher that stops too high leaves metal, which [ledge-left] says."""
    from .foot import feet

    found = np.zeros(len(places), bool)
    upright = (faces.off > 0) & (np.abs(places.normal[:, 2]) < UPRIGHT)
    by = np.where(faces.move >= 0, case.moves.pass_number[faces.move], -1)
    for foot in feet(case):
        top = foot.tip + case.tool_of(foot.by).corner_radius
        mine = (by >= 0) & (by <= foot.by) & (faces.off < foot.proud + places.facet + NOTICED)
        found |= upright & mine & (places.at[:, 2] < top)
    return found


def worst_near(case: Case, off: Off, which: Ints, tolerance: float) -> Off:
    """Return the worst place of one kind, tool and way, walked to from the worst of some.

    Parameters
    ----------
    case : Case
    off : Off
    which : ndarray of int64
        Of its places; of one tool and one kind, all proud or all cut into.
    tolerance : float
        mm.

    Returns
    -------
    Off
        Of one place.
    """
    best = off[_seeds(off, which)]
    step, turn = np.full(len(best.value), STEP), 0.0
    for _ in range(ROUNDS):
        live = np.flatnonzero(step > LEAST)
        if not len(live):
            break
        turn += TURN
        tried, of = _around(case, best.places[live], step[live], turn)
        now = off_at(case, tried, tolerance)
        k = live[of]
        alike = (now.kind == best.kind[k]) & (now.tool == best.tool[k])
        alike &= (now.faces.off > 0) == (best.faces.off[k] > 0)
        value = np.where(alike, now.value, -np.inf)
        order = np.lexsort((-value, of))
        line, first = np.unique(of[order], return_index=True)
        chosen = order[first]
        better = value[chosen] > best.value[live[line]] + BETTER
        step[live] *= 0.5
        step[live[line[better]]] *= 2
        best = _with(best, live[line[better]], now[chosen[better]])
    top = np.flatnonzero(best.value > best.value.max() - 1e-7)
    return best[top[:1]]


def _seeds(off: Off, which: Ints) -> Ints:
    """Return the worst of some places that are not too near to each other, worst first."""
    value = off.value[which]
    order = which[np.argsort(-np.round(value, 7), kind="stable")]
    chosen: list[int] = []
    while len(order) and len(chosen) < SEEDS:
        chosen.append(int(order[0]))
        far = np.sqrt(((off.places.at[order] - off.places.at[order[0]]) ** 2).sum(axis=1))
        order = order[far > APART]
    return np.array(chosen, np.int64)


def _around(case: Case, places: Places, step: Floats, turn: float) -> tuple[Places, Ints]:
    """Return places on the model a step away, and from which each of them."""
    normal = places.normal
    least = np.argmin(np.abs(normal), axis=1)
    u = np.cross(normal, np.eye(3)[least])
    u /= np.sqrt((u**2).sum(axis=1))[:, None]
    v = np.cross(normal, u)
    angle = turn + np.arange(WAYS) * (2 * math.pi / WAYS)
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    way = c * u[:, None] + s * v[:, None]
    at = (places.at[:, None] + step[:, None, None] * way).reshape(-1, 3)
    out, high = np.repeat(normal, WAYS, axis=0), np.repeat(np.minimum(step, REACH), WAYS) + 1e-6
    lines = np.hstack([at + high[:, None] * out, -out])
    found, line = mesh_of(case).met(lines, high, high)
    return found, line // WAYS


def _with(old: Off, index: Ints, new: Off) -> Off:
    """Return places with some of them in place of others."""
    order = np.arange(len(old.value))
    order[index] = len(old.value) + np.arange(len(index))
    both = Off(
        old.places.joined(new.places), old.faces.joined(new.faces),
        np.concatenate([old.kind, new.kind]), np.concatenate([old.value, new.value]),
        np.concatenate([old.tool, new.tool]),
    )  # fmt: skip
    return both[order]
