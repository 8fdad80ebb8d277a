"""Every word: acted on, noted (it moves nothing here) or refused, and why. One table.

The reader's modal groups, the letters that go with each word, its refusals and the table for
people all come from here. Numbers of clauses are from memory but for 3.2 to 3.4, 3.5.3, 3.5.10,
3.5.16 and 3.5.18.
"""

from __future__ import annotations

import dataclasses
from typing import Final, Literal

__all__ = ["G_ROWS", "LETTER_ROWS", "M_ROWS", "OTHER_ROWS", "Row", "word_table"]

Use = Literal["acted", "noted", "refused"]
NIST: Final = "NISTIR 6556"
TRADE: Final = "common practice, no source"
OPEN: Final = "ISO 6983 and common practice, from memory"


@dataclasses.dataclass(frozen=True)
class Row:
    """One word.

    Attributes
    ----------
    word : str
        Such as ``G81``; for letters the letter.
    use : {'acted', 'noted', 'refused'}
        Acted on; read, with no motion; or an error.
    group : str
        Modal group; one word of a group to a block.
    takes : str
        Letters that the word uses, but axes of a motion, F, S, T and N.
    why : str
        What it does, why it moves nothing, or why it is refused.
    source : str
    """

    word: str
    use: Use
    group: str
    takes: str
    why: str
    source: str


def _acted(word: str, group: str, takes: str, why: str, source: str = NIST) -> Row:
    return Row(word, "acted", group, takes, why, source)


def _noted(word: str, group: str, takes: str, why: str, source: str = TRADE) -> Row:
    return Row(word, "noted", group, takes, why, source)


def _refused(word: str, why: str, source: str = TRADE) -> Row:
    return Row(word, "refused", "", "", why, source)


