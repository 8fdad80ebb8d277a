"""Jobs on faces: rasters, fillets of a ball nose, webs between slots, holes, a part's model."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
from twins_base import THOU, Planted, Twin, maybe, moved, pitch_and_size, turned
from twins_cuts import Strokes
from twins_plan import XYZ, Block, Cut, Frame, Mill, Pen, Plan

Rng = np.random.Generator


@dataclasses.dataclass(frozen=True)
class Lines:
    """Lines along X over a face that rises along Y by `rise`, `step` apart in plan, both ways."""

    name: str
    tool: int
    z: float
    step: float
    reach: float
    low: float
    high: float
    rise: float = 0.0
    feed: float = 300.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        count = max(1, math.ceil((self.high - self.low) / self.step - 1e-9))
        for k in range(count + 1):
            y = self.low + k * self.step
            x = self.reach if k % 2 else -self.reach
            start = (x, y, self.z + y * self.rise)
            if k == 0:
                pen.down(start)
            pen.to(start, (-x, *start[1:]))
        pen.up()


def base(rng: Rng, cuts: tuple[Cut, ...], mills: dict[int, Mill], size: tuple[float, float, float],
         pitch: float) -> Plan:  # fmt: skip
    """Return the plan of cuts on a block whose top is at 0, all of it part but the lowest bit."""
    x, y, z = size
    return Plan(
        cuts, mills, Block((-x, -y, -z), (x, y, 0.0)), (0.0, -z + 0.3), pitch=pitch,
        unit="in" if rng.random() < 0.5 else "mm", spindle=bool(rng.random() < 0.7),
    )  # fmt: skip


def _twin(rng: Rng, clean: Plan, bad: Plan, planted: Planted, silly: bool = False) -> Twin:
    state = rng.bit_generator.state
    clean = turned(rng, clean, any_angle=True)
    rng.bit_generator.state = state
    return Twin(clean, turned(rng, bad, any_angle=True), planted, silly)


def step_of(height: float, radius: float) -> float:
    return 2 * math.sqrt(height * (2 * radius - height))


def scallops(rng: Rng, shape: str = "ball") -> Twin:
    """Size: h; the stepover along the face is 2 sqrt(h (2 R - h)), in plan times cos(slope)."""
    pitch, size = pitch_and_size(rng)
    size = min(size, 20.0)
    slope = maybe(rng, 0.5, 0.0, math.radians(float(rng.uniform(10, 50))))
    d = float(rng.uniform(3.0, 8.0))
    mill = Mill(1, "ball", d)
    R = d / 2
    if slope and rng.random() < 0.4:
        mill = Mill(1, "bull", d, float(rng.uniform(0.2, 0.4)) * d)
        R = mill.corner
    h, fine = float(rng.uniform(1.1, 4.0)) * THOU, float(rng.uniform(0.3, 0.85)) * THOU
    half = size / 3
    z = -1.5 - half * math.tan(slope)

    def plan(height: float) -> Plan:
        step = step_of(height, R) * math.cos(slope)
        out = half + d + 1
        lines = Lines("face", 1, z, step, 1.6 * size, -out, out, math.tan(slope))
        return base(
            rng, (lines,), {1: mill}, (half, half, 4.0 + 2.2 * half * math.tan(slope)), pitch
        ).set(part=(-1.4, -3.5 - 2.1 * half * math.tan(slope)))

    state = rng.bit_generator.state
    clean = plan(fine)
    rng.bit_generator.state = state
    # On a mild slope the flat end of a bull reaches the ridge.
    flat = mill.shape == "bull" and math.asin(step_of(h, R) / 2 / R) > 0.95 * slope
    planted = Planted("scallop-high", h, "R - sqrt(R^2 - s^2 / 4)")
    return _twin(rng, clean, plan(h), planted, silly=flat)


def floor_marks(rng: Rng) -> Twin:
    """Size: RE - sqrt(RE^2 - (s / 2 - (DC / 2 - RE))^2)."""
    pitch, size = pitch_and_size(rng)
    d = float(rng.uniform(4.0, 8.0))
    mill = Mill(1, "bull", d, float(rng.uniform(0.1, 0.3)) * d)
    half = size / 2.5
    step = 2 * mill.flat + float(rng.uniform(0.3, 0.9)) * 2 * mill.corner * 0.5
    off = step / 2 - mill.flat
    size_ = mill.corner - math.sqrt(mill.corner**2 - off**2)

    def plan(s: float) -> Plan:
        out = half + d
        lines = Lines("face", 1, -1.0, s, half + d, -out, out)
        return base(rng, (lines,), {1: mill}, (half, half, 6.0), pitch).set(part=(-1.0, -5.5))

    state = rng.bit_generator.state
    clean = plan(2 * mill.flat * float(np.random.default_rng(1).uniform(0.8, 0.97)))
    rng.bit_generator.state = state
    return _twin(
        rng, clean, plan(step), Planted("floor-marks", size_, "RE - sqrt(RE^2 - (s/2 - flat)^2)"),
        silly=size_ < 0.3 * THOU,
    )  # fmt: skip


def _slots(rng: Rng, web: float, depth: float, d: float, levels: int, half: float, pitch: float,
           corner: float) -> Plan:  # fmt: skip
    strokes: list[tuple[XYZ, ...]] = []
    for y in (-(d + web) / 2, (d + web) / 2):
        for k in range(1, levels + 1):
            z = -depth * k / levels
            strokes.append(((-half - d, y, z), (half + d, y, z)))
    mill = Mill(1, "bull" if corner else "flat", d, corner)
    cut = Strokes("slots", 1, tuple(strokes))
    return base(rng, (cut,), {1: mill}, (half, half, depth + 3.0), pitch)


def sliver(rng: Rng) -> Twin:
    """Size: the distance of the paths less DC."""
    pitch, size = pitch_and_size(rng)
    d = float(rng.uniform(3.0, 7.0))
    web, corner = float(rng.uniform(0.5, 14.0)) * THOU, maybe(rng, 0.5, 0.0, 0.15 * d)
    depth, half = float(rng.uniform(2.0, 4.0)), max(size / 2.5, d + 1.5)
    lap = float(rng.uniform(0.3, 1.0)) + 2 * corner
    state = rng.bit_generator.state
    clean = _slots(rng, -lap, depth, d, 1, half, pitch, corner)
    rng.bit_generator.state = state
    bad = _slots(rng, web, depth, d, 1, half, pitch, corner)
    return _twin(rng, clean, bad, Planted("sliver", web, "distance of paths - DC"))


def thin_wall(rng: Rng) -> Twin:
    """Size: the distance of the paths less DC."""
    pitch, size = pitch_and_size(rng)
    d = float(rng.uniform(3.0, 7.0))
    depth = float(rng.uniform(8.0, 11.0))
    web, half = depth / float(rng.uniform(15.7, 25.0)), max(size / 2.5, d + 3)
    levels = int(rng.integers(3, 6))
    state = rng.bit_generator.state
    clean = _slots(rng, web, depth, d, levels, half, pitch, 0.0)
    rng.bit_generator.state = state
    bad = _slots(rng, web, depth, d, 1, half, pitch, 0.0)
    planted = Planted("thin-wall", web, "distance of paths - DC", severity="note")
    return _twin(rng, clean, bad, planted, silly=web < 15.5 * THOU)


@dataclasses.dataclass(frozen=True)
class Cove:
    """Lines of a ball along the fillet between a floor and the wall y = 0, from the wall down.

    `up`: too high by that, `aside`: too near to the wall.
    """

    name: str
    tool: int
    floor: float
    fillet: float
    count: int
    reach: float
    up: float = 0.0
    aside: float = 0.0
    feed: float = 200.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        a = self.fillet - pen.plan.mills[self.tool].radius
        for k in range(self.count + 1):
            t = math.pi / 2 * (1 - k / self.count)
            y = self.fillet - a * math.sin(t) - self.aside
            z = self.floor + a * (1 - math.cos(t)) + self.up
            pen.down((-self.reach, y, z)).to((self.reach, y, z)).up()


def cove(rng: Rng) -> Twin:
    """Size: how far the ball is too low or too high, or into the wall."""
    pitch, size = pitch_and_size(rng)
    d = float(rng.uniform(4.0, 6.5))
    ball = Mill(2, "ball", d)
    mill = Mill(1, "flat", float(rng.uniform(5.0, 8.0)))
    fillet = d / 2 * float(rng.uniform(1.3, 1.8))
    floor, half = -fillet - float(rng.uniform(1.5, 3.0)), max(size / 2.5, fillet + 4)
    reach, r = half + 10, mill.radius
    rows = [half + 1 - 0.8 * mill.diameter * k for k in range(40)]
    rows = [y for y in rows if y > fillet + r + 0.05] + [fillet + r + 0.05]
    far = tuple(((-reach, y, floor), (reach, y, floor)) for y in rows)
    wall = (((-reach, r, floor + fillet), (reach, r, floor + fillet)),)
    count = int(rng.integers(14, 24))
    clean_cut = Cove("fillet", 2, floor, fillet, count, reach)
    cuts: tuple[Cut, ...] = (
        Strokes("floor", 1, far), Strokes("wall", 1, wall), clean_cut
    )  # fmt: skip
    plan = base(rng, cuts, {1: mill, 2: ball}, (half, half, -floor + 4), pitch)
    off = float(rng.uniform(0.35, 3.0)) * THOU
    kind = str(rng.choice(["low", "high", "wall", "register"]))
    bad = {
        "low": lambda: plan.all_changed("fillet", up=-off),
        "high": lambda: plan.all_changed("fillet", up=off),
        "wall": lambda: plan.all_changed("fillet", aside=-off),
        "register": lambda: plan.set(offsets=(("H2", -off),)),
    }[kind]()
    return _twin(rng, plan, bad, Planted("blend-step", off, f"{kind} by"))


# -------------------------------------------------------------------------------- moves, and models


def rapid(rng: Rng) -> Twin:
    """Size: how far below the top a rapid runs across."""
    pitch, size = pitch_and_size(rng)
    half, d = size / 2.5, float(rng.uniform(3.0, 6.0))
    deep = float(rng.uniform(0.005, 1.5))
    z = float(rng.uniform(1.0, 3.0))
    slot = Strokes("slot", 1, (((-half - d, -0.4 * half, -2.0), (half + d, -0.4 * half, -2.0)),))
    y = 0.55 * half

    def across(height: float) -> Across:
        return Across("across", 1, (-half - d, y, height), (half + d, y, height))

    mill = Mill(1, str(rng.choice(["flat", "ball"])), d)
    plan = base(rng, (slot, across(z)), {1: mill}, (half, half, 6.0), pitch)
    bad = plan.set(cuts=(slot, across(-deep)))
    return _twin(rng, plan, bad, Planted("rapid-in-stock", deep, "top - z", severity="stop"))


@dataclasses.dataclass(frozen=True)
class Across:
    """A rapid from one place to another, with a short stroke in the slot after it."""

    name: str
    tool: int
    start: XYZ
    end: XYZ
    feed: float = 200.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        pen.feed(self.feed)
        x, y, _ = self.start
        pen.rapid((x, y, pen.plan.clear)).rapid(self.start).rapid(self.end)
        pen.rapid((self.end[0], self.end[1], pen.plan.clear))


def plunge(rng: Rng) -> Twin:
    """Size: the metal under the axis; clean: drilled first, or a helix."""
    pitch, size = pitch_and_size(rng)
    half, d = size / 2.5, float(rng.uniform(3.0, 6.0))
    deep = float(rng.uniform(0.3, 3.0))
    x, y = (float(v) * half for v in rng.uniform(-0.3, 0.3, 2))
    mill = Strokes("pocket", 1, (((x, y, -deep), (x + 0.2 * half, y, -deep)),))
    drill = Mill(2, "drill", 0.7 * d, words=(("SIG", 118.0),))
    hole = Strokes("drill", 2, (((x, y, -deep - d),),))
    mills = {1: Mill(1, "flat", d), 2: drill}
    plan = base(rng, (hole, mill), mills, (half, half, deep + 3 * d), pitch)
    bad = plan.set(cuts=(mill,))
    return _twin(rng, plan, bad, Planted("plunge", deep, "depth", severity="note"))


@dataclasses.dataclass(frozen=True)
class Spindle:
    """A stroke before which the spindle is stopped, or not."""

    name: str
    tool: int
    stroke: tuple[XYZ, ...]
    stopped: bool
    feed: float = 200.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        pen.raw("M5" if self.stopped else "M3 S1200").feed(self.feed)
        pen.down(self.stroke[0]).to(*self.stroke[1:]).up()


def spindle(rng: Rng) -> Twin:
    """Size: the thickest layer taken while it stands."""
    pitch, size = pitch_and_size(rng)
    half, d = size / 2.5, float(rng.uniform(3.0, 6.0))
    deep, half = float(rng.uniform(0.2, 2.5)), max(half, d + 2.0)
    y = max(0.4 * half, d / 2 + 0.5)

    def stroke(y: float, z: float) -> tuple[XYZ, ...]:
        return ((-half - d, y, z), (half + d, y, z))

    first = Spindle("first", 1, stroke(-y, -1.0), False)
    second = Spindle("second", 1, stroke(y, -deep), False)
    plan = base(rng, (first, second), {1: Mill(1, "flat", d)}, (half, half, 6.0), pitch)
    bad = plan.all_changed("second", stopped=True)
    return _twin(rng, plan, bad, Planted("spindle-stopped", deep, "depth"))


def ramp(rng: Rng) -> Twin:
    """Size: the ramp's angle, degrees; the job allows less."""
    pitch, size = pitch_and_size(rng)
    half, d = size / 2.5, float(rng.uniform(3.0, 5.0))
    limit = float(rng.uniform(2.0, 6.0))
    angle, mild = limit * float(rng.uniform(1.1, 2.0)), limit * float(rng.uniform(0.4, 0.95))

    def cut(a: float) -> Strokes:
        fall = 1.0 * half * math.tan(math.radians(a))
        return Strokes("ramp", 1, (((-0.5 * half, 0, 0.0), (0.5 * half, 0, -fall)),))

    plan = base(rng, (cut(mild),), {1: Mill(1, "flat", d)}, (half, half, 8.0), pitch)
    plan = plan.set(ratios=(("ramp_angle", limit),))
    bad = plan.set(cuts=(cut(angle),))
    return _twin(rng, plan, bad, Planted("ramp-steep", angle, "angle", tol=1e-3, of="deg"))


