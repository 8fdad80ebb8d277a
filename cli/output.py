"""Where results go: stdout, files written at once or not at all, progress on stderr."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import secrets
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

import click
from proud.errors import BadInput

__all__ = [
    "TARGET",
    "TargetPath",
    "check_target",
    "check_targets",
    "progress_bar",
    "say",
    "to_csv",
    "to_json",
    "write_arrays",
    "write_text",
    "write_texts",
]

QUIET_SECONDS = 2.0
"""Work that takes less shows no progress."""


class TargetPath(click.Path):
    """A file to write. A name that ends in a slash means a folder, and is refused."""

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> str | bytes | os.PathLike[str]:
        """Return the path; the slash must be seen here, since a `Path` does not keep it."""
        text = os.fspath(value)
        if text.endswith(("/", os.sep)):
            option = f"{param.opts[0]} " if param is not None else ""
            raise BadInput(f"{option}{text}: ends in {text[-1]}, so it is a folder; name a file")
        return super().convert(value, param, ctx)


TARGET = TargetPath(path_type=Path)
"""Type of every option that names a file to write."""


def to_json(value: dict[str, Any]) -> str:
    """Return one JSON object, ASCII alone; NaN is refused, so what is absent must be null."""
    return json.dumps(value, indent=1, allow_nan=False)


def say(text: str, *, quiet: bool = False) -> None:
    """Print to stdout unless quiet.

    Raises
    ------
    BadInput
        stdout goes to a file that can't be written.
    """
    if quiet:
        return
    try:
        click.echo(text)
    except OSError as error:
        _drop_stdout()
        if isinstance(error, BrokenPipeError):  # the reader, such as head, has seen enough
            raise click.exceptions.Exit(0) from None
        raise BadInput(f"can't write the result to the output: {error.strerror}") from None


def _drop_stdout() -> None:
    """Point stdout at nothing, so that the interpreter's last flush can't fail again."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def check_target(path: Path | None, option: str, *, folder: bool = False, ending: str = "") -> None:
    """Refuse a target that can't be written, before any work is done.

    Parameters
    ----------
    path : Path or None
        None: not given, nothing to check.
    option : str
        The option that named it, for the error.
    folder : bool
        It is a folder, made if it isn't there.
    ending : str
        How its name must end, such as ``.png``.

    Raises
    ------
    BadInput
    """
    if path is None:
        return
    if folder:
        _check_folder(path, option)
    elif path.is_dir():
        raise BadInput(f"{option} {path}: is a folder; name a file")
    else:
        _check_file(path, option, ending)


def _check_file(path: Path, option: str, ending: str) -> None:
    if path.exists() and not path.is_file():
        raise BadInput(f"{option} {path}: is not an ordinary file; name another")
    if ending and path.suffix.lower() != ending:
        raise BadInput(f"{option} {path}: does not end in {ending}; name a file that does")
    parent = path.absolute().parent
    if not parent.is_dir():
        raise BadInput(f"{option} {path}: there is no folder {path.parent}; make it first")
    if not os.access(parent, os.W_OK):
        raise BadInput(f"{option} {path}: the folder {path.parent} can't be written to")


def _check_folder(path: Path, option: str) -> None:
    if path.is_dir():
        if not os.access(path, os.W_OK):
            raise BadInput(f"{option} {path}: the folder can't be written to")
        return
    for above in (path, *path.absolute().parents):
        if above.is_dir():
            return
        if above.exists():
            raise BadInput(f"{option} {path}: {above} is a file; name a folder")


def check_targets(targets: Iterable[tuple[Path | None, str]], inputs: Iterable[Path]) -> None:
    """Refuse to write over a file that is read, or two results into one file.

    Parameters
    ----------
    targets : iterable of (Path or None, str)
        Each with the option that named it.
    inputs : iterable of Path
        Files that the command reads.

    Raises
    ------
    BadInput
    """
    read = {path.resolve() for path in inputs}
    taken: dict[Path, str] = {}
    for path, option in targets:
        if path is None:
            continue
        place = path.resolve()
        if place in read:
            raise BadInput(f"{option} {path}: is a file of the job itself; name another")
        if place in taken:
            raise BadInput(f"{option} {path}: {taken[place]} writes that file; name another")
        taken[place] = option


def to_csv(heads: Iterable[str] | None, rows: Iterable[Iterable[object]]) -> str:
    """Return CSV as RFC 4180 has it: numbers to the last digit, nothing for None.

    Without heads, further rows of a table.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    if heads is not None:
        writer.writerow(heads)
    for row in rows:
        writer.writerow("" if v is None else v if isinstance(v, str) else repr(v) for v in row)
    return text.getvalue()


def write_text(path: Path, text: str) -> None:
    """Write a file at once or not at all; where `path` is a link, the file that it leads to.

    Raises
    ------
    BadInput
        It can't be written.
    """
    write_texts(path, [text])


def write_texts(path: Path, texts: Iterable[str]) -> None:
    """Write a file from its parts, one after the other, as `write_text` does."""
    _write(path, lambda file: file.writelines(text.encode("utf-8") for text in texts))


def write_arrays(path: Path, arrays: Mapping[str, Any]) -> None:
    """Write named arrays as a compressed NPZ, at once or not at all, as `write_text` does.

    Raises
    ------
    BadInput
        It can't be written.
    """

    def write(file: IO[bytes]) -> None:
        import zipfile

        from numpy.lib.format import write_array

        # Not numpy's own savez: it stamps the hour, and the same job shall give the same bytes.
        with zipfile.ZipFile(file, "w") as pack:
            for name, array in arrays.items():
                entry = zipfile.ZipInfo(f"{name}.npy")
                entry.compress_type = zipfile.ZIP_DEFLATED
                with pack.open(entry, "w", force_zip64=True) as member:
                    write_array(member, array, allow_pickle=False)

    _write(path, write)


def _write(path: Path, write: Callable[[IO[bytes]], object]) -> None:
    place = path.resolve()
    beside = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as file:
            write(file)
        if place.exists():
            shutil.copymode(place, beside)
        beside.replace(place)
    except OSError as error:
        raise BadInput(f"can't write {path}: {error.strerror}") from None
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()


@contextlib.contextmanager
def progress_bar(what: str, *, columns: int = 0, quiet: bool) -> Iterator[Callable[[float], None]]:
    """Give a function that shows the share done on stderr, from two seconds on.

    Parameters
    ----------
    what : str
        What is worked on.
    columns : int
        How many columns that is, for the rate.
    quiet : bool
        Show nothing.
    """
    begun = time.monotonic()
    bar: Any = None
    task: Any = None

    def show(share: float) -> None:
        nonlocal bar, task
        spent = time.monotonic() - begun
        if quiet or spent < QUIET_SECONDS or not sys.stderr.isatty():
            return
        if bar is None:
            bar, task = _make_bar(what)
        bar.update(task, completed=share, rate=_rate(share * columns / spent))

    try:
        yield show
    finally:
        if bar is not None:
            bar.stop()


def _rate(columns_per_s: float) -> str:
    """Return a rate as people read it; an empty text for none."""
    for size, word in ((1e6, " million"), (1e3, " thousand"), (0.05, "")):
        if columns_per_s >= size:
            return f"{columns_per_s / max(size, 1.0):.1f}{word} columns/s"
    return ""


def _make_bar(what: str) -> tuple[Any, Any]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TimeRemainingColumn

    bar = Progress(
        "{task.description}",
        BarColumn(),
        TaskProgressColumn(),
        "{task.fields[rate]}",
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    bar.start()
    return bar, bar.add_task(what, total=1.0, rate="")
