"""Where the finished metal is not the part: cut below it, or standing above it.

[gouge] The tool cut into the part. [leftover] Metal stands above the part where a tool
has been. With a part model, rays square to the model's faces measure from the model to
the metal's face, at places spread over all faces that do not look down, at the end of the
job. One finding for each tool that is off one way: its worst place, and how many passes
have a part in it.

Size: the distance from the model, square to it, at the worst place: found near places all
over the model and beside the tool's paths, then walked to by exact rays. Exact for flat
faces; where facets stand for a curve, the distance by which they may be off it is taken
away before it is held against the tolerance, and said. Right through: the part's thickness.
Margin: [part] tolerance; `part_tolerance`, 5 thou, where the job gives none.

Metal between strokes that ran at the height of the face beside it, raw or as wide as less
than the tool's radius, is leftover too: size its height over the part, its width is said.
What [sliver] says is not said again; under a box of the fixture it is silent.

Notes only: what the tool's own radius must leave in an inside corner that the model has
sharp, as high as a circle in that corner leaves it, and the tolerance; an edge that a
chamfer mill breaks and the model has sharp. Silent: faces that no tool has come near or
that have strokes on one side only (another setup's), faces that look down, the foot of a
wall whose finisher stops too high [ledge-left], and all that is not part: below its bottom,
beside it, above it further than 0.1 in where it is cut and no strip.

Without a model, [part] top alone is judged, by levels: metal that a tool left level above
the top and beyond tolerance, and strips between strokes at the top [leftover]; the highest
level of all below the top by more, where no metal reaches the top's tolerance [gouge].
Where the part ends sideways is then not known, so it is a thing to watch. What lies below
[part] bottom is scrap.

Cure: the height or the side allowance of the pass by that much (all heights of one that
follows a surface); other passes that need the same are named. Where a later pass ran over the
metal and took nothing, its height. Where by program the face is within half of that and in
tolerance, and a register in force (H; D on walls) or a work zero is off, that. Metal that
leans against the model's face is a ridge: one more path. Between strokes: the stepover.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine
from .base import THOU, Change, Finding, Margin, Rule, Severity
from .registers import UP, cause_of, shares_of

if TYPE_CHECKING:
    from ..levels import Level
    from .base import Point
    from .case import Case
    from .model_places import Floats, Ints
    from .model_worst import Off

__all__ = ["RULES"]

NEAR: Final = 100 * THOU
"""Further above the part's top than this, metal is scrap that is meant to be there."""
LEVEL: Final = 0.999
MANY: Final = 12
"""A pass at more heights than this follows a surface."""
UPRIGHT: Final = 0.01
ALIKE: Final = 0.998
"""Metal whose face leans against the model's, cosine, by more is a ridge: no height is off."""
DIGITS: Final = 9
"""Decimals of mm that a change is rounded to."""


def _find(case: Case) -> Iterable[Finding]:
    part = case.job.spec.part
    if part is None:
        return
    tolerance = part.tolerance or case.margin("part_tolerance")
    if part.model is not None:
        yield from _by_model(case, tolerance)
    elif math.isfinite(case.part_top):
        yield from _by_top(case, tolerance)


# -------------------------------------------------------------------------------- against the model


def _by_model(case: Case, tolerance: float) -> Iterator[Finding]:
    from .model_paths import cut_into
    from .model_places import places_of
    from .model_worst import BESIDE, CORNER, MAIN, MINOR, WITHIN, off_at
    from .strips import strips_of

    strips = strips_of(case, tolerance)
    yield from strips.findings(case)
    off = off_at(case, places_of(case).joined(cut_into(case, tolerance)), tolerance)
    if len(strips):
        off.kind[(off.faces.off > 0) & strips.hold(off.places.at)] = WITHIN
    for proud in (False, True):
        side = (off.kind != WITHIN) & ((off.faces.off > 0) == proud)
        if (side & np.isin(off.kind, (MAIN, CORNER))).any():
            side &= off.kind != BESIDE
        for number in np.unique(off.tool[side]).tolist():
            mine = side & (off.tool == number)
            # What an inside corner leaves is said only where there is nothing worse.
            main = mine & (off.kind != MINOR)
            chosen = np.flatnonzero(main if main.any() else mine)
            yield _off(case, off, chosen, tolerance, note=not main.any())


