"""Contours as people write them in a pass list, made into lines and arcs."""

from __future__ import annotations

import dataclasses
import math
from typing import Final

from ..contour import TOUCH_MM, Contour, Piece, Point, crossings
from ..errors import BadInput
from ..units import Unit, say_length
from .model import SHAPES, Circle, Rectangle, Shape, Slot, Step

__all__ = [
    "ARC_MM",
    "LEAST_MM",
    "PassError",
    "arc_piece",
    "check_one",
    "check_rectangle",
    "check_simple",
    "contour_of",
    "say_piece",
    "say_point",
]

ARC_MM: Final = 0.002
"""How much the radius at an arc's end may differ from that at its start (NISTIR 6556, 3.5.3)."""
LEAST_MM: Final = 1e-5
"""Shortest step of a contour: ten times what the offsets take as one point."""


class PassError(BadInput):
    """What is wrong at one key of a pass; the reader adds the file and the pass."""

    def __init__(self, key: str, text: str) -> None:
        self.key, self.text = key, text
        super().__init__(text)


def say_point(point: Point, unit: Unit) -> str:
    """Return a place as people write it: ``(1.5000, 0.5000) in``."""
    x, y = (say_length(v, unit).split()[0] for v in point)
    return f"({x}, {y}) {unit}"


def say_piece(piece: Piece, unit: Unit) -> str:
    """Return what a piece is and where: ``the arc of radius 0.2500 in that ends at ...``."""
    kind = f"arc of radius {say_length(piece.radius, unit)}" if piece.turn else "line"
    return f"the {kind} that ends at {say_point(piece.end, unit)}"


def contour_of(shape: Shape, unit: Unit, *, key: str = "", closed: bool = False) -> Contour:
    """Return the contour of a pass, a boundary or an island.

    Parameters
    ----------
    shape : Shape
        With exactly one of points, circle, rectangle and slot; for a section or a drawing see
        `source`.
    unit : {'in', 'mm'}
        For the text of errors.
    key : str
        Key path of the shape within the pass, with a dot at its end, or empty.
    closed : bool
        Close a contour of points.

    Returns
    -------
    Contour
        mm. Points as written; a circle, rectangle or slot counter-clockwise.

    Raises
    ------
    PassError
        None or several of the keys, a shape of no size, an arc that doesn't close, a step of no
        length, a corner that can't be rounded off.
    """
    check_one(shape, key)
    if shape.circle:
        return _circle(shape.circle)
    if shape.rectangle:
        return _rectangle(shape.rectangle, f"{key}rectangle", unit)
    if shape.slot:
        return _slot(shape.slot, f"{key}slot")
    return _polyline(shape.points or [], closed, f"{key}points", unit)


def check_one(shape: Shape, key: str) -> None:
    """Raise unless exactly one of the keys in `SHAPES` is given."""
    given = [name for name in SHAPES if getattr(shape, name) is not None]
    if len(given) != 1:
        have = f"has {' and '.join(given)}" if given else "has none"
        raise PassError(key.rstrip("."), f"needs exactly one of {', '.join(SHAPES)}; it {have}")


def _circle(circle: Circle) -> Contour:
    x, y = circle.center
    start = (x + circle.diameter / 2, y)
    return Contour((Piece(start, start, (x, y), 2 * math.pi),), True)


def _numbered(pieces: list[Piece], *, closed: bool) -> Contour:
    return Contour(tuple(dataclasses.replace(p, source=i) for i, p in enumerate(pieces)), closed)


def check_rectangle(box: Rectangle, key: str, unit: Unit) -> None:
    """Raise unless low is below high in X and Y and the corner radius fits."""
    size = [b - a for a, b in zip(box.low, box.high, strict=True)]
    for axis, side, low, high in zip("xy", size, box.low, box.high, strict=True):
        if side <= LEAST_MM:
            raise PassError(
                key,
                f"{axis} of low, {say_length(low, unit)}, is not below {axis} of high, "
                f"{say_length(high, unit)}",
            )
    if 2 * box.corner_radius > min(size) + TOUCH_MM:
        raise PassError(
            f"{key}.corner_radius",
            f"{say_length(box.corner_radius, unit)} is over half of the shorter side, "
            f"{say_length(min(size), unit)}",
        )


