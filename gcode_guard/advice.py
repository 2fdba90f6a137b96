"""Where an obstacle that cuts run into could stand instead: the smallest move in X or Y, or lowering of its top.

What may not touch the obstacle are the cuts of the program and the places at which its runs of rapids end; everything
else a lift takes over. Where no lift does (under a low ceiling, with an undercut tool in the material, with a shoe that
stays with the gantry), the obstacle must be out of the way of the rapids too. An obstacle is pushed away in one
direction, out of everything that it meets on the way, until it meets nothing: a convex footprint and a straight way
touch each other over one interval of the push, so no place is passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from math import ceil, inf

import numpy as np

from .headroom import rise_from
from .judge import Judge
from .lengths import length
from .program.lane import Stretch
from .program.moves import Kind, Move, Moves, Step, table
from .program.state import known
from .repair.run import Leg, Runs
from .rules import ceiling
from .setup.model import Obstacle, Setup, exact
from .space.assembly import Assembly
from .space.clearance import Sweeps, encounters
from .space.hulls import Hull
from .space.scene import Scene, SceneSolid

FARTHEST = 100.0  # mm, beyond which a move of the obstacle is no advice
MOST_WAYS = 200_000  # ways near an obstacle that are kept; with more there is no advice
FINEST = {"mm": 0.01, "inch": 0.0005 * 25.4}  # mm, to which advice is rounded up
SAME = 4e-8  # mm, less than what counts as an encounter
MOST_TRIED = 4  # obstacles whose advice is tried out: each takes the program once or twice more
ROUNDS = 200
BATCH = 4000
DIRECTIONS = (("X", 1.0, (1.0, 0.0)), ("X", -1.0, (-1.0, 0.0)), ("Y", 1.0, (0.0, 1.0)), ("Y", -1.0, (0.0, -1.0)))

Steps = Callable[[], Iterable[Step | Stretch]]
Passes = Callable[[Setup, int], bool]


@dataclass(slots=True)
class _Part:
    """Ways that may not come nearer to the obstacle than this, mm, with one assembly."""

    assembly: Assembly
    sweeps: Sweeps
    beside: float = 0.0
    above: float = 0.0


@dataclass(slots=True)
class _Ways:
    """What may not come near one obstacle."""

    parts: list[_Part] = field(default_factory=list)
    count: int = 0


def advise(steps: Steps, judge: Judge, obstacles: Iterable[int], passes: Passes) -> dict[int, str]:
    """What would clear each of these obstacles of every move, in words.

    `steps` reads the program once more, `passes` says whether nothing of it is refused for an obstacle of a changed
    setup. Lengths are told in the setup's units.
    """
    ways = _ways(steps(), judge, obstacles, rapids=False)
    told = {obstacle: _Advice(judge, obstacle, found) for obstacle, found in ways.items()}
    failing = [obstacle for obstacle in list(told)[:MOST_TRIED] if told[obstacle].fails(passes)]
    late = [obstacle for obstacle in failing if _is_hindered(judge, obstacle)]
    if late:
        for obstacle, found in _ways(steps(), judge, late, rapids=True).items():
            told[obstacle].correct(_Advice(judge, obstacle, found))
    for obstacle in failing:
        told[obstacle].fails(passes)
    return {obstacle: advice.sentence() for obstacle, advice in told.items()}


def _is_hindered(judge: Judge, obstacle: int) -> bool:
    """True where an obstacle, wherever it stands, may be one that no lift takes a rapid over."""
    if judge.riding_shoe is not None or any(rise_from(judge.setup, number) > -inf for number in judge.assemblies):
        return True
    needed = max(solid.top + solid.tolerance for solid in judge.setup.obstacles[obstacle].solids) + judge.above \
        + judge.setup.machine.corner_rounding
    return any(needed - float(assembly.from_.min()) > ceiling(judge.setup, number)
               for number, assembly in judge.assemblies.items())


# What may not come near the obstacle ------------------------------------------------------------------------------


def _ways(steps: Iterable[Step | Stretch], judge: Judge, obstacles: Iterable[int], rapids: bool) -> dict[int, _Ways]:
    """The cuts and the ends of runs; with `rapids` also the rapids that no lift takes over an obstacle."""
    ways = {obstacle: _Ways() for obstacle in obstacles}
    runs = Runs()
    waiting: list[Move] = []
    crossing: list[Move] = []
    for step in steps:
        if isinstance(step, Stretch):
            _collect(judge, _of_stretch(step), ways)
            if rapids:
                moves = step.moves
                _collect_rapids(judge, moves.take(np.flatnonzero(moves.kind == Kind.RAPID)), ways)
            continue
        waiting += [move for move in step.moves if move.kind != Kind.RAPID and move.exact]
        crossing += [move for move in step.moves if rapids and move.kind == Kind.RAPID]
        runs.add(step, [Leg(move) for move in step.moves])
        waiting += _ends(runs)
        if len(waiting) + len(crossing) >= BATCH:
            _collect(judge, table(waiting), ways)
            _collect_rapids(judge, table(crossing), ways)
            waiting, crossing = [], []
    runs.close()
    _collect(judge, table(waiting + _ends(runs)), ways)
    _collect_rapids(judge, table(crossing), ways)
    return ways


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
    """Keeps the cuts that come within FARTHEST of an obstacle, low enough to meet it, with tool and riding shoe."""
    for tool in np.unique(columns.tool).tolist():
        rows = np.flatnonzero(columns.tool == tool)
        _, sweeps = judge.sweeps(columns, rows, corner=False)
        for number in judge.tools(tool):
            _keep(judge, _Part(judge.assemblies[number], sweeps), ways)
    if judge.riding_shoe is not None and len(columns):
        shoe, height = judge.riding_shoe
        _, sweeps = judge.sweeps(columns, np.arange(len(columns)), corner=False, at=height)
        _keep(judge, _Part(shoe, sweeps), ways)


def _collect_rapids(judge: Judge, columns: Moves, ways: dict[int, _Ways]) -> None:
    """Keeps the rapids across: as high as the machine goes, where they are if their tool must not be raised out of the
    material, and what the riding shoe does on the way."""
    if not len(columns):
        return
    across = np.flatnonzero(~columns.upright)
    tools = columns.tool[across]
    for tool in np.unique(tools).tolist():
        for number in judge.tools(tool):
            mine, assembly = across[tools == tool], judge.assemblies[number]
            stuck = mine[columns.low[mine, 2] < rise_from(judge.setup, number)]
            for rows, height in ((mine, ceiling(judge.setup, number)), (stuck, None)):
                if len(rows) and height != inf:
                    _, sweeps = judge.sweeps(columns, rows, corner=True, at=height)
                    _keep(judge, _Part(assembly, sweeps, judge.beside, judge.above), ways)
    if judge.riding_shoe is not None:
        shoe, height = judge.riding_shoe
        _, sweeps = judge.sweeps(columns, across, corner=True, at=height)
        _keep(judge, _Part(shoe, sweeps, judge.beside, judge.above), ways)


def _keep(judge: Judge, part: _Part, ways: dict[int, _Ways]) -> None:
    for obstacle, found in ways.items():
        near = encounters(_scene(judge.setup.obstacles[obstacle]), part.assembly, part.sweeps, part.beside + FARTHEST,
                          part.above)
        kept = np.unique(near.move)
        found.count += len(kept)
        if len(kept) and found.count <= MOST_WAYS:
            found.parts.append(replace(part, sweeps=part.sweeps.take(kept)))


def _scene(obstacle: Obstacle) -> Scene:
    return Scene.build([
        SceneSolid(0, [Hull(np.array(piece.vertices, dtype=float).reshape(-1, 2), piece.radius)
                       for piece in solid.pieces], solid.top, solid.tolerance) for solid in obstacle.solids])


# How far it must move -----------------------------------------------------------------------------------------------


class _Advice:
    """The smallest moves of one obstacle that take it out of all its ways."""

    def __init__(self, judge: Judge, obstacle: int, ways: _Ways) -> None:
        self._setup, self._number, self._ways = judge.setup, obstacle, ways
        self._obstacle = judge.setup.obstacles[obstacle]
        self._finest = FINEST[judge.setup.units]
        self._scene = _scene(self._obstacle)
        self.too_many = ways.count > MOST_WAYS
        pushes = [] if self.too_many else [(self._push(way), axis, sign, way) for axis, sign, way in DIRECTIONS]
        found = [(far, axis, sign, way) for far, axis, sign, way in pushes if far is not None]
        self.push = min(found, key=lambda push: push[0], default=None)
        self.lower = None if self.too_many else self._lowering()
        self._push_fails = self._lower_fails = False

    def sentence(self) -> str:
        """The advice in words."""
        name, units = self._obstacle.name, self._setup.units
        if self.too_many:
            return f"move or lower \"{name}\""
        options = []
        if self.push is not None:
            far, axis, sign, _ = self.push
            options.append(f"move \"{name}\" by {length(far, units)} to {'+' if sign > 0 else '-'}{axis}")
        if self.lower is not None:
            options.append(f"lower its top by {length(self.lower, units)}" if options
                           else f"lower the top of \"{name}\" by {length(self.lower, units)}")
        if not options:
            return (f"no move of \"{name}\" in X or Y below {length(FARTHEST, units)} clears every cut, nor does"
                    " lowering it; take it out, or change the cuts")
        if self._push_fails or self._lower_fails:
            return " or ".join(options) + ", which clears every cut of the program, but not all of its rapids"
        return " or ".join(options) + ", which clears every move of the program"

    def fails(self, passes: Passes) -> bool:
        """Whether the program is still refused for the obstacle, moved or lowered as far as is advised."""
        if self.push is not None:
            far, *_, way = self.push
            self._push_fails = not passes(self._with(_moved(self._obstacle, far * way[0], far * way[1], 0.0)),
                                          self._number)
        if self.lower is not None:
            self._lower_fails = not passes(self._with(_moved(self._obstacle, 0.0, 0.0, self.lower)), self._number)
        return self._push_fails or self._lower_fails

    def correct(self, stricter: _Advice) -> None:
        """Takes over what is known to fail from advice that asks for more."""
        if self._push_fails:
            self.push = stricter.push
        if self._lower_fails:
            self.lower = stricter.lower

    def _with(self, changed: Obstacle) -> Setup:
        obstacles = self._setup.obstacles
        return replace(self._setup, obstacles=(*obstacles[: self._number], changed, *obstacles[self._number + 1 :]))

    def _round_up(self, far: float) -> float:
        return ceil((far - SAME) / self._finest) * self._finest

    def _push(self, direction: tuple[float, float]) -> float | None:
        """How far the obstacle must move in one direction to meet nothing, mm; None for farther than FARTHEST."""
        far = 0.0
        for _ in range(ROUNDS):
            beyond = far
            for part in self._ways.parts:
                beyond = max(beyond, self._out_of(part, direction, far))
            if beyond > FARTHEST:
                return None
            if beyond == far:
                return self._round_up(far)
            far = self._round_up(beyond)
        return None

    def _out_of(self, part: _Part, direction: tuple[float, float], far: float) -> float:
        """Where the push that stands at `far` leaves everything behind that it meets there."""
        def meets(sweeps: Sweeps, push: np.ndarray) -> np.ndarray:
            found = encounters(self._scene, part.assembly, _pushed(sweeps, push, direction), part.beside, part.above)
            touched = np.zeros(len(sweeps), dtype=bool)
            touched[found.move] = True
            return touched

        met = meets(part.sweeps, np.full(len(part.sweeps), far))
        if not met.any():
            return far
        sweeps = part.sweeps.take(met)
        low, high = np.full(len(sweeps), far), np.full(len(sweeps), FARTHEST + 1.0)
        if meets(sweeps, high).any():
            return FARTHEST + 1.0
        while (high - low).max() > SAME:
            middle = (low + high) / 2
            inside = meets(sweeps, middle)
            low, high = np.where(inside, middle, low), np.where(inside, high, middle)
        return float(high.max())

    def _lowering(self) -> float | None:
        """By how much the top must come down, mm; None where nothing of the obstacle would be left over the table."""
        deepest = 0.0
        for part in self._ways.parts:
            found = encounters(self._scene, part.assembly, part.sweeps, part.beside, part.above)
            deepest = max(deepest, float(found.depth.max(initial=0.0)))
        if deepest == inf:  # a way from a height that is not known
            return None
        by = self._round_up(deepest)
        table_z = self._setup.table_z
        height = self._obstacle.top - table_z if table_z is not None else FARTHEST
        return by if by < min(FARTHEST, height) else None


def _pushed(sweeps: Sweeps, push: np.ndarray, direction: tuple[float, float]) -> Sweeps:
    """The sweeps as the obstacle sees them once it is pushed: moved the other way."""
    by = np.zeros((len(sweeps), 3))
    by[:, :2] = -push[:, None] * np.array(direction)
    return Sweeps(sweeps.start + by, sweeps.end + by, sweeps.box, sweeps.margin, sweeps.sink, sweeps.grow)


def _moved(obstacle: Obstacle, x: float, y: float, down: float) -> Obstacle:
    """The obstacle somewhere else; lengths in mm, without the noise of binary fractions."""
    def shifted(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        return tuple((float(exact(px) + exact(x)), float(exact(py) + exact(y))) for px, py in points)

    solids = tuple(replace(solid, top=float(exact(solid.top) - exact(down)), outline=shifted(solid.outline),
                           pieces=tuple(replace(piece, vertices=shifted(piece.vertices)) for piece in solid.pieces))
                   for solid in obstacle.solids)
    return replace(obstacle, solids=solids)
