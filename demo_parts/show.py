"""Write what the demo prints, and its pictures, into the README.

Run: python demo_parts/show.py           rewrites the marked parts of README.md and the pictures
     python demo_parts/show.py --check   only compares the text; exit 1 if it has drifted

A marked part begins with ``<!-- output: NAME -->`` and ends with ``<!-- end -->``.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PICTURES = Path("demo_parts/pictures")
FIRST, SECOND = "demo_parts/first_try/job.toml", "demo_parts/second_try/job.toml"
PROGRAM = "demo_parts/first_try/saddle.nc"
LIST = "demo_parts/first_try/job_passes.toml"

OUTPUTS = {
    "read": ["read", PROGRAM, "--job", FIRST],
    "first": ["run", FIRST],
    "second": ["run", SECOND],
    "trace": ["trace", FIRST, "--from", "0,-0.08", "--to", "0,-0.5"],
    "probe": ["probe", FIRST, "--at", "-1.6,0.2,-0.3", "--toward", "1,0,0", "--stylus", "2mm"],
    "wall": ["wall", FIRST, "--z", "-0.15", "--along", "part"],
    "clearance": ["clearance", FIRST],
    "loupe": ["loupe", FIRST, "--at", "-1.02,0.69", "--size", "60thou"],
    "tool": ["tool", FIRST, "2"],
    "passes": ["passes", LIST],
}
SHORT = {
    "read": ("Tools in order", 6, "Passes", 4, "Lines of interest", 99),
    "passes": (
        "pass tool  operation lowest in     in     in        time    on wall      floor  name",
        12,
    ),
}
"""Long outputs, of which the README shows the first rows under some headings."""
DRAWN = {
    "first_try_passes.png": ["picture", FIRST, "--view", "iso", "--out"],
    "first_try_lamp.png": ["picture", FIRST, "--view", "top", "--color", "lamp", "--out"],
    "second_try_passes.png": ["picture", SECOND, "--view", "iso", "--out"],
    "section.png": [*OUTPUTS["trace"], "--picture"],
    "wall.png": [*OUTPUTS["wall"], "--picture"],
    "loupe.png": [*OUTPUTS["loupe"], "--picture"],
    "tool.png": [*OUTPUTS["tool"], "--out"],
}
"""Pictures, and the command that draws each, up to the file's name."""
FOUND = {
    "finding.png": "finding-*-fillet-in-one-bite.png",
    "groove.png": "finding-*-blend-step.png",
}
"""Pictures of findings, and what they are called among those of ``proud run --pictures``."""


def proud(arguments: list[str]) -> str:
    """Return what a command prints, run from the project's folder."""
    command = [sys.executable, "-m", "proud", *arguments]
    env = {**os.environ, "COLUMNS": "100"}
    done = subprocess.run(
        command, cwd=ROOT, env=env, capture_output=True, encoding="utf-8", check=True
    )
    return done.stdout.rstrip()


def shortened(name: str, text: str) -> str:
    """Return an output as the README shows it: of long lists only the first rows."""
    rules = SHORT.get(name, ())
    shown, left = [], 99
    for line in text.split("\n"):
        if line in rules:
            left = rules[rules.index(line) + 1] + 1
        elif not line:
            left = 99
        left -= 1
        if left >= 0:
            shown.append(line)
        elif left == -1:
            shown.append("  ...")
    return "\n".join(shown)


def with_outputs(text: str) -> str:
    """Return the README with every marked part made anew."""
    for name, arguments in OUTPUTS.items():
        shown = f"$ proud {' '.join(arguments)}\n{shortened(name, proud(arguments))}"
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
        proud([*arguments, str(PICTURES / name), "--quiet"])
    with tempfile.TemporaryDirectory() as folder:
        proud(["run", FIRST, "--quiet", "--pictures", folder])
        for name, called in FOUND.items():
            shutil.copyfile(min(Path(folder).glob(called)), ROOT / PICTURES / name)


if __name__ == "__main__":
    main()
