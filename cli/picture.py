"""``proud picture``: what is left, drawn."""

from __future__ import annotations

import dataclasses

import click
from proud.errors import BadInput

from .options import Answer, Asked, common, surface_options
from .output import check_target
from .working import cut

__all__ = ["command"]

VIEWS = ("top", "front", "back", "left", "right", "iso")


@click.command("picture")
@surface_options
@click.option("--view", type=click.Choice(VIEWS), help="From where  [default: iso]")
@click.option(
    "--camera", metavar="AZ,EL", help="Instead of --view: from azimuth and elevation, degrees."
)
@click.option(
    "--color", type=click.Choice(["pass", "height", "lamp"]), default="pass", show_default=True,
    help="By pass, by height, or grey under a low lamp (which shows small steps).",
)  # fmt: skip
@click.option(
    "--lamp", metavar="AZ,EL",
    help="Where the lamp stands, degrees [where the small steps show best, 3 up].",
)  # fmt: skip
@click.option(
    "--exaggerate", type=click.FloatRange(1, 1000), default=1.0, help="Stretch of z, printed."
)
@click.option("--size", metavar="WxH", default="1600x1100", show_default=True, help="Pixels.")
@click.option("--numbers/--no-numbers", default=True, help="Call-outs on steps and skims.")
@click.option(
    "--renderer", type=click.Choice(["own", "pyvista", "auto"]), default="own", show_default=True,
    help="own needs no OpenGL library.",
)  # fmt: skip
@common
def command(
    asked: Asked,
    view: str | None,
    camera: str | None,
    color: str,
    lamp: str | None,
    exaggerate: float,
    size: str,
    numbers: bool,
    renderer: str,
    answer: Answer,
) -> None:
    """Draw what the program leaves, with numbers on the steps.

    Example: proud picture demo_parts/first_try/job.toml --color lamp --view top --out lamp.png
    """
    out = answer.out
    if out is None:
        raise BadInput("say where to write the picture: --out view.png")
    check_target(out, "--out", ending=".png")
    from proud.pictures import PictureOptions

    from .pictures import draw_one

    options = PictureOptions(
        view=_view(view, camera),  # type: ignore[arg-type]
        camera=_angles(camera, "--camera"),
        color=color,  # type: ignore[arg-type]
        size=_size(size),
        exaggerate=exaggerate,
        numbers=numbers,
        renderer=renderer,  # type: ignore[arg-type]
    )
    if stand := _angles(lamp, "--lamp"):
        options = dataclasses.replace(
            options, lamp_azimuth_deg=stand[0], lamp_elevation_deg=stand[1]
        )
    loaded = asked.load((out, "--out", ".png"))
    result = cut(loaded, asked.as_of, answer, pictures=True)
    options = dataclasses.replace(options, bottom_mm=loaded.stock.low[2])
    draw_one(loaded, result, out, options)
    rows = {"unit": result.unit, "title": result.title, "picture": str(out)}
    answer.tell(rows, lambda: f"picture: {out}")


def _view(view: str | None, camera: str | None) -> str:
    """Return the view by name; refuse one beside a camera, which would overrule it."""
    if view is not None and camera is not None:
        raise BadInput(
            f"--view {view} and --camera {camera} both say from where to look; give one of them"
        )
    return view or "iso"


def _angles(text: str | None, option: str) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        azimuth, elevation = (float(part) for part in text.split(","))
    except ValueError:
        raise BadInput(f"{option} {text!r}: write two angles in degrees, such as -60,40") from None
    return azimuth, elevation


def _size(text: str) -> tuple[int, int]:
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError:
        raise BadInput(f"--size {text!r}: write width and height, such as 1600x1100") from None
    return width, height
