"""Every code: its modal group, and whether it is followed, passed through or refused, and why.

Groups are numbered as in NISTIR 6556, table 4 (G) and its M groups with a leading "M"; groups of codes that the
report does not have carry names. docs/language.md holds the same table for users; a test compares the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

FOLLOWED, PASSED, REFUSED = "followed", "passed through", "refused"


@dataclass(slots=True, frozen=True)
class Code:
    """A code's modal group, its status and what it means in plain words."""

    group: str
    status: str
    about: str


def _table() -> dict[str, Code]:
    table: dict[str, Code] = {}

    def add(group: str, status: str, **codes: str) -> None:
        for name, about in codes.items():
            table[name.replace("_", ".")] = Code(group, status, about)

    add("0", FOLLOWED, G4="dwell", G10="set an offset (L2, L20)", G28="go home by way of a point",
        G30="go to the second home by way of a point", G28_1="make this position the home",
        G30_1="make this position the second home", G53="move in machine coordinates",
        G92="shift the coordinates", G92_1="cancel the shift and forget it", G92_2="cancel the shift",
        G92_3="restore the shift")
    add("1", FOLLOWED, G0="rapid", G1="straight cut", G2="arc, clockwise", G3="arc, counter-clockwise",
        G38_2="probe", G38_3="probe", G38_4="probe away", G38_5="probe away", G73="drill, chip breaking",
        G80="end of a cycle", G81="drill", G82="drill with dwell", G83="drill, pecking", G84="tap",
        G85="bore, feed out", G86="bore, stop, rapid out", G87="back bore", G88="bore, stop, out by hand",
        G89="bore with dwell, feed out")
    add("2", FOLLOWED, G17="plane XY", G18="plane XZ", G19="plane YZ")
    add("3", FOLLOWED, G90="absolute distances", G91="incremental distances")
    add("4", FOLLOWED, G90_1="arc centres absolute", G91_1="arc centres incremental")
    add("5", FOLLOWED, G93="feed as inverse time", G94="feed a minute", G95="feed a turn")
    add("6", FOLLOWED, G20="inches", G21="millimetres")
    add("7", FOLLOWED, G40="cutter compensation off", G41="cutter compensation left", G42="cutter compensation right",
        G41_1="cutter compensation left, diameter given", G42_1="cutter compensation right, diameter given")
    add("8", FOLLOWED, G43="tool length offset on", G49="tool length offset off")
    table["G43.1"] = Code("8", REFUSED, "a tool length offset written in the program")
    add("10", FOLLOWED, G98="cycles return to the initial level", G99="cycles return to the R level")
    add("12", FOLLOWED, **{f"G{n}": f"work offset {k}" for k, n in enumerate((54, 55, 56, 57, 58, 59), 1)},
        G59_1="work offset 7", G59_2="work offset 8", G59_3="work offset 9")
    add("13", FOLLOWED, G61="exact path", G61_1="exact stop", G64="path blending")
    add("14", PASSED, G96="constant surface speed", G97="spindle speed in turns")
    add("polar", PASSED, G15="polar coordinates off")
    add("scale", PASSED, G50="scaling off")
    add("turn", PASSED, G69="rotation off")
    add("polar", REFUSED, G16="polar coordinates")
    add("scale", REFUSED, G51="scaling")
    add("turn", REFUSED, G68="rotation of the coordinates")
    add("mirror", REFUSED, G50_1="mirror off", G51_1="mirror image")
    add("other", REFUSED, G5="spline", G5_1="spline", G5_2="spline", G5_3="spline", G6="spline",
        G7="lathe diameter mode", G8="lathe radius mode", G9="exact stop for one block",
        G11="end of data input", G12="circular pocket", G13="circular pocket", G12_1="polar interpolation",
        G13_1="polar interpolation off", G29="return from home", G31="skip move", G32="threading", G33="threading",
        G33_1="rigid tapping", G34="threading", G44="negative tool length offset", G45="tool offset move",
        G46="tool offset move", G47="tool offset move", G48="tool offset move", G52="local coordinate shift",
        G60="one-way positioning", G65="macro call", G66="modal macro call", G67="end of a modal macro call",
        G70="lathe finishing", G71="lathe roughing", G72="lathe facing", G74="left-hand tap", G76="fine bore",
        G88_1="bore", G100="a code of one maker")
    add("M4", FOLLOWED, M0="stop", M1="optional stop", M2="end of the program", M30="end of the program")
    table["M60"] = Code("M4", REFUSED, "pallet change: what stands on the table is another one afterwards")
    add("M6", FOLLOWED, M6="tool change")
    add("M7", PASSED, M3="spindle clockwise", M4="spindle counter-clockwise", M5="spindle off")
    add("M8", PASSED, M7="mist on", M8="flood on", M9="coolant off")
    add("M9", PASSED, M48="overrides on", M49="overrides off")
    add("call", FOLLOWED, M98="call a subprogram", M99="end of a subprogram")
    add("other", REFUSED, M10="clamp on", M11="clamp off", M19="spindle orientation", M50="feed override",
        M51="spindle override", M62="output", M63="output", M64="output", M65="output", M66="wait for an input",
        M97="call of a local subprogram")
    return table


CODES = _table()

REFUSED_LETTERS = {
    "A": "a rotary axis", "B": "a rotary axis", "C": "a rotary axis", "U": "a secondary axis",
    "V": "a secondary axis", "W": "a secondary axis", "E": "an E word",
}

CYCLES = frozenset({"G73", "G81", "G82", "G83", "G84", "G85", "G86", "G87", "G88", "G89"})
ARCS = frozenset({"G2", "G3"})
PROBES = frozenset({"G38.2", "G38.3", "G38.4", "G38.5"})
OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
# Codes that use axis words though they are not motions (NISTIR 6556, section 3.4).
AXIS_USERS = frozenset({"G10", "G28", "G30", "G92"})


@lru_cache(maxsize=1024)
def spell(letter: str, value: Decimal) -> str:
    """A code as the table spells it: `G01` and `G1.0` are "G1". Empty for numbers that are no codes."""
    if value < 0 or value >= 1000 or value != round(value, 1):
        return ""
    text = format(value.normalize(), "f") if value else "0"
    return letter + text
