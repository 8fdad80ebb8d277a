"""Lengths: what people write, in millimetres; and millimetres, as people say them.

A bare number is in the job's unit. A text carries its own unit, with or without a space::

    0.0125in   12.5 thou   2 tenths   12.7mm   40um

A thou is 0.001 in and a tenth is 0.0001 in, always, in a metric job too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Final, Literal

from .errors import BadInput, closest

__all__ = [
    "CHORD_MM",
    "LIMIT_MM",
    "MM_PER",
    "UNITS",
    "Unit",
    "fine_unit",
    "length_mm",
    "outward",
    "say_alike",
    "say_feed",
    "say_fine",
    "say_length",
    "to_unit",
]

Unit = Literal["in", "mm"]
UNITS: Final[tuple[Unit, ...]] = ("in", "mm")

MM_PER: Final[dict[str, float]] = {
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    '"': 25.4,
    "thou": 0.0254,
    "tenth": 0.00254,
    "tenths": 0.00254,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "um": 0.001,
    "µm": 0.001,  # micro sign
    "μm": 0.001,  # Greek mu
}
"""Millimetres in one of each unit that a length may carry."""

LARGE_MM: Final = {"in": 12.7, "mm": 1.0}
"""From here on people say a height in inches or millimetres, not in thou or micrometres."""
LIMIT_MM: Final = 1e5
"""Longest length taken, 100 m: a longer one is a slip of the decimal point."""
CHORD_MM: Final = 1e-4
"""How far chords may be off the curve they stand for, where a job does not say, mm."""

_LENGTH: Final = re.compile(
    r'\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([A-Za-zµμ"]*)\s*\Z', re.ASCII
)


def length_mm(value: float | int | str, unit: Unit) -> float:
    """Return a length in millimetres.

    Parameters
    ----------
    value : float, int or str
        A bare number in `unit`, or a text such as ``"12.5 thou"``.
    unit : {'in', 'mm'}
        The job's unit, for bare numbers.

    Returns
    -------
    float
        Millimetres, rounded to 1e-10 mm so that equal lengths written in different units are
        equal.

    Raises
    ------
    BadInput
        Not a length, an unknown unit, not finite, or over 100 m.
    """
    number, per = _split(value, unit)
    length = number * per
    if not math.isfinite(length) or abs(length) > LIMIT_MM:
        raise BadInput(f"{_shown(value)} is longer than {LIMIT_MM / 1000:g} m; is the unit right?")
    return round(length, 10) + 0.0  # + 0.0: no minus zero


def _shown(value: object) -> str:
    """Return a value as it is written in a file, on one line, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) > 10**18:
        return "a whole number of over 18 digits"
    text = "".join(c if c.isprintable() else " " for c in str(value)[:61])
    text = text if len(text) <= 60 else text[:57] + "..."
    return f'"{text}"' if isinstance(value, str) else text


def _not_a_length(value: object) -> str:
    return f'{_shown(value)} is not a length; write a number or a text such as "12.5 thou"'


def _split(value: float | int | str, unit: Unit) -> tuple[float, float]:
    if isinstance(value, int) and abs(value) > LIMIT_MM:  # past the range of a float, even
        value = math.inf if value > 0 else -math.inf
    if isinstance(value, bool) or not isinstance(value, int | float | str) or value != value:
        raise BadInput(_not_a_length(value))
    if not isinstance(value, str):
        return float(value), MM_PER[unit]
    found = _LENGTH.match(value)
    if not found:
        raise BadInput(_not_a_length(value))
    word = found[2] or unit
    per = MM_PER.get(word, MM_PER.get(word.lower()))
    if per is None:
        raise BadInput(
            f"unknown unit {_shown(word)} in {_shown(value)}; use in, thou, tenths, mm or um"
            + closest(word, MM_PER)
        )
    return float(found[1]), per


def to_unit(mm: float, unit: Unit) -> float:
    """Return millimetres in the job's unit, at full precision."""
    return mm / MM_PER[unit]


def fine_unit(unit: Unit) -> str:
    """Return the unit in which people of this job say small heights."""
    return "thou" if unit == "in" else "µm"


def say_length(mm: float, unit: Unit, places: int | None = None) -> str:
    """Return a length as people write it on a drawing: ``-0.5000 in`` or ``-12.700 mm``."""
    digits = (4 if unit == "in" else 3) if places is None else places
    number = round(to_unit(mm, unit), digits) + 0.0
    return f"{number:.{digits}f} {unit}"


def say_fine(mm: float, unit: Unit) -> str:
    """Return a small height as people say it: ``3.00 thou`` or ``76.2 µm``."""
    if abs(mm) >= LARGE_MM[unit]:
        return say_length(mm, unit)
    if unit == "in":
        return f"{round(mm / 0.0254, 2) + 0.0:.2f} thou"
    return f"{round(mm * 1000, 1) + 0.0:.1f} µm"


def say_feed(mm: float, unit: Unit) -> str:
    """Return the number of a feed, of mm a minute in the job's unit a minute: ``20``, ``3.17``."""
    number = to_unit(mm, unit)
    digits = 2 - math.floor(math.log10(number)) if number > 0 else 0
    return f"{number:.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{number:.0f}"


def outward(after: float, before: float, unit: Unit) -> float:
    """Return a length as it is said and typed in, rounded away from another: never short of it.

    What is put in as `say_length` shows it must be enough: 45.0254 mm, up from 45, is 45.026.
    """
    step = MM_PER[unit] * (1e-4 if unit == "in" else 1e-3)
    way = 1.0 if after >= before else -1.0
    return round(way * step * math.ceil((way * after - 1e-6) / step), 10) + 0.0


def say_alike(lengths: Iterable[float], unit: Unit) -> list[str]:
    """Return lengths of one sentence in one unit: fine, unless one of them is large."""
    every = list(lengths)
    large = any(abs(mm) >= LARGE_MM[unit] for mm in every)
    return [say_length(mm, unit) if large else say_fine(mm, unit) for mm in every]
