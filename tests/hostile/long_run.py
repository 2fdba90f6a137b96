"""A long run: very many generated programs through the guard, each outcome held against everything that can judge it.

    python -m tests.hostile.long_run FOLDER --count 100000 --seed 20261125

One core, in one process. A program depends on the seed and on its number alone. FOLDER/state.json says how far the run
has come: the same call goes on from there. What does not hold is put into FOLDER/failures, program, setup and reason,
and the run goes on; it ends with status 1 then. What is held:

* no exception, and no program takes longer than PATIENCE;
* a refusal gives reasons with lines and writes nothing; what the generators write in one hand is always understood;
* no refusal says that the guard failed its own proof;
* an output stands the proof (`verify`), read from the bytes alone;
* it stands the plain referee: a second reader and the rule that decides, sampled (tests/referee), which share no code;
* guarded again it stays as it is, with an empty diff;
* blocks that are not reported as changed are byte for byte what they were, in their order, with nothing in between;
* POSIX patch makes the output from the program and the diff.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import io
import json
import math
import os
import signal
import subprocess
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

import tomlkit

from tests.hostile import dice

dice.load()

from gcode_guard.guard import Outcome, guard  # noqa: E402
from gcode_guard.setup import Setup, load_setup  # noqa: E402
from gcode_guard.source import Source  # noqa: E402
from gcode_guard.verify import verify  # noqa: E402
from tests.generate.benches import benches  # noqa: E402
from tests.generate.extras import EXTRAS  # noqa: E402
from tests.generate.loose import loose_program  # noqa: E402
from tests.generate.programs import programs  # noqa: E402
from tests.referee.plain_judge import judge  # noqa: E402
from tests.referee.plain_options import Options, options_of  # noqa: E402
from tests.referee.plain_reader import NotUnderstood, read  # noqa: E402

SAME_BENCH = 8  # programs that follow each other on one bench
PATIENCE = 20.0  # seconds of the processor for one program and all its judges
SAVED = 200  # programs from one saving of the state to the next
KINDS = {"plain": 30, "language": 60, "low ceiling": 50, "machines": 30, "loose": 30, "long": 1}
"""What the programs on one bench are, and how often."""
UNCERTAIN = ("no height can be written", "starts at a height that is not known")


class Failed(Exception):
    """A promise is broken."""


@dataclass
class Bench:
    kind: str
    text: str
    files: dict[str, str]
    table: dict[str, Any]
    generated: Any
    setup: Setup


@dataclass
class Job:
    bench: Bench
    program: bytes
    tool: int | None


# Benches and programs -----------------------------------------------------------------------------------------------


def make_bench(seed: int, number: int, folder: Path) -> Bench:
    rng = Random(f"bench {seed} {number}")
    kind = rng.choices(list(KINDS), list(KINDS.values()))[0]
    if kind == "loose":
        table, files, generated = loose_bench(rng), {}, None
    else:
        generated = benches().drawn(rng)
        table, files = generated.setup, generated.files
        if kind == "low ceiling":
            table = with_low_ceiling(rng, table)
        elif kind == "machines":
            table = with_more_of_the_machine(rng, table)
        generated.setup = table
    text = tomlkit.dumps(table)
    path = folder / "bench.toml"
    path.write_text(text)
    for name, content in files.items():
        (folder / name).write_text(content)
    return Bench(kind, text, files, table, generated, load_setup(path))


def with_low_ceiling(rng: Random, table: dict[str, Any]) -> dict[str, Any]:
    """So little travel in Z that lifts may not be enough, and the repairs that [repair] allows."""
    unit = 25.4 if table["units"] == "inch" else 1.0
    reach = {axis: [low / unit, high / unit] for axis, low, high in (
        ("x", -200.0, 900.0), ("y", -200.0, 600.0), ("z", -100.0, rng.choice([61.0, 66.0, 81.0])))}
    repair = {"air_feeds": rng.random() < 0.5, "detour": rng.choice(["when-needed", "when-faster"])}
    machine = {**table["machine"], "reach": reach, "rapid_rate": [8000.0 / unit] * 3,
               "acceleration": [600.0 / unit] * 3}
    return {**table, "repair": repair, "machine": machine}


def with_more_of_the_machine(rng: Random, table: dict[str, Any]) -> dict[str, Any]:
    """A reference tool, obstacles that may be cut, a shoe that rides at one height, wider clearances."""
    table = {**table, "machine": dict(table["machine"])}
    unit = 25.4 if table["units"] == "inch" else 1.0
    if all("length" in tool for tool in table["tools"]) and rng.random() < 0.5:
        table["machine"]["reference_tool"] = table["tools"][0]["number"]
    if rng.random() < 0.5:
        table["obstacles"] = [{**o, "sacrificial": rng.random() < 0.4} for o in table["obstacles"]]
    if "spindle" in table and rng.random() < 0.6:
        shoe = {"diameter": 90.0 / unit, "soft": rng.random() < 0.5, "rides_at": rng.choice([35.0, 70.0]) / unit}
        table["spindle"] = {**table["spindle"], "shoe": shoe}
    if rng.random() < 0.4:
        table["machine"] |= {"rapid_rate": [5000.0 / unit] * 3, "acceleration": [400.0 / unit] * 3}
    return table


def loose_bench(rng: Random) -> dict[str, Any]:
    """Small things about the origin, where loose programs go."""
    machine: dict[str, Any] = {
        "home": [-10.0, -10.0, 75.0], "home2": [-10.0, 400.0, 75.0], "zero": [-100.0, -80.0, 150.0],
        "home_axes": rng.choice(["named", "all", "unknown"]), "reference_tool": 1,
        "after_tool_change": rng.choice(["high", "same", "unknown"]),
        "rapid_path": rng.choice(["straight", "unknown"])}
    if rng.random() < 0.8:
        machine["start"] = rng.choice(["high", [0.0, 0.0, 40.0], [0.0, 0.0, 40.0]])
    obstacles = []
    for number in range(rng.randint(1, 3)):
        shape: dict[str, Any] = {"shape": "cylinder", "diameter": 2.0}
        if rng.random() < 0.5:
            shape = {"shape": "box", "size": [3.0, 2.0], "angle": 30.0}
        obstacles.append({"name": f"pin {number}", "center": [rng.randint(-20, 60) / 2, rng.randint(-20, 60) / 2],
                          "top": rng.choice([1.0, 4.0, 9.0]), **shape})
    return {"format": 1, "units": "mm",
            "program": {"starts_in": ["G21", "G90", "G17"], "block_delete": rng.choice(["run", "skip"]),
                        "harmless": ["M101"]},
            "clearance": {"above": 1.0, "beside": 0.5, "tolerance": 0.2}, "machine": machine,
            "offsets": {"G54": [100.0, 80.0, -150.0], "G55": [130.0, 80.0, -150.0], "G59.1": [100.0, 92.7, -148.0]},
            "tools": [{"number": 1, "diameter": 2.0, "length": 30.0}, {"number": 2, "diameter": 3.0, "length": 42.5}],
            "obstacles": obstacles}


def make_job(seed: int, number: int, bench: Bench) -> Job:
    rng = Random(f"program {seed} {number}")
    if bench.kind == "loose":
        tool = rng.choice([None, 1, 2])
        options = options_of(bench.table, tool)
        picky = rng.random() < 0.95
        text = loose_program(rng, rng.randint(2, 16), (lambda program: understood(program, options)) if picky else None)
        return Job(bench, text.encode(), tool)
    extras = frozenset(EXTRAS) if bench.kind in ("language", "machines", "long") else frozenset[str]()
    most = 25 if bench.kind == "long" else 2
    program = programs(bench.generated, extras=extras, most_features=most).drawn(rng)
    return Job(bench, program.data, program.tool)


def understood(program: str, options: Options) -> bool:
    try:
        read(program.encode(), options)
    except NotUnderstood:
        return False
    return True


# What is held -------------------------------------------------------------------------------------------------------


def guarded(program: bytes, setup: Setup, tool: int | None, prove: bool = True) -> tuple[Outcome, bytes, bytes]:
    with Source.from_stream(io.BytesIO(program), "program") as source:
        outcome = guard(source, setup, tool=tool, prove=prove)
        outcome.output.seek(0)
        outcome.diff.seek(0)
        result = outcome, outcome.output.read(), outcome.diff.read()
        outcome.log.write_to(io.BytesIO(), outcome.run, outcome.summary)
        outcome.close()
        return result


def hold(job: Job, number: int) -> str:
    """How the program came out. Raises Failed where a promise is broken.

    `verify` reads every output from its bytes alone, every other one by the exact reader; every fourth program is
    proven by the guard itself too, with what it remembers of its first reading.
    """
    setup = job.bench.setup
    outcome, output, diff = guarded(job.program, setup, job.tool, prove=number % 4 == 0)
    if not outcome.exit and outcome.changes and not proven(job, output, lane=number % 2 == 0):
        outcome, output, diff = guarded(job.program, setup, job.tool)
        if not outcome.exit:
            raise Failed("the guard's own proof holds, and verify alone says that it does not")
    if outcome.exit:
        hold_refusal(job, outcome, output, diff)
        kinds = sorted({reason.kind for reason in outcome.reasons})
        return f"refused ({outcome.exit}): {', '.join(kinds)}"
    changed = bool(outcome.changes)
    if not changed and (output != job.program or diff):
        raise Failed("nothing is reported as changed, and the output differs or the diff is not empty")
    options = options_of(job.bench.table, job.tool)
    before = read(job.program, options)
    violations = judge(before, read(output, options) if changed else before, job.bench.table, job.bench.files)
    violations = [text for text in violations if not unsure(text, job.program)]
    if violations:
        raise Failed("by the referee: " + "; ".join(violations))
    if changed:
        hold_bytes(job.program, output, outcome)
        if patched(job.program, diff) != output:
            raise Failed("patch makes something else")
        again, second, rest = guarded(output, setup, job.tool, prove=False)
        if (again.exit, second, rest) != (0, output, b""):
            raise Failed(f"again it comes out with {again.exit}, {again.reasons}: {second!r}")
    return outcome.summary.verdict


def unsure(violation: str, program: bytes) -> bool:
    """Where the referee knows less than the guard and says so by a violation."""
    if b"G53" in program and b"G43" in program and "by inf mm" in violation:
        return True  # a machine height without a tool length offset: the guard knows the tool's length
    if b"G38" in program and ("meets" in violation or "clips" in violation):
        return True  # after a probe move the referee takes the tool to be anywhere, the guard on the way of the probe
    return b"G43" not in program and "tool length moved" in violation  # G49 where none is on


def proven(job: Job, output: bytes, lane: bool) -> bool:
    with Source.from_stream(io.BytesIO(job.program), "a") as a, Source.from_stream(io.BytesIO(output), "b") as b:
        return verify(a, b, job.bench.setup, job.tool, lane=lane).holds


def hold_refusal(job: Job, outcome: Outcome, output: bytes, diff: bytes) -> None:
    if outcome.defect:
        raise Failed(f"a defect: {outcome.defect}")
    if output or diff:
        raise Failed("refused, and something was written")
    if not outcome.reasons or not all(reason.line >= 1 and reason.text for reason in outcome.reasons):
        raise Failed(f"no reason with a line: {outcome.reasons}")
    if job.bench.kind != "loose":
        for reason in outcome.reasons:
            # Under G91 nothing can be written out of a height that is not known: that is for want of certainty too.
            if reason.kind == "not-understood" and not any(text in reason.text for text in UNCERTAIN):
                raise Failed(f"not understood: {outcome.reasons}")


def hold_bytes(before: bytes, after: bytes, outcome: Outcome) -> None:
    """Promise 3: what is not reported as changed stays, byte for byte and in its place."""
    lines = before.split(b"\n")
    blocks = [line + b"\n" for line in lines[:-1]] + ([lines[-1]] if lines[-1] else [])
    for change in outcome.changes:
        if (blocks[change.line - 1],) != change.before:
            raise Failed(f"line {change.line} is reported as {change.before!r}, and is {blocks[change.line - 1]!r}")
        blocks[change.line - 1] = b"".join(change.after)
    if b"".join(blocks) != after:
        raise Failed("a block is changed that is not reported as changed")


def patched(program: bytes, diff: bytes) -> bytes:
    """What POSIX patch makes of the program."""
    with open("program.nc", "wb") as place, open("program.diff", "wb") as changes:
        place.write(program)
        changes.write(diff)
    subprocess.run(["patch", "--binary", "-s", "program.nc", "program.diff"], check=True, close_fds=False)
    with open("program.nc", "rb") as place:
        return place.read()


@contextlib.contextmanager
def patience(seconds: float) -> Iterator[None]:
    """Raises Failed where what is inside takes more of the processor than that."""
    def stop(number: int, frame: object) -> None:
        raise Failed(f"it takes more than {seconds:g} s")

    signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)


# The run ------------------------------------------------------------------------------------------------------------


class LongRun:
    """The run whose state lies in a folder."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.seed = folder, seed
        folder.mkdir(parents=True, exist_ok=True)
        self.state = folder / "state.json"
        known = json.loads(self.state.read_text()) if self.state.exists() else {}
        if known and known["seed"] != seed:
            raise SystemExit(f"{folder} holds a run of seed {known['seed']}")
        self.done: int = known.get("done", 0)
        self.seconds: float = known.get("seconds", 0.0)
        self.processor: float = known.get("processor_s", 0.0)
        self.blocks: int = known.get("blocks", 0)
        self.verdicts = {kind: collections.Counter(counts) for kind, counts in known.get("verdicts", {}).items()}
        self.failures: list[int] = known.get("failures", [])

    def go(self, count: int) -> None:
        bench: Bench | None = None
        begun, clock = time.monotonic(), time.process_time()
        before = self.seconds, self.processor
        while self.done < count:
            number = self.done
            if bench is None or number % SAME_BENCH == 0:
                bench = make_bench(self.seed, number // SAME_BENCH, Path("."))
            self.one(number, bench)
            self.done += 1
            if self.done % SAVED == 0 or self.done == count:
                self.seconds = before[0] + time.monotonic() - begun
                self.processor = before[1] + time.process_time() - clock
                self.save()

    def one(self, number: int, bench: Bench) -> None:
        job = make_job(self.seed, number, bench)
        self.blocks += job.program.count(b"\n")
        try:
            with patience(PATIENCE):
                verdict = hold(job, number)
        except Exception as error:
            verdict = "failed"
            why = str(error) if isinstance(error, Failed) else traceback.format_exc()
            self.keep(number, job, why)
        self.verdicts.setdefault(bench.kind, collections.Counter())[verdict] += 1

    def again(self) -> None:
        """Tries what failed once more, and takes it off the list where it holds now."""
        failed, self.failures = self.failures, []
        for number in failed:
            bench = make_bench(self.seed, number // SAME_BENCH, Path("."))
            self.verdicts[bench.kind]["failed"] -= 1
            self.blocks -= make_job(self.seed, number, bench).program.count(b"\n")
            self.one(number, bench)
        self.save()

    def keep(self, number: int, job: Job, why: str) -> None:
        self.failures.append(number)
        place = self.folder / "failures" / str(number)
        place.mkdir(parents=True, exist_ok=True)
        (place / "program.nc").write_bytes(job.program)
        (place / "bench.toml").write_text(job.bench.text)
        for name, text in job.bench.files.items():
            (place / name).write_text(text)
        (place / "why.txt").write_text(f"--tool {job.tool}\n{why}\n")

    def save(self) -> None:
        counts = {kind: dict(sorted(counts.items())) for kind, counts in sorted(self.verdicts.items())}
        state = {"seed": self.seed, "done": self.done, "seconds": round(self.seconds, 1),
                 "processor_s": round(self.processor, 1), "blocks": self.blocks, "verdicts": counts,
                 "failures": self.failures}
        part = self.state.with_suffix(".part")
        part.write_text(json.dumps(state, indent=1))
        os.replace(part, self.state)

    def report(self) -> str:
        whole: collections.Counter[str] = collections.Counter()
        for counts in self.verdicts.values():
            whole.update(counts)
        lines = [f"seed {self.seed}: {self.done} programs, {self.blocks} blocks, {math.ceil(self.seconds)} s"]
        lines += [f"  {count:7d} {verdict}" for verdict, count in whole.most_common()]
        return "\n".join(lines)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--count", type=int, default=100_000)
    arguments.add_argument("--seed", type=int, default=20261125)
    arguments.add_argument("--again", action="store_true", help="try once more what failed")
    asked = arguments.parse_args()
    folder = asked.folder.resolve()
    with tempfile.TemporaryDirectory() as scratch:
        run = LongRun(folder, asked.seed)
        os.chdir(scratch)
        try:
            run.again() if asked.again else run.go(asked.count)
        finally:
            os.chdir("/")
    print(run.report())
    raise SystemExit(1 if run.failures else 0)


if __name__ == "__main__":
    main()
