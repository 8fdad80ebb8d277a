"""Long work: what it will take, that a first run compiles, and how far it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from .options import Answer
from .output import progress_bar

if TYPE_CHECKING:
    from proud.job import Job
    from proud.result import RunResult
    from proud.review import Review

    from .options import Asked

__all__ = ["cut", "judge_whole", "reviewed", "say_first_run"]

MANY = 4_000_000
"""From so many columns on it is said what they take."""


def cut(
    job: Job, as_of: str | None, answer: Answer, *, skim: float | None = None,
    pictures: bool = False, judged: bool = False,
) -> RunResult:  # fmt: skip
    """Run a job; say on stderr what it takes and how far it is.

    Parameters
    ----------
    job : Job
    as_of : str, optional
        As the person gave it.
    answer : Answer
        Whether less is to be said.
    skim : float, optional
        Deepest cut into an earlier floor that is listed, mm.
    pictures : bool
        Pictures will be drawn of it.
    judged : bool
        Rules will be asked: what they need is compiled with the rest, evenly over a few processes.

    Raises
    ------
    TooLarge
        Neither memory nor disk can hold it.
    BadInput
        A file or a value that can't be used.
    """
    from proud.job import SKIM_LIMIT

    job.count_as_of(as_of)  # a word that can't be used is said before anything else
    moves, columns = len(job.program.moves), job.grid.columns
    _say_size(columns, quiet=answer.silent)
    needs = ["run", *(["pictures"] if pictures else []), *(_review_needs(job) if judged else [])]
    say_first_run(*needs, quiet=answer.silent)
    limit = SKIM_LIMIT if skim is None else skim
    what = f"{moves:,} moves on {columns:,} columns"
    with progress_bar(what, columns=columns, quiet=answer.quiet) as show:
        return job.run(as_of=as_of, skim=limit, progress=show)


def reviewed(job: Job, result: RunResult, answer: Answer) -> Review:
    """Ask all rules about a job that was run; say on stderr how far it is."""
    from proud.review import review

    say_first_run(*_review_needs(job), quiet=answer.silent)
    what = f"what {len(job.program.passes)} passes touch"
    with progress_bar(what, columns=0, quiet=answer.silent) as show:
        return review(job, result, progress=show)


def _review_needs(job: Job) -> list[str]:
    """Return what rules need compiled for a job."""
    fixture = any(setup.fixture for setup in job.spec.setups)
    part = job.spec.part
    model = part is not None and part.model is not None
    return ["review", *(["fixture"] if fixture else []), *(["model"] if model else [])]


def judge_whole(asked: Asked, *, quiet: bool) -> None:
    """Run the whole job and end with exit code 1 where ``--fail-on`` asks for it."""
    job, answer = asked.load(), Answer(as_json=False, out=None, quiet=quiet)
    asked.judge(reviewed(job, cut(job, None, answer, judged=True), answer).findings)


def _say_size(columns: int, *, quiet: bool) -> None:
    """Say what the work will take, if that is much; refuse what neither memory nor disk holds."""
    from proud.memory import plan

    text = plan(columns)
    if columns >= MANY and not quiet:
        click.echo(text, err=True)


def say_first_run(*needs: str, quiet: bool) -> None:
    """Compile, and say so, if this is the first run on this machine that needs such work.

    Parameters
    ----------
    *needs : str
        Kinds of work, from `warm.NEEDS`: "run", "trace", "rays" and so on.
    quiet : bool
        Don't say so.
    """
    from proud.warm import is_warm, warm_up

    if is_warm(*needs):
        return
    if not quiet:
        click.echo("first run: compiling for this machine, some seconds, once", err=True)
    warm_up(*needs)
