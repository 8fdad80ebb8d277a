"""Canned cycles and circle pockets, with what is in force, as moves."""

from __future__ import annotations

import dataclasses
import math
from typing import Final

from .cycles import (
    JUMP,
    PECK_CLEARANCE,
    RAPID,
    CycleError,
    CycleFrame,
    HoleCycle,
    plan_cycle,
)
from .lexer import Block
from .modal import CYCLES, g_name
from .modes import Modes
from .motion import Point
from .planes import PLANES, Plane
from .recorder import Recorder
from .settings import ReaderSettings
from .words import Values, first_place, whole

__all__ = ["Holes"]

_STICKY: Final = frozenset("ZRQPIJK")
_HEIGHTS: Final = ("Z", "R", "K")
_RING_LIMIT: Final = 10_000


@dataclasses.dataclass(frozen=True)
class _Series:
    """What lasts from block to block of a cycle.

    Attributes
    ----------
    initial : float
        z before the first hole.
    sticky : dict of str to float
        Its words as given; none after another cycle.
    absolute : dict of str to bool
        Whether Z, R and K of them were given in G90.
    last : HoleCycle or None
        The last holes.
    """

    initial: float
    sticky: Values = dataclasses.field(default_factory=dict)
    absolute: dict[str, bool] = dataclasses.field(default_factory=dict)
    last: HoleCycle | None = None

    def with_words(self, words: Values, absolute: bool, last: HoleCycle | None) -> _Series:
        """Return the series after a block with these words."""
        sticky = {k: v for k, v in (self.sticky | words).items() if k in _STICKY}
        given = {k: absolute for k in _HEIGHTS if k in words}
        return _Series(self.initial, sticky, self.absolute | given, last)


