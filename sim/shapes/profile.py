"""Free profile: a list of lines and arcs in (r, z) from the tip up, turned round the axis.

::

    profile = [
      [0, 0],                                          # on the axis: r, z
      [2, 0],                                          # a flat tip
      { to = [5, 3], radius = 3, side = "out" },       # an arc that bulges outwards
      [5, 12],
      [4, 12],                                         # level: a bare face, here an upper one
      { to = [4, 20], part = "neck" },
    ]

An arc has its ``radius`` and the ``side`` to which it bulges, ``"out"`` or ``"in"``, or its
``center``. Nothing turns back down; what cuts comes first. The ends are closed towards the axis.
"""

from __future__ import annotations

import dataclasses
import math
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import Field

from ..strict import Point2, PositiveLength, Strict
from .base import Entry, Shape, Word, arc, line

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = ["SHAPES"]

CENTER_SLACK: Final = 0.002
"""How far the distances of an arc's ends from its centre may differ, mm: rounded coordinates."""
SAME: Final = 1e-9
NOT_CUTTING: Final = ("neck", "shank")

Place = tuple[float, float]
Bend = tuple[float, float, float, bool]
"""An arc's centre r and z, its radius, and whether it is a cove."""
Segment = tuple[str, Place, Place, Bend | None]
"""Label, (r, z) where it begins and ends, and its arc."""


class Step(Strict):
    """One line or arc of a free profile."""

    to: Point2 = Field(description="[r, z] where it ends")
    center: Point2 | None = Field(None, description="an arc's centre [r, z]")
    radius: PositiveLength | None = Field(None, description="an arc's radius; needs side")
    side: Literal["out", "in"] | None = Field(None, description="to which side an arc bulges")
    part: Literal["bottom", "corner", "side", "top", "neck", "shank"] | None = Field(
        None, description="what a person calls it; chosen by its slope if left out"
    )


_PROFILE = Word(
    "",
    ("profile",),
    Annotated[list[Point2 | Step], Field(min_length=2, max_length=1000)],
    "points [r, z] from the tip up, and tables with `to` and an arc or a part, see its shape",
)


