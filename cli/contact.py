"""``proud contact``: what every pass touched."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from proud.errors import BadInput
from proud.units import MM_PER, Unit, say_fine, say_length

from .options import Answer, Asked, common, job_options
from .output import TARGET, progress_bar, to_csv, write_text
from .words import CAUTION, row, screen_width, wrapped
from .working import say_first_run

if TYPE_CHECKING:
    from proud.contact import Contact

__all__ = ["command"]

COLORS = (
    "radial", "width", "axial", "engagement", "chip-peak", "chip-mean", "corner-bite",
    "side-gap", "floor-bite", "cut", "met",
)  # fmt: skip
MOST_ROWS = 24
FAR_MM = 0.05 * 25.4
"""Floors and walls further off than this are left out on the screen: common practice, no source."""


@click.command("contact")
@job_options
@click.option("--pass", "number", type=click.IntRange(1), help="Only this pass, in detail.")
@click.option("--along", is_flag=True, help="List the stations along the path.")
@click.option("--save", type=TARGET, help="Write the stations as CSV.")
@click.option("--picture", type=TARGET, help="Draw the path from above (PNG).")
@click.option(
    "--color", type=click.Choice(COLORS), default="engagement", show_default=True,
    help="What colours the path in the picture.",
)  # fmt: skip
@common
def command(
    asked: Asked,
    number: int | None,
    along: bool,
    save: Path | None,
    picture: Path | None,
    color: str,
    answer: Answer,
) -> None:
    """Which part of the tool met stock on each pass: bites, gaps, arc, chip, volumes.

    Radial: metal across the path. Axial: metal over the tip. Gaps are to the floors and walls
    that earlier passes left. Volumes and areas are sums over the columns of the grid.

    Example: proud contact demo_parts/first_try/job.toml --pass 11
    """
    loaded = asked.load((answer.out, "--out"), (save, "--save"), (picture, "--picture", ".png"))
    if number is not None and number > len(loaded.program.passes):
        raise BadInput(f"--pass {number}: the job has passes 1 to {len(loaded.program.passes)}")
    from proud.contact import contact

    say_first_run("contact", quiet=answer.silent)
    what = f"{len(loaded.program.moves):,} moves"
    with progress_bar(what, columns=0, quiet=answer.silent) as show:
        found = contact(loaded, number, progress=show)
    stations = along or save is not None or picture is not None
    rows = found.as_dict(along=stations)
    if picture is not None:
        from proud.pictures_contact import draw_contact

        per, low, high = MM_PER[loaded.unit], loaded.stock.low, loaded.stock.high
        corners = (low[0] / per, low[1] / per, high[0] / per, high[1] / per)
        draw_contact(
            rows, color.replace("-", "_"), title=loaded.title, path=picture, outline=corners
        )
    if save is not None:
        write_text(save, _csv(rows))
    if not along:
        rows = {**rows, "passes": [_without(p) for p in rows["passes"]]}
    answer.give(rows, lambda: _text(found, rows, number is not None))


def _without(row: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in row.items() if k != "along"}


def _csv(rows: dict[str, Any]) -> str:
    from proud.contact.rows import LENGTHS, STATION_KEYS

    unit = rows["unit"]
    units = dict.fromkeys(LENGTHS, f" ({unit})") | {"engagement": " (deg)"}
    heads = [k.replace("_", " ") + units.get(k, "") for k in STATION_KEYS]

    def cell(value: Any) -> Any:
        if isinstance(value, bool):
            return "yes" if value else ""
        return "+".join(value) if isinstance(value, list) else value

    return to_csv(
        ["pass", *heads],
        (
            [p["pass"], *(cell(s[k]) for k in STATION_KEYS)]
            for p in rows["passes"]
            for s in p["along"]
        ),
    )


# ------------------------------------------------------------------------------------ the screen


def _text(found: Contact, rows: dict[str, Any], detail: bool) -> str:
    unit, width = found.unit, screen_width()
    lines = [] if detail else _table(rows, unit)
    if detail:
        for p in rows["passes"]:
            lines += _detail(p, unit, width)
    for p in rows["passes"]:
        if "along" in p:
            lines += ["", *_stations(p, unit)]
    lines += [row("note: ", [note], width) for note in rows["notes"]]
    return "\n".join([*lines, "", *wrapped(CAUTION, width)])


def _fine(value: float | None, unit: Unit, *, bare: bool = True) -> str:
    """Return a small length as people say it; `bare`: without the unit."""
    if value is None:
        return "-"
    if not bare:
        return say_fine(value * MM_PER[unit], unit)
    if unit == "in":
        return f"{round(value * 1000, 2) + 0.0:.2f}"
    return f"{round(value * 1000, 1) + 0.0:.1f}"


HEADS = (
    "pass", "tool", "met", "radial", "mean", "axial", "arc", "mean", "cut", "floor", "wall",
    "name",
)  # fmt: skip


def _table(rows: dict[str, Any], unit: Unit) -> list[str]:
    """Return one row a pass; heights in thou or micrometres."""
    cells = [HEADS]
    for p in rows["passes"]:
        radial, arc = p["radial"] or {}, p["engagement"] or {}
        cells.append((
            str(p["pass"]), f"T{p['tool']}", _met(p), _fine(radial.get("peak"), unit),
            _fine(radial.get("mean"), unit), _fine((p["axial"] or {}).get("peak"), unit),
            _degrees(arc.get("peak")), _degrees(arc.get("mean")), p["cut"] or "air",
            _nearest(p["floors"], unit), _nearest(_walls_of_others(p), unit), p["name"],
        ))  # fmt: skip
    wide = [max(len(c[k]) for c in cells) for k in range(len(HEADS))]
    left = {2, 8, 11}
    lines = [
        "  ".join(
            c[k].ljust(wide[k]) if k in left else c[k].rjust(wide[k]) for k in range(len(HEADS))
        ).rstrip()
        for c in cells
    ]
    said = "thou" if unit == "in" else "µm"
    return [
        *lines, "",
        *wrapped(
            f"radial, axial, floor and wall in {said}, arc in degrees. met: b bottom, c corner, "
            "s side, n neck, k shank, h holder. floor and wall: nearest one that an earlier pass "
            "left; -x is cut by x, +x is clear by x.", screen_width(),
        ),
    ]  # fmt: skip


LETTERS = {"bottom": "b", "corner": "c", "side": "s", "neck": "n", "shank": "k", "holder": "h"}


def _met(p: dict[str, Any]) -> str:
    return "".join(LETTERS[word] for word in p["met"]) or "-"


def _degrees(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"


def _walls_of_others(p: dict[str, Any]) -> list[dict[str, Any]]:
    walls = [w for w in p["walls"] if 0 < w["into_pass"] < p["pass"]]
    gap = p["side_gap"]
    if gap is not None and gap["gap"] > 0 and not any(w["gap"] <= gap["gap"] for w in walls):
        walls.append({**gap, "into_pass": gap["to_pass"]})
    return walls


def _nearest(items: list[dict[str, Any]], unit: Unit) -> str:
    """Return the face that is nearest to the tool's own, signed."""
    if not items:
        return "-"
    least = min(items, key=lambda f: abs(f["gap"]))["gap"]
    if abs(least) * MM_PER[unit] > FAR_MM:
        return "-" if least > 0 else _fine(least, unit)
    sign = "+" if least > 0 else ""
    return sign + _fine(least, unit)


