"""Tool shapes: pieces and measures against closed forms, quadrature, Pappus and a mesh's volume."""

from __future__ import annotations

import dataclasses
import itertools
import math
import os
import re
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from conftest import ROOT
from hypothesis import given
from hypothesis import strategies as st
from proud.errors import Fault, JobError
from proud.jobfile_words import OF_SOME, WORDS, users
from proud.pieces import CUTTING, LABELS, Piece
from proud.shapes import SHAPES
from proud.toolfile import load_tool_file
from proud.tools import Tool

NEAR = {"rel": 1e-12, "abs": 1e-12}


@pytest.fixture
def read(tmp_path):
    """Read one tool in millimetres; returns it and the notes."""

    def read_one(keys: str, unit: str = "mm"):
        path = tmp_path / "tools.toml"
        rows = "\n".join(part.strip() for part in keys.split(";"))
        path.write_text(f"[[tools]]\nnumber = 3\n{rows}\n", encoding="utf-8")
        tools, notes = load_tool_file(path, shown="tools.toml", unit=unit)
        return tools[3], notes

    return read_one


@pytest.fixture
def tool(read):
    return lambda keys, unit="mm": read(keys, unit)[0]


@pytest.fixture
def fault(read):
    def text(keys: str, unit: str = "mm") -> str:
        with pytest.raises(JobError) as caught:
            read(keys, unit)
        assert caught.value.exit_code == 2
        return str(caught.value).removeprefix("tools.toml: tools[1].")

    return text


CAST = {
    "flat": 'shape = "flat"; DC = 6; APMX = 10',
    "bull": 'shape = "bull"; DC = 6; RE = 1; APMX = 10',
    "ball": 'shape = "ball"; DC = 6; APMX = 10',
    "chamfer": 'shape = "chamfer"; DC = 6; KAPR = 30; tip = 1; APMX = 8',
    "spot-drill": 'shape = "spot-drill"; DC = 6; SIG = 90; tip = 1; APMX = 8',
    "drill": 'shape = "drill"; DC = 6; SIG = 118; APMX = 30',
    "taper-ball": 'shape = "taper-ball"; DC = 8; RE = 2; taper_angle = 10; APMX = 20',
    "corner-rounding": 'shape = "corner-rounding"; DC = 9; RE = 2; tip = 4; APMX = 6',
    "t-slot": 'shape = "t-slot"; DC = 20; APMX = 6; RE = 1; DN = 8; LU = 20',
    "lollipop": 'shape = "lollipop"; DC = 10; DN = 6; LU = 25',
    "bore-bar": 'shape = "bore-bar"; DC = 12; SIG = 140; APMX = 5; DN = 10; LU = 60',
    "tap": 'shape = "tap"; DC = 6; tip = 4; chamfer_length = 3; SIG = 120; APMX = 18',
    "profile": (
        'shape = "profile"; profile = [[0, 0], [3, 0], {to = [6, 3], radius = 3, side = "out"}, '
        '[6, 8], [4, 10], {to = [8, 14], radius = 4, side = "in"}, [8, 18], [5, 18], '
        '{to = [5, 26], part = "neck"}]'
    ),
}
"""One tool of each shape, mm."""


def test_the_cast_has_every_shape():
    assert set(CAST) == set(SHAPES)
    assert list(SHAPES) == sorted(SHAPES)


