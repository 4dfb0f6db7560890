"""Which rows to write at which note: technique notes, diagrams, one legend for each part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from annotate.decision import Decision, Status
from annotate.drawing import diagram
from annotate.files.writing import ASCII, Mark
from annotate.findings import Finding
from annotate.numbering import fingerings_of, numbered
from annotate.place import Place
from annotate.score import Event, Part
from annotate.wording import is_gliding, legend, number_row, technique_notes
from fingering_db.fingering import Fingering
from fingering_db.message import Message

CHANGES, EVERY, FIRST = "changes", "every", "first"
_LONG_REST_SECONDS = 10.0  # after so long a player wants to be told again: ours
_SHOWN = 80  # characters of words that stand in the way
WORDS_STAND_HERE = "F201"

CODES = (WORDS_STAND_HERE,)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A fingering at its place. status: of the demand it belongs to. here: whether the diagram is drawn at this place;
    else the one drawn last in the same part with the same fingering serves. contrary: as in Decision, where it is drawn."""

    place: Place
    fingering: Fingering
    status: Status
    here: bool = True
    contrary: Fingering | None = None


@dataclass(frozen=True, slots=True)
class Marked:
    """Marks to splice in, findings about the places they stand at, and every fingering at its place."""

    marks: tuple[Mark, ...]
    findings: tuple[Finding, ...]
    drawn: tuple[Drawn, ...] = ()


@dataclass(frozen=True, slots=True)
class _Stand:
    """Something to write at an event: notes above, and the fingering, None for none. number: the row that tells the
    fingering's number, '' for none. draw: whether the diagram is drawn here. contrary: for its drawing."""

    event: Event
    notes: tuple[str, ...]
    fingering: Fingering | None
    status: Status
    number: str = ""
    draw: bool = True
    contrary: Fingering | None = None

    @property
    def drawn(self) -> Fingering | None:
        """The fingering to draw here, None for none."""
        return self.fingering if self.draw else None


def mark(
    part: Part,
    decisions: Iterable[Decision],
    diagrams: str = CHANGES,
    carrier: str = "rows",
    numbers: Mapping[Fingering, int] | None = None,
    language: str = "en",
) -> Marked:
    """Marks for one part's decisions on one flute. diagrams: 'changes' (again when the fingering changes or after a
    long rest), 'every', 'first' (each fingering once, and its number at every place). numbers: of the fingerings of
    the whole piece, for 'first'; those of this part alone where it is None."""
    judged = tuple(decisions)
    texts = words_by_place(part)
    shown = (numbered(judged) if numbers is None else numbers) if diagrams == FIRST else {}
    found = sorted(_stands(judged, shown, language), key=lambda stand: stand.event.onset)
    stands = _chosen(found, diagrams)
    signs = legend(
        (stand.drawn for stand in stands if stand.drawn),
        language,
        plain=carrier == ASCII,
        statuses={decision.status for decision in judged},
        numbered=bool(shown),
        gliding=any(map(is_gliding, judged)),
        contrary=[decision.contrary for decision in judged if decision.contrary],
    )
    line = "  ".join(signs)
    rows: dict[int, list[str]] = {}
    events: dict[int, Event] = {}
    for stand in stands:
        above = [line] if stand.drawn and line else []
        number = [stand.number] if stand.number else []
        own = [*above, *stand.notes, *number, *_drawing(stand, carrier)]
        if stand.drawn:
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
    pictures = tuple(
        Drawn(part.place(stand.event), stand.fingering, stand.status, stand.draw, stand.contrary)
        for stand in stands
        if stand.fingering
    )
    return Marked(marks, _crowded(part, texts, events.values()), pictures)


def notes_at(decision: Decision, texts: dict[tuple[Fraction, int], str], language: str = "en") -> tuple[str, ...]:
    """Technique notes for the place of a decision; the technique is left out where the score names it right there.

    texts: as `words_by_place` gives them."""
    event, word = decision.demand.events[0], decision.demand.word.strip()
    named = bool(word) and word in texts.get((event.onset, event.staff), "")
    return technique_notes(decision, language, named=named)


def words_by_place(part: Part) -> dict[tuple[Fraction, int], str]:
    """Words of the score itself, not ours, by (onset, staff)."""
    return {(words.onset, words.staff): words.text.strip() for words in part.directions if not words.ours}


def _stands(decisions: Iterable[Decision], numbers: Mapping[Fingering, int], language: str) -> list[_Stand]:
    found = []
    for decision in decisions:
        start, end = fingerings_of(decision)
        against = None if numbers else decision.contrary  # a numbered diagram serves many ways to it
        events = decision.demand.events
        found.append(
            _Stand(
                events[0], decision.notes, start, decision.status, _number(start, numbers, language), contrary=against
            )
        )
        if end:
            found.append(_Stand(events[-1], (), end, decision.status, _number(end, numbers, language)))
    return found


def _number(fingering: Fingering | None, numbers: Mapping[Fingering, int], language: str) -> str:
    return number_row(numbers[fingering], language) if fingering and fingering in numbers else ""


def _chosen(stands: list[_Stand], diagrams: str) -> list[_Stand]:
    """The same, told which fingerings need not be drawn again."""
    kept: list[_Stand] = []
    seen: set[Fingering] = set()
    last: Fingering | None = None
    last_end = float("-inf")
    for stand in stands:
        rested = stand.event.seconds - last_end > _LONG_REST_SECONDS
        again = stand.fingering in seen if diagrams == FIRST else stand.fingering == last and not rested
        draw = bool(stand.fingering) and (diagrams == EVERY or not again)
        kept.append(replace(stand, draw=draw))
        if stand.fingering:
            seen.add(stand.fingering)
            last, last_end = stand.fingering, stand.event.seconds_end
    return kept


def _drawing(stand: _Stand, carrier: str) -> tuple[str, ...]:
    if not stand.drawn:
        return ()
    draw = diagram.plain_rows if carrier == ASCII else diagram.rows
    return draw(stand.drawn, stand.contrary)


def _crowded(part: Part, texts: dict[tuple[Fraction, int], str], events: Iterable[Event]) -> tuple[Finding, ...]:
    """A finding for each marked event at which the score has words of its own."""
    found = []
    for event in sorted(events, key=lambda one: one.onset):
        text = texts.get((event.onset, event.staff))
        if text:
            text = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
            message = Message("reading.words_stand_here", text=text)
            found.append(
                Finding(WORDS_STAND_HERE, "info", part.place(event), message, Message("reading.look_at_the_place"))
            )
    return tuple(found)
