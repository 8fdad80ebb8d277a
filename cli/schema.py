"""``proud schema``: what a job file or pass list may hold, for an editor."""

from __future__ import annotations

from pathlib import Path

import click

from .options import common
from .output import check_target, say, to_json, write_text

__all__ = ["command"]


@click.command("schema")
@click.option("--passes", is_flag=True, help="The schema of a pass list instead of a job.")
@common
def command(passes: bool, as_json: bool, out: Path | None, quiet: bool) -> None:
    """Print the JSON Schema of job.toml; an editor can check a job with it.

    Example: proud schema --out job.schema.json
    """
    check_target(out, "--out")
    if passes:
        from proud.passes import pass_schema as schema
    else:
        from proud.jobfile import job_schema as schema
    text = to_json(schema())
    if out is None:
        say(text, quiet=quiet and not as_json)
        return
    write_text(out, text + "\n")
    if as_json:
        say(text)
