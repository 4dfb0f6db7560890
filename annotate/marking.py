"""Which rows to write at which note: technique notes, diagrams, one legend for each part."""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from annotate.crowding import crowded
from annotate.decision import Decision, PlannedNote, Status
from annotate.demand import Kind
from annotate.drawing import diagram
from annotate.files.own_marks import SIGNATURE
from annotate.files.writing import ASCII, COLUMN, ROWS, Mark
from annotate.findings import Finding
from annotate.numbering import fingerings_of, numbered
from annotate.place import Place
from annotate.score import Event, Part
from annotate.wording import is_gliding, is_trilled, legend, number_row, technique_notes
from fingering_db.fingering import Fingering
from fingering_db.message import Message

CHANGES, EVERY, FIRST = "changes", "every", "first"
NONE, BRIEF, FULL = "none", "brief", "full"
START, END = "start", "end"
DEMANDS, ALL = "demands", "all"
_LONG_REST_SECONDS = 10.0  # after so long a player wants to be told again: ours
_SHOWN = 80  # characters of words that stand in the way
_WIDE, _NARROW = 66, 22  # characters of a row of the legend
_BARS_NAMED = 8
_SHORT_LIST = 8  # fingerings that stand one a row under the last bar


@dataclass(frozen=True, slots=True)
class Style:
    """How marks are written. diagrams: 'changes' (again when the fingering changes, or the last one stands more than a bar
    back; a number where diagrams would stand too close), 'every', 'first' (a number at every place); what has a number stands
    once in a list. notes: 'none', 'brief' (technique and a mark of doubt), 'full'. legend: 'start', 'end', 'none'; '' for the end
    where there are numbers alone, else the start. mark: what is marked, 'demands' or 'all' notes of the plan."""

    diagrams: str = CHANGES
    carrier: str = COLUMN
    notes: str = BRIEF
    legend: str = ""
    language: str = "en"
    mark: str = DEMANDS


DEFAULT = Style()


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
class Stand:
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
        return self.fingering if self.draw and not self.number else None


def mark_parts(
    parts: Sequence[tuple[Part, Sequence[Decision]]], style: Style = DEFAULT, plan: Sequence[PlannedNote] = ()
) -> list[Marked]:
    """Marks for each part's decisions on one flute. The numbers of fingerings and the legend are those of the whole piece; the
    legend and the list of what has a number stand under the staff of the first part that has a fingering: at its first note, or
    at the beginning of its last bar, a short list there where that bar has more than a note. plan: ordinary notes to mark too."""
    judged = [decision for _, own in parts for decision in own]
    stands, close, numbers = _laid_out(parts, style, plan)
    for own, near in zip(stands, close, strict=True):
        own[:] = [_with_number(one, numbers, style) if _by_number(one, near, style) else one for one in own]
    keeper = next((n for n, own in enumerate(stands) if any(stand.fingering for stand in own)), -1)
    found = []
    for n, (part, _) in enumerate(parts):
        below = _below(part, judged, [one for own in stands for one in own], style, numbers) if n == keeper else []
        found.append(_marked(part, stands[n], style, below, close[n]))
    return found


def numbers_of(
    parts: Sequence[tuple[Part, Sequence[Decision]]], plan: Sequence[PlannedNote] = ()
) -> dict[Fingering, int]:
    """Numbers that a page in the usual style gives to fingerings; those that it draws everywhere have none."""
    return _laid_out(parts, DEFAULT, plan)[2]


def _laid_out(
    parts: Sequence[tuple[Part, Sequence[Decision]]], style: Style, plan: Sequence[PlannedNote]
) -> tuple[list[list[Stand]], list[frozenset[int]], dict[Fingering, int]]:
    """What stands in each part, the events whose diagrams would stand too close there, and the numbers of fingerings."""
    stands = [stands_of(part, own, style, plan) for part, own in parts]
    close = [_close(part, judged, own, style) for (part, judged), own in zip(parts, stands, strict=True)]
    told = [one for own, near in zip(stands, close, strict=True) for one in own if _by_number(one, near, style)]
    told.sort(key=lambda one: one.event.seconds)
    judged = [decision for _, own in parts for decision in own]
    order = [*(numbered(judged) if style.diagrams == FIRST else ()), *(one.fingering for one in told if one.fingering)]
    return stands, close, {one: number for number, one in enumerate(dict.fromkeys(order), start=1)}


