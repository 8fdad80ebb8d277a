"""Contours of lines and arcs in plan, and their offsets by true arcs.

A *piece* is a line or an arc; a *contour* is a run of pieces, each beginning where the one before
ends, closed if the last ends where the first begins. Millimetres, angles in radians, turns
counter-clockwise positive. Left is the left of a person who walks along the contour.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FLAT_TURN",
    "SNAP_MM",
    "TOUCH_MM",
    "Contour",
    "Field",
    "Piece",
    "Point",
    "crossings",
    "distance",
    "meet",
    "near_pairs",
    "turned",
]

Point = tuple[float, float]

SNAP_MM: Final = 1e-6
"""Ends of pieces this near are one point: far over rounding (1e-12 mm on a metre), far under any
length that a person means."""
TOUCH_MM: Final = 1e-9
"""Overshoot at which two pieces still count as touching: 1e4 roundings of a coordinate of 1 m."""
FLAT_TURN: Final = 1e-9
"""Sine of the angle under which two pieces run into each other without a corner."""


@dataclasses.dataclass(frozen=True)
class Piece:
    """A line, or an arc where `turn` is not 0.

    Attributes
    ----------
    start, end : tuple of float
        mm; equal for a full circle.
    center : tuple of float
        mm; (0, 0) for a line.
    turn : float
        Radians, counter-clockwise positive, at most a full circle.
    source : int
        Which piece of the original contours an offset piece belongs to; -1 - n for the arc about
        the corner at the end of piece n.
    """

    start: Point
    end: Point
    center: Point = (0.0, 0.0)
    turn: float = 0.0
    source: int = 0

    @property
    def radius(self) -> float:
        """Radius of an arc, mm; 0 for a line."""
        return math.dist(self.start, self.center) if self.turn else 0.0

    @property
    def length(self) -> float:
        """Length, mm."""
        return self.radius * abs(self.turn) if self.turn else math.dist(self.start, self.end)

    def at(self, part: float) -> Point:
        """Return the point at a part (0 to 1) of the length, mm."""
        if part <= 0 or part >= 1:
            return self.start if part <= 0 else self.end
        if not self.turn:
            (x0, y0), (x1, y1) = self.start, self.end
            return x0 + (x1 - x0) * part, y0 + (y1 - y0) * part
        return turned(self.start, self.center, self.turn * part)

    def heading(self, part: float) -> Point:
        """Return the unit vector along the piece at a part of its length."""
        if not self.turn:
            span = math.dist(self.start, self.end)
            return (self.end[0] - self.start[0]) / span, (self.end[1] - self.start[1]) / span
        # From the exact end nearest, so that both ends keep all their digits.
        x, y = self.at(part)
        radius, sign = self.radius, math.copysign(1.0, self.turn)
        return -sign * (y - self.center[1]) / radius, sign * (x - self.center[0]) / radius

    def reversed(self) -> Piece:
        """Return the same piece walked the other way."""
        return dataclasses.replace(self, start=self.end, end=self.start, turn=-self.turn)

    def between(self, low: float, high: float) -> Piece:
        """Return the piece from one part of the length to another."""
        return dataclasses.replace(
            self, start=self.at(low), end=self.at(high), turn=self.turn * (high - low)
        )

    def part_of(self, point: Point) -> float:
        """Return the part (0 to 1) of the length that is nearest to `point`."""
        if not self.turn:
            dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
            along = (point[0] - self.start[0]) * dx + (point[1] - self.start[1]) * dy
            return min(1.0, max(0.0, along / (dx * dx + dy * dy)))
        part = self.angle_to(point) / abs(self.turn)
        if part <= 1:
            return part
        return 0.0 if math.dist(point, self.start) < math.dist(point, self.end) else 1.0

    def angle_to(self, point: Point) -> float:
        """Return how far an arc has turned (0 to 2 pi) when it comes to the ray to `point`."""
        u = self.start[0] - self.center[0], self.start[1] - self.center[1]
        v = point[0] - self.center[0], point[1] - self.center[1]
        angle = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        return (angle * math.copysign(1.0, self.turn)) % (2 * math.pi)

    def box(self) -> tuple[float, float, float, float]:
        """Return the box around it, mm: x and y low, x and y high."""
        xs, ys = [self.start[0], self.end[0]], [self.start[1], self.end[1]]
        if self.turn:
            (cx, cy), r = self.center, self.radius
            for x, y in ((cx + r, cy), (cx, cy + r), (cx - r, cy), (cx, cy - r)):
                if self.angle_to((x, y)) <= abs(self.turn):
                    xs.append(x)
                    ys.append(y)
        return min(xs), min(ys), max(xs), max(ys)

    def chords(self, sagitta: float) -> list[Point]:
        """Return points along the piece, chords off by at most `sagitta`, mm; without the end."""
        if not self.turn:
            return [self.start]
        # A chord of half angle a is off by r (1 - cos a) = 2 r sin^2(a/2).
        half = 2 * math.asin(min(0.5, math.sqrt(sagitta / (2 * self.radius))))
        count = max(1, math.ceil(abs(self.turn) / (2 * half)))
        return [self.at(i / count) for i in range(count)]


def turned(point: Point, center: Point, angle: float) -> Point:
    """Return a point turned about a center, radians."""
    c, s = math.cos(angle), math.sin(angle)
    x, y = point[0] - center[0], point[1] - center[1]
    return center[0] + c * x - s * y, center[1] + s * x + c * y


@dataclasses.dataclass(frozen=True)
class Contour:
    """Pieces one after the other.

    Attributes
    ----------
    pieces : tuple of Piece
        At least one.
    closed : bool
        The last piece ends where the first begins.
    """

    pieces: tuple[Piece, ...]
    closed: bool

    @property
    def start(self) -> Point:
        """First point, mm."""
        return self.pieces[0].start

    @property
    def end(self) -> Point:
        """Last point, mm."""
        return self.pieces[-1].end

    @property
    def length(self) -> float:
        """Length, mm."""
        return math.fsum(p.length for p in self.pieces)

    def area(self) -> float:
        """Return the area inside a closed contour, mm^2; positive if walked counter-clockwise.

        Notes
        -----
        Half of the sum of x dy - y dx over the chords, and the segment r^2 (turn - sin turn) / 2
        of each arc.
        """
        x0, y0 = self.start
        terms = []
        for p in self.pieces:
            (xa, ya), (xb, yb) = p.start, p.end
            terms.append(((xa - x0) * (yb - y0) - (xb - x0) * (ya - y0)) / 2)
            terms.append(p.radius**2 * (p.turn - math.sin(p.turn)) / 2)
        return math.fsum(terms)

    def reversed(self) -> Contour:
        """Return the contour walked the other way, from the same start if closed."""
        return Contour(tuple(p.reversed() for p in reversed(self.pieces)), self.closed)

    def nearest(self, point: Point) -> tuple[int, float, float]:
        """Return the piece, the part of it, and the distance in mm of the nearest place."""
        found = (0, 0.0, math.inf)
        for index, piece in enumerate(self.pieces):
            part = piece.part_of(point)
            gap = math.dist(point, piece.at(part))
            if gap < found[2]:
                found = index, part, gap
        return found

    def begun_at(self, index: int, part: float) -> Contour:
        """Return a closed contour that begins at a place of it."""
        piece = self.pieces[index]
        low, high = part * piece.length <= SNAP_MM, (1 - part) * piece.length <= SNAP_MM
        if low or high:
            first = index if low else index + 1
            return Contour(self.pieces[first:] + self.pieces[:first], True)
        head, tail = piece.between(part, 1.0), piece.between(0.0, part)
        pieces = (head, *self.pieces[index + 1 :], *self.pieces[:index], tail)
        return Contour(pieces, True)

    def walk(self, length: float) -> list[Piece]:
        """Return the pieces over a length from the start, going round if closed."""
        walked: list[Piece] = []
        rest = length
        for piece in self._round():
            if rest <= TOUCH_MM:
                return walked
            walked.append(
                piece if piece.length <= rest else piece.between(0.0, rest / piece.length)
            )
            rest -= piece.length
        return walked

    def _round(self) -> Iterator[Piece]:
        yield from self.pieces
        while self.closed:
            yield from self.pieces

    def points(self, sagitta: float) -> list[Point]:
        """Return points along it, chords off it by at most `sagitta`, mm; the end included."""
        return [q for p in self.pieces for q in p.chords(sagitta)] + [self.end]

    def contains(self, point: Point) -> bool:
        """Return whether a point lies inside a closed contour; on the contour either is given.

        Notes
        -----
        By the angle under which the contour is seen from the point, exact for arcs: an arc is seen
        under the angle of its chord, and a full circle more if the point is between the two.
        """
        total = math.fsum(_seen(p, point) for p in self.pieces)
        return abs(total) > math.pi


def _seen(piece: Piece, point: Point) -> float:
    """Return the angle that a walker on the piece turns through, seen from the point."""
    u = piece.start[0] - point[0], piece.start[1] - point[1]
    v = piece.end[0] - point[0], piece.end[1] - point[1]
    angle = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
    if not piece.turn:
        return angle
    sign = math.copysign(1.0, piece.turn)
    within = math.dist(point, piece.center) < piece.radius
    chord = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
    cross = chord[0] * -u[1] - chord[1] * -u[0]  # the point's side of the chord
    if abs(piece.turn) > 2 * math.pi - FLAT_TURN:
        return sign * 2 * math.pi if within else 0.0
    if within and cross * sign < 0:  # between the chord and the arc
        return angle + sign * 2 * math.pi
    return angle


# ------------------------------------------------------------------------------------- distance


class Field:
    """Distances to many pieces at once."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        self.start = np.array([p.start for p in pieces], dtype=np.float64)
        self.end = np.array([p.end for p in pieces], dtype=np.float64)
        self.center = np.array([p.center for p in pieces], dtype=np.float64)
        self.turn = np.array([p.turn for p in pieces], dtype=np.float64)
        self.radius = np.array([p.radius for p in pieces], dtype=np.float64)
        self.span = self.end - self.start
        square = np.einsum("ij,ij->i", self.span, self.span)
        self.square = np.where(square > 0, square, 1.0)

    def distance(self, point: Point) -> float:
        """Return the distance from a point to the nearest piece, mm."""
        q = np.asarray(point)
        to = q - self.start
        part = np.clip(np.einsum("ij,ij->i", to, self.span) / self.square, 0.0, 1.0)
        line = np.hypot(*(to - part[:, None] * self.span).T)
        u, v = self.start - self.center, q - self.center
        cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        angle = np.arctan2(cross, np.einsum("ij,ij->i", u, v))
        angle = np.mod(angle * np.sign(self.turn), 2 * np.pi)
        ends = np.minimum(np.hypot(*to.T), np.hypot(*(q - self.end).T))
        round_ = np.abs(np.hypot(*v.T) - self.radius)
        arc = np.where(angle <= np.abs(self.turn), round_, ends)
        return float(np.where(self.turn != 0, arc, line).min())


