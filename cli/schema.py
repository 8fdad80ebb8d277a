"""``proud schema``: what a job file or pass list may hold, for an editor."""

from __future__ import annotations

import click

from .options import Answer, common
from .output import check_target, say, to_json, write_text

__all__ = ["command"]


@click.command("schema")
@click.option("--passes", is_flag=True, help="The schema of a pass list instead of a job.")
@common
def command(passes: bool, answer: Answer) -> None:
    """Print the JSON Schema of job.toml; an editor can check a job with it.

    Example: proud schema --out job.schema.json
    """
    check_target(answer.out, "--out")
    if passes:
        from proud.passes import pass_schema as schema
    else:
        from proud.jobfile import job_schema as schema
    rows = schema()
    if answer.out is None:
        answer.tell(rows, lambda: to_json(rows))
        return
    write_text(answer.out, to_json(rows) + "\n")
    if answer.as_json:
        say(to_json(rows))
