"""What is said on standard error: the summary, one paragraph, and the reasons of a refusal. Plain text, no markup."""

import datetime
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gcode_guard.lengths import Units, length
from gcode_guard.record.findings import Assumption, Finding, Verdict, safe_text
from gcode_guard.setup.model import Setup
from gcode_guard.setup.words import ABOVE_CUTTER, NEVER_CHECKED

CAUTION = (
    "gcode-guard knows only what the setup says: measure the bench, and run the first part in the air, "
    "with a hand on the stop."
)

MOST_LINES = 10  # lines of which the same is said, by number
MOST_REASONS = 40
"""So many reasons of a refusal are printed; the log has them all."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What a run came to. Times in seconds (None: not estimated), `highest_written_z` in mm.

    blocks, rapids, cuts: how many were read and checked; obstacles: how many they were checked against.
    assumptions, changes, findings: how many stand in the log.
    cutter_only: no spindle was modelled for at least one tool that the program uses.
    highest_written_z: the highest Z that was written, given only where the setup has no reach that limits it.
    oldest_measured_on: the oldest date on which something in the setup was measured; None: the setup gives none.
    units: those of the setup, in which lengths are told.
    """

    program: str
    verdict: Verdict
    exit: int
    blocks: int
    rapids: int
    cuts: int
    changes: int
    findings: int
    rapid_s: float | None = None
    added_s: float | None = None
    obstacles: int = 0
    assumptions: int = 0
    cutter_only: bool = False
    highest_written_z: float | None = None
    oldest_measured_on: datetime.date | None = None
    units: Units = "mm"


def summary_paragraph(summary: Summary, *, today: datetime.date | None = None) -> str:
    """The summary as one paragraph without a line break: what was checked, what changed, what was assumed, what was
    not checked, and the caution. `today` is the date from which the age of a measurement counts."""
    sentences = [
        _verdict(summary),
        _checked(summary),
        _changed(summary),
        _assumed(summary),
        not_checked(summary.cutter_only),
        _age(summary, today or datetime.date.today()),
        CAUTION,
    ]
    return " ".join(sentence for sentence in sentences if sentence)


def reason(finding: Finding) -> str:
    """A finding as one line: `line 12: what it is; what you can do`."""
    return f"line {finding.line}: {safe_text(finding.sentence)}"


def said_once(findings: Iterable[Finding]) -> list[str]:
    """Findings in the order of the program, what is the same of several lines once: `lines 4, 6: what it is`."""
    by_text: dict[str, list[int]] = {}
    for finding in sorted(findings, key=lambda finding: finding.line):
        lines = by_text.setdefault(safe_text(finding.sentence), [])
        if finding.line not in lines[-1:]:
            lines.append(finding.line)
    return [f"{_of_lines(lines)}: {text}" for text, lines in by_text.items()]


def _of_lines(numbers: Sequence[int]) -> str:
    """`line 4`, `lines 4, 6`; of many lines the first ones, and how many there are."""
    listed = ", ".join(map(str, numbers[:MOST_LINES]))
    more = f" and {len(numbers) - MOST_LINES:,} more" if len(numbers) > MOST_LINES else ""
    return f"{'line' if len(numbers) == 1 else 'lines'} {listed}{more}"


def refusal(findings: Iterable[Finding]) -> str:
    """The reasons of a refusal, one a line, in the order of the program; from `MOST_REASONS` on only counted."""
    ordered = sorted(findings, key=lambda finding: finding.line)
    reasons = list(dict.fromkeys(reason(finding) for finding in ordered))
    more = len(reasons) - MOST_REASONS
    if more > 0:
        reasons[MOST_REASONS:] = [f"and {count(more, 'more reason')}; the log (--log) has them all"]
    return "\n".join(reasons)


def count(number: int, noun: str, plural: str | None = None) -> str:
    """`1 block`, `1,200 blocks`, `no blocks`."""
    if number == 1:
        return f"1 {noun}"
    return f"{number:,} {plural or noun + 's'}" if number else f"no {plural or noun + 's'}"


