"""A coverage-guided fuzzer over bytes as programs, bytes as setups, and setups built from a whole one. Not part of the
test command. It needs `pip install atheris`, and runs until its time is up:

    python -m tests.hostile.fuzz programs FOLDER -max_total_time=600
    python -m tests.hostile.fuzz setups FOLDER -max_total_time=300
    python -m tests.hostile.fuzz tables FOLDER -max_total_time=300

FOLDER keeps its corpus, so that the next run goes on from there. What breaks (see holding.py) is put into
FOLDER-broken with the reason beside it, once for each reason, and the hunt goes on. Then:

    python -m tests.hostile.fuzz programs FOLDER --shrink FOLDER-broken/NAME

leaves away what is not needed and prints what stays; it belongs into tests/hostile/corpus once it is mended.
"""

from __future__ import annotations

import copy
import hashlib
import re
import sys
import tomllib
import traceback
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import atheris
import tomlkit

with atheris.instrument_imports(include=["gcode_guard"]):
    from tests.hostile import holding

from tests.generate.loose import BODIES, fill, templates
from tests.setup.test_hostile import WHOLE, places

ROOT = Path(__file__).parents[2]
NASTY: list[Any] = [
    0, -1, 1, 2, 0.0, -0.0, 1e-9, -1e-6, 1e6, 1e300, -1e308, 5e-324, float("nan"), float("inf"), -float("inf"),
    2**63 - 1, -(2**63), 10**15, True, False, "", "x", "G20", "G54", "mm", "inch", "high", "all", "named", "box", "bar",
    "outline", "cylinder", "\x1b[2J", "ü" * 300, [], {}, [1], [0.0, 0.0], [1.0, 2.0, 3.0], [[0, 0], [1, 0], [0, 1]],
    [[0, 0], [1, 1], [1, 0], [0, 1]], [float("nan")] * 3, [{}], {"x": 1}, [[]],
]


# Mutation -----------------------------------------------------------------------------------------------------------


def mutate_program(data: bytes, most: int, seed: int) -> bytes:
    """Blocks put in, taken out, doubled, swapped, run together; now and then single bytes, as the library likes."""
    rng = Random(seed)
    if not data or rng.random() < 0.3:
        return bytes(atheris.Mutate(data or b"\0", most))
    head, lines = data[:1], data[1:].split(b"\n")
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(lines) + 1)
        what = rng.random()
        if what < 0.45:
            lines.insert(at, fill(rng, rng.choice(templates())).encode())
        elif what < 0.5:
            lines += fill(rng, BODIES).encode().split(b"\n")
        elif what < 0.65 and len(lines) > 1:
            lines.pop(at - 1)
        elif what < 0.75:
            lines.insert(at, rng.choice(lines))
        elif what < 0.85:
            other = rng.randrange(len(lines))
            lines[at - 1], lines[other] = lines[other], lines[at - 1]
        elif what < 0.95:
            lines[at - 1] = re.sub(rb"-?\d*\.?\d+", lambda _: number(rng), lines[at - 1], count=1)
        else:
            head = bytes([rng.randrange(256)])
    return (head + b"\n".join(lines))[:most]


def number(rng: Random) -> bytes:
    """A number as a program may hold it, likely or not."""
    return rng.choice([
        b"0", b"-0.", b"-0.0", b"1e6", b"1000000", b"-1000000.", b".000001", b"0.0005", b"25.4",
        b"99999999999999999999", b"1.23456789012345", b"-.5", b"+3", b"[1/3]", b"#1", b"--1", b"",
        b"%d" % rng.randint(-50, 50), b"%.3f" % rng.uniform(-30, 30)])


def mutate_setup(data: bytes, most: int, seed: int) -> bytes:
    """Lines of the setup shuffled about, or single bytes."""
    rng = Random(seed)
    if rng.random() < 0.5:
        return bytes(atheris.Mutate(data, most))
    lines = data.split(b"\n")
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(lines))
        what = rng.random()
        if what < 0.3:
            lines.pop(at)
        elif what < 0.6:
            lines.insert(at, rng.choice(lines))
        else:
            lines[at] = re.sub(rb"-?\d+(\.\d+)?", lambda _: number(rng), lines[at], count=1)
        lines = lines or [b""]
    return b"\n".join(lines)[:most]


