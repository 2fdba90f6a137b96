"""What a setup file is understood as: the whole of it, defaults, units, and files that cannot be read."""

from __future__ import annotations

import hashlib
import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gcode_guard.setup import Setup, SetupError, load_setup, load_setup_data, toml_file

HEAD = 'format = 1\nunits = "mm"\n'
TOOL = "[[tools]]\nnumber = 1\ndiameter = 6.0\n"

WHOLE = Path(__file__).with_name("whole.toml").read_text(encoding="utf-8")


def test_a_whole_setup_is_understood_key_by_key() -> None:
    setup = load_setup_data(WHOLE.encode(), Path("bench.toml"))
    assert setup.units == "mm" and setup.measured_on == date(2026, 11, 25)
    assert setup.program.starts_in == ("G21", "G90", "G17", "F1200")
    assert setup.program.harmless == {"M101", "M102", "G187"}
    assert (setup.program.block_delete, setup.program.integers) == ("run", "least-increment")
    assert setup.table_z == -19.0
    assert setup.stock is not None
    assert (setup.stock.size, setup.stock.thickness, setup.stock.thickness_tolerance) == ((610.0, 203.0), 19.0, 0.5)
    assert (setup.clearance.above, setup.clearance.beside, setup.clearance.tolerance) == (4.0, 5.0, 1.5)
    machine = setup.machine
    assert machine.reach == {"x": (-20.0, 800.0), "y": (-20.0, 500.0), "z": (-60.0, 75.0)}
    assert (machine.start, machine.home, machine.home2) == ((0, 0, 60), (-10, -10, 75), (-10, 400, 75))
    assert (machine.zero, machine.home_axes, machine.rapid_path) == ((-10, -10, 75), "all", "straight")
    assert (machine.rapid_rate, machine.acceleration) == ((5000, 5000, 2000), (400, 400, 200))
    assert (machine.corner_rounding, machine.corner_rounding_given) == (0.5, True)
    assert (machine.after_tool_change, machine.gantry_bottom, machine.reference_tool) == ("same", 90.0, 1)
    assert machine.own_motion == {"M6": "any", "M30": "none"}
    assert setup.offsets.origins == {"G54": (0, 0, 0), "G55": (300, 0, 0), "G59.1": (1, 2, 3)}
    assert setup.spindle is not None and setup.spindle.shoe is not None
    assert setup.spindle.sections == ((42.0, 30.0), (80.0, 120.0))
    assert (setup.spindle.shoe.diameter, setup.spindle.shoe.rides_at) == (140.0, 20.0)
    assert setup.spindle.shoe.soft and setup.spindle.shoe.bottom is None
    assert (setup.repair.air_feeds, setup.repair.detour) == (True, "when-faster")


def test_the_tools_of_a_whole_setup() -> None:
    tools = load_setup_data(WHOLE.encode(), "bench.toml").tools
    assert list(tools) == [1, 4]
    assert (tools[1].name, tools[1].diameter, tools[1].sections) == ("6 mm end mill", 6.0, ((6.0, 32.0),))
    assert (tools[4].name, tools[4].diameter, tools[4].length) == ("tool 4", 79.4, 42.0)
    assert tools[4].sections == ((79.4, 12.0), (12.7, 30.0))


def test_the_obstacles_of_a_whole_setup() -> None:
    clamp, pin, fence, jig = load_setup_data(WHOLE.encode(), "bench.toml").obstacles
    # 60 x 25 about (40, 215), turned by a quarter: 25 along X, 60 along Y.
    assert set(clamp.solids[0].outline) == {(27.5, 185.0), (52.5, 185.0), (52.5, 245.0), (27.5, 245.0)}
    assert clamp.sacrificial and clamp.measured_on == date(2026, 11, 24)
    assert (clamp.solids[0].top, clamp.solids[0].tolerance) == (18.0, 0.5)
    assert pin.solids[0].pieces[0].vertices == ((300.0, 100.0),) and pin.solids[0].radius == 6.0
    assert (pin.top, pin.solids[0].tolerance) == (9.0, 1.5)  # 28 above a table at -19; table.z is set, so no more than
    assert set(fence.solids[0].outline) == {(0.0, -12.0), (610.0, -12.0)} and fence.solids[0].radius == 10.0
    assert len(jig.solids[0].outline) == 5 and len(jig.solids[0].pieces) >= 2  # it is not convex
    assert not fence.sacrificial and fence.measured_on is None


