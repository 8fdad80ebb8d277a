"""Where a ball nose or fillet pass meets the faces beside it: too low, too high, or off the wall.

A ball nose (or a bull whose corner steps down a fillet) should run out into floor and wall
tangent. [blend-step] compares, along its outermost path on each side, the face that another
pass left with the lowest point of the ball's trace there, square to the face:

- low by e, the ball digs a groove with a half width of sqrt(2 R e - e^2): 0.6 thou low, a
  ball of 3/16 in leaves a strip 21 thou wide that shines another way;
- high by e, metal stays proud beside the face.

Floor and wall are judged apart: an error of height shows on the floor, one of the side or of
the radius on the wall. On an inclined face (a chamfer's flank) the tool's lift by e moves the
trace by e cos(slope) square to it.

Size: face minus trace, square to the face. Exact.
Margins: `blend_step` 0.3 thou, a step that shows in the light; `blend_step_note` 0.1 thou, a
note. What is off by more than 10 thou is no blend but a depth of its own.

Silent: the ball's own scallops; a path as high above the face as its own cusps, or as the next
step would come down where the round meets the face at an angle; a groove that has the same face
on both sides (that is a groove, wanted); what a later pass cuts away; scrap; a corner radius
along a single wall ([wall-drags-floor] and [fillet-in-one-bite] judge it); raw faces.

Cure: the register in force (H; D on a wall) or the work zero whose error makes it; else Z of the
pass up or down by e, or its side allowance by e.

Source: sqrt(2 R e - e^2) is the half chord of a circle of R at the depth e, derived; margins
are common practice, no source.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..units import say_fine
from .base import THOU, Change, Finding, Margin, Rule, Severity
from .paths_beside import FITS, STEP, fits_if_moved, paths_beside

if TYPE_CHECKING:
    from ..contact.stations import Places
    from .case import Case
    from .registers import Cause
    from .walls import Bools, Floats, Ints, Walls

__all__ = ["RULES"]

LIMIT: Final = 10 * THOU
"""A path further off a face than this has nothing to do with it."""
MOST: Final = 40_000
"""About as many stations of a pass are looked at."""
ASIDE: Final = (0.1, 0.2, 0.4, 0.7, 1.0, 1.4)
"""Places beside the ball's lowest point, as shares of its radius."""
UP: Final = (0.02, 0.5, 1.0)
"""Heights over the ball's centre at which a wall is looked for, as shares of its radius."""
LEVEL: Final = 0.002
"""Sine of the angle of a path or a face that still counts as level or upright."""
SAME: Final = 1e-6
LEVELS: Final = 3
ASLANT: Final = 0.1
"""Levels down a fillet lie aside by more than this share of their step in height."""
NEAREST: Final = 32
"""Stations looked at beside each."""
BLOCK: Final = 4096
"""Faces looked at at once."""


@dataclasses.dataclass(frozen=True)
class _Ball:
    """The round of a pass's tool: how far off the axis its centre is, its height and radius."""

    off: float
    up: float
    radius: float


@dataclasses.dataclass(frozen=True)
class _Meets:
    """Faces beside a pass: arrays of n.

    station : index; face: 0 floor, 1 wall, 2 slope; by: the pass and `row` the move that left it;
    e: face minus trace; key: tells one face of a pass from another; at, normal: of the face; side.
    """

    station: Ints
    face: Ints
    by: Ints
    row: Ints
    e: Floats
    key: Ints
    at: Floats
    side: Ints
    normal: Floats


FLOOR, WALL, SLOPE = 0, 1, 2
FACES: Final = ("floor", "wall", "inclined face")


def _find(case: Case) -> Iterable[Finding]:
    from .walls import walls_of

    walls = walls_of(case)
    for number in case.passes:
        moves = walls.of_pass(number)
        ball = _ball(walls, number, moves)
        if ball is None:
            continue
        places = walls.stations(moves)
        places = places[:: max(1, math.ceil(len(places) / MOST))]
        if not len(places):
            continue
        meets = _meets(walls, number, places, ball)
        for face in (FLOOR, WALL, SLOPE):
            finding = _worst(case, walls, number, places, ball, meets, face)
            if finding is not None:
                yield finding


def _ball(walls: Walls, number: int, moves: Ints) -> _Ball | None:
    """Return the round of a pass's tool; None: it makes no fillet."""
    tool = walls.case.tool_of(number)
    edge = walls.edge(tool)
    if tool.undercut or edge.corner is None:
        return None
    off, up, radius = edge.corner
    if edge.flat > 0 and not _steps_down(walls, moves, radius):
        return None
    return _Ball(off, up, radius)


