"""Values of a pass as its pass list gives them, for changes that name the person's own key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .listed import listed_pass

if TYPE_CHECKING:
    from .case import Case

__all__ = ["has_list", "own_value"]


def has_list(case: Case, number: int) -> bool:
    """Return whether a pass comes from a pass list, not from a program."""
    return case.job.spec.setups[case.passes[number].setup].passes is not None


def own_value(case: Case, number: int, *keys: str) -> tuple[str, Any] | None:
    """Return the first of some keys that a pass of a pass list gives, and its value.

    None: the pass comes from a program, or gives none of them. Lengths are in mm.
    """
    item = listed_pass(case, number)
    given = ((key, getattr(item, key, None)) for key in keys)
    return next(((key, value) for key, value in given if value is not None), None)
