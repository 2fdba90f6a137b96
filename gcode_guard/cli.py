"""The command line: which commands there are, and how a signal ends one."""

from __future__ import annotations

import gc
import os
import sys
from typing import Annotated

import typer

from .commands import bench, programs
from .commands.calls import tell_defect, why
from .commands.plain import PlainCommand, PlainGroup
from .deliver import fill_standard_streams
from .signals import Stopped, deafen, listen, quietly

app = typer.Typer(cls=PlainGroup, add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
                  no_args_is_help=True, context_settings={"help_option_names": ["-h", "--help"]},
                  help="Guards the rapids of G-code programs against what stands on the table.")
setup_app = typer.Typer(rich_markup_mode=None, no_args_is_help=True, help="Starts, checks and draws setup files.")
app.add_typer(setup_app, name="setup")

COLLECTED = 20_000  # objects made before cycles are looked for: importing alone makes many, and none of them goes


def _version(wanted: bool) -> None:
    if wanted:
        from . import __version__
        typer.echo(f"gcode-guard {__version__}")
        raise typer.Exit


@app.callback()
def _common(version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True,
                                                  help="Show the version and exit.")] = False) -> None:
    """Guards the rapids of G-code programs against what stands on the table."""


app.command("filter", cls=PlainCommand)(programs.filter_command)
app.command(cls=PlainCommand)(programs.review)
app.command(cls=PlainCommand)(programs.verify)
app.command()(bench.room)
app.command()(bench.walk)
app.command(cls=PlainCommand)(programs.trace)
app.command()(programs.watch)
setup_app.command("check")(bench.setup_check)
setup_app.command("draw")(bench.setup_draw)
setup_app.command("new")(bench.setup_new)
app.command()(programs.demo)


def _asked(words: list[str]) -> list[str]:
    """The words of the call; `--version` is understood behind every command too."""
    options = words[: words.index("--")] if "--" in words else words
    return ["--version"] if "--version" in options else words


def main() -> None:
    """The command `gcode-guard`."""
    gc.set_threshold(COLLECTED)
    fill_standard_streams()
    try:
        _run()
    except Stopped as stopped:
        quietly(stopped.number)


def _run() -> None:
    """Runs the command that was asked for; ends the process with its status."""
    listen()
    try:
        try:
            app(_asked(sys.argv[1:]))
        except SystemExit as end:
            _flush(end.code)
            raise
    except OSError as error:
        print(f"gcode-guard: {why(error)}", file=sys.stderr)
        sys.exit(2)
    except MemoryError:
        print("gcode-guard: there is not enough memory; nothing is written", file=sys.stderr)
        sys.exit(2)
    except Exception as error:
        tell_defect(error)
    finally:
        deafen()
        gc.freeze()  # the end looks through everything several times for cycles, of which none matters any more


def _flush(status: object) -> None:
    """Writes out what still waits for standard output, where a full disk still is one clear line."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what waits has nowhere to go, and shall not be tried again
        if not status:
            raise


if __name__ == "__main__":
    main()
