"""The best places for a part against every place there is, tried by the filter itself, on small benches of all kinds.

    python -m pytest -s tests/bench/test_room_places.py

Ten minutes. The number of benches stands in docs/room.md.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import tomlkit
from shapely import affinity

from tests.guarding import Guarded, run, write_bench
from tests.room.test_places import BENCH, DEPTH, PARTS, STEP, WIDTH, every_place, random_program, room

BENCHES = 106
AREA = (-40.0, -40.0, 120.0, 100.0)
SHAPES = {"peg": (shapely.Point(0, 0).buffer(4.0), 4.0, 4.0), "strap": (shapely.box(-20, -6, 20, 6), 20.0, 6.0)}
LENGTHS = {"stock": ("corner", "size", "top", "thickness"), "clearance": ("above", "beside", "tolerance"),
           "machine": ("start", "rapid_rate", "acceleration", "corner_rounding")}


class Small:
    """A small bench, a program for it, and one question."""

    def __init__(self, folder: Path, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.folder, self.scale = folder, 25.4 if rng.integers(2) else 1.0
        self.text = tomlkit.dumps(self.setup(rng))
        self.program = random_program(rng, crowded=bool(rng.integers(3)))
        self.part = str(rng.choice(list(SHAPES)))
        self.over = float(rng.choice([0.0, 0.0, 10.0])) if self.part == "strap" else 0.0
        self.along = "anywhere" if self.over == 0 and rng.integers(3) == 0 else "edge"
        self.base = self.stand([])

    def rule(self, value: Any) -> Any:
        """Lengths in mm as the setup gives them."""
        return [self.rule(one) for one in value] if isinstance(value, (list, tuple)) else round(value / self.scale, 6)

    def setup(self, rng: np.random.Generator) -> dict[str, Any]:
        setup = tomllib.loads(BENCH)
        setup["units"] = "inch" if self.scale > 1 else "mm"
        for table, keys in LENGTHS.items():
            setup[table] |= {key: self.rule(setup[table][key]) for key in keys}
        setup["tools"][0] |= {"diameter": self.rule(6.0), "length": self.rule(30.0)}
        setup["spindle"]["sections"] = [{"diameter": self.rule(36.0), "height": self.rule(100.0)}]
        setup["machine"]["rapid_path"] = str(rng.choice(["straight", "unknown"]))
        kind = rng.integers(4)
        if kind == 1:
            setup["spindle"]["shoe"] = {"diameter": self.rule(60.0), "rides_at": self.rule(20.0)}
        elif kind == 2:
            setup["machine"]["reach"] = {axis: self.rule(way) for axis, way in
                                         (("x", (-200, 300)), ("y", (-200, 300)), ("z", (-20, 62)))}
        elif kind == 3:
            setup["repair"] = {"air_feeds": True}
        return setup

    def stand(self, entries: list[dict[str, Any]]) -> Guarded:
        more = tomlkit.dumps({"obstacles": entries}) if entries else ""
        return run(self.program, write_bench(self.folder / "tried", self.text + more, {"parts.toml": PARTS}))

    def price(self, came: Guarded) -> float:
        """Nothing where the program stays as it is without the part; else the seconds that are added."""
        if came.output == self.base.output:
            return 0.0
        added = [float(one.records("summary")[0]["added_s"]) for one in (came, self.base)]
        return 0.02 + max(0.0, added[0] - added[1])

    def places(self) -> Iterator[tuple[float, float, float]]:
        """Every place that the question allows, worked out afresh: (x, y, angle), mm."""
        shape, nose, side = SHAPES[self.part]
        if self.along == "edge":
            yield from every_place(nose - self.over, side)
            return
        stock = shapely.box(0, 0, WIDTH, DEPTH)
        for x in np.arange(AREA[0], AREA[2] + 1, STEP):
            for y in np.arange(AREA[1], AREA[3] + 1, STEP):
                for angle in (0.0, 90.0, 180.0, -90.0):
                    way = np.array([WIDTH / 2 - x, DEPTH / 2 - y])
                    ahead = way @ np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
                    there = affinity.translate(affinity.rotate(shape, angle, origin=(0, 0)), x, y)
                    if ahead >= 0.6889 * np.hypot(*way) and there.intersection(stock).area < 1e-6:
                        yield float(x), float(y), angle

    def cheapest(self) -> float | None:
        best: float | None = None
        for x, y, angle in self.places():
            came = self.stand([{"name": "it", "part": self.part, "at": self.rule([x, y]), "angle": angle}])
            if came.exit == 0:
                best = self.price(came) if best is None else min(best, self.price(came))
                if best == 0.0:
                    break
        return best

    def proposed(self) -> tuple[int, list[dict[str, Any]]]:
        write_bench(self.folder, self.text, {"parts.toml": PARTS})
        (self.folder / "program.nc").write_text(self.program)
        area = ",".join(map(str, self.rule(AREA)))
        said = room(self.folder, "--place", self.part, "--step", str(self.rule(STEP)), "--along", self.along,
                    *(["--over", str(self.rule(self.over))] if self.over else []),
                    *(["--area", area] if self.along == "anywhere" else []))
        return said.returncode, tomllib.loads(said.stdout).get("obstacles", [])


def test_no_better_place_is_found_by_trying_all(tmp_path: Path) -> None:
    held: Counter[str] = Counter()
    for seed in range(BENCHES):
        small = Small(tmp_path, seed)
        status, entries = small.proposed()
        best = None if small.base.exit else small.cheapest()
        if best is None:
            assert status == 3, seed
            held["no place"] += 1
            continue
        assert status == 0, (seed, best)
        came = small.stand(entries)
        assert came.exit == 0, seed
        assert small.price(came) == pytest.approx(best, abs=0.011), seed
        held["lifted" if best else "nothing lifted"] += 1
    print(dict(held))
    assert held["lifted"] > 20 and held["nothing lifted"] > 20
