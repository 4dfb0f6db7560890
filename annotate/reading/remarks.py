"""Findings gathered while reading: the same remark at many places is said once, with how often."""

from dataclasses import dataclass, field, replace

from annotate.findings import Finding
from annotate.place import Place
from fingering_db.message import Message


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
