"""Small programs and their moves, written by hand from the documents, never from the reader.

Each row says where it is from: a clause of NISTIR 6556, ISO 6983 for how numbers are written, or
'trade': common practice, no source. Rows run after `helpers_program.HEAD` (tool 1 at 0 0 0, mm,
G90, G17, G98, F100). With those of `test_program_language_moves` and the values of
`test_program_language_values` there are more than 200 such programs.

Where the check values of NISTIR 6556 are held:

========================================  ===================================================
clause                                    test
========================================  ===================================================
3.3 blanks and case, g0x +0. 12 34y 7     test_program_motion.test_blanks_and_case_do_not_count
3.2.1, 3.3.3 #3=6 G1 x#3, last one wins   here (WORDS); test_program_language_values PARAMETERS
3.3.2.3, appendix E ranks, unary words    here (WORDS); test_program_language_values VALUES
3.3.4 comments, (MSG,                     here (WORDS); test_program_word_table
3.4, Table 4 modal groups, five M words   here (CONFLICTS); test_program_language_words TABLE_4
3.5.3 from (7, 7), I3 J4; R20; tolerance  test_program_motion, test_program_planes
3.5.5, 3.5.12, 3.5.13 G10, G53, G54       here (ZEROS); test_program_language_moves ZEROS
3.5.10, appendix B, Tables 12 and 13      here, as a program; test_compensation, as geometry
3.5.16.2 G81 from (1, 2, 3), both         here (CYCLES); test_program_motion
3.5.16.3 to 10                            here (CYCLES); test_program_language_moves CYCLES
3.5.18 G92 X7 at X4 is -3, then X9 -5     here (ZEROS); test_program_language_moves ZEROS
Table 8 order of execution                here (WORDS); test_program_motion
Table 10 transcript                       here, whole
appendix C.2 expressions                  test_program_language_values VALUES
========================================  ===================================================

Not held: what M2 and M30 reset (3.6.1), since nothing can be seen of it, and the 256 characters of
a line, of which we take more.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_program import HEAD, assert_path, moves, path, read, settings
from proud.errors import ProgramError
from proud.program import read_source

HOME = {"home": (100.0, 200.0, 300.0)}
G55 = {"work_offsets": {"G54": (0, 0, 0), "G55": (40, 30, 20)}}
SERIES = "R 0 0 10 | R 1 0 10 | R 1 0 2 | F 1 0 -5 | R 1 0 2"

CYCLES = [
    ("3.5.16.2", "G0 X1 Y2 Z3\nG90 G81 G98 X4 Y5 Z1.5 R2.8",
     "R 1 2 3 | R 4 5 3 | R 4 5 2.8 | F 4 5 1.5 | R 4 5 3", {}),
    ("3.5.16.2", "G0 X1 Y2 Z3\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 L3",
     "R 1 2 3 | R 1 2 4.8 | R 5 7 4.8 | F 5 7 4.2 | R 5 7 4.8 | R 9 12 4.8 | F 9 12 4.2"
     " | R 9 12 4.8 | R 13 17 4.8 | F 13 17 4.2 | R 13 17 4.8", {}),
    ("3.5.16.2", "G0 Z10\nG99 G81 X5 Y6 Z-3 R2",
     "R 0 0 10 | R 5 6 10 | R 5 6 2 | F 5 6 -3 | R 5 6 2", {}),
    # from below R up to R first; G98 never goes back below R
    ("3.5.16.1", "G99 G81 X1 Z-3 R2", "R 0 0 2 | R 1 0 2 | F 1 0 -3 | R 1 0 2", {}),
    ("3.5.16.1", "G98 G81 X1 Z-3 R2", "R 0 0 2 | R 1 0 2 | F 1 0 -3 | R 1 0 2", {}),
    ("3.5.16.1", "G0 Z10\nG99 G81 X5 Z-3 R2 L2",
     "R 0 0 10 | R 5 0 10 | R 5 0 2 | F 5 0 -3 | R 5 0 2 | R 5 0 2 | F 5 0 -3 | R 5 0 2", {}),
    ("3.5.16.1", "G0 Z10\nG98 G81 X5 Z-3 R2 L2",
     "R 0 0 10 | R 5 0 10 | R 5 0 2 | F 5 0 -3 | R 5 0 10 | R 5 0 10 | R 5 0 2 | F 5 0 -3"
     " | R 5 0 10", {}),
    ("3.5.16.3", "G0 Z10\nG91 G99 G82 X5 Z-4 R-8 P1 L2",
     "R 0 0 10 | R 5 0 10 | R 5 0 2 | F 5 0 -2 | R 5 0 2 | R 10 0 2 | F 10 0 -2 | R 10 0 2", {}),
    ("3.5.16.3", "G0 Z10\nG91 G98 G82 X5 Z-4 R-8 P1 L2",
     "R 0 0 10 | R 5 0 10 | R 5 0 2 | F 5 0 -2 | R 5 0 10 | R 10 0 10 | R 10 0 2 | F 10 0 -2"
     " | R 10 0 10", {}),
    # G83: out to R, back to 0.254 mm above the last depth
    ("3.5.16.4", "G0 Z5\nG99 G83 X1 Z-4 R1 Q2",
     "R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -1 | R 1 0 1 | R 1 0 -0.746 | F 1 0 -3 | R 1 0 1"
     " | R 1 0 -2.746 | F 1 0 -4 | R 1 0 1", {}),
    ("3.5.16.4", "G0 Z5\nG98 G83 X1 Z-1 R1 Q5", "R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -1 | R 1 0 5",
     {}),
    ("3.5.16.4", "G91 G99 G83 X1 Y1 Z-2 R1 Q1 L2",
     "R 0 0 1 | R 1 1 1 | F 1 1 0 | R 1 1 1 | R 1 1 0.254 | F 1 1 -1 | R 1 1 1"
     " | R 2 2 1 | F 2 2 0 | R 2 2 1 | R 2 2 0.254 | F 2 2 -1 | R 2 2 1", {}),
    ("trade", "G0 Z5\nG98 G73 X1 Z-2 R0 Q1 K2",
     "R 0 0 5 | R 1 0 5 | R 1 0 0 | F 1 0 -1 | R 1 0 -0.746 | F 1 0 -2 | R 1 0 5"
     " | R 1 0 5 | R 1 0 0 | F 1 0 -1 | R 1 0 -0.746 | F 1 0 -2 | R 1 0 5", {}),
    ("trade", "G20 G0 Z1\nG99 G73 X0 Z-.2 R0 Q.1 F5",  # backs off by 0.010 in
     "R 0 0 25.4 | R 0 0 25.4 | R 0 0 0 | F 0 0 -2.54 | R 0 0 -2.286 | F 0 0 -5.08 | R 0 0 0", {}),
    # feed out: tapping, G85, G89; rapid out: G86, G88, fine boring
    *((source, f"G0 Z5\nG99 {g} X1 Z-5 R1", f"R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -5 | {out} 1 0 1",
       {}) for source, g, out in (
        ("3.5.16.5", "G84", "F"), ("trade", "G74", "F"), ("3.5.16.6", "G85", "F"),
        ("3.5.16.7", "G86", "R"), ("3.5.16.9", "G88", "R"), ("3.5.16.10", "G89 P1", "F"),
        ("trade", "G76 Q0.1", "R"))),
    ("3.5.16.6", "G0 Z9\nG91 G98 G85 X2 Z-3 R-8 L2",  # both holes out to 9, at feed
     "R 0 0 9 | R 2 0 9 | R 2 0 1 | F 2 0 -2 | F 2 0 9 | R 4 0 9 | R 4 0 1 | F 4 0 -2 | F 4 0 9",
     {}),
    ("3.5.16.8", "G91 G87 X10 Z-11 R1 I2 J0 K5\nG80 G90\nG0 Z9",  # K from Z, from memory
     "R 0 0 1 | R 10 0 1 | F 10 0 -5 | F 10 0 -10 | R 10 0 9", {}),
    # words that last
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nX2 Z-6\nX3 R1",
     SERIES + " | R 2 0 2 | F 2 0 -6 | R 2 0 2 | R 3 0 2 | R 3 0 1 | F 3 0 -6 | R 3 0 1", {}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nZ-7", SERIES + " | R 1 0 2 | F 1 0 -7 | R 1 0 2", {}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nF50\nM8\nG4 P1\nX2",
     SERIES + " | R 2 0 2 | F 2 0 -5 | R 2 0 2", {}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nX2 L2",  # L is of its block alone
     SERIES + 2 * " | R 2 0 2 | F 2 0 -5 | R 2 0 2", {}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2 L2\nX2",
     SERIES + " | R 1 0 2 | F 1 0 -5 | R 1 0 2 | R 2 0 2 | F 2 0 -5 | R 2 0 2", {}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nG0 X3\nX4", SERIES + " | R 3 0 2 | R 4 0 2", {}),
    ("3.5.16", "G20 G0 Z.5\nG99 G81 X1 Y1 Z-.25 R.1 F5",
     "R 0 0 12.7 | R 25.4 25.4 12.7 | R 25.4 25.4 2.54 | F 25.4 25.4 -6.35 | R 25.4 25.4 2.54", {}),
    ("3.5.16", "G55 G0 X0 Y0 Z10\nG99 G81 X1 Z-5 R2",
     "R 40 30 30 | R 41 30 30 | R 41 30 22 | F 41 30 15 | R 41 30 22", G55),
    # the height of G98 is that before the first of all cycles; G0 between begins anew
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG98 G83 X2 Z-5 R2 Q9",
     SERIES + " | R 2 0 2 | F 2 0 -5 | R 2 0 10", {}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG80\nG98 G81 X2 Z-5 R2",
     SERIES + " | R 2 0 2 | F 2 0 -5 | R 2 0 2", {}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG0 Z4\nG98 G81 X2 Z-5 R2",
     SERIES + " | R 1 0 4 | R 2 0 4 | R 2 0 2 | F 2 0 -5 | R 2 0 4", {}),
    # Z and R from before G91: the same heights, or counted anew
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X10 L2\nG90",
     SERIES + " | R 11 0 2 | F 11 0 -5 | R 11 0 2 | R 21 0 2 | F 21 0 -5 | R 21 0 2",
     {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X10\nX10",
     SERIES + " | R 11 0 2 | F 11 0 -5 | R 11 0 2 | R 21 0 2 | F 21 0 -5 | R 21 0 2",
     {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG98 G81 X1 Z-5 R2\nG91 X10",
     "R 0 0 10 | R 1 0 10 | R 1 0 2 | F 1 0 -5 | R 1 0 10 | R 11 0 10 | R 11 0 2 | F 11 0 -5"
     " | R 11 0 10", {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X10 R-1",
     SERIES + " | R 11 0 2 | R 11 0 1 | F 11 0 -5 | R 11 0 1", {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X10 Z-3",
     SERIES + " | R 11 0 2 | F 11 0 -1 | R 11 0 2", {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG91 G99 G81 X1 Z-7 R-8\nG90 X5",
     SERIES + " | R 5 0 2 | F 5 0 -5 | R 5 0 2", {"cycle_levels": "kept"}),
    ("trade", "G0 Z10\nG91 G99 G81 X1 Z-7 R-8\nG90 G55 X5 Y-30",
     SERIES + " | R 45 0 2 | F 45 0 -5 | R 45 0 2", {"cycle_levels": "kept", **G55}),
    ("3.5.16", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X10",  # from memory
     SERIES + " | R 1 0 4 | R 11 0 4 | F 11 0 -1 | R 11 0 4", {"cycle_levels": "increments"}),
    ("trade", "G0 Z10\nG99 G81 X1 Z-5 R2\nG91 X1 Z-7 R0\nG90 X5 Z-5 R2",
     SERIES + " | R 2 0 2 | F 2 0 -5 | R 2 0 2 | R 5 0 2 | F 5 0 -5 | R 5 0 2", {}),
]  # fmt: skip

ARCS = [
    ("3.5.3.2", "G1 X10\nG3 X0 Y10 I-10 J0", "F 10 0 0 | A 0 10 0 0 0 90", {}),
    ("3.5.3.2", "G1 X10\nG2 X0 Y10 I-10 J0", "F 10 0 0 | A 0 10 0 0 0 -270", {}),
    ("3.5.3.2", "G3 X0 Y20 J10", "A 0 20 0 0 10 180", {}),
    ("3.5.3.2", "G1 X7 Y7\nG17 G2 X10 Y16 I3 J4 Z9", "F 7 7 0 | A 10 16 9 10 11 -143.130102", {}),
    ("3.5.3.2", "G1 X10\nG2 X10 Y0 I-10", "F 10 0 0 | A 10 0 0 0 0 -360", {}),
    ("3.5.3.2", "G1 X10\nG3 X10 Z-2 I-10", "F 10 0 0 | A 10 0 -2 0 0 360", {}),
    ("trade", "G1 X10\nG2 I-10", "F 10 0 0 | A 10 0 0 0 0 -360", {}),
    ("3.5.3.2", "G1 X10\nG3 X0 Y10 I-10\nX-10 Y0 J-10",
     "F 10 0 0 | A 0 10 0 0 0 90 | A -10 0 0 0 0 90", {}),
    ("3.5.3.2", "G1 X10 Y10\nG91 G3 X-5 Y5 I-5", "F 10 10 0 | A 5 15 0 5 10 90", {}),
    ("3.5.3.2", "G20 G1 X1\nG3 X0 Y1 I-1", "F 25.4 0 0 | A 0 25.4 0 0 0 90", {}),
    ("3.5.3.1", "G2 X10 Y10 R10", "A 10 10 0 10 0 -90", {}),
    ("3.5.3.1", "G2 X10 Y10 R-10", "A 10 10 0 0 10 -270", {}),
    ("3.5.3.1", "G3 X10 Y10 R10", "A 10 10 0 0 10 90", {}),
    ("3.5.3.1", "G3 X10 Y10 Z-1 R-10", "A 10 10 -1 10 0 270", {}),
    ("3.5.3.1", "G1 X5\nG91 G2 X10 R5", "F 5 0 0 | A 15 0 0 10 0 -180", {}),
    ("trade", "G90.1 G1 X10\nG91 G3 X-10 Y10 I0 J0", "F 10 0 0 | A 0 10 0 0 0 90", {}),
    ("trade", "G90.1 G1 X10\nG91.1 G3 X0 Y10 I-10", "F 10 0 0 | A 0 10 0 0 0 90", {}),
    ("3.5.3", "G18\nG17 G2 X10 Y10 R10", "A 10 10 0 10 0 -90", {}),
]  # fmt: skip

ZEROS = [
    *(("3.5.13", f"{g} G1 X1 Y2 Z3", f"F {11 * k} {22 * k} {33 * k}",
       {"work_offsets": {g: (11 * k - 1, 22 * k - 2, 33 * k - 3)}})
      for k, g in enumerate(("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"))),
    ("3.5.13", "G55\nG91 G1 X1", "F 1 0 0", G55),
    ("3.5.13", "G55 G1 X1 Y0 Z0\nG54 X1", "F 41 30 20 | F 1 30 20", G55),
    ("3.5.18", "G1 X4\nG92 X7\nG1 X7\nX#5211", "F 4 0 0 | F 4 0 0 | F -6 0 0", {}),
    ("3.5.18", "G1 X4\nG92 X7\nG92 X9\nG1 X9\nX#5211", "F 4 0 0 | F 4 0 0 | F -10 0 0", {}),
    ("3.5.18", "G92 X10 Y20\nG1 X0 Y0", "F -10 -20 0", {}),
    ("3.5.18", "G92 Z5\nG1 X1 Z0", "F 1 0 -5", {}),
    ("3.5.18", "G20 G92 X1\nG21 G1 X0", "F -25.4 0 0", {}),
    ("3.5.18", "G92 X10\nG91 G1 X1", "F 1 0 0", {}),
    ("3.5.18", "G1 X4\nG92 X7\nG92.1\nG1 X#5211 Y1", "F 4 0 0 | F 0 1 0", {}),
    ("3.5.18", "G1 X4\nG92 X7\nG92.2\nG1 X#5211", "F 4 0 0 | F -3 0 0", {}),
    ("3.5.18", "G92 X3\nG55 G1 X3 Y0 Z0", "F 40 30 20", G55),
    ("3.5.5", "G10 L2 P1 X-100 Y-200 Z-290\nG1 X1 Y1 Z1", "F 1 1 11", HOME),
    ("3.5.5", "G10 L2 P1 Z-299\nG1 X1 Z1", "F 1 0 2", HOME),
    ("3.5.5", "G10 L2 P2 X-100\nG10 L2 P2 Y-200 Z-300\nG55 G1 X1", "F 1 0 0", HOME),
    ("3.2.1", "#5241=-100 #5242=-200 #5243=-290\nG55 G1 X1 Z1", "F 1 0 11", HOME),
    ("3.5.12", "G1 X5\nG0 G53 Z0\nX6", "F 5 0 0 | R 5 0 300 | R 6 0 300", HOME),
    ("3.5.12", "G53 G1 X-100 Y-190 Z-300", "F 0 10 0", HOME),
    ("3.5.8", "G91 G28 Z5\nG90 G1 X1 Z0", "R 0 0 5 | R 0 0 300 | F 1 0 0", HOME),
    ("3.5.8", "G1 X1\nG28", "F 1 0 0 | R 100 200 300", HOME),
    ("3.5.8", "G1 X1\nG28 X2 Y3", "F 1 0 0 | R 2 3 0 | R 100 200 0", HOME),
    ("trade", "G52 X5\nG52 Y5\nG1 X1 Y1", "F 6 6 0", {}),
    ("trade", "G52 X5\nG52 X7\nG1 X1", "F 8 0 0", {}),
    ("trade", "G52 X5 Y5\nG1 X0 Y0\nG52 X0 Y0\nX0", "F 5 5 0 | F 0 5 0", {}),
    ("trade", "G68 X10 Y10 R90\nG1 X20 Y10", "F 10 20 0", {}),
    ("trade", "G68 X0 Y0 R45\nG1 X10 Y0\nG69\nG1 X10 Y0", "F 7.071068 7.071068 0 | F 10 0 0", {}),
    ("trade", "G68 X0 Y0 R90\nG91 G1 X5 Y1", "F -1 5 0", {}),
    ("trade", "G68 X0 Y0 R-90\nG2 X10 Y10 R10", "A 10 -10 0 0 -10 -90", {}),
    ("trade", "G51 X0 Y0 Z0 P3.\nG1 X1 Y2 Z-1", "F 3 6 -3", {}),
    ("trade", "G51 X10 Y10 Z0 P0.5\nG1 X20 Y10", "F 15 10 0", {}),
    ("trade", "G51 X0 Y0 Z0 P2.\nG1 X1\nG50\nX1", "F 2 0 0 | F 1 0 0", {}),
    ("trade", "G51 X10 Y10 I-1 J1\nG1 X12 Y5", "F 8 5 0", {}),
    ("trade", "G51.1 Y10\nG1 X1 Y4\nG50.1\nY4", "F 1 16 0 | F 1 4 0", {}),
    ("trade", "G51.1 X0 Y0\nG1 X5\nG3 X0 Y5 I-5", "F -5 0 0 | A 0 -5 0 0 0 90", {}),
    ("trade", "G12 I6. D1", "A 1 0 0 0.5 0 -180 | A 1 0 0 0 0 -360 | A 0 0 0 0.5 0 -180",
     {"radii": {1: 5.0}}),
    ("trade", "G13 I7. K9. Q2. D1",
     "A 2 0 0 1 0 180 | A 2 0 0 0 0 360 | F 4 0 0 | A 4 0 0 0 0 360 | A 0 0 0 2 0 180",
     {"radii": {1: 5.0}}),
]  # fmt: skip

WORDS = [
    # parameters and expressions
    ("3.3.3", "#3=5\n#3=6 G1 X#3\nX#3", "F 5 0 0 | F 6 0 0", {}),
    ("3.3.3", "#3=5\nG1 X#3 #3=6 Y#3\nX#3", "F 5 5 0 | F 6 5 0", {}),
    ("3.2.1", "#1=10\nG1 X[#1/4] Y-#1", "F 2.5 -10 0", {}),
    ("3.3.2.3", "G1 X[2+3*4-6/2] Y[2**3*2] Z[[2+3]*4]", "F 11 16 20", {}),
    ("3.3.2.3", "G1 X[7 MOD 4] Y[-7 MOD 4] Z[1 OR 0]", "F 3 1 1", {}),
    ("3.3.2.3", "G1 XATAN[3]/[4] YATAN[1]/[-1] ZATAN[-1]/[0]", "F 36.869898 135 -90", {}),
    ("3.3.2.3", "G1 XSIN[30] YCOS[60] ZTAN[45]", "F 0.5 0.5 1", {}),
    ("3.3.2.3", "G1 XFIX[-2.8] YFUP[-2.8] ZROUND[2.5]", "F -3 -2 3", {}),
    ("3.3.2.3", "G[2-1] X[1]Y[2]", "F 1 2 0", {}),
    # order of execution
    ("Table 8", "X1 G91 G1\nX1", "F 1 0 0 | F 2 0 0", {}),
    ("Table 8", "X1 G1 G20", "F 25.4 0 0", {}),
    ("Table 8", "X1 Y0 Z0 G1 G55", "F 41 30 20", G55),
    ("Table 8", "X0 I-9 G3 G17", "A 0 0 0 -9 0 360", {}),
    ("Table 8", "G18\nG2 X10 Y10 R10 G17", "A 10 10 0 10 0 -90", {}),
    ("Table 8", "M30 X1 G1 F50", "F 1 0 0", {}),
    ("Table 8", "G4 P1 G1 X1", "F 1 0 0", {}),
    ("3.5.17", "G91 G1 X1 Y1\nX1\nG90 X1", "F 1 1 0 | F 2 1 0 | F 1 1 0", {}),
    ("3.5.1", "G1 X1\nG0 X2\nG1\nX3", "F 1 0 0 | R 2 0 0 | F 3 0 0", {}),
    # control flow and calls
    ("trade", "#1=3\nWHILE[#1 GT 0]DO1\nG1 X#1\n#1=#1-1\nEND1", "F 3 0 0 | F 2 0 0 | F 1 0 0", {}),
    ("trade", "#5=0\nG91\nWHILE[#5 LT 3]DO1\nG1 X2 Y1\n#5=#5+1\nEND1",
     "F 2 1 0 | F 4 2 0 | F 6 3 0", {}),
    ("trade", "#1=2\nIF[#1 NE 2]GOTO 20\nG1 X1\nGOTO 30\nN20 X2\nN30 Y1", "F 1 0 0 | F 1 1 0", {}),
    ("trade", "#1=7\nIF[#1 GE 7]THEN #1=#1*2\nG1 X#1", "F 14 0 0", {}),
    ("trade", "M98 P5 L3\nG1 X0\nM30\nO5\nG91 G1 X2\nG90\nM99",
     "F 2 0 0 | F 4 0 0 | F 6 0 0 | F 0 0 0", {}),
    ("trade", "M98 P1\nM98 P1\nM30\nO1\nG91 G1 Y1\nG90 M99", "F 0 1 0 | F 0 2 0", {}),
    ("trade", "M98 P1\nX2\nM30\nO1\nG1 X1\nM99", "F 1 0 0 | F 2 0 0", {}),  # G1 outlasts the call
    ("trade", "G65 P3 X7 Y8 Z9\nM30\nO3\nG1 X#24 Y#25 Z#26\nM99", "F 7 8 9", {}),
    ("trade", "G65 P3 A1 B2 L2\nM30\nO3\nG91 G1 X#1 Y#2\nG90 M99", "F 1 2 0 | F 2 4 0", {}),
    ("trade", "#1=1\nM98 P3\nG1 Y#1\nM30\nO3\n#1=5\nG1 X#1\nM99", "F 5 0 0 | F 5 5 0", {}),
    # lines
    ("3.3", "g01 x+001.500 y-.5", "F 1.5 -0.5 0", {}),
    ("3.3", "G1X1Y2Z-3\nX2Y0", "F 1 2 -3 | F 2 0 -3", {}),
    ("3.3", "G 1 X 1 . 5 Y - 2\n\tX2\f Y0", "F 1.5 -2 0 | F 2 0 0", {}),
    ("3.3", "N20 G1 X1\nN10 X2\nn0010 X3", "F 1 0 0 | F 2 0 0 | F 3 0 0", {}),
    ("3.3", "G1 X1\n\n   \nX2", "F 1 0 0 | F 2 0 0", {}),
    ("3.3.2.1", "G01 X1\nG001 X2\nG1.0 X3\nG00 X4", "F 1 0 0 | F 2 0 0 | F 3 0 0 | R 4 0 0", {}),
    ("3.3.2.1", "G1.00001 X1", "F 1 0 0", {}),
    ("3.3.2.1", "G59.10 G1 X1 Y0 Z0", "F 6 5 5", {"work_offsets": {"G59.1": (5, 5, 5)}}),
    ("ISO 6983", "G1 X5. Y.5 Z-.25\nX+5 Y-.5 Z0.", "F 5 0.5 -0.25 | F 5 -0.5 0", {}),
    ("3.3.4", "G1 X1 (G0 X9 M30)\n(X7)\n(a) X2 (b) Y1 (c)", "F 1 0 0 | F 2 1 0", {}),
    ("trade", "G1 X1 ; X8 M30 (\n; X9\nX2;", "F 1 0 0 | F 2 0 0", {}),
    ("3.3.1", "/G1 X5\nG1 Y1", "F 5 0 0 | F 5 1 0", {}),
    ("3.3.1", "/G1 X5\nG1 Y1", "F 0 1 0", {"block_delete": True}),
    ("3.3.1", "/N5 #1=3\n #1=4\nG1 X#1", "F 4 0 0", {"block_delete": True}),
    ("3.6.3", "T2\nG1 X1\nM6\nX2", "F 1 0 0 | F 2 0 0", {}),
    ("3.5.11", "G43 H2 Z5\nG1 X1", "R 0 0 5 | F 1 0 5", {}),
    ("3.5.15", "G80\nG1 X1", "F 1 0 0", {}),
    ("3.5.4", "G1 X1\nG4 P2.5\nX2", "F 1 0 0 | F 2 0 0", {}),
]  # fmt: skip

ALL = [*CYCLES, *ARCS, *ZEROS, *WORDS]


@pytest.mark.parametrize(("source", "text", "expected", "choices"), ALL)
def test_moves(source: str, text: str, expected: str, choices: dict[str, object]) -> None:
    assert_path(text, expected, **choices)


def test_there_are_enough() -> None:
    from test_program_language_moves import ALL as MOVES
    from test_program_language_values import PARAMETERS, VALUES

    assert len({(text, str(choices)) for _, text, _, choices in ALL}) == len(ALL) >= 120
    assert len({text for _, text, _, _ in ALL} | {text for text, _, _ in MOVES}) >= 200
    assert len(ALL) + len(MOVES) + len(PARAMETERS) + len(VALUES) >= 320
    assert {source[:2] for source, *_ in ALL} == {"3.", "Ta", "tr", "IS"}


# Lines, end point, a place on the way (derived); G2 in G18 turns from +X to +Z, G3 the other way
PLANES = [
    ("G18", "G1 X10\nG2 X0 Z10 I-10", (0, 0, 10), (7.071068, 0, 7.071068)),
    ("G18", "G1 X10\nG3 X0 Z10 I-10", (0, 0, 10), (0, 0, -10)),
    ("G18", "G1 X10\nG2 X0 Z10 R10", (0, 0, 10), (7.071068, 0, 7.071068)),
    ("G18", "G1 X10\nG2 I-10 Y-4", (10, -4, 0), (-10, -2, 0)),
    ("G19", "G1 Y10\nG3 Y0 Z10 J-10", (0, 0, 10), (0, 7.071068, 7.071068)),
    ("G19", "G1 Y10\nG2 Y0 Z10 J-10", (0, 0, 10), (0, -10, 0)),
    ("G19", "G91 G3 Y10 Z10 K10 X6", (6, 10, 10), (3, 7.071068, 2.928932)),
    ("G19", "G20 G1 Y1\nG3 Y-1 J-1", (0, -25.4, 0), (0, 0, 25.4)),
]


@pytest.mark.parametrize(("plane", "text", "end", "through"), PLANES)
def test_arcs_of_other_planes(plane: str, text: str, end: object, through: object) -> None:
    """NISTIR 6556 3.5.3 and 3.5.6, in chords within 0.1 µm."""
    found = read(f"{plane}\n{text}").program.moves
    assert found.end[-1].tolist() == list(end)
    arc = found[found.line == found.line.max()]
    a, along = arc.start, arc.end - arc.start
    share = ((np.array(through) - a) * along).sum(axis=1) / (along**2).sum(axis=1)
    off = np.linalg.norm(a + np.clip(share, 0, 1)[:, None] * along - np.array(through), axis=1)
    assert off.min() <= 1.01e-4


def test_transcript_of_the_standard() -> None:
    """NISTIR 6556 Table 10, whole but for the tool length, which is the job's."""
    found = path(
        "g1 x3 y1\ng2 x[6-[4*3/2]] r7.01 z0.5\nm6 t2 g43 h2\nz-0.5\n".replace("z-0.5", "g1 z-0.5")
        + "g1 x asin[0.5]\ng91 g81 x3 y2 z-0.8 r1.5 l2"
    )
    assert found[1][:4] == ("A", 0, 1, 0.5)
    assert found[1][4:6] == pytest.approx((1.5, 7.8476), abs=5e-5)
    assert found[2:] == moves(
        "F 0 1 -0.5 | F 30 1 -0.5 | R 30 1 1 | R 33 3 1 | F 33 3 0.2 | R 33 3 1 | R 36 5 1"
        " | F 36 5 0.2 | R 36 5 1"
    )


