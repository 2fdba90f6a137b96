"""What the language means for clearance, through the whole guard, by hand arithmetic.

The bench: one clamp from X80 to X120 and Y90 to Y110, 18 mm high, measured to 1 mm; a cutter of radius 3; rapids run
straight. By the deciding rule of the contract a rapid must stay above 18 + 1 (tolerance) + 3 (above) + c wherever it
comes nearer than 3 + 1 + 3 (beside) + c, with c the corner rounding, 1 mm by default; a cut makes contact nearer
than 3 + 1.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.guarding import Guarded, run, write_bench

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F100"]
[machine]
start = [0.0, 100.0, 50.0]
rapid_path = "straight"
home = [0.0, 300.0, 90.0]
{machine}
[offsets]
bench = "G54"
G54 = [0.0, 0.0, 0.0]
G55 = [10.0, 20.0, 8.0]
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [40.0, 20.0]
top = 18.0
"""
Guard = Callable[..., Guarded]


@pytest.fixture
def guard(tmp_path: Path) -> Guard:
    def call(program: str, machine: str = "") -> Guarded:
        return run(program, write_bench(tmp_path, BENCH.format(machine=machine)))
    return call


def across(y: float, before: str = "") -> str:
    """A rapid at Z5 along X, past the clamp at Y."""
    return f"G0 X0 Y{y}\nZ5\n{before}X200\nZ50\nM30\n"


def written(came: Guarded) -> list[float]:
    assert came.exit == 0, came.records("finding")
    return [record["written_z_mm"] for record in came.records("change")]


# Path control: c is 1, the stated tolerance, or 0 ------------------

@pytest.mark.parametrize(("code", "c"), [
    ("", 1.0), ("G64 P2\n", 2.0), ("G64 P0.5\n", 0.5), ("G61\n", 0.0), ("G61.1\n", 0.0)])
def test_a_stated_tolerance_widens_both_clearances_by_itself(guard: Guard, code: str, c: float) -> None:
    assert written(guard(across(110 + 7 + c, code))) == []
    assert written(guard(across(110 + 6.99 + c, code))) == [22 + c]


# Cutter compensation ------------------

@pytest.mark.parametrize("code", ["G41", "G42 D1", "G41.1 D6"])
def test_cuts_under_compensation_are_wider_by_the_radius(guard: Guard, code: str) -> None:
    program = "G0 X0 Y{y}\nZ5\n{code}\nG1 X10\nX200\nG40 Y200\nG0 Z50\nM30\n"
    assert guard(program.format(y=110 + 4 + 3 + 0.1, code=code)).exit == 0
    came = guard(program.format(y=110 + 4 + 3 - 0.1, code=code))
    assert came.exit == 3 and came.findings[0] == (5, "cut-contact")
    assert guard(program.format(y=110 + 4 + 3 - 0.1, code="M8")).exit == 0


def test_a_rapid_under_compensation_that_clips_is_refused(guard: Guard) -> None:
    program = "G0 X0 Y{y}\nZ5\nG41\nG1 X10\nG0 X200\nG1 X210\nG40 Y200\nG0 Z50\nM30\n"
    assert guard(program.format(y=110 + 8 + 3 + 0.1)).diff == b""
    came = guard(program.format(y=110 + 8 + 3 - 0.1))
    assert came.exit == 3 and came.findings[0][0] == 5


def test_after_g40_a_rapid_is_mended_and_still_wider(guard: Guard) -> None:
    program = "G0 X0 Y{y}\nZ5\nG41\nG1 X10\nG40\nG0 Z6\nX200\nZ50\nM30\n"
    assert written(guard(program.format(y=110 + 8 + 3 + 0.1))) == []
    came = guard(program.format(y=110 + 8 + 3 - 0.1))
    assert written(came) == [23.0]
    assert b"G40\nG0 Z6\n" in came.output and came.output.index(b"Z23.0") > came.output.index(b"G0 Z6")


def test_after_g40_a_cycle_is_stated_anew_only_where_it_names_x_and_y(guard: Guard) -> None:
    # Y was not named since G40: an X and a Y put in before the cycle would drill beside where the program drills.
    program = "G0 X0 Y100\nZ5\nG41\nG1 X-10\nG40\nG1 Z6\nG99 G81 X200{y} Z-1 R5\nG80\nG0 Z50\nM30\n"
    came = guard(program.format(y=""))
    assert (came.exit, came.findings[0]) == (3, (7, "rapid-contact"))
    assert "beside its path" in came.records("finding")[0]["text"]
    came = guard(program.format(y=" Y100"))
    assert written(came) == [23.0] and b"G0 X200.0 Y100.0\n" in came.output


