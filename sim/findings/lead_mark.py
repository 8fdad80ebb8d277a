"""Where a finisher comes on to a wall or goes off it, and marks it where that counts.

Where a tool meets a wall or leaves it the load changes, the tool springs, and a line stays
up the wall. Every pass has such places; most are never seen. All of them stand in the table
of lead-ins and lead-outs. [lead-mark] speaks of those where the wall stays as it is to the
end of the job, is part, and:

- a [[show]] side sees the mark: the finisher comes on or goes off other than straight past
  the wall's end, and takes metal there. Seen is what a straight line from the mark towards
  the eye reaches past the finished part (its model, or what the job leaves), at more than
  3 degrees to the wall.
- it goes straight up while its side still lies on the wall. Not in a slot as wide as the
  tool, where there is no other way.
- it waits (G4) with its side on the wall.
- it goes on and off a closed contour at one place, with less than `lead_overlap` of overlap:
  a note, where nobody sees it.

Silent, rows of the table only: what a later pass cuts away, scrap, an arc or a straight line
on to a wall that nobody sees, with overlap; straight on and off past the wall's end, or out of
a corner; what takes no metal, as a spring pass; floors. A note only, where the job does not say
what is part, or says it without a model and the wall is cut from the solid: it may be scrap.
Judged are flat, bull and ball tools along upright walls.

Size: of a mark that is seen, the metal that the finisher takes there square to the wall, the
bite that makes it (the fillet of an earlier tool at the wall's foot does not count); of a way
straight up, the height of the wall over which the side drags; of a closed contour, its
overlap; of a dwell, its seconds. Exact.

Cure: a better place on the contour, best first: where a later pass cuts the mark away; where
no show side sees it (both only where the ways on and off, moved there as they are, cut no
metal that is to stay); at a corner. On an open wall: straight on or off past its end, with
the length to add. Else an overlap, an arc off the wall, no dwell. Faces named under [[show]]
and regions where leads are wanted can't be looked up yet; a pass list's own start can be.

Margins: `lead_overlap` 10 thou, `lead_overlap_advised` 50 thou, `lead_bite` 0.1 thou.

Source: common practice, no source.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..units import say_fine, to_unit
from .base import NONE, THOU, Change, Finding, Margin, Rule, Severity

if TYPE_CHECKING:
    from .better_places import Better
    from .case import Case
    from .visits import End, Visit

__all__ = ["RULES"]

WHERE: Final = {(1, 0, 0): "+X", (-1, 0, 0): "-X", (0, 1, 0): "+Y", (0, -1, 0): "-Y"}
NEAR: Final = 2.0
"""Leads of levels or rounds of one pass that lie so near to each other in plan are one, mm."""


@dataclasses.dataclass(frozen=True)
class _Mark:
    """A visit to a wall with what marks it; `ends`: those that a show side sees."""

    visit: Visit
    ends: tuple[End, ...]
    up: bool
    shut: bool


def _find(case: Case) -> Iterable[Finding]:
    from .visits import visits_of

    groups: list[list[_Mark]] = []
    for visit in visits_of(case):
        mark = _mark(case, visit)
        if mark is None:
            continue
        group = next((g for g in groups if _alike(g[0], mark)), None)
        if group is None:
            groups.append([mark])
        else:
            group.append(mark)
    for group in groups:
        yield _finding(case, group)
    yield from _dwells(case)


def _mark(case: Case, visit: Visit) -> _Mark | None:
    """Return what marks a visit's wall; None: nothing, or it does not count."""
    from .visits import ALONG, UP

    bitten, free = case.margin("lead_bite"), not visit.last.slot
    ends = tuple(
        end for end in (visit.first, visit.last)
        if end.seen and end.how != ALONG and end.bite > bitten and not end.slot
        and not (visit.corner and (end.on or not visit.overlap))
    )  # fmt: skip
    up = visit.last.stays and visit.last.how == UP and free
    shut = visit.overlap is not None and visit.overlap < case.margin("lead_overlap")
    shut = shut and visit.first.stays and free and visit.first.bite > bitten and not visit.corner
    return _Mark(visit, ends, up, shut) if ends or up or shut else None


def _alike(one: _Mark, two: _Mark) -> bool:
    a, b = one.visit, two.visit
    if a.pass_number != b.pass_number or bool(one.ends) != bool(two.ends):
        return False
    if not one.ends:  # nobody sees them: one way of going on and off, wherever it is
        return one.up == two.up
    return math.dist(a.first.tip[:2], b.first.tip[:2]) < NEAR


# ------------------------------------------------------------------------------------- what it says


