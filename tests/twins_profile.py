"""Jobs round the outside of a part that stands on scrap in a vise, and their mistakes."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from twins_base import THOU, Planted, Twin, maybe, pitch_and_size, turned
from twins_cuts import Clear, Ring, Round
from twins_plan import Block, Box, Mill, Plan

Rng = np.random.Generator


@dataclasses.dataclass(frozen=True)
class Made:
    """A clean job, mm: the part's bottom, the ledge's flat, the finisher's tip, the jaws' top."""

    plan: Plan
    bottom: float
    ledge: float
    tip: float
    jaws: float
    side: float


def made(rng: Rng) -> Made:
    pitch, size = pitch_and_size(rng)
    d = float(rng.uniform(0.17, 0.24)) * size
    rough = Mill(1, "bull", d, float(rng.uniform(0.05, 0.2)) * d)
    d2 = float(rng.uniform(0.7, 1.0)) * d
    c2 = maybe(rng, 0.3, rough.corner, float(rng.uniform(0.5, 1.2)) * rough.corner)
    finish = Mill(2, "bull", d2, min(c2, 0.3 * d2))
    h = size / 2
    bottom = -float(rng.uniform(0.2, 0.35)) * size
    side = float(rng.uniform(0.5, 1.0)) * min(14 * THOU, 0.06 * d)
    # Far enough below that no fillet reaches the part.
    ledge = bottom - rough.corner - side - float(rng.uniform(3, 15)) * THOU
    tip = ledge + float(rng.uniform(2.5, 5)) * THOU
    half = tuple(h - float(v) * d for v in rng.uniform(0.55, 0.8, 2))
    corner = maybe(rng, 0.5, float(rng.uniform(0.1, 0.8)) * min(half), 0.0)
    wall = Ring((half[0], half[1]), corner, False, h - min(half))
    below = ledge - float(rng.uniform(3.0, 5.0))
    jaws = ledge - float(rng.uniform(0.4, 1.0))
    climb = bool(rng.random() < 0.75)
    levels = int(rng.integers(1, 4))
    uppers = tuple(
        (ledge * (k + 1) / levels, side * (0.9 if levels == 2 else 1.0)) for k in range(levels - 1)
    )
    step = 1.05 * rough.flat
    round_ = {"wall": wall, "climb": climb, "lead": 0.6 * finish.radius,
              "at": 0.3 * (half[0] - corner), "overlap": float(rng.uniform(1.4, 3.0))}  # fmt: skip
    cuts = [Clear("rough", 1, wall, ledge, side, step, uppers)]
    if rng.random() < 0.4:
        cuts.append(Round("semi", 2, z=tip, side=min(2 * THOU, side / 2), **round_))
    cuts.append(Round("finish", 2, z=tip, side=0.0, **round_))
    if rng.random() < 0.3:
        cuts.append(dataclasses.replace(cuts[-1], name="finish again"))
    boxes = jaws_of(h, below, jaws)
    plan = Plan(
        tuple(cuts), {1: rough, 2: finish}, Block((-h, -h, below), (h, h, 0.0)), (0.0, bottom),
        pitch=pitch, unit="in" if rng.random() < 0.5 else "mm", boxes=boxes,
        material=str(rng.choice(["", "6061-T6", "4140"])),
    )  # fmt: skip
    return Made(plan, bottom, ledge, tip, jaws, side)


def jaws_of(h: float, below: float, top: float) -> tuple[Box, Box]:
    return (
        Box("front jaw", (-1.2 * h, -h - 20, below - 20), (1.2 * h, -h, top)),
        Box("back jaw", (-1.2 * h, h, below - 20), (1.2 * h, h + 20, top)),
    )


def _twin(rng: Rng, clean: Plan, bad: Plan, planted: Planted, silly: bool = False) -> Twin:
    """Return both in the same random frame."""
    state = rng.bit_generator.state
    clean = turned(rng, clean, any_angle=False)
    rng.bit_generator.state = state
    return Twin(clean, turned(rng, bad, any_angle=False), planted, silly)


def cuts_ledge(rng: Rng) -> Twin:
    """Size: how far the finisher's tip lies under the ledge."""
    m = made(rng)
    cut = float(rng.uniform(0.3, 8.0)) * THOU
    both = m.plan.all_changed("finish", z=m.ledge - cut).all_changed("semi", z=m.ledge - cut)
    return _twin(rng, m.plan, both, Planted("finisher-cuts-ledge", cut, "ledge - tip"))


def register_cuts_ledge(rng: Rng) -> Twin:
    """Size: the finisher's register too low, or the rougher's too high, less what lies between."""
    m = made(rng)
    free, cut = m.tip - m.ledge, float(rng.uniform(0.3, 6.0)) * THOU
    name, error = maybe(rng, 0.5, ("H2", -free - cut), ("H1", free + cut))
    bad = m.plan.set(offsets=((name, error),))
    return _twin(rng, m.plan, bad, Planted("finisher-cuts-ledge", cut, "|error| - free"))


def ledge_left(rng: Rng) -> Twin:
    """Size: the ledge's flat over the part's bottom, all of the fillet's run-out above it."""
    m = made(rng)
    over = float(rng.uniform(1.0, 20.0)) * THOU
    up = m.bottom + over - m.ledge
    plan = m.plan
    for k, cut in enumerate(plan.cuts):
        plan = plan.changed(k, z=cut.z + up)  # type: ignore[attr-defined]
    also = (("depth-line", "the foot of the wall is not finished"),)
    return _twin(rng, m.plan, plan, Planted("ledge-left", over, "ledge - bottom", also=also))


