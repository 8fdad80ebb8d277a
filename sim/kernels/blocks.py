"""Plain blocks of a program, read in a compiled loop: G0 to G3 with X Y Z I J F and N numbers.

Text is bytes, one for each character. A line that holds anything else, or anything that the full
reader would say something about, stops the loop before it: nothing of it has been done then. The
sums are the full reader's, operation for operation, so the moves are the same to the last bit.

========  ====================================================================================
frame     x, y, z that coordinates count from; mm in the unit; most that radii of an arc may
          differ; farthest place; all mm
modes     1 for G90, 1 for G90.1, line that moves are recorded under (0: their own)
fixed     tool, run, h_register, spindle, as the recorder writes them
state     x, y, z of the tip, motion (G number), feed, 1 if F was read, 1 if a feed move came
          after the last F
========  ====================================================================================
"""

import math

import numpy as np

from .profile import entry, jit, once

COLUMNS = 17
"""Numbers of a move, in the order of the recorder's `_COLUMNS`."""
ROUNDING = 1e-9
LONGEST = 1024
"""As `lexer.LINE_LIMIT`."""
DIGITS = 15
"""Digits that are exact in a float; a number with more is left to the full reader."""
CHARACTERS = 20
TEN = np.array([10.0**k for k in range(23)])
TURN = 2.0 * math.pi
SPLIT = 134217729.0
X, Y, Z, I_, J_, F = 0, 1, 2, 3, 4, 5
"""Places of the words' values."""


@jit
def round10(x):
    """What Python's ``round(x, 10)`` gives for abs(x) under 9e5."""
    p = x * 1e10
    n = np.rint(p)
    c = SPLIT * x
    high = c - (c - x)
    low = x - high
    rest = (high * 1e10 - p) + low * 1e10  # p + rest is the product, exactly
    d = p - n
    odd = n - 2.0 * math.floor(0.5 * n) != 0.0
    if rest > 0.5 - d or (rest == 0.5 - d and odd):
        n += 1.0
    elif rest < -0.5 - d or (rest == -0.5 - d and odd):
        n -= 1.0
    return n / 1e10


@entry
def line_ends(text, starts, stops):
    """Write where each line begins and ends; returns how many there are.

    Lines end with a line feed, a carriage return, or both. With no room they are only counted.
    """
    n = np.int64(0)
    begin = np.int64(0)
    k = np.int64(0)
    while k < len(text):
        c = text[k]
        if c == 10 or c == 13:
            if n < len(starts):
                starts[n] = begin
                stops[n] = k
            n += 1
            if c == 13 and k + 1 < len(text) and text[k + 1] == 10:
                k += 1
            begin = k + 1
        k += 1
    if n < len(starts):
        starts[n] = begin
        stops[n] = k
    return n + 1


@jit
def number(text, k, stop):
    """Value of a number that begins at or after k, and where it ends; -1: none that is exact."""
    sign = 1.0
    digits = np.int64(0)
    places = np.int64(0)
    significant = 0
    seen = 0
    characters = 0
    point = False
    begun = False
    while k < stop:
        c = text[k]
        if c >= 48 and c <= 57:
            digits = digits * 10 + (c - 48)
            if digits > 0:
                significant += 1
            seen += 1
            if point:
                places += 1
            if significant > DIGITS or places > 22:
                return 0.0, -1
        elif c == 46 and not point:
            point = True
        elif (c == 45 or c == 43) and not begun:
            if c == 45:
                sign = -1.0
        elif c == 32 or c == 9 or c == 12:
            k += 1
            continue
        else:
            break
        begun = True
        characters += 1
        k += 1
    if seen == 0 or characters > CHARACTERS:
        return 0.0, -1
    return sign * (digits / TEN[places]), k


@jit
def line_number(text, k, stop):
    """Where an N number ends whose letter stands before k; -1: none that is plain."""
    figures = 0
    while k < stop:
        c = text[k]
        if c >= 48 and c <= 57:
            figures += 1
        elif c != 32 and c != 9 and c != 12:
            break
        k += 1
    if figures == 0 or figures > CHARACTERS or (k < stop and text[k] == 46):
        return -1
    return k


@jit
def place_of(c):
    """Place among the values of a letter, in capitals; -1: not a plain word."""
    if c >= 88 and c <= 90:
        return c - 88
    if c == 73 or c == 74:
        return c - 70
    return F if c == 70 else -1


@jit
def words(text, k, stop, values, given):
    """Take the words of a line into values, by place; returns G number (-1 none) or -2: not plain.

    Also whether anything stands in the line.
    """
    given[:] = False
    g = -1
    some = False
    while k < stop:
        c = text[k]
        if c == 32 or c == 9 or c == 12:
            k += 1
            continue
        c &= 0xDF  # capitals
        if c == 78:  # N, first of all
            k = -1 if some else line_number(text, k + 1, stop)
        elif c == 71:
            v, k = number(text, k + 1, stop)
            if g >= 0 or not (v == 0.0 or v == 1.0 or v == 2.0 or v == 3.0):
                return -2, True
            g = int(v)
        else:
            at = place_of(c)
            if at < 0 or given[at]:
                return -2, True
            v, k = number(text, k + 1, stop)
            values[at] = v
            given[at] = True
        some = True
        if k < 0:
            return -2, True
    return g, some


