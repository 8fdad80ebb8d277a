"""Small programs and the moves that they make, written by hand from the documents.

Each row: lines after `helpers_program.HEAD` (the tool stands at 0 0 0, mm, G90, F100), the moves,
and choices. Clauses are of NISTIR 6556; 'trade' is common practice, no source.
"""

from __future__ import annotations

import pytest
from helpers_program import assert_path

HOME = {"home": (100.0, 200.0, 300.0)}
G55 = {"work_offsets": {"G54": (0, 0, 0), "G55": (40, 30, 20)}}
RADII = {"radii": {1: 5.0, 2: 3.0}}

FLOW = [  # trade
    ("#1=1\nWHILE [#1 LE 3] DO1\nG1 X#1\n#1=#1+1\nEND1\nY1",
     "F 1 0 0 | F 2 0 0 | F 3 0 0 | F 3 1 0", {}),
    ("WHILE[0]DO1\nG1 X9\nEND1\nG1 X1", "F 1 0 0", {}),
    ("#1=0\nWHILE[#1 LT 2]DO1\n#2=0\nWHILE[#2 LT 2]DO2\nG1 X#1 Y#2\n#2=#2+1\nEND2\n#1=#1+1\nEND1",
     "F 0 0 0 | F 0 1 0 | F 1 0 0 | F 1 1 0", {}),
    ("#1=0\nWHILE[#1 LT 1]DO1\n#1=#1+1\nG1 X#1\nEND1\nWHILE[#1 LT 3]DO1\n#1=#1+1\nG1 X#1\nEND1",
     "F 1 0 0 | F 2 0 0 | F 3 0 0", {}),
    ("#1=0\nDO1\n#1=#1+1\nG1 X#1\nIF[#1 GE 2]GOTO 9\nEND1\nN9 G1 Y1",
     "F 1 0 0 | F 2 0 0 | F 2 1 0", {}),
    ("GOTO 10\nG1 X5\nN10 G1 X6", "F 6 0 0", {}),
    ("#1=20\nGOTO #1\nN10 G1 X1\nN20 G1 X2", "F 2 0 0", {}),
    ("GOTO[10*2]\nN10 G1 X1\nN20 G1 X2", "F 2 0 0", {}),
    ("#1=0\nIF[1 EQ 1]THEN #1=4\nIF[1 EQ 2]THEN #1=5\nG1 X#1", "F 4 0 0", {}),
    ("IF [1 EQ 2] GOTO 10\nG1 X5\nN10 G1 X6", "F 5 0 0 | F 6 0 0", {}),
    ("IF [1 EQ 1] THEN GOTO 10\nG1 X5\nN10 G1 X6", "F 6 0 0", {}),
    ("#1=0\nN5 #1=#1+1\nG1 X#1\nIF[#1 LT 3]GOTO 5", "F 1 0 0 | F 2 0 0 | F 3 0 0", {}),
    ("#1=0\nN10 WHILE [#1 LT 2] DO 7 (TWICE)\nG1 X#1 ;a\nN20 #1=#1+1\nN30 END 7",
     "F 0 0 0 | F 1 0 0", {}),
    ("#1=0\nWHILE[#1 LT 5]DO1\n#1=#1+1\nIF[#1 EQ 2]GOTO 3\nG1 X#1\nN3\nEND1",
     "F 1 0 0 | F 3 0 0 | F 4 0 0 | F 5 0 0", {}),
    ("/GOTO 10\nG1 X5\nN10 G1 X6", "F 5 0 0 | F 6 0 0", {"block_delete": True}),
    ("/GOTO 10\nG1 X5\nN10 G1 X6", "F 6 0 0", {}),
    # a circle of chords: 90 degrees in two steps
    ("#1=45\nWHILE[#1 LE 90]DO1\nG1 X[10*COS[#1]-10] Y[10*SIN[#1]]\n#1=#1+45\nEND1",
     "F -2.928932 7.071068 0 | F -10 10 0", {}),
]  # fmt: skip

