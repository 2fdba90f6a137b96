"""The rule that decides, over tables of moves: what clips, what makes contact, what comes close, on one bench.

Guard and proof both ask here. It joins the rooms: moves of the program, geometry of space, facts of the setup.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf

import numpy as np

from .program.moves import Floats, Integers, Kind, Moves, different
from .program.state import ANY_TOOL, NO_TOOL
from .setup.model import Setup, Tool, stacked, total
from .space.arcs import flatten
from .space.assembly import Assembly
from .space.clearance import Encounters, Sweeps, encounters
from .space.coarse import Surroundings, may_meet, place_may_meet, surroundings
from .space.hulls import Hull, box
from .space.scene import Scene, SceneSolid

AXIS = 1e-6  # mm, the radius of "the tool's axis"
SAGITTA = 0.005  # mm, how far a chord may lie beside the arc that it stands for; the path is grown by as much


@dataclass(slots=True)
class Hit:
    """The worst encounter of a move with an obstacle: how deep in mm, with which part of the assembly, and which tip
    height would clear it, mm (inf: none)."""

    move: int
    obstacle: int
    depth: float
    part: str
    needed: float


@dataclass(slots=True)
class Examined:
    """What became of n moves. `clips` and `contact` (n,) bool: for rapids by clearance and by contact, for cuts
    `clips` means close. `needed` (n,) mm: the lowest tip height at which the XY path of a move that clips is free,
    -inf for the others. `clipped` and `touched`: the encounters, worst for each move and obstacle."""

    clips: np.ndarray
    contact: np.ndarray
    needed: Floats
    clipped: list[Hit] = field(default_factory=list)
    touched: list[Hit] = field(default_factory=list)


class Judge:
    """One bench: the obstacles of a setup as a scene, and the assembly of each of its tools."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.names = [obstacle.name for obstacle in setup.obstacles]
        self.sacrificial = np.array([obstacle.sacrificial for obstacle in setup.obstacles], dtype=bool)
        self.scene = build_scene(setup)
        self.assemblies = {number: assembly_of(setup, tool) for number, tool in setup.tools.items()}
        self.beside = setup.clearance.beside
        self.above = setup.clearance.above
        self.as_box = setup.machine.rapid_path == "unknown"
        shoe = setup.spindle.shoe if setup.spindle is not None else None
        self.gantry_shoe = shoe if shoe is not None and shoe.rides_at is not None else None
        self.stock = stock_scene(setup)
        self._about: dict[tuple[int, float], Surroundings] = {}

    def tools(self, tool: int) -> list[int]:
        """The tools that may be in the spindle where the table says `tool`."""
        if tool == ANY_TOOL:
            return list(self.assemblies)
        return [tool] if tool in self.assemblies else []

    def examine(self, moves: Moves) -> Examined:
        """Judges every move of the table: rapids by clearance and contact, cuts by contact."""
        n = len(moves)
        result = Examined(np.zeros(n, dtype=bool), np.zeros(n, dtype=bool), np.full(n, -inf))
        near = np.flatnonzero(self._may_meet(moves))
        kind, tools = moves.kind[near], moves.tool[near]
        usable = (tools != NO_TOOL) & ((kind == Kind.RAPID) | moves.exact[near])
        near, tools = near[usable], tools[usable]
        for tool in different(tools):
            for number in self.tools(tool):
                self._examine_some(moves, near[tools == tool], self.assemblies[number], result)
        riding = self.riding_shoe
        if riding is not None:
            self._examine_some(moves, near, riding[0], result, at=riding[1])
        for hits in (result.clipped, result.touched):
            hits.sort(key=_move_of)  # so that what is summed up does not depend on where batches end
        return result

    def _may_meet(self, moves: Moves) -> np.ndarray:
        """(n,) bool: False for moves that surely come near nothing, with any tool or the shoe."""
        if not len(moves):
            return np.zeros(0, dtype=bool)
        low, high = moves.low, moves.high
        margin, grow = float(moves.corner.max()), float(moves.grow.max())
        bent = np.flatnonzero((moves.kind == Kind.ARC_CW) | (moves.kind == Kind.ARC_CCW))
        if len(bent):
            low, high = round_arcs(moves, bent)
        numbers = {number for tool in different(moves.tool) for number in self.tools(tool)}
        beside, above = self.beside + margin + grow, self.above + margin
        near = np.zeros(len(moves), dtype=bool)
        for number in numbers:
            near |= may_meet(self.scene, self.assemblies[number], low, high, beside, above)
        riding = self.riding_shoe
        if riding is not None:
            level = np.full(len(moves), riding[1])
            low, high = (np.column_stack((corner[:, 0], corner[:, 1], level)) for corner in (low, high))
            near |= may_meet(self.scene, riding[0], low, high, beside, above)
        return near

    def is_clear(self, place: tuple[float, float, float], tool: int, grow: float) -> bool:
        """True where the tip surely makes no contact at a place: a first look that costs little."""
        if self.riding_shoe is not None:
            return False
        return not any(place_may_meet(self._surroundings(number, grow), *place) for number in self.tools(tool))

    def _surroundings(self, number: int, grow: float) -> Surroundings:
        """What is about the tip of a tool, the path grown by so much; made once, since there are few of them."""
        if (number, grow) not in self._about:
            self._about[number, grow] = surroundings(self.scene, self.assemblies[number], grow, 0.0)
        return self._about[number, grow]

    @cached_property
    def riding_shoe(self) -> tuple[Assembly, float] | None:
        """A hard shoe that stays with the gantry, and the height of its lower edge, mm; None where there is none."""
        shoe = self.gantry_shoe
        if shoe is None or shoe.soft or shoe.rides_at is None:
            return None
        return Assembly(np.zeros(1), np.array([shoe.diameter / 2]), ["shoe"]), shoe.rides_at

    def brushed(self, moves: Moves) -> list[Hit]:
        """Where a soft shoe's bristles touch an obstacle: reported, never refused or lifted for. What leads nowhere
        brushes over nothing that was not brushed before."""
        shoe = self.setup.spindle.shoe if self.setup.spindle is not None else None
        if shoe is None or not shoe.soft:
            return []
        hits: list[Hit] = []
        leads = (moves.start != moves.end).any(axis=1) | (moves.plane > 0)  # a full turn ends where it begins
        for tool in different(moves.tool):
            for number in self.tools(tool):
                length = self.setup.tools[number].length
                if shoe.rides_at is None and (length is None or shoe.bottom is None):
                    continue
                from_ = 0.0 if shoe.rides_at is not None else total(length or 0.0, -(shoe.bottom or 0.0))
                assembly = Assembly(np.array([from_]), np.array([shoe.diameter / 2]), ["shoe"])
                rows = np.flatnonzero((moves.tool == tool) & leads & (moves.exact | (moves.kind == Kind.RAPID)))
                owner, sweeps = self.sweeps(moves, rows, corner=False, at=shoe.rides_at)
                found = encounters(self.scene, assembly, sweeps, 0.0, 0.0)
                hits += self._worst(found, rows[owner[found.move]], assembly)
        return sorted(hits, key=_move_of)

    def in_stock(self, moves: Moves) -> list[tuple[int, float]]:
        """The rows of sideways rapids that run, or may run, over the stock with the tip below its top, and how deep,
        mm. One out of a height of which nothing is known is left out: it is led up first, or refused."""
        stock = self.setup.stock
        if self.stock is None or stock is None:
            return []
        low = (moves.low[:, 2] < stock.top) & (moves.low[:, 2] > -inf)
        rows = np.flatnonzero(low & (moves.kind == Kind.RAPID) & ~moves.upright & ~moves.shadow)
        if not len(rows):
            return []
        owner, sweeps = self.sweeps(moves, rows, corner=False)
        found = encounters(self.stock, Assembly(np.zeros(1), np.array([AXIS]), ["cutter"]), sweeps, 0.0, 0.0)
        deepest: dict[int, float] = {}
        for row, depth in zip(rows[owner[found.move]].tolist(), found.depth.tolist(), strict=True):
            deepest[row] = max(depth, deepest.get(row, 0.0))
        return sorted(deepest.items())

    def needed(self, moves: Moves, touching: bool = False, riding_too: bool = True) -> Floats:
        """(n,) mm: the lowest tip height at which each rapid's whole XY path is free of clips; -inf for any, inf where
        a shoe that stays with the gantry is in the way. With `touching`, at which a cut along it makes no contact.
        Without `riding_too` such a shoe is left out."""
        result = np.full(len(moves), -inf)
        beside, above = (0.0, 0.0) if touching else (self.beside, self.above)
        riding = self.riding_shoe if riding_too else None
        if riding is not None:
            owner, sweeps = self.sweeps(moves, np.arange(len(moves)), corner=not touching, at=riding[1])
            result[owner[encounters(self.scene, riding[0], sweeps, beside, above).move]] = inf
        for tool in different(moves.tool):
            for number in self.tools(tool):
                rows = np.flatnonzero(moves.tool == tool)
                owner, sweeps = self.sweeps(moves, rows, corner=not touching)
                sweeps.start[:, 2] = sweeps.end[:, 2] = -inf
                sweeps.box[:] |= ~np.isfinite(sweeps.start).all(axis=1)
                if touching or not self.as_box:
                    finite = moves.exact[rows[owner]]
                    sweeps.start[finite, 2] = sweeps.end[finite, 2] = -1e9
                    sweeps.box[finite] = False
                found = encounters(self.scene, self.assemblies[number], sweeps, beside, above)
                np.maximum.at(result, rows[owner[found.move]], found.needed)
        return result

    def _examine_some(self, moves: Moves, rows: Integers, assembly: Assembly, result: Examined,
                      at: float | None = None) -> None:
        """Judges some rows with one assembly; `at` is the height of one that stays with the gantry: no lift helps."""
        if not len(rows):
            return
        owner, sweeps = self.sweeps(moves, rows, corner=True, at=at)
        near = encounters(self.scene, assembly, sweeps, self.beside, self.above)
        if not len(near.move):
            return
        owned = rows[owner[near.move]]
        result.clips[owned] = True
        np.maximum.at(result.needed, owned, near.needed if at is None else np.full(len(owned), inf))
        result.clipped += [hit if at is None else replace(hit, needed=inf)
                           for hit in self._worst(near, owned, assembly)]
        again = np.isin(rows, owned)
        owner, sweeps = self.sweeps(moves, rows[again], corner=False, at=at)
        touching = encounters(self.scene, assembly, sweeps, 0.0, 0.0)
        if len(touching.move):
            owned = rows[again][owner[touching.move]]
            result.contact[owned] = True
            result.touched += self._worst(touching, owned, assembly)

    def _worst(self, found: Encounters, owned: Integers, assembly: Assembly) -> list[Hit]:
        order = np.lexsort((-found.depth, found.obstacle, owned))
        keys = np.stack([owned[order], found.obstacle[order]], axis=1)
        first = np.ones(len(order), dtype=bool)
        first[1:] = (keys[1:] != keys[:-1]).any(axis=1)
        worst = order[first]
        columns = (owned, found.obstacle, found.depth, found.section, found.needed)
        return [Hit(move, obstacle, depth, assembly.part[section], needed) for move, obstacle, depth, section, needed
                in zip(*(column[worst].tolist() for column in columns), strict=True)]

    def sweeps(self, moves: Moves, rows: Integers, corner: bool, at: float | None = None) -> tuple[Integers, Sweeps]:
        """What the tip covers on some moves, and the row among `rows` that each sweep belongs to.

        `at` puts all of it at one height.
        """
        kind = moves.kind[rows]
        arcs = (kind == Kind.ARC_CW) | (kind == Kind.ARC_CCW)
        straight = np.flatnonzero(~arcs)
        line = rows[straight]
        boxed = ~moves.exact[line] | ((moves.kind[line] == Kind.RAPID) & self.as_box)
        start = np.where(boxed[:, None], moves.low[line], moves.start[line])
        end = np.where(boxed[:, None], moves.high[line], moves.end[line])
        margin = moves.corner[line] if corner else np.zeros(len(line))
        owner, sink, grow = straight, np.zeros(len(line)), moves.grow[line]
        if arcs.any():
            bent = np.flatnonzero(arcs)
            bend = rows[bent]
            part, first, last = flatten(moves.start[bend], turned(moves, bend), moves.centre[bend],
                                        moves.plane[bend], moves.kind[bend] == Kind.ARC_CW, SAGITTA)
            owner = np.concatenate([owner, bent[part]])
            start, end = np.concatenate([start, first]), np.concatenate([end, last])
            boxed = np.concatenate([boxed, np.zeros(len(part), dtype=bool)])
            margin = np.concatenate([margin, moves.corner[bend][part] if corner else np.zeros(len(part))])
            sink = np.concatenate([sink, np.full(len(part), SAGITTA)])
            grow = np.concatenate([grow, moves.grow[bend][part] + SAGITTA])
        if at is not None:
            start[:, 2] = end[:, 2] = at
        return owner, Sweeps(start=start, end=end, box=boxed, margin=margin, sink=sink, grow=grow)


