"""Arcs in G18 and G19: chords within their bound, turning as the standard says.

The oracle turns the start about the plane's axis by Rodrigues' formula in mpmath, which knows
nothing of planes' axis order, angles or chords.
"""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest
from helpers_job import THOU, Nc, tool, write_job
from hypothesis import assume, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from proud.errors import BadInput, ProgramError
from proud.grid import Grid
from proud.moves import ARC, LINE, Moves, Program
from proud.program import ReaderSettings, read_text
from proud.program.planes import PLANES, chord_count
from proud.units import CHORD_MM

HEAD = "G21 T1 M6\nG43 H1 S1000 M3 F100\n"
AXES = {"G17": (0, 0, 1), "G18": (0, 1, 0), "G19": (1, 0, 0)}
ROUNDED = 1e-10
"""Ends are rounded to 1e-10 mm in each axis."""


def read(text: str, **changes: object) -> Program:
    given = {"unit": "mm", "tools": {1: "", 2: ""}, "stock_top": 0.0} | changes
    return read_text(f"{HEAD}{text}\nM30", ReaderSettings(**given))  # type: ignore[arg-type]


def chords(text: str, **changes: object) -> Moves:
    """Return the moves of the last line of a text."""
    found = read(text, **changes).moves
    return found[found.line == found.line.max()]


def turned(start, center, axis, angle):
    """Return a point turned about an axis through a centre (Rodrigues), at 40 digits."""
    with mpmath.workdps(40):
        k = [mpmath.mpf(v) for v in axis]
        p = [
            mpmath.mpf(float(a)) - mpmath.mpf(float(b)) for a, b in zip(start, center, strict=True)
        ]
        cross = [k[1] * p[2] - k[2] * p[1], k[2] * p[0] - k[0] * p[2], k[0] * p[1] - k[1] * p[0]]
        dot = sum(a * b for a, b in zip(k, p, strict=True))
        c, s = mpmath.cos(angle), mpmath.sin(angle)
        return [
            float(mpmath.mpf(float(o)) + a * c + b * s + e * dot * (1 - c))
            for o, a, b, e in zip(center, p, cross, k, strict=True)
        ]


def helix(start, center, axis, turn, rise, shares):
    """Return points of a helix about a centre, shape (n, 3)."""
    found = [turned(start, center, axis, mpmath.mpf(float(turn)) * mpmath.mpf(float(s)))
             for s in shares]  # fmt: skip
    return np.array(found) + np.outer(shares, np.array(axis, float) * rise)


def distance_to(moves: Moves, points: np.ndarray) -> np.ndarray:
    """Return how far each point is from the nearest of the moves."""
    found = np.full(len(points), np.inf)
    for a, b in zip(moves.start, moves.end, strict=True):
        along = b - a
        share = np.clip((points - a) @ along / max(along @ along, 1e-300), 0, 1)
        found = np.minimum(found, np.linalg.norm(points - a - np.outer(share, along), axis=1))
    return found


