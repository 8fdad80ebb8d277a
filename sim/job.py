"""A job: stock, tools, offsets and program together, ready to be asked."""

from __future__ import annotations

import dataclasses
import functools
import math
import re
from collections.abc import Callable, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .grid import LEAST_WIDTH, Grid, Tile
from .jobfile import JobSpec, SetupSpec, load_job_file
from .moves import Moves, Program
from .pack import Packed
from .result import PassRow, RunResult, SkimRow
from .tools import Tool
from .units import Unit

if TYPE_CHECKING:  # these load numba
    from numpy.typing import ArrayLike

    from .cut import Cut, Skim
    from .deep import DeepColumns
    from .passes import PassSettings
    from .prober import Prober
    from .program import ReaderSettings
    from .rays import Metal, Sweeps
    from .stock import Stock
    from .trace import Trace

__all__ = ["SKIM_LIMIT", "Job", "load"]

SKIM_LIMIT = 0.030 * 25.4
"""A later cut into a floor deeper than this is ordinary cutting, mm. Common practice, no source."""
COARSE = (
    "beside metal that stands above a cutting part, strips narrower than the columns of the grid "
    "were not looked for"
)
CUT_SHORT = (
    "the search for strips narrower than the columns of the grid was cut short: there are too many "
    "places where bounds leave it open"
)
MOST_ENDS = 4096
"""Ends of moves, the lowest first, that are tried for the deepest place of a skim."""
DEFAULT_CELLS = 1000
"""Cells along the longer side of the stock where the job gives no pitch."""

Progress = Callable[[float], None]


def load(path: str | Path, *, allow_outside: bool = False) -> Job:
    """Return the job that a ``job.toml`` describes.

    Parameters
    ----------
    path : str or Path
    allow_outside : bool
        Let paths written in the job leave its folder.

    Raises
    ------
    JobError
        The file, one of its values, or a file that it names can't be used.
    """
    return Job(load_job_file(Path(path), allow_outside=allow_outside))


