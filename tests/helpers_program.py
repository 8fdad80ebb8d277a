"""Short programs and short ways to write the moves that they should make."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from proud.dialect import Dialect
from proud.moves import ARC
from proud.program import ReaderSettings, Reading, read_source

HEAD = "G21 T1 M6\nG43 H1 S1000 M3 F100\nG0 X0 Y0 Z0\n"
"""Three lines: tool 1 stands at the work zero."""
TOOLS = {1: "flat 10 mm", 2: "ball 6 mm"}


def settings(**changes: Any) -> ReaderSettings:
    """Return settings; names of choices go into the dialect."""
    choices = {k: changes.pop(k) for k in list(changes) if k in Dialect.__dataclass_fields__}
    given: dict[str, Any] = {"unit": "mm", "tools": TOOLS, "stock_top": 0.0, **changes}
    return ReaderSettings(dialect=Dialect(**choices), **given)


def read(text: str, **changes: Any) -> Reading:
    """Read a program after `HEAD`; it need not say M30."""
    return read_source(HEAD + text + "\nM30", settings(**changes), shown="part.nc")


def path(text: str, **changes: Any) -> list[tuple[Any, ...]]:
    """Return the moves after `HEAD`, as `moves` writes them."""
    found = read(text, **changes).program.moves[1:]
    rows: list[tuple[Any, ...]] = []
    for k in range(len(found)):
        end = tuple(round(v, 6) + 0.0 for v in found.end[k].tolist())
        if found.kind[k] == ARC:
            center = tuple(round(v, 6) + 0.0 for v in found.center[k].tolist())
            rows.append(("A", *end, *center, round(math.degrees(found.turn[k]), 6)))
        else:
            rows.append(("R" if found.rapid[k] else "F", *end))
    return rows


def moves(text: str) -> list[tuple[Any, ...]]:
    """Return moves written as ``F 1 2 3 | R 0 0 5 | A x y z cx cy degrees``."""
    rows = []
    for part in filter(None, (p.strip() for p in text.split("|"))):
        kind, *numbers = part.split()
        rows.append((kind, *(float(n) for n in numbers)))
    return rows


def assert_path(text: str, expected: str, **changes: Any) -> None:
    """Assert that a program makes these moves, within 2e-6 mm or degrees."""
    found, wanted = path(text, **changes), moves(expected)
    assert [row[0] for row in found] == [row[0] for row in wanted], found
    for row, want in zip(found, wanted, strict=True):
        np.testing.assert_allclose(row[1:], want[1:], rtol=0, atol=2e-6)
