"""Passes that clear the floor of a pocket."""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Final

from .contour import SNAP_MM, TOUCH_MM, Contour, Piece, Point, distance, meet
from .passes_emit import Tip
from .passes_model import Helix, PocketPass, Ramp
from .passes_offset import offset
from .passes_shapes import PassError, check_simple, contour_of, say_point
from .units import Unit, say_length

__all__ = ["pocket_moves", "region_of"]

LIMIT_ROUNDS: Final = 5000
"""Most paths side by side; more is a slip in the stepover."""
CHORD_MM: Final = 1e-3
"""Sagitta of the chords by which the roomiest place is looked for; the room itself is exact."""


def pocket_moves(
    item: PocketPass, tip: Tip, levels: list[float], top: float, radius: float, unit: Unit
) -> None:
    """Make the moves of a pocket pass; parameters as for `contour_moves`.

    Raises
    ------
    PassError
        A boundary or island that can't be used, a tool that doesn't fit, paths too far apart, no
        room for the helix.
    """
    region = region_of(item, unit)
    gap = radius + item.allowance_side
    if gap <= TOUCH_MM:
        raise PassError("allowance_side", "puts the axis on the boundary or past it")
    wall = offset(region, gap)
    if not wall:
        raise PassError(
            "",
            f"the tool doesn't fit into the pocket: its axis has to keep {say_length(gap, unit)} "
            "(half of the diameter and allowance_side) from the boundary. Take a smaller tool",
        )
    work = _Pocket(item, tip, region, gap, wall, unit)
    run = work.rings() if item.strategy == "contour_parallel" else work.lines()
    metal = top
    for z in levels:
        for strand in run:
            work.cut(strand, z, metal)
        metal = z


def region_of(item: PocketPass, unit: Unit) -> list[Contour]:
    """Return the boundary counter-clockwise and the islands clockwise, checked."""
    boundary = contour_of(item, unit, closed=True)
    contours = [boundary if boundary.area() > 0 else boundary.reversed()]
    check_simple(contours, unit, "points" if item.points else "")
    for n, shape in enumerate(item.islands, start=1):
        key = f"islands[{n}]"
        island = contour_of(shape, unit, key=f"{key}.", closed=True)
        check_simple([island], unit, key)
        check_simple([*contours, island], unit, key)
        if not boundary.contains(island.start):
            place = say_point(island.start, unit)
            raise PassError(key, f"lies outside the boundary, at {place}")
        for other, done in enumerate(contours[1:], start=1):
            if done.contains(island.start) or island.contains(done.start):
                raise PassError(key, f"and islands[{other}] lie one inside the other; keep one")
        contours.append(island if island.area() < 0 else island.reversed())
    return contours


@dataclasses.dataclass(frozen=True)
class _Strand:
    """Pieces cut without going up: entered once, then run after run with lines between."""

    runs: tuple[Contour, ...]
    helix: tuple[Point, float] | None = None  # center and room, mm


