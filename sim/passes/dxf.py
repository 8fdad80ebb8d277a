"""Contours out of a DXF drawing: what is drawn on a layer, joined end to end.

Lines, arcs, circles and polylines are taken as drawn, their bulges as arcs; splines and ellipses
become arcs and lines within a bound. What else may be part of an outline is refused, so that
nothing is skipped in silence. The drawing is taken in plan: what is not level is refused too.
"""

from __future__ import annotations

import dataclasses
import logging
import math
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from ..contour import Piece, Point
from ..errors import closest
from ..tomlfile import clean
from ..units import MM_PER, Unit
from .fit import arcs_through
from .shapes import LEAST_MM, PassError

__all__ = ["DRAWING_MM", "Stroke", "read_strokes"]

DRAWING_MM: Final = {
    1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 8: 25.4e-6, 9: 0.0254, 10: 914.4, 13: 1e-3,
    14: 100.0,
}  # fmt: skip
"""Millimetres in a drawing's unit, by $INSUNITS (DXF reference, header variables)."""
LIMIT_BYTES: Final = 64 * 1024 * 1024
LIMIT_MM: Final = 1e5
"""Farthest place taken, 100 m: farther is a wrong unit."""
FLAT: Final = 1e-9
"""Slope, and change of z in mm, up to which a thing is level."""
STRAIGHT_MM: Final = 1e-6
"""An arc that stands no more than this off its chord is a line."""
SPLINE_PARTS: Final = 16
"""Parts of a spline from knot to knot that are looked at, each halved until its chord is near."""
FINER: Final = 10
"""Chords of splines and ellipses are so many times nearer to the curve than is asked; the arcs that
take their place may be off their ends by most of the rest."""
BESIDE: Final = frozenset({
    "ACAD_TABLE", "ARC_DIMENSION", "ATTDEF", "ATTRIB", "DIMENSION", "HATCH", "IMAGE",
    "LARGE_RADIAL_DIMENSION", "LEADER", "MPOLYGON", "MTEXT", "MULTILEADER", "OLE2FRAME", "POINT",
    "RTEXT", "TEXT", "TOLERANCE", "VIEWPORT", "WIPEOUT",
})  # fmt: skip
"""What never is part of an outline: lettering, dimensions, hatching, points, pictures."""


@dataclasses.dataclass(frozen=True)
class Stroke:
    """What one thing of a drawing contributes, mm.

    Attributes
    ----------
    pieces : tuple of Piece
        One after the other.
    said : str
        What it is for a person: ``LINE 2F``, its kind and handle.
    """

    pieces: tuple[Piece, ...]
    said: str


class _Refused(Exception):
    """Why a thing of the drawing can't be taken."""


def read_strokes(
    path: Path, *, layer: str | None, unit: Unit | None, tolerance: float, key: str
) -> tuple[list[Stroke], str, list[str]]:
    """Return what is drawn on a layer.

    Parameters
    ----------
    path : Path
        The drawing.
    layer : str or None
        Its layer, in either case; None: the only one that holds outlines.
    unit : {'in', 'mm'} or None
        Unit of the drawing, where it does not say its own.
    tolerance : float
        How far arcs and lines may be off splines and ellipses, mm.
    key : str
        Key path of the drawing in its pass, for errors.

    Returns
    -------
    strokes : list of Stroke
        In the drawing's order, mm.
    layer : str
        The layer's name as the drawing has it.
    notes : list of str
        What a person should know.

    Raises
    ------
    PassError
        No drawing, an unknown unit or layer, a thing that can't be taken.
    """
    drawing = _read(path, key)
    per, notes = _unit_mm(drawing.unit, path, unit, key)
    if drawing.mended:
        notes.append(f"{path.name} is damaged and was mended on reading: {drawing.mended[0]}")
    name, entities = _on_layer(drawing.entities, path, layer, key)
    reader = _Entities(per, tolerance)
    strokes = []
    for entity in entities:
        said = f"{entity.dxftype()} {entity.dxf.handle}"
        try:
            pieces = reader.pieces(entity)
        except _Refused as why:
            raise PassError(key, f'{said} on layer "{clean(name, 60)}": {why}') from None
        if pieces:
            strokes.append(Stroke(pieces, said))
    if reader.fitted:
        count = "" if reader.fitted == 1 else f"{reader.fitted} of them, "
        off = f"off by at most {tolerance * 1000:.4g} µm"
        notes.append(f"{path.name}: arcs and lines stand for a spline or an ellipse ({count}{off})")
    return strokes, name, notes


@dataclasses.dataclass(frozen=True)
class _Read:
    """What is taken from a drawing: $INSUNITS, each thing with its layer, what was mended."""

    unit: int
    entities: list[tuple[str, Any]]
    mended: list[str]


