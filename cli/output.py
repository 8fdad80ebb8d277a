"""Where results go: stdout, files written at once or not at all, progress on stderr."""

from __future__ import annotations

import contextlib
import json
import secrets
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
from proud.errors import BadInput

__all__ = ["check_target", "progress_bar", "say", "to_json", "write_text"]

QUIET_SECONDS = 2.0
"""Work that takes less shows no progress."""


def to_json(value: dict[str, Any]) -> str:
    """Return one JSON object; NaN is refused, so what is absent must be null."""
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False)


def say(text: str, *, quiet: bool = False) -> None:
    """Print to stdout unless quiet."""
    if not quiet:
        click.echo(text)


def check_target(path: Path | None, option: str, *, folder: bool = False) -> None:
    """Refuse a target that can't be written, before any work is done."""
    if path is None:
        return
    if folder:
        if path.exists() and not path.is_dir():
            raise BadInput(f"{option} {path}: is a file; name a folder")
        return
    if path.is_dir():
        raise BadInput(f"{option} {path}: is a folder; name a file")
    if not path.absolute().parent.is_dir():
        raise BadInput(f"{option} {path}: there is no folder {path.parent}; make it first")


def write_text(path: Path, text: str) -> None:
    """Write a file at once or not at all."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    except OSError as error:
        raise BadInput(f"can't write {path}: {error.strerror}") from None
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()


@contextlib.contextmanager
def progress_bar(what: str, *, quiet: bool) -> Iterator[Callable[[float], None]]:
    """Give a function that shows the share done on stderr, from two seconds on."""
    begun = time.monotonic()
    bar: Any = None
    task: Any = None

    def show(share: float) -> None:
        nonlocal bar, task
        if quiet or time.monotonic() - begun < QUIET_SECONDS:
            return
        if bar is None:
            bar, task = _make_bar(what)
        bar.update(task, completed=share)

    try:
        yield show
    finally:
        if bar is not None:
            bar.stop()


def _make_bar(what: str) -> tuple[Any, Any]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TimeRemainingColumn

    bar = Progress(
        "{task.description}",
        BarColumn(),
        TaskProgressColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    bar.start()
    return bar, bar.add_task(what, total=1.0)
