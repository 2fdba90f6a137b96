"""What the commands have in common: options, reading setup and program, and writing files whole or not at all."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
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
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{error.strerror or error}"


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
    from ..source import Source

    try:
        if program is None or program == "-":
            return Source.from_stream(sys.stdin.buffer, "standard input")
        return Source.from_path(Path(program))
    except OSError as error:
        fail(f"cannot read the program: {why(error)}")


def run_guard(source: Source, setup: Setup, tool: int | None) -> Outcome:
    from ..guard import guard
    from ..progress import progress_for
    from ..source import SourceChanged

    try:
        with progress_for(source) as tell:
            return guard(source, setup, tool=tool, progress=tell)
    except SourceChanged as error:
        fail(str(error))


def say(outcome: Outcome) -> None:
    """The reasons and the summary, on standard error."""
    from ..record.summary import refusal, summary_paragraph

    if outcome.reasons:
        print(refusal(outcome.reasons), file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)


def not_checked(setup: Setup) -> str:
    """What a verdict does not speak of."""
    above = "the gantry's beam, the Z plate, hoses and cables"
    if any(setup.cutter_only(number) for number in setup.tools):
        return f"Cutter only: the collet nut, the spindle and the dust shoe were not checked, nor were {above}."
    return f"Not checked: {above}."


def deliver(outcome: Outcome, source: Source, output: Path | None, diff: Path | None, log: Path | None,
            to_stdout: bool) -> None:
    """Writes what a command asked for, each file whole or not at all, and nothing where the program is refused."""
    from ..deliver import copy_of, delivery

    passed = outcome.exit == 0
    try:
        with delivery() as files:
            if log is not None:
                files.add(log, lambda out: outcome.log.write_to(out, outcome.run, outcome.summary))  # type: ignore[arg-type]
            if passed and diff is not None:
                files.add(diff, copy_of(outcome.diff))
            if passed and output is not None:
                files.add(output, copy_of(outcome.output))
            if outcome.defect:
                _keep_defect(outcome, source)
            files.release()
        if passed and to_stdout:
            copy_of(outcome.output)(sys.stdout.buffer)
            sys.stdout.buffer.flush()
    except OSError as error:
        fail(f"cannot write: {why(error)}")


def _keep_defect(outcome: Outcome, source: Source) -> None:
    """Keeps the program and the output that failed its proof where a person who reports it finds both."""
    import tempfile

    from ..deliver import copy_of

    folder = Path(tempfile.mkdtemp(prefix="gcode-guard-defect-"))
    with open(folder / "program.nc", "xb") as program, open(folder / "output.nc", "xb") as output:
        program.writelines(source.lines())
        copy_of(outcome.output)(output)
    print(f"gcode-guard: the program and the output that failed its proof are kept in {folder}", file=sys.stderr)


def tell_defect(error: Exception) -> NoReturn:
    """Ends the command for what gcode-guard itself got wrong: one line, the details in a file, nothing written."""
    import tempfile
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


class Stopped(BaseException):
    """Raised where a signal asks the command to end, so that everything on the way is tidied up."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def quietly(number: int) -> NoReturn:
    """Ends the process the way a signal would have."""
    signal.signal(number, signal.SIG_DFL)
    os.kill(os.getpid(), number)
    sys.exit(128 + number)
