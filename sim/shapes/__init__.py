"""Tool shapes, one module a shape or close family; what is here is what a job may name.

A new shape is a new module with a tuple ``SHAPES`` of `base.Shape`; it is found by itself.
"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Final

from ..errors import Fault
from .base import Shape, Word

__all__ = ["OWN_WORDS", "SHAPES"]


def _find() -> dict[str, Shape]:
    found: dict[str, Shape] = {}
    for module in pkgutil.iter_modules(__path__):
        shapes = getattr(importlib.import_module(f".{module.name}", __name__), "SHAPES", ())
        for shape in shapes:
            if shape.name in found:
                raise Fault(f"two tool shapes are called {shape.name!r}")
            found[shape.name] = shape
    return dict(sorted(found.items()))


SHAPES: Final[dict[str, Shape]] = _find()
"""Every shape by its name, in the order of the alphabet."""
OWN_WORDS: Final[dict[str, Word]] = {
    name: word for shape in SHAPES.values() for name, word in shape.words.items()
}
"""Words that one shape alone has."""