CALLS = [  # ISO 6983 and trade, from memory
    ("M98 P100 L2\nM30\nO100\nG91 G1 X1\nG90 M99", "F 1 0 0 | F 2 0 0", {}),
    ("M98 P100\nG1 Y1\nM30\nO0100 (SUB)\nG1 X1\nM99", "F 1 0 0 | F 1 1 0", {}),
    ("M98 P1\nM30\nO1\nG1 X1\nM98 P2\nX3\nM99\nO2\nG1 X2\nM99", "F 1 0 0 | F 2 0 0 | F 3 0 0", {}),
    ("G1 X5 M98 P10\nM30\nO10\nY2\nM99", "F 5 0 0 | F 5 2 0", {}),
    ("M98 P10\nM30\nO10\nG1 X1\nX2 M99", "F 1 0 0 | F 2 0 0", {}),
    ("M98 P10\nG1 X5\nN7 G1 X6\nM30\nO10\nG1 X1\nM99 P7", "F 1 0 0 | F 6 0 0", {}),
    ("M97 P50 L2\nG90 G1 Y1\nM30\nN50 G91 G1 X1\nM99", "F 1 0 0 | F 2 0 0 | F 2 1 0", {}),
    ("#1=3\nM98 P10\nG1 X#1\nM30\nO10\nG1 X#1\n#1=4\nM99", "F 3 0 0 | F 4 0 0", {}),
    ("M98 P20010\nM30\nO10\nG91 G1 X1\nM99", "F 1 0 0 | F 2 0 0", {"call_repeats": "digits"}),
    ("M98 P20010\nM30\nO10\nG1 X1\nM99\nO20010\nG1 X7\nM99", "F 7 0 0", {}),
    ("G1 X1\nM99\nX2", "F 1 0 0", {}),
    ("G65 P100 A5 B2\nM30\nO100\nG1 X#1 Y[#2**2]\nM99", "F 5 4 0", {}),
    ("G65 P1 D7 E8 F9 H11\nM30\nO1\nG1 X#7 Y#8 Z#9\nX#11\nM99", "F 7 8 9 | F 11 8 9", {}),
    ("G65 P1 C3 I4 J5 K6\nM30\nO1\nG1 X#3 Y#4 Z#5\nX#6\nM99", "F 3 4 5 | F 6 4 5", {}),
    ("G65 P1 M13 Q17 R18\nM30\nO1\nG1 X#13 Y#17 Z#18\nM99", "F 13 17 18", {}),
    ("G65 P1 S19 T20 U21\nM30\nO1\nG1 X#19 Y#20 Z#21\nM99", "F 19 20 21", {}),
    ("G65 P1 V22 W23 X24 Y25 Z26\nM30\nO1\nG1 X#22 Y#23 Z#24\nX#25 Y#26\nM99",
     "F 22 23 24 | F 25 26 24", {}),
    # the second way of writing: sets of I, J, K
    ("G65 P1 A1 I4 J5 K6 I7 J8 K9\nM30\nO1\nG1 X#4 Y#5 Z#6\nX#7 Y#8 Z#9\nX#1\nM99",
     "F 4 5 6 | F 7 8 9 | F 1 8 9", {}),
    ("G65 P1 I4 I7 K9\nM30\nO1\nG1 X#4 Y#7 Z#9\nM99", "F 4 7 9", {}),
    # a macro has locals of its own, fresh for each repeat; the caller's stay
    ("#1=3\nG65 P9 A5 L2\nG1 X#1\nM30\nO9\nG1 X#1\n#1=#1+1\nX#1\nM99",
     "F 5 0 0 | F 6 0 0 | F 5 0 0 | F 6 0 0 | F 3 0 0", {}),
    ("G65 P9 A[1+1]\nM30\nO9\nG65 P8 A[#1*2]\nG1 Y#1\nM99\nO8\nG1 X#1\nM99",
     "F 4 0 0 | F 4 2 0", {}),
    ("G65 P9 A1\nM30\nO9\nIF[#2 EQ #0]GOTO 1\nG1 X9\nN1 G1 X#1\nM99", "F 1 0 0", {}),
    ("#<a>=1\n#<_b>=2\nM98 P9\nG1 X#<a>\nM30\nO9\n#<a>=5\nG1 X#<_b>\nM99", "F 2 0 0 | F 1 0 0", {}),
    ("M98 P9\nM30\nO9\n#1=0\nWHILE[#1 LT 2]DO1\n#1=#1+1\nG1 X#1\nEND1\nM99",
     "F 1 0 0 | F 2 0 0", {}),
    ("M98 P9\nN1 G1 Y1\nM30\nO9\nGOTO 1\nG1 X9\nN1 G1 X1\nM99", "F 1 0 0 | F 1 1 0", {}),
]  # fmt: skip

