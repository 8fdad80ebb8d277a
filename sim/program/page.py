"""The word table as people read it in README.md: ``python -m proud.program.page`` prints it."""

from __future__ import annotations

from collections.abc import Iterable

from .table import G_ROWS, LETTER_ROWS, M_ROWS, OTHER_ROWS, Row

__all__ = ["words_page"]

_USES = {"acted": "acted on", "noted": "noted", "refused": "refused"}
_HEAD = """\
## Words of a program

What `proud` does with every word. **Acted on**: it counts. **Noted**: it moves nothing here, is
read, and `proud read` lists it. **Refused**: an error with line and column, since it may change
what the tool does. A word that is in none of these tables is refused likewise; one that is harmless
on your machine can be declared so under `[setups.accept]`. What controls read in two ways is set
under `[setups.control]`. (Numbers of clauses of NISTIR 6556 are from memory but for 3.2 to 3.4,
3.5.3, 3.5.10, 3.5.16 and 3.5.18.)
"""


def words_page() -> str:
    """Return the table with its headings, in Markdown."""
    parts = (
        ("G words", G_ROWS, True),
        ("M words", M_ROWS, True),
        ("Letters", LETTER_ROWS, False),
        ("Other signs", OTHER_ROWS, False),
    )
    return "\n".join([_HEAD, *(_table(*part) for part in parts)])


def _table(title: str, rows: Iterable[Row], groups: bool) -> str:
    names = ("word", "", "modal group", "takes", "what it is, or why not", "source")
    lines = [f"### {title}", ""]
    for cells in (names, ("---",) * len(names), *map(_cells, rows)):
        kept = cells if groups else (*cells[:2], *cells[4:])
        lines.append("| " + " | ".join(kept) + " |")
    return "\n".join([*lines, ""])


def _cells(row: Row) -> tuple[str, ...]:
    word = f"`{row.word}`"
    return word, _USES[row.use], row.group, " ".join(row.takes), row.why, row.source


if __name__ == "__main__":
    print(words_page(), end="")
