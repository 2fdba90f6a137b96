"""A setup as it might be: obstacles changed or put in, in the text of the setup file, whose comments stay."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .record.findings import Change as Changed
from .record.findings import Finding
from .record.summary import Summary, duration, length, reason
from .setup import Setup, SetupError, load_setup_data
from .setup.errors import printable
from .setup.model import Units
from .setup.toml_file import parse_toml, read_file

MOST_LINES = 40  # of differences that are told
VERDICTS = {"safe": "safe as it is", "repaired": "repaired", "refused": "refused"}
EITHER = {"top": "height", "height": "top"}  # an obstacle has one of them


@dataclass(frozen=True, slots=True)
class Change:
    """`NAME.key=value`: one key of one obstacle."""

    name: str
    key: str
    value: Any
    text: str


def read_changes(texts: Iterable[str], names: Sequence[str]) -> list[Change]:
    """The changes that a call asks for; the values are TOML. Raises ValueError that says what is wrong."""
    return [_read_change(text, names) for text in texts]


def _read_change(text: str, names: Sequence[str]) -> Change:
    said = printable(text)
    # A name may hold points and equal signs: the longest obstacle that the text begins with is meant.
    name = max((name for name in names if text.startswith(name + ".")), key=len, default=None)
    if name is None:
        known = ", ".join(printable(name) for name in names) or "none"
        raise ValueError(f"{said}: begins with no obstacle's name and a point (the setup has: {known})")
    key, equals, value = text[len(name) + 1 :].partition("=")
    key = key.strip()
    if not equals or not key.isidentifier():
        raise ValueError(f"{said}: write NAME.key=value, such as '{printable(name)}.top=25'")
    try:
        parsed = parse_toml(f"value ={value}".encode(), Path("--set"))
    except (SetupError, UnicodeEncodeError) as error:
        raise ValueError(f"{said}: what stands behind = is no TOML value, such as 25, true or [10, 40]") from error
    if parsed.keys() != {"value"}:
        raise ValueError(f"{said}: what stands behind = is more than one value")
    return Change(name, key, parsed["value"], f"{name}.{key} = {value.strip()}")


def with_changes(setup: Setup, changes: Iterable[Change]) -> Setup:
    """The setup with some keys of its obstacles set. Raises SetupError where that makes no valid setup.

    A `top` takes the place of a `height`, and the other way round.
    """
    document = _document(setup)
    for change in changes:
        for entry in document["obstacles"]:
            if entry["name"] == change.name:
                if change.key in EITHER:
                    entry.pop(EITHER[change.key], None)
                entry[change.key] = change.value
    return _loaded(setup, document)


def with_obstacles(setup: Setup, entries: Iterable[Mapping[str, Any]]) -> Setup:
    """The setup with more obstacles, given as the keys of `[[obstacles]]`. Raises SetupError."""
    return load_setup_data(text_with_obstacles(setup, entries).encode(), setup.path)


def text_with_obstacles(setup: Setup, entries: Iterable[Mapping[str, Any]]) -> str:
    """The text of the setup file with more obstacles behind those that it has; comments stay. Raises SetupError."""
    import tomlkit
    from tomlkit.items import AoT

    document = _document(setup)
    tables = [_table(entry) for entry in entries]
    for table in tables:
        table.add(tomlkit.nl())
    given = document.get("obstacles")
    if isinstance(given, AoT):
        for table in tables:
            given.append(table)
    elif given:  # written as one list of inline tables
        for table in tables:
            inline = tomlkit.inline_table()
            inline.update(table)
            given.append(inline)
    else:
        if given is not None:
            document.remove("obstacles")
        document["obstacles"] = AoT(tables)
    return tomlkit.dumps(document)


def blocks_text(entries: Iterable[Mapping[str, Any]]) -> str:
    """Obstacles as `[[obstacles]]` blocks, ready to be put into a setup file."""
    import tomlkit
    from tomlkit.items import AoT

    document = tomlkit.document()
    document["obstacles"] = AoT([_table(entry) for entry in entries])
    return tomlkit.dumps(document)


def _table(entry: Mapping[str, Any]) -> Any:
    import tomlkit

    table = tomlkit.table()
    for key, value in entry.items():
        if key != "#":
            table.add(key, value)
        else:
            table.add(tomlkit.comment(value))
    return table


def _document(setup: Setup) -> Any:
    """The setup file again, with its comments. Raises SetupError where it is no longer what was loaded."""
    import hashlib

    import tomlkit

    data = read_file(setup.path)
    rest = b"".join(read_file(path) for path in setup.files[1:])
    if hashlib.sha256(data + rest).hexdigest() != setup.sha256:
        raise SetupError(f"{printable(str(setup.path))}: changed while it was read; start again")
    return tomlkit.parse(data.decode("utf-8-sig"))


def _loaded(setup: Setup, document: Any) -> Setup:
    import tomlkit

    return load_setup_data(tomlkit.dumps(document).encode(), setup.path)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of a program under one setup: its summary, its changes, and the findings that a person reads."""

    summary: Summary
    changes: Sequence[Changed]
    findings: Sequence[Finding]


def differences(changes: Iterable[Change], as_is: Verdict, what_if: Verdict) -> str:
    """What the changes of a setup change for a program, in words, one thing a line."""
    units = what_if.summary.units
    lines = [_verdicts(as_is.summary, what_if.summary), *_changed_lines(as_is.changes, what_if.changes, units)]
    before, after = _said(as_is.findings), _said(what_if.findings)
    lines += [f"no longer: {text}" for text in before if text not in after]
    lines += [f"new: {text}" for text in after if text not in before]
    lines = [line for line in lines if line]
    if len(lines) > MOST_LINES:
        lines[MOST_LINES:] = [f"and {len(lines) - MOST_LINES:,} more differences"]
    head = f"What if {'; '.join(printable(change.text) for change in changes)}:"
    return "\n".join([head, *(f"  {line}" for line in lines or ["nothing changes against the setup as it is"])])


def _verdicts(before: Summary, after: Summary) -> str:
    if before.verdict != after.verdict:
        return f"the program is {VERDICTS[after.verdict]}, and {VERDICTS[before.verdict]} with the setup as it is"
    if before.added_s is not None and after.added_s is not None and abs(after.added_s - before.added_s) >= 0.05:
        which = "more" if after.added_s > before.added_s else "less"
        return f"the changes add {duration(abs(after.added_s - before.added_s))} {which}"
    return ""


def _changed_lines(before: Sequence[Changed], after: Sequence[Changed], units: Units) -> list[str]:
    old, new = ({change.line: change for change in changes} for changes in (before, after))
    lines = [(line, f"line {line} stays as it is") for line in old if line not in new]
    for line, change in new.items():
        level = "" if change.written_z is None else f" to Z {length(change.written_z, units)}"
        was = old.get(line)
        if was is None:
            lines.append((line, f"line {line} is changed{level}"))
        elif was.after != change.after:
            than = "" if was.written_z is None else f", not to {length(was.written_z, units)}"
            lines.append((line, f"line {line} is changed{level}{than if level else ' in another way'}"))
    return [text for _, text in sorted(lines)]


def _said(findings: Iterable[Finding]) -> list[str]:
    return list(dict.fromkeys(reason(finding) for finding in findings))
