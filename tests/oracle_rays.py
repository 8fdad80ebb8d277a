"""Slow, independent membership of points in sweeps, and ends of rays by search.

Nothing here is shared with the kernels. A piece is the set of points with z_low <= h <= z_high and
rho <= r(h); a sweep is the union over the path's parameter, found by sampling and golden section;
a ray's ends are found by sampling the ray and halving where membership changes. Loops are compiled
only to be quick.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numba
import numpy as np
from numpy.typing import NDArray
from proud.moves import ARC, SCALARS, Moves
from proud.pieces import LABELS, Piece

Floats = NDArray[np.float64]
FAR = 1e9
"""Depth outside of every piece's reach, mm."""
MARGIN = 1e-3
"""How far beyond a piece's ends its depth is still followed, mm."""
GOLDEN = (5**0.5 - 1) / 2
RAW, NOTHING = -1, -2
MOST_ENDS = 64
FACES = ("cylinder", "opening cone", "closing cone", "bulge", "cove", "low end", "high end")
"""Kinds of face of a piece."""

jit = numba.njit(cache=True, error_model="numpy", nogil=True)


# --- one point, one piece, one move --------------------------------------------------------------


@jit
def radius(piece, z):
    """r(z) of a row (z_low, z_high, r_low, r_high, centre r, centre z, radius or 0, label)."""
    z = min(max(z, piece[0]), piece[1])
    if piece[6] == 0.0:
        if piece[2] == piece[3]:
            return piece[2]
        share = (z - piece[0]) / (piece[1] - piece[0])
        return piece[2] * (1.0 - share) + piece[3] * share
    R = abs(piece[6])
    half = math.sqrt(max(0.0, (R - (z - piece[5])) * (R + (z - piece[5]))))
    return piece[4] + (half if piece[6] > 0 else -half)


@jit
def tip(move, s):
    """Tip at s in 0..1 of a row (arc?, start 3, end 3, centre 2, turn, radius, angle)."""
    z = move[3] + s * (move[6] - move[3])
    if move[0] == 0.0:
        return move[1] + s * (move[4] - move[1]), move[2] + s * (move[5] - move[2]), z
    angle = move[11] + s * move[9]
    return move[7] + move[10] * math.cos(angle), move[8] + move[10] * math.sin(angle), z


@jit
def terms(piece, move, x, y, z, s):
    """How far a point lies outside the flank, under the low end, over the high end; tip at s."""
    tx, ty, tz = tip(move, s)
    h = z - tz
    return math.hypot(x - tx, y - ty) - radius(piece, h), piece[0] - h, h - piece[1]


@jit
def outside(piece, move, x, y, z, s):
    a, b, c = terms(piece, move, x, y, z, s)
    return max(a, b, c)


@jit
def window(piece, move, z, margin):
    """The part of the path from which the piece covers height z; low > high: none."""
    rise = move[6] - move[3]
    if rise == 0.0:
        h = z - move[3]
        return (0.0, 1.0) if piece[0] - margin <= h <= piece[1] + margin else (1.0, 0.0)
    a = (z - move[3] - piece[1] - margin) / rise
    b = (z - move[3] - piece[0] + margin) / rise
    return max(0.0, min(a, b)), min(1.0, max(a, b))


@jit
def golden(piece, move, x, y, z, low, high):
    c, e = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fc, fe = outside(piece, move, x, y, z, c), outside(piece, move, x, y, z, e)
    for _ in range(60):
        if high - low < 1e-15:
            break
        if fc <= fe:
            high, e, fe = e, c, fc
            c = high - GOLDEN * (high - low)
            fc = outside(piece, move, x, y, z, c)
        else:
            low, c, fc = c, e, fe
            e = low + GOLDEN * (high - low)
            fe = outside(piece, move, x, y, z, e)
    return (fc, c) if fc <= fe else (fe, e)


@jit
def valleys(piece, move, x, y, z, low, high, enough):
    """(depth, s): the least `outside` on a stretch of the path; the first at or below `enough`."""
    count = 97 if move[0] == 1.0 else 33
    step = (high - low) / (count - 1)
    best, at = FAR, low
    before, here = FAR, outside(piece, move, x, y, z, low)
    for i in range(count):
        s = low + step * i
        last = i + 1 == count
        after = FAR if last else outside(piece, move, x, y, z, min(s + step, high))
        if here < best:
            best, at = here, s
            if best <= enough:
                return best, at
        if here <= before and here <= after:
            found, place = golden(piece, move, x, y, z, max(low, s - step), min(high, s + step))
            if found < best:
                best, at = found, place
        before, here = here, after
    return best, at


