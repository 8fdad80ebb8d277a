"""A thousand random jobs in twins: what is planted is found and measured, clean ones are silent.

Run: python benchmarks/twins.py [--seeds FIRST LAST] [--jobs N] [--kind TEXT] [--cures]
The twins are those of the tests: sizes are known by hand before the tool is asked. Exit code 1
where a planted mistake is missed, or its size is off, or a clean twin has a finding above note.
With --cures the change that the finding states is made instead: it must be gone, and nothing new.
"""

from __future__ import annotations

import argparse
import collections
import dataclasses
import functools
import os
import sys
import tempfile
import time
import traceback
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))


@dataclasses.dataclass(frozen=True)
class Row:
    """What came of one seed."""

    seed: int
    kind: str
    rule: str
    faults: tuple[str, ...]
    found: bool
    off: float
    seconds: float


def ask(seed: int, cures: bool = False) -> Row:
    """Make the twins of a seed and judge what is found on them, or what its cure leaves."""
    import twins

    begun, kind, rule = time.perf_counter(), twins.kind_of(seed), "?"
    faults: tuple[str, ...]
    try:
        twin = twins.make(seed)
        rule = twin.planted.rule
        with tempfile.TemporaryDirectory() as folder:
            if cures:
                left = twins.judge_cure(twin, Path(folder))
                verdict = twins.Verdict(left, 0.0)
            else:
                verdict = twins.judge(twin, Path(folder))
        faults, found, off = verdict.faults, verdict.found is not None, verdict.off
    except Exception:
        faults, found, off = (traceback.format_exc(limit=-3),), False, 0.0
    return Row(seed, kind, rule, faults, found, off, time.perf_counter() - begun)


def table(rows: Iterable[Row]) -> None:
    """Print a line for each rule."""
    rules: dict[str, list[Row]] = collections.defaultdict(list)
    for row in rows:
        rules[row.rule].append(row)
    rules["all"] = [row for of in list(rules.values()) for row in of]
    print(
        f"\n{'rule':20} {'planted':>7} {'found':>6} {'worst size':>11} {'false alarms':>13} "
        f"{'faults':>7} {'s each':>7}"
    )
    for rule, mine in sorted(rules.items(), key=lambda item: (item[0] == "all", item[0])):
        good = [row.off for row in mine if row.found and not row.faults]
        alarms = sum(any(f.startswith("false alarm") for f in row.faults) for row in mine)
        seconds = sum(row.seconds for row in mine) / len(mine)
        print(
            f"{rule:20} {len(mine):7} {sum(row.found for row in mine):6} "
            f"{max(good, default=0.0):11.1e} {alarms:13} "
            f"{sum(bool(row.faults) for row in mine):7} {seconds:7.2f}"
        )
    print("(worst size: mm off the size known by hand, of cut-direction within its ends, else")
    print(
        " in the finding's own unit; faults: twins of which anything at all was not as it must be)"
    )


def main() -> int:
    """Run the seeds, print faults as they come, and a table by rule."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs=2, default=(0, 1000), metavar=("FIRST", "LAST"))
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--kind", default="", help="only kinds with this in their name")
    parser.add_argument("--cures", action="store_true", help="make the changes that are stated")
    given = parser.parse_args()
    import twins

    seeds = [s for s in range(*given.seeds) if given.kind in twins.kind_of(s)]
    begun, rows = time.perf_counter(), []
    with ProcessPoolExecutor(given.jobs, mp_context=get_context("spawn")) as pool:
        for row in pool.map(functools.partial(ask, cures=given.cures), seeds):
            rows.append(row)
            for fault in row.faults:
                print(f"seed {row.seed} ({row.kind}): {fault}", flush=True)
    if not given.cures:
        table(rows)
    bad = sum(bool(row.faults) for row in rows)
    slow = max(rows, key=lambda row: row.seconds)
    print(f"{len(rows)} twins, {bad} with faults, in {time.perf_counter() - begun:.0f} s; the ")
    print(f"slowest is seed {slow.seed} ({slow.kind}), {slow.seconds:.1f} s")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
