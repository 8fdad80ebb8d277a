"""Time, cutting force and deflection: estimates, each with what it is estimated from.

Nothing here is exact, and nothing exact depends on it: times leave out how machines speed up and
slow down, forces come from a table by kind of metal, and a tool bends as a plain round bar.
"""

from __future__ import annotations

import dataclasses
import math
import re
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from .contact.bands import Bands
    from .findings.case import Case
    from .job import Job

__all__ = [
    "CARBIDE",
    "METALS",
    "Load",
    "Metal",
    "deflection",
    "hardens",
    "metal_of",
    "move_seconds",
    "pass_load",
    "pass_seconds",
    "side_forces",
    "specific_force",
]

Floats = NDArray[np.float64]

CARBIDE: Final = 600e3
"""Young's modulus of solid carbide, N/mm^2; a handbook value, from memory. Tools are taken for it.
"""
STIFF: Final = 0.8
"""A fluted bar bends as a round bar of this share of its diameter: Kops & Vo, CIRP Annals 1990."""


@dataclasses.dataclass(frozen=True)
class Metal:
    """A kind of metal as cutting forces go.

    Attributes
    ----------
    says : str
        What it is.
    kc1 : float
        Specific cutting force at a chip 1 mm thick, N/mm^2.
    mc : float
        How it falls with the chip: kc = kc1 h^-mc.
    hardens : bool
        It work-hardens: an edge that rubs leaves a hard skin. Common practice, no source.
    words : str
        A pattern that names of such metals in ``[stock] material`` match.
    """

    says: str
    kc1: float
    mc: float
    hardens: bool
    words: str


METALS: Final = (
    Metal("titanium alloy", 1700, 0.23, True, r"titan\w*|ti-?6al.*|3\.7\d{3}"),
    Metal(
        "nickel or cobalt alloy", 3300, 0.24, True,
        r"nickel|cobalt|(alloy ?)?(625|718|x-?750)|2\.4\d{3}|ni(cr|cu|co)\w*",
    ),
    Metal("hardened steel", 4600, 0.0, False, r"hardened|(4[5-9]|5\d|6[0-5]) ?hrc"),
    Metal(
        "high-alloy and tool steel", 2450, 0.23, False,
        r"(a2|d2|d3|h11|h13|m2|o1|s7)|tool steel|1\.(20|23|27|33)\d\d"
        r"|(410|416|420|430|440)[a-z]{0,2}|17-4( ?ph)?|15-5( ?ph)?",
    ),
    Metal(
        "austenitic stainless steel", 2150, 0.20, True,
        r"(aisi |ss ?)?(301|302|303|304|310|316|317|321|347)[a-z]{0,2}|(18|17)-8|austenitic.*"
        r"|1\.4(30|31|40|43|44|54|57)\d|stainless",
    ),
    Metal(
        "steel of 0.5 % carbon, annealed", 1675, 0.24, False,
        r"(en ?\d\d?[a-z]?)|41[34]0|4340|86[24]0|10(45|50|55|60|95)|c45\w?|42crmo\w*|1\.(70|72)\d\d"
        r"|1\.0503|1\.1191",
    ),
    Metal(
        "mild or free-cutting steel", 1350, 0.21, False,
        r"10(08|10|15|18|20)|11\d\d|12l?1[0-9]|a36|mild( steel)?|s(235|275|355)\w*|1\.(00|07)\d\d",
    ),
    Metal("steel of 0.25 % carbon", 1500, 0.22, False, r"10(22|25|30|35|40)|steel|1\.05\d\d"),
    Metal(
        "cast iron", 1150, 0.20, False,
        r"(cast|gr[ae]y|ductile|nodular) iron|iron|g[gj][ls]?-?\d+",
    ),
    Metal(
        "cast aluminium, over 12 % silicon or not", 800, 0.25, False,
        r"(a?35[67]|a?380|a?390|a?319)(\.\d)?|cast alumin\w*",
    ),
    Metal(
        "wrought aluminium", 700, 0.25, False,
        r"alumin\w*|al ?\w*|[2567]0[0-9]{2}(-?t\d+)?|mic-?6|en aw.*|3\.\d{4}",
    ),
)  # fmt: skip
"""VDI 3323 groups P1 to P3, P10, M14, K15, N21, N22, S33 to S36 and H38, kc1 and mc as printed in a
turning catalogue of 2017 (p. 558); which name belongs to which group is from memory."""
_PATTERNS: Final = tuple(re.compile(rf"\b(?:{m.words})(?!\w)", re.IGNORECASE) for m in METALS)


