"""Where passes come on to walls, run along them and go off them: what [lead-mark] judges.

A visit is a run of a pass's path with the tool's side on one wall, as the wall stands when the
pass is done. It begins with a lead-in and ends with a lead-out.
"""

from __future__ import annotations

import dataclasses
import math
import weakref
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from ..moves import ARC
from .base import THOU

if TYPE_CHECKING:
    from ..contact.stations import Places
    from .base import Point
    from .case import Case
    from .walls import Bools, Floats, Ints, Walls

__all__ = [
    "ALONG", "ARCED", "AT_ONE", "CORNER", "FINE", "LEVELS", "PLUNGE", "RAMP", "SQUARE", "UP",
    "End", "Faces", "Visit", "end_at", "faces", "order", "visits_of",
]  # fmt: skip

ALONG: Final = "straight on past the wall's end"
ARCED: Final = "arc"
SQUARE: Final = "straight, at an angle to the wall"
PLUNGE: Final = "plunge on the wall"
UP: Final = "straight up on the wall"
RAMP: Final = "ramp along the wall"
LEVELS: Final = 3
FINE: Final = 17
"""Heights at which a wall is looked at along a path, and at its ends."""
CORNER: Final = math.radians(20.0)
"""A path that turns by more has a corner."""
TURNS: Final = math.radians(3.0)
"""A path that turns by less goes straight on."""
AT_ONE: Final = 0.01
"""Places that lie so near to each other in plan are one, mm."""
HALVINGS: Final = 12
SAME_LEVEL: Final = 1e-6
LEAST_SEEN: Final = 2
"""Of `FINE` heights of a wall, so many have to be seen: less is a sliver along its top."""
LEAST_WALL: Final = 2 * THOU
"""A wall of which less is left is none: the foot strip of a wall cut above a floor, mm."""
_VISITS: weakref.WeakKeyDictionary[Case, tuple[Visit, ...]] = weakref.WeakKeyDictionary()


@dataclasses.dataclass(frozen=True)
class End:
    """Where a visit begins or ends; lengths in mm.

    Attributes
    ----------
    on : bool
    how : str
    move, share : int, float
        The move on the wall, of `Walls.moves`, and where on it.
    other : int
        The move of the lead; that of the wall itself where there is none.
    tip : (x, y, z)
    stays, seen : bool
        Some of the part's wall there is left at the end of the job; an eye sees some of it.
    slot : bool
        A wall stands on the tool's other side as well: there is no way off.
    bite : float
        The thickest metal that the visit takes there, of what stays (and is seen, if any is);
        an earlier tool's fillet does not count where there is an upright wall.
    height : float
        Of the wall that stays, over which the tool's side runs there.
    at : (x, y, z)
        On the wall, where the bite is.
    """

    on: bool
    how: str
    move: int
    share: float
    other: int
    tip: Point
    stays: bool = False
    seen: bool = False
    slot: bool = False
    bite: float = 0.0
    height: float = 0.0
    at: Point = (math.nan, math.nan, math.nan)


@dataclasses.dataclass(frozen=True)
class Visit:
    """A run of a pass along a wall.

    Attributes
    ----------
    pass_number : int
    side : int
        0 the wall is on the left, 1 on the right.
    moves : ndarray of int64
        From the first to the last on the wall, of `Walls.moves`.
    first, last : End
    overlap : float or None
        How far a closed one runs past its start, mm; None: it is not closed.
    corner : bool
        A closed one starts at a corner of its path.
    """

    pass_number: int
    side: int
    moves: Ints
    first: End
    last: End
    overlap: float | None
    corner: bool = False


def order(end: End) -> tuple[int, float, bool]:
    """Return what ends sort by: the order of the program."""
    return end.move, end.share, not end.on


def visits_of(case: Case) -> tuple[Visit, ...]:
    """Return the visits of all passes to walls, in the order of the program."""
    if case not in _VISITS:
        from .walls import SHAPES, walls_of

        walls = walls_of(case)
        found: list[Visit] = []
        for number, info in case.passes.items():
            if case.job.tools[info.tool].shape in SHAPES:
                found += _of_pass(walls, number)
        _VISITS[case] = tuple(sorted(found, key=lambda v: order(v.first)))
    return _VISITS[case]


# --------------------------------------------------------------------------------- finding visits


@dataclasses.dataclass
class _Run:
    """Stations of one visit, as indices; how it begins and ends."""

    first: int
    last: int
    came: str
    went: str = UP
    other_in: int = -1
    other_out: int = -1


