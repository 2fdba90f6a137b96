"""The referees themselves, against what others say: worked examples, hand arithmetic, pygcode's machine.

"From memory" marks an example of the RS274/NGC report (NISTIR 6556) that was written down without the text at hand.
"""

from __future__ import annotations

import math
import random

import pytest
from pygcode import Line as PygcodeLine
from pygcode import Machine

from tests.referee.plain_bench import Obstacle, Section, bench_of, core_of
from tests.referee.plain_judge import judge
from tests.referee.plain_options import Options, options_of
from tests.referee.plain_reader import NotUnderstood, Reading, read
from tests.referee.plain_rule import anywhere_between, arc_points, clip, contact, needed_height, reaches, straight
from tests.referee.plain_solids import collides

BENCH = {
    "format": 1,
    "units": "mm",
    "program": {"starts_in": ["G21", "G90", "G17"]},
    "clearance": {"above": 3.0, "beside": 3.0, "tolerance": 1.0},
    "machine": {"start": [0.0, 0.0, 50.0], "rapid_path": "straight", "corner_rounding": 0.0},
    "tools": [{"number": 1, "diameter": 6.0}],
    "obstacles": [{"name": "clamp", "shape": "box", "center": [50.0, 0.0], "size": [20.0, 20.0], "top": 18.0}],
}


def started(x: float, y: float, z: float, **more: object) -> Options:
    return Options(start=(x, y, z), **more)  # type: ignore[arg-type]


def steps(reading: Reading) -> list[tuple[str, tuple[float, ...]]]:
    return [(move.kind, tuple(round(float(v), 9) for v in move.end)) for move in reading.moves]


def last(program: bytes, options: Options | None = None) -> tuple[float, ...]:
    reading = read(program, options or started(0, 0, 0))
    return tuple(round(float(v), 9) for v in reading.state.position)


def test_report_example_of_a_drilled_hole_in_absolute_mode() -> None:
    # NISTIR 6556, section 3.5.16.2, first example; from memory.
    reading = read(b"F100\nG90 G81 G98 X4 Y5 Z1.5 R2.8\n", started(1, 2, 3))
    assert steps(reading) == [
        ("rapid", (4, 5, 3)),
        ("rapid", (4, 5, 2.8)),
        ("cut", (4, 5, 1.5)),
        ("rapid", (4, 5, 3)),
    ]


def test_report_example_of_three_holes_in_incremental_mode() -> None:
    # NISTIR 6556, section 3.5.16.2, second example; from memory.
    reading = read(b"F100\nG91 G81 G98 X4 Y5 Z-0.6 R1.8 L3\n", started(1, 2, 3))
    expected = [("rapid", (1, 2, 4.8))]
    for x, y in ((5, 7), (9, 12), (13, 17)):
        expected += [("rapid", (x, y, 4.8)), ("cut", (x, y, 4.2)), ("rapid", (x, y, 4.8))]
    assert steps(reading) == expected


def test_initial_level_and_r_level() -> None:
    # G99 stays at R, G98 goes back to the height before the cycles (section 3.5.20).
    program = b"F60\nG99 G81 X10 Y0 Z-5 R2\nX20\nG98 X30\n"
    assert steps(read(program, started(0, 0, 30))) == [
        ("rapid", (10, 0, 30)),
        ("rapid", (10, 0, 2)),
        ("cut", (10, 0, -5)),
        ("rapid", (10, 0, 2)),
        ("rapid", (20, 0, 2)),
        ("cut", (20, 0, -5)),
        ("rapid", (20, 0, 2)),
        ("rapid", (30, 0, 2)),
        ("cut", (30, 0, -5)),
        ("rapid", (30, 0, 30)),
    ]


def test_pecks_by_hand() -> None:
    # 8 mm deep from R2 in pecks of 4: to -2, out to R, back to -2 + 0.254, to -6, out, back, to -8 (section 3.5.16.4).
    reading = read(b"F60\nG98 G83 X5 Y5 Z-8 R2 Q4\n", started(5, 5, 20))
    assert [(kind, end[2]) for kind, end in steps(reading)] == [
        ("rapid", 2),
        ("cut", -2),
        ("rapid", 2),
        ("rapid", -1.746),
        ("cut", -6),
        ("rapid", 2),
        ("rapid", -5.746),
        ("cut", -8),
        ("rapid", 20),
    ]


