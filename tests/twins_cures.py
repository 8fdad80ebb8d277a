"""Cures of findings put into a job as a person would, by the words of `Change.what` alone.

What stands in the program is changed there, a line or a word; what a person sets where the path is
made (allowances, stepovers, starts, levels) is changed in the plan, and the program written anew.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable

from helpers_job import number
from proud.findings.base import Change, Finding
from proud.units import MM_PER
from twins_cuts import Clear, Round
from twins_faces import Cove, Lines, Square
from twins_plan import Plan

Cured = tuple[Plan, str | None]
Cure = Callable[[Plan, Finding, Change, re.Match[str]], Cured]
PLACE = re.compile(r"X(-?[\d.]+) Y(-?[\d.]+)")
HEADING = re.compile(r"\((\d+) ")


def _value(change: Change) -> float:
    assert isinstance(change.after, float | int), change
    return float(change.after)


def _more(change: Change) -> float:
    before = change.before
    assert isinstance(before, float | int), change
    return _value(change) - float(before)


# -------------------------------------------------------------------------------- in the program


def _passes(lines: list[str]) -> list[int]:
    """Return the pass of each line, 0 before the first heading."""
    found, now = [], 0
    for line in lines:
        match = HEADING.match(line)
        now = int(match[1]) if match else now
        found.append(now)
    return found


def _tool_of(plan: Plan, pass_number: int) -> int:
    return plan.cuts[pass_number - 1].tool


def _z(line: str) -> float | None:
    match = re.search(r"Z(-?[\d.]+)", line)
    return float(match[1]) if match and not line.startswith("(") else None


def _with_z(line: str, z: float) -> str:
    return re.sub(r"Z-?[\d.]+", f"Z{number(z)}", line)


def height(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``Z of pass 3, line 12``, ``Z at line 12``: that word, and the same of the tool's passes."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    of, at = _passes(lines), int(match["line"]) - 1
    before = float(change.before or 0.0) / per
    said = _z(lines[at])
    assert said is not None, (lines[at], change)
    assert abs(said - before) < 1e-6, (lines[at], change)
    tool = _tool_of(plan, of[at])
    for k, line in enumerate(lines):
        z = _z(line)
        again = of[k] >= of[at] and _tool_of(plan, of[k]) == tool if of[k] else False
        if z is not None and again and abs(z - before) < 1e-6:
            lines[k] = _with_z(line, _value(change) / per)
    _also_lower(lines, finding.then)
    return plan, "\n".join(lines)


def _also_lower(lines: list[str], then: str) -> None:
    """Do what a ledge's change asks for beside it: ``with pass 2 at -0.4907 in or lower``."""
    asked = re.search(r"with pass (\d+) at (?P<z>-?[\d.]+) (in|mm) or lower", then)
    if asked is None:
        return
    of, most = _passes(lines), float(asked["z"])
    for n in (asked[1], *re.findall(r", pass (\d+) too", then)):
        mine = [k for k in range(len(lines)) if of[k] == int(n) and _z(lines[k]) is not None]
        lowest = min(float(_z(lines[k]) or 0.0) for k in mine)
        for k in mine:
            if _z(lines[k]) == lowest > most:
                lines[k] = _with_z(lines[k], most)


