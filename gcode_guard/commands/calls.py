"""What the commands have in common: options, reading setup and program, and writing files whole or not at all."""

from __future__ import annotations

import errno
import io
import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..deliver import Fill
    from ..guard import Outcome
    from ..setup.model import Setup
    from ..source import Source

SetupOption = Annotated[Path | None, typer.Option("--setup", envvar="GCODE_GUARD_SETUP", metavar="SETUP",
                                                  help="The setup file (TOML) of the bench.")]
ToolOption = Annotated[int | None, typer.Option("--tool", metavar="N", help="The tool in the spindle at the start.")]
LogOption = Annotated[Path | None, typer.Option("--log", metavar="FILE", help="Write the log (JSON Lines) here.")]
SetupArgument = Annotated[Path | None, typer.Argument(metavar="SETUP", envvar="GCODE_GUARD_SETUP",
                                                      help="The setup file (TOML) of the bench.")]
OutputOption = Annotated[Path | None, typer.Option("-o", "--output", metavar="OUT",
                                                   help="Write the program here, not to standard output.")]


def fail(message: str) -> NoReturn:
    """Ends the command for a wrong call, with one clear line."""
    print(f"gcode-guard: {message}", file=sys.stderr)
    raise typer.Exit(2)


def why(error: OSError) -> str:
    """What went wrong with a file, in one line."""
    from ..record.findings import safe_text

    place = f"{safe_text(os.fsdecode(error.filename))}: " if isinstance(error.filename, str | bytes) else ""
    if error.errno == errno.EBADF:
        return f"{place}the standard stream is closed"
    return f"{place}{error.strerror or error}"


def check_places(programs: Sequence[str | None], setup: Setup, outputs: dict[str, Path | None],
                 to_stdout: bool) -> None:
    """Ends the command where two of its files are one, before anything is lost. -o may be the program itself."""
    from ..deliver import clash

    sources: list[tuple[str, Path | int]] = [
        ("the program", 0 if program is None or program == "-" else Path(program)) for program in programs]
    written = [(name, place) for name, place in outputs.items() if place is not None]
    for name, place in written:
        if str(place) == "" or place.is_dir():
            fail(f"cannot write: {name} {str(place)!r} is a directory")
    read: list[tuple[str, Path | int]] = [("the setup", path) for path in setup.files]
    trouble = clash(read, [*written, *([("standard output", 1)] if to_stdout else [])]) or clash(
        sources,
        [pair for pair in written if pair[0] != "-o"] + ([("standard output", 1)] if to_stdout else []))
    if trouble:
        fail(f"cannot write: {trouble}")


def keep_setup(setup: Setup, name: str, place: Path | None) -> None:
    """Ends the command where it would write over the setup that it reads."""
    from ..deliver import clash

    trouble = clash([("the setup", path) for path in setup.files], [(name, place)] if place is not None else [])
    if trouble:
        fail(f"cannot write: {trouble}")


def load(path: Path | None) -> Setup:
    """The setup of a call; a missing or wrong one ends the command with status 2."""
    from ..rules import check_start
    from ..setup import SetupError, load_setup

    if path is None:
        fail("no setup: give --setup FILE, or set GCODE_GUARD_SETUP")
    try:
        setup = load_setup(path)
        check_start(setup)
        return setup
    except SetupError as error:
        fail(str(error))


def check_tool(setup: Setup | None, tool: int | None) -> None:
    if setup is not None and tool is not None and tool not in setup.tools:
        fail(f"--tool {tool}: the setup has no tool {tool} (it has {', '.join(map(str, sorted(setup.tools)))})")


def open_program(program: str | None) -> Source:
    """The program of a call: a file, or standard input for `-` and nothing."""
    from ..deliver import no_room
    from ..source import Source

    try:
        if program is None or program == "-":
            return Source.from_stream(sys.stdin.buffer, "standard input")
        return Source.from_path(Path(program))
    except OSError as error:
        fail(no_room(error) or f"cannot read the program: {why(error)}")


