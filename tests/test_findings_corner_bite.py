"""Inside corners met too fast: angles by plane geometry; feeds that fall, light cuts, the demo."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import Nc, number, tool, words, write_job
from helpers_twins import found
from proud.cli.review import change_text

ROOT = Path(__file__).resolve().parent.parent
R = 4.0
TOOLS = [
    tool(1, "flat", 2 * R), tool(2, "bull", 2 * R, RE=0.5), tool(3, "ball", 2 * R),
    tool(4, "flat", 4.0), tool(5, "flat", 2 * R + 2),
]  # fmt: skip
PITCHES = (0.025, 0.2, 1.7)
DEPTH = -4.0
DEGREES = 0.01
FEED = 100.0


def ring(nc: Nc, half: float, z: float = DEPTH, slow: float | None = None, over: float = 0) -> Nc:
    """Round a square counter-clockwise, from the middle of its right side: the wall on the right.

    slow: the feed over the last `over` before each corner, and over as much after it.
    """
    nc.down((half, 0, z))
    corners = [(half, half), (-half, half), (-half, -half), (half, -half)]
    at = (half, 0.0)
    for corner in [*corners, (half, 0.0)]:
        way = [(c - a) / math.dist(corner, at) for a, c in zip(at, corner, strict=True)]
        ends = [(corner, FEED)]
        if slow is not None:
            early = tuple(c - over * w for c, w in zip(corner, way, strict=True))
            ends = [(early, FEED), (corner, slow)]
        for (x, y), feed in ends:
            nc.raw(f"G1 X{number(x)} Y{number(y)} F{number(feed)}")
        at = corner
    return nc.up()


def pocket(side: float, finisher: int = 1, *, small: float = 0.0, **feeds: float) -> Nc:
    """A square roughed with `side` left on its walls, and finished; `small` more at its half."""
    nc = ring(Nc().tool(1, "rough"), 9.0 - side)
    return ring(nc.tool(finisher, "finish"), 9.0 + small, **feeds)


def job_of(folder: Path, nc: Nc | str, pitch: float = 0.7, **more: str) -> proud.Job:
    low, high = (-16.0, -16.0, -6.0), (16.0, 16.0, 0.0)
    return write_job(folder, nc, TOOLS, low=low, high=high, pitch=pitch, **more)


def angles(side: float) -> tuple[float, float]:
    """Return engagement on the straight and in a sharp corner, degrees, of a tool of one size.

    In the corner the tool is in metal from dead right, where the wall ends behind it, to dead
    ahead, and past that as far as the layer on the wall ahead reaches: 90 more than on a straight.
    """
    straight = math.degrees(math.acos(1 - side / R))
    return straight, 90 + straight


@pytest.mark.parametrize("pitch", PITCHES)
@pytest.mark.parametrize("share", [0.15, 0.2, 0.25])
def test_a_sharp_corner_from_a_side_cut(tmp_path: Path, share: float, pitch: float) -> None:
    straight, corner = angles(share * R)
    (finding,) = found(job_of(tmp_path, pocket(share * R), pitch), "corner_bite")
    assert (finding.rule, finding.severity, finding.of) == ("corner-bite", "watch", "deg")
    assert finding.size == pytest.approx(corner - straight, abs=DEGREES)
    assert finding.at[2] == DEPTH
    assert max(abs(v) for v in finding.at[:2]) == pytest.approx(9.0)
    assert (finding.tool, finding.pass_number) == (1, 2)
    assert "in 4 inside corners" in finding.text


def test_the_worked_square(tmp_path: Path) -> None:
    """A layer of R/5: 36.87 degrees (3-4-5) on the straight, 126.87 in the corner."""
    (finding,) = found(job_of(tmp_path, pocket(0.2 * R)), "corner_bite")
    assert finding.size == pytest.approx(126.8699 - 36.8699, abs=DEGREES)
    # Width R (1 - cos) = R/5 on the straight, R (1 + sin 36.87) = 1.6 R in the corner.
    assert finding.change
    assert finding.change.before == FEED
    assert finding.change.after == pytest.approx(FEED * 0.2 / 1.6, rel=1e-3)
    assert finding.change.what.startswith("F over the last ")
    assert "8.0 times the metal" in finding.text
    assert finding.change.seconds
    assert finding.change.seconds > 0


@pytest.mark.parametrize("finisher", [1, 2])
def test_its_cure_leaves_nothing(tmp_path: Path, finisher: int) -> None:
    bad = pocket(0.2 * R, finisher)
    (finding,) = found(job_of(tmp_path / "bad", bad), "corner_bite")
    assert finding.change
    slow, what = finding.change.after, finding.change.what
    assert isinstance(slow, float)
    over = float(what.split("the last ")[1].split(" ")[0])
    assert int(what.rsplit(" ", 1)[1]) in range(finding.lines[0], finding.lines[1] + 1)
    cured = pocket(0.2 * R, finisher, slow=slow, over=over)
    assert not found(job_of(tmp_path / "cured", cured), "corner_bite")
    slower = pocket(0.2 * R, finisher, slow=slow / 5, over=2 * over)
    assert not found(job_of(tmp_path / "slower", slower), "corner_bite")
    short = pocket(0.2 * R, finisher, slow=slow, over=over / 20)  # too late
    assert len(found(job_of(tmp_path / "short", short), "corner_bite")) == 1
    quick = pocket(0.2 * R, finisher, slow=FEED * 0.6, over=over)  # not enough
    assert len(found(job_of(tmp_path / "quick", quick), "corner_bite")) == 1


@pytest.mark.parametrize("layer", [0.6, 0.8, 1.1, 1.3])
@pytest.mark.parametrize("corners", [1, 4])
def test_run_ins_of_corners_are_not_borne(tmp_path: Path, layer: float, corners: int) -> None:
    """A bigger tool roughs, a smaller one runs into 1 or 4 corners of its round, and F stays.

    On the way into a corner the load rises over most of a radius: four of them are longer than
    `SLOTS` diameters. At the corner's point the side is in metal from dead right to dead ahead and
    as far again as on the straight: width R (1 + sin) over the layer.
    """
    nc = ring(Nc().tool(5, "rough"), 9.0 + R - (R + 1) - layer).tool(1, "finish")
    nc.raw(f"F{number(FEED)}")
    ends = [(9.0, 9.0), (-9.0, 9.0), (-9.0, -9.0), (9.0, -9.0), (9.0, 0)]
    nc.stroke(
        (9.0, -4.0 if corners == 1 else 0.0, DEPTH),
        *((x, y, DEPTH) for x, y in ([*ends[:1], (4.0, 9.0)] if corners == 1 else ends)),
    )
    (finding,) = found(job_of(tmp_path, nc), "corner_bite")
    straight = math.radians(angles(layer)[0])
    assert finding.size == pytest.approx(90.0, abs=DEGREES)
    assert f"in {corners} inside" in finding.text
    assert finding.change
    assert finding.change.after == pytest.approx(
        FEED * layer / (R * (1 + math.sin(straight))), rel=1e-3
    )


def test_conventional_and_inches(tmp_path: Path) -> None:
    """The wall on the left, run clockwise; feeds in inches a minute."""
    nc = Nc("in", clear=1.0).tool(1, "rough").raw("F20")
    for name, half in (("", 0.352 - 0.035), ("finish", 0.352)):
        nc = nc.heading(name) if name else nc
        points = [(half, 0), (half, -half), (-half, -half), (-half, half), (half, half), (half, 0)]
        nc.stroke(*((x, y, -0.15) for x, y in points))
    job = write_job(
        tmp_path, nc, [tool(1, "flat", 0.25)], low=(-0.6, -0.6, -0.3), high=(0.6, 0.6, 0),
        pitch=0.03, unit="in",
    )  # fmt: skip
    (finding,) = found(job, "corner_bite")
    assert finding.size == pytest.approx(90.0, abs=DEGREES)
    straight = math.acos(1 - 0.035 / 0.125)
    assert finding.change
    row = finding.change.as_dict("in")
    wide = 1 + math.sin(straight)
    assert row["from"] == pytest.approx(20.0)
    assert row["to"] == pytest.approx(20.0 * (0.035 / 0.125) / wide, rel=1e-3)
    assert "in of line" in row["what"]
    assert change_text(finding.change, "in").split(";")[0] == (
        f"{row['what']} from 20 in/min to {row['to']:.3g} in/min"
    )


@pytest.mark.parametrize("seed", range(4))
def test_a_pocket_at_any_angle(tmp_path: Path, seed: int) -> None:
    """A rectangle turned, run either way round; then the same with a light layer."""
    rng = np.random.default_rng(seed)
    angle, way = rng.uniform(0, math.pi), rng.choice([-1.0, 1.0])
    wide, high = rng.uniform(5.0, 8.0, 2)
    c, s = math.cos(angle), math.sin(angle)
    for layer, count in ((rng.uniform(0.15, 0.22) * R, 1), (rng.uniform(0.02, 0.1) * R, 0)):
        nc = Nc().tool(1, "rough")
        for name, off in (("", layer), ("finish", 0.0)):
            nc = nc.heading(name) if name else nc
            a, b = wide - off, way * (high - off)
            points = [(a, 0), (a, b), (-a, b), (-a, -b), (a, -b), (a, 0)]
            nc.stroke(*((c * x - s * y, s * x + c * y, DEPTH) for x, y in points))
        rows = found(job_of(tmp_path / str(count), nc), "corner_bite")
        assert [r.size for r in rows] == pytest.approx([90.0] * count, abs=DEGREES)


def test_one_finding_for_all_levels(tmp_path: Path) -> None:
    nc = ring(Nc().tool(1, "rough"), 9.0 - 0.8)
    nc.tool(1, "down 1")
    ring(nc, 9.0, -2.0)
    ring(nc.heading("down 2"), 9.0, -4.0)
    (finding,) = found(job_of(tmp_path, nc), "corner_bite")
    assert "in 8 inside corners" in finding.text
    assert "in passes 2, 3" in finding.text


def rounded(nc: Nc, half: float, arc: float, slow: float = FEED, over: float = 0.0) -> Nc:
    """Round a square whose path has arcs in its corners, at a feed of their own.

    The arcs are `slow`, and so is the path over the last `over` before each.
    """
    nc.down((half, 0, DEPTH))
    start, c = (half, 0.0), half - arc
    for a, b in ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)):
        x, y = half * a - c * b, half * b + c * a  # where the arc begins, the way being (-b, a)
        for back, feed in ((over, FEED), (0.0, slow)):
            nc.raw(f"G1 {words('XY', (x + b * back, y - a * back))} F{number(feed)}")
        to = (c * a - half * b, c * b + half * a)
        nc.raw(f"G3 {words('XY', to)} {words('IJ', (-arc * a, -arc * b))} F{number(slow)}")
    return nc.raw(f"G1 {words('XY', start)} F{number(FEED)}").up()


SMALL, LAYER, PATH_ARC = 2.0, 0.8, 0.5


def fillet_pocket(slow: float = FEED, over: float = 0.0) -> Nc:
    """Roughed with a smaller tool, an even layer left; the finisher's path has little arcs."""
    nc = Nc().tool(4, "rough")
    for half, arc in ((7.0, 0.5), (13 - LAYER - SMALL, R + PATH_ARC - LAYER - SMALL)):
        rounded(nc, half, arc)
    return rounded(nc.tool(1, "finish"), 9.0, PATH_ARC, slow, over)