class Holes(Modes):
    """Modes with the cycles."""

    def __init__(self, settings: ReaderSettings, recorder: Recorder) -> None:
        super().__init__(settings, recorder)
        self.series: _Series | None = None

    def set_motion(self, motion: int | None) -> None:
        """Put a motion in force; a cycle's words last as long as it does, its first z longer."""
        if motion != self.modal.motion:
            self.modal.motion = motion
            if self.series is not None:
                # G98 goes back to where the first of all the cycles began (common practice)
                self.series = _Series(self.series.initial) if motion in CYCLES else None

    def cycle(self, block: Block, values: Values, motion: int) -> None:
        """G73, G74, G76, G81 to G89."""
        plane, name = PLANES[self.modal.plane], g_name(motion)
        self._check_cycle(block, plane, name)
        self.target(block, values)  # unit, work zero and limits
        words = self._words(block, values, plane, motion)
        position = _turned(self.here(), plane)
        series = self.series or _Series(position[2])
        absolute = self.modal.absolute
        if words.get("L") == 0:
            self.series = series.with_words(words, absolute, None)
            return
        frame = self._frame(plane, position, series.initial)
        try:
            cycle = plan_cycle(motion // 10, words, self._sticky(series, words, frame), frame)
        except CycleError as error:
            raise self._cycle_fault(block, error, frame) from None
        self.spend(block, cycle.count())
        self._note_levels(block, frame, motion)
        self.series = series.with_words(words, absolute, cycle)
        self._run(block, cycle, plane)

    def _sticky(self, series: _Series, words: Values, frame: CycleFrame) -> Values:
        """Return the words that last, as of the mode in force; see `Dialect.cycle_levels`."""
        absolute, choice, last = self.modal.absolute, self.dialect.cycle_levels, series.last
        other = [k for k, was in series.absolute.items() if was != absolute and k not in words]
        if not other or choice == "increments":
            return series.sticky
        if choice == "refused" or last is None or "K" in other:
            then, now = ("G91", "G90") if absolute else ("G90", "G91")
            named = " and ".join(frame.says(k) for k in other)
            raise CycleError(
                f"{named} given in {then} and used in {now}: some controls keep the heights, "
                f"others count anew; expected {named} in this block, or the setup's control with "
                'cycle_levels = "kept" or "increments"'
            )
        if frame.zero is not None:
            kept = {"R": last.r_level - frame.zero[2], "Z": last.bottom - frame.zero[2]}
        else:
            base = frame.initial_z if frame.r_from_initial else frame.position[2]
            r = words.get("R", last.r_level - base if "R" in other else series.sticky["R"])
            kept = {"R": r, "Z": last.bottom - base - r}
        return series.sticky | {k: kept[k] for k in other}

    def _check_cycle(self, block: Block, plane: Plane, name: str) -> None:
        """Refuse what no cycle goes with (NISTIR 6556 3.5.16; scaling: controls differ)."""
        self.refuse_compensated(block, name)
        index = self.motion_word(block)
        if self.modal.feed_mode == 930:
            raise self.fault(block, f"{name} in G93; expected G94 or G95", index, "")
        transform = self.transform
        if transform is not None and not transform.along_kept(plane.along):
            raise self.fault(
                block,
                f"{name} under {transform.name} along its depth; expected the moves written out",
                index,
                "",
            )

    def _words(self, block: Block, values: Values, plane: Plane, motion: int) -> Values:
        """Return the block's words as of the XY plane; lengths in mm."""
        order = (plane.first, plane.second, plane.along)
        called = {"XYZ"[axis]: "XYZ"[k] for k, axis in enumerate(order)}
        called |= {"IJK"[axis]: "IJK"[k] for k, axis in enumerate(order)}
        repeats = "L"
        if motion != 870 and "K" in values:
            if "L" in values:
                raise block.error("K and L in one cycle both repeat it; expected one of them", "K")
            repeats = "K"
        given = {k: v for k, v in values.items() if k in "XYZRQIJK" and k != repeats}
        words = {called.get(k, k): self.length(block, values, k) for k in given}
        if "P" in values:
            words["P"] = values["P"]
        if repeats in values:
            stores = self.dialect.cycle_repeats_0 == "stores"
            words["L"] = whole(block, values, repeats, 0 if stores else 1)
            if words["L"] == 0 and not self.modal.absolute:
                raise block.error(f"{repeats}0 in G91; expected G90", repeats)
        return words

    def _frame(self, plane: Plane, position: Point, initial: float) -> CycleFrame:
        order = (plane.first, plane.second, plane.along)
        names = "".join("XYZ"[a] for a in order) + "".join("IJK"[a] for a in order)
        zero = self.zero if self.modal.absolute else None
        return CycleFrame(
            position=position,
            initial_z=initial,
            zero=None if zero is None else _turned(zero, plane),
            retract_to_initial=self.modal.retract_to_initial,
            clearance=PECK_CLEARANCE[self.unit],
            r_from_initial=self.dialect.cycle_r_in_g91 == "initial",
            names=names,
        )

    def _cycle_fault(self, block: Block, error: CycleError, frame: CycleFrame) -> Exception:
        letters = "".join(frame.says(letter) for letter in error.letter if letter != "?")
        index = first_place(block, letters) if letters else self.motion_word(block)
        if error.letter == "?":
            return self.fault(block, str(error), index, "place")
        return self.fault(block, str(error), index, "" if error.letter else "cycle")

    def _note_levels(self, block: Block, frame: CycleFrame, motion: int) -> None:
        """Say where controls differ: R in G91 after a hole that ended at R (G99)."""
        differ = self.series is not None and frame.position[2] != frame.initial_z
        if differ and frame.zero is None and not frame.r_from_initial:
            self.out.note_once(
                "G91 R",
                block.at,
                "R in G91 counts from where the tool stands (NISTIR 6556 3.5.16); some controls "
                "count it from the height before the first hole",
            )
        if motion in (760, 870, 880):
            what = "is out by hand, taken as a rapid" if motion == 880 else "cuts nothing on it"
            self.out.note_once(
                g_name(motion),
                block.at,
                f"{g_name(motion)} stops the spindle at the bottom: the tool {what}",
            )

    def _run(self, block: Block, cycle: HoleCycle, plane: Plane) -> None:
        for first, second, along, how in cycle.moves():
            point = plane.point(first, second, along)
            if self.transform is not None:
                point = self.there(block, point)
            if how == JUMP:
                self.out.jump(block, point)
            else:
                self.out.go(block, point, rapid=how == RAPID)

    # Circle pockets (common practice, no source)

    def circle_pocket(self, block: Block, values: Values, code: int) -> None:
        """G12, G13: down at the middle, out on a half circle, round, and back.

        I is the radius of the pocket, or with K and Q of its first ring; K that of the last, Q
        the step. The path is smaller by what D holds.
        """
        name = g_name(code)
        self.refuse_compensated(block, name)
        self._check_pocket(block, values, name)
        start = self.here()
        end = self.target(block, values)
        if math.isnan(sum(end)):
            raise self.fault(
                block, f"{name} at a place that is not known; expected X, Y and Z given before it",
                first_place(block, "G"), "place",
            )  # fmt: skip
        register, rings = self._rings(block, values, name)
        turn = -math.tau if code == 120 else math.tau
        self.out.note_once(
            name, block.at, f"{name} is taken to go out and back on half circles towards +X"
        )
        x, y, z = end
        self.out.set_side(register, 0)
        if z != start[2]:
            self.out.go(block, self.there(block, end), rapid=False)
        at = 0.0
        for radius in rings:
            if at == 0:
                self._ring(block, (x, y, z), radius / 2, radius, turn / 2)
            else:
                self.out.go(block, self.there(block, (round(x + radius, 10), y, z)), rapid=False)
            self._ring(block, (x, y, z), 0.0, radius, turn)
            at = radius
        self._ring(block, (x, y, z), at / 2, 0.0, turn / 2)
        self.out.set_side(0, 0)

    def _ring(self, block: Block, middle: Point, center: float, end: float, turn: float) -> None:
        x, y, z = middle
        to = round(x + end, 10), y, z
        self._turn(block, PLANES[170], to, (round(x + center, 10), y), turn)

    def _check_pocket(self, block: Block, values: Values, name: str) -> None:
        if self.modal.plane != 170 or self.transform is not None:
            raise self.fault(
                block, f"{name} outside G17 or under G68 or G51; expected plain G17",
                first_place(block, "G"), "",
            )  # fmt: skip
        if self.modal.feed_mode == 930:
            raise self.fault(block, f"{name} in G93; expected G94", first_place(block, "G"), "")
        for letter in "XY":
            if letter in values:
                raise block.error(
                    f"{letter} in {name}; expected the tool in the middle of the pocket before it",
                    letter,
                )
        for letter in ("I", "D"):
            if letter not in values:
                what = "the radius of the pocket" if letter == "I" else "the register of the radius"
                raise block.error(f"{name} without {letter}; expected {what}", "G")
        if ("K" in values) != ("Q" in values):
            raise block.error(
                "K and Q go together: last radius and step; expected both",
                "K" if "K" in values else "Q",
            )

    def _rings(self, block: Block, values: Values, name: str) -> tuple[int, list[float]]:
        """Return the D register, and the radii of the path, mm, smallest first."""
        register, less = self._radius(block, values)
        first = self.length(block, values, "I")
        last = self.length(block, values, "K") if "K" in values else first
        step = self.length(block, values, "Q") if "Q" in values else 0.0
        if first - less <= 0:
            raise block.error(
                f"I is not larger than the tool in {name}; expected a larger one", "I"
            )
        if last < first or ("Q" in values and step <= 0):
            raise block.error("K is below I, or Q not above 0; expected I, then rings up to K", "K")
        count = 0 if last == first else math.ceil((last - first) / step - 1e-9)
        if count > _RING_LIMIT:
            raise block.error(f"Q makes more than {_RING_LIMIT} rings; expected a larger Q", "Q")
        rings = [first + k * step for k in range(count)] + [last]
        return register, [round(radius - less, 10) for radius in rings]


def _turned(point: Point, plane: Plane) -> Point:
    """Return a point along the plane's axes."""
    return point[plane.first], point[plane.second], point[plane.along]
