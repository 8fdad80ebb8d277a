"""The register, or the work zero, whose error explains a gap, a step or a depth.

An error moves all that was cut under it: H and Z0 up, X0 and Y0 along their axes, D off the side of
the programmed path on which the tool runs. What counts is how far that is square to a face. Only
registers in force count: H under G43, D under G41 or G42, or in a pass list that goes by D.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC
from ..units import say_fine
from .base import Change

if TYPE_CHECKING:
    from .base import Point
    from .case import Case

__all__ = [
    "UP",
    "Cause",
    "Share",
    "apart",
    "cause_of",
    "register_between",
    "set_right",
    "shares_of",
    "worst_of",
]

UP: Final = (0.0, 0.0, 1.0)
ALONG: Final = 0.01
"""A face that leans by less than this, sine, lies along an axis."""
NOTHING: Final = 1e-6
"""A share of less has no part in it, mm."""


@dataclasses.dataclass(frozen=True)
class Share:
    """A register that is off, and its part in something.

    Attributes
    ----------
    what : str
        As the person finds it: ``H3``, ``D22``, ``op 1.Z0``.
    error : float
        By how much the value in it is off, mm.
    by : float
        How far that moves a face along its normal, mm.
    """

    what: str
    error: float
    by: float


@dataclasses.dataclass(frozen=True)
class Cause:
    """The register to set right, and in words those to set right beside it; empty: none."""

    change: Change
    beside: str

    @property
    def with_words(self) -> str:
        """What is to be added to what the part looks like with the change."""
        return f", with {self.beside} too" if self.beside else ""


def shares_of(case: Case, move: int, at: Point, normal: Point) -> tuple[Share, ...]:
    """Return what the errors in force move a face that a move left.

    Parameters
    ----------
    case : Case
    move : int
    at : (x, y, z)
        A place on the face, mm.
    normal : (x, y, z)
        Square to it, out of the metal; unit length.
    """
    spec, moves = case.job.spec, case.moves
    nx, ny, nz = (v if abs(v) > ALONG else 0.0 for v in normal)
    name = spec.setups[int(moves.setup[move])].name
    zx, zy, zz = spec.zero_errors.get(name, (0.0, 0.0, 0.0))
    h, (d, side) = int(moves.h_register[move]), case.job.program.compensation(move)
    lift = spec.h_errors.get(h, 0.0)
    off = spec.d_errors.get(d, 0.0) * _sense(case, move, side, at, (nx, ny))
    found = [
        Share(f"H{h}", lift, lift * nz),
        Share(f"D{d}", spec.d_value(d), off * math.hypot(nx, ny)),
        Share(f"{name}.Z0", zz, zz * nz),
        Share(f"{name}.X0", zx, zx * nx),
        Share(f"{name}.Y0", zy, zy * ny),
    ]
    return tuple(s for s in found if abs(s.by) > NOTHING)


def _sense(case: Case, move: int, side: int, at: Point, out: tuple[float, float]) -> float:
    """Return 1 where a D that is too large keeps the tool off a wall, -1 where on to it."""
    if not side:
        return 1.0
    moves = case.moves
    if moves.kind[move] == ARC:
        left = np.sign(moves.turn[move]) * (moves.center[move] - np.array(at[:2]))
    else:
        along = (moves.end[move] - moves.start[move])[:2]
        left = np.array([-along[1], along[0]])
    return -1.0 if side * float(left @ np.array(out)) < 0 else 1.0


def apart(more: Iterable[Share], less: Iterable[Share]) -> tuple[Share, ...]:
    """Return what errors move one face against another: what they share drops out."""
    found: dict[str, Share] = {}
    for sense, shares in ((1.0, more), (-1.0, less)):
        for s in shares:
            before = found[s.what].by if s.what in found else 0.0
            found[s.what] = Share(s.what, s.error, before + sense * s.by)
    return tuple(s for s in found.values() if abs(s.by) > NOTHING)


def worst_of(case: Case, shares: tuple[Share, ...]) -> Cause:
    """Return the register with the largest part in what all of some together make.

    Parameters
    ----------
    case : Case
    shares : tuple of Share
        One at least.
    """
    total = math.copysign(1.0, sum(s.by for s in shares))
    worst = max(shares, key=lambda s: s.by * total)
    others = tuple(s for s in shares if s is not worst)
    return Cause(Change(worst.what, worst.error, 0.0), set_right(case, others))


def cause_of(
    case: Case, shares: tuple[Share, ...], value: float, good: Callable[[float], bool]
) -> Cause | None:
    """Return what to set right if without the errors a value would be good; None: it would not.

    Parameters
    ----------
    case : Case
    shares : tuple of Share
        What errors add to the value.
    value : float
        As found, mm.
    good : callable
        Whether a value is good.
    """
    return worst_of(case, shares) if shares and good(value - sum(s.by for s in shares)) else None


def register_between(case: Case, lower: int, upper: int) -> Change:
    """Return the register, or the work zero, whose error brings two moves together most.

    Parameters
    ----------
    case : Case
    lower, upper : int
        The move that left a floor, and the one that runs over it; errors bring them together.
    """
    shares = (shares_of(case, move, (0.0, 0.0, 0.0), UP) for move in (lower, upper))
    return worst_of(case, apart(*shares)).change


def set_right(case: Case, shares: Iterable[Share]) -> str:
    """Return in words that registers are set to what is true; empty: there are none."""
    errors = (
        (s.what, "-" if s.error < 0 else "", say_fine(abs(s.error), case.unit)) for s in shares
    )
    return " and ".join(f"{what} set from {sign}{size} to 0" for what, sign, size in errors)
