"""``proud explain``: the rules behind findings, and the margins that they go by."""

from __future__ import annotations

from typing import Any

import click

from .options import Answer, common
from .words import row, screen_width

__all__ = ["command"]


@click.command("explain")
@click.argument("rule", required=False)
@common
def command(rule: str | None, answer: Answer) -> None:
    """List the rules and their margins, or print the page of one rule.

    Example: proud explain shank-rub
    """
    from proud.errors import BadInput, closest
    from proud.findings import RULES, page_of

    if rule is None:
        answer.give(_rows(), _list)
        return
    if rule not in RULES:
        listed = ", ".join(RULES)
        raise BadInput(f"no rule {rule[:60]!r}; there are {listed}{closest(rule, RULES)}")
    row_of = {"rule": rule, "title": RULES[rule].titles[rule], "page": page_of(rule)}
    answer.give(row_of, lambda: page_of(rule))


def _rows() -> dict[str, Any]:
    from proud.findings import MARGINS, RULES
    from proud.units import MM_PER

    return {
        "rules": [{"rule": name, "title": rule.titles[name]} for name, rule in RULES.items()],
        "margins": [
            {
                "margin": m.name,
                "value": m.value if m.ratio else m.value / MM_PER["in"] * 1000,
                "unit": "" if m.ratio else "thou",
                "says": m.says,
            }
            for m in MARGINS.values()
        ],
    }


def _list() -> str:
    rows, width = _rows(), screen_width()
    lines = ["Rules (proud explain RULE prints its page)"]
    for found in rows["rules"]:
        lines += row(f"  {found['rule']:<20}", [found["title"]], width).split("\n")
    lines += ["", "Margins: set under [margins] of the job"]
    for found in rows["margins"]:
        value = f"{found['value']:g} {found['unit']}".strip()
        lines += row(f"  {found['margin']:<20} {value:>9}  ", [found["says"]], width).split("\n")
    return "\n".join(lines)