def _steps_down(walls: Walls, moves: Ints, radius: float) -> bool:
    """Whether level paths follow each other down and aside in steps under a corner's radius.

    A rougher's levels lie one under the other, but for an allowance.
    """
    from scipy.spatial import cKDTree

    table = walls.moves[moves]
    level = ~table.rapid & (np.abs(table.end[:, 2] - table.start[:, 2]) < SAME)
    level &= ~walls.upright[moves]
    z, of = np.unique(np.round(table.end[level, 2], 6), return_inverse=True)
    if len(z) < LEVELS or float(np.diff(z).max()) >= radius:
        return False
    ends = [table.end[level, :2][of == k] for k in range(len(z))]
    aside = [
        float(np.median(cKDTree(above).query(here)[0]))
        for here, above in itertools.pairwise(ends)
    ]  # fmt: skip
    return float(np.mean(np.array(aside) > ASLANT * np.diff(z))) >= 0.5


# ------------------------------------------------------------------------------------- measuring


def _meets(walls: Walls, number: int, places: Places, ball: _Ball) -> _Meets:
    parts = [
        found
        for side in (0, 1)
        for found in (
            _below(walls, number, places, ball, side),
            _beside(walls, number, places, ball, side),
        )
    ]
    joined = _Meets(*(
        np.concatenate([getattr(p, f.name) for p in parts]) for f in dataclasses.fields(_Meets)
    ))  # fmt: skip
    joined = _pick(joined, ~_grooves(joined))
    return _pick(joined, _outermost(walls, places, ball, joined))


def _pick(meets: _Meets, which: Bools | Ints) -> _Meets:
    return _Meets(*(getattr(meets, f.name)[which] for f in dataclasses.fields(_Meets)))


def _grooves(meets: _Meets) -> Bools:
    """Return the faces that lie on both sides of a path, as far off: it runs in a groove."""
    low = meets.face != WALL
    both = [
        {(int(s), int(b), int(k)) for s, b, k in zip(
            meets.station[m], meets.by[m], meets.key[m], strict=True
        )}
        for m in (low & (meets.side == 0), low & (meets.side == 1))
    ]  # fmt: skip
    twice = both[0] & both[1]
    rows = zip(meets.station.tolist(), meets.by.tolist(), meets.key.tolist(), strict=True)
    return np.array([bool(f) and row in twice for f, row in zip(low, rows, strict=True)], bool)


def _lateral(walls: Walls, places: Places, side: int) -> Floats:
    way: Floats = walls.way(places)[:, side]
    return way


def _slopes(walls: Walls, places: Places) -> Floats:
    """Return the rise of the path at each station for its length."""
    moves = walls.moves
    rise = moves.end[places.move, 2] - moves.start[places.move, 2]
    length = np.maximum(walls.lengths[places.move], 1e-12)
    slope: Floats = rise / length
    return slope


def _below(walls: Walls, number: int, places: Places, ball: _Ball, side: int) -> _Meets:
    """Return floors and slopes beside the lowest point of the ball, as the job leaves them."""
    way = _lateral(walls, places, side)
    share = np.array(ASIDE) * ball.radius
    both = np.concatenate([share, -share[:3], [0.0]]) + ball.off
    at = places.tip[:, None] + both[None, :, None] * way[:, None]
    x, y = (np.ascontiguousarray(at[..., k].ravel()) for k in (0, 1))
    last = len(walls.moves)
    top, owner = walls.before.columns(x, y, np.full(len(x), last))
    by = walls.before.pass_of_row(owner).reshape(at.shape[:2])
    own = (by == number).any(axis=1)
    top, owner = top.reshape(by.shape), owner.reshape(by.shape)
    outer = np.zeros(by.shape, bool)
    outer[:, : len(share)] = True
    near = outer & own[:, None] & (by > 0) & (by != number)
    near &= np.abs(top - places.tip[:, 2:]) < 2 * ball.radius
    at[..., 2] = np.where(np.isfinite(top), top, 0.0)
    k, j = np.nonzero(near & walls.in_part(at))
    spots = at[k, j]
    normal, label, maker = _faces_under(walls, spots)
    center = places.tip[k] + ball.off * way[k] + np.array([0.0, 0.0, ball.up])
    e = ball.radius - (normal * (center - spots)).sum(axis=1)
    slope = _slopes(walls, places)[k]
    ahead = np.concatenate([places.way[k] * np.sqrt(1 - slope**2)[:, None], slope[:, None]], axis=1)
    across = np.abs((normal * ahead).sum(axis=1)) < LEVEL
    flat = normal[:, 2] > 1 - 1e-9
    inclined = (normal[:, 2] < math.cos(LEVEL)) & (normal[:, 2] > LEVEL)
    good = (np.abs(e) < LIMIT) & across & ((flat & (label == 0)) | (inclined & (label == 2)))
    good &= walls.is_part(spots, -normal)
    key = np.round(np.where(flat, spots[:, 2], normal[:, 2]) * 1e5).astype(np.int64)
    key += np.where(flat, 0, 10**9 * (1 + _sector(normal)))
    face = np.where(flat, FLOOR, SLOPE)
    made = walls.before.pass_of_move(maker)
    rows = _Meets(
        k, face, made.astype(np.int64), maker.astype(np.int64), e, key, spots,
        np.full(len(k), side), normal,
    )  # fmt: skip
    return _pick(rows, good & (made != number) & (made > 0))


