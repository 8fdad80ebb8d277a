"""A milling job as a plan: tools, stock and cuts in mm, written as a job file and a program.

Cuts are drawn in a frame of their own; the job's frame is that one, turned about Z and shifted.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

import proud
from helpers_job import Nc, number, tool, words, write_job
from proud.units import MM_PER, Unit

XY = tuple[float, float]
XYZ = tuple[float, float, float]


@dataclasses.dataclass(frozen=True)
class Mill:
    """A tool; lengths in mm, angles in degrees. `words` by symbols; holder as rows of the job."""

    number: int
    shape: str
    diameter: float
    corner: float = 0.0
    words: tuple[tuple[str, float], ...] = ()
    holder: tuple[tuple[float, float], ...] = ()

    @property
    def radius(self) -> float:
        return self.diameter / 2

    @property
    def flat(self) -> float:
        """Radius of its flat end, mm."""
        return self.radius - self.corner

    def having(self, **more: float) -> Mill:
        """Return the tool with some of its words set, mm."""
        return dataclasses.replace(self, words=tuple((dict(self.words) | more).items()))

    def table(self, per: float) -> str:
        angles, counts = ("KAPR", "SIG"), ("ZEFF",)
        rows = {"RE": self.corner} if self.shape == "bull" else {}
        rows |= dict(self.words)
        said = {k: v if k in angles + counts else v / per for k, v in rows.items()}
        text = tool(self.number, self.shape, self.diameter / per, **said)
        if self.holder:
            rings = ", ".join(f"[{number(d / per)}, {number(h / per)}]" for d, h in self.holder)
            text += f"\nholder = [{rings}]"
        return text


@dataclasses.dataclass(frozen=True)
class Frame:
    """Where a plan's own frame lies in the job's: turned by `angle` radians, then shifted."""

    angle: float = 0.0
    shift: XYZ = (0.0, 0.0, 0.0)

    def place(self, x: float, y: float) -> XY:
        c, s = math.cos(self.angle), math.sin(self.angle)
        return c * x - s * y + self.shift[0], s * x + c * y + self.shift[1]


class Pen:
    """Draws moves of a plan as lines of a program, in the job's unit."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.per = plan, MM_PER[plan.unit]
        self.nc = Nc(plan.unit, (plan.clear + plan.frame.shift[2]) / self.per)
        self.at: XYZ | None = None

    def _point(self, p: XYZ) -> XYZ:
        x, y = self.plan.frame.place(p[0], p[1])
        return x / self.per, y / self.per, (p[2] + self.plan.frame.shift[2]) / self.per

    def length(self, value: float) -> str:
        return number(value / self.per)

    def raw(self, *lines: str) -> Pen:
        self.nc.raw(*lines)
        return self

    def feed(self, value: float) -> Pen:
        return self.raw(f"F{self.length(value)}")

    def down(self, p: XYZ) -> Pen:
        self.nc.down(self._point(p))
        self.at = p
        return self

    def rapid(self, p: XYZ) -> Pen:
        self.raw(f"G0 {words('XYZ', self._point(p))}")
        self.at = p
        return self

    def to(self, *points: XYZ) -> Pen:
        for p in points:
            self.nc.to(self._point(p))
            self.at = p
        return self

    def arc(self, end: XYZ, center: XY, ccw: bool) -> Pen:
        assert self.at is not None
        a, e = self._point(self.at), self._point(end)
        c = self._point((*center, 0.0))
        code = "G3" if ccw else "G2"
        self.raw(f"{code} {words('XYZ', e)} {words('IJ', (c[0] - a[0], c[1] - a[1]))}")
        self.at = end
        return self

    def up(self) -> Pen:
        self.nc.up()
        return self


class Cut(Protocol):
    """One pass of a plan. What it is drawn by are its attributes."""

    @property
    def name(self) -> str: ...
    @property
    def tool(self) -> int: ...
    @property
    def h(self) -> int | None: ...
    def draw(self, pen: Pen) -> None: ...


@dataclasses.dataclass(frozen=True)
class Block:
    """Stock with upright sides along the job's axes, or `round`: a bar of the half width."""

    low: XYZ
    high: XYZ
    round: bool = False

    def text(self, per: float) -> str:
        if self.round:
            across, middle = self.high[0] - self.low[0], (self.low[0] + self.high[0]) / 2
            center = [middle / per, (self.low[1] + self.high[1]) / 2 / per]
            rows = f'shape = "round"\ndiameter = {number(across / per)}\ncenter = {said(center)}\n'
            return (
                rows + f"bottom = {number(self.low[2] / per)}\ntop = {number(self.high[2] / per)}"
            )
        ends = ([v / per for v in p] for p in (self.low, self.high))
        low, high = map(said, ends)
        return f'shape = "block"\nlow = {low}\nhigh = {high}'


def said(values: Sequence[float]) -> str:
    """Return numbers as a list of a job file."""
    return f"[{', '.join(number(v) for v in values)}]"


@dataclasses.dataclass(frozen=True)
class Box:
    """A box of the fixture."""

    name: str
    low: XYZ
    high: XYZ


