"""Walls in plan and the passes along them: clearing in rows or rings, and one round on the wall."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator

from twins_plan import XY, Pen

Leg = tuple[XY, XY | None, bool]
"""The end of a line or an arc; the arc's center, and whether it turns counter-clockwise."""


def _unit(v: XY) -> XY:
    size = math.hypot(*v)
    return v[0] / size, v[1] / size


@dataclasses.dataclass(frozen=True)
class Way:
    """A path in plan."""

    start: XY
    legs: tuple[Leg, ...]

    def tangent(self, last: bool = False) -> XY:
        """Return which way it goes at its start, or at its end."""
        k = len(self.legs) - 1 if last else 0
        begin = self.legs[k - 1][0] if k else self.start
        end, center, ccw = self.legs[k]
        if center is None:
            return _unit((end[0] - begin[0], end[1] - begin[1]))
        at = end if last else begin
        x, y = at[0] - center[0], at[1] - center[1]
        return _unit((-y, x) if ccw else (y, -x))

    @property
    def end(self) -> XY:
        return self.legs[-1][0]

    def more(self, length: float) -> Way:
        """Return the closed path run on past its start by a length."""
        at, legs = self.start, list(self.legs)
        for end, center, ccw in self.legs:
            if length <= 1e-9:
                break
            long = _long(at, (end, center, ccw))
            share = min(1.0, length / long)
            legs.append((_along(at, (end, center, ccw), share), center, ccw))
            at, length = end, length - long
        return dataclasses.replace(self, legs=tuple(legs))

    def begun(self, near: XY) -> Way:
        """Return the closed path begun at its place nearest to there."""
        starts = [self.start, *(leg[0] for leg in self.legs)]
        spots = [
            (math.dist(_along(at, leg, share / 400), near), k, share / 400)
            for k, (at, leg) in enumerate(zip(starts, self.legs, strict=False))
            for share in range(401)
        ]
        _, k, share = min(spots)
        end, center, ccw = self.legs[k]
        cut = _along(starts[k], self.legs[k], share)
        rest = ((end, center, ccw),) if math.dist(cut, end) > 1e-6 else ()
        first = ((cut, center, ccw),) if math.dist(cut, starts[k]) > 1e-6 else ()
        return Way(cut, (*rest, *self.legs[k + 1 :], *self.legs[:k], *first))

    def length(self) -> float:
        starts = [self.start, *(leg[0] for leg in self.legs)]
        return sum(_long(at, leg) for at, leg in zip(starts, self.legs, strict=False))


def _turn(at: XY, leg: Leg) -> float:
    """Return by how much an arc turns, radians, signed."""
    end, center, ccw = leg
    assert center is not None
    a, b = (math.atan2(p[1] - center[1], p[0] - center[0]) for p in (at, end))
    return ((b - a) % math.tau or math.tau) if ccw else -((a - b) % math.tau or math.tau)


def _long(at: XY, leg: Leg) -> float:
    """Return how long a leg is."""
    if leg[1] is None:
        return math.dist(at, leg[0])
    return math.dist(at, leg[1]) * abs(_turn(at, leg))


def _along(at: XY, leg: Leg, share: float) -> XY:
    """Return the place at a share of a leg."""
    end, center, _ = leg
    if share >= 1:
        return end
    if center is None:
        return at[0] + share * (end[0] - at[0]), at[1] + share * (end[1] - at[1])
    x, y, a = at[0] - center[0], at[1] - center[1], share * _turn(at, leg)
    c, s = math.cos(a), math.sin(a)
    return center[0] + c * x - s * y, center[1] + s * x + c * y


def ring(half: XY, corner: float, at: float, ccw: bool) -> Way:
    """Return a rounded rectangle about the middle, from x = `at` on its front (low y).

    A circle is one whose corner is as large as both halves.
    """
    if not ccw:
        way = ring(half, corner, -at, True)
        legs = tuple(((-e[0], e[1]), c and (-c[0], c[1]), not d) for e, c, d in way.legs)
        return Way((-way.start[0], way.start[1]), legs)
    (a, b), q = half, corner
    legs: list[Leg] = []
    now = start = (at, -b)
    x, y = a - q, b - q
    for middle, first, second in (
        ((x, -y), (x, -b), (a, -y)), ((x, y), (a, y), (x, b)),
        ((-x, y), (-x, b), (-a, y)), ((-x, -y), (-a, -y), (-x, -b)),
    ):  # fmt: skip
        if math.dist(now, first) > 1e-9:
            legs.append((first, None, False))
        if q > 0:
            legs.append((second, middle, True))
        now = second
    if math.dist(now, start) > 1e-9:
        legs.append((start, None, False))
    return Way(start, tuple(legs))


