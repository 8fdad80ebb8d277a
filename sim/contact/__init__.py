"""What every pass touched: which part of the tool met stock, where, how deep, and how near it came.

Gaps and bites come from exact columns and rays at stations along the path, so they are the same at
any pitch; areas and volumes are sums over the columns of the grid and carry their grid error.

Words
-----
radial bite
    Metal on the diameter across the path, mm: what is left on the wall, or the stepover.
engaged width
    Extent of the arc in metal square to the motion: the effective ae of handbooks. On a straight
    wall the two are equal. Outside a boss of radius B with the allowance a a tool of radius R has
    the width a (2 B + a) / (2 (B + R)), inside a bore of radius B a (2 B - a) / (2 (B - R)).
axial bite
    Highest metal met, over the tip, at most the cutting length.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import BadInput
from ..moves import Pass
from ..units import MM_PER, Unit
from .along import Along, measure_along
from .engagement import BOTH, CLIMB, CONVENTIONAL
from .floor import Floor, FloorRow, find_floors
from .sides import corner_bites, refine_gap
from .stations import MOST, SPACING, Places, lengths_of
from .stock import Before
from .tool import CUTS, Edge, zones_of

if TYPE_CHECKING:
    from ..job import Job

__all__ = [
    "FINISHED",
    "Along",
    "Contact",
    "Near",
    "PassContact",
    "WallRow",
    "along_pass",
    "contact",
]

FINISHED: Final = 0.1 * 0.0254
"""A face this near the tool's own is taken as finished already, mm: 0.1 thou."""
WAYS: Final = {CLIMB: "climb", CONVENTIONAL: "conventional", BOTH: "slot"}
CORNERS: Final = 4
REFINED: Final = 8
"""Stations with the least gaps that are looked at more closely, a pass."""

Progress = Callable[[float], None]


@dataclasses.dataclass(frozen=True)
class Near:
    """A least gap.

    Attributes
    ----------
    gap : float
        mm; 0 where the tool cuts.
    to_pass : int
        The pass that left the face; 0 where the tool cuts.
    at : (x, y, z) or None
        On the face, mm.
    line : int
    """

    gap: float
    to_pass: int
    at: tuple[float, float, float] | None
    line: int


@dataclasses.dataclass(frozen=True)
class WallRow:
    """A wall beside a pass, by who left it and how near it is along the path.

    Attributes
    ----------
    into_pass : int
        The pass that left it; 0 raw stock.
    gap : float
        Least gap at middle and top of the wall, mm; below 0: minus the deepest bite.
    foot_gap : float
        The same at its foot, just over what the end cuts and over the corner: an earlier tool's
        fillet counts there.
    length : float
        Path along which it is within reach, mm; `cut_length`: along which it is cut.
    cut_length : float
    mean_bite : float
        Of that path, by length, mm; 0: it is not cut.
    at : (x, y, z)
        The tip there, mm.
    line : int
    """

    into_pass: int
    gap: float
    foot_gap: float
    length: float
    cut_length: float
    mean_bite: float
    at: tuple[float, float, float]
    line: int


