"""The part in a section: where the job says that it ends, as lines over the metal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from .job import Job

__all__ = ["part_lines"]

Floats = NDArray[np.float64]

ASIDE: Final = 1e-6
"""The section runs this far beside itself through a model, mm: never along one of its faces."""
FAR: Final = 1e6
"""Half the length of a level's line, mm: past every view."""


def part_lines(
    job: Job, start: tuple[float, float, float], way: tuple[float, float]
) -> dict[str, Floats]:
    """Return the part's edges in an upright section, by what they are.

    Parameters
    ----------
    job : Job
    start : (x, y, z)
        A place in the section, mm.
    way : (x, y)
        Its unit direction in plan.

    Returns
    -------
    dict of str to ndarray of float64, shape (n, 2, 2)
        ``part's model``, ``part's top``, ``part's bottom``: both ends of each line, as
        the distance from the start along the section, and Z, mm.
    """
    part = job.spec.part
    if part is None:
        return {}
    found = {}
    if part.model is not None and len(lines := _crossed(job, start, way)):
        found["part's model"] = lines
    for name, z in (("part's top", part.top), ("part's bottom", part.bottom)):
        if z is not None:
            found[name] = np.array([[[-FAR, z], [FAR, z]]])
    return found


def _crossed(job: Job, start: tuple[float, float, float], way: tuple[float, float]) -> Floats:
    """Return where the section crosses the facets of the part's model."""
    from trimesh import Trimesh
    from trimesh.intersections import mesh_plane

    from .stock import closed_mesh

    part = job.spec.part
    assert part is not None
    assert part.model is not None
    corners, facets = closed_mesh(part.model, job.unit, "part")
    square = np.array([-way[1], way[0], 0.0])
    origin = np.array(start) + ASIDE * square
    lines = mesh_plane(Trimesh(corners, facets, process=False), square, origin)
    along = (lines[..., :2] - np.array(start[:2])) @ np.array(way)
    found: Floats = np.stack([along, lines[..., 2]], axis=-1)
    return found