@dataclasses.dataclass(frozen=True)
class Edge:
    """A straight wall along y = 0, metal below; tools run over x from -reach to reach."""

    reach: float
    far: float
    """How far the floor before it goes."""
    closed = False
    inside = False

    def way(self, off: float, climb: bool, at: float = 0.0) -> Way:
        x = self.reach if climb else -self.reach
        return Way((-x, off), (((x, off), None, False),))

    def rows(self, near: float, step: float, flat: float) -> list[float]:
        """Return how far off the wall rows run to clear the floor, the nearest last."""
        count = max(0, math.ceil((self.far - flat - near) / step))
        return [near + k * step for k in range(count, -1, -1)]


@dataclasses.dataclass(frozen=True)
class Ring:
    """A closed wall: of a boss (outside) or of a pocket (inside)."""

    half: XY
    corner: float
    inside: bool
    far: float = 0.0
    """Outside: how far the floor before it goes."""
    most_round: float = 0.0
    """Inside: corners of paths get no tighter than this."""
    closed = True

    @property
    def circle(self) -> bool:
        return self.corner >= max(self.half) - 1e-9

    def way(self, off: float, climb: bool, at: float = 0.0) -> Way:
        sign = -1.0 if self.inside else 1.0
        half = self.half[0] + sign * off, self.half[1] + sign * off
        corner = max(self.corner + sign * off, 0.0) if self.corner else 0.0
        if self.inside:  # rings further in are as round as there is room for
            corner = max(corner, min(self.most_round, min(half)))
        return ring(half, corner, at, climb == self.inside)

    def rows(self, near: float, step: float, flat: float) -> list[float]:
        if not self.inside:
            # Round corners of the rings have to reach over the block's.
            far, edge = self.far, min(self.half) + self.far
            if self.corner and not self.circle:
                corner = math.hypot(*(edge - h + self.corner for h in self.half))
                far = max(far, corner - self.corner - flat)
            count = max(0, math.ceil((far - near) / step))
            return [near + k * step for k in range(count, -1, -1)]
        width = min(self.half) - near
        inner = min(0.8 * flat, width)
        count = math.ceil((width - inner) / step)
        each = (width - inner) / count if count else 0.0
        return [near + k * each for k in range(count, -1, -1)]


Wall = Edge | Ring


def follow(pen: Pen, way: Way, z: float) -> None:
    for end, center, ccw in way.legs:
        if center is None:
            pen.to((*end, z))
        else:
            pen.arc((*end, z), center, ccw)