def _detail(p: dict[str, Any], unit: Unit, width: int) -> list[str]:
    name = (
        f"pass {p['pass']} (tool {p['tool']}, {p['name']}), lines {p['from_line']}-{p['to_line']}"
    )
    lines = [row("", [name], width)]

    def add(lead: str, *parts: str) -> None:
        lines.append(row(f"  {lead:<12}", parts, width))

    def pair(value: dict[str, float] | None) -> str:
        if value is None:
            return "none"
        peak, mean = (_fine(value[k], unit, bare=False) for k in ("peak", "mean"))
        return f"{peak} at most, {mean} in the mean"

    add("met", ", ".join(p["met"]) or "nothing")
    add("cuts", p["cut"] or "air", *_climb(p))
    add("radial", pair(p["radial"]))
    add("axial", pair(p["axial"]))
    arc = p["engagement"]
    if arc is not None:
        add("arc", f"{arc['peak']:.1f}° at most, {arc['mean']:.1f}° in the mean,",
            f"{_fine(p['width']['peak'], unit, bare=False)} wide at most")  # fmt: skip
        add("chip", pair(p["chip"]) if p["chip"] else "not known (feed, spindle and ZEFF)")
    if p["wall_bite"] is not None:
        add("wall", f"bite {pair(p['wall_bite'])}")
    if p["corner_bite"] > 0:
        add("corner", f"bite {_fine(p['corner_bite'], unit, bare=False)} square to its arc")
    add("volume", *_volumes(p, unit))
    for word in ("bottom", "corner"):
        area = p[word]
        if area["area"] > 0:
            add(f"{word} cut", f"{area['area']:.4f} ± {area['error']:.4f} {unit}²,",
                f"{_fine(area['peak'], unit, bare=False)} at most,",
                f"{_fine(area['mean'], unit, bare=False)} in the mean")  # fmt: skip
    for key, word in (("bottom_gap", "bottom gap"), ("side_gap", "side gap")):
        add(word, *_gap(p[key], unit))
    per = MM_PER[unit]
    add("length", *(f"{say_length(p[k] * per, unit)} {word}" for k, word in (
        ("cutting_length", "cutting,"), ("air_length", "in air,"),
        ("finished_length", "on finished faces"),
    )))  # fmt: skip
    return lines + _faces(p, unit, width)