def _of_pass(walls: Walls, number: int) -> Iterator[Visit]:
    moves, done = walls.of_pass(number), walls.done(number)
    places = walls.stations(moves)
    if not len(places):
        return
    on: Bools = np.asarray(walls.on(places, walls.beside(places, done, LEVELS)).any(axis=2))
    for side in (0, 1):
        for run in _joined(walls, places, _runs(walls, moves, places, on[:, side])):
            _trim(walls, number, side, places, run)
            yield _visit(walls, number, side, places, run)


def _trim(walls: Walls, number: int, side: int, places: Places, run: _Run) -> None:
    """Take leads off a run: end moves along metal that goes later, where the wall itself stays.

    A tool that comes on through metal runs along what it cuts there.
    """
    moves = np.unique(places.move[run.first : run.last + 1])
    if len(moves) > 1 and run.came in (ALONG, PLUNGE, RAMP):
        one, two = moves[:2].tolist()
        if _goes(walls, number, side, places, one) and not _goes(walls, number, side, places, two):
            run.first = int(np.searchsorted(places.move, two))
            run.came, run.other_in = _how(walls, one, two), one
    moves = np.unique(places.move[run.first : run.last + 1])
    if len(moves) > 1 and run.went in (ALONG, UP, RAMP):
        one, two = moves[-2:].tolist()
        if _goes(walls, number, side, places, two) and not _goes(walls, number, side, places, one):
            run.last = int(np.searchsorted(places.move, two)) - 1
            run.went, run.other_out = _how(walls, one, two, leaves=True), two


def _goes(walls: Walls, number: int, side: int, places: Places, move: int) -> bool:
    """Whether nothing of the wall along a move is left at the end of the job."""
    mine = places[places.move == move]
    here = walls.beside(mine, walls.done(number), LEVELS)
    on = walls.on(mine, here)[:, side]
    return not faces(walls, mine, side, here.height[:, side], on).stays.any()


def _runs(walls: Walls, moves: Ints, places: Places, on: Bools) -> Iterator[_Run]:
    """Yield the runs of stations on the wall."""
    first = np.searchsorted(places.move, moves)
    count = np.searchsorted(places.move, moves, side="right") - first
    run: _Run | None = None
    before = -1
    for move, begin, n in zip(moves.tolist(), first.tolist(), count.tolist(), strict=True):
        if n == 0:
            if walls.lengths[move] <= 0:
                continue
            if run is not None:
                run.went, run.other_out = UP, move
                yield run
                run = None
        for k in range(begin, begin + n):
            if on[k] and run is None:
                how = _how(walls, before, move) if k == begin else _mid(walls, move)
                run = _Run(k, k, how, other_in=before if k == begin else move)
            elif on[k] and run is not None:
                run.last = k
            elif run is not None:
                run.went = _how(walls, int(places.move[run.last]), move, leaves=True)
                run.other_out = move
                if k > begin:
                    run.went = _mid(walls, move)
                yield run
                run = None
        before = move
    if run is not None:
        run.other_out = int(places.move[run.last])
        yield run


def _mid(walls: Walls, move: int) -> str:
    ramp = abs(walls.moves.end[move, 2] - walls.moves.start[move, 2]) > 1e-9
    return RAMP if ramp else ALONG


def _how(walls: Walls, one: int, two: int, *, leaves: bool = False) -> str:
    """Return how the path goes from a move to the next; `leaves`: the second goes off the wall."""
    moves, lead = walls.moves, two if leaves else one
    if lead < 0 or walls.upright[lead]:
        return UP if leaves else PLUNGE
    if moves.kind[lead] == ARC:
        return ARCED
    a, b = _ways(walls, np.array([one, two]), np.array([1.0, 0.0]))
    turn = math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
    return ALONG if abs(turn) < TURNS else SQUARE


def _ways(walls: Walls, moves: Ints, share: Floats) -> Floats:
    from ..contact.stations import Places

    return Places.at(walls.before, moves, share).way


def _joined(walls: Walls, places: Places, runs: Iterator[_Run]) -> Iterator[_Run]:
    """Yield runs, those that go straight off one wall's end and on to the next as one."""
    held: _Run | None = None
    for run in runs:
        if held is not None and held.went == run.came == ALONG and _level(walls, places, held, run):
            held.last, held.went, held.other_out = run.last, run.went, run.other_out
            continue
        if held is not None:
            yield held
        held = run
    if held is not None:
        yield held


def _level(walls: Walls, places: Places, one: _Run, two: _Run) -> bool:
    """Whether the path stays at its level, at feed, from one run to the next."""
    between = slice(int(places.move[one.last]), int(places.move[two.first]) + 1)
    z = walls.moves.end[between, 2]
    return bool((~walls.moves.rapid[between]).all() and np.ptp(z) < 1e-9)


# -------------------------------------------------------------------------------------- their ends


