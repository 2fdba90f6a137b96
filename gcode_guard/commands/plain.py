"""Commands whose texts and paths are taken as they were typed.

Typer, from some version on, has pydantic find out that a text is a text, and that nothing was given where nothing was
given. Importing pydantic takes longer than all that a small program needs (docs/speed.md), so for these commands it is
asked only about the rest: numbers, lists. Where typer works in another way, nothing changes but the time.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from typer.core import TyperCommand, TyperGroup

PLAIN: dict[Any, Callable[[str], Any]] = {str: str, Path: Path}


class PlainCommand(TyperCommand):
    """A command of its own."""

    def get_params(self, ctx: Any) -> list[Any]:
        """The parameters, the one for help among them."""
        return [_plain(parameter) for parameter in super().get_params(ctx)]


class PlainGroup(TyperGroup):
    """A command that has others below it."""

    def get_params(self, ctx: Any) -> list[Any]:
        """The parameters, the one for help among them."""
        return [_plain(parameter) for parameter in super().get_params(ctx)]


def _plain(parameter: Any) -> Any:
    """The parameter, with another way from what is typed to its value."""
    if "process_value" in vars(parameter):
        return parameter  # it has it already
    usual = parameter.process_value
    kind = PLAIN.get(getattr(getattr(parameter, "type_descriptor", None), "annotation", None))
    single = parameter.nargs == 1 and not getattr(parameter, "multiple", False)

    def process(ctx: Any, value: Any) -> Any:
        if value is None and single and not parameter.required:
            return None if parameter.callback is None else parameter.callback(ctx, parameter, None)
        if kind is not None and single and isinstance(value, str) and parameter.callback is None:
            return kind(value)
        return usual(ctx, value)

    parameter.process_value = process
    return parameter
