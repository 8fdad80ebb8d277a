"""Pass lists written as plain programs and read back: the same moves to the last written digit."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import proud
import proud.passes
import pytest
import shapely
from helpers_passes import EXAMPLE_TOOLS, EXAMPLE_TOP, example
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.errors import BadInput
from proud.moves import ARC, LINE, MoveList, Moves, Pass, Program
from proud.passes import PassSettings, read_passes
from proud.passes.write import DIGITS, MARK, comment_text, program_text
from proud.program import ReaderSettings, read_text
from proud.tools import Tool

PER = {"in": 25.4, "mm": 1.0}
TOOLS = {
    1: Tool(1, "Flat 6", "flat", 6.0),
    2: Tool(2, "Bull 12", "bull", 12.0, corner_radius=1.5),
    3: Tool(3, "Ball 6", "ball", 6.0),
    4: Tool(4, "Drill 5", "drill", 5.0, point_angle=118.0),
}
ALLOWED = re.compile(
    r"(%|G17 G2[01] G90 G94|T\d+ M6|G43 H\d+|S[\d.]+ M3|M30|\([^()\[\]{}]+\)|G[0-3]( [XYZIJF]-?\d+\.\d*)+|)"
)


def unit_mm(unit: str) -> float:
    """Return one unit of the last digit that is written, mm."""
    return PER[unit] * 10 ** -DIGITS[unit]


def back(
    program: Program, unit: str, top: float = 0.0, zero=(0.0, 0.0, 0.0)
) -> tuple[str, Program]:
    """Return a program's text, and what the reader makes of it."""
    text = program_text(program, unit=unit, stock_top=top, zero=zero)
    tools = {n: f"tool {n}" for n in range(1, 9)}
    given = ReaderSettings(unit=unit, tools=tools, stock_top=top, work_offsets={"G54": zero})
    return text, read_text(text, given)


def joined(own: Moves, read: Moves, first: bool) -> Moves:
    """Return what was read of a pass without the rapids that lead to it and away from it."""
    assert len(read) >= len(own)
    lead = 0 if first else 1
    rest = read[lead + len(own) :]
    assert len(rest) <= 1
    for extra in (read[:lead], rest):
        assert extra.rapid.all()
        assert (extra.kind == LINE).all()
    assert (rest.start[:, :2] == rest.end[:, :2]).all()
    assert (rest.end[:, 2] >= rest.start[:, 2]).all()
    return read[lead : lead + len(own)]


def check_same(listed: Program, read: Program, unit: str) -> None:
    """Every pass with its name, tool and moves, each number within one unit of the last digit."""
    one = unit_mm(unit)
    assert [(p.number, p.tool, p.name) for p in read.passes] == [
        (p.number, p.tool, comment_text(p.name)) for p in listed.passes
    ]
    for row in listed.passes:
        own = listed.moves[listed.moves.pass_number == row.number]
        got = read.moves[read.moves.pass_number == row.number]
        got = joined(own, got, row.number == 1)
        for name in ("kind", "rapid", "tool", "h_register"):
            np.testing.assert_array_equal(getattr(got, name), getattr(own, name), err_msg=name)
        np.testing.assert_allclose(got.end, own.end, rtol=0, atol=0.500001 * one)
        np.testing.assert_allclose(got.start[1:], own.start[1:], rtol=0, atol=0.500001 * one)
        np.testing.assert_allclose(got.center, own.center, rtol=0, atol=0.500001 * one)
        np.testing.assert_allclose(got.feed, own.feed, rtol=1e-6)
        np.testing.assert_allclose(got.spindle, own.spindle, rtol=1e-6)
        radius = np.hypot(*(own.end[:, :2] - own.center).T)
        off = np.abs(got.turn - own.turn) * np.where(own.kind == ARC, radius, 0.0)
        assert off.max() <= 3 * one


# -------------------------------------------------------------------------------------- by hand

LIST = """\
[[passes]]
name = "Face (top) [1]"
tool = 2
operation = "face"
feed = 400
spindle = 3000
rectangle = { low = [0, 0], high = [20, 10] }
bottom = -0.5
radial_cutting_depth = 8

[[passes]]
name = "Bore"
tool = 1
operation = "contour"
feed = 300
plunge_feed = 100
spindle = 8000
side = "inside"
circle = { center = [10, 5], diameter = 9 }
bottom = -3
approach = { kind = "arc", radius = 1 }
"""


