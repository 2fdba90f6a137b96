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
# What needs another block before it to be understood: & parts blocks.
SERIES = """
M3 S900&G84 X? Y? Z-4 R4 F60|M4&G86 X? Y? Z-2 R2 P1 F60|M3&G87 X? Y? Z-4 R3 I1 J-2 K-1 F50|M3&G88 X? Y? Z-1 R2 P1 F50
M4&G99 G88 X? Z-1 R2 P.5 F50&G80&G0 Z40|M3&G98 G84 X? Z-4 R4 F60&Y?&Z-5|M3&G18 G84 X? Z? Y-30 R-20 F60&G17 G80
G18 G81 X? Z? Y-30 R-20 F90&X? Z?&G80&G17|G19 G83 Y? Z? X-30 R-20 Q3 F90&G80 G17|G18 G99 G85 X? Z? Y-9 R-5 F90&G80&G17
G83 X? Y? Z-0.5 R0.3 Q0.2 F90&X?&G80|G73 X? Y? Z-1 R0 Q0.15 F90&G80|G20 G73 X? Y? Z-.02 R0 Q.006 F9&G80&G21
G91 G99 G81 X? Y? Z-2 R-1 L3 F90&G80 G90|G91 G98 G82 X? Y? Z-2 R1 P.2 L2 F90&X? L2&G80&G90
G38.2 Z? F50&G0 Z60|G38.3 X? Y? F40&G0 X0 Y0|G38.4 Y? F50&G90 G0 Y?|G38.5 Z? F50&G90 G0 Z30|G38.5 X? F50&G90 X?
G41 D1&G1 X? F90&X? Y?&G40 Y? X?|G42.1 D3&G1 Y? F90&G40 X? Y?|G42&G0 X?&G40&G1 X? Y? F80|G41.1 D2 L0&G1 X? F90&G40
G92 X? Z?&X?&G92.2&X?&G92.3&X? Z?|G92 Y0&G55 Y?&G54 Y?&G92.1|G92.1&G92 X?&G92.2&G92.3&G92.1
G56 G0 X?&G57 Y?&G54|G58 Z?&G59 X?&G54|G59.2 G0 X? Y? Z?|G59.3 X?&G54|G10 L20 P4 X? Y? Z?&G57 X?&G54
G20 G10 L20 P7 X?&G59.1|G10 L2 P9 X? Y? Z?&G59.3 X?&G54|G55&G10 L20 P0 Z?&Z?&G54
G10 L20 P1 Y?&G92 Y?&Y?&G92.1&G10 L2 P1 Y0
G0 X? Y? Z?&G28.1&G0 X? Y?&G28|G0 X? Y? Z?&G30.1&Z?&G30 Z?|G91 G28 Z0&G28 X0 Y0&G90|G91&G30 X? Y? Z?&G90
G0 Z60&G28 G90 X? Y?|G53 G0 Z-2&G53 X? Y?|G91 G53 G0 X?&G90|G1 F200&G53 Y?&G0|G20 G53 G0 X1 Y.5&G21
G90.1&G2 X5 Y5 I5 J0&G91.1
T2 M6&G43 H2&G0 Z?&X? Y?|T1 M6&G0 X? Y?&G43 H1 Z?|G43 H1 Z?&G49&G43 H1&Z?|T2&M6&G53 G0 Z-1&G43 H2|M6 T1&G28
G93&G1 X? F2&Y? F3.5&G2 I3 F1&G94 F100|G95&G1 X? F.2&G94|G94 F90&G1 X?&G20&X? F5&G21 F200|G93 F1&G0 X?&G94
#1=?&#2=[#1+?]&G0 X#1 Y#2|#3=4&#4=[#3**2-#3/2]&X[#4 mod 3] Z[abs[#3]-1]|#5=sin[30]&G1 X[#5*10] F90
#<Wide>=?&X[#<wide>+1]|#6=2&#[#6+5]=9&X#7|#8=8&##8=3 #9=#8&Y#8 X#9|#1=9 #1=2&Z[#1*10]|#2=-0&X#2 Y[#2-1]
#1=[acos[0]/9]&Y[#1+fup[.5]]&X-5
G64 P.05&G1 X? F90&Y?&G61&G64|G61.1&X?|G20 G64 P.01&G21|M48&M49&M1|G97 S90&G96 S120|G15 G50 G69|M7&M8&M9
M98 P100 L2&G0 X?|M98 P200&M98 P100|G91&M98 P100&G90|/M98 P100&X?|G20&M98 P200&G21 F100
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


def series() -> list[str]:
    """Blocks that belong together, a line break between them."""
    return [text.replace("&", "\n") for line in SERIES.strip().splitlines() for text in line.split("|")]


def loose_program(rng: random.Random, count: int, accepts: Callable[[str], bool] | None = None,
                  together: bool = False) -> str:
    """A program of any blocks. With `accepts`, a block that this refuses behind those before it is mostly left out.

    `together`: half of what it is made of are blocks that belong together (`series`).
    """
    heads = [[], ["G21 G90 G17 F100", "G0 X0 Y0", "Z30"], ["G20 G90", "G1 G94 F20", "G0 X0 Y0 Z9"]]
    lines = list(rng.choice(heads))
    tail = fill(rng, BODIES).split("\n") if rng.random() < 0.3 else []
    choices, groups = templates(), series()
    for _ in range(count):
        line = fill(rng, rng.choice(groups if together and rng.random() < 0.5 else choices))
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
