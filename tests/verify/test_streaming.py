"""Both programs are read in step: neither runs ahead of the other by more than a batch, however long they are."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from gcode_guard.setup import Setup
from gcode_guard.verify import verify

from .conftest import BENCH

LENGTH = 7_000
MOST_AHEAD = 3_000  # blocks: a batch that is judged at once, and the look ahead for where ways meet

KINDS = {
    "cuts": lambda k: f"G1 X{k % 40} F300",
    "rapids alone": lambda k: f"G0 X{k % 40}",
    "upright rapids alone": lambda k: f"G0 Z{30 + k % 20}",
    "dwells": lambda k: "G4 P0.1",
}


@pytest.mark.parametrize("kind", KINDS)
def test_neither_program_runs_ahead(setup_of: Callable[[str], Setup], kind: str) -> None:
    taken = {"before": 0, "after": 0}
    widest = 0

    def lines(name: str) -> Iterator[bytes]:
        nonlocal widest
        for k in range(LENGTH):
            taken[name] += 1
            if min(taken.values()):
                widest = max(widest, abs(taken["before"] - taken["after"]))
            yield (KINDS[kind](k) + "\n").encode()

    def once(name: str) -> Callable[[], Iterator[bytes]]:
        looks = iter([iter([]), lines(name)])  # the first look over the program is not followed here
        return lambda: next(looks)

    assert verify(once("before"), once("after"), setup_of(BENCH)).holds
    assert taken == {"before": LENGTH, "after": LENGTH}
    assert widest <= MOST_AHEAD


def test_rapids_that_are_all_lifted(setup_of: Callable[[str], Setup]) -> None:
    """A run of thousands of rapids flown higher is followed rapid by rapid, not as one way round."""
    ways = [f"G0 X{k % 40} Y{k % 7}\n".encode() for k in range(3_000)]

    def program(*heights: str) -> list[bytes]:
        first, last = ([f"G0 Z{height}\n".encode()] for height in heights)
        return [b"G0 Z20\n", b"G1 Z5 F300\n", *first, *ways, *last, b"G1 Z-1\n"]

    before, after = program("5", "5"), program("30", "5")
    assert verify(lambda: before, lambda: after, setup_of(BENCH)).holds
    lower = [*after[:1500], b"G0 Z29\n", b"G0 Z4\n", *after[1500:]]
    proof = verify(lambda: before, lambda: lower, setup_of(BENCH))
    assert not proof.holds and proof.after_line == 1502


def test_a_way_that_parts_for_good_is_given_up(setup_of: Callable[[str], Setup]) -> None:
    before = [f"G0 X{k % 40} Y50\n".encode() for k in range(2_000)]
    after = [f"G0 X{k % 40} Y60\n".encode() for k in range(2_000)]
    proof = verify(lambda: before, lambda: after, setup_of(BENCH))
    assert not proof.holds and proof.before_line == proof.after_line == 1
