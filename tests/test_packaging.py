"""What is built is what is in the tree: nothing forgotten, nothing too much, and it starts."""

from __future__ import annotations

import email
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest
from conftest import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
NEEDED = ("pyproject.toml", "README.md", "LICENSE")
LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.egg-info")


def tree(folder: str) -> set[str]:
    """Files of a package's folder that belong into a wheel."""
    base = ROOT / folder
    return {
        path.relative_to(base).as_posix()
        for path in base.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Path:
    """Build both archives from a clean copy, the wheel from the source archive."""
    copy = tmp_path_factory.mktemp("copy")
    for name in NEEDED:
        shutil.copy(ROOT / name, copy / name)
    for name in ("sim", "cli"):
        shutil.copytree(ROOT / name, copy / name, ignore=LEFT_OUT)
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", copy / "out", copy],
        capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Deprecat" not in done.stdout + done.stderr
    return copy / "out"


@pytest.fixture(scope="module")
def wheel(built) -> Path:
    (found,) = built.glob("*.whl")
    assert found.name == f"proud-{PROJECT['project']['version']}-py3-none-any.whl"
    return found


def test_the_wheel_holds_the_tree(wheel):
    """A package left out of the explicit list, or a stray file, shows here."""
    names = set(zipfile.ZipFile(wheel).namelist())
    about = {name for name in names if ".dist-info/" in name}
    expected = {f"proud/{name}" for name in tree("sim")}
    expected |= {f"proud/cli/{name}" for name in tree("cli")}
    assert names - about == expected
    assert "proud/py.typed" in expected
    assert {name.partition("/")[2] for name in about} == {
        "METADATA", "RECORD", "WHEEL", "entry_points.txt", "top_level.txt", "licenses/LICENSE",
    }  # fmt: skip
    top = zipfile.ZipFile(wheel).read(next(n for n in about if n.endswith("top_level.txt")))
    assert top.split() == [b"proud"]


def test_only_code_in_the_packages():
    kinds = {Path(name).suffix for name in tree("sim") | tree("cli")}
    assert kinds == {".py", ".typed"}


def test_what_the_wheel_says_of_itself(wheel):
    archive = zipfile.ZipFile(wheel)
    (name,) = (n for n in archive.namelist() if n.endswith("/METADATA"))
    about = email.message_from_bytes(archive.read(name))
    assert (about["Name"], about["License-Expression"]) == ("proud", "MIT")
    assert about["Requires-Python"] == ">=3.11"
    assert set(about.get_all("Provides-Extra")) == {"report", "live", "cluster", "gpu", "dev"}
    needs = [need for need in about.get_all("Requires-Dist") if "extra ==" not in need]
    assert needs == PROJECT["project"]["dependencies"]
    assert not [need for need in needs if "<" in need], "an upper bound needs a known break"
    (name,) = (n for n in archive.namelist() if n.endswith("/entry_points.txt"))
    assert b"proud = proud.cli.__main__:main" in archive.read(name)


def test_the_source_archive_holds_what_a_build_needs(built):
    (found,) = built.glob("*.tar.gz")
    with tarfile.open(found) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    expected = {*NEEDED, *(f"{d}/{name}" for d in ("sim", "cli") for name in tree(d))}
    assert expected <= names


def test_the_wheel_starts(wheel, tmp_path):
    """Its own files run, straight from the archive, with no trace of the tree."""
    code = (
        f"import sys; sys.path.insert(0, {str(wheel)!r})\n"
        "import proud, proud.cli\n"
        f"assert proud.__file__.startswith({str(wheel)!r}), proud.__file__\n"
        f"assert proud.cli.__file__.startswith({str(wheel)!r}), proud.cli.__file__\n"
        "sys.argv = ['proud', 'schema']\n"
        "from proud.cli.__main__ import main\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("{")


def test_the_command_is_on_the_path_of_this_environment():
    name = Path(sys.executable).parent / "proud"
    if not name.exists():
        pytest.skip("proud is not installed beside this Python")
    done = subprocess.run([name, "--version"], capture_output=True, text=True, check=False)
    version = PROJECT["project"]["version"]
    assert (done.returncode, done.stdout, done.stderr) == (0, f"proud {version}\n", "")