def _rectangle(box: Rectangle, key: str, unit: Unit) -> Contour:
    check_rectangle(box, key, unit)
    (x0, y0), (x1, y1), r = box.low, box.high, box.corner_radius
    middle = ((x0 + x1) / 2, y0)
    quarter = math.pi / 2
    corners = [(x1, y0, -1, 1), (x1, y1, -1, -1), (x0, y1, 1, -1), (x0, y0, 1, 1)]
    pieces: list[Piece] = []
    here = middle
    for n, (x, y, sx, sy) in enumerate(corners):
        # Towards a corner the walk runs along X for the 1st and 3rd, along Y for the others.
        along_x = n % 2 == 0
        into = (x + sx * r, y) if along_x else (x, y + sy * r)
        out = (x, y + sy * r) if along_x else (x + sx * r, y)
        pieces.append(Piece(here, into))
        if r > 0:
            pieces.append(Piece(into, out, (x + sx * r, y + sy * r), quarter))
        here = out
    pieces.append(Piece(here, middle))
    return _numbered([p for p in pieces if p.length > TOUCH_MM], closed=True)


def _slot(slot: Slot, key: str) -> Contour:
    (xa, ya), (xb, yb), r = slot.from_, slot.to, slot.width / 2
    span = math.dist(slot.from_, slot.to)
    if span <= LEAST_MM:
        raise PassError(key, "from and to are the same point; write a circle for a round pocket")
    nx, ny = r * (yb - ya) / span, -r * (xb - xa) / span  # to the right
    a, b = (xa + nx, ya + ny), (xb + nx, yb + ny)
    c, d = (xb - nx, yb - ny), (xa - nx, ya - ny)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    pieces = [
        Piece(middle, b),
        Piece(b, c, slot.to, math.pi),
        Piece(c, d),
        Piece(d, a, slot.from_, math.pi),
        Piece(a, middle),
    ]
    return _numbered(pieces, closed=True)


# ---------------------------------------------------------------------------------------- points


def _polyline(points: list[Point | Step], closed: bool, key: str, unit: Unit) -> Contour:
    first = points[0]
    if isinstance(first, Step):
        raise PassError(f"{key}[1]", "the first point is where the contour starts; write [x, y]")
    pieces: list[Piece] = []
    rounds: list[float | None] = []
    here = first
    for n, item in enumerate(points[1:], start=2):
        step = item if isinstance(item, Step) else Step(to=item)
        pieces.append(_piece(here, step, f"{key}[{n}]", unit))
        rounds.append(step.round)
        here = step.to
    if closed and math.dist(here, first) > TOUCH_MM:
        pieces.append(_piece(here, Step(to=first), f"{key}[{len(points) + 1}]", unit))
        rounds.append(None)
    if closed:  # the last point may be off by rounding
        pieces[-1] = dataclasses.replace(pieces[-1], end=first)
    return _numbered(_rounded(pieces, rounds, closed, key, unit), closed=closed)


def _piece(here: Point, step: Step, key: str, unit: Unit) -> Piece:
    is_arc = step.center is not None or step.radius is not None
    if not is_arc:
        if step.turn or step.long:
            raise PassError(key, "turn and long belong to an arc; give it a center or a radius")
        if math.dist(here, step.to) <= LEAST_MM:
            raise PassError(key, f"no length: the step before ends at {say_point(step.to, unit)}")
        return Piece(here, step.to)
    if step.center is not None and step.radius is not None:
        raise PassError(key, "an arc has a center or a radius, not both")
    if step.turn is None:
        raise PassError(f"{key}.turn", 'is missing: "ccw" or "cw", the way round seen from above')
    if step.round is not None:
        raise PassError(f"{key}.round", "only the end of a line can be rounded off")
    if step.center is not None:
        return _arc_about(here, step, step.center, key, unit)
    return _arc_of_radius(here, step, step.radius or 0.0, key, unit)


def _arc_about(here: Point, step: Step, center: Point, key: str, unit: Unit) -> Piece:
    if step.long:
        raise PassError(f"{key}.long", "goes with radius; a center leaves no choice")
    at_start, at_end = math.dist(here, center), math.dist(step.to, center)
    if at_start <= LEAST_MM:
        raise PassError(f"{key}.center", f"is where the arc starts, {say_point(here, unit)}")
    if abs(at_start - at_end) > ARC_MM:
        first, last = say_length(at_start, unit, 6), say_length(at_end, unit, 6)
        raise PassError(
            key,
            f"the arc doesn't close: radius {first} at its start and {last} at its end; they may "
            f"differ by {say_length(ARC_MM, unit, 6)}. Check to and center",
        )
    return arc_piece(here, step.to, center, step.turn == "ccw")