def distance(contours: Iterable[Contour], points: Sequence[Point]) -> NDArray[np.float64]:
    """Return the distance from each point to the nearest contour, mm, shape (len(points),)."""
    field = Field([p for c in contours for p in c.pieces])
    return np.array([field.distance(p) for p in points])


# --------------------------------------------------------------------------------- intersections


def meet(a: Piece, b: Piece) -> list[tuple[float, float]]:
    """Return where two pieces meet, as parts of the length of each.

    Where they run on top of each other the ends of the common part are returned.
    """
    if a.turn:
        points = _arc_arc(a, b) if b.turn else _line_arc(b, a)
    else:
        points = _line_arc(a, b) if b.turn else _line_line(a, b)
    found = []
    for point in points:
        pa, pb = a.part_of(point), b.part_of(point)
        # part_of clamps to the ends: a point beyond them is off the piece.
        if math.dist(a.at(pa), point) <= TOUCH_MM and math.dist(b.at(pb), point) <= TOUCH_MM:
            found.append((pa, pb))
    return found


def _line_line(a: Piece, b: Piece) -> list[Point]:
    ux, uy = a.heading(0)
    vx, vy = b.heading(0)
    cross = ux * vy - uy * vx
    wx, wy = b.start[0] - a.start[0], b.start[1] - a.start[1]
    if abs(cross) <= FLAT_TURN:
        return [a.start, a.end, b.start, b.end]
    along = (wx * vy - wy * vx) / cross
    return [(a.start[0] + along * ux, a.start[1] + along * uy)]


