"""Every number that the README shows is printed by the commands that it names."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_readme_shows_what_the_commands_print():
    check = [sys.executable, str(ROOT / "demo_parts" / "show.py"), "--check"]
    done = subprocess.run(check, capture_output=True, text=True, check=False, cwd=ROOT)
    assert (done.returncode, done.stderr) == (0, "")


def test_pictures_of_the_readme_are_there():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    names = [part.split(")")[0] for part in text.split("](")[1:]]
    assert len([n for n in names if n.endswith(".png")]) == 9
    assert [n for n in names if not (ROOT / n).is_file()] == []
