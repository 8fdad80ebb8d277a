"""Passes that clear the floor of a pocket."""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Final

from ..contour import SNAP_MM, TOUCH_MM, Contour, Piece, Point, distance, meet
from ..units import say_length
from .emit import Tip
from .leads import Way, ramp_down
from .offset import offset
from .operations import ArcLead, Helix, PocketPass, Ramp, RasterPass, StraightLead
from .region import fits, region_of, wall_ways
from .shapes import PassError, say_point
from .work import Level, Work

__all__ = ["Pocket", "pocket_moves"]

LIMIT_ROUNDS: Final = 5000
"""Most paths side by side; more is a slip in the stepover."""
CHORD_MM: Final = 1e-3
"""Sagitta of the chords by which the roomiest place is looked for; the room itself is exact."""
SIDE_ONLY: Final = ("retract", "start", "overlap", "lift", "spring_passes", "radial_passes")
FLOOR_ONLY: Final = ("strategy", "angle")


def pocket_moves(work: Work, item: PocketPass) -> None:
    """Make the moves of a pocket pass.

    Raises
    ------
    PassError
        A boundary or island that can't be used, a tool that doesn't fit, paths too far apart, no
        room for the helix, keys that don't go together.
    """
    _check_keys(item)
    levels, region = work.levels(item), region_of(work, item, item.islands)
    tip, metal, above = work.tip(), work.top, levels[0].allowance_side
    if item.milling == "side":
        _sides(work, item, tip, region, levels)
        return
    made: dict[float, tuple[Pocket, list[Strand]]] = {}
    for level in levels:
        allowance = level.allowance_side
        if allowance not in made:
            pocket = _pocket(work, item, tip, region, level)
            even = item.strategy == "contour_parallel"
            made[allowance] = pocket, pocket.rings() if even else pocket.lines()
        # A wider level comes down on metal that the one above left standing.
        metal = metal if allowance >= above else work.top
        pocket, strands = made[allowance]
        for strand in strands:
            pocket.cut(strand, level.z, metal)
        metal, above = level.z, allowance


def _check_keys(item: PocketPass) -> None:
    """Raise where keys are given that go with another kind of milling."""
    side = item.milling == "side"
    for key in FLOOR_ONLY if side else SIDE_ONLY:
        if key in item.model_fields_set:
            other = '"bottom" or "bottom_and_side"' if side else '"side"'
            raise PassError(key, f"goes with milling = {other}")
    if side:
        if isinstance(item.approach, Helix):
            raise PassError("approach.kind", "helix goes with a floor; take another along a wall")
        if (item.radial_passes > 1) != (item.radial_cutting_depth is not None):
            raise PassError(
                "radial_cutting_depth", "and radial_passes go together along a wall; write both"
            )
        return
    if isinstance(item.approach, StraightLead | ArcLead):
        raise PassError(
            "approach.kind",
            f'{item.approach.kind} goes with milling = "side"; take plunge, ramp or helix',
        )
    if item.radial_cutting_depth is None:
        raise PassError("radial_cutting_depth", "is missing: distance between neighbouring paths")


def _pocket(work: Work, item: PocketPass, tip: Tip, region: list[Contour], level: Level) -> Pocket:
    gap = work.side_tool.cutting_radius + level.allowance_side
    if gap <= TOUCH_MM:
        raise PassError(level.key, "puts the axis on the boundary or past it")
    if item.milling == "bottom" and level.allowance_side <= 0:
        raise PassError(
            level.key,
            'with milling = "bottom" is how far the tool keeps off the walls; give it above 0',
        )
    times = 1 if item.strategy == "contour_parallel" else 2
    step = work.stepover(item.radial_cutting_depth or 0.0, times)
    return Pocket(work, item, tip, region, gap, step)


def _sides(
    work: Work, item: PocketPass, tip: Tip, region: list[Contour], levels: list[Level]
) -> None:
    """Cut along the walls of boundary and islands, the last round on the wall."""
    metal, above = work.top, levels[0].allowance_side
    step = item.radial_cutting_depth or 0.0
    made: dict[float, list[list[Way]]] = {}
    for level in levels:
        allowance = level.allowance_side
        if allowance not in made:
            gap = work.reach + allowance
            if gap <= TOUCH_MM:
                raise PassError(level.key, "puts the axis on the boundary or past it")
            made[allowance] = [
                wall_ways(work, item, region, gap + n * step, gap)
                for n in range(item.radial_passes - 1, -1, -1)
            ]
        metal = metal if allowance == above else work.top
        for way in itertools.chain(*made[allowance]):
            way.cut(tip, level.z, metal)
        for way in made[allowance][-1] * item.spring_passes:
            way.cut(tip, level.z, level.z)
        metal, above = level.z, allowance


@dataclasses.dataclass(frozen=True)
class Strand:
    """Pieces cut without going up: entered once, then run after run with lines between."""

    runs: tuple[Contour, ...]
    helix: tuple[Point, float] | None = None  # center and room, mm


