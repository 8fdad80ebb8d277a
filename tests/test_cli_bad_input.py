"""What can't be used is refused by the real command: exit 2, nothing written, and why."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh

OLD = "a result of yesterday\n"


@dataclasses.dataclass
class Case:
    """Files of a case, what is asked, and what the answer must hold."""

    name: str
    said: tuple[str, ...]
    change: Callable = lambda plate: plate
    args: tuple[object, ...] = ()
    command: str = "run"


def job(old: str, new: str) -> Callable:
    return lambda plate: plate.with_job(old, new)


def program(old: str, new: str) -> Callable:
    return lambda plate: plate.with_program(old, new)


def whole_program(text: str | bytes) -> Callable:
    return lambda plate: dataclasses.replace(plate, program=text).write()


def open_mesh(path: Path) -> None:
    """A box of 2 x 1 x 0.5 with one facet missing."""
    box = trimesh.creation.box((2, 1, 0.5))
    box.apply_translation((1, 0.5, -0.25))
    box.update_faces(np.arange(len(box.faces)) > 0)
    box.export(path)


def open_stock(plate):
    open_mesh(plate.folder / "raw.stl")
    block = 'shape = "block"\nlow = [0, 0, -0.5]\nhigh = [2, 1, 0]'
    return plate.with_job(block, 'shape = "model"\nmodel = "raw.stl"')


def part(name: str, make: Callable[[Path], object]) -> Callable:
    def change(plate):
        make(plate.folder / name)
        return plate.with_job("[grid]", f'[part]\nmodel = "{name}"\n\n[grid]')

    return change


JOB_CASES = [
    Case("program missing", ("setups[1].program", '"plate.nb"', "not there", '"plate.nc"'),
         job('"plate.nc"', '"plate.nb"')),
    Case("unknown key", ("tools[1].DIAM", "unknown key", "DC"), job("DC = 0.5", "DIAM = 0.5")),
    Case("unknown table", ("stok", '"stock"'), job("[stock]", "[stok]")),
    Case("unknown unit", ("grid.pitch", '"20 thau"', "thou, tenths, mm", '"thou"'),
         job("20 thou", "20 thau")),
    Case("unknown unit of the job", ("job.unit", '"ft"', '"in"', '"mm"'), job('"in"', '"ft"')),
    Case("not TOML", ("line 3, column", "inch"), job('unit = "in"', "unit = inch")),
    Case("a format to come", ("job.format", "2", "1"), job("[job]", "[job]\nformat = 2")),
    Case("low over high", ("stock.low", "0.0000 in", "not below", "-0.1000 in"),
         job("high = [2, 1, 0]", "high = [-0.1, 1, 0]")),
    Case("low equals high", ("stock.low", "z of low", "not below", "z of high"),
         job("low = [0, 0, -0.5]", "low = [0, 0, 0]")),
    Case("corner radius over half the diameter", ("tools[1]", "RE", "0.3000 in", "DC"),
         job('"flat"\nDC = 0.5', '"bull"\nRE = 0.3\nDC = 0.5')),
    Case("outside the folder", ("setups[1].program", '"../plate.nc"', "--allow-outside"),
         job('"plate.nc"', '"../plate.nc"')),
    Case("a pitch below any memory", ("20,000,000,000 columns", "1,220.0 GB", "larger [grid] pit"),
         job("20 thou", "0.01 thou")),
    Case("a pitch below any disk", ("columns", "GB", "larger [grid] pitch", "times as large fits"),
         job("20 thou", "1e-6 thou")),
    Case("a pitch of 0", ("grid.pitch", "0"), job('"20 thou"', "0")),
]  # fmt: skip

PROGRAM_CASES = [
    Case("tool not in the list", ("plate.nc:4:1", "tool 2 is not in the job", "T1"),
         program("T1 M6", "T2 M6")),
    Case("no tool", ("plate.nc:", "tool"), program("T1 M6\n", "")),
    Case("an arc that doesn't close", ("plate.nc:9:", "radius", "0.5", "0.7"),
         program("X1.\nG0 Z0.1\n", "G2 X0.7 Y0.25 I0.5 J0.\nG0 Z0.1\n")),
    Case("a number too long", ("plate.nc:8:4", "long", "20"),
         program("G1 Z-0.1 F20.", f"G1 Z-{'1' * 30} F20.")),
    Case("binary", ("plate.nc", "text"), whole_program(bytes(range(256)) * 8)),
    Case("empty", ("plate.nc", "no feed move", "G1"), whole_program("")),
    Case("nothing but a comment", ("plate.nc", "no feed move"), whole_program("%\n(X)\nM30\n%\n")),
    Case("motion that isn't handled", ("plate.nc:9:1", "G5"),
         program("X1.\nG0 Z0.1\n", "G5 X1.\nG0 Z0.1\n")),
    Case("a word twice", ("plate.nc:9:4", "X"), program("X1.\nG0 Z0.1", "X1.X2.\nG0 Z0.1")),
]  # fmt: skip

MODEL_CASES = [
    Case("stock that isn't closed", ("raw.stl", "not closed: 3 open edges", "again"),
         open_stock),
    Case("part that isn't closed", ("part.stl", "not closed: 3 open edges", "again"),
         part("part.stl", open_mesh)),
    Case("part that isn't closed, in text", ("part.obj", "not closed: 3 open edges"),
         part("part.obj", open_mesh)),
    Case("part that isn't a mesh", ("part.stl", "holds no facets", "a mesh of the part"),
         part("part.stl", lambda path: path.write_text("no mesh"))),
    Case("part of no known kind", ("part.step", ".step is not a mesh", "save the part", ".stl"),
         part("part.step", lambda path: path.write_text("ISO-10303-21;"))),
]  # fmt: skip

OPTION_CASES = [
    Case("as of nonsense", ("as-of 'banana'", "line:120"), args=("--as-of", "banana")),
    Case("as of a pass past the end", ("as-of pass 3", "passes 1 to 2"), args=("--as-of", "3")),
    Case("as of a line past the end", ("as-of line 18", "lines 1 to 17"),
         args=("--as-of", "line:18")),
    Case("skim nonsense", ("--skim", '"deep"', "12.5 thou"), args=("--skim", "deep")),
    Case("skim upwards", ("--skim", "'-1 thou'", "below 0"), args=("--skim", "-1 thou")),
    Case("skim not a number", ("--skim", '"nan"', "length"), args=("--skim", "nan")),
    Case("unknown severity", ("--fail-on", "'worry'", "watch"), args=("--fail-on", "worry")),
    Case("no threads", ("--threads", "0"), args=("--threads", "0")),
    Case("unknown option", ("--al", "--all"), args=("--al",)),
    Case("two jobs", ("unexpected extra argument",), args=("second.toml",)),
]  # fmt: skip

TRACE = ("--from", "0,0.25", "--to", "2,0.25")
TRACE_CASES = [
    Case("from nonsense", ("--from", '"left"', "length"),
         args=("--from", "left,0", "--to", "1,0")),
    Case("one number", ("--from '0.5'", "X,Y"), args=("--from", "0.5", "--to", "1,0")),
    Case("three numbers", ("--to '1,2,3'", "X,Y"), args=("--from", "0,0", "--to", "1,2,3")),
    Case("no number", ("--to", "nan"), args=("--from", "0,0", "--to", "1,nan")),
    Case("too far", ("--to", "100 m"), args=("--from", "0,0", "--to", "1,1e300")),
    Case("no length", ("no length", "--from", "--to"), args=("--from", "1,1", "--to", "1,1")),
    Case("no end", ("--to",), args=("--from", "1,1")),
    Case("no spacing", ("--spacing", "'0'", "2 thou"), args=(*TRACE, "--spacing", "0")),
    Case("spacing too fine", ("spacing", "2,000,000 points"), args=(*TRACE, "--spacing", "1e-8")),
    Case("a picture of no kind", ("--picture", "cut.jpg", ".png"),
         args=(*TRACE, "--picture", "cut.jpg")),
    Case("a folder that isn't there", ("--save nowhere/a.csv", "no folder nowhere", "make it"),
         args=(*TRACE, "--save", "nowhere/a.csv")),
]  # fmt: skip

ALL = [
    *JOB_CASES,
    *PROGRAM_CASES,
    *MODEL_CASES,
    *OPTION_CASES,
    *(dataclasses.replace(case, command="trace") for case in TRACE_CASES),
]


def refused(done, *said: str) -> None:
    """Assert an answer of exit 2 that says these words, and no others' noise."""
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    for word in said:
        assert word in done.stderr, (word, done.stderr)
    assert "Traceback" not in done.stderr
    assert "internal fault" not in done.stderr
    assert len(done.stderr) < 2000


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize("case", ALL, ids=lambda case: f"{case.command} {case.name}")
def test_refused_and_nothing_written(case, plate, command, tmp_path):
    plate = case.change(plate)
    kept = tmp_path / "kept.json"
    kept.write_text(OLD)
    before = everything_in(tmp_path)
    done = command(case.command, plate.path, *case.args, "--json", "--out", kept)
    refused(done, *case.said)
    assert everything_in(tmp_path) == before