def listed(folder, text: str, unit: str = "mm", **more: object) -> Program:
    path = folder / "passes.toml"
    path.write_text(text)
    given = {"tools": TOOLS, "d_errors": {}, "stock_top": 0.0, **more}
    return read_passes(path, PassSettings(unit=unit, **given))


def test_the_text_of_a_small_list(tmp_path):
    program = listed(tmp_path, LIST)
    text, read = back(program, "mm")
    check_same(program, read, "mm")
    lines = text.splitlines()
    assert lines[:2] == ["%", MARK]
    assert "DO NOT RUN IT TO CUT METAL" in text
    assert lines[-2:] == ["M30", "%"]
    assert lines[lines.index("T2 M6") :][:8] == [
        "T2 M6", "(PROUD PASS Face top 1)", "G43 H2", "S3000 M3", "G0 X-7. Y3.5", "G0 Z5.", "G0 Z1.", "G1 Z-0.5 F400.",
    ]  # fmt: skip
    # The bore of 9 with the cutter of 6: the axis on R 1.5, a full circle by I and J.
    assert "G3 X11.5 Y5. I-1.5 J0." in text
    assert [line for line in lines if not ALLOWED.fullmatch(line)] == []


def test_in_inches(tmp_path):
    text = LIST.replace("cutting_depth = 8", "cutting_depth = 0.3")
    program = listed(tmp_path, text, "in")
    text, read = back(program, "in")
    check_same(program, read, "in")
    assert "G17 G20 G90 G94" in text
    assert "INCHES, 5 DECIMALS" in text


def test_places_count_from_the_job_s_own_zero(tmp_path):
    program = listed(tmp_path, LIST)
    text, read = back(program, "mm", zero=(100.0, -20.0, 3.0))
    check_same(program, read, "mm")
    assert "G0 X-107. Y23.5" in text
    assert "G0 Z2." in text


def test_d_errors_are_in_the_paths(tmp_path):
    program = listed(tmp_path, LIST, d_errors={1: 0.25})
    text, read = back(program, "mm")
    check_same(program, read, "mm")
    assert "G3 X11.25 Y5. I-1.25 J0." in text


def test_names_that_a_comment_can_t_hold(tmp_path):
    names = [
        "(",
        "a) G1 X5 (b",
        "[x] {y}",
        "%",
        "; G0 Z-9",
        "PROUD SAME PASS",
        "MSG, hello",
        "tab\\there",
        "Ø 8 öffnen",
        "/1",
    ]
    text = "".join(
        f'[[passes]]\nname = "{name}"\ntool = 1\nfeed = 1\noperation = "drill"\npoints = [[{n}, 0]]\nbottom = -1\n'
        for n, name in enumerate(names)
    )
    program = listed(tmp_path, text)
    written, read = back(program, "mm")
    assert [p.name for p in read.passes] == [
        "PASS 1", "a G1 X5 b", "x y", "%", "; G0 Z-9", "PROUD SAME PASS", "MSG, hello", "tab here", "Ø 8 öffnen", "/1",
    ]  # fmt: skip
    assert len(read.moves) == len(program.moves) + len(names) - 1
    assert [line for line in written.splitlines() if not ALLOWED.fullmatch(line)] == []


def test_a_low_plane_is_left_before_the_next_pass(tmp_path):
    """Rapids at different heights: from pass to pass the tool goes at the highest, over the stock."""
    text = "".join(
        f'[[passes]]\nname = "p{n}"\ntool = 1\nfeed = 1\noperation = "drill"\npoints = [[{n}, 0]]\nbottom = -3\ntop = -2\nretract_plane = {plane}\n'
        for n, plane in enumerate([-1, 7, -1])
    )
    program = listed(tmp_path, text)
    written, read = back(program, "mm")
    check_same(program, read, "mm")
    assert (
        written.count("G0 Z7.") == 4
    )  # up from the first; to the second's plane, up again; the end