def radius_of(name: str, z: float) -> float:
    """r(z) of the cast's cutting part, written apart from the pieces (derived)."""

    def bow(R: float, h: float) -> float:
        return math.sqrt(max(0.0, R * R - h * h))

    def t_slot(z: float) -> float:
        return 9 + bow(1, max(1 - z, z - 5, 0.0))

    def taper(z: float) -> float:
        a = math.radians(10)
        z_t = 2 - 2 * math.sin(a)
        return bow(2, z - 2) if z <= z_t else min(4, 2 * math.cos(a) + (z - z_t) * math.tan(a))

    def tap(z: float) -> float:
        point = 2 / math.tan(math.radians(60))
        return z * math.tan(math.radians(60)) if z < point else min(3, 2 + (z - point) / 3)

    def profile(z: float) -> float:
        for top, r in (
            (3, lambda: 3 + bow(3, z - 3)), (8, lambda: 6), (10, lambda: 14 - z),
            (14, lambda: 8 - bow(4, z - 10)), (18, lambda: 8),
        ):  # fmt: skip
            if z <= top:
                return r()
        return 5

    return {
        "flat": lambda z: 3,
        "bull": lambda z: 2 + bow(1, max(1 - z, 0)),
        "ball": lambda z: bow(3, max(3 - z, 0)),
        "chamfer": lambda z: min(3, 0.5 + z / math.tan(math.radians(30))),
        "spot-drill": lambda z: min(3, 0.5 + z),
        "drill": lambda z: min(3, z * math.tan(math.radians(59))),
        "taper-ball": taper,
        "corner-rounding": lambda z: 4 - bow(2, z) if z < 2 else 4.5,
        "t-slot": t_slot,
        "lollipop": lambda z: bow(5, z - 5),
        "bore-bar": lambda z: min(6, z * math.tan(math.radians(70))),
        "tap": tap,
        "profile": profile,
    }[name](z)


def cutting(found: Tool) -> list[Piece]:
    return [p for p in found.pieces if p.cutting]


@pytest.mark.parametrize("name", CAST)
def test_stack_is_whole_and_labels_are_in_order(tool, name):
    """No gap, cutting pieces first, ending at APMX; a cove's r(z) is monotone, as rays need."""
    found = tool(CAST[name])
    pieces = found.pieces
    assert found.pieces is pieces, "made once"
    assert pieces[0].z_low == 0
    for a, b in itertools.pairwise(pieces):
        assert b.z_low == a.z_high
    cuts = [p.cutting for p in pieces]
    assert cuts == sorted(cuts, reverse=True)
    assert cutting(found)[-1].z_high == found.cutting_length
    assert 2 * max(p.widest for p in cutting(found)) == pytest.approx(found.diameter, **NEAR)
    assert {p.label for p in pieces} <= set(LABELS)
    for p in pieces:
        if p.arc is not None and p.is_cove:
            assert not p.z_low < p.arc[1] < p.z_high
    hash(found)


@pytest.mark.parametrize("name", CAST)
def test_radius_is_that_of_the_closed_form(tool, name):
    found = tool(CAST[name])
    length = found.cutting_length
    places = [length * (k + 0.5) / 997 for k in range(997)]
    got = [found.radius_at(z) for z in places]
    assert got == pytest.approx([radius_of(name, z) for z in places], rel=1e-12, abs=1e-12)
    assert found.radius_at(-1e-6) == 0
    assert found.radius_at(1e6) == 0


@pytest.mark.parametrize("name", CAST)
def test_measures_agree_with_quadrature(tool, name):
    """scipy.integrate.quad of pi r^2, r and 2 pi r ds over the closed form, piece by piece."""
    from scipy.integrate import quad

    found = tool(CAST[name])
    volume = area = flank = 0.0
    for p in cutting(found):
        # z = low + h (1 - cos t) / 2 takes the infinite slope at the ends of an arc away.
        h = p.z_high - p.z_low

        def at(t, p=p, h=h):
            z = p.z_low + h * (1 - math.cos(t)) / 2
            return min(max(z, p.z_low + 1e-13), p.z_high - 1e-13), h * math.sin(t) / 2

        def over(f, at=at):
            return quad(lambda t: f(at(t)[0]) * at(t)[1], 0, math.pi, epsabs=1e-11)[0]

        volume += over(lambda z: math.pi * radius_of(name, z) ** 2)
        area += over(lambda z: radius_of(name, z))
        flank += 2 * math.pi * _slant(name, p)
    parts = [p.label for p in cutting(found)]
    assert sum(found.volume(label) for label in set(parts)) == pytest.approx(volume, rel=1e-9)
    assert found.volume() == pytest.approx(
        volume + sum(found.volume(w) for w in ("neck", "shank", "holder")), rel=1e-9
    )
    sections, flanks = found.section_areas(), found.flank_areas()
    assert sum(sections[label] for label in set(parts)) == pytest.approx(area, rel=1e-9)
    assert sum(flanks[label] for label in set(parts)) == pytest.approx(flank, rel=1e-5)
    assert list(flanks) == list(dict.fromkeys(p.label for p in found.pieces)) == list(sections)


