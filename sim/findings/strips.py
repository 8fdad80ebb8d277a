"""Strips of metal over the part, between strokes that were cut at the height of its face."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..grid import RAW
from ..units import say_fine
from .base import THOU, Finding
from .thin import FOOT, closer
from .walls import walls_of

if TYPE_CHECKING:
    from ..contact.stations import Places as Stations
    from .case import Case
    from .taken import Bools, Floats, Ints
    from .walls import Walls

__all__ = ["Strips", "strips_of"]

JUST: Final = 1e-4
"""So far outside the tool stands metal that its side left, mm."""
WIDE: Final = 4.0
"""Strokes are looked for so many diameters of the tool from one to the next."""
SAMPLES: Final = 160
FINE: Final = 33
CLOSER: Final = 4
HALVINGS: Final = 40
TALL: Final = 100 * THOU
"""Metal that was cut and is left higher than this over the part is as good as raw, mm."""
NEAR: Final = 2.0
"""Metal so many radii of the tool from a strip belongs to it."""
SAME: Final = 1e-6


@dataclasses.dataclass(frozen=True)
class Strips:
    """Strips seen from stations of the strokes beside them; lengths in mm, shape (n,).

    Attributes
    ----------
    one, other : ndarray of int64
        The moves on both sides.
    thick, height : ndarray of float64
        How wide it is there; how high its top stands over the part.
    top : ndarray of float64, shape (n, 3)
        The middle of it, at its highest.
    near, far : ndarray of float64, shape (n, 2)
        Its sides.
    radius : ndarray of float64
        Of the tool that looks at it.
    said : ndarray of bool
        [sliver] says it.
    """

    one: Ints
    other: Ints
    thick: Floats
    height: Floats
    top: Floats
    near: Floats
    far: Floats
    radius: Floats
    said: Bools

    def __len__(self) -> int:
        return len(self.one)

    def hold(self, at: Floats, near: float = NEAR) -> Bools:
        """Return which places, shape (n, 3), belong to a strip."""
        found = np.zeros(len(at), bool)
        for a, b, r in zip(self.near, self.far, self.radius, strict=True):
            along = (b - a) / max(float((b - a) @ (b - a)), 1e-18)
            share = np.clip((at[:, :2] - a) @ along, 0.0, 1.0)[:, None]
            found |= np.hypot(*(at[:, :2] - a - share * (b - a)).T) < near * r
        return found

    def findings(self, case: Case) -> Iterator[Finding]:
        """Yield one finding for each two passes that leave strips between them."""
        number = case.moves.pass_number
        pair = np.sort(np.stack([number[self.one], number[self.other]], axis=1), axis=1)
        for first, last in np.unique(pair[~self.said], axis=0).tolist():
            mine = np.flatnonzero(~self.said & (pair == (first, last)).all(axis=1))
            yield _strip(case, self, mine, (first, last))


def strips_of(case: Case, tolerance: float) -> Strips:
    """Return the strips that stand over the part by more than the tolerance."""
    walls = walls_of(case)
    parts = [_none()]
    for number in case.passes:
        tool = case.tool_of(number)
        if tool.flat_radius <= 0 or tool.undercut:
            continue
        places = walls.stations(walls.of_pass(number))
        for side in (0, 1) if len(places) else ():
            parts.append(_beside(case, walls, places, side, tolerance))
    names = [f.name for f in dataclasses.fields(Strips)]
    return Strips(*(np.concatenate([getattr(p, n) for p in parts]) for n in names))


def _none() -> Strips:
    none, ints, plan = np.zeros(0), np.zeros(0, np.int64), np.zeros((0, 2))
    return Strips(ints, ints, none, none, np.zeros((0, 3)), plan, plan, none, np.zeros(0, bool))


class _Across:
    """Sections to one side of stations: the metal at the end, and the part's face under it."""

    def __init__(self, case: Case, walls: Walls, places: Stations, side: int) -> None:
        self.case, self.walls = case, walls
        self.tip, self.way = places.tip, walls.way(places)[:, side, :2]

    def part(self, far: Floats) -> Floats:
        """Return the height of the part's face at distances from the tips, shape (n, k)."""
        x, y = self._plan(far)
        if self.walls.model is None:
            return np.full(far.shape, self.case.part_top)
        top, _ = self.walls.model.at(x, y)
        return top.reshape(far.shape)

    def metal(self, far: Floats) -> tuple[Floats, Ints]:
        """Return height and row of the metal there, at the end of the job."""
        from .taken import heights

        z, owner = heights(self.case, *self._plan(far), len(self.case.moves))
        return z.reshape(far.shape), owner.reshape(far.shape).astype(np.int64)

    def _plan(self, far: Floats) -> tuple[Floats, Floats]:
        x, y = (self.tip[:, None, k] + far * self.way[:, None, k] for k in (0, 1))
        return np.ascontiguousarray(x.ravel()), np.ascontiguousarray(y.ravel())

    def some(self, index: Bools) -> _Across:
        """Return these of some stations."""
        found = object.__new__(_Across)
        found.case, found.walls = self.case, self.walls
        found.tip, found.way = self.tip[index], self.way[index]
        return found