def test_the_least_setup_has_the_defaults_of_the_contract(bench: Callable[..., Setup]) -> None:
    setup = bench(HEAD + TOOL)
    assert (setup.clearance.above, setup.clearance.beside, setup.clearance.tolerance) == (3.0, 3.0, 1.0)
    assert (setup.machine.corner_rounding, setup.machine.corner_rounding_given) == (1.0, False)
    assert (setup.machine.rapid_path, setup.machine.home_axes) == ("unknown", "unknown")
    assert setup.machine.after_tool_change == "unknown" and setup.machine.own_motion == {"M6": "z-first"}
    assert setup.machine.start is None and setup.machine.reach is None and setup.machine.home is None
    assert setup.program.starts_in == () and setup.program.block_delete is None and setup.program.integers == "units"
    assert setup.offsets.bench == "G54" and setup.offsets.origins == {}
    assert setup.table_z is None and setup.stock is None and setup.spindle is None and setup.obstacles == ()
    assert not setup.repair.air_feeds and setup.repair.detour == "when-needed"
    assert setup.tools[1].length is None and setup.cutter_only(1)


def test_cutter_only_holds_unless_both_spindle_and_length_are_given(bench: Callable[..., Setup]) -> None:
    spindle = "[spindle]\nsections = [{ diameter = 42.0, height = 30.0 }]\n"
    assert bench(HEAD + TOOL + "length = 30.0\n").cutter_only(1)
    assert bench(HEAD + TOOL + spindle).cutter_only(1)
    assert not bench(HEAD + TOOL + "length = 30.0\n" + spindle).cutter_only(1)


def test_an_inch_is_25_4_mm_in_every_key() -> None:
    inch = load_setup_data(WHOLE.replace('units = "mm"', 'units = "inch"').encode(), "bench.toml")
    assert inch.table_z == -482.6
    assert inch.stock is not None and inch.stock.size == (15494.0, 5156.2) and inch.stock.thickness_tolerance == 12.7
    assert (inch.clearance.above, inch.clearance.tolerance) == (101.6, 38.1)
    assert inch.machine.reach is not None and inch.machine.reach["z"] == (-1524.0, 1905.0)
    assert inch.machine.rapid_rate == (127000.0, 127000.0, 50800.0)
    assert inch.machine.acceleration == (10160.0, 10160.0, 5080.0)
    assert (inch.machine.corner_rounding, inch.machine.gantry_bottom) == (12.7, 2286.0)
    assert (inch.machine.start, inch.machine.zero) == ((0.0, 0.0, 1524.0), (-254.0, -254.0, 1905.0))
    assert inch.offsets.origins["G59.1"] == (25.4, 50.8, 76.2)
    assert inch.tools[1].sections == ((152.4, 812.8),)
    assert inch.spindle is not None and inch.spindle.shoe is not None and inch.spindle.shoe.rides_at == 508.0
    clamp, pin, fence, jig = inch.obstacles
    assert set(clamp.solids[0].outline) == {(698.5, 4699.0), (1333.5, 4699.0), (1333.5, 6223.0), (698.5, 6223.0)}
    assert (clamp.top, clamp.solids[0].tolerance) == (457.2, 12.7)
    assert pin.top == 228.6 and pin.solids[0].radius == 152.4  # (28 - 19) x 25.4, 6 x 25.4
    assert fence.solids[0].radius == 254.0 and jig.solids[0].outline[3] == (3302.0, 8128.0)


def test_the_defaults_are_in_mm_also_in_an_inch_setup(bench: Callable[..., Setup]) -> None:
    setup = bench(HEAD.replace("mm", "inch") + TOOL)
    assert (setup.clearance.above, setup.clearance.beside, setup.clearance.tolerance) == (3.0, 3.0, 1.0)
    assert setup.machine.corner_rounding == 1.0