def _climb(p: dict[str, Any]) -> list[str]:
    if p["cut"] != "mixed":
        return []
    return [f"({p['climb_share']:.0%} of the one-sided length climbs)"]


def _volumes(p: dict[str, Any], unit: Unit) -> list[str]:
    v = p["volume"]
    parts = [f"{word} {v[word]:.4f}," for word in ("bottom", "corner", "side") if v[word] > 0]
    return [*parts, f"in all {v['total']:.4f} ± {v['error']:.4f} {unit}³"]


def _gap(gap: dict[str, Any] | None, unit: Unit) -> list[str]:
    if gap is None:
        return ["no face of an earlier pass near"]
    if gap["gap"] == 0 and gap["to_pass"] is None:
        return ["0, it cuts"]
    said = [f"{_fine(gap['gap'], unit, bare=False)} to what pass {gap['to_pass']} left"]
    if gap["at"] is not None:
        digits = 4 if unit == "in" else 3
        x, y, z = (round(v, digits) + 0.0 for v in gap["at"])
        said.append(f"at X{x:.{digits}f} Y{y:.{digits}f} Z{z:.{digits}f}, line {gap['line']}")
    return said


def _faces(p: dict[str, Any], unit: Unit, width: int) -> list[str]:
    """Return floors and walls beside a pass, those that are far off left out."""
    per = MM_PER[unit]
    floors = [f for f in p["floors"] if f["gap"] * per < FAR_MM][:MOST_ROWS]
    lines = ["  floors under the bottom"] if floors else []
    for f in floors:
        says = "cut by" if f["gap"] < 0 else "clear by"
        lines.append(row("    ", [
            f"{says} {_fine(abs(f['gap']), unit, bare=False)}, pass {f['into_pass']}'s at",
            f"Z{say_length(f['z'] * per, unit)}, {f['area']:.4f} ± {f['error']:.4f} {unit}²,",
            f"line {f['line']}",
        ], width))  # fmt: skip
    if p["walls"]:
        lines.append("  walls beside the side")
    for w in sorted(p["walls"], key=lambda w: w["into_pass"] == p["pass"])[:MOST_ROWS]:
        whose = f"pass {w['into_pass']}'s" if w["into_pass"] else "the raw stock's"
        if w["into_pass"] == p["pass"]:
            whose = "of its own moves before"
        says = "cut by up to" if w["gap"] < 0 else "clear by"
        cut = say_length(w["cut_length"] * per, unit)
        lines.append(row("    ", [
            f"{says} {_fine(abs(w['gap']), unit, bare=False)}, {whose},",
            f"over {cut} of {say_length(w['length'] * per, unit)}, line {w['line']}",
        ], width))  # fmt: skip
    return lines


def _stations(p: dict[str, Any], unit: Unit) -> list[str]:
    """Return the stations of a pass as a table; heights in thou or micrometres."""
    digits = 4 if unit == "in" else 3
    head = ("line", "x", "y", "z", "met", "radial", "width", "axial", "arc", "cut", "right", "left")
    cells: list[tuple[str, ...]] = [head]
    for s in p["along"]:
        cells.append((
            str(s["line"]), *(f"{s[k] + 0.0:.{digits}f}" for k in ("x", "y", "z")), _met(s),
            *(_fine(s[k], unit) for k in ("radial", "width", "axial")),
            _degrees(s["engagement"]), s["cut"] or "-",
            *(_fine(s[k], unit) for k in ("wall_right", "wall_left")),
        ))  # fmt: skip
    wide = [max(len(c[k]) for c in cells) for k in range(len(head))]
    lines = ["  ".join(c[k].rjust(wide[k]) for k in range(len(head))) for c in cells]
    return [f"pass {p['pass']} along its path", *lines]
