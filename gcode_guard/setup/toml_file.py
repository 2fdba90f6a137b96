"""Reads a TOML file: bytes, text, tables; whatever goes wrong is one clear line with the file and the place."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from pathlib import Path
from typing import IO, Any

from gcode_guard.setup.errors import SetupError, printable

LARGEST_FILE = 16 * 1024 * 1024
"""Bytes. A bench of a thousand obstacles takes a hundredth of it; a device or a program given by mistake, more."""


STREAM = re.compile(r"/dev/stdin|/dev/fd/\d+|/proc/self/fd/\d+")
"""What a shell has opened for us already: it can be read once, and somebody is there who fills it."""


def read_file(path: Path, stream: bool = False) -> bytes:
    """The bytes of a file. Raises SetupError where it cannot be read, is far too large, or is a pipe or a device, which
    may never end or never begin; with `stream` a standard stream or an open descriptor by its name is read as well."""
    try:
        with open(path, "rb") if stream and STREAM.fullmatch(str(path)) else _opened(path) as file:
            data: bytes | None = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a null character in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise SetupError(f"{printable(str(path))}: cannot be read: {reason.lower()}") from error
    if data is None:  # some files of the kernel's own have nothing to say until something happens
        raise SetupError(f"{printable(str(path))}: cannot be read: nothing comes from it")
    if len(data) > LARGEST_FILE:
        raise SetupError(f"{printable(str(path))}: is larger than {LARGEST_FILE // 1024**2} MB, so it is no setup file")
    return data


def _opened(path: Path) -> IO[bytes]:
    """A plain file, opened without ever waiting. Raises SetupError for a pipe or a device, and OSError."""
    _refuse_strange(path, os.stat(path).st_mode)  # before it is opened: some devices do something then
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC)
    try:
        _refuse_strange(path, os.fstat(handle).st_mode)  # another may stand there by now
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def _refuse_strange(path: Path, mode: int) -> None:
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):  # of a directory the system itself says what it is
        kind = "a pipe" if stat.S_ISFIFO(mode) else "a socket" if stat.S_ISSOCK(mode) else "a device"
        raise SetupError(f"{printable(str(path))}: cannot be read: is {kind}, not a file")


def parse_toml(data: bytes, path: Path) -> dict[str, Any]:
    """The tables of a TOML text in UTF-8, with or without byte order mark. Raises SetupError that names the line."""
    name = printable(str(path))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SetupError(f"{name}: line {line}: is not text in UTF-8 (byte 0x{data[error.start]:02X})") from error
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SetupError(f"{name}: {_placed(str(error), text)}") from error
    except RecursionError as error:
        raise SetupError(f"{name}: line {_deepest_line(text)}: lists or tables are nested far too deep") from error
    except ValueError as error:  # the one thing tomllib leaves to int(): numbers of thousands of digits
        raise SetupError(f"{name}: line {_line_of_longest_number(text)}: a number has far too many digits") from error


def _placed(message: str, text: str) -> str:
    """The parser's message with the line in front."""
    match = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    if match is None:
        return printable(message)
    reason, line, column = match.groups()
    lines = text.split("\n")
    number = int(line) if line else len(text.rstrip("\n").split("\n"))
    place = f"line {number}, column {column}" if line else f"line {number} (the end of the file)"
    hint = ""
    if reason == "Cannot overwrite a value":
        reason = "a key or table is given twice"
    if ("twice" in reason or "immutable" in reason) and re.match(r"\s*G59\s*\.", lines[number - 1]):
        hint = '; write the offset in quotes, "G59.1" = [...]'
    return f"{place}: {printable(reason)}{hint}"


def _deepest_line(text: str) -> int:
    """The line with the most opening brackets: TOML nests that deep only by them."""
    lines = text.split("\n")
    return max(range(len(lines)), key=lambda index: lines[index].count("[") + lines[index].count("{")) + 1


def _line_of_longest_number(text: str) -> int:
    longest = max(re.finditer(r"[0-9a-fA-F_]+", text), key=lambda match: match.end() - match.start())
    return text.count("\n", 0, longest.start()) + 1
