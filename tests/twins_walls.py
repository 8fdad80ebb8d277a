"""Jobs with a floor at the foot of a wall (shelf, boss, pocket, slot, bore), and their mistakes.

Sizes are differences of allowances and heights that are chosen here; formulas stand beside them.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from twins_base import THOU, Planted, Twin, maybe, pitch_and_size, turned
from twins_cuts import Clear, Edge, Ring, Round, Wall
from twins_plan import Block, Cut, Mill, Plan

Rng = np.random.Generator
SHAPES = ("shelf", "boss", "round boss", "pocket", "slot", "bore")
HARD = ("316L", "Inconel 718", "Ti-6Al-4V")
SOFT = ("", "6061-T6", "4140", "C45")


@dataclasses.dataclass(frozen=True)
class Made:
    """A clean job and the numbers that it was made from, mm."""

    plan: Plan
    shape: str
    floor: float
    left: float
    """What stands on the wall when the floor pass comes."""
    rough_side: float
    rough_over: float
    lift: float

    @property
    def rougher(self) -> Mill:
        return self.plan.mills[1]

    @property
    def waller(self) -> Mill:
        return self.plan.mills[self.plan.cuts[self.plan.index("wall")].tool]


def wall_of(rng: Rng, shape: str, size: float, most: float) -> tuple[Wall, Block]:
    """Return a wall and its stock, top at 0 and bottom to be set; `most`: the largest tool's R."""
    h = size / 2
    if shape == "shelf":
        low, high = (-h, -0.3 * size, 0.0), (h, 0.7 * size, 0.0)
        return Edge(1.1 * size, 0.75 * size + most), Block(low, high)
    if shape == "boss":
        half = tuple(rng.uniform(0.2, 0.32, 2) * size)
        corner = maybe(rng, 0.5, float(rng.uniform(0.1, 0.8)) * min(half), 0.0)
        return Ring((half[0], half[1]), corner, False, h - 0.2 * size), Block(
            (-h, -h, 0), (h, h, 0)
        )
    if shape == "round boss":
        r = float(rng.uniform(0.2, 0.3)) * size
        return Ring((r, r), r, False, h - r), Block((-h, -h, 0), (h, h, 0), round=True)
    a, b = (float(v) * size for v in rng.uniform(0.26, 0.36, 2))
    if shape == "slot":
        b = float(rng.uniform(1.35, 1.6)) * most
        return Ring((max(a, b + 2.0 * most), b), b, True), Block((-h, -h, 0), (h, h, 0))
    if shape == "bore":
        return Ring((b, b), b, True), Block((-h, -h, 0), (h, h, 0))
    corner = float(rng.uniform(1.6, 2.0)) * most
    a, b = max(a, corner + 1.2 * most), max(b, corner + 0.8 * most)
    return Ring((a, b), corner, True, most_round=0.5 * most), Block((-h, -h, 0), (h, h, 0))


def mills_of(rng: Rng, size: float, depth: float) -> dict[int, Mill]:
    """Return a rougher, a finisher, and a second finisher with a corner radius as big or bigger."""
    diameter = float(rng.uniform(0.17, 0.24)) * size
    corner = float(rng.choice([0.0, rng.uniform(0.06, 0.25)])) * diameter
    rough = _mill(1, diameter, corner)
    d2 = float(rng.uniform(0.7, 1.0)) * diameter
    c2 = float(rng.choice([0.0, rng.uniform(0.05, 0.2)])) * d2
    d3 = float(rng.uniform(0.7, 1.0)) * diameter
    c3 = min(float(rng.choice([1.0, rng.uniform(1.0, 1.3)])) * c2, 0.3 * d3)
    c3 = max(c2, c3)
    mills = {1: rough, 2: _mill(2, d2, c2), 3: _mill(3, d3, c3)}
    if rng.random() < 0.5:
        for n, m in mills.items():
            mills[n] = m.having(APMX=depth + float(rng.uniform(0.3, 2.0)), DMM=m.diameter)
            if rng.random() < 0.5:
                out = depth + float(rng.uniform(5, 15))
                mills[n] = dataclasses.replace(
                    mills[n].having(LPR=out), holder=((3 * m.diameter, 10.0),)
                )
    return mills


def _mill(number: int, diameter: float, corner: float) -> Mill:
    return Mill(
        number, "bull" if corner > 0.02 else "flat", diameter, corner if corner > 0.02 else 0.0
    )