G_ROWS: Final = (
    _acted("G0", "motion", "", "rapid, straight", f"{NIST} 3.5.1"),
    _acted("G1", "motion", "", "feed, straight", f"{NIST} 3.5.2"),
    _acted("G2", "motion", "IJKR", "arc or helix, clockwise", f"{NIST} 3.5.3"),
    _acted("G3", "motion", "IJKR", "arc or helix, counter-clockwise", f"{NIST} 3.5.3"),
    _noted("G4", "one-shot", "P", "dwell; time only", f"{NIST} 3.5.4"),
    _noted("G5", "smoothing", "P", "smoothing with P; as a spline, with axes, refused"),
    _noted("G5.1", "smoothing", "QR", "smoothing with Q; as a spline, with axes, refused"),
    _noted("G8", "smoothing", "P", "smoothing"),
    _acted("G10", "one-shot", "LPR", "with L2: sets an origin; others refused", f"{NIST} 3.5.5"),
    _acted("G12", "one-shot", "IKQD", "circle pocket, clockwise", TRADE),
    _acted("G13", "one-shot", "IKQD", "circle pocket, counter-clockwise", TRADE),
    _acted("G17", "plane", "", "XY plane", f"{NIST} 3.5.6"),
    _acted("G18", "plane", "", "XZ plane", f"{NIST} 3.5.6"),
    _acted("G19", "plane", "", "YZ plane", f"{NIST} 3.5.6"),
    _acted("G20", "units", "", "inches", f"{NIST} 3.5.7"),
    _acted("G21", "units", "", "millimetres", f"{NIST} 3.5.7"),
    _acted("G28", "one-shot", "", "home by way of a point", f"{NIST} 3.5.8"),
    _acted("G30", "one-shot", "P", "second home by way of a point", f"{NIST} 3.5.8"),
    _noted("G31", "one-shot", "P", "probing: goes to its programmed end, cuts nothing"),
    _noted("G38.2", "motion", "", "probing: goes to its programmed end, cuts nothing",
           f"{NIST} 3.5.9"),
    _acted("G40", "radius compensation", "", "compensation off", f"{NIST} 3.5.10"),
    _acted("G41", "radius compensation", "D", "compensation, tool on the left", f"{NIST} 3.5.10"),
    _acted("G42", "radius compensation", "D", "compensation, tool on the right", f"{NIST} 3.5.10"),
    _acted("G43", "length offset", "H", "length register in force", f"{NIST} 3.5.11"),
    _refused("G44", "length register subtracted: cuts at another height", TRADE),
    _acted("G49", "length offset", "", "no length register", f"{NIST} 3.5.11"),
    _acted("G50", "scaling", "", "scaling off; with S alone: a limit of the spindle, noted", TRADE),
    _acted("G50.1", "mirror", "", "mirror off", TRADE),
    _acted("G51", "scaling", "PIJK", "scaling, and mirror by factors below 0", TRADE),
    _acted("G51.1", "mirror", "", "mirror about the places of the named axes", TRADE),
    _acted("G52", "one-shot", "", "local zero", TRADE),
    _acted("G53", "one-shot", "", "move in machine coordinates", f"{NIST} 3.5.12"),
    *(
        _acted(f"G{n}", "work offset", "", f"work zero {k}", f"{NIST} 3.5.13")
        for k, n in enumerate(("54", "55", "56", "57", "58", "59", "59.1", "59.2", "59.3"), 1)
    ),
    _noted("G61", "path", "", "exact path", f"{NIST} 3.5.14"),
    _noted("G61.1", "path", "", "exact stop", f"{NIST} 3.5.14"),
    _noted("G64", "path", "PQ", "blending; the path as programmed", f"{NIST} 3.5.14"),
    _acted("G65", "call", "", "macro call: P and arguments", TRADE),
    _refused("G66", "a macro called at every motion"),
    _refused("G67", "end of G66"),
    _acted("G68", "rotation", "R", "rotation in the plane about X, Y by R degrees", TRADE),
    _acted("G69", "rotation", "", "rotation off", TRADE),
    _acted("G73", "motion", "RQLKP", "drilling, the chip broken", TRADE),
    _acted("G74", "motion", "RLKP", "left-hand tapping", TRADE),
    _acted("G76", "motion", "RQIJLKP", "fine boring; its shift at the bottom cuts nothing", TRADE),
    _acted("G80", "cancel", "", "no cycle, no motion", f"{NIST} 3.5.15"),
    _acted("G81", "motion", "RLK", "drilling", f"{NIST} 3.5.16.2"),
    _acted("G82", "motion", "RPLK", "drilling with dwell", f"{NIST} 3.5.16.3"),
    _acted("G83", "motion", "RQLKP", "drilling in pecks", f"{NIST} 3.5.16.4"),
    _acted("G84", "motion", "RLKP", "tapping", f"{NIST} 3.5.16.5"),
    _acted("G85", "motion", "RLKP", "boring, feed out", f"{NIST} 3.5.16.6"),
    _acted("G86", "motion", "RPLK", "boring, spindle stop, rapid out", f"{NIST} 3.5.16.7"),
    _acted("G87", "motion", "RIJKLP", "back boring; what moves with the spindle stopped cuts "
           "nothing", f"{NIST} 3.5.16.8"),
    _acted("G88", "motion", "RPLK", "boring, out by hand: taken as a rapid", f"{NIST} 3.5.16.9"),
    _acted("G89", "motion", "RPLK", "boring, dwell, feed out", f"{NIST} 3.5.16.10"),
    _acted("G90", "distance", "", "absolute", f"{NIST} 3.5.17"),
    _acted("G90.1", "arc distance", "", "I, J, K from the work zero", OPEN),
    _acted("G91", "distance", "", "increments", f"{NIST} 3.5.17"),
    _acted("G91.1", "arc distance", "", "I, J, K from the arc's start", OPEN),
    _acted("G92", "one-shot", "", "zero set by where the tool stands; with S alone: a limit of the "
           "spindle, noted", f"{NIST} 3.5.18"),
    _acted("G92.1", "one-shot", "", "G92 off, its parameters 0", f"{NIST} 3.5.18"),
    _acted("G92.2", "one-shot", "", "G92 off, its parameters kept", f"{NIST} 3.5.18"),
    _acted("G92.3", "one-shot", "", "G92 as its parameters say", f"{NIST} 3.5.18"),
    _acted("G93", "feed mode", "", "F is 1/minutes of the move", f"{NIST} 3.5.19"),
    _acted("G94", "feed mode", "", "F is per minute", f"{NIST} 3.5.19"),
    _acted("G95", "feed mode", "", "F is per turn of the spindle", OPEN),
    _acted("G96", "speed mode", "", "S is the speed at the tool's edge", OPEN),
    _acted("G97", "speed mode", "", "S is turns per minute", OPEN),
    _acted("G98", "return level", "", "cycles go back to the first height", f"{NIST} 3.5.20"),
    _acted("G99", "return level", "", "cycles go back to R", f"{NIST} 3.5.20"),
    _noted("G187", "smoothing", "PE", "smoothing"),
)  # fmt: skip
"""G words, in order; a G word that is not here is refused: it may change the path."""

