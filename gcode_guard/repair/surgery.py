"""Taking a block apart and putting words into it, every other character kept as it is."""

from __future__ import annotations

from dataclasses import dataclass

from ..program.block import Block, Word
from ..program.codes import spell

STOPS = frozenset({"M0", "M1", "M2", "M30"})
AXES = frozenset("XYZ")
BARE = frozenset("GNXYZ")


def axis_words(block: Block) -> dict[str, Word]:
    return {word.letter: word for word in block.words if word.letter in AXES}


def text_of(block: Block, word: Word) -> str:
    return block.text[word.start : word.end]


def is_stop(word: Word) -> bool:
    return word.letter == "M" and spell("M", word.value) in STOPS


def put(block: Block, changes: dict[tuple[int, int], str]) -> str:
    """The block's text with some spans replaced; a span replaced by nothing takes the blanks before it along."""
    out: list[str] = []
    at = 0
    for (start, end), new in sorted(changes.items()):
        kept = block.text[at:start]
        out.append(kept if new else kept.rstrip(" \t") if kept.strip(" \t") or out else kept)
        out.append(new)
        at = end
    out.append(block.text[at:])
    return "".join(out)


def with_word(block: Block, letter: str, text: str) -> str:
    """The block's text with the word of this letter replaced."""
    word = axis_words(block)[letter]
    return put(block, {(word.start, word.end): text})


def is_bare(block: Block, codes: tuple[str, ...]) -> bool:
    """True for a block that holds nothing besides its number, G0 and coordinates: it can stay as it is between
    blocks put in before and after it."""
    return (not set(codes) - {"G0"} and not block.settings
            and all(word.letter in BARE for word in block.words))


@dataclass(slots=True)
class Apart:
    """A block taken apart: `first` carries everything that comes before a move in the order of execution, `stops`
    and settings of parameters belong to the last piece."""

    block: Block

    def alone(self, words: list[str], gap: str) -> str:
        """The only piece: the block with its coordinates replaced by `words`, and all else kept."""
        return put(self.block, self._moved(words, gap))

    def _moved(self, words: list[str], gap: str) -> dict[tuple[int, int], str]:
        axes = sorted(axis_words(self.block).values(), key=lambda word: word.start)
        return {(word.start, word.end): gap.join(words) if word is axes[0] else "" for word in axes}

    def first(self, words: list[str], gap: str) -> str:
        """The first piece: the block with its coordinates replaced by `words`, without stops and settings."""
        block = self.block
        changes = self._moved(words, gap)
        for word in block.words:
            if is_stop(word):
                changes[word.start, word.end] = ""
        for span in block.setting_spans:
            changes[span] = ""
        return put(block, changes).rstrip(" \t") if changes else block.text

    def last_words(self) -> list[str]:
        """What the last piece carries besides its coordinates."""
        stops = [text_of(self.block, word) for word in self.block.words if is_stop(word)]
        return [self.block.text[a:b] for a, b in self.block.setting_spans] + stops
