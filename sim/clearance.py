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

from .clearance_search import FOUND, TOUCH, StockGaps, box_gap
from .pieces import CUTTING, Piece, line_piece
from .units import MM_PER, Unit

if TYPE_CHECKING:
    from .job import Job
    from .tools import Tool

__all__ = ["FOUND", "Clearance", "Gap", "StockGaps", "box_gap", "find_clearance", "frustums"]

Floats = NDArray[np.float64]
ROUND_PIECES: Final = 24
"""Cones that stand for a round flank of a neck, shank or holder."""

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
