"""A place in the score, said as musicians say it."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands. part: as `Part.label` has it; number: of a part without
    a name, 0 for others; bar: as printed; beat: from 1, in units of the time signature's
    denominator, 0 for what holds for the whole part."""

    part: str
    part_id: str
    bar: str = ""
    beat: Fraction = Fraction(0)
    voice: str = ""
    rehearsal: str = ""
    seconds: float = 0.0
    number: int = 0

    @property
    def is_whole_part(self) -> bool:
        """Whether no bar is meant but the whole part."""
        return not self.bar and not self.beat

    @property
    def beat_text(self) -> str:
        """The beat as a decimal without needless zeros: '2', '2.5', '1.33'."""
        return f"{float(self.beat):.2f}".rstrip("0").rstrip(".")

    def __str__(self) -> str:
        if self.is_whole_part:
            return self.part
        part = f"{self.part}, " if self.part else ""
        return f"{part}bar {self.bar}, beat {self.beat_text}"
