"""The search for the least gap between a stack of frustums on its way and what stands there."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .clearance_stock import outline, raw_tops

if TYPE_CHECKING:
    from .job import Job
    from .moves import Moves

__all__ = ["FOUND", "TOUCH", "StockGaps", "box_gap"]

Floats = NDArray[np.float64]

FOUND: Final = 1e-3
"""The search leaves out what could be nearer by no more than this, mm; rays polish the rest."""
SLACKS: Final = (1.0, 0.1, 0.01, FOUND)
"""The search is made coarse first: what it finds leaves the finer ones little to look at, mm."""
OVERLAP_SLACKS: Final = (1e-4, 1e-5, 1e-6, 1e-7)
"""An overlap is looked at more finely: on the brink of the metal there is no way downhill, mm."""
OVERLAP_MOST: Final = 400_000
"""Work on one move that this takes at most: away from a brink the polish has been finer."""
MOST: Final = 1_000_000
"""Work on one move, about a microsecond each, as its kernel has it."""
MOST_IN_ALL: Final = 3_000_000
"""Work on all moves of a tool at one slack."""
TOUCH: Final = 4e-9
"""A gap or an overlap smaller than this is a touch, mm: rounding, and the search's own steps."""
FINEST: Final = 1e-8
"""Last step of the polish, mm."""
COARSE: Final = 1e-4
"""The same while the search is coarse: the next one begins anew."""
STEPS: Final = 2000
"""Most steps of a polish: along a bent ridge it goes on by next to nothing."""
LONGEST: Final = 0.5
"""Longest step of the polish, mm."""
LEAST: Final = 1e-11
"""The polish goes on only where it gains more than this, mm: rounding gains less."""
GENTLE: Final = 1e-6
"""And more than this share of its step: a slope so gentle gains a millionth of a mm over 1 mm."""
BACK: Final = 0.05
"""Rays of the polish begin this far from the metal, mm."""

Progress = Callable[[float], None]


def _lowest_tips(moves: Moves, which: NDArray[np.int64]) -> Floats:
    """Return the lowest z of the tip on moves, mm."""
    low: Floats = np.fmin(moves.start[which, 2], moves.end[which, 2])
    return low


def box_gap(
    stock: StockGaps, parts: Floats, moves: NDArray[np.int64], box: tuple[float, ...]
) -> tuple[float, Floats, int] | None:
    """Return gap, place and move of the least gap of frustums to a box; None: no move.

    Parameters
    ----------
    stock : StockGaps
        Its paths of the moves.
    parts : ndarray of float64, shape (n, 4)
        Frustums: z_low, z_high, r_low, r_high over the tip, mm.
    moves : ndarray of int64
    box : tuple of float
        Low and high corner, mm.
    """
    from .kernels.gap_boxes import box_gaps

    best = np.array([math.inf, 0.0, 0.0, 0.0, -1.0])
    box_gaps(moves, stock.table, parts, np.array(box), best)
    if best[4] < 0:
        return None
    return float(best[0]), best[1:4], int(best[4])


