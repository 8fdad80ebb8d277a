"""Times, cutting forces and deflection against hand values and printed tables."""

from __future__ import annotations

import math
from pathlib import Path

import proud
import pytest
from helpers_job import Nc, tool, write_job
from proud.findings.case import Case
from proud.mechanics import (
    deflection,
    hardens,
    metal_of,
    move_seconds,
    pass_load,
    pass_seconds,
    specific_force,
)


@pytest.mark.parametrize(
    ("material", "kc1", "mc", "kc"),
    [
        ("AISI 1022", 1500, 0.22, 2489.4),
        ("316L", 2150, 0.20, 3407.5),
        ("A356 cast", 800, 0.25, 1422.6),
        ("nickel alloy 718", 3300, 0.24, 5734.7),
    ],
)
def test_kc_of_a_chip_of_a_tenth(material: str, kc1: float, mc: float, kc: float) -> None:
    """Kc1 and mc as in a turning catalogue of 2017, p. 558, by VDI 3323 group; kc worked out."""
    metal = metal_of(material)
    assert metal is not None
    assert (metal.kc1, metal.mc) == (kc1, mc)
    assert specific_force(metal, 0.1) == pytest.approx(kc, abs=0.05)


@pytest.mark.parametrize(
    ("material", "says"),
    [
        ("4140", "steel of 0.5 % carbon, annealed"),
        ("4140 prehard", "steel of 0.5 % carbon, annealed"),
        ("alloy steel", "steel of 0.25 % carbon"),
        ("1018 steel", "mild or free-cutting steel"),
        ("mild steel", "mild or free-cutting steel"),
        ("12L14", "mild or free-cutting steel"),
        ("303 stainless", "austenitic stainless steel"),
        ("stainless", "austenitic stainless steel"),
        ("416 stainless", "high-alloy and tool steel"),
        ("stainless 17-4 PH", "high-alloy and tool steel"),
        ("1.4404", "austenitic stainless steel"),
        ("D2 tool steel", "high-alloy and tool steel"),
        ("D2, 60 HRC", "hardened steel"),
        ("Ti-6Al-4V", "titanium alloy"),
        ("6061-T6", "wrought aluminium"),
        ("aluminum 7075", "wrought aluminium"),
        ("grey iron", "cast iron"),
        ("GG25", "cast iron"),
    ],
)
def test_names_of_metals(material: str, says: str) -> None:
    """Which name belongs where: common practice, no source."""
    metal = metal_of(material)
    assert metal is not None
    assert metal.says == says


@pytest.mark.parametrize("material", [None, "", "brass 360", "acetal", "0.250 plate", "unknown"])
def test_what_is_not_known_is_none(material: str | None) -> None:
    assert metal_of(material) is None
    assert not hardens(material)


def test_which_metals_harden() -> None:
    """Common practice, no source."""
    assert [hardens(m) for m in ("304", "718", "titanium", "4140", "6061", "416")] == [
        *(True, True, True),
        *(False, False, False),
    ]


def test_deflection_of_a_long_end_mill() -> None:
    """Kops & Vo, CIRP Annals 1990: 0.8 of the diameter; worked: 100 N, 30 mm, D10, 600 GPa."""
    assert deflection(100, 30, 10) == pytest.approx(7.460e-3, abs=5e-7)
    assert deflection(100, 30, 10) / (100 * 30**3 * 64 / (3 * 600e3 * math.pi * 10**4)) == (
        pytest.approx(0.8**-4)
    )


def slot(folder: Path, machine: str = "", material: str = "1022") -> proud.Job:
    """Return a job: a slot 20 mm long with T1, the other way with T2, a dwell between."""
    nc = (
        Nc()
        .tool(1, "one")
        .raw("M3")
        .stroke((-10, 0, -2), (10, 0, -2))
        .tool(2, "two")
        .raw("M3")
        .down((-10, 5, -2))
    )
    nc.raw("G4 P1.5", "G1 X10 F300", "G4 P2000").up()
    stock = f'shape = "block"\nlow = [-20, -15, -12]\nhigh = [20, 15, 0]\nmaterial = "{material}"'
    tools = [tool(n, "flat", 6, LPR=30, ZEFF=2) + "\n" for n in (1, 2)]
    if machine:
        stock += f"\n\n[machine]\n{machine}"
    return write_job(folder, nc, tools, stock=stock)


