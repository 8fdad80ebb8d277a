"""How near neck, shank and holder come to the stock, and every part of a tool to the fixture.

The gap of a move is the least distance in space from the part, wherever the move takes it, to the
stock left by all earlier moves and by the same move's cutting part. Where they overlap it is minus
the deepest overlap. The stock is taken as solid under what is seen from above: a hollow that an
undercutting tool left counts as metal.

A search over squares in plan finds the place within `FOUND`, leaving out a square only when bounds
show that nothing in it is nearer; rays then polish the number.
"""

from __future__ import annotations

import dataclasses
import math
import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .clearance_stock import outline, raw_tops
from .pieces import CUTTING, Piece, line_piece
from .units import MM_PER, Unit

if TYPE_CHECKING:
    from .job import Job
    from .tools import Tool

__all__ = ["FOUND", "Clearance", "Gap", "StockGaps", "box_gap", "find_clearance", "frustums"]

Floats = NDArray[np.float64]

FOUND: Final = 1e-3
"""The search leaves out what could be nearer by no more than this, mm; rays polish the rest."""
SLACKS: Final = (1.0, 0.1, 0.01, FOUND)
"""The search is made coarse first: what it finds leaves the finer ones little to look at, mm."""
OVERLAP_SLACKS: Final = (1e-4, 1e-5, 1e-6, 1e-7)
"""An overlap is looked at more finely: on the brink of the metal there is no way downhill, mm."""
OVERLAP_MOST: Final = 20_000
"""Squares of one move that this takes at most: away from a brink the polish has been finer."""
MOST: Final = 1_000_000
"""Squares of one move that the search looks at, as its kernel has it."""
ROUND_PIECES: Final = 24
"""Cones that stand for a round flank of a neck, shank or holder."""
TOUCH: Final = 4e-9
"""A gap or an overlap smaller than this is a touch, mm: rounding, and the search's own steps."""
FINEST: Final = 1e-8
"""Last step of the polish, mm."""
BACK: Final = 0.05
"""Rays of the polish begin this far from the metal, mm."""

Progress = Callable[[float], None]


@dataclasses.dataclass(frozen=True)
class Gap:
    """The least gap of one part of one tool to one thing.

    Attributes
    ----------
    tool : int
    part : str
        ``neck``, ``shank``, ``holder``, or of a fixture also a cutting part's label.
    against : str
        ``stock`` or the fixture's name.
    gap : float
        mm; 0 or less where it touches: minus the deepest overlap.
    at : (x, y, z)
        Where, on the stock or the fixture, mm.
    move : int
    pass_number, line : int
        Of that move; 0 where it belongs to no pass.
    """

    tool: int
    part: str
    against: str
    gap: float
    at: tuple[float, float, float]
    move: int
    pass_number: int
    line: int


@dataclasses.dataclass(frozen=True)
class Clearance:
    """Gaps of a job, the least first.

    Attributes
    ----------
    unit : {'in', 'mm'}
    gaps : tuple of Gap
    notes : tuple of str
        What could not be judged.
    """

    unit: Unit
    gaps: tuple[Gap, ...]
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data, lengths in the job's unit."""
        per = MM_PER[self.unit]
        rows = [
            {
                "tool": g.tool,
                "part_of_tool": g.part,
                "against": g.against,
                "gap": g.gap / per,
                "at": [v / per for v in g.at],
                "pass": g.pass_number or None,
                "line": g.line or None,
            }
            for g in self.gaps
        ]
        return {"unit": self.unit, "gaps": rows, "notes": list(self.notes)}


def find_clearance(
    job: Job,
    *,
    as_of: int | None = None,
    within: float = math.inf,
    progress: Progress | None = None,
) -> Clearance:
    """Return the least gap of each part of each tool to the stock and to each fixture.

    Parameters
    ----------
    job : Job
    as_of : int, optional
        Moves that are looked at; all unless given.
    within : float, optional
        Gaps to the stock from here on are left out, which is quicker, mm.
    progress : callable, optional
        Called with the share done, 0 to 1.
    """
    count = len(job.program.moves) if as_of is None else as_of
    say = progress or (lambda _: None)
    stock = StockGaps(job, count)
    tasks = sorted(_parts_used(job, count), key=lambda task: -len(task[3]))  # the longest first
    shares, lock = [0.0] * len(tasks), threading.Lock()

    def work(k: int) -> list[Gap]:
        def share(done: float) -> None:
            with lock:
                shares[k] = done
                say(sum(shares) / len(tasks))

        found = list(_gaps_of(job, stock, *tasks[k], share, within))
        share(1.0)
        return found

    with ThreadPoolExecutor(job.threads or os.cpu_count() or 1) as pool:
        gaps = [gap for found in pool.map(work, range(len(tasks))) for gap in found]
    gaps.sort(key=lambda g: (round(g.gap, 9), g.tool, g.part, g.against))
    notes = list(_notes(job, count))
    if stock.short:
        notes.append(
            "the search was cut short on some move, where very much is equally near: look at the "
            "least gaps by hand"
        )
    return Clearance(job.unit, tuple(gaps), tuple(notes))


