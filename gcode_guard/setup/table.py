"""Tables of a TOML file as classes: each key with its type, its limits and its default, said once.

The types are those of pydantic's engine, pydantic_core, and it does the validating. pydantic itself, which would build
the same from annotations, takes longer to import than a small program takes as a whole (docs/speed.md).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any, ClassVar, Final, Self

from pydantic_core import CoreConfig, CoreSchema, SchemaValidator, core_schema

TAG_MARK = "#"
"""Tags of alternatives begin with this, so that they can be told from keys in the place of an error."""

# Nothing but a table's own keys, no value bent into a type, no NaN and no infinity.
_CONFIG = CoreConfig(strict=True, extra_fields_behavior="forbid", allow_inf_nan=False)


class Key:
    """One key of a table: what its value must be, and its name in the file where that is no Python name."""

    def __init__(self, schema: CoreSchema, alias: str | None) -> None:
        self.schema = schema
        self.alias = alias


def required(schema: CoreSchema, alias: str | None = None) -> Any:
    """A key that must be there."""
    return Key(schema, alias)


def optional(schema: CoreSchema, default: Any = None, alias: str | None = None) -> Any:
    """A key with a default, which is not looked at again; without one, None stands for a key that is not there."""
    return Key(core_schema.with_default_schema(schema, default=default), alias)


def collected(schema: CoreSchema, factory: Callable[[], Any]) -> Any:
    """A key whose default is made anew each time: a list, a dictionary, a table."""
    return Key(core_schema.with_default_schema(schema, default_factory=factory), None)


class Table:
    """A table of a file. Subclasses declare `name: type = required(...)`; instances come from `validate` alone."""

    # What the engine keeps of each table besides its values.
    __slots__ = ("__dict__", "__pydantic_extra__", "__pydantic_fields_set__", "__pydantic_private__")
    __pydantic_fields_set__: set[str]
    keys: ClassVar[dict[str, Key]] = {}

    def __init_subclass__(cls) -> None:
        own = {name: value for name, value in vars(cls).items() if isinstance(value, Key)}
        for name in own:
            delattr(cls, name)
        inherited = [base.keys for base in reversed(cls.__mro__[1:]) if issubclass(base, Table)]
        cls.keys = {name: key for keys in (*inherited, own) for name, key in keys.items()}

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        """Every key with its value, given or not."""
        return ((name, getattr(self, name)) for name in self.keys)

    @property
    def given(self) -> set[str]:
        """The keys that the file has, by their Python names."""
        return self.__pydantic_fields_set__

    @classmethod
    def names(cls) -> list[str]:
        """The keys as they stand in a file."""
        return [key.alias or name for name, key in cls.keys.items()]

    @classmethod
    @cache
    def schema(cls) -> CoreSchema:
        """What the engine makes a table of this kind from."""
        fields = {name: core_schema.model_field(key.schema, validation_alias=key.alias)
                  for name, key in cls.keys.items()}
        return core_schema.model_schema(cls, core_schema.model_fields_schema(fields), config=_CONFIG)

    @classmethod
    def validate(cls, raw: dict[str, Any]) -> Self:
        """The table with these keys and values. Raises pydantic_core.ValidationError, with every error in it."""
        found: Self = SchemaValidator(cls.schema(), _CONFIG).validate_python(raw)
        return found

    @classmethod
    def bare(cls) -> Self:
        """The table of a file that does not have it."""
        return cls.validate({})


# Types of values ----------------------------------------------------------------------------------------------------

TEXT: Final = core_schema.str_schema()
FLAG: Final = core_schema.bool_schema()
DATE: Final = core_schema.date_schema()


def number(*, least: float | None = None, above: float | None = None, most: float | None = None) -> CoreSchema:
    """A number from `least` on, or above `above`, up to `most`."""
    return core_schema.float_schema(ge=least, gt=above, le=most)


def whole(*, least: int | None = None, most: int | None = None) -> CoreSchema:
    """A whole number."""
    return core_schema.int_schema(ge=least, le=most)


def one_of(*words: str) -> CoreSchema:
    """One of some words."""
    return core_schema.literal_schema(list(words))


def checked(schema: CoreSchema, check: Callable[[Any], Any]) -> CoreSchema:
    """A value as `check` gives it back, which raises ValueError with a sentence for the user."""
    return core_schema.no_info_after_validator_function(check, schema)


def listed(schema: CoreSchema, least: int | None = None) -> CoreSchema:
    """A list of values, `least` at least."""
    return core_schema.list_schema(schema, min_length=least)


def exactly(count: int, schema: CoreSchema) -> CoreSchema:
    """A list of so many numbers."""

    def counted(values: list[float]) -> list[float]:
        if len(values) != count:
            raise ValueError(f"must have exactly {count} numbers, has {len(values)}")
        return values

    return checked(listed(schema), counted)


def by_word(schema: CoreSchema) -> CoreSchema:
    """A table of any keys."""
    return core_schema.dict_schema(TEXT, schema)


def either(choices: dict[str, CoreSchema], which: Callable[[Any], str | None]) -> CoreSchema:
    """One of several, by tags that begin with TAG_MARK; `which` gives a value's tag, None where it has none."""
    return core_schema.tagged_union_schema(choices, which)


def tables_in(schema: Any, tag: str | None = None) -> list[tuple[str | None, type[Table]]]:
    """The tables that a value of a type may be, or hold in a list, each with its tag."""
    if schema["type"] == "model":
        return [(tag, schema["cls"])]
    if schema["type"] == "tagged-union":
        return [found for name, choice in schema["choices"].items() for found in tables_in(choice, name)]
    inner: Sequence[Any] = [schema[key] for key in ("schema", "items_schema") if key in schema]
    return [found for part in inner for found in tables_in(part, tag)]
