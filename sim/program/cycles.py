"""Canned cycles G73, G74, G76 and G81 to G89 as single moves (NISTIR 6556 3.5.16).

G73, G74 and G76 are not in that document: common practice, no source. Here every plane is the XY
plane: X, Y, Z, I, J and K stand for its first, second and third axis.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Final

__all__ = [
    "FEED",
    "JUMP",
    "PECK_CLEARANCE",
    "PECK_LIMIT",
    "RAPID",
    "REPEAT_LIMIT",
    "CycleError",
    "CycleFrame",
    "HoleCycle",
    "plan_cycle",
]

PECK_CLEARANCE: Final[dict[str, float]] = {"in": 0.010 * 25.4, "mm": 0.254}
"""How far above the last depth a G83 rapid back down stops, and how far G73 backs off, mm; it
cuts nothing new."""
PECK_LIMIT: Final = 10_000
"""Most pecks in one hole: more is a slip in Q."""
REPEAT_LIMIT: Final = 10_000
"""Most repeats of a cycle: more is a slip in L."""
BLOCK_LIMIT: Final = 1_000_000
"""Most pecks of all repeats of a block: more is a slip in one of them."""
RAPID, FEED, JUMP = 0, 1, 2
"""How a move of a cycle goes; a jump cuts nothing: its tool stands still, turned away."""

_NEEDED: Final = {
    **dict.fromkeys((74, 76, 81, 84, 85, 86, 88, 89), "ZR"),
    **dict.fromkeys((73, 83), "ZRQ"),
    82: "ZRP",
    87: "ZRIJK",
}
_PECKS: Final = (73, 83)
_FEED_OUT: Final = (74, 84, 85, 89)

Point = tuple[float, float, float]


class CycleError(Exception):
    """No such cycle; `letter` is the word at fault, empty for the block's G word."""

    def __init__(self, text: str, letter: str = "") -> None:
        self.letter = letter
        super().__init__(text)


@dataclasses.dataclass(frozen=True)
class CycleFrame:
    """Where a cycle begins, mm, along the plane's axes.

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
    r_from_initial : bool
        In G91, R counts from `initial_z`, else from the tool.
    names : str
        What X, Y, Z, I, J and K are called in this plane.
    """

    position: Point
    initial_z: float
    zero: Point | None
    retract_to_initial: bool
    clearance: float
    r_from_initial: bool = False
    names: str = "XYZIJK"

    def says(self, letter: str) -> str:
        """Return what a letter is called in this plane."""
        return self.names["XYZIJK".index(letter)] if letter in "XYZIJK" else letter


@dataclasses.dataclass(frozen=True)
class HoleCycle:
    """One block of a cycle, mm, along the plane's axes.

    Attributes
    ----------
    number : int
        The G number.
    start : (x, y, z)
        Tip before; z may be NaN (unknown).
    first : (x, y)
        First hole.
    step : (dx, dy)
        From hole to hole; zeros in G90.
    repeats : int
        L or K.
    r_level, bottom : float
        z of R and of the hole's bottom.
    retract : float
        z to go back to after a hole (G98: never below R).
    peck : float
        Q of G73 and G83; 0: in one go.
    clearance : float
        See `PECK_CLEARANCE`.
    top : float
        K of G87: z up to which it cuts from below.
    """

    number: int
    start: tuple[float, float, float]
    first: tuple[float, float]
    step: tuple[float, float]
    repeats: int
    r_level: float
    bottom: float
    retract: float
    peck: float
    clearance: float
    top: float = math.nan

    def count(self) -> int:
        """Return how many moves there are at most."""
        pecks = math.ceil((self.r_level - self.bottom) / self.peck) if self.peck > 0 else 1
        return 2 + self.repeats * (3 * pecks + 4)

    def moves(self) -> Iterator[tuple[float, float, float, int]]:
        """Yield the ends of the moves and how each goes: `RAPID`, `FEED` or `JUMP`."""
        x, y, z = self.start
        if z < self.r_level:  # once, whatever L is
            z = self.r_level
            yield x, y, z, RAPID
        for repeat in range(self.repeats):
            x = round(self.first[0] + repeat * self.step[0], 10)
            y = round(self.first[1] + repeat * self.step[1], 10)
            yield x, y, z, RAPID
            if z != self.r_level:
                yield x, y, self.r_level, RAPID
            if self.number == 87:
                yield from self._back_boring(x, y)
            else:
                yield from self._pecks(x, y)
                yield x, y, self.bottom, FEED
                yield x, y, self.retract, FEED if self.number in _FEED_OUT else RAPID
            z = self.retract

    def _pecks(self, x: float, y: float) -> Iterator[tuple[float, float, float, int]]:
        """Yield the moves of all pecks but the last."""
        if self.peck <= 0:
            return
        count = 1
        depth = round(self.r_level - self.peck, 10)
        while depth > self.bottom:
            yield x, y, depth, FEED
            if self.number == 83:
                yield x, y, self.r_level, RAPID
            yield x, y, min(self.r_level, round(depth + self.clearance, 10)), RAPID
            count += 1
            depth = round(self.r_level - count * self.peck, 10)

    def _back_boring(self, x: float, y: float) -> Iterator[tuple[float, float, float, int]]:
        """Yield G87: aside, down and under the hole with the spindle stopped; then up at feed."""
        yield x, y, self.bottom, JUMP
        yield x, y, self.top, FEED
        yield x, y, self.bottom, FEED
        yield x, y, self.retract, JUMP


