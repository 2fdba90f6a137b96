"""The demo: the whole job on the shipped example, in a scratch folder."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .guard import Outcome

EXAMPLE = ("bench.toml", "clamps.toml", "door-panel.nc")


def run_demo(say: Callable[[str], None]) -> int:
    """Copies the example into a new folder, guards its program there and says what came of it.

    Returns the exit status of `filter`. Raises OSError where there is no room for it. Then nothing is left behind, nor
    where it cannot be said (what `say` raises goes on), the reader goes away or a signal ends it.
    """
    from .deliver import named
    from .signals import broken_pipe_raised, undisturbed

    made: list[Path] = []
    try:
        with undisturbed():  # no folder that nobody has in mind
            made.append(Path(tempfile.mkdtemp(prefix="gcode-guard-demo-")))
        with named(made[0]):
            outcome = _guarded(made[0])
        with contextlib.closing(outcome), broken_pipe_raised():
            say(_told(made[0], outcome))
    except BaseException:
        with undisturbed():
            for folder in made:
                shutil.rmtree(folder, ignore_errors=True)
        raise
    return outcome.exit


def _told(folder: Path, outcome: Outcome) -> str:
    """What is said of it: the diff or the reasons, the summary, and where everything is."""
    from .record.summary import refusal, summary_paragraph

    changed = (folder / "door-panel.diff").read_text() if outcome.exit == 0 else refusal(outcome.reasons) + "\n"
    files = "".join(f"  {path.name}\n" for path in sorted(folder.iterdir()))
    return ("A cabinet door on a bench with clamps: bench.toml describes the bench, door-panel.nc is the program as\n"
            "the CAM wrote it. This is what has to change so that no rapid meets a clamp:\n\n"
            f"{changed}\n{summary_paragraph(outcome.summary)}\n\nEverything is in {folder}:\n{files}")


def _guarded(folder: Path) -> Outcome:
    """What becomes of the example, with all of its files in a folder. The outcome is the caller's to close."""
    from .deliver import copy_of, delivery
    from .guard import guard
    from .setup import load_setup
    from .source import Source

    for name in EXAMPLE:
        (folder / name).write_bytes(resources.files("gcode_guard.example").joinpath(name).read_bytes())
    setup = load_setup(folder / "bench.toml")
    with Source.from_path(folder / "door-panel.nc") as source, contextlib.ExitStack() as undone:
        source.name = "door-panel.nc"
        outcome = guard(source, setup)
        undone.callback(outcome.close)
        with delivery() as files:
            files.add(folder / "door-panel.log.jsonl",
                      lambda out: outcome.log.write_to(out, outcome.run, outcome.summary))  # type: ignore[arg-type]
            if outcome.exit == 0:
                files.add(folder / "door-panel.diff", copy_of(outcome.diff))
                files.add(folder / "door-panel.guarded.nc", copy_of(outcome.output))
            files.release()
        undone.pop_all()
    return outcome
