"""What the reader says of a block that it cannot follow with certainty."""

from __future__ import annotations

from dataclasses import dataclass


class NotUnderstood(Exception):
    """A block, or a part of it, that cannot be followed with certainty: `what` it is and what the user can do."""

    def __init__(self, what: str, advice: str) -> None:
        super().__init__(what)
        self.what = what
        self.advice = advice


@dataclass(slots=True, frozen=True)
class Refusal:
    """A reason not to let a program through (exit status 4): its line (from 1), what it is, what the user can do."""

    line: int
    what: str
    advice: str
