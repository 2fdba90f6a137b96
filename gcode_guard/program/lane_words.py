"""The words of a batch of lines as columns: every number of some thousand blocks read at once.

One `translate` recodes the batch: a byte below 0x40 is part of a number or unexpected, every other one a token (a
letter, a comment, a line end). A number is everything between two tokens, so that nothing slips past: a parenthesis,
a slash, a percent sign or a byte that is no text makes its line special, and special lines are left to the exact
reader. The eight bytes that end where a number ends are loaded as one integer, checked at once, and combined in three
steps from single digits to eight of them (digits in parallel within one register). The values stay integers with a
number of decimals: sums are exact, and one division by a power of ten is rounded as Decimal to float is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .block import LONGEST

Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

# A comment that may be passed over; other parentheses and control characters in it make its line special.
BRACKETED = re.compile(rb"\([^()\x00-\x08\x0a-\x1f]*\)")
TO_THE_END = re.compile(rb";[^\x00-\x08\x0a-\x1f]*")
EITHER = re.compile(BRACKETED.pattern + rb"|" + TO_THE_END.pattern)
_MARK = b"\x01"  # stands for a comment: no part of a number

_POINT, _UNEXPECTED, _MINUS, _PLUS = 0x10, 0x20, 0x30, 0x31
_TOKEN = 0x40  # codes from here on are tokens
_COMMENT_CODE, _LINE_END = 0x7E, 0x7F
_PAD = 16  # bytes before the batch, so that what ends in its first byte can be loaded

DECIMALS = 7  # values are whole numbers of 10**-DECIMALS of a unit
MOST = 10**6 * 10**DECIMALS  # as far as values go here; beyond, lines are special
POWERS = 10 ** np.arange(DECIMALS + 1, dtype=np.int64)


def _codes() -> bytes:
    table = bytearray([_UNEXPECTED] * 256)
    for digit in range(10):
        table[ord("0") + digit] = digit
    for letter in range(ord("A"), ord("Z") + 1):
        table[letter] = table[letter + 32] = letter
    table[ord(".")], table[ord("-")], table[ord("+")] = _POINT, _MINUS, _PLUS
    table[ord("\n")], table[_MARK[0]] = _LINE_END, _COMMENT_CODE
    return bytes(table)


_CODES = _codes()
_BLANKS = b" \t"
_U = np.uint64
_ALL = 0xFFFFFFFFFFFFFFFF
# Which of eight bytes belong to a number of so many characters.
_KEPT = np.array([0] + [_ALL << 8 * (8 - k) & _ALL for k in range(1, 9)] + [_ALL] * 9, dtype=np.uint64)
_LONGEST_NUMBER = 16
_UNKNOWN, _NUMBERED, _BARE, _CODE = range(4)  # what a token is: no letter that is known here, ..., a G
_ROLES = np.full(128, _UNKNOWN, dtype=np.uint8)
_ROLES[[ord(letter) for letter in "NXYZIJF"]] = _NUMBERED
_ROLES[[_COMMENT_CODE, _LINE_END]] = _BARE
_ROLES[ord("G")] = _CODE


@dataclass(slots=True)
class Column:
    """The words of one letter: `lines` (k,) ascending, from 0 within the batch, and `values` (k,) int, in
    10**-DECIMALS of a unit; G and N in whole ones."""

    lines: Integers
    values: Integers


@dataclass(slots=True)
class Words:
    """The words of a batch: a column for each letter that it has, and which lines are special, (n,) bool."""

    columns: dict[str, Column]
    special: Booleans


class Batch:
    """Some whole lines of a program: their bytes, where they end, and their words once they are asked for."""

    def __init__(self, data: bytes, pointless: bool = True) -> None:
        self.data = data
        self._pointless = pointless
        self._words: Words | None = None
        self._specials: Integers | None = None

    @cached_property
    def ends(self) -> Integers:
        """(n,) int: the place behind each line."""
        ends = np.flatnonzero(np.frombuffer(self.data, dtype=np.uint8) == 10) + 1
        return ends if not self.data or self.data.endswith(b"\n") else np.append(ends, len(self.data))

    def __len__(self) -> int:
        return len(self.ends)

    def offset(self, number: int) -> int:
        """Where a line begins."""
        return int(self.ends[number - 1]) if number else 0

    def raw(self, number: int) -> bytes:
        return self.data[self.offset(number) : int(self.ends[number])]

    def raws(self, numbers: Integers) -> list[bytes]:
        """Some lines, in a fraction of the time that each by itself takes."""
        begins = np.append(0, self.ends).take(numbers).tolist()
        return [self.data[begin:end] for begin, end in zip(begins, self.ends.take(numbers).tolist(), strict=True)]

    @property
    def words(self) -> Words:
        if self._words is None:
            whole = self.data if self.data.endswith(b"\n") else self.data[: self.data.rfind(b"\n") + 1]
            self._words = read_words(whole, int(np.searchsorted(self.ends, len(whole), side="right")), self._pointless)
            self._words.special |= too_long(self.ends[: len(self._words.special)])
            self._specials = np.flatnonzero(self._words.special)
        return self._words

    def ordinary_to(self, number: int) -> int:
        """The first line from `number` on that is special, or the number of lines; a last line without end is."""
        words = self.words
        assert self._specials is not None
        at = int(np.searchsorted(self._specials, number))
        return int(self._specials[at]) if at < len(self._specials) else len(words.special)


def read_words(data: bytes, count: int, pointless: bool = True) -> Words:
    """The words of `count` whole lines, each with its line feed.

    With `pointless` false, lines with lengths without a point are special.

    Special is every line that is not of plain N, G0 to G3, X, Y, Z, I, J, F words with numbers of at most DECIMALS
    decimals, below a million, one word of each letter, N first; blank lines and comments are not.
    """
    if _MARK in data:
        return Words({}, np.ones(count, dtype=np.bool_))
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
    if b"(" in data or b";" in data:
        # One of them alone is found several times faster, since all that it can begin with is one character.
        comment = BRACKETED if b";" not in data else TO_THE_END if b"(" not in data else EITHER
        data = comment.sub(_MARK, data)
    return _read(data.translate(_CODES, _BLANKS), count, pointless)


def too_long(ends: Integers) -> Booleans:
    """Which lines are longer than a block may be, from the places (n,) behind their line ends."""
    return np.diff(ends, prepend=0) > LONGEST


def _read(codes: bytes, count: int, pointless: bool) -> Words:
    buffer = bytes([_LINE_END]) * _PAD + codes
    code = np.frombuffer(buffer, dtype=np.uint8)
    token = np.flatnonzero(code[_PAD - 1 :] >= _TOKEN)
    token += _PAD - 1
    letter = code.take(token)
    line = np.cumsum(letter == _LINE_END)
    line -= 1
    begin, end = token[:-1], token[1:]
    letter, line = letter[:-1], line[:-1]
    length = end - begin
    length -= 1
    role = _ROLES.take(letter)
    bad = role == _UNKNOWN
    bad |= (role == _BARE) & (length != 0)
    words = Words({}, np.zeros(count, dtype=np.bool_))
    words.special[line[bad]] = True
    present = np.bincount(letter, minlength=128)
    if present[ord("G")]:
        at = np.flatnonzero(role == _CODE)
        _add_codes(words, code, line[at], begin[at], length[at])
    at = np.flatnonzero(role == _NUMBERED)
    if len(at):
        _add_numbers(words, buffer, code, at, letter, line, begin, end, pointless)
    return words


def _add_codes(words: Words, code: NDArray[np.uint8], line: Integers, begin: Integers, length: Integers) -> None:
    """G0 to G3, with leading zeros or without; every other code is special."""
    value = code.take(begin + length)
    wrong = (value > 3) | (length < 1) | (length > 3)
    for zeros in (1, 2):
        leading = length > zeros
        if leading.any():
            wrong |= leading & (code.take(begin + length - zeros) != 0)
    words.special[line[wrong]] = True
    _add_column(words, "G", line, value.astype(np.int64))


def _add_numbers(words: Words, buffer: bytes, code: NDArray[np.uint8], at: Integers, letters: NDArray[np.uint8],
                 lines: Integers, begins: Integers, ends: Integers, pointless: bool) -> None:
    """The columns of every letter that is followed by a number; `at` are the tokens."""
    letter, line, begin, end = letters[at], lines[at], begins[at], ends[at]
    first = code.take(begin + 1)
    signed = (first & 0xF0) == _MINUS
    length = end - begin
    length -= 1
    length -= signed
    value, decimals, pointed, bad = _numbers(buffer, end, length)
    np.negative(value, out=value, where=first == _MINUS)
    words.special[line[bad]] = True
    present = np.bincount(letter, minlength=128)
    for name in "NXYZIJF":
        if not present[ord(name)]:
            continue
        of = np.flatnonzero(letter == ord(name))
        if name == "N":
            wrong = signed[of] | pointed[of] | (length[of] > 7) | (letters.take(at[of] - 1) != _LINE_END)
            words.special[line[of][wrong]] = True
            _add_column(words, name, line[of], value[of])
        else:
            _add_lengths(words, name, line[of], value[of], decimals[of], pointed[of] | pointless)


def _numbers(buffer: bytes, end: Integers, length: Integers) -> tuple[Integers, Integers, Booleans, Booleans]:
    """Values without sign as whole numbers (m,), their decimals (m,), whether they have a point, and which are bad.

    `end` (m,) are the places behind the numbers, `length` (m,) their characters without the sign.
    """
    loads = np.ndarray(shape=(len(buffer) - 7,), dtype="V8", buffer=buffer, strides=(1,))
    short = np.minimum(length, _LONGEST_NUMBER)
    value, decimals, points, bad = _eight(loads[end - 8].view(np.uint64), _KEPT.take(short))
    long = np.flatnonzero(length > 8)
    if len(long):
        _lengthen(loads, end, short, long, value, decimals, points, bad)
    pointed = points != 0
    bad |= length - pointed < 1
    bad |= length > _LONGEST_NUMBER
    bad |= decimals > DECIMALS
    return value, decimals, pointed, bad


def _eight(window: NDArray[np.uint64], kept: NDArray[np.uint64]) -> tuple[Integers, Integers, Integers, Booleans]:
    """Reads up to eight characters each: value, decimals, number of points, and what is neither digit nor point.

    The first character is in the lowest byte. A point is squeezed out by moving what stands before it up by a byte.
    """
    window &= kept
    points = window & _U(0x1010101010101010)
    bad = (window & _U(0xE0E0E0E0E0E0E0E0)) != 0
    before = points - _U(1)
    bad |= (points & before) != 0
    # The point of the byte p is 1 << 8p; times this factor the highest byte is 7 - p, the decimals.
    decimals = ((points >> _U(4)) * _U(0x0706050403020100)) >> _U(56)
    before &= window
    window ^= before
    window ^= points
    pointed = points != 0
    before <<= pointed.astype(np.uint64) << _U(3)
    window += before
    for shift, factor, lanes in ((8, 10, 0x00FF00FF00FF00FF), (16, 100, 0x0000FFFF0000FFFF), (32, 10000, 0xFFFFFFFF)):
        np.right_shift(window, _U(shift), out=before)
        window *= _U(factor)
        window += before
        window &= _U(lanes)
    return window.view(np.int64), decimals.view(np.int64), points.view(np.int64), bad


def _lengthen(loads: np.ndarray, end: Integers, length: Integers, long: Integers, value: Integers, decimals: Integers,
              points: Integers, bad: Booleans) -> None:
    """Adds the characters before the last eight to the numbers that have more."""
    high, high_decimals, high_points, wrong = _eight(
        loads[end[long] - 16].view(np.uint64), _KEPT.take(length[long] - 8))
    digits = 8 - (points[long] != 0)
    value[long] += high * np.where(digits == 8, 10**8, 10**7)
    before = high_points != 0
    wrong |= before & (points[long] != 0)
    decimals[long] = np.where(before, high_decimals + 8, decimals[long])
    points[long] |= high_points
    bad[long] |= wrong


def _add_lengths(words: Words, name: str, lines: Integers, values: Integers, decimals: Integers,
                 pointed: Booleans) -> None:
    wrong = np.abs(values) > MOST  # before it is scaled, so that it cannot overflow
    values = values * POWERS.take(DECIMALS - np.minimum(decimals, DECIMALS))
    wrong |= np.abs(values) >= MOST
    if name == "F":
        wrong |= values <= 0
    elif not pointed.all():
        wrong |= ~pointed & (values != 0)
    if wrong.any():
        words.special[lines[wrong]] = True
    _add_column(words, name, lines, values)


def _add_column(words: Words, name: str, lines: Integers, values: Integers) -> None:
    """Adds a column. A letter that is twice on a line makes it special."""
    repeated = lines[1:] == lines[:-1]
    if repeated.any():
        words.special[lines[1:][repeated]] = True
    words.columns[name] = Column(lines, values)