# Arcs in doubt ------------------

def test_an_arc_whose_radii_differ_is_checked_wider_by_the_difference(guard: Guard) -> None:
    # Over the top the arc comes to 60 + 25.97 = 85.97, 4.03 from the clamp; 0.04 wider, that is contact.
    program = "G0 Z50\nX{x} Y60\nZ5\nG3 X{end} Y60 I{i} J0\nG0 Z50\nM30\n"
    assert guard(program.format(x=125.97, end=74.03, i=-25.97)).exit == 0
    came = guard(program.format(x=125.99, end=74.05, i=-25.99))
    assert (came.exit, came.findings[0]) == (3, (4, "cut-contact"))


def test_ends_that_almost_meet_must_be_clear_as_a_full_circle(guard: Guard) -> None:
    program = "G0 Z50\nX{x} Y{y}\nZ5\nG3 X{x} Y{y}.01 I-26.5 J0\nG0 Z50\nM30\n"
    assert guard(program.format(x="126.5", y="20")).exit == 0
    came = guard(program.format(x="126.5", y="60"))
    assert (came.exit, came.findings[0]) == (3, (4, "cut-contact"))


def test_a_sliver_that_reads_as_a_full_circle_is_no_more_than_that(guard: Guard) -> None:
    # The same gap on an arc of less than half a turn by R: one reading alone.
    came = guard("G0 Z50\nX126.5 Y60\nZ5\nG3 X126.5 Y60.01 R26.5\nG0 Z50\nM30\n")
    assert came.exit == 0


# Probes ------------------

def test_a_probe_is_a_cut_for_its_whole_length(guard: Guard) -> None:
    came = guard("G0 X0 Y100\nZ5\nG38.2 X200\nG0 Z50\nM30\n")
    assert (came.exit, came.findings[0]) == (3, (3, "cut-contact"))
    assert guard("G0 X0 Y100\nZ5\nG38.2 X70\nG0 Z50\nX0\nM30\n").exit == 0


# Frames: obstacles stay on the table ------------------

@pytest.mark.parametrize(("before", "zero"), [
    ("G92 X0 Y0 Z0\n", (0, 100, 5)), ("G10 L20 P1 X0 Y0 Z0\n", (0, 100, 5)), ("G55\n", (10, 20, 8)),
    ("G10 L20 P2 X1 Y2 Z3\nG55\n", (-1, 98, 2)), ("G92 Z2\nG92 X-1\n", (1, 0, 3)), ("G55\nG92 Z1\n", (10, 20, 4)),
])
def test_obstacles_stay_where_they_are_when_the_zero_moves(guard: Guard, before: str, zero: tuple[int, ...]) -> None:
    program = f"G0 X0 Y100\nZ5\n{before}X{200 - zero[0]}\nG1 Z{1 - zero[2]}\nG0 Z{50 - zero[2]}\nM30\n"
    came = guard(program)
    assert written(came) == [23.0]
    lines = came.output.decode().splitlines()
    raised = next(line for line in lines if line == f"G0 Z{23 - zero[2]:.1f}")
    assert lines.index(raised) < lines.index(f"X{200 - zero[0]}")
    assert f"G0 Z{5 - zero[2]:.1f}" in lines


# Homes: safe whichever axes go ------------------

@pytest.mark.parametrize(("axes", "heights"), [("named", []), ("all", [23.0]), ("unknown", [23.0])])
def test_home_is_safe_whichever_axes_go(guard: Guard, axes: str, heights: list[float]) -> None:
    # From (200, 0) home to (0, 300) the way crosses the clamp, if X and Y go along with Z.
    came = guard("G0 Z50\nX200 Y0\nZ5\nG1 Z1\nG0 Z5\nG91 G28 Z0\nG28 X0 Y0\nG90\nM30\n", f'home_axes = "{axes}"')
    assert written(came) == heights


@pytest.mark.parametrize("axes", ["named", "all", "unknown"])
def test_the_usual_end_passes_without_noise(guard: Guard, axes: str) -> None:
    came = guard("G0 Z50\nX200 Y0\nZ5\nG1 Z1\nG0 Z50\nG91 G28 Z0\nG28 X0 Y0\nG90\nM30\n", f'home_axes = "{axes}"')
    assert (came.exit, came.diff, came.records("finding")) == (0, b"", [])


