"""Contact as plain data, in the job's unit: for JSON, CSV and the screen. Keys are kept stable."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from .engagement import BOTH, CLIMB, CONVENTIONAL
from .tool import zones_of

if TYPE_CHECKING:
    from . import Near, PassContact, WallRow
    from .along import Along
    from .floor import FloorRow, Patch

__all__ = ["LENGTHS", "STATION_KEYS", "pass_row", "station_rows"]

WORDS: Final = {CLIMB: "climb", CONVENTIONAL: "conventional", BOTH: "slot"}
STATION_KEYS: Final = (
    "s", "x", "y", "z", "line", "rapid", "met", "radial", "width", "axial", "engagement",
    "cut", "wall_right", "wall_left", "foot_right", "foot_left", "side_gap", "corner_bite",
    "floor_bite", "chip_peak", "chip_mean", "finished",
)  # fmt: skip
"""Keys of a station; walls and gaps below 0 are bites, floors above 0."""
LENGTHS: Final = frozenset(STATION_KEYS) - {"line", "rapid", "met", "engagement", "cut", "finished"}
"""Those that are lengths."""


def pass_row(p: PassContact, per: float, *, along: bool) -> dict[str, Any]:
    """Return one pass as plain data; `per`: mm in the unit."""
    taken = p.floor.taken
    row: dict[str, Any] = {
        "pass": p.info.number, "tool": p.info.tool, "name": p.info.name,
        "from_line": p.info.from_line, "to_line": p.info.to_line, "met": list(p.met),
        "cut": p.cut, "climb_share": p.climb_share,
        "radial": _pair(p.radial, per), "axial": _pair(p.axial, per),
        "width": _pair(p.width, per),
        "engagement": _pair(p.engagement, math.radians(1.0)), "chip": _pair(p.chip, per),
        "wall_bite": _pair(p.wall_bite, per), "corner_bite": p.corner_bite / per,
        "volume": {
            "bottom": taken.bottom / per**3, "corner": taken.corner / per**3,
            "side": taken.side / per**3, "total": taken.total / per**3,
            "error": taken.error / per**3,
        },
        "bottom": _patch(p.floor.bottom, per), "corner": _patch(p.floor.corner, per),
        "bottom_gap": _near(p.bottom_gap, per), "side_gap": _near(p.side_gap, per),
        "floors": [_floor(f, per) for f in p.floor.floors],
        "walls": [_wall(w, per) for w in p.walls],
        "length": p.length / per, "cutting_length": p.cutting_length / per,
        "air_length": p.air_length / per, "finished_length": p.finished_length / per,
        "rapid_cutting": p.rapid_cutting / per,
    }  # fmt: skip
    if along:
        row["along"] = station_rows(p.along, per)
    return row


def _pair(value: tuple[float, float] | None, per: float) -> dict[str, float] | None:
    return None if value is None else {"peak": value[0] / per, "mean": value[1] / per}


def _at(at: tuple[float, ...] | None, per: float) -> list[float] | None:
    return None if at is None else [v / per for v in at]


def _patch(p: Patch, per: float) -> dict[str, Any]:
    return {
        "area": p.area / per**2, "error": p.error / per**2, "peak": p.peak / per,
        "mean": p.mean / per, "at": _at(p.at, per),
    }  # fmt: skip


def _near(n: Near | None, per: float) -> dict[str, Any] | None:
    if n is None:
        return None
    return {
        "gap": n.gap / per, "to_pass": n.to_pass or None, "at": _at(n.at, per),
        "line": n.line or None,
    }  # fmt: skip


def _floor(f: FloorRow, per: float) -> dict[str, Any]:
    return {
        "into_pass": f.into_pass, "z": f.z / per, "tip_z": f.tip_z / per, "gap": f.gap / per,
        "area": f.area / per**2, "error": f.error / per**2, "at": _at(f.at, per), "line": f.line,
    }  # fmt: skip


def _wall(w: WallRow, per: float) -> dict[str, Any]:
    return {
        "into_pass": w.into_pass, "gap": w.gap / per,
        "foot_gap": w.foot_gap / per if math.isfinite(w.foot_gap) else None,
        "length": w.length / per, "cut_length": w.cut_length / per,
        "mean_bite": w.mean_bite / per, "at": _at(w.at, per), "line": w.line,
    }  # fmt: skip


def station_rows(a: Along, per: float) -> list[dict[str, Any]]:
    """Return the stations of a pass as plain data; `per`: mm in the unit."""

    def length(value: float) -> float | None:
        return float(value) / per if math.isfinite(value) else None

    rows = []
    for k in range(len(a)):
        right, left = (length(v) for v in a.wall[k])
        values = (
            length(a.s[k]), *(length(v) for v in a.tip[k]), int(a.line[k]), bool(a.rapid[k]),
            list(zones_of(int(a.zones[k]))), length(a.radial[k]), length(a.width[k]),
            length(a.axial[k]), math.degrees(a.engagement[k]), WORDS.get(int(a.cutting[k])),
            right, left, *(length(v) for v in a.foot[k]), length(a.gap[k]),
            length(a.corner_bite[k]), length(a.floor[k]), length(a.chip_peak[k]),
            length(a.chip_mean[k]), bool(a.finished[k]),
        )  # fmt: skip
        rows.append(dict(zip(STATION_KEYS, values, strict=True)))
    return rows
