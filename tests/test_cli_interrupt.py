"""Ctrl-C, and faults of the program's own: an exit code, a plain line, no half file."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from proud.cli import __main__ as main_module
from proud.errors import Fault

LONG_JOB = """\
[job]
title = "Raster"
unit = "mm"

[stock]
shape = "block"
low = [0, 0, -20]
high = [100, 100, 0]

[grid]
pitch = 0.025

[[tools]]
number = 1
shape = "bull"
DC = 12
RE = 2

[[setups]]
program = "plate.nc"
"""


def long_program() -> str:
    """Ramps that sink a hair on every pass, so that none is left out."""
    lines = ["G21 G90 G94", "T1 M6", "G0 X0 Y0 Z5 S9000 M3", "G1 Z-1 F900"]
    for k in range(60_000):
        lines.append(f"X{100 * (k % 2 == 0):d} Y{(k * 37) % 101} Z{-1 - k * 0.0003:.4f}")
    return "\n".join([*lines, "M30", ""])


def has_terminals() -> bool:
    """Whether this machine makes pseudo terminals: a bare container may have no /dev/pts."""
    try:
        screen, terminal = os.openpty()
    except (AttributeError, OSError):
        return False
    os.close(screen)
    os.close(terminal)
    return True


@pytest.mark.skipif(not has_terminals(), reason="no terminals here")
def test_ctrl_c_while_it_cuts(plate, tmp_path):
    import dataclasses

    plate = dataclasses.replace(plate, job=LONG_JOB, program=long_program()).write()
    out = tmp_path / "kept.json"
    out.write_text("a result of yesterday")
    pictures = tmp_path / "pictures"
    screen, terminal = os.openpty()
    words = ["run", plate.path, "--json", "--out", out, "--pictures", pictures]
    running = subprocess.Popen(
        [sys.executable, "-m", "proud", *map(str, words)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=terminal,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "160"}, text=True,
        # What a shell runs with & ignores Ctrl-C, and so does all that it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    os.close(terminal)
    try:
        said = read_until(screen, b"columns/s", seconds=120)
        assert running.poll() is None, said
        running.send_signal(signal.SIGINT)
        said += read_until(screen, b"never said", seconds=30)
        assert running.wait(30) == 130, said.decode()[-600:]
        assert running.stdout.read() == ""
    finally:
        running.kill()
        running.wait()
        running.stdout.close()
        os.close(screen)
    text = said.decode()
    assert "60,002 moves on 16,000,000 columns" in text
    assert text.rstrip().endswith("stopped; no file was left half written")
    assert "Traceback" not in text
    assert out.read_text() == "a result of yesterday"
    assert {p.name for p in tmp_path.rglob("*") if p.is_file()} == {
        "kept.json", "job.toml", "plate.nc",
    }  # fmt: skip


def read_until(screen: int, word: bytes, *, seconds: float) -> bytes:
    """Return what a terminal shows until a word, its end, or the time is up."""
    import select

    said, until = b"", time.monotonic() + seconds
    while word not in said and time.monotonic() < until:
        if not select.select([screen], [], [], 0.5)[0]:
            continue
        try:
            part = os.read(screen, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        said += part
    return said


def run_main(monkeypatch, *words) -> int:
    """Run the command in this process and return its exit code."""
    monkeypatch.setattr(sys, "argv", ["proud", *map(str, words)])
    with pytest.raises(SystemExit) as stop:
        main_module.main()
    return stop.value.code


def broken(error):
    def schema():
        raise error

    return schema


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (RuntimeError("boom"), "internal fault: RuntimeError: boom"),
        (Fault("a promise"), "internal fault: Fault: a promise"),
        (ZeroDivisionError(), "internal fault: ZeroDivisionError"),
        (RecursionError("deep"), "internal fault: RecursionError: deep"),
    ],
)
def test_faults_of_ours(error, said, monkeypatch, capsys, tmp_path):
    monkeypatch.delenv("PROUD_DEBUG", raising=False)
    monkeypatch.setattr("proud.jobfile.job_schema", broken(error))
    out = tmp_path / "kept.json"
    out.write_text("old")
    assert run_main(monkeypatch, "schema", "--json", "--out", out) == 3
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith(said)
    assert "mistake of the program" in shown.err
    assert "Traceback" not in shown.err
    assert out.read_text() == "old"
    monkeypatch.setenv("PROUD_DEBUG", "1")
    monkeypatch.setattr(sys, "argv", ["proud", "schema"])
    with pytest.raises(type(error)):
        main_module.main()


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "stopped; no file was left half written\n"),
        (MemoryError(), 2, "error: the memory is full; choose a larger [grid] pitch\n"),
    ],
)
def test_other_ends(error, code, said, monkeypatch, capsys):
    monkeypatch.setattr("proud.jobfile.job_schema", broken(error))
    assert run_main(monkeypatch, "schema") == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.endswith(said)


def test_a_write_that_fails_leaves_the_old_file(monkeypatch, capsys, tmp_path):
    out = tmp_path / "schema.json"
    out.write_text("old")

    def no_space(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", no_space)
    assert run_main(monkeypatch, "schema", "--out", out) == 2
    assert capsys.readouterr().err == f"error: can't write {out}: No space left on device\n"
    assert [p.name for p in tmp_path.iterdir()] == ["schema.json"]
    assert out.read_text() == "old"


def test_a_good_end(monkeypatch, capsys):
    assert run_main(monkeypatch, "schema") == 0
    assert json.loads(capsys.readouterr().out)["title"] == "job.toml"
