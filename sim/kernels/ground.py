"""Walks over the columns of a tile: which level the ground belongs to, and the borders."""

import math

import numpy as np

from .profile import entry, jit

REACH = 7
SPREAD2 = 2.0 * 2.0 * 2.0
"""Twice the squared width, in cells, of the window in which a border's direction is taken, and how
far it is followed: straight borders at any angle and circles come out within 1 %."""


@jit
def open_side(territory, passes, j, i):
    """Whether a column with a level has ground of its own pass without one beside it."""
    ny, nx = territory.shape
    for k in range(4):
        jj = j + (k == 0) - (k == 1)
        ii = i + (k == 2) - (k == 3)
        if jj < 0 or ii < 0 or jj >= ny or ii >= nx:
            continue
        if territory[jj, ii] == -1 and passes[jj, ii] == passes[j, i]:
            return True
    return False


@entry
def seeds(territory, passes, queue):
    """List the columns from which a walk begins; returns (columns without level, seeds).

    With no room in the queue they are only counted.
    """
    ny, nx = territory.shape
    bare = np.int64(0)
    n = np.int64(0)
    for j in range(ny):
        for i in range(nx):
            if territory[j, i] == -1:
                bare += 1
            elif territory[j, i] >= 0 and open_side(territory, passes, j, i):
                if n < len(queue):
                    queue[n] = j * nx + i
                n += 1
    return bare, n


@entry
def spread(territory, passes, queue, n):
    """Give ground without a level to the nearest level of its own pass, walking cell to cell.

    territory: level of each column, -1 ground without one, -2 nothing. queue: n columns (row-major
    numbers) that have a level, in order; room for those without one too.
    """
    ny, nx = territory.shape
    at = 0
    while at < n:
        j = queue[at] // nx
        i = queue[at] % nx
        at += 1
        for k in range(4):
            jj = j + (k == 0) - (k == 1)
            ii = i + (k == 2) - (k == 3)
            if jj < 0 or ii < 0 or jj >= ny or ii >= nx:
                continue
            if territory[jj, ii] == -1 and passes[jj, ii] == passes[j, i]:
                territory[jj, ii] = territory[j, i]
                queue[n] = jj * nx + ii
                n += 1
    return n


@jit
def share_across(territory, weights, a, b, j, i, upward):
    """How squarely a cell edge lies in the border between a and b: |normal| along its axis."""
    ny, nx = territory.shape
    gx = 0.0
    gy = 0.0
    for jj in range(max(0, j - REACH), min(ny, j + REACH + 1 + upward)):
        dy = jj - j - 0.5 * upward
        for ii in range(max(0, i - REACH), min(nx, i + REACH + 2 - upward)):
            dx = ii - i - 0.5 * (1 - upward)
            t = territory[jj, ii]
            side = (t == b) * 1.0 - (t == a) * 1.0
            w = side * weights[int(abs(2.0 * dx))] * weights[int(abs(2.0 * dy))]
            gx += w * dx
            gy += w * dy
    size = math.hypot(gx, gy)
    if size == 0.0:
        return 1.0
    return abs(gy if upward else gx) / size


@entry
def borders(territory, edges, shares):
    """List cell edges between two levels: (low level, high level, j, i, upward); returns how many.

    upward 0: between (j, i) and (j, i + 1); 1: between (j, i) and (j + 1, i). With no room the
    edges are only counted.
    """
    ny, nx = territory.shape
    n = np.int64(0)
    weights = np.empty(2 * REACH + 3)  # at half cells
    for k in range(len(weights)):
        weights[k] = math.exp(-0.25 * k * k / SPREAD2)
    for j in range(ny):
        for i in range(nx):
            a = territory[j, i]
            if a < 0:
                continue
            for upward in range(2):
                jj = j + upward
                ii = i + 1 - upward
                if jj >= ny or ii >= nx:
                    continue
                b = territory[jj, ii]
                if b < 0 or b == a:
                    continue
                if n < len(edges):
                    edges[n, 0] = min(a, b)
                    edges[n, 1] = max(a, b)
                    edges[n, 2] = j
                    edges[n, 3] = i
                    edges[n, 4] = upward
                    shares[n] = share_across(territory, weights, a, b, j, i, upward)
                n += 1
    return n
