"""What the review page shows, as plain data: lengths in mm, places in the bench frame, heights absolute Z.

The page is drawn from this alone. Who fills it in has read the program; nothing here says how a decision was reached.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gcode_guard.record.findings import Assumption, Run
from gcode_guard.record.summary import Summary
from gcode_guard.setup.model import Setup

if TYPE_CHECKING:
    from gcode_guard.record.page_pack import Packed

Point = tuple[float, float]
Place = tuple[float | None, float | None, float | None]
"""X, Y, Z; None where a coordinate is not known (or Z is only known to be high)."""


@dataclass(frozen=True, slots=True)
class Backdrop:
    """Everything that the program does, drawn quietly: polylines seen from above, thinned.

    `cuts` and `rapids`: polylines. `cut_count`, `rapid_count`: how many moves were read; `drawn`: how many straight
    pieces are drawn for them. `off_by`: no cut or rapid that is drawn runs farther from its line than this.
    `left_out`: how many moves are not drawn at all, beyond those that lie on a line that is.
    """

    cuts: Sequence[Sequence[Point]] = ()
    rapids: Sequence[Sequence[Point]] = ()
    cut_count: int = 0
    rapid_count: int = 0
    drawn: int = 0
    off_by: float = 0.0
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class Corridor:
    """What one section of the assembly sweeps on a rapid, seen from above: its radius round the segment from `start`
    to `end`, or, where the path is not known (`box`), round the whole rectangle that these two span."""

    part: str
    radius: float
    start: Point
    end: Point
    box: bool = False


@dataclass(frozen=True, slots=True)
class Silhouette:
    """A solid seen from the side of a way: it lies between `begin` and `end` along the way, from `bottom` to `top`.

    `reach`: how far before and behind it the way must keep clear; `clear_top`: how high. `beside`: how far the solid
    is beside the way (0: the way crosses it).
    """

    name: str
    begin: float
    end: float
    bottom: float
    top: float
    reach: float
    clear_top: float
    beside: float


@dataclass(frozen=True, slots=True)
class Profile:
    """One way seen from its side: heights over the distance along it, which runs from 0 to `length`.

    `programmed`, `written`: the tip's way as points (distance, height). `floor`: stretches of points, the lowest
    height at which the tip is clear on the straight way. `tight`: the distance at the tightest point, where the tip is
    programmed to run at `tight_z`. `programmed_z`, `needed_z`, `written_z`: those of the whole move. `sections`: the
    assembly from the tip up, (height above the tip, radius, part). `left_over`: what is left between the written way
    and the top of the obstacle; where the tool is led round (`led_round`) `left_beside`, what is left beside what
    stands there. `front`: the place is not known, and the bench is shown from its front, distances being X.
    """

    length: float
    tight: float
    silhouettes: Sequence[Silhouette]
    programmed: Sequence[Point]
    written: Sequence[Point]
    floor: Sequence[Sequence[Point]]
    programmed_z: float | None
    needed_z: float | None
    written_z: float | None
    sections: Sequence[tuple[float, float, str]]
    part: str = ""
    stock: tuple[float, float, float, float] | None = None
    table_z: float | None = None
    left_over: float | None = None
    left_beside: float | None = None
    led_round: bool = False
    front: bool = False
    ends: tuple[Point, Point] | None = None
    tight_z: float | None = None
    notes: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Sight:
    """What the page itself draws a way from, seen from above and from its side.

    `start`, `end`: those of the worst move, `rapid` or not, an `arc` or not. `tool`: the number of the tool whose
    assembly it is, `part`: what of it comes nearest. `tight`: where it is tightest, and how low the tip is programmed
    to be there. `programmed_z`, `needed_z`, `left_over`, `left_beside`, `led_round`: as in a profile. `corner`: how far
    the control may cut the corner at its ends, `grow`: how much wider its path may be.
    """

    start: Place
    end: Place
    tool: int
    part: str
    tight: Point | None
    tight_z: float | None
    programmed_z: float | None
    needed_z: float | None
    left_over: float | None
    left_beside: float | None
    corner: float
    grow: float
    rapid: bool
    led_round: bool
    arc: bool


@dataclass(frozen=True, slots=True)
class HunkLine:
    """A line of a diff: `mark` is one of "-", "+", " "; `own`: it belongs to the change at hand."""

    mark: str
    number: int | None
    text: str
    own: bool = False


@dataclass(slots=True)
class Item:
    """One change or one finding. `number` counts from 1 over the page; `trouble`: it refuses the program.

    `programmed_z`, `needed_z`, `written_z`, `added_s` and `by` are those of the log; `from_z` is the height at which
    the block ends in the program. `mark`: the tightest place, seen from above. `cause`: the line of the rapid that it
    is changed for, where that is another one. `profile`: its side view; `sight`: what the page itself draws it from,
    where there are so many items that they are packed.
    """

    number: int
    line: int
    kind: str
    title: str
    sentence: str
    obstacles: tuple[str, ...] = ()
    advice: str = ""
    trouble: bool = False
    is_change: bool = False
    by: float | None = None
    programmed_z: float | None = None
    needed_z: float | None = None
    written_z: float | None = None
    from_z: float | None = None
    added_s: float | None = None
    hunk: list[HunkLine] = field(default_factory=list)
    programmed: list[list[Place]] = field(default_factory=list)
    mended: list[list[Place]] = field(default_factory=list)
    cuts: list[list[Point]] = field(default_factory=list)
    corridors: list[Corridor] = field(default_factory=list)
    mark: Point | None = None
    profile: Profile | None = None
    sight: Sight | None = None
    cause: int | None = None

    @property
    def state(self) -> str:
        """What it is, as one word of the style sheet."""
        return "trouble" if self.trouble else "change" if self.is_change else "remark"


@dataclass(frozen=True, slots=True)
class Restart:
    """A line from which the program may be started again with the tool at `height` or above: `line` of the program as
    it is written out, `original` of the one that was read (None: the line was put in)."""

    line: int
    original: int | None
    tool: int
    height: float


@dataclass(frozen=True, slots=True)
class ToolChange:
    """Line and number of a tool that comes into the spindle; line 0: it is there from the start."""

    line: int
    tool: int


@dataclass(slots=True)
class ReviewPage:
    """All that the review page tells. `mended_sha256` is None where no program was written."""

    setup: Setup
    run: Run
    summary: Summary
    items: list[Item]
    backdrop: Backdrop
    assumptions: list[Assumption] = field(default_factory=list)
    restarts: list[Restart] = field(default_factory=list)
    restarts_left_out: int = 0
    tool_changes: list[ToolChange] = field(default_factory=list)
    tools: list[int] = field(default_factory=list)
    mended_sha256: str | None = None
    mended_lines: int | None = None
    notes: list[str] = field(default_factory=list)
    hit: dict[str, str] = field(default_factory=dict)
    """Obstacle by name -> what happens there, in a word or two: "cleared", "close", "meets a move"."""
    led: dict[str, int] = field(default_factory=dict)
    """Obstacle by name -> how many blocks are changed for it."""
    packed: Packed | None = None
    """Every change and finding, where there are more than are drawn; `items` are then those that are drawn as well."""
    ways: Backdrop = field(default_factory=Backdrop)
    """Of packed items the ways as programmed (as `cuts`) and as mended (as `rapids`), all together, thinned."""

    def close(self) -> None:
        """Gives temporary files back."""
        if self.packed is not None:
            self.packed.close()
