"""Where a closed contour begins: near a point, at a corner, or inside a region."""

from __future__ import annotations

import itertools
import math
from typing import Final

from ..contour import Contour, Point, meet
from ..units import Unit
from .model import Shape
from .operations import RegionStart, Start
from .shapes import PassError, contour_of, say_point

__all__ = ["begun", "begun_along"]

CORNER_DEGREES: Final = 1.0
"""A joint that turns by less is no corner: arcs that run tangent into lines, written roundly."""


def begun(contour: Contour, start: Point | Start | None, unit: Unit) -> Contour:
    """Return a closed contour begun where the person wants it.

    Parameters
    ----------
    contour : Contour
    start : (x, y), Start or None
        mm; None leaves it as it is.
    unit : {'in', 'mm'}
        For the text of errors.

    Raises
    ------
    PassError
        No corner, a region that the contour doesn't run through, or none or two of the words.
    """
    if start is None:
        return contour
    if not isinstance(start, Start):
        index, part, _ = contour.nearest(start)
        return contour.begun_at(index, part)
    if (start.corner_nearest is None) == (start.inside is None):
        raise PassError("start", "needs exactly one of corner_nearest and inside")
    if start.corner_nearest is not None:
        return contour.begun_at(_corner(contour, start.corner_nearest), 0.0)
    assert start.inside is not None
    return _inside(contour, start.inside, unit)


def _corner(contour: Contour, point: Point) -> int:
    """Return the piece that begins at the corner nearest to a point."""
    corners = []
    for index, piece in enumerate(contour.pieces):
        u, v = contour.pieces[index - 1].heading(1), piece.heading(0)
        turn = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        if abs(turn) > math.radians(CORNER_DEGREES):
            corners.append((math.dist(piece.start, point), index))
    if not corners:
        raise PassError("start.corner_nearest", "the contour has no corner; write start = [x, y]")
    return min(corners)[1]


def _inside(contour: Contour, words: RegionStart, unit: Unit) -> Contour:
    """Return the contour begun in the middle of its longest stretch inside a region."""
    if (words.rectangle is None) == (words.circle is None):
        raise PassError("start.inside", "needs exactly one of rectangle and circle")
    shape = Shape(rectangle=words.rectangle, circle=words.circle)
    region = contour_of(shape, unit, key="start.inside.", closed=True)
    runs = _runs(contour, region)
    if not runs:
        index, part, _ = contour.nearest(region.start)
        place = say_point(contour.pieces[index].at(part), unit)
        raise PassError(
            "start.inside",
            f"the contour doesn't run through it; the nearest place of the contour is {place}",
        )
    if len(runs) == 1 and runs[0][1] >= contour.length * (1 - 1e-12):
        return contour
    low, length = max(runs, key=lambda run: run[1])
    return begun_along(contour, low + length / 2)


def _runs(contour: Contour, region: Contour) -> list[tuple[float, float]]:
    """Return where stretches inside a region begin along the contour, and their lengths, mm."""
    stretches: list[list[float]] = []
    along = 0.0
    for piece in contour.pieces:
        marks = {0.0, 1.0}
        for edge in region.pieces:
            marks.update(part for part, _ in meet(piece, edge))
        for low, high in itertools.pairwise(sorted(marks)):
            if not region.contains(piece.at((low + high) / 2)):
                continue
            begin, span = along + low * piece.length, (high - low) * piece.length
            if stretches and math.isclose(sum(stretches[-1]), begin, rel_tol=0, abs_tol=1e-9):
                stretches[-1][1] += span
            else:
                stretches.append([begin, span])
        along += piece.length
    # What runs over the contour's own start is one stretch.
    if len(stretches) > 1 and stretches[0][0] == 0.0 and sum(stretches[-1]) >= along - 1e-9:
        last = stretches.pop()
        stretches[0] = [last[0], last[1] + stretches[0][1]]
    return [(low, span) for low, span in stretches if span > 1e-9]


def begun_along(contour: Contour, length: float) -> Contour:
    """Return a closed contour begun a length, mm, past its start; an open one as it is."""
    if not contour.closed:
        return contour
    rest = length % contour.length
    for index, piece in enumerate(contour.pieces):
        if rest <= piece.length:
            return contour.begun_at(index, rest / piece.length)
        rest -= piece.length
    return contour
