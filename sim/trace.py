"""Exact heights along a line in plan, and every step on it.

The line is cut where some move's sheet begins, ends or turns flat: between two such places every
sheet is smooth. Columns inside each piece find which pass shows; where two neighbours differ the
change is halved down to neighbouring numbers.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .pack import Packed
from .prober import Prober
from .stock import Stock
from .units import MM_PER, Unit, say_length, to_unit

if TYPE_CHECKING:
    from .deep import DeepColumns

__all__ = ["Trace", "TracePoints", "TraceStep", "trace"]

JUMP = 1e-6
"""A change of height smaller than this across neighbouring numbers is no jump, mm: under a rim,
where the slope has no limit, neighbouring places differ by up to about that."""
NEAR = 1e-9
"""Sheets nearer than this, and places nearer than this along the line, are one, mm."""
INSIDE = (0.02, 0.25, 0.5, 0.75, 0.98)
"""Where each piece is asked, as shares of its length."""
PIECES = 256
"""Least number of stretches of the line with a short list of moves each."""
MOST_POINTS = 2_000_000


@dataclasses.dataclass(frozen=True)
class TracePoints:
    """Columns along the line; arrays of one length.

    Attributes
    ----------
    s, x, y, z : ndarray of float64
        Distance from the start, place and height, mm; z is NaN where nothing is left.
    pass_number, line : ndarray of int32
        Pass (0 raw, -1 nothing) and program line (0 none).
    """

    s: NDArray[np.float64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    pass_number: NDArray[np.int32]
    line: NDArray[np.int32]


@dataclasses.dataclass(frozen=True)
class TraceStep:
    """A place on the stock where the pass changes or the surface jumps.

    Attributes
    ----------
    s, x, y : float
        mm.
    jump : float or None
        Height just after less height just before, mm; 0 where sheets cross; None at the edge of a
        through cut. (The stock's own sides are no steps.)
    height : float or None
        First level of the pass after less first level of the pass before, walking away from
        here, mm; None where one of them has none on the line.
    from_pass, to_pass : int or None
        None where nothing is left.
    """

    s: float
    x: float
    y: float
    jump: float | None
    height: float | None
    from_pass: int | None
    to_pass: int | None


@dataclasses.dataclass(frozen=True)
class Trace:
    """The outcome of `trace`; lengths in mm, `as_dict` in the job's unit."""

    unit: Unit
    points: TracePoints
    steps: tuple[TraceStep, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return the trace as plain numbers in the job's unit, ready for JSON."""
        per, p = MM_PER[self.unit], self.points
        columns = zip(p.s, p.x, p.y, p.z, p.pass_number, p.line, strict=True)
        return {
            "unit": self.unit,
            "points": [
                {
                    "s": float(s) / per,
                    "x": float(x) / per,
                    "y": float(y) / per,
                    "z": None if math.isnan(z) else float(z) / per,
                    "pass": int(n) if n >= 0 else None,
                    "line": int(line) or None,
                }
                for s, x, y, z, n, line in columns
            ],
            "steps": [
                {
                    "s": t.s / per,
                    "x": t.x / per,
                    "y": t.y / per,
                    "jump": None if t.jump is None else t.jump / per,
                    "height": None if t.height is None else t.height / per,
                    "from_pass": t.from_pass,
                    "to_pass": t.to_pass,
                }
                for t in self.steps
            ],
        }


def trace(
    packed: Packed,
    stock: Stock,
    lines: NDArray[np.int32],
    start: tuple[float, float],
    stop: tuple[float, float],
    *,
    spacing: float | None = None,
    unit: Unit = "mm",
    deep: DeepColumns | None = None,
) -> Trace:
    """Return exact heights along a line in plan, and every step on it.

    Parameters
    ----------
    packed : Packed
        Moves and tools that take part.
    stock : Stock
    lines : ndarray of int32
        Program line of each move.
    start, stop : tuple of float
        x, y of the line's ends, mm.
    spacing : float, optional
        Distance of the points, mm; a 500th of the line unless given.
    unit : {'in', 'mm'}
        The job's.
    deep : DeepColumns, optional
        As `Prober` takes it.

    Raises
    ------
    BadInput
        A line of no length, a spacing that is not positive or makes over two million points.
    """
    length = math.hypot(stop[0] - start[0], stop[1] - start[1])
    if not math.isfinite(length) or length < 1e-6:
        raise BadInput("the trace has no length; --from and --to must be two places")
    step = length / 500 if spacing is None else spacing
    if not step > 0:
        raise BadInput(f"a spacing of {to_unit(step, unit):g} {unit}: it must be over 0")
    if length / step > MOST_POINTS:
        raise BadInput(
            f"a spacing of {to_unit(step, unit):g} {unit} on a line of "
            f"{say_length(length, unit)} would make over {MOST_POINTS:,} points; take a larger"
        )
    walk = _Walk(packed, stock, start, stop, length, deep)
    s = np.append(np.arange(0.0, length - 1e-9 * step, step), length)
    z, owner = walk.ask(s)
    table = np.append(lines, [0, 0]).astype(np.int32)
    x, y = walk.xy(s)
    points = TracePoints(s, x, y, z, walk.prober.passes(owner), table[owner])
    return Trace(unit, points, walk.steps())


class _Walk:
    """A line in plan over a surface."""

    def __init__(
        self,
        packed: Packed,
        stock: Stock,
        start: tuple[float, float],
        stop: tuple[float, float],
        length: float,
        deep: DeepColumns | None,
    ) -> None:
        self.prober = Prober(packed, stock, deep)
        self.start, self.length = start, length
        self.unit = ((stop[0] - start[0]) / length, (stop[1] - start[1]) / length)
        self.packed = packed
        self.cuts = self._cuts()
        self._ids, self._offsets = self._short_lists()

    def xy(self, s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the places at distances along the line."""
        return self.start[0] + s * self.unit[0], self.start[1] + s * self.unit[1]

    def _cuts(self) -> NDArray[np.float64]:
        """Return ends of stretches of the line, each inside one box of the prober."""
        found = [np.linspace(0.0, self.length, PIECES + 1)]
        for k in (0, 1):
            if self.unit[k] != 0:
                found.append((self.prober.edges(k) - self.start[k]) / self.unit[k])
        cuts = np.unique(np.concatenate(found))
        return cuts[(cuts >= 0) & (cuts <= self.length)]

    def _short_lists(self) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
        """Return the moves that can show on each stretch of the line (CSR)."""
        from .kernels.cutting import shows_near

        p, high = self.packed, self.prober.stock.high[2]
        ends = p.rows[p.members, 2] + p.rows[p.members, 16]
        in_order = bool((ends < high - JUMP).any())  # a cutting part may end below metal
        middle, half = 0.5 * (self.cuts[1:] + self.cuts[:-1]), 0.5 * np.diff(self.cuts)
        x, y = self.xy(middle)
        lists, out = [], np.empty(len(p.members), np.int32)
        for k, box in enumerate(self.prober.boxes(x, y)):
            near = half[k] * (1 + 1e-9) + 1e-9
            moves = self.prober.members(box)
            n = shows_near(p.code, p.rows, moves, x[k], y[k], near, high, in_order, out)
            lists.append(out[:n].copy())
        offsets = np.concatenate([[0], np.cumsum([len(part) for part in lists])])
        return np.concatenate(lists), offsets.astype(np.int64)

    def ask(self, s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """Return height and owner at distances along the line."""
        piece = np.clip(np.searchsorted(self.cuts, s, side="right") - 1, 0, len(self.cuts) - 2)
        x, y = self.xy(s)
        return self.prober.columns_among(
            x, y, self._ids, self._offsets[piece], self._offsets[piece + 1]
        )

    def labels(
        self, s: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
        """Return height, owner, and the owner where sheets nearer than `NEAR` are one."""
        z, owner = self.ask(s)
        piece = np.clip(np.searchsorted(self.cuts, s, side="right") - 1, 0, len(self.cuts) - 2)
        x, y = self.xy(s)
        starts, stops = self._offsets[piece], self._offsets[piece + 1]
        label = self.prober.earliest(x, y, self._ids, starts, stops, z, owner, NEAR)
        return z, owner, label

    def samples(self) -> NDArray[np.float64]:
        """Return distances at which each smooth piece of the line is asked."""
        from .kernels.breaks import breaks_along

        p, ids = self.packed, np.unique(self._ids)
        out = np.empty(32 * len(ids))
        count = breaks_along(p.code, p.rows, ids, *self.start, *self.unit, out)
        ends = np.linspace(0.0, self.length, PIECES + 1)
        places = np.unique(np.concatenate([ends, out[:count], self._stock_edges()]))
        places = places[(places >= 0) & (places <= self.length)]
        places = places[np.append(True, np.diff(places) > NEAR)]
        gaps = np.diff(places)
        inside = places[:-1, None] + gaps[:, None] * np.array(INSIDE)
        return np.unique(inside.ravel())

    def _stock_edges(self) -> NDArray[np.float64]:
        low, high = self.prober.stock.low, self.prober.stock.high
        with np.errstate(divide="ignore", invalid="ignore"):
            edges = [
                (side[k] - self.start[k]) / np.float64(self.unit[k])
                for k in (0, 1)
                for side in (low, high)
            ]
        return np.array([e for e in edges if np.isfinite(e)])

    def steps(self) -> tuple[TraceStep, ...]:
        """Return every place where the pass changes or the surface jumps, in order."""
        s = self.samples()
        z, _, label = self.labels(s)
        differs = np.flatnonzero(label[1:] != label[:-1])
        a, b, la, lb = self._close_in(
            s[differs], s[differs + 1], label[differs], label[differs + 1]
        )
        a, b, la, lb = _merged(a, b, la, lb)
        za, zb = self.ask(a)[0], self.ask(b)[0]
        pa, pb = self.prober.passes(la), self.prober.passes(lb)
        jump = zb - za
        jump[~(np.abs(jump) > JUMP)] = 0.0
        found = ((pa != pb) | (jump != 0)) & self._on_stock(a, pa) & self._on_stock(b, pb)
        runs = self._flat_runs(s, z, label)
        rows = []
        for k in np.flatnonzero(found):
            x, y = self.xy(a[k : k + 1])
            before, after = int(pa[k]), int(pb[k])
            edge = before < 0 or after < 0
            rows.append(
                TraceStep(
                    s=float(a[k]),
                    x=float(x[0]),
                    y=float(y[0]),
                    jump=None if edge else float(jump[k]),
                    height=None if edge else _level_to_level(runs, float(a[k]), before, after),
                    from_pass=before if before >= 0 else None,
                    to_pass=after if after >= 0 else None,
                )
            )
        return tuple(rows)

    def _on_stock(self, s: NDArray[np.float64], passes: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Return where something is left, or was before it was cut through."""
        top, _ = self.prober.stock.at(*self.xy(s))
        on_stock: NDArray[np.bool_] = (passes >= 0) | ~np.isnan(top)
        return on_stock

    def _close_in(
        self,
        a: NDArray[np.float64],
        b: NDArray[np.float64],
        owner_a: NDArray[np.int32],
        owner_b: NDArray[np.int32],
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
        """Halve brackets of an owner's change down to neighbouring numbers, in order along s.

        Where a third owner shows in between, the bracket becomes two.
        """
        done: list[tuple[NDArray[Any], ...]] = []
        while len(a):
            middle = 0.5 * (a + b)
            ready = (middle <= a) | (middle >= b)
            done.append((a[ready], b[ready], owner_a[ready], owner_b[ready]))
            a, b, middle = a[~ready], b[~ready], middle[~ready]
            owner_a, owner_b = owner_a[~ready], owner_b[~ready]
            _, exact, owner = self.labels(middle)
            known = (exact == owner_a) | (exact == owner_b)
            owner = np.where(known, exact, owner)
            right, left = owner == owner_a, owner == owner_b
            third = ~right & ~left
            a, b, owner_a, owner_b = (
                np.concatenate([np.where(right, middle, a), middle[third]]),
                np.concatenate([np.where(right, b, middle), b[third]]),
                np.concatenate([np.where(right, owner, owner_a), owner[third]]),
                np.concatenate([np.where(right, owner_b, owner), owner_b[third]]),
            )
        done.append((a, b, owner_a, owner_b))
        low, high, first, last = (np.concatenate(column) for column in zip(*done, strict=True))
        order = np.argsort(low, kind="stable")
        return low[order], high[order], first[order], last[order]

    def _flat_runs(
        self, s: NDArray[np.float64], z: NDArray[np.float64], owner: NDArray[np.int32]
    ) -> list[tuple[float, float, int, float]]:
        """Return (from, to, pass, z) of each stretch of level floor."""
        x, y = self.xy(s)
        flat = self.prober.flat(x, y, owner)
        passes = self.prober.passes(owner)
        runs: list[tuple[float, float, int, float]] = []
        both = flat[1:] & flat[:-1] & (passes[1:] == passes[:-1])
        both &= np.abs(np.diff(z, prepend=z[0])[1:]) <= JUMP
        for k in np.flatnonzero(both):
            p, height = int(passes[k]), float(z[k])
            if runs and runs[-1][1] == s[k] and runs[-1][2] == p and runs[-1][3] == height:
                runs[-1] = (runs[-1][0], float(s[k + 1]), p, height)
            else:
                runs.append((float(s[k]), float(s[k + 1]), p, height))
        return runs


def _merged(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    first: NDArray[np.int32],
    last: NDArray[np.int32],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
    """Make one change of those that follow each other within `NEAR` along the line."""
    if not len(a):
        return a, b, first, last
    begins = np.append(True, a[1:] - b[:-1] > NEAR)
    ends = np.append(begins[1:], True)
    a, b, first, last = a[begins], b[ends], first[begins], last[ends]
    changes = first != last
    return a[changes], b[changes], first[changes], last[changes]


def _level_to_level(
    runs: list[tuple[float, float, int, float]], at: float, before: int, after: int
) -> float | None:
    """Return first level after less first level before, walking away from `at`."""
    back = [r for r in runs if r[2] == before and r[0] < at]
    on = [r for r in runs if r[2] == after and r[1] > at]
    if not back or not on:
        return None
    return on[0][3] - back[-1][3]