def _gaps_of(
    job: Job, stock: StockGaps, tool: Tool, label: str, parts: Floats, moves: NDArray[np.int64],
    say: Progress, within: float,
) -> Iterator[Gap]:  # fmt: skip
    """Yield the gaps of one part of a tool: to the stock, unless it cuts, and to every fixture."""
    if label not in CUTTING:
        found = stock.least(parts, moves, say, within)
        if found is not None:
            yield _gap(job, tool.number, label, "stock", *found)
    for setup, name, low, high in _boxes(job):
        mine = moves[job.program.moves.setup[moves] == setup]
        found = box_gap(stock, parts, mine, (*low, *high))
        if found is not None:
            part = _bottom_or(job, tool, label, found)
            yield _gap(job, tool.number, part, name, *found)


def _bottom_or(job: Job, tool: Tool, label: str, found: tuple[float, Floats, int]) -> str:
    """Return the label, or ``bottom`` where the thing lies under a flat end that cuts."""
    first = tool.pieces[0]
    if label not in CUTTING or first.label != label or first.r_low <= 0:
        return label
    _, place, move = found
    tip = float(job.sweeps.paths[move, 2])
    return "bottom" if place[2] <= tip + TOUCH else label


def _gap(job: Job, tool: int, label: str, against: str, gap: float, at: Floats, move: int) -> Gap:
    moves = job.program.moves
    x, y, z = (float(v) for v in at)
    gap = 0.0 if abs(gap) < TOUCH else float(gap)
    return Gap(
        tool, label, against, gap, (x, y, z), move,
        int(moves.pass_number[move]), int(moves.line[move]),
    )  # fmt: skip


def _parts_used(job: Job, count: int) -> Iterator[tuple[Tool, str, Floats, NDArray[np.int64]]]:
    """Yield tool, label, its frustums and its moves, for every tool that moves."""
    moves = job.program.moves
    sweeps = moves.sweeps()
    sweeps[count:] = False
    for number in np.unique(moves.tool[sweeps]).tolist():
        tool = job.tools[number]
        mine = np.flatnonzero(sweeps & (moves.tool == number))
        labels = dict.fromkeys(p.label for p in tool.pieces)
        for label in labels:
            parts = frustums([p for p in tool.pieces if p.label == label])
            yield tool, label, parts, mine


def frustums(pieces: Sequence[Piece]) -> Floats:
    """Return pieces as rows (z_low, z_high, r_low, r_high); neighbours of one radius are one."""
    rows: list[list[float]] = []
    for piece in (part for p in pieces for part in _straightened(p)):
        row = [piece.z_low, piece.z_high, piece.r_low, piece.r_high]
        last = rows[-1] if rows else None
        if last and last[1] == row[0] and last[2] == last[3] == row[2] == row[3]:
            last[1] = row[1]
        else:
            rows.append(row)
    return np.array(rows, np.float64).reshape(-1, 4)


def _straightened(piece: Piece) -> list[Piece]:
    if piece.arc is None:
        return [piece]
    _, center_z, radius = piece.arc
    R = abs(radius)
    a, b = (math.asin(max(-1.0, min(1.0, (z - center_z) / R))) for z in (piece.z_low, piece.z_high))
    turns = [a + (b - a) * i / ROUND_PIECES for i in range(ROUND_PIECES + 1)]
    zs = [piece.z_low, *(center_z + R * math.sin(t) for t in turns[1:-1]), piece.z_high]
    rs = [piece.radius_at(z) for z in zs]
    return [
        line_piece(piece.label, zs[i], rs[i], zs[i + 1], rs[i + 1])
        for i in range(ROUND_PIECES)
        if zs[i + 1] > zs[i] and max(rs[i], rs[i + 1]) > 0
    ]