def _sector(normal: Floats) -> Ints:
    """Return which of eight ways faces look in plan."""
    turned = np.arctan2(normal[:, 1], normal[:, 0]) * 4 / math.pi
    sector: Ints = np.round(turned).astype(np.int64) % 8
    return sector


def _faces_under(walls: Walls, spots: Floats) -> tuple[Floats, Ints, NDArray[np.int32]]:
    """Return normals, labels and makers of the faces on which places lie, seen from above."""
    high = float(walls.before.stock.high[2]) + 1.0
    normal, label = np.tile((0.0, 0.0, 1.0), (len(spots), 1)), np.full(len(spots), -1, np.int64)
    maker = np.full(len(spots), -1, np.int32)
    if len(spots):
        origin = spots.copy()
        origin[:, 2] = high
        metal = walls.before.rays(origin, np.array([0.0, 0.0, -1.0]), len(walls.moves), np.inf)
        first = metal.first()
        some = first >= 0
        normal[some] = np.nan_to_num(metal.enter_normal[first[some]])
        label[some] = metal.enter_label[first[some]]
        maker[some] = metal.enter_move[first[some]]
    return normal, label, maker


def _beside(walls: Walls, number: int, places: Places, ball: _Ball, side: int) -> _Meets:
    """Return walls beside the ball, at and over the height of its centre."""
    way = _lateral(walls, places, side)
    out = places.tip + (ball.off + ball.radius + LIMIT + SAME) * way
    x, y = np.ascontiguousarray(out[:, 0]), np.ascontiguousarray(out[:, 1])
    top, _ = walls.before.columns(x, y, np.full(len(x), len(walls.moves)))
    up = ball.up + np.array(UP) * ball.radius
    k, j = np.nonzero(top[:, None] > places.tip[:, 2:] + up)
    origin = places.tip[k] + ball.off * way[k]
    origin[:, 2] += up[j]
    far = ball.radius + 2 * LIMIT
    metal = walls.before.rays(origin, way[k], len(walls.moves), far) if len(k) else None
    if metal is None:
        none, empty = np.zeros(0, np.int64), np.zeros((0, 3))
        return _Meets(none, none, none, none, np.zeros(0), none, empty, none, empty)
    first = metal.first()
    some = first >= 0
    k, origin, first = k[some], origin[some], first[some]
    normal, distance = np.nan_to_num(metal.enter_normal[first]), metal.enter[first]
    maker = metal.enter_move[first]
    by = walls.before.pass_of_move(maker)
    at = origin + distance[:, None] * way[k]
    center = places.tip[k] + ball.off * way[k] + np.array([0.0, 0.0, ball.up])
    e = ball.radius - (normal * (center - at)).sum(axis=1)
    good = (by > 0) & (by != number) & (np.abs(e) < LIMIT) & (metal.enter_label[first] == 2)
    good &= (np.abs(normal[:, 2]) < LEVEL) & walls.in_part(at)
    ahead = np.concatenate([places.way[k], np.zeros((len(k), 1))], axis=1)
    good &= np.abs((normal * ahead).sum(axis=1)) < LEVEL
    good &= walls.is_part(at, -normal) & _touched(walls, number, places[k], ball)
    key = _sector(normal)
    rows = _Meets(
        k, np.full(len(k), WALL), by.astype(np.int64), maker.astype(np.int64), e, key, at,
        np.full(len(k), side), normal,
    )  # fmt: skip
    return _pick(rows, good)


