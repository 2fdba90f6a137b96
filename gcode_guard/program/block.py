"""Blocks: the bytes are the truth, the words a view of them (NISTIR 6556, section 3.3; ISO 6983-1).

Words that are written in the plainest way are read by a pattern; pygcode reads the words of other ordinary blocks, and
must agree with the pattern that finds their places; spaces inside numbers, expressions, parameters and odd comments are
read here. tests/language/test_plainest.py holds that pygcode reads the plainest words as the pattern does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal

from .errors import NotUnderstood
from .expression import Cursor, Parameters, Value

LONGEST = 4096  # characters in a block; the report allows 256, exporters write longer comments
COMMENT = "\x01"  # stands in the body for every character of a comment
BLANK = " \t"
CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f]")
BYTE_ORDER_MARK = "\xef\xbb\xbf"  # of UTF-8, byte for byte

ORDINARY = re.compile(
    r"[ \t\x01]*(?:(?:[GM]\d{1,3}(?:\.\d)?|[NLT]\d{1,7}|[XYZIJKFSRPQHD]-?(?:\d{1,7}(?:\.\d{0,7})?|\.\d{1,7}))"
    r"(?=[ \t\x01A-Z]|$)[ \t\x01]*)+",
    re.IGNORECASE,
)
PLAINEST = re.compile(
    r"[ \t\x01]*(?:(?:[GM]\d{1,3}(?:\.\d)?|[NT]\d{1,7}|[XYZIJKFSR]-?\d{1,7}(?:\.\d{0,7})?)"
    r"(?=[ \t\x01A-Z]|$)[ \t\x01]*)+",
    re.IGNORECASE,
)
ORDINARY_WORD = re.compile(r"([A-Z])(-?[\d.]+)", re.IGNORECASE)
LETTERS = "GMNLTXYZIJKFSRPQHDOABCUVWE"


@dataclass(slots=True)
class Word:
    """One letter with its number. `start` and `end` are its place in the text; `literal` is False for expressions."""

    letter: str
    value: Decimal
    start: int
    end: int
    literal: bool = True
    pointless: bool = False


@dataclass(slots=True)
class Block:
    """One line of a program: `raw` to the byte, `text` without its line end, and what is written on it."""

    line: int
    raw: bytes
    text: str
    ending: str
    deleted: bool = False
    percent: bool = False
    commented: bool = False
    words: list[Word] = field(default_factory=list)
    settings: list[tuple[str, Value]] = field(default_factory=list)
    setting_spans: list[tuple[int, int]] = field(default_factory=list)


def split_ending(raw: bytes) -> tuple[str, str]:
    """The text of a raw line and its line end ("\\n", "\\r\\n", "\\r" or nothing), decoded byte for byte (Latin-1)."""
    text = raw.decode("latin-1")
    for ending in ("\r\n", "\n", "\r"):
        if text.endswith(ending):
            return text[: -len(ending)], ending
    return text, ""


def strip_comments(text: str) -> str:
    """The text with every character of a comment replaced by COMMENT, so that places stay where they are.

    Raises NotUnderstood for an open or a stray parenthesis. A comment within a comment ends at the first closing
    parenthesis for some controls and at its own for others: it passes where nothing follows that could be a word.
    """
    if "(" not in text and ";" not in text and ")" not in text:
        return text
    out = list(text)
    at = 0
    while at < len(text):
        if text[at] == ";":
            out[at:] = COMMENT * (len(text) - at)
            break
        if text[at] == ")":
            raise NotUnderstood("a parenthesis closes that was not opened", "write comments as (text)")
        if text[at] != "(":
            at += 1
            continue
        end = text.find(")", at)
        if end < 0:
            raise NotUnderstood("a comment is opened and not closed on its line", "close it with a parenthesis")
        if "(" in text[at + 1 : end]:
            if not _is_end_of_nest(text[at:], text[end + 1 :]):
                raise NotUnderstood("a comment stands within a comment and more follows on the line",
                                    "write one comment after the other")
            end = len(text) - 1
        out[at : end + 1] = COMMENT * (end + 1 - at)
        at = end + 1
    return "".join(out)


def _is_end_of_nest(nest: str, rest: str) -> bool:
    """True where a comment within a comment is the last of its line however it is read: `rest`, behind its first
    closing parenthesis, is nothing but closing ones, or text without a number that ends with the outer comment."""
    if not rest.strip(BLANK + ")"):
        return True
    depth = 0
    for k, character in enumerate(nest):
        depth += {"(": 1, ")": -1}.get(character, 0)
        if depth == 0:
            return not nest[k + 1 :].strip(BLANK) and not re.search(r"[0-9#%\[]", rest)
    return False


def read_block(line: int, raw: bytes, parameters: Parameters) -> Block:
    """Reads one line. Raises NotUnderstood where it does not parse with certainty.

    Settings of parameters are returned, not made: they take effect after the block (NISTIR 6556, section 3.3.3).
    """
    text, ending = split_ending(raw)
    block = Block(line, raw, text, ending)
    if len(text) > LONGEST:
        raise NotUnderstood(f"the line is longer than {LONGEST} characters", "is this a G-code program?")
    control = CONTROL.search(text)
    if control is not None:
        name = "a carriage return in the middle of a line" if control.group() == "\r" else "a control character"
        raise NotUnderstood(f"{name} (byte {ord(control.group())})", "export the program again as plain text")
    body = strip_comments(text)
    block.commented = COMMENT in body
    stripped = body.strip(BLANK + COMMENT)
    if not stripped:
        return block
    if stripped == "%":
        block.percent = True
        return block
    if stripped[0] == "/":
        place = body.index("/")
        if COMMENT in body[:place]:
            raise NotUnderstood("a slash stands behind a comment", "put the slash first on its line")
        block.deleted = True
        body = body[:place] + " " + body[place + 1 :]
    if PLAINEST.fullmatch(body):
        block.words = [_word(match) for match in ORDINARY_WORD.finditer(body)]
    elif ORDINARY.fullmatch(body):
        _read_ordinary(block, body)
    else:
        _read_words(block, body, parameters)
    return block


def _word(match: re.Match[str]) -> Word:
    letter, number = match.groups()
    return Word(letter.upper(), Decimal(number), match.start(), match.end(), pointless="." not in number)


def _read_ordinary(block: Block, body: str) -> None:
    from pygcode.words import text2words

    matches = list(ORDINARY_WORD.finditer(body))
    theirs = list(text2words(body.replace(COMMENT, " ")))
    if len(matches) != len(theirs):
        raise NotUnderstood("two readers do not agree on the words of this block", "write one word after the other")
    for match, word in zip(matches, theirs, strict=True):
        ours = _word(match)
        if ours.letter != word.letter or float(ours.value) != float(word.value):
            raise NotUnderstood("two readers do not agree on the words of this block", "write one word after the other")
        block.words.append(ours)


def _read_words(block: Block, body: str, parameters: Parameters) -> None:
    places = [k for k, c in enumerate(body) if c not in BLANK]
    compact = "".join(body[k] for k in places)
    if not compact.isascii():
        raise _foreign(compact)
    compact = compact.upper()
    places.append(len(body))
    cursor = Cursor(compact, parameters)
    while cursor.at < len(compact):
        begin = cursor.at
        letter = compact[begin]
        if letter == COMMENT:
            cursor.at += 1
            continue
        if letter == "#":
            _read_setting(block, cursor, places, begin)
            continue
        if letter == "/":
            raise NotUnderstood("a slash stands behind the beginning of the block", "put it first on its line")
        if letter not in LETTERS:
            raise NotUnderstood(f"{letter!r} is not a word of a G-code program", "put text into a comment")
        cursor.at += 1
        _refuse_flow_control(block, letter, compact[cursor.at : cursor.at + 1])
        value = cursor.real_value()
        written = compact[begin + 1 : cursor.at]
        literal = written.lstrip("+-").replace(".", "").isdigit()
        block.words.append(
            Word(letter, value, places[begin], places[cursor.at - 1] + 1, literal, literal and "." not in written))


def _refuse_flow_control(block: Block, letter: str, behind: str) -> None:
    """Refuses an O without a number, and a word without one behind O and its number."""
    others = [word.letter for word in block.words if word.letter != "N"]
    if letter == "O" and others and not behind.isdigit():
        raise NotUnderstood("an O stands where a zero may be meant", "write the zero as a digit")
    if (letter == "O" and not behind.isdigit()) or (others == ["O"] and behind.isalpha()):
        raise NotUnderstood("flow control and named subprograms are not followed",
                            "export without them, or with plain M98 calls of numbered subprograms")


def _foreign(text: str) -> NotUnderstood:
    if text.startswith(BYTE_ORDER_MARK):
        return NotUnderstood("the file begins with a byte order mark, which a control may not take",
                             "save it as plain ASCII text, or as UTF-8 without the mark")
    return NotUnderstood("a character that is not G-code stands outside a comment", "put text into a comment")


def _read_setting(block: Block, cursor: Cursor, places: list[int], begin: int) -> None:
    name = cursor.parameter()
    if not cursor.peek("="):
        raise NotUnderstood(f"parameter #{name} stands alone", "a setting is written #1=5")
    cursor.at += 1
    block.settings.append((name, cursor.value()))
    block.setting_spans.append((places[begin], places[cursor.at - 1] + 1))