def _visit(walls: Walls, number: int, side: int, places: Places, run: _Run) -> Visit:
    a, b = int(places.move[run.first]), int(places.move[run.last])
    share = float(places.share[run.first]), float(places.share[run.last])
    kinds = (run.came, run.other_in), (run.went, run.other_out)
    ends = []
    for is_in, move, part, (how, other) in zip((True, False), (a, b), share, kinds, strict=True):
        if how in (ALONG, RAMP) and other == move:
            part = _edge(walls, number, side, move, part, is_in=is_in)
        else:
            part = 0.0 if is_in else 1.0
        ends.append(_end(walls, number, side, (is_in, how, move, part, other), a))
    moves = np.arange(a, b + 1)
    return Visit(number, side, moves, ends[0], ends[1], *_overlap(walls, moves, ends[0], ends[1]))


def _edge(walls: Walls, number: int, side: int, move: int, share: float, *, is_in: bool) -> float:
    """Return where on a move the wall begins or ends, by halving from a station on it."""
    from ..contact.stations import Places

    off, on, done = (0.0 if is_in else 1.0), share, walls.done(number)
    for _ in range(HALVINGS):
        middle = 0.5 * (off + on)
        place = Places.at(walls.before, np.array([move]), np.array([middle]))
        if walls.on(place, walls.beside(place, done, LEVELS))[0, side].any():
            on = middle
        else:
            off = middle
    return on


def _end(
    walls: Walls, number: int, side: int, what: tuple[bool, str, int, float, int], begin: int
) -> End:
    """Return one end of a visit that begins with the move `begin`, with all that is seen there."""
    from ..contact.stations import Places
    from .walls import FINISHED

    is_in, how, move, share, other = what
    place = Places.at(walls.before, np.array([move]), np.array([share]))
    x, y, z = place.tip[0].tolist()
    end = End(is_in, how, move, share, other, (x, y, z))
    here = walls.beside(place, walls.done(number), FINE)
    both = walls.on(place, here, FINISHED)[0]
    face = faces(walls, place, side, here.height[:, side], both[None, side])
    stays, seen = face.stays[0], face.seen[0]
    if seen.sum() < LEAST_SEEN:
        seen = np.zeros_like(seen)
    if not stays.any():
        return end
    was = walls.beside(place, _stroke(walls, begin), FINE, here.height)
    reach, radius = was.reach[0, side], walls.tool(move).cutting_radius
    bite = np.where(np.isfinite(reach), np.clip(radius - reach, 0.0, None), 0.0)
    chosen = seen if seen.any() else stays
    plain = chosen & (was.upright[0, side] | (reach == 0.0))
    plain = _over_fillets(walls, place, side, _stroke(walls, begin), here.height[0, side], plain)
    bite = np.where(plain if plain.any() else chosen, bite, -1.0)
    k = int(np.argmax(bite > bite.max() - 1e-9))
    px, py, pz = face.at[0, k].tolist()
    return dataclasses.replace(
        end, stays=True, seen=bool(seen.any()), slot=bool(both[1 - side].any()),
        bite=float(bite[k]), height=_extent(walls, place, side, here.height[0, side], stays),
        at=(px, py, pz),
    )  # fmt: skip


def _over_fillets(
    walls: Walls, place: Places, side: int, done: int, height: Floats, plain: Bools
) -> Bools:
    """Return the plain heights of a wall but those at the fillet of the tool that left it above.

    A floor pass may have cut into that fillet, and left a strip of another allowance in it.
    """
    k = np.flatnonzero(plain)
    if not len(k):
        return plain
    origin = np.repeat(place.tip, len(k), axis=0)
    origin[:, 2] += height[k]
    way = np.repeat(walls.way(place)[:, side], len(k), axis=0)
    far = walls.tool(int(place.move[0])).cutting_radius
    metal = walls.before.rays(origin, way, done, far)
    first, z = metal.first(), origin[:, 2]
    maker = np.full(len(k), -1, np.int64)
    maker[first >= 0] = metal.enter_move[first[first >= 0]]
    fillet = np.zeros(len(k), bool)
    for move in np.unique(maker[maker >= 0]).tolist():
        foot = float(np.fmin(walls.moves.start[move, 2], walls.moves.end[move, 2]))
        top = foot + walls.edge(walls.tool(move)).widest_at
        fillet |= (maker != move) & (z > foot) & (z < top)
    if fillet.all():
        return plain
    rest = plain.copy()
    rest[k[fillet]] = False
    return rest


