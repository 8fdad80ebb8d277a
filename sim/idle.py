"""Registers that are off in the job, under which nothing runs: likely a slip of the pen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from .jobfile_spec import JobSpec
    from .moves import Program

__all__ = ["idle_registers"]


def idle_registers(spec: JobSpec, program: Program) -> tuple[str, ...]:
    """Return a note for each register with an error that no move runs under."""
    lengths = set(np.unique(program.moves.h_register).tolist())
    radii = {register for _, register, _ in program.compensated}
    idle = [(f"H{n}", f"G43 H{n}") for n, e in spec.h_errors.items() if e and n not in lengths]
    idle += [
        (f"D{n}", f"G41 or G42 with D{n}") for n, e in spec.d_errors.items() if e and n not in radii
    ]
    return tuple(
        f"[offsets] {name} is given, but no move runs under {words}" for name, words in idle
    )