def _line_arc(line: Piece, arc: Piece) -> list[Point]:
    ux, uy = line.heading(0)
    wx, wy = arc.center[0] - line.start[0], arc.center[1] - line.start[1]
    along, off = wx * ux + wy * uy, abs(wx * uy - wy * ux)
    radius = arc.radius
    if off > radius + TOUCH_MM:
        return []
    half = math.sqrt(max(0.0, (radius - off) * (radius + off)))
    x, y = line.start[0] + along * ux, line.start[1] + along * uy
    return [(x - half * ux, y - half * uy), (x + half * ux, y + half * uy)]


def _arc_arc(a: Piece, b: Piece) -> list[Point]:
    ra, rb, gap = a.radius, b.radius, math.dist(a.center, b.center)
    if gap <= TOUCH_MM:
        same = abs(ra - rb) <= TOUCH_MM
        return [a.start, a.end, b.start, b.end] if same else []
    if gap > ra + rb + TOUCH_MM or gap < abs(ra - rb) - TOUCH_MM:
        return []
    ux, uy = (b.center[0] - a.center[0]) / gap, (b.center[1] - a.center[1]) / gap
    along = (gap + (ra - rb) * (ra + rb) / gap) / 2
    half = math.sqrt(max(0.0, (ra - along) * (ra + along)))
    x, y = a.center[0] + along * ux, a.center[1] + along * uy
    return [(x - half * uy, y + half * ux), (x + half * uy, y - half * ux)]


