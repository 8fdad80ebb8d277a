"""Inside corners that a tool meets too fast for what it has to take there.

Along a straight wall a tool that takes a thin layer is in metal over a small angle. In an
inside corner the wall ahead is added: the angle jumps, by 90 degrees if the tool is as
big as the corner's fillet, and each minute it has to take several times the metal. It is
pulled into the corner, chatters, and leaves the fillet undercut or marked.

[corner-bite] In an inside corner the side of the tool is engaged over `corner_jump` more
than on the straight before it, and takes more than `corner_load` times as much a minute
at the feed that is programmed there, and the layer is thicker than `corner_light` of DC.
A feed that falls enough in the corner is silent, however slow. So are a wall's finish
with a light layer or in a fillet well bigger than the tool, a rough cut half a diameter
wide or wider, whose corners are only twice as heavy, and a pass that takes 0.4 as much or
more along most of a diameter of straights, short of the corners, at that feed, as one that
slots does. Where no wall stays as the tool leaves it there, as in a rougher's rounds, it
is a note.
Size: the jump of the engagement angle, degrees: worst place in the corner less the
straight before. Exact. The angle is that of the tool's side, over its corner radius and
15 thou over its tip, in the half of the tool that looks ahead: arccos(1 - ae/R) on a
straight wall, 180 in a slot.

Margins: `corner_jump` 45 degrees, `corner_load` 4 times: a corner that a tool of the
fillet's own size takes at half a diameter is 2 times, at a quarter 3.7. `corner_light` 0.08
of DC: 10 thou on a wall are 14 on the corner's bisector.

Cure: a feed at which the tool takes no more a minute than on the straight:

    F corner = F straight * width straight / width corner

where the width is that of the metal met, square to the path (R (1 - cos) of the angle of
a straight wall). It is stated with the length of path over which to hold it, and holds
for all corners of the finding; slower is fine as long as the tool still makes a chip.
Where the path turns on an arc, this has in it that the edge at the wall runs faster than
the tool's middle: a feed meant for the wall is (Rc - R) / Rc of it at the middle, Rc the
corner's fillet. Better still, where the part allows: a smaller tool than the fillet, or
the corner opened by an earlier pass.

Ball noses and tools that cut by a point are not judged, nor what only the bottom cuts.

Source: plane geometry; the numbers are common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_feed, say_length
from .base import Change, Finding, Margin, Rule
from .engaged import Way, depth_ahead, finely, ways
from .own_values import has_list
from .words import lines_said

if TYPE_CHECKING:
    from ..contact.stock import Before
    from ..contact.tool import Edge
    from .case import Case
    from .taken import Floats, Ints

__all__ = ["RULES"]

RULE: Final = "corner-bite"
STRAIGHT: Final = math.radians(15.0)
"""A stretch that turns by less is straight, and a corner turns by twice as much or more."""
LEAST: Final = 1.0
"""A straight stretch is so many radii long or longer; shorter, corners run into each other."""
USUAL: Final = 0.25
"""The engagement of a straight is that of its lower quarter: its end may lie in the corner."""
SLOTS: Final = 0.75
"""A load that a pass bears along so many diameters of straights is no harm in a corner."""
BEARS: Final = 2.5
"""A corner that takes up to so many times what the pass bears on straights is no harm."""
ALIKE: Final = 1e-5
"""Loads that differ by a smaller share are one: the angle of metal is found by halving."""
HELD: Final = 1.25
"""The slower feed is to be held where the load is more than so many times the straight's."""


@dataclasses.dataclass(frozen=True)
class _Corner:
    """A corner that bites: the jump and angles in radians, lengths in mm, feeds in mm/min."""

    pass_number: int
    jump: float
    before: float
    share: float
    feed: float
    at: tuple[float, float, float]
    moves: Ints
    length: float
    load: float
    arc: bool
    stays: bool


# ------------------------------------------------------------------------------------------ corners


def _straights(way: Way, radius: float) -> list[tuple[int, int]]:
    """Return first and last station of the straight stretches."""
    found, first = [], 0
    for k in range(1, len(way.s) + 1):
        if k < len(way.s) and abs(way.heading[k] - way.heading[first]) < STRAIGHT:
            continue
        if way.s[k - 1] - way.s[first] >= LEAST * radius:
            found.append((first, k - 1))
        first = k
    return found