def assert_follows(moves: Moves, center, axis, turn, rise, bound, *, samples=7) -> None:
    """Assert ends on the exact helix and every place of it within the bound of the chords."""
    start, n = moves.start[0], len(moves)
    ends = helix(start, center, axis, turn, rise, np.arange(1, n + 1) / n)
    assert np.abs(ends - moves.end).max() <= ROUNDED + 4e-16 * np.abs(ends).max()
    for k in {0, n // 2, n - 1}:
        shares = (k + np.linspace(0, 1, samples)) / n
        off = distance_to(moves[k : k + 1], helix(start, center, axis, turn, rise, shares))
        assert off.max() <= bound
        assert off[samples // 2] == pytest.approx(off.max(), rel=1e-3, abs=ROUNDED)


# The way round, against the standard


@pytest.mark.parametrize(
    ("plane", "start", "end", "center", "by_the_short_way"),
    [
        ("G17", "X10 Y0 Z0", "X0 Y10", "I-10", "G3"),
        ("G18", "X0 Y0 Z10", "X10 Z0", "K-10", "G3"),
        ("G18", "X10 Y0 Z0", "X0 Z10", "I-10", "G2"),
        ("G19", "X0 Y10 Z0", "Y0 Z10", "J-10", "G3"),
        ("G19", "X0 Y0 Z10", "Y10 Z0", "K-10", "G2"),
    ],
)
@pytest.mark.parametrize("word", ["G2", "G3"])
def test_way_round(plane, start, end, center, by_the_short_way, word):
    """NISTIR 6556 3.5.3 (G2 clockwise, G3 counter-clockwise about the plane's axis) and its
    ARC_FEED: counter-clockwise as seen from the positive end of the axis (from memory). So G3 in
    G18 turns from +Z to +X, which a drawing of X to the right and Z up shows clockwise."""
    found = chords(f"{plane} G0 {start}\n{word} {end} {center}")
    axis = AXES[plane]
    quarter = math.pi / 2 if word == "G3" else -math.pi / 2
    turn = quarter if word == by_the_short_way else -math.copysign(1.5 * math.pi, -quarter)
    if plane == "G17":
        assert found.kind.tolist() == [ARC]
        assert found.turn[0] == pytest.approx(turn, abs=1e-15)
        return
    assert_follows(found, (0, 0, 0), axis, turn, 0.0, CHORD_MM)


def test_example_of_the_standard_in_every_plane():
    """NISTIR 6556 3.5.3.2: from (7, 7), G17 G2 X10 Y16 I3 J4 Z9; axes renamed in turn."""
    turn = -(math.pi - math.atan2(3, 4))
    g18 = chords("G18 G0 Z7 X7 Y0\nG2 Z10 X16 K3 I4 Y9")
    assert g18.end[-1].tolist() == [16, 9, 10]
    assert_follows(g18, (11, 0, 10), AXES["G18"], turn, 9.0, CHORD_MM)
    g19 = chords("G19 G0 Y7 Z7 X0\nG2 Y10 Z16 J3 K4 X9")
    assert g19.end[-1].tolist() == [9, 10, 16]
    assert_follows(g19, (0, 10, 11), AXES["G19"], turn, 9.0, CHORD_MM)


@pytest.mark.parametrize(
    ("word", "center", "turn"),
    [
        ("G2 Z10 X0 R5", (0, 0, 5), -math.pi),
        ("G3 Z10 X0 R5", (0, 0, 5), math.pi),
        ("G3 Z5 X5 R5", (5, 0, 0), math.pi / 2),
        ("G2 Z5 X5 R5", (0, 0, 5), -math.pi / 2),
        ("G3 Z5 X5 R-5", (0, 0, 5), 1.5 * math.pi),
        ("G2 Z5 X5 R-5", (5, 0, 0), -1.5 * math.pi),
    ],
)
def test_radius_form(word, center, turn):
    """NISTIR 6556 3.5.3.1: positive R at most half a circle, negative the longer; derived."""
    assert_follows(chords(f"G18 G0 X0 Y0 Z0\n{word}"), center, AXES["G18"], turn, 0.0, CHORD_MM)
    renamed = word.replace("X", "U").replace("Z", "Y").replace("U", "Z")
    found = chords(f"G19 G0 X0 Y0 Z0\n{renamed}")
    center = (0, center[2], center[0])
    assert_follows(found, center, AXES["G19"], turn, 0.0, CHORD_MM)


@pytest.mark.parametrize("g", ["G2", "G3"])
@pytest.mark.parametrize(
    ("plane", "words"),
    [("G18", "I-5"), ("G18", "X5 Z0 I-5"), ("G18", "Z0 I-5 K0"), ("G19", "K-5"),
     ("G19", "Y0 Z5 K-5")],
)  # fmt: skip
def test_full_circle_and_helix(plane, words, g):
    start = "X5 Y0 Z0" if plane == "G18" else "X0 Y0 Z5"
    along = "Y" if plane == "G18" else "X"
    turn = math.tau if g == "G3" else -math.tau
    for rise in (0.0, -1.25):
        found = chords(f"{plane} G0 {start}\n{g} {words} {along}{rise}")
        assert_follows(found, (0, 0, 0), AXES[plane], turn, rise, CHORD_MM)
        last = np.array([5.0, rise, 0] if plane == "G18" else [rise, 0, 5.0])
        assert found.end[-1].tolist() == last.tolist()
        exact = math.hypot(5 * math.tau, rise)
        assert 0 < exact - found.lengths().sum() <= CHORD_MM


# What the chords are


def test_chords_keep_what_the_line_says():
    text = "G18 G0 X0 Y0 Z0\n(FIRST)\nF250 S700 G2 X10 R5\nG1 X12"
    found = read(text)
    moves = found.moves
    arc = moves[moves.line == 5]
    assert len(arc) > 100
    assert arc.kind.tolist() == [LINE] * len(arc)
    for name, value in {
        "turn": 0, "rapid": 0, "tool": 1, "pass_number": 1, "h_register": 1, "feed": 250,
        "spindle": 700, "setup": 0,
    }.items():  # fmt: skip
        assert np.unique(getattr(arc, name)).tolist() == [value], name
    assert (arc.start[1:] == arc.end[:-1]).all()
    assert arc.start[0].tolist() == [0, 0, 0]
    assert arc.end[-1].tolist() == moves.start[-1].tolist() == [10, 0, 0]
    assert not arc.center.any()
    assert [(p.from_line, p.to_line) for p in found.passes] == [(5, 6)]


def test_increments_inches_and_work_zeros():
    found = chords(
        "G20 G55 G18 G0 X1 Y0 Z0\nG91 G3 X-1 Z-1 K-1 Y0.5", work_offsets={"G55": (25.4, 1, 2)}
    )
    assert found.start[0].tolist() == [50.8, 1, 2]
    assert found.end[-1].tolist() == [25.4, 13.7, -23.4]
    assert_follows(found, (50.8, 1, -23.4), AXES["G18"], 1.5 * math.pi, 12.7, CHORD_MM)


def test_the_end_is_the_programmed_one_where_radii_differ():
    """Within the standard's 0.002 mm (3.5.3) the radius changes evenly with the angle."""
    found = chords("G18 G0 X0 Y0 Z5\nG3 X5.0015 Z0 K-5")
    assert found.end[-1].tolist() == [5.0015, 0, 0]
    n = len(found)
    share = np.arange(1, n + 1) / n
    radius = np.hypot(found.end[:, 0], found.end[:, 2])
    np.testing.assert_allclose(radius, 5 + 0.0015 * share, rtol=0, atol=2 * ROUNDED)
    middle = (np.arange(n) + 0.5) / n
    at, r = middle * math.pi / 2, 5 + 0.0015 * middle
    exact = np.stack([r * np.sin(at), 0 * r, r * np.cos(at)], axis=1)
    assert np.linalg.norm((found.start + found.end) / 2 - exact, axis=1).max() <= CHORD_MM


@pytest.mark.parametrize("bound", [1e-6, 1e-4, 0.1])
@pytest.mark.parametrize("radius", [0.003, 1.0, 50.0, 90000.0])
def test_tiny_and_huge_radii(radius, bound):
    """A half circle, by both ways of writing it, at the finest, usual and coarsest bound."""
    turn = -0.001 if radius > 1e4 else -math.pi
    x, z = -radius * math.cos(turn) + radius, radius * math.sin(-turn)
    text = f"G18 G0 X0 Y0 Z0\nG2 X{round(x, 7):.7f} Z{-round(z, 7):.7f}"
    for how in (f"I{radius}", f"R{radius}"):
        found = chords(f"{text} {how}", chord=bound)
        assert found.end[-1].tolist() == [round(x, 7), 0, -round(z, 7)]
        n = len(found)
        middle = (found.start + found.end) / 2
        off = radius - np.hypot(middle[:, 0] - radius, middle[:, 2])
        slack = 0.003 if how[0] == "I" and radius > 1e4 else 1e-6 + radius * 1e-7
        assert off.max() <= bound + slack
        least = abs(turn) / math.sqrt(8 * bound / radius)
        assert n <= max(least * 1.03 + 1, 9), (n, least)


@given(
    st.sampled_from(["G18", "G19"]),
    st.floats(0.01, 500),
    st.integers(0, 3599),
    st.integers(0, 3599),
    st.booleans(),
    st.floats(-20, 20),
    st.sampled_from([1e-6, 1e-5, 1e-4, 1e-3, 0.1]),
)
@examples(deadline=None, max_examples=120)
def test_any_arc(plane, radius, first, last, clockwise, rise, bound):
    """Derived: ends on the helix, chords within the bound, length within the bound, no waste."""
    a, b = math.radians(first / 10), math.radians(last / 10)
    turn = (last - first) / 10 % 360 or 360.0
    turn = math.radians(turn - 360 if clockwise and turn != 360 else turn)
    turn = -turn if clockwise and turn == math.tau else turn
    one, two, third = ("Z", "X", "Y") if plane == "G18" else ("Y", "Z", "X")
    centers = {"X": "I", "Y": "J", "Z": "K"}
    rise = round(rise, 4)
    start = round(radius * math.cos(a), 7), round(radius * math.sin(a), 7)
    end = round(radius * math.cos(b), 7), round(radius * math.sin(b), 7)
    assume(start == end or first != last)
    assume(start != end or first == last)
    found = chords(
        f"{plane} G0 {one}{start[0]:.7f} {two}{start[1]:.7f} {third}0\n"
        f"{'G2' if clockwise else 'G3'} {one}{end[0]:.7f} {two}{end[1]:.7f} {third}{rise:.4f} "
        f"{centers[one]}{-start[0]:.7f} {centers[two]}{-start[1]:.7f}",
        chord=bound,
    )
    order = [2, 0, 1] if plane == "G18" else [1, 2, 0]
    points = np.vstack([found.start[:1], found.end])[:, order]
    n = len(found)
    assert points[-1].tolist() == [*end, rise]
    share = np.arange(n + 1) / n
    at = a + turn * share
    written = 2e-7  # what seven places in the program leave open
    exact = np.stack([radius * np.cos(at), radius * np.sin(at), rise * share], axis=1)
    assert np.abs(points - exact).max() <= written
    at = a + turn * (share[:-1] + 0.5 / n)
    middle = np.stack([radius * np.cos(at), radius * np.sin(at), rise * (share[:-1] + 0.5 / n)], 1)
    off = np.linalg.norm((points[1:] + points[:-1]) / 2 - middle, axis=1)
    assert off.max() <= bound + written
    assert abs(math.hypot(radius * turn, rise) - found.lengths().sum()) <= bound + 4 * written
    assert n <= 1.5 * abs(turn) / min(math.sqrt(8 * bound / radius), math.pi / 12) + 1


def test_count_of_chords_by_hand():
    """A chord over the angle 2h has the sagitta R (1 - cos h); derived."""
    for radius, turn, bound in [(10, 1.0, 1e-4), (3, -0.5, 1e-3), (250, 2.9, 1e-6)]:
        n = chord_count(radius, turn, bound)
        sagitta, coarser = (radius * (1 - math.cos(abs(turn) / m / 2)) for m in (n, n - 1))
        assert sagitta <= bound < coarser * 1.002
    assert chord_count(1e-3, math.tau, 0.1) == 16
    assert chord_count(1e-3, 0.01, 0.1) == 1


def test_planes_are_right_handed():
    for plane in PLANES.values():
        first, second, along = (np.eye(3)[k] for k in (plane.first, plane.second, plane.along))
        assert np.cross(first, second).tolist() == along.tolist()
        assert {*plane.axes, "XYZ"[plane.along]} == set("XYZ")


# What stands around them


def test_note_says_how_many_and_within_what():
    arcs = "G18 G0 X0 Y0 Z0\nG2 X10 R5\nG19 G2 Y10 R5\nG17 G2 X20 R5"
    found = read(arcs).notes
    assert found == (
        "program: 2 arcs in G18 or G19 run as short straight moves, at most 0.1 µm off the arc; "
        "[accuracy] chord sets it",
    )
    (note,) = read(arcs, unit="in", chord=1e-6).notes
    assert "at most 0.001 µm (3.9e-05 thou) off the arc" in note
    (note,) = read("G19 G0 X0 Y0 Z0\nG2 Y10 R5", chord=0.002).notes
    assert "program: an arc in G18 or G19 runs as" in note
    assert "at most 2 µm off" in note
    assert read("G17 G0 X0 Y0 Z0\nG2 X10 R5").notes == ()


def test_plane_stays_until_the_next():
    found = read("G18 G0 X0 Y0 Z0\nG2 X10 R5\nG1 X0\nG2 X10 R5\nG17 G2 X20 R5").moves
    counts = [int((found.line == line).sum()) for line in range(3, 8)]
    assert counts[0] == counts[2] == counts[4] == 1
    assert counts[1] == counts[3] > 100
    assert found.kind.tolist() == [LINE] * (len(found) - 1) + [ARC]


def test_third_axis_not_known():
    """As in G17: what is not wholly known cuts nothing, and the next known place goes on."""
    found = read("G18 G0 X0 Z0\nG2 X10 R5\nG1 Y1\nX0")
    assert "program:4: a feed move that cuts nothing here: Y not known" in found.notes[0]
    assert found.moves.end.tolist() == [[10, 1, 0], [0, 1, 0]]
    assert found.moves.sweeps().tolist() == [False, True]


CASES = [
    ("G18 G2 X2 Z0 I1 J1", 17, 2, "J in an arc in the XZ plane (G18); expected I and K"),
    ("G19 G2 Y2 J1 I1", 14, 2, "I in an arc in the YZ plane (G19); expected J and K"),
    ("G18 G2 J1", 8, 2, "J in an arc in the XZ plane (G18); expected I and K"),
    ("G17 G2 K1", 8, 2, "K in an arc in the XY plane (G17); expected I and J"),
    ("G18 G2 X1", 8, 2, "an arc without its centre; expected I and K, or R"),
    ("G19 G2 Y1", 8, 2, "an arc without its centre; expected J and K, or R"),
    ("G18 G2 Y1", 8, 2, "an arc without its centre; expected I and K, or R"),
    ("G18 G3 X0 Z5 I-4", 14, 3, "the arc does not close: radius 4.00000 mm at the start and 6.40"),
    ("G19 G3 Y0 Z5 J-4", 14, 3, "the arc does not close: radius 4.00000 mm at the start and 6.40"),
    ("G18 G2 I0 K0", 8, 2, "the arc has no radius: radius 0.00000 mm at the start and 0.00000 mm "
     "at the end; expected I and K to the centre"),
    ("G18 G2 X1 K1 R1", 14, 2, "R and I or K in one arc"),
    ("G19 G2 Y1 K1 R1", 14, 2, "R and J or K in one arc"),
    ("G18 G2 X0 R5", 11, 2, "ends where it starts, so its centre can be anywhere; expected I and "
     "K for a full circle"),
    ("G18 G2 X10 R4.9", 12, 4, "R 4.90000 mm can't reach the end, 10.00000 mm away"),
    ("G18 G2 X10 R0", 12, 2, "an arc with R0"),
    ("G18 G2 X2 I1 P2", 14, 2, "P (turns of an arc) is not handled"),
    ("G18 G2 X100001 I1", 8, 7, "X reaches 100001 mm"),
    ("G18 G81 X1 Z-1 R1", 5, 3, "G81 without Y; expected Y in the first block"),
    ("G19 G83 Y1 Z-1 R1 Q1", 5, 3, "G83 without X; expected X in the first block"),
    ("G18 G90.1 G2 X2 I1", 17, 2, "expected I and K both (G90.1)"),
]  # fmt: skip


@pytest.mark.parametrize(("source", "column", "width", "text"), CASES)
def test_errors(source, column, width, text):
    with pytest.raises(ProgramError) as caught:
        read(f"G0 X0 Y0 Z0\n{source}")
    first, shown, underline, *_ = str(caught.value).split("\n")
    assert text in first
    assert first.startswith(f"program:4:{column}: ")
    assert shown == f"    {source}"
    assert underline == "    " + " " * (column - 1) + "^" * width


@pytest.mark.parametrize(("plane", "axes"), [("G18", "X and Z"), ("G19", "Y and Z")])
def test_error_of_an_unknown_place(plane, axes):
    with pytest.raises(ProgramError, match=f"a place that is not known; expected {axes} given"):
        read(f"{plane} G2 {axes[0]}1 R5")


def test_centre_is_always_an_increment():
    """G91.1, the only mode of I, J and K here, changes nothing in any plane."""
    a = chords("G18 G0 X3 Y0 Z0\nG2 X13 I5")
    b = chords("G18 G91.1 G0 X3 Y0 Z0\nG90 G2 X13 I5")
    assert (a.end == b.end).all()


# Through the job


def pendulum(tmp_path, accuracy: str):
    """A ball of 6 that swings through the stock in G18, tip on a circle of 20 about z 15."""
    text = Nc().tool(1, "swing").raw("G0 X-16 Y0 Z3", "G18 G2 X16 Z3 I16 K12", "G0 Z20")
    return write_job(tmp_path, text, [tool(1, "ball", 6.0)], setup=accuracy)


@pytest.mark.parametrize("bound", [None, "1um", "0.001 um", "0.002 thou"])
def test_job_sets_the_bound_and_the_surface_keeps_it(bound, tmp_path):
    """Derived: a ball of R whose tip runs along a circle of A below its centre leaves, in the
    plane of the circle, a circle of A + R about a point R above that centre."""
    job = pendulum(tmp_path, "" if bound is None else f'\n[accuracy]\nchord = "{bound}"')
    mm = {None: CHORD_MM, "1um": 1e-3, "0.001 um": 1e-6, "0.002 thou": 0.002 * THOU}[bound]
    assert job.spec.chord == mm
    tile = job.surface(grid=Grid(-12.0, -0.5e-9, 0.06, 1e-9, 400, 1))
    x, z = tile.grid.x(), tile.top[0]
    exact = 15 + 3 - np.sqrt(23.0**2 - x**2)
    cut = exact < -1e-3
    assert cut.sum() > 300
    # The chords lie inside the circle, so that metal stays: never below it, but for rounding.
    off = (z - exact)[cut] * np.cos(np.arcsin(x[cut] / 23))
    assert off.min() >= -1e-9
    assert mm / 2 < off.max() <= mm * 1.001 + 1e-9


def test_job_refuses_a_bound_out_of_range(tmp_path):
    for value, said in [
        ('"0.0001um"', "accuracy.chord: 0.0001 µm is out of range; use 0.001 to 100 µm"),
        ('"1mm"', "accuracy.chord: 1000 µm is out of range"),
        ("0", "accuracy.chord: "),
        ('"fine"', "accuracy.chord: "),
    ]:
        with pytest.raises(BadInput) as caught:
            pendulum(tmp_path, f"\n[accuracy]\nchord = {value}")
        assert said in str(caught.value)
    with pytest.raises(BadInput, match=r'accuracy\.chords: unknown key.*did you mean "chord"'):
        pendulum(tmp_path, "\n[accuracy]\nchords = 1")