# Cycles ------------------

def test_a_cycle_that_begins_below_r_is_safe_in_both_orders(guard: Guard) -> None:
    # The report rises to R24, above the clamp, and then goes across: that would be clear. A control that goes across
    # first would do it at Z5. What begins above R is left alone, what begins below it is not let through as it is.
    program = "G0 X0 Y100\nZ{z}\nG98 G81 X200 Y100 Z-2 R{r}\nG80\nG0 Z50\nM30\n"
    assert guard(program.format(z=24, r=24)).diff == b""
    came = guard(program.format(z=5, r=24))
    assert came.exit or came.diff
    came = guard(program.format(z=5, r=10))
    assert came.exit == 0 and max(written(came)) == 23.0
    assert guard(came.output.decode()).diff == b""


def test_a_cycle_at_an_increment_goes_over_what_stands_between(guard: Guard) -> None:
    came = guard("G0 X0 Y100\nZ5\nG91 G98 G81 X60 Y0 Z-4 R-3\nX140\nG80\nG90 G0 Z50\nM30\n")
    # From Z5 the rise is 18, and 18 down again, so that R counts from where it did.
    assert written(came) == [23.0]
    assert b"G0 Z18.0\nG0 X140.0 Y0.0\nG0 Z-18.0\nG98 G81 X0.0 Y0.0 Z-4.0 R-3.0\n" in came.output
    assert guard(came.output.decode()).diff == b""


# Tool length: nothing is put in between M6 and G43 ------------------

@pytest.mark.parametrize(("between", "said"), [
    ("G0 X200 Y0", "put G43 and the tool's number as H before it, or say where the tool stands"),
    ("G0 Z30\nX200 Y0", "before the Z of line 2"), ("G0 X200 Y0 Z30", "before the Z of line 2"),
    ("G91 G0 Z30\nG90 X200 Y0", "go to an absolute Z (G90)"),
])
def test_what_helps_where_no_tool_length_is_in_force(guard: Guard, between: str, said: str) -> None:
    program = f"T1 M6\n{between}\nG43 H1\nG0 Z50\nM30\n"
    came = guard(program)
    assert (came.exit, came.output, came.diff) == (4, b"", b"")
    (finding,) = came.records("finding")
    assert finding["line"] == 2 and said in finding["text"] and "after_tool_change" in finding["text"]
    # The advice holds: with G43 first, whatever follows is mended.
    absolute = "G90 G0 Z50\n" if "G91" in between else ""
    assert guard(program.replace("M6\n", f"M6\nG43 H1\n{absolute}", 1)).exit == 0
    if "Z" not in between or "G91" in between:
        assert guard(program, 'after_tool_change = "high"').diff == b""


def test_a_cut_where_no_tool_length_is_in_force(guard: Guard) -> None:
    came = guard("T1 M6\nG1 X200\nG43 H1\nG0 Z50\nM30\n", 'after_tool_change = "high"')
    assert came.exit == 4 and "put G43" in came.records("finding")[0]["text"]


# Homes that the program made, and points on the way home ------------------

STORED = "G0 Z50\nX200 Y0\nY100\nZ5\nG28.1\nG0 Z50\nX0 Y0\nY{y}\nZ{z}\n{home}\nM30\n"


@pytest.mark.parametrize(("y", "z", "home"), [
    (100, 5, "G28"), (100, 50, "G28"), (100, 5, "G91 G28 X0 Y0 Z0"), (80, 5, "G28"), (120, 5, "G28")])
def test_a_home_that_was_stored_low_behind_the_clamp(guard: Guard, y: int, z: int, home: str) -> None:
    # Whatever is put before it, the way home comes down to Z5 and leads through the clamp.
    program = STORED.format(y=y, z=z, home=home)
    came = guard(program, 'home_axes = "named"')
    (finding,) = came.records("finding")
    assert (came.exit, finding["line"], finding["kind"]) == (3, 10, "rapid-contact")
    assert "stored itself" in finding["text"]
    # What the advice says: first over that place, then home.
    assert guard(program.replace(home, f"G0 X200 Y100\n{home}"), 'home_axes = "named"').exit == 0


