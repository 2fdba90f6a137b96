"""docs/language.md against the program, both ways, so that the page cannot go stale."""

from __future__ import annotations

import ast
import re
from decimal import Decimal
from pathlib import Path

import pytest

from gcode_guard.program.codes import CODES
from gcode_guard.program.state import ToolFacts
from tests.guarding import run, write_bench
from tests.language.reading import Read, point, read_any

HERE = Path(__file__).parent.parent.parent
TEXT = (HERE / "docs/language.md").read_text("utf-8")
STATUSES = ("followed", "passed through", "refused")
OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
HEAD = "G90 G21 G17 G94 F100 M3 S9000\nG92 X0\nG92.1\n"

BENCH = f"""
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
block_delete = "run"
[machine]
start = [0.0, 0.0, 50.0]
zero = [0.0, 0.0, 60.0]
[offsets]
bench = "G54"
{chr(10).join(f'"{name}" = [0.0, 0.0, 0.0]' for name in OFFSETS)}
[[tools]]
number = 1
diameter = 6.0
length = 40.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [-400.0, -400.0]
size = [20.0, 20.0]
top = 18.0
"""


def table(heading: str) -> list[list[str]]:
    """The cells of every row of the tables of a chapter."""
    chapter = TEXT[TEXT.index(f"\n## {heading}\n") + 4 :]
    chapter = chapter[: chapter.index("\n## ")] if "\n## " in chapter else chapter
    rows = [line for line in chapter.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in row.strip("|").split(" | ")] for row in rows
            if not row.startswith(("| --- ", "| code ", "| letter ", "| what ", "| about "))]


CODE_ROWS, LETTER_ROWS, WRITING_ROWS = table("Codes"), table("Letters"), table("How programs are written")
EXAMPLES = [*CODE_ROWS, *LETTER_ROWS, *WRITING_ROWS]


def example(row: list[str]) -> str:
    """A row's example as a program."""
    text = re.fullmatch(r"`(.*)`", row[3])
    assert text is not None, row
    return text[1].replace(" ⏎ ", "\n") + "\n"


def read_example(text: str) -> Read:
    return read_any(text if text.startswith("%") else HEAD + text, zero=point(0, 0, 60), block_delete="run",
                    shifts={name: point(0, 0, 0) for name in OFFSETS}, first_tool=1,
                    tools={1: ToolFacts(Decimal(3), Decimal(0))})


def test_the_page_has_every_code_with_its_status_and_no_other() -> None:
    assert {row[0]: row[1] for row in CODE_ROWS} == {name: code.status for name, code in CODES.items()}
    assert len(CODE_ROWS) == len({row[0] for row in CODE_ROWS})


def test_the_page_has_every_letter_once() -> None:
    assert [row[0] for row in LETTER_ROWS] == list("ABCDEFGHIJKLMNOPQRSTUVWXYZ")


def test_every_row_is_whole() -> None:
    for row in EXAMPLES:
        assert len(row) == 4 and row[1] in STATUSES and len(row[2]) > 3, row
    for row in CODE_ROWS:
        assert re.search(rf"(?<!\w){re.escape(row[0])}(?![\d.])", example(row)), row
    for row in LETTER_ROWS:
        assert re.search(rf"(?<!\w){row[0]}-?\d", example(row)), row


@pytest.mark.parametrize("row", [r for r in EXAMPLES if r[1] != "refused"], ids=lambda row: row[0])
def test_what_the_page_calls_followed_or_passed_through_is_read(row: list[str]) -> None:
    assert read_example(example(row)).reasons == []


@pytest.mark.parametrize("row", [r for r in EXAMPLES if r[1] == "refused"], ids=lambda row: row[0])
def test_what_the_page_calls_refused_is_refused_on_its_line(row: list[str]) -> None:
    reasons = read_example(example(row)).reasons
    head, lines = 0 if example(row).startswith("%") else HEAD.count("\n"), example(row).count("\n")
    assert reasons and all(head < line <= head + lines for line, _ in reasons), row


@pytest.mark.parametrize("row", [r for r in EXAMPLES if r[1] == "passed through"], ids=lambda row: row[0])
def test_what_is_passed_through_moves_nothing(row: list[str]) -> None:
    found = read_example(example(row) + "G0 X3 Y4 Z5\n")
    assert found.path == [("rapid", (3, 4, 5))]


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_bench(tmp_path_factory.mktemp("page"), BENCH)


