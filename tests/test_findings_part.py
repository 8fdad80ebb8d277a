"""Gouge and leftover: a stepped block, twins of known size; facets; the part's top; the demo."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, tool, write_job
from helpers_twins import TENTH, THOU, found

ROOT = Path(__file__).resolve().parent.parent
FLAT = [tool(1, "flat", 6.0), tool(2, "flat", 6.0)]
BULL = [FLAT[0], tool(2, "bull", 6.0, RE=1.0)]
SECTION = [(-10, -8), (10, -8), (10, -3), (0, -3), (0, 0), (-10, 0)]
"""The part in x and z: its top at 0, a shoulder at -3 from x 0 to 10; y from -5 to 5."""
CAPS = [(0, 1, 2), (0, 2, 3), (0, 3, 5), (3, 4, 5)]
TOLERANCE = 0.02

Triangle = Sequence[Sequence[float]]


def write_stl(path: Path, triangles: Iterable[Triangle]) -> None:
    rows = ["solid part"]
    for triangle in triangles:
        rows += ["facet normal 0 0 0", "outer loop"]
        rows += [f"vertex {x!r} {y!r} {z!r}" for x, y, z in triangle]
        rows += ["endloop", "endfacet"]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([*rows, "endsolid part", ""]), encoding="ascii")


def stepped() -> list[Triangle]:
    front = [(float(x), -5.0, float(z)) for x, z in SECTION]
    back = [(x, 5.0, z) for x, _, z in front]
    found: list[Triangle] = []
    for a, b, c in CAPS:
        found += [(front[a], front[b], front[c]), (back[a], back[c], back[b])]
    for k in range(6):
        n = (k + 1) % 6
        found += [(front[k], back[k], back[n]), (front[k], back[n], front[n])]
    return found


def program(top: float = 0.0, floor: float = -3.0, wall: float = 0.0, side: float = 0.0) -> Nc:
    """Face, profile and shoulder; `wall` and `side`: what stays on the step and round the part."""
    nc = Nc().tool(1, "face")
    for y in (-6.0, -2.0, 2.0, 6.0):
        nc.stroke((-20, y, top), (20, y, top))
    x, y = 13 + side, 8 + side
    nc.heading("profile").stroke((-x, -20, -8.2), (-x, y, -8.2), (x, y, -8.2), (x, -y, -8.2),
                                 (-20, -y, -8.2))  # fmt: skip
    nc.tool(2, "shoulder")
    for x in (11.0, 7.0, 3.0 + wall):
        nc.stroke((x, -20, floor), (x, 20, floor))
    return nc


def job_of(
    folder: Path,
    nc: Nc,
    *,
    tools: list[str] = FLAT,
    pitch: float = 0.7,
    part: str = f'model = "part.stl"\ntolerance = {TOLERANCE}',
    mesh: Iterable[Triangle] | None = None,
    **more: str,
) -> proud.Job:
    write_stl(folder / "part.stl", stepped() if mesh is None else mesh)
    block = 'shape = "block"\nlow = [-12.0, -7.0, -8.0]\nhigh = [12.0, 7.0, 0.5]'
    stock = f"{block}\n\n[part]\n{part}"
    return write_job(folder, nc, tools, stock=stock, pitch=pitch, **more)


def test_the_clean_part_is_silent(tmp_path: Path) -> None:
    assert not found(job_of(tmp_path, program()), "part")


OFF = {
    "floor": ({"floor": -3.0}, 2, "Z of pass 3"),
    "wall": ({"wall": 0.0}, 2, "side allowance of pass 3"),
    "side": ({"side": 0.0}, 1, "side allowance of pass 2"),
    "top": ({"top": 0.0}, 1, "Z of pass 1"),
}


@pytest.mark.parametrize("off", [0.0254, -0.0254, 0.3, -0.3])
@pytest.mark.parametrize("name", OFF)
def test_a_face_is_off(tmp_path: Path, name: str, off: float) -> None:
    right, tool_number, what = OFF[name]
    (key, value) = next(iter(right.items()))
    finding, *others = found(job_of(tmp_path / "bad", program(**{key: value + off})), "part")
    assert not others
    assert finding.rule == ("leftover" if off > 0 else "gouge")
    assert (finding.severity, finding.tool, finding.sure) == ("spoils", tool_number, "exact")
    assert finding.size == pytest.approx(abs(off), abs=TENTH / 100)
    assert finding.change
    assert finding.change.what.startswith(what)
    change = finding.change
    assert isinstance(change.before, float)
    assert isinstance(change.after, float)
    cured = value + off + (change.after - change.before)
    assert cured == pytest.approx(value, abs=1e-6)
    assert not found(job_of(tmp_path / "cured", program(**{key: cured})), "part")


def test_within_tolerance_is_silent_and_the_default_is_a_margin(tmp_path: Path) -> None:
    nc = program(floor=-3.015)
    assert not found(job_of(tmp_path / "in", nc), "part")
    bare = 'model = "part.stl"'
    four, six = program(floor=-3 - 4 * THOU), program(floor=-3 - 6 * THOU)
    assert not found(job_of(tmp_path / "4", four, part=bare), "part")
    assert found(job_of(tmp_path / "6", six, part=bare), "part")
    setup = '\n[margins]\npart_tolerance = "7 thou"'
    assert not found(job_of(tmp_path / "7", six, part=bare, setup=setup), "part")


def test_the_register_that_is_off_is_named(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, program(), offsets='H2 = "2 thou"'), "part")
    assert (finding.rule, finding.size) == ("leftover", pytest.approx(2 * THOU))
    assert finding.change
    assert finding.change.what == "H2"
    assert (finding.change.before, finding.change.after) == (pytest.approx(2 * THOU), 0.0)


def test_what_a_corner_radius_leaves_in_a_sharp_corner_is_a_note(tmp_path: Path) -> None:
    (finding,) = found(job_of(tmp_path, program(), tools=BULL), "part")
    assert (finding.rule, finding.severity) == ("leftover", "note")
    assert "sharp corner" in finding.text
    worse = found(job_of(tmp_path / "high", program(floor=-2.9), tools=BULL), "part")
    assert [(f.rule, f.severity) for f in worse] == [("leftover", "spoils")]
    assert worse[0].size == pytest.approx(0.1, abs=1e-9)


def test_faces_that_no_tool_has_come_near_are_silent(tmp_path: Path) -> None:
    nc = Nc().tool(1, "face")
    for y in (-6.0, -2.0, 2.0, 6.0):
        nc.stroke((-20, y, 0), (20, y, 0))
    assert not found(job_of(tmp_path, nc), "part")


def boss(n: int, radius: float) -> list[Triangle]:
    ring = [(radius * math.cos(a), radius * math.sin(a)) for a in
            (2 * math.pi * k / n for k in range(n))]  # fmt: skip
    low, high = [(x, y, -8.0) for x, y in ring], [(x, y, 0.5) for x, y in ring]
    rows: list[Triangle] = []
    for k in range(n):
        m = (k + 1) % n
        rows += [(low[k], low[m], high[m]), (low[k], high[m], high[k])]
        rows += [((0, 0, -8.0), low[m], low[k]), ((0, 0, 0.5), high[k], high[m])]
    return rows


@pytest.mark.parametrize("n", [16, 60])
def test_facets_of_a_round_boss_are_no_leftover(tmp_path: Path, n: int) -> None:
    """A facet's middle is R (1 - cos(pi / n)) inside the circle that is cut."""
    part = 'model = "part.stl"\ntolerance = "1 thou"'
    sag = 6 * (1 - math.cos(math.pi / n))
    ring = Nc().tool(1, "boss").arc((9, 0, -8.2), (9, 0, -8.2), (0, 0), "cw")
    mesh = boss(n, 6.0)
    assert sag > (THOU if n == 16 else 0)
    assert not found(job_of(tmp_path / "right", ring, part=part, mesh=mesh), "part")
    fat = Nc().tool(1, "boss").arc((9.1, 0, -8.2), (9.1, 0, -8.2), (0, 0), "cw")
    (finding,) = found(job_of(tmp_path / "fat", fat, part=part, mesh=mesh), "part")
    assert finding.rule == "leftover"
    assert 0.1 - 1e-6 <= finding.size <= 0.1 + sag + 1e-6
    assert "facets" in finding.sure


