"""What `room` says of many places at once, held against what `filter` does with something that stands there.

Something 0.01 mm under the hard height passes, 0.05 mm over it is refused and named; under the easy height nothing
changes against the empty table, over it a rapid is lifted for it.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

from tests.generate.benches import GeneratedBench
from tests.generate.programs import GeneratedProgram
from tests.guarding import Guarded, run
from tests.room.places import limits_of, random_entries, without_obstacles, write

UNDER, OVER = 0.01, 0.05  # mm
TALLEST = 120.0  # mm: over taller ones a machine without a ceiling can still be led


class Trial:
    """One program on one bench that is empty but for what is tried. `prove`: as the command does, with the proof."""

    def __init__(self, folder: Path, bench: GeneratedBench, program: GeneratedProgram, held: Counter[str],
                 setup: dict[str, Any] | None = None, prove: bool = False) -> None:
        self.folder, self.bench, self.program, self.held, self.prove = folder, bench, program, held, prove
        self.setup = setup if setup is not None else without_obstacles(bench)
        self.setup["machine"].pop("reach", None)  # lifts as high as they must be
        self.setup.pop("table", None)
        self.scale = 25.4 if self.setup["units"] == "inch" else 1.0
        self.table = -self.setup["stock"]["thickness"] * self.scale
        self.bare = write(folder, self.setup, bench.files)
        self.base = run(program.data, self.bare, program.tool, prove=prove)

    def hold(self, seed: int, count: int) -> None:
        if self.base.exit:
            self.held["refused as it is"] += 1
            return
        self.entries = random_entries(np.random.default_rng(seed), self.setup, count, self.bench.places)
        self.limits = limits_of(self.bare, self.program.data, self.program.tool, self.entries)
        self.hold_hard(self.pick("hard"))
        self.hold_easy(self.pick("easy"))

    def pick(self, which: str) -> list[int]:
        """The places at which something may stand that is not beyond all measure."""
        tops = [getattr(one, which).top for one in self.limits]
        return [k for k, top in enumerate(tops) if self.table + 1 < top < TALLEST]

    def stand(self, which: list[int], tops: list[float]) -> Guarded:
        """What the filter does with so tall things at the places `which`."""
        obstacles = [self.entries[k] | {"top": top / self.scale} for k, top in zip(which, tops, strict=True)]
        setup = write(self.folder / "tried", self.setup | {"obstacles": obstacles}, self.bench.files)
        return run(self.program.data, setup, self.program.tool, prove=self.prove)

    def hold_hard(self, hard: list[int]) -> None:
        if not hard:
            return
        under = self.stand(hard, [self.limits[k].hard.top - UNDER for k in hard])
        assert under.exit == 0 or cannot_be_written(under), under.records("finding")
        self.held["under hard" if under.exit == 0 else "no place for a lift"] += len(hard)
        over = self.stand(hard, [self.limits[k].hard.top + OVER for k in hard])
        assert over.exit == 3, over.records("finding")
        for k in hard:  # at the end of a run, only the obstacle that is met deepest is named
            if self.entries[k]["name"] not in touched(over):
                alone = self.stand([k], [self.limits[k].hard.top + OVER])
                assert (alone.exit, touched(alone)) == (3, {self.entries[k]["name"]}), (self.entries[k], alone.log)
        self.held["over hard"] += len(hard)

    def hold_easy(self, easy: list[int]) -> None:
        if not easy:
            return
        under = self.stand(easy, [self.limits[k].easy.top - UNDER for k in easy])
        assert (under.exit, under.output) == (0, self.base.output), under.records("finding")
        self.held["under easy"] += len(easy)
        lifted = [k for k in easy if self.limits[k].easy.top + 2 * OVER < self.limits[k].hard.top]
        if not lifted:
            return
        over = self.stand(lifted, [self.limits[k].easy.top + OVER for k in lifted])
        assert over.exit == 0 or cannot_be_written(over), over.records("finding")
        if over.exit:
            self.held["no place for a lift"] += len(lifted)
            return
        for k in lifted:
            if self.entries[k]["name"] not in changed_for(over):
                alone = self.stand([k], [self.limits[k].easy.top + OVER])
                assert alone.exit == 0 and alone.output != self.base.output, (self.entries[k], alone.log)
        self.held["over easy"] += len(lifted)


def changed_for(came: Guarded) -> set[str]:
    return {name for record in came.records("change") for name in record["obstacles"]}


def touched(came: Guarded) -> set[str]:
    return {record["obstacle"] for record in came.records("finding") if record["kind"] in ("cut-contact",
                                                                                          "rapid-contact")}


def cannot_be_written(came: Guarded) -> bool:
    """Whether a lift has no place in the program, as within an incremental cycle: no cut and no end of a run is met."""
    reasons = [record for record in came.records("finding") if record["kind"] not in ("close", "in-stock")]
    return all(record["kind"] == "rapid-contact" and record["text"].startswith("a rapid c") for record in reasons)

