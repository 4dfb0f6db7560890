"""Findings: what the user must know, each of a documented type; and the one error that means 'could not look'."""

import tomllib
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Self

from annotate.language import words
from annotate.place import Place
from fingering_db.message import Message


class InputError(Exception):
    """The input could not be looked at. The message is one line: what, where, what was expected. As text in English.

    A file that someone wrote by hand may have several mistakes, one line each: the arguments."""

    @property
    def messages(self) -> tuple[Message | str, ...]:
        return self.args

    def __str__(self) -> str:
        return "\n".join(words().say(line) for line in self.messages)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the user must know.

    code: family letter and number (R reading, P playing, H hands and time, G glissando, F file).
    severity: 'error', 'warning' or 'info'. place: where, None for the whole file.
    message: one sentence saying what was asked and what is possible. advice: what to do.
    demand: id of the demand it belongs to, '' for none.
    """

    code: str
    severity: str
    place: Place | None
    message: Message | str
    advice: Message | str
    demand: str = ""

    @classmethod
    def of(
        cls,
        code: str,
        place: Place | None,
        demand: str = "",
        *,
        message: Message | None = None,
        advice: Message | None = None,
        **values: Hashable,
    ) -> Self:
        """A finding with the severity, and where they are not given the message and the advice, that `findings.toml` has for its
        code; values: those of the message."""
        severity, said, advised = _table()[code]
        own = Message(advised) if advised else ""
        return cls(code, severity, place, message or Message(said, **values), advice or own, demand)


@cache
def _table() -> Mapping[str, tuple[str, str, str]]:
    return tomllib.loads(files("annotate").joinpath("findings.toml").read_text(encoding="utf-8"))


@dataclass(slots=True)
class Remarks:
    """In the order in which each was first made."""

    _first: dict[tuple[str, Message | str], Finding] = field(default_factory=dict)
    _count: dict[tuple[str, Message | str], int] = field(default_factory=dict)

    def add(self, finding: Finding) -> None:
        """Make a remark; its message must not hold the place."""
        key = (finding.code, finding.message)
        self._first.setdefault(key, finding)
        self._count[key] = self._count.get(key, 0) + 1

    def findings(self) -> tuple[Finding, ...]:
        found = []
        for key, first in self._first.items():
            more = self._count[key] - 1
            said = Message("reading.and_more", said=first.message, n=more) if more else first.message
            found.append(replace(first, message=said))
        return tuple(found)
