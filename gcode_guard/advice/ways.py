"""What may not come near an obstacle, wherever it stands: the cuts of a program, and the places at which it starts and
at which its runs of rapids end. Everything else a lift may take over."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from ..judge import Judge
from ..program.lane import Stretch
from ..program.moves import Kind, Move, Moves, Step, table
from ..program.state import Position, known
from ..repair.run import Leg, Runs
from ..setup.model import Obstacle
from ..space.assembly import Assembly
from ..space.clearance import Sweeps, encounters
from ..space.hulls import Hull
from ..space.scene import Scene, SceneSolid

FARTHEST = 100.0  # mm, beyond which a move of the obstacle is no advice
MOST_WAYS = 200_000  # ways near an obstacle that are kept; with more there is no advice
BATCH = 4000

Steps = Callable[[], Iterable[Step | Stretch]]


@dataclass(slots=True)
class Part:
    """Ways that may not touch the obstacle, with one assembly."""

    assembly: Assembly
    sweeps: Sweeps


@dataclass(slots=True)
class Ways:
    """What may not touch one obstacle."""

    parts: list[Part] = field(default_factory=list)
    count: int = 0

    @property
    def too_many(self) -> bool:
        return self.count > MOST_WAYS


def ways_near(steps: Iterable[Step | Stretch], judge: Judge, obstacles: Iterable[int]) -> dict[int, Ways]:
    """The ways that come within FARTHEST of each of these obstacles, low enough to touch it."""
    ways = {obstacle: Ways() for obstacle in obstacles}
    for columns in _columns(steps):
        _keep_all(judge, _without_traverses(judge, columns), ways)
    return ways


def scene_of(obstacle: Obstacle) -> Scene:
    """One obstacle alone."""
    return Scene.build([
        SceneSolid(0, [Hull(np.array(piece.vertices, dtype=float).reshape(-1, 2), piece.radius)
                       for piece in solid.pieces], solid.top, solid.tolerance) for solid in obstacle.solids])


def _columns(steps: Iterable[Step | Stretch]) -> Iterator[Moves]:
    """The cuts, the start, and the ends of runs as ways of no length."""
    runs = Runs()
    waiting: list[Move] = []
    begun = False
    for step in steps:
        if isinstance(step, Stretch):
            yield _of_stretch(step, with_start=not begun)
            begun = True
            continue
        if not begun and step.moves:
            begun = True
            waiting += _stand(step.moves[0], step.moves[0].start)
        waiting += [move for move in step.moves if move.kind != Kind.RAPID and move.exact]
        runs.add(step, [Leg(move) for move in step.moves])
        waiting += _ends(runs)
        if len(waiting) >= BATCH:
            yield table(waiting)
            waiting = []
    runs.close()
    yield table(waiting + _ends(runs))


def _stand(move: Move, place: Position) -> list[Move]:
    """A place as a way of no length, where it is known."""
    if not all(known(coordinate) for coordinate in place):
        return []
    return [replace(move, kind=Kind.CUT, start=place, end=place, upright=True)]


def _ends(runs: Runs) -> list[Move]:
    """The places at which the runs end that are complete."""
    closed, runs.closed = runs.closed, []
    return [end for run in closed if run.items and run.items[-1].legs
            for end in _stand(run.items[-1].legs[-1].move, run.end)]


def _of_stretch(stretch: Stretch, with_start: bool) -> Moves:
    """The cuts of a stretch, and the places at which its runs end: where a rapid led to a cut."""
    moves = stretch.moves
    cuts = np.flatnonzero(moves.kind != Kind.RAPID)
    ends = cuts[moves.kind[cuts - 1] == Kind.RAPID]
    ends = ends[ends > 0]
    if with_start and moves.exact[0]:
        ends = np.concatenate([[0], ends])
    return moves.take(cuts).followed_by(_points(moves.take(ends), moves.take(ends).start))


def _points(moves: Moves, places: np.ndarray) -> Moves:
    """Moves as ways of no length at some places, (n, 3) mm."""
    return replace(moves, kind=np.full(len(moves), int(Kind.CUT)), start=places, end=places, low=places, high=places,
                   upright=np.ones(len(moves), dtype=bool))


def _without_traverses(judge: Judge, columns: Moves) -> Moves:
    """Where traverses at feed may be lifted, of what may be one the ends alone count."""
    stock = judge.setup.stock
    if stock is None or not judge.setup.repair.air_feeds or not len(columns):
        return columns
    level = (columns.kind == Kind.CUT) & (columns.start[:, 2] == columns.end[:, 2]) & ~columns.upright
    air = level & (columns.start[:, 2] >= stock.top + judge.setup.clearance.above)
    lifted = columns.take(np.flatnonzero(air))
    kept = columns.take(np.flatnonzero(~air))
    return kept.followed_by(_points(lifted, lifted.start)).followed_by(_points(lifted, lifted.end))


def _keep_all(judge: Judge, columns: Moves, ways: dict[int, Ways]) -> None:
    for tool in np.unique(columns.tool).tolist():
        rows = np.flatnonzero(columns.tool == tool)
        _, sweeps = judge.sweeps(columns, rows, corner=False)
        for number in judge.tools(tool):
            _keep(judge, Part(judge.assemblies[number], sweeps), ways)
    if judge.riding_shoe is not None and len(columns):
        shoe, height = judge.riding_shoe
        _, sweeps = judge.sweeps(columns, np.arange(len(columns)), corner=False, at=height)
        _keep(judge, Part(shoe, sweeps), ways)


def _keep(judge: Judge, part: Part, ways: dict[int, Ways]) -> None:
    for obstacle, found in ways.items():
        near = encounters(scene_of(judge.setup.obstacles[obstacle]), part.assembly, part.sweeps, FARTHEST, 0.0)
        kept = np.unique(near.move)
        found.count += len(kept)
        if len(kept) and not found.too_many:
            found.parts.append(Part(part.assembly, part.sweeps.take(kept)))
