"""Bottom and corner in plan, and volumes by zone: what each pass took, on the columns of the grid.

A pass is cut up into runs at one level. For each run the envelope of its own moves is drawn on the
columns that it reaches, as if its cutting part had no end, and held against the surface before it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..cut import cut, surface_of
from ..grid import Grid
from ..jobfile_spec import StockSpec
from ..pack import ARC, HELIX, LEVEL, POINT, Packed
from ..stock import make_stock
from .stations import NOTICED
from .tool import BITS, Edge

if TYPE_CHECKING:
    from ..job import Job

__all__ = ["Floor", "FloorRow", "Patch", "Taken", "find_floors"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SAME_LEVEL: Final = 1e-6
"""Levels this near are one, mm."""
DIGITS: Final = 6
"""Decimals of mm to which floors are told apart."""


@dataclasses.dataclass(frozen=True)
class Patch:
    """What one zone of the tool's lower face cut, seen from above.

    Attributes
    ----------
    area : float
        mm^2, a sum over columns.
    error : float
        Columns on its border times the area of one: how far off `area` may be, mm^2.
    peak, mean : float
        Deepest and mean metal over it before the cut, mm; 0 where nothing was cut.
    at : (x, y, z) or None
        Where it is deepest, on the surface that is left, mm.
    """

    area: float = 0.0
    error: float = 0.0
    peak: float = 0.0
    mean: float = 0.0
    at: tuple[float, float, float] | None = None


@dataclasses.dataclass(frozen=True)
class Taken:
    """Volumes that a pass took by zone, mm^3, and how far each sum may be off."""

    bottom: float = 0.0
    corner: float = 0.0
    side: float = 0.0
    error: float = 0.0

    @property
    def total(self) -> float:
        """All of it, mm^3."""
        return self.bottom + self.corner + self.side


@dataclasses.dataclass(frozen=True)
class FloorRow:
    """A level floor of an earlier pass under the flat end of a later one.

    Attributes
    ----------
    into_pass : int
        The pass that left it.
    z : float
        Its height, mm.
    tip_z : float
        Height of the tool's tip over it, mm.
    gap : float
        tip_z - z; below 0: minus the bite, mm.
    area, error : float
        mm^2, and the area of its border's columns.
    at : (x, y)
        A column in it, mm.
    line : int
        Line of the move that passed there.
    """

    into_pass: int
    z: float
    tip_z: float
    gap: float
    area: float
    error: float
    at: tuple[float, float]
    line: int


@dataclasses.dataclass(frozen=True)
class Floor:
    """What the lower face of a pass did.

    Attributes
    ----------
    bottom, corner : Patch
        Under the flat end, and under the rest of the lower face.
    floors : tuple of FloorRow
        Floors that earlier passes left under the flat end, the deepest bite first.
    taken : Taken
    """

    bottom: Patch
    corner: Patch
    floors: tuple[FloorRow, ...]
    taken: Taken


class _Sum:
    """A `Patch` in the making."""

    def __init__(self) -> None:
        self.cells = self.border = 0
        self.depth, self.peak = 0.0, 0.0
        self.at: tuple[float, float, float] | None = None

    def add(
        self, mask: Bools, depth: Floats, border: Bools, at: Callable[..., tuple[float, ...]]
    ) -> None:
        count = int(mask.sum())
        if not count:
            return
        self.cells += count
        self.border += int((mask & border).sum())
        here = np.where(mask, depth, -np.inf)
        self.depth += float(depth[mask].sum())
        k = int(np.argmax(here))
        if here.flat[k] > self.peak:
            self.peak = float(here.flat[k])
            x, y, z = at(k)
            self.at = (x, y, z)

    def patch(self, area: float) -> Patch:
        mean = self.depth / self.cells if self.cells else 0.0
        return Patch(self.cells * area, self.border * area, self.peak, mean, self.at)


class _Pass:
    """What is known so far of a pass."""

    def __init__(self) -> None:
        self.bottom, self.corner = _Sum(), _Sum()
        self.volume = np.zeros(4)
        self.floors: dict[tuple[int, int, int], list[float]] = {}

    def result(self, area: float) -> Floor:
        rows = [
            FloorRow(
                into, z / 10.0**DIGITS, tip / 10.0**DIGITS, (tip - z) / 10.0**DIGITS,
                v[0] * area, v[1] * area, (v[2], v[3]), int(v[4]),
            )
            for (into, z, tip), v in self.floors.items()
        ]  # fmt: skip
        rows.sort(key=lambda r: (r.gap, r.into_pass))
        bottom, corner, side, error = (self.volume * area).tolist()
        return Floor(
            self.bottom.patch(area), self.corner.patch(area), tuple(rows),
            Taken(bottom, corner, side, error),
        )  # fmt: skip


def find_floors(
    job: Job, count: int | None = None, progress: Callable[[float], None] | None = None
) -> dict[int, Floor]:
    """Return what the lower face of each pass did, by its number.

    Parameters
    ----------
    job : Job
    count : int, optional
        Moves that are looked at; all unless given.
    progress : callable, optional
        Called with the share done, 0 to 1.
    """
    surface = _Surface(job)
    runs = list(_runs(job.packed.upto(len(job.program.moves) if count is None else count)))
    found: dict[int, _Pass] = {}
    edges = {n: Edge(t) for n, t in job.tools.items()}
    for k, rows in enumerate(runs):
        number = int(job.packed.passes[rows[0]])
        tool = int(job.program.moves.tool[job.packed.move[rows[0]]])
        surface.run(rows, edges[tool], found.setdefault(number, _Pass()))
        if progress is not None:
            progress((k + 1) / len(runs))
    return {n: p.result(job.grid.cell_area) for n, p in found.items()}


def _runs(packed: Packed) -> Iterator[Ints]:
    """Yield the rows of each run: of one pass, its level moves all at one height."""
    members = packed.members.astype(np.int64)
    kind = packed.code[members] // 8
    level = (kind == LEVEL) | (kind == ARC)
    z = np.where(level, packed.rows[members, 2] - packed.rows[members, 17], np.nan)
    begin, current = 0, math.nan
    for k in range(len(members)):
        new = k > begin and packed.passes[members[k]] != packed.passes[members[k - 1]]
        if level[k] and abs(z[k] - current) > SAME_LEVEL and not math.isnan(current):
            new = True
        if new:
            yield members[begin:k]
            begin, current = k, math.nan
        if level[k]:
            current = float(z[k])
    if len(members):
        yield members[begin:]


class _Surface:
    """The surface as the runs leave it, one after the other."""

    def __init__(self, job: Job) -> None:
        self.job, self.grid, self.packed = job, job.grid, job.packed
        top, bottom = job.stock.top_bottom(self.grid.x(), self.grid.y())
        self.bottom = np.where(np.isnan(top), np.inf, bottom)
        self.top = np.where(np.isnan(top), -np.inf, top)
        self.by = np.zeros(self.top.shape, np.int32)
        self.flat = np.zeros(self.top.shape, np.bool_)
        low, high = job.stock.low, job.stock.high
        over = float(high[2] - low[2]) + 1.0
        block = StockSpec(
            "block", low=(low[0], low[1], low[2]), high=(high[0], high[1], high[2] + over)
        )
        self.block = make_stock(block, "mm")
        self.over = float(high[2])
        endless = self.packed.rows.copy()
        endless[:, 16] = np.inf
        self.endless = dataclasses.replace(self.packed, rows=endless)
        self.real = False
        """Metal stood above a cutting part: from then on surfaces come from `cut`."""

    def run(self, rows: Ints, edge: Edge, into: _Pass) -> None:
        """Hold the envelope of some rows against the surface, add it to `into`, and cut it."""
        rows = rows[self.packed.rows[rows, 2] <= self.over]
        window = self._window(rows) if len(rows) else None
        if window is None:
            return
        part, grid = window
        only = dataclasses.replace(self.endless, members=rows.astype(np.int32))
        tile = surface_of(cut(grid, only, self.block, threads=1).tile, only, self.block)
        assert tile.flat is not None
        before, bottom = self.top[part], self.bottom[part]
        reached = (tile.owner >= 0) & np.isfinite(before)
        owner = np.where(tile.owner >= 0, tile.owner, 0)
        face = np.where(np.isnan(tile.top), -np.inf, tile.top)
        left = np.maximum(np.where(reached, np.minimum(before, face), before), -np.inf)
        after, by = left, owner
        if self.real or self._buries(reached & (face < before), before, owner):
            self.real = True
            after, by, reached = self._really(rows, grid, left, owner, reached)
        self._add(
            _Run(self, grid, part, rows, edge, into), reached, before, after, face, by, tile.flat
        )
        changed = after < before
        self.top[part] = np.where(after > bottom, after, -np.inf)
        number = int(self.packed.passes[rows[0]])
        self.by[part][changed] = number
        self.flat[part][changed] = tile.flat[changed] & (after == face)[changed]

    def _buries(self, cuts: Bools, before: Floats, owner: NDArray[np.int32]) -> bool:
        """Whether metal may stand above the cutting part of a row where it cuts."""
        rows = self.packed.rows[owner[cuts]]
        return bool((before[cuts] > rows[:, 2] + rows[:, 16]).any())

    def _really(
        self, rows: Ints, grid: Grid, left: Floats, owner: NDArray[np.int32], reached: Bools
    ) -> tuple[Floats, NDArray[np.int32], Bools]:
        """Return what is left after a run where metal stands above cutting parts."""
        last = int(self.packed.move[rows[-1]]) + 1
        tile = cut(grid, self.packed.upto(last), self.job.stock, threads=1, deep=self.job.deep).tile
        after = np.where(np.isnan(tile.top), -np.inf, tile.top)
        mine = np.isin(tile.owner, rows)
        return after, np.where(mine, tile.owner, owner), reached

    def _window(self, rows: Ints) -> tuple[tuple[slice, slice], Grid] | None:
        """Return the columns that some rows may reach, and the grid of them."""
        g, r = self.grid, self.packed.rows[rows]
        kind = self.packed.code[rows] // 8
        round_ = (kind == ARC) | (kind == HELIX)
        reach = r[:, 9] + np.where(round_, 2 * r[:, 5], 0.0)
        x, y = r[:, [0, 14]], r[:, [1, 15]]
        low = np.array([(v.min(axis=1) - reach).min() for v in (x, y)])
        high = np.array([(v.max(axis=1) + reach).max() for v in (x, y)])
        first = np.array([g.x_low, g.y_low])
        pitch, most = np.array([g.pitch_x, g.pitch_y]), np.array([g.nx, g.ny])
        i0, j0 = np.clip(np.floor((low - first) / pitch) - 1, 0, most).astype(int).tolist()
        i1, j1 = np.clip(np.floor((high - first) / pitch) + 2, 0, most).astype(int).tolist()
        if i1 <= i0 or j1 <= j0:
            return None
        x_low, y_low = g.x_low + i0 * g.pitch_x, g.y_low + j0 * g.pitch_y
        part = (slice(j0, j1), slice(i0, i1))
        return part, Grid(x_low, y_low, g.pitch_x, g.pitch_y, i1 - i0, j1 - j0)

    def _add(
        self, run: _Run, reached: Bools, before: Floats, after: Floats, face: Floats,
        owner: NDArray[np.int32], flat: Bools,
    ) -> None:  # fmt: skip
        bottom = self.bottom[run.part]
        depth = np.where(reached, before - np.maximum(after, bottom), 0.0)
        cuts = depth > NOTICED
        border = _border(cuts)
        run.into.bottom.add(cuts & flat, depth, border, lambda k: run.place(k, after))
        rounded = run.in_zone(cuts & ~flat, owner, BITS["corner"])
        run.into.corner.add(rounded, depth, border, lambda k: run.place(k, after))
        run.volumes(cuts, before, after, depth, owner, border)
        run.floors(reached & flat & self.flat[run.part], before, face, owner)


@dataclasses.dataclass(frozen=True)
class _Run:
    """A run, and the columns it reaches."""

    surface: _Surface
    grid: Grid
    part: tuple[slice, slice]
    rows: Ints
    edge: Edge
    into: _Pass

    def place(self, k: int, z: Floats) -> tuple[float, float, float]:
        j, i = divmod(k, self.grid.nx)
        return float(self.grid.x()[i]), float(self.grid.y()[j]), float(z.flat[k])

    def _under(
        self, mask: Bools, owner: NDArray[np.int32]
    ) -> tuple[NDArray[np.int32], Floats, Floats, Floats]:
        """Return kind and row of the owners of some columns, and where these stand."""
        j, i = np.nonzero(mask)
        mine = owner[j, i]
        packed = self.surface.packed
        return packed.code[mine] // 8, packed.rows[mine], self.grid.x()[i], self.grid.y()[j]

    def in_zone(self, mask: Bools, owner: NDArray[np.int32], bit: int) -> Bools:
        """Return the columns of a mask over which a zone stood at its lowest."""
        found = mask.copy()
        if mask.any():
            found[mask] = self.edge.zone_at(_nearest(*self._under(mask, owner))) == bit
        return found

    def volumes(
        self, cuts: Bools, before: Floats, after: Floats, depth: Floats,
        owner: NDArray[np.int32], border: Bools,
    ) -> None:  # fmt: skip
        """Share the metal out: the bottom's, then the corner's by height, the rest the side's."""
        if not cuts.any():
            return
        kind, rows, x, y = self._under(cuts, owner)
        tip = rows[:, 2] - rows[:, 17]
        taken, low = depth[cuts], after[cuts]
        top = self.edge.corner_top
        bottom = np.minimum(taken, self._sunk(kind, rows, x, y, owner[cuts]))
        # Over the place where the end stopped, and under it where it came down.
        foot = np.maximum(low, tip) + bottom
        corner = np.clip(tip + top - foot, 0.0, taken - bottom)
        if (kind == POINT).any():
            zone = self.edge.zone_at(_nearest(kind, rows, x, y))
            plunged = kind == POINT
            bottom = np.where(plunged, np.where(zone == BITS["bottom"], taken, 0.0), bottom)
            corner = np.where(plunged, np.where(zone == BITS["corner"], taken, 0.0), corner)
        side = taken - bottom - corner
        if not any(p.label == "corner" for p in self.edge.pieces):  # a drill's point
            bottom, corner = bottom + corner, np.zeros_like(corner)
        error = depth[cuts & border].sum()
        self.into.volume += [float(v) for v in (bottom.sum(), corner.sum(), side.sum(), error)]

    def _sunk(
        self, kind: NDArray[np.int32], rows: Floats, x: Floats, y: Floats,
        owner: NDArray[np.int32],
    ) -> Floats:  # fmt: skip
        """Return how far the flat end came down on a ramp while it stood over each column."""
        packed, moves = self.surface.packed, self.surface.job.program.moves
        move = packed.move[owner]
        falls = ~(moves.start[move, 2] < moves.end[move, 2])
        length = np.where(rows[:, 7] > 0, rows[:, 5] * rows[:, 7], rows[:, 5])
        slope = rows[:, 6] / np.maximum(length, 1e-12)
        sunk = np.minimum(_over_column(kind, rows, x, y, self.edge.flat) * slope, rows[:, 6])
        return np.where((kind != POINT) & (rows[:, 6] > 0) & falls, sunk, 0.0)

    def floors(self, mask: Bools, before: Floats, face: Floats, owner: NDArray[np.int32]) -> None:
        """Note gap or bite over level floors of earlier passes."""
        number = int(self.surface.packed.passes[self.rows[0]])
        by = self.surface.by[self.part]
        mask = mask & (by > 0) & (by < number)
        if not mask.any():
            return
        scale = 10.0**DIGITS
        j, i = np.nonzero(mask)
        key = np.stack([
            by[mask].astype(np.int64), np.rint(before[mask] * scale).astype(np.int64),
            np.rint(face[mask] * scale).astype(np.int64),
        ], axis=1)  # fmt: skip
        border = _border(mask)[mask]
        packed = (key[:, 0] << 1) ^ (key[:, 1] * 2654435761) ^ (key[:, 2] * 40503)
        _, first, inverse = np.unique(packed, return_index=True, return_inverse=True)
        cells = np.bincount(inverse)
        rim = np.bincount(inverse, weights=border)
        lines = self.surface.job.program.moves.line
        for k, at in enumerate(first.tolist()):
            x, y = float(self.grid.x()[i[at]]), float(self.grid.y()[j[at]])
            line = float(lines[self.surface.packed.move[owner[j[at], i[at]]]])
            row = self.into.floors.setdefault(tuple(key[at].tolist()), [0.0, 0.0, x, y, line])
            row[0] += float(cells[k])
            row[1] += float(rim[k])


