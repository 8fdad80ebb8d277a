"""Passes along a contour."""

from __future__ import annotations

import math
from typing import Final

from ..contour import FLAT_TURN, SNAP_MM, TOUCH_MM, Contour, Piece
from ..units import Unit, say_length
from .leads import Way
from .offset import offset
from .operations import ArcLead, ContourPass, Stepover, StraightLead, Walked
from .shapes import PassError, check_simple, say_piece, say_point
from .start import begun
from .work import Level, Work

__all__ = ["check_closed_keys", "contour_moves", "offset_wall", "walked"]


def contour_moves(work: Work, item: ContourPass) -> None:
    """Make the moves of a contour pass.

    Raises
    ------
    PassError
        Keys that don't go together, an arc that the tool can't enter, an offset that meets itself,
        an approach that cuts the wall.
    """
    _check_keys(item)
    contour, left = walked(work, item)
    levels = work.levels(item)
    if item.side == "on":
        _check_on(item, levels)
    tip, metal, above = work.tip(), work.top, levels[0].allowance_side
    made: dict[float, list[Way]] = {}
    for level in levels:
        allowance = level.allowance_side
        if allowance not in made:
            made[allowance] = _rounds(work, item, contour, left, level)
        # Where the path is another, it meets metal that the level above left standing.
        metal = metal if allowance == above else work.top
        for way in made[allowance]:
            way.cut(tip, level.z, metal)
        for _ in range(item.spring_passes):
            made[allowance][-1].cut(tip, level.z, level.z)
        metal, above = level.z, allowance


def walked(work: Work, item: Walked) -> tuple[Contour, bool | None]:
    """Return the contour as it is walked, and whether the tool runs on its left (None: on it).

    Raises
    ------
    PassError
        A contour that can't be used, keys that go with another kind of contour or side.
    """
    contour = work.contour(item, closed=item.closed)
    check_closed_keys(item, contour)
    if item.side != "on":
        check_simple([contour], work.unit, "points")
    contour = begun(contour, item.start, work.unit)
    if item.side in ("left", "right", "on"):
        return contour, {"left": True, "right": False, "on": None}[item.side]
    left = (contour.area() > 0) == (item.side == "inside")
    # Climb milling has the wall on the right of a tool that turns clockwise: the tool on the left.
    wanted = item.cutmode or (None if item.points else "climb")
    if wanted and left != (wanted == "climb"):
        contour, left = contour.reversed(), not left
    return contour, left


def check_closed_keys(item: Walked, contour: Contour) -> None:
    """Raise where keys are given that go with another kind of contour or side."""
    if not item.points and item.closed:
        raise PassError("closed", "goes with points; a circle, rectangle or slot always is closed")
    if not contour.closed:
        past = getattr(item, "overlap", None) if not isinstance(item, Stepover) else None
        for key, value in (("start", item.start), ("overlap", past)):
            if value:
                raise PassError(key, "goes with a closed contour; this one is open")
        if item.side in ("inside", "outside"):
            raise PassError(
                "side", f'"{item.side}" goes with a closed contour; take left, right or on'
            )
    if item.cutmode and item.side not in ("inside", "outside"):
        raise PassError("cutmode", "goes with inside and outside; the points set the way round")


def _check_keys(item: ContourPass) -> None:
    if item.radial_passes > 1 and item.radial_cutting_depth is None:
        raise PassError("radial_cutting_depth", "is missing: how far apart the radial_passes lie")
    if item.radial_passes == 1 and item.radial_cutting_depth is not None:
        raise PassError("radial_passes", "is missing: how many rounds radial_cutting_depth apart")


def _check_on(item: ContourPass, levels: list[Level]) -> None:
    for level in levels:
        if level.allowance_side:
            key = "allowance_growth" if item.allowance_growth else level.key
            raise PassError(key, 'has no side to be left on where side = "on"')
    if item.radial_passes > 1:
        raise PassError("radial_passes", 'have no wall to work towards where side = "on"')
    for key, lead in (("approach", item.approach), ("retract", item.retract)):
        if isinstance(lead, ArcLead) or (isinstance(lead, StraightLead) and lead.angle):
            raise PassError(
                key,
                'has no side to come from where side = "on"; take plunge, ramp, or straight at 0',
            )


def _rounds(
    work: Work, item: ContourPass, contour: Contour, left: bool | None, level: Level
) -> list[Way]:
    """Return the rounds of a level with their ways on and off, the wall last."""
    gaps = _gaps(work, item, left, level)
    ways = []
    for n, gap in enumerate(gaps):
        path = contour
        if gap:
            path = offset_wall(contour, gap, bool(left), work.unit, final=n == len(gaps) - 1)
        way = Way(path, left is not False, item.approach, item.retract, item.overlap)
        way.check([contour], gaps[-1], work.unit)
        ways.append(way)
    return ways


