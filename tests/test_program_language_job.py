"""What a job says of its control, words it accepts, and parameters."""

from __future__ import annotations

from pathlib import Path

import pytest
from proud.dialect import CHOICES, Dialect
from proud.errors import JobError
from proud.jobfile import JobSpec, load_job_file
from proud.jobfile_control import ControlTable

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
