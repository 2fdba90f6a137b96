"""The proof over two programs: AFTER does what BEFORE does, and its rapids are safe (promises 1 and 2).

Both are read from scratch, and compared in step. It knows nothing of how repairs are made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from .comparison import Comparison, Different, Side
from .events import AnyReader, Event, NotFollowed, mended, programmed, read_to_end
from .judge import Judge
from .program.errors import NotUnderstood
from .program.lane_offer import Known, Offer
from .program.lane_reader import LaneReader
from .program.reader import Reader
from .program.scan import Facts, look, look_through
from .rules import rules_of, trouble_with_tools
from .setup.model import Setup
from .source import Source

Program = Source | Callable[[], Iterable[bytes]]


@dataclass(slots=True, frozen=True)
class Proof:
    """What came of a proof. Where it does not hold: the first difference in program order, its lines (from 1; None
    where there is none) and what it means. `understood` is False where BEFORE is not."""

    holds: bool
    understood: bool = True
    before_line: int | None = None
    after_line: int | None = None
    what: str = ""


def verify(before: Program, after: Program, setup: Setup, tool: int | None = None, *, lane: bool = True,
           known: Known | None = None) -> Proof:
    """Proves AFTER against BEFORE on one bench. `tool` is the one in the spindle at the start, where it is given.

    A program is a source, or a callable that gives its raw lines anew. Without `lane` every block is read by the exact
    reader: slower, and with the same outcome. `known` are stretches of BEFORE that were read and judged on this bench
    already. Raises OSError where a program cannot be read.
    """
    try:
        reader = _reader(before, setup, tool, lane, stretches=False, facts=known.facts if known is not None else None)
    except NotFollowed as reason:
        return Proof(False, False, reason.line, None, reason.what)
    events = programmed(reader)
    try:
        now = _reader_of_after(after, setup, tool, lane)
        if reader.interpreter.rules == now.interpreter.rules:
            _compare(events, now, setup, known or Known())
        else:  # the same bytes may not mean the same
            _compare((event for event in events if isinstance(event, Event)), now, setup, Known())
    except NotFollowed as reason:
        return Proof(False, False, reason.line, None, reason.what)
    except Different as found:
        try:
            read_to_end(events)
        except NotFollowed as reason:
            return Proof(False, False, reason.line, None, reason.what)
        return Proof(False, True, found.before_line, found.after_line, found.what)
    return Proof(True)


def _compare(before: Iterator[Event | Offer], now: AnyReader, setup: Setup, known: Known) -> None:
    stock = setup.stock
    floor = stock.top + setup.clearance.above if stock is not None and setup.repair.air_feeds else None
    Comparison(Side(before), Side(mended(now, Judge(setup))), floor, known, setup.units).run()


def _reader_of_after(after: Program, setup: Setup, tool: int | None, lane: bool) -> AnyReader:
    try:
        return _reader(after, setup, tool, lane, stretches=True)
    except NotFollowed as reason:
        raise Different(None, reason.line, f"this is not understood: {reason.what}") from reason


def _reader(program: Program, setup: Setup, tool: int | None, lane: bool, stretches: bool,
            facts: Facts | None = None) -> AnyReader:
    """A reader of one program. Raises NotFollowed where it is not certain how to read it."""
    skip = setup.program.block_delete == "skip"
    if facts is None:
        facts = look_through(program, skip) if isinstance(program, Source) else look(program(), skip)
    trouble = trouble_with_tools(setup, facts, tool)
    if trouble is not None:
        raise NotFollowed(trouble[0], f"{trouble[1]} ({trouble[2]})")
    rules = rules_of(setup, facts, tool)
    try:
        if not isinstance(program, Source):
            return Reader(program(), rules, facts)
        if facts.calls or not lane:
            return Reader(program.lines(), rules, facts)
        return LaneReader(program, rules, facts, stretches=stretches)
    except NotUnderstood as error:
        raise NotFollowed(1, f"{error.what} ({error.advice})") from error
