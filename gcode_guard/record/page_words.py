"""Numbers of the page as text: lengths in the units of the setup, exactly as the log has them."""

from __future__ import annotations

from gcode_guard.lengths import MM_PER_INCH, UNIT_WORD, Units
from gcode_guard.record.log import millimetres, millimetres_rounded_up
from gcode_guard.record.summary import duration

NOT_KNOWN = "not known"
LONGEST_NAME = 40  # characters of a name within a sentence


def bare(value: float, units: Units) -> str:
    """A length of the log (mm, up to 6 decimals) in `units`, without the unit's name and without needless zeros."""
    written = f"{value:.6f}" if units == "mm" else f"{value / MM_PER_INCH:.5f}"
    written = written.rstrip("0").rstrip(".")
    return "0" if written == "-0" else written.replace("-", "−")


def length(value: float | None, units: Units) -> str:
    """A length with its unit, rounded as the log rounds it."""
    value = millimetres(value)
    return NOT_KNOWN if value is None else f"{bare(value, units)} {UNIT_WORD[units]}"


def needed(value: float | None, units: Units) -> str:
    """A needed height, rounded up as the log does."""
    value = millimetres_rounded_up(value)
    return NOT_KNOWN if value is None else f"{bare(value, units)} {UNIT_WORD[units]}"


def bare_or_nothing(value: float | None, units: Units) -> str:
    """A length without its unit; nothing where it is not known."""
    value = millimetres(value)
    return "" if value is None else bare(value, units)


def needed_or_nothing(value: float | None, units: Units) -> str:
    """A needed height without its unit; nothing where there is none."""
    value = millimetres_rounded_up(value)
    return "" if value is None else bare(value, units)


def short(value: float, units: Units) -> str:
    """A length for a drawing: to a hundredth of a millimetre, a thousandth of an inch."""
    written = f"{value:.2f}" if units == "mm" else f"{value / MM_PER_INCH:.3f}"
    written = written.rstrip("0").rstrip(".")
    return "0" if written == "-0" else written.replace("-", "−")


def time(value: float | None) -> str:
    """A time, or that it was not estimated."""
    return "not estimated" if value is None else duration(value)


def cut(name: str) -> str:
    """A name, cut to what fits into a sentence."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def list_of(names: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`; nothing of nothing."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1] if names else ""
