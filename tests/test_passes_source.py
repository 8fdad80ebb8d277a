"""Contours of a pass list from the part model's section and from DXF drawings.

Drawings are written by ezdxf and areas are shapely's; $INSUNITS and bulges are as the DXF reference
has them (a bulge is the tangent of a quarter of the arc's angle).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from proud.contour import Contour, Piece, distance
from proud.errors import JobError
from proud.passes import PassSettings, read_passes
from proud.passes.fit import with_arcs
from proud.passes.model import Drawing, Section, Shape
from proud.passes.shapes import PassError
from proud.passes.source import Sources, drawings, sourced_contour
from proud.tools import Tool

FINE = 1e-6


def sources(folder: Path, part: str | None = None) -> Sources:
    return Sources(folder / part if part else None, folder, folder)


def polygon(contour: Contour, sagitta: float = 1e-6) -> shapely.Polygon:
    return shapely.Polygon(contour.points(sagitta)[:-1])


# --------------------------------------------------------------------------------------- drawings


class Dxf:
    """A drawing written to a folder of its own."""

    def __init__(self, folder: Path, units: int = 4, version: str = "R2010") -> None:
        self.folder = folder
        self.doc = ezdxf.new(version)
        self.doc.header["$INSUNITS"] = units
        self.space = self.doc.modelspace()

    def shape(self, **keys: object) -> Shape:
        self.doc.saveas(self.folder / "a.dxf")
        return Shape(dxf=Drawing(file="a.dxf", **keys))

    def contour(self, *, closed: bool = False, **keys: object) -> Contour:
        return self.told(closed=closed, **keys)[0]

    def told(self, *, closed: bool = False, **keys: object) -> tuple[Contour, list[str]]:
        shape = self.shape(**keys)
        return sourced_contour(shape, sources(self.folder), "mm", closed=closed)

    def fault(self, *, closed: bool = False, **keys: object) -> tuple[str, str]:
        with pytest.raises(PassError) as caught:
            self.told(closed=closed, **keys)
        return caught.value.key, str(caught.value)


@pytest.fixture
def dxf(tmp_path: Path) -> Dxf:
    return Dxf(tmp_path)


def test_lines_and_arcs_join_in_any_order_and_direction(dxf):
    """A stadium 20 x 10 of loose pieces: two lines and two half circles, some drawn backwards."""
    dxf.space.add_line((5, 0), (-5, 0))
    dxf.space.add_arc((5, 5), 5, -90, 90)
    dxf.space.add_arc((-5, 5), 5, 90, 270)
    dxf.space.add_line((-5, 10), (5, 10))
    contour, notes = dxf.told(closed=True)
    assert notes == []
    assert contour.closed
    assert contour.area() == pytest.approx(100 + 25 * math.pi, abs=1e-9)
    assert contour.length == pytest.approx(20 + 10 * math.pi, abs=1e-9)
    assert [bool(p.turn) for p in contour.pieces].count(True) == 2
    # Begun in the middle of the longest line, counter-clockwise.
    assert contour.start == pytest.approx((0, 0), abs=1e-9)
    assert contour.pieces[0].heading(0) == pytest.approx((1, 0))


@pytest.mark.parametrize(("units", "mm"), [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0), (13, 1e-3)])
def test_the_drawing_s_unit(tmp_path, units, mm):
    drawing = Dxf(tmp_path, units)
    drawing.space.add_circle((2 / mm, 1 / mm), 3 / mm)
    (piece,) = drawing.contour(closed=True).pieces
    assert (piece.radius, *piece.center) == pytest.approx((3, 2, 1), abs=1e-9)
    assert piece.turn == 2 * math.pi


def test_a_drawing_without_a_unit_needs_one(tmp_path):
    drawing = Dxf(tmp_path, 0)
    drawing.space.add_circle((0, 0), 1)
    key, text = drawing.fault()
    assert key == "dxf.unit"
    assert text == 'is missing: a.dxf says no unit; give unit = "in" or "mm"'
    assert drawing.contour(unit="in").pieces[0].radius == pytest.approx(25.4)
    assert drawing.contour(unit="mm").pieces[0].radius == 1.0


def test_a_unit_that_is_none_for_parts(tmp_path):
    drawing = Dxf(tmp_path, 18)  # astronomical
    drawing.space.add_circle((0, 0), 1)
    assert "has $INSUNITS 18" in drawing.fault()[1]


def test_a_unit_of_the_pass_overrules_the_drawing_and_says_so(tmp_path):
    drawing = Dxf(tmp_path, 4)
    drawing.space.add_circle((0, 0), 1)
    contour, notes = drawing.told(unit="in")
    assert contour.pieces[0].radius == pytest.approx(25.4)
    assert notes == ["a.dxf: its $INSUNITS is 4, but it is read in in, as the pass says"]
    assert drawing.told(unit="mm")[1] == []


def test_a_drawing_of_the_oldest_kind_says_no_unit(tmp_path):
    drawing = Dxf(tmp_path, version="R12")
    drawing.space.add_polyline2d([(0, 0), (10, 0), (10, 5)], close=True)
    assert drawing.fault()[0] == "dxf.unit"
    assert drawing.contour(unit="mm", closed=True).area() == pytest.approx(25)


@pytest.mark.parametrize("kind", ["LWPOLYLINE", "POLYLINE"])
@pytest.mark.parametrize("mirrored", [False, True])
def test_bulges_are_arcs(dxf, kind, mirrored):
    """A bulge of 1 is half a circle, tan(22.5 degrees) a quarter; below 0 clockwise. Extrusion
    -Z mirrors X (DXF reference, arbitrary axis algorithm)."""
    quarter = math.tan(math.radians(90 / 4))
    rows = [(0, 0, 0), (20, 0, quarter), (25, 5, 0), (25, 30, -1), (0, 30, 0)]
    extrusion = (0, 0, -1) if mirrored else (0, 0, 1)
    if mirrored:
        rows = [(-x, y, -b) for x, y, b in rows]
    if kind == "LWPOLYLINE":
        line = dxf.space.add_lwpolyline(rows, format="xyb", close=True)
    else:
        line = dxf.space.add_polyline2d(rows, format="xyb", close=True)
    line.dxf.extrusion = extrusion
    contour = dxf.contour(closed=True)
    # The quarter rounds the corner at (25, 0) off, the half circle over (0..25, 30) bites in.
    area = 750 - (25 - 25 * math.pi / 4) - 12.5**2 * math.pi / 2
    assert contour.area() == pytest.approx(area, abs=1e-9)
    turned = sorted(round(math.degrees(p.turn), 9) for p in contour.pieces if p.turn)
    assert turned == [-180, 90]


def test_arcs_of_a_mirrored_drawing(dxf):
    for start, end in (((-5, 0), (5, 0)), ((-5, 0), (0, 5))):
        dxf.space.add_line(start, end)
    arc = dxf.space.add_arc((0, 0), 5, 90, 180)
    arc.dxf.extrusion = (0, 0, -1)  # the quarter from (5, 0) to (0, 5)
    contour = dxf.contour(closed=True)
    assert contour.area() == pytest.approx(12.5 + 25 * math.pi / 4, abs=1e-9)


def test_splines_and_ellipses_are_arcs_within_the_bound(dxf):
    ring = [(0, 0), (8, 3), (10, 9), (2, 12), (-4, 5)]
    for tolerance in (1e-2, 1e-4):
        for layer, add in {
            "E": lambda: dxf.space.add_ellipse((3, 1), (10, 4), 0.3),
            "S": lambda: dxf.space.add_spline([*ring, ring[0]]),
        }.items():
            entity = add()
            entity.dxf.layer = layer
            contour, notes = dxf.told(layer=layer, tolerance=tolerance, closed=True)
            # A hundred times as many places of the curve itself, all near to the chords.
            fine = np.array([(v.x, v.y) for v in entity.flattening(1e-7, 64)])
            off = distance([contour], [tuple(p) for p in fine[:: max(1, len(fine) // 4000)]])
            assert off.max() <= tolerance
            assert off.max() > tolerance / 50  # and no finer than it need be
            assert notes == [
                f"a.dxf: arcs and lines stand for a spline or an ellipse (off by at most "
                f"{tolerance * 1000:g} µm)"
            ]
            dxf.space.delete_entity(entity)


def test_the_area_of_an_ellipse(dxf):
    dxf.space.add_ellipse((0, 0), (10, 0), 0.5)
    assert dxf.contour(closed=True).area() == pytest.approx(math.pi * 50, abs=48.5 * 1e-4)


def test_half_an_ellipse_closed_by_a_line(dxf):
    dxf.space.add_ellipse((0, 0), (10, 0), 0.5, 0, math.pi)
    dxf.space.add_line((-10, 0), (10, 0))
    assert dxf.contour(closed=True).area() == pytest.approx(math.pi * 25, abs=25 * 1e-4)


def test_lettering_and_dimensions_are_no_outline(dxf):
    dxf.space.add_circle((0, 0), 3)
    dxf.space.add_text("drill through")
    dxf.space.add_point((9, 9))
    assert dxf.contour(closed=True).area() == pytest.approx(9 * math.pi)


def test_what_is_not_read_is_refused(dxf):
    dxf.doc.blocks.new("B").add_circle((0, 0), 1)
    dxf.space.add_circle((0, 0), 3)
    dxf.space.add_blockref("B", (0, 0)).dxf.layer = "0"
    key, text = dxf.fault()
    assert key == "dxf"
    assert "INSERT" in text
    assert 'on layer "0": only LINE, ARC, CIRCLE' in text
    assert "explode it first" in text


@pytest.mark.parametrize("place", ["LINE", "ARC", "SPLINE", "POLYLINE"])
def test_what_does_not_lie_in_plan_is_refused(dxf, place):
    if place == "LINE":
        dxf.space.add_line((0, 0, 0), (10, 0, 1))
    elif place == "ARC":
        dxf.space.add_arc((0, 0), 5, 0, 90).dxf.extrusion = (0, 1, 0)
    elif place == "SPLINE":
        dxf.space.add_spline([(0, 0, 0), (1, 1, 1), (2, 0, 0)])
    else:
        dxf.space.add_polyline3d([(0, 0, 0), (5, 0, 0), (5, 5, 2)])
    assert place in dxf.fault()[1]
    assert "a contour lies in plan" in dxf.fault()[1]


def test_layers(dxf):
    dxf.space.add_circle((0, 0), 3).dxf.layer = "Cut"
    dxf.space.add_circle((0, 0), 4).dxf.layer = "Frame"
    assert dxf.contour(layer="CUT").pieces[0].radius == 3
    assert dxf.fault() == ("dxf.layer", 'is missing: a.dxf has outlines on "Cut", "Frame"')
    key, text = dxf.fault(layer="cutt")
    assert key == "dxf.layer"
    assert text.startswith('no outlines on "cutt" in a.dxf; it has some on "Cut", "Frame"')
    assert 'did you mean "Cut"' in text


def test_which_outline(dxf):
    for x, r in ((0, 10), (0, 3), (40, 5)):
        dxf.space.add_circle((x, 0), r)
    assert dxf.contour(near=(9, 0)).pieces[0].radius == 10
    assert dxf.contour(near=(4, 0)).pieces[0].radius == 3
    assert dxf.contour(near=(33, 0)).pieces[0].radius == 5
    assert dxf.contour(inside=(5, 0)).pieces[0].radius == 10
    assert dxf.contour(inside=(1, 1)).pieces[0].radius == 3
    key, text = dxf.fault()
    assert key == "dxf.near"
    assert text.startswith(
        "is missing: there are 3 outlines, at (10.000, 0.000) mm, (3.000, 0.000)"
    )
    key, text = dxf.fault(near=(6.5, 0))
    assert (key, text.split(";")[0]) == (
        "dxf.near", "(6.500, 0.000) mm is as near to 2 outlines, 3.500 mm from each",
    )  # fmt: skip
    assert dxf.fault(inside=(20, 0)) == (
        "dxf.inside", "no closed outline lies round (20.000, 0.000) mm",
    )  # fmt: skip
    assert dxf.fault(inside=(0, 0), near=(0, 0))[1] == "has near and inside; give one of them"


def test_gaps_are_closed_up_to_the_limit_and_said(dxf):
    """A square whose corners are 0.8 um open."""
    gap = 0.8e-3
    for a, b in (((0, 0), (10, 0)), ((10, gap), (10, 10)), ((10, 10), (0, 10)), ((0, 10), (0, 0))):
        dxf.space.add_line(a, b)
    contour, notes = dxf.told(closed=True)
    assert contour.area() == pytest.approx(100, abs=10 * gap)
    assert notes == ['layer "0" of a.dxf: gaps of up to 0.000800 mm are closed']
    for piece, after in zip(contour.pieces, contour.pieces[1:], strict=False):
        assert piece.end == after.start
    assert "does not close" in dxf.fault(gap=0.5e-3)[1]


def test_a_gap_at_an_arc_moves_the_line(dxf):
    dxf.space.add_arc((0, 0), 5, 0, 180)
    dxf.space.add_line((-5, 0.0009), (5, 0))
    arc = next(p for p in dxf.contour(closed=True).pieces if p.turn)
    assert (arc.center, arc.radius) == ((0, 0), 5)


def test_an_open_contour(dxf):
    dxf.space.add_line((0, 0), (10, 0))
    dxf.space.add_arc((10, 5), 5, -90, 0)
    key, text = dxf.fault(closed=True)
    assert key == "dxf"
    assert text == (
        'the contour on layer "0" of a.dxf does not close: its ends at (0.000, 0.000) mm and '
        "(15.000, 5.000) mm are 15.811388 mm apart. Close it, set gap to close it here, or set "
        "open = true to walk it as it is"
    )
    contour = dxf.contour(open=True)
    assert (contour.closed, contour.start) == (False, (0, 0))
    assert contour.end == pytest.approx((15, 5))
    assert dxf.fault(open=True, closed=True)[0] == "dxf.open"


def test_three_ends_at_one_place_are_ambiguous(dxf):
    first = dxf.space.add_line((0, 0), (10, 0))
    dxf.space.add_line((10, 0), (0, 10))
    dxf.space.add_line((0, 10), (0, 0))
    last = dxf.space.add_line((10, 0), (20, 0))
    key, text = dxf.fault()
    assert key == "dxf"
    assert "3 ends meet at (10.000, 0.000) mm" in text
    assert f"LINE {first.dxf.handle}, " in text
    assert f"LINE {last.dxf.handle}. Delete what is drawn twice" in text


def test_a_line_drawn_twice_is_ambiguous(dxf):
    for _ in range(2):
        dxf.space.add_line((0, 0), (10, 0))
    dxf.space.add_line((10, 0), (0, 10))
    dxf.space.add_line((0, 10), (0, 0))
    assert "3 ends meet" in dxf.fault()[1]


def test_a_broken_outline_beside_the_one_that_is_meant_does_not_matter(dxf):
    dxf.space.add_circle((0, 0), 3)
    dxf.space.add_line((20, 0), (30, 0))
    assert dxf.contour(near=(2, 0), closed=True).pieces[0].radius == 3
    assert "one that is not closed: does not close" in dxf.fault(inside=(20, 5))[1]


@given(
    turns=st.lists(st.floats(0.05, 1.0), min_size=4, max_size=14),
    radii=st.lists(st.floats(5.0, 20.0), min_size=14, max_size=14),
    bulges=st.lists(st.floats(-0.15, 0.15), min_size=14, max_size=14),
    seed=st.integers(0, 2**31),
)
@settings(max_examples=15, deadline=None)
def test_shuffled_pieces_give_the_area_of_shapely(tmp_path_factory, turns, radii, bulges, seed):
    """Stars of lines and arcs, shuffled and turned round at random, come back whole."""
    angles = np.cumsum(turns) / sum(turns) * 2 * math.pi
    corners = [(r * math.cos(a), r * math.sin(a)) for r, a in zip(radii, angles, strict=False)]
    drawing = Dxf(tmp_path_factory.mktemp("star"))
    entities = []
    rng = np.random.default_rng(seed)
    for n, corner in enumerate(corners):
        rows = [(*corner, bulges[n]), (*corners[(n + 1) % len(corners)], 0.0)]
        if rng.random() < 0.5:
            rows = [(*rows[1][:2], -bulges[n]), (*rows[0][:2], 0.0)]
        entities.append(rows)
    for n in rng.permutation(len(entities)):
        drawing.space.add_lwpolyline(entities[n], format="xyb")
    found = drawing.contour(closed=True)
    whole = (
        ezdxf.new()
        .modelspace()
        .add_lwpolyline(
            [(*c, b) for c, b in zip(corners, bulges, strict=False)], format="xyb", close=True
        )
    )
    path = ezdxf.path.make_path(whole)
    reference = shapely.Polygon([(v.x, v.y) for v in path.flattening(1e-5)])
    assert found.area() == pytest.approx(abs(reference.area), rel=1e-4)
    assert len(found.pieces) in (len(corners), len(corners) + 1)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "can't be read as a drawing"),
        (b"no drawing at all\n", "can't be read as a drawing"),
        (bytes(range(256)) * 20, "can't be read as a drawing"),
        (b"0\nSECTION\n2\nENTITIES\n0\nLINE\n", "can't be read as a drawing|holds no outlines"),
    ],
)
def test_files_that_are_no_drawings(tmp_path, content, said):
    (tmp_path / "a.dxf").write_bytes(content)
    with pytest.raises(PassError, match=said) as caught:
        sourced_contour(Shape(dxf=Drawing(file="a.dxf")), sources(tmp_path), "mm")
    assert caught.value.key == "dxf.file"


def damaged(dxf: Dxf, change: Callable[[bytes], bytes]) -> tuple[str, list[str]]:
    """What is said of a drawing of one circle after a change of its bytes: an error, or notes."""
    shape = dxf.shape()
    path = dxf.folder / "a.dxf"
    path.write_bytes(change(path.read_bytes()))
    try:
        return "", sourced_contour(shape, sources(dxf.folder), "mm")[1]
    except PassError as error:
        return str(error), []


def test_a_drawing_without_its_model_space(dxf):
    dxf.space.add_circle((0, 0), 3)
    said, _ = damaged(dxf, lambda raw: raw.replace(b"\nModel\n", b"\nMadel\n"))
    assert said.startswith("a.dxf can't be read as a drawing (")


def test_what_was_mended_is_said(dxf, capfd):
    dxf.space.add_circle((0, 0), 3)
    _, notes = damaged(dxf, lambda raw: raw.replace(b"  0\nLTYPE\n", b"  0\nLTYPX\n", 1))
    (note,) = notes
    assert note.startswith("a.dxf is damaged and was mended on reading: ")
    assert "LTYPX" in note
    assert capfd.readouterr() == ("", "")


def test_damaged_drawings_are_an_error_or_a_contour(dxf):
    """Bytes changed, taken out and put in at random: never another outcome, nothing on stderr."""
    dxf.space.add_circle((0, 0), 3)
    dxf.space.add_ellipse((20, 0), (5, 1), 0.5)
    rng = np.random.default_rng(5)

    def change(raw: bytes) -> bytes:
        found = bytearray(raw)
        for _ in range(rng.integers(1, 5)):
            at = int(rng.integers(raw.index(b"ENTITIES"), len(found)))
            kind = rng.integers(3)
            if kind == 0:
                found[at] = int(rng.integers(256))
            elif kind == 1:
                del found[at : at + int(rng.integers(1, 40))]
            else:
                found[at:at] = rng.choice(list(b"0123456789.-e\n"), 5).astype(np.uint8).tobytes()
        return bytes(found)

    outcomes = [damaged(dxf, change) for _ in range(40)]
    assert any(said for said, _ in outcomes)
    assert all(said or isinstance(notes, list) for said, notes in outcomes)


def test_an_empty_drawing(dxf):
    assert dxf.fault() == ("dxf.file", "a.dxf holds no outlines in its model space")


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("../b.dxf", "\"../b.dxf\" leaves the job's folder; copy the file into the job's folder"),
        ("/b.dxf", '"/b.dxf" is not relative to the job\'s folder'),
        ("b.dxf", '"b.dxf" is not there'),
        ("", "is an empty text; name a file"),
        (".", '"." is a folder; name a file in it'),
        ("x\ny.dxf", "has a character that no file's name should have"),
        ("link.dxf", '"link.dxf" leaves the job\'s folder'),
    ],
)
def test_a_drawing_may_not_leave_the_folder(tmp_path, file, said):
    folder = tmp_path / "job"
    folder.mkdir()
    (tmp_path / "b.dxf").write_text("")
    (folder / "link.dxf").symlink_to(tmp_path / "b.dxf")
    with pytest.raises(PassError, match=said.replace(".", r"\.")) as caught:
        sourced_contour(Shape(dxf=Drawing(file=file)), sources(folder), "mm")
    assert caught.value.key == "dxf.file"


def test_a_drawing_outside_where_that_is_allowed(tmp_path):
    drawing = Dxf(tmp_path)
    drawing.space.add_circle((0, 0), 3)
    drawing.shape()
    folder = tmp_path / "job"
    folder.mkdir()
    free = Sources(None, folder, None)
    contour, _ = sourced_contour(Shape(dxf=Drawing(file="../a.dxf")), free, "mm")
    assert contour.pieces[0].radius == 3


# ------------------------------------------------------------------------------------ the section


def mesh(folder: Path, name: str, solid: trimesh.Trimesh) -> None:
    solid.export(folder / name)


@pytest.fixture
def plate(tmp_path: Path) -> Path:
    """A plate 60 x 40 x 10 with rounded corners R 8 and a bore of 16 at (10, 5)."""
    box = shapely.box(-22, -12, 22, 12).buffer(8, quad_segs=24)
    hole = shapely.Point(10, 5).buffer(8, quad_segs=24)
    solid = trimesh.creation.extrude_polygon(box - hole, 10)
    solid.apply_translation((0, 0, -10))
    mesh(tmp_path, "part.stl", solid)
    return tmp_path


def section(folder: Path, **keys: object) -> tuple[Contour, list[str]]:
    shape = Shape(section=Section(**keys))
    return sourced_contour(shape, sources(folder, "part.stl"), "mm", closed=True)


def test_the_section_has_the_model_s_arcs(plate):
    contour, notes = section(plate, z=-5, near=(30, 0))
    arcs = [p for p in contour.pieces if p.turn]
    assert [p.radius for p in arcs] == pytest.approx([8] * 4, abs=1e-4)
    assert [math.degrees(p.turn) for p in arcs] == pytest.approx([90] * 4, abs=1e-2)
    area = 60 * 40 - (4 - math.pi) * 64
    assert contour.area() == pytest.approx(area, abs=0.01)
    assert contour.start == pytest.approx((0, -20), abs=1e-4)
    (note,) = notes
    # A chord of a 24th of a quarter: R (1 - cos(90 / 48 degrees)).
    off = 8 * (1 - math.cos(math.radians(90 / 48)))
    said = "the section at z -5.000 mm: 4 arcs are fitted to the model's corners within 0.1 µm"
    assert note.startswith(said)
    assert float(note.split("up to ")[1].split()[0]) == pytest.approx(off, rel=0.02)


def test_a_bore_is_a_full_circle(plate):
    for keys in ({"inside": (10, 5)}, {"near": (11, 6)}):
        contour, notes = section(plate, z=-5, **keys)
        (piece,) = contour.pieces
        assert (*piece.center, piece.radius) == pytest.approx((10, 5, 8), abs=1e-5)
        assert piece.turn == 2 * math.pi
        assert "an arc is fitted" in notes[0]


def test_without_arcs_the_section_is_the_mesh_s_own(plate):
    contour, notes = section(plate, z=-5, near=(30, 0), tolerance=0)
    assert all(not p.turn for p in contour.pieces)
    own = shapely.box(-22, -12, 22, 12).buffer(8, quad_segs=24)
    assert contour.area() == pytest.approx(own.area, abs=1e-4)
    assert notes[0].startswith("the section at z -5.000 mm: facets stand up to 0.0042")


def test_a_polygon_stays_one(tmp_path):
    """The corners of a hexagon and of a square lie on a circle too."""
    for sides in (4, 6, 8, 12):
        ring = [(9 * math.cos(2 * math.pi * n / sides), 9 * math.sin(2 * math.pi * n / sides))
                for n in range(sides)]  # fmt: skip
        pieces = [Piece(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
        contour = Contour(tuple(pieces), True)
        assert with_arcs(contour, 1e-4) == (contour, 0) or all(
            not p.turn for p in with_arcs(contour, 1e-4)[0].pieces
        )


@given(
    radius=st.floats(1.0, 40.0),
    facets=st.integers(5, 40),
    degrees=st.floats(30.0, 300.0),
    turned=st.floats(0, 6.2),
    noise=st.sampled_from([0.0, 3e-3]),
)
@settings(max_examples=40, deadline=None)
def test_an_arc_between_lines_is_found_where_its_corners_lie_on_it(
    radius, facets, degrees, turned, noise
):
    """A sector: two lines and an arc of facets; corners 3 um off it are not within 0.1 um."""
    if math.radians(degrees) / facets >= math.radians(29):
        return
    angles = turned + np.linspace(0, math.radians(degrees), facets + 1)
    rng = np.random.default_rng(facets)
    radii = radius + noise * rng.choice([-1.0, 1.0], len(angles))
    ring = [(0.0, 0.0), *zip((radii * np.cos(angles)).tolist(), (radii * np.sin(angles)).tolist(),
                             strict=True)]  # fmt: skip
    pieces = [Piece(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    found, count = with_arcs(Contour(tuple(pieces), True), 1e-4)
    if noise:
        assert all(distance([found], ring) <= 1e-4 + 1e-9)
        return
    assert count == 1
    (arc,) = [p for p in found.pieces if p.turn]
    assert arc.radius == pytest.approx(radius, rel=1e-6)
    assert arc.turn == pytest.approx(math.radians(degrees), rel=1e-6)
    assert len(found.pieces) == 3


def test_sections_that_are_not_there(plate, tmp_path):
    for keys, key, said in (
        ({"z": 5}, "section.z", "the part has nothing at 5.000 mm"),
        ({"z": -5}, "section.near", "is missing: there are 2 outlines"),
        ({"z": -5, "inside": (90, 0)}, "section.inside", "no closed outline lies round"),
    ):
        with pytest.raises(PassError, match=said) as caught:
            section(plate, **keys)
        assert caught.value.key == key
    with pytest.raises(PassError, match="the job has no part model to be cut"):
        sourced_contour(Shape(section=Section(z=-1)), sources(tmp_path), "mm")


# ------------------------------------------------------------------------------------ in the list

HEAD = 'name = "p"\ntool = 1\nfeed = 300\nbottom = -4\n'
TOOLS = {1: Tool(1, "Flat 6", "flat", 6.0)}


def read(folder: Path, keys: str):
    (folder / "passes.toml").write_text(f"[[passes]]\n{HEAD}{keys}")
    given = PassSettings("mm", TOOLS, {}, 0.0, 0, sources(folder, "part.stl"))
    return read_passes(folder / "passes.toml", given, shown="passes.toml")


def test_a_contour_pass_keeps_its_distance_from_the_section(plate):
    keys = 'operation = "contour"\nside = "outside"\nsection = { z = -5, near = [30, 0] }\n'
    program = read(plate, keys + "allowance_side = 0.5\n")
    assert "4 arcs are fitted" in program.notes[0]
    assert program.notes[0].startswith('line 1, pass 1 "p": the section at z -5.000 mm')
    level = program.moves[(program.moves.end[:, 2] == -4) & (program.moves.start[:, 2] == -4)]
    wall, _ = section(plate, z=-5, near=(30, 0))
    gaps = distance([wall], [tuple(p) for p in level.end[:, :2].tolist()])
    np.testing.assert_allclose(gaps, 3.5, atol=1e-6)


def test_a_pocket_with_a_boundary_and_an_island_from_a_drawing(dxf, tmp_path):
    dxf.space.add_lwpolyline([(0, 0), (60, 0), (60, 40), (0, 40)], close=True)
    dxf.space.add_circle((30, 20), 5)
    dxf.shape()
    keys = (
        'operation = "pocket"\nradial_cutting_depth = 2\ndxf = { file = "a.dxf", near = [0, 0] }\n'
        'islands = [{ dxf = { file = "a.dxf", near = [30, 20] } }]\n'
    )
    inline = (
        'operation = "pocket"\nradial_cutting_depth = 2\n'
        "rectangle = { low = [0, 0], high = [60, 40] }\n"
        "islands = [{ circle = { center = [30, 20], diameter = 10 } }]\n"
    )
    assert np.array_equal(read(tmp_path, keys).moves.end, read(tmp_path, inline).moves.end)


def test_errors_name_file_pass_and_key(tmp_path):
    keys = 'operation = "pocket"\nradial_cutting_depth = 2\ndxf = { file = "b.dxf" }\n'
    with pytest.raises(JobError, match=r'passes\.toml: passes\[1\]\.dxf\.file: "b\.dxf" is not'):
        read(tmp_path, keys)


def test_the_drawings_that_a_pass_list_names(tmp_path):
    (tmp_path / "passes.toml").write_text(
        '[[passes]]\ndxf = { file = "a.dxf" }\nislands = [{ dxf = { file = "in/b.dxf" } }]\n'
    )
    found = drawings(tmp_path / "passes.toml")
    assert found == [tmp_path / "a.dxf", tmp_path / "in/b.dxf"]
    (tmp_path / "passes.toml").write_text("no toml")
    assert drawings(tmp_path / "passes.toml") == []
