"""The demo: the whole job on the shipped example, in a scratch folder."""

from __future__ import annotations

import shutil
import sys
import tempfile
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .guard import Outcome

EXAMPLE = ("bench.toml", "clamps.toml", "door-panel.nc")


def run_demo() -> int:
    """Copies the example into a new folder, guards its program there and says what came of it.

    Returns the exit status of `filter`. Raises OSError where there is no room; nothing is left behind then.
    """
    from .record.summary import refusal, summary_paragraph

    folder = Path(tempfile.mkdtemp(prefix="gcode-guard-demo-"))
    try:
        outcome = _guarded(folder)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    print("A cabinet door on a bench with clamps: bench.toml describes the bench, door-panel.nc is the program as the"
          "\nCAM wrote it. This is what has to change so that no rapid meets a clamp:\n")
    if outcome.exit == 0:
        sys.stdout.write((folder / "door-panel.diff").read_text())
    else:
        print(refusal(outcome.reasons))
    print("\n" + summary_paragraph(outcome.summary))
    print(f"\nEverything is in {folder}:")
    for path in sorted(folder.iterdir()):
        print(f"  {path.name}")
    outcome.close()
    return outcome.exit


def _guarded(folder: Path) -> Outcome:
    """What becomes of the example, with all of its files in a folder."""
    from .deliver import copy_of, delivery
    from .guard import guard
    from .setup import load_setup
    from .source import Source

    for name in EXAMPLE:
        (folder / name).write_bytes(resources.files("gcode_guard.example").joinpath(name).read_bytes())
    setup = load_setup(folder / "bench.toml")
    with Source.from_path(folder / "door-panel.nc") as source:
        source.name = "door-panel.nc"
        outcome = guard(source, setup)
        with delivery() as files:
            files.add(folder / "door-panel.log.jsonl",
                      lambda out: outcome.log.write_to(out, outcome.run, outcome.summary))  # type: ignore[arg-type]
            if outcome.exit == 0:
                files.add(folder / "door-panel.diff", copy_of(outcome.diff))
                files.add(folder / "door-panel.guarded.nc", copy_of(outcome.output))
            files.release()
    return outcome
