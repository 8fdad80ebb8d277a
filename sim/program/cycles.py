"""Drilling cycles G81, G82 and G83 as single moves (NISTIR 6556 3.5.16)."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Final

__all__ = [
    "PECK_CLEARANCE",
    "PECK_LIMIT",
    "REPEAT_LIMIT",
    "CycleError",
    "CycleFrame",
    "DrillCycle",
    "plan_cycle",
]

PECK_CLEARANCE: Final[dict[str, float]] = {"in": 0.010 * 25.4, "mm": 0.254}
"""How far above the last depth a G83 rapid back down stops, mm; it cuts nothing new."""
PECK_LIMIT: Final = 10_000
"""Most pecks in one hole: more is a slip in Q."""
REPEAT_LIMIT: Final = 10_000
"""Most repeats of a cycle: more is a slip in L."""
BLOCK_LIMIT: Final = 1_000_000
"""Most pecks of all repeats of a block: more is a slip in one of them."""

_NEEDED: Final = {81: "ZR", 82: "ZRP", 83: "ZRQ"}

Point = tuple[float, float, float]


class CycleError(Exception):
    """No such cycle; `letter` is the word at fault, empty for the block's G word."""

    def __init__(self, text: str, letter: str = "") -> None:
        self.letter = letter
        super().__init__(text)


@dataclasses.dataclass(frozen=True)
class CycleFrame:
    """Where a cycle begins, part frame, mm.

    Attributes
    ----------
    position : (x, y, z)
        Tip before; NaN where it is not known.
    initial_z : float
        z before the first of a series of blocks of one cycle: what G98 goes back to.
    zero : (x, y, z) or None
        Work zero in G90; None in G91.
    retract_to_initial : bool
        G98.
    clearance : float
        See `PECK_CLEARANCE`.
    """

    position: Point
    initial_z: float
    zero: Point | None
    retract_to_initial: bool
    clearance: float


@dataclasses.dataclass(frozen=True)
class DrillCycle:
    """One block of a drilling cycle, part frame, mm.

    Attributes
    ----------
    start : (x, y, z)
        Tip before; z may be NaN (unknown).
    first : (x, y)
        First hole.
    step : (dx, dy)
        From hole to hole; zeros in G90.
    repeats : int
        L.
    r_level, bottom : float
        z of R and of the hole's bottom.
    retract : float
        z to go back to after a hole (G98: never below R).
    peck : float
        Q of G83; 0: in one go.
    clearance : float
        See `PECK_CLEARANCE`.
    """

    start: tuple[float, float, float]
    first: tuple[float, float]
    step: tuple[float, float]
    repeats: int
    r_level: float
    bottom: float
    retract: float
    peck: float
    clearance: float

    def moves(self) -> Iterator[tuple[float, float, float, bool]]:
        """Yield the ends of the moves and whether each is a rapid."""
        x, y, z = self.start
        if z < self.r_level:  # once, whatever L is
            z = self.r_level
            yield x, y, z, True
        for repeat in range(self.repeats):
            x = round(self.first[0] + repeat * self.step[0], 10)
            y = round(self.first[1] + repeat * self.step[1], 10)
            yield x, y, z, True
            if z != self.r_level:
                yield x, y, self.r_level, True
            yield from self._pecks(x, y)
            yield x, y, self.bottom, False
            yield x, y, self.retract, True
            z = self.retract

    def _pecks(self, x: float, y: float) -> Iterator[tuple[float, float, float, bool]]:
        """Yield the moves of all pecks but the last."""
        if self.peck <= 0:
            return
        count = 1
        depth = round(self.r_level - self.peck, 10)
        while depth > self.bottom:
            yield x, y, depth, False
            yield x, y, self.r_level, True
            yield x, y, min(self.r_level, round(depth + self.clearance, 10)), True
            count += 1
            depth = round(self.r_level - count * self.peck, 10)


def plan_cycle(
    number: int, words: Mapping[str, float], sticky: Mapping[str, float], frame: CycleFrame
) -> DrillCycle:
    """Return a block of a drilling cycle, its levels worked out.

    Parameters
    ----------
    number : int
        81, 82 or 83.
    words : mapping of str to float
        The block's own words; lengths in mm.
    sticky : mapping of str to float
        Z, R, Q and P of the block before, if that was of the same cycle.
    frame : CycleFrame
        Where the tool is, and what is in force.

    Raises
    ------
    CycleError
        A word that is missing or out of range, or an unknown place.
    """
    merged = {**sticky, **words}
    _check_words(number, words, merged)
    first, step, r_level, bottom = _places(words, merged, frame)
    if math.isnan(sum(first) + bottom):
        raise CycleError(
            "a cycle at a place that is not known; expected X, Y and Z given before it"
        )
    if r_level < bottom:
        raise CycleError("R is below Z, the bottom of the hole; expected R above it", "RZ")
    peck = merged["Q"] if number == 83 else 0.0
    if peck and (r_level - bottom) / peck > PECK_LIMIT:
        raise CycleError(f"Q makes more than {PECK_LIMIT} pecks; expected a larger Q", "QZ")
    repeats = int(words.get("L", 1))
    if peck and repeats * (r_level - bottom) / peck > BLOCK_LIMIT:
        raise CycleError(f"L and Q make more than {BLOCK_LIMIT} pecks; expected fewer", "L")
    up = max(frame.initial_z, r_level) if not math.isnan(frame.initial_z) else math.nan
    return DrillCycle(
        start=frame.position,
        first=first,
        step=step,
        repeats=repeats,
        r_level=r_level,
        bottom=bottom,
        retract=up if frame.retract_to_initial else r_level,
        peck=peck,
        clearance=frame.clearance,
    )


def _places(
    words: Mapping[str, float], merged: Mapping[str, float], frame: CycleFrame
) -> tuple[tuple[float, float], tuple[float, float], float, float]:
    """Return the first hole, the step to the next, and z of R and of the bottom, mm."""
    x, y, z = frame.position
    step = (0.0, 0.0)
    if frame.zero is not None:
        zero_x, zero_y, zero_z = frame.zero
        first_x = words["X"] + zero_x if "X" in words else x
        first_y = words["Y"] + zero_y if "Y" in words else y
        r_level = round(merged["R"] + zero_z, 10)
        bottom = round(merged["Z"] + zero_z, 10)
    else:
        step = words.get("X", 0.0), words.get("Y", 0.0)
        first_x, first_y = x + step[0], y + step[1]
        r_level = round(z + merged["R"], 10)
        bottom = round(r_level + merged["Z"], 10)  # from R, not from the tool
    return (round(first_x, 10), round(first_y, 10)), step, r_level, bottom


def _check_words(number: int, words: Mapping[str, float], merged: Mapping[str, float]) -> None:
    if words.keys().isdisjoint("XYZ"):
        raise CycleError(f"G{number} without X, Y or Z; expected at least one of them")
    for letter in _NEEDED[number]:
        if letter not in merged:
            raise CycleError(
                f"G{number} without {letter}; expected {letter} in the first block of the cycle"
            )
    if number == 83 and merged["Q"] <= 0:
        raise CycleError("Q is not above 0; expected the depth of one peck", "Q")
    if number == 82 and merged["P"] < 0:
        raise CycleError("P is below 0; expected the time at the bottom", "P")
    if words.get("L", 1) > REPEAT_LIMIT:
        raise CycleError(f"L is more than {REPEAT_LIMIT}; expected fewer repeats", "L")