def _worst(case: Case, off: Off, which: Ints, tolerance: float, *, note: bool) -> Off:
    """Return the worst of some places of one tool, one way."""
    from .model_worst import BESIDE, CORNER, MAIN, worst_near

    if note:
        return worst_near(case, off, which, tolerance)
    most = {k: off.value[which[off.kind[which] == k]].max(initial=0.0) for k in (MAIN, CORNER)}
    kind = MAIN if most[MAIN] > 0 else CORNER if most[CORNER] > 0 else BESIDE
    if most[CORNER] > 2 * most[MAIN]:
        kind = CORNER
    return worst_near(case, off, which[off.kind[which] == kind], tolerance)


def _off(case: Case, off: Off, which: Ints, tolerance: float, *, note: bool) -> Finding:
    """Say how far one tool is off, one way."""
    worst = _worst(case, off, which, tolerance, note=note)
    by, facet = float(worst.faces.off[0]), float(worst.places.facet[0])
    move, normal = int(worst.faces.move[0]), worst.places.normal[0]
    number = int(case.moves.pass_number[move])
    made = np.unique(np.append(off.faces.move[which], move)).astype(np.int64)
    passes = np.unique(case.moves.pass_number[made]).astype(np.int64)
    text = _words(case, by) + (f", in {len(passes)} passes" if len(passes) > 1 else "")
    x, y, z = (worst.places.at[0] + by * normal).tolist()
    severity: Severity = "note" if note else "spoils"
    sure = "exact"
    if facet > 0:
        sure = f"exact but for the model's facets, up to {say_fine(facet, case.unit)} off its curve"
    if note:
        text += "; in a sharp corner of the model" if by > 0 else "; an edge broken by a chamfer"
    finding = Finding(
        rule="leftover" if by > 0 else "gouge",
        severity=severity,
        tool=int(case.moves.tool[move]),
        pass_number=number,
        lines=case.lines_of(made),
        at=(x, y, z),
        size=abs(by),
        text=text,
        why="the part is out of tolerance there",
        sure=sure,
        then="the face is where the model has it",
    )
    return finding if note else _with_cure(case, finding, worst, passes)


def _with_cure(case: Case, finding: Finding, worst: Off, passes: Ints) -> Finding:
    """Add what is to be changed, and in which other passes too."""
    from .model_above import passed_over
    from .model_places import REACH

    by, move, normal = (
        float(worst.faces.off[0]), int(worst.faces.move[0]), worst.places.normal[0]
    )  # fmt: skip
    if by > 0 and float(worst.faces.alike[0]) < ALIKE:
        then = "one more path there takes it; the metal's face leans against the model's"
        return dataclasses.replace(finding, then=then)
    if by < -REACH:
        what = f"the cut of pass {finding.pass_number} at line {int(case.moves.line[move])}"
        cut = Change(what, None, "left out, or moved to where it belongs", length=False)
        return dataclasses.replace(finding, change=cut)
    above = passed_over(case, finding.pass_number, finding.at) if by > 0 else None
    if above is not None and normal[2] > LEVEL:
        return _too_high(case, finding, above, normal)
    change, then = _change(case, move, by, finding.at, normal)
    others = [n for n in passes.tolist() if n != finding.pass_number]
    if others and change is not None and " pass " in change.what:
        listed = ", ".join(map(str, others))
        then += f", with pass{'es' * (len(others) > 1)} {listed} set right the same way"
    return dataclasses.replace(finding, change=change, then=finding.then + then)


def _too_high(case: Case, finding: Finding, above: int, normal: Floats) -> Finding:
    """Say that a pass which ran over the metal and took nothing should have taken it."""
    moves, (x, y, z) = case.moves, finding.at
    part, tip = z - finding.size, float(moves.end[above, 2])
    number = int(moves.pass_number[above])
    change, then = _change(case, above, tip - part, (x, y, part), normal)
    over = say_fine(tip - z, case.unit)
    return dataclasses.replace(
        finding,
        tool=int(moves.tool[above]),
        pass_number=number,
        other_pass=finding.pass_number,
        lines=case.lines_of(np.array([above])),
        text=f"{finding.text}: pass {number} runs {over} over it and takes nothing",
        change=change,
        then=finding.then + then,
    )


def _words(case: Case, off: float) -> str:
    amount = say_fine(abs(off), case.unit)
    return f"metal stands {amount} above the part" if off > 0 else f"cut {amount} into the part"


