"""What a finding says, and what a rule is."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

from ..units import MM_PER, Unit

if TYPE_CHECKING:
    from .case import Case

__all__ = ["NONE", "SEVERITIES", "THOU", "Change", "Finding", "Margin", "Rule", "Severity"]

Severity = Literal["stop", "spoils", "watch", "note"]
SEVERITIES: Final[tuple[Severity, ...]] = ("stop", "spoils", "watch", "note")
"""Worst first: do not start; spoils the part; look at it; good to know."""
Point = tuple[float, float, float]
THOU: Final = MM_PER["thou"]
NONE: Final = "none"
"""What a word is changed to that is to be taken out."""


@dataclasses.dataclass(frozen=True)
class Change:
    """What to change: one value, from what it is to what it should be.

    Attributes
    ----------
    what : str
        The register, word or pass value, as the person finds it: ``H3``, ``Z at line 120``,
        ``allowance_side of pass 12``.
    before, after : float or str or None
        mm where `length`, else as they are; None: there is none; after, `NONE`: take it out.
    length : bool
        Both are lengths.
    seconds : float or None
        What it costs a part; None: not known.
    feed : bool
        Both are feeds, mm a minute.
    """

    what: str
    before: float | str | None
    after: float | str | None
    length: bool = True
    seconds: float | None = 0.0
    feed: bool = False

    def as_dict(self, unit: Unit) -> dict[str, Any]:
        """Return plain values in the job's unit, ready for JSON."""
        values = (
            value / MM_PER[unit] if self.length and isinstance(value, float) else value
            for value in (self.before, self.after)
        )
        before, after = values
        return {"what": self.what, "from": before, "to": after, "seconds": self.seconds}


@dataclasses.dataclass(frozen=True)
class Finding:
    """One thing that will be seen on the part, or that goes wrong on the way there.

    Attributes
    ----------
    rule : str
    severity : {'stop', 'spoils', 'watch', 'note'}
    tool, pass_number : int
    lines : (int, int)
        First and last program line.
    at : (x, y, z)
        mm, part frame.
    size : float
        mm unless `of` says otherwise; which length it is stands on the rule's page.
    text : str
        What it is and by how much, in trade words, without its place.
    why : str
        Why it matters.
    sure : str
        ``exact``, or ``estimated from ...``.
    change : Change or None
    then : str
        What the part would look like with the change.
    other_pass : int or None
        A second pass that has a part in it.
    of : str
        Unit of `size`; empty: a length, in the job's unit.
    """

    rule: str
    severity: Severity
    tool: int
    pass_number: int
    lines: tuple[int, int]
    at: Point
    size: float
    text: str
    why: str
    sure: str = "exact"
    change: Change | None = None
    then: str = ""
    other_pass: int | None = None
    of: str = ""

    def as_dict(self, unit: Unit) -> dict[str, Any]:
        """Return plain values in the job's unit, ready for JSON."""
        per = MM_PER[unit]
        row: dict[str, Any] = {
            "rule": self.rule,
            "severity": self.severity,
            "tool": self.tool,
            "pass": self.pass_number,
            "lines": list(self.lines),
            "at": [v / per for v in self.at],
            "size": self.size if self.of else self.size / per,
            "unit": self.of or unit,
            "text": self.text,
            "why": self.why,
            "sure": self.sure,
            "change": None if self.change is None else self.change.as_dict(unit),
            "then": self.then,
        }
        if self.other_pass is not None:
            row["other_pass"] = self.other_pass
        return row


@dataclasses.dataclass(frozen=True)
class Margin:
    """A threshold that a job may set under ``[margins]``.

    Attributes
    ----------
    name : str
        Its key.
    value : float
        Unless the job sets it, mm; where `ratio`, without a unit.
    says : str
        What it is, and why it is that much.
    ratio : bool
    """

    name: str
    value: float
    says: str
    ratio: bool = False


@dataclasses.dataclass(frozen=True)
class Rule:
    """One rule: how it looks for its findings, and the margins that it goes by.

    The docstring of the module that holds it is its page.

    Attributes
    ----------
    titles : dict of str to str
        Each name that its findings carry, and what they are in a few words.
    find : callable
    margins : tuple of Margin
    """

    titles: Mapping[str, str]
    find: Callable[[Case], Iterable[Finding]]
    margins: tuple[Margin, ...] = ()