@jit
def least(piece, move, x, y, z, enough):
    """(depth, s): the least `outside` over the path; the first found at or below `enough`."""
    best, at = FAR, 0.0
    for margin in (0.0, MARGIN):  # without the margin a piece's depth has no valleys but its own
        low, high = window(piece, move, z, margin)
        if low <= high:
            found, place = valleys(piece, move, x, y, z, low, high, enough)
            if found < best:
                best, at = found, place
            if best <= enough:
                break
    return best, at


@jit
def beyond(piece, move, x, y, z):
    """Whether a point lies outside of the box of a sweep and its margin."""
    if move[0] == 1.0:
        r = move[10] + max(piece[2], piece[3], piece[4] + piece[6]) + MARGIN
        apart = abs(x - move[7]) > r or abs(y - move[8]) > r
    else:
        r = max(piece[2], piece[3], piece[4] + piece[6]) + MARGIN
        apart = x < min(move[1], move[4]) - r or x > max(move[1], move[4]) + r
        apart = apart or y < min(move[2], move[5]) - r or y > max(move[2], move[5]) + r
    low, high = min(move[3], move[6]) + piece[0], max(move[3], move[6]) + piece[1]
    return apart or z < low - MARGIN or z > high + MARGIN


@jit
def void(pieces, moves, firsts, lasts, x, y, z, enough):
    """(depth, move) of the union of sweeps; stops at the first depth at or below `enough`."""
    best, which = FAR, -1
    for m in range(len(moves)):
        for k in range(firsts[m], lasts[m]):
            if beyond(pieces[k], moves[m], x, y, z):
                continue
            depth, _ = least(pieces[k], moves[m], x, y, z, enough)
            if depth < best:
                best, which = depth, m
                if best <= enough:
                    return best, which
    return best, which


@jit
def out_of_stock(planes, tube, x, y, z):
    """How far a point lies outside the stock: planes n.p <= d, and a tube's two cylinders."""
    far = -FAR
    for i in range(len(planes)):
        n = planes[i]
        far = max(far, n[0] * x + n[1] * y + n[2] * z - n[3])
    if tube[2] > 0.0:
        r = math.hypot(x - tube[0], y - tube[1])
        far = max(far, r - tube[2])
        if tube[3] > 0.0:
            far = max(far, tube[3] - r)
    return far


