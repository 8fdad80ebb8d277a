"""Levels, the steps between them, and skims: all that is at least as wide as the least width.

Columns find what is wide; `narrow` and `between` what lies between them, and where exactly one
level ends.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from .between import areas_of, find_islands, find_skims, pieces_of, wide_labels
from .cut import Skim
from .grid import LEAST_WIDTH, Tile
from .levels import Level, find_levels
from .lines import node_labels, walk
from .memory import Arrays, strips
from .narrow import SAME_LEVEL, Field, Net, TooManyHollows
from .prober import Prober
from .steps import Between, Step, find_steps

__all__ = ["SAME_LEVEL", "Faces", "Level", "Step", "find_faces", "find_levels", "find_steps"]


@dataclasses.dataclass(frozen=True)
class Faces:
    """What `find_faces` found.

    Attributes
    ----------
    levels, steps, skims : tuple
    coarse : bool
        Beside metal that stands above a cutting part only what columns find was looked for.
    short : bool
        There was too much to look through for strips narrower than the columns.
    """

    levels: tuple[Level, ...]
    steps: tuple[Step, ...]
    skims: tuple[Skim, ...]
    coarse: bool = False
    short: bool = False


def find_faces(
    tile: Tile,
    skims: tuple[Skim, ...],
    prober: Prober,
    *,
    skim_limit: float,
    least_width: float = LEAST_WIDTH,
    threads: int | None = None,
    arrays: Arrays | None = None,
) -> Faces:
    """Return levels, steps and skims at least `least_width` wide, at any pitch.

    Parameters
    ----------
    tile : Tile
        With `flat`.
    skims : tuple of Skim
        As the columns found them.
    prober : Prober
        Exact columns of the same surface.
    skim_limit : float
        A cut whose tip goes deeper under a floor than this is none of the skims, mm.
    least_width : float
        Strips narrower than this count for nothing, mm.
    threads : int, optional
        All cores unless given; the result does not depend on it.
    arrays : Arrays, optional
        Where large arrays come from.
    """
    arrays = arrays or Arrays(tile.grid.columns)
    columns, number = find_levels(tile, prober.packed, arrays)
    raw_z = np.array(sorted(v.z for v in columns if v.pass_number == 0))
    field = Field.of(prober, raw_z, limit=skim_limit, least=least_width, threads=threads)
    net = Net(field, tile.grid)
    coarse = False
    try:
        between, wide = _look_between(net)
    except TooManyHollows:
        coarse = True
        field.seen[0] = 0
        between, wide = _look_between(net, columns)
    areas = areas_of(net, between.pieces, between.islands, wide)
    levels, rank = _all_levels(field, columns, areas, wide, tile.grid.cell_area)
    table = np.array([rank[k] for k in _labels_of(field, columns)] + [-2, -1])
    for rows in strips(tile.grid.ny):
        number[rows] = table[number[rows]]
    steps = find_steps(tile, levels, number, prober, arrays, (between, rank))
    found = find_skims(net, skims)
    return Faces(levels, steps, found, coarse, field.short[0])


def _look_between(
    net: Net, columns: tuple[Level, ...] | None = None
) -> tuple[Between, NDArray[np.int64]]:
    """Return what lies between the columns, and the levels that are wide somewhere.

    columns: the levels that columns found, if places with metal above a cutting part are left out.
    """
    boxes, single = net.mixed(columns is not None)
    if columns is not None:
        single = np.union1d(single, _labels_of(net.field, columns))
    nodes = node_labels(net, boxes)
    pieces = pieces_of(net, walk(net, boxes, nodes))
    islands = find_islands(net, boxes, nodes, pieces)
    return Between(net.field, pieces, islands), np.union1d(single, wide_labels(nodes))


def _labels_of(field: Field, levels: tuple[Level, ...]) -> list[int]:
    """Return the label of each level."""
    return [
        int(np.argmin(np.abs(field.z - v.z) + 1e3 * (field.pass_number != v.pass_number)))
        for v in levels
    ]


def _all_levels(
    field: Field,
    columns: tuple[Level, ...],
    areas: dict[int, float],
    wide: NDArray[np.int64],
    cell_area: float,
) -> tuple[tuple[Level, ...], NDArray[np.int64]]:
    """Return the levels wide enough, highest first, and the place there of each label or -1."""
    found = {
        k: Level(float(field.z[k]), int(field.pass_number[k]), area / cell_area)
        for k, area in areas.items()
    }
    for label, level in zip(_labels_of(field, columns), columns, strict=True):
        if label in wide:
            found[label] = level
        elif label in found:
            found[label] = dataclasses.replace(level, columns=found[label].columns)
    rank = np.full(len(field.z), -1, np.int64)
    order = sorted(found, key=lambda k: (-found[k].z, found[k].pass_number))
    rank[order] = np.arange(len(order))
    return tuple(found[k] for k in order), rank
