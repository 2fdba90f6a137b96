"""The command line from outside: what a call says, its exit status, and that nothing is written where it fails."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.guarding import write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN

PROGRAM = AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n"
MENDED = AWAY + "G0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n"


def call(*arguments: object, stdin: bytes = b"", **environment: str) -> subprocess.CompletedProcess[bytes]:
    env = {key: value for key, value in os.environ.items() if key != "GCODE_GUARD_SETUP"} | environment
    return subprocess.run([sys.executable, "-m", "gcode_guard", *map(str, arguments)], input=stdin, capture_output=True,
                          env=env, timeout=120)


@pytest.fixture
def setup(tmp_path: Path) -> Path:
    return write_bench(tmp_path, BENCH.format(machine=KNOWN))


def test_pipe_file_diff_and_log(tmp_path: Path, setup: Path) -> None:
    piped = call("filter", "--setup", setup, stdin=PROGRAM.encode())
    assert (piped.returncode, piped.stdout) == (0, MENDED.encode())
    assert b"hand on the stop" in piped.stderr and b"Cutter only" in piped.stderr
    (tmp_path / "p.nc").write_text(PROGRAM)
    out, diff, log = tmp_path / "out.nc", tmp_path / "p.diff", tmp_path / "p.jsonl"
    assert call("filter", tmp_path / "p.nc", "-o", out, "--diff", diff, "--log", log,
                GCODE_GUARD_SETUP=str(setup)).stdout == b""
    assert out.read_text() == MENDED
    subprocess.run(["patch", "-s", str(tmp_path / "p.nc"), str(diff)], check=True)
    assert (tmp_path / "p.nc").read_text() == MENDED
    assert log.read_text().splitlines()[-1].startswith('{"record": "summary"')


def test_in_place_and_nothing_to_change(tmp_path: Path, setup: Path) -> None:
    place, diff = tmp_path / "p.nc", tmp_path / "p.diff"
    place.write_text(PROGRAM)
    assert call("filter", place, "-o", place, "--setup", setup).returncode == 0
    assert place.read_text() == MENDED
    assert call("filter", place, "-o", place, "--diff", diff, "--setup", setup).returncode == 0
    assert diff.read_bytes() == b""


def test_a_refusal_leaves_what_was_there(tmp_path: Path, setup: Path) -> None:
    out, diff, log = tmp_path / "out.nc", tmp_path / "p.diff", tmp_path / "p.jsonl"
    out.write_text("before")
    diff.write_text("before")
    came = call("filter", "-o", out, "--diff", diff, "--log", log, "--setup", setup, stdin=b"G777\n")
    assert (came.returncode, came.stdout) == (4, b"")
    assert b"line 1" in came.stderr
    assert out.read_text() == diff.read_text() == "before"
    assert '"verdict": "refused"' in log.read_text()


BAD_PROGRAMS = {
    "binary": (bytes(range(256)) * 400, 4, b"line 1"),
    "ten megabytes on one line": (b"G1 X" + b"1" * 10_000_000, 4, b"line 1"),
    "the middle of a word": (b"G0 X10 Y", 4, b"line 1"),
    "empty": (b"", 0, b"No blocks"),
    "no final newline": (b"G0 Z30", 0, b""),
}


@pytest.mark.parametrize(("program", "status", "said"), BAD_PROGRAMS.values(), ids=BAD_PROGRAMS.keys())
def test_bad_programs(setup: Path, program: bytes, status: int, said: bytes) -> None:
    came = call("filter", "--setup", setup, stdin=program)
    assert came.returncode == status
    assert said in came.stderr and b"Traceback" not in came.stderr
    assert came.stdout == (program if status == 0 else b"")


def test_wrong_calls(tmp_path: Path, setup: Path) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text("format = 1\nunits = \n")
    for arguments in (("filter", tmp_path / "none.nc", "--setup", setup), ("filter", tmp_path, "--setup", setup),
                      ("filter",), ("filter", "--setup", tmp_path / "none.toml"), ("filter", "--setup", broken),
                      ("filter", "--setup", setup, "--tool", "9"), ("filter", "--setup", setup, "-o", tmp_path),
                      ("filter", "--setup", setup, "-o", tmp_path / "no" / "p.nc"), ("filter", "--nothing"),
                      ("nothing",), ("verify", tmp_path / "a", tmp_path / "b", "--setup", setup),
                      ("verify", "-", "-", "--setup", setup)):
        came = call(*arguments, stdin=b"G0 Z30\n")
        assert came.returncode == 2, arguments
        assert came.stdout == b"" and came.stderr.strip() and b"Traceback" not in came.stderr
    assert b"line 2" in call("filter", "--setup", broken).stderr


def test_review_verify_trace_version(tmp_path: Path, setup: Path) -> None:
    before, after = tmp_path / "a.nc", tmp_path / "b.nc"
    before.write_text(PROGRAM)
    after.write_text(MENDED)
    dry = call("review", before, "--setup", setup)
    assert dry.returncode == 1 and b"+G0 Z23.0" in dry.stdout and before.read_text() == PROGRAM
    assert call("review", after, "--setup", setup).returncode == 0
    assert call("verify", before, after, "--setup", setup).returncode == 0
    assert call("verify", before, before, "--setup", setup).returncode == 1
    traced = call("trace", before, "--setup", setup)
    assert traced.stdout.decode().splitlines()[:2] == [
        "line,kind,x0,y0,z0,x1,y1,z1,cx,cy,cz,plane,tool,feed",
        "2,rapid,0.000000,100.000000,30.000000,0.000000,100.000000,5.000000,,,,,1,"]
    version = call("--version")
    assert version.returncode == 0 and version.stdout.startswith(b"gcode-guard ")
    assert call("filter", "--version").stdout == call("setup", "check", "--version").stdout == version.stdout
    assert call("filter", "--help").returncode == 0


def test_the_demo_mends_its_example(tmp_path: Path) -> None:
    came = call("demo", TMPDIR=str(tmp_path))
    assert came.returncode == 0
    folder = Path(next(line for line in came.stdout.decode().splitlines() if line.startswith("Everything is in "))
                  .removeprefix("Everything is in ").rstrip(":"))
    assert folder.parent == tmp_path
    assert (folder / "door-panel.guarded.nc").read_bytes() != (folder / "door-panel.nc").read_bytes()


def test_a_reader_that_goes_away_and_ctrl_c(tmp_path: Path, setup: Path) -> None:
    """Both end the command as the signal would have, without a word and without a file left behind."""
    for number in (signal.SIGINT, signal.SIGTERM):
        running = subprocess.Popen([sys.executable, "-m", "gcode_guard", "filter", "--setup", str(setup), "-o",
                                    str(tmp_path / "out.nc")], stdin=subprocess.PIPE, stderr=subprocess.PIPE)
        time.sleep(1.5)
        running.send_signal(number)
        _, said = running.communicate(timeout=60)
        assert running.returncode == -number
        assert said == b""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bench.toml"]
    script = f"yes 'G0 Z30' | head -30000 | {sys.executable} -m gcode_guard filter --setup {setup} | head -1; " \
        "echo ${PIPESTATUS[2]}"
    piped = subprocess.run(["bash", "-c", script], capture_output=True, timeout=120)
    assert piped.stdout.split() == [b"G0", b"Z30", b"141"]


@pytest.mark.parametrize("command, codes, what", [
    ("filter", '["G21", "G20"]', "G21 and G20 stand in one block"), ("filter", '["G90", "G28"]', "G28"),
    ("review", '["G21", "G55"]', "G55"), ("trace", '["G21", "F-3"]', "F-3"),
    ("setup check", '["G21", "G999"]', "G999")])
def test_a_start_that_no_control_can_be_in_is_a_wrong_setup(tmp_path: Path, command: str, codes: str,
                                                            what: str) -> None:
    bench = BENCH.format(machine=KNOWN)
    start = bench[bench.index("starts_in"):].splitlines()[0]
    file = write_bench(tmp_path, bench.replace(start, f"starts_in = {codes}"))
    (tmp_path / "p.nc").write_text(PROGRAM)
    came = call(*command.split(), file) if command == "setup check" else \
        call(command, tmp_path / "p.nc", "--setup", file)
    assert (came.returncode, came.stdout) == (2, b"")
    assert f"{file}: program.starts_in = {codes}: " in came.stderr.decode() and what in came.stderr.decode()
