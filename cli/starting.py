"""What is said before long work begins: what it will take, and that a first run compiles."""

from __future__ import annotations

from pathlib import Path

import click
from proud.job import Job

__all__ = ["starting"]

LARGE = 200_000_000
"""Arrays over this many bytes are announced."""


def starting(job: Job, *, quiet: bool) -> None:
    """Say on stderr what the work will take, if it will take long."""
    if quiet:
        return
    from proud.memory import RUN_BYTES, say_bytes

    needed = job.grid.columns * RUN_BYTES
    if needed > LARGE:
        click.echo(
            f"{job.grid.columns:,} columns: takes about {say_bytes(needed)} of memory", err=True
        )
    if not _compiled():
        click.echo("first run: compiling for this machine, some seconds, once", err=True)


def _compiled() -> bool:
    """Whether the outermost kernel is on disk already, for the code as it stands."""
    from proud.kernels.cutting import cut_tiles

    index = getattr(cut_tiles, "_cache", None)
    path = getattr(index, "_cache_path", None)
    return bool(path) and any(Path(path).glob("cutting.cut_tiles-*.nbc"))
