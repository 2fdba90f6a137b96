"""A setup as it might be: obstacles changed or put in, in the text of the setup file, whose comments stay."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .lengths import Units, length
from .record.findings import Change as Changed
from .record.findings import Finding
from .record.summary import Summary, duration, reason, said_once
from .setup import Setup, SetupError, load_setup_data
from .setup.errors import printable
from .setup.toml_file import parse_toml, read_file

MOST_LINES = 40  # of differences that are told
VERDICTS = {"safe": "safe as it is", "repaired": "repaired", "refused": "refused"}
OBSTACLES = re.compile(r"""^[ \t]*\[\[[ \t]*(obstacles|"obstacles"|'obstacles')[ \t]*\]\]""", re.MULTILINE)
HEADER = re.compile(r"^[ \t]*\[{1,2}[ \t]*[\w\"'][^\n,=]*\][ \t]*(#[^\n]*)?\r?$", re.MULTILINE)
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
    quoted = next((name for name in names if text.startswith(f'"{name}".')), None)
    if quoted is not None:
        text = quoted + text[len(quoted) + 2 :]
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
    """The text of the setup file with more obstacles behind those that it has; every other byte stays. Raises
    SetupError."""
    text, given = _text(setup), list(entries)
    listed = parse_toml(text.encode(), setup.path).get("obstacles")
    if listed is None or OBSTACLES.search(text):
        end = "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"
        block = blocks_text(given).rstrip("\n").replace("\n", end)
        made = [_spliced(text, place, block, end) for place in (_behind_obstacles(text), len(text))]
    else:
        made = [_in_the_list(text, given)]
    wanted = [*(listed or []), *({key: value for key, value in entry.items() if key != "#"} for entry in given)]
    for whole in made:
        try:
            if parse_toml(whole.encode(), setup.path) == {**parse_toml(text.encode(), setup.path), "obstacles": wanted}:
                return whole
        except SetupError:
            continue
    raise SetupError(f"{printable(str(setup.path))}: its obstacles are written in a way to which none can be added;"
                     " put them in by hand")


def _behind_obstacles(text: str) -> int:
    """The place behind the last line of the last obstacle; what stands behind it, comments too, belongs to what
    follows. The end of the text where there is no obstacle."""
    headers = list(OBSTACLES.finditer(text))
    if not headers:
        return len(text)
    following = HEADER.search(text, headers[-1].end())
    own = text[: following.start() if following else len(text)]
    return len(re.sub(r"([ \t]*(#[^\n]*)?\r?\n)*[ \t]*(#[^\n]*)?\Z", "", own))


def _spliced(text: str, place: int, block: str, end: str) -> str:
    """The text with a block of lines of its own at a place at which a line ends, a blank line about it."""
    before, behind = text[:place], text[place:]
    match = re.match(r"[ \t]*(#[^\n]*)?(\r?\n|\Z)", behind)
    if match and place:  # what is left of the last line: a comment of its own
        before, behind = before + match[0], behind[match.end() :]
    if before and not before.endswith("\n"):
        before += end
    gap = "" if not behind or re.match(r"[ \t]*\r?\n", behind) else end
    return f"{before}{end if before else ''}{block}{end}{gap}{behind}"


def _in_the_list(text: str, entries: Iterable[Mapping[str, Any]]) -> str:
    """Obstacles that are written as one list of inline tables, with more of them."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    for entry in entries:
        inline = tomlkit.inline_table()
        inline.update(_table({key: value for key, value in entry.items() if key != "#"}))
        document["obstacles"].append(inline)
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


def check_unchanged(setup: Setup) -> None:
    """Raises SetupError where the files of a setup are no longer what was loaded."""
    _text(setup)


def _text(setup: Setup) -> str:
    """The text of the setup file again. Raises SetupError where it is no longer what was loaded."""
    import hashlib

    data = read_file(setup.path)
    rest = b"".join(read_file(path) for path in setup.files[1:])
    if hashlib.sha256(data + rest).hexdigest() != setup.sha256:
        raise SetupError(f"{printable(str(setup.path))}: changed while it was read; start again")
    return data.decode("utf-8-sig")


def _document(setup: Setup) -> Any:
    """The setup file again, with its comments. Raises SetupError where it is no longer what was loaded."""
    import tomlkit

    return tomlkit.parse(_text(setup))


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
    lines = [_verdicts(as_is.summary, what_if.summary)]
    if not as_is.summary.exit and not what_if.summary.exit:  # what is refused is not changed either
        lines += _changed_lines(as_is.changes, what_if.changes, units)
    before, after = _said(as_is.findings), _said(what_if.findings)
    lines += [f"no longer: {text}" for text in said_once(before[key] for key in before if key not in after)]
    lines += [f"new: {text}" for text in said_once(after[key] for key in after if key not in before)]
    lines = [line for line in lines if line]
    if len(lines) > MOST_LINES:
        lines[MOST_LINES:] = [f"and {len(lines) - MOST_LINES:,} more differences"]
    head = f"What if {'; '.join(printable(change.text) for change in changes)}:"
    return "\n".join([head, *(f"  {line}" for line in lines or ["nothing changes against the setup as it is"])])


def _verdicts(before: Summary, after: Summary) -> str:
    if before.verdict != after.verdict:
        only = " (cutter only)" if after.cutter_only else ""
        return f"the program is {VERDICTS[after.verdict]}{only}, and {VERDICTS[before.verdict]} with the setup as it is"
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


def _said(findings: Iterable[Finding]) -> dict[str, Finding]:
    return {reason(finding): finding for finding in findings}