@pytest.mark.parametrize(("y", "home"), [(300, "G28"), (100, "G91 G28 Z0"), (100, "G91 G28 X0")])
def test_a_home_that_was_stored_low_with_nothing_on_the_way(guard: Guard, y: int, home: str) -> None:
    came = guard(STORED.format(y=y, z=5, home=home), 'home_axes = "named"')
    # X alone goes at the height that it comes with, which can be raised.
    assert set(written(came)) == ({23.0} if "X0" in home else set())


@pytest.mark.parametrize(("home", "heights"), [
    # By way of a point 4 mm lower, the rise is 4 mm more; a point that is said in G90 is raised itself.
    ("G91 G28 Z-4", [27.0]), ("G91 G28 Z0", [23.0]), ("G91 G28 Z4", [23.0]), ("G28 Z5", [23.0]), ("G28 Z24", []),
    ("G28 Z23", []), ("G28 Z22.9", [23.0]), ("G28 Z[5]", None),
])
def test_a_lift_before_the_way_home_counts_with_its_point(guard: Guard, home: str, heights: list[float] | None) -> None:
    # Home lies behind the clamp, at X0 Y300; the way there leads over it.
    came = guard(f"G0 X200 Y0\nG1 Z5\n{home}\nG90\nM30\n", 'home_axes = "all"')
    if heights is None:
        assert (came.exit, came.findings[0]) == (3, (3, "rapid-contact"))
    else:
        assert written(came) == heights
        assert guard(came.output.decode(), 'home_axes = "all"').diff == b""


@pytest.mark.parametrize(("point", "status"), [("Z-4", 4), ("Z0", 0), ("Z4", 0), ("X5 Z-1", 4), ("X5 Y5", 0)])
def test_a_point_on_the_way_home_whose_height_is_not_known(guard: Guard, point: str, status: int) -> None:
    came = guard(f"G28\nG0 X200\nG91 G30 {point}\nG90\nM30\n", 'home_axes = "all"')
    assert came.exit == status
    if status:
        (finding,) = came.records("finding")
        assert finding["line"] == 3 and "height that is not known" in finding["text"]


@pytest.mark.parametrize("level", ["", "G98 ", "G99 "])
def test_behind_a_hole_that_is_left_by_hand(guard: Guard, level: str) -> None:
    # G88 leaves the height to the operator: the way on goes over everything, whichever level a cycle returns to.
    came = guard(f"M3\n{level}G88 X0 Y100 Z-1 R2 P1\nX200\nM30\n")
    assert came.exit == 0
    lines = came.output.decode().splitlines()
    assert lines[2:4] == ["G0 Z23.0", "G0 X200.0 Y100.0"]
    assert guard(came.output.decode()).diff == b""


@pytest.mark.parametrize("after", ["unknown", "high", "same"])
def test_a_machine_height_where_no_tool_length_is_in_force(guard: Guard, after: str) -> None:
    # The spindle is at the machine's top, but how far the new tool hangs down from it is what G43 says.
    machine = f'after_tool_change = "{after}"\nzero = [0.0, 0.0, 90.0]'
    program = "G0 X0 Y0\nT1 M6\nG53 G0 Z0\nX200 Y200\nG43 H1\nG0 Z50\nM30\n"
    came = guard(program, machine)
    assert came.exit == 4 and "before the Z of line 3" in came.records("finding")[0]["text"]
    assert guard(program.replace("G53", "G43 H1\nG53"), machine).diff == b""
    if after == "high":
        assert guard(program.replace("G53 G0 Z0\n", "G0\n"), machine).diff == b""


@pytest.mark.parametrize(("way", "height"), [
    # By the arithmetic above X200 needs 23 mm. The tool may still touch what it probed, anywhere below the higher end.
    ("G0 Z50\nG38.2 Z-5", 50.0), ("G0 Z20\nG38.3 Z-5", 23.0), ("G0 Z5\nG38.4 Z40", 40.0),
    ("G0 Z60\nG38.5 X2 Z70", 70.0),
])
def test_a_rise_behind_a_probe_does_not_lead_down_onto_what_it_touches(guard: Guard, way: str, height: float) -> None:
    came = guard(f"G0 X0 Y100\n{way} F100\nG0 X200\nZ50\nM30\n" if "X2" not in way else
                 f"G0 X0 Y100\n{way} F100\nG0 X200 Y100\nZ80\nM30\n")
    assert written(came) == [height]
    assert f"G0 Z{height}\nG0 X200" in came.output.decode()
