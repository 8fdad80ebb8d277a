"""The command ``proud loupe``: values against closed forms, the NPZ's contract, the picture."""

from __future__ import annotations

import json
import struct

import matplotlib.image
import numpy as np
import pytest
from conftest import FLOOR_LEFT, FLOOR_RIGHT, assert_quiet
from helpers_job import IN, THOU, Nc, tool, write_job
from proud.grid import Grid, Tile
from proud.pictures_loupe import MAP, draw_loupe, loupe_arrays, pass_shares, scale_of

KEYS = ["unit", "at", "size", "pitch", "least", "most", "passes"]
RIM = ("--at", "0.75,0.25", "--size", "0.02")
"""Where the second pass of the plate begins: its cutter's rim stands at X0.75."""


def told(done):
    assert_quiet(done)
    return json.loads(done.stdout)


def arrays(path) -> dict[str, np.ndarray]:
    with np.load(path, allow_pickle=False) as held:
        return {name: held[name] for name in held.files}


# Values


def test_a_step_of_3_thou_on_a_round_rim(plate, command_inside, tmp_path):
    """Derived: inside a circle of 1/4 in about (1, 0.25) the second floor, else the first."""
    out = tmp_path / "rim.npz"
    rows = told(command_inside("loupe", plate.path, *RIM, "--out", out, "--json"))
    assert list(rows) == KEYS
    assert rows["unit"] == "in"
    assert [*rows["at"], rows["size"]] == pytest.approx([0.75, 0.25, 0.02], rel=1e-15)
    assert rows["pitch"] == pytest.approx(0.001 / IN, rel=1e-12)  # 1 um, not a 1000th of 0.02 in
    assert (rows["least"], rows["most"]) == pytest.approx((FLOOR_RIGHT, FLOOR_LEFT), abs=1e-12)
    found = arrays(out)
    x, y = np.meshgrid(found["x"], found["y"])
    rim = np.hypot(x - 1, y - 0.25) - 0.25
    assert found["z"].shape == (508, 508)
    clear = np.abs(rim) > 1e-9
    assert clear.mean() > 0.99
    expected = np.where(rim < 0, FLOOR_RIGHT, FLOOR_LEFT)
    np.testing.assert_allclose(found["z"][clear], expected[clear], rtol=0, atol=1e-12)
    assert (found["pass"] == np.where(rim < 0, 2, 1))[clear].all()
    share = float((found["pass"] == 2).mean())
    assert rows["passes"] == [
        {"pass": 1, "tool": 1, "name": "FROM THE LEFT", "share": 1 - share},
        {"pass": 2, "tool": 1, "name": "FROM THE RIGHT", "share": share},
    ]


@pytest.fixture(scope="module")
def scallops(tmp_path_factory):
    """Ball of 6 on two lines 0.2 apart, tip at -1; beside them a slot through the stock."""
    text = Nc().tool(1, "ball").stroke((-9, -0.1, -1), (9, -0.1, -1))
    text = text.stroke((-9, 0.1, -1), (9, 0.1, -1)).tool(2, "through")
    text = text.stroke((-9, 10, -12.5), (9, 10, -12.5))
    return write_job(
        tmp_path_factory.mktemp("scallops"), text, [tool(1, "ball", 6.0), tool(2, "flat", 4.0)]
    )


