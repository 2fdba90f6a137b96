"""What `review` prints: the diff, coloured on a terminal, the findings in groups, and what to do next."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence
from typing import IO

from gcode_guard.record.findings import Finding, FindingKind, safe_text
from gcode_guard.record.summary import MOST_REASONS, Summary, count, said_once

RED, GREEN, CYAN, BOLD, PLAIN = "\x1b[31m", "\x1b[32m", "\x1b[36m", "\x1b[1m", "\x1b[0m"
MARKS = {b"-": RED, b"+": GREEN, b"@": CYAN}
LONGEST_NAME = 120  # characters of a name in a table
LONGEST = 4200  # characters of a line of the diff that are shown on a terminal

GROUPS: tuple[tuple[FindingKind, str], ...] = (
    ("not-understood", "Not understood"),
    ("cut-contact", "Cuts that run into an obstacle"),
    ("rapid-contact", "Rapids that cannot be led clear"),
    ("out-of-reach", "Moves outside the reach of the machine"),
    ("in-stock", "Rapids within the stock"),
    ("close", "Close, without contact"),
)


def coloured(diff: IO[bytes]) -> Iterator[str]:
    """The lines of a diff for a terminal: coloured, and with nothing in them that could control it."""
    for raw in diff:
        text = safe_text(raw.rstrip(b"\r\n"))
        text = text if len(text) <= LONGEST else text[:LONGEST] + "…"
        colour = BOLD if raw.startswith((b"--- before", b"+++ after")) else MARKS.get(raw[:1], "")
        yield f"{colour}{text}{PLAIN}\n" if colour else f"{text}\n"


def grouped(findings: Iterable[Finding]) -> str:
    """The findings by kind, what refuses the program first, each group in the order of the program."""
    findings = list(findings)
    blocks = []
    for kind, title in GROUPS:
        lines = said_once(finding for finding in findings if finding.kind == kind)
        if not lines:
            continue
        shown = lines[:MOST_REASONS]
        if len(lines) > len(shown):
            shown.append(f"and {len(lines) - len(shown):,} more; the log (--log) has them all")
        blocks.append(f"{title} ({len(lines):,}):\n" + "\n".join(f"  {line}" for line in shown))
    return "\n".join(blocks)


def next_step(summary: Summary, program: str, setup: str) -> str:
    """One line that says what to do next. `program` and `setup` are as the user gave them."""
    if summary.verdict == "safe":
        return "Next: nothing to change; run the first part in the air, with a hand on the stop."
    names = [safe_text(name) for name in (program, setup)]
    if summary.verdict == "repaired":
        stem, dot, ending = program.rpartition(".")
        written = f"{stem}.guarded.{ending}" if dot and stem and "/" not in ending else f"{program}.guarded"
        call = " ".join(shlex.quote(safe_text(word)) for word in (
            "gcode-guard", "filter", program, "--setup", setup, "-o", "guarded.nc" if program == "-" else written))
        return f"Next: look at the {count(summary.changes, 'change')} above, then write the mended program: {call}"
    if summary.exit == 4:
        return f"Next: mend what is not understood in {names[0]} or {names[1]}, as said above, and review it again."
    return f"Next: change the bench (and {names[1]}) or {names[0]}, as said above, and review it again."


def table_text(rows: Sequence[tuple[str, str, str]]) -> str:
    """Rows of (where, what, value) as a table of plain text; where is said once for all rows that share it."""
    rows = [(_cut(where), what, value) for where, what, value in rows]
    wide = [min(34, max((len(row[k]) for row in rows), default=0)) for k in (0, 1)]
    lines = []
    last = None
    for where, what, value in rows:
        shown = "" if where == last else where
        if where != last and last is not None:
            lines.append("")
        last = where
        lines.append(f"{shown:<{wide[0]}}  {what:<{wide[1]}}  {value}".rstrip())
    return "\n".join(lines)


def _cut(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
