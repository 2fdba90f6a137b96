"""One place that is asked about: a point, a box or a part, what stands there, and the answer in one line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, isfinite
from typing import Any

import numpy as np

from ..lengths import UNIT_WORD
from ..record.summary import cutter_only
from ..setup import Setup, SetupError, Solid
from ..setup.errors import printable
from ..setup.model import Point2, exact, to_mm
from ..setup.words import in_units, number
from ..space.hulls import Hull, box
from ..whatif import with_obstacles
from .limits import Footprint, Limit, Limits, rounded_down


@dataclass(frozen=True, slots=True)
class Asked:
    """A place. `tops` (mm, without tolerance) are those of the solids that are to stand there, one a footprint, none
    where only room is asked for. `table`: Z that heights count from, None where the setup does not say."""

    words: str
    footprints: tuple[Footprint, ...]
    tops: tuple[float, ...] = ()
    table: float | None = None
    standing: Footprint | None = None
    """The same footprint with the tolerance of something given by its height, where that is wider."""


@dataclass(frozen=True, slots=True)
class Heights:
    """The greatest top of what stands at a place, mm, and the limit that sets it."""

    top: float
    limit: Limit


@dataclass(slots=True)
class Answer:
    """Both heights, how tall it may be for rapids to be lifted over it, and for heights above the table both heights of
    `Asked.standing`."""

    hard: Heights
    easy: Heights
    over: Heights
    hard_standing: float = field(default=inf)
    easy_standing: float = field(default=inf)


def tolerance_by_height(setup: Setup) -> float:
    """How wrong an obstacle may be that is given by `height`, mm: that of the stock counts in where it decides."""
    if setup.table_z is None:
        return setup.clearance.tolerance
    tiny = float(exact(0.001))
    entry = {"name": _free_name(setup, "place"), "shape": "cylinder", "center": [0.0, 0.0], "diameter": 1.0,
             "height": tiny}
    return with_obstacles(setup, [entry]).obstacles[-1].solids[0].tolerance


def _free_name(setup: Setup, wanted: str) -> str:
    names = {obstacle.name for obstacle in setup.obstacles}
    while wanted in names:
        wanted += "'"
    return wanted


def highest_top(setup: Setup, tolerance: float) -> float:
    """The greatest top under the gantry, mm; inf where the setup does not say."""
    if setup.machine.gantry_bottom is None or setup.table_z is None:
        return inf
    return setup.table_z + setup.machine.gantry_bottom - tolerance


def ask_place(setup: Setup, at: Point2, size: Point2 | None, angle: float) -> Asked:
    """A point or a box at `at` (in the setup's units), turned by `angle` degrees. Raises ValueError for its size."""
    x, y = (to_mm(value, setup.units) for value in at)
    words = f"at {number(at[0])}, {number(at[1])}"
    if size is None:
        hull = Hull(np.array([(x, y)]))
    else:
        hull = box((x, y), [to_mm(side, setup.units) for side in size], angle)
        words = f"{number(size[0])} x {number(size[1])} {words}" + (f" turned {number(angle)}" if angle else "")
    tolerance, by_height = setup.clearance.tolerance, tolerance_by_height(setup)
    standing = Footprint((hull,), by_height, highest_top(setup, by_height)) if by_height > tolerance else None
    return Asked(words, (Footprint((hull,), tolerance, highest_top(setup, tolerance)),), (), setup.table_z, standing)


def part_entry(setup: Setup, part: str, at: Sequence[float], angle: float, name: str | None = None) -> dict[str, Any]:
    """The keys of an obstacle that places a part."""
    entry: dict[str, Any] = {"name": name or _free_name(setup, part), "part": part,
                             "at": [float(value) for value in at]}
    return entry | ({"angle": float(angle)} if angle else {})


def footprint_of(setup: Setup, solid: Solid) -> Footprint:
    hulls = tuple(Hull(np.array(piece.vertices, dtype=float).reshape(-1, 2), piece.radius) for piece in solid.pieces)
    return Footprint(hulls, solid.tolerance, highest_top(setup, solid.tolerance))


def ask_part(setup: Setup, part: str, at: Point2, angle: float) -> Asked:
    """A part of the setup's libraries at `at` (in the setup's units). Raises ValueError where there is none."""
    try:
        placed = with_obstacles(setup, [part_entry(setup, part, at, angle)])
    except SetupError as error:
        raise ValueError(about_part(part, error, "--part")) from error
    solids = placed.obstacles[-1].solids
    words = f"{printable(part)} at {number(at[0])}, {number(at[1])}" + (f" turned {number(angle)}" if angle else "")
    return Asked(words, tuple(footprint_of(setup, solid) for solid in solids), tuple(s.top for s in solids),
                 setup.table_z)


def about_part(part: str, error: SetupError, option: str) -> str:
    """Why a part cannot be placed, as the complaint about an option."""
    text = str(error)
    if "no such part" in text:
        return f"{option} {printable(part)}: {text[text.index('no such part') :].partition(' (obstacle')[0]}"
    return text


def answer(asked: Asked, found: Sequence[Limits]) -> Answer:
    """What the limits of the footprints, and then of `standing`, come to."""
    own = found[: len(asked.footprints)]
    hard = _heights(asked, [limits.hard for limits in own])
    easy = _heights(asked, [limits.easy for limits in own])
    over = _heights(asked, [limits.over for limits in own])
    standing = found[len(own)] if asked.standing is not None else None
    if standing is None:
        return Answer(hard, easy, over, hard.top, easy.top)
    return Answer(hard, easy, over, standing.hard.top, standing.easy.top)


def _heights(asked: Asked, limits: list[Limit]) -> Heights:
    """A part is as tall as its tallest solid; the solid with the least left decides how much it may grow or must
    shrink."""
    if not asked.tops:
        return Heights(limits[0].top, limits[0])
    left = [limit.top - top for limit, top in zip(limits, asked.tops, strict=True)]
    least = min(range(len(left)), key=lambda k: left[k])
    return Heights(max(asked.tops) + left[least], limits[least])


def sentence(asked: Asked, answer: Answer, setup: Setup, programs: Sequence[str]) -> str:
    """The answer in one line, in the units of the setup."""
    parts = [f"{which} {_height(heights.top, setup)} ({_why(heights.limit, setup, programs)})"
             for which, heights in (("hard", answer.hard), ("easy", answer.easy))]
    if answer.over.top < answer.hard.top:
        parts.append(f"over {_height(answer.over.top, setup)} the ceiling is too low for a lift"
                     f" ({_why(answer.over.limit, setup, programs)})")
    only = cutter_only(setup)
    return f"{asked.words}: {'; '.join(parts)}; {_left(asked, answer, setup)}{f'; {only}' if only else ''}"


def _height(top: float, setup: Setup) -> str:
    if not isfinite(top):
        return "any height" if top > 0 else "nothing"
    return f"Z {_number(top, setup)}"


def _number(millimetres: float, setup: Setup) -> str:
    value = rounded_down(millimetres, setup.units == "inch")
    return f"{value:.{4 if setup.units == 'inch' else 3}f}" + ("" if value or millimetres >= 0 else "")


def _why(limit: Limit, setup: Setup, programs: Sequence[str]) -> str:
    if not limit.line:
        return "no move is near" if limit.top == inf else "the gantry"
    name = printable(programs[limit.program])
    part = limit.part if limit.tool is None else f"{limit.part} of tool {limit.tool}"
    return f"line {limit.line} of {name}, {part}"


def _left(asked: Asked, answer: Answer, setup: Setup) -> str:
    unit = UNIT_WORD[setup.units]
    if asked.tops:
        top = max(asked.tops)
        height = f"it is {in_units(top - asked.table, setup.units)} {unit} high, " if asked.table is not None else ""
        hard, easy = answer.hard.top - top, answer.easy.top - top
        if hard < 0:
            return f"{height}too tall by {_too_tall(hard, setup)} {unit}: a cut would touch it"
        room = f"{_number(hard, setup)} {unit} are left" if isfinite(hard) else "nothing limits it"
        lifts = "rapids stay as they are" if easy >= 0 else "rapids would be lifted over it" \
            if top <= answer.over.top else "rapids need ways round it, or the program is refused"
        return f"{height}{room} before a cut touches it; {lifts}"
    if asked.table is None:
        return "the setup does not say where the table is, so heights above it are not known"
    said = [f"{_above_table(top - asked.table, setup)} {which}" for which, top in
            (("hard", answer.hard_standing), ("easy", answer.easy_standing))]
    return f"height above the table: {', '.join(said)}"


def _too_tall(left: float, setup: Setup) -> str:
    return f"{-rounded_down(left, setup.units == 'inch'):.{4 if setup.units == 'inch' else 3}f}" \
        if isfinite(left) else "all of it:"


def _above_table(height: float, setup: Setup) -> str:
    if height == inf:
        return "any"
    if height <= 0:
        return "none"
    return f"{_number(height, setup)} {UNIT_WORD[setup.units]}"
