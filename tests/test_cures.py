"""The change that a finding states, put into the job by its words: it is gone, nothing is new.

One random twin for each kind of mistake, and what the words of `Change.what` may be.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import twins

NAMES = list(dict.fromkeys(kind.rsplit(", ", 1)[0] for kind in twins.KINDS))


@pytest.mark.parametrize("k", range(len(NAMES)), ids=[name.replace(" ", "-") for name in NAMES])
def test_the_stated_cure(tmp_path: Path, k: int) -> None:
    seed = k + len(NAMES) * (1 + k % 4)
    faults = twins.judge_cure(twins.make(seed), tmp_path)
    assert faults in ((), (twins.NO_CHANGE,)), (seed, *faults)
    assert (faults == (twins.NO_CHANGE,)) == (NAMES[k] in twins.WITHOUT_CHANGE)