class _Kept(logging.Handler):
    """Keeps what the library says of a damaged drawing."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.said.append(clean(record.getMessage(), 120))


def _read(path: Path, key: str) -> _Read:
    """Read a drawing's model space; whatever a damaged one makes the library do is one error."""
    import ezdxf

    kept, log = _Kept(), logging.getLogger("ezdxf")
    log.addHandler(kept)
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise PassError(f"{key}.file", f"{path.name} is over {LIMIT_BYTES >> 20} MB")
        document = ezdxf.readfile(path)
        entities = [(str(e.dxf.get("layer", "0")), e) for e in document.modelspace()]
        return _Read(int(document.header.get("$INSUNITS", 0)), entities, kept.said)
    except PassError:
        raise
    except OSError as error:
        why = error.strerror or "it is no DXF file"
    except Exception as error:
        why = clean(error, 120) or type(error).__name__
    finally:
        log.removeHandler(kept)
    raise PassError(
        f"{key}.file",
        f"{path.name} can't be read as a drawing ({why}); save it again as DXF",
    )


def _unit_mm(code: int, path: Path, unit: Unit | None, key: str) -> tuple[float, list[str]]:
    """Return millimetres in the drawing's unit, and a note where the pass overrules the drawing."""
    own = DRAWING_MM.get(code)
    if unit is not None:
        per = MM_PER[unit]
        if own in (None, per):
            return per, []
        text = f"{path.name}: its $INSUNITS is {code}, but it is read in {unit}, as the pass says"
        return per, [text]
    if own is None:
        says = "says no unit" if code == 0 else f"has $INSUNITS {code}, which is none for parts"
        raise PassError(f"{key}.unit", f'is missing: {path.name} {says}; give unit = "in" or "mm"')
    return own, []


def _on_layer(
    entities: Iterable[tuple[str, Any]], path: Path, layer: str | None, key: str
) -> tuple[str, list[Any]]:
    """Return the layer's name and its things in model space, lettering and the like left out."""
    by_layer: dict[str, list[Any]] = {}
    names: dict[str, str] = {}
    for name, entity in entities:
        names.setdefault(name.lower(), name)
        if entity.dxftype() not in BESIDE:
            by_layer.setdefault(name.lower(), []).append(entity)
    have = [names[low] for low in sorted(by_layer)]
    listed = ", ".join(f'"{clean(n, 40)}"' for n in have[:12]) or "none"
    if not have:
        raise PassError(f"{key}.file", f"{path.name} holds no outlines in its model space")
    if layer is None:
        if len(have) > 1:
            raise PassError(f"{key}.layer", f"is missing: {path.name} has outlines on {listed}")
        return have[0], by_layer[have[0].lower()]
    if layer.lower() not in by_layer:
        guess = closest(layer, have)
        raise PassError(
            f"{key}.layer",
            f'no outlines on "{clean(layer, 60)}" in {path.name}; it has some on {listed}{guess}',
        )
    return names[layer.lower()], by_layer[layer.lower()]


