"""Compares the rays of the code with the oracle's: ends, moves, labels, normals."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter

import numpy as np
from numpy.typing import NDArray
from oracle_rays import FACES, NOTHING, RAW, World
from proud.pieces import LABELS
from proud.rays import Metal

Floats = NDArray[np.float64]
NEAR = 1e-6
"""Agreement asked for along the ray, mm."""
SLIVER = 1e-6
"""Metal or gaps shorter than this along the ray may be there or not, mm."""


@dataclasses.dataclass
class Report:
    """What was compared: faults in words, counts of what was hit."""

    faults: list[str] = dataclasses.field(default_factory=list)
    counts: Counter[str] = dataclasses.field(default_factory=Counter)
    worst: float = 0.0

    def fault(self, what: str, ray: int, **more: object) -> None:
        self.faults.append(
            f"{what}, ray {ray}: " + ", ".join(f"{k}={v!r}" for k, v in more.items())
        )
        self.counts[f"fault: {what}"] += 1

    def join(self, other: Report, name: str) -> None:
        self.faults += [f"{name}: {f}" for f in other.faults]
        self.counts += other.counts
        self.worst = max(self.worst, other.worst)


def pairs(metal: Metal, ray: int) -> Floats:
    """Return a ray's intervals as rows of (enter, leave)."""
    mine = slice(int(metal.offsets[ray]), int(metal.offsets[ray + 1]))
    return np.c_[metal.enter[mine], metal.leave[mine]]


def hints_of(metal: Metal, rays: int) -> list[Floats]:
    """Return the middles of a ray's metal and gaps, and places just beside its ends."""
    hints = []
    for k in range(rays):
        ends = pairs(metal, k).ravel()
        middles = (ends[1:] + ends[:-1]) / 2
        hints.append(np.r_[middles, ends - 1e-3, ends + 1e-3, ends - 1e-5, ends + 1e-5])
    return hints


def without_slivers(ends: Floats, width: float = SLIVER) -> Floats:
    """Return intervals with short gaps closed and short metal left out."""
    if not len(ends):
        return ends
    gap = ends[1:, 0] - ends[:-1, 1] > width
    closed = np.c_[ends[np.r_[True, gap], 0], ends[np.r_[gap, True], 1]]
    return closed[closed[:, 1] - closed[:, 0] > width]


def metal_distance(world: World, points: Floats) -> Floats:
    """Return about how far points lie outside the metal; negative inside it."""
    return np.maximum(world.stock_distance(points), -world.distance(points))


def compare(
    metal: Metal,
    world: World,
    origins: Floats,
    ways: Floats,
    *,
    bound: Floats | float = 0.0,
    least_radius: float = 1.0,
    span: tuple[float, float] = (0.0, math.inf),
    names: NDArray[np.str_] | None = None,
    every: int = 1,
) -> Report:
    """Return how the code's rays differ from the oracle's.

    Parameters
    ----------
    bound
        How far along the normal the two may differ, beside `NEAR` along the ray, for each ray. A
        ray that differs more must be a grazing one: within `bound` and 4 ulp of the coordinates
        of the surface.
    least_radius
        Of arcs that are cut up; normals may turn by as much as a chord does.
    names
        Classes of the rays, to count.
    every
        The ends' move, label and normal are looked at on every so manyth ray.
    """
    report, n = Report(), len(origins)
    bound = np.broadcast_to(bound, n)
    names = np.full(n, "ray") if names is None else names
    expected = world.intervals(origins, ways, hints_of(metal, n), span=span)
    for k, want in enumerate(expected):
        got = pairs(metal, k)
        _check_order(report, k, got, span)
        a, b = without_slivers(got), without_slivers(want)
        same = a.shape == b.shape
        apart = float(np.abs(a - b).max(initial=0.0)) if same else math.inf
        if same and apart <= NEAR:
            report.counts["same"] += 1
            report.worst = max(report.worst, apart)
        else:
            report.counts["looked into"] += 1
            _near_surface(report, world, k, origins[k], ways[k], got, want, bound[k])
        word = "hit" if _is_cut(world, want, origins[k], ways[k]) else "miss"
        report.counts[f"{word} {names[k]}"] += 1
    ends = _Ends.of(metal)
    ends = ends.pick((ends.ray % every == 0) & (ends.length > SLIVER))
    if len(ends.at):
        turn = np.where(bound > 0, 3 * np.sqrt(2 * bound / least_radius), 0.0) + 1e-5
        _check_ends(report, ends, world, origins, ways, bound, turn, span, names)
    return report