@dataclasses.dataclass(frozen=True)
class Plan:
    """A job. Lengths in mm; stock, part and boxes stand in the job's own frame."""

    cuts: tuple[Cut, ...]
    mills: dict[int, Mill]
    stock: Block
    part: XY | None
    """Its top and bottom."""
    unit: Unit = "mm"
    frame: Frame = Frame()
    pitch: float = 0.5
    clear: float = 5.0
    """Z of the rapids over the part, in the plan's own frame."""
    offsets: tuple[tuple[str, float], ...] = ()
    boxes: tuple[Box, ...] = ()
    margins: tuple[tuple[str, float], ...] = ()
    """Lengths."""
    ratios: tuple[tuple[str, float], ...] = ()
    """Margins without a unit."""
    material: str = ""
    show: XYZ | None = None
    model: tuple[tuple[XYZ, XYZ, XYZ], ...] = ()
    tolerance: float | None = None
    least: float | None = None
    """Levels narrower than this are not listed, mm."""
    spindle: bool = True

    def changed(self, index: int, **more: object) -> Plan:
        """Return the plan with some values of one of its cuts, counted from 0, set."""
        cuts = list(self.cuts)
        cuts[index] = dataclasses.replace(cuts[index], **more)  # type: ignore[type-var]
        return dataclasses.replace(self, cuts=tuple(cuts))

    def all_changed(self, names: str, **more: object) -> Plan:
        """Return the plan with some values set in all cuts whose name begins so."""
        plan = self
        for k, cut in enumerate(self.cuts):
            if cut.name.startswith(names):
                plan = plan.changed(k, **more)
        return plan

    def index(self, name: str) -> int:
        return next(k for k, c in enumerate(self.cuts) if c.name == name)

    def set(self, **more: object) -> Plan:
        return dataclasses.replace(self, **more)  # type: ignore[arg-type]

    def with_mill(self, mill: Mill) -> Plan:
        return self.set(mills=self.mills | {mill.number: mill})

    def program(self) -> str:
        """Return the program: one heading a cut, so that cut k is pass k + 1."""
        pen, mounted = Pen(self), None
        if self.spindle:
            pen.raw("M3 S1000")
        for k, cut in enumerate(self.cuts):
            if (cut.tool, cut.h) != mounted:
                pen.nc.tool(cut.tool, h=cut.h)
                mounted = cut.tool, cut.h
            pen.nc.heading(f"{k + 1} {cut.name.upper()}")
            cut.draw(pen)
        return pen.nc.text()

    def _stock_text(self, folder: Path) -> str:
        per = MM_PER[self.unit]
        rows = [self.stock.text(per)]
        if self.material:
            rows[0] += f'\nmaterial = "{self.material}"'
        part = []
        if self.part is not None:
            top, bottom = (v / per for v in self.part)
            part += [f"top = {number(top)}\nbottom = {number(bottom)}"]
        if self.model:
            _write_stl(folder / "part.stl", self.model, per)
            part += ['model = "part.stl"']
        if part and self.tolerance is not None:
            part += [f"tolerance = {number(self.tolerance / per)}"]
        rows += ["[part]\n" + "\n".join(part)] if part else []
        if self.show is not None:
            rows += [f"[[show]]\ndirection = {said(self.show)}"]
        return "\n\n".join(rows)

    def _setup_text(self) -> str:
        per = MM_PER[self.unit]
        rows = []
        for box in self.boxes:
            low, high = (said([v / per for v in p]) for p in (box.low, box.high))
            rows += [f'[[setups.fixture]]\nname = "{box.name}"\nlow = {low}\nhigh = {high}']
        margins = [f"{k} = {number(v / per)}" for k, v in self.margins]
        margins += [f"{k} = {number(v)}" for k, v in self.ratios]
        rows += ["[margins]\n" + "\n".join(margins)] if margins else []
        return "\n".join(rows)

    def write(
        self, folder: Path, *, program: str | None = None, pitch: float | None = None
    ) -> proud.Job:
        """Write job file and program (`program`: in place of the plan's) and load the job."""
        per = MM_PER[self.unit]
        folder.mkdir(parents=True, exist_ok=True)
        return write_job(
            folder,
            self.program() if program is None else program,
            [self.mills[n].table(per) for n in sorted(self.mills)],
            stock=self._stock_text(folder),
            pitch=(self.pitch if pitch is None else pitch) / per,
            unit=self.unit,
            grid="" if self.least is None else f"least_width = {number(self.least / per)}",
            offsets="\n".join(f"{k} = {number(v / per)}" for k, v in self.offsets),
            setup=self._setup_text(),
        )


def _write_stl(path: Path, triangles: Sequence[Sequence[XYZ]], per: float) -> None:
    rows = ["solid part"]
    for triangle in triangles:
        rows += ["facet normal 0 0 0", "outer loop"]
        rows += [f"vertex {' '.join(repr(v / per) for v in corner)}" for corner in triangle]
        rows += ["endloop", "endfacet"]
    path.write_text("\n".join([*rows, "endsolid part", ""]), encoding="ascii")