@pytest.mark.parametrize(
    ("start", "program", "centre"),
    [
        # Section 3.5.3.2, the example in centre form, from memory: from X7 Y7 the centre is X10 Y11.
        ((7, 7, 9), b"G17 G2 x 10 y 16 i 3 j 4 z 9 f9", (10, 11)),
        # A quarter turn by hand, each way.
        ((10, 0, 0), b"G3 X0 Y10 R10 F9", (0, 0)),
        ((0, 10, 0), b"G2 X10 Y0 R10 F9", (0, 0)),
        # Negative R: three quarters of a turn, about the other centre.
        ((10, 0, 0), b"G3 X0 Y10 R-10 F9", (10, 10)),
    ],
)
def test_centres_of_arcs(start: tuple[float, ...], program: bytes, centre: tuple[float, float]) -> None:
    move = read(program, started(*start)).moves[-1]
    assert move.centre is not None
    assert move.centre[:2] == pytest.approx(centre, abs=1e-9)


def test_report_example_of_an_arc_in_radius_form() -> None:
    # Section 3.5.3.1, from memory: G17 G2 x 10 y 15 r 20 z 5 is clockwise, of radius 20, and a helix unless Z was 5.
    move = read(b"G17 G2 x 10 y 15 r 20 z 5 f9", started(-10, 5, 2)).moves[-1]
    assert move.centre is not None
    assert math.dist(move.centre[:2], (-10, 5)) == pytest.approx(20)
    assert math.dist(move.centre[:2], (10, 15)) == pytest.approx(20)
    points = arc_points(move)
    assert points[-1] == pytest.approx((10, 15, 5))
    # Clockwise and less than half a turn: the way bulges to the left of the chord, by the sagitta.
    sagitta = 20 - math.sqrt(20**2 - 125)
    bulge = max((-10 * (x + 10) + 20 * (y - 5)) / math.hypot(20, 10) for x, y, _ in points)
    assert bulge == pytest.approx(sagitta, abs=1e-3)


def test_planes_turn_as_seen_from_the_end_of_their_normal() -> None:
    # G18, counter-clockwise: from +Z to +X (section 3.5.3), so this quarter runs where X and Z are both positive.
    move = read(b"G18 G3 X10 Z0 K-10 F9", started(0, 0, 10)).moves[-1]
    middle = arc_points(move)[len(arc_points(move)) // 2]
    assert middle[0] == pytest.approx(middle[2], abs=0.3)
    assert middle[0] > 7
    # G19, clockwise: from +Z to +Y.
    move = read(b"G19 G2 Y10 Z0 K-10 F9", started(0, 0, 10)).moves[-1]
    middle = arc_points(move)[len(arc_points(move)) // 2]
    assert middle[1] == pytest.approx(middle[2], abs=0.3)
    assert middle[1] > 7


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        ("[2.0 / 3 * 1.5 - 5.5 / 11.0]", 0.5),  # section 3.3.2.3, from memory
        ("[2 + 3 * 4 ** 2]", 50),
        ("[2 ** 3 ** 2]", 64),
        ("[10 - 4 - 3]", 3),
        ("[-7 MOD 3]", 2),
        ("[1 + acos[0] - [2 ** [4.0/2]]]", 87),  # the report's own expression, with #3 = 2; from memory
        ("fix[-2.8]", -3),  # section 3.3.2.4, with the three below
        ("fix[2.8]", 2),
        ("fup[-2.8]", -2),
        ("fup[2.8]", 3),
        ("atan[1]/[1]", 45),
        ("[3 and 0 or 2]", 1),
        ("[1 xor 5]", 0),
        ("sin[30]", 0.5),
        ("[2--3]", 5),
    ],
)
def test_expressions_by_hand(expression: str, value: float) -> None:
    assert last(f"G0 X{expression}".encode())[0] == pytest.approx(value)


def test_parameters_take_effect_after_the_block() -> None:
    # Section 3.3.3: #3=6 G1 X#3 still goes to the old value.
    assert last(b"#3=15\n#3=6 G0 X#3\n")[0] == 15
    assert last(b"#3=15\n#3=6 G0 X#3\nY#3\n")[:2] == (15, 6)
    assert last(b"#<deep>=2\nG0 X[#<deep>*3]\n")[0] == 6
    with pytest.raises(NotUnderstood):
        read(b"G0 X#4\n")


def test_blanks_and_case() -> None:
    # Section 3.3: g0x +0. 12 34y 7 means G0 X+0.1234 Y7.
    assert last(b"g0x +0. 12 34y 7\n")[:2] == (0.1234, 7)


