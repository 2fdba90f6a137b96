"""Parameters and expressions of the RS274/NGC report (NISTIR 6556, sections 3.3.2.2 to 3.3.2.4 and 3.3.3).

Every value is worked out twice: in decimals, so that sums and products of what a program writes stay exact, and in
binary floating point, as controls do it. Where the two part (FIX of what is only nearly a whole number), what a control
makes of it is not certain, and the block is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from decimal import Decimal, DecimalException
from typing import NamedTuple

from .errors import NotUnderstood

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
NAME = re.compile(r"<([A-Z0-9_]+)>")
AGREE = 1e-6  # by how much decimals and binary floating point may differ, beside 1


class Value(NamedTuple):
    """A real value, worked out in decimals and in binary floating point."""

    exact: Decimal
    binary: float


Parameters = dict[str, Value]


# Parameters from here on belong to the control (home positions, offsets, tool data): NISTIR 6556, table 2.
FIRST_SYSTEM_PARAMETER = 5000

UNARY = ("ABS", "ACOS", "ASIN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT", "TAN")
# Order of evaluation, NISTIR 6556 section 3.3.2.3: power first, then products, then sums and logic.
LEVELS = (("**",), ("*", "/", "MOD"), ("+", "-", "OR", "XOR", "AND"))


def _from_float(value: float) -> Decimal:
    if not math.isfinite(value):
        raise NotUnderstood("the expression has no finite value", "write the number itself")
    return Decimal(repr(value))


def _by_float(function: Callable[[float], float]) -> Callable[[Value], Value]:
    """For functions whose values are no decimals: both go through binary floating point."""
    return lambda v: Value(_from_float(function(float(v.exact))), function(v.binary))


def _by_both(decimals: Callable[[Decimal], Decimal], binary: Callable[[float], float]) -> Callable[[Value], Value]:
    return lambda v: Value(decimals(v.exact), binary(v.binary))


FUNCTIONS: dict[str, Callable[[Value], Value]] = {
    "ABS": _by_both(abs, abs),
    "ACOS": _by_float(lambda v: math.degrees(math.acos(v))),
    "ASIN": _by_float(lambda v: math.degrees(math.asin(v))),
    "COS": _by_float(lambda v: math.cos(math.radians(v))),
    "EXP": _by_float(math.exp),
    "FIX": _by_both(lambda v: Decimal(math.floor(v)), math.floor),
    "FUP": _by_both(lambda v: Decimal(math.ceil(v)), math.ceil),
    "LN": _by_float(math.log),
    # "rounds to the nearest integer": halves away from zero, as C's rounding of positive halves does.
    "ROUND": _by_both(lambda v: Decimal(math.floor(abs(v) + Decimal("0.5"))).copy_sign(v),
                      lambda v: math.copysign(math.floor(abs(v) + 0.5), v)),
    "SIN": _by_float(lambda v: math.sin(math.radians(v))),
    "SQRT": _by_float(math.sqrt),
    "TAN": _by_float(lambda v: math.tan(math.radians(v))),
}


def _power(a: float, b: float) -> float:
    result = a**b
    if isinstance(result, complex):
        raise NotUnderstood("a root of a negative number has no value", "write the number itself")
    return float(result)


def _decimal_modulo(a: Decimal, b: Decimal) -> Decimal:
    """What is left of a division: never negative, whatever the signs (as the report's own interpreter has it)."""
    left = a % b
    return left + abs(b) if left < 0 else left


def _binary_modulo(a: float, b: float) -> float:
    left = math.fmod(a, b)
    return left + abs(b) if left < 0 else left


# Each operator in decimals and in binary floating point.
BINARY: dict[str, tuple[Callable[[Decimal, Decimal], Decimal], Callable[[float, float], float]]] = {
    "**": (lambda a, b: _from_float(_power(float(a), float(b))), _power),
    "*": (lambda a, b: a * b, lambda a, b: a * b),
    "/": (lambda a, b: a / b, lambda a, b: a / b),
    "MOD": (_decimal_modulo, _binary_modulo),
    "+": (lambda a, b: a + b, lambda a, b: a + b),
    "-": (lambda a, b: a - b, lambda a, b: a - b),
    "OR": (lambda a, b: Decimal(a != 0 or b != 0), lambda a, b: float(a != 0 or b != 0)),
    "XOR": (lambda a, b: Decimal((a != 0) != (b != 0)), lambda a, b: float((a != 0) != (b != 0))),
    "AND": (lambda a, b: Decimal(a != 0 and b != 0), lambda a, b: float(a != 0 and b != 0)),
}


def _combine(operator: str, a: Value, b: Value) -> Value:
    decimals, binary = BINARY[operator]
    return Value(decimals(a.exact, b.exact), binary(a.binary, b.binary))


def _certain(value: Value) -> Value:
    """The value, where both ways of working it out give the same."""
    if not abs(float(value.exact) - value.binary) <= AGREE * (1 + abs(value.binary)):
        raise NotUnderstood("rounding within the control decides what this expression comes to",
                            "write the number itself")
    return value


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
        return self.value().exact

    def value(self) -> Value:
        """Like `real_value`, for a setting of a parameter."""
        try:
            return _certain(self._real_value())
        except (DecimalException, ArithmeticError, ValueError) as error:
            raise NotUnderstood("the expression has no value (it divides by zero or leaves its range)",
                                "write the number itself") from error

    def _real_value(self) -> Value:
        match = NUMBER.match(self.text, self.at)
        if match:
            self.at = match.end()
            return Value(Decimal(match.group()), float(match.group()))
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

    def _arc_tangent(self) -> Value:
        self.at += len("ATAN")
        first = self.expression()
        if not self.peek("/"):
            raise NotUnderstood("ATAN needs two values: ATAN[..]/[..]", "write the number itself")
        self.at += 1
        second = self.expression()
        return Value(_from_float(math.degrees(math.atan2(float(first.exact), float(second.exact)))),
                     math.degrees(math.atan2(first.binary, second.binary)))

    def expression(self) -> Value:
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
                    values[k : k + 2] = [_combine(operators.pop(k), values[k], values[k + 1])]
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
        number = _certain(self._real_value()).exact
        if number != int(number) or number < 1:
            raise NotUnderstood(f"#{number} is not a parameter", "use whole numbers from 1")
        return str(int(number))

    def parameter_value(self) -> Value:
        name = self.parameter()
        value = self.parameters.get(name)
        if value is None:
            raise NotUnderstood(f"it depends on parameter #{name}, which the program did not set before",
                                "set it in the program, or write the number itself")
        return value
