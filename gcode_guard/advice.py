"""Where an obstacle that cuts run into could stand instead: the smallest move in X or Y, or lowering of its top.

What may not touch the obstacle are the cuts of the program and the places at which its runs of rapids end; everything
else a lift takes over. An obstacle is pushed away in one direction, out of everything that it meets on the way, until
it meets nothing: a convex footprint and a straight way touch each other over one interval of the push, so no place is
passed over.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from math import ceil

import numpy as np

from .judge import Judge
from .program.lane import Stretch
from .program.moves import Kind, Move, Moves, Step, table
from .program.state import known
from .record.summary import length
from .repair.run import Leg, Runs
from .setup.model import Obstacle, Setup
from .space.clearance import Sweeps, encounters
from .space.hulls import Hull
from .space.scene import Scene, SceneSolid

FARTHEST = 100.0  # mm, beyond which a move of the obstacle is no advice
MOST_WAYS = 200_000  # ways near an obstacle that are kept; with more there is no advice
FINEST = 0.01  # mm, to which advice is rounded up
ROUNDS = 200
BATCH = 4000
DIRECTIONS = (("X", 1.0, (1.0, 0.0)), ("X", -1.0, (-1.0, 0.0)), ("Y", 1.0, (0.0, 1.0)), ("Y", -1.0, (0.0, -1.0)))


@dataclass(slots=True)
class _Ways:
    """What may not touch one obstacle: parts of sweeps near it, by the number of the tool."""

    parts: dict[int, list[Sweeps]] = field(default_factory=dict)
    count: int = 0


def advise(steps: Iterable[Step | Stretch], judge: Judge, obstacles: Iterable[int]) -> dict[int, str]:
    """What would clear each of these obstacles of every cut and every end of a run, in words.

    Reads the program once more. Lengths are told in the setup's units.
    """
    ways = {obstacle: _Ways() for obstacle in obstacles}
    runs = Runs()
    waiting: list[Move] = []
    for step in steps:
        if isinstance(step, Stretch):
            _collect(judge, _of_stretch(step), ways)
            continue
        waiting += [move for move in step.moves if move.kind != Kind.RAPID and move.exact]
        runs.add(step, [Leg(move) for move in step.moves])
        waiting += _ends(runs)
        if len(waiting) >= BATCH:
            _collect(judge, table(waiting), ways)
            waiting = []
    runs.close()
    _collect(judge, table(waiting + _ends(runs)), ways)
    return {obstacle: _sentence(judge, obstacle, found) for obstacle, found in ways.items()}


def _ends(runs: Runs) -> list[Move]:
    """The places at which the runs end that are complete, as ways of no length."""
    closed, runs.closed = runs.closed, []
    ends = []
    for run in closed:
        if run.items and run.items[-1].legs and all(known(c) for c in run.end):
            move = run.items[-1].legs[-1].move
            ends.append(replace(move, kind=Kind.CUT, start=run.end, end=run.end, upright=True))
    return ends


def _of_stretch(stretch: Stretch) -> Moves:
    """The cuts of a stretch, and the places at which its runs end: where a rapid led to a cut."""
    moves = stretch.moves
    cuts = np.flatnonzero(moves.kind != Kind.RAPID)
    ends = cuts[moves.kind[cuts - 1] == Kind.RAPID]
    ends = ends[ends > 0]
    cut, end = moves.take(cuts), moves.take(ends)
    return cut.followed_by(replace(end, kind=np.full(len(end), int(Kind.CUT)), end=end.start, low=end.start,
                                   high=end.start, upright=np.ones(len(end), dtype=bool)))


def _collect(judge: Judge, columns: Moves, ways: dict[int, _Ways]) -> None:
    """Keeps what comes within FARTHEST of an obstacle, low enough to meet it."""
    if not len(columns):
        return
    for tool in np.unique(columns.tool).tolist():
        rows = np.flatnonzero(columns.tool == tool)
        _, sweeps = judge.sweeps(columns, rows, corner=False)
        for number in judge.tools(tool):
            for obstacle, found in ways.items():
                near = encounters(_scene(judge.setup, obstacle), judge.assemblies[number], sweeps, FARTHEST, 0.0)
                kept = np.unique(near.move)
                found.count += len(kept)
                if len(kept) and found.count <= MOST_WAYS:
                    found.parts.setdefault(number, []).append(sweeps.take(kept))


def _scene(setup: Setup, obstacle: int, lower: float = 0.0) -> Scene:
    solids = setup.obstacles[obstacle].solids
    return Scene.build([
        SceneSolid(0, [Hull(np.array(piece.vertices, dtype=float).reshape(-1, 2), piece.radius)
                       for piece in solid.pieces], solid.top - lower, solid.tolerance) for solid in solids])


def _sentence(judge: Judge, obstacle: int, ways: _Ways) -> str:
    setup = judge.setup
    name = setup.obstacles[obstacle].name
    if ways.count > MOST_WAYS:
        return f"move or lower \"{name}\""
    tries = []
    for axis, sign, direction in DIRECTIONS:
        far = _push(judge, obstacle, ways, direction)
        if far is not None:
            tries.append((far, f"by {length(far, setup.units)} to {'+' if sign > 0 else '-'}{axis}"))
    lower = _lowering(judge, obstacle, ways)
    options = []
    if tries:
        options.append(f"move \"{name}\" {min(tries)[1]}")
    if lower is not None:
        options.append(f"lower its top by {length(lower, setup.units)}" if tries
                       else f"lower the top of \"{name}\" by {length(lower, setup.units)}")
    if not options:
        return (f"no move of \"{name}\" in X or Y below {length(FARTHEST, setup.units)} clears every cut, nor does"
                " lowering it; take it out, or change the cuts")
    return " or ".join(options) + ", which clears every move of the program"


def _round_up(far: float) -> float:
    return ceil(far / FINEST - 1e-6) * FINEST


def _push(judge: Judge, obstacle: int, ways: _Ways, direction: tuple[float, float]) -> float | None:
    """How far the obstacle must move in one direction to meet nothing, mm; None for farther than FARTHEST."""
    scene = _scene(judge.setup, obstacle)
    far = 0.0
    for _ in range(ROUNDS):
        beyond = far
        for number, parts in ways.parts.items():
            for sweeps in parts:
                beyond = max(beyond, _out_of(judge, scene, number, sweeps, direction, far))
        if beyond > FARTHEST:
            return None
        if beyond == far:
            return _round_up(far)
        far = _round_up(beyond)
    return None


def _out_of(judge: Judge, scene: Scene, number: int, sweeps: Sweeps, direction: tuple[float, float],
            far: float) -> float:
    """Where the push that stands at `far` leaves everything behind that it meets there."""
    def meets(part: Sweeps, push: np.ndarray) -> np.ndarray:
        found = encounters(scene, judge.assemblies[number], _pushed(part, push, direction), 0.0, 0.0)
        touched = np.zeros(len(part), dtype=bool)
        touched[found.move] = True
        return touched

    met = meets(sweeps, np.full(len(sweeps), far))
    if not met.any():
        return far
    part = sweeps.take(met)
    low, high = np.full(len(part), far), np.full(len(part), FARTHEST + 1.0)
    if meets(part, high).any():
        return FARTHEST + 1.0
    while (high - low).max() > FINEST / 10:
        middle = (low + high) / 2
        inside = meets(part, middle)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return float(high.max())


def _pushed(sweeps: Sweeps, push: np.ndarray, direction: tuple[float, float]) -> Sweeps:
    """The sweeps as the obstacle sees them once it is pushed: moved the other way."""
    by = np.zeros((len(sweeps), 3))
    by[:, :2] = -push[:, None] * np.array(direction)
    return Sweeps(sweeps.start + by, sweeps.end + by, sweeps.box, sweeps.margin, sweeps.sink, sweeps.grow)


def _lowering(judge: Judge, obstacle: int, ways: _Ways) -> float | None:
    """By how much the top must come down, mm; None where nothing of the obstacle would be left over the table."""
    scene = _scene(judge.setup, obstacle)
    deepest = 0.0
    for number, parts in ways.parts.items():
        for sweeps in parts:
            found = encounters(scene, judge.assemblies[number], sweeps, 0.0, 0.0)
            deepest = max(deepest, float(found.depth.max(initial=0.0)))
    by = _round_up(deepest)
    return by if by < min(FARTHEST, _height(judge.setup, judge.setup.obstacles[obstacle])) else None


def _height(setup: Setup, obstacle: Obstacle) -> float:
    return obstacle.top - setup.table_z if setup.table_z is not None else FARTHEST
