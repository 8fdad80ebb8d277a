"""Where lines cross the facets of a closed mesh."""

import numpy as np

from .profile import INF, entry, jit
from .rays import LEAF, box_span, inverse

NEAR = 1e-9
"""Crossings nearer than this are one, mm: a line through an edge meets both its facets."""
ROOM = -1


@jit
def volume(ax, ay, az, bx, by, bz, vx, vy, vz):
    """Six times the volume of (origin, a, b, v): exactly its own negative with a and b swapped."""
    return (ay * bz - az * by) * vx + (az * bx - ax * bz) * vy + (ax * by - ay * bx) * vz


@jit
def cross(line, vertices, facets, f, normal):
    """Distance at which a line crosses a facet, and +1 going in, -1 out; (INF, 0): not at all."""
    ox, oy, oz, vx, vy, vz = line
    a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
    ax, ay, az = vertices[a, 0] - ox, vertices[a, 1] - oy, vertices[a, 2] - oz
    bx, by, bz = vertices[b, 0] - ox, vertices[b, 1] - oy, vertices[b, 2] - oz
    cx, cy, cz = vertices[c, 0] - ox, vertices[c, 1] - oy, vertices[c, 2] - oz
    wa = volume(bx, by, bz, cx, cy, cz, vx, vy, vz)
    wb = volume(cx, cy, cz, ax, ay, az, vx, vy, vz)
    wc = volume(ax, ay, az, bx, by, bz, vx, vy, vz)
    total = wa + wb + wc
    inside = (wa >= 0.0 and wb >= 0.0 and wc >= 0.0) or (wa <= 0.0 and wb <= 0.0 and wc <= 0.0)
    facing = normal[0] * vx + normal[1] * vy + normal[2] * vz
    if not inside or total == 0.0 or facing == 0.0:
        return INF, 0.0
    t = (
        (wa * ax + wb * bx + wc * cx) * vx
        + (wa * ay + wb * by + wc * cy) * vy
        + (wa * az + wb * bz + wc * cz) * vz
    ) / total
    return t, 1.0 if facing < 0.0 else -1.0


@jit
def gather(line, vertices, facets, normals, boxes, things, nodes, ts, way, which):
    """Crossings of one line, sorted, those in before those out; how many, or ROOM."""
    inner = len(boxes) // 2
    inv = inverse(line)
    n = 0
    nodes[0] = 0
    depth = 1
    while depth > 0:
        depth -= 1
        node = nodes[depth]
        low, high = box_span(boxes, node, line, inv)
        if low > high:
            continue
        if node < inner:
            nodes[depth] = 2 * node + 2
            nodes[depth + 1] = 2 * node + 1
            depth += 2
            continue
        start = (node - inner) * LEAF
        for k in range(start, min(start + LEAF, len(things))):
            f = things[k]
            t, s = cross(line, vertices, facets, f, normals[f])
            if s == 0.0:
                continue
            if n >= len(ts):
                return ROOM
            j = n - 1
            while j >= 0 and ts[j] - 0.5 * NEAR * way[j] > t - 0.5 * NEAR * s:
                ts[j + 1] = ts[j]
                way[j + 1] = way[j]
                which[j + 1] = which[j]
                j -= 1
            ts[j + 1] = t
            way[j + 1] = s
            which[j + 1] = f
            n += 1
    return n


@entry
def cross_facets(lines, vertices, facets, normals, boxes, things, at, facet, counts):
    """Write where each line goes in and out, in turn; returns how many of all, or ROOM."""
    nodes = np.empty(128, np.int64)
    most = 256
    ts, way, which = np.empty(most), np.empty(most), np.empty(most, np.int64)
    k = 0
    for r in range(len(lines)):
        row = lines[r]
        line = (row[0], row[1], row[2], row[3], row[4], row[5])
        n = gather(line, vertices, facets, normals, boxes, things, nodes, ts, way, which)
        while n < 0:
            most *= 2
            ts, way, which = np.empty(most), np.empty(most), np.empty(most, np.int64)
            n = gather(line, vertices, facets, normals, boxes, things, nodes, ts, way, which)
        start = k
        depth = 0
        last_in, last_out = -INF, -INF
        for i in range(n):
            if k + 2 > len(at):
                return ROOM
            if way[i] > 0.0:
                if ts[i] - last_in <= NEAR:
                    continue
                last_in = ts[i]
                depth += 1
                if depth == 1:
                    at[k] = ts[i]
                    facet[k] = which[i]
                    k += 1
            elif depth > 0 and ts[i] - last_out > NEAR:
                last_out = ts[i]
                depth -= 1
                if depth == 0:
                    at[k] = ts[i]
                    facet[k] = which[i]
                    k += 1
        if (k - start) % 2:
            k -= 1
        counts[r] = k - start
    return k