def _beside(case: Case, walls: Walls, places: Stations, side: int, tolerance: float) -> Strips:
    """Return the strips to one side of a pass's stations."""
    tool = walls.tool(int(places.move[0]))
    radius, z = tool.cutting_radius, places.tip[:, 2]
    across = _Across(case, walls, places, side)
    just = np.full((len(places), 1), radius + JUST)
    with np.errstate(invalid="ignore"):
        level = np.abs(across.part(just)[:, 0] - z) <= tolerance
        stands = across.metal(just)[0][:, 0] > z + tool.corner_radius + tolerance
    some = level & (stands | (tool.corner_radius > 0)) & ~_clamped(case, places)
    across, places = across.some(some), places[some]
    if not len(places):
        return _none()
    end, other = _far_side(across, radius, tolerance)
    good = np.isfinite(end) & (end > radius + 2 * JUST)
    return _measured(across.some(good), places[good], (end[good], other[good]), radius, tolerance)


def _clamped(case: Case, places: Stations) -> Bools:
    """Return the stations that run under or into a box of the fixture, as seen from above."""
    found = np.zeros(len(places), bool)
    for setup in case.job.spec.setups:
        for box in setup.fixture:
            low, high = np.array(box.low[:2]), np.array(box.high[:2])
            found |= ((places.tip[:, :2] > low) & (places.tip[:, :2] < high)).all(axis=1)
    return found


def _far_side(across: _Across, radius: float, tolerance: float) -> tuple[Floats, Ints]:
    """Return where metal that begins at the tool's side ends at a stroke at the same height.

    NaN: it does not. And the move of that stroke.
    """
    n, z = len(across.tip), across.tip[:, 2:]
    far = np.broadcast_to(
        radius + JUST + np.linspace(0, 2 * WIDE * radius, SAMPLES), (n, SAMPLES)
    )  # fmt: skip
    part = across.part(far)
    top, owner = across.metal(far)
    with np.errstate(invalid="ignore"):
        face = np.abs(part - z) <= tolerance
        over = top - part > tolerance
    row, k = np.arange(n), np.argmin(over, axis=1)
    done = (np.abs(top[row, k] - part[row, k]) <= tolerance) & (owner[row, k] >= 0)
    done &= over[:, 0] & ~over[row, k]
    done &= (np.cumsum(~face, axis=1) == 0)[row, k]
    low, high = far[row, np.maximum(k - 1, 0)], far[row, k]
    for _ in range(HALVINGS):
        middle = ((low + high) / 2)[:, None]
        with np.errstate(invalid="ignore"):
            up = (across.metal(middle)[0] - across.part(middle))[:, 0] > tolerance
        low, high = np.where(up, middle[:, 0], low), np.where(up, high, middle[:, 0])
    packed = across.case.job.packed.move
    move = packed[np.maximum(owner[row, k], 0)].astype(np.int64)
    return np.where(done, low, np.nan), move


