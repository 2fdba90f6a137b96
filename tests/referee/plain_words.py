"""One line of a program: comments off, words out, expressions worked out (NISTIR 6556, section 3.3).

Written from the RS274/NGC report, from memory, as plain as possible. Numbers that are written out are kept as
Fractions, so that a sum of increments is exact; whatever passes through a function becomes a float.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction

Number = Fraction | float
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
LETTERS = "ABCDFGHIJKLMNOPQRSTUVWXYZ"
FUNCTIONS = ("ABS", "ACOS", "ASIN", "ATAN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT", "TAN")


class NotUnderstood(Exception):
    """The referee cannot say with certainty what the line does. `line` counts from 1."""

    def __init__(self, line: int, why: str) -> None:
        super().__init__(f"line {line}: {why}")
        self.line = line
        self.why = why


@dataclass
class Line:
    """A line without its comments and blanks, in upper case. `code` is "" on a line that does nothing."""

    number: int
    code: str
    slash: bool = False
    trouble: NotUnderstood | None = None
    """What is wrong with the line, should it ever be executed."""


@dataclass
class Words:
    """The words of a line. `values` holds every letter but G and M once; `whole` those written without a point."""

    line: int
    g: list[float] = field(default_factory=list)
    m: list[int] = field(default_factory=list)
    values: dict[str, Number] = field(default_factory=dict)
    whole: set[str] = field(default_factory=set)
    settings: list[tuple[object, Number]] = field(default_factory=list)


def split_lines(program: bytes) -> list[Line]:
    """The lines of the text, comments and blanks taken out."""
    texts = program.decode("latin-1").split("\n")
    if texts and texts[-1] == "":
        texts.pop()
    lines = []
    for number, text in enumerate(texts, 1):
        try:
            lines.append(clean_line(number, text))
        except NotUnderstood as trouble:
            lines.append(Line(number, "?", trouble=trouble))
    return lines


def clean_line(number: int, text: str) -> Line:
    """Take comments, blanks and the block-delete mark off one line."""
    if text.endswith("\r"):
        text = text[:-1]
    code = without_comments(number, text)
    if any(ord(letter) > 126 for letter in code):
        raise NotUnderstood(number, "a character that is no G-code")
    code = code.replace(" ", "").replace("\t", "").upper()
    slash = code.startswith("/")
    if slash and not text.lstrip(" \t").startswith("/"):
        raise NotUnderstood(number, "a / behind a comment")
    if slash:
        code = code[1:]
    if any(not 32 < ord(letter) < 127 for letter in code):
        raise NotUnderstood(number, "a character that is no G-code")
    return Line(number, code, slash)


def without_comments(number: int, text: str) -> str:
    """The text outside (...) and before ; on one line."""
    kept = ""
    place = 0
    while place < len(text):
        letter = text[place]
        if letter == ";":
            return kept
        if letter == "(":
            close = text.find(")", place)
            if close < 0:
                raise NotUnderstood(number, "a comment that is not closed")
            if "(" in text[place + 1 : close]:
                # Section 3.3.4 allows no comment within a comment. Where nothing but closing marks follow,
                # every way of reading it says the same.
                if text[close:].strip(" \t)") != "":
                    raise NotUnderstood(number, "a comment within a comment, and something after it")
                return kept
            place = close + 1
            continue
        if letter == ")":
            raise NotUnderstood(number, "a comment that is closed but was not opened")
        kept += letter
        place += 1
    return kept


class Reader:
    """Recursive descent over the code of one line; `parameters` are those set before this line."""

    def __init__(self, line: Line, parameters: dict[object, Number]) -> None:
        self.line = line
        self.code = line.code
        self.place = 0
        self.parameters = parameters

    def fail(self, why: str) -> NotUnderstood:
        return NotUnderstood(self.line.number, why)

    def next(self, text: str) -> bool:
        """Step over `text` if it stands here."""
        if self.code.startswith(text, self.place):
            self.place += len(text)
            return True
        return False

    def words(self) -> Words:
        found = Words(self.line.number)
        if self.next("N"):
            digits = re.compile(r"\d+").match(self.code, self.place)
            if digits is None:
                raise self.fail("a line number without a number")
            self.place = digits.end()
            if self.code.startswith(".", self.place):
                raise self.fail("a line number with a point")
        while self.place < len(self.code):
            if self.next("#"):
                name = self.parameter_name()
                if not self.next("="):
                    raise self.fail("a parameter that is neither set nor used")
                found.settings.append((name, self.value()))
            else:
                self.word(found)
        return found

    def word(self, found: Words) -> None:
        letter = self.code[self.place]
        if letter not in LETTERS or letter == "N":
            raise self.fail(f"{letter} where a word should start")
        self.place += 1
        start = self.place
        number = self.value()
        text = self.code[start : self.place]
        if letter == "G":
            tenths = round(float(number) * 10)
            if abs(float(number) * 10 - tenths) > 0.001:
                raise self.fail(f"G{text} is no code")
            found.g.append(tenths / 10)
        elif letter == "M":
            found.m.append(self.integer(number, "M"))
        elif letter in found.values:
            raise self.fail(f"{letter} twice in one block")
        else:
            found.values[letter] = number
            if "." not in text:
                found.whole.add(letter)

    def integer(self, number: Number, what: str) -> int:
        nearest = round(float(number))
        if abs(float(number) - nearest) > 0.0001:
            raise self.fail(f"{what} needs a whole number")
        return nearest

    def parameter_name(self) -> object:
        """What follows a # : a number, worked out, or <a name>."""
        if self.next("<"):
            end = self.code.find(">", self.place)
            if end <= self.place:
                raise self.fail("a parameter name that does not end")
            name = self.code[self.place : end]
            self.place = end + 1
            return name
        index = self.integer(self.value(), "#")
        if not 1 <= index < 5000:
            # From 5061 on the report keeps probe results, home positions and offsets: not ours to guess.
            raise self.fail(f"parameter {index} belongs to the control")
        return index

    def value(self) -> Number:
        """A real value: a number, a parameter, an expression or a function of one."""
        if self.next("["):
            return self.rest_of_expression()
        if self.next("#"):
            name = self.parameter_name()
            if name not in self.parameters:
                raise self.fail(f"parameter {name} was not set by the program")
            return self.parameters[name]
        for name in FUNCTIONS:
            if self.next(name):
                return self.function(name)
        found = NUMBER.match(self.code, self.place)
        if found is None:
            raise self.fail("a number that does not parse")
        self.place = found.end()
        if self.code.startswith(".", self.place):
            raise self.fail("a number with two points")
        return Fraction(found.group())

    def function(self, name: str) -> Number:
        if not self.next("["):
            raise self.fail(f"{name} without a bracket")
        first = self.rest_of_expression()
        if name == "ATAN":
            if not self.next("/["):
                raise self.fail("ATAN needs two arguments")
            return math.degrees(math.atan2(float(first), float(self.rest_of_expression())))
        try:
            return apply_function(name, first)
        except (ValueError, OverflowError):
            raise self.fail(f"{name} of {float(first)}") from None

    def rest_of_expression(self) -> Number:
        """The terms after [ up to and with ]. Section 3.3.2.3: ** binds first, then * / MOD, then the rest."""
        result = self.sum()
        if not self.next("]"):
            raise self.fail("an expression that does not end")
        return result

    def sum(self) -> Number:
        left = self.product()
        while True:
            for operator in ("+", "-", "XOR", "AND", "OR"):
                if self.next(operator):
                    left = self.combine(operator, left, self.product())
                    break
            else:
                return left

    def product(self) -> Number:
        left = self.power()
        while True:
            for operator in ("*", "/", "MOD"):
                if not self.code.startswith("**", self.place) and self.next(operator):
                    left = self.combine(operator, left, self.power())
                    break
            else:
                return left

    def power(self) -> Number:
        left = self.value()
        while self.next("**"):
            left = self.combine("**", left, self.value())
        return left

    def combine(self, operator: str, left: Number, right: Number) -> Number:
        try:
            return combine(operator, left, right)
        except (ValueError, ZeroDivisionError, OverflowError):
            raise self.fail(f"{float(left)} {operator} {float(right)}") from None