def test_compensation_pair_of_the_standard() -> None:
    """NISTIR 6556 appendix B: its Table 12 with D 0.5 makes the contour of its Table 13."""
    text = (
        "G1 X1 Y5\nG41 D1 G1 X1 Y4\nG3 X2 Y3 I1 J0\nG2 X3 Y2 I0 J-1\nG1 X3 Y-1\nG2 X2 Y-2 I-1 J0\n"
        "G1 X-2 Y-2\nG2 X-2.6 Y-0.2 I0 J1\nG1 X1.4 Y2.8\nG2 X2 Y3 I0.6 J-0.8\nG40"
    )
    angle = math.degrees(math.atan2(0.8, 0.6))
    assert_path(
        text,
        "F 1 5 0 | F 1.433013 4.25 0 | A 1.5 4 0 1 4 -30 | A 2 3.5 0 2 4 90 | A 3.5 2 0 2 2 -90"
        " | F 3.5 -1 0 | A 2 -2.5 0 2 -1 -90 | F -2 -2.5 0"
        f" | A -2.9 0.2 0 -2 -1 {-90 - angle} | F 1.1 3.2 0 | A 2 3.5 0 2 2 {angle - 90}",
        radii={1: 0.5},
        compensation="nistir_6556",
    )


# Two words that NISTIR 6556 Table 4 has in one group, or that 3.4 refuses side by side
CONFLICTS = [
    *("G0 G1 X1", "G2 G3 X1 I1", "G1 G81 X1 Z-1 R1", "G17 G18", "G90 G91", "G93 G94", "G20 G21"),
    *("G40 G41", "G43 H1 G49", "G98 G99", "G54 G59.3", "G61 G64", "G4 P1 G53 X1", "G28 X1 G30 X1"),
    *("G10 L2 P1 X0 G92 X0", "G1 G28.1 X1", "G2 G92 X1 I1", "G81 G28 X1 Z-1 R1", "G92 X1 G92.1"),
    *("M0 M1", "M0 M60", "M2 M30", "M3 M4", "M4 M5", "M48 M49", "M0 M3 M6 M7 M48"),
]