class _Entities:
    """Things of a drawing made into pieces, mm."""

    def __init__(self, per: float, tolerance: float) -> None:
        self.per, self.tolerance = per, tolerance
        self.fitted = 0
        self._kinds: dict[str, Callable[[Any], list[Piece]]] = {
            "LINE": self._line,
            "ARC": self._arc,
            "CIRCLE": self._circle,
            "LWPOLYLINE": self._light_polyline,
            "POLYLINE": self._polyline,
            "ELLIPSE": self._ellipse,
            "SPLINE": self._spline,
        }

    def pieces(self, entity: Any) -> tuple[Piece, ...]:
        """Return the pieces of a thing; none where it has no length."""
        make = self._kinds.get(entity.dxftype())
        if make is None:
            cure = "explode it first" if entity.dxftype() == "INSERT" else "redraw it as a polyline"
            raise _Refused(
                "only LINE, ARC, CIRCLE, LWPOLYLINE, POLYLINE, SPLINE and ELLIPSE are read; "
                f"{cure}, or move it to another layer"
            )
        try:
            found = make(entity)
        except _Refused:
            raise
        except Exception as error:  # numbers that the library can't work with
            raise _Refused(f"it can't be worked out ({clean(error, 80)})") from None
        found = [p for p in found if p.length > LEAST_MM]
        for piece in found:
            numbers = (*piece.start, *piece.end)
            if not all(math.isfinite(v) and abs(v) <= LIMIT_MM for v in numbers):
                raise _Refused(f"it reaches over {LIMIT_MM / 1000:g} m; is the unit right?")
        return tuple(found)

    def _point(self, x: float, y: float) -> Point:
        return round(float(x) * self.per, 10) + 0.0, round(float(y) * self.per, 10) + 0.0

    def _level(self, heights: Iterable[float]) -> None:
        heights = [z * self.per for z in heights]
        if heights and max(heights) - min(heights) > FLAT:
            raise _Refused("is not level; a contour lies in plan")

    def _mirrored(self, entity: Any) -> bool:
        """Return whether X runs backwards in the thing's own frame, drawn from below."""
        x, y, z = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
        if math.hypot(x, y) > FLAT * abs(z):
            raise _Refused("is drawn in another plane than X Y; a contour lies in plan")
        return bool(z < 0)

    def _line(self, entity: Any) -> list[Piece]:
        a, b = entity.dxf.start, entity.dxf.end
        self._level((a.z, b.z))
        return [Piece(self._point(a.x, a.y), self._point(b.x, b.y))]

    def _arc(self, entity: Any) -> list[Piece]:
        low, high = entity.dxf.start_angle, entity.dxf.end_angle
        turn = (high - low) % 360.0 or 360.0
        return [self._round(entity, low, turn)]

    def _circle(self, entity: Any) -> list[Piece]:
        return [self._round(entity, 0.0, 360.0)]

    def _round(self, entity: Any, low: float, turn: float) -> Piece:
        sign = -1.0 if self._mirrored(entity) else 1.0
        center, radius = entity.dxf.center, entity.dxf.radius
        if radius <= 0:
            raise _Refused(f"its radius, {radius:g}, is not above 0")

        def at(degrees: float) -> Point:
            angle = math.radians(degrees)
            x, y = center.x + radius * math.cos(angle), center.y + radius * math.sin(angle)
            return self._point(sign * x, y)

        start = at(low)
        end = start if turn == 360.0 else at(low + turn)
        return Piece(start, end, self._point(sign * center.x, center.y), sign * math.radians(turn))

    def _light_polyline(self, entity: Any) -> list[Piece]:
        sign = -1.0 if self._mirrored(entity) else 1.0
        rows = [(sign * x, y, sign * b) for x, y, b in entity.get_points("xyb")]
        return self._bulged(rows, bool(entity.closed))

    def _polyline(self, entity: Any) -> list[Piece]:
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            raise _Refused("is a mesh; a contour needs a plain polyline")
        frame = 16  # a vertex of the frame that a curve was fitted to, not of the curve
        places = [v for v in entity.vertices if not v.dxf.get("flags", 0) & frame]
        self._level(v.dxf.location.z for v in places)
        flat = entity.is_2d_polyline
        sign = -1.0 if flat and self._mirrored(entity) else 1.0
        rows = [
            (sign * v.dxf.location.x, v.dxf.location.y,
             sign * v.dxf.get("bulge", 0.0) if flat else 0.0)
            for v in places
        ]  # fmt: skip
        return self._bulged(rows, bool(entity.is_closed))

    def _bulged(self, rows: Sequence[tuple[float, float, float]], closed: bool) -> list[Piece]:
        """Return lines and arcs; a bulge is the tangent of a quarter of the arc's angle."""
        ends = [*rows[1:], rows[0]] if closed else rows[1:]
        pieces = []
        for (x, y, bulge), (u, v, _) in zip(rows, ends, strict=False):
            a, b = self._point(x, y), self._point(u, v)
            if abs(bulge) * math.dist(a, b) / 2 <= STRAIGHT_MM:  # the height of the arc
                pieces.append(Piece(a, b))
                continue
            # The centre lies beside the middle of the chord by (1 - b^2) / 4b of it, on the left.
            share = (1 - bulge * bulge) / (4 * bulge)
            center = (
                (a[0] + b[0]) / 2 - share * (b[1] - a[1]),
                (a[1] + b[1]) / 2 + share * (b[0] - a[0]),
            )
            pieces.append(Piece(a, b, center, 4 * math.atan(bulge)))
        return pieces

    def _ellipse(self, entity: Any) -> list[Piece]:
        self._mirrored(entity)
        self._level((0.0, entity.dxf.major_axis.z))
        return self._fitted(entity.flattening(self.tolerance / self.per / FINER))

    def _spline(self, entity: Any) -> list[Piece]:
        chord = self.tolerance / self.per / FINER
        return self._fitted(entity.flattening(chord, segments=SPLINE_PARTS))

    def _fitted(self, vertices: Iterable[Any]) -> list[Piece]:
        """Return arcs and lines through places of a curve, `FINER` times as near to it as asked."""
        places = list(vertices)
        self._level(v.z for v in places)
        self.fitted += 1
        points = [self._point(v.x, v.y) for v in places]
        kept = points[:1]
        for point in points[1:]:
            if math.dist(point, kept[-1]) > LEAST_MM:
                kept.append(point)
        if len(kept) < 2:
            return []
        return arcs_through(np.array(kept), self.tolerance * (1 - 2 / FINER))