def test_a_job_file_that_is_not_there(command, plate):
    done = command("run", plate.folder / "jobb.toml", "--json")
    refused(done, "jobb.toml: no such file", 'did you mean "job.toml"?')
    refused(command("run"), "JOB")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("rum", "job.toml"), ("'rum'", "there are start, read, ", 'did you mean "run"?')),
        (("--verbose",), ("--verbose", "No such option")),
        (("schema", "job.toml"), ("unexpected extra argument",)),
    ],
)
def test_words_that_are_no_command(words, said, command):
    refused(command(*words), *said)


def test_targets_that_can_t_be_written(command, plate, tmp_path):
    (tmp_path / "file").write_text(OLD)
    (tmp_path / "folder").mkdir()
    before = everything_in(tmp_path)
    run = ("run", plate.path, "--json")
    refused(command(*run, "--out", tmp_path / "no" / "a.json"), "--out", "no folder", "make it")
    refused(command(*run, "--out", tmp_path / "folder"), "--out", "is a folder; name a file")
    refused(command(*run, "--out", "/dev/null"), "--out /dev/null", "not an ordinary file")
    refused(command(*run, "--out", plate.path), "--out", "job.toml: is a file of the job itself")
    refused(command(*run, "--out", plate.folder / "plate.nc"), "is a file of the job itself")
    refused(command(*run, "--pictures", tmp_path / "file"), "--pictures", "is a file; name a fol")
    below = tmp_path / "file" / "below"
    refused(command(*run, "--pictures", below), "--pictures", "is a file; name a folder")
    folder = "ends in /, so it is a folder; name a file"
    refused(command(*run, "--out", f"{tmp_path}/new/"), f"--out {tmp_path}/new/: {folder}")
    refused(command(*run, "--out", f"{tmp_path}/folder/"), "--out", folder)
    sections = ("trace", plate.path, *TRACE)
    refused(command(*sections, "--picture", f"{tmp_path}/new.png/"), "--picture", folder)
    refused(command(*sections, "--save", f"{tmp_path}/new/"), "--save", folder)
    same = ("--save", tmp_path / "one.png", "--picture", tmp_path / "one.png")
    refused(command("trace", plate.path, *TRACE, *same), "--picture", "--save writes that file")
    assert everything_in(tmp_path) == before
    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), ("--out view.png",)),
        (("--out", "view.tiff"), ("--out view.tiff", ".png")),
        (("--out", "view.png", "--view", "left-handed"), ("--view", "'left-handed'", "iso")),
        (("--out", "view.png", "--size", "big"), ("--size 'big'", "1600x1100")),
        (("--out", "view.png", "--size", "10x10"), ("10 x 10 pixels", "800 x 600")),
        (("--out", "view.png", "--camera", "up"), ("--camera 'up'", "two angles")),
        (("--out", "view.png", "--camera", "0,95"), ("camera elevation 95", "0 to 90")),
        (
            ("--out", "view.png", "--camera", "0,45", "--view", "iso"),
            ("--view iso and --camera 0,45 both say", "give one of them"),
        ),
        (("--out", "view.png/"), ("--out view.png/: ends in /, so it is a folder", "name a file")),
        (("--out", "view.png", "--lamp", "nan,nan"), ("lamp azimuth nan", "-360 to 360")),
        (("--out", "view.png", "--exaggerate", "nan"), ("exaggerat", "nan")),
    ],
)
def test_pictures_that_can_t_be_drawn(args, said, command, plate, tmp_path):
    refused(command("picture", plate.path, *args, "--json"), *said)
    assert not list((tmp_path / "here").iterdir())