def test_every_operation_of_the_documentation_s_example(tmp_path):
    program = listed(tmp_path, example(), "in", tools=EXAMPLE_TOOLS, stock_top=EXAMPLE_TOP)
    text, read = back(program, "in", EXAMPLE_TOP)
    check_same(program, read, "in")
    assert [line for line in text.splitlines() if not ALLOWED.fullmatch(line)] == []


def test_a_pass_that_never_feeds_is_refused(tmp_path):
    text = '[[passes]]\nname = "p"\ntool = 1\nfeed = 1\noperation = "path"\nretract_plane = 5\nstrokes = [[[0, 0, 5], [0, 0, 5]]]\n'
    with pytest.raises(BadInput, match='pass 1 "p" makes no feed move'):
        back(listed(tmp_path, text), "mm")


# --------------------------------------------------------------------------------- random lists

LENGTH = st.integers(1, 400_000).map(lambda n: n / 10_000 + n / 7e9)
"""Lengths up to 40 mm with more digits than are written."""
PLACE = st.tuples(st.floats(-30, 30), st.floats(-30, 30)).map(lambda p: [round(v, 7) for v in p])


@st.composite
def one_pass(draw) -> str:
    keys = [f'name = "p {draw(st.integers(0, 99))}"', f"feed = {draw(st.floats(0.01, 5000)):.6f}"]
    keys += [f"spindle = {draw(st.integers(0, 20000))}"]
    kind = draw(st.sampled_from(["contour", "pocket", "face", "drill", "path"]))
    keys += [f'operation = "{kind}"', f"tool = {4 if kind == 'drill' else draw(st.integers(1, 3))}"]
    x, y = draw(PLACE)
    w, h = draw(st.floats(30, 60)), draw(st.floats(30, 60))
    box = f"low = [{x}, {y}], high = [{x + w:.7f}, {y + h:.7f}]"
    shape = draw(st.sampled_from([
        f"rectangle = {{ {box}, corner_radius = {draw(st.floats(7, 14)):.8f} }}",
        f"circle = {{ center = [{x}, {y}], diameter = {w:.8f} }}",
        f"slot = {{ from = [{x}, {y}], to = [{x + w:.7f}, {y - h:.7f}], width = {w / 2:.7f} }}",
    ]))  # fmt: skip
    if kind != "path":
        keys += [f"bottom = {draw(st.floats(-9, -0.01)):.9f}"]
    if kind == "contour":
        lead = draw(
            st.sampled_from(
                [
                    '{ kind = "plunge" }',
                    f'{{ kind = "arc", radius = {draw(st.floats(0.5, 3)):.6f} }}',
                ]
            )
        )
        side = draw(st.sampled_from(["inside", "outside"]))
        keys += [
            shape,
            f'side = "{side}"',
            f"approach = {lead}",
            f"allowance_side = {draw(st.floats(0, 0.5)):.9f}",
        ]
    elif kind == "pocket":
        entry = draw(
            st.sampled_from(
                [
                    '{ kind = "plunge" }',
                    '{ kind = "ramp", angle = 20 }',
                    '{ kind = "helix", angle = 9 }',
                ]
            )
        )
        keys += [shape, "radial_cutting_depth = 2.9", f"approach = {entry}"]
    elif kind == "face":
        keys += [f"rectangle = {{ {box} }}", f"radial_cutting_depth = {draw(st.floats(2, 6)):.8f}"]
    elif kind == "drill":
        keys += [f"points = {draw(st.lists(PLACE, min_size=1, max_size=4))}"]
    else:
        rows = draw(st.lists(st.tuples(PLACE, st.floats(-9, 4)), min_size=2, max_size=6))
        keys += [f"strokes = [[{', '.join(str([*p, z]) for p, z in rows)}]]"]
    return "[[passes]]\n" + "\n".join(keys) + "\n"


