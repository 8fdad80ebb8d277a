"""Findings from outside: plain programs as a shop writes them, sizes by hand, no look at the rules.

Two parts in inches. The *shoulder*: a wall along X, roughed, its floor finished, then its wall. The
*profile*: a round about a block by G41, roughed in two depths, then finished, beyond the part's
bottom. The numbers of a job are thou unless said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from helpers_job import tool
from helpers_outside import Row, change_to, judged, mill, only, program, stroke

# ------------------------------------------------------------------------------------- the shoulder

SHOULDER = ((-0.8, -0.6, -0.5), (0.8, 0.6, 0.0))
DEEP = "top = 0\nbottom = -0.5"


def shoulder(
    aR: float = 10, bR: float = 8, aF: float = 10.5, lift: float = 0.3, *, last: int = 2,
    wall: bool = True,
) -> str:  # fmt: skip
    """T1 (R 250) leaves aR and bR; T2 (R 187.5) finishes the floor at aF; the wall at `lift`."""
    rough = stroke(-0.6, -0.2 + bR / 1000) + stroke(-0.25 - aR / 1000, -0.2 + bR / 1000)
    floor = stroke(-0.5, -0.2) + stroke(-0.1875 - aF / 1000, -0.2)
    side = stroke(-0.1875, -0.2 + lift / 1000) if wall else []
    head = change_to(last, "WALL") if last != 2 else ["(WALL)"]
    return program(
        change_to(1, "ROUGH"), rough, change_to(2, "FLOOR"), floor, head if wall else [], side
    )  # fmt: skip


def on_shoulder(folder: Path, RR: float = 45, RF: float = 15, **more: Any) -> list[Row]:
    words = {k: more.pop(k) for k in ("part", "pitch", "margins", "offsets", "show", "material")
             if k in more}  # fmt: skip
    tools = [mill(1, 0.5, RR), mill(2, 0.375, RF), mill(3, 0.375, RF)]
    low, high = SHOULDER
    text = shoulder(**more)
    return judged(folder, text, tools, **{"part": DEEP, **words}, low=low, high=high)


@pytest.mark.parametrize("pitch", [0.002, 0.005, 0.010])
def test_a_clean_shoulder_is_silent(tmp_path, pitch):
    assert on_shoulder(tmp_path, pitch=pitch) == []


PLANTED_SHOULDER = [
    # rule 1: aF - aR, above the rougher's RE; the cure leaves aR + 0.5
    ({"aF": 10}, "floor-touches-wall", 0.0, "spoils", 2, 0.0105, ("aF", 0.0)),
    ({"aF": 10.2}, "floor-touches-wall", 0.2, "watch", 2, 0.0105, ("aF", 0.0)),
    ({"aF": 8.5}, "floor-touches-wall", 1.5, "spoils", 2, 0.0105, ("aF", 0.0)),
    # rule 2: the floor stands at -0.2; the cure runs 0.3 over it
    ({"lift": 0}, "wall-drags-floor", 0.0, "spoils", 3, -0.1997, ("lift", 0.2)),
    ({"lift": 0.1}, "wall-drags-floor", 0.1, "watch", 3, -0.1997, ("lift", 0.2)),
    ({"lift": -0.6}, "wall-drags-floor", 0.6, "spoils", 3, -0.1997, ("lift", 0.2)),
    # another tool: two touch-offs
    ({"lift": 0.4, "last": 3}, "wall-drags-floor", 0.4, "note", 3, -0.199, ("lift", 0.2)),
    # a strip higher than 0.5 at the foot is a note
    ({"lift": 0.8}, "wall-drags-floor", 0.8, "note", 3, -0.1997, ("lift", 0.2)),
]


@pytest.mark.parametrize(("bad", "rule", "size", "severity", "number", "to", "cure"),
                         PLANTED_SHOULDER)  # fmt: skip
def test_one_mistake_on_the_shoulder(tmp_path, bad, rule, size, severity, number, to, cure):
    row = only(on_shoulder(tmp_path / "bad", **bad), rule, size / 1000, severity)
    assert (row["pass"], row["other_pass"]) == (number, number - 1)
    assert row["at"][1] == pytest.approx(0, abs=0.05)  # at the wall's foot
    assert row["change"]["to"] == pytest.approx(to, abs=1e-6)
    word, zero = cure
    fixed = {**bad, word: 1000 * (row["change"]["to"] + zero)}
    assert on_shoulder(tmp_path / "cured", **fixed) == []
    assert ("pushed off" in row["text"]) == (0 < size < 0.5)


@pytest.mark.parametrize("pitch", [0.002, 0.010])
def test_the_same_at_any_pitch(tmp_path, pitch):
    only(on_shoulder(tmp_path / "1", aF=8.5, pitch=pitch), "floor-touches-wall", 0.0015, "spoils")
    only(on_shoulder(tmp_path / "2", lift=-0.6, pitch=pitch), "wall-drags-floor", 0.0006, "spoils")


def test_a_height_register_drags_the_wall_pass(tmp_path):
    """1.2 over the floor by program, H3 2 low: 0.8 into it. The floor's own H moves both."""
    bad = {"lift": 1.2, "last": 3, "offsets": 'H3 = "-2 thou"'}
    row = only(on_shoulder(tmp_path / "bad", **bad), "wall-drags-floor", 0.0008, "spoils")
    assert row["change"]["what"] == "H3"
    assert row["change"]["from"] == pytest.approx(-0.002)
    assert on_shoulder(tmp_path / "cured", lift=1.2, last=3) == []
    assert on_shoulder(tmp_path / "both", offsets='H2 = "-2 thou"') == []


