"""Expressions against trees that know their own value, and rubbish that looks like a program."""

from __future__ import annotations

import contextlib
import math

import pytest
from helpers_program import HEAD, path, settings
from hypothesis import assume, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.program import flow, read_text

RANK = {"**": 3, "*": 2, "/": 2, "MOD": 2, "+": 1, "-": 1, "OR": 1, "XOR": 1, "AND": 1}
numbers = st.integers(1, 99).map(lambda n: n / 8)
trees = st.recursive(
    numbers,
    lambda inner: st.tuples(st.sampled_from([*RANK, "SIN", "ABS", "FIX"]), inner, inner),
    max_leaves=12,
)


def worth(tree) -> float:
    """Return the value of a tree, by definition of each operator."""
    if not isinstance(tree, tuple):
        return float(tree)
    word, a, b = tree[0], worth(tree[1]), worth(tree[2])
    if not abs(a) + abs(b) < 1e9:  # NaN also
        return math.nan
    if word == "**":
        return a**b if a > 0 and abs(b) < 8 else math.nan
    if word in ("/", "MOD"):
        if abs(b) < 1e-6:
            return math.nan
        return a / b if word == "/" else a - abs(b) * math.floor(a / abs(b))
    simple = {
        "*": a * b,
        "+": a + b,
        "-": a - b,
        "OR": float(bool(a or b)),
        "XOR": float((a != 0) != (b != 0)),
        "AND": float(bool(a and b)),
        "SIN": math.sin(math.radians(a)),
        "ABS": abs(a),
        "FIX": float(math.floor(a)),
    }
    return simple[word]


def written(tree, *, brackets: bool) -> str:
    """Return the text of a tree with all brackets, or with those alone that the ranks need."""
    if not isinstance(tree, tuple):
        return f"{tree:g}"
    word = tree[0]
    if word not in RANK:
        return f"{word}[{written(tree[1], brackets=brackets)}]"
    parts = []
    for k, part in enumerate(tree[1:]):
        text = written(part, brackets=brackets)
        binary = isinstance(part, tuple) and part[0] in RANK
        if binary and (brackets or RANK[part[0]] < RANK[word] + k):
            text = f"[{text}]"
        parts.append(text)
    return f"{parts[0]} {word} {parts[1]}"


@given(trees)
@examples(deadline=None, max_examples=300)
def test_expressions(tree) -> None:
    """The same tree with all brackets and with the fewest has its own value both times."""
    value = worth(tree)
    assume(math.isfinite(value) and abs(value) < 1e4)
    for brackets in (True, False):
        text = written(tree, brackets=brackets)
        assume(len(text) < 900)
        ((_, x, _, _),) = path(f"G1 X[{text}]")
        assert x == pytest.approx(value, rel=1e-9, abs=2e-6)


TEXT = (
    "WHILE[ ]DO1 END1 IF[ ]GOTO1 ]THEN#1= GOTO N1 #1 #<a> = [ ] SIN[ ATAN[ ** EQ AND M98P1 M99 O1 "
    "G65P1A1 M97P1 G68X0Y0R9 G69 G51X0Y0Z0P2. G50 G52X1 G92X1 G92.1 G41D1 G40 G81Z-1R1X1 G80 "
    "G12I9.D1 G93F1 G94F9 G1X1 G2X2I1 X5 Y-5 Z1 A9 G91 G90 G18 G17 M30 (A) / T2M6 G28Z0 "
    "G10L2P1X0 L2 1 -2."
)
PIECES = [*TEXT.split(), *["\n"] * 5]


@given(st.lists(st.sampled_from(PIECES), max_size=60).map("".join))
@examples(deadline=None, max_examples=500)
def test_rubbish_is_an_error_with_a_place_or_a_program(text: str) -> None:
    old, flow.REPEATED_LIMIT = flow.REPEATED_LIMIT, 3000
    try:
        with contextlib.suppress(BadInput):
            read_text(
                HEAD + "G1 X1\n" + text, settings(radii={1: 0.5, 2: 0.25}, home=(0.0, 0.0, 9.0))
            )
    finally:
        flow.REPEATED_LIMIT = old
