"""The side view of one rapid: what stands along its way, how high the tip must be, and where it is tightest."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..judge import Hit, Judge
from ..program.moves import Kind, Move, table
from ..program.state import ANY_TOOL
from ..record.page_model import Point, Profile, Silhouette
from ..setup.model import Solid
from ..space.assembly import Assembly
from ..space.clearance import Sweeps, encounters, needed_heights
from .reading import place_of

SAMPLES = 240  # points at which the lowest clear height is drawn
VERY_LOW = -1e6  # mm, under every obstacle: with it every one that is near is found
NEARLY = 1e-6


@dataclass(slots=True)
class Worst:
    """The move that is in the worst place, and how: `hit` is None where nothing is near it.

    `needed`: the tip height, mm, at which its whole way is clear; None where any is.
    """

    move: Move
    hit: Hit | None
    contact: bool
    needed: float | None = None


def worst_of(moves: list[Move], judge: Judge, *, across: bool = False,
             obstacles: frozenset[str] | None = None) -> Worst | None:
    """The move that comes deepest into an obstacle or its clearance, contact before clearance; else the longest.

    `across`: an upright rapid that only comes into a clearance does not count, since none is lifted for it.
    `obstacles`: the names of those that count; None: all.
    """
    if not moves:
        return None
    examined = judge.examine(table(moves))
    for hits, contact in ((examined.touched, True), (examined.clipped, False)):
        if across and not contact:
            hits = [hit for hit in hits if not (moves[hit.move].upright and straight_ends(moves[hit.move]))]
        if obstacles is not None:
            hits = [hit for hit in hits if judge.names[hit.obstacle] in obstacles]
        if hits:
            hit = max(hits, key=lambda hit: hit.depth)
            worst = Worst(moves[hit.move], hit, contact)
            needed = float(examined.needed[hit.move])
            if worst.move.kind != Kind.RAPID:  # a cut is judged by contact alone
                low = tightest(judge, worst)
                needed = low[1] + hit.depth if low is not None else math.inf
            worst.needed = needed if math.isfinite(needed) else None
            return worst
    return Worst(longest_of(moves), None, False)


def longest_of(moves: list[Move]) -> Move:
    """The longest of some moves, as far as their places are known."""
    return max(moves, key=_length)


def _length(move: Move) -> float:
    ends = zip(place_of(move.start), place_of(move.end), strict=True)
    return sum(abs(b - a) for a, b in ends if a is not None and b is not None)


def assembly_for(judge: Judge, move: Move, hit: Hit | None) -> Assembly:
    """The assembly that the move was judged with."""
    return judge.assemblies[tool_for(judge, move, hit)]


def tool_for(judge: Judge, move: Move, hit: Hit | None) -> int:
    """The tool that the move was judged with; of any tool of the setup, the one that hangs widest."""
    if move.tool in judge.assemblies:
        return move.tool
    numbers = judge.tools(ANY_TOOL)
    with_part = [n for n in numbers if hit is None or hit.part in judge.assemblies[n].part]
    return max(with_part or numbers, key=lambda n: float(judge.assemblies[n].radius.max()))


def tightest(judge: Judge, worst: Worst) -> tuple[Point, float] | None:
    """Where over the bench the worst move is tightest, and how low the tip is there; None where nothing is near."""
    move = worst.move
    columns = table([move])
    owner, sweeps = judge.sweeps(columns, np.zeros(1, dtype=np.int64), corner=False)
    beside, above = (0.0, 0.0) if worst.contact else (judge.beside, judge.above)
    found = encounters(judge.scene, assembly_for(judge, move, worst.hit), sweeps, beside, above)
    if not len(found):
        return None
    deepest = int(np.argmax(found.depth))
    x, y = (float(value) for value in found.at[deepest])
    return (x, y), float(found.lowest[deepest])


def profile_of(judge: Judge, worst: Worst, mended: list[Move], written_z: float | None,
               led_round: bool = False) -> Profile:
    """The side view of the worst rapid of a change, or move of a finding.

    `mended` are the moves of the mended program in its place, `written_z` the height they run at there; `led_round`:
    they go round what stands there.
    """
    programmed_z, needed_z = lowest_of(worst.move), worst.needed
    move = worst.move
    ends = straight_ends(move)
    if ends is None:
        return _front(judge, worst, programmed_z, needed_z, written_z)
    start, end = ends
    way = _Way(start, end)
    tight = tightest(judge, worst)
    at = way.along(tight[0]) if tight else way.length / 2
    low = place_of(move.start)[2], place_of(move.end)[2]
    assembly = assembly_for(judge, move, worst.hit)
    boxed = judge.as_box and way.length > NEARLY and move.kind == Kind.RAPID
    notes = []
    if boxed:
        notes.append("The control may bend a rapid: what is needed holds for every path between its ends, "
                     "the stepped line for the straight one.")
    if led_round:
        notes.append("The tool does not come this way any more: it is led round, as the plan shows.")
    programmed = [] if low[0] is None or low[1] is None else [(0.0, low[0]), (way.length, low[1])]
    return Profile(
        length=way.length, tight=at, silhouettes=_silhouettes(judge, way, assembly, move),
        programmed=programmed, written=_written(way, mended, move),
        floor=_floor(judge, way, assembly, move), programmed_z=programmed_z,
        needed_z=needed_z, written_z=written_z, sections=_sections(assembly),
        part=worst.hit.part if worst.hit else "", stock=_stock(judge, way),
        table_z=judge.setup.table_z,
        left_over=None if led_round else left_over(judge, move, assembly, written_z),
        left_beside=left_beside(judge, mended, assembly) if led_round else None, led_round=led_round,
        notes=tuple(notes), ends=ends, tight_z=tight[1] if tight and math.isfinite(tight[1]) else programmed_z)


def lowest_of(move: Move) -> float | None:
    """The lower end of a move, mm; None where a height is not known."""
    heights = place_of(move.start)[2], place_of(move.end)[2]
    return None if heights[0] is None or heights[1] is None else min(heights[0], heights[1])


def straight_ends(move: Move) -> tuple[Point, Point] | None:
    """The ends of a move seen from above; None where one is not known."""
    (x0, y0, _), (x1, y1, _) = place_of(move.start), place_of(move.end)
    if x0 is None or y0 is None or x1 is None or y1 is None:
        return None
    return (x0, y0), (x1, y1)


def left_over(judge: Judge, move: Move, assembly: Assembly, written: float | None) -> float | None:
    """What is left, mm, between the assembly and the tops of what is near its way (as measured), flown at `written`."""
    if written is None:
        return None
    columns = table([move])
    _, sweeps = judge.sweeps(columns, np.zeros(1, dtype=np.int64), corner=True)
    flat = Sweeps(_at_height(sweeps.start, written), _at_height(sweeps.end, written), sweeps.box, sweeps.margin,
                  0.0, sweeps.grow)
    found = encounters(judge.scene, assembly, flat, judge.beside, judge.above, clipping_only=False)
    if not len(found):
        return None
    return float((written + assembly.from_[found.section] - judge.scene.top[found.hull]).min())


def left_beside(judge: Judge, mended: list[Move], assembly: Assembly) -> float | None:
    """What is left, mm, beside what stands higher than a section of the assembly passes, as measured; None where
    nothing does."""
    import shapely

    footprints = [(solid.top, footprint_of(solid)) for obstacle in judge.setup.obstacles for solid in obstacle.solids]
    left = []
    for move in mended:
        ends, low = straight_ends(move), lowest_of(move)
        if ends is None or low is None or move.kind != Kind.RAPID:
            continue
        way = shapely.MultiPoint(ends).envelope if judge.as_box else shapely.LineString(ends)
        for from_, radius, _ in _sections(assembly):
            left += [float(shapely.distance(way, footprint)) - radius for top, footprint in footprints
                     if low + from_ < top]
    return min(left, default=None)


def _margins(judge: Judge, move: Move) -> tuple[float, float, float]:
    """Beside, above and for corners: what a rapid must keep. A cut is judged by contact alone."""
    return (judge.beside, judge.above, move.corner) if move.kind == Kind.RAPID else (0.0, 0.0, 0.0)


def _at_height(points: np.ndarray, height: float) -> np.ndarray:
    moved = points.copy()
    moved[:, 2] = height
    return moved


class _Way:
    """A straight way seen from above; a way of no length is looked at along X."""

    def __init__(self, start: Point, end: Point) -> None:
        self.start, self.end = start, end
        self.length = math.dist(start, end)
        self.unit = ((end[0] - start[0]) / self.length, (end[1] - start[1]) / self.length) \
            if self.length > NEARLY else (1.0, 0.0)

    def along(self, point: Point) -> float:
        """How far along the way a place is; before its start negative."""
        return (point[0] - self.start[0]) * self.unit[0] + (point[1] - self.start[1]) * self.unit[1]

    def at(self, distance: float) -> Point:
        return self.start[0] + distance * self.unit[0], self.start[1] + distance * self.unit[1]


def _silhouettes(judge: Judge, way: _Way, assembly: Assembly, move: Move) -> list[Silhouette]:
    """The solids that are near enough to count, each with the part of it that is near."""
    import shapely

    bench = judge.setup.table_z
    found = []
    line = shapely.LineString([way.start, way.end]) if way.length > NEARLY else shapely.Point(way.start)
    beside, above, rounding = _margins(judge, move)
    if judge.as_box and move.kind == Kind.RAPID and way.length > NEARLY:
        swept = shapely.box(min(way.start[0], way.end[0]), min(way.start[1], way.end[1]),
                            max(way.start[0], way.end[0]), max(way.start[1], way.end[1]))
        if swept.area == 0:
            swept = line
    else:
        swept = line
    widest = float(assembly.radius.max())
    for obstacle in judge.setup.obstacles:
        for solid in obstacle.solids:
            reach = beside + solid.tolerance + rounding
            footprint = footprint_of(solid)
            near = footprint.intersection(swept.buffer(widest + reach))
            if near.is_empty:
                continue
            distances = [way.along((x, y)) for x, y in shapely.get_coordinates(near)]
            found.append(Silhouette(
                obstacle.name, min(distances), max(distances),
                min(bench, solid.top - 1.0) if bench is not None else solid.top - 30.0, solid.top, reach,
                solid.top + solid.tolerance + above + rounding, float(shapely.distance(footprint, line))))
    return found


def footprint_of(solid: Solid):  # type: ignore[no-untyped-def]
    """The footprint of a solid as a shapely polygon (circles as many-sided ones)."""
    import shapely

    pieces = []
    for piece in solid.pieces:
        vertices = piece.vertices
        shape = shapely.Point(vertices[0]) if len(vertices) == 1 else \
            shapely.LineString(vertices) if len(vertices) == 2 else shapely.Polygon(vertices)
        pieces.append(shape.buffer(piece.radius, quad_segs=16) if piece.radius > 0 else shape)
    return shapely.union_all(pieces)


def _floor(judge: Judge, way: _Way, assembly: Assembly, move: Move) -> list[list[Point]]:
    """Stretches of the lowest clear height of the tip along the straight way, and a little before and behind it."""
    margin = float(assembly.radius.max()) + 20.0
    distances = np.linspace(-margin, way.length + margin, SAMPLES)
    points = np.array([[*way.at(float(s)), VERY_LOW] for s in distances])
    beside, above, rounding = _margins(judge, move)
    heights = needed_heights(judge.scene, assembly, Sweeps(points, points, False, rounding, 0.0, move.grow),
                             beside, above)
    stretches: list[list[Point]] = []
    for place, (s, height) in enumerate(zip(distances.tolist(), heights.tolist(), strict=True)):
        if not math.isfinite(height):
            continue
        if place == 0 or not math.isfinite(heights[place - 1]):
            stretches.append([])
        stretch = stretches[-1]
        if len(stretch) > 1 and stretch[-1][1] == stretch[-2][1] == height:
            stretch[-1] = (s, height)
        else:
            stretch.append((s, height))
    return stretches


def _written(way: _Way, mended: list[Move], move: Move) -> list[Point]:
    """The tip's way in the mended program, as it is seen from the side."""
    points: list[Point] = []
    for other in mended:
        ends = straight_ends(other)
        if ends is None or other.kind != move.kind:
            continue
        heights = place_of(other.start)[2], place_of(other.end)[2]
        for place, height in zip(ends, heights, strict=True):
            if height is not None:
                point = (way.along(place), height)
                if not points or points[-1] != point:
                    points.append(point)
    return points


