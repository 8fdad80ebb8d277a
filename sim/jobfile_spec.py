"""What a job file says, checked and in millimetres: plain data for the rest of the library."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from .dialect import Dialect
from .tools import Tool
from .units import CHORD_MM, Unit

__all__ = [
    "Box",
    "JobSpec",
    "MachineSpec",
    "PartSpec",
    "SetupSpec",
    "ShowSpec",
    "StockSpec",
    "Vector",
]

Vector = tuple[float, float, float]


@dataclasses.dataclass(frozen=True)
class StockSpec:
    """The raw stock, mm, part frame.

    Attributes
    ----------
    shape : {'block', 'round', 'tube', 'model'}
    low, high : (x, y, z) or None
        Corners of a block.
    diameter : float or None
        Outside diameter of a round bar or tube, whose axis is along Z.
    center : (x, y)
        Its axis in plan.
    bottom, top : float or None
        Its lower and upper face, z.
    bore : float or None
        Inside diameter of a tube.
    model : Path or None
        A closed mesh.
    material : str
        Empty if not given.
    """

    shape: str
    low: Vector | None = None
    high: Vector | None = None
    diameter: float | None = None
    center: tuple[float, float] = (0.0, 0.0)
    bottom: float | None = None
    top: float | None = None
    bore: float | None = None
    model: Path | None = None
    material: str = ""


@dataclasses.dataclass(frozen=True)
class PartSpec:
    """The finished part: a mesh, or its top and bottom (z, mm); the tolerance in mm."""

    model: Path | None
    tolerance: float | None
    top: float | None
    bottom: float | None


@dataclasses.dataclass(frozen=True)
class ShowSpec:
    """A side that people will look at: a unit vector from the part to the eye, or a face."""

    direction: Vector | None
    face: str | None


@dataclasses.dataclass(frozen=True)
class Box:
    """A jaw, stop or clamp: a box, mm, part frame."""

    name: str
    low: Vector
    high: Vector


@dataclasses.dataclass(frozen=True)
class SetupSpec:
    """One clamping.

    Attributes
    ----------
    name : str
    program, passes : Path or None
        One of them: an RS-274 program, or a pass list.
    fixture : tuple of Box
    work_offsets : dict of str to (x, y, z)
        Origin of each work offset that the job gives, ``G54`` to ``G59``, mm, part frame. G54 is
        always there: the part frame's own origin if the job says nothing.
    home : (x, y, z) or None
        Tip at the start and after a return to home, mm.
    block_delete : bool
        Lines that begin with ``/`` are left out.
    control : Dialect
        What the control makes of words that controls read in different ways.
    accept : dict of str to str
        Words that the reader would refuse, each with why it is harmless.
    parameters : dict of int to float
        Values of parameters before the program begins.
    """

    name: str
    program: Path | None
    passes: Path | None
    fixture: tuple[Box, ...]
    work_offsets: dict[str, Vector]
    home: Vector | None
    block_delete: bool
    control: Dialect = dataclasses.field(default_factory=Dialect)
    accept: dict[str, str] = dataclasses.field(default_factory=dict)
    parameters: dict[int, float] = dataclasses.field(default_factory=dict)


@dataclasses.dataclass(frozen=True)
class MachineSpec:
    """What times are reckoned with; common practice, no source.

    Attributes
    ----------
    rapid_rate : float
        mm/min.
    tool_change_time : float
        From chip to chip, seconds.
    """

    rapid_rate: float = 10_000.0
    tool_change_time: float = 8.0


@dataclasses.dataclass(frozen=True)
class JobSpec:
    """A job, checked; all lengths in mm.

    Attributes
    ----------
    path, folder : Path
        The job file as the person gave it, and its folder.
    title : str
        Empty if not given.
    unit : {'in', 'mm'}
        What people see.
    pitch : float or None
        Distance between columns, mm; None: to be chosen.
    stock : StockSpec
    part : PartSpec or None
    show : tuple of ShowSpec
    tools : dict of int to Tool
    h_errors, d_errors : dict of int to float
        Register number to its error, mm: the value in the register minus the true one, so a
        positive H cuts too high. D is always the error of the radius.
    zero_errors : dict of str to (x, y, z)
        Error of the work zero of every setup, by its name, mm; a positive z cuts too high.
    setups : tuple of SetupSpec
    notes : tuple of str
        What a person should know.
    chord : float
        How far the chords that stand for a curve without a closed form may be off it, mm.
    least_width : float or None
        Levels and skims narrower than this everywhere are not listed, mm; None: as usual.
    allow_outside : bool
        Files that the job's files name may lie outside its folder.
    margins : dict of str to float
        What the job sets of `findings.MARGINS`: mm, or a plain number for a ratio.
    machine : MachineSpec
    d_diameters : bool
        The D registers hold diameters: they are off by twice `d_errors`.
    """

    path: Path
    folder: Path
    title: str
    unit: Unit
    pitch: float | None
    stock: StockSpec
    part: PartSpec | None
    show: tuple[ShowSpec, ...]
    tools: dict[int, Tool]
    h_errors: dict[int, float]
    d_errors: dict[int, float]
    zero_errors: dict[str, Vector]
    setups: tuple[SetupSpec, ...]
    notes: tuple[str, ...] = ()
    chord: float = CHORD_MM
    least_width: float | None = None
    allow_outside: bool = False
    margins: dict[str, float] = dataclasses.field(default_factory=dict)
    machine: MachineSpec = MachineSpec()
    d_diameters: bool = False

    def d_value(self, register: int) -> float:
        """Return by how much the value in a D register is off, mm; of the diameter if it is one."""
        return self.d_errors.get(register, 0.0) * (2.0 if self.d_diameters else 1.0)
