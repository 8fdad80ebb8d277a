"""Subprograms in files of the job's folder, and nothing outside it."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers_program import HEAD, settings
from proud.errors import ProgramError
from proud.program import read_program

SUB = "G91 G1 X1\nG90 M99\n"


def ends(place: Path, text: str, **changes: object) -> list[list[float]]:
    (place / "main.nc").write_text(HEAD + text + "\nM30\n")
    found = read_program(place / "main.nc", settings(**changes), shown="main.nc")
    return found.moves.end[1:].tolist()


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("O1234.nc", "O1234\n" + SUB),
        ("O1234.nc", "%\nO1234 (SUB)\n" + SUB + "%\nrubbish"),
        ("O1234", SUB),
        ("o1234.tap", SUB),
        ("1234.NC", SUB),
        ("O1234.txt", "O1\nM99\nO1234\n" + SUB),
    ],
)
def test_in_the_folder(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text)
    assert ends(tmp_path, "M98 P1234 L2") == [[1, 0, 0], [2, 0, 0]]


def test_zeros_before_the_number(tmp_path: Path) -> None:
    (tmp_path / "O0007.nc").write_text("O0007\n" + SUB)
    assert ends(tmp_path, "M98 P7") == [[1, 0, 0]]


def test_in_the_program_first(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").write_text("G1 X9\nM99")
    assert ends(tmp_path, "M98 P7\nM30\nO7\n" + SUB) == [[1, 0, 0]]


def test_a_called_file_calls_the_main_one(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").write_text("O7\nM98 P8\nM98 P9\nM99\nO9\nG1 Y5\nM99")
    assert ends(tmp_path, "M98 P7\nM30\nO8\n" + SUB) == [[1, 0, 0], [1, 5, 0]]


def test_moves_stand_at_the_line_of_the_call(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").write_text("O7\nG1 X1\nM98 P8\nM99\n")
    (tmp_path / "O8.nc").write_text("\n\n\n\n\nG1 X2\nM99\n")
    (tmp_path / "main.nc").write_text(HEAD + "\n\nM98 P7\nM30")
    found = read_program(tmp_path / "main.nc", settings())
    assert found.moves.line.tolist() == [3, 6, 6]


def test_error_names_its_own_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").write_text("O7\nG1 X1\nG66\nM99\n")
    with pytest.raises(ProgramError, match=r"\AO7\.nc:3:1: G66 is not handled"):
        ends(tmp_path, "M98 P7")


def test_two_files_for_one_number(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").write_text(SUB)
    (tmp_path / "7.txt").write_text(SUB)
    with pytest.raises(ProgramError, match=r"main\.nc:4:5: O7 may be any of O7\.nc, 7\.txt"):
        ends(tmp_path, "M98 P7")


def test_nothing_outside_the_folder(tmp_path: Path) -> None:
    inside = tmp_path / "job"
    inside.mkdir()
    (tmp_path / "O7.nc").write_text(SUB)
    with pytest.raises(ProgramError, match=r"O7 is neither in the program nor a file"):
        ends(inside, "M98 P7")
    (inside / "O7.nc").symlink_to(tmp_path / "O7.nc")
    with pytest.raises(ProgramError, match=r"O7 is neither in the program nor a file"):
        ends(inside, "M98 P7")
    (inside / "O8.nc").symlink_to(inside / "O8.nc")
    with pytest.raises(ProgramError, match=r"O8 is neither in the program nor a file"):
        ends(inside, "M98 P8")


def test_a_folder_and_a_binary_file(tmp_path: Path) -> None:
    (tmp_path / "O7.nc").mkdir()
    with pytest.raises(ProgramError, match=r"O7 is neither"):
        ends(tmp_path, "M98 P7")
    (tmp_path / "O8.nc").write_bytes(b"G1 X1\0\0")
    with pytest.raises(ProgramError, match=r"main\.nc:4:5: O8\.nc: is a binary file"):
        ends(tmp_path, "M98 P8")


def test_the_job_says_which_folder(tmp_path: Path) -> None:
    job, programs = tmp_path / "job", tmp_path / "job" / "programs"
    programs.mkdir(parents=True)
    (job / "O7.nc").write_text(SUB)
    assert ends(programs, "M98 P7", folder=job) == [[1, 0, 0]]
    with pytest.raises(ProgramError, match=r"O7 is neither"):
        ends(programs, "M98 P7")