@pytest.mark.parametrize("text", CONFLICTS)
def test_conflicts(text: str) -> None:
    with pytest.raises(ProgramError, match=r"\Apart\.nc:4:\d+: .* (one block|not known here)"):
        read(text, **HOME)


# Programs that controls read in two ways, or that nothing stands for: refused at the word
REFUSED = [
    ("G0 Z9\nG81 X1 Z-5 R2\nG91 X1", 6, 5, "Z and R given in G90 and used in G91"),
    ("G0 Z9\nG91 G81 X1 Z-5 R-2\nG90 X1", 6, 5, "Z and R given in G91 and used in G90"),
    ("G0 Z9\nG81 X1 Z-5 R2\nG91 X1 Z-5", 6, 5, "R given in G90 and used in G91"),
    ("G18 G0 Y9\nG81 X1 Z1 Y-5 R2\nG91 X1", 6, 5, "Y and R given in G90"),
    ("G0 Z9\nG81 X1 Z-5 R2\nR3", 6, 1, "R of G81 without X, Y or Z"),
    ("G0 Z9\nG81 X1 Z-5 R2\nL3", 6, 1, "L of G81 without X, Y or Z"),
    ("G0 Z9\nG83 X1 Z-5 R2 Q1\nG98 Q2", 6, 5, "Q of G83 without X, Y or Z"),
    ("G64 P0.1 G82 X1 Z-1 R1", 4, 5, "P may be that of G64 or G82"),
    ("G0 Z9\nG81 X1 Z-5 R2\nX2 M98 P5 L3\nM30\nO5\nM99", 6, 11, "L may be that of G81 or M98"),
    ("M19 R90 G81 X1 Z-5", 4, 5, "R may be that of G81 or M19"),
    ("G65 P1 N5\nM30\nO1\nM99", 4, 8, "N5 beside G65"),
    ("G65 P1 A" + "9" * 400, 4, 8, "a number of 400 characters is too long"),
    ("G51 X0 Y0 Z0 P1000.\nG1 X500", 5, 4, "G51 makes a place more than 100000 mm away"),
    ("G51 X0 Y0 Z0 P1000.\nG18 G2 I500", 5, 8, "G51 makes a place more than 100000 mm away"),
    # a work zero that the program gives by some axes alone; angles that are set, not turned to
    ("G10 L2 P2 X-100\nG55 G1 X1", 5, 1, "G55 is not in the job's work_offsets"),
    ("#5241=-100 #5242=-200\nG55 G1 X1", 5, 1, "G55 is not in the job's work_offsets"),
    ("#5241=-100\nG1 X#5242", 5, 5, "#5242 is not known here"),
    ("G0 A90\nG92 A0\nG1 X1", 5, 5, "A with G92 is not handled"),
    ("G68 X0 Y0 R9 A5", 4, 14, "A with G68 is not handled"),
    ("G1 X1E5", 4, 6, "E words are not handled"),
    ("G1 X1..2", 4, 7, ".2 has no letter"),
    ("G1 X1,5", 4, 6, "',' can't be read"),
    ("GO X1", 4, 1, "G has no number"),
    ("G1 X[1]2", 4, 8, "2 has no letter"),
    ("G1 X1-2", 4, 6, "-2 has no letter"),
    ("/2 G1 X1", 4, 2, "2 has no letter"),
    (":10", 4, 1, "':' can't be read"),
    ("G1 X1\xa0Y1", 4, 6, "character 160 can't be read"),
    ("G1 X1\x0bX2", 4, 6, "character 11 can't be read"),
    ("G1 X\u0661", 4, 4, "X has no number"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "column", "said"), REFUSED)