@given(thousandths=st.integers(1, 10_000_000))
def test_an_inch_figure_is_converted_to_the_nearest_number(thousandths: int) -> None:
    text = HEAD.replace("mm", "inch") + TOOL + f"[table]\nz = {thousandths // 1000}.{thousandths % 1000:03d}\n"
    # Whole ten-thousandths of a mm, divided once: the correctly rounded product of the decimal and 25.4.
    assert load_setup_data(text.encode(), "bench.toml").table_z == thousandths * 254 / 10_000


def test_sums_of_heights_carry_no_binary_noise(bench: Callable[..., Setup]) -> None:
    pin = '[[obstacles]]\nname = "pin"\nshape = "cylinder"\ncenter = [0, 0]\ndiameter = 9\nheight = 0.2\n'
    assert bench(HEAD + TOOL + "[table]\nz = 0.1\n" + pin).obstacles[0].top == 0.3


STOCK = "[stock]\ncorner = [0, 0]\nsize = [610, 203]\ntop = {top}\nthickness = 19.0\nthickness_tolerance = 0.5\n"
PIN = '[[obstacles]]\nname = "pin"\nshape = "cylinder"\ncenter = [0, 0]\ndiameter = 9\n'
TABLE = "[table]\nz = -19.0\n"


@pytest.mark.parametrize(
    ("text", "top", "tolerance"),
    [
        (STOCK.format(top="0.0") + PIN + "height = 37.0\n", 18.0, 1.5),
        (STOCK.format(top="0") + PIN + "height = 37.0\ntolerance = 0.25\n", 18.0, 0.75),
        (STOCK.format(top="0.0") + PIN + "top = 18.0\n", 18.0, 1.0),
        (STOCK.format(top="19.0") + PIN + "height = 37.0\n", 37.0, 1.0),
        (STOCK.format(top="0.0") + TABLE + PIN + "height = 37.0\n", 18.0, 1.0),
    ],
    ids=["zero on the stock", "its own tolerance", "by top", "zero on the table", "table is set"],
)
def test_the_stock_thickness_tolerance_widens_what_is_given_by_height(
    bench: Callable[..., Setup], text: str, top: float, tolerance: float
) -> None:
    solid = bench(HEAD + TOOL + text).obstacles[0].solids[0]
    assert (solid.top, solid.tolerance) == (top, tolerance)


@pytest.mark.parametrize(("top", "fits"), [("70.0", True), ("70.001", False), ("95.0", False)])
def test_an_obstacle_taller_than_the_gantry_is_an_error(bench: Callable[..., Setup], top: str, fits: bool) -> None:
    # The table is at -19, the gantry passes at 71, and the pin may be 1 mm higher than it was measured.
    text = HEAD + TOOL + "[machine]\ngantry_bottom = 90.0\n" + TABLE + PIN + f"top = {top}\n"
    if fits:
        assert bench(text).obstacles[0].top == 70.0
        return
    with pytest.raises(SetupError, match=rf"bench.toml: obstacles\[0\].top = {top}: may reach .*gantry_bottom is 90"):
        bench(text)


def test_an_unquoted_g59_1_is_read_as_it_is_meant(bench: Callable[..., Setup]) -> None:
    setup = bench(HEAD + TOOL + "[offsets]\nG54 = [0, 0, 0]\nG59.1 = [1, 2, 3]\nG59.3 = [4, 5, 6]\n")
    assert setup.offsets.origins == {"G54": (0, 0, 0), "G59.1": (1, 2, 3), "G59.3": (4, 5, 6)}