def _extent(walls: Walls, place: Places, side: int, height: Floats, stays: Bools) -> float:
    """Return from where to where a wall stays, mm; `height`, `stays` are levels of it."""
    from .walls import FINISHED, INSIDE

    done, ends = walls.done(int(walls.moves.pass_number[place.move[0]])), []
    for low in (True, False):
        k = int(np.flatnonzero(stays)[0 if low else -1])
        off = k + (-1 if low else 1)
        if not 0 <= off < len(stays):
            ends.append(float(height[k]) + (-INSIDE if low else INSIDE))
            continue
        on, away = float(height[k]), float(height[off])
        for _ in range(2 * HALVINGS):
            middle = 0.5 * (on + away)
            asked = np.full((1, 2, 1), np.nan)
            asked[0, side] = middle
            then = [walls.beside(place, count, 1, asked) for count in (done, len(walls.moves))]
            good = all(walls.on(place, beside, FINISHED)[0, side, 0] for beside in then)
            on, away = (middle, away) if good else (on, middle)
        ends.append(on)
    return ends[1] - ends[0]


def end_at(walls: Walls, visit: Visit, move: int, share: float) -> End:
    """Return any place of a visit, with all that is seen there."""
    what = (True, ALONG, move, share, move)
    return _end(walls, visit.pass_number, visit.side, what, int(visit.moves[0]))


def _stroke(walls: Walls, move: int) -> int:
    """Return the first move at feed of the stroke that a move is part of."""
    moves = walls.moves
    rapid = np.flatnonzero(moves.rapid[:move] | (moves.tool[:move] != moves.tool[move]))
    return int(rapid[-1]) + 1 if len(rapid) else 0


@dataclasses.dataclass(frozen=True)
class Faces:
    """A wall at places of a path, at some heights: arrays of shape (n, heights).

    Attributes
    ----------
    at : ndarray of float64, shape (n, heights, 3)
        On the wall, mm.
    stays, seen : ndarray of bool
        It is still there at the job's end, and part; an eye sees it.
    """

    at: Floats
    stays: Bools
    seen: Bools


def faces(walls: Walls, places: Places, side: int, height: Floats, on: Bools) -> Faces:
    """Return what becomes of a wall on one side, where the tool's side is `on` it.

    What is left of it over less than `LEAST_WALL` is a foot strip, and no wall.
    """
    from .walls import FINISHED

    n, levels = on.shape
    at, way = np.zeros((n, levels, 3)), walls.way(places)[:, side]
    stays, seen = np.zeros((n, levels), bool), np.zeros((n, levels), bool)
    if not on.any():
        return Faces(at, stays, seen)
    radius = walls.tool(int(places.move[0])).cutting_radius
    at[:] = (places.tip + radius * way)[:, None]
    at[..., 2] += np.nan_to_num(height)
    both = np.full((n, 2, levels), np.nan)
    both[:, side] = np.where(on, height, np.nan)
    last = walls.beside(places, len(walls.moves), levels, both).reach[:, side]
    with np.errstate(invalid="ignore"):
        stays = on & (np.abs(last - radius) < FINISHED)
    ways = np.repeat(way[:, None], levels, axis=1)
    stays[stays] = walls.is_part(at[stays], ways[stays])
    high = np.where(stays, height, -np.inf).max(axis=1)
    low = np.where(stays, height, np.inf).min(axis=1)
    stays &= (high - low > LEAST_WALL)[:, None]
    seen[stays] = walls.seen(at[stays], ways[stays])
    return Faces(at, stays, seen)


def _overlap(walls: Walls, moves: Ints, first: End, last: End) -> tuple[float | None, bool]:
    """Return how far a closed path runs on past its start, mm, and if that is a corner.

    None: it is not closed.
    """
    from ..contour import Piece

    start, begun = first.tip, _ways(walls, moves[:1], np.array([first.share]))[0]
    table, lengths = walls.moves, walls.lengths[moves].copy()
    lengths[-1] *= last.share
    after = float(lengths.sum() - lengths[0])
    for k, move in enumerate(moves.tolist()):
        if k == 0 or lengths[k] <= 0:
            continue
        after -= float(lengths[k])
        a, b, c = (
            (float(v[move, 0]), float(v[move, 1])) for v in (table.start, table.end, table.center)
        )
        piece = Piece(a, b, c, float(table.turn[move]))
        high = last.share if move == last.move else 1.0
        share = min(piece.part_of(start[:2]), high)
        near = math.dist(piece.at(share), start[:2]) < AT_ONE
        if near and abs(table.end[move, 2] - start[2]) < SAME_LEVEL and share > 0:
            ahead = _ways(walls, np.array([move]), np.array([share]))[0]
            if float(begun @ ahead) > -0.5:
                more = after + (high - share) / high * float(lengths[k])
                return round(max(0.0, more), 9), float(begun @ ahead) < math.cos(CORNER)
    return None, False