def _slant(name: str, piece: Piece, count: int = 4000) -> float:
    """Integral of r ds along a flank by short chords (Pappus' first theorem, derived)."""
    zs = [
        piece.z_low + (piece.z_high - piece.z_low) * (1 - math.cos(math.pi * k / count)) / 2
        for k in range(count + 1)
    ]
    # A place on a step belongs to both sides: stay within the piece.
    inside = [min(max(z, piece.z_low + 1e-12), piece.z_high - 1e-12) for z in zs]
    rs = [radius_of(name, z) for z in inside]
    return sum(
        math.hypot(z2 - z1, r2 - r1) * (r1 + r2) / 2
        for (z1, r1), (z2, r2) in itertools.pairwise(zip(inside, rs, strict=True))
    )


def test_volumes_in_closed_form(tool):
    """Solid geometry (derived): ball end, cone, cap of a sphere, quarter round by Pappus."""
    pi = math.pi
    assert tool(CAST["ball"]).volume("corner") == pytest.approx(2 / 3 * pi * 27, **NEAR)
    drill = tool(CAST["drill"])
    assert drill.volume("bottom") == pytest.approx(
        pi * 9 * (3 / math.tan(math.radians(59))) / 3, **NEAR
    )
    lollipop = tool(CAST["lollipop"])
    height = 5 + 4  # a neck of 3 leaves a ball of 5 four above its centre
    cap = pi * height**2 * (3 * 5 - height) / 3
    assert lollipop.cutting_length == 9
    assert lollipop.volume("corner") + lollipop.volume("top") == pytest.approx(cap, **NEAR)
    # Corner-rounding: cylinder of 4 less a quarter disc of 2 turned about the axis; the centroid of
    # a quarter disc is 4 R/(3 pi) from its straight sides (Pappus' second theorem).
    quarter = pi * 4 / 4
    groove = 2 * pi * (4 - 4 * 2 / (3 * pi)) * quarter
    assert tool(CAST["corner-rounding"]).volume("corner") == pytest.approx(
        pi * 16 * 2 - groove, **NEAR
    )
    # T-slot: a disc less, at each edge, a square of 1 less a quarter disc of 1.
    square = 2 * pi * 9.5
    round_ = 2 * pi * (9 + 4 / (3 * pi)) * pi / 4
    disc = pi * 100 * 6 - 2 * (square - round_)
    found = tool(CAST["t-slot"])
    assert sum(found.volume(w) for w in CUTTING) == pytest.approx(disc, **NEAR)


@pytest.mark.parametrize("name", ["bull", "taper-ball", "corner-rounding", "lollipop", "profile"])
def test_volume_of_a_revolved_mesh_converges(tool, name):
    """trimesh's revolve with n sides holds n/(2 pi) sin(2 pi/n) of the solid; arcs as chords."""
    import trimesh

    found = tool(CAST[name])
    outline = [(0.0, 0.0)]
    for p in cutting(found):
        count = 1 if p.arc is None else 400
        for k in range(count + 1):
            z = p.z_low + (p.z_high - p.z_low) * (1 - math.cos(math.pi * k / count)) / 2
            r = p.r_low if k == 0 else p.r_high if k == count else p.radius_at(z)
            if math.dist((r, z), outline[-1]) > 1e-9:
                outline.append((r, z))
    if outline[-1][0] > 0:
        outline.append((0.0, outline[-1][1]))
    exact = sum(found.volume(label) for label in CUTTING)
    gaps = []
    for sides in (12, 24, 48, 96):
        mesh = trimesh.creation.revolve(outline, sections=sides)
        share = sides / (2 * math.pi) * math.sin(2 * math.pi / sides)
        assert mesh.volume == pytest.approx(exact * share, rel=3e-5)
        gaps.append(exact - mesh.volume)
    for wide, narrow in itertools.pairwise(gaps):
        assert 3.8 < wide / narrow < 4.2


