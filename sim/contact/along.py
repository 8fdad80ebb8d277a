"""One pass along its path: every station's measures as arrays."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .chip import feed_per_tooth, mean_chip, peak_chip
from .engagement import Engagement, engagement
from .sides import Sides, corner_bites, sides
from .stations import (
    BLOCK,
    CHANGE,
    Look,
    Places,
    Rings,
    lengths_of,
    look,
    place_stations,
)
from .tool import CUTS, Edge

if TYPE_CHECKING:
    from .stock import Before

__all__ = ["Along", "measure_along"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

PEAKS: Final = ("engagement", "radial", "axial", "corner_bite")
ROUNDS: Final = 6
"""Most rounds in which stations are added beside the largest measures."""
FACE: Final = 0.1 * 0.0254
"""A face this near the tool's own is finished already, mm."""


@dataclasses.dataclass(frozen=True)
class Along:
    """Stations of a pass in program order; arrays of n, lengths in mm, angles in radians.

    Attributes
    ----------
    s, weight : ndarray of float64
        Length of the path so far, rapids included, and the length that the station stands for.
    tip : ndarray of float64, shape (n, 3)
    move, line : ndarray of int64
        The job's move, and its line.
    rapid, upright : ndarray of bool
        Of a rapid; of a move along Z.
    part, share, step : ndarray
        The part of the move (see `Before.moves`), where on it, and the share to the next station.
    zones : ndarray of int64
        Bits of what meets metal, `contact_tool.BITS`.
    engagement, width, axial : ndarray of float64
        See `contact_engagement.Engagement`.
    cutting : ndarray of int64
        Which way: `NONE`, `CLIMB`, `CONVENTIONAL`, `BOTH`.
    radial : ndarray of float64
        Metal on the diameter across the path.
    wall : ndarray of float64, shape (n, 2)
        Gap to the wall on the right and on the left, below 0 minus the bite; NaN: none near.
    foot : ndarray of float64, shape (n, 2)
        The same just over what the end cuts and over the corner, where fillets of others stand.
    wall_pass : ndarray of int32, shape (n, 2)
        Who left it: 0 raw stock, -1 nobody.
    gap, gap_angle, gap_height : ndarray of float64
    gap_pass : ndarray of int32
        Least gap to a wall of an earlier pass, in any direction looked at.
    corner_bite : ndarray of float64
        Deepest metal square to the corner's arc, at the sides.
    floor : ndarray of float64
        How high a level floor of an earlier pass stands over the tip: above 0 the bite, below it
        minus the gap; NaN: none.
    floor_pass : ndarray of int32
    chip_peak, chip_mean : ndarray of float64
        NaN where nothing is cut or flutes, feed or spindle are not known.
    finished : ndarray of bool
        A wall or floor of an earlier pass lies where this pass's tool surface is.
    """

    s: Floats
    weight: Floats
    tip: Floats
    move: Ints
    line: Ints
    rapid: Bools
    upright: Bools
    part: Ints
    share: Floats
    step: Floats
    zones: Ints
    engagement: Floats
    width: Floats
    axial: Floats
    cutting: Ints
    radial: Floats
    wall: Floats
    foot: Floats
    wall_pass: NDArray[np.int32]
    gap: Floats
    gap_pass: NDArray[np.int32]
    gap_angle: Floats
    gap_height: Floats
    corner_bite: Floats
    floor: Floats
    floor_pass: NDArray[np.int32]
    chip_peak: Floats
    chip_mean: Floats
    finished: Bools

    def __len__(self) -> int:
        return len(self.s)


def measure_along(before: Before, edge: Edge, mine: Ints, spacing: float) -> Along:
    """Return the measures at the stations of moves of one tool.

    Parameters
    ----------
    before : Before
    edge : Edge
        Of their tool.
    mine : ndarray of int64
        Moves of `Before.moves`.
    spacing : float
        Of stations, mm.
    """
    known: Rings = {}
    places = place_stations(before, edge, mine, spacing, known)
    measured = _measured(before, edge, places, _ends(places), known)
    for _ in range(ROUNDS):
        more = _beside_peaks(before, mine, places, measured)
        if not len(more):
            break
        new = _measured(before, edge, more, np.zeros(len(more), np.bool_), known)
        move, share = (
            np.concatenate([getattr(p, f) for p in (places, more)]) for f in ("move", "share")
        )
        order = np.lexsort((share, move))
        places = Places.at(before, move[order], share[order])
        measured = {k: np.concatenate([v, new[k]])[order] for k, v in measured.items()}
    length = lengths_of(before, mine)
    at = np.searchsorted(mine, places.move)
    s, length = (np.cumsum(length) - length)[at] + places.share * length[at], length[at]
    gap = _gaps(places)
    moves = before.moves
    return Along(
        s=s, weight=0.5 * length * (gap + np.append(0.0, gap[:-1])), tip=places.tip,
        move=before.of[places.move], line=moves.line[places.move].astype(np.int64),
        rapid=moves.rapid[places.move], upright=places.upright, part=places.move,
        share=places.share, step=np.maximum(gap, np.append(0.0, gap[:-1])) + 1e-9, **measured,
    )  # fmt: skip


def _ends(places: Places) -> Bools:
    """Return the stations at the beginning and the end of a move."""
    change = np.diff(places.move) > 0
    ends: Bools = np.append(True, change) | np.append(change, True)
    return ends


