"""What a run is told as: the records of the log, as plain data. Lengths in mm, times in seconds, lines from 1."""

from dataclasses import dataclass
from typing import Literal

ChangeKind = Literal["lift", "split", "detour"]
FindingKind = Literal["rapid-contact", "cut-contact", "close", "out-of-reach", "in-stock", "not-understood"]
Verdict = Literal["safe", "repaired", "refused"]


@dataclass(frozen=True, slots=True)
class Run:
    """What was read: the program's name, and SHA-256 digests (hex) of the program's and the setup's bytes."""

    version: str
    program: str
    program_sha256: str
    setup_sha256: str


@dataclass(frozen=True, slots=True)
class Assumption:
    """Something taken as given that neither the program nor the setup says."""

    about: str
    text: str


@dataclass(frozen=True, slots=True)
class Change:
    """One block that was changed. A height that is not known is None; blocks are raw bytes, line ends or not."""

    line: int
    kind: ChangeKind
    obstacles: tuple[str, ...]
    programmed_z: float | None
    needed_z: float | None
    written_z: float | None
    before: tuple[bytes, ...]
    after: tuple[bytes, ...]
    added_s: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that was found and not changed. `by`: how deep, in mm, where that has a meaning.

    `advice`: what the user can do, for a finding that refuses the program; it follows `text` in every report.
    `first_of`: how many of the same kind this one stands for (what comes very often is summed up for each obstacle).
    """

    line: int
    kind: FindingKind
    text: str
    obstacle: str | None = None
    by: float | None = None
    advice: str = ""
    first_of: int = 1

    @property
    def sentence(self) -> str:
        """What it is and what the user can do, in one."""
        return f"{self.text}; {self.advice}" if self.advice else self.text


def safe_text(raw: bytes | str) -> str:
    """`raw` as text that cannot move a cursor, ring a bell or turn the reading direction.

    Bytes that are not UTF-8, control characters and invisible marks are shown as escapes (`\\x1b`, `\\u202e`).
    """
    text = raw.decode("utf-8", "backslashreplace") if isinstance(raw, bytes) else raw
    if text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


def _shown(character: str) -> str:
    if character.isprintable() or character == "\t":
        return character
    return character.encode("unicode_escape").decode("ascii")