def metal_of(material: str | None) -> Metal | None:
    """Return the kind of metal that a material's name says; None: not known.

    Parameters
    ----------
    material : str or None
        ``[stock] material`` as a person writes it, such as ``4140`` or ``6061-T6``.
    """
    if not material:
        return None
    spots = ((p.search(material), m) for p, m in zip(_PATTERNS, METALS, strict=True))
    found = [m for spot, m in spots if spot is not None]
    return found[0] if found else None


def hardens(material: str | None) -> bool:
    """Whether a metal is known to work-harden where an edge rubs."""
    metal = metal_of(material)
    return metal is not None and metal.hardens


def specific_force(metal: Metal, chip: float) -> float:
    """Return the specific cutting force at a mean chip thickness (mm), N/mm^2."""
    return metal.kc1 * float(chip**-metal.mc)


def deflection(force: float, length: float, diameter: float, modulus: float = CARBIDE) -> float:
    """Return how far a tool's tip bends aside, mm: F L^3 / (3 E I), I of 0.8 of the diameter.

    Parameters
    ----------
    force : float
        At the tip, square to the axis, N.
    length : float
        From the holder to the tip, mm.
    diameter : float
        mm.
    modulus : float
        Young's modulus, N/mm^2.
    """
    second_moment = math.pi * (STIFF * diameter) ** 4 / 64
    return force * length**3 / (3 * modulus * second_moment)


# -------------------------------------------------------------------------------------------- time


def move_seconds(job: Job) -> Floats:
    """Return what each move takes, seconds; speeding up and slowing down are left out.

    A rapid takes as long as the axis that goes furthest; feeds and rapids from an unknown place,
    and feeds without a feed, take 0.
    """
    moves = job.program.moves
    apart = np.abs(np.nan_to_num(moves.end - moves.start)).max(axis=1, initial=0.0)
    feed = np.where(moves.feed > 0, moves.feed, np.inf)
    seconds: Floats = 60 * np.where(
        moves.rapid, apart / job.spec.machine.rapid_rate, moves.lengths() / feed
    )
    return seconds


def pass_seconds(job: Job) -> dict[int, float]:
    """Return what each pass takes, seconds: moves, dwells, and the tool change before it."""
    program = job.program
    moves, seconds = program.moves, move_seconds(job)
    sums = np.bincount(moves.pass_number, weights=seconds, minlength=len(program.passes) + 1)
    for count, wait, _ in program.dwells:
        if len(moves):
            sums[moves.pass_number[max(count - 1, 0)]] += wait
    found, last = {}, None
    for info in program.passes:
        change = job.spec.machine.tool_change_time if last not in (None, info.tool) else 0.0
        found[info.number], last = float(sums[info.number]) + change, info.tool
    return found


# -------------------------------------------------------------------------------------------- load


@dataclasses.dataclass(frozen=True)
class Load:
    """What a pass does to its tool; an estimate.

    Attributes
    ----------
    force : float
        Greatest force at the side of the tool, mean over a turn, N.
    deflection : float
        Of the stick-out under that force at the tip, mm.
    says : str
        What it is estimated from.
    """

    force: float
    deflection: float
    says: str


def side_forces(bands: Bands, flutes: int, metal: Metal) -> Floats:
    """Return the mean force of a turn at each station of some bands, N; NaN where it isn't known.

    Teeth in the cut at a time = flutes * arc / 2 pi; each takes the section chip * height. A
    floor's thin layer and the wall over it are bands of their own, with an arc and a chip each.
    """
    there = (bands.high > 0) & (bands.arc > 0)
    chip = np.where(bands.chip > 0, bands.chip, np.nan)
    force = metal.kc1 * chip ** (1 - metal.mc) * bands.high * flutes * bands.arc / math.tau
    sums: Floats = np.where(there, force, 0.0).sum(axis=1)
    return np.where(there.any(axis=1), sums, np.nan)


def pass_load(case: Case, pass_number: int) -> Load | None:
    """Return the load of a pass; None: material, flutes, feed, spindle or stick-out not known."""
    tool, material = case.tool_of(pass_number), case.job.spec.stock.material
    metal = metal_of(material)
    if metal is None or not tool.flutes or tool.stickout is None:
        return None
    forces = side_forces(case.bands(pass_number), tool.flutes, metal)
    force = float(np.nan_to_num(forces).max(initial=0.0))
    if force <= 0:
        return None
    says = f"kc of {metal.says} for {material}, a carbide tool {case.say(tool.stickout)} long"
    return Load(force, deflection(force, tool.stickout, tool.diameter), says)
