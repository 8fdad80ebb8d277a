"""Which moves can reach which tile: a list a tile, in program order (CSR)."""

import math

from .place import arc_rho2, line_rho2
from .profile import entry, jit
from .row import load

ARC = 3


@jit
def tile_span(row, kind, x_low, y_low, wx, wy, mx, my):
    """First and last tile column and row whose box a move's box meets."""
    R = row[9]
    if kind >= ARC:
        x0, x1 = row[3] - row[5] - R, row[3] + row[5] + R
        y0, y1 = row[4] - row[5] - R, row[4] + row[5] + R
        ends = max(abs(row[14] - row[3]), abs(row[15] - row[4])) + R
        x0, x1 = min(x0, row[3] - ends), max(x1, row[3] + ends)
        y0, y1 = min(y0, row[4] - ends), max(y1, row[4] + ends)
    else:
        x0, x1 = min(row[0], row[14]) - R, max(row[0], row[14]) + R
        y0, y1 = min(row[1], row[15]) - R, max(row[1], row[15]) + R
    i0 = max(0.0, math.floor((x0 - x_low) / wx - 1e-9))
    i1 = min(mx - 1.0, math.floor((x1 - x_low) / wx + 1e-9))
    j0 = max(0.0, math.floor((y0 - y_low) / wy - 1e-9))
    j1 = min(my - 1.0, math.floor((y1 - y_low) / wy + 1e-9))
    return int(i0), int(i1), int(j0), int(j1)


@jit
def reaches(row, kind, x, y, r):
    """Whether the move comes within R + r of a point in plan."""
    rho2 = arc_rho2(row, x, y) if kind >= ARC else line_rho2(row, x, y)
    reach = (row[9] + r) * (1.0 + 1e-12) + 1e-9
    return rho2 <= reach * reach


@entry
def count_or_fill(code, rows, members, box, first_row, last_row, counts, ids, fill):
    """Count the moves of each tile, or write their indices at counts[tile] (then advanced).

    box: x_low, y_low, tile width, tile height, tiles along x, tiles along y, radius of a tile.
    Tiles are numbered from the first row of the strip.
    """
    x_low, y_low, wx, wy = box[0], box[1], box[2], box[3]
    mx, my, r = box[4], box[5], box[6]
    width = int(mx)
    for n in range(len(members)):
        m = members[n]
        row = load(rows, m)
        kind = code[m] >> 3
        i0, i1, j0, j1 = tile_span(row, kind, x_low, y_low, wx, wy, mx, my)
        for j in range(max(j0, first_row), min(j1, last_row - 1) + 1):
            y = y_low + (j + 0.5) * wy
            for i in range(i0, i1 + 1):
                if reaches(row, kind, x_low + (i + 0.5) * wx, y, r):
                    tile = (j - first_row) * width + i
                    if fill:
                        ids[counts[tile]] = m
                    counts[tile] += 1