def in_the_way(hits: Iterable[Hit]) -> tuple[tuple[int, ...], tuple[float, ...], tuple[float, ...]]:
    """The obstacles of some encounters, each once, the one that takes the greatest height first; how much too low the
    tool is for each, and the height that each asks for, mm."""
    worst: dict[int, float] = {}
    deepest: dict[int, float] = {}
    for hit in hits:
        worst[hit.obstacle] = max(hit.needed, worst.get(hit.obstacle, -inf))
        deepest[hit.obstacle] = max(hit.depth, deepest.get(hit.obstacle, -inf))
    order = sorted(worst, key=lambda obstacle: (-worst[obstacle], obstacle))
    return (tuple(order), tuple(deepest[obstacle] for obstacle in order),
            tuple(worst[obstacle] for obstacle in order))


def _move_of(hit: Hit) -> int:
    return hit.move


def round_arcs(moves: Moves, bent: Integers) -> tuple[Floats, Floats]:
    """The boxes round the moves, (n, 3) corners, where the rows `bent` are arcs: these take their whole circle."""
    low, high = moves.low.copy(), moves.high.copy()
    planes = moves.plane[bent]
    for plane in different(planes):
        rows = bent[planes == plane]
        axes = {17: (0, 1), 18: (0, 2), 19: (1, 2)}[plane]
        centre = [np.nan_to_num(moves.centre[rows, axis]) for axis in axes]
        reach = np.maximum(*(np.hypot(*(ends[rows, axis] - middle for axis, middle in zip(axes, centre, strict=True)))
                             for ends in (moves.start, moves.end)))
        for axis, middle in zip(axes, centre, strict=True):
            low[rows, axis] = middle - reach
            high[rows, axis] = middle + reach
    room = SAGITTA * 2  # for chords: beside the arc, below it, and for the last bits of the roots above
    low[bent] -= room
    high[bent] += room
    return low, high


