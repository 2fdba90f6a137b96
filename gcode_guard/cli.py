"""The command line: thin. Everything that a command needs is imported when it runs."""

from __future__ import annotations

import contextlib
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
    change: Annotated[list[str] | None, typer.Option("--set", metavar="NAME.KEY=VALUE", help=(
        "What if this key of this obstacle were so? The setup stays as it is. May be given more than once."))] = None,
) -> None:
    """The dry run: prints the diff and the findings, and writes no program."""
    from .record.terminal import next_step

    if page is not None and change:
        fail("--page draws the bench as it is, to be signed; with --set it would be another one")
    as_is = load(setup)
    bench = _changed(as_is, change) if change else as_is
    check_tool(bench, tool)
    with open_program(program) as source:
        outcome = run_guard(source, bench, tool)
        try:
            _deliver(outcome, None, None, log, to_stdout=False)
            if page is not None:
                _write_page(page, source, bench, outcome, tool)
            if outcome.exit == 0:
                _print_diff(outcome.diff)
            _say_findings(outcome)
            if change:
                _say_differences(source, as_is, change, outcome, tool)
            else:
                print(next_step(outcome.summary, program, str(setup)), file=sys.stderr)
        finally:
            outcome.close()
    raise typer.Exit(outcome.exit or (1 if outcome.summary.changes else 0))


def _changed(setup: Setup, texts: list[str]) -> Setup:
    """The setup as --set asks for it."""
    from .setup import SetupError
    from .whatif import read_changes, with_changes

    try:
        return with_changes(setup, read_changes(texts, [obstacle.name for obstacle in setup.obstacles]))
    except (ValueError, SetupError) as error:
        fail(f"--set {error}")


def _say_differences(source: Source, as_is: Setup, texts: list[str], outcome: Outcome, tool: int | None) -> None:
    """What --set changes against the setup as it is, on standard error."""
    from .picture import findings_of
    from .whatif import Verdict, differences, read_changes

    before = run_guard(source, as_is, tool)
    try:
        first, second = (Verdict(o.summary, o.changes, findings_of(o)) for o in (before, outcome))
        changes = read_changes(texts, [obstacle.name for obstacle in as_is.obstacles])
        print(differences(changes, first, second), file=sys.stderr)
    finally:
        before.close()


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


def _say_findings(outcome: Outcome) -> None:
    """The findings in groups, and the summary, on standard error."""
    from .picture import findings_of
    from .record.summary import summary_paragraph
    from .record.terminal import grouped

    findings = grouped(findings_of(outcome))
    if findings:
        print(findings, file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)


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
        proof = prove(first, second, bench, tool)
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
def room(
    programs: Annotated[list[str], typer.Argument(metavar="PROGRAM...", help="The programs that are to run there.")],
    setup: SetupOption = None,
    at: Annotated[str | None, typer.Option("--at", metavar="X,Y", help="The place that is asked about.")] = None,
    size: Annotated[str | None, typer.Option("--size", metavar="L,W", help="A box of this size stands there.")] = None,
    angle: Annotated[float, typer.Option("--angle", metavar="A", help="Turned by so many degrees.")] = 0.0,
    part: Annotated[str | None, typer.Option("--part", metavar="NAME", help="This part stands there.")] = None,
    grid: Annotated[Path | None, typer.Option("--grid", metavar="FILE.csv", help="Write the map here.")] = None,
    page: Annotated[Path | None, typer.Option("--page", metavar="FILE.html", help="Draw the map here.")] = None,
    step: Annotated[float | None, typer.Option("--step", metavar="S", help="The side of a cell of the map.")] = None,
    area: Annotated[str | None, typer.Option("--area", metavar="X0,Y0,X1,Y1", help="What the map shows.")] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="NAME", help="Find places for this part.")] = None,
    count: Annotated[int, typer.Option("--count", metavar="N", help="So many places.")] = 1,
    along: Annotated[str, typer.Option("--along", metavar="edge|anywhere", help="Where to look for them.")] = "edge",
    over: Annotated[float, typer.Option("--over", metavar="D", help="How far it lies on the stock.")] = 0.0,
    write: Annotated[bool, typer.Option("--write", help="Add the places to the setup file.")] = False,
    tool: ToolOption = None,
) -> None:
    """Says where a clamp may stand and how tall: hard, so that no cut touches it; easy, so that no rapid is lifted."""
    from .record.summary import reason
    from .room.command import NoPlace, NotUnderstood, Request, carry_out, point, rectangle

    bench = load(setup)
    check_tool(bench, tool)
    with contextlib.ExitStack() as opened:
        try:
            sources = [opened.enter_context(open_program(program)) for program in programs]
            carry_out(Request(bench, sources, tool, at=point("--at", at), size=point("--size", size), angle=angle,
                              part=part, grid=grid, page=page, step=step, area=rectangle("--area", area), place=place,
                              count=count, along=along, over=over, write=write))
        except ValueError as error:
            fail(str(error))
        except NotUnderstood as error:
            for name, finding in error.reasons:
                print(f"{name}: {reason(finding)}", file=sys.stderr)
            raise typer.Exit(4) from None
        except NoPlace as error:
            print(f"gcode-guard: {error}", file=sys.stderr)
            raise typer.Exit(3) from None


@app.command()
def walk(
    setup: SetupOption = None,
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="OUT",
                                                help="Write the program here, not to standard output.")] = None,
    tool: ToolOption = None,
) -> None:
    """Writes a slow program, spindle off, that shows a person that the bench is as the setup says."""
    from .deliver import delivery
    from .record.summary import refusal
    from .walk.program import CannotWalk
    from .walk.program import walk as round_the_bench

    bench = load(setup)
    check_tool(bench, tool)
    try:
        made = round_the_bench(bench, tool)
        if output is None:
            sys.stdout.buffer.write(made.text)
            sys.stdout.buffer.flush()
        else:
            with delivery() as files:
                files.add(output, lambda out: out.writelines([made.text]))
                files.release()
    except ValueError as error:
        fail(str(error))
    except OSError as error:
        fail(f"cannot write: {_why(error)}")
    except CannotWalk as error:
        print("\n".join([f"no walk was written: {error}", *refusal(error.reasons).splitlines()]), file=sys.stderr)
        raise typer.Exit(3) from None
    print("\n".join([f"{made.stops} stops over {len(made.things)} things", *(f"not visited: {text}" for text in
                                                                           made.missed)]), file=sys.stderr)


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
