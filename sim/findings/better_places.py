"""Better places for the lead-in and lead-out of a wall pass."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from .base import THOU

if TYPE_CHECKING:
    from ..contact.stations import Places
    from .base import Point
    from .case import Case
    from .visits import End, Visit
    from .walls import Bools, Floats, Walls

__all__ = ["Better", "better_places", "past_the_end"]

WHYS: Final = ("where a later pass cuts it away", "where no show side sees it", "at a corner")
CLEAR: Final = 50 * THOU
"""A tool that comes straight on begins so far outside the wall's end, mm."""
TRIES: Final = 9
"""Places of a run that are tried for room."""
LONGEST: Final = 400
"""Most steps that a path is made longer by."""
TOUCH: Final = 1e-3


@dataclasses.dataclass(frozen=True)
class Better:
    """A better place: the tip on the contour, mm, and why it is better; whether it is a corner."""

    tip: Point
    why: str

    @property
    def corner(self) -> bool:
        """Whether it is a corner of the path."""
        return self.why == WHYS[2]


def better_places(case: Case, visit: Visit) -> list[Better]:
    """Return the best place of each kind along a closed contour, best first."""
    from .visits import LEVELS, faces
    from .walls import FINISHED, walls_of

    walls = walls_of(case)
    places = _with_middles(walls, walls.stations(visit.moves))
    here = walls.beside(places, walls.done(visit.pass_number), LEVELS)
    on = walls.on(places, here, FINISHED)[:, visit.side]
    face = faces(walls, places, visit.side, here.height[:, visit.side], on)
    stays, seen = face.stays.any(axis=1), face.seen.any(axis=1)
    walled = on.any(axis=1)
    kinds: list[Bools] = [np.asarray(walled & ~stays), np.asarray(walled & stays & ~seen)]
    found = []
    for why, good in zip(WHYS, kinds, strict=False):
        for k in _middles(walls, places, good):
            if _room(walls, visit, places, k):
                found.append(_better(places, k, why))
                break
    if not found:
        found = _corners(walls, places)[:1]
    return found


def _with_middles(walls: Walls, places: Places) -> Places:
    """Return stations with the middle of every straight move among them."""
    from ..contact.stations import Places as At

    moves = np.unique(places.move[walls.moves.turn[places.move] == 0])
    move = np.concatenate([places.move, moves])
    share = np.concatenate([places.share, np.full(len(moves), 0.5)])
    order = np.lexsort((share, move))
    return At.at(walls.before, move[order], share[order])


def _better(places: Places, k: int, why: str) -> Better:
    x, y, z = places.tip[k].tolist()
    return Better((x, y, z), why)


def _middles(walls: Walls, places: Places, good: Bools) -> Iterator[int]:
    """Yield stations of runs of good ones, the longest run first, from its middle outwards.

    On straight moves first, and there in their middles first.
    """
    index = np.flatnonzero(good)
    if not len(index):
        return
    runs = np.split(index, np.flatnonzero(np.diff(index) > 1) + 1)
    steps = np.hypot(*np.diff(places.tip[:, :2], axis=0).T)
    way = np.append(0.0, np.cumsum(steps))
    for run in sorted(runs, key=lambda r: float(way[r[0]] - way[r[-1]])):
        middle = 0.5 * (way[run[0]] + way[run[-1]])
        bent = walls.moves.turn[places.move[run]] != 0
        order = np.lexsort((np.abs(way[run] - middle), places.share[run] != 0.5, bent))
        yield from run[order[:TRIES]].tolist()


def _corners(walls: Walls, places: Places) -> list[Better]:
    """Return the corners of the path, the sharpest first."""
    from ..contact.stations import Places as At
    from .visits import CORNER

    a, b = places.way[:-1], places.way[1:]
    turn = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
    k = np.flatnonzero((np.diff(places.move) > 0) & (turn > CORNER))
    k = k[np.argsort(-turn[k], kind="stable")]
    ends = At.at(walls.before, places.move[k], np.ones(len(k)))
    return [_better(ends, n, WHYS[2]) for n in range(len(k))]


def _room(walls: Walls, visit: Visit, places: Places, k: int) -> bool:
    """Whether the ways on and off, moved to a station as they are, cut nothing that stays."""
    from ..contact.stations import Places as At

    way, tip = places.way[k], places.tip[k]
    frame = np.array([way, [-way[1], way[0]]])
    for end in (visit.first, visit.last):
        if end.other == end.move or walls.upright[end.other]:
            continue
        share = np.linspace(0.0, 1.0, 5)
        lead = At.at(walls.before, np.full(5, end.other), share).tip[:, :2]
        own = At.at(walls.before, np.array([end.move]), np.array([end.share]))
        off = lead - np.array(end.tip[:2])
        along, aside = off @ own.way[0], off @ np.array([-own.way[0, 1], own.way[0, 0]])
        moved = tip[:2] + np.stack([along, aside], axis=1) @ frame
        if cuts_part(walls, end.move, moved, float(tip[2])):
            return False
    return True


def cuts_part(walls: Walls, move: int, at: Floats, z: float) -> bool:
    """Whether the tool of a move, its tip at places in plan and at z, cuts what the job leaves."""
    from .taken import disc

    edge = walls.edge(walls.tool(move))
    spots = disc(edge.radius - TOUCH)
    low = z + edge.lower(np.hypot(*spots.T)) + TOUCH
    x, y = np.ascontiguousarray((at[:, None, :] + spots[None]).reshape(-1, 2).T)
    top, _ = walls.before.columns(x, y, np.full(len(x), len(walls.moves)))
    return bool((top.reshape(len(at), -1) > low).any())


def past_the_end(case: Case, visit: Visit, end: End) -> tuple[Point, float, float | None] | None:
    """Return where a path begins or ends past its wall's end, how much longer it is, seconds.

    None: straight on, the tool would cut what is to stay, or the wall has no end within reach.
    """
    from ..contact.stations import Places
    from .walls import walls_of

    walls = walls_of(case)
    move = end.move
    place = Places.at(walls.before, np.array([move]), np.array([end.share]))
    radius = walls.tool(move).cutting_radius
    way = place.way[0] * (-1.0 if end.on else 1.0)
    step = radius / 4
    steps = np.asarray(np.arange(1, LONGEST + 1) * step, np.float64)
    over = _wall_ends(walls, place, visit, way, steps)
    if over is None:
        return None
    length = over + radius + CLEAR
    along = place.tip[0, :2] + np.arange(step, length + step, step)[:, None] * way
    if cuts_part(walls, move, along, end.tip[2]):
        return None
    x, y = (place.tip[0, :2] + length * way).tolist()
    feed = float(walls.moves.feed[move])
    return (x, y, end.tip[2]), length, 60 * length / feed if feed > 0 else None


def _wall_ends(
    walls: Walls, place: Places, visit: Visit, way: Floats, steps: Floats
) -> float | None:
    """Return how far along a way the wall that is left at the end of the job ends, mm."""
    aside = walls.way(place)[0, visit.side][:2] * (walls.tool(int(place.move[0])).cutting_radius)
    x, y = (place.tip[0, :2] + aside * 1.001 + steps[:, None] * way).T
    top, _ = walls.before.columns(
        np.ascontiguousarray(x), np.ascontiguousarray(y), np.full(len(x), len(walls.moves))
    )
    edge = walls.edge(walls.tool(int(place.move[0])))
    gone = np.flatnonzero(top <= place.tip[0, 2] + edge.widest_at + TOUCH)
    return float(steps[gone[0]]) if len(gone) else None
