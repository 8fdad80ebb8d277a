"""Parameters #1 to #5400 and #<name> (NISTIR 6556 3.2.1; names: common practice, no source).

#1 to #33 belong to a macro call (G65), names without a leading ``_`` to a subprogram; all others
to the whole program. #5061 to #5400 are read and set through what they stand for.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Protocol

from ..dialect import Dialect

__all__ = ["LAST", "LAST_LOCAL", "ParameterFault", "Parameters", "System"]

LAST: Final = 5400
"""Highest parameter (NISTIR 6556 3.2.1)."""
LAST_LOCAL: Final = 33
FIRST_OWN: Final = 1000
"""From here to 5160 parameters are a control's own on many controls."""
FIRST_SYSTEM: Final = 5161
NAME_LIMIT: Final = 10_000


class ParameterFault(Exception):
    """A parameter that can't be read or set; the text says why."""


class System(Protocol):
    """What stands behind #5161 to #5400."""

    def get(self, number: int) -> float | None:
        """Return a value in the unit in force; None: no such parameter."""

    def set(self, number: int, value: float) -> bool:
        """Set a value in the unit in force; False: not one that a program sets."""


class Parameters:
    """Values of all parameters.

    Parameters
    ----------
    dialect : Dialect
    system : System
    given : mapping of int to float
        Values that the job gives, such as those that the control has stored.

    Attributes
    ----------
    changes : int
        Grows with every value that is really another than before.
    """

    def __init__(
        self, dialect: Dialect, system: System, given: Mapping[int, float] | None = None
    ) -> None:
        self.dialect, self._system = dialect, system
        self._values = dict(given or {})
        self._locals = [{n: v for n, v in self._values.items() if 1 <= n <= LAST_LOCAL}]
        self._names: list[dict[str, float]] = [{}]
        self._shared: dict[str, float] = {}
        self.changes = 0

    def get(self, number: int) -> float | None:
        """Return a value; None for #0 and where nothing was set."""
        if number == 0:
            return None
        if number <= LAST_LOCAL:
            found = self._locals[-1].get(number)
            if found is not None or len(self._locals) > 1:
                return found
        elif 5061 <= number <= 5066:
            raise ParameterFault(
                f"#{number} is where a probe touched, which nobody knows here; expected no use "
                "of it"
            )
        elif number >= FIRST_SYSTEM:
            found = self._system.get(number) if number <= LAST else None
            if found is None:
                raise ParameterFault(f"#{number} is not known here; expected #1 to #999")
            return found
        else:
            found = self._values.get(number)
        if found is None and self.dialect.unset == "zero":
            return 0.0
        if found is None and number >= FIRST_OWN and self.dialect.system_parameters == "refused":
            raise ParameterFault(self._own(number))
        return found

    def set(self, number: int, value: float | None) -> None:
        """Set a value; None takes it away."""
        if number == 0:
            raise ParameterFault("#0 is always vacant; expected #1 or another")
        if number >= FIRST_SYSTEM:
            known = number <= LAST and value is not None and self._system.set(number, value)
            if not known:
                raise ParameterFault(f"#{number} can't be set here; expected #1 to #999")
            self.changes += 1
            return
        if number >= FIRST_OWN and self.dialect.system_parameters == "refused":
            raise ParameterFault(self._own(number))
        place = self._locals[-1] if number <= LAST_LOCAL else self._values
        if place.get(number) != value:
            self.changes += 1
        if value is None:
            place.pop(number, None)
        else:
            place[number] = value

    @staticmethod
    def _own(number: int) -> str:
        return (
            f"#{number} is a control's own on many controls and may mean anything; expected #1 to "
            '#999, or the setup\'s control with system_parameters = "free"'
        )

    def named(self, name: str) -> float | None:
        """Return the value of a name."""
        place = self._shared if name.startswith("_") else self._names[-1]
        found = place.get(name)
        return 0.0 if found is None and self.dialect.unset == "zero" else found

    def set_named(self, name: str, value: float | None) -> None:
        """Set the value of a name."""
        place = self._shared if name.startswith("_") else self._names[-1]
        if place.get(name) != value:
            self.changes += 1
        if value is None:
            place.pop(name, None)
        elif name in place or len(place) < NAME_LIMIT:
            place[name] = value
        else:
            raise ParameterFault(f"more than {NAME_LIMIT} names; expected fewer")

    def enter(self, arguments: Mapping[int, float] | None) -> None:
        """Begin a subprogram; with arguments (G65) it has #1 to #33 of its own."""
        if arguments is not None:
            self._locals.append(dict(arguments))
        self._names.append({})

    def leave(self, *, macro: bool) -> None:
        """End a subprogram."""
        if macro:
            self._locals.pop()
        self._names.pop()
