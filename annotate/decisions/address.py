"""How a decisions file names a place: `Flute, bar 12, beat 2: C5 D6 (2 of 3)`, the second of three such chords of the part."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from annotate.score import Event, Part
from fingering_db.fingering import Fingering
from fingering_db.pitch import Pitch, PitchError

FIX, FIX_TO, READ, NOTE = "fix", "fix_to", "read", "note"
READINGS = ("multiphonic", "players", "voice")
PLACE, PITCH, PIECE, FLUTE, WEIGHT = "place", "pitch", "piece", "flute", "weight"


def place_line(address: str, what: str, value: str | Fingering | Iterable[str]) -> str:
    """A decision for one place: `place."Flute, bar 12, beat 2: C5 D6".fix = "T 2 3 | Eb"`.

    address: as `Demand.address` has it. what: FIX, FIX_TO, READ or NOTE."""
    return f"{PLACE}.{_text(address)}.{what} = {_value(value)}"


def choice_line(address: str, fingering: Fingering, others: Iterable[Fingering]) -> str:
    """As `place_line` with FIX, the other fingerings behind it as a comment."""
    told = ", ".join(_text(str(one)) for one in others)
    return place_line(address, FIX, fingering) + (f"  # {told}" if told else "")


def _value(value: str | Fingering | Iterable[str]) -> str:
    if isinstance(value, str | Fingering):
        return _text(str(value))
    return f"[{', '.join(map(_text, value))}]"


def _text(text: str) -> str:
    """A basic string of TOML, on one line."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


_TEXT = re.compile(
    r"(?:(?P<part>.*), )?bar (?P<bar>.+), beat (?P<beat>\d{1,6}(?:\.\d{1,6})?): (?P<pitches>[^():]+?)"
    r"(?: \((?P<number>\d{1,6}) of (?P<total>\d{1,6})\))?\Z"
)
_DECIMALS = 3
_MOST_SIGNS = 400  # of an address

Content = tuple[float, ...]
"""What stands at a place: written pitches as MIDI numbers, low to high."""


@dataclass(frozen=True, slots=True)
class Address:
    """A place in a part by what stands there. part: its name, '' for any. pitches: written, as spelled. number, total: the
    how many-eth of so many places of the part where just these pitches stand; 0 where that is not told."""

    part: str
    bar: str
    beat: float
    pitches: tuple[Pitch, ...]
    number: int = 0
    total: int = 0

    @classmethod
    def parse(cls, text: str) -> Address | None:
        """Read an address; None for a text that is none."""
        found = _TEXT.match(text.strip()) if len(text) <= _MOST_SIGNS else None
        if not found:
            return None
        try:
            pitches = tuple(Pitch.parse(name) for name in found["pitches"].split())
        except PitchError:
            return None
        number, total = int(found["number"] or 0), int(found["total"] or 0)
        if not 0 <= number <= total or (total and not number):
            return None
        return cls(found["part"] or "", found["bar"], float(found["beat"]), pitches, number, total)

    @property
    def content(self) -> Content:
        """What stands there, whatever the spelling."""
        return content_of(self.pitches)

    def __str__(self) -> str:
        part = f"{self.part}, " if self.part else ""
        beat = f"{self.beat:.{_DECIMALS}f}".rstrip("0").rstrip(".")
        pitches = " ".join(map(str, self.pitches))
        count = f" ({self.number} of {self.total})" if self.total else ""
        return f"{part}bar {self.bar}, beat {beat}: {pitches}{count}"


def content_of(pitches: Iterable[Pitch]) -> Content:
    """Pitches as they are compared: to the cent, low to high."""
    return tuple(sorted(round(pitch.midi, 2) for pitch in pitches))


def at(event: Event) -> Content:
    return content_of(note.written for note in event.notes)


def places(part: Part) -> tuple[Event, ...]:
    """Events that a decision may be about, in order of time: what is played anew (a tied chord is one)."""
    own = (one for one in part.events if not (one.cue or one.hidden or one.ossia))
    begun = (one for one in own if not all(note.tie_stop for note in one.notes))
    return tuple(sorted(begun, key=lambda one: (one.onset, not one.grace, one.start)))


class Addresses:
    """The addresses of a part's places, each worked out when it is asked for."""

    def __init__(self, part: Part) -> None:
        self._part = part
        self._numbers: dict[int, int] = {}
        self._totals: Counter[Content] = Counter()
        for event in places(part):
            self._totals[at(event)] += 1
            self._numbers[event.start] = self._totals[at(event)]

    def of(self, event: Event) -> Address | None:
        """The address of an event; None for one that no decision is about."""
        number = self._numbers.get(event.start)
        if number is None:
            return None
        total = self._totals[at(event)]
        count = (number, total) if total > 1 else (0, 0)
        pitches = tuple(sorted((note.written for note in event.notes), key=lambda pitch: pitch.midi))
        told = tuple(Pitch.parse(str(pitch)) for pitch in pitches)  # cents as they are printed
        return Address(self._part.label, event.bar, round(float(event.beat), _DECIMALS), told, *count)