def duration(time: float) -> str:
    """A time as a person says it: `0.4 s`, `12 s`, `3 min 20 s`."""
    if time < 9.95:
        return f"{time:.1f} s"
    whole = round(time)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60} s"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _verdict(summary: Summary) -> str:
    name = safe_text(summary.program)
    match summary.verdict:
        case "safe":
            return f"{name}: safe as it is."
        case "repaired":
            return f"{name}: repaired."
        case "refused":
            return f"{name}: refused; no program was written."


def _checked(summary: Summary) -> str:
    moves = f"{count(summary.rapids, 'rapid')} and {count(summary.cuts, 'cut')}"
    against = count(summary.obstacles, "obstacle")
    if summary.verdict == "refused":
        return _sentence(f"{count(summary.blocks, 'block')} read, with {moves}, against {against}.")
    return _sentence(f"{count(summary.blocks, 'block')} read; {moves} checked against {against}.")


def _changed(summary: Summary) -> str:
    if summary.verdict == "refused":
        return ""
    if not summary.changes:
        text = "Nothing was changed."
    else:
        text = f"{count(summary.changes, 'block')} changed so that no rapid comes inside the clearance of an obstacle"
        if summary.added_s is not None:
            text += f", which adds about {duration(summary.added_s)}"
        if summary.rapid_s is not None:
            text += f" to {duration(summary.rapid_s)} of rapids"
        text = _sentence(text + ".")
    if summary.highest_written_z is not None:
        highest = length(summary.highest_written_z, summary.units)
        text += f" The highest Z written is {highest}: the setup gives no reach, so see that your machine has it."
    if summary.findings:
        text += f" {count(summary.findings, 'finding')} in the log (--log)."
    return text


def _assumed(summary: Summary) -> str:
    if not summary.assumptions:
        return ""
    was = "was" if summary.assumptions == 1 else "were"
    return f"{count(summary.assumptions, 'thing')} {was} taken as given; the log (--log) says which."


def not_checked(cutter_only: bool, tools: Sequence[int] = ()) -> str:
    """What no verdict speaks of, as a sentence. `cutter_only`: no spindle was modelled; `tools`: for these alone."""
    if not cutter_only:
        return f"Not checked: {NEVER_CHECKED}."
    return f"Cutter only{_with_tools(tools)}: {ABOVE_CUTTER} were not checked, nor were {NEVER_CHECKED}."


def unchecked(cutter_only: bool) -> Iterator[Assumption]:
    """The same for the log."""
    if cutter_only:
        yield Assumption("cutter only", f"{ABOVE_CUTTER} are not described, and were not checked")
    yield Assumption("not checked", f"{NEVER_CHECKED} are never checked: see that they come near nothing")


def not_checked_with(setup: Setup, used: Iterable[int] | None = None) -> str:
    """The same of a bench and the tools that are `used` there; None: all that it has."""
    return not_checked(*_bare(setup, used))


def cutter_only(setup: Setup) -> str:
    """`cutter only`, with which tools where it is not with all, or nothing: for a verdict of one line."""
    bare, tools = _bare(setup, None)
    return f"cutter only{_with_tools(tools)}" if bare else ""


def _bare(setup: Setup, used: Iterable[int] | None) -> tuple[bool, Sequence[int]]:
    numbers = list(setup.tools if used is None else used)
    bare = setup.bare_tools(numbers)
    return bool(bare), bare if len(bare) < len(numbers) else ()


def _with_tools(tools: Sequence[int]) -> str:
    return f" with tool {' and '.join(map(str, tools))}" if tools else ""


def _age(summary: Summary, today: datetime.date) -> str:
    if summary.oldest_measured_on is None:
        return ""
    days = (today - summary.oldest_measured_on).days
    if days < 0:
        return f"A measurement in the setup is dated {summary.oldest_measured_on}, which is still to come."
    if days == 0:
        return "The bench was measured today."
    return f"The oldest measurement of the bench is {count(days, 'day')} old."
