"""The saddle clamp's RS-274 program, tool by tool."""

from __future__ import annotations

import math
from collections.abc import Iterator

import saddle_design as d
from plan_paths import (
    Path,
    Point,
    inside_rectangle,
    inside_slot,
    lead_points,
    outside_rectangle,
    round_front,
)
from posting import Post, number

OFF_X = 1.4 + 0.1
"""How far out the small tools begin and end a line along X."""
COVE_STEP = 0.002
"""Arc length along the cove from one scallop pass to the next."""


def program(attempt: d.Try) -> str:
    """Return the whole program of one try."""
    post = Post(attempt.number, attempt.title.upper())
    post.raw("(INCH, CENTER LINE OF THE TOOL, Z0 ON THE FINISHED TOP)")
    for tool in d.TOOLS.values():
        post.raw(f"(T{tool.number} {tool.name.upper()})")
    post.raw("G20 G17 G40 G49 G80 G90 G94", "G91 G28 Z0.", "G90")
    _face(post)
    _rough_outside(post)
    _long_flat(post)
    _finish_outside(post, attempt)
    _slender_flat(post, attempt)
    _finish_relief(post, attempt)
    _cove(post, attempt)
    _holes(post)
    _chamfer(post)
    post.raw("M9", "M5", "G91 G28 Z0.", "G28 X0. Y0.", "G90", "M30", "%")
    return post.text()


def _begin(post: Post, tool_number: int, first: Point) -> d.DemoTool:
    tool = d.TOOLS[tool_number]
    post.tool(tool_number, tool.name, tool.spindle, first)
    return tool


# ------------------------------------------------------------------------- 1 face, 2 rough outside


def _face(post: Post) -> None:
    tool = _begin(post, 1, (2.0, 0.6))
    post.heading("FACE TOP")
    post.rapid(z=0.1)
    post.feed(z=0.0, f=tool.feed)
    for index, y in enumerate((0.6, 0.0, -0.6)):
        post.feed(y=y)
        post.feed(-2.0 if index % 2 == 0 else 2.0)


def cove_stairs() -> Iterator[tuple[float, float]]:
    """Yield tip and y of the axis of the cove's roughing steps.

    The rougher's corner circle keeps `COVE_SIDE` from the cove: its center lies on a circle about
    the cove's center.
    """
    tool = d.TOOLS[2]
    corner = tool.length("RE")
    reach = d.COVE_RADIUS - d.COVE_SIDE - corner
    for tip in d.COVE_TIPS:
        drop = d.COVE_CENTER_Z - (tip + corner)
        yield tip, d.COVE_FOOT_Y - math.sqrt(reach**2 - drop**2) + tool.radius - corner


def _rough_outside(post: Post) -> None:
    tool = _begin(post, 2, (1.9, 1.0))
    post.heading("ROUGH COVE")
    post.rapid(z=0.1)
    for index, (tip, y) in enumerate(cove_stairs()):
        post.rapid(y=y)
        post.feed(z=tip, f=tool.feed)
        post.feed(-1.9 if index % 2 == 0 else 1.9)
    post.heading("ROUGH SHOULDER")
    for tip in d.SHOULDER_TIPS:
        _round_boss(post, tool, d.SHOULDER_SIDE, tip)
    _back_floor(post, tool, d.BACK_GAP_ROUGH, d.SHOULDER + d.SHOULDER_BOTTOM)
    post.heading("ROUGH PROFILE UPPER")
    _profile_depths(post, tool, d.UPPER_SIDE, d.UPPER_TIPS)
    post.heading("ROUGH PROFILE LOWER")
    _profile_depths(post, tool, d.LOWER_SIDE, d.LOWER_TIPS)


def _round_boss(post: Post, tool: d.DemoTool, side: float, tip: float) -> None:
    """Run down the right of the boss, along the front and up the left, straight on and off."""
    way = round_front(d.BOSS_HALF_X, d.BOSS_FRONT_Y, d.BOSS_RADIUS, tool.radius + side, 1.35)
    post.over(way.start, 0.1)
    post.feed(z=tip, f=tool.feed)
    post.follow(way)