@dataclasses.dataclass(frozen=True)
class Square:
    """Round a square with sharp corners, the wall outside; `slow`: feed near corners, over what."""

    name: str
    tool: int
    half: float
    z: float
    ccw: bool
    slow: tuple[float, float] | None = None
    feed: float = 200.0
    h: int | None = None

    def draw(self, pen: Pen) -> None:
        s = 1.0 if self.ccw else -1.0
        a = self.half
        pen.feed(self.feed).down((a, 0.0, self.z))
        at = (a, 0.0)
        for corner in ((a, s * a), (-a, s * a), (-a, -s * a), (a, -s * a), (a, 0.0)):
            if self.slow is not None:
                feed, over = self.slow
                far = math.dist(corner, at)
                for share in (min(over / far, 0.4), 1 - min(over / far, 0.4)):
                    to = tuple(p + share * (c - p) for p, c in zip(at, corner, strict=True))
                    pen.to((to[0], to[1], self.z)).feed(self.feed if share < 0.5 else feed)
            pen.to((*corner, self.z))
            at = corner
        off = a - 0.02 * pen.plan.mills[self.tool].radius
        pen.to((a, 0.3 * s * a, self.z), (off, 0.3 * s * a, self.z)).up()


def corner(rng: Rng) -> Twin:
    """Size: 90 degrees: sharp corners of the path, the straight's layer ahead too."""
    pitch, size = pitch_and_size(rng)
    d = 0.2 * size
    r = d / 2
    layer = float(rng.uniform(0.17, 0.25)) * r
    half = float(rng.uniform(0.25, 0.32)) * size
    ccw = bool(rng.random() < 0.6)
    z = -float(rng.uniform(2.0, 4.0))
    rough = Square("rough", 1, half - layer, z, ccw)
    finish = Square("finish", 2, half, z, ccw)
    # Width R (1 - cos) on the straight, R (1 + sin) in the corner.
    angle = math.acos(1 - layer / r)
    share = layer / r / (1 + math.sin(angle))
    slowly = dataclasses.replace(finish, slow=(share * finish.feed * 0.5, 1.6 * d))
    mills = {1: Mill(1, "flat", d), 2: Mill(2, "flat", d)}
    wide = 0.57 * size  # turned by 45 degrees the corners reach sqrt(2) half + r
    plan = base(rng, (rough, slowly), mills, (wide, wide, 8.0), pitch)
    bad = plan.set(cuts=(rough, finish))
    return _twin(rng, plan, bad, Planted("corner-bite", 90.0, "90 degrees", tol=0.01, of="deg"))


