"""The command line: thin. Everything that a command needs is imported when it runs."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
    from .guard import Outcome
    from .setup.model import Setup
    from .source import Source

app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True,
                  context_settings={"help_option_names": ["-h", "--help"]},
                  help="Guards the rapids of G-code programs against what stands on the table.")
setup_app = typer.Typer(rich_markup_mode=None, no_args_is_help=True, help="Starts, checks and draws setup files.")
app.add_typer(setup_app, name="setup")

SetupOption = Annotated[Path | None, typer.Option("--setup", envvar="GCODE_GUARD_SETUP", metavar="SETUP",
                                                  help="The setup file (TOML) of the bench.")]
ToolOption = Annotated[int | None, typer.Option("--tool", metavar="N", help="The tool in the spindle at the start.")]
LogOption = Annotated[Path | None, typer.Option("--log", metavar="FILE", help="Write the log (JSON Lines) here.")]


def _version(wanted: bool) -> None:
    if wanted:
        from . import __version__
        typer.echo(f"gcode-guard {__version__}")
        raise typer.Exit


@app.callback()
def _common(version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True,
                                                  help="Show the version and exit.")] = False) -> None:
    """Guards the rapids of G-code programs against what stands on the table."""


def fail(message: str) -> NoReturn:
    """Ends the command for a wrong call, with one clear line."""
    print(f"gcode-guard: {message}", file=sys.stderr)
    raise typer.Exit(2)


def _why(error: OSError) -> str:
    place = f"{error.filename}: " if error.filename else ""
    return f"{place}{error.strerror or error}"


def load(path: Path | None) -> Setup:
    """The setup of a call; a missing or wrong one ends the command with status 2."""
    from .setup import SetupError, load_setup

    if path is None:
        fail("no setup: give --setup FILE, or set GCODE_GUARD_SETUP")
    try:
        return load_setup(path)
    except SetupError as error:
        fail(str(error))


def check_tool(setup: Setup | None, tool: int | None) -> None:
    if setup is not None and tool is not None and tool not in setup.tools:
        fail(f"--tool {tool}: the setup has no tool {tool} (it has {', '.join(map(str, sorted(setup.tools)))})")


def open_program(program: str | None) -> Source:
    """The program of a call: a file, or standard input for `-` and nothing."""
    from .source import Source

    try:
        if program is None or program == "-":
            return Source.from_stream(sys.stdin.buffer, "standard input")
        return Source.from_path(Path(program))
    except OSError as error:
        fail(f"cannot read the program: {_why(error)}")


def run_guard(source: Source, setup: Setup, tool: int | None) -> Outcome:
    from .guard import guard
    from .progress import progress_for
    from .source import SourceChanged

    try:
        with progress_for(source) as tell:
            return guard(source, setup, tool=tool, progress=tell)
    except SourceChanged as error:
        fail(str(error))


def say(outcome: Outcome) -> None:
    """The reasons and the summary, on standard error."""
    from .record.summary import refusal, summary_paragraph

    if outcome.reasons:
        print(refusal(outcome.reasons), file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)


@app.command("filter")
def filter_command(
    program: Annotated[str | None, typer.Argument(metavar="[PROGRAM]",
                                                  help="The program; - or nothing is standard input.")] = None,
    setup: SetupOption = None,
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="OUT",
                                                help="Write the program here, not to standard output.")] = None,
    diff: Annotated[Path | None, typer.Option("--diff", metavar="FILE", help="Write the unified diff here.")] = None,
    log: LogOption = None,
    tool: ToolOption = None,
) -> None:
    """Mends a program: its rapids are lifted over what stands on the table, every cut stays as it is."""
    bench = load(setup)
    check_tool(bench, tool)
    with open_program(program) as source:
        outcome = run_guard(source, bench, tool)
        try:
            _deliver(outcome, output, diff, log, to_stdout=output is None)
            say(outcome)
        finally:
            outcome.close()
    raise typer.Exit(outcome.exit)


def _deliver(outcome: Outcome, output: Path | None, diff: Path | None, log: Path | None, to_stdout: bool) -> None:
    from .deliver import copy_of, delivery

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
                _keep_defect(outcome, output)
            files.release()
        if passed and to_stdout:
            copy_of(outcome.output)(sys.stdout.buffer)
            sys.stdout.buffer.flush()
    except OSError as error:
        fail(f"cannot write: {_why(error)}")


def _keep_defect(outcome: Outcome, output: Path | None) -> None:
    """Keeps the output that failed its proof where a person who reports it finds it."""
    import tempfile

    from .deliver import copy_of

    with tempfile.NamedTemporaryFile(prefix="gcode-guard-defect-", suffix=".nc", delete=False) as kept:
        copy_of(outcome.output)(kept)
    print(f"gcode-guard: the output that failed its proof is kept in {kept.name}", file=sys.stderr)


@app.command()
def review(
    program: Annotated[str, typer.Argument(metavar="PROGRAM", help="The program; - is standard input.")],
    setup: SetupOption = None,
    page: Annotated[Path | None, typer.Option("--page", metavar="FILE.html",
                                              help="Write the review page here.")] = None,
    log: LogOption = None,
    tool: ToolOption = None,
) -> None:
    """The dry run: prints the diff and the findings, and writes no program."""
    bench = load(setup)
    check_tool(bench, tool)
    with open_program(program) as source:
        outcome = run_guard(source, bench, tool)
        try:
            _deliver(outcome, None, None, log, to_stdout=False)
            if page is not None:
                _write_page(page, source, bench, outcome, tool)
            if outcome.exit == 0:
                _print_diff(outcome.diff)
            _say_findings(outcome, program, setup)
        finally:
            outcome.close()
    raise typer.Exit(outcome.exit or (1 if outcome.summary.changes else 0))


def _write_page(page: Path, source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> None:
    from .deliver import delivery
    from .picture import write_page

    try:
        with delivery() as files:
            files.add(page, lambda out: write_page(out, source, setup, outcome, tool))
            files.release()
    except OSError as error:
        fail(f"cannot write: {_why(error)}")


def _print_diff(diff: IO[bytes]) -> None:
    """The diff, byte for byte; on a terminal coloured, unless NO_COLOR is set (no-color.org)."""
    from .deliver import copy_of
    from .record.terminal import coloured

    if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
        diff.seek(0)
        sys.stdout.writelines(coloured(diff))
    else:
        copy_of(diff)(sys.stdout.buffer)
    sys.stdout.flush()


def _say_findings(outcome: Outcome, program: str, setup: Path | None) -> None:
    """The findings in groups, the summary, and what to do next, on standard error."""
    from .picture import findings_of
    from .record.summary import summary_paragraph
    from .record.terminal import grouped, next_step

    findings = grouped(findings_of(outcome))
    if findings:
        print(findings, file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)
    print(next_step(outcome.summary, program, str(setup)), file=sys.stderr)


def _not_checked(setup: Setup) -> str:
    """What a verdict does not speak of."""
    above = "the gantry's beam, the Z plate, hoses and cables"
    if any(setup.cutter_only(number) for number in setup.tools):
        return f"Cutter only: the collet nut, the spindle and the dust shoe were not checked, nor were {above}."
    return f"Not checked: {above}."


@app.command()
def verify(
    before: Annotated[str, typer.Argument(metavar="BEFORE")],
    after: Annotated[str, typer.Argument(metavar="AFTER")],
    setup: SetupOption = None,
    tool: ToolOption = None,
) -> None:
    """Proves that AFTER is BEFORE with safe rapids: every cut the same, no rapid near an obstacle."""
    from .verify import verify as prove

    bench = load(setup)
    check_tool(bench, tool)
    with open_program(before) as first, open_program(after) as second:
        proof = prove(first.lines, second.lines, bench, tool)
    if not proof.understood:
        print(f"BEFORE is not understood: line {proof.before_line}: {proof.what}", file=sys.stderr)
        raise typer.Exit(4)
    if not proof.holds:
        lines = ((proof.before_line, before), (proof.after_line, after))
        places = [f"line {line} of {name}" for line, name in lines if line]
        print(f"does not hold: {', '.join(places)}: {proof.what}", file=sys.stderr)
        raise typer.Exit(1)
    print("holds: every cut and effect is the same, and no rapid comes inside a clearance."
          f" {_not_checked(bench)}", file=sys.stderr)


@app.command()
def trace(
    program: Annotated[str, typer.Argument(metavar="PROGRAM", help="The program; - is standard input.")],
    setup: SetupOption = None,
    tool: ToolOption = None,
) -> None:
    """Prints the moves that a program makes, as CSV."""
    import tempfile

    from .deliver import copy_of
    from .record.summary import refusal
    from .trace import trace as write_trace

    bench = load(setup) if setup is not None else None
    check_tool(bench, tool)
    with open_program(program) as source, tempfile.TemporaryFile() as held:
        reasons = write_trace(source, bench, tool, held)
        if reasons:
            print(refusal(reasons), file=sys.stderr)
            raise typer.Exit(4)
        copy_of(held)(sys.stdout.buffer)
        sys.stdout.buffer.flush()


@app.command()
def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder into which programs are dropped.")],
    setup: SetupOption = None,
    suffix: Annotated[list[str] | None, typer.Option("--suffix", metavar="ENDING", help=(
        "Files that end so are programs too, besides .nc .ngc .tap .cnc .gcode. May be given more than once."))] = None,
    poll: Annotated[bool, typer.Option("--poll", help="Look every second, for drives that send no events.")] = False,
    once: Annotated[bool, typer.Option("--once", help=(
        "Do what is there and end, with the highest exit status of all."))] = False,
    settle: Annotated[float, typer.Option("--settle", metavar="SECONDS", min=0.0, help=(
        "For how long a program must be quiet to count as wholly written."))] = 2.0,
) -> None:
    """Guards every program that is dropped into FOLDER, into FOLDER/ready or FOLDER/held."""
    from .setup import SetupError
    from .watch import FolderGone, Locked, as_suffix, watch_folder

    bench = load(setup)
    try:
        status = watch_folder(folder, bench.path, suffixes=[as_suffix(text) for text in suffix or ()], poll=poll,
                              once=once, settle=settle)
    except (FolderGone, Locked, SetupError, ValueError) as error:
        fail(str(error))
    if status > 128:
        _quietly(status - 128)
    sys.exit(status)


SetupArgument = Annotated[Path | None, typer.Argument(metavar="SETUP", envvar="GCODE_GUARD_SETUP",
                                                      help="The setup file (TOML) of the bench.")]


@setup_app.command("check")
def setup_check(setup: SetupArgument = None) -> None:
    """Reads a setup file and prints what it was understood as."""
    from .record.terminal import table_text
    from .setup.describe import describe

    print(table_text(describe(load(setup))))


@setup_app.command("draw")
def setup_draw(
    setup: SetupArgument = None,
    page: Annotated[Path | None, typer.Option("--page", metavar="FILE.html", help="Write the drawing here.")] = None,
) -> None:
    """Draws the bench alone, so that it can be held against the real one."""
    from .deliver import delivery
    from .record.page import write_bench

    bench = load(setup)
    if page is None:
        fail("setup draw: say where to: --page FILE.html")
    try:
        with delivery() as files:
            files.add(page, lambda out: write_bench(out, bench))
            files.release()
    except OSError as error:
        fail(f"cannot write: {_why(error)}")
    print(f"the drawing is in {page}; hold it against the bench before you trust it", file=sys.stderr)


@setup_app.command("new")
def setup_new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The setup file to start.")],
    defaults: Annotated[bool, typer.Option("--defaults", help="Ask nothing.")] = False,
) -> None:
    """Starts a commented setup file after a few questions."""
    from .deliver import delivery
    from .setup import SetupError, load_setup_data
    from .setup.questions import ask_for_setup
    from .setup.starter import starter_text

    if file.exists():
        fail(f"{file} is there already, and is left as it is")
    try:
        text = starter_text() if defaults else ask_for_setup(_ask, lambda line: print(line, file=sys.stderr))
        load_setup_data(text.encode(), file)
        with delivery() as files:
            files.add(file, lambda out: out.writelines([text.encode()]))
            files.release()
    except EOFError:
        fail("nothing more was answered, so nothing was written; --defaults asks nothing")
    except SetupError as error:
        fail(str(error))
    except OSError as error:
        fail(f"cannot write: {_why(error)}")
    print(f"{file} is started. Next: measure, fill it in, then: gcode-guard setup check {file}", file=sys.stderr)


def _ask(question: str, default: str) -> str:
    """Asks on standard error; raises EOFError where nobody answers."""
    print(f"{question} [{default}]: " if default else f"{question}: ", end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline()
    if not answer:
        raise EOFError
    return answer.strip() or default


@app.command()
def demo() -> None:
    """Shows the whole job on a shipped example, in a scratch folder."""
    from .demo import run_demo

    raise typer.Exit(run_demo())


class _Stopped(BaseException):
    """Raised where a signal asks the command to end, so that everything on the way is tidied up."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def _quietly(number: int) -> NoReturn:
    """Ends the process the way a signal would have."""
    signal.signal(number, signal.SIG_DFL)
    os.kill(os.getpid(), number)
    sys.exit(128 + number)


def main() -> None:
    """The command `gcode-guard`."""
    def stop(number: int, frame: object) -> None:
        raise _Stopped(number)

    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
    try:
        app()
    except _Stopped as stopped:
        _quietly(stopped.number)
    except OSError as error:
        print(f"gcode-guard: {_why(error)}", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    main()
