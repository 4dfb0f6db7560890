"""Which rows to write at which note: technique notes, diagrams, one legend for each part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from annotate import diagram
from annotate.decision import UNPLAYABLE, Decision
from annotate.findings import Finding
from annotate.place import Place
from annotate.score import Event, Part
from annotate.wording import legend, technique_notes
from annotate.writing import ASCII, Mark

CHANGES, EVERY, FIRST = "changes", "every", "first"
DIAGRAMS = (CHANGES, EVERY, FIRST)
_LONG_REST_SECONDS = 10.0  # after so long a player wants to be told again: ours
WORDS_STAND_HERE = "F201"

CODES: dict[str, str] = {
    WORDS_STAND_HERE: "Words already stand above the staff where a diagram or technique note was written; look whether "
    "they collide on the page. Nothing of yours was moved or removed.",
}


@dataclass(frozen=True, slots=True)
class Marked:
    """Marks to splice in, and findings about the places they stand at."""

    marks: tuple[Mark, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class _Stand:
    """Something to write at an event: notes above, and the fingering to draw, '' for none."""

    event: Event
    notes: tuple[str, ...]
    fingering: str


def mark(part: Part, decisions: Iterable[Decision], diagrams: str = CHANGES, carrier: str = "rows") -> Marked:
    """Marks for one part's decisions on one flute. diagrams: 'changes' (again when the fingering changes or after a
    long
    rest), 'every', 'first' (each fingering once)."""
    judged = tuple(decisions)
    texts = words_by_place(part)
    stands = _chosen(sorted(_stands(judged, texts, carrier), key=lambda stand: stand.event.onset), diagrams)
    drawn = tuple(stand.fingering for stand in stands if stand.fingering)
    line = legend(drawn, ascii_only=carrier == ASCII, statuses={decision.status for decision in judged})
    rows: dict[int, list[str]] = {}
    events: dict[int, Event] = {}
    for stand in stands:
        own = [*([line] if stand.fingering and line else []), *stand.notes, *_drawing(stand.fingering, carrier)]
        if stand.fingering:
            line = ""  # the legend stands at the first diagram only
        if own:
            rows.setdefault(stand.event.start, []).extend(own)
            events[stand.event.start] = stand.event
    marks = tuple(
        Mark(
            offset,
            tuple(own_rows),
            voice=events[offset].voice if part.multiple_voices else "",
            staff=events[offset].staff if part.staves > 1 else 0,
        )
        for offset, own_rows in sorted(rows.items())
    )
    return Marked(marks, _crowded(part, texts, events.values()))


def notes_at(decision: Decision, texts: dict[tuple[Fraction, int], str], ascii_only: bool = False) -> tuple[str, ...]:
    """Technique notes for the place of a decision; the technique is left out where the score names it right there.

    texts: as `words_by_place` gives them."""
    event, word = decision.demand.events[0], decision.demand.word.strip()
    named = bool(word) and word in texts.get((event.onset, event.staff), "")
    return technique_notes(decision, ascii_only=ascii_only, named=named)


def words_by_place(part: Part) -> dict[tuple[Fraction, int], str]:
    """Words of the score itself, not ours, by (onset, staff)."""
    return {(words.onset, words.staff): words.text.strip() for words in part.directions if not words.ours}


def _stands(decisions: Iterable[Decision], texts: dict[tuple[Fraction, int], str], carrier: str) -> list[_Stand]:
    found = []
    for decision in decisions:
        fingering = decision.fingering if decision.status != UNPLAYABLE else ""
        first, last = decision.demand.events[0], decision.demand.events[-1]
        notes = notes_at(decision, texts, ascii_only=True) if carrier == ASCII else decision.notes
        found.append(_Stand(first, notes, fingering))
        if decision.path and decision.path[-1].fingering not in ("", fingering) and last is not first:
            found.append(_Stand(last, (), decision.path[-1].fingering))
    return found


def _chosen(stands: list[_Stand], diagrams: str) -> list[_Stand]:
    """The same with the fingerings left out that need not be drawn again."""
    kept: list[_Stand] = []
    seen: set[str] = set()
    last, last_end = "", float("-inf")
    for stand in stands:
        rested = stand.event.seconds - last_end > _LONG_REST_SECONDS
        again = stand.fingering in seen if diagrams == FIRST else stand.fingering == last and not rested
        draw = bool(stand.fingering) and (diagrams == EVERY or not again)
        kept.append(_Stand(stand.event, stand.notes, stand.fingering if draw else ""))
        if stand.fingering:
            seen.add(stand.fingering)
            last, last_end = stand.fingering, stand.event.seconds_end
    return kept


def _drawing(fingering: str, carrier: str) -> tuple[str, ...]:
    if not fingering:
        return ()
    return diagram.ascii_rows(fingering) if carrier == ASCII else diagram.rows(fingering)


def _crowded(part: Part, texts: dict[tuple[Fraction, int], str], events: Iterable[Event]) -> tuple[Finding, ...]:
    """A finding for each marked event at which the score has words of its own."""
    found = []
    for event in sorted(events, key=lambda one: one.onset):
        text = texts.get((event.onset, event.staff))
        if text:
            place = Place(part.name, part.id, event.bar, event.beat)
            message = f"'{text}' already stands here, and a mark was written above the same note."
            found.append(Finding(WORDS_STAND_HERE, "info", str(place), message, "Look at the place in your program."))
    return tuple(found)
