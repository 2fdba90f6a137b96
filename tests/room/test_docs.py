"""docs/room.md, docs/walk.md and docs/first-job.md against what the tool says of the shipped example."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from gcode_guard.demo import EXAMPLE
from tests.room.calling import call

DOCS = Path(__file__).parents[2] / "docs"
PAGES = ("room.md", "walk.md")


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
        made = call(example, *shlex.split(line)[1:])
        assert made.returncode in (0, 1), (line, made.stderr)
        if "--size" in line:
            assert made.stdout.strip() in said_in(page)
        if " --set " in line and page == "room.md":
            assert re.sub(r"\s+", " ", made.stderr[made.stderr.index("What if") :].strip()) in said_in(page)
        if "--place" in line and page == "room.md":
            assert made.stdout in (DOCS / page).read_text("utf-8")


def test_the_whole_job_works_as_it_is_typed(example: Path, tmp_path: Path) -> None:
    """Each block of first-job.md in the folder of the example, by the shell; what is quoted is what was said."""
    for name in EXAMPLE:
        (tmp_path / name).write_bytes((example / name).read_bytes())
    command = tmp_path / "bin" / "gcode-guard"
    command.parent.mkdir()
    command.write_text(f"#!/bin/sh\nexec {shlex.quote(sys.executable)} -m gcode_guard \"$@\"\n")
    command.chmod(0o755)
    places = {"PATH": f"{command.parent}{os.pathsep}{os.environ['PATH']}", "PYTHONPATH": str(DOCS.parent)}
    blocks = re.findall(r"```sh\n(.*?)```", (DOCS / "first-job.md").read_text("utf-8"), re.DOTALL)
    assert len(blocks) == 11
    said = []
    for block in blocks:
        made = subprocess.run(["sh", "-ec", block], cwd=tmp_path, input="\n" * 40, text=True, capture_output=True,
                              env={**os.environ, **places})
        changes = " review " in block  # which ends with 1 where there are changes to look at
        assert made.returncode == (1 if changes else 0), (block, made.stderr)
        said.append(re.sub(r"\s+", " ", made.stdout + made.stderr))
    quoted = re.findall(r"(?:^> ?.*\n)+", (DOCS / "first-job.md").read_text("utf-8"), re.MULTILINE)
    for quote in quoted:
        words = re.sub(r"\s+", " ", re.sub(r"^> ?|\\$", "", quote, flags=re.MULTILINE)).strip()
        assert any(words in text for text in said), words
    assert "to one side of the stock's middle" in said[3]
    assert "5 blocks changed" in said[-1] and "holds: every cut" in said[-1]
    made_files = ("room.html", "bench.html", "walk.nc", "door-panel.html", "door-panel.guarded.nc", "door-panel.diff")
    assert all((tmp_path / name).stat().st_size for name in made_files)


def test_the_part_that_is_too_tall(example: Path) -> None:
    made = call(example, "room", "door-panel.nc", "--setup", "bench.toml", "--part", "step clamp", "--at", "-35,100")
    assert made.stdout.strip() in said_in("room.md")


def test_the_walk_of_the_page_is_that_of_the_example(example: Path) -> None:
    made = call(example, "walk", "--setup", "bench.toml")
    (shown,) = re.findall(r"```\n(M5\n.*?)```", (DOCS / "walk.md").read_text("utf-8"), re.DOTALL)
    assert shown in made.stdout


def test_links_and_pictures_are_there() -> None:
    for page in (*PAGES, "first-job.md"):
        for target in re.findall(r"\]\(([^)#]+)", (DOCS / page).read_text("utf-8")):
            assert (DOCS / target).exists(), (page, target)
