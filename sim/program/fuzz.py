"""``python -m proud.program.fuzz``: programs good and bad until one of them breaks the reader.

Each program is a function of the seed and its number alone, so a failure can be made again with
``--seed N --only K``. What counts as a failure, whatever the program is:

- an exception that is not one of ours about the program (`BadInput`), or no exception and moves
  that are not numbers, out of bounds or out of order;
- an error without a place in the file that was read, or with Python's words in it;
- more than `SECONDS` for one program, or more than `MEMORY` bytes;
- a file opened outside the job's folder, or anything written, renamed or started;
- another result where the same words stand beside an empty comment, which sends every block
  through the full reader, or where the compiled loop for long programs reads them.

The limits of the reader are lowered meanwhile (`LIMITS`), so that an endless program ends sooner.
"""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import datetime
import math
import os
import random
import re
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Any, Final

import numpy as np

from ..dialect import Dialect
from ..errors import BadInput, ProgramError
from . import flow, lexer, motion
from .fuzz_programs import HEAD, KINDS
from .reader import Reading, read_file
from .reports import ProgramErrors
from .settings import LIMIT_MM, ReaderSettings

__all__ = ["LIMITS", "MEMORY", "SECONDS", "Failure", "Fuzzer", "main", "program_of"]

SECONDS: Final = 20.0
"""Most seconds for one program."""
MEMORY: Final = 1 << 30
"""Most bytes by which reading may make the process grow."""
LIMITS: Final[tuple[tuple[Any, str, int], ...]] = (
    (flow, "REPEATED_LIMIT", 5_000),
    (flow, "MOVE_LIMIT", 50_000),
    (motion, "MADE_LIMIT", 50_000),
)
"""Module, name and the lowered value."""
_OWN_FILES: Final = (".py", ".pyc", ".so", ".pyd", ".nbi", ".nbc")
_CHANGES: Final = (
    *("os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate"),
    *("os.system", "os.exec", "os.fork", "os.posix_spawn", "subprocess.Popen", "socket.connect"),
)
_PYTHON_WORDS: Final = re.compile(r"\b(nan|inf|None|NoneType|Traceback|object at|dict|tuple)\b")
_NOTES_ALONE: Final = re.compile(r"[^(;)%/\s][^(;)%]*")
_CHOICES: Final = (
    Dialect(),
    Dialect(unset="zero", rotary="kept", cycle_levels="kept", scale_whole="one", logic="bits"),
    Dialect(unset="vacant", turn_center="tool", cycle_levels="increments", g10_in_g91="add"),
    Dialect(compensation="nistir_6556", arc_centers="absolute", home_axes="all", fix="to_zero",
            system_parameters="free", cycle_repeats_0="stores", call_repeats="digits"),
    Dialect(outside_corner="intersection", inside_corner="refused", d_holds="wear",
            cycle_r_in_g91="initial", g10_in_g91="set", turn_center="zero"),
)  # fmt: skip


class Failure(Exception):
    """What the reader did wrong with a program."""


class _TooLong(BaseException):
    """The time is over; no handler of the reader's may catch it."""


def program_of(seed: int, number: int) -> tuple[str, bytes, random.Random]:
    """Return the kind and the bytes of a program, and the generator for what else is chosen."""
    rng = random.Random(f"{seed}/{number}")
    kinds = list(KINDS)
    kind = rng.choices(kinds, [KINDS[k][0] for k in kinds])[0]
    return kind, KINDS[kind][1](rng), rng


class _Watch:
    """Sees every file that is opened while it is armed; a hook can't be taken away again."""

    def __init__(self) -> None:
        self.folder = ""
        self.seen: list[str] = []
        self._hooked = False

    @contextlib.contextmanager
    def armed(self, folder: Path) -> Iterator[list[str]]:
        """Watch a block of code that may read in one folder and do nothing else."""
        if not self._hooked:
            sys.addaudithook(self._hook)
            self._hooked = True
        self.folder, self.seen = os.path.realpath(folder) + os.sep, []
        try:
            yield self.seen
        finally:
            self.folder = ""

    def _hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self.folder:
            return
        if event in _CHANGES:
            self.seen.append(f"{event} of {arguments[0]!r}")
        elif event == "open" and isinstance(arguments[0], str | bytes | os.PathLike):
            path = os.path.realpath(os.fsdecode(arguments[0]))
            flags = arguments[2] if isinstance(arguments[2], int) else 0
            if path.endswith(_OWN_FILES):
                return
            if not path.startswith(self.folder):
                self.seen.append(f"{path} opened, outside the job's folder")
            elif flags & (os.O_WRONLY | os.O_RDWR):
                self.seen.append(f"{path} opened for writing")


