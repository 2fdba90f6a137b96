"""What must hold of room, walk, what-if and the page, whatever bytes a program is made of.

No traceback, no more time or memory than a budget for each byte, and a program that the guard passes is understood by
room as well.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from gcode_guard.guard import guard
from gcode_guard.picture import write_page
from gcode_guard.room.command import NotUnderstood, Request, map_of, place_answer
from gcode_guard.room.grid import TooFine
from gcode_guard.room.picture import page_of, page_step
from gcode_guard.setup import Setup, SetupError, load_setup
from gcode_guard.source import Source
from gcode_guard.walk.program import CannotWalk, walk
from gcode_guard.whatif import read_changes, with_changes

from . import holding
from .holding import Broken

AREA = (-20.0, -20.0, 60.0, 60.0)  # mm, about the things of the benches
PAGE = 5 << 20  # bytes of a page, at most
CHANGES = ["pin.top=9", "toe.angle=-30.5", "rail.sacrificial=false", "jig.top=1e300", "jig.top=nan", "pin.at=[1, 2]",
           "none.top=1", "pin.=1", "pin", "=", "", "pin.top=", "pin.top=[", "pin.top=" + "9" * 5000, "pin.name='toe'",
           "pin.center=[1e6, -1e6]", "pin.points=[[0,0],[1,1]]", "pin.top=1\n[tools]", "\x00.top=1",
           "pin.top=" + "[" * 900]


@contextmanager
def budget(what: str, size: int) -> Iterator[None]:
    """Raises Broken where what is inside takes more time or memory than so many bytes may."""
    begun, used = time.process_time(), holding.most_memory()
    yield
    took = time.process_time() - begun
    if took > holding.SECONDS + holding.SECONDS_A_BYTE * size:
        raise Broken(f"{what} of {size} bytes took {took:.1f} s")
    if holding.most_memory() - used > holding.MEMORY:
        raise Broken(f"{what} of {size} bytes took {holding.most_memory() - used >> 20} MB")


def hold_questions(data: bytes, folder: Path) -> set[str]:
    """Asks all that can be asked about the bytes behind the first, on the bench that the first says, with its setup in
    a folder. Returns which questions were answered."""
    number = data[0] if data else 0
    (folder / "bench.toml").write_text(holding.bench_text(number))
    setup, tool = load_setup(folder / "bench.toml"), holding.bench(number)[1]
    program, answered = data[1:], set()
    with Source.from_stream(io.BytesIO(program), "program") as source:
        with budget("guarding", len(program)):
            outcome = guard(source, setup, tool=tool)
        try:
            with budget("the page", len(program)):
                page = io.BytesIO()
                write_page(page, source, setup, outcome, tool)
            if len(page.getvalue()) > PAGE:
                raise Broken(f"a page of {len(page.getvalue())} bytes")
            for name, ask in questions(source, setup, tool).items():
                with budget(name, len(program)):
                    try:
                        ask()
                        answered.add(name)
                    except TooFine:  # far too many cells for a program that goes so far
                        pass
                    except NotUnderstood as error:
                        if outcome.exit == 0:
                            raise Broken(f"{name}: exit 0, and not understood: {error.reasons}") from error
        finally:
            outcome.close()
    return answered


def questions(source: Source, setup: Setup, tool: int | None) -> dict[str, Callable[[], object]]:
    """What `room` can be asked."""
    def request(**more: object) -> Request:
        return Request(setup, [source], tool, **more)  # type: ignore[arg-type]

    def page() -> None:
        asked = request(area=AREA)
        programs = asked.programs
        page_of(programs, asked.read(), AREA, page_step(AREA, setup))

    return {"a place": lambda: place_answer(request(at=(10.0, 4.0), size=(3.0, 2.0), angle=30.0), (10.0, 4.0)),
            "a map": lambda: map_of(request(area=AREA, step=2.0)), "a map of all": lambda: map_of(request()),
            "the page of maps": page}


def hold_walk(setup: Setup) -> bool:
    """Walks round a bench with each of its tools. Returns whether it can with any."""
    walked = False
    for tool in setup.tools:
        with budget("a walk", 200 * len(setup.obstacles)):
            try:
                walked |= bool(walk(setup, tool).text)
            except (CannotWalk, ValueError) as error:
                if not str(error).strip():
                    raise Broken("no walk, and no reason") from error
    return walked


def hold_changes(setup: Setup) -> int:
    """Asks what if, with all kinds of texts. Returns how many are a change that makes a bench."""
    made = 0
    names = [obstacle.name for obstacle in setup.obstacles]
    for text in CHANGES:
        with budget("a change", len(text)):
            try:
                made += with_changes(setup, read_changes([text], names)) is not setup
            except (ValueError, SetupError) as error:
                if not str(error).strip() or not str(error).isprintable():
                    raise Broken(f"{text[:40]!r}: {error}") from error
    return made