def _sections(assembly: Assembly) -> list[tuple[float, float, str]]:
    return list(zip(assembly.from_.tolist(), assembly.radius.tolist(), assembly.part, strict=True))


def _stock(judge: Judge, way: _Way) -> tuple[float, float, float, float] | None:
    """The stock under the way: where it begins and ends along it, its top and its bottom."""
    stock = judge.setup.stock
    if stock is None:
        return None
    (x, y), (wide, deep) = stock.corner, stock.size
    corners = [way.along(corner) for corner in ((x, y), (x + wide, y), (x, y + deep), (x + wide, y + deep))]
    bottom = judge.setup.table_z if judge.setup.table_z is not None else stock.top - (stock.thickness or 10.0)
    return min(corners), max(corners), stock.top, bottom


def _front(judge: Judge, worst: Worst, programmed_z: float | None, needed_z: float | None,
           written_z: float | None) -> Profile:
    """The whole bench from its front, for a rapid of which it is not known where it runs."""
    bounds_ = judge.scene.bounds
    if len(bounds_):
        left, right = float(bounds_[:, 0].min()), float(bounds_[:, 2].max())
    else:
        left, right = 0.0, 100.0
    way = _Way((left, 0.0), (right, 0.0))
    assembly = assembly_for(judge, worst.move, worst.hit)
    table_z = judge.setup.table_z
    silhouettes = []
    for obstacle in judge.setup.obstacles:
        for solid in obstacle.solids:
            low, _, high, _ = footprint_of(solid).bounds
            silhouettes.append(Silhouette(
                obstacle.name, low - left, high - left, min(table_z, solid.top - 1.0) if table_z is not None
                else solid.top - 30.0, solid.top, judge.beside + solid.tolerance + worst.move.corner,
                solid.top + solid.tolerance + judge.above + worst.move.corner, 0.0))
    highest = max(silhouettes, key=lambda s: s.top, default=None)
    tight = (highest.begin + highest.end) / 2 if highest else way.length / 2
    anywhere = replace(worst.move, upright=False)
    return Profile(
        length=way.length, tight=tight, silhouettes=silhouettes, programmed=[],
        written=[] if written_z is None else [(0.0, written_z), (way.length, written_z)], floor=[],
        programmed_z=programmed_z, needed_z=needed_z, written_z=written_z, sections=_sections(assembly),
        part=worst.hit.part if worst.hit else "", stock=_stock(judge, way), table_z=table_z,
        left_over=left_over(judge, anywhere, assembly, written_z), front=True,
        notes=("Where the tool is at this rapid is not known, so it must clear everything on the table: this is the"
               " bench from its front, X from left to right.",), tight_z=programmed_z)