def _gaps(places: Places) -> Floats:
    """Return the share of the move from each station to the next on it, 0 from the last."""
    gaps: Floats = np.diff(places.share, append=0.0)
    gaps[np.append(np.diff(places.move) > 0, True)] = 0.0
    return gaps


def _beside_peaks(before: Before, mine: Ints, places: Places, measured: dict[str, Any]) -> Places:
    """Return new stations half way to both neighbours of those with the largest measures."""
    length = lengths_of(before, mine)[np.searchsorted(mine, places.move)]
    gap = _gaps(places)
    peaks = {int(np.argmax(measured[name])) for name in PEAKS}
    peaks.add(int(np.argmax(np.nan_to_num(-measured["wall"], nan=-1.0).max(axis=1))))
    low = np.unique([k - d for k in peaks for d in (0, 1) if k >= d])
    low = low[gap[low] * length[low] > CHANGE]
    return Places.at(before, places.move[low], places.share[low] + 0.5 * gap[low])


def _measured(
    before: Before, edge: Edge, places: Places, ends: Bools, known: Rings
) -> dict[str, Any]:
    """Return the measures of all stations, those over the stock left out of the work."""
    table = _blank(len(places))
    low = places.tip[:, 2] <= float(before.stock.high[2])
    for upright in (False, True):
        which = np.flatnonzero((places.upright == upright) & low)
        for k in range(0, len(which), BLOCK):
            part = which[k : k + BLOCK]
            for name, values in _block(
                before, edge, places[part], ends[part], upright, known
            ).items():
                table[name][part] = values
    return table


def _blank(n: int) -> dict[str, Any]:
    def nan(*more: int) -> Floats:
        return np.full((n, *more), np.nan)

    return {
        "zones": np.zeros(n, np.int64), "engagement": np.zeros(n), "width": np.zeros(n),
        "axial": np.zeros(n), "cutting": np.zeros(n, np.int64), "radial": np.zeros(n),
        "wall": nan(2), "foot": nan(2), "wall_pass": np.full((n, 2), -1, np.int32), "gap": nan(),
        "gap_pass": np.zeros(n, np.int32), "gap_angle": nan(), "gap_height": nan(),
        "corner_bite": np.zeros(n), "floor": nan(), "floor_pass": np.zeros(n, np.int32),
        "chip_peak": nan(), "chip_mean": nan(), "finished": np.zeros(n, np.bool_),
    }  # fmt: skip


def _block(
    before: Before, edge: Edge, places: Places, ends: Bools, upright: bool, known: Rings
) -> dict[str, Any]:
    """Return the measures of some stations, all of one kind."""
    seen = look(before, edge, places, upright=upright, known=known)
    found = Sides.none(len(places))
    near = np.flatnonzero((seen.beside > 0).any(axis=1))
    if len(near):
        part = sides(before, edge, places[near], _pick(seen, near), ends[near], upright=upright)
        for field in dataclasses.fields(part):
            getattr(found, field.name)[near] = getattr(part, field.name)
    cuts = np.flatnonzero((seen.zones & CUTS) > 0)
    arcs = engagement(before, edge, places[cuts], _pick(seen, cuts), upright=upright)
    table: dict[str, Any] = {
        "zones": seen.zones, "radial": found.width, "wall": found.wall, "foot": found.foot,
        "wall_pass": found.wall_pass, "gap": found.gap, "gap_pass": found.gap_pass,
        "gap_angle": found.gap_angle, "gap_height": found.gap_height, "floor": seen.floor,
        "floor_pass": seen.floor_pass, "finished": _finished(before, places, seen, found),
    }  # fmt: skip
    blank = _blank(len(places))
    for name, values in _cutting(before, edge, places[cuts], arcs, upright).items():
        blank[name][cuts] = values
        table[name] = blank[name]
    if upright:
        table["radial"] = np.where(table["width"] > 0, table["width"], 0.0)
    return table


def _pick(seen: Look, which: Ints) -> Look:
    return Look(*(getattr(seen, f.name)[which] for f in dataclasses.fields(seen)))


def _cutting(
    before: Before, edge: Edge, places: Places, arcs: Engagement, upright: bool
) -> dict[str, Any]:
    """Return what only stations that cut have."""
    moves, which = before.moves, places.move
    tooth = feed_per_tooth(moves.feed[which], moves.spindle[which], edge.tool.flutes)
    lead = edge.sin_kappa(np.clip(arcs.axial, 0.0, edge.top))
    if upright:
        lead = np.ones(len(lead))
    return {
        "engagement": arcs.arc, "width": arcs.width, "axial": arcs.axial, "cutting": arcs.cutting,
        "chip_peak": peak_chip(tooth, arcs.nearest, lead),
        "chip_mean": mean_chip(tooth, arcs.sines, arcs.arc, lead),
        "corner_bite": np.zeros(len(which)) if upright else corner_bites(before, edge, places),
    }  # fmt: skip


def _finished(before: Before, places: Places, seen: Look, found: Sides) -> Bools:
    """Return where a face of an earlier pass lies where the tool's own surface is."""
    mine = before.moves.pass_number[places.move]
    by = found.wall_pass
    wall = (np.abs(found.wall) <= FACE) & (by > 0) & (by < mine[:, None])
    floor = (seen.floor_pass > 0) & (np.abs(seen.floor) <= FACE)
    done: Bools = wall.any(axis=1) | floor
    return done
