"""Cusps that a round end leaves between neighbouring paths, on level ground and in a fillet."""

from __future__ import annotations

import math

from ..tools import Tool
from .operations import Stepover
from .shapes import PassError
from .work import Work

__all__ = [
    "fillet_cusp",
    "fillet_step",
    "flat_cusp",
    "flat_step",
    "given_step",
    "round_end",
]


def round_end(tool: Tool) -> tuple[float, float] | None:
    """Return the flat radius and the corner's radius of a round end, mm; None for another end."""
    first = tool.pieces[0]
    if first.arc is None or first.is_cove or not first.cutting:
        return None
    center_r, center_z, radius = first.arc
    # The round runs level into the flat end, or to the tip of a ball.
    if not math.isclose(center_z, radius, rel_tol=0, abs_tol=1e-9):
        return None
    return max(0.0, center_r), radius


def flat_cusp(step: float, radius: float, flat: float = 0.0) -> float:
    """Return the height of the cusps between straight paths on level ground, mm.

    Parameters
    ----------
    step : float
        Distance between the paths, mm.
    radius : float
        Of the ball, or of the corner of a bull nose, mm.
    flat : float
        Radius of its flat end, mm.

    Notes
    -----
    Midway between two paths a ball stands R - sqrt(R^2 - (s/2)^2) over its tip.
    """
    half = max(0.0, step / 2 - flat)
    return radius - math.sqrt(max(0.0, (radius - half) * (radius + half)))


def flat_step(height: float, radius: float, flat: float = 0.0) -> float:
    """Return the distance between paths, mm, that leaves cusps of a height; see `flat_cusp`."""
    return 2 * (flat + math.sqrt(height * (2 * radius - height)))


def fillet_cusp(angle: float, radius: float, fillet: float) -> float:
    """Return the height of the cusps between two paths of a ball in a fillet, mm.

    Parameters
    ----------
    angle : float
        Between the paths, seen from the fillet's axis, radians.
    radius, fillet : float
        Of the ball and of the fillet, mm.

    Notes
    -----
    The ball's center runs at a = F - R from the fillet's axis. On the line midway between the two
    the balls meet at rho = a cos(angle/2) + sqrt(R^2 - (a sin(angle/2))^2), and the metal beyond
    is F - rho high.
    """
    a = fillet - radius
    c, s = a * math.cos(angle / 2), a * math.sin(angle / 2)
    return fillet - c - math.sqrt(max(0.0, (radius - s) * (radius + s)))


def fillet_step(height: float, radius: float, fillet: float) -> float:
    """Return the angle between paths, radians, that leaves cusps of a height; see `fillet_cusp`.

    Notes
    -----
    In the triangle of the fillet's axis, the ball's center and the cusp the sides are a = F - R,
    R and F - h, so R^2 = a^2 + (F-h)^2 - 2 a (F-h) cos(angle/2). With cos = 1 - 2 sin^2 nothing
    cancels: sin^2(angle/4) = h (2R - h) / (4 a (F - h)).
    """
    a = fillet - radius
    part = height * (2 * radius - height) / (4 * a * (fillet - height))
    return 4 * math.asin(math.sqrt(part)) if part < 1 else 2 * math.pi


def given_step(work: Work, item: Stepover) -> tuple[str, float]:
    """Return which of the three stepovers is given, and its value.

    Returns
    -------
    tuple
        ``("scallop_height", mm)`` or ``("radial_cutting_depth", mm)``, into which an overlap is
        turned.

    Raises
    ------
    PassError
        None or several, or cusps higher than the round end.
    """
    names = ("radial_cutting_depth", "overlap", "scallop_height")
    given = [n for n in names if getattr(item, n) is not None]
    if len(given) != 1:
        have = " and ".join(given) if given else "none"
        raise PassError(
            given[-1] if given else names[0],
            f"exactly one of {', '.join(names)} is needed; it has {have}",
        )
    if item.scallop_height is not None:
        end = round_end(work.side_tool)
        if end is None:
            raise PassError(
                "scallop_height",
                f'goes with a round end; tool {work.tool.number} is "{work.tool.shape}"',
            )
        if item.scallop_height > end[1]:
            raise PassError(
                "scallop_height",
                f"{work.say(item.scallop_height)} is over the radius of the round end, "
                f"{work.say(end[1])}",
            )
        return "scallop_height", item.scallop_height
    if item.overlap is not None:
        step = 2 * work.side_tool.cutting_radius * (1 - item.overlap)
        return "radial_cutting_depth", step
    return "radial_cutting_depth", item.radial_cutting_depth or 0.0
