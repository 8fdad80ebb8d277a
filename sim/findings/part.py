"""Where the finished metal is not the part: cut below it, or standing above it.

[gouge] The tool cut into the part. [leftover] Metal stands above the part where a tool
has been. With a part model, rays square to the model's faces measure from the model to
the metal's face, at places spread over all faces that do not look down, at the end of the
job. One finding for each tool that is off one way: its worst place, and how many passes
have a part in it.

Size: the distance from the model, square to it. Exact for flat faces; where facets stand
for a curve, the distance by which they may be off it is taken away before it is held
against the tolerance, and said.
Margin: [part] tolerance; `part_tolerance`, 5 thou, where the job gives none.

Notes only: what the tool's own radius leaves in an inside corner that the model has
sharp; an edge that a chamfer mill breaks and the model has sharp. Silent: faces that no
tool has come near (another setup's), faces that look down, and all that is not part:
below its bottom, beside it, above it further than 0.1 in.

Without a model, [part] top alone is judged, by levels: metal that a tool left level above
the top and beyond tolerance [leftover], and the highest level of all below the top by
more [gouge]. Where the part ends sideways is then not known, so it is a thing to watch.
What lies below [part] bottom is scrap.

Cure: the height or the allowance of the pass by that much; where the error of a height
register is just that much, the register.

Source: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine
from .base import THOU, Change, Finding, Margin, Rule, Severity

if TYPE_CHECKING:
    from ..levels import Level
    from .case import Case
    from .model_places import Bools, Faces, Floats, Ints, Places

__all__ = ["RULES"]

SAME: Final = 1e-4
"""An error of a register within this of what is found is its cause, mm."""
NEAR: Final = 100 * THOU
"""Further above the part's top than this, metal is scrap that is meant to be there."""
LEVEL: Final = 0.999
UPRIGHT: Final = 0.01


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
    from .model_places import faces_at, places_of

    places = places_of(case)
    faces = faces_at(case, places)
    over = np.abs(faces.off) - places.facet
    bad = (over > tolerance) & (faces.move >= 0)
    if not bad.any():
        return
    tool = np.where(faces.move >= 0, case.moves.tool[faces.move], 0)
    minor = np.zeros(len(bad), bool)
    minor[bad] = _minor(case, places.at[bad], faces, np.flatnonzero(bad))
    for proud in (False, True):
        side = bad & ((faces.off > 0) == proud)
        beside = _beside(case, places.at, faces.off, side, outside=not proud)
        side = side & ~beside if (side & ~beside & ~minor).any() else side
        for number in np.unique(tool[side]).tolist():
            mine = side & (tool == number)
            # What an inside corner leaves is said only where there is nothing worse.
            main = mine & ~minor
            chosen = main if main.any() else mine
            yield _off(case, places, faces, np.flatnonzero(chosen), note=not main.any())


def _minor(case: Case, at: Floats, faces: Faces, which: Ints) -> Bools:
    """Return where the tool's radius in a sharp corner, or a broken edge, explains it."""
    from .model_places import inside_corners

    distance, upright = inside_corners(case, at)
    found = np.zeros(len(which), bool)
    for n, k in enumerate(which.tolist()):
        tool = case.job.tools[int(case.moves.tool[faces.move[k]])]
        if faces.off[k] > 0:
            corner = tool.cutting_radius - tool.flat_radius
            found[n] = distance[n] < (tool.cutting_radius if upright[n] else corner)
        else:
            found[n] = tool.shape in ("chamfer", "corner_rounding")
    return found


def _beside(case: Case, at: Floats, off: Floats, side: Bools, *, outside: bool) -> Bools:
    """Return the places so near to a sharp corner that the face beyond it, off by less, is seen."""
    from .model_places import inside_corners

    found = np.zeros(len(side), bool)
    if side.any():
        near, _ = inside_corners(case, at[side], outside=outside)
        found[side] = near < np.abs(off[side])
    return found