@given(
    passes=st.lists(one_pass(), min_size=1, max_size=4),
    unit=st.sampled_from(["mm", "in"]),
    d=st.floats(-0.02, 0.02),
)
@settings(max_examples=30, deadline=None)
def test_random_lists_read_back(tmp_path_factory, passes, unit, d):
    text = "".join(passes)
    scaled = (
        re.sub(r"(?<![\w.\"])(-?\d+\.?\d*(?:e-?\d+)?)(?![\w\"])", r'"\1mm"', text)
        if unit == "in"
        else text
    )
    if unit == "in":  # what is no length stays a number
        scaled = re.sub(r'(tool|spindle|angle) = "(-?[\d.]+)mm"', r"\1 = \2", scaled)
    program = listed(tmp_path_factory.mktemp("list"), scaled, unit, d_errors={1: d, 2: -d})
    written, read = back(program, unit)
    if all(
        (~program.moves.rapid[program.moves.pass_number == p.number]).any() for p in program.passes
    ):
        check_same(program, read, unit)
    assert [line for line in written.splitlines() if not ALLOWED.fullmatch(line)] == []


# ------------------------------------------------------------- arcs that digits can spoil


def arcs(rows, unit: str) -> Program:
    """A pass of arcs one after the other: (radius, start angle, turn, rise), mm, radians."""
    moves, at = MoveList(), (0.0, 0.0, -1.0)
    fixed = {"setup": 0, "tool": 1, "pass_number": 1, "h_register": 1, "spindle": 0.0, "line": 1}
    moves.add((0, 0, math.nan), (0, 0, 5), kind=LINE, turn=0.0, rapid=True, feed=0.0, **fixed)
    moves.add((0, 0, 5), at, kind=LINE, turn=0.0, rapid=False, feed=100.0, **fixed)
    for radius, angle, turn, rise in rows:
        center = (at[0] - radius * math.cos(angle), at[1] - radius * math.sin(angle))
        end = at
        if abs(turn) < 2 * math.pi:
            end = (
                center[0] + radius * math.cos(angle + turn),
                center[1] + radius * math.sin(angle + turn),
            )
        end = tuple(round(v, 10) for v in (end[0], end[1], at[2] + rise))
        moves.add(at, end, center, kind=ARC, turn=turn, rapid=False, feed=100.0, **fixed)
        at = end
    return Program(moves.moves(), (Pass(1, 0, 1, "arcs", 1, 1),))


def path(moves: Moves) -> np.ndarray:
    """Places along the feed moves: an arc's are on chords off it by 1e-5 mm at most, R 5 or less."""
    found = []
    moves = moves[~moves.rapid]
    for k in range(len(moves)):
        count = int(min(1500, 3 + moves.lengths()[k] / 1e-5))
        part = np.linspace(0, 1, count)[:, None]
        places = moves.start[k] + part * (moves.end[k] - moves.start[k])
        if moves.kind[k] == ARC:
            u = moves.start[k, :2] - moves.center[k]
            angle = (part * moves.turn[k]).ravel()
            places[:, 0] = moves.center[k, 0] + u[0] * np.cos(angle) - u[1] * np.sin(angle)
            places[:, 1] = moves.center[k, 1] + u[1] * np.cos(angle) + u[0] * np.sin(angle)
        found.append(places)
    return np.concatenate(found)


RADII = st.sampled_from([1e-4, 3e-4, 1e-3, 0.01, 0.4, 5.0, 90.0, 4000.0])
ROW = st.tuples(
    RADII,
    st.floats(0, 6.3),
    st.sampled_from([1e-7, 1e-5, 1e-4, 1e-3, 0.3, 3.0, 6.0, 2 * math.pi - 1e-4, 2 * math.pi - 1e-6, 2 * math.pi]),
    st.floats(-0.2, 0.2),
    st.booleans(),
).map(lambda r: (r[0], r[1], r[2] if r[4] else -r[2], r[3]))  # fmt: skip


@given(rows=st.lists(ROW, min_size=1, max_size=4), unit=st.sampled_from(["mm", "in"]))
@settings(max_examples=60, deadline=None)
def test_small_large_and_nearly_full_arcs_keep_their_path(rows, unit):
    """However many moves an arc takes, its places are within two units of the last digit."""
    one = unit_mm(unit)
    program = arcs([r for r in rows if r[0] * abs(r[2]) < 30], unit)
    _, read = back(program, unit)
    there, here = path(program.moves), path(read.moves)
    for a, b in ((there, here), (here, there)):
        line = shapely.LineString(a[:, :2])
        shapely.prepare(line)
        assert shapely.dwithin(line, shapely.points(b[:, :2]), 2 * math.sqrt(2) * one).all()
    (long, again) = (m.lengths()[~m.rapid].sum() for m in (program.moves, read.moves))
    assert again == pytest.approx(long, rel=1e-3, abs=20 * one * len(program.moves))


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_an_arc_too_short_for_its_digits_is_straight(unit):
    _, read = back(arcs([(50.0, 0.0, 1e-7, 0.0), (50.0, 1.0, 0.5, 0.0)], unit), unit)
    assert list(read.moves.kind) == [LINE, LINE, LINE, ARC, LINE]  # the last one up again
    assert read.moves.lengths()[2] <= unit_mm(unit)