# ------------------------------------------------------------------------- each shape's own rules


@given(
    radius=st.floats(0.05, 20), angle=st.floats(0.1, 60), more=st.floats(0.01, 30),
)  # fmt: skip
def test_taper_is_tangent_to_its_ball(radius, angle, more):
    a = math.radians(angle)
    wide = 2 * (radius * math.cos(a) + more)
    found = Tool(1, "", "taper-ball", wide, corner_radius=radius, own=(("taper_angle", angle),))
    ball, cone, straight = found.pieces
    z_c, r = ball.arc[1], ball.radius_at(ball.z_high)
    assert ball.r_high == pytest.approx(cone.r_low, rel=1e-9)
    assert -(ball.z_high - z_c) / r == pytest.approx(cone.slope, rel=1e-9)
    assert cone.slope == pytest.approx(math.tan(a), rel=1e-9)
    assert (straight.r_low, straight.z_high) == (wide / 2, math.inf)
    assert not found.undercut


def test_taper_ball_takes_its_diameter_from_its_length(tool):
    found = tool('shape = "taper-ball"; RE = 2; taper_angle = 10; APMX = 10')
    a = math.radians(10)
    wide = 2 * (2 * math.cos(a) + (10 - 2 + 2 * math.sin(a)) * math.tan(a))
    assert found.diameter == pytest.approx(wide, **NEAR)
    assert [p.label for p in found.pieces] == ["corner", "side"]
    assert found.name == f"taper-ball {wide:.3f} mm, RE 2.000 mm, 10° a side"


def test_corner_rounding_steps_out_to_its_diameter(tool):
    cove, side = tool(CAST["corner-rounding"]).pieces
    assert cove.arc == (4.0, 0.0, -2.0)
    assert (cove.r_low, cove.r_high, side.r_low) == (2.0, 4.0, 4.5)


def test_undercutting_tools_say_so(read):
    undercutting = set()
    for name, keys in CAST.items():
        found, notes = read(keys)
        said = [n for n in notes if "is narrower above than below" in n]
        assert len(said) == found.undercut
        if found.undercut:
            undercutting.add(name)
            assert said[0].startswith("tool 3: ")
            assert "seen from the side alone" in said[0]
    assert undercutting == {"t-slot", "lollipop", "profile"}
    square = 'shape = "t-slot"; DC = 20; APMX = 6; DN = 8; LU = 20'
    assert read(square)[0].undercut, "its upper face is flat, not narrower"


def test_lollipop_edges_may_end_below_the_neck(tool):
    found = tool('shape = "lollipop"; DC = 10; DN = 6; APMX = 7; LU = 25')
    assert [p.label for p in found.pieces] == ["corner", "top", "neck", "neck"]
    assert found.cutting_length == 7
    assert found.pieces[2].arc is not None
    assert found.pieces[2].z_high == 9


def test_what_is_above_the_cutting_part(tool):
    keys = 'shape = "flat"; DC = 10; APMX = 12; DN = 9; LU = 30; DMM = 10; LPR = 40'
    found = tool(keys + "; holder = [[20, 8], [30, 25]]")
    assert [(p.label, p.z_low, p.z_high, 2 * p.r_low) for p in found.pieces] == [
        ("side", 0, 12, 10), ("neck", 12, 30, 9), ("shank", 30, 40, 10),
        ("holder", 40, 48, 20), ("holder", 48, 73, 30),
    ]  # fmt: skip
    assert found.volume("holder") == pytest.approx(math.pi * (100 * 8 + 225 * 25), **NEAR)
    no_length = dataclasses.replace(found, cutting_length=None)
    assert [p.label for p in no_length.pieces] == ["side", "holder", "holder"]
    assert no_length.volume() == math.inf
    assert no_length.volume("holder") == found.volume("holder")
    endless = dataclasses.replace(found, stickout=None, holder=())
    assert endless.pieces[-1] == Piece("shank", 30, math.inf, 5, 5)
    long_neck = dataclasses.replace(found, neck_length=None)
    assert [p.label for p in long_neck.pieces] == ["side", "neck", "holder", "holder"]
    with pytest.raises(Fault, match="no pieces for tool shape 'spade'"):
        _ = Tool(1, "", "spade", 6.0).pieces


