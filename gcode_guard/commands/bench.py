"""The commands about the bench: setup, room and walk."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import Annotated

import typer

from .calls import (
    OutputOption,
    SetupArgument,
    SetupOption,
    ToolOption,
    check_places,
    check_tool,
    fail,
    keep_setup,
    load,
    open_program,
    why,
    write_out,
)


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
    from ..record.summary import reason
    from ..room.command import NoPlace, NotUnderstood, Request, carry_out, point, rectangle
    from ..setup import SetupError
    from ..source import SourceChanged

    bench = load(setup)
    check_tool(bench, tool)
    check_places(programs, bench, {"--grid": grid, "--page": page}, to_stdout=True)
    with contextlib.ExitStack() as opened:
        try:
            sources = [opened.enter_context(open_program(program)) for program in programs]
            carry_out(Request(bench, sources, tool, at=point("--at", at), size=point("--size", size, "L,W", "60,25"),
                              angle=angle, part=part, grid=grid, page=page, step=step,
                              area=rectangle("--area", area), place=place, count=count, along=along, over=over,
                              write=write))
        except (ValueError, SetupError, SourceChanged) as error:
            fail(str(error))
        except NotUnderstood as error:
            for name, finding in error.reasons:
                print(f"{name}: {reason(finding)}", file=sys.stderr)
            raise typer.Exit(4) from None
        except NoPlace as error:
            print(f"gcode-guard: {error}", file=sys.stderr)
            raise typer.Exit(3) from None


def walk(
    setup: SetupOption = None,
    output: OutputOption = None,
    tool: ToolOption = None,
) -> None:
    """Writes a slow program, spindle off, that shows a person that the bench is as the setup says."""
    from ..deliver import delivery
    from ..record.summary import refusal
    from ..walk.program import CannotWalk
    from ..walk.program import walk as round_the_bench

    bench = load(setup)
    keep_setup(bench, "-o", output)
    check_tool(bench, tool)
    try:
        made = round_the_bench(bench, tool)
        if output is None:
            write_out(lambda out: out.writelines([made.text]))
        else:
            with delivery() as files:
                files.add(output, lambda out: out.writelines([made.text]))
                files.release()
    except ValueError as error:
        fail(str(error))
    except OSError as error:
        fail(f"cannot write: {why(error)}")
    except CannotWalk as error:
        print("\n".join([f"no walk was written: {error}", *refusal(error.reasons).splitlines()]), file=sys.stderr)
        raise typer.Exit(3) from None
    print("\n".join([f"{made.stops} stops over {len(made.things)} things", *(f"not visited: {text}" for text in
                                                                           made.missed), made.not_checked]),
          file=sys.stderr)


def setup_check(setup: SetupArgument = None) -> None:
    """Reads a setup file and prints what it was understood as."""
    from ..record.terminal import table_text
    from ..setup.describe import describe

    print(table_text(describe(load(setup))))


def setup_draw(
    setup: SetupArgument = None,
    page: Annotated[Path | None, typer.Option("--page", metavar="FILE.html", help="Write the drawing here.")] = None,
) -> None:
    """Draws the bench alone, so that it can be held against the real one."""
    from ..deliver import delivery
    from ..record.findings import safe_text
    from ..record.page import write_bench

    bench = load(setup)
    if page is None:
        fail("setup draw: say where to: --page FILE.html")
    keep_setup(bench, "--page", page)
    try:
        with delivery() as files:
            files.add(page, lambda out: write_bench(out, bench))
            files.release()
    except OSError as error:
        fail(f"cannot write: {why(error)}")
    print(f"the drawing is in {safe_text(str(page))}; hold it against the bench before you trust it", file=sys.stderr)


def setup_new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The setup file to start.")],
    defaults: Annotated[bool, typer.Option("--defaults", help="Ask nothing.")] = False,
) -> None:
    """Starts a commented setup file after a few questions."""
    import shlex

    from ..deliver import delivery
    from ..record.findings import safe_text
    from ..setup import SetupError, load_setup_data
    from ..setup.questions import ask_for_setup
    from ..setup.starter import starter_text

    name = safe_text(str(file))
    if file.exists():
        fail(f"{name} is there already, and is left as it is")
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
        fail(f"cannot write: {why(error)}")
    print(f"{name} is started. Next: measure, fill it in, then: gcode-guard setup check {shlex.quote(name)}",
          file=sys.stderr)


def _ask(question: str, default: str) -> str:
    """Asks on standard error; raises EOFError where nobody answers."""
    print(f"{question} [{default}]: " if default else f"{question}: ", end="", file=sys.stderr, flush=True)
    answer = sys.stdin.readline()
    if not answer:
        raise EOFError
    return answer.strip() or default
