"""First contact of a point or a ball with the metal: a touch probe, a height gauge.

A ball of radius r that moves along a direction meets the metal first at that offset (u, v) from
its axis, u^2 + v^2 < r^2, where the way of a ray to the metal less the bulge of the ball,
sqrt(r^2 - u^2 - v^2), is least. Offsets are given by two angles, u = r sin(psi) and
v = r cos(psi) sin(theta): the bulge r cos(psi) cos(theta) then has no steep rim. The least way is
searched for over theta at each psi and, of those, over psi: in one variable an edge of the metal
is a jump whose better side is closed in on, whereas in the plane of (u, v) it is a line along
which a shrinking square would lose its way.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput
from .pieces import LABELS
from .units import MM_PER, Unit

if TYPE_CHECKING:
    from .job import Job
    from .rays import Metal

__all__ = ["DOWN", "Contacts", "Probed", "Target", "contacts", "made_by", "probe"]

Floats = NDArray[np.float64]
Ask = Callable[[Floats, Floats], "Metal"]
"""Origins and directions, shape (n, 3), mm, to what is left on those rays."""
Search = Callable[[NDArray[np.int64], Floats], Floats]

DOWN: Final = (0.0, 0.0, -1.0)
BACK: Final = 1e-6
"""Rays begin this far behind, mm, so that a start that touches the metal is not taken for one
inside it."""
TOUCH: Final = 1e-8
"""Overlap at the start, mm, that is still a touch."""
RIM: Final = 1e-8
"""Offsets nearer than this to the ball's radius, mm, are not looked at: a ball that slides along
a wall is not held by it."""
FINE: Final = 1e-10
"""Places are closed in on to this, mm, or until the way differs by less than `LEVEL`."""
LEVEL: Final = 1e-11
APART: Final = 0.1
"""Distance of the first offsets tried, mm: a ridge as narrow that lies between them is missed."""
FEWEST, MOST = 33, 129
"""Offsets tried first in each of the two angles."""
BASINS: Final = 3
"""Lows among them that are followed."""
STEPS: Final = 9
"""Places tried at once inside a bracket; the bracket then shrinks to a fifth."""
AT_ONCE: Final = 600_000
"""Rays asked for at once."""


@dataclasses.dataclass(frozen=True)
class Target:
    """A place to probe, mm.

    Attributes
    ----------
    x, y : float
        Where the stylus starts.
    z : float or None
        None: clear of the stock, which takes a direction along Z.
    toward : tuple of float
        Direction in which it moves, any length over 0.
    name : str
        What the person calls it; may be empty.
    """

    x: float
    y: float
    z: float | None = None
    toward: tuple[float, float, float] = DOWN
    name: str = ""


@dataclasses.dataclass(frozen=True)
class Contacts:
    """First contacts; arrays over the places probed.

    Attributes
    ----------
    way : ndarray of float64, shape (n,)
        How far the stylus moves, mm; infinite where it meets nothing, NaN where it starts inside
        the metal.
    center, touch : ndarray of float64, shape (n, 3)
        The ball's centre at the contact, and where it touches, mm; NaN without a contact.
    normal : ndarray of float64, shape (n, 3)
        From the touch to the ball's centre; for a point, of the surface, out of the metal.
    move : ndarray of int32, shape (n,)
        The move that left what is touched; below 0 none.
    label : ndarray of int8, shape (n,)
        Index into `pieces.LABELS` of the part of the tool that left it; -1 none.
    """

    way: Floats
    center: Floats
    touch: Floats
    normal: Floats
    move: NDArray[np.int32]
    label: NDArray[np.int8]


@dataclasses.dataclass(frozen=True)
class _First:
    """Where rays meet metal: way (inf: never, -inf: they begin in it), and what made it."""

    way: Floats
    move: NDArray[np.int32]
    label: NDArray[np.int8]
    normal: Floats


def _first(ask: Ask, origins: Floats, directions: Floats) -> _First:
    """Return the first metal on rays; what begins less than `BACK` behind counts as a touch."""
    metal = ask(origins - BACK * directions, directions)
    k, end = metal.offsets[:-1].copy(), metal.offsets[1:]
    some = np.flatnonzero(k < end)
    # Metal that ends right at the origin is behind a start that only touches it.
    behind = np.zeros(len(k), bool)
    behind[some] = (metal.enter_move[k[some]] == -2) & (metal.leave[k[some]] <= BACK + TOUCH)
    k += behind
    some = np.flatnonzero(k < end)
    k = k[some]
    n = len(origins)
    way, move = np.full(n, np.inf), np.full(n, -2, np.int32)
    label, normal = np.full(n, -1, np.int8), np.full((n, 3), np.nan)
    way[some] = np.where(metal.enter_move[k] == -2, -np.inf, metal.enter[k] - BACK)
    move[some], label[some] = metal.enter_move[k], metal.enter_label[k]
    normal[some] = metal.enter_normal[k]
    return _First(way, move, label, normal)


def contacts(ask: Ask, starts: Floats, directions: Floats, radius: float = 0.0) -> Contacts:
    """Return the first contact from each start along its direction.

    Parameters
    ----------
    ask : callable
        Origins and directions to the metal on those rays.
    starts, directions : ndarray of float64, shape (n, 3)
        The ball's centre at the start, mm, and unit vectors.
    radius : float
        Of the ball, mm; 0: a point.

    Notes
    -----
    A way is found to 1e-8 mm. A ridge of the metal narrower than `APART` (a 129th of half the
    ball's girth for a ball of over 4 mm) may be missed where it lies between offsets tried.
    """
    if radius <= 0:
        hit = _first(ask, starts, directions)
        way = np.where(hit.way == -np.inf, np.nan, np.maximum(hit.way, 0.0))
        return _contacts(starts, directions, 0.0, way, directions, hit)
    size = max(1, AT_ONCE // _count(radius) ** 2)
    parts = [
        _ball(ask, starts[k : k + size], directions[k : k + size], radius)
        for k in range(0, len(starts), size)
    ]
    names = [f.name for f in dataclasses.fields(Contacts)]
    return Contacts(**{n: np.concatenate([getattr(p, n) for p in parts]) for n in names})


def _contacts(
    starts: Floats, directions: Floats, radius: float, way: Floats, bulge: Floats, hit: _First
) -> Contacts:
    """Return contacts; `bulge` is the unit vector from the ball's centre to the touch."""
    met = np.isfinite(way)
    center = np.where(met[:, None], starts + np.where(met, way, 0.0)[:, None] * directions, np.nan)
    touch = center + radius * bulge
    normal = -bulge if radius > 0 else hit.normal
    normal = np.where(met[:, None], normal, np.nan) + 0.0
    move, label = np.where(met, hit.move, -2), np.where(met, hit.label, -1)
    return Contacts(
        way, center + 0.0, touch + 0.0, normal, move.astype(np.int32), label.astype(np.int8)
    )


def _count(radius: float) -> int:
    """Return the offsets tried first in each angle: an odd number."""
    return int(min(MOST, max(FEWEST, math.ceil(math.pi * radius / APART)))) | 1


class _Ball:
    """The way to contact of balls at given offsets."""

    def __init__(self, ask: Ask, starts: Floats, directions: Floats, radius: float) -> None:
        self.ask, self.starts, self.d, self.radius = ask, starts, directions, radius
        self.e1, self.e2 = _across(directions)
        # 1 - cos(edge) = RIM / radius
        self.edge = math.pi / 2 - math.sqrt(2 * min(RIM / radius, 0.1))
        self.grid = np.linspace(-self.edge, self.edge, _count(radius))

    def bulge(self, row: NDArray[np.int64], psi: Floats, theta: Floats) -> tuple[Floats, Floats]:
        """Return unit vectors from centres to points of the front half, and their way forward."""
        u, v = np.sin(psi), np.cos(psi) * np.sin(theta)
        w = np.cos(psi) * np.cos(theta)
        across = u[:, None] * self.e1[row] + v[:, None] * self.e2[row]
        return across + w[:, None] * self.d[row], w

    def first(self, row: NDArray[np.int64], psi: Floats, theta: Floats) -> _First:
        """Return the way of each ball until that point of its front meets metal."""
        front, w = self.bulge(row, psi, theta)
        d = self.d[row]
        hit = _first(self.ask, self.starts[row] + self.radius * (front - 2 * w[:, None] * d), d)
        return dataclasses.replace(hit, way=hit.way - 2 * self.radius * w)

    def way(self, row: NDArray[np.int64], psi: Floats, theta: Floats) -> Floats:
        """Return the way alone, asking for not too many rays at once."""
        parts = [
            self.first(row[k : k + AT_ONCE], psi[k : k + AT_ONCE], theta[k : k + AT_ONCE]).way
            for k in range(0, len(row), AT_ONCE)
        ]
        return np.concatenate(parts) if parts else np.empty(0)

    def over_theta(self, row: NDArray[np.int64], psi: Floats) -> tuple[Floats, Floats]:
        """Return the least way at each psi, and its theta."""
        n, m = len(row), len(self.grid)
        every = self.way(np.repeat(row, m), np.repeat(psi, m), np.tile(self.grid, n))
        who, place, best = _lows(every.reshape(n, m), self.grid, 2)

        def at(k: NDArray[np.int64], theta: Floats) -> Floats:
            return self.way(row[who[k]], psi[who[k]], theta)

        place, best = _close_in(at, place, best, self.grid[1] - self.grid[0], self.edge,
                                FINE / self.radius, LEVEL)  # fmt: skip
        least, theta = _least(who, place, best, n)
        least[(every.reshape(n, m) == -np.inf).any(axis=1)] = -np.inf
        return least, theta


def _ball(ask: Ask, starts: Floats, directions: Floats, radius: float) -> Contacts:
    """Return first contacts of a ball over a few starts."""
    ball = _Ball(ask, starts, directions, radius)
    n, m = len(starts), len(ball.grid)
    rows, psis = np.repeat(np.arange(n), m), np.tile(ball.grid, n)
    every = ball.over_theta(rows, psis)[0].reshape(n, m)
    inside = (every < -TOUCH).any(axis=1)
    every[inside] = np.inf
    who, place, best = _lows(every, ball.grid, BASINS)

    def at(k: NDArray[np.int64], psi: Floats) -> Floats:
        return ball.over_theta(who[k], psi)[0]

    place, best = _close_in(at, place, best, ball.grid[1] - ball.grid[0], ball.edge,
                            FINE / radius, 10 * LEVEL)  # fmt: skip
    way, psi = _least(who, place, best, n)
    row = np.arange(n)
    theta = ball.over_theta(row, psi)[1]
    hit = ball.first(row, psi, theta)
    inside |= (way < -TOUCH) & (way > -np.inf)
    way = np.where(inside, np.nan, np.maximum(way, 0.0))
    return _contacts(starts, directions, radius, way, ball.bulge(row, psi, theta)[0], hit)


def _across(directions: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors across each direction, along axes where that can be."""
    least = np.argmin(np.abs(directions) - 1e-12 * np.array([2.0, 1.0, 0.0]), axis=1)
    e1 = np.eye(3)[least]
    e1 = e1 - np.einsum("ij,ij->i", e1, directions)[:, None] * directions
    e1 /= np.linalg.norm(e1, axis=1)[:, None]
    return e1, np.cross(directions, e1)


def _lows(values: Floats, places: Floats, most: int) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return the lowest lows of each row: row, place and value; one of a level stretch."""
    padded = np.pad(values, ((0, 0), (1, 1)), constant_values=np.inf)
    low = (values < padded[:, :-2]) & (values <= padded[:, 2:]) & np.isfinite(values)
    # A level bottom that begins at a jump down counts once, at its first place.
    ranked = np.where(low, values, np.inf)
    order = np.argsort(ranked, axis=1, kind="stable")[:, :most]
    row = np.repeat(np.arange(len(values)), order.shape[1])
    k = order.ravel()
    kept = np.isfinite(ranked[row, k])
    row, k = row[kept], k[kept]
    return row, places[k], values[row, k]


def _close_in(
    at: Search, place: Floats, best: Floats, reach: float, edge: float, fine: float, level: float
) -> tuple[Floats, Floats]:
    """Close in on lows, each within `reach` of its place: places and values.

    A bracket is left when it is `fine`, or when all values in it agree within `level`.
    """
    place, best = place.copy(), best.copy()
    open_ = np.arange(len(place))
    share = np.linspace(-1.0, 1.0, STEPS + 2)
    while len(open_) and reach > fine:
        tried = np.clip(place[open_, None] + reach * share, -edge, edge)
        values = at(np.repeat(open_, STEPS + 2), tried.ravel()).reshape(tried.shape)
        k = np.argmin(values, axis=1)
        row = np.arange(len(open_))
        lower = values[row, k] < best[open_]
        place[open_[lower]] = tried[row, k][lower]
        best[open_[lower]] = values[row, k][lower]
        span = values.max(axis=1) - values.min(axis=1)
        with np.errstate(invalid="ignore"):
            open_ = open_[~(span <= level)]
        reach *= 2.0 / (STEPS + 1)
    return place, best


def _least(who: NDArray[np.int64], place: Floats, best: Floats, n: int) -> tuple[Floats, Floats]:
    """Return value and place of the lowest low of each of n rows; infinite and 0 without one."""
    value, where = np.full(n, np.inf), np.zeros(n)
    order = np.lexsort((best, who))
    rows, first = np.unique(who[order], return_index=True)
    value[rows], where[rows] = best[order[first]], place[order[first]]
    return value, where


# ----------------------------------------------------------------------------------------- of a job


@dataclasses.dataclass(frozen=True)
class Probed:
    """The outcome of `probe`; lengths in mm, `as_dict` in the job's unit.

    Attributes
    ----------
    unit : {'in', 'mm'}
    stylus : float
        Diameter of the ball, mm; 0: a point.
    targets : tuple of Target
        As asked, in order; `starts` and `directions` (n, 3) are what became of them.
    found : Contacts
    rows : tuple of dict
        pass, line, tool, part_of_tool of each contact.
    """

    unit: Unit
    stylus: float
    targets: tuple[Target, ...]
    starts: Floats
    directions: Floats
    found: Contacts
    rows: tuple[dict[str, Any], ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers in the job's unit, ready for JSON."""
        per = MM_PER[self.unit]
        return {
            "unit": self.unit,
            "stylus": self.stylus / per,
            "points": [self._point(k) for k in range(len(self.targets))],
        }

    def read(self) -> Floats:
        """Return the places as read, mm, shape (n, 3): the centre and the radius beyond it."""
        return self.found.center + 0.5 * self.stylus * self.directions + 0.0

    def _point(self, k: int) -> dict[str, Any]:
        per, found, row = MM_PER[self.unit], self.found, self.rows[k]
        x, y, z = _plain(self.read()[k], per)
        return {
            "x": x,
            "y": y,
            "z": z,
            "pass": row["pass"],
            "line": row["line"],
            "part_of_tool": row["part_of_tool"],
            "tool": row["tool"],
            "name": self.targets[k].name or None,
            "at": _plain(self.starts[k], per),
            "toward": _plain(self.directions[k], 1.0),
            "distance": _plain(found.way[k : k + 1], per)[0],
            "center": _vector(found.center[k], per),
            "touch": _vector(found.touch[k], per),
            "normal": _vector(found.normal[k], 1.0),
            "note": self.note(k),
        }

    def note(self, k: int) -> str | None:
        """Return why a place has no contact, None where it has one."""
        if math.isnan(self.found.way[k]):
            return "starts inside the metal"
        return "meets nothing" if math.isinf(self.found.way[k]) else None


def _plain(values: Floats, per: float) -> list[float | None]:
    return [float(v) / per if math.isfinite(v) else None for v in values]


def _vector(values: Floats, per: float) -> list[float | None] | None:
    return _plain(values, per) if np.isfinite(values).all() else None


def probe(
    job: Job,
    targets: Sequence[Target],
    *,
    stylus: float = 0.0,
    as_of: str | int | None = None,
) -> Probed:
    """Return where a stylus first meets the metal, at each of many places.

    Parameters
    ----------
    job : Job
    targets : sequence of Target
    stylus : float
        Diameter of the ball, mm; 0: a point.
    as_of : str or int, optional
        Stop there; see `Job.count_as_of`.

    Raises
    ------
    BadInput
        A diameter below 0, a direction that points nowhere, a start without Z that is not along Z.
    """
    if not 0 <= stylus < math.inf:
        raise BadInput(f"a stylus of {stylus:g} mm: its diameter is 0, for a point, or more")
    count, radius = job.count_as_of(as_of), 0.5 * stylus
    low, high = job.stock.low[2], job.stock.high[2]
    clear = radius + (25.4 if job.unit == "in" else 25.0)
    directions = np.array([_unit(t) for t in targets]).reshape(-1, 3)
    heights = [_height(t, low - clear, high + clear) for t in targets]
    starts = np.array([(t.x, t.y, z) for t, z in zip(targets, heights, strict=True)])
    starts = starts.reshape(-1, 3)

    def ask(origins: Floats, toward: Floats) -> Metal:
        return job.rays(origins, toward, as_of=count)

    found = contacts(ask, starts, directions, radius)
    rows = tuple(made_by(job, int(m), int(n)) for m, n in zip(found.move, found.label, strict=True))
    return Probed(job.unit, stylus, tuple(targets), starts, directions, found, rows)


def made_by(job: Job, move: int, label: int) -> dict[str, Any]:
    """Return pass, line, tool and part of the tool that left a face; pass 0 is the raw stock.

    Parameters
    ----------
    job : Job
    move : int
        Index of the move; -1 the stock's own face, -2 none at all.
    label : int
        Index into `pieces.LABELS`.
    """
    part = LABELS[label] if move >= 0 and label >= 0 else None
    if move < 0:
        return {"pass": 0 if move == -1 else None, "line": None, "tool": None, "part_of_tool": None}
    moves = job.program.moves
    return {
        "pass": int(moves.pass_number[move]),
        "line": int(moves.line[move]) or None,
        "tool": int(moves.tool[move]),
        "part_of_tool": part,
    }


def _unit(target: Target) -> tuple[float, ...]:
    size = math.hypot(*target.toward)
    if not 1e-9 < size < math.inf:
        raise BadInput(
            f"a direction of {', '.join(f'{v:g}' for v in target.toward)} points nowhere; one of "
            "its numbers must not be 0"
        )
    return tuple(v / size + 0.0 for v in target.toward)


def _height(target: Target, below: float, above: float) -> float:
    if target.z is not None:
        return target.z
    dx, dy, dz = target.toward
    if dx or dy:
        raise BadInput(
            f"a direction of {dx:g},{dy:g},{dz:g} takes a start with its Z, as X,Y,Z; only "
            "straight down or up can begin clear of the stock by itself"
        )
    return above if dz < 0 else below