class StockGaps:
    """Gaps to the stock as it was at each move.

    Parameters
    ----------
    job : Job
    count : int
        Moves that are looked at.
    """

    def __init__(self, job: Job, count: int) -> None:
        from .prober import Prober

        self.job = job
        self.sweeps = job.sweeps
        self.table = (self.sweeps.kind, self.sweeps.paths)
        self.packed = job.packed.upto(count)
        self.prober = Prober(self.packed, job.stock)
        total = len(job.program.moves)
        self.row_of = np.searchsorted(job.packed.move, np.arange(total + 1)).astype(np.int64)
        offsets, ids, box, _ = self.prober.lists()
        self.lists = (offsets, ids)
        self.boxes = box
        self.raw = raw_tops(job.stock, box)
        self.outline = outline(job.stock)
        self.short = False
        self.by_row = _turned(offsets, ids, len(self.packed.code))

    def least(
        self, parts: Floats, moves: NDArray[np.int64], progress: Progress, within: float = math.inf
    ) -> tuple[float, Floats, int] | None:
        """Return gap, place and move of the least gap of a stack of frustums; None: no stock.

        Or none so near: gaps of `within` and more are not looked for, mm.
        """
        low = self.lowest(parts, moves, within)
        best = np.array([within, 0.0, 0.0, 0.0, -1.0, 0.0])
        order = np.argsort(low, kind="stable")
        for n, slack in enumerate((*SLACKS, *OVERLAP_SLACKS)):
            finer, over, spent = slack < FOUND, False, 0.0
            if finer and best[0] >= -slack:
                break
            for k, i in enumerate(order.tolist()):
                if low[i] >= best[0] - slack:
                    break
                most = OVERLAP_MOST if finer else MOST
                self.search(int(moves[i]), parts, best, slack, most)
                over |= best[5] > MOST
                spent += best[5] - (MOST - most)
                # An overlap that many places have: more find no deeper one.
                if spent > (OVERLAP_MOST if finer else MOST_IN_ALL):
                    over = True
                    break
                if k % 64 == 0 and not finer:
                    progress((n + k / len(order)) / len(SLACKS))
            if best[4] < 0:
                return None
            self.polished(parts, best, COARSE if slack > FOUND else FINEST)
            if over and (slack <= FOUND or spent > MOST_IN_ALL):
                self.short |= not finer
                break
        return float(best[0]), self.midway(parts, best), int(best[4])

    def polished(self, parts: Floats, best: Floats, finest: float) -> None:
        """Better the best by small steps, down to the finest."""
        for polish in (self.polish, self.polish_columns):
            gap, place, m = polish(parts, best, finest)
            if gap < best[0]:
                best[:5] = gap, *place, m

    def lowest(self, parts: Floats, moves: NDArray[np.int64], within: float = math.inf) -> Floats:
        """Return what the gap of each move can't be less than, or `within` if that is less."""
        from .kernels.gap_bounds import first_bounds

        p = self.packed
        low = np.empty(len(moves))
        tips = _lowest_tips(self.job.program.moves, moves)
        first_bounds(
            moves, tips, self.table, parts, p.code, p.rows, self.row_of, self.boxes, self.by_row,
            self.raw.copy(), within, low,
        )  # fmt: skip
        return low

    def search(self, m: int, parts: Floats, best: Floats, slack: float, most: int = MOST) -> None:
        """Search the stock round one move for what is nearer than the best by more than slack.

        most: how much work it may be.
        """
        from .kernels.gap_bounds import box_bounds
        from .kernels.gap_search import search_move

        p = self.packed
        best[5] = MOST - most
        bounds = np.full(len(self.raw), np.inf)
        tip = float(_lowest_tips(self.job.program.moves, np.array([m]))[0])
        box_bounds(m, tip, self.table, parts, self.boxes, self.raw, best, bounds)
        nearest = np.argsort(bounds, kind="stable")[: int((bounds < best[0] - slack).sum())]
        search_move(
            m, self.table, parts, p.code, p.rows, int(self.row_of[m + 1]), self.boxes, nearest,
            self.lists, self.raw, self.outline, best, slack,
        )  # fmt: skip

    def polish(self, parts: Floats, best: Floats, finest: float) -> tuple[float, Floats, int]:
        """Walk downhill over the metal's face, by rays, from where the search ended."""
        m, place = int(best[4]), best[1:4].copy()
        way = self.direction(m, parts, place)
        if way is None:
            return float(best[0]), place, m
        sides = _across(way)
        found = self.hits(m, parts, place[None] - BACK * way, way)
        if found is None:
            return float(best[0]), place, m

        def trial(place: Floats, step: float) -> tuple[float, Floats] | None:
            return self.hits(m, parts, place[None] - BACK * way + step * sides, way)

        return *_downhill(trial, *found, finest), m

    def polish_columns(
        self, parts: Floats, best: Floats, finest: float
    ) -> tuple[float, Floats, int]:
        """Walk downhill over columns: where metal is on all sides, rays meet no face."""
        m = int(best[4])

        def trial(place: Floats, step: float) -> tuple[float, Floats]:
            gaps, places = self.columns(m, parts, place[:2] + step * CIRCLE)
            k = int(np.argmin(gaps))
            return float(gaps[k]), places[k]

        return *_downhill(trial, float(best[0]), best[1:4].copy(), finest), m

    def columns(self, m: int, parts: Floats, plan: Floats) -> tuple[Floats, Floats]:
        """Return the gap of columns as they stood at a move, inf where nothing is; the places."""
        from .kernels.gap_search import gaps_under

        x, y = np.ascontiguousarray(plan[:, 0]), np.ascontiguousarray(plan[:, 1])
        tops, _ = self.prober.columns(x, y, int(self.row_of[m + 1]))
        places = np.column_stack([x, y, tops])
        out = np.empty(len(x))
        gaps_under(m, self.table, parts, np.where(np.isnan(tops), 0.0, tops), places, out)
        return np.where(np.isnan(tops), np.inf, out), places

    def midway(self, parts: Floats, best: Floats) -> Floats:
        """Return the place of a gap; along an upright wall the middle of where it is as small."""
        m, place = int(best[4]), best[1:4]
        low = float(self.sweeps.paths[m, 2] + parts[:, 0].min())
        if not low < place[2] - 1e-6:
            return place
        middle = np.array([place[0], place[1], 0.5 * (low + place[2])])
        way = self.direction(m, parts, middle)
        if way is None or way[2] != 0.0:
            return place
        found = self.hits(m, parts, middle[None] - BACK * way, way)
        if found is None or abs(found[0] - best[0]) > TOUCH:
            return place
        return found[1]

    def hits(
        self, m: int, parts: Floats, origins: Floats, way: Floats
    ) -> tuple[float, Floats] | None:
        """Return the least gap, and its place, where rays meet metal; None: they don't."""
        metal = self.job.rays(origins, way, as_of=m + 1, span=(0.0, 2 * BACK), threads=1)
        first = metal.first()
        some = first >= 0
        if not some.any():
            return None
        t = metal.enter[first[some]]
        places = origins[some] + t[:, None] * way
        gaps = self.gaps(m, parts, places)
        k = int(np.argmin(gaps))
        return float(gaps[k]), places[k]

    def gaps(self, m: int, parts: Floats, places: Floats) -> Floats:
        """Return the signed distance of places to the parts on a move."""
        from .kernels.gap import gaps_of_places

        out = np.empty(len(places))
        gaps_of_places(m, self.table, parts, np.ascontiguousarray(places), out)
        return out

    def direction(self, m: int, parts: Floats, place: Floats) -> Floats | None:
        """Return the direction in which the gap grows fastest at a place."""
        e = 1e-5
        steps = np.concatenate([np.eye(3) * e, -np.eye(3) * e])
        g = self.gaps(m, parts, place + steps)
        way = g[:3] - g[3:]
        length = float(np.sqrt(way @ way))
        if length < 0.1 * e:
            return None
        way = way / length
        way[np.abs(way) < 1e-9] = 0.0  # a wall upright to the last digit
        unit: Floats = way / np.sqrt(way @ way)
        return unit