@pytest.mark.parametrize("pitch", [0.3, 0.7, 1.9])
@pytest.mark.parametrize("off", [0.0508, -0.0508])
def test_against_the_top_alone(tmp_path: Path, off: float, pitch: float) -> None:
    part = f"top = 0\nbottom = -8\ntolerance = {TOLERANCE}"
    assert not found(
        job_of(tmp_path / "right", program(), part=part, pitch=pitch), "part", run=True
    )
    job = job_of(tmp_path / "off", program(top=off), part=part, pitch=pitch)
    (finding,) = found(job, "part", run=True)
    assert finding.rule == ("leftover" if off > 0 else "gouge")
    assert (finding.severity, finding.pass_number) == ("watch", 1)
    assert finding.size == pytest.approx(abs(off), abs=1e-9)
    assert finding.change
    assert finding.change.after == pytest.approx(0.0)


def test_a_job_that_says_nothing_of_the_part(tmp_path: Path) -> None:
    assert not found(write_job(tmp_path, program(top=0.3), FLAT), "part")


def test_the_demo_is_within_its_tolerance() -> None:
    for attempt in ("first_try", "second_try"):
        job = proud.load(ROOT / f"demo_parts/{attempt}/job.toml")
        assert not found(job, "part")


@pytest.mark.parametrize("wall", [0.4, -0.4])
def test_a_wall_that_is_off_is_measured_square_to_it(tmp_path: Path, wall: float) -> None:
    """Beside its edge the shoulder is 3 too high, or the top 3 too low; that is the wall's."""
    (finding,) = found(job_of(tmp_path, program(wall=wall)), "part")
    assert finding.size == pytest.approx(0.4, abs=TENTH / 100)
