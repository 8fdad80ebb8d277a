"""``proud tool``: a tool with its measures, on the screen and drawn."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import click
from proud.units import MM_PER, Unit

from .options import Answer, Asked, common, job_options
from .words import screen_width, wrapped

if TYPE_CHECKING:
    from proud.pieces import Piece
    from proud.tools import Tool

__all__ = ["command"]

ROUND_STEPS = 4
"""Rows of the profile table along an arc."""


@click.command("tool")
@job_options
@click.argument("number", type=click.IntRange(1), metavar="N")
@common
def command(asked: Asked, number: int, answer: Answer) -> None:
    """Show tool N: its measures, what of it cuts and what doesn't, its profile and volume.

    --out names a PNG: half elevation, half section, to scale and dimensioned.

    Example: proud tool demo_parts/first_try/job.toml 3 --out tool.png
    """
    from proud.errors import BadInput

    out = answer.out
    loaded = asked.load((out, "--out", ".png"))
    if number not in loaded.tools:
        has = ", ".join(map(str, sorted(loaded.tools)))
        raise BadInput(f"no tool {number} in {asked.path}; it has {has}")
    tool, unit = loaded.tools[number], loaded.unit
    if out is not None:
        from proud.pictures_tool import draw_tool

        draw_tool(tool, unit=unit, title=loaded.title, path=out)
    answer.tell(_rows(tool, unit), lambda: _text(tool, unit))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _rows(tool: Tool, unit: Unit) -> dict[str, Any]:
    """Return the tool in the job's unit, null where it has no end.

    An arc's radius is negative where the arc bulges inwards.
    """
    per = MM_PER[unit]
    parts = [
        {
            "part_of_tool": p.label,
            "z_from": p.z_low / per,
            "z_to": _finite(p.z_high / per),
            "diameter_from": 2 * p.r_low / per,
            "diameter_to": 2 * p.r_high / per,
            "arc_radius": None if p.arc is None else p.arc[2] / per,
            "cuts": p.cutting,
            "volume": _finite(p.volume() / per**3),
        }
        for p in tool.pieces
    ]
    length = tool.cutting_length
    return {
        "unit": unit,
        "tool": tool.number,
        "name": tool.name,
        "shape": tool.shape,
        "cutting_length": None if length is None else length / per,
        "parts": parts,
        "volume": _finite(tool.volume() / per**3),
        "undercut": tool.undercut,
    }


def _text(tool: Tool, unit: Unit) -> str:
    rows, digits = _rows(tool, unit), 4 if unit == "in" else 3
    length = rows["cutting_length"]
    cutting = _finite(sum(p.volume() for p in tool.pieces if p.cutting) / MM_PER[unit] ** 3)
    cuts = "no cutting length given" if length is None else f"cuts up to {length:.{digits}f} {unit}"
    lines = [
        *wrapped(f"T{tool.number} {tool.name}", screen_width()),
        f"{tool.shape}; {cuts}",
        f"volume {_volume(rows['volume'], unit)}, of its cutting part {_volume(cutting, unit)}",
        "",
        f"From the tip up ({unit})",
        _row("", "z from", "to", "⌀ from", "to", "arc", "", "volume"),
    ]
    lines += [_part(part, digits, unit) for part in rows["parts"]]
    lines += ["", f"Profile ({unit})", f"  {'z':>10} {'radius':>10} {'diameter':>10}"]
    per = MM_PER[unit]
    for z, r in _profile(tool.pieces):
        lines.append(
            f"  {z / per:>10.{digits}f} {r / per:>10.{digits}f} {2 * r / per:>10.{digits}f}"
        )
    if tool.undercut:
        text = (
            "It undercuts: what its upper side cuts is seen from the side alone (probe, wall), "
            "not in the picture from above."
        )
        lines += ["", *wrapped(text, screen_width())]
    return "\n".join(lines)


def _row(*cells: str) -> str:
    name, z_low, z_high, low, high, arc, cuts, volume = cells
    return (
        f"  {name:<7}{z_low:>9}{z_high:>9}  {low:>9}{high:>9}  {arc:>9}  {cuts:<12} {volume:>14}"
    ).rstrip()


def _part(part: dict[str, Any], digits: int, unit: Unit) -> str:
    def say_one(key: str) -> str:
        return "no end" if part[key] is None else f"{part[key]:.{digits}f}"

    arc = part["arc_radius"]
    return _row(
        part["part_of_tool"],
        *(say_one(key) for key in ("z_from", "z_to", "diameter_from", "diameter_to")),
        "" if arc is None else f"R{abs(arc):.{digits}f}",
        "cuts" if part["cuts"] else "does not cut",
        _volume(part["volume"], unit),
    )


def _volume(volume: float | None, unit: Unit) -> str:
    digits = 4 if unit == "in" else 1
    return "without end" if volume is None else f"{volume:.{digits}f} {unit}³"


def _profile(pieces: tuple[Piece, ...]) -> list[tuple[float, float]]:
    """Return z and radius where the outline changes, and some places along each arc."""
    found: list[tuple[float, float]] = []
    for p in pieces:
        places = [(p.z_low, p.r_low)]
        if p.arc is not None:
            height = p.z_high - p.z_low
            inside = (p.z_low + height * k / ROUND_STEPS for k in range(1, ROUND_STEPS))
            places += [(z, p.radius_at(z)) for z in inside]
        if math.isfinite(p.z_high):
            places.append((p.z_high, p.r_high))
        for place in places:
            if not found or math.dist(place, found[-1]) > 1e-6:
                found.append(place)
    return found
