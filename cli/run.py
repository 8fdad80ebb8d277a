"""``proud run``: findings, steps, passes, levels and skims."""

from __future__ import annotations

from pathlib import Path

import click
from proud.errors import BadInput

from .options import Answer, Asked, common, depth, positive, surface_options
from .output import check_target
from .working import cut, reviewed

__all__ = ["command"]


@click.command("run")
@surface_options
@click.option(
    "--skim", metavar="DEPTH", help="Deepest cut into an earlier floor to list [0.030in]."
)
@click.option(
    "--least-width",
    metavar="WIDTH",
    help="Levels and skims narrower than this everywhere are not listed [0.1thou].",
)
@click.option(
    "--all", "everything", is_flag=True,
    help="Also list notes, passes, levels, skims, every step and lead.",
)  # fmt: skip
@click.option("--skip-findings", is_flag=True, help="Only cut: ask no rule; quicker.")
@click.option(
    "--pictures", type=click.Path(path_type=Path), metavar="DIR", help="Draw pictures there."
)
@common
def command(
    asked: Asked,
    skim: str | None,
    least_width: str | None,
    everything: bool,
    skip_findings: bool,
    pictures: Path | None,
    answer: Answer,
) -> None:
    """Cut the part as programmed; say what will spoil it, and list what is left.

    What is found is judged on the whole job, so not with --as-of; proud explain says how.

    A skim is a floor that one pass had left flat and a later pass cut again, by how much. A step
    is the difference of two neighbouring levels. Both are found at any pitch, between columns too.

    Example: proud run demo_parts/first_try/job.toml --pictures out
    """
    check_target(pictures, "--pictures", folder=True)
    if skip_findings and asked.fail_on is not None:
        raise BadInput("--fail-on wants what --skip-findings leaves out; give one of them")
    loaded = asked.load((answer.out, "--out"))
    limit = None if skim is None else depth(skim, loaded.unit, "--skim")
    if least_width is not None:
        loaded.least_width = positive(least_width, loaded.unit, "--least-width")
    drawing = pictures is not None
    judged = asked.as_of is None and not skip_findings
    result = cut(loaded, asked.as_of, answer, skim=limit, pictures=drawing, judged=judged)
    rows = result.as_dict()
    found = None
    if judged:
        found = reviewed(loaded, result, answer)
        rows |= found.as_dict()
    drawn: list[Path] = []
    if pictures is not None:
        from .pictures import draw_all, draw_findings

        drawn = draw_all(loaded, result, pictures)
        if found is not None:
            drawn += draw_findings(loaded, found, pictures, notes=everything)
    from .screen import run_text

    def text() -> str:
        return run_text(result, rows, everything=everything, drawn=drawn, review=found, job=loaded)

    answer.give(rows, text)
    if found is not None:
        asked.judge(found.findings)
