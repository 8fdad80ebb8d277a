"""Runs elements of a path through a compensator."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pytest
from proud.contour import Contour, Piece, Point
from proud.program.compensation import CompensationOptions, Compensator, OffsetMove

Word = tuple[Any, ...]
"""("line", end), ("arc", end, center, degrees), ("idle",), ("rapid", end), ("D", radius) or
("G40",) or ("G40", end)."""


def run(
    start: Point, words: Sequence[Word], *, side: Any = "left", radius: float, **options: Any
) -> list[OffsetMove[int]]:
    """Moves of a program; infos are the numbers of its words, from 1."""
    machine: Compensator[int] = Compensator(side, radius, start, CompensationOptions(**options))
    moves: list[OffsetMove[int]] = []
    for info, (what, *rest) in enumerate(words, 1):
        if what in ("line", "rapid"):
            moves += machine.line(rest[0], info, rapid=what == "rapid")
        elif what == "arc":
            moves += machine.arc(rest[0], rest[1], math.radians(rest[2]), info)
        elif what == "idle":
            moves += machine.idle(info)
        elif what == "D":
            machine.change(side, rest[0], info)
        else:
            moves += machine.finish(rest[0] if rest else None, info)
    check_chain(start, moves)
    return moves


def check_chain(start: Point, moves: Sequence[OffsetMove[Any]]) -> None:
    """Each move starts where the one before ended, and arcs lie on their circles."""
    at = (round(start[0], 10), round(start[1], 10))
    for move in moves:
        assert move.start == at, move
        at = move.end
        if move.turn:
            piece = Piece(move.start, move.end, move.center, move.turn)
            assert math.dist(piece.start, piece.center) > 0
            turned = piece.at(1 - 1e-15)
            assert math.dist(turned, move.end) < 1e-9 * max(1.0, piece.radius), move


def pieces_of(moves: Sequence[OffsetMove[int]]) -> list[Piece]:
    """Moves as pieces of a contour, without the lead-in, idle blocks and the lead-out."""
    return [
        Piece(m.start, m.end, m.center, m.turn, m.info if m.kind == "given" else -m.info)
        for m in moves
        if m.kind in ("given", "corner") and m.start != m.end
    ]


def words_of(pieces: Sequence[Piece]) -> list[Word]:
    """Pieces as words."""
    return [
        ("arc", p.end, p.center, math.degrees(p.turn)) if p.turn else ("line", p.end)
        for p in pieces
    ]


def round_trip(contour: Contour, radius: float, **options: Any) -> list[OffsetMove[int]]:
    """Moves round a closed contour, begun in the middle of its first piece.

    Info 1 is the lead-in, 2 the rest of the first piece, 3 the second and so on; the last is the
    beginning of the first piece.
    """
    begun = contour.begun_at(0, 0.5)
    (x, y), (u, v) = begun.start, begun.pieces[0].heading(0)
    start = (x - 3 * u, y - 3 * v)
    words = [("line", begun.start), *words_of(begun.pieces), ("G40",)]
    return run(start, words, radius=radius, **options)


def shown(moves: Sequence[OffsetMove[int]]) -> list[tuple[Any, ...]]:
    """(info, kind, x, y, degrees) of each move."""
    return [(m.info, m.kind, m.end[0], m.end[1], math.degrees(m.turn)) for m in moves]


def check(moves: Sequence[OffsetMove[int]], expected: Sequence[tuple[Any, ...]]) -> None:
    """Moves are as a table has them, to 1e-9 mm."""
    assert [m[:2] for m in shown(moves)] == [e[:2] for e in expected]
    for move, want in zip(shown(moves), expected, strict=True):
        assert move[2:] == pytest.approx(want[2:], abs=1e-9), want
