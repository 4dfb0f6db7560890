"""What each printed accidental means, in semitones.

Names: MusicXML 4.0, data type accidental-value. Its documentation says: quarter and three-quarters are the
quarter-tone accidentals of Tartini's form, names with -up and -down are quarter-tone accidentals with arrows;
slash- names and the numbered ones are Turkish (numbers: Holdrian commas, 53 to the octave), sori and koron
Persian. Those have no size that all agree on; the quarter-tone nearest to their look in western music is
taken where the file stores no exact pitch.
"""

from __future__ import annotations

from dataclasses import dataclass

_COMMA_CENTS = 1200.0 / 53.0


@dataclass(frozen=True, slots=True)
class Accidental:
    """alter: whole semitones of the spelling. cents: what is added. agreed: the size is the same for
    everybody."""

    alter: int
    cents: float = 0.0
    agreed: bool = True

    @property
    def microtonal(self) -> bool:
        return self.cents != 0.0

    @property
    def semitones(self) -> float:
        return self.alter + self.cents / 100.0


ACCIDENTALS: dict[str, Accidental | None] = {
    "sharp": Accidental(1),
    "natural": Accidental(0),
    "flat": Accidental(-1),
    "double-sharp": Accidental(2),
    "sharp-sharp": Accidental(2),
    "flat-flat": Accidental(-2),
    "natural-sharp": Accidental(1),
    "natural-flat": Accidental(-1),
    "quarter-flat": Accidental(0, -50.0),
    "quarter-sharp": Accidental(0, 50.0),
    "three-quarters-flat": Accidental(-1, -50.0),
    "three-quarters-sharp": Accidental(1, 50.0),
    "sharp-down": Accidental(1, -50.0),
    "sharp-up": Accidental(1, 50.0),
    "natural-down": Accidental(0, -50.0),
    "natural-up": Accidental(0, 50.0),
    "flat-down": Accidental(-1, -50.0),
    "flat-up": Accidental(-1, 50.0),
    "double-sharp-down": Accidental(2, -50.0),
    "double-sharp-up": Accidental(2, 50.0),
    "flat-flat-down": Accidental(-2, -50.0),
    "flat-flat-up": Accidental(-2, 50.0),
    "arrow-down": Accidental(0, -50.0),
    "arrow-up": Accidental(0, 50.0),
    "triple-sharp": Accidental(3),
    "triple-flat": Accidental(-3),
    "slash-quarter-sharp": Accidental(0, 50.0, agreed=False),
    "slash-sharp": Accidental(1, 50.0, agreed=False),
    "slash-flat": Accidental(0, -50.0, agreed=False),
    "double-slash-flat": Accidental(-1, -50.0, agreed=False),
    "sharp-1": Accidental(0, _COMMA_CENTS, agreed=False),
    "sharp-2": Accidental(0, 2 * _COMMA_CENTS, agreed=False),
    "sharp-3": Accidental(1, 3 * _COMMA_CENTS - 100.0, agreed=False),
    "sharp-5": Accidental(1, 5 * _COMMA_CENTS - 100.0, agreed=False),
    "flat-1": Accidental(0, -_COMMA_CENTS, agreed=False),
    "flat-2": Accidental(0, -2 * _COMMA_CENTS, agreed=False),
    "flat-3": Accidental(-1, 100.0 - 3 * _COMMA_CENTS, agreed=False),
    "flat-4": Accidental(-1, 100.0 - 4 * _COMMA_CENTS, agreed=False),
    "sori": Accidental(0, 50.0, agreed=False),
    "koron": Accidental(0, -50.0, agreed=False),
    "other": None,
}

SMUFL_ACCIDENTALS: dict[str, Accidental] = {
    "accidentalQuarterToneSharpStein": Accidental(0, 50.0),
    "accidentalThreeQuarterTonesSharpStein": Accidental(1, 50.0),
    "accidentalQuarterToneFlatStein": Accidental(0, -50.0),
    "accidentalNarrowReversedFlat": Accidental(0, -50.0),
    "accidentalThreeQuarterTonesFlatZimmermann": Accidental(-1, -50.0),
    "accidentalQuarterToneSharpNaturalArrowUp": Accidental(0, 50.0),
    "accidentalQuarterToneFlatNaturalArrowDown": Accidental(0, -50.0),
    "accidentalThreeQuarterTonesSharpArrowUp": Accidental(1, 50.0),
    "accidentalQuarterToneSharpArrowDown": Accidental(1, -50.0),
    "accidentalQuarterToneFlatArrowUp": Accidental(-1, 50.0),
    "accidentalThreeQuarterTonesFlatArrowDown": Accidental(-1, -50.0),
    "accidentalArrowUp": Accidental(0, 50.0),
    "accidentalArrowDown": Accidental(0, -50.0),
}
"""For `<accidental smufl="...">other</accidental>`: glyph names of SMuFL 1.4, chapter on accidentals."""


def accidental_of(name: str, glyph: str) -> Accidental | None:
    """The accidental with a MusicXML name, or by its SMuFL glyph where the name is 'other'. None: unknown."""
    known = ACCIDENTALS.get(name)
    return SMUFL_ACCIDENTALS.get(glyph) if known is None else known