def test_a_ball_scallop(scallops, command_inside, tmp_path):
    """R - sqrt(R^2 - (s/2)^2) high for lines s apart, 0.00166712989 mm for 3 and 0.2 (derived)."""
    out = tmp_path / "cusp.npz"
    words = ("--at", "0,0", "--size", "0.3", "--out", out, "--json")
    rows = told(command_inside("loupe", scallops.spec.path, *words))
    found = arrays(out)
    assert found["z"].shape == (300, 300)
    d = np.abs(np.abs(found["y"]) - 0.1)
    expected = -1 + 3 - np.sqrt(9 - d**2)
    np.testing.assert_allclose(
        found["z"], np.broadcast_to(expected[:, None], (300, 300)), rtol=0, atol=1e-9
    )
    cusp = found["z"][149:151].mean() + 1
    assert cusp == pytest.approx(0.00166712989, abs=2e-5)  # half a pitch beside the ridge
    assert rows["most"] == pytest.approx(expected.max(), abs=1e-9)
    assert rows["least"] == pytest.approx(expected.min(), abs=1e-9)
    # A column on the very ridge: an odd number of them.
    words = ("--at", "0,0", "--size", "0.301", "--out", out, "--quiet")
    assert_quiet(command_inside("loupe", scallops.spec.path, *words))
    assert arrays(out)["z"][150].tolist() == pytest.approx([-1 + 0.00166712989] * 301, abs=1e-10)


def test_pitch(scallops, command_inside):
    def pitch(*words):
        done = command_inside("loupe", scallops.spec.path, "--at", "0,0", *words, "--json")
        return told(done)["pitch"]

    assert pitch("--size", "2") == pytest.approx(0.002, rel=1e-12)
    assert pitch("--size", "0.2 mm") == pytest.approx(0.001, rel=1e-12)
    assert pitch("--size", "1", "--pitch", "20um") == pytest.approx(0.02, rel=1e-12)
    assert pitch("--size", "1", "--pitch", "0.3") == pytest.approx(0.25, rel=1e-12)  # fills it


def test_as_of(plate, command_inside, tmp_path):
    out = tmp_path / "first.npz"
    words = (*RIM, "--pitch", "0.5 thou", "--as-of", "1", "--json", "--out", out)
    rows = told(command_inside("loupe", plate.path, *words))
    assert [p["pass"] for p in rows["passes"]] == [1]
    assert rows["passes"][0]["share"] == 1.0
    np.testing.assert_allclose(arrays(out)["z"], FLOOR_LEFT, rtol=0, atol=1e-12)


# Where nothing is


def test_partly_off_the_stock(plate, command_inside, tmp_path):
    """The corner of a plate of 2 x 1: a quarter of the window is raw stock, 0 high."""
    out, picture = tmp_path / "corner.npz", tmp_path / "corner.png"
    words = ("--at", "2,1", "--size", "0.1", "--out", out, "--picture", picture)
    rows = told(command_inside("loupe", plate.path, *words, "--json"))
    assert rows["passes"] == [{"pass": 0, "tool": None, "name": "raw stock", "share": 0.25}]
    assert (rows["least"], rows["most"]) == (0.0, 0.0)
    found = arrays(out)
    inside = (found["x"][None] < 2) & (found["y"][:, None] < 1)
    assert (found["pass"] == np.where(inside, 0, -1)).all()
    assert np.array_equal(np.isnan(found["z"]), ~inside)
    assert not found["z"][inside].any()
    done = command_inside("loupe", plate.path, *words[:4])
    assert_quiet(done)
    assert done.stdout.splitlines()[1:] == [
        "heights  0.00000 in to 0.00000 in; 0.00 thou apart",
        "   25.0 %  the raw stock; middle height 0.00000 in",
        "   75.0 %  nothing is left",
    ]


def test_nothing_left_at_all(scallops, command_inside, tmp_path):
    out, picture = tmp_path / "hole.npz", tmp_path / "hole.png"
    words = ("loupe", scallops.spec.path, "--at", "0,10", "--size", "0.1", "--out", out)
    rows = told(command_inside(*words, "--picture", picture, "--json"))
    assert (rows["least"], rows["most"], rows["passes"]) == (None, None, [])
    found = arrays(out)
    assert np.isnan(found["z"]).all()
    assert (found["pass"] == -1).all()
    assert picture.read_bytes()[:4] == b"\x89PNG"
    assert command_inside(*words).stdout == "100 x 100 columns, 1 µm apart\nnothing is left here\n"


# What is written