def _downhill(
    trial: Callable[[Floats, float], tuple[float, Floats] | None],
    gap: float, place: Floats, finest: float,
) -> tuple[float, Floats]:  # fmt: skip
    """Return the least gap, mm, and its place, by ever smaller steps.

    trial: the least gap one step from a place, and where; None: nothing is there.
    """
    step = 16 * FOUND
    for _ in range(STEPS):
        if step <= finest:
            break
        found = trial(place, step)
        if found is not None and found[0] < gap - max(LEAST, GENTLE * step):
            gap, place = found
            step = min(2 * step, LONGEST)  # a long gentle slope takes few steps
        else:
            step /= 2
    return gap, place


def _circle() -> Floats:
    angles = np.arange(8) * math.pi / 4
    return np.column_stack([np.cos(angles), np.sin(angles)])


CIRCLE: Final = _circle()


def _across(way: Floats) -> Floats:
    """Return eight unit steps square to a direction."""
    other = np.eye(3)[int(np.argmin(np.abs(way)))]
    u = np.cross(way, other)
    u /= np.sqrt(u @ u)
    v = np.cross(way, u)
    steps: Floats = CIRCLE[:, :1] * u + CIRCLE[:, 1:] * v
    return steps


def _turned(
    offsets: NDArray[np.int64], ids: NDArray[np.int32], count: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return, for each row, the boxes that list it."""
    box = np.repeat(np.arange(len(offsets) - 1), np.diff(offsets))
    order = np.argsort(ids, kind="stable")
    starts = np.concatenate([[0], np.cumsum(np.bincount(ids, minlength=count))])
    return starts.astype(np.int64), box[order].astype(np.int64)
