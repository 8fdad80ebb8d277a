"""``proud start``: the first job.toml of a program."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput
from proud.units import say_length, to_unit

from .options import Answer, common
from .output import check_target, write_text
from .words import count, row, screen_width

if TYPE_CHECKING:
    from proud.starter import Start

__all__ = ["command"]


@click.command("start")
@click.argument("program", type=click.Path(path_type=Path))
@click.option(
    "--tools", "tool_file", type=click.Path(path_type=Path),
    help="A shop's tool file: shapes and sizes by number.",
)  # fmt: skip
@click.option(
    "--accept", multiple=True, metavar="WORD=WHY",
    help="A refused word that is harmless on your machine, such as 'M41=low gear'.",
)  # fmt: skip
@common
def command(program: Path, tool_file: Path | None, accept: tuple[str, ...], answer: Answer) -> None:
    """Write a job.toml for a program, beside it or as --out says: ready to be filled in.

    Unit, tools as the program's comments have them, H and D registers, passes, and a block of
    stock round the cutting moves. Guesses are marked "# check". No file is written over.

    Example: proud start my_part.nc --tools shop-tools.toml
    """
    out = program.parent / "job.toml" if answer.out is None else answer.out
    check_target(out, "--out", ending=".toml")
    if out.exists():
        raise BadInput(f"{out}: is there already, and is left as it is; name another by --out")
    from proud.starter import start_job

    named = _from_folder(program, out)
    words = dict(_word_and_why(text) for text in accept)
    found = start_job(program, named=named, shown=str(program), tool_file=tool_file, accept=words)
    write_text(out, found.text)
    answer.tell(_rows(found, out), lambda: _text(found, out))


def _word_and_why(text: str) -> tuple[str, str]:
    word, _, why = text.partition("=")
    if not word.strip() or not why.strip():
        raise BadInput(f"--accept {text!r}: write a word and why, such as 'M41=low gear'")
    return word.strip(), why.strip()


def _from_folder(program: Path, out: Path) -> str:
    """Return the program as a job in a folder names it: a job names no file outside its own."""
    folder = out.absolute().parent.resolve()
    try:
        return program.resolve().relative_to(folder).as_posix()
    except (ValueError, OSError, RuntimeError):
        raise BadInput(
            f"--out {out}: {program} is not in the folder {folder} or below; a job stands beside "
            "its program"
        ) from None


def _rows(found: Start, out: Path) -> dict[str, Any]:
    unit = found.unit
    return {
        "job": str(out),
        "unit": unit,
        "tools": [
            {"number": t.number, "name": t.name, "shape": t.shape, "missing": list(t.missing)}
            for t in found.tools
        ],
        "h": list(found.h_registers),
        "d": list(found.d_registers),
        "passes": found.passes,
        "stock": {
            "low": [to_unit(v, unit) for v in found.low],
            "high": [to_unit(v, unit) for v in found.high],
        },
        "checks": found.checks,
        "warnings": [{"line": line, "text": text} for line, text in found.warnings],
    }


def _text(found: Start, out: Path) -> str:
    unit, width = found.unit, screen_width()
    size = " x ".join(
        say_length(b - a, unit, 2) for a, b in zip(found.low, found.high, strict=True)
    )
    lines = [
        row(
            f"wrote {out}: ",
            [
                f"{count(len(found.tools), 'tool')},",
                f"{count(found.passes, 'pass', 'passes')},",
                f"a block of {size};",
                f"{count(found.checks, 'line')} marked # check",
            ],
            width,
        )
    ]
    lacking = [tool for tool in found.tools if tool.missing]
    if lacking:
        lines.append("To be filled in before it runs")
        lines += [
            row(f"  T{t.number}  ", [f"{', '.join(t.missing)}", f"({t.name or 'no name'})"], width)
            for t in lacking
        ]
    if found.warnings:
        lines.append("To know")
        lines += [
            row(f"  {f'line {line}: ' if line else ''}", [text], width)
            for line, text in found.warnings
        ]
    return "\n".join(lines)
