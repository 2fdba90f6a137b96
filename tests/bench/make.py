"""Programs and benches of any size, the same each time: what the speed of the guard is measured on.

    python -m tests.bench.make FOLDER      # writes them all, the relief of ten million blocks too
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from math import cos, pi, sin
from pathlib import Path

WIDTH, HEIGHT = 200.0, 180.0  # of the carved part, mm
HEAD = ["%", "(TO MEASURE SPEED)", "G21 G90 G17", "S12000 M3", "G0 Z25.000", "G0 X10.000 Y10.000", "G1 Z0.500 F800"]
FOOT = ["G0 Z25.000", "M5", "M30", "%"]

BENCH = """format = 1
units = "mm"

[program]
starts_in = ["G21", "G90", "G17"]

[stock]
corner = [0.0, 0.0]
size = [220.0, 200.0]
top = 0.0
thickness = 19.0

[machine]
reach = { x = [-100.0, 900.0], y = [-100.0, 900.0], z = [-60.0, 90.0] }
start = [0.0, 0.0, 60.0]

[spindle]
sections = [{ diameter = 42.0, height = 30.0 }, { diameter = 80.0, height = 120.0 }]

[[tools]]
number = 1
diameter = 6.0
length = 32.0
"""
BAR = 'shape = "bar"\nfrom = [110.0, -20.0]\nto = [110.0, 220.0]\nwidth = 10.0\ntop = 12.0'  # between two parts


def bench(obstacles: int, bar: bool = False) -> str:
    """A bench of so many obstacles round the part, out of the spindle's reach; with `bar` one of them across it."""
    shapes = [BAR] if bar else []
    round_it = obstacles - len(shapes)
    for number in range(round_it):
        turn = 2 * pi * number / round_it
        x, y = 110 + (240 + number % 7 * 15) * cos(turn), 100 + (240 + number % 7 * 15) * sin(turn)
        shapes.append((
            f'shape = "cylinder"\ncenter = [{x:.3f}, {y:.3f}]\ndiameter = 12.0\ntop = 22.0',
            f'shape = "box"\ncenter = [{x:.3f}, {y:.3f}]\nsize = [40.0, 18.0]\nangle = {number % 180}.0\ntop = 18.0',
            f'shape = "bar"\nfrom = [{x:.3f}, {y:.3f}]\nto = [{x + 20:.3f}, {y:.3f}]\nwidth = 15.0\ntop = 25.0',
        )[number % 3])
    return BENCH + "".join(f'\n[[obstacles]]\nname = "obstacle {k}"\n{text}\n' for k, text in enumerate(shapes))


def program(blocks: Iterator[str], count: int) -> Iterator[str]:
    """So many blocks, head and foot included."""
    yield from HEAD
    for _ in range(count - len(HEAD) - len(FOOT)):
        yield next(blocks)
    yield from FOOT


def relief() -> Iterator[str]:
    """Rows of 200 cuts to and fro; after every 50 rows the tool goes up and comes down again."""
    row = 0
    while True:
        y = 10 + row * 0.25 % HEIGHT
        for number in range(200) if row % 2 == 0 else range(199, -1, -1):
            x = 10 + number * WIDTH / 200
            yield f"G1 X{x:.3f} Y{y:.3f} Z{-3 + 2.5 * sin(x / 17) * cos(y / 13):.3f}"
        row += 1
        if row % 50 == 0:
            yield from ("G0 Z25.000", f"G0 X10.000 Y{y:.3f}", "G1 Z0.500")


def commented() -> Iterator[str]:
    """The relief with a comment on every second line."""
    for number, block in enumerate(relief()):
        yield block if number % 2 else f"{block} (POINT {number})"


def arcs() -> Iterator[str]:
    """Rings beside each other, each of four arcs, one after the other without a rapid between them."""
    ring = 0
    while True:
        x, y, r = 20 + ring * 7.3 % WIDTH, 20 + ring * 0.37 % HEIGHT, 4.0 + ring % 5
        yield f"G1 X{x + r:.3f} Y{y:.3f}"
        for i, j, k, m in ((-1, 0, 0, 1), (0, -1, -1, 0), (1, 0, 0, -1), (0, 1, 1, 0)):
            yield f"G3 X{x + k * r:.3f} Y{y + m * r:.3f} I{i * r:.3f} J{j * r:.3f}"
        ring += 1


def drilling(holes: int) -> Iterator[str]:
    """A program of so many holes in one cycle."""
    yield from HEAD[:-1]
    yield "G99 G81 X10.000 Y10.000 Z-6.000 R2.000 F400"
    for number in range(1, holes):
        yield f"X{10 + number * 2.5 % WIDTH:.3f} Y{10 + number // 80 * 0.14 % HEIGHT:.3f}"
    yield "G80"
    yield from FOOT


def clipping(cuts: int) -> Iterator[str]:
    """So many cuts left of the bar, as many right of it, and so on: half of all rapids run into it."""
    pocket = 0
    while True:
        for side in (30.0, 150.0):
            y = 10 + pocket * 0.11 % 60
            for number in range(cuts):
                yield f"G1 X{side + number % 50 * 0.6:.3f} Y{y + number // 50 * 2:.3f} Z{-1 - number % 9 * 0.2:.3f}"
            yield "G0 Z5.000"
            yield f"G0 X{180 - side:.3f} Y{y:.3f}"
        pocket += 1


def write(folder: Path, name: str, blocks: Iterator[str]) -> Path:
    path = folder / name
    if not path.exists():
        with open(path, "w", encoding="ascii") as file:
            file.writelines(block + "\n" for block in blocks)
    return path


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    for millions in (1, 3, 10):
        write(folder, f"relief-{millions}m.nc", program(relief(), millions * 1_000_000))
    write(folder, "comments-1m.nc", program(commented(), 1_000_000))
    write(folder, "arcs-300k.nc", program(arcs(), 300_000))
    write(folder, "clipping-1m.nc", program(clipping(100), 1_000_000))
    write(folder, "clipping-often-1m.nc", program(clipping(10), 1_000_000))
    write(folder, "drilling-100k.nc", drilling(100_000))
    for count in (12, 1000):
        (folder / f"bench-{count}.toml").write_text(bench(count))
    (folder / "bench-bar.toml").write_text(bench(12, bar=True))


if __name__ == "__main__":
    main()
