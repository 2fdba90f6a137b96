"""Parameters and expressions of the RS274/NGC report (NISTIR 6556, sections 3.3.2.2 to 3.3.2.4 and 3.3.3).

Values are `decimal.Decimal`, so that sums and products of what a program writes stay exact; the functions that
have no exact value go through `float`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from decimal import Decimal, DecimalException

from .errors import NotUnderstood

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
NAME = re.compile(r"<([A-Z0-9_]+)>")
Parameters = dict[str, Decimal]

# Parameters from here on belong to the control (home positions, offsets, tool data): NISTIR 6556, table 2.
FIRST_SYSTEM_PARAMETER = 5000

UNARY = ("ABS", "ACOS", "ASIN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT", "TAN")
# Order of evaluation, NISTIR 6556 section 3.3.2.3: power first, then products, then sums and logic.
LEVELS = (("**",), ("*", "/", "MOD"), ("+", "-", "OR", "XOR", "AND"))


def _from_float(value: float) -> Decimal:
    if not math.isfinite(value):
        raise NotUnderstood("the expression has no finite value", "write the number itself")
    return Decimal(repr(value))


def _degrees(function: Callable[[float], float]) -> Callable[[Decimal], Decimal]:
    return lambda v: _from_float(function(math.radians(float(v))))


FUNCTIONS: dict[str, Callable[[Decimal], Decimal]] = {
    "ABS": abs,
    "ACOS": lambda v: _from_float(math.degrees(math.acos(float(v)))),
    "ASIN": lambda v: _from_float(math.degrees(math.asin(float(v)))),
    "COS": _degrees(math.cos),
    "EXP": lambda v: _from_float(math.exp(float(v))),
    "FIX": lambda v: Decimal(math.floor(v)),
    "FUP": lambda v: Decimal(math.ceil(v)),
    "LN": lambda v: _from_float(math.log(float(v))),
    # "rounds to the nearest integer": halves away from zero, as C's rounding of positive halves does.
    "ROUND": lambda v: Decimal(math.floor(abs(v) + Decimal("0.5"))).copy_sign(v),
    "SIN": _degrees(math.sin),
    "SQRT": lambda v: _from_float(math.sqrt(float(v))),
    "TAN": _degrees(math.tan),
}


def _truth(value: bool) -> Decimal:
    return Decimal(1 if value else 0)


def _power(a: Decimal, b: Decimal) -> Decimal:
    result = float(a) ** float(b)
    if isinstance(result, complex):
        raise NotUnderstood("a root of a negative number has no value", "write the number itself")
    return _from_float(result)


BINARY: dict[str, Callable[[Decimal, Decimal], Decimal]] = {
    "**": _power,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "MOD": lambda a, b: a - b * Decimal(math.floor(a / b)),
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "OR": lambda a, b: _truth(a != 0 or b != 0),
    "XOR": lambda a, b: _truth((a != 0) != (b != 0)),
    "AND": lambda a, b: _truth(a != 0 and b != 0),
}


class Cursor:
    """Reads real values from one block, upper case and without blanks, from left to right."""

    def __init__(self, text: str, parameters: Parameters, at: int = 0) -> None:
        self.text = text
        self.at = at
        self.parameters = parameters
        self.depth = 0

    def peek(self, what: str) -> bool:
        return self.text.startswith(what, self.at)

    def real_value(self) -> Decimal:
        """A number, an expression, a parameter's value or a function (NISTIR 6556, section 3.3.2).

        Raises NotUnderstood where there is none, or where it depends on a value that the program did not set.
        """
        try:
            return self._real_value()
        except (DecimalException, ArithmeticError, ValueError) as error:
            raise NotUnderstood("the expression has no value (it divides by zero or leaves its range)",
                                "write the number itself") from error

    def _real_value(self) -> Decimal:
        match = NUMBER.match(self.text, self.at)
        if match:
            self.at = match.end()
            return Decimal(match.group())
        if self.peek("["):
            return self.expression()
        if self.peek("#"):
            return self.parameter_value()
        if self.peek("ATAN"):
            return self._arc_tangent()
        for name in UNARY:
            if self.peek(name):
                self.at += len(name)
                return FUNCTIONS[name](self.expression())
        raise NotUnderstood("a number is missing or does not parse", "write it as digits with at most one point")

    def _arc_tangent(self) -> Decimal:
        self.at += len("ATAN")
        first = self.expression()
        if not self.peek("/"):
            raise NotUnderstood("ATAN needs two values: ATAN[..]/[..]", "write the number itself")
        self.at += 1
        return _from_float(math.degrees(math.atan2(float(first), float(self.expression()))))

    def expression(self) -> Decimal:
        """A bracketed expression; each level of LEVELS binds tighter than the next and goes left to right."""
        if not self.peek("["):
            raise NotUnderstood("a bracket is missing", "write functions as SIN[..]")
        self.depth += 1
        if self.depth > 50:
            raise NotUnderstood("brackets are nested too deep", "write the number itself")
        self.at += 1
        values, operators = [self._real_value()], []
        while not self.peek("]"):
            operators.append(self._operator())
            values.append(self._real_value())
        self.at += 1
        self.depth -= 1
        for level in LEVELS:
            k = 0
            while k < len(operators):
                if operators[k] in level:
                    values[k : k + 2] = [BINARY[operators.pop(k)](values[k], values[k + 1])]
                else:
                    k += 1
        return values[0]

    def _operator(self) -> str:
        for operator in ("**", "*", "/", "MOD", "+", "-", "OR", "XOR", "AND"):
            if self.peek(operator):
                self.at += len(operator)
                return operator
        raise NotUnderstood("an expression does not parse", "use + - * / ** MOD AND OR XOR and closing brackets")

    def parameter(self) -> str:
        """The parameter behind a `#`: its number, or its name in angle brackets."""
        self.at += 1
        match = NAME.match(self.text, self.at)
        if match:
            self.at = match.end()
            return match.group(1)
        number = self._real_value()
        if number != int(number) or number < 1:
            raise NotUnderstood(f"#{number} is not a parameter", "use whole numbers from 1")
        return str(int(number))

    def parameter_value(self) -> Decimal:
        name = self.parameter()
        value = self.parameters.get(name)
        if value is None:
            raise NotUnderstood(f"it depends on parameter #{name}, which the program did not set before",
                                "set it in the program, or write the number itself")
        return value
