"""Small jobs written by hand, the shared cast of inputs, and the slow answer to compare with.

Nothing here is shared with the engine but the reader's moves: heights are searched for by `oracle`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import oracle
import proud
from numpy.typing import NDArray
from proud.columns import column_parts
from proud.grid import NOTHING, RAW
from proud.moves import ARC

Floats = NDArray[np.float64]
XYZ = Sequence[float]

IN = 25.4
THOU = 0.0254
CLEAR = 10.0
"""z of the rapids over the part, in the program's unit."""


# --- writing -------------------------------------------------------------------------------------


def number(value: float) -> str:
    """Return a number as a program or job writes it, 10 decimals at most."""
    text = f"{value:.10f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def words(names: str, values: Iterable[float]) -> str:
    return " ".join(n + number(v) for n, v in zip(names, values, strict=True))


class Nc:
    """A program, written stroke by stroke; each stroke comes from above and ends above."""

    def __init__(self, unit: str = "mm", clear: float = CLEAR) -> None:
        self.clear = clear
        self.lines = ["G20" if unit == "in" else "G21", "G17 G90 G94 G40 F100 S1000"]

    def tool(self, register: int, name: str | None = None, *, h: int | None = None) -> Nc:
        """Change to a tool; `h` is the register of its G43, its own number unless given."""
        self.lines += [f"T{register} M6", f"G43 H{register if h is None else h}"]
        return self.heading(name) if name else self

    def heading(self, name: str) -> Nc:
        self.lines.append(f"({name})")
        return self

    def raw(self, *lines: str) -> Nc:
        self.lines += lines
        return self

    def down(self, point: XYZ) -> Nc:
        self.lines += [f"G0 {words('XY', point[:2])}", f"G0 Z{number(self.clear)}"]
        # At unknown height the first rapid sweeps nothing; all later ones run at the clear height.
        return self.raw(f"G1 Z{number(point[2])}")

    def to(self, *points: XYZ) -> Nc:
        return self.raw(*(f"G1 {words('XYZ', p)}" for p in points))

    def up(self) -> Nc:
        return self.raw(f"G0 Z{number(self.clear)}")

    def stroke(self, *points: XYZ) -> Nc:
        """Go down at the first point, along the others, and up."""
        return self.down(points[0]).to(*points[1:]).up()

    def arc(self, start: XYZ, end: XYZ, center: XYZ, way: str = "ccw") -> Nc:
        """Go down at `start`, round `center` to `end`, and up; equal ends are a full circle."""
        offset = (center[0] - start[0], center[1] - start[1])
        code = {"ccw": "G3", "cw": "G2"}[way]
        line = f"{code} {words('XYZ', end)} {words('IJ', offset)}"
        return self.down(start).raw(line).up()

    def text(self) -> str:
        return "\n".join([*self.lines, "M30", ""])


def tool(register: int, shape: str, diameter: float, **more: float) -> str:
    """Return a [[tools]] table; `more` by symbols, `tip` the tip's diameter of a chamfer tool."""
    rows = [f'[[tools]]\nnumber = {register}\nshape = "{shape}"\nDC = {number(diameter)}']
    names = {"tip": "tip_diameter"}
    rows += [f"{names.get(k, k)} = {number(v)}" for k, v in more.items()]
    return "\n".join(rows)


def write_job(
    folder: Path,
    program: Nc | str,
    tools: Sequence[str],
    *,
    low: XYZ = (-20.0, -15.0, -12.0),
    high: XYZ = (20.0, 15.0, 0.0),
    pitch: float = 0.5,
    unit: str = "mm",
    stock: str | None = None,
    offsets: str = "",
    setup: str = "",
    grid: str = "",
) -> proud.Job:
    """Write job.toml and op1.nc into `folder` and return the job."""
    folder.mkdir(parents=True, exist_ok=True)
    text = program if isinstance(program, str) else program.text()
    (folder / "op1.nc").write_text(text, encoding="ascii")
    block = f'shape = "block"\nlow = {list(map(float, low))}\nhigh = {list(map(float, high))}'
    parts = [
        f'[job]\ntitle = "test"\nunit = "{unit}"',
        f"[stock]\n{stock or block}",
        f"[grid]\npitch = {number(pitch)}\n{grid}".rstrip(),
        *([f"[offsets]\n{offsets}"] if offsets else []),
        *tools,
        f'[[setups]]\nname = "op1"\nprogram = "op1.nc"\n{setup}',
    ]
    path = folder / "job.toml"
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    return proud.load(path)


