"""Findings: what the simulation means for the part, one rule a module.

Each module with a tuple ``RULES`` of `base.Rule` is found by itself, and its docstring is the page
that a person reads about them: definition, measure, margin with its reason, cure, source.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from ..errors import Fault
from .base import SEVERITIES, Change, Finding, Margin, Rule, Severity

if TYPE_CHECKING:
    from .case import Case

__all__ = [
    "MARGINS",
    "RULES",
    "SEVERITIES",
    "Change",
    "Finding",
    "Margin",
    "Rule",
    "Severity",
    "find_all",
    "page_of",
]


def _find() -> tuple[dict[str, Rule], dict[str, str]]:
    rules: dict[str, Rule] = {}
    pages: dict[str, str] = {}
    for info in pkgutil.iter_modules(__path__):
        module = importlib.import_module(f".{info.name}", __name__)
        for rule in getattr(module, "RULES", ()):
            for name in rule.titles:
                if name in rules:
                    raise Fault(f"two rules are called {name!r}")
                rules[name], pages[name] = rule, inspect.cleandoc(module.__doc__ or "")
    return rules, pages


_FOUND: Final = _find()
RULES: Final[dict[str, Rule]] = _FOUND[0]
"""Every rule by each of its names."""
MARGINS: Final[dict[str, Margin]] = {m.name: m for rule in RULES.values() for m in rule.margins}
"""What a job may set under ``[margins]``."""


def page_of(name: str) -> str:
    """Return the page of a rule."""
    return _FOUND[1][name]


def find_all(case: Case, progress: Callable[[float], None] | None = None) -> tuple[Finding, ...]:
    """Return what all rules find, worst first; of one kind in the order of the program."""
    rules = list({id(rule): rule for rule in RULES.values()}.values())
    found: list[Finding] = []
    for k, rule in enumerate(rules):
        found += rule.find(case)
        if progress is not None:
            progress((k + 1) / len(rules))
    for finding in found:
        if finding.rule not in RULES:
            raise Fault(f"a finding of no rule: {finding.rule}")
    return tuple(
        sorted(
            found,
            key=lambda f: (SEVERITIES.index(f.severity), f.pass_number, f.lines, f.rule, f.at),
        )
    )