def test_a_circle_with_a_gap_too_small_to_write_is_full():
    _, read = back(arcs([(5.0, 0.3, 2 * math.pi - 1e-6, 0.0)], "mm"), "mm")
    assert read.moves.turn[-2] == pytest.approx(2 * math.pi, abs=1e-4)


def test_a_centre_beyond_the_reader_s_reach_is_cut_into_chords():
    """A radius of 100 m: straight moves, none further than a unit off the arc."""
    program = arcs([(1e5, 0.0, 3e-4, 0.0)], "mm")
    _, read = back(program, "mm")
    assert (read.moves.kind == LINE).all()
    far = np.abs(np.hypot(*(path(read.moves)[1500:, :2] - program.moves.center[-1]).T) - 1e5)
    assert far.max() <= 2e-4


# ------------------------------------------------------------------------------- what is left

JOB = """\
[job]
title = "both"
unit = "mm"

[stock]
shape = "block"
low = [0, 0, -12]
high = [40, 30, 0]

[grid]
pitch = 0.5

[offsets]
H1 = "20um"
D1 = 0.05

[[tools]]
number = 1
shape = "flat"
DC = 6

[[tools]]
number = 2
shape = "bull"
DC = 12
RE = 1.5

[[setups]]
"""
WORK = """\
[[passes]]
name = "Rough"
tool = 2
operation = "pocket"
feed = 400
slot = { from = [12.34567, 15], to = [28, 14.3], width = 16.2 }
bottom = -4
allowance_bottom = 0.1234567
allowance_side = 0.2
axial_cutting_depth = 1.7
radial_cutting_depth = 4
approach = { kind = "helix", angle = 4 }

[[passes]]
name = "Floor"
tool = 1
operation = "pocket"
feed = 300
slot = { from = [12.34567, 15], to = [28, 14.3], width = 16.2 }
bottom = -4.0333333
allowance_side = 0.1
radial_cutting_depth = 2.5

[[passes]]
name = "Wall"
tool = 1
operation = "contour"
feed = 300
side = "outside"
rectangle = { low = [3, 3], high = [37, 27], corner_radius = 4.7654321 }
bottom = -6
approach = { kind = "arc", radius = 1 }
"""


def test_program_and_list_leave_the_same(tmp_path):
    """Levels, steps and skims of the list and of its program, within the last digit written."""
    (tmp_path / "passes.toml").write_text(WORK)
    (tmp_path / "job.toml").write_text(JOB + 'passes = "passes.toml"\n')
    (tmp_path / "read.toml").write_text(JOB + 'program = "out.nc"\n')
    job = proud.load(tmp_path / "job.toml")
    text = program_text(job.programmed(), unit="mm", stock_top=0.0, title=job.title)
    (tmp_path / "out.nc").write_text(text)
    one, other = job.run(), proud.load(tmp_path / "read.toml").run()
    digit = 1e-4
    assert [p.info.name for p in one.passes] == [p.info.name for p in other.passes]
    for rows in ("levels", "steps", "skims"):
        a, b = getattr(one, rows), getattr(other, rows)
        assert len(a) == len(b) > 0
        for x, y in zip(a, b, strict=True):
            for field in dataclasses.fields(x):
                v, w = getattr(x, field.name), getattr(y, field.name)
                if isinstance(v, float) and field.name not in ("area", "length"):
                    assert v == pytest.approx(w, abs=digit), (rows, field.name)
                elif field.name.endswith("pass"):
                    assert v == w
    height, again = one.tile.top, other.tile.top
    level = np.isfinite(height) & np.isfinite(again)
    off = np.abs(height - again)[level]
    assert np.quantile(off, 0.98) <= digit  # the rest are columns on a wall, where a digit decides