# --- the cast ------------------------------------------------------------------------------------

TOOLS = {
    "flat": tool(1, "flat", 6.0),
    "bull": tool(1, "bull", 6.0, RE=1.0),
    "ball": tool(1, "ball", 6.0),
    "chamfer": tool(1, "chamfer", 6.0, KAPR=45.0, tip=1.0),
    "drill": tool(1, "drill", 6.0, SIG=118.0),
}
"""One tool of each shape, T1, 6 mm."""


def _cast() -> dict[str, Nc]:
    def nc() -> Nc:
        return Nc().tool(1, "one")

    circle = nc().arc((7, 0, -2), (7, 0, -2), (0, 0), "ccw")
    coincident = nc().stroke((-9, 1, -2), (9, 3, -2)).tool(1, "two")
    return {
        "level": nc().stroke((-9, -4, -2), (8, 5, -2)),
        "along x": nc().stroke((-9, 1, -2), (8, 1, -2)),
        "along y": nc().stroke((1.3, -9, -2), (1.3, 8, -2)),
        "ramp": nc().stroke((-9, -4, -0.4), (8, 5, -3.1)),
        "steep ramp": nc().stroke((-1, -1, -9), (1, 0.5, 2)),
        "plunge": nc().stroke((1.2, -0.7, -3)),
        "no length": nc().stroke((1.2, -0.7, -3), (1.2, -0.7, -3)),
        "no move": nc().raw("G0 X0 Y0", "G0 Z10", "G1 Z9"),
        "outside": nc().stroke((-90, -40, -2), (-80, -40, -2)),
        "partly outside": nc().stroke((-60, 2, -2), (-15, 9, -2)),
        "tangent to the side": nc().stroke((23, -20, -2), (23, 20, -2)),
        "on the top": nc().stroke((-9, -4, 0), (8, 5, 0)),
        "through": nc().stroke((-9, -4, -12.5), (8, 5, -12.5)),
        "arc ccw": nc().arc((7, 0, -2), (0, 7, -2), (0, 0), "ccw"),
        "arc cw over 180": nc().arc((7, 0, -2), (0, 7, -2), (0, 0), "cw"),
        "full circle": circle,
        "full circle cw": nc().arc((7, 0, -2), (7, 0, -2), (0, 0), "cw"),
        "small circle": nc().arc((1, 0, -2), (1, 0, -2), (0, 0), "cw"),
        "circle of R": nc().arc((3, 0, -2), (3, 0, -2), (0, 0), "ccw"),
        "coincident": coincident.stroke((-9, 1, -2), (9, 3, -2)),
        "there and back": nc().stroke((-9, 1, -2), (9, 3, -2), (-9, 1, -2)),
        "crossing": nc().stroke((-9, 1, -2), (9, 3, -2)).stroke((2, -9, -2), (1, 9, -1.5)),
    }


CAST = _cast()
"""Programs for T1: normal, empty, tangent, of no length, outside, through, coincident."""

HELICES = {
    f"helix {way} {name}": Nc().tool(1, "one").arc((7, 0, z0), (*end, z1), (0, 0), way)
    for way in ("ccw", "cw")
    for name, z0, z1 in (("down", -0.5, -3.0), ("up", -3.0, -0.5))
    for end in ((7, 0),)
} | {
    f"part helix {way}": Nc().tool(1, "one").arc((7, 0, -0.5), (0, -7, -2.0), (0, 0), way)
    for way in ("ccw", "cw")
}
"""Helices both ways round, down and up, full turns and parts of one, for flat, bull and ball."""


