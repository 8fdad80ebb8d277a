"""What lies between columns, put together: pieces of lines, islands, and narrow skims."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cut import Skim
from .lines import Lines, node_labels, walk
from .narrow import GONE, RAW_GROUND, SIDE, Field, Floats, Ints, Net

__all__ = ["Island", "Pieces", "areas_of", "find_islands", "find_skims", "pieces_of", "wide_labels"]

LONGEST = 8
"""Chords of a thin strip longer than so many cells run along it and measure nothing."""
ACROSS = 41
"""Places along the side of the window over an island; odd: one in the middle."""
AT_ONCE = 64
"""Boxes looked through at once for a skim that is wide."""
WAYS = 128
"""Directions in which the width of an island is taken."""
THIN = 1e-3
"""A width short of the least by this share is still wide enough: as near as widths are found."""
LAST_STEP = 1e-7
"""Where a walk to the deepest place of a skim ends, mm."""
FEW = 12
"""A level that so few pieces of lines cross is measured on windows of its own."""
LABEL = (1 << 32) - 1
"""The bits of a key that hold the label; a label below 0 has the highest of them set."""
MOST_SQUARES = 200_000
"""Squares looked through at once for a level between the lines; of more, none of them."""
ZOOMS = 12
FILLS = 0.6
"""A window is close enough when the island spans this share of it."""


@dataclasses.dataclass(frozen=True)
class Pieces:
    """What lies between changes on the lines: pieces of one label as wide as the least width.

    Attributes
    ----------
    changes : Lines
        Those between pieces that are wide enough.
    inner : ndarray of bool, shape (n, 2)
        The piece before and after each change lies inside its segment: no node is on it.
    label, width, area : ndarray
        Of each piece between two changes: label, mm squarely across, mm^2 that it stands for.
    box : ndarray of int64
    middle : ndarray of float64, shape (n, 2)
        mm.
    """

    changes: Lines
    inner: NDArray[np.bool_]
    label: Ints
    width: Floats
    area: Floats
    box: Ints
    middle: Floats


def pieces_of(net: Net, lines: Lines) -> Pieces:
    """Return the pieces between changes; what is narrower than the least width is left out."""
    kept = _without_thin(lines, net.field.least)
    follows = _follows(kept)
    first = np.flatnonzero(follows)
    a, b = kept[first], kept[first + 1]
    same = np.zeros(len(kept.axis), np.bool_)
    same[first] = (a.j == b.j) & (a.i == b.i)
    between = [
        a.label[:, 1],
        a.s,
        b.s,
        a.square,
        b.square,
        a.axis,
        a.box,
        0.5 * (a.place + b.place),
    ]
    rims = [_rim_pieces(net, kept[~_shifted(follows)], 0), _rim_pieces(net, kept[~follows], 1)]
    label, low, high, s0, s1, axis, box, middle = (
        np.concatenate(part) for part in zip(between, *rims, strict=True)
    )
    g, chord, square = net.grid, high - low, 0.5 * (s0 + s1)
    spacing = np.where(axis == 0, g.pitch_y, g.pitch_x)
    along = np.where(axis == 0, g.pitch_x, g.pitch_y)
    share = np.where(chord < LONGEST * along, square * square, 0.0)
    inner = np.stack([_shifted(same), same], axis=1)
    width = chord * square
    wide = width >= net.field.least * (1 - THIN)
    fields = (label, width, chord * spacing * share, box, middle)
    return Pieces(kept, inner, *(v[wide] for v in fields))


def _rim_pieces(net: Net, ends: Lines, side: int) -> list[Any]:
    """Return what lies between the stock's edge and the first (0) or last (1) change of lines."""
    edge = np.where(
        ends.axis == 0,
        net.node(np.array((-1, net.grid.nx)[side]), 0),
        net.node(np.array((-1, net.grid.ny)[side]), 1),
    )
    low, high = (ends.s, edge) if side else (edge, ends.s)
    middle = ends.place.copy()
    middle[np.arange(len(edge)), ends.axis] = 0.5 * (low + high)
    box = net.box_of(middle[:, 0], middle[:, 1])
    return [ends.label[:, side], low, high, ends.square, ends.square, ends.axis, box, middle]


