"""Options that commands share, and how their values are read."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from proud.errors import BadInput
from proud.units import Unit, length_mm

from .output import TARGET

if TYPE_CHECKING:
    from proud.job import Job

__all__ = ["common", "depth", "inputs", "length", "place", "positive", "surface_options"]

F = TypeVar("F", bound=Callable[..., Any])


def common(function: F) -> F:
    """Add ``--json``, ``--out`` and ``--quiet``."""
    add = [
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object, no more."),
        click.option("--out", type=TARGET, help="File to write the result to."),
        click.option("--quiet", is_flag=True, help="Print nothing but errors (and JSON)."),
    ]
    for option in reversed(add):
        function = option(function)
    return function


def surface_options(function: F) -> F:
    """Add what every command on a job's surface takes."""
    add = [
        click.argument("job", type=click.Path(path_type=Path)),
        click.option("--as-of", metavar="PASS|line:N", help="Stop after a pass or a program line."),
        click.option(
            "--allow-outside", is_flag=True, help="Let the job name files outside its folder."
        ),
        click.option(
            "--threads", type=click.IntRange(1, 1024), help="Cores to use; all unless given."
        ),
        click.option(
            "--fail-on",
            type=click.Choice(["note", "watch", "spoils", "stop"]),
            help="Exit 1 on a finding of this severity or worse.",
        ),
    ]
    for option in reversed(add):
        function = option(function)
    return function


def inputs(job: Job) -> Iterator[Path]:
    """Yield the files that a job was made of, the file of shared tools left out."""
    spec = job.spec
    yield spec.path
    for path in (spec.stock.model, spec.part.model if spec.part else None):
        if path is not None:
            yield path
    for setup in spec.setups:
        for path in (setup.program, setup.passes):
            if path is not None:
                yield path


def length(text: str, unit: Unit, option: str) -> float:
    """Return a length given on the command line, mm: a number in the job's unit, or with one."""
    try:
        return length_mm(_number(text), unit)
    except BadInput as error:
        raise BadInput(f"{option}: {error}") from None


def depth(text: str, unit: Unit, option: str) -> float:
    """Return a length of 0 or more, mm."""
    found = length(text, unit, option)
    if found < 0:
        raise BadInput(f"{option} {text!r}: is below 0; a depth is counted downwards, as 0 or more")
    return found


def positive(text: str, unit: Unit, option: str) -> float:
    """Return a length over 0, mm."""
    found = length(text, unit, option)
    if found <= 0:
        raise BadInput(f"{option} {text!r}: is not over 0; write a length such as 2 thou")
    return found


def place(text: str, unit: Unit, option: str) -> tuple[float, float]:
    """Return a place X,Y given on the command line, mm."""
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInput(f"{option} {text!r}: write a place as X,Y such as 0.5,-1.25")
    return length(parts[0], unit, option), length(parts[1], unit, option)


def _number(text: str) -> float | str:
    """Return a plain number as such; a text with a unit, or no number at all, as it is."""
    try:
        number = float(text)
    except ValueError:
        return text
    return text if math.isnan(number) or "_" in text else number