_WATCH: Final = _Watch()


@contextlib.contextmanager
def _timed(seconds: float) -> Iterator[None]:
    """Raise `_TooLong` in a block of code that takes too long (on Windows: when it is over)."""

    def ring(number: int, frame: FrameType | None) -> None:
        raise _TooLong

    begun = time.monotonic()
    if not hasattr(signal, "setitimer"):  # pragma: no cover
        yield
    else:
        before = signal.signal(signal.SIGALRM, ring)
        signal.setitimer(signal.ITIMER_REAL, seconds)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, before)
    if time.monotonic() - begun > seconds:
        raise _TooLong


@contextlib.contextmanager
def _values(*values: tuple[Any, str, Any]) -> Iterator[None]:
    """Give names of modules other values for a while."""
    before = [(module, name, getattr(module, name)) for module, name, _ in values]
    for module, name, value in values:
        setattr(module, name, value)
    try:
        yield
    finally:
        for module, name, value in before:
            setattr(module, name, value)


def _peak() -> int:
    """Return the most bytes that the process has held so far; 0 where that is not known."""
    try:
        import resource
    except ImportError:  # pragma: no cover
        return 0
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


@dataclasses.dataclass(frozen=True)
class _Outcome:
    """What reading a program came to: moves and all else, or the errors."""

    reading: Reading | None
    error: BadInput | None

    def says(self) -> tuple[Any, ...]:
        """Return all that must be the same however the program is read."""
        if self.reading is None:
            return tuple((e.line, e.column, str(e).split("\n")[0]) for e in _errors(self.error))
        r, m = self.reading, self.reading.program.moves
        fields = tuple(getattr(m, field.name).tobytes() for field in dataclasses.fields(m))
        rotary = None if r.rotary is None else r.rotary.tobytes()
        return fields, r.program.passes, r.unit, r.noted, r.warnings, r.blocks, rotary


def _errors(error: BadInput | None) -> Sequence[ProgramError]:
    if isinstance(error, ProgramErrors):
        return error.errors
    return (error,) if isinstance(error, ProgramError) else ()