def made(rng: Rng, shape: str, *, bare: bool = False) -> Made:
    """Return a clean job: rough, floor, wall, and at random what shops do besides.

    bare: the rougher finishes the floor; a semi-finish and a finish of the wall follow.
    """
    pitch, size = pitch_and_size(rng)
    depth = float(rng.uniform(0.12, 0.25)) * size
    depth = max(depth, 2.2)
    mills = mills_of(rng, size, depth)
    if bare:
        c = float(rng.uniform(0.12, 0.3)) * mills[1].diameter
        mills[1] = dataclasses.replace(mills[1], shape="bull", corner=c)
        f = float(rng.choice([0.0, rng.uniform(0.1, 0.45)])) * c
        mills[2] = dataclasses.replace(
            mills[2], shape="bull" if f > 0.02 else "flat", corner=f if f > 0.02 else 0.0
        )
    wall, block = wall_of(rng, shape, size, mills[1].radius)
    least = min(m.diameter for m in mills.values())
    layer = min(12 * THOU, 0.05 * least)
    side = float(rng.uniform(0.4, 1.0)) * layer
    over = 0.0 if bare else float(rng.uniform(2.5, 8)) * THOU
    floor, lift = -depth, float(rng.uniform(0.2, 0.48)) * THOU
    cuts = _cuts(rng, wall, mills, floor, side, over, lift, bare)
    # Deeper than what is taken for the ledge beyond a part.
    below = floor - float(rng.uniform(2.0, 4.0))
    bottom = below + float(rng.uniform(0.1, 0.8))
    block = dataclasses.replace(block, low=(*block.low[:2], below), high=(*block.high[:2], 0.0))
    plan = Plan(
        tuple(cuts), mills, block, (0.0, bottom), pitch=pitch,
        unit="in" if rng.random() < 0.5 else "mm",
        material=str(rng.choice(SOFT)), spindle=bool(rng.random() < 0.8),
        least=0.03 if shape == "round boss" else None,
    )  # fmt: skip
    plan = turned(rng, plan, any_angle=shape in ("shelf", "pocket", "slot", "bore", "round boss"))
    left = min(c.side for c in plan.cuts if c.name in ("rough", "semi"))
    return Made(plan, shape, floor, left, side, over, lift)


def _cuts(
    rng: Rng, wall: Wall, mills: dict[int, Mill], floor: float, side: float, over: float,
    lift: float, bare: bool,
) -> list[Cut]:  # fmt: skip
    def step(n: int) -> float:
        return float(rng.uniform(0.9, 1.2)) * mills[n].flat

    levels = int(rng.integers(1, 4))
    growth = maybe(rng, 0.3, float(rng.uniform(1, 3)) * THOU, 0.0)
    z = floor + over
    uppers = tuple(
        (z * (k + 1) / levels, max(side - growth * (levels - 1 - k), 0.5 * side))
        for k in range(levels - 1)
    )
    climb = bool(rng.random() < 0.75)
    cuts: list[Cut] = [
        Clear("rough", 1, wall, z, side, step(1), uppers, climb=bool(rng.random() < 0.8))
    ]
    lead = _lead(wall, mills[2].radius)
    at = 0.0
    if isinstance(wall, Ring) and not wall.circle:
        at = float(rng.uniform(-0.5, 0.5)) * max(0.0, wall.half[0] - max(wall.corner, 0.3))
        if wall.inside:
            at = float(rng.uniform(-0.5, 0.5)) * max(0.0, wall.half[0] - wall.corner)
    common = {"wall": wall, "climb": climb, "lead": lead, "at": at,
              "overlap": float(rng.uniform(1.4, 3.0))}  # fmt: skip
    half = float(rng.uniform(0.3, 0.5)) * side
    if bare:
        last = min(2 * THOU, side / 2)
        cuts.append(Round("semi", 2, z=floor + lift, side=last, **common))
        cuts.append(Round("wall", 2, z=floor + lift, side=0.0, **common))
        return cuts + _again(rng, cuts[-1])
    if rng.random() < 0.3:
        cuts.append(Round("semi", 2, z=z + float(rng.uniform(0.0, 2)) * THOU, side=half, **common))
    gap = float(rng.uniform(0.5, 1.5)) * THOU
    stands = min(c.side for c in cuts)
    floors = Clear("floor", 2, wall, floor, stands + gap, step(2), climb=climb)
    cuts.append(floors)
    if rng.random() < 0.25:
        cuts.append(dataclasses.replace(floors, name="floor again"))
    other = rng.random() < 0.3
    waller = 3 if other else 2
    common["lead"] = _lead(wall, mills[waller].radius)
    wall_z = floor + (float(rng.uniform(1.0, 2.5)) * THOU if other else lift)
    cuts.append(Round("wall", waller, z=wall_z, side=0.0, **common))
    return cuts + _again(rng, cuts[-1])