def fixture_near(rng: Rng) -> Twin:
    """Size: the rougher's tip over the jaws' top."""
    m = made(rng)
    gap, low, clean = float(rng.uniform(-0.3, 0.24)), m.plan.stock.low[2], m.plan
    if gap < 0:  # the depth of an overlap is good to 0.1 thou with a sharp end alone
        for mill in m.plan.mills.values():
            clean = clean.with_mill(dataclasses.replace(mill, shape="flat", corner=0.0))
    bad = clean.set(boxes=jaws_of(clean.stock.high[0], low, m.ledge - gap))
    return _twin(rng, clean, bad, Planted("fixture-near", gap, "tip - jaws"))


def short_grip(rng: Rng) -> Twin:
    """Size: the jaws' top over the stock's bottom."""
    m = made(rng)
    grip = float(rng.uniform(0.3, 1.5))
    low = m.plan.stock.low[2]
    bad = m.plan.set(boxes=jaws_of(m.plan.stock.high[0], low, low + grip))
    return _twin(rng, m.plan, bad, Planted("short-grip", grip, "jaws - bottom of the stock"))


def depth_line(rng: Rng) -> Twin:
    """Size: the difference of the side allowances of two depths of one finishing pass."""
    m = made(rng)
    step = float(rng.uniform(0.6, 4.0)) * THOU
    step = min(step, 0.6 * m.side)
    middle = 0.45 * m.bottom
    cuts = tuple(c for c in m.plan.cuts if c.name in ("rough", "finish"))
    clean = m.plan.set(cuts=cuts).all_changed("finish", uppers=((middle, 0.0),))
    bad = clean.all_changed("finish", side=step)
    return _twin(
        rng, clean, bad, Planted("depth-line", step, "difference of sides"),
        silly=step < 0.55 * THOU,
    )  # fmt: skip


def shank_rubs(rng: Rng) -> Twin:
    """Size: L - U + (DC - DMM) / 2: lower and upper allowance, the shank clear of the fillet."""
    m = made(rng)
    rough = m.plan.mills[1]
    upper, gap = m.side, float(rng.uniform(-2.0, 0.9)) * THOU
    depth = 0.5 * m.ledge
    over = rough.corner + float(rng.uniform(0.1, 0.5))
    thin = maybe(rng, 0.5, 0.0, float(rng.uniform(0.2, 1.0)) * THOU)
    mill = rough.having(APMX=depth - m.ledge + over, DMM=rough.diameter - 2 * thin)
    both = {"uppers": ((depth, upper),)}
    clean = m.plan.with_mill(mill).all_changed("rough", side=upper + 3 * THOU - thin, **both)
    bad = clean.all_changed("rough", side=upper + gap - thin)
    also = (("cuts-above-length", "a lower depth that leaves less cuts the upper wall too"),)
    planted = Planted("shank-rub", gap, "L - U + (DC - DMM) / 2", also=also)
    return _twin(rng, clean, bad, planted, silly=upper + gap - thin < 2 * THOU)


def holder_rubs(rng: Rng) -> Twin:
    """Size: stick-out less the depth: the holder's end over the part's top."""
    m = made(rng)
    rough = m.plan.mills[1]
    gap = float(rng.uniform(-0.4, 0.24))
    rings = ((rough.diameter + 12.0, 15.0),)
    plan = m.plan.with_mill(
        dataclasses.replace(
            rough.having(
                APMX=0.5 * -m.ledge + rough.corner + 0.3,
                DMM=rough.diameter - 1.0,
                LPR=-m.ledge + 2.0,
            ),
            holder=rings,
        )
    ).all_changed("rough", uppers=((0.5 * m.ledge, m.side),))
    bad = plan.with_mill(
        dataclasses.replace(plan.mills[1].having(LPR=-m.ledge + gap), holder=rings)
    )
    return _twin(rng, plan, bad, Planted("holder-rub", gap, "LPR - depth"))


def cuts_above_length(rng: Rng) -> Twin:
    """Size: the depth less APMX; all of it is taken at once."""
    m = made(rng)
    short = float(rng.uniform(0.2, 0.7)) * -m.ledge
    rough = m.plan.mills[1]
    plan = m.plan.all_changed("rough", uppers=())
    thick = maybe(rng, 0.5, rough.diameter, rough.diameter - 1.0)
    clean = plan.with_mill(rough.having(APMX=-m.ledge + 0.5, DMM=thick))
    bad = plan.with_mill(rough.having(APMX=short, DMM=thick))
    also = (("shank-rub", "the shank goes where its edges did not cut"),)
    return _twin(
        rng, clean, bad, Planted("cuts-above-length", -m.ledge - short, "depth - APMX", also=also)
    )


def air_cut(rng: Rng) -> Twin:
    """Size: the path at feed, down and along, of a pass that runs over the top."""
    m = made(rng)
    z = float(rng.uniform(0.2, 1.5))
    cut = next(c for c in m.plan.cuts if c.name == "finish")
    assert isinstance(cut, Round)
    high = dataclasses.replace(cut, name="too high", z=z, overlap=0.0, side=0.3)
    way = high.way(m.plan.mills[2].radius, high.side)
    size = m.plan.clear - z + math.pi * high.lead + way.length()
    bad = m.plan.set(cuts=(*m.plan.cuts, high))
    return _twin(rng, m.plan, bad, Planted("air-cut", size, "length at feed"))


MISTAKES = {
    "cuts ledge": cuts_ledge, "register cuts ledge": register_cuts_ledge,
    "ledge left": ledge_left, "fixture near": fixture_near, "short grip": short_grip,
    "depth line": depth_line, "shank rubs": shank_rubs, "holder rubs": holder_rubs,
    "cuts above length": cuts_above_length, "air cut": air_cut,
}  # fmt: skip