def test_npz_contract(plate, command_inside, tmp_path):
    out = tmp_path / "a.npz"
    out.write_text("old")
    done = command_inside("loupe", plate.path, *RIM, "--pitch", "1 thou", "--out", out)
    assert_quiet(done)
    found = arrays(out)
    assert {name: (a.shape, a.dtype) for name, a in found.items()} == {
        "x": ((20,), np.float64),
        "y": ((20,), np.float64),
        "z": ((20, 20), np.float64),
        "pass": ((20, 20), np.int32),
    }
    np.testing.assert_allclose(found["x"], 0.74 + 0.001 * (np.arange(20) + 0.5), atol=1e-12)
    np.testing.assert_allclose(found["y"], 0.24 + 0.001 * (np.arange(20) + 0.5), atol=1e-12)
    # Rows run along y: the window is symmetric about Y0.25, and only x tells the passes apart.
    assert (found["pass"] == found["pass"][::-1]).all()
    assert not (found["pass"] == found["pass"][:, ::-1]).all()
    assert sorted(p.name for p in tmp_path.iterdir() if p.is_file()) == ["a.npz"]


def test_the_same_bytes_again_and_on_any_number_of_threads(plate, command_inside, tmp_path):
    words = ("loupe", plate.path, *RIM, "--quiet")
    for name, threads in (("a", 1), ("b", 3)):
        files = ("--out", tmp_path / f"{name}.npz", "--picture", tmp_path / f"{name}.png")
        done = command_inside(*words, *files, "--threads", threads)
        assert (done.returncode, done.stdout) == (0, "")
    for ending in ("npz", "png"):
        first, second = ((tmp_path / f"{n}.{ending}").read_bytes() for n in "ab")
        assert first == second


def test_an_old_file_stays_when_the_disk_is_full(plate, command_inside, tmp_path, monkeypatch):
    import numpy.lib.format

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    out = tmp_path / "a.npz"
    out.write_text("old")
    monkeypatch.setattr(numpy.lib.format, "write_array", full)
    done = command_inside("loupe", plate.path, *RIM, "--pitch", "1 thou", "--out", out)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == f"error: can't write {out}: No space left on device\n"
    assert out.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["a.npz"]


def test_the_real_command(plate, command, tmp_path):
    picture = tmp_path / "loupe.png"
    done = command("loupe", plate.path, *RIM, "--picture", picture)
    assert_quiet(done)
    assert done.stdout.splitlines()[:2] == [
        "508 x 508 columns, 1 µm apart",
        "heights  -0.10300 in to -0.10000 in; 3.00 thou apart",
    ]
    assert "pass 1 (tool 1, FROM THE LEFT); middle height -0.10000 in" in done.stdout
    assert struct.unpack(">II", picture.read_bytes()[16:24]) == (1600, 1100)


# The picture