def _back_floor(post: Post, tool: d.DemoTool, gap: float, tip: float) -> None:
    """Clear the floor behind the cove; the flat end stops `gap` short of the cove's foot."""
    y = d.COVE_FOOT_Y + gap + tool.radius - tool.length("RE")
    post.over((-2.0, y), 0.1)
    post.feed(z=tip, f=tool.feed)
    post.feed(2.0)


def _profile_depths(post: Post, tool: d.DemoTool, side: float, tips: tuple[float, ...]) -> None:
    """Run round the part at each depth, led in and out at the back, where nobody looks."""
    for tip in tips:
        _profile(post, tool, side, tip, "back", 0.0)


def _profile(
    post: Post, tool: d.DemoTool, side: float, tip: float, lead: str, overlap: float
) -> None:
    at = (-0.3, 1.0) if lead == "back" else (0.35, -1.0)
    way = outside_rectangle(d.PROFILE_HALF, d.PROFILE_RADIUS, tool.radius + side, at)
    _closed(post, tool, way, tip, lead_radius=0.15, line=0.2, overlap=overlap, above=0.1)


def _closed(
    post: Post,
    tool: d.DemoTool,
    way: Path,
    tip: float,
    *,
    lead_radius: float,
    line: float,
    overlap: float,
    above: float,
) -> None:
    """Run round a closed way that starts along X, on and off by a line and a quarter circle."""
    along = math.copysign(1.0, way.steps[0].to[0] - way.start[0])
    start, _, center = lead_points(way.start, (along, 0.0), lead_radius)
    last = (way.start[0] + along * overlap, way.start[1])
    _, out, out_center = lead_points(last, (along, 0.0), lead_radius)
    away = math.copysign(1.0, start[1] - way.start[1])
    post.over((start[0], start[1] + away * line), above)
    post.feed(z=tip, f=tool.feed)
    if line:
        post.feed(*start)
    post.arc(way.start, center)
    post.follow(way)
    if overlap:
        post.feed(*last)
    post.arc(out, out_center)
    if line:
        post.feed(out[0], out[1] + away * line)


# ------------------------------------------------------------------------- 4 rough inside, window


def _long_flat(post: Post) -> None:
    tool = _begin(post, 4, (d.SLOT_ENDS[0], d.SLOT_Y))
    post.heading("ROUGH SLOT")
    _ramp_slot(post, tool, 0.02, d.SLOT_FLOOR + d.SLOT_BOTTOM, 7)
    post.heading("ROUGH WINDOW")
    _rough_window(post, tool)
    _rough_relief(post, tool)
    post.heading("WINDOW WALLS")
    for side in (d.WINDOW_SEMI, 0.0):
        way = inside_rectangle(d.WINDOW_CENTER, d.WINDOW_HALF, d.WINDOW_RADIUS, tool.radius + side)
        _closed(
            post,
            tool,
            way,
            d.WINDOW_WALL_TIP,
            lead_radius=0.03,
            line=0.0,
            overlap=d.LAP,
            above=d.WINDOW_ROUGH_FLOOR + 0.1,
        )


def _rough_relief(post: Post, tool: d.DemoTool) -> None:
    post.heading("ROUGH RELIEF")
    for tip in d.RELIEF_TIPS:
        _relief(post, tool, d.RELIEF_SIDE, tip)
    for tip in d.RELIEF_TIPS:
        _gap(post, tool, d.RELIEF_SIDE, tip)


def _ramp_slot(post: Post, tool: d.DemoTool, top: float, tip: float, legs: int) -> None:
    """Ramp to and fro along the slot's middle, then once level each way."""
    low, high = d.SLOT_ENDS
    post.over((low, d.SLOT_Y), top + 0.05)
    post.feed(z=top, f=tool.feed / 2)
    for leg in range(1, legs + 1):
        post.feed(high if leg % 2 else low, z=top + (tip - top) * leg / legs)
    post.feed(low if legs % 2 else high, f=tool.feed)
    post.feed(high if legs % 2 else low)