def _is_cut(world: World, ends: Floats, origin: Floats, way: Floats) -> bool:
    """Whether the sweep took something off a ray: more than a whole chord of a convex stock."""
    if len(ends) != 1:
        return len(ends) > 1
    points = origin + ends.ravel()[:, None] * way
    return bool((np.abs(world.depth(points)[0]) < 1e-5).any())


def _check_order(report: Report, k: int, ends: Floats, span: tuple[float, float]) -> None:
    flat = ends.ravel()
    if not np.isfinite(flat).all() or (np.diff(flat) < 0).any():
        report.fault("ends out of order", k, ends=flat.tolist())
    elif len(flat) and not (span[0] <= flat[0] and flat[-1] <= span[1]):
        report.fault("ends out of the span", k, ends=flat.tolist())


def _near_surface(report, world, k, origin, way, got, want, bound) -> None:
    """Whoever is right where the two differ, the place must be on the surface but for a trifle."""
    cuts = np.unique(np.r_[got.ravel(), want.ravel()])
    parts = np.linspace(cuts[:-1], cuts[1:], 7)[1:-1].T.ravel()
    differ = parts[_covers(got, parts) != _covers(want, parts)]
    points = origin + differ[:, None] * way
    slack = bound + max(1e-12, 4 * np.spacing(np.abs(np.r_[origin, points.ravel()]).max()))
    far = np.abs(metal_distance(world, points)) if len(points) else np.empty(0)
    # Where something is cut up the distance is a first guess, several times too large near a
    # cove's ends: `test_split_coves_are_within_their_bound` holds the exact one.
    if len(far) and far.max() > slack * (10.0 if bound else 1.0):
        report.fault(
            "ends differ", k, origin=origin.tolist(), way=way.tolist(), got=got.ravel().tolist(),
            want=want.ravel().tolist(), off_surface=float(far.max()), slack=slack,
        )  # fmt: skip


def _covers(ends: Floats, at: Floats) -> NDArray[np.bool_]:
    return ((at[:, None] >= ends[:, 0]) & (at[:, None] <= ends[:, 1])).any(axis=1)


@dataclasses.dataclass(frozen=True)
class _Ends:
    """All ends of a `Metal` in one list."""

    ray: NDArray[np.int64]
    at: Floats
    move: NDArray[np.int32]
    label: NDArray[np.int8]
    normal: Floats
    length: Floats

    @classmethod
    def of(cls, metal: Metal) -> _Ends:
        ray = np.repeat(np.arange(len(metal.offsets) - 1), np.diff(metal.offsets))
        long = metal.leave - metal.enter
        return cls(
            np.r_[ray, ray],
            np.r_[metal.enter, metal.leave],
            np.r_[metal.enter_move, metal.leave_move],
            np.r_[metal.enter_label, metal.leave_label],
            np.r_[metal.enter_normal, metal.leave_normal],
            np.r_[long, long],
        )

    def pick(self, index: NDArray[np.bool_]) -> _Ends:
        return _Ends(*(getattr(self, f.name)[index] for f in dataclasses.fields(self)))


