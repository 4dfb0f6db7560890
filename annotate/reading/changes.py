"""Which flute plays what inside one part: a player may change to the piccolo and back."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from operator import itemgetter

from annotate.findings import Finding
from annotate.reading.flute_parts import change_told, family_of_instrument
from annotate.score import Direction, Event, Part
from fingering_db.message import Message


@dataclass(frozen=True, slots=True)
class Turns:
    """The flutes of a part in turn. by_instrument: family of each score-instrument of the part, '' for one that is no
    flute; from_words: staff -> (onset, family) in order of time, staff 0 for the whole part."""

    family: str
    by_instrument: dict[str, str]
    from_words: dict[int, tuple[tuple[Fraction, str], ...]]
    findings: tuple[Finding, ...]

    def family_of(self, event: Event) -> str:
        """The family of the flute that plays an event, '' for an instrument that is no flute."""
        if event.instrument in self.by_instrument:
            return self.by_instrument[event.instrument]
        changes = self.from_words.get(event.staff) or self.from_words.get(0) or ()
        at = bisect_right(changes, event.onset, key=itemgetter(0))
        return changes[at - 1][1] if at else self.family

    def families(self, part: Part) -> tuple[str, ...]:
        """The families that play the part's events, in the order in which they first come."""
        return tuple(dict.fromkeys(map(self.family_of, part.events))) or (self.family,)


def turns(part: Part, family: str) -> Turns:
    """The flutes of a part. family: that of the part as a whole. The file's instruments decide where it has several,
    else words that name a flute and nothing more."""
    told = _instruments(part, family)
    used = {event.instrument for event in part.events}
    by_instrument = {id: told[id] for id in told if id in used}
    words = _words(part, family) if not by_instrument else ()
    staves = sorted({direction.staff for direction, _, _ in words}) if part.staves > 1 else [0]
    from_words = {
        staff: tuple((onset, own) for direction, onset, own in words if staff in (0, direction.staff))
        for staff in staves
    }
    found = Turns(family, by_instrument, from_words, ())
    return replace(found, findings=tuple(_remarks(part, found)))


def _instruments(part: Part, family: str) -> dict[str, str]:
    """Family by id, for a part that has several instruments."""
    if len(part.instruments) < 2:
        return {}
    found = {each.id: family_of_instrument(each, family) for each in part.instruments}
    # Where none is a flute the user named the part, and means all of it.
    return found if any(found.values()) else {}


def _words(part: Part, family: str) -> tuple[tuple[Direction, Fraction, str], ...]:
    """(words, onset from which on, family) for each change, in order of time."""
    found = []
    now = family
    cues = {event.onset for event in part.events if event.cue}
    after_rests = _AfterRests(part)
    for direction in sorted(part.directions, key=lambda one: one.onset):
        # Words at cue notes name who plays these.
        if direction.kind != "words" or direction.ours or direction.onset in cues:
            continue
        told, announced = change_told(direction.text)
        if not told or told == now:
            continue
        onset = after_rests.next(direction) if announced else direction.onset
        if onset is not None:
            found.append((direction, onset, told))
            now = told
    return tuple(sorted(found, key=lambda one: one[1]))


class _AfterRests:
    """Onsets of the events that a rest precedes, by staff (all under 0 in a part of one staff), in order of time."""

    def __init__(self, part: Part) -> None:
        self._several = part.staves > 1
        self._onsets: dict[int, list[Fraction]] = {}
        sounding_until: dict[int, Fraction] = {}
        for event in sorted(part.events, key=lambda one: one.onset):
            if event.cue or event.grace:
                continue
            staff = event.staff if self._several else 0
            until = sounding_until.get(staff, Fraction(0))
            if event.onset > until:
                self._onsets.setdefault(staff, []).append(event.onset)
            sounding_until[staff] = max(until, event.onset + event.duration)

    def next(self, direction: Direction) -> Fraction | None:
        """The first of them at or after the words, None where there is none."""
        onsets = self._onsets.get(direction.staff if self._several else 0, [])
        at = bisect_left(onsets, direction.onset)
        return onsets[at] if at < len(onsets) else None


def _remarks(part: Part, found: Turns) -> Iterator[Finding]:
    """One finding for each change that a note of the part is played after, in order of time."""
    now: dict[int, str] = {}
    for event in sorted(part.events, key=lambda one: one.onset):
        if event.cue or event.hidden:
            continue
        staff = event.staff if part.staves > 1 else 0
        family = found.family_of(event)
        before = now.setdefault(staff, found.family)
        now[staff] = family
        if family == before:
            continue
        advice = Message("reading.one_flute" if family else "reading.not_judged_on")
        yield Finding.of("R112", part.place(event), advice=advice, instrument=Message(f"flute_of.{family or 'other'}"))
