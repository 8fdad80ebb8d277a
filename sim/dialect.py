"""Where controls differ in a way that changes motion: one explicit choice each.

The default is the answer of NISTIR 6556 where that document has one, else the one that refuses:
the program is then an error, with the choices named.
"""

from __future__ import annotations

import dataclasses
from typing import Final, Literal

__all__ = ["CHOICES", "Dialect"]


@dataclasses.dataclass(frozen=True)
class Dialect:
    """What a control makes of words that controls read in different ways.

    Attributes
    ----------
    arc_centers : {'increment', 'absolute'}
        I, J and K from the arc's start (NISTIR 6556 3.5.3) or from the work zero, until G90.1 or
        G91.1 says it.
    home_axes : {'named', 'all'}
        G28 and G30 bring the named axes home (common practice, no source), or all of them after
        the way point (NISTIR 6556 3.5.8, from memory).
    cycle_r_in_g91 : {'tool', 'initial'}
        In G91 a cycle's R counts from where the tool stands (NISTIR 6556 3.5.16), or from the
        height before the first hole (common practice, no source).
    cycle_levels : {'refused', 'kept', 'increments'}
        Z and R that a cycle keeps from blocks in G90, once G91 is in force, and the other way
        round: refused; the heights that they were (common practice, no source); or read by the
        mode now in force (NISTIR 6556 3.5.16, from memory).
    cycle_repeats_0 : {'refused', 'stores'}
        L0 and K0 of a cycle: refused, or they keep its words and drill nothing.
    unset : {'refused', 'zero', 'vacant'}
        A parameter that was never set: refused where its value counts; 0 (NISTIR 6556 3.2.1); or
        as macro controls have it, a word that is left out, and 0 in arithmetic.
    system_parameters : {'refused', 'free'}
        Parameters 1000 to 5160 are a control's own on many controls; free is NISTIR 6556.
    fix : {'down', 'to_zero'}
        FIX and FUP of a negative number: FIX[-2.8] is -3 (NISTIR 6556 3.3.2.3) or -2.
    logic : {'truth', 'bits'}
        AND, OR and XOR of numbers: of their truth (NISTIR 6556) or of their bits.
    g10_in_g91 : {'refused', 'set', 'add'}
        G10 L2 under G91 sets the origin, or adds to it.
    turn_center : {'refused', 'tool', 'zero'}
        G68 and G51 without a centre: refused, where the tool stands, or the work zero.
    scale_whole : {'refused', 'one', 'thousandth'}
        A scale of G51 without a decimal point: P2 is 2, or 0.002.
    call_repeats : {'word', 'digits'}
        M98 repeats by L; or by the digits of P before its last four: P31000 is O1000 three times.
    rotary : {'refused', 'kept'}
        Feed moves while A, B or C is not 0: refused, or read as if it were, the position kept.
    compensation : {'trade', 'nistir_6556'}
        G41 and G42 as most controls have them (common practice, no source), or as NISTIR 6556
        appendix B: another lead-in, and no inside corners.
    outside_corner : {'arc', 'intersection'}
        Under G41 and G42, by an arc about the corner, or to where the offset paths meet.
    inside_corner : {'intersection', 'refused'}
        To where the offset paths meet, or refused as NISTIR 6556 does.
    d_holds : {'radius', 'wear'}
        What D stands for: the tool's radius, or the wear alone, the program being the path of the
        cutter's centre.
    """

    arc_centers: Literal["increment", "absolute"] = "increment"
    home_axes: Literal["named", "all"] = "named"
    cycle_r_in_g91: Literal["tool", "initial"] = "tool"
    cycle_levels: Literal["refused", "kept", "increments"] = "refused"
    cycle_repeats_0: Literal["refused", "stores"] = "refused"
    unset: Literal["refused", "zero", "vacant"] = "refused"
    system_parameters: Literal["refused", "free"] = "refused"
    fix: Literal["down", "to_zero"] = "down"
    logic: Literal["truth", "bits"] = "truth"
    g10_in_g91: Literal["refused", "set", "add"] = "refused"
    turn_center: Literal["refused", "tool", "zero"] = "refused"
    scale_whole: Literal["refused", "one", "thousandth"] = "refused"
    call_repeats: Literal["word", "digits"] = "word"
    rotary: Literal["refused", "kept"] = "refused"
    compensation: Literal["trade", "nistir_6556"] = "trade"
    outside_corner: Literal["arc", "intersection"] = "arc"
    inside_corner: Literal["intersection", "refused"] = "intersection"
    d_holds: Literal["radius", "wear"] = "radius"


CHOICES: Final = tuple(field.name for field in dataclasses.fields(Dialect))
"""Names of all choices, as a job writes them."""
