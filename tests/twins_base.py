"""What twins are: a clean job, the same with one planted mistake, and what must be found."""

from __future__ import annotations

import dataclasses
import math
from typing import TypeVar

import numpy as np
from helpers_twins import TENTH, THOU
from twins_plan import Block, Frame, Plan

__all__ = ["TENTH", "THOU", "Planted", "Twin", "maybe", "pitch_and_size", "turned"]

T = TypeVar("T")
Rng = np.random.Generator


@dataclasses.dataclass(frozen=True)
class Planted:
    """The finding that must come: its rule, its size (mm unless `of`) and by which formula."""

    rule: str
    size: float
    formula: str
    tol: float = TENTH
    of: str = ""
    severity: str = ""
    """Empty: any above note."""
    also: tuple[tuple[str, str], ...] = ()
    """Rules whose findings above note are a true consequence, and why."""


@dataclasses.dataclass(frozen=True)
class Twin:
    """A clean job and the same with a mistake; silly: the numbers drawn make no mistake."""

    clean: Plan
    bad: Plan
    planted: Planted
    silly: bool = False
    name: str = ""
    shape: str = ""


def maybe(rng: Rng, share: float, yes: T, no: T) -> T:
    return yes if rng.random() < share else no


def pitch_and_size(rng: Rng) -> tuple[float, float]:
    """Return the columns' pitch, 0.001 to 0.010 in, and a stock's width to go with it, mm."""
    pitch = float(math.exp(rng.uniform(math.log(0.001), math.log(0.010)))) * 25.4
    return pitch, float(np.clip(pitch * rng.uniform(150, 350), 15.0, 40.0))


def turned(rng: Rng, plan: Plan, *, any_angle: bool) -> Plan:
    """Return the plan turned about Z and shifted, its stock and part with it."""
    quarter = math.pi / 2
    angle = float(rng.choice([0.0, quarter, 2 * quarter, 3 * quarter]))
    if any_angle and rng.random() < 0.5:
        angle = float(rng.uniform(-0.4, 0.4))
    shift = maybe(rng, 0.5, (0.0, 0.0, 0.0), tuple(float(v) for v in rng.uniform(-60, 60, 3)))
    return moved(plan, Frame(angle, shift))


def moved(plan: Plan, frame: Frame) -> Plan:
    """Return the plan in another frame, with its stock, part and boxes."""

    def box(low: tuple[float, ...], high: tuple[float, ...]) -> tuple[list[float], list[float]]:
        a, z = round(frame.angle / (math.pi / 2)) * math.pi / 2, frame.shift[2]
        right = Frame(a, frame.shift)
        p, q = right.place(low[0], low[1]), right.place(high[0], high[1])
        x, y = sorted((p[0], q[0])), sorted((p[1], q[1]))
        return [x[0], y[0], low[2] + z], [x[1], y[1], high[2] + z]

    low, high = box(plan.stock.low, plan.stock.high)
    part = plan.part and (plan.part[0] + frame.shift[2], plan.part[1] + frame.shift[2])
    boxes = []
    for b in plan.boxes:
        lo, hi = box(b.low, b.high)
        boxes.append(dataclasses.replace(b, low=tuple(lo), high=tuple(hi)))
    stock = Block(tuple(low), tuple(high), plan.stock.round)  # type: ignore[arg-type]
    return plan.set(frame=frame, stock=stock, part=part, boxes=tuple(boxes))