def _finding(case: Case, group: list[_Mark]) -> Finding:
    seen, up = [m for m in group if m.ends], [m for m in group if m.up]
    severity: Severity = "note"
    if seen:
        worst = max(seen, key=lambda m: max(e.bite for e in m.ends))
        end = max(worst.ends, key=lambda e: e.bite)
        size, severity = end.bite, _severity(case, end)
    elif up:
        worst = max(up, key=lambda m: m.visit.last.height)
        end = worst.visit.last
        size, severity = end.height, _severity(case, end)
    else:
        worst = min(group, key=lambda m: m.visit.overlap or 0.0)
        end = worst.visit.first
        size = max(worst.visit.overlap or 0.0, 0.0)
    text, why = _words(case, worst, end)
    change, then = _cure(case, worst)
    number = worst.visit.pass_number
    return Finding(
        rule="lead-mark", severity=severity, tool=case.passes[number].tool, pass_number=number,
        lines=_lines(case, group), at=end.at, size=size, text=text, why=why, change=change,
        then=then,
    )  # fmt: skip


def _severity(case: Case, end: End) -> Severity:
    """Return how bad a mark is: without a model, what is cut from the solid may well be scrap."""
    from .walls import walls_of

    walls = walls_of(case)
    finishes = end.bite <= walls.tool(end.move).cutting_radius / 2
    return "watch" if walls.model or (case.job.spec.part and finishes) else "note"


def _lines(case: Case, group: list[_Mark]) -> tuple[int, int]:
    from .walls import walls_of

    line = walls_of(case).moves.line
    ends = [e for m in group for e in (m.visit.first, m.visit.last)]
    own = [int(line[k]) for e in ends for k in (e.move, e.other)]
    return min(own), max(own)


def _words(case: Case, mark: _Mark, end: End) -> tuple[str, str]:
    from .visits import ARCED, PLUNGE, RAMP, SQUARE, UP

    say = {
        ARCED: "by an arc", SQUARE: "straight at it", PLUNGE: "by a plunge", UP: "straight up",
        RAMP: "down a ramp",
    }  # fmt: skip
    visit, unit = mark.visit, case.unit
    no_overlap = " at one place, without overlap" if mark.shut else ""
    if mark.ends:
        on, off = (any(e.on == is_in for e in mark.ends) for is_in in (True, False))
        first, last = say.get(visit.first.how, ""), say.get(visit.last.how, "")
        ways = [f"comes on to the wall {first}"] * on + [f"goes off it {last}"] * off
        text = f"the finisher {' and '.join(ways)}{no_overlap}, seen from {_eyes(case)}; "
        text += f"it takes {say_fine(end.bite, unit)} there"
        return text, "the tool springs as the load comes and goes: a line stays up the wall"
    if mark.up:
        text = f"the finisher goes straight up along {say_fine(end.height, unit)} of wall while "
        text += f"its side is still on it{no_overlap}"
        return text, "the side drags up the wall and leaves a line"
    text = f"the finisher goes on and off a closed contour{no_overlap}"
    if visit.overlap is not None and visit.overlap > 1e-6:
        text = "the finisher goes on and off a closed contour with an overlap of only "
        text += say_fine(visit.overlap, unit)
    return text, "where it begins the tool had not yet bent as it has where it ends: a step stays"


def _eyes(case: Case) -> str:
    from .walls import walls_of

    ways = [tuple(round(float(v)) for v in eye) for eye in walls_of(case).eyes]
    names = [WHERE.get((w[0], w[1], w[2])) for w in ways]
    return f"{names[0]}" if len(ways) == 1 and names[0] else "a show side"


def _dwells(case: Case) -> Iterator[Finding]:
    """Yield waits of a tool with its side on a wall that stays."""
    from .visits import visits_of

    visits = visits_of(case)
    for count, seconds, line in case.job.program.dwells:
        for visit in visits:
            end = _waits(case, visit, count - 1)
            if end is None:
                continue
            yield Finding(
                rule="lead-mark", severity="watch", tool=int(case.moves.tool[count - 1]),
                pass_number=visit.pass_number, lines=(line, line), at=end.at, size=seconds, of="s",
                text=f"the tool waits {seconds:g} s with its side on the wall"
                + (", where it is seen" if end.seen else ""),
                why="it rubs in one place and springs deeper into the wall: a groove up the wall",
                change=Change(f"G4 at line {line}", seconds, NONE, length=False, seconds=-seconds),
                then="the tool passes along the wall without a stop",
            )  # fmt: skip
            break