@dataclasses.dataclass(frozen=True)
class Clear:
    """Clears what lies before a wall, level by level, down to `z`: rows, or rings from far in.

    `side`: what it leaves on the wall; `sides`: that of the levels over the last, if another.
    """

    name: str
    tool: int
    wall: Wall
    z: float
    side: float
    step: float
    uppers: tuple[tuple[float, float], ...] = ()
    """z and side of levels over the last."""
    climb: bool = True
    feed: float = 200.0
    h: int | None = None
    top: float = 0.0

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        above = self.top
        for z, side in (*self.uppers, (self.z, self.side)):
            self._level(pen, z, side, above)
            above = z

    def _level(self, pen: Pen, z: float, side: float, above: float) -> None:
        mill = pen.plan.mills[self.tool]
        rows = self.wall.rows(mill.radius + side, self.step, mill.flat)
        ways = [self.wall.way(d, self.climb) for d in rows]
        if not self.wall.closed:
            for way in ways:
                pen.down((*way.start, z))
                follow(pen, way, z)
                pen.up()
            return
        if self.wall.inside:
            self._enter(pen, z, above, rows[0], ways[0].start)
        else:
            x, y = ways[0].start
            pen.down((x, y - mill.diameter, z))
        for way in ways:
            if pen.at != (*way.start, z):
                pen.to((*way.start, z))
            follow(pen, way, z)
        end = ways[-1].start
        out = -mill.radius if not self.wall.inside else 0.3 * mill.radius
        pen.to((end[0], end[1] + out, z)).up()

    def _enter(self, pen: Pen, z: float, above: float, off: float, to: XY) -> None:
        """Down in turns about the middle, then once round; in a slot down along its middle."""
        assert isinstance(self.wall, Ring)
        x = self.wall.half[0] - off + to[1]
        if x > 1.5 * pen.plan.mills[self.tool].radius:
            self._ramp(pen, z, above, x)
            pen.to((*to, z))
            return
        mill = pen.plan.mills[self.tool]
        r, ccw = -to[1], self.climb == self.wall.inside
        start = 0.0, -r
        z0 = above + 0.2
        pen.nc.down(pen._point((*start, z0)))
        pen.at = (*start, z0)
        turns = max(1, math.ceil((z0 - z) / (0.3 * mill.radius)))
        for k in range(1, turns + 1):
            pen.arc((*start, z0 + (z - z0) * k / turns), (0.0, 0.0), ccw)
        pen.arc((*start, z), (0.0, 0.0), ccw)

    def _ramp(self, pen: Pen, z: float, above: float, x: float) -> None:
        z0 = above + 0.2
        pen.nc.down(pen._point((-x, 0.0, z0)))
        turns = max(1, math.ceil((z0 - z) / (0.2 * x)))
        for k in range(1, turns + 1):
            pen.to((x if k % 2 else -x, 0.0, z0 + (z - z0) * k / turns))
        for end in (-x, x) if turns % 2 else (x, -x):
            pen.to((end, 0.0, z))
        pen.to((0.0, 0.0, z))


@dataclasses.dataclass(frozen=True)
class Round:
    """One round along a wall at each level: on by an arc, off by an arc, straight up or a wait."""

    name: str
    tool: int
    wall: Wall
    z: float
    side: float
    uppers: tuple[tuple[float, float], ...] = ()
    climb: bool = True
    feed: float = 150.0
    h: int | None = None
    overlap: float = 2.0
    lead: float = 1.0
    at: float = 0.0
    """Where it starts: x on the front."""
    begin: XY | None = None
    """Where it starts instead: the place of its path nearest to there."""
    off: str = "arc"
    wait: float = 0.0
    rounds: int = 1
    slow: tuple[float, float] | None = None

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        for z, side in (*self.uppers, (self.z, self.side)):
            self._level(pen, z, side)

    def way(self, radius: float, side: float) -> Way:
        way = self.wall.way(radius + side, self.climb, self.at)
        return way if self.begin is None else way.begun(self.begin)

    def _level(self, pen: Pen, z: float, side: float) -> None:
        way = self.way(pen.plan.mills[self.tool].radius, side)
        if not self.wall.closed:
            pen.down((*way.start, z))
            follow(pen, way, z)
            pen.up()
            return
        for begin, _, center in self._arc(way, False):
            pen.down((*begin, z))
            pen.arc((*way.start, z), center, self.climb)
        for _ in range(self.rounds - 1):
            follow(pen, way, z)
        long = way.more(self.overlap)
        if self.wait:
            middle = _along(way.start, way.legs[0], 0.5)
            follow(pen, Way(way.start, ((middle, *way.legs[0][1:]),)), z)
            pen.raw(f"G4 P{self.wait}")
        follow(pen, long, z)
        if self.off == "arc":
            for _, end, center in self._arc(way.more(self.overlap), True):
                pen.arc((*end, z), center, self.climb)
        pen.up()

    def _arc(self, way: Way, last: bool) -> Iterator[tuple[XY, XY, XY]]:
        """Yield begin, end and center of a quarter's arc on to the path, or off it."""
        t = way.tangent(last)
        n = (-t[1], t[0]) if self.climb else (t[1], -t[0])
        x, y = way.end if last else way.start
        r = self.lead
        center = x + n[0] * r, y + n[1] * r
        sign = 1 if last else -1
        far = center[0] + sign * t[0] * r, center[1] + sign * t[1] * r
        yield ((x, y), far, center) if last else (far, (x, y), center)


@dataclasses.dataclass(frozen=True)
class Strokes:
    """Strokes given by their points; from above and up again."""

    name: str
    tool: int
    strokes: tuple[tuple[tuple[float, float, float], ...], ...]
    feed: float = 200.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        for first, *others in self.strokes:
            pen.down(first).to(*others).up()