def test_times(tmp_path: Path) -> None:
    """Feeds: 12 mm and 20 mm at F100; then 12 at F100, 20 at F300; dwells of 1.5 and 2 s."""
    job = slot(tmp_path, "rapid_rate = 6000\ntool_change_time = 5")
    moves, seconds = job.program.moves, move_seconds(job)
    assert seconds[~moves.rapid] == pytest.approx([7.2, 12.0, 7.2, 4.0])
    rapid = {n: seconds[moves.rapid & (moves.pass_number == n)].sum() for n in (1, 2)}
    # The rapid over to (-10, 5) goes 20 along X and 5 along Y at once: 20 / 6000 min.
    assert rapid[1] + rapid[2] == pytest.approx(60 * (12 + 20 + 12) / 6000)
    times = pass_seconds(job)
    assert times[1] == pytest.approx(19.2 + rapid[1])
    assert times[2] == pytest.approx(5 + 11.2 + 3.5 + rapid[2])


def test_usual_machine(tmp_path: Path) -> None:
    """10 m/min and 8 s, common practice, no source."""
    job = slot(tmp_path)
    assert job.spec.machine.rapid_rate == 10_000
    assert job.spec.machine.tool_change_time == 8


def test_load_of_a_slot(tmp_path: Path) -> None:
    """F = kc ap ae vf / (pi D n): power over cutting speed, as in a cutter catalogue of 2018."""
    job = slot(tmp_path)
    load = pass_load(Case(job, None), 1)  # type: ignore[arg-type]
    assert load is not None
    tooth = 100 / (1000 * 2)
    chip = tooth * 2 / math.pi  # mean over half a turn
    force = 1500 * chip**-0.22 * 2 * 6 * 100 / (math.pi * 6 * 1000)
    assert load.force == pytest.approx(force, rel=1e-6)
    assert load.deflection == pytest.approx(deflection(force, 30, 6))
    assert "1022" in load.says
    assert "carbide" in load.says


def skimmed(folder: Path, floor: float, corner: float = 0.0) -> proud.Job:
    """Return a job: a wall of 0.3 x 12 finished with D10, and `floor` of the ledge with it."""
    nc = Nc(clear=20).tool(1, "rough").raw("M3 S900", "F250")
    for z in (-6.0, floor - 12.0):
        nc.stroke((-15, 9.7, z), (95, 9.7, z))
    nc.tool(2, "finish").raw("M3 S2500").stroke((90, 15, -12), (-10, 15, -12))
    shape, words = ("bull", {"RE": corner}) if corner else ("flat", {})
    tools = [
        tool(1, "flat", 20, LPR=60, ZEFF=4) + "\n",
        tool(2, shape, 10, APMX=22, LPR=35, ZEFF=4, **words) + "\n",
    ]
    stock = 'shape = "block"\nlow = [0, 0, -25]\nhigh = [80, 40, 0]\nmaterial = "316"'
    return write_job(folder, nc, tools, stock=stock)


def by_hand(high: float, wide: float) -> float:
    """Return the mean force of a turn of that D10 in 316 (kc1 2150, mc 0.2), N.

    high, wide: of the layer beside it; F = kc1 h^(1 - mc) high * teeth, h = fz wide / (R arc).
    """
    arc = math.acos(1 - wide / 5)
    chip = 250 / (2500 * 4) * math.sin(arc) / arc if wide > 5 else 250 / 1e4 * wide / 5 / arc
    return 2150 * chip**0.8 * high * 4 * arc / math.tau


@pytest.mark.parametrize("floor", [0.0, 0.05, 0.2])
def test_a_skimmed_floor_is_no_wall(tmp_path: Path, floor: float) -> None:
    """The floor's thin layer goes over half a turn, the wall's height over its own arc: summed.

    By the wall's height over the floor's arc it would be 26 times as much (derived).
    """
    job = skimmed(tmp_path, floor)
    load = pass_load(Case(job, None), 2)  # type: ignore[arg-type]
    assert load is not None
    half = 250 / 1e4 * 2 / math.pi
    skim = 2150 * half**0.8 * floor * 4 / 2
    force = by_hand(12 - floor, 0.3) + skim
    assert load.force == pytest.approx(force, rel=5e-3)
    assert load.deflection == pytest.approx(deflection(force, 35, 10), rel=5e-3)


def test_a_corner_radius_in_a_skimmed_floor_thins_its_chip(tmp_path: Path) -> None:
    """At 0.05 over the tip of RE 1 the edge stands acos(0.95) off level: less than a flat one."""
    loads = []
    for corner in (0.0, 1.0):
        load = pass_load(Case(skimmed(tmp_path / f"{corner}", 0.05, corner), None), 2)  # type: ignore[arg-type]
        assert load is not None
        loads.append(load.force)
    assert by_hand(11.95, 0.3) < loads[1] < loads[0]


def test_no_load_without_a_known_metal(tmp_path: Path) -> None:
    assert pass_load(Case(slot(tmp_path, material="clay"), None), 1) is None  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", ["rapid_rate = 0", "tool_change_time = -1", "spindle = 3"])
def test_machine_is_checked(tmp_path: Path, bad: str) -> None:
    with pytest.raises(proud.BadInput, match="machine"):
        slot(tmp_path, bad)