def _measured(
    across: _Across, places: Stations, ends: tuple[Floats, Ints], radius: float, tolerance: float
) -> Strips:
    """Return the strips whose metal is raw, tall, or narrower than the tool's radius."""
    (end, other), case, walls = ends, across.case, across.walls
    n, z = len(end), across.tip[:, 2:]
    if not n:
        return _none()
    far = radius + JUST + np.linspace(0, 1, FINE) * (end - radius - 2 * JUST)[:, None]
    part = across.part(far)
    top, owner = across.metal(far)
    over, row = top - part, np.arange(n)
    with np.errstate(invalid="ignore"):
        whole = (np.abs(part - z) <= tolerance).all(axis=1) & (over > tolerance).all(axis=1)
    for _ in range(CLOSER):  # to the highest place across
        k = np.argmax(np.round(over, 9), axis=1)
        low, high = far[row, np.maximum(k - 1, 0)], far[row, np.minimum(k + 1, FINE - 1)]
        far = low[:, None] + np.linspace(0, 1, FINE) * (high - low)[:, None]
        top, owner = across.metal(far)
        over = top - across.part(far)
    k = np.argmax(np.round(over, 9), axis=1)
    thick, height = end - radius, over[row, k]
    whole &= (owner[row, k] == RAW) | (height > TALL) | (thick < radius)
    tool = walls.tool(int(places.move[0]))
    foot = z[:, 0] + walls.edge(tool).corner_top + FOOT
    said = (thick < case.margin("sliver")) & (foot < case.part_top + SAME) & (height > FOOT)
    said &= tool.shape in ("flat", "bull")
    near, end_at = (across.tip[:, :2] + d[:, None] * across.way for d in (np.full(n, radius), end))
    middle = np.column_stack([(near + end_at) / 2, top[row, k]])
    found = Strips(
        walls.before.of[places.move], other, thick, height, middle, near, end_at,
        np.full(n, radius), said,
    )  # fmt: skip
    return Strips(*(getattr(found, f.name)[whole] for f in dataclasses.fields(Strips)))


def _strip(case: Case, strips: Strips, mine: Ints, pair: tuple[int, int]) -> Finding:
    """Say the highest strip between two passes; of these the widest."""
    order = np.lexsort((-np.round(strips.thick[mine], 6), -np.round(strips.height[mine], 6)))
    k = int(mine[order[0]])
    thick, height = round(float(strips.thick[k]), 9), round(float(strips.height[k]), 9)
    number = pair[1]
    made = np.unique(np.concatenate([strips.one[mine], strips.other[mine]]))
    x, y, z = (float(v) for v in strips.top[k])
    unit, one = case.unit, pair[0] == number
    flat = all(case.tool_of(n).flat_radius > 0 for n in pair)
    between = "its paths" if one else f"pass {pair[0]} and pass {number}"
    modelled, over = walls_of(case).model is not None, "the part's top"
    return Finding(
        rule="leftover",
        severity="spoils" if modelled else "watch",
        tool=case.passes[number].tool,
        pass_number=number,
        lines=case.lines_of(made[case.moves.pass_number[made] == number]),
        at=(x, y, z),
        size=height,
        text=f"metal stands {say_fine(height, unit)} above {'the part' if modelled else over}, "
        f"a strip {say_fine(thick, unit)} wide between {between}",
        why="the part is out of tolerance there",
        change=closer(case, pair, thick) if flat else None,
        then="the two cuts overlap and nothing is left between them"
        if flat
        else "one more path between the two cuts takes it",
        other_pass=None if one else pair[0],
    )