def _border(mask: Bools) -> Bools:
    """Return the columns of a mask that have a neighbour outside it."""
    wide = np.pad(mask, 1)
    inner = wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:]
    border: Bools = mask & ~inner
    return border


def _nearest(kind: NDArray[np.int32], rows: Floats, x: Floats, y: Floats) -> Floats:
    """Return the distance in plan from columns to the path of their rows."""
    dx, dy = x - rows[:, 0], y - rows[:, 1]
    along = np.clip(dx * rows[:, 3] + dy * rows[:, 4], 0.0, rows[:, 5])
    line = np.hypot(dx - along * rows[:, 3], dy - along * rows[:, 4])
    vx, vy = x - rows[:, 3], y - rows[:, 4]
    ring = np.abs(np.hypot(vx, vy) - rows[:, 5])
    ends = np.minimum(np.hypot(dx, dy), np.hypot(x - rows[:, 14], y - rows[:, 15]))
    angle = rows[:, 8] * (
        np.arctan2(vy, vx) - np.arctan2(rows[:, 1] - rows[:, 4], rows[:, 0] - rows[:, 3])
    )
    on = np.mod(angle, 2 * math.pi) <= rows[:, 7] + 1e-12
    arc = np.where(on, ring, ends)
    round_ = (kind == ARC) | (kind == HELIX)
    return np.where(kind == POINT, np.hypot(dx, dy), np.where(round_, arc, line))


