"""What a program does, before anything is cut: tools, passes, extents, time, lines of interest."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .glance import Glance, alone_settings, glance
from .interest import Remark, by_first, lines_of_interest, those
from .moves import ARC, Moves, Pass
from .program import ReaderSettings, Reading, read_file
from .toolwords import tool_names
from .units import UNITS, Unit, to_unit

if TYPE_CHECKING:
    from .job import Job

__all__ = ["MOVE_HEADS", "Box", "PassSum", "Survey", "ToolSum", "extent", "move_rows", "read_alone",
           "survey"]  # fmt: skip

CHUNK: Final = 50_000
"""Moves that are turned into rows at a time."""
MOVE_HEADS: Final = (
    *("line", "kind", "tool", "x0", "y0", "z0", "x1", "y1", "z1", "plane", "cx", "cy", "cz"),
    *("turn", "feed"),
)
"""Columns of `move_rows`."""
WITHOUT_JOB: Final = (
    "without a job (--job): any tool number is taken; checks against the stock and of H are left "
    "out"
)

Floats = NDArray[np.float64]


@dataclasses.dataclass(frozen=True)
class Box:
    """Lowest and highest x, y, z of some moves, mm; NaN where none is known."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]

    def as_dict(self, unit: Unit) -> dict[str, Any]:
        """Return it in a unit, None for what is not known."""
        return {"low": _in_unit(self.low, unit), "high": _in_unit(self.high, unit)}


@dataclasses.dataclass(frozen=True)
class ToolSum:
    """What one tool does, all its calls together.

    Attributes
    ----------
    number : int
    name : str
        As the job or the program's comments have it; empty: not known.
    lowest : float
        Lowest z of its tip, mm, feed or rapid; NaN: not known.
    lowest_line : int
        Where it first goes there; 0: not known.
    from_line, to_line : int
        Lines of its first and last feed move; of its moves, where it has no feed move.
    length, seconds : float
        Path at feed, mm, and the time that takes at the programmed feeds.
    feed, rapid : Box or None
        Extents; None: it has no such moves.
    """

    number: int
    name: str
    lowest: float
    lowest_line: int
    from_line: int
    to_line: int
    length: float
    seconds: float
    feed: Box | None
    rapid: Box | None


@dataclasses.dataclass(frozen=True)
class PassSum:
    """A pass, its path at feed (mm), the time at the programmed feeds (s), its lowest z (mm)."""

    info: Pass
    length: float
    seconds: float
    lowest: float