@dataclasses.dataclass
class _Reader:
    """Reads a profile item by item; `problem` says what is wrong at the last one."""

    entry: Entry
    segments: list[Segment] = dataclasses.field(default_factory=list)
    here: Place = (0.0, 0.0)
    item: int = 0

    def wrong(self, text: str) -> bool:
        self.entry.wrong("profile", text, self.item)
        return False

    def said(self, place: Place) -> str:
        return f"r {self.entry.length(place[0])}, z {self.entry.length(place[1])}"

    def read(self, items: list[Any]) -> bool:
        """Read all items; False at the first that can't be."""
        steps = [item if isinstance(item, Step) else Step.model_construct(to=item, center=None,
                 radius=None, side=None, part=None) for item in items]  # fmt: skip
        return all(self._step(index, step, len(steps)) for index, step in enumerate(steps)) and (
            self._ends()
        )

    def _step(self, index: int, step: Step, count: int) -> bool:
        self.item, (r, z) = index, step.to
        if r < 0:
            return self.wrong(f"r {self.entry.length(r)} is below 0; r is counted from the axis")
        if index == 0:
            return self._first(step)
        if z < self.here[1]:
            low, high = self.entry.length(z), self.entry.length(self.here[1])
            return self.wrong(f"goes down to z {low} from {high}; list it from the tip up")
        if (r, z) == self.here:
            return self.wrong(f"{self.said(step.to)} is the same point as the item before")
        if r == 0 and (self.here[0] == 0 or index < count - 1):
            return self.wrong(
                f"{self.said(step.to)} is on the axis; only its first and last points may be"
            )
        return self._level(step) if z == self.here[1] else self._rising(step)

    def _first(self, step: Step) -> bool:
        if (step.center, step.radius, step.side, step.part) != (None,) * 4:
            return self.wrong("begins the profile and is a point alone: write it as [r, z]")
        if step.to[1] != 0:
            return self.wrong(f"z {self.entry.length(step.to[1])}: a tool's tip is at z 0")
        self.here = step.to
        return True

    def _level(self, step: Step) -> bool:
        if (step.center, step.radius, step.side, step.part) != (None,) * 4:
            at = self.entry.length(step.to[1])
            return self.wrong(f"is level at z {at}: a flat face, which has no arc and no part")
        self.here = step.to
        return True

    def _rising(self, step: Step) -> bool:
        start, self.here = self.here, step.to
        if step.center is None and step.radius is None and step.side is None:
            self._add(step.part, start, step.to, None)
            return True
        found = self._arc(step, start)
        if found is None:
            return False
        _, center_z, _, cove = found
        inside = start[1] + SAME < center_z < step.to[1] - SAME
        if inside and (cove or step.part is None):
            middle = (found[0] + (-found[2] if cove else found[2]), center_z)
            self._add(step.part, start, middle, found)
            start = middle
        self._add(step.part, start, step.to, found)
        return True

    def _add(self, part: str | None, start: Place, end: Place, bend: Bend | None) -> None:
        label = part
        if label is None and end[0] < start[0] - SAME:
            label = "top"
        elif label is None and bend is not None:
            label = "corner"
        elif label is None:
            label = "bottom" if start[0] == 0 else "side"
        self.segments.append((label, start, end, bend))

    def _arc(self, step: Step, start: Place) -> Bend | None:
        """Return centre, radius and whether it is a cove; None where it can't be."""
        radius, side = step.radius, step.side
        if step.center is not None:
            if radius is not None:
                self.wrong("has a center and a radius; give one of them")
                return None
            radius, side = self._about(step, step.center, start)
        elif radius is None or side is None:
            self.wrong('is an arc: give its radius and its side, "out" or "in", or its center')
        if radius is None or side is None:
            return None
        chord = math.dist(start, step.to)
        if radius < chord / 2 - SAME:
            least = self.entry.length(chord / 2)
            self.wrong(
                f"radius {self.entry.length(radius)} doesn't reach from {self.said(start)} to "
                f"{self.said(step.to)}; at least {least} is needed"
            )
            return None
        radius = max(radius, chord / 2)
        return self._placed(step, start, radius, side == "in")

    def _placed(self, step: Step, start: Place, radius: float, cove: bool) -> Bend | None:
        """Return the arc through both points; None where it would turn back down or pass r = 0."""
        chord = math.dist(start, step.to)
        off = math.sqrt(max(0.0, (radius - chord / 2) * (radius + chord / 2))) / chord
        sign = 1.0 if cove else -1.0
        r = (start[0] + step.to[0]) / 2 + sign * off * (step.to[1] - start[1])
        z = (start[1] + step.to[1]) / 2 - sign * off * (step.to[0] - start[0])
        reach = 1e-6
        if max(sign * (start[0] - r), sign * (step.to[0] - r)) > reach:
            self.wrong(
                f"its arc of radius {self.entry.length(radius)} turns back down between z "
                f"{self.entry.length(start[1])} and {self.entry.length(step.to[1])}; split it, or "
                "give a larger radius"
            )
            return None
        if cove and start[1] < z < step.to[1] and r - radius < -SAME:
            self.wrong(f"its arc of radius {self.entry.length(radius)} passes over the axis")
            return None
        return (r, z, radius, cove)

    def _about(
        self, step: Step, center: Place, start: Place
    ) -> tuple[float | None, Literal["out", "in"] | None]:
        """Return radius and side of an arc given by its centre."""
        first, last = math.dist(center, start), math.dist(center, step.to)
        if abs(first - last) > CENTER_SLACK:
            self.wrong(
                f"its ends lie {self.entry.length(first)} and {self.entry.length(last)} from its "
                f"center; up to {self.entry.length(CENTER_SLACK)} of difference is allowed"
            )
            return None, None
        beyond = [r - center[0] for r in (start[0], step.to[0])]
        sides: list[Literal["out", "in"]] = []
        if min(beyond) >= -CENTER_SLACK:
            sides.append("out")
        if max(beyond) <= CENTER_SLACK:
            sides.append("in")
        if step.side is not None:
            sides = [side for side in sides if side == step.side]
        if len(sides) != 1:
            why = "could bulge to either side; give side" if sides else "turns back down; split it"
            self.wrong(f"its arc about {self.said(center)} {why}")
            return None, None
        return (first + last) / 2, sides[0]

    def _ends(self) -> bool:
        """Check the order of the parts, and that there is something to cut with."""
        labels = [label for label, *_ in self.segments]
        self.item = 0
        if not labels or labels[0] in NOT_CUTTING:
            return self.wrong("has nothing that cuts; it must rise from its tip")
        ranks = [NOT_CUTTING.index(p) + 1 if p in NOT_CUTTING else 0 for p in labels]
        if ranks != sorted(ranks):
            return self.wrong("has a part that cuts, or a neck, above a neck or shank")
        return True


def _derive(entry: Entry) -> None:
    """Read the profile; find its diameter and how far up it cuts."""
    if "profile" not in entry:
        return
    reader = _Reader(entry)
    if not reader.read(entry.values["profile"]):
        return
    entry.values["profile"] = tuple(reader.segments)
    cutting = [p for p in _made(reader.segments) if p.cutting]
    widest = 2 * max(p.widest for p in cutting)
    if "diameter" in entry and abs(entry["diameter"] - widest) > 1e-6:
        text = f"{entry.said('diameter')}, but the widest of its profile is"
        entry.wrong("diameter", f"{text} {entry.length(widest, 6)}; leave it out")
    entry.derive("diameter", widest, "the profile's diameter")
    if "cutting_length" not in entry:
        entry.derive("cutting_length", cutting[-1].z_high, "the profile's cutting part")
    elif abs(entry["cutting_length"] - cutting[-1].z_high) > 1e-6:
        text = f"{entry.said('cutting_length')}, but its profile cuts up to z"
        entry.wrong("cutting_length", f"{text} {entry.length(cutting[-1].z_high)}; leave it out")


def _made(segments: Any) -> list[Piece]:
    found: list[Piece] = []
    for label, (r_low, z_low), (r_high, z_high), bend in segments:
        if bend is None:
            found += line(label, z_low, r_low, z_high, r_high)
        else:
            found += arc(label, z_low, z_high, *bend[:3], cove=bend[3])
    return found


def _pieces(tool: Tool) -> list[Piece]:
    return _made(tool.size("profile"))


SHAPES = (
    Shape(
        "profile",
        "a free profile",
        _pieces,
        needs={"profile": "its points from the tip up; give profile = [[r, z], ...]"},
        refuses={"corner_radius": "its profile says all", "edge_angle": "its profile says all"},
        words={"profile": _PROFILE},
        derive=_derive,
    ),
)