def arc_piece(start: Point, end: Point, center: Point, ccw: bool) -> Piece:
    """Return an arc; from a point back to itself a full circle.

    The center moves along the chord's normal so that both radii agree to rounding.
    """
    if math.dist(start, end) <= TOUCH_MM:
        return Piece(start, start, center, math.copysign(2 * math.pi, 1 if ccw else -1))
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    ux, uy = end[0] - start[0], end[1] - start[1]
    shift = ((center[0] - middle[0]) * ux + (center[1] - middle[1]) * uy) / (ux * ux + uy * uy)
    if abs(shift) * math.hypot(ux, uy) > TOUCH_MM:
        center = (center[0] - shift * ux, center[1] - shift * uy)
    probe = Piece(start, end, center, 1.0 if ccw else -1.0)
    return dataclasses.replace(probe, turn=math.copysign(probe.angle_to(end), probe.turn))


def _arc_of_radius(here: Point, step: Step, radius: float, key: str, unit: Unit) -> Piece:
    chord = math.dist(here, step.to)
    if chord <= LEAST_MM:
        raise PassError(key, "an arc back to its start needs a center in place of a radius")
    if chord > 2 * radius + ARC_MM:
        raise PassError(
            f"{key}.radius",
            f"{say_length(radius, unit)} is too small: the ends are {say_length(chord, unit)} "
            f"apart, so at least {say_length(chord / 2, unit)} is needed",
        )
    rise = math.sqrt(max(0.0, (radius - chord / 2) * (radius + chord / 2)))
    ux, uy = (step.to[0] - here[0]) / chord, (step.to[1] - here[1]) / chord
    # The center of the shorter arc lies on the side to which it turns.
    side = rise if (step.turn == "ccw") != step.long else -rise
    center = (
        (here[0] + step.to[0]) / 2 - side * uy,
        (here[1] + step.to[1]) / 2 + side * ux,
    )
    return arc_piece(here, step.to, center, step.turn == "ccw")


# ------------------------------------------------------------------------------------ round ends


def _rounded(
    pieces: list[Piece], rounds: list[float | None], closed: bool, key: str, unit: Unit
) -> list[Piece]:
    """Return the pieces with arcs in the corners to be rounded off."""
    count = len(pieces)
    cuts = [[0.0, 0.0] for _ in pieces]  # taken from the start and the end of each
    arcs: dict[int, Piece] = {}
    for n, radius in enumerate(rounds):
        if radius is None:
            continue
        where = f"{key}[{n + 2}].round"
        if n + 1 == count and not closed:
            raise PassError(where, "the contour ends here; there is no corner to round off")
        follower = (n + 1) % count
        cut, arc = _fillet(pieces[n], pieces[follower], radius, where)
        cuts[n][1], cuts[follower][0] = cut, cut
        arcs[n] = arc
    result: list[Piece] = []
    for n, piece in enumerate(pieces):
        result += _cut(piece, cuts[n], f"{key}[{n + 2}]", unit)
        result += [arcs[n]] if n in arcs else []
    return result


def _fillet(a: Piece, b: Piece, radius: float, key: str) -> tuple[float, Piece]:
    """Return how much of each line a rounded corner takes, mm, and its arc."""
    if a.turn or b.turn:
        raise PassError(key, "only a corner between two lines can be rounded off")
    u, v = a.heading(1), b.heading(0)
    cross, dot = u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]
    turn = math.atan2(cross, dot)
    if abs(cross) <= TOUCH_MM:
        raise PassError(key, "the two lines run on or straight back; there is no corner here")
    cut = radius * math.tan(abs(turn) / 2)
    start = (a.end[0] - cut * u[0], a.end[1] - cut * u[1])
    end = (a.end[0] + cut * v[0], a.end[1] + cut * v[1])
    side = math.copysign(radius, turn)
    center = (start[0] - side * u[1], start[1] + side * u[0])
    return cut, Piece(start, end, center, turn)


def _cut(piece: Piece, cuts: list[float], key: str, unit: Unit) -> list[Piece]:
    if cuts == [0.0, 0.0]:
        return [piece]
    rest = piece.length - sum(cuts)
    if rest < -TOUCH_MM:
        raise PassError(
            key,
            f"the line is {say_length(piece.length, unit)} long, but the rounded corners at its "
            f"ends take {say_length(sum(cuts), unit)}; make them smaller",
        )
    if rest <= LEAST_MM:
        return []
    u = piece.heading(0)
    start = (piece.start[0] + cuts[0] * u[0], piece.start[1] + cuts[0] * u[1])
    end = (piece.end[0] - cuts[1] * u[0], piece.end[1] - cuts[1] * u[1])
    return [Piece(start, end)]


def check_simple(contours: list[Contour], unit: Unit, key: str) -> None:
    """Raise where contours cross themselves or each other."""
    found = crossings(contours)
    if found:
        what = "the contours meet" if len(contours) > 1 else "the contour meets itself"
        raise PassError(key, f"{what} at {say_point(found[0], unit)}; check the points near there")