ZEROS = [
    # G52, trade
    ("G52 X10\nG1 X1\nG52 X0\nX1", "F 11 0 0 | F 1 0 0", {}),
    ("G52 X10 Y20\nG52 Y0\nG1 X1 Y1 Z1", "F 11 1 1", {}),
    ("G52 X10\nG55 G1 X1 Y1 Z1", "F 51 31 21", G55),
    ("G20 G52 X1\nG21 G1 X1", "F 26.4 0 0", {}),
    ("G52 X10\nG91 G1 X1", "F 1 0 0", {}),
    # G92 family, 3.5.18: at X4, G92 X7 makes the offset -3; then G92 X9 makes it -5
    ("G1 X4\nG92 X7\nG1 X8", "F 4 0 0 | F 5 0 0", {}),
    ("G1 X4\nG92 X7\nG1 X#5211", "F 4 0 0 | F -6 0 0", {}),
    ("G1 X4\nG92 X7\nG92 X9\nG1 X#5211", "F 4 0 0 | F -10 0 0", {}),
    ("G1 X4\nG92 X7\nG92.2\nX1\nG92.3\nX1", "F 4 0 0 | F 1 0 0 | F -2 0 0", {}),
    ("G1 X4\nG92 X7\nG92.1\nX1\nG92.3\nX2", "F 4 0 0 | F 1 0 0 | F 2 0 0", {}),
    ("G1 X4 Y4\nG92 Y0\nX1 Y1", "F 4 4 0 | F 1 5 0", {}),
    ("G1 X4\nG92 X0\nG55 X1 Y0 Z0", "F 4 0 0 | F 45 30 20", G55),
    ("#5211=3\nG92.3\nG1 X1", "F 4 0 0", {}),
    ("G92 S2000\nG1 X1", "F 1 0 0", {}),
    # G10 L2, 3.5.5: from machine zero, here at (100, 200, 300)
    ("G10 L2 P1 X-90\nG1 X1 Y1", "F 11 1 0", HOME),
    ("G10 L2 P2 X-100 Y-200 Z-300\nG55 G1 X1", "F 1 0 0", HOME),
    ("G10 L2 P9 X-100 Y-190 Z-300\nG59.3 G1 X1 Y1", "F 1 11 0", HOME),
    ("G20 G10 L2 P1 X-4\nG21 G1 X0", "F -1.6 0 0", HOME),
    ("G91 G10 L2 P1 X5\nG90 G1 X1", "F 6 0 0", {**HOME, "g10_in_g91": "add"}),
    ("G91 G10 L2 P1 X5\nG90 G1 X1", "F 106 0 0", {**HOME, "g10_in_g91": "set"}),
    # parameters 5221 on act when next selected, 3.2.1
    ("#5221=-95\nG1 X1\nG54\nX2", "F 1 0 0 | F 7 0 0", HOME),
    # G53, 3.5.12; G28 and G30, 3.5.8 (axes left out stay: trade), their places in 5161 and 5181
    ("G1 X0\nG0 G53 X-90", "F 0 0 0 | R 10 0 0", HOME),
    ("G91 G53 G1 X-90 Y-190", "F 10 10 0", HOME),
    ("G1 X0\nG28 X50", "F 0 0 0 | R 50 0 0 | R 100 0 0", HOME),
    ("#5161=-10\nG1 X0\nG28 X50", "F 0 0 0 | R 50 0 0 | R 90 0 0", HOME),
    ("#5182=-10 #5181=-1\nG1 X0\nG30 X50 Y1", "F 0 0 0 | R 50 1 0 | R 99 190 0", HOME),
    ("G1 X0\nG28 X50", "F 0 0 0 | R 50 0 0 | R 100 200 300", {**HOME, "home_axes": "all"}),
    ("G1 X0\nG30 P2 Z5", "F 0 0 0 | R 0 0 5 | R 0 0 300", HOME),
    # centres from the work zero: G90.1 (from memory)
    ("G1 X10\nG90.1 G3 X0 Y10 I0 J0", "F 10 0 0 | A 0 10 0 0 0 90", {}),
    ("G1 X10\nG3 X0 Y10 I0 J0", "F 10 0 0 | A 0 10 0 0 0 90", {"arc_centers": "absolute"}),
    ("G1 X10\nG91.1 G3 X0 Y10 I-10", "F 10 0 0 | A 0 10 0 0 0 90", {"arc_centers": "absolute"}),
    ("G55\nG1 X10 Y0 Z0\nG90.1 G2 X0 Y-10 I0 J0", "F 50 30 20 | A 40 20 20 40 30 -90", G55),
    # probing to its programmed end, nothing cut on the way: 3.5.9
    ("G38.2 Z-5\nG1 X1", "F 1 0 -5", {}),
    ("G31 Z-5 F50\nG1 X1", "F 1 0 -5", {}),
]  # fmt: skip