M_ROWS: Final = (
    _noted("M0", "stop", "", "pause", f"{NIST} 3.6.1"),
    _noted("M1", "stop", "", "pause if the operator wants it", f"{NIST} 3.6.1"),
    _acted("M2", "stop", "", "end", f"{NIST} 3.6.1"),
    _acted("M3", "spindle", "", "spindle clockwise", f"{NIST} 3.6.2"),
    _acted("M4", "spindle", "", "spindle counter-clockwise", f"{NIST} 3.6.2"),
    _acted("M5", "spindle", "", "spindle off", f"{NIST} 3.6.2"),
    _acted("M6", "tool change", "", "loads the tool of the last T, spindle off", f"{NIST} 3.6.3"),
    _noted("M7", "mist", "", "coolant", f"{NIST} 3.6.4"),
    _noted("M8", "flood", "", "coolant", f"{NIST} 3.6.4"),
    _noted("M9", "coolant off", "", "coolant", f"{NIST} 3.6.4"),
    _noted("M10", "clamp", "", "clamps an axis"),
    _noted("M11", "clamp", "", "frees an axis"),
    _acted("M13", "spindle", "", "M3 and coolant", OPEN),
    _acted("M14", "spindle", "", "M4 and coolant", OPEN),
    _acted("M19", "spindle", "PQR", "spindle stopped at an angle", OPEN),
    _noted("M29", "tapping", "", "tapping without a floating holder"),
    _acted("M30", "stop", "", "end", f"{NIST} 3.6.1"),
    _noted("M48", "overrides", "", "overrides on", f"{NIST} 3.6.5"),
    _noted("M49", "overrides", "", "overrides off", f"{NIST} 3.6.5"),
    _noted("M60", "stop", "", "pause, pallet", f"{NIST} 3.6.1"),
    _acted("M97", "call", "PL", "calls the block with an N number", TRADE),
    _acted("M98", "call", "PL", "calls an O number", OPEN),
    _acted("M99", "call", "P", "back to the caller", OPEN),
)
"""M words; one that is not here is refused: it may move the machine."""

LETTER_ROWS: Final = (
    *(_acted(letter, "", "", f"place along {letter}") for letter in "XYZ"),
    *(_acted(letter, "", "", f"angle about {'XYZ'['ABC'.index(letter)]}, degrees: kept with the "
             "moves; feed moves while it is not 0 are refused unless the job says otherwise")
      for letter in "ABC"),
    _acted("D", "", "", "register of the radius, with G41, G42, G12, G13"),
    _refused("E", "no word of the standard; read with G187", NIST),
    _acted("F", "", "", "feed"),
    _acted("H", "", "", "register of the length, with G43"),
    *(_acted(letter, "", "", "centre of an arc, factors of G51, shift of G76, G87")
      for letter in "IJK"),
    _acted("L", "", "", "repeats; what G10 sets"),
    _acted("N", "", "", "number of a block, for GOTO, M97 and M99 P"),
    _acted("O", "", "", "number of a program or subprogram", OPEN),
    _acted("P", "", "", "time; number of what is called"),
    _acted("Q", "", "", "depth of a peck"),
    _acted("R", "", "", "radius of an arc; height of a cycle; angle of G68"),
    _acted("S", "", "", "spindle speed"),
    _acted("T", "", "", "tool, loaded by M6"),
    *(_refused(letter, "further axis") for letter in "UVW"),
)  # fmt: skip

OTHER_ROWS: Final = (
    _acted("/", "", "", "block delete: left out or executed, as the job says", f"{NIST} 3.3.1"),
    _acted("( )", "", "", "comment; alone in a block, a heading", f"{NIST} 3.3.4"),
    _noted("(MSG,", "", "", "message for the operator", f"{NIST} 3.3.4"),
    _acted(";", "", "", "comment to the end of the line", TRADE),
    _acted("%", "", "", "bounds the program", f"{NIST} 3.3"),
    _acted("#n", "", "", "parameter", f"{NIST} 3.2.1"),
    _acted("#<name>", "", "", "parameter with a name", TRADE),
    _acted("[ ]", "", "", "expression", f"{NIST} 3.3.2.3"),
    _acted("IF, WHILE, DO, END, GOTO", "", "", "control flow", TRADE),
    _refused("O SUB, O CALL, O IF", "control flow by O words"),
)


def word_table() -> tuple[Row, ...]:
    """Return every word with what becomes of it, for the table in the docs and its test."""
    return (*G_ROWS, *M_ROWS, *LETTER_ROWS, *OTHER_ROWS)