def turned(moves: Moves, rows: Integers) -> Floats:
    """The ends of arcs; where a full turn is meant, the end in the plane is the start."""
    end = moves.end[rows].copy()
    for plane, axes in ((17, (0, 1)), (18, (0, 2)), (19, (1, 2))):
        full = moves.full[rows] & (moves.plane[rows] == plane)
        for axis in axes:
            end[full, axis] = moves.start[rows][full, axis]
    return end


def stock_scene(setup: Setup) -> Scene | None:
    """The stock as a scene of its own, up to its top."""
    stock = setup.stock
    if stock is None:
        return None
    middle = (stock.corner[0] + stock.size[0] / 2, stock.corner[1] + stock.size[1] / 2)
    return Scene.build([SceneSolid(0, [box(middle, stock.size, 0.0)], stock.top, 0.0)])


def build_scene(setup: Setup) -> Scene:
    """The obstacles of a setup as a scene; obstacle numbers are places in `setup.obstacles`."""
    return Scene.build([
        SceneSolid(number, [Hull(np.array(piece.vertices, dtype=float).reshape(-1, 2), piece.radius)
                            for piece in solid.pieces], solid.top, solid.tolerance)
        for number, obstacle in enumerate(setup.obstacles) for solid in obstacle.solids])


def assembly_of(setup: Setup, tool: Tool) -> Assembly:
    """The tool, and above its length the spindle and a hard shoe, as stacked cylinders from the tip up."""
    sections = [(height, diameter / 2, "cutter" if k == 0 else "shank")
                for k, (height, diameter) in enumerate(stacked(tool.sections))]
    if setup.spindle is not None and tool.length is not None:
        sections += [(height, diameter / 2, "collet nut" if k == 0 else "spindle")
                     for k, (height, diameter) in enumerate(stacked(setup.spindle.sections, tool.length))]
        shoe = setup.spindle.shoe
        if shoe is not None and not shoe.soft and shoe.bottom is not None:
            sections.append((total(tool.length, -shoe.bottom), shoe.diameter / 2, "shoe"))
    sections.sort(key=lambda section: section[0])
    return Assembly(np.array([s[0] for s in sections]), np.array([s[1] for s in sections]), [s[2] for s in sections])
