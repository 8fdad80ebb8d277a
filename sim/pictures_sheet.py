"""A sheet of pixels to letter on, through matplotlib's Agg.

Everything is placed in pixels, x to the right and y down. All fonts come with matplotlib and all
settings are its own defaults, so that the same input gives the same pixels.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .pictures_color import INK

Floats = Sequence[float] | NDArray[np.float64]

__all__ = ["Sheet", "plain_matplotlib", "printable"]


@contextmanager
def plain_matplotlib() -> Iterator[None]:
    """Draw with matplotlib's own defaults and without its chatter."""
    logger = logging.getLogger("matplotlib")
    before = logger.level
    logger.setLevel(logging.ERROR)
    try:
        import matplotlib

        with matplotlib.rc_context():
            matplotlib.rcdefaults()
            yield
    finally:
        logger.setLevel(before)


def printable(text: object) -> str:
    """Return a text with what the font lacks shown as a question mark."""
    from matplotlib import font_manager

    path = font_manager.findfont("DejaVu Sans", fallback_to_default=True)
    known = font_manager.get_font(path).get_charmap()
    one_line = " ".join(str(text).split())
    return "".join(c if ord(c) in known else "?" for c in one_line)


class Sheet:
    """A sheet of pixels to letter on.

    Parameters
    ----------
    size : (int, int)
        Width and height, pixels.
    scale : float
        Size of lettering, 1 on a sheet of 1600 x 1100.
    """

    def __init__(self, size: tuple[int, int], scale: float) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.size, self.scale = size, scale
        # 72 dots an inch: a point is a pixel.
        self.figure = Figure(figsize=(size[0] / 72, size[1] / 72), dpi=72, facecolor="white")
        self.canvas = FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, size[0])
        self.axes.set_ylim(size[1], 0)
        self.axes.axis("off")
        self.axes.patch.set_alpha(0)

    def image(self, pixels: NDArray[np.float64], x: int, y: int) -> None:
        """Place an image (h, w, 3), 0 to 1, pixel on pixel, its upper left corner at x, y."""
        self.figure.figimage(
            np.rint(np.clip(pixels, 0, 1) * 255).astype(np.uint8),
            xo=x, yo=self.size[1] - y - pixels.shape[0], origin="upper", zorder=-1,
        )  # fmt: skip

    def width(self, text: str, px: float, weight: str = "normal") -> float:
        """Return how wide a text of that size is, pixels."""
        from matplotlib.font_manager import FontProperties

        font = FontProperties(family="DejaVu Sans", size=px * self.scale, weight=weight)
        found = self.canvas.get_renderer().get_text_width_height_descent(text, font, False)
        return float(found[0])

    def fitted(self, text: object, px: float, room: float, weight: str = "normal") -> str:
        """Return the text, cut short with an ellipsis to fit the room."""
        clean = printable(text)
        if self.width(clean, px, weight) <= room:
            return clean
        low, high = 0, len(clean)
        while low < high:
            middle = (low + high + 1) // 2
            if self.width(clean[:middle].rstrip() + "…", px, weight) <= room:
                low = middle
            else:
                high = middle - 1
        return clean[:low].rstrip() + "…"

    def wrapped(self, text: str, px: float, room: float) -> list[str]:
        """Return a text broken into lines that fit the room."""
        lines = [""]
        for word in text.split():
            longer = f"{lines[-1]} {word}".strip()
            if lines[-1] and self.width(longer, px) > room:
                lines.append(word)
            else:
                lines[-1] = longer
        return lines

    def write(
        self, x: float, y: float, text: object, px: float, *, room: float | None = None,
        weight: str = "normal", color: str = INK, ha: str = "left", va: str = "center",
        halo: bool = False,
    ) -> None:  # fmt: skip
        """Write one line of text."""
        from matplotlib import patheffects

        clean = printable(text) if room is None else self.fitted(text, px, room, weight)
        self.axes.text(
            x, y, clean, fontsize=px * self.scale, family="DejaVu Sans", weight=weight, color=color,
            ha=ha, va=va, parse_math=False, zorder=9,
            path_effects=[patheffects.withStroke(linewidth=4 * self.scale, foreground="white")]
            if halo else None,
        )  # fmt: skip

    def line(self, xs: Floats, ys: Floats, width: float, color: str = INK, **more: Any) -> None:
        """Draw a polyline."""
        more.setdefault("zorder", 6)
        self.axes.plot(xs, ys, color=color, lw=width * self.scale, solid_capstyle="round", **more)

    def badge(self, x: float, y: float, number: int) -> None:
        """Draw a number in a filled circle."""
        self.axes.plot(
            [x], [y], "o", ms=25 * self.scale, mfc=INK, mec="white", mew=2 * self.scale, zorder=8
        )
        self.write(x, y + self.scale, number, 16, weight="bold", color="white", ha="center")

    def finished(self, path: str | os.PathLike[str] | None) -> NDArray[np.uint8]:
        """Return the finished sheet, shape (h, w, 3), saved as PNG where a path is given."""
        pixels = self.pixels()
        if path is not None:
            from .pictures import write_png

            write_png(path, pixels)
        return pixels

    def pixels(self) -> NDArray[np.uint8]:
        """Return the finished sheet, shape (h, w, 3)."""
        self.canvas.draw()
        return np.array(self.canvas.buffer_rgba())[..., :3].copy()