@dataclasses.dataclass(frozen=True)
class PassContact:
    """What one pass touched; lengths in mm, angles in radians.

    Attributes
    ----------
    info : Pass
    met : tuple of str
        Parts of the tool that met stock, from the tip up.
    radial, axial, width, engagement, chip : (peak, mean) or None
        Of feed moves, where they cut; means by length; plunges only in a pass that does nothing
        else. None: nothing cut; of `chip` also: feed,
        spindle or flutes are not known (its mean is the mean of the mean chip).
    wall_bite : (peak, mean) or None
        Bite into walls of other passes and of the raw stock: metal beside the axis that is higher
        than what the end cuts.
    corner_bite : float
        Deepest bite of the corner's arc, square to it, at the sides; 0: none.
    floor : Floor
        Bottom, corner, floors of earlier passes, volumes by zone: from columns.
    bottom_gap, side_gap : Near or None
        Least gap to floors and walls that earlier passes left; 0 where it cuts them; None: none
        under it or within reach.
    walls : tuple of WallRow
        The deepest bite first.
    length, cutting_length, air_length, finished_length : float
        Of feed moves; the last: in contact with faces that an earlier pass left where this one's
        tool surface is, within `FINISHED`.
    rapid_cutting : float
        Length of rapids that meet stock, mm.
    cut : str or None
        ``climb``, ``conventional``, ``slot`` or ``mixed``; None: nothing cut.
    climb_share : float
        Of the length that cuts one-sidedly.
    along : Along
        All of it at stations along the path.
    """

    info: Pass
    met: tuple[str, ...]
    radial: tuple[float, float] | None
    axial: tuple[float, float] | None
    width: tuple[float, float] | None
    engagement: tuple[float, float] | None
    chip: tuple[float, float] | None
    wall_bite: tuple[float, float] | None
    corner_bite: float
    floor: Floor
    bottom_gap: Near | None
    side_gap: Near | None
    walls: tuple[WallRow, ...]
    length: float
    cutting_length: float
    air_length: float
    finished_length: float
    rapid_cutting: float
    cut: str | None
    climb_share: float
    along: Along


@dataclasses.dataclass(frozen=True)
class Contact:
    """What the passes of a job touched.

    Attributes
    ----------
    unit : {'in', 'mm'}
    title : str
    passes : tuple of PassContact
        In program order.
    cell_area : float
        Of the grid that areas and volumes come from, mm^2.
    notes : tuple of str
    """

    unit: Unit
    title: str
    passes: tuple[PassContact, ...]
    cell_area: float
    notes: tuple[str, ...]

    def as_dict(self, *, along: bool = False) -> dict[str, Any]:
        """Return plain data in the job's unit, angles in degrees; `along`: stations as well."""
        from .rows import pass_row

        per = MM_PER[self.unit]
        return {
            "unit": self.unit,
            "title": self.title,
            "passes": [pass_row(p, per, along=along) for p in self.passes],
            "notes": list(self.notes),
        }


def contact(
    job: Job, pass_number: int | None = None, *, progress: Progress | None = None
) -> Contact:
    """Return what each pass touched.

    Parameters
    ----------
    job : Job
    pass_number : int, optional
        Only this pass; all unless given.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Raises
    ------
    BadInput
        There is no such pass.
    """
    passes = _asked(job, pass_number)
    before = Before(job)
    say = progress or (lambda _: None)
    last = max((p.number for p in passes), default=0)
    count = int(np.searchsorted(job.program.moves.pass_number, last, side="right"))
    floors = find_floors(job, count, lambda share: say(0.3 * share))
    found, spread = [], _spread(before)
    for k, info in enumerate(passes):
        mine = np.flatnonzero((before.moves.pass_number == info.number) & before.moves.sweeps())
        if len(mine):
            edge = Edge(job.tools[info.tool])
            along = measure_along(before, edge, mine, SPACING * edge.radius * spread)
            found.append(_summed(before, edge, info, along, floors[info.number]))
        say(0.3 + 0.7 * (k + 1) / len(passes))
    return Contact(
        job.unit, job.title, tuple(found), job.grid.cell_area,
        tuple(_notes(job, found, spread)),
    )  # fmt: skip


def along_pass(before: Before, number: int) -> Along:
    """Return what a pass met at stations along its path.

    Parameters
    ----------
    before : Before
    number : int
        Of a pass that sweeps something.
    """
    mine = np.flatnonzero((before.moves.pass_number == number) & before.moves.sweeps())
    edge = Edge(before.job.tools[int(before.moves.tool[mine[0]])])
    return measure_along(before, edge, mine, SPACING * edge.radius * _spread(before))


def _asked(job: Job, number: int | None) -> list[Pass]:
    passes = [p for p in job.program.passes if number in (None, p.number)]
    if number is not None and not passes:
        last = job.program.passes[-1].number if job.program.passes else 0
        raise BadInput(f"there is no pass {number}; the last is {last}")
    return passes


