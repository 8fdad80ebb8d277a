"""What a test report must name, and a small job whose outcome is known in closed form."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
VERSIONS = ("numpy", "numba", "vtk", "pyvista", "trimesh", "pydantic")


def pytest_report_header() -> str:
    """Name the versions of Python and of the libraries whose numbers and pictures are tested."""
    found = [f"python {sys.version.split()[0]}"]
    for name in VERSIONS:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"{name} missing")
    return ", ".join(found)


PLATE_JOB = """\
[job]
title = "Plate"
unit = "in"

[stock]
shape = "block"
low = [0, 0, -0.5]
high = [2, 1, 0]

[grid]
pitch = "20 thou"

[[tools]]
number = 1
name = "flat 1/2"
shape = "flat"
DC = 0.5
APMX = 1.0
DMM = 0.5
LPR = 2.0

[[setups]]
name = "first side"
program = "plate.nc"
"""
"""A block with a slot along its edge, cut from both ends, the second time 3 thou deeper."""

PLATE_PROGRAM = """\
%
O1 (PLATE)
G20 G17 G40 G49 G80 G90 G94
T1 M6
G0 X-0.5 Y0.25 S2000 M3
G43 H1 Z0.1
(FROM THE LEFT)
G1 Z-0.1 F20.
X1.
G0 Z0.1
(FROM THE RIGHT)
X2.5
G1 Z-0.103
X1.
G0 Z1.
M30
%
"""
FLOOR_LEFT, FLOOR_RIGHT = -0.1, -0.103


@dataclasses.dataclass(frozen=True)
class Plate:
    """The plate's files in a folder; texts may be changed before `write`."""

    folder: Path
    job: str = PLATE_JOB
    program: str | bytes = PLATE_PROGRAM

    @property
    def path(self) -> Path:
        return self.folder / "job.toml"

    def write(self) -> Plate:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.path.write_text(self.job, encoding="utf-8")
        raw = self.program if isinstance(self.program, bytes) else self.program.encode()
        (self.folder / "plate.nc").write_bytes(raw)
        return self

    def with_job(self, old: str, new: str) -> Plate:
        """Return the plate with one text of its job file replaced."""
        assert self.job.count(old) == 1, old
        return dataclasses.replace(self, job=self.job.replace(old, new)).write()

    def with_program(self, old: str, new: str) -> Plate:
        """Return the plate with one text of its program replaced."""
        assert isinstance(self.program, str)
        assert self.program.count(old) == 1, old
        return dataclasses.replace(self, program=self.program.replace(old, new)).write()


@pytest.fixture
def plate(tmp_path: Path) -> Plate:
    """The plate, written to a folder of its own."""
    return Plate(tmp_path / "plate").write()


Done = subprocess.CompletedProcess[str]
Command = Callable[..., Done]


def assert_quiet(done: Done) -> None:
    """Assert success with nothing on stderr; a first run may say that it compiles."""
    assert done.returncode == 0, done.stderr
    said = done.stderr.splitlines()
    assert said in ([], ["first run: compiling for this machine, some seconds, once"])


@pytest.fixture
def command(tmp_path: Path) -> Command:
    """Run the real command in a folder of its own; wait for it to end."""
    here = tmp_path / "here"
    here.mkdir(exist_ok=True)

    def run(*args: object, env: Sequence[tuple[str, str]] = (), encoding: str = "utf-8"):
        clean = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "PROUD_DEBUG")}
        return subprocess.run(
            [sys.executable, "-m", "proud", *map(str, args)],
            cwd=here, env=clean | dict(env), stdin=subprocess.DEVNULL,
            capture_output=True, text=True, encoding=encoding, timeout=240, check=False,
        )  # fmt: skip

    return run


@pytest.fixture
def command_inside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    """Run the command as `command` does, in this process: many answers in the time of one."""
    from proud.cli.__main__ import main

    here = tmp_path / "here"
    here.mkdir(exist_ok=True)
    monkeypatch.chdir(here)
    for name in ("COLUMNS", "PROUD_DEBUG"):
        monkeypatch.delenv(name, raising=False)

    def run(*args: object) -> Done:
        words = ["proud", *map(str, args)]
        monkeypatch.setattr(sys, "argv", words)
        capsys.readouterr()
        with pytest.raises(SystemExit) as stop:
            main()
        said = capsys.readouterr()
        assert type(stop.value.code) is int
        return Done(words, stop.value.code, said.out, said.err)

    return run