def near_pairs(pieces: Sequence[Piece]) -> list[tuple[int, int]]:
    """Return the pairs of pieces whose boxes touch."""
    boxes = np.array([p.box() for p in pieces], dtype=np.float64).reshape(-1, 4)
    pairs = []
    for i in range(len(pieces) - 1):
        rest = boxes[i + 1 :]
        hit = (rest[:, :2] <= boxes[i, 2:] + TOUCH_MM).all(axis=1)
        hit &= (rest[:, 2:] >= boxes[i, :2] - TOUCH_MM).all(axis=1)
        pairs += [(i, i + 1 + int(j)) for j in np.flatnonzero(hit)]
    return pairs


def crossings(contours: Sequence[Contour]) -> list[Point]:
    """Return where contours meet themselves or each other, other than piece after piece, mm."""
    owner: list[tuple[int, int]] = []
    pieces: list[Piece] = []
    for number, contour in enumerate(contours):
        owner += [(number, i) for i in range(len(contour.pieces))]
        pieces += contour.pieces
    found = []
    for i, j in near_pairs(pieces):
        for part, _ in meet(pieces[i], pieces[j]):
            point = pieces[i].at(part)
            if not _joint(contours, owner[i], owner[j], point):
                found.append(point)
    return found


def _joint(
    contours: Sequence[Contour], a: tuple[int, int], b: tuple[int, int], point: Point
) -> bool:
    """Return whether `point` is where one of two pieces of a contour follows the other."""
    if a[0] != b[0]:
        return False
    contour = contours[a[0]]
    last = len(contour.pieces) - 1
    ends = []
    if b[1] == a[1] + 1:
        ends.append(contour.pieces[a[1]].end)
    if contour.closed and a[1] == 0 and b[1] == last:
        ends.append(contour.start)
    return any(math.dist(point, end) <= SNAP_MM for end in ends)
