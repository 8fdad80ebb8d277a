"""Grids that memory can't hold: worked in strips on disk, with the same answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from proud import cut, memory
from proud.errors import TooLarge
from proud.job import load

DEMO = Path(__file__).resolve().parent.parent / "demo_parts" / "first_try" / "job.toml"


@pytest.fixture
def little_memory(monkeypatch, tmp_path):
    """A machine with a megabyte free, and a folder for its temporary files."""
    monkeypatch.setattr(memory, "available_memory", lambda: 1_000_000)
    monkeypatch.setattr(memory.tempfile, "gettempdir", lambda: str(tmp_path))
    return tmp_path


def test_on_disk_as_in_memory(little_memory, monkeypatch):
    monkeypatch.setattr(memory, "ROWS", 7)
    monkeypatch.setattr(cut, "STRIP_ENTRIES", 1)  # one row of tiles a strip
    on_disk = load(DEMO).run()
    kept = {path.suffix for path in little_memory.rglob("*") if path.is_file()}
    assert on_disk.cut.arrays.on_disk
    assert kept == {".bin"}
    monkeypatch.undo()
    in_memory = load(DEMO).run()
    assert not in_memory.cut.arrays.on_disk
    assert on_disk.as_dict() == in_memory.as_dict()
    assert np.array_equal(on_disk.tile.top, in_memory.tile.top, equal_nan=True)
    assert np.array_equal(on_disk.tile.owner, in_memory.tile.owner)


def test_the_folder_goes_with_the_result(little_memory):
    arrays = memory.Arrays(1_000_000)
    made = arrays.make((3, 4), np.float64)
    assert made.shape == (3, 4)
    assert len(list(little_memory.iterdir())) == 1
    del made, arrays
    assert list(little_memory.iterdir()) == []


def test_what_it_takes_in_words(little_memory):
    needed = memory.say_bytes(1_000_000 * memory.RUN_BYTES)
    text = memory.plan(1_000_000)
    assert text == f"1,000,000 columns: takes about {needed} on disk, worked in strips"


def test_neither_memory_nor_disk(little_memory):
    with pytest.raises(TooLarge, match=r"10,000,000,000,000 columns .* times as large fits"):
        memory.Arrays(10_000_000_000_000)
    assert list(little_memory.iterdir()) == []


def test_strips_cover_all_rows():
    slices = list(memory.strips(1000))
    rows = np.concatenate([np.arange(1000)[s] for s in slices])
    assert np.array_equal(rows, np.arange(1000))
    assert max(s.stop - s.start for s in slices) == memory.ROWS
