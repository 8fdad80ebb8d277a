"""What a job says of its control, words it accepts, and parameters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import proud
import pytest
from helpers_job import tool as hj_tool
from helpers_job import write_job
from proud.dialect import CHOICES, Dialect
from proud.errors import JobError
from proud.jobfile import JobSpec, load_job_file
from proud.jobfile_control import ControlTable
from proud.moves import ARC

JOB = """[job]
unit = "mm"
[stock]
shape = "block"
low = [0, 0, -10]
high = [50, 30, 0]
[[tools]]
number = 1
shape = "flat"
DC = 10
[[setups]]
program = "p.nc"
"""


def load(folder: Path, more: str) -> JobSpec:
    (folder / "p.nc").write_text("M30\n")
    (folder / "job.toml").write_text(JOB + more)
    return load_job_file(folder / "job.toml")


def test_defaults(tmp_path: Path) -> None:
    (setup,) = load(tmp_path, "").setups
    assert setup.control == Dialect()
    assert (setup.accept, setup.parameters) == ({}, {})


def test_choices_words_and_parameters(tmp_path: Path) -> None:
    more = """[setups.control]
rotary = "kept"
arc_centers = "absolute"
[setups.accept]
M41 = "low gear"
"g05.40" = "smoothing"
E = "tolerance"
[setups.parameters]
501 = 12.5
"""
    with pytest.raises(JobError, match=r'"g05\.40" is not a word'):
        load(tmp_path, more)
    (setup,) = load(tmp_path, more.replace("g05.40", "g05.4")).setups
    assert setup.control == Dialect(rotary="kept", arc_centers="absolute")
    assert setup.accept == {"M41": "low gear", "G5.4": "smoothing", "E": "tolerance"}
    assert setup.parameters == {501: 12.5}


def test_a_key_for_every_choice() -> None:
    assert tuple(ControlTable.model_fields) == CHOICES
    assert all(field.description for field in ControlTable.model_fields.values())


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('[setups.control]\nrotary = "keep"', '"keep" is not allowed; allowed: refused, kept'),
        ('[setups.control]\nrotaty = "kept"', 'rotaty: unknown key; allowed here: arc_centers,'),
        ('[setups.accept]\nM3 = "x"', "M3 is a word that is read anyway"),
        ('[setups.accept]\nG01 = "x"', "G1 is a word that is read anyway"),
        ('[setups.accept]\nX = "x"', '"X" is not a word'),
        ('[setups.accept]\nM41 = ""', "is an empty text"),
        ("[setups.accept]\nM41 = 1", "1 is not"),
        ("[setups.parameters]\n0 = 1", '"0" is no parameter; write a number from 1 to 5060'),
        ("[setups.parameters]\n5221 = 1", '"5221" is no parameter'),
        ('[setups.parameters]\n1 = "a"', '"a" is not a number'),
    ],
)  # fmt: skip
def test_refused(tmp_path: Path, more: str, said: str) -> None:
    with pytest.raises(JobError) as caught:
        load(tmp_path, more)
    assert said in str(caught.value)


def test_what_a_job_says_reaches_the_reader(tmp_path: Path) -> None:
    """Control, accepted words, parameters, D errors, further work zeros and chords of arcs."""
    setup = """home = [0, 0, 100]
[setups.control]
arc_centers = "absolute"
[setups.accept]
M41 = "low gear"
[setups.parameters]
501 = 12.5
[setups.work_offsets]
"G59.1" = [10, 5, 0]
"""
    nc = (
        "G21 T1 M6\nG43 H1 S900 M3 F100 M41\nG59.1 G0 X0 Y0 Z5\nG1 Z-1\nX#501\n"
        "G3 X0 Y12.5 I0 J0\nG0 Z5\nG54 X-10 Y0\nG1 Z-1\nG41 D1 X0 Y-10\nX10\nG40 X20\nG0 Z9\nM30"
    )
    job = write_job(tmp_path, nc, [hj_tool(1, "flat", 6)], setup=setup, offsets='D1 = "0.1mm"')
    moves = job.program.moves
    ends = [tuple(v) for v in np.round(moves.end, 9).tolist()]
    assert (22.5, 5, -1) in ends  # X12.5 from G59.1
    arc = int(np.flatnonzero(moves.kind == ARC)[0])
    assert tuple(moves.center[arc]) == (10, 5)  # the centre from the work zero
    assert ends[arc] == (10, 17.5, -1)
    # left of a way along +X by the radius, 3, and the register's error
    assert any(x == 10 and y == pytest.approx(-10 + 3.1, abs=1e-9) for x, y, _ in ends)
    assert any("M41 is taken as harmless: low gear" in note for note in job.notes)


def test_least_width_and_chord_of_a_job(tmp_path: Path) -> None:
    """A strip 20 um wide between two slots: a level for a least width of 10 um, none for 30."""
    nc = "\n".join(
        [
            "G21 T1 M6\nG43 H1 S900 M3 F100\n(SLOTS)\nG0 X-30 Y-3.01 Z5\nG1 Z-1\nX30\nG0 Z5",
            "X-30 Y3.01\nG1 Z-1\nX30\nG0 Z5\nM30",
        ]
    )
    for width, levels in (("10um", 2), ("30um", 1)):
        folder = tmp_path / width
        low, high = (-20.0, -6.0, -5.0), (20.0, 6.0, 0.0)
        write_job(folder, nc, [hj_tool(1, "flat", 6)], low=low, high=high)
        text = (folder / "job.toml").read_text()
        (folder / "job.toml").write_text(
            text.replace("[grid]", f'[grid]\nleast_width = "{width}"', 1)
        )
        job = proud.load(folder / "job.toml")
        assert [round(v.z, 6) for v in job.run().levels] == [0, -1][2 - levels :]