def _close(part: Part, decisions: Sequence[Decision], stands: Sequence[Stand], style: Style) -> frozenset[int]:
    """Starts of the events whose diagrams would stand too close. Where numbers take their place, both ends of a glissando or a
    tremolo have one."""
    close = crowded(part, [stand.event for stand in stands if stand.drawn], style.carrier)
    if style.diagrams != CHANGES:
        return close
    ends = [{events[0].start, events[-1].start} for events in (one.demand.events for one in decisions)]
    return close.union(*(pair for pair in ends if pair & close))


def _by_number(stand: Stand, close: frozenset[int], style: Style) -> bool:
    """Whether its number tells the fingering: with `first` always, with `changes` where its diagram would stand too close."""
    if style.diagrams == FIRST:
        return stand.fingering is not None
    return style.diagrams == CHANGES and stand.drawn is not None and stand.event.start in close


def _with_number(stand: Stand, numbers: Mapping[Fingering, int], style: Style) -> Stand:
    number = numbers[stand.fingering] if stand.fingering else 0
    return replace(stand, number=number_row(number, style.language), contrary=None)


def _marked(
    part: Part, stands: list[Stand], style: Style, below: list[tuple[Event, list[str]]], close: frozenset[int]
) -> Marked:
    rows: dict[int, list[str]] = {}
    events: dict[int, Event] = {}
    for stand in stands:
        own = _numbered(stand) if stand.number else [*stand.notes, *_drawing(stand, style)]
        if own:
            rows.setdefault(stand.event.start, []).extend(own)
            events[stand.event.start] = stand.event
    under: dict[int, list[str]] = {}
    for event, told in below:
        under.setdefault(event.start, []).extend(told)
    at = {event.start: event for event in (*events.values(), *(event for event, told in below if told))}
    marks = tuple(
        Mark(
            offset,
            tuple(rows.get(offset, ())),
            voice=event.voice if part.multiple_voices else "",
            staff=event.staff if part.staves > 1 else 0,
            below=tuple(under.get(offset, ())),
        )
        for offset, event in sorted(at.items())
    )
    pictures = tuple(
        Drawn(part.place(stand.event), stand.fingering, stand.status, stand.draw, stand.contrary)
        for stand in stands
        if stand.fingering
    )
    findings = (*_on_words(part, events.values()), *_crowded(part, stands, style, close))
    return Marked(marks, findings, pictures)


def _below(
    part: Part, judged: list[Decision], stands: list[Stand], style: Style, numbers: Mapping[Fingering, int]
) -> list[tuple[Event, list[str]]]:
    """Legend and list, each with the event it stands at; none for a part without a note that may carry them."""
    visible = [event for event in part.events if not (event.hidden or event.cue or event.ossia or event.grace)]
    if not visible:
        return []
    visible.sort(key=lambda one: (one.onset, one.start))
    last = max(event.bar_index for event in visible)
    end = next(event for event in visible if event.bar_index == last)
    drawn = any(stand.drawn for stand in stands)
    # Nothing but a first bar is sure to begin at the left edge of a page; a long list in narrow rows would push a page on, and
    # under a last bar of one note at the right edge a row may run off MuseScore's.
    left_edge = visible[0].bar_index == 0
    alone = sum(event.bar_index == last for event in visible) == 1
    list_at = START if left_edge and (alone or len(numbers) > _SHORT_LIST) else END
    legend_at = style.legend or (START if drawn or not numbers else list_at)
    full = style.notes == FULL
    entries: tuple[str, ...] = ()
    if legend_at != NONE:
        entries = legend(
            [stand.fingering for stand in stands if stand.fingering and stand.draw],
            style.language,
            plain=style.carrier == ASCII,
            statuses={decision.status for decision in judged} if style.notes != NONE else (),
            numbered=bool(numbers),
            drawn=drawn,
            trilled=style.notes != NONE and any(map(is_trilled, judged)),
            gliding=full and any(map(is_gliding, judged)),
            contrary=[decision.contrary for decision in judged if decision.contrary and full],
            column=style.carrier != ROWS,
        )
    listed = tuple(
        f"{number_row(number, style.language)} {diagram.line(fingering, style.carrier == ASCII)}"
        for fingering, number in numbers.items()
    )
    return [
        (visible[0], _packed(told, _WIDE if left_edge else _NARROW)) if at == START else (end, _packed(told, _NARROW))
        for at, told in ((legend_at, entries), (list_at, listed))
    ]