def _again(rng: Rng, wall: Cut) -> list[Cut]:
    """Return a second pass at the same height, or a spring pass back, or neither."""
    assert isinstance(wall, Round)
    pick = rng.random()
    if pick < 0.2:
        return [dataclasses.replace(wall, name="wall again")]
    if pick < 0.35:
        return [dataclasses.replace(wall, name="wall spring", climb=not wall.climb, at=-wall.at)]
    if pick < 0.45 and wall.wall.closed:
        return [dataclasses.replace(wall, name="wall twice", rounds=2)]
    return []


def _lead(wall: Wall, radius: float) -> float:
    if isinstance(wall, Ring) and wall.inside:
        return 0.5 * (wall.corner - radius)
    return 0.6 * radius


# ------------------------------------------------------------------------------------- mistakes


def floor_touches_wall(rng: Rng, shape: str) -> Twin:
    """Size: the difference of the allowances of floor pass and wall."""
    m = made(rng, shape)
    most = min(0.7 * m.left / THOU, 4.0)
    gap = float(rng.uniform(-most, 0.25)) * THOU
    bad = m.plan.all_changed("floor", side=m.left + gap)
    return Twin(m.plan, bad, Planted("floor-touches-wall", abs(gap), "|side of floor - left|"))


RIDGE = (
    ("floor-marks", "in a narrow pocket a ridge of the old floor stays between two walls' paths"),
)


BITE = (("fillet-in-one-bite", "as much lower it takes more of what fillet is left, too"),)


def wall_drags_floor(rng: Rng, shape: str) -> Twin:
    """Size: how far the wall pass's tip is off the floor."""
    m = made(rng, shape)
    same = m.waller.number == 2
    lift = float(rng.uniform(-deepest(shape), 0.12 if same else -0.2)) * THOU
    bad = m.plan.all_changed("wall", z=m.floor + lift)
    return Twin(
        m.plan, bad, Planted("wall-drags-floor", abs(lift), "|z of wall - floor|", also=RIDGE)
    )


def deepest(shape: str) -> float:
    """Return how deep a drag is one, thou: a pass that takes more of all of a floor finishes it."""
    return 5.0 if shape == "shelf" else 2.9


def register_drags_floor(rng: Rng, shape: str) -> Twin:
    """Size: the error of the wall pass's own register less its lift."""
    m = made(rng, shape)
    lift = float(rng.uniform(1.0, 2.0)) * THOU
    error = -lift - float(rng.uniform(0.3, deepest(shape))) * THOU
    clean = m.plan.all_changed("wall", h=21, z=m.floor + lift)
    bad = clean.set(offsets=(("H21", error),))
    size = -error - lift
    also = RIDGE + BITE
    return Twin(clean, bad, Planted("wall-drags-floor", size, "-(error of H + lift)", also=also))


def fillet_in_one_bite(rng: Rng, shape: str) -> Twin:
    """Size: hypot(aR + RR - RF - aF, bR + RR - RF - lift) - (RR - RF)."""
    m = made(rng, shape, bare=True)
    gone = tuple(c for c in m.plan.cuts if c.name != "semi")
    more = m.rougher.corner - m.waller.corner
    size = math.hypot(m.rough_side + more, more - m.lift) - more
    return Twin(
        m.plan, m.plan.set(cuts=gone),
        Planted("fillet-in-one-bite", size, "hypot(aR + RR - RF, RR - RF - lift) - (RR - RF)"),
        silly=size <= 1.52 * m.rough_side,
    )  # fmt: skip


def too_little_overlap(rng: Rng, shape: str) -> Twin:
    """Size: the overlap."""
    m = made(rng, shape)
    m = dataclasses.replace(m, plan=_once(m.plan))
    over = maybe(rng, 0.5, 0.0, float(rng.uniform(0.05, 0.9)) * 10 * THOU)
    bad = m.plan.all_changed("wall", overlap=over)
    return Twin(m.plan, bad, Planted("lead-mark", over, "overlap", severity="note"))


def _once(plan: Plan) -> Plan:
    """Return the plan without what follows the wall pass."""
    return plan.set(cuts=plan.cuts[: plan.index("wall") + 1])


def straight_up(rng: Rng, shape: str) -> Twin:
    """Size: the height of the wall from the corner radius to its top."""
    m = made(rng, shape)
    plan = _once(m.plan)
    z = plan.cuts[-1].z  # type: ignore[attr-defined]
    size = -(z + m.waller.corner)
    bad = plan.all_changed("wall", off="up")
    return Twin(plan, bad, Planted("lead-mark", size, "-(z of wall + RF)"))