def test_wall_and_floor_in_one_bite(tmp_path):
    """Rule 4 with the floor: hypot(10 + 45 - 15, 8 + 45 - 15) - 30 = 25.17."""
    rows = on_shoulder(tmp_path, aF=0, wall=False)
    row = only(rows, "fillet-in-one-bite", (math.hypot(40, 38) - 30) / 1000, "watch")
    assert "10.00 thou on the wall" in row["text"]
    assert "8.00 thou of the floor" in row["text"]


@pytest.mark.parametrize(("margin", "bad"), [
    ('side_gap = "0.1 thou"', {"aF": 10.2}),
    ('bottom_gap = "0.05 thou"', {"lift": 0.1}),
    ('bottom_gap_other = "0.3 thou"', {"lift": 0.4, "last": 3}),
    ('foot_strip = "1 thou"', {"lift": 0.8}),
    ("fillet_bite = 3", {"aF": 0, "wall": False}),
])  # fmt: skip
def test_a_margin_of_the_job_silences(tmp_path, margin, bad):
    """Takes each of the planted jobs above, whose size is beyond the default margin alone."""
    assert on_shoulder(tmp_path / "default", **bad)
    assert [r for r in on_shoulder(tmp_path / "set", margins=margin, **bad)
            if r["severity"] != "note"] == []  # fmt: skip


def test_millimetres(tmp_path):
    """aR 0.25; the floor pass at 0.255 clears by 5 um; the wall pass 10 um into the floor."""

    def text(aF: float, lift: float) -> str:
        def along(y: float, z: float) -> list[str]:
            return [f"G0 X40 Y{y:.4f}", "G0 Z3.", f"G1 Z{z:.4f} F200", "G1 X-40. F600", "G0 Z20."]

        lines = ["G21 G17 G90 G40 G49", *change_to(1, "ROUGH")]
        lines += along(-15, -4.8) + along(-6.25, -4.8) + change_to(2, "FLOOR")
        lines += along(-13, -5) + along(-5 - aF, -5) + ["(WALL)"] + along(-5, -5 + lift)
        return "\n".join([*lines, "M30", ""]).replace("Z1.\n", "Z50.\n")

    tools = [tool(1, "bull", 12, RE=1.0), tool(2, "bull", 10, RE=0.5)]
    for aF, lift, rule, size, severity in (
        (0.263, 0.008, "", 0, ""),
        (0.255, 0.008, "floor-touches-wall", 0.005, "watch"),
        (0.263, -0.01, "wall-drags-floor", 0.010, "spoils"),
    ):
        rows = judged(
            tmp_path / f"{aF}{lift}", text(aF, lift), tools, part="top = 0\nbottom = -12",
            low=(-20, -15, -12), high=(20, 15, 0), pitch=0.1, unit="mm",
        )  # fmt: skip
        if rule:
            assert only(rows, rule, size, severity)["unit"] == "mm"
        else:
            assert rows == []


# -------------------------------------------------------------------------------------- the profile

PROFILE = ((-0.95, -0.65, -0.6), (0.95, 0.65, 0.0))
SCRAP = "top = 0\nbottom = -0.4"


