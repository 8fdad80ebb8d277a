"""Loops over pixels and columns for pictures: thinning, raking light, shadow, z-buffer.

Nothing here checks, raises or converts. Heights are mm with NaN where nothing is left; rows run
along y, columns along x, as in a tile.
"""

import math

import numpy as np

from .profile import entry, jit

SKEW = 1.5
"""How lopsided a block of columns must be before its extreme column stands for it.

On a plane the highest and the lowest column lie equally far from the mean, so the middle column
stands for the block; on a cusp or a groove one side is several times farther, and the surface falls
back on both sides of it.
"""
ALONG_X = np.bool_(True)  # typed: bare ones would be compiled one by one
ALONG_Y = np.bool_(False)


@jit
def beyond(top, j, i, dj, di, reach, mid, sign):
    """Whether within `reach` columns of (j, i), going one way, a height lies past `mid`."""
    for k in range(1, reach + 1):
        jj, ii = j + k * dj, i + k * di
        if jj < 0 or ii < 0 or jj >= top.shape[0] or ii >= top.shape[1]:
            return False
        if sign * (top[jj, ii] - mid) < 0.0:
            return True
    return False


@jit
def stands_alone(top, at, reach, mid, sign):
    """Whether a column is part of a thin ridge (sign 1) or groove (-1), not of a wall's edge.

    On a ridge the heights fall back past `mid` on both sides, along x or along y; beside a wall
    they do so on one side only.
    """
    j, i = at // top.shape[1], at % top.shape[1]
    for way in range(2):
        dj, di = way, 1 - way
        if beyond(top, j, i, dj, di, reach, mid, sign) and beyond(
            top, j, i, -dj, -di, reach, mid, sign
        ):
            return True
    return False


@jit
def pick_column(top, j0, j1, i0, i1):
    """Flat index of the column that stands for a block, -1 where nothing is left."""
    total, count = 0.0, 0
    high, low = -math.inf, math.inf
    at_high = at_low = np.int64(-1)  # typed: a bare -1 would be compiled as a literal too
    nx = top.shape[1]
    for j in range(j0, j1):
        for i in range(i0, i1):
            z = top[j, i]
            if math.isnan(z):
                continue
            total += z
            count += 1
            if z > high:
                high, at_high = z, j * nx + i
            if z < low:
                low, at_low = z, j * nx + i
    if count == 0:
        return -1
    mean = total / count
    reach = 2 * max(j1 - j0, i1 - i0)
    if high - mean > SKEW * (mean - low) and stands_alone(top, at_high, reach, mean, 1.0):
        return at_high
    if mean - low > SKEW * (high - mean) and stands_alone(top, at_low, reach, mean, -1.0):
        return at_low
    jm, im = (j0 + j1 - 1) // 2, (i0 + i1 - 1) // 2
    if math.isnan(top[jm, im]):
        return at_high
    return jm * nx + im


@entry
def thin(top, k, out):
    """Fill `out` (int64) with the flat index of the column that stands for each k x k block."""
    ny, nx = top.shape
    for j in range(out.shape[0]):
        for i in range(out.shape[1]):
            out[j, i] = pick_column(top, j * k, min(ny, (j + 1) * k), i * k, min(nx, (i + 1) * k))
    return out


@entry
def picture_slope(z, weight_d, weight_s, pitch_x, pitch_y, clip, out):
    """Slope of the heights by a Gaussian derivative at the pitch of the columns.

    `weight_d` and `weight_s` are the derivative and the smoothing weights over 2 r + 1 columns.
    A difference of height counts up to `clip`, so that a wall does not drown what lies beside it;
    columns on which nothing is left count as level with the middle one.
    """
    ny, nx = z.shape
    r = weight_d.size // 2
    for j in range(ny):
        for i in range(nx):
            out[j, i, 0] = 0.0
            out[j, i, 1] = 0.0
            here = z[j, i]
            if math.isnan(here):
                continue
            gx, gy = 0.0, 0.0
            for b in range(max(-r, -j), min(r, ny - 1 - j) + 1):
                for a in range(max(-r, -i), min(r, nx - 1 - i) + 1):
                    d = z[j + b, i + a] - here
                    if math.isnan(d):
                        continue
                    d = min(clip, max(-clip, d))
                    gx += weight_d[r + a] * weight_s[r + b] * d
                    gy += weight_s[r + a] * weight_d[r + b] * d
            out[j, i, 0] = gx / pitch_x
            out[j, i, 1] = gy / pitch_y
    return out


@entry
def cast_shadow(z, pitch_x, pitch_y, ux, uy, tan_low, tan_high, reach, out):
    """Shadow of a low lamp, 0 lit to 1 dark, by walking from each column towards the lamp.

    (ux, uy) is the unit vector in plan towards the lamp, whose disc spans the elevations
    `tan_low` to `tan_high` (tangents). The walk takes `reach` steps of one column along the longer
    axis, and what it meets counts in full over the first half and then less and less, so that the
    cut-off has no edge that looks like a step.
    """
    ny, nx = z.shape
    cx, cy = ux / pitch_x, uy / pitch_y  # columns per mm
    longer = max(abs(cx), abs(cy))
    cx, cy = cx / longer, cy / longer
    step_mm = math.hypot(cx * pitch_x, cy * pitch_y)
    along_x = abs(cx) >= abs(cy)
    toward = 1 if (cx if along_x else cy) > 0.0 else -1
    for j in range(ny):
        for i in range(nx):
            out[j, i] = 0.0
            here = z[j, i]
            if math.isnan(here):
                continue
            dark = 0.0
            for k in range(1, reach + 1):
                if along_x:
                    height = between(z, j + k * cy, i + toward * k, ALONG_X)
                else:
                    height = between(z, i + k * cx, j + toward * k, ALONG_Y)
                if math.isnan(height):
                    continue
                covered = ((height - here) / (k * step_mm) - tan_low) / (tan_high - tan_low)
                fade = min(1.0, 2.0 * (1.0 - k / (reach + 1.0)))
                dark = max(dark, fade * min(1.0, max(0.0, covered)))
                if dark == 1.0:
                    break
            out[j, i] = dark
    return out