class Job:
    """A job that can be run, traced and drawn.

    Parameters
    ----------
    spec : JobSpec
        As read by `load`; lengths in mm.
    """

    def __init__(self, spec: JobSpec) -> None:
        self.spec = spec
        self.least_width = spec.least_width or LEAST_WIDTH
        """What is narrower everywhere is not listed, mm."""
        self.threads: int | None = None
        """Cores to use where a call does not say; all if None. No result depends on it."""

    @property
    def unit(self) -> Unit:
        """Unit that people of this job use."""
        return self.spec.unit

    @property
    def title(self) -> str:
        """Title, or the file's name."""
        return self.spec.title or self.spec.path.stem

    @property
    def tools(self) -> dict[int, Tool]:
        """Tools by number."""
        return self.spec.tools

    @functools.cached_property
    def stock(self) -> Stock:
        """The raw stock."""
        from .stock import make_stock

        return make_stock(self.spec.stock, self.unit)

    @functools.cached_property
    def program(self) -> Program:
        """All setups' moves in the part frame, the registers' errors added; all passes."""
        parts: list[Program] = []
        for index, setup in enumerate(self.spec.setups):
            parts.append(self._read(setup, index, parts))
        return Program(
            moves=Moves.join([p.moves for p in parts]),
            passes=tuple(row for p in parts for row in p.passes),
            notes=tuple(note for p in parts for note in p.notes),
            dwells=tuple(dwell for p in parts for dwell in p.dwells),
            compensated=tuple(row for p in parts for row in p.compensated),
        )

    def _read(self, setup: SetupSpec, index: int, before: Sequence[Program]) -> Program:
        passes_before = sum(len(p.passes) for p in before)
        moves_before = sum(len(p.moves) for p in before)
        program = self.programmed(index)
        moves = program.moves
        x, y, z = self.spec.zero_errors.get(setup.name, (0.0, 0.0, 0.0))
        shift = np.tile(np.array([x, y, z]), (len(moves), 1))
        for register, error in self.spec.h_errors.items():
            shift[moves.h_register == register, 2] += error
        moves = dataclasses.replace(
            moves.shifted(shift), pass_number=moves.pass_number + np.int32(passes_before)
        )
        passes = tuple(
            dataclasses.replace(p, number=p.number + passes_before) for p in program.passes
        )
        dwells = tuple((k + moves_before, wait, line) for k, wait, line in program.dwells)
        rows = tuple((k + moves_before, d, side) for k, d, side in program.compensated)
        return Program(moves, passes, program.notes, dwells, rows)

    def programmed(self, index: int = 0) -> Program:
        """Return a setup's moves as programmed: no error but those of D; `index` from 0."""
        setup = self.spec.setups[index]
        if setup.program is not None:
            from .program import read_program

            settings = self.reader_settings(index)
            return read_program(setup.program, settings, shown=self._shown(setup.program))
        from .passes import read_passes

        assert setup.passes is not None
        return read_passes(setup.passes, self.pass_settings(index), shown=self._shown(setup.passes))

    def pass_settings(self, index: int) -> PassSettings:
        """Return what the job tells the reader of a setup's pass list; `index` from 0."""
        from .passes import PassSettings
        from .passes.source import Sources

        named = self.spec.setups[index].passes
        sources = Sources(
            part=self.spec.part.model if self.spec.part else None,
            folder=named.parent if named else None,
            within=None if self.spec.allow_outside else self.spec.folder,
        )
        top = float(self.stock.high[2])
        return PassSettings(self.unit, self.tools, self.spec.d_errors, top, index, sources)

    def reader_settings(self, index: int) -> ReaderSettings:
        """Return what the job tells the reader of a setup's program; `index` from 0."""
        from .program import ReaderSettings

        setup = self.spec.setups[index]
        return ReaderSettings(
            unit=self.unit,
            tools={n: t.name for n, t in self.tools.items()},
            stock_top=float(self.stock.high[2]),
            setup=index,
            work_offsets=setup.work_offsets,
            home=setup.home,
            block_delete=setup.block_delete,
            chord=self.spec.chord,
            dialect=setup.control,
            accept=setup.accept,
            parameters=setup.parameters,
            radii={n: t.diameter / 2 for n, t in self.tools.items()},
            d_errors=self.spec.d_errors,
            folder=self.spec.folder,
        )

    def _shown(self, path: Path) -> str:
        """Return a path as the person would name it: beside the job file where it lies there."""
        folder = self.spec.path.parent
        try:
            return str(folder / path.relative_to(folder.resolve()))
        except ValueError:
            return str(path)

    @functools.cached_property
    def grid(self) -> Grid:
        """Columns over the whole stock at the job's pitch."""
        low, high = self.stock.low, self.stock.high
        pitch = self.spec.pitch
        if pitch is None:
            pitch = max(high[0] - low[0], high[1] - low[1]) / DEFAULT_CELLS
        return Grid.over((low[0], low[1]), (high[0], high[1]), pitch)

    @functools.cached_property
    def packed(self) -> Packed:
        """The moves and tools as the kernels read them."""
        from .pack import pack
        from .stock import check_part_model

        part = self.spec.part
        if part is not None and part.model is not None:  # whatever is asked comes through here
            check_part_model(part.model, self.unit)
        return pack(self.program.moves, self.tools)

    @property
    def deep(self) -> DeepColumns | None:
        """What answers columns on which metal stands above a cutting part; None: none can."""
        from .deep import DeepColumns

        if not self.packed.may_bury(float(self.stock.high[2])):
            return None
        return DeepColumns(lambda: self.sweeps, self.packed, self.stock)

    @functools.cached_property
    def sweeps(self) -> Sweeps:
        """What the tools sweep along the moves, prepared for rays."""
        from .rays import Sweeps
        from .stock import check_part_model

        part = self.spec.part
        if part is not None and part.model is not None:
            check_part_model(part.model, self.unit)
        return Sweeps(self.program.moves, self.tools)

    def rays(
        self,
        origins: ArrayLike,
        directions: ArrayLike,
        *,
        as_of: int | None = None,
        span: tuple[float, float] = (0.0, math.inf),
        threads: int | None = None,
    ) -> Metal:
        """Return the stock left on rays, mm; see `rays.rays`. `as_of`: a count of moves."""
        from .rays import rays

        return rays(
            origins, directions, self.sweeps, self.stock, as_of=as_of, span=span,
            threads=threads or self.threads,
        )  # fmt: skip

    def count_as_of(self, as_of: str | int | None) -> int:
        """Return how many moves are done as of a pass or a program line, inclusive.

        Parameters
        ----------
        as_of : str or int, optional
            ``3`` or ``"3"``: pass 3 done; ``"line:120"``: line 120 done; None: all.

        Raises
        ------
        BadInput
            Neither form, or past the program's end.
        """
        moves = self.program.moves
        if as_of is None:
            return len(moves)
        found = re.fullmatch(r"(line:)?(\d{1,9})", str(as_of).strip())
        if not found:
            raise BadInput(
                f"as-of {str(as_of)[:60]!r}: write a pass such as 3, or a line such as line:120"
            )
        number = int(found[2])
        if found[1]:
            last = self._last_line
            if number > last:
                raise BadInput(f"as-of line {number}: the program has lines 1 to {last}")
            reached = np.flatnonzero(moves.line <= number)
            return int(reached[-1]) + 1 if len(reached) else 0
        last = self.program.passes[-1].number
        if number > last:
            raise BadInput(f"as-of pass {number}: the job has passes 1 to {last} (0: raw stock)")
        return int(np.searchsorted(moves.pass_number, number, side="right"))

    @property
    def _last_line(self) -> int:
        """Physical lines of the longest program or pass list."""
        files = [f for s in self.spec.setups for f in (s.program, s.passes) if f is not None]
        ends = [re.split(rb"\r\n|\n|\r", file.read_bytes().rstrip(b"\r\n")) for file in files]
        return max((len(lines) for lines in ends), default=0)

    def run(
        self,
        *,
        as_of: str | int | None = None,
        skim: float = SKIM_LIMIT,
        least_width: float | None = None,
        threads: int | None = None,
        progress: Progress | None = None,
    ) -> RunResult:
        """Return passes, levels, steps and skims.

        Parameters
        ----------
        as_of : str or int, optional
            Stop there; see `count_as_of`.
        skim : float
            Deepest cut into an earlier floor that is listed, mm.
        least_width : float, optional
            Levels and skims narrower than this everywhere are not listed, mm, whatever the pitch;
            the job's `least_width` unless given.
        threads : int, optional
            The job's `threads` unless given; the result does not depend on it.
        progress : callable, optional
            Called with the share done, 0 to 1.
        """
        from .cut import cut, surface_of
        from .faces import find_faces
        from .memory import Arrays
        from .prober import Prober

        arrays, threads = Arrays(self.grid.columns), threads or self.threads
        count = self.count_as_of(as_of)
        packed = self.packed.upto(count)
        done = cut(
            self.grid, packed, self.stock, by_pass=True, skim_limit=skim, threads=threads,
            progress=progress, arrays=arrays, deep=self.deep,
        )  # fmt: skip
        tile = surface_of(done.tile, packed, self.stock, arrays)
        prober = Prober(packed, self.stock, self.deep)
        faces = find_faces(
            tile, done.skims, prober, skim_limit=skim, threads=threads, arrays=arrays,
            least_width=self.least_width if least_width is None else least_width,
        )  # fmt: skip
        return RunResult(
            title=self.title,
            unit=self.unit,
            version=version("proud"),
            passes=self._pass_rows(count, done),
            levels=faces.levels,
            steps=faces.steps,
            skims=tuple(self._skim_row(s, prober) for s in faces.skims),
            notes=self.notes
            + self._buried_notes(done)
            + (COARSE,) * faces.coarse
            + (CUT_SHORT,) * faces.short,
            tile=tile,
            cut=done,
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person should know of the job and its program."""
        from .idle import idle_registers

        return self.spec.notes + self.program.notes + idle_registers(self.spec, self.program)

    def _pass_rows(self, count: int, done: Cut) -> tuple[PassRow, ...]:
        moves = self.program.moves[:count]
        feed = moves[~moves.rapid]
        size = len(self.program.passes) + 1
        counted = np.bincount(feed.pass_number, minlength=size)
        lengths = np.bincount(feed.pass_number, weights=feed.lengths(), minlength=size)
        rows = []
        for info in self.program.passes:
            n = info.number
            if counted[n]:
                lines = feed.line[feed.pass_number == n]
                info = dataclasses.replace(info, to_line=int(lines[-1]))
                setup = self.spec.setups[info.setup].name
                removed = done.removed.get(n, 0.0)
                rows.append(PassRow(info, setup, int(counted[n]), float(lengths[n]), removed))
        return tuple(rows)

    def _skim_row(self, skim: Skim, prober: Prober) -> SkimRow:
        """Measure a skim where its tool stood lowest, which may be between columns."""
        grid = self.grid
        xs, ys = self._lowest_places(skim)
        first, end = np.searchsorted(self.packed.passes, [skim.by_pass, skim.by_pass + 1])
        before, owner = prober.columns(xs, ys, int(first))
        after, left_by = prober.columns(xs, ys, int(end))
        floor = prober.flat(xs, ys, owner) & (prober.passes(owner) == skim.into_pass)
        floor &= (np.abs(before - skim.z) <= 1e-6) & (prober.passes(left_by) == skim.by_pass)
        depth = np.where(floor, before - after, -np.inf)
        depth[0] = max(depth[0], skim.depth)
        k = self._deepest(skim, xs, ys, depth, left_by)
        move = skim.move if k == 0 else int(left_by[k])
        return SkimRow(
            by_pass=skim.by_pass,
            into_pass=skim.into_pass,
            depth=float(depth[k]),
            area=skim.columns * grid.cell_area,
            at=(float(xs[k]), float(ys[k]), skim.z - float(depth[k])),
            line=int(self.program.moves.line[self.packed.move[move]]),
        )

    def _deepest(
        self,
        skim: Skim,
        xs: NDArray[np.float64],
        ys: NDArray[np.float64],
        depth: NDArray[np.float64],
        left_by: NDArray[np.int32],
    ) -> int:
        """Return the deepest place at which the tip stood no deeper than a skim's may; 0 at worst.

        Of places as deep as each other the first; overwrites `depth`.
        """
        from .kernels.cutting import tip_over

        p = self.packed
        while True:
            k = int(np.argmax(depth > depth.max() - 1e-9))
            if k == 0:
                return 0
            row = int(left_by[k])
            tip = tip_over(p.code, p.rows, row, xs[k], ys[k])[2] - p.rows[row, 17]
            if skim.z - tip <= skim.limit + 1e-6:
                return k
            depth[k] = -np.inf

    def _lowest_places(self, skim: Skim) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return where a skim may be deepest: its deepest column, the tip over it, ends of moves.

        Of the ends, those whose tip is lower than the deepest column and not so low that the cut
        would be none of the skims.
        """
        from .kernels.cutting import tip_over

        grid, packed = self.grid, self.packed
        x = grid.x_low + (skim.ix + 0.5) * grid.pitch_x
        y = grid.y_low + (skim.iy + 0.5) * grid.pitch_y
        px, py, _ = tip_over(packed.code, packed.rows, skim.move, x, y)
        mine = packed.members[packed.passes[packed.members] == skim.by_pass]
        rows = packed.rows[mine]
        lower = rows[:, 2] < skim.z - skim.depth - 1e-9
        lower &= rows[:, 2] >= skim.z - skim.limit - 1e-6
        ends = rows[lower]
        order = np.argsort(ends[:, 2], kind="stable")[:MOST_ENDS]
        return np.append([x, px], ends[order, 0]), np.append([y, py], ends[order, 1])

    def _buried_notes(self, done: Cut) -> tuple[str, ...]:
        names = {p.number: p for p in self.program.passes}
        return tuple(
            f"pass {n} ({names[n].name}): tool {names[n].tool} goes deeper than its cutting "
            "length; metal above its cutting part is shown uncut (a neck or shank would rub there)"
            for n in done.buried
            if n in names
        )

    def surface(
        self,
        *,
        as_of: str | int | None = None,
        grid: Grid | None = None,
        threads: int | None = None,
        progress: Progress | None = None,
    ) -> Tile:
        """Return heights, owners and exact slopes over a window, the whole stock unless given."""
        from .cut import cut, surface_of

        packed = self.packed.upto(self.count_as_of(as_of))
        done = cut(
            grid or self.grid,
            packed,
            self.stock,
            threads=threads or self.threads,
            progress=progress,
            deep=self.deep,
        )
        return surface_of(done.tile, packed, self.stock)

    def trace(
        self,
        start: tuple[float, float],
        stop: tuple[float, float],
        *,
        spacing: float | None = None,
        as_of: str | int | None = None,
    ) -> Trace:
        """Return exact heights along a line in plan, and every step on it; see `trace.trace`."""
        from .trace import trace

        packed = self.packed.upto(self.count_as_of(as_of))
        lines = self.program.moves.line[packed.move]
        return trace(
            packed, self.stock, lines, start, stop, spacing=spacing, unit=self.unit, deep=self.deep
        )

    def pass_names(self) -> dict[int, tuple[int, str]]:
        """Return tool and name of each pass."""
        return {p.number: (p.tool, p.name) for p in self.program.passes}