def waits(rng: Rng, shape: str) -> Twin:
    """Size: the seconds of the dwell."""
    m = made(rng, shape)
    plan, wait = _once(m.plan), round(float(rng.uniform(0.3, 3.0)), 2)
    bad = plan.all_changed("wall", wait=wait)
    return Twin(plan, bad, Planted("lead-mark", wait, "seconds of G4", of="s"))


def stands(plan: Plan, z: float) -> tuple[float, bool]:
    """Return what earlier passes leave on the wall at a height, and whether a side left it.

    A corner c over a tip leaves c - sqrt(c^2 - (c - h)^2) more at h over that tip. Fillet metal
    does not count, nor what the side of a pass further off left of it.
    """
    found, nearest = (math.inf, False), math.inf
    for cut in plan.cuts[: plan.index("wall")]:
        assert isinstance(cut, Clear | Round)
        c = plan.mills[cut.tool].corner
        for tip, side in (*cut.uppers, (cut.z, cut.side)):
            h = z - tip
            if h > 0:
                more = c - math.sqrt(c * c - (c - h) ** 2) if h < c else 0.0
                found, nearest = min(found, (side + more, h >= c)), min(nearest, side)
    return (nearest, True) if found[1] else found


def seen(rng: Rng, shape: str) -> Twin:
    """Size: what the wall pass takes square to the wall, most at its foot."""
    m = made(rng, shape)
    plan = _once(m.plan)
    a = plan.frame.angle
    front, back = (math.sin(a), -math.cos(a), 0.0), (-math.sin(a), math.cos(a), 0.0)
    wall = plan.cuts[-1]
    assert isinstance(wall, Round)
    size, upright = stands(plan, wall.z + m.waller.corner + 1e-9)
    return Twin(
        plan.set(show=back), plan.set(show=front),
        Planted("lead-mark", size, "left on the wall at its foot"), silly=not upright,
    )  # fmt: skip


def conventional(rng: Rng, shape: str) -> Twin:
    """Size: the length of the wall pass, but for stations a quarter of R apart and its ends."""
    m = made(rng, shape)
    plan = _once(m.plan).all_changed("", climb=True)
    bad = plan.all_changed("wall", climb=False)
    cut, mill = plan.cuts[-1], m.waller
    assert isinstance(cut, Round)
    wall = cut.wall
    length = cut.way(mill.radius, 0.0).length()
    tol, wide = mill.radius * 1.5, m.left
    if isinstance(wall, Ring) and not wall.corner:  # off the wall round its corners
        length = 4 * sum(wall.half)
    if isinstance(wall, Ring) and wall.inside:
        # In a concave wall the layer is wider square to the path.
        wide *= wall.corner / (wall.corner - mill.radius)
    if isinstance(wall, Edge):
        length = plan.stock.high[0] - plan.stock.low[0]
        tol += length * (1 / abs(math.cos(plan.frame.angle)) - 1) + length
    return Twin(
        plan, bad,
        Planted("cut-direction", length, "length of the path", severity="note", tol=tol),
        silly=wide > 0.09 * mill.radius,
    )  # fmt: skip


def springs_in_hard_metal(rng: Rng, shape: str) -> Twin:
    """Size: 0, what a spring pass meets by program."""
    m = made(rng, shape)
    cuts = tuple(c for c in _once(m.plan).cuts if c.name != "floor again")
    plan = m.plan.set(cuts=cuts, material=str(rng.choice(HARD)))
    wall = plan.cuts[-1]
    assert isinstance(wall, Round)
    back = bool(rng.random() < 0.5)
    spring = dataclasses.replace(
        wall, name="spring", climb=wall.climb != back, at=-wall.at if back else wall.at
    )
    bad = plan.set(cuts=(*plan.cuts, spring))
    return Twin(plan, bad, Planted("spring-pass", 0.0, "nothing is left to take"))


MISTAKES = {
    "floor touches wall": floor_touches_wall,
    "wall drags floor": wall_drags_floor,
    "register drags floor": register_drags_floor,
    "fillet in one bite": fillet_in_one_bite,
    "too little overlap": too_little_overlap,
    "straight up": straight_up,
    "waits": waits,
    "seen": seen,
    "conventional": conventional,
    "springs in hard metal": springs_in_hard_metal,
}
OPEN = {"shelf"}
CLOSED_ONLY = {"too little overlap", "straight up", "waits", "seen"}
HIDDEN = {"pocket", "slot", "bore"}
"""Walls that nobody sees from the side."""
