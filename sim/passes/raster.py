"""Lines of a round end inside a boundary, over level ground or over the part model."""

from __future__ import annotations

import math

from ..contour import SNAP_MM, Piece
from .operations import Ramp, RasterPass
from .pocket import Pocket, Strand
from .region import region_of
from .scallop import flat_step, given_step, round_end
from .shapes import PassError
from .surface import Surface, follow
from .work import Work

__all__ = ["raster_moves"]


def raster_moves(work: Work, item: RasterPass) -> None:
    """Make the moves of a raster pass: lines to and fro, then a round along the boundary.

    Notes
    -----
    With the round every place of the area is within half of the stepover of a path, so that no
    cusp is higher than those between the lines.

    Raises
    ------
    PassError
        A boundary or island that can't be used, paths too far apart, a tool without a round end.
    """
    end = round_end(work.side_tool)
    if end is None:
        raise PassError(
            "tool",
            f'a raster goes with a round end; tool {work.tool.number} is "{work.tool.shape}". '
            'For a flat end write operation = "pocket"',
        )
    kind, value = given_step(work, item)
    step = flat_step(value, end[1], end[0]) if kind == "scallop_height" else value
    most = 2 * sum(end)
    if step > most + 1e-9:
        raise PassError(
            "radial_cutting_depth",
            f"{work.say(step)} leaves metal standing between the paths; the end of tool "
            f"{work.tool.number} allows {work.say(most)}",
        )
    if item.side == "on" and item.allowance_side:
        raise PassError("allowance_side", 'has no side to be left on where side = "on"')
    gap = 0.0 if item.side == "on" else work.side_tool.cutting_radius + item.allowance_side
    if gap < 0:
        raise PassError("allowance_side", "puts the axis past the boundary")
    floor, tip = work.floor(item), work.tip()
    region = region_of(work, item, item.islands)
    pocket = Pocket(work, item, tip, region, gap, step)
    if item.surface is None:
        _check_level(item)
        for strand in pocket.lines():
            pocket.cut(strand, floor, work.top)
        return
    surface = _surface(work, item, end, floor)
    for strand in pocket.lines():
        _over(work, item, pocket, strand, surface)


def _check_level(item: RasterPass) -> None:
    if "tolerance" in item.model_fields_set:
        raise PassError("tolerance", 'goes with surface = "part"; level ground needs none')


def _surface(work: Work, item: RasterPass, end: tuple[float, float], floor: float) -> Surface:
    """Return the part model under the ball."""
    part = work.settings.sources.part
    if part is None:
        raise PassError("surface", "the job has no part model; give it [part] model")
    if end[0] > SNAP_MM:
        raise PassError(
            "tool", f'a part model is followed by a ball; tool {item.tool} is "{work.tool.shape}"'
        )
    if isinstance(item.approach, Ramp):
        raise PassError("approach.kind", "ramp goes with level ground; take a plunge here")
    return Surface(part, work.unit, end[1], floor - item.allowance_bottom)


def _over(work: Work, item: RasterPass, pocket: Pocket, strand: Strand, surface: Surface) -> None:
    """Cut the runs of a strand, the tip as high as the ball lies on the part."""
    places: list[tuple[float, float, float]] = []
    here = strand.runs[0].start
    for run in strand.runs:
        link = [Piece(here, run.start)] if math.dist(run.start, here) > SNAP_MM else []
        for piece in (*link, *run.pieces):
            way = follow(surface, piece, item.tolerance).tolist()
            places += [(x, y, z + item.allowance_bottom) for x, y, z in way]
        here = run.end
    tip, highest = pocket.tip, max(z for _, _, z in places)
    if highest > tip.plane:
        raise PassError(
            "retract_plane",
            f"{work.say(tip.plane)} is below the part under the ball, {work.say(highest)}; set "
            "it above",
        )
    tip.over(places[0][:2])
    tip.near(max(work.top, places[0][2]))
    tip.plunge(places[0][2])
    for place in places[1:]:
        tip.to(place)
    tip.up()
