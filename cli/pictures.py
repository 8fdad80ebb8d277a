"""The pictures of ``proud run --pictures``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from proud.errors import BadInput

if TYPE_CHECKING:
    from proud.job import Job
    from proud.pictures import PictureOptions
    from proud.result import RunResult
    from proud.review import Review

__all__ = ["draw_all", "draw_findings", "draw_one"]

SHARE = 0.5
"""Width of a finding's picture as a share of its tool's diameter."""
COLUMNS = 500
"""Columns along each side of it."""
MOST = 24
"""Most findings that are drawn."""


def draw_all(job: Job, result: RunResult, folder: Path) -> list[Path]:
    """Draw the part by pass and under a low lamp; returns the files.

    Parameters
    ----------
    job : Job
    result : RunResult
        Its run.
    folder : Path
        Made if it isn't there.

    Raises
    ------
    BadInput
        The folder or a file in it can't be written.
    """
    from proud.pictures import PictureOptions

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"can't make the folder {folder}: {error.strerror}") from None
    low = job.stock.low[2]
    wanted = {
        "passes.png": PictureOptions(view="iso", color="pass", bottom_mm=low),
        "lamp.png": PictureOptions(view="top", color="lamp", bottom_mm=low),
    }
    for name, options in wanted.items():
        draw_one(job, result, folder / name, options)
    return [folder / name for name in wanted]


def draw_findings(job: Job, review: Review, folder: Path) -> list[Path]:
    """Draw the place of each finding above a note from close by; returns the files.

    Each is a window of exact columns, `SHARE` of the tool's diameter wide.
    """
    from proud.grid import Grid
    from proud.pictures_loupe import draw_loupe

    shown = [f for f in review.findings if f.severity != "note"][:MOST]
    drawn = []
    for number, finding in enumerate(shown, 1):
        side = SHARE * job.tools[finding.tool].diameter
        low = [v - side / 2 for v in finding.at[:2]]
        grid = Grid.over((low[0], low[1]), (low[0] + side, low[1] + side), side / COLUMNS)
        path = folder / f"finding-{number}-{finding.rule}.png"
        draw_loupe(
            job.surface(grid=grid), unit=job.unit, title=f"{number}: {finding.text}",
            passes=job.pass_names(), path=path,
        )  # fmt: skip
        drawn.append(path)
    return drawn


def draw_one(job: Job, result: RunResult, path: Path, options: PictureOptions) -> None:
    """Draw one picture of a run."""
    from proud.pictures import save_picture

    rows = result.as_dict()
    save_picture(
        path,
        result.tile,
        unit=result.unit,
        title=result.title,
        passes=job.pass_names(),
        steps=rows["steps"],
        skims=rows["skims"],
        options=options,
    )