# ------------------------------------------------------------------------------- the free profile


def test_profile_parts_and_diameter(tool):
    found = tool(CAST["profile"])
    assert [p.label for p in found.pieces] == [
        "corner", "side", "top", "corner", "side", "neck",
    ]  # fmt: skip
    assert (found.diameter, found.cutting_length) == (16.0, 18.0)
    assert found.pieces[3].arc == pytest.approx((8.0, 10.0, -4.0), abs=1e-12)


def test_profile_arcs_by_center_and_through_a_waist(tool):
    """A half-round groove of 2 in a bar of 5: a cove that is split at its waist."""
    head = 'shape = "profile"; profile = [[5, 0], '
    by_side = tool(head + '{to = [5, 4], radius = 2, side = "in"}, [5, 9]]')
    by_center = tool(head + '{to = [5, 4], center = [5, 2], side = "in"}, [5, 9]]')
    assert by_side.pieces == by_center.pieces
    assert [(p.label, p.z_high) for p in by_side.pieces] == [
        ("top", 2.0), ("corner", 4.0), ("side", 9.0),
    ]  # fmt: skip
    assert by_side.radius_at(2) == pytest.approx(3, abs=1e-12)
    torus = 2 * math.pi * (5 - 4 * 2 / (3 * math.pi)) * math.pi * 2  # half disc turned (Pappus)
    assert by_side.volume() == pytest.approx(math.pi * 25 * 9 - torus, rel=1e-9)
    ball = tool('shape = "profile"; profile = [[0, 0], {to = [3, 9], center = [0, 5]}]')
    same = tool('shape = "lollipop"; DC = 10; DN = 6')
    assert [(p.label, p.z_high) for p in ball.pieces] == [("corner", 5.0), ("top", 9.0)]
    for z in (0.5, 3.0, 5.0, 8.9):
        assert ball.radius_at(z) == pytest.approx(same.radius_at(z), abs=1e-9)


@given(
    rises=st.lists(
        st.tuples(st.floats(0.01, 20), st.floats(0.01, 20)), min_size=1, max_size=12
    )
)  # fmt: skip
def test_any_polyline_is_a_profile(tmp_path_factory, rises):
    """Volume as a sum of frustums about the axis, each by the prismoidal formula (derived)."""
    z, points = 0.0, [(1.0, 0.0)]
    for r, dz in rises:
        z = round(z + dz, 10)
        points.append((round(r, 10), z))
    listed = ", ".join(f"[{r!r}, {z!r}]" for r, z in points)
    path = tmp_path_factory.getbasetemp() / "profile.toml"
    path.write_text(f'[[tools]]\nnumber = 1\nshape = "profile"\nprofile = [{listed}]\n')
    found = load_tool_file(path, shown="p", unit="mm")[0][1]
    volume = sum(
        math.pi * (z2 - z1) / 6 * (r1**2 + (r1 + r2) ** 2 + r2**2)
        for (r1, z1), (r2, z2) in itertools.pairwise(points)
    )
    assert found.volume() == pytest.approx(volume, rel=1e-12)
    assert found.diameter == 2 * max(r for r, _ in points)
    falls = any(b[0] < a[0] - 1e-6 for a, b in itertools.pairwise(points))
    assert found.undercut == falls