def _off(case: Case, places: Places, faces: Faces, which: Ints, *, note: bool) -> Finding:
    """Say how far one tool is off, one way."""
    size = np.abs(faces.off[which])
    k = int(
        which[np.argmax(size - places.facet[which] > (size - places.facet[which]).max() - 1e-7)]
    )
    off, facet, move = float(faces.off[k]), float(places.facet[k]), int(faces.move[k])
    number = int(case.moves.pass_number[move])
    passes = np.unique(case.moves.pass_number[faces.move[which]])
    text = _words(case, off) + (f", in {len(passes)} passes" if len(passes) > 1 else "")
    x, y, z = (places.at[k] + off * places.normal[k]).tolist()
    severity: Severity = "note" if note else "spoils"
    sure = "exact"
    if facet > 0:
        sure = f"exact but for the model's facets, up to {say_fine(facet, case.unit)} off its curve"
    if note:
        text += "; in a sharp corner of the model" if off > 0 else "; an edge broken by a chamfer"
    return Finding(
        rule="leftover" if off > 0 else "gouge",
        severity=severity,
        tool=int(case.moves.tool[move]),
        pass_number=number,
        lines=case.lines_of(np.unique(faces.move[which]).astype(np.int64)),
        at=(x, y, z),
        size=abs(off),
        text=text,
        why="the part is out of tolerance there",
        sure=sure,
        change=None if note else _change(case, move, off, float(places.normal[k, 2])),
        then="the face is where the model has it",
    )


def _words(case: Case, off: float) -> str:
    amount = say_fine(abs(off), case.unit)
    return f"metal stands {amount} above the part" if off > 0 else f"cut {amount} into the part"


def _change(case: Case, move: int, off: float, up: float) -> Change | None:
    """Return the register that is off by just that much, or the pass's height or side."""
    from .taken import z_line, z_word

    moves, spec = case.moves, case.job.spec
    number = int(moves.pass_number[move])
    if up > LEVEL:
        register = int(moves.h_register[move])
        error = spec.h_errors.get(register, 0.0)
        if error and abs(error - off) < SAME:
            return Change(f"H{register}", error, 0.0)
        setup = spec.setups[int(moves.setup[move])].name
        zero = spec.zero_errors.get(setup, (0.0, 0.0, 0.0))[2]
        if zero and abs(zero - off) < SAME:
            return Change(f"{setup}.Z0", zero, 0.0)
        z = z_word(case, move, float(moves.end[move, 2]))
        return Change(f"Z of pass {number}, line {z_line(case, move)}", z, z - off)
    if abs(up) < UPRIGHT:
        what = f"side of pass {number} at line {int(moves.line[move])}, off the part"
        return Change(what, off, 0.0)
    return None


# ---------------------------------------------------------------------------------- against the top


def _by_top(case: Case, tolerance: float) -> Iterator[Finding]:
    levels = case.result.levels
    above = [v for v in levels if tolerance < v.z - case.part_top < NEAR and v.pass_number > 0]
    by_tool: dict[int, list[Level]] = {}
    for level in above:
        by_tool.setdefault(case.passes[level.pass_number].tool, []).append(level)
    for high in by_tool.values():
        yield _level(case, max(high, key=lambda v: (v.z, -v.pass_number)))
    if not levels:
        return
    highest = max(levels, key=lambda v: (v.z, -v.pass_number))
    if (
        highest.pass_number > 0
        and highest.z < case.part_top - tolerance
        and _is_highest(case, highest.z)
    ):
        yield _level(case, highest)


def _is_highest(case: Case, z: float) -> bool:
    """Whether no metal, level or not, stands above a height."""
    top = case.result.tile.top
    return not (np.nan_to_num(top, nan=-np.inf) > z + 1e-6).any()


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
    return Finding(
        rule="leftover" if off > 0 else "gouge",
        severity="watch",
        tool=case.passes[level.pass_number].tool,
        pass_number=level.pass_number,
        lines=case.lines_of(mine),
        at=(x, y, level.z),
        size=abs(off),
        text=f"a level of the pass is {say_fine(abs(off), case.unit)} {words} the part's top"
        + ("" if off > 0 else ", and no metal is higher"),
        why="the part is out of tolerance there, unless this is scrap",
        sure="height exact; where the part ends sideways the job does not say",
        change=_change(case, move, off, 1.0),
        then="the level is at the part's top",
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
