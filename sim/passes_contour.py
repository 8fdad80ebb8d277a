"""Passes along a contour."""

from __future__ import annotations

import math

from .contour import SNAP_MM, TOUCH_MM, Contour, Piece, Point, distance
from .passes_emit import Tip
from .passes_model import ArcLead, ContourPass, Lead, Plunge, StraightLead
from .passes_offset import offset
from .passes_shapes import PassError, check_simple, contour_of, say_piece, say_point
from .units import Unit, say_length

__all__ = ["contour_moves", "offset_wall"]

LEAD_SAMPLES = 256
"""Places along an approach at which its distance to the contour is looked at."""


def contour_moves(
    item: ContourPass, tip: Tip, levels: list[float], top: float, reach: float, unit: Unit
) -> None:
    """Make the moves of a contour pass.

    Parameters
    ----------
    item : ContourPass
    tip : Tip
    levels : list of float
        z of each level, mm, from the top down.
    top : float
        z where the metal begins, mm.
    reach : float
        Radius of the tool with the error of its D register, mm.
    unit : {'in', 'mm'}
        For the text of errors.

    Raises
    ------
    PassError
        Keys that don't go together, an arc that the tool can't enter, an offset that meets itself,
        an approach that cuts the wall.
    """
    contour, left = _walked(item, unit)
    rounds = _rounds(item, contour, left, reach, unit)
    retract = item.retract if item.retract is not None else item.approach
    side = 1.0 if left is not False else -1.0
    for path, gap in rounds:
        lead_in = _lead_in(item.approach, path, side)
        lead_out = _lead_out(retract, path, side, item.overlap)
        for lead, key in ((lead_in, "approach"), (lead_out, "retract")):
            _check_lead(lead, contour, rounds[-1][1] if gap else 0.0, key, unit)
    metal = top
    for z in levels:
        for path, _ in rounds:
            lead_in = _lead_in(item.approach, path, side)
            tip.over(lead_in[0].start if lead_in else path.start)
            tip.near(metal)
            tip.plunge(z)
            tip.along(lead_in)
            tip.along(path.pieces)
            tip.along(path.walk(item.overlap) if item.overlap else [])
            tip.along(_lead_out(retract, path, side, item.overlap))
            tip.up()
        metal = z


def _walked(item: ContourPass, unit: Unit) -> tuple[Contour, bool | None]:
    """Return the contour as it is walked, and whether the tool runs on its left (None: on it)."""
    contour = contour_of(item, unit, closed=item.closed)
    check_closed_keys(item, contour)
    if item.side != "on":
        check_simple([contour], unit, "points")
    if item.start is not None:
        index, part, _ = contour.nearest(item.start)
        contour = contour.begun_at(index, part)
    if item.side in ("left", "right", "on"):
        return contour, {"left": True, "right": False, "on": None}[item.side]
    left = (contour.area() > 0) == (item.side == "inside")
    # Climb milling has the wall on the right of a tool that turns clockwise: the tool on the left.
    wanted = item.cutmode or (None if item.points else "climb")
    if wanted and left != (wanted == "climb"):
        contour, left = contour.reversed(), not left
    return contour, left


def check_closed_keys(item: ContourPass, contour: Contour) -> None:
    """Raise where keys are given that go with another kind of contour or side."""
    if not item.points and item.closed:
        raise PassError("closed", "goes with points; a circle, rectangle or slot always is closed")
    if not contour.closed:
        for key in ("start", "overlap"):
            if getattr(item, key):
                raise PassError(key, "goes with a closed contour; this one is open")
        if item.side in ("inside", "outside"):
            raise PassError(
                "side", f'"{item.side}" goes with a closed contour; take left, right or on'
            )
    if item.cutmode and item.side not in ("inside", "outside"):
        raise PassError("cutmode", "goes with inside and outside; the points set the way round")
    if item.radial_passes > 1 and item.radial_cutting_depth is None:
        raise PassError("radial_cutting_depth", "is missing: how far apart the radial_passes lie")
    if item.radial_passes == 1 and item.radial_cutting_depth is not None:
        raise PassError("radial_passes", "is missing: how many rounds radial_cutting_depth apart")
    if item.side == "on":
        _check_on(item)


def _check_on(item: ContourPass) -> None:
    if item.allowance_side:
        raise PassError("allowance_side", 'has no side to be left on where side = "on"')
    if item.radial_passes > 1:
        raise PassError("radial_passes", 'have no wall to work towards where side = "on"')
    for key, lead in (("approach", item.approach), ("retract", item.retract)):
        if isinstance(lead, ArcLead) or (isinstance(lead, StraightLead) and lead.angle):
            raise PassError(
                key, 'has no side to come from where side = "on"; take plunge, or straight at 0'
            )


