"""Shows what the tools will leave standing proud of a milled part, before it is cut.

>>> import proud
>>> job = proud.load("demo_parts/first_try/job.toml")  # doctest: +SKIP
>>> result = job.run()  # doctest: +SKIP

Everything is loaded when first used: ``import proud`` itself takes a few milliseconds.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .errors import BadInput, ProudError
    from .grid import Grid, Tile
    from .job import Job, load
    from .result import RunResult
    from .trace import Trace

__all__ = ["BadInput", "Grid", "Job", "ProudError", "RunResult", "Tile", "Trace", "load"]

_HOME = {
    "BadInput": "errors",
    "Grid": "grid",
    "Job": "job",
    "ProudError": "errors",
    "RunResult": "result",
    "Tile": "grid",
    "Trace": "trace",
    "load": "job",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'proud' has no attribute {name!r}")
    return getattr(importlib.import_module(f".{_HOME[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted(__all__)
