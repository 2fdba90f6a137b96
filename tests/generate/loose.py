"""Blocks of every kind in any order: not programs that anyone would run, but all of the language in few lines."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

from hypothesis import strategies as st

TEMPLATES = """
G0 X? Y?|G0 Z?|X?|Y? Z?|G1 X? Y?|G1 Z? F300|X? Y? Z?|G1 F120|F240 X?|G0|G1|G53 G0 Z-5.|G53 G1 X4. F90|G53 G0 X? Y?
G2 X10 Y0 R8|G3 X? Y? R40|G3 X? Y? R-40|G2 I? J?|G3 I4 Z?|G2 X5 Y5 I5 J0|X? Y? R60|I3 J1|G2 R9 X12
G18 G2 X? Z? R50|G19 G3 Y? Z? R50|G18|G19|G17|G18 G3 I2 K1|G19 G2 J3 K2|G17 G3 I2 K1|G3 I5 X2 Z1
G90|G91|G90|G90.1|G91.1|G20|G21|G21|G93|G94|G94 F100|G95 F0.1|G98|G99|G61|G61.1|G64|G64 P0.1|G80|G80
G81 X? Y? Z-3 R2 F100|G81 X? Z-8 R-1|G82 X? Y? Z-3 R2 P1|G83 X? Z-7 R1 Q2|G73 Y? Z-7 R2 Q1.5|G85 X? Z-4 R3
G89 X? Y? Z-3 R2 P0.2|G86 Y? Z-2 R2 P1|G84 X? Z-4 R4|G87 X? Y? Z-4 R3 I1 J1 K-1|G88 X? Y? Z-1 R2 P1
G99 G81 X? Y? R5 Z-1|G98 X? Y?|X? L3|Y? L2 Z-4|R6 X?|Z-6 X?|Q3 Y?|P2 X?|G81 Z-2 R1|G82 X?|G81 Y? R1 Z-1 L2|L2
G54|G55|G56|G59.1|G92 X0 Y?|G92 Z?|G92.1|G92.2|G92.3|G10 L2 P2 X? Y?|G10 L20 P1 X? Y?|G10 L20 P0 Z?|G10 L2 P1 X3
G10 L20 P4 X1 Y1 Z1|G92|G10 L2 P2|G28|G28 Z?|G28 X? Y?|G30|G30 Z?|G28.1|G30.1|G28 X0 Y0 Z20|G28 M5|G30 Y0
T1|T2|M6|T1 M6|T2 M6|T7|G43 H1|G43 H2 Z20|G43 Z3|G49|G43 H1 X? Z9|G49 G0 Z4|G0 G43 H2 X? Y? Z?|T1 M6 G43 H1
M3 S900|M4|M5|S100|M7|M8|M9|M0|M1|M48|M49|M3 M8|M7 M8|M3 X?|M0 Y?|S200 M4 X? Y?|G97|G96 S120 D900|M101 X4|M101
G4 P1|G4 P0.5 M5|G4|G4 X2|G4 P1 X?|G38.2 X? F50|G38.3 Z-9|G38.4 Z?|G38.2 Z4 F20
G41|G42 D1|G41 D2|G40|G40|G42 X?|G40 X? Y?|G41.1 D3|G41 D1 X? Y?|G0 G40 Z?
#1=?|#2=[#1*2]|#1=[#2-3] X#1|X#1|Z[#1+#2]|#<a>=?|X[#<a>/2]|#3=#1 Y#3|Y-#1|X[sin[30]*#1]|G#4|#4=[80 + 1]|#[1+1]=4|##1=2
X[2**2*3-1]|Y[1 or 0]|Z[10 mod 4]|X[atan[1]/[1]]|Y round[2.4]|Z[fix[-2.5]+abs[-9]]|X[1/0]|X[5-2-1]|Y[2--3]
N10 X?|N20|(a note)|; a note|X? (a note) Y?|X?(a (b))|(a (b)) X?|/X?|/G91|/N5 G0 Z9|%|x1 y 2|g 0 1 x + 1 2 . 5
X.5|X5.|X-.25|X1 Y|G0 G80|G17 G18|G0 G1|X1 X2|G28 G0 Z1|G92 G1 X3|G80 X1|M3 M5|G90 G91|A3|G0 U1|G15|G69
G50|G52 X1|G68 R3
M98 P100|M98 P200 L2|M98 P300|M99|M2|M30|M60|M19|G33 Z1|G5|G12|G7|E3|G1 E2|G0 X1e1|X1,5|X--1|O55|G73 X1|G76 X?
X1Y2Z3|G00X01.50Y-02.|M06|M02
"""
BODIES = """
M30
O100
G91
X1
Z1
G90
M99
O200
M98 P100
G1 X? Y? F200
G81 X? Y? Z-2 R3 F60
G80
M99
"""


def templates() -> list[str]:
    return [text for line in TEMPLATES.strip().splitlines() for text in line.split("|")]


def fill(rng: random.Random, text: str) -> str:
    """Put a coordinate for each question mark."""
    return re.sub(r"\?", lambda _: f"{rng.choice([0, 1, 3, 5, 10, 10, 25.4, -4, -0.5, 12.25]):g}", text)


def loose_program(rng: random.Random, count: int, accepts: Callable[[str], bool] | None = None) -> str:
    """A program of any blocks. With `accepts`, a block that this refuses behind those before it is mostly left out."""
    heads = [[], ["G21 G90 G17 F100", "G0 X0 Y0", "Z30"], ["G20 G90", "G1 G94 F20", "G0 X0 Y0 Z9"]]
    lines = list(rng.choice(heads))
    tail = fill(rng, BODIES).split("\n") if rng.random() < 0.3 else []
    choices = templates()
    for _ in range(count):
        line = fill(rng, rng.choice(choices))
        if accepts is None or rng.random() < 0.02 or accepts("\n".join([*lines, line, *tail])):
            lines.append(line)
            if re.search(r"M(0?2|30)\b", line):
                lines += rng.choice([[], [], ["what stands here"], ["G0 X1"]])
                break
    return "\n".join([*lines, *tail])


def loose_programs(accepts: Callable[[str], bool] | None = None) -> st.SearchStrategy[str]:
    """Of up to 40 blocks, before `accepts` has had its say."""
    seeds, counts = st.integers(0, 2**32), st.integers(1, 40)
    return st.builds(lambda seed, count: loose_program(random.Random(seed), count, accepts), seeds, counts)
