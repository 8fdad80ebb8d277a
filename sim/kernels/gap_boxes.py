"""The least gap of a part of a tool on a path to a box."""

import math

import numpy as np

from .gap import LOOKS, signed, tip_at
from .gap_search import take
from .place import ARC as ARC_KIND
from .profile import GOLDEN, INF, entry, jit


@jit
def box_here(kind, path, part, box, s):
    """Signed distance of a box to one frustum with the tip at a share of the path; the place."""
    px, py, pz = tip_at(kind, path, s)
    x = min(max(px, box[0]), box[3])
    y = min(max(py, box[1]), box[4])
    rho = math.hypot(x - px, y - py)
    low, high = box[2] - pz, box[5] - pz
    if part[2] == part[3]:
        middle = part[0] + min(part[1] - part[0], 2.0 * (high - part[0])) * 0.5
        h = min(max(middle, low), high)
        return signed(part, rho, h), x, y, h + pz
    for _ in range(64):
        a = high - GOLDEN * (high - low)
        b = low + GOLDEN * (high - low)
        if signed(part, rho, a) <= signed(part, rho, b):
            high = b
        else:
            low = a
    h = 0.5 * (low + high)
    return signed(part, rho, h), x, y, h + pz


@jit
def box_gap(kind, path, part, box):
    """Least signed distance of a box to one frustum on a path, and the place."""
    looks = LOOKS if kind >= ARC_KIND else 2
    least, at = INF, 0.0
    for k in range(looks + 1):
        d = box_here(kind, path, part, box, k / looks)[0]
        if d < least:
            least, at = d, k / looks
    low, high = max(0.0, at - 1.0 / looks), min(1.0, at + 1.0 / looks)
    for _ in range(64):
        a = high - GOLDEN * (high - low)
        b = low + GOLDEN * (high - low)
        if box_here(kind, path, part, box, a)[0] <= box_here(kind, path, part, box, b)[0]:
            high = b
        else:
            low = a
    s = 0.5 * (low + high)
    if box_here(kind, path, part, box, s)[0] >= least:
        s = at
    return box_here(kind, path, part, box, s)


@entry
def box_gaps(moves, table, parts, box, best):
    """Least gap of a stack of frustums to a box over moves; best: gap, x, y, z, move."""
    kinds, paths = table
    for k in range(len(parts)):
        part = parts[k]
        round_it = np.array([part[0], part[1], max(part[2], part[3]), max(part[2], part[3])])
        for i in range(len(moves)):
            m = moves[i]
            d, x, y, z = box_gap(kinds[m], paths[m], round_it, box)
            if d >= best[0]:  # the cylinder round it is no nearer
                continue
            if part[2] != part[3]:
                d, x, y, z = box_gap(kinds[m], paths[m], part, box)
            take(best, d, x, y, z, m)