@pytest.mark.parametrize("row", [r for r in CODE_ROWS if r[1] == "refused"], ids=lambda row: row[0])
def test_a_refused_code_is_named_and_nothing_is_written(row: list[str], setup: Path) -> None:
    came = run(HEAD + example(row), setup)
    assert (came.exit, came.output, came.diff) == (4, b"", b"")
    (finding,) = came.records("finding")
    assert finding["line"] == HEAD.count("\n") + 1 and finding["kind"] == "not-understood"
    assert re.search(rf"\b{re.escape(row[0])}(?![\d.])", finding["text"])


@pytest.mark.parametrize("row", [r for r in LETTER_ROWS if r[1] == "refused"], ids=lambda row: row[0])
def test_a_refused_letter_is_named(row: list[str], setup: Path) -> None:
    came = run(HEAD + example(row), setup)
    assert came.exit == 4
    assert any(re.search(rf"\b{row[0]}\b", record["text"]) for record in came.records("finding"))


def test_codes_that_the_page_lacks_are_refused_and_named() -> None:
    listed = {row[0] for row in CODE_ROWS}
    numbers = [f"{n}.{d}" if d else str(n) for n in [*range(0, 140), 199, 200, 500, 999] for d in range(10)]
    codes = [f"G{n}" for n in numbers] + [f"M{n}" for n in range(0, 200)] + ["M3.1", "G54.25", "G1000", "G-1", "M-3"]
    for code in codes:
        if code in listed:
            continue
        reasons = read_example(code + "\n").reasons
        assert reasons and code in reasons[0][1], code


@pytest.mark.parametrize("letter", "DHIJKLPQR")
def test_a_letter_that_no_code_reads_is_refused(letter: str) -> None:
    for line in (f"{letter}1", f"G1 X10 {letter}1" if letter not in "IJKR" else f"G0 X10 {letter}1"):
        reasons = read_example(line + "\n").reasons
        assert reasons and f"{letter} word" in reasons[0][1]


def literals(text: str) -> set[str]:
    """What the package assumes things about: the first argument of each `assume`, as far as it is written out."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute) or not node.args:
            continue
        first = node.args[0]
        if "assume" not in node.func.attr:
            continue
        if isinstance(first, ast.Constant):
            found.add(str(first.value))
        elif isinstance(first, ast.JoinedStr) and isinstance(first.values[0], ast.Constant):
            found.add(str(first.values[0].value).strip() + " N")
    return found


def test_every_assumption_of_the_package_is_on_the_page() -> None:
    listed = {row[0] for row in table("What is taken for granted")}
    said = set().union(*(literals(path.read_text("utf-8")) for path in (HERE / "gcode_guard").rglob("*.py")))
    assert {"left over", "line N", "return level"} <= said
    assert said <= listed


LOGGED = {
    "arc centres": "G2 X10 Y0 I5 J0\n",
    "feed mode": "G1 X5\n",
    "return level": "G81 X10 Y5 Z-5 R2\n",
    "initial level": "G99 G81 X10 Y5 Z-5 R2\nG98 X20\n",
    "path blending": "G64\n",
    "left over": "G0 X5\n",
    "cutter only": "G0 X5\n",
    "not checked": "G0 X5\n",
    "left behind": "G91\n",
    "tool": "T1\n",
    "line 2": "M0\n",
    "M6": "T1 M6\n",
    "named parameters": "#<depth>=1\nM98 P7\nM30\nO7\nM99\n",
}


@pytest.mark.parametrize("about", LOGGED)
def test_an_assumption_of_the_page_stands_in_the_log(about: str, setup: Path) -> None:
    assumed = run("F100\n" + LOGGED[about], setup).records("assumption")
    assert about in {record["about"] for record in assumed}
    said = run("F100 G94 G90.1 G98\nG0 X5\nG91.1 G90\n", setup).records("assumption")
    assert {record["about"] for record in said} == {"left over", "cutter only", "not checked"}


def test_what_was_written_too_high_to_know_stands_in_the_log(tmp_path: Path) -> None:
    text = BENCH.replace("-400.0, -400.0", "50.0, 0.0")
    came = run("G0 Z5\nX100\nM30\n", write_bench(tmp_path, text))
    assert came.exit == 0 and "highest Z" in {record["about"] for record in came.records("assumption")}
