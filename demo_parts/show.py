"""Write what the demo prints, and its pictures, into the README.

Run: python demo_parts/show.py           rewrites the marked parts of README.md and the pictures
     python demo_parts/show.py --check   only compares the text; exit 1 if it has drifted

A marked part begins with ``<!-- output: NAME -->`` and ends with ``<!-- end -->``.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURES = Path("demo_parts/pictures")
SECTION = ["--from", "0,-0.08", "--to", "0,-0.5"]

OUTPUTS = {
    "first": ["run", "demo_parts/first_try/job.toml"],
    "second": ["run", "demo_parts/second_try/job.toml"],
    "trace": ["trace", "demo_parts/first_try/job.toml", *SECTION],
}
DRAWN = {
    "first_try_passes.png": ["picture", "demo_parts/first_try/job.toml", "--view", "iso"],
    "first_try_lamp.png": [
        "picture", "demo_parts/first_try/job.toml", "--view", "top", "--color", "lamp",
    ],
    "second_try_passes.png": ["picture", "demo_parts/second_try/job.toml", "--view", "iso"],
}  # fmt: skip


def proud(arguments: list[str]) -> str:
    """Return what a command prints, run from the project's folder."""
    command = [sys.executable, "-m", "proud", *arguments]
    env = {**os.environ, "COLUMNS": "100"}
    done = subprocess.run(
        command, cwd=ROOT, env=env, capture_output=True, encoding="utf-8", check=True
    )
    return done.stdout.rstrip()


def with_outputs(text: str) -> str:
    """Return the README with every marked part made anew."""
    for name, arguments in OUTPUTS.items():
        shown = f"$ proud {' '.join(arguments)}\n{proud(arguments)}"
        part = f"<!-- output: {name} -->\n```text\n{shown}\n```\n<!-- end -->"
        pattern = rf"<!-- output: {name} -->\n.*?<!-- end -->"
        text, count = re.subn(pattern, lambda _, p=part: p, text, flags=re.DOTALL)
        if count != 1:
            raise SystemExit(f"README.md: {count} parts marked {name!r}, expected one")
    return text


def main() -> None:
    """Rewrite or check."""
    readme = ROOT / "README.md"
    old = readme.read_text(encoding="utf-8")
    new = with_outputs(old)
    if "--check" in sys.argv[1:]:
        if new != old:
            raise SystemExit("README.md has drifted: run python demo_parts/show.py")
        return
    readme.write_text(new, encoding="utf-8")
    for name, arguments in DRAWN.items():
        proud([*arguments, "--out", str(PICTURES / name), "--quiet"])
    section = [*OUTPUTS["trace"], "--picture", str(PICTURES / "section.png"), "--quiet"]
    proud(section)


if __name__ == "__main__":
    main()