def _touched(walls: Walls, number: int, places: Places, ball: _Ball) -> Bools:
    """Return where something of what the ball left is there at the end of the job."""
    own = np.zeros(len(places), bool)
    for side in (0, 1):
        way = _lateral(walls, places, side)
        for share in (0.0, 0.3, 0.7):
            at = places.tip + (ball.off + share * ball.radius) * way
            x, y = np.ascontiguousarray(at[:, 0]), np.ascontiguousarray(at[:, 1])
            _, owner = walls.before.columns(x, y, np.full(len(x), len(walls.moves)))
            own |= walls.before.pass_of_row(owner) == number
    return own


# ------------------------------------------------------------------------------------- what it says


def _worst(
    case: Case, walls: Walls, number: int, places: Places, ball: _Ball, meets: _Meets, face: int
) -> Finding | None:
    """Return the finding of one kind of face: the worst of the faces of all passes; or None."""
    mine = _pick(meets, meets.face == face)
    best: tuple[float, int] | None = None
    groups = np.stack([mine.by, mine.key], axis=1)
    for group in np.unique(groups, axis=0):
        index = np.flatnonzero((groups == group).all(axis=1))
        # The outermost path: where the trace reaches deepest.
        k = int(index[np.argmax(mine.e[index] > mine.e[index].max() - 1e-9)])
        e = float(mine.e[k])
        corner = bool(((meets.station == mine.station[k]) & (meets.face != face)).any())
        if e < 0 and -e <= _own(walls, places, mine, k, ball, corner) + SAME:
            continue
        if best is None or abs(e) > abs(best[0]):
            best = e, k
    if best is None or abs(best[0]) < case.margin("blend_step_note") - SAME:
        return None
    return _finding(case, walls, number, places, ball, mine, best[1])


def _outermost(walls: Walls, places: Places, ball: _Ball, meets: _Meets) -> Bools:
    """Return the faces to which no path beside comes nearer: there the round ends."""
    ends = np.ones(len(meets.e), bool)
    if not len(ends):
        return ends
    from scipy.spatial import cKDTree

    tree, many = cKDTree(places.tip), min(NEAREST, len(places))
    for low in range(0, len(ends), BLOCK):
        rows = slice(low, low + BLOCK)
        k = meets.station[rows]
        other = np.asarray(tree.query(places.tip[k], k=many)[1], np.int64).reshape(len(k), many)
        off, beside = paths_beside(walls, places, k, other, ball.radius)
        nearer = (off * meets.normal[rows, None]).sum(axis=2) < -SAME
        ends[rows] = ~(nearer & beside).any(axis=1)
    return ends


def _own(walls: Walls, places: Places, meets: _Meets, row: int, ball: _Ball, corner: bool) -> float:
    """Return how far a path may be off a face for its steps' sake, mm: its own cusp.

    Where its steps come down on the face at a slope, the step that is left; not in a corner, where
    the round ends on another face at the same time.
    """
    k, normal = meets.station[row : row + 1], meets.normal[row]
    out = _lateral(walls, places[k], int(meets.side[row]))[0]
    every = np.arange(len(places))[None]
    off, beside = (v[0] for v in paths_beside(walls, places, k, every, ball.radius))
    step = np.sqrt((off**2).sum(axis=1))
    inner = np.flatnonzero(beside & (off @ out < STEP))
    if not len(inner):
        return 0.0
    first = int(inner[np.argmin(step[inner])])
    cusp = ball.radius - math.sqrt(ball.radius**2 - (step[first] / 2) ** 2)
    further = inner[step[inner] > 1.5 * step[first]]
    if corner or not len(further):
        return cusp
    second = int(further[np.argmin(step[further])])
    one, two = float(off[first] @ normal), float(off[second] @ normal)
    left = one - ((two - one) - one)  # what one more step would come down
    return max(cusp, left)