def combine(operator: str, left: Number, right: Number) -> Number:
    """One binary operation (section 3.3.2.3). The logical ones give 1 or 0; MOD is never negative."""
    if operator == "+":
        return left + right
    if operator == "-":
        return left - right
    if operator == "*":
        return left * right
    if operator == "/":
        return left / right
    if operator == "MOD":
        if right == 0:
            raise ZeroDivisionError
        remainder = math.fmod(float(left), float(right))
        return remainder + abs(float(right)) if remainder < 0 else remainder
    if operator == "**":
        if left < 0 and float(right) != math.floor(float(right)):
            raise ValueError
        return math.pow(float(left), float(right))
    if operator == "AND":
        return Fraction(int(left != 0 and right != 0))
    if operator == "OR":
        return Fraction(int(left != 0 or right != 0))
    return Fraction(int((left != 0) != (right != 0)))


def apply_function(name: str, value: Number) -> Number:
    """One function of one argument; angles in degrees (section 3.3.2.4)."""
    if name == "ABS":
        return abs(value)
    if name == "FIX":
        return Fraction(math.floor(value))
    if name == "FUP":
        return Fraction(math.ceil(value))
    if name == "ROUND":
        return Fraction(math.floor(value + Fraction(1, 2)))
    number = float(value)
    if name in ("SIN", "COS", "TAN"):
        return {"SIN": math.sin, "COS": math.cos, "TAN": math.tan}[name](math.radians(number))
    if name in ("ASIN", "ACOS"):
        return math.degrees({"ASIN": math.asin, "ACOS": math.acos}[name](number))
    return {"EXP": math.exp, "LN": math.log, "SQRT": math.sqrt}[name](number)
