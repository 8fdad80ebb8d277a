"""Small jobs for contact: a wall at y = 0 with metal under it, and how to ask for one pass."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import proud
from helpers_job import Nc, tool, write_job
from proud.contact import Contact, PassContact, contact
from proud.cut import cut

THOU = 0.0254
INCH = 25.4


def asked(folder: Path, nc: Nc, tools: list[str], **more: object) -> Contact:
    """Write a job and return its contact."""
    return contact(write_job(folder, nc, tools, **more))  # type: ignore[arg-type]


def wall_passes(
    *passes: tuple[str, float, float], unit: str = "in", radius: float = 0.125, reach: float = 2.0
) -> Nc:
    """Return passes along the wall y = 0, +X, metal on the right: name, allowance, z."""
    nc = Nc(unit, 1.0 if unit == "in" else 25.0)
    for name, off, z in passes:
        nc.tool(1, name).stroke((-reach, radius + off, z), (reach, radius + off, z))
    return nc


def inch(folder: Path, nc: Nc, tools: list[str] | None = None, pitch: float = 0.02) -> Contact:
    """Return the contact of passes along the wall y = 0 in a block of 2 x 1.2 x 0.5 in."""
    cutters = tools or [tool(1, "flat", 0.25, APMX=0.25, ZEFF=4)]
    return asked(folder, nc, cutters, low=(-1, -1, -0.5), high=(1, 0.2, 0), pitch=pitch, unit="in")


def middle(p: PassContact, x: float = 0.0) -> int:
    """Return the station of level feed moves nearest to x, mm."""
    a = p.along
    far = np.where(a.rapid | a.upright, np.inf, np.abs(a.tip[:, 0] - x))
    return int(np.argmin(far))


def removed(job: proud.Job) -> dict[int, float]:
    """Return what each pass took, mm^3, as `run` reports it: by the engine's own account."""
    return cut(job.grid, job.packed, job.stock, by_pass=True, deep=job.deep).removed