@jit
def between(z, across, along, along_x):
    """Height at a fractional row (or column) between two neighbours; NaN off the tile."""
    low = math.floor(across)
    share = across - low
    if along_x:
        if along < 0 or along >= z.shape[1] or low < 0 or low >= z.shape[0]:
            return math.nan
        if share == 0.0 or low + 1 >= z.shape[0]:
            return z[low, along]
        return z[low, along] * (1.0 - share) + z[low + 1, along] * share
    if along < 0 or along >= z.shape[0] or low < 0 or low >= z.shape[1]:
        return math.nan
    if share == 0.0 or low + 1 >= z.shape[1]:
        return z[along, low]
    return z[along, low] * (1.0 - share) + z[along, low + 1] * share


@entry
def cell_corners(top, slope, pitch_x, pitch_y, out):
    """Heights at the four corners of each cell, shape (ny, nx, 4), counter-clockwise from low x, y.

    The cell lies in the tangent plane of its column, kept within the heights of the cells that
    meet at the corner: an infinite slope must not throw a corner away.
    """
    ny, nx = top.shape
    for j in range(ny):
        for i in range(nx):
            here = top[j, i]
            for c in range(4):
                right = 1 if c == 1 or c == 2 else -1
                up = 1 if c >= 2 else -1
                low, high = here, here
                for b in range(2):
                    for a in range(2):
                        jj, ii = j + b * up, i + a * right
                        if 0 <= jj < ny and 0 <= ii < nx and not math.isnan(top[jj, ii]):
                            low, high = min(low, top[jj, ii]), max(high, top[jj, ii])
                lift = 0.5 * (right * pitch_x * slope[j, i, 0] + up * pitch_y * slope[j, i, 1])
                out[j, i, c] = min(high, max(low, here + lift))
    return out


@jit
def edge_heights(corners, j, i, side, base):
    """Heights of a cell at the two ends of one side (0 low y, 1 high x, 2 high y, 3 low x)."""
    ny, nx = corners.shape[0], corners.shape[1]
    if j < 0 or j >= ny or i < 0 or i >= nx or math.isnan(corners[j, i, 0]):
        return base, base
    return corners[j, i, side], corners[j, i, (side + 1) % 4]


@entry
def walls(corners, base, side_out, cell_out, heights_out):
    """Upright quads where a cell and its neighbour do not meet; returns how many there are.

    Each wall belongs to the cell whose edge is the higher, `side` of that cell; `heights_out` takes
    the heights of its first and second end above, then of its second and first end below. With
    empty outputs it only counts.
    """
    ny, nx = corners.shape[0], corners.shape[1]
    n = 0
    for j in range(ny):
        for i in range(nx):
            if math.isnan(corners[j, i, 0]):
                continue
            for side in range(4):
                jj = j + (side == 2) - (side == 0)
                ii = i + (side == 1) - (side == 3)
                a, b = edge_heights(corners, j, i, side, base)
                d, c = edge_heights(corners, jj, ii, (side + 2) % 4, base)
                if (a - c) + (b - d) <= 0.0:
                    if not ((a - c) + (b - d) == 0.0 and a > c):
                        continue
                if n < side_out.size:
                    side_out[n] = side
                    cell_out[n] = j * nx + i
                    heights_out[n, 0], heights_out[n, 1] = a, b
                    heights_out[n, 2], heights_out[n, 3] = d, c
                n += 1
    return n


@jit
def fill_triangle(ax, ay, az, bx, by, bz, cx, cy, cz, ident, depth, ids):
    """Draw one triangle into a z-buffer; samples at pixels' middles, greater is nearer."""
    h, w = depth.shape
    area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
    if area == 0.0:
        return
    i0 = max(0, math.ceil(min(ax, bx, cx) - 0.5))
    i1 = min(w - 1, math.floor(max(ax, bx, cx) - 0.5))
    j0 = max(0, math.ceil(min(ay, by, cy) - 0.5))
    j1 = min(h - 1, math.floor(max(ay, by, cy) - 0.5))
    for j in range(j0, j1 + 1):
        y = j + 0.5
        for i in range(i0, i1 + 1):
            x = i + 0.5
            u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
            v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
            if u < -1e-9 or v < -1e-9 or u + v > 1.0 + 1e-9:
                continue
            z = u * az + v * bz + (1.0 - u - v) * cz
            if z > depth[j, i]:
                depth[j, i] = z
                ids[j, i] = ident


@entry
def fill_quads(points, depth, ids):
    """Draw quads, shape (n, 4, 3): screen x, screen y, nearness; earlier ones win a tie."""
    for n in range(points.shape[0]):
        p = points[n]
        for k in range(1, 3):
            fill_triangle(
                p[0, 0], p[0, 1], p[0, 2],
                p[k, 0], p[k, 1], p[k, 2],
                p[k + 1, 0], p[k + 1, 1], p[k + 1, 2],
                n, depth, ids,
            )  # fmt: skip
    return ids


def gaussian_weights(sigma):
    """Derivative and smoothing weights over 4 sigma, so that a plane's slope comes out exactly."""
    r = math.ceil(3.5 * sigma)
    k = np.arange(-r, r + 1, dtype=np.float64)
    smooth = np.exp(-0.5 * (k / sigma) ** 2)
    smooth /= smooth.sum()
    derivative = k * smooth
    return derivative / (derivative * k).sum(), smooth