def _gaps(work: Work, item: ContourPass, left: bool | None, level: Level) -> list[float]:
    """Return how far the axis keeps from the contour in each round, mm; 0 is on it."""
    if left is None:
        return [0.0]
    wall = work.reach + level.allowance_side
    if wall < -TOUCH_MM:
        raise PassError(
            level.key,
            f"puts the axis {work.say(-wall)} past the contour; it can't be less than "
            f"{work.say(-work.reach)} for this tool",
        )
    if wall <= TOUCH_MM:
        return [0.0]
    step = item.radial_cutting_depth or 0.0
    return [wall + n * step for n in range(item.radial_passes - 1, -1, -1)]


KEEPS: Final = "half of the diameter, allowance_side and D error"
"""What the distance of the axis to a contour is made of, for errors."""


def offset_wall(
    contour: Contour, gap: float, left: bool, unit: Unit, *, final: bool, keeps: str = KEEPS
) -> Contour:
    """Return the path beside a contour, beginning at the contour's start.

    Parameters
    ----------
    contour : Contour
    gap : float
        Distance of the path, mm, above 0.
    left : bool
        Side of the path.
    unit : {'in', 'mm'}
        For the text of errors.
    final : bool
        The path has to reach every piece of the contour; earlier rounds may cut corners.
    keeps : str
        What `gap` is made of, for the text of errors.

    Raises
    ------
    PassError
        The tool can't reach a piece, or doesn't fit between two of them.
    """
    # Walked backwards, the right is the left.
    walked = contour if left else contour.reversed()
    if final:
        _check_arcs(walked, gap, unit, keeps)
    chains = offset([walked], gap)
    if len(chains) != 1:
        raise _unfit(contour, gap, len(chains), unit)
    path = chains[0]
    if final:
        _check_reached(walked, path, gap, unit)
    if path.closed:
        path = _begun_beside(path, contour, gap if left else -gap)
    return path if left else path.reversed()


def _check_arcs(walked: Contour, gap: float, unit: Unit, keeps: str) -> None:
    for piece in walked.pieces:
        if piece.turn > 0 and piece.radius < gap - SNAP_MM:
            raise PassError(
                "",
                f"the tool can't enter {say_piece(piece, unit)}: its axis has to keep "
                f"{say_length(gap, unit)} ({keeps}) from the contour, over the radius "
                f"{say_length(piece.radius, unit)}. Take a smaller tool or a larger radius",
            )


def _check_reached(walked: Contour, path: Contour, gap: float, unit: Unit) -> None:
    """Raise where a piece has no part of the path beside it."""
    reached = {p.source for p in path.pieces}
    last = len(walked.pieces) - 1
    if walked.closed and reached & {0, last} and _one_piece(walked.pieces[-1], walked.pieces[0]):
        reached |= {0, last}  # two halves of one piece, in which the contour begins
    for index, piece in enumerate(walked.pieces):
        entered = piece.turn > 0 and piece.radius <= gap + SNAP_MM  # a point, not a piece
        if index not in reached and not entered and not _touched(piece, path, gap):
            raise PassError(
                "",
                f"the tool can't reach {say_piece(piece, unit)}: with its axis "
                f"{say_length(gap, unit)} from the contour it doesn't fit between the pieces "
                "beside. Take a smaller tool, or leave that piece out",
            )


def _one_piece(a: Piece, b: Piece) -> bool:
    """Return whether `b` goes on as `a` ends, on the same line or circle."""
    if bool(a.turn) != bool(b.turn) or a.turn * b.turn < 0:
        return False
    if a.turn:
        return math.dist(a.center, b.center) <= SNAP_MM
    u, v = a.heading(1), b.heading(0)
    return abs(u[0] * v[1] - u[1] * v[0]) <= FLAT_TURN and u[0] * v[0] + u[1] * v[1] > 0


def _touched(piece: Piece, path: Contour, gap: float) -> bool:
    """Return whether the path has a corner square off the piece: three walls round the tool."""
    for point in [p.start for p in path.pieces] + [path.end]:
        part = piece.part_of(point)
        foot = piece.at(part)
        if 0 < part < 1 and abs(math.dist(point, foot) - gap) <= SNAP_MM:
            return True
    return False


def _unfit(contour: Contour, gap: float, count: int, unit: Unit) -> PassError:
    what = "falls into several parts" if count else "has no way through"
    return PassError(
        "",
        f"the path {say_length(gap, unit)} beside the contour from {say_point(contour.start, unit)}"
        f" {what}: the contour comes too close to itself for this tool. Take a smaller tool, a "
        "smaller allowance_side or fewer radial_passes, or split the contour",
    )


def _begun_beside(path: Contour, contour: Contour, gap: float) -> Contour:
    """Return a closed path begun beside the start of the contour's first piece.

    `gap` is positive to the left. At an inside corner that place is cut off, and the path begins
    in its own corner.
    """
    piece = contour.pieces[0]
    (x, y), (ux, uy) = piece.start, piece.heading(0)
    index, part, _ = path.nearest((x - gap * uy, y + gap * ux))
    return path.begun_at(index, part)
