"""The pictures of ``proud run --pictures``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from proud.errors import BadInput

if TYPE_CHECKING:
    from proud.job import Job
    from proud.pictures import PictureOptions
    from proud.result import RunResult

__all__ = ["draw_all", "draw_one"]


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
