"""The hands in which programs are written, after what posts and people really do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

from .writer import Style

STYLES = {
    style.name: style
    for style in (
        Style("plain"),
        Style("numbered tight", tight=True, line_numbers=10, two_digits=True, numbers="short", comments=None),
        Style("windows", line_end="\r\n", percent=True, numbers="point", bare=False),
        Style("inch", inch=True, line_numbers=1, numbers="fixed"),
        Style("bare modal", bare=True, numbers="digit", last_line_end=False, comments="semicolon"),
        Style("cycles G98", cycles="G98", numbers="point"),
        Style("cycles G99", cycles="G99", tight=True),
        Style("incremental", incremental=True, cycles="G98"),
        Style("retract at feed", retract="feed", bare=False, two_digits=True),
        Style("two tools", tool_change=True, tool_length=False, percent=True),
        Style("tool lengths", tool_change=True, tool_length=True, two_digits=True),
        Style("arcs by radius", arcs="r", numbers="digit"),
        Style("arcs about centres", arcs="absolute", lower=True, comments="semicolon"),
        Style("diagonal", approach="all", retract="diagonal", first_block_full=True),
        Style("expressions", expressions=True, inch=False),
    )
}


@st.composite
def mixed_styles(draw: Callable[[st.SearchStrategy[Any]], Any]) -> Style:
    """Any hand: the habits drawn one by one."""

    def pick(*values: Any) -> Any:
        return draw(st.sampled_from(values))

    return Style(
        "mixed",
        inch=pick(False, True),
        incremental=pick(False, False, True),
        tight=pick(False, True),
        lower=pick(False, False, True),
        line_end=pick("\n", "\r\n"),
        last_line_end=pick(True, False),
        line_numbers=pick(0, 1, 5),
        two_digits=pick(False, True),
        bare=pick(True, False),
        numbers=pick("fixed", "point", "digit", "short"),
        approach=pick("own", "all", "z first"),
        retract=pick("own", "feed", "diagonal"),
        cycles=pick(None, "G98", "G99"),
        arcs=pick("ij", "r", "absolute"),
        tool_change=pick(False, True),
        tool_length=pick(False, False, True),
        percent=pick(False, True),
        comments=pick("paren", "semicolon", None),
        first_block_full=pick(False, True),
        expressions=pick(False, False, False, True),
        ending=pick("M30", "M2", "", "M5"),
    )


def styles() -> st.SearchStrategy[Style]:
    """The named hands, and mixtures of their habits."""
    return st.one_of(st.sampled_from(list(STYLES.values())), mixed_styles())
