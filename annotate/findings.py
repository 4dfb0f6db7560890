"""Findings: what the user must know, each of a documented type; and the one error that means 'could not look'."""

from dataclasses import dataclass, field, replace

from annotate.language import words
from annotate.place import Place
from fingering_db.message import Message


class InputError(Exception):
    """The input could not be looked at. The message is one line: what, where, what was expected. As text in English.

    A file that someone wrote by hand may have several mistakes, one line each: the arguments."""

    @property
    def messages(self) -> tuple[Message | str, ...]:
        """Every line to be told."""
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


@dataclass(slots=True)
class Remarks:
    """In the order in which each was first made."""

    _first: dict[tuple[str, Message | str], Finding] = field(default_factory=dict)
    _count: dict[tuple[str, Message | str], int] = field(default_factory=dict)

    def add(self, code: str, severity: str, place: Place | None, message: Message | str, advice: Message | str) -> None:
        """Make a remark; `message` must not hold the place."""
        key = (code, message)
        self._first.setdefault(key, Finding(code, severity, place, message, advice))
        self._count[key] = self._count.get(key, 0) + 1

    def findings(self) -> tuple[Finding, ...]:
        """One finding for each different remark."""
        found = []
        for key, first in self._first.items():
            more = self._count[key] - 1
            said = Message("reading.and_more", said=first.message, n=more) if more else first.message
            found.append(replace(first, message=said))
        return tuple(found)
