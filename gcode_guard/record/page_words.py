"""Numbers of the page as text: lengths in the units of the setup, exactly as the log has them."""

from __future__ import annotations

from collections.abc import Sequence

from gcode_guard.lengths import UNIT_WORD, Units
from gcode_guard.record.log import millimetres, millimetres_rounded_up

NOT_KNOWN = "not known"
FACTS = {
    "programmed": "programmed Z", "needed": "needed by its own rapid", "clear": "needed by the rapid of line {}",
    "written": "written Z", "over": "left above the obstacle as measured",
    "beside": "left beside the obstacle as measured", "added": "added time",
    "by": "too low by", "outside": "outside by", "nothing": "nothing near",
    "not-known": NOT_KNOWN, "not-estimated": "not estimated"}
"""What the numbers of an item are called, here and by the page's script."""
LONGEST_NAME = 40  # characters of a name within a sentence


def nearest(number: int, per: int) -> int:
    """`number` / `per`, neither negative, to the nearest whole number, a tie to the even one."""
    whole, rest = divmod(number, per)
    return whole + (2 * rest > per or (2 * rest == per and whole % 2 == 1))


def figure(number: int, per: int, places: int) -> str:
    """`number` / `per`, counted in its last of so many decimals. The page's script has the same."""
    whole = nearest(abs(number), per)
    digits = f"{whole:0{places + 1}d}"
    return f"{'−' if number < 0 and whole else ''}{digits[:-places]}.{digits[-places:]}"


def bare(value: float, units: Units) -> str:
    """A length of the log (mm, up to 6 decimals) in `units`, without the unit's name and without needless zeros."""
    millionths = round(value * 1e6)
    return _stripped(figure(millionths, 1, 6) if units == "mm" else figure(millionths, 254, 5))


def _stripped(written: str) -> str:
    return written.rstrip("0").rstrip(".")


def length(value: float | None, units: Units) -> str:
    """A length with its unit, rounded as the log rounds it."""
    value = millimetres(value)
    return NOT_KNOWN if value is None else f"{bare(value, units)} {UNIT_WORD[units]}"


def needed(value: float | None, units: Units) -> str:
    """A needed height, rounded up as the log does."""
    value = millimetres_rounded_up(value)
    return NOT_KNOWN if value is None else f"{bare(value, units)} {UNIT_WORD[units]}"


def short(value: float, units: Units) -> str:
    """A length for a drawing: to a hundredth of a millimetre, a thousandth of an inch."""
    millionths = round(value * 1e6)
    return _stripped(figure(millionths, 10_000, 2) if units == "mm" else figure(millionths, 25_400, 3))


def time(value: float | None) -> str:
    """A time (seconds, to the millisecond), or that it was not estimated."""
    if value is None:
        return "not estimated"
    milliseconds = round(value * 1e3)
    if milliseconds < 9_950:
        return f"{figure(milliseconds, 100, 1)} s"
    whole = nearest(milliseconds, 1_000)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60} s"


def cut(name: str) -> str:
    """A name, cut to what fits into a sentence."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def list_of(names: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`; nothing of nothing."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1] if names else ""


def few(names: Sequence[str], most: int = 4) -> list[str]:
    """Some names; of many the first ones, and how many there are beside them."""
    return list(names) if len(names) <= most else [*names[: most - 1], f"{len(names) - most + 1:,} others"]