def _load(way: Way) -> Floats:
    """Return the metal that stations take a minute; where no feed is known, a length."""
    load: Floats = way.width * np.where(way.feed > 0, way.feed, 1.0)
    return load


def _borne(paths: Sequence[Way], radius: float) -> float:
    """Return the load that a pass bears on straights, `SLOTS` diameters of them; 0: on none."""
    loads, lengths = [np.zeros(0)], [np.zeros(0)]
    for way in paths:
        load = _load(way)
        for first, last in _straights(way, radius):
            end = _before_corner(way, load, (first, last), radius)
            loads.append(np.minimum(load[first:end], load[first + 1 : end + 1]))
            lengths.append(np.diff(way.s[first : end + 1]))
    every, length = np.concatenate(loads), np.concatenate(lengths)
    order = np.argsort(-every, kind="stable")
    enough = np.flatnonzero(np.cumsum(length[order]) >= SLOTS * 2 * radius)
    return float(every[order][enough[0]]) if len(enough) else 0.0


def _before_corner(way: Way, load: Floats, straight: tuple[int, int], radius: float) -> int:
    """Return the last station of a straight that is not yet in the corner after it.

    A radius before its end the wall ahead may be met, and sooner where a bigger tool left its
    round there: as long as the load rises up to the corner, it is the corner's.
    """
    first, last = straight
    k = int(np.searchsorted(way.s, way.s[last] - radius, side="right")) - 1
    while k > first and load[k] > (1 + ALIKE) * load[k - 1]:
        k -= 1
    return max(k, first)


def _corners(case: Case, before: Before, edge: Edge, number: int, way: Way) -> Iterator[_Corner]:
    """Yield the corners of one path that bite."""
    straights = _straights(way, edge.radius)
    for k, (first, last) in enumerate(straights):
        after = straights[k + 1][0] if k + 1 < len(straights) else len(way.s) - 1
        turn = float(way.heading[after] - way.heading[last])
        usual = _usual(way, first, last, edge.radius)
        if abs(turn) < 2 * STRAIGHT or usual is None or turn * way.side[usual] > 0:
            continue
        far = float(way.s[after]) + edge.radius / 2
        corner = np.arange(last, int(np.searchsorted(way.s, far, side="right")))
        corner = np.append(
            np.flatnonzero(way.s[:last] >= max(way.s[last] - edge.radius, way.s[usual])), corner
        )
        found = _bites(case, before, edge, (way, usual, corner), number)
        if found is not None:
            yield found


def _usual(way: Way, first: int, last: int, radius: float) -> int | None:
    """Return the station that stands for a straight; None: it is not cut all along."""
    s = way.s[first : last + 1]
    room = min(radius, (s[-1] - s[0]) / 3)
    inner = first + np.flatnonzero((s >= s[0] + room) & (s <= s[-1] - room))
    if not len(inner) or (way.angle[inner] <= 0).any():
        return None
    order = inner[np.argsort(way.angle[inner], kind="stable")]
    return int(order[int(USUAL * (len(order) - 1))])


def _bites(
    case: Case, before: Before, edge: Edge, where: tuple[Way, int, Ints], number: int
) -> _Corner | None:
    """Return a corner if it bites more than the margins say."""
    way, usual, corner = where
    load = _load(way)
    jump = math.radians(case.margin("corner_jump"))
    # Between stations it may be somewhat more: look again, finely, where it is near.
    if (way.angle[corner] - way.angle[usual]).max() < 0.8 * jump:
        return None
    fine = finely(before, edge, way, corner)
    work = _load(fine)
    heavy = np.flatnonzero(fine.angle - way.angle[usual] >= jump)
    heavy = heavy[work[heavy] > case.margin("corner_load") * load[usual]]
    if not len(heavy):
        return None
    heaviest = heavy[work[heavy] > (1 - ALIKE) * work[heavy].max()]
    worst = int(heaviest[np.argmax(np.round(fine.angle[heaviest], 6))])
    place = fine.places[np.array([worst])]
    if depth_ahead(before, edge, place) <= case.margin("corner_light") * 2 * edge.radius:
        return None
    held = np.flatnonzero(work > HELD * load[usual])
    x, y, z = (float(v) for v in place.tip[0])
    moves = before.of[np.unique(fine.places.move[held])]
    return _Corner(
        pass_number=number, jump=float(fine.angle[worst] - way.angle[usual]),
        before=float(way.angle[usual]), share=float(way.width[usual] / fine.width[worst]),
        feed=float(way.feed[usual]), at=(x, y, z), moves=moves,
        length=float(fine.s[held].max() - fine.s[held].min()), load=float(work[worst]),
        arc=bool((case.moves.turn[moves] != 0).any()),
        stays=_stays(case, fine),
    )  # fmt: skip