def _rough_window(post: Post, tool: d.DemoTool) -> None:
    """Helix down to each depth and open the window out to its allowance."""
    radius, levels, turns = d.WINDOW_HELIX, d.WINDOW_LEVELS, 4
    way = inside_rectangle(
        d.WINDOW_CENTER, d.WINDOW_HALF, d.WINDOW_RADIUS, tool.radius + d.WINDOW_SIDE
    )
    x, y = d.WINDOW_CENTER
    post.over((x + radius, y), 0.04)
    post.feed(z=0.02, f=tool.feed / 2)
    for turn in range(1, levels * turns + 1):
        z = 0.02 + (d.WINDOW_ROUGH_FLOOR - 0.02) * turn / (levels * turns)
        post.arc((x + radius, y), (x, y), z=z, f=tool.feed / 2)
        if turn % turns == 0:
            post.arc((x + radius, y), (x, y), f=tool.feed)
            post.feed(*way.start)
            post.follow(way)
            post.feed(x + radius, y)


# ----------------------------------------------------------------------------- 3 finish outside


def _finish_outside(post: Post, attempt: d.Try) -> None:
    tool = _begin(post, 3, (1.9, 1.35))
    if attempt.boss_together:
        post.heading("BOSS WALLS AND SHOULDER")
        _round_boss(post, tool, 0.0, d.SHOULDER)
        _back_floor(post, tool, d.BACK_GAP, d.SHOULDER)
    else:
        post.heading("SHOULDER FLOOR")
        _round_boss(post, tool, d.SHOULDER_SIDE + d.CLEARANCE, d.SHOULDER)
        _back_floor(post, tool, d.BACK_GAP, d.SHOULDER)
        post.heading("BOSS WALLS")
        _round_boss(post, tool, 0.0, d.SHOULDER + d.LIFT)
    tip = d.LEDGE + attempt.profile_above_ledge
    lead, overlap = attempt.profile_lead, attempt.profile_overlap
    if attempt.profile_semi is not None:
        post.heading("SEMI PROFILE")
        _profile(post, tool, attempt.profile_semi, tip, lead, overlap)
    post.heading("FINISH PROFILE")
    _profile(post, tool, 0.0, tip, lead, overlap)


# ------------------------------------------------------------------------ 5 slender flat, 6 relief


def relief_lines(tool: d.DemoTool, side: float) -> tuple[float, float]:
    """Return y of a tool's axis along the front and the back wall of the relief."""
    front, back = d.RELIEF_Y
    return front + tool.radius + side, back - tool.radius - side


def _finish_relief(post: Post, attempt: d.Try) -> None:
    tool = _begin(post, 6, (-OFF_X, d.RELIEF_Y[0]))
    post.heading("RELIEF FLOOR")
    _relief(post, tool, d.RELIEF_SIDE + d.CLEARANCE, d.RELIEF_FLOOR)
    post.heading("RELIEF WALLS" if attempt.gap_walls_own else "RELIEF AND GAP WALLS")
    _relief(post, tool, 0.0, d.RELIEF_FLOOR + d.LIFT)
    if not attempt.gap_walls_own:
        _gap(post, tool, 0.0, d.RELIEF_FLOOR + d.LIFT)


def _relief(post: Post, tool: d.DemoTool, side: float, tip: float) -> None:
    """Run along both walls of the relief, on and off past the ends of the part."""
    front, back = relief_lines(tool, side)
    post.over((-OFF_X, front), 0.1)
    post.feed(z=tip, f=tool.feed)
    post.feed(OFF_X)
    post.feed(y=back)
    post.feed(-OFF_X)


def _gap(post: Post, tool: d.DemoTool, side: float, tip: float) -> None:
    """Run in along the gap's right wall and out along its left one."""
    x = d.GAP_HALF_X - tool.radius - side
    post.over((x, -1.05), 0.1)
    post.feed(z=tip, f=tool.feed)
    post.feed(y=-0.31)
    post.feed(-x)
    post.feed(y=-1.05)