def test_both_floors_of_a_step_have_far_colours_and_a_line_between(plate, command_inside, tmp_path):
    picture = tmp_path / "loupe.png"
    told(command_inside("loupe", plate.path, *RIM, "--picture", picture, "--json"))
    pixels = matplotlib.image.imread(picture)[..., :3]
    left, top, side = MAP
    row = pixels[top + side // 5, left : left + side]
    light, dark = row[20], row[-20]
    assert light.min() > 0.95  # the level that takes more of the window, at the reference
    assert dark.max() < 0.31  # PuOr's dark purple (0.18, 0, 0.29): under
    assert dark[2] > dark[0] > dark[1]
    change = 5 + np.flatnonzero(np.abs(np.diff(row[5:-5].sum(axis=1))) > 0.2)  # not the frame
    # The rim stands at 1 - sqrt(1/16 - h^2), h above the middle of the window (derived).
    high = 0.02 * (0.5 - (side // 5 + 0.5) / side)
    x = 1 - np.sqrt(0.0625 - high**2)
    assert change == pytest.approx((x - 0.74) / 0.02 * side, abs=2.5)
    assert row[change[0] + 1] == pytest.approx([0.1] * 3, abs=0.01)


def tile_of(top, flat=None, numbers=None, size=0.1) -> Tile:
    top = np.asarray(top, float)
    ny, nx = top.shape
    numbers = np.where(np.isnan(top), -1, 1 if numbers is None else numbers).astype(np.int32)
    grid = Grid(5.0, -3.0, size / nx, size / ny, nx, ny)
    return Tile(grid, top, numbers, numbers, None, flat)


def test_scale_shows_the_step_between_floors_beside_a_wall_and_a_fillet():
    """0.3 thou between two floors; a fillet of 20 thou and a wall of half an inch beside them."""
    top = np.zeros((50, 60))
    top[:, 20:] = 0.3 * THOU
    top[:, 40:55] = np.linspace(0.3, 20, 15) * THOU
    top[:, 55:] = 12.7
    flat = np.ones(top.shape, bool)
    flat[:, 40:55] = False
    scale = scale_of(tile_of(top, flat))
    assert (scale.reference_mm, scale.span_mm) == (0.3 * THOU, pytest.approx(0.3 * THOU, abs=1e-15))
    assert (scale.over, scale.under) == (True, False)
    none = scale_of(tile_of(top))
    assert none.reference_mm == 0.3 * THOU
    assert none.span_mm == pytest.approx(19.7 * THOU, rel=1e-12)
    chosen = scale_of(tile_of(top, flat), 50.0)
    assert (chosen.span_mm, chosen.over, chosen.under) == (50.0, False, False)


def test_scale_of_level_and_of_empty_windows():
    level = scale_of(tile_of(np.full((4, 4), -7.0), np.ones((4, 4), bool)))
    assert (level.reference_mm, level.over, level.under) == (-7.0, False, False)
    assert 0 < level.span_mm <= 1e-3
    empty = scale_of(tile_of(np.full((4, 4), np.nan)))
    assert (empty.reference_mm, empty.over, empty.under) == (0.0, False, False)


def test_shares_and_arrays():
    top = np.array([[1.0, 2.0, np.nan, 4.0], [8.0, 2.0, 2.0, np.nan]])
    numbers = np.array([[1, 3, 0, 3], [1, 3, 3, 0]])
    tile = tile_of(top, numbers=numbers)
    shares = pass_shares(tile)
    assert [(p.number, p.share, p.level_mm) for p in shares] == [(1, 0.25, 1.0), (3, 0.5, 2.0)]
    found = loupe_arrays(tile, "in")
    np.testing.assert_allclose(found["z"] * 25.4, top, rtol=1e-15)
    assert found["pass"].tolist() == [[1, 3, -1, 3], [1, 3, 3, -1]]
    assert found["x"] * 25.4 == pytest.approx([5.0125, 5.0375, 5.0625, 5.0875], abs=1e-12)


def test_a_ridge_thinner_than_a_pixel_is_seen():
    """4000 columns on 836 pixels: one column 2 thou proud."""
    top = np.zeros((40, 4000))
    top[:, 1234] = 2 * THOU
    pixels = draw_loupe(tile_of(top), unit="in", title="", passes={1: (1, "floor")})
    left, high, side = MAP
    row = pixels[high + side // 3, left + 2 : left + side - 2].astype(int)
    proud = np.flatnonzero(row.sum(axis=1) < 600)
    assert proud + 2.5 == pytest.approx((1234.5) / 4000 * side, abs=1.5)
    assert len(proud) >= 1
    assert (row[proud][:, 0] > row[proud][:, 2] + 60).all()  # orange: proud


def test_striped_past_the_scale_and_hatched_where_nothing_is():
    top = np.zeros((90, 90))
    top[:, 30:60], top[:, 60:] = 3.0, np.nan
    tile = tile_of(top, np.ones(top.shape, bool), np.where(top == 0, 1, 2))
    pixels = draw_loupe(tile, unit="mm", title="x", passes={1: (1, "a"), 2: (2, "b")}, span_mm=0.1)
    left, high, side = MAP
    third = [pixels[high + 300 : high + 420, left + k * side // 3 + 9 :][:, :200] for k in range(3)]
    shades = [len(np.unique(part.reshape(-1, 3), axis=0)) for part in third]
    assert shades[0] == 1
    assert shades[1] == 2
    assert shades[2] == 2
    assert (third[2][..., 0] == third[2][..., 2]).all()  # grey


# What is refused


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--at", "1,0.5"), ("--size",)),
        (("--size", "1"), ("--at",)),
        (("--at", "1", "--size", "1"), ("--at '1'", "X,Y")),
        (("--at", "here,0", "--size", "1"), ("--at", '"here"', "length")),
        (("--at", "1,0.5", "--size", "0"), ("--size '0'", "not over 0")),
        (("--at", "1,0.5", "--size", "big"), ("--size", '"big"', "length")),
        (("--at", "1,0.5", "--size", "1", "--pitch", "0.9um"), ("--pitch 0.9 µm", "use 1um or mo")),
        (("--at", "1,0.5", "--size", "1", "--pitch", "-1"), ("--pitch '-1'", "not over 0")),
        (("--at", "1,0.5", "--size", "1.5um"), ("--size 1.5 µm", "no two columns 1 µm apart")),
        (("--at", "1,0.5", "--size", "1 thou", "--pitch", "1 thou"), ("or a smaller --pitch",)),
        (("--at", "5,0.5", "--size", "0.1"),
         ("--at: the window lies off the stock", "X 0.0000 in to 2.0000 in and Y 0.0000 in to")),
        (("--at", "2.05,0.5", "--size", "0.1"), ("off the stock",)),
        (("--at", "1,0.5", "--size", "40", "--pitch", "1um"),
         ("1,016,000 x 1,016,000 columns takes about", "GB", "smaller --size, or a larger --pitch",
          "in fits)")),
        (("--at", "1,0.5", "--size", "1e3"), ()),
        (("--at", "1,0.5", "--size", "1", "--out", "a.npy"), ("--out a.npy", "end in .npz")),
        (("--at", "1,0.5", "--size", "1", "--picture", "a.jpg"), ("--picture a.jpg", "in .png")),
        (("--at", "1,0.5", "--size", "1", "--picture", "new.png/"),
         ("--picture new.png/: ends in /, so it is a folder; name a file",)),
        (("--at", "1,0.5", "--size", "1", "--span", "1 thou"), ("--span is for the picture",)),
        (("--at", "1,0.5", "--size", "1", "--as-of", "9"), ("as-of pass 9", "passes 1 to 2")),
    ],
)  # fmt: skip
def test_refused_and_nothing_written(words, said, plate, command_inside, tmp_path):
    if not said:  # a wide window at its own pitch is no error: the stock in the middle of nothing
        rows = told(command_inside("loupe", plate.path, *words, "--pitch", "5", "--json"))
        assert rows["most"] is None
        return
    before = sorted(p for p in tmp_path.rglob("*"))
    done = command_inside("loupe", plate.path, *words)
    assert (done.returncode, done.stdout) == (2, "")
    for word in said:
        assert word in done.stderr, done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(p for p in tmp_path.rglob("*")) == before


def test_what_is_said_to_fit_fits(plate, command_inside, monkeypatch):
    """With 2 MB of free memory: the pitch that the refusal names is taken."""
    import proud.memory

    monkeypatch.setattr(proud.memory, "available_memory", lambda: 2_000_000)
    words = ("loupe", plate.path, "--at", "1,0.5", "--size", "0.5", "--json")
    done = command_inside(*words)
    assert done.returncode == 2
    assert "1,000 x 1,000 columns takes about 61 MB, and 2 MB of memory are free" in done.stderr
    pitch = done.stderr.split("--pitch (")[1].split(" in fits")[0]
    assert told(command_inside(*words, "--pitch", pitch))["pitch"] <= float(pitch)
    assert command_inside(*words, "--pitch", float(pitch) * 0.97).returncode == 2
