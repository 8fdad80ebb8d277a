"""Random jobs in twins: clean, and with one planted mistake whose size is known beforehand."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import twins_faces as faces
import twins_profile as profile
import twins_walls as walls
from proud.findings import find_all
from proud.findings.base import Finding
from proud.findings.case import Case
from twins_base import Planted, Twin
from twins_cures import cured
from twins_plan import Plan

Maker = Callable[[np.random.Generator], Twin]


def _kinds() -> dict[str, Maker]:
    kinds: dict[str, Maker] = {}
    for name, plant in walls.MISTAKES.items():
        for shape in walls.SHAPES:
            if shape in walls.OPEN and name in walls.CLOSED_ONLY:
                continue
            if name == "seen" and shape in walls.HIDDEN:
                continue

            def make_one(rng, plant=plant, name=name, shape=shape):
                return dataclasses.replace(plant(rng, shape), name=name, shape=shape)

            kinds[f"{name}, {shape}"] = make_one
    others = {"profile": profile.MISTAKES, "face": faces.MISTAKES}
    for shape, mistakes in others.items():
        for name, plant_one in mistakes.items():

            def make_other(rng, plant=plant_one, name=name, shape=shape):
                return dataclasses.replace(plant(rng), name=name, shape=shape)

            kinds[f"{name}, {shape}"] = make_other
    return kinds


KINDS = _kinds()


NO_CHANGE = "the finding states no change"
WITHOUT_CHANGE = frozenset[str]()
"""Mistakes whose finding states none."""
NOT_PLANTED = frozenset[str]()
"""Rules without a mistake of known size here."""


def kind_of(seed: int) -> str:
    """Return the kind of a seed: each name in turn, its shapes one after the other."""
    names = list(dict.fromkeys(kind.rsplit(", ", 1)[0] for kind in KINDS))
    name = names[seed % len(names)]
    shapes = [kind for kind in KINDS if kind.rsplit(", ", 1)[0] == name]
    return shapes[seed // len(names) % len(shapes)]


def make(seed: int, kind: str | None = None) -> Twin:
    """Return the twins of a seed; kinds follow one another with the seed unless one is named."""
    rng = np.random.default_rng(seed)
    name = kind_of(seed) if kind is None else kind
    for _ in range(50):
        twin = KINDS[name](rng)
        if not twin.silly:
            return twin
    raise AssertionError(name)


def findings(plan: Plan, folder: Path, **more: object) -> tuple[Finding, ...]:
    job = plan.write(folder, **more)  # type: ignore[arg-type]
    return find_all(Case(job, job.run()))


def loud(rows: tuple[Finding, ...]) -> list[Finding]:
    return [f for f in rows if f.severity != "note"]


def same_findings(one: tuple[Finding, ...], two: tuple[Finding, ...]) -> bool:
    """Whether two lists hold the same rules, passes and sizes, to 1e-6 mm (or of their unit)."""

    def rows(found: tuple[Finding, ...]) -> list[tuple[str, str, int, float]]:
        return sorted((f.rule, f.severity, f.pass_number, f.size) for f in found)

    first, other = rows(one), rows(two)
    return len(first) == len(other) and all(
        a[:3] == b[:3] and abs(a[3] - b[3]) < 1e-6 for a, b in zip(first, other, strict=True)
    )


@dataclasses.dataclass(frozen=True)
class Verdict:
    """What went wrong with a twin, and how far off its size was."""

    faults: tuple[str, ...]
    off: float
    found: Finding | None = None


def _same(a: Finding, b: Finding) -> bool:
    return (a.rule, a.pass_number) == (b.rule, b.pass_number) and abs(a.size - b.size) < 1e-6


def _text(f: Finding) -> str:
    return f"{f.rule} ({f.severity}) {f.size:.6f} pass {f.pass_number}: {f.text}"


def judge(twin: Twin, folder: Path) -> Verdict:
    """Return what is wrong with the findings of both twins."""
    clean = findings(twin.clean, folder / "clean")
    faults = [f"false alarm: {_text(f)}" for f in loud(clean)]
    rows = [f for f in findings(twin.bad, folder / "bad") if not any(_same(f, c) for c in clean)]
    more, found, off = _compare(twin.planted, rows)
    return Verdict((*faults, *more), off, found)


def judge_cure(twin: Twin, folder: Path) -> tuple[str, ...]:
    """Return what is wrong with the job after the stated cure; the finding's change is needed."""
    bad = findings(twin.bad, folder / "bad")
    clean = findings(twin.clean, folder / "clean")
    rows = [f for f in bad if not any(_same(f, c) for c in clean)]
    _, found, _ = _compare(twin.planted, rows)
    if found is None:
        return ("missed",)
    done = cured(twin.bad, found)
    if done is None:
        return (NO_CHANGE,)
    plan, program = done
    after = findings(plan, folder / "cured", program=program)
    faults = [f"new: {_text(f)}" for f in loud(after) if not any(_same(f, b) for b in bad)]
    kept = [f for f in after if f.rule == found.rule and abs(f.size - found.size) < 1e-6]
    if found.rule == "plunge":  # at half the feed it stays a note, for it may not cut its center
        kept = [f for f in kept if f.change == found.change]
    faults += [f"still there: {_text(f)}" for f in kept if f.pass_number == found.pass_number]
    return tuple(f"{fault}; after {found.change}" for fault in faults)


def _compare(planted: Planted, rows: list[Finding]) -> tuple[list[str], Finding | None, float]:
    mine = [f for f in rows if f.rule == planted.rule]
    if planted.severity:
        mine = [f for f in mine if f.severity == planted.severity]
    elif any(f.severity != "note" for f in mine):
        mine = [f for f in mine if f.severity != "note"]
    also = {rule for rule, _ in planted.also}
    faults = [
        f"beside it: {_text(f)}" for f in rows
        if f.severity != "note" and f not in mine and f.rule not in also
    ]  # fmt: skip
    if not mine:
        return [*faults, f"missed: {planted.rule} {planted.size:.6f}"], None, 0.0
    faults += [f"twice: {_text(f)}" for f in mine[1:]]
    found = mine[0]
    if not planted.severity and found.severity == "note":
        faults.append(f"only a note: {_text(found)}")
    off = abs(found.size - planted.size)
    if found.of != planted.of or not off <= planted.tol:
        faults.append(f"size {found.size:.6f} for {planted.size:.6f}: {_text(found)}")
    return faults, found, off
