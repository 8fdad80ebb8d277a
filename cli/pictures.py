"""The pictures of ``proud run --pictures``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from proud.errors import BadInput

if TYPE_CHECKING:
    from proud.findings import Finding
    from proud.grid import Grid
    from proud.job import Job
    from proud.pictures import PictureOptions
    from proud.pictures_stance import Moment
    from proud.result import RunResult
    from proud.review import Review

__all__ = ["draw_all", "draw_findings", "draw_one"]

NARROW, WIDE = 0.1, 0.5
"""Width of a finding's picture, least and most, as a share of its tool's diameter."""
LEAST_SPAN, MOST_SPAN = 1 * 0.0254, 60 * 0.0254
"""Half width of its scale, mm."""
COLUMNS = 500
"""Columns along each side of it."""
BITES = {"corner-bite", "thin-wall"}
"""Rules about what a pass takes, seen from above: as it stands after that pass, and before it."""
BROAD = {
    "blend-step": 0.5, "corner-bite": 2.5, "floor-marks": 2.0, "scallop-high": 0.5,
    "thin-wall": 2.0,
}  # fmt: skip
"""Rules whose mark is far wider than its size: width of the picture, in diameters of the tool."""
STANCES: dict[str, Moment] = {
    "air-cut": "before", "cut-direction": "before", "cuts-above-length": "before",
    "depth-line": "end", "fillet-in-one-bite": "before", "finisher-cuts-ledge": "before",
    "fixture-near": "after", "floor-touches-wall": "before", "gouge": "end",
    "holder-rub": "after", "lead-mark": "before", "ledge-left": "end", "leftover": "end",
    "plunge": "before", "ramp-steep": "before", "rapid-in-stock": "before", "shank-rub": "after",
    "scallop-high": "end", "sliver": "end", "spindle-stopped": "before", "spring-pass": "before",
    "wall-drags-floor": "before",
}  # fmt: skip
"""Rules about where a tool stands: drawn in section, with the metal of which moment."""
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


def draw_findings(job: Job, review: Review, folder: Path, *, notes: bool = False) -> list[Path]:
    """Draw the place of each finding from close by; returns the files. `notes`: of notes too."""
    shown = [f for f in review.findings if notes or f.severity != "note"][:MOST]
    drawn = []
    for number, finding in enumerate(shown, 1):
        path = folder / f"finding-{number}-{finding.rule}.png"
        draw = _draw_stance if _is_stance(job, finding) else _draw_loupe
        draw(job, finding, number, path)
        drawn.append(path)
    return drawn


def _is_stance(job: Job, finding: Finding) -> bool:
    """Whether it is drawn in section: also ridges on a slope, which a scale of heights hides."""
    from proud.pictures_loupe import is_steep

    if finding.rule != "scallop-high":
        return finding.rule in STANCES
    return is_steep(job.surface(grid=_window(job, finding)), finding.size)


def _draw_loupe(job: Job, finding: Finding, number: int, path: Path) -> None:
    """Draw a window of exact columns as they stand at the end.

    Or after the pass where it is its bite that matters; sections show what stood there before.
    """
    from proud.pictures_loupe import draw_loupe

    grid, bites, at = _window(job, finding), finding.rule in BITES, finding.pass_number
    size = finding.size if not finding.of else 0.0
    draw_loupe(
        job.surface(as_of=at if bites else None, grid=grid), unit=job.unit,
        title=f"{number}: {finding.rule}, " + ("after" if bites else "of") + f" pass {at}",
        text=finding.text,
        passes=job.pass_names(), path=path, middle_mm=finding.at[2],
        span_mm=min(max(2 * abs(size), LEAST_SPAN), MOST_SPAN),
        before=job.surface(as_of=at - 1, grid=grid) if bites else None,
    )  # fmt: skip


def _draw_stance(job: Job, finding: Finding, number: int, path: Path) -> None:
    """Draw the tool where it stands at the place, in section."""
    from proud.pictures_stance import draw_stance, moves_at, stance_of

    chosen = moves_at(job, finding.pass_number, finding.lines)
    if not len(chosen):
        _draw_loupe(job, finding, number, path)
        return
    stance = stance_of(job, chosen, finding.at, STANCES[finding.rule])
    size = 0.0 if finding.of else abs(finding.size)
    title = f"{number}: {finding.rule}, pass {finding.pass_number}"
    draw_stance(
        job, stance, size=size, title=title, text=finding.text, unit=job.unit, path=path
    )  # fmt: skip


def _window(job: Job, finding: Finding) -> Grid:
    """Return columns about a finding's place: some times its size wide, by its tool's diameter."""
    from proud.grid import Grid

    diameter = job.tools[finding.tool].diameter
    wanted = WIDE * diameter if finding.of else 6 * abs(finding.size)
    side = min(max(wanted, NARROW * diameter), WIDE * diameter)
    side = BROAD.get(finding.rule, side / diameter) * diameter
    x, y = (v - side / 2 for v in finding.at[:2])
    return Grid.over((x, y), (x + side, y + side), side / COLUMNS)


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
