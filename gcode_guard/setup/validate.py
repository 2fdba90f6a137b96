"""Holds a parsed TOML table against a schema and tells in the user's words what does not fit."""

from __future__ import annotations

from pathlib import Path
from typing import Any, TypeVar

from pydantic_core import ErrorDetails, ValidationError

from gcode_guard.setup.errors import ABSENT, Key, Problems
from gcode_guard.setup.schema import SHAPES, PartObstacle, SolidKeys
from gcode_guard.setup.table import TAG_MARK, Table, tables_in

File = TypeVar("File", bound=Table)

# Keys that a person may well try in a place where they cannot stand, and why not.
_MISPLACED: dict[tuple[type[Table], str], str] = {
    (PartObstacle, "shape"): "unknown key here: an obstacle has either a shape or a part, not both",
    (PartObstacle, "top"): "unknown key here: a part has its heights in the parts file",
    (PartObstacle, "height"): "unknown key here: a part has its heights in the parts file",
    (SolidKeys, "top"): "unknown key here: a part's solids have a height above the table, no top",
    (SolidKeys, "tolerance"): "unknown key here: give the tolerance where the part is placed",
}

_PLAIN = {
    "missing": "missing",
    "float_type": "must be a number",
    "finite_number": "must be a finite number",
    "string_type": "must be text in quotes",
    "bool_type": "must be true or false",
    "int_type": "must be a whole number",
    "list_type": "must be a list in [ ]",
    "model_type": "must be a table of keys",
    "dict_type": "must be a table of keys",
    "union_tag_not_found": "must be a table of keys",
    "date_type": "must be a date such as 2026-11-25, without quotes",
    "too_short": "needs at least {min_length}, has {actual_length}",
    "greater_than": "must be greater than {gt:.15g}",
    "greater_than_equal": "must be at least {ge:.15g}",
    "less_than_equal": "must be at most {le:.15g}",
    "literal_error": "must be {expected}",
}


def validated(schema: type[File], raw: dict[str, Any], file: Path, problems: Problems) -> File | None:
    """`raw` as a `schema`, or None with a line in `problems` for each thing that does not fit."""
    problems.tables[file] = raw
    try:
        return schema.validate(raw)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _note(schema, detail, file, problems)
        return None


def _note(schema: type[Table], detail: ErrorDetails, file: Path, problems: Problems) -> None:
    path = [key for key in detail["loc"] if not (isinstance(key, str) and key.startswith(TAG_MARK))]
    value = ABSENT if detail["type"] == "missing" else detail["input"]
    if detail["type"].startswith("union_tag") and isinstance(value, dict):
        path, value = [*path, "shape"], value.get("shape", ABSENT)
        missing = "missing: give a shape or a part; shapes are " if value is ABSENT else "must be one of "
        problems.add(file, path, value, missing + ", ".join(SHAPES))
        return
    problems.add(file, path, value, _words(schema, detail))


def _words(schema: type[Table], detail: ErrorDetails) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown_key(schema, detail["loc"])
    if kind == "value_error":
        return str(context["error"])
    text = _PLAIN[kind].format(**context) if kind in _PLAIN else detail["msg"]
    if kind == "literal_error":
        text = text.replace("'", '"') + (" or a point [x, y, z]" if detail["loc"][-1] == TAG_MARK + "word" else "")
    return text


def _unknown_key(schema: type[Table], place: tuple[Key, ...]) -> str:
    owner = _model_at(schema, place[:-1])
    key = str(place[-1])
    for (model, misplaced), text in _MISPLACED.items():
        if key == misplaced and issubclass(owner, model):
            return text
    import difflib

    known = owner.names()
    near = difflib.get_close_matches(key, known, n=1)
    return f'unknown key; did you mean "{near[0]}"?' if near else f"unknown key; known here: {', '.join(known)}"


def _model_at(schema: type[Table], place: tuple[Key, ...]) -> type[Table]:
    """The model that judges the table at `place`, a place of an error with its tags."""
    model = schema
    for position, key in enumerate(place):
        if not isinstance(key, str) or key.startswith(TAG_MARK):
            continue
        tag = next((str(after) for after in place[position + 1 :] if str(after).startswith(TAG_MARK)), None)
        of = next(of for name, of in model.keys.items() if key in (name, of.alias))
        model = next(found for found_tag, found in tables_in(of.schema) if found_tag in (None, tag))
    return model