TURNED = [  # trade
    ("G68 X0 Y0 R90\nG1 X10 Y0\nG69", "F 0 10 0", {}),
    ("G68 X0 Y0 R30\nG1 X10 Y0", "F 8.660254 5 0", {}),
    ("G68 X5 Y5 R180\nG1 X10 Y5", "F 0 5 0", {}),
    ("G68 X0 Y0 R-90\nG1 X10 Y5 Z1", "F 5 -10 1", {}),
    ("G68 X0 Y0 R90\nG1 X10 Y0\nX5\nY5", "F 0 10 0 | F 0 5 0 | F -5 5 0", {}),
    ("G68 X0 Y0 R90\nG1 X10 Y0\nG3 X0 Y10 I-10", "F 0 10 0 | A -10 0 0 0 0 90", {}),
    ("G68 X0 Y0 R90\nG1 X10 Y0\nG2 X20 Y10 R10", "F 0 10 0 | A -10 20 0 0 20 -90", {}),
    ("G1 X10\nG68 X0 Y0 R90\nG91 G1 X5", "F 10 0 0 | F 10 5 0", {}),
    ("G68 X0 Y0 R90\nG1 X10 Y0\nG69\nG0 Z5\nG1 X3 Y0", "F 0 10 0 | R 0 10 5 | F 3 0 5", {}),
    ("G55\nG68 X0 Y0 R90\nG1 X10 Y0 Z0", "F 40 40 20", G55),
    ("G18 G68 X0 Z0 R90\nG1 X0 Z10", "F 10 0 0", {}),  # from Z to X
    ("G19 G68 Y0 Z0 R90\nG1 Y10 Z0", "F 0 0 10", {}),
    ("G1 X10\nG68 R90\nG1 X20 Y0", "F 10 0 0 | F 10 10 0", {"turn_center": "tool"}),
    ("G1 X10\nG68 R90\nG1 X20 Y0", "F 10 0 0 | F 0 20 0", {"turn_center": "zero"}),
    ("G0 Z10\nG68 X0 Y0 R90\nG99 G81 X10 Y0 Z-5 R2",
     "R 0 0 10 | R 0 10 10 | R 0 10 2 | F 0 10 -5 | R 0 10 2", {}),
    # scaling
    ("G51 X0 Y0 Z0 P2.0\nG1 X10 Y1 Z2\nG50\nX0", "F 20 2 4 | F 0 2 4", {}),
    ("G51 X10 Y0 Z0 P2.0\nG1 X20", "F 30 0 0", {}),
    ("G51 X0 Y0 Z0 P.5\nG1 X5 Y0\nG3 X0 Y5 I-5", "F 2.5 0 0 | A 0 2.5 0 0 0 90", {}),
    ("G51 X0 Y0 Z0 I2.0 J1.0 K1.0\nG1 X5 Y5", "F 10 5 0", {}),
    ("G51 X0 Y0 Z0 I1 J1 K2.0\nG1 X5\nG3 X0 Y5 Z-1 I-5", "F 5 0 0 | A 0 5 -2 0 0 90", {}),
    ("G51 X0 Y0 Z0 P2.0\nG91 G1 X5\nX5", "F 10 0 0 | F 20 0 0", {}),
    ("G51 X0 Y0 Z0 P2000\nG1 X5", "F 10 0 0", {"scale_whole": "thousandth"}),
    ("G51 X0 Y0 Z0 P2\nG1 X5", "F 10 0 0", {"scale_whole": "one"}),
    ("G51 X0 Y0 Z0 P2.0\nG1 X5 Y0\nG2 X10 Y5 R5", "F 10 0 0 | A 20 10 0 20 0 -90", {}),
    ("G50 S3000\nG1 X5", "F 5 0 0", {}),
    # mirror: an arc changes sides; both axes make half a turn
    ("G51 X0 Y0 I-1 J1\nG1 X5 Y0\nG3 X0 Y5 I-5", "F -5 0 0 | A 0 5 0 0 0 -90", {}),
    ("G51 X0 Y0 I-1 J-1\nG1 X5 Y0\nG3 X0 Y5 I-5", "F -5 0 0 | A 0 -5 0 0 0 90", {}),
    ("G51 X0 Y0 Z0 I1 J1 K-1\nG1 X5\nG3 X0 Y5 Z-1 I-5", "F 5 0 0 | A 0 5 1 0 0 90", {}),
    ("G51.1 X10\nG1 X5 Y1\nG50.1\nX5", "F 15 1 0 | F 5 1 0", {}),
    ("G51.1 X0\nG1 X5 Y0\nG3 X0 Y5 R5\nG50.1 X0", "F -5 0 0 | A 0 5 0 0 0 -90", {}),
    ("G51.1 Y0\nG1 X5 Y0\nG2 X0 Y5 I-5 J0", "F 5 0 0 | A 0 -5 0 0 0 270", {}),
]  # fmt: skip