# --- the slow answer -----------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Slow:
    """What the oracle says of some columns: arrays of shape (moves, n)."""

    sheets: Floats
    near: Floats
    radius: Floats

    def sure(self, slack: float = 1e-6) -> NDArray[np.bool_]:
        """Return the columns that lie on no tool's rim, where a last bit decides."""
        gap = np.abs(self.near - self.radius[:, None]) / self.radius[:, None]
        done: NDArray[np.bool_] = (gap > slack).all(axis=0)
        return done

    def top(self, raw: float) -> Floats:
        return np.minimum(raw, self.sheets.min(axis=0, initial=np.inf))


def slow_sheets(job: proud.Job, x: Floats, y: Floats, samples: int = 600) -> Slow:
    """Return the height of each swept move on columns, by search; over `oracle.FAR`: none."""
    moves, n = job.program.moves, len(x)
    sheets, near, radii = [], [], []
    for i in np.flatnonzero(moves.sweeps()):
        (part,) = column_parts(job.tools[int(moves.tool[i])])
        tools = oracle.Tools(int(part[0]), *(np.full(n, v) for v in part[1:5]))
        start, end, center = moves.start[i].copy(), moves.end[i], moves.center[i]
        if math.isnan(start[2]):
            start[2] = max(1e3, end[2])
        turn = moves.turn[i] if moves.kind[i] == ARC else None

        def path(s, at, start=start, end=end, center=center, turn=turn):
            z = start[2] + s * (end[2] - start[2])
            if turn is None:
                px, py = (start[a] + s * (end[a] - start[a]) for a in (0, 1))
            else:
                radius = math.hypot(*(start[:2] - center))
                angle = math.atan2(start[1] - center[1], start[0] - center[0]) + s * turn
                px, py = center[0] + radius * np.cos(angle), center[1] + radius * np.sin(angle)
            return np.hypot(px - x[at][:, None], py - y[at][:, None]), z

        def run(at, tools=tools, path=path):
            return oracle.sweep_heights(tools.pick(at), lambda s: path(s, at), samples)

        height, distance = oracle.in_chunks(n, run)
        sheets.append(height)
        near.append(distance)
        radii.append(part[1])
    shape = (len(sheets), n)
    return Slow(np.reshape(sheets, shape), np.reshape(near, shape), np.array(radii))


def on_a_rim(job: proud.Job, x: Floats, y: Floats, slack: float = 1e-9) -> NDArray[np.bool_]:
    """Return the columns within `slack` mm of the edge of what some move reaches in plan."""
    moves, found = job.program.moves, np.zeros(len(x), bool)
    for i in np.flatnonzero(moves.sweeps()):
        start, end = (moves.start[i, 0], moves.start[i, 1]), (moves.end[i, 0], moves.end[i, 1])
        ends = np.minimum(*(np.hypot(x - p[0], y - p[1]) for p in (start, end)))
        if moves.kind[i] == ARC:
            ax, ay = moves.center[i]
            low = math.atan2(start[1] - ay, start[0] - ax) + min(0.0, moves.turn[i])
            along = (np.arctan2(y - ay, x - ax) - low) % (2 * math.pi) <= abs(moves.turn[i])
            ring = np.abs(np.hypot(x - ax, y - ay) - math.hypot(start[0] - ax, start[1] - ay))
            distance = np.where(along, np.minimum(ring, ends), ends)
        else:
            length = math.hypot(end[0] - start[0], end[1] - start[1]) or 1.0
            ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
            along = (x - start[0]) * ux + (y - start[1]) * uy
            side = np.abs((x - start[0]) * uy - (y - start[1]) * ux)
            distance = np.where((along >= 0) & (along <= length), side, ends)
        radius = job.tools[int(moves.tool[i])].diameter / 2
        found |= np.abs(distance - radius) < slack
    return found


def owner_move(job: proud.Job, owner: NDArray[np.int32]) -> NDArray[np.int64]:
    """Return each column's row in `Slow.sheets`, -1 where no move owns it."""
    swept = np.flatnonzero(job.program.moves.sweeps())
    found = np.searchsorted(swept, np.maximum(owner, 0))
    free = (owner == RAW) | (owner == NOTHING)
    return np.where(free, -1, found)