def lap(
    register: int, z: float, allowance: float = 0.0, *, front: bool = False, overlap: float = 0.06,
    up: bool = False, wait: bool = False, name: str = "",
) -> list[str]:  # fmt: skip
    """Return a round of 1.5 by 0.9 in under G41, on by an arc at the middle of the back."""
    w, h, r = 0.75 + allowance / 1000, 0.45 + allowance / 1000, 0.3
    s = -1 if front else 1

    def at(x: float, y: float) -> str:
        return f"X{s * x:.5f} Y{s * y:.5f}"

    lines = [f"({name})"] if name else []
    lines += [f"G0 {at(-r, h + 2 * r + 0.05)}", "G0 Z0.1", f"G1 Z{z:.5f} F10"]
    lines += [f"G1 G41 D{register} {at(-r, h + r)} F15", f"G3 {at(0, h)} I{s * r:.5f} J0"]
    lines += [f"G1 {at(w, h)}", *(["G4 P0.5"] if wait else []), f"G1 {at(w, -h)}"]
    lines += [f"G1 {at(-w, -h)}", f"G1 {at(-w, h)}", f"G1 {at(overlap, h)}"]
    if up:
        return [*lines, "G0 Z0.5", "G40"]
    lines += [f"G3 {at(overlap + r, h + r)} I0 J{s * r:.5f}"]
    return [*lines, f"G1 G40 {at(overlap + r, h + 2 * r + 0.05)}", "G0 Z0.5"]


def on_profile(
    folder: Path, finish: Sequence[str] | None = None, *, ledge: float = -0.411,
    RR: float = 0, RF: float = 0, tools: Sequence[str] = (), **more: Any,
) -> list[Row]:  # fmt: skip
    """T1 leaves 10 thou and a ledge; `finish` by T2, else the clean one, 4 above that ledge."""
    rough = change_to(1, "ROUGH") + lap(1, -0.2, 10) + lap(1, ledge, 10)
    text = program(rough, change_to(2, "FINISH"), finish or lap(2, -0.407))
    low, high = PROFILE
    tools = tools or [mill(1, 0.5, RR), mill(2, 0.375, RF), mill(3, 0.375)]
    return judged(folder, text, tools, **{"part": SCRAP, **more}, low=low, high=high)


@pytest.mark.parametrize("more", [
    {"pitch": 0.002}, {"pitch": 0.010}, {"show": "-y"}, {"RR": 30, "RF": 30}, {"RR": 30, "RF": 45},
    # a semi-finish takes the fillet; a lap on the show side that the last one cuts away
    {"RR": 45, "RF": 15, "finish": lap(2, -0.407, 2) + lap(2, -0.407, name="LAST")},
    {"show": "-y", "finish": lap(2, -0.407, 3, front=True) + lap(2, -0.407, name="LAST")},
    # a spring pass, whose lead takes nothing; in 6061 it may rub
    {"show": "-y", "material": "6061", "finish": lap(2, -0.407) + lap(2, -0.407, name="SPRING")},
    # depths staggered on purpose, taken in one; a line between depths below the part
    {"finish": lap(2, -0.2, 3) + lap(2, -0.407, 5) + lap(2, -0.407, name="LAST")},
    {"finish": lap(2, -0.403) + lap(2, -0.407, 2, name="SCRAP")},
    {"finish": lap(2, -0.407, front=True)},  # nobody looks
])  # fmt: skip
def test_clean_profiles(tmp_path, more):
    assert on_profile(tmp_path, **more) == []


@pytest.mark.parametrize(("z", "size", "severity", "says"), [
    (-0.4134, 2.4, "watch", "scrap"), (-0.4104, 0.6, "note", "one touch-off away"),
    (-0.4095, 1.5, "note", ""), (-0.411, 0.0, "note", "right on the flat"),
])  # fmt: skip
def test_a_finisher_at_the_ledge(tmp_path, z, size, severity, says):
    """The ledge lies at -0.411; 4 over it the finisher still goes 7 below the part."""
    rows = on_profile(tmp_path / "bad", lap(2, z))
    row = only(rows, "finisher-cuts-ledge", size / 1000, severity)
    assert says in row["text"] + row["why"]
    assert (row["pass"], row["other_pass"]) == (2, 1)
    assert row["change"]["to"] == pytest.approx(-0.407)
    program_lines = (tmp_path / "bad" / "op1.nc").read_text().split("\n")
    said = re.fullmatch(r"Z of pass 2, line (\d+)", row["change"]["what"])
    assert said  # the line where that Z stands
    assert program_lines[int(said[1]) - 1] == f"G1 Z{z:.5f} F10"
    assert on_profile(tmp_path / "cured", lap(2, row["change"]["to"])) == []


