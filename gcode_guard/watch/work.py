"""The work on one program: guard it and write its outputs, whole and on disk, into the work folder. Runs in a worker.

Nothing is put in its place here; that is the watcher's, who alone knows whether the program and the setup are still
those that were read.
"""

from __future__ import annotations

import errno
import hashlib
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, BinaryIO, Literal, cast

from gcode_guard import __version__
from gcode_guard.deliver import copy_of, named, no_room
from gcode_guard.guard import Outcome, guard
from gcode_guard.record.findings import Finding, Run, safe_text
from gcode_guard.record.log import LogSpool
from gcode_guard.record.summary import Summary, not_checked_with, reason, refusal, summary_paragraph, unchecked
from gcode_guard.setup.model import Setup
from gcode_guard.source import Source, SourceChanged
from gcode_guard.watch.folder import Place, Signature, link_digest, open_program, side_name
from gcode_guard.watch.ledger import Written
from gcode_guard.watch.page import write_plain_page, write_review

UNREADABLE = "unreadable"  # stands for the digest of a program that must not be read


@dataclass(frozen=True, slots=True)
class Task:
    """One program to do. `stage`: a folder of its own, not there yet, to write the outputs into."""

    name: str
    path: Path
    stage: Path
    original: Signature
    setup: Setup | None
    """None: the setup of the task before."""
    key: str


@dataclass(frozen=True, slots=True)
class Result:
    """What became of a task. Where `problem` is empty, `files` lie in the task's stage, in the order in which they
    are to be put in their place."""

    task: Task
    place: Place = "held"
    verdict: str = "refused"
    exit: int = 4
    changes: int = 0
    seconds: float = 0.0
    program_sha256: str = ""
    files: tuple[Written, ...] = ()
    reason: str = ""
    """The first reason of a refusal."""
    cutter_only: bool = False
    problem: Literal["", "changed", "gone", "trouble", "died"] = ""
    """Why there is no outcome: the program changed or went meanwhile, the disk or the drive failed, the worker died."""
    trouble: str = ""


def do(task: Task, setup: Setup) -> Result:
    """Does one task. Never raises an Exception: whatever goes wrong is in the result."""
    begun = time.monotonic()
    try:
        task.stage.mkdir()
        return _attempt(task, setup, begun)
    except FileNotFoundError as error:
        if error.filename == str(task.path):
            return Result(task, problem="gone")
        return Result(task, problem="trouble", trouble=_why(error))
    except SourceChanged:
        return Result(task, problem="changed")
    except OSError as error:
        return Result(task, problem="trouble", trouble=_why(error))


def _attempt(task: Task, setup: Setup, begun: float) -> Result:
    try:
        file = os.fdopen(open_program(task.path), "rb")
    except PermissionError as error:
        return _unread(task, setup, begun, UNREADABLE, 2, f"the program cannot be read ({_strerror(error)})",
                       "give the one who runs the watch leave to read it")
    except OSError as error:
        if error.errno != errno.ELOOP:
            raise
        return _unread(task, setup, begun, link_digest(task.path), 4, "this is a link, not a program",
                       "copy the program itself into the folder")
    with Source(file, task.name) as source:
        try:
            outcome = guard(source, setup)
        except (OSError, SourceChanged):
            raise
        except Exception as error:
            return _unread(task, setup, begun, source.sha256, 4,
                           f"gcode-guard failed on this program ({type(error).__name__}: {error})",
                           "this is a defect of gcode-guard: please report it with the program and the setup")
        try:
            return _written(task, source, setup, outcome, begun)
        finally:
            outcome.close()


def refuse_unread(task: Task, setup: Setup, sha256: str, text: str, advice: str) -> Result:
    """A refusal that the watcher itself makes, of a program on which the worker died."""
    try:
        task.stage.mkdir(exist_ok=True)
        return _unread(task, setup, time.monotonic(), sha256, 4, text, advice)
    except OSError as error:
        return Result(task, problem="trouble", trouble=_why(error))