def _boxes(job: Job) -> Iterator[tuple[int, str, Sequence[float], Sequence[float]]]:
    """Yield setup, name and corners of every box of the fixture."""
    for index, setup in enumerate(job.spec.setups):
        for box in setup.fixture:
            yield index, box.name, box.low, box.high


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
            finer = slack < FOUND
            if finer and best[0] >= -slack:
                break
            for k, i in enumerate(order.tolist()):
                if low[i] >= best[0] - slack:
                    break
                self.search(int(moves[i]), parts, best, slack, OVERLAP_MOST if finer else MOST)
                if k % 64 == 0 and not finer:
                    progress((n + k / len(order)) / len(SLACKS))
            if best[4] < 0:
                return None
            if best[5] > MOST and not finer:
                self.short = True
            self.polished(parts, best)
        return float(best[0]), self.midway(parts, best), int(best[4])

    def polished(self, parts: Floats, best: Floats) -> None:
        """Better the best by small steps."""
        for polish in (self.polish, self.polish_columns):
            gap, place, m = polish(parts, best)
            if gap < best[0]:
                best[:5] = gap, *place, m

    def lowest(self, parts: Floats, moves: NDArray[np.int64], within: float = math.inf) -> Floats:
        """Return what the gap of each move can't be less than, or `within` if that is less."""
        from .kernels.gap_bounds import first_bounds

        p = self.packed
        low = np.empty(len(moves))
        first_bounds(
            moves, self.table, parts, p.code, p.rows, self.row_of, self.boxes, self.by_row,
            self.raw.copy(), within, low,
        )  # fmt: skip
        return low

    def search(self, m: int, parts: Floats, best: Floats, slack: float, most: int = MOST) -> None:
        """Search the stock round one move for what is nearer than the best by more than slack.

        most: squares that are looked at.
        """
        from .kernels.gap_bounds import box_bounds
        from .kernels.gap_search import search_move

        p = self.packed
        best[5] = MOST - most
        bounds = np.full(len(self.raw), np.inf)
        box_bounds(m, self.table, parts, self.boxes, self.raw, best, bounds)
        nearest = np.argsort(bounds, kind="stable")[: int((bounds < best[0] - slack).sum())]
        search_move(
            m, self.table, parts, p.code, p.rows, int(self.row_of[m + 1]), self.boxes, nearest,
            self.lists, self.raw, self.outline, best, slack,
        )  # fmt: skip

    def polish(self, parts: Floats, best: Floats) -> tuple[float, Floats, int]:
        """Walk downhill over the metal's face, by rays, from where the search ended."""
        m, place = int(best[4]), best[1:4].copy()
        gap = float(self.gaps(m, parts, place[None])[0])
        way = self.direction(m, parts, place)
        if way is None:
            return float(best[0]), place, m
        sides = _across(way)
        found = self.hits(m, parts, place[None] - BACK * way, way)
        if found is None:
            return float(best[0]), place, m
        gap, place = found
        step = 16 * FOUND
        while step > FINEST:
            around = place[None] - BACK * way + step * sides
            trial = self.hits(m, parts, around, way)
            if trial is not None and trial[0] < gap - 1e-11:
                gap, place = trial
            else:
                step /= 2
        return gap, place, m

    def polish_columns(self, parts: Floats, best: Floats) -> tuple[float, Floats, int]:
        """Walk downhill over columns: where metal is on all sides, rays meet no face."""
        m, place, gap = int(best[4]), best[1:4].copy(), float(best[0])
        step = 16 * FOUND
        while step > FINEST:
            around = place[:2] + step * CIRCLE
            gaps, places = self.columns(m, parts, around)
            k = int(np.argmin(gaps))
            if gaps[k] < gap - 1e-11:
                gap, place = float(gaps[k]), places[k]
            else:
                step /= 2
        return gap, place, m

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


def _notes(job: Job, count: int) -> Iterator[str]:
    used = np.unique(job.program.moves.tool[:count]).tolist()
    tools: Mapping[int, Tool] = {n: job.tools[n] for n in used if n in job.tools}
    for number, tool in tools.items():
        behind = {p.label for p in tool.pieces} - CUTTING
        if not behind:
            yield (
                f"tool {number}: nothing is known behind its cutting part; give APMX and DMM, and "
                "LPR with a holder, to have them judged"
            )
        elif not behind & {"holder"}:
            yield f"tool {number}: no holder given; only its {' and '.join(sorted(behind))} judged"
        if tool.undercut:
            yield f"tool {number} undercuts; hollows that it left are taken as solid here"
