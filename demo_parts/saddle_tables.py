"""The saddle clamp's job files and its pass list, as TOML."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import saddle_design as d
from plan_paths import Path, round_front
from saddle_program import OFF_X, cove_rows, cove_stairs

Pass = dict[str, Any]


class Bare(str):
    """A text that stands in the file as it is."""


def value(item: Any) -> str:
    """Return a value as TOML: numbers to 1e-6, tables in one line."""
    if isinstance(item, Bare):
        return str(item)
    if isinstance(item, bool):
        return "true" if item else "false"
    if isinstance(item, str):
        return f'"{item}"'
    if isinstance(item, int):
        return str(item)
    if isinstance(item, float):
        return repr(round(item, 6) + 0.0)
    if isinstance(item, dict):
        return "{ " + ", ".join(f"{k} = {value(v)}" for k, v in item.items()) + " }"
    return "[" + ", ".join(value(v) for v in item) + "]"


def table(head: str, entries: dict[str, Any]) -> str:
    """Return a table of a TOML file."""
    return "\n".join([head, *(f"{k} = {value(v)}" for k, v in entries.items())]) + "\n"


def thou(inches: float) -> str:
    """Return a small length as a text in thou."""
    return f"{round(inches / d.THOU, 4):g} thou"


# ------------------------------------------------------------------------------------------- job


def job(attempt: d.Try, key: str, file: str) -> str:
    """Return a job file; `key` is ``program`` or ``passes``."""
    h6 = thou(attempt.h6_error)
    parts = [
        table("[job]", {"title": attempt.title, "unit": "in"}),
        table(
            "[stock]",
            {"shape": "block", "low": d.STOCK_LOW, "high": d.STOCK_HIGH, "material": "4140"},
        ),
        table("[part]", {"model": "part.stl", "tolerance": 0.005}),
        table("[[show]] # people look at the front", {"direction": "-y"}),
        table("[grid]", {"pitch": d.PITCH}),
        table("[offsets] # value in the register less the true one", {"H6": h6}),
        *(_tool(tool) for tool in d.TOOLS.values()),
        table("[[setups]]", {"name": "first side", key: file}),
        *(table("[[setups.fixture]]", jaw) for jaw in _jaws()),
    ]
    return "\n".join(parts)


def _tool(tool: d.DemoTool) -> str:
    entries = {"number": tool.number, "name": tool.name, "shape": tool.shape, "DC": tool.DC}
    entries |= dict(tool.lengths)
    entries |= {"ZEFF": tool.flutes, "holder": tool.holder}
    return table("[[tools]]", entries)


def _jaws() -> Iterable[dict[str, Any]]:
    (x0, y0, _), (x1, y1, _) = d.STOCK_LOW, d.STOCK_HIGH
    for name, low, high in (("front jaw", y0 - 1.0, y0), ("back jaw", y1, y1 + 1.0)):
        yield {
            "name": name,
            "low": (x0 + 0.2, low, d.JAW_TOP - 1.2),
            "high": (x1 - 0.2, high, d.JAW_TOP),
        }


# ------------------------------------------------------------------------------------- pass list


def pass_list(attempt: d.Try) -> str:
    """Return the pass list that does what the program does."""
    passes = [
        *_rough_outside(),
        *_long_flat(),
        *_finish_outside(attempt),
        *_slender_flat(attempt),
        *_finish_relief(attempt),
        *_last(attempt),
    ]
    head = f"# {attempt.title}: the program's passes, written by hand. Lengths in inches.\n\n"
    return head + "\n".join(table("[[passes]]", p) for p in passes)


def _pass(name: str, number: int, operation: str, **more: Any) -> Pass:
    tool = d.TOOLS[number]
    head = {"name": name, "tool": number, "operation": operation}
    return head | {"feed": tool.feed, "spindle": tool.spindle} | more


def _levels(top: float, depth: float, bottom: float, left: float = 0.0) -> Pass:
    """Return the keys of a pass that goes down in levels."""
    keys: Pass = {"top": top, "bottom": bottom}
    if left:
        keys["allowance_bottom"] = thou(left)
    return keys | {"axial_cutting_depth": depth}


def _arc(radius: float) -> Pass:
    return {"kind": "arc", "radius": radius}


def _profile(side: float, start: Sequence[float], overlap: float = 0.0) -> Pass:
    (x, y), r = d.PROFILE_HALF, d.PROFILE_RADIUS
    keys: Pass = {
        "side": "outside",
        "rectangle": {"low": (-x, -y), "high": (x, y), "corner_radius": r},
        "start": start,
        "allowance_side": thou(side),
        "approach": _arc(0.15),
    }
    return keys | ({"overlap": overlap} if overlap else {})


def _points(way: Path) -> list[Any]:
    """Return a clockwise way as the points of a contour."""
    steps = (
        step.to if step.center is None else {"to": step.to, "center": step.center, "turn": "cw"}
        for step in way.steps
    )
    return [way.start, *steps]


def _boss(side: float, back_y: float | None = None) -> Pass:
    """Return the contour of the boss: open at the back, or closed along a line at `back_y`."""
    way = round_front(d.BOSS_HALF_X, d.BOSS_FRONT_Y, d.BOSS_RADIUS, 0.0, back_y or 1.35)
    return {
        "side": "left",
        "points": _points(way),
        "closed": back_y is not None,
        "allowance_side": thou(side),
    }


def _rough_outside() -> Iterable[Pass]:
    (x0, y0, _), (x1, y1, top) = d.STOCK_LOW, d.STOCK_HIGH
    yield _pass(
        "FACE TOP",
        1,
        "face",
        rectangle={"low": (x0, y0), "high": (x1, y1)},
        top=top,
        bottom=0.0,
        radial_cutting_depth=0.6,
    )
    strokes = [((-1.9, y, tip), (1.9, y, tip)) for tip, y in cove_stairs()]
    yield _pass("ROUGH COVE", 2, "path", strokes=strokes)
    side, corner = d.SHOULDER_SIDE, d.TOOLS[2].length("RE")
    back = d.COVE_FOOT_Y + d.BACK_GAP_ROUGH - corner - side
    down = _levels(0.0, -d.SHOULDER_TIPS[0], d.SHOULDER, d.SHOULDER_BOTTOM)
    yield _pass("ROUGH SHOULDER", 2, "contour", **_boss(side, back), **down)
    start = (-0.3, d.PROFILE_HALF[1])
    down = _levels(-0.17, 0.15, d.UPPER_DEPTH)
    yield _pass("ROUGH PROFILE UPPER", 2, "contour", **_profile(d.UPPER_SIDE, start), **down)
    down = _levels(-0.48, 0.14, d.LEDGE)
    yield _pass("ROUGH PROFILE LOWER", 2, "contour", **_profile(d.LOWER_SIDE, start), **down)


def _slot() -> Pass:
    low, high = d.SLOT_ENDS
    ends = {"from": (low, d.SLOT_Y), "to": (high, d.SLOT_Y)}
    return {"slot": ends | {"width": 2 * d.SLOT_HALF}}


def _window() -> Pass:
    (x, y), (a, b) = d.WINDOW_CENTER, d.WINDOW_HALF
    box = {"low": (x - a, y - b), "high": (x + a, y + b), "corner_radius": d.WINDOW_RADIUS}
    return {"rectangle": box}


def _long_flat() -> Iterable[Pass]:
    low, high = d.SLOT_ENDS
    points = [(low, d.SLOT_Y), (high, d.SLOT_Y)]
    down = _levels(0.0, 0.065, d.SLOT_FLOOR, d.SLOT_BOTTOM)
    ramp = {"approach": {"kind": "ramp", "angle": 3.0}}
    yield _pass("ROUGH SLOT", 4, "contour", side="on", points=points, **down, **ramp)
    top = d.STOCK_HIGH[2]
    down = _levels(top, (top - d.WINDOW_ROUGH_FLOOR) / d.WINDOW_LEVELS, d.WINDOW_ROUGH_FLOOR)
    yield _pass(
        "ROUGH WINDOW",
        4,
        "pocket",
        **_window(),
        **down,
        allowance_side=thou(d.WINDOW_SIDE),
        radial_cutting_depth=0.04,
        approach={"kind": "helix", "radius": d.WINDOW_HELIX, "angle": 6.0},
    )
    side = thou(d.RELIEF_SIDE)
    down = _levels(0.0, -d.RELIEF_TIPS[0], d.RELIEF_FLOOR, d.RELIEF_BOTTOM)
    yield _pass("ROUGH RELIEF", 4, "contour", **_relief_contour(True), allowance_side=side, **down)
    yield _pass(
        "WINDOW WALLS",
        4,
        "contour",
        side="inside",
        **_window(),
        top=d.WINDOW_ROUGH_FLOOR + 0.1,
        bottom=d.WINDOW_WALL_TIP,
        radial_cutting_depth=thou(d.WINDOW_SEMI),
        radial_passes=2,
        overlap=d.LAP,
        approach=_arc(0.03),
    )


def _finish_outside(attempt: d.Try) -> Iterable[Pass]:
    together, corner = attempt.boss_together, d.TOOLS[3].length("RE")
    side = 0.0 if together else d.SHOULDER_SIDE + d.CLEARANCE
    contour = _boss(side, d.COVE_FOOT_Y + d.BACK_GAP - corner - side)
    name = "BOSS WALLS AND SHOULDER" if together else "SHOULDER FLOOR"
    yield _pass(name, 3, "contour", **contour, top=0.0, bottom=d.SHOULDER)
    if not together:
        lifted = {"top": 0.0, "bottom": d.SHOULDER, "allowance_bottom": thou(d.LIFT)}
        yield _pass("BOSS WALLS", 3, "contour", **_boss(0.0), **lifted)
    back = attempt.profile_lead == "back"
    start = (-0.3, d.PROFILE_HALF[1]) if back else (0.35, -d.PROFILE_HALF[1])
    down = {"top": 0.0, "bottom": d.LEDGE, "allowance_bottom": thou(attempt.profile_above_ledge)}
    lap = attempt.profile_overlap
    if attempt.profile_semi is not None:
        semi = _profile(attempt.profile_semi, start, lap)
        yield _pass("SEMI PROFILE", 3, "contour", **semi, **down)
    yield _pass("FINISH PROFILE", 3, "contour", **_profile(0.0, start, lap), **down)


def _relief_contour(gap: bool) -> Pass:
    """Return the relief's walls as one way, with the gap's where it opens into the front wall."""
    front, back = d.RELIEF_Y
    x = d.GAP_HALF_X
    mouth = [(-x, front), (-x, -1.05), (x, -1.05), (x, front)] if gap else []
    ends = [(OFF_X, front), (OFF_X, back), (-OFF_X, back)]
    return {"side": "left", "points": [(-OFF_X, front), *mouth, *ends]}


def _gap_contour() -> Pass:
    x = d.GAP_HALF_X
    return {"side": "left", "points": [(-x, -0.31), (-x, -1.05), (x, -1.05), (x, -0.31)]}


def _finish_relief(attempt: d.Try) -> Iterable[Pass]:
    floor = {"top": 0.0, "bottom": d.RELIEF_FLOOR}
    side = {"allowance_side": thou(d.RELIEF_SIDE + d.CLEARANCE)}
    yield _pass("RELIEF FLOOR", 6, "contour", **_relief_contour(False), **floor, **side)
    lift = {"allowance_bottom": thou(d.LIFT)}
    own = attempt.gap_walls_own
    name = "RELIEF WALLS" if own else "RELIEF AND GAP WALLS"
    yield _pass(name, 6, "contour", **_relief_contour(not own), **floor, **lift)


def _slender_flat(attempt: d.Try) -> Iterable[Pass]:
    near = {"side": "inside", "top": d.SLOT_FLOOR + 0.06, "bottom": d.SLOT_FLOOR}
    arc = {"approach": _arc(0.03)}
    if attempt.slot_together:
        lap = {"overlap": d.LAP}
        yield _pass("SLOT WALLS AND FLOOR", 5, "contour", **_slot(), **near, **lap, **arc)
    else:
        side = {"allowance_side": thou(d.SLOT_SIDE + d.CLEARANCE)}
        small = {"approach": _arc(0.025)}
        yield _pass("SLOT FLOOR", 5, "contour", **_slot(), **near, **side, **small)
        lift = {"allowance_bottom": thou(d.LIFT), "overlap": d.LAP}
        yield _pass("SLOT WALLS", 5, "contour", **_slot(), **near, **lift, **arc)
    side = {"allowance_side": thou(d.RELIEF_SIDE + d.CLEARANCE)}
    floor = {"top": 0.0, "bottom": d.RELIEF_FLOOR}
    yield _pass("GAP FLOOR", 5, "contour", **_gap_contour(), **floor, **side)
    if attempt.gap_walls_own:
        lift = {"allowance_bottom": thou(d.LIFT)}
        yield _pass("GAP WALLS", 5, "contour", **_gap_contour(), **floor, **lift)


def _last(attempt: d.Try) -> Iterable[Pass]:
    rows = ((y, z + attempt.cove_error) for y, z in cove_rows(d.TOOLS[7].radius))
    strokes = [((-OFF_X, y, z), (OFF_X, y, z)) for y, z in rows]
    lines = "".join(f"    {value(stroke)},\n" for stroke in strokes)
    yield _pass("COVE", 7, "path", strokes=Bare(f"[\n{lines}]"))
    holes = {"points": d.HOLES, "top": d.RELIEF_FLOOR}
    yield _pass("SPOT HOLES", 8, "drill", **holes, bottom=d.SPOT_TIP)
    pecks = {"bottom": d.HOLE_TIP, "axial_cutting_depth": d.PECK}
    yield _pass("DRILL HOLES", 9, "drill", **holes, **pecks)
    way = round_front(d.BOSS_HALF_X, d.BOSS_FRONT_Y, d.BOSS_RADIUS, d.CHAMFER_GAP, 0.85)
    keys = {"side": "on", "points": _points(way), "bottom": d.chamfer_tip()}
    yield _pass("CHAMFER", 10, "contour", **keys)
