"""The first run: what each command compiles beforehand, and that it is all that it needs."""

from __future__ import annotations

import ast
import itertools
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest
from proud.warm import COSTS, KERNELS, NEEDS, PARTS, is_warm, shared_out, warm_up

ROOT = Path(__file__).resolve().parent.parent
WHEN_CALLED = {
    "cutting.heights_of", "narrow.may_hide",  # columns under standing metal
    "mesh_columns.raster",  # stock as a mesh
    "blocks.line_ends", "blocks.scan",  # long programs
}  # fmt: skip
"""Kernels of rare jobs: compiled when they are called."""


def entries() -> set[str]:
    """Kernels that Python calls, as module and name, read from the files."""
    return {
        f"{path.stem}.{node.name}"
        for path in (ROOT / "sim" / "kernels").glob("*.py")
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
        and any(isinstance(d, ast.Name) and d.id == "entry" for d in node.decorator_list)
    }


def test_every_kernel_is_compiled_by_some_part():
    named = {kernel for kernels in KERNELS.values() for kernel in kernels}
    assert named | WHEN_CALLED == entries()
    assert named & WHEN_CALLED == set()


def test_parts_are_named_alike_everywhere():
    assert set(KERNELS) == set(COSTS) == set(PARTS)
    assert {part for parts in NEEDS.values() for part in parts} == set(PARTS)


def test_a_command_compiles_what_it_needs_alone():
    def kernels(*needs: str) -> set[str]:
        return {k for need in needs for part in NEEDS[need] for k in KERNELS[part]}

    assert kernels("rays") == {"rays.cast", "rays.describe"}
    assert "cutting.cut_tiles" in kernels("run") & kernels("window")
    assert kernels("run", "window", "trace", "pictures") & kernels("rays") == set()
    for need in ("trace", "rays", "clearance", "fixture"):
        assert "cutting.cut_tiles" not in kernels(need)


def seconds(parts: list[str]) -> float:
    """Sum of the largest cost of each thing that parts have in common; slow and plain.

    Exact, whatever order a set comes in: tenths of a second, rounded once.
    """
    things = {thing for part in parts for thing in COSTS[part]}
    return round(math.fsum(max(COSTS[p].get(t, 0.0) for p in parts) for t in things), 9)


@pytest.mark.parametrize("processes", [2, 3, 4])
@pytest.mark.parametrize("need", NEEDS)
def test_parts_are_shared_out(need, processes):
    groups = shared_out(list(NEEDS[need]), processes)
    assert sorted(part for group in groups for part in group) == sorted(NEEDS[need])
    assert len(groups) == processes
    longest = max(seconds(group) for group in groups)
    assert longest <= seconds(list(NEEDS[need]))
    for part in NEEDS[need]:  # no part alone in another process would do better
        for other in range(processes):
            moved = [[p for p in group if p != part] for group in groups]
            moved[other].append(part)
            assert longest <= max(seconds(group) for group in moved)


@pytest.mark.parametrize("processes", [2, 3])
def test_no_way_of_sharing_out_is_sooner(processes):
    parts = list(NEEDS["contact"])
    ways = []
    for which in itertools.product(range(processes), repeat=len(parts)):
        groups = [
            [p for p, w in zip(parts, which, strict=True) if w == k] for k in range(processes)
        ]
        loads = [seconds(group) for group in groups]
        ways.append((max(loads), round(math.fsum(loads), 9)))
    loads = [seconds(group) for group in shared_out(parts, processes)]
    assert (max(loads), round(math.fsum(loads), 9)) == min(ways)


def test_another_process_compiles_all_it_is_asked_for():
    run = [sys.executable, "-P", "-m", "proud.warm", *PARTS]
    done = subprocess.run(run, capture_output=True, text=True, check=False, timeout=240)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_warm_after_warming_up():
    warm_up("trace")
    assert is_warm("trace")


COMPILED_AFTER = """
import sys
from numba.core import event
names = []

class Listener(event.Listener):
    def on_start(self, e):
        names.append(e.data["dispatcher"].py_func.__module__)

    def on_end(self, e):
        pass

event.register("numba:compile", Listener())
from proud.cli.__main__ import main
sys.argv = {argv!r}
try:
    main()
except SystemExit as stop:
    assert stop.code == 0
print(*sorted(set(names)), sep=",")
"""


@pytest.mark.slow
def test_a_first_probe_says_so_once_and_compiles_no_more_than_rays(tmp_path):
    """In an empty cache: warms up, then finds all it calls on disk; a second one is silent."""
    cache = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    job = str(ROOT / "demo_parts" / "first_try" / "job.toml")
    words = ["proud", "probe", job, "--at", "0.1,-0.5"]

    def run(*command: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *command], env=cache, capture_output=True, text=True, timeout=400,
            check=True,
        )  # fmt: skip

    first = run("-m", "proud", *words[1:])
    assert first.stderr == "first run: compiling for this machine, some seconds, once\n"
    kept = {path.name.split("-")[0] for path in tmp_path.rglob("*.nbc")}
    assert kept == {"rays.cast", "rays.describe"}
    again = run("-c", COMPILED_AFTER.format(argv=words))
    assert again.stderr == ""
    assert again.stdout == first.stdout + "\n"  # no module compiled anything