def table_of(data: bytes) -> bytes:
    """A setup built from the whole one: values replaced, taken out, and put where they do not belong."""
    provider = atheris.FuzzedDataProvider(data)
    table = copy.deepcopy(tomllib.loads(WHOLE))
    for _ in range(provider.ConsumeIntInRange(1, 5)):
        paths = places(table)
        path = paths[provider.ConsumeIntInRange(0, len(paths) - 1)]
        inner = table
        for key in path[:-1]:
            inner = inner[key]
        what = provider.ConsumeIntInRange(0, 9)
        if what < 5:
            inner[path[-1]] = copy.deepcopy(NASTY[provider.ConsumeIntInRange(0, len(NASTY) - 1)])
        elif what < 7:
            inner[path[-1]] = provider.ConsumeRegularFloat() if what == 5 else provider.ConsumeInt(4)
        elif what == 7:
            del inner[path[-1]]
        elif what == 8 and isinstance(inner, dict):
            inner[provider.ConsumeUnicodeNoSurrogates(6)] = 1
        elif isinstance(inner, list):
            inner.append(copy.deepcopy(inner[path[-1]]))
    return tomlkit.dumps(table).encode("utf-8", "replace")


# The hunt -----------------------------------------------------------------------------------------------------------


def hold_table(data: bytes) -> bool:
    try:
        text = table_of(data)
    except (ValueError, TypeError, tomlkit.exceptions.TOMLKitError):
        return False  # no text can say it
    return holding.hold_setup(text)


HOLDS: dict[str, Callable[[bytes], object]] = {
    "programs": holding.hold_program, "setups": holding.hold_setup, "tables": hold_table}


def signature(error: BaseException) -> str:
    """What tells one reason from another: for an exception where it came from, else its words without numbers."""
    if isinstance(error, holding.Broken):
        return re.sub(r"[\d.]+", "N", str(error))[:80]
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__} {last.filename}:{last.lineno}"


def reason(hold: Callable[[bytes], object], data: bytes) -> tuple[str, str] | None:
    """The signature and the text of what breaks, if anything does."""
    try:
        hold(data)
    except Exception as error:
        return signature(error), traceback.format_exc()
    return None


def shrink(hold: Callable[[bytes], object], data: bytes) -> bytes:
    """The least that breaks for the same reason: first without whole lines, then without single bytes."""
    first = reason(hold, data)
    if first is None:
        raise SystemExit("this holds")
    for by_line in (True, False):
        pieces = data.splitlines(keepends=True) if by_line else [data[i : i + 1] for i in range(len(data))]
        size = max(1, len(pieces) // 2)
        while True:
            at = 0
            while at < len(pieces):
                fewer = pieces[:at] + pieces[at + size :]
                found = reason(hold, b"".join(fewer))
                if found is not None and found[0] == first[0]:
                    pieces = fewer
                else:
                    at += size
            if size == 1:
                break
            size //= 2
        data = b"".join(pieces)
    return data


def main() -> None:
    kind, folder = sys.argv[1], Path(sys.argv[2]).resolve()
    hold = HOLDS[kind]
    if "--shrink" in sys.argv:
        data = shrink(hold, Path(sys.argv[sys.argv.index("--shrink") + 1]).read_bytes())
        print(table_of(data).decode() if kind == "tables" else data)
        return
    broken = folder.with_name(folder.name + "-broken")
    broken.mkdir(parents=True, exist_ok=True)
    folder.mkdir(parents=True, exist_ok=True)
    for path in seeds(kind):  # "(" is a bench with a tool in the spindle
        data = path.read_bytes()
        (folder / hashlib.sha1(data).hexdigest()).write_bytes(b"(" + data if kind == "programs" else data)
    known: set[str] = set()

    def one(data: bytes) -> None:
        found = reason(hold, data)
        if found is not None and found[0] not in known:
            known.add(found[0])
            name = hashlib.sha1(found[0].encode()).hexdigest()[:12]
            (broken / name).write_bytes(data)
            (broken / f"{name}.txt").write_text(found[1])
            print(f"broken: {found[0]}", file=sys.stderr, flush=True)

    mutate = {"programs": mutate_program, "setups": mutate_setup}.get(kind)
    call = [sys.argv[0], str(folder), "-rss_limit_mb=2000", "-timeout=60", "-max_len=3000", *sys.argv[3:]]
    atheris.Setup(call, one, **({"custom_mutator": mutate} if mutate else {}))
    atheris.Fuzz()


def seeds(kind: str) -> list[Path]:
    example = ROOT / "gcode_guard" / "example"
    corpus = Path(__file__).parent / "corpus"
    if kind == "programs":
        return [*(ROOT / "fixtures" / "programs").iterdir(), example / "door-panel.nc"]
    if kind == "setups":
        return [*(ROOT / "fixtures" / "benches").iterdir(), example / "bench.toml", ROOT / "tests/setup/whole.toml",
                *(corpus / "setups").glob("*")]
    return []


if __name__ == "__main__":
    main()