@pytest.mark.parametrize(("register", "error"), [("H1", 5.3), ("H2", -5.3)])
def test_a_height_register_cuts_the_ledge(tmp_path, register, error):
    """4 free by program; 5.3 the wrong way cuts 1.3."""
    rows = on_profile(tmp_path, offsets=f'{register} = "{error} thou"')
    row = only(rows, "finisher-cuts-ledge", 0.0013, "watch")
    assert row["change"]["what"] == register
    assert (row["change"]["from"], row["change"]["to"]) == (pytest.approx(error / 1000), 0)


def test_a_ledge_left_proud(tmp_path):
    """The rougher stops 6 above the part's bottom."""
    row = only(on_profile(tmp_path, lap(2, -0.390), ledge=-0.394), "ledge-left", 0.006, "spoils")
    assert row["change"]["to"] == pytest.approx(-0.404)


@pytest.mark.parametrize(("RR", "RF"), [(45, 15), (45, 0), (60, 30)])
def test_a_fillet_in_one_bite(tmp_path, RR, RF):
    """hypot(aR + RR - RF, RR - RF - lift) - (RR - RF), with 10 on the wall and 4 over the ledge."""
    bite = math.hypot(10 + RR - RF, RR - RF - 4) - (RR - RF)
    row = only(on_profile(tmp_path / "bad", RR=RR, RF=RF), "fillet-in-one-bite", bite / 1000,
               "watch")  # fmt: skip
    assert row["change"]["to"] == pytest.approx(0.002)
    split = lap(2, -0.407, 1000 * row["change"]["to"]) + lap(2, -0.407, name="LAST")
    assert on_profile(tmp_path / "cured", split, RR=RR, RF=RF) == []


def test_leads_that_are_seen_or_worse(tmp_path):
    """The finisher takes 10 off the wall where it comes on; a table row alone at the back."""
    row = only(on_profile(tmp_path / "1", lap(2, -0.407, front=True), show="-y"), "lead-mark",
               0.010, "watch")  # fmt: skip
    assert row["at"][:2] == pytest.approx([0, -0.45], abs=0.01)
    assert row["change"]["to"] == "X0.0000 Y0.6375"  # R 0.1875 behind the back
    row = only(on_profile(tmp_path / "2", lap(2, -0.407, up=True)), "lead-mark", 0.4, "watch")
    assert row["at"][:2] == pytest.approx([0.06, 0.45], abs=0.01)
    only(on_profile(tmp_path / "3", lap(2, -0.407, overlap=0.0)), "lead-mark", 0.0, "note")


def test_a_dwell_where_the_control_looks_ahead(tmp_path):
    """Under G41 the move before G4 hangs on the next one: it is the right corner that waits."""
    row = only(on_profile(tmp_path, lap(2, -0.407, wait=True)), "lead-mark", 0.5, "watch")
    assert row["unit"] == "s"
    assert row["at"][:2] == pytest.approx([0.75, 0.45], abs=0.002)


@pytest.mark.parametrize("step", [0.6, 2.0])
def test_a_line_between_two_depths(tmp_path, step):
    """Square to the wall: at the sharp corners it is sqrt(2) times as much, and no face."""
    finish = lap(2, -0.2, name="UP") + lap(2, -0.407, step, name="DOWN")
    row = only(on_profile(tmp_path, finish), "depth-line", step / 1000, "spoils")
    assert (row["pass"], row["other_pass"]) == (3, 2)
    assert row["at"][2] == pytest.approx(-0.2, abs=0.001)
    assert row["change"]["to"] == pytest.approx(-step / 1000)


def test_a_line_of_less_than_half_a_thou_is_none(tmp_path):
    finish = lap(2, -0.2, name="UP") + lap(2, -0.407, 0.4, name="DOWN")
    assert on_profile(tmp_path, finish) == []


def test_a_spring_pass_in_a_metal_that_hardens(tmp_path):
    finish = lap(2, -0.407) + lap(2, -0.407, name="SPRING")
    (row,) = on_profile(tmp_path, finish, material="304")
    assert (row["rule"], row["pass"], row["other_pass"]) == ("spring-pass", 3, 2)
    assert "estimated" in row["text"] + row["sure"]