def _packed(entries: Iterable[str], width: int) -> list[str]:
    """Entries in as few rows of so many characters as hold them; what is longer itself is wrapped."""
    found: list[str] = []
    for entry in entries:
        if found and len(found[-1]) + 2 + len(entry) <= width:
            found[-1] += f"  {entry}"
        else:
            found += textwrap.wrap(entry, width) if len(entry) > width else [entry]
    return found


def notes_at(
    decision: Decision,
    texts: dict[tuple[Fraction, int], str],
    language: str = "en",
    *,
    brief: bool = False,
    goes_on: bool = False,
) -> tuple[str, ...]:
    """Technique notes for the place of a decision; the technique is left out where the score names it right there, above the
    note or along its line.

    texts: as `words_by_place` gives them. brief: one row at most. goes_on: it was said before and still holds."""
    event, word = decision.demand.events[0], decision.demand.word.strip()
    printed = [texts.get((event.onset, event.staff), ""), *(mark.text for note in event.notes for mark in note.slides)]
    named = bool(word) and any(word in text for text in printed)
    return technique_notes(decision, language, named=named or goes_on, brief=brief)


def words_by_place(part: Part) -> dict[tuple[Fraction, int], str]:
    """Words of the score itself, not ours, by (onset, staff)."""
    return {(words.onset, words.staff): words.text.strip() for words in part.directions if not words.ours}


def stands_of(
    part: Part,
    decisions: Sequence[Decision],
    style: Style,
    plan: Sequence[PlannedNote] = (),
) -> list[Stand]:
    """What stands above the staff of a part for its decisions on one flute, in time order. plan: ordinary notes that are to be
    among them."""
    stands = _stands(part, decisions, style) + _ordinary(part, plan)
    return _chosen(sorted(stands, key=lambda stand: stand.event.onset), style.diagrams)


def _ordinary(part: Part, plan: Sequence[PlannedNote]) -> list[Stand]:
    at = {event.start: event for event in part.events}
    return [
        Stand(at[note.start], (), note.fingering, Status.PLAYABLE)
        for note in plan
        if note.place.part_id == part.id and not note.demand
    ]


def _stands(part: Part, decisions: Sequence[Decision], style: Style) -> list[Stand]:
    """In time order. A word that says the technique is not said again while it goes on."""
    texts = words_by_place(part)
    found = []
    said, until = "", float("-inf")
    for decision in sorted(decisions, key=lambda one: one.demand.events[0].onset):
        start, end = fingerings_of(decision)
        # A numbered diagram serves many ways to it, and a column has no room for the sign.
        against = decision.contrary if style.notes == FULL and style.diagrams != FIRST else None
        events, kind = decision.demand.events, decision.demand.kind
        goes_on = kind == said and kind in (Kind.MULTIPHONIC, Kind.MICROTONE) and events[0].seconds <= until
        notes = (
            ()
            if style.notes == NONE
            else notes_at(decision, texts, style.language, brief=style.notes == BRIEF, goes_on=goes_on)
        )
        said, until = kind, events[-1].seconds_end + _LONG_REST_SECONDS
        found.append(Stand(events[0], notes, start, decision.status, contrary=against))
        if end:
            found.append(Stand(events[-1], (), end, decision.status))
    return sorted(found, key=lambda stand: stand.event.onset)


