"""What the rest of the score tells about a flute's chords: how many parts play, and what the other flutes have."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from annotate.detecting.sonority import SAME_PITCH, is_silent
from annotate.detecting.words import tells_section
from annotate.reading.flute_parts import flute_family
from annotate.score import Part, Score
from fingering_db.message import Message

_Pitches = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Desk:
    """A flute part of the score: number from 0 among its parts, id, name."""

    number: int
    id: str
    label: Message | str


@dataclass(frozen=True, slots=True)
class Company:
    """The parts beside one flute part. parts: how many the whole score has, 0 for unknown; desk: name of the first other part
    for the same kind of flute, '' for none; section: name of the first other part that tells of several players; own: id of
    the part itself; sounding: by onset [quarters], the pitches [semitones] that parts for this kind of flute begin there,
    each with the first two of the parts that do (one may be the part itself)."""

    parts: int = 0
    desk: Message | str = ""
    section: Message | str = ""
    own: str = ""
    sounding: Mapping[Fraction, Mapping[_Pitches, Sequence[_Desk]]] = field(default_factory=dict)

    def doubles(self, onset: Fraction, pitches: _Pitches) -> tuple[Message | str, int]:
        """(name of the part, index of the pitch) where another desk begins just one of the pitches [semitones] at this
        moment; ('', -1) for none. A desk with all of them doubles the chord as it is, and tells nothing."""
        best: tuple[int, Message | str, int] | None = None
        for others, desks in self.sounding.get(onset, {}).items():
            desk = next((each for each in desks if each.id != self.own), None)
            if desk is None or (best is not None and desk.number >= best[0]):
                continue
            same = [index for index, one in enumerate(pitches) if any(abs(one - two) <= SAME_PITCH for two in others)]
            if same and len(same) < len(pitches):
                best = desk.number, desk.label, same[0]
        return best[1:] if best else ("", -1)


class Companies:
    """The company of every part of a score: what the parts share is looked at once. Only parts whose music was read can
    sound."""

    def __init__(self, score: Score) -> None:
        self._parts = len(score.parts)
        self._desks: dict[str, list[_Desk]] = {}
        self._family: dict[str, str] = {}
        self._sections = [(part.id, part.title) for part in score.parts if tells_section(part.name)][:2]
        self._sounding: dict[str, dict[Fraction, dict[_Pitches, list[_Desk]]]] = {}
        for number, part in enumerate(score.parts):
            family = self._family[part.id] = flute_family(part)
            if family:
                desk = _Desk(number, part.id, part.title)
                self._desks.setdefault(family, []).append(desk)
                self._add(desk, part, self._sounding.setdefault(family, {}))

    @staticmethod
    def _add(desk: _Desk, part: Part, sounding: dict[Fraction, dict[_Pitches, list[_Desk]]]) -> None:
        for event in part.events:
            if is_silent(event) or not event.notes:
                continue
            pitches = tuple(note.sounding.midi for note in event.notes)
            desks = sounding.setdefault(event.onset, {}).setdefault(pitches, [])
            if len(desks) < 2 and desk not in desks:
                desks.append(desk)

    def of(self, part: Part) -> Company:
        family = self._family[part.id]
        return Company(
            parts=self._parts,
            desk=next((desk.label for desk in self._desks.get(family, ()) if desk.id != part.id), ""),
            section=next((label for id, label in self._sections if id != part.id), ""),
            own=part.id,
            sounding=self._sounding.get(family, {}),
        )
