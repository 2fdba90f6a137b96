"""Packs the items of a page that has more of them than can be drawn: columns of whole numbers, deflated, in chunks.

The page's script unpacks a chunk (templates/packed.js) when something in it is asked for, and draws it. A chunk is two
JSON texts (RFC 8259), each deflated (RFC 1950) and written as base64 (RFC 4648): what tells of its items, and the
lines of the program round them, which are left out where the page would grow too large. Within it:

* lengths are whole numbers: heights of the log and what is left in 1e-6 mm, so that nothing is lost, places in
  micrometres; each is told as the difference to the one before it in its column, null where it is not known;
* a text is split into a template and its numbers (page_texts); texts of one template share columns;
* what repeats stands in a table once, and items have its number.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import IO, Any

from gcode_guard.record.findings import safe_text
from gcode_guard.record.log import millimetres, millimetres_rounded_up
from gcode_guard.record.page_model import HunkLine, Item, Place, Point
from gcode_guard.record.page_texts import Texts
from gcode_guard.record.page_words import FACTS, few
from gcode_guard.setup.model import Setup

CHUNK = 2_000  # items
LEVEL = 9  # of deflating
TAG = 64  # bytes round a block, at most

Section = tuple[float, float, str]
Explicit = tuple[list[int], list[int], list[int]]


@dataclass(frozen=True, slots=True)
class Chunk:
    """Where a chunk lies: its items (the first of them by number and line, and how many), and its two blobs."""

    number: int
    line: int
    count: int
    place: int
    size: int
    near: int

    @property
    def written(self) -> int:
        """Bytes on the page without the lines round it."""
        return _written(self.size)

    @property
    def written_near(self) -> int:
        """Bytes on the page of the lines round it."""
        return _written(self.near)


def _written(size: int) -> int:
    return (size + 2) // 3 * 4 + TAG


class Packer:
    """Takes items in their order and writes chunks of them to `blobs`. Memory: one chunk."""

    def __init__(self, blobs: IO[bytes], setup: Setup) -> None:
        self.blobs, self.setup = blobs, setup
        self.chunks: list[Chunk] = []
        self._items: list[Item] = []

    def add(self, item: Item) -> None:
        """Takes the next item."""
        self._items.append(item)
        if len(self._items) >= CHUNK:
            self.finish()

    def finish(self) -> None:
        """Writes what is left as a chunk."""
        items, self._items = self._items, []
        if not items:
            return
        told, near = (zlib.compress(json.dumps(columns, separators=(",", ":")).encode(), LEVEL)
                      for columns in (_columns(items), _near(items)))
        place = self.blobs.seek(0, 2)
        self.blobs.write(told + near)
        self.chunks.append(Chunk(items[0].number, items[0].line, len(items), place, len(told), len(near)))


@dataclass(slots=True)
class Fitted:
    """What of the packed items fits on a page: the chunks, each with whether the lines round it are there. `bare`: how
    many items are without them; `left_out`: how many are not there at all, `from_line`: the first of these."""

    chunks: list[tuple[Chunk, bool]] = field(default_factory=list)
    bare: int = 0
    left_out: int = 0
    from_line: int = 0


class Packed:
    """All packed items: `packers` are those of the reasons, the changes and the remarks. `tools`: the assembly of each
    tool from the tip up, (height above the tip, radius, part)."""

    def __init__(self, packers: Sequence[Packer], as_box: bool, tools: dict[int, list[Section]]) -> None:
        for packer in packers:
            packer.finish()
        self.blobs, self.setup = packers[0].blobs, packers[0].setup
        self.shelves = [packer.chunks for packer in packers]
        self.as_box, self.tools = as_box, tools
        self.count = sum(chunk.count for shelf in self.shelves for chunk in shelf)

    def fit(self, budget: int) -> Fitted:
        """As many chunks as fit into so many bytes: reasons and remarks before changes, what is told of an item before
        the lines round it."""
        reasons, changes, remarks = self.shelves
        taken: set[int] = set()
        for chunk in (*reasons, *remarks, *changes):
            if chunk.written > budget:
                break
            budget -= chunk.written
            taken.add(chunk.number)
        fitted = Fitted()
        for chunk in (chunk for shelf in self.shelves for chunk in shelf):
            if chunk.number not in taken:
                fitted.from_line = chunk.line if not fitted.left_out else min(fitted.from_line, chunk.line)
                fitted.left_out += chunk.count
                continue
            near = chunk.written_near <= budget
            budget -= chunk.written_near if near else 0
            fitted.bare += 0 if near else chunk.count
            fitted.chunks.append((chunk, near))
        return fitted

    def blocks(self, fitted: Fitted) -> Iterator[tuple[str, str]]:
        """The blocks of the page: name and text. The first says what there is."""
        yield "packed", self.header(fitted.chunks)
        for place, (chunk, near) in enumerate(fitted.chunks):
            self.blobs.seek(chunk.place)
            yield f"packed-{place}", base64.b64encode(self.blobs.read(chunk.size)).decode()
            if near:
                yield f"packed-{place}-near", base64.b64encode(self.blobs.read(chunk.near)).decode()

    def header(self, chunks: Sequence[tuple[Chunk, bool]]) -> str:
        """The first block: the bench, and which chunks there are."""
        told = {**_bench(self.setup, self.as_box, self.tools), "count": self.count, "facts": FACTS,
                  "chunks": [[chunk.number, chunk.line, chunk.count, int(near), self._shelf(chunk)]
                             for chunk, near in chunks]}
        return base64.b64encode(zlib.compress(json.dumps(told).encode(), LEVEL)).decode()

    def _shelf(self, chunk: Chunk) -> int:
        return next(place for place, shelf in enumerate(self.shelves) if chunk in shelf)

    def close(self) -> None:
        """Gives the temporary file back."""
        self.blobs.close()


def _bench(setup: Setup, as_box: bool, tools: dict[int, list[Section]]) -> dict[str, Any]:
    """What the script needs of the setup to draw with."""
    solids = [{"of": number, "top": solid.top, "tolerance": solid.tolerance,
               "pieces": [[piece.vertices, piece.radius] for piece in solid.pieces]}
              for number, obstacle in enumerate(setup.obstacles) for solid in obstacle.solids]
    stock = setup.stock
    return {"units": setup.units, "box": as_box, "above": setup.clearance.above, "beside": setup.clearance.beside,
            "names": [safe_text(obstacle.name) for obstacle in setup.obstacles], "solids": solids, "tools": tools,
            "table": setup.table_z, "stock": stock and [stock.corner, stock.size, stock.top, stock.thickness]}


# Columns ------------------------------------------------------------------------------------------------------


def whole(value: float | None, per: float) -> int | None:
    """A number as whole ones, `per` of them to one."""
    return None if value is None else round(value * per)


def differences(values: Iterable[int | None]) -> list[int | None]:
    """Each number less the one before it; None stays, and does not count."""
    last, told = 0, []
    for value in values:
        told.append(None if value is None else value - last)
        last = last if value is None else value
    return told


class _Table:
    """What repeats, each once, and the numbers under which the items have it."""

    def __init__(self) -> None:
        self.rows: dict[Any, int] = {}
        self.numbers: list[int] = []

    def add(self, row: Any) -> None:
        self.numbers.append(self.rows.setdefault(row, len(self.rows)))

    @property
    def told(self) -> list[Any]:
        return [list(self.rows), self.numbers]


def _columns(items: Sequence[Item]) -> dict[str, Any]:
    def lengths(of: Callable[[Item], float | None]) -> list[int | None]:
        return differences(whole(of(item), 1e6) for item in items)

    sentences, advice, own = Texts(), Texts(), Texts()
    kinds, names, marks = _Table(), _Table(), _Table()
    for item in items:
        sentences.add(item.sentence)
        advice.add(item.advice)
        kinds.add((item.state, item.kind, item.title))
        names.add(", ".join(few(item.obstacles)))
        rows = [row for row in item.hunk if row.own]
        marks.add("".join(row.mark for row in rows))
        for row in rows:
            own.add(row.text)
    return {
        "line": differences(item.line for item in items),
        "kind": kinds.told, "names": names.told, "sentence": sentences.told, "advice": advice.told,
        "marks": marks.told, "own": own.told,
        "programmed": lengths(lambda item: millimetres(item.programmed_z)),
        "needed": lengths(lambda item: millimetres_rounded_up(item.needed_z)),
        "written": lengths(lambda item: millimetres(item.written_z)),
        "from": lengths(lambda item: item.from_z), "by": lengths(lambda item: millimetres(item.by)),
        "added": differences(whole(item.added_s, 1e3) for item in items),
        "cause": [None if item.cause is None else item.cause - item.line for item in items],
        **_sights(items), **_ways(items),
    }


def _near(items: Sequence[Item]) -> dict[str, Any]:
    """The lines round the items, each once, but for those of the items themselves."""
    lines: dict[int, list[HunkLine]] = {}
    for item in items:
        number = item.line
        found: dict[int, list[HunkLine]] = {}
        for row in item.hunk:
            number = row.number if row.number is not None else number
            if not row.own:
                found.setdefault(number, []).append(row)
        lines.update(found)
    for item in items:
        lines.pop(item.line, None)
    marks, texts = _Table(), Texts()
    for line in sorted(lines):
        marks.add("".join(row.mark for row in lines[line]))
        for row in lines[line]:
            texts.add(row.text)
    return {"line": differences(sorted(lines)), "marks": marks.told, "texts": texts.told}


def _sights(items: Sequence[Item]) -> dict[str, Any]:
    """What the side views are drawn from; items without one are null in `tool`."""
    sights = [item.sight for item in items]
    parts, flags = _Table(), _Table()
    along, across = [], []
    for sight in sights:
        parts.add(None if sight is None else (sight.tool, sight.part))
        flags.add(None if sight is None else (int(sight.rapid), int(sight.led_round), int(sight.arc), sight.corner,
                                              sight.grow))
        on_way = None if sight is None else _along(sight.start, sight.end, sight.tight)
        along.append(whole(on_way, 1e3))
        across.append(None if sight is None or on_way is not None else sight.tight)

    def column(of: Callable[[Any], float | None], per: float) -> list[int | None]:
        return differences(None if sight is None else whole(of(sight), per) for sight in sights)

    places = {f"{name}{axis}": column(lambda sight, name=name, k=k: getattr(sight, name)[k], 1e3)  # type: ignore[misc]
              for name in ("start", "end") for k, axis in enumerate("xyz")}
    return {
        "part": parts.told, "flags": flags.told, **places, "along": differences(along),
        "tightx": differences(None if place is None else whole(place[0], 1e3) for place in across),
        "tighty": differences(None if place is None else whole(place[1], 1e3) for place in across),
        "tightz": column(lambda sight: sight.tight_z, 1e3), "lowest": column(lambda sight: sight.programmed_z, 1e3),
        "clear": column(lambda sight: millimetres_rounded_up(sight.needed_z), 1e6),
        "over": column(lambda sight: sight.left_over, 1e6), "beside": column(lambda sight: sight.left_beside, 1e6),
    }


def _along(start: Place, end: Place, tight: Point | None) -> float | None:
    """How far along its way a move is tightest, mm; None where that is not on the straight way."""
    if tight is None or start[0] is None or start[1] is None or end[0] is None or end[1] is None:
        return None
    (dx, dy), (px, py) = (end[0] - start[0], end[1] - start[1]), (tight[0] - start[0], tight[1] - start[1])
    long = (dx * dx + dy * dy) ** 0.5
    along = (px * dx + py * dy) / long if long > 0 else 0.0
    off = abs(px * dy - py * dx) / long if long > 0 else (px * px + py * py) ** 0.5
    return along if off < 0.002 and -0.002 <= along <= long + 0.002 else None


def _ways(items: Sequence[Item]) -> dict[str, Any]:
    """The ways seen from above, as programmed and as mended: for each a word that says where each coordinate is found
    (p: as before, s and e: as at the start and the end of the worst move, w: the written height, x: the next explicit
    one of its axis, n: not known), `|` between ways and `/` between the two. Cuts that meet something stand as
    they are."""
    words = _Table()
    explicit: Explicit = ([], [], [])
    for item in items:
        words.add("/".join("|".join(_word(item, way, explicit) for way in ways)
                           for ways in (item.programmed, item.mended)))
    cuts = {str(place): [[[whole(c, 1e3) for c in point] for point in line] for line in item.cuts]
            for place, item in enumerate(items) if item.cuts}
    marks = {str(place): [whole(c, 1e3) for c in item.mark] for place, item in enumerate(items)
             if item.sight is None and item.mark is not None}
    return {"ways": words.told, **{f"way{axis}": differences(values) for axis, values in zip("xyz", explicit,
                                                                                            strict=True)},
            "cuts": cuts, "mark": marks}


def _word(item: Item, way: Sequence[Place], explicit: Explicit) -> str:
    word, sight = "", item.sight
    before: list[int | None] = [None, None, None]
    for place in way:
        now = [whole(value, 1e3) for value in place]
        for axis, value in enumerate(now):
            if value is None:
                word += "n"
            elif value == before[axis]:
                word += "p"
            elif sight is not None and value == whole(sight.start[axis], 1e3):
                word += "s"
            elif sight is not None and value == whole(sight.end[axis], 1e3):
                word += "e"
            elif axis == 2 and value == whole(item.written_z, 1e3):
                word += "w"
            else:
                word += "x"
                explicit[axis].append(value)
        before = now
    return word
