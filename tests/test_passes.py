"""Pass lists: numbering, levels, rapids, contours, faces, holes and paths, all in closed form."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from helpers_passes import EXAMPLE_TOOLS, EXAMPLE_TOP, INCH, example
from proud.contour import Contour, Piece, distance
from proud.moves import ARC, LINE, Moves, Program
from proud.passes import PassSettings, pass_schema, read_passes
from proud.tools import Tool

TOOLS = {
    1: Tool(1, "Flat 6", "flat", 6.0),
    2: Tool(2, "Bull 12", "bull", 12.0, corner_radius=1.5),
    3: Tool(3, "Ball 6", "ball", 6.0),
    4: Tool(4, "Drill 5", "drill", 5.0, point_angle=118.0),
}
HEAD = 'name = "p"\ntool = 1\nfeed = 300\n'
SQUARE = "rectangle = { low = [0, 0], high = [40, 20] }\n"


def read(tmp_path: Path, text: str, unit: str = "mm", **more: object) -> Program:
    path = tmp_path / "passes.toml"
    path.write_text(text)
    given = {"tools": TOOLS, "d_errors": {}, "stock_top": 0.0, **more}
    return read_passes(path, PassSettings(unit=unit, **given), shown="passes.toml")


def contour(tmp_path: Path, keys: str, **more: object) -> Moves:
    text = f'[[passes]]\n{HEAD}operation = "contour"\nbottom = -4\n{keys}'
    return read(tmp_path, text, **more).moves


def level(moves: Moves, z: float) -> Moves:
    """Feed moves from z to z, exactly."""
    return moves[~moves.rapid & (moves.start[:, 2] == z) & (moves.end[:, 2] == z)]


def pieces(moves: Moves) -> list[Piece]:
    return [
        Piece(tuple(s[:2]), tuple(e[:2]), tuple(c), t)
        for s, e, c, t in zip(
            moves.start.tolist(),
            moves.end.tolist(),
            moves.center.tolist(),
            moves.turn.tolist(),
            strict=True,
        )
    ]


def check_way(moves: Moves) -> None:
    """Every pass comes from above and ends above, and no move begins elsewhere than the last ended."""
    for number in np.unique(moves.pass_number):
        part = moves[moves.pass_number == number]
        assert np.isnan(part.start[0, 2])
        assert part.rapid[0]
        assert (part.start[0, :2] == part.end[0, :2]).all()
        np.testing.assert_array_equal(part.start[1:], part.end[:-1])
        plane = part.end[0, 2]
        assert part.end[-1, 2] == plane
        across = part.rapid & (part.start[:, :2] != part.end[:, :2]).any(axis=1)
        assert (part.start[across, 2] == plane).all()
        assert (part.end[across, 2] == plane).all()
        assert (part.feed[part.rapid] == 0).all()
        assert (part.feed[~part.rapid] > 0).all()
        assert ((part.turn != 0) == (part.kind == ARC)).all()
        assert ((part.start[1:] != part.end[1:]).any(axis=1) | (part.kind[1:] == ARC)).all()


# ----------------------------------------------------------------------------- numbering and lines


def test_passes_are_numbered_in_file_order_with_the_line_of_their_heading(tmp_path):
    text = (
        "# comment\n\n[[passes]]\n" + HEAD + 'operation = "drill"\npoints = [[1, 2]]\nbottom = -3\n'
        '\n  [[ passes ]]  # second\nname = """two\n[[passes]]\n"""\ntool = 4\nfeed = 100\n'
        'operation = "drill"\npoints = [[3, 4]]\nbottom = -3\n'
    )
    program = read(tmp_path, text, setup=2)
    first, second = program.passes
    assert (first.number, first.setup, first.tool, first.from_line, first.to_line) == (
        1,
        2,
        1,
        3,
        3,
    )
    assert (second.number, second.tool, second.from_line) == (2, 4, 11)
    moves = program.moves
    assert set(
        zip(
            moves.pass_number.tolist(),
            moves.line.tolist(),
            moves.tool.tolist(),
            moves.h_register.tolist(),
            moves.setup.tolist(),
            strict=True,
        )
    ) == {(1, 3, 1, 1, 2), (2, 11, 4, 4, 2)}
    check_way(moves)


def test_the_example_of_the_documentation_reads(tmp_path):
    program = read(tmp_path, example(), "in", tools=EXAMPLE_TOOLS, stock_top=EXAMPLE_TOP)
    names = [p.name for p in program.passes]
    assert names == [line[8:-1] for line in example().split("\n") if line.startswith("name = ")]
    assert len(names) == 14
    assert set(_OPERATION.findall(example())) == set(operations())
    check_way(program.moves)
    assert program.moves.feed[program.moves.pass_number == 2].max() == 400.0
    assert program.moves.feed[program.moves.pass_number == 1].max() == pytest.approx(20 * INCH)


_OPERATION = re.compile('^operation = "(.*?)"', re.MULTILINE)


def operations() -> list[str]:
    items = pass_schema()["properties"]["passes"]["items"]
    return sorted(items["discriminator"]["mapping"])


def test_schema_names_every_operation_and_the_plain_key_from():
    assert operations() == [
        "chamfer", "contour", "drill", "face", "fillet", "helix_bore", "path", "pocket", "raster"
    ]  # fmt: skip
    assert "from" in pass_schema()["$defs"]["Slot"]["properties"]


def test_the_example_of_the_documentation_fits_the_schema():
    jsonschema = pytest.importorskip("jsonschema")
    check = jsonschema.Draft202012Validator(pass_schema())
    check.validate(tomllib.loads(example()))
    for bad in ("milling = 3", "levels = []", "pattern = 1", "allowance_sid = 1"):
        text = example().replace('operation = "pocket"', f'operation = "pocket"\n{bad}', 1)
        assert not check.is_valid(tomllib.loads(text)), bad


# ------------------------------------------------------------------------------- levels and rapids


@pytest.mark.parametrize(
    ("keys", "heights"),
    [
        ("bottom = -4", [-4.0]),
        ("bottom = -4\naxial_cutting_depth = 1.5", [-1.5, -3.0, -4.0]),
        ("bottom = -4\naxial_cutting_depth = 2", [-2.0, -4.0]),
        ("bottom = -0.3\naxial_cutting_depth = 0.1", [-0.1, -0.2, -0.3]),
        ("bottom = -4\nallowance_bottom = 0.2\naxial_cutting_depth = 2", [-2.0, -3.8]),
        ("bottom = -4\nallowance_bottom = -0.1", [-4.1]),
        ("bottom = -4\ntop = -1\naxial_cutting_depth = 2", [-3.0, -4.0]),
    ],
)
def test_levels_end_exactly_at_bottom_and_allowance(tmp_path, keys, heights):
    text = f'[[passes]]\n{HEAD}operation = "contour"\nside = "outside"\n{SQUARE}{keys}\n'
    moves = read(tmp_path, text).moves
    cut = moves[~moves.rapid & (moves.start[:, 2] == moves.end[:, 2])]
    assert list(dict.fromkeys(cut.end[:, 2].tolist())) == heights
    check_way(moves)


def test_rapids_end_above_the_metal_and_feeds_go_down(tmp_path):
    moves = contour(
        tmp_path,
        'side = "on"\npoints = [[0, 0], [9, 0]]\naxial_cutting_depth = 2\nretract_plane = 8\n'
        "security_distance = 0.5\nplunge_feed = 50\nspindle = 2000\n",
    )
    rows = [
        (r, *e, f)
        for r, e, f in zip(
            moves.rapid.tolist(), moves.end.tolist(), moves.feed.tolist(), strict=True
        )
    ]
    assert rows == [
        (True, 0, 0, 8, 0),
        (True, 0, 0, 0.5, 0),
        (False, 0, 0, -2, 50),
        (False, 9, 0, -2, 300),
        (True, 9, 0, 8, 0),
        (True, 0, 0, 8, 0),
        (True, 0, 0, -1.5, 0),
        (False, 0, 0, -4, 50),
        (False, 9, 0, -4, 300),
        (True, 9, 0, 8, 0),
    ]
    assert set(moves.spindle.tolist()) == {2000.0}


@pytest.mark.parametrize(("unit", "plane", "near"), [("mm", 5.0, 1.0), ("in", 5.08, 1.016)])
def test_heights_of_the_rapids_unless_said(tmp_path, unit, plane, near):
    text = f'[[passes]]\n{HEAD}operation = "drill"\npoints = [[0, 0]]\nbottom = "-3mm"\n'
    assert read(tmp_path, text, unit).moves.end[:2, 2].tolist() == [plane, near]


# ---------------------------------------------------------------------------------------- contours


def test_outside_of_a_rectangle_is_perimeter_and_a_circle(tmp_path):
    cut = level(contour(tmp_path, f'side = "outside"\n{SQUARE}'), -4.0)
    assert cut.lengths().sum() == pytest.approx(120 + 6 * math.pi, rel=1e-12)
    assert set(cut.kind.tolist()) == {LINE, ARC}
    assert cut.turn.sum() == pytest.approx(-2 * math.pi, rel=1e-12)  # climb: clockwise outside
    assert cut.start[0].tolist() == [20.0, -3.0, -4.0]


def test_inside_of_a_rectangle_and_the_way_round(tmp_path):
    for mode, end in (("climb", [37.0, 3.0]), ("conventional", [3.0, 3.0])):
        cut = level(contour(tmp_path, f'side = "inside"\ncutmode = "{mode}"\n{SQUARE}'), -4.0)
        assert cut.lengths().sum() == pytest.approx(2 * (34 + 14), rel=1e-12)
        assert cut.start[0, :2].tolist() == [20.0, 3.0]
        assert cut.end[0, :2].tolist() == end


def test_inside_of_a_slot_as_wide_as_the_tool(tmp_path):
    keys = 'side = "inside"\nrectangle = { low = [0, 0], high = [30, 6] }\n'
    cut = level(contour(tmp_path, keys), -4.0)
    assert cut.lengths().sum() == pytest.approx(48, rel=1e-12)
    assert (cut.end[:, 1] == 3.0).all()
    assert (cut.end[:, 0].min(), cut.end[:, 0].max()) == (3.0, 27.0)


def test_inside_corner_of_exactly_the_tools_radius(tmp_path):
    keys = 'side = "inside"\nrectangle = { low = [0, 0], high = [40, 20], corner_radius = 3 }\n'
    cut = level(contour(tmp_path, keys), -4.0)
    assert cut.lengths().sum() == pytest.approx(2 * (34 + 14), rel=1e-12)
    assert set(cut.kind.tolist()) == {LINE}


def test_points_are_walked_as_written_unless_cutmode_is_given(tmp_path):
    clockwise = "points = [[0, 0], [0, 20], [40, 20], [40, 0]]\nclosed = true\n"
    written = level(contour(tmp_path, f'side = "inside"\n{clockwise}'), -4.0)
    climb = level(contour(tmp_path, f'side = "inside"\ncutmode = "climb"\n{clockwise}'), -4.0)
    assert written.start[0, :2].tolist() == climb.start[0, :2].tolist() == [3.0, 3.0]
    assert written.end[0, :2].tolist() == [3.0, 17.0]
    assert climb.end[0, :2].tolist() == [37.0, 3.0]


@pytest.mark.parametrize(
    ("side", "start", "end", "length"),
    [
        ("left", (0, 3), (17, 20), 34.0),
        ("right", (0, -3), (23, 20), 40 + 1.5 * math.pi),
        ("on", (0, 0), (20, 20), 40.0),
    ],
)
def test_sides_of_an_open_contour(tmp_path, side, start, end, length):
    cut = level(contour(tmp_path, f'side = "{side}"\npoints = [[0, 0], [20, 0], [20, 20]]\n'), -4.0)
    assert tuple(cut.start[0, :2]) == start
    assert tuple(cut.end[-1, :2]) == end
    assert cut.lengths().sum() == pytest.approx(length, rel=1e-12)


@pytest.mark.parametrize("side", ["left", "right"])
def test_path_round_an_outside_corner_begins_beside_the_first_piece(tmp_path, side):
    way = (
        "[[0, 0], [40, 0], [40, 20], [0, 20]]"
        if side == "right"
        else "[[0, 0], [0, 20], [40, 20], [40, 0]]"
    )
    cut = level(contour(tmp_path, f'side = "{side}"\npoints = {way}\nclosed = true\n'), -4.0)
    assert cut.start[0, :2].tolist() == ([0.0, -3.0] if side == "right" else [-3.0, 0.0])
    assert cut.kind[0] == LINE


def test_allowance_and_d_error_move_the_wall_by_exactly_so_much(tmp_path):
    keys = f'side = "outside"\nallowance_side = 0.2\n{SQUARE}'
    for d_error in (0.0, 0.0381, -0.05):
        cut = level(contour(tmp_path, keys, d_errors={1: d_error, 2: 9.0}), -4.0)
        assert cut.start[:, 1].min() == round(-3.2 - d_error, 10)
        wall = Contour(
            (
                Piece((0, 0), (40, 0)),
                Piece((40, 0), (40, 20)),
                Piece((40, 20), (0, 20)),
                Piece((0, 20), (0, 0)),
            ),
            True,
        )
        places = [p.at(t) for p in pieces(cut) for t in (0, 0.25, 0.5, 0.75)]
        np.testing.assert_allclose(distance([wall], places), 3.2 + d_error, rtol=0, atol=1e-9)


def test_d_error_moves_no_tip_on_the_contour(tmp_path):
    cut = level(
        contour(tmp_path, 'side = "on"\npoints = [[0, 0], [9, 0]]\n', d_errors={1: 0.5}), -4.0
    )
    assert cut.start[0].tolist() == [0.0, 0.0, -4.0]


def test_rounds_work_towards_the_wall(tmp_path):
    cut = level(
        contour(
            tmp_path, f'side = "outside"\nradial_passes = 3\nradial_cutting_depth = 2\n{SQUARE}'
        ),
        -4.0,
    )
    starts = cut.start[(cut.start[:, 0] == 20.0) & (cut.start[:, 1] < 0)]
    assert starts[:, 1].tolist() == [-7.0, -5.0, -3.0]


def test_start_and_overlap_of_a_closed_contour(tmp_path):
    cut = level(
        contour(tmp_path, f'side = "outside"\nstart = [45, 12]\noverlap = 1.5\n{SQUARE}'), -4.0
    )
    assert cut.start[0, :2].tolist() == [43.0, 12.0]
    assert cut.end[-1, :2].tolist() == [43.0, 10.5]  # climb outside runs down the +X side
    assert cut.lengths().sum() == pytest.approx(121.5 + 6 * math.pi, rel=1e-12)


def test_arcs_of_center_radius_and_round(tmp_path):
    cut = level(
        contour(
            tmp_path,
            'side = "on"\npoints = [[0, 0], [10, 0], { to = [15, 5], center = [10, 5], turn = "ccw" }, '
            '{ to = [25, 5], radius = 5, turn = "cw" }, { to = [25, -20], round = 4 }, [60, -20], '
            '{ to = [60, -10], radius = 6, turn = "ccw", long = true }]\n',
        ),
        -4.0,
    )
    small = 2 * math.asin(5 / 6)
    assert cut.turn.tolist() == pytest.approx(
        [0, math.pi / 2, -math.pi, 0, math.pi / 2, 0, 2 * math.pi - small], abs=1e-12
    )
    assert cut.center[1].tolist() == [10.0, 5.0]
    assert cut.center[2].tolist() == [20.0, 5.0]
    assert cut.center[4].tolist() == [29.0, -16.0]
    assert cut.end[4, :2].tolist() == [29.0, -20.0]


def test_arc_whose_radii_differ_within_the_tolerance_is_evened_out(tmp_path):
    cut = level(
        contour(
            tmp_path,
            'side = "on"\npoints = [[5, 0], { to = [0, 5.001], center = [0, 0], turn = "ccw" }]\n',
        ),
        -4.0,
    )
    radii = [np.hypot(*(p[0, :2] - cut.center[0])) for p in (cut.start, cut.end)]
    assert radii[0] == pytest.approx(radii[1], abs=1e-9)


# ---------------------------------------------------------------------------- approach and retract


@pytest.mark.parametrize("side", ["left", "right"])
def test_arc_leads_run_tangent_from_the_tools_side(tmp_path, side):
    sign = 1 if side == "left" else -1
    cut = level(
        contour(
            tmp_path,
            f'side = "{side}"\npoints = [[0, 0], [20, 0]]\napproach = {{ kind = "arc", radius = 2 }}\n'
            'retract = { kind = "arc", radius = 4, angle = 180 }\n',
        ),
        -4.0,
    )
    assert cut.start[0, :2].tolist() == pytest.approx([-2, sign * 5], abs=1e-9)
    assert cut.end[0, :2].tolist() == [0, sign * 3]
    assert cut.end[-1, :2].tolist() == pytest.approx([20, sign * 11], abs=1e-9)
    lead, path, out = pieces(cut)
    assert lead.heading(1) == pytest.approx(path.heading(0), abs=1e-9)
    assert out.heading(0) == pytest.approx(path.heading(1), abs=1e-9)
    assert cut.turn.tolist() == pytest.approx([sign * math.pi / 2, 0, sign * math.pi], rel=1e-12)


@pytest.mark.parametrize(
    ("angle", "start"),
    [(0, (-4, 3)), (90, (0, 7)), (45, (-4 * math.sqrt(0.5), 3 + 4 * math.sqrt(0.5)))],
)
def test_straight_leads(tmp_path, angle, start):
    cut = level(
        contour(
            tmp_path,
            f'side = "left"\npoints = [[0, 0], [20, 0]]\napproach = {{ kind = "straight", length = 4, angle = {angle} }}\n'
            'retract = { kind = "plunge" }\n',
        ),
        -4.0,
    )
    assert cut.start[0, :2].tolist() == pytest.approx(start, abs=1e-9)
    assert cut.end[-1, :2].tolist() == [20.0, 3.0]


def test_retract_is_as_approach_unless_said(tmp_path):
    cut = level(
        contour(
            tmp_path,
            'side = "left"\npoints = [[0, 0], [20, 0]]\napproach = { kind = "straight", length = 4 }\n',
        ),
        -4.0,
    )
    assert (cut.start[0, 0], cut.end[-1, 0]) == (-4.0, 24.0)


# ---------------------------------------------------------------------------------- face, drill, path


def test_face_covers_its_rectangle_with_the_flat_end(tmp_path):
    text = (
        '[[passes]]\nname = "f"\ntool = 2\nfeed = 300\noperation = "face"\nrectangle = { low = [0, 0], high = [60, 40] }\n'
        "bottom = -1\nradial_cutting_depth = 8\noverlap = 2\n"
    )
    program = read(tmp_path, text)
    cut = level(program.moves, -1.0)
    rows = cut[cut.start[:, 1] == cut.end[:, 1]]
    assert rows.start[:, 1].tolist() == pytest.approx(
        [2.5, 2.5 + 35 / 5, 16.5, 23.5, 30.5, 37.5], abs=1e-9
    )
    assert set(np.abs(rows.end[:, 0] - rows.start[:, 0]).tolist()) == {60.0 + 2 * 8}
    assert rows.start[:, 0].tolist() == [-8.0, 68.0] * 3
    assert program.notes == ()
    check_way(program.moves)


def test_face_along_y_one_way_only(tmp_path):
    text = (
        f'[[passes]]\n{HEAD}operation = "face"\n{SQUARE}bottom = -1\nradial_cutting_depth = 6\nangle = 90\n'
        'strategy = "unidirectional"\noverlap = 0\n'
    )
    moves = read(tmp_path, text).moves
    cut = level(moves, -1.0)
    assert (cut.start[:, 1] == -3.0).all()
    assert (cut.end[:, 1] == 23.0).all()
    assert cut.start[:, 0].tolist() == pytest.approx(np.linspace(3, 37, 7).tolist(), abs=1e-9)
    check_way(moves)


def test_narrow_face_is_one_line(tmp_path):
    text = (
        f'[[passes]]\n{HEAD}operation = "face"\nrectangle = {{ low = [0, 0], high = [40, 2] }}\nbottom = -1\n'
        "radial_cutting_depth = 3\n"
    )
    cut = level(read(tmp_path, text).moves, -1.0)
    assert cut.start[:, 1].tolist() == [1.0]


def test_pecks_go_out_of_the_hole_and_back(tmp_path):
    text = '[[passes]]\nname = "d"\ntool = 4\nfeed = 80\noperation = "drill"\npoints = [[1, 2], [5, 2]]\nbottom = -5\naxial_cutting_depth = 2\n'
    moves = read(tmp_path, text).moves
    hole = moves[moves.end[:, 0] == 1.0]
    assert list(zip(hole.rapid.tolist(), hole.end[:, 2].tolist(), strict=True)) == [
        (True, 5), (True, 1), (False, -2), (True, 1), (True, -1), (False, -4), (True, 1), (True, -3), (False, -5), (True, 5),
    ]  # fmt: skip
    assert (hole.start[1:, :2] == [1.0, 2.0]).all()
    check_way(moves)


def test_path_strokes_with_a_way_over_between(tmp_path):
    text = f'[[passes]]\n{HEAD}operation = "path"\nstrokes = [[[0, 0, -1], [9, 0, -2]], [[9, 1, -2], [0, 1, -1], [0, 1, 0]]]\n'
    moves = read(tmp_path, text).moves
    cut = moves[~moves.rapid]
    assert cut.end.tolist() == [[0, 0, -1], [9, 0, -2], [9, 1, -2], [0, 1, -1], [0, 1, 0]]
    check_way(moves)


# ------------------------------------------------------------------------------------------- notes


def test_notes_of_cusps_and_of_rapids_through_the_stock(tmp_path):
    text = (
        '[[passes]]\nname = "f"\ntool = 3\nfeed = 300\noperation = "face"\nrectangle = { low = [0, 0], high = [60, 40] }\n'
        "bottom = -3\ntop = -2\nradial_cutting_depth = 1\nretract_plane = -1\n"
    )
    program = read(tmp_path, text)
    assert program.notes == (
        'line 1, pass 1 "f": rapids at -1.000 mm run through the stock, whose top is 0.000 mm',
        'line 1, pass 1 "f": the end of tool 3 is flat over 0.000 mm only, so paths 1.000 mm apart leave cusps on the floor',
    )
