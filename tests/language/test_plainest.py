"""Words in the plainest writing are read by a pattern alone; pygcode, which reads all others, must read them alike."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from pygcode.words import text2words

from gcode_guard.program.block import PLAINEST, read_block

CODES = st.from_regex(r"[GMgm][0-9]{1,3}(\.[0-9])?", fullmatch=True)
COUNTS = st.from_regex(r"[NTnt][0-9]{1,7}", fullmatch=True)
LENGTHS = st.from_regex(r"[XYZIJKFSRxyzijkfsr]-?[0-9]{1,7}(\.[0-9]{0,7})?", fullmatch=True)
BLOCKS = st.lists(st.tuples(st.one_of(CODES, COUNTS, LENGTHS), st.sampled_from(["", " ", "\t", "  "])), min_size=1).map(
    lambda words: "".join(word + gap for word, gap in words))


@given(BLOCKS)
def test_pygcode_reads_every_plainest_block_alike(text: str) -> None:
    assert PLAINEST.fullmatch(text)
    ours = [(word.letter, float(word.value), word.literal) for word in read_block(1, text.encode() + b"\n", {}).words]
    assert ours == [(word.letter, float(word.value), True) for word in text2words(text)]


@given(BLOCKS)
def test_places_of_words_are_those_of_their_text(text: str) -> None:
    block = read_block(1, text.encode() + b"\n", {})
    written = "".join(text[word.start : word.end] for word in block.words)
    assert written == "".join(text.split())
    assert [word.pointless for word in block.words] == ["." not in text[w.start : w.end] for w in block.words]


def test_what_is_not_plainest() -> None:
    for text in ("X.5", "X+5", "X1 5", "G0 P1", "X5.5.5", "X", "X--5", "N1.5", "X12345678", "A5", "X\xb2", "%", "/X5"):
        assert not PLAINEST.fullmatch(text)