class Fuzzer:
    """Reads programs in a folder of its own and judges what comes of them.

    Parameters
    ----------
    folder : Path
        Empty; gets the job's folder and what lies beside it.
    """

    def __init__(self, folder: Path) -> None:
        self.job = folder / "job"
        self.counts: Counter[str] = Counter()
        self._peak = 0
        self.job.mkdir()
        body = "G91 G1 X1\nG90 M99\n"
        for path, text in {
            folder / "O7.nc": body,
            folder / "O7002.nc": body,
            self.job / "O7001.nc": "O7001\n" + body,
            self.job / "O7003.nc": "G1 X1 ?\nM99\n",
            self.job / "O7004.nc": "M98 P7004\nM99\n",
            self.job / "O7005.nc": "G1 X1\0\0\n",
            self.job / "O7006.nc": "%\nO1\nM99\n%\n",
            self.job / "O7007.nc": "O7007\nM98 P7001\nM98 P7\nM99\n",
            self.job / "O7008.tap": body,
            self.job / "7008.txt": body,
        }.items():
            path.write_text(text)
        (self.job / "O7009.nc").mkdir()
        with contextlib.suppress(OSError):  # a system without links
            (self.job / "O7002.nc").symlink_to(folder / "O7002.nc")

    def try_one(self, data: bytes, rng: random.Random) -> None:
        """Read one program.

        Raises
        ------
        Failure
        """
        settings = ReaderSettings(
            unit=rng.choice(("mm", "in")), tools={1: "flat 10 mm", 2: "ball 6 mm"}, stock_top=0.0,
            work_offsets={"G54": (0, 0, 0), "G55": (40, 30, 20), "G59.3": (-5, 0, 1)},
            home=rng.choice((None, (100.0, 200.0, 300.0))), block_delete=rng.random() < 0.3,
            chord=rng.choice((1e-4, 0.01)), dialect=rng.choice(_CHOICES), radii={1: 5.0, 2: 3.0},
            d_errors={1: 0.01}, parameters={501: 1.5}, accept={"M41": "gear", "G5.4": "smooth"},
        )  # fmt: skip
        outcome = self._read(data, settings)
        self.counts["read" if outcome.reading else "refused"] += 1
        if outcome.reading is not None:
            _check_reading(outcome.reading)
        else:
            _check_error(outcome.error, data)
        if rng.random() < 0.5:
            self._compare(outcome, data, settings, rng)

    def warm_up(self) -> None:
        """Load and compile what first use needs, which opens files and takes long."""
        settings = ReaderSettings(unit="mm", tools={1: ""}, stock_top=0.0)
        (self.job / "part.nc").write_text(HEAD + "G1 X1\nY1 F50\nG2 I5\nG1 X3\nM30\n")
        for length in (lexer.LONG_TEXT, 0):
            with _values((lexer, "LONG_TEXT", length)):
                read_file(self.job / "part.nc", settings)

    def _read(self, data: bytes, settings: ReaderSettings) -> _Outcome:
        path = self.job / "part.nc"
        path.write_bytes(data)
        before = _peak()
        with _WATCH.armed(self.job) as seen:
            try:
                with _timed(SECONDS):
                    outcome = _Outcome(read_file(path, settings, shown="part.nc"), None)
            except BadInput as error:
                outcome = _Outcome(None, error)
            except _TooLong:
                raise Failure(f"took more than {SECONDS:g} s") from None
        if seen:
            raise Failure(seen[0])
        grown = _peak() - before
        if grown > MEMORY:
            raise Failure(f"took {grown:,} bytes")
        return outcome

    def _compare(
        self, outcome: _Outcome, data: bytes, settings: ReaderSettings, rng: random.Random
    ) -> None:
        """Read the same words another way."""
        if rng.random() < 0.5:
            with _values((lexer, "LONG_TEXT", 0)):
                other, how = self._read(data, settings), "by the compiled loop"
        else:
            try:
                text = lexer.decode(data, "part.nc")
            except BadInput:
                return
            other, how = self._read(_commented(text).encode(), settings), "beside empty comments"
        if other.says() != outcome.says():
            raise Failure(f"reads otherwise {how}{_difference(outcome, other)}")
        self.counts["read twice"] += 1


def _commented(text: str) -> str:
    """Put an empty comment behind every line that neither has one nor is too long for it."""
    parts = re.split(r"(\r\n|\n|\r)", text)
    room = lexer.LINE_LIMIT - 2
    return "".join(p + "()" if len(p) <= room and _NOTES_ALONE.fullmatch(p) else p for p in parts)


def _difference(one: _Outcome, other: _Outcome) -> str:
    texts = []
    for outcome in (one, other):
        if outcome.reading is None:
            texts.append(str(outcome.error).split("\n")[0])
        else:
            texts.append(f"{len(outcome.reading.program.moves)} moves")
    return f": {texts[0]} / {texts[1]}"


def _check_reading(reading: Reading) -> None:
    """Check what holds for the moves of any program."""
    m = reading.program.moves
    goes = ~m.rapid & (m.lengths() > 0)  # G93 knows no feed of a length that is 0 or not known
    reach = 4 * LIMIT_MM  # beside the path by a radius, or the centre of a flat arc
    wrong = {
        "an end that is not known": ~np.isfinite(m.end).all(axis=1),
        "an end far away": (np.abs(m.end) > reach).any(axis=1),
        "a centre that is not known": ~np.isfinite(m.center).all(axis=1),
        "a turn of more than a circle": ~(np.abs(m.turn) <= math.tau),
        "a feed move without a feed": goes & ~(m.feed > 0),
        "a feed that is not known": ~np.isfinite(m.feed),
        "a spindle speed that is not known": ~np.isfinite(m.spindle),
        "a move of no tool": m.tool < 1,
        "a move of no pass": (m.pass_number < 1) | (m.pass_number > len(reading.program.passes)),
        "a move of no line": m.line < 1,
    }
    for what, rows in wrong.items():
        if rows.any():
            row = int(np.flatnonzero(rows)[0])
            raise Failure(f"{what}: move {row}, line {m.line[row]}")
    if (np.diff(m.pass_number) < 0).any():
        raise Failure("passes out of order")


