"""Makes the pictures of docs/pictures/ from the shipped example, with the system's Chromium.

    python docs/make_pictures.py

Needs the packages of the `test` extra, and Chromium. The refused program is the example's own with one cut more.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from importlib import resources
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from gcode_guard.demo import EXAMPLE
from gcode_guard.guard import guard
from gcode_guard.picture import write_page
from gcode_guard.record.page import write_bench
from gcode_guard.setup import load_setup
from gcode_guard.source import Source

PICTURES = Path(__file__).parent / "pictures"
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]
# A label pocket that somebody placed without a thought for the clamp behind it.
CUT_INTO_THE_CLAMP = ("G1 X235 F1200\n", "G1 X235 F1200\nG1 X300 Y392\n")


def make_pages(folder: Path) -> None:
    """Writes the pages that are photographed."""
    for name in EXAMPLE:
        (folder / name).write_bytes((resources.files("gcode_guard.example") / name).read_bytes())
    setup = load_setup(folder / "bench.toml")
    program = (folder / "door-panel.nc").read_text()
    assert CUT_INTO_THE_CLAMP[0] in program
    (folder / "refused.nc").write_text(program.replace(*CUT_INTO_THE_CLAMP))
    for name, page in (("door-panel.nc", "review.html"), ("refused.nc", "refused.html")):
        with Source.from_path(folder / name) as source:
            source.name = "door-panel.nc"
            outcome = guard(source, setup)
            with open(folder / page, "wb") as out:
                write_page(out, source, setup, outcome, None)
            outcome.close()
    with open(folder / "bench.html", "wb") as out:
        write_bench(out, setup)


def take(page: Any, folder: Path) -> None:
    """Takes the pictures."""
    def shot(name: str, below: str | None = None) -> None:
        height = page.locator(below).first.bounding_box()["y"] if below else page.viewport_size["height"]
        page.screenshot(path=PICTURES / f"{name}.png", full_page=True,
                        clip={"x": 0, "y": 0, "width": page.viewport_size["width"], "height": height})

    page.goto((folder / "review.html").as_uri())
    page.click("#row-5")
    shot("review", "#tools-title")
    page.emulate_media(color_scheme="dark")
    page.goto((folder / "refused.html").as_uri())
    shot("refused-dark", "#tools-title")
    page.emulate_media(color_scheme="light")
    page.goto((folder / "bench.html").as_uri())
    shot("bench", "#all-title")


def main() -> None:
    place = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if place is None:
        sys.exit("no Chromium on this system: apt-get install chromium")
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        make_pages(Path(name))
        browser = driver.chromium.launch(executable_path=place, args=ARGUMENTS)
        take(browser.new_page(viewport={"width": 1200, "height": 900}), Path(name))
        browser.close()


if __name__ == "__main__":
    main()
