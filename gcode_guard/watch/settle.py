"""When a file is wholly written: it has been quiet for a while, and nobody has it open for writing."""

from __future__ import annotations

import os
from collections.abc import Hashable, Iterable
from pathlib import Path


class Quiet:
    """Tells since when things look the same. `seconds`: for how long they must before they count as quiet.

    A file's times are only ever compared with themselves: clocks of network drives differ from ours.
    """

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self._seen: dict[str, tuple[Hashable, float]] = {}

    def see(self, name: str, looks: Hashable, now: float) -> bool:
        """Whether `name` has looked like this for long enough at `now` (s, monotonic)."""
        before = self._seen.get(name)
        if before is None or before[0] != looks:
            self._seen[name] = (looks, now)
            return self.seconds <= 0
        return now >= before[1] + self.seconds  # written as in `due`, so that rounding does not part them

    def since(self, name: str) -> float | None:
        """When `name` took on its present look."""
        seen = self._seen.get(name)
        return seen[1] if seen else None

    def keep(self, names: Iterable[str]) -> None:
        """Forgets all but `names`."""
        self._seen = {name: self._seen[name] for name in names if name in self._seen}

    def forget(self, name: str) -> None:
        self._seen.pop(name, None)

    def due(self, now: float) -> float | None:
        """When after `now` the next of them may become quiet."""
        times = (since + self.seconds for _, since in self._seen.values())
        return min((time for time in times if time > now), default=None)


def writers(paths: Iterable[Path]) -> dict[Path, int]:
    """Those of `paths` that some process has open for writing, with its number.

    Read from /proc, which shows the processes of the same user (all of them to root); where there is none, nothing is
    found and quiet alone decides. The links there are only read, never followed, so a drive that hangs hangs nothing.
    """
    wanted = {os.path.realpath(path): path for path in paths}
    found: dict[Path, int] = {}
    if not wanted:
        return found
    try:
        processes = [entry for entry in os.listdir("/proc") if entry.isdigit()]
    except OSError:
        return found
    for process in processes:
        try:
            handles = os.listdir(f"/proc/{process}/fd")
        except OSError:
            continue
        for handle in handles:
            try:
                path = wanted.get(os.readlink(f"/proc/{process}/fd/{handle}"))
                if path is not None and _writes(process, handle):
                    found[path] = int(process)
            except OSError:
                continue
    return found


def _writes(process: str, handle: str) -> bool:
    with open(f"/proc/{process}/fdinfo/{handle}", encoding="ascii") as file:
        for line in file:
            if line.startswith("flags:"):
                return int(line.split()[1], 8) & os.O_ACCMODE != os.O_RDONLY
    return False