@jit
def slope_of(piece, move, x, y, z, step):
    """Length of the gradient of a piece's depth, by central differences."""
    square, change = 0.0, 0.0
    for i in range(6):
        d = step if i % 2 else -step
        u, v, w = (d if i // 2 == 0 else 0.0), (d if i // 2 == 1 else 0.0), (d if i > 3 else 0.0)
        depth, _ = least(piece, move, x + u, y + v, z + w, -FAR)
        if i % 2:
            square += (depth - change) ** 2
        change = depth
    return math.sqrt(square) / (2 * step)


@jit
def face_of(piece):
    """Number in `FACES` of a piece's flank."""
    if piece[6] != 0.0:
        return 3 if piece[6] > 0.0 else 4
    return 0 if piece[2] == piece[3] else (1 if piece[3] > piece[2] else 2)


@jit
def touch_loop(pieces, moves, firsts, lasts, points, near, masks, faces):
    """Set the bit of each label and face that a move's tool touches a point with, within `near`."""
    for i in range(len(points)):
        x, y, z = points[i]
        for m in range(len(moves)):
            for k in range(firsts[m], lasts[m]):
                if beyond(pieces[k], moves[m], x, y, z):
                    continue
                depth, s = least(pieces[k], moves[m], x, y, z, -FAR)
                if abs(depth) > 1e-2:
                    slope = 1e6 * near[i]  # a radius that grows without bound, or nothing near
                else:
                    slope = near[i] * max(0.5, slope_of(pieces[k], moves[m], x, y, z, 1e-6))
                if abs(depth) > slope:
                    continue
                low, high = window(pieces[k], moves[m], z, 0.0)
                low, high = (low, high) if low <= high else (s, s)
                for at in (s, low, high):  # as deep all along where the path runs on the flank
                    a, b, c = terms(pieces[k], moves[m], x, y, z, at)
                    if max(a, b, c) > depth + slope:
                        continue
                    if a >= depth - slope:
                        masks[i, m] |= 1 << int(pieces[k, 7])
                        faces[i] |= 1 << face_of(pieces[k])
                    if b >= depth - slope:
                        masks[i, m] |= 1  # bottom
                        faces[i] |= 1 << 5
                    if c >= depth - slope:
                        masks[i, m] |= 8  # top
                        faces[i] |= 1 << 6


@jit
def stock_loop(planes, tube, points, far):
    for i in range(len(points)):
        far[i] = out_of_stock(planes, tube, points[i, 0], points[i, 1], points[i, 2])


# --- loops ---------------------------------------------------------------------------------------


@jit
def depth_loop(pieces, moves, firsts, lasts, points, depth, which):
    for i in range(len(points)):
        p = points[i]
        depth[i], which[i] = void(pieces, moves, firsts, lasts, p[0], p[1], p[2], -FAR)


@jit
def metal_at(pieces, moves, firsts, lasts, planes, tube, x, y, z):
    if out_of_stock(planes, tube, x, y, z) > 0.0:
        return False
    return void(pieces, moves, firsts, lasts, x, y, z, 0.0)[0] > 0.0


@jit
def scan_loop(pieces, moves, firsts, lasts, planes, tube, origins, ways, times, counts, ends):
    """Write where metal changes on each ray; the first entry -1 when it starts in metal."""
    for i in range(len(origins)):
        o, v = origins[i], ways[i]
        found = 0
        before = False
        for j in range(counts[i]):
            t = times[i, j]
            now = metal_at(
                pieces, moves, firsts, lasts, planes, tube,
                o[0] + t * v[0], o[1] + t * v[1], o[2] + t * v[2],
            )  # fmt: skip
            if now != before and found < MOST_ENDS:
                if j == 0:
                    ends[i, found] = t
                else:
                    low, high = times[i, j - 1], t
                    for _ in range(70):
                        mid = 0.5 * (low + high)
                        if high - low < 1e-12 or mid in (low, high):
                            break
                        middle = metal_at(
                            pieces, moves, firsts, lasts, planes, tube,
                            o[0] + mid * v[0], o[1] + mid * v[1], o[2] + mid * v[2],
                        )  # fmt: skip
                        if middle == before:
                            low = mid
                        else:
                            high = mid
                    ends[i, found] = 0.5 * (low + high)
                found += 1
            before = now
        if before and found < MOST_ENDS:
            ends[i, found] = times[i, counts[i] - 1]


# --- a world -------------------------------------------------------------------------------------


def piece_rows(pieces: Sequence[Piece]) -> Floats:
    rows = [
        (p.z_low, p.z_high, p.r_low, p.r_high, *(p.arc or (0.0, 0.0, 0.0)), LABELS.index(p.label))
        for p in pieces
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 8)


def move_rows(moves: Moves, top: float) -> Floats:
    """Return the table of `tip`; a move from above starts at `top`."""
    rows = np.zeros((len(moves), 12))
    start = np.where(np.isnan(moves.start), np.fmax(moves.end, top), moves.start)
    arm = start[:, :2] - moves.center
    arc = moves.kind == ARC
    rows[:, 0] = arc
    rows[:, 1:4], rows[:, 4:7], rows[:, 7:9] = start, moves.end, moves.center
    rows[:, 9] = moves.turn
    rows[arc, 10] = np.hypot(*arm[arc].T)
    rows[arc, 11] = np.arctan2(arm[arc, 1], arm[arc, 0])
    return rows


@dataclasses.dataclass(frozen=True)
class World:
    """Sweeps and stock as the oracle sees them.

    `planes` bound a convex stock, rows (nx, ny, nz, d) with n.p <= d; `tube` is (x, y, R, bore),
    R = 0: none. `box` is (low, high) of the stock.
    """

    pieces: Floats
    moves: Floats
    firsts: NDArray[np.int64]
    lasts: NDArray[np.int64]
    planes: Floats
    tube: Floats
    box: Floats

    @classmethod
    def of(
        cls,
        moves: Moves,
        tools: Mapping[int, object],
        box: Sequence[Sequence[float]],
        *,
        tube: Sequence[float] = (0.0, 0.0, 0.0, 0.0),
        planes: Floats | None = None,
    ) -> World:
        """Return the world; a block unless `planes` bound another convex stock."""
        lows, rows, spans = 0, [], {}
        for number, tool in tools.items():
            mine = piece_rows([p for p in tool.pieces if p.cutting])
            spans[number] = (lows, lows + len(mine))
            lows += len(mine)
            rows.append(mine)
        bounds, numbers = np.array(box, dtype=np.float64), moves.tool.tolist()
        swept = zip(numbers, moves.sweeps(), strict=True)
        if planes is None:
            planes = np.vstack([np.c_[-np.eye(3), -bounds[0]], np.c_[np.eye(3), bounds[1]]])
        return cls(
            np.vstack(rows),
            move_rows(moves, float(bounds[1, 2]) + 1e3),
            np.array([spans[n][0] for n in numbers], dtype=np.int64),
            np.array([spans[n][1] if s else 0 for n, s in swept], dtype=np.int64),
            planes,
            np.array(tube, dtype=np.float64),
            bounds,
        )  # fmt: skip

    @property
    def _sweeps(self):
        return self.pieces, self.moves, self.firsts, self.lasts

    def depth(self, points: Floats) -> tuple[Floats, NDArray[np.int64]]:
        """Return how far points lie outside the sweeps, and whose; no distance, but 0 on them."""
        points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
        depth, which = np.empty(len(points)), np.empty(len(points), np.int64)
        depth_loop(*self._sweeps, points, depth, which)
        return depth, which

    def gradient(self, points: Floats, step: float) -> Floats:
        """Return the gradient of `depth` by central differences."""
        shifts = np.vstack([np.eye(3), -np.eye(3)]) * step
        asked = (points[:, None, :] + shifts).reshape(-1, 3)
        depth = self.depth(asked)[0].reshape(-1, 6)
        return (depth[:, :3] - depth[:, 3:]) / (2 * step)

    def distance(self, points: Floats, step: float = 1e-6) -> Floats:
        """Return the signed distance from the sweeps, good near their surface; negative inside."""
        slope = np.linalg.norm(self.gradient(points, step), axis=1)
        return self.depth(points)[0] / np.maximum(slope, 0.5)

    def touches(self, points: Floats, near: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return bits of `LABELS` that each move touches points with, and bits of `FACES`.

        Shapes (points, moves) and (points,).
        """
        masks = np.zeros((len(points), len(self.moves)), np.int64)
        faces = np.zeros(len(points), np.int64)
        touch_loop(*self._sweeps, np.ascontiguousarray(points), near, masks, faces)
        return masks, faces

    def stock_distance(self, points: Floats) -> Floats:
        """Return how far points lie outside the stock."""
        far = np.empty(len(points))
        stock_loop(self.planes, self.tube, np.ascontiguousarray(points), far)
        return far

    def intervals(
        self,
        origins: Floats,
        ways: Floats,
        hints: Sequence[Floats],
        *,
        span: tuple[float, float] = (0.0, math.inf),
        samples: int = 96,
    ) -> list[Floats]:
        """Return metal on rays as arrays of (enter, leave), `ways` being unit vectors.

        Sampled evenly where the ray is in the stock's box, and at each ray's `hints`.
        """
        times = np.zeros((len(origins), samples + max((len(h) for h in hints), default=0)))
        counts = np.zeros(len(origins), np.int64)
        for i, (o, v) in enumerate(zip(origins, ways, strict=True)):
            t0, t1 = box_times(self.box, o, v)
            t0, t1 = max(t0, span[0]), min(t1, span[1])
            if t0 < t1:
                mine = np.r_[np.linspace(t0, t1, samples), hints[i]]
                mine = np.unique(np.clip(mine, t0, t1))
                counts[i] = len(mine)
                times[i, : len(mine)] = mine
        ends = np.full((len(origins), MOST_ENDS), np.nan)
        scan_loop(*self._sweeps, self.planes, self.tube, origins, ways, times, counts, ends)
        return [row[np.isfinite(row)].reshape(-1, 2) for row in ends]


def box_times(box: Floats, origin: Floats, way: Floats) -> tuple[float, float]:
    """Return where a line is in a box, a little more; low > high: never."""
    low, high = -math.inf, math.inf
    pad = 1e-6
    for k in range(3):
        if way[k] == 0.0:
            if not box[0, k] - pad <= origin[k] <= box[1, k] + pad:
                return 1.0, 0.0
            continue
        a, b = sorted((box[j, k] + (2 * j - 1) * pad - origin[k]) / way[k] for j in (0, 1))
        low, high = max(low, a), min(high, b)
    return low, high


# --- moves ---------------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class FakeTool:
    """A tool that is nothing but its pieces."""

    pieces: tuple[Piece, ...]


def make_moves(rows: Sequence[Mapping[str, object]]) -> Moves:
    """Return moves from dicts of start, end and, where it matters, center, turn, tool, pass."""
    n = len(rows)

    def column(name, default, dtype):
        return np.array([row.get(name, default) for row in rows], dtype=dtype)

    zeros = {name: np.zeros(n, dtype) for name, dtype in SCALARS.items()}
    zeros |= {
        "kind": np.array([ARC if "center" in row else 0 for row in rows], np.int8),
        "turn": column("turn", 0.0, np.float64),
        "tool": column("tool", 1, np.int32),
        "pass_number": column("pass_number", 1, np.int32),
        "line": np.arange(1, n + 1, dtype=np.int32),
    }
    return Moves(
        start=column("start", None, np.float64).reshape(n, 3),
        end=column("end", None, np.float64).reshape(n, 3),
        center=column("center", (0.0, 0.0), np.float64).reshape(n, 2),
        **zeros,
    )


def arc_move(center, A, angle, turn, z0, z1, **more):
    """Return the dict of an arc of radius A about `center` from `angle` on by `turn`, radians."""
    x, y = center
    ends = [
        (x + A * math.cos(a), y + A * math.sin(a), z) for a, z in ((angle, z0), (angle + turn, z1))
    ]
    return {"start": ends[0], "end": ends[1], "center": center, "turn": turn, **more}
