"""What a repair comes to: edits of blocks, and troubles that no edit cures."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf

from ..program.block import Block
from ..program.moves import Move


@dataclass(slots=True)
class Edit:
    """The changed text of one block: `raw` is its line, `new` are raw lines with their line ends. Heights in mm, None
    where not known.

    `level` is the height at which the block's own rapid runs now, `rank` the same in the program's own coordinates:
    of two edits of a block that is run several times, the one of the higher rank serves both.
    """

    line: int
    raw: bytes
    new: list[bytes]
    kind: str
    obstacles: tuple[int, ...]
    programmed: float | None
    needed: float | None
    level: float | None
    rank: float = -inf


@dataclass(slots=True, frozen=True)
class Trouble:
    """What no edit cures: exit status 3, or 4 where it is for want of certainty."""

    line: int
    exit: int
    what: str
    advice: str
    obstacle: int | None = None
    by: float | None = None


@dataclass(slots=True)
class Draft:
    """The pieces that one block becomes: texts without line ends. `own` None means that the block stays as it is;
    `holes` holds the pieces of an unrolled cycle by hole; `moves` are the block's own rapids, for the log;
    `origin` is the height of the program's zero there; `axes` the coordinates that a block which stays one
    piece has now, None where they are its own."""

    block: Block
    before: list[str] = field(default_factory=list)
    own: list[str] | None = None
    after: list[str] = field(default_factory=list)
    obstacles: set[int] = field(default_factory=set)
    programmed: float | None = None
    needed: float = -inf
    moves: list[Move] = field(default_factory=list)
    level: float | None = None
    kind: str = "split"
    origin: float = 0.0
    axes: list[str] | None = None
    holes: dict[int, list[str]] = field(default_factory=dict)

    @property
    def touched(self) -> bool:
        return bool(self.before or self.after or self.own is not None)

    def edit(self, ending: str) -> Edit:
        """The edit, with line ends: the block's own, `ending` where it has none, none at a missing last newline."""
        own = [self.block.text] if self.own is None else self.own
        texts = self.before + own + self.after
        between = self.block.ending or ending
        raws = [*((text + between).encode("latin-1") for text in texts[:-1]),
                (texts[-1] + self.block.ending).encode("latin-1")]
        return Edit(self.block.line, self.block.raw, raws, self.kind, tuple(sorted(self.obstacles)), self.programmed,
                    self.needed if self.needed > -inf else None, self.level,
                    -inf if self.level is None else self.level - self.origin)