def _chosen(stands: list[Stand], diagrams: str) -> list[Stand]:
    """The same, told which fingerings need not be drawn again: with `changes` one that was drawn in this bar or the one
    before, so that no note stands alone far from its diagram."""
    kept: list[Stand] = []
    seen: set[Fingering] = set()
    last: Fingering | None = None
    last_bar = 0
    if diagrams == CHANGES:
        stands = _without_repeated_doubt(stands)
    for stand in stands:
        near = stand.fingering == last and stand.event.bar_index - last_bar <= 1
        again = stand.fingering in seen if diagrams == FIRST else near
        draw = bool(stand.fingering) and (diagrams == EVERY or not again)
        kept.append(replace(stand, draw=draw))
        if stand.fingering:
            seen.add(stand.fingering)
        if stand.fingering and draw:
            last, last_bar = stand.fingering, stand.event.bar_index
    return kept


def _without_repeated_doubt(stands: Sequence[Stand]) -> list[Stand]:
    """The same chord struck again and again has its mark of doubt once in a bar."""
    again = (_is_doubt_alone(two) and _is_repeated(one, two) for one, two in pairwise(stands))
    return [replace(one, notes=()) if drop else one for one, drop in zip(stands, (False, *again), strict=False)]


def _is_doubt_alone(stand: Stand) -> bool:
    return [len(note) for note in stand.notes] == [1]


def _is_repeated(before: Stand, stand: Stand) -> bool:
    """Whether the same follows at once in the same bar."""
    one, two = before.event, stand.event
    return (
        (one.bar_index, one.staff, one.onset + one.duration) == (two.bar_index, two.staff, two.onset)
        and (before.fingering, before.status) == (stand.fingering, stand.status)
        and [note.written for note in one.notes] == [note.written for note in two.notes]
    )


def _numbered(stand: Stand) -> list[str]:
    """The rows of a place with a number; a mark of doubt alone goes into its row: `[3]?`."""
    if _is_doubt_alone(stand):
        return [stand.number + stand.notes[0]]
    return [*stand.notes, stand.number]


def _drawing(stand: Stand, style: Style) -> tuple[str, ...]:
    if not stand.drawn:
        return ()
    if style.carrier == ROWS:
        return diagram.rows(stand.drawn, stand.contrary)
    return diagram.columns(stand.drawn, plain=style.carrier == ASCII)


def _crowded(part: Part, stands: list[Stand], style: Style, close: frozenset[int]) -> tuple[Finding, ...]:
    """One finding where diagrams stand, or would stand, closer than programs find room for, with the option that helps."""
    near = [stand.event for stand in stands if stand.draw and stand.event.start in close]
    if not near or style.diagrams == FIRST:
        return ()
    bars = tuple(dict.fromkeys(event.bar for event in near))
    more = len(bars) - _BARS_NAMED
    named = (*bars[:_BARS_NAMED], *(("..",) if more > 0 else ()))
    key, advice = ("crowded", "write_numbers") if style.diagrams == EVERY else ("numbered", "draw_all")
    if advice == "draw_all" and style.carrier == ROWS:  # which climb over those of neighbours
        advice = "narrower"
    message = Message(f"reading.{key}", n=len(near), bars=Message("place.bars", n=len(bars), list=named))
    return (Finding.of("F202", part.place(near[0]), message=message, advice=Message(f"reading.{advice}")),)


def _on_words(part: Part, events: Iterable[Event]) -> tuple[Finding, ...]:
    """A finding for each marked event at which the score has words of its own."""
    texts = words_by_place(part)
    found = []
    for event in sorted(events, key=lambda one: one.onset):
        text = texts.get((event.onset, event.staff))
        if text:
            text = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
            found.append(Finding.of("F201", part.place(event), text=text))
    return tuple(found)


def changed_rows(part: Part) -> tuple[Finding, ...]:
    """A finding for each text between our signs that does not read as ours (any more): it stayed when our marks went."""
    return tuple(
        Finding.of("F203", part.place_of_word(words), text=words.text.replace(SIGNATURE, "")[:_SHOWN])
        for words in part.directions
        if SIGNATURE in words.text
    )
