"""The review of a whole job: what all rules find, and what a machinist checks beside it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Final

from .findings import find_all
from .findings.base import SEVERITIES, Finding, Severity
from .findings.case import Case
from .units import MM_PER, Unit

if TYPE_CHECKING:
    from .clearance import Gap
    from .findings.leads import Lead
    from .job import Job
    from .result import RunResult

__all__ = ["Review", "fails_on", "review"]

GROUPS: Final = ("fixture", "holder", "shank")
_REGISTER: Final = re.compile(r"\b[HD]\d+\b|\bG5\d(?:\.\d)?\b|\S+\.[XYZ]0\b")


@dataclasses.dataclass(frozen=True)
class Review:
    """What was found on a job.

    Attributes
    ----------
    unit : {'in', 'mm'}
    findings : tuple of Finding
        Worst first.
    registers : dict of str to float
        Registers and work zeros to check before starting, and the error that the job gives, mm.
    gaps : dict of str to Gap or None
        The least gap of ``fixture``, ``holder`` and ``shank`` (neck too), where the job has them;
        None: none under `near`.
    near : float
        Up to which gaps of holder and shank were looked for, mm.
    leads : tuple of Lead
    seconds : dict of int to float
        By pass; an estimate.
    not_looked_at : tuple of str
    """

    unit: Unit
    findings: tuple[Finding, ...]
    registers: dict[str, float]
    gaps: dict[str, Gap | None]
    near: float
    leads: tuple[Lead, ...]
    seconds: dict[int, float]
    not_looked_at: tuple[str, ...]

    def count(self, severity: Severity) -> int:
        """Return how many findings are of a severity."""
        return sum(f.severity == severity for f in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """Return plain values in the job's unit, ready for JSON."""
        per = MM_PER[self.unit]
        return {
            "findings": [f.as_dict(self.unit) for f in self.findings],
            "registers": {name: error / per for name, error in self.registers.items()},
            "least_gaps": {n: gap and self._gap(gap, per) for n, gap in self.gaps.items()},
            "leads": [self._lead(lead, per) for lead in self.leads],
            "seconds": sum(self.seconds.values()),
            "times": [{"pass": n, "seconds": s} for n, s in self.seconds.items()],
            "not_looked_at": list(self.not_looked_at),
        }

    @staticmethod
    def _gap(gap: Gap, per: float) -> dict[str, Any]:
        return {
            "gap": gap.gap / per,
            "tool": gap.tool,
            "part_of_tool": gap.part,
            "against": gap.against,
            "at": [v / per for v in gap.at],
            "pass": gap.pass_number or None,
            "line": gap.line or None,
        }

    @staticmethod
    def _lead(lead: Lead, per: float) -> dict[str, Any]:
        row = dataclasses.asdict(lead)
        row["pass"] = row.pop("pass_number")
        return row | {"at": [v / per for v in lead.at]}


def review(
    job: Job, result: RunResult, *, progress: Callable[[float], None] | None = None
) -> Review:
    """Return what all rules find on a job, and what a machinist checks beside it.

    Parameters
    ----------
    job : Job
    result : RunResult
        Of the whole job.
    progress : callable, optional
        Called with the share done, 0 to 1.
    """
    from .findings.leads import leads_of
    from .mechanics import pass_seconds

    say = progress or (lambda _: None)
    case = Case(job, result)
    findings = find_all(case, say)
    return Review(
        unit=job.unit,
        findings=findings,
        registers=_registers(job, findings),
        gaps=_least_gaps(case),
        near=case.near,
        leads=leads_of(case),
        seconds=pass_seconds(job),
        not_looked_at=tuple(_not_looked_at(case)),
    )


def fails_on(findings: tuple[Finding, ...], word: str) -> bool:
    """Whether there is a finding of a severity or worse, or of a rule."""
    if word in SEVERITIES:
        worst = SEVERITIES.index(word)
        return any(SEVERITIES.index(f.severity) <= worst for f in findings)
    return any(f.rule == word for f in findings)


def _registers(job: Job, findings: tuple[Finding, ...]) -> dict[str, float]:
    """Return the registers that have an error or that a finding turns on, with their errors."""
    errors = {f"H{n}": e for n, e in job.spec.h_errors.items() if e}
    errors |= {f"D{n}": job.spec.d_value(n) for n, e in job.spec.d_errors.items() if e}
    for setup, shift in job.spec.zero_errors.items():
        errors |= {f"{setup}.{axis}0": e for axis, e in zip("XYZ", shift, strict=True) if e}
    named = [
        name
        for f in findings
        if f.severity != "note" and f.change is not None
        for name in _REGISTER.findall(f.change.what)
    ]
    return {name: errors.get(name, 0.0) for name in dict.fromkeys([*errors, *named])}


def _least_gaps(case: Case) -> dict[str, Gap | None]:
    """Return the least gap of each of `GROUPS`; None: none as near as was looked for."""
    found: dict[str, Gap] = {}
    labels = {
        p.label for n in {p.tool for p in case.passes.values()} for p in case.job.tools[n].pieces
    }
    there = {"holder": "holder" in labels, "shank": bool(labels & {"neck", "shank"})}
    for gap in case.clearance.gaps:
        if gap.against != "stock":
            found.setdefault("fixture", gap)
        elif gap.part in ("neck", "shank"):
            found.setdefault("shank", gap)
        elif gap.part == "holder":
            found.setdefault("holder", gap)
    return {name: found.get(name) for name in GROUPS if name in found or there.get(name)}


def _not_looked_at(case: Case) -> Iterator[str]:
    """Yield what no rule could judge on this job, and what none ever does."""
    spec = case.job.spec
    if spec.part is None:
        yield "where the part ends (the job has no [part]), so what is scrap is not known"
    if not spec.show:
        yield "which faces will be seen (no [[show]])"
    if not any(setup.fixture for setup in spec.setups):
        yield "jaws, stops and clamps (none given)"
    bare = [n for n in sorted({p.tool for p in case.passes.values()}) if not spec.tools[n].holder]
    if bare:
        yield f"the holder of {', '.join(f'T{n}' for n in bare)} (none given)"
    yield from case.clearance.notes
    yield "how tools and part give way, runout, tram, heat, built-up edge"
