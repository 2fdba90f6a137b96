"""A top 0.01 mm under the hard height passes `filter`, one 0.05 mm over it is refused; under the easy height nothing
changes, over it a rapid is lifted. Thousands of places, boxes, cylinders, bars, outlines and parts, many on one bench
at once: what is refused or changed names the obstacles, and must name each."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from gcode_guard.room.limits import Limits
from tests.generate.benches import benches
from tests.generate.programs import programs
from tests.guarding import Guarded, run
from tests.room.places import limits_of, part_heights, random_entries, without_obstacles, write

UNDER, OVER = 0.01, 0.05  # mm
TALLEST = 120.0  # mm: over taller ones a machine without a ceiling can still be led


def with_tops(setup: dict[str, Any], entries: list[dict[str, Any]], tops: list[float]) -> dict[str, Any]:
    scale = 25.4 if setup["units"] == "inch" else 1.0
    return setup | {"obstacles": [entry | {"top": top / scale} for entry, top in zip(entries, tops, strict=True)]}


def named(came: Guarded, kind: str) -> set[str]:
    if kind == "change":
        return {name for record in came.records("change") for name in record["obstacles"]}
    return {record["obstacle"] for record in came.records("finding") if record["kind"] in ("cut-contact",
                                                                                           "rapid-contact")}


def test_tops_against_what_the_filter_does(tmp_path: Path) -> None:
    held: Counter[str] = Counter()

    @settings(max_examples=12, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.data(), st.integers(0, 2**32))
    def hold(data: st.DataObject, seed: int) -> None:
        bench = data.draw(benches(spindle=data.draw(st.sampled_from([True, True, None]))))
        program = data.draw(programs(bench))
        setup = without_obstacles(bench)
        setup["machine"].pop("reach", None)  # lifts as high as they must be
        setup.pop("table", None)
        bare = write(tmp_path, setup, bench.files)
        base = run(program.data, bare, program.tool, prove=False)
        if base.exit:
            held["refused as it is"] += 1
            return
        table = 0.0 - setup["stock"]["thickness"] * (25.4 if setup["units"] == "inch" else 1.0)
        entries = random_entries(np.random.default_rng(seed), setup, 130, bench.places)
        limits = limits_of(bare, program.data, program.tool, entries)

        def stand(which: list[int], tops: list[float]) -> Guarded:
            table = with_tops(setup, [entries[k] for k in which], tops)
            return run(program.data, write(tmp_path, table, bench.files), program.tool, prove=False)

        hard = pick(limits, "hard", table)
        if hard:
            under = stand(hard, [limits[k].hard.top - UNDER for k in hard])
            assert under.exit == 0 or cannot_be_written(under), under.records("finding")
            held["under hard"] += len(hard) if under.exit == 0 else 0
            over = stand(hard, [limits[k].hard.top + OVER for k in hard])
            assert over.exit == 3
            for k in hard:  # at the end of a run, only the obstacle that is met deepest is named
                if entries[k]["name"] not in named(over, "finding"):
                    alone = stand([k], [limits[k].hard.top + OVER])
                    assert (alone.exit, named(alone, "finding")) == (3, {entries[k]["name"]})
            held["over hard"] += len(hard)
        easy = pick(limits, "easy", table)
        if easy and not base.records("change"):
            under = stand(easy, [limits[k].easy.top - UNDER for k in easy])
            assert (under.exit, under.records("change")) == (0, [])
            lifted = [k for k in easy if limits[k].easy.top + 2 * OVER < limits[k].hard.top]
            if lifted:
                over = stand(lifted, [limits[k].easy.top + OVER for k in lifted])
                assert over.exit == 0 or cannot_be_written(over), over.records("finding")
                for k in lifted if over.exit == 0 else []:
                    if entries[k]["name"] not in named(over, "change"):
                        alone = stand([k], [limits[k].easy.top + OVER])
                        assert (alone.exit, named(alone, "change")) == (0, {entries[k]["name"]})
                held["easy"] += len(lifted)

    hold()
    assert held["under hard"] > 250 and held["over hard"] > 250 and held["easy"] > 250, held


def cannot_be_written(came: Guarded) -> bool:
    """Whether a lift has no place in the program, as within an incremental cycle: no cut and no end of a run is met."""
    reasons = [record for record in came.records("finding") if record["kind"] not in ("close", "in-stock")]
    return all(record["kind"] == "rapid-contact" and record["text"].startswith("a rapid c") for record in reasons)


def pick(limits: list[Limits], which: str, table: float) -> list[int]:
    """The places at which something may stand that is not beyond all measure."""
    tops = [getattr(one, which).top for one in limits]
    return [k for k, top in enumerate(tops) if table + 1 < top < TALLEST]


def test_parts_as_wholes(tmp_path: Path) -> None:
    """A part whose solids are all raised or lowered together, up to what is left, passes; over it, it is refused."""
    held: Counter[str] = Counter()

    @settings(max_examples=36, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.data(), st.integers(0, 2**32))
    def hold(data: st.DataObject, seed: int) -> None:
        bench = data.draw(benches(units="mm", spindle=True))
        program = data.draw(programs(bench))
        setup = without_obstacles(bench)
        setup["machine"].pop("reach", None)
        bare = write(tmp_path, setup, bench.files)
        if run(program.data, bare, program.tool, prove=False).exit:
            return
        rng = np.random.default_rng(seed)
        for _ in range(4):
            at = tuple((np.array(bench.places[rng.integers(len(bench.places))]) + rng.normal(0, 25, 2)).round(2))
            angle = float(rng.choice([0.0, 90.0, 33.0]))
            hard, _ = part_heights(bare, program.data, program.tool, "step clamp", at, angle)
            table = -setup["stock"]["thickness"]
            lowest = table + 0.1 + 15.0  # the lower solid of the part is 15 mm lower than the other
            if not lowest < hard.top < TALLEST:
                continue
            for name, top, status in (("under", hard.top - UNDER, 0), ("over", hard.top + OVER, 3)):
                raised = top - (table + 42.0)
                files = {"clamps.toml": bench.files["clamps.toml"].replace("42.0", f"{42.0 + raised:.6f}")
                         .replace("27.0", f"{27.0 + raised:.6f}")}
                entry = {"name": "clamp", "part": "step clamp", "at": [float(v) for v in at], "angle": angle}
                came = run(program.data, write(tmp_path, setup | {"obstacles": [entry]}, files), program.tool,
                           prove=False)
                assert came.exit == status or (name == "under" and cannot_be_written(came)), (name, came.log)
                held[name] += came.exit == status

    hold()
    assert held["under"] > 15 and held["over"] > 15, held