def _change(
    case: Case, move: int, off: float, at: Point, normal: Floats
) -> tuple[Change | None, str]:
    """Return the register that makes it, or the pass's height or side, and what goes with it."""
    from .taken import z_line, z_word

    moves, part = case.moves, case.job.spec.part
    nx, ny, up = normal.tolist()
    if abs(up) >= UPRIGHT and up <= LEVEL:
        return None, ""
    number = int(moves.pass_number[move])
    tolerance = (part.tolerance if part else None) or case.margin("part_tolerance")
    most = min(tolerance, abs(off) / 2)
    shares = shares_of(case, move, at, (nx, ny, up))
    cause = cause_of(case, shares, off, lambda left: abs(left) < most)
    if cause is not None:
        return cause.change, cause.with_words
    if up > LEVEL:
        mine = ~moves.rapid & (moves.pass_number == number)
        if (
            len(np.unique(np.round(moves.end[mine, 2], 4))) > MANY
        ):  # a surface: no height of its own
            return Change(f"Z of pass {number}, added", 0.0, round(-off, DIGITS)), ""
        z = z_word(case, move, float(moves.end[move, 2]))
        z, new = round(z, DIGITS), round(z - off, DIGITS) + 0.0  # no negative zero
        return Change(f"Z of pass {number}, line {z_line(case, move)}", z, new), ""
    return _side(case, move, round(-off, DIGITS)), ""


def _side(case: Case, move: int, more: float) -> Change:
    """Return what is to be added to what a pass leaves on the wall, by its list's key if any."""
    from .listed import level_of

    number = int(case.moves.pass_number[move])
    _, level = level_of(case, move)
    if level is not None:
        before = level.allowance_side
        return Change(f"{level.key} of pass {number}", before, before + more)
    line = int(case.moves.line[move])
    return Change(f"side allowance of pass {number} at line {line}, added", 0.0, more)


# ---------------------------------------------------------------------------------- against the top


def _by_top(case: Case, tolerance: float) -> Iterator[Finding]:
    from .strips import strips_of

    strips = strips_of(case, tolerance)
    yield from strips.findings(case)
    levels = case.result.levels
    above = [v for v in levels if tolerance < v.z - case.part_top < NEAR and v.pass_number > 0]
    above = [v for v in above if not (np.abs(strips.top[:, 2] - v.z) < 1e-6).any()]
    by_tool: dict[int, list[Level]] = {}
    for level in above:
        by_tool.setdefault(case.passes[level.pass_number].tool, []).append(level)
    for high in by_tool.values():
        yield _level(case, max(high, key=lambda v: (v.z, -v.pass_number)))
    if not levels:
        return
    highest = max(levels, key=lambda v: (v.z, -v.pass_number))
    low = case.part_top - tolerance
    if highest.pass_number > 0 and highest.z < low and not _reaches(case, low):
        yield _level(case, highest)


def _reaches(case: Case, z: float) -> bool:
    """Whether any metal, level or not, stands up to a height."""
    top = case.result.tile.top
    return bool((np.nan_to_num(top, nan=-np.inf) > z).any())


def _level(case: Case, level: Level) -> Finding:
    """Say how far a level is off the part's top."""
    off = level.z - case.part_top
    tile = case.result.tile
    here = (tile.pass_number == level.pass_number) & (np.abs(tile.top - level.z) < 1e-6)
    j, i = (v[0] if len(v) else 0 for v in np.nonzero(here))
    owner = int(tile.owner[j, i])
    mine = case.moves_of(level.pass_number)
    move = int(case.job.packed.move[owner]) if owner >= 0 else int(mine[-1])
    x, y = float(tile.grid.x()[i]), float(tile.grid.y()[j])
    words = "above" if off > 0 else "below"
    change, beside = _change(case, move, off, (x, y, level.z), np.array(UP))
    return Finding(
        rule="leftover" if off > 0 else "gouge",
        severity="watch",
        tool=case.passes[level.pass_number].tool,
        pass_number=level.pass_number,
        lines=case.lines_of(mine),
        at=(x, y, level.z),
        size=abs(off),
        text=f"a level of the pass is {say_fine(abs(off), case.unit)} {words} the part's top"
        + ("" if off > 0 else ", and no metal comes up to it"),
        why="the part is out of tolerance there, unless this is scrap",
        sure="height exact; where the part ends sideways the job does not say",
        change=change,
        then="the level is at the part's top" + beside,
    )


RULES: Final = (
    Rule(
        {
            "gouge": "Cut into the part, beyond tolerance",
            "leftover": "Metal left above the part, beyond tolerance",
        },
        _find,
        (
            Margin(
                "part_tolerance",
                5 * THOU,
                "how far off the part may be where [part] gives no tolerance; as title blocks have",
            ),
        ),
    ),
)
