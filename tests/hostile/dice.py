"""The strategies of `tests/generate`, drawn by plain dice: a hundred times as fast, for runs of very many programs.

`load()` puts this module in the place of `hypothesis.strategies` while it imports the generators, so that they are the
very same functions that the property tests draw from. A program is a function of the state of the dice alone.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from random import Random
from typing import Any, Generic, TypeVar

T = TypeVar("T")
S = TypeVar("S")


class SearchStrategy(Generic[T]):
    """Something to draw from: a function of the dice."""

    def __init__(self, drawn: Callable[[Random], T]) -> None:
        self.drawn = drawn

    def map(self, function: Callable[[T], S]) -> SearchStrategy[S]:
        return SearchStrategy(lambda dice: function(self.drawn(dice)))


def sampled_from(values: Sequence[T]) -> SearchStrategy[T]:
    return SearchStrategy(lambda dice: values[int(dice.random() * len(values))])


def booleans() -> SearchStrategy[bool]:
    return SearchStrategy(lambda dice: dice.random() < 0.5)


def integers(least: int, most: int) -> SearchStrategy[int]:
    return SearchStrategy(lambda dice: least + int(dice.random() * (most - least + 1)))


def one_of(*several: SearchStrategy[Any]) -> SearchStrategy[Any]:
    return SearchStrategy(lambda dice: several[int(dice.random() * len(several))].drawn(dice))


def builds(function: Callable[..., Any], *parts: SearchStrategy[Any]) -> SearchStrategy[Any]:
    return SearchStrategy(lambda dice: function(*(part.drawn(dice) for part in parts)))


def composite(function: Callable[..., Any]) -> Callable[..., SearchStrategy[Any]]:
    def strategy(*arguments: Any, **named: Any) -> SearchStrategy[Any]:
        return SearchStrategy(lambda dice: function(lambda part: part.drawn(dice), *arguments, **named))

    return strategy


def load() -> None:
    """Imports the generators over these dice. To be called before anything else imports them."""
    if "tests.generate.benches" in sys.modules:
        raise RuntimeError("the generators are imported already")
    import hypothesis

    before = sys.modules.get("hypothesis.strategies"), hypothesis.strategies
    sys.modules["hypothesis.strategies"] = hypothesis.strategies = sys.modules[__name__]
    try:
        import tests.generate.benches
        import tests.generate.extras
        import tests.generate.loose
        import tests.generate.programs  # noqa: F401
    finally:
        if before[0] is not None:
            sys.modules["hypothesis.strategies"] = before[0]
        hypothesis.strategies = before[1]
