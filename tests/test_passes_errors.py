"""Every mistake in a pass list, with the text that a person reads."""

# Texts and tables are kept on one line each.
# ruff: noqa: E501

from __future__ import annotations

import pytest
from proud.errors import JobError
from proud.passes import PassSettings, read_passes
from test_passes import HEAD, SQUARE, TOOLS, read

OPEN = "points = [[0, 0], [20, 0], [20, 20]]\n"


def c(keys: str) -> str:
    return f'[[passes]]\n{HEAD}operation = "contour"\nbottom = -4\n{keys}'


def p(keys: str) -> str:
    return f'[[passes]]\n{HEAD}operation = "pocket"\nbottom = -4\nradial_cutting_depth = 2\n{keys}'


def arc(keys: str) -> str:
    return c(f'side = "on"\npoints = [[0, 0], {{ to = [10, 0], {keys} }}]\n')


BAD = {
    "no passes": ("format = 1\n", "passes.toml: passes: is missing: at least one [[passes]]"),
    "format": ("format = 2\n" + c(f'side = "on"\n{OPEN}'), "format: 2 is not allowed; allowed: 1"),
    "unknown key": (c(f'side = "on"\nallowance_sid = 1\n{OPEN}'), 'passes[1].allowance_sid: unknown key; .*did you mean "allowance_side"?'),
    "unknown operation": (f'[[passes]]\n{HEAD}operation = "pocketing"\n', 'passes[1].operation: "pocketing" is not allowed; allowed: contour, pocket, face, drill, helix_bore, chamfer, raster, fillet, path; did you mean "pocket"?'),
    "unknown tool": (c(f'side = "on"\n{OPEN}').replace("tool = 1", "tool = 9"), 'passes[1].tool: no tool 9 in the job; it has 1 (Flat 6), 2 (Bull 12), 3 (Ball 6), 4 (Drill 5) ("p", line 1)'),
    "tool not whole": (c(f'side = "on"\n{OPEN}').replace("tool = 1", "tool = 1.5"), "passes[1].tool: 1.5 is not a whole number"),
    "no feed": (c(f'side = "on"\n{OPEN}').replace("feed = 300\n", ""), "passes[1].feed: is missing: feed a minute"),
    "feed 0": (c(f'side = "on"\n{OPEN}').replace("feed = 300", "feed = 0"), "passes[1].feed: 0 is not above 0"),
    "no side": (c(OPEN), "passes[1].side: is missing: where the tool runs"),
    "a point that is short": (c('side = "on"\npoints = [[0, 0], [1]]\n'), "passes[1].points[2]: [1] is too short"),
    "a text for a number": (c('side = "on"\npoints = [[0, "a"], [1, 1]]\n'), 'passes[1].points[1][2]: "a" is not a length'),
    "NaN": (c(f'side = "on"\nallowance_bottom = nan\n{OPEN}'), "passes[1].allowance_bottom: nan"),
    "bottom above top": (c(f'side = "on"\nallowance_bottom = 5\n{OPEN}'), "passes[1].bottom: with allowance_bottom 1.000 mm, is not below the top, 0.000 mm"),
    "levels without end": (c(f'side = "on"\naxial_cutting_depth = "0.1um"\n{OPEN}'), "passes[1].axial_cutting_depth: would take 40000 levels; at most 10000 are made"),
    "retract plane": (c(f'side = "on"\nretract_plane = -1\n{OPEN}'), "passes[1].retract_plane: -1.000 mm is below the top of the pass, 0.000 mm; set it above"),
    "drill runs sideways": (c(f'side = "on"\n{OPEN}').replace("tool = 1", "tool = 4"), 'passes[1].tool: tool 4 is a drill, which cuts downwards only'),
    "drill with a contour": (f'[[passes]]\n{HEAD}operation = "drill"\nbottom = -4\n{SQUARE}', "passes[1].rectangle: unknown key; allowed here: points, pattern, .*operation, chip_break, dwell"),
    "drill with arcs": (f'[[passes]]\n{HEAD}operation = "drill"\nbottom = -4\npoints = [{{ to = [1, 1] }}]\n', "passes[1].points[1]: a table is not a list in [ ]"),
    "no geometry": (c('side = "on"\n'), "passes[1]: needs exactly one of points, circle, rectangle, slot, section, dxf; it has none"),
    "two geometries": (c(f'side = "on"\n{OPEN}{SQUARE}'), "passes[1]: needs exactly one of points, circle, rectangle, slot, section, dxf; it has points and rectangle"),
    # contours
    "first point a step": (c('side = "on"\npoints = [{ to = [0, 0] }, [1, 1]]\n'), "passes[1].points[1]: the first point is where the contour starts; write [x, y]"),
    "no length": (c('side = "on"\npoints = [[0, 0], [5, 0], [5, 0]]\n'), "passes[1].points[3]: no length: the step before ends at (5.000, 0.000) mm"),
    "turn of a line": (arc('turn = "cw"'), "passes[1].points[2]: turn and long belong to an arc; give it a center or a radius"),
    "center and radius": (arc('center = [5, 0], radius = 5, turn = "cw"'), "passes[1].points[2]: an arc has a center or a radius, not both"),
    "no turn": (arc("radius = 5"), 'passes[1].points[2].turn: is missing: "ccw" or "cw", the way round seen from above'),
    "arc doesn't close": (arc('center = [5.01, 0], turn = "cw"'), "passes[1].points[2]: the arc doesn't close: radius 5.010000 mm at its start and 4.990000 mm at its end; they may differ by 0.002000 mm"),
    "center on the start": (arc('center = [0, 0], turn = "cw"'), "passes[1].points[2].center: is where the arc starts, (0.000, 0.000) mm"),
    "radius too small": (arc('radius = 4, turn = "cw"'), "passes[1].points[2].radius: 4.000 mm is too small: the ends are 10.000 mm apart, so at least 5.000 mm is needed"),
    "long with a center": (arc('center = [5, 0], turn = "cw", long = true'), "passes[1].points[2].long: goes with radius"),
    "full circle of a radius": (c('side = "on"\npoints = [[0, 0], { to = [0, 0], radius = 5, turn = "cw" }]\n'), "passes[1].points[2]: an arc back to its start needs a center in place of a radius"),
    "round of an arc": (arc('radius = 5, turn = "cw", round = 1'), "passes[1].points[2].round: only the end of a line can be rounded off"),
    "round before an arc": (c('side = "on"\npoints = [[0, 0], { to = [5, 0], round = 1 }, { to = [9, 4], radius = 4, turn = "ccw" }]\n'), "passes[1].points[2].round: only a corner between two lines can be rounded off"),
    "round at the end": (arc("round = 1"), "passes[1].points[2].round: the contour ends here; there is no corner to round off"),
    "round without a corner": (c('side = "on"\npoints = [[0, 0], { to = [5, 0], round = 1 }, [9, 0]]\n'), "passes[1].points[2].round: the two lines run on or straight back"),
    "round too large": (c('side = "on"\npoints = [[0, 0], { to = [5, 0], round = 6 }, [5, 9]]\n'), "passes[1].points[2]: the line is 5.000 mm long, but the rounded corners at its ends take 6.000 mm; make them smaller"),
    "rectangle upside down": (c('side = "inside"\nrectangle = { low = [0, 5], high = [10, 5] }\n'), "passes[1].rectangle: y of low, 5.000 mm, is not below y of high, 5.000 mm"),
    "corner radius too large": (c('side = "inside"\nrectangle = { low = [0, 0], high = [10, 6], corner_radius = 3.1 }\n'), "passes[1].rectangle.corner_radius: 3.100 mm is over half of the shorter side, 6.000 mm"),
    "slot of no length": (c('side = "inside"\nslot = { from = [1, 1], to = [1, 1], width = 4 }\n'), "passes[1].slot: from and to are the same point; write a circle"),
    "crosses itself": (c('side = "inside"\nclosed = true\npoints = [[0, 0], [20, 20], [20, 0], [0, 20]]\n'), "passes[1].points: the contour meets itself at (10.000, 10.000) mm"),
    "closed rectangle": (c(f'side = "inside"\nclosed = true\n{SQUARE}'), "passes[1].closed: goes with points"),
    "start of an open one": (c(f'side = "left"\nstart = [0, 1]\n{OPEN}'), "passes[1].start: goes with a closed contour; this one is open"),
    "overlap of an open one": (c(f'side = "left"\noverlap = 1\n{OPEN}'), "passes[1].overlap: goes with a closed contour"),
    "inside of an open one": (c(f'side = "inside"\n{OPEN}'), 'passes[1].side: "inside" goes with a closed contour; take left, right or on'),
    "cutmode of a side": (c(f'side = "left"\ncutmode = "climb"\n{OPEN}'), "passes[1].cutmode: goes with inside and outside"),
    "rounds without a distance": (c(f'side = "left"\nradial_passes = 2\n{OPEN}'), "passes[1].radial_cutting_depth: is missing"),
    "distance without rounds": (c(f'side = "left"\nradial_cutting_depth = 2\n{OPEN}'), "passes[1].radial_passes: is missing"),
    "allowance on": (c(f'side = "on"\nallowance_side = 0.1\n{OPEN}'), 'passes[1].allowance_side: has no side to be left on where side = "on"'),
    "rounds on": (c(f'side = "on"\nradial_passes = 2\nradial_cutting_depth = 1\n{OPEN}'), "passes[1].radial_passes: have no wall to work towards"),
    "arc approach on": (c(f'side = "on"\napproach = {{ kind = "arc", radius = 1 }}\n{OPEN}'), 'passes[1].approach: has no side to come from where side = "on"'),
    "straight approach at an angle on": (c(f'side = "on"\nretract = {{ kind = "straight", length = 1, angle = 5 }}\n{OPEN}'), "passes[1].retract: has no side to come from"),
    "axis past the wall": (c(f'side = "left"\nallowance_side = -3.5\n{OPEN}'), "passes[1].allowance_side: puts the axis 0.500 mm past the contour; it can't be less than -3.000 mm for this tool"),
    "arc smaller than the tool": (c('side = "inside"\nrectangle = { low = [0, 0], high = [40, 20], corner_radius = 2.5 }\n'), "passes[1]: the tool can't enter the arc of radius 2.500 mm that ends at (40.000, 2.500) mm: its axis has to keep 3.000 mm (half of the diameter, allowance_side and D error) from the contour, over the radius 2.500 mm. Take a smaller tool or a larger radius"),
    "narrow between walls": (c('side = "inside"\nrectangle = { low = [0, 0], high = [40, 5] }\n'), "passes[1]: the path 3.000 mm beside the contour from (20.000, 0.000) mm has no way through"),
    "notch too narrow": (c('side = "left"\npoints = [[0, 0], [20, 0], [20, -9], [25, -9], [25, 0], [50, 0]]\n'), "passes[1]: the tool can't reach the line that ends at (20.000, -9.000) mm"),
    "neck too narrow": (c('side = "inside"\nclosed = true\npoints = [[0, 0], [20, 0], [20, 9], [32, 9], [32, 0], [56, 0], [56, 24], [32, 24], [32, 13], [20, 13], [20, 24], [0, 24]]\n'), "falls into several parts: the contour comes too close to itself for this tool"),
    "approach cuts the wall": (c(f'side = "inside"\napproach = {{ kind = "straight", length = 20 }}\n{SQUARE}'), "passes[1].approach: cuts the wall: it comes 3.000000 mm nearer to the contour than the path does"),
    "retract cuts the wall": (c(f'side = "inside"\nretract = {{ kind = "arc", radius = 15 }}\n{SQUARE}'), "passes[1].retract: cuts the wall"),
    "approach of unknown kind": (c(f'side = "left"\napproach = {{ kind = "helix" }}\n{OPEN}'), 'passes[1].approach.kind: "helix" is not allowed; allowed: plunge, straight, arc, ramp'),
    # pockets
    "stepover over R": (p(SQUARE).replace("depth = 2", "depth = 3.1"), 'passes[1].radial_cutting_depth: 3.100 mm leaves metal standing between the paths; tool 1 allows 3.000 mm, or strategy = "bidirectional" up to twice that'),
    "stepover over 2 R": (p(SQUARE + 'strategy = "bidirectional"\n').replace("depth = 2", "depth = 6.1"), "passes[1].radial_cutting_depth: 6.100 mm leaves metal standing between the paths; tool 1 allows 6.000 mm"),
    "rounds without end": (p(SQUARE).replace("depth = 2", 'depth = "0.1um"'), "passes[1].radial_cutting_depth: would take 70000 rounds; at most 5000 are made"),
    "lines without end": (p(SQUARE + 'strategy = "bidirectional"\n').replace("depth = 2", 'depth = "0.1um"'), "passes[1].radial_cutting_depth: would take 140000 lines; at most 5000 are made"),
    "tool too large": (p("circle = { center = [0, 0], diameter = 5 }\n"), "passes[1]: the tool doesn't fit into the pocket: its axis has to keep 3.000 mm"),
    "axis on the boundary": (p(SQUARE + "allowance_side = -3\n"), "passes[1].allowance_side: puts the axis on the boundary or past it"),
    "island outside": (p(SQUARE + "islands = [{ circle = { center = [60, 10], diameter = 4 } }]\n"), "passes[1].islands[1]: lies outside the boundary, at (62.000, 10.000) mm"),
    "island across": (p(SQUARE + "islands = [{ circle = { center = [40, 10], diameter = 4 } }]\n"), "passes[1].islands[1]: the contours meet at"),
    "island in an island": (p(SQUARE + "islands = [{ circle = { center = [20, 10], diameter = 4 } }, { circle = { center = [20, 10], diameter = 2 } }]\n"), "passes[1].islands[2]: and islands[1] lie one inside the other; keep one"),
    "island of nothing": (p(SQUARE + "islands = [{}]\n"), "passes[1].islands[1]: needs exactly one of"),
    "island that crosses itself": (p(SQUARE + "islands = [{ points = [[5, 5], [9, 9], [9, 5], [5, 9]] }]\n"), "passes[1].islands[1]: the contour meets itself"),
    "helix too large": (p("circle = { center = [0, 0], diameter = 8 }\napproach = { kind = \"helix\", radius = 2 }\n"), "passes[1].approach.radius: no room for a helix of radius 2.000 mm"),
    "helix with lines": (p(SQUARE + 'strategy = "bidirectional"\napproach = { kind = "helix" }\n'), "passes[1].approach.kind: helix goes with contour_parallel; take ramp or plunge here"),
    "ramp too flat": (p(SQUARE + 'approach = { kind = "ramp", angle = 0.0001 }\n'), "passes[1].approach.angle: would go round the path"),
    "ramp too steep": (p(SQUARE + 'approach = { kind = "ramp", angle = 46 }\n'), "passes[1].approach.angle: 46 is above 45"),
    # faces and paths
    "face with corners": (f'[[passes]]\n{HEAD}operation = "face"\nbottom = -1\nradial_cutting_depth = 2\nrectangle = {{ low = [0, 0], high = [9, 9], corner_radius = 1 }}\n', "passes[1].rectangle.corner_radius: a face runs off its edges; leave it out"),
    "face at an angle": (f'[[passes]]\n{HEAD}operation = "face"\nbottom = -1\nradial_cutting_depth = 2\nangle = 45\n{SQUARE}', "passes[1].angle: 45 is not allowed; allowed: 0, 90"),
    "face stepover": (f'[[passes]]\n{HEAD}operation = "face"\nbottom = -1\nradial_cutting_depth = 7\n{SQUARE}', "passes[1].radial_cutting_depth: 7.000 mm leaves metal standing between the paths; tool 1 allows 6.000 mm"),
    "face lines": (f'[[passes]]\n{HEAD}operation = "face"\nbottom = -1\nradial_cutting_depth = "0.01um"\n{SQUARE}', "passes[1].radial_cutting_depth: would take 1600000 lines; at most 100000 are made"),
    "path above the plane": (f'[[passes]]\n{HEAD}operation = "path"\nstrokes = [[[0, 0, 0], [1, 0, 9]]]\n', "passes[1].strokes[1][2]: z 9.000 mm is above the retract_plane 5.000 mm; set a higher one"),
    "stroke of one point": (f'[[passes]]\n{HEAD}operation = "path"\nstrokes = [[[0, 0, 0]]]\n', "passes[1].strokes[1]: [[0, 0, 0]] has 1 items; at least 2 are needed"),
    "passes in a list": ('passes = [{ name = "p", tool = 1, feed = 3, operation = "drill", points = [[0, 0]], bottom = -1 }]\n', "passes.toml: 1 passes under 0 headings; write each pass under its own [[passes]] on a line"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_says_what_is_wrong(tmp_path, case):
    text, says = BAD[case]
    with pytest.raises(JobError) as caught:
        read(tmp_path, text)
    shown = str(caught.value)
    assert shown.startswith("passes.toml: ")
    place = 0
    for part in says.split(".*"):  # in this order
        assert part in shown[place:], shown
        place = shown.index(part, place) + len(part)
    assert caught.value.exit_code == 2


def test_all_passes_that_are_wrong_are_told_at_once(tmp_path):
    text = c(f'side = "inside"\n{OPEN}') + p("circle = { center = [0, 0], diameter = 5 }\n")
    with pytest.raises(JobError, match="2 problems:") as caught:
        read(tmp_path, text)
    rows = str(caught.value).split("\n")
    assert [row.split(":")[0].strip() for row in rows[1:]] == ["passes[1].side", "passes[2]"]
    assert rows[1].endswith('("p", line 1)')
    assert rows[2].endswith('("p", line 9)')


def test_inches_are_said_in_inches(tmp_path):
    text = c('side = "inside"\nrectangle = { low = [0, 0], high = [2, 1], corner_radius = 0.1 }\n')
    with pytest.raises(
        JobError, match=r"arc of radius 0\.1000 in that ends at \(2\.0000, 0\.1000\) in"
    ):
        read(tmp_path, text.replace("-4", '"-4mm"'), "in")


def test_missing_file(tmp_path):
    settings = PassSettings(unit="mm", tools=TOOLS, d_errors={}, stock_top=0.0)
    with pytest.raises(JobError, match=r"^none\.toml: no such file"):
        read_passes(tmp_path / "none.toml", settings, shown="none.toml")
