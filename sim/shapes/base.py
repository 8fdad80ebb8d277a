"""What a tool shape is: its words in a job file, its checks, its pieces.

Each module of this package holds one shape, or a close family, in a tuple ``SHAPES``; nothing
else has to know of it. The pieces are made when they are first asked for: reading a job file loads
no numerical library.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final

from ..strict import Problems
from ..units import Unit, say_length

if TYPE_CHECKING:
    from ..pieces import Piece
    from ..tools import Tool

__all__ = [
    "LEAST",
    "Entry",
    "Shape",
    "Word",
    "arc",
    "cut_off",
    "line",
    "round_tip",
]

LEAST: Final = 1e-9
"""A piece lower than this is left out, mm: it is a rounding error of its neighbours."""


@dataclasses.dataclass(frozen=True)
class Word:
    """One length, angle or count of a tool.

    Attributes
    ----------
    symbol : str
        Its ISO 13399 symbol; empty where the standard has none that fits.
    plain : tuple of str
        The words people say; each may be used instead of the symbol.
    kind : type
        What a value must be.
    says : str
        What it is, for the JSON Schema and for errors.
    angle : bool
        Degrees, not a length.
    """

    symbol: str
    plain: tuple[str, ...]
    kind: Any
    says: str
    angle: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys for it, symbol first."""
        return ((self.symbol,) if self.symbol else ()) + self.plain


@dataclasses.dataclass(frozen=True)
class Entry:
    """One tool's table while it is checked: values by what they are called inside, mm, degrees.

    Attributes
    ----------
    where : tuple
        Key path of the table.
    values : dict
        What the file gives; a shape may add what it derives, see `derive`.
    keys : dict of str to str
        The key by which the file gives a value.
    problems : Problems
    unit : {'in', 'mm'}
        The job's, for errors and names.
    words : mapping of str to Word
    derived : set of str
        Values that the file does not give.
    """

    where: tuple[str | int, ...]
    values: dict[str, Any]
    keys: dict[str, str]
    problems: Problems
    unit: Unit
    words: Mapping[str, Word]
    derived: set[str] = dataclasses.field(default_factory=set)

    def __contains__(self, name: str) -> bool:
        return self.values.get(name) is not None

    def __getitem__(self, name: str) -> float:
        return float(self.values[name])

    def get(self, name: str, default: float) -> float:
        """Return a value, `default` where it isn't given."""
        value = self.values.get(name)
        return default if value is None else float(value)

    def length(self, mm: float, places: int | None = None) -> str:
        """Return a length as people of this job say it."""
        return say_length(mm, self.unit, places)

    def said(self, name: str) -> str:
        """Return a key and its value in the job's unit, such as ``corner_radius 0.0300 in``."""
        value = self.values[name]
        if not isinstance(value, int | float):
            return self.keys[name]
        angle = self.words[name].angle
        return f"{self.keys[name]} {f'{value:g} degrees' if angle else self.length(value)}"

    def wrong(self, name: str, text: str, *more: str | int) -> None:
        """Note a problem at the key by which the file gives `name`, or could."""
        key = self.keys.get(name, self.words[name].keys[0] if name in self.words else name)
        key = "shape" if name in self.derived else key
        self.problems.add((*self.where, key, *more), f"tool {self.values['number']}: {text}")

    def derive(self, name: str, value: float, called: str) -> None:
        """Set a value that follows from others; in errors it is `called` so, if not given too."""
        if name not in self:
            self.derived.add(name)
            self.keys[name] = called
        self.values[name] = value


@dataclasses.dataclass(frozen=True)
class Shape:
    """A tool shape.

    Attributes
    ----------
    name : str
        As the job file says it: ``bull``.
    called : str
        As errors say it, with its article: ``a bull``.
    pieces : callable
        Tool to the pieces of its cutting part, from the tip up; a piece that does not cut may
        follow where the shape itself brings its neck.
    needs : mapping of str to str
        Words that it can't do without; the text follows "a bull needs ".
    allows : tuple of str
        Further words about the cutting part that it takes. Those of the whole tool (lengths, neck,
        shank, holder) are for every shape.
    only : mapping of str to (float, str)
        Words that it takes with one value alone, which changes nothing; the text says what fits.
    refuses : mapping of str to str
        Words that are likely mistaken for others: what to do instead. Words of other shapes are
        refused without being named here.
    words : mapping of str to Word
        Words that only this shape has; their values are in `Tool.own`.
    derive : callable, optional
        Entry to nothing: sets what follows from other values before all checks.
    check : callable, optional
        Entry to nothing: notes what can't be; called when all that it needs is there.
    end : callable, optional
        Entry to the height over the tip at which the tool has come to its diameter, mm; the
        cutting length may not end before.
    sized : callable, optional
        Entry to what follows shape and diameter in the name made for a tool.
    undercuts : bool
        It cuts with its upper side even where its radius does not shrink.
    """

    name: str
    called: str
    pieces: Callable[[Tool], list[Piece]]
    needs: Mapping[str, str] = dataclasses.field(default_factory=dict)
    allows: tuple[str, ...] = ()
    only: Mapping[str, tuple[float, str]] = dataclasses.field(default_factory=dict)
    refuses: Mapping[str, str] = dataclasses.field(default_factory=dict)
    words: Mapping[str, Word] = dataclasses.field(default_factory=dict)
    derive: Callable[[Entry], None] | None = None
    check: Callable[[Entry], None] | None = None
    end: Callable[[Entry], float] | None = None
    sized: Callable[[Entry], str] | None = None
    undercuts: bool = False

    def takes(self, name: str) -> bool:
        """Whether a word about the cutting part means something for it."""
        return name in self.needs or name in self.allows or name in self.words


def line(label: str, z_low: float, r_low: float, z_high: float, r_high: float) -> list[Piece]:
    """Return a cylinder or frustum; nothing where it has no height."""
    from ..pieces import line_piece

    return [line_piece(label, z_low, r_low, z_high, r_high)] if z_high - z_low > LEAST else []


def arc(
    label: str, z_low: float, z_high: float, center_r: float, center_z: float, radius: float,
    *, cove: bool = False,
) -> list[Piece]:  # fmt: skip
    """Return a piece with a round flank; nothing where it has no height."""
    from ..pieces import arc_piece

    if z_high - z_low <= LEAST:
        return []
    return [arc_piece(label, z_low, z_high, center_r, center_z, radius, cove=cove)]


def round_tip(tool: Tool, corner_radius: float) -> list[Piece]:
    """Return the end of a milling tool: flat, a corner of `corner_radius`, a straight flank."""
    R = tool.diameter / 2
    tip = arc("corner", 0.0, corner_radius, R - corner_radius, corner_radius, corner_radius)
    return cut_off(tip, tool, R)


def cut_off(tip: Iterable[Piece], tool: Tool, radius: float) -> list[Piece]:
    """Return the cutting part: the tip, then straight up to the cutting length.

    Parameters
    ----------
    tip : iterable of Piece
        From z = 0 up, without gaps.
    tool : Tool
        Its cutting length ends the part; without one the flank is endless.
    radius : float
        Radius of the straight flank, mm.

    Notes
    -----
    A tip that is higher than the cutting length is cut off there: a catalogue rounds lengths.
    """
    from ..pieces import shortened

    top = math.inf if tool.cutting_length is None else tool.cutting_length
    found = [shortened(piece, top) for piece in tip if top - piece.z_low > LEAST]
    end = found[-1].z_high if found else 0.0
    return found + line("side", end, radius, top, radius)