def _stays(case: Case, corner: Way) -> bool:
    """Return whether the wall in and before a corner stays as it is left there."""
    from .walls import walls_of

    walls = walls_of(case)
    on = walls.on(corner.places, walls.beside(corner.places, len(walls.moves), 1))[:, :, 0]
    left = np.where(corner.side > 0, on[:, 0], on[:, 1])
    return bool((left & (corner.angle > 0)).any())


# ------------------------------------------------------------------------------------- what it says


def _find(case: Case) -> Iterable[Finding]:
    from .walls import walls_of

    tools: dict[tuple[int, bool], list[_Corner]] = {}
    for number in case.passes:
        if case.tool_of(number).shape not in ("flat", "bull"):
            continue
        before, edge = walls_of(case).before, walls_of(case).edge(case.tool_of(number))
        paths = ways(case, before, edge, number)
        found = [c for way in paths for c in _corners(case, before, edge, number, way)]
        if found:
            borne = BEARS * _borne(paths, edge.radius)
            for corner in found:
                if corner.load > borne:
                    tools.setdefault((edge.tool.number, corner.stays), []).append(corner)
    for (tool, _), corners in tools.items():
        yield _finding(case, tool, corners)


def _finding(case: Case, tool: int, corners: list[_Corner]) -> Finding:
    """Say what one tool meets in its corners, the worst of them first."""
    worst = max(corners, key=lambda c: (round(c.jump, 6), -c.pass_number))
    passes = sorted({c.pass_number for c in corners})
    before, after = math.degrees(worst.before), math.degrees(worst.before + worst.jump)
    slow = min(c.feed * c.share for c in corners)
    length = max(c.length for c in corners)
    unit = case.unit
    per_length = say_length(length, unit, 2 if unit == "in" else 1)
    feed = f"F{say_feed(slow, unit)}"
    text = (
        f"in {len(corners)} inside {'corner' if len(corners) == 1 else 'corners'} the side is in "
        f"metal over {after:.0f} degrees, on the straight before over {before:.0f}"
    )
    if len(passes) > 1:
        text += f"; in passes {', '.join(map(str, passes))}"
    text += f": {1 / worst.share:.1f} times the metal at one feed"
    return Finding(
        rule=RULE,
        severity="watch" if worst.stays else "note",
        tool=tool,
        pass_number=worst.pass_number,
        lines=case.lines_of(np.concatenate([c.moves for c in corners])),
        at=worst.at,
        size=math.degrees(worst.jump),
        of="deg",
        text=text,
        why="the tool is pulled into the corner, chatters and marks it"
        if worst.stays
        else "the tool is pulled into the corner and chatters; no wall of it stays",
        change=_change(case, worst, slow, per_length, corners) if worst.feed > 0 else None,
        then=f"at {feed} over {per_length} of path in each corner the tool takes no more a minute "
        "than on the straight; slower is fine"
        if worst.feed > 0
        else "",
    )


def _change(case: Case, worst: _Corner, slow: float, length: str, corners: list[_Corner]) -> Change:
    lines = case.moves.line[worst.moves]
    if has_list(case, worst.pass_number):
        what = f"feed in the corners of pass {worst.pass_number}, over {length}"
    elif worst.arc:
        what = f"F over {length} in the corner, {lines_said(int(lines.min()), int(lines.max()))}"
    else:
        what = f"F over the last {length} of line {int(lines.min())}"
    seconds = sum(60 * c.length * (1 / slow - 1 / c.feed) for c in corners)
    return Change(what, worst.feed, slow, seconds=seconds, feed=True)


RULES: Final = (
    Rule(
        {RULE: "An inside corner is met too fast for what has to be taken there"},
        _find,
        (
            Margin("corner_jump", 45.0, "degrees more in metal than on the straight", ratio=True),
            Margin("corner_load", 4.0, "times the metal a minute of the straight", ratio=True),
            Margin("corner_light", 0.08, "of DC; a thinner layer is a light finish", ratio=True),
        ),
    ),
)
