"""The parts of a file that holds subprograms: the main program, and bodies from an O word to M99 (common practice)."""

from __future__ import annotations

from dataclasses import dataclass, field

from .block import BLANK, COMMENT, Block, read_block, split_ending, strip_comments
from .errors import NotUnderstood


@dataclass(slots=True)
class Part:
    """Lines `begin` to `end` (not included), from 0. `trouble` says why a body cannot be called: what, advice.

    `stops`: the program ends in it (M2, M30), whatever a control takes it for.
    """

    number: int | None
    begin: int
    end: int
    returns: bool = False
    words: bool = False
    stops: bool = False
    trouble: tuple[str, str] | None = None


@dataclass(slots=True)
class Parts:
    """The main program, the bodies by number, and the line (from 0) at which a control reads on where the main
    program does not end itself; None where the file ends there. `either` is a body before the main program that ends
    the program: one control begins with it, another behind it."""

    main: Part
    bodies: dict[int, Part] = field(default_factory=dict)
    reads_on: int | None = None
    either: Part | None = None


def parts_of(lines: list[bytes]) -> Parts:
    """Splits the lines at O words and behind M99. The first part that is no body is the main program."""
    pieces = _pieces(lines)
    bodies: dict[int, Part] = {}
    others: list[Part] = []
    for piece in pieces:
        if piece.number is None or not piece.returns:
            if piece.words:
                others.append(piece)
        elif piece.number in bodies:
            bodies[piece.number].trouble = (f"subprogram O{piece.number} is there twice",
                                            "give each body a number of its own")
        else:
            bodies[piece.number] = piece
    main = others[0] if others else Part(None, 0, len(lines))
    if not any(piece.words for piece in pieces if piece.end <= main.begin):
        main.begin = 0  # a percent sign or comments before it
    behind = [piece.begin for piece in pieces if piece.begin >= main.end and piece.words]
    either = next((piece for piece in pieces if piece.end <= main.begin and piece.stops), None)
    return Parts(main, bodies, min(behind, default=None), either)


def _pieces(lines: list[bytes]) -> list[Part]:
    pieces = [Part(None, 0, 0)]
    opened = words = closed = False
    for place, raw in enumerate(lines):
        block = _read(raw)
        percent = block is not None and block.percent
        if percent and opened:
            pieces[-1].end = place + 1
            return pieces
        opened, closed = opened or (percent and not words), closed or (percent and words)
        number = None if closed else _number(block)
        if number is not None or pieces[-1].returns:
            pieces.append(Part(number, place, place))
            pieces[-1].trouble = _trouble_with_heading(block) if number is not None else None
        last = pieces[-1]
        last.end = place + 1
        last.words = last.words or _has_words(raw)
        words = words or last.words
        last.stops = last.stops or (not closed and _ends(block))
        if not closed and _has_code(block, 99):
            last.returns = True
            if block is not None and block.deleted:
                last.trouble = (f"the end (M99) of subprogram O{last.number} carries a slash", "take the slash away")
    return pieces


def _read(raw: bytes) -> Block | None:
    """A line, where it can be read without knowing parameters."""
    try:
        return read_block(0, raw, {})
    except NotUnderstood:
        return None


def _has_words(raw: bytes) -> bool:
    text, _ = split_ending(raw)
    try:
        return strip_comments(text).strip(BLANK + COMMENT) not in ("", "%")
    except NotUnderstood:
        return True


def _number(block: Block | None) -> int | None:
    if block is None:
        return None
    return next((int(word.value) for word in block.words if word.letter == "O"), None)


def _trouble_with_heading(block: Block | None) -> tuple[str, str] | None:
    assert block is not None
    word = block.words[-1]
    plain = [w.letter for w in block.words] in (["O"], ["N", "O"]) and word.literal and word.value == int(word.value)
    if plain and not block.deleted and not block.settings:
        return None
    return (f"the heading of subprogram O{int(word.value) if word.letter == 'O' else ''} is more than its number",
            "put the O word on a line of its own")


def _has_code(block: Block | None, *codes: int) -> bool:
    return block is not None and any(word.letter == "M" and word.value in codes for word in block.words)


def _ends(block: Block | None) -> bool:
    return _has_code(block, 2, 30) and block is not None and not block.deleted
