"""Lines of interest of a program: what a person would look at before a first run.

What is one, is common practice, no source. With a job:

- a rapid below the stock's top that meets the stock as seen from above, the tool's radius counted,
  and goes neither straight up nor straight down where this tool has fed as deep before;
- a feed move that stays at or above the lowest height over the stock at which rapids run sideways,
  or to which they rise;
- an H register that is not the tool's number, where the program's tools have their own otherwise,
  or that is another tool's number, or that two tools share. (That G43 is missing, the reader says.)

And in any case a feed move with the spindle off, or with no feed. Without a job, a feed move at or
above the highest height at which that tool's rapids run sideways.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from .moves import Moves
from .program import Reading
from .units import Unit, say_length

if TYPE_CHECKING:
    from .job import Job

__all__ = ["Remark", "by_first", "lines_of_interest", "rapid_height", "those"]

LEVEL: Final = 1e-6
"""Heights nearer than this are one, mm."""

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Remark = tuple[int, str]
"""A line and what is said of it."""


def by_first(numbers: NDArray[np.int32]) -> list[int]:
    """Return the numbers, each once, in the order in which they first come."""
    values, first = np.unique(numbers, return_index=True)
    found: list[int] = values[np.argsort(first)].tolist()
    return found


def those(moves: Moves, found: Mask) -> Moves:
    """Return the moves that were found; no copy where that is all of them."""
    return moves if found.all() else moves[found]


def lines_of_interest(reading: Reading, unit: Unit, job: Job | None) -> Iterator[Remark]:
    """Yield line and text of what a person would look at before a first run.

    Parameters
    ----------
    reading : Reading
    unit : {'in', 'mm'}
        For heights in the texts.
    job : Job or None
        Its stock and tools; None: what needs them is left out.
    """
    moves = reading.program.moves
    over = math.inf if job is None else rapid_height(moves, float(job.stock.high[2]))
    for number in by_first(moves.tool):
        own = those(moves, moves.tool == number)
        feeds = those(own, ~own.rapid)
        yield from _fed_high(feeds, rapid_height(own, None) if job is None else over, number, unit)
        yield from _first_of(
            feeds,
            feeds.spindle == 0,
            f"tool {number} cuts with the spindle off (no M3 or M4 with S)",
        )
        still = (feeds.feed == 0) & (feeds.lengths() > 0)
        yield from _first_of(feeds, still, f"tool {number} cuts with feed 0")
        if job is not None:
            radius = job.tools[number].diameter / 2
            yield from _rapids_below(own, job, radius, number, unit)
    if job is not None:
        yield from _wrong_registers(those(moves, ~moves.rapid), reading.warnings)


def _first_of(moves: Moves, found: Mask, text: str) -> Iterator[Remark]:
    """Yield the first line of what was found, and how many moves it is."""
    lines = moves.line[found]
    if len(lines):
        more = f" ({len(lines):,} moves, the last at line {lines[-1]})" if len(lines) > 1 else ""
        yield int(lines[0]), text + more


def _sideways(moves: Moves) -> Mask:
    moved: Mask = (moves.start[:, :2] != moves.end[:, :2]).any(axis=1)
    return moved & np.isfinite(moves.start).all(axis=1)


def rapid_height(moves: Moves, top: float | None) -> float:
    """Return the height at which rapids run sideways, mm; infinite: none does.

    With `top` the lowest over it, and the heights to which rapids rise count too.
    """
    rapids = moves[moves.rapid]
    heights = np.minimum(rapids.start[:, 2], rapids.end[:, 2])[_sideways(rapids)]
    if top is not None:
        risen = rapids.end[:, 2][rapids.end[:, 2] > rapids.start[:, 2]]
        heights = np.concatenate([heights, risen])
        heights = heights[heights > top + LEVEL]
    if not len(heights):
        return math.inf
    return float(heights.max() if top is None else heights.min())


def _fed_high(feeds: Moves, height: float, number: int, unit: Unit) -> Iterator[Remark]:
    found = np.minimum(feeds.start[:, 2], feeds.end[:, 2]) >= height - LEVEL
    found[found] = feeds[found].lengths() > 0
    text = (
        f"tool {number} moves at feed at the height of rapids, {say_length(height, unit)} or over"
    )
    yield from _first_of(feeds, found, text)


def _rapids_below(own: Moves, job: Job, radius: float, number: int, unit: Unit) -> Iterator[Remark]:
    low, high = np.array(job.stock.low), np.array(job.stock.high)
    lows = np.minimum(own.start[:, 2], own.end[:, 2])
    known = np.isfinite(own.start).all(axis=1)
    rising = _upright(own) & (own.end[:, 2] >= own.start[:, 2])
    found = own.rapid & known & ~rising & (lows < high[2] - LEVEL)
    found[found] = _meets(own[found], low[:2] - radius, high[:2] + radius)
    if found.any():
        found &= ~_into_own_hole(own)
    if not found.any():
        return
    deepest = int(np.argmin(np.where(found, lows, np.inf)))
    lowest = f"lowest {say_length(float(lows[deepest]), unit)} at line {own.line[deepest]}"
    below = f"tool {number} moves at rapid below the stock's top"
    for line, text in _first_of(own, found, below):
        yield line, f"{text}; {lowest}"


def _upright(moves: Moves) -> Mask:
    still: Mask = (moves.start[:, :2] == moves.end[:, :2]).all(axis=1)
    return still


def _into_own_hole(own: Moves) -> Mask:
    """Return which rapids go straight down no deeper than this tool has fed there before."""
    found = np.zeros(len(own), dtype=np.bool_)
    deepest: dict[tuple[float, float], float] = {}
    for k in np.flatnonzero(_upright(own)).tolist():
        x, y, z = own.end[k].tolist()
        if own.rapid[k]:
            found[k] = z >= deepest.get((x, y), math.inf) - LEVEL
        else:
            deepest[x, y] = min(z, deepest.get((x, y), math.inf))
    return found


def _meets(moves: Moves, low: Floats, high: Floats) -> Mask:
    """Return which straight moves come inside a rectangle in plan, its border left out."""
    start, along = moves.start[:, :2], moves.end[:, :2] - moves.start[:, :2]
    still = along == 0
    step = np.where(still, 1.0, along)
    a, b = (low - start) / step, (high - start) / step
    enters = np.where(still, -np.inf, np.minimum(a, b)).max(axis=1)
    leaves = np.where(still, np.inf, np.maximum(a, b)).min(axis=1)
    inside = (~still | ((start > low) & (start < high))).all(axis=1)
    meets: Mask = inside & (np.maximum(enters, 0.0) < np.minimum(leaves, 1.0))
    return meets


def _wrong_registers(feeds: Moves, said: Iterable[Remark]) -> Iterator[Remark]:
    """Yield H registers that are likely another tool's; those that the reader names left out."""
    codes, first = np.unique(
        feeds.tool.astype(np.int64) << 32 | feeds.h_register, return_index=True
    )
    rows = [
        (c >> 32, c & 0xFFFFFFFF, int(feeds.line[k]))
        for c, k in zip(codes.tolist(), first, strict=True)
    ]
    tools = {tool for tool, _, _ in rows}
    rows = [row for row in rows if row[1]]
    own = any(tool == register for tool, register, _ in rows)
    users: dict[int, list[int]] = {}
    for tool, register, _ in rows:
        users.setdefault(register, []).append(tool)
    named = {text.split(", set before")[0] for _, text in said}
    for tool, register, line in rows:
        others = [f"T{n}" for n in users[register] if n != tool]
        text = f"tool {tool} cuts under H{register}"
        if text in named or tool == register or not (others or own or register in tools):
            continue
        if others:
            yield line, f"{text}, as {' and '.join(others)} does"
        else:
            yield line, f"{text}, not H{tool}"
