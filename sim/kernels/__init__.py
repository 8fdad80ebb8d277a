"""Scalar maths and jitted loops: no checks, no units, nothing of the rest of the library.

A compiled kernel holds the code of all that it calls, but is kept on disk under the date of its own
file. So whatever was compiled before the newest of these files is dropped here.
"""

import contextlib
from pathlib import Path


def _drop_stale() -> None:
    folder = Path(__file__).parent
    with contextlib.suppress(OSError):
        newest = max(f.stat().st_mtime for f in folder.glob("*.py"))
        for kept in folder.glob("__pycache__/*.nb?"):
            if kept.stat().st_mtime < newest:
                kept.unlink()


_drop_stale()