class Pocket:
    """The area inside a boundary, to be covered with paths.

    Parameters
    ----------
    work : Work
    item : PocketPass or RasterPass
    tip : Tip
    region : list of Contour
        Boundary counter-clockwise, islands clockwise.
    gap : float
        How far the axis keeps from them, mm; 0 lets it run on them.
    step : float
        Distance between neighbouring paths, mm.

    Raises
    ------
    PassError
        The tool doesn't fit.
    """

    def __init__(
        self,
        work: Work,
        item: PocketPass | RasterPass,
        tip: Tip,
        region: list[Contour],
        gap: float,
        step: float,
    ) -> None:
        self.item, self.tip, self.region = item, tip, region
        self.gap, self.step, self.unit = gap, step, work.unit
        self.radius = work.side_tool.cutting_radius
        self.wall = fits(work, region, gap)

    # ------------------------------------------------------------------------- contour_parallel

    def rings(self) -> list[Strand]:
        """Return the rounds from the inside out, in strands.

        Notes
        -----
        The tool steps from a round to the nearest point of the one outside it, the stepover away.
        That way leads straight to the nearest wall, so it keeps clear of all of them. Where several
        strands come to one round the last goes on along it and the others end.
        """
        done: list[Strand] = []
        active: list[Strand] = []
        for depth in reversed(self._depths()):
            coming: dict[int, list[Strand]] = {}
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
            here = offset(self.region, self.gap + len(depths) * self.step)
            if not here:
                return depths
            depths.append(here)

    def _check_count(self) -> None:
        """Raise where the rounds would be too many; the deepest place says how many there are."""
        import shapely

        rings = [c.points(CHORD_MM) for c in self.region]
        area = shapely.Polygon(rings[0], rings[1:])
        deepest = float(shapely.maximum_inscribed_circle(area, tolerance=CHORD_MM).length)
        count = math.ceil((deepest - self.gap) / self.step)
        if count > LIMIT_ROUNDS:
            raise PassError(
                "radial_cutting_depth",
                f"would take {count} rounds; at most {LIMIT_ROUNDS} are made",
            )

    def _leaf(self, path: Contour, beside: list[Contour]) -> Strand:
        if not isinstance(self.item.approach, Helix):
            longest = max(range(len(path.pieces)), key=lambda i: path.pieces[i].length)
            return Strand((path.begun_at(longest, 0.5),))
        center = self._roomiest(path, beside)
        room = float(distance(self.region, [center])[0]) - self.gap
        index, part, _ = path.nearest(center)
        return Strand((path.begun_at(index, part),), (center, room))

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

    def _turned(self, strand: Strand) -> Strand:
        # The inside is on the left, so the wall is on the right: climb.
        if self.item.cutmode == "climb":
            return strand
        return dataclasses.replace(strand, runs=tuple(r.reversed() for r in strand.runs))

    # ---------------------------------------------------------------------------- bidirectional

    def lines(self) -> list[Strand]:
        """Return the lines to and fro, then the rounds along the walls."""
        if isinstance(self.item.approach, Helix):
            raise PassError(
                "approach.kind", "helix goes with contour_parallel; take ramp or plunge here"
            )
        rows = self._rows()
        strands: list[Strand] = []
        runs: list[Contour] = []
        for line in self._ordered(rows):
            if runs and not self._clear(runs[-1].end, line.start):
                strands.append(Strand(tuple(runs)))
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
                strands.append(Strand((*runs, wall)))
            else:
                strands += [Strand(tuple(runs)), Strand((wall,))]
        return [*strands, *(Strand((w,)) for w in walls)]

    def _rows(self) -> list[list[Contour]]:
        """Return the lines inside the wall's path, row by row, each from one side."""
        angle = math.radians(self.item.angle)
        ux, uy = math.cos(angle), math.sin(angle)
        low, high, left, right = _extent(self.wall, ux, uy)
        count = max(1, math.ceil((high - low) / self.step - TOUCH_MM))
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
        near = float(distance(self.region, [point])[0])
        if near < self.gap - TOUCH_MM:
            return False
        if near <= TOUCH_MM:  # on the boundary, where the axis may run on it
            return True
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

    def cut(self, strand: Strand, z: float, metal: float) -> None:
        """Enter, cut the runs one after the other, go up."""
        self._enter(strand, z, metal)
        for run in strand.runs:
            self.tip.line(run.start)
            self.tip.along(run.pieces)
        self.tip.up()

    def _enter(self, strand: Strand, z: float, metal: float) -> None:
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
            ramp_down(self.tip, approach, loop, z)
        else:
            self.tip.plunge(z)

    def _helix(self, helix: Helix, strand: Strand, z: float, metal: float) -> None:
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
        radius = helix.radius if helix.radius is not None else min(self.radius / 2, room)
        if radius > room + SNAP_MM or radius < self.radius / 20:
            place = say_point(center, self.unit)
            raise PassError(
                "approach.radius",
                f"no room for a helix of radius {say_length(radius, self.unit)} at {place}: the "
                f"roomiest place inside allows {say_length(max(0.0, room), self.unit)}. Take a "
                "smaller one, a ramp or a plunge",
            )
        return radius


def _longer(strand: Strand, path: Contour) -> Strand:
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