def by_shapely() -> tuple[float, float]:
    """Return most degrees in metal in the fillet pocket's first corner, and on the straight."""
    import shapely
    from shapely.geometry import LineString, box

    def square(half: float, arc: float) -> shapely.Polygon:
        return box(arc - half, arc - half, half - arc, half - arc).buffer(arc, quad_segs=4000)

    outer = square(13 - LAYER, R + PATH_ARC - LAYER)
    cleared = outer.difference(square(5.0, 0.0001))
    angle = np.radians(np.arange(-90, 90, 0.05))
    found = []
    mid = 9 - PATH_ARC
    turns = np.radians(np.linspace(0, 90, 91))
    arc = np.stack([mid + PATH_ARC * np.cos(turns), mid + PATH_ARC * np.sin(turns)], axis=1)
    for k in range(len(turns)):
        gone = cleared.union(LineString([(9.0, 0.0), *arc[: k + 1]]).buffer(R - 1e-3, quad_segs=99))
        heading = turns[k] + math.pi / 2
        rim = arc[k] + R * np.stack([np.cos(heading + angle), np.sin(heading + angle)], axis=1)
        found.append(0.05 * float((~shapely.contains_xy(gone, rim)).sum()))
    return max(found), math.degrees(math.acos(1 - LAYER / R))