def _check_error(error: BadInput | None, data: bytes) -> None:
    """Check that an error says where, of what was read, in a person's words."""
    text = str(error)
    if not text or not text.startswith(("part.nc", "O7", "7008")):
        raise Failure(f"an error without its file: {text[:200]}")
    if not _errors(error) and isinstance(error, ProgramError):
        raise Failure("errors, but none in it")
    packed = data[:2] == b"\x1f\x8b"
    most = 1 + data.count(b"\n") + data.count(b"\r")
    for one in _errors(error):
        first = str(one).split("\n")[0]
        if one.line < 1 or (one.file == "part.nc" and one.line > most and not packed):
            raise Failure(f"an error at a line that is not there: {first[:200]}")
        if one.column < 0 or one.column > lexer.LINE_LIMIT:
            raise Failure(f"an error at a column that is not there: {first[:200]}")
        if _PYTHON_WORDS.search(first.partition(": ")[2]) and "#<" not in first:
            raise Failure(f"an error in Python's words: {first[:200]}")


def _run(arguments: argparse.Namespace, folder: Path) -> int:
    """Try programs until the time is over or one fails; return the exit code."""
    fuzzer, seed, number = Fuzzer(folder), arguments.seed, arguments.only or 0
    print(f"seed {seed}", flush=True)
    fuzzer.warm_up()
    begun = time.monotonic()
    tried = 0
    while True:
        kind, data, rng = program_of(seed, number)
        tried += 1
        try:
            fuzzer.try_one(data, rng)
        except Exception as error:
            why = str(error) if isinstance(error, Failure) else f"{type(error).__name__}: {error}"
            print(f"failed: program {number} ({kind}): {why}", flush=True)
            print(f"make it again: --seed {seed} --only {number}", flush=True)
            _hand_out(data, arguments.out)
            if not isinstance(error, Failure):
                sys.excepthook(type(error), error, error.__traceback__)
            return 1
        number += 1
        seconds = time.monotonic() - begun
        if arguments.only is not None or seconds >= arguments.seconds:
            counts = ", ".join(f"{n} {what}" for what, n in sorted(fuzzer.counts.items()))
            print(f"{tried} programs in {seconds:.1f} s, {tried / max(seconds, 1e-9):.0f} a second")
            print(counts)
            return 0


def _hand_out(data: bytes, out: Path | None) -> None:
    if out is None:
        print("the program:", flush=True)
        sys.stdout.buffer.write(data + b"\n")
        sys.stdout.buffer.flush()
    else:
        out.write_bytes(data)
        print(f"the program is in {out}", flush=True)


def main(words: Sequence[str] | None = None) -> int:
    """Run the command; return the exit code: 0 fine, 1 a program that breaks the reader."""
    today = int(datetime.datetime.now(tz=datetime.UTC).strftime("%Y%m%d"))
    parser = argparse.ArgumentParser(prog="python -m proud.program.fuzz", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--seed", type=int, default=today, help="unless given, today's date")
    parser.add_argument("--seconds", type=float, default=60.0, help="how long (60)")
    parser.add_argument("--only", type=int, help="the number of the one program to try")
    parser.add_argument("--out", type=Path, help="new file for a program that fails")
    arguments = parser.parse_args(words)
    if arguments.out is not None and arguments.out.exists():
        parser.error(f"{arguments.out} is there already; give another name")
    with tempfile.TemporaryDirectory(prefix="proud-fuzz-") as folder, _values(*LIMITS):
        return _run(arguments, Path(folder))


if __name__ == "__main__":
    sys.exit(main())
