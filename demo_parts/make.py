r"""Make the demo: a saddle clamp, its program, pass list, model and job, in two tries.

::

    python demo_parts/make.py              writes first_try/ and second_try/ beside this file
    python demo_parts/make.py --check      says which files differ, and writes nothing
    python demo_parts/make.py --out DIR    writes there instead
    python demo_parts/make.py --no-model   leaves part.stl alone (it needs manifold3d)

The part clamps the dovetail rail of a hobby telescope: 4140, 2.6 in long, cut from a block that
the vise holds by a thin step under the part. Inches, z = 0 on the finished top; seen from above::

                                back (y+)
      stock  +----------------------------------------------------------+
             |  .----------------- floor behind the cove --------------. |
             | /  ======================================== foot of cove  \ |
             | |  |              C O V E  (ball nose)               |  | |
             | |  |   (=== slot ==================)     .------.    |  | |
             | |  |                                     |window|    |  | |
             | |  |                                     '------'    |  | |
             | |--+-------------------------------------------------+--| |
             | |  |   o          o    dovetail relief  o       o    |  | |
             | |--+---------------------.       .-------------------+--| |
             | \  '---------------------|  gap  |-------------------'  / |
             |  '---------- shoulder ---+-------+----------------------' |
             +------ ledge all round: top of the step in the vise -------+
                           front (y-), where people look

    from the front:
                    .---------------.       .---------------.        0      top, edge chamfered
                    |               |       |               |
                    |               '-------'               |       -0.110  relief, gap
             .------'                                       '------. -0.180 shoulder
             |                                                     |
             |            outer profile, 0.7 in high               |
             |                                                     | -0.860 the part's bottom
         .---'                                                     '---. -0.886 ledge
         '---------------- step, held below -0.925 -------------------'  -1.000

`MISTAKES` says what the first try does wrong and by how much; `FIRST` and `SECOND` hold the values.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import Final

from saddle_design import Try
from saddle_program import program
from saddle_tables import job, pass_list

HERE: Final = Path(__file__).resolve().parent

FIRST: Final = Try(
    folder="first_try",
    title="Saddle clamp, first try",
    number=2601,
    profile_above_ledge=-0.0024,
    profile_semi=None,
    profile_lead="front",
    profile_overlap=0.0,
    boss_together=True,
    slot_together=True,
    gap_walls_own=False,
    cove_error=-0.0006,
    h6_error=0.0013,
)
SECOND: Final = Try(
    folder="second_try",
    title="Saddle clamp, second try",
    number=2602,
    profile_above_ledge=0.0042,
    profile_semi=0.0022,
    profile_lead="back",
    profile_overlap=0.06,
    boss_together=False,
    slot_together=False,
    gap_walls_own=True,
    cove_error=0.0,
    h6_error=0.0,
)

MISTAKES: Final = (
    # what, size in thou (first try), what the second try does
    ("The profile's finisher runs below the ledge that the rougher left", 2.4, "4.2 above it"),
    ("One pass cuts the boss's wall and the shoulder's floor at once", 6.2, "floor, then wall"),
    ("The profile's last pass takes wall and corner fillet in one bite", 22.25, "a pass between"),
    ("One pass cuts the slot's walls and floor together", 3.8, "floor, then walls 0.4 higher"),
    ("The profile's finisher leads in on the front, where people look", None, "at the back"),
    ("The ball nose is low where the cove runs out into the floor", 0.6, "on the floor"),
    ("Register H6 is too big: the relief's floor is high beside the gap's", 1.3, "touched off"),
)
"""Planted mistakes: the sizes are cuts into a floor, a bite, an error of height; thou."""


DESCRIPTION: Final = """\
The demo part is the saddle clamp of a hobby telescope's dovetail rail: 4140 steel, 2.6 in long, cut
from a block that the vise holds by a thin step. A big bull tool roughs the outer profile in two
depths, the lower one leaving 5 thou more so that the shank stays clear, and a bull with a smaller
corner radius finishes it; inside are a slot, a window, a relief for the dovetail cutter with a gap
to the front, four holes, and a cove finished with a ball nose.

`first_try/` holds what a careful person gets wrong: the profile's finisher 2.4 thou below the ledge
that the rougher left, wall and floor cut at once on the boss and in the slot, a lead-in on the
front, the ball nose 0.6 thou low, and register H6 1.3 thou too big. `second_try/` holds the cures.
What is left there is wanted: floors finished on purpose, walls cut 0.4 thou above them, and a ledge
4.2 thou below the finisher, on the scrap in the vise."""
"""For people, in the README."""


def files(attempt: Try) -> dict[str, bytes]:
    """Return the files of one try by name, without the model."""
    made = {
        "job.toml": job(attempt, "program", "saddle.nc"),
        "saddle.nc": program(attempt),
        "job_passes.toml": job(attempt, "passes", "passes.toml"),
        "passes.toml": pass_list(attempt),
    }
    return {name: text.encode("ascii") for name, text in made.items()}


def everything(*, model: bool = True) -> dict[str, bytes]:
    """Return all files by their path under the output folder."""
    made = {f"{t.folder}/{name}": data for t in (FIRST, SECOND) for name, data in files(t).items()}
    if model:
        from saddle_model import stl

        mesh = stl()
        made |= {f"{t.folder}/part.stl": mesh for t in (FIRST, SECOND)}
    return made


def write(path: Path, data: bytes) -> None:
    """Write a file so that no half of it is ever seen."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def main(arguments: list[str] | None = None) -> int:
    """Write or check the demo's files; return 1 if a check finds a difference."""
    parser = argparse.ArgumentParser(description="Make the demo part's files.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into")
    parser.add_argument("--check", action="store_true", help="only say which files differ")
    parser.add_argument("--no-model", action="store_true", help="leave part.stl alone")
    chosen = parser.parse_args(arguments)
    made = everything(model=not chosen.no_model)
    differ = [n for n, d in made.items() if not _same(chosen.out / n, d)]
    for name in differ:
        print(f"{'differs' if chosen.check else 'wrote'}: {name}")
        if not chosen.check:
            write(chosen.out / name, made[name])
    return 1 if differ and chosen.check else 0


def _same(path: Path, data: bytes) -> bool:
    return path.is_file() and path.read_bytes() == data


if __name__ == "__main__":
    sys.exit(main())
