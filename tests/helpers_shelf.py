"""A shelf at the foot of a wall, cut by a rougher, a floor pass and a wall pass, for twins.

The wall's face lies at y = 0, metal below it; the shelf's floor lies at z = -4 and is open to
the other side and at both ends.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import proud
from helpers_job import Nc, tool, write_job
from helpers_twins import THOU

FLOOR = -4.0
ROUGHER, FINISHER = 1, 2
RADIUS = {1: 5.0, 2: 4.0, 3: 4.0}
CORNER = {1: 1.0, 2: 0.5, 3: 0.0}
TOOLS = [
    tool(1, "bull", 10.0, RE=1.0),
    tool(2, "bull", 8.0, RE=0.5),
    tool(3, "flat", 8.0),
]
LOW, HIGH = (-8.0, -5.0, -8.0), (8.0, 14.0, 0.0)
PART = f'shape = "block"\nlow = {list(LOW)}\nhigh = {list(HIGH)}\n\n[part]\ntop = 0\nbottom = -7.0'


@dataclasses.dataclass(frozen=True)
class Step:
    """One pass: tool, side allowance and height over the floor in thou, name; along the wall alone.

    `h` is the register of its length.
    """

    tool: int
    side: float
    over: float
    name: str
    along: bool = False
    h: int | None = None


ROUGH = Step(1, 10.0, 5.0, "rough")
FLOORED = Step(2, 10.5, 0.0, "floor")
WALLED = Step(2, 0.0, 0.3, "wall", along=True)


def program(*steps: Step, turned: float = 0.0) -> Nc:
    """Return a program of passes that go to the shelf's floor, the nearest row to the wall last.

    `turned`: all of it, about Z, in radians.
    """
    nc, mounted = Nc(), None
    c, s = math.cos(turned), math.sin(turned)
    for step in steps:
        if (step.tool, step.h) != mounted:
            nc.tool(step.tool, h=step.h)
            mounted = step.tool, step.h
        nc.heading(step.name)
        r, z = RADIUS[step.tool], FLOOR + step.over * THOU
        near = r + step.side * THOU
        rows = [near] if step.along else [near + 1.2 * r * k for k in (2, 1, 0)]
        for y in rows:
            nc.stroke(*((c * x - s * y, s * x + c * y, z) for x in (-20, 20)))
    return nc


def shelf(
    folder: Path,
    *steps: Step,
    pitch: float = 0.5,
    part: bool = True,
    turned: float = 0.0,
    **more: str,
) -> proud.Job:
    """Return the job of these passes."""
    nc = program(*steps, turned=turned)
    if part:
        return write_job(folder, nc, TOOLS, stock=PART, pitch=pitch, **more)
    return write_job(folder, nc, TOOLS, low=LOW, high=HIGH, pitch=pitch, **more)
