"""Speed of the program reader, with baselines timed beside it in the same run.

Run: python benchmarks/read.py [--blocks 300000]
The compiled loop's moves are compared with the full reader's, bit by bit, before a time is shown.
The other baseline, a parser from the package registry, only takes words apart: no moves.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from gcodeparser import parse_gcode_lines
from proud.program import ReaderSettings, Reading, lexer, read_source

SETTINGS = ReaderSettings(unit="in", tools={1: "ball"}, stock_top=0.0)
HEAD = "%\nG20 G90 G17 G94\nT1 M6\nG43 H1\nS9000 M3\nG0 X0 Y0 Z0.1\nG1 Z-0.1 F20.0\n"


def program(blocks: int) -> str:
    """Return a spiral of short lines, one feed word in fifty and one comment in a thousand."""
    rows = []
    for k in range(blocks):
        turn, radius = k * 0.01, 1.0 + k * 1e-6
        row = f"X{radius * math.cos(turn):.4f} Y{radius * math.sin(turn):.4f}"
        if k % 3 == 0:
            row += f" Z{-0.1 - 1e-6 * (k % 997):.5f}"
        if k % 50 == 0:
            row = f"N{k} G1 {row} F{20 + k % 7}.0"
        rows.append(row + " (check)" * (k % 1000 == 999))
    return HEAD + "\n".join(rows) + "\nM30\n%\n"


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the time of the process's own work, seconds, the best of three, and the answer."""
    times, answer = [], None
    for _ in range(3):
        begun = time.process_time()
        answer = work()
        times.append(time.process_time() - begun)
    return min(times), answer


def read(text: str, long_text: int) -> Reading:
    """Read with (0) or without the compiled loop."""
    lexer.LONG_TEXT = long_text  # type: ignore[misc]
    return read_source(text, SETTINGS, shown="spiral.nc")


def check_same(a: Reading, b: Reading) -> None:
    """Stop unless both readings hold the same moves, bit by bit."""
    for field in dataclasses.fields(a.program.moves):
        x, y = (getattr(r.program.moves, field.name) for r in (a, b))
        if np.asarray(x).tobytes() != np.asarray(y).tobytes():
            raise SystemExit(f"the two readings differ in {field.name}")


def main() -> None:
    """Time and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--blocks", type=int, default=300_000)
    text = program(parser.parse_args().blocks)
    read(program(10), 0)  # compiles
    fast, a = timed(lambda: read(text, 0))
    full, b = timed(lambda: read(text, 10**12))
    check_same(a, b)
    other, _ = timed(lambda: sum(1 for _ in parse_gcode_lines(text)))
    print(f"{a.blocks:,} blocks, {len(a.program.moves):,} moves, the same bits")
    for name, seconds in (("compiled loop", fast), ("full reader", full), ("gcodeparser", other)):
        print(f"  {name:14} {seconds:7.3f} s  {a.blocks / seconds:12,.0f} blocks/s "
              f"{seconds / fast:7.1f} times")  # fmt: skip


if __name__ == "__main__":
    main()