def _check_ends(report, ends, world, origins, ways, bound, turn, span, names) -> None:
    points = origins[ends.ray] + ends.at[:, None] * ways[ends.ray]
    masks, faces = world.touches(points, bound[ends.ray] * 1.02 + 3 * NEAR)
    steady, normals = _normals(world, points)
    raw_off = world.stock_distance(points)
    for i in range(len(points)):
        if ends.move[i] < 0:
            _check_raw(report, world, ends, i, raw_off[i], points[i], span)
            continue
        k = ends.ray[i]
        for f, word in enumerate(FACES):
            report.counts[f"{word} {names[k]}"] += int(faces[i] >> f & 1)
        about = {"at": float(ends.at[i]), "point": points[i].tolist(), "way": ways[k].tolist()}
        mask, label, sharp = int(masks[i, ends.move[i]]), int(ends.label[i]), False
        if mask.bit_count() > 1:
            sharp = True
            mask |= 1 << LABELS.index("corner")  # what a sharp edge leaves
        if not (0 <= label < len(LABELS) and mask >> label & 1):
            word = LABELS[label] if label >= 0 else "none"
            report.fault("label", k, got=word, may_be=_words(mask), move=int(ends.move[i]), **about)
            continue
        single = (masks[i] != 0).sum() == 1 and not sharp
        report.counts["one label" if single else "several labels"] += 1
        report.counts[f"made by {LABELS[label]}"] += 1
        _check_normal(report, ends, i, steady[i] and single, normals[i], turn[k], about)


def _words(mask: int) -> str:
    return " ".join(word for i, word in enumerate(LABELS) if mask >> i & 1)


def _check_raw(report, world, ends, i, off, point, span) -> None:
    report.counts["raw" if ends.move[i] == RAW else "cut off"] += 1
    if ends.label[i] != -1:
        report.fault("label of no tool", ends.ray[i], got=int(ends.label[i]))
    if ends.move[i] == NOTHING:
        if not np.isnan(ends.normal[i]).all() or ends.at[i] not in span:
            report.fault(
                "cut off", ends.ray[i], at=float(ends.at[i]), normal=ends.normal[i].tolist()
            )
        return
    step = 1e-6 * max(1.0, float(np.abs(point).max()) / 100)
    shifts = np.vstack([np.eye(3), -np.eye(3)]) * step
    slope = world.stock_distance(point + shifts)
    normal = (slope[:3] - slope[3:]) / (2 * step)
    size = float(np.linalg.norm(normal))
    bad = abs(size - 1) < 1e-6 and float(np.abs(normal / size - ends.normal[i]).max()) > 1e-5
    if abs(off) > NEAR or ends.move[i] != RAW or bad:
        report.fault(
            "raw end", ends.ray[i], off=float(off), move=int(ends.move[i]), point=point.tolist(),
            normal=ends.normal[i].tolist(), want=normal.tolist(),
        )  # fmt: skip


def _normals(world: World, points: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Return where a normal can be told from differences, and it: out of the metal."""
    fine, coarse = (-world.gradient(points, step) for step in (1e-6, 4e-6))
    length = np.linalg.norm(fine, axis=1)
    fine, coarse = (
        v / np.maximum(np.linalg.norm(v, axis=1), 1e-9)[:, None] for v in (fine, coarse)
    )
    steady = (np.abs(fine - coarse).max(axis=1) < 2e-6) & (length < 1e3) & (length > 0.5)
    return steady & (np.abs(points).max(axis=1) < 200), fine


def _check_normal(report, ends, i, steady, want, bound, about) -> None:
    got = ends.normal[i]
    if not abs(float(np.linalg.norm(got)) - 1.0) < 1e-9:
        report.fault("normal not of length 1", ends.ray[i], got=got.tolist(), **about)
    elif steady:
        report.counts["normals"] += 1
        off = float(np.abs(got - want).max())
        if off > bound:
            report.fault(
                "normal", ends.ray[i], got=got.tolist(), want=want.tolist(), off=off, **about
            )