class _Pocket:
    def __init__(
        self,
        item: PocketPass,
        tip: Tip,
        region: list[Contour],
        gap: float,
        wall: list[Contour],
        unit: Unit,
    ) -> None:
        self.item, self.tip, self.region = item, tip, region
        self.gap, self.wall, self.unit = gap, wall, unit

    # ------------------------------------------------------------------------- contour_parallel

    def rings(self) -> list[_Strand]:
        """Return the rounds from the inside out, in strands.

        Notes
        -----
        The tool steps from a round to the nearest point of the one outside it, the stepover away.
        That way leads straight to the nearest wall, so it keeps clear of all of them. Where several
        strands come to one round the last goes on along it and the others end.
        """
        done: list[_Strand] = []
        active: list[_Strand] = []
        for depth in reversed(self._depths()):
            coming: dict[int, list[_Strand]] = {}
            for strand in active:
                here = strand.runs[-1].start
                nearest = min(range(len(depth)), key=lambda i: depth[i].nearest(here)[2])
                coming.setdefault(nearest, []).append(strand)
            active = []
            for number, path in enumerate(depth):
                *ended, last = coming.get(number, [None])
                done += [s for s in ended if s]
                active.append(_longer(last, path) if last else self._leaf(path, depth))
        return [self._turned(s) for s in (*done, *active)]

    def _depths(self) -> list[list[Contour]]:
        """Return the rounds at each distance from the walls, the walls' own first."""
        self._check_count()
        depths = [self.wall]
        while True:
            here = offset(self.region, self.gap + len(depths) * self.item.radial_cutting_depth)
            if not here:
                return depths
            depths.append(here)

    def _check_count(self) -> None:
        """Raise where the rounds would be too many; the deepest place says how many there are."""
        import shapely

        rings = [c.points(CHORD_MM) for c in self.region]
        area = shapely.Polygon(rings[0], rings[1:])
        deepest = float(shapely.maximum_inscribed_circle(area, tolerance=CHORD_MM).length)
        count = math.ceil((deepest - self.gap) / self.item.radial_cutting_depth)
        if count > LIMIT_ROUNDS:
            raise PassError(
                "radial_cutting_depth",
                f"would take {count} rounds; at most {LIMIT_ROUNDS} are made",
            )

    def _leaf(self, path: Contour, beside: list[Contour]) -> _Strand:
        if not isinstance(self.item.approach, Helix):
            longest = max(range(len(path.pieces)), key=lambda i: path.pieces[i].length)
            return _Strand((path.begun_at(longest, 0.5),))
        center = self._roomiest(path, beside)
        room = float(distance(self.region, [center])[0]) - self.gap
        index, part, _ = path.nearest(center)
        return _Strand((path.begun_at(index, part),), (center, room))

    def _roomiest(self, path: Contour, beside: list[Contour]) -> Point:
        """Return the center of the largest circle inside a round, clear of others of its depth."""
        import shapely

        outers = [c for c in beside if c.area() > 0]
        holes = [c for c in beside if c.area() < 0]
        area = shapely.union_all([_polygon(c) for c in outers])
        area = area.difference(shapely.union_all([_polygon(c) for c in holes]))
        if area.area <= CHORD_MM**2:
            return path.pieces[0].at(0.5)
        parts = list(getattr(area, "geoms", [area]))
        here = shapely.Point(path.start)
        part = min(parts, key=lambda p: float(p.distance(here)))
        line = shapely.maximum_inscribed_circle(part, tolerance=CHORD_MM)
        x, y = line.coords[0]
        return float(x), float(y)

    def _turned(self, strand: _Strand) -> _Strand:
        # The inside is on the left, so the wall is on the right: climb.
        if self.item.cutmode == "climb":
            return strand
        return dataclasses.replace(strand, runs=tuple(r.reversed() for r in strand.runs))

    # ---------------------------------------------------------------------------- bidirectional

    def lines(self) -> list[_Strand]:
        """Return the lines to and fro, then the rounds along the walls."""
        if isinstance(self.item.approach, Helix):
            raise PassError(
                "approach.kind", "helix goes with contour_parallel; take ramp or plunge here"
            )
        rows = self._rows()
        strands: list[_Strand] = []
        runs: list[Contour] = []
        for line in self._ordered(rows):
            if runs and not self._clear(runs[-1].end, line.start):
                strands.append(_Strand(tuple(runs)))
                runs = []
            runs.append(line)
        walls = [w if self.item.cutmode == "climb" else w.reversed() for w in self.wall]
        if runs:
            # The last line ends on a wall's path, from where the round along it starts.
            end = runs[-1].end
            nearest = min(range(len(walls)), key=lambda i: walls[i].nearest(end)[2])
            wall = walls.pop(nearest)
            index, part, off = wall.nearest(end)
            wall = wall.begun_at(index, part)
            if off <= SNAP_MM:
                strands.append(_Strand((*runs, wall)))
            else:
                strands += [_Strand(tuple(runs)), _Strand((wall,))]
        return [*strands, *(_Strand((w,)) for w in walls)]

    def _rows(self) -> list[list[Contour]]:
        """Return the lines inside the wall's path, row by row, each from one side."""
        angle = math.radians(self.item.angle)
        ux, uy = math.cos(angle), math.sin(angle)
        low, high, left, right = _extent(self.wall, ux, uy)
        count = max(1, math.ceil((high - low) / self.item.radial_cutting_depth - TOUCH_MM))
        if count > LIMIT_ROUNDS:
            raise PassError(
                "radial_cutting_depth", f"would take {count} lines; at most {LIMIT_ROUNDS} are made"
            )
        rows = []
        for n in range(1, count):
            off = low + (high - low) * n / count
            start, end = ((a * ux - off * uy, a * uy + off * ux) for a in (left - 1, right + 1))
            row = self._row(Piece(start, end))
            rows.append(row)
        return rows

    def _row(self, line: Piece) -> list[Contour]:
        marks = {0.0, 1.0}
        for wall in self.wall:
            for piece in wall.pieces:
                marks.update(part for part, _ in meet(line, piece))
        ordered = sorted(marks)
        row = []
        for low, high in itertools.pairwise(ordered):
            long = (high - low) * line.length > 2 * SNAP_MM
            if long and self._inside(line.at((low + high) / 2)):
                row.append(Contour((line.between(low, high),), False))
        return row

    def _inside(self, point: Point) -> bool:
        if float(distance(self.region, [point])[0]) < self.gap - TOUCH_MM:
            return False
        return self.region[0].contains(point) and not any(
            island.contains(point) for island in self.region[1:]
        )

    def _ordered(self, rows: list[list[Contour]]) -> list[Contour]:
        """Return the lines, to and fro up one arm of the pocket after the other."""
        left = [list(row) for row in rows]
        ordered: list[Contour] = []
        while any(left):
            n = next(i for i, row in enumerate(left) if row)
            line = left[n].pop(0)
            ordered.append(line)
            n += 1
            while n < len(left):
                here = ordered[-1].end
                turned = [(c, c.reversed()) for c in left[n]]
                choices = [d for pair in turned for d in pair if self._clear(here, d.start)]
                if not choices:
                    break
                line = min(choices, key=lambda d: math.dist(here, d.start))
                left[n] = [c for c in left[n] if line not in (c, c.reversed())]
                ordered.append(line)
                n += 1
        return ordered

    def _clear(self, start: Point, end: Point) -> bool:
        """Return whether a line between two places keeps the distance from every wall."""
        if math.dist(start, end) <= SNAP_MM:
            return True
        link = Piece(start, end)
        marks = {0.0, 1.0}
        for wall in self.wall:
            for piece in wall.pieces:
                marks.update(part for part, _ in meet(link, piece))
        ordered = sorted(marks)
        return all(
            self._inside(link.at((low + high) / 2))
            for low, high in itertools.pairwise(ordered)
            if (high - low) * link.length > 2 * SNAP_MM
        )

    # ---------------------------------------------------------------------------------- cutting

    def cut(self, strand: _Strand, z: float, metal: float) -> None:
        """Enter, cut the runs one after the other, go up."""
        self._enter(strand, z, metal)
        for run in strand.runs:
            self.tip.line(run.start)
            self.tip.along(run.pieces)
        self.tip.up()

    def _enter(self, strand: _Strand, z: float, metal: float) -> None:
        """Go down to the level, and to where the first run begins."""
        first, approach = strand.runs[0], self.item.approach
        if isinstance(approach, Helix):
            self._helix(approach, strand, z, metal)
            return
        self.tip.over(first.start)
        self.tip.near(metal)
        if isinstance(approach, Ramp):
            loop = first
            if not first.closed:
                loop = Contour((*first.pieces, *first.reversed().pieces), True)
            self.tip.ramp_down(loop, z, approach.angle)
        else:
            self.tip.plunge(z)

    def _helix(self, helix: Helix, strand: _Strand, z: float, metal: float) -> None:
        """Go down a helix in the roomiest place, round once at the level."""
        if strand.helix is None:
            return
        center, room = strand.helix
        radius = self._helix_radius(helix, center, room)
        x, y = strand.runs[0].start
        span = math.dist(center, (x, y))
        ux, uy = ((x - center[0]) / span, (y - center[1]) / span) if span > SNAP_MM else (1.0, 0.0)
        start = (center[0] + radius * ux, center[1] + radius * uy)
        turn = 2 * math.pi if self.item.cutmode == "climb" else -2 * math.pi
        circle = Contour((Piece(start, start, center, turn),), True)
        self.tip.over(start)
        self.tip.near(metal)
        if self.tip.at is not None:
            drop = circle.length * math.tan(math.radians(helix.angle))
            count = max(1, math.ceil((self.tip.at[2] - z) / drop - TOUCH_MM))
            self.tip.ramp(circle.pieces * count, z)
        self.tip.along(circle.pieces)

    def _helix_radius(self, helix: Helix, center: Point, room: float) -> float:
        tool = self.gap - self.item.allowance_side
        radius = helix.radius if helix.radius is not None else min(tool / 2, room)
        if radius > room + SNAP_MM or radius < tool / 20:
            place = say_point(center, self.unit)
            raise PassError(
                "approach.radius",
                f"no room for a helix of radius {say_length(radius, self.unit)} at {place}: the "
                f"roomiest place inside allows {say_length(max(0.0, room), self.unit)}. Take a "
                "smaller one, a ramp or a plunge",
            )
        return radius


def _longer(strand: _Strand, path: Contour) -> _Strand:
    """Return a strand that goes on along the round outside its last one."""
    index, part, _ = path.nearest(strand.runs[-1].start)
    return dataclasses.replace(strand, runs=(*strand.runs, path.begun_at(index, part)))


def _polygon(path: Contour) -> object:
    import shapely

    return shapely.Polygon(path.points(CHORD_MM)).buffer(0)


def _extent(paths: list[Contour], ux: float, uy: float) -> tuple[float, float, float, float]:
    """Return the range across and along a direction, mm: low, high, left, right."""
    across: list[float] = []
    along: list[float] = []
    for path in paths:
        for p in path.pieces:
            turned = dataclasses.replace(
                p,
                start=_into(p.start, ux, uy),
                end=_into(p.end, ux, uy),
                center=_into(p.center, ux, uy),
            )
            x0, y0, x1, y1 = turned.box()
            along += [x0, x1]
            across += [y0, y1]
    return min(across), max(across), min(along), max(along)


def _into(point: Point, ux: float, uy: float) -> Point:
    return point[0] * ux + point[1] * uy, point[1] * ux - point[0] * uy