def _follows(lines: Lines) -> NDArray[np.bool_]:
    """Return which changes have another after them on the same line."""
    on = np.zeros(len(lines.axis), np.bool_)
    on[:-1] = (np.diff(lines.axis) == 0) & (np.diff(lines.across) == 0)
    return on


def _shifted(marks: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return for each whether the one before it is marked."""
    out = np.zeros(len(marks), np.bool_)
    out[1:] = marks[:-1]
    return out


def _without_thin(lines: Lines, least: float) -> Lines:
    """Return the changes with each run of pieces narrower than `least` made one change."""
    follows = _follows(lines)
    s, square = lines.s, lines.square
    thin = np.zeros(len(s), np.bool_)
    k = np.flatnonzero(follows)
    thin[k] = (s[k + 1] - s[k]) * 0.5 * (square[k] + square[k + 1]) < least * (1 - THIN)
    begins = ~_shifted(thin)  # a change after a thin piece joins the one before it
    start = np.flatnonzero(begins)
    stop = np.append(start[1:], len(s))[: len(start)] - 1
    merged = lines[start]
    label = np.stack([lines.label[start, 0], lines.label[stop, 1]], axis=1)
    z = np.stack([lines.z[start, 0], lines.z[stop, 1]], axis=1)
    merged = dataclasses.replace(merged, label=label, z=z)
    return merged[label[:, 0] != label[:, 1]]


def wide_labels(nodes: Ints) -> Ints:
    """Return the levels that fill 3 x 3 nodes somewhere; nodes as from `node_labels`."""
    middle = nodes[:, 1:-1, 1:-1]
    full = middle >= 0
    for dj in range(3):
        for di in range(3):
            full &= nodes[:, dj : nodes.shape[1] - 2 + dj, di : nodes.shape[2] - 2 + di] == middle
    return np.unique(middle[full])


def areas_of(
    net: Net, pieces: Pieces, islands: list[Island], wide: Ints, stage: int = 0
) -> dict[int, float]:
    """Return the area of each level that shows between columns and is not in `wide`, mm^2.

    Along the lines; where few cross it, from windows over each of its parts.
    """
    area: dict[int, float] = {}
    for island in islands:
        area[island.label] = area.get(island.label, 0.0) + island.area
    for label in np.setdiff1d(pieces.label[pieces.label >= 0], wide).tolist():
        mine = pieces.label == label
        whole = _whole(net, label, pieces.middle[mine], stage) if mine.sum() <= FEW else None
        along = float(pieces.area[mine].sum()) if whole is None else whole
        if along > 0:
            area[label] = area.get(label, 0.0) + along
    return area


def _whole(net: Net, label: int, places: Floats, stage: int) -> float | None:
    """Return the area of a level's parts round some places; None if one is too large for that."""
    half = LONGEST * max(net.grid.pitch_x, net.grid.pitch_y)
    boxes: list[tuple[Floats, Floats]] = []
    area = 0.0
    for place in places:
        if any((low <= place).all() and (place <= high).all() for low, high in boxes):
            continue
        found = measure(net, label, (float(place[0]), float(place[1])), half, stage)
        if found is None or found.fine < 3:  # a strip: lines measure it better
            return None
        boxes.append((found.places.min(axis=0), found.places.max(axis=0)))
        area += found.area
    return area


@dataclasses.dataclass(frozen=True)
class Island:
    """A level between the lines.

    Attributes
    ----------
    label : int
    area : float
        mm^2.
    places : ndarray of float64, shape (n, 2)
        On it, mm.
    borders : tuple of (label, length, (x, y, z))
        Other levels that it meets.
    fine : float
        Its width in places of the window.
    """

    label: int
    area: float
    places: Floats
    borders: tuple[tuple[int, float, tuple[float, float, float]], ...]
    fine: float


def find_islands(
    net: Net, boxes: Ints, nodes: Ints, pieces: Pieces, stage: int = 0, wide: Ints | None = None
) -> list[Island]:
    """Return the levels that show in boxes but on none of the lines near there."""
    keys = np.concatenate(
        [_key(np.repeat(boxes, (SIDE + 1) ** 2), nodes.ravel()), _key(pieces.box, pieces.label)]
    )
    seen = np.unique(keys[(keys & LABEL) < LABEL // 2])
    near = [seen + _key(dj * net.nx + di, 0) for dj in (-1, 0, 1) for di in (-1, 0, 1)]
    if wide is not None:
        near.append(_key(boxes[:, None], wide[None, :]).ravel())
    known = np.unique(np.concatenate(near))
    found = _quarter(net, boxes, known, stage)
    half = max(net.grid.pitch_x, net.grid.pitch_y)
    islands = [measure(net, label, at, half, stage) for _, label, at in found]
    return [island for island in islands if island is not None]


def _quarter(
    net: Net, boxes: Ints, known: Ints, stage: int
) -> list[tuple[int, int, tuple[float, float]]]:
    """Return (box, label, place) of levels that are not known to a box, one for each.

    `known`: keys, ascending.
    """
    field, squares, box = net.field, net.boxes[boxes], boxes
    found: list[tuple[int, int, tuple[float, float]]] = []
    while len(box):
        first, last = (np.searchsorted(known, _key(box + k, 0)) for k in (0, 1))
        names = known & LABEL, first, last
        if len(box) > MOST_SQUARES:
            field.short[0] = True
            break
        more = field.others(squares, net.lists(box), names, stage=stage, levels_only=True)
        box, squares = np.repeat(box[more], 4), np.repeat(squares[more], 4, axis=0)
        squares[:, 2:] *= 0.5
        quarter = np.arange(len(box)) % 4
        squares[:, 0] += squares[:, 2] * ((quarter & 1) * 2 - 1)
        squares[:, 1] += squares[:, 3] * ((quarter & 2) - 1)
        x, y = squares[:, 0], squares[:, 1]
        label = field.ask(x, y, net.lists(box), stage)[0].astype(np.int64)
        new = np.flatnonzero(label >= 0)
        once, where = np.unique(_key(box[new], label[new]), return_index=True)
        fresh = ~np.isin(once, known)
        for k in new[where[fresh]].tolist():
            found.append((int(box[k]), int(label[k]), (float(x[k]), float(y[k]))))
        known = np.union1d(known, once[fresh])
        if len(squares) and 2 * squares[0, 2:].max() <= field.least / math.sqrt(2):
            break
    return found


def _key(box: Any, label: Any) -> Any:
    """Return one number for a box and a label of it."""
    return box * (LABEL + 1) + (label & LABEL)


class _Window:
    """Labels on ACROSS x ACROSS places of a square."""

    def __init__(self, net: Net, x: float, y: float, half: float, stage: int) -> None:
        self.spacing = 2 * half / (ACROSS - 1)
        steps = (np.arange(ACROSS) - ACROSS // 2) * self.spacing
        self.xs, self.ys = x + steps, y + steps
        wide, high = (a.ravel() for a in np.meshgrid(self.xs, self.ys))
        label, _, top = net.field.ask(wide, high, net.lists(net.box_of(wide, high)), stage)
        self.label = label.reshape(ACROSS, ACROSS)
        self.top = top.reshape(ACROSS, ACROSS)

    def part(self, label: int) -> NDArray[np.bool_]:
        """Return the part of a label that lies round its place nearest the middle."""
        from scipy.ndimage import label as number

        parts, _ = number(self.label == label)
        j, i = np.nonzero(parts)
        if not len(j):
            return np.zeros_like(parts, np.bool_)
        k = int(np.argmin((j - ACROSS // 2) ** 2 + (i - ACROSS // 2) ** 2))
        joined: NDArray[np.bool_] = parts == parts[j[k], i[k]]
        return joined


def measure(
    net: Net, label: int, at: tuple[float, float], half: float, stage: int = 0
) -> Island | None:
    """Return an island as fine windows show it, the first `half` wide to each side of `at`, mm.

    None where it is narrower than the least width, or not in one piece inside the window.
    """
    x, y, first = *at, half
    for _ in range(ZOOMS):
        window = _Window(net, x, y, half, stage)
        on = window.part(label)
        j, i = np.nonzero(on)
        if not len(j):
            return None
        span = int(max(np.ptp(j), np.ptp(i))) + 1
        if span >= FILLS * ACROSS or half < 2 * net.field.least:
            break
        x, y = (float(0.5 * (v[k.min()] + v[k.max()])) for v, k in ((window.xs, i), (window.ys, j)))
        half = 0.5 * (span + 2) * window.spacing
    if half == first and span == ACROSS:
        return None
    width = _width(net, window, on, label, stage)
    if width < net.field.least * (1 - THIN):
        return None
    places = np.stack([window.xs[i], window.ys[j]], axis=1)[:: max(1, len(i) // 64)]
    borders = _meets(net, label, window) if stage == 0 else ()
    return Island(
        label, float(on.sum()) * window.spacing**2, places, borders, width / window.spacing
    )


def _width(net: Net, window: _Window, on: NDArray[np.bool_], label: int, stage: int) -> float:
    """Return the shortest chord through the place of an area that lies deepest inside it, mm."""
    from scipy.ndimage import distance_transform_edt

    deep = distance_transform_edt(np.pad(on, 1))[1:-1, 1:-1]
    j, i = np.unravel_index(int(np.argmax(deep)), deep.shape)
    x, y = float(window.xs[i]), float(window.ys[j])
    turn = np.arange(2 * WAYS) * (math.pi / WAYS)
    low, high = np.zeros(2 * WAYS), np.full(2 * WAYS, (deep[j, i] + 1) * 1.5 * window.spacing)

    def inside(s: Floats) -> NDArray[np.bool_]:
        px, py = x + s * np.cos(turn), y + s * np.sin(turn)
        same: NDArray[np.bool_] = (
            net.field.ask(px, py, net.lists(net.box_of(px, py)), stage)[0] == label
        )
        return same

    far = inside(high)
    for _ in range(30):
        middle = 0.5 * (low + high)
        same = inside(middle)
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    reach = np.where(far, math.inf, low)
    return float((reach[:WAYS] + reach[WAYS:]).min())


def _meets(
    net: Net, label: int, near: _Window
) -> tuple[tuple[int, float, tuple[float, float, float]], ...]:
    """Return the levels that a level meets: label, length, place.

    Ground without a level between them belongs to a level of its own pass; so wider windows are
    taken until another level is met.
    """
    half = 0.5 * ACROSS * near.spacing
    x, y = float(near.xs[ACROSS // 2]), float(near.ys[ACROSS // 2])
    window = near
    while True:
        found = _borders(net, label, window)
        half *= 2
        if found or half > LONGEST * max(net.grid.pitch_x, net.grid.pitch_y):
            return found
        window = _Window(net, x, y, half, 0)


def _borders(
    net: Net, label: int, window: _Window
) -> tuple[tuple[int, float, tuple[float, float, float]], ...]:
    from .kernels.ground import borders, seeds, spread

    ground = np.where(window.label >= 0, window.label, np.where(window.label == GONE, -2, -1))
    ground = ground.astype(np.int32)
    level = net.field.pass_number[np.maximum(window.label, 0)]
    bare = np.where(window.label == GONE, -1, RAW_GROUND - window.label)
    passes = np.where(window.label >= 0, level, bare).astype(np.int32)
    queue = np.empty(2 * ground.size, np.int64)
    _, rim = seeds(ground, passes, queue)
    spread(ground, passes, queue, rim)
    count = borders(ground, np.empty((0, 5), np.int64), np.empty(0))
    edges, shares = np.empty((count, 5), np.int64), np.empty(count)
    borders(ground, edges, shares)
    mine = (edges[:, :2] == label).any(axis=1)
    found: list[tuple[int, float, tuple[float, float, float]]] = []
    for other in np.setdiff1d(edges[mine][:, :2], [label]).tolist():
        part = mine & (edges[:, :2] == other).any(axis=1)
        _, _, j, i, up = edges[part][int(part.sum()) // 2].tolist()
        jj, ii = j + up, i + 1 - up
        x = float(0.5 * (window.xs[i] + window.xs[ii]))
        y = float(0.5 * (window.ys[j] + window.ys[jj]))
        z = float(np.fmin(window.top[j, i], window.top[jj, ii]))
        found.append((other, float(shares[part].sum()) * window.spacing, (x, y, z)))
    return tuple(found)


def find_skims(net: Net, skims: tuple[Skim, ...]) -> tuple[Skim, ...]:
    """Return the skims of the columns and those between them that are as wide as the least width.

    Parameters
    ----------
    net : Net
    skims : tuple of Skim
        As the columns found them.
    """
    field, pairs = net.field, net.skim_pairs
    wide: set[tuple[int, int]] = set()
    narrow: list[Skim] = []
    for p in np.unique(pairs[:, 1]).tolist():
        mine = pairs[pairs[:, 1] == p]
        levels = _wide_skims(net, p, mine)
        wide |= {(p, int(v)) for v in levels}
        boxes = np.unique(mine[~np.isin(mine[:, 2], levels), 0])
        if len(boxes):
            narrow += _narrow_skims(net, p, boxes, levels)
    kept = [s for s in skims if _level_of(field, s) in wide]
    found = [_deepest(net, skim) for skim in kept + narrow]
    return tuple(sorted(found, key=lambda s: (s.by_pass, s.into_pass, s.z)))


def _wide_skims(net: Net, p: int, pairs: Ints) -> Ints:
    """Return the levels that pass p skims over 3 x 3 nodes somewhere; looks until all are found."""
    boxes, levels = np.unique(pairs[:, 0]), np.unique(pairs[:, 2])
    wide = np.empty(0, np.int64)
    for k in range(0, len(boxes), AT_ONCE):
        wide = np.union1d(wide, wide_labels(node_labels(net, boxes[k : k + AT_ONCE], p)))
        if len(wide) == len(levels):
            break
    return wide


def _level_of(field: Field, skim: Skim) -> tuple[int, int]:
    """Return (pass, level) of a skim."""
    near = np.abs(field.z - skim.z) + 1e3 * (field.pass_number != skim.into_pass)
    return skim.by_pass, int(np.argmin(near))


def _deepest(net: Net, skim: Skim) -> Skim:
    """Return a skim with the deepest place that small steps from the one given lead to."""
    g, label = net.grid, _level_of(net.field, skim)[1]
    ways = np.array([[i, j] for j in (-1, 0, 1) for i in (-1, 0, 1)], float)
    x = g.x_low + (skim.ix + 0.5) * g.pitch_x
    y = g.y_low + (skim.iy + 0.5) * g.pitch_y
    depth, row, step = skim.depth, skim.move, max(g.pitch_x, g.pitch_y)
    while step > LAST_STEP:
        px, py = x + step * ways[:, 0], y + step * ways[:, 1]
        seen, own, after = net.field.ask(px, py, net.lists(net.box_of(px, py)), skim.by_pass)
        deep = np.where(seen == label, skim.z - after, -np.inf)
        k = int(np.argmax(deep))
        if deep[k] > depth + 1e-10:
            x, y, depth, row = float(px[k]), float(py[k]), float(deep[k]), int(own[k])
        else:
            step *= 0.5
    if depth == skim.depth:
        return skim
    ix, iy = (x - g.x_low) / g.pitch_x - 0.5, (y - g.y_low) / g.pitch_y - 0.5
    return dataclasses.replace(skim, ix=ix, iy=iy, depth=depth, move=row)


def _narrow_skims(net: Net, p: int, boxes: Ints, wide: Ints) -> list[Skim]:
    """Return the skims by pass p into levels that are wide nowhere."""
    nodes = node_labels(net, boxes, p)
    pieces = pieces_of(net, walk(net, boxes, nodes, p))
    islands = find_islands(net, boxes, nodes, pieces, p, wide)
    found = []
    for label, area in sorted(areas_of(net, pieces, islands, wide, p).items()):
        mine = pieces.label == label
        parts = [i for i in islands if i.label == label]
        places = np.concatenate([pieces.middle[mine], *(i.places for i in parts)])
        found.append(_skim(net, p, label, places, area))
    return found


def _skim(net: Net, p: int, label: int, places: Floats, area: float) -> Skim:
    """Return a skim, its deepest place among some."""
    field, g = net.field, net.grid
    x, y = np.ascontiguousarray(places[:, 0]), np.ascontiguousarray(places[:, 1])
    seen, own, after = field.ask(x, y, net.lists(net.box_of(x, y)), p)
    z = float(field.z[label])
    depth = np.where(seen == label, z - after, -np.inf)
    k = int(np.argmax(depth > depth.max() - 1e-9))
    return Skim(
        by_pass=p,
        into_pass=int(field.pass_number[label]),
        z=z,
        columns=area / g.cell_area,
        depth=float(depth[k]),
        ix=(float(x[k]) - g.x_low) / g.pitch_x - 0.5,
        iy=(float(y[k]) - g.y_low) / g.pitch_y - 0.5,
        move=int(own[k]),
        limit=field.limit,
    )