@pytest.mark.parametrize(
    "program",
    [
        b"G0 G1 X1",
        b"G17 G18",
        b"M3 M5",
        b"X1",
        b"G1 X1",
        b"G0 X1 X2",
        b"G0 X1..2",
        b"G0 X",
        b"G123 X1",
        b"M77",
        b"G0 X1 A3",
        b"G0 X1 I3",
        b"G0 X1 (open",
        b"G0 X1 (a (b) c) Y2",
        b"G81 X1 Z-1 F9",
        b"F9\nG81 X1 Z-1 R-2",
        b"F9\nG2 X10 Y0 I3",
        b"F9\nG2 X0 Y0 R5",
        b"F9\nG2 X100 R5",
        b"G55",
        b"G28 G0 X1",
        b"G53 G0 Z0",
        b"G43 Z5",
        b"G4",
        b"M98 P3",
        b"M99",
        b"G0 X1E3",
        b"G10 L2 P1 X0",
        b"/G0 X1",
        b"G80 X1",
    ],
)
def test_what_cannot_be_understood(program: bytes) -> None:
    with pytest.raises(NotUnderstood):
        read(program, started(0, 0, 0))


def test_frames() -> None:
    origins = {"G54": (100, 0, 0), "G55": (150, 20, -3)}
    options = started(0, 0, 0, origins=origins, zero=(-100, 0, 60))
    assert last(b"G55 G0 X1 Y2 Z3", options) == (51, 22, 0)
    assert last(b"G0 X5\nG92 X0\nX10\nG92.1\nX1", options) == (1, 0, 0)
    assert last(b"G0 X5\nG92 X0\nX10", options) == (15, 0, 0)
    assert last(b"G53 G0 X110 Z-10", options) == (10, 0, 50)
    # The machine's zero lies at X-100 of the bench, so an origin at 130 of the machine is at 30 of the bench.
    assert last(b"G10 L2 P1 X130\nG0 X1", options) == (31, 0, 0)
    assert last(b"G0 X7\nG10 L20 P1 X2\nX0", options) == (5, 0, 0)


def test_inches_are_25_4_mm() -> None:
    assert last(b"G20 G0 X1 Y0.1\nG21 X1") == (1, 2.54, 0)


def test_homing_reads_both_ways() -> None:
    options = started(10, 10, 5, home=(-1, -2, 70))
    moves = read(b"G91 G28 Z0", options).moves
    assert [move.end[:2] for move in moves] == [(10, 10), (-1, -2)]
    assert all(move.end[2] == math.inf for move in moves)


def test_subprograms() -> None:
    program = b"O1\nG91 G0 X1\nM98 P20 L3\nG90 Y5\nM30\nO20\nX10\nM98 P30\nM99\nO30\nZ1\nM99\n"
    assert last(program) == (31, 5, 3)
    with pytest.raises(NotUnderstood):
        read(b"M98 P1\nM30\nO1\nM98 P1\nM99\n", started(0, 0, 0))


def test_tool_change_and_tool_length() -> None:
    options = started(1, 1, 5, after_tool_change="high")
    reading = read(b"T1 M6\nG0 X2 Y2 Z4\nG43 H1 Z9\n", options)
    assert [move.end[2] for move in reading.moves] == [None, 9]
    assert read(b"T1 M6\nG0 X2 Y2\n", options).state.position[2] == math.inf


def test_positions_against_pygcode() -> None:
    rng = random.Random(4)
    for _ in range(20):
        machine = Machine()
        lines = []
        for _ in range(30):
            words = [rng.choice(["G0", "G1", ""]), rng.choice(["G90", "G91", "", ""])]
            words += [f"{axis}{rng.uniform(-50, 50):.3f}" for axis in "XYZ" if rng.random() < 0.6]
            lines.append(" ".join(word for word in words if word))
        lines[0] = "G0 X0 Y0 Z0"
        for text in lines:
            machine.process_block(PygcodeLine(text).block)
        theirs = [machine.pos.values[axis] for axis in "XYZ"]
        assert last(("F100\n" + "\n".join(lines)).encode()) == pytest.approx(theirs, abs=1e-9)


