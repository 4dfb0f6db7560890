"""What the rest of the score tells about a flute's chords: how many parts play, and what the other flutes have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from annotate.detecting.names import tells_section
from annotate.detecting.sonority import is_silent
from annotate.reading.flute_parts import flute_family
from annotate.score import Part, Score

_SAME_PITCH = 0.01
"""Two pitches nearer than this [semitones] are one."""


@dataclass(frozen=True, slots=True)
class Company:
    """The parts beside one flute part. parts: how many the whole score has, 0 for unknown; desks: names of the other parts
    for the same kind of flute; sections: names of other parts that tell of several players each; sounding: by onset
    [quarters], what the desks have there, as (name of the part, its pitches [semitones])."""

    parts: int = 0
    desks: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()
    sounding: Mapping[Fraction, tuple[tuple[str, tuple[float, ...]], ...]] = field(default_factory=dict)

    @classmethod
    def of(cls, score: Score, part: Part) -> Company:
        """The company of a part. Only parts of the score whose music was read can sound."""
        family = flute_family(part)
        others = [other for other in score.parts if other.id != part.id]
        desks = [other for other in others if family and flute_family(other) == family]
        sounding: dict[Fraction, list[tuple[str, tuple[float, ...]]]] = {}
        for desk in desks:
            for event in desk.events:
                if not is_silent(event) and event.notes:
                    pitches = tuple(note.sounding.midi for note in event.notes)
                    sounding.setdefault(event.onset, []).append((desk.label, pitches))
        return cls(
            parts=len(score.parts),
            desks=tuple(desk.label for desk in desks),
            sections=tuple(other.label for other in others if tells_section(other.name)),
            sounding={onset: tuple(found) for onset, found in sounding.items()},
        )

    def doubles(self, onset: Fraction, pitches: tuple[float, ...]) -> tuple[str, int]:
        """(name of the part, index of the pitch) where another desk begins just one of the pitches [semitones] at this
        moment; ('', -1) for none. A desk with all of them doubles the chord as it is, and tells nothing."""
        for name, others in self.sounding.get(onset, ()):
            same = [index for index, one in enumerate(pitches) if any(abs(one - two) <= _SAME_PITCH for two in others)]
            if same and len(same) < len(pitches):
                return name, same[0]
        return "", -1
