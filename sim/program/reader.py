"""A program file or text, read completely or not at all."""

from __future__ import annotations

import dataclasses
import gzip
import io
import zlib
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import BadInput
from ..moves import Program
from .calls import Library
from .executor import Executor
from .flow import Runner
from .lexer import Source, decode
from .parameters import Parameters
from .recorder import Recorder
from .settings import ReaderSettings

__all__ = ["Noted", "Reading", "read_file", "read_program", "read_source", "read_text", "text_of"]

GZIP: Final = b"\x1f\x8b"
"""What a file begins with that gzip packed."""
UNPACKED_LIMIT: Final = 1 << 30
"""Most bytes taken out of a file that gzip packed."""


@dataclasses.dataclass(frozen=True)
class Noted:
    """A word that moves nothing here: its first line and how often it comes."""

    word: str
    line: int
    count: int


@dataclasses.dataclass(frozen=True)
class Reading:
    """A program with all that the reader found out about it.

    Attributes
    ----------
    program : Program
        Moves as programmed, part frame, mm; passes numbered from 1.
    unit : {'in', 'mm', ''}
        Of the first G20 or G21; empty: the program says none.
    blocks : int
        Blocks that were executed; those of loops and subprograms count each time.
    noted : tuple of Noted
        Words that move nothing here.
    warnings : tuple of (line, text)
        What a person should know; line 0 is the whole program.
    rotary : ndarray of float64, shape (n, 3), or None
        A, B and C under each move, degrees; None where the program has none of them.
    """

    program: Program
    unit: str
    blocks: int
    noted: tuple[Noted, ...]
    warnings: tuple[tuple[int, str], ...]
    rotary: NDArray[np.float64] | None


def read_program(path: Path, settings: ReaderSettings, *, shown: str | None = None) -> Program:
    """Read a program file.

    Parameters
    ----------
    path : Path
        RS-274 text, UTF-8 or Latin-1; also as gzip packs it.
    settings : ReaderSettings
        What the job says.
    shown : str, optional
        The file as the person named it, for errors and notes; `path` unless given.

    Returns
    -------
    Program
        Moves as programmed, part frame, mm; passes numbered from 1.

    Raises
    ------
    ProgramError
        With line and column: a word that is not known, not allowed or not handled; of several
        (`ProgramErrors`) those of the first.
    BadInput
        A file that can't be opened, is binary, or holds no feed move.
    """
    return read_file(path, settings, shown=shown).program


def read_file(path: Path, settings: ReaderSettings, *, shown: str | None = None) -> Reading:
    """Read a program file with all that is found out on the way; see `read_program`."""
    name = str(path) if shown is None else shown
    text = text_of(path, name)
    if settings.folder is None:
        settings = dataclasses.replace(settings, folder=path.parent)
    plain_name = path.with_suffix("") if path.suffix.lower() == ".gz" else path
    return read_source(text, settings, shown=name, ending=plain_name.suffix)


def text_of(path: Path, shown: str | None = None) -> str:
    """Return the text of a program file, out of gzip if it is packed so.

    Raises
    ------
    BadInput
        It can't be opened, is damaged or binary.
    """
    name = str(path) if shown is None else shown
    return decode(_unpacked(_bytes_of(path, name), name), name)


def _bytes_of(path: Path, shown: str) -> bytes:
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not a file name"
        raise BadInput(
            f"{shown}: the program can't be read ({why}); expected an RS-274 text file"
        ) from None


def _unpacked(data: bytes, shown: str) -> bytes:
    """Return the bytes of a file, out of gzip if they are packed so."""
    if not data.startswith(GZIP):
        return data
    try:
        with gzip.open(io.BytesIO(data)) as packed:
            text = packed.read(UNPACKED_LIMIT + 1)
    except (EOFError, OSError, zlib.error):
        raise BadInput(
            f"{shown}: is damaged: what gzip packed can't be unpacked; expected a whole file"
        ) from None
    if len(text) > UNPACKED_LIMIT:
        raise BadInput(
            f"{shown}: holds more than {UNPACKED_LIMIT >> 20} MiB of text; expected less"
        )
    return text


def read_text(text: str, settings: ReaderSettings, *, shown: str = "program") -> Program:
    """Read the text of a program; see `read_program`."""
    return read_source(text, settings, shown=shown).program


def read_source(
    text: str, settings: ReaderSettings, *, shown: str = "program", ending: str = ""
) -> Reading:
    """Read the text of a program with all that is found out on the way.

    `ending` is that of the program's file, which called files may share.
    """
    recorder = Recorder(settings, shown)
    executor = Executor(settings, recorder)
    parameters = Parameters(settings.dialect, executor.frames, settings.parameters)
    source = Source(text, shown)
    runner = Runner(source, executor, parameters, Library(settings.folder, ending))
    runner.run()
    runner.problems.check()
    if not recorder.rows or not any(run.fed for run in recorder.headings.runs):
        why = " with a known end" if recorder.lost_feed else ""
        raise BadInput(
            f"{shown}: the program holds no feed move{why}; expected G1, G2, G3 or a drilling "
            "cycle with a tool"
        )
    if recorder.chorded:
        recorder.note(0, _chord_note(recorder.chorded, settings))
    if not runner.ended and not source.closed:
        recorder.note(0, "the program has no end (M2, M30 or %): is it complete?")
    return Reading(
        program=recorder.program(),
        unit=executor.unit_given,
        blocks=runner.blocks,
        noted=tuple(Noted(word, *found) for word, found in recorder.noted.items()),
        warnings=tuple(recorder.warnings),
        rotary=recorder.rotary_table(),
    )


def _chord_note(count: int, settings: ReaderSettings) -> str:
    off = f"{settings.chord * 1000:.4g} µm"
    if settings.unit == "in":
        off += f" ({settings.chord / 0.0254:.2g} thou)"
    which = "an arc in G18 or G19 runs" if count == 1 else f"{count:,} arcs in G18 or G19 run"
    return f"{which} as short straight moves, at most {off} off the arc; [accuracy] chord sets it"
