"""Work zeros: G54 to G59.3, G10 L2, G52 and the G92 family (NISTIR 6556 3.2.2, 3.5.5, 3.5.18).

All in the part frame, mm. Machine coordinates are known where the job gives its home, the tip at
machine zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, TypeGuard

from .settings import LIMIT_MM, ReaderSettings

__all__ = ["SYSTEMS", "WORK_ZEROS", "Frames"]

SYSTEMS: Final = (540, 550, 560, 570, 580, 590, 591, 592, 593)
"""Work zeros, as ten times the G number, in the order of P in G10 L2."""
WORK_ZEROS: Final = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
"""Their words, in the same order."""
_UNKNOWN: Final = (math.nan, math.nan, math.nan)
Point = tuple[float, float, float]


class Frames:
    """Where programmed coordinates are counted from.

    Attributes
    ----------
    system : int
        Work zero in force, 0 for G54.
    local : list of float
        G52, mm.
    shift : list of float
        G92: programmed = part - work zero - local - shift, mm (NISTIR 6556 3.2.2).
    stored : list of float
        #5211 to #5213, mm: what G92.3 puts in force.
    scale : float
        mm in the unit in force.
    """

    def __init__(self, settings: ReaderSettings, scale: float) -> None:
        self.settings, self.scale = settings, scale
        self.system = 0
        self.local = [0.0, 0.0, 0.0]
        self.shift = [0.0, 0.0, 0.0]
        self.stored = [0.0, 0.0, 0.0]
        self._zeros = [settings.work_zero(name) for name in WORK_ZEROS]
        self._selected = self._zeros[0]
        self._homes: dict[int, float] = {}  # parameter -> mm, machine coordinates

    def origin(self) -> Point | None:
        """Return what programmed coordinates count from, part frame, mm; None: not known."""
        if not _known(self._selected):
            return None
        x, y, z = (
            round(a + b + c, 10)
            for a, b, c in zip(self._selected, self.local, self.shift, strict=True)
        )
        return x, y, z

    def select(self, system: int) -> bool:
        """Put a work zero in force; False: the job does not know it."""
        zero = self._zeros[system]
        if not _known(zero):
            return False
        self.system, self._selected = system, zero
        return True

    def place(self, system: int, values: Mapping[int, float], *, add: bool) -> None:
        """Put a work zero at machine coordinates, mm, by axis (G10 L2).

        Of one that the job does not give, axes that are not named stay unknown (NaN), and it can't
        be used before they are given too.

        Raises
        ------
        ValueError
            The job gives no home, or no zero to add to.
        """
        home, old = self.settings.home, self._zeros[system]
        base = old if add else home
        if home is None or base is None:
            raise ValueError(system)
        start = old or _UNKNOWN
        zero = [base[k] + values[k] if k in values else start[k] for k in range(3)]
        x, y, z = (round(v, 10) for v in zero)
        self._zeros[system] = (x, y, z)
        if system == self.system:
            self._selected = (x, y, z)

    def reset_shift(self, *, forget: bool) -> None:
        """Take G92 out of force; `forget` its parameters too."""
        self.shift = [0.0, 0.0, 0.0]
        if forget:
            self.stored = [0.0, 0.0, 0.0]

    def set_shift(self, values: Mapping[int, float], position: Sequence[float]) -> None:
        """Let the tool stand at these programmed coordinates, mm, by axis (G92)."""
        assert self._selected is not None
        for axis, value in values.items():
            here = position[axis] - self._selected[axis] - self.local[axis]
            self.shift[axis] = round(here - value, 10)
        self.stored = list(self.shift)

    def home(self, code: int) -> Point | None:
        """Return where G28 (280) or G30 (300) goes, part frame, mm; None: not known."""
        home = self.settings.home
        if home is None:
            return None
        first = 5161 if code == 280 else 5181
        x, y, z = (round(home[k] + self._homes.get(first + k, 0.0), 10) for k in range(3))
        return x, y, z

    @property
    def second_home_given(self) -> bool:
        """Whether the program has set where G30 goes."""
        return any(number >= 5181 for number in self._homes)

    # Parameters 5161 to 5400 (NISTIR 6556 Table 2), in the unit in force

    def get(self, number: int) -> float | None:
        """Return a parameter; None: no such one, or one that hangs on a home not given."""
        if number in (*range(5161, 5167), *range(5181, 5187)):
            return self._homes.get(number, 0.0) / self.scale
        if number == 5220:
            return self.system + 1.0
        if 5211 <= number <= 5216:
            return self.stored[number - 5211] / self.scale if number < 5214 else 0.0
        found = self._of_system(number)
        if found is None:
            return None
        system, axis = found
        zero, home = self._zeros[system], self.settings.home
        if axis > 2:
            return 0.0
        if zero is None or home is None or math.isnan(zero[axis]):
            return None
        return (zero[axis] - home[axis]) / self.scale

    def set(self, number: int, value: float) -> bool:
        """Set a parameter; what it stands for follows when next used. False: not possible."""
        mm = value * self.scale
        if abs(mm) > LIMIT_MM:
            return False
        if number in (*range(5161, 5164), *range(5181, 5184)):
            self._homes[number] = mm
            return True
        if 5211 <= number <= 5213:
            self.stored[number - 5211] = mm
            return True
        found = self._of_system(number)
        if found is None or found[1] > 2 or self.settings.home is None:
            return value == 0 and self.get(number) == 0
        system, axis = found
        zero = list(self._zeros[system] or _UNKNOWN)
        zero[axis] = round(self.settings.home[axis] + mm, 10)
        self._zeros[system] = (zero[0], zero[1], zero[2])
        return True

    @staticmethod
    def _of_system(number: int) -> tuple[int, int] | None:
        """Return work zero and axis of a parameter from 5221 to 5386."""
        system, axis = divmod(number - 5221, 20)
        return (system, axis) if 0 <= system < len(WORK_ZEROS) and axis < 6 else None


def _known(zero: Point | None) -> TypeGuard[Point]:
    return zero is not None and not math.isnan(sum(zero))
