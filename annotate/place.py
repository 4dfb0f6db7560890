"""A place in the score, said as musicians say it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands. bar: as printed; beat: from 1, in units of the time signature's denominator."""

    part: str
    part_id: str
    bar: str
    beat: Fraction
    voice: str = ""
    rehearsal: str = ""
    seconds: float = 0.0

    @property
    def beat_text(self) -> str:
        """The beat as a decimal without needless zeros: '2', '2.5', '1.33'."""
        return f"{float(self.beat):.2f}".rstrip("0").rstrip(".")

    def __str__(self) -> str:
        part = f"{self.part}, " if self.part else ""
        return f"{part}bar {self.bar}, beat {self.beat_text}"