def _waits(case: Case, visit: Visit, move: int) -> End | None:
    """Return the place on a visit's wall where a tool waits after a move; None: it is not on it."""
    from .visits import end_at
    from .walls import walls_of

    walls = walls_of(case)
    parts = np.flatnonzero(walls.before.of == move)
    if not len(parts):
        return None
    part = int(parts[-1])
    if part == visit.first.other:
        part, share = visit.first.move, visit.first.share
    elif visit.moves[0] <= part <= visit.moves[-1]:
        share = 1.0
    else:
        return None
    # At a corner the wall ends where the tool waits: just before, it still stands.
    ends = (end_at(walls, visit, part, max(share - back, 0.0)) for back in (0.0, 1e-3))
    return next((end for end in ends if end.stays), None)


# --------------------------------------------------------------------------------------------- cure


def _cure(case: Case, mark: _Mark) -> tuple[Change | None, str]:
    from .better_places import better_places, past_the_end

    visit, number = mark.visit, mark.visit.pass_number
    places = better_places(case, visit) if mark.ends and visit.overlap is not None else []
    if places:
        return _elsewhere(case, mark, places)
    if mark.ends and visit.overlap is None:
        end = max(mark.ends, key=lambda e: e.bite)
        found = past_the_end(case, visit, end)
        if found is not None:
            tip, length, seconds = found
            what = f"{'start' if end.on else 'end'} of pass {number}"
            then = f"the tool runs straight {'on' if end.on else 'off'} past the wall's end, "
            then += f"{say_fine(length, case.unit)} more of path"
            change = Change(what, _say(case, end.tip), _say(case, tip), False, seconds)
            return change, then
    if mark.up:
        return _off(case, visit)
    return _overlapped(case, visit) if mark.shut else (None, "")


def _elsewhere(case: Case, mark: _Mark, places: list[Better]) -> tuple[Change, str]:
    """Return the start moved to the best of better places, with what else is missing there."""
    visit, best = mark.visit, places[0]
    after, seconds = _say(case, best.tip), 0.0
    if best.corner:
        after += ", on and off straight out of the corner"
    elif mark.shut:
        more, _ = _overlapped(case, visit)
        after += f", overlap {say_fine(_wanted(case), case.unit)}"
        seconds += more.seconds or 0.0
    if mark.up and not best.corner:
        more, _ = _off(case, visit)
        after += f", {more.after}"
        seconds += more.seconds or 0.0
    then = f"the mark lies {best.why}"
    others = [f"{_say(case, p.tip)} ({p.why})" for p in places[1:]]
    then += f"; else {', or '.join(others)}" if others else ""
    before = _say(case, visit.first.tip)
    return Change(f"start of pass {visit.pass_number}", before, after, False, seconds), then


def _say(case: Case, tip: tuple[float, float, float]) -> str:
    x, y = (round(to_unit(v, case.unit), 4) + 0.0 for v in tip[:2])
    return f"X{x:.4f} Y{y:.4f}"


def _feed(case: Case, visit: Visit) -> float:
    from .walls import walls_of

    return float(walls_of(case).moves.feed[visit.last.move])


def _wanted(case: Case) -> float:
    """Return the overlap to advise, mm: no less than what counts as one."""
    return max(case.margin("lead_overlap_advised"), case.margin("lead_overlap"))


def _overlapped(case: Case, visit: Visit) -> tuple[Change, str]:
    now, advised = max(visit.overlap or 0.0, 0.0), _wanted(case)
    feed = _feed(case, visit)
    seconds = 60 * (advised - now) / feed if feed > 0 else None
    change = Change(f"overlap of pass {visit.pass_number}", now, advised, seconds=seconds)
    return change, "the path runs past its start before it goes off, and takes the step with it"


def _off(case: Case, visit: Visit) -> tuple[Change, str]:
    """Return the cure of a way straight up: an arc off the wall, as large as there is room for."""
    from .walls import room_beside, walls_of

    walls = walls_of(case)
    radius = walls.tool(visit.last.move).cutting_radius
    room = room_beside(walls, visit.last.move, visit.last.share, 1 - visit.side)
    size, feed = min(radius / 2, 0.4 * room), _feed(case, visit)
    seconds = 60 * size * math.pi / 2 / feed if feed > 0 else None
    after = f"an arc of radius {say_fine(size, case.unit)} off the wall, then up"
    change = Change(f"retract of pass {visit.pass_number}", "straight up", after, False, seconds)
    return change, "the tool is off the wall before it goes up"


RULES: Final = (
    Rule(
        {"lead-mark": "The mark of a lead-in or lead-out on a wall that stays"},
        _find,
        (
            Margin("lead_overlap", 10 * THOU, "a closed contour with less overlap has none"),
            Margin("lead_overlap_advised", 50 * THOU, "advised overlap of a closed contour"),
            Margin("lead_bite", 0.1 * THOU, "a tool that takes less leaves no mark to be seen"),
        ),
    ),
)
