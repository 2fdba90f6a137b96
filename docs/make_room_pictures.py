"""Makes the pictures of room.md and walk.md from the shipped example, with the system's Chromium.

    python docs/make_room_pictures.py

Needs the packages of the `test` extra, and Chromium.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from importlib import resources
from pathlib import Path

from playwright.sync_api import sync_playwright

from gcode_guard.demo import EXAMPLE
from gcode_guard.record.page import write_document
from gcode_guard.record.page_model import Backdrop
from gcode_guard.record.page_plan import draw_plan
from gcode_guard.room.command import Request, carry_out
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.walk.program import walk

PICTURES = Path(__file__).parent / "pictures"


def make_pages(folder: Path) -> None:
    """Writes the pages that are photographed: the maps of the example, and the walk round its bench."""
    for name in EXAMPLE:
        (folder / name).write_bytes((resources.files("gcode_guard.example") / name).read_bytes())
    setup = load_setup(folder / "bench.toml")
    with Source.from_path(folder / "door-panel.nc") as source:
        source.name = "door-panel.nc"
        carry_out(Request(setup, [source], page=folder / "room.html"))
    start = setup.machine.start
    assert isinstance(start, tuple)
    stops = [(stop.x, stop.y) for thing in walk(setup).things for stop in thing.stops]
    way = [start[:2], *stops, start[:2]]
    plan = draw_plan(setup, backdrop=Backdrop(cuts=[way, *([stop, stop] for stop in stops)]))
    with open(folder / "walk.html", "wb") as out:
        write_document(out, "bench.html", {"setup": setup, "plan": plan, "tools": [], "rows": [], "title": "walk"})


def main() -> None:
    place = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if place is None:
        sys.exit("no Chromium on this system: apt-get install chromium")
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        make_pages(Path(name))
        browser = driver.chromium.launch(executable_path=place, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 1100, "height": 900}, bypass_csp=True)
        page.goto((Path(name) / "room.html").as_uri())
        for which in ("hard", "easy"):
            page.locator(f"section[aria-labelledby={which}-title]").screenshot(path=PICTURES / f"room-{which}.png")
        page.emulate_media(media="print")
        page.locator("section.sheet svg").nth(1).screenshot(path=PICTURES / "room-sheet.png")
        page.emulate_media(media="screen")
        page.goto((Path(name) / "walk.html").as_uri())
        page.add_style_tag(content=".cuts { stroke: var(--good); stroke-width: 2; stroke-linecap: round; }")
        page.locator(".drawing").screenshot(path=PICTURES / "walk.png")
        browser.close()


if __name__ == "__main__":
    main()