@pytest.mark.parametrize(
    ("items", "place", "text"),
    [
        ("[[0, 1], [3, 5]]", "[1]", "z 1.000 mm: a tool's tip is at z 0"),
        ("[[-1, 0], [3, 5]]", "[1]", "r -1.000 mm is below 0; r is counted from the axis"),
        ("[[1, 0], [3, 5], [3, 4]]", "[3]", "goes down to z 4.000 mm from 5.000 mm; list it from"),
        ("[[1, 0], [1, 0]]", "[2]", "r 1.000 mm, z 0.000 mm is the same point as the item before"),
        ("[[0, 0], [0, 5]]", "[2]", "r 0.000 mm, z 5.000 mm is on the axis; only its first and"),
        ("[[2, 0], [0, 5], [3, 6]]", "[2]", "r 0.000 mm, z 5.000 mm is on the axis; only its"),
        (
            "[[2, 0], {to = [3, 1], radius = 1}]",
            "[2]",
            'is an arc: give its radius and its side, "',
        ),
        ('[[2, 0], {to = [3, 1], side = "in"}]', "[2]", "is an arc: give its radius and its side"),
        (
            "[[2, 0], {to = [3, 1], radius = 1, center = [2, 1]}]",
            "[2]",
            "has a center and a radius; give one of them",
        ),
        (
            '[[2, 0], {to = [2, 4], radius = 1, side = "in"}]',
            "[2]",
            "radius 1.000 mm doesn't reach from r 2.000 mm, z 0.000 mm to r 2.000 mm, z 4.000 mm; "
            "at least 2.000 mm is needed",
        ),
        (
            '[[2, 0], {to = [5, 1], radius = 1.9, side = "out"}]',
            "[2]",
            "its arc of radius 1.900 mm turns back down between z 0.000 mm and 1.000 mm; split it",
        ),
        (
            "[[2, 0], {to = [3, 1], center = [2, 0.5]}]",
            "[2]",
            "its ends lie 0.500 mm and 1.118 mm from its center; up to 0.002 mm of difference is",
        ),
        (
            "[[2, 0], {to = [2, 4], center = [2, 2]}]",
            "[2]",
            "its arc about r 2.000 mm, z 2.000 mm could bulge to either side; give side",
        ),
        (
            "[[1, 0], {to = [5, 0.5], center = [3, 0.25]}]",
            "[2]",
            "its arc about r 3.000 mm, z 0.250 mm turns back down; split it",
        ),
        (
            '[[1, 0], {to = [1, 4], radius = 2, side = "in"}]',
            "[2]",
            "its arc of radius 2.000 mm passes over the axis",
        ),
        ('[[2, 0], {to = [3, 0], part = "side"}, [3, 4]]', "[2]", "is level at z 0.000 mm: a flat"),
        ('[{to = [2, 0], part = "side"}, [3, 4]]', "[1]", "begins the profile and is a point alon"),
        ("[[2, 0], [3, 0]]", "[1]", "has nothing that cuts; it must rise from its tip"),
        ('[[2, 0], {to = [2, 4], part = "neck"}]', "[1]", "has nothing that cuts; it must rise f"),
        (
            '[[2, 0], [2, 1], {to = [2, 4], part = "neck"}, [3, 5]]',
            "[1]",
            "has a part that cuts, or a neck, above a neck or shank",
        ),
    ],
)
def test_profiles_that_can_not_be(fault, items, place, text):
    found = fault(f'shape = "profile"; profile = {items}')
    assert found.startswith(f"profile{place}: tool 3: {text}")


@pytest.mark.parametrize(
    ("items", "text"),
    [
        ("3", "profile: 3 is not a list in [ ]"),
        ("[[0, 0]]", "profile: [[0, 0]] has 1 items; at least 2 are needed"),
        ('[[0, 0], "x"]', 'profile[2]: "x" is not a list in [ ], nor a table'),
        ("[[0, 0], [1]]", "profile[2]: [1] is too short; item 2 is missing"),
        ("[[0, 0], {to = [1, 1], radios = 1}]", "profile[2].radios: unknown key"),
        (
            '[[0, 0], {to = [1, 1], side = "up"}]',
            'profile[2].side: "up" is not allowed; allowed: o',
        ),
        ("[[0, 0], {to = [1, 1], radius = 0}]", "profile[2].radius: 0 is not above 0"),
    ],
)
def test_profiles_of_the_wrong_kind(fault, items, text):
    assert text in fault(f'shape = "profile"; profile = {items}')