def plan_cycle(
    number: int, words: Mapping[str, float], sticky: Mapping[str, float], frame: CycleFrame
) -> HoleCycle:
    """Return a block of a cycle, its levels worked out.

    Parameters
    ----------
    number : int
        The G number.
    words : mapping of str to float
        The block's own words; lengths in mm.
    sticky : mapping of str to float
        Z, R, Q, P, I, J and K of the block before, if that was of the same cycle.
    frame : CycleFrame
        Where the tool is, and what is in force.

    Raises
    ------
    CycleError
        A word that is missing or out of range, or an unknown place.
    """
    merged = {**sticky, **words}
    _check_words(number, words, merged, frame)
    first, step, r_level, bottom = _places(words, merged, frame)
    if math.isnan(sum(first) + bottom):
        raise CycleError(
            "a cycle at a place that is not known; expected X, Y and Z given before it", "?"
        )
    if r_level < bottom:
        z = frame.says("Z")
        raise CycleError(f"R is below {z}, the bottom of the hole; expected R above it", "RZ")
    peck = merged["Q"] if number in _PECKS else 0.0
    if peck and (r_level - bottom) / peck > PECK_LIMIT:
        raise CycleError(f"Q makes more than {PECK_LIMIT} pecks; expected a larger Q", "QZ")
    repeats = int(words.get("L", 1))
    if peck and repeats * (r_level - bottom) / peck > BLOCK_LIMIT:
        raise CycleError(f"L and Q make more than {BLOCK_LIMIT} pecks; expected fewer", "L")
    up = max(frame.initial_z, r_level) if not math.isnan(frame.initial_z) else math.nan
    return HoleCycle(
        number=number,
        start=frame.position,
        first=first,
        step=step,
        repeats=repeats,
        r_level=r_level,
        bottom=bottom,
        retract=up if frame.retract_to_initial else r_level,
        peck=peck,
        clearance=frame.clearance,
        top=_top(merged, frame, bottom) if number == 87 else math.nan,
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
        r_level = round((frame.initial_z if frame.r_from_initial else z) + merged["R"], 10)
        bottom = round(r_level + merged["Z"], 10)  # from R, not from the tool
    return (round(first_x, 10), round(first_y, 10)), step, r_level, bottom


def _top(merged: Mapping[str, float], frame: CycleFrame, bottom: float) -> float:
    """Return K of G87 as a height: in G91 it counts from Z (NISTIR 6556 3.5.16.8, from memory)."""
    top = round(merged["K"] + (bottom if frame.zero is None else frame.zero[2]), 10)
    if top < bottom:
        k, z = frame.says("K"), frame.says("Z")
        raise CycleError(f"{k} is below {z}; expected {k} above it: G87 cuts upwards", "K")
    return top


def _check_words(
    number: int, words: Mapping[str, float], merged: Mapping[str, float], frame: CycleFrame
) -> None:
    if words.keys().isdisjoint("XYZ"):
        raise CycleError(f"G{number} without X, Y or Z; expected at least one of them")
    for letter in _NEEDED[number]:
        if letter not in merged:
            said = frame.says(letter)
            raise CycleError(
                f"G{number} without {said}; expected {said} in the first block of the cycle"
            )
    if number in _PECKS and merged["Q"] <= 0:
        raise CycleError("Q is not above 0; expected the depth of one peck", "Q")
    if merged.get("P", 0) < 0:
        raise CycleError("P is below 0; expected the time at the bottom", "P")
    if words.get("L", 1) > REPEAT_LIMIT:
        raise CycleError(f"L is more than {REPEAT_LIMIT}; expected fewer repeats", "L")
