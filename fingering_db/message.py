"""What is to be said, before it is said: a key and named values. Only `annotate` knows the words; those of this package's own
errors are at hand in English (`errors.toml`)."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

SENTENCES = "list.sentences"
"""Key of several messages one after the other."""


@dataclass(frozen=True, slots=True, init=False)
class Message:
    """One sentence or phrase without its words. key: `table.name` in the files of the languages; values: what its {names}
    stand for, sorted by name: numbers, pitches, texts that are the same in every language, further messages, and tuples of
    these. Two messages are equal if they say the same with the same values."""

    key: str
    values: tuple[tuple[str, Hashable], ...]

    def __init__(self, key: str, /, **values: Hashable) -> None:
        object.__setattr__(self, "key", key)
        object.__setattr__(self, "values", tuple(sorted(values.items())))

    def __str__(self) -> str:
        told = ", ".join(f"{name}={value}" for name, value in self.values)
        return f"{self.key} ({told})" if told else self.key

    def __add__(self, other: Message | None) -> Message:
        """The two as sentences one after the other; None adds nothing."""
        if other is None:
            return self
        return Message(SENTENCES, list=tuple(part for one in (self, other) for part in one._parts()))

    def _parts(self) -> tuple[Hashable, ...]:
        found = dict(self.values).get("list") if self.key == SENTENCES else None
        return found if isinstance(found, tuple) else (self,)


class MessageError(ValueError):
    """An error that carries its message as a value; as text it is in English."""

    def __init__(self, message: Message) -> None:
        super().__init__(message)
        self.message = message

    def __str__(self) -> str:
        return in_english(self.message)


class _English(string.Formatter):
    def format_field(self, value: object, format_spec: str) -> str:
        if isinstance(value, tuple):
            return {"or": " or "}.get(format_spec, ", ").join(map(in_english, value))
        return in_english(value) if isinstance(value, Message) else format(value, format_spec)


def in_english(value: object) -> str:
    """A message in the words of this package's errors; one that is none of them, and any other value, as it is."""
    if not isinstance(value, Message):
        return str(value)
    table, _, name = value.key.partition(".")
    template = error_words().get(table, {}).get(name)
    return str(value) if template is None else _English().vformat(template, (), dict(value.values))


@cache
def error_words() -> Mapping[str, Mapping[str, str]]:
    """The English words of this package's errors, by table and name."""
    source = files("fingering_db").joinpath("errors.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))