@once
def reach(values, given, frame, modes, state, end):
    """Write where the words lead; False: that far away that the full reader has to say so."""
    for a in range(3):
        end[a] = state[a]
        if given[a]:
            v = (frame[a] if modes[0] == 1 else state[a]) + values[a] * frame[3]
            if not abs(v) < frame[5]:
                return False
            end[a] = round10(v)
    return True


@jit
def arc_turn(ax, ay, bx, by, cx, cy, clockwise):
    """As `arcs.turn_of`."""
    if ax == bx and ay == by:
        return -TURN if clockwise else TURN
    ux = ax - cx
    uy = ay - cy
    vx = bx - cx
    vy = by - cy
    angle = math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)
    if clockwise:
        return angle if angle < 0.0 else angle - TURN
    return angle if angle > 0.0 else angle + TURN


@jit
def arc(values, given, frame, modes, state, end, clockwise):
    """Centre and turn of an arc to `end`; a turn of 0: none that is sure to be right."""
    if not (given[I_] or given[J_]) or (modes[1] == 1 and not (given[I_] and given[J_])):
        return 0.0, 0.0, 0.0
    i = values[I_] * frame[3] if given[I_] else 0.0
    j = values[J_] * frame[3] if given[J_] else 0.0
    if not (abs(i) < frame[5] and abs(j) < frame[5]):
        return 0.0, 0.0, 0.0
    cx = (frame[0] if modes[1] == 1 else state[0]) + i
    cy = (frame[1] if modes[1] == 1 else state[1]) + j
    before = math.hypot(state[0] - cx, state[1] - cy)
    after = math.hypot(end[0] - cx, end[1] - cy)
    if abs(before - after) > frame[4] or min(before, after) <= 2.0 * ROUNDING:
        return 0.0, 0.0, 0.0
    return cx, cy, arc_turn(state[0], state[1], end[0], end[1], cx, cy, clockwise)


@once
def put(row, state, end, center, motion, feed, fixed, line):
    """Write a move, and go to its end."""
    cx, cy, turn = center
    for a in range(3):
        row[a] = state[a]
        row[3 + a] = end[a]
        state[a] = end[a]
    row[6] = cx
    row[7] = cy
    row[8] = 1.0 if motion >= 2 else 0.0
    row[9] = 1.0 if motion == 0 else 0.0
    row[10] = turn
    row[11] = fixed[0]
    row[12] = fixed[1]
    row[13] = fixed[2]
    row[14] = 0.0 if motion == 0 else feed
    row[15] = fixed[3]
    row[16] = line


@once
def block(values, given, g, line, frame, modes, fixed, state, end, row):
    """Do a block; 1 if it made a move, 0 if not, -1: nothing was done, it is not plain."""
    motion = g if g >= 0 else int(state[3])
    feed = values[F] * frame[3] if given[F] else state[4]
    if given[F] and not (feed > 0.0 and feed <= frame[5]):
        return -1
    goes = given[X] or given[Y] or given[Z]
    if (given[I_] or given[J_]) and (motion < 2 or not goes):
        return -1
    if goes:
        center = (0.0, 0.0, 0.0)
        if not reach(values, given, frame, modes, state, end):
            return -1
        if motion >= 2:
            center = arc(values, given, frame, modes, state, end, motion == 2)
            if center[2] == 0.0:
                return -1
        put(row, state, end, center, motion, feed, fixed, modes[2] if modes[2] > 0 else line)
    state[3] = motion
    state[4] = feed
    if given[F]:
        state[5] = 1.0
        state[6] = 0.0
    if goes and motion > 0:
        state[6] = 1.0
    return 1 if goes else 0


@entry
def scan(text, starts, stops, line, last, frame, modes, fixed, state, rows):
    """Read lines from `line` on, before `last`; writes moves to rows, shape (n, 17).

    Returns the line that was not read, how many moves and how many blocks there were.
    """
    values = np.zeros(6)
    given = np.zeros(6, np.bool_)
    end = np.empty(3)
    moves = np.int64(0)
    blocks = np.int64(0)
    while line < last and moves < len(rows) and stops[line] - starts[line] <= LONGEST:
        g, some = words(text, starts[line], stops[line], values, given)
        if g == -2:
            break
        if some:
            made = block(
                values, given, g, line + 1, frame, modes, fixed, state, end, rows[moves]
            )  # fmt: skip
            if made < 0:
                break
            moves += made
            blocks += 1
        line += 1
    return line, moves, blocks
