"""Pictures of what is left: views of a tile with numbers on its steps, and sections.

Two renderers draw the same view: an own one that needs no OpenGL and is the default, so that the
same input gives the same pixels on any machine, and pyvista off-screen where OpenGL works.
"""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import os
import secrets
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from .errors import BadInput, closest
from .grid import Tile
from .pictures_section import draw_section
from .units import MM_PER, Unit, to_unit

__all__ = [
    "VIEWS",
    "PictureOptions",
    "draw",
    "draw_section",
    "opengl_works",
    "save_picture",
    "write_png",
]

View = Literal["top", "front", "back", "left", "right", "iso"]
Color = Literal["pass", "height", "lamp"]
Renderer = Literal["own", "pyvista", "auto"]

VIEWS: Final[dict[str, tuple[float, float]]] = {
    "top": (-90.0, 90.0),
    "front": (-90.0, 0.0),
    "back": (90.0, 0.0),
    "left": (180.0, 0.0),
    "right": (0.0, 0.0),
    "iso": (-60.0, 40.0),
}
"""Where the eye stands in each view: azimuth counter-clockwise from +X, elevation, degrees."""

LEAST_SIZE: Final = (800, 600)
MOST_PIXELS: Final = 60_000_000


@dataclasses.dataclass(frozen=True)
class PictureOptions:
    """How a picture is drawn.

    Attributes
    ----------
    view : {'top', 'front', 'back', 'left', 'right', 'iso'}
    camera : (float, float) or None
        Azimuth of the eye, counter-clockwise from +X, and elevation over the level, 0 to 90,
        degrees; overrules `view`.
    color : {'pass', 'height', 'lamp'}
        By the pass that left it, by height with isolines, or in raking light alone.
    size : (int, int)
        Width and height, pixels.
    lamp_azimuth_deg : float or None
        Where the lamp stands, counter-clockwise from +X. A lamp along a step does not show it;
        None stands it where the numbered steps show best.
    lamp_elevation_deg : float
        Over the level, from 0.5 to 60; the lamp that casts the shadow stands at a sixth of it.
    exaggerate : float
        Heights are multiplied by it; printed on the picture.
    numbers : bool
        Numbered call-outs on steps and skims, and their table.
    renderer : {'own', 'pyvista', 'auto'}
        'own' needs no OpenGL; 'auto' takes pyvista for oblique views where OpenGL works.
    bottom_mm : float or None
        Underside of the stock, where its sides end; None ends them a little under the lowest
        column.

    Raises
    ------
    BadInput
        A value out of range.
    """

    view: View = "top"
    camera: tuple[float, float] | None = None
    color: Color = "pass"
    size: tuple[int, int] = (1600, 1100)
    lamp_azimuth_deg: float | None = None
    lamp_elevation_deg: float = 3.0
    exaggerate: float = 1.0
    numbers: bool = True
    renderer: Renderer = "own"
    bottom_mm: float | None = None

    def __post_init__(self) -> None:
        _one_of("view", self.view, VIEWS)
        _one_of("colour", self.color, get_args(Color))
        _one_of("renderer", self.renderer, get_args(Renderer))
        if self.camera is not None:
            _within("camera azimuth", self.camera[0], -360, 360, "degrees")
            _within("camera elevation", self.camera[1], 0, 90, "degrees over the level")
        if self.lamp_azimuth_deg is not None:
            _within("lamp azimuth", self.lamp_azimuth_deg, -360, 360, "degrees")
        _within("lamp elevation", self.lamp_elevation_deg, 0.5, 60, "degrees over the level")
        _within("exaggeration", self.exaggerate, 0.01, 10_000, "times")
        w, h = self.size
        if w < LEAST_SIZE[0] or h < LEAST_SIZE[1] or w * h > MOST_PIXELS:
            raise BadInput(
                f"a picture of {w} x {h} pixels can't be drawn; use at least {LEAST_SIZE[0]} x "
                f"{LEAST_SIZE[1]} and at most {MOST_PIXELS // 1_000_000} million pixels in all"
            )

    @property
    def angles_deg(self) -> tuple[float, float]:
        """Azimuth and elevation of the eye, degrees."""
        return VIEWS[self.view] if self.camera is None else self.camera


def _one_of(what: str, value: str, allowed: Sequence[str] | Mapping[str, Any]) -> None:
    if value not in allowed:
        raise BadInput(
            f"unknown {what} {value!r}; use one of {', '.join(allowed)}{closest(value, allowed)}"
        )


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise BadInput(f"{what} {value:g} is out of range; use {low:g} to {high:g} {unit}")


