"""Killed (SIGKILL) at random moments a hundred times during a batch: every program has exactly one right outcome."""

import json
import os
import random
import signal
import time
from functools import cache
from pathlib import Path

from tests.watch.shop import BENCH, KINDS, Running, Shop, check_outcome, guarded, patched, running

KILLS = 100
LONGEST = 0.3  # seconds from a start, or from the first line, to the kill, at most
BENCHES = (18.0, 9.0)  # tops of the clamp, between which the setup changes now and then


class Batch:
    """The programs as they are now, and all that they have ever been; what the guard makes of each on either bench."""

    def __init__(self, shop: Shop, dice: random.Random) -> None:
        self._shop, self._dice = shop, dice
        self.top = BENCHES[0]
        self.now: dict[str, bytes] = {}
        self.ever: dict[str, set[bytes]] = {}
        for number in range(24):
            self.write(f"part {number}.nc", number)

    def write(self, name: str, number: int) -> None:
        data = KINDS[number % len(KINDS)](number)
        self.now[name] = data
        self.ever.setdefault(name, set()).add(data)
        hidden = self._shop.drop(".new", data)  # a whole file each time, as an exporter does that renames
        hidden.replace(self._shop.folder / name)

    def change(self, kill: int) -> None:
        """What people do between two kills: new programs, changed ones, another bench, outputs taken away."""
        for _ in range(3):
            number = self._dice.randrange(1000)
            self.write(f"part {self._dice.randrange(24)}.nc", number)
        if kill % 10 == 9:
            self.top = BENCHES[kill // 10 % 2]
            self._shop.set_clamp(self.top)
        if kill % 7 == 6:
            for path in self._shop.ready.glob("*3.nc*"):
                path.unlink()


class Guarded:
    """What the guard itself makes of a program on either bench: exit status and output."""

    def __init__(self, root: Path) -> None:
        self._setups = {}
        for top in BENCHES:
            self._setups[top] = root / f"bench-{top}.toml"
            self._setups[top].write_text(BENCH.format(top=top))

    @cache  # noqa: B019 - lives as long as the test
    def of(self, data: bytes, top: float) -> tuple[int, bytes]:
        return guarded(data, self._setups[top])

    def makes(self, data: bytes, output: bytes) -> bool:
        return any(self.of(data, top) == (0, output) for top in BENCHES)


def check_at_any_moment(shop: Shop, batch: Batch, outcomes: Guarded) -> None:
    """Whatever stands in ready/ is whole, guarded, with its diff and log; every original is there, to the byte."""
    for name, data in batch.now.items():
        assert (shop.folder / name).read_bytes() == data
    for path in shop.ready.glob("*.nc") if shop.ready.is_dir() else ():
        output = path.read_bytes()
        was = [data for data in batch.ever[path.name] if outcomes.makes(data, output)]
        assert was, f"{path.name} is not what the guard makes of any version of it"
        diff = (shop.ready / f"{path.name}.diff").read_bytes()
        log = (shop.ready / f"{path.name}.log.jsonl").read_text().splitlines()
        assert json.loads(log[-1])["exit"] == 0
        if len(was) == 1 and len(diff) and path.name.endswith("7.nc"):  # some: each costs a process
            assert patched(was[0], diff, shop.root) == output
        assert not (shop.held / f"{path.name}.txt").exists(), f"{path.name} has two outcomes"


def test_a_hundred_kills(shop: Shop) -> None:
    seed = int.from_bytes(os.urandom(4), "big")
    print(f"seed {seed}")  # shown where the test fails; the moments of the kills depend on the machine as well
    dice = random.Random(seed)
    batch = Batch(shop, dice)
    outcomes = Guarded(shop.root)
    finished = 0
    for kill in range(KILLS):
        batch.change(kill)
        watch = Running(shop, settle=0.02, command=kill % 20 == 19)  # now and then the command, with spawned workers
        if kill % 4:  # most kills while programs are in work, the others at the start
            watch.until_said("watching" if kill % 2 else "part")
        time.sleep(dice.uniform(0.0, LONGEST))
        assert watch.status() is None, watch.said
        assert watch.stop(signal.SIGKILL) == -signal.SIGKILL
        finished += watch.said.count(": held, ") + watch.said.count(": safe as it is") + watch.said.count("repaired")
        check_at_any_moment(shop, batch, outcomes)
    assert finished > KILLS // 4, "the kills came before any work was done"
    with running(shop, settle=0.02) as watch:
        watch.until(lambda: " 24 outcomes" in summary(watch.said))
    for name, data in batch.now.items():
        check_outcome(shop, name, data, outcomes.of(data, batch.top))
    shop.check_nothing_else(set(batch.now))
    assert shop.names(shop.folder) == {*batch.now, "ready", "held", ".gcode-guard"}
    assert not (shop.folder / ".gcode-guard" / "set-aside").exists()  # nothing of its own was taken for a stranger's


def summary(said: str) -> str:
    """How many outcomes the last line tells of, once all is done."""
    words = said.splitlines()[-1].split()[2:] if said else []
    if len(words) == 4 and words[1] == "ready," and words[3] == "held":
        return f" {int(words[0]) + int(words[2])} outcomes"
    return ""
