"""What a hand may hold for a note or a demand."""

from dataclasses import dataclass

from annotate.choosing.desk import Desk
from annotate.decision import Decision
from annotate.score import Event
from fingering_db.fingering import Fingering


@dataclass(frozen=True, slots=True)
class Option:
    """One way to hold: the fingering at its beginning, that at its end, and what it costs by itself [pressed keys]. other: what a
    trill alternates with. begins_mm, ends_mm: where the head joint is, from its rest position; off_cents: how far off an ordinary
    note is because it is out."""

    start: Fingering
    end: Fingering
    cost: float
    other: Fingering | None = None
    begins_mm: float = 0.0
    ends_mm: float = 0.0
    off_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class Hold:
    """What the hands hold from one event to another, on which flute (None for another instrument). options: the one decided
    on first, for an ordinary note the standard one; none where nothing is known. decision: None for an ordinary note."""

    first: Event
    last: Event
    desk: Desk | None
    options: tuple[Option, ...]
    decision: Decision | None

    def seconds(self, at: Event) -> float:
        """How long its first or last event is held [s]: tied notes as one, both ends of a glissando or tremolo by themselves."""
        apart = self.decision is not None and bool(self.decision.demand.to)
        first, last = (at, at) if apart else (self.first, self.last)
        return last.seconds_end - first.seconds
