"""The rounds of the watch: what is there, what should stand, what is to be done about it.

Every round begins with what lies in the folder and not with what happened, so it does not matter what was missed.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import Any

from gcode_guard.record.findings import safe_text
from gcode_guard.record.summary import count, not_checked_with
from gcode_guard.watch.bench import Bench
from gcode_guard.watch.crew import Crew
from gcode_guard.watch.folder import Folder, Listing, Signature, digest, signature
from gcode_guard.watch.ledger import Ledger, Row
from gcode_guard.watch.lock import FolderLock
from gcode_guard.watch.settle import Quiet, writers
from gcode_guard.watch.shelf import Shelf, discard
from gcode_guard.watch.status import Board, Standing, outcome_line
from gcode_guard.watch.tries import Tries
from gcode_guard.watch.work import UNREADABLE, Result, Task, refuse_unread

HEARTBEAT = 5.0  # seconds between looks when nothing is heard: drives lose events
POLL = 1.0  # seconds between looks when nothing will be heard
GAP = 0.1  # seconds at least between looks
OPEN_FOR_LONG = 10.0  # seconds after which it is said that a program is still open elsewhere
ONCE_PATIENCE = 30.0  # seconds that a single round waits for a program that is being written


@dataclass(slots=True)
class Ways:
    """How the watch is to go about it. `settle`: seconds of quiet after which a program counts as written."""

    poll: bool
    once: bool
    settle: float


class Rounds:
    """One watcher's memory between looks."""

    def __init__(self, folder: Folder, bench: Bench, shelf: Shelf, ledger: Ledger, crew: Crew, board: Board, ways: Ways,
                 lock: FolderLock) -> None:
        self._folder, self._bench, self._shelf, self._ledger = folder, bench, shelf, ledger
        self._crew, self._board, self._ways, self._lock = crew, board, ways, lock
        self._every = POLL if ways.poll else HEARTBEAT
        self._gap = min(GAP, ways.settle / 2)
        self._quiet = Quiet(ways.settle)
        self._tries = Tries()
        self._queue: deque[tuple[str, Signature]] = deque()
        self._done: list[Result] = []  # guarded, and not yet put in place
        self._listing = Listing({}, {})
        self._orphans: set[str] = set()
        self._said: set[tuple[str, str]] = set()
        self._open: set[str] = set()
        self._stuck: set[str] = set()  # names that should not be in ready/ or held/ and cannot be taken out
        self._targets: set[str] | None = None  # with `once`: the programs that were there at the start
        self._begun = time.monotonic()
        self._looked = self._next = -1e9
        self._stages = 0
        self._trouble = ""

    def poll(self) -> None:
        self._every = POLL

    def go(self, heard: bool) -> bool:
        """One round. Returns True where, with `once`, all is done. Raises FolderGone, StateLost."""
        now = time.monotonic()
        if heard:
            self._next = min(self._next, max(now, self._looked + self._gap))
        if now >= self._next:
            self._look(now)
        self._take_in(self._crew.collect(), now)
        self._hand_out()
        self._board.show(self._standing())
        return self._ways.once and self._finished(now)

    def rest(self, bells: list[Any]) -> None:
        """Waits until there may be something to do."""
        wait(bells, max(0.0, self._next - time.monotonic()))

    # -- looking ------------------------------------------------------------------------------------------------

    def _look(self, now: float) -> None:
        self._looked = now
        self._lock.check()
        try:
            self._folder.prepare()
            self._follow_setup(now)
            self._listing = self._folder.programs()
            self._shelf.look()
            self._set_right()
            self._settle(now)
            self._trouble = ""
            self._tries.forget("")
        except OSError as error:
            self._say_trouble(error)
        times = [now + self._every, *(time for time in (self._quiet.due(now), self._tries.due(now)) if time)]
        if self._open or self._stuck or not self._bench.steady:
            times.append(now + min(POLL, max(self._ways.settle, GAP)))
        self._next = max(min(times), now + self._gap)

    def _say_trouble(self, error: OSError) -> None:
        text = f"{safe_text(str(error.filename))}: {error.strerror}" if error.filename else str(error)
        if text != self._trouble:
            self._board.loud(f"{text}; tried again until it goes")
        self._trouble = text
        self._tries.failed("", time.monotonic())

    def _follow_setup(self, now: float) -> None:
        before = self._bench.trouble
        if self._bench.look(now):
            self._board.say("the setup changed: everything in ready/ and held/ is withdrawn and done again")
            self._board.say(not_checked_with(self._bench.setup))
            self._queue.clear()
            self._next = now
        if self._bench.trouble and self._bench.trouble != before:
            self._board.loud(f"the setup is not valid, programs wait until it is mended:\n{self._bench.trouble}")
        elif before and not self._bench.trouble:
            self._board.say("the setup is valid again")

    def _set_right(self) -> None:
        """Withdraws what is stale, and sets aside what nobody here has put where it lies."""
        withdrawn: list[Row] = []
        orphans: set[str] = set()
        old_setup = 0
        for row in list(self._ledger.rows.values()):
            there = self._listing.programs.get(row.name)
            if row.key != self._bench.key:
                old_setup += 1
                withdrawn.append(row)
            elif there is None:
                self._orphan(row, orphans, withdrawn)
            elif not self._shelf.stands(row):
                self._board.say(f"{safe_text(row.name)}: its outputs are not there as they were put; done again")
                withdrawn.append(row)
            elif self._changed(row, there):
                self._board.say(f"{safe_text(row.name)}: changed; its old output is withdrawn")
                withdrawn.append(row)
        if old_setup:
            self._board.say(f"{count(old_setup, 'outcome')} of another setup or version withdrawn")
        self._orphans = orphans
        aside, stuck = self._shelf.withdraw(withdrawn)
        for path in aside + self._shelf.set_strangers_aside(stuck):
            self._board.loud(f"{safe_text(path.name)} was not put there, or was changed: moved to"
                             f" {safe_text(str(path.relative_to(self._folder.root)))}")
        self._stuck = set(stuck)
        for name, error in stuck.items():
            if self._tries.is_news(name, str(error)):
                self._board.loud(f"{safe_text(name)}: cannot be taken out of ready/ or held/ ({error.strerror}): DO NOT"
                                 " USE IT; tried again until it goes")

    def _orphan(self, row: Row, orphans: set[str], withdrawn: list[Row]) -> None:
        if not self._shelf.anything_of(row) or self._shelf.changed_by_others(row):
            withdrawn.append(row)
            return
        orphans.add(row.name)
        if row.name not in self._orphans:
            self._board.say(f"{safe_text(row.name)}: the original is gone; its outputs stay in {row.place}/")

    def _changed(self, row: Row, there: Signature) -> bool:
        """Whether a program is another than the one that was done; a mere touch is noted, and changes nothing."""
        if there == row.original:
            return False
        if there.size != row.original.size:
            return True
        try:
            if digest(self._folder.root / row.name) != row.program_sha256:
                return True
        except OSError:
            return True
        self._ledger.put([Row(row.name, row.program_sha256, row.key, there, row.place, row.verdict, row.exit,
                              row.changes, row.files)])
        return False

    def _settle(self, now: float) -> None:
        """Queues the programs that have become quiet and that nobody writes."""
        busy = {task.name for task in self._crew.tasks} | {name for name, _ in self._queue} \
            | {result.task.name for result in self._done}
        wanted = {name: there for name, there in self._listing.programs.items()
                  if name not in self._ledger.rows and name not in busy}
        quiet = {self._folder.root / name: name for name, there in sorted(wanted.items())
                 if self._quiet.see(name, there, now) and self._tries.may(name, now)}
        self._quiet.keep(wanted)
        if self._targets is None:
            self._targets = set(self._listing.programs)
        for name, what in self._listing.others.items():
            self._say_once(name, f"{what}, not a program: left alone")
        written = writers(quiet)
        self._open = {quiet[path] for path in written}
        for path, name in quiet.items():
            if path not in written:
                self._quiet.forget(name)
                self._queue.append((name, wanted[name]))
            elif now - (self._quiet.since(name) or now) > OPEN_FOR_LONG:
                self._say_once(name, f"still open for writing in process {written[path]}; waiting")

    def _say_once(self, name: str, text: str) -> None:
        if (name, text) not in self._said:
            self._said.add((name, text))
            self._board.say(f"{safe_text(name)}: {text}")

    # -- working ------------------------------------------------------------------------------------------------

    def _hand_out(self) -> None:
        while self._bench.steady and self._queue and self._crew.free > 0:
            name, seen = self._queue.popleft()
            path = self._folder.root / name
            if signature(path) != seen:
                self._look_soon()
                continue
            self._stages += 1
            stage = self._folder.work / str(self._stages)
            try:
                self._crew.start(Task(name, path, stage, seen, self._bench.setup, self._bench.key))
            except OSError as error:
                self._fail(name, str(error.strerror or error))

    def _look_soon(self) -> None:
        self._next = min(self._next, self._looked + self._gap)

    def _take_in(self, results: list[Result], now: float) -> None:
        """Puts what was guarded in its place, if program and setup are still what they were."""
        for result in results:
            if result.problem:
                self._without_outcome(result)
            else:
                self._done.append(result)
        if not self._done:
            return
        self._follow_setup(now)
        if not self._bench.steady:
            self._look_soon()
            return
        fresh = [result for result in self._done if result.task.key == self._bench.key and self._is_still(result)]
        for result in self._done:
            if result not in fresh:
                discard(result)
                self._look_soon()
        self._done = []
        if fresh:
            self._put(fresh)

    def _is_still(self, result: Result) -> bool:
        return signature(result.task.path) == result.task.original

    def _put(self, results: list[Result]) -> None:
        failed: dict[str, OSError | None]
        try:
            failed = self._shelf.put(results, self._is_still)
        except OSError as error:
            failed = {result.task.name: error for result in results}
        for result in results:
            name = result.task.name
            if name not in failed:
                self._tries.forget(name)
                self._board.say(outcome_line(result, self._twin(name)))
                continue
            why = failed[name]
            if why is not None:
                self._fail(name, f"{why.strerror or why}")
            self._look_soon()

    def _twin(self, name: str) -> str | None:
        return next((other for other in self._listing.programs
                     if other != name and other.casefold() == name.casefold()), None)

    def _without_outcome(self, result: Result) -> None:
        name = result.task.name
        if result.problem == "died":
            self._mourn(result)
            return
        discard(result)
        if result.problem == "trouble":
            self._fail(name, result.trouble)
        self._look_soon()

    def _mourn(self, result: Result) -> None:
        """A worker died on a program: it may have been killed by chance once, but not twice."""
        task = result.task
        if self._tries.deaths(task.name, task.original) < 2:
            discard(result)
            self._board.loud(f"{safe_text(task.name)}: the worker was lost ({result.trouble}); tried once more")
            self._look_soon()
            return
        try:
            sha256 = digest(task.path)
        except OSError:
            sha256 = UNREADABLE
        refused = refuse_unread(task, self._bench.setup, sha256,
                                f"gcode-guard could not finish this program ({result.trouble}), twice",
                                "see that there is enough memory; else it is a defect: please report it")
        if refused.problem:
            self._fail(task.name, refused.trouble)
        else:
            self._done.append(refused)

    def _fail(self, name: str, why: str) -> None:
        """Something that is not the program's fault: a full disk, a drive that went. It waits and is tried again."""
        wait_s = self._tries.failed(name, time.monotonic())
        text = f"{safe_text(name)}: {why}; not done, tried again until it goes"
        if self._tries.is_news(name, why):
            self._board.loud(text)
        self._next = min(self._next, time.monotonic() + wait_s)

    # -- telling ------------------------------------------------------------------------------------------------

    def _standing(self) -> Standing:
        rows = self._ledger.rows.values()
        ready = sum(row.place == "ready" for row in rows)
        waiting = sum(name not in self._ledger.rows for name in self._listing.programs) - len(self._crew.tasks)
        trouble = "THE SETUP IS NOT VALID, programs wait" if self._bench.trouble else ""
        working = len(self._crew.tasks)
        return Standing(ready, len(rows) - ready, max(waiting, 0), working, sorted(self._orphans), trouble)

    def _finished(self, now: float) -> bool:
        """With `once`: whether all that was there at the start is done, or cannot be."""
        if self._targets is None:
            return self._tries.given_up("")
        if self._bench.trouble:
            return True
        if self._queue or self._crew.tasks or self._done:
            return False
        patience = max(ONCE_PATIENCE, 10 * self._ways.settle)
        return now - self._begun > patience or all(
            name in self._ledger.rows or name not in self._listing.programs or self._tries.given_up(name)
            for name in self._targets)

    def worst(self) -> int:
        """With `once`: the highest exit status; 2 stands for what could not be done."""
        if self._bench.trouble or self._targets is None:
            return 2
        worst = 2 if self._stuck else 0
        for name in self._targets:
            row = self._ledger.rows.get(name)
            if row is not None and name not in self._stuck:
                worst = max(worst, row.exit)
            elif name in self._listing.programs:
                self._board.loud(f"{safe_text(name)}: not done")
                worst = max(worst, 2)
        return worst