# -------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ('shape = "profile"', "profile: tool 3: a free profile needs its points from the tip up"),
        (CAST["profile"] + "; DC = 15", "DC: tool 3: DC 15.000 mm, but the widest of its profile "),
        (CAST["profile"] + "; APMX = 20", "APMX: tool 3: APMX 20.000 mm, but its profile cuts up "),
        (CAST["profile"] + "; RE = 1", "RE: tool 3: RE 1.000 mm on a free profile; its profile s"),
        (
            CAST["profile"] + "; LU = 17",
            "shape: tool 3: the profile's cutting part 18.000 mm is over LU 17.000 mm",
        ),
        (
            'shape = "taper-ball"; DC = 3; RE = 2; taper_angle = 10',
            "DC: tool 3: DC 3.000 mm is below the 3.939 mm of the ball where its taper begins",
        ),
        (
            'shape = "taper-ball"; DC = 8; RE = 2; taper_angle = 10; APMX = 5',
            "APMX: tool 3: APMX 5.000 mm ends before the taper-ball has come to its diameter",
        ),
        ('shape = "taper-ball"; DC = 8; RE = 2', "taper_angle: tool 3: a taper-ball needs its tap"),
        ('shape = "taper-ball"; RE = 2; taper_angle = 3', "DC: tool 3: its diameter is missing"),
        (
            'shape = "taper-ball"; RE = 9; taper_angle = 3; APMX = 5',
            "APMX: tool 3: APMX 5.000 mm e",
        ),
        (
            'shape = "taper-ball"; DC = 8; RE = 2; taper_angle = 90',
            "taper_angle: 90 is not below 90",
        ),
        (
            'shape = "taper-ball"; DC = 8; RE = 2; taper_angle = 9; KAPR = 81',
            "KAPR: tool 3: KAPR 81 degrees on a taper-ball; its taper is taper_angle, degrees a",
        ),
        (
            'shape = "corner-rounding"; DC = 7; RE = 2; tip = 4',
            "DC: tool 3: DC 7.000 mm is below tip 4.000 mm and twice RE 2.000 mm; at least 8.000",
        ),
        (
            'shape = "corner-rounding"; DC = 7; RE = 2',
            "tip_diameter: tool 3: a corner-rounding tool",
        ),
        ('shape = "corner-rounding"; DC = 7; RE = 0; tip = 4', "RE: tool 3: RE 0.000 mm: its cove"),
        (
            'shape = "t-slot"; DC = 20; APMX = 6; RE = 3.1; DN = 8',
            "RE: tool 3: RE 3.100 mm is over half of APMX 6.000 mm; up to 3.000 mm is allowed",
        ),
        (
            'shape = "t-slot"; DC = 20; APMX = 6; DN = 20',
            "DN: tool 3: DN 20.000 mm is not below DC",
        ),
        (
            'shape = "t-slot"; DC = 20; APMX = 6; DN = 21',
            "DN: tool 3: DN 21.000 mm is over DC 20.0",
        ),
        (
            'shape = "t-slot"; DC = 20; DN = 8',
            "APMX: tool 3: a t-slot cutter needs the thickness of",
        ),
        ('shape = "lollipop"; DC = 10', "DN: tool 3: a lollipop needs the diameter of its neck"),
        (
            'shape = "lollipop"; DC = 10; DN = 6; APMX = 9.1',
            "APMX: tool 3: APMX 9.100 mm is over 9.000 mm, where the ball meets its neck",
        ),
        (
            'shape = "lollipop"; DC = 10; DN = 6; RE = 4',
            "RE: tool 3: RE 4.000 mm on a ball of DC 10",
        ),
        (
            'shape = "tap"; DC = 6; tip = 4',
            "tip: tool 3: tip 4.000 mm needs chamfer_length too, or",
        ),
        (
            'shape = "tap"; DC = 6; chamfer_length = 4',
            "chamfer_length: tool 3: chamfer_length 4.000",
        ),
        (
            'shape = "spot-drill"; DC = 6; SIG = 90; tip = 6',
            "tip: tool 3: tip 6.000 mm is not below",
        ),
        (
            'shape = "spot-drill"; DC = 6; SIG = 90; KAPR = 45',
            "KAPR: tool 3: KAPR 45 degrees on a s",
        ),
        (
            'shape = "bore-bar"; DC = 6; SIG = 90; APMX = 2',
            "APMX: tool 3: APMX 2.000 mm ends before",
        ),
        (
            'shape = "flat"; DC = 6; taper_angle = 3',
            "taper_angle: tool 3: is for a taper-ball; this",
        ),
    ],
)
def test_what_shapes_refuse(fault, keys, text):
    assert fault(keys).startswith(text)


