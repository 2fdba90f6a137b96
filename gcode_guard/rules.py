"""From a setup to what the reader of programs needs of it, and to the heights that the machine has for each tool."""

from __future__ import annotations

from decimal import Decimal
from math import inf

from .program.errors import NotUnderstood
from .program.interpreter import Interpreter
from .program.scan import Facts
from .program.state import ANY_TOOL, ANYWHERE, HIGH, NO_TOOL, NOWHERE_KNOWN, Position, Rules, ToolFacts
from .setup.errors import Problems
from .setup.model import Point3, Setup, exact, total

Box = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
Origin = tuple[Decimal, Decimal, Decimal]


def rules_of(setup: Setup, facts: Facts, tool: int | None) -> Rules:
    """What a reading of a program with these facts depends on. `tool` is the one that the user names, if any.

    Where `trouble_with_tools` has something to say, the program is read as if any tool could be in the spindle.
    """
    machine = setup.machine
    return Rules(
        starts_in=setup.program.starts_in,
        block_delete=setup.program.block_delete,
        least_increment=setup.program.integers == "least-increment",
        harmless=setup.program.harmless,
        bench=setup.offsets.bench,
        shifts=_shifts(setup),
        start=_start(machine.start),
        home=_home(machine.home),
        home2=_home(machine.home2),
        home_axes=machine.home_axes,
        zero=None if machine.zero is None else _decimals(machine.zero),
        after_tool_change=machine.after_tool_change,
        corner_rounding=machine.corner_rounding,
        corner_rounding_given=machine.corner_rounding_given,
        tools={number: ToolFacts(exact(entry.diameter) / 2, _drop(setup, number))
               for number, entry in setup.tools.items()},
        first_tool=_first_tool(setup, facts, tool),
        uses_length=facts.uses_length,
        units=setup.units,
    )


def check_start(setup: Setup) -> None:
    """Raises SetupError where the words of `starts_in` are no state that a control can be in.

    What the words mean together is for the interpreter to say; the reading of a setup file knows no G-code.
    """
    try:
        Interpreter(rules_of(setup, Facts(), None))
    except NotUnderstood as error:
        problems = Problems()
        problems.add(setup.path, ["program", "starts_in"], list(setup.program.starts_in),
                     error.what.removeprefix("program.starts_in: "))
        problems.raise_if_any()


def rules_without_setup(facts: Facts) -> Rules:
    """For a reading without a setup: the bench frame is the program's own, and it starts in the usual state.

    What a machine does with blocks that carry a slash is not known: they are refused.
    """
    named = facts.tools if not facts.changes_tool and len(facts.tools) == 1 else set()
    number = next(iter(named), None)
    return Rules(first_tool=ANY_TOOL if number is None else number, uses_length=facts.uses_length)


def trouble_with_tools(setup: Setup, facts: Facts, tool: int | None) -> tuple[int, str, str] | None:
    """Why it is not certain which tool the program starts with: (line, what, advice), or None where it is.

    A T word without any M6 names the tool in the spindle; more than one such number cannot all be it.
    """
    if tool is not None or facts.changes_tool:
        return None
    if len(facts.tools) > 1:
        return 1, "the program names several tools and has no M6 that changes them", \
            "write M6 behind each T, or call with --tool N for the tool that makes the whole program"
    if facts.tools:
        (number,) = facts.tools
        if number in setup.tools:
            return None
        name = "a tool by a T word that cannot be read" if number is None else f"tool {number}"
        return 1, f"the program names {name}" + ("" if number is None else ", which is not in the setup"), \
            "add it as a [[tools]] entry, or call with --tool N for the tool in the spindle"
    if len(setup.tools) == 1:
        return None
    return 1, "the setup has several tools and the program names none", "call with --tool N for the one in the spindle"


def ceiling(setup: Setup, tool: int) -> float:
    """The highest Z that the tip of a tool reaches, mm, bench frame; inf where the setup gives no reach in Z.

    For ANY_TOOL the lowest over all tools of the setup.
    """
    return reach_box(setup, tool)[2][1]


def reach_box(setup: Setup, tool: int) -> Box:
    """(lowest, highest) of the tip's travel in X, Y and Z, mm; infinite where the setup does not say.

    What a tool hangs lower than the reference tool, its Z travel is lower. For ANY_TOOL: where every tool reaches.
    """
    reach = setup.machine.reach or {}
    nowhere = (-inf, inf)
    low, high = reach.get("z", nowhere)
    numbers = list(setup.tools) if tool in (ANY_TOOL, NO_TOOL) else [tool]
    drops = [float(_drop(setup, number) or 0) for number in numbers] or [0.0]
    lows, highs = [_lower(low, drop) for drop in drops], [_lower(high, drop) for drop in drops]
    return reach.get("x", nowhere), reach.get("y", nowhere), (max(lows), min(highs))


def _lower(height: float, drop: float) -> float:
    return total(height, -drop) if abs(height) < inf else height


def _drop(setup: Setup, number: int) -> Decimal | None:
    """How much lower the tip of a tool hangs than that of the reference tool; None where the setup does not say."""
    reference = setup.tools.get(setup.machine.reference_tool) if setup.machine.reference_tool is not None else None
    tool = setup.tools.get(number)
    if reference is None or tool is None or reference.length is None or tool.length is None:
        return None
    return exact(tool.length) - exact(reference.length)


def _first_tool(setup: Setup, facts: Facts, tool: int | None) -> int:
    if tool is not None:
        return tool
    if len(setup.tools) == 1:
        return next(iter(setup.tools))
    if not facts.changes_tool and len(facts.tools) == 1:
        (number,) = facts.tools
        return number if number is not None and number in setup.tools else ANY_TOOL
    return ANY_TOOL


def _shifts(setup: Setup) -> dict[str, Origin]:
    """Where the zero of each work offset lies in the bench frame."""
    origins = setup.offsets.origins
    shifts: dict[str, Origin] = {}
    bench = origins.get(setup.offsets.bench)
    if bench is not None:
        bx, by, bz = _decimals(bench)
        for name, origin in origins.items():
            x, y, z = _decimals(origin)
            shifts[name] = (x - bx, y - by, z - bz)
    shifts[setup.offsets.bench] = (Decimal(0), Decimal(0), Decimal(0))
    return shifts


def _start(start: object) -> Position:
    if start is None:
        return NOWHERE_KNOWN
    if isinstance(start, str):
        return ANYWHERE, ANYWHERE, HIGH
    return _decimals(start)  # type: ignore[arg-type]


def _home(home: Point3 | None) -> Position:
    """A Z that was sent home counts as high, whatever figure the setup gives."""
    if home is None:
        return ANYWHERE, ANYWHERE, HIGH
    x, y, _ = _decimals(home)
    return x, y, HIGH


def _decimals(point: Point3) -> Origin:
    x, y, z = point
    return exact(x), exact(y), exact(z)
