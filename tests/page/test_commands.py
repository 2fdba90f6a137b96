"""`review` on and off a terminal, and the commands about setup files, as processes of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gcode_guard.setup import load_setup
from tests.page import pages
from tests.page.reading import document


def _call(folder: Path, *words: str, stdin: str = "", environment: dict[str, str] | None = None,
          ) -> subprocess.CompletedProcess[str]:
    names = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "GCODE_GUARD_SETUP")}
    return subprocess.run([sys.executable, "-m", "gcode_guard", *words], cwd=folder, input=stdin, text=True,
                          capture_output=True, env={**names, "PYTHONPATH": os.getcwd(), **(environment or {})})


def _on_a_terminal(folder: Path, *words: str, environment: dict[str, str] | None = None) -> str:
    """What a command writes to a terminal, standard error aside."""
    pty = pytest.importorskip("pty", reason="there are no pseudo-terminals on this system")
    master, slave = pty.openpty()
    names = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "GCODE_GUARD_SETUP")}
    with subprocess.Popen([sys.executable, "-m", "gcode_guard", *words], cwd=folder, stdout=slave,
                          stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL,
                          env={**names, "PYTHONPATH": os.getcwd(), **(environment or {})}):
        os.close(slave)
        written = b""
        while True:
            try:
                part = os.read(master, 4096)
            except OSError:  # EIO: the other end is closed
                break
            if not part:
                break
            written += part
    os.close(master)
    return written.decode()


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    pages.bench(tmp_path, pages.HEAD + pages.CLAMP)
    (tmp_path / "part.nc").write_text(pages.CROSSING.replace("(over)", "(\u202e)"))
    (tmp_path / "bad.nc").write_text(pages.CUTTING)
    (tmp_path / "fine.nc").write_text("G0 Z90\nG0 X300 Y200\nG0 Z5\nG1 Z-2 F1200\nG0 Z90\n")
    return tmp_path


REVIEW = ("--setup", "bench.toml")


def test_a_diff_on_a_terminal_is_coloured_and_cannot_control_it(shop: Path) -> None:
    shown = _on_a_terminal(shop, "review", "part.nc", *REVIEW)
    assert "\x1b[31m-G0 Z5 (\\u202e)" in shown and "\x1b[32m+G0 Z30" in shown
    assert "\u202e" not in shown


def test_no_color_means_no_colour(shop: Path) -> None:
    shown = _on_a_terminal(shop, "review", "part.nc", *REVIEW, environment={"NO_COLOR": "1"})
    assert "\x1b" not in shown and "-G0 Z5" in shown


def test_a_piped_diff_is_one_that_patch_takes(shop: Path) -> None:
    answer = _call(shop, "review", "part.nc", *REVIEW)
    assert answer.returncode == 1 and "\x1b" not in answer.stdout + answer.stderr
    (shop / "part.diff").write_text(answer.stdout)
    written = _call(shop, "filter", "part.nc", *REVIEW)
    subprocess.run(["patch", "-s", "part.nc", "part.diff"], cwd=shop, check=True)
    assert (shop / "part.nc").read_text() == written.stdout


@pytest.mark.parametrize("program, words", [
    ("part.nc", "gcode-guard filter part.nc --setup bench.toml -o part.guarded.nc"),
    ("bad.nc", "change the bench"), ("fine.nc", "nothing to change")])
def test_the_last_line_says_what_to_do_next(shop: Path, program: str, words: str) -> None:
    last = _call(shop, "review", program, *REVIEW).stderr.splitlines()[-1]
    assert last.startswith("Next: ") and words in last


def test_findings_stand_in_groups(shop: Path) -> None:
    (shop / "bad.nc").write_text(pages.CUTTING + "G0 X900\nG5 X1\n")
    lines = _call(shop, "review", "bad.nc", *REVIEW).stderr.splitlines()
    heads = [line for line in lines if line.endswith("):") and not line.startswith(" ")]
    assert [head.split(" (")[0] for head in heads] == [
        "Not understood", "Cuts that run into an obstacle", "Moves outside the reach of the machine"]
    assert all("line " in lines[lines.index(head) + 1] for head in heads)


def test_review_writes_the_page_and_no_program(shop: Path) -> None:
    before = {path.name for path in shop.iterdir()}
    answer = _call(shop, "review", "part.nc", *REVIEW, "--page", "page.html")
    assert answer.returncode == 1
    assert {path.name for path in shop.iterdir()} - before == {"page.html"}
    assert "part.nc" in "".join(document((shop / "page.html").read_text()).itertext())


def test_a_page_that_cannot_be_written_is_a_wrong_call(shop: Path) -> None:
    answer = _call(shop, "review", "part.nc", *REVIEW, "--page", "nowhere/page.html")
    assert answer.returncode == 2 and "nowhere" in answer.stderr


def test_setup_check_prints_what_it_understood(shop: Path) -> None:
    answer = _call(shop, "setup", "check", "bench.toml")
    assert answer.returncode == 0
    rows = [line.split() for line in answer.stdout.splitlines()]
    assert ["stock", "corner", "(0,", "0)", "mm"] in rows
    assert any(row[:4] == ["left", "clamp", "shape", "box"] for row in rows)
    (shop / "bench.toml").write_text("format = 1\nunits = 'furlong'\n")
    assert _call(shop, "setup", "check", "bench.toml").returncode == 2


def test_setup_draw_writes_the_bench_alone(shop: Path) -> None:
    answer = _call(shop, "setup", "draw", "bench.toml", "--page", "bench.html")
    assert answer.returncode == 0
    assert "left clamp" in "".join(document((shop / "bench.html").read_text()).itertext())
    assert _call(shop, "setup", "draw", "bench.toml").returncode == 2


def test_setup_new_asks_and_writes_what_was_answered(tmp_path: Path) -> None:
    answers = "inch\n30\n20\n0.5\n0.25\n1.5\nmy clamp\ncylinder\n-1\n10\nlots\n2\n1.25\n\n"
    answer = _call(tmp_path, "setup", "new", "bench.toml", stdin=answers)
    assert answer.returncode == 0, answer.stderr
    setup = load_setup(tmp_path / "bench.toml")
    (clamp,) = setup.obstacles
    assert setup.units == "inch" and setup.stock is not None and setup.stock.size == (762.0, 508.0)
    assert setup.tools[1].length == 38.1
    (solid,) = clamp.solids
    assert clamp.name == "my clamp" and solid.shape == "cylinder" and solid.radius == 15.875
    assert solid.outline == ((-25.4, 254.0),) and solid.top == pytest.approx(50.8 - 12.7)


def test_setup_new_asks_again_until_the_answer_makes_a_setup(tmp_path: Path) -> None:
    """What the setup file would refuse is refused at its question, not at the end, where all answers would be lost."""
    answers = ("furlong\nmm\n0\n1,200\n1200\n1e9\n400,5\n19\n6\nnan\n\n"
               "\x1b[31mred\nclamp\u202e\nsphere\nbox\n1e12\n10\n20\n40\n1e-9\n30\n20\nclamp\u202e\n\n")
    answer = _call(tmp_path, "setup", "new", "bench.toml", stdin=answers)
    assert answer.returncode == 0, answer.stderr
    assert not {"\x1b", "\u202e"} & set(answer.stderr)
    setup = load_setup(tmp_path / "bench.toml")
    (clamp,) = setup.obstacles
    assert setup.stock is not None and setup.stock.size == (1200.0, 400.5)
    assert clamp.name == "clamp\u202e" and clamp.top == 40.0 - 19.0


def test_setup_new_with_defaults_asks_nothing(tmp_path: Path) -> None:
    answer = _call(tmp_path, "setup", "new", "bench.toml", "--defaults")
    assert answer.returncode == 0 and "setup check bench.toml" in answer.stderr
    assert load_setup(tmp_path / "bench.toml").tools
    assert _call(tmp_path, "setup", "check", "bench.toml").returncode == 0
    odd = _call(tmp_path, "setup", "new", "my \x1b[31mbench.toml", "--defaults")
    assert odd.returncode == 0 and "\x1b" not in odd.stderr


def test_setup_new_leaves_a_file_alone_and_nothing_half_written(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text("mine")
    assert _call(tmp_path, "setup", "new", "bench.toml", "--defaults").returncode == 2
    assert (tmp_path / "bench.toml").read_text() == "mine"
    assert _call(tmp_path, "setup", "new", "other.toml", stdin="mm\n30\n").returncode == 2
    assert [path.name for path in tmp_path.iterdir()] == ["bench.toml"]