def _written(task: Task, source: Source, setup: Setup, outcome: Outcome, begun: float) -> Result:
    stage = _Stage(task)
    if outcome.defect:
        _keep_defect(task, source, outcome)
    if outcome.exit == 0:
        stage.fill(".diff", copy_of(outcome.diff))
    stage.fill(".log.jsonl", lambda out: outcome.log.write_to(cast(BinaryIO, out), outcome.run, outcome.summary))
    stage.fill(".review.html", lambda out: write_review(out, source, setup, outcome))
    if outcome.exit == 0:
        stage.fill("", copy_of(outcome.output))
    else:
        stage.fill(".txt", _text_of(task, outcome.reasons, outcome.summary))
    source.check_unchanged()
    first = min(outcome.reasons, key=lambda finding: finding.line, default=None) if outcome.exit else None
    return Result(task, "held" if outcome.exit else "ready", outcome.summary.verdict, outcome.exit,
                  outcome.summary.changes, time.monotonic() - begun, source.sha256, tuple(stage.files),
                  reason(first) if first else "", outcome.summary.cutter_only)


def _keep_defect(task: Task, source: Source, outcome: Outcome) -> None:
    """Keeps the program and the output that failed its proof for a report; neither in ready/ nor in held/, where one
    could use it."""
    folder = task.stage.parent.parent / "defects"
    folder.mkdir(exist_ok=True)
    with open(folder / side_name(task.name, ".program"), "wb") as out:
        source.copy_to(out)
    with open(folder / side_name(task.name, ".unproven"), "wb") as out:
        copy_of(outcome.output)(out)


def _unread(task: Task, setup: Setup, begun: float, sha256: str, status: int, text: str, advice: str) -> Result:
    """Refuses a program for a reason that is not in its blocks."""
    finding = Finding(1, "not-understood", text, advice=advice)
    bare = bool(setup.bare_tools())
    limits = list(unchecked(bare))
    summary = Summary(task.name, "refused", status, 0, 0, 0, 0, 1, obstacles=len(setup.obstacles), units=setup.units,
                      assumptions=len(limits), cutter_only=bare)
    stage = _Stage(task)
    with LogSpool() as log:
        log.add(finding)
        for limit in limits:
            log.add(limit)
        run = Run(__version__, task.name, sha256, setup.sha256)
        stage.fill(".log.jsonl", lambda out: log.write_to(cast(BinaryIO, out), run, summary))
    stage.fill(".review.html", lambda out: write_plain_page(out, task.name, f"Refused.\n{finding.sentence}\n"
                                                             f"{not_checked_with(setup)}"))
    stage.fill(".txt", _text_of(task, [finding], summary))
    return Result(task, "held", "refused", status, 0, time.monotonic() - begun, sha256, tuple(stage.files),
                  safe_text(finding.sentence), bare)


def _text_of(task: Task, reasons: list[Finding], summary: Summary) -> Callable[[IO[bytes]], None]:
    name = safe_text(task.name)
    text = (f"{name} was refused: there is no program of this name in ready/.\n\n{refusal(reasons)}\n\n"
            f"{summary_paragraph(summary)}\n\n"
            f"The log is {safe_text(side_name(task.name, '.log.jsonl'))}, the page that shows it is"
            f" {safe_text(side_name(task.name, '.review.html'))}.\n"
            "Once the program or the setup is mended, it is taken up again by itself.\n")

    def fill(out: IO[bytes]) -> None:
        out.write(text.encode("utf-8", "backslashreplace"))
    return fill


class _Stage:
    """Writes the outputs of one program under short names, each whole on disk before the next."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self.files: list[Written] = []

    def fill(self, ending: str, fill: Callable[[IO[bytes]], None]) -> None:
        """Writes one file by `fill`; it is on disk for good then, and its digest known."""
        found = hashlib.sha256()
        with named(self._task.stage), open(self._task.stage / f"program{ending}", "x+b") as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
            status = os.fstat(file.fileno())
            file.seek(0)
            while piece := file.read(1 << 20):
                found.update(piece)
        name = side_name(self._task.name, ending) if ending else self._task.name
        self.files.append(Written(name, found.hexdigest(), Signature.of(status)))


def staged(task: Task, file: Written) -> Path:
    """Where an output of a task lies before it is put in its place."""
    return task.stage / f"program{_ending(task.name, file.name)}"


def _ending(name: str, file: str) -> str:
    if file == name:
        return ""
    return next(end for end in (".diff", ".log.jsonl", ".review.html", ".txt") if side_name(name, end) == file)


def _strerror(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _why(error: OSError) -> str:
    return no_room(error) or _strerror(error) + (f": {safe_text(str(error.filename))}" if error.filename else "")