def height_added(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``Z of pass 3, added``: each height at feed."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    of = _passes(lines)
    for k, line in enumerate(lines):
        z = _z(line)
        if z is not None and of[k] == int(match["n"]) and re.match(r"G[123] ", line):
            lines[k] = _with_z(line, z + _more(change) / per)
    return plan, "\n".join(lines)


def r_of_cycle(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``R at line 12``: that word, and the same in other cycles."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    word = re.search(r"R-?[\d.]+", lines[int(match["line"]) - 1])
    assert word, (match[0], change)
    assert abs(float(word[0][1:]) - float(change.before or 0.0) / per) < 1e-6, change
    new = f"R{number(_value(change) / per)}"
    return plan, "\n".join(re.sub(rf"{re.escape(word[0])}(?![\d.])", new, v) for v in lines)


def rapid_as_feed(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    lines = plan.program().split("\n")
    at = int(match["line"]) - 1
    assert lines[at].startswith("G0"), lines[at]
    lines[at] = "G1" + lines[at][2:]
    return plan, "\n".join(lines)


def no_wait(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    lines = plan.program().split("\n")
    at = int(match["line"]) - 1
    assert lines[at].startswith("G4"), lines[at]
    assert change.after == "none", change
    del lines[at]
    return plan, "\n".join(lines)


def spindle_on(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    lines = plan.program().split("\n")
    assert change.after == "M3 with S", change
    lines.insert(int(match["line"]) - 1, "M3 S1000")
    return plan, "\n".join(lines)


def longer_ramp(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """Pull the end of a straight ramp further out."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    at = int(match["line"]) - 1
    ends = []
    for line in lines[: at + 1]:
        words = re.match(r"G[01] X(-?[\d.]+) Y(-?[\d.]+)", line)
        ends += [(float(words[1]), float(words[2]))] if words else []
    (x0, y0), (x1, y1) = ends[-2:]
    far = _value(change) / per / math.dist(ends[-2], ends[-1])
    x, y = x0 + far * (x1 - x0), y0 + far * (y1 - y0)
    lines[at] = re.sub(r"X-?[\d.]+ Y-?[\d.]+", f"X{number(x)} Y{number(y)}", lines[at])
    return plan, "\n".join(lines)


def wall_nearer(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``side allowance of pass 3 at line 9, added``: that straight, square to its way."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    at = int(match["line"]) - 1
    spots = [k for k in range(at + 1) if re.match(r"G[01] X\S+ Y", lines[k])][-2:]
    ends = []
    for k in spots:
        words = re.match(r"G[01] X(-?[\d.]+) Y(-?[\d.]+)", lines[k])
        assert words
        ends.append((float(words[1]), float(words[2])))
    (x0, y0), (x1, y1) = ends
    way = (x1 - x0) / math.dist(*ends), (y1 - y0) / math.dist(*ends)
    left = -way[1], way[0]
    place = finding.at[0] / per - x0, finding.at[1] / per - y0
    toward = math.copysign(1.0, place[0] * left[0] + place[1] * left[1])
    by = -_more(change) / per * toward
    for k, (x, y) in zip(spots, ends, strict=True):
        new = f"X{number(x + by * left[0])} Y{number(y + by * left[1])}"
        lines[k] = re.sub(r"X-?[\d.]+ Y-?[\d.]+", new, lines[k])
    return plan, "\n".join(lines)


def left_out(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """Leave the pass out."""
    assert str(change.after).startswith("left out"), change
    k = finding.pass_number - 1
    return plan.set(cuts=plan.cuts[:k] + plan.cuts[k + 1 :]), None


def slower_down(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``F at line 9``: that block at its own feed, the ones after it as before."""
    lines, at = plan.program().split("\n"), int(match["line"]) - 1
    before, after = (str(v).split()[0] for v in (change.before, change.after))
    lines[at] += f" F{after}"
    lines[at + 1] += f" F{before}"
    return plan, "\n".join(lines)


def helix_down(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``way down at line 9``, in turns: about the place, down to the height of that line."""
    per, lines = MM_PER[plan.unit], plan.program().split("\n")
    at = int(match["line"]) - 1
    z = _z(lines[at])
    mill = plan.mills[finding.tool]
    assert z is not None
    r, top = 0.3 * mill.radius / per, (plan.frame.shift[2] + 0.1) / per
    turns = max(1, math.ceil((top - z) / (0.1 * mill.radius / per)))
    new = [f"G1 Z{number(top)}"]
    new += [
        f"G3 I{number(r)} J0 Z{number(top + (z - top) * (k + 1) / turns)}" for k in range(turns)
    ]
    new += [f"G3 I{number(r)} J0"]
    lines[at : at + 1] = new
    return plan, "\n".join(lines)


# ------------------------------------------------------------------------------- values of a plan


def side(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``side allowance of pass 3``, ``... at Z -9.5 mm, added``: of the pass, or of one level."""
    more, k = _more(change), int(match["n"]) - 1
    cut = plan.cuts[k]
    if isinstance(cut, Cove):
        return plan.changed(k, aside=cut.aside - more), None
    assert isinstance(cut, Clear | Round), cut
    names, tool = [k], cut.tool
    for j, other in enumerate(plan.cuts):  # the same again, after it
        same = isinstance(other, Clear | Round) and other.tool == tool
        if j > k and same and (other.z, other.side) == (cut.z, cut.side):  # type: ignore[union-attr]
            names.append(j)
    level = match.groupdict().get("z")
    for j in names:
        if level is None:
            uppers = tuple((z, s + more) for z, s in cut.uppers)
            plan = plan.changed(j, side=cut.side + more, uppers=uppers)
            continue
        z = float(level.split()[0]) * MM_PER["in" if level.endswith("in") else "mm"]
        z -= plan.frame.shift[2]
        if abs(z - cut.z) < 0.02:
            plan = plan.changed(j, side=cut.side + more)
        else:
            uppers = tuple((u, s + more if abs(u - z) < 0.02 else s) for u, s in cut.uppers)
            assert uppers != cut.uppers, change
            plan = plan.changed(j, uppers=uppers)
    return plan, None


def pass_before(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """Add the same pass before it, with that side allowance."""
    k = int(match["n"]) - 1
    more = dataclasses.replace(plan.cuts[k], name="added", side=_value(change))  # type: ignore[type-var]
    return plan.set(cuts=(*plan.cuts[:k], more, *plan.cuts[k:])), None


def stepover(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    k = int(match["n"]) - 1
    cut = plan.cuts[k]
    if isinstance(cut, Lines):
        assert abs(float(change.before or 0.0) - cut.step) < 1e-5, (cut.step, change)
        return plan.changed(k, step=_value(change)), None
    strokes = []  # two slots, brought together
    for stroke in cut.strokes:  # type: ignore[attr-defined]
        share = _value(change) / float(change.before or 1.0)
        strokes.append(tuple((x, y * share, z) for x, y, z in stroke))
    return plan.changed(k, strokes=tuple(strokes)), None


def levels(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``depth of a level in pass 1``: more levels, none deeper than that."""
    k = int(match["n"]) - 1
    cut = plan.cuts[k]
    if isinstance(cut, Clear):
        n = math.ceil(-cut.z / _value(change) - 1e-9)
        uppers = tuple((cut.z * (j + 1) / n, cut.side) for j in range(n - 1))
        return plan.changed(k, uppers=uppers), None
    strokes = []
    for stroke in cut.strokes:  # type: ignore[attr-defined]
        n = math.ceil(-stroke[0][2] / _value(change) - 1e-9)
        strokes += [tuple((x, y, z * j / n) for x, y, z in stroke) for j in range(1, n + 1)]
    return plan.changed(k, strokes=tuple(strokes)), None


def register(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    name = match[0]
    errors = dict(plan.offsets)
    assert abs(errors[name] - float(change.before or 0.0)) < 1e-6, change
    return plan.set(offsets=tuple((errors | {name: _value(change)}).items())), None


def word_of_tool(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    mill = plan.mills[int(match["tool"])]
    return plan.with_mill(mill.having(**{match["word"]: _value(change)})), None


def top_of_jaws(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    boxes = tuple(
        dataclasses.replace(b, high=(*b.high[:2], _value(change)))
        if b.name in match["names"]
        else b
        for b in plan.boxes
    )
    return plan.set(boxes=boxes), None


def bottom_of_stock(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    stock = plan.stock
    return plan.set(stock=dataclasses.replace(stock, low=(*stock.low[:2], _value(change)))), None


def overlap(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    return plan.changed(int(match["n"]) - 1, overlap=_value(change)), None


def retract(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    assert "off the wall" in str(change.after), change
    return plan.changed(int(match["n"]) - 1, off="arc"), None


def direction(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    return plan.changed(int(match["n"]) - 1, climb=change.after == "climb"), None


def start(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``start of pass 3``: the contour begins at its place nearest to there."""
    place = PLACE.match(str(change.after))
    assert place, change
    per, frame = MM_PER[plan.unit], plan.frame
    x, y = (float(place[n]) * per - frame.shift[n - 1] for n in (1, 2))
    c, s = math.cos(frame.angle), math.sin(frame.angle)
    more: dict[str, object] = {"begin": (c * x + s * y, c * y - s * x)}
    if "overlap" in str(change.after):
        more["overlap"] = 1.27
    return plan.changed(int(match["n"]) - 1, **more), None


def slower(plan: Plan, finding: Finding, change: Change, match: re.Match[str]) -> Cured:
    """``feed in the corners of pass 2, over 3.1 mm``; ``F over the last 3.1 mm of line 9``."""
    over = float(match["over"]) * MM_PER["in" if match["unit"] == "in" else "mm"]
    k = finding.pass_number - 1
    assert isinstance(plan.cuts[k], Square)
    return plan.changed(k, slow=(_value(change), over)), None


CURES: dict[str, Cure] = {
    r"[HD]\d+": register,
    r"Z of pass \d+, line (?P<line>\d+)": height,
    r"Z (?:of the rapid )?at line (?P<line>\d+)": height,
    r"Z of pass (?P<n>\d+), added": height_added,
    r"R at line (?P<line>\d+)": r_of_cycle,
    r"G0 at line (?P<line>\d+)": rapid_as_feed,
    r"F at line (?P<line>\d+)": slower_down,
    r"G4 at line (?P<line>\d+)": no_wait,
    r"way down at line (?P<line>\d+)": helix_down,
    r"spindle before line (?P<line>\d+)": spindle_on,
    r"length of the ramp at line (?P<line>\d+)": longer_ramp,
    r"side allowance of pass \d+ at line (?P<line>\d+), added": wall_nearer,
    r"lines? \d+(?: to \d+)?": left_out,
    r"spring pass \d+|pass \d+|second round of pass \d+": left_out,
    r"side allowance of a pass before pass (?P<n>\d+), at the same height, added": pass_before,
    r"side allowance of pass (?P<n>\d+)(?: at Z (?P<z>-?[\d.]+ \w+))?(?:, added)?": side,
    r"stepover of pass (?P<n>\d+)": stepover,
    r"depth of a level in pass (?P<n>\d+)": levels,
    r"(?P<word>APMX|LPR|LU) of T(?P<tool>\d+)": word_of_tool,
    r"Z of the top of (?P<names>.+)": top_of_jaws,
    r"Z of the bottom of the stock": bottom_of_stock,
    r"overlap of pass (?P<n>\d+)": overlap,
    r"retract of pass (?P<n>\d+)": retract,
    r"direction of pass (?P<n>\d+)": direction,
    r"start of pass (?P<n>\d+)": start,
    r"F over (?:the last )?(?P<over>[\d.]+) (?P<unit>mm|in) .+": slower,
    r"feed in the corners of pass (?P<n>\d+), over (?P<over>[\d.]+) (?P<unit>mm|in)": slower,
}
"""What stands in `Change.what`, as patterns, and how a person does it."""


def cured(plan: Plan, finding: Finding) -> Cured | None:
    """Return the plan, and its program if changed, with a change made; None: none is stated."""
    change = finding.change
    if change is None:
        return None
    for pattern, cure in CURES.items():
        match = re.fullmatch(pattern, change.what)
        if match:
            return cure(plan, finding, change, match)
    raise AssertionError(f"nobody knows how to change {change.what!r}: {change}")