def test_refused(text: str, line: int, column: int, said: str) -> None:
    with pytest.raises(ProgramError) as caught:
        read(text, **HOME)
    assert str(caught.value).startswith(f"part.nc:{line}:{column}: ")
    assert said in str(caught.value)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    ("text", "xs"),
    [
        ("%\nO1\n{head}G1 X1\nM30\n%\nX9 ?", [0, 1]),
        ("\n  \n%\n{head}G1 X1\n % \nX9", [0, 1]),
        ("{head}G1 X1\n%\nX9", [0, 1]),
        ("{head}G1 X1\nM2\nX9 ?", [0, 1]),
        ("(50% FEED)\n{head}G1 X1 (%)\nX2\nM30", [0, 1, 2]),
        ("\t{head}\f\nG1 X1\n\t\nX2 M30", [0, 1, 2]),
        ("o0001 (PART)\n{head}N1 G1 X1\nN99999 X2\nN3 M30", [0, 1, 2]),
    ],
)
def test_files(text: str, xs: list[float], end: str) -> None:
    """NISTIR 6556 3.3 and 3.6.1: where a program begins and ends."""
    whole = text.replace("{head}", HEAD).replace("\n", end)
    assert read_source(whole, settings()).program.moves.end[:, 0].tolist() == xs
