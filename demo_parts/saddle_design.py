"""Dimensions, tools and heights of the saddle clamp; inches, degrees.

The part is written down here once; the program, the pass list and the model are made from it.
x runs along the rail, y across, z up with 0 on the finished top; the origin is the part's middle.
"""

from __future__ import annotations

import dataclasses
from typing import Final

THOU: Final = 0.001

STOCK_LOW: Final = (-1.4, -0.9, -1.0)
STOCK_HIGH: Final = (1.4, 0.9, 0.02)
PITCH: Final = 0.004
JAW_TOP: Final = -0.925
PART_BOTTOM: Final = -0.86
LEDGE: Final = -0.886
"""Floor of the profile's rougher, 26 thou under the part: the top of the step in the vise."""

PROFILE_HALF: Final = (1.3, 0.8)
PROFILE_RADIUS: Final = 0.31
BOSS_HALF_X: Final = 1.128
BOSS_FRONT_Y: Final = -0.628
BOSS_RADIUS: Final = 0.14
BOSS_FOOT: Final = 0.02
"""Fillet between the boss and the shoulder: the finisher's corner radius."""
SHOULDER: Final = -0.18
CHAMFER: Final = 0.04

COVE_FOOT_Y: Final = 0.69
"""Where the cove runs out into the shoulder, tangent."""
COVE_RADIUS: Final = 0.2
COVE_CENTER_Z: Final = SHOULDER + COVE_RADIUS

SLOT_Y: Final = 0.25
SLOT_HALF: Final = 0.134
SLOT_ENDS: Final = (-0.814, 0.208)
"""x of the centers of the slot's round ends."""
SLOT_FLOOR: Final = -0.44

WINDOW_CENTER: Final = (0.762, 0.22)
WINDOW_HALF: Final = (0.21, 0.18)
WINDOW_RADIUS: Final = 0.165
WINDOW_ROUGH_FLOOR: Final = -0.917
WINDOW_WALL_TIP: Final = -0.88
"""Deep enough under the part for the corner radius to run out below it."""

RELIEF_Y: Final = (-0.42, -0.1)
RELIEF_FLOOR: Final = -0.11
GAP_HALF_X: Final = 0.152

HOLES: Final = ((-0.84, -0.26), (-0.42, -0.26), (0.42, -0.26), (0.84, -0.26))
HOLE_TIP: Final = -0.924
SPOT_TIP: Final = -0.2005
PECK: Final = 0.12

# What one tool leaves for the next.
UPPER_DEPTH: Final = -0.47
UPPER_SIDE: Final = 0.0085
LOWER_SIDE: Final = 0.0135
"""More than `UPPER_SIDE`: the shank, as thick as the cutting part, stays 5 thou off the wall."""
SHOULDER_SIDE: Final = 0.0029
SHOULDER_BOTTOM: Final = 0.0062
COVE_SIDE: Final = 0.012
SLOT_SIDE: Final = 0.009
SLOT_BOTTOM: Final = 0.0038
WINDOW_SIDE: Final = 0.0083
WINDOW_SEMI: Final = 0.0019
RELIEF_SIDE: Final = 0.0066
RELIEF_BOTTOM: Final = 0.0044

COVE_TIPS: Final = (-0.05, -0.09, -0.13)
SHOULDER_TIPS: Final = (-0.09, SHOULDER + SHOULDER_BOTTOM)
UPPER_TIPS: Final = (-0.32, UPPER_DEPTH)
LOWER_TIPS: Final = (-0.62, -0.76, LEDGE)
RELIEF_TIPS: Final = (-0.054, RELIEF_FLOOR + RELIEF_BOTTOM)
WINDOW_LEVELS: Final = 8
WINDOW_HELIX: Final = 0.042
BACK_GAP_ROUGH: Final = 0.01
BACK_GAP: Final = 0.002
"""From the cove's foot to the flat of the tool that clears the floor behind it."""
CHAMFER_GAP: Final = 0.03
"""From the boss's wall to the chamfer mill's axis."""

CLEARANCE: Final = 0.0007
"""A floor pass keeps this much more off a wall than the rougher left on it."""
LAP: Final = 0.04
"""A wall pass that goes on and off at one place runs this far past its start."""
LIFT: Final = 0.0004
"""A wall pass runs this much above a floor that is finished."""