def test_a_fillet_little_bigger_than_the_tool(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path / "bad", fillet_pocket()), "corner_bite")
    corner, straight = by_shapely()
    assert finding.size == pytest.approx(corner - straight, abs=0.2)
    change = finding.change
    assert change
    assert isinstance(change.after, float)
    over = float(change.what.removeprefix("F over ").split(" ")[0])
    assert change.what.startswith(f"F over {over} mm in the corner, lines ")
    cured = fillet_pocket(change.after, over)
    assert not found(job_of(tmp_path / "cured", cured), "corner_bite")


def test_silent_twins(tmp_path: Path) -> None:
    wide = rounded(Nc().tool(1, "rough"), 9.0 - 0.8, 4.0 - 0.8)
    rounded(wide.heading("finish"), 9.0, 4.0)  # a fillet of twice the tool's radius
    outside = Nc().tool(1, "boss")
    for out in (0.8, 0.0):  # round a boss that stands in the stock's middle: outer corners
        ring(outside, 12.0 + out)
    half = ring(ring(Nc().tool(1, "rough"), 5.0), 9.0)  # half a diameter wide
    both = ring(ring(Nc().tool(1, "slots, then its walls, at one feed"), 8.2), 9.0)
    cases = {
        "slots and finishes": both, "slots everywhere": ring(Nc().tool(1, "rough"), 9.0),
        "light": pocket(0.25), "wide fillet": wide, "outside": outside, "half": half,
        "spring": ring(pocket(0.25).heading("spring"), 9.0),
        "ball": ring(ring(Nc().tool(3, "rough"), 8.2), 9.0),
        "floor": ring(ring(Nc().tool(1, "rough"), 9.0), 9.0, DEPTH - 0.1),
    }  # fmt: skip
    for name, nc in cases.items():
        assert not found(job_of(tmp_path / name, nc), "corner_bite"), name