def test_the_wrong_way_round_is_a_note(tmp_path):
    back = [
        "G0 X0.3 Y1.1", "G0 Z0.1", "G1 Z-0.407 F10", "G1 G42 D2 X0.3 Y0.75 F15",
        "G2 X0 Y0.45 I-0.3 J0", "G1 X-0.75", "G1 Y-0.45", "G1 X0.75", "G1 Y0.45", "G1 X-0.06",
        "G2 X-0.36 Y0.75 I0 J0.3", "G1 G40 Y1.1", "G0 Z0.5",
    ]  # fmt: skip
    (row,) = on_profile(tmp_path, back)
    assert (row["rule"], row["severity"]) == ("cut-direction", "note")


# -------------------------------------------------------------------------- behind the edges, jaws


def staggered(
    folder: Path, upper: float, lower: float, apmx: float, zu: float = -0.3, corner: float = 60
) -> list[Row]:
    """T1, RE 60, shank as thick as its edges: 0.3 deep, then 0.6."""
    steps = change_to(1, "UPPER") + lap(1, zu / 2, upper) + lap(1, zu, upper)
    steps += ["(LOWER)", *lap(1, -0.45, lower), *lap(1, -0.6, lower)]
    tools = [mill(1, 0.5, corner, APMX=apmx), mill(2, 0.375, corner)]
    text = program(steps, change_to(2, "FINISH"), lap(2, -0.596))
    part = "top = 0\nbottom = -0.59"
    low, high = (*PROFILE[0][:2], -0.8), PROFILE[1]
    return judged(folder, text, tools, part=part, low=low, high=high)


def test_staggered_allowances(tmp_path):
    """3 free with 60 of overlap; with v = 60 - overlap 60 - hypot(57, v): 2.13 at 50, 0 at 41.3."""
    assert staggered(tmp_path / "60", 7, 10, 0.36) == []
    assert staggered(tmp_path / "50", 7, 10, 0.35) == []
    free = 60 - math.hypot(57, 60 - 41.3)
    only(staggered(tmp_path / "41", 7, 10, 0.3413), "shank-rub", free / 1000, "watch")
    row = only(staggered(tmp_path / "0", 10, 10, 0.36), "shank-rub", 0.0, "stop")
    assert row["change"]["to"] == pytest.approx(0.003, abs=1e-5)
    assert (row["pass"], row["other_pass"]) == (2, 1)


def test_a_fillet_that_the_level_above_has_trimmed(tmp_path):
    """35 of overlap: the first lower level cuts the fillet to its own wall, where the shank rubs.

    No allowance helps; the upper depth, 25 lower, has 60 of overlap.
    """
    row = only(staggered(tmp_path / "bad", 7, 10, 0.335), "shank-rub", 0.0, "stop")
    assert row["other_pass"] == 1
    assert row["change"]["what"] == "lowest Z of pass 1"
    assert row["change"]["to"] == pytest.approx(-0.325, abs=1e-6)
    assert staggered(tmp_path / "cured", 7, 10, 0.335, zu=row["change"]["to"]) == []


@pytest.mark.parametrize(("words", "rule", "size"), [
    ({"LPR": 0.42, "APMX": 0.41}, "", 0),  # 13 over the block's top, 407 below which it cuts
    ({"LPR": 0.412, "APMX": 0.41}, "holder-rub", 5),
    ({"APMX": 0.3}, "cuts-above-length", 107),
])  # fmt: skip
def test_behind_the_edges(tmp_path, words, rule, size):
    tools = [mill(1, 0.5), mill(2, 0.375, **words)]
    rows = on_profile(tmp_path, tools=tools)
    if rule:
        severity = "watch" if rule == "holder-rub" else "stop"
        only(rows, rule, size / 1000, severity)
    else:
        assert rows == []


@pytest.mark.parametrize(("top", "rule", "size", "severity"), [
    (-0.425, "", 0, ""), (-0.420, "fixture-near", 9, "watch"),
    (-0.408, "fixture-near", -3, "stop"), (-0.55, "short-grip", 50, "watch"),
])  # fmt: skip
def test_jaws(tmp_path, top, rule, size, severity):
    """The lowest tip is at -0.411; the block stands 0.6 deep."""
    boxes = "".join(
        f'\n[[setups.fixture]]\nname = "{name}"\nlow = [-0.9, {low}, -1.4]\n'
        f"high = [0.9, {low + 1}, {top}]\n"
        for name, low in (("front jaw", -1.65), ("back jaw", 0.65))
    )
    rows = on_profile(tmp_path, setup=boxes)
    if not rule:
        assert rows == []
        return
    row = only(rows, rule, size / 1000, severity)
    if severity == "stop":
        assert "T2" not in row["text"] or "near: T2" in row["text"]  # T2 is 1 thou over them
