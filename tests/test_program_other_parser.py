"""The same plain programs by another parser of the registry: end points and what is in force.

gcodeparser (PyPI, MIT) splits a text into words and knows nothing of modes, so these programs name
a G or M word first in every block, and a dozen lines here keep the modes.
"""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest
from gcodeparser import parse_gcode_lines
from helpers_program import settings
from proud.moves import ARC
from proud.program import read_source

HEAD = "G21\nG90\nG17\nT1\nM6\nG43 H1\nM3 S1000\nG0 X0.0 Y0.0 Z0.0\n"


def program(rng: random.Random) -> str:
    """Return a program of straight moves, arcs, units, distances, tools, feeds and speeds."""
    lines, incremental = [HEAD, "G1 X1.0 F100\n"], False
    for _ in range(120):
        x, y, z = (f"{rng.uniform(-40, 40):.3f}" for _ in "XYZ")
        i, j = rng.uniform(0.5, 20), rng.uniform(-20, 20)
        number = rng.randrange(1, 3)
        kind = rng.randrange(11)
        arc = f"{rng.choice(('G2', 'G02', 'G3', 'g03'))} "
        if kind == 10 and incremental:  # half a circle: the end is twice as far as the centre
            arc += f"X{2 * round(i, 3):.3f} Y{2 * round(j, 3):.3f} I{i:.3f} J{j:.3f}"
        else:  # a full one, up or down
            arc += f"I{i:.3f} J{j:.3f} Z{z}"
        incremental = {3: True, 4: False}.get(kind, incremental)
        lines.append(
            (
                f"G1 X{x} Y{y} Z{z} F{rng.randrange(10, 900)}", f"G01 X{x}", f"G0 Y{y} Z{z}",
                "G91", "G90", "G20", "G21", f"T{number}\nM6\nG43 H{number}",
                f"M{rng.randrange(3, 5)} S{rng.randrange(100, 9000)}", arc, arc,
            )[kind] + "\n"
        )  # fmt: skip
    return "".join(lines) + "G90\nG21\nG1 X0.5\nM30\n"


def followed(text: str) -> list[tuple[Any, ...]]:
    """Return each move by gcodeparser's words: kind, end, tool, H, feed, spindle, centre."""
    at, scale, absolute = np.zeros(3), 1.0, True
    tool = next_tool = register = 0
    feed = speed = 0.0
    rows: list[tuple[Any, ...]] = []
    for line in parse_gcode_lines(text):
        word, said = line.command, line.params
        scale = {("G", 20): 25.4, ("G", 21): 1.0}.get(word, scale)
        absolute = {("G", 90): True, ("G", 91): False}.get(word, absolute)
        next_tool = word[1] if word[0] == "T" else next_tool
        if word == ("M", 6):  # NIST RS274/NGC 3.6.3: it stops the spindle
            tool, speed = next_tool, 0.0
        register = said.get("H", register)
        speed = {3: 1, 4: -1}[word[1]] * said["S"] if word in (("M", 3), ("M", 4)) else speed
        feed = said["F"] * scale if "F" in said else feed
        if word[0] != "G" or word[1] > 3:
            continue
        before = at.copy()
        for k, axis in enumerate("XYZ"):
            if axis in said:
                at[k] = said[axis] * scale + (0 if absolute else before[k])
        center = tuple(before[:2] + scale * np.array([said.get("I", 0), said.get("J", 0)]))
        of_arc = (word[1] == 3, center) if word[1] > 1 else None
        rows.append((word[1] == 0, tuple(at), tool, register, feed * (word[1] > 0), speed, of_arc))
    return rows


@pytest.mark.parametrize("seed", range(12))
def test_end_points_and_what_is_in_force(seed: int) -> None:
    text = program(random.Random(seed))
    found, rows = read_source(text, settings()).program.moves, followed(text)
    assert len(found) == len(rows) > 50
    rapid, ends, tools, registers, feeds, speeds, arcs = zip(*rows, strict=True)
    np.testing.assert_allclose(found.end, ends, rtol=0, atol=1e-8)
    np.testing.assert_allclose(found.start[1:], ends[:-1], rtol=0, atol=1e-8)
    assert found.rapid.tolist() == list(rapid)
    assert found.tool.tolist() == list(tools)
    assert found.h_register.tolist() == list(registers)
    np.testing.assert_allclose(found.feed, feeds, rtol=1e-12)
    assert found.spindle.tolist() == list(speeds)
    assert (found.kind == ARC).tolist() == [arc is not None for arc in arcs]
    turning = [(k, *arc) for k, arc in enumerate(arcs) if arc is not None]
    assert len(turning) > 5
    for k, left, center in turning:
        assert found.center[k] == pytest.approx(center, abs=1e-8)
        assert (found.turn[k] > 0) == left
        assert abs(found.turn[k]) == pytest.approx(
            math.tau if (found.start[k, :2] == found.end[k, :2]).all() else math.pi, abs=1e-3
        )
