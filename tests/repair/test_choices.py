"""Which repair of a run is chosen, by hand, under times that tell one reason from another."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from gcode_guard.program.moves import Move
from gcode_guard.repair.choices import fastest
from gcode_guard.repair.planner import Plan
from gcode_guard.repair.run import Run
from tests.repair.wall import CORNERS, HOME, LOW, TWO, ZERO, Planned, limits

Times = Callable[[float, float, float], float]


def free(x: float, y: float, z: float) -> float:
    """Nothing takes time: what changes fewer blocks is chosen, then what goes across lower."""
    return 0.0


def lifts(x: float, y: float, z: float) -> float:
    """Ways up and down alone take time."""
    return abs(z)


def moves(x: float, y: float, z: float) -> float:
    """Every rapid that leads somewhere takes a second."""
    return float((x, y, z) != (0.0, 0.0, 0.0))


class Chosen(Planned):
    """What became of a program whose runs are mended as the search chose."""

    def _plan(self, run: Run) -> None:
        assert run.start is not None
        choices = fastest(run, run.start[2], self.room)
        Plan(run, self.style, self.room, run.start[2], self.drafts, choices=choices).carry_out()


def chosen(program: str, times: Times, room: dict[str, Any] | None = None, **more: Any) -> str:
    planned = Chosen(LOW + program, limits(seconds=times, **(room or {})), **more)
    assert not planned.said, planned.said
    return planned.text.removeprefix(LOW)


BOBBING = "G0 Z5\nG0 X200\nG0 Z2\nG0 X210\nG0 Z5\nG0 X0\nG1 Z-1\n"
AROUND = "G0 X60.0 Y300.0\nG0 X140.0 Y300.0\n"
BACK = "G0 X60.0 Y300.0\nG0 X140.0 Y300.0\nG0 X0.0 Y100.0\n"
ROUND = {"way_round": lambda move, z: CORNERS}
WHEN_FASTER = ROUND | {"faster_round": lambda move, height, need: None}
TOO_LOW = ROUND | {"ceiling": 20.0}

# What is to be mended, the times, what becomes of it, and what else there is.
PAIRS: dict[str, tuple[str, Times, str, dict[str, Any]]] = {
    "a block that leads nowhere takes no time": (
        BOBBING, moves, "G0 Z23.0\nG0 X200\nG0 Z23.0\nG0 X210\nG0 Z23.0\nG0 X0\nG0 Z5.0\nG1 Z-1\n", {}),
    "up at once instead of in two steps": (
        "G0 Z5\nG0 X50\nG0 Z10\nG0 X200\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X50\nG0 Z23.0\nG0 X200\nG0 Z10.0\nG1 Z-1\n", {}),
    "down on the way, which is lower than down behind it": (
        "G0 Z30\nG0 X200 Z2\nG1 Z-1\n", free, "G0 Z30\nG0 X200 Z23.0\nG0 Z2\nG1 Z-1\n", {}),
    "the rest of the way up on the way": ("G0 X200 Z40\nM5\n", moves, "G0 Z23.0\nG0 X200 Z40\nM5\n", {}),
    "at once to what the second wall needs": (
        "G0 Z5\nG0 X400\nG0 Z2\nG0 X600\nG1 Z-1\n", moves,
        "G0 Z43.0\nG0 X400\nG0 Z43.0\nG0 X600\nG0 Z2.0\nG1 Z-1\n", {"walls": TWO}),
    "over the first wall on a slope up to what the second needs": (
        "G0 Z5\nG0 X400 Z2\nG0 X600\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X400 Z43.0\nG0 X600\nG0 Z2.0\nG1 Z-1\n", {"walls": TWO}),
    "up for the way over alone where the machine's coordinates say a height behind it": (
        "G0 Z5\nG0 X200\nG53 G0 Z80\nG0 X0\nG0 Z5\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X200\nG53 G0 Z80\nG0 X0\nG0 Z5\nG1 Z-1\n", ZERO),
    "up again behind a height in the machine's coordinates that is too low": (
        "G0 Z5\nG0 X200\nG53 G0 Z60\nG0 X0\nG0 Z5\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X200\nG53 G0 Z60\nG0 Z23.0\nG0 X0\nG0 Z5\nG1 Z-1\n", ZERO),
    "a word before a way across in the machine's coordinates": (
        "G0 Z5\nG0 X50\nG53 G0 X210\nG0 Z3\nG0 X220\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X50\nG53 G0 X210\nG0 Z3\nG0 X220\nG1 Z-1\n", ZERO),
    "nothing behind a way home, which is above everything": (
        "G0 Z5\nG0 X200\nG91 G28 Z0\nG90\nG0 X0\nG0 Z5\nG1 Z-1\n", moves,
        "G0 Z23.0\nG0 X200\nG91 G28 Z0\nG90\nG0 X0\nG0 Z5\nG1 Z-1\n", HOME),
    "over where that is as few rapids": (
        "G0 Z5\nG0 X200\nG1 Z-1\n", moves, "G0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\n", {"room": WHEN_FASTER}),
    "round where going up takes time": (
        "G0 Z5\nG0 X200\nG1 Z-1\n", lifts, "G0 Z5\n" + AROUND + "G0 X200.0 Y100.0\nG1 Z-1\n", {"room": WHEN_FASTER}),
    "over by default, whatever it takes": (
        "G0 Z5\nG0 X200 Z2\nG1 Z-1\n", lifts, "G0 Z5\nG0 Z23.0\nG0 X200\nG0 Z2\nG1 Z-1\n", {"room": ROUND}),
    "round at the top, staying there": (
        "G0 Z5\nG0 X200\nG0 X210\nG0 Z2\nG0 X0\nG1 Z-1\n", moves,
        "G0 Z20.0\n" + AROUND + "G0 X200.0 Y100.0\nG0 X210\nG0 Z20.0\n" + BACK + "G0 Z2.0\nG1 Z-1\n",
        {"room": TOO_LOW}),
    "a slope round at the top stays there too": (
        "G0 Z5\nG0 X200 Z2\nG0 X210\nG0 Z3\nG0 X0\nG1 Z-1\n", moves,
        "G0 Z20.0\n" + AROUND + "G0 X200.0 Y100.0\nG0 X210\nG0 Z20.0\n" + BACK + "G0 Z3.0\nG1 Z-1\n",
        {"room": TOO_LOW}),
}


@pytest.mark.parametrize(("before", "times", "after", "more"), PAIRS.values(), ids=PAIRS.keys())
def test_pairs(before: str, times: Times, after: str, more: dict[str, Any]) -> None:
    assert chosen(before, times, **more) == after


def test_no_more_than_a_dozen_ways_round_are_looked_for() -> None:
    looked: list[float] = []

    def way_round(move: Move, z: float) -> list[tuple[float, float]]:
        looked.append(z)
        return CORNERS

    run = "".join(f"G0 Z{5 + k / 10}\nG0 X{200 if k % 2 == 0 else 0}\n" for k in range(15)) + "G1 Z-1\n"
    chosen(run, lifts, room=WHEN_FASTER | {"way_round": way_round})
    assert len(looked) == 12


def choices(program: str, room: dict[str, Any] | None = None, **rules: Any) -> list[int]:
    """For how many items something was chosen, run by run."""
    found: list[int] = []

    class Asked(Planned):
        def _plan(self, run: Run) -> None:
            assert run.start is not None
            found.append(len(fastest(run, run.start[2], self.room)))

    Asked(program, limits(**({"seconds": moves} | (room or {}))), **rules)
    return found


TWO_LEVELS = "G0 Z5\nG0 X50\nG0 Z6\nG0 X200\nG1 Z-1\n"
CHOICE: dict[str, tuple[str, dict[str, Any], list[int]]] = {
    "two heights": (LOW + TWO_LEVELS, {}, [0, 4]),
    "times are not known": (LOW + TWO_LEVELS, {"room": {"seconds": None}}, [0, 0]),
    "an undercut tool": (LOW + TWO_LEVELS, {"room": {"rise_from": 0.0}}, [0, 0]),
    "nothing to mend": (LOW + "G0 Z5\nG0 X50\nG0 Z6\nG0 X60\nG1 Z-1\n", {}, [0, 0]),
    "one word, before what is to be mended": (LOW + "G0 Z5\nG0 X200\nG1 Z-1\n", {}, [0, 0]),
    "no word before it": (LOW + "G0 X200\nG0 Z5\nG1 Z-1\n", {}, [0, 0]),
    "two that are to be mended, a word between them": (LOW + "G0 X200\nG0 Z5\nG0 X0\nG1 Z-1\n", {}, [0, 3]),
    "a word behind both": (LOW + "G0 X200\nG0 X0\nG0 Z5\nG1 Z-1\n", {}, [0, 0]),
    "a slope": (LOW + "G0 X200 Z5\nG1 Z-1\n", {}, [0, 1]),
    "a slope that is clear": (LOW + "G0 X50 Z5\nG0 X200\nG1 Z-1\n", {}, [0, 0]),
    "one word, where a way round may be faster": (LOW + "G0 Z5\nG0 X200\nG1 Z-1\n", {"room": WHEN_FASTER}, [0, 2]),
    "where one must be led round": (LOW + "G0 Z5\nG0 X200\nG1 Z-1\n", {"room": TOO_LOW}, [0, 2]),
    "just as high as the machine can": (LOW + TWO_LEVELS, {"room": {"ceiling": 23.0}}, [0, 4]),
    "higher than that, and no way round": (LOW + TWO_LEVELS, {"room": {"ceiling": 22.9}}, [0, 0]),
    "under cutter compensation": ("G0 Z6\nG41 D1\nG1 X1 F100\nG0 Z5\nG0 X50\nG0 Z6\nG0 X200\nG1 Z-1\n", {}, [0, 0]),
    "before a way home": (LOW + TWO_LEVELS.removesuffix("G1 Z-1\n") + "G91 G28 Z0\nG90\nM5\n", HOME, [0, 4]),
    "behind one": (LOW + "G91 G28 Z0\nG90\n" + TWO_LEVELS, HOME, [0, 4]),
    "on to a hole": (LOW + "G0 Z5\nG0 X50\nG0 Z6\nG98 G81 X200 Z-1 R2 F100\n", {}, [0, 3, 0]),
    "behind a hole": (LOW + "G98 G81 X20 Z-1 R2 F100\nG80\n" + TWO_LEVELS, {}, [0, 0, 4]),
    "behind a hole that may have left it at either level": (
        LOW + "G0 Z5\nG81 X20 Z-1 R2 F100\nG80\nG0 X30\n" + TWO_LEVELS, {}, [0, 0, 0]),
}


@pytest.mark.parametrize(("program", "more", "count"), CHOICE.values(), ids=CHOICE.keys())
def test_where_there_is_a_choice(program: str, more: dict[str, Any], count: list[int]) -> None:
    assert choices(program, **more) == count
