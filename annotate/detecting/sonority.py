"""What sounds together on one staff: an event, or events of several voices as one; and what is tied."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from heapq import heappop, heappush
from itertools import pairwise, zip_longest

from annotate.score import Event, Note, Ornament, Part
from fingering_db.pitch import Pitch

SAME_PITCH = 0.01
"""Two pitches nearer than this [semitones] are one."""


def is_silent(event: Event) -> bool:
    """Cue, hidden and ossia notes make no demands."""
    return event.cue or event.hidden or event.ossia


@dataclass(frozen=True, slots=True)
class Sonority:
    """Events that sound as one, and their notes from low to high (sounding), each pitch once."""

    events: tuple[Event, ...]
    notes: tuple[Note, ...]

    @property
    def first(self) -> Event:
        return self.events[0]

    @property
    def onset(self) -> Fraction:
        return self.first.onset

    @property
    def stop(self) -> Fraction:
        """Where it ends [quarters]; the onset for grace notes."""
        return self.first.onset + (Fraction(0) if self.first.grace else self.first.duration)

    @property
    def seconds(self) -> float:
        return self.first.seconds_end - self.first.seconds

    @property
    def is_chord(self) -> bool:
        """Two or more different sounding pitches."""
        return len(self.notes) > 1

    @property
    def written(self) -> tuple[Pitch, ...]:
        return tuple(note.written for note in self.notes)

    @property
    def sounding(self) -> tuple[Pitch, ...]:
        return tuple(note.sounding for note in self.notes)

    @property
    def all_notes(self) -> tuple[Note, ...]:
        """Every note, unisons of two voices included."""
        return tuple(note for event in self.events for note in event.notes)


def _distinct(events: Iterable[Event]) -> tuple[Note, ...]:
    notes: list[Note] = []
    for note in sorted((n for e in events for n in e.notes), key=lambda n: (n.sounding.midi, n.start)):
        if not notes or note.sounding.midi - notes[-1].sounding.midi > SAME_PITCH:
            notes.append(note)
    return tuple(notes)


def gather(events: Iterable[Event]) -> tuple[Sonority, ...]:
    """Sonorities of a part in order of time (grace notes before their main note, else file order)."""
    groups: dict[tuple[object, ...], list[Event]] = {}
    for event in events:
        if is_silent(event) or not event.notes:
            continue
        key: tuple[object, ...] = (event.staff, event.onset, event.duration)
        if event.grace or any(other.voice == event.voice for other in groups.get(key, ())):
            key = (*key, event.start)
        groups.setdefault(key, []).append(event)
    found = [Sonority(tuple(group), _distinct(group)) for group in groups.values()]
    return tuple(sorted(found, key=lambda s: (s.onset, not s.first.grace, s.first.start)))


def ornament(sonority: Sonority, kind: str) -> Ornament | None:
    """The tremolo or trill at one of its notes; None for none."""
    return next((each for note in sonority.all_notes for each in note.ornaments if each.kind == kind), None)


def alternations(part: Part, sonorities: tuple[Sonority, ...]) -> dict[int, Sonority]:
    """By index of a sonority, what its tremolo or trill leads to and from: the next sonority of its voice, at which the tremolo
    stops, or a note or chord in parentheses that stands behind the trill, a grace or a cue."""
    voices: dict[tuple[str, int], list[Event]] = defaultdict(list)
    for event in sorted(part.events, key=lambda one: one.start):
        voices[event.voice, event.staff].append(event)
    behind = {one.start: two for own in voices.values() for one, two in pairwise(own)}
    lines: dict[tuple[str, int], list[int]] = defaultdict(list)
    for index, sonority in enumerate(sonorities):
        if not sonority.first.grace:
            lines[sonority.first.voice, sonority.first.staff].append(index)
    found = {}
    for index, later in (pair for own in lines.values() for pair in zip_longest(own, own[1:])):
        tremolo = ornament(sonorities[index], "tremolo")
        if tremolo and tremolo.role == "start" and later is not None:
            end = ornament(sonorities[later], "tremolo")
            if end and end.role == "stop":
                found[index] = sonorities[later]
        elif ornament(sonorities[index], "trill"):
            other = behind.get(sonorities[index].first.start)
            if other and (other.grace or other.cue) and all(note.parenthesised for note in other.notes):
                found[index] = Sonority((other,), _distinct((other,)))
    return found


def overlapping(sonorities: tuple[Sonority, ...]) -> list[Sonority]:
    """Sonorities that begin while one of another voice, begun earlier or ending elsewhere, still sounds."""
    found = []
    # By staff: what sounds, the first to end first, and how often each set of voices is among it.
    ends: dict[int, list[tuple[Fraction, int, frozenset[str]]]] = defaultdict(list)
    sounding: dict[int, Counter[frozenset[str]]] = defaultdict(Counter)
    for number, sonority in enumerate(sonorities):
        if sonority.first.grace:
            continue
        queue, count = ends[sonority.first.staff], sounding[sonority.first.staff]
        while queue and queue[0][0] <= sonority.onset:
            ended = heappop(queue)[2]
            count[ended] -= 1
            if not count[ended]:
                del count[ended]
        voices = frozenset(event.voice for event in sonority.events)
        if any(voices.isdisjoint(other) for other in count):
            found.append(sonority)
        heappush(queue, (sonority.stop, number, voices))
        count[voices] += 1
    return found


@dataclass(frozen=True, slots=True)
class Link:
    """Some notes of a sonority, on their way along a tie."""

    sonority: Sonority
    notes: tuple[Note, ...]


class Ties:
    """Which note is tied to which. A tie starts on one note and stops on the next of the same pitch."""

    def __init__(self, sonorities: tuple[Sonority, ...]) -> None:
        starting: dict[tuple[int, Fraction], list[Sonority]] = defaultdict(list)
        for sonority in sonorities:
            if not sonority.first.grace and any(note.tie_stop for note in sonority.notes):
                starting[sonority.first.staff, sonority.onset].append(sonority)
        self._next: dict[int, Link] = {}
        self._previous: dict[int, Link] = {}
        for sonority in sonorities:
            ties_on = any(note.tie_start for note in sonority.notes)
            for later in starting.get((sonority.first.staff, sonority.stop), ()) if ties_on else ():
                if later is not sonority and later.stop > sonority.onset:
                    self._join(sonority, later)

    def _join(self, sonority: Sonority, later: Sonority) -> None:
        for note in sonority.notes:
            for other in later.notes:
                same = abs(other.sounding.midi - note.sounding.midi) <= SAME_PITCH
                if same and note.tie_start and other.tie_stop:
                    self._next.setdefault(note.start, Link(later, (other,)))
                    self._previous.setdefault(other.start, Link(sonority, (note,)))

    @staticmethod
    def _follow(links: dict[int, Link], link: Link, whole: bool) -> Link | None:
        found = [links.get(note.start) for note in link.notes]
        present = [one for one in found if one is not None]
        if len(present) < len(found) or any(one.sonority is not present[0].sonority for one in present):
            return None
        sonority = present[0].sonority
        if whole and len(sonority.notes) != len(link.sonority.notes):
            return None
        return Link(sonority, tuple(note for one in present for note in one.notes))

    def chain(self, sonority: Sonority, notes: tuple[Note, ...] = ()) -> tuple[Link, ...]:
        """All that is tied before and after these notes of a sonority (all by default), in order of time.

        For whole sonorities the chain ends where a note comes or goes: that is another chord.
        """
        whole = not notes
        links = [Link(sonority, notes or sonority.notes)]
        while (before := self._follow(self._previous, links[0], whole)) is not None:
            links.insert(0, before)
        while (after := self._follow(self._next, links[-1], whole)) is not None:
            links.append(after)
        return tuple(links)

    def tied_between(self, start: Sonority, stop: Sonority) -> frozenset[int]:
        """Byte offsets of the first events of what is tied on from the whole of `start` or leads by ties to the whole of
        `stop`, from one to the other; both of them are among it. What is tied beyond them is not followed."""
        found = {start.first.start, stop.first.start}
        link: Link | None = Link(start, start.notes)
        while link and (link := self._follow(self._next, link, True)) and link.sonority.onset <= stop.onset:
            found.add(link.sonority.first.start)
        link = Link(stop, stop.notes)
        while link and (link := self._follow(self._previous, link, True)) and link.sonority.onset >= start.onset:
            found.add(link.sonority.first.start)
        return frozenset(found)

    def before(self, sonority: Sonority, notes: tuple[Note, ...] = ()) -> Sonority | None:
        """What these notes of a sonority (all by default) are tied to directly before, as `chain` has it; None where they
        are the first."""
        link = self._follow(self._previous, Link(sonority, notes or sonority.notes), not notes)
        return None if link is None else link.sonority

    def is_head(self, sonority: Sonority) -> bool:
        """Whether nothing is tied to the whole sonority from before."""
        return self.before(sonority) is None


def slurred_on(staff: list[Sonority]) -> frozenset[int]:
    """Indices of the sonorities of one staff, in order of time, from which a slur leads on to the next. A slur without an end
    leads nowhere."""
    waiting: dict[str, int] = {}
    found: set[int] = set()
    for index, sonority in enumerate(staff):
        for number in (each for note in sonority.all_notes for each in note.slur_stops):
            if number in waiting:
                found.update(range(waiting.pop(number), index))
        for number in (each for note in sonority.all_notes for each in note.slur_starts):
            waiting[number] = index
    return frozenset(found)
