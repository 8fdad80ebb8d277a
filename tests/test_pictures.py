"""Whole pictures: lettering, saving, and a machine without OpenGL."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from proud import pictures
from proud.errors import BadInput
from proud.grid import Grid, Tile
from proud.pictures import PictureOptions, draw, save_picture, write_png
from proud.pictures_layout import (
    MOST_CALLOUTS,
    callouts_of,
    draw_legend,
    nice,
    place_badges,
    room_of,
)
from proud.pictures_plan import plan_raster
from proud.pictures_sheet import Sheet, plain_matplotlib, printable

SMALL = (800, 600)
PASSES = {1: (3, "Floor, left"), 2: (3, "Floor, right"), 9: (4, "Not on the part")}


def tile(height=0.00762):
    """A plate 20 x 15 mm with a step of 0.3 thou at x = 10 and a hole."""
    grid = Grid(0.0, 0.0, 0.1, 0.1, 200, 150)
    x, y = np.meshgrid(grid.x(), grid.y())
    z = np.where(x > 10, height, 0.0)
    number = np.where(x > 10, 2, 1).astype(np.int32)
    hole = np.hypot(x - 15, y - 5) < 2
    z[hole], number[hole] = np.nan, -1
    return Tile(grid, z, np.where(hole, -2, 0).astype(np.int32), number, np.zeros((150, 200, 2)))


def step(height=0.00762, length=15.0, at=(10.0, 7.0, 0.0)):
    return {"height": height, "upper_z": height, "lower_z": 0.0, "upper_pass": 2, "lower_pass": 1,
            "at": list(at), "length": length}  # fmt: skip


def skim(depth=0.01, area=3.0, at=(4.0, 3.0, 0.0)):
    return {"pass": 2, "into_pass": 1, "depth": depth, "area": area, "at": list(at), "line": 12}


def drawn(options=None, **more):
    given_values = {"unit": "mm", "title": "Plate", "passes": PASSES, "steps": [step()],
                    "skims": [skim()]}  # fmt: skip
    return draw(tile(), options=options or PictureOptions(size=SMALL), **given_values | more)


@pytest.mark.parametrize("color", ["pass", "height", "lamp"])
@pytest.mark.parametrize("view", ["top", "iso"])
def test_the_same_input_gives_the_same_pixels(view, color):
    options = PictureOptions(view=view, color=color, size=SMALL)
    first, second = drawn(options), drawn(options)
    assert first.shape == (600, 800, 3)
    assert first.dtype == np.uint8
    assert np.array_equal(first, second)


def test_the_reader_s_own_settings_change_nothing():
    import matplotlib

    plain = drawn()
    with matplotlib.rc_context({"font.size": 30, "text.color": "red", "axes.facecolor": "black"}):
        assert np.array_equal(drawn(), plain)


def test_the_step_shows_in_the_finished_picture():
    options = PictureOptions(size=SMALL, color="lamp", numbers=False)
    room = room_of(SMALL, 0)
    image = draw(tile(), unit="mm", title="", passes={}, steps=[step()], options=options)
    x, y, w, h = room.view
    row = image[y + h // 2, x + w // 2 - 40 : x + w // 2 + 40, 0].astype(float)
    assert 1.0 - row.min() / np.median(row) > 0.7


def test_numbers_can_be_left_out():
    bare = drawn(PictureOptions(size=SMALL, numbers=False))
    assert np.array_equal(bare, drawn(PictureOptions(size=SMALL, numbers=False), steps=[step()]))
    assert not np.array_equal(bare, drawn())


def test_an_empty_tile_is_drawn():
    empty = Tile(
        Grid(0.0, 0.0, 1.0, 1.0, 4, 3),
        np.full((3, 4), np.nan),
        np.full((3, 4), -2, dtype=np.int32),
        np.full((3, 4), -1, dtype=np.int32),
    )
    for view in ("top", "iso"):
        for color in ("pass", "height", "lamp"):
            options = PictureOptions(view=view, color=color, size=SMALL)
            image = draw(empty, unit="in", title="Empty", passes={}, options=options)
            assert image.shape == (600, 800, 3)


def test_a_single_column_without_slopes_is_drawn():
    one = Tile(Grid(0.0, 0.0, 1.0, 1.0, 1, 1), np.array([[2.0]]), np.array([[-1]], np.int32),
               np.array([[0]], np.int32))  # fmt: skip
    image = draw(one, unit="in", title="One", passes={}, options=PictureOptions(size=SMALL))
    assert image.shape == (600, 800, 3)


def test_any_name_can_be_lettered():
    names = {1: (3, "50 $ a_b^c$ \\frac \t\n\x00 bell\x07"), 2: (4, "削り 🛠 " + "long " * 60)}
    assert drawn(title="$x$ 削り" * 40, passes=names).shape == (600, 800, 3)
    assert printable("a\x07b\n削c µ ² °") == "a?b ?c µ ² °"


def test_only_passes_that_show_are_in_the_legend():
    raster = plan_raster(tile(), 300, 200, PictureOptions())
    with plain_matplotlib():
        sheet = Sheet(SMALL, 1.0)
        draw_legend(sheet, room_of(SMALL, 0), raster, PASSES)
        texts = [text.get_text() for text in sheet.axes.texts]
    assert texts == ["left by pass", "1", "T3 Floor, left", "2", "T3 Floor, right"]


def test_callouts_begin_with_small_steps_and_skims_in_turn():
    steps = [step(5.0, 99.0), step(0.01, 3.0), step(0.02, 8.0), step(0.03) | {"at": None}]
    found = callouts_of(steps, [skim(area=1.0), skim(0.2, area=2.0)], "mm")
    assert [c.short for c in found] == [
        "20.0 µm", "skim 200.0 µm", "10.0 µm", "skim 10.0 µm", "5.000 mm",
    ]  # fmt: skip
    assert found[0].long == "step 20.0 µm: pass 2 (Z 0.020 mm) above pass 1, border 8.0 mm"
    assert found[3].long == "skim 10.0 µm: pass 2 cut into the floor of pass 1, 1.0 mm², line 12"
    assert len(callouts_of([step()] * 30, [skim()] * 30, "mm")) == MOST_CALLOUTS


def test_callouts_speak_thou_in_inch_jobs():
    one = callouts_of([step(0.0013, 2.02, (1.0, 2.0, 0.5))], [], "in")[0]
    assert one.short == "1.30 thou"
    assert one.at_mm == pytest.approx((25.4, 50.8, 12.7))


def crossing(a, b, c, d):
    def side(p, q, r):
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 300)), min_size=1, max_size=8))
def test_leaders_never_cross(places):
    points = np.array(places, dtype=float)
    slots = np.array([(x, 20 + 40 * k) for x in (-30, 430) for k in range(8)], dtype=float)
    taken = place_badges(points, slots)
    assert len(set(taken)) == len(points)
    ends = [(points[n], slots[s]) for n, s in enumerate(taken)]
    assert not any(crossing(*ends[a], *ends[b]) for a in range(len(ends)) for b in range(a))


@pytest.mark.parametrize(
    ("value", "expected"), [(0.99, 0.5), (1.0, 1.0), (2.7, 2.0), (700, 500), (0.0021, 0.002)]
)
def test_nice_numbers(value, expected):
    assert nice(value) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        ({"view": "botom"}, "unknown view 'botom'; use one of top, front"),
        ({"view": "isso"}, 'did you mean "iso"?'),
        ({"color": "red"}, "unknown colour 'red'; use one of pass, height, lamp"),
        ({"renderer": "gl"}, "unknown renderer 'gl'"),
        ({"camera": (0.0, -5.0)}, "camera elevation -5 is out of range; use 0 to 90"),
        ({"camera": (float("nan"), 5.0)}, "camera azimuth nan is out of range"),
        ({"lamp_elevation_deg": 0.0}, "lamp elevation 0 is out of range; use 0.5 to 60"),
        ({"lamp_azimuth_deg": 1e9}, "lamp azimuth 1e\\+09 is out of range"),
        ({"exaggerate": 0.0}, "exaggeration 0 is out of range"),
        ({"size": (100, 100)}, "100 x 100 pixels can't be drawn; use at least 800 x 600"),
        ({"size": (100_000, 100_000)}, "at most 60 million pixels"),
    ],
)
def test_bad_options_say_what_is_allowed(options, text):
    with pytest.raises(BadInput, match=text):
        PictureOptions(**options)


def test_saved_pixels_are_those_drawn(tmp_path):
    from matplotlib.image import imread

    path = save_picture(tmp_path / "a.png", tile(), unit="mm", title="Plate", passes=PASSES,
                        steps=[step()], skims=[skim()],
                        options=PictureOptions(size=SMALL))  # fmt: skip
    again = np.rint(imread(path)[..., :3] * 255).astype(np.uint8)
    assert np.array_equal(again, drawn())
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failing_save_leaves_the_old_file(tmp_path, monkeypatch, error):
    path = tmp_path / "a.png"
    path.write_bytes(b"old")

    def half(file, *_args, **_more):
        file.write(b"half")
        raise error

    monkeypatch.setattr("matplotlib.image.imsave", half)
    expected = BadInput if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected, match="No space left" if expected is BadInput else None):
        write_png(path, np.zeros((2, 2, 3), np.uint8))
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


def test_a_bad_name_is_told_before_drawing(tmp_path, monkeypatch):
    monkeypatch.setattr(pictures, "draw", None)
    more = {"unit": "mm", "title": "", "passes": {}}
    with pytest.raises(BadInput, match=r"does not end in \.png"):
        save_picture(tmp_path / "a.jpg", tile(), **more)
    with pytest.raises(BadInput, match="does not exist; make it first"):
        save_picture(tmp_path / "no" / "a.png", tile(), **more)


def python(code):
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        capture_output=True, text=True, timeout=120, check=False, cwd=Path(__file__).parent,
    )  # fmt: skip


def test_importing_loads_nothing_heavy():
    done = python(
        "import sys, proud.pictures\n"
        "heavy = {'numba', 'matplotlib', 'pyvista', 'vtkmodules', 'scipy', 'trimesh'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    assert (done.stdout.strip(), done.stderr, done.returncode) == ("[]", "", 0)


def test_without_opengl_pyvista_is_never_loaded():
    done = python(
        "import sys\n"
        "from test_pictures import drawn\n"
        "from proud import pictures\n"
        "pictures.opengl_works = lambda: False\n"
        "for renderer in ('auto', 'own'):\n"
        "    for view in ('top', 'iso', 'front'):\n"
        "        options = pictures.PictureOptions(view=view, renderer=renderer, size=(800, 600))\n"
        "        drawn(options)\n"
        "print(sorted({'pyvista', 'vtkmodules'} & set(sys.modules)))"
    )
    assert (done.stdout.strip(), done.stderr, done.returncode) == ("[]", "", 0)


def test_pyvista_asked_for_without_opengl_is_an_error(monkeypatch):
    monkeypatch.setattr(pictures, "opengl_works", lambda: False)
    with pytest.raises(BadInput, match="OpenGL does not work on this machine"):
        drawn(PictureOptions(view="iso", renderer="pyvista", size=SMALL))


@pytest.mark.parametrize("script", ["kill -SEGV $$", "echo blank", "exit 1", None])
def test_the_probe_survives_a_child_that_dies(tmp_path, monkeypatch, script):
    child = tmp_path / "python"
    if script is not None:
        child.write_text(f"#!/bin/sh\n{script}\n")
        child.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(child))
    assert pictures.opengl_works.__wrapped__() is False


def test_pyvista_draws_the_whole_picture_too(capfd):
    if not pictures.opengl_works():
        pytest.skip("no OpenGL on this machine")
    own = drawn(PictureOptions(view="iso", size=SMALL))
    gl = drawn(PictureOptions(view="iso", size=SMALL, renderer="pyvista"))
    assert np.abs(own.astype(int) - gl).mean() < 3.0
    assert capfd.readouterr() == ("", "")
