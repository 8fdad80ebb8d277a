"""The real command ``proud picture``: every view and colouring, without a display."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
from conftest import assert_quiet

VIEWS = ("top", "front", "back", "left", "right", "iso")
COLORS = ("pass", "height", "lamp")


def size_of(path: Path) -> tuple[int, int]:
    """Return width and height that a PNG's first chunk states."""
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", head[16:24])


@pytest.mark.parametrize(("view", "color"), list(zip(VIEWS, 2 * COLORS, strict=True)))
def test_views(view, color, plate, command_inside, tmp_path):
    out = tmp_path / "view.png"
    out.write_text("old")
    words = ("--view", view, "--color", color, "--size", "900x700", "--out", out)
    done = command_inside("picture", plate.path, *words)
    assert_quiet(done)
    assert done.stdout == f"picture: {out}\n"
    assert size_of(out) == (900, 700)
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["view.png"]


def test_json_and_the_same_bytes_again(plate, command_inside, tmp_path):
    words = ("picture", plate.path, "--json", "--camera", "-40,25", "--lamp", "200,2",
             "--exaggerate", "5", "--no-numbers", "--as-of", "1", "--out")  # fmt: skip
    for name in ("a.png", "b.png"):
        done = command_inside(*words, name)
        assert (done.returncode, done.stderr) == (0, "")
        assert json.loads(done.stdout) == {"unit": "in", "title": "Plate", "picture": name}
    a, b = (tmp_path / "here" / name for name in ("a.png", "b.png"))
    assert size_of(a) == (1600, 1100)
    assert a.read_bytes() == b.read_bytes()
    done = command_inside("picture", plate.path, "--quiet", "--no-numbers", "--out", a)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert a.read_bytes() != b.read_bytes()


def test_the_real_command_without_a_display(plate, command, tmp_path):
    out = tmp_path / "view.png"
    no_screen = [("DISPLAY", ""), ("WAYLAND_DISPLAY", "")]
    done = command("picture", plate.path, "--out", out, env=no_screen)
    assert_quiet(done)
    assert done.stdout == f"picture: {out}\n"
    assert size_of(out) == (1600, 1100)
