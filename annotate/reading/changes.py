"""Which flute plays what inside one part: a player may change to the piccolo and back."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from annotate.findings import Finding
from annotate.place import Place
from annotate.reading.codes import FLUTE_CHANGES
from annotate.reading.flutes import change_told, family_of_instrument
from annotate.score import Direction, Event, Part


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
        at = bisect_right([onset for onset, _ in changes], event.onset)
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
    return Turns(family, by_instrument, from_words, tuple(_remarks(part, found)))


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
    for direction in sorted(part.directions, key=lambda one: one.onset):
        told, announced = (
            change_told(direction.text) if direction.kind == "words" and not direction.ours else ("", False)
        )
        if not told or told == now or _at_a_cue(part, direction):
            continue
        onset = _after_next_rest(part, direction) if announced else direction.onset
        if onset is not None:
            found.append((direction, onset, told))
            now = told
    return tuple(sorted(found, key=lambda one: one[1]))


def _at_a_cue(part: Part, direction: Direction) -> bool:
    """Whether the words stand at cue notes: then they name who plays these."""
    return any(event.cue for event in part.events if event.onset == direction.onset)


def _after_next_rest(part: Part, direction: Direction) -> Fraction | None:
    """Onset of the first event at or after the words that a rest precedes, None where there is none."""
    sounding_until = Fraction(0)
    for event in sorted(part.events, key=lambda one: one.onset):
        if event.cue or event.grace or (part.staves > 1 and event.staff != direction.staff):
            continue
        if event.onset >= direction.onset and event.onset > sounding_until:
            return event.onset
        sounding_until = max(sounding_until, event.onset + event.duration)
    return None


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
        place = str(Place(part.name, part.id, event.bar, event.beat))
        yield Finding(
            FLUTE_CHANGES,
            "info",
            place,
            f"from here on this part is played on {_NAMED[family]}.",
            "Say --flute NAME to judge every flute passage on one flute."
            if family
            else "It is not judged from here on.",
        )


_NAMED = {
    "flute": "the flute",
    "piccolo": "the piccolo",
    "alto": "the alto flute",
    "bass": "the bass flute",
    "": "another instrument",
}