def _rounds(
    item: ContourPass, contour: Contour, left: bool | None, reach: float, unit: Unit
) -> list[tuple[Contour, float]]:
    """Return the path of each round with its distance to the contour, the wall last."""
    if left is None:
        return [(contour, 0.0)]
    wall = reach + item.allowance_side
    if wall < -TOUCH_MM:
        raise PassError(
            "allowance_side",
            f"puts the axis {say_length(-wall, unit)} past the contour; it can't be less than "
            f"{say_length(-reach, unit)} for this tool",
        )
    if wall <= TOUCH_MM:
        return [(contour, 0.0)]
    rounds = []
    for n in range(item.radial_passes - 1, -1, -1):
        gap = wall + n * (item.radial_cutting_depth or 0.0)
        rounds.append((offset_wall(contour, gap, left, unit, final=n == 0), gap))
    return rounds


def offset_wall(contour: Contour, gap: float, left: bool, unit: Unit, *, final: bool) -> Contour:
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

    Raises
    ------
    PassError
        The tool can't reach a piece, or doesn't fit between two of them.
    """
    # Walked backwards, the right is the left.
    walked = contour if left else contour.reversed()
    if final:
        _check_arcs(walked, gap, unit)
    chains = offset([walked], gap)
    if len(chains) != 1:
        raise _unfit(contour, gap, len(chains), unit)
    path = chains[0]
    if final:
        _check_reached(walked, path, gap, unit)
    if path.closed:
        path = _begun_beside(path, contour, gap if left else -gap)
    return path if left else path.reversed()


def _check_arcs(walked: Contour, gap: float, unit: Unit) -> None:
    for piece in walked.pieces:
        if piece.turn > 0 and piece.radius < gap - SNAP_MM:
            raise PassError(
                "",
                f"the tool can't enter {say_piece(piece, unit)}: its axis has to keep "
                f"{say_length(gap, unit)} (half of the diameter, allowance_side and D error) from "
                f"the contour, over the radius {say_length(piece.radius, unit)}. Take a smaller "
                "tool or a larger radius",
            )


def _check_reached(walked: Contour, path: Contour, gap: float, unit: Unit) -> None:
    """Raise where a piece has no part of the path beside it."""
    reached = {p.source for p in path.pieces}
    for index, piece in enumerate(walked.pieces):
        entered = piece.turn > 0 and piece.radius <= gap + SNAP_MM  # a point, not a piece
        if index not in reached and not entered and not _touched(piece, path, gap):
            raise PassError(
                "",
                f"the tool can't reach {say_piece(piece, unit)}: with its axis "
                f"{say_length(gap, unit)} from the contour it doesn't fit between the pieces "
                "beside. Take a smaller tool, or leave that piece out",
            )


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


# ------------------------------------------------------------------------------ approach, retract


def _lead_in(lead: Lead, path: Contour, side: float) -> list[Piece]:
    """Return the pieces that lead onto the path; `side` is 1 with the tool on the left, else -1."""
    piece = path.pieces[0]
    out = _lead(lead, piece.start, piece.heading(0), side, back=True)
    return [out.reversed()] if out else []


def _lead_out(lead: Lead, path: Contour, side: float, overlap: float) -> list[Piece]:
    piece = path.walk(overlap)[-1] if overlap else path.pieces[-1]
    out = _lead(lead, piece.end, piece.heading(1), side, back=False)
    return [out] if out else []


def _lead(lead: Lead, point: Point, heading: Point, side: float, *, back: bool) -> Piece | None:
    """Return the piece that leads away from a point of the path, backwards or forwards."""
    if isinstance(lead, Plunge):
        return None
    sign = -1.0 if back else 1.0
    ux, uy = sign * heading[0], sign * heading[1]
    nx, ny = -side * heading[1], side * heading[0]  # to the tool's side
    if isinstance(lead, StraightLead):
        c, s = math.cos(math.radians(lead.angle)), math.sin(math.radians(lead.angle))
        end = (
            point[0] + lead.length * (c * ux + s * nx),
            point[1] + lead.length * (c * uy + s * ny),
        )
        return Piece(point, end)
    center = (point[0] + lead.radius * nx, point[1] + lead.radius * ny)
    turn = sign * side * math.radians(lead.angle)
    c, s = math.cos(turn), math.sin(turn)
    x, y = point[0] - center[0], point[1] - center[1]
    end = (center[0] + c * x - s * y, center[1] + s * x + c * y)
    return Piece(point, end, center, turn)


def _check_lead(lead: list[Piece], contour: Contour, gap: float, key: str, unit: Unit) -> None:
    """Raise where a lead comes nearer to the contour than the path of the wall."""
    if not lead or gap == 0:
        return
    points = [lead[0].at(n / LEAD_SAMPLES) for n in range(LEAD_SAMPLES + 1)]
    nearest = float(distance([contour], points).min())
    if nearest < gap - SNAP_MM:
        raise PassError(
            key,
            f"cuts the wall: it comes {say_length(gap - nearest, unit, 6)} nearer to the contour "
            "than the path does. Make it shorter or smaller, or move the contour's start",
        )
