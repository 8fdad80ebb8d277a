"""What a program's comments say of its tools, in the words that posts and people write.

Examples: ``(T3 3/4 BULL .045 RAD)``, ``(T1 D=12. CR=0.5 TAPER=0DEG - ZMIN=-5 - FLAT END MILL)``,
``(TOOL 2 - 1/2 DRILL)``, ``T5 M6 (6MM BALL)``. There is no standard for them: everything here is
common practice, no source, but for number and letter drills (ASME B94.11M) and the diameters of
numbered threads (ASME B1.1), both from memory. What is not sure is said to be a guess.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable
from typing import Final

from .glance import Comment, Glance
from .toolwords_sizes import LETTER_DRILLS, NUMBER, NUMBER_DRILLS, Size, number_of, thread_size
from .units import LIMIT_MM, MM_PER, Unit

__all__ = ["ToolWords", "read_tool_words", "tool_names", "tools_told"]

LEAST_MM: Final = 1e-3
"""A smaller size is none."""
NEAR: Final = 3
"""Lines before or after a tool change within which a comment alone may tell its tool."""

_PREFIX: Final = re.compile(
    r"\s*(?:TOOL|T)\s*(?:NO\b\.?|NUMBER|#)?\s*0*(\d+)(?![\d./])\s*[-:=|,]*\s*"
)
_UNIT: Final = r"MM|INCHES|INCH|IN|\"|''|THOU|UM|µM"
_BARE_LENGTH: Final = rf"({NUMBER})\s*({_UNIT})?"
_LENGTH: Final = rf"{_BARE_LENGTH}(?![A-Z0-9])"
_GAP: Final = r"(?:\.(?!\d))?\s*[=:]?\s*"

_SHAPES: Final = tuple(
    (re.compile(pattern), shape)
    for pattern, shape in (
        (r"CORNER.?ROUND", "corner-rounding"),
        (r"THREAD.?MILL|DOVE.?TAIL", ""),
        (r"\bT.?SLOT|KEY.?SEAT|WOODRUFF|SLITTING", "t-slot"),
        (r"LOLLI.?POP|UNDERCUT", "lollipop"),
        (r"TAPER(?:ED)?\W(?:\D*\s)?BALL|BALL\D*\bTAPER(?:ED)?\b(?!\s*=)", "taper-ball"),
        (r"SPOT|CENT(?:ER|RE).?DRILL|\bNC.?DRILL", "spot-drill"),
        (r"\bTAP\b(?!.?DRILL)|TAPPING|\bTAP(?=M\d)", "tap"),
        (r"CHAM|C.?SINK|COUNTER.?SINK|DEBURR|ENGRAV|\bV.?BIT", "chamfer"),
        (r"BORING|\bBORE.?BAR|\bBORE\b", "bore-bar"),
        (r"BALL|\bBN\b|\bBEM\b|SPHERICAL", "ball"),
        (r"BULL|TOROID", "bull"),
        (r"(?<!SLOT)(?<!SLOT.)DRILL|\bREAM", "drill"),
        (r"MILL|FACE|SHELL|FLY.?CUT|\bEM\b|FLAT|SLOT|ROUGH|FINISH|C.?BORE|COUNTER.?BORE", "flat"),
    )
)
"""Word of the trade -> shape; the first that fits."""
_SURELY_FLAT: Final = re.compile(r"END.?MILL|\bEM\b|FLAT|FACE|SHELL|FLY.?CUT|SLOT.?DRILL")
_POINTED: Final = ("drill", "spot-drill", "chamfer")
_POINTS: Final = (60, 82, 90, 100, 118, 120, 130, 135, 140, 142, 145)
"""Point angles that are sold; a whole number of these beside a pointed tool is one."""


@dataclasses.dataclass(frozen=True)
class ToolWords:
    """What comments say of a tool.

    Attributes
    ----------
    name : str
        As the comment has it, without the tool's number.
    shape : str
        As a job names it; empty: not found.
    sizes : dict of str to Size
        By the keys of a job.
    shape_guess : str
        What to check of the shape; empty: nothing.
    doubts : tuple of str
        What to check of the whole.
    """

    name: str
    shape: str
    sizes: dict[str, Size]
    shape_guess: str = ""
    doubts: tuple[str, ...] = ()


def tool_names(seen: Glance) -> dict[int, str]:
    """Return the names of tools as comments have them, by number."""
    return {number: words.name for number, words in tools_told(seen, seen.unit or "mm").items()}


def tools_told(seen: Glance, unit: Unit) -> dict[int, ToolWords]:
    """Return what comments say of each tool, by number; of several the fullest, then the first.

    Parameters
    ----------
    seen : Glance
    unit : {'in', 'mm'}
        Of numbers that carry none.
    """
    told: dict[int, list[ToolWords]] = {}
    for comment in seen.comments:
        prefix = _PREFIX.match(comment.text.upper())
        number = int(prefix[1]) if prefix else comment.tool if comment.change else 0
        if number:
            told.setdefault(number, []).append(read_tool_words(comment.text, unit, number))
    for number, comment in _nearby(seen):
        if not any(words.shape for words in told.get(number, [])):
            words = read_tool_words(comment.text, unit, number)
            if words.shape and words.sizes:
                doubt = f"from the comment on line {comment.line}"
                told.setdefault(number, []).append(dataclasses.replace(words, doubts=(doubt,)))
    return {number: _joined(found) for number, found in told.items()}


def _nearby(seen: Glance) -> Iterable[tuple[int, Comment]]:
    """Yield comments that stand alone beside a tool change, with its tool."""
    lines = dict(seen.changes)
    for comment in seen.comments:
        if comment.alone and not _PREFIX.match(comment.text.upper()):
            for away in (1, -1, 2, -2, 3, -3)[: 2 * NEAR]:
                if lines.get(comment.line + away):
                    yield lines[comment.line + away], comment
                    break


def _joined(found: list[ToolWords]) -> ToolWords:
    best = max(found, key=lambda words: (bool(words.shape), len(words.sizes)))
    doubts = list(best.doubts)
    for words in found:
        for key in ("DC", "RE"):
            mine, other = best.sizes.get(key), words.sizes.get(key)
            if mine and other and abs(mine.mm - other.mm) > 1e-6:
                doubts.append(f'another comment says "{words.name}"')
    return dataclasses.replace(best, doubts=tuple(dict.fromkeys(doubts)))


def read_tool_words(text: str, unit: Unit, number: int = 0) -> ToolWords:
    """Return what a comment says of a tool.

    Parameters
    ----------
    text : str
    unit : {'in', 'mm'}
        Of numbers that carry none.
    number : int
        Of the tool: ``H3`` and ``D3`` beside ``T3`` are its registers.
    """
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    upper = text.upper()
    prefix = _PREFIX.match(upper)
    begin = prefix.end() if prefix and len(upper) == len(text) else 0
    name = text[begin:].strip(" -:|,*=") or text
    words = _Words(upper[prefix.end() :] if prefix else upper, unit)
    words.take_all(number)
    return ToolWords(name[:200], words.shape, words.sizes, words.guess)


class _Words:
    """Takes labelled sizes out of a text one after the other, then what is left."""

    def __init__(self, text: str, unit: Unit) -> None:
        self.text, self.unit = text, unit
        self.sizes: dict[str, Size] = {}
        self.shape = next((shape for look, shape in _SHAPES if look.search(text)), "")
        self.guess = ""
        if self.shape == "flat" and not _SURELY_FLAT.search(text):
            self.guess = "taken as an end mill"

    def take_all(self, number: int) -> None:
        if self.shape == "tap":
            self._thread()
        self._count()
        self._lengths("APMX", r"FLUTE.?LEN(?:GTH)?|LENGTH OF CUT|LOC|LCF|APMX|FL")
        self._lengths("LPR", r"OOH|STICK.?OUT|LPR")
        self._lengths("OAL", r"OAL")
        self._lengths("DMM", r"SHANK|SHK|DMM")
        self._lengths("DN", r"NECK(?: DIA\.?)?|DN")
        self._lengths("tip_diameter", r"TIP(?: DIA\.?)?")
        self._angles()
        self._lengths("RE", r"CORNER (?:RADIUS|RAD|R)|RADIUS|RAD|C/?R|RE|R", larger=False)
        self._registers(number)
        if "DC" not in self.sizes:
            self._lengths("DC", r"DIA(?:METER|M)?|DC|D|Ø|⌀")
        self.text = re.sub(rf"\b[A-Z]+\s*=\s*[-+]?{NUMBER}", ";", self.text)
        if self.shape == "drill":
            self._drill_size()
        self._bare()
        self._settle()

    def _keep(self, key: str, number: str, unit: str | None, guess: str = "") -> None:
        own = {"''": "in", '"': "in", "µM": "um", "UM": "um", "MM": "mm"}.get(
            unit or "", (unit or "").lower()
        )
        value = number_of(number)
        if not own and "/" in number:
            own = "in"
        own = own or self.unit
        mm = value * MM_PER[own]
        if LEAST_MM <= mm <= LIMIT_MM or (key == "RE" and not value):
            self.sizes[key] = Size.length(value, own, self.unit, guess)

    def _lengths(self, key: str, label: str, *, larger: bool = True) -> None:
        """Take a length with its label before or behind; of two, the larger or smaller."""
        before = re.search(rf"(?<![A-Z])(?:{label}){_GAP}{_LENGTH}", self.text)
        behind = re.search(rf"(?<![\w./]){_BARE_LENGTH}\s*(?:{label})(?![A-Z=])", self.text)
        found = [m for m in (before, behind) if m]
        if not found:
            return
        if before and behind and "=" not in before[0] and ":" not in before[0]:
            pick = max if larger else min
            match = pick(found, key=lambda m: number_of(m[1]))
        else:
            match = found[0]
        self._keep(key, match[1], match[2])
        self.text = self.text[: match.start()] + " ; " + self.text[match.end() :]

    def _count(self) -> None:
        edges = r"(?:CUTTING )?EDGES?|FLUTES?(?!.?LEN)|FLUTED|FLTS?|FL|F|TEETH|TOOTH|LIPS?"
        look = rf"(?<![\w.])(\d{{1,2}})[ -]?(?:{edges})\b|\bZ\s*=?\s*(\d{{1,2}})(?![\d.])"
        match = re.search(look, self.text)
        if match:
            count = int(match[1] or match[2])
            if count:
                self.sizes["ZEFF"] = Size(str(count), 0.0)
            self.text = self.text[: match.start()] + " ; " + self.text[match.end() :]

    def _angles(self) -> None:
        label = r"TAPER|ANGLE|ANG|POINT|INCLUDED|SIG|KAPR"
        degrees = r"(?:DEGREES?|DEG|°)"
        look = rf"(?<![A-Z])({label}){_GAP}({NUMBER})\s*{degrees}?|({NUMBER})[ -]?{degrees}"
        while match := re.search(look, self.text):
            value = number_of(match[2] or match[3])
            self._angle(value, match[1] or "")
            self.text = self.text[: match.start()] + " ; " + self.text[match.end() :]

    def _angle(self, value: float, label: str) -> None:
        if not 0 < value < 180:
            return
        if self.shape == "chamfer":
            half = label in ("TAPER", "KAPR") or value <= 45
            edge = value if label == "KAPR" else 90 - (value if half else value / 2)
            if not 0 < edge < 90:
                return
            self.sizes["KAPR"] = Size(f"{edge:g}", 0.0, "" if not half else "a side, or included?")
        elif self.shape in ("drill", "spot-drill"):
            self.sizes["SIG"] = Size(f"{value:g}", 0.0)
        elif self.shape in ("taper-ball", "ball") and label == "TAPER":
            self.shape = "taper-ball"
            self.sizes["taper_angle"] = Size(f"{value:g}", 0.0, "degrees a side")

    def _registers(self, number: int) -> None:
        self.text, count = re.subn(r"\bH\s*=?\s*\d+(?![\d.])", ";", self.text)
        own = re.search(rf"\bD\s*0*{number}(?![\d.])", self.text) if number else None
        if own and (count or re.search(NUMBER, self.text[: own.start()] + self.text[own.end() :])):
            self.text = self.text[: own.start()] + " ; " + self.text[own.end() :]

    def _thread(self) -> None:
        found = thread_size(self.text, self.unit)
        if found:
            size, self.text = found
            if size is not None and size.mm > 0:
                self.sizes["DC"] = size

    def _drill_size(self) -> None:
        """Take a number or letter drill, in inches."""
        if "DC" in self.sizes:
            return
        numbered = re.search(r"(?:#|\bNO\b\.?)\s*(\d{1,2})(?![\d./])", self.text)
        lettered = re.search(r"\bLETTER\s+([A-Z])\b|(?<![\w'-])([A-Z])\s+DRILL\b", self.text)
        inches = NUMBER_DRILLS.get(int(numbered[1])) if numbered else None
        if inches is None and lettered and not re.search(r"[\d]", self.text):
            inches = LETTER_DRILLS[lettered[1] or lettered[2]]
        if inches is not None:
            self.sizes["DC"] = Size.length(inches, "in", self.unit, "from its number or letter")
            self.text = re.sub(r"\d+", ";", self.text)

    def _bare(self) -> None:
        """Take the first of the numbers without a label as diameter, or as a point angle."""
        found = list(re.finditer(rf"(?<![\w./#-]){_LENGTH}|(?<=\s-){_LENGTH}", self.text))
        rows = [(m[1] or m[3], m[2] or m[4]) for m in found]
        if self.shape in _POINTED:
            for number, unit in rows:
                if not unit and "/" not in number and number_of(number) in _POINTS:
                    self._angle(number_of(number), "")
                    rows.remove((number, unit))
                    break
        if "DC" in self.sizes or not rows:
            return
        sure = [row for row in rows if row[1] or "/" in row[0]]
        decimal = [row for row in rows if "." in row[0]]
        number, unit = (sure or decimal or rows)[0]
        guess = "" if sure else f"taken as {'inches' if self.unit == 'in' else 'millimetres'}"
        if "/" in number and not unit and self.unit == "mm":
            guess = "a fraction, taken as inches"
        self._keep("DC", number, unit, guess)

    def _settle(self) -> None:
        """Bring shape and sizes together: a flat with a corner radius is a bull, and so on."""
        radius, diameter = self.sizes.get("RE"), self.sizes.get("DC")
        if radius and not radius.mm:
            del self.sizes["RE"]
            radius = None
        if self.shape == "ball" and radius:
            if diameter is None:
                self.sizes["DC"] = radius.times(2, self.unit)
            elif abs(2 * radius.mm - diameter.mm) > 1e-3:
                self.sizes["DC"] = dataclasses.replace(diameter, guess="not twice its radius")
            del self.sizes["RE"]
        elif radius and (self.shape == "flat" or (not self.shape and diameter)):
            self.guess = "" if self.shape else "a corner radius is said, no shape"
            self.shape = "bull"
        elif radius and self.shape not in ("bull", "taper-ball", "t-slot", "corner-rounding"):
            del self.sizes["RE"]
        if self.shape != "chamfer":
            wanted = self.shape in ("corner-rounding", "spot-drill")
            if not wanted:
                self.sizes.pop("tip_diameter", None)
        self._defaults()

    def _defaults(self) -> None:
        if self.shape == "drill":
            ream = "REAM" in self.text
            self.sizes.setdefault("SIG", Size("180", 0.0, "a reamer taken as flat") if ream else
                                  Size("118", 0.0, "point angle not said"))  # fmt: skip
        elif self.shape == "spot-drill":
            self.sizes.setdefault("SIG", Size("90", 0.0, "point angle not said"))
        elif self.shape == "chamfer":
            self.sizes.setdefault("KAPR", Size("45", 0.0, "90 included, not said"))
            self.sizes.setdefault("tip_diameter", Size("0", 0.0, "taken as pointed"))
