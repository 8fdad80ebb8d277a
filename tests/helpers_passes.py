"""Pass lists as jobs: written, read, cut by the engine and measured."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import proud
import proud.passes
from helpers_job import XYZ, Floats, number
from proud.moves import Moves
from proud.probe import Target, probe
from proud.tools import Tool

RAPID, FEED = True, False


INCH = 25.4
EXAMPLE_TOOLS = {
    1: Tool(1, "Rougher", "bull", 0.5 * INCH, corner_radius=0.06 * INCH),
    2: Tool(2, "Finisher", "flat", 0.25 * INCH),
    3: Tool(3, "Face mill", "bull", 2 * INCH, corner_radius=0.03 * INCH),
    4: Tool(4, "Drill", "drill", 0.25 * INCH, point_angle=118.0),
    5: Tool(5, "Ball", "ball", 0.25 * INCH),
    6: Tool(6, "Chamfer", "chamfer", 0.375 * INCH, edge_angle=45.0, tip_diameter=0.02 * INCH),
}
"""Tools of the pass list's documentation."""
EXAMPLE_TOP = 0.52 * INCH


def example() -> str:
    """Return the pass list that the documentation shows, in inches."""
    doc = ast.get_docstring(ast.parse(Path(proud.passes.__file__).read_text(encoding="utf-8")))
    assert doc is not None
    return "\n".join(line[4:] for line in doc.split("\n") if line.startswith("    "))


def pass_text(operation: str, keys: str, *, tool: int = 1, name: str = "p", feed: int = 300) -> str:
    """Return one [[passes]] table."""
    head = f'[[passes]]\nname = "{name}"\ntool = {tool}\nfeed = {feed}\n'
    return f'{head}operation = "{operation}"\n{keys.rstrip()}\n'


def pass_job(
    folder: Path,
    text: str,
    tools: Sequence[str],
    *,
    low: XYZ = (-20.0, -15.0, -12.0),
    high: XYZ = (20.0, 15.0, 0.0),
    pitch: float = 0.5,
    offsets: str = "",
    part: str = "",
) -> proud.Job:
    """Write job.toml and passes.toml into `folder` and return the job, in mm."""
    (folder / "passes.toml").write_text(text, encoding="utf-8")
    block = f"low = {list(map(float, low))}\nhigh = {list(map(float, high))}"
    parts = [
        '[job]\ntitle = "test"\nunit = "mm"',
        f'[stock]\nshape = "block"\n{block}',
        f"[grid]\npitch = {number(pitch)}",
        *([f'[part]\nmodel = "{part}"'] if part else []),
        *([f"[offsets]\n{offsets}"] if offsets else []),
        *tools,
        '[[setups]]\nname = "op1"\npasses = "passes.toml"',
    ]
    path = folder / "job.toml"
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
    return proud.load(path)


def rows(moves: Moves) -> list[tuple[float, ...]]:
    """Return each move as (rapid, x, y, z of its end, degrees turned)."""
    ends = np.column_stack([moves.end, np.degrees(moves.turn)]).round(9) + 0.0
    return [(r, *e) for r, e in zip(moves.rapid.tolist(), ends.tolist(), strict=True)]


def heights(job: proud.Job, places: Sequence[tuple[float, float]]) -> Floats:
    """Return z of the metal at places, by rays from above, mm."""
    return probe(job, [Target(x, y) for x, y in places]).read()[:, 2]


def columns(job: proud.Job, places: Sequence[tuple[float, float]]) -> Floats:
    """Return z of the metal at places, by columns, mm."""
    from proud.prober import Prober

    x, y = np.array(places, dtype=np.float64).T.copy()
    return Prober(job.packed, job.stock, job.deep).columns(x, y)[0]


def face(job: proud.Job, at: XYZ, toward: XYZ) -> Floats:
    """Return where a ray from a place in the air meets the metal, mm."""
    found = probe(job, [Target(at[0], at[1], at[2], tuple(map(float, toward)))])
    return found.read()[0]
