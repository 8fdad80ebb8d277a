"""The area inside a boundary, less islands, and the ways along its walls."""

from __future__ import annotations

from collections.abc import Sequence

from ..contour import TOUCH_MM, Contour
from .leads import Way
from .model import Shape
from .offset import offset
from .operations import Helix, PocketPass, RegionStart, Start
from .shapes import PassError, check_simple, say_point
from .start import begun
from .work import Work

__all__ = ["fits", "middle_of_longest", "region_of", "wall_ways"]


def region_of(work: Work, shape: Shape, islands: Sequence[Shape]) -> list[Contour]:
    """Return the boundary counter-clockwise and the islands clockwise, checked.

    Raises
    ------
    PassError
        A contour that meets itself or another, an island outside or inside another.
    """
    unit = work.unit
    boundary = work.contour(shape, closed=True)
    contours = [boundary if boundary.area() > 0 else boundary.reversed()]
    check_simple(contours, unit, "points" if shape.points else "")
    for n, each in enumerate(islands, start=1):
        key = f"islands[{n}]"
        island = work.contour(each, f"{key}.", closed=True)
        check_simple([island], unit, key)
        check_simple([*contours, island], unit, key)
        if not boundary.contains(island.start):
            place = say_point(island.start, unit)
            raise PassError(key, f"lies outside the boundary, at {place}")
        for other, done in enumerate(contours[1:], start=1):
            if done.contains(island.start) or island.contains(done.start):
                raise PassError(key, f"and islands[{other}] lie one inside the other; keep one")
        contours.append(island if island.area() < 0 else island.reversed())
    return contours


def fits(work: Work, region: list[Contour], gap: float) -> list[Contour]:
    """Return the outermost paths of the axis inside a region, `gap` from its walls.

    Raises
    ------
    PassError
        The tool doesn't fit.
    """
    wall = offset(region, gap) if gap > TOUCH_MM else region
    if not wall:
        raise PassError(
            "",
            f"the tool doesn't fit into the pocket: its axis has to keep {work.say(gap)} "
            "(half of the diameter and allowance_side) from the boundary. Take a smaller tool",
        )
    return wall


def middle_of_longest(path: Contour) -> Contour:
    """Return a closed path begun in the middle of its longest piece; a circle as it is."""
    if len(path.pieces) == 1:
        return path
    longest = max(range(len(path.pieces)), key=lambda i: path.pieces[i].length)
    return path.begun_at(longest, 0.5)


def wall_ways(
    work: Work, item: PocketPass, region: list[Contour], gap: float, least: float
) -> list[Way]:
    """Return the rounds along the walls of a region, their ways on and off checked.

    Parameters
    ----------
    work : Work
    item : PocketPass
        With milling = "side".
    region : list of Contour
    gap : float
        How far the axis keeps from the walls, mm.
    least : float
        How near it may come on the way on and off, mm.

    Raises
    ------
    PassError
        The tool doesn't fit, a lead that cuts a wall, a start that no round runs through.
    """
    ways = []
    for path in _begun(item.start, fits(work, region, gap), work):
        # The inside is on the left, so the wall is on the right: climb.
        climbs = item.cutmode == "climb"
        assert not isinstance(item.approach, Helix)
        way = Way(
            path if climbs else path.reversed(),
            climbs,
            item.approach,
            item.retract,
            item.overlap,
        )
        way.check(region, least, work.unit)
        ways.append(way)
    return ways


def _begun(
    start: tuple[float, float] | Start | None, paths: list[Contour], work: Work
) -> list[Contour]:
    """Return the rounds begun where the person wants it; a region need hold only one of them."""
    if start is None:
        return [middle_of_longest(p) for p in paths]
    if not (isinstance(start, Start) and isinstance(start.inside, RegionStart)):
        return [begun(p, start, work.unit) for p in paths]
    found, errors = [], []
    for path in paths:
        try:
            found.append(begun(path, start, work.unit))
        except PassError as error:
            errors.append(error)
            found.append(middle_of_longest(path))
    if len(errors) == len(paths):
        raise errors[0]
    return found