def test_rule_by_hand_arithmetic() -> None:
    bench = bench_of(BENCH)
    clamp, tool = bench.obstacles[0], bench.assemblies[1]
    # The side of the clamp is at X40: contact from 40 - 3 - 1 = 36 on, a clip from 33 on; its top counts as 19 and 22.
    assert contact(straight((0, 0, 5), (36, 0, 5)), tool, clamp) == 0
    assert contact(straight((0, 0, 5), (36.5, 0, 5)), tool, clamp) == pytest.approx(14)
    assert clip(straight((0, 0, 5), (33, 0, 5)), tool, clamp, bench, 0.0) == 0
    assert clip(straight((0, 0, 5), (33.5, 0, 5)), tool, clamp, bench, 0.0) == pytest.approx(17)
    assert clip(straight((0, 0, 5), (32.5, 0, 5)), tool, clamp, bench, 1.0) == pytest.approx(18)
    way = straight((0, 0, 5), (100, 0, 5)).whole()
    assert needed_height(way, tool, bench, 0.0) == 22
    # A box covers what the diagonal misses.
    assert clip(straight((0, 0, 5), (100, 100, 5)), tool, clamp, bench, 0.0) == 0
    assert clip(anywhere_between((0, 0, 5), (100, 100, 5)), tool, clamp, bench, 0.0) == pytest.approx(17)


def test_sampling_against_fcl() -> None:
    """FCL, through python-fcl, judges the same grown solids: both must say the same."""
    rng = random.Random(7)
    sections = [Section(3, 0), Section(20, 30), Section(40, 60)]
    met = 0
    for number in range(120):
        centre = [rng.uniform(-30, 30), rng.uniform(-30, 30)]
        shape = {
            "shape": ["box", "cylinder", "bar", "outline"][number % 4],
            "center": centre,
            "size": [rng.uniform(5, 40), rng.uniform(5, 40)],
            "angle": rng.uniform(0, 90),
            "diameter": rng.uniform(3, 30),
            "from": centre,
            "to": [centre[0] + 20, centre[1] + rng.uniform(-20, 20)],
            "width": rng.uniform(3, 12),
            "points": [[0, 0], [30, 0], [30, 20], [15, 8], [0, 20]],
        }
        obstacle = Obstacle("solid", *core_of(shape, 1.0), rng.uniform(5, 30), 0.5)
        start, end = (tuple(rng.uniform(-60, 60) for _ in "xy") + (rng.uniform(-5, 25),) for _ in "ab")
        sampled = reaches(straight(start, end), sections, obstacle, 4, 4) > 0
        assert sampled == collides(start, end, sections, obstacle, 4, 4, step=0.25)
        met += sampled
    assert 20 < met < 100


BEFORE = b"G1 X0 Y0 Z5 F500\nM3\nG0 X100\nG1 Z0\nG0 Z50\n"
GOOD = b"G1 X0 Y0 Z5 F500\nM3\nG0 Z22.\nG0 X100\nG0 Z5.\nG1 Z0\nG0 Z50\n"


def verdict(before: bytes, after: bytes, setup: dict[str, object] = BENCH) -> list[str]:
    options = options_of(setup)
    return judge(read(before, options), read(after, options), setup)


def test_judge_passes_a_good_repair() -> None:
    assert verdict(BEFORE, GOOD) == []


@pytest.mark.parametrize(
    ("after", "word"),
    [
        (BEFORE, "meets clamp"),
        (GOOD.replace(b"Z22.", b"Z21.9"), "clips clamp"),
        (GOOD.replace(b"M3\n", b""), "became"),
        (GOOD.replace(b"M3\nG0 Z22.\n", b"G0 Z22.\nM3\n"), "spindle moved"),
        (GOOD.replace(b"G1 Z0", b"G1 Z0 F400"), "feed changed"),
        (GOOD.replace(b"G1 Z0", b"G1 Z-0.001"), "moved from"),
        (GOOD.replace(b"G0 Z5.\n", b""), "moved from"),
        (GOOD.replace(b"G0 Z5.\n", b"G0 Z4.\nG0 Z5.\n"), "it was"),
        (GOOD + b"G91\n", "incremental was"),
        (GOOD + b"G0 X1\n", "another position"),
        (GOOD.replace(b"G1 Z0\n", b"G1 Z0\nG1 Y1\n"), "became|before"),
    ],
)
def test_judge_catches_a_bad_repair(after: bytes, word: str) -> None:
    found = verdict(BEFORE, after)
    assert any(part in sentence for sentence in found for part in word.split("|")), found


def test_judge_lets_a_hole_be_drilled_close_to_a_clamp() -> None:
    # X35 lies inside the clearance (33 to 40) but outside contact (36 on).
    near = b"G0 X35 Y0\nG0 Z2\nG1 Z-5 F100\nG0 Z50\n"
    assert verdict(near, near) == []
    lower = near.replace(b"G1 Z-5 F100", b"G1 Z-5 F100\nG0 Z-6\nG0 Z-5")
    assert any("clips" in sentence for sentence in verdict(near, lower))
