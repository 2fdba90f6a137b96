"""Programs full of runs that must be lifted, in many shapes and hands, and benches on which they must be."""

from __future__ import annotations

import random

OBSTACLES = {
    "bar": 'shape = "bar"\nfrom = [60.0, -30.0]\nto = [60.0, 130.0]\nwidth = 8.0',
    "post": 'shape = "cylinder"\ncenter = [20.0, 60.0]\ndiameter = 10.0',
    "clamp": 'shape = "box"\ncenter = [95.0, 45.0]\nsize = [12.0, 20.0]\nangle = 20.0',
    "jig": 'shape = "outline"\npoints = [[30.0, 90.0], [90.0, 90.0], [90.0, 96.0], [60.0, 93.0], [30.0, 96.0]]',
}
SPINDLES = [
    "", "[spindle]\nsections = [{ diameter = 20.0, height = 30.0 }, { diameter = 50.0, height = 120.0 }]\n",
    *(f"[spindle]\nsections = [{{ diameter = 20.0, height = 90.0 }}]\nshoe = {{ diameter = {shoe} }}\n" for shoe in (
        "40.0, bottom = 12.0, soft = true", "30.0, bottom = 6.0", "30.0, rides_at = 45.0")),
]
TOOLS = [*["diameter = 4.0\nlength = 30.0"] * 5, "diameter = 4.0",
         "length = 30.0\nsections = [{ diameter = 9.0, height = 4.0 }, { diameter = 5.0, height = 20.0 }]"]


def bench(rng: random.Random) -> str:
    """A setup with some obstacles between the places where the programs cut."""
    lines = ['format = 1', 'units = "mm"', '[program]', 'starts_in = ["G21", "G90", "G17"]', 'block_delete = "run"']
    if rng.random() < 0.6:
        lines += ["[stock]", "corner = [-10.0, -10.0]", "size = [130.0, 120.0]", "top = 0.0", "thickness = 19.0"]
    lines += ["[machine]", "start = [0.0, 0.0, 50.0]", "home = [0.0, 0.0, 50.0]",
              f'rapid_path = "{rng.choice(["unknown", "straight"])}"', f"corner_rounding = {rng.choice([0.0, 1.0])}"]
    if rng.random() < 0.5:
        z = rng.choice([51.0, 61.0, 90.0])
        lines.append(f"reach = {{ x = [-100.0, 300.0], y = [-100.0, 300.0], z = [-60.0, {z}] }}")
    if rng.random() < 0.4:
        lines += ["rapid_rate = [5000.0, 4000.0, 1500.0]", "acceleration = [400.0, 300.0, 200.0]"]
    if rng.random() < 0.2:
        lines += ["[repair]", f'detour = "{rng.choice(["when-faster", "when-needed"])}"']
    text = "\n".join(lines) + "\n" + rng.choice(SPINDLES)
    text += "[[tools]]\nnumber = 1\n" + rng.choice(TOOLS) + "\n"
    for name in rng.sample(sorted(OBSTACLES), rng.randint(1, 4)):
        top = rng.choice([4.0, 9.0, 9.0, 9.0, 12.345, 12.345, 17.5, 48.0])
        text += f'[[obstacles]]\nname = "{name}"\n{OBSTACLES[name]}\ntop = {top}\n'
    return text