CYCLES = [
    # G73, trade: after each peck a little back, not out
    ("G0 Z5\nG99 G73 X1 Z-5 R1 Q2.5",
     "R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -1.5 | R 1 0 -1.246 | F 1 0 -4 | R 1 0 -3.746 | F 1 0 -5"
     " | R 1 0 1", {}),
    # 3.5.16.5 to 10: tapping and G85, G89 feed out to the clear height, G86 and G88 don't
    *((f"G0 Z5\nG98 {g} X1 Z-5 R1", "R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -5 | F 1 0 5", {})
      for g in ("G84", "G74", "G85", "G89", "G89 P1")),
    *((f"G0 Z5\nG98 {g} X1 Z-5 R1", "R 0 0 5 | R 1 0 5 | R 1 0 1 | F 1 0 -5 | R 1 0 5", {})
      for g in ("G81", "G82 P1", "G86", "G86 P1", "G88", "G76 Q0.2", "G76 I0.1 J0.1")),
    # 3.5.16.8: G87, of which the cut upwards from Z to K is shown
    ("G87 X10 Z-10 R1 I2 J0 K-5\nG80\nG0 Z9",
     "R 0 0 1 | R 10 0 1 | F 10 0 -5 | F 10 0 -10 | R 10 0 9", {}),
    # 3.5.16.2, example 2, repeated by K (trade) as by L
    ("G0 X1 Y2 Z3\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 K3",
     "R 1 2 3 | R 1 2 4.8 | R 5 7 4.8 | F 5 7 4.2 | R 5 7 4.8 | R 9 12 4.8 | F 9 12 4.2"
     " | R 9 12 4.8 | R 13 17 4.8 | F 13 17 4.2 | R 13 17 4.8", {}),
    # 3.5.16: in G18 Y is the depth, in G19 X
    ("G18 G81 Y-5 R2 X3 Z4", "R 0 2 0 | R 3 2 4 | F 3 -5 4 | R 3 2 4", {}),
    ("G0 X9\nG19 G99 G81 X-5 R2 Y3 Z4", "R 9 0 0 | R 9 3 4 | R 2 3 4 | F -5 3 4 | R 2 3 4", {}),
    ("G18 G91 G81 X1 Z2 R2 Y-1 L2",
     "R 0 2 0 | R 1 2 2 | F 1 1 2 | R 1 2 2 | R 2 2 4 | F 2 1 4 | R 2 2 4", {}),
    ("G0 Y5\nG18 G98 G83 X1 Y-3 R1 Q2",
     "R 0 5 0 | R 1 5 0 | R 1 1 0 | F 1 -1 0 | R 1 1 0 | R 1 -0.746 0 | F 1 -3 0 | R 1 5 0", {}),
    # R in G91 after G99: from the tool (3.5.16) or from the height before (trade)
    ("G0 Z10\nG91 G99 G81 X1 Z-3 R-8\nX1",
     "R 0 0 10 | R 1 0 10 | R 1 0 2 | F 1 0 -1 | R 1 0 2 | R 2 0 2 | R 2 0 -6 | F 2 0 -9"
     " | R 2 0 -6", {}),
    ("G0 Z10\nG91 G99 G81 X1 Z-3 R-8\nX1",
     "R 0 0 10 | R 1 0 10 | R 1 0 2 | F 1 0 -1 | R 1 0 2 | R 2 0 2 | F 2 0 -1 | R 2 0 2",
     {"cycle_r_in_g91": "initial"}),
    ("G0 Z5\nG99 G81 X1 Z-1 R1 L0\nX2\nX3",
     "R 0 0 5 | R 2 0 5 | R 2 0 1 | F 2 0 -1 | R 2 0 1 | R 3 0 1 | F 3 0 -1 | R 3 0 1",
     {"cycle_repeats_0": "stores"}),
    # circle pockets, trade: half circle out, round, half circle back
    ("G12 I10. D1 Z-2",
     "F 0 0 -2 | A 5 0 -2 2.5 0 -180 | A 5 0 -2 0 0 -360 | A 0 0 -2 2.5 0 -180", RADII),
    ("G1 X20 Y10\nG13 I10. D1",
     "F 20 10 0 | A 25 10 0 22.5 10 180 | A 25 10 0 20 10 360 | A 20 10 0 22.5 10 180", RADII),
    ("G13 I8. K12. Q2. D1 Z-1",
     "F 0 0 -1 | A 3 0 -1 1.5 0 180 | A 3 0 -1 0 0 360 | F 5 0 -1 | A 5 0 -1 0 0 360 | F 7 0 -1"
     " | A 7 0 -1 0 0 360 | A 0 0 -1 3.5 0 180", RADII),
    ("G13 I10. D3", "A 4.9 0 0 2.45 0 180 | A 4.9 0 0 0 0 360 | A 0 0 0 2.45 0 180",
     {**RADII, "d_errors": {3: 0.1}}),
]  # fmt: skip