def _over_column(
    kind: NDArray[np.int32], rows: Floats, x: Floats, y: Floats, flat: float
) -> Floats:
    """Return the length of path on which the flat end stands over each column, mm.

    On an arc of radius P about Q the end of radius f is over a column at distance d from Q while
    it is within acos((P^2 + d^2 - f^2) / 2 P d) of it; ends of the path cut that short on a line.
    """
    dx, dy = x - rows[:, 0], y - rows[:, 1]
    along, aside = dx * rows[:, 3] + dy * rows[:, 4], dx * rows[:, 4] - dy * rows[:, 3]
    half = np.sqrt(np.maximum(flat * flat - aside * aside, 0.0))
    first, last = np.clip(along - half, 0.0, rows[:, 5]), np.clip(along + half, 0.0, rows[:, 5])
    d = np.maximum(np.hypot(x - rows[:, 3], y - rows[:, 4]), 1e-12)
    P = np.maximum(rows[:, 5], 1e-12)
    half_turn = np.arccos(np.clip((P * P + d * d - flat * flat) / (2 * P * d), -1.0, 1.0))
    turned = np.minimum(2 * half_turn, rows[:, 7])
    round_ = (kind == ARC) | (kind == HELIX)
    return np.where(round_, turned * rows[:, 5], np.maximum(last - first, 0.0))