def run_guard(source: Source, setup: Setup, tool: int | None) -> Outcome:
    from ..deliver import no_room
    from ..guard import guard
    from ..progress import progress_for
    from ..source import SourceChanged

    try:
        with progress_for(source) as tell:
            try:
                return guard(source, setup, tool=tool, progress=tell)
            except (OSError, SourceChanged, MemoryError):
                raise
            except Exception:
                source.check_unchanged()  # two halves of two programs may be anything
                raise
    except SourceChanged as error:
        fail(str(error))
    except OSError as error:
        fail(no_room(error) or why(error))


def say(outcome: Outcome) -> None:
    """The reasons and the summary, on standard error."""
    from ..record.summary import refusal, summary_paragraph

    if outcome.reasons:
        print(refusal(outcome.reasons), file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)


def deliver(outcome: Outcome, source: Source, output: Path | None, diff: Path | None, log: Path | None,
            to_stdout: bool, page: tuple[Path, Fill] | None = None) -> None:
    """Writes what a command asked for, all of it or nothing, and no program where it is refused."""
    from ..deliver import copy_of, delivery
    from ..source import SourceChanged

    passed = outcome.exit == 0
    try:
        with delivery() as files:
            if log is not None:
                files.add(log, lambda out: outcome.log.write_to(out, outcome.run, outcome.summary))  # type: ignore[arg-type]
            if passed and diff is not None:
                files.add(diff, copy_of(outcome.diff))
            if passed and output is not None:
                files.add(output, copy_of(outcome.output))
            if page is not None:
                with source.unchanged():
                    files.add(*page)
            if outcome.defect:
                _keep_defect(outcome, source)
            source.check_unchanged()
            files.release()
    except SourceChanged as error:
        fail(str(error))
    except OSError as error:
        fail(f"cannot write: {why(error)}")
    if passed and to_stdout:
        write_out(copy_of(outcome.output))


def write_out(fill: Fill) -> None:
    """Writes to standard output, through a buffer in any case: without one (PYTHONUNBUFFERED) a write may take a part
    of what it is given, on a disk that is all but full, and nobody would notice."""
    try:
        sys.stdout.flush()
        try:
            descriptor = os.dup(sys.stdout.fileno())
        except io.UnsupportedOperation:  # no file of the system's, but one that a caller put there
            fill(sys.stdout.buffer)
            return
        with open(descriptor, "wb") as out:
            fill(out)
    except BrokenPipeError:  # only where a caller wants to know, to tidy up
        raise
    except OSError as error:
        fail(f"cannot write to standard output: {why(error)}")


def _keep_defect(outcome: Outcome, source: Source) -> None:
    """Keeps the program and the output that failed its proof where a person who reports it finds both."""
    from ..deliver import copy_of

    try:
        folder = Path(tempfile.mkdtemp(prefix="gcode-guard-defect-"))
        with open(folder / "program.nc", "xb") as program, open(folder / "output.nc", "xb") as output:
            source.copy_to(program)
            copy_of(outcome.output)(output)
    except OSError as error:
        print(f"gcode-guard: the output that failed its proof could not be kept: {why(error)}", file=sys.stderr)
        return
    print(f"gcode-guard: the program and the output that failed its proof are kept in {folder}", file=sys.stderr)


def tell_defect(error: Exception) -> NoReturn:
    """Ends the command for what gcode-guard itself got wrong: one line, the details in a file, nothing written."""
    import traceback

    kept = ""
    try:
        with tempfile.NamedTemporaryFile("w", prefix="gcode-guard-defect-", suffix=".txt", delete=False) as file:
            traceback.print_exception(error, file=file)
        kept = f" and {file.name}"
    except OSError:
        pass
    what = " ".join(str(error).split()) or type(error).__name__
    print(f"gcode-guard: refused, nothing is written: this is a defect of gcode-guard ({type(error).__name__}: {what});"
          f" please report it with the program, the setup{kept}", file=sys.stderr)
    sys.exit(4)
