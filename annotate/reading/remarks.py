"""Findings gathered while reading: the same remark at many places is said once, with how often."""

from __future__ import annotations

from dataclasses import dataclass, field

from annotate.findings import Finding


@dataclass(slots=True)
class Remarks:
    """In the order in which each was first made."""

    _first: dict[tuple[str, str], Finding] = field(default_factory=dict)
    _count: dict[tuple[str, str], int] = field(default_factory=dict)

    def add(self, code: str, severity: str, place: str, message: str, advice: str) -> None:
        """Make a remark; `message` must not hold the place."""
        key = (code, message)
        self._first.setdefault(key, Finding(code, severity, place, message, advice))
        self._count[key] = self._count.get(key, 0) + 1

    def findings(self) -> tuple[Finding, ...]:
        """One finding for each different remark."""
        found = []
        for key, first in self._first.items():
            more = self._count[key] - 1
            tail = f" (and at {more} more place{'s' if more > 1 else ''})" if more else ""
            found.append(Finding(first.code, first.severity, first.place, first.message + tail, first.advice))
        return tuple(found)