def _spread(before: Before) -> float:
    """Return how much wider stations stand than `SPACING` says, so that they stay about `MOST`."""
    mine = np.flatnonzero(before.moves.sweeps())
    radius = {n: Edge(t).radius for n, t in before.job.tools.items()}
    of = np.array([radius[t] for t in before.moves.tool[mine].tolist()])
    count = float((lengths_of(before, mine) / (SPACING * of)).sum()) if len(mine) else 0.0
    return max(1.0, count / MOST)


def _summed(before: Before, edge: Edge, info: Pass, along: Along, floor: Floor) -> PassContact:
    feed, cuts = ~along.rapid, (along.zones & CUTS) > 0
    works = feed & cuts
    # A plunge is in metal all round: it counts only where there is nothing else.
    sideways = works & ~along.upright
    judged = sideways if sideways.any() else works
    weight = along.weight
    cutting = float(weight[works].sum())
    length = float(weight[feed].sum())
    zones = int(np.bitwise_or.reduce(along.zones)) if len(along.zones) else 0
    cut, share = _direction(along, judged)
    return PassContact(
        info=info,
        met=zones_of(zones),
        radial=_peak_mean(along.radial, judged, weight),
        axial=_peak_mean(along.axial, judged, weight),
        width=_peak_mean(along.width, judged, weight),
        engagement=_peak_mean(along.engagement, judged, weight),
        chip=_chip(along, judged),
        wall_bite=_wall_bite(along, works, info.number),
        corner_bite=_corner_bite(before, edge, along),
        floor=floor,
        bottom_gap=_bottom_gap(floor, along),
        side_gap=_side_gap(before, edge, along),
        walls=_walls(along),
        length=length,
        cutting_length=cutting,
        air_length=length - cutting,
        finished_length=float(weight[feed & ~along.upright & along.finished].sum()),
        rapid_cutting=float(weight[~feed & cuts].sum()),
        cut=cut,
        climb_share=share,
        along=along,
    )


def _peak_mean(
    values: NDArray[np.float64], works: NDArray[np.bool_], weight: NDArray[np.float64]
) -> tuple[float, float] | None:
    if not works.any():
        return None
    total = float(weight[works].sum())
    mean = (
        float((values * weight)[works].sum()) / total if total > 0 else float(values[works].mean())
    )
    return float(values[works].max()), mean


def _wall_bite(along: Along, works: NDArray[np.bool_], number: int) -> tuple[float, float] | None:
    others = (along.wall_pass >= 0) & (along.wall_pass != number) & (along.wall < 0)
    bite = np.where(others, -along.wall, 0.0).max(axis=1, initial=0.0)
    return _peak_mean(bite, works & (bite > 0), along.weight)


def _corner_bite(before: Before, edge: Edge, along: Along) -> float:
    """Return the deepest bite of the corner, the stations nearest to it asked again finely."""
    k = np.argsort(-along.corner_bite, kind="stable")[:CORNERS]
    k = k[along.corner_bite[k] > 0]
    places = Places.at(before, along.part[k], along.share[k])
    return float(corner_bites(before, edge, places, fine=True).max(initial=0.0))


def _chip(along: Along, works: NDArray[np.bool_]) -> tuple[float, float] | None:
    known = works & np.isfinite(along.chip_peak)
    peak = _peak_mean(along.chip_peak, known, along.weight)
    mean = _peak_mean(along.chip_mean, known, along.weight)
    return None if peak is None or mean is None else (peak[0], mean[1])


def _direction(along: Along, works: NDArray[np.bool_]) -> tuple[str | None, float]:
    """Return the word for how a pass cuts, and the share of climbing of what is one-sided."""
    sums = {k: float(along.weight[works & (along.cutting == k)].sum()) for k in WAYS}
    one_sided = sums[CLIMB] + sums[CONVENTIONAL]
    share = sums[CLIMB] / one_sided if one_sided > 0 else 0.0
    total = one_sided + sums[BOTH]
    if total <= 0:
        return ("slot" if works.any() else None), share
    word = next((WAYS[k] for k, v in sums.items() if v >= MAJORITY * total), "mixed")
    return word, share


