"""Sections along a traced line."""

import math

import numpy as np
import pytest
from proud.errors import BadInput
from proud.pictures_section import _line, _marks, _nice_factor, _windows, draw_section
from proud.pictures_sheet import Sheet

PASSES = {1: (1, "Face"), 3: (3, "Rough profile"), 5: (4, "Finish floor")}


def ledge(wall=False, spacing=0.005, edge=0.7):
    """A ledge at -0.5, a floor 1.3 thou higher from s = edge, a wall up to 0 at s = 1 if wanted."""
    s = np.arange(0.0, 2.0 + spacing / 2, spacing)
    z, number = np.full(s.shape, -0.5), np.full(s.shape, 3)
    right = s > edge + 1e-9
    z[right], number[right] = -0.4987, 5
    steps = [{"s": edge, "x": edge, "y": 0.0, "jump": 0.0013, "height": 0.0013, "from_pass": 3,
              "to_pass": 5}]  # fmt: skip
    if wall:
        z[s > 1.0], number[s > 1.0] = 0.0, 1
        steps.append({"s": 1.0, "x": 1.0, "y": 0.0, "jump": 0.4987, "height": 0.4987,
                      "from_pass": 5, "to_pass": 1})  # fmt: skip
    points = {"s": s, "x": s, "y": 0 * s, "z": z, "pass": number, "line": number}
    return points, steps


def texts_of(monkeypatch):
    """Collect every text on the finished sheet."""
    found = []
    plain = Sheet.pixels

    def pixels(self):
        for axes in self.figure.axes:
            found.extend(text.get_text() for text in axes.texts)
            found.append(axes.get_title(loc="left"))
            found.append(axes.get_ylabel())
        return plain(self)

    monkeypatch.setattr(Sheet, "pixels", pixels)
    return found


def test_a_low_section_is_drawn_whole(monkeypatch):
    texts = texts_of(monkeypatch)
    points, steps = ledge()
    image = draw_section(points, steps, unit="in", title="Over the ledge", passes=PASSES)
    assert image.shape == (1000, 1600, 3)
    assert image.dtype == np.uint8
    assert {"1.30 thou", "pass 3", "pass 5", "Z (thou)", "Over the ledge"} <= set(texts)
    assert not any(text.startswith("window") for text in texts)


def test_a_tall_section_shows_its_small_step_in_a_window(monkeypatch):
    texts = texts_of(monkeypatch)
    points, steps = ledge(wall=True)
    draw_section(points, steps, unit="in", title="Across", passes=PASSES)
    assert {"1.30 thou", "0.4987 in", "A"} <= set(texts)
    assert sum(text.startswith("window A: heights × ") for text in texts) == 1
    assert sum(text.startswith("whole line: heights × ") for text in texts) == 1


def test_a_metric_job_reads_micrometres(monkeypatch):
    texts = texts_of(monkeypatch)
    points, steps = ledge()
    points = {k: v * 25.4 if k in "sxyz" else v for k, v in points.items()}
    steps = [{k: v * 25.4 if k in ("s", "jump", "height") else v for k, v in steps[0].items()}]
    draw_section(points, steps, unit="mm", title="Over the ledge")
    assert {"33.0 µm", "Z (µm)"} <= set(texts)


def test_an_exaggeration_asked_for_is_kept_and_stated(monkeypatch):
    texts = texts_of(monkeypatch)
    points, steps = ledge()
    draw_section(points, steps, unit="in", title="", exaggerate=12.5)
    assert "whole line, 2 in: heights × 12.5" in texts


def test_levels_are_where_each_pass_first_runs_flat():
    points, steps = ledge()
    mark = _marks(_line(points, steps, "in"), steps, "in")[0]
    assert mark.low == pytest.approx(-500.0)
    assert mark.high == pytest.approx(-498.7)
    assert mark.size_mm == pytest.approx(0.0013 * 25.4)


def test_a_step_with_one_level_is_measured_from_it():
    points, steps = ledge()
    points["z"] = np.where(points["pass"] == 3, -0.5 + points["s"], points["z"])
    mark = _marks(_line(points, steps, "in"), steps, "in")[0]
    assert (mark.low, mark.high) == pytest.approx((-500.0, -498.7))


def test_a_step_without_levels_shows_its_jump():
    points, steps = ledge()
    steps[0]["height"] = None
    assert _marks(_line(points, steps, "in"), steps, "in")[0].text == "jump 1.30 thou"
    steps[0]["jump"] = 0.0
    assert _marks(_line(points, steps, "in"), steps, "in") == []


@pytest.mark.parametrize("s_jump", [0.7, 0.7025])
def test_a_jump_stands_upright(s_jump):
    points, steps = ledge(edge=s_jump)
    line = _line(points, steps, "in")
    at = np.nonzero(np.abs(line.s - s_jump * 25.4) < 1e-9)[0]
    assert sorted(set(line.z[at].round(6))) == [-500.0, -498.7]
    assert (np.diff(line.s) >= -1e-12).all()
    again = _line({k: np.asarray(v) for k, v in points.items()}, [], "in")
    assert line.s.size == again.s.size + 2


def test_windows_of_neighbours_merge_and_the_smallest_are_kept():
    points, steps = ledge(wall=True)
    many = [dict(steps[0], s=0.1 + 0.15 * k, height=0.0013 + 0.0001 * k, jump=0) for k in range(6)]
    line = _line(points, [], "in")
    windows, whole = _windows(line, _marks(line, [*many, steps[1]], "in"))
    assert whole
    assert len(windows) <= 3
    assert min(m.size_mm for w in windows for m in w.marks) == pytest.approx(0.0013 * 25.4)


def test_nothing_along_the_line_is_drawn_empty():
    points, _ = ledge()
    points["z"] = [None] * len(points["s"])
    points["pass"] = [None] * len(points["s"])
    assert draw_section(points, [], unit="in", title="Air").shape == (1000, 1600, 3)


def test_gaps_and_flat_lines_are_drawn():
    points, steps = ledge()
    points["z"][50:90] = np.nan
    assert draw_section(points, steps, unit="in", title="Gap").shape == (1000, 1600, 3)
    points["z"][:] = 0.25
    assert draw_section(points, [], unit="in", title="Flat").shape == (1000, 1600, 3)


@pytest.mark.parametrize(("value", "expected"), [(0.7, 0.7), (1.49, 1.0), (47.0, 30.0), (99, 70)])
def test_exaggerations_are_round(value, expected):
    assert _nice_factor(value) == pytest.approx(expected)


def test_a_line_of_one_point_or_a_bad_exaggeration_is_an_error():
    points, steps = ledge()
    with pytest.raises(BadInput, match="at least two points, this one has 1"):
        draw_section({k: v[:1] for k, v in points.items()}, [], unit="in", title="")
    for bad in (0.0, -3.0, math.inf, math.nan):
        with pytest.raises(BadInput, match="use a number over 0"):
            draw_section(points, steps, unit="in", title="", exaggerate=bad)


def test_it_is_saved_whole(tmp_path):
    points, steps = ledge()
    image = draw_section(points, steps, unit="in", title="A", path=tmp_path / "s.png")
    from matplotlib.image import imread

    saved = np.rint(imread(tmp_path / "s.png")[..., :3] * 255).astype(np.uint8)
    assert np.array_equal(saved, image)
    assert [p.name for p in tmp_path.iterdir()] == ["s.png"]