def top(rng: Rng) -> Twin:
    """Size: the faced level over or under [part] top."""
    pitch, size = pitch_and_size(rng)
    half, d = size / 2.5, float(rng.uniform(6.0, 9.0))
    off = float(rng.uniform(1.1, 8.0)) * THOU * float(rng.choice([-1.0, 1.0]))

    def plan(z: float) -> Plan:
        far = 1.42 * half + 1.0  # turned by 45 degrees, to the block's corners
        lines = Lines("face", 1, -0.5 + z, 0.7 * d, far + d, -far, far)
        made = base(rng, (lines,), {1: Mill(1, "flat", d)}, (half, half, 6.0), pitch)
        return made.set(part=(-0.5, -5.5), tolerance=1.0 * THOU)

    state = rng.bit_generator.state
    clean = plan(0.0)
    rng.bit_generator.state = state
    rule = "leftover" if off > 0 else "gouge"
    return _twin(rng, clean, plan(off), Planted(rule, abs(off), "|z - top|"))


def block_model(
    x: float, y: float, low: float, shoulder: float
) -> tuple[tuple[XYZ, XYZ, XYZ], ...]:
    """Return triangles of a block to z 0 whose half with x above 0 ends at `shoulder`."""
    section = [(-x, low), (x, low), (x, shoulder), (0.0, shoulder), (0.0, 0.0), (-x, 0.0)]
    front = [(a, -y, z) for a, z in section]
    back = [(a, y, z) for a, _, z in front]
    found: list[tuple[XYZ, XYZ, XYZ]] = []
    for a, b, c in ((0, 1, 2), (0, 2, 3), (0, 3, 5), (3, 4, 5)):
        found += [(front[a], front[b], front[c]), (back[a], back[c], back[b])]
    for k in range(6):
        n = (k + 1) % 6
        found += [(front[k], back[k], back[n]), (front[k], back[n], front[n])]
    return tuple(found)