def _alone(walls: Walls, places: Places, ball: _Ball, meets: _Meets, row: int) -> bool:
    """Whether only the path there is off, not its whole pass: other faces or paths tell.

    Others of its pass are right on their faces; or they lie on one round, and it does not.
    """
    e, station = float(meets.e[row]), int(meets.station[row])
    if (np.abs(meets.e) < FITS * abs(e)).any():
        return True
    k = np.array([station])
    out = _lateral(walls, places[k], int(meets.side[row]))[0]
    every = np.arange(len(places))[None]
    off, beside = (v[0] for v in paths_beside(walls, places, k, every, ball.radius))
    inner = beside & (off @ out < STEP)
    paths = np.stack([off @ out, off[:, 2]], axis=1)[inner]
    return fits_if_moved(paths, e / float(meets.normal[row, 2]), e)


def _at_line(case: Case, move: int, change: Change) -> Change:
    """Return a change of the height of a whole pass as one of the line of a level move alone."""
    from .taken import z_line, z_word

    z = float(case.moves.end[move, 2])
    if z != case.moves.start[move, 2]:
        return change
    after = z + (change.after if isinstance(change.after, float) else 0.0)
    what = change.what.replace(", added", f", line {z_line(case, move)}")
    return Change(what, z_word(case, move, z), z_word(case, move, after))


def _severity(case: Case, e: float) -> Severity:
    """Return how bad a step is: where the job doesn't say what is part it may be scrap."""
    if abs(e) < case.margin("blend_step") - SAME:
        return "note"
    return "watch" if case.job.spec.part is None else "spoils"


def _finding(
    case: Case, walls: Walls, number: int, places: Places, ball: _Ball, meets: _Meets, k: int
) -> Finding:
    e, face, other = float(meets.e[k]), int(meets.face[k]), int(meets.by[k])
    station = int(meets.station[k])
    move = int(walls.before.of[places.move[station]])
    alike = np.abs(meets.e - e) < SAME
    moves = np.unique(walls.before.of[places.move[meets.station[alike]]])
    unit, what = case.unit, FACES[face]
    if e > 0:
        width = 2 * math.sqrt(2 * ball.radius * e - e * e)
        text = f"the round digs {say_fine(e, unit)} into the {what} of pass {other} "
        text += f"(tool {case.passes[other].tool}): a groove {say_fine(width, unit)} wide"
    else:
        text = f"the round stays {say_fine(-e, unit)} off the {what} of pass {other} "
        text += f"(tool {case.passes[other].tool}): metal stays proud beside it"
    cause = _cause(case, meets, k, (int(walls.before.of[meets.row[k]]), move))
    change = cause.change if cause else _change(case, move, e, face, float(meets.normal[k, 2]))
    if change.what == f"Z of pass {number}, added" and _alone(walls, places, ball, meets, k):
        change = _at_line(case, move, change)
    x, y, z = meets.at[k].tolist()
    return Finding(
        rule="blend-step", tool=case.passes[number].tool, pass_number=number,
        severity=_severity(case, e),
        lines=case.lines_of(moves), at=(x, y, z), size=abs(e), text=text,
        why="a strip along the fillet catches the light", change=change, other_pass=other,
        then=f"the fillet runs out tangent into the {what}" + (cause.with_words if cause else ""),
    )  # fmt: skip


def _cause(case: Case, meets: _Meets, k: int, moves: tuple[int, int]) -> Cause | None:
    """Return the register that makes a step, of the face's move or the round's; None: neither."""
    from .registers import apart, cause_of, shares_of

    (x, y, z), (nx, ny, nz) = meets.at[k].tolist(), meets.normal[k].tolist()
    shares = apart(*(shares_of(case, move, (x, y, z), (nx, ny, nz)) for move in moves))
    e = float(meets.e[k])
    return cause_of(case, shares, e, lambda left: abs(left) < abs(e) / 2)


def _change(case: Case, move: int, e: float, face: int, cosine: float) -> Change:
    """Return the change of the height or the side of the pass."""
    from .own_values import own_value

    number = int(case.moves.pass_number[move])
    key, word = ("allowance_side", "side allowance") if face == WALL else ("allowance_bottom", "Z")
    by = e if face == WALL else e / cosine
    own = own_value(case, number, key)
    if own is not None:
        return Change(f"{key} of pass {number}", float(own[1]), float(own[1]) + by)
    return Change(f"{word} of pass {number}, added", 0.0, by)


RULES: Final = (
    Rule(
        {"blend-step": "A step where a ball nose or fillet pass meets its neighbours"},
        _find,
        (
            Margin("blend_step", 0.3 * THOU, "a step of a fillet that shows in the light"),
            Margin("blend_step_note", 0.1 * THOU, "a smaller step of a fillet, a note"),
        ),
    ),
)
