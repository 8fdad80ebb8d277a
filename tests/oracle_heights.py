"""Heights of columns by search: the least z(s) + g(distance) over a path, g from the pieces."""

from __future__ import annotations

import math

import numba
import numpy as np
from oracle_rays import FAR, GOLDEN, tip

jit = numba.njit(error_model="numpy", nogil=True)  # not kept: it holds code of another file


@jit
def lower_edge(piece, rho):
    """Lowest height over the tip at which a piece reaches out to rho."""
    low, high = piece[0], piece[1]
    if piece[2] >= rho:
        return low
    if piece[6] == 0.0:
        if piece[3] < rho:
            return FAR
        return low + (high - low) * (rho - piece[2]) / (piece[3] - piece[2])
    far, R = rho - piece[4], piece[6]
    if R > 0.0:
        z = piece[5] - math.sqrt(max(0.0, (R - far) * (R + far)))
        return max(z, low) if far <= R and low - 1e-12 <= z <= high + 1e-12 else FAR
    z = piece[5] + math.sqrt(max(0.0, (-R - far) * (far - R)))
    return max(z, low) if z <= high + 1e-12 and piece[3] >= rho else FAR


@jit
def lower(pieces, rho):
    edge = FAR
    for k in range(len(pieces)):
        edge = min(edge, lower_edge(pieces[k], rho))
    return edge


@jit
def over(pieces, move, x, y, s):
    tx, ty, tz = tip(move, s)
    rho = math.hypot(x - tx, y - ty)
    edge = lower(pieces, rho)
    return tz + edge if edge < FAR else FAR * (1.0 + rho)


@jit
def dip(pieces, move, x, y, low, high):
    c, e = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    fc, fe = over(pieces, move, x, y, c), over(pieces, move, x, y, e)
    best = min(fc, fe)
    for _ in range(75):
        if high - low < 1e-16:
            break
        if fc <= fe:
            high, e, fe = e, c, fc
            c = high - GOLDEN * (high - low)
            fc = over(pieces, move, x, y, c)
        else:
            low, c, fc = c, e, fe
            e = low + GOLDEN * (high - low)
            fe = over(pieces, move, x, y, e)
        best = min(best, fc, fe)
    return best


@jit
def nearest(move, x, y, low, high):
    """(distance in plan, s) of the nearest approach between low and high."""
    for _ in range(80):
        c, e = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
        a, b, _z = tip(move, c)
        p, q, _w = tip(move, e)
        if math.hypot(x - a, y - b) <= math.hypot(x - p, y - q):
            high = e
        else:
            low = c
    a, b, _z = tip(move, 0.5 * (low + high))
    return math.hypot(x - a, y - b), 0.5 * (low + high)


@jit
def height(pieces, move, x, y, count):
    """(height, nearest distance): the least z(s) + g(distance) over a path, by search."""
    best, near = FAR, FAR
    step = 1.0 / (count - 1)
    values, apart = np.empty(count + 2), np.empty(count + 2)
    values[0] = values[-1] = apart[0] = apart[-1] = math.inf
    for i in range(count):
        tx, ty, _z = tip(move, step * i)
        apart[i + 1] = math.hypot(x - tx, y - ty)
        values[i + 1] = over(pieces, move, x, y, step * i)
    for i in range(1, count + 1):
        low, high = max(0.0, step * (i - 2)), min(1.0, step * i)
        best, near = min(best, values[i]), min(near, apart[i])
        if apart[i] <= apart[i - 1] and apart[i] <= apart[i + 1]:
            closest, s = nearest(move, x, y, low, high)
            near = min(near, closest)
            best = min(best, over(pieces, move, x, y, s))
            best = min(best, dip(pieces, move, x, y, low, s), dip(pieces, move, x, y, s, high))
        if values[i] <= values[i - 1] and values[i] <= values[i + 1]:
            best = min(best, dip(pieces, move, x, y, low, high))
    return best, near


@jit
def height_loop(pieces, move, x, y, count, heights, near):
    for i in range(len(x)):
        heights[i], near[i] = height(pieces, move, x[i], y[i], count)