def model(rng: Rng) -> Twin:
    """Size: what the shoulder's floor or wall is off the model by."""
    pitch, size = pitch_and_size(rng)
    x, y = size / 2.5, size / 3
    d = float(rng.uniform(5.0, 8.0))
    shoulder, low = -float(rng.uniform(1.5, 3.0)), -7.0
    tolerance = float(rng.uniform(0.5, 2.0)) * THOU
    off = tolerance * float(rng.uniform(1.3, 5.0)) * float(rng.choice([-1.0, 1.0]))
    r = d / 2

    def plan(floor: float, wall: float) -> Plan:
        rows = [x - 0.6 * d * k for k in range(20)]
        rows = [v for v in rows if v > r + wall + 0.5] + [r + wall]
        strokes = tuple(((v, -y - d, shoulder + floor), (v, y + d, shoulder + floor)) for v in rows)
        face = Lines("face", 1, 0.0, 0.7 * d, x + d, -y - 1, y + 1)
        cuts: tuple[Cut, ...] = (face, Strokes("shoulder", 1, strokes))
        made = base(rng, cuts, {1: Mill(1, "flat", d)}, (x, y, -low), pitch)
        stock = Block((-x, -y, low), (x, y, 0.5))
        return made.set(
            part=None, model=block_model(x, y, low, shoulder), tolerance=tolerance, stock=stock
        )

    state = rng.bit_generator.state
    clean = plan(0.0, 0.0)
    rng.bit_generator.state = state
    bad = plan(off, 0.0) if rng.random() < 0.5 else plan(0.0, off)
    rule = "leftover" if off > 0 else "gouge"
    bad = bad.set(unit=clean.unit, spindle=clean.spindle)
    planted = Planted(rule, abs(off), "what the shoulder is off by", severity="spoils")
    return Twin(moved(clean, Frame()), moved(bad, Frame()), planted)


MISTAKES = {
    "scallops": scallops, "floor marks": floor_marks, "sliver": sliver, "thin wall": thin_wall,
    "cove": cove, "rapid": rapid, "plunge": plunge, "spindle stopped": spindle, "ramp": ramp,
    "corner": corner, "top": top, "model": model,
}  # fmt: skip
