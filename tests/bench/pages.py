"""How large the review page of a program of a million blocks is, and how fast a real browser opens it.

    python -m tests.bench.pages FOLDER      # writes programs and pages there, and prints a table

The times are seconds on the machine at hand, for docs/review.md: no test asks for them. `open` ends when the list
stands there and the first change's side view is drawn; each page is opened five times, in a tab of its own, and the
middle one counts. `first` is the first opening after the browser's start.
"""

from __future__ import annotations

import argparse
import random
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.make import BENCH
from tests.browser import ARGUMENTS

BLOCKS = 1_000_000
HEAD = ["G21 G90 G17", "S12000 M3", "G0 Z25.000", "G0 X10.000 Y10.000", "G1 Z-0.500 F800"]
MEASURED = """import resource, sys
from gcode_guard.cli import main
try:
    main()
finally:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)
"""
FOOT = ["G0 Z25.000", "M5", "M30"]
CLAMP = """
[[obstacles]]
name = "bar clamp"
shape = "bar"
from = [110.0, -20.0]
to = [110.0, 220.0]
width = 10.0
top = 12.0
"""


def anywhere(clips: int) -> Iterator[str]:
    """Cuts and rapids whose coordinates are drawn at random, which pack worst."""
    draw = random.Random(7)
    left, between = clips, max(BLOCKS // clips - 3, 1)
    for made in range(0, BLOCKS - len(HEAD) - len(FOOT), between + 3):
        side = (140.0, 20.0) if made // (between + 3) % 2 else (20.0, 140.0)
        for _ in range(between):
            yield f"G1 X{side[0] + draw.uniform(0, 55):.3f} Y{draw.uniform(0, 200):.3f} Z{-draw.uniform(0, 6):.3f}"
        yield f"G0 Z{draw.uniform(4, 9):.3f}" if left else "G0 Z30.000"
        yield f"G0 X{side[1] + draw.uniform(0, 55):.3f} Y{draw.uniform(0, 200):.3f}"
        yield f"G1 Z{-draw.uniform(0, 6):.3f}"
        left -= left > 0


def raster(clips: int) -> Iterator[str]:
    """Rows over two parts on both sides of the clamp, at one level over the stock, as rasters are."""
    step, x = 180.0 / clips, True
    between = BLOCKS // clips - 3
    for row in range(clips):
        side = (20.0, 200.0) if x else (200.0, 20.0)
        for _ in range(max(between, 1)):
            yield f"G1 Y{row * step:.3f} Z-2.000"
        yield "G0 Z5.000"
        yield f"G0 X{side[1]:.3f}"
        yield "G1 Z-1.000"
        x = not x


def make(folder: Path, name: str, blocks: Iterator[str]) -> tuple[Path, float, float]:
    """The page of such a program, the seconds that the guard took for it, and its peak memory in MB."""
    program, setup, page = folder / f"{name}.nc", folder / "bench.toml", folder / f"{name}.html"
    setup.write_text(BENCH + CLAMP, encoding="ascii")
    with open(program, "w", encoding="ascii") as out:
        out.writelines(f"{block}\n" for part in (HEAD, blocks, FOOT) for block in part)
    started = time.monotonic()
    done = subprocess.run([sys.executable, "-c", MEASURED, "review", str(program), "--setup", str(setup),
                           "--page", str(page)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    assert done.returncode in (0, 1), done.stderr[-2000:]
    return page, time.monotonic() - started, int(done.stderr.split()[-1]) / 1024


def openings(page: Path, folder: Path) -> list[float]:
    """The seconds of five openings, in a browser that was started for them."""
    from playwright.sync_api import sync_playwright

    place = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    times = []
    with sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            str(folder / f"profile-{page.stem}"), executable_path=place, headless=True, args=ARGUMENTS,
            viewport={"width": 1400, "height": 1000})
        for _ in range(5):
            tab = context.new_page()
            troubles: list[str] = []
            tab.on("pageerror", lambda error: troubles.append(str(error)))  # noqa: B023
            started = time.monotonic()
            tab.goto(page.as_uri())
            tab.wait_for_selector("#rows li:visible, #list li:visible", timeout=60_000)
            tab.wait_for_selector("article svg:visible", timeout=60_000)
            times.append(time.monotonic() - started)
            assert troubles == []
            tab.close()
        context.close()
    return times


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    print("program           page MB   guard s   peak MB   open s   first s", flush=True)
    for name, blocks in (("anywhere-300", anywhere(300)), ("anywhere-20000", anywhere(20_000)),
                         ("anywhere-100000", anywhere(100_000)), ("anywhere-250000", anywhere(250_000)),
                         ("raster-250000", raster(250_000))):
        page, seconds, memory = make(folder, name, blocks)
        times = openings(page, folder)
        print(f"{name:16} {page.stat().st_size / 1e6:8.2f} {seconds:9.1f} {memory:9.0f} "
              f"{statistics.median(times):8.2f} {times[0]:9.2f}", flush=True)


if __name__ == "__main__":
    main()