@dataclasses.dataclass(frozen=True)
class Survey:
    """What a program does; mm and seconds.

    Attributes
    ----------
    unit : {'in', 'mm'}
        In which people see it.
    reading : Reading
    order : tuple of int
        Tools as they cut, one after the other; a tool that comes back is there again.
    tools : tuple of ToolSum
        In the order of their first move.
    passes : tuple of PassSum
    length, seconds : float
        Path at feed and time at the programmed feeds; rapids, dwells and tool changes left out.
    feed, rapid : Box or None
    remarks : tuple of (line, text)
        Lines of interest.
    left_out : tuple of str
        What could not be known or checked.
    """

    unit: Unit
    reading: Reading
    order: tuple[int, ...]
    tools: tuple[ToolSum, ...]
    passes: tuple[PassSum, ...]
    length: float
    seconds: float
    feed: Box | None
    rapid: Box | None
    remarks: tuple[Remark, ...]
    left_out: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return everything in `unit`, plain data, None for what is not known."""
        unit, reading = self.unit, self.reading
        warnings = sorted((*reading.warnings, *self.remarks))
        return {
            "unit": unit,
            "blocks": reading.blocks,
            "moves": len(reading.program.moves),
            "length": to_unit(self.length, unit),
            "seconds": self.seconds,
            "order": list(self.order),
            "tools": [_tool_dict(t, unit) for t in self.tools],
            "passes": [_pass_dict(p, unit) for p in self.passes],
            "feed": _box_dict(self.feed, unit),
            "rapid": _box_dict(self.rapid, unit),
            "noted": [{"line": n.line, "word": n.word, "count": n.count} for n in reading.noted],
            "warnings": [{"line": line, "text": text} for line, text in warnings],
            "left_out": list(self.left_out),
        }


def survey(path: Path, *, shown: str | None = None, job: Job | None = None) -> Survey:
    """Read a program and say what it does.

    Parameters
    ----------
    path : Path
        RS-274 text.
    shown : str, optional
        The file as the person named it; `path` unless given.
    job : Job, optional
        Its unit, tools, stock and control: those of the setup whose program this is, else of its
        first. Without one the unit is that of the first G20 or G21, any tool number is taken, and
        nothing is checked against stock and H.

    Raises
    ------
    ProgramError
        With line and column; several as `ProgramErrors`.
    BadInput
        A file that can't be opened, is binary, or holds no feed move.
    """
    name = str(path) if shown is None else shown
    if job is not None:
        reading = read_file(path, _settings_of(job, path), shown=name)
        names = {number: tool.name for number, tool in job.tools.items()}
        return _survey(reading, job.unit, names, job, ())
    seen = glance(path)
    reading, unit = read_alone(path, seen, name)
    return _survey(reading, unit, tool_names(seen), None, _not_known(seen))


def read_alone(
    path: Path, seen: Glance, shown: str, accept: Mapping[str, str] = MappingProxyType({})
) -> tuple[Reading, Unit]:
    """Read a program without a job; return it and its unit, mm where it names none.

    `accept`: words declared harmless, each with the reason.
    """
    unit: Unit = seen.unit or "mm"
    reading = read_file(path, alone_settings(unit, accept), shown=shown)
    if reading.unit in UNITS and reading.unit != unit:  # a G20 that is jumped over
        unit = reading.unit
        reading = read_file(path, alone_settings(unit, accept), shown=shown)
    return reading, unit


def _settings_of(job: Job, path: Path) -> ReaderSettings:
    """Return the settings of the setup whose program this is, else those of the first."""
    place = path.resolve()
    for index, setup in enumerate(job.spec.setups):
        if setup.program is not None and setup.program.resolve() == place:
            return job.reader_settings(index)
    return dataclasses.replace(job.reader_settings(0), folder=path.parent)


def _not_known(seen: Glance) -> tuple[str, ...]:
    """Return what is not known of a program without a job."""
    texts = [WITHOUT_JOB]
    if seen.compensated:
        texts.append(
            "G41, G42, G12 and G13 offset by nothing: without a job no tool's radius is known"
        )
    if len(seen.work_zeros) > 1:
        listed = " and ".join(filter(None, [", ".join(seen.work_zeros[:-1]), seen.work_zeros[-1]]))
        texts.append(f"{listed} are taken at one place: without a job it is not known where")
    return tuple(texts)


def _survey(
    reading: Reading, unit: Unit, names: Mapping[int, str], job: Job | None, left_out: Sequence[str]
) -> Survey:
    moves = reading.program.moves
    feeds = those(moves, ~moves.rapid)
    lengths = feeds.lengths()
    times = _seconds(feeds, lengths)
    order = feeds.tool if len(feeds) else moves.tool
    return Survey(
        unit=unit,
        reading=reading,
        order=tuple(order[np.flatnonzero(np.diff(order, prepend=-1))].tolist()),
        tools=tuple(
            _tool_sum(those(moves, moves.tool == n), n, names.get(n, ""))
            for n in by_first(moves.tool)
        ),
        passes=tuple(_pass_sums(reading.program.passes, feeds, lengths, times)),
        length=float(lengths.sum()),
        seconds=float(times.sum()),
        feed=extent(feeds),
        rapid=extent(moves[moves.rapid]),
        remarks=tuple(sorted(lines_of_interest(reading, unit, job))),
        left_out=tuple(left_out),
    )


# --------------------------------------------------------------------------------------- sums


def _seconds(feeds: Moves, lengths: Floats) -> Floats:
    """Return the time of each feed move at its programmed feed; 0 where there is none."""
    times = np.zeros(len(feeds))
    return np.divide(60 * lengths, feeds.feed, out=times, where=feeds.feed > 0)


def extent(moves: Moves) -> Box | None:
    """Return the box of the tip's path, the bulge of arcs counted; None: no moves.

    Parameters
    ----------
    moves : Moves
        Unknown coordinates (NaN) are left out.
    """
    if not len(moves):
        return None
    ends = [*_arc_peaks(moves[moves.kind == ARC]), moves.start, moves.end]
    low = np.fmin.reduce([np.fmin.reduce(places, axis=0) for places in ends])
    high = np.fmax.reduce([np.fmax.reduce(places, axis=0) for places in ends])
    return Box(_triple(low), _triple(high))


def _triple(values: Floats) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _arc_peaks(arcs: Moves) -> Iterator[Floats]:
    """Yield the places where arcs run parallel to X or Y, their z left unknown."""
    if not len(arcs):
        return
    out = arcs.start[:, :2] - arcs.center
    radius, begin = np.hypot(*out.T), np.arctan2(out[:, 1], out[:, 0])
    for quarter, (x, y) in enumerate(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))):
        turned = (np.sign(arcs.turn) * (quarter * math.pi / 2 - begin)) % math.tau
        reached = turned <= np.abs(arcs.turn)
        places = np.full((int(reached.sum()), 3), math.nan)
        places[:, :2] = arcs.center[reached] + radius[reached, None] * np.array([x, y])
        if len(places):
            yield places


def _tool_sum(moves: Moves, number: int, name: str) -> ToolSum:
    feeds, rapids = those(moves, ~moves.rapid), moves[moves.rapid]
    lengths = feeds.lengths()
    lines = feeds.line if len(feeds) else moves.line
    lows = np.fmin(moves.start[:, 2], moves.end[:, 2])
    lowest = float(np.fmin.reduce(lows))
    first = np.flatnonzero(lows <= lowest + 1e-6)
    return ToolSum(
        number=number,
        name=name,
        lowest=lowest,
        lowest_line=int(moves.line[first[0]]) if len(first) else 0,
        from_line=int(lines[0]),
        to_line=int(lines[-1]),
        length=float(lengths.sum()),
        seconds=float(_seconds(feeds, lengths).sum()),
        feed=extent(feeds),
        rapid=extent(rapids),
    )


def _pass_sums(
    passes: Sequence[Pass], feeds: Moves, lengths: Floats, times: Floats
) -> Iterator[PassSum]:
    lows = np.fmin(feeds.start[:, 2], feeds.end[:, 2])
    for info in passes:
        first, end = np.searchsorted(feeds.pass_number, [info.number, info.number + 1])
        yield PassSum(
            info,
            float(lengths[first:end].sum()),
            float(times[first:end].sum()),
            float(np.fmin.reduce(lows[first:end])),
        )


# ---------------------------------------------------------------------------- rows and plain data


def move_rows(survey: Survey) -> Iterator[list[list[Any]]]:
    """Yield rows of `MOVE_HEADS`, some thousand at a time, lengths in the survey's unit.

    None stands for what is not known, for the centre of a line and the feed of a rapid; the centre
    of an arc is at the height of its start; `turn` is in degrees, 0 for a line. Arcs in G18 and
    G19 are lines, so `plane` is always 17.
    """
    moves, per = survey.reading.program.moves, to_unit(1.0, survey.unit)
    for at in range(0, len(moves), CHUNK):
        yield _rows(moves[at : at + CHUNK], per)


def _rows(moves: Moves, per: float) -> list[list[Any]]:
    arc = moves.kind == ARC
    kinds = np.where(moves.rapid, "rapid", np.where(arc, "arc", "line"))
    center = np.column_stack([moves.center, moves.start[:, 2]])
    center[~arc] = math.nan
    feed = np.where(moves.rapid, math.nan, moves.feed)
    lengths = np.round(per * np.column_stack([moves.start, moves.end, center, feed]), 10) + 0.0
    table: list[list[float | None]] = [
        [None if value != value else value for value in row] for row in lengths.tolist()
    ]
    turns = np.round(np.degrees(moves.turn), 10).tolist()
    columns = zip(
        moves.line.tolist(), kinds.tolist(), moves.tool.tolist(), table, turns, strict=True
    )
    return [
        [line, kind, tool, *row[:6], 17, *row[6:9], turn, row[9]]
        for line, kind, tool, row, turn in columns
    ]


def _in_unit(values: Iterable[float], unit: Unit) -> list[float | None]:
    return [None if math.isnan(v) else to_unit(v, unit) for v in values]


def _box_dict(box: Box | None, unit: Unit) -> dict[str, Any]:
    return {"low": None, "high": None} if box is None else box.as_dict(unit)


def _tool_dict(tool: ToolSum, unit: Unit) -> dict[str, Any]:
    (lowest,) = _in_unit([tool.lowest], unit)
    return {
        "number": tool.number,
        "name": tool.name,
        "lowest": lowest,
        "lowest_line": tool.lowest_line or None,
        "from_line": tool.from_line,
        "to_line": tool.to_line,
        "length": to_unit(tool.length, unit),
        "seconds": tool.seconds,
        "feed": _box_dict(tool.feed, unit),
        "rapid": _box_dict(tool.rapid, unit),
    }


def _pass_dict(item: PassSum, unit: Unit) -> dict[str, Any]:
    info = item.info
    (lowest,) = _in_unit([item.lowest], unit)
    return {
        "pass": info.number,
        "tool": info.tool,
        "name": info.name,
        "lowest": lowest,
        "from_line": info.from_line,
        "to_line": info.to_line,
        "length": to_unit(item.length, unit),
        "seconds": item.seconds,
    }
