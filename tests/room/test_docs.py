"""docs/room.md, docs/walk.md and docs/first-job.md against what the tool says of the shipped example."""

from __future__ import annotations

import re
import shlex
from importlib import resources
from pathlib import Path

import pytest

from gcode_guard.demo import EXAMPLE
from tests.room.calling import call

DOCS = Path(__file__).parents[2] / "docs"
PAGES = ("room.md", "walk.md", "first-job.md")


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("example")
    for name in EXAMPLE:
        (folder / name).write_bytes((resources.files("gcode_guard.example") / name).read_bytes())
    (folder / "label.nc").write_bytes((folder / "door-panel.nc").read_bytes())
    return folder


def calls(page: str) -> list[str]:
    """The calls of a page, in its fenced blocks of shell."""
    blocks = re.findall(r"```sh\n(.*?)```", (DOCS / page).read_text("utf-8"), re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.startswith("gcode-guard ")]


def said_in(page: str) -> str:
    """A page as one line without the marks of its quotations."""
    return re.sub(r"\s+", " ", re.sub(r"^> ?|\\$", "", (DOCS / page).read_text("utf-8"), flags=re.MULTILINE))


@pytest.mark.parametrize("page", PAGES)
def test_every_call_of_a_page_works(page: str, example: Path) -> None:
    for line in calls(page):
        if " setup new " in line:  # the example has its setup
            continue
        made = call(example, *shlex.split(line)[1:])
        assert made.returncode in (0, 1), (line, made.stderr)
        if " --at " in line and page != "room.md":
            assert made.stdout.strip() in said_in(page)
        if "--size" in line:
            assert made.stdout.strip() in said_in(page)
        if " --set " in line and page == "room.md":
            assert re.sub(r"\s+", " ", made.stderr[made.stderr.index("What if") :].strip()) in said_in(page)
        if "--place" in line and page == "room.md":
            assert made.stdout in (DOCS / page).read_text("utf-8")


def test_the_part_that_is_too_tall(example: Path) -> None:
    made = call(example, "room", "door-panel.nc", "--setup", "bench.toml", "--part", "step clamp", "--at", "-35,100")
    assert made.stdout.strip() in said_in("room.md")


def test_the_walk_of_the_page_is_that_of_the_example(example: Path) -> None:
    made = call(example, "walk", "--setup", "bench.toml")
    (shown,) = re.findall(r"```\n(M5\n.*?)```", (DOCS / "walk.md").read_text("utf-8"), re.DOTALL)
    assert shown in made.stdout


def test_links_and_pictures_are_there() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)", (DOCS / page).read_text("utf-8")):
            assert (DOCS / target).exists(), (page, target)
