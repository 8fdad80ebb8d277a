"""Options that commands share, and how their values are read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
from proud.errors import BadInput
from proud.units import Unit, length_mm

__all__ = ["common", "length", "place", "surface_options"]

F = TypeVar("F", bound=Callable[..., Any])


def common(function: F) -> F:
    """Add ``--json``, ``--out`` and ``--quiet``."""
    add = [
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object, no more."),
        click.option("--out", type=click.Path(path_type=Path), help="File to write the result to."),
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


def length(text: str, unit: Unit, option: str) -> float:
    """Return a length given on the command line, mm: a number in the job's unit, or with one."""
    try:
        return length_mm(_number(text), unit)
    except BadInput as error:
        raise BadInput(f"{option}: {error}") from None


def place(text: str, unit: Unit, option: str) -> tuple[float, float]:
    """Return a place X,Y given on the command line, mm."""
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInput(f"{option} {text!r}: write a place as X,Y such as 0.5,-1.25")
    return length(parts[0], unit, option), length(parts[1], unit, option)


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