SIDE = [  # trade, but for the last: radius 5, derived
    # outside corner by an arc; G40 with the move out
    ("G41 D1 G1 X20 Y0\nY50\nX80\nG40 Y80",
     "F 15 0 0 | F 15 50 0 | A 20 55 0 20 50 -90 | F 80 55 0 | F 80 80 0", RADII),
    ("G42 D1 G1 X20 Y0\nY50\nX80\nG40 Y80",
     "F 25 0 0 | F 25 45 0 | F 80 45 0 | F 80 80 0", RADII),  # inside corner
    ("G41 D1 G1 X20 Y0\nY50\nX80\nG40 Y80",
     "F 15 0 0 | F 15 55 0 | F 80 55 0 | F 80 80 0", {**RADII, "outside_corner": "intersection"}),
    ("G41 D2 G1 X20 Y0\nY50\nG40 Y60",
     "F 14.9 0 0 | F 14.9 50 0 | F 20 60 0", {**RADII, "d_errors": {2: 0.1}}),  # wear in D2
    ("G41 D2 G1 X20 Y0\nY50\nG40 Y60",
     "F 19.9 0 0 | F 19.9 50 0 | F 20 60 0", {"d_errors": {2: 0.1}, "d_holds": "wear"}),
    ("G41 D0 G1 X20 Y0\nY50\nG40 Y60", "F 20 0 0 | F 20 50 0 | F 20 60 0", RADII),
    ("G41 G1 X20 Y0\nY50\nG40 Y60", "F 15 0 0 | F 15 50 0 | F 20 60 0", RADII),  # D: the tool's
    # Z on the way, and an arc: inside radius 15 - 5
    ("G41 D1 G1 X15 Y0\nZ-3\nG3 X0 Y15 I-15\nG40 G1 X0 Y0",
     "F 10 0 0 | F 10 0 -3 | A 0 10 -3 0 0 90 | F 0 0 -3", RADII),
    # G40 without X or Y: the tool stays beside the path
    ("G41 D1 G1 X20 Y0\nY50\nG40 Z5\nX0 Y0", "F 15 0 0 | F 15 50 0 | F 15 50 5 | F 0 0 5", RADII),
    ("G41 D1 G1 X20 Y0\nY50\nG40\nG0 Z5\nG1 X0 Y0",
     "F 15 0 0 | F 15 50 0 | R 15 50 5 | F 0 0 5", RADII),
    ("G41 D1 G1 X20 Y0\nY50\nG40 G0 X0 Y0 Z9", "F 15 0 0 | F 15 50 0 | R 0 0 9", RADII),
    # mirrored, the tool stays on the same side of the metal
    ("G51.1 X0\nG41 D1 G1 X20 Y0\nY50\nG40 Y60", "F -15 0 0 | F -15 50 0 | F -20 60 0", RADII),
    # 3.5.10 and appendix B: from (1, 5) to (1, 4), radius 0.5, to (1.4330, 4.25)
    ("G1 X1 Y5\nG41 D1 X1 Y4\nX-4 Y4\nG40", "F 1 5 0 | F 1.433013 4.25 0"
     " | A 1 3.5 0 1 4 -120 | F -4 3.5 0", {"radii": {1: 0.5}, "compensation": "nistir_6556"}),
]  # fmt: skip

ALL = [*FLOW, *CALLS, *ZEROS, *TURNED, *CYCLES, *SIDE]


@pytest.mark.parametrize(("text", "expected", "choices"), ALL)
def test_moves(text: str, expected: str, choices: dict[str, object]) -> None:
    assert_path(text, expected, **choices)


def test_there_are_enough() -> None:
    assert len(ALL) >= 120
    assert len({(text, str(choices)) for text, _, choices in ALL}) == len(ALL)