@dataclasses.dataclass(frozen=True)
class DemoTool:
    """One tool of the job; lengths in inches under their ISO 13399 symbols."""

    number: int
    name: str
    shape: str
    DC: float
    spindle: int
    feed: float
    lengths: tuple[tuple[str, float], ...]
    holder: tuple[tuple[float, float], ...]
    flutes: int

    @property
    def radius(self) -> float:
        """Half of DC."""
        return self.DC / 2

    def length(self, symbol: str) -> float:
        """Return one of `lengths`."""
        return dict(self.lengths)[symbol]


def _tool(
    number: int, name: str, shape: str, DC: float, *, cut: tuple[int, float], z: int, **more: float
) -> DemoTool:
    wide = (1.5, 1.2) if DC > 0.4 else (0.9, 1.2)
    return DemoTool(number, name, shape, DC, *cut, tuple(more.items()), (wide,), z)


TOOLS: Final[dict[int, DemoTool]] = {
    tool.number: tool
    for tool in (
        _tool(
            1,
            "face mill 1.0",
            "flat",
            1.0,
            cut=(1450, 26.0),
            z=5,
            APMX=0.35,
            DMM=0.75,
            LPR=1.6,
        ),
        _tool(
            2,
            "bull 3/4 rougher, RE 45 thou",
            "bull",
            0.75,
            cut=(1600, 22.0),
            z=4,
            RE=0.045,
            APMX=0.48,
            DMM=0.75,
            LPR=1.75,
        ),
        _tool(
            3,
            "bull 1/2 finisher, RE 20 thou",
            "bull",
            0.5,
            cut=(2400, 18.0),
            z=5,
            RE=0.02,
            APMX=1.0,
            DMM=0.5,
            LPR=1.4,
        ),
        _tool(
            4,
            "bull 1/4, long, RE 18 thou",
            "bull",
            0.25,
            cut=(4200, 14.0),
            z=4,
            RE=0.018,
            APMX=1.0,
            DMM=0.25,
            LPR=1.25,
        ),
        _tool(
            5,
            "flat 3/16, slender",
            "flat",
            0.1875,
            cut=(5200, 9.0),
            z=4,
            APMX=0.5,
            DMM=0.1875,
            LPR=0.8,
        ),
        _tool(
            6,
            "flat 1/4, short",
            "flat",
            0.25,
            cut=(4400, 16.0),
            z=4,
            APMX=0.4,
            DMM=0.25,
            LPR=0.85,
        ),
        _tool(
            7,
            "ball 3/16",
            "ball",
            0.1875,
            cut=(6500, 30.0),
            z=4,
            APMX=0.4,
            DMM=0.1875,
            LPR=0.9,
        ),
        _tool(
            8,
            "spot drill 90",
            "drill",
            0.25,
            cut=(2600, 6.0),
            z=2,
            SIG=90,
            APMX=0.5,
            DMM=0.25,
            LPR=1.1,
        ),
        _tool(
            9,
            "drill 0.159",
            "drill",
            0.159,
            cut=(2300, 5.0),
            z=2,
            SIG=118,
            APMX=1.6,
            DMM=0.159,
            LPR=1.9,
        ),
        _tool(
            10,
            "chamfer mill 90",
            "chamfer",
            0.25,
            cut=(5000, 20.0),
            z=4,
            KAPR=45,
            tip_diameter=0.02,
            APMX=0.115,
            DMM=0.25,
            LPR=1.0,
        ),
    )
}


def chamfer_tip() -> float:
    """Return z of the chamfer mill's tip: its 45 degree edge meets the wall `CHAMFER` down."""
    return -CHAMFER - (CHAMFER_GAP - TOOLS[10].length("tip_diameter") / 2)


@dataclasses.dataclass(frozen=True)
class Try:
    """What differs between the two tries; inches.

    Attributes
    ----------
    folder, title : str
    number : int
        O number of the program.
    profile_above_ledge : float
        Tip of the profile's finisher above the ledge that the rougher left.
    profile_semi : float or None
        Side allowance of a pass before the profile's last; None: the last pass takes it all.
    profile_lead : {'front', 'back'}
        Side on which the profile's finisher leads in and out; people look at the front.
    profile_overlap : float
        How far the profile's finisher runs past its start.
    boss_together, slot_together : bool
        Walls and floor in one pass.
    gap_walls_own : bool
        The tool that finishes the gap's floor finishes its walls too.
    cove_error : float
        Ball nose above (+) or below (-) the cove.
    h6_error : float
        Value in register H6 less the true one.
    """

    folder: str
    title: str
    number: int
    profile_above_ledge: float
    profile_semi: float | None
    profile_lead: str
    profile_overlap: float
    boss_together: bool
    slot_together: bool
    gap_walls_own: bool
    cove_error: float
    h6_error: float