def _slender_flat(post: Post, attempt: d.Try) -> None:
    tool = _begin(post, 5, (d.SLOT_ENDS[0], d.SLOT_Y))
    if attempt.slot_together:
        post.heading("SLOT WALLS AND FLOOR")
        _slot_floor(post, tool, 0.0, d.LAP)
    else:
        post.heading("SLOT FLOOR")
        _slot_floor(post, tool, d.SLOT_SIDE + d.CLEARANCE)
        post.heading("SLOT WALLS")
        way = inside_slot(d.SLOT_ENDS, d.SLOT_Y, d.SLOT_HALF, tool.radius)
        _closed(
            post,
            tool,
            way,
            d.SLOT_FLOOR + d.LIFT,
            lead_radius=0.03,
            line=0.0,
            overlap=d.LAP,
            above=d.SLOT_FLOOR + 0.1,
        )
    post.heading("GAP FLOOR")
    _gap(post, tool, d.RELIEF_SIDE + d.CLEARANCE, d.RELIEF_FLOOR)
    if attempt.gap_walls_own:
        post.heading("GAP WALLS")
        _gap(post, tool, 0.0, d.RELIEF_FLOOR + d.LIFT)


def _slot_floor(post: Post, tool: d.DemoTool, side: float, lap: float = 0.0) -> None:
    """Ramp onto the floor along the middle and run once round, `lap` past the start."""
    middle = (d.SLOT_ENDS[0] + d.SLOT_ENDS[1]) / 2
    way = inside_slot(d.SLOT_ENDS, d.SLOT_Y, d.SLOT_HALF, tool.radius + side)
    post.over((middle - 0.3, d.SLOT_Y), d.SLOT_FLOOR + 0.06)
    post.feed(z=d.SLOT_FLOOR + 0.02, f=tool.feed)
    post.feed(middle, z=d.SLOT_FLOOR)
    post.feed(*way.start)
    post.follow(way)
    if lap:
        post.feed(way.start[0] + lap)
    post.feed(way.start[0] + lap, d.SLOT_Y)


# -------------------------------------------------------------- 7 cove, 8 and 9 holes, 10 chamfer


def cove_rows(radius: float) -> list[tuple[float, float]]:
    """Return y and z of a ball nose's tip for each scallop pass, from the top down to the floor."""
    reach = d.COVE_RADIUS - radius
    top = math.acos(d.COVE_CENTER_Z / d.COVE_RADIUS) + 0.02
    count = math.ceil(top * d.COVE_RADIUS / COVE_STEP)
    rows = []
    for index in range(count, -1, -1):
        angle = top * index / count
        y = d.COVE_FOOT_Y - reach * math.sin(angle)
        rows.append((y, d.COVE_CENTER_Z - reach * math.cos(angle) - radius))
    return rows


def _cove(post: Post, attempt: d.Try) -> None:
    """Scallop passes all one way, with the cove on the tool's right."""
    tool = d.TOOLS[7]
    rows = cove_rows(tool.radius)
    _begin(post, 7, (-OFF_X, rows[0][0]))
    post.heading("COVE")
    for y, z in rows:
        post.rapid(-OFF_X, y)
        post.rapid(z=0.06)
        post.feed(z=z + attempt.cove_error, f=tool.feed)
        post.feed(OFF_X)
        post.rapid(z=0.12)


def _holes(post: Post) -> None:
    tool = _begin(post, 8, d.HOLES[0])
    post.heading("SPOT HOLES")
    _cycle(post, f"G81 {{}} Z{d.SPOT_TIP} R-0.05 F{number(tool.feed)}")
    tool = _begin(post, 9, d.HOLES[0])
    post.heading("DRILL HOLES")
    _cycle(post, f"G83 {{}} Z{d.HOLE_TIP} R-0.05 Q{d.PECK} F{number(tool.feed)}")


def _cycle(post: Post, block: str) -> None:
    (x, y), *others = d.HOLES
    post.raw(f"G98 {block.format(f'X{x} Y{y}')}")
    post.raw(*(f"X{x}" for x, _ in others), "G80")


def _chamfer(post: Post) -> None:
    """Break the top edge of the boss at 45 degrees, on and off past the cove."""
    tool = d.TOOLS[10]
    way = round_front(d.BOSS_HALF_X, d.BOSS_FRONT_Y, d.BOSS_RADIUS, d.CHAMFER_GAP, 0.85)
    _begin(post, 10, way.start)
    post.heading("CHAMFER")
    post.over(way.start, 0.1)
    post.feed(z=d.chamfer_tip(), f=tool.feed)
    post.follow(way)