def draw(
    tile: Tile,
    *,
    unit: Unit,
    title: str,
    passes: Mapping[int, tuple[int, str]],
    steps: Sequence[Mapping[str, Any]] = (),
    skims: Sequence[Mapping[str, Any]] = (),
    options: PictureOptions | None = None,
) -> NDArray[np.uint8]:
    """Draw a tile with its legend, numbers, table and caption.

    Parameters
    ----------
    tile : Tile
        Heights in mm; `slope` gives the exact normals, without it they come from the heights.
    unit : {'in', 'mm'}
        The job's unit, for lettering and for the numbers of `steps` and `skims`.
    title : str
    passes : mapping of int to (int, str)
        Tool number and name of each pass.
    steps, skims : sequence of mapping
        As in the JSON of a run.
    options : PictureOptions, optional

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        The same input gives the same pixels with the own renderer.

    Raises
    ------
    BadInput
        pyvista was asked for and OpenGL does not work here.
    """
    from . import pictures_layout as layout
    from .pictures_plan import height_range
    from .pictures_sheet import Sheet, plain_matplotlib

    options = _with_lamp(options or PictureOptions(), tile, steps, unit)
    callouts = layout.callouts_of(steps, skims, unit) if options.numbers else []
    room = layout.room_of(options.size, len(callouts))
    renderer = _renderer(options)
    raster = _raster(tile, room.view[2], room.view[3], renderer, options)
    with plain_matplotlib():
        sheet = Sheet(options.size, room.scale)
        sheet.image(raster.image, room.view[0], room.view[1])
        _head(sheet, title, unit, options)
        if options.color == "pass":
            layout.draw_legend(sheet, room, raster, passes)
        elif options.color == "height":
            layout.draw_heights(sheet, room, raster, height_range(tile.top), unit)
        layout.draw_scale_bar(sheet, room, raster, unit)
        layout.draw_triad(sheet, room, raster, options)
        if options.color != "height":
            layout.draw_lamp(sheet, room, raster, options)
        layout.draw_callouts(sheet, room, raster, callouts)
        layout.draw_table(sheet, room, callouts)
        _caption(sheet, room, raster.pitch_mm, unit, options)
        return sheet.pixels()


def _with_lamp(
    options: PictureOptions, tile: Tile, steps: Sequence[Mapping[str, Any]], unit: Unit
) -> PictureOptions:
    """Stand the lamp where the small steps show best, unless it was placed."""
    from .pictures_layout import SMALL_STEP_MM
    from .pictures_plan import best_lamp_azimuth

    if options.lamp_azimuth_deg is not None:
        return options
    per = MM_PER[unit]
    told = [
        (
            (step["at"][0] * per, step["at"][1] * per),
            step["upper_pass"], step["lower_pass"],
            float(step["length"]) / abs(float(step["height"])),
        )
        for step in steps
        if step.get("at") and 0 < abs(step["height"]) * per < SMALL_STEP_MM
    ]  # fmt: skip
    return dataclasses.replace(options, lamp_azimuth_deg=best_lamp_azimuth(tile, told))


def _renderer(options: PictureOptions) -> str:
    """Return 'own' or 'pyvista'."""
    if options.renderer == "own":
        return "own"
    if options.angles_deg[1] == 90.0 and options.renderer == "auto":
        return "own"
    if opengl_works():
        return "pyvista"
    if options.renderer == "pyvista":
        raise BadInput(
            "OpenGL does not work on this machine, so pyvista can't draw; leave the renderer out, "
            "or install libegl1 and libgl1-mesa-dri"
        )
    return "own"


def _raster(tile: Tile, width: int, height: int, renderer: str, options: PictureOptions) -> Any:
    if renderer == "own" and options.angles_deg == VIEWS["top"]:
        from .pictures_plan import plan_raster

        return plan_raster(tile, width, height, options)
    from .pictures_solid import solid_raster

    return solid_raster(tile, width, height, renderer, options)


def _head(sheet: Any, title: str, unit: Unit, options: PictureOptions) -> None:
    s = sheet.scale
    room = sheet.size[0] - 40 * s
    sheet.write(20 * s, 34 * s, title, 27, weight="bold", room=room)
    what = {
        "pass": "coloured by the pass that left it",
        "height": "coloured by height, with isolines",
        "lamp": "in raking light",
    }[options.color]
    azimuth, elevation = options.angles_deg
    view = (
        f"view: {options.view}" if options.camera is None
        else f"view from azimuth {azimuth:g}°, elevation {elevation:g}°"
    )  # fmt: skip
    text = f"{view}, {what}; {'inches' if unit == 'in' else 'millimetres'}"
    if options.exaggerate != 1.0:
        text += f"; HEIGHTS × {options.exaggerate:g}"
    sheet.write(20 * s, 72 * s, text, 18, room=room)


