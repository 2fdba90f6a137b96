"""The workers: a few processes that guard one program each, so that two cores are used and a crash costs one program.

Processes of our own, not a pool of the standard library: when one dies it is known on which program, and when the
watcher is killed they end with it.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from dataclasses import replace
from multiprocessing.connection import Connection, wait

from gcode_guard.setup.model import Setup
from gcode_guard.watch.work import Result, Task, do

PATIENCE = 30.0  # seconds without work after which the workers are sent home


def _serve(tasks: Connection) -> None:
    """A worker's life: a task, its result, the next; it ends with the watcher."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole group; the watcher decides
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    setup: Setup | None = None
    while True:
        try:
            task: Task = tasks.recv()
            setup = task.setup or setup
            assert setup is not None
            tasks.send(do(replace(task, setup=None), setup))
        except (EOFError, BrokenPipeError):
            return


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
    os._exit(1)


class _Worker:
    def __init__(self, method: str) -> None:
        context = multiprocessing.get_context(method)
        self.tasks, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs,), name="gcode-guard worker")  # type: ignore[attr-defined]
        self.process.start()
        theirs.close()
        self.task: Task | None = None
        self._key = ""

    def give(self, task: Task) -> None:
        self.task = task
        try:
            self.tasks.send(task if task.key != self._key else replace(task, setup=None))
            self._key = task.key
        except OSError:
            pass  # it died; `take` finds out

    def take(self) -> Result | None:
        """The result of its task where there is one; of a worker that died, that it died."""
        if self.task is None:
            return None
        task = self.task
        try:
            if not self.tasks.poll():
                return None
            result: Result = self.tasks.recv()
        except (EOFError, OSError):
            self.process.join()
            return Result(task, problem="died", trouble=_how(self.process.exitcode))
        self.task = None
        return replace(result, task=task)

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.tasks.close()


def _how(status: int | None) -> str:
    return f"killed by signal {-status}" if status is not None and status < 0 else f"ended with status {status}"


class Crew:
    """Up to `size` workers, started when there is work for them. `method`: how processes are started."""

    def __init__(self, size: int = 2, method: str = "spawn") -> None:
        self._size, self._method = size, method
        self._workers: list[_Worker] = []
        self._busy_at = time.monotonic()

    @property
    def tasks(self) -> list[Task]:
        """What is in work."""
        return [worker.task for worker in self._workers if worker.task is not None]

    @property
    def free(self) -> int:
        return self._size - len(self.tasks)

    @property
    def bells(self) -> list[Connection]:
        """What becomes ready when a worker has something to tell."""
        return [worker.tasks for worker in self._workers if worker.task is not None]

    def start(self, task: Task) -> None:
        """Gives a task to a free worker. Raises OSError where no process can be started."""
        self._busy_at = time.monotonic()
        idle = next((worker for worker in self._workers if worker.task is None), None)
        if idle is None:
            idle = _Worker(self._method)
            self._workers.append(idle)
        idle.give(task)

    def collect(self) -> list[Result]:
        """The results that are there."""
        results = []
        for worker in list(self._workers):
            result = worker.take()
            if result is not None:
                self._busy_at = time.monotonic()
                results.append(result)
                if result.problem == "died":
                    worker.end()
                    self._workers.remove(worker)
        if self._workers and not self.tasks and time.monotonic() - self._busy_at > PATIENCE:
            self.end()
        return results

    def end(self) -> None:
        """Ends the workers, whatever they are at: what they wrote has not been put anywhere."""
        for worker in self._workers:
            worker.end()
        self._workers.clear()
