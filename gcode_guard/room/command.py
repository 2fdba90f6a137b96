"""What the command `room` does, between the command line and the answers."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import inf, isfinite
from pathlib import Path
from typing import Any

from ..deliver import Delivery, delivery
from ..judge import Judge
from ..lengths import UNIT_WORD, length
from ..progress import progress_for
from ..record.findings import Finding
from ..record.page_room import write_room
from ..record.summary import duration, not_checked_with
from ..setup import Setup, SetupError, load_setup_data
from ..setup.errors import printable
from ..setup.model import Point2, to_mm
from ..setup.toml_file import read_file
from ..source import Source
from ..whatif import blocks_text, check_unchanged, text_with_obstacles
from .asked import Asked, about_part, answer, ask_part, ask_place, sentence
from .candidates import Along, Parted, candidates
from .grid import Area, Mapper, RoomMap, area_of, default_area, write_csv
from .limits import Measure, rounded_down
from .picture import page_of, page_step
from .proposals import SURE, Chooser, NoPlace, Proposal, measure
from .reading import Programs, Ways

DEFAULT_STEP = {"mm": 5.0, "inch": 0.2}  # of a map, in these units
STEPS = {"mm": (0.01, 1000.0), "inch": (0.0005, 40.0)}  # the least and the greatest, in these units
LARGEST = 1e6
MOST_PLACES = 100
UTF8_MARK = b"\xef\xbb\xbf"


class NotUnderstood(Exception):
    """A program that is not understood with certainty: no answer holds. `reasons`: (program, finding)."""

    def __init__(self, reasons: list[tuple[str, Finding]]) -> None:
        super().__init__("a program is not understood")
        self.reasons = reasons


@dataclass(slots=True)
class Request:
    """A call of `room`; lengths in the units of the setup, as they were given."""

    setup: Setup
    sources: list[Source]
    tool: int | None = None
    at: Point2 | None = None
    size: Point2 | None = None
    angle: float = 0.0
    part: str | None = None
    grid: Path | None = None
    page: Path | None = None
    step: float | None = None
    area: Area | None = None
    place: str | None = None
    count: int = 1
    along: str = "edge"
    over: float = 0.0
    write: bool = False
    _programs: Programs | None = field(default=None)

    @property
    def programs(self) -> Programs:
        if self._programs is None:
            self._programs = Programs(Judge(self.setup), self.sources, self.tool)
        return self._programs

    @property
    def step_mm(self) -> float:
        units = self.setup.units
        return to_mm(DEFAULT_STEP[units] if self.step is None else self.step, units)

    def read(self) -> Iterator[Ways]:
        """The ways of all programs, watched. Raises NotUnderstood at their end."""
        yield from self.programs.ways(progress_for)
        if self.programs.reasons:
            raise NotUnderstood(self.programs.reasons)


def point(option: str, text: str | None, names: str = "X,Y", example: str = "40,-12.5") -> Point2 | None:
    """The two numbers that an option gives as X,Y. Raises ValueError that names the option."""
    if text is None:
        return None
    x, y = _numbers(option, text, names, example)
    return x, y


def rectangle(option: str, text: str | None) -> Area | None:
    """The rectangle that an option gives as X0,Y0,X1,Y1. Raises ValueError that names the option."""
    if text is None:
        return None
    x0, y0, x1, y1 = _numbers(option, text, "X0,Y0,X1,Y1", "0,0,600,400")
    return x0, y0, x1, y1


def _numbers(option: str, text: str, names: str, example: str) -> list[float]:
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        values = []
    if len(values) != names.count(",") + 1 or not all(isfinite(value) and abs(value) <= LARGEST for value in values):
        raise ValueError(f"{option} {printable(text)}: write {names} without blanks, such as {example}")
    return values


def check(request: Request) -> None:
    """Raises ValueError where a call does not make sense."""
    if request.at is None and (request.part is not None or request.size is not None):
        raise ValueError("--part and --size need a place: --at X,Y")
    if request.part is not None and request.size is not None:
        raise ValueError("a part has its own size: give --part or --size, not both")
    if request.size is not None and min(request.size) <= 0:
        raise ValueError("--size must be positive")
    if not isfinite(request.angle):
        raise ValueError("--angle must be a number of degrees, such as 30")
    if request.angle and request.part is None and request.size is None:
        raise ValueError("--angle turns what --size or --part puts at --at X,Y: give one of them")
    least, most = STEPS[request.setup.units]
    if request.step is not None and not least <= request.step <= most:
        raise ValueError(f"--step must be from {least:g} to {most:g} {UNIT_WORD[request.setup.units]}")
    area = request.area
    if area is not None and not (area[0] < area[2] and area[1] < area[3]):
        raise ValueError("--area X0,Y0,X1,Y1: the second corner must lie beyond the first one")
    mapped = request.page is not None or request.grid is not None
    if request.step is not None and not mapped and request.place is None:
        raise ValueError("--step goes with --page, --grid or --place")
    if area is not None and not mapped and request.along != "anywhere":
        raise ValueError("--area goes with --page, --grid or --place NAME --along anywhere")
    if request.place is None and (request.write or request.over or request.count != 1 or request.along != "edge"):
        raise ValueError("--count, --along, --over and --write go with --place NAME")
    if request.along not in ("edge", "anywhere"):
        raise ValueError(f"--along {printable(request.along)}: write edge or anywhere")
    if not 1 <= request.count <= MOST_PLACES or not 0 <= request.over <= LARGEST:
        raise ValueError(f"--count must be from 1 to {MOST_PLACES}, and --over not negative")
    if request.at is None and request.grid is None and request.page is None and request.place is None:
        raise ValueError("say what is asked: --at X,Y, --page FILE.html, --grid FILE.csv or --place NAME")
    if not request.setup.tools:
        raise ValueError("the setup has no tools")


def carry_out(request: Request) -> None:
    """Answers a call; all that it asks for is written, or nothing. Raises ValueError for a call that is wrong,
    NotUnderstood, NoPlace, SourceChanged, and OSError."""
    check(request)
    try:
        if request.at is not None:
            print(place_answer(request, request.at))
        said = _write(request)
    except (OSError, MemoryError):
        raise
    except Exception:
        for source in request.sources:
            source.check_unchanged()  # two halves of two programs may be anything
        raise
    for text in (*said, not_checked_with(request.setup)):
        _say(text)


def _write(request: Request) -> list[str]:
    """Writes the files that a call asks for; returns what is to be said of them."""
    said = []
    with delivery() as files:
        if request.grid is not None:
            said.append(_add_grid(request, request.grid, files))
        if request.page is not None:
            said.append(_add_map(request, request.page, files))
        if request.place is not None:
            said += propose(request, request.place, files)
        for source in request.sources:
            source.check_unchanged()
        if request.write:  # nothing of what somebody has written into it meanwhile may be lost
            check_unchanged(request.setup)
        files.release()
    return said


def place_answer(request: Request, at: Point2) -> str:
    """The answer about one place, one line."""
    setup = request.setup
    if request.part is not None:
        asked: Asked = ask_part(setup, request.part, at, request.angle)
    else:
        asked = ask_place(setup, at, request.size, request.angle)
    footprints = [*asked.footprints, *([asked.standing] if asked.standing is not None else [])]
    limits = Measure(request.programs.judge, footprints).take_all(request.read()).limits
    return sentence(asked, answer(asked, limits), setup, [source.name for source in request.sources])


def map_of(request: Request) -> RoomMap:
    """The map that a call asks for."""
    return Mapper(request.programs.judge, _area(request), request.step_mm).take_all(request.read()).map()


def _area(request: Request) -> Area:
    """What is asked about, mm."""
    if request.area is None:
        return default_area(request.setup) or area_of(request.programs.ways())
    x0, y0, x1, y1 = (to_mm(value, request.setup.units) for value in request.area)
    return x0, y0, x1, y1


def _add_grid(request: Request, place: Path, files: Delivery) -> str:
    """Prepares the file of the map; returns what is to be said of it."""
    found = map_of(request)
    files.add(place, lambda out: write_csv(out, found, request.setup))
    rows, columns = found.hard.shape
    return (f"the map of {columns} x {rows} cells is in {printable(str(place))}; it holds for an empty table: what"
            " stands there now is not in it")


def _add_map(request: Request, place: Path, files: Delivery) -> str:
    """Prepares the page of the maps; returns what is to be said of it."""
    area = _area(request)
    step = request.step_mm if request.step is not None else page_step(area, request.setup)
    page = page_of(request.programs, request.read(), area, step)
    files.add(place, lambda out: write_room(out, page))
    return f"the maps are in {printable(str(place))}; printed at 100 %, they go on at 1:1"


def propose(request: Request, name: str, files: Delivery) -> list[str]:
    """Prints the best places for a part as obstacles of a setup file, and prepares the setup with them where it is
    asked for; returns what is to be said."""
    try:
        part = Parted(request.setup, name)
    except SetupError as error:
        raise ValueError(about_part(name, error, "--place")) from error
    along: Along = "anywhere" if request.along == "anywhere" else "edge"
    places = candidates(part, along, request.over, request.step, _area(request) if along == "anywhere" else None)
    found = measure(part, places, request.programs, request.read())
    chosen = Chooser(part, request.sources, request.tool, _say).choose(found, request.count)
    entries = [{"#": _comment(one, request.setup), **entry}
               for one, entry in zip(chosen.proposals, chosen.entries, strict=True)]
    print(blocks_text(entries), end="")
    said = [f"{len(places)} places were tried, at {len(places) - len(found)} of them a cut would touch the part"
            + (f"; of those at which rapids are lifted, {chosen.left_out} were left out" if chosen.left_out else "")]
    if one_sided([one.candidate.place for one in chosen.proposals], request.setup):
        said.append("they all stand to one side of the stock's middle; ask for more of them with --count, or for a"
                    " place of your own with --part and --at: a lift costs seconds, work that comes loose costs more")
    if request.write:
        said.append(_add_to_setup(request.setup, entries, files))
    return said


def one_sided(places: Sequence[Point2], setup: Setup) -> bool:
    """Whether three places or more (mm) do not surround the middle of the stock."""
    import shapely

    stock = setup.stock
    if stock is None or len(places) < 3:
        return False
    middle = shapely.Point(stock.corner[0] + stock.size[0] / 2, stock.corner[1] + stock.size[1] / 2)
    return not shapely.MultiPoint(places).convex_hull.intersects(middle)


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _comment(one: Proposal, setup: Setup) -> str:
    hard = "no cut comes near it" if one.hard == inf else \
        f"{length(rounded_down(one.hard, False), setup.units)} are left before a cut touches it"
    if one.easy >= SURE:
        return f"{hard}; no rapid is lifted for it"
    if one.cost < 0.05:
        return f"{hard}; rapids are lifted over it, which costs no time"
    timed = setup.machine.rapid_rate is not None and setup.machine.acceleration is not None
    cost = f"adds about {duration(max(one.cost, 0.0))}" if timed else \
        f"raises them by {length(max(one.cost, 0.0), setup.units)} in all"
    return f"{hard}; rapids are lifted for it, which {cost}"


def _add_to_setup(setup: Setup, entries: list[dict[str, Any]], files: Delivery) -> str:
    """Prepares the setup file with obstacles added; all that stands there stays as it is. Returns what is to be said.

    Raises SetupError where it is no longer the file that was loaded.
    """
    before = read_file(setup.path)
    text = text_with_obstacles(setup, entries)
    data = (UTF8_MARK if before.startswith(UTF8_MARK) else b"") + text.encode()
    load_setup_data(data, setup.path)
    files.add(setup.path, lambda out: out.writelines([data]))
    return f"{len(entries)} added to {printable(str(setup.path))}"

__all__ = ["NoPlace", "NotUnderstood", "Request", "carry_out", "point", "rectangle"]
