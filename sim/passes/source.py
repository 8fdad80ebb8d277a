"""Contours that a pass list takes from elsewhere: the part model's section, or a drawing."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from ..contour import Contour, Field, Point
from ..errors import JobError
from ..tomlfile import clean, load_toml, named_file
from ..units import Unit, say_length
from .fit import with_arcs
from .join import Joined, join, open_fault
from .model import Drawing, Outline, Section, Shape
from .shapes import PassError, check_one, contour_of, say_point

__all__ = ["NO_SOURCES", "Sources", "drawings", "sourced_contour"]

ALIKE_MM: Final = 1e-6
"""Two outlines as near as this to a place are as near as each other; lines as long likewise."""


@dataclasses.dataclass(frozen=True)
class Sources:
    """Where contours may come from.

    Attributes
    ----------
    part : Path or None
        The part's mesh; None: the job has none.
    folder : Path or None
        The pass list's folder, from which drawings are counted; None: there are none.
    within : Path or None
        The job's folder, which drawings may not leave; None: they may.
    """

    part: Path | None = None
    folder: Path | None = None
    within: Path | None = None


NO_SOURCES: Final = Sources()
"""For a pass list that belongs to no job."""


def sourced_contour(
    shape: Shape, sources: Sources, unit: Unit, *, key: str = "", closed: bool = False
) -> tuple[Contour, list[str]]:
    """Return the contour of any shape, and what a person should know of it.

    Parameters
    ----------
    shape, unit, key, closed
        As in `shapes.contour_of`.
    sources : Sources

    Returns
    -------
    contour : Contour
        mm. One of a section or a closed drawing is walked counter-clockwise and begins in the
        middle of its longest line; an open drawing is walked as drawn.
    notes : list of str

    Raises
    ------
    PassError
        As `contour_of`; a section or a drawing that isn't there, or doesn't give the one contour
        that is needed.
    ModelError
        The part model can't be used.
    """
    if shape.section is None and shape.dxf is None:
        return contour_of(shape, unit, key=key, closed=closed), []
    check_one(shape, key)
    notes: list[str] = []
    if shape.section is not None:
        return _section(shape.section, f"{key}section", sources, unit, notes), notes
    assert shape.dxf is not None
    contour = _drawn(shape.dxf, f"{key}dxf", sources, unit, notes)
    if closed and not contour.closed:
        raise PassError(f"{key}dxf.open", "a closed contour is needed here; leave open out")
    return contour, notes


# ------------------------------------------------------------------------------------- the section


def _section(item: Section, key: str, sources: Sources, unit: Unit, notes: list[str]) -> Contour:
    from ..wall_contour import chord_error, section_loops

    if sources.part is None:
        raise PassError(key, "the job has no part model to be cut; give it [part] model")
    loops = section_loops(sources.part, unit, item.z)
    if not loops:
        raise PassError(
            f"{key}.z",
            f"the part has nothing at {say_length(item.z, unit)}; take a height between its bottom "
            "and its top",
        )
    index = _which([Joined(loop.contour) for loop in loops], item, key, unit)
    contour, arcs = with_arcs(loops[index].contour, item.tolerance)
    off = chord_error([loops[index]])
    where = f"the section at z {say_length(item.z, unit)}"
    if arcs:
        count = "an arc is" if arcs == 1 else f"{arcs} arcs are"
        notes.append(
            f"{where}: {count} fitted to the model's corners within {item.tolerance * 1000:.4g} µm;"
            f" its facets stand up to {say_length(off, unit, 6)} off the curves"
        )
    elif off > ALIKE_MM:
        notes.append(f"{where}: facets stand up to {say_length(off, unit, 6)} off the curves")
    return _begun(contour)


def _begun(contour: Contour) -> Contour:
    """Return a closed contour counter-clockwise, begun in the middle of its longest line.

    Of lines as long as each other the lowest in Y, then in X, counts.
    """
    contour = contour if contour.area() > 0 else contour.reversed()
    lines = [(n, p) for n, p in enumerate(contour.pieces) if not p.turn]
    if lines:
        least = max(p.length for _, p in lines) - ALIKE_MM
        places = {n: p.at(0.5) for n, p in lines if p.length >= least}
        begin = min(places, key=lambda n: (round(places[n][1], 6), places[n][0]))
        contour = contour.begun_at(begin, 0.5)
    return _numbered(contour)


def _numbered(contour: Contour) -> Contour:
    pieces = (dataclasses.replace(p, source=n) for n, p in enumerate(contour.pieces))
    return Contour(tuple(pieces), contour.closed)


# ------------------------------------------------------------------------------------- the drawing


def _drawn(item: Drawing, key: str, sources: Sources, unit: Unit, notes: list[str]) -> Contour:
    from .dxf import read_strokes

    if sources.folder is None:
        raise PassError(f"{key}.file", "drawings are read for the pass list of a job only")
    path, fault = named_file(item.file, sources.folder, within=sources.within)
    if fault or path is None:
        raise PassError(f"{key}.file", fault)
    strokes, layer, said = read_strokes(
        path, layer=item.layer, unit=item.unit, tolerance=item.tolerance, key=key
    )
    where = f'layer "{clean(layer, 60)}" of {path.name}'
    outlines = join(strokes, item.gap, unit)
    if not outlines:
        raise PassError(key, f"{where} holds nothing of any length")
    found = outlines[_which(outlines, item, key, unit)]
    if found.fault:
        raise PassError(key, f"{where}: {found.fault}")
    notes += said
    if found.gap > ALIKE_MM:
        notes.append(f"{where}: gaps of up to {say_length(found.gap, unit, 6)} are closed")
    if item.open and found.contour.closed:
        raise PassError(f"{key}.open", f"the contour on {where} is closed; leave it out")
    if item.open:
        return _numbered(found.contour)
    if not found.contour.closed:
        raise PassError(key, f"the contour on {where} {open_fault(found, unit)}. Close it, {_CURE}")
    return _begun(found.contour)


_CURE: Final = "set gap to close it here, or set open = true to walk it as it is"


# ----------------------------------------------------------------------------------- which of many


def _which(outlines: Sequence[Joined], item: Outline, key: str, unit: Unit) -> int:
    """Return which outline is meant."""
    if item.near is not None and item.inside is not None:
        raise PassError(key, "has near and inside; give one of them")
    if item.inside is not None:
        return _round(outlines, item.inside, key, unit)
    if item.near is not None:
        return _nearest(outlines, item.near, key, unit)
    if len(outlines) > 1:
        places = ", ".join(say_point(o.contour.start, unit) for o in outlines[:4])
        more = ", ..." if len(outlines) > 4 else ""
        raise PassError(
            f"{key}.near",
            f"is missing: there are {len(outlines)} outlines, at {places}{more}; give near = "
            "[x, y] beside the one that is meant, or inside = [x, y]",
        )
    return 0


def _nearest(outlines: Sequence[Joined], near: Point, key: str, unit: Unit) -> int:
    far = [Field(o.contour.pieces).distance(near) for o in outlines]
    least = min(far)
    alike = [n for n, gap in enumerate(far) if gap <= least + ALIKE_MM]
    if len(alike) > 1:
        raise PassError(
            f"{key}.near",
            f"{say_point(near, unit)} is as near to {len(alike)} outlines, "
            f"{say_length(least, unit)} from each; move it nearer to the one that is meant",
        )
    return alike[0]


def _round(outlines: Sequence[Joined], place: Point, key: str, unit: Unit) -> int:
    """Return the smallest closed outline round a place."""
    holding = [
        (abs(o.contour.area()), n)
        for n, o in enumerate(outlines)
        if o.contour.closed and o.contour.contains(place)
    ]
    if holding:
        return min(holding)[1]
    faulty = next((o for o in outlines if not o.contour.closed), None)
    hint = ""
    if faulty is not None:
        hint = f"; one that is not closed: {faulty.fault or open_fault(faulty, unit)}"
    raise PassError(f"{key}.inside", f"no closed outline lies round {say_point(place, unit)}{hint}")


# ---------------------------------------------------------------------------------- files it reads


def drawings(path: Path) -> list[Path]:
    """Return the drawings that a pass list names, none for one that can't be read."""
    try:
        data = load_toml(path)
    except JobError:
        return []
    found: list[Path] = []
    waiting: list[Any] = [data]
    while waiting:
        value = waiting.pop(0)
        if isinstance(value, dict):
            drawn = value.get("dxf")
            if isinstance(drawn, dict) and isinstance(drawn.get("file"), str):
                found.append(path.parent / drawn["file"])
            waiting += value.values()
        elif isinstance(value, list):
            waiting += [v for v in value if isinstance(v, dict | list)]
    return found
