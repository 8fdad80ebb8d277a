"""Values of a pass list that stand behind a move, for changes that name them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from .base import Change
from .taken import z_word

if TYPE_CHECKING:
    from ..passes.operations import PassBase, StepPass
    from ..passes.work import Level
    from .case import Case

__all__ = ["level_of", "listed_pass", "seconds_again", "side_allowance"]

SAME: Final = 1e-6


def listed_pass(case: Case, number: int) -> PassBase | None:
    """Return a pass as its pass list says it, lengths in mm; None: it comes from a program."""
    from ..passes.operations import PassList
    from ..strict import load_toml, validate

    index = case.passes[number].setup
    named = case.job.spec.setups[index].passes
    if named is None:
        return None
    listed = validate(PassList, load_toml(named), shown=str(named), unit=case.unit)
    first = min(n for n, p in case.passes.items() if p.setup == index)
    return listed.passes[number - first]


def level_of(case: Case, move: int) -> tuple[StepPass | None, Level | None]:
    """Return the pass of a pass list and its level that a move runs at; None: there is none."""
    from ..moves import MoveList
    from ..passes.operations import StepPass
    from ..passes.work import Work

    moves = case.moves
    item = listed_pass(case, int(moves.pass_number[move]))
    if not isinstance(item, StepPass):
        return None, None
    z = z_word(case, move, float(np.fmin(moves.start[move, 2], moves.end[move, 2])))
    settings = case.job.pass_settings(int(moves.setup[move]))
    levels = Work(item, settings, 0, 0, MoveList()).levels(item)
    return item, next((level for level in levels if abs(level.z - z) < SAME), None)


def side_allowance(
    case: Case, move: int, before: float, more: float, *, seconds: float = 0.0
) -> Change:
    """Return the change of the side allowance of the pass of a move.

    Parameters
    ----------
    case : Case
    move : int
    before : float
        What the pass leaves on the wall, mm; a pass list's own value takes its place.
    more : float
        What is to be added, mm.
    seconds : float
        What it costs a part.
    """
    number = int(case.moves.pass_number[move])
    _, level = level_of(case, move)
    what = f"side allowance of pass {number}"
    if level is not None:
        what, before = f"{level.key} of pass {number}", level.allowance_side
    return Change(what, before, before + more, seconds=seconds)


def seconds_again(case: Case, number: int, z: float) -> float:
    """Return how long the feed moves of a pass that end at one height take, seconds."""
    moves = case.moves
    mine = case.moves_of(number)
    mine = mine[~moves.rapid[mine] & (moves.feed[mine] > 0)]
    mine = mine[np.abs(moves.end[mine, 2] - z) <= SAME]
    return 60 * float((moves.lengths()[mine] / moves.feed[mine]).sum())