class Hand:
    """How a program is written: units, spelling, line numbers, comments, line ends."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.inch = rng.random() < 0.3
        self.gap = rng.choice([" ", " ", "", "\t"])
        self.rapid = rng.choice(["G0", "G00", "g0", "G000"])
        self.ending = rng.choice(["\n", "\n", "\r\n"])
        self.numbered, self.noted = rng.random() < 0.2, rng.choice([0.0, 0.0, 0.1])
        self.decimals = rng.choice([3, 3, 1])
        self.modal = rng.random() < 0.5
        self.changes = rng.random() < 0.1  # goes on in another hand now and then
        self.lines: list[str] = []

    def number(self, value: float) -> str:
        return f"{value / 25.4:.4f}" if self.inch else f"{value:.{self.decimals}f}"

    def block(self, code: str, **words: float) -> None:
        """A block of a code and words."""
        rng = self.rng
        if self.changes and rng.random() < 0.05:
            self.rapid, self.gap = rng.choice(["G0", "G00", "g0"]), rng.choice([" ", ""])
        parts = [code] if code else []
        parts += [letter + self.number(value) for letter, value in words.items()]
        if self.numbered:
            parts.insert(0, f"N{len(self.lines) + 1}")
        text = self.gap.join(parts)
        text = text.lower() if self.rapid[0] == "g" else text
        if rng.random() < self.noted:
            text = rng.choice([f"{text} (on)", f"(G00 X1.) {text}", f"{text} ; then", text + " "])
        self.lines.append(text)
        if rng.random() < self.noted:
            self.lines.append(rng.choice(["", "(and on)", "; over", "  "]))

    def plain(self, text: str) -> None:
        self.lines.append(text)

    def bytes(self) -> bytes:
        return "".join(line + self.ending for line in self.lines).encode()


def places(rng: random.Random) -> tuple[float, float]:
    x, y = rng.choice([(10.0, 10.0), (110.0, 10.0), (10.0, 110.0), (110.0, 110.0), (74.0, 60.0), (44.0, 40.0)])
    return x + rng.randrange(0, 90) / 10, y - rng.randrange(0, 90) / 10


def run(hand: Hand, odd: float) -> None:
    """Up, across to another place, and down."""
    rng = hand.rng
    level = rng.choice([2.0, 5.0, 5.0, 5.0, 8.0, 40.0])
    kind = rng.random()
    again = "" if hand.modal else hand.rapid
    if kind > odd and rng.random() < 0.2:
        hand.block("G1", Z=level)
        again = hand.rapid
    elif kind > odd:
        hand.block(hand.rapid, Z=level)
    else:
        _odd(hand, level)
    x, y = places(rng)
    if rng.random() < 0.15:
        way = rng.choice([{"X": 57.0}, {"Y": 30.0}, {"X": 100.0, "Y": 70.0}])
        for _ in range(rng.choice([1, 1, 2])):
            hand.block(again or hand.rapid, **way)
    if rng.random() < 0.1:
        hand.block(again or hand.rapid, Z=rng.choice([3.0, level, 6.0]))
    hand.block(again or hand.rapid, X=x, Y=y)
    if rng.random() < 0.1:
        hand.block(again or hand.rapid, **rng.choice([{"X": x}, {"X": x, "Y": y}]))  # leads nowhere
    if rng.random() < 0.4:
        hand.block(again, Z=rng.choice([1.0, 1.0, 0.5, level]))
    hand.block("G1", **rng.choice([{"Z": -1.0}, {"Z": -1.0, "F": 300.0}, {"X": x + 1, "Y": y, "Z": -1.0}]))
    for number in range(rng.randint(0, 4)):
        hand.block(rng.choice(["G1", ""]), X=x + number % 3 + 0.5, Y=y - number * 0.3)
    if rng.random() < 0.1:
        hand.block("G1", X=x, Y=y)
        hand.block(rng.choice(["G2", "G3"]), X=x + 4, Y=y, **rng.choice([{"I": 2.0}, {"I": 2.0, "J": 0.0}, {"R": 5.0}]))


def _odd(hand: Hand, level: float) -> None:
    """Begins a run in a way that is not the usual one."""
    rng, rapid = hand.rng, hand.rapid
    x, y = places(rng)
    kind = rng.randrange(12)
    if kind == 0:
        pass  # goes across without going up
    elif kind == 1:
        hand.block(rapid, X=x, Y=y, Z=level)
    elif kind == 2:
        hand.block(rapid, Z=level)
        hand.block(rapid, X=x, Y=y, Z=level)
    elif kind == 3:
        hand.plain(f"/{rapid} Z{hand.number(level)}")
    elif kind == 4:
        hand.plain("G91")
        hand.block(rapid, Z=4.0)
        hand.block(rapid, X=3.0)
        hand.plain("G90")
    elif kind == 5:
        hand.block(rapid, Z=level)
        hand.plain(rng.choice(["G4 P0.2", "S900 M3", "M8", "F250"]))
    elif kind == 6:
        hand.plain("G28 G91 Z0")
        hand.plain("G90")
        hand.block(rapid, X=x, Y=y)
        hand.block(rapid, Z=level)
    elif kind == 7:
        hand.block(rapid, Z=level)
        hand.block(rapid, Z=level)  # leads nowhere
    elif kind == 8:
        hand.block(rapid, Z=-0.5)  # in the stock
    elif kind == 9:
        hand.block(rapid, Z=level)
        hand.plain(f"{rapid} X[40+{rng.randrange(30)}]")
    elif kind == 10:
        hand.block(rapid, Z=level)
        hand.plain(f"{rapid} X{hand.number(x)} F{rng.choice([100, 200])}")
    else:
        hand.plain(f"{rapid} Z {hand.number(level)[0]} {hand.number(level)[1:]}")


def program(rng: random.Random, runs: int) -> bytes:
    """A program of so many runs."""
    hand = Hand(rng)
    odd = rng.choice([0.0, 0.0, 0.1, 0.4])
    hand.plain("G20 G90 G17" if hand.inch else "G21 G90 G17")
    hand.plain("F300")
    hand.block(hand.rapid, Z=50.0)
    hand.block(hand.rapid, X=10.0, Y=10.0)
    hand.block("G1", Z=-1.0)
    for _ in range(runs):
        run(hand, odd)
    hand.block(hand.rapid, Z=50.0)
    hand.plain("M30")
    return hand.bytes()