def test_only_one_problem_where_a_profile_is_missing(fault):
    assert "\n" not in fault('shape = "profile"')


@pytest.mark.parametrize("name", OF_SOME)
def test_words_say_who_needs_them(name):
    """The schema's text names the shapes; a shape that needs a word takes it."""
    called = [s.called for s in SHAPES.values() if s.takes(name)]
    assert called
    said = WORDS[name].says
    assert all(c in said for c in called)
    assert users(name) == re.sub(r", ([^,]*)$", r" or \1", ", ".join(called))


# ----------------------------------------------------------------------- the developers' example


def test_the_example_adds_a_shape_by_one_file(tmp_path):
    """The dovetail cutter of DEVELOPERS.md, put beside the others in a copy of the package."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"<!-- example: shape -->\n( *```python\n.*?\n *```)", text, re.DOTALL)
    code = textwrap.dedent("\n".join(block.split("\n")[1:-1])) + "\n"
    shutil.copytree(ROOT / "sim", tmp_path / "proud", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "proud/shapes/dovetail.py").write_text(code, encoding="utf-8")
    (tmp_path / "tools.toml").write_text(
        '[[tools]]\nnumber = 1\nshape = "dovetail"\nDC = 20\nKAPR = 60\nAPMX = 8\nDN = 8\nLU = 30\n'
    )
    script = (
        "from pathlib import Path\n"
        "from proud.toolfile import load_tool_file\n"
        "tools, notes = load_tool_file(Path('tools.toml'), shown='t', unit='mm')\n"
        "print(tools[1].undercut, len(notes), [p.label for p in tools[1].pieces])\n"
        "print(repr(tools[1].pieces[0].r_high))\n"
        "text = Path('tools.toml').read_text().replace('APMX = 8', 'APMX = 18')\n"
        "Path('tools.toml').write_text(text)\n"
        "try:\n    load_tool_file(Path('tools.toml'), shown='t', unit='mm')\n"
        "except Exception as error:\n    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, timeout=120,
        env=dict(os.environ) | {"PYTHONPATH": str(tmp_path)}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    about, radius, error = done.stdout.splitlines()
    assert about == "True 1 ['top', 'neck']"
    assert float(radius) == pytest.approx(10 - 8 / math.tan(math.radians(60)), **NEAR)
    assert error == (
        "t: tools[1].APMX: tool 1: APMX 18.000 mm is higher than its cone; give a shorter one"
    )


def test_each_shape_is_one_module_with_its_names():
    modules = {p.stem for p in (ROOT / "sim/shapes").glob("*.py")} - {"__init__", "base"}
    for module in modules:
        text = Path(ROOT / f"sim/shapes/{module}.py").read_text(encoding="utf-8")
        names = re.findall(r'^    Shape\(\n        "([a-z-]+)"', text, re.MULTILINE)
        assert names, module
        assert set(names) <= set(SHAPES)
