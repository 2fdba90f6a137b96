"""The commands for programs: filter, review, verify, trace, watch and demo."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, TypeVar

import typer

from .calls import (
    LogOption,
    OutputOption,
    SetupOption,
    ToolOption,
    check_places,
    check_tool,
    deliver,
    fail,
    load,
    open_program,
    run_guard,
    say,
    why,
    write_out,
)

if TYPE_CHECKING:
    from ..deliver import Fill
    from ..guard import Outcome
    from ..setup.model import Setup
    from ..source import Source

T = TypeVar("T")


def filter_command(
    program: Annotated[str | None, typer.Argument(metavar="[PROGRAM]",
                                                  help="The program; - or nothing is standard input.")] = None,
    setup: SetupOption = None,
    output: OutputOption = None,
    diff: Annotated[Path | None, typer.Option("--diff", metavar="FILE", help="Write the unified diff here.")] = None,
    log: LogOption = None,
    tool: ToolOption = None,
) -> None:
    """Mends a program: its rapids are lifted over what stands on the table, every cut stays as it is."""
    bench = load(setup)
    check_tool(bench, tool)
    output = None if str(output) == "-" else output
    diff, log = (Path("/dev/stdout") if str(place) == "-" else place for place in (diff, log))
    check_places([program], bench, {"-o": output, "--diff": diff, "--log": log}, to_stdout=output is None)
    with open_program(program) as source:
        outcome = run_guard(source, bench, tool)
        try:
            deliver(outcome, source, output, diff, log, to_stdout=output is None)
            say(outcome)
        finally:
            outcome.close()
    raise typer.Exit(outcome.exit)


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
    from ..record.terminal import next_step

    if page is not None and change:
        fail("--page draws the bench as it is, to be signed; with --set it would be another one")
    as_is = load(setup)
    bench = _changed(as_is, change) if change else as_is
    check_tool(bench, tool)
    check_places([program], as_is, {"--page": page, "--log": log}, to_stdout=True)
    with open_program(program) as source:
        outcome = run_guard(source, bench, tool)
        try:
            drawn = (page, _drawing(source, bench, outcome, tool)) if page is not None else None
            compared = _differences(source, as_is, change, outcome, tool) if change else ""
            deliver(outcome, source, None, None, log, to_stdout=False, page=drawn)
            if outcome.exit == 0:
                _print_diff(outcome.diff)
            _say_findings(outcome)
            print(compared or next_step(outcome.summary, program, str(setup)), file=sys.stderr)
        finally:
            outcome.close()
    raise typer.Exit(outcome.exit or (1 if outcome.summary.changes else 0))


def _changed(setup: Setup, texts: list[str]) -> Setup:
    """The setup as --set asks for it."""
    from ..setup import SetupError
    from ..whatif import read_changes, with_changes

    try:
        return with_changes(setup, read_changes(texts, [obstacle.name for obstacle in setup.obstacles]))
    except (ValueError, SetupError) as error:
        fail(f"--set {error}")


def _differences(source: Source, as_is: Setup, texts: list[str], outcome: Outcome, tool: int | None) -> str:
    """What --set changes against the setup as it is."""
    from ..picture import findings_of
    from ..whatif import Verdict, differences, read_changes

    before = run_guard(source, as_is, tool)
    try:
        first, second = (Verdict(o.summary, o.changes, findings_of(o)) for o in (before, outcome))
        changes = read_changes(texts, [obstacle.name for obstacle in as_is.obstacles])
        return differences(changes, first, second)
    finally:
        before.close()


def _drawing(source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> Fill:
    """What writes the page of a review."""
    from ..picture import write_page

    return lambda out: write_page(out, source, setup, outcome, tool)


def _print_diff(diff: IO[bytes]) -> None:
    """The diff, byte for byte; on a terminal coloured, unless NO_COLOR is set (no-color.org)."""
    from ..deliver import copy_of
    from ..record.terminal import coloured

    if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
        diff.seek(0)
        sys.stdout.writelines(coloured(diff))
        sys.stdout.flush()
    else:
        write_out(copy_of(diff))


def _say_findings(outcome: Outcome) -> None:
    """The findings in groups, and the summary, on standard error."""
    from ..picture import findings_of
    from ..record.summary import summary_paragraph
    from ..record.terminal import grouped

    findings = grouped(findings_of(outcome))
    if findings:
        print(findings, file=sys.stderr)
    print(summary_paragraph(outcome.summary), file=sys.stderr)


def verify(
    before: Annotated[str, typer.Argument(metavar="BEFORE")],
    after: Annotated[str, typer.Argument(metavar="AFTER")],
    setup: SetupOption = None,
    tool: ToolOption = None,
) -> None:
    """Proves that AFTER is BEFORE with safe rapids: every cut the same, no rapid near an obstacle."""
    from ..record.summary import not_checked_with
    from ..verify import verify as prove

    if before == after == "-":
        fail("verify: BEFORE and AFTER cannot both be standard input; give one of them as a file")
    bench = load(setup)
    check_tool(bench, tool)
    with open_program(before) as first, open_program(after) as second:
        proof = _unless_changed((first, second), lambda: prove(first, second, bench, tool))
    limits = not_checked_with(bench)
    if not proof.understood:
        print(f"BEFORE is not understood: line {proof.before_line}: {proof.what}. {limits}", file=sys.stderr)
        raise typer.Exit(4)
    if not proof.holds:
        lines = ((proof.before_line, before), (proof.after_line, after))
        places = [f"line {line} of {name}" for line, name in lines if line]
        print(f"does not hold: {', '.join(places)}: {proof.what}. {limits}", file=sys.stderr)
        raise typer.Exit(1)
    print("holds: every cut and effect is the same, and no rapid comes inside a clearance."
          f" {limits}", file=sys.stderr)


def _unless_changed(sources: tuple[Source, ...], work: Callable[[], T]) -> T:
    """What some work over programs gives; the command ends with 2 where one of them changed meanwhile."""
    from ..source import SourceChanged

    try:
        try:
            return work()
        finally:
            for source in sources:
                source.check_unchanged()
    except SourceChanged as error:
        fail(str(error))


def trace(
    program: Annotated[str, typer.Argument(metavar="PROGRAM", help="The program; - is standard input.")],
    setup: SetupOption = None,
    tool: ToolOption = None,
) -> None:
    """Prints the moves that a program makes, as CSV."""
    import tempfile

    from ..deliver import copy_of
    from ..record.summary import refusal
    from ..trace import trace as write_trace

    bench = load(setup) if setup is not None else None
    check_tool(bench, tool)
    with open_program(program) as source, tempfile.TemporaryFile() as held:
        reasons = _unless_changed((source,), lambda: write_trace(source, bench, tool, held))
        if reasons:
            print(refusal(reasons), file=sys.stderr)
            raise typer.Exit(4)
        write_out(copy_of(held))


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
    from ..setup import SetupError
    from ..watch import FolderGone, Locked, as_suffix, watch_folder

    bench = load(setup)
    try:
        status = watch_folder(folder, bench.path, suffixes=[as_suffix(text) for text in suffix or ()], poll=poll,
                              once=once, settle=settle)
    except (FolderGone, Locked, SetupError, ValueError) as error:
        fail(str(error))
    if status > 128:
        from ..signals import quietly

        quietly(status - 128)
    sys.exit(status)


def demo() -> None:
    """Shows the whole job on a shipped example, in a scratch folder."""
    from ..demo import run_demo

    try:
        status = run_demo(lambda text: write_out(lambda out: out.writelines([text.encode(errors="surrogateescape")])))
    except OSError as error:
        fail(f"cannot write: {why(error)}")
    raise typer.Exit(status)