def test_a_job_may_set_the_margins(tmp_path: Path) -> None:
    job = job_of(tmp_path, pocket(0.2 * R))
    assert len(found(job, "corner_bite")) == 1
    job.spec.margins["corner_load"] = 10.0
    assert not found(job, "corner_bite")


@pytest.mark.parametrize("folder", ["first_try", "second_try"])
@pytest.mark.parametrize("source", ["job.toml", "job_passes.toml"])
def test_the_demo(folder: str, source: str) -> None:
    assert not found(proud.load(ROOT / "demo_parts" / folder / source), "corner_bite")


def test_a_corner_twice_what_the_pass_bears_elsewhere(tmp_path: Path) -> None:
    """Half a diameter along a front, then a light straight into a corner: 1.6 R after R."""
    nc = ring(Nc().tool(1, "rough"), 9.0 - 0.2 * R).heading("all of it").raw(f"F{number(FEED)}")
    nc.stroke((-30, 16.0, DEPTH), (30, 16.0, DEPTH))
    assert not found(job_of(tmp_path / "borne", ring(nc, 9.0)), "corner_bite")
    alone = ring(ring(Nc().tool(1, "rough"), 9.0 - 0.2 * R).heading("all of it"), 9.0)
    assert len(found(job_of(tmp_path / "alone", alone), "corner_bite")) == 1


def test_rounds_of_a_rougher_are_a_note(tmp_path: Path) -> None:
    """A round 0.2 R outside the first; a finish takes its wall, or nothing does."""
    first, second = 7.0, 7.0 + 0.2 * R
    rough = ring(ring(Nc().tool(1, "open"), first).heading("rough"), second).lines
    # T4 is half as big; 0.05 deeper into the wall it is slow all the way.
    finish = ring(Nc().tool(4, "finish"), second + R / 2 + 0.05).raw("").lines[1:]
    slow = [line.replace(f"F{number(FEED)}", "F1") for line in finish]
    for lines, severity in ((rough, "watch"), (rough + slow, "note")):
        nc = "\n".join([*lines, "M30", ""])
        # T4 itself meets the rounds that T1 left in the corners: a finding of its own.
        every = found(job_of(tmp_path / severity, nc), "corner_bite")
        (finding,) = (f for f in every if f.tool == 1)
        assert (finding.tool, finding.pass_number, finding.severity) == (1, 2, severity)
        assert finding.size == pytest.approx(90.0, abs=DEGREES)
