"""The raw stock: its box, its volume, and its top and bottom on columns along Z.

Millimetres, part frame. Edges belong to the stock: a column exactly on its outline has metal.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from .errors import Fault, ModelError
from .units import MM_PER, Unit

if TYPE_CHECKING:
    from shapely import STRtree

    from .jobfile_spec import StockSpec

__all__ = ["Block", "MeshStock", "Round", "Stock", "check_part_model", "closed_mesh", "make_stock"]

Floats = NDArray[np.float64]
Vector = tuple[float, float, float]

MESH_FILES: Final = (".stl", ".ply", ".obj", ".off")
LEVEL_SINE: Final = 1e-9
"""A facet whose normal leans by no more than this, radians, is level."""
PLANE_MM: Final = 1e-7
"""Rounding of a facet's plane over a box, mm."""
LIMIT_MM: Final = 1e5
"""Farthest corner taken, 100 m: farther is a wrong unit."""


@dataclasses.dataclass(frozen=True, eq=False)
class Stock:
    """The raw stock; made by `make_stock`.

    Attributes
    ----------
    low, high : (x, y, z)
        Its box, mm.
    volume : float
        mm^3, exact for the shape (for a mesh: of the mesh).
    material : str
        Empty if not given.
    """

    low: Vector
    high: Vector
    volume: float
    material: str

    @property
    def is_block(self) -> bool:
        """Whether every column inside the box is metal from its bottom to its top."""
        return False

    def at(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return (top, bottom) on single columns, mm.

        Parameters
        ----------
        x, y : ndarray of float64
            Columns, mm; shapes that broadcast.

        Returns
        -------
        tuple of ndarray of float64
            NaN off the stock. A column that leaves the metal and enters it again is taken as
            metal from its highest to its lowest point.
        """
        inside = self._inside(x, y)
        return np.where(inside, self.high[2], np.nan), np.where(inside, self.low[2], np.nan)

    def top_bottom(self, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
        """Return (top, bottom) on a grid of columns, mm, shape (ny, nx); NaN off the stock.

        Parameters
        ----------
        xs, ys : ndarray of float64, shapes (nx,) and (ny,)
            Ascending, mm.
        """
        return self.at(xs[None, :], ys[:, None])

    def level_points(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Return where the top is level, on single columns; False off the stock."""
        return self._inside(x, y)

    def level_at(self, xs: Floats, ys: Floats) -> NDArray[np.bool_]:
        """Return where the top is level, on a grid of columns, shape (ny, nx)."""
        return self.level_points(xs[None, :], ys[:, None])

    def slope_at(self, xs: Floats, ys: Floats) -> Floats:
        """Return dz/dx and dz/dy of the top on a grid, shape (ny, nx, 2); 0 off the stock."""
        return np.zeros((len(ys), len(xs), 2))

    def highest(self, boxes: Floats) -> Floats:
        """Return what the top of the stock is not above in boxes in plan; -inf: it is not there.

        Parameters
        ----------
        boxes : ndarray of float64, shape (n, 4)
            Middle x and y and half widths, mm.

        Returns
        -------
        ndarray of float64, shape (n,)
            z, mm.
        """
        return np.where(self._misses(boxes), -np.inf, self.high[2])

    def _misses(self, boxes: Floats) -> NDArray[np.bool_]:
        raise NotImplementedError

    def _inside(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        raise NotImplementedError


@dataclasses.dataclass(frozen=True, eq=False)
class Block(Stock):
    """A block, its sides along X and Y."""

    @property
    def is_block(self) -> bool:
        """Whether every column inside the box is metal from its bottom to its top."""
        return True

    def _misses(self, boxes: Floats) -> NDArray[np.bool_]:
        low, high = boxes[:, :2] - boxes[:, 2:], boxes[:, :2] + boxes[:, 2:]
        off = (low > self.high[:2]) | (high < self.low[:2])
        return off[:, 0] | off[:, 1]

    def _inside(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        in_x = (x >= self.low[0]) & (x <= self.high[0])
        in_y = (y >= self.low[1]) & (y <= self.high[1])
        return in_x & in_y


@dataclasses.dataclass(frozen=True, eq=False)
class Round(Stock):
    """A round bar or a tube, its axis along Z.

    Attributes
    ----------
    center : (x, y)
        Its axis, mm.
    radius, bore_radius : float
        mm; no bore: 0.
    """

    center: tuple[float, float]
    radius: float
    bore_radius: float

    def _misses(self, boxes: Floats) -> NDArray[np.bool_]:
        away = np.abs(boxes[:, :2] - self.center)
        nearest = np.hypot(*np.maximum(away - boxes[:, 2:], 0.0).T)
        farthest = np.hypot(*(away + boxes[:, 2:]).T)
        off: NDArray[np.bool_] = (nearest > self.radius) | (farthest < self.bore_radius)
        return off

    def _inside(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        r2 = (x - self.center[0]) ** 2 + (y - self.center[1]) ** 2
        return (r2 <= self.radius**2) & (r2 >= self.bore_radius**2)


@dataclasses.dataclass(frozen=True, eq=False)
class MeshStock(Stock):
    """A closed mesh.

    Attributes
    ----------
    vertices : ndarray of float64, shape (n, 3)
        mm.
    facets : ndarray of int64, shape (m, 3)
        Corners of each facet. All turned the same way, outwards or inwards.
    """

    vertices: Floats
    facets: NDArray[np.int64]

    def at(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return (top, bottom) on single columns, mm; as `Stock.at`."""
        top, bottom, _ = self._points(x, y)
        return top, bottom

    def top_bottom(self, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
        """Return (top, bottom) on a grid of columns, mm, shape (ny, nx); NaN off the stock."""
        top, bottom, _ = self._grid(xs, ys)
        return top, bottom

    def level_points(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Return where the top is level, on single columns; False off the stock."""
        owner = self._points(x, y)[2]
        return self._level[owner]

    def level_at(self, xs: Floats, ys: Floats) -> NDArray[np.bool_]:
        """Return where the top is level, on a grid of columns, shape (ny, nx)."""
        return self._level[self._grid(xs, ys)[2]]

    def slope_at(self, xs: Floats, ys: Floats) -> Floats:
        """Return dz/dx and dz/dy of the top on a grid, shape (ny, nx, 2); 0 off the stock."""
        normal = np.append(self._normals, [[0.0, 0.0, 1.0]], axis=0)
        normal[normal[:, 2] == 0] = 0.0, 0.0, 1.0  # upright: never a top
        return cast(Floats, (-normal[:, :2] / normal[:, 2:])[self._grid(xs, ys)[2]])

    def highest(self, boxes: Floats) -> Floats:
        """Return what the top is not above in boxes in plan, mm; as `Stock.highest`.

        In a box a facet is no higher than its highest corner, and than its plane over the box.
        """
        import shapely

        low, high = boxes[:, :2] - boxes[:, 2:], boxes[:, :2] + boxes[:, 2:]
        of, k = self._shadow.query(shapely.box(*low.T, *high.T), predicate="intersects")
        facet = self._wide[k]
        corner, normal = self.vertices[self.facets[facet]], self._normals[facet]
        slope = -normal[:, :2] / normal[:, 2:]
        aside = ((boxes[of, :2] - corner[:, 0, :2]) * slope).sum(axis=1)
        plane = corner[:, 0, 2] + aside + (np.abs(slope) * boxes[of, 2:]).sum(axis=1)
        found = np.full(len(boxes), -np.inf)
        np.maximum.at(found, of, np.minimum(plane + PLANE_MM, corner[:, :, 2].max(axis=1)))
        return found

    @functools.cached_property
    def _wide(self) -> NDArray[np.int64]:
        """Facets with an area in plan; upright ones only bound others."""
        n = self._normals
        return np.flatnonzero(np.abs(n[:, 2]) > 1e-9 * np.abs(n).sum(axis=1))

    @functools.cached_property
    def _shadow(self) -> STRtree:
        """Those in plan."""
        import shapely

        return shapely.STRtree(shapely.polygons(self.vertices[self.facets[self._wide], :2]))

    @functools.cached_property
    def _normals(self) -> Floats:
        a, b, c = (self.vertices[self.facets[:, k]] for k in range(3))
        return np.cross(b - a, c - a)

    @functools.cached_property
    def _level(self) -> NDArray[np.bool_]:
        """Which facets are level; one more, False, for owner -1."""
        n = self._normals
        lean = np.hypot(n[:, 0], n[:, 1])
        level = (lean <= LEVEL_SINE * np.abs(n[:, 2])) & (n[:, 2] != 0)
        return np.append(level, False)

    @functools.cached_property
    def cells(self) -> tuple[Floats, NDArray[np.int64], NDArray[np.int32]]:
        """Facets over the cells of a window: window, where each cell's list stops, the lists."""
        from .kernels.mesh_columns import bin_facets

        side = max(1, min(1024, math.isqrt(len(self.facets))))
        low, high = np.array(self.low[:2]), np.array(self.high[:2])
        window = np.concatenate([low, (high - low) / side])
        starts = np.zeros((side, side), np.int64)
        bin_facets(self.vertices, self.facets, window, starts, np.empty(0, np.int32), False)
        counts = starts.ravel().copy()
        starts[:] = (np.cumsum(counts) - counts).reshape(side, side)
        ids = np.empty(int(counts.sum()), np.int32)
        bin_facets(self.vertices, self.facets, window, starts, ids, True)
        return window, starts, ids

    def _points(self, x: Floats, y: Floats) -> tuple[Floats, Floats, NDArray[np.int32]]:
        from .kernels.mesh_columns import at_points

        wide_x, wide_y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        flat_x, flat_y = np.ascontiguousarray(wide_x.ravel()), np.ascontiguousarray(wide_y.ravel())
        top, bottom, owner = _blank(flat_x.shape)
        window, stops, ids = self.cells
        at_points(
            self.vertices, self.facets, window, stops, ids, flat_x, flat_y, top, bottom, owner
        )
        shape = wide_x.shape
        return _nan_off(top.reshape(shape), bottom.reshape(shape), owner.reshape(shape))

    def _grid(self, xs: Floats, ys: Floats) -> tuple[Floats, Floats, NDArray[np.int32]]:
        from .kernels.mesh_columns import raster

        top, bottom, owner = _blank((len(ys), len(xs)))
        raster(
            self.vertices,
            self.facets,
            np.ascontiguousarray(xs, np.float64),
            np.ascontiguousarray(ys, np.float64),
            top,
            bottom,
            owner,
        )
        return _nan_off(top, bottom, owner)


def _blank(shape: tuple[int, ...]) -> tuple[Floats, Floats, NDArray[np.int32]]:
    return np.full(shape, -np.inf), np.full(shape, np.inf), np.full(shape, -1, np.int32)


def _nan_off(
    top: Floats, bottom: Floats, owner: NDArray[np.int32]
) -> tuple[Floats, Floats, NDArray[np.int32]]:
    off = owner < 0
    top[off] = np.nan
    bottom[off] = np.nan
    return top, bottom, owner


def make_stock(spec: StockSpec, unit: Unit) -> Stock:
    """Return the stock that a job describes.

    Parameters
    ----------
    spec : StockSpec
        Checked and in mm, but for the mesh's own coordinates.
    unit : {'in', 'mm'}
        The job's unit, in which a mesh's coordinates are taken: its file names none.

    Raises
    ------
    ModelError
        A mesh file that is missing, can't be read, is empty or isn't closed.
    """
    if spec.shape == "model":
        path = _needed(spec.model)
        vertices, facets = closed_mesh(path, unit, "stock")
        return _mesh_stock(path, vertices, facets, spec.material)
    if spec.shape == "block":
        low, high = _needed(spec.low), _needed(spec.high)
        volume = math.prod(b - a for a, b in zip(low, high, strict=True))
        return Block(low, high, volume, spec.material)
    if spec.shape not in ("round", "tube"):
        raise Fault(f"no stock of shape {spec.shape!r}")
    (x, y), R, bore = spec.center, _needed(spec.diameter) / 2, (spec.bore or 0.0) / 2
    bottom, top = _needed(spec.bottom), _needed(spec.top)
    volume = math.pi * (R - bore) * (R + bore) * (top - bottom)
    low, high = (x - R, y - R, bottom), (x + R, y + R, top)
    return Round(low, high, volume, spec.material, (x, y), R, bore)


def _needed(value: Any) -> Any:
    if value is None:
        raise Fault("a stock was let through without all its sizes")
    return value


def check_part_model(path: Path, unit: Unit) -> None:
    """Check that the part's model is a closed mesh that can be read.

    Parameters
    ----------
    path : Path
    unit : {'in', 'mm'}
        The job's unit, in which its coordinates are taken.

    Raises
    ------
    ModelError
        It is missing, can't be read, is empty or isn't closed.
    """
    closed_mesh(path, unit, "part")


def closed_mesh(path: Path, unit: Unit, what: str) -> tuple[Floats, NDArray[np.int64]]:
    """Return corners and facets of a closed mesh, equal corners made one.

    Parameters
    ----------
    path : Path
    unit : {'in', 'mm'}
        The job's unit, in which its coordinates are taken.
    what : str
        What it is for a person: ``part`` or ``stock``.

    Returns
    -------
    corners : ndarray of float64, shape (n, 3)
        mm.
    facets : ndarray of int64, shape (m, 3)

    Raises
    ------
    ModelError
        It is missing, can't be read, is empty or isn't closed.
    """
    vertices, facets = _read_mesh(path, what)
    if not len(facets):
        raise ModelError(f"{path}: holds no facets; save the model again as a mesh of the {what}")
    vertices = np.round(vertices * MM_PER[unit], 10) + 0.0  # + 0.0: no negative zero
    if not np.isfinite(vertices).all() or np.abs(vertices).max() > LIMIT_MM:
        raise ModelError(
            f"{path}: a corner lies farther than {LIMIT_MM / 1000:g} m from the origin; "
            f"the mesh is taken in the job's unit, {unit}: is it saved in that unit?"
        )
    vertices, facets = _welded(vertices, facets)
    _check_closed(path, facets)
    return vertices, facets


def _mesh_stock(
    path: Path, vertices: Floats, facets: NDArray[np.int64], material: str
) -> MeshStock:
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    a, b, c = (vertices[facets[:, k]] - low for k in range(3))
    volume = abs(float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum())) / 6
    if volume <= 1e-12 * float(np.max(high - low)) ** 3:
        raise ModelError(f"{path}: encloses no volume; save the stock as a solid")
    corner = tuple(map(float, low)), tuple(map(float, high))
    return MeshStock(*cast(tuple[Vector, Vector], corner), volume, material, vertices, facets)


def _read_mesh(path: Path, what: str) -> tuple[Floats, NDArray[np.int64]]:
    """Return corners in the file's own numbers, and facets."""
    kinds = ", ".join(MESH_FILES)
    if path.suffix.lower() not in MESH_FILES:
        raise ModelError(
            f"{path}: {path.suffix or 'no ending'!s} is not a mesh file that can be read; "
            f"save the {what} as one of {kinds}"
        )
    if not path.is_file():
        raise ModelError(f"{path}: no such file; check the name and the folder")
    try:
        vertices, facets = _binary_stl(path) or _any_mesh(path)
    except Exception as error:  # the readers raise whatever they trip over
        raise ModelError(
            f"{path}: can't be read as a mesh; save the {what} again as one of {kinds}"
        ) from error
    if len(facets) and (facets.min() < 0 or facets.max() >= len(vertices)):
        raise ModelError(f"{path}: a facet names a corner that isn't there; save it again")
    return vertices, facets


def _binary_stl(path: Path) -> tuple[Floats, NDArray[np.int64]] | None:
    """Return a binary STL's corners and facets, None for any other file; needs no trimesh.

    80 bytes of any text, the number of facets, and for each of them twelve float32 (the normal,
    three corners) and two bytes of no meaning here. The size alone tells it from the text kind.
    """
    if path.suffix.lower() != ".stl":
        return None
    data = path.read_bytes()
    count = int.from_bytes(data[80:84], "little")
    if len(data) != 84 + 50 * count:
        return None
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    corners = np.frombuffer(data, kind, offset=84)["corners"]
    facets = np.arange(3 * count, dtype=np.int64).reshape(-1, 3)
    return corners.reshape(-1, 3).astype(np.float64), facets


def _any_mesh(path: Path) -> tuple[Floats, NDArray[np.int64]]:
    import trimesh

    mesh = trimesh.load_mesh(path, process=False)
    vertices = np.asarray(mesh.vertices, np.float64).reshape(-1, 3)
    return vertices, np.asarray(mesh.faces, np.int64).reshape(-1, 3)


def _welded(vertices: Floats, facets: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """Return the mesh with equal corners made one, and facets without three corners left out."""
    used = np.unique(facets)
    corners = vertices[used]
    order = np.lexsort(corners.T)
    corners = corners[order]
    first = np.append(True, (corners[1:] != corners[:-1]).any(axis=1))
    index = np.empty(len(used), np.int64)
    index[order] = np.cumsum(first) - 1
    corners, facets = corners[first], index[np.searchsorted(used, facets)]
    a, b, c = facets.T
    whole = (a != b) & (b != c) & (c != a)
    return np.ascontiguousarray(corners), np.ascontiguousarray(facets[whole], np.int64)


def _check_closed(path: Path, facets: NDArray[np.int64]) -> None:
    """Raise unless every edge joins facets, all turned the same way."""
    start, stop = facets.ravel(), np.roll(facets, -1, axis=1).ravel()
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    _, edge, count = np.unique(low << 32 | high, return_inverse=True, return_counts=True)
    loose = int((count % 2 == 1).sum())
    if loose or not len(facets):
        raise ModelError(
            f"{path}: not closed: {loose} open edges; close the holes in the model "
            "(or save it as one solid) and save the mesh again"
        )
    turned = np.bincount(edge.ravel(), np.where(start < stop, 1.0, -1.0))
    crossed = int((turned != 0).sum())
    if crossed:
        raise ModelError(
            f"{path}: {crossed} edges join facets that face opposite ways; have all facets face "
            "outwards and save the mesh again"
        )
