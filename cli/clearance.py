"""``proud clearance``: how near neck, shank, holder and fixture come."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from proud.units import MM_PER, say_fine

from .options import Answer, Asked, common, surface_options
from .output import progress_bar
from .words import CAUTION, row, screen_width, wrapped
from .working import say_first_run

if TYPE_CHECKING:
    from proud.clearance import Clearance, Gap
    from proud.job import Job

__all__ = ["command"]

NEAR_MM = 0.05 * 25.4
"""Gaps below this are listed on the screen: common practice, no source."""


@click.command("clearance")
@surface_options
@click.option("--all", "every", is_flag=True, help="List every gap, not only the near ones.")
@common
def command(
    asked: Asked,
    every: bool,
    answer: Answer,
) -> None:
    """Least gap of neck, shank and holder to the stock, and of every part to the fixture.

    The stock is the one that stood at that moment: what earlier moves left, and the same move's
    cutting part. Below 0: how deep they overlap.

    Example: proud clearance demo_parts/first_try/job.toml
    """
    loaded = asked.load((answer.out, "--out"))
    from proud.clearance import find_clearance

    count = loaded.count_as_of(asked.as_of)
    needs = ["fixture"] if any(setup.fixture for setup in loaded.spec.setups) else []
    say_first_run("clearance", *needs, quiet=answer.silent)
    what = f"{count:,} moves"
    with progress_bar(what, columns=0, quiet=answer.silent) as show:
        found = find_clearance(loaded, as_of=count, progress=show)
    answer.give(found.as_dict(), lambda: _text(found, loaded, every))


def _text(found: Clearance, job: Job, every: bool) -> str:
    if not found.gaps:
        lines = ["nothing to judge: no neck, shank or holder is known, and there is no fixture"]
    else:
        touching = sum(g.gap <= 0 for g in found.gaps)
        least = found.gaps[0]
        lines = [
            f"{touching} of {len(found.gaps)} touch"
            if touching
            else f"nothing touches; the least gap is {say_fine(least.gap, job.unit)}"
        ]
    names = job.pass_names()
    shown = [g for g in found.gaps if every or g.gap < NEAR_MM]
    lines += [_row(gap, job, names) for gap in shown]
    if len(shown) < len(found.gaps):
        far = len(found.gaps) - len(shown)
        near = say_fine(NEAR_MM, job.unit)
        lines.append(f"  {far} more, none under {near}: --all lists them")
    lines += [row("note: ", [note], screen_width()) for note in found.notes]
    return "\n".join([*lines, "", *wrapped(CAUTION, screen_width())])


def _row(g: Gap, job: Job, names: dict[int, tuple[int, str]]) -> str:
    per, unit = MM_PER[job.unit], job.unit
    if g.gap > 0:
        gap = f"clears by {say_fine(g.gap, unit)}"
    else:
        gap = f"overlaps by {say_fine(-g.gap, unit)}" if g.gap < 0 else "touches"
    x, y, z = (v / per for v in g.at)
    name = names[g.pass_number][1] if g.pass_number in names else "between passes"
    parts = [
        f"against the {g.against}" if g.against == "stock" else f"against {g.against}",
        f"at X{x:.4f} Y{y:.4f} Z{z:.4f}:",
        f"pass {g.pass_number or '-'} ({name}),",
        f"line {g.line}",
    ]
    return row(f"  T{g.tool} {g.part:<7} {gap}  ", parts, screen_width())
