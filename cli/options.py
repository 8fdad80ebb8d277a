"""Options that commands share, and how their values are read."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput, closest
from proud.units import Unit, length_mm

from .output import TARGET, check_target, check_targets, say, to_json, write_text

if TYPE_CHECKING:
    from proud.findings import Finding
    from proud.job import Job

__all__ = [
    "Answer",
    "Asked",
    "common",
    "depth",
    "inputs",
    "job_options",
    "length",
    "place",
    "positive",
    "surface_options",
]

Target = tuple[Path | None, str] | tuple[Path | None, str, str]
Option = Callable[[Callable[..., None]], Callable[..., None]]


@dataclasses.dataclass(frozen=True)
class Answer:
    """How a command answers: what ``--json``, ``--out`` and ``--quiet`` say."""

    as_json: bool
    out: Path | None
    quiet: bool

    @property
    def silent(self) -> bool:
        """Whether nothing is said on the way."""
        return self.quiet or self.as_json

    def give(self, rows: dict[str, Any], text: Callable[[], str]) -> None:
        """Write the rows to ``--out``, if it was given, and say them or the text."""
        if self.out is not None:
            write_text(self.out, to_json(rows) + "\n")
        self.tell(rows, text)

    def tell(self, rows: dict[str, Any], text: Callable[[], str]) -> None:
        """Say the rows as JSON, or the text, which is made only if it is wanted."""
        if self.as_json:
            say(to_json(rows))
        elif not self.quiet:
            say(text())


@dataclasses.dataclass(frozen=True)
class Asked:
    """The job that a command is asked about, and as of when."""

    path: Path
    as_of: str | None
    allow_outside: bool
    threads: int | None = None
    fail_on: str | None = None
    judged: list[bool] = dataclasses.field(default_factory=list)

    def judge(self, findings: tuple[Finding, ...]) -> None:
        """End with exit code 1 where a finding is one that ``--fail-on`` names."""
        from proud.review import fails_on

        self.judged.append(True)
        if self.fail_on is not None and fails_on(findings, self.fail_on):
            raise click.exceptions.Exit(1)

    def load(self, *targets: Target, reads: Iterable[Path] = ()) -> Job:
        """Check what will be written, read the job, let it use ``--threads``.

        Parameters
        ----------
        *targets : (Path or None, option) or (Path or None, option, ending)
            Files that the command will write; none is a file that it reads.
        reads : iterable of Path
            Files that it reads besides the job's own.

        Raises
        ------
        BadInput, JobError
        """
        for path, option, *ending in targets:
            check_target(path, option, ending="".join(ending))
        from proud.job import load

        job = load(self.path, allow_outside=self.allow_outside)
        check_targets([(path, option) for path, option, *_ in targets], [*inputs(job), *reads])
        job.threads = self.threads
        return job


def common(function: Callable[..., None]) -> Callable[..., None]:
    """Add ``--json``, ``--out`` and ``--quiet``, which come as `answer`."""

    @functools.wraps(function)
    def with_answer(*, as_json: bool, out: Path | None, quiet: bool, **rest: Any) -> None:
        function(answer=Answer(as_json, out, quiet), **rest)

    return _with(
        with_answer,
        click.option("--json", "as_json", is_flag=True, help="Print one JSON object, no more."),
        click.option("--out", type=TARGET, help="File to write the result to."),
        click.option("--quiet", is_flag=True, help="Print nothing but errors (and JSON)."),
    )


def job_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add the job and ``--allow-outside``, which come as `asked`."""

    @functools.wraps(function)
    def with_asked(*, job: Path, allow_outside: bool, **rest: Any) -> None:
        function(asked=Asked(job, None, allow_outside), **rest)

    return _with(with_asked, _JOB, _ALLOW_OUTSIDE)


def surface_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add what every command on a job's surface takes; it comes as `asked`."""

    @functools.wraps(function)
    def with_asked(
        *,
        job: Path,
        as_of: str | None,
        allow_outside: bool,
        threads: int | None,
        fail_on: str | None,
        **rest: Any,
    ) -> None:
        asked = Asked(job, as_of, allow_outside, threads, fail_on)
        function(asked=asked, **rest)
        if fail_on is not None and not asked.judged:
            from .working import judge_whole

            judge_whole(asked, quiet=bool(rest.get("quiet") or rest.get("as_json")))

    return _with(
        with_asked,
        _JOB,
        click.option("--as-of", metavar="PASS|line:N", help="Stop after a pass or a program line."),
        _ALLOW_OUTSIDE,
        click.option(
            "--threads", type=click.IntRange(1, 1024), help="Cores to use; all unless given."
        ),
        click.option(
            "--fail-on",
            metavar="SEVERITY|RULE",
            callback=_severity_or_rule,
            help="Exit 1 on a finding of this rule, or as bad as note, watch, spoils or stop.",
        ),
    )


def _severity_or_rule(_: click.Context, __: click.Parameter, word: str | None) -> str | None:
    """Return a word of ``--fail-on`` if it is one; the rules are loaded only if it is given."""
    if word is None:
        return None
    from proud.findings import RULES, SEVERITIES

    if word not in SEVERITIES and word not in RULES:
        allowed = ", ".join(reversed(SEVERITIES))
        raise BadInput(
            f"--fail-on {word!r}: is no severity and no rule; use {allowed}, or a rule that "
            f"proud explain lists{closest(word, [*SEVERITIES, *RULES])}"
        )
    return word


_JOB = click.argument("job", type=click.Path(path_type=Path))
_ALLOW_OUTSIDE = click.option(
    "--allow-outside", is_flag=True, help="Let the job name files outside its folder."
)


def _with(function: Callable[..., None], *options: Option) -> Callable[..., None]:
    for option in reversed(options):
        function = option(function)
    return function


def inputs(job: Job) -> Iterator[Path]:
    """Yield the files that a job was made of, the file of shared tools left out."""
    spec = job.spec
    yield spec.path
    for path in (spec.stock.model, spec.part.model if spec.part else None):
        if path is not None:
            yield path
    for setup in spec.setups:
        for path in (setup.program, setup.passes):
            if path is not None:
                yield path
        if setup.passes is not None:
            from proud.passes.source import drawings

            yield from drawings(setup.passes)


def length(text: str, unit: Unit, option: str) -> float:
    """Return a length given on the command line, mm: a number in the job's unit, or with one."""
    try:
        return length_mm(_number(text), unit)
    except BadInput as error:
        raise BadInput(f"{option}: {error}") from None


def depth(text: str, unit: Unit, option: str) -> float:
    """Return a length of 0 or more, mm."""
    found = length(text, unit, option)
    if found < 0:
        raise BadInput(f"{option} {text!r}: is below 0; a depth is counted downwards, as 0 or more")
    return found


def positive(text: str, unit: Unit, option: str) -> float:
    """Return a length over 0, mm."""
    found = length(text, unit, option)
    if found <= 0:
        raise BadInput(f"{option} {text!r}: is not over 0; write a length such as 2 thou")
    return found


def place(text: str, unit: Unit, option: str) -> tuple[float, float]:
    """Return a place X,Y given on the command line, mm."""
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInput(f"{option} {text!r}: write a place as X,Y such as 0.5,-1.25")
    return length(parts[0], unit, option), length(parts[1], unit, option)


def _number(text: str) -> float | str:
    """Return a plain number as such; a text with a unit, or no number at all, as it is."""
    try:
        number = float(text)
    except ValueError:
        return text
    return text if math.isnan(number) or "_" in text else number
