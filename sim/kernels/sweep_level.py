"""Where a level line through space is inside what a tool sweeps at one height on a level path.

There the sweep is all that lies within w of the path in plan, for any profile. Lines are given in
plan: a point (ox, oy) and a unit direction (vx, vy); distances count along it.
"""

import math

from .profile import INF, jit
from .sweep_cone import clip, disc_chord, join

FULL = 2.0 * math.pi


@jit
def stadium(ox, oy, vx, vy, length, w):
    """Where the line is within w of the segment from the origin to (length, 0)."""
    lo, hi = disc_chord(ox, oy, vx, vy, w)
    if length == 0.0:
        return lo, hi
    a, b = disc_chord(ox - length, oy, vx, vy, w)
    lo, hi = join(lo, hi, a, b)
    a, b = clip(ox, vx, -INF, INF)
    a, b = clip(length - ox, -vx, a, b)
    a, b = clip(w - oy, -vy, a, b)
    a, b = clip(w + oy, vy, a, b)
    return join(lo, hi, a, b)


@jit
def along_arc(x, y, cx, cy, sense, turn):
    """Angle of a point (x, y) past the start (cx, cy) of an arc about the origin, in [0, 2 pi)."""
    angle = sense * math.atan2(cx * y - cy * x, cx * x + cy * y)
    return angle if angle >= 0.0 else angle + FULL


@jit
def near_arc(x, y, cx, cy, ex, ey, radius, sense, turn):
    """Distance of a point to an arc about the origin from (cx, cy) to (ex, ey)."""
    rho = math.sqrt(x * x + y * y)
    if along_arc(x, y, cx, cy, sense, turn) <= turn:
        return abs(rho - radius)
    a = math.sqrt((x - cx) * (x - cx) + (y - cy) * (y - cy))
    b = math.sqrt((x - ex) * (x - ex) + (y - ey) * (y - ey))
    return a if a < b else b


@jit
def arc_band(ox, oy, vx, vy, arc, w, out):
    """Write where the line is within w of an arc about the origin; how many intervals, up to 4.

    arc: (cx, cy, ex, ey, radius, sense, turn). The edge lies on two circles about the axis and on
    two about the ends: between neighbouring crossings the line is all inside or all outside.
    """
    cx, cy, ex, ey, radius, sense, turn = arc
    n = 0
    for k in range(4):
        x, y, r = ox, oy, radius + w
        if k == 1:
            r = radius - w
        elif k == 2:
            x, y, r = ox - cx, oy - cy, w
        elif k == 3:
            x, y, r = ox - ex, oy - ey, w
        if r > 0.0:
            a, b = disc_chord(x, y, vx, vy, r)
            if a <= b:
                out[n] = a
                out[n + 1] = b
                n += 2
    for i in range(1, n):  # insertion sort: eight at most
        v = out[i]
        j = i - 1
        while j >= 0 and out[j] > v:
            out[j + 1] = out[j]
            j -= 1
        out[j + 1] = v
    found = 0
    inside = False
    for i in range(n - 1):
        t = 0.5 * (out[i] + out[i + 1])
        d = near_arc(ox + t * vx, oy + t * vy, cx, cy, ex, ey, radius, sense, turn)
        if d <= w and out[i + 1] > out[i]:
            if not inside:
                out[8 + 2 * found] = out[i]
                found += 1
            out[8 + 2 * found - 1] = out[i + 1]
            inside = True
        elif out[i + 1] > out[i]:
            inside = False
    return found
