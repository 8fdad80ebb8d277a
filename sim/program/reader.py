"""A program file or text, read completely or not at all."""

from __future__ import annotations

from pathlib import Path

from ..errors import BadInput
from ..moves import Program
from .executor import Executor
from .lexer import Blocks, decode
from .recorder import Recorder
from .settings import ReaderSettings

__all__ = ["read_program", "read_text"]


def read_program(path: Path, settings: ReaderSettings, *, shown: str | None = None) -> Program:
    """Read a program file.

    Parameters
    ----------
    path : Path
        RS-274 text, UTF-8 or Latin-1.
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
        With line and column: a word that is not known, not allowed or not handled.
    BadInput
        A file that can't be opened, is binary, or holds no feed move.
    """
    name = str(path) if shown is None else shown
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not a file name"
        raise BadInput(
            f"{name}: the program can't be read ({why}); expected an RS-274 text file"
        ) from None
    return read_text(decode(data, name), settings, shown=name)


def read_text(text: str, settings: ReaderSettings, *, shown: str = "program") -> Program:
    """Read the text of a program; see `read_program`."""
    recorder = Recorder(settings, shown)
    executor = Executor(settings, recorder)
    ended = False
    source = Blocks(text, shown)
    for block in source:
        if executor.execute(block):
            ended = True
            break
    if not recorder.rows or not any(run.fed for run in recorder.headings.runs):
        why = " with a known end" if recorder.lost_feed else ""
        raise BadInput(
            f"{shown}: the program holds no feed move{why}; expected G1, G2, G3 or a drilling "
            "cycle with a tool"
        )
    if recorder.chorded:
        recorder.note(0, _chord_note(recorder.chorded, settings))
    if not ended and not source.closed:
        recorder.note(0, "the program has no end (M2, M30 or %): is it complete?")
    return recorder.program()


def _chord_note(count: int, settings: ReaderSettings) -> str:
    off = f"{settings.chord * 1000:.4g} µm"
    if settings.unit == "in":
        off += f" ({settings.chord / 0.0254:.2g} thou)"
    which = "an arc in G18 or G19 runs" if count == 1 else f"{count:,} arcs in G18 or G19 run"
    return f"{which} as short straight moves, at most {off} off the arc; [accuracy] chord sets it"