MAJORITY: Final = 0.9
"""A pass that cuts one way on this share of its length is called so."""


def _bottom_gap(floor: Floor, along: Along) -> Near | None:
    """Return the least gap to the floors of earlier passes; columns and stations together."""
    rows: Iterator[FloorRow] = iter(floor.floors)
    least = min(rows, key=lambda r: abs(max(r.gap, 0.0)), default=None)
    best = None
    if least is not None:
        best = Near(max(least.gap, 0.0), least.into_pass, (*least.at, least.z), least.line)
    if floor.bottom.area > 0:
        at = floor.bottom.at
        return Near(0.0, 0, at, least.line if least is not None and least.gap < 0 else 0)
    seen = np.where(along.floor_pass > 0, -along.floor, np.inf)
    k = int(np.argmin(seen)) if len(seen) else 0
    if len(seen) and np.isfinite(seen[k]) and (best is None or seen[k] < best.gap - 1e-9):
        x, y, z = (float(v) for v in along.tip[k])
        best = Near(
            max(float(seen[k]), 0.0), int(along.floor_pass[k]), (x, y, z - float(seen[k])),
            int(along.line[k]),
        )  # fmt: skip
    return best


def _side_gap(before: Before, edge: Edge, along: Along) -> Near | None:
    """Return the least gap to the walls of earlier passes: 0 where they are cut."""
    bites = np.where(along.wall_pass > 0, along.wall, np.inf)
    if len(bites) and (bites < 0).any():
        k = int(np.argmin(bites)) // 2
        x, y, z = (float(v) for v in along.tip[k])
        return Near(0.0, 0, (x, y, z), int(along.line[k]))
    near = np.flatnonzero(along.gap_pass > 0)
    near = near[np.argsort(along.gap[near], kind="stable")][:REFINED]
    best: Near | None = None
    for k in near.tolist():
        start = (float(along.share[k]), float(along.gap_angle[k]), float(along.gap_height[k]))
        move = int(along.part[k])
        gap, place, _ = refine_gap(before, edge, move, start, float(along.step[k]))
        if math.isfinite(gap) and (best is None or gap < best.gap - 1e-9):
            best = Near(gap, int(along.gap_pass[k]), place, int(along.line[k]))
        if best is not None and best.gap == 0:
            break
    return best


def _walls(along: Along) -> tuple[WallRow, ...]:
    """Return the walls beside a pass by who left them."""
    rows = []
    for number in np.unique(along.wall_pass[along.wall_pass >= 0]).tolist():
        mine = np.where(along.wall_pass == number, along.wall, np.nan)
        here = np.isfinite(mine)
        if not here.any():
            continue
        k = int(np.nanargmin(mine)) // 2
        x, y, z = (float(v) for v in along.tip[k])
        bite = np.where(mine < 0, -mine, 0.0).max(axis=1)
        length = float(along.weight[bite > 0].sum())
        mean = float((along.weight * bite).sum()) / length if length > 0 else 0.0
        rows.append(
            WallRow(
                number,
                float(np.nanmin(mine)),
                float(np.nanmin(np.where(here, along.foot, np.nan), initial=np.inf)),
                float(along.weight[here.any(axis=1)].sum()),
                length,
                mean,
                (x, y, z),
                int(along.line[k]),
            )
        )
    rows.sort(key=lambda r: (r.gap, r.into_pass))
    return tuple(rows)


def _notes(job: Job, found: list[PassContact], spread: float) -> Iterator[str]:
    if spread > 1.001:
        yield f"a long program: stations stand {spread:.1f} times as far apart as usual"
    for number in sorted({p.info.tool for p in found}):
        tool = job.tools[number]
        if tool.undercut:
            yield f"tool {number} undercuts: what its upper side meets is not measured here"
        if not tool.flutes:
            yield f"tool {number}: no flutes given (ZEFF), so no chip thickness"
    for p in found:
        if p.rapid_cutting > 0:
            yield f"pass {p.info.number}: a rapid meets stock"