def _caption(sheet: Any, room: Any, pitch_mm: float, unit: Unit, options: PictureOptions) -> None:
    """State how the picture came about: nothing on it may pass for a measurement."""
    from .pictures_plan import KEY_ELEVATION_DEG, SHADOW_RATIO, SHADOW_REACH, lamp_azimuth

    pitch = f"{to_unit(pitch_mm, unit):.{4 if unit == 'in' else 3}f} {unit}"
    elevation = options.lamp_elevation_deg
    middle, half = (elevation * (SHADOW_RATIO[1] + sign * SHADOW_RATIO[0]) / 2 for sign in (1, -1))
    text = f"Simulated, not measured. One column each {pitch}; heights × {options.exaggerate:g}. "
    if options.color == "height":
        text += "Colour shows height alone, without light; thin lines where the pass changes."
    else:
        text += (
            f"Composite, no photograph: raking light from {lamp_azimuth(options):g}° in plan "
            f"(0° is +X), {elevation:g}° up, on the slope between columns, times the shadow of a "
            f"lamp {middle:.2g}° ± {half:.2g}° up, cut off after {SHADOW_REACH} columns."
        )
        if options.color == "pass":
            text += f" Colours and walls in softer light {KEY_ELEVATION_DEG:g}° up."
    s = sheet.scale
    for n, line in enumerate(sheet.wrapped(text, 15, sheet.size[0] - 40 * s)[:3]):
        sheet.write(20 * s, room.caption_y + (12 + 24 * n) * s, line, 15, color="#444444",
                    room=sheet.size[0] - 40 * s)  # fmt: skip


def save_picture(
    path: str | os.PathLike[str],
    tile: Tile,
    *,
    unit: Unit,
    title: str,
    passes: Mapping[int, tuple[int, str]],
    steps: Sequence[Mapping[str, Any]] = (),
    skims: Sequence[Mapping[str, Any]] = (),
    options: PictureOptions | None = None,
) -> Path:
    """Draw a tile as `draw` does and save it as PNG; an old file stays until the new one is whole.

    Raises
    ------
    BadInput
        The name does not end in .png, or the file can't be written.
    """
    _png_path(path)
    pixels = draw(
        tile, unit=unit, title=title, passes=passes, steps=steps, skims=skims, options=options
    )
    return write_png(path, pixels)


def _png_path(path: str | os.PathLike[str]) -> Path:
    target = Path(path)
    if target.suffix.lower() != ".png":
        raise BadInput(f"{str(target)!r} does not end in .png; pictures are written as PNG")
    if not target.parent.is_dir():
        raise BadInput(f"the folder {str(target.parent)!r} does not exist; make it first")
    return target


def write_png(path: str | os.PathLike[str], pixels: NDArray[np.uint8]) -> Path:
    """Save pixels (h, w, 3) as PNG, atomically: whole in place of the old file, or not at all.

    Parameters
    ----------
    path : path
        Ends in .png; its folder exists.
    pixels : ndarray of uint8, shape (h, w, 3)

    Returns
    -------
    Path

    Raises
    ------
    BadInput
        The name does not end in .png, or the file can't be written.
    """
    target = _png_path(path)
    from matplotlib.image import imsave

    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            imsave(file, pixels, format="png", metadata={"Software": "proud"})
        part.replace(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise BadInput(f"{str(target)!r} can't be written: {reason}") from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
    return target


_PROBE: Final = """
try:
    import resource
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except ImportError:
    pass
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=(32, 32))
plotter.add_mesh(pyvista.Sphere(), color="black")
shot = plotter.screenshot(None, return_img=True)
print("works" if shot.shape == (32, 32, 3) and shot.min() < shot.max() else "blank")
"""


@functools.lru_cache(maxsize=1)
def opengl_works() -> bool:
    """Return whether pyvista can draw off-screen here; asked once, in a process of its own.

    Without an OpenGL library the first drawing ends the process by a segmentation fault, which no
    `except` can catch. Takes about three seconds the first time.
    """
    env = dict(os.environ)
    env.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-c", _PROBE],
            env=env, stdin=subprocess.DEVNULL, capture_output=True, timeout=90, check=False,
        )  # fmt: skip
    except (OSError, subprocess.SubprocessError):
        return False
    return done.returncode == 0 and done.stdout.strip().endswith(b"works")
