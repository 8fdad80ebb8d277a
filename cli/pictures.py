"""The pictures of ``proud run --pictures``."""

from __future__ import annotations

from pathlib import Path

from proud.errors import BadInput
from proud.job import Job
from proud.result import RunResult

__all__ = ["draw_all"]


def draw_all(job: Job, result: RunResult, folder: Path) -> list[Path]:
    """Draw the part by pass and under a low lamp; returns the files."""
    from proud.pictures import PictureOptions, save_picture

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"can't make the folder {folder}: {error.strerror}") from None
    rows = result.as_dict()
    wanted = {
        "passes.png": PictureOptions(view="iso", color="pass"),
        "lamp.png": PictureOptions(view="top", color="lamp"),
    }
    drawn = []
    for name, options in wanted.items():
        save_picture(
            folder / name,
            result.tile,
            unit=result.unit,
            title=result.title,
            passes=job.pass_names(),
            steps=rows["steps"],
            skims=rows["skims"],
            options=options,
        )
        drawn.append(folder / name)
    return drawn
