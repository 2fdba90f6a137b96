"""The tape: % marks, the main program, the subprograms, and what the whole text names."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from .plain_words import Line, NotUnderstood, split_lines

O_WORD = re.compile(r"(?:N\d+)?O(\d+)$")
M99 = re.compile(r"(?:N\d+)?M0*99$")


@dataclass
class Tape:
    main: list[Line] = field(default_factory=list)
    bodies: dict[int, list[Line]] = field(default_factory=dict)
    uses_g43: bool = False
    uses_m6: bool = False
    named_tools: list[int] = field(default_factory=list)


def read_tape(program: bytes) -> Tape:
    """Sort the lines into the main program and the subprogram bodies (common practice: O number ... M99)."""
    lines = between_percents(split_lines(program))
    tape = Tape()
    pieces: list[tuple[int | None, list[Line]]] = [(None, [])]
    for line in lines:
        heading = O_WORD.match(line.code)
        if heading:
            refuse_slash(line)
            pieces.append((int(heading.group(1)), []))
            continue
        pieces[-1][1].append(line)
        if M99.match(line.code):
            refuse_slash(line)
            pieces.append((None, []))
    mains = []
    for number, piece in pieces:
        codes = [line for line in piece if line.code]
        if codes and M99.match(codes[-1].code) and not (number is None and ends_by_itself(piece)):
            if number is None or number in tape.bodies:
                raise NotUnderstood(codes[-1].number, "M99 outside a subprogram, or a subprogram twice")
            tape.bodies[number] = piece
        elif codes:
            mains.append(piece)
    # An O number without M99 is a name: a program that has not ended may go on there, and what it does not do is safe.
    tape.main = until_end([line for piece in mains for line in piece])
    look_for_names(tape, tape.main + [line for body in tape.bodies.values() for line in body])
    return tape


def refuse_slash(line: Line) -> None:
    if line.slash:
        raise NotUnderstood(line.number, "a / on a block that parts programs")


def ends_program(line: Line) -> bool:
    return not line.slash and re.search(r"M0*(2|30)(?!\d)", line.code) is not None


def ends_by_itself(piece: list[Line]) -> bool:
    return any(ends_program(line) for line in piece)


def until_end(lines: list[Line]) -> list[Line]:
    """What stands behind M2 or M30 is no part of the program."""
    for index, line in enumerate(lines):
        if ends_program(line):
            return lines[: index + 1]
    return lines


def between_percents(lines: list[Line]) -> list[Line]:
    """Section 3.2: a file may stand between two lines of % ; what follows the second one is no program."""
    begun = False
    seen_code = False
    kept = []
    for line in lines:
        if line.code == "%":
            if begun or seen_code:
                return kept
            begun = True
            continue
        if "%" in line.code:
            raise NotUnderstood(line.number, "% within a block")
        seen_code = seen_code or line.code != ""
        kept.append(line)
    return kept


def look_for_names(tape: Tape, lines: list[Line]) -> None:
    """What must be known of the whole text beforehand: G43, M6, and which tools are named."""
    for line in lines:
        tape.uses_g43 = tape.uses_g43 or bool(re.search(r"G0*43(\.[01]*)?(?![\d.])", line.code))
        tape.uses_m6 = tape.uses_m6 or bool(re.search(r"M0*6(?!\d)", line.code))
        for number in re.findall(r"T(\d+)", line.code):
            if int(number) not in tape.named_tools:
                tape.named_tools.append(int(number))