def test_an_unquoted_g59_1_beside_g59_is_refused_with_the_remedy(bench: Callable[..., Setup]) -> None:
    with pytest.raises(SetupError, match=r"line 8, .*write the offset in quotes"):
        bench(HEAD + TOOL + "[offsets]\nG59 = [0, 0, 0]\nG59.1 = [1, 2, 3]\nG54 = [0, 0, 0]\n")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"format = 1\nunits = \n", "line 2, column 9: "),
        (b'format = 1\nunits = "mm\n', "line 2, column "),
        (b"format = 1\nformat = 1\nunits = 'mm'\n", "line 2, column 11: a key or table is given twice"),
        (b"[table]\nz = 0.0\n[table]\nz = 1.0\n", "line 3, column 7: "),
        (b"format = 1\ntools = [", "line 2 (the end of the file): "),
        (b'format = 1\nunits = "\xe4"\n', "line 2: is not text in UTF-8 (byte 0xE4)"),
        (bytes(range(256)), "line 2: is not text in UTF-8 (byte 0x80)"),
        (b"format = 1\n\x00\n", "line 2, column 1: "),
        (b"a = 1\nb = " + b"[" * 100_000, "line 2: lists or tables are nested far too deep"),
        (b"a = 1\nb = " + b"7" * 100_000, "line 2: a number has far too many digits"),
    ],
)
def test_what_is_no_toml_is_one_line_that_names_the_line(data: bytes, message: str) -> None:
    with pytest.raises(SetupError) as refused:
        load_setup_data(data, "bench.toml")
    assert str(refused.value).startswith(f"bench.toml: {message}")
    assert "\n" not in str(refused.value)


def test_line_ends_of_windows_and_a_byte_order_mark_are_read(bench: Callable[..., Setup]) -> None:
    text = "\ufeff" + (HEAD + TOOL).replace("\n", "\r\n")
    assert load_setup_data(text.encode(), "bench.toml").tools[1].diameter == 6.0


def test_an_empty_file_says_what_is_missing() -> None:
    with pytest.raises(SetupError) as refused:
        load_setup_data(b"", "bench.toml")
    assert str(refused.value).splitlines() == ["bench.toml: format: missing", "bench.toml: units: missing"]


def test_files_that_cannot_be_read_are_one_clear_line(tmp_path: Path) -> None:
    for path, reason in ((tmp_path / "none.toml", "no such file or directory"), (tmp_path, "is a directory")):
        with pytest.raises(SetupError) as refused:
            load_setup(path)
        assert str(refused.value) == f"{path}: cannot be read: {reason}"
    with pytest.raises(SetupError, match="cannot be read"):
        load_setup("a\0b.toml")


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="this system has no endless device to read from")
def test_an_endless_device_is_not_read_to_its_end() -> None:
    with pytest.raises(SetupError, match="/dev/zero: cannot be read: is a device, not a file"):
        load_setup("/dev/zero")


def test_a_file_from_which_nothing_comes_is_not_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As /proc/kmsg may be: a plain file for all that can be seen of it. A pipe that nobody fills stands in for it."""
    reading, filling = os.pipe2(os.O_NONBLOCK)
    monkeypatch.setattr(toml_file, "_opened", lambda path: os.fdopen(reading, "rb"))
    with pytest.raises(SetupError, match="none.toml: cannot be read: nothing comes from it"):
        load_setup(tmp_path / "none.toml")
    os.close(filling)


def test_the_digest_is_over_the_bytes_of_the_file(bench: Callable[..., Setup]) -> None:
    setup = bench(HEAD + TOOL)
    assert setup.sha256 == hashlib.sha256((HEAD + TOOL).encode()).hexdigest()
    assert setup.files == (setup.path,)


def test_a_setup_can_be_handed_to_another_process(bench: Callable[..., Setup]) -> None:
    setup = bench(WHOLE)
    assert pickle.loads(pickle.dumps(setup)) == setup


def test_importing_the_room_is_light() -> None:
    code = "import sys, gcode_guard.setup; print([m for m in ('pydantic', 'numpy', 'shapely') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_setup_of_convex_shapes_does_not_wait_for_shapely() -> None:
    text = HEAD + TOOL + TABLE + PIN + "top = 9.0\n"
    code = (
        "import sys; from gcode_guard.setup import load_setup_data\n"
        f"load_setup_data({text.encode()!r}, 'bench.toml'); print('shapely' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
